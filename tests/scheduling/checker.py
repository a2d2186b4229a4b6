"""An independent judge of schedules: every rule of the site read off the result alone, by code of its own.

Nothing here calls the planner or the calendars it works with. Times are minutes from midnight of the case's first day,
local clock; the cases have no change of the clock in them (those have tests of their own).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import combinations
from math import ceil, floor
from typing import NamedTuple

from estimating.engine.types import Arrivals
from scheduling.engine.types import (
    BuildDay,
    Crew,
    Dates,
    Helper,
    Lag,
    PlannedTask,
    Schedule,
    SignedUp,
    Task,
    TaskEdits,
    TaskNet,
)

DAY = 24 * 60
HALF_DAY_LEEWAY = 720
"""A lag of whole days is met on that day, at any hour."""
PEOPLE_A_HOLDER = 7
"""One person with a skill, and one who leads, for every seven of a crew."""
FIRM_FROM, FIRM_NOON, FIRM_TO = 8 * 60, 12 * 60, 16 * 60
UNDER_18_NEVER = {"SAW", "DRIL", "STAP", "SOLV", "SILI", "ASB", "LEAD", "ELEC", "GLAS"}
ORDERING, OPENING = "C04", "L10"

RULES = (
    "every task is planned", "order", "longest wait", "wait", "hours", "crew", "in one go", "parts in turn", "lease",
    "build day hours", "quiet hours", "landlord's hours", "evening", "firm's hours", "zone", "tool",
    "one place at a time", "lead", "core team", "places", "may not", "skill", "pin", "not before", "appointment",
    "person", "sign-up", "goods", "done", "bound",
)  # fmt: skip


class Fault(NamedTuple):
    rule: str
    text: str


@dataclass(frozen=True)
class Case:
    net: TaskNet
    crew: Crew
    dates: Dates
    arrivals: Arrivals
    signed_up: Sequence[SignedUp]
    edits: TaskEdits
    as_of: date


def clock(text: str) -> int:
    hours, minutes = text.split(":")
    return int(hours) * 60 + int(minutes)


class Judge:
    def __init__(self, case: Case, found: Schedule) -> None:
        self.case, self.found = case, found
        self.tasks = {one.code: one for one in case.net.tasks}
        self.days = {day.id: day for day in case.crew.days}
        self.runs: dict[str, list[PlannedTask]] = {}
        for one in found.tasks:
            self.runs.setdefault(one.code.split("/")[0], []).append(one)
        self.pinned: dict[str, list[str]] = {}
        for pin in case.edits.people:
            self.pinned.setdefault(pin.task, []).append(pin.person)
        self.closed = {holiday.date for holiday in case.dates.holidays}
        self.real: dict[str, tuple[int, int]] = {}

    def faults(self) -> Iterator[Fault]:
        missing = [code for code in self.tasks if code not in self.runs]
        yield from (Fault("every task is planned", code) for code in missing)
        if missing:
            return
        yield from self._done()
        for code in self.tasks:
            if code not in self.case.edits.done:
                yield from self._order(code)
                yield from self._lengths(code)
                yield from self._goods(code)
        for one in self.found.tasks:
            if self._source(one).code not in self.case.edits.done:
                yield from self._place(one)
        yield from self._shared()
        yield from self._wishes()
        if self.found.bound > self.found.value:
            yield Fault("bound", "of the opening above its value")
        for aim in self.found.aims:
            if aim.bound > aim.value + 1e-9:
                yield Fault("bound", f"of {aim.name} above its value")

    # ------------------------------------------------------------ times

    def _source(self, one: PlannedTask) -> Task:
        return self.tasks[one.code.split("/")[0]]

    def _zero(self, day: date) -> int:
        return (day - self.case.as_of).days * DAY

    def _span(self, one: PlannedTask) -> tuple[int, int]:
        return self._zero(one.start_day) + one.start, self._zero(one.end_day) + one.end

    def _whole(self, code: str) -> tuple[int, int]:
        """First start and last end. Of a wait, shown by days: from when it can have begun, to when it can be over."""
        if code in self.real:
            return self.real[code]
        spans = [self._span(one) for one in self.runs[code]]
        start, end = min(low for low, _ in spans), max(high for _, high in spans)
        source = self.tasks[code]
        if code in self.case.edits.done:
            start = end = self._zero(min(self.case.as_of, self.case.edits.done[code] + timedelta(days=1)))
        elif source.likely == 0 and source.kind == "fixed":
            end = start  # a moment, at midnight
        elif self._booked(code):  # an inspection: what comes before is ready that morning
            day = self._zero(self.runs[code][-1].end_day)
            start, end = (day + FIRM_FROM, day + FIRM_TO) if source.kind == "wait" else (start, end)
        elif source.kind == "wait":
            for lag in source.after if not self._all_here(source.arrival_of) else ():
                start = max(start, self._earliest(lag))
            long = ceil(self._wait_days(source) * DAY)
            end = max([start + long, *(self._whole(lag.task)[1] for lag in source.after if lag.from_start)])
            start = end - long
        self.real[code] = (start, end)
        return start, end

    def _earliest(self, lag: Lag) -> int:
        """When what comes after ``lag`` may start."""
        begin, end = self._whole(lag.task)
        whole_days = lag.minutes > 0 and lag.minutes % DAY == 0 and not lag.in_hours
        return (begin if lag.from_start else end) + lag.minutes - HALF_DAY_LEEWAY * whole_days

    def _booked(self, code: str) -> bool:
        return (
            any(one.task == code and one.firm for one in self.case.edits.appointments) and code not in self._ignored()
        )

    def _ignored(self) -> set[str]:
        return {reason.where for reason in self.found.reasons if reason.code == "appointment-ignored"}

    def _order(self, code: str) -> Iterator[Fault]:
        source = self.tasks[code]
        start, end = self._whole(code)
        shown = min(self._span(one)[0] for one in self.runs[code])
        for lag in source.after if not self._all_here(source.arrival_of) else ():
            at = shown + DAY - 1 if source.kind == "wait" and not self._booked(code) else start
            if at < self._earliest(lag):
                yield Fault("order", f"{code} too soon after {lag.task}")
            if lag.from_start and end < self._whole(lag.task)[1]:
                yield Fault("order", f"{code} is over before {lag.task}")
            if lag.most is not None:
                leeway = HALF_DAY_LEEWAY if lag.most and lag.most % DAY == 0 and not lag.most_in_hours else 0
                over = max(self._span(one)[1] for one in self.runs[lag.task])
                given_up = any(r.code == "waited-too-long" and r.where == code for r in self.found.reasons)
                if shown > over + lag.most + leeway and not given_up:
                    yield Fault("longest wait", f"{code} too long after {lag.task}")
        if source.kind == "wait" and not self._booked(code):
            over = max(self._span(one)[1] for one in self.runs[code])
            if over < end:
                yield Fault("wait", f"{code} is over before its time")
        for one, other in zip(self.runs[code], self.runs[code][1:], strict=False):
            if self._span(other)[0] < self._span(one)[1]:
                yield Fault("parts in turn", other.code)
        if code != OPENING and source.where == "hall" and shown < self._zero(self.case.dates.lease_start):
            yield Fault("lease", f"{code} before the lease")

    def _wait_days(self, source: Task) -> float:
        if not source.arrival_of:
            return source.likely
        mine = [one for one in self.case.arrivals.items if one.lead_group == source.arrival_of]
        days = [self._days_until(one.item) for one in mine if one.basis not in ("received", "promised", "ordered")]
        return max(days, default=0 if mine else source.likely)

    def _all_here(self, group: str) -> bool:
        mine = [one for one in self.case.arrivals.items if group and one.lead_group == group]
        return bool(mine) and all(one.basis in ("received", "promised", "ordered") for one in mine)

    def _days_until(self, item: str) -> int:
        """Days until goods can be used, counted from the order while they are to be ordered, else from today."""
        one = next(one for one in self.case.arrivals.items if one.item == item)
        day = one.likely if one.basis in ("received", "promised") else max(one.likely, one.high)
        return (day - self.case.as_of).days + one.acclimatise_days

    def _goods(self, code: str) -> Iterator[Fault]:
        start = min(self._span(one)[0] for one in self.runs[code])
        known = {one.item: one for one in self.case.arrivals.items}
        for item in self.tasks[code].needs:
            if item not in known:
                continue
            ready = self._days_until(item) * DAY
            to_order = known[item].basis in ("to order", "unquoted")
            if to_order and ORDERING in self.tasks and ORDERING not in self.case.edits.done:
                ready += self._whole(ORDERING)[1]
            if start < ready:
                yield Fault("goods", f"{code} starts before {item} can be used")

    def _lengths(self, code: str) -> Iterator[Fault]:
        source, runs = self.tasks[code], self.runs[code]
        if source.kind == "trade":
            halves = ceil(source.likely * 2 - 1e-9)
            spent = sum(self._half_days(one) for one in runs)
            if spent < halves or (len(runs) == 1 and runs[0].start_day == runs[0].end_day and spent > halves):
                yield Fault("hours", f"{code} is given {spent} half days of {halves}")
            return
        if source.kind == "wait" or not source.likely:
            return
        for one in runs:
            hours = source.likely / len(runs) / (one.crew if source.kind == "work" else 1)
            wanted = 30 * max(1, ceil(2 * hours - 1e-9))
            start, end = self._span(one)
            given = end - start if one.start_day == one.end_day else self._evening_minutes(source, start, end)
            # Parts on several evenings by one crew are shown as one span, each rounded up to a half hour.
            if given < wanted or (given > wanted and (one.build_day or "/" in one.code)):
                yield Fault("hours", f"{one.code} is given {given} minutes of {wanted}")
            if not source.crew_min <= one.crew <= source.crew_max:
                yield Fault("crew", f"{one.code} with {one.crew}")
            if source.kind == "fixed" and one.crew != max(1, source.crew_min):
                yield Fault("crew", f"{one.code} with {one.crew}")
        if source.one_day and len({one.start_day for one in runs} | {one.end_day for one in runs}) > 1:
            yield Fault("in one go", code)

    # ------------------------------------------------------------ hours of the day

    def _hall(self, day: date, *, noisy: bool = False) -> list[tuple[int, int]]:
        hours = self.case.dates.hall_hours
        if not hours:
            return [(0, DAY)]
        return [
            (clock(one.start), min(clock(one.end), clock(one.quiet_from) if noisy and one.quiet_from else DAY))
            for one in hours
            if day.weekday() in one.weekdays
        ]

    def shifts(self, day: BuildDay) -> list[tuple[int, int]]:
        jobs = self.case.net.day_jobs
        start = clock(day.start) + sum(job.minutes for job in jobs if job.when == "start")
        end = clock(day.end) - sum(job.minutes for job in jobs if job.when == "end")
        if not day.meal_minutes:
            return [(start, end)]
        meal = clock(day.meal_start)
        return [(start, meal), (meal + day.meal_minutes, end)]

    def _evening(self, day: date) -> tuple[int, int]:
        """When the core team works on a weekday; nothing on a day off or with a build day."""
        busy = day in self.closed or day.weekday() > 4 or any(one.date == day for one in self.case.crew.days)
        own = self.case.crew.core_hours_by_weekday
        hours = own.get(f"{day:%a}".lower(), self.case.crew.core_hours_per_weekday)
        return (21 * 60, 21 * 60) if busy else (21 * 60 - round(float(hours) * 60), 21 * 60)

    def _evening_minutes(self, source: Task, start: int, end: int) -> int:
        total = 0
        for number in range(start // DAY, end // DAY + 1):
            day = self.case.as_of + timedelta(days=number)
            low, high = self._evening(day)
            for first, last in self._hall(day, noisy=source.noisy) if source.where == "hall" else [(0, DAY)]:
                total += max(0, min(end, number * DAY + min(high, last)) - max(start, number * DAY + max(low, first)))
        return total

    def _half_days(self, one: PlannedTask) -> int:
        start, end = self._span(one)
        found = 0
        for number in range(start // DAY, end // DAY + 1):
            day = self.case.as_of + timedelta(days=number)
            if day.weekday() < 5 and day not in self.closed:
                for low, high in ((FIRM_FROM, FIRM_NOON), (FIRM_NOON, FIRM_TO)):
                    found += start <= number * DAY + low and number * DAY + high <= end
        return found

    def _place(self, one: PlannedTask) -> Iterator[Fault]:
        source = self._source(one)
        if source.kind == "wait" or not source.likely:
            return
        hall = source.where == "hall"
        for day, low, high in ((one.start_day, one.start, None), (one.end_day, None, one.end)):
            low = low if low is not None else one.start if one.start_day == one.end_day else None
            high = high if high is not None else one.end if one.start_day == one.end_day else None
            if hall and not any(
                (low is None or first <= low) and (high is None or high <= last)
                for first, last in self._hall(day, noisy=source.noisy)
            ):
                rule = "quiet hours" if source.noisy and not one.build_day else "landlord's hours"
                yield Fault(rule, f"{one.code} on {day}")
        if source.kind == "trade":
            if {one.start_day.weekday(), one.end_day.weekday()} & {5, 6} or {one.start_day, one.end_day} & self.closed:
                yield Fault("firm's hours", f"{one.code} on a day off")
            if one.start not in (FIRM_FROM, FIRM_NOON) or one.end not in (FIRM_NOON, FIRM_TO):
                yield Fault("firm's hours", one.code)
        elif one.build_day:
            yield from self._on_build_day(one, source)
        else:
            first, last = self._evening(one.start_day), self._evening(one.end_day)
            if not (first[0] <= one.start < first[1] and last[0] < one.end <= last[1]):
                yield Fault("evening", one.code)

    def _on_build_day(self, one: PlannedTask, source: Task) -> Iterator[Fault]:
        day = self.days[one.build_day]
        if one.start_day != day.date or one.end_day != day.date:
            yield Fault("build day hours", f"{one.code} not on the day of {day.id}")
        if source.where == "hall" and day.place != "hall":
            yield Fault("build day hours", f"{one.code} needs the hall, {day.id} is elsewhere")
        if not any(low <= one.start < one.end <= high for low, high in self.shifts(day)):
            yield Fault("build day hours", one.code)
        quiet = clock(day.quiet_until) if day.quiet_until else 0
        until = clock(day.quiet_from) if day.quiet_from else DAY
        if source.noisy and not quiet <= one.start < one.end <= until:
            yield Fault("quiet hours", one.code)

    # ------------------------------------------------------------ people and things

    def _known(self, day: BuildDay) -> list[Helper | SignedUp]:
        return [
            *(one for one in self.case.crew.helpers if day.id in one.days),
            *(one for one in self.case.signed_up if one.day == day.id),
        ]

    def _expected(self, day: BuildDay) -> int:
        return floor(day.places * (1 - float(self.case.crew.no_show_likely)) + 1e-9)

    def _holders(self, skill: str, day: BuildDay | None) -> int:
        """How many have a skill: of the core team, and on a build day of those expected."""
        core = sum(skill in person.skills for person in self.case.crew.core)
        if day is None:
            return core
        share = float(self.case.crew.skill_shares.get(skill, 0))
        coming = 1 - float(self.case.crew.no_show_likely)
        promised = sum(
            (float(one.sure) if isinstance(one, Helper) else coming) for one in self._known(day) if skill in one.skills
        )
        return core + max(floor(share * self._expected(day) + 1e-9), floor(promised + 1e-9))

    def _shared(self) -> Iterator[Fault]:
        """Who and what is in use at every moment something starts."""
        timed = [
            one
            for one in self.found.tasks
            if one.start_day == one.end_day and self._source(one).kind != "wait" and one.end > one.start
            and self._source(one).likely and self._source(one).code not in self.case.edits.done
        ]  # fmt: skip
        core = {person.id: person for person in self.case.crew.core}
        leaders = {person for person, one in core.items() if "lead" in one.skills}
        special = {*self.case.crew.skill_shares}
        for at in sorted({self._span(one)[0] for one in timed}):
            now = [one for one in timed if self._span(one)[0] <= at < self._span(one)[1]]
            zones = [self._source(one).zone for one in now if self._source(one).zone]
            if len(zones) > len(set(zones)):
                yield Fault("zone", f"{zones}")
            hands = [one for one in now if self._source(one).kind != "trade"]
            for word, count in self.case.crew.tools.items():
                if sum(word in self._source(one).tools.split(", ") for one in hands) > count:
                    yield Fault("tool", word)
            people = [person for one in hands for person in self.pinned.get(self._source(one).code, [])]
            people += [
                one.lead for one in hands if one.lead and one.lead not in self.pinned.get(self._source(one).code, [])
            ]
            if len(people) > len(set(people)):
                yield Fault("one place at a time", f"{people}")
            asked = 0
            for one in hands:
                source = self._source(one)
                own = sum(person in leaders for person in self.pinned.get(source.code, []))
                beside = sum(
                    pin.task == source.code and pin.lead and pin.person not in leaders for pin in self.case.edits.people
                )
                asked += max(own, ceil(one.crew / PEOPLE_A_HOLDER) - beside if "lead" in source.skills else 0)
            if asked > len(leaders):
                yield Fault("lead", f"{asked} asked of {len(leaders)}")
            at_night = [one for one in hands if not one.build_day]
            if sum(one.crew for one in at_night) > len(core):
                yield Fault("core team", f"{[one.code for one in at_night]}")
            yield from self._skills(at_night, special, None)
            for day in self.case.crew.days:
                here = [one for one in hands if one.build_day == day.id]
                yield from self._skills(here, special, day)
                yield from self._places(here, day)

    def _skills(self, here: list[PlannedTask], special: set[str], day: BuildDay | None) -> Iterator[Fault]:
        for skill in sorted(special):
            wanted = sum(ceil(one.crew / PEOPLE_A_HOLDER) for one in here if skill in self._source(one).skills)
            if wanted > self._holders(skill, day):
                yield Fault("skill", f"{wanted} who can {skill}")

    def _places(self, here: list[PlannedTask], day: BuildDay) -> Iterator[Fault]:
        core = len(self.case.crew.core)
        known = self._known(day)
        hands = self._expected(day) + (core - 1 if core > 1 else core) - sum(job.crew for job in self.case.net.day_jobs)
        hands -= sum(one.age == "under 14" for one in known)
        if sum(one.crew for one in here) > max(0, hands):
            yield Fault("places", f"{sum(one.crew for one in here)} on {day.id}, {hands} are there")
        bound = [one for one in known if one.age != "under 14"]
        for count in range(1, len(here) + 1):
            for group in combinations(here, count):
                barred = sum(not any(_may(one, self._source(job)) for job in group) for one in bound)
                if sum(one.crew for one in group) > max(0, hands - barred):
                    yield Fault("may not", f"{[one.code for one in group]} on {day.id}")

    # ------------------------------------------------------------ what the owner said

    def _done(self) -> Iterator[Fault]:
        for code, day in self.case.edits.done.items():
            if any((one.start_day, one.end_day) != (day, day) for one in self.runs.get(code, [])):
                yield Fault("done", f"{code} is done on {day}")

    def _wishes(self) -> Iterator[Fault]:
        edits, done = self.case.edits, self.case.edits.done
        runs = {code: mine for code, mine in self.runs.items() if code not in done}
        for pin in edits.pins:
            if pin.task in runs and any(one.build_day != pin.day for one in runs[pin.task]):
                yield Fault("pin", f"{pin.task} is not on {pin.day}")
        for hold in edits.not_before:
            if hold.task in runs and min(one.start_day for one in runs[hold.task]) < hold.date:
                yield Fault("not before", hold.task)
        for agreed in edits.appointments:
            if agreed.task in self._ignored() or not agreed.firm or agreed.task not in runs:
                continue
            mine = runs[agreed.task]
            wait = self.tasks[agreed.task].kind == "wait"
            if (max(one.end_day for one in mine) if wait else min(one.start_day for one in mine)) != agreed.date:
                yield Fault("appointment", agreed.task)
        helpers = {one.id: one.days for one in self.case.crew.helpers}
        for person in edits.people:
            mine = runs.get(person.task, [])
            days = helpers.get(person.person, ["", *self.days])
            if any(one.build_day not in days or person.person not in one.people for one in mine):
                yield Fault("person", f"{person.task} without {person.person}")
            if person.lead and any(one.lead != person.person for one in mine):
                yield Fault("lead", f"{person.task} is not led by {person.person}")
        if self.case.crew.firm_sign_ups:
            for signed in self.case.signed_up:
                if signed.task in runs and all(one.build_day != signed.day for one in runs[signed.task]):
                    yield Fault("sign-up", f"for {signed.task} on {signed.day}")


def _may(one: Helper | SignedUp, source: Task) -> bool:
    """Whether somebody may be on a task, by age, lifting and powered tools."""
    powered = bool({"saw", "driver"} & {word.strip() for word in source.tools.split(",")})
    if one.age != "adult" and (powered or UNDER_18_NEVER & set(source.cautions)):
        return False
    if one.age == "14-15" and (
        set(source.skills) - {"none", "clean", "cook"} or set(source.cautions) - {"TRIP", "EXIT", "KIDS"}
    ):
        return False
    if not one.power_tools and powered:
        return False
    return not (one.lifting == "none" and ("LIFT" in source.cautions or "lift" in source.skills))


def faults(case: Case, found: Schedule) -> list[Fault]:
    return list(Judge(case, found).faults())
