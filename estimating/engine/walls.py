"""Wall panels: which panel goes where on every wall, what is left free, blanks, cleats and caps.

Rules are common practice, no published source, unless named: whole modules from an opening towards the corner, no end
panel narrower than stated (two are widened instead), a reveal at every casing, nothing over exits, call
points, extinguishers, panelboards or thermostats, one wall runs through at an inside corner and the other
butts against its face, at an outside corner one laps the other's edge.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from typing import Literal

import msgspec

from buildout.rooms.engine.types import PlacedFeature, PlanWall, RoomPlan
from buildout.units.value import Reason, Status, snap
from estimating.engine import said
from estimating.engine.column_wraps import WRAP_FOAM, wrap_column, wrap_foam, wrap_sheets
from estimating.engine.low_walls import (
    board_and_foam,
    held_ends,
    mass_per_area,
    parts_mass,
    stand_off,
    trim_low_walls,
)
from estimating.engine.pins import refused
from estimating.engine.types import (
    CleatLine,
    CutOut,
    Fitout,
    Panel,
    Pin,
    Product,
    WallElevation,
    WallLayout,
    WallSystem,
)

CREEP = 3.175
"""mm (1/8 in) that upholstered panels stand off a neighbour's face."""
SERVICE_CLEAR = {"call point": 152.4, "extinguisher": 228.6, "thermostat": 152.4, "panelboard": 25.4}
"""mm kept free on each side of services that may not be covered."""
BOARD_SPACE = 762.0
"""mm (30 in) of width before a panelboard: US National Electrical Code 110.26, for orientation; local code decides."""
PLATE = 76.2
"""mm (3 in) from the middle of an outlet or switch to where its cut-out ends."""
ROUND_PLATE = 12.7
"""mm (1/2 in) that a cut-out is larger than its plate at every side."""
OPENINGS = ("door", "exit door", "roller door", "window", "gap")
NARROWEST_MODULE = 100.0
"""mm; a narrower module is a slip of the pen."""
EXACT = 1.0
"""mm; a remainder smaller than this is taken up by packing."""

CLEAT_DROP, SPACER_RISE = 127.0, 152.4
"""mm (5 in and 6 in): a panel's cleat below its top, the spacer that keeps it plumb above its bottom."""
FIXING_EVERY = 406.4
"""mm (16 in): between fixings where the system states no spacing; that of studs."""
STUD_BITE = 38.1
"""mm (1 1/2 in) of a screw in the stud."""
FIXED_TO = {
    "masonry": "sleeve or screw anchors, edge distance to their maker",
    "stud": "a screw into every stud, {bite} of bite",
}
"""How a cleat is fixed, by the wall's construction. Common practice, no published source; the makers decide."""
STAPLE_EVERY = 38.1
"""mm (1 1/2 in) between staples along a panel's edge."""
ONE_PERSON = 18.14
"""kg (40 lb): a heavier panel is hung by two."""

Kind = Literal["free", "removable", "low", "plain"]


@dataclass(frozen=True)
class Stretch:
    """Part of a wall, from its first corner, with what belongs there."""

    start: float
    end: float
    kind: Kind
    why: str = ""

    @property
    def length(self) -> float:
        return self.end - self.start


@dataclass
class Corner:
    """How a wall's run is shortened (+) or lengthened (−) at its two ends, and why."""

    start: float = 0.0
    end: float = 0.0
    start_why: str = ""
    notes: list[Reason] = field(default_factory=list)


@dataclass(frozen=True)
class Blanks:
    """Sizes a panel's parts exceed its face by, mm."""

    foam: float
    board: float
    side: float
    ends: float
    oversize: float
    board_mass: float | None
    foam_mass: float | None
    face_mass: float | None
    """kg/m² of each part; None where it is missing."""

    def corners(self) -> float:
        """Fabric of one panel that is folded in at its four corners, mm²."""
        return 4 * (self.foam + self.board + self.side) * (self.foam + self.board + self.ends)

    def mass(self, board: tuple[float, float], foam: tuple[float, float], face: tuple[float, float]) -> float:
        """kg of a panel; 0 where a part's mass is missing."""
        return parts_mass((board, foam, face), (self.board_mass, self.foam_mass, self.face_mass))

    def face(self, height: float, width: float) -> tuple[float, float]:
        """Fabric blank (along the goods, across): the face, over foam edge and board edge, turned back."""
        return (
            snap(height + 2 * (self.foam + self.board + self.ends)),
            snap(width + 2 * (self.foam + self.board + self.side)),
        )


