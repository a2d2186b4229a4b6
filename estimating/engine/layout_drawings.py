"""Drawings of what is laid out: floor layers, the cover as its fabricator wants it, wall elevations, fold-away mats."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from itertools import pairwise
from typing import get_args

from buildout.rooms.engine import geometry
from buildout.rooms.engine.drawing import (
    SMALL,
    Dimension,
    Drawing,
    Item,
    Line,
    Polygon,
    Polyline,
    Role,
    Symbol,
    SymbolKind,
    Text,
    TitleBlock,
    chain_dimensions,
    dimension,
    middle,
    overall_and_chain,
    rectangle,
)
from buildout.rooms.engine.types import PlacedFeature, PlanWall, RoomPlan
from buildout.units.lengths import UnitSystem, format_area, format_length, format_mass, format_run, format_small
from estimating.engine.fold_away import meeting_edges
from estimating.engine.mat_shape import COLUMN_GAP
from estimating.engine.mat_sides import mat_sides
from estimating.engine.pins import holds_mat, lies_on
from estimating.engine.types import (
    CleatLine,
    CoverLayout,
    CoverSpec,
    CutOut,
    FloorLayout,
    FloorSystem,
    FoamLayout,
    FoldAwayLayout,
    Panel,
    Pin,
    Relief,
    WallElevation,
    WallLayout,
)
from estimating.engine.walls import FIXED_TO, ROUND_PLATE, SERVICE_CLEAR, STUD_BITE, feature_name

Point = tuple[float, float]
Ring = list[Point]

WALL_SHOWN = 2438.4
"""mm (8 ft) of wall drawn where its height is not stated."""
PANEL_ROLES: dict[str, Role] = {
    "full": "panel", "end": "end panel", "cut-out": "end panel", "low": "low panel",
    "removable": "removable panel", "wrap": "panel", "cap": "cap", "wall end": "low panel",
}  # fmt: skip
USUAL_HOLE = (2.75 * 25.4 + 2 * ROUND_PLATE, 4.5 * 25.4 + 2 * ROUND_PLATE)
"""mm: hole for an upright plate of 2 3/4 × 4 1/2 in, drawn where a plate was not measured. Common practice."""
BESIDE = 150.0
"""mm from the middle of a low wall's end panel to its number."""
QUARTER = 4
"""Covers are ordered to the nearest quarter of an inch."""


# ---------------------------------------------------------------- floor


def draw_floor_layer(
    plan: RoomPlan,
    floor: FloorLayout,
    layer: str,
    *,
    system: FloorSystem | None = None,
    pins: Sequence[tuple[Pin, str]] = (),
    units: UnitSystem = "feet-inches",
    block: TitleBlock | None = None,
) -> Drawing:
    """Draw one foam layer for laying: numbered pieces, frame, ramps, joints of the layer below, setting-out.

    ``layer`` is a name from ``floor.layers`` (``base``, ``top``). Raises ``KeyError`` for another one. ``pins`` that
    the layout holds come with their words and are marked where they hold.
    """
    place = next((k for k, found in enumerate(floor.layers) if found.layer == layer), None)
    if place is None:
        raise KeyError(layer)
    foam = floor.layers[place]
    items: list[Item] = _room(plan)
    if floor.outer:
        items.append(Polygon(outline=floor.outer, holes=[floor.field], role="frame", title="Frame"))
    items += _ramps(plan, floor, system)
    for piece in foam.pieces:
        role: Role = "whole piece" if piece.whole else "piece"
        size = " × ".join(format_length(side, units) for side in piece.box)
        kind = "whole sheet" if piece.whole else f"cut from {size}"
        items.append(Polygon(outline=piece.outline, role=role, title=f"{piece.id}, {kind}"))
    if place:
        items += [Line(a=j.a, b=j.b, role="lower joint", title="Joint below") for j in floor.layers[place - 1].joints]
    items += _columns(plan)
    for piece in foam.pieces:
        across = [p[0] for p in piece.outline]
        up = [p[1] for p in piece.outline]
        wide, high = max(across) - min(across), max(up) - min(up)
        at = _label_point(piece.outline)
        turned = high > 1.5 * wide
        items.append(
            Text(
                at=at, text=piece.id, role="small label", size=SMALL, turn=90.0 if turned else 0.0, clear=place > 0,
                inside=0.95 * (high if turned else wide),
            )
        )  # fmt: skip
    items += _setting_out(floor, foam, units)
    if not place:
        items += _first_line(floor, foam, units)
    items += _pin_marks(foam, pins)
    whole = sum(1 for piece in foam.pieces if piece.whole)
    clear = format_small(COLUMN_GAP, units)
    notes = [
        f"{len(foam.pieces)} pieces{f', {whole} of them whole sheets' if whole else ''}; lay in order of number, "
        "from the base line.",
        f"Field inside the frame {format_area(foam.area, units)}; joints {format_run(foam.joint_length, units)}.",
        f"Setting-out from the field's edge. Foam to foam snug, not forced; {clear} clear of columns. Do not scale.",
    ]
    if units == "metric":
        notes[2] = (
            "Setting-out from the field's edge. Foam to foam snug, not forced; 6 mm clear of columns. Do not scale."
        )
    if place:
        notes.append("Dashed lines: joints of the layer below.")
    elif foam.first_line is not None:
        notes.append(f"Snap the first line before laying. {_in_units(foam.first_line_from, units)}")
    notes += [f"Pinned {pin.id}: {told}." for pin, told in pins]
    return Drawing(
        items=items,
        title=f"{plan.name}: {layer} layer",
        description=(
            f"{layer.capitalize()} foam layer of {plan.name} seen from above: {len(foam.pieces)} numbered pieces, "
            f"{whole} whole, with frame, joints and setting-out dimensions."
        ),
        units=units,
        block=block,
        notes=notes,
    )


