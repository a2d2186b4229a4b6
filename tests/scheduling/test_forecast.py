"""The forecast's statistics against closed forms, and that bad news never makes it better."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Protocol

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from buildout.units.value import to_json
from estimating.engine.types import Arrival, Arrivals
from scheduling.engine.forecast import (
    Clock,
    Steps,
    _Play,
    between,
    chance_error,
    draws,
    forecast,
    nearest_rank,
    rank_share,
    ranks,
    triangular,
)
from scheduling.engine.schedule import solve
from scheduling.engine.types import (
    Appointment,
    BuildDay,
    CorePerson,
    Crew,
    Dates,
    Forecast,
    Helper,
    Lag,
    NotBefore,
    Schedule,
    SignedUp,
    Task,
    TaskEdits,
    TaskNet,
)

MONDAY = date(2027, 2, 1)
DATES = Dates(lease_start=MONDAY, opening_wish=date(2027, 4, 1), announced=date(2027, 5, 1))
NOTHING = Arrivals(status="empty", items=[], reasons=[])


class HallInputs(Protocol):
    crew: Crew
    arrivals: Arrivals
    drivers: dict[str, float]

    def net(self) -> TaskNet: ...

    def play(self, schedule: Schedule, runs: int = 500) -> Forecast: ...


def task(code: str, estimate: tuple[float, float, float], after: tuple[str, ...] = (), **more: Any) -> Task:
    given = {
        "name": code, "stage": 8, "kind": "wait", "place": "wait", "quantity": 1, "unit": "day", "driver": "1",
        "crew_min": 0, "crew_max": 0, "skills": [], "cautions": [], "tools": "", "noisy": False, "dusty": False,
        "volunteers": True,
    }  # fmt: skip
    low, likely, high = estimate
    lags = [Lag(task=other) for other in after]
    return Task(code=code, low=low, likely=likely, high=high, after=lags, **{**given, **more})


def work(code: str, estimate: tuple[float, float, float], after: tuple[str, ...] = (), **more: Any) -> Task:
    """Work for two helpers on a build day."""
    given = {"kind": "work", "place": "build day", "crew_min": 2, "crew_max": 2}
    return task(code, estimate, after, **{**given, **more})


def opening(*after: str) -> Task:
    return task("L10", (0, 0, 0), after, kind="fixed", place="core team")


def net_of(*tasks: Task) -> TaskNet:
    return TaskNet(status="proven", tasks=list(tasks), left_out=[], reasons=[])


def saturdays(count: int, places: int = 4, core: int = 0) -> Crew:
    days = [
        BuildDay(id=f"d{n + 1}", date=MONDAY + timedelta(days=5 + 7 * n), name=f"Day {n + 1}", places=places)
        for n in range(count)
    ]
    people = [CorePerson(id=f"p{n}", name=f"Person {n}", skills=["lead"]) for n in range(core)]
    zero = Decimal(0)
    return Crew(core=people, days=days, no_show_low=zero, no_show_likely=zero, no_show_high=zero)


def play(net: TaskNet, crew: Crew | None = None, arrivals: Arrivals = NOTHING, runs: int = 2000) -> Forecast:
    crew = crew or saturdays(0)
    schedule = solve(net, crew, DATES, arrivals, [], TaskEdits(), MONDAY, None)
    return forecast(net, schedule, crew, DATES, arrivals, TaskEdits(), MONDAY, runs=runs)


class TestStatistics:
    def test_quantiles_of_one_triangular(self) -> None:
        # (2, 3, 7), closed form: F(3) = 1/5; below a + √(p·5·1), above b − √((1−p)·5·4).
        shares = np.array([0.1, 0.2, 0.5, 0.8, 0.9])
        assert triangular(shares, 2, 3, 7) == pytest.approx([2.7071, 3, 3.8377, 5, 5.5858], abs=5e-5)

    def test_moments_of_one_triangular(self) -> None:
        # Mean (a + m + b)/3 = 4, variance (a² + m² + b² − am − ab − mb)/18 = 7/6; tolerance four standard errors.
        drawn = triangular(draws("moments", 200_000), 2, 3, 7)
        assert float(drawn.mean()) == pytest.approx(4, abs=4 * (7 / 6 / 200_000) ** 0.5)
        assert float(drawn.var()) == pytest.approx(7 / 6, abs=0.02)

    def test_equal_points_draw_their_value(self) -> None:
        assert triangular(draws("x", 3), 4, 4, 4).tolist() == [4, 4, 4]

    def test_sum_of_five_triangulars(self) -> None:
        # Mean 15.5; P50 15.44, P80 16.91, P90 17.69, P95 18.33, from two million draws with a general library.
        points = [(1, 2, 4), (2, 3, 7), (0.5, 1, 3), (3, 5, 6), (2, 2, 5)]
        total = sum(triangular(draws(f"five {n}", 200_000), *three) for n, three in enumerate(points))
        assert float(np.mean(total)) == pytest.approx(15.5, abs=0.02)
        for share, value in ((0.5, 15.44), (0.8, 16.91), (0.9, 17.69), (0.95, 18.33)):
            assert float(np.quantile(total, share)) == pytest.approx(value, abs=0.03)

    def test_percentiles_are_nearest_rank(self) -> None:
        # 1…10, 80 %: nearest rank 8 (linear interpolation would say 8.2).
        days = [(MONDAY + timedelta(days=n), 1) for n in range(1, 11)]
        assert nearest_rank(days, 0.8, 10) == MONDAY + timedelta(days=8)
        assert nearest_rank(days, 0.8, 13) is None  # 10 of 13 opened: 77 %
        assert nearest_rank(days, 0.1, 10) == MONDAY + timedelta(days=1)

    def test_how_far_chance_and_percentile_may_be_off(self) -> None:
        # Standard errors of 80 % are 0.0126 of 1,000 and 0.0040 of 10,000 runs; twenty to one holds 1.96 of them.
        assert chance_error(0.8, 1000) == pytest.approx(1.96 * 0.0126, abs=2e-4)
        assert chance_error(0.8, 10_000) == pytest.approx(1.96 * 0.0040, abs=1e-4)
        assert (chance_error(1.0, 1000), chance_error(0.5, 0)) == (0, 0)
        # Of 1,000 runs the 80 % point lies between ranks 800 ± 1.96 · √(1000 · 0.8 · 0.2) = 800 ± 24.8.
        days = [(MONDAY + timedelta(days=n), 1) for n in range(1, 1001)]
        assert between(days, 0.8, 1000) == (MONDAY + timedelta(days=776), MONDAY + timedelta(days=825))
        assert between([], 0.8, 0) == (None, None)

    def test_the_interval_holds_the_true_percentile_nineteen_times_in_twenty(self) -> None:
        # P80 of (2, 3, 7) is 5 by the closed form; of 400 forecasts of 500 runs 95 % ± four standard errors hold it.
        held = 0
        for n in range(400):
            hours = np.ceil(triangular(draws(f"often {n}", 500), 2, 3, 7) * 1000).astype(int)
            counted = [
                (date.fromordinal(int(one)), int(many))
                for one, many in zip(*np.unique(hours, return_counts=True), strict=True)
            ]
            low, high = between(counted, 0.8, 500)
            assert low is not None
            assert high is not None
            held += low.toordinal() <= 5000 <= high.toordinal()
        assert held / 400 == pytest.approx(0.95, abs=4 * (0.95 * 0.05 / 400) ** 0.5)

    def test_rank_share_of_straight_reversed_and_constant_samples(self) -> None:
        up = np.arange(10.0)
        assert rank_share(ranks(up), ranks(up**3)) == pytest.approx(1)
        assert rank_share(ranks(up), ranks(-up)) == pytest.approx(1)
        assert rank_share(ranks(up), ranks(np.ones(10))) == 0
        # Ties share their mean rank: (1, 2.5, 2.5, 4) against (1, 2, 3, 4) gives ρ = √0.9.
        assert rank_share(ranks(np.array([1.0, 2, 2, 3])), ranks(np.arange(4.0))) == pytest.approx(0.9)

    def test_streams_do_not_depend_on_each_other_or_on_the_number_of_runs(self) -> None:
        assert draws("task A", 10).tolist() == draws("task A", 20)[:10].tolist()
        assert draws("task A", 10).tolist() != draws("task B", 10).tolist()


class TestClock:
    # Two working windows, 8–12 at full speed and 32–36 at half speed: 4 + 2 hours of work.
    clock = Clock([(8, 12, 1.0), (32, 36, 0.5)])

    def test_begin(self) -> None:
        begin, _ = self.clock.do(np.array([0.0, 9, 12, 40]), np.ones(4))
        assert begin.tolist() == [8, 9, 32, np.inf]

    def test_end(self) -> None:
        ready = np.array([8.0, 8, 8, 11, 34, 34, np.inf, 9])
        _, end = self.clock.do(ready, np.array([1.0, 4, 5, 2, 1, 1.5, 1, 0]))
        assert end.tolist() == [9, 12, 34, 34, 36, np.inf, np.inf, 9]

    def test_no_windows(self) -> None:
        begin, end = Clock([]).do(np.array([1.0]), np.array([1.0]))
        assert (begin.tolist(), end.tolist()) == ([np.inf], [np.inf])

    @settings(max_examples=100, deadline=None)
    @given(
        st.lists(st.tuples(st.integers(0, 20), st.sampled_from([0.1, 0.25, 0.5, 3])), min_size=1, max_size=30),
        st.lists(st.floats(-5, 200), min_size=1, max_size=20),
    )
    def test_places_are_those_of_a_binary_search(self, gaps: list[tuple[int, float]], values: list[float]) -> None:
        steps = np.cumsum([gap + least for gap, least in gaps])
        asked = np.array([*values, *steps, *(steps + 1e-12), *(steps - 1e-12), np.inf])
        for side in ("left", "right"):
            assert Steps(steps, side).place(asked).tolist() == np.searchsorted(steps, asked, side=side).tolist()


class TestPlay:
    def test_three_equal_points_give_the_critical_path_date_in_every_percentile(self) -> None:
        # A 3 days, B 5 days side by side, C 4 days after both: 9 days from Monday 1 February.
        found = play(net_of(task("A", (3, 3, 3)), task("B", (5, 5, 5)), task("C", (4, 4, 4), ("A", "B")), opening("C")))
        assert {found.p10, found.p50, found.p80} == {date(2027, 2, 10)}
        assert found.histogram == [(date(2027, 2, 10), 2000)]
        assert found.drivers == []
        assert (found.chance_by_wish, found.chance_by_announced, found.unplaced) == (1, 1, 0)

    def test_equal_points_on_build_days_give_the_plans_date(self) -> None:
        net = net_of(work("A", (6, 6, 6)), work("B", (8, 8, 8), ("A",)), work("C", (2, 2, 2)), opening("B", "C"))
        schedule = solve(net, saturdays(2), DATES, NOTHING, [], TaskEdits(), MONDAY, None)
        found = play(net, saturdays(2))
        assert found.p10 == found.p80 == schedule.opening

    def test_percentiles_of_a_chain_of_waits(self) -> None:
        # The five triangulars above as days one after the other; an opening is the next midnight after the sum:
        # P50 15.44 → day 16, P80 16.91 → day 17 (the shares at 16 and 17 days are well away from 50 and 80 %).
        points = [(1, 2, 4), (2, 3, 7), (0.5, 1, 3), (3, 5, 6), (2, 2, 5)]
        tasks = [task(f"T{n}", three, (f"T{n - 1}",) if n else ()) for n, three in enumerate(points)]
        found = play(net_of(*tasks, opening("T4")), runs=20_000)
        assert found.p50 == MONDAY + timedelta(days=16)
        assert found.p80 == MONDAY + timedelta(days=17)

    def test_the_driver_with_the_widest_estimate_comes_first(self) -> None:
        found = play(net_of(task("A", (1, 2, 30)), task("B", (4, 5, 6), ("A",)), opening("B")))
        assert [one.what for one in found.drivers][:1] == ["A A"]
        assert found.drivers[0].share > 0.9

    def test_merging_paths_open_later_than_either_path_alone(self) -> None:
        one = play(net_of(task("A", (5, 10, 15)), opening("A")))
        two = play(net_of(task("A", (5, 10, 15)), task("B", (5, 10, 15)), opening("A", "B")))
        assert one.p50 is not None
        assert two.p50 is not None
        assert two.p50 > one.p50

    def test_the_later_of_two_paths_as_worked_out_by_hand(self) -> None:
        # Each (0, 30, 30) days: P(X ≤ x) = (x/30)², so of the later of two (x/30)⁴: half of the runs by 30 · 0.5^¼ =
        # 25.2 days, 80 % by 28.4, 10 % by 16.9; openings are the midnight after.
        found = play(net_of(task("A", (0, 30, 30)), task("B", (0, 30, 30)), opening("A", "B")), runs=10_000)
        assert found.p10 == MONDAY + timedelta(days=17)
        assert found.p50 == MONDAY + timedelta(days=26)
        assert found.p80 == MONDAY + timedelta(days=29)
        by_25 = sum(count for day, count in found.histogram if day <= MONDAY + timedelta(days=25)) / 10_000
        true = (25 / 30) ** 4
        assert by_25 == pytest.approx(true, abs=4 * (true * (1 - true) / 10_000) ** 0.5)

    def test_a_driver_says_how_many_days_lie_between_its_best_and_its_worst_fifth(self) -> None:
        # 30 √u days: the mean of the last fifth of u is 20 · (1 − 0.8^1.5)/0.2 = 28.4, of the first 20 · √0.2 = 8.9.
        found = play(net_of(task("A", (0, 30, 30)), opening("A")), runs=10_000)
        assert found.drivers[0].days == pytest.approx(19.5, abs=0.4)
        assert "opens 20 days later than the best fifth" in found.drivers[0].text or (
            "opens 19 days later than the best fifth" in found.drivers[0].text
        )

    def test_a_day_nobody_can_keep_is_said_to_be_out_of_reach(self) -> None:
        found = play(net_of(task("A", (100, 110, 120)), opening("A")))  # announced for the 89th day
        assert (found.chance_by_announced, found.chance_by_wish) == (0, 0)
        reason = next(one for one in found.reasons if one.code == "never-by")
        assert "Not one of 2000 runs opens by the announced Sat 1 May 2027" in reason.text
        assert "never-by" not in {one.code for one in play(net_of(task("A", (1, 2, 3)), opening("A"))).reasons}

    def test_what_is_done_is_over_however_uncertain_it_was(self) -> None:
        net = net_of(task("A", (1, 2, 300)), task("B", (4, 4, 4), ("A",)), opening("B"))
        edits = TaskEdits(done={"A": MONDAY - timedelta(days=1)})
        schedule = solve(net, saturdays(0), DATES, NOTHING, [], edits, MONDAY, None)
        found = forecast(net, schedule, saturdays(0), DATES, NOTHING, edits, MONDAY, runs=200)
        assert {found.p10, found.p80} == {schedule.opening} == {MONDAY + timedelta(days=4)}
        assert found.drivers == []

    def test_an_appointment_the_plan_cannot_keep_holds_up_no_run(self) -> None:
        # Saturday the 6th: no firm works then, the plan leaves it out, and so does every run.
        net = net_of(task("A", (1, 1, 1), kind="trade", place="trade"), opening("A"))
        edits = TaskEdits(appointments=[Appointment(task="A", date=date(2027, 2, 6))])
        schedule = solve(net, saturdays(0), DATES, NOTHING, [], edits, MONDAY, None)
        found = forecast(net, schedule, saturdays(0), DATES, NOTHING, edits, MONDAY, runs=10)
        assert found.histogram == [(date(2027, 2, 2), 10)]
        assert schedule.opening == date(2027, 2, 2)

    @settings(max_examples=40, deadline=None)
    @given(st.data())
    def test_with_nothing_uncertain_the_forecast_is_the_plan(self, data: st.DataObject) -> None:
        """Waits in whole days, firms in half days, helpers in half hours, everybody coming: exactly the plan's day."""
        tasks: list[Task] = []
        for n in range(data.draw(st.integers(1, 6), label="tasks")):
            earlier = [one.code for one in tasks]
            after = tuple(sorted(data.draw(st.sets(st.sampled_from(earlier)), label="after"))) if earlier else ()
            kind = data.draw(st.sampled_from(["wait", "trade", "work"]), label="kind")
            size = data.draw(st.integers(1, 8), label="size")
            if kind == "wait":
                tasks.append(task(f"T{n}", (size, size, size), after))
            elif kind == "trade":
                tasks.append(task(f"T{n}", (size / 2, size / 2, size / 2), after, kind="trade", place="trade"))
            else:
                most = data.draw(st.integers(1, 4), label="most")
                tasks.append(work(f"T{n}", (size, size, size), after, crew_min=1, crew_max=most))
        net = net_of(*tasks, opening(*(one.code for one in tasks)))
        crew = saturdays(8)
        schedule = solve(net, crew, DATES, NOTHING, [], TaskEdits(), MONDAY, None)
        found = forecast(net, schedule, crew, DATES, NOTHING, TaskEdits(), MONDAY, runs=3)
        assert schedule.opening is not None
        assert found.histogram == [(schedule.opening, 3)]

    def test_late_work_goes_on_the_next_build_day_and_then_on_further_ones(self) -> None:
        # One day of 6.75 h for two people; 12 person-hours likely, up to 30: some runs need a second Saturday, which
        # is not given, so a further one is assumed and said.
        net = net_of(work("A", (10, 12, 30)), opening("A"))
        found = play(net, saturdays(1))
        assert {day for day, _ in found.histogram} >= {date(2027, 2, 7), date(2027, 2, 14)}
        assert "further-days" in {one.code for one in found.reasons}

    def test_the_core_team_goes_on_in_the_evening_when_it_can(self) -> None:
        net = net_of(work("A", (10, 12, 30)), opening("A"))
        alone, helped = play(net, saturdays(1)), play(net, saturdays(1, core=3))
        assert alone.histogram[-1][0] >= date(2027, 2, 14)
        assert helped.histogram[-1][0] < date(2027, 2, 14)

    def test_too_few_for_the_smallest_crew_puts_the_work_off(self) -> None:
        # Four carriers needed, four places, 0 to 50 % stay away: nearly every run waits a week.
        net = net_of(work("H", (2, 2, 2), crew_min=4, crew_max=4), opening("H"))
        crew = saturdays(2)
        crew = replace(crew, no_show_high=Decimal("0.5"))
        found = play(net, crew)
        assert found.p50 == date(2027, 2, 14)

    def test_without_a_plan_no_forecast(self) -> None:
        net = net_of(work("A", (1, 2, 3), crew_min=9, crew_max=9), opening("A"))
        found = play(net, saturdays(1))
        assert (found.status, found.p50, found.histogram) == ("infeasible", None, [])
        assert found.reasons[0].severity == "warning"

    def test_a_ring_is_named_and_nothing_is_left_out_in_silence(self) -> None:
        """A plan of A, then B; since then A waits for B as well."""
        a, b = work("A", (1, 2, 3)), work("B", (1, 2, 3), ("A",))
        schedule = solve(net_of(a, b, opening("B")), saturdays(2), DATES, NOTHING, [], TaskEdits(), MONDAY, None)
        net = net_of(replace(a, after=[Lag(task="B")]), b, opening("B"))
        found = forecast(net, schedule, saturdays(2), DATES, NOTHING, TaskEdits(), MONDAY, runs=50)
        assert (found.status, found.runs, found.p80, found.histogram) == ("infeasible", 0, None, [])
        (reason,) = found.reasons
        assert (reason.code, reason.where, reason.severity) == ("loop", "A", "warning")
        assert reason.text.startswith("A A → B B → A A: each waits for the next")
        assert reason.todo
        never = solve(net, saturdays(2), DATES, NOTHING, [], TaskEdits(), MONDAY, None)
        assert (never.status, never.opening, [one.text for one in never.reasons]) == ("infeasible", None, [reason.text])

    def test_a_ring_through_people_handed_on_is_found_too(self) -> None:
        net = net_of(work("A", (1, 2, 3)), work("B", (1, 2, 3), ("A",)), opening("B"))
        schedule = solve(net, saturdays(2), DATES, NOTHING, [], TaskEdits(), MONDAY, None)
        played = _Play(net, schedule, saturdays(2), DATES, NOTHING, TaskEdits(), MONDAY, 10)
        assert played.ring() == []
        handed_on = _Play(net, schedule, saturdays(2), DATES, NOTHING, TaskEdits(), MONDAY, 10)
        handed_on.flow = {"A": ["B"]}
        assert handed_on.ring() == ["A", "B", "A"]

    @pytest.mark.parametrize(
        ("first", "opens"), [(date(2028, 2, 25), date(2028, 3, 10)), (date(2027, 2, 25), date(2027, 3, 11))]
    )
    def test_a_wait_of_a_fortnight_over_the_end_of_february(self, first: date, opens: date) -> None:
        # 25 February + 14 days: 10 March where there is a 29th, else 11 March.
        net, crew = net_of(task("W", (14, 14, 14)), opening("W")), saturdays(0)
        dates = Dates(lease_start=first, opening_wish=first)
        schedule = solve(net, crew, dates, NOTHING, [], TaskEdits(), first, None)
        found = forecast(net, schedule, crew, dates, NOTHING, TaskEdits(), first, runs=20)
        assert (schedule.opening, found.histogram) == (opens, [(opens, 20)])

    def test_work_on_a_leap_day_opens_on_the_first_of_march(self) -> None:
        leap = date(2028, 2, 29)
        crew = replace(saturdays(0), days=[BuildDay(id="leap", date=leap, name="Leap day", places=2)])
        net, dates = net_of(work("A", (2, 2, 2)), opening("A")), Dates(lease_start=leap, opening_wish=leap)
        first = leap - timedelta(days=7)
        schedule = solve(net, crew, dates, NOTHING, [], TaskEdits(), first, None)
        found = forecast(net, schedule, crew, dates, NOTHING, TaskEdits(), first, runs=20)
        assert [one.start_day for one in schedule.tasks if one.code == "A"] == [leap]
        assert found.histogram == [(date(2028, 3, 1), 20)]

    def test_a_build_that_has_opened(self) -> None:
        net = net_of(task("A", (1, 2, 3)), opening("A"))
        edits = TaskEdits(done={"A": MONDAY, "L10": MONDAY})
        schedule = solve(net, saturdays(0), DATES, NOTHING, [], edits, MONDAY, None)
        found = forecast(net, schedule, saturdays(0), DATES, NOTHING, edits, MONDAY)
        assert (found.status, found.p50, found.chance_by_wish) == ("proven", MONDAY, 1)


