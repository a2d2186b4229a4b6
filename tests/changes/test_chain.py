"""The chain as a whole: what an edit makes run again, and what the two build files come to."""

from __future__ import annotations

import copy
import json
from datetime import date
from decimal import Decimal
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonpatch
import pytest

from buildout.changes.engine.build_file import BuildFile, Commitments
from buildout.changes.engine.chain import LINK_VERSIONS, STEPS, ChainResult, MemoryStore, run_chain
from buildout.changes.engine.reading import check_plan, load_build_file
from buildout.changes.engine.starters import starter_plan
from buildout.rooms.engine.survey import adjust
from buildout.units.value import to_json, to_plain

pytestmark = pytest.mark.xdist_group("chain")

DEMO = Path(str(files("buildout.changes.engine").joinpath("data/demo.json")))
PLAIN = Path(__file__).parent.parent / "data" / "plain_room.json"
SQUARE_FOOT = 304.8**2
POUND = 0.45359237

Document = dict[str, Any]


class Kept:
    """A build file with its first run, and the store that run filled."""

    def __init__(self, path: Path) -> None:
        self.build: BuildFile = load_build_file(path)
        self.store = MemoryStore()
        self.result: ChainResult = run_chain(self.build.plan, self.build.commitments, store=self.store)

    def again(self, edit: Any, commitments: Commitments | None = None) -> tuple[ChainResult, list[str]]:
        """Run an edited copy of the plan on a copy of the store; say what had to be computed."""
        document = to_plain(self.build.plan)
        edit(document)
        store = MemoryStore()
        store.kept = dict(self.store.kept)
        result = run_chain(check_plan(document), commitments or self.build.commitments, store=store)
        return result, store.computed


@pytest.fixture(scope="module")
def plain() -> Kept:
    return Kept(PLAIN)


@pytest.fixture(scope="module")
def demo() -> Kept:
    return Kept(DEMO)


# ---------------------------------------------------------------- what runs again


def test_the_first_run_computes_every_link_and_the_second_none(plain: Kept) -> None:
    assert set(plain.store.computed) == set(LINK_VERSIONS) - {"fold-away"}  # the plain room has no fold-away mats
    result, computed = plain.again(lambda plan: None)
    assert computed == []
    assert to_json(result) == to_json(plain.result)


def test_a_price_runs_the_award_and_nothing_before(plain: Kept) -> None:
    def dearer(plan: Document) -> None:
        plan["quotes"][0]["lines"][0]["breaks"][1]["price"] = "45.20"

    result, computed = plain.again(dearer)
    assert computed[0] == "award"
    assert "budget" in computed
    before = {"survey", "plan", "floor", "cover", "walls", "fold-away", "cut plans", "take-off", "tasks"}
    assert not before & set(computed)
    changed = {name for name, key in result.keys.items() if plain.result.keys[name] != key}
    follow = {"award", "arrivals", "order-by", "budget", "schedule", "forecast", "gains"}
    assert {name.split()[0] for name in changed} <= follow
    assert result.award.total > plain.result.award.total


def test_a_reading_runs_its_room_and_what_follows(plain: Kept) -> None:
    def moved(plan: Document) -> None:
        readings = plan["rooms"][0]["readings"]
        for reading, value in zip(readings, ("20' 0\"", "24' 3\"", "20 ft", "24' 3\"", "31' 5 3/16\""), strict=False):
            reading["value"] = value
        readings[5]["value"] = "31' 5 3/16\""

    result, computed = plain.again(moved)
    assert computed[:4] == ["survey", "plan", "neighbours", "floor"]
    assert result.plans[0].floor_area / SQUARE_FOOT == pytest.approx(20 * 24.25, abs=1)


def test_a_helper_more_runs_only_dates(plain: Kept) -> None:
    def another_place(plan: Document) -> None:
        plan["crew"]["days"][0]["places"] += 1

    _, computed = plain.again(another_place)
    assert set(computed) <= {"tasks", "schedule", "order-by dates", "forecast", "gains"}
    assert "schedule" in computed


def test_money_in_hand_runs_only_the_budget(plain: Kept) -> None:
    _, computed = plain.again(lambda plan: plan["money"].update(available="20000"))
    assert computed == ["budget"]


def test_a_note_on_a_supplier_changes_no_layout(plain: Kept) -> None:
    _, computed = plain.again(lambda plan: plan["suppliers"][0].update(note="Closed on Fridays"))
    assert not {"survey", "plan", "floor", "cover", "walls", "cut plans", "take-off"} & set(computed)


def test_another_way_of_writing_a_length_changes_nothing(plain: Kept) -> None:
    def rewritten(plan: Document) -> None:
        room = plan["rooms"][0]
        room["readings"][0]["value"] = "6.096 m"  # 20 ft × 0.3048
        room["readings"][1]["value"] = "288 in"
        room["readings"][2]["value"] = 6096
        room["keep_clear"][0]["depth"] = '36"'
        plan["floor_systems"][0]["frame_width"] = "88.9 mm"  # 3 1/2 in × 25.4

    result, computed = plain.again(rewritten)
    assert computed == []
    assert result.keys == plain.result.keys


