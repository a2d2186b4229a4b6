"""From tape readings to the shape of a room, with every reading kept and judged.

Method: weighted least squares on point coordinates, readings weighted by what a tape or laser is good
for, one wrong reading at a time tested by standardised residuals (W. Baarda, A testing procedure for use
in geodetic networks, 1968). A reading is only named wrong when leaving it out explains the misfit clearly
better than leaving out any other; otherwise the readings in question are called undecided.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from buildout.rooms.engine import geometry
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.network import (
    CHECKED,
    LIMIT,
    RIVAL,
    Adjusted,
    Array,
    Distance,
    End,
    Network,
    chi_square_limit,
)
from buildout.rooms.engine.shape import GRAZE, Shape, Tie, find_shapes, judge_shape
from buildout.rooms.engine.types import Column, Datum, Reading, Room, Survey, SurveyedLength, SurveyedPoint
from buildout.rooms.engine.types import SurveyedReading as Judged
from buildout.units.lengths import (
    INCH_MM,
    LengthError,
    UnitSystem,
    format_length,
    format_small,
    parse_length,
    written_in,
)
from buildout.units.value import Reason, Status, snap

HALF_INCH = 12.7
"""A disagreement beyond this is a mistake, not an error of the tape (common practice, no published source)."""
NINETY_FIVE = 1.96
POORLY_CHECKED = 0.1
MOST_WRONG = 3
"""More wrong readings than this are not untangled: the room is to be taped again."""
MOST_CORNERS = 60
MOST_READINGS = 400


def sigma(tool: str, length: float) -> float:
    """Standard deviation of a reading in mm, by tool and length in mm.

    A tape held by two people is good to about 1/8 in up to 30 ft and 1/4 in from there to 100 ft, a hand
    laser to 1/16–1/8 in (common practice, no published source); half of that is taken as one standard
    deviation. A length scaled off an old drawing is no better than a few centimetres.
    """
    fixed, share = {"tape": (1.2, 65e-6), "laser": (1.2, 10e-6), "rule": (0.8, 100e-6), "drawing": (25.0, 5e-3)}[tool]
    return fixed + share * length


@dataclass
class _Work:
    """What is known so far about one room while it is adjusted."""

    room: Room
    corners: list[str]
    clockwise: bool
    origin: str
    along: str
    others: list[str]
    """Marks and column centres."""
    readings: list[Reading]
    distances: dict[str, Distance]
    reasons: list[Reason] = field(default_factory=list)
    refused: dict[str, str] = field(default_factory=dict)
    """Readings that cannot be used at all, with why."""
    units: UnitSystem = "feet-inches"
    """Messages speak as the readings are written."""

    @property
    def names(self) -> list[str]:
        return [*self.corners, *self.others]

    @property
    def fixed(self) -> dict[str, tuple[float | None, float | None]]:
        return {self.origin: (0.0, 0.0), self.along: (None, 0.0)}

    def network(self, without: Sequence[str] = ()) -> Network:
        kept = [d for reading_id, d in self.distances.items() if reading_id not in without]
        return Network(self.names, kept, self.fixed)

    def name(self, reading_id: str) -> str:
        reading = next(r for r in self.readings if r.id == reading_id)
        return f"{reading.id} ({reading.start}–{reading.end})"

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


def adjust(room: Room) -> Survey:
    """Adjust a room's readings.

    Returns coordinates in mm (datum corner at the origin, datum wall along +x), every reading with its
    residual and verdict, wall lengths, angles and area. ``status``: ``proven`` when all readings agree and
    check each other; ``feasible`` when the room can be relied on but something was set aside or stays
    unchecked; ``underdetermined`` when the readings leave points loose or leave open which of them is wrong;
    ``infeasible`` when no room has these readings; ``empty`` when no corners are named. Never raises for
    readings that make no sense: they are named in ``reasons``.
    """
    if not room.corners:
        return _nothing(room, "empty", [_no_corners(room)])
    work = _prepare(room)
    if any(r.code in ("corners", "datum", "too many") for r in work.reasons):
        return _nothing(room, "infeasible", work.reasons)
    if not work.distances:
        work.stop(
            "no readings", "No reading fixes this room yet.", room.id,
            "Tape every wall first, then at least one diagonal for every extra corner.",
        )  # fmt: skip
        return _nothing(room, "underdetermined", work.reasons, loose=work.names[1:], work=work)
    return _adjust(work)


def _no_corners(room: Room) -> Reason:
    return Reason(
        code="no corners", text="The room has no corners yet.", where=room.id, severity="stop",
        todo="Name the corners in order round the room, such as A, B, C, D.",
    )  # fmt: skip


def _nothing(
    room: Room, status: Status, reasons: list[Reason], loose: Sequence[str] = (), work: _Work | None = None
) -> Survey:
    refused = work.refused if work else {}
    readings = [
        Judged(
            id=r.id, start=r.start, end=r.end, observed=snap(r.value.mm), adjusted=snap(r.value.mm), residual=0.0,
            redundancy=0.0, standardised=None, used=False, verdict="set aside" if r.id in refused else "unchecked",
            why=refused.get(r.id, ""),
        )
        for r in room.readings
    ]  # fmt: skip
    return Survey(
        room=room.id, status=status, points=[], readings=readings, walls=[], diagonals=[], angles={}, area=0.0,
        perimeter=0.0, degrees_of_freedom=0, misfit=0.0, loose=list(loose), undecided=[], reasons=reasons,
    )  # fmt: skip


# ---------------------------------------------------------------- reading the input


def _prepare(room: Room) -> _Work:
    clockwise = room.turning == "clockwise"
    datum = room.datum or Datum(origin=room.corners[0], along=room.corners[-1 if clockwise else 1 % len(room.corners)])
    work = _Work(
        room=room, corners=list(room.corners), clockwise=clockwise, origin=datum.origin, along=datum.along,
        others=[*room.marks, *(c.id for c in room.columns)], readings=list(room.readings), distances={},
        units=written_in(r.value.text for r in room.readings),
    )  # fmt: skip
    twice = sorted({n for n in work.names if work.names.count(n) > 1})
    if twice:
        work.stop(
            "corners", f"The name {_list(twice)} is given to more than one point.", room.id,
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
        value = float(reading.value.mm)
        work.distances[reading.id] = Distance(
            id=reading.id, start=_end(reading.start, columns, work), end=_end(reading.end, columns, work),
            value=value, sigma=sigma(reading.tool, value),
        )  # fmt: skip
    _check_walls_close(work)
    return work


def _column_sizes(work: _Work, column: Column) -> bool:
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
    if column.parallel_to and _wall_ends(column.parallel_to, work.corners) is None:
        work.stop(
            "column wall", f"Column {column.id} is said to run along {column.parallel_to}, which is not a wall.",
            column.id, f"Name a wall by its two corners, such as {work.corners[0]}-{work.corners[1]}.",
        )  # fmt: skip
        return False
    return True


def _wall_ends(wall: str, corners: Sequence[str]) -> tuple[str, str] | None:
    """Corners of a wall named either way round, in corner order."""
    for k, a in enumerate(corners):
        b = corners[(k + 1) % len(corners)]
        if wall in (f"{a}-{b}", f"{b}-{a}", f"{a}–{b}", f"{b}–{a}"):
            return a, b
    return None


_SIDES = {"SW": (-0.5, -0.5), "SE": (0.5, -0.5), "NE": (0.5, 0.5), "NW": (-0.5, 0.5)}


def _end(name: str, columns: dict[str, Column], work: _Work) -> End:
    point, _, side = name.partition(".")
    column = columns.get(point)
    if column is None:
        return End(point)
    if column.shape == "round":
        return End(point, radius=float(column.diameter or 0) / 2)
    offset, frame = _corner_offset(column, side, work)
    return End(point, offset=offset, frame=frame)


def _corner_offset(column: Column, side: str, work: _Work) -> tuple[Point, tuple[str, str] | None]:
    """Offset of a rectangular column's corner from its centre, in the frame of the wall it is parallel to.

    Corners are named as they lie on the sheet: SW is lower left with the datum wall along +x.
    """
    width, depth = float(column.width or 0), float(column.depth or 0)
    frame = _wall_ends(column.parallel_to, work.corners) if column.parallel_to else (work.origin, work.along)
    if frame is not None and _runs_up(frame, work):
        width, depth = depth, width
    across, up = _SIDES[side]
    return (across * width, up * depth), frame


def _runs_up(frame: tuple[str, str], work: _Work) -> bool:
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


def _refusal(reading: Reading, work: _Work, columns: dict[str, Column], sound: set[str], seen: set[str]) -> str:
    """Why a reading cannot be used at all; empty when it can. Tells the reason to the survey as well."""
    where = reading.id
    if reading.id in seen:
        why = f"Two readings are called {reading.id}."
        work.stop("reading id", why, where, "Give every reading a number of its own; repeats of a length are welcome.")
        return why
    for name in (reading.start, reading.end):
        point, dot, side = name.partition(".")
        if point not in work.names:
            why = f"Reading {reading.id} goes to {name}, which is not a point of this room."
            work.stop("unknown point", why, where, f"Use one of {', '.join(work.names)}.")
            return why
        if point in columns:
            if point not in sound:
                return f"The size of column {point} is missing."
            square = columns[point].shape == "rectangular"
            if square and side not in _SIDES:
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
    if reading.start.partition(".")[0] == reading.end.partition(".")[0]:
        why = f"Reading {reading.id} starts and ends at {reading.start.partition('.')[0]}."
        work.stop("zero length", why, where, "Name the two points the tape was held between.")
        return why
    if reading.value.mm <= 0:
        why = f"Reading {reading.id} has no length."
        work.stop("zero length", why, where, "Write what the tape showed, such as 12' 3 1/4\".")
        return why
    return ""


def _check_walls_close(work: _Work) -> None:
    n = len(work.corners)
    lengths = []
    for k, a in enumerate(work.corners):
        pair = {a, work.corners[(k + 1) % n]}
        read = sorted(d.value for d in work.distances.values() if {d.start.point, d.end.point} == pair)
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


# ---------------------------------------------------------------- adjusting


def _adjust(work: _Work) -> Survey:
    network = work.network()
    shapes = find_shapes(
        network, work.corners, work.others, _ties(work), clockwise=work.clockwise, origin=work.origin, along=work.along
    )
    shape = shapes[0]
    start = shape.x
    if network.judge(start).loose:
        return _loose(work, network, network.fit(start))
    aside: list[str] = []
    undecided: list[str] = []
    spread = 0.0
    x = network.fit(start)
    adjusted = network.judge(x)
    whole = adjusted
    if adjusted.freedom > 0 and _worst(adjusted) > LIMIT:
        aside, undecided, spread = _explain(work, start, adjusted)
        if aside:
            network = work.network(aside)
            x = network.fit(start)
            adjusted = network.judge(x)
            if adjusted.loose:  # cannot happen while redundancy is checked, but never trust a loose room
                return _loose(work, network, x)
    _tell_wrong(work, whole, adjusted, aside, undecided, spread)
    settled = not undecided or spread <= HALF_INCH
    if settled:
        _check_agreement(work, adjusted)
        _check_mirrors(work, network, x, shapes)
    _check_triangles(work, aside)
    _check_outline(work, adjusted)
    _tell_unchecked(work, adjusted)
    stops = [r for r in work.reasons if r.severity == "stop"]
    status: Status
    if any(r.code not in ("undecided", "mirror") for r in stops):
        status = "infeasible"
    elif stops:
        status = "underdetermined"
    elif any(r.severity == "warning" for r in work.reasons) or _unchecked(adjusted, network):
        status = "feasible"
    else:
        status = "proven"
    return _result(work, network, x, adjusted, whole, aside, undecided, status)


def _ties(work: _Work) -> list[Tie]:
    return [
        Tie(start=d.start.point, end=d.end.point, value=d.value + d.start.radius + d.end.radius)
        for d in work.distances.values()
    ]


def _worst(adjusted: Adjusted) -> float:
    return max((abs(w) for w in adjusted.standardised if w is not None), default=0.0)


def _explain(work: _Work, start: Array, adjusted: Adjusted) -> tuple[list[str], list[str], float]:
    """Which readings to set aside; or which are undecided and how far apart they would put the room.

    One reading is tried first, then pairs and triples when one is not enough. A set is named only when no
    rival of its size comes within 10.8 of its vᵀPv.
    """
    ids = list(work.distances)
    ranked = sorted(
        (-abs(w), k) for k, w in enumerate(adjusted.standardised) if w is not None and adjusted.redundancy[k] >= CHECKED
    )
    suspects = [ids[k] for _, k in ranked[:6]]
    far = work.network()
    off = (far.evaluate(start)[0] - far.observed) / far.sigma
    outliers = [ids[k] for k in sorted(range(len(ids)), key=lambda k: (-abs(off[k]), k)) if abs(off[k]) > LIMIT]
    rivals: list[tuple[float, tuple[str, ...], Adjusted]] = []
    for size in range(1, MOST_WRONG + 1):
        if adjusted.freedom < size:
            break
        pool = suspects if size == 1 else list(dict.fromkeys([*outliers[:6], *suspects]))[:8]
        tried = []
        for group in itertools.combinations(pool, size):
            network = work.network(group)
            judged = network.judge(network.fit(start))
            if not judged.loose:
                tried.append((judged.misfit, group, judged))
        tried.sort(key=lambda t: (t[0], t[1]))
        if not tried:
            break
        rivals = [t for t in tried if t[0] <= tried[0][0] + RIVAL]
        if _worst(tried[0][2]) <= LIMIT:
            break
    else:
        rivals = []
    if not rivals or _worst(rivals[0][2]) > LIMIT:
        named = list(dict.fromkeys([*outliers, *suspects]))
        return [], [i for i in ids if i in named], math.inf
    if len(rivals) == 1:
        return list(rivals[0][1]), [], 0.0
    spread = max(
        geometry.distance(a[2].points[n], b[2].points[n])
        for a, b in itertools.combinations(rivals, 2)
        for n in work.names
    )
    named = [i for _, group, _ in rivals for i in group]
    return [], [i for i in ids if i in named], spread


def _tell_wrong(
    work: _Work, whole: Adjusted, adjusted: Adjusted, aside: list[str], undecided: list[str], spread: float
) -> None:
    for reading_id in aside:
        reading = next(r for r in work.readings if r.id == reading_id)
        better, within = _predict(work, aside, adjusted, reading_id)
        short = better - float(reading.value.mm)
        slip = _slip(reading, better, max(3 * within, HALF_INCH / 2)) or _other_corner(work, adjusted, reading, within)
        size = _size(work, short, max(3 * within, HALF_INCH / 2))
        work.warn(
            "blunder",
            f"Reading {work.name(reading_id)} is set aside: it says {reading.value.text.strip()}, but the other "
            f"readings agree on {work.long(better)} (± {work.small(NINETY_FIVE * within)}). "
            f"It is about {size} too {'short' if short > 0 else 'long'}{slip}.",
            reading_id,
            f"Tape {reading.start}–{reading.end} again and write the new reading; {work.long(better)} is expected.",
        )
    if undecided and math.isinf(spread):
        work.stop(
            "undecided",
            "Several readings are wrong and they cannot be told apart. The readings in question are "
            f"{_list([work.name(i) for i in undecided])}.",
            undecided[0], "Tape these again, the longest first, and add a control mark tied to every corner.",
        )  # fmt: skip
    elif undecided:
        text = (
            f"The readings do not fit together, and the geometry cannot say which one is wrong: "
            f"{_list([work.name(i) for i in undecided])}. Any one of them explains it equally well."
        )
        todo = "Tape them again. A control mark on the floor tied to every corner would show which one is off."
        if spread <= HALF_INCH:
            work.warn("undecided", f"{text} The room changes by at most {work.small(spread)}.", undecided[0], todo)
        else:
            work.stop("undecided", f"{text} The room would differ by {work.long(spread)}.", undecided[0], todo)


def _predict(work: _Work, aside: Sequence[str], adjusted: Adjusted, reading_id: str) -> tuple[float, float]:
    """What a reading left out should have shown, and the standard deviation of that."""
    probe = Network(work.names, [work.distances[reading_id]], work.fixed)
    computed, design = probe.evaluate(probe.pack(adjusted.points))
    variance = float(design[0] @ adjusted.cofactor @ design[0])
    return float(computed[0]), math.sqrt(max(0.0, variance))


def _size(work: _Work, short: float, within: float) -> str:
    """How far a reading is off: whole inches where it is about that, feet from two feet up."""
    inch = float(INCH_MM)
    if work.units == "metric" or abs(short) > 24.5 * inch:
        return work.long(abs(short))
    whole = round(abs(short) / inch)
    if whole and abs(abs(short) - whole * inch) <= within:
        return f"{whole} in"
    return work.small(abs(short), 8)


def _other_corner(work: _Work, adjusted: Adjusted, reading: Reading, within: float) -> str:
    """Whether the written length is that to another corner or mark from one of the two ends."""
    plain = [n for n in work.names if n in work.corners or n in work.room.marks]
    for here, there in ((reading.start, reading.end), (reading.end, reading.start)):
        if here not in plain:
            continue
        for name in plain:
            if name in (here, there):
                continue
            away = geometry.distance(adjusted.points[here], adjusted.points[name])
            if abs(away - float(reading.value.mm)) <= max(3 * within, HALF_INCH / 2):
                return f". It would fit {here}–{name}"
    return ""


def _slip(reading: Reading, better: float, within: float) -> str:
    """The usual slip that leads from the better value to what was written; empty when none does."""
    written = float(reading.value.mm)
    long = written - better
    inch = float(INCH_MM)
    for digits in _swapped(reading.value.text):
        if abs(digits - better) <= within:
            return ", as if two digits had changed places"
    for feet in (1, 2, 5, 10):
        if abs(abs(long) - feet * 12 * inch) <= within:
            word = {1: "one", 2: "two", 5: "five", 10: "ten"}[feet]
            return f": a {word}-foot slip of the tape" if feet > 1 else ": a one-foot slip of the tape"
    if abs(long - inch) <= min(within, inch / 4):
        return ": measured from the 1 in mark without taking it off"
    if 2.75 * inch <= abs(long) <= 4.25 * inch:
        return ", about the length of a tape's case"
    if abs(written - better * 2.54) <= 2.54 * within or abs(written - better / 2.54) <= within:
        return ", as if the wrong side of an inch and centimetre tape had been read"
    decimal = re.fullmatch(r"\s*([0-9]+)\s*(?:'|ft)\s*([0-9]+)\s*(?:\"|in)\s*", reading.value.text)
    if (
        decimal
        and len(decimal[2]) == 1
        and abs((int(decimal[1]) + int(decimal[2]) / 10) * 12 * inch - better) <= within
    ):
        return ", as if tenths of a foot had been written as inches"
    return ""


def _swapped(text: str) -> list[float]:
    """Values of a written length with two neighbouring or two whole numbers' last digits changed round."""
    places = [k for k, c in enumerate(text) if c.isdigit()]
    found = []
    for a, b in itertools.combinations(places, 2):
        if text[a] == text[b]:
            continue
        changed = list(text)
        changed[a], changed[b] = changed[b], changed[a]
        try:
            found.append(float(parse_length("".join(changed))))
        except LengthError:
            continue
    return found


