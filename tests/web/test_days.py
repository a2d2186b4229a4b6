"""The crew days sheet: calendar and table say the same, the link, whom to tell, and edits that are only proposed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from io import BytesIO
from typing import Any

import pytest
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, JournalEntry, Proposal
from buildout.people.web.models import User
from buildout.units.value import Reason, from_json, to_json
from scheduling.engine.types import BuildDay, PlanEdit, PlannedTask, Requirement, Schedule, WayOut
from scheduling.web import links, sign_ups, views
from scheduling.web.models import Notice, ShareLink, SignUp
from scheduling.web.offers import DayOffer, crew_at_once, known_by_name
from scheduling.web.pictures import draw_day, lanes, wrap

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


class Kept:
    """An office that keeps what it is asked to work out; the chain itself is tested elsewhere."""

    def __init__(self) -> None:
        self.started: list[Proposal] = []
        self.problems: list[builds.Problem] = []

    def check(self, document: Any) -> None:
        if self.problems:
            raise builds.DocumentProblems(self.problems)

    def start(self, proposal: Proposal) -> None:
        self.started.append(proposal)


@pytest.fixture
def office() -> Any:
    before, kept = builds.office(), Kept()
    builds.open_office(kept)
    yield kept
    builds.open_office(before)


def url(name: str, build: Build, *more: Any) -> str:
    return reverse(f"scheduling:{name}", args=[build.pk, *more])


def take(link: ShareLink, day: str, task: str = "", n: int = 0, **more: Any) -> SignUp:
    given = {"name": f"Helper {n}", "contact": "555 0142 817", "request_key": f"request-key-{n:08d}"} | more
    return sign_ups.sign_up(link, day, task, **given)


# ------------------------------------------------------------------ the sheet


def test_picture_and_table_say_the_same(client_of: ClientOf, owner: User, hand_build: Build) -> None:
    page = client_of(owner).get(url("days", hand_build)).content.decode()
    for code, hours, people in (
        ("C11", "08:30–12:00", "3"),
        ("C12/1", "09:00–12:00", "2"),
        ("H03", "10:00–13:00", "6"),
    ):
        assert re.search(rf"<title>{hours} {code} [^<]*: {people} people", page)
        assert re.search(
            rf"<td>{hours}</td><th scope=\"row\"><a [^>]*>{code}</a>[^<]*</th><td class=\"n\">{people}</td>", page
        )
    assert re.search(
        r"Pull the cover</th><td class=\"n\">6</td><td><span class=\"critical-mark\">critical</span>", page
    )
    assert "Short of carpentry" in page
    assert "Outlets moved" in page


def test_the_owner_and_the_lead_see_contacts(
    client_of: ClientOf, owner: User, lead: User, hand_build: Build, share_link: ShareLink
) -> None:
    take(share_link, "strip", "C11", 1, name="Sika Morrowlight", note="no nuts", skills=["paint"])
    for user in (owner, lead):
        page = client_of(user).get(url("days", hand_build)).content.decode()
        assert "Sika Morrowlight</strong>, 555 0142 817" in page
        assert "no nuts" in page
        assert "1 of 6</strong> places taken" in page
        assert share_link.token in page


def test_only_the_owner_gets_the_buttons_that_change(client_of: ClientOf, lead: User, hand_build: Build) -> None:
    page = client_of(lead).get(url("days", hand_build)).content.decode()
    assert "Edit build days" not in page
    assert "Make a sign-up link" not in page


def impossible(build: Build, **more: Any) -> None:
    """The build's schedule as one that cannot be."""
    revision = build.current
    assert revision is not None
    sheet = builds.Sheet(revision)
    schedule = sheet.part("schedule", Schedule)
    values = {name: getattr(schedule, name) for name in schedule.__struct_fields__}
    values |= {"status": "infeasible", "opening": None, "tasks": [], "days": []} | more
    rest = {"tasks": sheet.part("tasks", dict), "forecast": sheet.part("forecast", dict)}
    revision.result = to_json(rest | {"schedule": Schedule(**values)}).decode()
    revision.save()


def test_an_impossible_schedule_gives_its_reasons_first(client_of: ClientOf, owner: User, hand_build: Build) -> None:
    reason = Reason(code="crew", text="H03 needs 6 people at once", severity="stop", todo="Raise the places to 8.")
    impossible(hand_build, reasons=[reason])
    page = client_of(owner).get(url("days", hand_build)).content.decode()
    assert (
        page.index("Impossible as things stand")
        < page.index("H03 needs 6 people at once")
        < page.index("Build days</h2>")
    )
    assert "Raise the places to 8." in page
    assert "No task falls on this day." in page


