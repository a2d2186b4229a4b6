"""What a new award means for orders that are already placed: never a silent edit, always a change order."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from buildout.units.money import round_money
from buildout.units.value import Value
from buildout.units.words import counted
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


def order_differences(orders: list[PlacedOrder], award: Award, currency: str) -> list[OrderDifference]:
    """Compare every placed order line with what the award now needs of that item.

    Orders for the same item are counted together, oldest first, so two part orders that cover the
    need between them differ in nothing. A line is compared in the award's unit or in the unit asked for,
    whichever it was ordered in.

    Returns one difference per order line, orders in number order.
    """
    needed = {line.item: line for line in award.lines}
    left: dict[tuple[str, str], Decimal] = {}
    for need in award.lines:
        left[need.item, need.asked_unit] = need.asked
        left[need.item, need.unit] = need.quantity
    last_order_of = {line.item: order.number for order in orders for line in order.lines}
    found: list[OrderDifference] = []
    for order in orders:
        for line in order.lines:
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
                    money=round_money((here - line.quantity) * line.unit_price, currency),
                    text=_words(order, line.quantity, here, line.unit, kind, received),
                )
            )
    return found


def _words(order: PlacedOrder, ordered: Decimal, needed: Decimal, unit: str, kind: str, received: bool) -> str:
    over = counted(abs(needed - ordered), unit)
    said = f"Order {order.number} {'brought' if received else 'has'} {counted(ordered, unit)}, {needed:,f} are needed"
    if kind == "more":
        return f"{said}: ask for {over} more."
    if received:
        return f"{said}: {over} left over."
    if kind == "no longer needed":
        return (
            f"Order {order.number} has {counted(ordered, unit)} nothing uses any more: ask whether it can be cancelled."
        )
    return f"{said}: ask to take {over} off."
