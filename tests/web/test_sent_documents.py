"""Documents as suppliers got them: the same bytes ever after, the same lines and totals as the database."""

from __future__ import annotations

import copy
import io
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build
from buildout.builds.web.services import sheet_of
from buildout.people.web.models import User
from buildout.units.money import format_money
from estimating.engine.types import MoneyPlan
from estimating.web import cash, order_book
from estimating.web.models import ChangeOrder, Order, SentDocument
from estimating.web.services import charges, placed_orders, standings

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


def read(data: bytes) -> str:
    from pypdf import PdfReader

    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages).split())


@pytest.fixture
def placed(demo_build: Build, owner: User) -> Order:
    return order_book.place(demo_build, owner, "cloudberry-1", "Ring the side door")


@pytest.mark.usefixtures("pango")
def test_the_pdf_has_the_lines_and_totals_of_the_database(
    client_of: ClientOf, demo_build: Build, owner: User, placed: Order
) -> None:
    text = read(client_of(owner).get(url("order-document", demo_build, placed.number)).content)
    currency = sheet_of(demo_build).currency

    def money(amount: Decimal) -> str:
        return format_money(amount, currency)

    assert len(placed.lines) >= 2
    for line in placed.lines:
        row = text[text.index(line["name"]) :]
        assert row.index(f"{Decimal(line['quantity']):,.0f}") < row.index(money(Decimal(line["goods"])))
        assert money(Decimal(line["unit_price"])) in row
    goods = sum((Decimal(line["goods"]) for line in placed.lines), Decimal(0))
    for name, amount in (
        ("Goods", goods), ("Freight", placed.freight), ("Tax, 7.5 % rounded half up at each line", placed.tax),
        ("Total", goods + placed.freight + placed.tax),
    ):  # fmt: skip
        assert f"{name} {money(amount)}" in text


@pytest.mark.usefixtures("pango")
def test_the_same_bytes_whatever_happens_since(
    client_of: ClientOf, demo_build: Build, owner: User, placed: Order
) -> None:
    browser = client_of(owner)
    first = browser.get(url("order-document", demo_build, placed.number)).content
    mail = browser.get(url("order-text", demo_build, placed.number)).content
    revision = demo_build.current
    assert revision is not None
    revision.document = copy.deepcopy(revision.document)
    for supplier in revision.document["suppliers"]:
        supplier["contact"], supplier["terms"] = "Somebody else", "Cash in advance"
    revision.save()
    order_book.confirm(placed, owner, date(2027, 2, 20))
    order_book.cancel(placed, owner)
    assert browser.get(url("order-document", demo_build, placed.number)).content == first
    assert browser.get(url("order-text", demo_build, placed.number)).content == mail
    page = browser.get(url("order-document", demo_build, placed.number) + "?print").content.decode()
    assert "Somebody else" not in page
    assert "Cancelled" not in page
    assert "Ring the side door" in page


def test_an_order_that_came_with_a_file_gets_its_document_once(
    client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    browser = client_of(owner)
    first = browser.get(url("order-text", demo_build, 1)).content
    assert b"Purchase order PO-1" in first
    assert browser.get(url("order-text", demo_build, 1)).content == first
    assert SentDocument.objects.count() == 1


@pytest.mark.usefixtures("pango")
def test_a_change_is_read_by_both_sides(client_of: ClientOf, demo_build: Build, owner: User, placed: Order) -> None:
    line = placed.lines[0]
    change = ChangeOrder.objects.create(
        order=placed, number=1, reason="Revision 2: a wall moved", money=Decimal("-150.00"),
        lines=[{"item": line["item"], "name": line["name"], "unit": line["unit"], "before": line["quantity"],
                "after": "70", "money": "-150.00", "text": ""}],
    )  # fmt: skip
    browser = client_of(owner)
    answer = browser.get(url("change-document", demo_build, placed.number, 1))
    assert answer["Content-Type"] == "application/pdf"
    text = read(answer.content)
    goods = sum((Decimal(entry["goods"]) for entry in placed.lines), Decimal(0))
    currency = sheet_of(demo_build).currency
    assert f"Change 1 to purchase order {placed.name}" in text
    assert "70 sheets" in text
    assert f"Goods of the order before it {format_money(goods, currency)}" in text
    assert f"Goods of the order after it {format_money(goods - 150, currency)}" in text
    mail = browser.get(url("change-text", demo_build, placed.number, 1)).content.decode()
    assert "Revision 2: a wall moved" in mail
    assert "from now on 70 sheets" in mail
    order_book.decide(change, owner, agreed=True)
    assert browser.get(url("change-document", demo_build, placed.number, 1)).content == answer.content


@pytest.mark.parametrize("name", ["change-document", "change-text"])
def test_changes_on_paper_for_the_owner_alone(
    name: str, client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User, stranger: User,
    placed: Order,
) -> None:  # fmt: skip
    order_book.cancel(placed, owner)
    address = url(name, demo_build, placed.number, 1)
    assert client_of(owner).get(address).status_code == 200
    assert client_of(owner).post(address).status_code == 405
    for other in (partner, lead, stranger):
        assert client_of(other).get(address).status_code == 404
    assert client_of(owner).get(url(name, demo_build, placed.number, 2)).status_code == 404


# ------------------------------------------------------------------ called off


def test_calling_off_for_a_charge_is_a_change_and_its_cost_stays(
    client_of: ClientOf, demo_build: Build, owner: User, placed: Order
) -> None:
    before = cash.planned(demo_build, sheet_of(demo_build))
    browser = client_of(owner)
    answer = browser.post(url("cancel-order", demo_build, placed.number), {"charge": "two hundred"})
    assert answer.status_code == 422
    assert "two hundred" in answer.content.decode()
    browser.post(url("cancel-order", demo_build, placed.number), {"charge": "200"})
    placed.refresh_from_db()
    assert placed.state == "cancelled"
    change = ChangeOrder.objects.get(order=placed)
    goods = sum((Decimal(line["goods"]) for line in placed.lines), Decimal(0))
    assert (change.state, change.money) == ("agreed", 200 - goods)
    assert {line["after"] for line in change.lines} == {"0"}
    assert [(c.order, c.item, c.amount) for c in charges(demo_build)] == [
        (placed.name, placed.lines[0]["item"], Decimal(200))
    ]
    assert placed.name not in {order.number for order in placed_orders(demo_build, "XXX")}
    assert sum(line.standing.cancelled for line in standings(placed)) == sum(
        Decimal(line["quantity"]) for line in placed.lines
    )
    assert demo_build.journal.first().text == f"{placed.name} to Cloudberry Foam Converters cancelled for ¤200.00"  # type: ignore[union-attr]
    # The charge with 7.5 % tax leaves; the same lines are to be ordered once more.
    after = cash.planned(demo_build, sheet_of(demo_build))
    charged = [f for week in after.weeks for f in week.flows if f.what.startswith(f"{placed.name} to")]
    assert [flow.amount for flow in charged] == [Decimal("215.00")]
    assert before.opening == after.opening


def test_calling_off_for_nothing_costs_nothing(demo_build: Build, owner: User, placed: Order) -> None:
    order_book.cancel(placed, owner)
    assert charges(demo_build) == []
    assert sheet_of(demo_build).section("money", MoneyPlan).tax_percent == Decimal("7.5")
