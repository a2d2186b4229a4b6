"""From the adjusted points to the plan: walls, openings, columns, strips kept clear, mat field and its edges.

Coordinates are millimetres on a 0.01 mm grid; polygons are cut on that grid (Shapely). Mat field, strips
and columns add up to the room within outline × grid.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import msgspec

from buildout.rooms.engine import geometry
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.types import (
    FloorStation,
    KeepClear,
    MatEdge,
    PlacedColumn,
    PlacedFeature,
    PlacedLevel,
    PlanWall,
    Reading,
    Room,
    RoomPlan,
    Survey,
    WallFeature,
    WallHeight,
    WallStation,
)
from buildout.units.lengths import format_length, format_small, written_in
from buildout.units.value import Reason, Status, snap

GRID = 0.01
SLACK = 12.7
"""A running dimension may overshoot the adjusted wall by half an inch before it is called wrong."""
STRADDLES = 0.25
"""A column with more than this share of it beyond a wall cannot stand there."""
MOST_BOW = 75.0
"""A bow, lean or hollow beyond 3 in is more likely a slip than a wall (common practice, no published source)."""
LEAN_LIMIT = 6.35 / 1828.8
"""Over 1/4 in in 6 ft wall panels need shims or tapered fillers (common practice, no published source)."""
BOW_LIMIT = 6.35
SAME_STATION = 25.0
"""Straightness readings of a wall this close together, mm, are of the same spot."""
FLAT_LIMIT = 6.35 / 3048.0
"""1/4 in under a 10 ft straightedge suits layered foam (common practice, no published source)."""
OVERSHOOT = 5.0
"""How far a strip reaches into the walls it runs along when it is cut out of the mat field, mm."""
ROUND_SIDES = 64
PANELBOARD_DEPTH = 914.4
"""36 in of working space before a panelboard (US National Electrical Code 110.26, for orientation only)."""
EXIT_DEPTH = 914.4
"""Depth kept free inside an exit before the plan stops warning: 36 in, common practice, no published source."""
OPENINGS = ("door", "exit door", "roller door", "window", "low wall", "gap")


@dataclass
class _Draft:
    room: Room
    reasons: list[Reason] = field(default_factory=list)

    def long(self, mm: float) -> str:
        """A length as the room's readings are written."""
        return format_length(mm, written_in(r.value.text for r in self.room.readings), denominator=8)

    def stop(self, code: str, text: str, where: str, todo: str) -> None:
        self.reasons.append(Reason(code=code, text=text, where=where, severity="stop", todo=todo))

    def warn(self, code: str, text: str, where: str, todo: str) -> None:
        self.reasons.append(Reason(code=code, text=text, where=where, severity="warning", todo=todo))

    def note(self, code: str, text: str, where: str, todo: str) -> None:
        self.reasons.append(Reason(code=code, text=text, where=where, todo=todo))


def plan_room(room: Room, survey: Survey) -> RoomPlan:
    """Lay out a room's plan on its survey.

    The plan has no outline when the survey does not fix the room: its status is then the survey's own and a
    reason says so. Never raises for inputs that make no sense; they are named in ``reasons``.
    """
    if survey.status not in ("proven", "feasible"):
        return _no_plan(room, survey.status)
    draft = _Draft(room)
    at = {p.name: (snap(p.x), snap(p.y)) for p in survey.points}
    corners = {name: at[name] for name in room.corners}
    walls, outline = _shell(draft, corners)
    columns = _columns(draft, at, outline)
    features = _features(draft, walls)
    floor = _floor_stations(draft, at)
    levels = _levels(draft, at, outline)
    strips, cutters = _strips(draft, walls, outline)
    field_ring = _mat_field(draft, outline, cutters)
    edges = _mat_edges(draft, field_ring, walls, features, strips)
    _check_exits(draft, features, walls)
    floor_area, mat_area = _areas(outline, field_ring, columns)
    stopped = any(r.severity == "stop" for r in draft.reasons)
    warned = any(r.severity == "warning" for r in draft.reasons)
    status: Status = "infeasible" if stopped else "feasible" if warned and survey.status == "proven" else survey.status
    return RoomPlan(
        room=room.id, name=room.name, status=status, outline=outline, corners=corners, walls=walls, columns=columns,
        features=features, keep_clear=strips, mat_field=field_ring, mat_edges=edges, floor_area=floor_area,
        mat_area=mat_area, reasons=draft.reasons, floor=floor, levels=levels,
    )  # fmt: skip


def mat_ring(room: Room, corners: dict[str, Point]) -> list[Point]:
    """Outer ring of the mat field for corners at given places, as ``plan_room`` would cut it."""
    draft = _Draft(room)
    walls, outline = _shell(draft, corners)
    return _mat_field(draft, outline, _strips(draft, walls, outline)[1])


