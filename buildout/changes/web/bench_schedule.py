"""Schedules beside what they cannot beat: public instances, the demo build, a forecast, and builds of growing size.

Instance files are those of PSPLIB (R. Kolisch and A. Sprecher, Eur. J. Oper. Res. 96 (1997) 205–216), single mode,
``.sm``. Beside them the same problem is solved through PyJobShop, on the same solver with one worker, the same seed and
the same limit, where that package is installed (``pip install '.[bench]'``); where it is not, a plain model of the same
problem on the same solver stands in, and the row says so. Seconds are processor time, so that what else the machine
does is left out; libraries are loaded before anything is timed; what is quick is run ``SEVERAL`` times, turn about.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterable, Iterator
from datetime import date, timedelta
from decimal import Decimal
from importlib import import_module
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from estimating.engine.types import Arrivals
from scheduling.engine.rcpsp import SEED, Activity, Link, Mode, Model, Project, Resource, Stage, serial_plan
from scheduling.engine.types import BuildDay, CorePerson, Crew, Dates, Lag, Schedule, Task, TaskEdits, TaskNet

T = TypeVar("T")

WORK_LIMITS = {30: 60.0}
"""Deterministic work units by number of jobs; others get ``OTHERS``."""
OTHERS = 20.0
RUNS = 10_000
TASKS = (50, 100, 200, 400)
HELPERS = (10, 40, 150)
SEVERAL = 3
"""Quick measurements are the fastest of so many."""
QUICK = 2.0
"""Seconds."""
NOTHING = Arrivals(status="empty", items=[], reasons=[])
MONDAY = date(2027, 2, 1)


class ScheduleRow(msgspec.Struct):
    """``found`` and ``bound`` are the length of the project, or days to the opening; ``bound`` from below."""

    instance: str
    found: int | None
    bound: int | None
    status: str
    seconds: float
    anchor_seconds: float
    anchor: str
    gap: float | None = None
    """How far ``found`` may be from the best, as a share of it."""
    stopped: str = ""
    """Which limit stopped the search; empty where none did."""
    anchor_found: int | None = None
    """The length of the project found by what it is measured beside."""


def _row(
    instance: str, found: int | None, bound: int | None, status: str, seconds: float, beside: float, anchor: str,
    stopped: str = "", anchor_found: int | None = None,
) -> ScheduleRow:  # fmt: skip
    gap = round((found - bound) / found, 4) if found and bound is not None else None
    return ScheduleRow(
        instance, found, bound, status, round(seconds, 4), round(beside, 4), anchor, gap, stopped, anchor_found
    )  # fmt: skip


def sums(rows: Iterable[ScheduleRow]) -> dict[str, float]:
    """Of the public instances: seconds, the anchor's, the ratio of these sums and the worst ratio of one row."""
    mine = [row for row in rows if row.anchor_found is not None]
    if not mine:
        return {}
    ours, beside = sum(row.seconds for row in mine), sum(row.anchor_seconds for row in mine)
    worst = max(row.seconds / row.anchor_seconds for row in mine)
    return {
        "instances": len(mine), "proven": sum(row.status == "proven" for row in mine), "seconds": round(ours, 4),
        "anchor_seconds": round(beside, 4), "ratio": round(ours / beside, 3), "worst_ratio": round(worst, 3),
    }  # fmt: skip


def measure_schedule(folder: Path, *, builds: bool = True) -> Iterator[ScheduleRow]:
    """Solve every instance in a folder, then the demo, a forecast and builds of growing size.

    Raises ValueError naming a file that is not in the format, or a folder that holds none.
    """
    files = sorted(folder.glob("*.sm")) if folder.is_dir() else []
    if not files:
        raise ValueError(f"{folder} holds no instance files; it should hold files such as j301_1.sm")
    _load_solvers()
    for file in files:
        yield instance_row(file)
    if builds:
        yield from demo_rows()
        yield forecast_row()
        yield from growth_rows()


