"""From tasks to activities a solver can place: parts that fit a shift, crews, allowed starts, links.

How the rules of the site are kept:

- A build day's hours are cut by sign-in and tidying; the meal splits them into two shifts. Work that takes its
  largest useful crew longer than a shift is cut beforehand into equal parts done one after the other (``W11/1``,
  ``W11/2`` …), so person-hours stay what they were.
- A crew of n needs ⌈n/7⌉ people with each named skill that not everybody has; the others help.
- Helpers' work may be done by the core team on weekday evenings when its crew is large enough and it takes at
  most four evenings (ten for work that is not for everybody).
- Work that may start while another runs may not finish before it.
- A lag of whole days is met on that day, not only at the same hour: half a day less is enough.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise
from math import ceil
from typing import NamedTuple

from buildout.units.dates import day_text
from buildout.units.value import Reason
from estimating.engine.types import Arrivals
from scheduling.engine import calendars
from scheduling.engine.calendars import FURTHEST, SLOTS_A_DAY, Shifts
from scheduling.engine.deliveries import Delivery, group_wait, read_arrivals
from scheduling.engine.rcpsp import Activity, Link, Mode, Project, Resource
from scheduling.engine.tasks import OPENING
from scheduling.engine.types import BuildDay, Crew, Dates, Lag, SignedUp, Task, TaskEdits, TaskNet

MOST_EVENINGS = {True: 4, False: 10}
"""Work that takes the core team longer stays on build days, by whether any helper may do it. Common practice, no
published source."""
ORDERING = "C04"
CORE = "core team"
MOST_PARTS = 60
"""Work that fills more shifts or evenings than this is a slip in a quantity or a rate, not a task."""
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


@dataclass
class Layout:
    """The tasks as a project, with what each activity stands for."""

    from_day: date
    parts: list[Part] = field(default_factory=list)
    activities: list[Activity] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)
    shifts: list[Shifts] = field(default_factory=list)
    resources: list[Resource] = field(default_factory=list)
    of_task: dict[str, list[int]] = field(default_factory=dict)
    done: dict[str, date] = field(default_factory=dict)
    deliveries: dict[str, Delivery] = field(default_factory=dict)
    goal: int = 0
    """The opening, or the end of everything where the net has no opening."""
    horizon: int = 0
    reasons: list[Reason] = field(default_factory=list)

    @property
    def project(self) -> Project:
        return Project(self.activities, self.links, self.resources, self.horizon)


def lay_out(
    net: TaskNet,
    crew: Crew,
    dates: Dates,
    arrivals: Arrivals,
    signed_up: Sequence[SignedUp],
    edits: TaskEdits,
    as_of: date,
) -> Layout:
    """Turn a task net into activities. Tasks nobody can do come back as reasons with severity ``stop``."""
    made = Layout(from_day=as_of)
    made.shifts, made.reasons = calendars.build_shifts(crew, net.day_jobs, signed_up, as_of)
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
        _Writer(made, net, crew, dates, edits).write()
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
            text = f"{item} would arrive {delivery.planned} days from now"
            stop(item, text, "Check the promised day or the lead time.")
    for task in net.tasks:
        days = {"wait": task.likely, "trade": task.likely}.get(task.kind, 0.0)
        days = max([days, *(lag.minutes / 1440 for lag in task.after)])
        if task.code not in done and days > FURTHEST:
            stop(task.code, f"{task.code} {task.name} waits {days:g} days", "Check its length and its lags.")
    return found


class _Writer:
    def __init__(self, made: Layout, net: TaskNet, crew: Crew, dates: Dates, edits: TaskEdits) -> None:
        self.made, self.net, self.crew, self.dates = made, net, crew, dates
        self.closed = [holiday.date for holiday in dates.holidays]
        self.pins = self._read_pins(edits)
        self.days = self._days()
        made.horizon = self.days * SLOTS_A_DAY
        self.evening = calendars.evening_slots(crew)
        self.evenings = calendars.evenings(crew, made.from_day, self.days, self.closed)
        self.shift = max((_usual_shift(shifts) for shifts in made.shifts), default=0)
        self.special = calendars.special_skills(crew)
        self.core_skills = calendars.core_skills(crew)
        self.trade = {
            halves: calendars.trade_starts(halves, made.from_day, self.days, self.closed) for halves in (1, 2)
        }

    def write(self) -> None:
        made = self.made
        for task in self.net.tasks:
            if task.code not in made.done:
                self._add(task)
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
        last = max((shifts.first_slot // SLOTS_A_DAY for shifts in made.shifts), default=0)
        lease = max(0, (self.dates.lease_start - made.from_day).days)
        wait = max((delivery.planned for delivery in made.deliveries.values()), default=0)
        return ceil(max(longest + lease, last, wait) + longest * 0.25) + SLACK_DAYS

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
        return min(14.0, hours / max(1.0, float(self.crew.core_hours_per_weekday)) * 1.4 + 0.2)

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

    # ------------------------------------------------------------ activities

    def _add(self, task: Task) -> None:
        earliest = 0
        if task.where == "hall":
            earliest = max(0, calendars.day_slot(self.dates.lease_start, self.made.from_day))
        if task.kind == "wait":
            self._append(task, [Activity(task.code, (self._wait_mode(task),), earliest, self._arrives(task))])
        elif task.kind == "trade":
            self._append(task, [Activity(task.code, (mode,), earliest) for mode in self._trade_modes(task)])
        elif task.code == OPENING or task.likely == 0:
            midnights = tuple((slot, slot) for slot in range(0, self.made.horizon, SLOTS_A_DAY))
            self._append(task, [Activity(task.code, (Mode(0, (), midnights),), earliest)])
        else:
            self._append(task, self._work(task, earliest))

    def _append(self, task: Task, activities: list[Activity]) -> None:
        made = self.made
        for number, activity in enumerate(activities, 1):
            code = task.code if len(activities) == 1 else f"{task.code}/{number}"
            made.of_task.setdefault(task.code, []).append(len(made.activities))
            made.parts.append(Part(code, task, number, len(activities)))
            made.activities.append(activity._replace(name=code))

    def _wait_mode(self, task: Task) -> Mode:
        days = task.likely
        if task.arrival_of:
            found = group_wait(self.made.deliveries.values(), task.arrival_of)
            if found.from_order is not None or found.from_today is not None:
                days = max(0, found.from_order or 0)
        return Mode(ceil(days * SLOTS_A_DAY - 1e-9))

    def _arrives(self, task: Task) -> int:
        if not task.arrival_of:
            return 0
        return max(0, group_wait(self.made.deliveries.values(), task.arrival_of).from_today or 0) * SLOTS_A_DAY

    def _trade_modes(self, task: Task) -> list[Mode]:
        halves = max(1, ceil(task.likely * 2 - 1e-9))
        if halves > 4 * MOST_PARTS:
            text = f"{task.code} {task.name} takes a firm {task.likely:g} working days"
            self.made.reasons.append(_stop(task, "too-much-work", text, "Check its quantity and its rate."))
            return [Mode(0)]
        whole = [Mode(2 * calendars.HALF_TRADE_DAY, (), self.trade[2])] * (halves // 2)
        return whole + [Mode(calendars.HALF_TRADE_DAY, (), self.trade[1])] * (halves % 2)

    def _work(self, task: Task, earliest: int) -> list[Activity]:
        pinned = self.pins.get(task.code, "")
        days = [
            shifts
            for shifts in self.made.shifts
            if (not pinned or shifts.day.id == pinned)
            and (shifts.day.place == "hall" or task.where != "hall")
            and shifts.windows
        ]
        day_crew = max((self._largest_crew(task, shifts.people, shifts.skills) for shifts in days), default=0)
        core_crew = 0 if pinned else self._largest_crew(task, len(self.crew.core), self.core_skills)
        on_days = ceil(self._slots(task, day_crew, 1) / self.shift - 1e-9) if day_crew and self.shift else 0
        at_night = ceil(self._slots(task, core_crew, 1) / self.evening - 1e-9) if core_crew and self.evening else 0
        if task.place == CORE and at_night:
            on_days = 0
        if task.place != CORE and on_days and at_night > MOST_EVENINGS[task.volunteers]:
            at_night = 0
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
            self.made.reasons.append(self._nobody(task, pinned))
            return [Activity(task.code, (), earliest)]
        modes: list[Mode] = []
        if on_days:
            for shifts in days:
                modes += self._day_modes(task, parts, shifts)
        if at_night:
            modes += self._evening_modes(task, parts, core_crew)
        if not modes:
            self.made.reasons.append(self._nobody(task, pinned))
        return [Activity(task.code, tuple(modes), earliest)] * parts

    def _slots(self, task: Task, crew: int, parts: int) -> int:
        hours = task.likely if task.kind == "fixed" else task.likely / crew
        return max(1, ceil(hours / parts * 60 / calendars.SLOT - 1e-9))

    def _skill_needs(self, task: Task, crew: int) -> dict[str, int]:
        holders = ceil(crew / calendars.PEOPLE_PER_LEAD)
        return {skill: holders for skill in task.skills if skill in self.special}

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

    def _day_modes(self, task: Task, parts: int, shifts: Shifts) -> list[Mode]:
        modes = []
        largest = self._largest_crew(task, shifts.people, shifts.skills)
        for crew, slots in self._crews(task, parts, largest, self.shift, 3) if largest else []:
            starts = shifts.starts(slots, task.noisy)
            if starts:
                uses = self._uses(f"day {shifts.day.id}", task, crew)
                modes.append(Mode(slots, uses, starts, shifts.day.id, crew))
        return modes

    def _evening_modes(self, task: Task, parts: int, largest: int) -> list[Mode]:
        modes = []
        for crew, slots in self._crews(task, parts, largest, self.evening, 2):
            starts = tuple((low, high - slots) for low, high in self.evenings)
            modes.append(Mode(slots, self._uses(CORE, task, crew), starts, "", crew))
        return modes

    def _uses(self, whose: str, task: Task, crew: int) -> tuple[tuple[str, int], ...]:
        named = self._skill_needs(task, crew)
        return ((whose, crew), *((f"{skill} of {whose}", need) for skill, need in sorted(named.items())))

    def _nobody(self, task: Task, pinned: str) -> Reason:
        """Say in words why no crew can do a task, and a way out."""
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
            return _stop(
                task,
                "no-build-day",
                f"{who} needs {smallest} people at once and {asked}; the core team has {core}",
                f"Add a build day with at least {smallest} places.",
            )
        best = max(fitting, key=lambda shifts: (shifts.people, -shifts.first_slot))
        if best.people < smallest:
            places = self._places_for(smallest)
            return _stop(
                task, "crew-too-small",
                f"{who} needs {smallest} people at once; the fullest build day it can use, {best.day.name} on "
                f"{day_text(best.day.date)}, has {best.day.places} places, which with usual no-shows and the core team "
                f"of {core} makes {best.people} {'person' if best.people == 1 else 'people'}",
                f"Raise {best.day.name} to {places} places, or divide the task.",
            )  # fmt: skip
        for skill, need in self._skill_needs(task, smallest).items():
            here = max(shifts.skills.get(skill, 0) for shifts in fitting)
            if here < need:
                return _stop(
                    task, "skill-missing",
                    f"{who} needs {need} with the skill “{skill}”; the core team and the helpers expected on any "
                    f"build day make {here}",
                    f"Add somebody who can do “{skill}” to the core team, or raise its share among the helpers.",
                )  # fmt: skip
        hours = task.likely if task.kind == "fixed" else task.likely / max(1, task.crew_max)
        return _stop(
            task, "no-window",
            f"{who} takes {hours:.1f} hours and finds no shift long enough{' after the quiet hours' * task.noisy}",
            "Lengthen a build day, move its quiet hours, or divide the task.",
        )  # fmt: skip

    def _places_for(self, people: int) -> int:
        extra = calendars.core_on_site(self.crew) - sum(job.crew for job in self.net.day_jobs)
        missing = float(self.crew.no_show_likely)
        places = max(0, people - extra)
        while missing < 1 and calendars.expected_helpers(places, missing) + extra < people:
            places += 1
        return places

    def _resources(self) -> None:
        made = self.made
        made.resources.append(Resource(CORE, len(self.crew.core)))
        made.resources += [Resource(f"{skill} of {CORE}", amount) for skill, amount in self.core_skills.items()]
        for shifts in made.shifts:
            whose = f"day {shifts.day.id}"
            made.resources.append(Resource(whose, shifts.people))
            made.resources += [Resource(f"{skill} of {whose}", n) for skill, n in shifts.skills.items()]

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
                elif lag.task in made.done:
                    days = min(0, (made.done[lag.task] - made.from_day).days + 1)
                    not_before(mine[0], days * SLOTS_A_DAY + slots)
        for rule in goods_rules(self.net, made.deliveries, made.done):
            mine = made.of_task[rule.task]
            slots = max(0, made.deliveries[rule.item].planned) * SLOTS_A_DAY
            if rule.from_order:
                links.append(Link(made.of_task[ORDERING][-1], mine[0], slots))
            else:
                not_before(mine[0], slots)
        made.links = sorted(set(links))
        for i, slot in earliest.items():
            made.activities[i] = made.activities[i]._replace(earliest=max(made.activities[i].earliest, slot))

    def _all_placed(self, group: str) -> bool:
        found = group_wait(self.made.deliveries.values(), group)
        return found.from_order is None and found.from_today is not None

    def _add_goal(self) -> None:
        made = self.made
        if OPENING in made.of_task:
            made.goal = made.of_task[OPENING][-1]
            return
        made.goal = len(made.activities)
        midnights = tuple((slot, slot) for slot in range(0, made.horizon, SLOTS_A_DAY))
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


def lag_minutes(lag: Lag) -> int:
    """Return the shortest time a lag stands for, in minutes.

    >>> lag_minutes(Lag(task="H08", minutes=7 * 1440)) == 7 * 1440 - 720
    True
    """
    whole_days = lag.minutes > 0 and lag.minutes % (24 * 60) == 0
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
    """Return every task's predecessors, near and far. The net has no rings."""
    after = {task.code: [lag.task for lag in task.after] for task in net.tasks}
    found: dict[str, set[str]] = {}
    for root in after:
        stack = [root]
        while stack:
            missing = [code for code in after[stack[-1]] if code in after and code not in found]
            if missing:
                stack.append(missing[0])
                continue
            code = stack.pop()
            mine = [p for p in after[code] if p in after]
            found[code] = set(mine).union(*(found[p] for p in mine))
    return found


def further_days(crew: Crew, as_of: date, count: int) -> list[BuildDay]:
    """Build days a week apart after the last one, each with the hours and places of the fullest."""
    pattern = max(crew.days, key=lambda day: (day.places, day.date), default=None)
    ahead = [day.date for day in crew.days if 0 <= (day.date - as_of).days <= FURTHEST]
    last = max(ahead, default=None)
    first = last + timedelta(days=7) if last else as_of + timedelta(days=(5 - as_of.weekday()) % 7 or 7)
    return [
        BuildDay(
            id=f"further day {number + 1}",
            date=first + timedelta(days=7 * number),
            name=f"further day {number + 1}",
            start=pattern.start if pattern else "08:30",
            end=pattern.end if pattern else "16:00",
            places=pattern.places if pattern else 12,
        )
        for number in range(count)
    ]
