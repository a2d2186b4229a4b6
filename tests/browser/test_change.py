"""An edit is proposed, seen and applied, and every sheet follows; with two editors nothing is lost."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from buildout.builds.web.models import Build, Proposal, Revision
from buildout.changes.web.demo import OWNER, PARTNER
from tests.browser.chromium import DESK, PHONE
from tests.browser.conftest import WIDTHS

RUN = 120_000
"""Milliseconds a run of the whole chain may take on a slow machine."""


def move_wall(page: Any, build: Build, room: str, wall: str, distance: str) -> None:
    page.goto(page.url.split("/builds/")[0].rstrip("/") + reverse("rooms:room", args=[build.pk, room]))
    page.get_by_label("Wall", exact=True).select_option(wall)
    page.get_by_label("How far").fill(distance)
    page.get_by_label("Which way").select_option("out")
    page.set_default_timeout(RUN)
    page.get_by_role("button", name="See what this does").click()
    expect(page.get_by_role("heading", name="Decide")).to_be_visible(timeout=RUN)


def test_owner_moves_a_wall_of_the_demo_by_three_inches_and_applies_it(demo: Build, visit: Callable[..., Any]) -> None:
    owner = visit(DESK).sign_in(OWNER[0])
    page = owner.page
    owner.go(demo.get_absolute_url())
    area_before = page.locator("dl.figures").first.inner_text()
    number = demo.revisions.count()

    move_wall(page, demo, "hall", "B-C", '3"')
    proposal = Proposal.objects.get(build=demo)
    assert Revision.objects.filter(build=demo).count() == number, "looking at an impact wrote a revision"
    for heading in ("In short", "Quantities and money", "Order-by dates", "People who signed up", "Tasks"):
        expect(page.get_by_role("heading", name=heading, exact=True)).to_be_visible()
    short = page.locator("table", has=page.get_by_role("rowheader", name="Floor area"))
    expect(short.get_by_role("rowheader", name="Floor area")).to_be_visible()
    expect(short.get_by_role("rowheader", name="Whole budget")).to_be_visible()
    # 3 in along the 28 ft wall: 28.08 ft × 0.25 ft = 7.0 sq ft more floor.
    grown = short.locator("tr", has=page.get_by_role("rowheader", name="Floor area")).inner_text()
    before, after = (float(cell.split()[0].replace(",", "")) for cell in grown.split("\t")[1:3])
    assert after - before == pytest.approx(7.0, abs=1.1)
    owner.fits()

    page.get_by_label("Why").fill("The landlord moved the partition")
    page.get_by_role("button", name=f"Apply as revision {number + 1}").click()
    expect(page.get_by_text(f"Applied as revision {number + 1}")).to_be_visible()
    assert page.locator("dl.figures").first.inner_text() != area_before
    assert not Proposal.objects.filter(pk=proposal.pk).exists()

    from buildout.builds.web.templatetags.sheet import SHEETS

    for _, _, url, _ in SHEETS:
        owner.go(reverse(url, args=[demo.pk]))
        expect(page.locator("dl.title-block")).to_contain_text(re.compile(rf"Revision\s*{number + 1}"))
    owner.go(reverse("changes:journal", args=[demo.pk]))
    expect(page.get_by_text("The landlord moved the partition")).to_be_visible()

    partner = visit(PHONE).sign_in(PARTNER[0])
    partner.go(reverse("estimating:budget", args=[demo.pk]))
    expect(partner.page.locator("dl.title-block")).to_contain_text(re.compile(rf"Revision\s*{number + 1}"))


@pytest.mark.parametrize("viewport", WIDTHS)
def test_rejecting_leaves_the_build_as_it_was(
    plain: Build, visit: Callable[..., Any], viewport: dict[str, int]
) -> None:
    owner = visit(viewport).sign_in("owner@example.org")
    owner.go(plain.get_absolute_url())
    owner.fits()
    move_wall(owner.page, plain, "room", "B-C", '3"')
    owner.fits()
    owner.page.get_by_role("button", name="Reject: leave everything as it is").click()
    expect(owner.page.get_by_text("Nothing was changed")).to_be_visible()
    assert Revision.objects.filter(build=plain).count() == 1
    assert not Proposal.objects.exists()


def test_the_second_of_two_editors_is_told_what_changed_and_loses_nothing(
    plain: Build, visit: Callable[..., Any]
) -> None:
    first = visit(DESK).sign_in("owner@example.org")
    second = visit(DESK).sign_in("second@example.org")
    for visitor in (first, second):
        visitor.go(plain.get_absolute_url())
    move_wall(first.page, plain, "room", "B-C", '3"')
    second.go(reverse("rooms:edit-part", args=[plain.pk, "room", "walls", "A-B"]))
    second.page.get_by_label("Height").fill("9' 6\"")
    second.page.set_default_timeout(RUN)
    second.page.locator("main form button.main").first.click()
    expect(second.page.get_by_role("heading", name="Decide")).to_be_visible(timeout=RUN)

    first.page.get_by_role("button", name="Apply as revision 2").click()
    expect(first.page.get_by_text("Applied as revision 2")).to_be_visible()
    second.page.get_by_role("button", name="Apply as revision 2").click()
    expect(second.page.get_by_role("heading", name="Somebody applied another change meanwhile")).to_be_visible()
    expect(second.page.locator("main")).to_contain_text("9' 6\"")
    second.page.locator("main form button.main").first.click()
    expect(second.page.get_by_role("button", name="Apply as revision 3")).to_be_visible(timeout=RUN)
    second.page.get_by_role("button", name="Apply as revision 3").click()
    expect(second.page.get_by_text("Applied as revision 3")).to_be_visible()

    plan = Build.objects.get(pk=plain.pk).current.document  # type: ignore[union-attr]
    heights = {wall["id"]: wall["height"] for wall in plan["rooms"][0]["walls"]}
    assert heights["A-B"] == "9' 6\"", "the second editor's height is lost"
    readings = {reading["id"]: reading["value"] for reading in plan["rooms"][0]["readings"]}
    assert readings["1"] != "20' 0\"", "the first editor's wall is lost"
