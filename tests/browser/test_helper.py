"""A helper with an old phone: no script, a thumb, little data."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from buildout.builds.web.models import Build
from scheduling.web.models import ShareLink, SignUp
from tests.browser.chromium import PHONE

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