def _pin_marks(foam: FoamLayout, pins: Sequence[tuple[Pin, str]]) -> list[Item]:
    """What is pinned in a layer: a thick line with its name for a course line, a thick outline for a sheet, an arrow
    for a direction. Goods are told in the notes alone."""
    points = [p for piece in foam.pieces for p in piece.outline]
    if not points:
        return []
    low_x, low_y = min(x for x, _ in points), min(y for _, y in points)
    high_x, high_y = max(x for x, _ in points), max(y for _, y in points)
    items: list[Item] = []
    for pin, told in pins:
        if pin.kind == "line":
            at = float((pin.y if pin.direction == "x" else pin.x) or 0)
            ends = [(low_x, at), (high_x, at)] if pin.direction == "x" else [(at, low_y), (at, high_y)]
            items.append(Line(a=ends[0], b=ends[1], role="highlight", title=f"Pinned {pin.id}: {told}"))
            items.append(
                Text(
                    at=ends[1], text=f"pinned {pin.id}", role="small label", size=SMALL, clear=True,
                    anchor="start" if pin.direction == "x" else "middle",
                    shift=(14.0, 1.0) if pin.direction == "x" else (0.0, 6.0),
                    or_shift=[(14.0, 4.0), (14.0, -4.0)] if pin.direction == "x" else [(8.0, 6.0), (-8.0, 6.0)],
                )
            )  # fmt: skip
            continue
        if pin.kind == "piece":
            corner = (float(pin.x or 0), float(pin.y or 0))
            nearest = min(foam.pieces, key=lambda p: math.dist(_low_corner(p.outline), corner))
            items.append(Polygon(outline=nearest.outline, role="highlight", title=f"Pinned {pin.id}: {told}"))
            where = _label_point(nearest.outline)
            shifts = [(0.0, 4.0), (0.0, -6.0), (0.0, 6.0), (0.0, -10.0)]
        elif pin.kind == "direction":
            where = (low_x, high_y)
            shifts = [(10.0, 10.0), (10.0, 14.0), (20.0, 7.0), (-10.0, 7.0)]
            items.append(Symbol(at=where, kind="arrow", turn=90.0 if pin.direction == "y" else 0.0, title=told))
        else:
            continue
        items.append(
            Text(
                at=where, text=f"pinned {pin.id}", role="small label", size=SMALL, clear=True,
                shift=shifts[0], or_shift=shifts[1:],
            )
        )  # fmt: skip
    return items


def _low_corner(outline: Sequence[Point]) -> Point:
    return min(x for x, _ in outline), min(y for _, y in outline)


def _label_point(outline: Sequence[Point]) -> Point:
    """Where a number stands in a piece: the middle of a plain one, the widest place of a notched one."""
    import shapely

    shape = shapely.Polygon(outline)
    at = shape.centroid
    x0, y0, x1, y1 = shape.bounds
    if shape.area < 0.9 * (x1 - x0) * (y1 - y0):
        at = shapely.Point(shapely.maximum_inscribed_circle(shape, tolerance=20).coords[0])
    return round(float(at.x), 1), round(float(at.y), 1)


def _room(plan: RoomPlan) -> list[Item]:
    items: list[Item] = []
    for wall in plan.walls:
        items.append(Line(a=wall.a, b=wall.b, role="wall", title=f"Wall {wall.id}"))
    for name, ring in plan.keep_clear.items():
        items.append(Polygon(outline=ring, role="keep clear", title=f"Kept clear: {name}"))
    return items


def _columns(plan: RoomPlan) -> list[Item]:
    items: list[Item] = []
    for column in plan.columns:
        items.append(Polygon(outline=column.outline, role="column", hatch="diagonal", title=f"Column {column.id}"))
    return items


def _ramps(plan: RoomPlan, floor: FloorLayout, system: FloorSystem | None) -> list[Item]:
    run = float(system.ramp_run) if system is not None and system.ramp and system.ramp_run is not None else 0.0
    items: list[Item] = []
    for side in floor.sides or mat_sides(plan, system)[0]:
        if side.edge != "ramp":
            continue
        outward = _outward(plan.mat_field, side.a, side.b)
        title = f"Ramped edge along {side.along}"
        if run:
            far = [(p[0] + outward[0] * run, p[1] + outward[1] * run) for p in (side.b, side.a)]
            items.append(Polygon(outline=[side.a, side.b, *far], role="ramp", hatch="sparse", title=title))
        else:
            items.append(Line(a=side.a, b=side.b, role="ramp", title=title))
    return items


def _outward(ring: Sequence[Point], a: Point, b: Point) -> Point:
    """Unit normal of a side of an anticlockwise ring, away from its inside."""
    length = math.dist(a, b)
    sign = 1.0 if geometry.signed_area(list(ring)) > 0 else -1.0
    for p, q in zip(ring, [*ring[1:], ring[0]], strict=True):
        lies_on = all(math.dist(p, end) + math.dist(end, q) <= math.dist(p, q) + 1 for end in (a, b))
        if lies_on and (q[0] - p[0]) * (b[0] - a[0]) + (q[1] - p[1]) * (b[1] - a[1]) < -1e-6 * length:
            sign = -sign
            break
    return (b[1] - a[1]) / length * sign, -(b[0] - a[0]) / length * sign


def _setting_out(floor: FloorLayout, foam: FoamLayout, units: UnitSystem) -> list[Item]:
    """Course lines along one side, the end joints of the first course along the other."""
    low_x = min(x for x, _ in floor.outer or floor.field)
    low_y = min(y for _, y in floor.outer or floor.field)
    inner_x = [p[0] for p in floor.field]
    inner_y = [p[1] for p in floor.field]
    level = sorted({j.a[1] for j in foam.joints if j.a[1] == j.b[1]})
    upright = sorted({j.a[0] for j in foam.joints if j.a[0] == j.b[0]})
    first = min((piece.row for piece in foam.pieces), default=1)
    if foam.direction == "x":
        rows = _apart([min(inner_y), *level, max(inner_y)])
        ends = _apart([min(inner_x), *_first_course(foam, first, axis=0), max(inner_x)])
    else:
        rows = _apart([min(inner_y), *_first_course(foam, first, axis=1), max(inner_y)])
        ends = _apart([min(inner_x), *upright, max(inner_x)])
    chains = overall_and_chain([(low_x, y) for y in rows], units, offset=12.0)
    chains += overall_and_chain([(x, low_y) for x in ends], units, offset=-12.0)
    return list(chains)


