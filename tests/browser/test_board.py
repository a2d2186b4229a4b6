"""The board of a build day on a telephone: without JavaScript, and with no signal."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from buildout.builds.web.models import Build
from buildout.builds.web.services import Sheet
from buildout.changes.web.demo import LEAD, OWNER
from buildout.people.web.models import User
from scheduling.web import sign_ups
from scheduling.web.board import Desk
from scheduling.web.models import DayMark, ShareLink, SignUp
from scheduling.web.offers import build_days, day_offers
from tests.browser.chromium import PHONE


@pytest.fixture
def foam(demo: Build, monkeypatch: pytest.MonkeyPatch) -> Build:
    """The demo on the day its foam is laid."""
    assert demo.current is not None
    day = next(day for day in build_days(Sheet(demo.current)) if day.id == "foam")
    monkeypatch.setattr(Sheet, "today", lambda self: day.date)
    monkeypatch.setattr(Desk, "now", lambda self: self.at(9 * 60 + 15))
    return demo


@pytest.fixture
def helper(foam: Build) -> SignUp:
    row = SignUp.objects.standing().filter(build=foam, day="foam").first()
    if row is None:
        link = ShareLink.objects.get(build=foam)
        row = sign_ups.sign_up(link, "foam", "", name="Bram Tallowfen", contact="x", request_key="request-key-0001")
    return row


def test_the_board_works_without_javascript(foam: Build, helper: SignUp, visit: Callable[..., Any]) -> None:
    phone = visit(PHONE, java_script_enabled=False, has_touch=True)
    phone.go(reverse("scheduling:my-board", args=[helper.token]))
    page = phone.page
    page.get_by_role("button", name="I am here").click()
    page.get_by_role("button", name="I heard the briefing").click()
    page.locator("button[value^='start:']").first.click()
    expect(page.locator(".task.under").first).to_contain_text("Under way since")
    page.locator("button[value^='finish:']").first.click()
    expect(page.locator(".task.finished")).to_contain_text("Finished at")
    assert list(DayMark.objects.values_list("kind", flat=True)) == ["here", "heard", "start", "finish"]


def test_a_page_that_came_without_tls_sends_its_forms_as_they_are(
    foam: Build, helper: SignUp, visit: Callable[..., Any]
) -> None:
    """Browsers give such pages neither locks nor a worker; every button has to work all the same."""
    phone = visit(PHONE)
    phone.context.add_init_script(
        "Object.defineProperty(window, 'isSecureContext', {value: false});"
        "Object.defineProperty(Navigator.prototype, 'locks', {value: undefined});"
        "crypto.randomUUID = undefined;"
    )
    phone.go(reverse("scheduling:my-board", args=[helper.token]))
    phone.page.get_by_role("button", name="I am here").click()
    expect(phone.page.get_by_role("button", name="I heard the briefing")).to_be_visible()
    assert list(DayMark.objects.values_list("kind", flat=True)) == ["here"]


def test_a_lead_leads_the_day_with_a_thumb(foam: Build, helper: SignUp, visit: Callable[..., Any]) -> None:
    """Arrivals, briefing, a task and who is on it, stop, go on, a shortage, meals, the day's end, at 390 px."""
    lead = visit(PHONE, has_touch=True).sign_in(LEAD[0])
    page, first = lead.page, helper.first_name
    lead.go(reverse("scheduling:board-people", args=[foam.pk, "foam"]))
    page.get_by_role("button", name=f"{first} is here").first.tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("1 here of")
    page.get_by_role("button", name="heard the briefing").tap()
    expect(page.get_by_text("Everybody here has heard the briefing")).to_be_visible()
    lead.fits()
    page.get_by_role("link", name="← The day").tap()
    page.locator(".board .task a").first.tap()
    page.get_by_label(first, exact=True).check()
    page.get_by_role("button", name="Start").first.tap()
    expect(page.locator("main")).to_contain_text("Under way since")
    page.get_by_role("button", name="Stop for now").tap()
    expect(page.get_by_role("button", name="Go on")).to_be_visible()
    expect(page.get_by_label(first, exact=True)).to_be_checked()
    page.get_by_role("button", name="Go on").tap()
    expect(page.get_by_role("button", name="Finished", exact=True)).to_be_visible()
    page.locator("input[name=text]").fill("Two rolls of seam tape")
    page.get_by_role("button", name="Put it on the buying list").tap()
    expect(page.locator("input[name=text]")).to_have_value("")
    lead.fits()
    page.get_by_role("button", name="Finished", exact=True).tap()
    expect(page.get_by_role("button", name="Not finished after all")).to_be_visible()
    page.get_by_role("link", name="← The day").tap()
    expect(page.locator("main")).to_contain_text("Two rolls of seam tape")
    page.get_by_label("Meals given out").fill("15")
    page.locator("button[value=meals]").tap()
    expect(page.get_by_text("15 counted")).to_be_visible()
    lead.fits()
    page.get_by_role("link", name="End of the day").tap()
    expect(page.locator("dl.facts")).to_contain_text("1 of")
    expect(page.locator("main")).to_contain_text("Two rolls of seam tape")
    lead.fits()
    kinds = list(DayMark.objects.order_by("pk").values_list("kind", flat=True))
    assert kinds == ["here", "heard", "start", "stop", "start", "short", "finish", "meals"]


