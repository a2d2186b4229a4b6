"""When money leaves and arrives, week by week; the lowest balance; what to put off to stay above nought.

Weeks run from Monday. A deposit leaves when an order is placed, its balance a supplier's number of days after the
goods are here; what no order covers leaves evenly until the opening. Common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Literal

from buildout.units.dates import day_text
from buildout.units.money import format_money, round_money
from buildout.units.value import Reason, Value

WEEK = timedelta(days=7)
MOST_WEEKS = 260
"""Later flows are put into the last week: a plan five years ahead is a slip of the pen."""


class Flow(Value, kw_only=True):
    """One sum on one day: positive leaves, negative arrives."""

    day: date
    amount: Decimal
    what: str
    movable: bool = False
    """Not promised to anybody yet, so that it can be put off."""


class Purchase(Value, kw_only=True):
    """An order placed, or one still to be placed."""

    what: str
    total: Decimal
    """With freight and tax."""
    paid: Decimal = Decimal(0)
    deposit_percent: Decimal = Decimal(0)
    balance_days: int = 0
    """Days from the goods' arrival to the balance."""
    ordered: date
    arrives: date
    let_off: Decimal = Decimal(0)
    """What a credit note takes off the total."""
    balance_due: date | None = None
    """As an invoice says; it goes before the terms."""
    placed: bool = False


class CashWeek(Value, kw_only=True):
    start: date
    arriving: Decimal
    leaving: Decimal
    balance: Decimal
    """At its end."""
    flows: list[Flow]


class PutOff(Value, kw_only=True):
    what: str
    amount: Decimal
    planned: date
    until: date
    """Monday of the first week in which there is money for it."""


class CashFlow(Value, kw_only=True):
    status: Literal["enough", "short for a while", "short in all"]
    opening: Decimal
    weeks: list[CashWeek]
    lowest: Decimal
    lowest_week: date
    put_off: list[PutOff]
    reasons: list[Reason]


def purchase_flows(purchase: Purchase, currency: str) -> list[Flow]:
    """Deposit and balance of one purchase, less what is paid already.

    >>> order = Purchase(what="PO-1", total=Decimal(1000), paid=Decimal(100), deposit_percent=Decimal(40),
    ...     balance_days=30, ordered=date(2027, 1, 4), arrives=date(2027, 2, 1), placed=True)
    >>> [(flow.day.isoformat(), str(flow.amount)) for flow in purchase_flows(order, "USD")]
    [('2027-01-04', '300.00'), ('2027-03-03', '600.00')]
    """
    deposit = round_money(purchase.total * purchase.deposit_percent / 100, currency)
    paid_on_deposit = min(purchase.paid, deposit)
    balance = max(purchase.total - purchase.let_off - deposit - (purchase.paid - paid_on_deposit), Decimal(0))
    last = purchase.balance_due or max(purchase.arrives, purchase.ordered) + timedelta(days=purchase.balance_days)
    found = [
        Flow(day=purchase.ordered, amount=deposit - paid_on_deposit, what=f"Deposit, {purchase.what}",
             movable=not purchase.placed),
        Flow(day=last, amount=balance, what=purchase.what if not deposit else f"Balance, {purchase.what}"),
    ]  # fmt: skip
    return [flow for flow in found if flow.amount]


def spread(amount: Decimal, what: str, start: date, end: date, currency: str) -> list[Flow]:
    """A sum in equal weekly parts from ``start`` to ``end``; the parts add up to it."""
    weeks = max(1, min(MOST_WEEKS, (_monday(end) - _monday(start)).days // 7 + 1))
    given, found = Decimal(0), []
    for n in range(weeks):
        upto = round_money(amount * (n + 1) / weeks, currency)
        if upto != given:
            found.append(Flow(day=start + n * WEEK, amount=upto - given, what=what, movable=True))
        given = upto
    return found


def cash_flow(opening: Decimal, flows: Sequence[Flow], start: date, currency: str) -> CashFlow:
    """Balance by week from ``start`` on. What should have left or arrived earlier falls into the first week.

    Always: opening + everything arriving − everything leaving = the last balance. ``put_off`` names sums not promised
    to anybody that can wait until there is money, fewest first; it does not change the weeks shown.
    """
    weeks = _weeks(opening, flows, start)
    low = min(weeks, key=lambda week: (week.balance, week.start))
    put_off, cured = _put_off(opening, list(flows), start) if low.balance < 0 else ([], True)
    reasons = []
    status: Literal["enough", "short for a while", "short in all"] = "enough"
    if low.balance < 0:
        status = "short in all" if weeks[-1].balance < 0 else "short for a while"
        short = format_money(-low.balance, currency)
        text = f"In the week of {day_text(low.start)} the money falls {short} short"
        if status == "short in all":
            todo = "Raise more or take something out: putting payments off does not cure it"
        elif cured:
            todo = "Put off what is listed, or have money come earlier"
        else:
            todo = "Putting off is not enough: have money come earlier, or agree later payment with a supplier"
        reasons.append(
            Reason(code="money runs out", where=low.start.isoformat(), severity="stop", text=text, todo=todo)
        )
    return CashFlow(
        status=status, opening=opening, weeks=weeks, lowest=low.balance, lowest_week=low.start, put_off=put_off,
        reasons=reasons,
    )  # fmt: skip


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _weeks(opening: Decimal, flows: Sequence[Flow], start: date) -> list[CashWeek]:
    first = _monday(start)
    by_week: dict[int, list[Flow]] = {0: []}
    for flow in sorted(flows, key=lambda f: (f.day, f.what, f.amount)):
        at = min(max((_monday(flow.day) - first).days // 7, 0), MOST_WEEKS)
        by_week.setdefault(at, []).append(flow)
    balance, found = opening, []
    for at in range(max(by_week) + 1):
        here = by_week.get(at, [])
        arriving = sum((-flow.amount for flow in here if flow.amount < 0), Decimal(0))
        leaving = sum((flow.amount for flow in here if flow.amount > 0), Decimal(0))
        balance += arriving - leaving
        found.append(CashWeek(start=first + at * WEEK, arriving=arriving, leaving=leaving, balance=balance, flows=here))
    return found


def _put_off(opening: Decimal, flows: list[Flow], start: date) -> tuple[list[PutOff], bool]:
    """Move payments, one at a time, from the first week below nought to the first later one that can bear them.

    Of those that can move, the smallest that closes the gap alone; else the largest. True when none is short any more.
    """
    found: list[PutOff] = []
    while True:
        weeks = _weeks(opening, flows, start)
        short = next((n for n, week in enumerate(weeks) if week.balance < 0), None)
        if short is None:
            return found, True
        gap = -weeks[short].balance
        moved = {(entry.what, entry.planned) for entry in found}
        ready = [
            flow
            for week in weeks[: short + 1]
            for flow in week.flows
            if flow.movable and flow.amount > 0 and (flow.what, flow.day) not in moved
        ]
        ready.sort(key=lambda f: (f.amount < gap, f.amount if f.amount >= gap else -f.amount, f.what, f.day))
        for flow in ready:
            # From the week it moves to, every balance is what it was without the move; before it, larger.
            later = next((n for n in range(short + 1, len(weeks)) if min(w.balance for w in weeks[n:]) >= 0), None)
            if later is None:
                return found, False
            until = weeks[later].start
            flows[flows.index(flow)] = Flow(day=until, amount=flow.amount, what=flow.what)
            found.append(PutOff(what=flow.what, amount=flow.amount, planned=flow.day, until=until))
            break
        else:
            return found, False
