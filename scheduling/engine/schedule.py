"""Place every task: on a build day, an evening of the core team, a firm's working day; earliest opening first.

Likely efforts, longest lead times of what is still to order, promised days of what is ordered, and the helpers
that usually turn up. Aims one after the other, each kept while the next is sought:

1. the earliest opening;
2. few build days. A day is not saved by moving its work to weekday evenings: a build day counts as the person-hours it
   costs beside the work, an evening as the hours the core team works on it;
3. few sign-ups and wished dates disturbed;
4. even days: the fullest build day as little full as can be;
5. everything early, days and hours.

With a plan people already rely on: the earliest opening; no build day that plan does not use; the fewest helpers and
wished dates moved; then close to that plan in hours and crews, which leaves nothing for evenness to choose.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from math import ceil
from typing import Any

from buildout.units.dates import day_text
from buildout.units.value import Reason, Status, snap
from estimating.engine.types import Arrivals
from scheduling.engine import calendars
from scheduling.engine.activities import Layout, Part, lay_out
from scheduling.engine.calendars import SLOT, SLOTS_A_DAY, Shifts
from scheduling.engine.leads import name_leads
from scheduling.engine.rcpsp import (
    Mode,
    Model,
    Placed,
    Stage,
    earliest_times,
    latest_starts,
    latest_times,
    next_start,
    serial_plan,
    tighten,
)
from scheduling.engine.tasks import ring_reason
from scheduling.engine.types import (
    Aim,
    Crew,
    Dates,
    DayLoad,
    PlannedTask,
    Schedule,
    SignedUp,
    TaskEdits,
    TaskNet,
)
from scheduling.engine.ways_out import Explained, Inputs, explain

WORK_LIMITS = {
    "opening": 1.6, "new days": 0.3, "moves": 1.0, "people": 2.0, "disturbed": 0.5, "even": 0.2, "early": 0.1,
    "close": 0.5,
}  # fmt: skip
"""Deterministic work units for each aim."""
LATER_AIMS = 2.4
"""Deterministic work units all aims after the opening share."""
AIMS = {
    "new days": "No further build day", "moves": "Few helpers and dates moved", "close": "Close to the plan before",
    "people": "Few build days and evenings", "disturbed": "Few sign-ups and dates disturbed", "even": "Even days",
    "early": "Everything early",
}  # fmt: skip
LEAST_WORK = 0.01
HANDS = ("build day", "core team")
BUILD_DAY_COUNTS = 4
"""Person-hours of the core team that one build day costs in invitations, setting up and clearing. Common practice,
no published source."""
SIGN_UP_COUNTS = 10
"""One signed-up helper moved to another day counts like so many half hours of other people's work moved."""
SOON = 14
"""Days before a build day from which missing sign-ups are reported."""


def solve(
    net: TaskNet,
    crew: Crew,
    dates: Dates,
    arrivals: Arrivals,
    signed_up: list[SignedUp],
    edits: TaskEdits,
    as_of: date,
    before: Schedule | None,
    time_zone: str = "UTC",
    *,
    explained: bool = True,
    opening_only: bool = False,
) -> Schedule:
    """Plan the build; where there is no plan say why, with ways out, unless not ``explained``.

    ``opening_only`` seeks the earliest opening from the plan before and leaves the later aims.

    Times in the result are local; ``value`` and ``bound`` are days from ``as_of`` to the opening. Status: proven
    when no earlier opening exists under these rules, feasible when the work limit came first, infeasible with
    reasons naming the task, skill or day and a way out, empty when there are no tasks. Never raises for bad numbers.
    """
    if net.status == "infeasible":
        return _none(as_of, "infeasible", [reason for reason in net.reasons if reason.severity == "stop"])
    if not net.tasks:
        return _none(as_of, "empty", [Reason(code="no-tasks", text="There are no tasks to plan", severity="note")])
    ring = ring_reason(net.tasks)
    if ring:
        return _none(as_of, "infeasible", [ring])
    made = lay_out(net, crew, dates, arrivals, signed_up, edits, as_of, time_zone)
    made.reasons += _calendar_reasons(crew, made.local)
    stops = [reason for reason in made.reasons if reason.severity == "stop"]
    given = Inputs(net, crew, dates, arrivals, signed_up, edits, as_of, time_zone)
    if stops and not explained:
        return _none(as_of, "infeasible", made.reasons)
    if stops:
        why = explain(given, stops)
        return _none(as_of, "infeasible", made.reasons, why.work, why)
    planner = _Planner(made, signed_up, before)
    opening = planner.find_opening()
    if not opening.plan:
        if opening.status == "unknown":
            limit = Reason(
                code="work-limit",
                text="No plan was found within the work limit, and none was shown to be impossible",
                severity="stop",
                todo="Take pins off, add a build day, or leave out tasks that can wait.",
            )
            return _none(as_of, "infeasible", [*made.reasons, limit], planner.work)
        if not explained:
            return _none(as_of, "infeasible", made.reasons, planner.work)
        why = explain(given, [])
        return _none(as_of, "infeasible", [*made.reasons, *why.reasons], planner.work + why.work, why)
    plan = planner.tight(opening.plan) if opening_only else planner.settle(opening)
    return _Report(made, plan, opening, planner, net, crew, dates, signed_up, edits, as_of).schedule()


