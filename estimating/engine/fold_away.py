"""Fold-away mats: the grid of whole mats, either way round, that fits a room with most mats."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import msgspec

from buildout.rooms.engine.types import RoomPlan
from buildout.units.value import Reason, Status, snap
from estimating.engine import said
from estimating.engine.limits import Work, stopped_after
from estimating.engine.mat_shape import Point, Ring, polygon_of, tidy_ring
from estimating.engine.pins import SAME, holds_mat, refused
from estimating.engine.rolled import SHARE
from estimating.engine.types import FoldAwayLayout, FoldAwaySystem, Pin, Product, Store

LONG_SIDE = 1000.0
"""mm; grids are turned along every side of the mat field longer than this."""
MOST_MATS = 1000
SQUEEZE = 0.5
"""mm a mat may lie over the line; foam gives more than that."""
AT_ONCE = 50_000
"""Mats looked at in one go."""


def lay_fold_away(
    plan: RoomPlan,
    system: FoldAwaySystem,
    products: dict[str, Product],
    wanted: Decimal | None = None,
    store: Store | None = None,
    pins: Sequence[Pin] = (),
    work: Work | None = None,
) -> FoldAwayLayout:
    """Lay out whole mats in one grid; no mat is cut.

    Tried: along every long side of the mat field, either way round, flush with corners and at shares of the free
    space between. ``wanted``: m² to cover; then no more mats than it takes, those nearest the field's middle.
    ``proven`` means the area could not hold one mat more, or no fewer mats cover what is wanted. ``store``: where the
    folded mats are kept; what does not fit is said. ``pins``: mats that
    lie where they are pinned; the grid goes through the first one that can lie there, others hold where they fall into
    it.
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
    most = math.floor(field.area / (length * width) + 1e-9)
    placed, asked = _placed(pins)
    shares = max(1, (work or Work())["grids of mats"])
    mats, through = _laid(field, length, width, placed, shares)
    if wanted is not None:
        enough = max(0, math.ceil(float(wanted) * 1e6 / (length * width) - 1e-9))
        if enough > len(mats):
            text = (
                f"{said.area(float(wanted) * 1e6)} are wanted, {said.count(enough, 'mat')}; only {len(mats)} fit into "
                f"{plan.name}."
            )
            todo = "Make the mat field larger, choose smaller mats, or want less."
            asked.append(said.warning("fold-away-wanted", text, plan.room, todo))
        else:
            middle = field.centroid
            held = [mat for mat in mats if any(holds_mat(pin, mat) for pin in placed)]
            near = sorted(mats, key=lambda m: (m not in held, round(math.dist(_centre(m), (middle.x, middle.y)), 1), m))
            mats, most = sorted(near[:enough]), enough
    for pin in placed:
        if not any(holds_mat(pin, mat) for mat in mats):
            why = (
                f"the grid of mats goes through pin {through.id}, and no mat of it lies there"
                if through is not None and through is not pin
                else "no whole mat of this size can lie there inside the mat field"
            )
            asked.append(refused(pin, why, "Move it to where a mat can lie, or take it off."))
    covered = len(mats) * length * width
    product = products.get(system.product)
    mass, reasons = _mass(product, system, covered)
    reasons += asked
    laps, lap_length = _meeting(mats)
    folded = _folded(product, system)
    mat_mass = mass / len(mats) if mats else 0.0
    stacks, stored, kept = _in_store(store, folded, len(mats), system)
    reasons += kept + _carried(mat_mass, len(mats), system) if mats else []
    if not mats:
        text = f"Not one mat of {said.length(length)} × {said.length(width)} fits into {plan.name}."
        reasons.insert(0, said.warning("fold-away-none", text, plan.room, "Choose a smaller mat."))
        return _result(plan, system, "infeasible", [], field.area, 0.0, reasons)
    left = field.area - covered
    text = f"{said.count(len(mats), 'mat')} cover {said.area(covered)}; {said.area(left)} of the mat field stays bare."
    reasons.insert(0, said.note("fold-away-bare", text, plan.room))
    stopped = ""
    if len(mats) < most:
        sides = said.count(len(_angles(field)), "direction")
        stopped = (
            f"grids in {sides}, either way round, through every corner and at {shares} shares of the space left over"
        )
        text = (
            f"{said.count(len(mats), 'mat lies', 'mats lie')}; by area no layout could hold more than {most}, a gap of "
            f"{100 * (most - len(mats)) / most:.1f} %. {stopped_after(stopped)}"
        )
        reasons.insert(1, said.note("fold-away-bound", text, plan.room))
    result = _result(plan, system, "proven" if len(mats) == most else "feasible", mats, left, mass, reasons)
    return msgspec.structs.replace(
        result, under_laps=laps if system.under_lap else 0, under_lap_length=lap_length if system.under_lap else 0.0,
        mat_mass=snap(mat_mass, 0.001), folded=folded, stacks=stacks, stored=stored,
        bound=most, stopped_by=stopped,
    )  # fmt: skip


