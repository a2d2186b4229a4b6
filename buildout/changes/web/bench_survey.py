"""What the survey promises, measured on seeded rooms: coverage of its ±, slips found, false alarms, and time.

Rooms are slightly out of square, with 4 to 10 corners, up to two columns and a control mark. Readings are pairs
that can be taped, chosen by the program's own rule; every reading is written to 1/16 in, and its whole error, noise and
rounding together, has the standard deviation the survey takes for it.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable, Sequence
from typing import Any

import msgspec
import numpy as np

from buildout.rooms.engine import geometry
from buildout.rooms.engine.advice import sight
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.network import Distance, End, Network
from buildout.rooms.engine.observations import SIDES, corner_offset, prepare, sigma
from buildout.rooms.engine.quality import next_best_readings
from buildout.rooms.engine.survey import POORLY_CHECKED, adjust, solve
from buildout.rooms.engine.types import Column, Reading, Room, Survey
from buildout.units.lengths import Length, LengthError, format_length, parse_length

FOOT = 304.8
SEED = 20_260
ENOUGH = 1000
"""Rooms for which shares are held to their goals strictly; fewer are given three standard deviations of chance."""
ROUNDING = 25.4 / 16 / math.sqrt(12)
"""Standard deviation of rounding to 1/16 in, mm."""
FALSE_ALARMS = ("blunder", "undecided", "loose agreement", "mirror", "triangle")


class Truth(msgspec.Struct, frozen=True):
    """A room as it really is: its readings hold the exact lengths."""

    room: Room
    points: dict[str, Point]
    """Corners, marks, column centres."""


class Figure(msgspec.Struct):
    """One line of the table."""

    name: str
    value: float
    goal: str
    met: bool
    of: int
    """Cases it was counted on."""


# ---------------------------------------------------------------- rooms


def seeded_room(seed: int, *, corners: int | None = None, columns: int | None = None, checked: bool = True) -> Truth:
    """A room of its own for every seed; with ``checked``, readings are added until each has r of 0.1 or more."""
    rng = np.random.default_rng([SEED, seed])
    for _ in range(60):
        made = _try_room(rng, corners or int(rng.choice((4, 6, 8, 10))), columns, checked=checked)
        if made is not None:
            return made
    raise RuntimeError(f"no room for seed {seed}")


def _outline(rng: np.random.Generator, corners: int) -> list[Point]:
    """A rectangle with bites out of its corners, every corner up to 120 mm out of true; clockwise from lower left."""
    wide, deep = rng.uniform(8000, 20000), rng.uniform(7000, 18000)
    bites = set(rng.choice(4, size=(corners - 4) // 2, replace=False).tolist())
    ring: list[Point] = []
    frame = [(0.0, 0.0), (0.0, deep), (wide, deep), (wide, 0.0)]
    for k, (x, y) in enumerate(frame):
        if k not in bites:
            ring.append((x, y))
            continue
        dx = rng.uniform(0.15, 0.4) * wide * (1 if x == 0 else -1)
        dy = rng.uniform(0.15, 0.4) * deep * (1 if y == 0 else -1)
        upright = [(x + dx, y), (x + dx, y + dy), (x, y + dy)]
        ring += upright if k in (0, 2) else upright[::-1]
    return [(x + rng.uniform(-120, 120), y + rng.uniform(-120, 120)) for x, y in ring]


def _try_room(rng: np.random.Generator, corners: int, columns: int | None, *, checked: bool) -> Truth | None:
    ring = _outline(rng, corners)
    ox, oy = ring[0]
    angle = math.atan2(ring[-1][1] - oy, ring[-1][0] - ox)
    c, s = math.cos(angle), math.sin(angle)
    ring = [(c * (x - ox) + s * (y - oy), c * (y - oy) - s * (x - ox)) for x, y in ring]
    ring[-1] = (ring[-1][0], 0.0)
    if geometry.crossing_sides(ring) is not None or geometry.signed_area(ring) >= 0:
        return None
    names = [chr(ord("A") + k) for k in range(len(ring))]
    points: dict[str, Point] = dict(zip(names, ring, strict=True))
    spots = _inside(rng, ring, 40)
    if len(spots) < 8:
        return None
    points["M"] = max(spots, key=lambda p: sum(geometry.in_sight(ring, p, q) for q in ring))
    posts: list[Column] = []
    for k in range(int(rng.integers(0, 3)) if columns is None else columns):
        spot = next((p for p in spots if all(math.dist(p, q) > 1500 for q in points.values())), None)
        if spot is None:
            return None
        points[f"K{k + 1}"] = spot
        if k == 0:
            posts.append(Column(id="K1", shape="rectangular", width=Length.read(300), depth=Length.read(350)))
        else:
            posts.append(Column(id=f"K{k + 1}", shape="round", diameter=Length.read(270)))
    room = Room(id="room", name="Room", corners=names, marks=["M"], columns=posts)
    return _taped(room, points, checked=checked)


def _inside(rng: np.random.Generator, ring: Sequence[Point], many: int) -> list[Point]:
    xs, ys = [p[0] for p in ring], [p[1] for p in ring]
    found = []
    for _ in range(many * 4):
        p = (float(rng.uniform(min(xs), max(xs))), float(rng.uniform(min(ys), max(ys))))
        near = any(_beside(p, ring[k - 1], ring[k]) < 900 for k in range(len(ring)))
        if geometry.contains(ring, p) and not near:
            found.append(p)
        if len(found) == many:
            break
    return found


def _beside(p: Point, a: Point, b: Point) -> float:
    square = max((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2, 1e-9)
    share = min(1.0, max(0.0, ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / square))
    return math.dist(p, (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))


def _taped(room: Room, points: dict[str, Point], *, checked: bool) -> Truth | None:
    """Choose readings: walls, ties of the mark and the columns, diagonals until the room stands, then by the rule."""
    work = prepare(room)
    network = Network(work.names, [], work.fixed)
    x = network.pack(points)
    clear = sight(work, network, x)
    spots = dict(points)
    reach = {}
    for column in room.columns:
        if column.shape == "round":
            reach[column.id] = float(column.diameter or 0) / 2
            continue
        for side in SIDES:
            offset, frame = corner_offset(column, side, work)
            spots[f"{column.id}.{side}"] = network.spot(x, End(column.id, offset=offset, frame=frame))
    n = len(room.corners)
    walls = [(c, room.corners[(k + 1) % n]) for k, c in enumerate(room.corners)]
    pairs = list(walls)
    ties = [("M", c) for c in room.corners if clear("M", c)]
    across = sorted(
        (
            (a, b) for i, a in enumerate(room.corners) for b in room.corners[i + 1 :]
            if (a, b) not in walls and (b, a) not in walls and clear(a, b)
        ),
        key=lambda p: -math.dist(spots[p[0]], spots[p[1]]),
    )  # fmt: skip
    pairs += ties + across[: max(2, n - 3)]
    for column in room.columns:
        faces = [column.id] if column.shape == "round" else [f"{column.id}.{side}" for side in SIDES]
        able = [(a, f) for a in ["M", *room.corners] for f in faces if clear(a, f)]
        able.sort(key=lambda p: (math.dist(spots[p[0]], spots[p[1]]), p))
        taken: dict[str, tuple[str, str]] = {}
        for a, f in able:
            taken.setdefault(a, (a, f))
        if len(taken) < 4:
            return None
        pairs += list(taken.values())[:4]

    def with_readings(chosen: Sequence[tuple[str, str]]) -> Room:
        readings = [
            Reading(id=str(k), start=a, end=b, value=Length.read(round(_between(spots, reach, a, b), 3)))
            for k, (a, b) in enumerate(chosen, 1)
        ]
        return msgspec.structs.replace(room, readings=readings)

    for _ in range(30):
        made = with_readings(pairs)
        survey = adjust(made)
        if survey.status == "underdetermined":
            more = next((w for w in survey.wanted if w.start in spots and w.end in spots), None)
            if more is None:
                return None
            pairs.append((more.start, more.end))
            continue
        if survey.status == "infeasible":
            return None
        if not checked or min(r.redundancy for r in survey.readings) >= POORLY_CHECKED:
            return Truth(made, points)
        best = next_best_readings(made, survey, None, many=1)
        if not best:
            return None
        pairs.append((best[0].start, best[0].end))
    return None


def _between(spots: dict[str, Point], reach: dict[str, float], a: str, b: str) -> float:
    return math.dist(spots[a], spots[b]) - reach.get(a, 0.0) - reach.get(b, 0.0)


def taped(truth: Truth, rng: np.random.Generator) -> Room:
    """The room as a tape would read it: noise, then written to 1/16 in."""
    readings = []
    for r in truth.room.readings:
        true = float(r.value.mm)
        spread = math.sqrt(sigma(r.tool, true) ** 2 - ROUNDING**2)
        text = format_length(true + float(rng.normal(0, spread)), denominator=16)
        readings.append(msgspec.structs.replace(r, value=Length.read(text)))
    return msgspec.structs.replace(truth.room, readings=readings)


def with_value(room: Room, reading: str, value: Length) -> Room:
    readings = [msgspec.structs.replace(r, value=value) if r.id == reading else r for r in room.readings]
    return msgspec.structs.replace(room, readings=readings)


def foot_slip(room: Room, rng: np.random.Generator) -> tuple[Room, str]:
    """One reading a foot too long or too short."""
    r = room.readings[int(rng.integers(len(room.readings)))]
    by = FOOT if rng.random() < 0.5 or float(r.value.mm) < 2 * FOOT else -FOOT
    return with_value(room, r.id, Length.read(format_length(float(r.value.mm) + by, denominator=16))), r.id


def swapped_digits(room: Room, rng: np.random.Generator) -> tuple[Room, str]:
    """Two different digits of one reading's feet and whole inches changed round."""
    for k in rng.permutation(len(room.readings)).tolist():
        r = room.readings[k]
        text = r.value.text
        end = text.rfind(" ") if "/" in text else len(text)
        places = [i for i in range(end) if text[i].isdigit()]
        pairs = [(i, j) for n, i in enumerate(places) for j in places[n + 1 :] if text[i] != text[j]]
        if not pairs:
            continue
        i, j = pairs[int(rng.integers(len(pairs)))]
        letters = list(text)
        letters[i], letters[j] = letters[j], letters[i]
        try:
            value = parse_length("".join(letters))
        except LengthError:
            continue
        if 0 < value < 100_000 and abs(float(value) - float(r.value.mm)) > 25:
            return with_value(room, r.id, Length.read("".join(letters))), r.id
    raise RuntimeError("no reading whose digits can be swapped")


