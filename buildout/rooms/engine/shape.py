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
from buildout.rooms.engine.network import Array, Network, Observation, Offset, Running, Square, bounded, robust_fit

WIDTH = 10
"""States kept while points are placed one after another."""
QUICK = 2
"""States kept where the readings are taken to agree."""
SAME = 4.0
"""Shapes whose robust costs differ by less fit equally well; one reading given up costs 9."""
GRAZE = 50.0
"""A mark or an engaged column may lie on a wall, give or take this."""
LARGE = 60
"""From this many points on, fewer starts are tried."""
LEGS = 12
"""Rooms with more corners are not tried as rooms of right angles in every order."""


@dataclass(frozen=True)
class Tie:
    """A distance between two points for placing, column faces brought back to the centre."""

    start: str
    end: str
    value: float


@dataclass(frozen=True)
class Ties:
    """What points are placed from: the distances, and the observations of other kinds."""

    lengths: Sequence[Tie]
    others: Sequence[Observation] = ()


Locus = tuple[Point, Point | None, float]
"""A circle (centre, None, radius) or a line (a point on it, its direction, 0)."""


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
    ties: Ties,
    *,
    clockwise: bool,
    origin: str,
    along: str,
) -> list[Shape]:
    """Best-fitting shapes, best first. More than one when the readings fit several about equally well."""
    starts = _right_angled(corners, ties.lengths, clockwise)
    many = len(corners) + len(others) > LARGE
    placed = [_place(start, [*corners, *others], ties, corners, many) for start in starts[:3]]
    placed += _place_all([*corners, *others], ties, corners, origin, along, many)[: 2 if many else WIDTH]
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


def quick_starts(
    network: Network,
    corners: Sequence[str],
    others: Sequence[str],
    ties: Ties,
    *,
    clockwise: bool,
    origin: str,
    along: str,
) -> list[Array]:
    """Closed-form starts for readings that agree: points one after another where two readings meet best.

    At most three, best first. Empty when some point has no two readings to points placed before it. One wrong
    reading may spoil them; the caller finds that out from the fit and turns to ``find_shapes``.
    """
    names = [*corners, *others]
    states = _grow([_base(ties, origin, along)], names, ties, quick=True) if ties.lengths else []
    placed = [known for _, known in states[:3] if len(known) == len(names)]
    return [network.pack(_upright(known, corners, clockwise, origin, along)) for known in placed]


def is_sound(network: Network, x: Array, corners: Sequence[str], others: Sequence[str], clockwise: bool) -> bool:
    """Whether the outline is simple, runs the right way round and holds columns and marks."""
    points = network.unpack(x)
    ring = [points[name] for name in corners]
    return (
        (geometry.signed_area(ring) < 0) == clockwise
        and geometry.crossing_sides(ring) is None
        and all(geometry.inside_or_near(ring, points[name], GRAZE) for name in others)
    )


def joined_thrice(names: Sequence[str], observations: Sequence[Observation]) -> bool:
    """Whether no two points part the others: then no part of the room can be turned over on its own.

    Three-connected networks whose every reading is checked have one shape up to reflection, special positions
    apart (B. Jackson and T. Jordán, Connected rigidity matroids and unique realizations of graphs, 2005).
    """
    at = {name: k for k, name in enumerate(names)}
    near: list[set[int]] = [set() for _ in names]
    for observation in observations:
        found = [at[name] for name in dict.fromkeys(observation.points)]
        for a, b in itertools.permutations(found, 2):
            near[a].add(b)
    links = [sorted(n) for n in near]
    return len(names) > 3 and all(_no_cut(links, without) for without in range(len(names)))


def _no_cut(links: Sequence[Sequence[int]], without: int) -> bool:
    """Whether the network less one point holds together whichever other point is taken out (R. Tarjan, 1972)."""
    root = 1 if without == 0 else 0
    depth = {root: 0}
    low = {root: 0}
    stack = [(root, without, iter(links[root]))]
    branches = 0
    while stack:
        here, parent, rest = stack[-1]
        for there in rest:
            if there in (without, parent):
                continue
            if there in depth:
                low[here] = min(low[here], depth[there])
                continue
            depth[there] = low[there] = depth[here] + 1
            stack.append((there, here, iter(links[there])))
            break
        else:
            stack.pop()
            if stack:
                above = stack[-1][0]
                low[above] = min(low[above], low[here])
                if above == root:
                    branches += 1
                elif low[here] >= depth[above]:
                    return False
    return branches <= 1 and len(depth) == len(links) - 1


