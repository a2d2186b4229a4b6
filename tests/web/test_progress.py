"""The progress sheet, and that a partner or a crew lead can change nothing on any of the owner's addresses."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, JournalEntry, Member, Proposal, Role
from buildout.people.web.models import User
from estimating.web.models import ChangeOrder, Order
from scheduling.engine.types import Dates, Forecast
from scheduling.web import sign_ups
from scheduling.web.models import DayMark, DayPhoto, Notice, ShareLink
from scheduling.web.pictures import draw_forecast

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


def url(build: Build) -> str:
    return reverse("scheduling:progress", args=[build.pk])


def test_partner_sees_how_far_and_when(client_of: ClientOf, partner: User, hand_build: Build) -> None:
    page = client_of(partner).get(url(hand_build)).content.decode()
    assert "1 of 7" in page  # A01 of the seven tasks of the net is done
    assert "86 %" in page
    assert "Strip and clean" in page
    assert "0 of 6" in page
    assert "Nothing ordered yet." in page
    assert "<svg" in page


def test_orders_are_counted_by_state_and_hidden_from_the_lead(
    client_of: ClientOf, partner: User, lead: User, hand_build: Build
) -> None:
    for number, state in enumerate(("placed", "placed", "received"), 1):
        Order.objects.create(
            build=hand_build, number=number, supplier="s", supplier_name="S", quote="q", state=state,
            placed=timezone.now().date(), lines=[],
        )  # fmt: skip
    page = client_of(partner).get(url(hand_build)).content.decode()
    assert "Placed: 2" in page
    assert "Received: 1" in page
    assert "Placed: 2" not in client_of(lead).get(url(hand_build)).content.decode()


def test_what_is_new_since_the_last_visit(client_of: ClientOf, partner: User, hand_build: Build) -> None:
    """The first visit shows everything; the next, after a pause, only what came since; a reload shows the same."""
    browser = client_of(partner)
    builds.note(hand_build, "revision", "The wall was moved")
    page = browser.get(url(hand_build)).content.decode()
    assert "What happened so far" in page
    assert "The wall was moved" in page
    an_hour_ago = timezone.now() - timedelta(hours=1)
    JournalEntry.objects.update(at=an_hour_ago - timedelta(hours=1))
    Member.objects.filter(user=partner).update(last_visit=an_hour_ago)
    builds.note(hand_build, "revision", "A quote came in")
    for _ in range(2):
        page = browser.get(url(hand_build)).content.decode()
        assert "your last visit" in page
        assert "A quote came in" in page
        assert "The wall was moved" not in page
    part = Member.objects.get(user=partner)
    assert part.last_visit is not None
    assert part.last_visit > an_hour_ago + timedelta(minutes=50)


def test_the_lead_is_not_told_of_orders(client_of: ClientOf, lead: User, hand_build: Build) -> None:
    builds.note(hand_build, "order", "PO-3 placed for 900 USD")
    builds.note(hand_build, "sign-up", "Bram signed up")
    page = client_of(lead).get(url(hand_build)).content.decode()
    assert "PO-3" not in page
    assert "Bram signed up" in page


def test_no_forecast_says_why(client_of: ClientOf, partner: User, hand_build: Build) -> None:
    from buildout.units.value import Reason, to_json

    revision = hand_build.current
    assert revision is not None
    sheet = builds.Sheet(revision)
    forecast = Forecast(
        status="infeasible", runs=0, seed=1, p10=None, p50=None, p80=None, chance_by_wish=0, chance_by_announced=None,
        unplaced=0, histogram=[], drivers=[], reasons=[Reason(code="x", text="There is no schedule to play through.")],
    )  # fmt: skip
    parts = {name: sheet.part(name, dict) for name in ("schedule", "tasks")}
    revision.result = to_json(parts | {"forecast": forecast}).decode()
    revision.save()
    page = client_of(partner).get(url(hand_build)).content.decode()
    assert "There is no schedule to play through." in page
    assert "<svg" not in page


def test_the_histogram_counts_every_run(hand_build: Build) -> None:
    assert hand_build.current is not None
    sheet = builds.Sheet(hand_build.current)
    forecast, dates = sheet.part("forecast", Forecast), sheet.section("dates", Dates)
    picture = draw_forecast(forecast, dates.opening_wish, dates.announced)
    assert picture is not None
    counts = [int(bar.title.split(": ")[1].split()[0]) for bar in picture.bars]
    assert sum(counts) == forecast.runs
    tallest = max(picture.bars, key=lambda bar: bar.height)
    assert tallest.height == picture.base - picture.top
    for bar, count in zip(picture.bars, counts, strict=True):
        assert bar.height == pytest.approx(count / max(counts) * tallest.height, abs=0.1)
    assert [mark.text.split()[0] for mark in picture.marks] == ["P10", "P50", "P80", "wished", "announced"]
    assert len({mark.text_y for mark in picture.marks}) == 5


def test_strangers_and_passers_by(client_of: ClientOf, stranger: User, hand_build: Build) -> None:
    assert client_of(stranger).get(url(hand_build)).status_code == 404
    answer = client_of(None).get(url(hand_build))
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("people:sign-in"))
    assert client_of(None).post(url(hand_build)).status_code in (302, 405)


def test_number_of_queries(
    client_of: ClientOf, partner: User, hand_build: Build, django_assert_num_queries: Any
) -> None:
    browser = client_of(partner)
    browser.get(url(hand_build))
    for n in range(3):
        builds.note(hand_build, "revision", f"Change {n}", revision=hand_build.current)
    # session, user, member with build and revision, last visit, sign-ups, journal, orders, what revisions said
    with django_assert_num_queries(8):
        browser.get(url(hand_build))


# ------------------------------------------------------------------ every address of a build


def build_patterns(
    patterns: list[URLPattern | URLResolver] | None = None, before: str = "", space: str = ""
) -> Iterator[tuple[str, str]]:
    """(name, route) of every address below /builds/<build_id>/."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from build_patterns(
                pattern.url_patterns, route, f"{pattern.namespace}:" if pattern.namespace else space
            )
        elif "<int:build_id>" in route:
            yield f"{space}{pattern.name}", route


