"""Working days, ISO weeks, and local times that really happen.

A working day is a day that is neither in the weekend nor closed. Counting starts the day after: one
working day from Friday is Monday.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

WEEKEND = (5, 6)
"""Saturday and Sunday, as ``date.weekday`` numbers them."""
FARTHEST = 366 * 5
"""Days looked through before a calendar without working days is given up."""


class CalendarError(ValueError):
    """A calendar or time that cannot be used; the message says what to write instead."""


class NoSuchTimeError(CalendarError):
    """A local time that the clocks jump over."""


class TwiceError(CalendarError):
    """A local time that happens twice, when the clocks go back."""


def is_working_day(day: date, closed: Collection[date] = (), weekend: Collection[int] = WEEKEND) -> bool:
    return day.weekday() not in weekend and day not in closed


def _step(day: date, closed: Collection[date], weekend: Collection[int], way: int) -> date:
    for _ in range(FARTHEST):
        day += timedelta(days=way)
        if is_working_day(day, closed, weekend):
            return day
    raise CalendarError("No working day is left in the calendar. Open at least one weekday")


def next_working_day(day: date, closed: Collection[date] = (), weekend: Collection[int] = WEEKEND) -> date:
    """First working day after ``day``.

    >>> next_working_day(date(2026, 11, 27))
    datetime.date(2026, 11, 30)
    """
    return _step(day, closed, weekend, 1)


def previous_working_day(day: date, closed: Collection[date] = (), weekend: Collection[int] = WEEKEND) -> date:
    """Last working day before ``day``."""
    return _step(day, closed, weekend, -1)


def working_day_from(day: date, closed: Collection[date] = (), weekend: Collection[int] = WEEKEND) -> date:
    """``day`` itself if it is a working day, otherwise the next one."""
    return day if is_working_day(day, closed, weekend) else next_working_day(day, closed, weekend)


def working_day_until(day: date, closed: Collection[date] = (), weekend: Collection[int] = WEEKEND) -> date:
    """``day`` itself if it is a working day, otherwise the one before."""
    return day if is_working_day(day, closed, weekend) else previous_working_day(day, closed, weekend)


def add_working_days(day: date, days: int, closed: Collection[date] = (), weekend: Collection[int] = WEEKEND) -> date:
    """The day ``days`` working days after ``day`` (before it when negative; ``day`` itself when nought).

    Raises ``CalendarError`` when the calendar holds no working day.

    >>> add_working_days(date(2026, 11, 25), 5, closed=[date(2026, 11, 26)])
    datetime.date(2026, 12, 3)
    """
    shut = frozenset(closed)
    for _ in range(abs(days)):
        day = _step(day, shut, weekend, 1 if days > 0 else -1)
    return day


def working_days_between(
    start: date, end: date, closed: Collection[date] = (), weekend: Collection[int] = WEEKEND
) -> int:
    """Working days after ``start`` up to and with ``end``; negative when ``end`` lies before ``start``.

    >>> working_days_between(date(2026, 11, 25), date(2026, 12, 3), closed=[date(2026, 11, 26)])
    5
    """
    if end < start:
        return -working_days_between(end, start, closed, weekend)
    shut = frozenset(closed)
    span = (end - start).days
    return sum(is_working_day(start + timedelta(days=k), shut, weekend) for k in range(1, span + 1))


def latest_order_date(
    need: date,
    lead_days: int,
    closed: Collection[date] = (),
    weekend: Collection[int] = WEEKEND,
    *,
    carrier_works_weekends: bool = True,
) -> date:
    """Last day to order something needed on ``need``, its lead time in working days counted back.

    Counted back from the day of need itself, even a Saturday: the goods may come on that very day. With
    ``carrier_works_weekends`` false they have to come on the last working day up to then, and the answer
    is the last working day from which ``add_working_days(answer, lead_days)`` is not after ``need``.
    Raises ``CalendarError`` for a negative lead time.

    >>> closed = [date(2026, 12, 25), date(2027, 1, 1)]
    >>> latest_order_date(date(2027, 1, 9), 10, closed)
    datetime.date(2026, 12, 24)
    >>> latest_order_date(date(2027, 1, 9), 10, closed, carrier_works_weekends=False)
    datetime.date(2026, 12, 23)
    """
    if lead_days < 0:
        raise CalendarError("A lead time is nought working days or more, such as 12")
    start = need if carrier_works_weekends and lead_days else working_day_until(need, closed, weekend)
    return add_working_days(start, -lead_days, closed, weekend)


_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def date_text(day: date | None, *, year: bool = True) -> str:
    """A date as people say it, the same in every locale; on screens, on papers, and in mails.

    Without its ``year`` where that is plain.

    >>> date_text(date(2027, 3, 6)), date_text(date(2027, 3, 6), year=False), date_text(None)
    ('6 Mar 2027', '6 Mar', 'no date')
    """
    if day is None:
        return "no date"
    return f"{day.day} {_MONTHS[day.month - 1]}" + (f" {day.year}" if year else "")


def day_text(day: date | None, *, year: bool = True) -> str:
    """A date with its weekday, for days people come to.

    >>> day_text(date(2027, 3, 6)), day_text(date(2027, 3, 6), year=False), day_text(None)
    ('Sat 6 Mar 2027', 'Sat 6 Mar', 'no date')
    """
    return "no date" if day is None else f"{_DAYS[day.weekday()]} {date_text(day, year=year)}"


def iso_week(day: date) -> str:
    """ISO 8601 week date.

    >>> iso_week(date(2008, 12, 29)), iso_week(date(2010, 1, 3))
    ('2009-W01-1', '2009-W53-7')
    """
    year, week, weekday = day.isocalendar()
    return f"{year}-W{week:02d}-{weekday}"


def zone(name: str) -> ZoneInfo:
    """A time zone by its name in the tz database. Raises ``CalendarError`` for a name it does not have."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise CalendarError(f'"{name}" is not a time zone. Write one such as America/New_York') from error


