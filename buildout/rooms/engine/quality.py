"""What to tape next, and whether a room is good enough to have a cover cut from it.

A new reading with derivatives a and standard deviation σ changes the cofactor matrix Q of the points by
−Q a aᵀ Q/(σ² + aᵀ Q a) and every redundancy number r = 1 − bᵀ Q b/σ_b² with it, so a candidate is judged
without adjusting the room anew (rank-one update, as in C. Ghilani, Adjustment Computations, chapter on
blunder detection and network design).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import msgspec
import numpy as np

from buildout.rooms.engine import geometry
from buildout.rooms.engine.advice import LONGEST_TAPE, sight
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.network import CHECKED, DELTA, Array, Distance, End, Network
from buildout.rooms.engine.observations import SIDES, corner_offset, end_of, listed, reading_name, sigma
from buildout.rooms.engine.plan import mat_ring
from buildout.rooms.engine.survey import NINETY_FIVE, POORLY_CHECKED, Solution, length_rows, solve
from buildout.rooms.engine.types import (
    Candidate,
    CutShape,
    FabricatorGate,
    GateItem,
    PlacedColumn,
    Room,
    RoomPlan,
    Survey,
    SurveyedReading,
)
from buildout.units.dates import date_text
from buildout.units.lengths import Length, UnitSystem, format_length, format_small, written_in
from buildout.units.value import Reason, snap

GATE_LIMIT = 6.35
"""± 1/4 in at 95 %: covers are ordered to the nearest 1/4 in (common practice, no published source)."""
STEP = 6.0
"""Step in mm for derivatives of the mat field by the corners; its vertices lie on a grid of 0.01 mm."""
HARDLY = 100.0
"""No corner of what is cut moves further than this, mm, when a corner of the room moves by STEP."""
BY_CORNER = 200.0
"""A corner of what is cut is said to lie by the room's corner within this, mm."""
MOST_TAKES = 12


Cutting = Callable[[RoomPlan], CutShape | None]
"""What is cut to a room with a given plan; it uses outline of the mat field, columns and their ids."""


@dataclass(frozen=True)
class _Dimension:
    what: Literal["side", "diagonal", "wall", "cut-out"]
    name: str
    value: float


@dataclass(frozen=True)
class _Asked:
    """Dimensions asked about: what they are, and their derivatives by the free coordinates."""

    dimensions: list[_Dimension]
    rows: Array
    besides: Array
    """Variance that comes from readings outside the adjustment, mm²."""


def next_best_readings(
    room: Room,
    survey: Survey,
    plan: RoomPlan | None = None,
    *,
    many: int = 5,
    longest: float = LONGEST_TAPE,
    cutting: Cutting | None = None,
) -> list[Candidate]:
    """Rank the readings worth taking next, best first.

    Candidates are pairs of corners, marks and column faces that can be taped: straight inside the room, off the
    columns, no longer than ``longest`` mm; and lengths already taped, taped again. Ranked by what is left beyond
    ± 1/4 in among the dimensions of what is cut (the mat field's without ``cutting``, the walls' and diagonals'
    where ``plan`` is None or has no mat field), then by how many readings become checked, then by the widest ±.
    For a room that is not fixed or undecided, gives what the survey itself asks for.
    """
    standing = _standing(room, survey, plan, cutting)
    return _best(room, survey, standing, longest)[:many]


def advise(
    room: Room, survey: Survey, plan: RoomPlan, *, many: int = 5, cutting: Cutting | None = None
) -> tuple[list[Candidate], FabricatorGate]:
    """Next best readings and the fabricator gate at once, for less work than asking for them one by one."""
    standing = _standing(room, survey, plan, cutting)
    best = _best(room, survey, standing, LONGEST_TAPE)[:many]
    return best, _judged(room, survey, plan, standing, GATE_LIMIT, LONGEST_TAPE)


@dataclass(frozen=True)
class _Standing:
    """A fixed room, and the dimensions asked of it."""

    solution: Solution
    asked: _Asked