def _first_line(floor: FloorLayout, foam: FoamLayout, units: UnitSystem) -> list[Item]:
    """The line to snap first, and how far its two ends are from the side of the field it is measured from."""
    if foam.first_line is None or not floor.field:
        return []
    line = foam.first_line
    across = 1 if line.a[1] == line.b[1] else 0
    items: list[Item] = [Line(a=line.a, b=line.b, role="first line", title="First line to snap")]
    for sign, end in ((1.0, line.a), (-1.0, line.b)):
        foot = min(
            floor.field, key=lambda p: (round(abs(p[1 - across] - end[1 - across])), abs(p[across] - end[across]))
        )
        at = (end[0], foot[1]) if across else (foot[0], end[1])
        up = end[across] > at[across]
        outward = (6.0 if up else -6.0) * (sign if across else -sign)
        items.append(dimension(at, end, units, offset=outward, title="First line from the side it is measured from"))
    middle_of = ((line.a[0] + line.b[0]) / 2, (line.a[1] + line.b[1]) / 2)
    aside = [(along * 9.0, away) for along in range(-6, 7) for away in (3.0, -3.0)]
    shifts = [(x, y) if across else (y, x) for x, y in sorted(aside, key=lambda s: abs(s[0]))]
    items.append(
        Text(
            at=middle_of, text="first line", role="small label", size=SMALL, clear=True, turn=0.0 if across else 90.0,
            shift=shifts[0], or_shift=shifts[1:],
        )
    )  # fmt: skip
    return items


def _in_units(words: str, units: UnitSystem) -> str:
    """Sizes given both ways ("3' 0\" (914 mm)") in the reader's units alone.

    >>> _in_units("Off it 3' 0\\" (914 mm) here.", "metric")
    'Off it 914 mm here.'
    """
    pattern = r"((?:\d+' )?\d+(?: \d+/\d+)?\"|\d+(?: \d+/\d+)? in|\d+/\d+ in) \(([^)]* mm)\)"
    return re.sub(pattern, r"\2" if units == "metric" else r"\1", words)


def _first_course(foam: FoamLayout, row: int, axis: int) -> list[float]:
    """Where the pieces of a course meet, along the course."""
    reach = sorted(
        (min(p[axis] for p in piece.outline), max(p[axis] for p in piece.outline))
        for piece in foam.pieces
        if piece.row == row
    )
    return [a for a, _ in reach[1:]]


def _apart(values: Sequence[float], least: float = 25.0) -> list[float]:
    """Sorted values, those closer than ``least`` mm to the one before left out (the last is kept)."""
    kept: list[float] = []
    for value in sorted(values):
        if not kept or value - kept[-1] >= least:
            kept.append(value)
    if kept and values and kept[-1] != max(values):
        kept[-1] = max(values)
    return kept


# ---------------------------------------------------------------- cover


def draw_cover(
    plan: RoomPlan,
    cover: CoverLayout,
    *,
    spec: CoverSpec | None = None,
    contact: str = "",
    survey: str = "",
    pins: Sequence[tuple[Pin, str]] = (),
    units: UnitSystem = "feet-inches",
    block: TitleBlock | None = None,
) -> Drawing:
    """The fabricator's one-page diagram of the finished edge; ``survey`` says how far its sizes can be relied on.

    Corners are numbered; every side and the angle at every corner are written, diagonals are drawn and listed, each
    cut-out is fixed by two running dimensions from one named side. Sizes are to the nearest 1/4 in.
    """
    outline = cover.outline
    items: list[Item] = []
    if not outline:
        return Drawing(
            items=[], title=f"{plan.name}: cover", description=f"There is no cover to draw in {plan.name}.",
            units=units, block=block, notes=["There is no cover to draw."],
        )  # fmt: skip
    items.append(Polygon(outline=outline, holes=cover.cutouts, role="cover", title="Finished edge of the cover"))
    if spec is not None:
        for ring in _band(outline, cover.cutouts, float(spec.band_width)):
            items.append(Polyline(points=ring, role="band", closed=True, title="Inner edge of the loop band"))
    for i, j in _pairs(cover.diagonals):
        items.append(Line(a=outline[i], b=outline[j], role="hidden", title=f"Diagonal {i + 1}–{j + 1}"))
    for weld in cover.welds:
        items.append(Line(a=weld.a, b=weld.b, role="weld", title=f"Weld {_to_quarter(weld.length, units)}"))
    for pin, words in pins:
        here = [weld for weld in cover.welds if pin.kind == "line" and lies_on(weld, pin)]
        for weld in here:
            items.append(Line(a=weld.a, b=weld.b, role="highlight", title=f"Pinned {pin.id}: {words}"))
        if here:
            items.append(
                Text(
                    at=here[0].a, text=f"pinned {pin.id}", role="small label", size=SMALL, clear=True, shift=(0.0, 3.0),
                    or_shift=[(8.0, 2.0), (-8.0, 2.0), (8.0, -3.0), (-8.0, -3.0)],
                )
            )  # fmt: skip
    for name, relief in _slits(cover):
        words = f"{name}, {_to_quarter(relief.slit_length, units)}"
        a, b = relief.slit
        items.append(Line(a=a, b=b, role="cutout", title=f"Slit {words}"))
        middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        items.append(
            Text(
                at=middle, text=words, role="small label", size=SMALL, clear=True, shift=(0.0, 1.2),
                or_shift=[(0.0, -3.4), (12.0, 0.0), (-12.0, 0.0)],
            )
        )  # fmt: skip
    count = len(outline)
    reach = max(math.dist(a, b) for a in outline for b in outline)
    for k, point in enumerate(outline):
        before, after = outline[k - 1], outline[(k + 1) % count]
        inward = _bisector(before, point, after)
        angle = _angle(before, point, after)
        # Never far off: a number that strays to another corner would mislead.
        spots = [(inward[0] * off, inward[1] * off - 1.1) for off in (-4.0, -2.4, 3.4, 4.6)]
        items.append(Text(at=point, text=str(k + 1), shift=spots[0], or_shift=spots[1:]))
        within = [(inward[0] * off, inward[1] * off - 1.0) for off in (8.0, 13.0, 10.5, 16.0)]
        within += [(x - inward[1] * slid, y + inward[0] * slid) for x, y in within[:3] for slid in (4.0, -4.0)]
        items.append(
            Text(
                at=point, text=f"{angle:.1f}°", role="small label", size=SMALL, clear=True, shift=within[0],
                or_shift=within[1:],
            )
        )  # fmt: skip
    for k, (name, length) in enumerate(cover.sides):
        a, b = outline[k], outline[(k + 1) % count]
        offset = 6.0 if length < reach / 10 else -9.0  # short sides stand in a notch: write them on the inside
        items.append(Dimension(a=a, b=b, text=_written(length, units), offset=offset, title=f"Side {name}"))
    base = geometry.base_side(outline, cover.cutouts)
    told = []
    for number, ring in enumerate(cover.cutouts, 1):
        made, words = _cutout(number, ring, outline, base, units)
        items += made
        told.append(words)
    walk_on = _walk_on(plan, outline)
    notes = _cover_notes(cover, spec, told, walk_on, contact, units)
    if survey:
        notes.insert(1, survey)
    notes += [f"Pinned {pin.id}: {told}." for pin, told in pins]
    return Drawing(
        items=items,
        title=f"{plan.name}: cover for the fabricator",
        description=(
            f"Finished edge of the cover of {plan.name}: {count} corners, {len(cover.cutouts)} cut-outs, "
            f"{len(cover.welds)} welds, area {format_area(cover.area, units)}, "
            f"band {format_run(cover.band_length, units)}."
        ),
        units=units,
        block=block,
        notes=notes,
    )


