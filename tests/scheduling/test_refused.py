"""Tiny builds, every plan they can have tried out: what is refused has none, what is planned opens no later."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.engine.types import Lag, TaskEdits, TaskPin
from tests.scheduling.test_schedule import MONDAY, crew_of, net_of, opening, plan, task

SHIFTS = ((17, 24), (26, 33))
"""As in ``crew_of``, in half hours: 08:30 to 12:00 and 13:00 to 16:30."""


@dataclass(frozen=True)
class Job:
    halves: int
    crew: int
    zone: str
    day: int | None
    """The day it is pinned to."""
    waits: tuple[int, int] | None
    """Least and most half hours after the end of the job before it; None: it does not wait."""


jobs = st.builds(
    Job,
    halves=st.sampled_from([2, 4, 6, 7]),
    crew=st.integers(1, 4),
    zone=st.sampled_from(["", "floor"]),
    day=st.sampled_from([None, None, None, 0, 1]),
    waits=st.sampled_from([None, (0, 40), (0, 2), (2, 8), (10, 12)]),
)


def starts(job: Job, days: int) -> Iterator[int]:
    for day in range(days):
        if job.day is None or job.day % days == day:
            for low, high in SHIFTS:
                yield from range(day * 7 * 48 + low, day * 7 * 48 + high - job.halves + 1)


def fits(todo: list[Job], at: list[int], places: int) -> bool:
    """Say whether the last of these starts goes with those before it."""
    n = len(at) - 1
    waits = todo[n].waits
    if waits and n:
        between = at[n] - at[n - 1] - todo[n - 1].halves
        if not waits[0] <= between <= waits[1]:
            return False
    beside = [k for k in range(n) if at[k] < at[n] + todo[n].halves and at[n] < at[k] + todo[k].halves]
    if todo[n].zone and any(todo[k].zone for k in beside):
        return False
    return all(
        todo[n].crew + sum(todo[k].crew for k in beside if at[k] <= moment < at[k] + todo[k].halves) <= places
        for moment in range(at[n], at[n] + todo[n].halves)
    )


def last_days(todo: list[Job], places: int, days: int, at: list[int]) -> Iterator[int]:
    """The day everything is done, for every plan there is."""
    if len(at) == len(todo):
        yield max((start + job.halves - 1) // 48 for start, job in zip(at, todo, strict=True))
        return
    for start in starts(todo[len(at)], days):
        if fits(todo, [*at, start], places):
            yield from last_days(todo, places, days, [*at, start])


COUNTED = {"planned": 0, "refused": 0}


@settings(max_examples=120, deadline=None)
@given(st.lists(jobs, min_size=2, max_size=3), st.integers(2, 5), st.integers(1, 2))
def test_what_is_refused_has_no_plan_and_what_is_planned_none_earlier(todo: list[Job], places: int, days: int) -> None:
    tasks = []
    for n, job in enumerate(todo):
        after = [Lag(task=f"T{n - 1}", minutes=30 * job.waits[0], most=30 * job.waits[1])] if job.waits and n else []
        tasks.append(
            task(f"T{n}", job.halves / 2, (job.crew, job.crew), kind="fixed", zone=job.zone, after=after)
        )  # fmt: skip
    pins = [TaskPin(task=f"T{n}", day=f"d{job.day % days + 1}") for n, job in enumerate(todo) if job.day is not None]
    net = net_of(*tasks, opening(*(one.code for one in tasks)))
    found = plan(net, crew_of([places] * days), edits=TaskEdits(pins=pins), explained=False)
    first = min(last_days(todo, places, days, []), default=None)
    if found.opening is None:
        COUNTED["refused"] += 1
        assert first is None
        return
    COUNTED["planned"] += 1
    assert found.status == "proven"
    assert first is not None
    # Slots count from the first Monday's Saturday; the school opens on the day after the last work.
    assert found.opening == MONDAY + timedelta(days=5 + first + 1)


def test_there_were_both() -> None:
    """The check above must not pass for want of either."""
    if sum(COUNTED.values()):
        assert COUNTED["planned"] >= 10
        assert COUNTED["refused"] >= 10
