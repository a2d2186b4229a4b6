"""What was edited in a plan, in words: entries by their names, dates as people say them, prices as they are typed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import msgspec

from buildout.changes.engine.build_file import Plan
from buildout.changes.engine.edits import NAMES, Edit, edits_between
from buildout.units.dates import day_text
from buildout.units.lengths import LengthError
from buildout.units.value import from_plain, to_plain
from scheduling.engine.skills import SKILLS
from scheduling.engine.template import default_template

NOBODY_NOW = "somebody who is not on the list any more"
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
Names = dict[tuple[str, str], str]
_EMPTY: tuple[Any, ...] = (None, "", "0", [], {}, False)


@dataclass(frozen=True)
class ToldEdit:
    """One place that differs. ``before`` is empty where it was added, ``after`` where it was taken out."""

    label: str
    kind: str
    before: str
    after: str


def told_edits(
    before: dict[str, Any], after: dict[str, Any], people: Mapping[str, str] | None = None
) -> list[ToldEdit]:
    """Every place where ``after`` differs from ``before``; a default that is now written out does not count.

    ``people`` are the first names of those who signed up, by what a plan calls them.
    """
    was, now = _spelled_out(before), _spelled_out(after)
    names = _names(was) | _names(now) | {("person", ref): name for ref, name in (people or {}).items()}
    return [_told(edit, (was, now), (before, after), names) for edit in edits_between(was, now)]


def _spelled_out(document: dict[str, Any]) -> dict[str, Any]:
    try:
        plan: dict[str, Any] = to_plain(from_plain(Plan, document))
    except (msgspec.ValidationError, LengthError):
        return document  # of an older version of the format
    return plan


def _names(plan: dict[str, Any]) -> dict[tuple[str, str], str]:
    """What goods, sellers, rooms, days, people, tasks and skills are called, by the field that points at them."""
    crew, days = plan.get("crew", {}), plan.get("crew", {}).get("days", [])
    lists = {"item": plan.get("products", []), "supplier": plan.get("suppliers", []), "room": plan.get("rooms", []),
             "build_day": days, "day": days, "days": days,
             "person": [*crew.get("core", []), *crew.get("helpers", [])]}  # fmt: skip
    names = {(field, one["id"]): one["name"] for field, entries in lists.items() for one in entries if "name" in one}
    names |= {("skills", skill): word for skill, word in SKILLS.items()}
    own = plan.get("tasks", {}).get("own", [])
    tasks = [(row.code, row.name) for row in default_template()] + [(one["code"], one["name"]) for one in own]
    return names | {(field, code): f"{code} {name}" for code, name in tasks for field in ("task", "off")}


def _told(edit: Edit, plans: tuple[Any, Any], written: tuple[Any, Any], names: Names) -> ToldEdit:
    before, after = edit.old, edit.new
    if edit.kind == "removed":  # told as it was written, without what it says by default
        before = _at(written[0], edit.path, before)
    if edit.kind == "added":
        after = _at(written[1], edit.path, after)
    field = edit.path[-1] if edit.path else ""
    return ToldEdit(
        label=_label(edit.path, plans, names),
        kind=edit.kind,
        before="" if edit.kind == "added" else in_words(before, names, field),
        after="" if edit.kind == "removed" else in_words(after, names, field),
    )


def _at(document: Any, path: list[str], otherwise: Any) -> Any:
    for part in path:
        document = _entry(document, part)
        if document is None:
            return otherwise
    return document


def _label(path: list[str], plans: tuple[Any, Any], names: Names) -> str:
    parts: list[str] = []
    here: list[Any] = [plans[1], plans[0]]
    for part in path:
        entries = [_entry(one, part) for one in here]
        in_list = any(isinstance(one, list) for one in here)
        known = next((called for one in entries if (called := _called(one, part, names))), "")
        if not known and path[0] == "tasks":
            known = names.get(("task", part), "")
        parts.append(known or (names.get(("item", part), part) if in_list else part.replace("_", " ")))
        here = [one for one in entries if one is not None]
    text = " › ".join(parts) or "the whole plan"
    return text[0].upper() + text[1:]


def _called(entry: Any, part: str, names: Names) -> str:
    """What people call an entry of a list: its name, or whose it is beside its own mark."""
    if not isinstance(entry, dict):
        return ""
    if entry.get("name"):
        return str(entry["name"])
    seller = names.get(("supplier", str(entry.get("supplier"))), "") if entry.get("id") else ""
    return f"{seller}, {part}" if seller else ""


def _entry(container: Any, part: str) -> Any:
    if isinstance(container, dict):
        return container.get(part)
    if isinstance(container, list):
        named = [one for field in NAMES for one in container if isinstance(one, dict) and str(one.get(field)) == part]
        return named[0] if named else None
    return None


def in_words(value: Any, names: Names | None = None, field: str = "") -> str:
    """A value of a plan as people write it; ``field`` is what it stands under, ``names`` what its ids are called.

    >>> in_words("2027-02-06"), in_words(True), in_words([{"start": "1", "price": "9.40"}, {"start": "24", "price": 8}])
    ('Sat 6 Feb 2027', 'yes', '1: 9.40; 24: 8')
    >>> in_words(["lift", "saw"]), in_words({"id": "5", "start": "A", "note": "", "value": "12'"}), in_words([])
    ('lift, saw', "start A, value 12'", 'none')
    >>> in_words({"item": "cleat", "unit": "length", "breaks": [{"start": "1", "price": "19.40"}]})
    'cleat at 19.40 each length'
    """
    names = names or {}
    if value is None or value in ("", [], {}):
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        between = "; " if all(isinstance(one, dict) for one in value) else ", "
        return between.join(in_words(one, names, field) for one in value)
    if isinstance(value, dict):
        return _dict_in_words(value, names)
    text = str(value)
    if _DAY.fullmatch(text):
        try:
            return day_text(date.fromisoformat(text))
        except ValueError:
            return text
    return names.get((field, text), NOBODY_NOW if field == "person" else text)


def _dict_in_words(value: dict[str, Any], names: Names) -> str:
    if set(value) == {"start", "price"}:
        return f"{value['start']}: {value['price']}"
    rest, parts = {key: one for key, one in value.items() if one not in _EMPTY}, []
    if isinstance(value.get("breaks"), list) and "item" in value:
        steps = rest.pop("breaks", [])
        only = steps[0]["price"] if len(steps) == 1 and str(steps[0].get("start")) in ("0", "1") else ""
        price = f"{only} each {rest.pop('unit', '')}".rstrip() if only else in_words(steps)
        parts.append(f"{in_words(rest.pop('item'), names, 'item')} at {price}")
    if len(rest) > 1:
        rest.pop("id", None)  # the entry goes by it, or by its name, wherever it is told of
    for key, one in rest.items():
        said = in_words(one, names, key)
        nested = isinstance(one, dict) or (isinstance(one, list) and any(isinstance(part, dict) for part in one))
        parts.append(f"{key.replace('_', ' ')} ({said})" if nested else f"{key.replace('_', ' ')} {said}")
    return ", ".join(parts)