# ---------------------------------------------------------------- figures


class Tally(msgspec.Struct):
    """What came of slips made one at a time."""

    cases: int = 0
    named: int = 0
    pair: int = 0
    more: int = 0
    unseen: int = 0
    wrong: int = 0

    def count(self, survey: Survey, culprit: str) -> None:
        aside = [r.id for r in survey.readings if r.verdict == "set aside"]
        self.cases += 1
        if aside == [culprit]:
            self.named += 1
        elif any(i != culprit for i in aside):
            self.wrong += 1
        elif culprit in survey.undecided:
            self.pair += len(survey.undecided) <= 2
            self.more += len(survey.undecided) > 2
        elif any(r.severity == "stop" for r in survey.reasons):
            self.more += 1
        else:
            self.unseen += 1

    def share(self, *fields: str) -> float:
        return float(sum(getattr(self, f) for f in fields)) / max(self.cases, 1)


def alarmed(survey: Survey) -> bool:
    """Whether a clean room is called anything but clean."""
    return any(r.code in FALSE_ALARMS or r.severity == "stop" for r in survey.reasons)


def inside_its_own(truth: Truth, survey: Survey) -> tuple[list[bool], bool, bool | None]:
    """For each wall and diagonal, and for the area, whether the truth lies within the ±; and for the whole room at
    once, whether it lies within the 95 % ellipsoid of all coordinates (None where the adjustment set one aside)."""
    at = truth.points
    lengths = [
        abs(w.length - math.dist(at[w.start], at[w.end])) <= w.plus_minus for w in [*survey.walls, *survey.diagonals]
    ]
    true = abs(geometry.signed_area([at[c] for c in truth.room.corners]))
    return lengths, abs(survey.area - true) <= survey.area_plus_minus, None