def _standing(room: Room, survey: Survey, plan: RoomPlan | None, cutting: Cutting | None) -> _Standing | None:
    solution = solve(room)[1] if survey.status in ("proven", "feasible") else None
    return None if solution is None else _Standing(solution, _asked(room, solution, plan, cutting))


def _best(room: Room, survey: Survey, standing: _Standing | None, longest: float) -> list[Candidate]:
    if standing is None:
        return _asked_for(room, survey) if survey.status not in ("proven", "feasible") else []
    return _ranked(room, standing.solution, standing.asked, longest)


def _asked_for(room: Room, survey: Survey) -> list[Candidate]:
    return [
        Candidate(
            start=w.start, end=w.end, again=any({r.start, r.end} == {w.start, w.end} for r in room.readings),
            expected=0.0, plus_minus=0.0, worst_before=0.0, worst_after=0.0, checked_before=0, checked_after=0,
            text=w.text,
        )
        for w in survey.wanted
    ]  # fmt: skip


# ---------------------------------------------------------------- the dimensions asked about


def _asked(room: Room, solution: Solution, plan: RoomPlan | None, cutting: Cutting | None) -> _Asked:
    for cut in (cutting, mat_cut) if plan is not None and plan.mat_field else ():
        found = _cut(room, solution, plan, cut) if plan is not None and cut is not None else None
        if found is not None:
            return found
    work, adjusted = solution.work, solution.adjusted
    n = len(work.corners)
    ring = [adjusted.points[c] for c in work.corners]
    sides = [(c, work.corners[(k + 1) % n]) for k, c in enumerate(work.corners)]
    across = [
        (a, b)
        for (i, a), (j, b) in itertools.combinations(enumerate(work.corners), 2)
        if j - i not in (1, n - 1) and geometry.in_sight(ring, adjusted.points[a], adjusted.points[b])
    ]
    made = [
        _Dimension(
            "wall" if k < n else "diagonal", f"{'wall' if k < n else 'diagonal'} {a}–{b}",
            geometry.distance(adjusted.points[a], adjusted.points[b]),
        )
        for k, (a, b) in enumerate([*sides, *across])
    ]  # fmt: skip
    return _Asked(made, length_rows(solution.network, adjusted, [*sides, *across]), np.zeros(len(made)))


def mat_cut(plan: RoomPlan) -> CutShape | None:
    """The mat field as something to be cut: its sides, the diagonals in sight, the columns as they stand in it."""
    ring = plan.mat_field
    n = len(ring)
    if n < 3:
        return None
    labels = []
    for k, p in enumerate(ring):
        letter = next((name for name, q in plan.corners.items() if geometry.distance(p, q) < 1.0), "")
        labels.append(letter or f"corner {k + 1}")
    across = [
        (i, j)
        for i, j in itertools.combinations(range(n), 2)
        if j - i not in (1, n - 1) and geometry.in_sight(ring, ring[i], ring[j])
    ]
    holes = [column.outline for column in plan.columns if geometry.contains(ring, column.centre)]
    return CutShape(
        name="mat", outline=ring, labels=labels, diagonals=across, base=geometry.base_side(ring, holes), cutouts=holes
    )  # fmt: skip