def _no_plan(room: Room, status: Status) -> RoomPlan:
    text = {
        "empty": "There is no plan yet: the room has no corners.",
        "underdetermined": "There is no plan: the readings do not fix the room.",
    }.get(status, "There is no plan: no room has these readings.")
    reason = Reason(
        code="no plan", text=text, where=room.id, severity="stop", todo="Do what the survey asks for first."
    )
    return RoomPlan(
        room=room.id, name=room.name, status=status, outline=[], corners={}, walls=[], columns=[], features=[],
        keep_clear={}, mat_field=[], mat_edges=[], floor_area=0.0, mat_area=0.0, reasons=[reason],
    )  # fmt: skip


# ---------------------------------------------------------------- walls, columns


def _shell(draft: _Draft, corners: dict[str, Point]) -> tuple[list[PlanWall], list[Point]]:
    """Walls with their real shape, and the ring of their inside faces, anticlockwise."""
    clockwise = geometry.signed_area(list(corners.values())) < 0
    walls = _wall_shapes(draft, _walls(draft, corners, clockwise))
    ring = [p for wall in walls for p in (wall.line[:-1] or [wall.a])]
    return walls, [ring[0], *reversed(ring[1:])] if clockwise else ring


def _walls(draft: _Draft, corners: dict[str, Point], clockwise: bool) -> list[PlanWall]:
    room = draft.room
    names = list(corners)
    stated = {}
    for wall in room.walls:
        found = _wall_name(wall.id, names)
        if found is None:
            draft.stop(
                "unknown wall", f"{wall.id} is not a wall of this room.", wall.id,
                f"Name a wall by two neighbouring corners, such as {names[0]}-{names[1]}.",
            )  # fmt: skip
        else:
            stated[found] = wall
    walls = []
    for k, name in enumerate(names):
        after = names[(k + 1) % len(names)]
        a, b = corners[name], corners[after]
        length = geometry.distance(a, b)
        ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        inward = (uy, -ux) if clockwise else (-uy, ux)
        said = stated.get(f"{name}-{after}")
        height = said.height if said and said.height else room.height
        walls.append(
            PlanWall(
                id=f"{name}-{after}", a=a, b=b, length=snap(length), construction=said.construction if said else "stud",
                height=snap(height.mm) if height else None,
                inward=(snap(inward[0], 1e-6), snap(inward[1], 1e-6)),
            )
        )  # fmt: skip
    return walls


def _wall_name(text: str, names: Sequence[str]) -> str | None:
    plain = text.replace("–", "-").strip()
    for k, a in enumerate(names):
        b = names[(k + 1) % len(names)]
        if plain in (f"{a}-{b}", f"{b}-{a}"):
            return f"{a}-{b}"
    return None


def _columns(draft: _Draft, at: dict[str, Point], outline: Sequence[Point]) -> list[PlacedColumn]:
    from shapely.geometry import Polygon

    placed: list[PlacedColumn] = []
    room_polygon = Polygon(outline)
    for column in draft.room.columns:
        centre = at[column.id]
        if column.shape == "round":
            radius = float(column.diameter or 0) / 2
            turns = [2 * math.pi * k / ROUND_SIDES for k in range(ROUND_SIDES)]
            ring = [(snap(centre[0] + radius * math.cos(t)), snap(centre[1] + radius * math.sin(t))) for t in turns]
            diameter = snap(radius * 2)
        else:
            ring = [at[f"{column.id}.{side}"] for side in ("SW", "SE", "NE", "NW")]
            diameter = None
        polygon = Polygon(ring)
        if not polygon.within(room_polygon.buffer(SLACK)):
            outside = polygon.difference(room_polygon).area > STRADDLES * polygon.area
            report = draft.stop if outside else draft.warn
            report(
                "column in wall", f"Column {column.id} {'straddles' if outside else 'reaches into'} a wall.", column.id,
                "Check its size, and that its readings go to the face or corner named. A column built into a wall is "
                "drawn by corners of the room.",
            )  # fmt: skip
        for other in placed:
            if polygon.intersects(Polygon(other.outline)):
                draft.stop(
                    "columns overlap", f"Columns {other.id} and {column.id} overlap.", column.id,
                    "Check the readings to both: one may belong to the other.",
                )  # fmt: skip
        placed.append(PlacedColumn(id=column.id, shape=column.shape, centre=centre, outline=ring, diameter=diameter))
    return placed


# ---------------------------------------------------------------- openings and services


