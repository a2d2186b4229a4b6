"""What happened on a build day, followed from marks: who started, stopped and finished which task, and when."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Literal

from buildout.units.value import Value, snap

MarkKind = Literal["start", "crew", "stop", "finish", "reopen"]
State = Literal["to do", "under way", "stopped", "finished"]
Verdict = Literal["taken", "already", "conflict"]

LEADS_TO: dict[MarkKind, State] = {
    "start": "under way",
    "crew": "under way",
    "stop": "stopped",
    "finish": "finished",
    "reopen": "to do",
}
FITS: dict[MarkKind, tuple[State, ...]] = {
    "start": ("to do", "stopped"),
    "crew": ("under way",),
    "stop": ("under way",),
    "finish": ("to do", "under way", "stopped"),
    "reopen": ("finished",),
}
"""From which states a mark makes sense."""


class TaskMark(Value, kw_only=True):
    """One thing said about a task."""

    task: str
    kind: MarkKind
    at: datetime
    people: list[str] = []
    """Who is on it from now on; start and crew only."""
    count: int = 0
    """How many are on it where nobody is named."""


class Stint(Value, kw_only=True):
    """A stretch of time with the same crew. ``until`` is None while it lasts."""

    start: datetime
    until: datetime | None
    people: list[str]
    count: int


class TaskDay(Value, kw_only=True):
    """A task as it stands on its day."""

    task: str
    state: State
    since: datetime
    """When it was last heard of."""
    stints: list[Stint]

    @property
    def people(self) -> list[str]:
        return self.stints[-1].people if self.stints else []

    @property
    def count(self) -> int:
        return self.stints[-1].count if self.stints else 0


def judge(now: TaskDay | None, mark: TaskMark) -> Verdict:
    """Say whether a mark can be taken, says what is known already, or contradicts what others said.

    A mark made before the last one taken (a telephone that had no signal) is a contradiction unless it says the
    same: what happened in between was decided without it.

    >>> from datetime import UTC
    >>> at = datetime(2027, 3, 20, 9, 0, tzinfo=UTC)
    >>> judge(None, TaskMark(task="W11", kind="start", at=at))
    'taken'
    >>> judge(None, TaskMark(task="W11", kind="stop", at=at))
    'conflict'
    """
    state: State = now.state if now else "to do"
    if mark.kind != "crew" and state == LEADS_TO[mark.kind]:
        return "already"
    if state not in FITS[mark.kind] or (now is not None and mark.at < now.since):
        return "conflict"
    return "taken"


def follow(marks: Iterable[TaskMark]) -> dict[str, TaskDay]:
    """Follow marks in the order they were taken; a task nobody spoke of is not in the answer."""
    found: dict[str, TaskDay] = {}
    for mark in marks:
        before = found.get(mark.task)
        stints = list(before.stints) if before else []
        at = max(mark.at, before.since) if before else mark.at
        if stints and stints[-1].until is None:
            last = stints.pop()
            stints.append(Stint(start=last.start, until=at, people=last.people, count=last.count))
        if mark.kind in ("start", "crew"):
            count = len(mark.people) or mark.count
            stints.append(Stint(start=at, until=None, people=list(mark.people), count=count))
        found[mark.task] = TaskDay(task=mark.task, state=LEADS_TO[mark.kind], since=at, stints=stints)
    return found


def crew_hours(task: TaskDay, now: datetime, breaks: Sequence[tuple[datetime, datetime]] = ()) -> float:
    """Person-hours spent so far, breaks taken off.

    >>> from datetime import UTC
    >>> start, end = datetime(2027, 3, 20, 9, 0, tzinfo=UTC), datetime(2027, 3, 20, 13, 0, tzinfo=UTC)
    >>> noon = datetime(2027, 3, 20, 12, 0, tzinfo=UTC)
    >>> done = TaskDay(task="W11", state="finished", since=end,
    ...                stints=[Stint(start=start, until=end, people=[], count=3)])
    >>> crew_hours(done, end, [(noon, end)])
    9.0
    """
    seconds = 0.0
    for stint in task.stints:
        until = stint.until or max(now, stint.start)
        pause = sum(
            max(0.0, (min(until, high) - max(stint.start, low)).total_seconds()) for low, high in breaks if high > low
        )
        seconds += max(0.0, (until - stint.start).total_seconds() - pause) * stint.count
    return snap(seconds / 3600, 0.01)