def _cut(room: Room, solution: Solution, plan: RoomPlan, cutting: Cutting) -> _Asked | None:
    """Sides, diagonals and cut-outs of what is cut to the room; None where there is nothing or it will not hold.

    What is cut follows from the corners by the strips kept clear and by ``cutting``, so its derivatives are
    differences. How far a wall bows was read apart from the adjustment and counts besides.
    """
    network = solution.network
    base = cutting(plan)
    if base is None:
        return None

    def cut(x: Array, room: Room = room) -> CutShape | None:
        points = network.unpack(x)
        corners = {name: points[name] for name in room.corners}
        ring = mat_ring(room, corners)
        columns = [_stood(solution, column, room, x) for column in plan.columns]
        made = cutting(msgspec.structs.replace(plan, corners=corners, mat_field=ring, mat_edges=[], columns=columns))
        return _followed_cut(base, made)

    start = cut(solution.x)
    if start is None:
        return None
    named, sizes = _named(start, plan), _sizes(start)

    def slope_to(moved: CutShape | None) -> Array | None:
        return None if moved is None else (_sizes(moved) - sizes) / STEP

    rows = np.zeros((len(named), network.size))
    for name in [*room.corners, *(c.id for c in room.columns)]:
        for column in network.columns[name]:
            if column is None:
                continue
            step = np.zeros(network.size)
            step[column] = STEP
            slope = slope_to(cut(solution.x + step))
            if slope is None:
                return None
            rows[:, column] = slope
    besides = np.zeros(len(named))
    for k, r in enumerate(room.readings):
        if r.kind != "straightness":
            continue
        longer = msgspec.structs.replace(r, value=Length.read(f"{float(r.value.mm) + STEP:.3f} mm"))
        readings = [*room.readings[:k], longer, *room.readings[k + 1 :]]
        slope = slope_to(cut(solution.x, msgspec.structs.replace(room, readings=readings)))
        if slope is not None:
            besides += (slope * sigma(r.tool, float(r.value.mm), room.tools)) ** 2
    made = [_Dimension(what, name, float(v)) for (what, name), v in zip(named, sizes, strict=True)]
    return _Asked(made, rows, besides)


def _stood(solution: Solution, column: PlacedColumn, room: Room, x: Array) -> PlacedColumn:
    """A column where other coordinates would put it."""
    said = next(c for c in room.columns if c.id == column.id)
    centre = solution.network.unpack(x)[column.id]
    if said.shape == "round":
        dx, dy = centre[0] - column.centre[0], centre[1] - column.centre[1]
        outline = [(px + dx, py + dy) for px, py in column.outline]
    else:
        outline = []
        for side in SIDES:
            offset, frame = corner_offset(said, side, solution.work)
            outline.append(solution.network.spot(x, End(column.id, offset=offset, frame=frame)))
    return msgspec.structs.replace(column, centre=centre, outline=outline)


def _pairs(cut: CutShape) -> list[tuple[int, int]]:
    n = len(cut.outline)
    return [*((k, (k + 1) % n) for k in range(n)), *cut.diagonals]


def _sizes(cut: CutShape) -> Array:
    """Every size written on the drawing: sides, diagonals, and each cut-out along and off its base side."""
    ring = cut.outline
    found = [geometry.distance(ring[i], ring[j]) for i, j in _pairs(cut)]
    a, b = ring[cut.base], ring[(cut.base + 1) % len(ring)]
    size = geometry.distance(a, b)
    ux, uy = (b[0] - a[0]) / size, (b[1] - a[1]) / size
    for hole in cut.cutouts:
        along = [(x - a[0]) * ux + (y - a[1]) * uy for x, y in hole]
        off = [(y - a[1]) * ux - (x - a[0]) * uy for x, y in hole]
        found += [min(along), max(along), min(off), max(off)]
    return np.array(found)


def _named(cut: CutShape, plan: RoomPlan) -> list[tuple[Literal["side", "diagonal", "wall", "cut-out"], str]]:
    n = len(cut.outline)
    near = []
    for p in cut.outline:
        letter, at = min(plan.corners.items(), key=lambda c: geometry.distance(c[1], p))
        near.append(letter if geometry.distance(at, p) < BY_CORNER else "")
    found: list[tuple[Literal["side", "diagonal", "wall", "cut-out"], str]] = []
    for k, (i, j) in enumerate(_pairs(cut)):
        where = f" (by {near[i]}–{near[j]})" if near[i] and near[j] and near[i] != cut.labels[i] else ""
        what: Literal["side", "diagonal"] = "side" if k < n else "diagonal"
        found.append((what, f"{cut.name} {what} {cut.labels[i]}–{cut.labels[j]}{where}"))
    side = f"{cut.labels[cut.base]}–{cut.labels[(cut.base + 1) % n]}"
    for number, hole in enumerate(cut.cutouts, 1):
        middle = tuple(sum(c) / len(hole) for c in zip(*hole, strict=True))
        column = min(plan.columns, key=lambda c: geometry.distance(c.centre, (middle[0], middle[1])), default=None)
        what_for = f"cut-out {number}{f' (column {column.id})' if column is not None else ''}"
        for edge, how in (("near edge", "along"), ("far edge", "along"), ("near edge", "off"), ("far edge", "off")):
            found.append(("cut-out", f"{what_for}, {edge} {how} {cut.name} side {side}"))
    return found


