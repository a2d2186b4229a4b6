"""What the owner does with orders: place, confirm, receive, cancel, agree changes. All of it goes to the journal."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from django.db import transaction
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build
from buildout.people.web.models import User
from buildout.units.dates import date_text
from buildout.units.money import format_money, round_money, tax_on
from buildout.units.words import counted
from estimating.engine.offers import tax_rate
from estimating.engine.types import Award, AwardLine, MoneyPlan, Quote, Supplier, TakeOff
from estimating.web import approvals, documents
from estimating.web.models import Approval, ChangeOrder, Claim, Delivery, DeliveryPhoto, Order
from estimating.web.services import OrderedItem, OrderTerms, standings, terms_asked


class OrderBookError(ValueError):
    """Something that cannot be done with an order as it stands; the message says why."""


class WrongStateError(OrderBookError):
    """The order is past the point where this can be done."""


class ReadyOrder(NamedTuple):
    """What of one quote is awarded and on no order yet."""

    quote: Quote
    supplier: Supplier | None
    lines: list[AwardLine]
    goods: Decimal
    freight: Decimal
    tax_percent: Decimal
    tax: Decimal

    @property
    def total(self) -> Decimal:
        return self.goods + self.freight + self.tax

    @property
    def terms(self) -> OrderTerms:
        return terms_asked(self.quote, self.supplier)


def ready_orders(sheet: builds.Sheet, orders: list[Order]) -> list[ReadyOrder]:
    """One for each quote that has awarded lines on no standing order, in the award's order.

    Freight is asked once for a quote; a second order from the same quote is expected to travel along.
    """
    award = sheet.part("award", Award)
    quotes = {quote.id: quote for quote in sheet.section("quotes", list[Quote])}
    suppliers = {supplier.id: supplier for supplier in sheet.section("suppliers", list[Supplier])}
    money = sheet.section("money", MoneyPlan) if sheet.document.get("money") else MoneyPlan()
    standing = [order for order in orders if order.state != Order.State.CANCELLED]
    ordered = {line["item"] for order in standing for line in order.lines}
    sent = {order.quote for order in standing}
    found = []
    for party in award.suppliers:
        lines = [line for line in award.lines if line.quote == party.quote and line.item not in ordered]
        quote = quotes.get(party.quote)
        if not lines or quote is None:
            continue
        freight = Decimal(0) if party.quote in sent else party.freight
        amounts = [line.goods + line.extras for line in lines] + [freight]
        percent = tax_rate(quote, money.tax_percent)  # the award's amounts are without tax, whatever the quote's are
        tax = sum((tax_on(amount, percent, sheet.currency) for amount in amounts), Decimal(0))
        found.append(
            ReadyOrder(
                quote, suppliers.get(quote.supplier), lines, sum(amounts[:-1], Decimal(0)), freight, percent, tax
            )
        )
    return found


@transaction.atomic
def place(build: Build, user: User, quote_id: str, note: str = "") -> Order:
    """Freeze what is awarded to a quote and not ordered yet into a numbered order.

    Raises ``OrderBookError`` when there is nothing to order from it.
    """
    build = Build.objects.select_for_update().get(pk=build.pk)
    sheet = builds.sheet_of(build)
    orders = list(Order.objects.filter(build=build))
    ready = next((r for r in ready_orders(sheet, orders) if r.quote.id == quote_id), None)
    if ready is None:
        raise OrderBookError("Nothing of this quote is waiting to be ordered: it is on an order already, or not chosen")
    approval = _approval_for(build, sheet, ready)
    names = {line.item: line.name for line in sheet.part("take_off", TakeOff).lines}
    order = Order.objects.create(
        build=build,
        number=max((order.number for order in orders), default=0) + 1,
        supplier=ready.quote.supplier,
        supplier_name=ready.supplier.name if ready.supplier else ready.quote.supplier,
        quote=quote_id,
        placed=sheet.today(),
        freight=ready.freight,
        tax=ready.tax,
        tax_percent=ready.tax_percent,
        note=note,
        **ready.terms._asdict(),
        revision=sheet.revision,
        lines=[
            {
                "item": line.item,
                "name": names.get(line.item, line.item),
                "quantity": f"{line.quantity:f}",
                "unit": line.unit,
                "unit_price": f"{line.unit_price:f}",
                "extras": f"{line.extras:f}",
                "goods": f"{line.goods + line.extras:f}",
            }
            for line in ready.lines
        ],
    )
    if approval is not None:
        approval.order = order
        approval.save(update_fields=["order"])
    documents.keep_order(sheet, order, user.name)
    total = format_money(ready.total, sheet.currency)
    _tell(build, user, order, f"{order.name} placed with {order.supplier_name}: {total} with tax and freight")
    return order


def _approval_for(build: Build, sheet: builds.Sheet, ready: ReadyOrder) -> Approval | None:
    """The partner's answer this order needs; None where it needs none. Raises ``OrderBookError`` without one."""
    limit = approvals.limit_of(sheet)
    if limit is None or ready.total <= limit or not approvals.has_partner(build):
        return None
    found = approvals.of_quote(build, ready.quote.id)
    if found is None or not approvals.covers(found, ready.lines, ready.total):
        raise OrderBookError(
            f"{format_money(ready.total, sheet.currency)} is above {format_money(limit, sheet.currency)}: "
            "ask the partner first, and order when the answer is there"
        )
    return found


