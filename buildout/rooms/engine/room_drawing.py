"""The plan of a room as a sheet: walls, openings, columns, strips kept clear, mat field, dimensions."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Mapping, Sequence
from typing import Any, Literal

from buildout.rooms.engine import geometry
from buildout.rooms.engine.drawing import (
    LABEL,
    SMALL,
    Arc,
    Circle,
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
)
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.observations import sigma
from buildout.rooms.engine.types import (
    FIXING,
    FabricatorGate,
    GatePass,
    MatEdge,
    PlacedFeature,
    PlanWall,
    Room,
    RoomPlan,
    Survey,
    SurveyedReading,
)
from buildout.units.dates import date_text
from buildout.units.lengths import UnitSystem, format_area, format_length, format_run, format_small

BEFORE_STRIP = 6.6
"""From a slim strip's edge to its name, mm on paper."""
THICKNESS = {"masonry": 203.2, "stud": 117.475, "none": 0.0}
"""Drawn thickness where none is measured: 8 in masonry, 4 5/8 in stud and board (common practice)."""
FIRST = 8.0
SECOND = 16.0
"""Paper mm from the wall's outer face to the first and second row of dimensions."""
CUTS = ("door", "exit door", "roller door", "window", "gap", "low wall")
"""What interrupts the wall where the plan is cut, about 4 ft up."""
_SYMBOLS: dict[str, tuple[SymbolKind, str]] = {
    "outlet": ("outlet", "outlet"),
    "switch": ("switch", "switch"),
    "thermostat": ("thermostat", "thermostat"),
    "call point": ("call point", "alarm call point"),
    "extinguisher": ("extinguisher", "extinguisher"),
    "panelboard": ("panelboard", "panelboard"),
}


_LEGEND = {
    "outlet": "Circle with two lines: outlet",
    "switch": "S: switch",
    "thermostat": "T: thermostat",
    "call point": "CP: alarm call point",
    "extinguisher": "FE: extinguisher",
}


def draw_plan(
    room: Room,
    survey: Survey,
    plan: RoomPlan,
    *,
    units: UnitSystem = "feet-inches",
    block: TitleBlock | None = None,
    diagonals: bool = False,
    gate: FabricatorGate | None = None,
    leads: Mapping[str, str] | None = None,
    facing: Collection[str] = (),
) -> Drawing:
    """Draw a room's plan.

    Shows the outline with its wall thickness outside, every opening with its swing, columns, services, strips
    kept clear and the mat field, dimensions outside the walls, and readings that are set aside or undecided, in
    words and shape. When the readings do not fix the room, draws the points that are known and the readings
    between them as a sketch, shows which way the loose points can move, and says so. With ``diagonals`` every
    diagonal in sight is drawn with its length. ``leads`` names the room behind an opening; ``facing`` walls have
    another room of the same sheet before them and are dimensioned inside. ``gate`` adds what the fabricator gate
    says. Every dimension and point carries its ± in its title.
    """
    if not plan.outline:
        return _sketch(room, survey, units, block)
    items: list[Item] = []
    items += _strips(room, plan)
    items += _mat(room, plan, units)
    items += _walls(room, plan)
    items += _columns(room, survey, plan, units)
    items += _levels(plan, units)
    items += _stations(plan, units)
    if diagonals:
        items += _diagonals(survey, units)
    items += _openings(room, plan, units, leads or {})
    items += _services(plan, units)
    items += _dimensions(room, survey, plan, units, facing)
    items += _corners(room, survey, plan)
    items += _suspects(survey, units)
    items += _strip_labels(room, plan, units)
    items += _names(room, plan, units)
    items += _north(room, plan)
    return Drawing(
        items=items, title=f"Plan of {room.name}", description=_told(room, survey, plan, units), units=units,
        block=block, notes=_notes(room, survey, plan, units, gate),
    )  # fmt: skip


def _told(room: Room, survey: Survey, plan: RoomPlan, units: UnitSystem) -> str:
    kinds: dict[str, int] = {}
    for made in plan.features:
        kinds[made.kind] = kinds.get(made.kind, 0) + 1
    has = ", ".join(f"{n} {k}{'s' if n > 1 else ''}" for k, n in kinds.items())
    return (
        f"Plan of {room.name}, {len(plan.walls)} walls, floor {format_area(plan.floor_area, units)}, mat field "
        f"{format_area(plan.mat_area, units)}, {len(plan.columns)} columns."
        f"{f' Openings and services: {has}.' if has else ''}"
    )