def _followed_cut(base: CutShape, made: CutShape | None) -> CutShape | None:
    """What is cut after a small move, its corners and cut-outs in the order of ``base``."""
    ring = _followed(base.outline, made.outline) if made is not None else None
    if ring is None or made is None or len(made.cutouts) != len(base.cutouts):
        return None

    def middle(hole: Sequence[Point]) -> Point:
        return sum(p[0] for p in hole) / len(hole), sum(p[1] for p in hole) / len(hole)

    holes = [min(made.cutouts, key=lambda h: geometry.distance(middle(h), middle(hole))) for hole in base.cutouts]
    return msgspec.structs.replace(base, outline=ring, cutouts=holes)


def _followed(base: Sequence[Point], ring: Sequence[Point]) -> list[Point] | None:
    """Each vertex in a ring that has hardly moved, and may have gained vertices along its sides."""
    if not ring:
        return None
    first = min(range(len(ring)), key=lambda k: geometry.distance(ring[k], base[0]))
    turned = [*ring[first:], *ring[:first]]
    found = turned if len(ring) == len(base) else [min(ring, key=lambda q: geometry.distance(p, q)) for p in base]
    far = any(geometry.distance(p, q) > HARDLY for p, q in zip(base, found, strict=True))
    return None if far or len(set(found)) < len(base) else found


# ---------------------------------------------------------------- candidates


@dataclass(frozen=True)
class _Pool:
    """Readings that could be taken: ends, expected value, σ, derivatives."""

    pairs: list[tuple[str, str]]
    again: list[bool]
    expected: Array
    sigmas: Array
    rows: Array


def _pool(room: Room, solution: Solution, longest: float) -> _Pool:
    work = solution.work
    columns = {c.id: c for c in room.columns}
    names = [*work.corners, *work.room.marks]
    faces = []
    for column in room.columns:
        faces += [column.id] if column.shape == "round" else [f"{column.id}.{side}" for side in SIDES]
    clear = sight(work, solution.network, solution.x, longest)
    taped = {frozenset((r.start, r.end)) for r in room.readings if r.kind == "distance"}
    pairs = [
        (a, b)
        for a, b in [*itertools.combinations(names, 2), *itertools.product(names, faces)]
        if frozenset((a, b)) in taped or clear(a, b)
    ]
    probes = [
        Distance("?", end_of(a, columns, work), end_of(b, columns, work), 1.0, 1.0) for a, b in pairs
    ]  # fmt: skip
    expected, rows = Network(work.names, probes, work.fixed).evaluate(solution.x)
    sigmas = np.array([sigma("tape", max(float(v), 0.0), room.tools) for v in expected])
    return _Pool(pairs, [frozenset(p) in taped for p in pairs], expected, sigmas, rows)


@dataclass
class _State:
    """Quality of a room as readings are added one after another."""

    cofactor: Array
    redundancy: Array
    design: Array
    sigmas: Array
    names: list[str]

    def spreads(self, rows: Array, besides: Array | float = 0.0) -> Array:
        inside = np.maximum(((rows @ self.cofactor) * rows).sum(axis=1), 0.0)
        made: Array = NINETY_FIVE * np.sqrt(inside + besides)
        return made

    def add(self, row: Array, spread: float, name: str) -> None:
        pulled = self.cofactor @ row
        whole = spread**2 + float(row @ pulled)
        shared = self.design @ pulled
        self.redundancy = np.append(self.redundancy + shared**2 / (self.sigmas**2 * whole), spread**2 / whole)
        self.cofactor = self.cofactor - np.outer(pulled, pulled) / whole
        self.design = np.vstack([self.design, row])
        self.sigmas = np.append(self.sigmas, spread)
        self.names.append(name)


def _state(room: Room, solution: Solution) -> _State:
    told = {r.id: reading_name(r) for r in room.readings}
    return _State(
        solution.adjusted.cofactor, solution.adjusted.redundancy, solution.adjusted.design, solution.network.sigma,
        [told[o.id] for o in solution.network.observations],
    )  # fmt: skip