def _to_quarter(mm: float, units: UnitSystem) -> str:
    return format_length(mm, units, denominator=QUARTER)


def _written(mm: float, units: UnitSystem) -> str:
    """On a dimension line, where millimetres go without saying."""
    return _to_quarter(mm, units).removesuffix(" mm")


def _band(outline: Ring, cutouts: list[Ring], width: float) -> list[Ring]:
    import shapely

    shape = shapely.Polygon(outline, cutouts).buffer(-width, join_style="mitre")
    parts = [p for p in getattr(shape, "geoms", [shape]) if not p.is_empty]
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    return [[(round(float(x), 2), round(float(y), 2)) for x, y in ring.coords[:-1]] for ring in rings]


def _pairs(named: Sequence[tuple[str, float]]) -> list[tuple[int, int]]:
    return [(int(i) - 1, int(j) - 1) for i, j in (name.split("–") for name, _ in named)]


def _bisector(before: Point, here: Point, after: Point) -> Point:
    """Unit vector from a corner of an anticlockwise ring into the shape."""
    d1 = math.atan2(here[1] - before[1], here[0] - before[0])
    d2 = math.atan2(after[1] - here[1], after[0] - here[0])
    turn = math.remainder(d2 - d1, math.tau)
    heading = d1 + turn / 2 + math.pi / 2
    return math.cos(heading), math.sin(heading)


def _angle(before: Point, here: Point, after: Point) -> float:
    """Angle inside an anticlockwise ring, degrees."""
    d1 = math.atan2(here[1] - before[1], here[0] - before[0])
    d2 = math.atan2(after[1] - here[1], after[0] - here[0])
    return 180.0 - math.degrees(math.remainder(d2 - d1, math.tau))


def _cutout(number: int, ring: Ring, outline: Ring, base: int, units: UnitSystem) -> tuple[list[Item], str]:
    """Two running dimensions from the base side: along it from its first corner, and square off it."""
    a, b = outline[base], outline[(base + 1) % len(outline)]
    length = math.dist(a, b)
    along = ((b[0] - a[0]) / length, (b[1] - a[1]) / length)
    off = (-along[1], along[0])
    runs = [(p[0] - a[0]) * along[0] + (p[1] - a[1]) * along[1] for p in ring]
    rises = [(p[0] - a[0]) * off[0] + (p[1] - a[1]) * off[1] for p in ring]

    def at(run: float, rise: float) -> Point:
        return (
            round(a[0] + along[0] * run + off[0] * rise, 2),
            round(a[1] + along[1] * run + off[1] * rise, 2),
        )

    name = f"{base + 1}–{(base + 1) % len(outline) + 1}"
    near, far, low, high = min(runs), max(runs), min(rises), max(rises)
    foot = at(near, 0.0)
    items: list[Item] = [
        Dimension(
            a=a, b=foot, text=_written(near, units), offset=-9.0 - 7.0 * number, title=f"{name}, from {base + 1}"
        ),
        Dimension(a=foot, b=at(near, low), text=_written(low, units), offset=0.0, title=f"Square off side {name}"),
        Text(
            at=at(far, high), text=f"cut-out {number}", anchor="start", shift=(2.0, 1.5), role="small label", size=SMALL
        ),
    ]
    size = f"{_small(far - near, units)} × {_small(high - low, units)}"
    if len(ring) > 12:
        size = f"round, {_small(far - near, units)} across"
    words = (
        f"Cut-out {number}: {size}; from corner {base + 1} along side {name} {_to_quarter(near, units)} to "
        f"{_to_quarter(far, units)}, square off that side {_to_quarter(low, units)} to {_to_quarter(high, units)}."
    )
    return items, words


def _small(mm: float, units: UnitSystem) -> str:
    return format_small(mm, units, denominator=QUARTER)