class TestDeliveries:
    def arrivals(self, low: int, likely: int, high: int, basis: Any = "to order") -> Arrivals:
        days = [MONDAY + timedelta(days=n) for n in (low, likely, high)]
        item = Arrival(
            item="foam", supplier="s", low=days[0], likely=days[1], high=days[2], basis=basis, lead_group="foam"
        )  # fmt: skip
        return Arrivals(status="proven", items=[item], reasons=[])

    def net(self) -> TaskNet:
        lead = task("C06", (7, 18, 35), arrival_of="foam")
        return net_of(lead, task("G08", (1, 1, 1), ("C06",), needs=["foam"]), opening("G08"))

    def test_a_delivery_is_drawn_from_its_lead_times_not_from_the_table(self) -> None:
        found = play(self.net(), arrivals=self.arrivals(10, 10, 10))
        assert found.p10 == found.p80 == MONDAY + timedelta(days=11)

    def test_a_delivery_is_named_as_driver(self) -> None:
        found = play(self.net(), arrivals=self.arrivals(10, 14, 30))
        assert [(one.what, one.kind) for one in found.drivers] == [("foam", "delivery")]

    def test_an_order_that_is_placed_does_not_wait_for_ordering(self) -> None:
        order = task("C04", (9, 9, 9))
        lead = task("C06", (7, 18, 35), ("C04",), arrival_of="foam")
        net = net_of(order, lead, task("G08", (1, 1, 1), ("C06",), needs=["foam"]), opening("G08"))
        found = play(net, arrivals=self.arrivals(10, 10, 10, "promised"))
        assert found.p50 == MONDAY + timedelta(days=11)

    def test_goods_that_are_here_pass_people_on_to_who_was_to_order_them(self) -> None:
        """One person carries in what came on Monday, then writes the order it hung on: no ring of who waits for whom.

        The foam is here on Monday, so Monday evening (three hours from 18:00) carries it in; the order is held until
        Tuesday and takes Tuesday evening; the opening is the midnight after it, Wednesday.
        """
        desk: Any = {"kind": "fixed", "place": "core team", "crew_min": 1, "crew_max": 1, "where": "desk"}
        order = task("C04", (2, 2, 2), **desk)
        lead = task("C06", (7, 18, 35), ("C04",), arrival_of="foam")
        net = net_of(order, lead, task("C12", (2, 2, 2), ("C06",), needs=["foam"], **desk), opening("C12", "C04"))
        edits = TaskEdits(not_before=[NotBefore(task="C04", date=MONDAY + timedelta(days=1))])
        crew, came = saturdays(0, core=1), self.arrivals(0, 0, 0, "received")
        schedule = solve(net, crew, DATES, came, [], edits, MONDAY, None)
        on = {one.code: one.start_day for one in schedule.tasks}
        assert (on["C12"], on["C04"]) == (MONDAY, MONDAY + timedelta(days=1))
        found = forecast(net, schedule, crew, DATES, came, edits, MONDAY, runs=50)
        assert found.histogram == [(MONDAY + timedelta(days=2), 50)]

    @settings(max_examples=25, deadline=None)
    @given(st.integers(1, 20), st.integers(0, 20), st.integers(0, 20), st.integers(1, 15))
    def test_a_later_delivery_moves_no_percentile_earlier(self, low: int, more: int, most: int, late: int) -> None:
        points = (low, low + more, low + more + most)
        before = play(self.net(), arrivals=self.arrivals(*points), runs=200)
        after = play(self.net(), arrivals=self.arrivals(*(day + late for day in points)), runs=200)
        assert_no_earlier(before, after)


