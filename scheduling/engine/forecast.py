"""When the school will really open: the plan played through many times with effort, deliveries and turn-out drawn.

Every run follows the plan: tasks keep their order, their crews and their build days. What is late runs on into the
next shift, the core team's next evenings where that team is large and skilled enough, or the next build day; the team
is then taken to be free, which is a little early. Nobody's build-day task starts before the day its helpers were
invited for, while core team, trades and waits go on as soon as they can. People who pass from one task to the next
make the next one wait (a resource flow over the plan: C. Artigues, P. Michelon and S. Reusser, European Journal of
Operational Research 149 (2003) 249–267, from memory). So a longer task, a later delivery or fewer helpers can never
bring an opening forward.

Who comes: before anybody has signed up, every place of a build day is taken for filled, less the share that stays
away. Once the sign-up book is in use, everybody in it comes or stays away by themselves with the share drawn for that
day, helpers known by name as surely as they say, and of the places still free so many count as fill up: all of them
``FILLING`` days before the day and earlier, none on the day itself, evenly between. Common practice, no published
source. Of skills that not everybody has, those who come bring what they said of themselves; among the others the
expected share has a skill, a part of a person being there as often as that part says. A task without anybody for one
of its skills waits for the next build day like one with too few hands.

Effort, lead times, waits and the share that stays away have triangular distributions between their three points (D.
Johnson, The Statistician 46 (1997) 387–398, on the triangular in place of the beta distribution; from memory), drawn
by inverting the distribution. Each task, delivery and build day has a stream of random numbers of its own, so an edit
changes nothing it does not touch.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from math import ceil
from typing import TYPE_CHECKING, Any, Literal, NamedTuple
from zlib import crc32

from msgspec.structs import replace

from buildout.units.dates import day_text
from buildout.units.value import Reason, Severity, Status, snap
from estimating.engine.types import Arrivals
from scheduling.engine import calendars
from scheduling.engine.activities import (
    CORE,
    ORDERING,
    GoodsRule,
    further_days,
    goods_rules,
    lag_minutes,
    needs_tool,
    no_appointment,
)
from scheduling.engine.calendars import SLOT
from scheduling.engine.deliveries import Delivery, read_arrivals
from scheduling.engine.schedule import _peak
from scheduling.engine.skills import able
from scheduling.engine.tasks import OPENING, ring_reason
from scheduling.engine.template import find_loop, ring_text
from scheduling.engine.types import (
    BuildDay,
    Crew,
    Dates,
    Driver,
    Forecast,
    Lag,
    PlannedTask,
    Schedule,
    SignedUp,
    Skill,
    Task,
    TaskEdits,
    TaskNet,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Runs = NDArray[np.float64]

RUNS = 10_000
SEED = 20
WEEKS_AHEAD = 60
"""Further build days assumed, a week apart, after the last one given; work past them counts as unplaced."""
MOST_DRIVERS = 8
SEVERAL = {"delivery": "deliveries", "skill": "skills of those who come", "turn-out": "the days' turn-out"}
FILLING = 28
"""Days before a build day within which its free places fill up."""
SMALLEST_SHARE = 0.01
OFFICIAL = frozenset({"A02", "A03", "A04", "A05", "A06", "E07", "L06", "L07"})
"""Waits for somebody's consent, report or inspection."""
HOURS = SLOT / 60
HALF_DAY = 0.5
"""Working days; a firm that comes for longer begins in the morning, as in the plan."""
SURE = 1.959964
"""Standard deviations of a normal distribution that hold 95 % of it."""
MOST_CELLS = 100_000


def forecast(
    net: TaskNet,
    schedule: Schedule,
    crew: Crew,
    dates: Dates,
    arrivals: Arrivals,
    edits: TaskEdits,
    as_of: date,
    *,
    signed_up: Sequence[SignedUp] = (),
    time_zone: str = "UTC",
    runs: int = RUNS,
    drivers: bool = True,
) -> Forecast:
    """Play the plan through ``runs`` times and report when it opens, and what decides it (``drivers``).

    Percentiles are nearest rank: P80 is the first day by which at least 80 % of the runs have opened. Runs in which
    some task finds no room within the horizon count as not opened, in percentiles and chances too. Without a plan
    there is no forecast: status infeasible (or empty) with the reason. Never raises for bad numbers.
    """
    return played(
        net, schedule, crew, dates, arrivals, edits, as_of,
        signed_up=signed_up, time_zone=time_zone, runs=runs, drivers=drivers,
    )[0]  # fmt: skip


