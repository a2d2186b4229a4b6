"""What to tape when the readings leave a point loose, fit two places of it, or cannot say which of them is wrong."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache

import numpy as np

from buildout.rooms.engine import geometry
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.network import CHECKED, LIMIT, RIVAL, Adjusted, Array, Distance, End, Network
from buildout.rooms.engine.observations import SIDES, Work, corner_offset, listed, sigma
from buildout.rooms.engine.shape import Shape, judge_shape
from buildout.rooms.engine.types import Column, LoosePoint, WantedReading
from buildout.units.value import snap

LONGEST_TAPE = 30_480.0
"""Usual longest tape, mm (100 ft)."""
GRAZES = 20.0
"""A tape may pass a column's face this close, mm."""


# ---------------------------------------------------------------- what can be taped


def sight(work: Work, network: Network, x: Array, longest: float = LONGEST_TAPE) -> Callable[[str, str], bool]:
    """Test whether a tape runs straight between two points of a fixed room.

    It must stay inside the outline, off every column but those it is held at, and within the longest tape.
    """
    points = network.unpack(x)
    ring = [points[n] for n in work.corners]
    simple = geometry.crossing_sides(ring) is None
    posts: list[tuple[str, list[Point]]] = []
    for column in work.room.columns:
        if column.id not in points:
            continue
        if column.shape == "round":
            r = max(float(column.diameter or 0) / 2 - GRAZES, 1.0)
            cx, cy = points[column.id]
            turns = [2 * math.pi * k / 12 for k in range(12)]
            posts.append((column.id, [(cx + r * math.cos(t), cy + r * math.sin(t)) for t in turns]))
        elif column.width and column.depth:
            spots = []
            for side in SIDES:
                offset, frame = corner_offset(column, side, work)
                spots.append(network.spot(x, End(column.id, offset=offset, frame=frame)))
            cx, cy = points[column.id]
            size = max(geometry.distance(spots[0], (cx, cy)), 1.0)
            share = max(size - GRAZES, 1.0) / size
            posts.append((column.id, [(cx + share * (p[0] - cx), cy + share * (p[1] - cy)) for p in spots]))
            points |= {f"{column.id}.{side}": spot for side, spot in zip(SIDES, spots, strict=True)}

    def clear(a: str, b: str) -> bool:
        p, q = points[a], points[b]
        if geometry.distance(p, q) > longest or (simple and not geometry.in_sight(ring, p, q)):
            return False
        return not any(
            name not in (a, b) and any(geometry.segments_meet(p, q, post[k - 1], post[k]) for k in range(len(post)))
            for name, post in posts
        )

    return clear


# ---------------------------------------------------------------- undecided readings


def deciding(work: Work, rivals: Sequence[tuple[tuple[str, ...], Mapping[str, Point]]]) -> list[WantedReading]:
    """The one tie that would tell rival explanations apart best; empty when none would tell anything.

    ``rivals``: readings blamed, and the points without them. A tie tells two of them apart when what it should
    show differs by more than its own error could make up.
    """
    if len(rivals) < 2:
        return []
    names = [*work.corners, *work.room.marks]
    network = work.network()
    x = network.pack(rivals[0][1])
    clear = sight(work, network, x)
    best: tuple[int, float, str, str, list[float]] | None = None
    for a, b in itertools.combinations(names, 2):
        shown = [geometry.distance(points[a], points[b]) for _, points in rivals]
        if max(shown) - min(shown) < LIMIT * sigma("tape", shown[0], work.room.tools) or not clear(a, b):
            continue
        apart = 2 * LIMIT * sigma("tape", max(shown), work.room.tools)
        pairs = [abs(one - two) for one, two in itertools.combinations(shown, 2)]
        score = (sum(d > apart for d in pairs), round(min(pairs), 1))
        if best is None or score > best[:2]:
            best = (*score, a, b, shown)
    if best is None or best[0] == 0:
        return []
    told, _, a, b, shown = best
    groups: list[tuple[float, list[str]]] = []
    for value, (blamed, _) in sorted(zip(shown, rivals, strict=True), key=lambda t: (t[0], t[1][0])):
        if groups and value - groups[-1][0] <= 2 * LIMIT * sigma("tape", value, work.room.tools):
            groups[-1][1].append(listed([work.name(i) for i in blamed]))
        else:
            groups.append((value, [listed([work.name(i) for i in blamed])]))
    words = [f"{work.long(value)} would point to {' or '.join(blamed)}" for value, blamed in groups]
    every = told == len(rivals) * (len(rivals) - 1) // 2
    text = f"Tape {a}–{b}{' again' if was_read(work, a, b) else ''}: {'; '.join(words)}."
    if not every:
        text += " A control mark on the floor tied to every corner would settle the rest."
    return [WantedReading(start=a, end=b, holds="", text=text)]


