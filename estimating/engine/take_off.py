"""The take-off: what must be bought, line by line, each figure traced to rooms, layers and pieces.

A line keeps three things apart: *net*, as fixed in place; *allowance*, what the design needs beyond the visible
size (turn-back, laps, oversize), known beforehand; and *waste*, what is left after cutting and rounding up to
whole units. They add up to the quantity exactly.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from typing import Any

import msgspec

from buildout.rooms.engine.types import Room, RoomPlan
from buildout.units.quantities import QuantityError, convert
from buildout.units.value import Reason, Status
from buildout.units.words import counted
from estimating.engine import said
from estimating.engine.cut_plans import panel_foam
from estimating.engine.cut_rests import bought_as
from estimating.engine.drivers import task_drivers
from estimating.engine.low_walls import cap_boards
from estimating.engine.prices import LARGEST
from estimating.engine.types import (
    BoughtReady,
    CutPiece,
    CutPlan,
    CutPlans,
    Fitout,
    FloorSystem,
    Need,
    Panel,
    Product,
    PurchaseUnit,
    RoomLayouts,
    TakeOff,
    TakeOffLine,
    TraceStep,
    WallSystem,
)

LAP = Decimal("152.4")
"""Laps of the barrier, mm (6 in)."""
TAPE_OVER = Decimal("0.05")
"""Tape beyond the joints, for ends and cross-taping. Both common practice, no published source."""
FINE = Decimal("0.001")
FOOT = Decimal("304.8")


@dataclass
class _Line:
    product: Product
    net: Decimal = Decimal(0)
    allowance: Decimal = Decimal(0)
    steps: list[TraceStep] = field(default_factory=list)
    cutouts: int = 0
    band: Decimal = Decimal(0)
    units: int = 0
    """Whole units that cut plans of other sizes draw."""
    drawn: Decimal = Decimal(0)
    """Metres that cut plans of other widths draw off a roll."""


def take_off(
    rooms: list[Room],
    plans: list[RoomPlan],
    layouts: list[RoomLayouts],
    cuts: CutPlans,
    fitouts: list[Fitout],
    floor_systems: list[FloorSystem],
    wall_systems: list[WallSystem],
    products: Mapping[str, Product],
    needs: list[Need],
    quantities: Mapping[str, Decimal],
    ready_made: Sequence[BoughtReady] = (),
) -> TakeOff:
    """Count everything the layouts and the owner ask for, in the unit each product is bought in.

    Status is that of the cut plans, worsened where a product or its size is missing; empty when nothing is
    asked. What comes ``ready_made`` takes the lines of its items away. ``drivers`` are the quantities tasks are worked
    out from, in square feet, feet, pounds and each.
    """
    counter = _Counter(products)
    floors = {system.id: system for system in floor_systems}
    walls = {system.id: system for system in wall_systems}
    masonry = {(plan.room, wall.id) for plan in plans for wall in plan.walls if wall.construction == "masonry"}
    for room in layouts:
        _count_floor(counter, room, floors)
        _count_cover(counter, room)
        _count_staples(counter, room, floors)
        if room.walls is not None and room.walls.system in walls:
            wall_system = msgspec.structs.replace(walls[room.walls.system], **room.walls.pinned)
            _count_walls(counter, room, wall_system, masonry)
        if room.fold_away is not None and room.fold_away.count:
            count = room.fold_away.count
            text = f"{said.count(count, 'mat')} laid out"
            counter.add(room.fold_away.product, "each", Decimal(count), room.room, "fold-away mats", [], text)
    for need in needs:
        if need.quantity > LARGEST:
            counter.stop(
                "need too large", f"{need.quantity:f} {need.unit} of {need.product} is more than a room can hold",
                need.id, "Write the quantity again, for instance 18",
            )  # fmt: skip
            continue
        counter.add(need.product, need.unit, need.quantity, "", "stated need", [], need.why or "stated", where=need.id)

    by_product = {plan.product: plan for plan in cuts.plans}
    for plan in cuts.plans:
        counter.share_out(plan)
    lines = [counter.finish(item, by_product.get(item)) for item in counter.lines]
    lines.sort(key=lambda line: (line.head, line.name, line.item))
    gone = {item: bought.product for bought in ready_made for item in bought.items}
    counter.reasons += [_in_place_of(line, gone[line.item], products) for line in lines if line.item in gone]
    lines = [line for line in lines if line.item not in gone]
    drivers, notes = task_drivers(rooms, plans, layouts, fitouts, lines, products, quantities)
    status: Status = cuts.status if lines or cuts.plans else "empty"
    if lines and status == "empty":
        status = "proven"
    if any(reason.severity == "stop" for reason in counter.reasons):
        status = "infeasible"
    return TakeOff(status=status, lines=lines, drivers=drivers, reasons=counter.reasons + notes)


def _in_place_of(line: TakeOffLine, product: str, products: Mapping[str, Product]) -> Reason:
    name = products[product].name if product in products else product
    return Reason(
        code="comes ready-made", where=line.item,
        text=f"{line.name}: {counted(line.quantity, line.unit)} not bought, since {name} comes ready-made",
    )  # fmt: skip


class _Counter:
    """Collects lines; every amount enters in millimetres or pieces and is kept in the product's own unit."""

    def __init__(self, products: Mapping[str, Product]) -> None:
        self.products = products
        self.lines: dict[str, _Line] = {}
        self.reasons: list[Reason] = []

    def line(self, item: str, where: str) -> _Line | None:
        if item in self.lines:
            return self.lines[item]
        product = self.products.get(item)
        if product is None:
            self.stop(
                "unknown product", f"“{item}” is asked for, but is not in the list of products", where or item,
                f"Add a product with the id “{item}”, or choose another one",
            )  # fmt: skip
            return None
        return self.lines.setdefault(item, _Line(product))

    def stop(self, code: str, text: str, where: str, todo: str) -> None:
        reason = Reason(code=code, text=text, where=where, severity="stop", todo=todo)
        if reason not in self.reasons:
            self.reasons.append(reason)

    def add(
        self,
        item: str,
        unit: str,
        amount: Decimal,
        room: str,
        source: str,
        pieces: Iterable[str],
        text: str,
        *,
        allowance: bool = False,
        where: str = "",
    ) -> None:
        """Add an amount to an item. ``unit``: square metre, metre, each, or a purchase unit."""
        if not item or amount <= 0:
            return
        line = self.line(item, where)
        if line is None:
            return
        try:
            own, _ = convert(amount, unit, _sold_as(line.product, unit), **sizes(line.product))
        except QuantityError as error:
            self.stop(
                "size missing", f"{line.product.name}: {error}", item,
                "Give the product's sizes, for instance length 100', width 54\"",
            )  # fmt: skip
            return
        own = own.quantize(FINE, ROUND_HALF_UP)
        if allowance:
            line.allowance += own
        else:
            line.net += own
        line.steps.append(
            TraceStep(
                room=room, source=source, pieces=list(pieces), amount=float(own), unit=line.product.unit, text=text
            )
        )

    def share_out(self, plan: CutPlan) -> None:
        """Take off an item what is cut from remnants, and put what is cut from another size on that size's line."""
        line = self.lines.get(plan.product)
        if line is None:
            return
        bought = [s for s in plan.stock if s.source in ("new", "already cut")]
        root = {s.number: bought_as(plan.stock, s) for s in plan.stock}
        for name in sorted({s.product for s in bought if s.product}):
            stock = [s for s in bought if s.product == name]
            cut = [s for s in plan.stock if (whole := root[s.number]) is not None and whole.product == name]
            pieces = [p for s in cut for p in s.pieces]
            self._move(line, pieces, plan.form)
            other = self.line(name, plan.product)
            if other is None:
                continue
            amount, unit = _run_of(pieces, plan.form)
            text = f"{said.count(len(pieces), 'piece')} of {line.product.name} cut from this size"
            self.add(name, unit, amount, "", "cut plan", [p.piece for p in pieces], text)
            if plan.form == "roll":
                other.drawn += sum((_metres(s.length) for s in stock), Decimal(0))
                other.units += len(stock) if other.product.unit in ("roll", "each") else 0
            else:
                other.units += len(stock)
        old = [p for s in plan.stock if root[s.number] is None for p in s.pieces]
        self._move(line, old, plan.form)

    def _move(self, line: _Line, pieces: list[CutPiece], form: str) -> None:
        if not pieces:
            return
        amount, unit = _run_of(pieces, form)
        try:
            own, _ = convert(amount, unit, _sold_as(line.product, unit), **sizes(line.product))
        except QuantityError:
            return
        own = own.quantize(FINE, ROUND_HALF_UP)
        # Amounts were rounded one by one: what rounding leaves over is not goods to buy.
        if abs(line.net + line.allowance - own) < Decimal("0.01"):
            own = line.net + line.allowance
        from_net = min(line.net, own)
        line.net -= from_net
        line.allowance = max(Decimal(0), line.allowance - (own - from_net))
        text = f"{said.count(len(pieces), 'piece')} cut from another size or from what is in stock"
        line.steps.append(
            TraceStep(
                room="", source="cut plan", pieces=[p.piece for p in pieces], amount=-float(own),
                unit=line.product.unit, text=text,
            )
        )  # fmt: skip

    def finish(self, item: str, plan: CutPlan | None) -> TakeOffLine:
        line = self.lines[item]
        product = line.product
        needed = line.net + line.allowance
        words = "rounded up to whole units"
        units = Decimal(0)
        if plan is not None:
            units, needed, words = _from_plan(product, plan, needed)
        units += line.units
        if line.drawn:
            off, _ = convert(line.drawn, "metre", _sold_as(product, "metre"), **sizes(product))
            needed = off + (needed if plan is not None else Decimal(0))
            words = f"{said.length(float(line.drawn * 1000))} drawn for another width"
        quantity = max(needed.to_integral_value(ROUND_CEILING), units)
        # Snapping pieces to the drawing's grid can leave the net a hair above the stock it is cut from.
        if plan is not None and line.net + line.allowance > quantity >= line.net + line.allowance - Decimal("0.01"):
            line.net = quantity - line.allowance
        quantity = max(quantity, (line.net + line.allowance).to_integral_value(ROUND_CEILING))
        waste = quantity - line.net - line.allowance
        steps = line.steps
        if waste:
            source = "cut plan" if plan is not None else "whole units"
            steps = [
                *steps,
                TraceStep(room="", source=source, pieces=[], amount=float(waste), unit=product.unit, text=words),
            ]
        return TakeOffLine(
            item=item, name=product.name, head=product.head, unit=product.unit, net=line.net,
            allowance=line.allowance, waste=waste, quantity=quantity, trace=steps, needed=needed,
            length=product.length, width=product.width, per_pack=product.per_pack, spread=product.spread,
            cutouts=line.cutouts, band=line.band, thickness=product.thickness, mass=unit_mass(product),
        )  # fmt: skip