def in_ellipsoid(truth: Truth, room: Room) -> bool:
    """Whether the true room lies in the 95 % ellipsoid of its adjusted coordinates."""
    from scipy.special import chdtri

    _, solution = solve(room)
    if solution is None:
        return False
    off = solution.x - solution.network.pack(truth.points)
    square = float(off @ np.linalg.solve(solution.adjusted.cofactor, off))
    return square <= float(chdtri(len(off), 0.05))


def survey_figures(rooms: int, say: Callable[[str], object] = lambda text: None) -> list[Figure]:
    """Count on so many seeded rooms what section by section the survey promises."""
    foot, digits, less = Tally(), Tally(), Tally()
    lengths: list[bool] = []
    areas = whole = alarms = 0
    smallest: list[float] = []
    counts: list[int] = []
    for seed in range(rooms):
        if seed % 50 == 0:
            say(f"room {seed} of {rooms}")
        rng = np.random.default_rng([SEED, 1, seed])
        truth = seeded_room(seed)
        room = taped(truth, rng)
        survey = adjust(room)
        found, area, _ = inside_its_own(truth, survey)
        lengths += found
        areas += area
        whole += in_ellipsoid(truth, room)
        alarms += alarmed(survey)
        smallest.append(min(r.redundancy for r in survey.readings))
        counts.append(len(room.readings))
        slipped, culprit = foot_slip(room, rng)
        foot.count(adjust(slipped), culprit)
        slipped, culprit = swapped_digits(room, rng)
        digits.count(adjust(slipped), culprit)
        poor = taped(seeded_room(seed, checked=False), rng)
        slipped, culprit = foot_slip(poor, rng) if seed % 2 else swapped_digits(poor, rng)
        less.count(adjust(slipped), culprit)
    made = len(lengths)
    share = sum(lengths) / max(made, 1)

    slack = 0.0 if rooms >= ENOUGH else 3 * math.sqrt(0.95 * 0.05 / rooms)

    def near(value: float) -> bool:
        return abs(value - 0.95) <= 0.02 + slack

    return [
        Figure("readings per room, mean", statistics.mean(counts), "", True, rooms),
        Figure("smallest redundancy number, median", statistics.median(smallest), "", True, rooms),
        Figure("walls and diagonals within their ±", share, "0.95 ± 0.02", near(share), made),
        Figure("areas within their ±", areas / rooms, "0.95 ± 0.02", near(areas / rooms), rooms),
        Figure("whole rooms within their ellipsoid", whole / rooms, "0.95 ± 0.02", near(whole / rooms), rooms),
        Figure("clean rooms alarmed", alarms / rooms, "≤ 0.05", alarms / rooms <= 0.05, rooms),
        *_slip_figures("1 ft", foot, 0.98),
        *_slip_figures("digits swapped", digits, 0.95),
        Figure("fewer readings: named alone", less.share("named"), "", True, less.cases),
        Figure("fewer readings: undecided", less.share("pair", "more"), "", True, less.cases),
        Figure("fewer readings: unseen", less.share("unseen"), "", True, less.cases),
        Figure(
            "fewer readings: sure but wrong", less.share("wrong"), "≤ 0.02", less.share("wrong") <= 0.02, less.cases
        ),
    ]