def _calendar_reasons(crew: Crew, local: calendars.LocalTime) -> Iterable[Reason]:
    ahead = [day for day in crew.days if day.date >= local.from_day]
    for day, change in calendars.clock_changes(ahead, local):
        way = "forward" if change.by > 0 else "back"
        shown, before = local.reading(change.at)[1], local.reading(change.at - 1)[1] + SLOT
        hours = f"{before // 60:02}:{before % 60:02} to {shown // 60:02}:{shown % 60:02}"
        yield Reason(
            code="clock-change",
            text=f"Clocks go {way} by {abs(change.by) * SLOT} minutes, from {hours}, just before or on {day.name} "
            f"({day_text(day.date)}); its hours are by the new clock, and what cures meanwhile is given its full time",
            where=day.id,
            todo="Remind helpers of the new time.",
        )
    for name, one, other in calendars.together(crew):
        yield Reason(
            code="two-days-at-once",
            text=f"{name} is down for {one.name} and {other.name}, both on {day_text(one.date)}",
            where=one.id,
            severity="warning",
            todo="Take one of the two days off.",
        )


def _none(
    as_of: date, status: Status, reasons: Iterable[Reason], work: float = 0.0, why: Explained | None = None
) -> Schedule:
    return Schedule(
        status=status, bound=0.0, value=0.0, gap=0.0, work=snap(work, 0.0001), from_day=as_of, opening=None,
        tasks=[], days=[], needs={}, need_tasks={}, reasons=list(reasons),
        conflict=why.conflict if why else [], ways_out=why.ways_out if why else [],
    )  # fmt: skip