def _order(state: _State, pool: _Pool, asked: _Asked, limit: float) -> tuple[list[int], Array, Array]:
    """Candidates best first, with the ± of every dimension and every redundancy number after each."""
    rows = asked.rows
    pulled = state.cofactor @ pool.rows.T
    whole = pool.sigmas**2 + (pool.rows.T * pulled).sum(axis=0)
    variances = ((rows @ state.cofactor) * rows).sum(axis=1)
    inside = np.maximum(variances[:, None] - (rows @ pulled) ** 2 / whole, 0.0)
    after = NINETY_FIVE * np.sqrt(inside + asked.besides[:, None])
    checked = state.redundancy[:, None] + (state.design @ pulled) ** 2 / (state.sigmas[:, None] ** 2 * whole)
    beyond = np.maximum(after - limit, 0.0).sum(axis=0) if len(rows) else np.zeros(len(whole))
    poor = np.maximum(POORLY_CHECKED - checked, 0.0).sum(axis=0)
    poor = poor + np.maximum(POORLY_CHECKED - pool.sigmas**2 / whole, 0.0)
    worst = after.max(axis=0) if len(rows) else np.zeros(len(whole))
    order = sorted(
        range(len(pool.pairs)),
        key=lambda k: (round(float(beyond[k]), 3), round(float(poor[k]), 5), round(float(worst[k]), 3), pool.pairs[k]),
    )
    return order, after, checked


def _ranked(room: Room, solution: Solution, asked: _Asked, longest: float) -> list[Candidate]:
    state, pool = _state(room, solution), _pool(room, solution, longest)
    order, after, checked = _order(state, pool, asked, GATE_LIMIT)
    before = state.spreads(asked.rows, asked.besides)
    return [_candidate(room, state, pool, asked, k, before, after[:, k], checked[:, k]) for k in order]


def _candidate(
    room: Room, state: _State, pool: _Pool, asked: _Asked, k: int, before: Array, after: Array, checked: Array
) -> Candidate:
    units = written_in(r.value.text for r in room.readings)
    a, b = pool.pairs[k]
    expected = float(pool.expected[k])
    spread = float(state.spreads(pool.rows[k : k + 1])[0])
    now_checked = [
        name
        for name, was, now in zip(state.names, state.redundancy.tolist(), checked.tolist(), strict=True)
        if was < POORLY_CHECKED <= now
    ]
    gains = []
    beyond = [i for i in range(len(before)) if before[i] > GATE_LIMIT]
    best = max(beyond or range(len(before)), key=lambda i: (round(float(before[i] - after[i]), 3), -i), default=None)
    if best is not None:
        was, now = (format_small(float(v[best]), units) for v in (before, after))
        if was != now:
            gains.append(f"brings {asked.dimensions[best].name} from ± {was} to ± {now}")
    if now_checked:
        gains.append(f"checks {'reading' if len(now_checked) == 1 else 'readings'} {listed(now_checked)}")
    if not now_checked:
        gains += _better_checked(state, checked, units)
    shown = format_length(expected, units, denominator=8)
    gain = " and ".join(gains) or "is one more check on the whole room"
    again = pool.again[k]
    text = f"{a}–{b}{' again, as a separate reading' if again else ''} (about {shown}): {gain}."
    return Candidate(
        start=a, end=b, again=again, expected=snap(expected), plus_minus=snap(spread),
        worst_before=snap(float(before.max(initial=0.0))), worst_after=snap(float(after.max(initial=0.0))),
        checked_before=int((state.redundancy >= POORLY_CHECKED).sum()),
        checked_after=int((checked >= POORLY_CHECKED).sum()), text=text,
    )  # fmt: skip


def _better_checked(state: _State, checked: Array, units: UnitSystem) -> list[str]:
    """The worst checked reading, where a smaller mistake in it would show."""
    k = int(np.argmin(state.redundancy))
    was, now = float(state.redundancy[k]), float(checked[k])
    if was >= POORLY_CHECKED or now < CHECKED or now < 1.2 * was:
        return []
    shown = format_small(DELTA * float(state.sigmas[k]) / math.sqrt(now), units)
    before = f", now {format_small(DELTA * float(state.sigmas[k]) / math.sqrt(was), units)}" if was >= CHECKED else ""
    return [f"would show a mistake of {shown} in reading {state.names[k]}{before}"]


