"""The one-piece cover: outline, cut-outs, welds, loop band, mass, and what it takes to carry it.

The finished edge is the frame's outer face, where the band's outer edge lands. Welds run along a side of the
outline; their least total length is found at the offsets where a weld meets a corner, because weld length
changes linearly between those. Allowances and weights per person are common practice, no published source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Any

import msgspec

from buildout.rooms.engine.geometry import base_side
from buildout.rooms.engine.types import CutShape, RoomPlan
from buildout.units.value import Reason, Status, snap
from estimating.engine import said
from estimating.engine.mat_shape import (
    GRID,
    MatShape,
    Point,
    Ring,
    holes_of,
    mat_shape,
    parts_of,
    polygon_of,
    ring_of,
    signed_area,
    without_columns,
    without_straight_points,
)
from estimating.engine.passage import fold_up, least_harmful_joint, passage, reliefs, staples
from estimating.engine.pins import SAME, refused
from estimating.engine.rolled import IDEAL, SHARE, carriers_needed, places_to_hold, rolled_diameter, share_out
from estimating.engine.types import (
    Bundle,
    CoverLayout,
    CoverSpec,
    FloorLayout,
    FloorSystem,
    Pin,
    Product,
    RouteStep,
    Weld,
    WeldLayout,
    Zone,
)

LONG_SIDE = 1000.0
"""mm; welds are tried along every side longer than this."""
NARROWEST_GOODS = 150.0
"""mm of goods less lap; anything narrower is a slip of the pen."""
MERGED = math.radians(0.5)
PINNED_TURN = math.radians(5)
"""A pinned direction this close to a side of the outline means that side."""
ROUND_CORNERS = 24
"""A ring of more corners is taken for a round column's."""
JOINT_CLEAR = 101.6
"""mm (4 in): a weld closer to a parallel joint of the top layer counts as lying over it. Common practice, no
published source."""
SIDE_STEP = 0.05
"""mm looked to either side of an offset where the weld length may jump."""
ROLL_WIDTH = 7315.2
"""mm (24 ft): a cover is folded to this width before it is rolled, if it is that long."""
WAYS_SHOWN = 5
"""Ways of running the welds told beside the chosen one, the best of them."""
HEAVY_FABRIC = (1.27, 1.6275)
"""mm and kg/m²: 0.05 in at one third of a pound a square foot; thinner fabric is taken in proportion."""


@dataclass(frozen=True)
class Scheme:
    """One way of running the welds: direction (radians) and offset of the first weld line."""

    angle: float
    offset: float
    length: float
    lip: float
    """Weld length on the walk-on edges' bands and in zones kept free of welds."""
    lines: tuple[float, ...]
    """Where weld lines lie, across the direction."""
    width: float = 0.0
    """Of the goods."""


@dataclass(frozen=True)
class Wish:
    """What pins say: angles to try, goods' product, and points that weld lines must pass through, by pin."""

    angles: list[float]
    product: str = ""
    lines: tuple[tuple[Pin, Point], ...] = ()
    first: Pin | None = None
    """The pin that gives the direction."""