def _walk_on(plan: RoomPlan, outline: Ring) -> list[str]:
    """Sides of the finished edge that people walk on over."""
    found: list[str] = []
    for k, a in enumerate(outline):
        b = outline[(k + 1) % len(outline)]
        length = math.dist(a, b)
        for edge in plan.mat_edges:
            if not edge.walked_on:
                continue
            mid = ((edge.a[0] + edge.b[0]) / 2, (edge.a[1] + edge.b[1]) / 2)
            off = abs((b[0] - a[0]) * (mid[1] - a[1]) - (b[1] - a[1]) * (mid[0] - a[0])) / length
            run = ((mid[0] - a[0]) * (b[0] - a[0]) + (mid[1] - a[1]) * (b[1] - a[1])) / length
            same = abs((b[0] - a[0]) * (edge.b[1] - edge.a[1]) - (b[1] - a[1]) * (edge.b[0] - edge.a[0]))
            if off < 100 and 0 < run < length and same < 0.02 * length * max(edge.length, 1.0):
                name = f"{k + 1}–{(k + 1) % len(outline) + 1}"
                part = "" if edge.length > 0.9 * length else f" (part, {edge.along})"
                found.append(name + part)
    return found


def _slits(cover: CoverLayout) -> list[tuple[str, Relief]]:
    """Slits by the name they have on the drawing."""
    return [(f"S{k}", one) for k, one in enumerate((r for r in cover.reliefs if len(r.slit) == 2), 1)]


def _slit_notes(cover: CoverLayout, units: UnitSystem) -> list[str]:
    """What is done at a slit: common practice, no published source."""
    slits = _slits(cover)
    if not slits:
        return []
    laps = "3 to 4 in" if units == "feet-inches" else "75 to 100 mm"
    told = ", ".join(f"{name} {_to_quarter(relief.slit_length, units)}" for name, relief in slits)
    trodden = [name for name, relief in slits if relief.walked_on]
    return [
        f"Slit to the edge {told}: laps of {laps} with hook-and-loop, keyhole end, so that the cover goes round the "
        "column." + (f" {' and '.join(trodden)} can only end on an edge that is walked on." if trodden else "")
    ]


def _cover_notes(
    cover: CoverLayout,
    spec: CoverSpec | None,
    cutouts: list[str],
    walk_on: list[str],
    contact: str,
    units: UnitSystem,
) -> list[str]:
    quarter = "1/4 in" if units == "feet-inches" else "6 mm"
    radius = "1 in" if units == "feet-inches" else "25 mm"
    diagonals = "; ".join(f"{name} {_to_quarter(length, units)}" for name, length in cover.diagonals)
    band = f"{_small(float(spec.band_width), units)} loop band" if spec is not None else "Loop band"
    turned_in = spec.hem if spec is not None else None
    hem = f"Hem {_small(float(turned_in), units)} turned in." if turned_in is not None else "No hem: edge cut."
    goods = f"Goods {_small(cover.goods_width, units)} wide. " if cover.goods_width else ""
    notes = [
        "FINISHED EDGE: where the loop band's outer edge lands. Do not scale; written sizes only, "
        f"to the nearest {quarter}. Tolerance +0 / −{quarter}.",
        f"Area {format_area(cover.area, units)}, about {format_mass(cover.mass, units)}. {band} sewn flush to "
        f"the underside along every side and cut-out, {format_run(cover.band_length, units)} "
        "in all. Matte side up.",
        f"Diagonals: {diagonals}." if diagonals else "",
        *cutouts,
        f"Corners at cut-outs rounded at least {radius}, patch welded at every inside corner." if cutouts else "",
        *_slit_notes(cover, units),
        f"Welds as drawn, {format_run(cover.weld_length, units)}; welded, never stitched. "
        + (f"Walk-on side: {', '.join(walk_on)}." if walk_on else ""),
        f"{goods}{hem} Colour: {'_' * 14}    Side to come off the roll first: {'_' * 8}",
        "Stretch and shrinkage are the fabricator's to allow for; state the figure in writing. The survey with its "
        "residuals goes with this sheet.",
        f"Questions to: {contact or '_' * 20}    Checked and approved: {'_' * 20}    Date: {'_' * 10}",
    ]
    return [note for note in notes if note]


# ---------------------------------------------------------------- walls


class _View:
    """A wall as seen from inside: along the wall from its first corner becomes left to right."""

    def __init__(self, wall: PlanWall, length: float) -> None:
        self.length = length
        self.construction = wall.construction
        turned = (wall.b[1] - wall.a[1]) * wall.inward[0] - (wall.b[0] - wall.a[0]) * wall.inward[1]
        self.mirrored = turned < 0
        """True where the wall's first corner is on the right."""

    def at(self, along: float, height: float) -> Point:
        return round(self.length - along if self.mirrored else along, 2), round(height, 2)

    def box(self, start: float, end: float, low: float, high: float) -> Ring:
        left = min(self.at(start, low)[0], self.at(end, low)[0])
        return rectangle(left, round(low, 2), round(end - start, 2), round(high - low, 2))