def _run(
    draft: _Draft, walls: Sequence[PlanWall], what: WallFeature | KeepClear
) -> tuple[PlanWall, float, float] | None:
    """Where a running dimension lies along its wall, from the wall's first corner; None when it cannot be placed."""
    names = [wall.id.split("-")[0] for wall in walls]
    found = _wall_name(what.wall, names)
    if found is None:
        draft.stop(
            "unknown wall", f"{what.id} is on wall {what.wall}, which this room does not have.", what.id,
            f"Name a wall by two neighbouring corners, such as {walls[0].id}.",
        )  # fmt: skip
        return None
    wall = next(w for w in walls if w.id == found)
    first, second = found.split("-")
    if what.zero not in (first, second):
        draft.stop(
            "zero corner", f"{what.id} is measured from {what.zero or 'no corner'}, but wall {found} runs from "
            f"{first} to {second}.", what.id, f"Say which end the tape was held at: {first} or {second}.",
        )  # fmt: skip
        return None
    start = float(what.start.mm)
    end = start if what.end is None else float(what.end.mm)
    if end < start or (what.end is not None and end == start):
        draft.stop(
            "ends before it starts",
            f"{what.id} runs from {draft.long(start)} to {draft.long(end)}, which is no width.",
            what.id, "Write both running dimensions from the same zero, the smaller one first.",
        )  # fmt: skip
        return None
    if end > wall.length + SLACK:
        draft.stop(
            "beyond the wall",
            f"{what.id} ends at {draft.long(end)}, but wall {found} is only {draft.long(wall.length)} long.",
            what.id, f"Check the dimension and that it was read from {what.zero}.",
        )  # fmt: skip
        return None
    end = min(end, wall.length)
    start = min(start, wall.length)
    if what.zero == second:
        start, end = wall.length - end, wall.length - start
    return wall, snap(start), snap(end)


def _bow_at(wall: PlanWall, along: float) -> float:
    """How far into the room the wall's face stands there, between its stations as between two neighbours."""
    if not wall.line:
        return 0.0
    ux, uy = (wall.b[0] - wall.a[0]) / wall.length, (wall.b[1] - wall.a[1]) / wall.length
    runs = [
        ((x - wall.a[0]) * ux + (y - wall.a[1]) * uy,
         (x - wall.a[0]) * wall.inward[0] + (y - wall.a[1]) * wall.inward[1])
        for x, y in wall.line
    ]  # fmt: skip
    for (low, near), (high, far) in itertools.pairwise(runs):
        if along <= high:
            return near + (far - near) * min(1.0, max(0.0, (along - low) / max(high - low, GRID)))
    return 0.0


def _on(wall: PlanWall, along: float, inward: float = 0.0) -> Point:
    inward += _bow_at(wall, along)
    share = along / wall.length if wall.length else 0.0
    x = wall.a[0] + (wall.b[0] - wall.a[0]) * share + wall.inward[0] * inward
    y = wall.a[1] + (wall.b[1] - wall.a[1]) * share + wall.inward[1] * inward
    return snap(x), snap(y)


def _features(draft: _Draft, walls: Sequence[PlanWall]) -> list[PlacedFeature]:
    placed: list[PlacedFeature] = []
    seen: set[str] = set()
    for feature in draft.room.features:
        if feature.id in seen:
            draft.stop(
                "named twice", f"Two openings or services are called {feature.id}.", feature.id,
                "Give each a name of its own, such as window 1 and window 2.",
            )  # fmt: skip
        seen.add(feature.id)
        if feature.end is None and feature.kind in OPENINGS:
            draft.stop(
                "no end", f"{feature.id} has a start but no end along the wall.", feature.id,
                "Write both running dimensions, such as 4' 3\" and 9' 5\".",
            )  # fmt: skip
            continue
        run = _run(draft, walls, feature)
        if run is None:
            continue
        wall, start, end = run
        made = PlacedFeature(
            id=feature.id, kind=feature.kind, wall=wall.id, start=start, end=end, a=_on(wall, start), b=_on(wall, end),
            sill=snap(feature.sill.mm) if feature.sill else None, head=snap(feature.head.mm) if feature.head else None,
            clear_width=_clear(draft, feature, "clear width"), swing=feature.swing, note=feature.note,
            hinge="a" if (feature.hinge == "end") == (feature.zero != wall.id.split("-")[0]) else "b",
            clear_height=_clear(draft, feature, "clear height"),
            under_leaf=snap(feature.under_leaf.mm) if feature.under_leaf else None,
            thickness=snap(feature.thickness.mm) if feature.thickness else None,
        )  # fmt: skip
        _check_feature(draft, made, wall)
        placed.append(made)
    for one, two in itertools.combinations(placed, 2):
        _check_overlap(draft, one, two)
    return placed


def _clear(draft: _Draft, feature: WallFeature, kind: str) -> float | None:
    """Clear width or height of an opening: the mean of its readings, or as stated with the opening."""
    read = [float(r.value.mm) for r in draft.room.readings if r.kind == kind and r.feature == feature.id]
    if read:
        if max(read) - min(read) > SLACK:
            draft.warn(
                "repeat readings", f"The {kind} of {feature.id} was read as {draft.long(min(read))} and "
                f"{draft.long(max(read))}.", feature.id, "Read it again; the smallest counts on site.",
            )  # fmt: skip
        return snap(min(read))
    if kind == "clear width" and feature.clear_width:
        return snap(feature.clear_width.mm)
    return None