def lay_cover(
    plan: RoomPlan,
    system: FloorSystem,
    floor: FloorLayout | None,
    products: dict[str, Product],
    pins: Sequence[Pin] = (),
    route: Sequence[RouteStep] = (),
    zones: Sequence[Zone] = (),
) -> CoverLayout:
    """Draw the cover of a floor: finished edge, cut-outs, weld lines of least length, band, mass, carriers.

    Goods width and direction are those with least weld on walk-on edges and in ``zones``, then least weld, then least
    goods, then least weld over joints of the top layer. Status is ``proven`` where no direction tried has a shorter
    weld length, ``feasible`` where welds were kept out of places at the price of length, ``empty`` where there is no
    mat field. The rolled size and the number of carriers are screening figures for planning a carry.
    """
    spec = system.cover
    shape = mat_shape(plan, system) if spec is not None else None
    if spec is None or shape is None:
        return _nothing(plan, system)
    lap = float(spec.weld_lap)
    widths = sorted({float(w) for w in (spec.goods_width, *spec.other_widths)})
    if widths[0] < float(spec.band_width):
        text = (
            f"The goods are {said.length(widths[0])} wide, narrower than the loop band of "
            f"{said.length(float(spec.band_width))}."
        )
        todo = "Check both widths and their units; goods are usually 54 to 72 in, the band 4 in."
        return _nothing(plan, system, said.stop("cover-band", text, spec.product, todo))
    if widths[0] - lap < NARROWEST_GOODS:
        text = f"Goods less weld lap leave {said.length(widths[0] - lap)} of width, too little to make a cover of."
        return _nothing(plan, system, said.stop("cover-lap", text, spec.product, "Type a goods width such as 61 in."))
    outline, cut = _finished(shape, plan, spec)
    fabric = polygon_of(outline, cut)
    outer = polygon_of(outline)
    hem = float(spec.hem or 0)
    hemmed = fabric.buffer(hem, join_style="mitre") if hem > 0 else fabric
    lips = _lips(shape, float(spec.band_width))
    kept_off = _kept_off(lips, zones, outer)
    wish, pin_reasons = _pinned(plan, pins, outline, products)
    if wish.product:
        spec = msgspec.structs.replace(spec, product=wish.product)
    schemes = []
    for width in widths:
        for scheme in _schemes(hemmed, outline, kept_off, width, lap, wish):
            schemes.append(scheme)
    bound = min(s.length for s in schemes)
    joints = _top_joints(floor)
    chosen, goods = _best(schemes, hemmed, lap, joints)
    pitch = chosen.width - lap
    strips, welds = _drawn(fabric, chosen)
    ways = _ways(schemes, chosen, hemmed, fabric, lap, joints, pinned=len(wish.angles) == 1 and bool(wish.first))
    pin_reasons += _missed(wish, chosen, pitch)
    area = fabric.area
    mass = hemmed.area / 1e6 * float(spec.mass_per_area)
    product = products.get(spec.product)
    thickness, reasons = _thickness(spec, product)
    box = [abs(c) for c in (outer.bounds[2] - outer.bounds[0], outer.bounds[3] - outer.bounds[1])]
    width = min(ROLL_WIDTH, max(box))
    width, steps, passing = passage(area, thickness, width, route)
    diameter = rolled_diameter(area, thickness, width)
    carriers = carriers_needed(mass, width)
    over = weld_over_joints(welds, joints)
    zone_area = _zones(zones, outer)
    in_zones = sum(zone_area.buffer(-0.05).intersection(_line(w)).length for w in welds) if zones else 0.0
    parting: Weld | None = None
    bundle: Bundle | None = None
    if any(not step.passes for step in steps):
        parting, parted = least_harmful_joint(fabric, welds, kept_off, thickness, width, route)
        bundle, folded = fold_up(area, thickness, mass, route)
        passing = [*passing, folded, *parted]
    proven = chosen.length <= bound + 1
    status: Status = "proven" if proven else "feasible"
    reasons = (
        pin_reasons
        + _weld_reasons(chosen, bound, schemes, in_zones, over)
        + reasons
        + _carry_reasons(mass, width, diameter, carriers, plan.room)
        + passing
    )
    band = outer.length + sum(polygon_of(ring).length for ring in cut)
    return CoverLayout(
        room=plan.room,
        status=status,
        product=spec.product,
        outline=outline,
        cutouts=cut,
        direction=(snap(math.cos(chosen.angle), 1e-6), snap(math.sin(chosen.angle), 1e-6)),
        strips=strips,
        welds=welds,
        weld_length=snap(sum(w.length for w in welds)),
        bound=snap(min(bound, sum(w.length for w in welds))),
        band_length=snap(band),
        hook_length=snap(band),
        staples=staples(band),
        reliefs=reliefs(outline, cut, lips),
        passage=steps,
        goods_width=snap(chosen.width),
        weld_in_zones=snap(in_zones),
        weld_over_joints=over,
        cut_area=snap(hemmed.area) if hem > 0 else 0.0,
        parting=parting,
        bundle=bundle,
        ways=ways,
        area=snap(area),
        goods_length=snap(goods),
        mass=snap(mass, 0.001),
        rolled_diameter=snap(diameter),
        roll_length=snap(width),
        carriers=carriers,
        sides=[(f"{k + 1}–{(k + 1) % len(outline) + 1}", snap(d)) for k, d in enumerate(_side_lengths(outline))],
        diagonals=[(f"{i + 1}–{j + 1}", snap(math.dist(outline[i], outline[j]))) for i, j in diagonals(outline)],
        reasons=reasons,
    )


def cover_shape(plan: RoomPlan, system: FloorSystem) -> CutShape | None:
    """The sizes that stand on the cover's drawing, as its corners are numbered there; None where there is no cover."""
    shape = mat_shape(plan, system) if system.cover is not None else None
    if shape is None or system.cover is None:
        return None
    outline, cut = _finished(shape, plan, system.cover)
    return CutShape(
        name="cover", outline=outline, labels=[str(k + 1) for k in range(len(outline))], diagonals=diagonals(outline),
        cutouts=cut, base=base_side(outline, cut),
    )  # fmt: skip