def _slip_figures(what: str, tally: Tally, goal: float) -> list[Figure]:
    found = tally.share("named", "pair")
    return [
        Figure(f"{what}: named alone", tally.share("named"), "", True, tally.cases),
        Figure(f"{what}: named or in a pair", found, f"≥ {goal:g}", found >= goal, tally.cases),
        Figure(f"{what}: in a larger undecided set", tally.share("more"), "", True, tally.cases),
        Figure(f"{what}: unseen", tally.share("unseen"), "", True, tally.cases),
        Figure(f"{what}: sure but wrong", tally.share("wrong"), "≤ 0.02", tally.share("wrong") <= 0.02, tally.cases),
    ]


# ---------------------------------------------------------------- time


class Time(msgspec.Struct):
    name: str
    milliseconds: float
    bare: float
    """One bare call of SciPy's least_squares on the same problem, ms."""
    ratio: float
    goal: float | None
    met: bool


def bare_problem(truth: Truth, room: Room) -> tuple[Callable[[Any], Any], Any]:
    """The same weighted distances as a plain function of the coordinates, and a sketch to start from.

    Column corners are fixed offsets from the centre, as columns here run along the datum wall on the x axis.
    """
    work = prepare(room)
    network = work.network()
    rng = np.random.default_rng(SEED)
    start = network.pack(truth.points) + rng.uniform(-400, 400, network.size)
    offsets = np.zeros((len(network.observations), 2))
    for k, o in enumerate(network.observations):
        if isinstance(o, Distance):
            offsets[k] += np.array(o.end.offset) - np.array(o.start.offset)
    one, two, radii, observed, sigmas = network.start, network.end, network.radii, network.observed, network.sigma
    held, rows, axes = network.held.copy(), network.free_rows, network.free_axes

    def misfits(x: Any) -> Any:
        held[rows, axes] = x
        between = held[two] - held[one] + offsets
        return (np.hypot(between[:, 0], between[:, 1]) - radii - observed) / sigmas

    return misfits, start