def _placed(pins: Sequence[Pin]) -> tuple[list[Pin], list[Reason]]:
    """Pins of mats that say where they lie, and those that do not."""
    own = [pin for pin in pins if pin.layer == "fold-away"]
    placed = [pin for pin in own if pin.kind == "piece" and pin.x is not None and pin.y is not None]
    todo = "Pin a mat with x and y of its corner nearest the datum."
    return placed, [refused(pin, "it does not say where a mat lies", todo) for pin in own if pin not in placed]


def _laid(field: Any, length: float, width: float, pins: Sequence[Pin], shares: int) -> tuple[list[Ring], Pin | None]:
    """The best grid through the first pinned mat that can lie where it is pinned, and that pin."""
    for number, pin in enumerate(pins):
        mats = _best(field, length, width, shares, pins[number:])
        if mats:
            return mats, pin
    return _best(field, length, width, shares), None


def _at(pin: Pin) -> Point:
    return float(pin.x or 0), float(pin.y or 0)


def _centre(mat: Ring) -> Point:
    return sum(x for x, _ in mat) / len(mat), sum(y for _, y in mat) / len(mat)


def meeting_edges(mats: list[Ring]) -> list[tuple[Point, Point]]:
    """Edges along which two mats meet. Mats lie in one grid, so edges are shared whole.

    >>> meeting_edges([[(0, 0), (20, 0), (20, 10), (0, 10)], [(20, 0), (40, 0), (40, 10), (20, 10)]])
    [((20, 0), (20, 10))]
    """
    seen: dict[tuple[int, int], list[tuple[Point, Point]]] = {}
    for mat in mats:
        for a, b in zip(mat, mat[1:] + mat[:1], strict=True):
            middle = (round((a[0] + b[0]) / 2), round((a[1] + b[1]) / 2))
            near = next(
                ((middle[0] + p, middle[1] + q) for p in (0, -1, 1) for q in (0, -1, 1)
                 if (middle[0] + p, middle[1] + q) in seen),
                middle,
            )  # fmt: skip
            seen.setdefault(near, []).append((a, b))
    return [edges[0] for edges in seen.values() if len(edges) > 1]


def _meeting(mats: list[Ring]) -> tuple[int, float]:
    """How many edges two mats meet along, and their length, mm."""
    shared = meeting_edges(mats)
    return len(shared), snap(sum(math.dist(a, b) for a, b in shared))


def _folded(product: Product | None, system: FoldAwaySystem) -> tuple[float, float, float]:
    """Length, width and height of a folded mat; nothing where its thickness is missing."""
    if product is None or product.thickness is None:
        return 0.0, 0.0, 0.0
    parts = max(1, system.sections)
    long, wide = float(system.mat_length), float(system.mat_width)
    return snap(long / parts), snap(wide), snap(float(product.thickness) * parts)