def _finished(shape: MatShape, plan: RoomPlan, spec: CoverSpec) -> tuple[Ring, list[Ring]]:
    """Finished edge of the cover, and its cut-outs."""
    edge = shape.outer
    if spec.overhang is not None and float(spec.overhang) > 0:
        edge = polygon_of(ring_of(edge.buffer(float(spec.overhang), join_style="mitre")))
    clear = without_columns(edge, plan.columns)
    return without_straight_points(ring_of(clear)), holes_of(clear)


def _nothing(plan: RoomPlan, system: FloorSystem, reason: Reason | None = None) -> CoverLayout:
    status: Status = "infeasible" if reason else "empty"
    if not reason:
        text = "There is no mat field, so there is nothing to cover."
        todo = "Check the room's readings and its keep-clear strips."
        if system.cover is None:
            text, todo = "The floor system has no cover.", "Add one if the floor is to have a cover."
        reason = said.warning("cover-empty", text, plan.room, todo)
    return CoverLayout(
        room=plan.room, status=status, product=system.cover.product if system.cover else "", outline=[], cutouts=[],
        direction=(1.0, 0.0), strips=[], welds=[], weld_length=0.0, bound=0.0, band_length=0.0, area=0.0,
        goods_length=0.0, mass=0.0, rolled_diameter=0.0, roll_length=0.0, carriers=0, sides=[], diagonals=[],
        reasons=[reason],
    )  # fmt: skip


def _thickness(spec: CoverSpec, product: Product | None) -> tuple[float, list[Reason]]:
    if product is not None and product.thickness is not None:
        return float(product.thickness), []
    thick = HEAVY_FABRIC[0] * float(spec.mass_per_area) / HEAVY_FABRIC[1]
    text = f"The fabric's thickness is not stated; {thick:.2f} mm is taken from its mass for the size of the roll."
    return thick, [said.note("cover-thickness", text, spec.product, "Type the thickness from the data sheet.")]


# ---------------------------------------------------------------- welds


def _pinned(
    plan: RoomPlan, pins: Sequence[Pin], outline: Ring, products: dict[str, Product]
) -> tuple[Wish, list[Reason]]:
    """What the cover's pins ask for, and those that cannot hold."""
    tried = directions(outline)
    first: Pin | None = None
    angle = 0.0
    product = ""
    lines: list[tuple[Pin, Point]] = []
    reasons = []
    for pin in (p for p in pins if p.layer == "cover"):
        wall = next((w for w in plan.walls if w.id == pin.wall), None)
        if pin.kind == "product":
            goods = products.get(pin.product)
            if goods is None or goods.form not in ("made to drawing", "roll"):
                why = f"{pin.product or 'its product'} is not goods a cover is made of"
                reasons.append(refused(pin, why, "Pin a product made to drawing or off a roll."))
            elif product and product != pin.product:
                reasons.append(refused(pin, f"the cover is already pinned to {product}", "Take off one of the two."))
            else:
                product = pin.product
            continue
        if pin.kind not in ("direction", "line"):
            reasons.append(refused(pin, f"a {pin.kind} is not pinned on a cover", "Pin a direction, line or product."))
            continue
        if pin.wall and wall is None:
            todo = f"Name one of {', '.join(w.id for w in plan.walls)}."
            reasons.append(refused(pin, f"there is no wall {pin.wall}", todo))
            continue
        if not pin.wall and not pin.direction:
            reasons.append(refused(pin, "it names neither a wall nor a direction", "State x, y or a wall."))
            continue
        wish = math.pi / 2 if pin.direction == "y" else 0.0
        if wall is not None:
            wish = math.atan2(wall.b[1] - wall.a[1], wall.b[0] - wall.a[0])
        near = min(tried, key=lambda a: abs(math.remainder(a - wish, math.pi)))
        wish = near if abs(math.remainder(near - wish, math.pi)) < PINNED_TURN else wish % math.pi
        if first is not None and abs(math.remainder(wish - angle, math.pi)) > MERGED:
            why = f"pin {first.id} already runs the welds another way"
            reasons.append(refused(pin, why, f"Take off one of {first.id} and {pin.id}."))
            continue
        if pin.kind == "line":
            at = pin.y if abs(math.cos(wish)) > abs(math.sin(wish)) else pin.x
            if at is None:
                reasons.append(refused(pin, "it does not say where the weld lies", "State x or y, such as 4 ft."))
                continue
            lines.append((pin, (float(pin.x or 0), float(pin.y or 0))))
        first, angle = first or pin, wish
    return Wish([angle] if first is not None else tried, product, tuple(lines), first), reasons


def _zones(zones: Sequence[Zone], outer: Any) -> Any:
    """Where no weld should lie, inside the cover."""
    import shapely

    boxes = [
        shapely.box(float(z.x), float(z.y), float(z.x) + float(z.length), float(z.y) + float(z.width)) for z in zones
    ]
    return shapely.union_all([box.intersection(outer) for box in boxes]) if boxes else shapely.Polygon()


