"""Plans that keep every rule of the site, and reasons when there is none."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from math import ceil, floor
from pathlib import Path
from typing import Any, Protocol

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from buildout.units.value import to_json
from estimating.engine.types import Arrival, Arrivals
from scheduling.engine.schedule import solve
from scheduling.engine.types import (
    BuildDay,
    CorePerson,
    Crew,
    Dates,
    Helper,
    Holiday,
    Lag,
    PersonPin,
    PlannedTask,
    Schedule,
    SignedUp,
    Task,
    TaskEdits,
    TaskNet,
    TaskPin,
)
from tests.scheduling.test_rcpsp import AFTER, DURATIONS, EARLIEST, LATEST

ROOT = Path(__file__).resolve().parents[2]
MONDAY = date(2027, 2, 1)
SATURDAY = date(2027, 2, 6)
NOTHING_ORDERED = Arrivals(status="empty", items=[], reasons=[])
NO_ONE_MISSING = {"no_show_low": Decimal(0), "no_show_likely": Decimal(0), "no_show_high": Decimal(0)}


class HallInputs(Protocol):
    crew: Crew
    edits: TaskEdits
    arrivals: Arrivals
    signed_up: list[SignedUp]
    as_of: date

    def net(self) -> TaskNet: ...

    def plan(self, before: Schedule | None = None) -> Schedule: ...


def task(code: str, likely: float, crew: tuple[int, int] = (1, 4), **more: Any) -> Task:
    """Helpers' work of so many person-hours unless said otherwise."""
    given = {
        "name": f"Task {code}", "stage": 8, "kind": "work", "place": "build day", "quantity": likely, "unit": "each",
        "driver": "1", "low": likely, "high": likely, "skills": [], "after": [], "cautions": [], "tools": "",
        "noisy": False, "dusty": False, "volunteers": True,
    }  # fmt: skip
    return Task(code=code, likely=likely, crew_min=crew[0], crew_max=crew[1], **{**given, **more})


def opening(*after: str) -> Task:
    lags = [Lag(task=code) for code in after]
    return task("L10", 0, (0, 0), kind="fixed", place="core team", after=lags, name="Open")


def net_of(*tasks: Task) -> TaskNet:
    return TaskNet(status="proven", tasks=list(tasks), left_out=[], reasons=[])


def crew_of(
    places: Sequence[int] = (4,), core: int = 0, hours: int = 0, first: date = SATURDAY, **more: Any
) -> Crew:  # fmt: skip
    """Saturdays with these places, 08:30 to 16:30 less a meal from 12:00 to 13:00: shifts of 3.5 hours each."""
    days = [
        BuildDay(
            id=f"d{n + 1}", date=first + timedelta(weeks=n), name=f"Day {n + 1}", places=count, end="16:30",
            meal_minutes=60,
        )
        for n, count in enumerate(places)
    ]  # fmt: skip
    people = [CorePerson(id=f"p{n}", name=f"Person {n}", skills=more.pop("skills", [])) for n in range(core)]
    return Crew(core=people, core_hours_per_weekday=Decimal(hours), days=days, **{**NO_ONE_MISSING, **more})


def plan(net: TaskNet, crew: Crew, **more: Any) -> Schedule:
    given: dict[str, Any] = {
        "dates": Dates(lease_start=MONDAY, opening_wish=date(2027, 12, 31)), "arrivals": NOTHING_ORDERED,
        "signed_up": [], "edits": TaskEdits(), "as_of": MONDAY, "before": None,
    }  # fmt: skip
    given.update(more)
    return solve(net, crew, **given)


def placed(schedule: Schedule) -> dict[str, tuple[str, str, int]]:
    """code → (day and time it starts, time it ends, crew)."""
    return {
        one.code: (
            f"{one.start_day:%d %b} {one.start // 60:02}:{one.start % 60:02}",
            f"{one.end // 60:02}:{one.end % 60:02}",
            one.crew,
        )
        for one in schedule.tasks
    }


