"""A helper with an old phone: no script, a thumb, little data."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from buildout.builds.web.models import Build
from buildout.changes.web.demo import LEAD, OWNER
from scheduling.web import sign_ups
from scheduling.web.models import Notice, ShareLink, Signature, SignUp
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


def test_a_minor_signs_up_and_the_guardian_signs_without_javascript(
    demo: Build, visit: Callable[..., Any], phone: Any
) -> None:
    """The place is held, the link passed on, the day read and signed; owner and paper say so. Another day asks anew."""
    link = ShareLink.objects.get(build=demo)
    page = phone.page
    weigh(phone, reverse("scheduling:join-anywhere", args=[link.token, "paint"]))
    page.get_by_label("Your name").fill("Wren Applegarth")
    page.get_by_label("Phone or e-mail", exact=False).first.fill("07700 900456")
    page.locator("summary", has_text="I am under 18").click()
    page.get_by_label("16 or 17").check()
    page.get_by_role("button", name="Sign me up").click()
    expect(page.get_by_text("Under 18 a parent or guardian has to sign")).to_be_visible()
    expect(page.get_by_label("Your name")).to_have_value("Wren Applegarth")
    page.get_by_label("Under 18: your parent or guardian").fill("Ada Applegarth")
    page.get_by_label("Their phone or e-mail").fill("07700 900457")
    page.get_by_role("button", name="Sign me up").click()
    expect(page.get_by_text("Your guardian has to sign")).to_be_visible()
    expect(page.get_by_role("link", name="Open it as a message")).to_have_attribute(
        "href", re.compile("^sms:07700900457")
    )
    row = SignUp.objects.get(name="Wren Applegarth")
    weigh(phone, reverse("scheduling:my", args=[row.token]))
    owner = visit(PHONE).sign_in(OWNER[0])
    days = reverse("scheduling:days", args=[demo.pk])
    owner.go(days)
    to_ask = owner.page.locator("li.warning", has_text="for Wren Applegarth, Sat 20 Feb")
    expect(to_ask).to_contain_text("the place is held until")
    owner.fits()

    guardian = visit(PHONE, java_script_enabled=False, has_touch=True)
    weigh(phone, reverse("scheduling:guardian", args=[row.guardian_token]))
    guardian.go(reverse("scheduling:guardian", args=[row.guardian_token]))
    read = guardian.page
    expect(read.locator("main")).to_contain_text("Wren Applegarth, 16 or 17")
    expect(read.locator("main")).to_contain_text("Ines")
    expect(read.locator("main li", has_text="Floor setting-out")).to_be_visible()
    expect(read.locator("main")).not_to_contain_text("Make ramped edges")  # sawing
    read.get_by_role("button", name="I sign").click()
    expect(read.get_by_text("Not signed yet.")).to_be_visible()
    read.get_by_label("Your full name").fill("Ada Applegarth")
    read.get_by_label("I am Wren Applegarth's parent or guardian", exact=False).check()
    read.get_by_role("button", name="I sign").dblclick()
    expect(read.get_by_text("Signed by Ada Applegarth")).to_be_visible()
    assert Signature.objects.get(sign_up=row).name == "Ada Applegarth"

    phone.go(reverse("scheduling:my", args=[row.token]))
    expect(page.get_by_text("Ada Applegarth has signed")).to_be_visible()
    owner.go(days)
    expect(to_ask).to_have_count(0)
    owner.go(reverse("scheduling:day-sheet", args=[demo.pk, "paint"]))
    expect(owner.page.locator("tr", has_text="Wren Applegarth")).to_contain_text("Guardian has signed: Ada Applegarth")
    owner.fits()

    phone.go(reverse("scheduling:change-day", args=[row.token, "strip"]))
    page.get_by_role("button", name="Wherever I am needed").click()
    expect(page.get_by_text("Your guardian has to sign")).to_be_visible()
    read.reload()
    expect(read.get_by_text("You signed for another day")).to_be_visible()


def test_the_lead_takes_a_guardians_signature_on_the_day(demo: Build, visit: Callable[..., Any]) -> None:
    """At 390 px, the guardian standing there; what was taken says by whom."""
    link = ShareLink.objects.get(build=demo)
    row = sign_ups.sign_up(
        link, "paint", "", name="Wren Applegarth", contact="0770 0900 456", request_key="m" * 20, age="14-15",
        guardian="Ada Applegarth, 0770 0900 457",
    )  # fmt: skip
    lead = visit(PHONE, has_touch=True).sign_in(LEAD[0])
    lead.go(reverse("scheduling:board", args=[demo.pk, "paint"]))
    lead.page.get_by_role("link", name="Take the signature").click()
    expect(lead.page.locator("li", has_text="Wren").first).to_contain_text("Guardian has not signed")
    lead.fits()
    lead.page.get_by_role("link", name="Take the signature for Wren here").click()
    expect(lead.page.locator("main")).to_contain_text("At 14 and 15 you come along")
    lead.fits()
    lead.page.get_by_label("They are here and sign on this screen").check()
    lead.page.get_by_label("Your full name").fill("Ada Applegarth")
    lead.page.locator("input[name=agree]").check()
    lead.page.get_by_role("button", name="The guardian has signed").click()
    expect(lead.page.locator("li", has_text="Wren").first).to_contain_text(f"taken by {LEAD[1]}")
    assert Signature.objects.get(sign_up=row).how == "here"


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
