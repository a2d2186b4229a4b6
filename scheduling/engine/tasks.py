"""Turn the template, the take-off's quantities and the owner's edits into a net of tasks with effort.

Effort of work = quantity ÷ rate, in person-hours. Rates are planning values (see ``template``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from math import ceil

from msgspec.structs import replace

from buildout.units.value import Reason, Status, snap
from scheduling.engine.template import (
    TemplateRow,
    check_template,
    default_template,
    driver_units,
    find_loop,
    read_after,
    ring_text,
    shortest_loop,
    with_notes,
)
from scheduling.engine.types import Crew, DayJob, Lag, OwnTask, Place, RateEdit, Task, TaskChange, TaskEdits, TaskNet

HOURS_PER_TRADE_DAY = 8
MEALS_PER_HEAD = 1.1
"""Meals cooked for every head expected. Common practice, no published source."""
FEWEST_CARRIERS = 4
"""However light, a long roll needs hands along it. Common practice, no published source."""
EVENING_JOB = 4.0
"""Work neither meant for helpers nor closed to them is the core team's up to this many person-hours."""
LAST_PREPARATION = "L09"
OPENING = "L10"


def generate(edits: TaskEdits, drivers: Mapping[str, float], crew: Crew, groups: Mapping[str, str]) -> TaskNet:
    """Make the task net.

    ``drivers`` are quantities by name in the units of the template (sqft, lf, each …); ``groups`` says which
    lead group (foam, cover, timber, panel, fit-out, other) every bought item belongs to. A task whose quantity
    is zero or unknown drops out and its successors inherit its predecessors with the larger lag. Jobs every build
    day needs (sign-in, meals, tidying) come back as ``day_jobs``. Never raises: faults are reasons, and a net
    that cannot be used (a ring of predecessors) has status ``infeasible``.

    >>> from decimal import Decimal
    >>> net = generate(TaskEdits(), {"room.floor_area": 1000}, Crew(core=[], days=[]), {})
    >>> task = next(task for task in net.tasks if task.code == "B01")
    >>> task.low, task.likely, task.high  # 1000/800, 1000/500 and 1000/300 person-hours
    (1.25, 2.0, 3.3333)
    """
    reasons: list[Reason] = []
    rows, own = template_of(edits, reasons)
    days = len(crew.days)
    known: dict[str, float] = {"1": 1.0, "builddays": float(days)}
    if days:
        heads = sum(day.places for day in crew.days) + len(crew.core) * days
        known["meals.count"] = float(ceil(MEALS_PER_HEAD * heads))
    known.update({name: float(amount) for name, amount in drivers.items()})

    unknown: dict[str, list[str]] = {}
    left_out: list[str] = []
    quantities: dict[str, float] = {}
    bought = set(groups.values())
    for code, row in rows.items():
        if row.driver not in known:
            unknown.setdefault(row.driver, []).append(code)
        quantity = known.get(row.driver, 0.0)
        if quantity < 0:
            reasons.append(
                Reason(
                    code="negative-quantity",
                    text=f"{row.driver} is {quantity:g}; {code} {row.name} is left out",
                    where=row.driver,
                    severity="warning",
                    todo="State a quantity of zero or more, e.g. 120.",
                )
            )
        nothing_to_wait_for = row.arrival and row.arrival not in bought
        if code in edits.off or quantity <= 0 or nothing_to_wait_for:
            left_out.append(code)
        quantities[code] = quantity
    if unknown:
        named = "; ".join(f"{driver} ({', '.join(codes)})" for driver, codes in sorted(unknown.items()))
        reasons.append(
            Reason(
                code="no-quantity",
                text=f"Left out because no drawing and no statement gives a quantity: {named}",
                todo="State these quantities if the build has such work; leave them if not.",
            )
        )

    after = _bridge({code: list(row.after) for code, row in rows.items()}, set(left_out))
    each_day = [rows[code] for code in after if rows[code].each_day]
    before_helpers = [lag for row in each_day if row.each_day == "start" for lag in after[row.code]]
    after = _bridge(after, {row.code for row in each_day})

    told = {task.code: {item for item in task.needs if item in groups} for task in edits.own if task.code in after}
    by_kind = {item: group for item, group in groups.items() if not any(item in items for items in told.values())}
    tasks = [
        _task(rows[code], quantities[code], lags, crew, by_kind, float(edits.begun.get(code, 0)))
        for code, lags in after.items()
    ]
    tasks = [
        replace(task, needs=sorted({*task.needs, *told[task.code]})) if told.get(task.code) else task for task in tasks
    ]
    tasks = _after_site_is_ready(tasks, before_helpers)
    tasks = _goods_without_a_task(tasks, groups)
    tasks = _own_before_opening(tasks, list(own))

    status: Status = "proven"
    ring = ring_reason(tasks)
    if ring:
        status = "infeasible"
        reasons.append(ring)
    return TaskNet(
        status=status,
        tasks=tasks,
        left_out=sorted(left_out),
        reasons=reasons,
        day_jobs=[_day_job(row, quantities[row.code], days) for row in each_day] if days else [],
    )


