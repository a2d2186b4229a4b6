"""Fold-away mats: the grid of whole mats, either way round, that fits a room with most mats."""

from __future__ import annotations

import math
from typing import Any

from buildout.rooms.engine.types import RoomPlan
from buildout.units.value import Reason, Status, snap
from estimating.engine import said
from estimating.engine.mat_shape import Point, Ring, polygon_of, tidy_ring
from estimating.engine.types import FoldAwayLayout, FoldAwaySystem, Product

LONG_SIDE = 1000.0
"""mm; grids are turned along every side of the mat field longer than this."""
MOST_MATS = 1000
SQUEEZE = 0.5
"""mm a mat may lie over the line; foam gives more than that."""
STEPS = 8
"""Shares of the free space at which the grid is tried, besides flush with every corner."""


def lay_fold_away(plan: RoomPlan, system: FoldAwaySystem, products: dict[str, Product]) -> FoldAwayLayout:
    """Lay out whole mats in one grid; no mat is cut.

    Tried: along every long side of the mat field, either way round, flush with corners and at shares of the free
    space between. ``proven`` means the area could not hold one mat more.
    """
    length, width = float(system.mat_length), float(system.mat_width)
    if length <= 0 or width <= 0:
        text = f"{system.name} has a mat without a size."
        stop = said.stop("fold-away-size", text, system.id, "Type its length and width, such as 8 ft and 4 ft.")
        return _result(plan, system, "infeasible", [], 0.0, 0.0, [stop])
    if len(plan.mat_field) < 3:
        text = "There is no mat field, so no mats are laid out."
        empty = said.warning("fold-away-empty", text, plan.room, "Check the room's readings and keep-clear strips.")
        return _result(plan, system, "empty", [], 0.0, 0.0, [empty])
    import shapely

    field = polygon_of(list(plan.mat_field))
    if field.area / (length * width) > MOST_MATS or max(field.length / length, field.length / width) > MOST_MATS:
        text = f"{plan.name} would take over {MOST_MATS} mats of {said.length(length)} × {said.length(width)}."
        stop = said.stop("fold-away-size", text, system.id, "Check the mat's size and its units.")
        return _result(plan, system, "infeasible", [], field.area, 0.0, [stop])
    if plan.columns:
        field = shapely.difference(field, shapely.union_all([shapely.Polygon(c.outline) for c in plan.columns]))
    mats = _best(field, length, width)
    most = math.floor(field.area / (length * width) + 1e-9)
    covered = len(mats) * length * width
    product = products.get(system.product)
    mass, reasons = _mass(product, system, covered)
    if not mats:
        text = f"Not one mat of {said.length(length)} × {said.length(width)} fits into {plan.name}."
        reasons.insert(0, said.warning("fold-away-none", text, plan.room, "Choose a smaller mat."))
        return _result(plan, system, "infeasible", [], field.area, 0.0, reasons)
    left = field.area - covered
    text = f"{said.count(len(mats), 'mat')} cover {said.area(covered)}; {said.area(left)} of the mat field stays bare."
    reasons.insert(0, said.note("fold-away-bare", text, plan.room))
    return _result(plan, system, "proven" if len(mats) == most else "feasible", mats, left, mass, reasons)


def _result(
    plan: RoomPlan,
    system: FoldAwaySystem,
    status: Status,
    mats: list[Ring],
    left: float,
    mass: float,
    reasons: list[Reason],
) -> FoldAwayLayout:
    return FoldAwayLayout(
        room=plan.room,
        system=system.id,
        product=system.product,
        status=status,
        mats=mats,
        count=len(mats),
        covered=snap(len(mats) * float(system.mat_length) * float(system.mat_width)),
        uncovered=snap(max(0.0, left)),
        mass=snap(mass, 0.001),
        reasons=reasons,
    )


