"""The floor of a room: frame, base and top foam, joints, edges, thickness and mass.

Rules are common practice among people who lay such floors, no published source: straight frame all round,
long joints of the base along the room, joints of the top kept away from parallel joints below, end joints
of neighbouring courses staggered, no piece narrower or smaller than stated, pieces split at a column.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from typing import Any

import msgspec

from buildout.rooms.engine.types import RoomPlan
from buildout.units.value import Reason, Status, snap
from estimating.engine import said
from estimating.engine.courses import Courses, Direction, Way, on_grid, turned_point, turned_ring
from estimating.engine.frame_run import Timbers, frame_pieces, ramp_pieces
from estimating.engine.laid_courses import Cut, Goods, LaidCourses, PieceRules
from estimating.engine.limits import Work, stopped_after
from estimating.engine.mat_shape import GRID, MatShape, Point, mat_shape, ring_of, signed_area, without_columns
from estimating.engine.mat_sides import mat_sides
from estimating.engine.pins import LayerPins, floor_pins, missed
from estimating.engine.roll_widths import choices_of_width, lay_in_every_width
from estimating.engine.types import (
    FloorLayout,
    FloorSystem,
    FoamLayer,
    FoamLayout,
    FramePiece,
    Joint,
    MatSide,
    Piece,
    Pin,
    Product,
    SideChoice,
)

MOST_PIECES = 5000
"""More than this in one layer means a size typed in the wrong unit."""
END_JOINTS = 304.8
"""mm (12 in) between end joints of neighbouring courses."""
SWING_STEPS = 12
SWING_OVER = 1e4
"""mm² of a leaf's swing over the floor that count as over it."""
STEEPEST_TOE_RAMP = 4.0
"""Run over rise below which a ramped edge is a stumble."""

FRAME_LEVEL = 3.175
"""mm (1/8 in) that the frame's top may be off the foam's inside it."""

RULE_WORDS = {
    "narrow": "narrower than {width}",
    "small": "smaller than {area}",
    "thin": "with a part thinner than {width}",
}


@dataclass(frozen=True)
class Lines:
    """Joints in room coordinates, a row for each: (y, from x, to x) and (x, from y, to y)."""

    level: Any
    upright: Any


@dataclass(frozen=True)
class Chosen:
    """A layer's layout with how far it breaks rules against the layer below."""

    courses: Courses
    way: Way
    clash: float = 0.0
    """Length of joints too close above a parallel joint of the layer below, mm."""
    drawn: LaidCourses | None = None
    """The layout alone, cut out exactly; only once it is chosen."""

    @property
    def laid(self) -> LaidCourses:
        if self.drawn is None:
            raise AssertionError("only what was chosen is drawn")
        return self.drawn