def draw_elevation(
    plan: RoomPlan,
    layout: WallLayout,
    wall: str,
    *,
    pins: Sequence[tuple[Pin, str]] = (),
    units: UnitSystem = "feet-inches",
    block: TitleBlock | None = None,
) -> Drawing:
    """One wall seen square-on from inside the room: panels with their numbers, openings, services, heights.

    Raises ``KeyError`` if the wall has no elevation.
    """
    elevation = next((e for e in layout.elevations if e.wall == wall), None)
    placed = next((w for w in plan.walls if w.id == wall), None)
    if elevation is None or placed is None:
        raise KeyError(wall)
    view = _View(placed, elevation.length)
    features = [f for f in plan.features if f.wall == wall]
    tall = placed.height or max([WALL_SHOWN, *(f.head or 0.0 for f in features)])
    items = _wall_face(view, features, tall)
    for panel in elevation.panels:
        ring = view.box(panel.start, panel.start + panel.width, panel.bottom, panel.bottom + panel.height)
        items.append(Polygon(outline=ring, role=PANEL_ROLES[panel.kind], title=_panel_words(panel, units)))
    items += _caps(view, elevation, features, units)
    items += _cleat_lines(view, elevation, units)
    items += _cut_outs(view, elevation)
    holes = [hole for panel in elevation.panels for hole in panel.cut_outs]
    for feature in features:
        items += _opening(view, feature, holes)
    for panel in elevation.panels:
        centre = view.at(panel.start + panel.width / 2, panel.bottom + panel.height / 2)
        items.append(
            Text(at=centre, text=_number(panel), inside=panel.width, clear=True, or_shift=[(0.0, 6.0), (0.0, -6.0)])
        )
    for pin, told in pins:
        if pin.kind in ("line", "piece") and pin.x is not None:
            top = max((p.bottom + p.height for p in elevation.panels), default=tall)
            trims = [p for p in elevation.trims if (p.kind == "cap") == (pin.layer == "caps")]
            if pin.layer in ("caps", "ends") and trims:
                near = min(trims, key=lambda p: abs(p.start - float(pin.x or 0)))
                top = near.bottom + (near.thickness if near.kind == "cap" else near.height)
            a, b = view.at(float(pin.x), 0.0), view.at(float(pin.x), top)
            items.append(Line(a=a, b=b, role="highlight", title=f"Pinned {pin.id}: {told}"))
            items.append(Text(at=b, text=f"pinned {pin.id}", role="small label", size=SMALL, shift=(0.0, 2.0)))
    items.append(Line(a=view.at(0, 0), b=view.at(view.length, 0), role="floor line", title="Slab"))
    items += _elevation_dimensions(view, elevation, tall, units)
    for corner, along in zip(wall.split("-", 1), (0.0, view.length), strict=False):
        items.append(Text(at=view.at(along, tall), text=corner, shift=(0.0, 2.5)))
    name = wall.replace("-", "–")
    return Drawing(
        items=items,
        title=f"{plan.name}: wall {name}",
        description=(
            f"Wall {name} of {plan.name} seen from inside: {len(elevation.panels)} panels on "
            f"{format_run(view.length, units, denominator=16)} of wall, {len(elevation.free)} runs left free."
        ),
        units=units,
        block=block,
        notes=_elevation_notes(view, elevation, features, units) + [f"Pinned {pin.id}: {told}." for pin, told in pins],
    )


def _cut_outs(view: _View, elevation: WallElevation) -> list[Item]:
    """Holes in panels to scale; a plate that was not measured is drawn as an upright one of usual size."""
    items: list[Item] = []
    for panel in elevation.panels:
        for hole in panel.cut_outs:
            if not 0 <= hole.across < panel.width:
                continue
            x, y = view.at(panel.start + hole.across, panel.bottom + hole.up)
            wide, high = _hole(hole)
            ring = rectangle(round(x - wide / 2, 2), round(y - high / 2, 2), wide, high)
            items.append(Polygon(outline=ring, role="cutout", title=f"Cut-out round {hole.service}"))
    return items


def _hole(hole: CutOut) -> tuple[float, float]:
    return hole.wide or USUAL_HOLE[0], hole.high or USUAL_HOLE[1]


def _cut_out_notes(
    view: _View, elevation: WallElevation, features: Sequence[PlacedFeature], units: UnitSystem
) -> list[str]:
    """Where each cut-out lies in its panel, as the panel is looked at, and that its plate is measured first."""
    told: list[str] = []
    named = {feature.id: feature_name(feature) for feature in features}
    holes = [(panel, hole) for panel in elevation.panels for hole in panel.cut_outs]
    for panel, hole in holes:
        if not 0 <= hole.across < panel.width:
            continue
        left = panel.width - hole.across if view.mirrored else hole.across
        words = (
            f"Cut-out in panel {_number(panel)} round {named.get(hole.service, hole.service)}: its middle "
            f"{_along(left, units)} from the panel's left edge, {_along(hole.up, units)} above its bottom, "
            f"{_along(panel.bottom + hole.up, units)} above the slab"
        )
        if hole.wide:
            words += f"; {format_small(hole.wide, units)} wide, {format_small(hole.high, units)} high"
        beside = [other for other, one in holes if one.service == hole.service and other.id != panel.id]
        words += f"; panel {_number(beside[0])} beside it is cut too." if beside else "."
        told.append(words)
    if told:
        measure = " Measure the plate before cutting." if any(not hole.wide for _, hole in holes) else ""
        larger = format_small(ROUND_PLATE, units)
        told.append(f"Cut-outs are {larger} larger than the plate all round, foam edge turned in and stapled.{measure}")
    kept = [f for f in features if f.kind in SERVICE_CLEAR]
    places = [
        f"{feature_name(f)} at {_along((f.start + f.end) / 2, units)}"
        + (f", {_along(f.sill, units)} above the slab" if f.sill is not None else "")
        for f in sorted(kept, key=lambda f: f.start)
    ]
    if places:
        told.append(f"Never covered: {'; '.join(places)}; along the wall from corner {elevation.wall.split('-')[0]}.")
    return told


def _number(panel: Panel) -> str:
    return panel.id.rsplit(".", 1)[-1]


def _cleat_lines(view: _View, elevation: WallElevation, units: UnitSystem) -> list[Item]:
    """Rails and rows of spacers with a tick where each fixing goes, and their heights at the right of the wall."""
    items: list[Item] = []
    for line in elevation.cleats:
        words = f"{line.kind.capitalize()} at {format_length(line.height, units)}"
        a, b = view.at(line.start, line.height), view.at(line.end, line.height)
        items.append(Line(a=a, b=b, role="cleat", title=words))
        if line.spacing > 0:
            for k in range(line.fixings):
                at = min(line.start + k * line.spacing, line.end)
                foot, head = view.at(at, line.height - 30.0), view.at(at, line.height + 30.0)
                items.append(Line(a=foot, b=head, role="cleat", title="Fixing"))
    heights = _apart(sorted({line.height for line in elevation.cleats}), least=60.0)
    if heights:
        right = max(view.at(0.0, 0.0)[0], view.at(elevation.length, 0.0)[0])
        items += chain_dimensions([(right, 0.0), *((right, height) for height in heights)], units, offset=-10.0)
    return items


