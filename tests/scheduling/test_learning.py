"""Learning from finished work, solved by hand."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from math import exp, log

import pytest
from msgspec.structs import replace

from scheduling.engine.learning import (
    DayTurnOut,
    FinishedTask,
    Learned,
    calibrate,
    held_likely,
    learn,
    no_show,
    place_of_task,
    place_of_turn_out,
    wilson,
)
from scheduling.engine.template import default_template
from scheduling.engine.types import Crew, RateEdit, Task, TaskEdits
from tests.scheduling.test_schedule import net_of, task

ROWS = {row.code: row for row in default_template()}


def of_list(code: str, hours: float) -> Task:
    """A task of the default list whose likely effort is so many person-hours."""
    row = ROWS[code]
    return task(code, hours, low=hours / 2, high=hours * 2, quantity=hours * row.likely, unit=row.unit)


def finished(code: str, hours: float, likely: float) -> FinishedTask:
    return FinishedTask(
        code=code, day=date(2027, 2, 6), hours=hours, low=likely / 2, likely=likely, high=likely * 2
    )  # fmt: skip


def decimal(number: float) -> Decimal:
    return Decimal(str(number))


USUAL = Crew(core=[], days=[])


def learned(
    *done: FinishedTask, edits: TaskEdits | None = None, days: tuple[DayTurnOut, ...] = (), crew: Crew = USUAL
) -> Learned:
    net = net_of(of_list("D02", 8), of_list("D04", 4), of_list("F05", 10), of_list("W11", 27))
    return learn(net, edits or TaskEdits(), done, days, crew)


class TestRates:
    def test_one_task_twice_as_slow_moves_the_build_a_quarter_of_the_way(self) -> None:
        # ln 2 seen once against three defaults of 0: ln 2 ÷ 4, a factor of 2^(1/4) = 1.189.
        found = learned(finished("D02", 16, 8))
        assert found.factor == pytest.approx(2**0.25, abs=5e-4)
        new = {one.code: one.new for one in found.rates}
        assert new["W11"] == pytest.approx(ROWS["W11"].likely / 2**0.25, rel=5e-4)
        # The task itself: (3 · ln 2/4 + ln 2) ÷ 4 = 7/16 ln 2.
        assert new["D02"] == pytest.approx(ROWS["D02"].likely / 2 ** (7 / 16), rel=5e-4)
        assert [one.seen is None for one in found.rates] == [False, True, True, True]

    def test_three_tasks_weigh_half(self) -> None:
        # Each half as slow again: (3 · ln 1.5) ÷ 6.
        found = learned(finished("D02", 12, 8), finished("D04", 6, 4), finished("F05", 15, 10))
        assert found.factor == pytest.approx(exp(log(1.5) / 2), abs=5e-4)
        assert found.tasks == 3

    def test_the_spread_stays_and_the_order_too(self) -> None:
        edit = next(one.edit for one in learned(finished("D02", 16, 8)).rates if one.code == "W11")
        row = ROWS["W11"]
        assert edit.low <= edit.likely <= edit.high
        assert float(edit.high / edit.low) == pytest.approx(row.high / row.low, rel=2e-3)
        assert edit.why == "Learned: 1 finished task of this build"

    def test_as_expected_changes_nothing(self) -> None:
        assert learned(finished("D02", 8, 8)).rates == []
        assert learned().rates == []

    def test_the_owners_own_rate_stays_and_a_learned_one_is_learned_anew(self) -> None:
        own = RateEdit(code="W11", low=1, likely=2, high=3, why="My crew")
        old = RateEdit(code="F05", low=1, likely=2, high=3, why="Learned: 1 finished task of this build")
        found = learned(finished("D02", 16, 8), edits=TaskEdits(rates=[own, old]))
        assert {one.code for one in found.rates} == {"D02", "D04", "F05"}
        # Learning twice from the same work gives the same: always from the default, never from itself.
        again = learned(finished("D02", 16, 8), edits=TaskEdits(rates=[own, *(one.edit for one in found.rates)]))
        assert again == found

    def test_what_is_over_uncounted_learns_nothing(self) -> None:
        over = TaskEdits(done={"D02": date(2027, 2, 6), "D04": date(2027, 2, 6)})
        assert {one.code for one in learned(finished("D02", 16, 8), edits=over).rates} == {"D02", "F05", "W11"}

    def test_a_forgotten_tick_is_put_aside(self) -> None:
        found = learned(finished("D02", 80, 8), finished("D04", 0.2, 4))
        assert (found.put_aside, found.tasks, found.rates) == (["D02"], 0, [])


class TestShowUp:
    def test_beta_counts_are_added_to(self) -> None:
        # Mean 0.138333, spread 0.041667: counts of 67.66 people. Ten of forty away: (9.36 + 10) ÷ 107.66 = 0.1798.
        low, likely, high = no_show(0.05, 0.12, 0.30, 40, 30)
        odds = (0.17982 / 0.82018) / (0.138333 / 0.861667)
        for before, after in ((0.05, low), (0.12, likely), (0.30, high)):
            assert after / (1 - after) == pytest.approx(odds * before / (1 - before), rel=1e-3)

    def test_as_many_away_as_usual_changes_nothing(self) -> None:
        # 83 of 600 is 13.8 %.
        assert no_show(0.05, 0.12, 0.30, 600, 517)[1] == pytest.approx(0.12, abs=5e-4)

    def test_nobody_away_and_everybody_away_stay_shares(self) -> None:
        for came in (0, 500):
            low, likely, high = no_show(0.05, 0.12, 0.30, 500, came)
            assert 0 < low < likely < high < 1

    def test_days_are_added_up_and_more_than_signed_up_is_nobody_away(self) -> None:
        days = (
            DayTurnOut(day="a", date=date(2027, 2, 6), signed=10, came=12),
            DayTurnOut(day="b", date=date(2027, 2, 13), signed=10, came=8),
        )
        found = learned(days=days)
        assert (found.signed, found.came) == (20, 18)
        assert found.no_show is not None
        assert learned().no_show is None

    def test_a_share_set_by_hand_stays_and_a_learned_one_is_learned_anew(self) -> None:
        days = (DayTurnOut(day="a", date=date(2027, 2, 6), signed=40, came=30),)
        found = learned(days=days)
        assert found.no_show is not None
        assert found.counts == pytest.approx(67.7)  # mean 0.138333, spread 0.25/6: 0.1192/0.001736 − 1
        points = dict(zip(("no_show_low", "no_show_likely", "no_show_high"), map(decimal, found.no_show), strict=True))
        by_hand = learned(days=days, crew=replace(USUAL, **points))
        assert (by_hand.no_show, by_hand.own_no_show) == (None, True)
        again = learned(
            days=days, crew=replace(USUAL, **points, no_show_why="Learned: 30 of 40 who had signed up came")
        )
        assert again == found


class TestCalibration:
    def test_shares_of_a_triangular(self) -> None:
        # (2, 3, 7): quantiles at 10, 20, 50, 80, 90 % are 2.7071, 3, 3.8377, 5, 5.5858 (closed form).
        for share, value in ((0.1, 2.7071), (0.2, 3), (0.5, 3.8377), (0.8, 5), (0.9, 5.5858)):
            assert held_likely(2, 3, 7, value) == pytest.approx(share, abs=2e-5)
        assert held_likely(4, 4, 4, 4) == 1
        assert held_likely(2, 3, 7, 1) == 0

    def test_nine_of_ten(self) -> None:
        # Wilson 0.596 to 0.982; recomputed with a general statistics library.
        assert [round(share, 3) for share in wilson(9, 10)] == [0.596, 0.982]
        assert wilson(0, 0) == (0, 1)

    def test_estimates_that_are_too_short_are_told_from_bad_luck(self) -> None:
        slow = [finished("D02", 15.9, 8)] * 9  # high is 16
        half, most = calibrate([place_of_task(one) for one in slow])
        assert (half.hits, most.hits) == (0, 0)
        assert not half.fits
        assert not most.fits
        assert calibrate([place_of_task(slow[0])])[0].fits  # one task says little

    def test_turn_out_lies_where_the_binomial_distribution_says(self) -> None:
        def day(came: int, signed: int = 8, held: tuple[float, float, float] = (0.25, 0.25, 0.25)) -> DayTurnOut:
            return DayTurnOut(day="a", date=date(2027, 2, 6), signed=signed, came=came, held=held)

        # Eight signed up, a quarter away for certain: P(at least 6 come) = 0.6785, at least 5 0.8862; two away lies
        # between P(at most 1 away) = 0.3671 and 0.6785, three away between 0.6785 and 0.8862.
        assert place_of_turn_out(day(6)) == pytest.approx((0.3671 + 0.6785) / 2, abs=1e-4)
        assert place_of_turn_out(day(5)) == pytest.approx((0.6785 + 0.8862) / 2, abs=1e-4)
        # More came than had signed up: nobody away, half of 0.75^8.
        assert place_of_turn_out(day(11)) == pytest.approx(0.75**8 / 2, abs=1e-6)
        # One person, share triangular on (0, 0.3, 0.6) with mean 0.3: away has chance 0.3, so lies at 0.7 + 0.15.
        assert place_of_turn_out(day(0, 1, (0, 0.3, 0.6))) == pytest.approx(0.85, abs=1e-4)

    def test_forecasts_that_fit_are_found_to_fit_over_many(self) -> None:
        # Outcomes at the 1st, 3rd … 99th hundredth of what was forecast: 25 of 50 below a half, 40 below four fifths.
        placed = [held_likely(2, 3, 7, _at(n / 100)) for n in range(1, 100, 2)]
        half, most = calibrate(placed)
        assert (half.hits, most.hits, half.of) == (25, 40, 50)
        assert half.fits
        assert most.fits
        # Wilson: 25 of 50 leaves 0.366 to 0.634, 40 of 50 0.670 to 0.888.
        assert half.usual == pytest.approx((0.366, 0.634), abs=1e-3)
        assert most.usual == pytest.approx((0.670, 0.888), abs=1e-3)


def _at(share: float) -> float:
    """Quantile of (2, 3, 7): 2 + √(5 u) up to u = 0.2, then 7 − √(20 (1 − u)); closed form."""
    return 2 + (5 * share) ** 0.5 if share < 0.2 else 7 - (20 * (1 - share)) ** 0.5
