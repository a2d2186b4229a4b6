"""Why there is no plan, and what would make one: a smallest set of requirements in words, and changes tried one by one.

Every wish of the owner and every limit from outside is a requirement that can be let go of by itself. A smallest
set of them that cannot all be met is found by halving (QuickXplain: U. Junker, Proceedings of AAAI 2004, 167–172,
from memory), each question being answered by the planner itself. Without any one of the set a plan exists, or at
least none was shown to be impossible within the work limit. Then changes are tried, cheapest first by the
person-hours they ask of people; only those with which the solver found a plan are offered.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import partial
from typing import Any, Literal, NamedTuple

from msgspec.structs import replace

from buildout.units.dates import day_text
from buildout.units.value import Reason, snap, to_plain
from buildout.units.words import some_of
from estimating.engine.types import Arrivals
from scheduling.engine import calendars
from scheduling.engine.activities import Layout, called, further_days, lay_out, name_of, sentence
from scheduling.engine.rcpsp import Model, Placed, earliest_times, latest_times, serial_plan
from scheduling.engine.skills import able, to_find
from scheduling.engine.types import (
    BuildDay,
    CorePerson,
    Crew,
    Dates,
    Helper,
    PlanEdit,
    Requirement,
    SignedUp,
    Skill,
    Task,
    TaskEdits,
    TaskNet,
    WayOut,
)

FURTHER_DAYS = 16
WORK_LIMIT = 0.3
"""Deterministic work units for each question."""
BETTER = 0.05
"""Further work units spent on an earlier opening once a way out is found."""
MOST_TRIES = 32
MOST_OFFERED = 6
MOST_PLACES = 16
MOST_DAYS_EARLIER = 42
MOST_HELPERS = 6
"""More helpers of one skill than this are not thought of."""
FURTHER_TRIED = (0, 1, 2, 3, 4, 6)
"""Further build days tried together with helpers of a skill nobody has."""
GOODS_NAMED = 3
HELPER_DAY = 7.0
"""Hours a helper gives on a build day. This and the costs below rank ways out; common practice, no published source."""
TALK = 1.0
"""Agreeing on something with one person."""
NEW_APPOINTMENT = 2.0
EARLIER_DAY = 0.5
"""Getting goods a day earlier: calls and a more expensive carrier, not the carrier's price."""
NEIGHBOURS = 3.0
BORROWED_TOOL = 3.0
INVITE_A_DAY = 4.0
JOINS_CORE = 40.0


@dataclass(frozen=True)
class Inputs:
    """Everything a plan is made from, except the plan before."""

    net: TaskNet
    crew: Crew
    dates: Dates
    arrivals: Arrivals
    signed_up: list[SignedUp]
    edits: TaskEdits
    as_of: date
    time_zone: str = "UTC"

    def lay_out(self) -> Layout:
        return lay_out(
            self.net, self.crew, self.dates, self.arrivals, self.signed_up, self.edits, self.as_of, self.time_zone
        )

    def but(self, **changed: object) -> Inputs:
        return Inputs(**{**self.__dict__, **changed})

    def with_day(self, day: str, **changed: object) -> Inputs:
        days = [replace(one, **changed) if one.id == day else one for one in self.crew.days]
        return self.but(crew=replace(self.crew, days=days))


Change = Callable[[Inputs], Inputs]


class Wish(NamedTuple):
    """A requirement and how to let go of it."""

    told: Requirement
    drop: Change


class Candidate(NamedTuple):
    kind: str
    where: str
    text: str
    cost: float
    cost_text: str
    change: Change


class Answer(NamedTuple):
    found: bool | None
    """None: not settled within the work limit."""
    opening: date | None
    work: float


class Explained(NamedTuple):
    reasons: list[Reason]
    conflict: list[Requirement]
    ways_out: list[WayOut]
    work: float


def attempt(inputs: Inputs, *, opening: bool = False) -> Answer:
    """Say whether a plan exists; with ``opening`` look for a good one a little longer."""
    made = inputs.lay_out()
    if any(reason.severity == "stop" for reason in made.reasons):
        return Answer(False, None, 0.0)
    project, goal = made.project, made.goal
    if earliest_times(project) is None or latest_times(project) is None:
        return Answer(False, None, 0.0)
    quick = serial_plan(project)
    work = 0.0
    if quick is None or opening:
        model = Model(project, {goal: quick[goal].start} if quick else None)
        stage = model.minimise(model.start[goal], BETTER if quick else WORK_LIMIT, quick or [])
        work = stage.work
        if stage.status == "infeasible":
            return Answer(False, None, work)
        quick = stage.plan or quick
    if quick is None:
        return Answer(None, None, work)
    return Answer(True, made.local.day(quick[goal].start), work)


