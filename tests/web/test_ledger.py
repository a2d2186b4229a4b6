"""Bills and payments: entered, held against order and receipt, reversed; what the budget then says."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build
from buildout.people.web.models import User
from estimating.web.models import Claim, LedgerEntry, Order

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
PAGES = [("invoice", (1,)), ("pay-order", (1,)), ("bill", ()), ("pay", ()), ("draw", ()), ("credit-bill", ())]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


@pytest.mark.parametrize(("name", "args"), [*PAGES, ("reverse-entry", (1,))])
def test_for_the_owner_alone(
    name: str, args: tuple[int, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User,
    stranger: User,
) -> None:  # fmt: skip
    address = url(name, demo_build, *args)
    expected = {"reverse-entry": 405, "credit-bill": 302}.get(name, 200)  # no bill that could be credited
    assert client_of(owner).get(address).status_code == expected
    for other in (partner, lead, stranger):
        assert client_of(other).post(address, {}).status_code == 404
    assert not LedgerEntry.objects.exists()


def received(browser: Client, build: Build) -> Order:
    browser.post(url("receive-order", build, 1), {"received": "2027-01-20"})
    return Order.objects.get(build=build, number=1)


def invoice(browser: Client, build: Build, **more: str) -> Any:
    """What the page fills in, with what is typed over it."""
    page = browser.get(url("invoice", build, 1)).context
    data = {"reference": "A-17", "day": "2027-01-25"}
    for _, form in page["parts"]:
        for name, field in form.fields.items():
            start = form.get_initial_for_field(field, name)
            if start not in (None, "") and name != "day":
                data[form.add_prefix(name)] = f"{start}"
    return browser.post(url("invoice", build, 1), data | more, follow=True)


def test_an_invoice_as_ordered_and_received_agrees(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    order = received(browser, demo_build)
    page = invoice(browser, demo_build).content.decode()
    entry = LedgerEntry.objects.get()
    goods = sum(Decimal(line["goods"]) for line in order.lines)
    assert entry.amount == goods + order.freight + order.tax
    assert "Order, receipt and invoice say the same" in page
    assert demo_build.journal.first().text.startswith("Invoice of ¤")  # type: ignore[union-attr]
    assert "is in the book already" in invoice(browser, demo_build).content.decode()
    assert LedgerEntry.objects.count() == 1


def test_what_differs_is_shown(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    received(browser, demo_build)
    page = invoice(browser, demo_build, **{"line-0-goods": "999.00", "freight": "200"}).content.decode()
    assert "than the order&#x27;s price" in page
    assert "more freight than the order says" in page


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"day": "then"}, "Write a day such as 2027-03-13"),
        ({"reference": ""}, "This field is required"),
        ({"line-0-quantity": "4", "line-0-goods": ""}, "Type what they ask for it"),
        ({"tax": "7,5"}, "Write a plain number"),
    ],
)
def test_an_invoice_that_cannot_be_read(
    more: dict[str, str], said: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    answer = invoice(client_of(owner), demo_build, note="kept note", **more)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert "kept note" in answer.content.decode()
    assert not LedgerEntry.objects.exists()


def test_paid_reversed_and_both_kept(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    received(browser, demo_build)
    invoice(browser, demo_build)
    bill = LedgerEntry.objects.get()
    browser.post(url("pay-order", demo_build, 1), {"settles": "1", "day": "2027-02-01", "amount": "100"})
    payment = LedgerEntry.objects.get(kind="payment")
    assert (payment.settles, payment.order, payment.amount) == (bill, bill.order, Decimal(100))
    answer = browser.post(url("reverse-entry", demo_build, 1), {"note": "typed twice"}, follow=True)
    assert "reverse those first" in answer.content.decode()
    answer = browser.post(url("reverse-entry", demo_build, 2), {"note": ""}, follow=True)
    assert "Say why it is reversed" in answer.content.decode()
    browser.post(url("reverse-entry", demo_build, 2), {"note": "typed twice"})
    browser.post(url("reverse-entry", demo_build, 1), {"note": "wrong order"})
    assert LedgerEntry.objects.count() == 4
    assert sum(entry.amount for entry in LedgerEntry.objects.all()) == 0
    answer = browser.post(url("reverse-entry", demo_build, 1), {"note": "again"}, follow=True)
    assert "is reversed already" in answer.content.decode()
    answer = browser.post(url("reverse-entry", demo_build, 3), {"note": "again"}, follow=True)
    assert "is a reversal itself" in answer.content.decode()


def test_a_bill_without_an_order_and_a_draw_reach_the_budget(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User
) -> None:
    browser = client_of(owner)
    typed = {"head": "5", "who": "Sparrow Electric", "day": "2027-02-01", "goods": "400.00", "tax": "30.00"}
    browser.post(url("bill", demo_build), typed)
    browser.post(url("pay", demo_build), {"settles": "1", "day": "2027-02-03", "amount": "430"})
    line = next(row["since"] for row in browser.get(url("budget", demo_build)).context["rows"]
                if row["line"].head == 5)  # fmt: skip
    assert (line.invoiced, line.paid) == (Decimal("400.00"), Decimal("400.00"))
    before = line.forecast
    over = {"head": "5", "day": "2027-02-04", "amount": f"{line.contingency + 1}", "note": "more sockets"}
    answer = browser.post(url("draw", demo_build), over)
    assert answer.status_code == 422
    assert "of contingency left" in answer.content.decode()
    browser.post(url("draw", demo_build), over | {"amount": "5.00"})
    seen = client_of(partner).get(url("budget", demo_build))
    line = next(row["since"] for row in seen.context["rows"] if row["line"].head == 5)
    assert (line.drawn, line.forecast) == (Decimal("5.00"), before)
    page = seen.content.decode()
    assert "more sockets" in page
    assert "Sparrow Electric" in page
    assert "Enter a bill" not in page


def test_a_bill_without_an_order_is_credited(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    address = url("credit-bill", demo_build)
    page = browser.get(address, follow=True).content.decode()
    assert "There is no bill without an order" in page
    typed = {"head": "5", "who": "Sparrow Electric", "day": "2027-02-01", "goods": "400.00", "tax": "30.00"}
    browser.post(url("bill", demo_build), typed)
    browser.post(url("pay", demo_build), {"settles": "1", "day": "2027-02-03", "amount": "430"})
    note = {"settles": "1", "reference": "CN-1", "day": "2027-02-10", "goods": "100.00", "tax": "7.50"}
    for wrong, said in (
        ({"goods": "400.01"}, "¤400.00 is not credited yet"),
        ({"tax": "31"}, "¤30.00 is not credited yet"),
        ({"goods": "", "tax": ""}, "comes to nothing"),
        ({"printed": "107.51"}, "the paper says ¤0.01 more"),
        ({"settles": "2"}, "Select a valid choice"),
    ):
        answer = browser.post(address, note | wrong)
        assert (answer.status_code, said in answer.content.decode()) == (422, True), said
    assert not LedgerEntry.objects.filter(kind="credit").exists()
    browser.post(address, note | {"printed": "107.50"})
    entry = LedgerEntry.objects.get(kind="credit")
    assert (entry.amount, entry.head, entry.settles.number) == (Decimal("-107.50"), 5, 1)  # type: ignore[union-attr]
    assert "CN-1 is in the book already" in browser.post(address, note | {"goods": "1"}).content.decode()
    context = browser.get(url("budget", demo_build)).context
    line = next(row["since"] for row in context["rows"] if row["line"].head == 5)
    assert line.invoiced == Decimal("300.00")
    assert "¤107.50 to come back to you" in browser.get(url("pay", demo_build)).content.decode()


def test_money_finer_than_a_cent_is_refused(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    typed = {"head": "5", "who": "Sparrow Electric", "day": "2027-02-01", "goods": "400.005", "tax": "30"}
    answer = browser.post(url("bill", demo_build), typed)
    assert answer.status_code == 422
    assert "Money goes down to ¤0.01 here: write for example 400.01." in answer.content.decode()
    assert "400.005" in answer.content.decode()
    received(browser, demo_build)
    page = invoice(browser, demo_build, **{"line-0-goods": "139.701"}).content.decode()
    assert "write for example 139.70" in page
    assert not LedgerEntry.objects.exists()


def test_the_total_on_the_paper_is_held_against_its_parts(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    order = received(browser, demo_build)
    whole = sum(Decimal(line["goods"]) for line in order.lines) + order.freight + order.tax
    page = invoice(browser, demo_build, printed=f"{whole - Decimal('0.01')}").content.decode()
    assert f"The amounts typed come to ¤{whole:,.2f}, the paper says ¤0.01 less" in page
    assert not LedgerEntry.objects.exists()
    invoice(browser, demo_build, printed=f"{whole}")
    assert LedgerEntry.objects.get().amount == whole


def test_what_does_not_agree_is_told_on_order_and_budget(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    received(browser, demo_build)
    page = browser.get(url("order", demo_build, 1)).content.decode()
    assert "came that no invoice asks for yet" in page
    invoice(browser, demo_build)
    bill = LedgerEntry.objects.get()
    over = {"settles": "1", "day": "2027-02-03", "amount": f"{bill.amount + 5}"}
    browser.post(url("pay-order", demo_build, 1), over)
    browser.post(url("pay-order", demo_build, 2), {"settles": "", "day": "2027-02-03", "amount": "100"})
    for address in (url("order", demo_build, 1), url("budget", demo_build)):
        page = browser.get(address).content.decode()
        assert "Invoice A-17: ¤5.00 more was paid than it asks" in page
        assert "half of the smallest coin for each amount printed apart" in page
    assert "PO-2: ¤100.00 is paid ahead of an invoice" in page


def test_queries(client_of: ClientOf, demo_build: Build, owner: User, django_assert_num_queries: Any) -> None:
    browser = client_of(owner)
    browser.post(url("bill", demo_build), {"head": "5", "who": "S", "day": "2027-02-01", "goods": "4"})
    browser.post(url("bill", demo_build), {"head": "6", "who": "T", "day": "2027-02-01", "goods": "5"})
    browser.get(url("budget", demo_build))  # says that they are in the book
    with django_assert_num_queries(8):
        browser.get(url("budget", demo_build))


# ------------------------------------------------------------------ credit notes


def start_of(browser: Client, address: str) -> dict[str, str]:
    """What a page fills in, as it would be sent."""
    data = {}
    for _, form in browser.get(address).context["parts"]:
        for name, field in form.fields.items():
            start = form.get_initial_for_field(field, name)
            data[form.add_prefix(name)] = "" if start is None else f"{start}"
    return data


def claimed(browser: Client, build: Build) -> Claim:
    """Everything of the first order came; for the first line 12.00 are asked, and granted."""
    received(browser, build)
    invoice(browser, build)
    browser.post(url("claim", build, 1, 1), {"text": "Scratched faces", "asked": "12.00"})
    browser.post(url("settle-claim", build, 1, 1, 1), {"answer": "They send a credit note"})
    return Claim.objects.get()


def test_a_settled_claim_becomes_a_credit_note_with_one_click(
    client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    browser = client_of(owner)
    claim = claimed(browser, demo_build)
    address = url("credit", demo_build, 1) + f"?claim={claim.pk}"
    assert address in browser.get(url("order", demo_build, 1)).content.decode()
    typed = start_of(browser, address)
    answer = browser.post(address, typed | {"reference": "CN-4"}, follow=True)
    note = LedgerEntry.objects.get(kind="credit")
    bill = LedgerEntry.objects.get(kind="invoice")
    assert (note.claim, note.settles, note.order) == (claim, bill, bill.order)
    assert sum(Decimal(line["goods"]) for line in note.lines) == Decimal("-12.00")
    assert note.amount == Decimal("-12.00") + note.tax
    assert note.tax < 0
    page = answer.content.decode()
    assert "Credited by entry 2, CN-4" in page
    assert "Order, receipt and invoice say the same" in page
    assert "is in the book already" in browser.post(address, typed | {"reference": "CN-4"}).content.decode()
    # What is left to pay is less by the note, in the choices and under the heads.
    left = start_of(browser, url("pay-order", demo_build, 1))
    choices = dict(browser.get(url("pay-order", demo_build, 1)).context["parts"][0][1].fields["settles"].choices)
    assert f"{bill.amount + note.amount:,.2f} open" in choices[left["settles"]]
    rows = browser.get(url("budget", demo_build)).context["rows"]
    assert sum(row["since"].invoiced for row in rows) == bill.amount + note.amount


def test_money_back_after_all_was_paid(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    from buildout.builds.web.services import sheet_of
    from estimating.web.cash import planned

    browser = client_of(owner)
    claim = claimed(browser, demo_build)
    bill = LedgerEntry.objects.get(kind="invoice")
    browser.post(url("pay-order", demo_build, 1), {"settles": "1", "day": "2027-02-01", "amount": f"{bill.amount}"})
    before = planned(demo_build, sheet_of(demo_build))
    address = url("credit", demo_build, 1) + f"?claim={claim.pk}"
    browser.post(address, start_of(browser, address) | {"reference": "CN-4"})
    note = LedgerEntry.objects.get(kind="credit")
    after = planned(demo_build, sheet_of(demo_build))
    back = [flow for week in after.weeks for flow in week.flows if flow.what.startswith("Money back")]
    assert [flow.amount for flow in back] == [note.amount]
    assert after.weeks[-1].balance - before.weeks[-1].balance == -note.amount
    assert "that was credited is paid already" in browser.get(url("order", demo_build, 1)).content.decode()
    browser.post(url("pay-order", demo_build, 1), {"settles": "1", "day": "2027-02-20", "amount": f"{-note.amount}"})
    came = LedgerEntry.objects.filter(kind="payment").last()
    assert came is not None
    assert came.amount == note.amount
    page = browser.get(url("order", demo_build, 1)).content.decode()
    assert "Order, receipt and invoice say the same" in page
    settled = planned(demo_build, sheet_of(demo_build))
    assert settled.weeks[-1].balance == after.weeks[-1].balance
    assert not any(flow.what.startswith("Money back") for week in settled.weeks for flow in week.flows)


def test_credit_notes_are_reversed_never_edited(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    claim = claimed(browser, demo_build)
    address = url("credit", demo_build, 1) + f"?claim={claim.pk}"
    browser.post(address, start_of(browser, address) | {"reference": "CN-4"})
    answer = browser.post(url("reverse-entry", demo_build, 1), {"note": "wrong"}, follow=True)
    assert "reverse those first" in answer.content.decode()
    browser.post(url("reverse-entry", demo_build, 2), {"note": "for another order"})
    bill = LedgerEntry.objects.get(number=1)
    assert sum(entry.amount for entry in LedgerEntry.objects.all()) == bill.amount
    # The claim can be credited anew.
    assert address in browser.get(url("order", demo_build, 1)).content.decode()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"line-0-quantity": "9999", "line-0-goods": "1"}, "are invoiced."),
        ({"line-0-quantity": "1", "line-0-goods": ""}, "Type what they credit for it"),
        ({"line-0-goods": "-5"}, "greater than or equal to 0"),
        ({"line-0-goods": "", "tax": ""}, "comes to nothing"),
        ({"line-0-goods": "999999"}, "invoiced and not credited yet"),
        ({"reference": ""}, "This field is required"),
    ],
)
def test_a_credit_note_that_cannot_be(
    more: dict[str, str], said: str, client_of: ClientOf, demo_build: Build, owner: User, partner: User
) -> None:
    browser = client_of(owner)
    answer = browser.get(url("credit", demo_build, 1), follow=True)
    assert "Nothing of this order is invoiced yet" in answer.content.decode()
    received(browser, demo_build)
    invoice(browser, demo_build)
    address = url("credit", demo_build, 1)
    typed = {"reference": "CN-1", "day": "2027-02-01", "line-0-goods": "3", "note": "kept note"}
    answer = browser.post(address, typed | more)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert "kept note" in answer.content.decode()
    assert browser.get(address + "?claim=x").status_code == 404
    assert client_of(partner).get(address).status_code == 404
    assert not LedgerEntry.objects.filter(kind="credit").exists()
