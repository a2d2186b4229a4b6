"""The shape a floor is laid in: the frame's outer face, the field inside the frame, the holes at columns.

The frame's outer face keeps ``frame_gap`` off every side of the mat field so that the cover's band can
be reached and the wall can move; foam fills what lies inside the frame's timber. Along a ramped edge the
frame runs on as elsewhere and the ramp stands in front of it, outside the mat field.
Common practice, no published source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence, Set
from dataclasses import dataclass
from typing import Any

from buildout.rooms.engine.types import MatEdge, PlacedColumn, RoomPlan
from buildout.units.value import snap
from estimating.engine.mat_sides import mat_sides
from estimating.engine.types import FloorSystem, MatSide

Point = tuple[float, float]
Ring = list[Point]

GRID = 0.01
"""mm; every set operation works on this grid."""
COLUMN_GAP = 6.35
"""mm (1/4 in) kept between foam or cover and a column. Common practice, no published source."""
STRAIGHT = math.radians(5)
"""Edges that turn by less than this count as one straight run."""


@dataclass(frozen=True)
class Side:
    """One straight side of a ring, anticlockwise, with the mat edges it stands on."""

    a: Point
    b: Point
    edges: tuple[MatEdge, ...]

    @property
    def length(self) -> float:
        return math.dist(self.a, self.b)

    @property
    def heading(self) -> float:
        return math.atan2(self.b[1] - self.a[1], self.b[0] - self.a[0])


@dataclass(frozen=True)
class MatShape:
    """``outer`` is the frame's outer face, ``field`` what foam fills (Shapely polygon, holes cut out)."""

    sides: list[Side]
    outer: Any
    field: Any
    holes: list[Ring]
    lost: float
    """mm² of mat field left out because the frame closes it off from the rest."""
    bare: frozenset[int] = frozenset()
    """Sides, by their place, that have no frame."""


def ring_of(polygon: Any) -> Ring:
    """Outer ring of a Shapely polygon, anticlockwise from its lowest-left corner, not closed."""
    import shapely

    return tidy_ring(shapely.get_coordinates(polygon.exterior)[:-1].tolist())


def tidy_ring(points: Ring) -> Ring:
    """Snap a ring, turn it anticlockwise and start it at its smallest (x, y)."""
    ring: Ring = []
    for x, y in points:
        point = (snap(x), snap(y))
        if not ring or point != ring[-1]:
            ring.append(point)
    if len(ring) > 1 and ring[0] == ring[-1]:
        ring.pop()
    if signed_area(ring) < 0:
        ring.reverse()
    if not ring:
        return ring
    first = ring.index(min(ring))
    return ring[first:] + ring[:first]


def signed_area(ring: Ring) -> float:
    """Shoelace formula; positive when anticlockwise.

    >>> signed_area([(0, 0), (4, 0), (4, 3), (0, 3)])
    12.0
    """
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, ring[1:] + ring[:1], strict=True)) / 2


def without_straight_points(ring: Ring, tolerance: float = 1.0) -> Ring:
    """Drop corners that lie within ``tolerance`` mm of the line between their neighbours.

    >>> without_straight_points([(0, 0), (5, 0), (10, 0), (10, 10), (0, 10)])
    [(0, 0), (10, 0), (10, 10), (0, 10)]
    """
    kept = list(ring)
    place = 0
    while place < len(kept) and len(kept) > 3:
        before, here, after = kept[place - 1], kept[place], kept[(place + 1) % len(kept)]
        run = math.dist(before, after)
        off = abs(signed_area([before, here, after])) * 2 / run if run else 0.0
        between = (here[0] - before[0]) * (after[0] - here[0]) + (here[1] - before[1]) * (after[1] - here[1]) > 0
        if off <= tolerance and between:
            del kept[place]
            place = max(0, place - 1)
        else:
            place += 1
    return kept


def polygon_of(ring: Ring, holes: list[Ring] | None = None) -> Any:
    """A Shapely polygon on the 0.01 mm grid; mends self-touching rings by taking the largest part."""
    import shapely

    shape = shapely.Polygon(ring, holes or [])
    if not shape.is_valid:
        shape = shape.buffer(0)
    return largest_part(shapely.set_precision(shape, GRID))


def parts_of(shape: Any) -> list[Any]:
    """Polygons of a shape, from the left, then from below; lines and points left out."""
    if shape.geom_type == "Polygon":
        return [] if shape.is_empty else [shape]
    parts = [p for p in getattr(shape, "geoms", []) if p.geom_type == "Polygon" and p.area > 0]
    return sorted(parts, key=lambda p: (round(p.bounds[0], 2), round(p.bounds[1], 2), round(p.area, 2)))


def largest_part(shape: Any) -> Any:
    """The polygon of largest area, or an empty polygon."""
    import shapely

    parts = parts_of(shape)
    return max(parts, key=lambda p: round(p.area, 2)) if parts else shapely.Polygon()


