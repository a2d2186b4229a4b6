"""Who leads each planned task that needs a lead: its skills say so, or more people work on it than one can lead.

Common practice, no published source: one person leads a task from start to end and leads nothing else meanwhile.
Whoever the owner named leads. Else one of those put on the task who can lead; else of the core team, then of the
helpers known by name who come that day, then of those signed up for it, somebody who leads and is put on nothing else
meanwhile: rather a person with the task's other skills, then one who led a task of the same stage that day, then one
who leads fewest tasks so far, then the first in the list. Nobody is named where nobody is free.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from msgspec.structs import replace

from scheduling.engine.calendars import LEAD, PEOPLE_PER_LEAD
from scheduling.engine.types import Crew, PlannedTask, SignedUp, TaskEdits

DAY = 24 * 60


@dataclass(frozen=True)
class _Leader:
    id: str
    skills: frozenset[str]
    days: frozenset[str] | None
    """Build days the person is there; None: always."""


def asks_for_lead(task: PlannedTask) -> bool:
    """Whether somebody has to lead it: its skills say so, or its crew is larger than one person leads by the way."""
    return task.crew > 0 and (LEAD in task.skills or task.crew > PEOPLE_PER_LEAD)


def name_leads(
    tasks: Sequence[PlannedTask],
    crew: Crew,
    signed_up: Iterable[SignedUp],
    edits: TaskEdits,
    stages: Mapping[str, int],
) -> list[PlannedTask]:
    """The same tasks in the same order, each with the id of who leads it; empty where nobody has to, or can.

    ``stages`` gives a task's stage by its code.

    >>> from scheduling.engine.types import CorePerson
    >>> crew = Crew(core=[CorePerson(id="ann", name="Ann", skills=["lead"])], days=[])
    >>> day = date(2027, 3, 20)
    >>> spread = PlannedTask(
    ...     code="H05", name="Spread cover", place="build day", start_day=day, end_day=day, start=540, end=570,
    ...     build_day="cover", crew=22, skills=["lead"], critical=True, slack_days=0, cautions=[])
    >>> [task.lead for task in name_leads([spread], crew, [], TaskEdits(), {"H05": 9})]
    ['ann']
    """
    found = _Naming(crew, signed_up, edits, stages)
    order = sorted(range(len(tasks)), key=lambda i: (tasks[i].start_day, tasks[i].start, tasks[i].code))
    for task in tasks:  # whom the owner chose is not free for another, also for one that comes earlier
        found.take_chosen(task)
    leads = {i: found.lead_of(tasks[i]) for i in order}
    return [replace(task, lead=leads[i]) if leads[i] else task for i, task in enumerate(tasks)]


class _Naming:
    def __init__(self, crew: Crew, signed_up: Iterable[SignedUp], edits: TaskEdits, stages: Mapping[str, int]) -> None:
        self.stages = stages
        self.chosen = {pin.task: pin.person for pin in edits.people if pin.lead}
        leaders = [_Leader(one.id, frozenset(one.skills), None) for one in crew.core]
        leaders += [_Leader(one.id, frozenset(one.skills), frozenset(one.days)) for one in crew.helpers]
        leaders += [_Leader(one.id, frozenset(one.skills), frozenset([one.day])) for one in signed_up]
        self.known = {one.id for one in leaders}
        self.leaders = [one for one in leaders if LEAD in one.skills]
        self.busy: dict[str, list[tuple[int, int, str]]] = {}
        self.led: dict[str, list[tuple[date, int]]] = {}

    def take_chosen(self, task: PlannedTask) -> None:
        code = _whole(task)
        for person in {*task.people, self.chosen.get(code, "")} - {""}:
            self.busy.setdefault(person, []).append((*_span(task), code))

    def lead_of(self, task: PlannedTask) -> str:
        code = _whole(task)
        chosen = self.chosen.get(code, "")
        if task.crew and chosen in self.known:
            return self._leads(chosen, task, taken=True)
        if not asks_for_lead(task):
            return ""
        on_it = [one for one in self.leaders if one.id in task.people and _there(one, task)]
        if on_it:
            return self._leads(on_it[0].id, task, taken=True)
        free = [one for one in self.leaders if _there(one, task) and self._free(one.id, task)]
        stage = self.stages.get(code, 0)
        best = min(
            enumerate(free),
            key=lambda at: (
                at[1].days is not None,
                -len(at[1].skills & set(task.skills)),
                (task.start_day, stage) not in self.led.get(at[1].id, []),
                len(self.led.get(at[1].id, [])),
                at[0],
            ),
            default=None,
        )
        return self._leads(best[1].id, task) if best is not None else ""

    def _free(self, person: str, task: PlannedTask) -> bool:
        start, end = _span(task)
        code = _whole(task)
        return all(stop <= start or end <= begin or what == code for begin, stop, what in self.busy.get(person, []))

    def _leads(self, person: str, task: PlannedTask, *, taken: bool = False) -> str:
        if not taken:
            self.busy.setdefault(person, []).append((*_span(task), _whole(task)))
        self.led.setdefault(person, []).append((task.start_day, self.stages.get(_whole(task), 0)))
        return person


def _whole(task: PlannedTask) -> str:
    return task.code.split("/")[0]


def _there(one: _Leader, task: PlannedTask) -> bool:
    return one.days is None or task.build_day in one.days


def _span(task: PlannedTask) -> tuple[int, int]:
    """Minutes since the calendar began. An evening task over several days holds its lead throughout."""
    return task.start_day.toordinal() * DAY + task.start, task.end_day.toordinal() * DAY + task.end
