"""From tasks to activities a solver can place: parts that fit a shift, crews, allowed starts, links.

How the rules of the site are kept:

- A build day's hours are cut by sign-in and tidying; the meal splits them into two shifts. Work that takes its
  largest useful crew longer than a shift is cut beforehand into equal parts done one after the other (``W11/1``,
  ``W11/2`` …), so person-hours stay what they were.
- A crew of n needs ⌈n/7⌉ people with each named skill that not everybody has; the others help.
- A task that asks for a lead has one person who leads for every seven, and nobody leads two tasks at once. Somebody
  put on it as its leader leads it whatever their skills; one of the core team who can lead and is put on a task
  leads no other meanwhile.
- Helpers' work may be done by the core team on weekday evenings when its crew is large enough and it takes at
  most four evenings (ten for work that is not for everybody).
- Work that may start while another runs may not finish before it.
- A lag of days is met on that day, not only at the same hour: half a day less is enough. A lag of hours is kept to
  the hour, 24 or 48 of them too. Both are real time: over a night in which clocks go forward the clock shows an hour
  more than has gone by. So is what cures or dries; other waits end so many days later by the calendar.
- Helpers known to be under 18 or not to lift are counted out of the crews of tasks that are not for them. With
  several such tasks at once, every choice of them together needs enough people who may do at least one of them
  (P. Hall, Journal of the London Mathematical Society 10 (1935) 26–30, from memory).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from itertools import combinations, pairwise
from math import ceil
from statistics import median_low
from typing import NamedTuple

from buildout.units.dates import day_text
from buildout.units.value import Reason
from buildout.units.words import some_of
from estimating.engine.types import Arrivals
from scheduling.engine import ages, calendars
from scheduling.engine.calendars import FURTHEST, SLOTS_A_DAY, LocalTime, Shifts, Span
from scheduling.engine.deliveries import Delivery, group_wait, read_arrivals
from scheduling.engine.rcpsp import Activity, Limit, Link, Mode, Project, Resource
from scheduling.engine.skills import able
from scheduling.engine.tasks import OPENING
from scheduling.engine.types import Appointment, BuildDay, Crew, Dates, Lag, SignedUp, Skill, Task, TaskEdits, TaskNet

MOST_EVENINGS = {True: 4, False: 10}
"""Work that takes the core team longer stays on build days, by whether any helper may do it. Common practice, no
published source."""
ORDERING = "C04"
CORE = "core team"
MOST_PARTS = 60
"""Work that fills more shifts or evenings than this is a slip in a quantity or a rate, not a task."""
ONE_DAY = 10 * 60 // calendars.SLOT
"""Longest break within work that is not to be split over days; no night is as short."""
SLACK_DAYS = 70
"""How far past the longest chain of waits and work a plan may reach."""


@dataclass(frozen=True)
class Part:
    """What an activity stands for. ``share`` of the task's effort; parts count from 1."""

    code: str
    task: Task | None
    number: int
    of: int

    @property
    def effort(self) -> float:
        """Person-hours of work, elapsed hours of a fixed task."""
        return self.task.likely / self.of if self.task else 0.0


class Short(NamedTuple):
    """A task with too few people for one of its skills, however the days fall."""

    task: Task
    skill: Skill
    need: int
    here: int


@dataclass
class Layout:
    """The tasks as a project, with what each activity stands for."""

    from_day: date
    local: LocalTime
    parts: list[Part] = field(default_factory=list)
    activities: list[Activity] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)
    limits: list[Limit] = field(default_factory=list)
    clauses: list[tuple[tuple[int, int], ...]] = field(default_factory=list)
    wishes: list[tuple[int, tuple[Span, ...]]] = field(default_factory=list)
    """Activities wished to start within spans."""
    shifts: list[Shifts] = field(default_factory=list)
    resources: list[Resource] = field(default_factory=list)
    of_task: dict[str, list[int]] = field(default_factory=dict)
    done: dict[str, date] = field(default_factory=dict)
    deliveries: dict[str, Delivery] = field(default_factory=dict)
    short: list[Short] = field(default_factory=list)
    goal: int = 0
    """The opening, or the end of everything where the net has no opening."""
    horizon: int = 0
    reasons: list[Reason] = field(default_factory=list)

    @property
    def project(self) -> Project:
        return Project(self.activities, self.links, self.resources, self.horizon, self.limits, self.clauses)


def lay_out(
    net: TaskNet,
    crew: Crew,
    dates: Dates,
    arrivals: Arrivals,
    signed_up: Sequence[SignedUp],
    edits: TaskEdits,
    as_of: date,
    time_zone: str = "UTC",
) -> Layout:
    """Turn a task net into activities. Tasks nobody can do come back as reasons with severity ``stop``."""
    made = Layout(from_day=as_of, local=LocalTime(as_of, time_zone))
    try:
        made.shifts, made.reasons = calendars.build_shifts(crew, net.day_jobs, signed_up, made.local, dates.hall_hours)
        for weekday in range(7):
            calendars.hall_spans(dates.hall_hours, weekday, noisy=True)
    except ValueError as error:
        where = "/dates/hall_hours"
        made.reasons.append(
            Reason(
                code="hall-hours", text=f"The room's hours: {error}", where=where, severity="stop", todo="Correct it."
            )
        )
        return made
    made.done = {task.code: edits.done[task.code] for task in net.tasks if task.code in edits.done}
    for code, day in sorted(made.done.items()):
        if day > as_of:
            made.reasons.append(
                Reason(
                    code="done-later",
                    text=f"{code} is reported done on {day_text(day)}, after the day this plan is worked out for "
                    f"({day_text(as_of)})",
                    where=code,
                    severity="warning",
                    todo="Correct the date, or take the report back until it is done.",
                )
            )
    made.deliveries = read_arrivals(arrivals, as_of)
    made.reasons += _too_far(net, dates, made.deliveries, made.done, as_of)
    if not any(reason.severity == "stop" for reason in made.reasons):
        _Writer(made, net, crew, dates, edits, signed_up).write()
    return made