def played(
    net: TaskNet,
    schedule: Schedule,
    crew: Crew,
    dates: Dates,
    arrivals: Arrivals,
    edits: TaskEdits,
    as_of: date,
    *,
    signed_up: Sequence[SignedUp] = (),
    time_zone: str = "UTC",
    runs: int = RUNS,
    drivers: bool = True,
) -> tuple[Forecast, Runs]:
    """Return the forecast with the opening of every run, in hours from midnight of ``as_of``; none without a plan.

    Run for run two plans of one build have the same random numbers, so their openings may be compared in pairs.
    """
    import numpy as np

    if schedule.opening is None:
        status: Status = "empty" if schedule.status == "empty" else "infeasible"
        todo = "Solve what stops the schedule first." if status == "infeasible" else ""
        severity: Severity = "warning" if status == "infeasible" else "note"
        why = Reason(code="no-plan", text="There is no forecast without a plan", severity=severity, todo=todo)
        return _result(status, 0, [], 0, dates, [], [why]), np.empty(0)
    if OPENING in edits.done:
        return _result("proven", 1, [(edits.done[OPENING], 1)], 0, dates, [], []), np.empty(0)
    ring = ring_reason(net.tasks)
    if ring:
        return _result("infeasible", 0, [], 0, dates, [], [replace(ring, severity="warning")]), np.empty(0)
    play = _Play(net, schedule, crew, dates, arrivals, edits, as_of, runs, signed_up, time_zone)
    passed = play.ring()
    if passed:
        # The net has none; this one closes through people who are handed on from task to task.
        said = ring_text(passed, {task.code: task.name for task in net.tasks})
        why = Reason(
            code="loop",
            text=f"There is no forecast. {said}",
            where=passed[0],
            severity="warning",
            todo="Plan anew, or take one of these people off one of these tasks.",
        )
        return _result("infeasible", 0, [], 0, dates, [], [why]), np.empty(0)
    opening, late_runs = play.run()
    placed = np.isfinite(opening)
    shown = play.local.counted(opening[placed])
    days, counts = np.unique(np.ceil(shown / 24 - 1e-9).astype(int), return_counts=True)
    openings = [(as_of + timedelta(days=int(day)), int(count)) for day, count in zip(days, counts, strict=True)]
    reasons = [
        Reason(
            code="how-to-read",
            text=f"{runs} runs of the plan, effort, waits, lead times and turn-out drawn from triangular distributions "
            "between low, likely and high; P80 is the first day by which at least 80 % of them have opened "
            "(nearest rank). Rates are planning values, so this is a planning figure, not a promise",
        )
    ]
    if late_runs:
        reasons.append(
            Reason(
                code="further-days",
                text=f"In {late_runs / runs:.0%} of the runs work for helpers goes on past the last build day given; "
                "further build days a week apart are assumed for it",
                severity="warning" if late_runs * 5 >= runs else "note",
                todo="Keep a build day in reserve after the last one.",
            )
        )
    promised = dates.announced or dates.opening_wish
    if openings and openings[0][0] > promised:
        reasons.append(
            Reason(
                code="never-by",
                text=f"Not one of {runs} runs opens by the {'announced' if dates.announced else 'wished'} "
                f"{day_text(promised)}; the earliest opens on {day_text(openings[0][0])}",
                severity="warning",
                todo="Announce a later day, or see what would help.",
            )
        )
    unplaced = int(runs - placed.sum())
    if unplaced:
        reasons.append(
            Reason(
                code="unplaced",
                text=f"In {unplaced} of {runs} runs some task found no room within {WEEKS_AHEAD} weeks after the last "
                "build day; these runs count as not opened",
                severity="warning",
                todo="Look at the tasks with the widest estimates, or add build days.",
            )
        )
    found = play.drivers(opening) if drivers else []
    slight = [words for kind, words in SEVERAL.items() if all(one.kind != kind for one in found)]
    if found and slight:
        named = ", ".join(slight[:-1]) + " and " * (len(slight) > 1) + slight[-1]
        text = f"Of {named} none decides as much as {100 * SMALLEST_SHARE:.0f} % of what is uncertain about the opening"
        reasons.append(Reason(code="hardly-counts", text=text))
    return _result("feasible", runs, openings, unplaced, dates, found, reasons), opening


def nearest_rank(counted: Sequence[tuple[date, int]], share: float, runs: int) -> date | None:
    """Return the first day by which at least ``share`` of ``runs`` have opened; None when they never do.

    ``counted`` are days with how many runs open on them, ascending.

    >>> nearest_rank([(date(2027, 1, day), 1) for day in range(1, 11)], 0.8, 10)
    datetime.date(2027, 1, 8)
    """
    rank = max(1, ceil(share * runs - 1e-9))
    so_far = 0
    for day, count in counted:
        so_far += count
        if so_far >= rank:
            return day
    return None


def between(counted: Sequence[tuple[date, int]], share: float, runs: int) -> tuple[date | None, date | None]:
    """Return the days between which the true percentile lies in 19 of 20 such forecasts, from the runs' own order.

    How many of ``runs`` open before the true percentile is binomial, so its rank is within 1.96 · √(n p (1 − p)) of
    n p (distribution-free interval of a quantile: H. David and H. Nagaraja, Order Statistics, chapter 7, from memory).

    Of 10,000 runs 8,000 ± 78 ranks:

    >>> between([(date(2027, 1, 1), 7950), (date(2027, 1, 2), 2050)], 0.8, 10_000)
    (datetime.date(2027, 1, 1), datetime.date(2027, 1, 2))
    """
    if runs <= 0:
        return None, None
    half = SURE * (share * (1 - share) / runs) ** 0.5
    return nearest_rank(counted, max(0.0, share - half), runs), nearest_rank(counted, min(1.0, share + half), runs)


def chance_error(chance: float, runs: int) -> float:
    """Return how far a share of so many runs may be from the true chance in 19 of 20 forecasts: 1.96 · √(p(1 − p)/n).

    >>> round(chance_error(0.8, 10_000), 4)
    0.0078
    """
    return SURE * (chance * (1 - chance) / runs) ** 0.5 if runs > 0 else 0.0


def _result(
    status: Status,
    runs: int,
    openings: list[tuple[date, int]],
    unplaced: int,
    dates: Dates,
    drivers: list[Driver],
    reasons: list[Reason],
) -> Forecast:
    def chance(by: date) -> float:
        return snap(sum(count for day, count in openings if day <= by) / runs, 0.0001) if runs else 0.0

    return Forecast(
        status=status,
        runs=runs,
        seed=SEED,
        p10=nearest_rank(openings, 0.1, runs),
        p50=nearest_rank(openings, 0.5, runs),
        p80=nearest_rank(openings, 0.8, runs),
        chance_by_wish=chance(dates.opening_wish),
        chance_by_announced=chance(dates.announced) if dates.announced else None,
        unplaced=unplaced,
        histogram=openings,
        drivers=drivers,
        reasons=reasons,
    )


# ---------------------------------------------------------------- draws


