"""What a change is worth, on a build whose opening hangs on one thing."""

from __future__ import annotations

from datetime import date

from msgspec.structs import replace

from estimating.engine.types import Arrival, Arrivals
from scheduling.engine.gains import gains
from scheduling.engine.schedule import solve
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


def test_a_build_day_between_two_is_worth_a_week() -> None:
    # Fourteen hours of one person on days of seven, three weeks apart: a Saturday between them saves a fortnight.
    crew = crew_of([1, 1, 1, 1])
    days = [crew.days[0], crew.days[3]]
    given = inputs(net_of(task("A", 14, (1, 1)), opening("A")), replace(crew, days=days))
    assert tried(given)["build day"] in (7, 14)


def test_without_a_plan_nothing_is_tried() -> None:
    given = inputs(net_of(task("A", 4, (9, 9)), opening("A")), crew_of([1]))
    plan = solve(given.net, given.crew, given.dates, given.arrivals, [], given.edits, MONDAY, None)
    assert gains(given, plan).gains == []
