"""First shape of a room from its readings, good enough to adjust from and never the mirror image.

Candidates come from two sides: rooms of right angles in every order of inside and re-entrant corners, and
points placed one after another from the circles of two readings each. Each is drawn towards the readings by
losses that a wrong reading cannot dominate; the turning sense of the corners settles which way round it lies.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from buildout.rooms.engine import geometry
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.network import Array, Network, bounded, robust_fit

WIDTH = 10
"""States kept while points are placed one after another."""
SAME = 4.0
"""Shapes whose robust costs differ by less fit equally well; one reading given up costs 9."""
GRAZE = 50.0
"""A mark or an engaged column may lie on a wall, give or take this."""
LEGS = 12
"""Rooms with more corners are not tried as rooms of right angles in every order."""


@dataclass(frozen=True)
class Tie:
    """A distance between two points for placing, column faces brought back to the centre."""

    start: str
    end: str
    value: float


@dataclass(frozen=True)
class Shape:
    x: Array
    cost: float
    sound: bool
    """Outline does not cross itself, runs the right way round, columns and marks lie inside."""
    skew: float
    """Mean departure of the corners from right angles, degrees."""


def find_shapes(
    network: Network,
    corners: Sequence[str],
    others: Sequence[str],
    ties: Sequence[Tie],
    *,
    clockwise: bool,
    origin: str,
    along: str,
) -> list[Shape]:
    """Best-fitting shapes, best first. More than one when the readings fit several about equally well."""
    starts = _right_angled(corners, ties, clockwise)
    placed = [_place(start, [*corners, *others], ties, corners) for start in starts[:3]]
    placed += _place_all([*corners, *others], ties, corners, origin, along)
    found: list[Shape] = []
    tried: list[dict[str, Point]] = []
    for points in placed:
        upright = _upright(points, corners, clockwise, origin, along)
        if any(_same(upright, other, 300.0) for other in tried):
            continue
        tried.append(upright)
        x = robust_fit(network, network.pack(upright))
        at = _upright(network.unpack(x), corners, clockwise, origin, along)
        if not _same(at, network.unpack(x), 0.01):
            x = robust_fit(network, network.pack(at))
        shape = judge_shape(network, x, corners, others, clockwise)
        if not any(_same(network.unpack(shape.x), network.unpack(s.x), 50.0) for s in found):
            found.append(shape)
    least = min(shape.cost for shape in found)
    near = [shape for shape in found if shape.cost <= least + SAME]
    return sorted(near, key=lambda s: (not s.sound, round(s.skew, 0), s.cost))


def judge_shape(network: Network, x: Array, corners: Sequence[str], others: Sequence[str], clockwise: bool) -> Shape:
    points = network.unpack(x)
    ring = [points[name] for name in corners]
    sound = (
        geometry.crossing_sides(ring) is None
        and (geometry.signed_area(ring) < 0) == clockwise
        and all(geometry.inside_or_near(ring, points[name], GRAZE) for name in others)
    )
    angles = geometry.interior_angles(ring)
    skew = sum(abs(angle - 90 * max(1, round(angle / 90))) for angle in angles) / len(angles)
    return Shape(x=x, cost=network.cost(x, bounded(9.0)), sound=sound, skew=skew)


def _same(a: Mapping[str, Point], b: Mapping[str, Point], within: float) -> bool:
    return all(abs(a[n][0] - b[n][0]) <= within and abs(a[n][1] - b[n][1]) <= within for n in a)


def _upright(
    points: Mapping[str, Point], corners: Sequence[str], clockwise: bool, origin: str, along: str
) -> dict[str, Point]:
    """Move, turn and if need be flip points into the datum's axes."""
    ox, oy = points[origin]
    ax, ay = points[along]
    angle = math.atan2(ay - oy, ax - ox)
    c, s = math.cos(angle), math.sin(angle)
    flat = {n: (c * (x - ox) + s * (y - oy), c * (y - oy) - s * (x - ox)) for n, (x, y) in points.items()}
    if (geometry.signed_area([flat[n] for n in corners]) < 0) != clockwise:
        flat = {n: (x, -y) for n, (x, y) in flat.items()}
    return flat


def _misfit(a: Point, b: Point, value: float) -> float:
    return min(abs(geometry.distance(a, b) - value) / 100.0, 30.0)