def _kept_off(lips: Any, zones: Sequence[Zone], outer: Any) -> Any:
    import shapely

    inside = _zones(zones, outer)
    return shapely.MultiPolygon([*parts_of(lips), *parts_of(inside)]) if not inside.is_empty else lips


def _line(weld: Weld) -> Any:
    import shapely

    return shapely.LineString([weld.a, weld.b])


def _top_joints(floor: FloorLayout | None) -> Any:
    """Joints of the top layer as an array of (ax, ay, bx, by)."""
    import numpy as np

    top = floor.layers[-1] if floor is not None and floor.layers else None
    return np.array([(*j.a, *j.b) for j in top.joints] if top is not None else [], dtype=float).reshape(-1, 4)


def weld_over_joints(welds: Sequence[Weld], joints: Any) -> float:
    """Length of weld that runs beside a parallel joint of the top layer, closer than ``JOINT_CLEAR``, mm."""
    import numpy as np

    total = 0.0
    if not len(joints):
        return total
    along = joints[:, 2:] - joints[:, :2]
    length = np.hypot(along[:, 0], along[:, 1])
    for weld in welds:
        if weld.length < 1:
            continue
        d = ((weld.b[0] - weld.a[0]) / weld.length, (weld.b[1] - weld.a[1]) / weld.length)
        turned = np.abs(along[:, 0] * d[1] - along[:, 1] * d[0]) < np.sin(PINNED_TURN) * length
        if not turned.any():
            continue
        ends = joints[turned].reshape(-1, 2, 2) - np.array(weld.a)
        u = ends @ np.array(d)
        v = ends @ np.array((-d[1], d[0]))
        near = np.abs(v.mean(axis=1)) < JOINT_CLEAR
        low, high = np.clip(u[near].min(axis=1), 0, weld.length), np.clip(u[near].max(axis=1), 0, weld.length)
        reach = 0.0
        for a, b in sorted(zip(low.tolist(), high.tolist(), strict=True)):
            total += max(0.0, b - max(a, reach))
            reach = max(reach, b)
    return snap(total)


def _schemes(fabric: Any, outline: Ring, lips: Any, width: float, lap: float, wish: Wish) -> list[Scheme]:
    found = []
    pitch = width - lap
    for angle in wish.angles:
        turned = _turned(fabric, -angle)
        lip_parts = parts_of(_turned(lips, -angle))
        rings = [ring for part in (turned, *lip_parts) for ring in (part.exterior, *part.interiors)]
        corners = [y for ring in rings for y in _heights(ring)]
        edges = _Edges(turned)
        tried = offsets([*corners, edges.low + lap / 2, edges.high - lap / 2], pitch)
        if wish.lines:
            x, y = wish.lines[0][1]
            tried = [round((y * math.cos(angle) - x * math.sin(angle)) % pitch, 2) % pitch]
        lines = [_lines(edges.low, edges.high, offset, pitch, lap) for offset in tried]
        lengths = edges.totals(lines)
        on_lips = [sum(one) for one in zip(*(_Edges(part).totals(lines) for part in lip_parts), strict=True)]
        for place, offset in enumerate(tried):
            lip = round(on_lips[place], 1) if on_lips else 0.0
            found.append(
                Scheme(angle, offset, round(lengths[place], 1), lip if lip > 1 else 0.0, tuple(lines[place]), width)
            )
    return found


def _heights(ring: Any) -> list[float]:
    """Where weld length can change along a ring: at its corners; round ones at their ends and their middle."""
    heights = [float(y) for _, y in ring.coords[:-1]]
    if len(heights) < ROUND_CORNERS:
        return heights
    low, high = min(heights), max(heights)
    return [low, (low + high) / 2, high]


def _best(schemes: list[Scheme], fabric: Any, lap: float, joints: Any) -> tuple[Scheme, float]:
    """Off the places to keep off, least weld, least goods (with its length), least over joints; ties by direction."""
    least = min((s.lip, s.length) for s in schemes)
    tied = [s for s in schemes if s.lip <= least[0] + 1 and s.length <= least[1] + 1]
    made: dict[float, _Edges] = {}
    ranked = []
    for scheme in tied:
        edges = made.setdefault(scheme.angle, _Edges(_turned(fabric, -scheme.angle)))
        run = round(_goods_length(edges, scheme.lines, lap), 1)
        ranked.append((round(run * scheme.width / 1000), round(scheme.angle, 9), scheme.offset, run, scheme))
    ranked.sort(key=lambda r: r[:3])
    level = [r for r in ranked if r[0] <= ranked[0][0] + 1]
    if len(joints) and len(level) > 1:
        level.sort(key=lambda r: (weld_over_joints(_welds(made[r[4].angle], r[4]), joints), *r[:3]))
    return level[0][4], level[0][3]