def _cleat_notes(elevation: WallElevation, construction: str, units: UnitSystem) -> list[str]:
    """Every height once, with its fixings as the wall's substrate asks; the maker and the wall decide."""
    found: dict[tuple[str, float], list[CleatLine]] = {}
    for line in elevation.cleats:
        found.setdefault((line.kind, line.height), []).append(line)
    told = []
    for (kind, height), lines in sorted(found.items(), key=lambda one: -one[0][1]):
        words = f"{kind} at {format_length(height, units)} to its middle"
        if lines[0].spacing > 0:
            every = format_small(lines[0].spacing, units)
            words += f", {sum(line.fixings for line in lines)} fixings, one every {every} from the first"
        told.append(words)
    if not told:
        return []
    text = f"{'; '.join(told)}."
    how = FIXED_TO[construction].format(bite=format_small(STUD_BITE, units))
    return [
        text[0].upper() + text[1:],
        f"{construction.capitalize()} wall: {how}. The load is the panels and people thrown against them: the makers "
        "of the fixings and somebody competent decide.",
    ]


def _wall_face(view: _View, features: Sequence[PlacedFeature], tall: float) -> list[Item]:
    """The wall itself, lower where there is a low wall, away where there is a gap."""
    breaks = [f for f in features if f.kind in ("low wall", "gap")]
    marks = sorted({0.0, view.length, *(f.start for f in breaks), *(f.end for f in breaks)})
    items: list[Item] = []
    for a, b in pairwise(marks):
        here = next((f for f in breaks if f.start <= (a + b) / 2 <= f.end), None)
        if here is None:
            items.append(Polygon(outline=view.box(a, b, 0.0, tall), role="outline"))
        elif here.kind == "low wall":
            items.append(Polygon(outline=view.box(a, b, 0.0, here.head or tall), role="low wall", title=here.id))
        else:
            at = view.at((a + b) / 2, 900.0)
            items.append(Text(at=at, text="open", role="small label", size=SMALL, inside=b - a, title=here.id))
    return items


def _panel_words(panel: Panel, units: UnitSystem) -> str:
    size = f"{format_length(panel.width, units)} wide, {format_length(panel.height, units)} high"
    round_ = f", cut round {', '.join(panel.clear_of)}" if panel.clear_of else ""
    return f"{panel.id}, {panel.kind} panel, {size}{round_}"


def _trim_words(panel: Panel, units: UnitSystem) -> str:
    long, deep = (panel.width, panel.height) if panel.kind == "cap" else (panel.height, panel.width)
    return f"{panel.id}, {panel.kind} {format_length(long, units)} × {format_length(deep, units)}"


def _caps(view: _View, elevation: WallElevation, features: Sequence[PlacedFeature], units: UnitSystem) -> list[Item]:
    items: list[Item] = []
    for panel in elevation.trims:
        number = _number(panel)
        long, high = (panel.width, panel.thickness) if panel.kind == "cap" else (panel.thickness, panel.height)
        ring = view.box(panel.start, panel.start + long, panel.bottom, panel.bottom + high)
        items.append(Polygon(outline=ring, role=PANEL_ROLES[panel.kind], title=_trim_words(panel, units)))
        if panel.kind == "cap":
            above = view.at(panel.start + long / 2, panel.bottom + high)
            items.append(Text(at=above, text=number, role="small label", size=SMALL, shift=(0.0, 2.0)))
        else:
            # Beside the panel, in the way through it stands in.
            out = BESIDE if any(p.start < panel.start for p in elevation.panels if p.kind == "low") else -BESIDE
            aside = view.at(panel.start + long / 2 + out, panel.bottom + high / 2)
            items.append(Text(at=aside, text=number, role="small label", size=SMALL))
    if any(panel.kind == "cap" for panel in elevation.trims):
        return items
    for feature in features:
        low = [p for p in elevation.panels if p.kind == "low" and feature.start - 1 <= p.start < feature.end]
        if feature.kind != "low wall" or not low or feature.head is None:
            continue
        top = max(p.bottom + p.height for p in low)
        start, end = min(p.start for p in low), max(p.start + p.width for p in low)
        ring = view.box(start, end, min(top, feature.head), max(feature.head, top) + 57.15)
        items.append(Polygon(outline=ring, role="cap", title="Cap"))
    return items


def _opening(view: _View, feature: PlacedFeature, holes: Sequence[CutOut]) -> list[Item]:
    middle_of = (feature.start + feature.end) / 2
    if feature.kind in get_args(SymbolKind):
        height = feature.sill if feature.sill is not None else 1200.0
        items: list[Item] = []
        if feature.end - feature.start > 1 and feature.head is not None:
            ring = view.box(feature.start, feature.end, height, feature.head)
            items.append(Polygon(outline=ring, role="service", title=feature.id))
            height = (height + feature.head) / 2
        kind = next(k for k in get_args(SymbolKind) if k == feature.kind)
        # Signs stand upright over their place, or over the hole: beside it they would hide a panel's edge.
        height += next((_hole(hole)[1] / 2 for hole in holes if hole.service == feature.id), 0.0)
        return [*items, Symbol(at=view.at(middle_of, height), kind=kind, turn=90.0, title=feature.id)]
    if feature.kind in ("low wall", "gap"):
        return []
    low = feature.sill if feature.kind == "window" and feature.sill is not None else 0.0
    high = feature.head if feature.head is not None else low + 2000.0
    role: Role = "window" if feature.kind == "window" else "opening"
    ring = view.box(feature.start, feature.end, low, high)
    words = Text(
        at=view.at(middle_of, (low + high) / 2), text=feature.kind, role="small label", size=SMALL,
        inside=feature.end - feature.start, clear=True, or_shift=[(0.0, 8.0), (0.0, -8.0)],
    )  # fmt: skip
    return [Polygon(outline=ring, role=role, title=feature.id), words]


def _elevation_dimensions(view: _View, elevation: WallElevation, tall: float, units: UnitSystem) -> list[Item]:
    marks = {0.0}
    for panel in elevation.panels:
        marks |= {panel.start, panel.start + panel.width}
    for start, end, _ in elevation.free:
        marks |= {start, end}
    if not elevation.panels:
        marks.add(elevation.length)
    line = _apart(sorted(marks), least=5.0)
    points = sorted(view.at(mark, 0.0) for mark in line)
    ends = sorted((view.at(0.0, 0.0), view.at(elevation.length, 0.0)))
    items: list[Item] = list(chain_dimensions(points, units, offset=-10.0))
    items.append(dimension(ends[0], ends[1], units, offset=-18.0, title=f"Wall {elevation.wall}"))
    if elevation.panels:
        tallest = max(elevation.panels, key=lambda p: p.height)
        heights = _apart([0.0, tallest.bottom, tallest.bottom + tallest.height, tall], least=5.0)
        items += chain_dimensions([(0.0, height) for height in heights], units, offset=10.0)
    return items


