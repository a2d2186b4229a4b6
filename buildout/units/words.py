"""Small pieces of plain English that several links need."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

_TURNS = re.compile("[\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_CONTROL = re.compile("[\x00-\x08\x0e-\x1f\x7f]")


def one_line(typed: object, most: int | None = None) -> str:
    """What somebody typed as one line of text, cut after ``most`` characters.

    Without marks that turn the writing direction, for they would turn everything that stands after them as well, and
    without control characters, which databases refuse.

    >>> one_line("  my knee;\\n I can\\tbake \\x00", 16), one_line("\\u202eevil\\u202c Bram")
    ('my knee; I can b', 'evil Bram')
    """
    return " ".join(_CONTROL.sub("", _TURNS.sub("", str(typed))).split())[:most]


def some_of(names: Sequence[str], most: int = 4) -> str:
    """Names as a sentence lists them, cut short after ``most``; semicolons between names that hold commas.

    >>> some_of(["foam", "tape", "timber"])
    'foam, tape and timber'
    >>> some_of(["foam", "tape", "timber", "vinyl"], most=2)
    'foam, tape and 2 more'
    >>> some_of(["tape, 3 in", "foam", "timber", "vinyl"], most=2)
    'tape, 3 in; foam; and 2 more'
    """
    shown = list(names) if len(names) <= most else [*names[:most], f"{len(names) - most} more"]
    if len(shown) < 2:
        return "".join(shown)
    if any("," in name for name in shown):
        return f"{'; '.join(shown[:-1])}; and {shown[-1]}"
    return f"{', '.join(shown[:-1])} and {shown[-1]}"


_SHORT = {"square foot": "sq ft", "square yard": "sq yd", "square metre": "m²"}
_PLURALS = {
    "each": "each",
    "box": "boxes",
    "running foot": "running feet",
    "board foot": "board feet",
}


def counted(quantity: Decimal | float, unit: str) -> str:
    """A quantity with its unit in the right number, without trailing zeros.

    >>> counted(Decimal("1"), "sheet"), counted(Decimal("57.0"), "sheet"), counted(2738, "square foot")
    ('1 sheet', '57 sheets', '2,738 sq ft')
    >>> counted(Decimal("12.50"), "running yard"), counted(15, "each")
    ('12.5 running yards', '15 each')
    """
    number = Decimal(str(quantity)).normalize()
    if unit in _SHORT:
        return f"{number:,f} {_SHORT[unit]}"
    return f"{number:,f} {unit if abs(number) == 1 else plural(unit)}"


def plural(unit: str) -> str:
    """The plural of a purchase unit.

    >>> plural("gallon"), plural("box")
    ('gallons', 'boxes')
    """
    return _PLURALS.get(unit, f"{unit}s")