def _ways(
    schemes: list[Scheme], chosen: Scheme, hemmed: Any, fabric: Any, lap: float, joints: Any, *, pinned: bool
) -> list[WeldLayout]:
    """The chosen scheme, the best of every other direction and width, and the one with least weld wherever it lies."""
    groups: dict[tuple[float, float], list[Scheme]] = {}
    for scheme in schemes:
        groups.setdefault((scheme.angle, scheme.width), []).append(scheme)
    others = [
        _best(group, hemmed, lap, joints)[0] for key, group in groups.items() if key != (chosen.angle, chosen.width)
    ]
    shortest = min(schemes, key=lambda s: (s.length, s.lip, s.angle, s.offset))
    if shortest.length < min(s.length for s in (chosen, *others)) - 1:
        others.append(_best([s for s in schemes if s.length <= shortest.length + 1], hemmed, lap, joints)[0])
    made: dict[float, tuple[_Edges, _Edges]] = {}

    def way(scheme: Scheme) -> WeldLayout:
        if scheme.angle not in made:
            made[scheme.angle] = (_Edges(_turned(fabric, -scheme.angle)), _Edges(_turned(hemmed, -scheme.angle)))
        edges, outer = made[scheme.angle]
        welds = _welds(edges, scheme)
        return WeldLayout(
            direction=(snap(math.cos(scheme.angle), 1e-6), snap(math.sin(scheme.angle), 1e-6)),
            goods_width=snap(scheme.width),
            welds=welds,
            weld_length=snap(scheme.length),
            kept_off=snap(scheme.lip),
            goods_length=snap(_goods_length(outer, scheme.lines, lap)),
            over_joints=weld_over_joints(welds, joints),
            chosen=scheme is chosen,
        )

    first = way(chosen)
    found = sorted(
        (way(scheme) for scheme in others),
        key=lambda w: (w.kept_off, w.weld_length, w.goods_length * w.goods_width, w.direction, w.goods_width),
    )
    told = [msgspec.structs.replace(one, why=_why_not(one, first)) for one in found[:WAYS_SHOWN]]
    return [msgspec.structs.replace(first, why=_why(first, found, pinned=pinned)), *told]


def _why_not(one: WeldLayout, chosen: WeldLayout) -> str:
    """What speaks against a way of running the welds, by the first rule that tells it from the chosen one."""
    more = one.weld_length - chosen.weld_length
    if one.kept_off > chosen.kept_off + 1:
        text = f"{said.run(one.kept_off - chosen.kept_off)} more of it on walk-on edges or in zones kept free of welds"
        return f"{text}, though {said.run(-more)} less weld" if more < -1 else text
    if more > 1:
        return f"{said.run(more)} more weld"
    goods = one.goods_length * one.goods_width - chosen.goods_length * chosen.goods_width
    if goods > 1e6:
        return f"as much weld, but {said.area(goods)} more goods"
    if one.over_joints > chosen.over_joints + 1:
        over = said.run(one.over_joints - chosen.over_joints)
        return f"as much weld and goods, but {over} more of it beside joints of the top layer"
    return "as good; of two alike the direction that comes first is taken"


def _why(chosen: WeldLayout, others: Sequence[WeldLayout], *, pinned: bool) -> str:
    """By which rule it was chosen."""
    if not others:
        return "the pinned direction" if pinned else "the only way to run them"
    if any(one.kept_off > chosen.kept_off + 1 and one.weld_length < chosen.weld_length - 1 for one in others):
        return "least weld on walk-on edges and in zones kept free; after that the least weld"
    if all(one.weld_length > chosen.weld_length + 1 or one.kept_off > chosen.kept_off + 1 for one in others):
        return "least weld"
    return "least weld, and of those with as little the least goods"


def _welds(edges: _Edges, scheme: Scheme) -> list[Weld]:
    """Weld lines of a scheme, in room coordinates."""
    cos, sin = math.cos(scheme.angle), math.sin(scheme.angle)
    welds = []
    for y in scheme.lines:
        for x0, x1 in edges.at(y):
            a, b = [(snap(x * cos - y * sin), snap(x * sin + y * cos)) for x in (x0, x1)]
            welds.append(Weld(a=a, b=b, length=snap(math.dist(a, b))))
    return welds


def directions(outline: Ring) -> list[float]:
    """Angles of the sides longer than 1 m, 0 ≤ angle < π, within half a degree taken as one (the longest side's)."""
    sides = list(zip(outline, outline[1:] + outline[:1], strict=True))
    sides.sort(key=lambda s: (-round(math.dist(*s), 1), s))
    found: list[float] = []
    for place, (a, b) in enumerate(sides):
        if math.dist(a, b) < LONG_SIDE and place:
            continue
        angle = math.atan2(b[1] - a[1], b[0] - a[0]) % math.pi
        if all(abs(math.remainder(angle - other, math.pi)) > MERGED for other in found):
            found.append(angle)
    return found


