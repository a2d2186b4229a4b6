"""Quantities that tasks are worked out from, in the units of the task table: sq ft, ft, lb, each.

What the drawings give is computed; what they do not give (strip-out area, lights, signs) is stated by the owner.
A stated figure also replaces a computed one, and a note says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from decimal import Decimal

from buildout.rooms.engine.types import Room, RoomPlan
from buildout.units.lengths import POUND_KG
from buildout.units.value import Reason, snap
from estimating.engine.types import Fitout, Product, RoomLayouts, TakeOffLine

FOOT = 304.8
SQUARE_FOOT = FOOT * FOOT
STATIONS_PER_WALL = 3
"""Plumb and bow are read at a quarter, the middle and three quarters. Common practice, no published source."""
KEY_DIAGONALS = 2
"""Diagonals taped again by somebody else, beside every wall once. Common practice, no published source."""
OPENINGS = ("door", "exit door", "roller door", "window", "gap")


def task_drivers(
    rooms: list[Room],
    plans: list[RoomPlan],
    layouts: list[RoomLayouts],
    fitouts: list[Fitout],
    lines: list[TakeOffLine],
    products: Mapping[str, Product],
    stated: Mapping[str, Decimal],
) -> tuple[dict[str, float], list[Reason]]:
    """Every driver known, by name, and a note for each computed one that the owner states otherwise.

    Floor and cover figures are left out where the rooms have none, so the tasks that need them drop out.
    """
    found = {"1": 1.0}
    for part in (
        _survey(rooms, plans, fitouts),
        _floors(layouts, lines, products),
        _walls(rooms, plans, layouts, fitouts),
        _buying(lines, products),
    ):
        found.update(part)
    panels = sum(room.walls.panel_area for room in layouts if room.walls is not None) / SQUARE_FOOT
    found["mat.and_panel_area"] = found["mat.area"] + found["fold.area"] + panels
    notes = []
    for name, amount in sorted(stated.items()):
        computed = found.get(name)
        found[name] = float(amount)
        if computed is not None and abs(computed - float(amount)) > 0.005 * max(1.0, abs(computed)):
            notes.append(
                Reason(
                    code="stated instead of computed",
                    where=name,
                    text=f"{name} is taken as stated, {amount.normalize():f}; the drawings give {computed:,.1f}",
                )
            )
    return {name: snap(amount) for name, amount in sorted(found.items())}, notes


def _survey(rooms: list[Room], plans: list[RoomPlan], fitouts: list[Fitout]) -> dict[str, float]:
    ties = checks = features = 0
    for room in rooms:
        corners = len(room.corners)
        walls = {frozenset((room.corners[i], room.corners[(i + 1) % corners])) for i in range(corners)}
        ties += sum(frozenset((r.start, r.end)) not in walls for r in room.readings)
        if room.readings:
            checks += len(walls) + KEY_DIAGONALS
        features += len(room.features) + len(room.columns)
    panelled = 0
    for fitout in fitouts:
        plan = next((p for p in plans if p.room == fitout.room), None)
        if plan is not None and fitout.walls:
            panelled += len(fitout.panelled) or len(plan.walls)
    area = sum(plan.floor_area for plan in plans) / SQUARE_FOOT
    return {
        "room.floor_area": area,
        "all.floor_area": area,
        "survey.ties": float(ties),
        "survey.check_readings": float(checks),
        "room.features": float(features),
        "wall.stations": float(panelled * STATIONS_PER_WALL),
    }


def _floors(layouts: list[RoomLayouts], lines: list[TakeOffLine], products: Mapping[str, Product]) -> dict[str, float]:
    floors = [room.floor for room in layouts if room.floor is not None]
    covers = [room.cover for room in layouts if room.cover is not None]
    folds = [room.fold_away for room in layouts if room.fold_away is not None]
    found = {
        "mat.area": sum(f.mat_area for f in floors) / SQUARE_FOOT,
        "frame.length": sum(f.frame_length for f in floors) / FOOT,
        "ramp.length": sum(f.ramp_length for f in floors) / FOOT,
        "floor.cutouts": float(sum(f.cutouts for f in floors)),
        "cover.count": float(len(covers)),
        "cover.weight": sum(c.mass for c in covers) / float(POUND_KG),
        "cover.area": sum(c.area for c in covers) / SQUARE_FOOT,
        "cover.perimeter": sum(_around(c.outline) for c in covers) / FOOT,
        "fold.area": sum(f.covered for f in folds) / SQUARE_FOOT,
        "foam.pieces": float(sum(line.quantity for line in lines if _group(line, products) == "foam")),
    }
    for role in ("base", "top"):
        layers = [(f, layer) for f in floors for layer in f.layers if layer.layer.split(" ")[0] == role]
        found[f"{role}.area"] = sum(layer.area for _, layer in layers) / SQUARE_FOOT
        found[f"{role}.edge_length"] = sum(f.edge_length for f, _ in layers) / FOOT
        found[f"{role}.joint_length"] = sum(layer.joint_length for _, layer in layers) / FOOT
    return found


def _group(line: TakeOffLine, products: Mapping[str, Product]) -> str:
    product = products.get(line.item)
    return product.lead_group if product is not None else ""


def _around(outline: list[tuple[float, float]]) -> float:
    return sum(math.dist(a, b) for a, b in zip(outline, outline[1:] + outline[:1], strict=True))


def _walls(
    rooms: list[Room], plans: list[RoomPlan], layouts: list[RoomLayouts], fitouts: list[Fitout]
) -> dict[str, float]:
    masonry = {(plan.room, wall.id) for plan in plans for wall in plan.walls if wall.construction == "masonry"}
    full = low = special = run = caps = reveals = 0.0
    stud = brick = 0.0
    for room in layouts:
        layout = room.walls
        if layout is None:
            continue
        full += layout.full_count
        low += layout.low_count
        special += layout.special_count
        run += layout.panel_run
        for elevation in layout.elevations:
            caps += elevation.cap_length
            if (room.room, elevation.wall) in masonry:
                brick += elevation.cleat_length
            else:
                stud += elevation.cleat_length
        plan = next((p for p in plans if p.room == room.room), None)
        heights = {e.wall: max((p.height for p in e.panels), default=0.0) for e in layout.elevations}
        for feature in plan.features if plan is not None else []:
            if feature.kind in ("door", "exit door", "roller door", "gap") and heights.get(feature.wall):
                # Both jambs, as high as the panels that stop there.
                reveals += 2 * heights[feature.wall]
    wrapped = {fitout.room for fitout in fitouts if fitout.column_wraps}
    columns = sum(len(plan.columns) for plan in plans if plan.room in wrapped)
    painted = edges = masked = bare = 0.0
    given = {room.id: room for room in rooms}
    for plan in plans:
        height = float(given[plan.room].height or 0) if plan.room in given else 0.0
        around = sum(wall.length for wall in plan.walls if wall.construction != "none")
        walls = sum(wall.length * (wall.height or height) for wall in plan.walls if wall.construction != "none")
        holes = sum(
            (f.end - f.start) * max(0.0, f.head - (f.sill or 0.0))
            for f in plan.features
            if f.kind in OPENINGS and f.head is not None
        )
        painted += max(0.0, walls - holes)
        edges += 2 * around if walls else 0.0
        masked += around
        if any(room.room == plan.room and room.floor is not None and room.floor.mat_area > 0 for room in layouts):
            bare += max(0.0, plan.floor_area - plan.mat_area)
    return {
        "wall.panel_run": run / FOOT,
        "cleat.stud_length": stud / FOOT,
        "cleat.masonry_length": brick / FOOT,
        "panel.count": full + low + special,
        "panel.full_count": full,
        "panel.special_count": special,
        "lowwall.length": caps / FOOT,
        "column.count": float(columns),
        "reveal.length": reveals / FOOT,
        "wall.paint_area": painted / SQUARE_FOOT,
        "paint.edge_length": edges / FOOT,
        "paint.mask_length": masked / FOOT,
        "floor.paint_area": bare / SQUARE_FOOT,
    }


def _buying(lines: list[TakeOffLine], products: Mapping[str, Product]) -> dict[str, float]:
    """One request and one order for every kind of goods, until the owner says otherwise."""
    kinds = {_group(line, products) for line in lines if line.quantity > 0}
    pieces = sum(
        line.quantity
        for line in lines
        if _group(line, products) in ("timber", "panel") and line.unit in ("sheet", "length", "each", "roll")
    )
    return {
        "rfq.count": float(len(kinds)),
        "orders.count": float(len(kinds)),
        "timber.pieces": float(pieces),
    }