class TestByHand:
    def test_one_task_takes_its_largest_useful_crew(self) -> None:
        # 8 person-hours, at most 4 people: 2 hours from 08:30. Opening on the next day, Sunday.
        found = plan(net_of(task("A", 8), opening("A")), crew_of([6]))
        assert placed(found)["A"] == ("06 Feb 08:30", "10:30", 4)
        assert (found.status, found.opening) == ("proven", date(2027, 2, 7))
        assert (found.value, found.bound, found.gap) == (6, 6, 0)

    def test_four_helpers_share_a_day(self) -> None:
        # Shifts of 3.5 h. A and B want two people for 3 h each and run together; C wants all four after both, for 2 h.
        tasks = [task("A", 6, (2, 2)), task("B", 6, (2, 2))]
        last = task("C", 8, (4, 4), after=[Lag(task="A"), Lag(task="B")])
        found = placed(plan(net_of(*tasks, last, opening("C")), crew_of([4])))
        assert found["A"] == ("06 Feb 08:30", "11:30", 2)
        assert found["B"] == ("06 Feb 08:30", "11:30", 2)
        assert found["C"] == ("06 Feb 13:00", "15:00", 4)

    def test_work_longer_than_a_shift_is_cut_into_parts_and_keeps_its_hours(self) -> None:
        # 24 person-hours for two people: 12 h, four shifts of 3.5 h, so parts of 6 person-hours, 3 h each.
        found = plan(net_of(task("A", 24, (2, 2)), opening("A")), crew_of([2, 2]))
        assert list(placed(found)) == ["A/1", "A/2", "A/3", "A/4", "L10"]
        assert [day.person_hours for day in found.days] == [12, 12]
        assert found.opening == SATURDAY + timedelta(weeks=1, days=1)

    def test_no_noise_before_the_quiet_hours_end(self) -> None:
        crew = crew_of([4])
        quiet = replace(crew, days=[replace(crew.days[0], quiet_until="10:00")])
        found = plan(net_of(task("A", 4, noisy=True), task("B", 4), opening("A", "B")), quiet)
        assert placed(found)["A"][0] == "06 Feb 10:00"
        assert placed(found)["B"][0] == "06 Feb 08:30"

    def test_a_lag_of_hours_runs_over_the_meal_and_a_lag_of_days_is_met_on_that_day(self) -> None:
        first = task("A", 2, (1, 1))  # 08:30–10:30
        later = task("B", 1, (1, 1), after=[Lag(task="A", minutes=240)])  # 14:30 at the earliest
        week = task("C", 1, (1, 1), after=[Lag(task="B", minutes=7 * 1440)])
        found = placed(plan(net_of(first, later, week, opening("C")), crew_of([4, 4])))
        assert found["B"][0] == "06 Feb 14:30"
        assert found["C"][0] == "13 Feb 08:30"

    def test_work_that_overlaps_may_not_finish_first(self) -> None:
        # A 3 h from 08:30. B may start an hour later and takes 1 h, but not before A is done: 10:30 to 11:30.
        tasks = [task("A", 3, (1, 1)), task("B", 1, (1, 1), after=[Lag(task="A", minutes=60, from_start=True)])]
        found = placed(plan(net_of(*tasks, opening("B")), crew_of([4])))
        assert found["B"][:2] == ("06 Feb 10:30", "11:30")

    def test_a_crew_needs_one_with_the_skill_for_every_seven(self) -> None:
        # One carpenter among ten (share 0.1): two jobs of one hour that each need one follow each other.
        tasks = [task(code, 3, (3, 3), skills=["carp"]) for code in "AB"]
        found = placed(plan(net_of(*tasks, opening("A", "B")), crew_of([10], skill_shares={"carp": Decimal("0.1")})))
        assert sorted(start for start, _, _ in (found["A"], found["B"])) == ["06 Feb 08:30", "06 Feb 09:30"]
        both = plan(net_of(*tasks, opening("A", "B")), crew_of([10]))  # skills not named: everybody
        assert {start for start, _, _ in (placed(both)["A"], placed(both)["B"])} == {"06 Feb 08:30"}

    def test_firms_work_on_working_days_that_are_not_holidays(self) -> None:
        # From Monday 1 February, closed Tuesday: 2.5 days are Monday, Wednesday and Thursday morning.
        closed = Dates(
            lease_start=MONDAY,
            opening_wish=date(2027, 12, 31),
            holidays=[Holiday(date=date(2027, 2, 2), name="Closed")],
        )
        firm = task("E", 2.5, (1, 2), kind="trade", place="trade")
        found = plan(net_of(firm, opening("E")), crew_of([]), dates=closed)
        one = found.tasks[0]
        assert (one.code, one.start_day, one.end_day, one.end) == ("E", MONDAY, date(2027, 2, 4), 12 * 60)
        assert found.opening == date(2027, 2, 5)

    def test_the_core_team_works_weekday_evenings(self) -> None:
        # Two people, 3 h an evening from 18:00; 10 person-hours for two: 5 h, over two evenings. None on build days.
        job = task("B", 10, (1, 2), place="core team", where="desk")
        found = plan(net_of(job, opening("B")), crew_of([], core=2, hours=3))
        one = found.tasks[0]
        assert (one.start_day, one.start, one.end_day, one.crew) == (MONDAY, 18 * 60, MONDAY + timedelta(days=1), 2)
        assert found.opening == date(2027, 2, 3)

    def test_an_evening_may_differ_from_the_others(self) -> None:
        # As above, but nobody has time on Tuesdays: Monday and Wednesday.
        job = task("B", 10, (1, 2), place="core team", where="desk")
        crew = crew_of([], core=2, hours=3, core_hours_by_weekday={"tue": Decimal(0)})
        one = plan(net_of(job, opening("B")), crew).tasks[0]
        assert (one.start_day, one.start, one.end_day) == (MONDAY, 18 * 60, MONDAY + timedelta(days=2))

    def test_hall_work_waits_for_the_lease_desk_work_does_not(self) -> None:
        later = Dates(lease_start=MONDAY + timedelta(weeks=1), opening_wish=date(2027, 12, 31))
        tasks = [task("D", 2, place="core team", where="desk"), task("H", 2, place="core team")]
        found = plan(net_of(*tasks, opening("D", "H")), crew_of([], core=2, hours=3), dates=later)
        assert {one.code: one.start_day for one in found.tasks[:2]} == {"D": MONDAY, "H": later.lease_start}

    def test_a_garage_takes_only_workshop_tasks(self) -> None:
        crew = crew_of([4, 4])
        crew = replace(crew, days=[replace(crew.days[0], place="garage"), crew.days[1]])
        for where, day in (("hall", "13 Feb"), ("workshop", "06 Feb")):
            found = placed(plan(net_of(task("A", 1, where=where), opening("A")), crew))
            assert found["A"][0].startswith(day)

    def test_done_tasks_stay_where_they_were_and_free_what_follows(self) -> None:
        tasks = [task("A", 8), task("B", 8, after=[Lag(task="A", minutes=10 * 1440)])]
        edits = TaskEdits(done={"A": MONDAY - timedelta(days=3)})
        found = plan(net_of(*tasks, opening("B")), crew_of([4, 4]), edits=edits)
        assert found.tasks[0].start_day == MONDAY - timedelta(days=3)
        assert placed(found)["B"][0].startswith("13 Feb")  # ten days after Friday 29 January is Monday the 8th

    def test_the_critical_chain_and_the_slack_of_the_rest(self) -> None:
        # A on the first Saturday, W waits ten days to Tuesday 16, B only on Saturday 20. C needs half an hour, any day.
        chain = [
            task("A", 1),
            task("W", 10, (0, 0), kind="wait", place="wait", after=[Lag(task="A")]),
            task("B", 1, after=[Lag(task="W")]),
            task("C", 1),
        ]
        found = {one.code: one for one in plan(net_of(*chain, opening("B", "C")), crew_of([4, 4, 4])).tasks}
        # A may not slip: a week later W ends on the 23rd, after the last build day. C may slip two weeks.
        assert (found["A"].critical, found["A"].slack_days) == (True, 0)
        assert (found["B"].critical, found["C"].critical, found["C"].slack_days) == (True, False, 14)
        # W ends on Tuesday the 16th at 09:00; B, half an hour, may begin as late as Saturday the 20th at 16:00.
        assert found["W"].slack_days == 4
        assert found["L10"].critical


