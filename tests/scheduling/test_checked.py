"""Schedules of random builds, every rule checked again from the result alone by code of its own."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from itertools import combinations
from math import ceil

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from scheduling.engine.schedule import solve
from scheduling.engine.types import (
    Appointment,
    Crew,
    Dates,
    HallHours,
    Helper,
    Holiday,
    Lag,
    NotBefore,
    PersonPin,
    PlannedTask,
    Schedule,
    SignedUp,
    Task,
    TaskEdits,
    TaskNet,
    TaskPin,
)
from tests.scheduling.test_schedule import MONDAY, NOTHING_ORDERED, SATURDAY, crew_of, net_of, opening, task

CLOSED = date(2027, 2, 3)
SHIFTS = ((8 * 60 + 30, 12 * 60), (13 * 60, 16 * 60 + 30))
"""As in ``crew_of``: 08:30 to 16:30, the meal from 12 to 13."""


class Case:
    def __init__(self, net: TaskNet, crew: Crew, dates: Dates, signed_up: list[SignedUp], edits: TaskEdits) -> None:
        self.net, self.crew, self.dates, self.signed_up, self.edits = net, crew, dates, signed_up, edits

    def plan(self) -> Schedule:
        return solve(
            self.net, self.crew, self.dates, NOTHING_ORDERED, self.signed_up, self.edits, MONDAY, None, explained=False
        )  # fmt: skip


def some(draw: st.DrawFn, share: int = 4) -> bool:
    return draw(st.integers(1, share)) == 1


@st.composite
def cases(draw: st.DrawFn) -> Case:
    tasks: list[Task] = []
    for n in range(draw(st.integers(2, 5))):
        place = draw(st.sampled_from(["build day", "build day", "core team", "trade", "wait"]))
        kind = {"trade": "trade", "wait": "wait"}.get(place) or draw(st.sampled_from(["work", "work", "fixed"]))
        least = draw(st.integers(1, 3))
        after = [
            Lag(
                task=f"T{other}",
                minutes=draw(st.sampled_from([0, 0, 60, 240, 1440])),
                most=draw(st.sampled_from([None, None, 1440, 3 * 1440])) if draw(st.booleans()) else None,
            )
            for other in range(n)
            if some(draw, 3)
        ]
        after = [replace(lag, most=None) if lag.most is not None and lag.most < lag.minutes else lag for lag in after]
        saw = some(draw)
        made = task(
            f"T{n}",
            draw(st.sampled_from([0.5, 1, 2])) if kind in ("trade", "wait") else draw(st.sampled_from([1, 3, 7.3, 12])),
            (least, draw(st.integers(least, 5))) if kind in ("work", "fixed") else (0, 0),
            kind=kind, place=place, after=after, noisy=some(draw), tools="saw, guide" if saw else "",
            cautions=["LIFT"] if some(draw) else [],
            skills=draw(st.sampled_from([*[[]] * 6, ["carp"], ["lead"]])),
            zone=draw(st.sampled_from(["", "", "floor"])), one_day=some(draw) and kind == "work",
            where=draw(st.sampled_from(["hall", "hall", "workshop"])), volunteers=True,
        )  # fmt: skip
        tasks.append(made)
    codes = [one.code for one in tasks]
    hands = [one.code for one in tasks if one.kind in ("work", "fixed")]
    helpers = [
        Helper(
            id=f"h{n}", name=f"H{n}", age=draw(st.sampled_from(["adult", "16-17"])),
            lifting=draw(st.sampled_from(["any", "none"])), days=draw(st.sampled_from([["d1"], ["d1", "d2"]])),
        )
        for n in range(draw(st.integers(0, 2)))
    ]  # fmt: skip
    crew = crew_of(
        draw(st.lists(st.integers(4, 8), min_size=2, max_size=3)), core=draw(st.integers(1, 3)), hours=3,
        skill_shares={"carp": Decimal("0.5")}, helpers=helpers, skills=draw(st.sampled_from([["lead"], ["lead"], []])),
        tools=draw(st.sampled_from([{}, {"saw": 1}])), firm_sign_ups=some(draw),
    )  # fmt: skip
    days = [replace(day, quiet_until="10:00", quiet_from="15:00") if some(draw) else day for day in crew.days]
    crew = replace(crew, days=days)
    edits = TaskEdits(
        pins=[TaskPin(task=draw(st.sampled_from(hands)), day="d2")] if hands and some(draw, 6) else [],
        not_before=[NotBefore(task=draw(st.sampled_from(codes)), date=MONDAY + timedelta(days=8))]
        if some(draw, 6)
        else [],
        people=[
            PersonPin(task=code, person=draw(st.sampled_from(["h0", "p0"])), lead=some(draw, 2)) for code in hands[:2]
        ]
        if helpers and some(draw, 2)
        else [],
        appointments=[
            Appointment(task=one.code, date=MONDAY + timedelta(days=draw(st.integers(1, 11))))
            for one in tasks
            if one.kind in ("trade", "wait") and some(draw, 12)
        ],
    )
    hours = [HallHours(weekdays=[0, 1, 2, 3, 4, 5], start="09:00", end="20:00", quiet_from="19:00")]
    dates = Dates(
        lease_start=MONDAY + timedelta(days=draw(st.sampled_from([0, 2]))), opening_wish=date(2027, 12, 31),
        holidays=[Holiday(date=CLOSED, name="Closed")], hall_hours=hours if some(draw) else [],
    )  # fmt: skip
    signed = [SignedUp(id="1", day="d1", task=draw(st.sampled_from(hands)))] if hands and some(draw, 2) else []
    return Case(net_of(*tasks, opening(*codes)), crew, dates, signed, edits)


def minute(one: PlannedTask) -> tuple[int, int]:
    """Start and end in minutes from midnight of the first Monday."""
    return (
        (one.start_day - MONDAY).days * 1440 + one.start,
        (one.end_day - MONDAY).days * 1440 + one.end,
    )


def faults(case: Case, found: Schedule) -> Iterator[str]:
    tasks = {one.code: one for one in case.net.tasks}
    runs: dict[str, list[PlannedTask]] = {}
    for one in found.tasks:
        runs.setdefault(one.code.split("/")[0], []).append(one)
    for code in tasks:
        if code not in runs:
            yield f"{code} is not planned"
    yield from _orders(tasks, runs)
    yield from _windows(case, tasks, found)
    yield from _shares(case, tasks, found)
    yield from _wishes(case, tasks, runs)
    if found.bound > found.value:
        yield "bound above value"
    for aim in found.aims:
        if aim.bound > aim.value + 1e-9:
            yield f"bound of {aim.name} above its value"


def _orders(tasks: dict[str, Task], runs: dict[str, list[PlannedTask]]) -> Iterator[str]:
    for code, source in tasks.items():
        start = min(minute(one)[0] for one in runs[code])
        for lag in source.after:
            whole_days = "wait" in (source.kind, tasks[lag.task].kind) or code == "L10"
            end = max(minute(one)[1] for one in runs[lag.task])
            leeway = 720 if lag.minutes and lag.minutes % 1440 == 0 else 0
            if whole_days:  # waits and the opening are shown by whole days
                if start // 1440 < (end - 1440) // 1440:
                    yield f"{code} before {lag.task}"
            elif start - end < lag.minutes - leeway:
                yield f"{code} too soon after {lag.task}"
            if lag.most is not None and not whole_days and start - end > lag.most + 720:
                yield f"{code} too long after {lag.task}"
        spent = sum(
            (minute(one)[1] - minute(one)[0]) / 60 * (one.crew if source.kind == "work" else 1)
            for one in runs[code]
            if one.start_day == one.end_day
        )
        one_by_one = all(one.start_day == one.end_day for one in runs[code])
        if source.kind in ("work", "fixed") and one_by_one and spent < source.likely - 1e-6:
            yield f"{code} is given {spent} hours of {source.likely}"
        for one in runs[code]:
            if (
                source.kind in ("work", "fixed")
                and source.likely
                and not source.crew_min <= one.crew <= source.crew_max
            ):
                yield f"{code} with {one.crew}"
        if source.one_day and len({one.start_day for one in runs[code]} | {one.end_day for one in runs[code]}) > 1:
            yield f"{code} is split over days"


def _windows(case: Case, tasks: dict[str, Task], found: Schedule) -> Iterator[str]:
    days = {day.id: day for day in case.crew.days}
    bound_hall = bool(case.dates.hall_hours)
    for one in found.tasks:
        source = tasks[one.code.split("/")[0]]
        if source.where == "hall" and one.start_day < case.dates.lease_start and source.code != "L10":
            yield f"{one.code} before the lease"
        if one.build_day:
            day = days[one.build_day]
            if one.start_day != day.date or one.end_day != day.date:
                yield f"{one.code} not on the day of {day.id}"
            if not any(low <= one.start < one.end <= high for low, high in SHIFTS):
                yield f"{one.code} outside the shifts"
            if source.noisy and day.quiet_until and (one.start < 600 or one.end > 900):
                yield f"{one.code} is loud in quiet hours"
            if bound_hall and (one.start < 540 or one.end > 1200):
                yield f"{one.code} outside the landlord's hours"
        elif one.crew and one.start_day == one.end_day:
            if one.start_day.weekday() > 4 or one.start_day == CLOSED:
                yield f"{one.code} on a day off"
            last = 1140 if source.noisy else 1200
            if not 18 * 60 <= one.start < one.end <= (last if bound_hall and source.where == "hall" else 21 * 60):
                yield f"{one.code} outside the evening"
        elif one.place == "trade" and (one.start_day.weekday() > 4 or one.start_day == CLOSED):
            yield f"{one.code}: the firm works on a day off"


def _shares(case: Case, tasks: dict[str, Task], found: Schedule) -> Iterator[str]:
    """Who and what is used at every half hour."""
    pinned = {pin.task: pin.person for pin in case.edits.people}
    work = [one for one in found.tasks if one.start_day == one.end_day and one.place != "wait" and one.end > one.start]
    on_site = len(case.crew.core) - (1 if len(case.crew.core) >= 2 else 0)
    carpenters = sum("carp" in person.skills for person in case.crew.core)
    for at in sorted({minute(one)[0] for one in work}):
        now = [one for one in work if minute(one)[0] <= at < minute(one)[1]]
        mine = [tasks[one.code.split("/")[0]] for one in now]
        zones = [source.zone for source in mine if source.zone]
        if len(zones) > len(set(zones)):
            yield "a zone held twice"
        hands = [(one, source) for one, source in zip(now, mine, strict=True) if source.kind in ("work", "fixed")]
        if case.crew.tools and sum("saw" in source.tools for _, source in hands) > case.crew.tools["saw"]:
            yield "more saws than there are"
        people = [pinned[source.code] for _, source in hands if source.code in pinned]
        leaders = {person.id for person in case.crew.core if "lead" in person.skills}
        led_by_others = {pin.task for pin in case.edits.people if pin.lead and pin.person not in leaders}
        asked = sum(
            ceil(one.crew / 7) - (source.code in led_by_others) for one, source in hands if "lead" in source.skills
        )
        asked += sum(pinned.get(source.code) in leaders for _, source in hands if "lead" not in source.skills)
        if asked > len(leaders):
            yield "a task without its lead, or somebody leads two at once"
        if len(people) > len(set(people)):
            yield "somebody is on two tasks"
        if sum(one.crew for one, _ in hands if not one.build_day) > len(case.crew.core):
            yield "more of the core team than there are"
        for day in case.crew.days:
            here = [(one, source) for one, source in hands if one.build_day == day.id]
            limited = [helper for helper in case.crew.helpers if day.id in helper.days]
            limited = [helper for helper in limited if helper.age != "adult" or helper.lifting == "none"]
            free = day.places + on_site - len(limited)
            for count in range(1, len(here) + 1):
                for group in combinations(here, count):
                    may = sum(
                        any(
                            not (helper.age == "16-17" and "saw" in source.tools)
                            and not (helper.lifting == "none" and "LIFT" in source.cautions)
                            for _, source in group
                        )
                        for helper in limited
                    )
                    if sum(one.crew for one, _ in group) > free + may:
                        yield f"too many on {day.id}, or somebody on what they may not do"
            wanted = sum(ceil(one.crew / 7) for one, source in here if "carp" in source.skills)
            if wanted > carpenters + int(0.5 * day.places + 1e-9):
                yield f"too few carpenters on {day.id}"


def _wishes(case: Case, tasks: dict[str, Task], runs: dict[str, list[PlannedTask]]) -> Iterator[str]:
    ignored = {reason.where for reason in case.plan().reasons if reason.code.endswith("-ignored")}
    for pin in case.edits.pins:
        if any(one.build_day != pin.day for one in runs[pin.task]):
            yield f"{pin.task} is not on {pin.day}"
    for hold in case.edits.not_before:
        if min(one.start_day for one in runs[hold.task]) < hold.date:
            yield f"{hold.task} before it may"
    for agreed in case.edits.appointments:
        if agreed.task in ignored:
            continue
        wait = tasks[agreed.task].kind == "wait"
        day = max(one.end_day for one in runs[agreed.task]) if wait else min(one.start_day for one in runs[agreed.task])
        if day != agreed.date:
            yield f"{agreed.task} on {day}, not on its appointment"
    helpers = {helper.id: helper for helper in case.crew.helpers}
    helpers["p0"] = Helper(id="p0", name="", skills=[], days=["", *(day.id for day in case.crew.days)])
    for person in case.edits.people:
        if any(one.build_day not in helpers[person.person].days for one in runs[person.task]):
            yield f"{person.task} without {person.person}"
    if case.crew.firm_sign_ups:
        for signed in case.signed_up:
            if signed.task in runs and all(one.build_day != signed.day for one in runs[signed.task]):
                yield f"the sign-up for {signed.task} is left alone"


COUNTED = {"planned": 0, "refused": 0}


@settings(max_examples=1200, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(cases())
def test_every_rule_holds_in_every_plan(case: Case) -> None:
    found = case.plan()
    if found.opening is None:
        COUNTED["refused"] += 1
        assert any(reason.severity == "stop" for reason in found.reasons) or found.status == "infeasible"
        return
    COUNTED["planned"] += 1
    assert list(faults(case, found)) == []


def test_most_of_them_had_a_plan() -> None:
    """The check above must not pass for want of plans: five hundred of them were held against every rule."""
    if sum(COUNTED.values()):
        assert COUNTED["planned"] >= 500


def test_the_checker_sees_what_is_wrong() -> None:
    """Faults put into a sound plan by hand are found."""
    net = net_of(
        task("A", 3, (1, 1), zone="floor", tools="saw"), task("B", 3, (1, 1), zone="floor", after=[Lag(task="A")]),
        opening("A", "B"),
    )  # fmt: skip
    case = Case(
        net, crew_of([4, 4], tools={"saw": 1}), Dates(lease_start=MONDAY, opening_wish=SATURDAY), [], TaskEdits()
    )
    sound = case.plan()
    assert list(faults(case, sound)) == []

    def changed(code: str, **more: object) -> set[str]:
        tasks = [replace(one, **more) if one.code == code else one for one in sound.tasks]  # type: ignore[arg-type]
        return set(faults(case, replace(sound, tasks=tasks)))

    assert "a zone held twice" in changed("B", start=510, end=690)
    unled = replace(case.net, tasks=[replace(one, skills=["lead"]) for one in case.net.tasks[:2]] + case.net.tasks[2:])
    led = Case(unled, case.crew, case.dates, [], TaskEdits())
    assert "a task without its lead, or somebody leads two at once" in set(faults(led, sound))
    assert "B too soon after A" in changed("B", start=510, end=690)
    assert any("outside the shifts" in fault for fault in changed("B", start=700, end=880))
    assert "A with 9" in changed("A", crew=9)
    assert any("too many" in fault for fault in changed("A", crew=9))
    assert any("is given" in fault for fault in changed("A", end=540))
