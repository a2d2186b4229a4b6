"""Roll goods that come in several widths: each is tried, and the one that costs least is drawn on.

Goods of one width serve a whole plan: two rolls of one shade are hard enough to get. What a width costs is its reckoned
price for what is drawn of it; where a price is missing, the area drawn is weighed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import msgspec

from buildout.units.value import Reason, snap
from estimating.engine import said
from estimating.engine.cut_parts import Wanted
from estimating.engine.cut_roll_plan import roll_plan
from estimating.engine.limits import Work
from estimating.engine.pins import layer_names
from estimating.engine.types import (
    CutDemand,
    CutPlan,
    FloorLayout,
    FloorSystem,
    MadeCut,
    Pin,
    Product,
    Remnant,
)

OF_ONE_UNIT = {"running foot": 304.8, "running yard": 914.4, "metre": 1000.0}
"""mm off the roll."""
OF_ONE_AREA = {"square foot": 92903.04, "square yard": 836127.36, "square metre": 1e6}
"""mm²."""
SAME_WIDTH = 0.05
"""mm."""


def roll_cost(product: Product, plan: CutPlan, *, priced: bool) -> tuple[float, float]:
    """What a plan costs in these goods, and the least that any plan in them could: reckoned price, else mm² drawn."""
    width = float(product.width or 0)
    rolls = sum(1 for one in plan.stock if one.source in ("new", "already cut"))
    if not priced:
        if product.unit in (*OF_ONE_UNIT, *OF_ONE_AREA) or product.length is None:
            return plan.value * width, plan.bound * width
        area = rolls * float(product.length) * width
        return area, min(area, plan.bound * width)
    price = float(product.reckoned_price or 0)
    if product.unit in OF_ONE_UNIT:
        return (plan.value / OF_ONE_UNIT[product.unit] * price, plan.bound / OF_ONE_UNIT[product.unit] * price)
    if product.unit in OF_ONE_AREA:
        by_area = width / OF_ONE_AREA[product.unit] * price
        return plan.value * by_area, plan.bound * by_area
    whole = float(product.length) if product.length is not None else 0.0
    least = -(-plan.bound // whole) if whole else float(bool(plan.bound))
    return rolls * price, min(rolls, least) * price


def widths_of(product: Product, products: Mapping[str, Product]) -> list[Product]:
    """The goods in every width they come in, their own first; one of each width."""
    found = [product]
    for name in product.also_sold:
        other = products.get(name)
        if other is not None and other.form == "roll" and other.width and other.id != product.id:
            found.append(other)
    return found


def cheapest_width(
    product: Product,
    need: Wanted,
    others: Sequence[Product],
    remnants: Sequence[Remnant],
    made: Sequence[MadeCut],
    work: Work | None = None,
) -> CutPlan:
    """Cut a product's blanks off whichever of its widths costs least; a roll that was begun is gone on with."""
    work = work or Work()
    goods = [product, *(one for one in others if one.form == "roll" and one.width is not None)]
    begun = {cut.width for cut in made if not cut.remnant and not cut.rest_of}
    same = [one for one in goods if any(abs(float(one.width or 0) - width) < SAME_WIDTH for width in begun)]
    tried = [(one, roll_plan(one, need, remnants, made, work)) for one in same or goods]
    fit = [(one, plan) for one, plan in tried if plan.status != "infeasible"]
    if not fit:
        return tried[0][1]
    priced = all(one.reckoned_price for one, _ in fit)
    weighed = [(*roll_cost(one, plan, priced=priced), one, plan) for one, plan in fit]
    cost, _, chosen, plan = min(
        weighed, key=lambda w: (snap(w[0]), w[3].waste_area, [one.id for one in goods].index(w[2].id))
    )
    bound = min(least for _, least, _, _ in weighed)
    stock = [
        msgspec.structs.replace(one, product=chosen.id if chosen.id != product.id else "")
        if one.source in ("new", "already cut")
        else one
        for one in plan.stock
    ]
    proven = plan.status == "proven" and cost <= bound * (1 + 1e-9)
    stopped = "" if proven or plan.status == "infeasible" else work.said()
    return msgspec.structs.replace(
        plan, product=product.id, stock=stock, status=plan.status if proven or plan.status != "proven" else "feasible",
        stopped_by=stopped, cost=snap(cost, 1e-4) if priced else 0.0,
        cost_bound=snap(min(cost, bound), 1e-4) if priced else 0.0,
        reasons=[*plan.reasons, *_told(product.id, product.name, chosen, weighed, priced=priced)],
    )  # fmt: skip


