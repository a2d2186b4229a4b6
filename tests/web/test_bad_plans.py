"""What cannot be planned is said on the sheets; days with a change of the clock and leap days on every page of them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar
from msgspec.structs import replace

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Proposal
from buildout.people.web.models import User
from buildout.units.value import to_json
from scheduling.engine.schedule import solve
from scheduling.engine.types import Aim, OwnTask, Schedule, TaskEdits
from scheduling.web import sign_ups
from scheduling.web.models import ShareLink, SignUp
from tests.scheduling.test_schedule import MONDAY, NOTHING_ORDERED, crew_of, net_of, opening, task
from tests.scheduling.test_ways_out import DATES

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


def url(name: str, build: Build, *more: Any) -> str:
    return reverse(f"scheduling:{name}", args=[build.pk, *more])


def plan_as(build: Build, schedule: Schedule) -> None:
    revision = build.current
    assert revision is not None
    sheet = builds.Sheet(revision)
    rest = {"tasks": sheet.part("tasks", dict), "forecast": sheet.part("forecast", dict)}
    revision.result = to_json(rest | {"schedule": schedule}).decode()
    revision.save()


# ------------------------------------------------------------------ a ring of predecessors


def test_a_ring_of_predecessors_is_refused_beside_the_field_with_what_was_typed(
    client_of: ClientOf, owner: User, demo_build: Build
) -> None:
    browser = client_of(owner)
    form = {"crew_min": "2", "crew_max": "5", "skills": ["uphol"], "tools": "staplers", "after": "W05 L03+2h"}
    answer = browser.post(url("set-change", demo_build, "W11"), form | {"why": "the boards come late"})
    assert answer.status_code == 422
    errors = answer.context["change_form"].errors
    assert list(errors) == ["after"]
    # As the list has it: airing comes after hanging panels, that after their check, that after upholstering.
    names = ["W11 Upholster", "L03 Off-gas", "W13 Hang", "W12 Check", "W11 Upholster"]
    at = [errors["after"][0].index(names[0])]
    for name in names[1:]:
        at.append(errors["after"][0].index(name, at[-1] + 1))
    assert at == sorted(at)
    assert "each waits for the next" in errors["after"][0]
    page = answer.content.decode()
    assert 'value="W05 L03+2h"' in page
    assert 'value="the boards come late"' in page
    assert not Proposal.objects.exists()


def test_an_own_task_that_waits_for_itself_is_refused(client_of: ClientOf, owner: User, demo_build: Build) -> None:
    form = {"code": "X01", "name": "Paint the sign", "hours": "3", "crew": "2", "after": "C11 X01"}
    answer = client_of(owner).post(url("new-task", demo_build), form)
    assert answer.status_code == 422
    assert "X01 Paint the sign → X01 Paint the sign: it waits for itself" in answer.content.decode()
    assert 'value="C11 X01"' in answer.content.decode()
    assert not Proposal.objects.exists()


# ------------------------------------------------------------------ no plan, and a plan cut at its limit


def test_a_day_too_short_and_a_skill_nobody_has_are_said_with_ways_out(
    client_of: ClientOf, owner: User, hand_build: Build
) -> None:
    own = OwnTask(code="X01", name="Level the slab", hours=Decimal(14), crew=2, one_day=True)
    long = replace(task("X01", 14, (2, 2), kind="fixed", one_day=True), name="Level the slab")
    nobody = replace(task("W11", 4, skills=["uphol"]), name="Upholster panels")
    given = (DATES, NOTHING_ORDERED, [])
    short = solve(
        net_of(long, opening("X01")), crew_of([4, 4]), *given, TaskEdits(own=[own]), MONDAY, None
    )  # fmt: skip
    without = crew_of([9], skill_shares={"uphol": Decimal(0)})
    unskilled = solve(net_of(nobody, opening("W11")), without, *given, TaskEdits(), MONDAY, None)
    browser = client_of(owner)
    for found, said, way in (
        (short, "the longest build day leaves 7 hours for work", "Let X01 Level the slab be split over days"),
        (unskilled, "needs 1 who can do upholstery", "One more helper who can do upholstery on Day 1"),
    ):
        assert found.status == "infeasible"
        plan_as(hand_build, found)
        for sheet in ("days", "plan"):
            page = browser.get(url(sheet, hand_build)).content.decode()
            assert "Impossible as things stand" in page
            assert said in page
            assert way in page


def test_a_search_cut_at_its_limit_says_which_and_how_far_it_may_be_off(
    client_of: ClientOf, owner: User, hand_build: Build
) -> None:
    revision = hand_build.current
    assert revision is not None
    schedule = builds.Sheet(revision).part("schedule", Schedule)
    aims = [
        Aim(name=name, unit=unit, value=value, bound=bound, status="feasible", work=work, limit=limit)
        for name, unit, value, bound, work, limit in (
            ("Earliest opening", "days from today", 66, 60, 0.48, 1.6), ("Even days", "%", 82, 71, 0.06, 0.2),
        )
    ]  # fmt: skip
    plan_as(hand_build, replace(schedule, aims=aims, gap=0.0909))
    page = client_of(owner).get(url("plan", hand_build)).content.decode()
    assert "no plan can open earlier than 60 days after" in page
    assert "at most 9 % from the best" in page
    assert "stopped after 0.48 of the 1.6 work units it has" in page.replace("1.60", "1.6")
    assert "stopped after 0.06 of 0.2 work units" in page.replace("0.20", "0.2")


# ------------------------------------------------------------------ the clock and the calendar


def sundays(zone: str) -> tuple[date, date]:
    """The next two days on which the clocks change, by the tz database."""
    found, day, place = [], timezone.now().date() + timedelta(days=2), ZoneInfo(zone)
    while len(found) < 2:
        offsets = [
            timezone.datetime(d.year, d.month, d.day, tzinfo=place).utcoffset() for d in (day, day + timedelta(1))
        ]
        if offsets[0] != offsets[1]:
            found.append(day)
        day += timedelta(days=1)
    return found[0], found[1]


def on_day(build: Build, when: date, zone: str, start: str = "08:30", end: str = "16:30") -> None:
    """The build's first day moved to a date."""
    revision = build.current
    assert revision is not None
    revision.document["time_zone"] = zone
    revision.document["crew"]["days"][0] |= {"date": when.isoformat(), "start": start, "end": end}
    revision.save()


