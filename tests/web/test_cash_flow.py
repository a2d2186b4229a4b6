"""Cash-flow on the budget sheet: orders, terms, bills and money that arrives later."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build
from buildout.builds.web.services import Sheet, sheet_of
from buildout.people.web.models import User
from buildout.units.money import format_money, round_money
from estimating.engine.types import Budget
from estimating.web.cash import planned
from estimating.web.documents import _order_text, change_document
from estimating.web.models import ChangeOrder, Order
from estimating.web.order_book import cancel, place

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


@pytest.fixture(autouse=True)
def day(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Sheet, "today", lambda self: date(2027, 1, 18))


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


def test_owner_and_partner_see_it(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User, stranger: User
) -> None:
    for user in (owner, partner):
        answer = client_of(user).get(url("cash", demo_build))
        assert answer.status_code == 200
        assert "Lowest balance" in answer.content.decode()
    assert client_of(owner).post(url("cash", demo_build)).status_code == 405
    for user in (lead, stranger):
        assert client_of(user).get(url("cash", demo_build)).status_code == 404


def test_all_of_the_budget_but_contingency_leaves(demo_build: Build) -> None:
    """What leaves in all is the budget's total without contingency: goods, freight, tax and what is set aside."""
    assert demo_build.current is not None
    sheet = Sheet(demo_build.current)
    budget = sheet.part("budget", Budget)
    flow = planned(demo_build, sheet)
    leaving = sum((week.leaving for week in flow.weeks), Decimal(0))
    assert leaving == budget.total - budget.contingency
    assert flow.opening == budget.available