def _check_agreement(work: _Work, adjusted: Adjusted) -> None:
    if adjusted.freedom > 0 and _worst(adjusted) <= LIMIT:
        limit = chi_square_limit(adjusted.freedom, 0.001)
        if adjusted.misfit > limit:
            work.warn(
                "loose agreement",
                "No single reading stands out, but together they agree less well than a careful taping does.",
                work.room.id, "Check the tape against another one, and tape the longest readings again.",
            )  # fmt: skip
    if adjusted.freedom == 0:
        work.warn(
            "nothing checked",
            "There are just enough readings to draw the room and none to check it: a wrong one would not show.",
            work.room.id, "Tape at least one more diagonal, or a control mark tied to every corner.",
        )  # fmt: skip


def _check_mirrors(work: _Work, network: Network, x: Array, shapes: Sequence[Shape]) -> None:
    """Ask for a reading where a point could as well lie on the other side of what it is tied to."""
    base = network.cost(x)
    points = network.unpack(x)
    rivals: dict[str, None] = {}
    chosen = judge_shape(network, x, work.corners, work.others, work.clockwise)
    for other in shapes[1:]:
        if other.sound and network.cost(other.x) <= base + RIVAL and other.skew <= chosen.skew + 10:
            there = network.unpack(other.x)
            for name in work.names:
                if geometry.distance(points[name], there[name]) > 50:
                    rivals[name] = None
    for name in work.names:
        if name in (work.origin, work.along) or name in rivals:
            continue
        partners = sorted(
            {(d.end if d.start.point == name else d.start).point for d in network.distances
             if name in (d.start.point, d.end.point)}
        )  # fmt: skip
        if len(partners) < 2:
            continue
        a, b = max(itertools.combinations(partners, 2), key=lambda ab: geometry.distance(points[ab[0]], points[ab[1]]))
        flipped = {**points, name: _mirrored(points[name], points[a], points[b])}
        y = network.fit(network.pack(flipped))
        if geometry.distance(network.unpack(y)[name], points[name]) <= 50 or network.cost(y) > base + RIVAL:
            continue
        again = judge_shape(network, y, work.corners, work.others, work.clockwise)
        if again.sound and (name in work.others or again.skew <= chosen.skew + 10):
            rivals[name] = None
    for name in rivals:
        free = next((c for c in work.corners if c != name and not _read(work, c, name)), work.corners[0])
        report = work.warn if name in work.room.marks else work.stop
        report(
            "mirror", f"The readings fit two places of {name}, mirror images of each other.", name,
            f"Tape one more length to {name}, such as {free}–{name}.",
        )  # fmt: skip