def sizes(product: Product) -> dict[str, Any]:
    """What the unit converter must know of a product."""
    known: dict[str, Any] = {}
    if product.width is not None:
        known["goods_width_mm"] = product.width.mm
    if product.thickness is not None:
        known["thickness_mm"] = product.thickness.mm
    if product.length is not None:
        if product.width is not None:
            known["sheet"] = (product.length.mm, product.width.mm)
        known["roll_length_mm"] = known["piece_length_mm"] = product.length.mm
    if product.per_pack > 1:
        known["per_pack"] = product.per_pack
    if product.spread is not None:
        known |= {"spread": product.spread, "spread_unit": product.unit}
    return known


def unit_mass(product: Product) -> Decimal | None:
    """What one unit of a product weighs, kg to the gram; None where sizes or density are not known.

    >>> from buildout.units.lengths import Length
    >>> unit_mass(Product(id="b", name="B", form="sheet", unit="sheet", head=8, density=Decimal(100),
    ...     length=Length.read("2 m"), width=Length.read("1 m"), thickness=Length.read("50 mm")))
    Decimal('10.000')
    """
    try:
        if product.mass_per_area is not None:
            area, _ = convert(Decimal(1), product.unit, "square metre", **sizes(product))
            return (area * product.mass_per_area).quantize(Decimal("0.001"))
        if product.density is not None:
            litres, _ = convert(Decimal(1), product.unit, "litre", **sizes(product))
            return (litres * product.density / 1000).quantize(Decimal("0.001"))
    except QuantityError:
        return None
    return None