def assert_no_earlier(before: Forecast, after: Forecast) -> None:
    for name in ("p10", "p50", "p80"):
        first, second = getattr(before, name), getattr(after, name)
        assert second is None or (first is not None and second >= first), name


@pytest.mark.xdist_group("hall")
class TestWholeHall:
    def test_the_same_inputs_give_the_same_bytes(self, hall: HallInputs, hall_plan: Schedule) -> None:
        assert to_json(hall.play(hall_plan)) == to_json(hall.play(hall_plan))

    def test_every_run_is_counted(self, hall: HallInputs, hall_plan: Schedule) -> None:
        found = hall.play(hall_plan)
        assert sum(count for _, count in found.histogram) + found.unplaced == found.runs
        assert found.p10 is not None
        assert found.p50 is not None
        assert found.p80 is not None
        assert found.p10 <= found.p50 <= found.p80
        assert all(0 < one.share <= 1 for one in found.drivers)

    def test_equal_points_and_sure_helpers_never_open_after_the_plan(
        self, hall: HallInputs, hall_plan: Schedule
    ) -> None:
        """Planned times round up to half hours and to the longest lead time, so a sure build is never later."""
        net = hall.net()
        sure = replace(net, tasks=[replace(one, low=one.likely, high=one.likely) for one in net.tasks])
        crew = replace(hall.crew, no_show_low=hall.crew.no_show_likely, no_show_high=hall.crew.no_show_likely)
        late = [replace(one, low=one.high, likely=one.high) for one in hall.arrivals.items]
        arrivals = replace(hall.arrivals, items=late)
        dates = Dates(lease_start=MONDAY, opening_wish=date(2027, 6, 1))
        found = forecast(sure, hall_plan, crew, dates, arrivals, TaskEdits(), MONDAY, runs=50)
        assert found.p10 == found.p80
        assert found.p80 is not None
        assert hall_plan.opening is not None
        assert timedelta(days=-3) <= found.p80 - hall_plan.opening <= timedelta(0)

    @pytest.mark.parametrize("code", ["D02", "F05", "G09", "W11", "W04", "H07", "L01", "B08"])
    def test_a_longer_task_moves_no_percentile_earlier(self, hall: HallInputs, hall_plan: Schedule, code: str) -> None:
        before = hall.play(hall_plan)
        row = next(one for one in hall.net().tasks if one.code == code)
        hall.drivers[row.driver] = hall.drivers.get(row.driver, 0) * 1.6
        assert_no_earlier(before, hall.play(hall_plan))

    def test_fewer_helpers_move_no_percentile_earlier(self, hall: HallInputs, hall_plan: Schedule) -> None:
        before = hall.play(hall_plan)
        for shares in (("0.10", "0.20", "0.40"), ("0.20", "0.40", "0.60"), ("0.5", "0.7", "0.9")):
            low, likely, high = map(Decimal, shares)
            hall.crew = replace(hall.crew, no_show_low=low, no_show_likely=likely, no_show_high=high)
            after = hall.play(hall_plan)
            assert_no_earlier(before, after)
            before = after

    def test_later_deliveries_move_no_percentile_earlier(self, hall: HallInputs, hall_plan: Schedule) -> None:
        before = hall.play(hall_plan)
        for n, item in enumerate(hall.arrivals.items):
            later = [
                replace(one, likely=one.high, high=one.high + timedelta(days=30)) if one is item else one
                for one in hall.arrivals.items
            ]
            delayed = replace(hall.arrivals, items=later)
            kept, hall.arrivals = hall.arrivals, delayed
            assert_no_earlier(before, hall.play(hall_plan))
            hall.arrivals = kept
            assert n < 20


