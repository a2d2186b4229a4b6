"""The default task template: what a build of this kind consists of, with rates and order.

Every rate, crew size and duration in ``data/task_template.csv`` is a planning value from common
practice, no published source, to be replaced by one's own. Columns:

- ``kind`` work: low/likely/high are units per person-hour (low = slow day); fixed: elapsed hours whatever
  the quantity; trade: working days of a licensed or specialist firm; wait: calendar days with nobody working.
- ``driver`` the quantity that feeds the task, ``1`` = once; a task whose driver is zero drops out.
- ``min``/``max`` useful crew. ``carry`` most units one person carries; says the smallest
  crew instead of ``min``.
- ``after`` predecessors ``A01;B02+4h;C03+7d;SS:D04+1h``: finish to start, a lag in hours of real time, kept to the
  hour (24h too), or in days, met on that day; ``SS:`` counts the lag from the other's start; ``A01+4h<2d`` also sets
  the longest wait.
- ``notes`` n noise, d dust, q obey quiet hours, w open door, o odour, v volunteers may do it, x volunteers keep out,
  1 not to be split over days, c a wait for what cures, dries or settles: 24 hours of real time a day.
- ``zone`` a place in the room the task has for itself while it lasts.
- ``where`` hall; workshop (a garage will do); desk (needs no room).
- ``arrival`` the lead group whose delivery a wait stands for; ``goods`` lead groups a task needs on site.
- ``each_day`` start, end or all day: not one task but something every build day needs.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from importlib.resources import files
from typing import Literal, get_args

from buildout.units.value import Reason, Value
from scheduling.engine.cautions import CAUTIONS
from scheduling.engine.types import Lag, Skill, TaskKind, Where

HOUR = 60
DAY = 24 * HOUR
SKILLS: tuple[str, ...] = get_args(Skill)
_PREDECESSOR = re.compile(
    r"(?P<ss>SS:)?(?P<task>[A-Za-z0-9_.-]+)(?:\+(?P<lag>\d+(?:\.\d+)?)(?P<unit>[hd]))?"
    r"(?:<(?P<most>\d+(?:\.\d+)?)(?P<most_unit>[hd]))?"
)


class TemplateRow(Value, kw_only=True):
    """One row of the template, units as in the module's description."""

    code: str
    name: str
    stage: int
    kind: TaskKind
    unit: str
    driver: str
    low: float
    likely: float
    high: float
    crew_min: int
    crew_max: int
    skills: list[Skill]
    tools: str
    after: list[Lag]
    notes: str
    cautions: list[str]
    where: Where
    carry: float = 0.0
    arrival: str = ""
    goods: list[str] = []
    each_day: Literal["", "start", "all day", "end"] = ""
    zone: str = ""

    @property
    def noisy(self) -> bool:
        return bool({"n", "q"} & set(self.notes.split()))

    @property
    def dusty(self) -> bool:
        return "d" in self.notes.split()

    @property
    def one_day(self) -> bool:
        return "1" in self.notes.split()


def with_notes(notes: str, *, noisy: bool | None, dusty: bool | None, one_day: bool | None) -> str:
    """Return notes that say so; None leaves them as they are.

    >>> with_notes("n d q v", noisy=False, dusty=None, one_day=True)
    'd v 1'
    >>> with_notes("n q", noisy=True, dusty=True, one_day=None)
    'n q d'
    """
    kept = notes.split()
    for marks, said in ((("n", "q"), noisy), (("d",), dusty), (("1",), one_day)):
        there = any(mark in kept for mark in marks)
        if said is False:
            kept = [mark for mark in kept if mark not in marks]
        elif said and not there:
            kept.append(marks[0])
    return " ".join(kept)