def _mass(product: Product | None, system: FoldAwaySystem, covered: float) -> tuple[float, list[Reason]]:
    if product is None:
        text = f"{system.name} speaks of a product that is not in the list: {system.product}."
        return 0.0, [said.stop("fold-away-product", text, system.id, "Add the product or choose another one.")]
    if product.mass_per_area is not None:
        return covered / 1e6 * float(product.mass_per_area), []
    if product.density is not None and product.thickness is not None:
        return covered / 1e9 * float(product.thickness) * float(product.density), []
    text = f"The mass of {product.name} cannot be told: no mass per area."
    return 0.0, [said.note("fold-away-mass", text, product.id, "Type it from the data sheet.")]


def _best(field: Any, length: float, width: float) -> list[Ring]:
    import numpy as np
    import shapely

    room = shapely.buffer(field, SQUEEZE, join_style="mitre")
    shapely.prepare(room)
    middle = field.centroid
    best: tuple[tuple[float, ...], list[Ring]] | None = None
    for angle in _angles(field):
        cos, sin = math.cos(angle), math.sin(angle)
        turn = np.array([[cos, -sin], [sin, cos]])
        corners = np.asarray(field.exterior.coords[:-1]) @ turn
        for turned, (along, across) in enumerate(((length, width), (width, length))[: 1 if length == width else 2]):
            xs = _starts(corners[:, 0], along)
            ys = _starts(corners[:, 1], across)
            for x in xs:
                for y in ys:
                    boxes = _boxes(corners, x, y, along, across)
                    if not len(boxes):
                        continue
                    rings = boxes @ turn.T
                    inside = rings[shapely.covers(room, shapely.polygons(rings))]
                    if not len(inside):
                        continue
                    centre = inside.mean(axis=(0, 1))
                    off = math.hypot(float(centre[0]) - middle.x, float(centre[1]) - middle.y)
                    rank = (-float(len(inside)), round(off, 1), float(turned), round(angle, 9), x, y)
                    if best is None or rank < best[0]:
                        best = (rank, [tidy_ring([(float(p), float(q)) for p, q in ring]) for ring in inside])
    return sorted(best[1]) if best else []


def _angles(field: Any) -> list[float]:
    """Headings of the long sides, reduced to one quarter turn, longest side first."""
    ring: list[Point] = [(float(x), float(y)) for x, y in field.exterior.coords[:-1]]
    sides = sorted(zip(ring, ring[1:] + ring[:1], strict=True), key=lambda s: (-round(math.dist(*s), 1), s))
    found: list[float] = []
    for place, (a, b) in enumerate(sides):
        if place and math.dist(a, b) < LONG_SIDE:
            continue
        angle = math.atan2(b[1] - a[1], b[0] - a[0])
        angle -= round(angle / (math.pi / 2)) * math.pi / 2
        if all(abs(angle - other) > 1e-6 for other in found):
            found.append(round(angle, 9))
    middle = sum(found[:4]) / len(found[:4])
    return [*found, round(middle, 9)] if all(abs(middle - other) > 1e-6 for other in found) else found


def _starts(corners: Any, step: float) -> list[float]:
    """Grid offsets: flush with each corner, and shares of the space left over."""
    low, high = float(corners.min()), float(corners.max())
    free = (high - low) % step
    wanted = [float(c) - low for c in corners] + [free * k / STEPS for k in range(STEPS + 1)]
    return sorted({round(low + w % step, 2) for w in wanted})


def _boxes(corners: Any, x: float, y: float, along: float, across: float) -> Any:
    import numpy as np

    low_x, low_y = (float(c) for c in corners.min(axis=0))
    high_x, high_y = (float(c) for c in corners.max(axis=0))
    a = x + along * np.arange(math.floor((low_x - x) / along), math.ceil((high_x - x) / along) + 1)
    b = y + across * np.arange(math.floor((low_y - y) / across), math.ceil((high_y - y) / across) + 1)
    a = a[(a > low_x - 1 - SQUEEZE) & (a + along < high_x + 1 + SQUEEZE)]
    b = b[(b > low_y - 1 - SQUEEZE) & (b + across < high_y + 1 + SQUEEZE)]
    left, low = (c.ravel() for c in np.meshgrid(a, b, indexing="ij"))
    corners_x = np.stack([left, left + along, left + along, left], axis=1)
    corners_y = np.stack([low, low, low + across, low + across], axis=1)
    return np.stack([corners_x, corners_y], axis=2)
