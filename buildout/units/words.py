"""Small pieces of plain English that several links need."""

from __future__ import annotations

from collections.abc import Sequence


def some_of(names: Sequence[str], most: int = 4) -> str:
    """Names as a sentence lists them, cut short after ``most``.

    >>> some_of(["foam", "tape", "timber"])
    'foam, tape and timber'
    >>> some_of(["foam", "tape", "timber", "vinyl"], most=2)
    'foam, tape and 2 more'
    """
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