def offsets(corners: list[float], pitch: float) -> list[float]:
    """Every offset at which a weld meets a corner, just beside it, and halfway between.

    >>> offsets([0.0, 10.0], 4.0)
    [0.0, 0.05, 1.0, 1.95, 2.0, 2.05, 3.0, 3.95]
    """
    meets = sorted({round(c % pitch, 2) % pitch for c in corners})
    found: set[float] = set()
    for here, after in zip(meets, [*meets[1:], meets[0] + pitch], strict=True):
        for offset in (here, here + SIDE_STEP, (here + after) / 2, after - SIDE_STEP):
            found.add(round(offset % pitch, 2) % pitch)
    return sorted(found)


def _lines(low: float, high: float, offset: float, pitch: float, lap: float) -> list[float]:
    """Weld lines between two edges. The strips at the edges have a lap on one side only, so that a line within half a
    lap of an edge is none: the strip beside it is wide enough."""
    first = math.ceil((low + lap / 2 - offset) / pitch + 1e-9)
    last = math.floor((high - lap / 2 - offset) / pitch - 1e-9)
    return [offset + k * pitch for k in range(first, last + 1)]


class _Edges:
    """Edges of a polygon for cutting it by level lines; a line along an edge of the fabric is no weld."""

    def __init__(self, shape: Any) -> None:
        import numpy as np
        import shapely

        self.shape = shape
        # Outer ring anticlockwise, holes clockwise, so that edges that rise have the shape on their left.
        points, ring = shapely.get_coordinates(shapely.get_rings(shapely.orient_polygons(shape)), return_index=True)
        same = ring[:-1] == ring[1:]
        self.a, self.b = points[:-1][same], points[1:][same]
        self.low, self.high = float(self.a[:, 1].min()), float(self.a[:, 1].max())
        # How much of a level line lies inside is a straight function of its height between two corners.
        heights = np.unique(self.a[:, 1])
        self._corners = heights[np.append(np.diff(heights) > 1e-9, True)]
        middle = (self._corners[:-1] + self._corners[1:]) / 2
        self._width = self._inside(self._corners)
        self._slope = np.append((self._inside(middle) - self._width[:-1]) / (middle - self._corners[:-1]), 0.0)

    def totals(self, groups: list[list[float]]) -> list[float]:
        """Weld length of every group of lines."""
        import numpy as np

        levels = np.array([y for group in groups for y in group])
        if not len(levels):
            return [0.0] * len(groups)
        length = np.minimum(self._across(levels - GRID / 2), self._across(levels + GRID / 2))
        owner = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
        return [float(total) for total in np.bincount(owner, weights=length, minlength=len(groups))]

    def _across(self, levels: Any) -> Any:
        """Length of level lines inside the shape."""
        import numpy as np

        place = np.searchsorted(self._corners, levels, side="right") - 1
        found = self._width[place] + self._slope[place] * (levels - self._corners[place])
        return np.where(place < 0, 0.0, found)

    def _inside(self, levels: Any) -> Any:
        """The same from the edges: those that rise carry the right ends of the stretches, those that fall the left
        ends, so the stretches add up to the signed sum of the crossings."""
        import numpy as np

        rise = self.b[:, 1] - self.a[:, 1]
        slope = np.divide(self.b[:, 0] - self.a[:, 0], rise, out=np.zeros_like(rise), where=rise != 0)
        y = levels[:, None]
        crossing = (self.a[None, :, 1] <= y) != (self.b[None, :, 1] <= y)
        x = self.a[None, :, 0] + (y - self.a[None, :, 1]) * slope[None, :]
        return (x * np.sign(rise)[None, :] * crossing).sum(axis=1)

    def at(self, y: float) -> list[Point]:
        below, above = self._cut(y - GRID / 2), self._cut(y + GRID / 2)
        return [(max(a, c), min(b, d)) for a, b in below for c, d in above if min(b, d) - max(a, c) > 1]

    def _cut(self, y: float) -> list[Point]:
        crossing = (self.a[:, 1] <= y) != (self.b[:, 1] <= y)
        a, b = self.a[crossing], self.b[crossing]
        met = sorted(float(x) for x in a[:, 0] + (y - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0]))
        return list(zip(met[::2], met[1::2], strict=True))


