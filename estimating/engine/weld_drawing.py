"""Ways of running a cover's welds, as small plans beside each other and in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from buildout.rooms.engine.drawing import Drawing, Item, Line, Polygon, rectangle
from buildout.rooms.engine.types import RoomPlan
from buildout.units.lengths import UnitSystem, format_run
from estimating.engine.types import CoverLayout, WeldLayout, Zone

PARALLEL = math.radians(0.5)
"""A wall that runs this close to the welds is named as theirs."""


def draw_welds(
    plan: RoomPlan,
    cover: CoverLayout,
    way: WeldLayout,
    *,
    zones: Sequence[Zone] = (),
    units: UnitSystem = "feet-inches",
) -> Drawing:
    """The cover's outline with one way of running its welds, without lettering; ``zones`` should have none."""
    items: list[Item] = [
        Polygon(outline=cover.outline, holes=cover.cutouts, role="cover", title="Finished edge of the cover")
    ]
    for zone in zones:
        ring = rectangle(*(float(side) for side in (zone.x, zone.y, zone.length, zone.width)))
        items.append(Polygon(outline=ring, role="keep clear", title=f"No weld wanted: {zone.id}"))
    items += [Line(a=weld.a, b=weld.b, role="weld", title="Weld") for weld in way.welds]
    words = f"{len(way.welds)} welds {along(plan, way)}, {format_run(way.weld_length, units)} in all"
    return Drawing(
        items=items, title=f"{plan.name}: welds {along(plan, way)}", description=f"Cover of {plan.name} with {words}.",
        units=units,
    )  # fmt: skip


def along(plan: RoomPlan, way: WeldLayout) -> str:
    """Which wall the welds run along, the longest of those parallel to them.

    >>> from buildout.rooms.engine.types import PlanWall
    >>> wall = PlanWall(id="A-B", a=(0, 0), b=(0, 4000), length=4000, construction="stud", height=None, inward=(1, 0))
    >>> plan = RoomPlan(room="r", name="Room", status="feasible", outline=[], corners={}, walls=[wall], columns=[],
    ...     features=[], keep_clear={}, mat_field=[], mat_edges=[], floor_area=0, mat_area=0, reasons=[])
    >>> def way(x, y):
    ...     return WeldLayout(direction=(x, y), goods_width=1500, welds=[], weld_length=0, kept_off=0, goods_length=0,
    ...         over_joints=0)
    ...
    >>> along(plan, way(0.0, -1.0)), along(plan, way(0.6, 0.8))
    ('along wall A-B', 'askew to the walls')
    """
    heading = math.atan2(way.direction[1], way.direction[0])

    def off(a: tuple[float, float], b: tuple[float, float]) -> float:
        return abs(math.remainder(math.atan2(b[1] - a[1], b[0] - a[0]) - heading, math.pi))

    near = [wall for wall in plan.walls if off(wall.a, wall.b) <= PARALLEL]
    if not near:
        return "askew to the walls"
    return f"along wall {min(near, key=lambda wall: (round(off(wall.a, wall.b), 5), -wall.length)).id}"
