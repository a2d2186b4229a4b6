"""The owner's wishes for a task, one by one and against each other: a day, not before a day, somebody on it."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from buildout.builds.web.models import Build
from buildout.builds.web.services import Sheet
from buildout.changes.web.demo import OWNER
from buildout.units.dates import day_text
from scheduling.engine.types import PlannedTask, Schedule
from tests.browser.chromium import DESK, PHONE
from tests.browser.conftest import WIDTHS
from tests.browser.test_change import RUN
from tests.browser.test_pages import barriers

TASK = "J05"
"""Lockers: nothing but goods and free places in its way."""
DAYS = {"cover": ("Cover", date(2027, 3, 20)), "fit-out": ("Panels and fit-out", date(2027, 4, 3))}
"""Build days of the demo on which it can be done."""


def planned(build: Build) -> list[PlannedTask]:
    build.refresh_from_db()
    assert build.current is not None
    return [task for task in Sheet(build.current).part("schedule", Schedule).tasks if task.code.split("/")[0] == TASK]


def see(visitor: Any, build: Build, button: str, **fields: str) -> Any:
    """Fill in one form of the task's page and wait for its impact."""
    page = visitor.page
    visitor.go(reverse("scheduling:task", args=[build.pk, TASK]))
    form = page.locator("form", has=page.get_by_role("button", name=button))
    for name, value in fields.items():
        field = form.locator(f"[name={name}]")
        if field.evaluate("field => field.tagName") == "SELECT":
            field.select_option(value)
        else:
            field.fill(value)
    form.get_by_role("button", name=button).click()
    expect(page.get_by_role("heading", name="Decide")).to_be_visible(timeout=RUN)
    visitor.fits()
    return page


def apply(page: Any) -> None:
    page.get_by_role("button", name="Apply as revision").click()
    expect(page.get_by_text("Applied as revision")).to_be_visible()


def test_a_day_a_wait_and_a_person_each_kept_and_then_against_each_other(
    demo: Build, visit: Callable[..., Any]
) -> None:
    owner = visit(DESK).sign_in(OWNER[0])
    (was,) = {task.build_day for task in planned(demo)}
    chosen = next(day for day in DAYS if day != was)
    name, when = DAYS[chosen]

    # On a day of the owner's choice.
    page = see(owner, demo, "Hold it on that day", day=chosen)
    row = page.locator("tr", has=page.get_by_role("rowheader", name=re.compile(f"^{TASK} Lockers")))
    expect(row).to_contain_text(day_text(DAYS[was][1], year=False))
    expect(row).to_contain_text(day_text(when, year=False))
    apply(page)
    assert {task.build_day for task in planned(demo)} == {chosen}
    owner.go(reverse("scheduling:plan", args=[demo.pk]))
    box = page.locator('section[aria-labelledby="plan-' + chosen + '"] svg title', has_text=TASK)
    assert box.count() == 1

    # Somebody on it, who is there that day.
    page = see(owner, demo, "Put on this task", person="dov")
    apply(page)
    assert {tuple(task.people) for task in planned(demo)} == {("dov",)}

    # Not before the day after its day: the two cannot both be, and with either let go there is a plan.
    phone = visit(PHONE).sign_in(OWNER[0])
    page = see(phone, demo, "Wait until then", date=(when + timedelta(days=1)).isoformat(), why="They are lent out")
    expect(page.get_by_text("With this change there is no plan")).to_be_visible()
    told = page.locator("h2", has_text="What cannot all be met").locator("xpath=following-sibling::ul[1]")
    expect(told).to_contain_text(f"{TASK} Lockers, cubbies on {name} on {day_text(when)}")
    expect(told).to_contain_text(f"not before {day_text(when + timedelta(days=1))}: They are lent out")
    assert told.locator("li").count() == 2
    ways = page.locator("ol.ways li")
    expect(ways.first).to_contain_text("Then open on")
    let_go = ways.filter(has_text="Let J05 Lockers, cubbies start earlier")
    let_go.get_by_role("button", name="See this change together with it").click()
    expect(page.get_by_role("heading", name="Decide")).to_be_visible(timeout=RUN)
    expect(page.get_by_text("With this change there is no plan")).to_have_count(0)
    assert {task.build_day for task in planned(demo)} == {chosen}  # nothing was applied


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", WIDTHS)
def test_how_good_the_plan_is_opens_and_can_be_read(
    demo: Build, visit: Callable[..., Any], viewport: dict[str, int], scheme: str
) -> None:
    """The table of aims stands folded: opened by a tap, every figure of every aim is on the screen."""
    owner = visit(viewport, color_scheme=scheme).sign_in(OWNER[0])
    owner.go(reverse("scheduling:plan", args=[demo.pk]))
    table = owner.page.get_by_role("region", name="Aims of the plan")
    expect(table).to_be_hidden()
    owner.page.get_by_text("How good this plan is, aim by aim").click()
    expect(table).to_be_visible()
    assert demo.current is not None
    aims = Sheet(demo.current).part("schedule", Schedule).aims
    rows = table.locator("tbody tr")
    assert rows.count() == len(aims) > 1
    for row, aim in zip(rows.all(), aims, strict=True):
        expect(row).to_contain_text(aim.name)
        for cell in row.locator("th, td").all():
            box = cell.bounding_box()
            assert box is not None
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= viewport["width"]
    owner.fits()
    assert barriers(owner.page) == []


def test_somebody_who_does_not_come_that_day_is_said_and_ways_out_are_offered(
    demo: Build, visit: Callable[..., Any]
) -> None:
    owner = visit(DESK).sign_in(OWNER[0])
    page = see(owner, demo, "Hold it on that day", day="fit-out")
    apply(page)
    owner.go(reverse("scheduling:task", args=[demo.pk, TASK]))
    sika = page.locator("select[name=person] option", has_text="Sika, signed up for Sat 20 Feb").get_attribute("value")
    page = see(owner, demo, "Put on this task", person=sika)
    expect(page.get_by_text("With this change there is no plan")).to_be_visible()
    ways = page.locator("ol.ways li")
    expect(ways.filter(has_text=f"Let somebody else do {TASK} Lockers").first).to_be_visible()
    expect(page.locator("main")).to_contain_text("the helper who signed up for Paint on Sat 20 Feb 2027")
    expect(page.locator("main")).to_contain_text("held on, Panels and fit-out on Sat 3 Apr 2027")
