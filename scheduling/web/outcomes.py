"""What the boards of past build days say about hours and turn-out, beside what was forecast before."""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple

from buildout.builds.web.models import Build, Revision
from buildout.builds.web.services import Sheet
from scheduling.engine.calendars import read_time
from scheduling.engine.day import crew_hours, follow
from scheduling.engine.learning import DayTurnOut, FinishedTask, no_show_of
from scheduling.engine.types import BuildDay, Crew, TaskNet
from scheduling.web.marks import TASK_KINDS, task_mark
from scheduling.web.models import DayMark, SignUp
from scheduling.web.offers import build_days


class Outcomes(NamedTuple):
    finished: list[FinishedTask]
    turn_out: list[DayTurnOut]


class Told(NamedTuple):
    """What a revision's forecast said."""

    number: int
    on: date
    opening: date | None
    p50: date | None
    p80: date | None


class OpeningTold(NamedTuple):
    """How the forecasts told before the opening stand against it."""

    of: int
    by_p50: int
    by_p80: int


def outcomes(build: Build, sheet: Sheet) -> Outcomes:
    """Five queries, whatever the number of days; tasks count when the plan has them done.

    Hours are those on the boards of build days: work on evenings is not marked and so not in them.
    """
    days = {day.id: day for day in build_days(sheet) if day.date <= sheet.today()}
    kinds = [*TASK_KINDS, DayMark.Kind.HERE]
    marks = DayMark.objects.filter(build=build, day__in=days, kind__in=kinds, outcome=DayMark.Outcome.TAKEN)
    by_day: dict[str, list[DayMark]] = defaultdict(list)
    for mark in marks.prefetch_related("people").order_by("pk"):
        by_day[mark.day].append(mark)
    if not by_day:
        return Outcomes([], [])
    done: dict[str, str] = sheet.document.get("tasks", {}).get("done", {})
    hours: dict[str, float] = defaultdict(float)
    first: dict[str, date] = {}
    came: dict[str, set[int]] = defaultdict(set)
    for day_id, rows in sorted(by_day.items(), key=lambda pair: days[pair[0]].date):
        said = [task_mark(mark, [p.key for p in mark.people.all()]) for mark in rows if mark.kind in TASK_KINDS]
        day = days[day_id]
        for code, task in follow(said).items():
            hours[code] += crew_hours(task, _at(sheet, day, day.end), _breaks(sheet, day))
            first.setdefault(code, day.date)
        for mark in rows:
            if mark.kind == DayMark.Kind.HERE:
                came[day_id] |= {p.sign_up_id for p in mark.people.all() if p.sign_up_id}
    turned_out = [day for day in sorted(days.values(), key=lambda day: (day.date, day.id)) if came.get(day.id)]
    before = _in_force(
        build, sheet, {day for code, day in first.items() if code in done} | {day.date for day in turned_out}
    )
    finished = []
    for code in sorted(set(hours) & set(done)):
        then = next(
            (
                one
                for one in before[first[code]].part("tasks", TaskNet).tasks
                if one.code == code and one.kind == "work"
            ),
            None,
        )
        if then is not None and hours[code] > 0:
            whole = 1 / (1 - then.begun)  # what was done before the boards knew of it took as long in proportion
            finished.append(
                FinishedTask(
                    code=code,
                    day=date.fromisoformat(done[code]),
                    hours=hours[code] * whole,
                    low=then.low * whole,
                    likely=then.likely * whole,
                    high=then.high * whole,
                )
            )
    counted = SignUp.objects.standing().filter(build=build, day__in=[day for day in came if came[day]])
    signed: dict[str, int] = defaultdict(int)
    for day_id in counted.values_list("day", flat=True):
        signed[day_id] += 1
    turn_out = [
        DayTurnOut(
            day=day.id,
            date=day.date,
            signed=signed[day.id],
            came=len(came[day.id]),
            held=no_show_of(before[day.date].section("crew", Crew)),
        )
        for day in turned_out
        if signed[day.id]
    ]
    return Outcomes(finished, turn_out)


def _at(sheet: Sheet, day: BuildDay, time: str) -> datetime:
    try:
        minutes = read_time(time)
    except ValueError:
        minutes = 17 * 60
    return datetime(day.date.year, day.date.month, day.date.day, tzinfo=sheet.zone) + timedelta(minutes=minutes)


def _breaks(sheet: Sheet, day: BuildDay) -> list[tuple[datetime, datetime]]:
    start = _at(sheet, day, day.meal_start)
    return [(start, start + timedelta(minutes=max(0, day.meal_minutes)))]


def _in_force(build: Build, sheet: Sheet, days: set[date]) -> dict[date, Sheet]:
    """The revision in force when each day began, the first one where there was none."""
    if not days:
        return {}
    made = list(Revision.objects.filter(build=build).order_by("number").values_list("pk", "created"))
    chosen: dict[date, int] = {}
    for day in days:
        dawn = datetime(day.year, day.month, day.day, tzinfo=sheet.zone).astimezone(UTC)
        chosen[day] = max((pk for pk, created in made if created <= dawn), default=made[0][0])
    opened = {revision.pk: Sheet(revision) for revision in Revision.objects.filter(pk__in=set(chosen.values()))}
    return {day: opened[pk] for day, pk in chosen.items()}


def told(build: Build, sheet: Sheet) -> list[Told]:
    """What the revisions said about the opening, latest first, where it differs from the one before."""
    rows = Revision.objects.filter(build=build).order_by("number").values_list("number", "created", "totals")
    found: list[Told] = []
    for number, created, totals in rows:
        opening, p50, p80 = (_day(totals, key) for key in ("opening", "p50", "p80"))
        if not found or (found[-1].opening, found[-1].p50, found[-1].p80) != (opening, p50, p80):
            found.append(Told(number, sheet.local(created).date(), opening, p50, p80))
    return found[::-1]


def held(said: list[Told], opened: date) -> OpeningTold:
    """Count the forecasts told before the day it opened that had it open by their days; none known: not by it."""
    before = [one for one in said if one.on < opened]
    return OpeningTold(
        of=len(before),
        by_p50=sum(one.p50 is not None and opened <= one.p50 for one in before),
        by_p80=sum(one.p80 is not None and opened <= one.p80 for one in before),
    )


def _day(totals: dict[str, Any], key: str) -> date | None:
    value = totals.get(key)
    return date.fromisoformat(value) if value else None