def _times(size: float, space: float) -> int:
    """How often a size goes into a space; lengths that meet exactly count, whatever binary fractions make of them.

    >>> _times(1219.2, 3657.6), _times(1219.2, 3657.5)
    (3, 2)
    """
    return math.floor(space / size + 1e-9)


def _in_store(
    store: Store | None, folded: tuple[float, float, float], count: int, system: FoldAwaySystem
) -> tuple[int, int, list[Reason]]:
    """Stacks, mats that fit, and what to say. Flat under a bed, on edge against a wall, either way in a cupboard."""
    if store is None or not count:
        return 0, 0, []
    if not folded[2]:
        text = "Whether the mats fit their store cannot be told: the mat's thickness is missing."
        return 0, 0, [said.warning("fold-away-store", text, system.product, "Type it from the data sheet.")]
    room = (float(store.length), float(store.width), float(store.height))
    long, wide, thick = folded
    flat = [((long, wide), thick), ((wide, long), thick)]
    # On edge the stack grows away from the wall, or along it.
    edge = [(long, wide), (wide, long)]
    best = (0, 0)
    if store.kind in ("under a bed", "cupboard"):
        for (a, b), up in flat:
            stacks, each = _times(a, room[0]) * _times(b, room[1]), _times(up, room[2])
            best = max(best, (stacks * each, stacks))
    if store.kind in ("against a wall", "cupboard"):
        for along, up in edge:
            if _times(up, room[2]):
                stacks, each = _times(along, room[0]), _times(thick, room[1])
                best = max(best, (stacks * each, stacks))
    holds, stacks = best
    size = " × ".join(said.length(side) for side in folded)
    if holds >= count:
        each = holds // stacks
        used = math.ceil(count / each)
        text = f"{said.count(count, 'mat')}, {size} folded, in {said.count(used, 'stack')} {store.kind}."
        return used, count, [said.note("fold-away-store", text, system.id)]
    text = (
        f"Only {holds} of {count} mats, {size} folded, find room {store.kind}, in a space of "
        f"{' × '.join(said.length(side) for side in room)}."
    )
    todo = "Find a larger place, lay fewer mats, or choose thinner ones or ones that fold another way."
    return stacks, holds, [said.warning("fold-away-store", text, system.id, todo)]


def _carried(mass: float, count: int, system: FoldAwaySystem) -> list[Reason]:
    if not mass:
        return []
    if mass > SHARE:
        text = f"A mat weighs {said.mass(mass)}, more than {said.mass(SHARE)}: two people or a trolley."
        return [said.warning("fold-away-carrier", text, system.product, "Choose smaller or lighter mats.")]
    text = f"A mat weighs {said.mass(mass)}: one person carries one at a time, {count} ways to the store."
    return [said.note("fold-away-carrier", text, system.product)]


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