class TestTextbook:
    def test_the_construction_project_as_waits_of_days(self) -> None:
        """Every figure of the book's table, weeks taken as days: starts, total float, the critical chain, 44.

        F. S. Hillier and G. J. Lieberman, Introduction to Operations Research, as in ``test_rcpsp.py``.
        """
        waits = [
            task(
                name, days, (0, 0), kind="wait", place="wait", where="desk",
                after=[Lag(task=before) for before in AFTER.get(name, "")],
            )
            for name, days in DURATIONS.items()
        ]  # fmt: skip
        found = plan(net_of(*waits, opening(*DURATIONS)), crew_of([]))
        assert (found.status, found.value, found.bound) == ("proven", 44, 44)
        shown = {one.code: one for one in found.tasks}
        assert tuple((shown[name].start_day - MONDAY).days for name in DURATIONS) == EARLIEST
        # The last day of what ends at midnight of the next is the day before.
        ends = tuple((shown[name].end_day - MONDAY).days + 1 for name in DURATIONS)
        assert ends == (2, 6, 16, 22, 20, 25, 29, 38, 23, 33, 37, 38, 40, 44)
        floats = tuple(late - early for late, early in zip(LATEST, EARLIEST, strict=True))
        assert floats == (0, 0, 0, 4, 0, 0, 4, 4, 2, 0, 1, 0, 4, 0)
        assert tuple(shown[name].slack_days for name in DURATIONS) == floats
        assert "".join(name for name in DURATIONS if shown[name].critical) == "ABCEFJLN"

    def test_d_g_h_and_m_share_their_float(self) -> None:
        """Four days belong to the chain of them, not to each: what D uses, G, H and M no longer have."""
        waits = [
            task(
                name, days + 3 * (name == "D"), (0, 0), kind="wait", place="wait", where="desk",
                after=[Lag(task=before) for before in AFTER.get(name, "")],
            )
            for name, days in DURATIONS.items()
        ]  # fmt: skip
        found = plan(net_of(*waits, opening(*DURATIONS)), crew_of([]))
        assert found.value == 44
        assert {one.code: one.slack_days for one in found.tasks if one.code in "DGHM"} == dict.fromkeys("DGHM", 1)


