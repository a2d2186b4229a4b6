"""The budget: every head open to what it is made of, comments of owner and partner, money set aside by proposal."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, Comment, Proposal
from buildout.builds.web.services import Sheet
from buildout.people.web.models import User
from buildout.units.money import format_money
from estimating.engine.heads import FLOAT
from estimating.engine.types import Budget
from estimating.web.models import Order
from estimating.web.order_book import place

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]


def url(name: str, build: Build) -> str:
    return reverse(f"estimating:{name}", args=[build.pk])


def test_owner_and_partner_see_it(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User, stranger: User
) -> None:
    for name in ("budget", "budget-csv"):
        for who in (owner, partner):
            assert client_of(who).get(url(name, demo_build)).status_code == 200
        for other in (lead, stranger):
            assert client_of(other).get(url(name, demo_build)).status_code == 404
        assert client_of(owner).post(url(name, demo_build)).status_code == 405


def test_the_partner_reads_and_comments_but_edits_nothing(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User
) -> None:
    page = client_of(partner).get(url("budget", demo_build)).content.decode()
    assert "Edit what is set aside" not in page
    assert "Comment</button>" in page
    assert "Edit what is set aside" in client_of(owner).get(url("budget", demo_build)).content.decode()
    assert client_of(partner).get(url("allowances", demo_build)).status_code == 404
    assert client_of(partner).post(url("allowances", demo_build), {"available": "1"}).status_code == 404


def test_all_heads_open_to_what_they_are_made_of(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    assert demo_build.current is not None
    budget = Sheet(demo_build.current).part("budget", Budget)
    page = client_of(owner).get(url("budget", demo_build)).content.decode()
    assert page.count('class="line"') == len(budget.lines) == 24
    for line in budget.lines:
        for what, _ in line.made_of:
            assert what.split(",")[0] in page
    assert "Tax, apart" in page
    text = client_of(owner).get(url("budget-csv", demo_build)).content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [Decimal(row["forecast to finish"]) for row in rows] == [line.total for line in budget.lines]


def test_what_is_ordered_counts_from_the_day_it_is_placed_and_columns_add_up(
    client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    """Before the plan is worked out anew; the last line of each column is the sum of what stands above it."""
    order = place(demo_build, owner, "copperhinge-1")
    answer = client_of(owner).get(url("budget", demo_build))
    placed = Order.objects.filter(build=demo_build)
    papers = [sum((Decimal(line["goods"]) for line in o.lines), o.freight + o.tax) for o in placed]
    assert answer.context["sums"]["ordered"] == sum(papers)
    page = answer.content.decode()
    assert f"<li>{order.name}: " in page
    whole = re.sub(r'<span class="said">[^<]*</span>', "", page.split('class="line sum"')[1].split("</div>")[0])
    for name in ("quoted", "estimated", "ordered", "contingency", "forecast"):
        column = [getattr(row["since"], name) for row in answer.context["rows"] if row["line"].head != FLOAT]
        assert f">{format_money(sum(column), 'XXX')}</span>" in whole
        parts = [row["since"] for row in answer.context["rows"]]
        if name in ("ordered", "forecast"):
            assert all(sum(a for _, a in getattr(m, f"{name}_of")) == getattr(m, name) for m in parts)


def test_queries(client_of: ClientOf, demo_build: Build, owner: User, django_assert_num_queries: Any) -> None:
    browser = client_of(owner)
    Comment.objects.bulk_create(
        Comment(build=demo_build, subject=f"budget:{n}", subject_text="x", text="x", by=owner) for n in range(1, 9)
    )
    with django_assert_num_queries(8):
        browser.get(url("budget", demo_build))


def test_a_comment_is_kept_shown_and_in_the_journal(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User
) -> None:
    answer = client_of(partner).post(url("comment", demo_build), {"head": "9", "text": "Is <b>delivery</b> in this?"})
    assert answer.url == url("budget", demo_build) + "?head=9#head-9"
    comment = Comment.objects.get()
    assert (comment.subject, comment.subject_text, comment.by) == ("budget:9", "Cover", partner)
    page = client_of(owner).get(answer.url).content.decode()
    assert "Is &lt;b&gt;delivery&lt;/b&gt; in this?" in page
    assert "Lorcan Mistlebrook" in page
    entry = demo_build.journal.get()
    assert (entry.kind, entry.by) == ("comment", partner)


@pytest.mark.parametrize(("text", "said"), [("  ", "Write something first"), ("x" * 2001, "at most 2000 characters")])
def test_a_comment_that_cannot_be(text: str, said: str, client_of: ClientOf, demo_build: Build, partner: User) -> None:
    answer = client_of(partner).post(url("comment", demo_build), {"head": "9", "text": text})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    if text.strip():
        assert text in page
    assert not Comment.objects.exists()


def test_who_may_comment_on_what(
    client_of: ClientOf, demo_build: Build, owner: User, lead: User, stranger: User
) -> None:
    for other in (lead, stranger):
        assert client_of(other).post(url("comment", demo_build), {"head": "9", "text": "x"}).status_code == 404
    for head in ("0", "25", "x", "", "９"):
        assert client_of(owner).post(url("comment", demo_build), {"head": head, "text": "x"}).status_code == 404
    assert client_of(owner).get(url("comment", demo_build)).status_code == 405
    assert not Comment.objects.exists()


def filled(browser: Client, address: str) -> dict[str, Any]:
    context = browser.get(address).context
    forms = [context["form"], *[head for _, _, head in context["heads"]]]
    return {field.html_name: field.value() for form in forms for field in form if field.value() is not None}


def test_money_set_aside_is_proposed(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    from buildout.changes.engine.reading import check_plan

    browser = client_of(owner)
    address = url("allowances", demo_build)
    assert demo_build.current is not None
    assert browser.post(address, filled(browser, address)).status_code == 302
    assert check_plan(proposed(demo_build)) == check_plan(demo_build.current.document), "sent back as it stands"
    Proposal.objects.all().delete()
    data = filled(browser, address) | {"available": "99000", "head-12-allowance": "1200", "head-12-note": "Two more"}
    assert browser.post(address, data).status_code == 302
    money = proposed(demo_build)["money"]
    assert money["available"] == "99000"
    head = next(head for head in money["heads"] if head["head"] == 12)
    assert head == {"head": 12, "allowance": "1200", "contingency_percent": "15", "note": "Two more"}


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"available": "lots"}, "available", "plain number with a decimal point"),
        ({"tax_percent": "120"}, "tax_percent", "100 %"),
        ({"head-7-contingency_percent": "101"}, "head-7-contingency_percent", "less than or equal to 100"),
        ({"head-7-allowance": "-1"}, "head-7-allowance", "greater than or equal to 0"),
    ],
)
def test_money_that_cannot_be(
    typed: dict[str, str], field: str, said: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    browser = client_of(owner)
    address = url("allowances", demo_build)
    answer = browser.post(address, filled(browser, address) | typed | {"head-3-note": "kept note"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert f"id_{field}_error" in page
    assert "kept note" in page
    assert next(iter(typed.values())) in page
    assert not Proposal.objects.exists()