def test_ways_out_are_shown_by_cost_and_proposed_with_one_click(
    client_of: ClientOf, owner: User, lead: User, hand_build: Build, office: Kept
) -> None:
    day = timezone.now().date() + timedelta(days=70)
    ways = [
        WayOut(kind="places", where="cover", text="4 more helpers on Cover: 6 places", cost=28, cost_text="28 hours",
               opening=day, edits=[PlanEdit(act="set", at=["crew", "days", 2, "places"], value=6)]),
        WayOut(kind="build day", where="", text="One more build day", cost=84, cost_text="84 hours", opening=day,
               edits=[PlanEdit(act="add", at=["crew", "days"],
                               value={"id": "one-more-day", "date": day.isoformat(), "name": "More", "places": 6})]),
        WayOut(kind="pin", where="H03", text="Let H03 be done on another day", cost=90, cost_text="a word", opening=day,
               edits=[PlanEdit(act="remove", at=["tasks", "pins", 0])]),
        WayOut(kind="order earlier", where="foam", text="Get foam 3 days earlier", cost=99, cost_text="calls",
               opening=day),
    ]  # fmt: skip
    told = Requirement(kind="pin", where="H03", text="H03 Pull the cover on Cover")
    impossible(hand_build, conflict=[told], ways_out=ways)
    assert hand_build.current is not None
    hand_build.current.document["tasks"]["pins"] = [{"task": "H03", "day": "cover"}]
    hand_build.current.save()
    browser = client_of(owner)
    page = browser.get(url("plan", hand_build)).content.decode()
    places = [page.index(way.text) for way in ways]
    assert places == sorted(places)
    assert "H03 Pull the cover on Cover" in page
    assert page.count("See what this changes") == 3  # goods earlier are a matter of the order, not of the plan
    assert "Orders and their dates" in page
    for number in range(3):
        assert browser.post(url("way-out", hand_build, number)).status_code == 302
    more, another, free = (proposal.document for proposal in office.started)
    assert [row["places"] for row in more["crew"]["days"]] == [6, 5, 6]
    assert another["crew"]["days"][3] == {"id": "one-more-day", "date": day.isoformat(), "name": "More", "places": 6}
    assert free["tasks"]["pins"] == []
    assert office.started[0].summary == ways[0].text
    # What is not on the list is said, wrong people and wrong methods are turned away.
    assert "not on the list any more" in browser.post(url("way-out", hand_build, 9), follow=True).content.decode()
    assert browser.get(url("way-out", hand_build, 0)).status_code == 405
    assert client_of(lead).post(url("way-out", hand_build, 0)).status_code in (403, 404)
    assert "See what this changes" not in client_of(lead).get(url("plan", hand_build)).content.decode()
    assert len(office.started) == 3


def test_cautions_stand_beside_the_tasks(client_of: ClientOf, owner: User, hand_build: Build) -> None:
    page = client_of(owner).get(url("days", hand_build)).content.decode()
    assert re.search(r"Ladder: sound, level[^<]*<small class=\"quiet\">C12</small>", page)
    task = client_of(owner).get(url("task", hand_build, "H03"))
    assert task.status_code == 200


def test_days_over_are_put_away(client_of: ClientOf, owner: User, hand_build: Build) -> None:
    revision = hand_build.current
    assert revision is not None
    revision.document["crew"]["days"][0]["date"] = (timezone.now().date() - timedelta(days=2)).isoformat()
    revision.save()
    page = client_of(owner).get(url("days", hand_build)).content.decode()
    assert "Build days that are over (1)" in page


def test_number_of_queries_does_not_grow_with_people(
    client_of: ClientOf, owner: User, hand_build: Build, share_link: ShareLink, django_assert_num_queries: Any
) -> None:
    browser = client_of(owner)
    for n in range(4):
        row = take(share_link, "strip", "", n)
        Notice.objects.create(sign_up=row, text="moved")
    # session, user, member with build and revision, sign-ups, share link, sign-ups left behind, notices
    with django_assert_num_queries(8):
        browser.get(url("days", hand_build))


def test_the_demo_is_drawn_whole(client_of: ClientOf, owner: User, demo_build: Build) -> None:
    """Every task the real schedule puts on a build day is in a picture and in a table."""
    schedule = builds.sheet_of(demo_build).part("schedule", Schedule)
    on_days = [task.code for task in schedule.tasks if task.build_day]
    page = client_of(owner).get(url("days", demo_build)).content.decode()
    drawn = re.findall(r"<title>\d\d:\d\d–\d\d:\d\d (\S+) ", page)
    listed = re.findall(r"<td>\d\d:\d\d–\d\d:\d\d</td><th scope=\"row\"><a [^>]*>([^<]+)</a>", page)
    assert sorted(drawn) == sorted(listed) == sorted(on_days)
    assert len(on_days) > 20


def test_the_demos_fullest_day_is_light_on_a_phone(client: Client, demo_build: Build) -> None:
    link = ShareLink.objects.create(build=demo_build)
    css = len(b"".join(client.get("/static/css/helper.css").streaming_content))
    days = [day["id"] for day in builds.sheet_of(demo_build).document["crew"]["days"]]
    for day in days:
        page = client.get(reverse("scheduling:join-day", args=[link.token, day]))
        assert page.status_code == 200
        assert len(page.content) + css < 60_000