class TestGoods:
    def goods(self, basis: Any, low: int, high: int) -> Arrivals:
        day = MONDAY + timedelta(days=low)
        last = MONDAY + timedelta(days=high)
        items = [
            Arrival(item="foam", supplier="s", low=day, likely=day, high=last, basis=basis, lead_group="foam")
        ]  # fmt: skip
        return Arrivals(status="proven", items=items, reasons=[])

    def net(self) -> TaskNet:
        order = task("C04", 1, place="core team", where="desk")
        lead = task("C06", 18, (0, 0), kind="wait", place="wait", arrival_of="foam", after=[Lag(task="C04")])
        lay = task("G09", 4, (2, 4), needs=["foam"], after=[Lag(task="C06")])
        return net_of(order, lead, lay, opening("G09"))

    def test_what_is_to_order_comes_its_longest_lead_time_after_the_order(self) -> None:
        # Ordered on Monday evening, at most 12 days: Saturday 13 February, 19:00. So the third Saturday.
        found = plan(self.net(), crew_of([4, 4, 4], core=1, hours=3), arrivals=self.goods("to order", 8, 12))
        assert found.needs == {"foam": date(2027, 2, 20)}
        assert found.need_tasks == {"foam": "G09"}

    def test_what_is_promised_comes_when_promised_whatever_is_still_to_order(self) -> None:
        found = plan(self.net(), crew_of([4, 4, 4], core=1, hours=3), arrivals=self.goods("promised", 12, 12))
        assert found.needs == {"foam": date(2027, 2, 13)}

    def test_what_is_here_waits_for_nothing(self) -> None:
        found = plan(self.net(), crew_of([4, 4, 4], core=1, hours=3), arrivals=self.goods("received", -4, -4))
        assert found.needs == {"foam": SATURDAY}

    def test_goods_count_even_without_a_lead_time_task(self) -> None:
        lay = task("G09", 4, needs=["foam"])
        found = plan(net_of(lay, opening("G09")), crew_of([4, 4, 4]), arrivals=self.goods("to order", 8, 14))
        assert found.needs == {"foam": date(2027, 2, 20)}