def lay_floor(
    plan: RoomPlan,
    system: FloorSystem,
    products: dict[str, Product],
    pins: Sequence[Pin] = (),
    choices: Sequence[SideChoice] = (),
    work: Work | None = None,
) -> FloorLayout:
    """Lay a floor system in a room's mat field.

    Sheets or strips are laid in both directions (unless the layer states one) at offsets on a grid, scored by
    broken rules, then stock pieces, then joint length, and the best pair of layers whose joints keep
    ``joint_offset`` apart is drawn on the 0.01 mm grid. The bound is what the area alone asks for, so
    ``proven`` means no layout can use fewer stock pieces. Where the rules cannot all hold the least bad
    layout is given, and a warning names the rule and the pieces. ``choices`` say what stands at single sides of the
    mat. Never raises for bad numbers.
    """
    work = work or Work()
    if choices_of_width(system, products, pins):
        one_width = {name: msgspec.structs.replace(product, also_sold=[]) for name, product in products.items()}

        def lay(one: FloorSystem) -> FloorLayout:
            return lay_floor(plan, one, one_width, pins, choices, work)

        return lay_in_every_width(system, products, pins, lay, work)
    pinned = floor_pins(system, pins, products)
    system = pinned.system
    problems = _unfit(system, products)
    sides, side_reasons = mat_sides(plan, system, choices)
    shape = mat_shape(plan, system, sides)
    if shape is not None and not problems:
        problems = _too_many(shape, system, products)
    if problems or shape is None:
        return _nothing(plan, system, [*pinned.reasons, *problems] if problems else [])
    reasons: list[Reason] = [*pinned.reasons, *side_reasons]
    if shape.lost > 1e4:
        reasons.append(
            said.warning(
                "floor-cut-off",
                f"{said.area(shape.lost)} of the mat field is cut off from the rest by the frame and gets no foam.",
                plan.room,
                "Widen the narrow place or lay the part that is cut off as a floor of its own.",
            )
        )
    made: dict[tuple[Goods, Direction, LayerPins], Courses] = {}
    chosen = [
        replace(c, drawn=c.courses.cut_out([c.way.offsets], exact=True))
        for c in _choose(shape, system, products, pinned.layers, made, work)
    ]
    layers, layer_reasons = _drawn(chosen, system, shape, plan)
    reasons += layer_reasons
    for number, kept in sorted(pinned.layers.items()):
        reasons += missed(layers[number], kept)
    reasons += _stagger_reasons(chosen, system)
    frame, frame_reasons = _edges(sides, system, products, shape, pins)
    reasons += frame_reasons
    thickness, mass, mass_reasons = _build_up(system, products)
    reasons += mass_reasons
    reasons += _doors(plan, shape, thickness)
    if shape.bare and system.cover is not None:
        bare = ", ".join(side.id for side in sides if side.edge == "foam")
        text = f"There is no frame at {bare}, so the cover's band has nothing to hold to there."
        todo = "Choose a frame timber at those sides of the mat, or leave the cover off."
        reasons.append(said.warning("floor-band", text, system.id, todo))
    value = sum(c.laid.stock(0) for c in chosen)
    bound = sum(layer.sheets_bound for layer in layers)
    broken = any(r.severity == "warning" and r.code.startswith("floor-rule") for r in reasons)
    status: Status = "proven" if value == bound and not broken else "feasible"
    stopped = ""
    if value > bound:
        counted, clipped = sum(c.counted for c in made.values()), sum(c.clipped for c in made.values())
        stopped = f"{counted:,} layouts counted and the best {clipped:,} of them cut out of the field"
        if work.said():
            stopped += f", and {work.said()}"
        text = (
            f"{value} sheets and rolls are used; the area alone asks for {bound}, so no layout can use fewer, "
            f"{100 * (value - bound) / value:.1f} % below. {stopped_after(stopped)}"
        )
        reasons.append(said.note("floor-bound", text, system.id))
    around = [shape.field.exterior, *shape.field.interiors]
    return FloorLayout(
        room=plan.room,
        system=system.id,
        status=status,
        bound=float(bound),
        value=float(value),
        outer=ring_of(shape.outer),
        field=ring_of(shape.field),
        holes=shape.holes,
        layers=layers,
        frame=frame,
        frame_length=snap(sum(p.length for p in frame if p.kind == "frame")),
        ramp_length=snap(sum(side.length for side in sides if side.edge == "ramp")),
        edge_length=snap(sum(ring.length for ring in around)),
        cutouts=len(shape.holes),
        mat_area=snap(without_columns(shape.outer, plan.columns).area),
        thickness=thickness,
        mass_per_area=mass,
        reasons=reasons,
        pinned=pinned.timber,
        sides=sides,
        stopped_by=stopped,
    )


# ---------------------------------------------------------------- what cannot be laid


def _unfit(system: FloorSystem, products: dict[str, Product]) -> list[Reason]:
    found = []
    if not system.layers:
        found.append(said.stop("floor-no-layer", "The floor system has no layers.", system.id, "Add a base layer."))
    for layer in system.layers:
        product = products.get(layer.product)
        if product is None:
            text = f"The {layer.role} layer speaks of a product that is not in the list: {layer.product}."
            found.append(said.stop("floor-no-product", text, layer.product, "Add the product or choose another one."))
        elif product.form not in ("sheet", "roll"):
            text = f"{product.name} is not a sheet or a roll, so it cannot be laid as foam."
            found.append(
                said.stop("floor-no-sheet", text, product.id, "Choose a product sold in sheets or off a roll.")
            )
        elif not product.width or float(product.width) <= 0 or (product.form == "sheet" and not product.length):
            text = f"{product.name} has no size, so nothing can be laid out."
            found.append(
                said.stop("floor-no-size", text, product.id, "Give its length and width, such as 9 ft and 4 ft.")
            )
        elif product.length is not None and float(product.length) <= 0:
            text = f"{product.name} has a length of nothing."
            found.append(said.stop("floor-no-size", text, product.id, "Give its length, such as 9 ft."))
    return found


def _nothing(plan: RoomPlan, system: FloorSystem, problems: list[Reason]) -> FloorLayout:
    status: Status = "infeasible" if problems else "empty"
    if plan.status in ("infeasible", "underdetermined") and not plan.mat_field:
        status = plan.status
    reasons = list(problems)
    if not reasons:
        reasons.append(
            said.warning(
                "floor-no-field",
                "There is no mat field to lay: the plan has none, or the frame leaves nothing inside it.",
                plan.room,
                "Check the room's readings and its keep-clear strips.",
            )
        )
    return FloorLayout(
        room=plan.room, system=system.id, status=status, bound=0.0, value=0.0, field=[], holes=[], layers=[],
        frame=[], frame_length=0.0, ramp_length=0.0, edge_length=0.0, cutouts=0, mat_area=0.0, thickness=0.0,
        mass_per_area=0.0, reasons=reasons,
    )  # fmt: skip