class TestWhoComes:
    """A day ten days off with twelve places, a quarter of all helpers staying away, no core team."""

    CREW: Crew = replace(
        saturdays(1, places=12), no_show_low=Decimal("0.25"), no_show_likely=Decimal("0.25"),
        no_show_high=Decimal("0.25"),
    )  # fmt: skip

    def helpers(self, signed: int, days_off: int = 0, crew: Crew = CREW) -> Any:
        as_of = crew.days[0].date - timedelta(days=days_off)
        net = net_of(work("A", (1, 1, 1)), opening("A"))
        schedule = solve(net, crew, DATES, NOTHING, [], TaskEdits(), as_of, None)
        book = [SignedUp(id=str(n), day="d1") for n in range(signed)]
        play = _Play(net, schedule, crew, DATES, NOTHING, TaskEdits(), as_of, 20_000, book)
        return play.present["d1"]

    def test_of_eight_signed_up_as_many_come_as_the_binomial_distribution_says(self) -> None:
        # P(at least 5 of 8 at 75 %) = 0.8862, at least 6: 0.6785 (binomial); four standard errors at 20,000 draws.
        came = self.helpers(8)
        assert came.mean() == pytest.approx(6, abs=4 * (8 * 0.25 * 0.75 / 20_000) ** 0.5)
        assert (came >= 5).mean() == pytest.approx(0.8862, abs=0.009)
        assert (came >= 6).mean() == pytest.approx(0.6785, abs=0.0132)

    def test_without_a_book_every_place_counts_with_one_free_places_fill_up_to_the_day(self) -> None:
        assert set(self.helpers(0)) == {9.0}  # 12 · 0.75
        # Fourteen of twenty-eight days off, half of the four free places fill: 2 · 0.75 beside those who come.
        assert (self.helpers(8, days_off=14) - self.helpers(8) == 1.5).all()

    def test_more_signed_up_never_means_fewer_who_come(self) -> None:
        assert (self.helpers(9) >= self.helpers(8)).all()

    def test_a_helper_by_name_comes_as_surely_as_they_say(self) -> None:
        sure = replace(self.CREW, helpers=[Helper(id="h", name="H", days=["d1"], sure=Decimal(1))])
        assert (self.helpers(8, crew=sure) - self.helpers(8) == 1).all()