def test_a_board_looks_again_by_itself_and_never_over_what_is_ticked(
    foam: Build, helper: SignUp, visit: Callable[..., Any]
) -> None:
    lead = visit(PHONE).sign_in(LEAD[0])
    page = lead.page
    page.clock.install()
    code = next(task.code for task in day_offers(foam, Sheet(foam.current))[3].tasks)
    lead.go(reverse("scheduling:board-task", args=[foam.pk, "foam", code]))
    boxes = page.locator("input[name=people]")
    ticked = boxes.evaluate_all("all => all.map(one => one.checked)")
    with page.expect_navigation():
        page.clock.run_for(121_000)
    boxes.nth(ticked.index(False)).check()
    page.evaluate("() => { window.same = true; }")
    page.clock.run_for(300_000)
    assert page.evaluate("() => window.same") is True
    expect(boxes.nth(ticked.index(False))).to_be_checked()


def test_marks_made_without_signal_are_sent_later_once_and_in_order(
    foam: Build, helper: SignUp, visit: Callable[..., Any]
) -> None:
    phone = visit(PHONE, has_touch=True)
    page = phone.page
    phone.go(reverse("scheduling:my-board", args=[helper.token]))
    expect(page.locator("body[data-ready=yes]")).to_be_visible()
    phone.fits()

    phone.context.set_offline(True)
    phone.page.on("requestfailed", lambda request: None)
    page.reload()  # the sheet stays readable
    expect(page.get_by_role("button", name="I am here")).to_be_visible()
    page.get_by_role("button", name="I am here").click()
    expect(page.locator("#kept")).to_contain_text("Kept on this phone, sent later: 1")
    page.locator(".task a").first.click()  # the page of a task was kept as well
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.get_by_role("button", name="Start").click()
    expect(page.locator("#kept")).to_contain_text("sent later: 2")
    page.reload()
    page.get_by_label("What is it?").fill("The knife is blunt")
    page.get_by_role("button", name="Report a problem").click()
    expect(page.locator("#kept")).to_contain_text("sent later: 3")
    phone.fits()
    assert not DayMark.objects.exists()

    phone.context.set_offline(False)
    expect(page.locator("#kept")).to_be_hidden(timeout=40_000)
    marks = list(DayMark.objects.values_list("kind", "outcome", "text"))
    assert marks == [("here", "taken", ""), ("start", "taken", ""), ("problem", "taken", "The knife is blunt")]
    assert all(mark.at <= mark.received for mark in DayMark.objects.all())
    page.reload()
    assert DayMark.objects.count() == 3
    # What the browser says about the net being away is what this test is about.
    phone.wrong = [text for text in phone.wrong if "ERR_INTERNET_DISCONNECTED" not in text]