class TestImpossible:
    def test_nothing_to_do(self) -> None:
        found = plan(net_of(), crew_of([4]))
        assert (found.status, found.opening) == ("empty", None)

    def test_a_crew_larger_than_any_day_names_the_task_and_the_places_it_takes(self) -> None:
        # 20 places, 12 % stay away: 17 come. 23 carriers ask for 27 places, as ⌊27 × 0.88⌋ = 23.
        crew = replace(crew_of([20]), no_show_likely=Decimal("0.12"))
        found = plan(net_of(task("H03", 10, (23, 40)), opening("H03")), crew)
        assert (found.status, found.tasks, found.opening) == ("infeasible", [], None)
        stop = found.reasons[0]
        assert (stop.code, stop.where, stop.severity) == ("crew-too-small", "H03", "stop")
        assert "needs 23 people at once" in stop.text
        assert "has 20 places" in stop.text
        assert "to 27 places" in stop.todo

    def test_a_skill_nobody_has(self) -> None:
        found = plan(
            net_of(task("W", 4, skills=["uphol"]), opening("W")), crew_of([9], skill_shares={"uphol": Decimal(0)})
        )
        assert [(stop.code, stop.where) for stop in found.reasons] == [("skill-missing", "W")]
        assert "uphol" in found.reasons[0].text

    def test_no_build_day_at_all(self) -> None:
        found = plan(net_of(task("A", 4, (3, 4)), opening("A")), crew_of([], core=1, hours=3))
        assert [stop.code for stop in found.reasons] == ["no-build-day"]
        assert "at least 3 places" in found.reasons[0].todo

    def test_work_that_finds_no_shift(self) -> None:
        # A noisy job of three hours cannot be cut to fit the half hour between the quiet hours and the end.
        crew = crew_of([4])
        crew = replace(crew, days=[replace(crew.days[0], quiet_until="16:00")])
        found = plan(net_of(task("A", 3, (1, 1), noisy=True, kind="fixed"), opening("A")), crew)
        assert [stop.code for stop in found.reasons] == ["no-window"]

    def test_a_further_day_of_long_hours_makes_nothing_impossible(self) -> None:
        # Noisy work of 7.4 hours for one is cut in three for shifts of three and a half hours. A further day with a
        # morning of four hours is quiet until its end: cut in two for its sake the work would fit no other day.
        saw = task("A", 7.4, (1, 1), noisy=True)
        crew = crew_of([4, 4, 4])
        night = BuildDay(
            id="night", date=SATURDAY + timedelta(days=1), name="Night", start="03:00", end="08:00", meal_minutes=0,
            places=4, quiet_until="08:00",
        )  # fmt: skip
        for one in (crew, replace(crew, days=[*crew.days, night])):
            found = plan(net_of(saw, opening("A")), one)
            assert found.status == "proven"
            assert found.opening == MONDAY + timedelta(days=13)
            assert {part.build_day for part in found.tasks if part.code.startswith("A")} == {"d1", "d2"}

    def test_too_few_build_days_says_how_many_more_and_for_what(self) -> None:
        # Two people, seven hours a day: 42 person-hours fill three days; one is given.
        found = plan(net_of(task("A", 42, (2, 2)), opening("A")), crew_of([2]))
        stop = found.reasons[0]
        assert (found.status, stop.code) == ("infeasible", "too-few-build-days")
        assert "With 2 more" in stop.text
        assert "Sat 13 Feb 2027 (A/3, A/4), Sat 20 Feb 2027 (A/5, A/6)" in stop.text

    def test_a_pin_that_cannot_be_kept_is_named(self) -> None:
        tasks = [task("A", 1), task("B", 1, after=[Lag(task="A", minutes=3 * 1440)])]
        pins = TaskEdits(pins=[TaskPin(task="B", day="d1")])
        found = plan(net_of(*tasks, opening("B")), crew_of([4, 4]), edits=pins)
        assert [(stop.code, stop.where) for stop in found.reasons] == [("pin", "B")]

    def test_a_pin_that_can_be_kept_is_kept(self) -> None:
        pins = TaskEdits(pins=[TaskPin(task="A", day="d2"), TaskPin(task="A", day="nowhere")])
        found = plan(net_of(task("A", 1), opening("A")), crew_of([4, 4]), edits=replace(pins, pins=pins.pins[:1]))
        assert placed(found)["A"][0].startswith("13 Feb")
        warned = plan(net_of(task("A", 1), opening("A")), crew_of([4, 4]), edits=replace(pins, pins=pins.pins[1:]))
        assert "pin-ignored" in [one.code for one in warned.reasons if one.severity == "warning"]

    def test_slips_of_quantity_and_year_are_named_before_anything_is_planned(self) -> None:
        vast = plan(net_of(task("A", 1e9), opening("A")), crew_of([4]))
        assert [(stop.code, stop.where) for stop in vast.reasons] == [("too-much-work", "A")]
        wait = task("W", 1e6, (0, 0), kind="wait", place="wait")
        assert [stop.code for stop in plan(net_of(wait, opening("W")), crew_of([4])).reasons] == ["too-far"]
        firm = task("E", 5000, (1, 2), kind="trade", place="trade")
        assert [stop.where for stop in plan(net_of(firm, opening("E")), crew_of([4])).reasons] == ["E"]
        far = Dates(lease_start=date(2127, 2, 1), opening_wish=date(2127, 6, 1))
        lease = plan(net_of(task("A", 1), opening("A")), crew_of([4]), dates=far)
        assert [stop.where for stop in lease.reasons] == ["/dates/lease_start"]
        crew = crew_of([4, 4])
        crew = replace(crew, days=[crew.days[0], replace(crew.days[1], date=date(2127, 2, 6))])
        found = plan(net_of(task("A", 1), opening("A")), crew)
        assert "three years ahead" in next(one.text for one in found.reasons if one.code == "build-day")

    def test_a_net_with_a_ring_stops(self) -> None:
        ring = TaskNet(status="infeasible", tasks=[task("A", 1)], left_out=[], reasons=[])
        assert plan(ring, crew_of([4])).status == "infeasible"

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"start": "8 o'clock"}, "write it like 08:30"),
            ({"end": "08:00"}, "not after its start"),
            ({"places": -1}, "-1 places"),
            ({"quiet_until": "25:00"}, "write it like 08:30"),
        ],
    )
    def test_a_build_day_that_cannot_be_read_is_named(self, change: dict[str, Any], words: str) -> None:
        crew = crew_of([4, 4])
        crew = replace(crew, days=[replace(crew.days[0], **change), crew.days[1]])
        found = plan(net_of(task("A", 1), opening("A")), crew)
        warning = next(one for one in found.reasons if one.code == "build-day")
        assert words in warning.text
        assert warning.where == "/crew/days/0"
        assert placed(found)["A"][0].startswith("13 Feb")