def explain(inputs: Inputs, stops: Sequence[Reason]) -> Explained:
    """Explain why there is no plan. ``stops`` are the reasons for which some task can be done by nobody, if any."""
    asked = _Questions()
    if stops:
        conflict = [
            Requirement(kind=STOP_KINDS.get(stop.code, "task"), where=stop.where, text=stop.text) for stop in stops
        ]
        ways = _tried(inputs, list(_for_stops(inputs, stops)), asked)
        if not ways and len(stops) > 1:
            ways = _tried(inputs, list(_for_each_stop(inputs, stops)), asked)
        return Explained([], conflict, ways, asked.work)
    wishes = list(_wishes(inputs))
    if asked.impossible(_without(inputs, wishes)):
        scarce, ways = _too_few_able(inputs, asked)
        if ways:
            return Explained(_conflict(scarce, ways), scarce, ways, asked.work)
        reason = Reason(
            code="no-plan",
            text=f"No plan was found, not even with every wish let go of and {FURTHER_DAYS} more build days",
            severity="stop",
            todo="Raise the places of the build days, or leave out tasks that can wait.",
        )
        return Explained([reason], [], [], asked.work)

    def impossible(kept: Sequence[Wish]) -> bool:
        return asked.impossible(_without(inputs, [wish for wish in wishes if wish not in kept]))

    core = _smallest(wishes, impossible)
    candidates = list(_for_wishes(inputs, core))
    ways = _tried(inputs, candidates, asked)
    return Explained(_reasons(inputs, core, ways), [wish.told for wish in core], ways, asked.work)


class _Questions:
    def __init__(self) -> None:
        self.work = 0.0

    def impossible(self, inputs: Inputs) -> bool:
        answer = attempt(inputs)
        self.work += answer.work
        return answer.found is False


def _without(inputs: Inputs, wishes: Sequence[Wish]) -> Inputs:
    for wish in wishes:
        inputs = wish.drop(inputs)
    return inputs


def _smallest(wishes: list[Wish], impossible: Callable[[Sequence[Wish]], bool]) -> list[Wish]:
    """Return a smallest set that is impossible by itself: no proper part of it is."""

    def search(given: list[Wish], new: bool, rest: list[Wish]) -> list[Wish]:
        if new and impossible(given):
            return []
        if len(rest) == 1:
            return rest
        half = len(rest) // 2
        first, second = rest[:half], rest[half:]
        of_second = search(given + first, bool(first), second)
        of_first = search(given + of_second, bool(of_second), first)
        return of_first + of_second

    return search([], False, wishes) if wishes else []


# ---------------------------------------------------------------- what is required


def _wishes(inputs: Inputs) -> Iterator[Wish]:
    """Everything that can be let go of, what is most often the cause last."""
    names = {task.code: f"{task.code} {task.name}" for task in inputs.net.tasks}
    days = {day.id: day for day in inputs.crew.days}
    edits, done = inputs.edits, inputs.edits.done

    def wish(kind: str, where: str, text: str, drop: Change) -> Wish:
        return Wish(Requirement(kind=kind, where=where, text=text), drop)  # type: ignore[arg-type]

    for day in inputs.crew.days:
        if (day.quiet_until or day.quiet_from) and day.date >= inputs.as_of:
            yield wish(
                "quiet hours", day.id, f"{name_of(day)} keeps its quiet hours",
                partial(_all_day_noise, day=day.id),
            )  # fmt: skip
    if inputs.dates.hall_hours:
        yield wish(
            "hours", "/dates/hall_hours", "Work in the room only within the landlord's hours",
            lambda given: given.but(dates=replace(given.dates, hall_hours=[])),
        )  # fmt: skip
    for word, count in sorted(inputs.crew.tools.items()):
        yield wish(
            "tool", word, f"There {'is' if count == 1 else 'are'} {count or 'no'} “{word}”",
            partial(_without_tool, word=word),
        )  # fmt: skip
    for task in inputs.net.tasks:
        if task.code in done:
            continue
        if task.one_day:
            yield wish(
                "longest wait", task.code, f"{names[task.code]} is done in one go, not split over days",
                partial(_with_task, code=task.code, change=_split),
            )  # fmt: skip
        for lag in task.after:
            if lag.most is not None and lag.task in names:
                yield wish(
                    "longest wait", task.code,
                    f"{names[task.code]} starts at most {_span(lag.most)} after {names[lag.task]}",
                    partial(_with_task, code=task.code, change=_no_longest),
                )  # fmt: skip
    yield wish(
        "days", "/crew/days", f"There are {_count(len([d for d in days.values() if d.date >= inputs.as_of]))} to come",
        lambda given: given.but(
            crew=replace(given.crew, days=[*given.crew.days, *further_days(given.crew, given.as_of, FURTHER_DAYS)])
        ),
    )  # fmt: skip
    for item, text in _awaited(inputs):
        yield wish("delivery", item, text, partial(sooner, item=item, days=FURTHEST_BACK))
    for person in edits.people:
        if person.task in names and person.task not in done:
            who = _who(inputs, person.person)
            yield wish(
                "person", person.task, f"{who} is on {names[person.task]}",
                partial(_without_row, field="people", row=person),
            )  # fmt: skip
    if inputs.crew.firm_sign_ups:
        for day_id, code in sorted({(one.day, one.task.split("/")[0]) for one in inputs.signed_up if one.task}):
            if day_id in days and code in names and code not in done:
                there = name_of(days[day_id])
                yield wish(
                    "sign-up", code, f"{names[code]} stays on {there}, for which helpers have signed up",
                    partial(_unsigned, day=day_id, code=code),
                )  # fmt: skip
    for one in edits.appointments:
        if one.firm and one.task in names and one.task not in done:
            yield wish(
                "appointment", one.task, f"{names[one.task]} is agreed for {day_text(one.date)}",
                partial(_without_row, field="appointments", row=one),
            )  # fmt: skip
    for hold in edits.not_before:
        if hold.task in names and hold.task not in done:
            yield wish(
                "not before", hold.task,
                f"{names[hold.task]} not before {day_text(hold.date)}{': ' * bool(hold.why)}{hold.why}",
                partial(_without_row, field="not_before", row=hold),
            )  # fmt: skip
    for pin in edits.pins:
        if pin.task in names and pin.day in days and pin.task not in done:
            yield wish(
                "pin", pin.task, f"{names[pin.task]} on {name_of(days[pin.day])}",
                partial(_without_row, field="pins", row=pin),
            )  # fmt: skip


