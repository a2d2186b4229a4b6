"""What one more helper, one more build day or express freight would do to the opening.

Every change is planned anew from the plan people rely on, for the opening alone, and played through with the same
random numbers (common random numbers). Beside it stands the build without a change, planned anew in the same way, so
that a difference is the change, not chance and not the planning.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from functools import partial
from typing import TYPE_CHECKING, Literal, NamedTuple

from buildout.units.dates import day_text
from buildout.units.value import Reason, snap
from scheduling.engine import calendars
from scheduling.engine.forecast import RUNS, SURE, played
from scheduling.engine.schedule import solve
from scheduling.engine.skills import able
from scheduling.engine.types import Forecast, Gain, Gains, Schedule, Skill
from scheduling.engine.ways_out import Change, Inputs, sooner, travelling, with_day_on, with_helper

if TYPE_CHECKING:
    from scheduling.engine.forecast import Runs

EXPRESS_DAYS = 7
SATURDAYS = 1
"""How many free Saturdays are tried as a further build day."""


class Planned(NamedTuple):
    """What a plan made anew opens, as planned and as forecast."""

    opening: date | None
    forecast: Forecast


class _Try(NamedTuple):
    kind: Literal["nothing", "helper", "build day", "express"]
    where: str
    text: str
    change: Change


def gains(inputs: Inputs, schedule: Schedule, *, runs: int = RUNS) -> Gains:
    """Try some changes of a plan; empty without a plan. Never raises for bad numbers."""
    if schedule.opening is None or "L10" in inputs.edits.done:
        return Gains()
    control, opened = _planned_anew(inputs, inputs, schedule, runs)
    nothing = _gain(_Try("nothing", "", "Nothing changed", lambda given: given), control, control, opened, opened)
    found: list[Gain] = []
    for one in _tries(inputs, schedule):
        then, opens = _planned_anew(one.change(inputs), inputs, schedule, runs)
        found.append(_gain(one, control, then, opened, opens))
    best: dict[tuple[str, str], Gain] = {}
    for gain in sorted(found, key=_rank):
        best.setdefault((gain.kind, "" if gain.kind == "build day" else gain.where), gain)
    note = Reason(
        code="how-to-read",
        text=f"Each change planned anew for the opening alone and played through {runs} times with the same random "
        "numbers, beside the build as it is planned anew in the same way; a gain of a day or less is within what a "
        "search cut short can give",
    )
    return Gains(runs=runs, gains=sorted(best.values(), key=_rank), reasons=[note], nothing=nothing)


def _planned_anew(changed: Inputs, inputs: Inputs, schedule: Schedule, runs: int) -> tuple[Planned, Runs]:
    plan = solve(
        changed.net, changed.crew, changed.dates, changed.arrivals, changed.signed_up, changed.edits,
        changed.as_of, schedule, changed.time_zone, explained=False, opening_only=True,
    )  # fmt: skip
    forecast, opens = played(
        changed.net, plan, changed.crew, changed.dates, changed.arrivals, changed.edits, changed.as_of,
        signed_up=changed.signed_up, time_zone=changed.time_zone, runs=runs, drivers=False,
    )  # fmt: skip
    return Planned(plan.opening, forecast), opens


def _gain(one: _Try, control: Planned, then: Planned, opened: Runs, opens: Runs) -> Gain:
    before, after = control.forecast, then.forecast
    mean, error = _apart(opened, opens)
    return Gain(
        kind=one.kind,
        where=one.where,
        text=one.text,
        opening=then.opening,
        p80=after.p80,
        days=(before.p80 - after.p80).days if before.p80 and after.p80 else None,
        chance=after.chance_by_wish if after.chance_by_announced is None else after.chance_by_announced,
        mean=mean,
        error=error,
    )


def _rank(gain: Gain) -> tuple[int, float, str]:
    return (-(gain.days if gain.days is not None else -(10**6)), -gain.chance, gain.text)


def _apart(before: Runs, after: Runs) -> tuple[float | None, float | None]:
    """Mean of how many days earlier the same run opens, and how far it may be off in 19 of 20 such forecasts.

    Runs in which one of the two finds no room are left out; None where that leaves none.
    """
    import numpy as np

    if len(before) != len(after):
        return None, None
    both = np.isfinite(before) & np.isfinite(after)
    days = (before[both] - after[both]) / 24
    if not len(days):
        return None, None
    return snap(float(days.mean()), 0.01), snap(SURE * float(days.std()) / len(days) ** 0.5, 0.01)


def _tries(inputs: Inputs, schedule: Schedule) -> Iterator[_Try]:
    ahead = sorted((day for day in inputs.crew.days if day.date >= inputs.as_of), key=lambda day: (day.date, day.id))
    if ahead:
        skill = _scarce_skill(inputs, schedule)
        who = f" who can {able(skill)}" if skill != "none" else ""
        change = partial(with_helper, skill=skill, days=ahead)
        yield _Try("helper", skill, f"One more helper{who} on every build day to come", change)
        for when in _free_saturdays(inputs, ahead[0].date, ahead[-1].date)[:SATURDAYS]:
            text = f"One more build day on {day_text(when)}"
            yield _Try("build day", when.isoformat(), text, partial(with_day_on, when=when))
    item = _awaited(inputs, schedule)
    if item:
        text = f"A week earlier, by express or ordered sooner: {travelling(inputs, item)}"
        yield _Try("express", item, text, partial(sooner, item=item, days=EXPRESS_DAYS))


def _scarce_skill(inputs: Inputs, schedule: Schedule) -> Skill:
    """The skill most hours of critical work for helpers ask for, among those not everybody has; else none."""
    special = calendars.special_skills(inputs.crew) - set(calendars.HOLDERS_ONLY)
    hours: dict[Skill, int] = {}
    for task in schedule.tasks:
        if task.critical and task.place == "build day" and task.end_day >= inputs.as_of:
            for skill in task.skills:
                if skill in special:
                    hours[skill] = hours.get(skill, 0) + task.crew * (task.end - task.start)
    return max(sorted(hours), key=lambda skill: hours[skill], default="none")


def _free_saturdays(inputs: Inputs, first: date, last: date) -> list[date]:
    """Saturdays without a build day, those nearest the middle of the build days first."""
    taken = {day.date for day in inputs.crew.days} | {holiday.date for holiday in inputs.dates.holidays}
    start = first + timedelta(days=(5 - first.weekday()) % 7)
    every = [start + timedelta(days=7 * n) for n in range((last - start).days // 7 + 2)]
    middle = first + (last - first) / 2
    free = [day for day in every if day not in taken and day > inputs.as_of]
    return sorted(free, key=lambda day: (abs((day - middle).days), day))


def _awaited(inputs: Inputs, schedule: Schedule) -> str:
    """The goods whose arrival leaves the task that needs them the least slack."""
    slack = {task.code.split("/")[0]: task.slack_days for task in reversed(schedule.tasks)}
    open_items = {one.item for one in inputs.arrivals.items if one.basis in ("to order", "ordered", "promised")}
    waited = [
        (slack.get(schedule.need_tasks.get(item, ""), 10**6), day, item)
        for item, day in schedule.needs.items()
        if item in open_items and day > inputs.as_of
    ]
    return min(waited, default=(0, inputs.as_of, ""))[2]