def ring_reason(tasks: Sequence[Task]) -> Reason | None:
    """Return the reason why tasks that wait for each other can never begin; None when all can be put in order.

    >>> net = generate(TaskEdits(), {}, Crew(core=[], days=[]), {})
    >>> ring_reason(net.tasks) is None
    True
    """
    after = {task.code: [lag.task for lag in task.after] for task in tasks}
    loop = find_loop(after)
    if not loop:
        return None
    return Reason(
        code="loop",
        text=ring_text(shortest_loop(after, loop[0]), {task.code: task.name for task in tasks}),
        where=loop[0],
        severity="stop",
        todo="Take one of these predecessors out.",
    )


def template_of(edits: TaskEdits, reasons: list[Reason]) -> tuple[dict[str, TemplateRow], dict[str, TemplateRow]]:
    """Return every task by code as this build does it, left-out ones too, and of these the owner's own.

    What of the edits cannot be used is left as in the list and added to ``reasons``.

    >>> rows, own = template_of(TaskEdits(), [])
    >>> rows["B01"].crew_max, own
    (3, {})
    """
    rows = {row.code: row for row in default_template()}
    own = _own_rows(edits.own, rows, reasons)
    _check_codes(edits, {**rows, **own}, reasons)
    rows = _with_changes(_with_rates(rows, edits.rates, reasons), edits.changed, {*rows, *own}, reasons)
    return {**rows, **own}, own


def _check_codes(edits: TaskEdits, rows: Mapping[str, TemplateRow], reasons: list[Reason]) -> None:
    named = (
        [(code, "leave out") for code in edits.off]
        + [(rate.code, "change the rate of") for rate in edits.rates]
        + [(one.code, "change") for one in edits.changed]
        + [(pin.task, "pin") for pin in edits.pins]
        + [(hold.task, "hold") for hold in edits.not_before]
        + [(one.task, "make an appointment for") for one in edits.appointments]
        + [(one.task, "put somebody on") for one in edits.people]
        + [(code, "report as done") for code in sorted(edits.done)]
        + [(code, "report as begun") for code in sorted(edits.begun)]
    )
    for code, what in named:
        if code not in rows:
            reasons.append(
                Reason(
                    code="unknown-task",
                    text=f"There is no task {code} to {what}",
                    where=code,
                    severity="warning",
                    todo="Use a code of the task list, e.g. W11.",
                )
            )