def _goods_length(edges: _Edges, lines: Sequence[float], lap: float) -> float:
    """Running length of goods: every strip's reach, half a lap wider on both sides."""
    import shapely

    levels = [edges.low, *[y for y in lines if edges.low + GRID < y < edges.high - GRID], edges.high]
    left, _, right, _ = shapely.bounds(edges.shape).tolist()
    strips = [
        shapely.clip_by_rect(
            edges.shape,
            left - 1,
            low if number == 0 else max(edges.low, low - lap / 2),
            right + 1,
            high if number == len(levels) - 2 else min(edges.high, high + lap / 2),
        )
        for number, (low, high) in enumerate(pairwise(levels))
    ]
    parts, owner = shapely.get_parts(strips, return_index=True)
    kept = shapely.area(parts) > 0
    parts, owner = parts[kept], owner[kept]
    total = 0.0
    before, reach = -1, 0.0
    for strip, (a, _, b, _) in sorted(zip(owner.tolist(), shapely.bounds(parts).tolist(), strict=True)):
        if strip != before:
            before, reach = strip, a
        total += max(0.0, b - max(a, reach))
        reach = max(reach, b)
    return total


def _turned(shape: Any, angle: float) -> Any:
    import numpy as np
    import shapely

    cos, sin = math.cos(angle), math.sin(angle)
    turn = np.array([[cos, sin], [-sin, cos]])
    return shapely.transform(shape, lambda points: points @ turn)


def _missed(wish: Wish, chosen: Scheme, pitch: float) -> list[Reason]:
    """Pinned weld lines that lie off the cover, or that the goods' width keeps apart from the first."""
    found = []
    for pin, (x, y) in wish.lines:
        at = y * math.cos(chosen.angle) - x * math.sin(chosen.angle)
        off = math.remainder(at - chosen.offset, pitch)
        if abs(off) > SAME:
            why = f"its weld would lie {said.length(abs(off))} off those of pin {wish.lines[0][0].id}"
            todo = f"Move it by whole widths of {said.length(pitch)}, or take off the other pin."
            found.append(refused(pin, why, todo))
        elif not any(abs(at - line) <= 1.5 * SAME for line in chosen.lines):
            found.append(refused(pin, "no weld can lie there, it is off the cover or at its edge", "Move it inside."))
    return found


def _drawn(fabric: Any, scheme: Scheme) -> tuple[list[Ring], list[Weld]]:
    import shapely

    turned = _turned(fabric, -scheme.angle)
    edges = _Edges(turned)
    lines = scheme.lines
    left, right = turned.bounds[0] - 1, turned.bounds[2] + 1
    welds = _welds(edges, scheme)
    levels = [edges.low - 1, *[y for y in lines if edges.low + GRID < y < edges.high - GRID], edges.high + 1]
    strips = []
    for low, high in pairwise(levels):
        band = _turned(shapely.box(left, low, right, high), scheme.angle)
        for part in parts_of(shapely.intersection(fabric, band)):
            snapped = [p for p in parts_of(shapely.set_precision(part, GRID)) if p.area > 1]
            strips += [ring_of(p) for p in snapped]
    return strips, welds


def _lips(shape: MatShape, band: float) -> Any:
    """The strips, one band wide, along walk-on edges, where a weld would be felt and worn."""
    import shapely

    found = []
    for side in shape.sides:
        for edge in side.edges:
            if not edge.walked_on:
                continue
            a, b = (_foot(p, side.a, side.b) for p in (edge.a, edge.b))
            run = math.dist(a, b)
            if run < 1:
                continue
            normal = (-math.sin(side.heading) * band, math.cos(side.heading) * band)
            inner = [(p[0] + normal[0], p[1] + normal[1]) for p in (b, a)]
            found.append(shapely.Polygon([a, b, *inner]))
    return shapely.MultiPolygon(found)


def _foot(point: Point, a: Point, b: Point) -> Point:
    """The point of a side nearest to ``point``."""
    run = math.dist(a, b)
    share = ((point[0] - a[0]) * (b[0] - a[0]) + (point[1] - a[1]) * (b[1] - a[1])) / run**2
    share = min(1.0, max(0.0, share))
    return a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])


# ---------------------------------------------------------------- diagram


def _side_lengths(outline: Ring) -> list[float]:
    return [math.dist(a, b) for a, b in zip(outline, outline[1:] + outline[:1], strict=True)]