def ten_corners() -> tuple[Truth, Room]:
    """Ten corners, two columns, 40 readings."""
    for seed in range(1000):
        truth = seeded_room(seed, corners=10, columns=2)
        if len(truth.room.readings) <= 40:
            room = truth.room
            extra = [r for r in room.readings if r.start == "M" or r.end == "M"][: 40 - len(room.readings)]
            again = [
                msgspec.structs.replace(r, id=str(len(room.readings) + k)) for k, r in enumerate(extra, 1)
            ]  # fmt: skip
            full = msgspec.structs.replace(room, readings=[*room.readings, *again])
            if len(full.readings) == 40:
                truth = Truth(full, truth.points)
                return truth, taped(truth, np.random.default_rng(SEED))
    raise RuntimeError("no room with ten corners and 40 readings")


def large_room(points: int) -> tuple[Truth, Room]:
    """A hall of eight corners with control marks on a grid, five readings a point."""
    rng = np.random.default_rng([SEED, points])
    size = 1500.0 * math.sqrt(points) + 8000
    ring = [
        (0.0, 0.0), (0.0, size), (size / 2, size + 500), (size, size), (size + 400, size / 2), (size, 0.0),
        (size / 2, -300.0), (size / 4, -200.0),
    ]  # fmt: skip
    corners = [f"A{k}" for k in range(len(ring))]
    at: dict[str, Point] = dict(zip(corners, ring, strict=True))
    across = max(1, math.ceil(math.sqrt(points - len(ring))))
    marks = []
    for k in range(points - len(ring)):
        i, j = divmod(k, across)
        name = f"M{k}"
        marks.append(name)
        x, y = (size * (v + 1) / (across + 1) + float(rng.uniform(-300, 300)) for v in (i, j))
        at[name] = (x, y)
    ox, oy = at[corners[0]]
    angle = math.atan2(at[corners[-1]][1] - oy, at[corners[-1]][0] - ox)
    c, s = math.cos(angle), math.sin(angle)
    at = {n: (c * (x - ox) + s * (y - oy), c * (y - oy) - s * (x - ox)) for n, (x, y) in at.items()}
    at[corners[-1]] = (at[corners[-1]][0], 0.0)
    names = [*corners, *marks]
    pairs = {tuple(sorted((c, corners[(k + 1) % len(corners)]))) for k, c in enumerate(corners)}
    for near in range(1, len(names)):
        for name in names:
            if len(pairs) >= 5 * points:
                break
            others = sorted((n for n in names if n != name), key=lambda n: (math.dist(at[name], at[n]), n))
            if near <= len(others):
                pairs.add(tuple(sorted((name, others[near - 1]))))
    readings = [
        Reading(id=str(k), start=a, end=b, value=Length.read(round(math.dist(at[a], at[b]), 3)), tool="laser")
        for k, (a, b) in enumerate(sorted(pairs), 1)
    ]
    room = Room(id="room", name="Room", corners=corners, marks=marks, readings=readings)
    return Truth(room, at), taped(Truth(room, at), rng)