def _count(days: int) -> str:
    return f"{days or 'no'} build day{'s' * (days != 1)}"


def _span(minutes: int) -> str:
    return f"{minutes / 1440:g} days" if minutes % 1440 == 0 else f"{minutes / 60:g} hours"


def _who(inputs: Inputs, person: str) -> str:
    return sentence(called(person, inputs.crew, inputs.signed_up))


def _edited(inputs: Inputs, **changed: object) -> Inputs:
    return inputs.but(edits=replace(inputs.edits, **changed))


def _all_day_noise(inputs: Inputs, day: str) -> Inputs:
    return inputs.with_day(day, quiet_until="", quiet_from="")


def _without_tool(inputs: Inputs, word: str) -> Inputs:
    tools = {known: count for known, count in inputs.crew.tools.items() if known != word}
    return inputs.but(crew=replace(inputs.crew, tools=tools))


def _without_row(inputs: Inputs, field: str, row: object) -> Inputs:
    return _edited(inputs, **{field: [one for one in getattr(inputs.edits, field) if one != row]})


def _with_places(inputs: Inputs, day: BuildDay, more: int) -> Inputs:
    return inputs.with_day(day.id, places=day.places + more)


def _split(task: Task) -> Task:
    return replace(task, one_day=False)


def _with_task(inputs: Inputs, code: str, change: Callable[[Task], Task]) -> Inputs:
    tasks = [change(task) if task.code == code else task for task in inputs.net.tasks]
    return inputs.but(net=replace(inputs.net, tasks=tasks))


def _own_split(inputs: Inputs, code: str) -> Inputs:
    own = [replace(one, one_day=False) if one.code == code else one for one in inputs.edits.own]
    return _edited(_with_task(inputs, code, _split), own=own)


def _no_longest(task: Task) -> Task:
    return replace(task, after=[replace(lag, most=None) for lag in task.after])


def _unsigned(inputs: Inputs, day: str, code: str) -> Inputs:
    rest = [
        replace(one, task="") if one.day == day and one.task.split("/")[0] == code else one for one in inputs.signed_up
    ]
    return inputs.but(signed_up=rest)


def _awaited(inputs: Inputs) -> Iterator[tuple[str, str]]:
    """Goods open tasks still wait for, one supplier's goods of one kind together: (first of them, words)."""
    needed = {item for task in inputs.net.tasks if task.code not in inputs.edits.done for item in task.needs}
    groups: dict[str, list[str]] = {}
    for arrival in inputs.arrivals.items:
        if arrival.item in needed and arrival.basis != "received":
            groups.setdefault(f"{arrival.supplier}\n{arrival.lead_group}", []).append(arrival.item)
    for _, items in sorted(groups.items()):
        mine = [one for one in inputs.arrivals.items if one.item in items]
        sure = all(one.basis == "promised" for one in mine)
        latest = max(one.likely if one.basis == "promised" else one.high for one in mine)
        when = (
            f"Goods that come on {day_text(latest)}"
            if sure
            else f"Goods that come by {day_text(latest)} if ordered today"
        )
        yield items[0], f"{when}: {some_of([one.called for one in mine], GOODS_NAMED)}"


def travelling(inputs: Inputs, item: str) -> str:
    """The names of an item and what travels with it."""
    called = {one.item: one.called for one in inputs.arrivals.items}
    return some_of([called[one] for one in together(inputs, item)], GOODS_NAMED)


def together(inputs: Inputs, item: str) -> list[str]:
    """Goods that travel with an item: same supplier, same lead time."""
    first = next(one for one in inputs.arrivals.items if one.item == item)
    return [
        one.item
        for one in inputs.arrivals.items
        if (one.supplier, one.lead_group) == (first.supplier, first.lead_group)
    ]


def sooner(inputs: Inputs, item: str, days: int) -> Inputs:
    """An item and what travels with it so many days earlier, not before today."""

    def earlier(day: date) -> date:
        return max(min(day, inputs.as_of), day - timedelta(days=days))

    mine = together(inputs, item)
    items = [
        replace(one, low=earlier(one.low), likely=earlier(one.likely), high=earlier(one.high))
        if one.item in mine
        else one
        for one in inputs.arrivals.items
    ]
    return inputs.but(arrivals=replace(inputs.arrivals, items=items))


FURTHEST_BACK = 2 * calendars.FURTHEST


# ---------------------------------------------------------------- what could be changed


STOP_KINDS: dict[str, Literal["skill", "places", "days", "hours", "tool", "appointment", "person", "task"]] = {
    "skill-missing": "skill", "crew-too-small": "places", "no-build-day": "days", "no-window": "hours",
    "no-day-long-enough": "hours", "tool-missing": "tool", "appointment": "appointment", "person": "person",
    "person-may-not": "person", "hall-hours": "hours",
}  # fmt: skip