def _notes(room: Room, survey: Survey, plan: RoomPlan, units: UnitSystem, gate: FabricatorGate | None) -> list[str]:
    bad = [r for r in survey.readings if r.verdict in ("set aside", "suspect")]
    datum = room.datum
    origin = datum.origin if datum else room.corners[0]
    along = datum.along if datum else room.corners[-1 if room.turning == "clockwise" else 1]
    used = [r for r in survey.readings if r.used and r.kind in FIXING]
    worst = max((abs(r.residual) for r in used), default=0.0)
    off = (
        format_small(worst, units) if worst >= 0.8 else f"under {format_small(1.5 if units != 'metric' else 1, units)}"
    )
    lines = [
        f"Floor {format_area(plan.floor_area, units)} · mat field {format_area(plan.mat_area, units)} · perimeter "
        f"{format_run(survey.perimeter, units, denominator=8)}",
        f"Adjusted from {len(used)} readings, {survey.degrees_of_freedom} of them spare; "
        f"largest residual {off}. Datum {origin}, base line {origin}–{along}.",
        f"Dimensions to the inside face of walls. Do not scale. {_upper_wall(plan)}",
    ]
    shown = [word for kind, word in _LEGEND.items() if any(f.kind == kind for f in plan.features)]
    if shown:
        lines.append(f"{', '.join(shown)}; heights above the slab beside them.")
    if bad:
        which = ", ".join(f"{r.id} ({r.start}–{r.end})" for r in bad)
        lines.append(f"To be taped again, shown dashed with a question mark: {which}.")
    drawn = sum(r.tool == "drawing" for r in used)
    if drawn:
        lines.append(f"{drawn} of the readings come from a drawing, not from the room.")
    if gate is not None:
        lines += _lines(gate.text, 130)
    elif room.gate_passed is not None:
        lines += _lines(_passed_knowingly(room.gate_passed), 130)
    return lines


def _passed_knowingly(passed: GatePass) -> str:
    why = f": {passed.why}" if passed.why else ""
    return f"Sent to the fabricator knowingly by {passed.who}, {date_text(passed.when)}{why}"


def _upper_wall(plan: RoomPlan) -> str:
    """Which wall lies at the top of the sheet, as the way round is easily lost on site."""
    wall = max(plan.walls, key=lambda w: round(w.a[1] + w.b[1], 1))
    return f"Wall {wall.id.replace('-', '–')} is at the top of the sheet."


# ---------------------------------------------------------------- floor


def _strips(room: Room, plan: RoomPlan) -> list[Item]:
    said = {strip.id: strip for strip in room.keep_clear}
    items: list[Item] = []
    for name, ring in plan.keep_clear.items():
        strip = said[name]
        items.append(
            Polygon(outline=ring, role="keep clear", hatch="sparse", title=f"{strip.name}: kept clear, no mat")
        )
    return items


def _strip_labels(room: Room, plan: RoomPlan, units: UnitSystem) -> list[Item]:
    said = {strip.id: strip for strip in room.keep_clear}
    items: list[Item] = []
    for name, ring in plan.keep_clear.items():
        strip = said[name]
        a, b = max(((ring[k - 1], ring[k]) for k in range(len(ring))), key=lambda s: round(geometry.distance(*s), 1))
        wide = geometry.distance(a, b)
        deep = abs(geometry.signed_area(ring)) / max(wide, 1.0)
        at = (sum(p[0] for p in ring) / len(ring), sum(p[1] for p in ring) / len(ring))
        slim = wide > 3 * deep
        size = f"{format_length(wide, units, denominator=8)} × {format_length(deep, units, denominator=8)}"
        turn = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0])) if slim else 0.0
        size = size.replace(" mm", "")
        text = strip.name if slim else "\n".join([*strip.name.split(" ", 1), size])
        reach = int(0.36 * wide / 100)  # lettering stays on the strip at scales up to 1:100
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        aside = (0.0, 0.0)
        if slim:
            # A slim strip is full of services; its name stands before it, past what is said of its edge.
            ends = set(strip.wall.split("-"))
            inward = next((wall.inward for wall in plan.walls if set(wall.id.split("-")) == ends), (0.0, 0.0))
            at = (at[0] + inward[0] * deep / 2, at[1] + inward[1] * deep / 2)
            aside = (inward[0] * BEFORE_STRIP, inward[1] * BEFORE_STRIP)
        along = [(c * k * w, s * k * w) for k in range(1, reach) for w in (1, -1)] if slim else []
        items.append(
            Text(
                at=at, text=text, role="small label", size=SMALL, turn=turn, clear=True, shift=aside,
                or_shift=[(aside[0] + x, aside[1] + y) for x, y in along],
            )
        )  # fmt: skip
    return items


def _mat(room: Room, plan: RoomPlan, units: UnitSystem) -> list[Item]:
    items: list[Item] = []
    strips = {strip.id: strip for strip in room.keep_clear}
    for edge in plan.mat_edges:
        if edge.walked_on:
            along = edge.along or "open edge"
            items.append(Line(a=edge.a, b=edge.b, role="mat field", title=f"Mat edge along {along}"))
    longest: dict[str, MatEdge] = {}
    for edge in plan.mat_edges:
        if edge.walked_on and (edge.along not in longest or edge.length > longest[edge.along].length):
            longest[edge.along] = edge
    for edge in longest.values():
        turn = math.degrees(math.atan2(edge.b[1] - edge.a[1], edge.b[0] - edge.a[0]))
        # the field lies to the left of its edges (anticlockwise ring)
        n = (-math.sin(math.radians(turn)), math.cos(math.radians(turn)))
        at = ((edge.a[0] + edge.b[0]) / 2, (edge.a[1] + edge.b[1]) / 2)
        word = "mat edge"
        strip = strips.get(edge.along)
        if strip is not None and edge.length > 3 * float(strip.depth.mm):
            away = format_length(strip.depth, units, denominator=8).removesuffix(" mm")
            word = f"{word}, {away} from wall {strip.wall.replace('-', '–')}"
        items.append(Text(at=at, text=word, role="small label", size=SMALL, turn=turn, shift=(n[0] * 2.6, n[1] * 2.6)))
    return items