def draws(name: str, runs: int) -> Runs:
    """Return this name's own random numbers, uniform on 0–1."""
    import numpy as np

    return np.random.default_rng([SEED, crc32(name.encode())]).random(runs)


def triangular(uniform: Runs, low: float, likely: float, high: float) -> Runs:
    """Return triangular values for uniform numbers, by inverting the distribution.

    Mean (a + m + b)/3, variance (a² + m² + b² − am − ab − mb)/18. Project handbooks often take a beta distribution
    with mean (a + 4m + b)/6 and variance ((b − a)/6)² instead, which is narrower.

    Quantiles of (2, 3, 7) at 0.2 and 0.8 are 3 and 5.

    >>> import numpy as np
    >>> triangular(np.array([0.2, 0.8]), 2, 3, 7).round(6).tolist()
    [3.0, 5.0]
    """
    import numpy as np

    if high <= low:
        return np.full_like(uniform, likely)
    turn = (likely - low) / (high - low)
    rising = low + np.sqrt(uniform * (high - low) * (likely - low))
    falling = high - np.sqrt((1 - uniform) * (high - low) * (high - likely))
    return np.where(uniform < turn, rising, falling)


def _whole(number: Runs, uniform: Runs) -> Runs:
    """Return whole people: a part of one is there as often as that part says. More never gives fewer.

    >>> import numpy as np
    >>> _whole(np.array([2.25, 2.25, 2.25, 2.0]), np.array([0.1, 0.2, 0.3, 0.9])).tolist()
    [3.0, 3.0, 2.0, 2.0]
    """
    import numpy as np

    least = np.floor(number + 1e-9)
    whole: Runs = least + (uniform < number - least - 1e-9)
    return whole


def ranks(sample: Runs) -> Runs:
    """Return ranks about their mean; ties share their mean rank."""
    import numpy as np

    _, place, counts = np.unique(sample, return_inverse=True, return_counts=True)
    return (np.cumsum(counts) - (counts - 1) / 2)[place] - (len(sample) + 1) / 2


def rank_share(first: Runs, second: Runs) -> float:
    """Return the squared rank correlation (Spearman) of two samples, 0–1.

    Each is given as ``ranks`` or, where it was drawn by inverting a distribution, as its uniform numbers about their
    mean, which stand for ranks without sorting.
    """
    spread = float((first**2).sum() * (second**2).sum())
    return float((first * second).sum()) ** 2 / spread if spread else 0.0


# ---------------------------------------------------------------- clocks


class Steps:
    """Where values lie among ascending steps, for many values at once: a table by cells, then one look beside it.

    Gives what ``np.searchsorted`` gives, several times as fast where the steps are about evenly spread.
    """

    def __init__(self, steps: Runs, side: Literal["left", "right"]) -> None:
        import numpy as np

        self.steps, self.side = steps, side
        self.table: NDArray[np.intp] | None = None
        if not len(steps):
            return
        apart = np.diff(steps)
        self.low, high = float(steps[0]), float(steps[-1])
        # Cells a little narrower than steps are apart hold at most one, also where rounding takes the cell beside.
        self.width = float(apart.min()) * 0.999 if len(apart) else 1.0
        self.cells = int((high - self.low) / self.width) + 2 if self.width > 0 else MOST_CELLS + 1
        if self.cells <= MOST_CELLS:
            edges = self.low + self.width * (np.arange(self.cells) - 1e-6)
            edges[0] = -np.inf
            self.table = np.searchsorted(steps, edges, side=side)
            self.padded = np.append(steps, np.nan)  # compares as not reached

    def place(self, values: Runs) -> NDArray[np.intp]:
        import numpy as np

        if self.table is None:
            return np.searchsorted(self.steps, values, side=self.side)
        cell = (values - self.low) * (1 / self.width)
        np.clip(cell, 0, self.cells - 1, out=cell)
        place = self.table[cell.astype(np.intp)]
        ahead = self.padded[place]
        place += ahead <= values if self.side == "right" else ahead < values
        return place


class Clock:
    """Working time as ascending (from, to, speed) windows in hours; maps a start and an amount of work to an end."""

    def __init__(self, windows: Sequence[tuple[float, float, float]]) -> None:
        import numpy as np

        self.start = np.array([low for low, _, _ in windows], dtype=float)
        stop = np.array([high for _, high, _ in windows], dtype=float)
        speed = np.array([speed for _, _, speed in windows], dtype=float)
        done = np.concatenate([[0.0], np.cumsum((stop - self.start) * speed)])
        self.most = float(done[-1])
        self.by_stop = Steps(stop, "right")
        self.by_done = Steps(done[1:], "left")
        # Within a window: done = moment · speed + ``before``, moment = done · ``pace`` + ``since``.
        self.before = done[:-1] - self.start * speed
        self.since = self.start - done[:-1] / speed
        even = bool((speed == 1).all())
        self.speed: Runs | None = None if even else speed
        self.pace: Runs | None = None if even else 1 / speed

    def opens(self, ready: Runs) -> Runs:
        """Return when the first window not begun before ``ready`` opens; infinite past the last.

        >>> import numpy as np
        >>> Clock([(8, 12, 1.0), (32, 36, 1.0)]).opens(np.array([0.0, 8, 9, 33])).tolist()
        [8.0, 8.0, 32.0, inf]
        """
        import numpy as np

        first: Runs = np.append(self.start, np.inf)[np.searchsorted(self.start, ready - 1e-9, side="left")]
        return first

    def do(self, ready: Runs, work: Runs) -> tuple[Runs, Runs]:
        """Return the first working moment not before ``ready`` and when ``work`` hours begun then are done.

        Both are infinite where the windows do not hold them.
        """
        import numpy as np

        count = len(self.start)
        if not count:
            never = np.full_like(ready, np.inf)
            return never, never
        place = self.by_stop.place(ready)
        over = place >= count
        late = int(place.max()) >= count
        if late:
            place = np.where(over, count - 1, place)
        begin = np.maximum(ready, self.start[place])
        total = begin + self.before[place] if self.speed is None else begin * self.speed[place] + self.before[place]
        total += work
        where = self.by_done.place(total - 1e-9)
        fits = None
        if late or int(where.max()) >= count:
            fits = ~over & (total <= self.most + 1e-9)
            where = np.minimum(where, count - 1)
            begin = np.where(over, np.inf, begin)
        if self.pace is not None:
            total *= self.pace[where]
        end = total
        end += self.since[where]
        if float(work.min()) <= 0:
            end = np.where(work > 0, end, begin)
        return begin, end if fits is None else np.where(fits, end, np.inf)