def things(build: Build) -> dict[str, Any]:
    """One of everything an address may name, so that a refusal is about the person, not about a missing row."""
    row = sign_ups.sign_up(
        ShareLink.objects.get(build=build), "strip", "", name="Bram", contact="555 0142 817", request_key="k" * 20,
        age="16-17", guardian="Ada, 555 0142 818",
    )  # fmt: skip
    proposal = Proposal.objects.create(build=build, base=build.current, document={}, summary="x")
    order = Order.objects.create(
        build=build, number=1, supplier="s", supplier_name="S", quote="q", placed=timezone.now().date(), lines=[]
    )
    change = ChangeOrder.objects.create(order=order, number=1, reason="x", lines=[])
    mark = DayMark.objects.create(
        build=build, day="strip", kind=DayMark.Kind.PROBLEM, task="C11", at=timezone.now(), by_name="Bram"
    )
    DayPhoto.objects.create(mark=mark, jpeg=b"\xff\xd8")
    short = DayMark.objects.create(
        build=build, day="strip", kind=DayMark.Kind.SHORT, task="C11", text="tape", at=timezone.now(), by_name="Bram"
    )
    document = build.current.document if build.current else {}
    return {
        "build_id": build.pk, "proposal_id": proposal.pk, "sign_up_id": row.pk, "order_id": order.pk,
        "change_id": change.pk, "notice_id": Notice.objects.create(sign_up=row, text="moved").pk,
        "member_id": Member.objects.get(build=build, role=Role.LEAD).pk, "number": 1, "code": "C11", "room_id": "room",
        "day": "strip", "mark_id": mark.pk, "buying/mark_id": short.pk,
        **{f"{name}_id": document[f"{name}s"][0]["id"] for name in ("product", "quote", "supplier")},
    }  # fmt: skip


def address(route: str, given: dict[str, Any]) -> str:
    """A route filled with these; whatever it names beside them gets a value that fits its converter."""

    def fill(found: re.Match[str]) -> str:
        kind, _, name = found[1].rpartition(":")
        if "/buying/" in route and f"buying/{name}" in given:
            name = f"buying/{name}"  # only what was asked for can be bought
        return str(given.get(name, "1" if kind == "int" else "x"))

    return "/" + re.sub(r"<([^>]+)>", fill, route)


ALL = sorted(set(build_patterns()))
MAY_POST = {
    Role.PARTNER: {"estimating:comment", "estimating:approve", "estimating:refuse"},
    Role.LEAD: {
        "scheduling:told",
        "scheduling:board-mark",
        "scheduling:board-settle",
        "scheduling:board-guardian",
        "scheduling:guardian-asked",
        "estimating:tick-cut",
        "estimating:untick-cut",
        "scheduling:buying-have-it",
    },
}
"""The only things that partner and crew lead may send."""


def test_the_walk_finds_the_addresses(
    client_of: ClientOf, owner: User, hand_build: Build, share_link: ShareLink
) -> None:
    """And they are the owner's: with the same things named, the owner is let in."""
    names = {name for name, _ in ALL}
    assert {"scheduling:new-link", "changes:apply", "builds:invite", "scheduling:set-rate"} <= names
    assert len(ALL) > 35
    browser, given = client_of(owner), things(hand_build)
    for name, route in ALL:
        if name.split(":")[0] in ("scheduling", "builds"):
            assert browser.get(address(route, given)).status_code in (200, 302, 405), name


@pytest.mark.parametrize("role", [Role.PARTNER, Role.LEAD])
@pytest.mark.parametrize(("name", "route"), ALL, ids=[name for name, _ in ALL])
def test_partner_and_lead_can_change_nothing(
    client_of: ClientOf,
    cast: dict[str, User],
    hand_build: Build,
    share_link: ShareLink,
    role: str,
    name: str,
    route: str,
) -> None:
    if name in MAY_POST[Role(role)]:
        pytest.skip("this one is theirs to send, and has its own tests")
    answer = client_of(cast[role]).post(address(route, things(hand_build)))
    assert answer.status_code in (404, 405), f"{name} answered {answer.status_code}"


@pytest.mark.parametrize(("name", "route"), ALL, ids=[name for name, _ in ALL])
def test_a_stranger_learns_nothing(
    client_of: ClientOf, stranger: User, hand_build: Build, share_link: ShareLink, name: str, route: str
) -> None:
    browser, given = client_of(stranger), things(hand_build)
    for method in (browser.get, browser.post):
        real, missing = method(address(route, given)), method(address(route, given | {"build_id": 999_999}))
        assert real.status_code in (404, 405)
        assert missing.status_code == real.status_code


@pytest.mark.parametrize(("name", "route"), ALL, ids=[name for name, _ in ALL])
def test_nobody_gets_in_without_signing_in(client_of: ClientOf, hand_build: Build, name: str, route: str) -> None:
    for method in ("get", "post"):
        answer = getattr(client_of(None), method)(address(route, {"build_id": hand_build.pk}))
        assert answer.status_code in (302, 405)
        if answer.status_code == 302:
            assert answer["Location"].startswith(reverse("people:sign-in"))