def _tell(build: Build, user: User, order: Order, text: str, before: Mapping[str, Any] | None = None) -> None:
    after = {"state": order.state, "promised": _day(order.promised), "received": _day(order.received)}
    builds.note(build, "order", text, by=user, before=before or {}, after={"order": order.name, **after})


def _day(day: date | None) -> str | None:
    return day.isoformat() if day else None


@transaction.atomic
def _step(order: Order, allowed: tuple[str, ...], what: str) -> Order:
    fresh = Order.objects.select_for_update().get(pk=order.pk)
    if fresh.state not in allowed:
        raise WrongStateError(f"{fresh.name} is {fresh.get_state_display().lower()}: it cannot be {what}")
    return fresh


@transaction.atomic
def confirm(order: Order, user: User, promised: date) -> Order:
    """The supplier has acknowledged the order and promised a day; a later word of theirs replaces it."""
    fresh = _step(order, (Order.State.PLACED, Order.State.CONFIRMED), "confirmed")
    if promised < fresh.placed:
        raise OrderBookError(f"The order was placed on {date_text(fresh.placed)}; the promised day cannot be earlier")
    before = {"state": fresh.state, "promised": _day(fresh.promised)}
    fresh.state, fresh.promised = Order.State.CONFIRMED, promised
    fresh.save(update_fields=["state", "promised"])
    text = f"{fresh.name} confirmed by {fresh.supplier_name}, promised for {date_text(promised)}"
    _tell(fresh.build, user, fresh, text, before)
    return fresh


@transaction.atomic
def expect(
    order: Order, user: User, *, window: str, receiver: str, room: str, put: str, space: dict[str, str] | None = None
) -> Order:
    """When on the day the goods are expected, who takes them in and where they go."""
    fresh = _step(order, (Order.State.PLACED, Order.State.CONFIRMED), "planned")
    fresh.window, fresh.receiver, fresh.room, fresh.put, fresh.space = window, receiver, room, put, space or {}
    fresh.save(update_fields=["window", "receiver", "room", "put", "space"])
    said = ", ".join(part for part in (window, receiver and f"{receiver} takes them in", put) if part)
    _tell(fresh.build, user, fresh, f"How {fresh.name} comes: {said or 'left open'}")
    return fresh


MOST_PHOTOS = 20


@transaction.atomic
def add_photo(delivery: Delivery, jpeg: bytes, shows: str) -> DeliveryPhoto:
    """Keep a photo of goods as they came. Raises ``OrderBookError`` when there are enough."""
    Delivery.objects.select_for_update().get(pk=delivery.pk)
    taken = delivery.photos.count()
    if taken >= MOST_PHOTOS:
        raise OrderBookError(f"A delivery keeps at most {MOST_PHOTOS} photos")
    return DeliveryPhoto.objects.create(delivery=delivery, number=taken + 1, jpeg=jpeg, shows=shows)


@transaction.atomic
def claim(delivery: Delivery, user: User, text: str, asked: Decimal | None) -> Claim:
    """Ask the supplier for what came short, damaged or wrong."""
    fresh = Delivery.objects.select_for_update().select_related("order__build").get(pk=delivery.pk)
    if fresh.taken_back is not None:
        raise WrongStateError(f"{fresh.name} was taken back: nothing can be claimed for it")
    made = Claim.objects.create(delivery=fresh, number=fresh.claims.count() + 1, text=text, asked=asked)
    money = f" ({format_money(asked, builds.sheet_of(fresh.order.build).currency)})" if asked else ""
    _tell(fresh.order.build, user, fresh.order, f"Claimed from {fresh.order.supplier_name}: {text}{money}")
    return made


