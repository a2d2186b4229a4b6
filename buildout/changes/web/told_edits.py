"""What was edited in a plan, in words: entries by their names, dates as people say them, prices as they are typed."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import Any

import msgspec

from buildout.changes.engine.build_file import Plan
from buildout.changes.engine.edits import NAMES, Edit, edits_between
from buildout.units.dates import day_text
from buildout.units.lengths import LengthError
from buildout.units.value import from_plain, to_plain

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_EMPTY: tuple[Any, ...] = (None, "", "0", [], {}, False)


@dataclass(frozen=True)
class ToldEdit:
    """One place that differs. ``before`` is empty where it was added, ``after`` where it was taken out."""

    label: str
    kind: str
    before: str
    after: str


def told_edits(before: dict[str, Any], after: dict[str, Any]) -> list[ToldEdit]:
    """Every place where ``after`` differs from ``before``; a default that is now written out does not count."""
    was, now = _spelled_out(before), _spelled_out(after)
    return [_told(edit, was, now) for edit in edits_between(was, now)]


def _spelled_out(document: dict[str, Any]) -> dict[str, Any]:
    try:
        plan: dict[str, Any] = to_plain(from_plain(Plan, document))
    except (msgspec.ValidationError, LengthError):
        return document  # of an older version of the format
    return plan


def _told(edit: Edit, was: dict[str, Any], now: dict[str, Any]) -> ToldEdit:
    return ToldEdit(
        label=_label(edit.path, was, now),
        kind=edit.kind,
        before="" if edit.kind == "added" else in_words(edit.old),
        after="" if edit.kind == "removed" else in_words(edit.new),
    )


def _label(path: list[str], was: dict[str, Any], now: dict[str, Any]) -> str:
    goods = {one["id"]: one["name"] for plan in (was, now) for one in plan.get("products", [])}
    parts: list[str] = []
    here: list[Any] = [now, was]
    for part in path:
        entries = [_entry(one, part) for one in here]
        names = [one["name"] for one in entries if isinstance(one, dict) and one.get("name")]
        in_list = any(isinstance(one, list) for one in here)
        parts.append((names[0] if names else goods.get(part, part)) if in_list else part.replace("_", " "))
        here = [one for one in entries if one is not None]
    text = " › ".join(parts) or "the whole plan"
    return text[0].upper() + text[1:]


def _entry(container: Any, part: str) -> Any:
    if isinstance(container, dict):
        return container.get(part)
    if isinstance(container, list):
        named = [one for field in NAMES for one in container if isinstance(one, dict) and str(one.get(field)) == part]
        return named[0] if named else None
    return None


def in_words(value: Any) -> str:
    """A value of a plan as people write it.

    >>> in_words("2027-02-06"), in_words(True), in_words([{"start": "1", "price": "9.40"}, {"start": "24", "price": 8}])
    ('Sat 6 Feb 2027', 'yes', '1: 9.40; 24: 8')
    >>> in_words(["lift", "saw"]), in_words({"id": "5", "start": "A", "note": "", "value": "12'"}), in_words([])
    ('lift, saw', "id 5, start A, value 12'", 'none')
    """
    if value is None or value in ("", [], {}):
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        if all(isinstance(one, dict) for one in value):
            return "; ".join(in_words(one) for one in value)
        return ", ".join(in_words(one) for one in value)
    if isinstance(value, dict):
        if set(value) == {"start", "price"}:
            return f"{value['start']}: {value['price']}"
        return ", ".join(f"{key.replace('_', ' ')} {in_words(one)}" for key, one in value.items() if one not in _EMPTY)
    text = str(value)
    if _DAY.fullmatch(text):
        try:
            return day_text(date.fromisoformat(text))
        except ValueError:
            return text
    return text