# ---------------------------------------------------------------- two places of one point


def check_mirrors(work: Work, network: Network, x: Array, shapes: Sequence[Shape], *, checked: bool = False) -> None:
    """Ask for a reading where a point could as well lie on the other side of what it is tied to.

    ``checked``: every reading is, so that a turned-over point that misses one of them by hundreds of
    standard deviations cannot be fitted by moving the others.
    """
    base = network.cost(x)
    points = network.unpack(x)
    rivals: dict[str, Point] = {}
    skew = lru_cache(maxsize=1)(lambda: judge_shape(network, x, work.corners, work.others, work.clockwise).skew)
    partners_of: dict[str, set[str]] = {name: set() for name in work.names}
    touching: dict[str, list[Distance]] = {name: [] for name in work.names}
    for o in network.observations:
        for name in o.points:
            partners_of[name].update(o.points)
            if isinstance(o, Distance):
                touching[name].append(o)
    for other in shapes[1:]:
        if other.sound and network.cost(other.x) <= base + RIVAL and other.skew <= skew() + 10:
            there = network.unpack(other.x)
            for name in work.names:
                if geometry.distance(points[name], there[name]) > 50:
                    rivals[name] = there[name]
    for name in work.names:
        if name in (work.origin, work.along) or name in rivals:
            continue
        partners = sorted(partners_of[name] - {name})
        if len(partners) < 2:
            continue
        b = max(partners, key=lambda p: geometry.distance(points[p], points[partners[0]]))
        a = max(partners, key=lambda p: geometry.distance(points[p], points[b]))
        over = mirrored(points[name], points[a], points[b])
        if checked and any(
            ((geometry.distance(over, points[d.end.point if d.start.point == name else d.start.point])
              - geometry.distance(points[d.start.point], points[d.end.point])) / d.sigma) ** 2 > 4 * RIVAL / CHECKED
            for d in touching[name]
        ):  # fmt: skip
            continue
        flipped = {**points, name: over}
        y = network.fit(network.pack(flipped))
        if geometry.distance(network.unpack(y)[name], points[name]) <= 50 or network.cost(y) > base + RIVAL:
            continue
        again = judge_shape(network, y, work.corners, work.others, work.clockwise)
        if again.sound and (name in work.others or again.skew <= skew() + 10):
            rivals[name] = network.unpack(y)[name]
    for name, there_too in rivals.items():
        unread = [c for c in work.corners if c != name and not was_read(work, c, name)]
        free = max(
            unread or [c for c in work.corners if c != name],
            key=lambda c: round(_parted(points, c, name, there_too), 1),
        )
        report = work.warn if name in work.room.marks else work.stop
        report(
            "mirror", f"The readings fit two places of {name}, mirror images of each other.", name,
            f"Tape one more length to {name}, such as {free}–{name}.",
        )  # fmt: skip


def _parted(points: Mapping[str, Point], corner: str, name: str, there: Point) -> float:
    """How differently a tape from a corner would read to the two places of a point."""
    return abs(geometry.distance(points[corner], points[name]) - geometry.distance(points[corner], there))


def was_read(work: Work, a: str, b: str) -> bool:
    return any({d.start.point, d.end.point} == {a, b} for d in work.lengths)


def mirrored(p: Point, a: Point, b: Point) -> Point:
    square = max(geometry.distance(a, b) ** 2, 1e-9)
    share = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / square
    foot = (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]))
    return 2 * foot[0] - p[0], 2 * foot[1] - p[1]


# ---------------------------------------------------------------- loose points


