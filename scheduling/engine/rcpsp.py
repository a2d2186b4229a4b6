"""Resource-constrained project scheduling with modes, allowed start times and changing capacity, on CP-SAT.

Notation: activity i starts at s_i, runs d_m in its one chosen mode m and ends at e_i = s_i + d_m. Rules:

- end to start, lag L:   e_i + L ≤ s_j        - start to start, lag L:  s_i + L ≤ s_j
- end to end, lag L:     e_i + L ≤ e_j
- longest wait M:        s_j ≤ e_i + M
- resource r at time t:  Σ uses of the activities running at t ≤ capacity_r − taken_r(t)

Time is a whole number of steps from 0. Problem and notation: R. Kolisch and A. Sprecher, European Journal of
Operational Research 96 (1997) 205–216. One worker, fixed seed, deterministic work limit: same input, same answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal, NamedTuple

SEED = 20
TRIES = 12
FIRST_SHARE = 0.3
WORTH_MORE = 0.1
Span = tuple[int, int]


class Mode(NamedTuple):
    """One way to do an activity: so many steps, so much of each resource, starting within ``starts``."""

    duration: int
    uses: tuple[tuple[str, int], ...] = ()
    starts: tuple[Span, ...] = ()
    """Allowed starts as inclusive spans in ascending order; empty: any time."""
    day: str = ""
    """Build day id, or empty."""
    crew: int = 0


class Activity(NamedTuple):
    name: str
    modes: tuple[Mode, ...]
    earliest: int = 0
    earliest_end: int = 0


class Link(NamedTuple):
    before: int
    after: int
    lag: int = 0
    kind: Literal["end-start", "start-start", "end-end"] = "end-start"


class Limit(NamedTuple):
    """``after`` starts at most ``most`` steps after the end of ``before``."""

    before: int
    after: int
    most: int


class Resource(NamedTuple):
    name: str
    capacity: int
    taken: tuple[tuple[int, int, int], ...] = ()
    """(from, to, amount): capacity not to be had in that span."""


@dataclass(frozen=True)
class Project:
    activities: Sequence[Activity]
    links: Sequence[Link]
    resources: Sequence[Resource]
    horizon: int
    limits: Sequence[Limit] = ()
    clauses: Sequence[tuple[tuple[int, int], ...]] = ()
    """(activity, mode) pairs of which at least one is chosen."""


class Placed(NamedTuple):
    """When an activity starts and in which of its modes."""

    start: int
    mode: int


@dataclass(frozen=True)
class Stage:
    """What minimising one objective gave. ``value`` and ``bound`` are meaningless when nothing was found."""

    status: Literal["proven", "feasible", "infeasible", "unknown"]
    value: float
    bound: float
    work: float
    plan: list[Placed] = field(default_factory=list)


def in_order(project: Project) -> list[int]:
    """Return the activities' numbers so that each comes after all it depends on.

    Raises ``ValueError`` naming an activity of a ring when there is one.
    """
    count = len(project.activities)
    after: list[list[int]] = [[] for _ in range(count)]
    waiting = [0] * count
    for link in project.links:
        after[link.before].append(link.after)
        waiting[link.after] += 1
    ready = [i for i in range(count) if waiting[i] == 0]
    order: list[int] = []
    for i in ready:
        order.append(i)
        for j in after[i]:
            waiting[j] -= 1
            if waiting[j] == 0:
                ready.append(j)
    if len(order) < count:
        stuck = next(i for i in range(count) if waiting[i] > 0)
        raise ValueError(f"{project.activities[stuck].name} waits for itself")
    return order


def next_start(mode: Mode, at: int) -> int | None:
    """Return the first allowed start not before ``at``; None when there is none."""
    if not mode.starts:
        return at
    for low, high in mode.starts:
        if high >= at:
            return max(low, at)
    return None


def last_start(mode: Mode, at: int) -> int | None:
    """Return the last allowed start not after ``at``; None when there is none."""
    if not mode.starts:
        return at
    for low, high in reversed(mode.starts):
        if low <= at:
            return min(high, at)
    return None


def earliest_times(project: Project) -> list[Span] | None:
    """Return the earliest start and the earliest end of every activity, resources aside.

    This is the forward pass of the critical path method over modes and allowed starts; no plan can be earlier.
    None when an activity finds no allowed start.
    """
    before: list[list[Link]] = [[] for _ in project.activities]
    for link in project.links:
        before[link.after].append(link)
    times: dict[int, Span] = {}
    for i in in_order(project):
        activity = project.activities[i]
        found: list[Span] = []
        for mode in activity.modes:
            at = max(activity.earliest, activity.earliest_end - mode.duration)
            for link in before[i]:
                start, end = times[link.before]
                at = max(at, _from(link, start, end, mode.duration))
            first = next_start(mode, at)
            if first is not None:
                found.append((first, first + mode.duration))
        if not found:
            return None
        times[i] = (min(start for start, _ in found), min(end for _, end in found))
    return [times[i] for i in range(len(project.activities))]


def _from(link: Link, start: int, end: int, own: int) -> int:
    """Return the earliest start a link leaves to an activity of length ``own``."""
    if link.kind == "start-start":
        return start + link.lag
    if link.kind == "end-end":
        return end + link.lag - own
    return end + link.lag


def _ready(project: Project, plan: Mapping[int, Placed], before: Sequence[Link], activity: Activity, mode: Mode) -> int:
    """Return the first step at which what comes before lets an activity start in a mode."""
    at = max(activity.earliest, activity.earliest_end - mode.duration)
    for link in before:
        other = plan[link.before]
        end = other.start + project.activities[link.before].modes[other.mode].duration
        at = max(at, _from(link, other.start, end, mode.duration))
    return at


def latest_starts(project: Project, plan: Sequence[Placed], goal: Sequence[int]) -> list[int]:
    """Return how late each activity may start without any of ``goal`` (and what follows) moving, resources aside.

    This is the backward pass of the critical path method over every mode's allowed starts; latest start less planned
    start is the total float. Activities no goal depends on may run to the end of the plan.
    """
    ends = [placed.start + project.activities[i].modes[placed.mode].duration for i, placed in enumerate(plan)]
    finish = max(ends, default=0)
    after: list[list[Link]] = [[] for _ in project.activities]
    for link in project.links:
        after[link.before].append(link)
    caps: list[list[Limit]] = [[] for _ in project.activities]
    for cap in project.limits:
        caps[cap.after].append(cap)
    latest = [0] * len(plan)
    fixed = set(goal)
    for i in reversed(in_order(project)):
        placed = plan[i]
        allowed = []
        for mode in project.activities[i].modes:
            limit = placed.start if i in fixed else finish - mode.duration
            for link in after[i]:
                there = latest[link.after]
                other = project.activities[link.after].modes[plan[link.after].mode]
                if link.kind == "start-start":
                    limit = min(limit, there - link.lag)
                elif link.kind == "end-end":
                    limit = min(limit, there + other.duration - link.lag - mode.duration)
                else:
                    limit = min(limit, there - link.lag - mode.duration)
            for cap in caps[i]:
                limit = min(limit, ends[cap.before] + cap.most)
            last = last_start(mode, limit)
            if last is not None:
                allowed.append(last)
        latest[i] = max([placed.start, *allowed])
    return latest


class Usage:
    """How much of each resource is in use, step by step."""

    def __init__(self, project: Project) -> None:
        self.capacity = {resource.name: resource.capacity for resource in project.resources}
        self.taken = {resource.name: resource.taken for resource in project.resources}
        self.used: dict[str, dict[int, int]] = {resource.name: {} for resource in project.resources}

    def change(self, mode: Mode, start: int, sign: int) -> None:
        for name, amount in mode.uses:
            used = self.used[name]
            for step in range(start, start + mode.duration):
                used[step] = used.get(step, 0) + sign * amount

    def room(self, mode: Mode, start: int) -> bool:
        for name, amount in mode.uses:
            used, capacity = self.used[name], self.capacity[name]
            for step in range(start, start + mode.duration):
                away = sum(n for low, high, n in self.taken[name] if low <= step < high)
                if used.get(step, 0) + amount > capacity - away:
                    return False
        return True


def serial_plan(project: Project) -> list[Placed] | None:
    """Place activities one by one where rules and resources first allow, the most urgent ready one first.

    Urgency is the latest start the horizon leaves. This is the serial schedule generation scheme
    (R. Kolisch, European Journal of Operational Research 90 (1996) 320–333, from memory). Where a longest wait is
    overrun, what comes before it is put off by as much and everything placed anew, a few times. None when an
    activity finds no room; that proves nothing.
    """
    times = latest_times(project)
    if times is None:
        return None
    urgent = [start for start, _ in times]
    put_off: dict[int, int] = {}
    for _ in range(TRIES if project.limits else 1):
        plan = _place_all(project, urgent, put_off)
        if plan is None:
            return None
        overrun = False
        for before, after, most in project.limits:
            end = plan[before].start + project.activities[before].modes[plan[before].mode].duration
            if plan[after].start > end + most:
                put_off[before] = plan[before].start + plan[after].start - end - most
                overrun = True
        if not overrun:
            kept = all(any(plan[i].mode == number for i, number in some) for some in project.clauses)
            return plan if kept else None
    return None


def _place_all(project: Project, urgent: Sequence[int], put_off: Mapping[int, int]) -> list[Placed] | None:
    before: list[list[Link]] = [[] for _ in project.activities]
    after: list[list[int]] = [[] for _ in project.activities]
    waiting = [0] * len(project.activities)
    for link in project.links:
        before[link.after].append(link)
        after[link.before].append(link.after)
        waiting[link.after] += 1
    ready = [i for i, count in enumerate(waiting) if count == 0]
    usage = Usage(project)
    plan: dict[int, Placed] = {}
    while ready:
        i = min(ready, key=lambda i: (urgent[i], i))
        ready.remove(i)
        activity = project.activities[i]
        best: tuple[int, int, int] | None = None
        for number, mode in enumerate(activity.modes):
            start = next_start(mode, max(put_off.get(i, 0), _ready(project, plan, before[i], activity, mode)))
            while start is not None and not usage.room(mode, start):
                start = next_start(mode, start + 1) if start < project.horizon else None
                if best is not None and start is not None and start + mode.duration > best[0]:
                    break
            if start is not None and (best is None or (start + mode.duration, start) < best[:2]):
                best = (start + mode.duration, start, number)
        if best is None:
            return None
        plan[i] = Placed(best[1], best[2])
        usage.change(activity.modes[best[2]], best[1], +1)
        for j in after[i]:
            waiting[j] -= 1
            if waiting[j] == 0:
                ready.append(j)
    return [plan[i] for i in range(len(project.activities))]


def latest_times(project: Project, limits: Mapping[int, int] | None = None) -> list[Span] | None:
    """Return the latest start and the latest end of every activity within the horizon, resources aside.

    ``limits`` are latest ends of some activities. This is the backward pass of the critical path method over modes
    and allowed starts; an activity outside these times leaves something after it without room. None when an
    activity is left without an allowed start.
    """
    after: list[list[Link]] = [[] for _ in project.activities]
    for link in project.links:
        after[link.before].append(link)
    times: dict[int, Span] = {}
    for i in reversed(in_order(project)):
        found: list[Span] = []
        for mode in project.activities[i].modes:
            limit = min(project.horizon, (limits or {}).get(i, project.horizon)) - mode.duration
            for link in after[i]:
                start, end = times[link.after]
                if link.kind == "start-start":
                    limit = min(limit, start - link.lag)
                elif link.kind == "end-end":
                    limit = min(limit, end - link.lag - mode.duration)
                else:
                    limit = min(limit, start - link.lag - mode.duration)
            last = last_start(mode, limit)
            if last is not None and last >= project.activities[i].earliest:
                found.append((last, last + mode.duration))
        if not found:
            return None
        times[i] = (max(start for start, _ in found), max(end for _, end in found))
    return [times[i] for i in range(len(project.activities))]


def tighten(project: Project, plan: Sequence[Placed], movable: Callable[[int], bool]) -> list[Placed]:
    """Move activities earlier, one after the other, where rules and resources allow it in the same mode.

    Never breaks a rule and never moves anything later.
    """
    before: list[list[Link]] = [[] for _ in project.activities]
    for link in project.links:
        before[link.after].append(link)
    usage = Usage(project)
    for i, placed in enumerate(plan):
        usage.change(project.activities[i].modes[placed.mode], placed.start, +1)
    least: list[list[Limit]] = [[] for _ in project.activities]
    for cap in project.limits:
        least[cap.before].append(cap)
    result = list(plan)
    rank = {i: n for n, i in enumerate(in_order(project))}
    for i in sorted(range(len(result)), key=lambda i: (result[i].start, rank[i])):
        activity, placed = project.activities[i], result[i]
        mode = activity.modes[placed.mode]
        if not movable(i):
            continue
        usage.change(mode, placed.start, -1)
        at = _ready(project, dict(enumerate(result)), before[i], activity, mode)
        at = max([at, *(result[cap.after].start - cap.most - mode.duration for cap in least[i])])
        start = next_start(mode, at)
        while start is not None and start < placed.start and not usage.room(mode, start):
            start = next_start(mode, start + 1)
        if start is not None and start < placed.start:
            result[i] = Placed(start, placed.mode)
        usage.change(mode, result[i].start, +1)
    return result


class Model:
    """A project as a CP-SAT model that is minimised in stages, each keeping what the stages before reached."""

    def __init__(self, project: Project, limits: Mapping[int, int] | None = None) -> None:
        """``limits`` are latest ends that some activities must keep."""
        from ortools.sat.python import cp_model

        self._cp = cp_model
        self.project = project
        self.model: Any = cp_model.CpModel()
        self.start: list[Any] = []
        self.end: list[Any] = []
        self.chosen: list[list[Any]] = []
        """For every activity and mode a literal, or True or False where the times leave no choice."""
        self._means: dict[int, tuple[int, int]] = {}
        self._hinted = 0.0
        """What the last objective was in its hint."""
        self._extra: list[tuple[Any, Callable[[Sequence[Placed]], int]]] = []
        """Variables beside those of the activities, each with its value in a plan."""
        earliest = earliest_times(project) or [(0, 0)] * len(project.activities)
        latest = latest_times(project, limits) or [(project.horizon, project.horizon)] * len(project.activities)
        self.times = [(first, last) for (first, _), (last, _) in zip(earliest, latest, strict=True)]
        self.ends = [(first, last) for (_, first), (_, last) in zip(earliest, latest, strict=True)]
        uses: dict[str, list[tuple[Any, int]]] = {resource.name: [] for resource in project.resources}
        for activity, start, end in zip(project.activities, self.times, self.ends, strict=True):
            self._add(activity, start, end, uses)
        for link in project.links:
            first = self.start[link.before] if link.kind == "start-start" else self.end[link.before]
            second = self.end[link.after] if link.kind == "end-end" else self.start[link.after]
            self.model.add(first + link.lag <= second)
        for some in project.clauses:
            literals = [self.chosen[i][number] for i, number in some]
            if not any(literal is True for literal in literals):
                self.model.add_bool_or([literal for literal in literals if literal is not False])
        for cap in project.limits:
            self.model.add(self.start[cap.after] <= self.end[cap.before] + cap.most)
        for resource in project.resources:
            intervals = [interval for interval, _ in uses[resource.name]]
            amounts = [amount for _, amount in uses[resource.name]]
            for low, high, amount in resource.taken:
                intervals.append(self.model.new_fixed_size_interval_var(low, high - low, ""))
                amounts.append(amount)
            if sum(amounts) > resource.capacity:
                self.model.add_cumulative(intervals, amounts, resource.capacity)

    def _add(self, activity: Activity, times: Span, ends: Span, uses: dict[str, list[tuple[Any, int]]]) -> None:
        cp, model, horizon = self._cp, self.model, self.project.horizon
        first, last = max(activity.earliest, times[0]), times[1]
        allowed: list[list[Span]] = []
        for mode in activity.modes:
            spans = [
                (max(low, first), min(high, last, ends[1] - mode.duration))
                for low, high in mode.starts or ((0, horizon - mode.duration),)
            ]
            allowed.append([(low, high) for low, high in spans if low <= high])
        open_modes = sum(bool(spans) for spans in allowed)
        every = [[low, high] for spans in allowed for low, high in spans]
        domain = cp.Domain.from_intervals(every) if every else cp.Domain(first, max(first, last))
        start = model.new_int_var_from_domain(domain, activity.name)
        chosen: list[Any] = []
        for number, (mode, spans) in enumerate(zip(activity.modes, allowed, strict=True)):
            picked = model.new_bool_var("") if spans and open_modes > 1 else bool(spans)
            chosen.append(picked)
            if picked is False:
                continue
            if picked is not True:
                self._means[picked.index] = (len(self.start), number)
                inside = cp.Domain.from_intervals([[low, high] for low, high in spans])
                model.add_linear_expression_in_domain(start, inside).only_enforce_if(picked)
            if mode.uses and mode.duration:
                interval = model.new_optional_fixed_size_interval_var(start, mode.duration, picked, "")
                for name, amount in mode.uses:
                    if amount:
                        uses[name].append((interval, amount))
        if not open_modes:
            model.add_bool_or([])
        elif open_modes > 1:
            model.add_exactly_one([picked for picked in chosen if picked is not False])
        end = start + sum(mode.duration * picked for mode, picked in zip(activity.modes, chosen, strict=True))
        if len(activity.modes) != 1 or activity.earliest_end:
            model.add(end >= max(ends[0], activity.earliest_end))
            model.add(end <= ends[1])
        self.start.append(start)
        self.end.append(end)
        self.chosen.append(chosen)

    def _holds(self, literals: Sequence[Any], plan: Sequence[Placed]) -> bool:
        """Say whether a plan takes one of these choices."""
        for literal in literals:
            if isinstance(literal, bool):
                if literal:
                    return True
            else:
                i, number = self._means[literal.index]
                if plan[i].mode == number:
                    return True
        return False

    def flag(self, literals: Sequence[Any]) -> Any:
        """Return a 0/1 variable that is 1 whenever one of the literals holds."""
        flag = self.model.new_bool_var("")
        for literal in literals:
            if literal is True:
                self.model.add(flag == 1)
            elif literal is not False:
                self.model.add_implication(literal, flag)
        self._extra.append((flag, lambda plan: int(self._holds(literals, plan))))
        return flag

    def none_of(self, literals: Sequence[Any]) -> Any:
        """Return a 0/1 variable that is 1 whenever none of the literals holds."""
        flag = self.model.new_bool_var("")
        self._extra.append((flag, lambda plan: int(not self._holds(literals, plan))))
        if not any(literal is True for literal in literals):
            self.model.add_bool_or([*(literal for literal in literals if literal is not False), flag])
        return flag

    def distance(self, i: int, start: int) -> Any:
        """Return a variable no smaller than how far activity ``i`` starts from ``start``."""
        away = self.model.new_int_var(0, self.project.horizon, "")
        self.model.add(away >= self.start[i] - start)
        self.model.add(away >= start - self.start[i])
        self._extra.append((away, lambda plan: abs(plan[i].start - start)))
        return away

    def outside(self, i: int, spans: Sequence[Span]) -> Any:
        """Return a 0/1 variable that is 1 whenever activity ``i`` starts outside these spans."""
        flag = self.model.new_bool_var("")
        inside = self._cp.Domain.from_intervals([list(span) for span in spans])
        self.model.add_linear_expression_in_domain(self.start[i], inside).only_enforce_if(~flag)
        self._extra.append((flag, lambda plan: int(not any(low <= plan[i].start <= high for low, high in spans))))
        return flag

    def most(self, sums: Sequence[Sequence[tuple[int, Any]]], highest: int) -> Any:
        """Return a variable no smaller than any of these sums of (amount, literal)."""
        peak = self.model.new_int_var(0, highest, "")
        for one in sums:
            self.model.add(peak >= sum(amount * literal for amount, literal in one))
        self._extra.append(
            (peak, lambda plan: max(sum(amount for amount, x in one if self._holds([x], plan)) for one in sums))
        )
        return peak

    def minimise(
        self,
        objective: Any,
        limit: float,
        hint: Sequence[Placed] = (),
        *,
        many_terms: bool = False,
        least: float | None = None,
    ) -> Stage:
        """Minimise ``objective`` within ``limit`` deterministic work units and hold later stages to what it reached.

        ``many_terms`` suits objectives that add up many choices. ``least`` is a value the objective cannot go below,
        given where the hint is a plan that keeps all rules. Then only ``FIRST_SHARE`` of the limit is spent at first,
        and the rest only where that closed ``WORTH_MORE`` of the gap between the hint and ``least``; and the hint is
        the answer where nothing else is found. Returns proven, feasible, infeasible, or unknown when the limit came
        first.
        """
        if least is None:
            return self._minimise(objective, limit, hint, many_terms)
        stage = self._minimise(objective, FIRST_SHARE * limit, hint, many_terms)
        at_first = self._hinted
        if stage.status == "unknown":
            self.model.add(objective <= round(at_first))
            return Stage("feasible", at_first, min(at_first, least), stage.work, list(hint))
        bound = max(stage.bound, least)
        closed = at_first - least - (stage.value - bound)
        if stage.status == "feasible" and closed >= WORTH_MORE * (at_first - least):
            second = self._minimise(objective, (1 - FIRST_SHARE) * limit, stage.plan, many_terms)
            work = stage.work + second.work
            stage = replace(second if second.plan else stage, work=work)
            bound = max(bound, second.bound) if second.plan else bound
        bound = min(stage.value, bound)
        return replace(stage, status="proven" if bound == stage.value else stage.status, bound=bound)

    def _minimise(self, objective: Any, limit: float, hint: Sequence[Placed], many_terms: bool) -> Stage:
        cp, model = self._cp, self.model
        model.clear_hints()
        for i, placed in enumerate(hint):
            model.add_hint(self.start[i], placed.start)
            for number, picked in enumerate(self.chosen[i]):
                if not isinstance(picked, bool):
                    model.add_hint(picked, number == placed.mode)
        for variable, value_in in self._extra if hint else ():
            model.add_hint(variable, value_in(hint))
        model.minimize(objective)
        aim, hinted = model.proto.objective, model.proto.solution_hint
        values = dict(zip(hinted.vars, hinted.values, strict=True))
        # A variable not hinted stands in no plan either, so it is counted as zero.
        self._hinted = float(aim.offset + sum(c * values.get(v, 0) for v, c in zip(aim.vars, aim.coeffs, strict=True)))
        solver = cp.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = SEED
        solver.parameters.max_deterministic_time = limit
        # Trying out single values before the search ate most of the limit and found nothing here.
        solver.parameters.cp_model_probing_level = 0
        solver.parameters.optimize_with_core = many_terms
        # What is in the way of one date is found by propagation; a linear relaxation of the plan only costs time.
        if len(aim.vars) == 1 and aim.vars[0] in {start.index for start in self.start}:
            solver.parameters.linearization_level = 0
            solver.parameters.use_strong_propagation_in_disjunctive = True
        status = solver.solve(model)
        work = float(solver.response_proto.deterministic_time)
        if status == cp.INFEASIBLE:
            return Stage("infeasible", 0.0, 0.0, work)
        if status not in (cp.OPTIMAL, cp.FEASIBLE):
            return Stage("unknown", 0.0, 0.0, work)
        plan = [
            Placed(
                int(solver.value(start)),
                next(n for n, picked in enumerate(chosen) if picked is not False and solver.boolean_value(picked)),
            )
            for start, chosen in zip(self.start, self.chosen, strict=True)
        ]
        value, bound = float(solver.objective_value), float(solver.best_objective_bound)
        model.add(objective <= round(value))
        return Stage("proven" if status == cp.OPTIMAL else "feasible", value, min(bound, value), work, plan)