def _read(work: _Work, a: str, b: str) -> bool:
    return any({d.start.point, d.end.point} == {a, b} for d in work.distances.values())


def _mirrored(p: Point, a: Point, b: Point) -> Point:
    square = max(geometry.distance(a, b) ** 2, 1e-9)
    share = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / square
    foot = (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]))
    return 2 * foot[0] - p[0], 2 * foot[1] - p[1]


def _check_triangles(work: _Work, aside: Sequence[str]) -> None:
    """Three readings between three points of which one is longer than the other two together."""
    between: dict[tuple[str, str], tuple[float, float, str]] = {}
    for reading_id, d in work.distances.items():
        if reading_id in aside or d.start.offset != (0.0, 0.0) or d.end.offset != (0.0, 0.0):
            continue
        pair = (min(d.start.point, d.end.point), max(d.start.point, d.end.point))
        between.setdefault(pair, (d.value + d.start.radius + d.end.radius, d.sigma, reading_id))
    for a, b, c in itertools.combinations(sorted(work.names), 3):
        sides = [between[p] for p in ((a, b), (b, c), (a, c)) if p in between]
        if len(sides) < 3:
            continue
        longest = max(sides)
        rest = [s for s in sides if s is not longest]
        gap = longest[0] - rest[0][0] - rest[1][0]
        if gap > LIMIT * math.sqrt(sum(s[1] ** 2 for s in sides)):
            work.stop(
                "triangle",
                f"Readings {_list([work.name(s[2]) for s in sorted(sides, key=lambda s: s[2])])} cannot meet: "
                f"{work.name(longest[2])} is {work.long(gap)} longer than the other two together.",
                longest[2], "Tape these three again.",
            )  # fmt: skip