@transaction.atomic
def answer_claim(claim: Claim, user: User, *, settled: bool, answer: str) -> Claim:
    """What came of a claim; money they give back is booked as a credit note, an invoice with amounts below nought."""
    fresh = Claim.objects.select_for_update().select_related("delivery__order__build").get(pk=claim.pk)
    if fresh.state != Claim.State.OPEN:
        raise WrongStateError(f"Claim {fresh.number} is {fresh.get_state_display().lower()} already")
    fresh.state = Claim.State.SETTLED if settled else Claim.State.DROPPED
    fresh.answered, fresh.answer = timezone.now(), answer
    fresh.save(update_fields=["state", "answered", "answer"])
    order = fresh.delivery.order
    _tell(order.build, user, order, f"Claim {fresh.number} on {order.name} {fresh.state}: {answer or fresh.text}")
    return fresh


class Booked(NamedTuple):
    """What a delivery is booked in with; ``lines`` as the table of deliveries keeps them."""

    came: date
    lines: list[dict[str, Any]]
    taken_by: str = ""
    put: str = ""
    slip: str = ""


@transaction.atomic
def deliver(order: Order, user: User, booked: Booked, promised: date | None = None) -> Delivery:
    """Book goods in, all that is due or part of it. ``promised``: the day they name for the rest.

    Raises ``OrderBookError`` for days that cannot be and for a delivery of nothing at all.
    """
    fresh = _step(order, (Order.State.PLACED, Order.State.CONFIRMED), "received")
    if booked.came < fresh.placed:
        raise OrderBookError(f"The order was placed on {date_text(fresh.placed)}; the goods cannot have come earlier")
    if not any(Decimal(line["accepted"]) or Decimal(line["damaged"]) for line in booked.lines):
        raise OrderBookError("Nothing is counted in: type how many came of at least one item, for example 40")
    before = {"state": fresh.state}
    number = max((delivery.number for delivery in fresh.deliveries.all()), default=0) + 1
    delivery = Delivery.objects.create(
        order=fresh, number=number, came=booked.came, lines=booked.lines, taken_by=booked.taken_by, put=booked.put,
        slip=booked.slip,
    )  # fmt: skip
    open_lines = [s for s in standings(fresh) if s.standing.outstanding > 0]
    if open_lines:
        if promised is not None:
            if promised <= booked.came:
                raise OrderBookError("The rest is promised for a day that is not after this delivery")
            fresh.state, fresh.promised = Order.State.CONFIRMED, promised
        lacking = ", ".join(f"{s.name} {counted(s.standing.outstanding, s.unit)}" for s in open_lines)
        text = f"Part of {fresh.name} came on {date_text(booked.came)}; still to come: {lacking}"
    else:
        fresh.state, fresh.received = Order.State.RECEIVED, _last_day(fresh)
        text = f"Goods of {fresh.name} came on {date_text(booked.came)}"
    fresh.save(update_fields=["state", "promised", "received"])
    _tell(fresh.build, user, fresh, text, before)
    return delivery


def _last_day(order: Order) -> date | None:
    return max((d.came for d in order.deliveries.all() if d.taken_back is None), default=None)


def receive(order: Order, user: User, received: date) -> Delivery:
    """Everything still due came, counted and in order."""
    lines = [
        {"item": s.item, "name": s.name, "unit": s.unit, "accepted": f"{s.standing.outstanding:f}", "damaged": "0"}
        for s in standings(order)
    ]
    return deliver(order, user, Booked(received, lines))


@transaction.atomic
def take_back(delivery: Delivery, user: User) -> Delivery:
    """A delivery booked in by mistake: it stays in the book, crossed out, and counts no more."""
    fresh = Delivery.objects.select_for_update().select_related("order__build").get(pk=delivery.pk)
    if fresh.taken_back is not None:
        raise WrongStateError(f"{fresh} was taken back already")
    order = Order.objects.select_for_update().get(pk=fresh.order_id)
    if order.state == Order.State.CANCELLED:
        raise WrongStateError(f"{order.name} is cancelled: it cannot be changed")
    before = {"state": order.state, "received": _day(order.received)}
    fresh.taken_back = timezone.now()
    fresh.save(update_fields=["taken_back"])
    if any(s.standing.outstanding > 0 for s in standings(order)):
        order.received = None
        order.state = Order.State.CONFIRMED if order.promised else Order.State.PLACED
        order.save(update_fields=["state", "received"])
    _tell(order.build, user, order, f"{fresh.name} of {order.name} taken back: booked in by mistake", before)
    return fresh


