"""What the owner does with a room's layouts in a browser: pins that hold and are seen in the drawings."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from django.urls import reverse
from playwright.sync_api import expect

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build
from buildout.people.web.models import User
from tests.browser.chromium import DESK, PHONE

RUN = 120_000
"""Milliseconds a run of the chain may take on a slow machine."""


def apply(page: Any, revision: int) -> None:
    page.get_by_role("button", name=f"Apply as revision {revision}").click(timeout=RUN)
    expect(page.get_by_text(f"Applied as revision {revision}")).to_be_visible()


def test_a_mat_a_strip_of_the_cover_and_a_panel_are_pinned_and_seen_in_the_drawings(
    plain: Build, visit: Callable[..., Any]
) -> None:
    owner = visit(DESK).sign_in("owner@example.org")
    page = owner.page
    pins = reverse("estimating:pins", args=[plain.pk, "room"])
    wanted = (
        ("Base layer", re.compile(r"^Pin sheet ")),
        ("Cover", re.compile(r"^Pin weld 1, counted from the datum")),
        ("Wall A-B", re.compile(r"^Pin panel A-B\.\d+ as it is")),
    )
    for revision, (group, button) in enumerate(wanted, 2):
        owner.go(pins)
        page.locator("summary", has_text=re.compile(f"^{group}$")).click()
        page.set_default_timeout(RUN)
        page.get_by_role("button", name=button).first.click()
        apply(page, revision)
    owner.go(pins)
    assert [text.strip() for text in page.locator("main .state.done").all_inner_texts()] == ["held"] * 3
    expect(page.locator("main .state.warning")).to_have_count(0)
    owner.go(reverse("estimating:layouts", args=[plain.pk, "room"]))
    for pin in ("pin-1", "pin-2", "pin-3"):
        marked = page.locator("figure svg", has=page.locator("title", has_text=f"Pinned {pin}:"))
        expect(marked).to_have_count(1)
        expect(marked.get_by_text(f"pinned {pin}", exact=True)).to_be_visible()
    owner.fits()
    phone = visit(PHONE).sign_in("owner@example.org")
    phone.go(pins)
    phone.fits()
    phone.page.get_by_role("button", name="Unpin pin-2").click()
    apply(phone.page, 5)
    phone.go(pins)
    expect(phone.page.locator("main .state.done")).to_have_count(2)


def test_pins_against_each_other_name_the_one_that_cannot_hold(plain: Build, visit: Callable[..., Any]) -> None:
    """A start line, a panel width, a weld and goods hold; a direction, a sheet, another width and a weld are typed.

    Each of those contradicts an earlier one and is said not to hold, with the pin it meets; what held goes on holding.
    """
    document = builds.editable(plain)
    document["fitouts"][0]["pins"] = [
        {"id": "start", "layer": "base", "kind": "line", "direction": "x", "y": "4'"},
        {"id": "width", "layer": "walls", "kind": "module", "wall": "A-B", "module": '40"'},
        {"id": "weld", "layer": "cover", "kind": "line", "direction": "x", "y": "5'"},
        {"id": "goods", "layer": "base", "kind": "product", "product": "plank"},
    ]
    owner = visit(DESK).sign_in("owner@example.org")
    page = owner.page
    page.set_default_timeout(RUN)
    user = User.objects.get(email="owner@example.org")
    owner.go(builds.propose(plain, user, document, "Pins").get_absolute_url())
    apply(page, 2)
    pins = reverse("estimating:pins", args=[plain.pk, "room"])
    typed: tuple[tuple[dict[str, str], dict[str, str], str], ...] = (
        ({"layer": "base", "kind": "direction", "direction": "y"}, {}, "pin start"),
        ({"layer": "base", "kind": "piece", "direction": "x"}, {"x": "2' 0\"", "y": "5' 0\""}, "pin start"),
        ({"layer": "walls", "kind": "module", "wall": "A-B"}, {"module": '36"'}, "pin width"),
        ({"layer": "cover", "kind": "line", "direction": "x"}, {"y": "7' 0\""}, "pin weld"),
    )
    for revision, (chosen, written, _) in enumerate(typed, 3):
        owner.go(pins)
        for name, value in chosen.items():
            page.locator(f"#id_{name}").select_option(value)
        for name, value in written.items():
            page.locator(f"#id_{name}").fill(value)
        page.get_by_role("button", name="See what this does").click()
        apply(page, revision)
    for visitor in (owner, visit(PHONE).sign_in("owner@example.org")):
        visitor.go(pins)
        rows = visitor.page.locator("main ul.rows").first.locator("> li")
        expect(rows.locator(".state")).to_have_text(["held"] * 4 + ["cannot hold"] * len(typed))
        for number, (_, _, against) in enumerate(typed, 4):
            expect(rows.nth(number)).to_contain_text(against)
        visitor.fits()
