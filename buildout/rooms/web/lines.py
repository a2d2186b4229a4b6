"""Readings typed or pasted one a line, or sent as a CSV file: ``A B 31' 4 1/2"``."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, NamedTuple

from buildout.rooms.engine.types import ToolKind
from buildout.units.lengths import LengthError, parse_length

EXAMPLE = "A B 31' 4 1/2\""
MOST_LINES = 1000
LARGEST_FILE = 1_000_000
TOOLS: tuple[ToolKind, ...] = ("tape", "laser", "rule", "drawing")
WITH_POINT = ("offset", "running")
"""Kinds that name a third point: ``offset A B M 25' 0"``."""
COLUMNS = ("from", "to", "length", "tool", "who", "when", "note", "kind", "point")
"""Headings of a file, in the order they are read in when there are none."""


class TypedLine(NamedTuple):
    number: int
    """Counted from 1."""
    text: str
    reading: dict[str, Any]
    """As the plan keeps it, without its number."""


class WrongLine(NamedTuple):
    number: int
    text: str
    why: str


class ReadLines(NamedTuple):
    taken: list[TypedLine]
    wrong: list[WrongLine]


class LineError(ValueError):
    """What is wrong with a line, with an example."""


def read_lines(text: str, points: Sequence[str]) -> ReadLines:
    """Read a list of readings. Empty lines do not count; small letters are as good as capitals.

    >>> read_lines("a b 12' 3 1/4\\"\\nA Z 4'", ["A", "B"]).taken[0].reading
    {'start': 'A', 'end': 'B', 'value': '12\\' 3 1/4"'}
    """
    found = ReadLines([], [])
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        if len(found.taken) + len(found.wrong) >= MOST_LINES:
            found.wrong.append(WrongLine(number, line, f"More than {MOST_LINES} lines. Send them in two parts."))
            break
        try:
            found.taken.append(TypedLine(number, line, _line(line, points)))
        except LineError as error:
            found.wrong.append(WrongLine(number, line, str(error)))
    return found


def _line(line: str, points: Sequence[str]) -> dict[str, Any]:
    words = line.replace("\t", " ").split()
    kind = words[0].lower() if words and words[0].lower() in WITH_POINT else "distance"
    if kind != "distance":
        words = words[1:]
    wanted = 2 if kind == "distance" else 3
    # Commas, tabs and spaces part alike, but only before the length: 1,234 mm is one length.
    parts = re.split(r"[\s,;]+", " ".join(words), maxsplit=wanted)
    if len(parts) <= wanted or not parts[wanted].strip():
        if kind == "distance":
            raise LineError(f"write from, to and length, for example {EXAMPLE}")
        raise LineError(f"write {kind}, the wall's two corners, the point and the length: {kind} A B M 25' 0\"")
    names = [_point(part, points) for part in parts[:wanted]]
    return made_reading(names[0], names[1], parts[wanted], kind=kind, point=names[2] if wanted == 3 else "")


def _point(typed: str, points: Sequence[str]) -> str:
    known = {name.upper(): name for name in points}
    found = known.get(typed.strip().upper())
    if found is None:
        raise LineError(f"there is no point {typed.strip() or '(empty)'}. There are: {', '.join(points)}.")
    return found


def made_reading(start: str, end: str, value: str, *, kind: str = "distance", point: str = "") -> dict[str, Any]:
    """A reading as the plan keeps it. Raises ``LineError``."""
    if start == end:
        raise LineError("a reading goes to another point than it starts from.")
    if point and point in (start, end):
        raise LineError(f"a reading of kind {kind} goes to another point than the wall's own ends.")
    value = value.strip().strip(",;").strip()
    try:
        mm = parse_length(value)
    except LengthError as error:
        raise LineError(str(error)) from error
    if mm <= 0 and kind == "distance":
        raise LineError(f"{value} is no length. Write what the tape showed, for example 31' 4 1/2\".")
    reading = {"start": start, "end": end, "value": value}
    if kind != "distance":
        reading |= {"kind": kind, "point": point}
    return reading


# ------------------------------------------------------------------ files


class FileError(ValueError):
    """The file as a whole cannot be read."""


def read_csv(data: bytes, points: Sequence[str]) -> ReadLines:
    """Read a CSV file of readings, with a line of headings or without. Raises ``FileError``.

    Headings: from, to, length, and if wanted tool, who, when (2027-01-18), note, kind, point.
    """
    if len(data) > LARGEST_FILE:
        raise FileError("The file is larger than 1 MB. A list of readings is a few pages at most.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError("This is not a text file. Save the sheet as CSV (UTF-8) and choose that file.") from error
    if "\0" in text or not text.strip():
        raise FileError("There is no list of readings in this file. Save the sheet as CSV and choose that file.")
    first = text.lstrip().splitlines()[0]
    mark = max(",;\t", key=first.count)
    rows = list(csv.reader(io.StringIO(text), delimiter=mark))
    head, names = _headings(rows)
    found = ReadLines([], [])
    for number, row in enumerate(rows[head:], head + 1):
        if not any(cell.strip() for cell in row):
            continue
        if len(found.taken) + len(found.wrong) >= MOST_LINES:
            raise FileError(f"The file holds more than {MOST_LINES} readings. Send it in two parts.")
        shown = mark.join(row)
        try:
            cells = {name: cell.strip() for name, cell in zip(names, row, strict=False)}
            found.taken.append(TypedLine(number, shown, _row(cells, points)))
        except LineError as error:
            found.wrong.append(WrongLine(number, shown, str(error)))
    return found


def _headings(rows: Sequence[Sequence[str]]) -> tuple[int, list[str]]:
    """How many lines to skip, and what stands in each column."""
    first = [cell.strip().lower() for cell in rows[0]]
    if not {"from", "to", "length"} <= set(first):
        return 0, list(COLUMNS)
    unknown = [name for name in first if name and name not in COLUMNS]
    if unknown:
        raise FileError(f"The heading {unknown[0]!r} is not known. Known headings: {', '.join(COLUMNS)}.")
    return 1, first


def _row(cells: dict[str, str], points: Sequence[str]) -> dict[str, Any]:
    missing = [name for name in ("from", "to", "length") if not cells.get(name)]
    if missing:
        raise LineError(f"{missing[0]} is missing; write from, to and length, for example A,B,31' 4 1/2\"")
    kind = cells.get("kind", "").lower() or "distance"
    if kind not in ("distance", *WITH_POINT):
        raise LineError(f"a list holds the kinds distance, {' and '.join(WITH_POINT)}, not {kind}.")
    point = _point(cells.get("point", ""), points) if kind != "distance" else ""
    reading = made_reading(
        _point(cells["from"], points), _point(cells["to"], points), cells["length"], kind=kind, point=point
    )
    if tool := cells.get("tool", "").lower():
        if tool not in TOOLS:
            raise LineError(f"there is no tool {tool}. There are: {', '.join(TOOLS)}.")
        if tool != "tape":
            reading["tool"] = tool
    if when := cells.get("when", ""):
        try:
            reading["when"] = date.fromisoformat(when).isoformat()
        except ValueError as error:
            raise LineError(f"{when} is not a day such as 2027-01-18.") from error
    return reading | {name: cells[name][:200] for name in ("who", "note") if cells.get(name)}


def wrong_texts(lines: Iterable[WrongLine]) -> list[str]:
    return [f"Line {line.number}: {line.why}" for line in lines]