def test_the_order_of_keys_in_the_file_does_not_matter(plain: Kept) -> None:
    def turned(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: turned(value[key]) for key in reversed(value)}
        return [turned(entry) for entry in value] if isinstance(value, list) else value

    document = turned(json.loads(PLAIN.read_text(encoding="utf-8")))
    plan = check_plan(document["plan"])
    assert to_json(run_chain(plan, Commitments())) == to_json(plain.result)


def test_steps_are_told_in_order(plain: Kept) -> None:
    told: list[tuple[int, str]] = []
    run_chain(
        plain.build.plan,
        plain.build.commitments,
        store=plain.store,
        on_step=lambda number, name: told.append((number, name)),
    )
    assert told == list(enumerate(STEPS))


# ---------------------------------------------------------------- plans that lack something


def test_a_new_build_has_its_first_numbers_without_any_quote() -> None:
    room = json.loads(PLAIN.read_text(encoding="utf-8"))["plan"]["rooms"][0]
    document = starter_plan("New", "feet-inches", "EUR", "UTC", date(2027, 1, 4), room, "two-layer-38mm")
    result = run_chain(check_plan(document), Commitments())
    floor = result.layouts[0].floor
    assert floor is not None
    assert result.plans[0].floor_area / SQUARE_FOOT == pytest.approx(480, abs=1)
    assert floor.layers[0].pieces
    assert floor.mass_per_area > 0
    assert result.take_off.status in ("proven", "feasible")
    assert len(result.tasks.tasks) > 50
    assert result.award.status == "underdetermined"
    assert result.award.total == 0
    assert result.award.unquoted


def test_a_build_without_rooms_is_empty_not_perfect() -> None:
    room = json.loads(PLAIN.read_text(encoding="utf-8"))["plan"]["rooms"][0]
    document = starter_plan("New", "metric", "EUR", "UTC", date(2027, 1, 4), room, "judo")
    document |= {"rooms": [], "fitouts": []}
    result = run_chain(check_plan(document), Commitments())
    assert result.surveys == []
    assert result.cut_plans.status == "empty"
    assert result.take_off.status == "empty"
    assert result.award.status == "empty"


@pytest.mark.parametrize(
    ("readings", "status"),
    [
        ([], "underdetermined"),
        ([("A", "B", "20 ft"), ("B", "C", "24 ft"), ("C", "D", "20 ft"), ("D", "A", "24 ft")], "underdetermined"),
        (
            [("A", "B", "20 ft"), ("B", "C", "3 ft"), ("C", "D", "2 ft"), ("D", "A", "4 ft"), ("A", "C", "60 ft")],
            "infeasible",
        ),
    ],
    ids=["nothing read", "no diagonal", "walls that cannot close"],
)
def test_a_room_that_cannot_be_drawn_stops_with_a_reason(readings: list[tuple[str, str, str]], status: str) -> None:
    document = json.loads(PLAIN.read_text(encoding="utf-8"))["plan"]
    document = copy.deepcopy(document)
    document["rooms"][0]["readings"] = [
        {"id": str(number), "start": a, "end": b, "value": value} for number, (a, b, value) in enumerate(readings)
    ]
    result = run_chain(check_plan(document), Commitments())
    assert result.surveys[0].status in (status, "infeasible", "empty")
    assert result.surveys[0].status not in ("proven", "feasible")
    stops = [reason for link, reason in result.reasons() if link in ("survey", "plan") and reason.severity == "stop"]
    assert stops
    assert all(reason.todo for reason in stops)


# ---------------------------------------------------------------- the demo


def test_every_stop_and_warning_says_what_to_do(demo: Kept, plain: Kept) -> None:
    for kept in (demo, plain):
        found = kept.result.reasons()
        assert [reason for _, reason in found if reason.severity == "stop"] == []
        assert [reason.text for _, reason in found if reason.severity == "warning" and not reason.todo] == []
    assert [reason for _, reason in plain.result.reasons() if reason.severity == "warning"] == []


def test_the_demo_hall_is_the_hall_that_was_taped(demo: Kept) -> None:
    """Hand adjustment of the hall's readings: 2,895 sq ft, perimeter 252 ft 1 in, corner A 90.7°, D 269.0°."""
    hall = demo.result.surveys[0]
    assert hall.status == "proven"
    assert hall.area / SQUARE_FOOT == pytest.approx(2895, abs=1)
    assert hall.perimeter / 25.4 == pytest.approx(252 * 12 + 1, abs=0.6)
    assert hall.angles["A"] == pytest.approx(90.7, abs=0.1)
    assert hall.angles["D"] == pytest.approx(269.0, abs=0.15)
    assert all(reading.used for reading in hall.readings)
    assert demo.result.plans[0].mat_area / SQUARE_FOOT == pytest.approx(2750, abs=5)