# ------------------------------------------------------------------ pictures


def box(code: str, start: int, end: int, crew: int = 2) -> PlannedTask:
    return PlannedTask(
        code=code, name="Hang the wall panels", place="build day", start_day=date(2027, 2, 27),
        end_day=date(2027, 2, 27), start=start, end=end, build_day="d", crew=crew, skills=[],
        critical=False, slack_days=0,
    )  # fmt: skip


def test_tasks_are_drawn_to_scale_of_time() -> None:
    day = BuildDay(id="d", date=date(2027, 2, 27), name="Panels", places=8)
    picture = draw_day(day, [box("A", 510, 570), box("B", 540, 600), box("C", 600, 960)])
    # 26 units for half an hour, 2 of them left between boxes; 08:30 is where the day starts.
    a, b, c = sorted(picture.boxes, key=lambda made: made.title)
    assert (a.height, b.height, c.height) == (50, 50, 12 * 26 - 2)
    assert a.y == picture.ticks[0].y
    assert b.y - a.y == 26
    assert a.x != b.x
    assert c.x == a.x
    assert [tick.text for tick in picture.ticks[:4]] == ["", "09:00", "", "10:00"]
    assert len(picture.ticks) == 16


def test_a_task_outside_the_hours_is_still_in_the_picture() -> None:
    day = BuildDay(id="d", date=date(2027, 2, 27), name="Panels", places=8)
    picture = draw_day(day, [box("A", 450, 990)])
    assert picture.boxes[0].y >= 0
    assert picture.boxes[0].y + picture.boxes[0].height < picture.height


def test_side_by_side_and_one_after_the_other() -> None:
    found = lanes([box("A", 0, 60), box("B", 30, 90), box("C", 60, 120), box("D", 90, 100)])
    assert [(lane, task.code) for lane, task in found] == [(0, "A"), (1, "B"), (0, "C"), (1, "D")]
    # A and B overlap: 4 people; B and C overlap: 4; C and D overlap: 4.
    assert crew_at_once([task for _, task in found]) == 4
    assert crew_at_once([box("A", 0, 60, 3), box("B", 60, 90, 2)]) == 3


def test_names_too_long_are_cut_openly() -> None:
    assert wrap("Hang the wall panels", 20, 2) == ["Hang the wall panels"]
    assert wrap("Hang the wall panels", 9, 3) == ["Hang the", "wall", "panels"]
    assert wrap("Hang the wall panels", 9, 0) == []


# ------------------------------------------------------------------ the link


def test_a_new_link_closes_the_one_before(client_of: ClientOf, owner: User, hand_build: Build, client: Client) -> None:
    browser = client_of(owner)
    browser.post(url("new-link", hand_build))
    first = ShareLink.objects.get()
    assert f"http://testserver/join/{first.token}/" in browser.get(url("days", hand_build)).content.decode()
    browser.post(url("new-link", hand_build))
    second = ShareLink.objects.open().get()
    assert second.token != first.token
    assert client.get(reverse("scheduling:join", args=[first.token])).status_code == 410
    assert client.get(reverse("scheduling:join", args=[second.token])).status_code == 200
    browser.post(url("revoke-link", hand_build))
    assert not ShareLink.objects.open().exists()
    assert "No link is open" in browser.get(url("days", hand_build)).content.decode()
    assert JournalEntry.objects.filter(kind="people").count() == 3


def test_the_poster_carries_link_and_days(
    client_of: ClientOf, owner: User, hand_build: Build, share_link: ShareLink, settings: Any
) -> None:
    settings.PUBLIC_URL = "https://build.example.org"
    page = client_of(owner).get(url("poster", hand_build) + "?print").content.decode()
    assert f"https://build.example.org/join/{share_link.token}/" in page
    assert "<svg" in page
    assert "Strip and clean" in page
    ShareLink.objects.all().delete()
    assert client_of(owner).get(url("poster", hand_build)).status_code == 302


@pytest.mark.usefixtures("pango")
@pytest.mark.parametrize("day", ["", "strip", "cover"])
def test_a_poster_is_one_page_however_much_is_done(
    client_of: ClientOf, owner: User, demo_build: Build, monkeypatch: pytest.MonkeyPatch, day: str
) -> None:
    """The cover day of the demo with every task there three times over still fits, and says how many it leaves out."""
    from pypdf import PdfReader

    link = ShareLink.objects.create(build=demo_build)
    address = links.join_address(RequestFactory().get("/"), link, day)
    name, args = ("day-poster", [demo_build.pk, day]) if day else ("poster", [demo_build.pk])
    one = views.day_offers(demo_build, builds.sheet_of(demo_build))

    def more(*_: object) -> list[DayOffer]:
        return [replace(offer, tasks=offer.tasks * 3) for offer in one]

    if day == "cover":
        monkeypatch.setattr(views, "day_offers", more)
    answer = client_of(owner).get(reverse(f"scheduling:{name}", args=args))
    pages = PdfReader(BytesIO(answer.content)).pages
    assert len(pages) == 1
    text = pages[0].extract_text()
    assert address in "".join(text.split())
    many = 3 * len(next(offer for offer in one if offer.day.id == "cover").tasks)
    assert (f"And {many - views.POSTER_ROWS} more" in text) == (day == "cover")


