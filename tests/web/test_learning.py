"""Learning end to end: from the marks of a day's board to a proposal."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, Proposal, Revision
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
    answer = client_of(owner).post(address(done, "propose-learned"), {"take": ["C11", "turn-out"]})
    proposal = Proposal.objects.get()
    assert answer.status_code == 302
    rates = {rate["code"]: rate for rate in proposal.document["tasks"]["rates"]}
    # (3 · ln 2/4 + ln 2) ÷ 4: 28 ÷ 2^(7/16).
    assert float(rates["C11"]["likely"]) == pytest.approx(28 / 2 ** (7 / 16), rel=1e-3)
    # One of two away: (9.36 + 1) ÷ 69.66 = 0.1487 instead of 0.1383, by the same odds 12 % become 12.9 %.
    assert float(proposal.document["crew"]["no_show_likely"]) == pytest.approx(0.1292, abs=5e-4)
    assert proposal.document["crew"]["no_show_why"] == "Learned: 1 of 2 who had signed up came"
    assert proposal.summary.startswith("Rates of 1 task learned from 1 finished, ")
    assert proposal.summary.endswith(" left as usual, turn-out from 1 of 2 who came")
    assert done.current is not None
    done.current.refresh_from_db()
    assert "rates" not in done.current.document.get("tasks", {})  # nothing counts before it is applied


def test_what_is_not_ticked_is_refused(client_of: ClientOf, owner: User, done: Build) -> None:
    browser = client_of(owner)
    page = browser.get(address(done)).content.decode()
    assert 'name="take" value="C11" checked' in page
    answer = browser.post(address(done, "propose-learned"), follow=True)
    assert "Nothing is ticked" in answer.content.decode()
    assert not Proposal.objects.exists()
    browser.post(address(done, "propose-learned"), {"take": ["turn-out", "juggling"]})
    proposal = Proposal.objects.get()
    assert proposal.document["tasks"]["rates"] == []
    assert proposal.summary == "Turn-out from 1 of 2 who came"


@pytest.fixture
def using(done: Build) -> Build:
    """The plan uses a learned rate, one of the owner's and the learned share that stays away."""
    revision = done.current
    assert revision is not None
    revision.document["tasks"]["rates"] = [
        {"code": "C11", "low": "10", "likely": "20", "high": "30", "why": "Learned: 1 finished task of this build"},
        {"code": "D02", "low": "10", "likely": "20", "high": "30", "why": "My crew"},
    ]
    revision.document["crew"] |= {
        "no_show_low": "0.05", "no_show_likely": "0.13", "no_show_high": "0.31",
        "no_show_why": "Learned: 1 of 2 who had signed up came",
    }  # fmt: skip
    revision.save()
    return done


def test_what_was_learned_can_be_forgotten(client_of: ClientOf, owner: User, using: Build) -> None:
    browser = client_of(owner)
    page = browser.get(address(using)).content.decode()
    assert "The plan uses learned rates for 1 task and the learned share that stays away." in page
    browser.post(address(using, "forget-learned"))
    document = Proposal.objects.get().document
    assert [rate["code"] for rate in document["tasks"]["rates"]] == ["D02"]
    assert not {"no_show_likely", "no_show_why"} & set(document["crew"])  # as the format has it: 12 %
    using.current.document = document  # type: ignore[union-attr]
    using.current.save()  # type: ignore[union-attr]
    answer = browser.post(address(using, "forget-learned"), follow=True)
    assert "The plan uses nothing that was learned." in answer.content.decode()
    assert Proposal.objects.count() == 1


def test_a_rate_says_where_it_comes_from(client_of: ClientOf, owner: User, using: Build) -> None:
    browser = client_of(owner)
    table = browser.get(reverse("scheduling:rates", args=[using.pk])).content.decode()
    assert (table.count(">learned<"), table.count(">your rate<")) == (1, 1)
    page = browser.get(reverse("scheduling:task", args=[using.pk, "C11"]))
    assert "Learned: 1 finished task of this build; the usual rate counts like three more." in page.content.decode()
    assert page.context["rate_form"].initial["why"] == ""  # typed again it is the owner's own
    assert "Your own rate: My crew." in browser.get(
        reverse("scheduling:task", args=[using.pk, "D02"])
    ).content.decode()  # fmt: skip
    browser.post(
        reverse("scheduling:set-rate", args=[using.pk, "C11"]),
        {"low": "1", "likely": "2", "high": "3", "why": "Learned: the hard way"},
    )
    rates = {rate["code"]: rate for rate in Proposal.objects.get().document["tasks"]["rates"]}
    assert rates["C11"]["why"] == "the hard way"


