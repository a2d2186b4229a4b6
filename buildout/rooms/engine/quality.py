"""What to tape next, and whether a room is good enough to have a cover cut from it.

A new reading with derivatives a and standard deviation σ changes the cofactor matrix Q of the points by
−Q a aᵀ Q/(σ² + aᵀ Q a) and every redundancy number r = 1 − bᵀ Q b/σ_b² with it, so a candidate is judged
without adjusting the room anew (rank-one update, as in C. Ghilani, Adjustment Computations, chapter on
blunder detection and network design).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from buildout.rooms.engine import geometry
from buildout.rooms.engine.advice import LONGEST_TAPE, sight
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.network import CHECKED, DELTA, Array, Distance, Network
from buildout.rooms.engine.observations import SIDES, end_of, listed, reading_name, sigma
from buildout.rooms.engine.plan import mat_ring
from buildout.rooms.engine.survey import NINETY_FIVE, POORLY_CHECKED, Solution, length_rows, solve
from buildout.rooms.engine.types import Candidate, FabricatorGate, GateItem, Room, RoomPlan, Survey, SurveyedReading
from buildout.units.lengths import UnitSystem, format_length, format_small, written_in
from buildout.units.value import Reason, snap

GATE_LIMIT = 6.35
"""± 1/4 in at 95 %: covers are ordered to the nearest 1/4 in (common practice, no published source)."""
STEP = 2.0
"""Step in mm for derivatives of the mat field by the corners; its vertices lie on a grid of 0.01 mm."""
MOST_TAKES = 12


@dataclass(frozen=True)
class _Dimension:
    what: Literal["side", "diagonal", "wall", "column"]
    name: str
    value: float


@dataclass(frozen=True)
class _Asked:
    """Dimensions asked about: what they are, and their derivatives by the free coordinates."""

    dimensions: list[_Dimension]
    rows: Array


def next_best_readings(
    room: Room, survey: Survey, plan: RoomPlan | None = None, *, many: int = 5, longest: float = LONGEST_TAPE
) -> list[Candidate]:
    """Rank the readings worth taking next, best first.

    Candidates are pairs of corners, marks and column faces that can be taped: straight inside the room, off the
    columns, no longer than ``longest`` mm; and lengths already taped, taped again. Ranked by what is left beyond
    ± 1/4 in among the cover's dimensions (the walls' and diagonals' where ``plan`` is None or has no mat field),
    then by how many readings become checked, then by the widest ±. For a room that is not fixed or undecided,
    gives what the survey itself asks for.
    """
    if survey.status not in ("proven", "feasible"):
        return _asked_for(room, survey)
    _, solution = solve(room)
    if solution is None:
        return []
    return _ranked(room, solution, _asked(room, solution, plan), longest)[:many]


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


def _asked(room: Room, solution: Solution, plan: RoomPlan | None) -> _Asked:
    if plan is not None and plan.mat_field:
        found = _cover(room, solution, plan)
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
    return _Asked(made, length_rows(solution.network, adjusted, [*sides, *across]))


def _cover(room: Room, solution: Solution, plan: RoomPlan) -> _Asked | None:
    """Sides and diagonals of the mat field and the columns' distances from its sides; None where it will not hold.

    The mat field follows from the corners by the strips kept clear; its derivatives are differences.
    """
    network, points = solution.network, solution.adjusted.points
    corners = {name: points[name] for name in room.corners}
    columns = {c.id: points[c.id] for c in room.columns}
    base = _followed(plan.mat_field, mat_ring(room, corners))
    if base is None:
        return None
    named, pairs, posts = _dimensions(room, base, corners, columns)

    def values(ring: Sequence[Point], at: dict[str, Point]) -> Array:
        lengths = [geometry.distance(ring[i], ring[j]) for i, j in pairs]
        offs = [
            abs(geometry.cross(ring[k], ring[(k + 1) % len(ring)], at[name]))
            / geometry.distance(ring[k], ring[(k + 1) % len(ring)])
            for name, k in posts
        ]
        return np.array([*lengths, *offs])

    rows = np.zeros((len(named), network.size))
    for name in [*room.corners, *columns]:
        for axis, column in enumerate(network.columns[name]):
            if column is None:
                continue
            ends = []
            for step in (STEP, -STEP):
                x, y = points[name]
                moved = (x + step, y) if axis == 0 else (x, y + step)
                if name in columns:
                    ends.append(values(base, {**columns, name: moved}))
                    continue
                ring = _followed(base, mat_ring(room, {**corners, name: moved}))
                if ring is None:
                    return None
                ends.append(values(ring, columns))
            rows[:, column] = (ends[0] - ends[1]) / (2 * STEP)
    now = values(base, columns)
    made = [_Dimension(what, name, float(value)) for (what, name), value in zip(named, now, strict=True)]
    return _Asked(made, rows)


def _dimensions(
    room: Room, ring: Sequence[Point], corners: dict[str, Point], columns: dict[str, Point]
) -> tuple[
    list[tuple[Literal["side", "diagonal", "wall", "column"], str]], list[tuple[int, int]], list[tuple[str, int]]
]:
    n = len(ring)
    labels = []
    for k, p in enumerate(ring):
        letter = next((name for name, q in corners.items() if geometry.distance(p, q) < 1.0), "")
        labels.append(letter or f"mat corner {k + 1}")
    named: list[tuple[Literal["side", "diagonal", "wall", "column"], str]] = []
    pairs: list[tuple[int, int]] = []
    for i in range(n):
        pairs.append((i, (i + 1) % n))
        named.append(("side", f"mat side {labels[i]}–{labels[(i + 1) % n]}"))
    for i, j in itertools.combinations(range(n), 2):
        if j - i in (1, n - 1) or not geometry.in_sight(ring, ring[i], ring[j]):
            continue
        pairs.append((i, j))
        named.append(("diagonal", f"diagonal {labels[i]}–{labels[j]}"))
    posts: list[tuple[str, int]] = []
    for name, at in columns.items():
        if not geometry.contains(ring, at):
            continue
        near = sorted(
            range(n),
            key=lambda k: (round(_away(at, ring[k], ring[(k + 1) % n]), 1), k),
        )
        first = near[0]
        second = next((k for k in near[1:] if _across(ring, first, k)), None)
        for k in [first] if second is None else [first, second]:
            posts.append((name, k))
            named.append(("column", f"column {name} from mat side {labels[k]}–{labels[(k + 1) % n]}"))
    return named, pairs, posts


def _followed(base: Sequence[Point], ring: Sequence[Point]) -> list[Point] | None:
    """Each vertex in a ring that has hardly moved, and may have gained vertices along its sides."""
    found = [min(ring, key=lambda q: geometry.distance(p, q)) for p in base] if ring else []
    far = any(geometry.distance(p, q) > 50 * STEP for p, q in zip(base, found, strict=False))
    return None if far or len(set(found)) < len(base) else found


def _away(p: Point, a: Point, b: Point) -> float:
    """Distance of a point from a segment."""
    square = max(geometry.distance(a, b) ** 2, 1e-12)
    share = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / square
    share = min(1.0, max(0.0, share))
    return geometry.distance(p, (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))


def _across(ring: Sequence[Point], i: int, j: int) -> bool:
    """Whether two sides run at more than about 45° to each other."""
    (a, b), (c, d) = ((ring[k], ring[(k + 1) % len(ring)]) for k in (i, j))
    u, v = (b[0] - a[0], b[1] - a[1]), (d[0] - c[0], d[1] - c[1])
    return abs(u[0] * v[1] - u[1] * v[0]) > 0.7 * geometry.distance(a, b) * geometry.distance(c, d)


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

    def spreads(self, rows: Array) -> Array:
        made: Array = NINETY_FIVE * np.sqrt(np.maximum(((rows @ self.cofactor) * rows).sum(axis=1), 0.0))
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


def _order(state: _State, pool: _Pool, rows: Array, limit: float) -> tuple[list[int], Array, Array]:
    """Candidates best first, with the ± of every dimension and every redundancy number after each."""
    pulled = state.cofactor @ pool.rows.T
    whole = pool.sigmas**2 + (pool.rows.T * pulled).sum(axis=0)
    variances = ((rows @ state.cofactor) * rows).sum(axis=1)
    after = NINETY_FIVE * np.sqrt(np.maximum(variances[:, None] - (rows @ pulled) ** 2 / whole, 0.0))
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
    order, after, checked = _order(state, pool, asked.rows, GATE_LIMIT)
    before = state.spreads(asked.rows)
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
    room: Room, survey: Survey, plan: RoomPlan, *, limit: float = GATE_LIMIT, longest: float = LONGEST_TAPE
) -> FabricatorGate:
    """Say whether a cover may be cut from a room's figures, and what to tape if not.

    It passes when every side, diagonal and column distance of the mat field (every wall and diagonal where there
    is no mat field) is within ± ``limit`` mm at 95 %, and every reading is checked by others: redundancy number at
    least 0.1, and none set aside that has not been taken again. An owner who passes it knowingly
    (``room.gate_passed``) opens it; it is then still said not to pass.
    """
    units = written_in(r.value.text for r in room.readings)
    stops = [r for r in [*survey.reasons, *plan.reasons] if r.severity == "stop"]
    solution = None
    if survey.status in ("proven", "feasible"):
        _, solution = solve(room)
    if solution is None or stops:
        reason = Reason(
            code="not fixed", text="The readings do not settle this room yet.", where=room.id, severity="stop",
            todo=stops[0].todo if stops else "Do what the survey asks for first.",
        )  # fmt: skip
        return _gate(room, [], _asked_for(room, survey), [reason, *stops], settled=False)
    asked = _asked(room, solution, plan)
    state = _state(room, solution)
    items = []
    for dimension, spread in zip(asked.dimensions, state.spreads(asked.rows).tolist(), strict=True):
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
        before = state.spreads(asked.rows)
        if bool(np.all(before <= limit)) and bool(np.all(state.redundancy >= POORLY_CHECKED)):
            break
        order, after, checked = _order(state, pool, asked.rows, limit)
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
    before = state.spreads(asked.rows)
    expected, spread = float(pool.expected[k]), float(state.spreads(pool.rows[k : k + 1])[0])
    was = int((state.redundancy >= POORLY_CHECKED).sum())
    state.add(pool.rows[k], float(pool.sigmas[k]), f"the new {a}–{b}")
    after = state.spreads(asked.rows)
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
        text = f"Sent knowingly by {knowingly.who}, {knowingly.when:%Y-%m-%d}, although {'; '.join(said)}."
        text += f" {knowingly.why}" if knowingly.why else ""
    else:
        text = f"Not for the fabricator yet: {'; '.join(said)}."
    return FabricatorGate(
        room=room.id, passes=passes, open=passes or (knowingly is not None and settled), knowingly=knowingly,
        items=items, take=take, reasons=reasons, text=text,
    )  # fmt: skip
