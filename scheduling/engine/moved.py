"""Which sign-ups a new schedule touches."""

from __future__ import annotations

from datetime import date
from typing import Literal

from buildout.units.dates import day_text
from buildout.units.value import Value
from scheduling.engine.types import BuildDay, PlannedTask, Schedule, SignedUp


class MovedShift(Value, kw_only=True):
    """A helper's place that is no longer what the helper signed up for."""

    sign_up: str
    task: str
    task_name: str
    kind: Literal["day moved", "task moved", "task gone", "day gone", "time changed"]
    old_day: str
    new_day: str
    """Build day id; empty when there is none any more."""
    old_date: date | None
    new_date: date | None
    text: str
    why: str = ""
    """A sentence; empty where the day itself is moved or no longer held."""


def _on_build_days(schedule: Schedule) -> dict[str, list[PlannedTask]]:
    """Tasks (parts together under the code before ``/``) on build days, in order of time."""
    found: dict[str, list[PlannedTask]] = {}
    for task in schedule.tasks:
        if task.build_day:
            found.setdefault(task.code.split("/")[0], []).append(task)
            if "/" in task.code:
                found.setdefault(task.code, []).append(task)
    return found


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _why(tasks: list[PlannedTask]) -> str:
    """Why a task is where it is now."""
    held = next(
        (task.held_by for task in sorted(tasks, key=lambda one: (one.start_day, one.start)) if task.held_by), ""
    )
    return f"Because {held}." if held else "Because the plan as a whole comes out best so; nothing else keeps it there."


def _why_otherwise(was: list[PlannedTask], now: list[PlannedTask]) -> str:
    """Why a task has other hours on the same day: it begins elsewhere, or it takes longer or shorter."""
    if min(task.start for task in was) != min(task.start for task in now):
        return _why(now)

    def said(tasks: list[PlannedTask]) -> str:
        hours = sum(task.end - task.start for task in tasks) / 60
        crews = sorted({task.crew for task in tasks})
        people = " or ".join(f"{crew}" for crew in crews)
        return f"{hours:g} hour{'s' * (hours != 1)} with {people} {'person' if crews == [1] else 'people'}"

    old, new = said(was), said(now)
    return f"Because it takes {new} now, not {old}." if old != new else _why(now)


def moved_sign_ups(
    before: Schedule, after: Schedule, old_days: list[BuildDay], new_days: list[BuildDay], sign_ups: list[SignedUp]
) -> list[MovedShift]:
    """Sign-ups whose day, task or hours differ between two schedules, in the order given.

    A sign-up for "wherever needed" is touched only when its day moves or goes. A task that stays on
    the helper's day but starts or ends at another time is told as a changed time. Where ``after`` is no plan at all,
    tasks are neither moved nor gone: nobody is told anything of them until there is a plan again. ``before`` is then
    still the last one that was a plan.
    """
    was, now = _on_build_days(before), _on_build_days(after)
    old_dates = {day.id: day.date for day in old_days}
    new_dates = {day.id: day.date for day in new_days}
    found: list[MovedShift] = []

    def add(sign_up: SignedUp, kind: str, new_day: str, name: str, text: str, why: str = "") -> None:
        found.append(
            MovedShift(
                sign_up=sign_up.id,
                task=sign_up.task,
                task_name=name,
                kind=kind,  # type: ignore[arg-type]
                old_day=sign_up.day,
                new_day=new_day,
                old_date=old_dates.get(sign_up.day),
                new_date=new_dates.get(new_day),
                text=text,
                why=why,
            )
        )

    for sign_up in sign_ups:
        old_tasks = [task for task in was.get(sign_up.task, []) if task.build_day == sign_up.day]
        name = old_tasks[0].name if old_tasks else sign_up.task or "wherever needed"
        old_date, new_date = old_dates.get(sign_up.day), new_dates.get(sign_up.day)
        if sign_up.day in old_dates and new_date is None:
            text = f"The build day on {day_text(old_date, year=False)} is not held any more."
            add(sign_up, "day gone", "", name, text)
            continue
        if old_date is not None and new_date is not None and old_date != new_date:
            add(
                sign_up,
                "day moved",
                sign_up.day,
                name,
                f"The build day moves from {day_text(old_date, year=False)} to {day_text(new_date, year=False)}.",
            )
            continue
        if not sign_up.task or not old_tasks or after.status == "infeasible":
            continue
        new_tasks = now.get(sign_up.task, [])
        if not new_tasks:
            add(
                sign_up,
                "task gone",
                sign_up.day,
                name,
                f"“{name}” is no longer done on a build day; your place on the day stays.",
            )
            continue
        same_day = [task for task in new_tasks if task.build_day == sign_up.day]
        if not same_day:
            there = new_tasks[0].build_day
            when = new_dates.get(there)
            text = f"“{name}” moves from {day_text(old_date, year=False)} to {day_text(when, year=False)}."
            add(sign_up, "task moved", there, name, text, _why(new_tasks))
            continue
        old_hours = (min(t.start for t in old_tasks), max(t.end for t in old_tasks))
        new_hours = (min(t.start for t in same_day), max(t.end for t in same_day))
        if old_hours != new_hours:
            add(
                sign_up,
                "time changed",
                sign_up.day,
                name,
                f"“{name}” is now {_clock(new_hours[0])}–{_clock(new_hours[1])} instead of "
                f"{_clock(old_hours[0])}–{_clock(old_hours[1])}, the same day.",
                _why_otherwise(old_tasks, same_day),
            )
    return found
