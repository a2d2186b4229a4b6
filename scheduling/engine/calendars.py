"""When people work: build days with their shifts, the core team's evenings, the trades' working days.

Time is counted in half-hour slots of real time from midnight of the day a plan is worked out for. A day has 48 of
them, and 46 or 50 where the clocks change by an hour; ``LocalTime`` says which slot a time of day is.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from itertools import pairwise
from math import ceil, floor
from typing import NamedTuple
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
LOOK_BACK = 60
"""Days before the plan's first for which changes of the clock count."""
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


class Change(NamedTuple):
    """Clocks are put forward by ``by`` slots at a slot; back where it is negative."""

    at: int
    by: int


class LocalTime:
    """The local clock beside real time: slots count from midnight of ``from_day``, whatever the clock does.

    A time of day the clock skips counts as the moment of the change; one it shows twice is the first.

    In New York clocks go from 02:00 to 03:00 on 14 March 2027 (tz database), so that day has 46 slots:

    >>> clock = LocalTime(date(2027, 3, 13), "America/New_York")
    >>> clock.slot(date(2027, 3, 14)), clock.slot(date(2027, 3, 15)), clock.changes[0]
    (48, 94, Change(at=52, by=2))
    >>> clock.slot(date(2027, 3, 14), 150) == clock.slot(date(2027, 3, 14), 180)
    True
    >>> clock.reading(94 - 18)
    (datetime.date(2027, 3, 14), 900)
    """

    def __init__(self, from_day: date, zone: str = "UTC", days: int = FURTHEST) -> None:
        """``days`` to look ahead for changes. A zone nobody knows counts as one without changes."""
        self.from_day = from_day
        try:
            self._zone: tzinfo = ZoneInfo(zone)
        except (ZoneInfoNotFoundError, ValueError):
            self._zone = UTC  # the plan's check names it
        midnight = datetime(from_day.year, from_day.month, from_day.day, tzinfo=self._zone)
        self._zero = midnight.astimezone(UTC)
        self.changes = [] if zone == "UTC" or self._zone is UTC else self._find_changes(days)
        self._shown_at_first = -sum(by for at, by in self.changes if at <= 0)

    def _offset(self, slot: int) -> float:
        """Slots the local clock is ahead of universal time."""
        moment = (self._zero + timedelta(minutes=slot * SLOT)).astimezone(self._zone)
        return (moment.utcoffset() or timedelta()) / timedelta(minutes=SLOT)

    def _find_changes(self, days: int) -> list[Change]:
        found = []
        before = self._offset(-LOOK_BACK * SLOTS_A_DAY)
        for day in range(1 - LOOK_BACK, days + 1):
            after = self._offset(day * SLOTS_A_DAY)
            if after != before:
                low, high = (day - 1) * SLOTS_A_DAY, day * SLOTS_A_DAY
                while high - low > 1:
                    middle = (low + high) // 2
                    low, high = (middle, high) if self._offset(middle) == before else (low, middle)
                found.append(Change(high, round(after - before)))
            before = after
        return [change for change in found if change.by]

    def counted(self, slot: int) -> int:
        """Return what the local clock shows at a slot, counted at 48 a day from midnight of ``from_day``."""
        return slot + self._shown_at_first + sum(by for at, by in self.changes if at <= slot)

    def real(self, counted: int) -> int:
        """Return the first slot at which the local clock shows ``counted`` or has passed it."""
        ahead, first = self._shown_at_first, counted - self._shown_at_first
        for at, by in self.changes:
            if at - 1 + ahead >= counted:
                break
            ahead += by
            first = max(at, counted - ahead)
        return first

    def slot(self, day: date, minutes: int = 0) -> int:
        """Return the slot of a time of day, rounded up to whole slots."""
        return self.real((day - self.from_day).days * SLOTS_A_DAY - (-minutes // SLOT))

    def skipped(self, day: date, minutes: int) -> bool:
        """Say whether the clock never shows this time of day."""
        counted = (day - self.from_day).days * SLOTS_A_DAY + minutes // SLOT
        return self.counted(self.real(counted)) != counted

    def day(self, slot: int) -> date:
        return self.from_day + timedelta(days=self.counted(slot) // SLOTS_A_DAY)

    def reading(self, slot: int) -> tuple[date, int]:
        """Return the day and the minutes after midnight the clock shows at a slot."""
        days, rest = divmod(self.counted(slot), SLOTS_A_DAY)
        return self.from_day + timedelta(days=days), rest * SLOT

    def spans(self, day: date, spans: Sequence[Span]) -> list[Span]:
        """Return a day's spans, given in slots of its clock, in real slots; time shown a second time is left out."""
        zero = (day - self.from_day).days * SLOTS_A_DAY
        found = [(self.real(zero + low), self.real(zero + high)) for low, high in spans]
        for at, by in self.changes:
            if by < 0:
                found = [part for low, high in found for part in ((low, min(high, at)), (max(low, at - by), high))]
        return [(low, high) for low, high in found if low < high]

    def midnights(self, until: int) -> tuple[Span, ...]:
        """Return the midnights before a slot as spans of one."""
        days = range(self.counted(until - 1) // SLOTS_A_DAY + 1)
        return tuple((slot, slot) for slot in (self.real(day * SLOTS_A_DAY) for day in days))

    def days_by(self, slot: float) -> int:
        """Return how many days after the first the first midnight not before a slot is."""
        return -(-self.counted(ceil(slot)) // SLOTS_A_DAY)

    def calendar_modes(self, days: float, until: int) -> list[tuple[int, tuple[Span, ...]]]:
        """Return (length, starts) of a wait that ends so many days later by the clock; no starts: at any time.

        The length differs by the change where one lies within the wait.
        """
        counted = ceil(days * SLOTS_A_DAY - 1e-9)
        if not any(0 < at < until + SLOTS_A_DAY for at, _ in self.changes):
            return [(counted, ())]
        near = sorted(
            {0, until}.union(*(range(max(0, at - n - 4), at - n + 5) for at, _ in self.changes for n in (0, counted)))
        )
        found: dict[int, list[Span]] = {}
        for low, following in pairwise([n for n in near if n <= until] + [until + 1]):
            length = self.real(self.counted(low) + counted) - low
            spans = found.setdefault(length, [])
            if spans and spans[-1][1] == low - 1:
                spans[-1] = (spans[-1][0], following - 1)
            else:
                spans.append((low, following - 1))
        return [(length, tuple(spans)) for length, spans in sorted(found.items())]


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
    local: LocalTime,
    hours: Sequence[HallHours] = (),
) -> tuple[list[Shifts], list[Reason]]:
    """Lay out every build day from the first on, ascending; days that cannot be read are left out with a reason."""
    from_day = local.from_day
    found: list[Shifts] = []
    reasons: list[Reason] = []
    seen: set[str] = set()
    before = sum(job.minutes for job in jobs if job.when == "start")
    behind = sum(job.minutes for job in jobs if job.when == "end")
    holders_of = core_skills(crew)
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
        missed = [text for text in (day.start, day.end) if local.skipped(day.date, read_time(text))]
        if missed:
            text = f"the clocks skip {' and '.join(missed)} on that day; the moment they change counts instead"
            reasons.append(_fault(day, number, text, "Give a time the clock shows."))
        named = [one for one in crew.helpers if day.id in one.days]
        here = [one for one in signed_up if one.day == day.id]
        known = [(one.age, one.lifting, one.power_tools) for one in here]
        known += [(one.age, one.lifting, one.power_tools) for one in named]
        helpers = expected_helpers(day.places, float(crew.no_show_likely))
        missing = float(crew.no_show_likely)
        skilled = {}
        for skill, holders in holders_of.items():
            share = float(crew.skill_shares.get(skill, 0))
            promised = sum(skill in person.skills for person in here) * (1 - missing)
            promised += sum(float(person.sure) for person in named if skill in person.skills)
            skilled[skill] = holders + max(floor(share * helpers + 1e-9), floor(promised + 1e-9))
        found.append(
            Shifts(
                day=day,
                first_slot=local.slot(day.date),
                windows=tuple(local.spans(day.date, windows)),
                people=max(
                    0,
                    helpers
                    + core_on_site(crew)
                    - sum(job.crew for job in jobs)
                    - sum(age == "under 14" for age, _, _ in known),
                ),
                skills=skilled,
                quiet_until=local.slot(day.date, quiet),
                quiet_from=local.slot(day.date, until // SLOT * SLOT),
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


def clock_changes(days: Sequence[BuildDay], local: LocalTime) -> list[tuple[BuildDay, Change]]:
    """Build days on which, or since noon of the day before which, the clocks change.

    >>> spring = BuildDay(id="d", date=date(2026, 3, 8), name="Cover", places=8)
    >>> clock = LocalTime(date(2026, 3, 1), "America/New_York")
    >>> [(day.id, change.by) for day, change in clock_changes([spring], clock)]
    [('d', 2)]
    >>> clock_changes([spring], LocalTime(date(2026, 3, 1), "UTC"))
    []
    """
    found = []
    for day in sorted(days, key=lambda day: (day.date, day.id)):
        last_noon = local.slot(day.date - timedelta(days=1), 12 * 60)
        found += [(day, one) for one in local.changes if last_noon < one.at < local.slot(day.date, 24 * 60)]
    return found


def clock_words(day: BuildDay, zone: str) -> str:
    """Say what the clocks do on a build day or since noon of the day before; nothing on other days.

    >>> clock_words(BuildDay(id="d", date=date(2026, 3, 8), name="Cover", places=8), "America/New_York")
    'Clocks go forward from 02:00 to 03:00 on Sun 8 Mar 2026; times here are as the clock shows them'
    >>> clock_words(BuildDay(id="d", date=date(2026, 11, 1), name="Cover", places=8), "America/New_York")
    'Clocks go back from 02:00 to 01:00 on Sun 1 Nov 2026; times here are as the clock shows them'
    >>> clock_words(BuildDay(id="d", date=date(2026, 3, 9), name="Cover", places=8), "America/New_York")
    ''
    """
    local = LocalTime(day.date - timedelta(days=1), zone, days=3)
    for _, change in clock_changes([day], local):
        (when, shown), before = local.reading(change.at), local.reading(change.at - 1)[1] + SLOT
        return (
            f"Clocks go {'forward' if change.by > 0 else 'back'} from {before // 60:02}:{before % 60:02} to "
            f"{shown // 60:02}:{shown % 60:02} on {day_text(when)}; times here are as the clock shows them"
        )
    return ""


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
    local: LocalTime,
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
    found: list[Span] = []
    for day in working_days(local.from_day, days, busy):
        length = evening_slots(crew, day.weekday())
        first = max(0, last - length)
        allowed = _slots(hall_spans(hours, day.weekday(), noisy=noisy))
        found += local.spans(day, clip(first, first + length, allowed))
    return found


def trade_starts(
    half_days: int,
    local: LocalTime,
    days: int,
    closed: Sequence[date],
    hours: Sequence[HallHours] = (),
    *,
    noisy: bool = False,
) -> tuple[Span, ...]:
    """Slots at which a firm may start one half day (morning or afternoon) or one whole day."""
    morning = TRADE_DAY[0] // SLOT
    starts = []
    for day in working_days(local.from_day, days, closed):
        allowed = _slots(hall_spans(hours, day.weekday(), noisy=noisy))
        firsts = (morning, morning + HALF_TRADE_DAY) if half_days == 1 else (morning,)
        for first in firsts:
            if any(low <= first and first + half_days * HALF_TRADE_DAY <= high for low, high in allowed):
                slot = local.slot(day, first * SLOT)
                starts.append((slot, slot))
    return tuple(starts)


def trade_hours(
    local: LocalTime, days: int, closed: Sequence[date], hours: Sequence[HallHours] = (), *, noisy: bool = False
) -> list[tuple[float, float]]:
    """Firms' working time in hours from midnight of the first day."""
    found = []
    for day in working_days(local.from_day, days, closed):
        zero = local.slot(day, TRADE_DAY[0]) * SLOT - TRADE_DAY[0]
        found += [
            ((zero + low) / 60, (zero + high) / 60)
            for low, high in clip(*TRADE_DAY, hall_spans(hours, day.weekday(), noisy=noisy))
        ]
    return found


HALF_TRADE_DAY = (TRADE_DAY[1] - TRADE_DAY[0]) // 2 // SLOT
