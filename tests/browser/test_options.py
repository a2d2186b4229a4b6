"""Three systems of the demo hall beside each other, the switch proposed and applied, a line pinned."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.urls import reverse
from playwright.sync_api import expect

from buildout.builds.web.models import Build
from buildout.changes.web.demo import OWNER
from tests.browser.chromium import DESK, PHONE
from tests.browser.test_pages import barriers

RUN = 120_000
"""Milliseconds a run of the whole chain may take on a slow machine."""


def test_what_cannot_be_is_refused_on_a_phone(demo: Build, visit: Callable[..., Any]) -> None:
    """A pin without its place, a ramp where a wall stands: said beside the field, what was chosen is kept."""
    owner = visit(PHONE).sign_in(OWNER[0])
    page = owner.page
    owner.go(reverse("estimating:pins", args=[demo.pk, "hall"]))
    page.get_by_label("Where").select_option("base")
    page.get_by_label("What is pinned").select_option("line")
    page.get_by_label("Runs").select_option("x")
    page.get_by_role("button", name="See what this does").click()
    expect(page.locator("#id_y_error")).to_contain_text("how far across from the datum wall")
    owner.fits()
    owner.go(reverse("estimating:sides", args=[demo.pk, "hall"]))
    expect(page.get_by_role("img", name="Main hall: sides of the mat")).to_contain_text("landing 2")
    page.get_by_label("A-B 1", exact=True).select_option("ramp")
    page.get_by_label("landing 2", exact=True).select_option("frame")
    page.get_by_role("button", name="See what this does").click()
    expect(page.get_by_text("No ramp can stand at A-B 1")).to_be_visible()
    expect(page.get_by_label("landing 2", exact=True)).to_have_value("frame")
    owner.fits()
    assert barriers(page) == []


def test_owner_compares_three_systems_switches_and_pins_a_line(demo: Build, visit: Callable[..., Any]) -> None:
    owner = visit(DESK).sign_in(OWNER[0])
    page = owner.page
    page.set_default_timeout(RUN)
    number = demo.revisions.count()

    # Three systems are worked out by the worker and set beside each other.
    owner.go(reverse("estimating:layouts", args=[demo.pk, "hall"]))
    page.get_by_role("link", name="Compare systems").click()
    for name in ("Judo mats 40 mm in a frame", "Heavy mats 1 1/4 in"):
        page.get_by_label(name).check()
    page.get_by_role("button", name="Work them out").click()
    expect(page.get_by_role("heading", name="3 systems beside each other")).to_be_visible(timeout=RUN)
    expect(page.get_by_role("columnheader", name="Judo mats 40 mm in a frame")).to_be_attached()
    assert page.locator("figure.drawing svg").count() == 3
    owner.fits()
    assert barriers(page) == []
    page.set_viewport_size(PHONE)
    owner.fits()
    page.set_viewport_size(DESK)

    # One click proposes the switch; applied, the room has the other floor.
    page.get_by_role("button", name="Propose the switch to Judo mats 40 mm in a frame").click()
    expect(page.get_by_role("heading", name="Decide")).to_be_visible(timeout=RUN)
    page.get_by_role("button", name=f"Apply as revision {number + 1}").click()
    demo.refresh_from_db()
    assert demo.current is not None
    hall = next(f for f in demo.current.document["fitouts"] if f["room"] == "hall")
    assert hall["floor"] == "judo"

    # A course line of the new floor is pinned, applied, and seen to hold in list and drawing.
    owner.go(reverse("estimating:pins", args=[demo.pk, "hall"]))
    page.get_by_label("Where").select_option("base")
    page.get_by_label("What is pinned").select_option("line")
    page.get_by_label("Runs").select_option("x")
    page.get_by_label("Across from the datum wall").fill("4' 0\"")
    page.get_by_role("button", name="See what this does").click()
    expect(page.get_by_role("heading", name="Decide")).to_be_visible(timeout=RUN)
    page.get_by_role("button", name=f"Apply as revision {number + 2}").click()
    owner.go(reverse("estimating:pins", args=[demo.pk, "hall"]))
    expect(page.get_by_text("a course line along the datum wall, 4' 0\" from the datum")).to_be_visible()
    expect(page.get_by_text("held", exact=True)).to_be_visible()
    owner.go(reverse("estimating:layouts", args=[demo.pk, "hall"]))
    expect(page.locator("figure.drawing svg").first).to_contain_text("pinned pin-1")
