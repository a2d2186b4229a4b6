"""Learning from finished work, solved by hand."""

from __future__ import annotations

from datetime import date
from math import exp, log

import pytest

from scheduling.engine.learning import DayTurnOut, FinishedTask, Learned, calibrate, held_likely, learn, no_show, wilson
from scheduling.engine.template import default_template
from scheduling.engine.types import RateEdit, Task, TaskEdits
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


def learned(*done: FinishedTask, edits: TaskEdits | None = None, days: tuple[DayTurnOut, ...] = ()) -> Learned:
    net = net_of(of_list("D02", 8), of_list("D04", 4), of_list("F05", 10), of_list("W11", 27))
    return learn(net, edits or TaskEdits(), done, days)


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
        half, most = calibrate(slow)
        assert (half.hits, most.hits) == (0, 0)
        assert not half.fits
        assert not most.fits
        assert calibrate(slow[:1])[0].fits  # one task says little