# ---------------------------------------------------------------- the gate


def fabricator_gate(
    room: Room,
    survey: Survey,
    plan: RoomPlan,
    *,
    cutting: Cutting | None = None,
    limit: float = GATE_LIMIT,
    longest: float = LONGEST_TAPE,
) -> FabricatorGate:
    """Say whether a cover may be cut from a room's figures, and what to tape if not.

    It passes when every size written on the drawing of what ``cutting`` cuts to the room (the mat field itself
    without it, every wall and diagonal where there is no mat field) is within ± ``limit`` mm at 95 %, and every
    reading is checked by others: redundancy number at least 0.1, and none set aside that has not been taken
    again. An owner who passes it knowingly (``room.gate_passed``) opens it; it is then still said not to pass.
    """
    return _judged(room, survey, plan, _standing(room, survey, plan, cutting), limit, longest)


def _judged(
    room: Room, survey: Survey, plan: RoomPlan, standing: _Standing | None, limit: float, longest: float
) -> FabricatorGate:
    units = written_in(r.value.text for r in room.readings)
    stops = [r for r in [*survey.reasons, *plan.reasons] if r.severity == "stop"]
    if standing is None or stops:
        reason = Reason(
            code="not fixed", text="The readings do not settle this room yet.", where=room.id, severity="stop",
            todo=stops[0].todo if stops else "Do what the survey asks for first.",
        )  # fmt: skip
        return _gate(room, [], _asked_for(room, survey), [reason, *stops], settled=False)
    solution, asked = standing.solution, standing.asked
    state = _state(room, solution)
    items = []
    for dimension, spread in zip(asked.dimensions, state.spreads(asked.rows, asked.besides).tolist(), strict=True):
        passes = spread <= limit
        why = "" if passes else f"± {format_small(spread, units)} is more than ± {format_small(limit, units)}"
        items.append(
            GateItem(
                what=dimension.what, name=dimension.name, value=snap(dimension.value), plus_minus=snap(spread),
                limit=snap(limit), passes=passes, text=why,
            )
        )  # fmt: skip
    items += [_reading_item(room, survey, r, limit) for r in survey.readings if r.verdict != "recorded"]
    take = _takes(room, survey, solution, asked, state, limit, longest)
    return _gate(room, items, take, [], settled=True)


def _reading_item(room: Room, survey: Survey, r: SurveyedReading, limit: float) -> GateItem:
    units = written_in(x.value.text for x in room.readings)
    name = f"reading {reading_name(next(x for x in room.readings if x.id == r.id))}"
    why = ""
    if r.verdict == "set aside":
        if not _taken_again(survey, r):
            why = "set aside and not taken again"
    elif r.verdict == "suspect":
        why = "in question: the readings do not say which of them is wrong"
    elif r.redundancy < POORLY_CHECKED:
        least = f": a mistake under {format_small(r.least_blunder, units)} might not show" if r.least_blunder else ""
        why = f"not checked by another reading{least}" if not least else f"hardly checked by other readings{least}"
    return GateItem(
        what="reading", name=name, value=r.adjusted, plus_minus=r.plus_minus, limit=snap(limit), passes=not why,
        text=why,
    )  # fmt: skip


def _taken_again(survey: Survey, r: SurveyedReading) -> bool:
    return any(
        o.id != r.id and o.used and o.verdict == "sound" and o.kind == r.kind and o.point == r.point
        and {o.start, o.end} == {r.start, r.end}
        for o in survey.readings
    )  # fmt: skip