class TestWhoCanDoIt:
    """One Saturday and the next; work of the first takes somebody who can use a saw, a quarter stay away."""

    CREW: Crew = replace(TestWhoComes.CREW, days=saturdays(2, places=12).days, skill_shares={"saw": Decimal(0)})
    FIRST, SECOND = date(2027, 2, 7), date(2027, 2, 14)

    def play(self, sawyers: int, crew: Crew = CREW, runs: int = 10_000) -> Forecast:
        net = net_of(work("A", (4, 4, 4), skills=["saw"]), opening("A"))
        book = [SignedUp(id=str(n), day=day, skills=["saw"]) for n in range(sawyers) for day in ("d1", "d2")]
        book += [SignedUp(id=f"x{n}", day=day) for n in range(12 - sawyers) for day in ("d1", "d2")]
        # The plan counts on one of two who can; it holds whoever comes in the end.
        planned = [SignedUp(id=str(n), day=day, skills=["saw"]) for n in range(2) for day in ("d1", "d2")]
        schedule = solve(net, crew, DATES, NOTHING, planned, TaskEdits(), MONDAY, None)
        assert schedule.opening == self.FIRST
        return forecast(net, schedule, crew, DATES, NOTHING, TaskEdits(), MONDAY, signed_up=book, runs=runs)

    def test_without_anybody_who_can_the_work_waits_a_week(self) -> None:
        # One of them: comes in 3 of 4 runs. Two: neither comes in 1 of 16.
        for sawyers, away in ((1, 1 / 4), (2, 1 / 16), (12, 0)):
            found = dict(self.play(sawyers).histogram)
            late = found.get(self.SECOND, 0) / 10_000
            assert late == pytest.approx(away, abs=4 * (away * (1 - away) / 10_000) ** 0.5)

    def test_it_is_named_as_what_decides(self) -> None:
        found = self.play(1).drivers
        assert [(one.kind, one.what) for one in found][:1] == [("skill", "use a saw")]
        assert "Who can use a saw: 0 to 1 come on the 1 build day with such work, where 1 at a time is needed" in (
            found[0].text
        )
        # A quarter of the runs a week later and nothing else: all of the spread.
        assert found[0].share == pytest.approx(1, abs=1e-6)
        assert found[0].days == pytest.approx(7)

    def test_one_more_who_can_is_never_later(self) -> None:
        for sawyers in (1, 2, 3):
            assert_no_earlier(self.play(sawyers + 1, runs=500), self.play(sawyers, runs=500))

    def test_one_of_the_core_team_who_can_is_enough(self) -> None:
        crew = replace(self.CREW, core=[CorePerson(id="p", name="P", skills=["saw"])])
        assert self.play(1, crew).p80 == self.FIRST

    def test_the_share_expected_among_free_places_counts(self) -> None:
        # Nobody signed up but one; 11 free places, 5 of 28 days off: 11 · 5/28 · 0.75 = 1.47 come, a fifth can: in 29 %
        # of the runs one of them can, 0.75 · 0.71 … of the others wait.
        crew = replace(self.CREW, skill_shares={"saw": Decimal("0.2")})
        net = net_of(work("A", (2, 2, 2), skills=["saw"], crew_min=1, crew_max=1), opening("A"))
        schedule = solve(net, crew, DATES, NOTHING, [], TaskEdits(), MONDAY, None)
        book = [SignedUp(id="1", day="d1", skills=["saw"])]
        found = forecast(net, schedule, crew, DATES, NOTHING, TaskEdits(), MONDAY, signed_up=book, runs=10_000)
        first = dict(found.histogram).get(self.FIRST, 0) / 10_000
        chance = 1 - 0.25 * (1 - 0.2 * 11 * 5 / 28 * 0.75)
        assert first == pytest.approx(chance, abs=4 * (chance * (1 - chance) / 10_000) ** 0.5)


