"""What is cut from which sheet, length and roll, one plan per product over all rooms.

Sizes are rounded to 0.1 mm, pieces and stock alike, before anything is worked out: a saw cut is not truer
than that, and with one set of whole numbers the plan and its bound cannot disagree.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

from buildout.units.value import Reason, Status, snap
from estimating.engine.column_wraps import wrap_sheets
from estimating.engine.cut_lengths import cut_lengths
from estimating.engine.cut_mixed import mixed_plan
from estimating.engine.cut_order import cutting_order, free_rectangles
from estimating.engine.cut_parts import (
    STEPS_PER_MM,
    FirstCuts,
    Wanted,
    finished,
    keeps,
    kerf_of,
    missing,
    mm,
    steps,
    to_the_end,
    too_large,
)
from estimating.engine.cut_roll_plan import roll_plan
from estimating.engine.cut_sheets import cut_sheets
from estimating.engine.frame_run import shared_out
from estimating.engine.limits import LimitName, Work
from estimating.engine.low_walls import cap_boards
from estimating.engine.roll_widths import cheapest_width
from estimating.engine.types import (
    CutDemand,
    CutPiece,
    CutPlan,
    CutPlans,
    CutStock,
    FloorSystem,
    MadeCut,
    Panel,
    Product,
    Remnant,
    RoomLayouts,
    WallSystem,
)


def plan_cuts(
    layouts: list[RoomLayouts],
    products: Mapping[str, Product],
    floor_systems: list[FloorSystem],
    wall_systems: list[WallSystem],
    remnants: Sequence[Remnant] = (),
    made: Sequence[MadeCut] = (),
    limits: Mapping[LimitName, int] | None = None,
) -> CutPlans:
    """Plan the cutting of everything the layouts ask for. ``limits``: others than the usual ones of the search.

    ``remnants`` are used before anything new is drawn. ``made``: what was cut already stays as it is; pieces of it that
    are still wanted are taken, and what is left of it is cut from again.

    Foam is cut to each piece's blank, whole sheets are counted as they are. Frame and ramp timbers, cleats and
    caps longer than their stock are butted from several lengths. A piece larger than its stock makes the plan
    infeasible and is named. Status: proven when every plan meets its bound, empty when nothing is cut.

    >>> plan_cuts([], {}, [], []).status
    'empty'
    """
    wanted, reasons = _demand(layouts, products, floor_systems, wall_systems)
    for cut in made:
        if cut.product in products:
            wanted.setdefault(cut.product, Wanted())
    reasons += _unknown_stock(products, remnants, made)
    plans = [
        _ordered(_plan(products[item], need, products, remnants, made, Work(limits)), products)
        for item, need in sorted(wanted.items())
    ]
    states = [plan.status for plan in plans] + (["infeasible"] if any(r.severity == "stop" for r in reasons) else [])
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
    return (panel.height, panel.width), wrap_sheets(foam) if foam is not None else 1


def _demand(
    layouts: list[RoomLayouts],
    products: Mapping[str, Product],
    floor_systems: list[FloorSystem],
    wall_systems: list[WallSystem],
) -> tuple[dict[str, Wanted], list[Reason]]:
    wanted: dict[str, Wanted] = {}
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
        need = wanted.setdefault(item, Wanted())
        if whole and product.form == "sheet":
            need.whole.append(name)
        elif product.form == "length":
            longest = float(product.length) if product.length is not None else float("inf")
            parts = shared_out(length, longest)
            for number, part in enumerate(parts, 1):
                part_name = name if len(parts) == 1 else f"{name} part {number} of {len(parts)}"
                need.pieces.append(CutDemand(piece=part_name, length=to_the_end(part, sides(product)[0]), width=0.0))
        else:
            along, across = sides(product)
            need.pieces.append(CutDemand(piece=name, length=to_the_end(length, along), width=to_the_end(width, across)))

    def sides(product: Product) -> tuple[list[float], list[float]]:
        """Lengths and widths of stock that a piece may keep: those with sound edges. Roll goods are cut to measure."""
        sizes = [p for i in (product.id, *product.also_sold) if (p := products.get(i)) is not None]
        sound = [p for p in sizes if p.form != "roll" and not p.trim]
        along = [mm(steps(p.length.mm)) for p in sound if p.length is not None]
        across = [mm(steps(p.width.mm)) for p in sound if p.width is not None]
        return (along + across, along + across) if product.form == "sheet" and product.turns else (along, across)

    floors = {system.id: system for system in floor_systems}
    walls = {system.id: system for system in wall_systems}
    for room in layouts:
        if room.floor is not None:
            for layer in room.floor.layers:
                for piece in layer.pieces:
                    ask(layer.product, f"{room.room} {layer.layer} {piece.id}", *piece.box, whole=piece.whole)
            system = floors.get(room.floor.system)
            for timber in room.floor.frame if system is not None else []:
                usual = system.frame if timber.kind == "frame" else system.ramp  # type: ignore[union-attr]
                item = room.floor.pinned.get(timber.kind, usual)
                ask(item, f"{room.room} {timber.kind} {timber.id}", timber.length)
        if room.walls is not None and room.walls.system in walls:
            wall_system = msgspec.structs.replace(walls[room.walls.system], **room.walls.pinned)
            panels = [p for e in room.walls.elevations for p in [*e.panels, *e.trims]] + room.walls.wraps
            for panel in panels:
                name = f"{room.room} panel {panel.id}"
                if min(panel.board) > 0 and panel.kind != "cap":
                    ask(wall_system.board, name, *panel.board)
                foam, layers = panel_foam(panel, wall_system, products.get(wall_system.foam))
                for number in range(layers):
                    ask(wall_system.foam, name if layers == 1 else f"{name} layer {number + 1}", *foam)
                if min(panel.face) > 0:
                    ask(wall_system.face, name, *panel.face)
            for elevation in room.walls.elevations:
                ask(wall_system.cleat, f"{room.room} cleat {elevation.wall}", elevation.cleat_length)
                for run, length in cap_boards(elevation):
                    ask(wall_system.cap, f"{room.room} cap {run}", length)
    return wanted, reasons


def _unknown_stock(
    products: Mapping[str, Product], remnants: Sequence[Remnant], made: Sequence[MadeCut]
) -> list[Reason]:
    """Remnants and cuts of products that are not in the list: nothing can be made of them."""
    stock = [(r.id, r.product) for r in remnants] + [(m.id, m.product) for m in made]
    return [
        Reason(
            code="unknown product", where=name, severity="warning",
            text=f"“{name}” in stock is of “{item}”, which is not in the list of products; it is left lying",
            todo=f"Add a product with the id “{item}” or name the one it is of",
        )
        for name, item in stock
        if item not in products
    ]  # fmt: skip


def _plan(
    product: Product,
    need: Wanted,
    products: Mapping[str, Product],
    remnants: Sequence[Remnant],
    made: Sequence[MadeCut],
    work: Work,
) -> CutPlan:
    others = [products[i] for i in product.also_sold if i in products and i != product.id]
    group = {product.id, *(other.id for other in others)}
    stock = [r for r in remnants if r.product in group]
    cut = [m for m in made if m.product == product.id]
    left_lying: list[Reason] = []
    if product.shade_lots and stock:
        names = ", ".join(r.id for r in stock)
        text = f"{product.name} is dyed lot by lot: {names} in stock may differ in shade and is not mixed in"
        todo = "Keep it for repairs, or say in the product that lots do not matter"
        left_lying.append(Reason(code="shade lots", where=product.id, text=text, todo=todo))
        stock = []
    plan = _drawn_from(product, need, others, stock, cut, work)
    return msgspec.structs.replace(plan, reasons=[*plan.reasons, *left_lying]) if left_lying else plan


def _drawn_from(
    product: Product, need: Wanted, others: list[Product], stock: list[Remnant], cut: list[MadeCut], work: Work
) -> CutPlan:
    if product.form != "roll" and (others or stock or cut or product.cuts != "any straight cut"):
        return mixed_plan(product, need, others, stock, cut, work)
    if product.form == "sheet":
        return _sheet_plan(product, need, work)
    if product.form == "roll":
        if others:
            return cheapest_width(product, need, others, stock, cut, work)
        return roll_plan(product, need, stock, cut, work)
    return _length_plan(product, need, work)


def _ordered(plan: CutPlan, products: Mapping[str, Product]) -> CutPlan:
    """The plan with its pieces numbered and its cuts listed in cutting order, and what is to be bought counted."""
    stock = []
    bought: dict[str, int] = {}
    goods = products[plan.product]
    first_cut = FirstCuts(goods)
    for one in plan.stock:
        if plan.form == "length":
            one = _as_wide(one)
        try:
            first, _ = first_cut(one.length, one.width, one.pieces)
            pieces, cuts = cutting_order(one.length, one.width, one.pieces, first=first, kerf=kerf_of(goods))
        except ValueError:
            if not one.source.endswith("already cut"):
                raise
            pieces, cuts = one.pieces, []  # cut on site some other way
        stock.append(msgspec.structs.replace(one, pieces=pieces, cuts=cuts))
        if one.source in ("new", "already cut"):
            name = one.product or plan.product
            bought[name] = bought.get(name, 0) + 1
    return msgspec.structs.replace(plan, stock=stock, bought=bought)


def _as_wide(stock: CutStock) -> CutStock:
    """A length whose pieces and left-overs are as wide as it is."""
    parts = [
        [msgspec.structs.replace(piece, y=0.0, width=stock.width) for piece in part]
        for part in (stock.pieces, stock.offcuts)
    ]
    return msgspec.structs.replace(stock, pieces=parts[0], offcuts=parts[1])


def _sheet_plan(product: Product, need: Wanted, work: Work) -> CutPlan:
    if product.length is None or product.width is None:
        return missing(product, "sheet", "length and width")
    length, width = steps(product.length.mm), steps(product.width.mm)
    trim = steps(product.trim.mm) if product.trim else 0
    kerf = steps(product.kerf.mm) if product.kerf else 0
    room = (length - 2 * trim, width - 2 * trim)
    sizes = [(steps(d.length), steps(d.width)) for d in need.pieces]
    plan = cut_sheets(sizes, room, kerf=kerf, turns=product.turns, work=work)
    keep, first_cut = keeps(product), FirstCuts(product)
    stock: list[CutStock] = []
    used = offcuts = kerfs = scrap = 0
    for name in need.whole:
        piece = CutPiece(piece=name, x=0.0, y=0.0, length=mm(length), width=mm(width))
        stock.append(CutStock(number=len(stock) + 1, length=mm(length), width=mm(width), pieces=[piece], offcuts=[]))
        used += length * width
    for sheet in plan.sheets:
        pieces = [
            CutPiece(
                piece=need.pieces[p.piece].piece, x=mm(p.x + trim), y=mm(p.y + trim),
                length=mm(p.length), width=mm(p.width), turned=p.turned,
            )
            for p in sorted(sheet.pieces, key=lambda p: (p.y, p.x))
        ]  # fmt: skip
        kept: list[CutPiece] = []
        _, free = first_cut(mm(length), mm(width), pieces)
        for x, y, a, b in sorted(free, key=lambda f: (-f[2] * f[3], f)):
            area = steps(a) * steps(b)
            if max(a, b) >= max(keep) and min(a, b) >= min(keep):
                offcuts += area
                name = f"offcut {len(stock) + 1}.{len(kept) + 1}"
                kept.append(CutPiece(piece=name, x=x, y=y, length=snap(a, 0.1), width=snap(b, 0.1)))
            else:
                scrap += area
        here = sum(p.length * p.width for p in sheet.pieces)
        used += here
        kerfs += length * width - here - sum(steps(a) * steps(b) for _, _, a, b in free)
        stock.append(CutStock(number=len(stock) + 1, length=mm(length), width=mm(width), pieces=pieces, offcuts=kept))
    if used + offcuts + kerfs + scrap != len(stock) * length * width:
        raise AssertionError(f"the cut plan of {product.id} does not add up to its sheets")
    return finished(
        product, "sheet", value=float(len(stock)), bound=float(plan.bound + len(need.whole)), stock=stock,
        areas=(used, offcuts, kerfs, scrap), scale=STEPS_PER_MM**2,
        large=too_large(product, [need.pieces[i] for i in plan.too_big]), unit="sheets", stopped=plan.stopped_by,
    )  # fmt: skip


def _length_plan(product: Product, need: Wanted, work: Work) -> CutPlan:
    if product.length is None:
        return missing(product, "length", "length")
    length = steps(product.length.mm)
    trim = steps(product.trim.mm) if product.trim else 0
    kerf = steps(product.kerf.mm) if product.kerf else 0
    width = float(product.width) if product.width else 0.0
    # Butted parts are as long as the stock; a trimmed end would make them too long by a hair, so trim is
    # only taken where the pieces leave room for it.
    sizes = [steps(d.length) for d in need.pieces]
    plan = cut_lengths(sizes, length - 2 * trim, kerf, work=work)
    stock: list[CutStock] = []
    used = offcuts = kerfs = scrap = 0
    for bar in plan.bars:
        at = trim
        pieces = []
        for i in bar:
            pieces.append(CutPiece(piece=need.pieces[i].piece, x=mm(at), y=0.0, length=mm(sizes[i]), width=width))
            at += sizes[i] + kerf
        free = free_rectangles(mm(length), width, pieces, mm(kerf), first="crosscut")
        here, left = sum(sizes[i] for i in bar), sum(steps(a) for _, _, a, _ in free)
        kept = [
            CutPiece(piece=f"offcut {len(stock) + 1}.1", x=x, y=0.0, length=a, width=width)
            for x, _, a, _ in free
            if steps(a) >= steps(keeps(product)[1])
        ]
        used += here
        kerfs += length - here - left
        offcuts += sum(steps(one.length) for one in kept)
        scrap += left - sum(steps(one.length) for one in kept)
        stock.append(CutStock(number=len(stock) + 1, length=mm(length), width=width, pieces=pieces, offcuts=kept))
    if used + offcuts + kerfs + scrap != len(stock) * length:
        raise AssertionError(f"the cut plan of {product.id} does not add up to its lengths")
    return finished(
        product, "length", value=float(len(stock)), bound=float(plan.bound), stock=stock,
        areas=(used, offcuts, kerfs, scrap), scale=STEPS_PER_MM,
        large=too_large(product, [need.pieces[i] for i in plan.too_long]), unit="lengths", stopped=plan.stopped_by,
    )  # fmt: skip