def _sold_as(product: Product, unit: str) -> str:
    """The product's unit, or what one of it is when it is sold "each"."""
    if product.unit != "each" or unit == "each":
        return product.unit
    return product.form if product.form in ("sheet", "roll", "length") else "each"


def _from_plan(product: Product, plan: CutPlan, fallback: Decimal) -> tuple[Decimal, Decimal, str]:
    """Whole units, what is needed before rounding, and words, from a cut plan."""
    count = sum(1 for s in plan.stock if s.source in ("new", "already cut") and not s.product)
    share = f"{100 * plan.waste_share:.1f} % of it cut away or left over"
    if plan.form != "roll":
        units = Decimal(count)
        if product.unit in ("each", "sheet", "length"):
            return units, units, f"{said.count(count, product.form)} drawn, {share}"
        source: PurchaseUnit = "sheet" if plan.form == "sheet" else "length"
        needed, _ = convert(units, source, product.unit, **sizes(product))
        return Decimal(0), needed, f"{said.count(count, product.form)} drawn, {share}"
    own = [s.length for s in plan.stock if s.source in ("new", "already cut") and not s.product]
    drawn = sum((_metres(length) for length in own), Decimal(0))
    words = f"{said.run(float(drawn * 1000))} drawn off {said.count(count, 'roll')}, {share}"
    try:
        needed, _ = convert(drawn, "metre", _sold_as(product, "metre"), **sizes(product))
    except QuantityError:
        return Decimal(0), fallback, words
    return (Decimal(count) if product.unit in ("roll", "each") else Decimal(0)), needed, words


