"""From the award to the goods: an order waits for the partner, goes out, comes short, and the plan moves with it."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.urls import reverse
from playwright.sync_api import expect

from buildout.builds.web.models import Build
from estimating.web.models import Approval, Order
from estimating.web.services import standings
from tests.browser.chromium import DESK, PHONE

RUN = 120_000
"""Milliseconds a run of the whole chain may take on a slow machine."""


def apply(page: Any, number: int) -> None:
    button = page.get_by_role("button", name=f"Apply as revision {number}")
    expect(button).to_be_visible(timeout=RUN)
    button.click()
    expect(page.get_by_text(f"Applied as revision {number}")).to_be_visible()


def needed(build: Build, item: str) -> str:
    """Day the schedule people rely on first uses an item."""
    current = Build.objects.get(pk=build.pk).current
    assert current is not None
    return str(json.loads(current.result)["schedule"]["needs"][item])


def test_award_approval_order_short_delivery_and_a_schedule_that_moves(plain: Build, visit: Callable[..., Any]) -> None:
    owner = visit(DESK).sign_in("owner@example.org")
    page = owner.page
    page.set_default_timeout(RUN)

    # The partner wants to be asked above 1,000.
    owner.go(reverse("estimating:allowances", args=[plain.pk]))
    page.get_by_label("Orders above this wait for the partner").fill("1000")
    page.get_by_role("button", name="See what this does").click()
    apply(page, 2)

    # The award says who; the order is above the limit.
    owner.go(reverse("estimating:quotes", args=[plain.pk]))
    expect(page.get_by_role("heading", name="Who gets what")).to_be_visible()
    expect(page.get_by_text("no other choice of offers costs less")).to_be_visible()
    owner.go(reverse("estimating:orders", args=[plain.pk]))
    foam = page.locator("article.ready", has=page.get_by_role("heading", name=re.compile("^Harrow")))
    expect(foam.get_by_text("needs the partner")).to_be_visible()
    expect(foam.get_by_role("button", name="Place this order")).to_have_count(0)
    foam.get_by_label("What the partner should know").fill("Their price ends this month")
    foam.get_by_role("button", name="Ask the partner").click()
    expect(foam.get_by_text("waits for the partner")).to_be_visible()

    # The partner answers on the phone, where the question stands.
    partner = visit(PHONE).sign_in("partner@example.org")
    partner.go(reverse("estimating:in-short", args=[plain.pk]))
    expect(partner.page.get_by_text("Their price ends this month", exact=True)).to_be_visible()
    expect(partner.page.get_by_text("Four times in five at most (P80)")).to_be_visible()
    partner.fits()
    partner.page.get_by_label("Say something with it").fill("Go ahead")
    partner.page.get_by_role("button", name="Approve").click()
    expect(partner.page.get_by_text(re.compile("You approved the order to Harrow"))).to_be_visible()
    partner.fits()

    # Ordered: the paper says what the database says.
    owner.go(reverse("estimating:orders", args=[plain.pk]))
    expect(foam.get_by_text("Go ahead")).to_be_visible()
    foam.get_by_role("button", name="Place this order").click()
    order = Order.objects.get(build=plain)
    assert Approval.objects.get().order == order
    mail = page.request.get(owner.address + reverse("estimating:order-text", args=[plain.pk, order.number])).text()
    paper = page.request.get(owner.address + reverse("estimating:order-document", args=[plain.pk, order.number])).body()
    for line in order.lines:
        assert f"{Decimal(line['goods']):,.2f}" in mail
    if paper.startswith(b"%PDF-"):
        from pypdf import PdfReader

        read = " ".join(" ".join(part.extract_text() for part in PdfReader(io.BytesIO(paper)).pages).split())
        goods = sum(Decimal(line["goods"]) for line in order.lines)
        assert f"{goods + order.freight + order.tax:,.2f}" in read

    # Acknowledged, then half of the first line comes and the rest is named for a late day.
    page.get_by_label("Day they promise the goods").fill("2027-06-25")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("The promised day is written down")).to_be_visible()
    first = standings(order)[0]
    page.get_by_role("link", name="Count goods in").click()
    came = (first.due / 2).to_integral_value()
    page.get_by_label("Day it came").fill("2027-06-25")
    page.get_by_label("Day they promise the rest").fill("2027-08-16")
    count = page.get_by_label("Counted and in order").first
    count.fill(f"{came:f}")
    page.get_by_role("button", name="Book it in").click()
    expect(page.get_by_text("short of")).to_be_visible()
    now = standings(Order.objects.get(pk=order.pk))[0].standing
    assert (now.received, now.outstanding) == (came, first.due - came)

    # Nothing has moved by itself; looked at, the work that needs the goods moves, and the opening with it.
    assert Build.objects.get(pk=plain.pk).current.number == 2  # type: ignore[union-attr]
    page.get_by_role("button", name="See what this order does to the plan").click()
    expect(page.get_by_role("heading", name="Decide")).to_be_visible(timeout=RUN)
    moved = page.locator("section", has=page.get_by_role("heading", name="Tasks", exact=True))
    expect(moved.locator("tbody tr").first).to_be_visible()
    before = needed(plain, first.item)
    assert before <= "2027-08-14", "it was to be laid on the floor day"
    apply(page, 3)
    assert needed(plain, first.item) >= "2027-08-16", "nobody lays what has not come"

    partner.go(reverse("estimating:in-short", args=[plain.pk]))
    expect(partner.page.get_by_text(re.compile("^Part of PO-1 came"))).to_be_visible()
    partner.fits()