def diagonals(outline: Ring) -> list[tuple[int, int]]:
    """Corner pairs that fix the outline's shape and check it.

    The outline is divided into triangles, and each pair of neighbouring triangles gives the other diagonal of
    its quadrilateral too where that lies inside the outline: both diagonals of a rectangle.

    >>> diagonals([(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)])
    [(0, 2), (1, 3)]
    """
    import shapely

    if len(outline) < 4:
        return []
    whole = polygon_of(outline).buffer(0.5)
    triangles = _triangles(outline)
    borders: dict[tuple[int, int], list[int]] = {}
    for corners in triangles:
        for i, j in combinations(sorted(corners), 2):
            borders.setdefault((i, j), []).append(next(c for c in corners if c not in (i, j)))
    found = set()
    for (i, j), opposite in borders.items():
        if len(opposite) < 2:
            continue
        found.add((i, j))
        k, m = sorted(opposite)
        other = shapely.LineString([outline[k], outline[m]])
        if other.crosses(shapely.LineString([outline[i], outline[j]])) and whole.covers(other):
            found.add((k, m))
    return sorted(found)


def _triangles(outline: Ring) -> list[tuple[int, int, int]]:
    """Cut ears off the outline, the one with the shortest cut first."""
    left = list(range(len(outline)))
    found: list[tuple[int, int, int]] = []
    while len(left) > 3:
        ears = []
        for place, here in enumerate(left):
            before, after = left[place - 1], left[(place + 1) % len(left)]
            triangle = [outline[before], outline[here], outline[after]]
            if signed_area(triangle) <= 1e-6:
                continue
            others = (outline[k] for k in left if k not in (before, here, after))
            if not any(_within(p, triangle) for p in others):
                ears.append((round(math.dist(outline[before], outline[after]), 2), place))
        if not ears:
            return found
        _, place = min(ears)
        found.append((left[place - 1], left[place], left[(place + 1) % len(left)]))
        del left[place]
    found.append((left[0], left[1], left[2]))
    return found


def _within(point: Point, triangle: Ring) -> bool:
    return all(signed_area([a, b, point]) >= -1e-6 for a, b in zip(triangle, triangle[1:] + triangle[:1], strict=True))


# ---------------------------------------------------------------- reasons


def _weld_reasons(chosen: Scheme, bound: float, schemes: list[Scheme], in_zones: float, over: float) -> list[Reason]:
    tried = len({s.angle for s in schemes})
    widths = len({s.width for s in schemes})
    among = f"{said.count(tried, 'direction')} tried, along sides of the outline"
    if widths > 1:
        among += f", and {widths} widths of goods; these are {said.length(chosen.width)} wide"
    text = f"Weld length {said.run(chosen.length)}: the least over {among}."
    if chosen.length > bound + 1:
        text = (
            f"Weld length {said.run(chosen.length)}; {said.run(bound)} would do, but with more of it on "
            f"walk-on edges or in zones kept free. Compared over {among}."
        )
    found = [said.note("cover-welds", text, "welds")]
    if chosen.lip - in_zones > 1:
        found.append(
            said.warning(
                "cover-lip",
                f"{said.run(chosen.lip - in_zones)} of weld crosses the band at a walk-on edge and cannot be avoided.",
                "welds",
                "Ask the fabricator for a reinforcing patch there.",
            )
        )
    if in_zones > 1:
        text = f"{said.run(in_zones)} of weld lies in zones kept free of welds and cannot be avoided."
        todo = "Make the zones smaller, or try wider goods."
        found.append(said.warning("cover-zones", text, "welds", todo))
    if over > 1:
        text = f"{said.run(over)} of weld runs within {said.length(JOINT_CLEAR)} of a joint of the top layer."
        todo = "Pin a line of the top layer or of the welds to part them where it matters."
        found.append(said.note("cover-over-joints", text, "welds", todo))
    return found


def _carry_reasons(mass: float, width: float, diameter: float, carriers: int, room: str) -> list[Reason]:
    if carriers == 0:
        text = "The cover's mass is not stated, so nobody can say how many people carry it."
        return [said.warning("cover-mass", text, room, "Ask the fabricator for the mass per area, bands included.")]
    places = places_to_hold(width)
    helpers = math.ceil(carriers / 8)
    text = (
        f"Screening figure, not a lifting assessment: {said.mass(mass)}, rolled about {said.length(diameter)} thick "
        f"and {said.length(width)} long, {places} places to hold, {carriers} carriers at {said.mass(SHARE)} each, and "
        f"besides one caller, two door-keepers and {said.count(helpers, 'spare')}. The {said.mass(IDEAL)} that a US "
        f"guide (NIOSH 94-110) allows one person who stands still would make it {share_out(mass, IDEAL)}; that is not "
        "made for carrying, so do not plan with it. Whoever leads the carry judges on the day."
    )
    found = [said.note("cover-carry", text, room, "Ask for the real mass, walk the route, keep wheels at hand.")]
    if carriers > places:
        found.append(
            said.warning(
                "cover-places",
                f"{carriers} carriers are needed but the roll has only {places} places to hold.",
                room,
                "Use dollies or a pallet jack, or ask for delivery inside.",
            )
        )
    return found