def _check_feature(draft: _Draft, made: PlacedFeature, wall: PlanWall) -> None:
    width = made.end - made.start
    if made.clear_width is not None and made.kind in OPENINGS and made.clear_width > width + SLACK:
        draft.warn(
            "clear width", f"{made.id} is {draft.long(width)} wide but its clear width is given as "
            f"{draft.long(made.clear_width)}.", made.id, "Measure the opening and the clear width again.",
        )  # fmt: skip
    if made.sill is not None and made.head is not None and made.sill >= made.head:
        draft.warn(
            "sill above head",
            f"{made.id} has its sill at {draft.long(made.sill)} and its head at {draft.long(made.head)}.",
            made.id, "The sill is the lower edge. Check both heights above the slab.",
        )  # fmt: skip
    if made.clear_height is not None and made.head is not None and made.clear_height > made.head + SLACK:
        draft.warn(
            "clear height", f"{made.id} has its head at {draft.long(made.head)} but its clear height was read as "
            f"{draft.long(made.clear_height)}.", made.id, "Read the head and the clear height again.",
        )  # fmt: skip
    top = made.head if made.head is not None else made.sill
    if wall.height is not None and top is not None and top > wall.height + SLACK:
        draft.warn(
            "above the wall",
            f"{made.id} reaches {draft.long(top)}, above the wall's {draft.long(wall.height)}.", made.id,
            "Check the height of the room and of this opening.",
        )  # fmt: skip


def overlap_on_wall(one: PlacedFeature, two: PlacedFeature) -> bool:
    """Whether two openings of a wall, or a service and an opening, take the same place along it and in height."""
    if one.wall != two.wall or min(one.end, two.end) - max(one.start, two.start) < (
        1.0 if one.kind in OPENINGS and two.kind in OPENINGS else 0.0
    ):
        return False
    if one.kind not in OPENINGS and two.kind not in OPENINGS:
        return False
    low, high = zip(_heights(one), _heights(two), strict=True)
    return min(high) > max(low)


def _check_overlap(draft: _Draft, one: PlacedFeature, two: PlacedFeature) -> None:
    if overlap_on_wall(one, two):
        draft.warn(
            "overlap", f"{one.id} and {two.id} overlap on wall {one.wall}.", two.id,
            "Check both running dimensions, and which corner each was read from.",
        )  # fmt: skip


def _heights(made: PlacedFeature) -> tuple[float, float]:
    if made.kind in OPENINGS:
        bottom = made.sill if made.kind == "window" and made.sill is not None else 0.0
        return bottom, made.head if made.head is not None else math.inf
    if made.head is not None:
        return made.sill or 0.0, made.head
    height = made.sill if made.sill is not None else 1200.0
    return height, height + 1.0


# ---------------------------------------------------------------- what walls and floor are really like


def _wall_shapes(draft: _Draft, walls: Sequence[PlanWall]) -> list[PlanWall]:
    """Walls with their bow, lean and heights as read; nothing is straightened."""
    found: dict[str, tuple[list[WallStation], list[WallStation], list[WallHeight]]] = {
        wall.id: ([], [], []) for wall in walls
    }
    names = [wall.id.split("-")[0] for wall in walls]
    features = {feature.id: feature for feature in draft.room.features}
    for r in draft.room.readings:
        if r.kind not in ("straightness", "plumb", "height"):
            continue
        line = f"{r.start}-{r.end}"
        if r.kind == "height" and r.feature in features and _wall_name(line, names) is None:
            line = features[r.feature].wall
        name = _wall_name(line, names)
        wall = next((w for w in walls if w.id == name), None)
        if wall is None:
            draft.stop(
                "unknown wall", f"Reading {r.id} is of {r.start}–{r.end}, which is not a wall of this room.", r.id,
                f"Name a wall by two neighbouring corners, such as {names[0]} and {names[1]}.",
            )  # fmt: skip
            continue
        along = _station(draft, r, wall.length, zero_first=r.start == wall.id.split("-")[0])
        if along is None:
            continue
        bow, lean, heights = found[wall.id]
        if r.kind == "height":
            heights.append(WallHeight(along=along, height=snap(r.value.mm), feature=r.feature, reading=r.id))
            _check_height(draft, r, wall)
            continue
        inward = _gap(r)
        _check_gap(draft, r, inward, f"wall {wall.id.replace('-', '–')}")
        if r.kind == "straightness":
            bow.append(WallStation(along=along, inward=inward, reading=r.id))
        else:
            over = snap(r.over.mm) if r.over else wall.height or 0.0
            lean.append(WallStation(along=along, inward=inward, over=over, reading=r.id))
    made = []
    for wall in walls:
        bow = sorted(found[wall.id][0], key=lambda s: s.along)
        lean = sorted(found[wall.id][1], key=lambda s: s.along)
        heights = sorted(found[wall.id][2], key=lambda s: s.along)
        _tell_wall(draft, wall, bow, lean)
        stated = next((w for w in draft.room.walls if _wall_name(w.id, names) == wall.id), None)
        face: list[Point] = [] if stated is not None and stated.straight else _face(wall, bow)
        made.append(msgspec.structs.replace(wall, line=face, bow=bow, lean=lean, heights=heights))
    return made