# ---------------------------------------------------------------- walls and openings


def _thickness(room: Room, wall: PlanWall) -> float:
    measured = [
        float(f.thickness.mm)
        for f in room.features
        if f.thickness is not None and f.wall in (wall.id, "-".join(reversed(wall.id.split("-"))))
    ]
    ends = set(wall.id.split("-"))
    measured += [
        float(w.backs_on.thickness.mm)
        for w in room.walls
        if w.backs_on is not None and w.backs_on.thickness is not None and set(w.id.split("-")) == ends
    ]
    return measured[0] if measured else THICKNESS[wall.construction]


def _bodies(room: Room, plan: RoomPlan) -> list[list[Point]]:
    """Wall bodies outside the room: inside face from a to b, outer b, outer a; mitred where walls meet."""
    n = len(plan.walls)
    outer: list[tuple[Point, Point]] = []
    for wall in plan.walls:
        t = _thickness(room, wall)
        outer.append(
            (
                (wall.a[0] - wall.inward[0] * t, wall.a[1] - wall.inward[1] * t),
                (wall.b[0] - wall.inward[0] * t, wall.b[1] - wall.inward[1] * t),
            )
        )
    joints = [_meet(outer[k - 1], outer[k]) for k in range(n)]
    return [[*(wall.line or [wall.a, wall.b]), joints[(k + 1) % n], joints[k]] for k, wall in enumerate(plan.walls)]


def _meet(one: tuple[Point, Point], two: tuple[Point, Point]) -> Point:
    (ax, ay), (bx, by) = one
    (cx, cy), (dx, dy) = two
    ux, uy, vx, vy = bx - ax, by - ay, dx - cx, dy - cy
    det = ux * vy - uy * vx
    if abs(det) < 0.05 * math.hypot(ux, uy) * math.hypot(vx, vy):
        return (bx + cx) / 2, (by + cy) / 2
    t = ((cx - ax) * vy - (cy - ay) * vx) / det
    return ax + t * ux, ay + t * uy


def _walls(room: Room, plan: RoomPlan) -> list[Item]:
    from shapely.geometry import Polygon as Shape
    from shapely.ops import unary_union

    items: list[Item] = []
    words = {"masonry": "masonry", "stud": "studs and board"}
    bodies = _bodies(room, plan)
    for construction in ("masonry", "stud"):
        parts: list[Any] = []
        for wall, body in zip(plan.walls, bodies, strict=True):
            if wall.construction != construction:
                continue
            whole: Any = Shape(body)
            for made in plan.features:
                if made.wall == wall.id and made.kind in CUTS and not _above_cut(made):
                    whole = whole.difference(Shape(_through(wall, made, 2000.0)))
            parts.append(whole.buffer(0.01, join_style="mitre"))
        joined: Any = unary_union(parts) if parts else Shape()
        for part in sorted(getattr(joined, "geoms", [joined]), key=lambda g: g.bounds):
            if part.is_empty or part.area < 1.0:
                continue
            items.append(
                Polygon(
                    outline=[(float(x), float(y)) for x, y in part.exterior.coords[:-1]],
                    holes=[[(float(x), float(y)) for x, y in hole.coords[:-1]] for hole in part.interiors],
                    role="wall" if construction == "masonry" else "stud wall",
                    hatch="diagonal" if construction == "masonry" else "fill",
                    title=f"Wall of {words[construction]}",
                )
            )
    for wall in plan.walls:
        if wall.construction == "none":
            items.append(Line(a=wall.a, b=wall.b, role="hidden", title=f"Wall {wall.id}: open side"))
    return items


def _above_cut(made: PlacedFeature) -> bool:
    """A window whose sill lies above the cut is drawn as a hidden line over an uncut wall."""
    return made.kind == "window" and made.sill is not None and made.sill > 1370.0


def _through(wall: PlanWall, made: PlacedFeature, reach: float) -> list[Point]:
    nx, ny = wall.inward
    return [
        (made.a[0] + nx * 5, made.a[1] + ny * 5), (made.b[0] + nx * 5, made.b[1] + ny * 5),
        (made.b[0] - nx * reach, made.b[1] - ny * reach), (made.a[0] - nx * reach, made.a[1] - ny * reach),
    ]  # fmt: skip