def lay_walls(plan: RoomPlan, system: WallSystem, fitout: Fitout, products: dict[str, Product]) -> WallLayout:
    """Lay wall panels along every panelled wall of a room.

    On each wall panel widths and free runs add up to the wall's length, plus the panels' stand-off and 1/8 in where the
    wall laps its neighbour's edge at an outside corner. Status ``feasible``: the rules fix the layout, no other was
    compared. Never raises for bad numbers.
    """
    given = system
    system, pinned, pin_reasons = _pinned_products(system, fitout.pins, products)
    problems = _unfit(system, products)
    chosen = [w for w in plan.walls if (not fitout.panelled or w.id in fitout.panelled)]
    chosen = [w for w in chosen if w.construction != "none"]
    if problems:
        return _result(plan, system, "infeasible", [], [], problems)
    reasons = pin_reasons + _unknown(plan, system, fitout)
    blanks = _blanks(system, products)
    reasons += _overlapping(plan, {wall.id for wall in chosen})
    stretches = {wall.id: _stretches(plan, wall, system, fitout, reasons) for wall in chosen}
    off = stand_off(system, products)
    if off > float(system.thickness):
        text = (
            f"Panel faces stand {said.length(off)} off the wall: {said.length(float(system.thickness))} of panel and "
            f"{said.length(off - float(system.thickness))} of cleat."
        )
        todo = "Packing behind them on a wall that is not plumb or bows comes on top."
        reasons.append(said.note("walls-stand-off", text, system.cleat, todo))
    corners = _corners(plan, chosen, stretches, off, reasons)
    elevations = []
    for wall in chosen:
        own, joints = _pinned(wall, fitout.pins, stretches[wall.id], corners[wall.id], system, products, reasons)
        joints = _pinned_panels(wall, fitout.pins, stretches[wall.id], corners[wall.id], own, joints, reasons)
        made = _elevation(plan, wall, stretches[wall.id], corners[wall.id], own, blanks, reasons, joints)
        _jointless(made, fitout.pins, reasons)
        between = (corners[wall.id].start, wall.length - corners[wall.id].end)
        trims = trim_low_walls(
            plan, wall, made, between, own, products, blanks.foam, blanks.board, fitout.pins, reasons
        )
        elevations.append(msgspec.structs.replace(made, trims=trims) if trims else made)
    for pin in fitout.pins:
        if pin.layer in ("walls", "caps") and pin.kind != "product" and pin.wall not in {wall.id for wall in chosen}:
            todo = f"Name one of {', '.join(sorted(wall.id for wall in chosen)) or 'the walls that get panels'}."
            reasons.append(refused(pin, f"wall {pin.wall or 'unnamed'} gets no panels", todo))
    reasons += held_ends([panel for elevation in elevations for panel in elevation.trims], fitout.pins)
    wraps: list[Panel] = []
    wrapped = plan.columns if fitout.column_wraps else []
    for column in wrapped:
        wraps += wrap_column(column, system, products, fitout.pins, reasons)
    for pin in (p for p in fitout.pins if p.layer == "wraps" and p.wall not in {column.id for column in wrapped}):
        names = ", ".join(sorted(column.id for column in wrapped))
        todo = f"Name one of {names}." if names else "Choose to wrap the columns, or unpin."
        reasons.append(refused(pin, f"column {pin.wall or 'unnamed'} gets no wrap", todo))
    if wrapped and (sheets := wrap_sheets(products[system.foam])) > 1:
        text = (
            f"Column wraps need {said.length(WRAP_FOAM)} of foam at least: the panel foam is laid {sheets} times "
            f"there, {said.length(wrap_foam(products[system.foam]))} in all."
        )
        todo = "A thicker foam for the columns makes a slimmer jacket."
        reasons.append(said.note("walls-wrap-foam", text, system.foam, todo))
    reasons += _too_wide(elevations, system, products)
    status: Status = "feasible" if any(e.panels for e in elevations) or wraps else "empty"
    if status == "empty":
        todo = "Name the walls to be panelled, or check module and wall lengths."
        reasons.append(said.warning("walls-none", "No wall panel fits in this room.", plan.room, todo))
    reasons += _hung(plan, elevations, wraps, system, blanks)
    layout = _result(plan, given, status, elevations, wraps, reasons, blanks.corners())
    return msgspec.structs.replace(layout, pinned=pinned)


def _pinned_products(
    system: WallSystem, pins: Sequence[Pin], products: dict[str, Product]
) -> tuple[WallSystem, dict[str, str], list[Reason]]:
    """The system with the products that are pinned: each takes the part whose product is sold in the same form."""
    pinned: dict[str, str] = {}
    reasons: list[Reason] = []
    for pin in (p for p in pins if p.layer in ("walls", "caps") and p.kind == "product"):
        product = products.get(pin.product)
        parts = {"board": system.board, "foam": system.foam, "face": system.face}
        if pin.layer == "caps":
            parts = {"cap": system.cap}
        same = [
            part
            for part, usual in parts.items()
            if product is not None and usual in products
            and (products[usual].form, products[usual].lead_group) == (product.form, product.lead_group)
        ]  # fmt: skip
        if product is None:
            why = f"{pin.product or 'its product'} is not in the list of products"
            reasons.append(refused(pin, why, "Add it, or pin another one."))
        elif len(same) != 1:
            of = "the low walls' cap" if pin.layer == "caps" else "the panels' board, foam or face"
            why = f"{product.name} cannot be told to be {of}"
            reasons.append(refused(pin, why, "Choose it in the wall system, part by part."))
        elif pinned.get(same[0], pin.product) != pin.product:
            why = f"the {same[0]} is already pinned to {pinned[same[0]]}"
            reasons.append(refused(pin, why, "Take off one of the two pins."))
        else:
            pinned[same[0]] = pin.product
    return msgspec.structs.replace(system, **pinned), pinned, reasons


def _by_size(panels: list[Panel]) -> list[tuple[float, float, int]]:
    """Fabric blanks by size, the most frequent first."""
    counted = Counter(p.face for p in panels if min(p.face) > 0)
    return [(a, b, n) for (a, b), n in sorted(counted.items(), key=lambda c: (-c[1], c[0]))]


