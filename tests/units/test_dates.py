"""Working days, ISO weeks, local times."""

import re
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildout.units.dates import (
    CalendarError,
    NoSuchTimeError,
    TwiceError,
    add_working_days,
    date_text,
    day_text,
    elapsed,
    iso_week,
    latest_order_date,
    local_time,
    next_working_day,
    previous_working_day,
    working_day_from,
    working_day_until,
    working_days_between,
)

D = date.fromisoformat


@pytest.mark.parametrize(
    ("day", "week"),
    [
        ("2008-12-29", "2009-W01-1"), ("2010-01-03", "2009-W53-7"), ("2020-12-31", "2020-W53-4"),
        ("2021-01-03", "2020-W53-7"), ("2022-12-31", "2022-W52-6"), ("2024-12-30", "2025-W01-1"),
        ("2026-12-31", "2026-W53-4"), ("2027-01-04", "2027-W01-1"),
    ],
)  # fmt: skip
def test_iso_weeks(day, week):
    """ISO 8601: the week of the first Thursday is week 1."""
    assert iso_week(D(day)) == week


def test_working_days():
    # Wed 25 Nov 2026: Fri 27, Mon 30, Tue 1, Wed 2, Thu 3 with the 26th closed
    assert add_working_days(D("2026-11-25"), 5, [D("2026-11-26")]) == D("2026-12-03")
    assert add_working_days(D("2026-11-25"), 5, [D("2026-11-26"), D("2026-11-27")]) == D("2026-12-04")
    assert add_working_days(D("2028-02-25"), 3) == D("2028-03-01")  # leap day between
    assert D("2028-02-25") + timedelta(days=14) == D("2028-03-10")
    assert D("2027-02-25") + timedelta(days=14) == D("2027-03-11")
    assert add_working_days(D("2026-11-28"), 0) == D("2026-11-28")


def test_neighbouring_working_days():
    friday, saturday, monday = D("2026-11-27"), D("2026-11-28"), D("2026-11-30")
    assert next_working_day(friday) == monday == working_day_from(saturday)
    assert previous_working_day(monday) == friday == working_day_until(saturday)
    assert working_day_from(friday) == working_day_until(friday) == friday


def test_latest_order_date_counts_back():
    # Sat 9 Jan 2027 back ten: 8 7 6 5 4 Jan, 31 30 29 28 24 Dec, with 25 Dec and 1 Jan closed
    closed = [D("2026-12-25"), D("2027-01-01")]
    assert latest_order_date(D("2027-01-09"), 10, closed) == D("2026-12-24")
    # ordered that day, ten working days run out on Monday 11 Jan; to be there by Friday it is one day earlier
    assert add_working_days(D("2026-12-24"), 10, closed) == D("2027-01-11")
    assert latest_order_date(D("2027-01-09"), 10, closed, carrier_works_weekends=False) == D("2026-12-23")
    assert latest_order_date(D("2027-01-09"), 0, closed) == D("2027-01-08")
    with pytest.raises(CalendarError):
        latest_order_date(D("2027-01-09"), -1)


@given(st.dates(D("2024-01-01"), D("2030-01-01")), st.integers(0, 60), st.sets(st.integers(0, 90), max_size=12))
def test_orders_by_the_latest_date_arrive_in_time(need, lead, shut):
    closed = {need - timedelta(days=k) for k in shut}
    last = latest_order_date(need, lead, closed, carrier_works_weekends=False)
    assert add_working_days(last, lead, closed) <= need
    assert add_working_days(next_working_day(last, closed), lead, closed) > need


@given(st.dates(D("2024-01-01"), D("2030-01-01")), st.integers(0, 60))
def test_count_and_step_agree(day, days):
    later = add_working_days(day, days)
    assert working_days_between(day, later) == days
    assert working_days_between(later, day) == -days


def test_a_calendar_without_working_days_is_refused():
    with pytest.raises(CalendarError, match="at least one weekday"):
        next_working_day(D("2026-01-01"), weekend=range(7))


def test_spring_change():
    start = local_time(D("2026-03-07"), time(18), "America/New_York")
    end = local_time(D("2026-03-08"), time(9), "America/New_York")
    assert elapsed(start, end) == timedelta(hours=14)  # plain subtraction in one zone says 15
    assert end - start == timedelta(hours=15)
    with pytest.raises(CalendarError):
        elapsed(datetime(2026, 1, 1), end)  # noqa: DTZ001


def test_time_that_does_not_exist():
    with pytest.raises(NoSuchTimeError, match="from 02:00 to 03:00"):
        local_time(D("2026-03-08"), time(2, 30), "America/New_York")
    with pytest.raises(NoSuchTimeError, match="from 01:00 to 02:00"):
        local_time(D("2026-03-29"), time(1, 30), "Europe/London")


@pytest.mark.parametrize(
    ("day", "zone", "first", "second"),
    [("2026-11-01", "America/New_York", 5, 6), ("2026-10-25", "Europe/London", 0, 1)],
)
def test_time_that_happens_twice(day, zone, first, second):
    with pytest.raises(TwiceError, match="twice"):
        local_time(D(day), time(1, 30), zone)
    for late, hour in ((False, first), (True, second)):
        moment = local_time(D(day), time(1, 30), zone, second=late).astimezone(UTC)
        assert (moment.hour, moment.minute) == (hour, 30)


def test_unknown_zone():
    for name in ("Mars/Base", "", "../etc/passwd"):
        with pytest.raises(CalendarError, match="America/New_York"):
            local_time(D("2026-01-01"), time(9), name)


def test_a_date_is_said_in_one_form() -> None:
    assert date_text(D("2027-02-04")) == "4 Feb 2027"
    assert date_text(D("2028-02-29"), year=False) == "29 Feb"
    assert day_text(D("2028-02-29")) == "Tue 29 Feb 2028"
    assert day_text(datetime(2027, 2, 4, 23, 30, tzinfo=UTC), year=False) == "Thu 4 Feb"
    assert (date_text(None), day_text(None)) == ("no date", "no date")


def test_nobody_else_says_what_a_date_looks_like() -> None:
    """Code asks ``date_text`` and ``day_text``; pages write the same two forms."""
    root = Path(__file__).resolve().parents[2]
    forms = {"D j M Y", "D j M", "j M Y", "j M"}
    found = []
    for folder in ("buildout", "estimating", "scheduling"):
        for path in sorted((root / folder).rglob("*.py")):
            text = path.read_text(encoding="utf-8")
            found += [f"{path.name}: {said}" for said in re.findall(r":(%-?d[ .][^}]*%[bB][^}]*)\}", text)]
    for path in sorted((root / "templates").rglob("*.html")):
        for said in re.findall(r'\|date:"([^"]*)"', path.read_text(encoding="utf-8")):
            if said.removesuffix("H:i").removesuffix(", ") not in {*forms, ""}:
                found.append(f"{path.name}: {said}")
    assert not found
