"""Lags and cures are real time, days are the calendar's: plans across a change of the clock, by hand.

Changes from the tz database. New York: forward on 8 March 2026 from 02:00 to 03:00, back on 1 November 2026 from
02:00 to 01:00. London: back on 25 October 2026 from 02:00 to 01:00. Lord Howe Island: by half an hour, back on
5 April 2026 and forward on 4 October 2026, both at 02:00. Tokyo: none.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from msgspec.structs import replace

from scheduling.engine.calendars import LocalTime
from scheduling.engine.forecast import forecast
from scheduling.engine.schedule import solve
from scheduling.engine.types import BuildDay, Crew, Dates, Lag, Schedule, Task, TaskEdits
from tests.scheduling.test_schedule import NO_ONE_MISSING, NOTHING_ORDERED, net_of, opening, task

NEW_YORK, LORD_HOWE, TOKYO = "America/New_York", "Australia/Lord_Howe", "Asia/Tokyo"
SPRING, AUTUMN = date(2026, 3, 7), date(2026, 10, 31)
"""The Saturdays before the change in New York."""


def weekend(saturday: date, until: str = "21:00") -> Crew:
    """A Saturday from 17:30 to 18:00, the Sunday after it from 07:00; four places each, no meal."""
    hours = ((saturday, "17:30", "18:00"), (saturday + timedelta(days=1), "07:00", until))
    days = [
        BuildDay(id=f"d{n}", date=day, name=f"Day {n}", start=start, end=end, meal_minutes=0, places=4)
        for n, (day, start, end) in enumerate(hours, 1)
    ]
    return Crew(core=[], days=days, **NO_ONE_MISSING)


def solved(tasks: list[Task], crew: Crew, zone: str, first: date) -> Schedule:
    dates = Dates(lease_start=first, opening_wish=first + timedelta(days=60))
    net = net_of(*tasks, opening(*(one.code for one in tasks)))
    return solve(net, crew, dates, NOTHING_ORDERED, [], TaskEdits(), first, None, zone)


def starts_on_sunday(saturday: date, zone: str, until: str = "21:00", **lag: Any) -> str:
    """A half hour that ends on Saturday at 18:00, and when the half hour after it begins on Sunday."""
    pair = [task("A", 0.5, (1, 1)), task("B", 0.5, (1, 1), after=[Lag(task="A", **lag)])]
    found = solved(pair, weekend(saturday, until), zone, saturday - timedelta(days=5))
    first, second = (next(one for one in found.tasks if one.code == code) for code in "AB")
    assert (first.start_day, first.end) == (saturday, 18 * 60)
    assert second.start_day == saturday + timedelta(days=1)
    return f"{second.start // 60:02}:{second.start % 60:02}"


# From Saturday 18:00 to Sunday 09:00 the clock shows 15 hours: 14 of real time in spring, 16 in autumn.
CASES = [
    (SPRING, NEW_YORK, 14, "09:00"), (SPRING, NEW_YORK, 15, "10:00"), (SPRING, NEW_YORK, 24, "19:00"),
    (AUTUMN, NEW_YORK, 16, "09:00"), (AUTUMN, NEW_YORK, 15, "08:00"), (AUTUMN, NEW_YORK, 24, "17:00"),
    (SPRING, "UTC", 15, "09:00"), (SPRING, "UTC", 24, "18:00"), (SPRING, TOKYO, 24, "18:00"),
    # Half an hour: 18:00 and 15 hours are 09:00 by the old clock.
    (date(2026, 10, 3), LORD_HOWE, 15, "09:30"), (date(2026, 4, 4), LORD_HOWE, 15, "08:30"),
]  # fmt: skip


@pytest.mark.parametrize(("saturday", "zone", "hours", "start"), CASES)
def test_a_lag_of_hours_is_real_time(saturday: date, zone: str, hours: int, start: str) -> None:
    assert starts_on_sunday(saturday, zone, minutes=hours * 60, in_hours=True) == start


@pytest.mark.parametrize(("saturday", "zone"), [(SPRING, NEW_YORK), (AUTUMN, NEW_YORK), (SPRING, TOKYO)])
def test_a_lag_of_a_day_is_met_on_that_day(saturday: date, zone: str) -> None:
    assert starts_on_sunday(saturday, zone, until="18:00", minutes=1440) == "07:00"


@pytest.mark.parametrize(("saturday", "start"), [(SPRING, 19), (AUTUMN, 17)])
def test_what_cures_a_day_takes_24_real_hours(saturday: date, start: int) -> None:
    chain = [
        task("A", 0.5, (1, 1)),
        task("W", 1, (0, 0), kind="wait", place="wait", after=[Lag(task="A")], cures=True),
        task("B", 0.5, (1, 1), after=[Lag(task="W")]),
    ]
    found = solved(chain, weekend(saturday), NEW_YORK, saturday - timedelta(days=5))
    assert next(one for one in found.tasks if one.code == "B").start == start * 60


def test_a_longest_wait_is_real_time_too() -> None:
    # At most 14 hours after Saturday 18:00: in spring Sunday 09:00 is still in time, by the clock's 15 it would not be.
    pair = [
        task("A", 0.5, (1, 1)), task("B", 0.5, (1, 1), after=[Lag(task="A", most=14 * 60)]),
        task("C", 0.5, (1, 1), after=[Lag(task="A", minutes=14 * 60, most=14 * 60)]),
    ]  # fmt: skip
    found = solved(pair, weekend(SPRING), NEW_YORK, SPRING - timedelta(days=5))
    assert next(one for one in found.tasks if one.code == "C").start == 9 * 60
    assert solved(pair, replace(weekend(SPRING), days=[weekend(SPRING).days[0]]), NEW_YORK, SPRING).opening is None


@pytest.mark.parametrize("cures", [False, True])
def test_a_wait_of_days_ends_by_the_calendar_and_so_does_its_forecast(cures: bool) -> None:
    # Fourteen days from midnight of Sunday 1 March end on the 15th at midnight; 14 times 24 hours an hour later, so
    # that the doors open the day after.
    first = date(2026, 3, 1)
    wait = task("W", 14, (0, 0), kind="wait", place="wait", cures=cures)
    found = solved([wait], Crew(core=[], days=[]), NEW_YORK, first)
    assert found.opening == date(2026, 3, 16 if cures else 15)
    assert (found.value, found.bound) == ((found.opening - first).days, found.value)
    dates = Dates(lease_start=first, opening_wish=first)
    net = net_of(wait, opening("W"))
    played = forecast(
        net, found, Crew(core=[], days=[]), dates, NOTHING_ORDERED, TaskEdits(), first, time_zone=NEW_YORK, runs=20
    )
    assert played.p10 == played.p80 == found.opening


def test_a_wait_that_can_end_on_either_side_of_a_change() -> None:
    # From Friday 6 March 2026 a wait of two days from any hour: it ends at that hour of its second day after.
    local = LocalTime(date(2026, 3, 6), NEW_YORK)
    modes = local.calendar_modes(2, 5 * 48)
    assert [length for length, _ in modes] == [94, 95, 96]  # 95: half past two on the Sunday does not exist
    seen = set()
    for length, spans in modes:
        for low, high in spans:
            for start in range(low, high + 1):
                seen.add(start)
                day, minutes = local.reading(start)
                then = (day + timedelta(days=2), minutes)
                expected = (
                    (date(2026, 3, 8), 180) if then in ((date(2026, 3, 8), 120), (date(2026, 3, 8), 150)) else then
                )
                assert local.reading(start + length) == expected
    assert seen >= set(range(5 * 48))


class TestADayWithTheChange:
    def day(self, when: date, start: str, end: str, *tasks: Task) -> Schedule:
        days = [BuildDay(id="d1", date=when, name="Night", start=start, end=end, meal_minutes=0, places=4)]
        return solved(list(tasks), Crew(core=[], days=days, **NO_ONE_MISSING), NEW_YORK, when - timedelta(days=6))

    def test_its_hours_are_by_the_new_clock_and_it_is_told(self) -> None:
        for when, words in ((date(2026, 3, 8), "forward by 60"), (date(2026, 11, 1), "back by 60")):
            found = self.day(when, "08:30", "16:30", task("A", 1, (1, 1)))
            told = [one for one in found.reasons if one.code == "clock-change"]
            assert [(one.where, words in one.text, one.severity) for one in told] == [("d1", True, "note")]
            assert found.tasks[0].start == 8 * 60 + 30
        quiet = self.day(date(2026, 3, 7), "08:30", "16:30", task("A", 1, (1, 1)))
        assert "clock-change" not in {one.code for one in quiet.reasons}

    def test_an_hour_is_missing_in_spring(self) -> None:
        # 00:00 to 06:00 are five hours of work: a job of five fits in one go, one of five and a half does not.
        five = self.day(date(2026, 3, 8), "00:00", "06:00", task("A", 5, (1, 1), one_day=True))
        assert (five.tasks[0].start, five.tasks[0].end) == (0, 6 * 60)
        more = self.day(date(2026, 3, 8), "00:00", "06:00", task("A", 5.5, (1, 1), one_day=True))
        assert [one.code for one in more.reasons if one.severity == "stop"] == ["no-day-long-enough"]

    def test_the_hour_shown_twice_in_autumn_is_left_free(self) -> None:
        # 00:00 to 02:00 and, after the second pass of an hour, 02:00 to 06:00.
        found = self.day(date(2026, 11, 1), "00:00", "06:00", task("A", 2, (1, 1)), task("B", 4, (1, 1)))
        spans = {one.code.split("/")[0]: (one.start, one.end) for one in found.tasks if one.code != "L10"}
        assert spans["A"] == (0, 120)
        late = [one for one in found.tasks if one.code.startswith("B")]
        assert min(one.start for one in late) >= 0
        assert max(one.end for one in late) <= 360

    def test_a_time_the_clock_never_shows_is_told(self) -> None:
        found = self.day(date(2026, 3, 8), "02:30", "08:00", task("A", 1, (1, 1)))
        assert "the clocks skip 02:30" in next(one.text for one in found.reasons if one.code == "build-day")
        assert found.tasks[0].start == 3 * 60


class TestLocalTime:
    @pytest.mark.parametrize(
        ("zone", "day", "minutes", "utc"),
        [
            # A time shown twice is the first; a time never shown is the moment of the change.
            (NEW_YORK, date(2026, 11, 1), 90, "2026-11-01 05:30"),
            ("Europe/London", date(2026, 10, 25), 90, "2026-10-25 00:30"),
            (NEW_YORK, date(2026, 3, 8), 150, "2026-03-08 07:00"),
            (NEW_YORK, date(2026, 3, 8), 540, "2026-03-08 13:00"),
            (LORD_HOWE, date(2026, 10, 4), 9 * 60, "2026-10-03 22:00"),
            (LORD_HOWE, date(2026, 4, 5), 9 * 60, "2026-04-04 22:30"),
        ],
    )
    def test_published_times(self, zone: str, day: date, minutes: int, utc: str) -> None:
        first = day - timedelta(days=20)
        zero = datetime(first.year, first.month, first.day, tzinfo=ZoneInfo(zone)).astimezone(UTC)
        moment = zero + timedelta(minutes=30 * LocalTime(first, zone).slot(day, minutes))
        assert f"{moment:%Y-%m-%d %H:%M}" == utc

    @pytest.mark.parametrize("zone", [NEW_YORK, LORD_HOWE, "Europe/London", TOKYO, "Asia/Kolkata", "America/Havana"])
    def test_every_half_hour_agrees_with_the_tz_database(self, zone: str) -> None:
        first = date(2026, 2, 20)
        local = LocalTime(first, zone)
        zero = datetime(2026, 2, 20, tzinfo=ZoneInfo(zone)).astimezone(UTC)
        for slot in range(-30 * 48, 300 * 48, 7):
            shown = (zero + timedelta(minutes=30 * slot)).astimezone(ZoneInfo(zone))
            assert local.reading(slot) == (shown.date(), shown.hour * 60 + shown.minute)
            assert local.slot(*local.reading(slot)) in (slot, slot - 2, slot - 1)  # earlier: shown twice

    def test_a_leap_day_is_a_day(self) -> None:
        local = LocalTime(date(2028, 2, 25), NEW_YORK)
        assert local.slot(date(2028, 3, 10)) == 14 * 48
        assert LocalTime(date(2027, 2, 25), NEW_YORK).slot(date(2027, 3, 11)) == 14 * 48
