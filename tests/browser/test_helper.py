"""A helper with an old phone: no script, a thumb, little data."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from buildout.builds.web.models import Build
from buildout.changes.web.demo import OWNER
from scheduling.web import sign_ups
from scheduling.web.models import Notice, ShareLink, SignUp
from tests.browser.chromium import DESK, PHONE
from tests.browser.test_change import move_wall

LIGHT = 60_000


@pytest.fixture
def phone(visit: Callable[..., Any]) -> Any:
    """A phone without JavaScript whose every byte over the line is counted."""
    visitor = visit(PHONE, java_script_enabled=False, has_touch=True)
    session = visitor.context.new_cdp_session(visitor.page)
    session.send("Network.enable")
    session.send("Network.setCacheDisabled", {"cacheDisabled": True})

    def count(event: dict[str, Any]) -> None:
        visitor.bytes += event["encodedDataLength"]

    session.on("Network.loadingFinished", count)
    return visitor


def weigh(phone: Any, path: str) -> None:
    phone.bytes = 0
    phone.go(path)
    phone.page.wait_for_load_state("networkidle")
    assert 0 < phone.bytes < LIGHT, f"{path} weighs {phone.bytes} bytes"


def test_signing_up_at_390_px_without_javascript(demo: Build, phone: Any) -> None:
    link = ShareLink.objects.get(build=demo)
    page = phone.page
    weigh(phone, reverse("scheduling:join", args=[link.token]))
    free = SignUp.objects.standing().filter(build=demo, day="paint").count()
    page.locator(f'a[href*="/join/{link.token}/paint/"]').first.click()
    weigh(phone, page.url.removeprefix(phone.address))
    page.locator(f'a[href*="/join/{link.token}/paint/anywhere/"]').first.click()
    weigh(phone, page.url.removeprefix(phone.address))
    page.locator("input[name=name]").fill("Wren Applegarth")
    page.locator("input[name=contact]").fill("07700 900456")
    page.locator("main button, main input[type=submit]").last.click()

    made = SignUp.objects.get(name="Wren Applegarth")
    assert (made.build_id, made.day, made.withdrawn) == (demo.pk, "paint", None)
    assert SignUp.objects.standing().filter(build=demo, day="paint").count() == free + 1
    mine = reverse("scheduling:my", args=[made.token])
    expect(page.locator("body")).to_contain_text("Wren")
    weigh(phone, mine)
    page.get_by_role("link", name="I cannot come").click()
    page.locator("main form button, main input[type=submit]").last.click()
    made.refresh_from_db()
    assert made.withdrawn is not None
    assert SignUp.objects.standing().filter(build=demo, day="paint").count() == free


def test_a_name_left_out_is_said_and_what_was_typed_stays(demo: Build, phone: Any) -> None:
    link = ShareLink.objects.get(build=demo)
    phone.go(reverse("scheduling:join-anywhere", args=[link.token, "paint"]))
    page = phone.page
    page.locator("input[name=contact]").fill("07700 900456")
    before = SignUp.objects.count()
    page.locator("main button, main input[type=submit]").last.click()
    assert SignUp.objects.count() == before
    expect(page.locator("input[name=contact]")).to_have_value("07700 900456")
    expect(page.locator(".wrong, [role=alert]").first).to_be_visible()


def test_a_double_tap_makes_one_sign_up(demo: Build, phone: Any) -> None:
    link = ShareLink.objects.get(build=demo)
    phone.go(reverse("scheduling:join-anywhere", args=[link.token, "paint"]))
    page = phone.page
    page.locator("input[name=name]").fill("Ottilie Brambleby")
    page.locator("input[name=contact]").fill("07700 900457")
    page.locator("main button, main input[type=submit]").last.dblclick()
    expect(page.locator("body")).to_contain_text("Ottilie")
    page.reload()
    assert SignUp.objects.filter(name="Ottilie Brambleby").count() == 1


def test_two_helpers_swap_without_javascript(demo: Build, phone: Any) -> None:
    """One asks on her page, the other says yes on his; each then has the other's place."""
    link = ShareLink.objects.get(build=demo)
    wren = sign_ups.sign_up(link, "paint", "", name="Wren Applegarth", contact="0770 0900 456", request_key="k" * 20)
    orso = sign_ups.sign_up(link, "strip", "", name="Orso Kettlewell", contact="0770 0900 457", request_key="l" * 20)
    page = phone.page
    weigh(phone, reverse("scheduling:my", args=[wren.token]))
    page.get_by_role("link", name="Swap with somebody").click()
    weigh(phone, page.url.removeprefix(phone.address))
    page.get_by_role("button", name="Orso", exact=False).click()
    expect(page.locator("body")).to_contain_text("You asked Orso to swap. No answer yet.")
    phone.go(reverse("scheduling:my", args=[orso.token]))
    expect(page.locator("body")).to_contain_text("Wren asks to swap")
    page.get_by_role("button", name="Yes, swap").click()
    wren.refresh_from_db()
    orso.refresh_from_db()
    assert (wren.day, orso.day) == ("strip", "paint")
    phone.go(reverse("scheduling:my", args=[wren.token]))
    expect(page.locator("body")).to_contain_text("Orso said yes")


def test_a_room_that_grows_moves_a_shift_and_the_helper_sees_it(
    demo: Build, visit: Callable[..., Any], phone: Any
) -> None:
    """Owner moves a wall by three feet and applies; whoever's shift moves reads it on the own page, and says so."""
    owner = visit(DESK).sign_in(OWNER[0])
    owner.go(demo.get_absolute_url())
    move_wall(owner.page, demo, "hall", "B-C", "3'")
    section = owner.page.locator("section", has=owner.page.get_by_role("heading", name="People who signed up"))
    listed = section.locator("ul.reasons").first.locator("li strong").all_inner_texts()
    assert listed, "moving a wall by three feet moves nobody any more: choose a larger change"
    owner.page.get_by_role("button", name="Apply as revision").click()
    expect(owner.page.get_by_text("Applied as revision")).to_be_visible()

    notice = Notice.objects.select_related("sign_up").order_by("pk").first()
    assert notice is not None
    assert notice.sign_up.name == listed[0]
    assert notice.seen is None
    days = reverse("scheduling:days", args=[demo.pk])
    owner.go(days)
    expect(owner.page.get_by_role("heading", name="People to tell")).to_be_visible()

    page = phone.page
    weigh(phone, reverse("scheduling:my", args=[notice.sign_up.token]))
    expect(page.locator("[role=status]").first).to_contain_text(notice.text)
    page.get_by_role("button", name="I have read this").first.click()
    notice.refresh_from_db()
    assert notice.seen is not None
    owner.go(days)
    expect(owner.page.locator("li.done", has_text=notice.text).first).to_contain_text("Seen on")