def _check_outline(work: _Work, adjusted: Adjusted) -> None:
    ring = [adjusted.points[name] for name in work.corners]
    crossed = geometry.crossing_sides(ring)
    if crossed is not None:
        n = len(ring)
        one, two = (f"{work.corners[k]}–{work.corners[(k + 1) % n]}" for k in crossed)
        work.stop(
            "outline crosses itself", f"Walls {one} and {two} cross each other.", one,
            "Check that the corners are in order round the room and that the readings name the right corners.",
        )  # fmt: skip
        return
    if (geometry.signed_area(ring) < 0) != work.clockwise:
        work.stop(
            "turning", f"The readings do not allow the corners to run {work.room.turning} round the room.",
            work.room.id, "Check the order of the corners and which way round they run.",
        )  # fmt: skip
        return
    for column in work.room.columns:
        if not geometry.inside_or_near(ring, adjusted.points[column.id], GRAZE):
            work.stop(
                "column outside", f"Column {column.id} falls outside the room.", column.id,
                f"Check the readings to {column.id}: one may start at another corner.",
            )  # fmt: skip
    for mark in work.room.marks:
        if not geometry.inside_or_near(ring, adjusted.points[mark], GRAZE):
            work.warn("mark outside", f"Mark {mark} falls outside the room.", mark, f"Check the readings to {mark}.")


