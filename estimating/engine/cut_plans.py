"""What is cut from which sheet, length and roll, one plan per product over all rooms.

Sizes are rounded to 0.1 mm, pieces and stock alike, before anything is worked out: a saw cut is not truer
than that, and with one set of whole numbers the plan and its bound cannot disagree.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal

from buildout.units.value import Reason, Status, snap
from estimating.engine.cut_lengths import cut_lengths
from estimating.engine.cut_rolls import cut_rolls
from estimating.engine.cut_sheets import cut_sheets
from estimating.engine.frame_run import shared_out
from estimating.engine.said import length as said
from estimating.engine.types import (
    CutDemand,
    CutPiece,
    CutPlan,
    CutPlans,
    CutStock,
    FloorSystem,
    Panel,
    Product,
    RoomLayouts,
    WallSystem,
)

STEPS_PER_MM = 10
WRAP_FOAM = 50.8
"""Least foam round a column, mm (2 in). Common practice, no published source."""
KEEP_TIMBER_SHEET = (304.8, 609.6)
KEEP_FOAM_SHEET = (304.8, 1219.2)
KEEP_LENGTH = 609.6
KEEP_ROLL = 457.2
"""Smallest left-overs worth booking in, mm: plywood 12 × 24 in, foam 12 × 48 in, lengths 2 ft, roll goods
18 in at full width. Common practice, no published source."""


@dataclass
class _Wanted:
    """All that is to be cut from one product."""

    pieces: list[CutDemand] = field(default_factory=list)
    whole: list[str] = field(default_factory=list)


def plan_cuts(
    layouts: list[RoomLayouts],
    products: Mapping[str, Product],
    floor_systems: list[FloorSystem],
    wall_systems: list[WallSystem],
) -> CutPlans:
    """Plan the cutting of everything the layouts ask for.

    Foam is cut to each piece's blank, whole sheets are counted as they are. Frame and ramp timbers, cleats and
    caps longer than their stock are butted from several lengths. A piece larger than its stock makes the plan
    infeasible and is named. Status: proven when every plan meets its bound, empty when nothing is cut.

    >>> plan_cuts([], {}, [], []).status
    'empty'
    """
    wanted, reasons = _demand(layouts, products, floor_systems, wall_systems)
    plans = [_plan(products[item], need) for item, need in sorted(wanted.items())]
    states = [plan.status for plan in plans] + (["infeasible"] if reasons else [])
    status: Status = (
        "infeasible"
        if "infeasible" in states
        else "empty"
        if not plans
        else "proven"
        if all(state == "proven" for state in states)
        else "feasible"
    )
    return CutPlans(status=status, plans=plans, reasons=reasons + [r for plan in plans for r in plan.reasons])


def panel_foam(panel: Panel, system: WallSystem, foam: Product | None) -> tuple[tuple[float, float], int]:
    """Blank of foam for a panel, mm, and how many are laid on each other.

    A board gets one, a little over at every edge. A column wrap has no board; its foam is as large as the wrap
    and laid as often as it takes to reach the least thickness.
    """
    if min(panel.board) > 0:
        over = 2 * float(system.foam_edge)
        return (panel.board[0] + over, panel.board[1] + over), 1
    thickness = float(foam.thickness) if foam is not None and foam.thickness is not None else 0.0
    return (panel.height, panel.width), max(1, math.ceil(WRAP_FOAM / thickness - 1e-6)) if thickness > 0 else 1


def _demand(
    layouts: list[RoomLayouts],
    products: Mapping[str, Product],
    floor_systems: list[FloorSystem],
    wall_systems: list[WallSystem],
) -> tuple[dict[str, _Wanted], list[Reason]]:
    wanted: dict[str, _Wanted] = {}
    reasons: list[Reason] = []

    def ask(item: str, name: str, length: float, width: float = 0.0, *, whole: bool = False) -> None:
        product = products.get(item)
        if not item or (length <= 0 and width <= 0):
            return
        if product is None:
            if not any(r.where == item for r in reasons):
                reasons.append(
                    Reason(
                        code="unknown product",
                        where=item,
                        severity="stop",
                        text=f"{name} is made of “{item}”, which is not in the list of products",
                        todo=f"Add a product with the id “{item}” or choose another one in the system",
                    )
                )
            return
        if product.form not in ("sheet", "roll", "length"):
            return
        need = wanted.setdefault(item, _Wanted())
        if whole and product.form == "sheet":
            need.whole.append(name)
        elif product.form == "length":
            longest = float(product.length) if product.length is not None else float("inf")
            parts = shared_out(length, longest)
            for number, part in enumerate(parts, 1):
                part_name = name if len(parts) == 1 else f"{name} part {number} of {len(parts)}"
                need.pieces.append(CutDemand(piece=part_name, length=part, width=0.0))
        else:
            need.pieces.append(CutDemand(piece=name, length=length, width=width))

    floors = {system.id: system for system in floor_systems}
    walls = {system.id: system for system in wall_systems}
    for room in layouts:
        if room.floor is not None:
            for layer in room.floor.layers:
                for piece in layer.pieces:
                    ask(layer.product, f"{room.room} {layer.layer} {piece.id}", *piece.box, whole=piece.whole)
            system = floors.get(room.floor.system)
            for timber in room.floor.frame if system is not None else []:
                item = system.frame if timber.kind == "frame" else system.ramp  # type: ignore[union-attr]
                ask(item, f"{room.room} {timber.kind} {timber.id}", timber.length)
        if room.walls is not None and room.walls.system in walls:
            wall_system = walls[room.walls.system]
            panels = [p for elevation in room.walls.elevations for p in elevation.panels] + room.walls.wraps
            for panel in panels:
                name = f"{room.room} panel {panel.id}"
                if min(panel.board) > 0:
                    ask(wall_system.board, name, *panel.board)
                foam, layers = panel_foam(panel, wall_system, products.get(wall_system.foam))
                for number in range(layers):
                    ask(wall_system.foam, name if layers == 1 else f"{name} layer {number + 1}", *foam)
                if min(panel.face) > 0:
                    ask(wall_system.face, name, *panel.face)
            for elevation in room.walls.elevations:
                ask(wall_system.cleat, f"{room.room} cleat {elevation.wall}", elevation.cleat_length)
                ask(wall_system.cap, f"{room.room} cap {elevation.wall}", elevation.cap_length)
    return wanted, reasons


def steps(mm: float | Decimal) -> int:
    """Millimetres as whole steps of 0.1 mm, half up.

    >>> steps(1217.6125), steps(3.175)
    (12176, 32)
    """
    return int((Decimal(str(mm)) * STEPS_PER_MM).to_integral_value(ROUND_HALF_UP))


def _mm(count: int) -> float:
    return count / STEPS_PER_MM


def _mm2(count: int) -> float:
    return snap(count / STEPS_PER_MM**2)


def _plan(product: Product, need: _Wanted) -> CutPlan:
    if product.form == "sheet":
        return _sheet_plan(product, need)
    if product.form == "roll":
        return _roll_plan(product, need)
    return _length_plan(product, need)


def _missing(product: Product, form: str, what: str) -> CutPlan:
    reason = Reason(
        code="product size missing", where=product.id, severity="stop",
        text=f"{product.name} is cut to size, but its {what} is not given",
        todo=f"Give the product's {what}, for instance 8' or 2440 mm",
    )  # fmt: skip
    return CutPlan(
        product=product.id, form=form, status="infeasible", value=0.0, bound=0.0, stock=[],  # type: ignore[arg-type]
        used_area=0.0, waste_area=0.0, waste_share=0.0, reasons=[reason],
    )  # fmt: skip


def _drawn(value: float, unit: str) -> str:
    return said(value) if unit == "mm" else f"{value:g} {unit}"


def _too_large(product: Product, demand: CutDemand) -> Reason:
    size = said(demand.length) + (f" × {said(demand.width)}" if demand.width else "")
    stock = " × ".join(said(float(side)) for side in (product.length, product.width) if side is not None)
    turned = "" if product.turns or product.form == "length" else " and may not be turned"
    return Reason(
        code="piece larger than stock", where=demand.piece, severity="stop",
        text=f"{demand.piece} needs {size}, but {product.name} is {stock}{turned}",
        todo="Choose a larger product or a layout with smaller pieces",
    )  # fmt: skip


def _finished(
    product: Product, form: str, *, value: float, bound: float, stock: list[CutStock], areas: tuple[int, int, int, int],
    scale: int, too_large: list[Reason], unit: str,
) -> CutPlan:  # fmt: skip
    """``areas``: pieces, offcuts, kerf, scrap in whole steps; ``scale`` of them make one mm² (or mm)."""
    used, offcut, kerf, scrap = (snap(a / scale) for a in areas)
    waste_count = areas[1] + areas[2] + areas[3]
    total = areas[0] + waste_count
    proven = not too_large and value <= bound + 1e-9
    reasons = list(too_large)
    if not too_large and not proven:
        reasons.append(
            Reason(
                code="cut plan not proven best",
                where=product.id,
                text=f"{product.name}: {_drawn(value, unit)} drawn; no plan could need less than {_drawn(bound, unit)}",
            )
        )
    status: Status = "infeasible" if too_large else "proven" if proven else "feasible"
    return CutPlan(
        product=product.id, form=form, status=status, value=value, bound=bound, stock=stock,  # type: ignore[arg-type]
        used_area=used, offcut_area=offcut, kerf_area=kerf, scrap_area=scrap, waste_area=snap(waste_count / scale),
        waste_share=snap(waste_count / total, 0.0001) if total else 0.0, reasons=reasons,
    )  # fmt: skip


def _sheet_plan(product: Product, need: _Wanted) -> CutPlan:
    if product.length is None or product.width is None:
        return _missing(product, "sheet", "length and width")
    length, width = steps(product.length.mm), steps(product.width.mm)
    trim = steps(product.trim.mm) if product.trim else 0
    kerf = steps(product.kerf.mm) if product.kerf else 0
    room = (length - 2 * trim, width - 2 * trim)
    sizes = [(steps(d.length), steps(d.width)) for d in need.pieces]
    plan = cut_sheets(sizes, room, kerf=kerf, turns=product.turns)
    keep = KEEP_TIMBER_SHEET if product.lead_group == "timber" else KEEP_FOAM_SHEET
    stock: list[CutStock] = []
    used = offcuts = kerfs = scrap = 0
    for name in need.whole:
        piece = CutPiece(piece=name, x=0.0, y=0.0, length=_mm(length), width=_mm(width))
        stock.append(CutStock(number=len(stock) + 1, length=_mm(length), width=_mm(width), pieces=[piece], offcuts=[]))
        used += length * width
    for sheet in plan.sheets:
        pieces = [
            CutPiece(
                piece=need.pieces[p.piece].piece, x=_mm(p.x + trim), y=_mm(p.y + trim),
                length=_mm(p.length), width=_mm(p.width), turned=p.turned,
            )
            for p in sorted(sheet.pieces, key=lambda p: (p.y, p.x))
        ]  # fmt: skip
        kept: list[CutPiece] = []
        for x, y, a, b in sorted(sheet.free, key=lambda f: (-f[2] * f[3], f)):
            if max(a, b) >= steps(max(keep)) and min(a, b) >= steps(min(keep)):
                offcuts += a * b
                kept.append(
                    CutPiece(
                        piece=f"offcut {len(stock) + 1}.{len(kept) + 1}",
                        x=_mm(x + trim),
                        y=_mm(y + trim),
                        length=_mm(a),
                        width=_mm(b),
                    )
                )
            else:
                scrap += a * b
        used += sum(p.length * p.width for p in sheet.pieces)
        kerfs += sheet.kerf_area + length * width - room[0] * room[1]
        stock.append(CutStock(number=len(stock) + 1, length=_mm(length), width=_mm(width), pieces=pieces, offcuts=kept))
    if used + offcuts + kerfs + scrap != len(stock) * length * width:
        raise AssertionError(f"the cut plan of {product.id} does not add up to its sheets")
    return _finished(
        product, "sheet", value=float(len(stock)), bound=float(plan.bound + len(need.whole)), stock=stock,
        areas=(used, offcuts, kerfs, scrap), scale=STEPS_PER_MM**2,
        too_large=[_too_large(product, need.pieces[i]) for i in plan.too_big], unit="sheets",
    )  # fmt: skip


def _length_plan(product: Product, need: _Wanted) -> CutPlan:
    if product.length is None:
        return _missing(product, "length", "length")
    length = steps(product.length.mm)
    trim = steps(product.trim.mm) if product.trim else 0
    kerf = steps(product.kerf.mm) if product.kerf else 0
    width = float(product.width) if product.width else 0.0
    # Butted parts are as long as the stock; a trimmed end would make them too long by a hair, so trim is
    # only taken where the pieces leave room for it.
    sizes = [steps(d.length) for d in need.pieces]
    plan = cut_lengths(sizes, length - 2 * trim, kerf)
    stock: list[CutStock] = []
    used = offcuts = kerfs = scrap = 0
    for bar in plan.bars:
        at = trim
        pieces = []
        kerfs += 2 * trim
        for i in bar:
            pieces.append(CutPiece(piece=need.pieces[i].piece, x=_mm(at), y=0.0, length=_mm(sizes[i]), width=width))
            at += sizes[i]
            used += sizes[i]
            cut = min(kerf, length - trim - at)
            kerfs += cut
            at += cut
        left = length - trim - at
        kept: list[CutPiece] = []
        if left >= steps(KEEP_LENGTH):
            offcuts += left
            kept.append(CutPiece(piece=f"offcut {len(stock) + 1}.1", x=_mm(at), y=0.0, length=_mm(left), width=width))
        else:
            scrap += left
        stock.append(CutStock(number=len(stock) + 1, length=_mm(length), width=width, pieces=pieces, offcuts=kept))
    if used + offcuts + kerfs + scrap != len(stock) * length:
        raise AssertionError(f"the cut plan of {product.id} does not add up to its lengths")
    return _finished(
        product, "length", value=float(len(stock)), bound=float(plan.bound), stock=stock,
        areas=(used, offcuts, kerfs, scrap), scale=STEPS_PER_MM,
        too_large=[_too_large(product, need.pieces[i]) for i in plan.too_long], unit="lengths",
    )  # fmt: skip


def _roll_plan(product: Product, need: _Wanted) -> CutPlan:
    if product.width is None:
        return _missing(product, "roll", "goods width")
    width = steps(product.width.mm)
    kerf = steps(product.kerf.mm) if product.kerf else 0
    trim = steps(product.trim.mm) if product.trim else 0
    roll = steps(product.length.mm) - 2 * trim if product.length else None
    sizes = [(steps(d.length), steps(d.width)) for d in need.pieces]
    plan = cut_rolls(sizes, width, roll=roll, kerf=kerf)
    stock: list[CutStock] = []
    used = offcuts = dust = scrap = 0
    for levels in plan.rolls:
        at = trim
        pieces = []
        for level in levels:
            for blank in level.blanks:
                a, b = sizes[blank.piece]
                pieces.append(
                    CutPiece(
                        piece=need.pieces[blank.piece].piece,
                        x=_mm(at + blank.x),
                        y=_mm(blank.y),
                        length=_mm(a),
                        width=_mm(b),
                    )
                )
                used += a * b
                scrap -= a * b
            scrap += level.length * width
            dust += kerf * width
            at += level.length + kerf
        run = at + trim
        dust += 2 * trim * width
        kept: list[CutPiece] = []
        left = steps(product.length.mm) - run if product.length else 0
        if left >= steps(KEEP_ROLL):
            kept.append(
                CutPiece(piece=f"rest of roll {len(stock) + 1}", x=_mm(run), y=0.0, length=_mm(left), width=_mm(width))
            )
        stock.append(CutStock(number=len(stock) + 1, length=_mm(run), width=_mm(width), pieces=pieces, offcuts=kept))
    drawn = sum(steps(s.length) for s in stock)
    ends = 2 * trim * len(stock)
    least = plan.bound + ends
    if used + offcuts + dust + scrap != drawn * width:
        raise AssertionError(f"the cut plan of {product.id} does not add up to the length drawn")
    return _finished(
        product, "roll", value=_mm(drawn), bound=_mm(min(least, drawn)), stock=stock,
        areas=(used, offcuts, dust, scrap), scale=STEPS_PER_MM**2,
        too_large=[_too_large(product, need.pieces[i]) for i in plan.too_big], unit="mm",
    )  # fmt: skip