# ------------------------------------------------------------------ telling people


def test_people_to_tell_are_marked_told(
    client_of: ClientOf, owner: User, lead: User, hand_build: Build, share_link: ShareLink
) -> None:
    row = take(share_link, "strip", "C11", 1, name="Sika Morrowlight")
    notice = Notice.objects.create(sign_up=row, text="Hello Sika. The build day moves.")
    page = client_of(owner).get(url("days", hand_build)).content.decode()
    assert "1 still to be told" in page
    assert f"Hello Sika. The build day moves. http://testserver/my/{row.token}/" in page
    client_of(lead).post(url("told", hand_build, notice.pk))
    notice.refresh_from_db()
    assert notice.told is not None
    assert "Everybody has been told" in client_of(owner).get(url("days", hand_build)).content.decode()


def test_a_notice_of_another_build_cannot_be_marked(
    client_of: ClientOf, stranger: User, hand_build: Build, share_link: ShareLink
) -> None:
    notice = Notice.objects.create(sign_up=take(share_link, "strip"), text="moved")
    theirs = Build.objects.get(name="Another hall")
    assert client_of(stranger).post(url("told", hand_build, notice.pk)).status_code == 404
    assert client_of(stranger).post(url("told", theirs, notice.pk)).status_code == 404
    assert client_of(stranger).post(url("take-out", theirs, notice.sign_up_id)).status_code == 404
    notice.refresh_from_db()
    assert notice.told is None


def test_the_owner_frees_a_place(client_of: ClientOf, owner: User, hand_build: Build, share_link: ShareLink) -> None:
    row = take(share_link, "strip", "C11", 1)
    client_of(owner).post(url("take-out", hand_build, row.pk))
    row.refresh_from_db()
    assert row.withdrawn is not None


def test_helpers_of_a_day_that_is_gone_are_listed(
    client_of: ClientOf, owner: User, hand_build: Build, share_link: ShareLink
) -> None:
    take(share_link, "strip", "", 1, name="Sika Morrowlight")
    revision = hand_build.current
    assert revision is not None
    del revision.document["crew"]["days"][0]
    revision.save()
    page = client_of(owner).get(url("days", hand_build)).content.decode()
    assert "have not chosen again: <strong>Sika Morrowlight</strong>" in page


# ------------------------------------------------------------------ edits are proposed


def day_form(build: Build, **changes: Any) -> dict[str, Any]:
    """The form as the browser would send it back, with some fields changed by ``0-places=7`` style names."""
    assert build.current is not None
    days = build.current.document["crew"]["days"]
    usual = {"start": "08:30", "end": "16:00", "meal_start": "12:00", "meal_minutes": 45, "place": "hall",
             "quiet_until": "", "food": ""}  # fmt: skip
    data: dict[str, Any] = {"form-TOTAL_FORMS": len(days), "form-INITIAL_FORMS": len(days)}
    for number, day in enumerate(days):
        data |= {f"form-{number}-{name}": value for name, value in (usual | day).items()}
    return data | {f"form-{name}": value for name, value in changes.items()}


def test_moving_a_day_is_proposed_and_nothing_else_changes(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept
) -> None:
    before = hand_build.current
    assert before is not None
    later = timezone.now().date() + timedelta(days=40)
    answer = client_of(owner).post(
        url("edit-days", hand_build), day_form(hand_build, **{"0-date": later.isoformat(), "1-places": 7})
    )
    proposal = office.started[0]
    assert answer["Location"] == proposal.get_absolute_url()
    days = {day["id"]: day for day in proposal.document["crew"]["days"]}
    assert days["strip"] == {**before.document["crew"]["days"][0], "date": later.isoformat()}
    assert days["foam"] == {**before.document["crew"]["days"][1], "places": 7}
    assert list(days) == ["foam", "cover", "strip"]
    hand_build.refresh_from_db()
    assert hand_build.current == before


def test_unchanged_days_are_written_as_they_were(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept
) -> None:
    assert hand_build.current is not None
    client_of(owner).post(url("edit-days", hand_build), day_form(hand_build))
    assert office.started[0].document == hand_build.current.document


