"""What a new award means for orders that are already placed: never a silent edit, always a change order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Literal

from buildout.units.money import round_money
from buildout.units.value import Value
from buildout.units.words import counted
from estimating.engine.types import Award, PlacedOrder, Product, Supplier, TakeOffLine


class OrderDifference(Value, kw_only=True):
    """One line of a placed order that no longer matches what the plan needs."""

    order: str
    supplier: str
    item: str
    ordered: Decimal
    needed: Decimal
    unit: str
    kind: Literal["more", "less", "no longer needed"]
    received: bool
    """The goods are here: less needed then means left over, not cancelled."""
    money: Decimal
    """Effect on the order at its own unit price, before tax; negative when less is needed."""
    text: str
    cancellable: Literal["", "yes", "ask", "no"] = ""
    """Whether what is too many can still be taken off; empty where nothing is. "no": made to drawing and confirmed,
    or here already. "ask": the supplier has not said what that costs, or may have begun."""
    charge: Decimal = Decimal(0)
    """What the supplier keeps of the price for taking it off, before tax."""
    left_over: Decimal = Decimal(0)
    """Stays with us."""
    cost: Decimal = Decimal(0)
    """In the end, before tax: of more its price; of less what is saved, negative, less the charge; of left-overs 0."""
    day: date | None = None
    """When more would be here at the latest, ordered on the day the plan is worked out for."""


def order_differences(
    orders: list[PlacedOrder],
    award: Award,
    currency: str,
    products: Sequence[Product] = (),
    suppliers: Sequence[Supplier] = (),
    arrive: Mapping[str, date] | None = None,
    asked: Sequence[TakeOffLine] = (),
) -> list[OrderDifference]:
    """Compare every placed order line with what the award now needs of that item.

    Orders for the same item are counted together, oldest first, so two part orders that cover the
    need between them differ in nothing. A line is compared in the award's unit or in the unit asked for,
    whichever it was ordered in. ``arrive``: quote → day goods ordered now come at the latest. ``asked``: the take-off,
    for goods that are needed though no quote for them is usable any more.

    Returns one difference per order line, orders in number order.
    """
    needed = {line.item for line in award.lines} | {line.item for line in asked if line.quantity > 0}
    left: dict[tuple[str, str], Decimal] = {}
    for row in asked:
        left[row.item, row.unit] = row.quantity
    for need in award.lines:
        left[need.item, need.asked_unit] = need.asked
        left[need.item, need.unit] = need.quantity
    names = {line.item: line.name for line in asked} | {product.id: product.name for product in products}
    last_order_of = {line.item: order.number for order in orders for line in order.lines}
    found: list[OrderDifference] = []
    for order in orders:
        for line in order.lines:
            if line.item in needed and (line.item, line.unit) not in left:
                continue  # needed, but counted in another unit that nothing converts any more
            still = left.get((line.item, line.unit), Decimal(0))
            # The last order for an item answers for whatever the earlier ones do not cover.
            here = still if last_order_of[line.item] == order.number else min(still, line.quantity)
            left[line.item, line.unit] = still - here
            received = order.state == "received" or line.received >= line.quantity > 0
            if not received:
                here = max(here, line.received)  # what came cannot be taken off the order any more
            if here == line.quantity:
                continue
            kind: Literal["more", "less", "no longer needed"]
            kind = "no longer needed" if line.item not in needed else "more" if here > line.quantity else "less"
            money = round_money((here - line.quantity) * line.unit_price, currency)
            cancellable: Literal["", "yes", "ask", "no"] = ""
            charge = Decimal(0)
            if kind != "more":
                made = any(p.id == line.item and p.form == "made to drawing" for p in products)
                percent = next((s.restocking_percent for s in suppliers if s.id == order.supplier), None)
                cancellable = _cancellable(order, received, made, percent)
                charge = round_money(-money * (percent or 0) / 100, currency) if cancellable == "yes" else charge
            stays = cancellable == "no"
            found.append(
                OrderDifference(
                    order=order.number,
                    supplier=order.supplier,
                    item=line.item,
                    ordered=line.quantity,
                    needed=here,
                    unit=line.unit,
                    kind=kind,
                    received=received,
                    money=money,
                    text=_words(order, names.get(line.item, line.item), line.quantity, here, line.unit, kind, received),
                    cancellable=cancellable,
                    charge=charge,
                    left_over=line.quantity - here if stays else Decimal(0),
                    cost=Decimal(0) if stays else money + charge,
                    day=(arrive or {}).get(order.quote) if kind == "more" else None,
                )
            )
    return found


def _cancellable(
    order: PlacedOrder, received: bool, made_to_drawing: bool, percent: Decimal | None
) -> Literal["yes", "ask", "no"]:
    """Custom goods are not taken back once they are being made; stock goods against a restocking charge. Common
    practice, no published source; what the two sides have agreed goes before it."""
    if received or (made_to_drawing and order.state == "confirmed"):
        return "no"
    if made_to_drawing or percent is None:
        return "ask"
    return "yes"


def _words(
    order: PlacedOrder, name: str, ordered: Decimal, needed: Decimal, unit: str, kind: str, received: bool
) -> str:
    over = counted(abs(needed - ordered), unit)
    has = f"Order {order.number}, {name}: {counted(ordered, unit)} {'came' if received else 'ordered'}"
    said = f"{has}, {needed:,f} needed"
    if kind == "more":
        return f"{said}: ask for {over} more."
    if received:
        return f"{said}: {over} left over."
    if kind == "no longer needed":
        return f"{has}, which nothing uses any more: ask whether they can be cancelled."
    return f"{said}: ask to take {over} off."