def read_after(text: str) -> Lag:
    """Read one predecessor. Raises ``ValueError`` with an example when it is not understood.

    >>> read_after("H08+7d").minutes
    10080
    >>> read_after("SS:W05+1h")
    Lag(task='W05', minutes=60, from_start=True, most=None, in_hours=False, most_in_hours=False)
    >>> read_after("H03<10h").most
    600
    >>> read_after("W09+24h").in_hours, read_after("W09+1d").in_hours
    (True, False)
    """
    match = _PREDECESSOR.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text!r} is not a predecessor: write A01, A01+4h, A01+4h<2d or SS:A01+1h")
    minutes = round(float(match["lag"] or 0) * (HOUR if match["unit"] == "h" else DAY))
    most = round(float(match["most"]) * (HOUR if match["most_unit"] == "h" else DAY)) if match["most"] else None
    if most is not None and most < minutes:
        raise ValueError(f"{text!r} may wait no longer than it must: write A01+4h<2d")
    return Lag(
        task=match["task"],
        minutes=minutes,
        from_start=bool(match["ss"]),
        most=most,
        in_hours=_whole_days_in_hours(minutes, match["unit"]),
        most_in_hours=_whole_days_in_hours(most or 0, match["most_unit"]),
    )


def _whole_days_in_hours(minutes: int, unit: str | None) -> bool:
    return unit == "h" and minutes > 0 and minutes % DAY == 0


def lag_text(lag: Lag) -> str:
    """Write a predecessor the way ``read_after`` reads it.

    >>> [lag_text(read_after(text)) for text in ("A01", "SS:W05+1h", "H08+7d", "H03+4h<2d", "W09+24h<48h")]
    ['A01', 'SS:W05+1h', 'H08+7d', 'H03+4h<2d', 'W09+24h<48h']
    """
    least = f"+{_wait_text(lag.minutes, in_hours=lag.in_hours)}" if lag.minutes else ""
    most = f"<{_wait_text(lag.most, in_hours=lag.most_in_hours)}" if lag.most is not None else ""
    return f"{'SS:' if lag.from_start else ''}{lag.task}{least}{most}"


def _wait_text(minutes: int, *, in_hours: bool) -> str:
    whole = minutes % DAY == 0 and not in_hours
    return f"{minutes // DAY if whole else minutes / HOUR:g}{'d' if whole else 'h'}"


@lru_cache(maxsize=1)
def driver_units() -> dict[str, str]:
    """Return what every quantity of the template is counted in, ``1`` left out.

    >>> driver_units()["room.floor_area"]
    'sqft'
    """
    return {row.driver: row.unit for row in reversed(default_template()) if row.driver != "1"}


@lru_cache(maxsize=1)
def default_template() -> tuple[TemplateRow, ...]:
    """Return the template that ships with the project, in its own order.

    >>> rows = default_template()
    >>> rows[0].code, rows[-1].code, len(rows)
    ('A01', 'L12', 129)
    """
    text = files("scheduling.engine").joinpath("data/task_template.csv").read_text(encoding="utf-8")
    return tuple(_row(fields) for fields in csv.DictReader(text.splitlines()))


def _row(fields: dict[str, str]) -> TemplateRow:
    return TemplateRow(
        code=fields["code"],
        name=fields["task"],
        stage=int(fields["stage"]),
        kind=fields["kind"],  # type: ignore[arg-type]
        unit=fields["unit"],
        driver=fields["driver"],
        low=float(fields["low"]),
        likely=float(fields["likely"]),
        high=float(fields["high"]),
        crew_min=int(fields["min"]),
        crew_max=int(fields["max"]),
        skills=fields["skills"].split(),  # type: ignore[arg-type]
        tools=fields["tools"],
        after=[read_after(part) for part in fields["after"].split(";") if part],
        notes=fields["notes"],
        cautions=fields["cautions"].split(),
        where=fields["where"],  # type: ignore[arg-type]
        carry=float(fields["carry"] or 0),
        arrival=fields["arrival"],
        goods=fields["goods"].split(),
        each_day=fields["each_day"],  # type: ignore[arg-type]
        zone=fields["zone"],
    )


