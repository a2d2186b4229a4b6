"""Bills, payments and draws from contingency, as they are entered and as the engine reads them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from django.db import transaction

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build
from buildout.people.web.models import User
from buildout.units.money import format_money, round_money
from buildout.units.value import Reason
from estimating.engine.heads import FREIGHT, HEADS, OTHER, TAX
from estimating.engine.ledger import (
    BilledLine,
    HeadMoney,
    LedgerRow,
    OrderLine,
    ThreeWay,
    after_draws,
    head_money,
    overpaid,
    shares,
    three_way,
)
from estimating.engine.types import Budget, Product, TakeOff
from estimating.web.models import Claim, LedgerEntry, Order
from estimating.web.order_book import OrderBookError
from estimating.web.services import standings, tax_due, tax_on_lines

Kind = LedgerEntry.Kind
BILLS = (Kind.INVOICE, Kind.CREDIT)


def row_of(entry: LedgerEntry) -> LedgerRow:
    number = entry.settles.number if entry.settles else None
    return LedgerRow(
        number=entry.number,
        kind=entry.kind,  # type: ignore[arg-type]  # the column's choices are the engine's kinds
        day=entry.day,
        order=entry.order.name if entry.order else "",
        settles=number,
        head=entry.head,
        lines=[
            BilledLine(item=line["item"], quantity=Decimal(line["quantity"]), goods=Decimal(line["goods"]))
            for line in entry.lines
        ],
        goods=entry.goods,
        freight=entry.freight,
        tax=entry.tax,
        amount=entry.amount,
        reference=entry.reference,
        who="" if entry.order else entry.who,
    )


def entries_of(build: Build) -> list[LedgerEntry]:
    found = LedgerEntry.objects.filter(build=build).select_related("order", "settles", "reverses", "by")
    return list(found.select_related("reversal"))


def balance(entry: LedgerEntry, book: Iterable[LedgerEntry]) -> Decimal:
    """What of an invoice is still to be paid, credit notes for it taken off; below nought: what is to come back."""
    about = [other for other in book if other.settles_id == entry.pk]
    paid = sum((other.amount for other in about if other.kind == Kind.PAYMENT), Decimal(0))
    return entry.amount + sum((other.amount for other in about if other.kind == Kind.CREDIT), Decimal(0)) - paid


def heads_of_items(sheet: builds.Sheet) -> dict[str, int]:
    """Item → budget head, as the budget sees it."""
    products = {product.id: product.head for product in sheet.section("products", list[Product])}
    return products | {line.item: line.head for line in sheet.part("take_off", TakeOff).lines}


def split_of(order: Order, head_of: dict[str, int], tax: Decimal) -> dict[int, Decimal]:
    """What an order comes to under each head, tax and freight included; of one called off what is charged for it."""
    found: dict[int, Decimal] = {}
    parts = [(head_of.get(line.item, OTHER), line.goods) for line in standings(order)]
    freight = Decimal(0) if order.state == Order.State.CANCELLED else order.freight
    for head, amount in [*parts, (FREIGHT, freight), (TAX, tax)]:
        if amount > 0:
            number = head if head in HEADS else OTHER
            found[number] = found.get(number, Decimal(0)) + amount
    return dict(sorted(found.items()))


def budget_after_draws(sheet: builds.Sheet, book: Iterable[LedgerEntry]) -> Budget:
    """The sheet's budget with what was drawn from contingency since set aside instead."""
    drawn: dict[int, Decimal] = defaultdict(Decimal)
    for entry in book:
        if entry.kind == Kind.DRAW and entry.head is not None:
            drawn[entry.head] += entry.amount
    return after_draws(sheet.part("budget", Budget), drawn)


def bills_without_order(book: Iterable[LedgerEntry]) -> dict[int, Decimal]:
    """Head → invoiced less credited where no order stands behind it: what of an allowance is spoken for."""
    found: dict[int, Decimal] = defaultdict(Decimal)
    for entry in book:
        if entry.kind in BILLS and entry.order_id is None and entry.head is not None:
            found[entry.head] += entry.amount
    return found


def money_by_head(
    sheet: builds.Sheet, book: list[LedgerEntry], orders: Iterable[Order], budget: Budget | None = None
) -> list[HeadMoney]:
    """Every budget head with what was ordered, invoiced, paid and drawn since; ``budget``: another than the sheet's."""
    head_of = heads_of_items(sheet)
    return head_money(
        budget or sheet.part("budget", Budget),
        [row_of(entry) for entry in book],
        {o.name: split_of(o, head_of, tax_due(o, sheet.currency)) for o in orders},
        head_of,
        sheet.currency,
    )