def _too_many(shape: MatShape, system: FloorSystem, products: dict[str, Product]) -> list[Reason]:
    found = []
    for layer in system.layers:
        goods = _goods(products[layer.product])
        count = shape.field.area / (goods.width * min(goods.length, 1e5))
        if count > MOST_PIECES or math.sqrt(shape.field.area) / goods.width > MOST_PIECES / 10:
            text = f"The {layer.role} layer would take over {MOST_PIECES} pieces of {products[layer.product].name}."
            found.append(said.stop("floor-tiny", text, layer.product, "Check its length and width and their units."))
    return found


# ---------------------------------------------------------------- search


def _goods(product: Product) -> Goods:
    length = float(product.length) if product.length is not None else math.inf
    width = float(product.width or 0)
    roll = product.form == "roll"
    if not roll and width > length:
        length, width = width, length
    return Goods(product.id, length, width, roll, float(product.kerf or 0), product.turns and not roll)


def _choose(
    shape: MatShape,
    system: FloorSystem,
    products: dict[str, Product],
    pins: Mapping[int, LayerPins],
    made: dict[tuple[Goods, Direction, LayerPins], Courses],
    work: Work,
) -> list[Chosen]:
    """The best layout of every layer: with the stagger stated, else with another if that breaks fewer rules."""
    stated = _search(shape, system, products, pins, made, work, stated=True)
    if not _broken(stated) or all(_goods(products[layer.product]).roll for layer in system.layers):
        return stated
    other = _search(shape, system, products, pins, made, work, stated=False)
    return other if _broken(other) < _broken(stated) else stated


def _broken(chosen: list[Chosen]) -> float:
    """Broken piece rules count first, then close joints; 0 when all hold."""
    return sum(c.way.faults for c in chosen) * 1e9 + sum(c.clash for c in chosen)


def _search(
    shape: MatShape,
    system: FloorSystem,
    products: dict[str, Product],
    pins: Mapping[int, LayerPins],
    made: dict[tuple[Goods, Direction, LayerPins], Courses],
    work: Work,
    *,
    stated: bool,
) -> list[Chosen]:
    rules = PieceRules(float(system.smallest_width), float(system.smallest_area) * 1e6)
    low_x, low_y, high_x, high_y = shape.field.bounds
    long_side: Direction = "x" if high_x - low_x >= high_y - low_y else "y"
    offered = []
    for number, layer in enumerate(system.layers):
        kept = pins.get(number, LayerPins())
        goods = _goods(products[layer.product])
        staggers = [0.0] if goods.roll else _staggers(layer, stated)
        found: list[Chosen] = []
        directions: list[Direction] = ["x", "y"] if layer.direction == "auto" else [layer.direction]
        for direction in directions:
            key = (replace(goods, product=""), direction, kept)
            if key not in made:
                corner = kept.pieces[0][1] if kept.pieces else None
                made[key] = Courses(
                    shape.field, key[0], rules, direction, work, line=kept.line[1] if kept.line else None,
                    corner=turned_point(corner, direction) if corner else None,
                )  # fmt: skip
            found += [Chosen(made[key], way) for way in made[key].ways(staggers)]
        offered.append(found)
    first = offered[0]
    if len(offered) == 1:
        return [_best_alone(first, long_side)]
    chosen = list(_best_pair(first, offered[1], float(system.joint_offset), long_side, work))
    for more in offered[2:]:
        chosen.append(_best_pair([chosen[-1]], more, float(system.joint_offset), long_side, work)[1])
    return chosen


def _staggers(layer: FoamLayer, stated: bool) -> list[float]:
    wanted = float(layer.stagger)
    return [wanted] if stated else [s for s in (0.5, 1 / 3) if abs(s - wanted) > 0.01]


def _order(group: tuple[Chosen, ...], long_side: Direction) -> tuple[float, ...]:
    """Least first: broken rules, stock, length drawn, pieces to cut, joints; then as people expect it, the base along
    the room and every next layer across the one below."""
    ways = [c.way for c in group]
    turned = float(ways[0].direction != long_side)
    turned += sum(1.0 for below, above in pairwise(ways) if below.direction == above.direction)
    places = [part for w in ways for part in (float(w.direction == "y"), w.stagger, w.across, w.along)]
    return (
        sum(w.faults for w in ways), sum(w.stock for w in ways), sum(w.drawn for w in ways), sum(w.cut for w in ways),
        sum(w.joint_length for w in ways), turned, *places,
    )  # fmt: skip


