"""What other floors ask of the order book."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal

from buildout.builds.web.models import Build, Revision
from estimating.engine.order_changes import OrderDifference
from estimating.engine.types import OrderedLine, PlacedOrder
from estimating.web.models import ChangeOrder, Order


def placed_orders(build: Build) -> list[PlacedOrder]:
    """The standing orders as the chain takes them, agreed change orders counted in."""
    found = []
    for order in Order.objects.standing().filter(build=build).prefetch_related("changes"):
        lines = {line["item"]: dict(line) for line in order.lines}
        for change in order.changes.all():
            if change.state != ChangeOrder.State.AGREED:
                continue
            for line in change.lines:
                if line["item"] in lines:
                    lines[line["item"]]["quantity"] = line["after"]
        found.append(
            PlacedOrder(
                number=order.name,
                supplier=order.supplier,
                quote=order.quote,
                state=order.state,  # type: ignore[arg-type]  # cancelled ones are left out above
                placed=order.placed,
                promised=order.promised,
                received=order.received,
                freight=_as_written(order.freight),
                lines=[
                    OrderedLine(
                        item=line["item"],
                        quantity=Decimal(line["quantity"]),
                        unit=line["unit"],
                        unit_price=Decimal(line["unit_price"]),
                        goods=Decimal(line["goods"]),
                    )
                    for line in lines.values()
                    if Decimal(line["quantity"]) > 0
                ],
            )
        )
    return found


def _as_written(amount: Decimal) -> Decimal:
    """An amount without the noughts that its column adds, so that sums read the same from a file and from here."""
    return Decimal(f"{amount.normalize():f}")


def write_change_orders(
    build: Build, differences: list[OrderDifference], names: dict[str, str], reason: str, revision: Revision
) -> list[ChangeOrder]:
    """Turn differences into change orders, one per order touched; goods already here need none."""
    by_order: dict[str, list[OrderDifference]] = defaultdict(list)
    for difference in differences:
        if not difference.received:
            by_order[difference.order].append(difference)
    orders = {order.name: order for order in Order.objects.filter(build=build).prefetch_related("changes")}
    made = []
    for name in sorted(by_order):
        order = orders[name]
        # What was proposed before and not yet agreed is overtaken by this one.
        order.changes.filter(state=ChangeOrder.State.OPEN).delete()
        last = max((change.number for change in order.changes.all()), default=0)
        made.append(
            ChangeOrder.objects.create(
                order=order,
                number=last + 1,
                reason=reason[:300],
                revision=revision,
                money=sum((d.money for d in by_order[name]), Decimal(0)),
                lines=[
                    {
                        "item": d.item,
                        "name": names.get(d.item, d.item),
                        "unit": d.unit,
                        "before": str(d.ordered),
                        "after": str(d.needed),
                        "money": str(d.money),
                        "text": d.text,
                    }
                    for d in by_order[name]
                ],
            )
        )
    return made
