"""What the partner sees and answers: approvals, cost and how sure it is, comments in place, the week as a letter."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from buildout.builds.web.models import Build, Comment, JournalEntry, Member, Revision
from buildout.builds.web.services import Sheet, sheet_of
from buildout.people.web.models import User
from estimating.engine.types import Budget
from estimating.web import digest
from estimating.web.in_short import risk_of
from estimating.web.models import Approval, LedgerEntry, Order

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


@pytest.fixture
def limited(demo_build: Build) -> Build:
    """Orders above ¤5,000 wait for the partner."""
    assert demo_build.current is not None
    document = copy.deepcopy(demo_build.current.document)
    document["money"]["approval_over"] = "5000"
    Revision.objects.filter(pk=demo_build.current.pk).update(document=document)
    demo_build.refresh_from_db()
    return demo_build


def test_owner_and_partner_see_it(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User, stranger: User
) -> None:
    for name in ("in-short", "week"):
        for who in (owner, partner):
            assert client_of(who).get(url(name, demo_build)).status_code == 200
        for other in (lead, stranger):
            assert client_of(other).get(url(name, demo_build)).status_code == 404
        assert client_of(partner).post(url(name, demo_build)).status_code == 405


def test_queries(client_of: ClientOf, demo_build: Build, partner: User, django_assert_num_queries: Any) -> None:
    browser = client_of(partner)
    browser.get(url("in-short", demo_build))
    with django_assert_num_queries(11):
        browser.get(url("in-short", demo_build))


def test_cost_and_how_sure_it_is(client_of: ClientOf, demo_build: Build, partner: User) -> None:
    answer = client_of(partner).get(url("in-short", demo_build))
    page = answer.content.decode()
    sheet = Sheet(demo_build.current)  # type: ignore[arg-type]
    budget = sheet.part("budget", Budget)
    risk = answer.context["risk"]
    assert budget.total - budget.contingency == risk.expected < risk.p50 < risk.p80
    assert f"¤{budget.total:,.2f}" in page
    assert f"¤{risk.p80:,.2f}" in page
    assert {source.kind for source in risk.sources} == {"delay", "not quoted", "cut here"}
    orders = list(Order.objects.filter(build=demo_build).prefetch_related("changes", "deliveries"))
    assert risk == risk_of(sheet, [], orders), "the same figures every time"


def test_the_change_since_the_last_visit(client_of: ClientOf, demo_build: Build, partner: User) -> None:
    first = client_of(partner).get(url("in-short", demo_build)).content.decode()
    assert "your first visit" in first
    week_ago = timezone.now() - timedelta(days=7)
    Member.objects.filter(user=partner).update(last_visit=week_ago)
    revision = demo_build.current
    assert revision is not None
    cost = Decimal(revision.totals["cost"])
    Revision.objects.filter(pk=revision.pk).update(
        created=week_ago - timedelta(days=1), totals={**revision.totals, "cost": str(cost - 250)}
    )
    later = Revision.objects.create(
        build=demo_build, number=2, document=revision.document, result=revision.result, totals=revision.totals,
        summary="A wall moved",
    )  # fmt: skip
    Build.objects.filter(pk=demo_build.pk).update(current=later)
    page = client_of(partner).get(url("in-short", demo_build)).content.decode()
    assert "¤250.00 more since your last visit" in page
    letter = client_of(partner).get(url("week", demo_build)).content.decode()
    assert "¤250.00 more than a week ago" in letter


def test_the_change_since_the_last_visit_by_head(client_of: ClientOf, demo_build: Build, partner: User) -> None:
    week_ago = timezone.now() - timedelta(days=7)
    Member.objects.filter(user=partner).update(last_visit=week_ago)
    revision = demo_build.current
    assert revision is not None
    Revision.objects.filter(pk=revision.pk).update(created=week_ago - timedelta(days=1))
    assert client_of(partner).get(url("in-short", demo_build)).context["moved"] == {}
    # The plan then had 40 less quoted under head 8; a bill 30 above everything under head 5 came since.
    result = json.loads(revision.result)
    heads = {line["head"]: line for line in result["budget"]["lines"]}
    heads[8]["quoted"] = f"{Decimal(heads[8]['quoted']) - 40}"
    old = Revision.objects.create(
        build=demo_build, number=2, document=revision.document, result=json.dumps(result), totals=revision.totals,
        summary="As it was", created=week_ago - timedelta(hours=1),
    )  # fmt: skip
    now = Revision.objects.create(
        build=demo_build, number=3, document=revision.document, result=revision.result, totals=revision.totals,
        summary="Dearer foam",
    )  # fmt: skip
    Build.objects.filter(pk=demo_build.pk).update(current=now)
    five = heads[5]
    billed = Decimal(five["quoted"]) + Decimal(five["allowance"]) + 30
    LedgerEntry.objects.create(
        build=demo_build, number=1, kind="invoice", day=week_ago.date(), head=5, goods=billed, amount=billed
    )
    Member.objects.filter(user=partner).update(last_visit=week_ago)
    answer = client_of(partner).get(url("in-short", demo_build))
    assert old.pk < now.pk
    assert answer.context["moved"] == {5: Decimal(30), 8: Decimal(40)}
    page = answer.content.decode()
    assert "¤40.00 more since your last visit" in page
    assert "¤30.00 more since your last visit" in page
    letter = digest.text_of(now.build, sheet_of(now.build), week_ago)
    assert letter.index("What moved since last week") < letter.index("What happened")
    assert f"- Licensed trades: ¤30.00 more, now ¤{billed + Decimal(five['contingency']):,.2f}\n- Floor" in letter
    assert letter.count(" more, now ¤") == 2


# ------------------------------------------------------------------ approvals


def test_an_order_above_the_limit_waits_for_the_partner(
    client_of: ClientOf, limited: Build, owner: User, partner: User
) -> None:
    mine, theirs = client_of(owner), client_of(partner)
    page = mine.get(url("orders", limited)).content.decode()
    assert "needs the partner" in page
    answer = mine.post(url("place-order", limited), {"quote": "cloudberry-1"}, follow=True)
    assert "ask the partner first" in answer.content.decode()
    assert Order.objects.filter(build=limited).count() == 2

    mine.post(url("ask-approval", limited), {"quote": "cloudberry-1", "why": "The price ends on Friday"})
    asked = Approval.objects.get()
    assert asked.state == "open"
    assert "waits for the partner" in mine.get(url("orders", limited)).content.decode()
    assert "ask the partner first" in mine.post(
        url("place-order", limited), {"quote": "cloudberry-1"}, follow=True
    ).content.decode()  # fmt: skip
    page = theirs.get(url("in-short", limited)).content.decode()
    assert "The price ends on Friday" in page
    assert f"¤{asked.total:,.2f}" in page

    theirs.post(url("approve", limited, 1), {"answer": "Go ahead"})
    asked.refresh_from_db()
    assert (asked.state, asked.decided_by, asked.answer) == ("approved", partner, "Go ahead")
    assert "Go ahead" in mine.get(url("orders", limited)).content.decode()
    mine.post(url("place-order", limited), {"quote": "cloudberry-1"})
    order = Order.objects.get(build=limited, number=3)
    asked.refresh_from_db()
    assert asked.order == order
    goods = sum(Decimal(line["goods"]) for line in order.lines)
    assert asked.total == goods + order.freight + order.tax
    texts = [entry.text for entry in JournalEntry.objects.filter(build=limited, kind="money")]
    assert texts[0].startswith("Approval 1 approved: order to Cloudberry Foam Converters for ¤")

    # Used up: called off and ordered again, it is asked for again.
    mine.post(url("cancel-order", limited, 3))
    mine.post(url("place-order", limited), {"quote": "cloudberry-1"})
    assert Order.objects.filter(build=limited).count() == 3


def test_what_has_grown_since_is_asked_for_again(client_of: ClientOf, limited: Build, owner: User) -> None:
    mine = client_of(owner)
    mine.post(url("ask-approval", limited), {"quote": "cloudberry-1"})
    asked = Approval.objects.get()
    Approval.objects.update(state="approved", total=asked.total - Decimal("0.01"))
    mine.post(url("place-order", limited), {"quote": "cloudberry-1"})
    assert Order.objects.filter(build=limited).count() == 2
    assert "the order has changed since" in mine.get(url("orders", limited)).content.decode()
    mine.post(url("ask-approval", limited), {"quote": "cloudberry-1"})
    assert list(Approval.objects.values_list("number", "state")) == [(1, "withdrawn"), (2, "open")]


def test_a_small_order_and_a_build_without_partner_do_not_wait(
    client_of: ClientOf, limited: Build, owner: User, partner: User
) -> None:
    mine = client_of(owner)
    Member.objects.filter(build=limited, user=partner).delete()
    answer = mine.post(url("ask-approval", limited), {"quote": "cloudberry-1"}, follow=True)
    assert "invite one first" in answer.content.decode()
    mine.post(url("place-order", limited), {"quote": "cloudberry-1"})
    assert Order.objects.filter(build=limited).count() == 3


def test_refusing_needs_a_reason_and_keeps_what_was_typed(
    client_of: ClientOf, limited: Build, owner: User, partner: User
) -> None:
    client_of(owner).post(url("ask-approval", limited), {"quote": "cloudberry-1"})
    theirs = client_of(partner)
    answer = theirs.post(url("refuse", limited, 1), {"answer": " "})
    assert answer.status_code == 422
    assert "Say why" in answer.content.decode()
    long = "x" * 501
    answer = theirs.post(url("approve", limited, 1), {"answer": long})
    assert answer.status_code == 422
    assert long in answer.content.decode()
    theirs.post(url("refuse", limited, 1), {"answer": "Wait for the loan"})
    assert Approval.objects.get().state == "refused"
    page = client_of(owner).get(url("orders", limited)).content.decode()
    assert "refused by the partner" in page
    assert "Wait for the loan" in page
    answer = theirs.post(url("approve", limited, 1), {"answer": ""}, follow=True)
    assert "no longer open" in answer.content.decode()


def test_only_the_partner_answers_and_only_the_owner_asks(
    client_of: ClientOf, limited: Build, owner: User, partner: User, lead: User, stranger: User
) -> None:
    client_of(owner).post(url("ask-approval", limited), {"quote": "cloudberry-1"})
    for who in (owner, lead, stranger):
        assert client_of(who).post(url("approve", limited, 1)).status_code == 404
    for who in (partner, lead, stranger):
        assert client_of(who).post(url("ask-approval", limited), {"quote": "cloudberry-1"}).status_code == 404
    assert client_of(partner).get(url("approve", limited, 1)).status_code == 405
    assert client_of(partner).post(url("approve", limited, 9)).status_code == 404
    answer = client_of(owner).post(url("ask-approval", limited), {"quote": "nope"}, follow=True)
    assert "Nothing of this quote is waiting" in answer.content.decode()


def test_the_limit_is_part_of_the_plan(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Callable[[Build], dict[str, Any]]
) -> None:
    page = client_of(owner).get(url("allowances", demo_build))
    data = {"available": "60000", "tax_percent": "7.5", "approval_over": "2500"}
    data |= {f"head-{number}-{name}": "" for number in range(1, 25) for name in ("allowance", "contingency_percent")}
    assert "Orders above this wait for the partner" in page.content.decode()
    client_of(owner).post(url("allowances", demo_build), data)
    assert proposed(demo_build)["money"]["approval_over"] == "2500"


# ------------------------------------------------------------------ comments and the letter


def test_comments_are_answered_in_place(client_of: ClientOf, demo_build: Build, owner: User, partner: User) -> None:
    answer = client_of(partner).post(
        url("comment", demo_build), {"head": "9", "text": "Is delivery in this?", "back": "in-short"}
    )
    assert answer.url == url("in-short", demo_build) + "?head=9#head-9"
    client_of(owner).post(url("comment", demo_build), {"head": "9", "text": "Yes, inside.", "back": "in-short"})
    page = client_of(partner).get(answer.url).content.decode()
    said = page[page.index('class="comments"') :]
    assert said.index("Is delivery in this?") < said.index("Yes, inside.")
    wrong = client_of(partner).post(url("comment", demo_build), {"head": "9", "text": " ", "back": "in-short"})
    assert wrong.status_code == 422
    assert "Write something first" in wrong.content.decode()
    assert Comment.objects.count() == 2


def test_the_week_is_mailed_once_where_mail_is_set_up(
    demo_build: Build, partner: User, mailoutbox: list[Any], settings: Any, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(Sheet, "today", lambda self: date(2027, 1, 18))
    Order.objects.filter(build=demo_build, number=1).update(promised=date(2027, 1, 22), state="confirmed")
    settings.EMAIL_BACKEND = "django.core.mail.backends.dummy.EmailBackend"
    call_command("digests")
    letter = capsys.readouterr().out
    assert "PO-1 to Plumbob & Plank Yard is promised for 22 Jan 2027" in letter
    assert "PO-2 to Tansybrook Upholstery Supply is not acknowledged yet" in letter
    assert not JournalEntry.objects.filter(kind="digest").exists()

    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    settings.PUBLIC_URL = "https://build.example.org"
    call_command("digests")
    call_command("digests")
    assert [mail.to for mail in mailoutbox] == [[partner.email]]
    assert mailoutbox[0].subject == f"{demo_build.name}: the week to 18 Jan 2027"
    assert f"https://build.example.org{url('in-short', demo_build)}" in mailoutbox[0].body
    assert "four times in five at most ¤" in mailoutbox[0].body
    assert "&amp;" not in mailoutbox[0].body
    call_command("digests", again=True)
    assert len(mailoutbox) == 2
    monkeypatch.setattr(Sheet, "today", lambda self: date(2027, 1, 25))
    call_command("digests")
    assert len(mailoutbox) == 3
