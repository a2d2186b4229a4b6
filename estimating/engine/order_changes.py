"""What a new award means for orders that are already placed: never a silent edit, always a change order."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from buildout.units.value import Value
from estimating.engine.types import Award, PlacedOrder


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


def order_differences(orders: list[PlacedOrder], award: Award) -> list[OrderDifference]:
    """Compare every placed order line with what the award now needs of that item.

    Orders for the same item are counted together, oldest first, so two part orders that cover the
    need between them differ in nothing. Lines in a unit other than the award's are compared by the
    asked quantity when the units agree there, and are otherwise named as to be checked by hand.

    Returns one difference per order line, orders in number order.
    """
    needed: dict[str, tuple[Decimal, str]] = {}
    for line in award.lines:
        needed[line.item] = (line.quantity, line.unit)
    asked = {line.item: (line.asked, line.asked_unit) for line in award.lines}
    left = {item: quantity for item, (quantity, _) in needed.items()}
    last_order_of = {line.item: order.number for order in orders for line in order.lines}
    found: list[OrderDifference] = []
    for order in orders:
        for line in order.lines:
            quantity, unit = needed.get(line.item, (Decimal(0), line.unit))
            if unit != line.unit and asked.get(line.item, (None, ""))[1] == line.unit:
                left[line.item] = asked[line.item][0]
                unit = line.unit
            still = left.get(line.item, Decimal(0))
            is_last = last_order_of[line.item] == order.number
            here = still if is_last else min(still, line.quantity)
            left[line.item] = still - here
            if here == line.quantity:
                continue
            received = order.state == "received"
            change = here - line.quantity
            kind: Literal["more", "less", "no longer needed"]
            kind = "no longer needed" if line.item not in needed else "more" if change > 0 else "less"
            money = (change * line.unit_price).quantize(Decimal("0.01"))
            found.append(
                OrderDifference(
                    order=order.number, supplier=order.supplier, item=line.item, ordered=line.quantity,
                    needed=here, unit=line.unit, kind=kind, received=received, money=money,
                    text=_words(order, line.quantity, here, line.unit, kind, received),
                )  # fmt: skip
            )
    return found


def _words(order: PlacedOrder, ordered: Decimal, needed: Decimal, unit: str, kind: str, received: bool) -> str:
    if kind == "more":
        return f"Order {order.number} has {ordered:f} {unit}, {needed:f} are needed: ask for {needed - ordered:f} more."
    over = ordered - needed
    if received:
        return f"Order {order.number} brought {ordered:f} {unit}, {needed:f} are needed: {over:f} left over."
    if kind == "no longer needed":
        return f"Order {order.number} has {ordered:f} {unit} that nothing uses any more: ask whether it can be cancelled."
    return f"Order {order.number} has {ordered:f} {unit}, {needed:f} are needed: ask to take {over:f} off."