def column_hole(column: PlacedColumn, gap: float = COLUMN_GAP) -> Any:
    """A column's outline with ``gap`` mm of clearance all round."""
    import shapely

    shape = shapely.Polygon(column.outline)
    if column.shape == "round":
        return shape.buffer(gap, quad_segs=16)
    return shape.buffer(gap, join_style="mitre")


def mat_shape(plan: RoomPlan, system: FloorSystem, built: Sequence[MatSide] | None = None) -> MatShape | None:
    """Frame outer face and foam field for a plan; None where there is no mat field or the frame fills it.

    ``built``: what stands at every side of the mat; not given, what is usual for the system.
    """

    if len(plan.mat_field) < 3:
        return None
    gap = float(system.frame_gap) if system.frame_gap is not None else 0.0
    timber = float(system.frame_width) if system.frame and system.frame_width is not None else 0.0
    sides = _sides(plan)
    outer_sides, outer = _inside(sides, gap)
    if outer.is_empty:
        return None
    bare: frozenset[int] = frozenset()
    unframed = {side.id for side in (mat_sides(plan, system)[0] if built is None else built) if side.edge == "foam"}
    if timber and unframed:
        outer_sides = _parted(outer_sides, unframed)
        usual = system.framed != "all round"
        bare = frozenset(
            k
            for k, side in enumerate(outer_sides)
            if (all(e.id in unframed for e in side.edges) if side.edges else usual)
        )
        inner = _less_strips(outer, outer_sides, bare, timber)
        lost = 0.0
    else:
        _, inner = _inside(sides, gap + timber)
        lost = max(0.0, outer.buffer(-timber, join_style="mitre").area - inner.area) if timber else 0.0
    field = without_columns(inner, plan.columns)
    if field.is_empty or field.area < 1:
        return None
    lost += max(0.0, inner.area - field.area - sum(column_hole(c).intersection(inner).area for c in plan.columns))
    return MatShape(sides=outer_sides, outer=outer, field=field, holes=holes_of(field), lost=lost, bare=bare)


def _parted(sides: list[Side], unframed: Set[str]) -> list[Side]:
    """Sides split where the frame begins or ends along them."""
    parts = []
    for side in sides:
        groups: list[list[MatEdge]] = []
        for edge in side.edges:
            if groups and (edge.id in unframed) == (groups[-1][-1].id in unframed):
                groups[-1].append(edge)
            else:
                groups.append([edge])
        if len(groups) < 2:
            parts.append(side)
            continue
        ends = [_foot(group[-1].b, side) for group in groups[:-1]]
        for a, b, group in zip([side.a, *ends], [*ends, side.b], groups, strict=True):
            parts.append(Side(a=a, b=b, edges=tuple(group)))
    return parts


def _foot(point: Point, side: Side) -> Point:
    """Nearest point of a side."""
    run = side.length
    ux, uy = (side.b[0] - side.a[0]) / run, (side.b[1] - side.a[1]) / run
    along = min(run, max(0.0, (point[0] - side.a[0]) * ux + (point[1] - side.a[1]) * uy))
    return snap(side.a[0] + ux * along), snap(side.a[1] + uy * along)


def _less_strips(outer: Any, sides: list[Side], bare: frozenset[int], timber: float) -> Any:
    """The outer face less a timber along every framed side; at an inner corner the timber that arrives runs through."""
    import shapely

    strips = []
    for place, side in enumerate(sides):
        after = (place + 1) % len(sides)
        if place in bare or side.length < GRID:
            continue
        along = (math.cos(side.heading), math.sin(side.heading))
        inner_corner = math.remainder(sides[after].heading - side.heading, math.tau) < 0
        more = timber if inner_corner and after not in bare else 0.0
        b = (side.b[0] + along[0] * more, side.b[1] + along[1] * more)
        over = (-along[1] * timber, along[0] * timber)
        strips.append(
            shapely.Polygon([side.a, b, (b[0] + over[0], b[1] + over[1]), (side.a[0] + over[0], side.a[1] + over[1])])
        )
    if not strips:
        return outer
    left = shapely.difference(outer, shapely.union_all(strips, grid_size=GRID), grid_size=GRID)
    return largest_part(shapely.set_precision(left, GRID))


def without_columns(shape: Any, columns: list[PlacedColumn]) -> Any:
    """The largest part of a shape once columns and their gaps are taken out, on the 0.01 mm grid.

    A column that stands clear of the edge leaves a hole, one that reaches over the edge a notch.
    """
    import shapely

    holes = [hole for hole in map(column_hole, columns) if hole.intersects(shape)]
    if not holes:
        return shape
    cut = shapely.difference(shape, shapely.union_all(holes, grid_size=GRID), grid_size=GRID)
    return largest_part(shapely.set_precision(cut, GRID))