def test_an_answer_lost_on_the_way_does_not_make_two_marks(
    foam: Build, helper: SignUp, visit: Callable[..., Any]
) -> None:
    phone = visit(PHONE, service_workers="block")
    page = phone.page
    phone.go(reverse("scheduling:my-board", args=[helper.token]))
    lost: list[int] = []

    def lose(route: Any) -> None:
        if lost:
            route.continue_()
            return
        lost.append(1)
        route.fetch()  # the server takes the mark …
        route.abort()  # … and its answer never arrives

    page.route("**/board/mark/", lose)
    page.get_by_role("button", name="I am here").click()
    expect(page.locator("#kept")).to_contain_text("sent later: 1")
    assert DayMark.objects.count() == 1
    page.reload()
    expect(page.get_by_role("button", name="I heard the briefing")).to_be_visible()
    expect(page.locator("#kept")).to_be_hidden()
    assert DayMark.objects.count() == 1
    phone.wrong = [text for text in phone.wrong if "ERR_FAILED" not in text]


def test_a_contradiction_is_shown_on_the_phone_that_was_away(
    foam: Build, helper: SignUp, visit: Callable[..., Any]
) -> None:
    phone = visit(PHONE)
    page = phone.page
    phone.go(reverse("scheduling:my-board", args=[helper.token]))
    expect(page.locator("body[data-ready=yes]")).to_be_visible()
    code = str(page.locator("button[value^='start:']").first.get_attribute("value")).partition(":")[2]
    page.locator("button[value^='start:']").first.click()
    expect(page.locator(".task.under").first).to_be_visible()
    page.locator(".task.under a").first.click()
    phone.context.set_offline(True)
    page.get_by_role("button", name="Stop for now").click()
    expect(page.locator("#kept")).to_contain_text("sent later: 1")
    DayMark.objects.create(
        build=foam, day="foam", kind="finish", task=code, at=DayMark.objects.get().received, by_name="Ines"
    )
    phone.context.set_offline(False)
    expect(page.locator("#kept")).to_contain_text("Ines finished it", timeout=40_000)
    assert DayMark.objects.get(kind="stop").outcome == "conflict"
    phone.go(reverse("scheduling:my-board", args=[helper.token]))
    expect(page.locator("main")).to_contain_text("Said differently")
    phone.wrong = [text for text in phone.wrong if "ERR_INTERNET_DISCONNECTED" not in text]


def test_own_page_and_the_leads_sheets_are_readable_without_signal(
    foam: Build, helper: SignUp, visit: Callable[..., Any]
) -> None:
    phone, lead = visit(PHONE), visit(PHONE).sign_in(LEAD[0])
    mine = reverse("scheduling:my", args=[helper.token])
    phone.go(reverse("scheduling:my-board", args=[helper.token]))
    lead.go(reverse("scheduling:board", args=[foam.pk, "foam"]))
    for one in (phone, lead):
        expect(one.page.locator("body[data-ready=yes]")).to_be_visible()
        one.context.set_offline(True)
    phone.page.get_by_role("link", name="My place").click()
    assert phone.page.url.endswith(mine)
    expect(phone.page.get_by_role("heading", name=f"You are in, {helper.first_name}")).to_be_visible()
    for link, heading in (
        ("Who is here", "here of"),
        ("End of the day", "Frame and foam"),
        ("Paper sheet", "13 Mar 2027"),
    ):
        lead.page.get_by_role("link", name=link, exact=True).click()
        expect(lead.page.get_by_role("heading", level=1)).to_contain_text(heading)
        lead.page.goto(lead.address + reverse("scheduling:board", args=[foam.pk, "foam"]))
    for one in (phone, lead):
        one.wrong = [text for text in one.wrong if "ERR_INTERNET_DISCONNECTED" not in text]