def match(sheet: builds.Sheet, order: Order, entries: list[LedgerEntry]) -> ThreeWay:
    """Order, receipt and invoices of one order."""
    lines = [
        OrderLine(
            item=line.item, name=line.name, unit=line.unit, due=line.due, goods=line.goods,
            received=line.standing.received,
        )
        for line in standings(order)
    ]  # fmt: skip
    freight = Decimal(0) if order.state == Order.State.CANCELLED else order.freight
    rows = [row_of(entry) for entry in entries if entry.counts]  # a reversed entry and its reversal are nothing
    return three_way(lines, freight, tax_due(order, sheet.currency), order.rate, rows, sheet.currency)


def differences(sheet: builds.Sheet, orders: Iterable[Order], book: list[LedgerEntry]) -> list[tuple[str, Reason]]:
    """Everything in which orders, receipts, invoices and payments do not agree, with the order's name or none."""
    found: list[tuple[str, Reason]] = []
    for order in orders:
        mine = [entry for entry in book if entry.order_id == order.pk]
        found += [(order.name, reason) for reason in match(sheet, order, mine).reasons]
    loose = [row_of(entry) for entry in book if entry.order_id is None and entry.counts]
    return found + [("", reason) for reason in overpaid(loose, sheet.currency)]


class CreditStart(NamedTuple):
    """What a credit note is filled in with, by item; ``billed``: invoiced and not credited yet."""

    billed: dict[str, Decimal]
    quantity: dict[str, Decimal]
    goods: dict[str, Decimal]
    tax: Decimal


def credit_start(sheet: builds.Sheet, order: Order, entries: list[LedgerEntry], claim: Claim | None) -> CreditStart:
    """What is billed and has not come in order; a claim's money is spread over that, or over what was damaged."""
    billed: dict[str, Decimal] = {}
    worth: dict[str, Decimal] = {}
    for line in (line for entry in entries for line in entry.lines):
        billed[line["item"]] = billed.get(line["item"], Decimal(0)) + Decimal(line["quantity"])
        worth[line["item"]] = worth.get(line["item"], Decimal(0)) + Decimal(line["goods"])
    quantity, goods = {}, {}
    for line in standings(order):
        over = billed.get(line.item, Decimal(0)) - line.standing.received
        if over > 0:
            quantity[line.item] = over
            goods[line.item] = round_money(worth[line.item] * over / billed[line.item], sheet.currency)
    if claim is not None and claim.asked:
        bad = [line["item"] for line in claim.delivery.lines if Decimal(line["damaged"]) and line["item"] in billed]
        weights = goods if any(goods.values()) else dict.fromkeys(bad or sorted(billed)[:1], Decimal(1))
        if weights:
            goods = dict(zip(weights, shares(claim.asked, list(weights.values()), sheet.currency), strict=True))
    return CreditStart(billed, quantity, goods, tax_on_lines(order, goods.values(), sheet.currency))


@transaction.atomic
def enter(build: Build, user: User, kind: str, **fields: Any) -> LedgerEntry:
    """Write the next entry of the ledger and say so in the journal."""
    build = Build.objects.select_for_update().get(pk=build.pk)
    last = LedgerEntry.objects.filter(build=build).order_by("-number").first()
    entry = LedgerEntry.objects.create(build=build, number=last.number + 1 if last else 1, kind=kind, by=user, **fields)
    currency = builds.sheet_of(build).currency
    about = entry.order.name if entry.order else HEADS.get(entry.head or 0, entry.who)
    what = f"{entry.get_kind_display()} of {format_money(entry.amount, currency)}, {about}"
    if entry.reverses is not None:
        what = f"{entry.reverses} reversed: {what}"
    builds.note(build, "money", what, by=user, why=entry.note, after={"entry": entry.number, "day": f"{entry.day}"})
    return entry


@transaction.atomic
def reverse(entry: LedgerEntry, user: User, day: date, note: str) -> LedgerEntry:
    """The same entry with every amount negative. Raises ``OrderBookError`` where that cannot be."""
    entry = LedgerEntry.objects.select_for_update().get(pk=entry.pk)
    if entry.reverses_id is not None:
        raise OrderBookError(f"{entry} is a reversal itself: enter the right one anew")
    if LedgerEntry.objects.filter(reverses=entry).exists():
        raise OrderBookError(f"{entry} is reversed already")
    if entry.payments.filter(reverses=None, reversal=None).exists():
        raise OrderBookError(f"{entry} has payments or credit notes: reverse those first")
    lines = [
        {**line, "quantity": f"{-Decimal(line['quantity']):f}", "goods": f"{-Decimal(line['goods']):f}"}
        for line in entry.lines
    ]
    return enter(
        entry.build, user, entry.kind, day=day, order=entry.order, settles=entry.settles, reverses=entry,
        head=entry.head, who=entry.who, reference=entry.reference, lines=lines, goods=-entry.goods,
        freight=-entry.freight, tax=-entry.tax, amount=-entry.amount, note=note,
    )  # fmt: skip
