"""When people work: build days with their shifts, the core team's evenings, the trades' working days.

Time is counted in half-hour slots from midnight of the day a plan is worked out for, in the build's local time;
every day has 48 slots.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil, floor
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from buildout.units.dates import day_text
from buildout.units.value import Reason
from scheduling.engine.types import BuildDay, Crew, DayJob, HallHours, SignedUp

SLOT = 30
"""Minutes."""
SLOTS_A_DAY = 24 * 60 // SLOT
EVENING_ENDS = 21 * 60
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri")
"""Days with evenings of the core team, as plans name them."""
TRADE_DAY = (8 * 60, 16 * 60)
"""Hours of a licensed firm's working day. Common practice, no published source."""
FURTHEST = 1100
"""Days ahead beyond which a date is taken for a slip."""
PEOPLE_PER_LEAD = 7
"""One practised person for so many who help. Common practice, no published source."""
LEAD = "lead"
"""The skill of leading a crew; nobody is taken to have it unless shares or names say so."""
HOLDERS_ONLY = ("lic", "spec")
"""Skills nobody has unless they are named."""

Span = tuple[int, int]


@dataclass(frozen=True)
class Shifts:
    """One build day as the plan sees it."""

    day: BuildDay
    first_slot: int
    """Slot of its midnight."""
    windows: tuple[Span, ...]
    """Working time in slots, before and after the meal, sign-in and tidying taken off."""
    people: int
    """Helpers expected plus the core team, less those with all-day jobs."""
    skills: dict[str, int]
    """People with a skill, for skills not everybody has."""
    quiet_until: int
    """First slot in which noise is allowed."""
    quiet_from: int
    """Slot by which noise has to be over."""
    limited: tuple[tuple[str, str, bool], ...] = ()
    """Age group, lifting, powered tools of each helper known to be under 18, not to lift, or to use no such tools."""

    def starts(self, duration: int, noisy: bool) -> tuple[Span, ...]:
        """Spans in which work of so many slots may start and end within one shift."""
        spans = []
        for low, high in self.windows:
            first = max(low, self.quiet_until) if noisy else low
            last = min(high, self.quiet_from) if noisy else high
            if last - duration >= first:
                spans.append((first, last - duration))
        return tuple(spans)


def read_time(text: str) -> int:
    """Read a time of day as minutes after midnight. Raises ``ValueError`` with an example.

    >>> read_time("08:30")
    510
    """
    match = re.fullmatch(r"(\d{1,2}):(\d{2})", text.strip())
    if match is None or int(match[1]) > 24 or int(match[2]) > 59 or int(match[1]) * 60 + int(match[2]) > 1440:
        raise ValueError(f"{text!r} is not a time of day: write it like 08:30")
    return int(match[1]) * 60 + int(match[2])


def day_slot(day: date, from_day: date) -> int:
    return (day - from_day).days * SLOTS_A_DAY