def _run_of(pieces: list[CutPiece], form: str) -> tuple[Decimal, str]:
    """What pieces come to: metres of a length, square metres of a sheet."""
    if form == "length":
        return sum((_metres(p.length) for p in pieces), Decimal(0)), "metre"
    return sum((_square_metres(_box((p.length, p.width))) for p in pieces), Decimal(0)), "square metre"


def _square_metres(mm2: float | Decimal) -> Decimal:
    return Decimal(str(mm2)) / 1_000_000


def _metres(mm: float | Decimal) -> Decimal:
    return Decimal(str(mm)) / 1000


def _box(box: tuple[float, float]) -> Decimal:
    return Decimal(str(box[0])) * Decimal(str(box[1]))


# ---------------------------------------------------------------- floors and covers


def _count_floor(counter: _Counter, room: RoomLayouts, systems: Mapping[str, FloorSystem]) -> None:
    floor = room.floor
    system = systems.get(floor.system) if floor is not None else None
    if floor is None or system is None or not floor.layers:
        return
    for layer in floor.layers:
        whole = sum(piece.whole for piece in layer.pieces)
        text = f"{said.count(len(layer.pieces), 'piece')}, {whole} of them whole, {said.area(layer.area)}"
        ids = [piece.id for piece in layer.pieces]
        counter.add(
            layer.product, "square metre", _square_metres(layer.area), room.room, f"{layer.layer} layer", ids, text
        )
    for kind, item in (("frame", system.frame), ("ramp", system.ramp)):
        timbers = [t for t in floor.frame if t.kind == kind]
        item = floor.pinned.get(kind, item)
        run = sum((Decimal(str(t.length)) for t in timbers), Decimal(0))
        text = f"{said.count(len(timbers), 'piece')}, {said.run(float(run))} in all"
        counter.add(item, "metre", _metres(run), room.room, kind, [t.id for t in timbers], text)
    if system.barrier:
        area = _square_metres(floor.mat_area)
        counter.add(system.barrier, "square metre", area, room.room, "barrier", [], said.area(floor.mat_area))
        goods = counter.products.get(system.barrier)
        if goods is not None and goods.width is not None and goods.width.mm > LAP:
            laps = area * LAP / (goods.width.mm - LAP)
            text = f"laps of {said.length(float(LAP))} between runs {said.length(float(goods.width.mm))} wide"
            counter.add(system.barrier, "square metre", laps, room.room, "laps", [], text, allowance=True)
    for spec, layer in zip(system.layers, floor.layers, strict=False):
        if spec.adhesive:
            text = f"{said.area(layer.area)} glued to what is below"
            counter.add(
                spec.adhesive, "square metre", _square_metres(layer.area), room.room, f"{layer.layer} adhesive", [],
                text,
            )  # fmt: skip
    if system.tape:
        # Layers are laid in the system's order.
        for spec, layer in zip(system.layers, floor.layers, strict=False):
            if spec.taped:
                run = Decimal(str(layer.joint_length))
                name = f"{layer.layer} joints"
                counter.add(
                    system.tape, "metre", _metres(run), room.room, name, [], said.run(float(run)) + " of joints"
                )
                counter.add(
                    system.tape, "metre", _metres(run) * TAPE_OVER, room.room, name, [],
                    f"{100 * TAPE_OVER:.0f} % for ends and cross-taping", allowance=True,
                )  # fmt: skip
    if system.hook_tape:
        if room.cover is not None and room.cover.band_length > 0:
            along, why = room.cover.band_length, "opposite the cover's band, cut-outs included"
        else:
            along, why = floor.frame_length, "along the frame"
        text = f"{said.length(along)} {why}"
        counter.add(system.hook_tape, "metre", _metres(along), room.room, "hook tape", [], text)


