"""Caps and free ends of low walls: padded, cut and numbered like panels.

A cap is a board with foam and vinyl round it, fixed from below on the wall's top; it stands 1/2 in out beyond the
panels' face and, where an end is free, beyond the panel that pads the end. Common practice, no published source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from buildout.rooms.engine.types import PlacedFeature, PlanWall, RoomPlan
from buildout.units.value import Reason, snap
from estimating.engine import said
from estimating.engine.pinned_runs import Run, divide, evenly, shares
from estimating.engine.pins import SAME, refused
from estimating.engine.types import Panel, Pin, Product, WallElevation, WallSystem

OVERHANG = 12.7
"""mm (1/2 in) that a cap stands out beyond the panels below it."""
CAP_BOARD = 19.05
"""mm (3/4 in): a cap's board where its product states no thickness."""
CLEAR = 812.8
"""mm (32 in): least clear width of a way through in the US accessibility standards; local code decides."""
TOUCHING = 1.0
STAPLE_EVERY = 38.1
"""mm (1 1/2 in)."""


def trim_low_walls(
    plan: RoomPlan,
    wall: PlanWall,
    elevation: WallElevation,
    between: tuple[float, float],
    system: WallSystem,
    products: Mapping[str, Product],
    foam: float,
    board: float,
    pins: Sequence[Pin],
    reasons: list[Reason],
) -> list[Panel]:
    """Caps, in sections no longer than their board and foam, and padded ends of a wall's low walls.

    ``between``: the part of the wall that gets panels, mm from its first corner; ``foam`` and ``board``: thicknesses
    of a panel's parts. A cap's ``height`` is its depth across the wall: the wall, what the panels' faces stand off it
    on the room's side, and the overhang. An end is free beside a gap; its panel laps the edge of the last low panel.
    """
    found: list[Panel] = []
    on_caps = [pin for pin in pins if (pin.layer, pin.wall) == ("caps", wall.id) and pin.kind != "product"]
    features = [f for f in plan.features if f.wall == wall.id]
    for item in (f for f in features if f.kind == "low wall"):
        below = [p for p in elevation.panels if p.kind == "low" and item.start - TOUCHING <= p.start < item.end]
        if not below:
            continue
        gaps = [f for f in features if f.kind == "gap"]
        before = next((g for g in gaps if abs(g.end - item.start) < TOUCHING), None)
        after = next((g for g in gaps if abs(g.start - item.end) < TOUCHING), None)
        start, end = max(between[0], item.start), min(between[1], item.end)
        thick = item.thickness
        if thick is None:
            _no_thickness(item, system, products, reasons)
        else:
            for gap, at in ((before, item.start), (after, item.end)):
                if gap is not None:
                    number = sum(panel.kind == "wall end" for panel in found) + 1
                    found.append(_end(wall, below, at, gap, thick, system, products, (foam, board), number, reasons))
        capped = sum(panel.kind == "cap" for panel in found)
        sections, on_caps = _cap(
            item, wall, (start, end), (before, after), system, products, foam, capped, on_caps, reasons
        )
        found += sections
    for pin in on_caps:
        todo = "State a distance that lies on the low wall, from the wall's first corner."
        reasons.append(refused(pin, f"no cap lies there on wall {wall.id}", todo))
    return found


def held_ends(trims: Sequence[Panel], pins: Sequence[Pin]) -> list[Reason]:
    """Pins of padded ends that do not hold: an end lies where its low wall ends, as wide as that is thick."""
    ends = [panel for panel in trims if panel.kind == "wall end"]
    found = []
    for pin in (p for p in pins if p.layer == "ends"):
        here = [panel for panel in ends if panel.wall == pin.wall]
        if pin.kind != "piece" or pin.x is None or pin.module is None:
            todo = "State the wall, where the end begins and how wide it is."
            found.append(refused(pin, "it does not say which free end of a low wall it is", todo))
        elif not here:
            names = ", ".join(sorted({panel.wall for panel in ends}))
            todo = f"Name one of {names}." if names else "State the low wall's thickness and its gap, or unpin."
            found.append(refused(pin, f"wall {pin.wall or 'unnamed'} has no padded free end", todo))
        elif not any(abs(p.start - float(pin.x)) <= SAME and abs(p.width - float(pin.module)) <= SAME for p in here):
            near = min(here, key=lambda p: abs(p.start - float(pin.x or 0)))
            why = f"the free end there is {said.length(near.width)} wide, {said.length(near.start)} from the corner"
            found.append(refused(pin, why, "Move the low wall's end in the room, or pin it as it lies now."))
    return found