TEXTBOOK = {
    "A": (1, 2, 3), "B": (2, 3.5, 8), "C": (6, 9, 18), "D": (4, 5.5, 10), "E": (1, 4.5, 5), "F": (4, 4, 10),
    "G": (5, 6.5, 11), "H": (5, 8, 17), "I": (3, 7.5, 9), "J": (3, 9, 9), "K": (4, 4, 4), "L": (1, 5.5, 7),
    "M": (1, 2, 3), "N": (5, 5.5, 9),
}  # fmt: skip
"""Three-point estimates of the construction project in F. Hillier and G. Lieberman, Introduction to Operations
Research; the book's means (a + 4m + b)/6 are 2 4 10 6 4 5 7 9 7 8 4 5 2 6."""
TEXTBOOK_AFTER = {
    "A": "", "B": "A", "C": "B", "D": "C", "E": "C", "F": "E", "G": "D", "H": "EG", "I": "C", "J": "FI", "K": "J",
    "L": "J", "M": "H", "N": "KL",
}  # fmt: skip
CRITICAL = "ABCEFJLN"


def mean_and_variance(low: float, likely: float, high: float) -> tuple[float, float]:
    """Of a triangular distribution: (a + m + b)/3 and (a² + m² + b² − am − ab − mb)/18."""
    squares = low**2 + likely**2 + high**2 - low * likely - low * high - likely * high
    return (low + likely + high) / 3, squares / 18