def test_the_first_revision_finds_the_slip_of_a_foot(demo: Kept) -> None:
    document = jsonpatch.apply_patch(to_plain(demo.build.plan), demo.build.earlier[0].patch)
    survey = adjust(check_plan(document).rooms[0])
    aside = [reading for reading in survey.readings if not reading.used]
    assert [reading.id for reading in aside] == ["4"]
    assert aside[0].why
    assert aside[0].residual / 25.4 == pytest.approx(12, abs=0.25)  # 36' 0 5/8" would have been right


def test_the_demo_floor_and_cover(demo: Kept) -> None:
    layouts = demo.result.layouts[0]
    assert layouts.floor is not None
    assert layouts.cover is not None
    frame_gap = 0.5 / 12 * 252  # 1/2 in off the wall all round: 10 1/2 sq ft
    assert layouts.floor.mat_area / SQUARE_FOOT == pytest.approx(2750 - frame_gap, abs=5)
    assert layouts.cover.mass / POUND == pytest.approx(2738 / 3, rel=0.01)  # a third of a pound a square foot
    assert layouts.cover.carriers == 23  # 914 lb at 40 lb each
    counted = {line.item: line.quantity for line in demo.result.take_off.lines}
    assert 74 <= counted["base-51mm"] <= 84  # 2,664 sq ft ÷ 36 = 74 sheets at least; 84 without using offcuts
    assert counted["top-54in"] == 7
    assert counted["fold-mat"] == 15


def test_the_demo_prices_tell_their_story(demo: Kept) -> None:
    lines = {line.item: line for line in demo.result.award.lines}
    assert lines["base-51mm"].unit_price == Decimal("74.65")  # past the break at 60
    assert lines["top-54in"].goods == 7 * 371  # ten rolls would come to 3,550
    assert lines["cover"].quote == "ninefold-1"
    cheaper, _ = demo.again(lambda plan: plan["award"].update(exclude=[]))
    late = {line.item: line for line in cheaper.award.lines}["cover"]
    assert late.quote == "moonrake-2"
    assert cheaper.award.total < demo.result.award.total
    assert (cheaper.schedule.opening or demo.build.plan.dates.opening_wish) >= demo.result.schedule.opening  # type: ignore[operator]


def test_the_demo_orders_still_match_what_is_needed(demo: Kept) -> None:
    """The two placed orders carry the quantities of today's take-off; a change shows against them."""
    counted = {line.item: line.quantity for line in demo.result.take_off.lines}
    for order in demo.build.commitments.orders:
        for line in order.lines:
            assert line.quantity == counted[line.item], line.item
            assert line.goods == line.quantity * line.unit_price


def test_the_demo_opens_on_its_six_saturdays(demo: Kept) -> None:
    schedule = demo.result.schedule
    assert schedule.status in ("proven", "feasible")
    assert schedule.opening is not None
    assert schedule.opening <= demo.build.plan.dates.opening_wish
    assert [day.date.weekday() for day in schedule.days] == [5] * 6
    assert all(day.needed <= day.places for day in schedule.days)
    assert all(day.tasks for day in schedule.days)
    carry = next(task for task in schedule.tasks if task.code == "H03")
    assert carry.build_day == "cover"
    assert carry.crew >= 23


def test_a_drop_out_leaves_the_cover_short_of_hands(demo: Kept) -> None:
    def fewer(plan: Document) -> None:
        next(day for day in plan["crew"]["days"] if day["id"] == "cover")["places"] = 15

    result, _ = demo.again(fewer)
    assert result.schedule.status == "infeasible"
    assert any("H03" in reason.text for reason in result.schedule.reasons)


def test_without_a_cover_nobody_receives_or_carries_one(plain: Kept) -> None:
    def bare(plan: Document) -> None:
        plan["floor_systems"][0]["cover"] = None
        plan["floor_systems"][0]["hook_tape"] = ""

    result, _ = plain.again(bare)
    assert result.layouts[0].cover is None
    codes = {task.code for task in result.tasks.tasks}
    assert not codes & {"C05", "C07", "C12", *(f"H{number:02}" for number in range(1, 11))}
    assert {task.code for task in plain.result.tasks.tasks} >= {"C05", "C07", "C12", "H01", "H03", "H10"}


@pytest.mark.parametrize("system", ["two-layer-50mm", "fold-away"])
def test_a_starter_has_a_schedule_before_any_quote(system: str) -> None:
    room = json.loads(PLAIN.read_text(encoding="utf-8"))["plan"]["rooms"][0]
    plan = check_plan(starter_plan("New", "metric", "EUR", "UTC", date(2027, 1, 4), room, system))
    result = run_chain(plan, Commitments())
    assert result.schedule.opening is not None
    assert result.schedule.opening <= plan.dates.opening_wish