def _hung(
    plan: RoomPlan, elevations: list[WallElevation], wraps: list[Panel], system: WallSystem, blanks: Blanks
) -> list[Reason]:
    """How panels are fixed by substrate, who lifts them, and what is missing to say so."""
    found = []
    panels = [panel for elevation in elevations for panel in elevation.panels]
    kinds = {wall.id: wall.construction for wall in plan.walls}
    spacing = float(system.anchor_spacing) if system.anchor_spacing is not None else FIXING_EVERY
    every = {"masonry": f"every {said.length(spacing)}", "stud": f"about every {said.length(FIXING_EVERY)}"}
    for kind, how in FIXED_TO.items():
        how = f"{how.format(bite=said.length(STUD_BITE))}, {every[kind]}"
        walls = sorted(e.wall for e in elevations if e.cleats and kinds.get(e.wall) == kind)
        if walls:
            text = (
                f"Cleats on {kind} walls ({', '.join(walls)}): {how}. The load is the panels and people thrown against "
                "them; the anchor maker's capacities decide."
            )
            todo = "Ask someone competent about weak walls."
            found.append(said.note("walls-fixings", text, walls[0], todo))
    missing = [
        name
        for name, known in (("board", blanks.board_mass), ("foam", blanks.foam_mass), ("face", blanks.face_mass))
        if known is None
    ]
    if panels and missing:
        text = f"The panels' mass cannot be told: no density or mass per area of their {', '.join(missing)}."
        found.append(said.note("walls-mass", text, system.id, "Type it from the data sheet."))
    trims = [panel for elevation in elevations for panel in elevation.trims]
    if not missing and any(not panel.mass for panel in trims):
        text = "The caps' mass cannot be told: no density or mass per area of their board."
        found.append(said.note("walls-mass", text, system.cap, "Type it from the data sheet."))
    heavy = [p for p in [*panels, *trims, *wraps] if p.mass > ONE_PERSON]
    if heavy:
        most = max(p.mass for p in heavy)
        count = said.count(len(heavy), "panel weighs", "panels weigh")
        text = f"{count} over {said.mass(ONE_PERSON)}, up to {said.mass(most)}: two people lift and hang each."
        found.append(said.note("walls-two-people", text, heavy[0].id))
    return found


def _cleats(panels: list[Panel], system: WallSystem, masonry: bool) -> list[CleatLine]:
    """A rail and a row of spacers behind every unbroken run of fixed panels of one height."""
    drop = float(system.cleat_drop) if system.cleat_drop is not None else CLEAT_DROP
    rise = float(system.spacer_rise) if system.spacer_rise is not None else SPACER_RISE
    stated = float(system.anchor_spacing) if system.anchor_spacing is not None else 0.0
    spacing = stated if masonry and stated > 0 else FIXING_EVERY
    runs: list[list[Panel]] = []
    for panel in panels:
        last = runs[-1][-1] if runs else None
        if last is None or last.height != panel.height or abs(last.start + last.width - panel.start) > EXACT:
            runs.append([])
        runs[-1].append(panel)
    found = []
    for run in runs:
        start, end = run[0].start, snap(run[-1].start + run[-1].width)
        top = run[0].bottom + run[0].height
        fixings = math.floor((end - start) / spacing + 1e-9) + 1
        found.append(
            CleatLine(
                kind="cleat",
                height=snap(max(run[0].bottom, top - drop)),
                start=start,
                end=end,
                spacing=spacing,
                fixings=fixings,
            )
        )
        found.append(
            CleatLine(
                kind="spacer",
                height=snap(min(top, run[0].bottom + rise)),
                start=start,
                end=end,
                spacing=0.0,
                fixings=0,
            )
        )
    return found


def _result(
    plan: RoomPlan,
    system: WallSystem,
    status: Status,
    elevations: list[WallElevation],
    wraps: list[Panel],
    reasons: list[Reason],
    corners: float = 0.0,
) -> WallLayout:
    """``corners``: fabric folded in at one panel's corners, mm²."""
    panels = [panel for elevation in elevations for panel in elevation.panels]
    trims = [panel for elevation in elevations for panel in elevation.trims]
    folded = sum((p.face[0] - p.board[0]) * (p.face[1] - p.board[1]) for p in trims)
    return WallLayout(
        room=plan.room,
        system=system.id,
        status=status,
        elevations=elevations,
        wraps=wraps,
        full_count=sum(1 for p in panels if p.kind in ("full", "removable")),
        low_count=sum(1 for p in panels if p.kind == "low"),
        special_count=sum(1 for p in panels if p.kind in ("end", "cut-out")),
        faces=_by_size([*panels, *trims, *wraps]),
        corner_fabric=snap(corners * len(panels) + folded),
        staples=sum(p.staples for p in [*panels, *trims]),
        mass=_summed(panels),
        trim_mass=_summed(trims),
        wrap_mass=_summed(wraps),
        panel_run=snap(sum(p.width for p in panels)),
        panel_area=snap(sum(p.width * p.height for p in panels)),
        reasons=reasons,
    )


def _summed(panels: list[Panel]) -> float:
    return snap(sum(p.mass for p in panels), 0.001) if all(p.mass for p in panels) else 0.0