def _face(wall: PlanWall, bow: Sequence[WallStation]) -> list[Point]:
    """A wall's inside face through its stations; those close together count as one, at their mean."""
    groups: list[list[WallStation]] = []
    for station in bow:
        if not SAME_STATION < station.along < wall.length - SAME_STATION or abs(station.inward) > MOST_BOW:
            continue  # a corner is where the readings put it; a slip is named and not built in
        if groups and station.along - groups[-1][-1].along <= SAME_STATION:
            groups[-1].append(station)
        else:
            groups.append([station])
    spots = [
        _on(wall, sum(s.along for s in group) / len(group), sum(s.inward for s in group) / len(group))
        for group in groups
    ]
    return [wall.a, *spots, wall.b] if spots else []


def _station(draft: _Draft, r: Reading, length: float, *, zero_first: bool) -> float | None:
    """How far along a line a reading was taken, from the line's first point; None when beyond its end."""
    if r.along is None:
        return snap(length / 2)
    along = float(r.along.mm)
    if along > length + SLACK:
        draft.stop(
            "beyond the wall", f"Reading {r.id} was taken at {draft.long(along)}, but {r.start}–{r.end} is only "
            f"{draft.long(length)} long.", r.id, f"Check the station and that it was read from {r.start}.",
        )  # fmt: skip
        return None
    along = min(along, length)
    return snap(along if zero_first else length - along)


def _gap(r: Reading) -> float:
    """How far into the room a wall stands there, from the gap read and what a true wall would show."""
    value = float(r.value.mm)
    if r.base is not None:
        return snap(float(r.base.mm) - value)
    return snap(value if r.side == "in" else -value)


def _check_gap(draft: _Draft, r: Reading, gap: float, where: str) -> None:
    if abs(gap) > MOST_BOW:
        draft.warn(
            "unlikely reading", f"Reading {r.id} puts {where} {draft.long(abs(gap))} out of true.", r.id,
            "Check what was read and what a true wall would have shown; until then it shapes nothing.",
        )  # fmt: skip


def _check_height(draft: _Draft, r: Reading, wall: PlanWall) -> None:
    height = float(r.value.mm)
    if r.feature == "" and wall.height is not None and abs(height - wall.height) > 50:
        draft.warn(
            "height differs", f"Reading {r.id} gives wall {wall.id.replace('-', '–')} {draft.long(height)}, the room "
            f"says {draft.long(wall.height)}.", r.id, "Read it again, or state the height of this wall.",
        )  # fmt: skip


def _tell_wall(draft: _Draft, wall: PlanWall, bow: Sequence[WallStation], lean: Sequence[WallStation]) -> None:
    name = wall.id.replace("-", "–")
    units = written_in(r.value.text for r in draft.room.readings)
    worst = max((s for s in bow if abs(s.inward) <= MOST_BOW), key=lambda s: abs(s.inward), default=None)
    if worst is not None and abs(worst.inward) > BOW_LIMIT:
        way = "into the room" if worst.inward > 0 else "back"
        draft.note(
            "bowed wall", f"Wall {name} bows {format_small(abs(worst.inward), units)} {way} at "
            f"{draft.long(worst.along)} from {wall.id.split('-')[0]}.", wall.id,
            "Mat, frame and cover follow it as read; if they are to run straight, say so with the wall. Shim panels.",
        )  # fmt: skip
    worst = max(lean, key=lambda s: abs(s.inward) / (s.over or 1e9), default=None)
    if worst is not None and worst.over and abs(worst.inward) > LEAN_LIMIT * worst.over:
        way = "into the room" if worst.inward > 0 else "back"
        draft.note(
            "leaning wall", f"Wall {name} leans {format_small(abs(worst.inward), units)} {way} in "
            f"{draft.long(worst.over)}.", wall.id, "Over 1/4 in in 6 ft: shim the cleats or taper the filler panels.",
        )  # fmt: skip