def check_template(rows: Iterable[TemplateRow]) -> list[Reason]:
    """Check a template: estimates and crews in order, predecessors known, no loops, words known.

    >>> check_template(default_template())
    []
    """
    table = list(rows)
    found: list[Reason] = []

    def fault(row: TemplateRow, text: str, todo: str) -> None:
        found.append(
            Reason(code="template", text=f"{row.code} {row.name}: {text}", where=row.code, severity="stop", todo=todo)
        )

    codes = {row.code for row in table}
    seen: set[str] = set()
    for row in table:
        if row.code in seen:
            fault(row, "this code is used twice", "Give every task its own code, e.g. W18.")
        seen.add(row.code)
        if not 0 <= row.low <= row.likely <= row.high:
            fault(
                row,
                f"{row.low:g}, {row.likely:g}, {row.high:g} are not in order",
                "Write low ≤ likely ≤ high, e.g. 2, 4, 7.",
            )
        if row.kind == "work" and row.low <= 0:
            fault(row, "a rate of zero never finishes", "Give units per person-hour above zero, e.g. 0.5.")
        if not 0 <= row.crew_min <= row.crew_max:
            fault(row, f"crew {row.crew_min} to {row.crew_max}", "Write the smaller crew first, e.g. 2 to 6.")
        if row.kind == "work" and row.crew_min < 1:
            fault(row, "work needs somebody", "Give a crew of at least 1.")
        for skill in row.skills:
            if skill not in SKILLS:
                fault(row, f"unknown skill {skill}", f"Use one of {', '.join(SKILLS)}.")
        for caution in row.cautions:
            if caution not in CAUTIONS:
                fault(row, f"unknown caution {caution}", f"Use one of {', '.join(CAUTIONS)}.")
        for lag in row.after:
            if lag.task not in codes:
                fault(row, f"comes after {lag.task}, which does not exist", "Name a task of the list.")
    loop = find_loop({row.code: [lag.task for lag in row.after] for row in table})
    if loop:
        named = " → ".join(loop)
        found.append(
            Reason(
                code="loop",
                text=f"Tasks wait for each other in a ring: {named}",
                where=loop[0],
                severity="stop",
                todo="Take one of these predecessors out.",
            )
        )
    return found


def find_loop(after: dict[str, list[str]]) -> list[str]:
    """Return a ring of tasks that wait for each other, first task repeated at the end; empty when there is none.

    >>> find_loop({"A": ["B"], "B": ["C"], "C": ["A"], "D": ["A"]})
    ['A', 'B', 'C', 'A']
    >>> find_loop({"A": [], "B": ["A"]})
    []
    """
    state: dict[str, int] = {}
    for root in sorted(after):
        if state.get(root):
            continue
        path: list[str] = [root]
        branches = [iter(after[root])]
        state[root] = 1
        while path:
            for previous in branches[-1]:
                if previous not in after:
                    continue
                if state.get(previous) == 1:
                    return [*path[path.index(previous) :], previous]
                if not state.get(previous):
                    state[previous] = 1
                    path.append(previous)
                    branches.append(iter(after[previous]))
                    break
            else:
                state[path.pop()] = 2
                branches.pop()
    return []


def shortest_loop(after: dict[str, list[str]], through: str) -> list[str]:
    """Return the shortest ring of tasks that wait for each other through one of them, which stands first and last.

    Empty when there is none; of equally short ones that over the smallest codes.

    >>> shortest_loop({"A": ["B", "C"], "B": ["C"], "C": ["A"]}, "A")
    ['A', 'C', 'A']
    >>> shortest_loop({"A": ["A"]}, "A"), shortest_loop({"A": ["B"], "B": []}, "A")
    (['A', 'A'], [])
    """
    came_from = {through: ""}
    to_see = [through]
    for code in to_see:
        for previous in sorted(after.get(code, ())):
            if previous == through:
                ring = [through]
                while code != through:
                    ring.append(code)
                    code = came_from[code]
                return [through, *reversed(ring[1:]), through]
            if previous not in came_from:
                came_from[previous] = code
                to_see.append(previous)
    return []


def ring_text(ring: Sequence[str], names: Mapping[str, str]) -> str:
    """Say which tasks wait for each other, in order, each for the next.

    >>> ring_text(["A", "B", "A"], {"A": "Sand", "B": "Oil"})
    'A Sand → B Oil → A Sand: each waits for the next, so none of them can ever begin'
    """
    said = " → ".join(f"{code} {names.get(code, '')}".strip() for code in ring)
    if len(ring) == 2:
        return f"{said}: it waits for itself, so it can never begin"
    return f"{said}: each waits for the next, so none of them can ever begin"