def _for_stops(inputs: Inputs, stops: Sequence[Reason]) -> Iterator[Candidate]:
    tasks = {task.code: task for task in inputs.net.tasks}
    missing = sorted({one.skill for one in inputs.lay_out().short})
    if missing:
        yield from _skilled(inputs, missing)
        yield from _in_core(inputs, missing)
    for stop in stops:
        task = tasks.get(stop.where)
        if task is None:
            continue
        yield from _free_task(inputs, task.code)
        days = _ahead(inputs, task)
        if stop.code in ("crew-too-small", "no-day-long-enough"):
            yield from _places(inputs, days)
        if stop.code in ("no-window", "no-day-long-enough"):
            yield from _hours(inputs, days)
        if stop.code == "no-day-long-enough" and any(own.code == task.code for own in inputs.edits.own):
            # Of tasks of the list the trade says whether they may be split, of one's own the owner.
            text = f"Let {task.code} {task.name} be split over days"
            yield Candidate("longest wait", task.code, text, TALK, "a word", partial(_own_split, code=task.code))
        if stop.code == "no-build-day":
            yield from _more_days(inputs)
        if stop.code == "tool-missing":
            yield from _tools(inputs)


def _for_each_stop(inputs: Inputs, stops: Sequence[Reason]) -> Iterator[Candidate]:
    """What settles one stop after the other, each by the cheapest that does when the others are left out."""
    given, parts = inputs, list[Candidate]()
    for stop in stops:
        others = {one.where for one in stops if one is not stop} - {stop.where}
        alone = given.but(net=replace(given.net, tasks=[task for task in given.net.tasks if task.code not in others]))
        left = [one for one in alone.lay_out().reasons if one.severity == "stop"]
        options = sorted(_for_stops(alone, left), key=lambda one: one.cost) if left else []
        found = next((one for one in options if attempt(one.change(alone)).found is True), None)
        if left and found is None:
            return
        if found is not None:
            given = found.change(given)
            parts.append(found)
    if not parts:
        return

    def change(given: Inputs) -> Inputs:
        for one in parts:
            given = one.change(given)
        return given

    yield Candidate(
        parts[0].kind, parts[0].where, "; and: ".join(one.text for one in parts), sum(one.cost for one in parts),
        "; ".join(one.cost_text for one in parts), change,
    )  # fmt: skip


def _for_wishes(inputs: Inputs, core: Sequence[Wish]) -> Iterator[Candidate]:
    kinds = {wish.told.kind for wish in core}
    tasks = {task.code: task for task in inputs.net.tasks}
    for wish in core:
        where, kind = wish.told.where, wish.told.kind
        name = f"{where} {tasks[where].name}" if where in tasks else where
        if kind == "pin":
            text = f"Let {name} be done on another day than {_pinned(inputs, where)}{_first_instead(inputs, where)}"
            yield Candidate("pin", where, text, TALK, "a word to those invited", wish.drop)
        elif kind == "not before":
            yield Candidate("not before", where, f"Let {name} start earlier", TALK, "a word", wish.drop)
        elif kind == "appointment":
            text = f"Agree on another day for {name}"
            yield Candidate("appointment", where, text, NEW_APPOINTMENT, "a new appointment", wish.drop)
        elif kind == "person":
            yield Candidate("person", where, f"Let somebody else do {name}", TALK, "a word", wish.drop)
        elif kind == "sign-up":
            count = sum(one.task.split("/")[0] == where for one in inputs.signed_up)
            text = f"Ask those who signed up for {name} to come on another day"
            yield Candidate("sign-up", where, text, 5.0 * count, f"{count} helpers to ask", wish.drop)
        elif kind == "longest wait":
            text = f"Ask whether {name} may wait longer or be split over days"
            yield Candidate("longest wait", where, text, NEW_APPOINTMENT, "a question to the maker", wish.drop)
        elif kind == "quiet hours":
            day = next(day for day in inputs.crew.days if day.id == where)
            text = f"Agree with the neighbours that {name_of(day)} may be noisy all day"
            yield Candidate("quiet hours", where, text, NEIGHBOURS, "a round of the neighbours", wish.drop)
        elif kind == "hours":
            text = "Agree with the landlord on longer hours"
            yield Candidate("hours", where, text, NEIGHBOURS, "a word to the landlord", wish.drop)
        elif kind == "tool":
            text = f"Borrow or hire one more “{where}”"
            yield Candidate("tool", where, text, BORROWED_TOOL, "one tool", _one_more_tool(where))
        elif kind == "delivery":
            yield from _earlier(inputs, where)
    if kinds & {"pin", "days", "sign-up", "appointment", "person", "delivery"}:
        pinned = {pin.day for pin in inputs.edits.pins if pin.task in {w.told.where for w in core}}
        days = [day for day in _ahead(inputs) if not pinned or day.id in pinned]
        named = [tasks[wish.told.where] for wish in core if wish.told.where in tasks]
        yield from _helpers(inputs, days, named or inputs.net.tasks)
        yield from _hours(inputs, days)
        yield from _places(inputs, days)
    if "days" in kinds:
        yield from _more_days(inputs)


def _ahead(inputs: Inputs, task: Task | None = None) -> list[BuildDay]:
    days = [day for day in inputs.crew.days if day.date >= inputs.as_of]
    if task is not None and task.where == "hall":
        days = [day for day in days if day.place == "hall"]
    return sorted(days, key=lambda day: (day.date, day.id))