def _timed(work: Callable[[], T]) -> tuple[T, float]:
    began = time.process_time()
    result = work()
    return result, time.process_time() - began


def _load_solvers() -> None:
    """What is loaded once by a process is no part of any row."""
    one = Project([Activity("only", (Mode(1, (("R", 1),)),))], [], [Resource("R", 1)], 1)
    model = Model(one)
    model.minimise(model.end[0], 1.0)
    _beside(one, 1.0)


# ---------------------------------------------------------------- public instances


def read_psplib(file: Path) -> Project:
    """Read a single-mode instance. Raises ValueError naming the file and what is missing in it."""
    try:
        lines = file.read_text().splitlines()

        def rows(title: str, skip: int, count: int) -> list[list[int]]:
            at = next((n for n, line in enumerate(lines) if line.startswith(title)), None)
            if at is None:
                raise ValueError(f"the part {title} is missing")
            return [[int(field) for field in line.split()] for line in lines[at + skip : at + skip + count]]

        jobs = next((int(line.split(":")[1]) for line in lines if line.startswith("jobs")), 0)
        if jobs < 2:
            raise ValueError("it does not say how many jobs there are")
        links = [Link(row[0] - 1, after - 1) for row in rows("PRECEDENCE", 2, jobs) for after in row[3:]]
        activities = [
            Activity(str(row[0]), (Mode(row[2], tuple((f"R{n}", use) for n, use in enumerate(row[3:]) if use)),))
            for row in rows("REQUESTS", 3, jobs)
        ]
        capacities = rows("RESOURCEAVAILABILITIES", 2, 1)[0]
        if len(activities) != jobs or any(not 0 <= link.after < jobs for link in links):
            raise ValueError("it speaks of jobs it does not list")
    except (ValueError, IndexError, UnicodeDecodeError) as error:
        raise ValueError(f"{file.name} is not a single-mode PSPLIB file: {error}") from error
    resources = [Resource(f"R{n}", capacity) for n, capacity in enumerate(capacities)]
    return Project(activities, links, resources, sum(one.modes[0].duration for one in activities))


def instance_row(file: Path) -> ScheduleRow:
    project = read_psplib(file)
    limit = WORK_LIMITS.get(len(project.activities) - 2, OTHERS)

    def ours() -> Stage:
        quick = serial_plan(project)
        last = len(project.activities) - 1
        model = Model(project, {last: quick[last].start} if quick else None)
        return model.minimise(model.end[-1], limit, quick or [])

    stage, seconds = _timed(ours)
    (length, name), beside = _timed(lambda: _beside(project, limit))
    for _ in range(SEVERAL - 1 if max(seconds, beside) < QUICK else 0):
        seconds = min(seconds, _timed(ours)[1])
        beside = min(beside, _timed(lambda: _beside(project, limit))[1])
    solved = stage.status in ("proven", "feasible")
    return _row(
        file.stem, round(stage.value) if solved else None, round(stage.bound) if solved else None, stage.status,
        seconds, beside, name, "" if stage.status in ("proven", "infeasible") else f"at {limit:g} work units", length,
    )  # fmt: skip


def _beside(project: Project, limit: float) -> tuple[int | None, str]:
    """Solve a problem the other way: the length found, and which way it was."""
    try:
        model = import_module("pyjobshop").Model()
    except ImportError:
        return _plain_model(project, limit), "plain model (PyJobShop is not installed)"
    return _through_pyjobshop(project, model, limit), "PyJobShop"


def _through_pyjobshop(project: Project, model: Any, limit: float) -> int | None:
    resources = {one.name: model.add_renewable(one.capacity) for one in project.resources}
    tasks = []
    for one in project.activities:
        task = model.add_task()
        uses = one.modes[0].uses
        model.add_mode(task, [resources[name] for name, _ in uses], one.modes[0].duration, [use for _, use in uses])
        tasks.append(task)
    for link in project.links:
        model.add_end_before_start(tasks[link.before], tasks[link.after])
    model.set_objective(weight_makespan=1)
    found = model.solve(
        solver="ortools", display=False, num_workers=1, random_seed=SEED, max_deterministic_time=limit
    )  # fmt: skip
    return round(found.objective) if found.status.value in ("Optimal", "Feasible") else None