def _too_far(
    net: TaskNet, dates: Dates, deliveries: Mapping[str, Delivery], done: Mapping[str, date], as_of: date
) -> list[Reason]:
    """Stop at dates and lengths that can only be slips, before a plan of centuries is laid out."""
    found: list[Reason] = []

    def stop(where: str, text: str, todo: str) -> None:
        found.append(Reason(code="too-far", text=text, where=where, severity="stop", todo=todo))

    if (dates.lease_start - as_of).days > FURTHEST:
        text = f"The lease starts on {day_text(dates.lease_start)}, more than three years after {day_text(as_of)}"
        stop("/dates/lease_start", text, "Check the year.")
    for item, delivery in sorted(deliveries.items()):
        if delivery.planned > FURTHEST:
            text = f"{delivery.name} would arrive {delivery.planned} days from now"
            stop(item, text, "Check the promised day or the lead time.")
    for task in net.tasks:
        days = {"wait": task.likely, "trade": task.likely}.get(task.kind, 0.0)
        days = max([days, *(lag.minutes / 1440 for lag in task.after)])
        if task.code not in done and days > FURTHEST:
            stop(task.code, f"{task.code} {task.name} waits {days:g} days", "Check its length and its lags.")
    return found


def no_appointment(one: Appointment, task: Task, closed: Sequence[date], from_day: date) -> str:
    """Say why a task cannot be bound to the day agreed for it, to follow that day; empty where it can.

    >>> from scheduling.engine.tasks import generate
    >>> net = generate(TaskEdits(), {"elec.points": 4}, Crew(core=[], days=[]), {})
    >>> wiring = next(task for task in net.tasks if task.code == "E01")
    >>> no_appointment(Appointment(task="E01", date=date(2027, 2, 6)), wiring, [], date(2027, 2, 1))
    'is a day on which nobody works'
    """
    away = (one.date - from_day).days
    if away < 0:
        return "is over"
    if away > FURTHEST:
        return "is more than three years ahead"
    if task.arrival_of:
        return "does not bind a delivery: its promised day does"
    if one.date in closed or (one.date.weekday() >= 5 and task.kind == "trade"):
        return "is a day on which nobody works"
    return ""