def _pinned(inputs: Inputs, code: str) -> str:
    day = next((pin.day for pin in inputs.edits.pins if pin.task == code), "")
    return next((name_of(one) for one in inputs.crew.days if one.id == day), day)


def _first_instead(inputs: Inputs, code: str) -> str:
    """The first later build day a pinned task can be on, in words, as the solver finds it."""
    pinned = next((day.date for day in inputs.crew.days for pin in inputs.edits.pins
                   if (pin.task, pin.day) == (code, day.id)), None)  # fmt: skip
    for day in _ahead(inputs):
        if pinned is not None and day.date > pinned:
            pins = [replace(pin, day=day.id) if pin.task == code else pin for pin in inputs.edits.pins]
            if attempt(_edited(inputs, pins=pins)).found is True:
                return f"; the first build day after it that does is {name_of(day)}"
    return ""


def _free_task(inputs: Inputs, code: str) -> Iterator[Candidate]:
    """Let go of whatever was set for one task."""
    edits = inputs.edits
    for kind, rows in (("pin", edits.pins), ("appointment", edits.appointments), ("person", edits.people)):
        if any(row.task == code for row in rows):
            field = {"pin": "pins", "appointment": "appointments", "person": "people"}[kind]
            name = next((f"{code} {task.name}" for task in inputs.net.tasks if task.code == code), code)
            text = {
                "pin": f"Let {name} be done on another day than {_pinned(inputs, code)}",
                "appointment": f"Agree on another day for {name}",
                "person": f"Let somebody else do {name}",
            }[kind]

            def drop(given: Inputs, field: str = field) -> Inputs:
                return _edited(given, **{field: [row for row in getattr(given.edits, field) if row.task != code]})

            yield Candidate(kind, code, text, TALK, "a word", drop)


def _helpers(inputs: Inputs, days: Sequence[BuildDay], tasks: Sequence[Task]) -> Iterator[Candidate]:
    """One more helper with a skill that tasks ask for, on as few of the days as will do."""
    special = calendars.special_skills(inputs.crew) - set(calendars.HOLDERS_ONLY)
    for skill in sorted({skill for task in tasks for skill in task.skills if skill in special}):
        change = partial(_join, skills=[skill], days=list(days), count=1)
        if days and attempt(change(inputs)).found is True:
            yield _on_fewest_days(inputs, [skill], days, 1)


def _skilled(inputs: Inputs, skills: Sequence[Skill]) -> Iterator[Candidate]:
    """The fewest helpers who have skills nobody has; where the build days are not enough for them, with more of these.

    What is pinned to a day may stand in the way of what those helpers do first: it is let go of where it has to be.
    """
    for more in FURTHER_TRIED:
        wider = _with_further(inputs, more) if more else inputs
        days = _ahead(wider)
        new = days[len(days) - more :]
        pinned = [day for day in days if any(pin.day == day.id for pin in inputs.edits.pins)]
        for freed in ([], pinned) if pinned else ([],):
            given = _unpinned(wider, [day.id for day in freed])
            if not days or attempt(_join(given, skills, days, MOST_HELPERS)).found is not True:
                continue
            count = _fewest(MOST_HELPERS, lambda n, given=given, days=days: _join(given, skills, days, n))  # type: ignore[misc]
            free = [day.id for day in freed]
            for day in freed:
                fewer = [one for one in free if one != day.id]
                if attempt(_join(_unpinned(wider, fewer), skills, days, count)).found is True:
                    free = fewer
            one = _on_fewest_days(_unpinned(wider, free), skills, days, count)
            text, cost, cost_text = one.text, one.cost, one.cost_text
            if new:
                text += (
                    f"; and {more} more build day{'s' * (more > 1)}: {some_of([day_text(day.date) for day in new], 8)}"
                )
                cost += more * _day_hours(inputs)
                cost_text += f", and {_day_hours(inputs):g} person-hours at most for each further build day"
            if free:
                text += f"; and what is pinned to {_several([day for day in freed if day.id in free])} may move"
                cost += TALK * sum(pin.day in free for pin in inputs.edits.pins)

            def change(
                given: Inputs, more: int = more, free: Sequence[str] = tuple(free), one: Candidate = one
            ) -> Inputs:
                return one.change(_unpinned(_with_further(given, more) if more else given, free))

            yield Candidate("helper", one.where, text, cost, cost_text, change)
            return


def _too_few_able(inputs: Inputs, asked: _Questions) -> tuple[list[Requirement], list[WayOut]]:
    """Skills of which more people make a plan where nothing else does, and how many, when."""
    open_tasks = [task for task in inputs.net.tasks if task.code not in inputs.edits.done]
    special = calendars.special_skills(inputs.crew) - set(calendars.HOLDERS_ONLY)
    scarce, candidates = list[Requirement](), list[Candidate]()
    for skill in sorted({skill for task in open_tasks for skill in task.skills if skill in special}):
        found = [*_skilled(inputs, [skill]), *_in_core(inputs, [skill])]
        if found:
            candidates += found
            mine = [task for task in open_tasks if skill in task.skills]
            text = f"Too few who can {able(skill)} are there when it is needed: " + some_of(
                [f"{task.code} {task.name}" for task in mine]
            )
            scarce.append(Requirement(kind="skill", where=mine[0].code, text=text))
    return scarce, _tried(inputs, candidates, asked)