@transaction.atomic
def close_rest(order: Order, user: User, charge: Decimal = Decimal(0)) -> ChangeOrder:
    """What has not come is cancelled with the supplier, as a numbered change agreed at once.

    ``charge``: what they ask for cancelling, before tax.
    """
    fresh = _step(order, (Order.State.PLACED, Order.State.CONFIRMED), "closed")
    if not any(s.standing.received for s in standings(fresh)):
        raise OrderBookError("Nothing of it has come: cancel the order as a whole")
    change = _call_off(fresh, charge, "The rest is not coming and is cancelled")
    before = {"state": fresh.state}
    fresh.state, fresh.received = Order.State.RECEIVED, _last_day(fresh)
    fresh.save(update_fields=["state", "received"])
    _tell(fresh.build, user, fresh, f"The rest of {fresh.name} is cancelled by change {change.number}", before)
    return change


@transaction.atomic
def cancel(order: Order, user: User, charge: Decimal = Decimal(0)) -> Order:
    """Called off with the supplier, as a numbered change agreed at once. Its lines wait to be ordered again.

    ``charge``: what they ask for cancelling, before tax.
    """
    fresh = _step(order, (Order.State.PLACED, Order.State.CONFIRMED), "cancelled")
    if any(s.standing.received for s in standings(fresh)):
        raise WrongStateError(f"Part of {fresh.name} is here: cancel the rest of it instead")
    _call_off(fresh, charge, "The order is cancelled")
    before = {"state": fresh.state}
    fresh.state = Order.State.CANCELLED
    fresh.save(update_fields=["state"])
    cost = f" for {format_money(charge, builds.sheet_of(fresh.build).currency)}" if charge else ""
    _tell(fresh.build, user, fresh, f"{fresh.name} to {fresh.supplier_name} cancelled{cost}", before)
    return fresh


def _call_off(order: Order, charge: Decimal, reason: str) -> ChangeOrder:
    """The change that takes off all that has not come; its charge stands with the first line taken off."""
    rest = [s for s in standings(order) if s.standing.outstanding > 0]
    currency = builds.sheet_of(order.build).currency
    lines = [
        {
            "item": s.item, "name": s.name, "unit": s.unit, "before": f"{s.due:f}", "after": f"{s.standing.received:f}",
            "money": f"{_given_back(s, currency):f}", "text": "",
        }
        for s in rest
    ]  # fmt: skip
    if charge:
        lines[0]["money"] = f"{Decimal(lines[0]['money']) + charge:f}"
        reason += f"; {format_money(charge, currency)} charged for it"
    order.changes.filter(state=ChangeOrder.State.OPEN).update(state=ChangeOrder.State.WITHDRAWN, decided=timezone.now())
    return ChangeOrder.objects.create(
        order=order, number=max((c.number for c in order.changes.all()), default=0) + 1, reason=reason,
        lines=lines, money=sum((Decimal(line["money"]) for line in lines), Decimal(0)), state=ChangeOrder.State.AGREED,
        decided=timezone.now(),
    )  # fmt: skip


def _given_back(line: OrderedItem, currency: str) -> Decimal:
    """What taking the rest of a line off saves: all its money, extras too, where nothing of it came."""
    if not line.standing.received:
        return -line.goods
    return round_money(-line.standing.outstanding * line.unit_price, currency)


def _here_or_not(order: Order) -> None:
    """An order is received when nothing of it is to come any more; a change can bring it there, or back from there."""
    now = standings(order)
    waits = any(s.standing.outstanding > 0 for s in now)
    if waits and order.state == Order.State.RECEIVED:
        order.received = None
        order.state = Order.State.CONFIRMED if order.promised else Order.State.PLACED
    elif not waits and order.state != Order.State.RECEIVED and any(s.standing.received for s in now):
        order.state, order.received = Order.State.RECEIVED, _last_day(order)
    else:
        return
    order.save(update_fields=["state", "received"])


@transaction.atomic
def decide(change: ChangeOrder, user: User, *, agreed: bool) -> ChangeOrder:
    """What the supplier said to a change order."""
    fresh = ChangeOrder.objects.select_for_update().select_related("order__build").get(pk=change.pk)
    if fresh.state != ChangeOrder.State.OPEN:
        raise WrongStateError(f"{fresh} is {fresh.get_state_display().lower()} already")
    order = Order.objects.select_for_update().get(pk=fresh.order_id)
    if agreed and order.state == Order.State.CANCELLED:
        raise WrongStateError(f"{order.name} is cancelled: nothing of it can be changed any more")
    fresh.state = ChangeOrder.State.AGREED if agreed else ChangeOrder.State.REFUSED
    fresh.decided = timezone.now()
    fresh.save(update_fields=["state", "decided"])
    if agreed:
        _here_or_not(order)
    word = "agreed with" if agreed else "refused by"
    text = f"Change {fresh.number} to {fresh.order.name} {word} {fresh.order.supplier_name}"
    _tell(fresh.order.build, user, fresh.order, text)
    return fresh