def _unchecked(adjusted: Adjusted, network: Network) -> list[str]:
    return [d.id for d, r in zip(network.distances, adjusted.redundancy, strict=True) if r < CHECKED]


def _tell_unchecked(work: _Work, adjusted: Adjusted) -> None:
    if adjusted.freedom == 0:
        return
    used = [i for i in work.distances if not any(i == r.where and r.code == "blunder" for r in work.reasons)]
    alone = [i for i, r in zip(used, adjusted.redundancy, strict=True) if r < CHECKED]
    weak = [i for i, r in zip(used, adjusted.redundancy, strict=True) if CHECKED <= r < POORLY_CHECKED]
    if alone:
        work.warn(
            "unchecked", f"No other reading checks {_list([work.name(i) for i in alone])}: a mistake would not show.",
            alone[0], "Tape it a second time from the other end, as a separate reading.",
        )  # fmt: skip
    if weak:
        work.note(
            "weakly checked",
            f"A mistake would hardly show in {_list([work.name(i) for i in weak])}.",
            weak[0], "Tape it a second time from the other end, as a separate reading.",
        )  # fmt: skip


# ---------------------------------------------------------------- loose rooms


def _loose(work: _Work, network: Network, x: Array) -> Survey:
    adjusted = network.judge(x)
    _check_triangles(work, [])
    broken = any(r.code in ("triangle", "walls cannot close") for r in work.reasons)
    wanted: dict[str, list[str]] = {}
    for what, name in [] if broken else _wanted(work, network, x, adjusted):
        wanted.setdefault(name, []).append(what)
    for name, readings_wanted in wanted.items():
        kind = "Corner" if name in work.corners else "Mark" if name in work.room.marks else "Column"
        ties = sum(1 for d in network.distances if name in (d.start.point, d.end.point))
        held = "no reading reaches it" if not ties else f"{ties} reading{'s' if ties > 1 else ''} cannot hold it"
        work.stop("loose point", f"{kind} {name} is free to move: {held}.", name, f"Tape {_list(readings_wanted)}.")
    kept = {n: p for n, p in adjusted.points.items() if n not in adjusted.loose}
    points = [_point(work, n, p, adjusted) for n, p in kept.items() if n in work.corners or n in work.room.marks]
    if len(points) < 2:
        points = []
    readings = [
        Judged(
            id=r.id, start=r.start, end=r.end, observed=snap(r.value.mm), adjusted=snap(r.value.mm), residual=0.0,
            redundancy=0.0, standardised=None, used=r.id in work.distances,
            verdict="set aside" if r.id in work.refused else "unchecked", why=work.refused.get(r.id, ""),
        )
        for r in work.readings
    ]  # fmt: skip
    walls = []
    if len(points) > 1:
        walls = [w for w in _walls(work, network, adjusted) if w.start in kept and w.end in kept]
    return Survey(
        room=work.room.id, status="infeasible" if broken else "underdetermined", points=points, readings=readings,
        walls=walls, diagonals=[], angles={}, area=0.0, perimeter=0.0, degrees_of_freedom=adjusted.freedom,
        misfit=snap(adjusted.misfit, 1e-4), loose=adjusted.loose, undecided=[], reasons=work.reasons,
    )  # fmt: skip