def test_adding_and_taking_out_a_day(client_of: ClientOf, owner: User, hand_build: Build, office: Kept) -> None:
    page = client_of(owner).get(url("edit-days", hand_build) + "?new").content.decode()
    assert "A new day" in page
    data = day_form(hand_build, **{"2-take_out": "on"}) | {"form-TOTAL_FORMS": 4}
    new = {"id": "", "name": "Snags", "date": "2031-05-03", "start": "9:00", "end": "12.30", "meal_start": "12:00",
           "meal_minutes": "0", "places": "4", "place": "hall", "quiet_until": "", "food": ""}  # fmt: skip
    data |= {f"form-3-{name}": value for name, value in new.items()}
    client_of(owner).post(url("edit-days", hand_build), data)
    proposal = office.started[0]
    assert [day["id"] for day in proposal.document["crew"]["days"]] == ["strip", "foam", "snags"]
    assert proposal.document["crew"]["days"][2] == {
        "id": "snags", "date": "2031-05-03", "name": "Snags", "start": "09:00", "end": "12:30",
        "meal_minutes": 0, "places": 4,
    }  # fmt: skip
    assert "taken out: Cover" in proposal.summary


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("0-date", "soon", "like 2027-03-20"),
        ("0-start", "half past 8", "08:30"),
        ("0-end", "08:00", "before it starts"),
        ("0-meal_start", "07:00", "The meal is outside the day"),
        ("0-places", "0", "greater than or equal to 1"),
        ("0-places", "many", "whole number"),
        ("0-name", "", "required"),
        ("0-quiet_until", "25:00", "08:30"),
    ],
)
def test_bad_days_are_explained_and_kept(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept, field: str, value: str, said: str
) -> None:
    answer = client_of(owner).post(
        url("edit-days", hand_build), day_form(hand_build, **{field: value, "1-food": "Kept"})
    )
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert 'value="Kept"' in answer.content.decode()
    assert not Proposal.objects.exists()
    assert not office.started


def test_what_the_plan_check_finds_stands_at_the_day(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept
) -> None:
    office.problems = [builds.Problem("/crew/days/1/date", "Two build days on one date.", "2027-03-20")]
    answer = client_of(owner).post(url("edit-days", hand_build), day_form(hand_build))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Two build days on one date. For example 2027-03-20." in page
    assert page.index("Frame and foam") < page.index("Two build days on one date") < page.index(">Cover")


def test_crew_and_dates_are_proposed(client_of: ClientOf, owner: User, hand_build: Build, office: Kept) -> None:
    browser = client_of(owner)
    assert browser.get(url("edit-crew", hand_build)).status_code == 200
    crew = {"core_hours_per_weekday": "2.5", "no_show_low": "5", "no_show_likely": "20", "no_show_high": "30",
            "core-TOTAL_FORMS": "1", "core-INITIAL_FORMS": "1", "core-0-id": "mira", "core-0-name": "Mira Stonecrop",
            "core-0-skills": ["lead", "measure", "admin", "paint"]}  # fmt: skip
    browser.post(url("edit-crew", hand_build), crew)
    made = office.started[0].document["crew"]
    assert made["core"] == [{"id": "mira", "name": "Mira Stonecrop", "skills": ["lead", "admin", "measure", "paint"]}]
    assert (made["core_hours_per_weekday"], made["no_show_likely"]) == ("2.5", "0.2")
    assert "no_show_low" not in made
    assert browser.post(url("edit-crew", hand_build), crew | {"no_show_low": "25"}).status_code == 422

    dates = {"lease_start": "2030-01-01", "opening_wish": "2030-06-01", "holidays": "2030-02-15 Town holiday\n"}
    browser.post(url("edit-dates", hand_build), dates)
    assert office.started[1].document["dates"] == {
        "lease_start": "2030-01-01", "opening_wish": "2030-06-01",
        "holidays": [{"date": "2030-02-15", "name": "Town holiday"}],
    }  # fmt: skip
    answer = browser.post(url("edit-dates", hand_build), dates | {"holidays": "Easter"})
    assert answer.status_code == 422
    assert "2027-02-15 Town holiday" in answer.content.decode()
    assert browser.post(url("edit-dates", hand_build), dates | {"opening_wish": "2029-01-01"}).status_code == 422
    assert len(office.started) == 2


def test_tasks_are_listed_by_stage(client_of: ClientOf, lead: User, hand_build: Build) -> None:
    page = client_of(lead).get(url("tasks", hand_build)).content.decode()
    assert page.index("Lease and consent") < page.index("Strip and prepare") < page.index("Pull the cover")
    assert "Left out (1)" in page
    assert "state done" in page
    assert "Add a task of your own" not in page


def test_a_task_says_what_it_waits_for(client_of: ClientOf, lead: User, owner: User, hand_build: Build) -> None:
    page = client_of(lead).get(url("task", hand_build, "H01")).content.decode()
    assert "at least 2 days later" in page
    assert "Change it" not in page
    assert "Change it" in client_of(owner).get(url("task", hand_build, "H01")).content.decode()
    assert client_of(owner).get(url("task", hand_build, "Z99")).status_code == 404