def _told(
    where: str, name: str, chosen: Product, weighed: Sequence[tuple[float, float, Product, object]], *, priced: bool
) -> list[Reason]:
    if len(weighed) < 2:
        return []

    def worth(cost: float) -> str:
        return f"{cost:,.2f}" if priced else said.area(cost)

    widths = "; ".join(f"{said.length(float(one.width or 0))} wide: {worth(cost)}" for cost, _, one, _ in weighed)
    how = "by its reckoned price" if priced else "by the area drawn, for not every width has a reckoned price"
    text = f"{name} is taken {said.length(float(chosen.width or 0))} wide, which costs least {how} ({widths})."
    return [Reason(code="roll width", where=where, text=text)]


# ---------------------------------------------------------------- floors


def lay_in_every_width(
    system: FloorSystem,
    products: Mapping[str, Product],
    pins: Sequence[Pin],
    lay: Callable[[FloorSystem], FloorLayout],
    work: Work,
) -> FloorLayout:
    """Lay a floor in every width of its roll goods, layer by layer; kept is what breaks fewest rules, then costs least.

    A layer whose goods, lines or strips are pinned keeps its width.
    """
    best = lay(system)
    reasons: list[Reason] = []
    for number, goods in choices_of_width(system, products, pins).items():
        if len(best.layers) != len(system.layers):
            break
        laid = [(goods[0], best)]
        most = work["widths of goods"]
        if len(goods) > most:
            text = f"{goods[0].name} comes in {len(goods)} widths. The search stops after the first {most}."
            todo = "Name first in the product those widths that matter."
            reasons.append(Reason(code="roll widths", where=goods[0].id, text=text, todo=todo))
        for one in goods[1:most]:
            layout = lay(_with_goods(system, number, one))
            if len(layout.layers) == len(system.layers):
                laid.append((one, layout))
        priced = all(one.reckoned_price for one, _ in laid)
        weighed = []
        for one, layout in laid:
            pieces = [CutDemand(piece=p.id, length=p.box[0], width=p.box[1]) for p in layout.layers[number].pieces]
            cost, least = roll_cost(one, roll_plan(one, Wanted(pieces)), priced=priced)
            weighed.append((cost, least, one, layout))
        _, _, chosen, best = min(weighed, key=lambda w: (_broken(w[3]), snap(w[0])))
        reasons += _told(goods[0].id, goods[0].name, chosen, weighed, priced=priced)
        system = _with_goods(system, number, chosen)
    return msgspec.structs.replace(best, reasons=[*best.reasons, *reasons])


def choices_of_width(
    system: FloorSystem, products: Mapping[str, Product], pins: Sequence[Pin]
) -> dict[int, list[Product]]:
    """Widths to choose from by layer, the layer's own goods first; only layers that have a choice."""
    held = {pin.layer for pin in pins if pin.kind in ("product", "line", "piece")}
    found = {}
    for number, (layer, name) in enumerate(zip(system.layers, layer_names(system), strict=True)):
        product = products.get(layer.product)
        if product is not None and product.form == "roll" and name not in held:
            widths = widths_of(product, products)
            if len(widths) > 1:
                found[number] = widths
    return found


def _with_goods(system: FloorSystem, number: int, product: Product) -> FloorSystem:
    layers = list(system.layers)
    layers[number] = msgspec.structs.replace(layers[number], product=product.id)
    return msgspec.structs.replace(system, layers=layers)


def _broken(layout: FloorLayout) -> int:
    """How many warnings the rules of pieces and joints give."""
    return sum(1 for reason in layout.reasons if reason.code.startswith("floor-rule"))