def _wanted(work: _Work, network: Network, x: Array, adjusted: Adjusted) -> list[tuple[str, str]]:
    """Readings that would hold every loose point, most useful first: (what to tape, the point it holds)."""
    null = adjusted.null
    ring = [adjusted.points[n] for n in work.corners]
    simple = geometry.crossing_sides(ring) is None
    columns = {c.id: c for c in work.room.columns}
    marks = set(work.room.marks)
    pairs = [(a, b) for a, b in itertools.combinations(work.names, 2) if a not in columns or b not in columns]
    found: list[tuple[str, str]] = []
    while null.shape[1]:
        best: tuple[float, str, str] | None = None
        row = null[:, 0]
        for a, b in pairs:
            if _read(work, a, b) and a not in columns and b not in columns:
                continue
            probe = Network(work.names, [Distance("?", End(a), End(b), 1.0, 1.0)], work.fixed)
            design = probe.evaluate(x)[1][0]
            gain = float(((design @ null) ** 2).sum())
            seen = not simple or geometry.in_sight(ring, adjusted.points[a], adjusted.points[b])
            wall = b in _neighbours(a, work.corners)
            known = 0.01 if a in columns or b in columns else 0.1 if a in marks or b in marks else 1.0
            score = gain * (1.0 if wall else 0.8) * (1.0 if seen else 0.02) * known  # corners first, then the rest
            if best is None or score > best[0] * 1.0001:
                best, row = (score, a, b), design
        if best is None or best[0] < 1e-9:
            break
        _, a, b = best
        held = next((n for n in (b, a) if n in adjusted.loose), b)
        other = a if held == b else b
        target = held if held not in columns else _on_column(columns[held])
        found.append((f"{other}–{held}" if held not in columns else f"from {other} to {target}", held))
        pull = row @ null
        _, _, basis = _svd(pull.reshape(1, -1))
        null = null @ basis[1:].T
    named = {held for _, held in found}
    for name in adjusted.loose:
        if name not in named and not found:
            found.append((f"from two known corners to {name}", name))
    return found