def _unfit(system: WallSystem, products: dict[str, Product]) -> list[Reason]:
    found = []
    if float(system.module) < NARROWEST_MODULE or float(system.height) <= 0:
        text = f"{system.name} has a panel that is too small to make."
        found.append(said.stop("walls-size", text, system.id, "Type module and height, such as 48 in and 72 in."))
    elif float(system.narrowest_end) > float(system.module):
        text = "The narrowest end panel is wider than the module."
        found.append(said.stop("walls-end", text, system.id, "Type a smaller width, such as 12 in."))
    for part, id_ in (("board", system.board), ("foam", system.foam), ("face", system.face)):
        if id_ not in products:
            text = f"The panel's {part} speaks of a product that is not in the list: {id_}."
            found.append(said.stop("walls-product", text, id_, "Add the product or choose another one."))
    return found


def _unknown(plan: RoomPlan, system: WallSystem, fitout: Fitout) -> list[Reason]:
    found = []
    walls = {wall.id for wall in plan.walls}
    for name in fitout.panelled:
        if name not in walls:
            text = f"There is no wall {name} in {plan.name}, so it gets no panels."
            found.append(said.warning("walls-unknown", text, name, f"Name one of {', '.join(sorted(walls))}."))
    features = {feature.id for feature in plan.features}
    for name in fitout.removable:
        if name not in features:
            text = f"There is no opening {name} in {plan.name} for removable panels."
            found.append(said.warning("walls-unknown", text, name, "Name a feature of this room."))
    return found


def _overlapping(plan: RoomPlan, walls: set[str]) -> list[Reason]:
    """Openings of one wall that cannot both be where they are said to be."""
    found = []
    openings = [f for f in plan.features if f.wall in walls and f.kind in OPENINGS]
    for one, two in combinations(sorted(openings, key=lambda f: (f.wall, f.start, f.id)), 2):
        if one.wall != two.wall or two.start > one.end - EXACT:
            continue
        low = max(one.sill or 0.0, two.sill or 0.0)
        high = min(f.head if f.head is not None else math.inf for f in (one, two))
        if low < high - EXACT:
            over = min(one.end, two.end) - two.start
            text = f"{one.id} and {two.id} overlap by {said.length(over)} on wall {one.wall}; both are left free."
            todo = "Measure both again from the wall's first corner."
            found.append(said.warning("walls-overlap", text, two.id, todo))
    return found


def _blanks(system: WallSystem, products: dict[str, Product]) -> Blanks:
    board_mm, foam_mm = board_and_foam(system, products)
    return Blanks(
        foam_mm, board_mm, float(system.turn_back_side), float(system.turn_back_end), float(system.foam_edge),
        *(mass_per_area(products[part]) for part in (system.board, system.foam, system.face)),
    )  # fmt: skip


# ---------------------------------------------------------------- what belongs where


def _stretches(
    plan: RoomPlan, wall: PlanWall, system: WallSystem, fitout: Fitout, reasons: list[Reason]
) -> list[Stretch]:
    """Free, removable and low stretches of a wall, in order and not overlapping; the rest is plain."""
    reveal = float(system.reveal)
    low, top = float(system.bottom), float(system.bottom) + float(system.height)
    found: list[Stretch] = []
    for item in sorted((f for f in plan.features if f.wall == wall.id), key=lambda f: (f.start, f.id)):
        name = feature_name(item)
        if item.kind in ("door", "exit door"):
            if item.id in fitout.removable:
                text = f"{item.id} is a way out or a door in use and never gets panels in front, removable or not."
                reasons.append(said.warning("walls-exit", text, item.id, "Take it off the list of removable panels."))
            found.append(Stretch(item.start - reveal, item.end + reveal, "free", name))
        elif item.kind == "roller door":
            kind: Kind = "removable" if item.id in fitout.removable else "free"
            found.append(Stretch(item.start - reveal, item.end + reveal, kind, name))
        elif item.kind == "gap":
            found.append(Stretch(item.start, item.end, "free", name))
        elif item.kind == "low wall":
            found.append(Stretch(item.start, item.end, "low", item.id))
        elif item.kind == "window":
            if item.sill is None or item.sill < top:
                found.append(Stretch(item.start - reveal, item.end + reveal, "free", name))
        elif item.kind in SERVICE_CLEAR and _in_reach(item, low, top):
            found.append(_kept_clear(item, name, reasons))
    return _in_order(found)


def feature_name(item: PlacedFeature) -> str:
    """What people call an opening or a service: its own name, with its kind where that does not say it."""
    return item.id if item.kind in item.id.replace("-", " ") else f"{item.kind} {item.id}"


def _in_reach(item: PlacedFeature, low: float, top: float) -> bool:
    bottom = item.sill if item.sill is not None else low
    return bottom < top and (item.head if item.head is not None else bottom) >= low


def _kept_clear(item: PlacedFeature, name: str, reasons: list[Reason]) -> Stretch:
    side = SERVICE_CLEAR[item.kind]
    start, end = item.start - side, item.end + side
    if item.kind == "panelboard":
        middle = (item.start + item.end) / 2
        start, end = min(start, middle - BOARD_SPACE / 2), max(end, middle + BOARD_SPACE / 2)
        text = (
            f"The space before {item.id} stays clear {said.length(end - start)} wide (US figure for orientation; "
            "local code decides the depth and height too)."
        )
        reasons.append(said.note("walls-panelboard", text, item.id))
    return Stretch(start, end, "free", name)