def test_a_payment_leaves_the_rest_to_pay(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    assert demo_build.current is not None
    sheet = Sheet(demo_build.current)
    before = planned(demo_build, sheet)
    client_of(owner).post(url("pay-order", demo_build, 2), {"day": "2027-01-20", "amount": "500", "settles": ""})
    after = planned(demo_build, sheet)
    assert after.opening == before.opening - 500
    assert after.weeks[-1].balance == before.weeks[-1].balance


def test_a_bill_uses_what_was_set_aside_for_it(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    assert demo_build.current is not None
    sheet = Sheet(demo_build.current)
    before = planned(demo_build, sheet)
    typed = {"head": "5", "who": "Sparrow Electric", "day": "2027-01-20", "due": "2027-03-01", "goods": "430.00"}
    client_of(owner).post(url("bill", demo_build), typed)
    after = planned(demo_build, sheet)
    assert after.weeks[-1].balance == before.weeks[-1].balance
    week = next(week for week in after.weeks if week.start == date(2027, 3, 1))
    assert any(flow.what.startswith("Sparrow Electric") and flow.amount == 430 for flow in week.flows)


@pytest.mark.parametrize("typed", ["soon: 200", "2027-03-01: plenty", "2027-03-01 20000"])
def test_money_arriving_later_that_cannot_be_read(
    typed: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    answer = client_of(owner).post(url("allowances", demo_build), {"available": "5", "incoming": typed})
    assert answer.status_code == 422
    assert "second half of the loan" in answer.content.decode()


def test_money_arriving_later_is_kept_and_taken_out(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Callable[[Build], dict[str, Any]]
) -> None:
    browser = client_of(owner)
    typed = {"available": "80000", "tax_percent": "7.5", "incoming": "2027-03-01: 20000 second half of the loan\n"}
    assert browser.post(url("allowances", demo_build), typed).status_code == 302
    assert proposed(demo_build)["money"]["incoming"] == [
        {"day": "2027-03-01", "amount": "20000", "what": "second half of the loan"}
    ]


def test_queries(client_of: ClientOf, demo_build: Build, owner: User, django_assert_num_queries: Any) -> None:
    browser = client_of(owner)
    with django_assert_num_queries(8):
        browser.get(url("cash", demo_build))


def test_an_order_keeps_the_rate_it_was_placed_at(demo_build: Build, owner: User) -> None:
    """Changed or called off: taxed at 7.5 % as it was placed, though its quote says 5 % since."""
    revision = demo_build.current
    assert revision is not None
    order = Order.objects.get(build=demo_build, number=1)
    quote = next(quote for quote in revision.document["quotes"] if quote["id"] == order.quote)
    quote["tax_percent"] = "5"
    assert order.tax_percent == Decimal("7.5")
    revision.save()
    line = order.lines[0]
    ChangeOrder.objects.create(
        order=order, number=1, reason="One less", state="agreed", money=Decimal("-20.00"),
        lines=[{"item": line["item"], "name": line["name"], "unit": line["unit"], "before": line["quantity"],
                "after": line["quantity"], "money": "-20.00", "text": ""}],
    )  # fmt: skip
    goods = sum(Decimal(entry["goods"]) for entry in order.lines)

    def leaves() -> Decimal:
        flow = planned(demo_build, sheet_of(demo_build))
        return sum((f.amount for week in flow.weeks for f in week.flows if order.name in f.what), Decimal(0))

    assert leaves() == goods - 20 + order.freight + order.tax - Decimal("1.50")  # 7.5 % of 20
    cancel(order, owner, Decimal(100))
    assert leaves() == Decimal("107.50")


def test_an_order_keeps_the_deposit_and_terms_it_was_placed_at(demo_build: Build, owner: User) -> None:
    """40 % with the order and the rest 30 days after the goods, whatever quote and supplier say later."""
    revision = demo_build.current
    assert revision is not None
    quote = next(quote for quote in revision.document["quotes"] if quote["id"] == "cloudberry-1")
    supplier = next(row for row in revision.document["suppliers"] if row["id"] == quote["supplier"])
    quote["deposit_percent"], supplier["balance_days"], supplier["terms"] = "40", 30, "No cash at the door"
    revision.save()
    order = place(demo_build, owner, "cloudberry-1")
    assert (order.deposit_percent, order.balance_days) == (Decimal(40), 30)
    total = sum((Decimal(line["goods"]) for line in order.lines), order.freight + order.tax)
    order.refresh_from_db()
    deposit = round_money(total * Decimal(40) / 100, "XXX")

    def leaves() -> list[tuple[date, Decimal]]:
        weeks = planned(demo_build, sheet_of(demo_build)).weeks
        return [(f.day, f.amount) for week in weeks for f in week.flows if order.name in f.what]

    before = leaves()
    assert before[0] == (order.placed, deposit)
    assert sum(amount for _, amount in before) == total
    quote["deposit_percent"], supplier["balance_days"], supplier["terms"] = "100", 5, "Cash only"
    quote["freight"]["service"] = "pick-up"
    revision.save()
    assert leaves() == before
    change = ChangeOrder.objects.create(order=order, number=1, reason="One less", money=Decimal(-5), lines=[])
    sheet = sheet_of(demo_build)
    for text in (_order_text(sheet, order, "x"), change_document(sheet, order, change, "x").text):
        assert "Cash only" not in text
    text = _order_text(sheet, order, "x")
    assert f"40 % ({format_money(deposit, 'XXX')}) with this order" in text
    assert "No cash at the door" in text
    assert "pick-up" not in text


def test_orders_placed_before_keep_what_quote_and_supplier_say_now(demo_build: Build) -> None:
    from importlib import import_module

    from django.apps import apps

    revision = demo_build.current
    assert revision is not None
    first, second = Order.objects.filter(build=demo_build)
    supplier = next(row for row in revision.document["suppliers"] if row["id"] == second.supplier)
    supplier |= {"deposit_percent": "25", "balance_days": 14, "terms": "Rest in two weeks"}
    next(quote for quote in revision.document["quotes"] if quote["id"] == first.quote)["deposit_percent"] = "12.5"
    next(quote for quote in revision.document["quotes"] if quote["id"] == second.quote).pop("deposit_percent", None)
    revision.save()
    assert first.deposit_percent is second.deposit_percent is None
    import_module("estimating.web.migrations.0015_order_terms").keep_terms(apps, None)
    first, second = Order.objects.filter(build=demo_build)
    assert first.deposit_percent == Decimal("12.5")
    assert (second.deposit_percent, second.balance_days, second.terms) == (Decimal(25), 14, "Rest in two weeks")
    assert first.service
    assert second.service


def test_contingency_is_not_called_covered_where_the_money_is_short(
    client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    revision, browser = demo_build.current, client_of(owner)
    assert revision is not None
    for available, said in (("82000", "covered by the lowest balance"), ("70000", "more than the lowest balance"),
                            ("40000", "not covered: the money is short")):  # fmt: skip
        revision.document["money"]["available"] = available
        revision.save()
        assert said in browser.get(url("cash", demo_build)).content.decode(), available
