"""What stands at each side of a mat: a frame timber, a ramped edge, or foam up to the wall.

The floor system says what is usual: timber along walls or only where people walk on, a ramp at every side they walk
on. The owner may say otherwise for a single side. What cannot stand there is named with the way out, and the side keeps
what is usual.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from buildout.rooms.engine.types import MatEdge, RoomPlan
from buildout.units.value import Reason, snap
from estimating.engine import said
from estimating.engine.types import FloorSystem, MatSide, SideChoice, SideEdge

Point = tuple[float, float]

LOOKED = 6096.0
"""mm (20 ft): nobody asks for more room in front of a mat."""
MEETS = 1.0
"""mm: ends of sides closer than this are one corner."""
OVERLAP = 100.0
"""mm² that two ramps may share; more means that they stand in each other's way."""
SPOTS = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Shares of a side's length from which one looks for the next wall."""


def mat_sides(
    plan: RoomPlan, system: FloorSystem | None, choices: Sequence[SideChoice] = ()
) -> tuple[list[MatSide], list[Reason]]:
    """Every side of the mat with what stands there, and the choices that cannot hold.

    Without a system the mats only lie there, so no choice holds. Sides come in the plan's order. Never raises: an
    unknown side and a choice that makes no sense are named.
    """
    wanted = {choice.side: choice.edge for choice in choices}
    reasons = [
        said.warning(
            "side-unknown", f"The mat has no side {name}.", name,
            "Open the sides of the mat and choose again; taking a wall or a strip out names sides anew.",
        )
        for name in wanted
        if name not in {edge.id for edge in plan.mat_edges}
    ]  # fmt: skip
    sides = []
    for edge in plan.mat_edges:
        usual = usual_edge(edge, system)
        choice = wanted.get(edge.id, usual)
        if choice != usual and (refusal := _refusal(edge, system, choice)):
            reasons.append(said.warning("side-refused", refusal[0], edge.id, refusal[1]))
            choice = usual
        sides.append(
            MatSide(
                id=edge.id, a=edge.a, b=edge.b, length=edge.length, along=edge.along,
                against="open" if edge.walked_on else "low wall" if edge.kind == "low wall" else "wall", edge=choice,
                chosen=choice != usual or wanted.get(edge.id) == choice or edge.kind == "square",
                room_in_front=_room_in_front(plan, edge) if edge.walked_on else None,
            )
        )  # fmt: skip
    return sides, reasons + _without_room(sides, float(system.ramp_run or 0) if system else 0.0)


def usual_edge(edge: MatEdge, system: FloorSystem | None) -> SideEdge:
    """What a floor system puts at a side nobody said anything of."""
    if system is None:
        return "foam"
    if not edge.walked_on:
        return "frame" if system.frame and system.framed == "all round" else "foam"
    if edge.kind == "ramp" and system.ramp:
        return "ramp"
    return "frame" if system.frame else "foam"


def _refusal(edge: MatEdge, system: FloorSystem | None, choice: SideEdge) -> tuple[str, str] | None:
    """Why something cannot stand at a side, and the way out."""
    if system is None:
        return f"Mats that only lie there have nothing at {edge.id}.", "Choose a floor system that stays."
    if choice == "ramp" and not edge.walked_on:
        return (
            f"No ramp can stand at {edge.id}: the {edge.kind} is there.",
            "Ramps go where people walk on. If they do here, keep a strip along the wall clear of mat first, as deep "
            "as the ramp and the space before it, or write down the gap in the wall.",
        )
    if choice == "ramp" and not system.ramp:
        todo = "Choose the goods of a ramp in the floor system first."
        return f"{system.name} has no ramped edge for {edge.id}.", todo
    if choice == "frame" and not system.frame:
        todo = "Choose a frame timber in the floor system first."
        return f"{system.name} has no frame timber for {edge.id}.", todo
    if choice == "foam" and edge.walked_on:
        return (
            f"At {edge.id} people step on to the mat: foam that nothing holds there creeps, and its edge trips.",
            "Choose a frame timber or a ramped edge.",
        )
    return None


# ---------------------------------------------------------------- room for ramps


def half_turn(one: MatSide | None, two: MatSide | None) -> float:
    """Degrees that ramps at two sides are mitred by where the sides meet: half the turn, 0 where they do not."""
    if one is None or two is None:
        return 0.0
    headings = [math.atan2(s.b[1] - s.a[1], s.b[0] - s.a[0]) for s in (one, two)]
    return round(math.degrees(math.remainder(headings[1] - headings[0], math.tau)) / 2, 2)