def _best(field: Any, length: float, width: float, shares: int, pins: Sequence[Pin] = ()) -> list[Ring]:
    """The grid with most mats; with pins one through the first of them, that holds most of the others."""
    import numpy as np
    import shapely

    room = shapely.buffer(field, SQUEEZE, join_style="mitre")
    middle = np.array([field.centroid.x, field.centroid.y])
    best: tuple[float, ...] = ()
    mats: Any = None
    for angle in _angles(field):
        cos, sin = math.cos(angle), math.sin(angle)
        turn = np.array([[cos, -sin], [sin, cos]])
        straight = shapely.transform(room, lambda points, turn=turn: points @ turn)
        shapely.prepare(straight)
        corners = np.asarray(field.exterior.coords[:-1]) @ turn
        centre = middle @ turn
        held = np.array([_at(pin) for pin in pins]).reshape(-1, 2) @ turn
        for turned, (along, across) in enumerate(((length, width), (width, length))[: 1 if length == width else 2]):
            if pins and pins[0].direction and (along >= across) != (pins[0].direction == "x"):
                continue
            xs = _starts(corners[:, 0], along, shares)
            ys = _starts(corners[:, 1], across, shares)
            if pins:
                xs = _through(xs, float(held[0, 0]), float(corners[:, 0].min()), along)
                ys = _through(ys, float(held[0, 1]), float(corners[:, 1].min()), across)
            lefts, own_x = _edges(corners[:, 0], xs, along)
            lows, own_y = _edges(corners[:, 1], ys, across)
            # Every pair of edges is a mat of exactly one grid, so all grids are looked at in one go.
            inside = np.concatenate([
                shapely.covers(straight, shapely.box(some[:, None], lows, some[:, None] + along, lows + across))
                for some in np.array_split(lefts, max(1, len(lefts) * len(lows) // AT_ONCE))
            ])  # fmt: skip
            k, m = np.nonzero(inside)
            grid, grids = own_x[k] * len(ys) + own_y[m], len(xs) * len(ys)
            count = np.bincount(grid, minlength=grids)
            meets = np.zeros(grids, dtype=np.int64)
            for number, (u, v) in enumerate(held):
                near = np.hypot(lefts[k] - u, lows[m] - v) <= SAME
                here = np.bincount(grid[near], minlength=grids) > 0
                count = np.where(here, count, 0) if number == 0 else count
                meets += here
            most = max(zip(meets[count > 0].tolist(), count[count > 0].tolist(), strict=True), default=(0, 0))
            if not most[1] or (best and (-most[0], -most[1]) > best[:2]):
                continue
            level = np.flatnonzero((count == most[1]) & (meets == most[0]))
            off_x = np.bincount(grid, lefts[k], grids)[level] / most[1] + along / 2 - centre[0]
            off_y = np.bincount(grid, lows[m], grids)[level] / most[1] + across / 2 - centre[1]
            off = np.round(np.hypot(off_x, off_y), 1).tolist()
            ranked = [(o, float(turned), round(angle, 9), xs[g // len(ys)], ys[g % len(ys)], g)
                      for o, g in zip(off, level.tolist(), strict=True) if o == min(off)]  # fmt: skip
            *order, chosen = min(ranked)
            rank = (-most[0], -most[1], *order)
            if not best or rank < best:
                here = grid == chosen
                best, mats = rank, _boxes(lefts[k[here]], lows[m[here]], along, across) @ turn.T
    return sorted(tidy_ring(ring) for ring in mats.tolist()) if best else []


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


def _starts(corners: Any, step: float, shares: int) -> list[float]:
    """Grid offsets: flush with each corner, and shares of the space left over."""
    low, high = float(corners.min()), float(corners.max())
    free = (high - low) % step
    wanted = [float(c) - low for c in corners] + [free * k / shares for k in range(shares + 1)]
    return sorted({round(low + w % step, 2) for w in wanted})


def _through(starts: list[float], at: float, low: float, step: float) -> list[float]:
    """Grid offsets through a place: those tried anyway that meet it, or else its own."""
    own = low + (at - low) % step
    near = [s for s in starts if min((s - own) % step, (own - s) % step) <= SAME / 2]
    return near or [round(own, 2)]


def _edges(places: Any, starts: Sequence[float], step: float) -> tuple[Any, Any]:
    """Near edges of the mats that grids from ``starts`` have between the field's ends, and the grid each is of."""
    import numpy as np

    low, high = float(places.min()), float(places.max())
    first = np.array(starts)[:, None]
    edges = first + step * (np.floor((low - first) / step) + np.arange(math.ceil((high - low) / step) + 2))
    own, place = np.nonzero((edges > low - 1 - SQUEEZE) & (edges + step < high + 1 + SQUEEZE))
    return edges[own, place], own


def _boxes(left: Any, low: Any, along: float, across: float) -> Any:
    """Corners of mats by their near edges, from the nearest anticlockwise."""
    import numpy as np

    corners = np.empty((len(left), 4, 2))
    corners[:, 0, 0] = corners[:, 3, 0] = left
    corners[:, 1, 0] = corners[:, 2, 0] = left + along
    corners[:, 0, 1] = corners[:, 1, 1] = low
    corners[:, 2, 1] = corners[:, 3, 1] = low + across
    return corners
