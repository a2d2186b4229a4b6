"""The page that sets ready-made offers beside the award and the schedule's hours."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build
from buildout.builds.web.services import Sheet
from buildout.people.web.models import User
from estimating.engine.types import Award
from estimating.web.models import ReadyMadeOffer
from scheduling.engine.types import TaskNet

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
TYPED = {
    "name": "Wall panels, ready to hang", "supplier_name": "Fernhollow Pads", "price": "9800", "freight": "350",
    "fixings": "120", "hours": "24", "low": "20", "likely": "30", "high": "45", "life_years": "10", "own_tools": "140",
    "own_consumables": "85", "own_life_years": "8", "meal": "9.50", "hour_value": "18",
    "items": ["panel-foam", "vinyl"],
}  # fmt: skip


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"changes:{name}", args=[build.pk, *args])


def work_of(build: Build) -> str:
    tasks = Sheet(build.current).part("tasks", TaskNet).tasks  # type: ignore[arg-type]
    return next(task.code for task in tasks if task.kind == "work" and task.likely > 8)


def test_an_offer_is_set_beside_the_award(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser, task = client_of(owner), work_of(demo_build)
    assert "No ready-made offer yet" in browser.get(url("ready-made", demo_build)).content.decode()
    answer = browser.post(url("new-ready-made", demo_build), TYPED | {"tasks": [task]})
    assert answer.url == url("ready-made", demo_build)
    page = browser.get(answer.url)
    ((offer, found),) = page.context["rows"]
    assert offer.number == 1
    sheet = Sheet(demo_build.current)  # type: ignore[arg-type]
    lines = {line.item: line for line in sheet.part("award", Award).lines}
    # The vinyl is on an order of the demo already, and so is the panel foam: spent either way.
    assert set(found.ordered) == {"panel-foam", "vinyl"} & {
        line["item"] for order in demo_build.orders.all() for line in order.lines
    }
    open_items = {"panel-foam", "vinyl"} - set(found.ordered)
    assert found.own.goods == sum((lines[item].goods + lines[item].extras for item in open_items), Decimal(0))
    assert found.ready.total > Decimal(9800 + 350 + 120)
    net = {t.code: t for t in sheet.part("tasks", TaskNet).tasks}
    assert found.own.hours == Decimal(str(round(net[task].likely, 1)))
    assert "Fernhollow Pads" in page.content.decode()
    browser.post(url("remove-ready-made", demo_build, 1))
    assert not ReadyMadeOffer.objects.exists()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"price": "cheap"}, "Write a plain number"),
        ({"low": "50"}, "Write shortest, likely and longest"),
        ({"items": []}, "Tick at least one item"),
        ({"items": ["gold"]}, "Select a valid choice"),
    ],
)
def test_what_cannot_be_keeps_what_was_typed(
    more: dict[str, Any], said: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    answer = client_of(owner).post(url("new-ready-made", demo_build), TYPED | more)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert "Fernhollow Pads" in page
    assert not ReadyMadeOffer.objects.exists()


def test_for_the_owner_alone(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User, stranger: User
) -> None:
    ReadyMadeOffer.objects.create(build=demo_build, number=1, name="x", terms={"price": "1"})
    for other in (partner, lead, stranger):
        browser = client_of(other)
        for name in ("ready-made", "new-ready-made"):
            assert browser.get(url(name, demo_build)).status_code == 404
        assert browser.post(url("new-ready-made", demo_build), TYPED).status_code == 404
        assert browser.post(url("edit-ready-made", demo_build, 1), TYPED).status_code == 404
        assert browser.post(url("remove-ready-made", demo_build, 1)).status_code == 404
    assert client_of(owner).post(url("ready-made", demo_build)).status_code == 405
    assert client_of(owner).get(url("remove-ready-made", demo_build, 1)).status_code == 405
    assert ReadyMadeOffer.objects.count() == 1


def test_queries(client_of: ClientOf, demo_build: Build, owner: User, django_assert_num_queries: Any) -> None:
    browser = client_of(owner)
    for _ in range(3):
        browser.post(url("new-ready-made", demo_build), TYPED)
    browser.get(url("ready-made", demo_build))  # takes the messages
    with django_assert_num_queries(5):
        browser.get(url("ready-made", demo_build))


def test_an_offer_is_changed_in_place(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser, task = client_of(owner), work_of(demo_build)
    browser.post(url("new-ready-made", demo_build), TYPED | {"tasks": [task]})
    address = url("edit-ready-made", demo_build, 1)
    assert address in browser.get(url("ready-made", demo_build)).content.decode()
    form = browser.get(address).context["form"]
    shown = {name: form.get_initial_for_field(field, name) for name, field in form.fields.items()}
    assert {name: f"{shown[name]}" for name in TYPED if name != "items"} == {
        name: value for name, value in TYPED.items() if name != "items"
    }
    assert (shown["items"], shown["tasks"]) == (TYPED["items"], [task])
    wrong = browser.post(address, TYPED | {"price": "cheap", "note": "kept note"})
    assert wrong.status_code == 422
    assert "kept note" in wrong.content.decode()
    browser.post(address, TYPED | {"price": "9100.50", "tasks": []})
    offer = ReadyMadeOffer.objects.get()
    assert (offer.number, offer.terms["price"], offer.tasks, offer.by) == (1, "9100.50", [], owner)
    assert browser.get(url("edit-ready-made", demo_build, 2)).status_code == 404