def test_a_phone_keeps_nothing_of_a_link_that_was_closed_or_of_who_signed_out(
    foam: Build, helper: SignUp, visit: Callable[..., Any]
) -> None:
    """Marks not sent yet stay on the phone; pages with names and contacts do not."""
    phone, lead = visit(PHONE), visit(PHONE).sign_in(LEAD[0])
    closed, board = (
        reverse("scheduling:my-board", args=[helper.token]),
        reverse("scheduling:board", args=[foam.pk, "foam"]),
    )
    phone.go(closed)
    lead.go(board)
    for one in (phone, lead):
        expect(one.page.locator("body[data-ready=yes]")).to_be_visible()
    sign_ups.renew_link(helper, by=User.objects.get(email=OWNER[0]))
    assert phone.go(reverse("scheduling:my", args=[helper.token])).status == 404
    lead.context.clear_cookies()
    lead.go(board)
    expect(lead.page).to_have_url(re.compile(reverse("people:sign-in")))
    for one, address in ((phone, closed), (lead, board + "people/")):
        names = one.page.evaluate("caches.open('buildout-board-1').then(s => s.keys()).then(k => k.map(r => r.url))")
        assert not [url for url in names if "/static/" not in url]
        one.context.set_offline(True)
        one.page.goto(one.address + address, wait_until="commit")
        expect(one.page.locator("body")).to_contain_text("was not kept on this phone")
        one.wrong = []


def test_a_page_kept_for_thirty_days_is_shown_for_so_long_and_then_dropped(
    foam: Build, helper: SignUp, visit: Callable[..., Any]
) -> None:
    """The pages are given another age on the phone itself: a day short of thirty they are shown, a day over they go."""
    phone = visit(PHONE)
    board, mine = (reverse(f"scheduling:{name}", args=[helper.token]) for name in ("my-board", "my"))
    phone.go(board)
    expect(phone.page.locator("body[data-ready=yes]")).to_be_visible()
    aged = """async ([address, days]) => {
        const shelf = await caches.open("buildout-board-1"), page = await shelf.match(address, { ignoreVary: true });
        const headers = new Headers(page.headers);
        headers.set("Date", new Date(Date.now() - days * 86400000).toUTCString());
        await shelf.delete(address, { ignoreVary: true });
        await shelf.put(address, new Response(await page.blob(), { headers }));
    }"""
    phone.context.set_offline(True)
    phone.page.evaluate(aged, [mine, 29])
    phone.page.goto(phone.address + mine)
    expect(phone.page.get_by_role("heading", name=f"You are in, {helper.first_name}")).to_be_visible()
    phone.page.evaluate(aged, [mine, 31])
    phone.page.goto(phone.address + mine, wait_until="commit")
    expect(phone.page.locator("body")).to_contain_text("was not kept on this phone")
    phone.page.goto(phone.address + board)  # looked at today: it is kept
    expect(phone.page.locator(".task").first).to_be_visible()
    left = phone.page.evaluate("caches.open('buildout-board-1').then(s => s.keys()).then(k => k.map(r => r.url))")
    assert phone.address + mine not in left
    assert phone.address + board in left
    phone.wrong = []


def test_two_phones_without_signal_start_the_same_task(foam: Build, helper: SignUp, visit: Callable[..., Any]) -> None:
    """Both are kept, the first to arrive counts, the second says the same; the task has been started once."""
    others = SignUp.objects.standing().filter(build=foam, day="foam").exclude(pk=helper.pk)
    phones = [visit(PHONE), visit(PHONE)]
    for phone, row in zip(phones, [helper, others[0]], strict=True):
        phone.go(reverse("scheduling:my-board", args=[row.token]))
        expect(phone.page.locator("body[data-ready=yes]")).to_be_visible()
        phone.context.set_offline(True)
        phone.page.locator("button[value^='start:']").first.click()
        expect(phone.page.locator("#kept")).to_contain_text("sent later: 1")
    for phone in phones:
        phone.context.set_offline(False)
        expect(phone.page.locator("#kept")).to_be_hidden(timeout=40_000)
        expect(phone.page.locator(".task.under")).to_have_count(1)
        phone.wrong = [text for text in phone.wrong if "ERR_INTERNET_DISCONNECTED" not in text]
    assert list(DayMark.objects.values_list("kind", "outcome")) == [("start", "taken"), ("start", "already")]