class TestThreePoints:
    """The books take a beta distribution with mean (a + 4m + b)/6 and variance ((b − a)/6)²; ours is triangular,
    which is wider and, with a long upper tail, later: for the same three points mean and variance differ."""

    RUNS = 40_000

    def drawn(self) -> dict[str, Any]:
        return {code: triangular(draws(f"task {code}", self.RUNS), *three) for code, three in TEXTBOOK.items()}

    def test_mean_variance_and_chance_of_the_critical_path(self) -> None:
        # By the books 44 weeks, variance 9, P(47) = Φ(1) = 0.8413. Triangular, task by task along A B C E F J L N:
        # means 2 + 4.5 + 11 + 3.5 + 6 + 7 + 4.5 + 6.5 = 45;
        # variances (3 + 29.25 + 117 + 14.25 + 36 + 36 + 29.25 + 14.25)/18 = 279/18 = 15.5.
        book = [((a + 4 * m + b) / 6, ((b - a) / 6) ** 2) for a, m, b in (TEXTBOOK[code] for code in CRITICAL)]
        assert sum(mean for mean, _ in book) == pytest.approx(44)
        assert sum(variance for _, variance in book) == pytest.approx(9)
        ours = [mean_and_variance(*TEXTBOOK[code]) for code in CRITICAL]
        assert sum(mean for mean, _ in ours) == pytest.approx(45)
        assert sum(variance for _, variance in ours) == pytest.approx(15.5)
        drawn = self.drawn()
        path = sum(drawn[code] for code in CRITICAL)
        assert float(path.mean()) == pytest.approx(45, abs=4 * (15.5 / self.RUNS) ** 0.5)
        assert float(path.var()) == pytest.approx(15.5, rel=0.03)
        # The normal formula for this path, Φ((47 − 45)/√15.5) = Φ(0.508) = 0.694; a sum of eight is nearly normal.
        assert float((path <= 47).mean()) == pytest.approx(0.694, abs=0.02)

    def test_four_in_a_row(self) -> None:
        # Taylor, Introduction to Management Science: 24, variance 5, by the book's rule. Triangular: 10 + 5 + 6 + 4
        # = 25; (117 + 12 + 12 + 3)/18 = 8.
        points = [(5, 8, 17), (3, 5, 7), (4, 6, 8), (3, 4, 5)]
        assert sum((a + 4 * m + b) / 6 for a, m, b in points) == pytest.approx(24)
        assert sum(((b - a) / 6) ** 2 for a, _, b in points) == pytest.approx(5)
        total = sum(triangular(draws(f"four {n}", self.RUNS), *three) for n, three in enumerate(points))
        assert float(np.mean(total)) == pytest.approx(25, abs=4 * (8 / self.RUNS) ** 0.5)
        assert float(np.var(total)) == pytest.approx(8, rel=0.03)

    def test_a_beta_through_the_same_points_is_narrower_and_earlier(self) -> None:
        # (2, 3, 7): α = 1 + 4·(3 − 2)/5 = 1.8, β = 1 + 4·(7 − 3)/5 = 4.2; mean (2 + 4·3 + 7)/6 = 3.5; variance
        # 25·1.8·4.2/(6²·7) = 189/252 = 0.75, where the rule ((7 − 2)/6)² says 0.6944. P80 by SciPy's beta: 4.2513.
        # Ours: mean 12/3 = 4, variance (4 + 9 + 49 − 6 − 14 − 21)/18 = 7/6, P80 7 − √(0.2·5·4) = 5.
        from scipy.stats import beta

        book = beta(1.8, 4.2, loc=2, scale=5)
        assert (book.mean(), book.var()) == (pytest.approx(3.5), pytest.approx(0.75))
        assert round(((7 - 2) / 6) ** 2, 4) == 0.6944
        assert book.ppf(0.8) == pytest.approx(4.2513, abs=5e-5)
        ours = triangular(draws("beside a beta", self.RUNS), 2, 3, 7)
        assert float(ours.mean()) == pytest.approx(4, abs=4 * (7 / 6 / self.RUNS) ** 0.5)
        assert float(ours.var()) == pytest.approx(7 / 6, rel=0.03)
        assert float(np.quantile(ours, 0.8)) == pytest.approx(5, abs=0.03)

    def test_every_run_is_the_critical_path_of_its_own_draws(self) -> None:
        """Where paths meet the later one counts, so the forecast is later than the one path the formula sees."""
        codes = {code: f"X{code}" for code in TEXTBOOK}
        net = net_of(
            *(task(codes[c], three, tuple(codes[b] for b in TEXTBOOK_AFTER[c])) for c, three in TEXTBOOK.items()),
            opening(codes["M"], codes["N"]),
        )
        ends: dict[str, Any] = {}
        for code, three in TEXTBOOK.items():
            ready = [ends[before] for before in TEXTBOOK_AFTER[code]]
            work = triangular(draws(f"task {codes[code]}", 2000), *three)
            ends[code] = (np.maximum.reduce(ready) if ready else 0.0) + work
        by_hand = np.ceil(np.maximum(ends["M"], ends["N"]) - 1e-9)
        expected: dict[date, int] = {}
        for days in by_hand.tolist():
            when = MONDAY + timedelta(days=int(days))
            expected[when] = expected.get(when, 0) + 1
        assert dict(play(net).histogram) == expected
        assert float(np.mean(np.maximum(ends["M"], ends["N"]))) > 45
