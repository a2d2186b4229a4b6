"""Learning end to end: from the marks of a day's board to a proposal."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, Proposal
from buildout.people.web.models import User
from scheduling.web.models import DayMark, DayPerson, SignUp
from tests.web.test_board import bram, in_the_net, on_the_day, sika  # noqa: F401  # fixtures

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


@pytest.fixture
def done(hand_build: Build, bram: SignUp, sika: SignUp) -> Build:  # noqa: F811
    """Foam was received on the strip day: four people from 9 to 13, the meal between; Bram came, Sika did not."""
    revision = hand_build.current
    assert revision is not None
    day = next(day for day in revision.document["crew"]["days"] if day["id"] == "strip")
    revision.document.setdefault("tasks", {}).setdefault("done", {})["C11"] = day["date"]
    revision.document["as_of"] = (date.fromisoformat(day["date"]) + timedelta(days=1)).isoformat()
    revision.save()
    # 28 pieces per person-hour: 182 pieces are 6.5 likely person-hours. Four people for 4 h less 45 min: 13.
    in_the_net(hand_build, "C11", kind="work", quantity=182, low=4, likely=6.5, high=11)
    nine = datetime.fromisoformat(day["date"]).replace(hour=9, tzinfo=UTC)
    common = {"build": hand_build, "day": "strip", "by_name": "Ines"}
    here = DayMark.objects.create(kind="here", at=nine, **common)
    DayPerson.objects.create(mark=here, sign_up=bram)
    DayMark.objects.create(kind="start", task="C11", at=nine, count=4, **common)
    DayMark.objects.create(kind="finish", task="C11", at=nine + timedelta(hours=4), **common)
    return hand_build


def address(build: Build, name: str = "progress") -> str:
    return reverse(f"scheduling:{name}", args=[build.pk])


def test_hours_and_turn_out_stand_beside_the_forecast(client_of: ClientOf, owner: User, done: Build) -> None:
    page = client_of(owner).get(address(done)).content.decode()
    assert "13.0 h" in page  # took
    assert "6.5 h" in page  # likely
    assert "0 of 1 took no longer than what was held 50 % likely" in page
    assert "1 of 2 who had signed up came" in page
    assert "1.19 times the usual hours" in page  # 2^(1/4)
    assert "Propose the plan with what was learned" in page


def test_the_owner_proposes_what_was_learned(client_of: ClientOf, owner: User, done: Build) -> None:
    answer = client_of(owner).post(address(done, "propose-learned"))
    proposal = Proposal.objects.get()
    assert answer.status_code == 302
    rates = {rate["code"]: rate for rate in proposal.document["tasks"]["rates"]}
    # (3 · ln 2/4 + ln 2) ÷ 4: 28 ÷ 2^(7/16).
    assert float(rates["C11"]["likely"]) == pytest.approx(28 / 2 ** (7 / 16), rel=1e-3)
    # One of two away: (9.36 + 1) ÷ 69.66 = 0.1487 instead of 0.1383, by the same odds 12 % become 12.9 %.
    assert float(proposal.document["crew"]["no_show_likely"]) == pytest.approx(0.1292, abs=5e-4)
    assert "Rates learned from 1 finished task, turn-out from 1 of 2 who came" in proposal.summary
    assert done.current is not None
    done.current.refresh_from_db()
    assert "rates" not in done.current.document.get("tasks", {})  # nothing counts before it is applied


def test_only_the_owner_may_propose(client_of: ClientOf, partner: User, lead: User, done: Build) -> None:
    for user in (partner, lead):
        assert client_of(user).post(address(done, "propose-learned")).status_code == 404
        assert "Propose the plan with what was learned" not in client_of(user).get(address(done)).content.decode()
    assert client_of(partner).get(address(done, "propose-learned")).status_code in (404, 405)


def test_nothing_to_learn_from_says_so(client_of: ClientOf, owner: User, hand_build: Build) -> None:
    answer = client_of(owner).post(address(hand_build, "propose-learned"), follow=True)
    assert "There is nothing to learn from yet" in answer.content.decode()
    assert not Proposal.objects.exists()
    assert "Nothing to compare yet" in answer.content.decode()


def test_number_of_queries_with_outcomes(
    client_of: ClientOf, owner: User, done: Build, django_assert_num_queries: Any
) -> None:
    browser = client_of(owner)
    browser.get(address(done))
    # as without outcomes, and: revisions told, marks, who they speak of, revisions' days, their tasks, sign-ups
    with django_assert_num_queries(13):
        browser.get(address(done))