def _openings(room: Room, plan: RoomPlan, units: UnitSystem, leads: Mapping[str, str]) -> list[Item]:
    items: list[Item] = []
    walls = {wall.id: wall for wall in plan.walls}
    for made in plan.features:
        if made.kind not in CUTS:
            continue
        wall = walls[made.wall]
        deep = _thickness(room, wall) or 100.0
        nx, ny = wall.inward

        def out(p: Point, by: float, nx: float = nx, ny: float = ny) -> Point:
            return p[0] - nx * by, p[1] - ny * by

        title = _feature_title(made, units)
        if made.id in leads:
            title += f", to {leads[made.id]}"
        a, b = made.a, made.b
        mid = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        along = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
        match made.kind:
            case "window":
                role: Role = "hidden" if _above_cut(made) else "window"
                for by in (deep * 0.35, deep * 0.65) if _above_cut(made) else (0.0, deep * 0.4, deep * 0.6, deep):
                    items.append(Line(a=out(a, by), b=out(b, by), role=role, title=title))
                if _above_cut(made):
                    items += [
                        Line(a=out(p, deep * 0.2), b=out(p, deep * 0.8), role="window", title=title) for p in (a, b)
                    ]
            case "low wall":
                ring = [a, b, out(b, deep), out(a, deep)]
                items.append(Polygon(outline=ring, role="low wall", hatch="fill", title=title))
                items.append(Polyline(points=ring, role="low wall", closed=True))
            case "gap":
                items += [
                    Line(a=a, b=b, role="hidden", title=title),
                    Line(a=out(a, deep), b=out(b, deep), role="hidden"),
                ]
            case "roller door":
                items.append(Line(a=out(a, deep * 0.5), b=out(b, deep * 0.5), role="door", title=title))
                coil = [a, b, (b[0] + nx * 300, b[1] + ny * 300), (a[0] + nx * 300, a[1] + ny * 300)]
                items.append(Polyline(points=coil, role="hidden", closed=True, title=f"{made.id}: coil overhead"))
            case _:
                items += _leaf(made, wall, deep, title)
        name = f"{made.kind} to {leads[made.id]}" if made.id in leads else _opening_label(made, units)
        if name:
            shift = 3.0 if made.kind != "gap" else 6.4
            items.append(
                Text(
                    at=mid, text=name, role="small label", size=SMALL, turn=along, title=title,
                    shift=(nx * shift, ny * shift),
                    or_shift=[(nx * r, ny * r) for r in (5.6, 7.2, 9.6, 12.8, 17.0, 19.5)],
                )
            )  # fmt: skip
    return items


def _leaf(made: PlacedFeature, wall: PlanWall, deep: float, title: str) -> list[Item]:
    """A hinged leaf, drawn at right angles with its swing."""
    width = geometry.distance(made.a, made.b)
    way = -1.0 if made.swing != "in" else 1.0
    face = 0.0 if made.swing == "in" else deep
    nx, ny = wall.inward
    jambs = [(p[0] - nx * face, p[1] - ny * face) for p in (made.a, made.b)]
    hinge, latch = jambs if made.hinge == "a" else reversed(jambs)
    tip = (hinge[0] + nx * way * width, hinge[1] + ny * way * width)
    one = math.degrees(math.atan2(latch[1] - hinge[1], latch[0] - hinge[0]))
    two = math.degrees(math.atan2(tip[1] - hinge[1], tip[0] - hinge[0]))
    start, end = (one, two) if (two - one) % 360 <= 180 else (two, one)
    sill = "hidden" if made.swing == "in" else "opening"
    items: list[Item] = [
        Line(a=hinge, b=tip, role="door", title=title),
        Arc(centre=hinge, radius=width, start=start % 360, end=end % 360, role="swing", title=title),
        Line(a=made.a, b=made.b, role="opening"),
    ]
    if sill == "opening":
        items.append(Line(a=hinge, b=latch, role="opening"))
    return items


def _opening_label(made: PlacedFeature, units: UnitSystem) -> str:
    match made.kind:
        case "low wall":
            return f"low wall {_height(made.head, units)} high" if made.head else "low wall"
        case "window":
            return f"window, sill {_height(made.sill, units)}" if made.sill else "window"
        case "gap":
            return made.id
        case _:
            return made.id


def _height(mm: float | None, units: UnitSystem) -> str:
    if mm is None:
        return ""
    if units == "metric":
        return format_length(mm, units).removesuffix(" mm")
    return format_small(mm, units, denominator=8) if mm < 1900 else format_length(mm, units, denominator=8)


def _feature_title(made: PlacedFeature, units: UnitSystem) -> str:
    def text(mm: float) -> str:
        return format_length(mm, units, denominator=8)

    first, second = made.wall.split("-")
    parts = [made.id if made.id == made.kind else f"{made.id} ({made.kind})", f"wall {first}–{second}"]
    parts.append(
        f"{text(made.start)} to {text(made.end)} from {first}"
        if made.end > made.start
        else f"{text(made.start)} from {first}"
    )
    if made.clear_width:
        parts.append(f"clear {_height(made.clear_width, units)}")
    if made.swing:
        parts.append(f"opens {made.swing}")
    if made.sill is not None and made.kind != "roller door":
        parts.append(
            f"sill {_height(made.sill, units)}" if made.kind in CUTS else f"{_height(made.sill, units)} above the slab"
        )
    if made.head is not None:
        parts.append(f"top {_height(made.head, units)}")
    return ", ".join(parts)