def _floor_stations(draft: _Draft, at: dict[str, Point]) -> list[FloorStation]:
    readings = [r for r in draft.room.readings if r.kind in ("flatness", "level")]
    levels = [float(r.value.mm) for r in readings if r.kind == "level"]
    mean = sum(levels) / len(levels) if levels else 0.0
    found = []
    units = written_in(r.value.text for r in draft.room.readings)
    for r in readings:
        if r.start not in at or r.end not in at:
            continue
        a, b = at[r.start], at[r.end]
        length = geometry.distance(a, b)
        along = _station(draft, r, length, zero_first=True)
        if along is None:
            continue
        share = along / length if length else 0.0
        spot = (snap(a[0] + (b[0] - a[0]) * share), snap(a[1] + (b[1] - a[1]) * share))
        if r.kind == "level":
            found.append(FloorStation(at=spot, kind="level", value=snap(mean - float(r.value.mm)), reading=r.id))
            continue
        gap = abs(_gap(r))
        over = snap(r.over.mm) if r.over else 3048.0
        _check_gap(draft, r, gap, "the floor")
        if gap > FLAT_LIMIT * over:
            draft.note(
                "hollow floor", f"The floor is {format_small(gap, units)} hollow under {draft.long(over)} at reading "
                f"{r.id}.", r.id, "Fill or grind it before the floor layers go down.",
            )  # fmt: skip
        found.append(FloorStation(at=spot, kind="flatness", value=snap(gap), over=over, reading=r.id))
    return found


def _levels(draft: _Draft, at: dict[str, Point], outline: Sequence[Point]) -> list[PlacedLevel]:
    placed = []
    middle = (sum(p[0] for p in outline) / len(outline), sum(p[1] for p in outline) / len(outline))
    for level in draft.room.levels:
        missing = [name for name in [*level.edge, *([level.up_to] if level.up_to else [])] if name not in at]
        if missing or len(level.edge) < 2:
            draft.stop(
                "level edge", f"The change of level {level.id} runs through "
                f"{missing[0] + ', which is no point of this room' if missing else 'fewer than two points'}.", level.id,
                "Name two or more corners or marks its edge runs through, such as M and B.",
            )  # fmt: skip
            continue
        line = [at[name] for name in level.edge]
        high = at[level.up_to] if level.up_to else middle
        left = geometry.cross(line[0], line[-1], high) > 0
        placed.append(PlacedLevel(id=level.id, line=line, rise=snap(level.rise.mm), up_left=left, note=level.note))
    return placed


# ---------------------------------------------------------------- strips and mat field


def _strips(
    draft: _Draft, walls: Sequence[PlanWall], outline: Sequence[Point]
) -> tuple[dict[str, list[Point]], list[list[Point]]]:
    """Strips kept clear as they lie in the room, and what is cut away for them, reaching past the walls."""
    from shapely import set_precision
    from shapely.geometry import Polygon

    strips: dict[str, list[Point]] = {}
    cutters: list[list[Point]] = []
    room_polygon = set_precision(Polygon(outline), GRID)
    past = OVERSHOOT + max((abs(s.inward) for w in walls if w.line for s in w.bow), default=0.0)
    for strip in draft.room.keep_clear:
        if strip.id in strips:
            draft.stop(
                "named twice", f"Two strips are called {strip.id}.", strip.id, "Give each strip a name of its own."
            )
            continue
        run = _run(draft, walls, strip)
        if run is None:
            continue
        depth = float(strip.depth.mm)
        if depth <= 0:
            draft.stop(
                "no depth", f"The strip {strip.name} has no depth.", strip.id, "Say how deep it is, such as 4' 0\"."
            )
            continue
        wall, start, end = run
        near = [_on(wall, start), _on(wall, end)]
        ends = [_far_end(walls, wall, start, depth, first=True), _far_end(walls, wall, end, depth, first=False)]
        far = [end for end, _ in ends]
        cutter = _cutter(wall, near, ends, past)
        shape = cutter if past > OVERSHOOT else [near[0], near[1], far[1], far[0]]
        cut = set_precision(Polygon(shape), GRID).intersection(room_polygon, grid_size=GRID)
        part = max(_parts(cut), key=lambda p: p.area, default=None)
        if part is None or part.area < 1.0:
            draft.stop(
                "strip outside", f"The strip {strip.name} lies outside the room.", strip.id,
                "Check its wall, its dimensions and its depth.",
            )  # fmt: skip
            continue
        strips[strip.id] = _ring(part)
        cutters.append(cutter)
    return strips, cutters


def _cutter(wall: PlanWall, near: Sequence[Point], ends: Sequence[tuple[Point, bool]], past: float) -> list[Point]:
    """A strip made to overshoot the walls it runs into by ``past`` mm, so that no sliver of mat is left beside them."""
    ux, uy = (wall.b[0] - wall.a[0]) / wall.length, (wall.b[1] - wall.a[1]) / wall.length
    made: list[Point] = []
    for k, ((x, y), ((fx, fy), into)) in enumerate(zip(near, ends, strict=True)):
        along = (past if into else 0.0) * (-1 if k == 0 else 1)
        low = (x + ux * along - wall.inward[0] * past, y + uy * along - wall.inward[1] * past)
        high = (fx + ux * along, fy + uy * along)
        made += [high, low] if k == 0 else [low, high]
    return made