def _plain_model(project: Project, limit: float) -> int | None:
    """The textbook formulation: a start each, precedence, one cumulative limit per resource."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    starts = [model.new_int_var(0, project.horizon, "") for _ in project.activities]
    spans = [
        model.new_fixed_size_interval_var(start, one.modes[0].duration, "")
        for start, one in zip(starts, project.activities, strict=True)
    ]
    for link in project.links:
        model.add(starts[link.before] + project.activities[link.before].modes[0].duration <= starts[link.after])
    for resource in project.resources:
        uses = [
            (span, dict(one.modes[0].uses).get(resource.name, 0))
            for span, one in zip(spans, project.activities, strict=True)
        ]
        model.add_cumulative([span for span, _ in uses], [use for _, use in uses], resource.capacity)
    model.minimize(starts[-1])
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = SEED
    solver.parameters.max_deterministic_time = limit
    status = solver.solve(model)
    return round(solver.objective_value) if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else None


# ---------------------------------------------------------------- the demo build


def demo_rows() -> Iterator[ScheduleRow]:
    """The demo planned, and planned again after a helper more; beside them the time inside the solver alone."""
    from importlib.resources import files

    from buildout.changes.engine import chain
    from buildout.changes.engine.reading import read_build_file
    from buildout.changes.engine.solver_time import SolverTime
    from scheduling.engine.schedule import solve

    file = read_build_file(files("buildout.changes.engine").joinpath("data/demo.json").read_bytes())
    result = chain.run_chain(file.plan, file.commitments)
    plan, due, taken = file.plan, result.arrivals, file.commitments.sign_ups
    days = [*plan.crew.days[:-1], msgspec.structs.replace(plan.crew.days[-1], places=plan.crew.days[-1].places - 1)]
    changed = msgspec.structs.replace(plan.crew, days=days)
    for name, crew, before in (
        ("demo schedule", plan.crew, None),
        ("demo schedule, planned again", changed, result.schedule),
    ):
        best: tuple[float, float] | None = None
        for _ in range(SEVERAL):
            with SolverTime(clock=time.process_time) as inside:
                found, seconds = _timed(
                    lambda crew=crew, before=before: solve(  # type: ignore[misc]
                        result.tasks, crew, plan.dates, due, taken, plan.tasks, plan.as_of, before
                    )
                )
            best = min(best or (seconds, inside.seconds), (seconds, inside.seconds))
        assert best is not None  # noqa: S101 - SEVERAL is at least one
        yield _schedule_row(name, found, best[0], best[1], "the solver alone")


def _schedule_row(name: str, found: Schedule, seconds: float, beside: float, anchor: str) -> ScheduleRow:
    stopped = [f"“{aim.name}” after {aim.work:.2g} of {aim.limit:.2g} work units" for aim in found.aims
               if aim.status != "proven"]  # fmt: skip
    return _row(
        name, round(found.value), round(found.bound), found.status, seconds, beside, anchor, "; ".join(stopped)
    )  # fmt: skip


# ---------------------------------------------------------------- invented builds


def invented_build(tasks: int, helpers: int = 25) -> tuple[TaskNet, Crew]:
    """A build of so many tasks, the same on every machine: each after one or two of the eight before it."""
    draw = random.Random(f"{tasks} tasks")  # noqa: S311  # repeatable cases, no secret
    net = []
    for n in range(tasks):
        before = sorted({max(0, n - draw.randint(1, 8)) for _ in range(draw.randint(1, 2))}) if n else []
        likely = float(draw.randint(2, 14))
        least = draw.randint(1, 3)
        net.append(
            Task(
                code=f"T{n}", name=f"Task {n}", stage=5, kind="work", place="build day", quantity=likely, unit="each",
                driver="1", low=likely * 0.7, likely=likely, high=likely * 1.8, crew_min=least,
                crew_max=least + draw.randint(1, 4), skills=draw.choice([[], [], ["carp"], ["paint"]]),
                after=[Lag(task=f"T{other}") for other in before], cautions=[], tools="", noisy=False, dusty=False,
                volunteers=True, zone=draw.choice(["", "", "", "north", "south"]),
            )
        )  # fmt: skip
    after = [Lag(task=one.code) for one in net]
    net.append(
        Task(
            code="L10", name="Open", stage=12, kind="fixed", place="core team", quantity=1, unit="day", driver="1",
            low=0, likely=0, high=0, crew_min=0, crew_max=0, skills=[], after=after, cautions=[], tools="",
            noisy=False, dusty=False, volunteers=False,
        )
    )  # fmt: skip
    days = [
        BuildDay(id=f"d{n}", date=MONDAY + timedelta(days=5 + 7 * n), name=f"Day {n}", places=helpers)
        for n in range(max(6, tasks // 3))
    ]
    core = [CorePerson(id=f"p{n}", name=f"Person {n}", skills=["carp", "paint"]) for n in range(4)]
    crew = Crew(core=core, days=days, skill_shares={"carp": Decimal("0.3"), "paint": Decimal("0.4")})
    return TaskNet(status="proven", tasks=net, left_out=[], reasons=[]), crew


def forecast_row(tasks: int = 100) -> ScheduleRow:
    """10,000 runs of so many tasks; beside it one pass over them with every draw at once and no calendar or people."""
    from scheduling.engine.forecast import draws, forecast, triangular
    from scheduling.engine.schedule import solve

    net, crew = invented_build(tasks)
    dates, edits = Dates(lease_start=MONDAY, opening_wish=MONDAY), TaskEdits()
    schedule = solve(net, crew, dates, NOTHING, [], edits, MONDAY, None)

    def one_pass() -> None:
        import numpy as np

        ends: dict[str, Any] = {}
        for task in net.tasks:
            work = triangular(draws(task.code, RUNS), task.low, task.likely, task.high)
            ready = [ends[lag.task] for lag in task.after]
            ends[task.code] = (np.maximum.reduce(ready) if ready else 0.0) + work

    timed = [
        _timed(lambda: forecast(net, schedule, crew, dates, NOTHING, edits, MONDAY, runs=RUNS)) for _ in range(SEVERAL)
    ]
    anchor = min(_timed(one_pass)[1] for _ in range(SEVERAL))
    found, seconds = timed[0][0], min(second for _, second in timed)
    p80 = (found.p80 - MONDAY).days if found.p80 else None
    return _row(f"forecast, {RUNS} runs of {tasks} tasks", p80, None, found.status, seconds, anchor, "one pass")


def growth_rows() -> Iterator[ScheduleRow]:
    """Builds of growing size. Beside each stands what the one before would have taken had its time grown as it did."""
    from scheduling.engine.schedule import solve

    dates, edits = Dates(lease_start=MONDAY, opening_wish=MONDAY), TaskEdits()
    kinds = [("tasks", [(size, 25, size) for size in TASKS]), ("helpers", [(100, size, size) for size in HELPERS])]
    for kind, sizes in kinds:
        before: tuple[int, float] | None = None
        for tasks, helpers, size in sizes:
            net, crew = invented_build(tasks, helpers)
            found, seconds = _timed(
                lambda net=net, crew=crew: solve(net, crew, dates, NOTHING, [], edits, MONDAY, None)  # type: ignore[misc]
            )
            anchor = before[1] * size / before[0] if before else seconds
            before = (size, seconds)
            yield _schedule_row(f"{size} {kind}", found, seconds, anchor, "the one before, grown alike")