def test_rates_pins_and_reports_are_proposed(client_of: ClientOf, owner: User, hand_build: Build, office: Kept) -> None:
    browser = client_of(owner)
    browser.post(url("set-rate", hand_build, "C11"), {"low": "60", "likely": "90.5", "high": "120", "why": "timed it"})
    browser.post(url("pin", hand_build, "C11"), {"day": "foam"})
    today = timezone.now().date().isoformat()
    browser.post(url("done", hand_build, "C11"), {"on": today})
    browser.post(url("not-done", hand_build, "A01"))
    browser.post(url("begun", hand_build, "C11"), {"percent": "35"})
    browser.post(url("leave-out", hand_build, "C11"))
    rate, pin, done, undone, begun, off = (proposal.document["tasks"] for proposal in office.started)
    assert rate["rates"] == [{"code": "C11", "low": "60", "likely": "90.5", "high": "120", "why": "timed it"}]
    assert pin["pins"] == [{"task": "C11", "day": "foam"}]
    assert done["done"]["C11"] == today
    assert undone["done"] == {}
    assert begun["begun"] == {"C11": "0.35"}
    assert off["off"] == ["C11"]


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("set-rate", {"low": "9", "likely": "5", "high": "12"}, "must rise, for example 300, 500, 800"),
        ("set-rate", {"low": "x", "likely": "5", "high": "12"}, "for example 12 or 7.5"),
        ("set-rate", {"low": "0", "likely": "5", "high": "12"}, "above zero"),
        ("pin", {"day": "nosuchday"}, "from the list"),
        ("done", {"on": "yesterday"}, "like 2027-03-20"),
        ("done", {"on": "2999-01-01"}, "still to come"),
        ("begun", {"percent": "much"}, "in per cent, for example 40"),
        ("begun", {"percent": "100"}, "reported as done"),
    ],
)
def test_bad_task_edits_are_explained(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept, name: str, data: dict[str, str], said: str
) -> None:
    answer = client_of(owner).post(url(name, hand_build, "C11"), data)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not office.started


def test_own_tasks(client_of: ClientOf, owner: User, hand_build: Build, office: Kept) -> None:
    browser = client_of(owner)
    assert browser.get(url("new-task", hand_build)).status_code == 200
    form = {
        "code": "X01",
        "name": "Paint the sign",
        "hours": "3",
        "crew": "2",
        "skills": ["paint"],
        "after": "C11, H01",
    }
    browser.post(url("new-task", hand_build), form)
    assert office.started[0].document["tasks"]["own"] == [
        {"code": "X01", "name": "Paint the sign", "hours": "3", "crew": 2, "skills": ["paint"], "after": ["C11", "H01"]}
    ]
    assert browser.post(url("new-task", hand_build), form | {"code": "1 2"}).status_code == 422
    answer = browser.post(url("new-task", hand_build), form | {"code": "C11"})
    assert answer.status_code == 422
    assert "There is a task C11 already" in answer.content.decode()
    office.problems = [builds.Problem("/tasks/own/0/after/1", "There is no task H99.", "C11")]
    answer = browser.post(url("new-task", hand_build), form)
    assert "There is no task H99. For example C11." in answer.content.decode()


def test_holds_appointments_and_people_on_tasks_are_proposed(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept, share_link: ShareLink
) -> None:
    browser = client_of(owner)
    signed = take(share_link, "strip", name="Neve Cobblestone")
    for name, code, data in (
        ("hold", "C11", {"date": "2030-03-01", "why": "the hall above is let"}),
        ("appoint", "E01", {"date": "2028-03-06", "firm": "wish"}),
        ("appoint", "E01", {"date": "2028-03-06", "firm": "firm"}),
        ("put-on", "C11", {"person": signed.ref, "lead": "on"}),
    ):
        assert browser.post(url(name, hand_build, code), data).status_code == 302
    hold, wish, firm, lead = (proposal.document["tasks"] for proposal in office.started)
    assert hold["not_before"] == [{"task": "C11", "date": "2030-03-01", "why": "the hall above is let"}]
    assert wish["appointments"] == [{"task": "E01", "date": "2028-03-06", "firm": False}]
    assert firm["appointments"] == [{"task": "E01", "date": "2028-03-06", "firm": True}]
    assert lead["people"] == [{"task": "C11", "person": signed.ref, "lead": True}]
    assert office.started[-1].summary == "Neve leads C11 Sweep and wash the slab"
    page = browser.get(url("task", hand_build, "C11")).content.decode()
    assert "Neve, signed up for" in page
    assert "555 0142 817" not in page