def _in_order(found: list[Stretch]) -> list[Stretch]:
    """Cut overlaps away: free wins over removable, removable over low; touching free stretches are joined."""
    order: list[Kind] = ["free", "removable", "low"]
    marks = sorted({snap(m) for s in found for m in (s.start, s.end)})
    kept: list[Stretch] = []
    for a, b in pairwise(marks):
        middle = (a + b) / 2
        here = [s for s in found if s.start <= middle <= s.end]
        if not here:
            continue
        kind = min((s.kind for s in here), key=order.index)
        why = [s.why for s in here if s.kind == kind]
        last = kept[-1] if kept else None
        if last is not None and last.kind == kind and abs(last.end - a) < EXACT and kind == "free":
            words = last.why.split(", ")
            kept[-1] = Stretch(last.start, b, kind, ", ".join([*words, *(w for w in why if w not in words)]))
        elif last is not None and last.kind == kind and abs(last.end - a) < EXACT and last.why == why[0]:
            kept[-1] = Stretch(last.start, b, kind, last.why)
        else:
            kept.append(Stretch(a, b, kind, ", ".join(why) if kind == "free" else why[0]))
    return kept


# ---------------------------------------------------------------- corners


def _corners(
    plan: RoomPlan,
    chosen: list[PlanWall],
    stretches: dict[str, list[Stretch]],
    off: float,
    reasons: list[Reason],
) -> dict[str, Corner]:
    """``off``: mm that panel faces stand off their wall."""
    ids = {wall.id for wall in chosen}
    found = {wall.id: Corner() for wall in chosen}
    give = off + CREEP
    for place, after in enumerate(plan.walls):
        before = plan.walls[place - 1]
        if after.id not in ids or before.id not in ids or before.id == after.id:
            continue
        if _free_at(stretches[before.id], before.length) or _free_at(stretches[after.id], 0.0):
            continue
        heading = ((after.b[0] - after.a[0]) / after.length, (after.b[1] - after.a[1]) / after.length)
        turn = heading[0] * before.inward[0] + heading[1] * before.inward[1]
        if abs(turn) < math.sin(math.radians(10)):
            continue
        where = f"{before.id}/{after.id}"
        if turn > 0:
            found[after.id].start = give
            found[after.id].start_why = f"face of the panels on {before.id}"
            text = (
                f"Inside corner {where}: {before.id} runs through and is hung first, {after.id} butts against it "
                f"{said.length(give)} short."
            )
        else:
            found[before.id].end = -give
            text = (
                f"Outside corner {where}: {before.id} laps the edge of {after.id} by {said.length(give)}; "
                "upholster that edge."
            )
        reasons.append(said.note("walls-corner", text, where))
    return found


def _free_at(stretches: list[Stretch], position: float) -> bool:
    return any(s.kind == "free" and s.start - EXACT <= position <= s.end + EXACT for s in stretches)


# ---------------------------------------------------------------- one wall


def _pinned(
    wall: PlanWall,
    pins: list[Pin],
    stretches: list[Stretch],
    corner: Corner,
    system: WallSystem,
    products: dict[str, Product],
    reasons: list[Reason],
) -> tuple[WallSystem, list[float]]:
    """The system with a pinned module, and the pinned panel joints of a wall, in order."""
    own, first = system, None
    joints: list[float] = []
    narrowest = float(system.narrowest_end)
    for pin in pins:
        if pin.layer != "walls" or pin.wall != wall.id or pin.kind in ("product", "piece"):
            continue
        if pin.kind == "module":
            module = float(pin.module) if pin.module is not None else 0.0
            goods = products[system.board].width
            if module < max(NARROWEST_MODULE, narrowest):
                todo = f"State a module of {said.length(max(NARROWEST_MODULE, narrowest))} or more."
                reasons.append(refused(pin, f"a module of {said.length(module)} is too narrow", todo))
            elif goods is not None and module > float(goods) + 0.05:
                why = f"the board is only {said.length(float(goods))} wide"
                reasons.append(refused(pin, why, "State a module no wider than the board."))
            elif first is not None and abs(float(own.module) - module) > EXACT:
                why = f"pin {first.id} already sets another module on {wall.id}"
                reasons.append(refused(pin, why, f"Take off one of {first.id} and {pin.id}."))
            elif pin.module is not None:
                own, first = msgspec.structs.replace(system, module=pin.module), pin
        elif pin.kind == "line" and pin.x is not None:
            at = float(pin.x)
            inside = next((s for s in stretches if s.start - EXACT < at < s.end + EXACT and s.kind == "free"), None)
            near = min((abs(at - j) for j in joints), default=math.inf)
            if not 0 < at < wall.length:
                why = f"{said.length(at)} is not on the wall, which is {said.length(wall.length)} long"
                reasons.append(refused(pin, why, "State a distance from the wall's first corner."))
            elif not corner.start - EXACT <= at <= wall.length - corner.end + EXACT:
                why = "the panels of the neighbouring wall stand in the corner there"
                reasons.append(refused(pin, why, "Move it out of the corner."))
            elif inside is not None:
                why = f"{inside.why} is kept free there"
                reasons.append(refused(pin, why, "Move it beside the opening."))
            elif EXACT < near < narrowest:
                why = f"it would leave a panel only {said.length(near)} wide beside another pinned joint"
                reasons.append(refused(pin, why, "Move it, or take off the other pin."))
            elif near > EXACT:
                joints.append(at)
        else:
            todo = "Pin a module, or a line or a panel with its distance x from the wall's first corner."
            reasons.append(refused(pin, f"a {pin.kind} cannot be pinned on a wall like that", todo))
    return own, sorted(joints)