class TestMoving:
    def test_a_new_plan_leaves_everything_where_it_was_when_it_can(self) -> None:
        # The first plan was made when A could only be done on the second day; the bar is gone, the plan stays.
        tasks = net_of(task("A", 4), task("B", 4), opening("A", "B"))
        pins = TaskEdits(pins=[TaskPin(task="A", day="d2"), TaskPin(task="B", day="d2")])
        first = plan(tasks, crew_of([4, 4]), edits=pins)
        crew = crew_of([4, 4])
        wish = TaskEdits(pins=[TaskPin(task="B", day="d2")])
        second = plan(tasks, crew, edits=wish, before=first)
        assert [one.build_day for one in second.tasks if one.code == "A"] == ["d2"]
        assert second.opening == first.opening

    def test_the_task_fewer_have_signed_up_for_moves(self) -> None:
        # Room for both on either day; on the first only one fits once places drop from 4 to 2.
        tasks = net_of(task("A", 7, (2, 2)), task("B", 7, (2, 2)), opening("A", "B"))
        first = plan(tasks, crew_of([4, 4]))
        assert {one.build_day for one in first.tasks if one.crew} == {"d1"}
        signed = [SignedUp(id=str(n), day="d1", task="B") for n in range(2)]
        one_shift = crew_of([2, 4])
        one_shift = replace(one_shift, days=[replace(one_shift.days[0], end="12:30"), one_shift.days[1]])
        second = plan(tasks, one_shift, signed_up=signed, before=first)
        assert {one.code: one.build_day for one in second.tasks if one.crew} == {"A": "d2", "B": "d1"}
        assert "moved" in {one.code for one in second.reasons}

    def test_missing_sign_ups_are_told_a_fortnight_ahead(self) -> None:
        found = plan(net_of(task("A", 8), opening("A")), crew_of([6]), signed_up=[SignedUp(id="1", day="d1")])
        warning = next(one for one in found.reasons if one.code == "sign-ups-missing")
        assert "needs 4 helpers at its busiest; 1 has signed up" in warning.text


@pytest.mark.xdist_group("hall")
class TestWholeHall:
    def test_every_rule_holds(self, hall: HallInputs, hall_plan: Schedule) -> None:
        assert hall_plan.status == "proven"
        assert hall_plan.bound <= hall_plan.value
        check_rules(hall.net(), hall.crew, hall_plan, hall.as_of)

    def test_lead_times_hold(self, hall: HallInputs, hall_plan: Schedule) -> None:
        tasks = {one.code: one for one in hall_plan.tasks}
        ordered = tasks["C04"].end_day
        lead = {one.lead_group: (one.high - hall.as_of).days for one in hall.arrivals.items}
        assert tasks["C11"].start_day >= ordered + timedelta(days=lead["foam"])
        assert tasks["C12"].start_day >= tasks["C05"].end_day + timedelta(days=lead["cover"])
        assert hall_plan.needs["cover"] == tasks["C12"].start_day

    def test_another_process_with_another_hash_seed_gives_the_same_bytes(self, hall_plan: Schedule) -> None:
        """Also where a search is cut at its limit, which is where chance would show."""
        assert any(aim.status == "feasible" for aim in hall_plan.aims)
        script = (
            "import sys; from buildout.units.value import to_json; from tests.scheduling.conftest import Hall; "
            "sys.stdout.buffer.write(to_json(Hall().plan()))"
        )
        mine = os.environ.get("PYTHONHASHSEED", "")
        other = os.environ | {"PYTHONHASHSEED": "2" if mine == "1" else "1"}
        made = subprocess.run([sys.executable, "-c", script], env=other, cwd=ROOT, capture_output=True, check=False)
        assert made.returncode == 0, made.stderr.decode()
        assert made.stdout == to_json(hall_plan)

    def test_planning_again_moves_nothing(self, hall: HallInputs, hall_plan: Schedule) -> None:
        assert hall.plan(before=hall_plan).tasks == hall_plan.tasks

    def test_a_day_with_too_few_places_for_the_cover_says_so(self, hall: HallInputs) -> None:
        hall.crew = replace(hall.crew, days=[replace(day, places=20) for day in hall.crew.days])
        found = hall.plan()
        # 20 places, 12 % away: 17; five of the core team less the site lead and the cook: 20 people for 23 carriers.
        assert found.status == "infeasible"
        assert [stop.where for stop in found.reasons if stop.severity == "stop"] == ["H03"]
        assert "makes 20 people" in found.reasons[0].text

    def test_one_build_day_less_names_what_no_longer_fits(self, hall: HallInputs) -> None:
        hall.crew = replace(hall.crew, days=hall.crew.days[:5])
        stop = next(one for one in hall.plan().reasons if one.severity == "stop")
        assert stop.code == "too-few-build-days"
        assert "With 1 more" in stop.text
        assert "H05" in stop.text