def _no_thickness(
    item: PlacedFeature, system: WallSystem, products: Mapping[str, Product], reasons: list[Reason]
) -> None:
    cap = products.get(system.cap)
    taken = (
        f"its cap is taken as deep as the board, {said.length(float(cap.width))}"
        if cap is not None and cap.width is not None
        else "its cap's foam and face are not counted"
    )
    text = f"The thickness of {item.id} is not stated: {taken}, and its free ends are not padded."
    reasons.append(said.warning("walls-low-thickness", text, item.id, "Measure it, such as 4 5/8 in."))


def _cap(
    item: PlacedFeature,
    wall: PlanWall,
    run: tuple[float, float],
    free: tuple[PlacedFeature | None, PlacedFeature | None],
    system: WallSystem,
    products: Mapping[str, Product],
    foam: float,
    numbered: int,
    pins: Sequence[Pin],
    reasons: list[Reason],
) -> tuple[list[Panel], list[Pin]]:
    """Sections of one low wall's cap, and the pins that lie on none of them."""
    product = products.get(system.cap)
    if product is None:
        return [], list(pins)
    thick = stand_off(system, products)
    width = float(product.width) if product.width is not None else None
    depth = snap(item.thickness + thick + OVERHANG) if item.thickness is not None else width
    if depth is None:
        return [], list(pins)
    if width is not None and width < depth - 0.05:
        text = f"The cap of {item.id} is {said.length(depth)} deep but its board only {said.length(width)} wide."
        todo = "Choose a wider board: wall, panels and 1/2 in beyond their face."
        reasons.append(said.warning("walls-cap-board", text, item.id, todo))
    out = thick + OVERHANG if item.thickness is not None else 0.0
    start, end = snap(run[0] - (out if free[0] else 0.0)), snap(run[1] + (out if free[1] else 0.0))
    sheet = products[system.foam]
    over = 2 * float(system.foam_edge)
    limits = [float(product.length)] if product.length is not None else []
    limits += [max(float(s) for s in (sheet.length, sheet.width) if s is not None) - over] if sheet.length else []
    longest = min(limits) if limits and min(limits) > 0 else math.inf
    own = [pin for pin in pins if pin.x is None or start - SAME <= float(pin.x) < end]
    least = min(float(system.narrowest_end), (end - start) / 2)
    parts, refusals = divide(Run(snap(end - start), longest, least, "cap section", begin=start), own)
    reasons += refusals
    timber = float(product.thickness) if product.thickness is not None else CAP_BOARD
    side = 2 * (foam + timber + float(system.turn_back_side))
    ends = 2 * (foam + timber + float(system.turn_back_end))
    found = []
    masses = (
        mass_per_area(product, timber), mass_per_area(sheet, foam),
        mass_per_area(products[system.face]) if system.face in products else None,
    )  # fmt: skip
    for number, (at, long) in enumerate(shares(parts, evenly(longest))):
        blanks = ((long, depth), (snap(long + over), snap(depth + over)), (snap(long + ends), snap(depth + side)))
        found.append(
            Panel(
                id=f"{wall.id}.c{numbered + number + 1}", wall=wall.id, kind="cap", start=snap(start + at), width=long,
                bottom=snap(item.head if item.head is not None else 0.0), height=depth, board=(long, depth),
                face=blanks[2], foam=blanks[1], mass=parts_mass(blanks, masses),
                staples=math.ceil(2 * (long + depth) / STAPLE_EVERY - 1e-9), thickness=snap(timber + foam),
            )
        )  # fmt: skip
    text = (
        f"The cap of {item.id} is {said.length(end - start)} long and {said.length(depth)} deep, in "
        f"{said.count(len(found), 'section')}; hang the panels below it first, then fix it from below."
    )
    reasons.append(said.note("walls-cap", text, item.id, "Check that the wall is stiff before anyone leans on it."))
    return found, [pin for pin in pins if pin not in own]