def _jointless(elevation: WallElevation, pins: Sequence[Pin], reasons: list[Reason]) -> None:
    """Refuse pinned joints that no panel begins or ends at: the stretch there is too narrow for one."""
    edges = [edge for panel in elevation.panels for edge in (panel.start, panel.start + panel.width)]
    told = {reason.about for reason in reasons if reason.code == "pin-refused"}
    for pin in pins:
        if (pin.layer, pin.kind, pin.wall) != ("walls", "line", elevation.wall) or pin.x is None:
            continue
        refusal = refused(
            pin, "no panel fits beside it, the stretch of wall there is too narrow", "Move it to where panels hang."
        )  # fmt: skip
        if refusal.about not in told and not any(abs(float(pin.x) - edge) <= EXACT for edge in edges):
            reasons.append(refusal)


def _pinned_panels(
    wall: PlanWall,
    pins: list[Pin],
    stretches: list[Stretch],
    corner: Corner,
    system: WallSystem,
    joints: list[float],
    reasons: list[Reason],
) -> list[float]:
    """Joints with those on both sides of panels that are pinned as they are."""
    held: list[tuple[float, float, Pin]] = []
    begin, finish = snap(corner.start), snap(wall.length - corner.end)
    narrowest, module = float(system.narrowest_end), float(system.module)
    for pin in (p for p in pins if p.layer == "walls" and p.wall == wall.id and p.kind == "piece"):
        if pin.x is None or pin.module is None:
            reasons.append(refused(pin, "it does not say where the panel lies and how wide it is", "State both."))
            continue
        at, wide = float(pin.x), float(pin.module)
        end = at + wide
        parts = _split_at(_partition(stretches, begin, finish), joints) if finish > begin else []
        around = [
            p for p in parts
            if p.kind in ("plain", "low", "removable") and p.start - EXACT <= at and end <= p.end + EXACT
        ]  # fmt: skip
        other = next((p for a, b, p in held if a < end - EXACT and at < b - EXACT), None)
        slip = [edge for p in around for edge in (at - p.start, p.end - end) if EXACT < edge < narrowest]
        if not narrowest - EXACT <= wide <= module + EXACT:
            why = f"a panel {said.length(wide)} wide is outside {said.length(narrowest)} to {said.length(module)}"
            reasons.append(refused(pin, why, "State another width, or pin the wall's module too."))
        elif other is not None:
            reasons.append(refused(pin, f"it overlaps the panel of pin {other.id}", "Take off one of the two."))
        elif not around:
            why = f"no stretch of wall takes panels from {said.length(at)} to {said.length(end)}"
            reasons.append(refused(pin, why, "Move it clear of openings, corners, low-wall ends and pinned joints."))
        elif slip:
            why = f"it would leave {said.length(slip[0])} beside it, too narrow for a panel"
            reasons.append(refused(pin, why, "Move it or choose another width."))
        else:
            held.append((at, end, pin))
            marks = [m for m in (at, end) if all(abs(m - e) > EXACT for e in (around[0].start, around[0].end))]
            joints = sorted([*joints, *marks])
    return joints


def _split_at(parts: list[Stretch], joints: list[float]) -> list[Stretch]:
    """Stretches divided at pinned joints."""
    found = parts
    for at in joints:
        found = [
            piece
            for part in found
            for piece in (
                [Stretch(part.start, at, part.kind, part.why), Stretch(at, part.end, part.kind, part.why)]
                if part.kind in ("plain", "low", "removable") and part.start + EXACT < at < part.end - EXACT
                else [part]
            )
        ]
    return found


