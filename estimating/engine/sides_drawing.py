"""The sides of a mat by name, with what stands at each: what the owner looks at while choosing."""

from __future__ import annotations

from collections.abc import Sequence

from buildout.rooms.engine.drawing import LABEL, SMALL, Drawing, Item, Line, Polygon, Text, TitleBlock
from buildout.rooms.engine.types import RoomPlan
from buildout.units.lengths import UnitSystem, format_length
from estimating.engine.mat_sides import outward, ramp_outline
from estimating.engine.types import FloorSystem, MatSide

Point = tuple[float, float]

THINNEST = 120.0
"""mm: a timber is drawn at least this wide, or it would be one line on a plan of a hall."""
WORDS = {"frame": "frame", "ramp": "ramp", "foam": "foam"}
LOW_WALL = 110.0
"""mm a low wall is drawn thick."""


def draw_sides(
    plan: RoomPlan,
    sides: Sequence[MatSide],
    *,
    system: FloorSystem | None = None,
    units: UnitSystem = "feet-inches",
    block: TitleBlock | None = None,
) -> Drawing:
    """Draw the mat from above with the name of every side and its frame, ramp or bare foam edge."""
    run = float(system.ramp_run or 0) if system is not None else 0.0
    timber = max(float(system.frame_width or 0), THINNEST) if system is not None and system.frame else 0.0
    items: list[Item] = [Line(a=wall.a, b=wall.b, role="wall", title=f"Wall {wall.id}") for wall in plan.walls]
    for name, ring in plan.keep_clear.items():
        items.append(Polygon(outline=ring, role="keep clear", title=f"Kept clear: {name}"))
    ramped = [side for side in sides if side.edge == "ramp"]
    for side in sides:
        words = f"{side.id}: {edge_words(side)}, {format_length(side.length, units)}"
        if timber and side.edge != "foam":
            inner = [_off(p, side, -timber) for p in (side.b, side.a)]
            items.append(Polygon(outline=[side.a, side.b, *inner], role="frame", title=words))
        else:
            items.append(Line(a=side.a, b=side.b, role="mat field", title=words))
        if side.edge == "ramp" and run:
            items.append(Polygon(outline=ramp_outline(side, ramped, run), role="ramp", hatch="sparse", title=words))
        if side.against == "low wall":
            far = [_off(p, side, LOW_WALL) for p in (side.b, side.a)]
            items.append(Polygon(outline=[side.a, side.b, *far], role="low wall", title=f"Low wall {side.along}"))
    for column in plan.columns:
        items.append(Polygon(outline=column.outline, role="column", hatch="diagonal", title=f"Column {column.id}"))
    items += [_name(side) for side in sides]
    counted = {edge: sum(1 for side in sides if side.edge == edge) for edge in WORDS}
    told = ", ".join(f"{number} {WORDS[edge]}" for edge, number in counted.items() if number)
    return Drawing(
        items=items,
        title=f"{plan.name}: sides of the mat",
        description=f"The mat of {plan.name} seen from above with its {len(sides)} sides by name: {told}.",
        units=units,
        block=block,
        notes=[
            "Each side of the mat by name, with what stands there. Ramps are drawn as long as they run; timbers are "
            "drawn wider than they are. Do not scale."
        ],
    )


def edge_words(side: MatSide) -> str:
    """What stands at a side, in words.

    >>> edge_words(MatSide(id="s", a=(0, 0), b=(1, 0), length=1, along="A-B", against="wall", edge="foam"))
    'foam up to the wall'
    """
    return {
        "frame": "frame timber, a square step" if side.against == "open" else f"frame timber along the {side.against}",
        "ramp": "ramped edge",
        "foam": "foam that ends there" if side.against == "open" else f"foam up to the {side.against}",
    }[side.edge]


def _off(point: Point, side: MatSide, distance: float) -> Point:
    out = outward(side)
    return round(point[0] + out[0] * distance, 2) + 0.0, round(point[1] + out[1] * distance, 2) + 0.0


def _name(side: MatSide) -> Text:
    """Its name inside the mat, beside the middle of the side, or slid along it where that is taken."""
    x, y = outward(side)
    along = (-y, x)
    places = [(-x * d + along[0] * s, -y * d + along[1] * s) for d in (6.5, 10.0, 13.5) for s in (0.0, 9.0, -9.0)]
    return Text(
        at=((side.a[0] + side.b[0]) / 2, (side.a[1] + side.b[1]) / 2), text=f"{side.id}\n{WORDS[side.edge]}",
        rest=SMALL / LABEL, shift=places[0], or_shift=places[1:], clear=True,
    )  # fmt: skip