def holes_of(polygon: Any) -> list[Ring]:
    """Rings of a polygon's holes, anticlockwise, in order."""
    return sorted(tidy_ring([(float(x), float(y)) for x, y in ring.coords[:-1]]) for ring in polygon.interiors)


def _sides(plan: RoomPlan) -> list[Side]:
    ring = list(plan.mat_field)
    if signed_area(ring) < 0:
        ring.reverse()
    sides = []
    for a, b in zip(ring, ring[1:] + ring[:1], strict=True):
        if math.dist(a, b) < GRID:
            continue
        on = [e for e in plan.mat_edges if e.kind != "column" and _on(e.a, a, b) and _on(e.b, a, b)]
        on.sort(key=lambda e: math.dist(a, _middle(e)))
        sides.append(Side(a=a, b=b, edges=tuple(on)))
    return sides


def _middle(edge: MatEdge) -> Point:
    return (edge.a[0] + edge.b[0]) / 2, (edge.a[1] + edge.b[1]) / 2


def _on(point: Point, a: Point, b: Point, tolerance: float = 1.0) -> bool:
    run = math.dist(a, b)
    along = ((point[0] - a[0]) * (b[0] - a[0]) + (point[1] - a[1]) * (b[1] - a[1])) / run
    off = abs((b[0] - a[0]) * (point[1] - a[1]) - (b[1] - a[1]) * (point[0] - a[0])) / run
    return off <= tolerance and -tolerance <= along <= run + tolerance


def _inside(sides: list[Side], distance: float) -> tuple[list[Side], Any]:
    """Move every side inwards by ``distance`` with sharp corners; sides that vanish are dropped."""
    left = list(sides)
    while len(left) >= 3:
        corners = [_meet(left[k - 1], left[k], distance) for k in range(len(left))]
        moved = [Side(a=corners[k], b=corners[(k + 1) % len(left)], edges=side.edges) for k, side in enumerate(left)]
        turned = [k for k, side in enumerate(moved) if _dot(side, left[k]) <= 0]
        if not turned:
            shape = polygon_of([side.a for side in moved])
            exact = signed_area([side.a for side in moved])
            if exact > 0 and abs(shape.area - exact) <= GRID * shape.length + 1:
                return moved, shape
            break
        shortest = min(turned, key=lambda k: (left[k].length, k))
        del left[shortest]
    import shapely

    whole = polygon_of([side.a for side in sides])
    shape = largest_part(shapely.set_precision(whole.buffer(-distance, join_style="mitre", mitre_limit=10), GRID))
    if shape.is_empty:
        return [], shape
    ring = ring_of(shape)
    found = []
    for a, b in zip(ring, ring[1:] + ring[:1], strict=True):
        side = Side(a=a, b=b, edges=())
        near = min(sides, key=lambda s: (_apart(side, s, distance), s.a))
        found.append(Side(a=a, b=b, edges=near.edges if _apart(side, near, distance) < 1.0 else ()))
    return found, shape


def _dot(one: Side, two: Side) -> float:
    return (one.b[0] - one.a[0]) * (two.b[0] - two.a[0]) + (one.b[1] - one.a[1]) * (two.b[1] - two.a[1])


def _apart(inner: Side, side: Side, distance: float) -> float:
    """How far an inner side is from being ``side`` moved in by ``distance``, mm."""
    turn = abs(math.remainder(inner.heading - side.heading, math.tau))
    mid = ((inner.a[0] + inner.b[0]) / 2, (inner.a[1] + inner.b[1]) / 2)
    normal = (-math.sin(side.heading), math.cos(side.heading))
    off = (mid[0] - side.a[0]) * normal[0] + (mid[1] - side.a[1]) * normal[1]
    along = (mid[0] - side.a[0]) * math.cos(side.heading) + (mid[1] - side.a[1]) * math.sin(side.heading)
    beyond = max(0.0, -along, along - side.length)
    return abs(off - distance) + beyond + turn * inner.length


def _meet(before: Side, after: Side, distance: float) -> Point:
    """Where two neighbouring sides, both moved inwards, cross."""
    h1, h2 = before.heading, after.heading
    n1 = (-math.sin(h1), math.cos(h1))
    n2 = (-math.sin(h2), math.cos(h2))
    turn = math.sin(math.remainder(h2 - h1, math.tau))
    corner = after.a
    if abs(turn) < 1e-6:
        return snap(corner[0] + n2[0] * distance), snap(corner[1] + n2[1] * distance)
    p = (before.a[0] + n1[0] * distance, before.a[1] + n1[1] * distance)
    q = (after.a[0] + n2[0] * distance, after.a[1] + n2[1] * distance)
    d1 = (math.cos(h1), math.sin(h1))
    d2 = (math.cos(h2), math.sin(h2))
    step = ((q[0] - p[0]) * d2[1] - (q[1] - p[1]) * d2[0]) / (d1[0] * d2[1] - d1[1] * d2[0])
    return snap(p[0] + d1[0] * step), snap(p[1] + d1[1] * step)