def ramp_mitres(side: MatSide, ramped: Sequence[MatSide]) -> tuple[float, float]:
    """Mitres at the start and end of a ramp among all ramps of a mat, degrees."""
    before = next((s for s in ramped if s is not side and math.dist(s.b, side.a) < MEETS), None)
    after = next((s for s in ramped if s is not side and math.dist(side.b, s.a) < MEETS), None)
    return half_turn(before, side), half_turn(side, after)


def ramp_outline(side: MatSide, ramped: Sequence[MatSide], run: float) -> list[Point]:
    """Corners of a ramp seen from above, ``run`` mm deep, mitred where other ramps meet it; its toe comes last.

    Its toe lies the other way round than its head where the neighbouring ramps leave no room for it.

    >>> side = MatSide(id="s", a=(0, 0), b=(1000, 0), length=1000, along="aisle", against="open", edge="ramp")
    >>> ramp_outline(side, [side], 100)
    [(0.0, 0.0), (1000.0, 0.0), (1000.0, -100.0), (0.0, -100.0)]
    """
    start, end = (run * math.tan(math.radians(angle)) for angle in ramp_mitres(side, ramped))
    along, out = _directions(side)

    def at(point: Point, forward: float, away: float) -> Point:
        return (
            snap(point[0] + along[0] * forward + out[0] * away),
            snap(point[1] + along[1] * forward + out[1] * away),
        )

    return [at(side.a, 0, 0), at(side.b, 0, 0), at(side.b, end, run), at(side.a, -start, run)]


def _without_room(sides: Sequence[MatSide], run: float) -> list[Reason]:
    """Ramps that run into a wall, a column or another ramp."""
    import shapely

    ramped = [side for side in sides if side.edge == "ramp"]
    if run <= 0:
        return []
    found, drawn = [], []
    todo = (
        "Keep more clear in front of it, make the ramp's run shorter where no accessible route needs it, or choose a "
        "frame timber there and mark the step."
    )
    for side in ramped:
        shape = shapely.Polygon(ramp_outline(side, ramped, run))
        if side.room_in_front is not None and side.room_in_front < run - MEETS:
            text = (
                f"The ramp at {side.id} is {said.length(run)} long, but there are only "
                f"{said.length(side.room_in_front)} in front of it."
            )
            found.append(said.warning("side-no-room", text, side.id, todo))
        elif not shape.is_valid:
            text = f"At {side.id} the ramps of the neighbouring sides meet before they have run out."
            found.append(said.warning("side-no-room", text, side.id, todo))
        else:
            drawn.append((side, shape))
    for number, (one, shape) in enumerate(drawn):
        for other, across in drawn[number + 1 :]:
            if shape.intersection(across).area > OVERLAP:
                text = f"The ramps at {one.id} and {other.id} stand in each other's way."
                found.append(said.warning("side-no-room", text, other.id, todo))
    return found


def outward(side: MatEdge | MatSide) -> Point:
    """Unit vector out of the mat."""
    return _directions(side)[1]


def _directions(side: MatEdge | MatSide) -> tuple[Point, Point]:
    """Unit vectors along a side and out of the mat."""
    run = math.dist(side.a, side.b) or 1.0
    along = ((side.b[0] - side.a[0]) / run, (side.b[1] - side.a[1]) / run)
    return along, (along[1], -along[0])


def _room_in_front(plan: RoomPlan, edge: MatEdge) -> float | None:
    """mm from an open side outwards to the next wall, column or more mat; None where the room ends at that side."""
    import shapely

    if edge.along not in plan.keep_clear or len(plan.outline) < 3 or edge.length < MEETS:
        return None
    around = shapely.union_all([shapely.LinearRing(ring) for ring in (plan.outline, plan.mat_field)])
    along, out = _directions(edge)
    free = LOOKED
    for share in SPOTS:
        x, y = (edge.a[k] + along[k] * edge.length * share for k in (0, 1))
        ray = shapely.LineString([(x + out[0], y + out[1]), (x + out[0] * LOOKED, y + out[1] * LOOKED)])
        met = ray.intersection(around)
        if not met.is_empty:
            free = min(free, float(shapely.Point(x, y).distance(met)))
    far = [(p[0] + out[0] * free, p[1] + out[1] * free) for p in (edge.b, edge.a)]
    before = shapely.Polygon([edge.a, edge.b, *far])
    for column in plan.columns:
        stands = before.intersection(shapely.Polygon(column.outline))
        if stands.area > OVERLAP:
            free = min(free, min(_out_of(edge, p, out) for p in _corners(stands)))
    return snap(max(0.0, free))


def _out_of(edge: MatEdge, point: Point, out: Point) -> float:
    return (point[0] - edge.a[0]) * out[0] + (point[1] - edge.a[1]) * out[1]


def _corners(shape: Any) -> list[Point]:
    import shapely

    return [(float(x), float(y)) for x, y in shapely.get_coordinates(shape)]
