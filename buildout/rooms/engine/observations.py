"""From a room's readings as written to the observations that are adjusted."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.network import Distance, End, Network, Observation, Offset, Running, Square
from buildout.rooms.engine.types import FIXING, Column, Datum, Reading, Room, ToolAccuracy
from buildout.units.lengths import UnitSystem, format_length, format_small, written_in
from buildout.units.value import Reason

MOST_CORNERS = 250
MOST_READINGS = 1500
LONGEST = 150_000.0
"""No tape or hand laser reads a length beyond this, mm (492 ft)."""
SWUNG = 1.5
"""Standard deviation, mm, of finding the least reading when a tape is swung against a wall for an offset."""
SQUARED = 3.0
"""Standard deviation, mm, of squaring a point on to a wall by eye (common practice, no published source)."""


_USUAL = {"tape": (1.2, 65e-6), "laser": (1.2, 10e-6), "rule": (0.8, 100e-6), "drawing": (25.0, 5e-3)}
"""Constant part in mm and share of the length, one standard deviation."""


def sigma(tool: str, length: float, tools: Sequence[ToolAccuracy] = ()) -> float:
    """Standard deviation of a reading in mm, by tool and length in mm.

    A tape held by two people is good to about 1/8 in up to 30 ft and 1/4 in from there to 100 ft, a hand
    laser to 1/16–1/8 in (common practice, no published source); half of that is taken as one standard
    deviation. A length scaled off an old drawing is no better than a few centimetres. ``tools`` states a
    room's own tools where they are better or worse.

    >>> round(sigma("tape", 10_000.0), 3)
    1.85
    """
    fixed, share = _USUAL[tool]
    for own in tools:
        if own.id == tool:
            fixed = max(float(own.fixed.mm) / 2, 0.05)
            share = 0.0
            if own.added is not None and own.every is not None and own.every.mm > 0:
                share = float(own.added.mm) / 2 / float(own.every.mm)
    return fixed + share * length


@dataclass
class Work:
    """What is known so far about one room while it is adjusted."""

    room: Room
    corners: list[str]
    clockwise: bool
    origin: str
    along: str
    others: list[str]
    """Marks and column centres."""
    readings: list[Reading]
    observations: dict[str, Observation]
    reasons: list[Reason] = field(default_factory=list)
    refused: dict[str, str] = field(default_factory=dict)
    """Readings that cannot be used at all, with why."""
    recorded: list[Reading] = field(default_factory=list)
    """Readings that fix no point."""
    units: UnitSystem = "feet-inches"
    """Messages speak as the readings are written."""

    @property
    def names(self) -> list[str]:
        return [*self.corners, *self.others]

    @property
    def fixed(self) -> dict[str, tuple[float | None, float | None]]:
        return {self.origin: (0.0, 0.0), self.along: (None, 0.0)}

    @property
    def lengths(self) -> list[Distance]:
        return [o for o in self.observations.values() if isinstance(o, Distance)]

    def network(self, without: Sequence[str] = ()) -> Network:
        kept = [o for reading_id, o in self.observations.items() if reading_id not in without]
        return Network(self.names, kept, self.fixed)

    def name(self, reading_id: str) -> str:
        return reading_name(next(r for r in self.readings if r.id == reading_id))

    def long(self, mm: float) -> str:
        return format_length(mm, self.units, denominator=8)

    def small(self, mm: float, denominator: int = 16) -> str:
        return format_small(mm, self.units, denominator=denominator)

    def stop(self, code: str, text: str, where: str, todo: str) -> None:
        self.reasons.append(Reason(code=code, text=text, where=where, severity="stop", todo=todo))

    def warn(self, code: str, text: str, where: str, todo: str) -> None:
        self.reasons.append(Reason(code=code, text=text, where=where, severity="warning", todo=todo))

    def note(self, code: str, text: str, where: str = "", todo: str = "") -> None:
        self.reasons.append(Reason(code=code, text=text, where=where, todo=todo))


# ---------------------------------------------------------------- reading the input


def prepare(room: Room) -> Work:
    clockwise = room.turning == "clockwise"
    datum = room.datum or Datum(origin=room.corners[0], along=room.corners[-1 if clockwise else 1 % len(room.corners)])
    work = Work(
        room=room, corners=list(room.corners), clockwise=clockwise, origin=datum.origin, along=datum.along,
        others=[*room.marks, *(c.id for c in room.columns)], readings=list(room.readings), observations={},
        units=written_in(r.value.text for r in room.readings),
    )  # fmt: skip
    twice = sorted({n for n in work.names if work.names.count(n) > 1})
    if twice:
        work.stop(
            "corners", f"The name {listed(twice)} is given to more than one point.", room.id,
            "Give every corner, mark and column a name of its own.",
        )  # fmt: skip
    elif any("." in n or not n.strip() for n in work.names):
        work.stop(
            "corners", "A point's name is empty or holds a full stop.", room.id,
            "Use letters for corners and marks, and K1, K2 … for columns.",
        )  # fmt: skip
    if len(room.corners) < 3:
        work.stop("corners", "A room needs at least three corners.", room.id, "Name the corners, such as A, B, C, D.")
    if datum.origin not in room.corners or datum.along not in room.corners or datum.origin == datum.along:
        work.stop(
            "datum", f"The datum {datum.origin}–{datum.along} is not two corners of this room.", room.id,
            f"Choose two different corners out of {', '.join(room.corners)}.",
        )  # fmt: skip
    if len(room.corners) > MOST_CORNERS or len(room.readings) > MOST_READINGS:
        work.stop(
            "too many", f"More than {MOST_CORNERS} corners or {MOST_READINGS} readings in one room.", room.id,
            "Split the room in two, with a shared wall.",
        )  # fmt: skip
    if work.reasons:
        return work
    columns = {c.id: c for c in room.columns}
    sound = {c.id for c in room.columns if _column_sizes(work, c)}
    seen: set[str] = set()
    for reading in room.readings:
        why = _refusal(reading, work, columns, sound, seen)
        seen.add(reading.id)
        if why:
            work.refused.setdefault(reading.id, why)
            continue
        if reading.kind in FIXING:
            work.observations[reading.id] = _observation(reading, columns, work)
        else:
            work.recorded.append(reading)
    _check_walls_close(work)
    return work


def _column_sizes(work: Work, column: Column) -> bool:
    if column.shape == "round":
        if column.diameter is None or column.diameter.mm <= 0:
            work.stop(
                "column size", f"Round column {column.id} has no diameter.", column.id,
                "Tape its girth and divide by 3.1416, or tape face to face, such as 10 3/4 in.",
            )  # fmt: skip
            return False
        return True
    if column.width is None or column.depth is None or column.width.mm <= 0 or column.depth.mm <= 0:
        work.stop(
            "column size", f"Rectangular column {column.id} lacks its width or depth.", column.id,
            "Tape it face to face both ways, such as 12 1/4 in and 12 1/4 in.",
        )  # fmt: skip
        return False
    if column.parallel_to and wall_ends(column.parallel_to, work.corners) is None:
        work.stop(
            "column wall", f"Column {column.id} is said to run along {column.parallel_to}, which is not a wall.",
            column.id, f"Name a wall by its two corners, such as {work.corners[0]}-{work.corners[1]}.",
        )  # fmt: skip
        return False
    return True


def wall_ends(wall: str, corners: Sequence[str]) -> tuple[str, str] | None:
    """Corners of a wall named either way round, in corner order."""
    for k, a in enumerate(corners):
        b = corners[(k + 1) % len(corners)]
        if wall in (f"{a}-{b}", f"{b}-{a}", f"{a}–{b}", f"{b}–{a}"):
            return a, b
    return None


SIDES = {"SW": (-0.5, -0.5), "SE": (0.5, -0.5), "NE": (0.5, 0.5), "NW": (-0.5, 0.5)}


def end_of(name: str, columns: dict[str, Column], work: Work) -> End:
    point, _, side = name.partition(".")
    column = columns.get(point)
    if column is None:
        return End(point)
    if column.shape == "round":
        return End(point, radius=float(column.diameter or 0) / 2)
    offset, frame = corner_offset(column, side, work)
    return End(point, offset=offset, frame=frame)


def corner_offset(column: Column, side: str, work: Work) -> tuple[Point, tuple[str, str] | None]:
    """Offset of a rectangular column's corner from its centre, in the frame of the wall it is parallel to.

    Corners are named as they lie on the sheet: SW is lower left with the datum wall along +x.
    """
    width, depth = float(column.width or 0), float(column.depth or 0)
    frame = wall_ends(column.parallel_to, work.corners) if column.parallel_to else (work.origin, work.along)
    if frame is not None and _runs_up(frame, work):
        width, depth = depth, width
    across, up = SIDES[side]
    return (across * width, up * depth), frame


def _runs_up(frame: tuple[str, str], work: Work) -> bool:
    """Whether a wall runs up the sheet, taken from its place in the order of right-angled corners or readings.

    Only walls an odd number of right-angled turns from the datum wall run up the sheet; the number of walls
    between them tells, as every turn is a quarter, inside or re-entrant.
    """
    if set(frame) == {work.origin, work.along}:
        return False
    n = len(work.corners)
    datum = min(
        (k for k in range(n) if {work.corners[k], work.corners[(k + 1) % n]} == {work.origin, work.along}), default=0
    )
    wall = next(k for k in range(n) if (work.corners[k], work.corners[(k + 1) % n]) == frame)
    return (wall - datum) % 2 == 1


def _observation(reading: Reading, columns: dict[str, Column], work: Work) -> Observation:
    value = float(reading.value.mm)
    spread = sigma(reading.tool, value, work.room.tools)
    match reading.kind:
        case "offset":
            spot = end_of(reading.point, columns, work)
            return Offset(reading.id, spot, (reading.start, reading.end), value, math.hypot(spread, SWUNG))
        case "running":
            spot = end_of(reading.point, columns, work)
            return Running(reading.id, spot, (reading.start, reading.end), value, math.hypot(spread, SQUARED))
        case "square":
            p, q = (float(leg.mm) for leg in reading.legs)
            # the marks on the arms are as uncertain as the tie between them
            spread = math.sqrt(
                spread**2 + (sigma(reading.tool, p, work.room.tools) ** 2 * p * p
                             + sigma(reading.tool, q, work.room.tools) ** 2 * q * q) / max(value, 1.0) ** 2
            )  # fmt: skip
            return Square(reading.id, reading.point, (reading.start, reading.end), (p, q), value, spread)
        case _:
            start, end = end_of(reading.start, columns, work), end_of(reading.end, columns, work)
            return Distance(id=reading.id, start=start, end=end, value=value, sigma=spread)


def _refusal(reading: Reading, work: Work, columns: dict[str, Column], sound: set[str], seen: set[str]) -> str:
    """Why a reading cannot be used at all; empty when it can. Tells the reason to the survey as well."""
    where = reading.id

    def no(code: str, why: str, todo: str) -> str:
        work.stop(code, why, where, todo)
        return why

    if reading.id in seen:
        return no(
            "reading id", f"Two readings are called {reading.id}.",
            "Give every reading a number of its own; repeats of a length are welcome.",
        )  # fmt: skip
    opening = reading.kind in ("clear width", "clear height")
    ends = [] if opening and not reading.start and not reading.end else [reading.start, reading.end]
    if reading.kind in ("offset", "running", "square"):
        ends.append(reading.point)
    for name in ends:
        why = _unknown(reading, name, work, columns, sound)
        if why:
            return why
    if ends and reading.start.partition(".")[0] == reading.end.partition(".")[0]:
        name = reading.start.partition(".")[0]
        return no(
            "zero length", f"Reading {reading.id} starts and ends at {name}.",
            "Name the two points the tape was held between.",
        )  # fmt: skip
    if reading.value.mm < 0 or (
        reading.value.mm == 0 and (reading.kind in ("distance", "square", "height") or opening)
    ):
        return no(
            "zero length", f"Reading {reading.id} has no length.", "Write what the tape showed, such as 12' 3 1/4\"."
        )
    if float(reading.value.mm) > LONGEST:
        return no(
            "too long", f"Reading {reading.id} says {work.long(float(reading.value.mm))}, longer than any tape or hand "
            f"laser reads.", "Check feet against inches, and metres against millimetres.",
        )  # fmt: skip
    if reading.kind in ("offset", "running", "square"):
        if any(name not in work.corners and name not in work.room.marks for name in (reading.start, reading.end)):
            return no(
                "not a wall", f"Reading {reading.id} is taken from {reading.start}–{reading.end}, which is not between "
                "corners or marks.", f"Name a wall by its corners, such as {work.corners[0]} and {work.corners[1]}.",
            )  # fmt: skip
        if reading.point.partition(".")[0] in (reading.start, reading.end):
            return no(
                "zero length", f"Reading {reading.id} goes from {reading.start}–{reading.end} to its own end "
                f"{reading.point}.", "Name the point the reading was taken to.",
            )  # fmt: skip
    if reading.kind == "square":
        return _bad_square(reading, no, work)
    if reading.kind in ("plumb", "flatness") and reading.over is not None and reading.over.mm <= 0:
        return no(
            "no height", f"Reading {reading.id} says over what height or length, but as nothing.", "Such as 6 ft."
        )
    named = {feature.id for feature in work.room.features}
    if (opening or reading.feature) and reading.feature not in named:
        return no(
            "unknown opening", f"Reading {reading.id} is of {reading.feature or 'no opening'}, which this room has "
            "not.", f"Use one of {', '.join(sorted(named))}." if named else "Add the opening to its wall first.",
        )  # fmt: skip
    return ""


def _bad_square(reading: Reading, no: Callable[[str, str, str], str], work: Work) -> str:
    if reading.point not in work.corners or len(reading.legs) != 2 or any(leg.mm <= 0 for leg in reading.legs):
        return no(
            "square legs", f"Square check {reading.id} lacks its corner or how far its two marks are from it.",
            "Name the corner and both legs, such as 3 ft and 4 ft; a square corner then shows 5 ft.",
        )  # fmt: skip
    p, q = (float(leg.mm) for leg in reading.legs)
    if not abs(p - q) < float(reading.value.mm) < p + q:
        return no(
            "square legs", f"Square check {reading.id} shows {work.long(float(reading.value.mm))}, which legs of "
            f"{work.long(p)} and {work.long(q)} cannot.", "Check the legs and read the tie again.",
        )  # fmt: skip
    return ""


def _unknown(reading: Reading, name: str, work: Work, columns: dict[str, Column], sound: set[str]) -> str:
    """Why a reading cannot go to a point of that name; empty when it can."""
    where = reading.id
    point, dot, side = name.partition(".")
    if point not in work.names:
        why = f"Reading {reading.id} goes to {name or 'no point'}, which is not a point of this room."
        work.stop("unknown point", why, where, f"Use one of {', '.join(work.names)}.")
        return why
    if point in columns:
        if point not in sound:
            return f"The size of column {point} is missing."
        square = columns[point].shape == "rectangular"
        if square and side not in SIDES:
            why = f"Reading {reading.id} goes to column {point} but not to one of its corners."
            work.stop("column corner", why, where, f"Name the corner, such as {point}.SW.")
            return why
        if not square and dot:
            why = f"Reading {reading.id} names a corner of the round column {point}."
            work.stop("column corner", why, where, f"Tape to its nearest face and write {point}.")
            return why
    elif dot:
        why = f"Reading {reading.id} goes to {name}, which is not a point of this room."
        work.stop("unknown point", why, where, f"Use one of {', '.join(work.names)}.")
        return why
    return ""


def _check_walls_close(work: Work) -> None:
    n = len(work.corners)
    lengths = []
    for k, a in enumerate(work.corners):
        pair = {a, work.corners[(k + 1) % n]}
        read = sorted(d.value for d in work.lengths if {d.start.point, d.end.point} == pair)
        if not read:
            return
        lengths.append((read[len(read) // 2], "–".join((a, work.corners[(k + 1) % n]))))
    longest, wall = max(lengths)
    rest = sum(length for length, _ in lengths) - longest
    if longest >= rest:
        work.stop(
            "walls cannot close",
            f"Wall {wall} is {work.long(longest)}, but all the other walls together reach only {work.long(rest)}.",
            wall, "Read the walls again: one is too long or another too short to meet.",
        )  # fmt: skip


def listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def reading_name(reading: Reading) -> str:
    """A reading as messages call it: its number and what was read."""
    line = f"{reading.start}–{reading.end}"
    match reading.kind:
        case "offset":
            what = f"{reading.point} off {line}"
        case "running":
            what = f"{reading.point} along {line}"
        case "square":
            what = f"square check at {reading.point}"
        case "distance":
            what = line
        case _:
            what = f"{reading.kind}, {reading.feature or line}"
    return f"{reading.id} ({what})"