class _Writer:
    def __init__(
        self,
        made: Layout,
        net: TaskNet,
        crew: Crew,
        dates: Dates,
        edits: TaskEdits,
        signed_up: Sequence[SignedUp],
    ) -> None:
        self.made, self.net, self.crew, self.dates, self.signed_up = made, net, crew, dates, signed_up
        self.closed = [holiday.date for holiday in dates.holidays]
        self.pins = self._read_pins(edits)
        self.held = self._read_holds(edits)
        self.booked = self._read_appointments(edits)
        self.people = self._read_people(edits)
        self.lead_pins = {(pin.task, pin.person) for pin in edits.people if pin.lead}
        self.core_leads = {person.id for person in crew.core if calendars.LEAD in person.skills}
        self.days = self._days()
        made.horizon = made.local.slot(made.from_day + timedelta(days=self.days))
        self.by_hours: dict[tuple[bool, bool], list[Span]] = {}
        lengths = [length for shifts in made.shifts if (length := _usual_shift(shifts))]
        self.shift = median_low(lengths) if lengths else 0
        """The middle one of the days' shifts: work cut to the longest that no day has room for is cut to this."""
        self.longest_shift = max(lengths, default=0)
        self.special = calendars.special_skills(crew)
        self.core_skills = calendars.core_skills(crew)
        self.shut_out = self._shut_out()
        self.unions: dict[str, list[tuple[str, int, frozenset[str]]]] = {}

    def write(self) -> None:
        made = self.made
        for task in self.net.tasks:
            if task.code not in made.done:
                self._add(task)
        made.reasons += _short_skills(made.short)
        self._resources()
        self._link_all()
        self._add_goal()

    def _days(self) -> int:
        """Days to look ahead: the longest chain with every piece of work on a day of its own, and some slack."""
        made = self.made
        ends: dict[str, float] = {}
        tasks = {task.code: task for task in self.net.tasks}

        def end(code: str) -> float:
            stack = [code]
            while stack:
                task = tasks[stack[-1]]
                missing = [lag.task for lag in task.after if lag.task in tasks and lag.task not in ends]
                if missing:
                    stack.append(missing[0])
                    continue
                before = max(
                    (ends[lag.task] + lag.minutes / 1440 for lag in task.after if lag.task in tasks), default=0
                )
                ends[stack.pop()] = before + self._rough_days(task)
            return ends[code]

        longest = max((end(code) for code in tasks), default=0)
        last = max(((shifts.day.date - made.from_day).days for shifts in made.shifts), default=0)
        lease = max(0, (self.dates.lease_start - made.from_day).days)
        wait = max((delivery.planned for delivery in made.deliveries.values()), default=0)
        agreed = [*self.held.values(), *(day for day, _ in self.booked.values())]
        held = max(((day - made.from_day).days for day in agreed), default=0)
        return ceil(max(longest + lease, last, wait, held + longest) + longest * 0.25) + SLACK_DAYS

    def _rough_days(self, task: Task) -> float:
        if task.code in self.made.done:
            return 0
        if task.kind == "wait":
            found = group_wait(self.made.deliveries.values(), task.arrival_of) if task.arrival_of else None
            return max(task.likely, found.from_order or 0, found.from_today or 0) if found else task.likely
        if task.kind == "trade":
            return task.likely * 1.4 + 1
        crew = max(1, min(task.crew_max, len(self.crew.core) or 1))
        hours = task.likely if task.kind == "fixed" else task.likely / crew
        usual, own = self.crew.core_hours_per_weekday, self.crew.core_hours_by_weekday
        evening = float(sum((own.get(day, usual) for day in calendars.WEEKDAYS), Decimal(0)) / len(calendars.WEEKDAYS))
        return min(14.0, hours / max(1.0, evening) * 1.4 + 0.2)

    def _read_pins(self, edits: TaskEdits) -> dict[str, str]:
        made = self.made
        usable = {shifts.day.id for shifts in made.shifts}
        places = {task.code: task.place for task in self.net.tasks}
        pins: dict[str, str] = {}
        for pin in edits.pins:
            if pin.day in usable and places.get(pin.task, "wait") not in ("trade", "wait"):
                pins[pin.task] = pin.day
                continue
            if pin.task not in places:
                continue
            why = "is not among the days to come" if pin.day not in usable else "does not bind a firm or a wait"
            made.reasons.append(
                Reason(
                    code="pin-ignored",
                    text=f"{pin.task} is pinned to build day {pin.day}, which {why}",
                    where=pin.task,
                    severity="warning",
                    todo="Pin work to a build day from the list, or take the pin off.",
                )
            )
        return pins

    def _ignored(self, code: str, task: str, text: str, todo: str) -> None:
        self.made.reasons.append(Reason(code=code, text=text, where=task, severity="warning", todo=todo))

    def _read_holds(self, edits: TaskEdits) -> dict[str, date]:
        """Task → first day it may start; days more than three years off are slips."""
        known = {task.code for task in self.net.tasks} - set(self.made.done)
        held: dict[str, date] = {}
        for hold in edits.not_before:
            if (hold.date - self.made.from_day).days > FURTHEST:
                text = f"{hold.task} is held until {day_text(hold.date)}, more than three years ahead; this is ignored"
                self._ignored("hold-ignored", hold.task, text, "Check the year.")
            elif hold.task in known:
                held[hold.task] = max(hold.date, held.get(hold.task, hold.date))
        return held

    def _read_appointments(self, edits: TaskEdits) -> dict[str, tuple[date, bool]]:
        """Task → day agreed, and whether it is firm."""
        tasks = {task.code: task for task in self.net.tasks if task.code not in self.made.done}
        found: dict[str, tuple[date, bool]] = {}
        for one in edits.appointments:
            if one.task not in tasks:
                continue
            why = no_appointment(one, tasks[one.task], self.closed, self.made.from_day)
            if why:
                text = f"The appointment for {one.task} on {day_text(one.date)} {why}; it is ignored"
                self._ignored("appointment-ignored", one.task, text, "Agree on another day, or take it out.")
                continue
            found[one.task] = (one.date, one.firm)
        return found

    def _read_people(self, edits: TaskEdits) -> dict[str, dict[str, set[str] | None]]:
        """Task → person → build days they can be there; None: one of the core team, on evenings too."""
        tasks = {task.code: task for task in self.net.tasks if task.code not in self.made.done}
        found: dict[str, dict[str, set[str] | None]] = {}
        core = {person.id for person in self.crew.core}
        helpers = {helper.id: helper for helper in self.crew.helpers}
        signed = {one.id: one for one in self.signed_up}
        for pin in edits.people:
            task = tasks.get(pin.task)
            if task is None:
                continue
            here: set[str] | None = None
            no = ""
            if pin.person in helpers:
                helper = helpers[pin.person]
                here = set(helper.days)
                no = ages.refusal(
                    helper.age,
                    helper.lifting,
                    helper.power_tools,
                    skills=[*task.skills],
                    cautions=task.cautions,
                    tools=task.tools,
                )
            elif pin.person in signed:
                one = signed[pin.person]
                here = {one.day}
                no = ages.refusal(
                    one.age, one.lifting, one.power_tools,
                    skills=[*task.skills], cautions=task.cautions, tools=task.tools,
                )  # fmt: skip
            elif pin.person not in core:
                text = f"Nobody is known as {pin.person}, who should be on {pin.task}; this is ignored"
                self._ignored("person-ignored", pin.task, text, "Name one of the core team, a helper or a sign-up.")
                continue
            if no:
                text = f"{sentence(self._called(pin.person))} cannot be on {pin.task} {task.name}: {no}"
                self.made.reasons.append(_stop(task, "person-may-not", text, "Put somebody else on this task."))
                continue
            if task.kind in ("wait", "trade"):
                text = f"{pin.task} is done by a firm or by nobody; {self._called(pin.person)} cannot be put on it"
                self._ignored("person-ignored", pin.task, text, "Take this out.")
                continue
            found.setdefault(pin.task, {})[pin.person] = here
        return found

    def _called(self, person: str) -> str:
        return called(person, self.crew, self.signed_up)

    def _shut_out(self) -> dict[tuple[str, str], frozenset[int]]:
        """(day, task) → numbers of the day's limited helpers who may do the task; only where some may not."""
        found: dict[tuple[str, str], frozenset[int]] = {}
        for shifts in self.made.shifts:
            for task in self.net.tasks if shifts.limited else ():
                may = frozenset(
                    number
                    for number, limits in enumerate(shifts.limited)
                    if not ages.refusal(*limits, skills=[*task.skills], cautions=task.cautions, tools=task.tools)
                )
                if len(may) < len(shifts.limited):
                    found[shifts.day.id, task.code] = may
        return found

    def _evenings(self, task: Task) -> list[Span]:
        key = (task.where == "hall", task.noisy)
        if key not in self.by_hours:
            hours = self.dates.hall_hours if key[0] else ()
            self.by_hours[key] = calendars.evenings(
                self.crew, self.made.local, self.days, self.closed, hours, noisy=key[1]
            )
        return self.by_hours[key]

    def _evening(self, task: Task) -> int:
        """Slots of an evening this task can be done in: the shortest that is at least half the longest."""
        lengths = {high - low for low, high in self._evenings(task)}
        longest = max(lengths, default=0)
        return min((length for length in lengths if 2 * length >= longest), default=0)

    # ------------------------------------------------------------ activities

    def _add(self, task: Task) -> None:
        local = self.made.local
        earliest = 0
        if task.where == "hall":
            earliest = max(0, local.slot(self.dates.lease_start))
        if task.code in self.held:
            earliest = max(earliest, local.slot(self.held[task.code]))
        if task.kind == "wait" and self.booked.get(task.code, (None, False))[1]:
            # An inspection on its day: what comes before it has to be ready that morning.
            morning = local.slot(self.booked[task.code][0], calendars.TRADE_DAY[0])
            mode = Mode(2 * calendars.HALF_TRADE_DAY, (), ((morning, morning),))
            self._append(task, [Activity(task.code, (mode,), earliest)])
        elif task.kind == "wait":
            self._append(task, [Activity(task.code, self._wait_modes(task), earliest, self._arrives(task))])
        elif task.kind == "trade":
            self._append(task, [Activity(task.code, (mode,), earliest) for mode in self._trade_modes(task)])
        elif task.code == OPENING or task.likely == 0:
            midnights = local.midnights(self.made.horizon)
            self._append(task, [Activity(task.code, (Mode(0, (), midnights),), earliest)])
        else:
            self._append(task, self._work(task, earliest))
        if task.code in self.booked:
            self._book(task)

    def _book(self, task: Task) -> None:
        """Bind a task to its appointment, or note the wish."""
        made = self.made
        day, firm = self.booked[task.code]
        zero, last = made.local.slot(day), made.local.slot(day + timedelta(days=1)) - 1
        i = made.of_task[task.code][0]
        activity = made.activities[i]
        if task.kind == "wait":
            length = activity.modes[0].duration
            if not firm:
                made.wishes.append((i, ((max(0, zero - length), max(0, zero - length) + SLOTS_A_DAY - 1),)))
            return
        if not firm:
            made.wishes.append((i, ((zero, last),)))
            return
        modes = []
        for mode in activity.modes:
            starts = calendars.clip_starts(mode.starts or ((0, made.horizon),), zero, last)
            if starts:
                modes.append(mode._replace(starts=starts))
        if not modes and activity.modes:
            made.reasons.append(
                _stop(
                    task,
                    "appointment",
                    f"{task.code} {task.name} is agreed for {day_text(day)}, but nobody can do it on that day",
                    "Agree on another day.",
                )
            )
        made.activities[i] = activity._replace(modes=tuple(modes))

    def _append(self, task: Task, activities: list[Activity]) -> None:
        made = self.made
        for number, activity in enumerate(activities, 1):
            code = task.code if len(activities) == 1 else f"{task.code}/{number}"
            made.of_task.setdefault(task.code, []).append(len(made.activities))
            made.parts.append(Part(code, task, number, len(activities)))
            made.activities.append(activity._replace(name=code))

    def _wait_modes(self, task: Task) -> tuple[Mode, ...]:
        """What cures takes so much real time; another wait ends so many days later by the calendar."""
        days = task.likely
        if task.arrival_of:
            found = group_wait(self.made.deliveries.values(), task.arrival_of)
            if found.from_order is not None or found.from_today is not None:
                days = max(0, found.from_order or 0)
        if task.cures:
            return (Mode(ceil(days * SLOTS_A_DAY - 1e-9)),)
        modes = self.made.local.calendar_modes(days, self.made.horizon)
        return tuple(Mode(length, (), starts) for length, starts in modes)

    def _arrives(self, task: Task) -> int:
        if not task.arrival_of:
            return 0
        return self._in_days(group_wait(self.made.deliveries.values(), task.arrival_of).from_today or 0)

    def _in_days(self, days: int) -> int:
        """The midnight so many days after the first, not before it."""
        return self.made.local.real(max(0, days) * SLOTS_A_DAY)

    def _trade_modes(self, task: Task) -> list[Mode]:
        halves = max(1, ceil(task.likely * 2 - 1e-9))
        if halves > 4 * MOST_PARTS:
            text = f"{task.code} {task.name} takes a firm {task.likely:g} working days"
            self.made.reasons.append(_stop(task, "too-much-work", text, "Check its quantity and its rate."))
            return [Mode(0)]
        hours = self.dates.hall_hours if task.where == "hall" else ()
        uses = ((f"zone {task.zone}", 1),) if task.zone else ()
        modes = []
        for number in (2,) * (halves // 2) + (1,) * (halves % 2):
            starts = calendars.trade_starts(number, self.made.local, self.days, self.closed, hours, noisy=task.noisy)
            if not starts:
                text = f"{task.code} {task.name}: the landlord's hours leave a firm no working day in the room"
                self.made.reasons.append(_stop(task, "no-window", text, "Ask for longer hours on one weekday."))
            modes.append(Mode(number * calendars.HALF_TRADE_DAY, uses, starts))
        return modes

    def _work(self, task: Task, earliest: int, room: int = 0) -> list[Activity]:
        """Cut work into parts of at most ``room`` slots, where none is given of the longest shift there is."""
        room = room or self.longest_shift
        pinned = self.pins.get(task.code, "")
        days = [
            shifts
            for shifts in self.made.shifts
            if (not pinned or shifts.day.id == pinned)
            and (shifts.day.place == "hall" or task.where != "hall")
            and shifts.windows
            and all(here is None or shifts.day.id in here for here in self.people.get(task.code, {}).values())
        ]
        evening = self._evening(task)
        by_hand = all(here is None for here in self.people.get(task.code, {}).values())
        day_crew = max((self._largest_crew(task, self._may(task, shifts), shifts.skills) for shifts in days), default=0)
        core_crew = 0 if pinned or not by_hand else self._largest_crew(task, len(self.crew.core), self.core_skills)
        usual = max(map(_usual_shift, days), default=0)
        shift = min(room, usual)
        on_days = ceil(self._slots(task, day_crew, 1) / shift - 1e-9) if day_crew and shift else 0
        at_night = ceil(self._slots(task, core_crew, 1) / evening - 1e-9) if core_crew and evening else 0
        if task.place == CORE and at_night:
            on_days = 0
        if task.place != CORE and on_days and at_night > MOST_EVENINGS[task.volunteers]:
            at_night = 0
        if task.one_day:
            at_night = at_night if at_night == 1 or not on_days else 0
            longest = max((len(shifts.windows) for shifts in days), default=0)
            if max(on_days, at_night) > (longest if on_days else 1):
                hours = task.likely if task.kind == "fixed" else task.likely / max(1, day_crew or core_crew)
                lengths = [sum(high - low for low, high in shifts.windows) for shifts in days]
                if not on_days:
                    lengths = [high - low for low, high in self._evenings(task)]
                most = max(lengths, default=0) * calendars.SLOT / 60
                self.made.reasons.append(
                    _stop(
                        task,
                        "no-day-long-enough",
                        f"{task.code} {task.name} takes {hours:.3g} hours in one go, and no day is long enough for it: "
                        f"the longest {'build day' if on_days else 'evening'} leaves {most:.3g} hours for work",
                        "Lengthen a build day, raise its places, or allow the task to be split over days.",
                    )
                )
                return [Activity(task.code, (), earliest)]
        parts = max(on_days, at_night)
        if parts > MOST_PARTS:
            self.made.reasons.append(
                _stop(
                    task,
                    "too-much-work",
                    f"{task.code} {task.name} takes {task.likely:g} {'person-' * (task.kind == 'work')}hours "
                    f"({task.quantity:g} {task.unit}); that fills more than {MOST_PARTS} shifts of its largest crew",
                    "Check its quantity and its rate, or divide it into tasks of its own.",
                )
            )
            return [Activity(task.code, (), earliest)]
        if not parts:
            self.made.reasons += self._nobody(task, pinned)
            return [Activity(task.code, (), earliest)]
        modes: list[Mode] = []
        if on_days:
            for shifts in days:
                modes += self._day_modes(task, parts, shifts, shift)
        if at_night:
            modes += self._evening_modes(task, parts, core_crew)
        if not modes and room > self.shift and not task.one_day:
            return self._work(task, earliest, self.shift)
        if not modes:
            self.made.reasons += self._nobody(task, pinned)
        return [Activity(task.code, tuple(modes), earliest)] * parts

    def _slots(self, task: Task, crew: int, parts: int) -> int:
        hours = task.likely if task.kind == "fixed" else task.likely / crew
        return max(1, ceil(hours / parts * 60 / calendars.SLOT - 1e-9))

    def _skill_needs(self, task: Task, crew: int) -> dict[str, int]:
        holders = ceil(crew / calendars.PEOPLE_PER_LEAD)
        needs = {skill: holders for skill in task.skills if skill in self.special and skill != calendars.LEAD}
        leads = self._leads_needed(task, holders)
        return needs | ({calendars.LEAD: leads} if leads else {})

    def _leads_needed(self, task: Task, holders: int) -> int:
        """How many of those who lead a task takes, beside the leaders put on it who are not counted among them."""
        put = self.people.get(task.code, {})
        own = sum(person in self.core_leads for person in put)
        beside = sum((task.code, person) in self.lead_pins and person not in self.core_leads for person in put)
        return max(own, holders - beside if calendars.LEAD in task.skills else 0)

    def _largest_crew(self, task: Task, people: int, skills: Mapping[str, int]) -> int:
        """The largest useful crew these people allow; 0 when not even the smallest."""
        for crew in range(min(task.crew_max, people), max(task.crew_min, 1) - 1, -1):
            if all(skills.get(skill, 0) >= need for skill, need in self._skill_needs(task, crew).items()):
                return crew
        return 0

    def _crews(self, task: Task, parts: int, largest: int, room: int, most: int) -> list[tuple[int, int]]:
        """Return (crew, slots) choices that fit the room: the fastest, the smallest crew, and some between."""
        smallest = max(1, task.crew_min)
        if task.kind == "fixed":
            slots = self._slots(task, smallest, parts)
            return [(smallest, slots)] if slots <= room else []
        best: dict[int, int] = {}
        for crew in range(largest, smallest - 1, -1):
            slots = self._slots(task, crew, parts)
            if slots <= room:
                best[slots] = crew
        choices = [(crew, slots) for slots, crew in sorted(best.items())]
        if len(choices) > most:
            choices = [choices[round(n * (len(choices) - 1) / (most - 1))] for n in range(most)]
        return choices

    def _day_modes(self, task: Task, parts: int, shifts: Shifts, room: int) -> list[Mode]:
        modes = []
        largest = self._largest_crew(task, self._may(task, shifts), shifts.skills)
        for crew, slots in self._crews(task, parts, largest, room, 3) if largest else []:
            starts = shifts.starts(slots, task.noisy)
            if starts:
                uses = self._uses(f"day {shifts.day.id}", task, crew)
                uses += tuple((name, crew) for name, _, who in self._unions(shifts) if task.code in who)
                modes.append(Mode(slots, uses, starts, shifts.day.id, crew))
        return modes

    def _may(self, task: Task, shifts: Shifts) -> int:
        """How many of a day's people may do a task."""
        may = self.shut_out.get((shifts.day.id, task.code))
        return shifts.people if may is None else max(0, shifts.people - len(shifts.limited) + len(may))

    def _unions(self, shifts: Shifts) -> list[tuple[str, int, frozenset[str]]]:
        """For every set of people some tasks are confined to: a name, how many, and those tasks."""
        if shifts.day.id not in self.unions:
            confined: dict[frozenset[int], set[str]] = {}
            for (day, code), may in sorted(self.shut_out.items()):
                if day == shifts.day.id:
                    confined.setdefault(may, set()).add(code)
            kinds = sorted(confined, key=sorted)
            together = {frozenset().union(*some) for n in range(1, len(kinds) + 1) for some in combinations(kinds, n)}
            everybody = frozenset(range(len(shifts.limited)))
            found = []
            for number, union in enumerate(sorted(together - {everybody}, key=sorted)):
                codes = frozenset(code for may in kinds if may <= union for code in confined[may])
                people = max(0, shifts.people - len(shifts.limited) + len(union))
                found.append((f"those who may {number} of day {shifts.day.id}", people, codes))
            self.unions[shifts.day.id] = found
        return self.unions[shifts.day.id]

    def _evening_modes(self, task: Task, parts: int, largest: int) -> list[Mode]:
        modes = []
        for crew, slots in self._crews(task, parts, largest, self._evening(task), 2):
            starts = tuple((low, high - slots) for low, high in self._evenings(task) if high - low >= slots)
            modes.append(Mode(slots, self._uses(CORE, task, crew), starts, "", crew))
        return modes

    def _uses(self, whose: str, task: Task, crew: int) -> tuple[tuple[str, int], ...]:
        named = self._skill_needs(task, crew)
        return (
            (whose, crew),
            *((f"{skill} of {whose}", need) for skill, need in sorted(named.items())),
            *self._holds(task),
        )

    def _holds(self, task: Task) -> tuple[tuple[str, int], ...]:
        """What a task has for itself while it lasts: its zone, one of each scarce tool, the people put on it."""
        zone = ((f"zone {task.zone}", 1),) if task.zone else ()
        tools = tuple((f"tool {word}", 1) for word in sorted(self.crew.tools) if needs_tool(task.tools, word))
        people = tuple((f"person {person}", 1) for person in sorted(self.people.get(task.code, {})))
        return (*zone, *tools, *people)

    def _nobody(self, task: Task, pinned: str) -> list[Reason]:
        """Say in words why no crew can do a task, and a way out; short skills are told for all tasks together."""
        named = {person: here for person, here in self.people.get(task.code, {}).items() if here is not None}
        if named:
            who = some_of([self._called(person) for person in sorted(named)])
            held = next((f", {name_of(day)}" for day in self.crew.days if day.id == pinned), "")
            when = f"on the build day it is held on{held}" if pinned else "together on any day it can be done"
            if len(named) == 1 and not pinned:
                when = "on any day it can be done"
            not_there = f"who {'is' if len(named) == 1 else 'are'} not there {when}"
            text = f"{task.code} {task.name} must have {who} on it, {not_there}"
            return [_stop(task, "person", text, "Put somebody else on it, or choose a day on which they come.")]
        days = [shifts for shifts in self.made.shifts if not pinned or shifts.day.id == pinned]
        fitting = [shifts for shifts in days if shifts.day.place == "hall" or task.where != "hall"]
        smallest = max(1, task.crew_min)
        who = f"{task.code} {task.name}"
        core = len(self.crew.core)
        if not fitting:
            asked = (
                f"the build day it is pinned to, {pinned}, is not in the hall"
                if pinned and days
                else "there is no build day to come that it can use"
            )
            return [
                _stop(
                    task,
                    "no-build-day",
                    f"{who} needs {smallest} people at once and {asked}; the core team has {core}",
                    f"Add a build day with at least {smallest} places.",
                )
            ]
        best = max(fitting, key=lambda shifts: (shifts.people, -shifts.first_slot))
        if best.people < smallest:
            places = self._places_for(smallest)
            return [_stop(
                task, "crew-too-small",
                f"{who} needs {smallest} people at once; the fullest build day it can use, {best.day.name} on "
                f"{day_text(best.day.date)}, has {best.day.places} places, which with usual no-shows and the core team "
                f"of {core} makes {best.people} {'person' if best.people == 1 else 'people'}",
                f"Raise {best.day.name} to {places} places, or divide the task.",
            )]  # fmt: skip
        found = [
            Short(task, skill, need, here)  # type: ignore[arg-type]
            for skill, need in self._skill_needs(task, smallest).items()
            if (here := max(shifts.skills.get(skill, 0) for shifts in fitting)) < need
        ]
        if found:
            self.made.short += found
            return []
        hours = task.likely if task.kind == "fixed" else task.likely / max(1, task.crew_max)
        return [_stop(
            task, "no-window",
            f"{who} takes {hours:.1f} hours and finds no shift long enough{' after the quiet hours' * task.noisy}",
            "Lengthen a build day, move its quiet hours, or divide the task.",
        )]  # fmt: skip

    def _places_for(self, people: int) -> int:
        extra = calendars.core_on_site(self.crew) - sum(job.crew for job in self.net.day_jobs)
        missing = float(self.crew.no_show_likely)
        places = max(0, people - extra)
        while missing < 1 and calendars.expected_helpers(places, missing) + extra < people:
            places += 1
        return places

    def _leading_by_name(self, day: str) -> int:
        """Helpers who can lead, come on this day, and are put on a task as its leader."""
        named = {helper.id: helper.skills for helper in self.crew.helpers if day in helper.days}
        named |= {one.id: one.skills for one in self.signed_up if one.day == day}
        leaders = {person for task, person in self.lead_pins if person in self.people.get(task, {})}
        return sum(calendars.LEAD in named.get(person, []) for person in leaders)

    def _resources(self) -> None:
        made = self.made
        for zone in sorted({task.zone for task in self.net.tasks if task.zone}):
            made.resources.append(Resource(f"zone {zone}", 1))
        for word, count in sorted(self.crew.tools.items()):
            made.resources.append(Resource(f"tool {word}", max(0, count)))
            for task in self.net.tasks:
                if count < 1 and task.code not in made.done and task.place != "trade" and needs_tool(task.tools, word):
                    text = f"{task.code} {task.name} needs the tool “{word}”, and there is none"
                    made.reasons.append(_stop(task, "tool-missing", text, f"Borrow or hire one “{word}”."))
        for person in sorted({person for some in self.people.values() for person in some}):
            made.resources.append(Resource(f"person {person}", 1))
        made.resources.append(Resource(CORE, len(self.crew.core)))
        made.resources += [Resource(f"{skill} of {CORE}", amount) for skill, amount in self.core_skills.items()]
        for shifts in made.shifts:
            whose = f"day {shifts.day.id}"
            made.resources.append(Resource(whose, shifts.people))
            for skill, n in shifts.skills.items():
                if skill == calendars.LEAD:
                    # Leaders put on tasks by name are taken from the day's leads, so that none is counted twice.
                    n = max(self.core_skills.get(skill, 0), n - self._leading_by_name(shifts.day.id))
                made.resources.append(Resource(f"{skill} of {whose}", n))
            made.resources += [Resource(name, count) for name, count, _ in self._unions(shifts)]

    # ------------------------------------------------------------ links

    def _link_all(self) -> None:
        made = self.made
        links: list[Link] = []
        earliest: dict[int, int] = {}

        def not_before(i: int, slot: int) -> None:
            earliest[i] = max(earliest.get(i, 0), slot)

        for task in self.net.tasks:
            mine = made.of_task.get(task.code)
            if not mine:
                continue
            links += [Link(a, b) for a, b in pairwise(mine)]
            if task.one_day and len(mine) > 1:
                # Shorter than any night, so all parts fall on the day of the first.
                made.limits.append(Limit(mine[0], mine[-1], ONE_DAY))
            if task.arrival_of and self._all_placed(task.arrival_of):
                continue
            for lag in task.after:
                slots = ceil(lag_minutes(lag) / calendars.SLOT)
                other = made.of_task.get(lag.task)
                if other and lag.from_start:
                    links.append(Link(other[0], mine[0], slots, "start-start"))
                    links.append(Link(other[-1], mine[-1], 0, "end-end"))
                elif other:
                    links.append(Link(other[-1], mine[0], slots))
                if other and lag.most is not None:
                    made.limits.append(Limit(other[-1], mine[0], most_minutes(lag) // calendars.SLOT))
                if other:
                    continue
                if lag.task in made.done:
                    over = min(made.from_day, made.done[lag.task] + timedelta(days=1))
                    not_before(mine[0], made.local.slot(over) + slots)
                    if lag.most is not None:
                        self._start_by(task, mine[0], lag)
        for rule in goods_rules(self.net, made.deliveries, made.done):
            mine = made.of_task[rule.task]
            days = made.deliveries[rule.item].planned
            if rule.from_order:
                links.append(Link(made.of_task[ORDERING][-1], mine[0], max(0, days) * SLOTS_A_DAY))
            else:
                not_before(mine[0], self._in_days(days))
        if self.crew.firm_sign_ups:
            self._keep_sign_ups()
        made.links = sorted(set(links))
        for i, slot in earliest.items():
            made.activities[i] = made.activities[i]._replace(earliest=max(made.activities[i].earliest, slot))

    def _start_by(self, task: Task, i: int, lag: Lag) -> None:
        """Bind a task to its longest wait after one that is done; say so where that time is over already."""
        made = self.made
        last = made.local.slot(made.done[lag.task] + timedelta(days=1)) + most_minutes(lag) // calendars.SLOT
        if last >= 0:
            modes = tuple(
                mode._replace(starts=calendars.clip_starts(mode.starts or ((0, made.horizon),), 0, last))
                for mode in made.activities[i].modes
            )
            kept = tuple(mode for mode in modes if mode.starts)
            made.activities[i] = made.activities[i]._replace(modes=kept)
            return
        text = (
            f"{task.code} {task.name} should have begun sooner after {lag.task}, done on "
            f"{day_text(made.done[lag.task])}; its longest wait cannot be kept any more"
        )
        todo = "Ask the maker what to do, then take the longest wait out."
        self._ignored("waited-too-long", task.code, text, todo)

    def _keep_sign_ups(self) -> None:
        """Every task somebody has signed up for is done, at least in part, on that day."""
        made = self.made
        usable = {shifts.day.id for shifts in made.shifts}
        for day, code in sorted({(one.day, one.task.split("/")[0]) for one in self.signed_up if one.task}):
            some = tuple(
                (i, number)
                for i in made.of_task.get(code, [])
                for number, mode in enumerate(made.activities[i].modes)
                if mode.day == day
            )
            if day in usable and code in made.of_task:
                made.clauses.append(some)

    def _all_placed(self, group: str) -> bool:
        found = group_wait(self.made.deliveries.values(), group)
        return found.from_order is None and found.from_today is not None

    def _add_goal(self) -> None:
        made = self.made
        if OPENING in made.of_task:
            made.goal = made.of_task[OPENING][-1]
            return
        made.goal = len(made.activities)
        midnights = made.local.midnights(made.horizon)
        made.parts.append(Part("", None, 1, 1))
        made.activities.append(Activity("everything done", (Mode(0, (), midnights),)))
        if OPENING not in made.done:
            made.links += [Link(i, made.goal) for i in range(made.goal)]


def _usual_shift(shifts: Shifts) -> int:
    """Slots of a day's shorter shift, or of its longer one where the other is hardly a shift at all."""
    lengths = [high - low for low, high in shifts.windows]
    longest = max(lengths, default=0)
    return min((length for length in lengths if 2 * length >= longest), default=0)


def _stop(task: Task, code: str, text: str, todo: str) -> Reason:
    return Reason(code=code, text=text, where=task.code, severity="stop", todo=todo)


def _short_skills(short: Sequence[Short]) -> list[Reason]:
    """One reason for every skill that is short, with all tasks that ask for it."""
    found = []
    for skill in dict.fromkeys(one.skill for one in short):
        mine = [one for one in short if one.skill == skill]
        need, here, count = max(one.need for one in mine), min(one.here for one in mine), len(mine)
        names = [f"{one.task.code} {one.task.name}" for one in mine]
        asks = (
            f"{names[0]} needs {need} who can {able(skill)}"
            if count == 1
            else f"{count} tasks need {'somebody' if need == 1 else f'up to {need} at once'} who can {able(skill)}"
        )
        text = f"{asks}; the core team and the helpers expected on any build day make {here}"
        text += f": {some_of(names)}" if count > 1 else ""
        todo = f"Add somebody who can {able(skill)} to the core team, or raise its share among the helpers."
        found.append(_stop(mine[0].task, "skill-missing", text, todo))
    return found


def called(person: str, crew: Crew, signed_up: Sequence[SignedUp]) -> str:
    """What somebody put on a task is called; of those who signed up the plan knows no name, but the day.

    >>> day = BuildDay(id="d", date=date(2027, 3, 20), name="Cover", places=8)
    >>> called("s1", Crew(core=[], days=[day]), [SignedUp(id="s1", day="d")])
    'the helper who signed up for Cover on Sat 20 Mar 2027'
    """
    named = {one.id: one.name for one in crew.core} | {one.id: one.name for one in crew.helpers}
    if person in named:
        return named[person]
    days = {day.id: f" for {name_of(day)}" for day in crew.days}
    return "the helper who signed up" + next((days.get(one.day, "") for one in signed_up if one.id == person), "")


def name_of(day: BuildDay) -> str:
    return f"{day.name or day.id} on {day_text(day.date)}"


def sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def needs_tool(tools: str, word: str) -> bool:
    """Say whether a task's tools name a tool.

    >>> needs_tool("saw, guide, stands", "saw"), needs_tool("hook staplers", "stapler"), needs_tool("sawhorse", "saw")
    (True, True, False)
    """
    return bool(word) and re.search(rf"\b{re.escape(word)}s?\b", tools) is not None


def most_minutes(lag: Lag) -> int:
    """Return the longest real time a longest wait stands for: days are met on that day, hours to the hour.

    >>> most_minutes(Lag(task="H03", most=1440)), most_minutes(Lag(task="H03", most=1440, most_in_hours=True))
    (2160, 1440)
    """
    most = lag.most or 0
    whole_days = most > 0 and most % (24 * 60) == 0 and not lag.most_in_hours
    return most + 12 * 60 if whole_days else most


def lag_minutes(lag: Lag) -> int:
    """Return the shortest real time a lag stands for, in minutes: days are met on that day, hours to the hour.

    >>> lag_minutes(Lag(task="H08", minutes=1440)), lag_minutes(Lag(task="H08", minutes=1440, in_hours=True))
    (720, 1440)
    """
    whole_days = lag.minutes > 0 and lag.minutes % (24 * 60) == 0 and not lag.in_hours
    return lag.minutes - 12 * 60 if whole_days else lag.minutes


class GoodsRule(NamedTuple):
    """A task waits for an item no wait before it stands for: from the ordering, or from today when ordered."""

    task: str
    item: str
    from_order: bool


def goods_rules(net: TaskNet, deliveries: Mapping[str, Delivery], done: Mapping[str, date]) -> list[GoodsRule]:
    """Return which open tasks must wait for goods directly."""
    above = _above(net)
    waits = {task.arrival_of: task.code for task in net.tasks if task.arrival_of}
    orders = ORDERING in above and ORDERING not in done
    found = []
    for task in net.tasks:
        for item in task.needs if task.code not in done else ():
            delivery = deliveries.get(item)
            if delivery is None or waits.get(delivery.group) in above[task.code] - set(done):
                continue
            first = task.code == ORDERING or task.code in above.get(ORDERING, set())
            found.append(GoodsRule(task.code, item, orders and not delivery.placed and not first))
    return found


def _above(net: TaskNet) -> dict[str, set[str]]:
    """Return every task's predecessors, near and far. A ring, which the net refuses, is gone round once."""
    after = {task.code: [lag.task for lag in task.after] for task in net.tasks}
    found: dict[str, set[str]] = {}
    for root in after:
        stack = [root]
        while stack:
            missing = [code for code in after[stack[-1]] if code in after and code not in found and code not in stack]
            if missing:
                stack.append(missing[0])
                continue
            code = stack.pop()
            mine = [p for p in after[code] if p in after]
            found[code] = set(mine).union(*(found.get(p, set()) for p in mine))
    return found


def further_days(crew: Crew, as_of: date, count: int) -> list[BuildDay]:
    """Build days a week apart after the last one, each with the hours and places of the fullest."""
    pattern = max(crew.days, key=lambda day: (day.places, day.date), default=None)
    ahead = [day.date for day in crew.days if 0 <= (day.date - as_of).days <= FURTHEST]
    last = max(ahead, default=None)
    first = last + timedelta(days=7) if last else as_of + timedelta(days=(5 - as_of.weekday()) % 7 or 7)
    taken = {day.id for day in crew.days}
    ids = [name for number in range(1, count + len(taken) + 1) if (name := f"further-day-{number}") not in taken]
    return [
        BuildDay(
            id=ids[number],
            date=first + timedelta(days=7 * number),
            name=f"Further day {number + 1}",
            start=pattern.start if pattern else "08:30",
            end=pattern.end if pattern else "16:00",
            places=pattern.places if pattern else 12,
        )
        for number in range(count)
    ]
