"""Where the money stands in short: what the partner's page and the weekly digest say."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import msgspec

from buildout.builds.web.models import Build, Comment, JournalEntry, Revision
from buildout.builds.web.services import Sheet
from estimating.engine.cost_risk import CostRisk, cost_risk
from estimating.engine.heads import FLOAT
from estimating.engine.ledger import HeadMoney
from estimating.engine.offers import tax_rate
from estimating.engine.types import Award, Budget, MoneyPlan, Product, Quote, TakeOff
from estimating.web import cash, ledger
from estimating.web.models import Approval, LedgerEntry, Order
from estimating.web.services import standings

TOLD = ("revision", "order", "money", "comment")
"""Kinds of journal entries that are about money."""
SOON = timedelta(days=14)


def risk_of(sheet: Sheet, book: list[LedgerEntry], orders: list[Order]) -> CostRisk:
    """P50 and P80 of what the whole build costs."""
    budget = ledger.budget_after_draws(sheet, book)
    forecast = sheet.part("forecast", dict)
    opening = sheet.part("schedule", dict).get("opening")
    here = {
        line.item
        for order in orders
        if order.state != Order.State.CANCELLED
        for line in standings(order)
        if line.standing.received and not line.standing.outstanding
    }
    cut = {p.id for p in sheet.section("products", list[Product]) if p.form in ("sheet", "roll", "length")}
    billed = ledger.bills_without_order(book)
    return cost_risk(
        budget, sheet.part("take_off", TakeOff), sheet.part("award", Award), billed, here, cut,
        [(date.fromisoformat(day), runs) for day, runs in forecast.get("histogram", [])],
        date.fromisoformat(opening) if opening else None, _money(sheet).weekly_rent, _rates(sheet, orders),
        sheet.currency,
    )  # fmt: skip


def _rates(sheet: Sheet, orders: list[Order]) -> dict[str, Decimal]:
    """Item → the rate it is taxed at: as it was ordered, else as the quote it is awarded to says."""
    quotes = {quote.id: quote for quote in sheet.section("quotes", list[Quote])}
    usual = _money(sheet).tax_percent
    found = {
        line.item: tax_rate(quotes[line.quote], usual) if line.quote in quotes else usual
        for line in sheet.part("award", Award).lines
    }
    standing = [order for order in orders if order.state != Order.State.CANCELLED]
    return found | {line["item"]: order.rate for order in standing for line in order.lines}


def _money(sheet: Sheet) -> MoneyPlan:
    return sheet.section("money", MoneyPlan) if sheet.document.get("money") else MoneyPlan()


def facts(build: Build, sheet: Sheet, since: datetime | None) -> dict[str, Any]:
    """Everything the page and the digest show; ``since``: what is newer is new, None: everything is."""
    book = ledger.entries_of(build)
    orders = list(Order.objects.filter(build=build).prefetch_related("changes", "deliveries"))
    budget = sheet.part("budget", Budget)
    heads = ledger.money_by_head(sheet, book, orders)
    build_only = [line for line in heads if line.head != FLOAT]
    flow = cash.planned_from(sheet, orders, book)
    today = sheet.today()
    standing = [order for order in orders if order.state in (Order.State.PLACED, Order.State.CONFIRMED)]
    asked = list(Approval.objects.filter(build=build).select_related("asked_by", "decided_by", "order"))
    news = JournalEntry.objects.filter(build=build, kind__in=TOLD).select_related("revision")
    news = news.defer("revision__document", "revision__result")
    totals = sheet.revision.totals
    then = _revision_at(build, since)
    before = then.totals if then else None
    return {
        "budget": budget,
        "heads": heads,
        "forecast_to_finish": sum((line.forecast for line in build_only), Decimal(0)),
        "paid": sum((line.paid for line in build_only), Decimal(0)),
        "risk": risk_of(sheet, book, orders),
        "flow": flow,
        "change": Decimal(totals["cost"]) - Decimal(before["cost"]) if before else None,
        "before": before,
        "moved": _moved(sheet, then, since, book, orders, heads),
        "totals": totals,
        "late": [order for order in standing if order.promised and order.promised < today],
        "coming": sorted(
            (order for order in standing if order.promised and today <= order.promised <= today + SOON),
            key=lambda order: (order.promised or today, order.number),
        ),
        "unconfirmed": [order for order in standing if order.promised is None],
        "open_approvals": [approval for approval in asked if approval.state == Approval.State.OPEN],
        "answered": [approval for approval in asked if approval.state != Approval.State.OPEN][::-1],
        "news": list((news.filter(at__gt=since) if since else news)[:40]),
        "since": since,
    }


def comments_by_head(build: Build) -> dict[int, list[Comment]]:
    found: dict[int, list[Comment]] = defaultdict(list)
    for comment in Comment.objects.filter(build=build, subject__startswith="budget:").select_related("by"):
        head = comment.subject.removeprefix("budget:")
        if head.isdigit():
            found[int(head)].append(comment)
    return found


def _revision_at(build: Build, moment: datetime | None) -> Revision | None:
    """The revision people relied on then, without its plan and result; None before the first one."""
    if moment is None:
        return None
    found = Revision.objects.filter(build=build, created__lte=moment).order_by("-number")
    return found.defer("document", "result").first()


def _moved(
    sheet: Sheet, then: Revision | None, since: datetime | None, book: list[LedgerEntry],
    orders: list[Order], heads: list[HeadMoney],
) -> dict[int, Decimal]:  # fmt: skip
    """Head → by how much its forecast to finish differs from what it was then: plan and book both as of then."""
    if then is None or since is None:
        return {}
    try:
        old = None if then.pk == sheet.revision.pk else Sheet(Revision.objects.get(pk=then.pk)).part("budget", Budget)
    except msgspec.ValidationError:
        return {}  # worked out by an earlier version, in another shape
    earlier = [entry for entry in book if entry.entered <= since]
    if old is None and len(earlier) == len(book):
        return {}
    was = {line.head: line.forecast for line in ledger.money_by_head(sheet, earlier, orders, old)}
    return {
        line.head: line.forecast - was[line.head]
        for line in heads
        if line.forecast != was.get(line.head, line.forecast)
    }