def tell_loose(
    work: Work, network: Network, x: Array, adjusted: Adjusted, *, broken: bool
) -> tuple[list[WantedReading], list[LoosePoint]]:
    """Name the loose points, which way each can move, and the shortest list of readings that would hold them all.

    ``broken``: the readings contradict each other, so that more of them would not help.
    """
    found = [] if broken else _wanted(work, network, x, adjusted)
    points = [_loose_point(work, network, adjusted, name) for name in adjusted.loose]
    ways = {point.name: point.text for point in points}
    wanted: dict[str, list[str]] = {}
    for reading in found:
        wanted.setdefault(reading.holds, []).append(reading.text.removeprefix("Tape ").removesuffix("."))
    for name, asked in wanted.items():
        ties = sum(1 for o in network.observations if name in o.points)
        held = "no reading reaches it" if not ties else f"{ties} reading{'s' if ties > 1 else ''} cannot hold it"
        free = ways.get(name, f"{name} is free to move").removesuffix(".")
        work.stop("loose point", f"{free}: {held}.", name, f"Tape {listed(asked)}.")
    return found, points


def _loose_point(work: Work, network: Network, adjusted: Adjusted, name: str) -> LoosePoint:
    kind = "Corner" if name in work.corners else "Mark" if name in work.room.marks else "Column"
    block = np.zeros((2, adjusted.null.shape[1]))
    for axis, column in enumerate(network.columns[name]):
        if column is not None:
            block[axis] = adjusted.null[column]
    u, values, _ = np.linalg.svd(block)
    many = int(np.sum(values > max(0.05 * values[0], 1e-6)))
    directions = [(snap(float(u[0, k]), 1e-4), snap(float(u[1, k]), 1e-4)) for k in range(many)]
    ways = [d if (d[0], d[1]) > (0.0, 0.0) else (-d[0] + 0.0, -d[1] + 0.0) for d in directions]
    where = "in any direction" if many > 1 else _in_words(work, adjusted, name, ways[0])
    spot = adjusted.points[name]
    return LoosePoint(
        name=name, x=snap(spot[0]), y=snap(spot[1]), directions=ways, text=f"{kind} {name} is free to move {where}."
    )


def _in_words(work: Work, adjusted: Adjusted, name: str, way: Point) -> str:
    """A direction, by the walls at the point where it runs along or square to one of them."""
    lines = [(name, other) for other in _neighbours(name, work.corners)] or [(work.origin, work.along)]
    for a, b in lines:
        if a in adjusted.points and b in adjusted.points:
            p, q = adjusted.points[a], adjusted.points[b]
            size = geometry.distance(p, q)
            if size < 1.0:
                continue
            share = abs(way[0] * (q[0] - p[0]) + way[1] * (q[1] - p[1])) / size
            if share > 0.96:
                return f"along {a}–{b}"
            if share < 0.28:
                return f"square to {a}–{b}"
    angle = math.degrees(math.atan2(way[1], way[0])) % 180
    return f"at about {angle:.0f}° to the base line {work.origin}–{work.along}"


def _wanted(work: Work, network: Network, x: Array, adjusted: Adjusted) -> list[WantedReading]:
    """Readings that would hold every loose point, most useful first."""
    null = adjusted.null
    ring = [adjusted.points[n] for n in work.corners]
    simple = geometry.crossing_sides(ring) is None
    columns = {c.id: c for c in work.room.columns}
    marks = set(work.room.marks)
    pairs = [(a, b) for a, b in itertools.combinations(work.names, 2) if a not in columns or b not in columns]
    found: list[WantedReading] = []
    while null.shape[1]:
        best: tuple[float, str, str] | None = None
        row = null[:, 0]
        for a, b in pairs:
            if was_read(work, a, b) and a not in columns and b not in columns:
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
        what = f"{other}–{held}" if held not in columns else f"from {other} to {target}"
        found.append(WantedReading(start=other, end=held, holds=held, text=f"Tape {what}."))
        pull = row @ null
        _, _, basis = np.linalg.svd(pull.reshape(1, -1))
        null = null @ basis[1:].T
    if not found and adjusted.loose:
        name = adjusted.loose[0]
        found.append(WantedReading(start="", end=name, holds=name, text=f"Tape from two known corners to {name}."))
    return found


def _on_column(column: Column) -> str:
    if column.shape == "round":
        return f"the nearest face of column {column.id}"
    return f"a named corner of column {column.id}, such as {column.id}.SW"


def _neighbours(name: str, corners: Sequence[str]) -> tuple[str, ...]:
    if name not in corners:
        return ()
    k = list(corners).index(name)
    return corners[k - 1], corners[(k + 1) % len(corners)]