def _services(plan: RoomPlan, units: UnitSystem) -> list[Item]:
    items: list[Item] = []
    walls = {wall.id: wall for wall in plan.walls}
    for made in plan.features:
        if made.kind not in _SYMBOLS:
            continue
        wall = walls[made.wall]
        kind, word = _SYMBOLS[made.kind]
        nx, ny = wall.inward
        turn = math.degrees(math.atan2(ny, nx))
        at = ((made.a[0] + made.b[0]) / 2, (made.a[1] + made.b[1]) / 2)
        title = _feature_title(made, units)
        items.append(Symbol(at=at, kind=kind, turn=turn, title=title))
        tx, ty = -ny, nx
        if made.kind == "panelboard":
            items.append(
                Text(at=at, text=word, role="small label", size=SMALL, turn=turn + 90, clear=True, title=title,
                     shift=(nx * 3.8, ny * 3.8))
            )  # fmt: skip
            continue
        text = _height(made.sill, units)
        if not text:
            continue
        anchor: Literal["start", "middle", "end"] = "middle" if abs(nx) < 0.7 else "start" if nx > 0 else "end"
        away = 6.4 if anchor == "middle" else 5.2
        away -= 1.4 if made.kind == "outlet" else 0.0
        beside = 8.0 if anchor == "middle" else 4.8
        items.append(
            Text(
                at=at, text=text, role="small label", size=SMALL, anchor=anchor, clear=True, title=title,
                shift=(nx * away, ny * away),
                or_shift=[
                    (nx * (away + r) + tx * k, ny * (away + r) + ty * k)
                    for r, k in (
                        (0, 2.6), (0, -2.6), (1.4 - away, beside), (1.4 - away, -beside), (2, 5), (2, -5), (0, 8),
                        (0, -8),
                    )
                ],
            )
        )  # fmt: skip
    return items


# ---------------------------------------------------------------- columns, corners, readings


def _columns(room: Room, survey: Survey, plan: RoomPlan, units: UnitSystem) -> list[Item]:
    items: list[Item] = []
    sizes = {c.id: c for c in room.columns}
    within = {p.name: p.plus_minus for p in survey.points}
    for column in plan.columns:
        said = sizes[column.id]
        if column.diameter is not None:
            size = f"{_inches(column.diameter, units)} dia"
        else:
            size = f"{_inches(float(said.width or 0), units)} × {_inches(float(said.depth or 0), units)}"
        x, y = column.centre
        title = (
            f"Column {column.id}, {size}; centre {format_length(x, units, denominator=8)} along and "
            f"{format_length(y, units, denominator=8)} up from the datum, "
            f"± {format_small(within.get(column.id, 0), units)}"
        )
        if column.diameter is not None:
            items.append(
                Circle(centre=column.centre, radius=column.diameter / 2, role="column", hatch="fill", title=title)
            )
            reach = column.diameter / 2
        else:
            items.append(Polygon(outline=column.outline, role="column", hatch="fill", title=title))
            reach = max(abs(p[0] - x) for p in column.outline)
        items.append(
            Text(
                at=(x + reach, y), text=f"{column.id}\n{size}", rest=SMALL / LABEL, anchor="start", title=title,
                shift=(1.6, 0.0), or_shift=[(1.6, 4.0), (1.6, -4.0), (-4.0, 6.5), (-4.0, -6.5)],
            )
        )  # fmt: skip
    return items


def _inches(mm: float, units: UnitSystem) -> str:
    return _height(mm, units) if units == "metric" else format_small(mm, units, denominator=8)


def _corners(room: Room, survey: Survey, plan: RoomPlan) -> list[Item]:
    items: list[Item] = []
    names = list(plan.corners)
    inward = {wall.id.split("-")[0]: wall.inward for wall in plan.walls}
    for k, name in enumerate(names):
        before = inward[names[k - 1]]
        here = inward[name]
        x, y = before[0] + here[0], before[1] + here[1]
        size = math.hypot(x, y) or 1.0
        ux, uy = x / size, y / size
        point = next((p for p in survey.points if p.name == name), None)
        angle = survey.angles.get(name)
        title = f"Corner {name}"
        if angle is not None:
            title += f", {angle:.1f}° inside"
        if point is not None:
            title += f", ± {format_small(point.plus_minus)}"
        at = plan.corners[name]
        items.append(
            Text(at=at, text=name, size=4.4, clear=True, led=False, shift=(ux * 6.4, uy * 6.4), title=title,
                 or_shift=[(ux * r, uy * r) for r in (8.5, 11.0)])
        )  # fmt: skip
        if angle is not None:
            items.append(
                Text(
                    at=at, text=f"{angle:.1f}°", role="small label", size=SMALL,
                    shift=(ux * 6.8, uy * 6.4 + math.copysign(4.4, uy)), title=title, clear=True,
                    or_shift=[
                        (ux * 13.5, uy * 6.4), (ux * 11.5, uy * 11.5), (ux * 14, uy * 14), (ux * 6.4, uy * 17),
                        (ux * 19, uy * 7), (ux * 17, uy * 17), (ux * 7, uy * 22), (ux * 25, uy * 8), (ux * 20, uy * 20),
                    ],
                )
            )  # fmt: skip
    for point in survey.points:
        if point.kind == "mark":
            title = f"Control mark {point.name}, ± {format_small(point.plus_minus)}"
            items.append(Symbol(at=(point.x, point.y), kind="mark", role="mark", title=title))
            items.append(
                Text(at=(point.x, point.y), text=point.name, size=3.4, anchor="start", shift=(2.8, 2.4), title=title)
            )
    return items