def _elevation(
    plan: RoomPlan,
    wall: PlanWall,
    special: list[Stretch],
    corner: Corner,
    system: WallSystem,
    blanks: Blanks,
    reasons: list[Reason],
    joints: list[float],
) -> WallElevation:
    begin, finish = snap(corner.start), snap(wall.length - corner.end)
    if finish <= begin:
        free = [(0.0, snap(wall.length), "shorter than a corner needs")]
        return WallElevation(
            wall=wall.id, length=snap(wall.length), panels=[], free=free, cleat_length=0.0, cap_length=0.0
        )
    parts = _split_at(_partition(special, begin, finish), joints)
    free = []
    if begin > 0:
        free.append((0.0, begin, corner.start_why))
        for door in plan.features:
            if door.wall == wall.id and door.kind in ("door", "exit door") and door.start < begin:
                text = f"Panels on the neighbouring wall narrow {door.id} at the corner."
                reasons.append(said.warning("walls-narrowed", text, door.id, "Leave off the panel beside it."))
    height = _height(wall, system, reasons)
    panels: list[Panel] = []
    cap = 0.0
    for number, part in enumerate(parts):
        # Beside a pinned joint whole panels come first, the end panel at the far side.
        ends_at_joint = any(abs(part.end - at) < EXACT for at in joints)
        starts_at_joint = any(abs(part.start - at) < EXACT for at in joints)
        at_corner = ends_at_joint or (number == 0 and part.start <= begin and not starts_at_joint)
        if part.kind == "free":
            free.append((part.start, part.end, part.why))
            continue
        widths, spare = _widths(part, system, corner_first=at_corner)
        if not widths:
            free.append((part.start, min(part.end, snap(wall.length)), "too narrow for a panel"))
            continue
        tall = height
        if part.kind == "low":
            tall = _low_height(plan, part, system, reasons)
            cap += part.length
        place = part.start
        for width in widths:
            panels.append(_panel(wall, place, width, tall, part.kind, len(panels) + 1, system, blanks))
            place = snap(place + width)
        if spare > 0.005:
            free.append((snap(part.end - spare), part.end, "packing"))
    panels = [_cut_round(panel, plan, wall, reasons) for panel in panels]
    free = _joined(sorted(free))
    fixed = [p for p in panels if p.kind != "removable"]
    return WallElevation(
        wall=wall.id,
        length=snap(wall.length),
        panels=panels,
        free=free,
        cleat_length=snap(sum(p.width for p in fixed)) if system.cleat else 0.0,
        cap_length=snap(cap),
        cleats=_cleats(fixed, system, wall.construction == "masonry") if system.cleat else [],
    )


def _partition(special: list[Stretch], begin: float, finish: float) -> list[Stretch]:
    parts: list[Stretch] = []
    place = begin
    for stretch in special:
        a, b = max(begin, stretch.start), min(finish, stretch.end)
        if b - a < 0.01:
            continue
        if a - place > 0.005:
            parts.append(Stretch(place, a, "plain"))
        parts.append(Stretch(a, b, stretch.kind, stretch.why))
        place = b
    if finish - place > 0.005:
        parts.append(Stretch(place, finish, "plain"))
    return parts


def _widths(part: Stretch, system: WallSystem, *, corner_first: bool) -> tuple[list[float], float]:
    """Panel widths that fill a stretch, in order, and what packing takes up."""
    module, narrowest = float(system.module), float(system.narrowest_end)
    length = snap(part.length)
    if part.kind == "removable":
        count = max(1, math.ceil((length - EXACT) / module))
        widths = [snap(length / count)] * (count - 1)
        return [*widths, snap(length - sum(widths))], 0.0
    count = math.floor((length + 0.005) / module)
    rest = snap(length - count * module)
    if rest < EXACT and count:
        return [module] * count, max(0.0, rest)
    if count and system.start == "middle" and part.kind == "plain":
        half, wider = snap(rest / 2), snap((rest + module) / 2)
        if half >= narrowest - 0.005:
            return [half, *[module] * count, snap(rest - half)], 0.0
        if wider >= narrowest - 0.005:
            return [wider, *[module] * (count - 1), snap(module + rest - wider)], 0.0
    corner_first = corner_first and system.start != "corner"
    if rest >= narrowest - 0.005:
        ends = [rest, *[module] * count]
        return (ends if corner_first else ends[::-1]), 0.0
    if count == 0:
        return [], 0.0
    first = snap((module + rest) / 2)
    if first < narrowest:
        return [module] * count, rest
    return [first, *[module] * (count - 1), snap(module + rest - first)], 0.0


def _height(wall: PlanWall, system: WallSystem, reasons: list[Reason]) -> float:
    height, bottom = float(system.height), float(system.bottom)
    if wall.height is not None and wall.height < bottom + height:
        left = snap(max(0.0, wall.height - bottom))
        text = f"Wall {wall.id} is only {said.length(wall.height)} high; its panels are cut to {said.length(left)}."
        reasons.append(said.warning("walls-height", text, wall.id, "Check the height or choose lower panels."))
        return left
    return height


def _low_height(plan: RoomPlan, part: Stretch, system: WallSystem, reasons: list[Reason]) -> float:
    height, bottom = float(system.low_height), float(system.bottom)
    item = next((f for f in plan.features if f.kind == "low wall" and f.id == part.why), None)
    if item is None or item.head is None:
        text = f"The height of {part.why} is not stated; low panels are taken as {said.length(height)} high."
        reasons.append(said.warning("walls-low", text, part.why, "Measure it at three places."))
        return height
    if bottom + height > item.head + EXACT:
        left = snap(max(0.0, item.head - bottom))
        text = f"{part.why} is {said.length(item.head)} high; its panels are cut to {said.length(left)}."
        reasons.append(said.warning("walls-low", text, part.why, "Check the height of the low wall and its cap."))
        return left
    return height


def _panel(
    wall: PlanWall,
    start: float,
    width: float,
    height: float,
    kind: Kind,
    number: int,
    system: WallSystem,
    blanks: Blanks,
) -> Panel:
    name: Literal["full", "end", "low", "removable"] = "full" if abs(width - float(system.module)) < EXACT else "end"
    if kind in ("low", "removable"):
        name = "low" if kind == "low" else "removable"
    face = blanks.face(height, width)
    foam = (snap(height + 2 * blanks.oversize), snap(width + 2 * blanks.oversize))
    return Panel(
        id=f"{wall.id}.{number:02d}",
        wall=wall.id,
        kind=name,
        start=snap(start),
        width=snap(width),
        bottom=snap(float(system.bottom)),
        height=snap(height),
        board=(snap(height), snap(width)),
        face=face,
        foam=foam,
        mass=blanks.mass((height, width), foam, face),
        staples=math.ceil(2 * (height + width) / STAPLE_EVERY - 1e-9),
    )