def _far_end(
    walls: Sequence[PlanWall], wall: PlanWall, along: float, depth: float, *, first: bool
) -> tuple[Point, bool]:
    """Inner corner of a strip: square off the wall, or on the next wall when the strip runs into a corner (True)."""
    square = _on(wall, along, depth)
    k = next(i for i, w in enumerate(walls) if w.id == wall.id)
    at_end = along <= SLACK if first else along >= wall.length - SLACK
    if not at_end:
        return square, False
    other = walls[k - 1] if first else walls[(k + 1) % len(walls)]
    direction = ((wall.b[0] - wall.a[0]) / wall.length, (wall.b[1] - wall.a[1]) / wall.length)
    away = (
        ((other.a[0] - other.b[0]) / other.length, (other.a[1] - other.b[1]) / other.length)
        if first
        else ((other.b[0] - other.a[0]) / other.length, (other.b[1] - other.a[1]) / other.length)
    )
    rise = away[0] * wall.inward[0] + away[1] * wall.inward[1]
    if rise < 0.5:  # re-entrant or very blunt corner: there is no wall beside the strip to run into
        return square, False
    lean = (away[0] * direction[0] + away[1] * direction[1]) / rise
    corner = wall.a if first else wall.b
    spot = (
        snap(corner[0] + depth * (wall.inward[0] + lean * direction[0])),
        snap(corner[1] + depth * (wall.inward[1] + lean * direction[1])),
    )
    return spot, True


def _parts(shape: Any) -> list[Any]:
    if shape.is_empty:
        return []
    return [g for g in getattr(shape, "geoms", [shape]) if g.geom_type == "Polygon"]


def _ring(polygon: Any) -> list[Point]:
    """Outer ring anticlockwise, not closed, starting at its lowest, then leftmost point, straight runs merged."""
    ring = [(snap(x), snap(y)) for x, y in polygon.exterior.coords[:-1]]
    ring = [p for k, p in enumerate(ring) if p != ring[k - 1]]
    if geometry.signed_area(ring) < 0:
        ring.reverse()
    first = min(range(len(ring)), key=lambda k: (ring[k][1], ring[k][0]))
    return ring[first:] + ring[:first]


def _mat_field(draft: _Draft, outline: Sequence[Point], strips: Sequence[Sequence[Point]]) -> list[Point]:
    from shapely import set_precision
    from shapely.geometry import Polygon
    from shapely.ops import unary_union

    left = set_precision(Polygon(outline), GRID)
    if strips:
        left = left.difference(set_precision(unary_union([Polygon(s) for s in strips]), GRID), grid_size=GRID)
    parts = sorted(_parts(left), key=lambda p: (-p.area, p.bounds))
    if not parts:
        draft.warn(
            "no mat",
            "The strips kept clear leave no room for mat.",
            draft.room.id,
            "Make a strip less deep or shorter.",
        )
        return []
    lost = sum(p.area for p in parts[1:])
    if lost > 10_000:
        draft.warn(
            "mat in parts", f"The strips cut the mat field in {len(parts)} parts; only the largest gets mat.",
            draft.room.id, "Shorten a strip, or make the room two rooms.",
        )  # fmt: skip
    return _ring(parts[0])


def _mat_edges(
    draft: _Draft,
    ring: Sequence[Point],
    walls: Sequence[PlanWall],
    features: Sequence[PlacedFeature],
    strips: dict[str, list[Point]],
) -> list[MatEdge]:
    kinds = {strip.id: strip.edge for strip in draft.room.keep_clear}
    found: list[tuple[Point, Point, str, str]] = []
    for k, a in enumerate(ring):
        b = ring[(k + 1) % len(ring)]
        wall = next((w for w in walls if _lies_along(a, b, w)), None)
        if wall is not None:
            found += _split_at_openings(a, b, wall, features)
            continue
        strip = next(
            (
                name
                for name, quad in strips.items()
                if any(_lies_on(a, b, quad[i - 1], quad[i]) for i in range(len(quad)))
            ),
            "",
        )
        found.append((a, b, kinds.get(strip, "square"), strip))
    merged: list[tuple[Point, Point, str, str]] = []
    for edge in found:
        if merged and merged[-1][2:] == edge[2:] and _lies_on(merged[-1][1], edge[1], merged[-1][0], edge[1]):
            merged[-1] = (merged[-1][0], edge[1], edge[2], edge[3])
        else:
            merged.append(edge)
    count: dict[str, int] = {}
    edges = []
    for a, b, kind, along in merged:
        count[along] = count.get(along, 0) + 1
        edges.append(
            MatEdge(
                id=f"{along} {count[along]}".strip(), a=a, b=b, length=snap(geometry.distance(a, b)),
                kind=kind, along=along,  # type: ignore[arg-type]
            )
        )  # fmt: skip
    return edges