def _best_alone(found: list[Chosen], long_side: Direction) -> Chosen:
    """The first in order. Pieces are packed only where the areas alone leave a layout in front."""
    heap = [(_order((c,), long_side), k) for k, c in enumerate(found)]
    heapq.heapify(heap)
    while True:
        _, k = heap[0]
        if found[k].way.packed:
            return found[k]
        found[k] = replace(found[k], way=found[k].courses.packed(found[k].way))
        heapq.heapreplace(heap, (_order((found[k],), long_side), k))


def _best_pair(
    below: list[Chosen], above: list[Chosen], offset: float, long_side: Direction, work: Work
) -> tuple[Chosen, Chosen]:
    """The first pair, in order, whose parallel joints keep their distance; else the least bad of those compared.

    Pairs are looked at by broken rules and stock, and only within one such class put in order. A layout is packed when
    a pair of it comes up; where that takes more stock than the areas alone, the pair waits for its new class.
    """
    import numpy as np

    below, above = list(below), list(above)
    lines: tuple[dict[int, Lines], dict[int, Lines]] = ({}, {})
    first = np.array([_class(c) for c in below])
    second = np.array([_class(c) for c in above])
    done = np.zeros((len(below), len(above)), dtype=bool)
    best: tuple[float, float, int, int] | None = None
    compared = 0
    most = work["pairs of layouts"]
    while compared < most and not done.all():
        classes = np.where(done, np.iinfo(np.int64).max, first[:, None] + second[None, :])
        least = int(classes.min())
        for i, j in _in_order(np.argwhere(classes == least), below, above, long_side):
            for found, known, k in ((below, first, i), (above, second, j)):
                if not found[k].way.packed:
                    found[k] = replace(found[k], way=found[k].courses.packed(found[k].way))
                    known[k] = _class(found[k])
            if first[i] + second[j] != least:
                continue
            done[i, j] = True
            compared += 1
            for found, known_lines, k in ((below, lines[0], i), (above, lines[1], j)):
                if k not in known_lines:
                    known_lines[k] = _lines(found[k])
            low, up = lines[0][i], lines[1][j]
            clash = _close(low.level, up.level, offset) + _close(low.upright, up.upright, offset)
            faults = below[i].way.faults + above[j].way.faults
            if best is None or (faults, clash) < best[:2]:
                best = (faults, clash, i, j)
            if clash == 0:
                break
            if compared >= most and not done.all():
                work.out("pairs of layouts")
                break
        else:
            continue
        break
    if best is None:
        raise AssertionError("no layouts to pair")
    return below[best[2]], replace(above[best[3]], clash=best[1])


def _class(chosen: Chosen) -> int:
    """Broken rules, then stock, as one number that adds up over layers."""
    return chosen.way.faults * 10**8 + chosen.way.stock


def _in_order(pairs: Any, below: list[Chosen], above: list[Chosen], long_side: Direction) -> list[tuple[int, int]]:
    """Pairs of one class as ``_order`` has them."""
    import numpy as np

    i, j = pairs.T
    under, over = (
        np.array(
            [
                (w.drawn, w.cut, w.joint_length, w.direction == "y", w.stagger, w.across, w.along)
                for w in (c.way for c in group)
            ],
            dtype=float,
        )
        for group in (below, above)
    )
    turned = (under[i, 3] != (long_side == "y")) * 1.0 + (under[i, 3] == over[j, 3])
    sums = under[i, :3] + over[j, :3]
    order = np.lexsort((*over[j, :2:-1].T, *under[i, :2:-1].T, turned, *sums[:, ::-1].T))
    return [(int(a), int(b)) for a, b in pairs[order]]


def _close(low: Any, up: Any, offset: float) -> float:
    """Length of parallel joints closer than ``offset`` above each other, mm; as ``clashes`` finds them one by one."""
    import numpy as np

    if not len(low) or not len(up) or offset <= 0:
        return 0.0
    k, m = np.nonzero(np.abs(up[:, None, 0] - low[None, :, 0]) < offset - 0.5)
    over = np.minimum(up[k, 2], low[m, 2]) - np.maximum(up[k, 1], low[m, 1])
    return float(np.round(over[over > 1], 1).sum())


def _lines(chosen: Chosen) -> Lines:
    way = chosen.way
    along, across = chosen.drawn.joints(0) if chosen.drawn is not None else chosen.courses.joints(way)
    return Lines(along, across) if way.direction == "x" else Lines(across, along)


