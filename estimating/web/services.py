"""What other floors ask of the order book."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from django.utils import timezone

from buildout.builds.web.models import Build, Revision
from buildout.units.money import tax_on
from estimating.engine.deliveries import LineStanding, standing
from estimating.engine.order_changes import OrderDifference
from estimating.engine.types import Charge, OrderedLine, PlacedOrder, Quote, Supplier
from estimating.web.models import ChangeOrder, Order


class OrderedItem(NamedTuple):
    """One line of an order with agreed changes counted in, and where it stands."""

    item: str
    name: str
    unit: str
    unit_price: Decimal
    due: Decimal
    """What was to come in all."""
    goods: Decimal
    standing: LineStanding
    damaged: Decimal
    came: date | None
    lots: list[str]


class OrderTerms(NamedTuple):
    """What is agreed about money and the way goods come, beside the prices."""

    deposit_percent: Decimal = Decimal(0)
    balance_days: int = 0
    """From the goods' arrival to the rest of the money."""
    terms: str = ""
    service: str = ""


def terms_asked(quote: Quote | None, supplier: Supplier | None) -> OrderTerms:
    """What an order on this quote would be placed at: the quote's deposit, else the supplier's usual one."""
    usual = supplier.deposit_percent if supplier else Decimal(0)
    asked = quote.deposit_percent if quote is not None else None
    return OrderTerms(
        usual if asked is None else asked,
        supplier.balance_days if supplier else 0,
        supplier.terms if supplier else "",
        quote.freight.service if quote is not None else "",
    )


def terms_of(order: Order, quote: Quote | None, supplier: Supplier | None) -> OrderTerms:
    """What an order was placed at, whatever quote and supplier say since."""
    if order.deposit_percent is None:
        return terms_asked(quote, supplier)
    return OrderTerms(order.deposit_percent, order.balance_days, order.terms, order.service)


def standings(order: Order) -> list[OrderedItem]:
    """Every line of an order as sent, changed and delivered so far."""
    deliveries = [delivery for delivery in order.deliveries.all() if delivery.taken_back is None]
    agreed = [change for change in order.changes.all() if change.state == ChangeOrder.State.AGREED]
    found = []
    for line in order.lines:
        item = line["item"]
        changed = [entry for change in agreed for entry in change.lines if entry["item"] == item]
        arrived = [(d.came, entry) for d in deliveries for entry in d.lines if entry["item"] == item]
        sent, after = Decimal(line["quantity"]), [Decimal(entry["after"]) for entry in changed]
        due = after[-1] if after else sent
        accepted = [Decimal(entry["accepted"]) for _, entry in arrived]
        if order.state == Order.State.RECEIVED and not order.deliveries.all():
            accepted = [due]  # booked in whole, before deliveries were counted one by one
        came = [day for day, entry in arrived if Decimal(entry["accepted"])]
        found.append(
            OrderedItem(
                item=item,
                name=line.get("name", item),
                unit=line["unit"],
                unit_price=Decimal(line["unit_price"]),
                due=due,
                goods=Decimal(line["goods"]) + sum((Decimal(entry.get("money", "0")) for entry in changed), Decimal(0)),
                standing=standing(sent, after, accepted),
                damaged=sum((Decimal(entry["damaged"]) for _, entry in arrived), Decimal(0)),
                came=max(came, default=order.received if accepted == [due] else None),
                lots=sorted({lot for _, entry in arrived for lot in entry.get("lots", [])}),
            )
        )
    return found


def tax_on_lines(order: Order, amounts: Iterable[Decimal], currency: str) -> Decimal:
    """Tax on lines at the rate the order was placed at, each rounded once."""
    return sum((tax_on(amount, order.rate, currency) for amount in amounts), Decimal(0))


def tax_due(order: Order, currency: str) -> Decimal:
    """Tax on an order as it stands: as it was placed, and on each line changed since what its tax moved by.

    What its quote says since does not count.
    """
    now = tax_on_lines(order, (line.goods for line in standings(order)), currency)
    if order.state == Order.State.CANCELLED:
        return now  # no freight is due, and of the goods what the supplier charges for calling them off
    return order.tax + now - tax_on_lines(order, (Decimal(line["goods"]) for line in order.lines), currency)


def placed_orders(build: Build, currency: str) -> list[PlacedOrder]:
    """The standing orders as the chain takes them, agreed change orders and deliveries counted in."""
    return [
        PlacedOrder(
            number=order.name,
            supplier=order.supplier,
            quote=order.quote,
            state=order.state,  # type: ignore[arg-type]  # cancelled ones are left out
            placed=order.placed,
            promised=order.promised,
            received=order.received,
            last_delivery=max((d.came for d in order.deliveries.all() if d.taken_back is None), default=None),
            freight=_as_written(order.freight),
            tax_percent=_as_written(order.rate),
            tax=_as_written(tax_due(order, currency) - tax_on_lines(order, _called_off(order).values(), currency)),
            deposit_percent=None if order.deposit_percent is None else _as_written(order.deposit_percent),
            balance_days=None if order.deposit_percent is None else order.balance_days,
            lines=[
                OrderedLine(
                    item=line.item,
                    quantity=line.due,
                    unit=line.unit,  # type: ignore[arg-type]  # written from a quote's line
                    unit_price=line.unit_price,
                    goods=line.goods,
                    received=line.standing.received,
                    came=line.came,
                )
                for line in standings(order)
                if line.due > 0
            ],
        )
        for order in Order.objects.standing().filter(build=build).prefetch_related("changes", "deliveries")
    ]


def charges(build: Build) -> list[Charge]:
    """What suppliers ask for goods that were called off: lines of which nothing is due any more, but money is."""
    orders = Order.objects.filter(build=build).prefetch_related("changes", "deliveries")
    return [
        Charge(
            order=order.name,
            supplier=order.supplier,
            item=item,
            amount=_as_written(amount),
            tax_percent=_as_written(order.rate),
        )
        for order in orders
        for item, amount in _called_off(order).items()
    ]


def _called_off(order: Order) -> dict[str, Decimal]:
    if not any(change.state == ChangeOrder.State.AGREED for change in order.changes.all()):
        return {}
    return {line.item: line.goods for line in standings(order) if line.due == 0 and line.goods > 0}


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