def _with_rates(rows: dict[str, TemplateRow], edits: list[RateEdit], reasons: list[Reason]) -> dict[str, TemplateRow]:
    changed = dict(rows)
    for edit in edits:
        row = rows.get(edit.code)
        if row is None:
            continue
        low, likely, high = float(edit.low), float(edit.likely), float(edit.high)
        new = replace(row, low=low, likely=likely, high=high)
        # Only this row's own numbers can be at fault here; its neighbours were checked with the template.
        faults = [fault for fault in check_template([new]) if "does not exist" not in fault.text]
        if faults:
            reasons.append(
                Reason(
                    code="rate-refused",
                    text=f"{faults[0].text}; the default {row.low:g}, {row.likely:g}, {row.high:g} is used instead",
                    where=row.code,
                    severity="warning",
                    todo=faults[0].todo,
                )
            )
        else:
            changed[edit.code] = new
    return changed


def _with_changes(
    rows: dict[str, TemplateRow], edits: list[TaskChange], codes: set[str], reasons: list[Reason]
) -> dict[str, TemplateRow]:
    changed = dict(rows)
    for edit in edits:
        row = rows.get(edit.code)
        if row is None:
            continue

        def warn(text: str, todo: str, row: TemplateRow = row) -> None:
            said = f"{row.code} {row.name}: {text}"
            reasons.append(Reason(code="change-refused", text=said, where=row.code, severity="warning", todo=todo))

        new = replace(
            row,
            crew_min=row.crew_min if edit.crew_min is None else edit.crew_min,
            crew_max=row.crew_max if edit.crew_max is None else edit.crew_max,
            skills=row.skills if edit.skills is None else edit.skills,
            tools=row.tools if edit.tools is None else edit.tools,
            after=row.after if edit.after is None else _read_lags(edit.after, codes, warn),
            zone=row.zone if edit.zone is None else edit.zone,
            notes=with_notes(row.notes, noisy=edit.noisy, dusty=edit.dusty, one_day=edit.one_day),
            cautions=row.cautions if edit.cautions is None else edit.cautions,
        )
        faults = [fault for fault in check_template([new]) if "does not exist" not in fault.text]
        if faults:
            warn(f"{faults[0].text.split(': ', 1)[-1]}; it stays as in the list", faults[0].todo)
        else:
            changed[edit.code] = new
    return changed


def _read_lags(texts: list[str], codes: set[str], warn: Callable[[str, str], None]) -> list[Lag]:
    lags: list[Lag] = []
    for text in texts:
        try:
            lag = read_after(text)
        except ValueError as error:
            warn(f"{error}; this predecessor is ignored", "Write it like W13+4h.")
            continue
        if lag.task in codes:
            lags.append(lag)
        else:
            warn(
                f"comes after {lag.task}, which does not exist; this predecessor is ignored",
                "Name a task of the list, e.g. W13.",
            )
    return lags


def _own_rows(own: list[OwnTask], rows: Mapping[str, TemplateRow], reasons: list[Reason]) -> dict[str, TemplateRow]:
    made: dict[str, TemplateRow] = {}
    codes = set(rows) | {task.code for task in own}

    def warn(task: OwnTask, text: str, todo: str) -> None:
        reasons.append(
            Reason(
                code="own-task", text=f"{task.code} {task.name}: {text}", where=task.code, severity="warning", todo=todo
            )
        )

    for task in own:
        if task.code in rows or task.code in made or "/" in task.code or not task.code:
            warn(
                task,
                "this code cannot be used, the task is left out",
                "Give it a code of its own without a slash, e.g. X01.",
            )
            continue
        rate = [float(one or 0) for one in (task.low, task.likely, task.high)]
        if task.driver and not 0 < rate[0] <= rate[1] <= rate[2]:
            warn(
                task,
                f"a rate of {rate[0]:g}, {rate[1]:g}, {rate[2]:g} cannot be planned, the task is left out",
                "Give units per person-hour, low ≤ likely ≤ high and above zero, e.g. 2, 4, 7.",
            )
            continue
        most = task.crew if task.crew_max is None or not task.driver else task.crew_max
        if task.hours < 0 or not 1 <= task.crew <= most:
            warn(
                task,
                f"{task.hours} hours with {task.crew} to {most} people cannot be planned, the task is left out",
                "Give hours of zero or more and at least one person, e.g. 2 hours, 3 people.",
            )
            continue
        lags = _read_lags(task.after, codes, partial(warn, task))
        hours = float(task.hours)
        low, likely, high = rate if task.driver else (hours, hours, hours)
        made[task.code] = TemplateRow(
            code=task.code, name=task.name, stage=10, kind="work" if task.driver else "fixed",
            unit=driver_units().get(task.driver, "unit") if task.driver else "task", driver=task.driver or "1",
            low=low, likely=likely, high=high, crew_min=task.crew, crew_max=most,
            skills=task.skills, tools="", after=lags,
            notes=with_notes("v", noisy=task.noisy, dusty=task.dusty, one_day=task.one_day),
            cautions=task.cautions, where="hall", zone=task.zone,
        )  # fmt: skip
    return made