def _end(
    wall: PlanWall,
    below: list[Panel],
    at: float,
    gap: PlacedFeature,
    thick: float,
    system: WallSystem,
    products: Mapping[str, Product],
    parts: tuple[float, float],
    number: int,
    reasons: list[Reason],
) -> Panel:
    foam, board = parts
    own = stand_off(system, products)
    width, height = snap(thick + own), max(p.height for p in below)
    side = 2 * (foam + board + float(system.turn_back_side))
    ends = 2 * (foam + board + float(system.turn_back_end))
    over = 2 * float(system.foam_edge)
    left = gap.end - gap.start - own
    text = f"The panel on the free end of a low wall leaves {said.length(left)} of {gap.id}."
    if left < CLEAR:
        todo = f"Leave {said.length(CLEAR)} at least where people pass; local code decides."
        reasons.append(said.warning("walls-narrowed", text, gap.id, todo))
    else:
        reasons.append(said.note("walls-low-end", text, gap.id))
    blanks = ((height, width), (snap(height + over), snap(width + over)), (snap(height + ends), snap(width + side)))
    goods = [products.get(name) for name in (system.board, system.foam, system.face)]
    masses = [mass_per_area(one) if one is not None else None for one in goods]
    return Panel(
        id=f"{wall.id}.e{number}", wall=wall.id, kind="wall end", start=snap(at if at <= gap.start else at - own),
        width=width, bottom=below[0].bottom, height=height, board=blanks[0], face=blanks[2], foam=blanks[1],
        mass=parts_mass(blanks, masses),
        staples=math.ceil(2 * (height + width) / STAPLE_EVERY - 1e-9), thickness=own,
    )  # fmt: skip


def stand_off(system: WallSystem, products: Mapping[str, Product]) -> float:
    """mm from a wall to the faces of the panels on it: their thickness and that of the cleats they hang on, if stated.

    Wall rail and panel rail hook into each other, so that they lie in one plane.
    """
    cleat = products.get(system.cleat)
    return float(system.thickness) + float(cleat.thickness or 0 if cleat is not None else 0)


def board_and_foam(system: WallSystem, products: Mapping[str, Product]) -> tuple[float, float]:
    """mm of a panel's board and foam; what their products leave unsaid is told by the panel's thickness."""
    foam, board = products[system.foam].thickness, products[system.board].thickness
    thick = float(system.thickness)
    if foam is None and board is None:
        return thick * 0.25, thick * 0.75
    board_mm = float(board) if board is not None else max(0.0, thick - float(foam or 0))
    return board_mm, float(foam) if foam is not None else max(0.0, thick - board_mm)


def mass_per_area(product: Product, thickness: float | None = None) -> float | None:
    """kg/m² of a product, ``thickness`` mm where it states none of its own; None where its density is missing."""
    if product.mass_per_area is not None:
        return float(product.mass_per_area)
    thick = float(product.thickness) if product.thickness is not None else thickness
    return float(product.density) * thick / 1000 if product.density is not None and thick is not None else None


def parts_mass(blanks: Sequence[tuple[float, float]], masses: Sequence[float | None]) -> float:
    """kg of board, foam and face by their blanks (mm) and masses (kg/m²); 0 where one of these is missing.

    >>> parts_mass([(1000, 500), (1000, 500)], [6.0, 2.0]), parts_mass([(1000, 500)], [None])
    (4.0, 0.0)
    """
    known = [mass for mass in masses if mass is not None]
    if len(known) < len(masses):
        return 0.0
    return snap(sum(a * b / 1e6 * each for (a, b), each in zip(blanks, known, strict=True)), 0.001)


def cap_boards(elevation: WallElevation) -> list[tuple[str, float]]:
    """Runs of cap board by name, mm: every section, or the low walls' length where no section could be worked out."""
    sections = [(panel.id, panel.width) for panel in elevation.trims if panel.kind == "cap"]
    return sections or ([(elevation.wall, elevation.cap_length)] if elevation.cap_length > 0 else [])
