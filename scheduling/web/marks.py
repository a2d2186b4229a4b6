"""The marks of a build day: taking them once, in order, and what stands after them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any

from django.db import transaction
from django.utils import timezone

from buildout.builds.web.models import Build
from buildout.builds.web.pictures import PictureError, read_picture, small_jpeg
from buildout.builds.web.services import Sheet
from buildout.units.words import one_line
from scheduling.engine import day as engine
from scheduling.engine.day import TaskDay, TaskMark
from scheduling.engine.types import CorePerson
from scheduling.web.models import DayMark, DayPerson, DayPhoto, SignUp
from scheduling.web.offers import DayOffer

Kind = DayMark.Kind
Outcome = DayMark.Outcome
TASK_KINDS = ("start", "crew", "stop", "finish", "reopen")
PERSON_KINDS = ("here", "gone", "heard")
OPEN_KINDS = ("problem", "short")
CLOSES = {"solved": "problem", "got": "short", "bought": "short"}
COUNTS = ("meals", "carriers")
LONGEST_KEPT = timedelta(days=3)
"""Marks kept on a telephone longer than this count as made this long ago."""
LARGEST_PHOTO = 15_000_000
PHOTO_SIDE = 1280


class MarkError(ValueError):
    """A mark that cannot be made; the text says why and what to do."""


@dataclass(frozen=True)
class Person:
    """Somebody who may be on the day: a helper who signed up, or one of the core team."""

    key: str
    name: str
    sign_up: SignUp | None = None
    core: str = ""

    @property
    def id(self) -> str:
        """What the plan calls them."""
        return self.sign_up.ref if self.sign_up else self.core

    @property
    def task(self) -> str:
        return self.sign_up.task if self.sign_up else ""


@dataclass
class Day:
    """A build day as its marks leave it."""

    tasks: dict[str, TaskDay]
    problems: list[DayMark]
    shorts: list[DayMark]
    conflicts: list[DayMark]
    here: dict[str, datetime]
    gone: set[str]
    heard: set[str]
    counts: dict[str, int]
    marks: list[DayMark] = field(default_factory=list)

    def present(self, people: Iterable[Person]) -> list[Person]:
        return [person for person in people if person.key in self.here and person.key not in self.gone]


def roster(sheet: Sheet, offer: DayOffer) -> list[Person]:
    """The core team, then the helpers in the order of their places."""
    crew = sheet.document.get("crew", {}).get("core", [])
    core = [CorePerson(id=row["id"], name=row["name"], skills=row.get("skills", [])) for row in crew]
    return [Person(f"core-{person.id}", person.name.split()[0], core=person.id) for person in core] + [
        Person(f"s{row.pk}", row.first_name, sign_up=row) for row in offer.sign_ups
    ]


def task_mark(mark: DayMark, people: Sequence[str]) -> TaskMark:
    return TaskMark(
        task=mark.task,
        kind=mark.kind,  # type: ignore[arg-type]
        at=mark.at,
        people=list(people),
        count=mark.count or 0,
    )


def read_day(build: Build, day: str) -> Day:
    """Two queries, whatever the number of marks."""
    rows = DayMark.objects.filter(build=build, day=day).select_related("photo").defer("photo__jpeg")
    marks = list(rows.prefetch_related("people").order_by("pk"))
    people = {mark.pk: [person.key for person in mark.people.all()] for mark in marks}
    taken = [mark for mark in marks if mark.outcome == Outcome.TAKEN]
    closed = {mark.about_id for mark in taken if mark.kind in CLOSES}
    found = Day(
        tasks=engine.follow(task_mark(mark, people[mark.pk]) for mark in taken if mark.kind in TASK_KINDS),
        problems=[mark for mark in taken if mark.kind == Kind.PROBLEM and mark.pk not in closed],
        shorts=[mark for mark in taken if mark.kind == Kind.SHORT and mark.pk not in closed],
        conflicts=[mark for mark in marks if mark.outcome == Outcome.CONFLICT],
        here={}, gone=set(), heard=set(), counts={}, marks=marks,
    )  # fmt: skip
    for mark in taken:
        if mark.kind == Kind.HERE:
            for key in people[mark.pk]:
                found.here.setdefault(key, mark.at)
                found.gone.discard(key)
        elif mark.kind == Kind.GONE:
            found.gone.update(people[mark.pk])
        elif mark.kind == Kind.HEARD:
            found.heard.update(people[mark.pk])
        elif mark.kind in COUNTS:
            found.counts[mark.kind] = mark.count or 0
    return found


def take(
    build: Build,
    offer: DayOffer,
    people: Sequence[Person],
    kind: str,
    target: str = "",
    *,
    key: str,
    by_name: str,
    ago: timedelta = timedelta(0),
    on_it: Sequence[str] = (),
    text: str = "",
    count: int | None = None,
    photo: bytes = b"",
) -> DayMark:
    """Take a mark once: the same ``key`` again gives the mark it made the first time.

    ``target`` is a task code, a person's key, or the number of the mark that is answered, as ``kind`` asks.
    A mark that contradicts what others said is kept and changes nothing until the crew lead has looked at it.
    Raises ``MarkError`` for what makes no sense on this day.
    """
    jpeg = shrink(photo) if photo else b""
    with transaction.atomic():
        Build.objects.select_for_update().get(pk=build.pk)
        made = DayMark.objects.filter(build=build, key=key).first()
        if made is not None:
            return made
        now = timezone.now()
        at = now - min(max(ago, timedelta(0)), LONGEST_KEPT)
        mark = DayMark(
            build=build, day=offer.day.id, kind=kind, key=key, at=at, received=now, by_name=by_name[:120],
            text=one_line(text, 400),
        )  # fmt: skip
        day = read_day(build, offer.day.id)
        spoken_of = _fill(mark, offer, people, day, target, list(on_it), count)
        mark.save()
        DayPerson.objects.bulk_create(
            [DayPerson(mark=mark, sign_up=person.sign_up, core=person.core) for person in spoken_of]
        )
        if jpeg:
            DayPhoto.objects.create(mark=mark, jpeg=jpeg)
        if mark.kind in ("start", "crew") and mark.outcome == Outcome.TAKEN:
            _leave_other_tasks(mark, day, people, spoken_of)
    return mark


def _leave_other_tasks(mark: DayMark, day: Day, people: Sequence[Person], going: Sequence[Person]) -> None:
    """Whoever goes to a task leaves the one they are on: nobody works at two places, and hours count once.

    A task that loses its last one is stopped. What others said later than ``mark`` stands.
    """
    known, gone = {person.key: person for person in people}, {person.key for person in going}
    for code, state in sorted(day.tasks.items()):
        if code == mark.task or state.state != "under way" or not gone & set(state.people) or mark.at < state.since:
            continue
        rest = [known[key] for key in state.people if key in known and key not in gone]
        left = DayMark.objects.create(
            build=mark.build, day=mark.day, kind=Kind.CREW if rest else Kind.STOP, task=code, at=mark.at,
            received=mark.received, by_name=mark.by_name, count=len(rest) or None,
            key=sha256(f"{mark.key}:{code}".encode()).hexdigest(),
        )  # fmt: skip
        DayPerson.objects.bulk_create(
            [DayPerson(mark=left, sign_up=person.sign_up, core=person.core) for person in rest]
        )


def _fill(
    mark: DayMark,
    offer: DayOffer,
    people: Sequence[Person],
    day: Day,
    target: str,
    on_it: list[str],
    count: int | None,
) -> list[Person]:
    """Complete a mark by what its kind needs; returns the people it speaks of."""
    known = {person.key: person for person in people}
    if mark.kind in TASK_KINDS:
        task = offer.task(target)
        if task is None:
            raise MarkError(f"There is no task {target or 'without a code'} on this day.")
        mark.task = target
        spoken_of: list[Person] = []
        if mark.kind in ("start", "crew"):
            spoken_of = [known[key] for key in dict.fromkeys(on_it) if key in known] or usual_crew(people, day, target)
            mark.count = len(spoken_of) or (count if count is not None else task.crew)
        said = task_mark(mark, [person.key for person in spoken_of])
        before = day.tasks.get(target)
        mark.outcome = Outcome(engine.judge(before, said))
        if mark.outcome == Outcome.CONFLICT:
            last = next(m for m in [*reversed(day.marks), mark] if m.task == target and m.kind in TASK_KINDS)
            mark.against = (
                "Nobody has started it"
                if before is None
                else f"{last.by_name} {last.get_kind_display()} it, and it is {before.state}"
            )
        return spoken_of
    if mark.kind in PERSON_KINDS:
        if target == "everybody":
            found = [p for p in day.present(people) if mark.kind != "heard" or p.key not in day.heard]
        else:
            found = [known[target]] if target in known else []
        if not found:
            raise MarkError("Nobody to mark: first say who has arrived.")
        return found
    if mark.kind in OPEN_KINDS:
        if not mark.text:
            example = "the third sheet is cracked" if mark.kind == "problem" else "two rolls of seam tape"
            raise MarkError(f"Say what it is in a few words, for example: {example}.")
        if target and offer.task(target) is None:
            raise MarkError(f"There is no task {target} on this day.")
        mark.task = target
        return []
    if mark.kind in CLOSES:
        about = next((m for m in day.marks if str(m.pk) == target and m.kind == CLOSES[mark.kind]), None)
        if about is None:
            raise MarkError("That is not on the list of this day any more.")
        mark.about, mark.task, mark.text = about, about.task, about.text
        if about not in (*day.problems, *day.shorts):
            mark.outcome = Outcome.ALREADY
        return []
    if mark.kind in COUNTS:
        if count is None:
            raise MarkError("Write a number, for example 24.")
        mark.count = count
        return []
    raise MarkError("The board does not know this button. Load the page again.")


def usual_crew(people: Sequence[Person], day: Day, task: str) -> list[Person]:
    """Who is taken to be on a task when nobody is ticked: those who signed up for it, as far as they are here."""
    signed = [person for person in people if person.task == task and person.key not in day.gone]
    return [person for person in signed if person.key in day.here] or signed


@transaction.atomic
def answer(asked: DayMark, kind: DayMark.Kind, *, by_name: str) -> DayMark | None:
    """Close what was asked for, from outside the board; None where it was closed already."""
    Build.objects.select_for_update().get(pk=asked.build_id)
    closing = [kind for kind, opened in CLOSES.items() if opened == asked.kind]
    if asked.answers.filter(kind__in=closing).exists():
        return None
    return DayMark.objects.create(
        build=asked.build, day=asked.day, kind=kind, about=asked, task=asked.task, at=timezone.now(),
        by_name=by_name[:120],
    )  # fmt: skip


@transaction.atomic
def settle(build: Build, mark_id: int, *, take_it: bool, by_name: str) -> DayMark:
    """The crew lead decides on a contradiction: the mark counts from now on, or it is put aside."""
    Build.objects.select_for_update().get(pk=build.pk)
    mark = DayMark.objects.filter(build=build, pk=mark_id).first()
    if mark is None:
        raise MarkError("That is not on the list of this day any more.")
    if mark.outcome != Outcome.CONFLICT:
        return mark
    DayMark.objects.filter(pk=mark.pk).update(outcome=Outcome.SETTLED)
    if take_it:
        again = DayMark.objects.create(
            build=build, day=mark.day, kind=mark.kind, task=mark.task, text=mark.text, count=mark.count,
            about=mark, at=timezone.now(), by_name=by_name,
        )  # fmt: skip
        DayPerson.objects.bulk_create(
            [DayPerson(mark=again, sign_up=p.sign_up, core=p.core) for p in mark.people.select_related("sign_up")]
        )
    mark.refresh_from_db()
    return mark


def shrink(data: bytes) -> bytes:
    """A telephone's picture as a small JPEG, the right way up, without place and device. Raises ``MarkError``."""
    if len(data) > LARGEST_PHOTO:
        raise MarkError(f"This picture is larger than {LARGEST_PHOTO // 1_000_000} MB. Send a smaller one.")
    try:
        return small_jpeg(read_picture(data), PHOTO_SIDE, 72)
    except PictureError as error:
        raise MarkError(str(error)) from error


def words(mark: DayMark, names: dict[str, str]) -> dict[str, Any]:
    """A mark as the board tells it."""
    return {
        "mark": mark,
        "what": f"{mark.by_name} {mark.get_kind_display()} {names.get(mark.task, mark.task)}".strip(),
    }
