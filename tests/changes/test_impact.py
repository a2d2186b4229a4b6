"""What an impact says is what changed: figures, quantities, money, dates and people, each checked by other means."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Proposal, Revision
from buildout.changes.engine.impact import Impact
from buildout.changes.web import services
from buildout.people.web.models import User
from scheduling.engine.moved import MovedShift
from scheduling.web import sign_ups
from scheduling.web.models import ShareLink, SignUp

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
Document = dict[str, Any]
SQUARE_FOOT = 304.8**2


def impact_of(build: Build, user: User, edit: Callable[[Document], None]) -> tuple[Proposal, Impact]:
    build = Build.objects.get(pk=build.pk)
    document = builds.editable(build)
    edit(document)
    made = builds.propose(build, user, document, "Edited")
    made.refresh_from_db()
    assert made.state == Proposal.State.READY, made.problem
    return made, services.read_impact(made)


def figure(impact: Impact, name: str) -> Any:
    return next(figure for figure in impact.figures if figure.name == name)


def wall_out_by_three_inches(document: Document) -> None:
    """The plain room is 20 ft by 24 ft; its long walls grow to 24' 3", its diagonals to 31' 5 3/16".

    √(20² + 24.25²) = 31.4334 ft = 31 ft 5.2 in.
    """
    for reading in document["rooms"][0]["readings"]:
        if {reading["start"], reading["end"]} in ({"B", "C"}, {"D", "A"}):
            reading["value"] = "24' 3\""
        elif {reading["start"], reading["end"]} in ({"A", "C"}, {"B", "D"}):
            reading["value"] = "31' 5 3/16\""


def test_a_wall_moved_by_three_inches(quick_build: Build, owner: User) -> None:
    """20 ft × 3 in = 5 sq ft more floor; everything measured from the room runs again, the award with it."""
    made, impact = impact_of(quick_build, owner, wall_out_by_three_inches)
    assert figure(impact, "Floor area").difference / SQUARE_FOOT == pytest.approx(5, abs=0.1)
    assert {edit.label for edit in impact.edits} == {f"rooms › room › readings › {n} › value" for n in (2, 4, 5, 6)}
    assert {"survey room", "plan room", "floor room", "walls room", "take-off"} <= set(impact.run)
    for item in impact.items:
        assert item.before != item.after or item.money_before != item.money_after
    before = services.read_result(Revision.objects.get().result)
    after = services.read_result(made.result)
    old = {line.item: line.quantity for line in before.take_off.lines}
    new = {line.item: line.quantity for line in after.take_off.lines}
    told = {item.item: (item.before, item.after) for item in impact.items if item.before != item.after}
    assert told == {item: (old.get(item), new.get(item)) for item in {*old, *new} if old.get(item) != new.get(item)}
    assert told, "a larger room needs more of something"


def test_money_per_item_adds_up_to_the_difference(quick_build: Build, owner: User) -> None:
    def dearer(document: Document) -> None:
        for line in document["quotes"][0]["lines"]:
            for step in line["breaks"]:
                step["price"] = str(Decimal(str(step["price"])) + 1)

    made, impact = impact_of(quick_build, owner, dearer)
    before = services.read_result(Revision.objects.get().result)
    after = services.read_result(made.result)
    per_item = sum(((i.money_after or 0) - (i.money_before or 0) for i in impact.items), Decimal(0))
    goods = [sum((line.goods + line.extras for line in r.award.lines), Decimal(0)) for r in (before, after)]
    assert per_item == goods[1] - goods[0]
    assert all(item.before == item.after for item in impact.items)
    whole = figure(impact, "Whole budget")
    assert Decimal(str(whole.difference)) == after.budget.total - before.budget.total
    assert Decimal(whole.after) > Decimal(whole.before)


def test_an_edit_that_matters_to_nothing_says_so(quick_build: Build, owner: User, client_of: ClientOf) -> None:
    """Renaming the build touches no link: no task moves, though the schedule could be made anew."""
    made, impact = impact_of(quick_build, owner, lambda d: d.update(name="Weir Street dojo"))
    assert impact.changes_nothing
    assert impact.tasks == []
    page = client_of(owner).get(made.get_absolute_url()).content.decode()
    assert "moves no quantity, no money, no date and nobody" in page
    services.apply(made, owner, "")
    quick_build.refresh_from_db()
    assert quick_build.name == "Weir Street dojo"


def test_run_and_kept_name_every_link_once(quick_build: Build, owner: User) -> None:
    made, impact = impact_of(quick_build, owner, wall_out_by_three_inches)
    assert sorted(impact.run + impact.kept) == sorted(services.read_result(made.result).keys)
    assert not set(impact.run) & set(impact.kept)


def test_people_are_listed_by_name_with_what_moves(quick_build: Build, owner: User, client_of: ClientOf) -> None:
    link = ShareLink.objects.create(build=quick_build)
    row = sign_ups.sign_up(
        link, "floor", "G09", name="Sika Morrowlight", contact="555 0142 817", request_key="request-key-0001"
    )
    other = sign_ups.sign_up(link, "cover", "", name="Bram", contact="555 0142 818", request_key="request-key-0002")

    def later(document: Document) -> None:
        day = next(day for day in document["crew"]["days"] if day["id"] == "floor")
        day["date"] = (date.fromisoformat(day["date"]) + timedelta(days=7)).isoformat()

    made, impact = impact_of(quick_build, owner, later)
    assert [(shift.sign_up, shift.kind) for shift in impact.sign_ups] == [(row.ref, "day moved")]
    page = client_of(owner).get(made.get_absolute_url()).content.decode()
    assert "<strong>Sika Morrowlight</strong>: The build day moves from Sat 14 Aug to Sat 21 Aug." in page
    assert other.name not in page.split("People who signed up")[1].split("<h2>Tasks")[0]
    moved = {task.code for task in impact.tasks if task.before == date(2027, 8, 14)}
    assert "G09" in moved
    assert "Sat 21 Aug" in page


def test_a_helper_who_withdraws_meanwhile_is_not_told(quick_build: Build, owner: User) -> None:
    link = ShareLink.objects.create(build=quick_build)
    row = sign_ups.sign_up(link, "floor", "", name="Bram", contact="555 0142 818", request_key="request-key-0002")

    def without(document: Document) -> None:
        document["crew"]["days"] = [day for day in document["crew"]["days"] if day["id"] != "floor"]

    made, impact = impact_of(quick_build, owner, without)
    assert [shift.kind for shift in impact.sign_ups] == ["day gone"]
    sign_ups.withdraw(row)
    services.apply(made, owner, "")
    assert not SignUp.objects.standing().exists()
    assert not row.notices.exists()


def test_opening_and_schedule_follow_the_days(quick_build: Build, owner: User) -> None:
    """Dry run and set-up stood on the day that is taken out; the next day held is 11 Sep, the opening the day after."""

    def fewer(document: Document) -> None:
        document["crew"]["days"] = [day for day in document["crew"]["days"] if day["id"] in ("floor", "finish")]

    made, impact = impact_of(quick_build, owner, fewer)
    after = services.read_result(made.result)
    assert {task.build_day for task in after.schedule.tasks} <= {"", "floor", "finish"}
    opening = figure(impact, "Opening as planned")
    assert (opening.before, opening.after, opening.difference) == ("2027-08-29", "2027-09-12", 14)
    assert after.schedule.opening == date(2027, 9, 12)


def test_number_of_queries(
    quick_build: Build, owner: User, client_of: ClientOf, django_assert_num_queries: Any
) -> None:
    made, _ = impact_of(quick_build, owner, wall_out_by_three_inches)
    browser = client_of(owner)
    # session, user, member with build and revision, proposal with base and author; nobody is moved
    with django_assert_num_queries(4):
        browser.get(made.get_absolute_url())


def test_kinds_of_moved_shifts_are_the_ones_told() -> None:
    """Each kind leads to a notice; a new kind must be thought of there too."""
    import typing

    kinds = typing.get_args(typing.get_type_hints(MovedShift)["kind"])
    assert set(kinds) == {"day moved", "task moved", "task gone", "day gone", "time changed"}