def clashes(below: Lines, above: Lines, offset: float) -> list[tuple[Joint, float]]:
    """Joints above that run closer than ``offset`` beside a parallel joint below, with the length of it, mm."""
    import numpy as np

    found: list[tuple[Joint, float]] = []
    for level, lower, upper in ((True, below.level, above.level), (False, below.upright, above.upright)):
        if not len(lower) or not len(upper) or offset <= 0:
            continue
        low, up = np.asarray(lower), np.asarray(upper)
        near = np.abs(up[:, None, 0] - low[None, :, 0]) < offset - 0.5
        start = np.maximum(up[:, None, 1], low[None, :, 1])
        end = np.minimum(up[:, None, 2], low[None, :, 2])
        for k, m in np.argwhere(near & (end - start > 1)):
            line, a, b = float(up[k, 0]), float(start[k, m]), float(end[k, m])
            ends = ((a, line), (b, line)) if level else ((line, a), (line, b))
            joint = Joint(a=(snap(ends[0][0]), snap(ends[0][1])), b=(snap(ends[1][0]), snap(ends[1][1])))
            found.append((joint, round(b - a, 1)))
    return found


# ---------------------------------------------------------------- drawing the chosen layers


def _drawn(
    chosen: list[Chosen], system: FloorSystem, shape: MatShape, plan: RoomPlan
) -> tuple[list[FoamLayout], list[Reason]]:
    layouts: list[FoamLayout] = []
    reasons: list[Reason] = []
    tolerance = GRID * (shape.field.length + 1000)
    for number, (layer, picked) in enumerate(zip(system.layers, chosen, strict=True)):
        earlier = sum(1 for other in system.layers[:number] if other.role == layer.role)
        name = layer.role if not earlier else f"{layer.role} {earlier + 1}"
        layout, faults = _foam(picked, layer, name, shape, plan)
        layouts.append(layout)
        reasons += _rule_reasons(faults, system, name)
        if picked.clash:
            near = clashes(_lines(chosen[number - 1]), _lines(picked), float(system.joint_offset))
            reasons.append(_clash_reason(near, float(system.joint_offset), name))
        off = abs(layout.area - shape.field.area)
        if off > tolerance:
            reasons.append(
                said.warning(
                    "floor-areas",
                    f"The pieces of the {name} layer differ from the field by {off:.0f} mm².",
                    name,
                    "Report this room: its outline is not drawn cleanly.",
                )
            )
    return layouts, reasons


def _foam(
    chosen: Chosen, layer: FoamLayer, name: str, shape: MatShape, plan: RoomPlan
) -> tuple[FoamLayout, list[tuple[str, str]]]:
    courses, way = chosen.courses, chosen.way
    goods = courses.goods
    rows = chosen.laid.rows(0)
    letter = layer.role[0].upper() + name[len(layer.role) :].strip()
    base = _base_side(courses)
    high = base is not None and (base[0][1] + base[1][1]) / 2 > (courses.low_v + courses.high_v) / 2
    laid = list(reversed(rows)) if high else rows
    pieces: list[Piece] = []
    faults: list[tuple[str, str]] = []
    for number, (_, _, cuts) in enumerate(laid, 1):
        row: list[tuple[Cut, object]] = [(cut, part) for cut in cuts for part in on_grid(cut.shape)]
        for place, (cut, part) in enumerate(row, 1):
            piece = _piece(f"{letter}{number}.{place:02d}", name, number, cut, part, way.direction, goods)
            pieces.append(piece)
            if cut.fault:
                faults.append((piece.id, cut.fault))
    lines = _lines(chosen)
    joints = [Joint(a=(snap(a), snap(y)), b=(snap(b), snap(y))) for y, a, b in lines.level.tolist()]
    joints += [Joint(a=(snap(x), snap(a)), b=(snap(x), snap(b))) for x, a, b in lines.upright.tolist()]
    joints.sort(key=lambda j: (j.a, j.b))
    stock_area = goods.length * goods.width
    bound = math.ceil(shape.field.area / stock_area - 1e-6) if math.isfinite(stock_area) else 1
    first = _first_line(courses, [v for v, _, _ in rows], base, plan, high=high)
    joint_length = snap(sum(math.dist(j.a, j.b) for j in joints))
    layout = FoamLayout(
        layer=name,
        product=layer.product,
        direction=way.direction,
        origin=turned_point((snap(courses.low_u + way.along), snap(courses.low_v + way.across)), way.direction),
        pieces=pieces,
        joints=joints,
        joint_length=joint_length,
        area=snap(sum(piece.area for piece in pieces)),
        sheets_bound=bound,
        cut_count=sum(1 for piece in pieces if not piece.whole),
        tape_length=joint_length if layer.taped else 0.0,
        first_line=first[0] if first else None,
        first_line_from=first[1] if first else "",
    )
    return layout, faults