def check_rules(net: TaskNet, crew: Crew, schedule: Schedule, as_of: date) -> None:
    """Check a schedule against the rules in words, with none of the planner's code.

    People on a build day: ⌊places × (1 − likely no-show)⌋ helpers and the core team, less the site lead where there
    are two or more, less people with all-day jobs. Skills not named in the shares are everybody's.
    """
    tasks = {one.code: one for one in net.tasks}
    days = {day.id: day for day in crew.days}
    core = len(crew.core) - (1 if len(crew.core) >= 2 else 0) - sum(job.crew for job in net.day_jobs)
    sign_in = sum(job.minutes for job in net.day_jobs if job.when == "start")
    tidy = sum(job.minutes for job in net.day_jobs if job.when == "end")
    spans: dict[str, list[PlannedTask]] = {}
    for one in schedule.tasks:
        spans.setdefault(one.code.split("/")[0], []).append(one)

    def clock(text: str) -> int:
        hours, minutes = text.split(":")
        return int(hours) * 60 + int(minutes)

    for day in crew.days:
        here = [one for one in schedule.tasks if one.build_day == day.id]
        helpers = floor(day.places * (1 - float(crew.no_show_likely)) + 1e-9)
        meal = (clock(day.meal_start), clock(day.meal_start) + day.meal_minutes)
        for one in here:
            assert one.start_day == one.end_day == day.date
            assert clock(day.start) + sign_in <= one.start < one.end <= clock(day.end) - tidy
            assert one.end <= meal[0] or one.start >= meal[1]
            source = tasks[one.code.split("/")[0]]
            assert source.crew_min <= one.crew <= source.crew_max
            assert day.place == "hall" or source.where != "hall"
            if source.noisy and day.quiet_until:
                assert one.start >= clock(day.quiet_until)
        for minute in range(0, 24 * 60, 30):
            now = [one for one in here if one.start <= minute < one.end]
            assert sum(one.crew for one in now) <= helpers + core
            for skill, share in crew.skill_shares.items():
                wanted = sum(ceil(one.crew / 7) for one in now if skill in one.skills)
                assert wanted <= sum(skill in person.skills for person in crew.core) + floor(float(share) * helpers)

    for date_of in sorted({one.start_day for one in schedule.tasks}):
        evening = [
            one for one in schedule.tasks if one.place == "core team" and one.start_day == one.end_day == date_of
        ]
        for minute in range(0, 24 * 60, 30):
            assert sum(one.crew for one in evening if one.start <= minute < one.end) <= len(crew.core)

    hours: dict[str, float] = {}
    for one in schedule.tasks:
        source = tasks[one.code.split("/")[0]]
        if one.place in ("trade", "core team") and one.crew:
            assert one.start_day.weekday() < 5
        assert one.start_day >= as_of
        if one.start_day == one.end_day and one.place in ("build day", "core team"):
            spent = (one.end - one.start) / 60 * (one.crew if source.kind == "work" else 1)
            hours[source.code] = hours.get(source.code, 0.0) + spent
    for code, spent in hours.items():
        alone = all(one.start_day == one.end_day for one in spans[code])
        if alone and tasks[code].likely:
            assert spent >= tasks[code].likely - 1e-6  # half hours round up, never down
    total = sum(day.person_hours for day in schedule.days)
    on_days = [one for one in schedule.tasks if one.build_day]
    shares = {code: len(parts) for code, parts in spans.items()}
    effort = sum(
        tasks[one.code.split("/")[0]].likely / shares[one.code.split("/")[0]]
        * (1 if tasks[one.code.split("/")[0]].kind == "work" else one.crew)
        for one in on_days
    )  # fmt: skip
    assert total == pytest.approx(effort, abs=0.01 * len(days) + 0.01)

    for code, source in tasks.items():
        for lag in source.after:
            if lag.task not in spans:
                continue
            before, after = spans[lag.task], spans[code]
            first_start = min((one.start_day, one.start) for one in before)
            last_end = max((one.end_day, one.end) for one in before)
            start = min((one.start_day, one.start) for one in after)
            reference = first_start if lag.from_start else last_end
            waits = any(one.kind == "wait" or one.likely == 0 for one in (tasks[lag.task], source))
            if waits:  # shown by whole days
                assert start[0] >= reference[0]
            else:
                gap = (start[0] - reference[0]).days * 1440 + start[1] - reference[1]
                leeway = 720 if lag.minutes and lag.minutes % 1440 == 0 else 0
                assert gap >= lag.minutes - leeway, (code, lag)