def _suspects(survey: Survey, units: UnitSystem) -> list[Item]:
    at = {p.name: (p.x, p.y) for p in survey.points}
    walls = {pair for w in survey.walls for pair in ((w.start, w.end), (w.end, w.start))}
    items: list[Item] = []
    for r in survey.readings:
        if r.verdict not in ("set aside", "suspect") or r.start not in at or r.end not in at:
            continue
        a, b = _tape(r, at)
        title = r.why or f"Reading {r.id} is in question"
        items.append(Line(a=a, b=b, role="suspect", title=title))
        share = 0.5 if (r.start, r.end) in walls else 0.32  # diagonals cross in the middle
        mid = (a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share)
        turn = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        items.append(Symbol(at=mid, kind="question", role="suspect", title=title))
        word = "set aside" if r.verdict == "set aside" else "in question"
        read = format_length(r.observed, units, denominator=8)
        items.append(
            Text(
                at=mid, text=f"reading {r.id}: {read}, {word}, tape again", role="suspect", size=2.8, turn=turn,
                title=title, shift=(-s * 6.0, c * 6.0),
                or_shift=[
                    (-s * u + c * v, c * u + s * v)
                    for u in (-6.0, 9.5, -9.5, 13.0, -13.0) for v in (0.0, 20.0, -20.0)
                ],
            )
        )  # fmt: skip
    return items


def _tape(r: SurveyedReading, at: dict[str, tuple[float, float]]) -> tuple[Point, Point]:
    """Where the tape lay: between the two points, or off or along their line to the point read."""
    a, b = at[r.start], at[r.end]
    if r.kind not in ("offset", "running") or r.point not in at:
        return a, b
    p = at[r.point]
    square = max(geometry.distance(a, b) ** 2, 1e-9)
    share = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / square
    foot = (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]))
    return (foot, p) if r.kind == "offset" else (a, foot)


def _names(room: Room, plan: RoomPlan, units: UnitSystem) -> list[Item]:
    """Room name and area near the middle of the largest free part of the floor."""
    from shapely.geometry import Polygon as Shape
    from shapely.ops import polylabel

    ring = plan.mat_field or plan.outline
    floor = Shape(ring)
    at: Any = polylabel(floor, tolerance=50.0)
    where = (float(at.x), float(at.y))
    steps = (0.0, 7.0, -7.0, 14.0, -14.0, 22.0, -22.0, 30.0, -30.0)
    away = sorted(((dx, dy) for dy in steps for dx in steps), key=lambda step: math.hypot(*step))
    return [
        Text(
            at=where, text=f"{room.name}\nmat field {format_area(plan.mat_area, units)}", size=4.8, rest=0.6,
            or_shift=away[1:], led=False,
        )
    ]  # fmt: skip


# ---------------------------------------------------------------- levels, bows, diagonals, north


def _levels(plan: RoomPlan, units: UnitSystem) -> list[Item]:
    items: list[Item] = []
    for level in plan.levels:
        rise = _height(level.rise, units)
        title = f"Change of level {level.id}, {rise}{f': {level.note}' if level.note else ''}"
        items.append(Polyline(points=level.line, role="low wall", title=title))
        a, b = level.line[0], level.line[-1]
        turn = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
        up = turn + (90.0 if level.up_left else -90.0)
        at = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        items.append(Symbol(at=at, kind="arrow", role="small label", turn=up, title=title))
        c, s = math.cos(math.radians(up)), math.sin(math.radians(up))
        items.append(
            Text(at=at, text=f"up {rise}", role="small label", size=SMALL, turn=turn, clear=True, title=title,
                 shift=(c * 7.5, s * 7.5), or_shift=[(c * 10.5, s * 10.5), (-c * 4.0, -s * 4.0)])
        )  # fmt: skip
    return items


def _stations(plan: RoomPlan, units: UnitSystem) -> list[Item]:
    """Where walls bow or lean and the floor is hollow or off level, as read."""
    items: list[Item] = []
    for wall in plan.walls:
        nx, ny = wall.inward
        turn = math.degrees(math.atan2(wall.b[1] - wall.a[1], wall.b[0] - wall.a[0]))
        for station, kind in [*((s, "bow") for s in wall.bow), *((s, "lean") for s in wall.lean)]:
            if abs(station.inward) < 1.5:
                continue
            share = station.along / wall.length
            at = (wall.a[0] + (wall.b[0] - wall.a[0]) * share, wall.a[1] + (wall.b[1] - wall.a[1]) * share)
            way = "in" if station.inward > 0 else "back"
            size = format_small(abs(station.inward), units)
            over = f" in {format_length(station.over, units, denominator=8)}" if station.over else ""
            title = f"Wall {wall.id.replace('-', '–')}, {kind} {size} {way}{over}, reading {station.reading}"
            sign = 1.0 if station.inward > 0 else -1.0
            items.append(
                Symbol(
                    at=at, kind="arrow", role="note", turn=math.degrees(math.atan2(ny * sign, nx * sign)), title=title
                )
            )
            items.append(
                Text(at=at, text=f"{kind} {size} {way}", role="small label", size=SMALL, turn=turn, title=title,
                     clear=True, shift=(nx * 7.0, ny * 7.0),
                     or_shift=[(nx * r, ny * r) for r in (9.5, 12.0, 15.0)])
            )  # fmt: skip
    for spot in plan.floor:
        size = format_small(abs(spot.value), units)
        if spot.kind == "flatness":
            text = f"hollow {size}"
            title = (
                f"Floor {size} hollow under {format_length(spot.over, units, denominator=8)}, reading {spot.reading}"
            )
        else:
            text = f"{'+' if spot.value >= 0 else '−'}{size}"
            way = "above" if spot.value >= 0 else "below"
            title = f"Floor {size} {way} the mean of the levels read, reading {spot.reading}"
        items.append(Symbol(at=spot.at, kind="level", role="note", title=title))
        items.append(
            Text(at=spot.at, text=text, role="small label", size=SMALL, anchor="start", title=title, clear=True,
                 shift=(2.4, 1.6), or_shift=[(2.4, -2.0), (2.4, 5.0)])
        )  # fmt: skip
    return items