class LocalHours:
    """``calendars.LocalTime`` for whole arrays of hours, of real time or as the local clock counts them."""

    def __init__(self, local: calendars.LocalTime) -> None:
        import numpy as np

        changes = [change for change in local.changes if change.at > 0]
        self.at = np.array([change.at for change in changes]) * HOURS
        self.ahead = np.concatenate([[0.0], np.cumsum([change.by for change in changes])]) * HOURS
        self.shown = self.at + self.ahead[:-1]
        """What the clock shows at each change, before it."""

    def counted(self, real: Runs) -> Runs:
        """Return what the clock shows, counted at 24 hours a day from the first midnight."""
        import numpy as np

        if not len(self.at):
            return real
        ahead: Runs = self.ahead[np.searchsorted(self.at, real, side="right")]
        return real + ahead

    def real(self, counted: Runs) -> Runs:
        """Return when the clock first shows ``counted`` or has passed it."""
        import numpy as np

        if not len(self.at):
            return counted
        place = np.searchsorted(self.shown, counted, side="right")
        first: Runs = np.concatenate([[-np.inf], self.at])[place]
        ahead: Runs = self.ahead[place]
        return np.maximum(first, counted - ahead)

    def after_days(self, real: Runs, days: Runs) -> Runs:
        """Return the same time of day so many days later; the clock's days, not 24 hours of real time each."""
        return self.real(self.counted(real) + 24 * days)

    def midnight(self, real: Runs) -> Runs:
        """Return the first midnight not before ``real``."""
        import numpy as np

        return self.real(np.ceil(self.counted(real) / 24 - 1e-9) * 24)


# ---------------------------------------------------------------- the play


@dataclass
class Node:
    """A planned piece of work: a whole task, or one of its parts."""

    planned: PlannedTask
    task: Task
    share: float
    first: bool
    last: bool


class Drawn(NamedTuple):
    what: str
    kind: str
    text: str
    order: Any
    """What was drawn, or the random numbers it was drawn with, about their mean: they rank as it does."""
    bad: int = 1
    """1 where much of it is bad news, -1 where little is."""