def _count_staples(counter: _Counter, room: RoomLayouts, systems: Mapping[str, FloorSystem]) -> None:
    system = systems.get(room.floor.system) if room.floor is not None else None
    if system is None or not system.staples or room.cover is None or not room.cover.staples:
        return
    text = f"two rows along {said.length(room.cover.hook_length)} of hook tape"
    counter.add(system.staples, "each", Decimal(room.cover.staples), room.room, "hook tape staples", [], text)


def _count_cover(counter: _Counter, room: RoomLayouts) -> None:
    cover = room.cover
    if cover is None or cover.area <= 0:
        return
    text = (
        f"{said.area(cover.area)} to the finished edge, {said.run(cover.band_length)} of band, "
        f"{said.count(len(cover.cutouts), 'cut-out')}"
    )
    counter.add(cover.product, "square metre", _square_metres(cover.area), room.room, "cover", [], text)
    line = counter.line(cover.product, "")
    if line is not None:
        line.cutouts += len(cover.cutouts)
        line.band += (Decimal(str(cover.band_length)) / FOOT).quantize(Decimal("0.1"), ROUND_HALF_UP)


# ---------------------------------------------------------------- walls


def _count_walls(counter: _Counter, room: RoomLayouts, system: WallSystem, masonry: set[tuple[str, str]]) -> None:
    layout = room.walls
    if layout is None:
        return
    if system.staples and layout.staples:
        text = f"one every {said.length(38.1)} round every panel"
        counter.add(system.staples, "each", Decimal(layout.staples), room.room, "face staples", [], text)
    groups = [(elevation.wall, elevation.panels) for elevation in layout.elevations]
    groups += [(f"low walls on {e.wall}", e.trims) for e in layout.elevations if e.trims]
    groups.append(("column wraps", layout.wraps))
    for wall, panels in groups:
        _count_panels(counter, room.room, wall, panels, system)
    for elevation in layout.elevations:
        wall = elevation.wall
        for item, run, name in (
            (system.cleat, elevation.cleat_length, "cleat"),
            (system.cap, sum(length for _, length in cap_boards(elevation)), "cap"),
        ):
            text = f"{said.run(run)} on {wall}"
            counter.add(item, "metre", _metres(run), room.room, f"{name} {wall}", [], text)
        if system.anchor and system.anchor_spacing and float(system.anchor_spacing) > 0 and elevation.cleat_length > 0:
            count = sum(line.fixings for line in elevation.cleats)
            if (room.room, wall) in masonry:
                text = f"{count} on {wall}, one every {said.length(float(system.anchor_spacing))} of cleat"
                counter.add(system.anchor, "each", Decimal(count), room.room, f"anchors {wall}", [], text)


def _count_panels(counter: _Counter, room: str, wall: str, panels: list[Panel], system: WallSystem) -> None:
    for item, name in ((system.board, "board"), (system.foam, "panel foam"), (system.face, "face")):
        net = extra = Decimal(0)
        used = []
        for panel in panels:
            if name == "board" and panel.kind == "cap":
                continue
            seen = Decimal(str(panel.width)) * Decimal(str(panel.height))
            blank = _box(panel.face if name == "face" else panel.board)
            if name == "panel foam":
                size, layers = panel_foam(panel, system, counter.products.get(system.foam))
                blank = _box(size) * layers
                seen = _box(panel.board) or blank
            if blank:
                used.append(panel.id)
                net += min(seen, blank)
                extra += blank - min(seen, blank)
        text = f"{said.count(len(used), 'panel')}, {said.area(float(net))}"
        counter.add(item, "square metre", _square_metres(net), room, f"{name} {wall}", used, text)
        corners = [(p.face[0] - p.board[0], p.face[1] - p.board[1]) for p in panels if min(p.board) > 0]
        folded = sum(a * b for a, b in corners)
        why = {
            "board": f"{said.area(float(extra))} of board beyond the face",
            "panel foam": f"{said.length(float(system.foam_edge))} over at every edge",
            "face": f"{said.area(float(extra))} round the edges and turned back, "
            f"{said.area(folded)} of it folded in at corners",
        }[name]
        counter.add(item, "square metre", _square_metres(extra), room, f"{name} {wall}", used, why, allowance=True)
    glued = sum((_box(panel.board) for panel in panels), Decimal(0))
    text = f"{said.area(float(glued))} of panel, both faces glued"
    counter.add(system.adhesive, "square metre", _square_metres(glued), room, f"adhesive {wall}", [], text)
