"""What the plan, the order book and the ledger say about when money moves; the picture of it."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from buildout.builds.web.models import Build
from buildout.builds.web.services import Sheet
from buildout.units.dates import date_text
from buildout.units.money import format_money
from estimating.engine.cash_flow import CashFlow, Flow, Purchase, cash_flow, purchase_flows, spread
from estimating.engine.heads import FLOAT, HEADS
from estimating.engine.ledger import let_off
from estimating.engine.types import Arrivals, MoneyPlan, OrderDates, Quote, Supplier
from estimating.web import ledger, order_book
from estimating.web.models import LedgerEntry, Order
from estimating.web.services import standings, tax_due, terms_of

Kind = LedgerEntry.Kind


def planned(build: Build, sheet: Sheet) -> CashFlow:
    """Orders, what is still to be ordered, open bills and allowances from today on, and money arriving."""
    orders = Order.objects.filter(build=build).prefetch_related("changes", "deliveries")
    return planned_from(sheet, list(orders), ledger.entries_of(build))


def planned_from(sheet: Sheet, orders: list[Order], entries: list[LedgerEntry]) -> CashFlow:
    """The same from all orders and ledger entries of a build."""
    money = sheet.section("money", MoneyPlan) if sheet.document.get("money") else MoneyPlan()
    suppliers = {supplier.id: supplier for supplier in sheet.section("suppliers", list[Supplier])}
    book = [entry for entry in entries if entry.kind != Kind.DRAW]
    today = max(sheet.today(), sheet.as_of)
    arrives = {arrival.item: arrival.likely for arrival in sheet.part("arrivals", Arrivals).items}
    paid_in_all = sum((entry.amount for entry in book if entry.kind == Kind.PAYMENT), Decimal(0))

    flows = [Flow(day=i.day, amount=-i.amount, what=i.what or "Money arrives") for i in money.incoming if i.day > today]
    opening = money.available + sum((flow.amount for flow in flows), Decimal(0)) - paid_in_all
    quotes = {quote.id: quote for quote in sheet.section("quotes", list[Quote])}
    bought = _placed(orders, book, suppliers, quotes, arrives, sheet.currency)
    bought += _to_place(sheet, orders, suppliers, arrives, today)
    for purchase in bought:
        flows += purchase_flows(purchase, sheet.currency)
    budget = ledger.budget_after_draws(sheet, entries)
    # What orders placed earlier do not cover of what is needed now: the budget counts it, no order waits for it yet.
    rest = budget.goods + budget.freight + budget.tax - sum((purchase.total for purchase in bought), Decimal(0))
    if rest > 0:
        what = "Quoted, still to be ordered beyond the orders placed"
        flows.append(Flow(day=today, amount=rest, what=what, movable=True))
    flows += _open_bills(book, today)
    flows += _coming_back(bought, orders, book, today)
    end = date.fromisoformat(sheet.document["dates"]["opening_wish"])
    billed = ledger.bills_without_order(book)
    for line in budget.lines:
        rest = line.allowance - billed.get(line.head, Decimal(0))
        if line.head != FLOAT and rest > 0:
            flows += spread(rest, f"{HEADS[line.head]}, set aside", today, end, sheet.currency)
    return cash_flow(opening, flows, today, sheet.currency)


def _placed(
    orders: list[Order],
    book: list[LedgerEntry],
    suppliers: dict[str, Supplier],
    quotes: dict[str, Quote],
    arrives: dict[str, date],
    currency: str,
) -> list[Purchase]:
    found = []
    for order in orders:
        mine = [entry for entry in book if entry.order_id == order.pk]
        paid = sum((entry.amount for entry in mine if entry.kind == Kind.PAYMENT), Decimal(0))
        invoiced = sum((entry.amount for entry in mine if entry.kind in ledger.BILLS), Decimal(0))
        allowed = -sum((row.amount for row in map(ledger.row_of, mine) if row.allowance), Decimal(0))
        lines = standings(order)
        goods = sum((line.goods for line in lines), Decimal(0))
        off = order.state == Order.State.CANCELLED
        # Of an order called off what the supplier charges for that is left, and no deposit on it.
        tax = tax_due(order, currency)
        due_in_all = goods + tax + (0 if off else order.freight)
        total = max(due_in_all, invoiced)
        if off and not total:
            continue
        due = [entry.due for entry in mine if entry.due and entry.kind == Kind.INVOICE and entry.counts]
        days = [order.received] if order.received else [arrives[line.item] for line in lines if line.item in arrives]
        terms = terms_of(order, quotes.get(order.quote), suppliers.get(order.supplier))
        found.append(
            Purchase(
                what=_named(order), total=total, paid=paid, placed=True,
                let_off=let_off(allowed, due_in_all, invoiced),
                deposit_percent=Decimal(0) if off else terms.deposit_percent,
                balance_days=terms.balance_days, ordered=order.placed,
                arrives=order.promised or max(days, default=order.placed), balance_due=max(due, default=None),
            )
        )  # fmt: skip
    return found


def _to_place(
    sheet: Sheet, orders: list[Order], suppliers: dict[str, Supplier], arrives: dict[str, date], today: date
) -> list[Purchase]:
    """Each quote's awarded lines that wait to be ordered, on the first of their order-by dates."""
    dates = {line.item: line for line in sheet.part("order_dates", OrderDates).lines}
    found = []
    for ready in order_book.ready_orders(sheet, orders):
        items = [line.item for line in ready.lines]
        ordered = max(min((dates[item].order_by for item in items if item in dates), default=today), today)
        # Goods ordered later than today come later than today's arrival by as much.
        there = max((arrives[item] for item in items if item in arrives), default=ordered) + (ordered - today)
        seller = suppliers.get(ready.quote.supplier)
        found.append(
            Purchase(
                what=f"{seller.name if seller else ready.quote.supplier}, to be ordered", total=ready.total,
                deposit_percent=ready.terms.deposit_percent, balance_days=ready.terms.balance_days,
                ordered=ordered, arrives=there,
            )
        )  # fmt: skip
    return found