def _on_fewest_days(inputs: Inputs, skills: Sequence[Skill], days: Sequence[BuildDay], count: int) -> Candidate:
    """So many more helpers, with whom a plan exists when they come on all these days, on as few of them as will do."""
    needed = list(days)
    for day in reversed(days):
        fewer = [one for one in needed if one is not day]
        if fewer and attempt(_join(inputs, skills, fewer, count)).found is True:
            needed = fewer
    can = " and ".join(able(skill) for skill in skills)
    text = f"{_more(count)} helper{'s' * (count > 1)} who can {can} on {_several(needed)}"
    hours = HELPER_DAY * len(needed) * count
    cost_text = f"{hours:g} hours of {'one helper' if count == 1 else f'{count} helpers'}, or of somebody paid for it"
    change = partial(_join, skills=skills, days=needed, count=count)
    return Candidate("helper", needed[0].id, text, hours, cost_text, change)


def _several(days: Sequence[BuildDay]) -> str:
    """Build days as a sentence names them; years only where there is one day.

    >>> _several([BuildDay(id="d", date=date(2027, 2, 20), name="Paint", places=4)])
    'Paint on Sat 20 Feb 2027'
    """
    if len(days) == 1:
        return name_of(days[0])
    return some_of([f"{day.name or day.id} ({day_text(day.date, year=False)})" for day in days], len(days))


def _more(count: int) -> str:
    return "One more" if count == 1 else f"{count} more"


def _in_core(inputs: Inputs, skills: Sequence[Skill]) -> Iterator[Candidate]:
    """The fewest more in the core team, who have skills nobody has."""
    count = _fewest(MOST_HELPERS, partial(_with_core, inputs, skills))
    if count:
        text = f"{_more(count)} in the core team who can {' and '.join(able(skill) for skill in skills)}"
        cost_text = f"many evenings of {'one person' if count == 1 else f'{count} people'}"
        change = partial(_with_core, skills=skills, count=count)
        yield Candidate("helper", "", text, JOINS_CORE * count, cost_text, change)


def _with_core(inputs: Inputs, skills: Sequence[Skill], count: int) -> Inputs:
    more = [
        CorePerson(id=new, name=name, skills=list(skills))
        for new, name in _newcomers(skills, count, [one.id for one in inputs.crew.core])
    ]
    return inputs.but(crew=replace(inputs.crew, core=[*inputs.crew.core, *more]))


def with_helper(inputs: Inputs, skill: Skill, days: Sequence[BuildDay]) -> Inputs:
    return _join(inputs, [skill], days, 1)


def _join(inputs: Inputs, skills: Sequence[Skill], days: Sequence[BuildDay], count: int) -> Inputs:
    """More helpers with these skills on these days, each on a place of their own."""
    more = [
        Helper(id=new, name=name, skills=list(skills), days=[day.id for day in days], sure=Decimal(1))
        for new, name in _newcomers(skills, count, [one.id for one in inputs.crew.helpers])
    ]
    inputs = inputs.but(crew=replace(inputs.crew, helpers=[*inputs.crew.helpers, *more]))
    for day in days:
        inputs = inputs.with_day(day.id, places=day.places + count)
    return inputs


def _newcomers(skills: Sequence[Skill], count: int, taken: Collection[str]) -> list[tuple[str, str]]:
    """(id, name) of so many more people with these skills, beside those whose ids are taken."""
    numbers = range(1, count + len(taken) + 1)
    every = [(f"one-more-{'-'.join(skills)}-{number}", to_find(skills, number)) for number in numbers]
    return [(new, name) for new, name in every if new not in taken][:count]


def _places(inputs: Inputs, days: Sequence[BuildDay]) -> Iterator[Candidate]:
    """More places on a day, the fewest that do."""
    for day in days:
        fewest = _fewest(MOST_PLACES, partial(_with_places, inputs, day))
        if fewest:
            text = f"{fewest} more helper{'s' * (fewest > 1)} on {name_of(day)}: {day.places + fewest} places"

            def add(given: Inputs, day: BuildDay = day, n: int = fewest) -> Inputs:
                return given.with_day(day.id, places=day.places + n)

            hours = HELPER_DAY * fewest
            yield Candidate("places", day.id, text, hours, f"{hours:g} helper-hours", add)


def _hours(inputs: Inputs, days: Sequence[BuildDay]) -> Iterator[Candidate]:
    """A day an hour or two longer."""
    for day in days:
        try:
            end = calendars.read_time(day.end)
        except ValueError:
            continue
        for more in (1, 2):
            if end + 60 * more > 21 * 60:
                break
            until = f"{(end + 60 * more) // 60:02d}:{end % 60:02d}"
            text = f"{name_of(day)} until {until}, {more} hour{'s' * (more > 1)} longer"
            cost = float(day.places * more)

            def longer(given: Inputs, day: BuildDay = day, until: str = until) -> Inputs:
                return given.with_day(day.id, end=until)

            yield Candidate("hours", day.id, text, cost, f"up to {cost:g} helper-hours", longer)


