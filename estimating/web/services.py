"""What other floors ask of the order book."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal

from django.utils import timezone

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
    """Bring the change orders still to be agreed into step with what the plan now needs.

    One change order per order touched; goods already here need none. A change that is open and still right
    stays as it is, number and all; one that is overtaken is withdrawn, never altered, since the supplier may
    have read it. Returns the new ones.
    """
    by_order: dict[str, list[OrderDifference]] = defaultdict(list)
    for difference in differences:
        if not difference.received:
            by_order[difference.order].append(difference)
    made = []
    for order in Order.objects.filter(build=build).prefetch_related("changes"):
        lines = [_change_line(difference, names) for difference in by_order[order.name]]
        changes = list(order.changes.all())
        standing = [change for change in changes if change.state == ChangeOrder.State.OPEN]
        if any(change.lines == lines for change in standing):
            standing = [change for change in standing if change.lines != lines]
            lines = []
        for change in standing:
            change.state = ChangeOrder.State.WITHDRAWN
            change.decided = timezone.now()
            change.save(update_fields=["state", "decided"])
        if lines:
            made.append(
                ChangeOrder.objects.create(
                    order=order,
                    number=max((change.number for change in changes), default=0) + 1,
                    reason=reason[:300],
                    revision=revision,
                    money=sum((d.money for d in by_order[order.name]), Decimal(0)),
                    lines=lines,
                )
            )
    return made


def _change_line(difference: OrderDifference, names: dict[str, str]) -> dict[str, str]:
    return {
        "item": difference.item,
        "name": names.get(difference.item, difference.item),
        "unit": difference.unit,
        "before": str(difference.ordered),
        "after": str(difference.needed),
        "money": str(difference.money),
        "text": difference.text,
    }