def survey_times(repeats: int, say: Callable[[str], object] = lambda text: None) -> list[Time]:
    """Time the whole adjustment with all statistics beside one bare solver call on the same problem."""
    found = []
    truth, room = ten_corners()
    say("ten corners, two columns, 40 readings")
    found.append(_timed("10 corners, 2 columns, 40 readings", truth, room, repeats, 1.5))
    for points in (10, 25, 50, 100, 200):
        say(f"{points} points")
        truth, room = large_room(points)
        times = repeats if points <= 50 else max(1, repeats // 3)
        found.append(_timed(f"{points} points, {len(room.readings)} readings", truth, room, times, None))
    return found


def _timed(name: str, truth: Truth, room: Room, repeats: int, goal: float | None) -> Time:
    from scipy.optimize import least_squares

    misfits, start = bare_problem(truth, room)
    survey = adjust(room)
    if survey.status not in ("proven", "feasible"):
        raise RuntimeError(f"{name}: {survey.status}, {[r.text for r in survey.reasons]}")
    ours, bare = [], []
    for _ in range(repeats):  # turn and turn about, so that a busy machine slows both
        ours.append(_milliseconds(lambda: adjust(room)))
        bare.append(_milliseconds(lambda: least_squares(misfits, start)))
    mine, other = statistics.median(ours), statistics.median(bare)
    ratio = mine / other
    return Time(name, mine, other, ratio, goal, goal is None or ratio <= goal)


def _milliseconds(work: Callable[[], object]) -> float:
    """Processor time, so that other work on the machine does not count."""
    began = time.process_time()
    work()
    return 1000 * (time.process_time() - began)


# ---------------------------------------------------------------- printing


def print_survey(rooms: int, repeats: int, write: Callable[[str], object], say: Callable[[str], object]) -> bool:
    """Print both tables; True when every goal is met."""
    times = survey_times(repeats, say)
    figures = survey_figures(rooms, say)
    write(f"{'':44}{'value':>9}  {'goal':12} met   cases")
    for f in figures:
        met = "" if not f.goal else "yes" if f.met else "NO"
        write(f"{f.name:44}{f.value:9.3f}  {f.goal:12} {met:5} {f.of}")
    write("")
    write(f"{'adjusted, all statistics':44}{'ms':>9} {'bare ms':>9} {'ratio':>7}  goal  met")
    for t in times:
        goal = f"{t.goal:.1f}" if t.goal is not None else ""
        met = "" if t.goal is None else "yes" if t.met else "NO"
        write(f"{t.name:44}{t.milliseconds:9.2f} {t.bare:9.2f} {t.ratio:7.2f}  {goal:4}  {met}")
    return all(f.met for f in figures) and all(t.met for t in times)