def _diagonals(survey: Survey, units: UnitSystem) -> list[Item]:
    at = {p.name: (p.x, p.y) for p in survey.points}
    items: list[Item] = []
    for k, d in enumerate(survey.diagonals):
        a, b = at[d.start], at[d.end]
        turn = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
        size = format_length(d.length, units, denominator=8).removesuffix(" mm")
        title = f"Diagonal {d.start}–{d.end}: {size}, ± {format_small(d.plus_minus, units)}"
        items.append(Line(a=a, b=b, role="grid", title=title))
        share = (0.3, 0.38, 0.62, 0.7)[k % 4]  # diagonals cross near the middle
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        items.append(
            Text(
                at=(a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share), text=size, role="small label",
                size=SMALL, turn=turn, clear=True, title=title,
                or_shift=[(c * r, s * r) for r in (12.0, -12.0, 24.0, -24.0, 36.0, -36.0)],
            )
        )  # fmt: skip
    return items


def _north(room: Room, plan: RoomPlan) -> list[Item]:
    if room.north is None:
        return []
    xs, ys = [p[0] for p in plan.outline], [p[1] for p in plan.outline]
    at = (max(xs) + (max(xs) - min(xs)) * 0.06, max(ys))
    turn = 90.0 + room.north
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    return [
        Symbol(at=at, kind="arrow", role="label", turn=turn, title="North"),
        Text(at=at, text="N", size=4.0, shift=(c * 8.5, s * 8.5), title="North"),
    ]


# ---------------------------------------------------------------- dimensions


def _dimensions(room: Room, survey: Survey, plan: RoomPlan, units: UnitSystem, facing: Collection[str]) -> list[Item]:
    """Per wall: the chain of its openings next to it, the whole length beyond."""
    items: list[Item] = []
    clockwise = room.turning == "clockwise"
    within = {(w.start, w.end): w.plus_minus for w in survey.walls}
    stops = {
        wall.id: sorted(
            {0.0, wall.length} | {
                end for f in plan.features if f.wall == wall.id and f.kind in CUTS for end in (f.start, f.end)
            }
        )
        for wall in plan.walls
    }  # fmt: skip
    inside = _dimensioned_inside(survey, plan, stops) | set(facing)
    for wall in plan.walls:
        first, second = wall.id.split("-")
        marks = stops[wall.id]
        marks = [m for k, m in enumerate(marks) if not k or m - marks[k - 1] > 1.0]
        ux, uy = (wall.b[0] - wall.a[0]) / wall.length, (wall.b[1] - wall.a[1]) / wall.length
        side = 1.0 if clockwise else -1.0  # outside lies to the left of a clockwise wall
        t, beyond = _thickness(room, wall), _swing_out(plan, wall)
        near, far = (FIRST, SECOND) if not beyond else (4.0, SECOND - 4.0)
        if wall.id in inside:
            side, t, beyond, near, far = -side, 0.0, _swing_in(plan, wall), FIRST + 2.0, SECOND + 2.0
        a = (wall.a[0] - wall.inward[0] * t, wall.a[1] - wall.inward[1] * t)
        points = [(a[0] + ux * m, a[1] + uy * m) for m in marks]
        plus = within.get((first, second), 0.0)
        if len(points) > 2:
            titles = _chain_titles(room, plan, wall, marks, plus, units)
            items += chain_dimensions(points, units, offset=side * near, beyond=beyond, titles=titles)
        title = (
            f"Wall {first}–{second}: {format_length(wall.length, units, denominator=8)}, ± {format_small(plus, units)}"
        )
        away = far if len(points) > 2 else near if not beyond else far
        items.append(dimension(points[0], points[-1], units, offset=side * away, beyond=beyond, title=title))
    return items