def test_what_is_set_for_a_task_is_shown_and_taken_back(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept
) -> None:
    assert hand_build.current is not None
    document = hand_build.current.document
    document["crew"]["helpers"] = [{"id": "ida", "name": "Ida", "skills": ["saw"], "days": ["foam"], "sure": "0.9"}]
    document["tasks"] |= {
        "not_before": [{"task": "G03", "date": "2030-03-01", "why": "timber dries"}],
        "people": [{"task": "G03", "person": "ida"}, {"task": "H01", "person": "ida"}],
        "appointments": [{"task": "E01", "date": "2030-03-04", "firm": False}],
        "pins": [{"task": "G03", "day": "foam"}],
    }
    hand_build.current.save()
    browser = client_of(owner)
    page = browser.get(url("task", hand_build, "G03")).content.decode()
    assert "Not before Fri 1 Mar 2030: timber dries" in page
    assert "On it: Ida, helper" in page
    assert "Wished for Mon 4 Mar 2030" in browser.get(url("task", hand_build, "E01")).content.decode()
    browser.post(url("unhold", hand_build, "G03"))
    browser.post(url("take-off", hand_build, "G03"), {"person": "ida"})
    browser.post(url("unappoint", hand_build, "E01"))
    browser.post(url("leave-out", hand_build, "G03"))
    unheld, off, unbooked, out = (proposal.document["tasks"] for proposal in office.started)
    assert unheld["not_before"] == []
    assert off["people"] == [{"task": "H01", "person": "ida"}]
    assert unbooked["appointments"] == []
    assert (out["not_before"], out["pins"], out["people"]) == ([], [], [{"task": "H01", "person": "ida"}])


@pytest.mark.parametrize(
    ("name", "code", "data", "said"),
    [
        ("hold", "C11", {"date": "soon", "why": "rain"}, "like 2027-03-20"),
        ("hold", "C11", {"why": "rain"}, "A date is needed"),
        ("appoint", "E01", {"date": "2030-03-04", "firm": "perhaps"}, "Choose fixed or wished"),
        ("put-on", "C11", {"person": "999"}, "Choose somebody from the list"),
    ],
)
def test_bad_holds_are_explained_and_kept(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept,
    name: str, code: str, data: dict[str, str], said: str,
) -> None:  # fmt: skip
    answer = client_of(owner).post(url(name, hand_build, code), data)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert said in page
    assert "rain" not in data.get("why", "") or 'value="rain"' in page
    assert not office.started


@pytest.mark.parametrize(
    "name",
    [
        "hold",
        "unhold",
        "appoint",
        "unappoint",
        "put-on",
        "take-off",
        "edit-own",
        "set-rate",
        "pin",
        "done",
        "begun",
        "set-change",
        "usual-way",
    ],
)
def test_only_the_owner_edits_tasks_and_only_by_sending_a_form(
    client_of: ClientOf, owner: User, lead: User, partner: User, stranger: User, hand_build: Build, name: str
) -> None:
    address = url(name, hand_build, "C11")
    assert client_of(owner).get(address).status_code == 405
    for user in (lead, partner, stranger):
        assert client_of(user).post(address, {"date": "2030-03-01"}).status_code in (403, 404)
    assert client_of(None).post(address).status_code == 302


@pytest.mark.parametrize("name", ["edit-helpers", "edit-hours", "edit-days", "edit-crew", "edit-dates"])
def test_only_the_owner_edits_the_calendar(
    client_of: ClientOf, lead: User, stranger: User, hand_build: Build, name: str
) -> None:
    for user in (lead, stranger):
        assert client_of(user).get(url(name, hand_build)).status_code in (403, 404)
    assert client_of(None).get(url(name, hand_build)).status_code == 302


def test_helpers_known_by_name(client_of: ClientOf, owner: User, hand_build: Build, office: Kept) -> None:
    browser = client_of(owner)
    assert "Somebody new" in browser.get(url("edit-helpers", hand_build)).content.decode()
    form = {
        "helper-TOTAL_FORMS": "1", "helper-INITIAL_FORMS": "0", "helper-0-id": "", "helper-0-name": "Ida",
        "helper-0-skills": ["saw"], "helper-0-lifting": "light", "helper-0-age": "16-17", "helper-0-sure": "75",
        "helper-0-days": ["foam"],
    }  # fmt: skip
    assert browser.post(url("edit-helpers", hand_build), form).status_code == 302
    assert office.started[0].document["crew"]["helpers"] == [
        {"id": "ida", "name": "Ida", "skills": ["saw"], "lifting": "light", "age": "16-17", "days": ["foam"],
         "sure": "0.75"}
    ]  # fmt: skip
    answer = browser.post(url("edit-helpers", hand_build), form | {"helper-0-sure": "120"})
    assert answer.status_code == 422
    assert 'value="Ida"' in answer.content.decode()


def test_those_still_to_find_are_said_and_never_named_as_people(
    client_of: ClientOf, owner: User, lead: User, hand_build: Build
) -> None:
    assert hand_build.current is not None
    assert "nobody has found yet" not in client_of(owner).get(url("days", hand_build)).content.decode()
    helpers = [
        {"id": "one-more-saw-1", "name": "Somebody still to find (sawing)", "skills": ["saw"], "days": [], "sure": "1"},
        {"id": "kes", "name": "Kes", "skills": ["saw"], "days": [], "sure": "1"},
    ]
    hand_build.current.document["crew"]["helpers"] = helpers
    hand_build.current.save()
    page = client_of(owner).get(url("days", hand_build)).content.decode()
    assert "nobody has found yet:</strong> Somebody still to find (sawing)." in page
    assert url("edit-helpers", hand_build) in page.partition("nobody has found yet")[2].partition("</p>")[0]
    told = client_of(lead).get(url("days", hand_build)).content.decode().partition("nobody has found yet")[2]
    assert "edit" not in told.partition("</p>")[0]
    names = known_by_name(builds.sheet_of(hand_build))
    assert names["kes"] == "Kes"
    assert "one-more-saw-1" not in names