def _open_bills(book: list[LedgerEntry], today: date) -> list[Flow]:
    found = []
    for entry in book:
        if entry.kind != Kind.INVOICE or entry.order is not None or not entry.counts:
            continue
        left = ledger.balance(entry, book)
        what = f"{entry.who}, {HEADS.get(entry.head or 0, 'bill')}"
        if left > 0:
            found.append(Flow(day=entry.due or entry.day, amount=left, what=what))
        credits = [e for e in book if e.settles_id == entry.pk and e.kind == Kind.CREDIT and e.counts]
        returned = {e.pk for e in credits}
        left -= sum((e.amount for e in book if e.settles_id in returned and e.kind == Kind.PAYMENT), Decimal(0))
        if left < 0 and credits:
            back = max(left, sum((e.amount for e in credits), Decimal(0)))  # paid beyond that is for nobody to promise
            day = max([today, *[e.due for e in credits if e.due]])
            found.append(Flow(day=day, amount=back, what=f"Money back, {what}"))
    return found


def _coming_back(bought: list[Purchase], orders: list[Order], book: list[LedgerEntry], today: date) -> list[Flow]:
    """What was paid and then credited, as far as nothing else of the order is left to set it off against."""
    by_name = {purchase.what: purchase for purchase in bought}
    found = []
    for order in orders:
        notes = [entry for entry in book if entry.order_id == order.pk and entry.kind == Kind.CREDIT and entry.counts]
        purchase = by_name.get(_named(order))
        if not notes or purchase is None:
            continue
        credited = -sum((entry.amount for entry in notes), Decimal(0))
        back = min(credited, purchase.paid - (purchase.total - purchase.let_off))
        if back > 0:
            day = max([today, *[entry.due for entry in notes if entry.due]])
            found.append(Flow(day=day, amount=-back, what=f"Money back, {_named(order)}"))
    return found


def _named(order: Order) -> str:
    return f"{order.name} to {order.supplier_name}"


WIDTH, HEIGHT, LEFT, TOP, BOTTOM = 720, 280, 92, 14, 34


def picture(flow: CashFlow, currency: str) -> dict[str, Any]:
    """Bars of what leaves and arrives and the line of the balance, to one scale of money."""
    top = max([flow.opening, *[w.balance for w in flow.weeks], *[w.leaving for w in flow.weeks], Decimal(1)])
    top = max([top, *[w.arriving for w in flow.weeks]])
    low = min([Decimal(0), flow.lowest])
    span = float(top - low)
    room = HEIGHT - TOP - BOTTOM

    def y(amount: Decimal) -> float:
        return round(TOP + float(top - amount) / span * room, 1)

    step = (WIDTH - LEFT - 8) / len(flow.weeks)
    bars, points = [], [f"{LEFT},{y(flow.opening)}"]
    for at, week in enumerate(flow.weeks):
        x = LEFT + at * step
        wide = round(step * 0.36, 1)
        for amount, kind, shift in ((week.leaving, "leaving", 0.1), (week.arriving, "arriving", 0.54)):
            if amount:
                at_y = y(amount)
                bars.append({"x": round(x + step * shift, 1), "y": at_y, "width": wide,
                             "height": round(y(Decimal(0)) - at_y, 1), "kind": kind})  # fmt: skip
        points.append(f"{round(x + step, 1)},{y(week.balance)}")
    every = max(1, -(-len(flow.weeks) // 6))
    labels = [
        {"x": round(LEFT + at * step, 1), "text": date_text(week.start, year=False)}
        for at, week in enumerate(flow.weeks)
        if at % every == 0
    ]
    marks = [
        {"y": y(amount), "text": format_money(amount, currency)} for amount in sorted({top, top / 2, Decimal(0), low})
    ]
    lowest = next(at for at, week in enumerate(flow.weeks) if week.start == flow.lowest_week)
    opens = format_money(flow.opening, currency)
    return {
        "width": WIDTH, "height": HEIGHT, "left": LEFT, "base": HEIGHT - 10, "bars": bars, "points": " ".join(points),
        "labels": labels, "marks": marks, "zero": y(Decimal(0)),
        "low": {"x": round(LEFT + (lowest + 1) * step, 1), "y": y(flow.lowest)},
        "told": f"Balance by week from {date_text(flow.weeks[0].start)}: opens with {opens}, lowest "
        f"{format_money(flow.lowest, currency)} in the week of {date_text(flow.lowest_week)}. "
        "The table below says the same.",
    }  # fmt: skip


def weeks_shown(flow: CashFlow) -> list[dict[str, Any]]:
    return [
        {"week": week, "end": week.start + timedelta(days=6), "flows": sorted(week.flows, key=lambda f: -abs(f.amount))}
        for week in flow.weeks
    ]