def _chain_titles(
    room: Room, plan: RoomPlan, wall: PlanWall, marks: Sequence[float], plus: float, units: UnitSystem
) -> list[str]:
    """What each link of a wall's chain is, with its ±: both ends are running dimensions by tape from their own zero."""
    first, second = wall.id.split("-")
    zeros = {f.id: f.zero for f in room.features}
    ends: list[tuple[str, str, float]] = []  # what stands there, the corner it was read from, how far
    for mark in marks:
        made = next(
            (f for f in plan.features
             if f.wall == wall.id and f.kind in CUTS and min(abs(f.start - mark), abs(f.end - mark)) <= 1.0), None,
        )  # fmt: skip
        zero = zeros.get(made.id, first) if made is not None else first if mark < 1.0 else second
        ends.append((made.id if made is not None else zero, zero, mark if zero == first else wall.length - mark))
    titles = []
    for (a, low), (b, high) in itertools.pairwise(zip(ends, marks, strict=True)):
        spread = sum((1.96 * sigma("tape", far, room.tools)) ** 2 for _, _, far in (a, b) if far > 1.0)
        if a[1] != b[1]:
            spread += plus**2
        length = format_length(high - low, units, denominator=8)
        name = a[0] if a[0] == b[0] else f"{a[0]} to {b[0]}"
        titles.append(f"Wall {first}–{second}, {name}: {length}, ± {format_small(math.sqrt(spread), units)}")
    return titles


def _dimensioned_inside(survey: Survey, plan: RoomPlan, stops: dict[str, list[float]]) -> set[str]:
    """Of the two walls at each re-entrant corner the one dimensioned inside, so that their dimensions do not cross.

    It is the one with fewer openings, then the shorter one.
    """
    found: set[str] = set()
    for k, wall in enumerate(plan.walls):
        before = plan.walls[k - 1]
        if survey.angles.get(wall.id.split("-")[0], 0.0) <= 190.0 or {wall.id, before.id} & found:
            continue
        found.add(min((before, wall), key=lambda w: (len(stops[w.id]), w.length, w.id)).id)
    return found


def _swing_in(plan: RoomPlan, wall: PlanWall) -> float:
    """How far leaves swing into the room from a wall, mm."""
    return max(
        (f.end - f.start for f in plan.features
         if f.wall == wall.id and f.kind in ("door", "exit door") and f.swing == "in"),
        default=0.0,
    )  # fmt: skip


def _swing_out(plan: RoomPlan, wall: PlanWall) -> float:
    """How far leaves swing out through a wall, mm."""
    return max(
        (f.end - f.start for f in plan.features
         if f.wall == wall.id and f.kind in ("door", "exit door") and f.swing != "in"),
        default=0.0,
    )  # fmt: skip


# ---------------------------------------------------------------- rooms that are not fixed yet


def _sketch(room: Room, survey: Survey, units: UnitSystem, block: TitleBlock | None) -> Drawing:
    at = {p.name: (p.x, p.y) for p in survey.points}
    shown = {**{p.name: (p.x, p.y) for p in survey.loose_points}, **at} if len(at) > 1 else at
    items: list[Item] = []
    bad = {r.id for r in survey.readings if r.verdict in ("set aside", "suspect")}
    for a, b in itertools.pairwise([*room.corners, room.corners[0]] if room.corners else []):
        if a in shown and b in shown:
            items.append(Line(a=shown[a], b=shown[b], role="hidden", title=f"Wall {a}–{b}, not settled"))
    for r in survey.readings:
        if r.start in at and r.end in at and r.id not in bad:
            items.append(
                Line(a=at[r.start], b=at[r.end], role="reading",
                     title=f"Reading {r.id}: {format_length(r.observed, units, denominator=8)}")
            )  # fmt: skip
    items += _suspects(survey, units)
    for point in survey.points:
        if "." in point.name:
            continue
        items.append(Symbol(at=(point.x, point.y), kind="mark", role="mark", title=f"{point.kind} {point.name}"))
        items.append(Text(at=(point.x, point.y), text=point.name, size=4.0, anchor="start", shift=(2.6, 2.6)))
    for loose in survey.loose_points:
        if loose.name in at or len(at) < 2:
            continue
        spot = (loose.x, loose.y)
        items.append(Symbol(at=spot, kind="question", role="suspect", title=loose.text))
        items.append(Text(at=spot, text=loose.name, size=4.0, anchor="start", shift=(3.4, 3.4), title=loose.text))
        for dx, dy in loose.directions:
            turn = math.degrees(math.atan2(dy, dx))
            for way in (turn, turn + 180.0):
                c, s = math.cos(math.radians(way)), math.sin(math.radians(way))
                far = (spot[0] + c * 400.0, spot[1] + s * 400.0)
                items.append(Symbol(at=far, kind="arrow", role="suspect", turn=way, title=loose.text))
    if not items:
        items.append(Text(at=(0.0, 0.0), text="Nothing can be drawn yet", size=4.0))
    stops = [f"{r.text} {r.todo}" for r in survey.reasons if r.severity == "stop"][:4]
    notes = ["Sketch only: the readings do not fix this room yet."]
    notes += [line for text in stops for line in _lines(text, 105)]
    return Drawing(
        items=items, title=f"Sketch of {room.name}", units=units, block=block, notes=notes,
        description=f"Sketch of {room.name}. The readings do not fix the room. {' '.join(stops)}".strip(),
    )  # fmt: skip


def _lines(text: str, most: int) -> Sequence[str]:
    lines = [""]
    for word in text.split():
        if len(lines[-1]) + len(word) + 1 > most:
            lines.append("   ")
        lines[-1] = f"{lines[-1]} {word}" if lines[-1].strip() else f"{lines[-1]}{word}"
    return lines