class _Planner:
    """Runs the aims one after the other on one model."""

    def __init__(self, made: Layout, signed_up: Sequence[SignedUp], before: Schedule | None) -> None:
        self.made, self.signed_up = made, signed_up
        self.earlier = {task.code: task for task in before.tasks} if before else {}
        self.before_day = before.from_day if before else made.from_day
        self.work = 0.0
        self.left = LATER_AIMS
        self.aims: list[Aim] = []
        self.people_proven = True
        self.unsought: list[str] = []
        """Aims for which no work was left."""
        self.moves: Stage | None = None
        self.model: Model | None = None

    def find_opening(self) -> Stage:
        project, goal = self.made.project, self.made.goal
        times = earliest_times(project)
        if times is None or latest_times(project) is None:
            return Stage("infeasible", 0, 0, 0)
        quick = serial_plan(project)
        self.model = Model(project, {goal: quick[goal].start} if quick else None)
        # The plan before may break a rule that is new; the quick plan breaks none.
        least = times[goal][0] if quick and not self.earlier else None
        stage = self.model.minimise(self.model.start[goal], WORK_LIMITS["opening"], self._hint(quick), least=least)
        self.work += stage.work
        if stage.status == "unknown" and quick:
            return Stage("feasible", quick[goal].start, times[goal][0], stage.work, quick)
        return stage

    def settle(self, opening: Stage) -> list[Placed]:
        model, made = self.model, self.made
        assert model is not None  # noqa: S101 - an opening was found with it
        plan = opening.plan
        if self.earlier:
            used = {one.build_day for one in self.earlier.values()}
            new = [literals for day, literals in self._days_used(model) if day not in used]
            plan = self._then([model.flag(literals) for literals in new], "new days", plan, "build days", 1)
            moved = self._moved(model) + self._disturbed(model)
            plan = self._then(moved, "moves", plan, "person-hours moved or disturbed", 2)
            near = self._near()
            away = [model.distance(i, start) for i, start in sorted(near.items())]
            plan = self._then(away + self._other_crews(model), "close", plan, "half hours away from the plan before", 1)
        else:
            cost = self._evening_work(model) + [
                2 * BUILD_DAY_COUNTS * model.flag(literals) for _, literals in self._days_used(model)
            ]
            plan = self._then(cost, "people", plan, "person-hours of the core team", 2)
            plan = self._then(self._disturbed(model), "disturbed", plan, "person-hours disturbed", 2)
            plan = self._then(self._fullest(model), "even", plan, "% of the fullest day in use", 10)
            starts = [model.start[i] for i, part in enumerate(made.parts) if part.task and part.task.place in HANDS]
            least = sum(
                model.times[i][0] for i, part in enumerate(made.parts) if part.task and part.task.place in HANDS
            )
            plan = self._then(starts, "early", plan, "half hours from today to all starts together", 1, least)
        return self.tight(plan)

    def tight(self, plan: list[Placed]) -> list[Placed]:
        """Move what is free to move as early as rules allow."""
        kept = {*self._near(), *(i for i, _ in self.made.wishes)}
        return tighten(self.made.project, plan, lambda i: i not in kept)

    def _near(self) -> dict[int, int]:
        """Starts in the plan before, which later aims stay close to."""
        return {i: start for i, start in self._starts_before().items() if i != self.made.goal}

    def _days_used(self, model: Model) -> list[tuple[str, list[Any]]]:
        days = [(shifts.day.id, self._on_day(model, shifts.day.id)) for shifts in self.made.shifts]
        return [(day, literals) for day, literals in days if literals]

    def _disturbed(self, model: Model) -> list[Any]:
        """Sign-ups whose task leaves their day altogether, and wished dates that are missed."""
        made = self.made
        usable = {shifts.day.id for shifts in made.shifts}
        counted: dict[tuple[str, str], int] = {}
        for one in self.signed_up:
            code = one.task.split("/")[0]
            if code in made.of_task and one.day in usable:
                counted[one.day, code] = counted.get((one.day, code), 0) + 1
        terms: list[Any] = []
        for (day, code), count in sorted(counted.items()):
            there = [
                picked
                for i in made.of_task[code]
                for mode, picked in zip(made.activities[i].modes, model.chosen[i], strict=True)
                if mode.day == day
            ]
            terms.append(SIGN_UP_COUNTS * count * model.none_of(there))
        return terms + [SIGN_UP_COUNTS * model.outside(i, spans) for i, spans in made.wishes]

    def _fullest(self, model: Model) -> list[Any]:
        """Per mille of its crew's time that the fullest build day uses."""
        sums = []
        for shifts in self.made.shifts:
            room = shifts.people * sum(high - low for low, high in shifts.windows)
            terms = [
                (ceil(1000 * mode.crew * mode.duration / room), picked)
                for activity, chosen in zip(self.made.activities, model.chosen, strict=True)
                for mode, picked in zip(activity.modes, chosen, strict=True)
                if mode.day == shifts.day.id and room and picked is not False
            ]
            if terms:
                sums.append(terms)
        return [model.most(sums, 100_000)] if len(sums) > 1 else []

    def _other_crews(self, model: Model) -> list[Any]:
        """One for every activity done by another crew or in another place than before."""
        terms: list[Any] = []
        for part, activity, chosen in zip(self.made.parts, self.made.activities, model.chosen, strict=True):
            earlier = self._before(part)
            if earlier is not None:
                for mode, picked in zip(activity.modes, chosen, strict=True):
                    if (mode.day, mode.crew) != (earlier.build_day, earlier.crew):
                        terms.append(picked)
        return terms

    def _before(self, part: Part) -> PlannedTask | None:
        if part.task is None:
            return None
        return self.earlier.get(part.code) or self.earlier.get(part.task.code)

    def _then(
        self, terms: list[Any], aim: str, plan: list[Placed], unit: str, units: int, least: int = 0
    ) -> list[Placed]:
        """Seek the next aim; ``units`` of the objective make one ``unit``."""
        if not terms or self.model is None:
            return plan
        limit = min(WORK_LIMITS[aim], self.left)
        if limit < LEAST_WORK:
            self.unsought.append(AIMS[aim])
            return plan
        many = aim not in ("even", "early")
        stage = self.model.minimise(sum(terms), limit, plan, many_terms=many, least=least)
        self.work += stage.work
        self.left -= stage.work
        if aim == "people":
            self.people_proven = stage.status == "proven"
        if aim == "moves":
            self.moves = stage
        if stage.plan:
            self.aims.append(
                Aim(
                    name=AIMS[aim],
                    unit=unit,
                    value=snap(stage.value / units, 0.01),
                    bound=snap(stage.bound / units, 0.01),
                    status="proven" if stage.status == "proven" else "feasible",
                    work=snap(stage.work, 0.0001),
                    limit=snap(limit, 0.0001),
                )
            )
        return stage.plan or plan

    def _on_day(self, model: Model, day: str) -> list[Any]:
        return [
            picked
            for activity, chosen in zip(self.made.activities, model.chosen, strict=True)
            for mode, picked in zip(activity.modes, chosen, strict=True)
            if mode.day == day and picked is not False
        ]

    def _evening_work(self, model: Model) -> list[Any]:
        """Half person-hours the core team spends on work meant for helpers."""
        terms: list[Any] = []
        for part, activity, chosen in zip(self.made.parts, self.made.activities, model.chosen, strict=True):
            if part.task is None or part.task.place != "build day":
                continue
            for mode, picked in zip(activity.modes, chosen, strict=True):
                if not mode.day:
                    terms.append(mode.crew * mode.duration * picked)
        return terms

    def _moved(self, model: Model) -> list[Any]:
        """Half person-hours of helpers whose task leaves the day it was on, sign-ups for it counting more."""
        usable = {shifts.day.id for shifts in self.made.shifts}
        terms: list[Any] = []
        for part, activity, chosen in zip(self.made.parts, self.made.activities, model.chosen, strict=True):
            earlier = self.earlier.get(part.code)
            if earlier is None or part.task is None or earlier.build_day not in usable:
                continue
            names = {part.code, part.task.code}
            signed = sum(1 for one in self.signed_up if one.day == earlier.build_day and one.task in names)
            weight = earlier.crew * max(1, (earlier.end - earlier.start) // SLOT) + SIGN_UP_COUNTS * signed
            terms += [
                weight * picked
                for mode, picked in zip(activity.modes, chosen, strict=True)
                if mode.day != earlier.build_day
            ]
        return terms

    def _starts_before(self) -> dict[int, int]:
        starts: dict[int, int] = {}
        for i, part in enumerate(self.made.parts):
            earlier = self._before(part)
            if earlier is None or earlier.place == "wait" or (part.number > 1 and earlier.code != part.code):
                continue
            slot = self.made.local.slot(earlier.start_day, earlier.start)
            if slot >= 0:
                starts[i] = slot
        return starts

    def _hint(self, first: list[Placed] | None) -> list[Placed]:
        """The plan before where there is one, else a quick one."""
        if not self.earlier:
            return first or []
        hints = first or [Placed(start, 0) for start, _ in earliest_times(self.made.project) or []]
        for i, start in self._starts_before().items():
            earlier = self._before(self.made.parts[i])
            modes = self.made.activities[i].modes
            alike = [
                number
                for number, mode in enumerate(modes)
                if earlier is not None and (mode.day, mode.crew) == (earlier.build_day, earlier.crew)
            ]
            hints[i] = Placed(start, alike[0] if alike else hints[i].mode)
        return hints


class _Report:
    """Turns a placed project into the schedule people read."""

    def __init__(
        self,
        made: Layout,
        plan: list[Placed],
        opening: Stage,
        planner: _Planner,
        net: TaskNet,
        crew: Crew,
        dates: Dates,
        signed_up: Sequence[SignedUp],
        edits: TaskEdits,
        as_of: date,
    ) -> None:
        self.edits = edits
        self.made, self.plan, self.stage, self.planner = made, plan, opening, planner
        self.net, self.crew, self.dates, self.signed_up, self.as_of = net, crew, dates, signed_up, as_of
        latest = latest_starts(made.project, plan, [made.goal])
        shown = made.local.counted
        self.slack = [
            (shown(late) - shown(placed.start)) // SLOTS_A_DAY for late, placed in zip(latest, plan, strict=True)
        ]
        self.leads = self._leads_to_goal()

    def schedule(self) -> Schedule:
        made = self.made
        opening = made.local.day(self.plan[made.goal].start)
        value = float((opening - self.as_of).days)
        bound = min(value, float(made.local.days_by(self.stage.bound)))
        if "L10" in made.done:
            opening = made.done["L10"]
            value = bound = float(max(0, (opening - self.as_of).days))
        tasks = sorted(self._tasks(), key=lambda task: (task.start_day, task.start, task.end_day, task.code))
        stages = {task.code: task.stage for task in self.net.tasks}
        tasks = name_leads(tasks, self.crew, self.signed_up, self.edits, stages)
        needs, need_tasks = self._needs(tasks)
        days = self._days(tasks)
        return Schedule(
            status="proven" if bound == value else "feasible",
            bound=bound, value=value, gap=snap((value - bound) / value, 0.0001) if value else 0.0,
            work=snap(self.planner.work, 0.0001), from_day=self.as_of, opening=opening,
            tasks=tasks, days=days, needs=needs, need_tasks=need_tasks, aims=[
                Aim(name="Earliest opening", unit="days from today", value=value, bound=bound,
                    status="proven" if bound == value else "feasible",
                    work=snap(self.stage.work, 0.0001), limit=WORK_LIMITS["opening"]),
                *self.planner.aims,
            ],
            reasons=[*made.reasons, *self._reasons(opening, tasks, days)],
        )  # fmt: skip

    def _mode(self, i: int) -> Mode:
        return self.made.activities[i].modes[self.plan[i].mode]

    def _leads_to_goal(self) -> set[int]:
        before: dict[int, list[int]] = {}
        for link in self.made.links:
            before.setdefault(link.after, []).append(link.before)
        found, stack = {self.made.goal}, [self.made.goal]
        while stack:
            for i in before.get(stack.pop(), []):
                if i not in found:
                    found.add(i)
                    stack.append(i)
        return found

    def _tasks(self) -> Iterable[PlannedTask]:
        made = self.made
        for task in self.net.tasks:
            if task.code in made.done:
                day = made.done[task.code]
                yield PlannedTask(
                    code=task.code, name=task.name, place=task.place, start_day=day, end_day=day, start=0, end=1440,
                    build_day="", crew=0, skills=task.skills, critical=False, slack_days=0, cautions=task.cautions,
                )  # fmt: skip
                continue
            mine = made.of_task[task.code]
            crews = {self._mode(i).crew for i in mine}
            together = len(mine) > 1 and len(crews) == 1 and not any(self._mode(i).day for i in mine)
            for run in [mine] if together else [[i] for i in mine]:
                yield self._planned(run, task.code if together else made.parts[run[0]].code)

    def _planned(self, run: list[int], code: str) -> PlannedTask:
        first, last = run[0], run[-1]
        part: Part = self.made.parts[first]
        task = part.task
        assert task is not None  # noqa: S101 - only the virtual end stands for no task
        mode = self._mode(first)
        begin, stop = self.plan[first].start, self.plan[last].start + self._mode(last).duration
        start_day, starts = self.made.local.reading(begin)
        # A piece of work that ends at midnight ends at 24:00 of its own day.
        last_day, last = self.made.local.reading(stop - 1)
        end_day, ends = max((start_day, starts), (last_day, last + SLOT))
        whole = task.place == "wait" or stop == begin
        place = task.place
        if place in ("build day", "core team"):
            place = "build day" if mode.day else "core team"
        return PlannedTask(
            code=code,
            name=task.name,
            place=place,
            start_day=start_day,
            end_day=end_day,
            start=0 if whole else starts,
            end=1440 if whole else ends,
            build_day=mode.day,
            crew=mode.crew,
            skills=task.skills,
            critical=any(i in self.leads and self.slack[i] == 0 for i in run),
            slack_days=min(self.slack[i] for i in run),
            cautions=task.cautions,
            people=sorted({pin.person for pin in self.edits.people if pin.task == task.code}),
            held_by=self._held_by(first),
        )

    def _held_by(self, i: int) -> str:
        """What keeps an activity from starting earlier, in words."""
        made, start = self.made, self.plan[i].start
        mode, task = self._mode(i), self.made.parts[i].task
        found: list[tuple[int, str]] = []
        for link in made.links:
            if link.after != i or link.kind == "end-end":
                continue
            other = made.parts[link.before]
            end = self.plan[link.before].start + self._mode(link.before).duration
            ready = (self.plan[link.before].start if link.kind == "start-start" else end) + link.lag
            if other.task is not None:
                found.append((ready, f"it waits for {other.code} {other.task.name}"))
        if task is not None and made.parts[i].number == 1:
            for item in task.needs:
                if item in made.deliveries and made.deliveries[item].placed:
                    arrives = made.local.real(max(0, made.deliveries[item].planned) * SLOTS_A_DAY)
                    found.append((arrives, f"it waits for {made.deliveries[item].name}"))
            for hold in self.edits.not_before:
                if hold.task == task.code:
                    why = f": {hold.why}" if hold.why else ""
                    found.append((made.local.slot(hold.date), f"it is held until {day_text(hold.date)}{why}"))
            if task.where == "hall" and self.dates.lease_start > made.from_day:
                found.append((made.local.slot(self.dates.lease_start), "the lease starts only then"))
        ready, why = max(found, default=(0, ""))
        if next_start(mode, max(0, ready)) == start:
            return why
        if task is not None and any(pin.task == task.code and pin.day == mode.day for pin in self.edits.pins):
            return "it is pinned to this build day"
        mine = {name for name, _ in mode.uses}
        before = [
            part.task
            for n, part in enumerate(made.parts)
            if part.task is not None and self.plan[n].start + self._mode(n).duration == start
            and mine & {name for name, _ in self._mode(n).uses}
        ]  # fmt: skip
        if before:
            return f"people, tools or room are with {before[0].code} {before[0].name} until then"
        return f"of what comes before, the last is ready on {day_text(made.local.day(ready))}" * bool(found)

    def _needs(self, tasks: Sequence[PlannedTask]) -> tuple[dict[str, date], dict[str, str]]:
        items = {task.code: task.needs for task in self.net.tasks}
        needs: dict[str, date] = {}
        need_tasks: dict[str, str] = {}
        for task in tasks:
            base = task.code.split("/")[0]
            for item in items[base]:
                if item not in needs or task.start_day < needs[item]:
                    needs[item], need_tasks[item] = task.start_day, base
        return dict(sorted(needs.items())), dict(sorted(need_tasks.items()))

    def _days(self, tasks: Sequence[PlannedTask]) -> list[DayLoad]:
        loads = []
        shifts_of = {shifts.day.id: shifts for shifts in self.made.shifts}
        effort = {part.code: part for part in self.made.parts}
        for day in sorted(self.crew.days, key=lambda day: (day.date, day.id)):
            here = [task for task in tasks if task.build_day == day.id]
            core = calendars.core_on_site(self.crew) - sum(job.crew for job in self.net.day_jobs)
            peak = _peak((task.start, task.end, task.crew) for task in here)
            hours = 0.0
            for task in here:
                part = effort[task.code]
                fixed = part.task is not None and part.task.kind == "fixed"
                hours += part.effort * (task.crew if fixed else 1)
            loads.append(
                DayLoad(
                    build_day=day.id,
                    date=day.date,
                    name=day.name,
                    places=day.places,
                    needed=max(0, peak - max(0, core)) if here else 0,
                    person_hours=snap(hours),
                    tasks=[task.code for task in here],
                    short_skills=self._short(here, shifts_of.get(day.id)),
                )
            )
        return loads

    def _short(self, here: Sequence[PlannedTask], shifts: Shifts | None) -> list[str]:
        """Skills the day's tasks need beyond the core team and those who have signed up with them."""
        if shifts is None:
            return []
        core = calendars.core_skills(self.crew)
        short = []
        for skill in sorted(calendars.special_skills(self.crew)):
            peak = _peak(
                (task.start, task.end, -(-task.crew // calendars.PEOPLE_PER_LEAD))
                for task in here
                if skill in task.skills
            )
            named = sum(1 for one in self.signed_up if one.day == shifts.day.id and skill in one.skills)
            if peak > core.get(skill, 0) + named:
                short.append(skill)
        return short

    def _reasons(self, opening: date, tasks: Sequence[PlannedTask], days: Sequence[DayLoad]) -> list[Reason]:
        found: list[Reason] = []
        wish, announced = self.dates.opening_wish, self.dates.announced
        chain = self._chain(tasks)
        for day, what, code in ((announced, "announced", "after-announced"), (wish, "wished for", "after-wish")):
            if day is not None and opening > day:
                found.append(
                    Reason(
                        code=code,
                        text=f"The earliest opening, {day_text(opening)}, is {(opening - day).days} days after the day "
                        f"{what}, {day_text(day)}. It hangs on: {chain}",
                        severity="warning",
                        todo="Shorten one of these, order earlier, or move the opening.",
                    )
                )
        if not found:
            found.append(Reason(code="hangs-on", text=f"The opening on {day_text(opening)} hangs on: {chain}"))
        if self.stage.status == "feasible" and self.stage.bound < self.stage.value:
            earlier = int((self.stage.value - self.stage.bound) // SLOTS_A_DAY)
            if earlier:
                found.append(
                    Reason(
                        code="may-be-earlier",
                        text=f"An opening up to {earlier} days earlier may exist: the search for the earliest was "
                        f"stopped after {self.stage.work:.2g} of its {WORK_LIMITS['opening']:g} work units",
                    )
                )
        if not self.planner.people_proven:
            found.append(
                Reason(
                    code="may-be-tidier",
                    text="A plan with fewer evenings or build days and the same opening may exist; "
                    f"the search for it was stopped{self._spent(AIMS['people'])}",
                )
            )
        if self.planner.unsought:
            found.append(
                Reason(
                    code="aims-not-sought",
                    text=f"Not sought, as the {LATER_AIMS:g} work units of all aims after the opening were used up: "
                    f"{', '.join(name[0].lower() + name[1:] for name in self.planner.unsought)}",
                )
            )
        if self.planner.moves is not None and self.planner.moves.plan and self.planner.moves.value > 0:
            least = (
                "the fewest possible for this opening"
                if self.planner.moves.status == "proven"
                else "perhaps not the fewest"
            )
            found.append(
                Reason(
                    code="moved",
                    text=f"Helpers' work worth {self.planner.moves.value / 2:g} person-hours leaves its day "
                    f"({least}; a sign-up counts as {SIGN_UP_COUNTS / 2:g})",
                )
            )
        evening = sum(
            self._mode(i).crew * self._mode(i).duration * SLOT / 60
            for i, part in enumerate(self.made.parts)
            if part.task is not None and part.task.place in ("build day", "core team") and not self._mode(i).day
        )
        if evening:
            found.append(
                Reason(code="evenings", text=f"The core team works {evening:g} person-hours on weekday evenings")
            )
        found += self._day_reasons(days)
        return found

    def _spent(self, name: str) -> str:
        aim = next((aim for aim in self.planner.aims if aim.name == name), None)
        return f" after {aim.work:.2g} of its {aim.limit:.2g} work units" if aim else ""

    def _day_reasons(self, days: Sequence[DayLoad]) -> Iterable[Reason]:
        for load in days:
            if load.date < self.as_of:
                continue
            signed = sum(1 for one in self.signed_up if one.day == load.build_day)
            if not load.tasks:
                yield Reason(
                    code="day-unused",
                    text=f"Nothing is planned for {load.name} on {day_text(load.date)}",
                    where=load.build_day,
                    todo="Keep it in reserve, move it to another date, or take it out.",
                )
            elif signed < load.needed and load.date - self.as_of <= timedelta(days=SOON):
                yield Reason(
                    code="sign-ups-missing",
                    text=f"{load.name} on {day_text(load.date)} needs {load.needed} helpers at its busiest; "
                    f"{signed or 'nobody'} {'have' if signed > 1 else 'has'} signed up",
                    where=load.build_day,
                    severity="warning",
                    todo=f"Invite {load.needed - signed} more, or move work to another day.",
                )

    def _chain(self, tasks: Sequence[PlannedTask]) -> str:
        critical = [task for task in tasks if task.critical and task.end_day >= self.as_of]
        names = list(dict.fromkeys(f"{task.code.split('/')[0]} {task.name}" for task in critical))
        return "; ".join(names) if len(names) <= 8 else "; ".join([*names[:4], "…", *names[-4:]])


def _peak(spans: Iterable[tuple[int, int, int]]) -> int:
    """Return the largest sum of amounts at one time."""
    steps: dict[int, int] = {}
    for start, end, amount in spans:
        steps[start] = steps.get(start, 0) + amount
        steps[end] = steps.get(end, 0) - amount
    most = level = 0
    for time in sorted(steps):
        level += steps[time]
        most = max(most, level)
    return most