def _bridge(after: dict[str, list[Lag]], gone: set[str]) -> dict[str, list[Lag]]:
    """Take tasks out; successors inherit the predecessors and the larger of the two lags."""
    kept = {code: list(lags) for code, lags in after.items()}
    for code in sorted(gone & set(kept)):
        inherited = kept.pop(code)
        for other, lags in kept.items():
            through = [lag for lag in lags if lag.task == code]
            if not through:
                continue
            rest = [lag for lag in lags if lag.task != code]
            for link in through:
                rest += [
                    replace(
                        max(lag, link, key=lambda one: (one.minutes, one.in_hours)),
                        task=lag.task,
                        from_start=lag.from_start,
                        most=None,
                        most_in_hours=False,
                    )
                    for lag in inherited
                    if lag.task != other
                ]
            kept[other] = _largest(rest)
    return kept


def _largest(lags: list[Lag]) -> list[Lag]:
    best: dict[tuple[str, bool], Lag] = {}
    for lag in lags:
        key = (lag.task, lag.from_start)
        if key not in best or best[key].minutes < lag.minutes:
            best[key] = lag
    return list(best.values())


def _task(
    row: TemplateRow, quantity: float, after: list[Lag], crew: Crew, groups: Mapping[str, str], begun: float
) -> Task:
    """``begun`` of the work is done already; who does it and with how many follows from the whole of it."""
    crew_min, crew_max = row.crew_min, row.crew_max
    if row.carry:
        # What there is to carry says how many it takes; the table's smallest crew is for a cover of usual size.
        crew_min = max(FEWEST_CARRIERS, ceil(quantity / row.carry - 1e-9))
        crew_max = max(crew_max, crew_min)
    low, likely, high = row.low, row.likely, row.high
    if row.kind == "work":
        low, likely, high = quantity / row.high, quantity / row.likely, quantity / row.low
    elif row.driver == "builddays":
        low, likely, high = low * quantity, likely * quantity, high * quantity
    place, kind = _place(row, likely, crew_min, crew), row.kind
    if place == "trade" and kind != "trade":
        # A firm's own crew does it: person-hours become working days of its largest useful crew.
        share = HOURS_PER_TRADE_DAY * (crew_max if kind == "work" else 1)
        low, likely, high = low / share, likely / share, high / share
        kind = "trade"
    if kind == "wait" or not 0 < begun < 1:
        begun = 0.0  # a wait is not worked off; it has a day on which it is over
    low, likely, high = low * (1 - begun), likely * (1 - begun), high * (1 - begun)
    return Task(
        code=row.code, name=row.name, stage=row.stage, kind=kind, place=place,
        quantity=snap(quantity), unit=row.unit, driver=row.driver,
        low=snap(low, 0.0001), likely=snap(likely, 0.0001), high=snap(high, 0.0001),
        crew_min=crew_min, crew_max=crew_max, skills=row.skills, after=after, cautions=row.cautions,
        tools=row.tools, noisy=row.noisy, dusty=row.dusty, volunteers="v" in row.notes.split(),
        needs=sorted(item for item, group in groups.items() if group in row.goods),
        arrival_of=row.arrival, where=row.where, zone=row.zone, one_day=row.one_day,
        cures="c" in row.notes.split(), begun=begun,
    )  # fmt: skip