def _svd(matrix: Array) -> tuple[Array, Array, Array]:
    import numpy as np

    u, s, v = np.linalg.svd(matrix, full_matrices=True)
    return u, s, v


def _on_column(column: Column) -> str:
    if column.shape == "round":
        return f"the nearest face of column {column.id}"
    return f"a named corner of column {column.id}, such as {column.id}.SW"


def _neighbours(name: str, corners: Sequence[str]) -> tuple[str, ...]:
    if name not in corners:
        return ()
    k = list(corners).index(name)
    return corners[k - 1], corners[(k + 1) % len(corners)]


# ---------------------------------------------------------------- result


def _result(
    work: _Work, network: Network, x: Array, adjusted: Adjusted, whole: Adjusted,
    aside: Sequence[str], undecided: Sequence[str], status: Status,
) -> Survey:  # fmt: skip
    ring = [adjusted.points[n] for n in work.corners]
    points = [_point(work, n, adjusted.points[n], adjusted) for n in work.names]
    for column in work.room.columns:
        if column.shape == "rectangular" and column.width and column.depth:
            for side in _SIDES:
                offset, frame = _corner_offset(column, side, work)
                spot = network.spot(x, End(column.id, offset=offset, frame=frame))
                points.append(_point(work, column.id, spot, adjusted, name=f"{column.id}.{side}"))
    in_fit = {d.id: k for k, d in enumerate(network.distances)}
    in_whole = {i: k for k, i in enumerate(work.distances)}
    readings: list[Judged] = []
    for r in work.readings:
        observed = float(r.value.mm)
        if r.id in work.refused and (r.id not in work.distances or any(v.id == r.id for v in readings)):
            readings.append(
                Judged(
                    id=r.id, start=r.start, end=r.end, observed=snap(observed), adjusted=snap(observed), residual=0.0,
                    redundancy=0.0, standardised=None, used=False, verdict="set aside", why=work.refused[r.id],
                )
            )  # fmt: skip
            continue
        why = ""
        verdict: str
        if r.id in aside:
            better, within = _predict(work, aside, adjusted, r.id)
            residual = better - observed
            redundancy = float(whole.redundancy[in_whole[r.id]])
            standardised: float | None = residual / math.hypot(within, work.distances[r.id].sigma)
            verdict = "set aside"
            why = next(n.text for n in work.reasons if n.code == "blunder" and n.where == r.id)
        else:
            k = in_fit[r.id]
            better, residual = float(adjusted.adjusted[k]), float(adjusted.residuals[k])
            redundancy, standardised = float(adjusted.redundancy[k]), adjusted.standardised[k]
            verdict = "suspect" if r.id in undecided else "unchecked" if standardised is None else "sound"
            if verdict == "suspect":
                why = "One of the undecided readings: any one of them may be the wrong one."
            elif verdict == "unchecked":
                why = "No other reading checks this one."
        readings.append(
            Judged(
                id=r.id, start=r.start, end=r.end, observed=snap(observed), adjusted=snap(better),
                residual=snap(residual), redundancy=snap(redundancy, 1e-4),
                standardised=None if standardised is None else snap(standardised, 1e-3),
                used=r.id not in aside, verdict=verdict, why=why,  # type: ignore[arg-type]
            )
        )  # fmt: skip
    walls = _walls(work, network, adjusted)
    n = len(work.corners)
    diagonals = [
        _length(work, adjusted, a, b)
        for (i, a), (j, b) in itertools.combinations(enumerate(work.corners), 2)
        if j - i not in (1, n - 1) and geometry.in_sight(ring, adjusted.points[a], adjusted.points[b])
    ]
    angles = geometry.interior_angles(ring)
    return Survey(
        room=work.room.id, status=status, points=points, readings=readings, walls=walls, diagonals=diagonals,
        angles={c: snap(angle, 1e-3) for c, angle in zip(work.corners, angles, strict=True)},
        area=snap(abs(geometry.signed_area(ring)), 1.0), perimeter=snap(sum(w.length for w in walls)),
        degrees_of_freedom=adjusted.freedom, misfit=snap(adjusted.misfit, 1e-4), loose=[],
        undecided=list(undecided), reasons=work.reasons,
    )  # fmt: skip