def slot_day(slot: int, from_day: date) -> date:
    return from_day + timedelta(days=slot // SLOTS_A_DAY)


def special_skills(crew: Crew) -> set[str]:
    """Skills that not everybody is taken to have."""
    return {*crew.skill_shares, *HOLDERS_ONLY, LEAD} - {"none"}


def core_skills(crew: Crew) -> dict[str, int]:
    return {
        skill: sum(skill in person.skills for person in crew.core) for skill in sorted(special_skills(crew))
    }  # fmt: skip


def expected_helpers(places: int, share_missing: float) -> int:
    """Return how many of so many helpers can be counted on, rounded down.

    >>> expected_helpers(26, 0.12)
    22
    """
    return floor(places * (1 - share_missing) + 1e-9)


def hall_spans(hours: Sequence[HallHours], weekday: int, *, noisy: bool = False) -> list[Span]:
    """When work in the hall is allowed on a weekday (0 Monday), in minutes after midnight, ascending.

    >>> hall_spans([], 0)
    [(0, 1440)]
    >>> hall_spans([HallHours(weekdays=[0], start="08:00", end="20:00", quiet_from="18:00")], 0, noisy=True)
    [(480, 1080)]
    """
    if not hours:
        return [(0, 1440)]
    spans = []
    for one in hours:
        if weekday in one.weekdays:
            end = read_time(one.end)
            if noisy and one.quiet_from:
                end = min(end, read_time(one.quiet_from))
            if end > read_time(one.start):
                spans.append((read_time(one.start), end))
    return sorted(spans)


def clip(low: int, high: int, spans: Sequence[Span]) -> list[Span]:
    """Return the parts of low–high inside the spans.

    >>> clip(10, 20, [(0, 12), (15, 30)])
    [(10, 12), (15, 20)]
    """
    return [(max(low, a), min(high, b)) for a, b in spans if min(high, b) > max(low, a)]


def clip_starts(spans: Sequence[Span], low: int, high: int) -> tuple[Span, ...]:
    """Return the parts of inclusive spans between two inclusive limits.

    >>> clip_starts([(0, 12), (15, 30)], 12, 20)
    ((12, 12), (15, 20))
    """
    return tuple((max(low, a), min(high, b)) for a, b in spans if min(high, b) >= max(low, a))


def _slots(spans: Sequence[Span]) -> list[Span]:
    found = [(ceil(low / SLOT), high // SLOT) for low, high in spans]
    return [(low, high) for low, high in found if high > low]


def build_shifts(
    crew: Crew,
    jobs: Sequence[DayJob],
    signed_up: Sequence[SignedUp],
    from_day: date,
    hours: Sequence[HallHours] = (),
) -> tuple[list[Shifts], list[Reason]]:
    """Lay out every build day from ``from_day`` on, ascending; days that cannot be read are left out with a reason."""
    found: list[Shifts] = []
    reasons: list[Reason] = []
    seen: set[str] = set()
    before = sum(job.minutes for job in jobs if job.when == "start")
    behind = sum(job.minutes for job in jobs if job.when == "end")
    for number, day in enumerate(crew.days):
        if day.id in seen:
            reasons.append(
                _fault(
                    day,
                    number,
                    f"two build days have the id {day.id}; only the first is used",
                    "Give each its own id, e.g. day-3.",
                )
            )
            continue
        seen.add(day.id)
        if day.date < from_day:
            continue
        try:
            windows = _windows(day, before, behind)
            quiet = read_time(day.quiet_until) if day.quiet_until else 0
            until = read_time(day.quiet_from) if day.quiet_from else 24 * 60
            if day.place == "hall" and hours:
                allowed = hall_spans(hours, day.date.weekday())
                windows = [span for low, high in windows for span in clip(low, high, _slots(allowed))]
                until = min(until, max((b for _, b in hall_spans(hours, day.date.weekday(), noisy=True)), default=0))
                if not windows:
                    raise ValueError("the landlord lets nobody into the room within its hours")
        except ValueError as error:
            reasons.append(
                _fault(
                    day, number, f"{error}; the day is not used", "Correct the hours, e.g. 08:30 to 16:00, meal 12:00."
                )
            )
            continue
        if (day.date - from_day).days > FURTHEST:
            todo = "Check the year."
            reasons.append(_fault(day, number, "it is more than three years ahead; the day is not used", todo))
            continue
        if day.places < 0:
            reasons.append(
                _fault(
                    day, number, f"{day.places} places; the day is not used", "Give places of zero or more, e.g. 24."
                )
            )
            continue
        zero = day_slot(day.date, from_day)
        named = [one for one in crew.helpers if day.id in one.days]
        here = [one for one in signed_up if one.day == day.id]
        known = [(one.age, one.lifting, one.power_tools) for one in here]
        known += [(one.age, one.lifting, one.power_tools) for one in named]
        helpers = expected_helpers(day.places, float(crew.no_show_likely))
        missing = float(crew.no_show_likely)
        skilled = {}
        for skill, holders in core_skills(crew).items():
            share = float(crew.skill_shares.get(skill, 0))
            promised = sum(skill in person.skills for person in here) * (1 - missing)
            promised += sum(float(person.sure) for person in named if skill in person.skills)
            skilled[skill] = holders + max(floor(share * helpers + 1e-9), floor(promised + 1e-9))
        found.append(
            Shifts(
                day=day,
                first_slot=zero,
                windows=tuple((zero + low, zero + high) for low, high in windows),
                people=max(
                    0,
                    helpers
                    + core_on_site(crew)
                    - sum(job.crew for job in jobs)
                    - sum(age == "under 14" for age, _, _ in known),
                ),
                skills=skilled,
                quiet_until=zero + ceil(quiet / SLOT),
                quiet_from=zero + until // SLOT,
                limited=tuple(
                    sorted(
                        one
                        for one in known
                        if one[0] != "under 14" and (one[0] != "adult" or one[1] == "none" or not one[2])
                    )
                ),
            )
        )
    return sorted(found, key=lambda shifts: (shifts.first_slot, shifts.day.id)), reasons


def clock_changes(days: Sequence[BuildDay], zone: str) -> list[tuple[BuildDay, int]]:
    """Build days on which, or in the night before which, the clocks change, with the minutes they go forward.

    >>> spring = BuildDay(id="d", date=date(2026, 3, 8), name="Cover", places=8)
    >>> [(day.id, minutes) for day, minutes in clock_changes([spring], "America/New_York")]
    [('d', 60)]
    >>> clock_changes([spring], "UTC")
    []
    """
    try:
        clock = ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError):
        return []  # the plan's check names a zone nobody knows
    found = []
    for day in sorted(days, key=lambda day: (day.date, day.id)):
        noon = datetime(day.date.year, day.date.month, day.date.day, 12, tzinfo=clock)
        before = (noon - timedelta(days=1)).utcoffset()
        after = noon.utcoffset()
        if before is not None and after is not None and before != after:
            found.append((day, round((after - before).total_seconds() / 60)))
    return found


def together(crew: Crew) -> list[tuple[str, BuildDay, BuildDay]]:
    """Named helpers who are down for two build days on one date: (name, day, other day)."""
    days = {day.id: day for day in crew.days}
    found = []
    for helper in crew.helpers:
        mine = [days[day] for day in dict.fromkeys(helper.days) if day in days]
        found += [(helper.name, a, b) for n, a in enumerate(mine) for b in mine[n + 1 :] if a.date == b.date]
    return found


def core_on_site(crew: Crew) -> int:
    """The core team's hands on a build day: in a team of two or more the site lead does no task."""
    return len(crew.core) - 1 if len(crew.core) >= 2 else len(crew.core)


def _fault(day: BuildDay, number: int, text: str, todo: str) -> Reason:
    return Reason(
        code="build-day",
        text=f"Build day {day.name} on {day_text(day.date)}: {text}",
        where=f"/crew/days/{number}",
        severity="warning",
        todo=todo,
    )


def _windows(day: BuildDay, before: int, behind: int) -> list[Span]:
    start, end = read_time(day.start) + before, read_time(day.end) - behind
    if read_time(day.end) <= read_time(day.start):
        raise ValueError(f"it ends at {day.end}, not after its start at {day.start}")
    if end - start < SLOT:
        raise ValueError(f"between {day.start} and {day.end} no time is left after sign-in and tidying")
    meal_from = read_time(day.meal_start) if day.meal_minutes > 0 else end
    meal_to = meal_from + max(0, day.meal_minutes)
    spans = (
        [(start, min(end, meal_from)), (max(start, meal_to), end)]
        if start < meal_to and meal_from < end
        else [(start, end)]
    )
    return _slots(spans)


def working_days(from_day: date, days: int, closed: Sequence[date]) -> list[date]:
    """Mondays to Fridays that are not closed, among ``days`` days from ``from_day`` on.

    >>> working_days(date(2026, 11, 25), 6, [date(2026, 11, 26)])
    [datetime.date(2026, 11, 25), datetime.date(2026, 11, 27), datetime.date(2026, 11, 30)]
    """
    shut = set(closed)
    every = (from_day + timedelta(days=number) for number in range(days))
    return [day for day in every if day.weekday() < 5 and day not in shut]


def evening_slots(crew: Crew, weekday: int) -> int:
    """How many half hours each of the core team works on a weekday, 0 Monday to 4 Friday (at most 13 hours count).

    >>> from decimal import Decimal
    >>> from scheduling.engine.types import CorePerson
    >>> ida = CorePerson(id="ida", name="Ida", skills=[])
    >>> team = Crew(core=[ida], days=[], core_hours_by_weekday={"tue": Decimal(1)})
    >>> evening_slots(team, 0), evening_slots(team, 1)
    (6, 2)
    """
    hours = crew.core_hours_by_weekday.get(WEEKDAYS[weekday], crew.core_hours_per_weekday)
    return 0 if not crew.core else max(0, min(26, floor(float(hours) * 60 / SLOT + 1e-9)))


def evenings(
    crew: Crew,
    from_day: date,
    days: int,
    closed: Sequence[date],
    hours: Sequence[HallHours] = (),
    *,
    noisy: bool = False,
) -> list[Span]:
    """The core team's working time in slots: the hours before 21:00 on working days without a build day.

    ``hours`` are those of the room, for work that is done in it.
    """
    busy = [*closed, *(day.date for day in crew.days)]
    last = EVENING_ENDS // SLOT
    found = []
    for day in working_days(from_day, days, busy):
        length = evening_slots(crew, day.weekday())
        first = max(0, last - length)
        zero = day_slot(day, from_day)
        for low, high in clip(first, first + length, _slots(hall_spans(hours, day.weekday(), noisy=noisy))):
            found.append((zero + low, zero + high))
    return found


def trade_starts(
    half_days: int,
    from_day: date,
    days: int,
    closed: Sequence[date],
    hours: Sequence[HallHours] = (),
    *,
    noisy: bool = False,
) -> tuple[Span, ...]:
    """Slots at which a firm may start one half day (morning or afternoon) or one whole day."""
    morning = TRADE_DAY[0] // SLOT
    starts = []
    for day in working_days(from_day, days, closed):
        zero = day_slot(day, from_day)
        allowed = _slots(hall_spans(hours, day.weekday(), noisy=noisy))
        firsts = (morning, morning + HALF_TRADE_DAY) if half_days == 1 else (morning,)
        for first in firsts:
            if any(low <= first and first + half_days * HALF_TRADE_DAY <= high for low, high in allowed):
                starts.append((zero + first, zero + first))
    return tuple(starts)


def trade_hours(
    from_day: date, days: int, closed: Sequence[date], hours: Sequence[HallHours] = (), *, noisy: bool = False
) -> list[Span]:
    """Firms' working time in minutes from midnight of ``from_day``."""
    return [
        ((day - from_day).days * 1440 + low, (day - from_day).days * 1440 + high)
        for day in working_days(from_day, days, closed)
        for low, high in clip(*TRADE_DAY, hall_spans(hours, day.weekday(), noisy=noisy))
    ]


HALF_TRADE_DAY = (TRADE_DAY[1] - TRADE_DAY[0]) // 2 // SLOT