def _more_days(inputs: Inputs) -> Iterator[Candidate]:
    """One, two or three more build days: after the last, or on a free Saturday before it."""
    hours = _day_hours(inputs)
    taken = {day.date for day in inputs.crew.days} | {holiday.date for holiday in inputs.dates.holidays}
    last = max((day.date for day in _ahead(inputs)), default=inputs.as_of)
    first = inputs.as_of + timedelta(days=(5 - inputs.as_of.weekday()) % 7 or 7)
    free = [first + timedelta(days=7 * n) for n in range((last - first).days // 7 + 1)]
    for when in [day for day in free if day not in taken and day < last][-3:]:
        change = partial(with_day_on, when=when)
        text = f"One more build day on {day_text(when)}"
        yield from _day_and_pins(inputs, text, hours, change)
    for count in (1, 2, 3, 4, 6, 8, 12, FURTHER_DAYS):
        days = further_days(inputs.crew, inputs.as_of, count)
        named = ", ".join(day_text(day.date) for day in days[:4]) + " …" * (len(days) > 4)
        text = f"{count} more build day{'s' * (count > 1)}: {named}"
        found = list(_day_and_pins(inputs, text, hours * count, partial(_with_further, count=count)))
        yield from found
        if found:
            break


def _day_hours(inputs: Inputs) -> float:
    """Person-hours a further build day costs at most."""
    return max((day.places for day in inputs.crew.days), default=12) * HELPER_DAY + INVITE_A_DAY


def with_day_on(inputs: Inputs, when: date) -> Inputs:
    more = replace(further_days(inputs.crew, inputs.as_of, 1)[0], date=when)
    return inputs.but(crew=replace(inputs.crew, days=[*inputs.crew.days, more]))


def _with_further(inputs: Inputs, count: int) -> Inputs:
    more = further_days(inputs.crew, inputs.as_of, count)
    return inputs.but(crew=replace(inputs.crew, days=[*inputs.crew.days, *more]))


def _day_and_pins(inputs: Inputs, text: str, hours: float, change: Change) -> Iterator[Candidate]:
    """A further day, with those pins let go that would keep it from helping: all pins of a day together."""
    cost_text = f"{hours:g} person-hours at most"
    if attempt(change(inputs)).found is True:
        yield Candidate("build day", "", text, hours, cost_text, change)
        return
    pinned = [day for day in _ahead(inputs) if any(pin.day == day.id for pin in inputs.edits.pins)]
    free = {day.id for day in pinned}
    if not pinned or attempt(change(_unpinned(inputs, free))).found is not True:
        return
    for day in pinned:
        if attempt(change(_unpinned(inputs, free - {day.id}))).found is True:
            free -= {day.id}
    named = " and ".join(name_of(day) for day in pinned if day.id in free)
    cost = hours + TALK * sum(pin.day in free for pin in inputs.edits.pins)
    freed = frozenset(free)
    text = f"{text}, and what is pinned to {named} may move"
    yield Candidate("build day", "", text, cost, cost_text, lambda given: change(_unpinned(given, freed)))


def _unpinned(inputs: Inputs, days: Collection[str]) -> Inputs:
    return _edited(inputs, pins=[pin for pin in inputs.edits.pins if pin.day not in days])


def _tools(inputs: Inputs) -> Iterator[Candidate]:
    for word, count in sorted(inputs.crew.tools.items()):
        if count < 1:
            text = f"Borrow or hire one “{word}”"
            yield Candidate("tool", word, text, BORROWED_TOOL, "one tool", _one_more_tool(word))


def _one_more_tool(word: str) -> Change:
    def add(given: Inputs) -> Inputs:
        tools = {**given.crew.tools, word: given.crew.tools.get(word, 0) + 1}
        return given.but(crew=replace(given.crew, tools=tools))

    return add


def _earlier(inputs: Inputs, item: str) -> Iterator[Candidate]:
    """Goods earlier by the fewest days that do."""
    days = _fewest(MOST_DAYS_EARLIER, lambda n: sooner(inputs, item, n))
    if days:
        what, mine = travelling(inputs, item), together(inputs, item)
        placed = all(one.basis in ("promised", "ordered") for one in inputs.arrivals.items if one.item in mine)
        how = "by a word with the supplier or a faster carrier" if placed else "ordered sooner or by a faster carrier"
        text = f"Get {days} day{'s' * (days > 1)} earlier, {how}: {what}"
        change = partial(sooner, item=item, days=days)
        yield Candidate("order earlier", item, text, EARLIER_DAY * days, "calls and a faster carrier", change)


def _fewest(most: int, change: Callable[[int], Inputs]) -> int:
    """Return the fewest of 1 … ``most`` with which a plan exists, 0 when there is none; more is taken never to hurt."""
    if attempt(change(most)).found is not True:
        return 0
    low, high = 1, most
    while low < high:
        middle = (low + high) // 2
        if attempt(change(middle)).found is True:
            high = middle
        else:
            low = middle + 1
    return high


def _tried(inputs: Inputs, candidates: Sequence[Candidate], asked: _Questions) -> list[WayOut]:
    """Return the changes with which the solver found a plan, cheapest first; one of a kind and place."""
    found: list[WayOut] = []
    ranked = sorted(enumerate(candidates), key=lambda pair: (pair[1].cost, pair[0]))
    tries = 0
    for _, one in ranked:
        if len(found) >= MOST_OFFERED or tries >= MOST_TRIES:
            break
        if any(way.kind == one.kind and way.where == one.where and way.cost <= one.cost for way in found):
            continue
        tries += 1
        changed = one.change(inputs)
        answer = attempt(changed, opening=True)
        asked.work += answer.work
        if answer.found and answer.opening is not None:
            found.append(
                WayOut(
                    kind=one.kind,  # type: ignore[arg-type]
                    where=one.where,
                    text=one.text,
                    cost=snap(one.cost, 0.1),
                    cost_text=one.cost_text,
                    opening=answer.opening,
                    edits=plan_edits(inputs, changed),
                )
            )
    return found


def plan_edits(before: Inputs, after: Inputs) -> list[PlanEdit]:
    """What differs between two inputs in those parts that stand in the plan: crew, dates, edits of tasks."""
    sections = (("crew", before.crew, after.crew), ("dates", before.dates, after.dates),
                ("tasks", before.edits, after.edits))  # fmt: skip
    return [edit for name, old, new in sections for edit in _differences([name], to_plain(old), to_plain(new))]


def _differences(at: list[str | int], old: Any, new: Any) -> Iterator[PlanEdit]:
    """Edits from one plain value to another; those of a list leave earlier positions as they are."""
    if old == new:
        return
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted({*old, *new}):
            if key not in new:
                yield PlanEdit(act="remove", at=[*at, key])
            else:
                yield from _differences([*at, key], old.get(key, [] if isinstance(new[key], list) else None), new[key])
    elif isinstance(old, list) and isinstance(new, list):
        if len(new) >= len(old):
            for number, (one, other) in enumerate(zip(old, new, strict=False)):
                yield from _differences([*at, number], one, other)
            yield from (PlanEdit(act="add", at=at, value=value) for value in new[len(old) :])
        else:
            gone = [number for number, value in enumerate(old) if value not in new]
            yield from (PlanEdit(act="remove", at=[*at, number]) for number in reversed(gone))
    else:
        yield PlanEdit(act="set", at=at, value=new)


# ---------------------------------------------------------------- in words


def _reasons(inputs: Inputs, core: Sequence[Wish], ways: Sequence[WayOut]) -> list[Reason]:
    found = _further(inputs) if any(wish.told.kind == "days" for wish in core) else []
    for wish in core:
        if wish.told.kind == "pin" and len(core) == 1:
            day = _pinned(inputs, wish.told.where)
            found.append(
                Reason(
                    code="pin",
                    text=f"{wish.told.where} cannot be done on {day}: "
                    "what comes before it is not ready by then, or the day is full",
                    where=wish.told.where,
                    severity="stop",
                    todo=f"Take the pin off {wish.told.where}, or pin it to a later day.",
                )
            )
    if len(core) > 1 or not core or core[0].told.kind not in ("pin", "days"):
        found += _conflict([wish.told for wish in core], ways)
    return found


def _conflict(told: Sequence[Requirement], ways: Sequence[WayOut]) -> list[Reason]:
    todo = f"Cheapest way out: {ways[0].text}." if ways else "Let go of one of these."
    text = "These cannot all be met: " + "; ".join(one.text for one in told)
    if len(told) == 1:
        text = told[0].text
    where = told[0].where if told else ""
    return [Reason(code="conflict", text=text, where=where, severity="stop", todo=todo)]


def _further(inputs: Inputs) -> list[Reason]:
    for count in range(1, FURTHER_DAYS + 1):
        more = replace(inputs.crew, days=[*inputs.crew.days, *further_days(inputs.crew, inputs.as_of, count)])
        made = _edited(inputs.but(crew=more), pins=[]).lay_out()
        if any(reason.severity == "stop" for reason in made.reasons):
            continue
        quick = serial_plan(made.project)
        if quick is not None:
            return _with_further_days(made, quick, count, {day.id for day in inputs.crew.days})
    return []


def _with_further_days(made: Layout, quick: list[Placed], count: int, given: Collection[str]) -> list[Reason]:
    """Name the fewest further build days that make a plan, and the tasks that need them."""
    further = {shifts.day.id: shifts.day.date for shifts in made.shifts if shifts.day.id not in given}
    model = Model(made.project)
    plan, proven = quick, count == 1
    if count > 1:
        flags = []
        for day in further:
            literals = [
                picked
                for activity, chosen in zip(made.activities, model.chosen, strict=True)
                for mode, picked in zip(activity.modes, chosen, strict=True)
                if mode.day == day and picked is not False
            ]
            if literals:
                flags.append(model.flag(literals))
        fewest = model.minimise(sum(flags), 1.0, quick)
        plan, proven = fewest.plan or quick, fewest.status == "proven"
    plan = model.minimise(model.start[made.goal], 1.0, plan).plan or plan
    used: dict[str, list[str]] = {}
    for part, activity, placed in zip(made.parts, made.activities, plan, strict=True):
        day = activity.modes[placed.mode].day
        if day in further:
            used.setdefault(day, []).append(part.code)
    opening = made.local.day(plan[made.goal].start)
    count = max(1, len(used))
    when = sorted(used, key=lambda day: further[day])
    days = ", ".join(f"{day_text(further[day])} ({', '.join(used[day])})" for day in when)
    at_most = "" if proven else "at most "
    return [
        Reason(
            code="too-few-build-days",
            text=f"The build days given do not hold all the work. With {at_most}{count} more, a plan exists: {days}; "
            f"it would open on {day_text(opening)}",
            where=next((codes[0] for codes in used.values()), ""),
            severity="stop",
            todo=f"Add {count} build day{'s' if count != 1 else ''} like these, or move the days given to later dates.",
        )
    ]