def _right_angled(corners: Sequence[str], ties: Sequence[Tie], clockwise: bool) -> list[dict[str, Point]]:
    n = len(corners)
    if n % 2 or n > LEGS or n < 4:
        return []
    lengths: list[float | None] = []
    for k, name in enumerate(corners):
        pair = {name, corners[(k + 1) % n]}
        read = [t.value for t in ties if {t.start, t.end} == pair]
        lengths.append(sorted(read)[len(read) // 2] if read else None)
    known = [v for v in lengths if v is not None]
    usual = sum(known) / len(known) if known else 5000.0
    places = set(corners)
    across = [t for t in ties if t.start in places and t.end in places]
    scored = []
    for order, reflex in enumerate(itertools.combinations(range(n), (n - 4) // 2)):
        heading = 0
        headings = []
        for k in range(n):
            headings.append(heading)
            heading = (heading + (1 if (k + 1) % n in reflex else -1) * (1 if clockwise else -1)) % 4
        steps = _closed(lengths, headings, usual)
        spot = (0.0, 0.0)
        points = {}
        for name, (dx, dy) in zip(corners, steps, strict=True):
            points[name] = spot
            spot = (spot[0] + dx, spot[1] + dy)
        ring = [points[name] for name in corners]
        crossed = geometry.crossing_sides(ring) is not None
        score = sum(_misfit(points[t.start], points[t.end], t.value) for t in across)
        scored.append((crossed, score, order, points))
    scored.sort(key=lambda s: s[:3])
    return [points for _, _, _, points in scored]


def _closed(lengths: Sequence[float | None], headings: Sequence[int], usual: float) -> list[Point]:
    """Steps along right-angled headings; missing lengths close the figure, what is left is shared out."""
    units = [(0, 1), (-1, 0), (0, -1), (1, 0)]
    steps: list[list[float]] = [[0.0, 0.0] for _ in headings]
    for axis in (0, 1):
        runs = [(k, units[h][axis]) for k, h in enumerate(headings) if units[h][axis]]
        gap = -sum(sign * (lengths[k] or 0.0) for k, sign in runs)
        missing = [(k, sign) for k, sign in runs if lengths[k] is None]
        helpful = [(k, sign) for k, sign in missing if sign * gap > 0]
        for k, sign in runs:
            steps[k][axis] = sign * (lengths[k] or 0.0)
        for k, sign in missing:
            share = abs(gap) / len(helpful) if (k, sign) in helpful else usual / 4
            steps[k][axis] = sign * share
        left = -sum(steps[k][axis] for k, _ in runs)
        whole = sum(abs(steps[k][axis]) for k, _ in runs) or 1.0
        for k, _ in runs:
            steps[k][axis] += left * abs(steps[k][axis]) / whole
    return [(dx, dy) for dx, dy in steps]


def _spots(known: Mapping[str, Point], ties: Sequence[tuple[str, float]]) -> list[Point]:
    """Where the circles of two readings meet, for every pair; the nearest approach when they miss."""
    spots: list[Point] = []
    for (a, ra), (b, rb) in itertools.combinations(ties, 2):
        pa, pb = known[a], known[b]
        d = geometry.distance(pa, pb)
        if d < 1.0:
            continue
        along = (d * d + ra * ra - rb * rb) / (2 * d)
        square = ra * ra - along * along
        height = math.sqrt(square) if square > 0 else 0.0
        ux, uy = (pb[0] - pa[0]) / d, (pb[1] - pa[1]) / d
        for side in (height, -height) if height else (0.0,):
            spots.append((pa[0] + along * ux - side * uy, pa[1] + along * uy + side * ux))
    return spots


def _extend(
    states: list[tuple[float, dict[str, Point]]], name: str, ties: Sequence[Tie], one_side: bool
) -> list[tuple[float, dict[str, Point]]]:
    grown = []
    for score, known in states:
        near = [
            (t.end if t.start == name else t.start, t.value)
            for t in ties
            if name in (t.start, t.end) and (t.end if t.start == name else t.start) in known
        ]
        choices: list[tuple[float, Point]] = []
        for spot in _spots(known, near):
            if one_side and spot[1] < 0:
                continue
            if any(geometry.distance(spot, other) < 20.0 for _, other in choices):
                continue
            choices.append((sum(_misfit(known[other], spot, value) for other, value in near), spot))
        choices.sort()
        grown += [(score + extra, {**known, name: spot}) for extra, spot in choices[:4]]
    grown.sort(key=lambda s: s[0])
    return grown[:WIDTH]


def _place_all(
    names: Sequence[str], ties: Sequence[Tie], corners: Sequence[str], origin: str, along: str
) -> list[dict[str, Point]]:
    """Place every point from circles, starting at the datum wall (or the longest reading there is)."""
    datum = [t for t in ties if {t.start, t.end} == {origin, along}]
    base = datum or sorted(ties, key=lambda t: (-t.value, t.start, t.end))
    if not base:
        return [_fill({}, names, ties, corners)]
    first = base[0]
    states: list[tuple[float, dict[str, Point]]] = [(0.0, {first.start: (0.0, 0.0), first.end: (first.value, 0.0)})]
    return [_fill(known, names, ties, corners) for _, known in _grow(states, names, ties)]


def _place(
    known: dict[str, Point], names: Sequence[str], ties: Sequence[Tie], corners: Sequence[str]
) -> dict[str, Point]:
    return _fill(_grow([(0.0, dict(known))], names, ties)[0][1], names, ties, corners)


def _grow(
    states: list[tuple[float, dict[str, Point]]], names: Sequence[str], ties: Sequence[Tie]
) -> list[tuple[float, dict[str, Point]]]:
    while True:
        known = states[0][1]
        count = {
            name: len({t.end if t.start == name else t.start for t in ties if name in (t.start, t.end)} & set(known))
            for name in names
            if name not in known
        }
        able = [name for name, ready in count.items() if ready >= 2]
        if not able:
            return states
        name = max(able, key=lambda n: (count[n], -list(names).index(n)))
        grown = _extend(states, name, ties, one_side=len(known) == 2)
        if not grown:
            return states
        states = grown


def _fill(
    known: Mapping[str, Point], names: Sequence[str], ties: Sequence[Tie], corners: Sequence[str]
) -> dict[str, Point]:
    """Give points that no two readings reach a place of their own, on a circle in corner order."""
    placed = dict(known)
    size = max([t.value for t in ties], default=5000.0) / 2
    middle = (
        (sum(p[0] for p in placed.values()) / len(placed), sum(p[1] for p in placed.values()) / len(placed))
        if placed
        else (0.0, 0.0)
    )
    for k, name in enumerate(names):
        if name not in placed:
            reach = size if name in corners else size / 5
            angle = 2 * math.pi * (k + 0.25) / len(names)
            placed[name] = (middle[0] - reach * math.cos(angle), middle[1] + reach * math.sin(angle))
    return placed