def _piece(id_: str, layer: str, row: int, cut: Cut, part: object, direction: Direction, goods: Goods) -> Piece:
    ring = ring_of(part)
    length = max(x for x, _ in ring) - min(x for x, _ in ring)
    width = max(y for _, y in ring) - min(y for _, y in ring)
    whole = cut.whole or (goods.roll and abs(cut.area - goods.length * goods.width) < 1)
    return Piece(
        id=id_, layer=layer, row=row, outline=turned_ring(ring, direction), area=snap(abs(signed_area(ring))),
        box=(snap(length), snap(width)), whole=whole,
    )  # fmt: skip


def _base_side(courses: Courses) -> tuple[Point, Point] | None:
    """The longest straight side of the field that the first or the last course lies along: they are laid from it.

    A side farther in, of a notch or a wing, would have its first line where there is no floor. Course axes.
    """
    ring = ring_of(courses.shape)
    sides = [
        (a, b)
        for a, b in zip(ring, ring[1:] + ring[:1], strict=True)
        if abs(b[1] - a[1]) <= abs(b[0] - a[0]) * math.tan(math.radians(10))
    ]
    outer = [
        (a, b) for a, b in sides
        if min((a[1] + b[1]) / 2 - courses.low_v, courses.high_v - (a[1] + b[1]) / 2) < courses.goods.width
    ]  # fmt: skip
    return max(outer, key=lambda s: (round(math.dist(*s)), -(s[0][1] + s[1][1]) / 2)) if outer else None


def _first_line(
    courses: Courses, lows: list[float], base: tuple[Point, Point] | None, plan: RoomPlan, *, high: bool
) -> tuple[Joint, str] | None:
    """The line between the first two courses laid, and how far it lies from both ends of the base side."""
    if base is None or len(lows) < 2:
        return None
    v = lows[-1] if high else lows[1]
    u0, u1 = sorted((base[0][0], base[1][0]))
    ends = sorted(base)
    parts = []
    for end in ends:
        at = turned_point(end, courses.direction)
        name = min(plan.corners, key=lambda c: (math.dist(plan.corners[c], at), c)) if plan.corners else ""
        where = f"at the end towards corner {name}" if name else f"at {said.length(end[0])} along"
        parts.append(f"{said.length(abs(v - end[1]))} {where}")
    a, b = (turned_point(end, courses.direction) for end in ends)
    wall = _wall_beside(a, b, plan)
    side = f"side parallel to wall {wall} and nearest to it" if wall else f"longest side along {courses.direction}"
    text = f"Off the foam's {side}, inside the frame: {parts[0]}, {parts[1]}."
    a, b = (turned_point((snap(u), snap(v)), courses.direction) for u in (u0, u1))
    return Joint(a=a, b=b), text