def _point(work: _Work, anchor: str, spot: Point, adjusted: Adjusted, name: str = "") -> SurveyedPoint:
    kind = "corner" if anchor in work.corners else "mark" if anchor in work.room.marks else "column"
    return SurveyedPoint(
        name=name or anchor, x=snap(spot[0]), y=snap(spot[1]), plus_minus=snap(NINETY_FIVE * adjusted.spread(anchor)),
        kind=kind,  # type: ignore[arg-type]
    )  # fmt: skip


def _length(work: _Work, adjusted: Adjusted, a: str, b: str) -> SurveyedLength:
    probe = Network(work.names, [Distance("?", End(a), End(b), 1.0, 1.0)], work.fixed)
    computed, design = probe.evaluate(probe.pack(adjusted.points))
    variance = float(design[0] @ adjusted.cofactor @ design[0])
    return SurveyedLength(
        start=a, end=b, length=snap(float(computed[0])), plus_minus=snap(NINETY_FIVE * math.sqrt(max(0.0, variance)))
    )


def _walls(work: _Work, network: Network, adjusted: Adjusted) -> list[SurveyedLength]:
    n = len(work.corners)
    return [_length(work, adjusted, work.corners[k], work.corners[(k + 1) % n]) for k in range(n)]


def _list(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