def _takes(
    room: Room, survey: Survey, solution: Solution, asked: _Asked, state: _State, limit: float, longest: float
) -> list[Candidate]:
    """Shortest list, one best reading after another, that would make the gate pass."""
    found: list[Candidate] = []
    pool = _pool(room, solution, longest)
    again = [
        r for r in survey.readings
        if (r.verdict == "set aside" and not _taken_again(survey, r)) or r.verdict == "suspect"
    ]  # fmt: skip
    for r in again:
        k = next((k for k, p in enumerate(pool.pairs) if set(p) == {r.start, r.end}), None)
        if k is None or r.kind != "distance":
            continue
        found.append(_taken(room, state, pool, asked, k, f"reading {r.id} is {_WORDS[r.verdict]}"))
    while len(found) < MOST_TAKES:
        before = state.spreads(asked.rows, asked.besides)
        if bool(np.all(before <= limit)) and bool(np.all(state.redundancy >= POORLY_CHECKED)):
            break
        order, after, checked = _order(state, pool, asked, limit)
        if not order:
            break
        k = order[0]
        found.append(_candidate(room, state, pool, asked, k, before, after[:, k], checked[:, k]))
        state.add(pool.rows[k], float(pool.sigmas[k]), f"the new {'–'.join(pool.pairs[k])}")
    return found


_WORDS = {"set aside": "set aside", "suspect": "in question"}


def _taken(room: Room, state: _State, pool: _Pool, asked: _Asked, k: int, why: str) -> Candidate:
    """A reading to take again because the one there is cannot be relied on; it counts in what follows."""
    units = written_in(r.value.text for r in room.readings)
    a, b = pool.pairs[k]
    before = state.spreads(asked.rows, asked.besides)
    expected, spread = float(pool.expected[k]), float(state.spreads(pool.rows[k : k + 1])[0])
    was = int((state.redundancy >= POORLY_CHECKED).sum())
    state.add(pool.rows[k], float(pool.sigmas[k]), f"the new {a}–{b}")
    after = state.spreads(asked.rows, asked.besides)
    shown = format_length(expected, units, denominator=8)
    return Candidate(
        start=a, end=b, again=True, expected=snap(expected), plus_minus=snap(spread),
        worst_before=snap(float(before.max(initial=0.0))), worst_after=snap(float(after.max(initial=0.0))),
        checked_before=was, checked_after=int((state.redundancy >= POORLY_CHECKED).sum()),
        text=f"{a}–{b} again (about {shown}): {why}.",
    )  # fmt: skip


def _gate(
    room: Room, items: list[GateItem], take: list[Candidate], reasons: list[Reason], *, settled: bool
) -> FabricatorGate:
    units = written_in(r.value.text for r in room.readings)
    failed = [item for item in items if not item.passes]
    passes = settled and not failed
    wide = [i for i in failed if i.what != "reading"]
    loose = [i for i in failed if i.what == "reading"]
    said = []
    if wide:
        worst = max(wide, key=lambda i: i.plus_minus)
        said.append(
            f"{len(wide)} dimension{'s' if len(wide) > 1 else ''} wider than the limit, the worst "
            f"± {format_small(worst.plus_minus, units)} ({worst.name})"
        )
    if loose:
        said.append(f"{len(loose)} reading{'s' if len(loose) > 1 else ''} not checked or set aside")
    if not settled:
        said.append("the readings do not settle the room")
    for text in said:
        reasons = [
            *reasons,
            Reason(
                code="gate", text=f"Not ready for the fabricator: {text}.", where=room.id, severity="warning",
                todo=f"Tape {take[0].text}" if take and settled else "Take the readings the survey asks for.",
            ),
        ]  # fmt: skip
    knowingly = room.gate_passed
    if passes:
        limit = format_small(items[0].limit, units) if items else ""
        text = f"Checked for the fabricator: every dimension within ± {limit} at 95 %, every reading checked."
    elif knowingly is not None:
        text = f"Sent knowingly by {knowingly.who}, {date_text(knowingly.when)}, although {'; '.join(said)}."
        text += f" {knowingly.why}" if knowingly.why else ""
    else:
        text = f"Not for the fabricator yet: {'; '.join(said)}."
    return FabricatorGate(
        room=room.id, passes=passes, open=passes or (knowingly is not None and settled), knowingly=knowingly,
        items=items, take=take, reasons=reasons, text=text,
    )  # fmt: skip
