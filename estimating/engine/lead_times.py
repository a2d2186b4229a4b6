"""When goods can be on site, and by when they must be ordered.

Lead times are working days from order to goods at the door, Monday to Friday, with the build's own closed days
and the supplier's holidays left out. Orders already placed are facts and count before any estimate.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Literal

import msgspec

from buildout.units.dates import CalendarError, add_working_days, day_text, latest_order_date
from buildout.units.value import Reason, Status
from buildout.units.words import counted, some_of
from estimating.engine.types import (
    Arrival,
    Arrivals,
    Award,
    AwardLine,
    AwardRules,
    Lateness,
    OrderBy,
    OrderDates,
    PlacedOrder,
    Product,
    Quote,
    Supplier,
    TakeOffLine,
)

USUAL_DAYS = {
    "foam": (7, 18, 35),
    "cover": (21, 32, 56),
    "timber": (1, 3, 10),
    "panel": (5, 12, 28),
    "fit-out": (10, 21, 42),
    "other": (3, 10, 28),
}
"""Calendar days from order to delivery (low, likely, high) where nobody has quoted, by kind of goods. Common
practice, no published source."""

LONGEST_LEAD = 1000
"""Working days; longer ones are taken for a slip of the pen."""

State = Literal["to order", "overdue", "placed", "confirmed", "received"]
Basis = Literal["received", "promised", "ordered", "to order", "unquoted"]


@dataclass(frozen=True)
class _Calendar:
    quotes: Mapping[str, Quote]
    suppliers: Mapping[str, Supplier]
    closed: list[date]

    def shut(self, supplier: str) -> list[date]:
        own = self.suppliers[supplier].holidays if supplier in self.suppliers else []
        return sorted({*self.closed, *own})

    def after(self, day: date, supplier: str, quote: str) -> tuple[date, date, date]:
        """Low, likely and high day of arrival when ordered on ``day``."""
        offer = self.quotes[quote]
        shut = self.shut(supplier)
        low, likely, high = (
            add_working_days(day, days, shut)
            for days in (offer.lead_days_low, offer.lead_days_likely, offer.lead_days_high)
        )
        return low, likely, high


def arrivals(
    award: Award,
    products: Mapping[str, Product],
    quotes: list[Quote],
    suppliers: list[Supplier],
    orders: list[PlacedOrder],
    closed: list[date],
    as_of: date,
) -> Arrivals:
    """When every item awarded, ordered or asked can be on site.

    Received: the day it came. Promised: that day. Ordered without a promise: the order's day and the quote's
    lead time. Part of it received: the rest on a day promised since, else after the lead time counted from the day
    that came short. Not ordered: the day the plan is worked out for and the quote's lead time. Nobody quotes it: the
    usual time for such goods, with a warning. Where an order covers only part, the later of the two counts.
    """
    calendar = _Calendar({q.id: q for q in quotes}, {s.id: s for s in suppliers}, closed)
    lines = {line.item: line for line in award.lines}
    ordered = _by_item(orders)
    reasons = _bad_lead_times(quotes)
    usable = {q.id for q in quotes} - {r.where for r in reasons}
    items: list[Arrival] = []
    unquoted: list[str] = []
    for item in sorted({*lines, *award.unquoted, *ordered}):
        group = products[item].lead_group if item in products else "other"
        found = [_of_order(item, group, order, calendar, usable, as_of) for order in ordered.get(item, [])]
        waiting = [order for order in ordered.get(item, []) if not _all_here(item, order)]
        reasons += [_short(item, order) for order in waiting if order.last_delivery and not _new_promise(order)]
        late = [order for order in waiting if _new_promise(order)]
        reasons += [_overdue(item, order, as_of) for order in late if order.promised and order.promised < as_of]
        line = lines.get(item)
        if line is not None and line.quote in usable and _still_to_order(line, ordered.get(item, [])):
            low, likely, high = calendar.after(as_of, line.supplier, line.quote)
            found.append(_arrival(item, line.supplier, (low, likely, high), "to order", group))
        if not found:
            usual = USUAL_DAYS.get(group, USUAL_DAYS["other"])
            low, likely, high = (as_of + timedelta(days=days) for days in usual)
            found.append(_arrival(item, "", (low, likely, high), "unquoted", group))
            unquoted.append(item)
        last = max(found, key=lambda a: (a.high, a.likely, a.low))
        product = products.get(item)
        if product is not None:
            last = msgspec.structs.replace(last, acclimatise_days=product.acclimatise_days, name=product.name)
        items.append(last)
    if unquoted:
        names = some_of([products[i].name if i in products else i for i in unquoted])
        reasons.append(
            Reason(
                code="usual lead time",
                where=", ".join(unquoted),
                severity="note",
                text=f"Nobody quotes a lead time for {len(unquoted)} items; such goods' usual time is taken: {names}",
                todo="Ask for quotes with lead times",
            )
        )
    stopped = any(r.severity == "stop" for r in reasons)
    return Arrivals(status="infeasible" if stopped else "proven" if items else "empty", items=items, reasons=reasons)


def lateness(
    lines: list[TakeOffLine],
    products: Mapping[str, Product],
    quotes: list[Quote],
    suppliers: list[Supplier],
    orders: list[PlacedOrder],
    closed: list[date],
    rules: AwardRules,
    as_of: date,
) -> Lateness:
    """How many days after its group is needed each quote's goods come on average, when ordered on ``as_of``.

    Items on an order already are left out: whoever else is chosen, they come when they come.
    """
    if rules.day_late <= 0 or not rules.need_by:
        return Lateness()
    calendar = _Calendar({q.id: q for q in quotes}, {s.id: s for s in suppliers}, closed)
    wrong = {reason.where for reason in _bad_lead_times(quotes)}
    ordered = {line.item for order in orders for line in order.lines}
    arrive = {q.id: calendar.after(as_of, q.supplier, q.id) for q in quotes if q.id not in wrong}
    found: dict[str, dict[str, Decimal]] = {}
    for asked in lines:
        need = rules.need_by.get(products[asked.item].lead_group) if asked.item in products else None
        if need is None or asked.item in ordered:
            continue
        for quote in quotes:
            if quote.id in arrive and any(line.item == asked.item for line in quote.lines):
                late = expected_days_late(*arrive[quote.id], need)
                if late > 0:
                    found.setdefault(asked.item, {})[quote.id] = late
    return Lateness(day=rules.day_late, days=found)


def ordered_today(quotes: list[Quote], suppliers: list[Supplier], closed: list[date], as_of: date) -> dict[str, date]:
    """Quote → day its goods come at the latest when ordered on ``as_of``; quotes with a wrong lead time left out."""
    calendar = _Calendar({q.id: q for q in quotes}, {s.id: s for s in suppliers}, closed)
    wrong = {reason.where for reason in _bad_lead_times(quotes)}
    return {q.id: calendar.after(as_of, q.supplier, q.id)[2] for q in quotes if q.id not in wrong}


def expected_days_late(low: date, likely: date, high: date, need: date) -> Decimal:
    """Mean of the days after ``need`` when the arrival is spread as a triangle over low, likely and high.

    >>> days = [date(2027, 3, d) for d in (1, 4, 10)]
    >>> [str(expected_days_late(*days, date(2027, 3, d))) for d in (10, 7, 1)]
    ['0.00', '0.17', '4.00']
    """
    a, m, b = (float((day - need).days) for day in (low, likely, high))
    if b <= 0:
        late = 0.0
    elif a >= 0:
        late = (a + m + b) / 3
    elif m <= 0:
        late = b**3 / (3 * (b - a) * (b - m))
    else:
        late = (a + m + b) / 3 + (-a) ** 3 / (3 * (b - a) * (m - a))
    return Decimal(repr(round(late, 6))).quantize(Decimal("0.01"))


def order_by(
    award: Award,
    arrivals: Arrivals,
    needs: Mapping[str, date],
    need_tasks: Mapping[str, str],
    quotes: list[Quote],
    suppliers: list[Supplier],
    orders: list[PlacedOrder],
    closed: list[date],
    as_of: date,
    names: Mapping[str, str] | None = None,
) -> OrderDates:
    """The last day to order every item in time, counted back over its longest quoted lead time and the days it lies.

    ``names``: of items, as people know them. ``needs``: item → day the schedule first uses it. Items no task uses are
    left out with a note. Overdue lines come first, then by order-by date. ``late_by`` is in calendar days.
    """
    calendar = _Calendar({q.id: q for q in quotes}, {s.id: s for s in suppliers}, closed)
    ordered = _by_item(orders)
    when = {arrival.item: arrival for arrival in arrivals.items}
    found: list[OrderBy] = []
    unused: list[str] = []
    reasons: list[Reason] = []
    for line in award.lines:
        need = needs.get(line.item)
        if need is None:
            unused.append(line.item)
            continue
        lead = calendar.quotes[line.quote].lead_days_high if line.quote in calendar.quotes else 0
        arrival = when.get(line.item)
        rest = arrival.acclimatise_days if arrival is not None else 0
        try:
            # A carrier rarely comes on a Saturday, and most build days are Saturdays: here by the working day before.
            there = need - timedelta(days=rest)
            last_day = latest_order_date(there, lead, calendar.shut(line.supplier), carrier_works_weekends=False)
        except CalendarError as error:
            reasons.append(
                Reason(code="no working day", where=line.item, severity="stop", text=str(error),
                       todo="Check the closed days and the lead time of the quote")
            )  # fmt: skip
            continue
        placed = ordered.get(line.item, [])
        state: State
        if placed and not _still_to_order(line, placed):
            state = _state(placed)
        else:
            state = "overdue" if last_day < as_of else "to order"
        late = 0 if arrival is None or state == "received" else max(0, (arrival.high - need).days + rest)
        found.append(
            OrderBy(
                item=line.item,
                supplier=line.supplier,
                quote=line.quote,
                need=need,
                task=need_tasks.get(line.item, ""),
                lead_days=lead,
                acclimatise_days=rest,
                order_by=last_day,
                state=state,
                late_by=late,
            )
        )
    found.sort(key=lambda o: (o.state != "overdue", o.state not in ("to order", "overdue"), o.order_by, o.item))
    called = names or {}
    reasons += [_late(line, called.get(line.item, line.item)) for line in found if line.late_by]
    if unused:
        reasons.append(
            Reason(
                code="no task uses it",
                where=", ".join(unused),
                text=f"No task of the schedule uses {some_of([called.get(i, i) for i in unused])}, so no order-by date "
                "follows",
            )
        )
    infeasible = any(r.severity == "stop" for r in reasons)
    status: Status = "infeasible" if infeasible else "proven" if found else "empty"
    return OrderDates(status=status, lines=found, reasons=reasons)


def _by_item(orders: list[PlacedOrder]) -> dict[str, list[PlacedOrder]]:
    found: dict[str, list[PlacedOrder]] = {}
    for order in orders:
        for item in sorted({line.item for line in order.lines}):
            found.setdefault(item, []).append(order)
    return found


def _state(orders: list[PlacedOrder]) -> State:
    """The least advanced state of several orders."""
    ranks: list[State] = ["placed", "confirmed", "received"]
    return ranks[min(ranks.index(order.state) for order in orders)]


def _still_to_order(line: AwardLine, orders: list[PlacedOrder]) -> bool:
    """Whether orders leave part of what is needed open; orders in another unit are taken to cover it."""
    theirs = [entry for order in orders for entry in order.lines if entry.item == line.item]
    if not theirs:
        return True
    if any(entry.unit != line.unit for entry in theirs):
        return False
    return sum((entry.quantity for entry in theirs), Decimal(0)) < line.quantity - line.spare


def _of_order(item: str, group: str, order: PlacedOrder, calendar: _Calendar, usable: set[str], as_of: date) -> Arrival:
    if order.received is not None:
        return _arrival(item, order.supplier, (order.received,) * 3, "received", group)
    if _all_here(item, order):
        came = max(line.came for line in order.lines if line.item == item and line.came is not None)
        return _arrival(item, order.supplier, (came,) * 3, "received", group)
    if order.promised is not None and _new_promise(order):
        # What was promised for a day gone by has not come yet.
        return _arrival(item, order.supplier, (max(order.promised, as_of),) * 3, "promised", group)
    start = order.last_delivery or order.placed
    if order.quote in usable:
        days = calendar.after(start, order.supplier, order.quote)
    else:
        low, likely, high = USUAL_DAYS.get(group, USUAL_DAYS["other"])
        days = (start + timedelta(days=low), start + timedelta(days=likely), start + timedelta(days=high))
    low_day, likely_day, high_day = (max(day, as_of) for day in days)
    return _arrival(item, order.supplier, (low_day, likely_day, high_day), "ordered", group)


def _all_here(item: str, order: PlacedOrder) -> bool:
    lines = [line for line in order.lines if line.item == item]
    return order.received is not None or all(line.came is not None and line.received >= line.quantity for line in lines)


def _new_promise(order: PlacedOrder) -> bool:
    """Whether the promised day is still to be waited for: given, and not spent on a delivery that came short."""
    return order.promised is not None and (order.last_delivery is None or order.promised > order.last_delivery)


def _arrival(item: str, supplier: str, days: tuple[date, date, date], basis: Basis, group: str) -> Arrival:
    low, likely, high = days
    return Arrival(item=item, supplier=supplier, low=low, likely=likely, high=high, basis=basis, lead_group=group)


def _bad_lead_times(quotes: list[Quote]) -> list[Reason]:
    return [
        Reason(
            code="lead time out of order", where=quote.id, severity="warning",
            text=f"Quote {quote.id} gives {quote.lead_days_low}, {quote.lead_days_likely} and {quote.lead_days_high} "
            f"working days; they must rise from nought and stay under {LONGEST_LEAD}",
            todo="Write shortest, likely and longest, for instance 12, 15, 20",
        )
        for quote in quotes
        if not 0 <= quote.lead_days_low <= quote.lead_days_likely <= quote.lead_days_high <= LONGEST_LEAD
    ]  # fmt: skip


def _short(item: str, order: PlacedOrder) -> Reason:
    lines = [line for line in order.lines if line.item == item]
    missing = sum((line.quantity - line.received for line in lines), Decimal(0))
    return Reason(
        code="short delivery", where=item, severity="warning",
        text=f"Order {order.number} still lacks {counted(missing, lines[0].unit)} after the delivery of "
        f"{day_text(order.last_delivery)}, and no "
        "new day is promised: the lead time is counted again from there",
        todo="Ring the supplier and enter the day the rest comes",
    )  # fmt: skip


def _overdue(item: str, order: PlacedOrder, as_of: date) -> Reason:
    return Reason(
        code="delivery overdue", where=item, severity="warning",
        text=f"Order {order.number} was promised for {day_text(order.promised)} and has not been "
        f"received by {day_text(as_of)}",
        todo="Ring the supplier and enter the new date, or book the goods in",
    )  # fmt: skip


def _late(line: OrderBy, name: str) -> Reason:
    days, need = counted(Decimal(line.late_by), "day"), day_text(line.need)
    task = f"task {line.task}" if line.task else "a task"
    if line.state in ("placed", "confirmed"):
        text = f"{name} is ordered but may come {days} after {need}, when {task} needs it"
        todo = "Ask for an earlier date, or move the task"
    else:
        text = (
            f"{name} should have been ordered by {day_text(line.order_by)}: ordered now it may come {days} after it is "
            f"needed on {need}"
        )
        todo = "Order today, choose a quote with a shorter lead time, or move the task"
    return Reason(code="too late in the worst case", where=line.item, severity="warning", text=text, todo=todo)