def _place(row: TemplateRow, likely: float, crew_min: int, crew: Crew) -> Place:
    """Say who does it: helpers on a build day, the core team on weekdays, a licensed firm, nobody."""
    if row.kind == "wait":
        return "wait"
    if row.kind == "trade":
        return "trade"
    named = {skill for person in crew.core for skill in person.skills}
    if any(skill in ("lic", "spec") and skill not in named for skill in row.skills):
        return "trade"
    if row.where == "desk" or row.stage <= 1 or (row.kind == "fixed" and row.likely == 0):
        return "core team"
    if crew_min > len(crew.core):
        return "build day"
    if "x" in row.notes:
        return "core team"
    if "v" in row.notes:
        return "build day"
    return "build day" if row.kind == "work" and likely > EVENING_JOB else "core team"


def _day_job(row: TemplateRow, quantity: float, days: int) -> DayJob:
    """Minutes or people that every build day gives to this job, from its likely rate and largest useful crew."""
    minutes, crew = 0, 0
    if row.each_day == "all day":
        hours_each_day = quantity / row.likely / days
        crew = max(1, min(row.crew_max, ceil(hours_each_day / (HOURS_PER_TRADE_DAY * 0.75))))
    elif row.kind == "work":
        minutes = ceil(quantity / row.likely / row.crew_max * 60)
    else:
        minutes = ceil(row.likely * 60)
    return DayJob(
        code=row.code,
        name=row.name,
        when=row.each_day or "start",
        minutes=minutes,
        crew=crew,
        skills=row.skills,
        cautions=row.cautions,
    )


def _ancestors(tasks: list[Task]) -> dict[str, set[str]]:
    after = {task.code: [lag.task for lag in task.after] for task in tasks}
    found: dict[str, set[str]] = {}

    for root in after:
        stack = [root]
        while stack:
            code = stack[-1]
            open_ones = [p for p in after[code] if p in after and p not in found and p not in stack]
            if open_ones:
                stack.append(open_ones[0])
                continue
            found[code] = {p for p in after[code] if p in after}.union(*(found.get(p, set()) for p in after[code]))
            stack.pop()
    return found


def _after_site_is_ready(tasks: list[Task], before_helpers: list[Lag]) -> list[Task]:
    """Helpers come only once invitations are out and, in the hall, the site is set up."""
    above = _ancestors(tasks)
    by_code = {task.code: task for task in tasks}
    result: list[Task] = []
    for task in tasks:
        extra = [
            lag
            for lag in before_helpers
            if task.place == "build day"
            and lag.task in by_code
            and lag.task != task.code
            and lag.task not in above[task.code]
            and task.code not in above[lag.task]
            and (task.where == "hall" or by_code[lag.task].where == "desk")
        ]
        result.append(replace(task, after=_largest([*task.after, *extra])) if extra else task)
    return result


def _goods_without_a_task(tasks: list[Task], groups: Mapping[str, str]) -> list[Task]:
    """Goods that no task names must at least be there when the opening is prepared."""
    named = {item for task in tasks for item in task.needs}
    rest = sorted(set(groups) - named)
    return [
        replace(task, needs=sorted([*task.needs, *rest])) if rest and task.code == LAST_PREPARATION else task
        for task in tasks
    ]


def _own_before_opening(tasks: list[Task], own: list[str]) -> list[Task]:
    """The owner's own tasks are finished before the opening is prepared, unless they follow it."""
    above = _ancestors(tasks)
    goal = next((code for code in (LAST_PREPARATION, OPENING) if code in above), "")
    if not goal:
        return tasks
    late = {code for code, others in above.items() if goal in others or code == goal}
    missing = [Lag(task=code) for code in own if code in above and code not in late and code not in above[goal]]
    return [replace(task, after=[*task.after, *missing]) if task.code == goal else task for task in tasks]