def _along(mm: float, units: UnitSystem) -> str:
    return format_run(mm, units, denominator=16, places=3)


def _elevation_notes(
    view: _View, elevation: WallElevation, features: Sequence[PlacedFeature], units: UnitSystem
) -> list[str]:
    counted: dict[str, int] = {}
    for panel in elevation.panels:
        counted[panel.kind] = counted.get(panel.kind, 0) + 1
    kinds = ", ".join(f"{number} {kind}" for kind, number in counted.items()) or "no panels"
    notes = [
        f"Panels: {kinds}. Cleat {format_run(elevation.cleat_length, units, denominator=16)}"
        + (f", cap {format_run(elevation.cap_length, units, denominator=16)}." if elevation.cap_length else "."),
    ]
    notes += _cleat_notes(elevation, view.construction, units)
    weighed = [panel for panel in [*elevation.panels, *elevation.trims] if panel.mass]
    if weighed:
        whole = format_mass(sum(panel.mass for panel in weighed), units)
        most = format_mass(max(panel.mass for panel in weighed), units)
        caps = ", caps and padded ends with them" if any(panel in weighed for panel in elevation.trims) else ""
        notes.append(f"Mass about {whole}{caps}; the heaviest piece {most}.")
    notes += _cut_out_notes(view, elevation, features, units)
    for panel in elevation.trims:
        notes.append(f"{_trim_words(panel, units)}.")
    for start, end, why in elevation.free:
        notes.append(f"Free {_along(start, units)} to {_along(end, units)}: {why}.")
    notes.append("Heights above the slab. End panels are cut last, to the space left. Do not scale.")
    return notes


# ---------------------------------------------------------------- fold-away mats


def draw_fold_away(
    plan: RoomPlan,
    layout: FoldAwayLayout,
    *,
    pins: Sequence[tuple[Pin, str]] = (),
    units: UnitSystem = "feet-inches",
    block: TitleBlock | None = None,
) -> Drawing:
    """Fold-away mats as they lie in the room."""
    items = _room(plan)
    for number, ring in enumerate(layout.mats, 1):
        items.append(Polygon(outline=ring, role="whole piece", title=f"Mat {number}"))
        items.append(Text(at=middle(ring), text=str(number)))
        for pin, _ in pins:
            if holds_mat(pin, ring):
                told, below = f"pinned {pin.id}", (0.0, -4.0)
                items.append(Text(at=middle(ring), text=told, role="small label", size=SMALL, shift=below))
    laps = meeting_edges(layout.mats) if layout.under_laps else []
    items += [Line(a=a, b=b, role="weld", title="Under-lap") for a, b in laps]
    items += _columns(plan)
    for wall in plan.walls:
        outward = _outward(plan.outline, wall.a, wall.b)
        left = (wall.b[0] - wall.a[0]) * outward[1] - (wall.b[1] - wall.a[1]) * outward[0] > 0
        items.append(dimension(wall.a, wall.b, units, offset=9.0 if left else -9.0, title=f"Wall {wall.id}"))
    covered = format_area(layout.covered, units)
    return Drawing(
        items=items,
        title=f"{plan.name}: fold-away mats",
        description=f"{layout.count} fold-away mats laid out in {plan.name}, covering {covered}.",
        units=units,
        block=block,
        notes=_fold_away_notes(layout, units) + [f"Pinned {pin.id}: {told}." for pin, told in pins],
    )


def _fold_away_notes(layout: FoldAwayLayout, units: UnitSystem) -> list[str]:
    covered = format_area(layout.covered, units)
    notes = [f"{layout.count} mats cover {covered}; {format_area(layout.uncovered, units)} stays bare. Do not scale."]
    if layout.under_laps:
        notes.append(
            f"Dash-dot lines: {layout.under_laps} under-laps, {format_run(layout.under_lap_length, units)} in all. "
            "Lay in order of number; the later mat laps over the flap of the earlier one."
        )
    if layout.mat_mass:
        notes.append(f"One mat {format_mass(layout.mat_mass, units)}, all of them {format_mass(layout.mass, units)}.")
    if all(layout.folded):
        size = " × ".join(format_small(side, units) for side in layout.folded)
        kept = ""
        if layout.stacks:
            kept = f"; the store holds {layout.stored} in {layout.stacks} stack{'s' if layout.stacks > 1 else ''}"
        notes.append(f"Folded {size}{kept}.")
    return notes


# ---------------------------------------------------------------- small plans


def draw_small(
    plan: RoomPlan,
    floor: FloorLayout | None = None,
    folded: FoldAwayLayout | None = None,
    *,
    units: UnitSystem = "feet-inches",
) -> Drawing:
    """A room's top layer or its fold-away mats without lettering, to be set beside others of the same room."""
    items = _room(plan)
    if floor is not None and floor.layers:
        if floor.outer:
            items.append(Polygon(outline=floor.outer, holes=[floor.field], role="frame", title="Frame"))
        for piece in floor.layers[-1].pieces:
            items.append(Polygon(outline=piece.outline, role="whole piece" if piece.whole else "piece", title=piece.id))
        what = f"{len(floor.layers[-1].pieces)} pieces in its {floor.layers[-1].layer} layer"
    elif folded is not None:
        items += [Polygon(outline=ring, role="whole piece", title=f"Mat {n}") for n, ring in enumerate(folded.mats, 1)]
        what = f"{folded.count} fold-away mats"
    else:
        what = "nothing laid"
    items += _columns(plan)
    return Drawing(
        items=items, title=f"{plan.name}, small plan", description=f"{plan.name} seen from above: {what}.", units=units
    )
