"""Edits of the rooms in a plan. Each takes an editable copy and changes it in place; nothing here is stored."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from buildout.rooms.engine.move_wall import WallMove

Document = dict[str, Any]


def room_position(document: Document, room_id: str) -> int:
    """Where a room stands in the plan. Raises ``KeyError`` when it is not there."""
    for at, room in enumerate(document.get("rooms", [])):
        if room["id"] == room_id:
            return at
    raise KeyError(room_id)


def room_of(document: Document, room_id: str) -> dict[str, Any]:
    found: dict[str, Any] = document["rooms"][room_position(document, room_id)]
    return found


def part_position(room: dict[str, Any], part: str, part_id: str) -> int:
    for at, entry in enumerate(room.get(part, [])):
        if entry["id"] == part_id:
            return at
    raise KeyError(part_id)


def put_part(room: dict[str, Any], part: str, old_id: str, entry: dict[str, Any]) -> int:
    """Replace the entry called ``old_id``, or add one when there is none; returns its position."""
    entries = room.setdefault(part, [])
    for at, there in enumerate(entries):
        if old_id and there["id"] == old_id:
            entries[at] = entry
            return at
    entries.append(entry)
    return len(entries) - 1


def remove_part(room: dict[str, Any], part: str, part_id: str) -> None:
    del room[part][part_position(room, part, part_id)]


def next_reading_id(room: dict[str, Any]) -> str:
    numbers = [int(r["id"]) for r in room.get("readings", []) if str(r["id"]).isdigit()]
    return str(max(numbers, default=0) + 1)


def add_readings(room: dict[str, Any], lines: list[dict[str, Any]], *, who: str = "", when: str = "") -> None:
    """Append readings taken in one go, numbered on from the last; what a line says of itself stays."""
    said = ({"who": who} if who else {}) | ({"when": when} if when else {})
    for line in lines:
        room.setdefault("readings", []).append({"id": next_reading_id(room)} | said | line)


def add_room(document: Document, room: dict[str, Any]) -> None:
    document.setdefault("rooms", []).append(room)


def remove_room(document: Document, room_id: str) -> None:
    """Take a room out together with what was to be built in it, and what doors and walls of others say of it."""
    del document["rooms"][room_position(document, room_id)]
    for room in document["rooms"]:
        _forget(room, lambda named: named == room_id)
    document["fitouts"] = [f for f in document.get("fitouts", []) if f["room"] != room_id]


def cut_loose(room: dict[str, Any]) -> None:
    """Drop what doors and walls say of other rooms, for a room that leaves them."""
    _forget(room, lambda _named: True)


def _forget(room: dict[str, Any], which: Callable[[str], bool]) -> None:
    for part, key in (("features", "other_side"), ("walls", "backs_on")):
        for entry in room.get(part, []):
            if key in entry and which(entry[key]["room"]):
                del entry[key]


def reshape(room: dict[str, Any], after: dict[str, Any]) -> None:
    """Replace a room's own fields. A datum on a corner that is gone goes too, so that the usual one holds again."""
    room.clear()
    room.update(after)
    datum = room.get("datum")
    if datum and not {datum["origin"], datum["along"]} <= set(room["corners"]):
        del room["datum"]


def apply_wall_move(room: dict[str, Any], move: WallMove) -> None:
    """Write the lengths a moved wall leads to, and say so beside every reading that was rewritten."""
    for dimension in move.dimensions:
        entry = room[dimension.part][part_position(room, dimension.part, dimension.id)]
        entry[dimension.field] = dimension.after
        if dimension.part == "readings":
            said = f"{move.text}: was {dimension.before}."
            note = str(entry.get("note", "")).strip()
            entry["note"] = f"{note}{'' if note.endswith('.') else '.'} {said}" if note else said