def judge_shape(network: Network, x: Array, corners: Sequence[str], others: Sequence[str], clockwise: bool) -> Shape:
    points = network.unpack(x)
    ring = [points[name] for name in corners]
    sound = is_sound(network, x, corners, others, clockwise)
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


def _loci(name: str, known: Mapping[str, Point], ties: Ties) -> list[Locus]:
    """Where each reading to points already known lets a point lie."""
    found: list[Locus] = []
    for t in ties.lengths:
        if name in (t.start, t.end):
            other = t.end if t.start == name else t.start
            if other in known:
                found.append((known[other], None, t.value))
    for o in ties.others:
        if not all(point in known for point in o.points if point != name) or name not in o.points:
            continue
        if isinstance(o, Offset | Running) and o.spot.point == name and name not in o.wall:
            a, b = known[o.wall[0]], known[o.wall[1]]
            size = geometry.distance(a, b)
            if size < 1.0:
                continue
            u = ((b[0] - a[0]) / size, (b[1] - a[1]) / size)
            reach = o.value + o.spot.radius
            if isinstance(o, Running):
                found.append(((a[0] + reach * u[0], a[1] + reach * u[1]), (-u[1], u[0]), 0.0))
            else:
                found += [((a[0] - side * u[1], a[1] + side * u[0]), u, 0.0) for side in (reach, -reach)]
        elif isinstance(o, Square) and name in o.arms:
            corner, arm = known[o.corner], known[o.arms[1] if o.arms[0] == name else o.arms[0]]
            p, q = o.legs
            cosine = (p * p + q * q - o.value * o.value) / (2 * p * q)
            if abs(cosine) <= 1:
                ahead = math.atan2(arm[1] - corner[1], arm[0] - corner[0])
                for turn in (math.acos(cosine), -math.acos(cosine)):
                    found.append((corner, (math.cos(ahead + turn), math.sin(ahead + turn)), 0.0))
    return found


def _meet(one: Locus, two: Locus) -> list[Point]:
    """Where two loci meet; the nearest approach of circles that miss each other."""
    (a, u, ra), (b, v, rb) = one, two
    if u is None and v is not None:
        return _meet(two, one)
    if u is not None and v is not None:
        det = u[0] * v[1] - u[1] * v[0]
        if abs(det) < 0.05:
            return []
        t = ((b[0] - a[0]) * v[1] - (b[1] - a[1]) * v[0]) / det
        return [(a[0] + t * u[0], a[1] + t * u[1])]
    if u is not None:
        t = (b[0] - a[0]) * u[0] + (b[1] - a[1]) * u[1]
        foot = (a[0] + t * u[0], a[1] + t * u[1])
        square = rb * rb - geometry.distance(foot, b) ** 2
        half = math.sqrt(square) if square > 0 else 0.0
        return [(foot[0] + s * u[0], foot[1] + s * u[1]) for s in ((half, -half) if half else (0.0,))]
    d = geometry.distance(a, b)
    if d < 1.0:
        return []
    along = (d * d + ra * ra - rb * rb) / (2 * d)
    square = ra * ra - along * along
    height = math.sqrt(square) if square > 0 else 0.0
    ux, uy = (b[0] - a[0]) / d, (b[1] - a[1]) / d
    return [
        (a[0] + along * ux - side * uy, a[1] + along * uy + side * ux)
        for side in ((height, -height) if height else (0.0,))
    ]


def _crossing(one: Locus, two: Locus, at: Point) -> float:
    """How squarely two loci cross at a point, 0 to 1."""
    ways = []
    for centre, direction, _ in (one, two):
        if direction is None:
            dx, dy = at[0] - centre[0], at[1] - centre[1]
            size = math.hypot(dx, dy) or 1.0
            direction = (-dy / size, dx / size)
        ways.append(direction)
    return abs(ways[0][0] * ways[1][1] - ways[0][1] * ways[1][0])