def _wall_beside(a: Point, b: Point, plan: RoomPlan) -> str:
    """The wall nearest to the middle of a side among those within 10° of parallel to it; empty: there is none."""
    import shapely

    length = math.dist(a, b)
    mid = shapely.Point((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    found = []
    for wall in plan.walls:
        run = math.dist(wall.a, wall.b)
        turn = (b[0] - a[0]) * (wall.b[1] - wall.a[1]) - (b[1] - a[1]) * (wall.b[0] - wall.a[0])
        if run and length and abs(turn) <= run * length * math.sin(math.radians(10)):
            found.append((round(shapely.LineString([wall.a, wall.b]).distance(mid), 1), wall.id))
    return min(found)[1] if found else ""


# ---------------------------------------------------------------- reasons


def _named(ids: list[str]) -> str:
    shown = ", ".join(ids[:6])
    return shown if len(ids) <= 6 else f"{shown} and {len(ids) - 6} more"


def _rule_reasons(faults: list[tuple[str, str]], system: FloorSystem, layer: str) -> list[Reason]:
    found = []
    words = {"width": said.length(float(system.smallest_width)), "area": said.area(float(system.smallest_area) * 1e6)}
    for rule, phrase in RULE_WORDS.items():
        ids = [piece for piece, broken in faults if broken == rule]
        if ids:
            found.append(
                said.warning(
                    f"floor-rule-{rule}",
                    f"No layout tried keeps every rule. In the {layer} layer "
                    f"{said.count(len(ids), 'piece is', 'pieces are')} {phrase.format(**words)}: {_named(ids)}.",
                    ids[0],
                    "Glue or tape these to a neighbour, or choose another sheet size or a smaller limit.",
                )
            )
    return found


def _clash_reason(near: list[tuple[Joint, float]], offset: float, layer: str) -> Reason:
    joint, _ = max(near, key=lambda n: (n[1], n[0].a))
    total = sum(length for _, length in near)
    return said.warning(
        "floor-rule-joints",
        f"Joints of the {layer} layer lie closer than {said.length(offset)} above parallel joints below for "
        f"{said.run(total)} in all; the longest begins {said.length(joint.a[0])} along and "
        f"{said.length(joint.a[1])} up from the datum corner.",
        layer,
        "Tape the lower joints there too, or choose another width or direction for one of the layers.",
    )


def _stagger_reasons(chosen: list[Chosen], system: FloorSystem) -> list[Reason]:
    found = []
    for layer, picked in zip(system.layers, chosen, strict=True):
        goods, way = picked.courses.goods, picked.way
        if goods.roll:
            if not math.isfinite(goods.length):
                found.append(
                    said.note(
                        "floor-roll-length",
                        f"{layer.product} states no roll length; strips are taken as unbroken and counted as one roll.",
                        layer.product,
                        "Give the roll length to have end joints and rolls counted.",
                    )
                )
            continue
        shift = way.stagger % 1
        if min(shift, 1 - shift) * goods.length < END_JOINTS - 0.5:
            text = f"End joints of neighbouring {layer.role} courses are less than {said.length(END_JOINTS)} apart."
            if layer.stagger:
                found.append(said.warning("floor-rule-stagger", text, layer.role, "Set the stagger to 0.5 or 0.33."))
            else:
                found.append(said.note("floor-not-staggered", text, layer.role))
        elif abs(way.stagger - float(layer.stagger)) > 1e-9:
            used = Decimal(way.stagger).quantize(Decimal("0.01"))
            text = (
                f"The {layer.role} courses are staggered by {used} of a sheet instead of {layer.stagger}, "
                "because fewer rules are broken that way."
            )
            found.append(said.note("floor-stagger", text, layer.role))
    return found


# ---------------------------------------------------------------- edges and build-up


def _edges(
    sides: Sequence[MatSide],
    system: FloorSystem,
    products: dict[str, Product],
    shape: MatShape,
    pins: Sequence[Pin],
) -> tuple[list[FramePiece], list[Reason]]:
    reasons: list[Reason] = []
    found: list[FramePiece] = []
    frame, ramp = Timbers("frame", pins, products.get(system.frame)), Timbers("ramp", pins, products.get(system.ramp))
    if system.frame:
        found += frame_pieces(shape, float(system.frame_width or 0), frame)
    reasons += frame.refused()
    reasons += _frame_level(system, products)
    run = float(system.ramp_run or 0)
    if system.ramp:
        found += ramp_pieces(sides, run, ramp)
    reasons += ramp.refused()
    rise = _thickness(system, products)
    steps = [side for side in sides if side.against == "open" and side.edge != "ramp"]
    meant = [side for side in steps if side.chosen]
    if meant:
        text = f"The mat ends with a square step of {said.length(rise)} at {', '.join(side.id for side in meant)}."
        todo = "Mark the step so that nobody stubs a toe; where an accessible route crosses it, choose a ramp."
        reasons.append(said.note("floor-step", text, meant[0].id, todo))
    forced = [side for side in steps if not side.chosen]
    if forced:
        where = ", ".join(side.id for side in forced)
        text = f"The mat ends with a step of {said.length(rise)} at {where}: the system names no ramped edge."
        todo = "Name a product for the ramp in the floor system, or choose a frame timber there and mark the step."
        reasons.append(said.warning("floor-no-ramp", text, forced[0].id, todo))
    ramped = [side for side in sides if side.edge == "ramp"]
    if not ramped:
        return found, reasons
    where = ", ".join(side.id for side in ramped)
    slope = run / rise if rise else 0.0
    steep = slope < STEEPEST_TOE_RAMP
    # 1:12 is the steepest ramp of the 2010 ADA Standards, section 405.2.
    reasons.append(
        Reason(
            code="floor-ramp-steep" if steep else "floor-ramp",
            text=(
                f"The ramped edge at {where} rises {said.length(rise)} over {said.length(run)} (1 : {slope:.1f}) and "
                "stands that far in front of the mat. An accessible route usually needs 1 : 12, here "
                f"{said.length(rise * 12)} (US figure for orientation; the local authority decides)."
            ),
            where=ramped[0].id,
            severity="warning" if steep else "note",
            todo=(
                f"Make the run at least {said.length(rise * STEEPEST_TOE_RAMP)}, so that nobody stubs a toe."
                if steep
                else "Check that what the ramp takes from the strip or landing leaves the clear space it is for."
            ),
        )
    )
    return found, reasons


def _frame_level(system: FloorSystem, products: dict[str, Product]) -> list[Reason]:
    """Say so where the frame under a cover's edge is not level with the foam: of several layers all but the top one."""
    timber = products.get(system.frame)
    if timber is None or not timber.thickness or system.cover is None:
        return []
    on_edge = timber.width and system.frame_width == timber.thickness
    stands = float((timber.width if on_edge else timber.thickness) or 0)
    inside = system.layers[:-1] or system.layers
    if any(not products[layer.product].thickness for layer in inside):
        return []
    high = sum(float(products[layer.product].thickness or 0) for layer in inside)
    off = high - stands
    if abs(off) <= FRAME_LEVEL:
        return []
    text = f"The frame timber is {said.length(stands)} high, what lies inside it {said.length(high)}"
    if off > 0:
        text += f": pack the timber up by {said.length(off)}, so that both end level."
        todo = "Packing is not in the take-off: add its strips to what is needed, or choose a higher timber."
    else:
        text += f": the timber stands {said.length(-off)} above it."
        todo = "Choose a lower timber, or lay the top layer up to it and not over it."
    return [said.note("floor-frame-level", text, system.frame, todo)]


def _doors(plan: RoomPlan, shape: MatShape, thickness: float) -> list[Reason]:
    """Doors whose leaf swings over the floor and does not clear it, or nobody knows."""
    import shapely

    found = []
    for door in plan.features:
        wall = next((w for w in plan.walls if w.id == door.wall), None)
        if door.kind not in ("door", "exit door") or door.swing != "in" or wall is None:
            continue
        hinge, far = (door.a, door.b) if door.hinge == "a" else (door.b, door.a)
        leaf = math.dist(hinge, far)
        if leaf < 1:
            continue
        along = ((far[0] - hinge[0]) / leaf, (far[1] - hinge[1]) / leaf)
        turns = [math.pi / 2 * k / SWING_STEPS for k in range(SWING_STEPS + 1)]
        arc = [
            (
                hinge[0] + leaf * (along[0] * math.cos(t) + wall.inward[0] * math.sin(t)),
                hinge[1] + leaf * (along[1] * math.cos(t) + wall.inward[1] * math.sin(t)),
            )
            for t in turns
        ]
        if shapely.Polygon([hinge, *arc]).intersection(shape.outer).area < SWING_OVER:
            continue
        if door.under_leaf is None:
            text = (
                f"{door.id} opens in over the floor, which is {said.length(thickness)} thick; the gap under its leaf "
                "is not stated."
            )
            todo = "Measure the gap, keep the swing clear of mat, or hang the leaf to open out."
            found.append(said.note("floor-door-gap", text, door.id, todo))
        elif thickness > door.under_leaf:
            text = (
                f"The floor is {said.length(thickness)} thick, but under the leaf of {door.id}, which opens in over "
                f"it, there is only {said.length(door.under_leaf)}."
            )
            todo = (
                "Keep the leaf's swing clear of mat, hang it to open out, or choose a thinner floor. A leaf may be cut "
                "shorter, but never a fire door without its maker's word."
            )
            found.append(said.warning("floor-door-gap", text, door.id, todo))
    return found


def _thickness(system: FloorSystem, products: dict[str, Product]) -> float:
    return sum(float(products[layer.product].thickness or 0) for layer in system.layers)


def _build_up(system: FloorSystem, products: dict[str, Product]) -> tuple[float, float, list[Reason]]:
    """Thickness (mm), mass per area (kg/m², cover included, 0 where something is missing) and what is missing."""
    missing = []
    mass = float(system.cover.mass_per_area) if system.cover is not None else 0.0
    for layer in system.layers:
        product = products[layer.product]
        if product.mass_per_area is not None:
            mass += float(product.mass_per_area)
        elif product.density is not None and product.thickness is not None:
            mass += float(product.density) * float(product.thickness) / 1000
        else:
            missing.append(product.name)
    reasons = []
    thin = [products[layer.product].name for layer in system.layers if not products[layer.product].thickness]
    if thin:
        reasons.append(
            said.warning(
                "floor-thickness",
                f"No thickness is stated for {', '.join(thin)}, so the floor's height is too low.",
                system.id,
                "Type the thickness from the data sheet, such as 2 in.",
            )
        )
    if missing:
        reasons.append(
            said.note(
                "floor-mass",
                f"The floor's mass cannot be told: no density for {', '.join(missing)}.",
                system.id,
                "Type the density from the data sheet.",
            )
        )
    return snap(_thickness(system, products)), 0.0 if missing else snap(mass, 0.001), reasons