@st.composite
def nets(draw: st.DrawFn) -> TaskNet:
    tasks = []
    count = draw(st.integers(2, 6))
    for n in range(count):
        low = draw(st.integers(1, 4))
        after = [
            Lag(task=f"T{other}", minutes=draw(st.sampled_from([0, 60, 720, 1440])), from_start=draw(st.booleans()))
            for other in range(n)
            if draw(st.integers(0, 3)) == 0
        ]
        tasks.append(
            task(
                f"T{n}",
                draw(st.sampled_from([0.5, 3, 7.3, 18])),
                (low, draw(st.integers(low, 6))),
                kind=draw(st.sampled_from(["work", "work", "fixed"])),
                place=draw(st.sampled_from(["build day", "core team"])),
                noisy=draw(st.booleans()),
                skills=draw(st.sampled_from([[], ["carp"], ["lead"]])),
                where=draw(st.sampled_from(["hall", "workshop"])),
                after=after,
            )
        )
    return net_of(*tasks, opening(*(one.code for one in tasks)))


@settings(max_examples=60, deadline=None)
@given(
    nets(),
    st.lists(st.integers(3, 14), min_size=1, max_size=3),
    st.integers(0, 3),
    st.sampled_from(["", "09:30", "13:00"]),
)
def test_no_plan_overbooks_people_breaks_an_order_or_loses_hours(
    net: TaskNet, places: list[int], core: int, quiet: str
) -> None:
    crew = crew_of(places, core=core, hours=3, skill_shares={"carp": Decimal("0.3")}, no_show_likely=Decimal("0.1"))
    crew = replace(crew, days=[replace(day, quiet_until=quiet) for day in crew.days])
    found = plan(net, crew)
    if found.status == "infeasible":
        assert found.tasks == []
        assert all(one.text and one.todo for one in found.reasons if one.severity == "stop")
        assert any(one.severity == "stop" for one in found.reasons)
    else:
        assert found.bound <= found.value
        check_rules(net, crew, found, MONDAY)


class TestLeads:
    """Two tasks of three hours for one person each, four places: side by side 08:30 to 11:30, if both are led."""

    @staticmethod
    def net() -> TaskNet:
        return net_of(
            task("A", 3, (1, 1), skills=["lead"]), task("B", 3, (1, 1), skills=["lead"]), opening("A", "B")
        )  # fmt: skip

    @staticmethod
    def starts(found: Schedule) -> list[str]:
        return sorted(time for code, (time, _, _) in placed(found).items() if code in "AB")

    def test_one_leader_leads_one_task_after_the_other(self) -> None:
        found = plan(self.net(), crew_of([4], core=1, skills=["lead"]))
        assert self.starts(found) == ["06 Feb 08:30", "06 Feb 13:00"]

    def test_a_helper_put_on_a_task_as_its_leader_frees_the_other_leader(self) -> None:
        helper = Helper(id="h", name="H", days=["d1"])
        crew = crew_of([4], core=1, skills=["lead"], helpers=[helper])
        led = TaskEdits(people=[PersonPin(task="B", person="h", lead=True)])
        assert self.starts(plan(self.net(), crew, edits=led)) == ["06 Feb 08:30", "06 Feb 08:30"]
        beside = TaskEdits(people=[PersonPin(task="B", person="h")])
        assert self.starts(plan(self.net(), crew, edits=beside)) == ["06 Feb 08:30", "06 Feb 13:00"]

    def test_the_only_leader_put_on_other_work_leads_nothing_meanwhile(self) -> None:
        net = net_of(task("A", 3, (1, 1), skills=["lead"]), task("B", 3, (1, 1)), opening("A", "B"))
        crew = crew_of([4], core=1, skills=["lead"])
        assert self.starts(plan(net, crew)) == ["06 Feb 08:30", "06 Feb 08:30"]
        put = TaskEdits(people=[PersonPin(task="B", person="p0")])
        assert self.starts(plan(net, crew, edits=put)) == ["06 Feb 08:30", "06 Feb 13:00"]

    def test_with_nobody_who_leads_the_task_is_named(self) -> None:
        found = plan(self.net(), crew_of([4], core=1))
        assert found.opening is None
        assert any("A" in one.text and "who can lead a crew" in one.text for one in found.reasons)