def _lies_on(a: Point, b: Point, c: Point, d: Point, within: float = 0.1) -> bool:
    """Whether the side a–b lies along the segment c–d."""
    length = geometry.distance(c, d)
    if length < within:
        return False
    ux, uy = (d[0] - c[0]) / length, (d[1] - c[1]) / length
    for p in (a, b):
        along = (p[0] - c[0]) * ux + (p[1] - c[1]) * uy
        across = (p[0] - c[0]) * uy - (p[1] - c[1]) * ux
        if abs(across) > within or not -within <= along <= length + within:
            return False
    return True


def _lies_along(a: Point, b: Point, wall: PlanWall) -> bool:
    return any(_lies_on(a, b, c, d) for c, d in itertools.pairwise(wall.line or [wall.a, wall.b]))


def _split_at_openings(
    a: Point, b: Point, wall: PlanWall, features: Sequence[PlacedFeature]
) -> list[tuple[Point, Point, str, str]]:
    """Parts of a side along a wall: the wall itself, its low walls, and the gaps that are walked through."""
    if wall.construction == "none":
        return [(a, b, "ramp", wall.id)]
    ux, uy = (wall.b[0] - wall.a[0]) / wall.length, (wall.b[1] - wall.a[1]) / wall.length
    ends = [(p[0] - wall.a[0]) * ux + (p[1] - wall.a[1]) * uy for p in (a, b)]
    low, high = min(ends), max(ends)
    parts: list[tuple[float, float, str, str]] = []
    here = low
    inside = [f for f in features if f.kind in ("gap", "low wall") and f.wall == wall.id]
    for part in sorted(inside, key=lambda f: f.start):
        start, end = max(here, part.start), min(high, part.end)
        if end - start <= 1.0:
            continue
        if start - here > 1.0:
            parts.append((here, start, "wall", wall.id))
        else:
            start = here
        parts.append((start, end, "ramp" if part.kind == "gap" else "low wall", part.id))
        here = end
    if high - here > 1.0 or not parts:
        parts.append((here, high, "wall", wall.id))
    forward = ends[0] <= ends[1]
    made = []
    for start, end, kind, along in parts if forward else reversed(parts):
        p, q = _on(wall, start), _on(wall, end)
        made.append((p, q, kind, along) if forward else (q, p, kind, along))
    made[0] = (a, *made[0][1:])
    made[-1] = (made[-1][0], b, *made[-1][2:])
    return made


# ---------------------------------------------------------------- checks on the whole


def _check_exits(draft: _Draft, features: Sequence[PlacedFeature], walls: Sequence[PlanWall]) -> None:
    for made in features:
        leaf = made.end - made.start
        if made.kind == "exit door":
            need = max(EXIT_DEPTH, leaf if made.swing == "in" else 0.0)
            if not _kept_clear(draft, walls, made, made.start, made.end, need):
                draft.warn(
                    "exit blocked", f"Mat runs up to the exit {made.id}.", made.id,
                    f"Add a strip kept clear in front of it, at least {draft.long(made.start)}–"
                    f"{draft.long(made.end)} along {made.wall} and {draft.long(need)} deep. "
                    "Ask the fire authority what is needed there.",
                )  # fmt: skip
        elif made.kind == "door" and made.swing == "in":
            if not _kept_clear(draft, walls, made, made.start, made.end, leaf):
                draft.warn(
                    "door over mat", f"{made.id} opens into the room, over the mat.", made.id,
                    f"Keep {draft.long(leaf)} clear in front of it, or hang the leaf to open out.",
                )  # fmt: skip
        elif made.kind == "panelboard" and not _kept_clear(draft, walls, made, made.start, made.end, PANELBOARD_DEPTH):
            draft.warn(
                "panelboard space", f"The working space before {made.id} is not kept clear.", made.id,
                "Keep it free of mat and storage: in the US 36 in deep and 30 in wide or the panelboard's width. "
                "The local electrical code decides.",
            )  # fmt: skip


def _kept_clear(
    draft: _Draft, walls: Sequence[PlanWall], made: PlacedFeature, start: float, end: float, depth: float
) -> bool:
    """Whether strips on the feature's own wall cover its run to the depth asked."""
    quiet = _Draft(draft.room)
    runs = []
    for strip in draft.room.keep_clear:
        run = _run(quiet, walls, strip)
        if run is not None and run[0].id == made.wall and float(strip.depth.mm) >= depth - SLACK:
            runs.append((run[1], run[2]))
    reach = start
    for low, high in sorted(runs):
        if low <= reach + 1.0:
            reach = max(reach, high)
    return reach >= end - 1.0


def _areas(
    outline: Sequence[Point], field_ring: Sequence[Point], columns: Sequence[PlacedColumn]
) -> tuple[float, float]:
    from shapely.geometry import Polygon
    from shapely.ops import unary_union

    posts = unary_union([Polygon(c.outline) for c in columns]) if columns else Polygon()
    whole = Polygon(outline)
    mat = Polygon(field_ring) if field_ring else Polygon()
    return (
        snap(whole.area - whole.intersection(posts).area, 1.0),
        snap(mat.area - mat.intersection(posts).area, 1.0),
    )