def test_a_share_typed_by_hand_is_the_owners(client_of: ClientOf, owner: User, using: Build) -> None:
    browser, where = client_of(owner), reverse("scheduling:edit-crew", args=[using.pk])
    form, rows = (browser.get(where).context[name] for name in ("form", "formset"))
    data = {name: form.initial[name] for name in form.initial if form.initial[name] is not False}
    data |= {f"core-{name}": rows.management_form.initial[name] for name in rows.management_form.initial}
    for number, row in enumerate(rows.initial):
        data |= {f"core-{number}-{key}": value for key, value in row.items()}
    browser.post(where, data)
    assert Proposal.objects.get().document["crew"]["no_show_why"].startswith("Learned: ")
    Proposal.objects.all().delete()
    browser.post(where, data | {"no_show_likely": "20"})
    crew = Proposal.objects.get().document["crew"]
    assert (crew["no_show_likely"], "no_show_why" in crew) == ("0.2", False)
    using.current.document["crew"] = crew  # type: ignore[union-attr]
    using.current.save()  # type: ignore[union-attr]
    page = browser.get(address(using)).content.decode()
    assert "You set the share that stays away by hand, so it stays at 20 %" in page


def test_turn_out_is_judged_by_what_was_held_that_morning(client_of: ClientOf, owner: User, done: Build) -> None:
    """A later revision that counts on more staying away does not make the old forecast better."""
    first = done.current
    assert first is not None
    crew = {**first.document["crew"], "no_show_low": "0.4", "no_show_likely": "0.5", "no_show_high": "0.6"}
    later = datetime.now(tz=UTC) + timedelta(days=4000)
    done.current = Revision.objects.create(
        build=done, number=first.number + 1, document={**first.document, "crew": crew}, result=first.result
    )
    Revision.objects.filter(pk=done.current.pk).update(created=later)
    done.save()
    page = client_of(owner).get(address(done)).content.decode()
    assert "held possible: 5 % to 30 %" in page
    # One of two away with 5 to 30 % held possible: P(none) = 0.72 and so, so well above a half and above 80 %.
    assert "On 0 of 1 day no more stayed away than was held 50 % likely" in page


def test_kept_forecasts_are_held_against_the_opening(client_of: ClientOf, owner: User, done: Build) -> None:
    said = [("2027-04-01", "2027-04-10"), ("2027-04-05", "2027-04-12"), ("2027-04-20", "2027-05-01"), (None, None)]
    for number, (p50, p80) in enumerate(said, 10):
        row = Revision.objects.create(
            build=done, number=number, document=done.current.document, result=done.current.result,  # type: ignore[union-attr]
            totals={"opening": "2027-04-01", "p50": p50, "p80": p80},
        )  # fmt: skip
        Revision.objects.filter(pk=row.pk).update(created=datetime(2027, 2, number, 12, tzinfo=UTC))
    late = Revision.objects.create(
        build=done, number=20, result=done.current.result, totals={"p50": "2027-04-11", "p80": "2027-04-11"},  # type: ignore[union-attr]
        document={**done.current.document, "tasks": {"done": {"L10": "2027-04-11"}}},  # type: ignore[union-attr]
    )  # fmt: skip
    Revision.objects.filter(pk=late.pk).update(created=datetime(2027, 4, 11, 20, tzinfo=UTC))
    Revision.objects.filter(build=done, number__lt=10).update(created=datetime(2027, 1, 2, tzinfo=UTC))
    done.current = late
    done.save()
    page = client_of(owner).get(address(done)).content.decode()
    assert "It opened on <strong>Sun 11 Apr 2027</strong>" in page
    # Opened on the 11th: by the 20th but not by the 1st or 5th; by the 12th and 1 May but not by the 10th. The first
    # revision and one without a plan had no day; what was said on the day itself was no forecast any more.
    assert (
        "Of 5 forecasts told before, the opening came by the day held as likely as not in 1, "
        "by the day held four times in five in 2."
    ) in page


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