def test_the_hours_of_the_room(client_of: ClientOf, owner: User, hand_build: Build, office: Kept) -> None:
    browser = client_of(owner)
    assert browser.get(url("edit-hours", hand_build)).status_code == 200
    form = {
        "form-TOTAL_FORMS": "2", "form-INITIAL_FORMS": "0",
        "form-0-weekdays": ["5", "6"], "form-0-start": "8:00", "form-0-end": "21:00", "form-0-quiet_from": "20.00",
        "form-1-take_out": "on",
    }  # fmt: skip
    assert browser.post(url("edit-hours", hand_build), form).status_code == 302
    assert office.started[0].document["dates"]["hall_hours"] == [
        {"weekdays": [5, 6], "start": "08:00", "end": "21:00", "quiet_from": "20:00"}
    ]
    answer = browser.post(url("edit-hours", hand_build), form | {"form-0-end": "07:00"})
    assert answer.status_code == 422
    assert "07:00 is not after 08:00. For example 08:00 to 21:00" in answer.content.decode()


def test_scarce_tools_and_firm_sign_ups(client_of: ClientOf, owner: User, hand_build: Build, office: Kept) -> None:
    browser = client_of(owner)
    crew = {"core_hours_per_weekday": "3", "no_show_low": "5", "no_show_likely": "12", "no_show_high": "30",
            "core-TOTAL_FORMS": "0", "core-INITIAL_FORMS": "0", "tools": "saw 1\nstep ladder 2\n",
            "firm_sign_ups": "on"}  # fmt: skip
    assert browser.post(url("edit-crew", hand_build), crew).status_code == 302
    made = office.started[0].document["crew"]
    assert (made["tools"], made["firm_sign_ups"]) == ({"saw": 1, "step ladder": 2}, True)
    browser.post(url("edit-crew", hand_build), crew | {"tools": "saw 1, by the roller door\nladder, in the store",
                                                       "tue": "1.5", "fri": "0"})  # fmt: skip
    made = office.started[-1].document["crew"]
    assert made["tools"] == {"saw": 1}
    assert made["tool_places"] == {"saw": "by the roller door", "ladder": "in the store"}
    assert made["core_hours_by_weekday"] == {"tue": "1.5", "fri": "0"}
    assert hand_build.current is not None
    hand_build.current.document["crew"] |= made
    hand_build.current.save()
    form = browser.get(url("edit-crew", hand_build)).context["form"]
    assert form.initial["tools"] == "saw 1, by the roller door\nladder, in the store"
    assert (form.initial["tue"], form.initial["fri"]) == ("1.5", "0")
    answer = browser.post(url("edit-crew", hand_build), crew | {"tools": "one saw"})
    assert answer.status_code == 422
    assert "Line 1: write the tool and how many there are, for example: saw 1" in answer.content.decode()
    assert "one saw</textarea>" in answer.content.decode()


def test_an_own_task_is_edited(client_of: ClientOf, owner: User, hand_build: Build, office: Kept) -> None:
    assert hand_build.current is not None
    own = {"code": "X01", "name": "Paint the sign", "hours": "3", "crew": 2}
    hand_build.current.document["tasks"]["own"] = [own]
    hand_build.current.save()
    browser = client_of(owner)
    assert "Your own task" in browser.get(url("task", hand_build, "X01")).content.decode()
    form = {"name": "Paint the sign", "hours": "4", "crew": "2", "after": "C11+4h", "zone": "entry", "noisy": "on",
            "cautions": ["LADD"]}  # fmt: skip
    assert browser.post(url("edit-own", hand_build, "X01"), form).status_code == 302
    assert office.started[0].document["tasks"]["own"] == [
        own | {"hours": "4", "skills": [], "after": ["C11+4h"], "cautions": ["LADD"], "zone": "entry", "noisy": True}
    ]
    answer = browser.post(url("edit-own", hand_build, "X01"), form | {"after": "after lunch!"})
    assert answer.status_code == 422
    assert "write A01, A01+4h" in answer.content.decode()
    assert browser.post(url("edit-own", hand_build, "C11"), form).status_code == 404


def test_the_result_is_read_as_it_was_written(hand_build: Build) -> None:
    assert hand_build.current is not None
    schedule = builds.Sheet(hand_build.current).part("schedule", Schedule)
    assert from_json(Schedule, to_json(schedule)) == schedule
