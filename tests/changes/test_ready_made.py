"""The page that sets ready-made offers beside the award and the schedule's hours."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Proposal
from buildout.builds.web.services import Sheet
from buildout.changes.engine.chain import ChainResult
from buildout.changes.web import services
from buildout.people.web.models import User
from buildout.units.value import from_json
from estimating.engine.types import Award
from estimating.web import order_book
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


# ------------------------------------------------------------------ taken into the plan, and back


def ask(browser: Client, build: Build, name: str, number: int = 1) -> Proposal:
    answer = browser.post(url(name, build, number))
    made = Proposal.objects.latest("pk")
    assert answer.url == made.get_absolute_url(), "the next page is what it does"
    assert made.state == Proposal.State.READY, made.problem
    return made


def plan_of(build: Build) -> dict[str, Any]:
    return builds.editable(Build.objects.get(pk=build.pk))


def result_of(build: Build) -> ChainResult:
    fresh = Build.objects.get(pk=build.pk)
    return from_json(ChainResult, fresh.current.result)  # type: ignore[union-attr]


def test_taken_into_the_plan_and_back(client_of: ClientOf, quick_build: Build, owner: User) -> None:
    """The board and the pad give way to one thing at 900 with 40 freight; 6 hours for two people are 3."""
    browser = client_of(owner)
    before, was = builds.editable(quick_build), result_of(quick_build)
    offered = TYPED | {
        "name": "Panels ready to hang", "price": "900", "freight": "40", "fixings": "25", "hours": "6", "low": "7",
        "likely": "10", "high": "14", "items": ["board", "pad"], "tasks": ["W05"], "supplier_name": "Larch End Timber",
    }  # fmt: skip
    assert browser.post(url("new-ready-made", quick_build), offered).url == url("ready-made", quick_build)
    assert "Take it ready-made" in browser.get(url("ready-made", quick_build)).content.decode()

    made = ask(browser, quick_build, "take-ready-made")
    assert result_of(quick_build) == was, "nothing changed yet"
    services.apply(made, owner, "")
    now = result_of(quick_build)
    asked = {line.item for line in now.take_off.lines}
    assert {line.item for line in was.take_off.lines} - asked == {"board", "pad"}
    assert "ready-made-1" in asked
    assert not {"board", "pad"} & {plan.product for plan in now.cut_plans.plans}, "and nobody cuts them"
    [line] = [line for line in now.award.lines if line.item == "ready-made-1"]
    [party] = [party for party in now.award.suppliers if party.quote == "ready-made-1"]
    assert (line.goods, party.freight) == (Decimal(900), Decimal(40))
    assert party.supplier == next(s["id"] for s in before["suppliers"] if s["name"] == "Larch End Timber")
    # Seven, ten and fourteen calendar days are five, eight and ten working days.
    quote = next(q for q in plan_of(quick_build)["quotes"] if q["id"] == "ready-made-1")
    assert [quote[f"lead_days_{n}"] for n in ("low", "likely", "high")] == [5, 8, 10]
    tasks = {task.code: task for task in now.tasks.tasks}
    assert "W05" not in tasks
    assert (tasks["RM1"].likely, tasks["RM1"].crew_min) == (3, 2), "six person-hours of two"
    assert tasks["RM1"].needs == ["ready-made-1"]
    here = next(a for a in now.arrivals.items if a.item == "ready-made-1")
    fixed = next(task for task in now.schedule.tasks if task.code == "RM1")
    assert fixed.start_day >= here.likely, "nobody fixes what has not come"
    assert now.budget.allowances - was.budget.allowances == Decimal(25)

    page = browser.get(url("ready-made", quick_build)).content.decode()
    assert "in the plan" in page
    assert "Make it here after all" in page
    assert "other terms" not in page
    # Taken out of the list it is not, while the plan is made with it; with a new price it can come in anew.
    browser.post(url("remove-ready-made", quick_build, 1))
    assert ReadyMadeOffer.objects.exists()
    for other in ({"price": "950"}, {"hours": "9"}, {"high": "21"}, {"name": "Panels"}, {"fixings": "30"}):
        browser.post(url("edit-ready-made", quick_build, 1), offered | other)
        assert "other terms" in browser.get(url("ready-made", quick_build)).content.decode(), other
    browser.post(url("edit-ready-made", quick_build, 1), offered | {"meal": "9"})
    assert "other terms" not in browser.get(url("ready-made", quick_build)).content.decode(), "no part of the plan"

    services.apply(ask(browser, quick_build, "make-here"), owner, "")
    assert plan_of(quick_build) == before, "the way back leads to where we were"
    assert result_of(quick_build).take_off == was.take_off
    browser.post(url("remove-ready-made", quick_build, 1))
    assert not ReadyMadeOffer.objects.exists()


def test_an_order_that_is_out_is_shown_before_it_is_taken(client_of: ClientOf, quick_build: Build, owner: User) -> None:
    quote = next(p.quote for p in result_of(quick_build).award.suppliers)
    order = order_book.place(quick_build, owner, quote)
    item = order.lines[0]["item"]
    browser = client_of(owner)
    browser.post(url("new-ready-made", quick_build), TYPED | {"items": [item], "hours": "0"})
    made = ask(browser, quick_build, "take-ready-made")
    page = browser.get(made.get_absolute_url()).content.decode()
    assert f"Order {order.name}, {order.lines[0]['name']}: " in page
    assert "nothing uses any more" in page


def test_what_is_too_old_to_take(client_of: ClientOf, quick_build: Build, owner: User) -> None:
    browser = client_of(owner)
    day = (Sheet(quick_build.current).as_of - timedelta(days=1)).isoformat()  # type: ignore[arg-type]
    browser.post(url("new-ready-made", quick_build), TYPED | {"items": ["board"], "valid_until": day})
    answer = browser.post(url("take-ready-made", quick_build, 1), follow=True)
    assert "ask for a new date" in answer.content.decode()
    ReadyMadeOffer.objects.update(terms={"price": "1", "items": ["gone"], "lead_days": [1, 2, 3]})
    answer = browser.post(url("take-ready-made", quick_build, 1), follow=True)
    assert "The plan no longer knows gone" in answer.content.decode()
    assert not Proposal.objects.exists()


def test_taking_is_a_post_of_the_owner(
    client_of: ClientOf, quick_build: Build, owner: User, partner: User, stranger: User
) -> None:
    ReadyMadeOffer.objects.create(build=quick_build, number=1, name="x", terms={"price": "1"})
    for name in ("take-ready-made", "make-here"):
        for other in (partner, stranger):
            assert client_of(other).post(url(name, quick_build, 1)).status_code == 404
        assert client_of(owner).get(url(name, quick_build, 1)).status_code == 405
        assert client_of(owner).post(url(name, quick_build, 7)).status_code == 404
    assert not Proposal.objects.exists()