def _cut_round(panel: Panel, plan: RoomPlan, wall: PlanWall, reasons: list[Reason]) -> Panel:
    """Outlets and switches behind a panel: it is cut round them."""
    met = [
        item
        for item in plan.features
        if item.wall == wall.id
        and item.kind in ("outlet", "switch")
        and _in_reach(item, panel.bottom, panel.bottom + panel.height)
        and item.end + PLATE > panel.start
        and item.start - PLATE < panel.start + panel.width
    ]
    if not met:
        return panel
    for item in met:
        text = f"Panel {panel.id} is cut round {feature_name(item)}."
        edge = min(item.start - panel.start, panel.start + panel.width - item.end)
        if edge < PLATE:
            text += " It sits at a joint, so both panels are cut."
        todo = "Have a licensed electrician bring the box to the panel's face or move it."
        reasons.append(said.note("walls-cut-out", text, panel.id, todo))
    kind = "cut-out" if panel.kind in ("full", "end") else panel.kind
    holes = [_cut_out(panel, item) for item in met]
    return msgspec.structs.replace(panel, kind=kind, clear_of=sorted(item.id for item in met), cut_outs=holes)


def _cut_out(panel: Panel, item: PlacedFeature) -> CutOut:
    low = item.sill if item.sill is not None else panel.bottom
    wide = item.end - item.start
    high = item.head - low if item.head is not None else 0.0
    sized = wide > EXACT and high > EXACT
    return CutOut(
        service=item.id,
        across=snap((item.start + item.end) / 2 - panel.start),
        up=snap(low + max(high, 0.0) / 2 - panel.bottom),
        wide=snap(wide + 2 * ROUND_PLATE) if sized else 0.0,
        high=snap(high + 2 * ROUND_PLATE) if sized else 0.0,
    )


def _joined(free: list[tuple[float, float, str]]) -> list[tuple[float, float, str]]:
    joined: list[tuple[float, float, str]] = []
    for a, b, why in free:
        if joined and abs(joined[-1][1] - a) < 0.02:
            joined[-1] = (joined[-1][0], b, f"{joined[-1][2]}, {why}")
        else:
            joined.append((a, b, why))
    return joined


# ---------------------------------------------------------------- goods


def _too_wide(elevations: list[WallElevation], system: WallSystem, products: dict[str, Product]) -> list[Reason]:
    """Say so where a fabric blank is wider than the goods, or a board larger than its sheet."""
    panels = [panel for elevation in elevations for panel in elevation.panels]
    if not panels:
        return []
    widest = max(panel.face[1] for panel in panels)
    boards = [(f"Panel {panel.id}", panel.id, panel.board) for panel in panels]
    return _beyond_goods(widest, boards, system, products)


def too_large(system: WallSystem, products: dict[str, Product]) -> list[Reason]:
    """Why a whole panel of this system cannot be cut from its goods, before any wall is laid out."""
    if _unfit(system, products):
        return []  # said where it is laid out, and before that of the field itself
    across = _blanks(system, products).face(float(system.height), float(system.module))[1]
    board = (float(system.height), float(system.module))
    return _beyond_goods(across, [("A whole panel", system.id, board)], system, products)


def longest_board(system: WallSystem, products: dict[str, Product]) -> float:
    """The longest side of any sheet the back boards are cut from, mm; 0 where no sheet states its sides."""
    return max(
        (float(side) for one in _sizes(products[system.board], products) for side in (one.length, one.width) if side),
        default=0.0,
    )


def _beyond_goods(
    across: float,
    boards: list[tuple[str, str, tuple[float, float]]],
    system: WallSystem,
    products: dict[str, Product],
) -> list[Reason]:
    """A fabric blank wider than any width of the goods; the first board larger than any sheet of them."""
    found: list[Reason] = []
    face = products[system.face]
    widths = [float(one.width) for one in _sizes(face, products) if one.width is not None]
    if widths and across > max(widths) + 0.05:
        text = (
            f"A fabric blank is {said.length(across)} wide but the goods are {said.length(max(widths))}: "
            "foam edge, board edge and turn-back do not fit."
        )
        found.append(said.warning("walls-goods", text, system.face, "Choose a smaller module or wider goods."))
    sheets = [
        sorted((float(one.length), float(one.width)))
        for one in _sizes(products[system.board], products)
        if one.length is not None and one.width is not None
    ]

    def fits(board: tuple[float, float]) -> bool:
        return any(short >= min(board) - 0.05 and long >= max(board) - 0.05 for short, long in sheets)

    over = next((board for board in boards if sheets and not fits(board[2])), None)
    if over is not None:
        name, where, board = over
        text = (
            f"{name}, {said.length(max(board))} × {said.length(min(board))}, is larger than a sheet of "
            f"{products[system.board].name}."
        )
        found.append(said.warning("walls-board", text, where, "Choose a smaller module or height, or a larger board."))
    return found


def _sizes(product: Product, products: dict[str, Product]) -> list[Product]:
    """The goods in every size they are sold in."""
    return [product, *(products[name] for name in product.also_sold if name in products)]