class _Play:
    def __init__(
        self,
        net: TaskNet,
        schedule: Schedule,
        crew: Crew,
        dates: Dates,
        arrivals: Arrivals,
        edits: TaskEdits,
        as_of: date,
        runs: int,
        signed_up: Sequence[SignedUp] = (),
        time_zone: str = "UTC",
    ) -> None:
        self.signed_up = signed_up
        self.clock_time = calendars.LocalTime(as_of, time_zone)
        self.local = LocalHours(self.clock_time)
        self.net, self.schedule, self.crew, self.dates, self.as_of, self.runs = net, schedule, crew, dates, as_of, runs
        self.edits = edits
        self.held = {hold.task: self._hour(hold.date) for hold in edits.not_before}
        closed = [holiday.date for holiday in dates.holidays]
        tasks = {task.code: task for task in net.tasks}
        self.booked = {
            one.task: one.date
            for one in edits.appointments
            if one.firm and one.task in tasks and not no_appointment(one, tasks[one.task], closed, as_of)
        }
        self.done = {code: day for code, day in edits.done.items() if any(task.code == code for task in net.tasks)}
        self.deliveries = read_arrivals(arrivals, as_of)
        self.rules: dict[str, list[GoodsRule]] = {}
        for rule in goods_rules(net, self.deliveries, self.done):
            self.rules.setdefault(rule.task, []).append(rule)
        self.nodes = self._nodes()
        self.core_skills = calendars.core_skills(crew)
        self.drawn: list[Drawn] = []
        self.days = {day.id: day for day in crew.days}
        self.last_day = max((day.date for day in crew.days if day.date >= as_of), default=None)
        self.present: dict[str, Runs] = {}
        """People on site on each build day: helpers who come, and the core team."""
        self.skilled: dict[tuple[str, str], Runs] = {}
        """(day, skill not everybody has) → how many of them have it."""
        self._turn_out()
        self.fewest = {day: float(present.min()) for day, present in self.present.items()}
        self.effort = self._efforts()
        self.waits = self._waits()
        self._read_calendar()
        self.flow = self._flow()

    def _hour(self, day: date, minutes: int = 0) -> float:
        """Hours of real time to a time of day."""
        return self.clock_time.slot(day, minutes) * HOURS

    def _nodes(self) -> dict[str, Node]:
        tasks = {task.code: task for task in self.net.tasks}
        planned = [one for one in self.schedule.tasks if one.code.split("/")[0] not in self.done]
        parts: dict[str, list[str]] = {}
        for one in planned:
            parts.setdefault(one.code.split("/")[0], []).append(one.code)
        for codes in parts.values():
            codes.sort(key=lambda code: int(code.split("/")[1]) if "/" in code else 0)
        return {
            one.code: Node(
                planned=one,
                task=tasks[base],
                share=1 / len(parts[base]),
                first=parts[base][0] == one.code,
                last=parts[base][-1] == one.code,
            )
            for one in planned
            if (base := one.code.split("/")[0]) in tasks
        }

    # ------------------------------------------------------------ what is drawn

    def _turn_out(self) -> None:
        rates = [float(rate) for rate in (self.crew.no_show_low, self.crew.no_show_likely, self.crew.no_show_high)]
        extra = calendars.core_on_site(self.crew) - sum(job.crew for job in self.net.day_jobs)
        used = {node.planned.build_day for node in self.nodes.values()}
        asked = {(node.planned.build_day, skill) for node in self.nodes.values() for skill in node.planned.skills}
        for day in self.crew.days:
            if day.date < self.as_of or day.id not in used:  # who comes to an empty day decides nothing
                continue
            missing = triangular(draws(f"turn-out {day.id}", self.runs), *rates)
            self.present[day.id] = self._helpers(day, missing, {skill for one, skill in asked if one == day.id}) + extra
            when = day_text(day.date, year=False)
            text = f"Turn-out on {day.name}, {when}: {rates[0]:.0%} to {rates[2]:.0%} of helpers stay away"
            here = sum(one.day == day.id for one in self.signed_up)
            text += f"; {here} of {day.places} places are taken" * bool(self.signed_up)
            if float(self.present[day.id].max()) > float(self.present[day.id].min()):
                self.drawn.append(
                    Drawn(day.name or day.id, "turn-out", text, ranks(self.present[day.id]), bad=-1)
                )  # fmt: skip
        self._name_skills()

    def _helpers(self, day: BuildDay, missing: Runs, skills: Set[str]) -> Runs:
        """Helpers who come on a day, by the rule this module begins with; those with ``skills`` are noted beside."""
        special = calendars.special_skills(self.crew) & skills
        shares = {skill: float(self.crew.skill_shares.get(skill, 0)) for skill in special}
        here = [one for one in self.signed_up if one.day == day.id]
        ids = {one.id for one in here}
        named = [one for one in self.crew.helpers if day.id in one.days and one.id not in ids]
        nobody = 0.0 * missing
        came, able_ones = nobody.copy(), {skill: nobody.copy() for skill in special}
        for number, one in enumerate(one for one in here if one.age != "under 14"):
            comes = draws(f"comes {day.id} {number}", self.runs) >= missing
            came += comes
            for skill in special.intersection(one.skills):
                able_ones[skill] += comes
        by_name = nobody.copy()
        for helper in (one for one in named if one.age != "under 14"):
            comes = draws(f"comes {day.id} {helper.id}", self.runs) < float(helper.sure)
            by_name += comes
            for skill in special.intersection(helper.skills):
                able_ones[skill] += comes
        if self.signed_up:
            free = max(0, day.places - len(here) - len(named))
            others = free * min(1.0, (day.date - self.as_of).days / FILLING) * (1 - missing)
            came += by_name + others
        else:
            came = others = day.places * (1 - missing)
        holders = calendars.core_skills(self.crew)
        for skill in sorted(special):
            among = _whole(others * shares[skill], draws(f"skill {day.id} {skill}", self.runs))
            found = able_ones[skill] + among if self.signed_up else self._most(able_ones[skill], among)
            self.skilled[day.id, skill] = found + holders.get(skill, 0)
        return came

    @staticmethod
    def _most(one: Runs, other: Runs) -> Runs:
        """Before anybody has signed up those known by name are among the share expected, as in the plan."""
        import numpy as np

        return np.maximum(one, other)

    def _name_skills(self) -> None:
        """Skills some work of a build day asks for, by how many come who have them."""
        asked: dict[Skill, dict[str, int]] = {}
        for node in self.nodes.values():
            for skill, need in self._skill_needs(node).items():
                on_day = asked.setdefault(skill, {})
                day = node.planned.build_day
                on_day[day] = max(on_day.get(day, 0), need)
        for skill, needs in sorted(asked.items()):
            come = [self.skilled[day, skill] for day in sorted(needs)]
            fewest, most = min(float(one.min()) for one in come), max(float(one.max()) for one in come)
            if most > fewest:
                total = come[0] if len(come) == 1 else sum(come[1:], start=come[0])
                text = (
                    f"Who can {able(skill)}: {fewest:g} to {most:g} come on the {len(come)} build "
                    f"day{'s' * (len(come) != 1)} with such work, where {max(needs.values())} at a time "
                    f"{'is' if max(needs.values()) == 1 else 'are'} needed"
                )
                self.drawn.append(Drawn(able(skill), "skill", text, ranks(total), bad=-1))

    def _skill_needs(self, node: Node, crew: int = 0) -> dict[Skill, int]:
        """How many with each skill that not everybody has a crew needs on a build day; those put on it by name lead."""
        planned, task = node.planned, node.task
        if planned.build_day not in self.present or not planned.crew:
            return {}
        put = any(pin.task == task.code and pin.lead for pin in self.edits.people)
        need = ceil((crew or planned.crew) / calendars.PEOPLE_PER_LEAD)
        return {
            skill: need
            for skill in planned.skills
            if (planned.build_day, skill) in self.skilled and not (skill == calendars.LEAD and put)
        }

    def _efforts(self) -> dict[str, Runs]:
        found: dict[str, Runs] = {}
        units = {"work": "person-hours", "fixed": "hours", "trade": "working days", "wait": "days"}
        for task in self.net.tasks:
            if task.code in self.done:
                continue
            uniform = draws(f"task {task.code}", self.runs)
            found[task.code] = triangular(uniform, task.low, task.likely, task.high)
            if task.high > task.low and not (task.arrival_of and self._group(task.arrival_of)):
                kind = "inspection" if task.code in OFFICIAL else "task"
                text = f"{task.name}: {task.low:.3g} to {task.high:.3g} {units[task.kind]}"
                self.drawn.append(Drawn(f"{task.code} {task.name}", kind, text, uniform - uniform.mean()))
        return found

    def _group(self, group: str) -> list[Delivery]:
        return [delivery for _, delivery in sorted(self.deliveries.items()) if delivery.group == group]

    def _waits(self) -> dict[str, Runs]:
        """Days every item takes, one stream per supplier and lead time, as goods of one order travel together."""
        found: dict[str, Runs] = {}
        for item, delivery in sorted(self.deliveries.items()):
            name = f"delivery {delivery.supplier} {delivery.group}"
            uniform = draws(name, self.runs)
            found[item] = triangular(uniform, delivery.low, delivery.likely, delivery.high)
            if delivery.high > delivery.low and not any(one.what == item for one in self.drawn):
                since = "from today" if delivery.placed else "from the order"
                text = f"Delivery of {delivery.name}: {delivery.low} to {delivery.high} days {since}"
                self.drawn.append(Drawn(item, "delivery", text, uniform - uniform.mean()))
        return found

    # ------------------------------------------------------------ when people work

    def _read_calendar(self) -> None:
        closed = [holiday.date for holiday in self.dates.holidays]
        more = further_days(self.crew, self.as_of, WEEKS_AHEAD)
        length = (more[-1].date - self.as_of).days + 1
        days = replace(self.crew, days=[*(day for day in self.crew.days if day.date >= self.as_of), *more])
        self.shifts, _ = calendars.build_shifts(days, self.net.day_jobs, [], self.clock_time, self.dates.hall_hours)
        self.length, self.closed = length, closed
        self.evenings: dict[tuple[bool, bool], list[calendars.Span]] = {}
        self.clocks: dict[tuple[str, bool, bool, float], Clock] = {}

    def _evenings(self, hall: bool, noisy: bool) -> list[calendars.Span]:
        if (hall, noisy) not in self.evenings:
            hours = self.dates.hall_hours if hall else ()
            self.evenings[hall, noisy] = calendars.evenings(
                self.crew, self.clock_time, self.length, self.closed, hours, noisy=noisy
            )
        return self.evenings[hall, noisy]

    def _clock(self, node: Node) -> Clock:
        hall, noisy = node.task.where == "hall", node.task.noisy
        speed = self._evening_speed(node) if node.planned.place == "build day" else 1.0
        key = (node.planned.place, hall, noisy, speed)
        if key not in self.clocks:
            self.clocks[key] = self._make_clock(*key)
        return self.clocks[key]

    def _make_clock(self, place: str, hall: bool, noisy: bool, speed: float) -> Clock:
        if place == "trade":
            hours = self.dates.hall_hours if hall else ()
            spans = calendars.trade_hours(self.clock_time, self.length, self.closed, hours, noisy=noisy)
            return Clock([(low, high, 1.0) for low, high in spans])
        if place == CORE:
            return Clock([(low * HOURS, high * HOURS, 1.0) for low, high in self._evenings(hall, noisy)])
        return self._day_clock(noisy, hall, speed)

    def _evening_speed(self, node: Node) -> float:
        """How fast the core team goes on with a build day's work, as a share of the crew's speed; 0 when it cannot."""
        task, crew = node.task, max(1, node.planned.crew)
        hands = min(crew, len(self.crew.core))
        skills = self.core_skills
        need = ceil(hands / calendars.PEOPLE_PER_LEAD)
        if hands < task.crew_min or any(skill in skills and skills[skill] < need for skill in task.skills):
            return 0.0
        return 1.0 if task.kind == "fixed" else hands / crew

    def _day_clock(self, noisy: bool, hall: bool, evening_speed: float) -> Clock:
        evenings = self._evenings(hall, noisy) if evening_speed else []
        windows = [(low * HOURS, high * HOURS, evening_speed) for low, high in evenings]
        for one in self.shifts:
            if hall and one.day.place != "hall":
                continue
            for low, high in one.windows:
                first = max(low, one.quiet_until) if noisy else low
                last = min(high, one.quiet_from) if noisy else high
                if last > first:
                    windows.append((first * HOURS, last * HOURS, 1.0))
        apart: list[tuple[float, float, float]] = []
        for window in sorted(windows):
            if not apart or window[0] >= apart[-1][1]:
                apart.append(window)
        return Clock(apart)

    # ------------------------------------------------------------ who passes from task to task

    def _flow(self) -> dict[str, list[str]]:
        """For every piece of work, those whose people it takes over in the plan."""
        special = calendars.special_skills(self.crew)
        holders: dict[str, list[tuple[int, str]]] = {}
        found: dict[str, list[str]] = {}
        ordered = sorted(
            (
                node.planned
                for node in self.nodes.values()
                if (node.planned.crew or node.task.zone) and node.planned.end_day >= self.as_of
            ),
            key=lambda one: (self._slot(one.start_day, one.start), self._slot(one.end_day, one.end), one.code),
        )
        for one in ordered:
            task = self.nodes[one.code].task
            whose: str = CORE if one.place == CORE else "build day"
            start = self._slot(one.start_day, one.start)
            needs: dict[str, int] = {}
            if one.crew:
                needs[whose] = one.crew
                for skill in one.skills:
                    if skill in special:
                        needs[f"{skill} {whose}"] = ceil(one.crew / calendars.PEOPLE_PER_LEAD)
                needs |= {f"tool {word}": 1 for word in self.crew.tools if needs_tool(task.tools, word)}
                needs |= {f"person {pin.person}": 1 for pin in self.edits.people if pin.task == task.code}
            if task.zone:
                needs[f"zone {task.zone}"] = 1
            for name, amount in sorted(needs.items()):
                pool = holders.setdefault(name, self._pool(name, whose))
                pool.sort()
                for place in range(min(amount, len(pool))):
                    end, giver = pool[place]
                    if giver and end <= start:
                        found.setdefault(one.code, []).append(giver)
                    pool[place] = (self._slot(one.end_day, one.end), one.code)
        return {code: sorted(set(givers)) for code, givers in found.items()}

    def _pool(self, name: str, whose: str) -> list[tuple[int, str]]:
        kind, _, which = name.partition(" ")
        if kind in ("zone", "person"):
            count = 1
        elif kind == "tool":
            count = max(1, self.crew.tools.get(which, 1))
        elif whose == CORE:
            count = len(self.crew.core) if name == whose else self.core_skills.get(name.split()[0], 0)
        else:
            given = {day.id for day in self.crew.days}
            shifts = [one for one in self.shifts if one.day.id in given]
            sizes = [one.people if name == whose else one.skills.get(name.split()[0], 0) for one in shifts]
            count = max(sizes, default=0)
        return [(-1, "")] * count

    def _slot(self, day: date, minutes: int) -> int:
        return self.clock_time.slot(day, minutes)

    # ------------------------------------------------------------ one pass for all runs

    def run(self) -> tuple[Runs, int]:
        """Return the opening of every run in hours from midnight of ``as_of``, and how many used further days."""
        import numpy as np

        zero = np.zeros(self.runs)
        starts: dict[str, Runs] = {}
        ends: dict[str, Runs] = {}
        firsts, lasts = self._ends()
        late = np.zeros(self.runs, dtype=bool)
        lease = max(0.0, self._hour(self.dates.lease_start))
        limit = self._hour(self.last_day + timedelta(days=1)) if self.last_day else None

        for code in self._order():
            node = self.nodes[code]
            task, planned = node.task, node.planned
            ready = zero + max(lease if task.where == "hall" else 0.0, self.held.get(task.code, 0.0))

            def wait_for(moment: Runs, lag: float = 0.0, ready: Runs = ready) -> None:
                np.maximum(ready, moment + lag if lag else moment, out=ready)

            group = self._group(task.arrival_of) if task.arrival_of else []
            if not node.first:
                number = int(code.split("/")[1])
                wait_for(ends[f"{task.code}/{number - 1}"])
            else:
                for lag in self._after(node):
                    before = lag_minutes(lag) / 60
                    if lag.task in lasts and lag.from_start:
                        wait_for(starts[firsts[lag.task]], before)
                    elif lag.task in lasts:
                        wait_for(ends[lasts[lag.task]], before)
                    elif lag.task in self.done:
                        over = min(self.as_of, self.done[lag.task] + timedelta(days=1))
                        wait_for(zero, self._hour(over) + before)
            for rule in self.rules.get(task.code, ()) if node.first else ():
                ordered = ends[lasts[ORDERING]] if rule.from_order else zero
                wait_for(self.local.after_days(ordered, np.maximum(0, self.waits[rule.item])))
            for giver in self.flow.get(code, ()):
                wait_for(ends[giver])
            starts[code], ends[code] = self._do(node, ready, group)
            for lag in self._after(node) if node.last else ():
                if lag.from_start and lag.task in lasts:
                    ends[code] = np.maximum(ends[code], ends[lasts[lag.task]])
            if planned.place == "build day" and limit is not None and not self._evening_speed(node):
                late |= ends[code] > limit
        goal = ends[lasts[OPENING]] if OPENING in lasts else np.maximum.reduce([zero, *ends.values()])
        return goal, int(late.sum())

    def _do(self, node: Node, ready: Runs, group: Sequence[Delivery]) -> tuple[Runs, Runs]:
        import numpy as np

        task, planned = node.task, node.planned
        effort = self.effort[task.code] if node.share == 1 else self.effort[task.code] * node.share
        if group:
            zero = np.zeros(self.runs)
            travel = [self.waits[delivery.item] for delivery in group if not delivery.placed]
            here = [self.waits[delivery.item] for delivery in group if delivery.placed]
            end = self.local.after_days(ready, np.maximum.reduce([zero, *travel]))
            return ready, np.maximum(end, self.local.after_days(zero, np.maximum.reduce([zero, *here])))
        if task.code in self.booked and node.first:
            if planned.place == "wait":
                return self._inspected(ready, self.booked[task.code], effort)
            ready = np.maximum(ready, self._hour(self.booked[task.code]))
        if planned.place == "wait":
            return ready, ready + 24 * effort if task.cures else self.local.after_days(ready, effort)
        if planned.crew == 0 and task.likely == 0:
            midnight = self.local.midnight(ready)
            return midnight, midnight
        clock = self._clock(node)
        if planned.place == "trade":
            if node.first and task.likely > HALF_DAY:
                ready = clock.opens(ready)
            return clock.do(ready, effort * ((calendars.TRADE_DAY[1] - calendars.TRADE_DAY[0]) / 60))
        hands: Runs | float = float(max(1, planned.crew))
        if planned.place == "build day":
            ready, hands = self._hands(node, ready, float(hands))
        return clock.do(ready, effort if task.kind == "fixed" else effort / hands)

    def _inspected(self, ready: Runs, day: date, effort: Runs) -> tuple[Runs, Runs]:
        """An inspection takes place on its day; missed, another one takes its usual wait."""
        import numpy as np

        opens, closes = (self._hour(day, minutes) for minutes in calendars.TRADE_DAY)
        kept = ready <= opens
        end = np.where(kept, closes, np.maximum(closes, self.local.after_days(ready, effort)))
        return np.where(kept, opens, ready), end

    def _hands(self, node: Node, ready: Runs, hands: float) -> tuple[Runs, Runs | float]:
        """Fewer helpers work slower; too few for the smallest crew put the work off to the next build day."""
        import numpy as np

        planned, task = node.planned, node.task
        ready = np.maximum(ready, self._slot(planned.start_day, planned.start) * HOURS)
        day = planned.build_day
        if day not in self.present:
            return ready, hands
        beside = [
            other
            for other in self.nodes.values()
            if other.planned.build_day == day
            and other.planned.start < planned.end
            and planned.start < other.planned.end
        ]

        def together(crews: Mapping[str, int]) -> int:
            spans = [
                (
                    max(one.planned.start, planned.start),
                    min(one.planned.end, planned.end),
                    crews[one.planned.code],
                )
                for one in beside
            ]
            return max(1, _peak(spans))

        smallest = float(max(1, min(task.crew_min, planned.crew)))
        come = [(self.present[day], smallest, together({one.planned.code: one.planned.crew for one in beside}))]
        for skill, least in self._skill_needs(node, int(smallest)).items():
            needs = {one.planned.code: self._skill_needs(one).get(skill, 0) for one in beside}
            come.append((self.skilled[day, skill], float(least), together(needs)))
        next_midnight = self._hour(planned.start_day + timedelta(days=1))
        share: Runs | float = 1.0
        for here, fewest_needed, asked in come:
            fewest = float(here.min())
            if fewest < fewest_needed - 1e-9:
                ready = np.where(here < fewest_needed - 1e-9, np.maximum(ready, next_midnight), ready)
            if fewest < asked:
                share = np.minimum(share, here / asked)
        if isinstance(share, float):
            return ready, hands
        return ready, np.clip(hands * share, smallest, hands)

    def _after(self, node: Node) -> Sequence[Lag]:
        """What its task waits for: goods that are ordered or here no longer wait for whoever was to order them."""
        group = self._group(node.task.arrival_of) if node.task.arrival_of else []
        return () if group and all(delivery.placed for delivery in group) else node.task.after

    def ring(self) -> list[str]:
        """Tasks each of which waits for the next one, the first again at the end; empty when all can be ordered."""
        loop = find_loop({code: sorted(others) for code, others in self._before.items()})
        codes = [self.nodes[code].task.code for code in loop]
        return [code for n, code in enumerate(codes) if n in (0, len(codes) - 1) or code != codes[n - 1]]

    def _ends(self) -> tuple[dict[str, str], dict[str, str]]:
        """The first and the last part of every task."""
        firsts = {node.task.code: node.planned.code for node in self.nodes.values() if node.first}
        lasts = {node.task.code: node.planned.code for node in self.nodes.values() if node.last}
        return firsts, lasts

    @cached_property
    def _before(self) -> dict[str, set[str]]:
        """Every node with all it waits for."""
        firsts, lasts = self._ends()
        before: dict[str, set[str]] = {code: set(self.flow.get(code, [])) for code in self.nodes}
        for code, node in self.nodes.items():
            if not node.first:
                before[code].add(f"{node.task.code}/{int(code.split('/')[1]) - 1}")
            for lag in self._after(node):
                if lag.task in lasts:
                    if node.first:
                        before[code].add(firsts[lag.task] if lag.from_start else lasts[lag.task])
                    if node.last and lag.from_start:
                        before[code].add(lasts[lag.task])
        for rule in (rule for some in self.rules.values() for rule in some):
            if rule.from_order:
                before[firsts[rule.task]].add(lasts[ORDERING])
        return before

    def _order(self) -> list[str]:
        """Nodes so that each comes after all it depends on, in the plan's order where free."""
        before = self._before
        key = {
            code: (self._slot(n.planned.start_day, n.planned.start), self._slot(n.planned.end_day, n.planned.end))
            for code, n in self.nodes.items()
        }
        after: dict[str, list[str]] = {code: [] for code in self.nodes}
        for code, others in before.items():
            for other in others:
                after[other].append(code)
        waiting = {code: len(others) for code, others in before.items()}
        heap = [(*key[code], code) for code, count in waiting.items() if count == 0]
        heapq.heapify(heap)
        order = []
        while heap:
            code = heapq.heappop(heap)[-1]
            order.append(code)
            for other in after[code]:
                waiting[other] -= 1
                if waiting[other] == 0:
                    heapq.heappush(heap, (*key[other], other))
        return order

    def drivers(self, opening: Runs) -> list[Driver]:
        """Rank what was drawn by how much of the opening's spread goes with it."""
        import numpy as np

        outcome = np.where(np.isfinite(opening), opening, 1e9)
        if float(outcome.max()) == float(outcome.min()):
            return []
        order = ranks(outcome)
        found = [(rank_share(one.order, order), one) for one in self.drawn]
        best = sorted(
            (pair for pair in found if pair[0] >= SMALLEST_SHARE), key=lambda pair: (-round(pair[0], 6), pair[1].what)
        )
        named = []
        for share, one in best[:MOST_DRIVERS]:
            days = self._fifths(one, opening)
            text = f"{one.text}; about {100 * share:.0f} % of what is uncertain about the opening"
            if days is not None and days >= 1:
                whole = round(days)
                text += f": the worst fifth of it opens {whole} day{'s' * (whole != 1)} later than the best fifth"
            kind: Any = one.kind
            named.append(Driver(what=one.what, kind=kind, share=snap(share, 0.001), text=text, days=days))
        return named

    def _fifths(self, one: Drawn, opening: Runs) -> float | None:
        """Days by which the fifth of the runs with most bad news opens later than that with least; None without runs.

        Ties share their place, so where fewer than a fifth differ both are all that are worst and best.
        """
        import numpy as np

        news = one.order * one.bad
        low, high = np.quantile(news, [0.2, 0.8])
        placed = np.isfinite(opening)
        worst, best = opening[(news >= high) & placed], opening[(news <= low) & placed]
        return snap(float(worst.mean() - best.mean()) / 24, 0.1) if len(worst) and len(best) else None