def _off(locus: Locus, at: Point) -> float:
    """How badly a point misses a locus, in steps of 100 mm, at most 30."""
    centre, direction, radius = locus
    if direction is None:
        far = abs(geometry.distance(centre, at) - radius)
    else:
        far = abs((at[0] - centre[0]) * direction[1] - (at[1] - centre[1]) * direction[0])
    return min(far / 100.0, 30.0)


def _extend(
    states: list[tuple[float, dict[str, Point]]], name: str, ties: Ties, *, one_side: bool, quick: bool
) -> list[tuple[float, dict[str, Point]]]:
    grown = []
    for score, known in states:
        near = _loci(name, known, ties)
        spots: list[Point] = []
        if quick and len(near) > 2:
            met = [(one, two, _meet(one, two)) for one, two in itertools.combinations(near[:6], 2)]
            best = max(((_crossing(one, two, at[0]), at) for one, two, at in met if at), default=None)
            spots = best[1] if best else []
        else:
            for one, two in itertools.combinations(near, 2):
                spots += _meet(one, two)
        choices: list[tuple[float, Point]] = []
        for spot in spots:
            if one_side and spot[1] < 0:
                continue
            if any(geometry.distance(spot, other) < 20.0 for _, other in choices):
                continue
            choices.append((sum(_off(locus, spot) for locus in near), spot))
        choices.sort()
        grown += [(score + extra, {**known, name: spot}) for extra, spot in choices[:4]]
    grown.sort(key=lambda s: s[0])
    return grown[: QUICK if quick else WIDTH]


def _base(ties: Ties, origin: str, along: str) -> tuple[float, dict[str, Point]]:
    """Two points to begin with: the datum wall, or the longest reading there is."""
    datum = [t for t in ties.lengths if {t.start, t.end} == {origin, along}]
    first = (datum or sorted(ties.lengths, key=lambda t: (-t.value, t.start, t.end)))[0]
    return 0.0, {first.start: (0.0, 0.0), first.end: (first.value, 0.0)}


def _place_all(
    names: Sequence[str], ties: Ties, corners: Sequence[str], origin: str, along: str, quick: bool
) -> list[dict[str, Point]]:
    """Place every point from circles, starting at the datum wall (or the longest reading there is)."""
    if not ties.lengths:
        return [_fill({}, names, ties, corners)]
    grown = _grow([_base(ties, origin, along)], names, ties, quick=quick)
    return [_fill(known, names, ties, corners) for _, known in grown]


def _place(
    known: dict[str, Point], names: Sequence[str], ties: Ties, corners: Sequence[str], quick: bool
) -> dict[str, Point]:
    return _fill(_grow([(0.0, dict(known))], names, ties, quick=quick)[0][1], names, ties, corners)


def _reach(name: str, known: Mapping[str, Point], neighbours: Mapping[str, Sequence[str]], ties: Ties) -> int:
    """How many readings of different points hold a point to those already known."""
    count = sum(other in known for other in neighbours[name])
    if ties.others:
        others = _loci(name, known, Ties([], ties.others))
        count += len({(round(u[0], 3), round(u[1], 3)) if u else (0.0, 0.0) for _, u, _ in others})
    return count


def _grow(
    states: list[tuple[float, dict[str, Point]]], names: Sequence[str], ties: Ties, *, quick: bool = False
) -> list[tuple[float, dict[str, Point]]]:
    neighbours: dict[str, list[str]] = {name: [] for name in names}
    for t in ties.lengths:
        for a, b in ((t.start, t.end), (t.end, t.start)):
            if b not in neighbours[a]:
                neighbours[a].append(b)
    order = {name: -k for k, name in enumerate(names)}
    while True:
        known = states[0][1]
        count = {name: _reach(name, known, neighbours, ties) for name in names if name not in known}
        able = [name for name, ready in count.items() if ready >= 2]
        if not able:
            return states
        name = max(able, key=lambda n: (count[n], order[n]))
        grown = _extend(states, name, ties, one_side=len(known) == 2, quick=quick)
        if not grown:
            return states
        states = grown


def _fill(known: Mapping[str, Point], names: Sequence[str], ties: Ties, corners: Sequence[str]) -> dict[str, Point]:
    """Give points that no two readings reach a place of their own, on a circle in corner order."""
    placed = dict(known)
    size = max([t.value for t in ties.lengths], default=5000.0) / 2
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
