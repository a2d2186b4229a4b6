"""What a change is worth, on a build whose opening hangs on one thing."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from msgspec.structs import replace

from estimating.engine.types import Arrival, Arrivals
from scheduling.engine.gains import _apart, gains
from scheduling.engine.schedule import solve
from scheduling.engine.types import TaskEdits, TaskPin
from scheduling.engine.ways_out import Inputs
from tests.scheduling.test_schedule import MONDAY, crew_of, net_of, opening, task
from tests.scheduling.test_ways_out import inputs


def tried(given: Inputs) -> dict[str, int | None]:
    plan = solve(given.net, given.crew, given.dates, given.arrivals, given.signed_up, given.edits, MONDAY, None)
    return {one.kind: one.days for one in gains(given, plan, runs=200).gains}


def test_express_is_worth_the_week_between_two_saturdays() -> None:
    # Foam promised for the 12th is laid on the 13th; a week earlier it is laid on the 6th. Nothing else helps.
    foam = Arrival(
        item="foam", supplier="s", low=date(2027, 2, 12), likely=date(2027, 2, 12), high=date(2027, 2, 12),
        basis="promised", lead_group="foam",
    )  # fmt: skip
    arrivals = Arrivals(status="proven", items=[foam], reasons=[])
    given = inputs(net_of(task("G09", 4, needs=["foam"]), opening("G09")), crew_of([4, 4]), arrivals=arrivals)
    assert tried(given) == {"express": 7, "helper": 0, "build day": 0}


def test_planning_anew_is_no_gain_of_a_change() -> None:
    # The plan people rely on has the work on the second Saturday, held there; the hold is gone since. Planned anew it
    # is done on the first by itself, so a further helper is worth nothing.
    given = inputs(net_of(task("A", 4), opening("A")), crew_of([4, 4]))
    held = TaskEdits(pins=[TaskPin(task="A", day=given.crew.days[1].id)])
    plan = solve(given.net, given.crew, given.dates, given.arrivals, given.signed_up, held, MONDAY, None)
    found = gains(given, plan, runs=50)
    assert found.nothing is not None
    assert plan.opening is not None
    assert found.nothing.p80 == plan.opening - timedelta(days=7)
    assert {one.kind: (one.days, one.mean) for one in found.gains} == {"helper": (0, 0.0), "build day": (0, 0.0)}


def test_what_is_gained_is_told_run_by_run() -> None:
    # Foam ordered for the 19th at the latest is planned for Saturday the 20th, a week earlier for the 13th; helpers
    # come on the day they were invited for, so that every run opens on the 21st, or on the 14th.
    foam = Arrival(
        item="foam", supplier="s", low=date(2027, 2, 5), likely=date(2027, 2, 12), high=date(2027, 2, 19),
        basis="ordered", lead_group="foam",
    )  # fmt: skip
    arrivals = Arrivals(status="proven", items=[foam], reasons=[])
    given = inputs(net_of(task("G09", 4, needs=["foam"]), opening("G09")), crew_of([4, 4, 4]), arrivals=arrivals)
    plan = solve(given.net, given.crew, given.dates, given.arrivals, given.signed_up, given.edits, MONDAY, None)
    found = {one.kind: one for one in gains(given, plan, runs=2000).gains}
    express, helper = found["express"], found["helper"]
    assert (express.mean, express.error) == (7.0, 0.0)
    assert (helper.mean, helper.error) == (0.0, 0.0)
    assert express.chance >= helper.chance


def test_how_far_a_mean_of_pairs_may_be_off() -> None:
    # A day earlier in one of three runs: mean 1/3, standard deviation √(2/9), 1.96 · √(2/9)/√3 = 0.53 days.
    before, after = np.array([24.0, 48, 72, 96]), np.array([0.0, 48, 72, np.inf])
    assert _apart(before, after) == (0.33, 0.53)
    assert _apart(before, after[:0]) == (None, None)
    assert _apart(before * np.inf, after) == (None, None)


def test_a_build_day_between_two_is_worth_a_week() -> None:
    # Fourteen hours of one person on days of seven, three weeks apart: a Saturday between them saves a fortnight.
    crew = crew_of([1, 1, 1, 1])
    days = [crew.days[0], crew.days[3]]
    given = inputs(net_of(task("A", 14, (1, 1)), opening("A")), replace(crew, days=days))
    assert tried(given)["build day"] in (7, 14)


def test_one_more_helper_is_worth_the_second_saturday() -> None:
    # Fourteen hours for one or two people. One helper a Saturday of seven hours: done on the second, 13 February,
    # opening on the 14th. Two helpers: 14 ÷ 2 = 7 hours, done on the first, 6 February: opening on the 7th.
    given = inputs(net_of(task("A", 14, (1, 2)), opening("A")), crew_of([1, 1]))
    plan = solve(given.net, given.crew, given.dates, given.arrivals, given.signed_up, given.edits, MONDAY, None)
    assert plan.opening == date(2027, 2, 14)
    helper = next(one for one in gains(given, plan, runs=200).gains if one.kind == "helper")
    assert (helper.opening, helper.days, helper.mean, helper.error) == (date(2027, 2, 7), 7, 7.0, 0.0)


def test_without_a_plan_nothing_is_tried() -> None:
    given = inputs(net_of(task("A", 4, (9, 9)), opening("A")), crew_of([1]))
    plan = solve(given.net, given.crew, given.dates, given.arrivals, [], given.edits, MONDAY, None)
    assert gains(given, plan).gains == []
