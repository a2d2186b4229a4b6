"""What a board asks for, on the owner's buying list, until it is in the plan, bought, or found."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Member, Proposal, Role
from buildout.people.web.models import User
from estimating.web.models import LedgerEntry
from scheduling.web.buying import Asked, likely_count, open_lines
from scheduling.web.marks import answer
from scheduling.web.models import DayMark, SignUp
from tests.web.test_board import bram as bram
from tests.web.test_board import mine, of, say
from tests.web.test_board import on_the_day as on_the_day

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


@pytest.fixture
def tape(bram: SignUp) -> DayMark:
    say(Client(), mine(bram, "my-board-mark"), "short:C11", text="two rolls of seam tape")
    return DayMark.objects.get(kind="short")


def page(build: Build, name: str = "buying", *more: Any) -> str:
    return reverse(f"scheduling:{name}", args=[build.pk, *more])


def lines(build: Build) -> list[Asked]:
    fresh = Build.objects.select_related("current").get(pk=build.pk)
    return open_lines(fresh, builds.sheet_of(fresh))


def as_current(build: Build, document: dict[str, Any]) -> None:
    assert build.current is not None
    build.current.document = document
    build.current.save()


def test_what_is_asked_for_on_a_board_stands_on_the_list(
    client_of: ClientOf, owner: User, lead: User, hand_build: Build, tape: DayMark
) -> None:
    for who in (owner, lead):
        text = client_of(who).get(page(hand_build)).content.decode()
        assert "Two rolls of seam tape" in text
        assert "Asked for by Bram" in text
        assert "C11" in text
        assert "Tallowfen" not in text
    assert "Bought, with what it cost" not in client_of(lead).get(page(hand_build)).content.decode()


def test_the_plan_buys_it_through_a_proposal_that_remembers_who_asked(
    client_of: ClientOf, owner: User, hand_build: Build, tape: DayMark, queued: None
) -> None:
    assert hand_build.current is not None
    product = hand_build.current.document["products"][0]
    client, address = client_of(owner), page(hand_build, "buying-plan", tape.pk)
    form = client.get(address).context["form"]
    assert form.initial["quantity"] == 2  # two rolls
    assert "Bram" not in form.initial["why"]  # the plan outlives what a helper asks to have removed
    data = {"product": product["id"], "quantity": "2", "unit": "each", "why": "as asked"}
    bad = client.post(address, data | {"quantity": "some"})
    assert bad.status_code == 422
    assert 'value="some"' in bad.content.decode()
    assert client.post(address, data).status_code == 302
    proposal = Proposal.objects.get(build=hand_build)
    need = next(need for need in proposal.document["needs"] if need.get("asked"))
    assert (need["asked"], need["product"], Decimal(need["quantity"])) == (tape.key, product["id"], 2)
    assert [line.need for line in lines(hand_build)] == [None]  # nothing changes before it is applied
    as_current(hand_build, proposal.document)
    assert [line.need.id for line in lines(hand_build) if line.need] == [need["id"]]
    assert "In the plan" in client.get(page(hand_build)).content.decode()
    assert "the plan buys it" in client.get(of(hand_build)).content.decode()
    assert client.post(address, data).status_code == 302
    assert Proposal.objects.filter(build=hand_build).count() == 1


def test_two_people_taking_one_thing_into_the_plan_make_one_order_of_it(
    client_of: ClientOf, owner: User, partner: User, hand_build: Build, tape: DayMark, queued: None
) -> None:
    """The second is told who is at it and shown what that changes; carried over by hand, the plan refuses it twice."""
    assert hand_build.current is not None
    Member.objects.filter(build=hand_build, user=partner).update(role=Role.OWNER)
    first, second = client_of(owner), client_of(partner)
    address = page(hand_build, "buying-plan", tape.pk)
    products = hand_build.current.document["products"]
    data = {"product": products[0]["id"], "quantity": "2", "unit": "each", "why": "as asked"}
    assert first.get(address).status_code == second.get(address).status_code == 200  # both look at the same line
    one = first.post(address, data)
    two = second.post(address, data | {"quantity": "3"})
    assert two["Location"] == one["Location"]
    assert Proposal.objects.filter(build=hand_build).count() == 1
    said = second.get(page(hand_build)).content.decode()
    assert f"{owner.name} is having the plan buy it already" in said
    # An edit of the same thing that was made before, with another product, cannot be applied on top.
    proposal = Proposal.objects.get(build=hand_build)
    need = proposal.document["needs"][-1]
    doubled = proposal.document | {"needs": [*proposal.document["needs"], need | {"id": "again"}]}
    with pytest.raises(builds.DocumentProblems) as refused:
        builds.propose(hand_build, partner, doubled, "Twice")
    assert "the plan buys this already" in str(refused.value.problems)
    assert refused.value.problems[0].pointer == f"/needs/{len(doubled['needs']) - 1}/asked"


def test_what_is_bought_while_the_plan_buys_it_too_is_said(
    client_of: ClientOf, owner: User, hand_build: Build, tape: DayMark
) -> None:
    assert hand_build.current is not None
    document = hand_build.current.document
    product = document["products"][0]["id"]
    needs = [
        *document.get("needs", []),
        {"id": "t", "product": product, "quantity": "2", "unit": "each", "asked": tape.key},
    ]
    as_current(hand_build, document | {"needs": needs})
    client = client_of(owner)
    got = client.post(page(hand_build, "buying-have-it", tape.pk), follow=True).content.decode()
    assert "the plan buys it too. Take it out" in got
    assert "Still in the plan" in got
    gone = client.get(page(hand_build, "buying-plan", tape.pk), follow=True).content.decode()
    assert "the plan buys it already" in gone


def test_bought_makes_a_paid_bill_and_closes_it_on_the_board(
    client_of: ClientOf, owner: User, hand_build: Build, tape: DayMark
) -> None:
    client, address = client_of(owner), page(hand_build, "buying-bought", tape.pk)
    assert client.get(address).status_code == 200
    data = {"day": "2026-01-05", "head": "6", "goods": "12.50", "tax": "1", "paid": "on"}
    refused = client.post(address, data)
    assert refused.status_code == 422  # nobody to pay
    assert "Corner hardware" in refused.content.decode()
    for _ in range(2):  # a double tap writes one bill
        assert client.post(address, data | {"who": "Corner hardware"}).status_code == 302
    bill, payment = LedgerEntry.objects.filter(build=hand_build).order_by("number")
    assert (bill.kind, bill.amount, bill.head, bill.who) == ("invoice", Decimal("13.5"), 6, "Corner hardware")
    assert (payment.kind, payment.amount, payment.settles) == ("payment", Decimal("13.5"), bill)
    assert "two rolls of seam tape" in bill.note
    assert "To buy or fetch" not in client.get(of(hand_build)).content.decode()
    shown = client.get(page(hand_build)).content.decode()
    assert "Nothing is asked for." in shown
    assert str(bill) in shown


def test_bought_for_nothing_makes_no_bill(client_of: ClientOf, owner: User, hand_build: Build, tape: DayMark) -> None:
    address = page(hand_build, "buying-bought", tape.pk)
    assert client_of(owner).post(address, {"day": "2026-01-05", "head": "6"}).status_code == 302
    assert not LedgerEntry.objects.filter(build=hand_build).exists()
    assert DayMark.objects.get(kind="bought").about == tape


def test_having_it_closes_it_once(client_of: ClientOf, lead: User, hand_build: Build, tape: DayMark) -> None:
    for _ in range(2):
        assert client_of(lead).post(page(hand_build, "buying-have-it", tape.pk)).status_code == 302
    assert DayMark.objects.filter(kind="got").count() == 1
    assert "To buy or fetch" not in client_of(lead).get(of(hand_build)).content.decode()


def test_got_on_the_board_is_off_the_list(
    client_of: ClientOf, lead: User, owner: User, hand_build: Build, tape: DayMark
) -> None:
    say(client_of(lead), of(hand_build, "board-mark"), f"got:{tape.pk}")
    assert "Nothing is asked for." in client_of(owner).get(page(hand_build)).content.decode()


def test_wrong_people_and_methods(
    client_of: ClientOf, lead: User, partner: User, hand_build: Build, tape: DayMark
) -> None:
    for name in ("buying-plan", "buying-bought"):
        assert client_of(lead).get(page(hand_build, name, tape.pk)).status_code in (403, 404)
    assert client_of(partner).get(page(hand_build)).status_code in (403, 404)
    assert client_of(lead).get(page(hand_build, "buying-have-it", tape.pk)).status_code == 405
    assert client_of(lead).post(page(hand_build, "buying-have-it", 10**6)).status_code == 404
    assert client_of(None).get(page(hand_build)).status_code == 302


def test_the_overview_says_what_needs_the_owner(
    client_of: ClientOf, owner: User, partner: User, demo_build: Build
) -> None:
    asked = DayMark.objects.create(
        build=demo_build, day="cover", kind="short", text="seven spare blades", by_name="Bram", at=timezone.now()
    )
    address = reverse("changes:overview", args=[demo_build.pk])
    assert "seven spare blades" in client_of(owner).get(address).content.decode()
    assert "seven spare blades" not in client_of(partner).get(address).content.decode()
    answer(asked, DayMark.Kind.GOT, by_name="Bram")
    assert "seven spare blades" not in client_of(owner).get(address).content.decode()


def test_queries(
    client_of: ClientOf, owner: User, hand_build: Build, tape: DayMark, django_assert_num_queries: Any
) -> None:
    client = client_of(owner)
    for number in range(4):
        say(client, of(hand_build, "board-mark"), "short:C11", text=f"thing {number}")
    with django_assert_num_queries(5):  # session, user, member with build and revision, what was got, what is asked for
        client.get(page(hand_build))


def test_counts_are_read_from_the_first_word() -> None:
    assert likely_count("ten gloves") == 10
    assert likely_count("4 brushes") == 4
    assert likely_count("\u00b2 of them") is None
    assert likely_count("") is None