def pages_of_the_day(client: Client, browser: Client, link: ShareLink, row: SignUp) -> dict[str, str]:
    build, day, token = link.build, "strip", row.token
    addresses = {
        "list": reverse("scheduling:join", args=[link.token]),
        "day": reverse("scheduling:join-day", args=[link.token, day]),
        "my": reverse("scheduling:my", args=[token]),
        "my board": reverse("scheduling:my-board", args=[token]),
    }
    found = {name: client.get(address).content.decode() for name, address in addresses.items()}
    return found | {
        "board": browser.get(url("board", build, day)).content.decode(),
        "days": browser.get(url("days", build)).content.decode(),
    }


@pytest.mark.parametrize("which", [0, 1])
def test_a_change_of_the_clock_is_said_on_every_page_of_the_day(
    client: Client, client_of: ClientOf, owner: User, share_link: ShareLink, which: int
) -> None:
    zone = "America/New_York"
    when = sundays(zone)[which]
    way, before, after = ("forward", "02:00", "03:00") if when.month == 3 else ("back", "02:00", "01:00")
    row = sign_ups.sign_up(
        share_link, "strip", "", name="Nele Oddmarsh", contact="555 0142 811", request_key="request-key-00000001"
    )
    on_day(share_link.build, when, zone, "00:30", "08:00")
    said = f"Clocks go {way} from {before} to {after}"
    for name, page in pages_of_the_day(client, client_of(owner), share_link, row).items():
        assert said in page, name
    event: Any = Calendar.from_ical(client.get(reverse("scheduling:feed", args=[row.token])).content).walk("VEVENT")[0]
    start, end = event.decoded("dtstart"), event.decoded("dtend")
    assert (start.date(), f"{start:%H:%M}", f"{end:%H:%M}") == (when, "00:30", "08:00")
    # Seven and a half hours by the clock are six and a half of real time in spring, eight and a half in autumn.
    assert end.astimezone(UTC) - start.astimezone(UTC) == timedelta(hours=6.5 if when.month == 3 else 8.5)


def test_a_leap_day_is_a_build_day_like_any_other(
    client: Client, client_of: ClientOf, owner: User, share_link: ShareLink
) -> None:
    year = next(y for y in range(timezone.now().year + 1, timezone.now().year + 9) if y % 4 == 0)
    when = date(year, 2, 29)
    row = sign_ups.sign_up(
        share_link, "strip", "", name="Nele Oddmarsh", contact="555 0142 811", request_key="request-key-00000001"
    )
    on_day(share_link.build, when, "America/New_York")
    pages = pages_of_the_day(client, client_of(owner), share_link, row)
    for name, page in pages.items():
        assert "29 Feb" in page, name
        assert "Clocks go" not in page, name
    if (when - timezone.now().date()).days > 300:
        assert f"29 Feb {year}" in pages["list"]
    event: Any = Calendar.from_ical(client.get(reverse("scheduling:feed", args=[row.token])).content).walk("VEVENT")[0]
    assert event.decoded("dtstart").date() == event.decoded("dtend").date() == when