def local_time(day: date, at: time, zone_name: str, *, second: bool | None = None) -> datetime:
    """An aware local time that happens exactly once.

    Raises ``NoSuchTimeError`` for a time the clocks jump over, and ``TwiceError`` for one that happens
    twice unless ``second`` says which of the two is meant.

    >>> local_time(date(2026, 3, 8), time(2, 30), "America/New_York")
    Traceback (most recent call last):
    buildout.units.dates.NoSuchTimeError: 02:30 does not exist on 2026-03-08: the clocks jump from 02:00 to 03:00
    """
    tz = zone(zone_name)
    early = datetime.combine(day, at.replace(fold=0, tzinfo=None), tz)
    late = early.replace(fold=1)
    before, after = early.utcoffset(), late.utcoffset()
    if before == after or before is None or after is None:
        return early
    if after > before:
        change = _change(early, tz)
        raise NoSuchTimeError(
            f"{at:%H:%M} does not exist on {day.isoformat()}: the clocks jump from "
            f"{change - (after - before):%H:%M} to {change:%H:%M}"
        )
    if second is None:
        raise TwiceError(
            f"{at:%H:%M} happens twice on {day.isoformat()}, at {early.astimezone(UTC):%H:%M} and "
            f"{late.astimezone(UTC):%H:%M} UTC. Say the first or the second"
        )
    return late if second else early


def _change(near: datetime, tz: ZoneInfo) -> datetime:
    """First minute after the clocks jump, in the new local time."""
    moment = near.astimezone(UTC).replace(second=0, microsecond=0) - timedelta(hours=3)
    was = moment.astimezone(tz).utcoffset()
    for _ in range(6 * 60):
        moment += timedelta(minutes=1)
        here = moment.astimezone(tz)
        if here.utcoffset() != was:
            return here
    return near


def elapsed(start: datetime, end: datetime) -> timedelta:
    """True time between two aware moments, clock changes counted. Raises ``CalendarError`` for naive ones."""
    if start.tzinfo is None or end.tzinfo is None:
        raise CalendarError("A moment needs its time zone, such as 2026-03-07 18:00 America/New_York")
    return end.astimezone(UTC) - start.astimezone(UTC)
