"""Orders: placed from the award and frozen, then confirmed, received, cancelled or changed; all in the journal."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, Proposal
from buildout.builds.web.services import Sheet
from buildout.people.web.models import User
from estimating.engine.types import Award
from estimating.web import order_book
from estimating.web.models import ChangeOrder, Order
from estimating.web.services import placed_orders

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


def award(build: Build) -> Award:
    assert build.current is not None
    return Sheet(build.current).part("award", Award)


COMMANDS: list[tuple[str, tuple[Any, ...]]] = [
    ("place-order", ()), ("confirm-order", (1,)), ("receive-order", (1,)), ("cancel-order", (1,)), ("see-order", (1,)),
    ("agree-change", (2, 1)), ("refuse-change", (2, 1)),
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "args"), [("orders", ()), ("order", (1,)), ("order-document", (1,)), ("order-text", (1,))]
)
def test_pages_for_the_owner_alone(
    name: str, args: tuple[int, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User,
    stranger: User,
) -> None:  # fmt: skip
    address = url(name, demo_build, *args)
    assert client_of(owner).get(address).status_code == 200
    for other in (partner, lead, stranger):
        assert client_of(other).get(address).status_code == 404
    assert client_of(owner).post(address).status_code == 405


@pytest.mark.parametrize(("name", "args"), COMMANDS)
def test_commands_are_posts_of_the_owner_alone(
    name: str, args: tuple[int, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User,
    stranger: User,
) -> None:  # fmt: skip
    address = url(name, demo_build, *args)
    assert client_of(owner).get(address).status_code == 405
    for other in (partner, lead, stranger):
        assert client_of(other).post(address, {"quote": "cloudberry-1"}).status_code == 404
    assert Order.objects.filter(build=demo_build).count() == 2


def test_queries(client_of: ClientOf, demo_build: Build, owner: User, django_assert_num_queries: Any) -> None:
    browser = client_of(owner)
    with django_assert_num_queries(6):
        browser.get(url("orders", demo_build))
    with django_assert_num_queries(7):
        browser.get(url("order", demo_build, 1))


def test_what_should_have_been_ordered_stands_first(
    client_of: ClientOf, demo_build: Build, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Sheet, "today", lambda self: date(2027, 2, 1))
    answer = client_of(owner).get(url("orders", demo_build))
    states = [row["state"] for row in answer.context["due"]]
    assert states[0] == "overdue"
    assert states == sorted(states, key=["overdue", "to order", "placed", "confirmed", "received"].index)
    page = answer.content.decode()
    assert "should have been ordered already" in page
    assert "placed" in page


# ------------------------------------------------------------------ placing


def test_an_order_freezes_what_is_awarded(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    answer = browser.post(url("place-order", demo_build), {"quote": "ninefold-1", "note": "Call before you come"})
    order = Order.objects.get(build=demo_build, number=3)
    assert answer.url == url("order", demo_build, 3)
    line = next(line for line in award(demo_build).lines if line.item == "cover")
    party = next(party for party in award(demo_build).suppliers if party.quote == "ninefold-1")
    assert len(order.lines) == 1
    assert Decimal(order.lines[0]["goods"]) == line.goods + line.extras
    assert order.freight == party.freight
    assert order.tax == party.tax
    assert order.supplier_name == "Ninefold Cover Works"
    assert order.placed == date(2027, 1, 18)
    assert order.revision == demo_build.current
    entry = demo_build.journal.first()
    assert entry is not None
    assert entry.kind == "order"
    assert entry.by == owner
    assert entry.text.startswith("PO-3 placed with Ninefold Cover Works: ¤")
    page = browser.get(url("orders", demo_build)).content.decode()
    assert 'value="ninefold-1"' not in page, "it is no longer waiting"
    taken = next(order for order in placed_orders(demo_build, "XXX") if order.number == "PO-3")
    assert taken.lines[0].goods == line.goods + line.extras, "the chain counts it in full"


def test_the_same_is_not_ordered_twice(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    for _ in range(2):
        browser.post(url("place-order", demo_build), {"quote": "cloudberry-1"})
    assert Order.objects.filter(build=demo_build).count() == 3
    answer = browser.post(url("place-order", demo_build), {"quote": "plumbob-1"}, follow=True)
    assert "Nothing of this quote is waiting to be ordered" in answer.content.decode()
    answer = browser.post(url("place-order", demo_build), {"quote": "nope"}, follow=True)
    assert answer.status_code == 200
    assert Order.objects.filter(build=demo_build).count() == 3


def test_what_a_cancelled_order_had_waits_again(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    browser.post(url("cancel-order", demo_build, 1))
    assert Order.objects.get(build=demo_build, number=1).state == "cancelled"
    assert [order.number for order in placed_orders(demo_build, "XXX")] == ["PO-2"]
    browser.post(url("place-order", demo_build), {"quote": "plumbob-1"})
    anew = Order.objects.get(build=demo_build, number=3)
    assert [line["item"] for line in anew.lines] == ["timber-2x4", "ply-half"]
    answer = browser.post(url("cancel-order", demo_build, 1), follow=True)
    assert "it cannot be cancelled" in answer.content.decode()


# ------------------------------------------------------------------ what happens after


def test_promised_and_received(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    answer = browser.post(url("confirm-order", demo_build, 2), {"promised": "2027-02-05"}, follow=True)
    assert "The promised day is written down" in answer.content.decode()
    order = Order.objects.get(build=demo_build, number=2)
    assert (order.state, order.promised) == ("confirmed", date(2027, 2, 5))
    browser.post(url("receive-order", demo_build, 2), {"received": "2027-02-04"})
    order.refresh_from_db()
    assert (order.state, order.received) == ("received", date(2027, 2, 4))
    texts = list(demo_build.journal.values_list("text", flat=True)[:2])
    assert texts == [
        "Goods of PO-2 came on 4 Feb 2027",
        "PO-2 confirmed by Tansybrook Upholstery Supply, promised for 5 Feb 2027",
    ]
    answer = browser.post(url("confirm-order", demo_build, 2), {"promised": "2027-02-09"}, follow=True)
    assert "PO-2 is received: it cannot be confirmed" in answer.content.decode()


@pytest.mark.parametrize(
    ("name", "typed", "said"),
    [
        ("confirm-order", {"promised": "soon"}, "Write a day such as 2027-03-13"),
        ("confirm-order", {"promised": ""}, "This field is required"),
        ("confirm-order", {"promised": "2027-01-01"}, "the promised day cannot be earlier"),
        ("receive-order", {"received": "2026-12-31"}, "the goods cannot have come earlier"),
    ],
)
def test_days_that_cannot_be(
    name: str, typed: dict[str, str], said: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    answer = client_of(owner).post(url(name, demo_build, 2), typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert next(iter(typed.values())) in page
    assert Order.objects.get(build=demo_build, number=2).state == "placed"


def test_facts_change_nothing_until_they_are_looked_at(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    browser.post(url("confirm-order", demo_build, 2), {"promised": "2027-02-05"})
    assert not Proposal.objects.exists()
    answer = browser.post(url("see-order", demo_build, 2))
    proposal = Proposal.objects.get()
    assert answer.url == proposal.get_absolute_url()
    assert proposal.summary == "PO-2 promised for 5 Feb 2027"
    assert demo_build.current is not None
    assert proposed(demo_build) == demo_build.current.document


# ------------------------------------------------------------------ change orders


@pytest.fixture
def change(demo_build: Build) -> ChangeOrder:
    order = Order.objects.get(build=demo_build, number=2)
    line = {"item": "vinyl", "name": "Upholstery vinyl 54 in", "unit": "running yard", "before": "136", "after": "120",
            "money": "-114.95", "text": ""}  # fmt: skip
    return ChangeOrder.objects.create(
        order=order, number=1, reason="Revision 2: a wall moved", lines=[line], money=Decimal("-114.95")
    )


def test_an_agreed_change_counts(client_of: ClientOf, demo_build: Build, owner: User, change: ChangeOrder) -> None:
    browser = client_of(owner)
    page = browser.get(url("orders", demo_build)).content.decode()
    assert "PO-2, change 1" in page

    def vinyl() -> Decimal:
        order = next(order for order in placed_orders(demo_build, "XXX") if order.number == "PO-2")
        return next(line.quantity for line in order.lines if line.item == "vinyl")

    assert vinyl() != Decimal(120), "a change that is not agreed does not count"
    browser.post(url("agree-change", demo_build, 2, 1))
    assert vinyl() == Decimal(120)
    change.refresh_from_db()
    assert change.state == "agreed"
    assert change.decided is not None
    assert demo_build.journal.filter(text="Change 1 to PO-2 agreed with Tansybrook Upholstery Supply").exists()
    answer = browser.post(url("refuse-change", demo_build, 2, 1), follow=True)
    assert "is agreed already" in answer.content.decode()


def test_a_refused_change_leaves_the_order_as_sent(
    client_of: ClientOf, demo_build: Build, owner: User, change: ChangeOrder
) -> None:
    before = placed_orders(demo_build, "XXX")
    client_of(owner).post(url("refuse-change", demo_build, 2, 1))
    assert placed_orders(demo_build, "XXX") == before
    assert client_of(owner).post(url("agree-change", demo_build, 2, 9)).status_code == 404


# ------------------------------------------------------------------ the document


@pytest.mark.usefixtures("pango")
def test_the_purchase_order_as_pdf_page_and_text(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    browser.post(url("place-order", demo_build), {"quote": "ninefold-1", "note": "Call before you come"})
    pdf = browser.get(url("order-document", demo_build, 3))
    assert pdf["Content-Type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF-")
    page = browser.get(url("order-document", demo_build, 3) + "?print").content.decode()
    text = browser.get(url("order-text", demo_build, 3)).content.decode()
    order = Order.objects.get(build=demo_build, number=3)
    total = Decimal(order.lines[0]["goods"]) + order.freight + order.tax
    for document in (page, text):
        assert "Purchase order PO-3" in document
        assert "Abel Stitchworth" in document
        assert f"¤{total:,.2f}" in document
        assert "Call before you come" in document
        assert "The former print shop" in document
    assert text.endswith("Orla Fennimarsh\n")


def test_money_of_a_ready_order_adds_up_to_the_award(demo_build: Build) -> None:
    """Without any order placed, what is ready to be ordered is the award: goods, freight and tax, to the penny."""
    assert demo_build.current is not None
    ready = order_book.ready_orders(Sheet(demo_build.current), [])
    assert sum(r.goods + r.freight for r in ready) == award(demo_build).total
    assert sum(r.tax for r in ready) == award(demo_build).tax


# ------------------------------------------------------------------ a promise that slips


def test_a_promise_that_slips_is_worked_out_at_once(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    browser.post(url("confirm-order", demo_build, 2), {"promised": "2027-02-05"})
    browser.post(url("confirm-order", demo_build, 2), {"promised": "2027-02-03"})
    assert not Proposal.objects.exists(), "sooner than promised moves nothing for the worse"
    answer = browser.post(url("confirm-order", demo_build, 2), {"promised": "2027-02-12"})
    proposal = Proposal.objects.get()
    assert answer.url == proposal.get_absolute_url()
    assert proposal.summary == "PO-2 promised for 12 Feb 2027, 9 days later"
    assert demo_build.current is not None
    assert proposed(demo_build) == demo_build.current.document
    assert Order.objects.get(build=demo_build, number=2).promised == date(2027, 2, 12)


def test_remnants_stand_with_the_goods_on_site(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    revision = demo_build.current
    assert revision is not None
    document = {**revision.document, "remnants": [
        {"id": "r1", "product": "ply-half", "length": "48\"", "width": "24\"", "note": "behind the door"}
    ]}  # fmt: skip
    type(revision).objects.filter(pk=revision.pk).update(document=document)
    page = client_of(owner).get(url("orders", demo_build)).content.decode()
    assert "Remnants on hand" in page
    assert "behind the door" in page


@pytest.mark.parametrize("number", ["9" * 19, "9" * 40, "9" * 400])
def test_numbers_too_large_for_any_table_are_not_there(
    client_of: ClientOf, demo_build: Build, owner: User, number: str
) -> None:
    browser, here = client_of(owner), f"/builds/{demo_build.pk}"
    for place in (f"/builds/{number}/orders/", f"{here}/orders/{number}/", f"{here}/papers/{number}/",
                  f"{here}/orders/1/deliveries/{number}/photos/1.jpg", f"{here}/requests/{number}/"):  # fmt: skip
        assert browser.get(place).status_code == 404, place
    for place in ("quotes/new/?paper=", "quotes/new/?request=", "budget/?head="):
        for odd in (number, "²", "-1", "1.5"):
            assert browser.get(f"{here}/{place}{odd}").status_code == 200, place
    assert browser.get(f"{here}/orders/1/credit-notes/new/?claim=²").status_code in (302, 404)
