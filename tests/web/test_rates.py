"""The table of all tasks with rates and crews, and tasks of the list done the owner's way."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build
from buildout.people.web.models import User
from scheduling.engine.template import default_template
from tests.web.test_board import in_the_net
from tests.web.test_days import Kept, url
from tests.web.test_days import office as office

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
CHANGE: dict[str, Any] = {
    "crew_min": "3", "crew_max": "5", "skills": ["carp"], "tools": "scale", "after": "A07, B01+2h", "why": "ours",
    "cautions": ["LIFT"],
}  # fmt: skip
OWN = {"code": "X01", "name": "Number the panels", "crew": "1", "driver": "panel.count"}


def edits(build: Build, **sections: Any) -> None:
    assert build.current is not None
    build.current.document = {**build.current.document, "tasks": sections}
    build.current.save()


def test_every_task_stands_in_the_table_with_its_rate_and_crew(
    client_of: ClientOf, owner: User, lead: User, hand_build: Build, django_assert_num_queries: Any
) -> None:
    edits(
        hand_build,
        changed=[{"code": "C11", "crew_min": 3, "crew_max": 7}],
        own=[{"code": "X01", "name": "Number the panels", "crew": 1, "driver": "panel.count",
              "low": "2", "likely": "4", "high": "8"}],
    )  # fmt: skip
    for who in (owner, lead):
        text = client_of(who).get(url("rates", hand_build)).content.decode()
        for row in default_template():
            assert f">{row.code}</a>" in text
        assert "3–7" in text
        assert text.count("your way") == 1
        assert text.count(">your own<") == 1
    client = client_of(owner)
    with django_assert_num_queries(3):  # session, user, member with build and revision
        client.get(url("rates", hand_build))


def test_a_task_is_done_another_way_and_as_usual_again(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept
) -> None:
    browser = client_of(owner)
    browser.post(url("set-change", hand_build, "C11"), CHANGE)
    assert office.started[-1].document["tasks"]["changed"] == [
        {"code": "C11", "crew_min": 3, "crew_max": 5, "skills": ["carp"], "tools": "scale",
         "after": ["A07", "B01+2h"], "why": "ours"}
    ]  # fmt: skip
    edits(hand_build, changed=office.started[-1].document["tasks"]["changed"])
    page = browser.get(url("task", hand_build, "C11")).content.decode()
    assert "Back to the usual way" in page
    assert 'value="A07 B01+2h"' in page
    browser.post(url("usual-way", hand_build, "C11"))
    assert office.started[-1].document["tasks"]["changed"] == []


def test_place_noise_dust_splitting_and_cautions_are_the_owners_too(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept
) -> None:
    browser = client_of(owner)
    more = {"zone": "entry", "noisy": "on", "dusty": "on", "one_day": "on", "cautions": ["LIFT", "DUST"]}
    browser.post(url("set-change", hand_build, "C11"), CHANGE | more)
    changed = office.started[-1].document["tasks"]["changed"][0]
    assert {name: changed[name] for name in more} == {
        "zone": "entry", "noisy": True, "dusty": True, "one_day": True, "cautions": ["LIFT", "DUST"]
    }  # fmt: skip
    edits(hand_build, changed=[changed])
    table = browser.get(url("rates", hand_build)).content.decode()
    assert "has the entry for itself; noisy, keeps quiet hours; dusty; in one go" in table
    form = browser.get(url("task", hand_build, "C11")).context["change_form"]
    assert (form.initial["zone"], form.initial["one_day"]) == ("entry", True)
    # Nobody works on a wait, so it has neither crew nor place nor noise.
    wait = browser.get(url("task", hand_build, "A02")).context["change_form"]
    assert set(wait.fields) == {"after", "cautions", "why"}


def test_a_quantity_opens_where_it_comes_from(client_of: ClientOf, owner: User, lead: User, hand_build: Build) -> None:
    assert hand_build.current is not None
    room = hand_build.current.document["rooms"][0]["id"]
    for driver, address in (
        ("room.floor_area", reverse("rooms:room", args=[hand_build.pk, room])),
        ("panel.count", reverse("estimating:layouts", args=[hand_build.pk, room])),
        ("foam.pieces", reverse("estimating:take-off", args=[hand_build.pk])),
        ("light.fittings", reverse("estimating:quantities", args=[hand_build.pk])),
    ):
        in_the_net(hand_build, "C11", driver=driver)
        page = client_of(owner).get(url("task", hand_build, "C11")).content.decode()
        assert f'href="{address}"' in page
    assert client_of(lead).get(url("task", hand_build, "C11")).status_code == 200


def test_a_firm_is_not_agreed_for_a_day_on_which_it_does_not_work(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept
) -> None:
    in_the_net(hand_build, "E01", kind="trade", place="trade")
    assert hand_build.current is not None
    monday = date.fromisoformat(hand_build.current.document["as_of"])
    monday += timedelta(days=7 - monday.weekday())
    browser = client_of(owner)
    for day, no in (
        (monday + timedelta(days=5), "is a day on which nobody works. Choose another, for example "),
        (monday - timedelta(days=100), "is over"),
        (monday + timedelta(days=4000), "more than three years ahead"),
    ):
        answer = browser.post(url("appoint", hand_build, "E01"), {"date": day.isoformat(), "firm": "firm"})
        assert answer.status_code == 422
        assert no in answer.content.decode()
    assert not office.started
    browser.post(url("appoint", hand_build, "E01"), {"date": monday.isoformat(), "firm": "firm"})
    assert office.started[-1].document["tasks"]["appointments"][0]["date"] == monday.isoformat()


def test_what_is_as_in_the_list_is_not_kept(client_of: ClientOf, owner: User, hand_build: Build, office: Kept) -> None:
    browser = client_of(owner)
    form = browser.get(url("task", hand_build, "C11")).context["change_form"]
    same = {name: form.initial[name] for name in form.fields if name in form.initial}
    browser.post(url("set-change", hand_build, "C11"), same)
    assert office.started[-1].document["tasks"]["changed"] == []
    browser.post(url("set-change", hand_build, "C11"), same | {"tools": "a better scale"})
    assert office.started[-1].document["tasks"]["changed"] == [{"code": "C11", "tools": "a better scale"}]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"crew_max": "1"}, "fewer than the least crew of 3"),
        ({"crew_min": "0"}, "greater than or equal to 1"),
        ({"after": "A01 +x"}, "is not a predecessor"),
        ({"skills": ["juggling"]}, "Select a valid choice"),
    ],
)
def test_bad_changes_are_explained_and_kept(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept, wrong: dict[str, Any], said: str
) -> None:
    answer = client_of(owner).post(url("set-change", hand_build, "C11"), CHANGE | wrong)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert 'value="scale"' in answer.content.decode()
    assert not office.started


def test_an_own_task_may_have_a_quantity_and_a_rate(
    client_of: ClientOf, owner: User, hand_build: Build, office: Kept
) -> None:
    browser = client_of(owner)
    browser.post(url("new-task", hand_build), OWN | {"low": "2", "likely": "4", "high": "8", "crew_max": "4"})
    assert office.started[-1].document["tasks"]["own"] == [
        {"code": "X01", "name": "Number the panels", "crew": 1, "crew_max": 4, "driver": "panel.count",
         "low": "2", "likely": "4", "high": "8", "skills": [], "after": []}
    ]  # fmt: skip
    for wrong, said in (
        ({}, "A rate is needed"),
        ({"low": "9", "likely": "4", "high": "8"}, "must rise, for example 2, 4, 7"),
        ({"low": "2", "likely": "4", "high": "8", "crew": "3", "crew_max": "2"}, "2 are fewer than 3"),
        ({"driver": "moon.dust"}, "Choose a quantity from the list"),
        ({"driver": ""}, "Write the hours"),
    ):
        answer = browser.post(url("new-task", hand_build), OWN | wrong)
        assert answer.status_code == 422
        assert said in answer.content.decode()
    assert len(office.started) == 1
