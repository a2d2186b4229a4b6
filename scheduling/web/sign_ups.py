"""Taking, changing and giving up a place.

A sign-up takes the lowest free number among the places of its day and, unless it is for wherever needed, among
those of its task. Whoever signs up holds the build's row meanwhile, so counts are true; should two still reach
for one number, the database's own constraints let one through and the other looks again.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from django.db import IntegrityError, transaction
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build
from buildout.units.dates import day_text
from scheduling.web.models import ShareLink, SignUp
from scheduling.web.offers import DayOffer, day_offers, upcoming

TRIES = 5
T = TypeVar("T")


class NoPlaceError(Exception):
    """The place asked for cannot be had; ``offer`` is the day as it stands now, none when it is not offered."""

    def __init__(self, text: str, offer: DayOffer | None) -> None:
        super().__init__(text)
        self.offer = offer


def sign_up(
    link: ShareLink,
    day: str,
    task: str,
    *,
    name: str,
    contact: str,
    request_key: str,
    skills: list[str] | None = None,
    note: str = "",
) -> SignUp:
    """Take a place. The same ``request_key`` again gives the sign-up it made the first time.

    Raises ``NoPlaceError`` when day or task is full or not offered, or asks for skills not among ``skills``.
    """

    def attempt() -> SignUp:
        build = Build.objects.select_for_update().get(pk=link.build_id)
        made = SignUp.objects.filter(build=build, request_key=request_key).first()
        if made is not None:
            return made
        day_place, task_place = _free_places(build, day, task, skills or [])
        row = SignUp.objects.create(
            build=build,
            day=day,
            task=task,
            day_place=day_place,
            task_place=task_place,
            name=name,
            contact=contact,
            skills=skills or [],
            note=note,
            request_key=request_key,
        )
        builds.note(build, "sign-up", f"{row.first_name} signed up for {_where(build, row)}", by_name=row.first_name)
        return row

    return _until_it_holds(attempt)


def move(row: SignUp, day: str, task: str) -> SignUp:
    """Give up a place for another; the old one stays when the new one cannot be had (``NoPlaceError``)."""

    def attempt() -> SignUp:
        build = Build.objects.select_for_update().get(pk=row.build_id)
        now = SignUp.objects.select_for_update().get(pk=row.pk)
        if now.withdrawn is not None:
            raise NoPlaceError("You withdrew from this day before.", None)
        if (now.day, now.task) == (day, task):
            return now
        now.day_place, now.task_place = _free_places(build, day, task, now.skills, now)
        now.day, now.task = day, task
        now.changes += 1
        now.save(update_fields=["day", "task", "day_place", "task_place", "changes"])
        builds.note(build, "sign-up", f"{now.first_name} changed to {_where(build, now)}", by_name=now.first_name)
        return now

    return _until_it_holds(attempt)


@transaction.atomic
def withdraw(row: SignUp) -> SignUp:
    """Give up a place; doing it twice is the same as once."""
    build = Build.objects.select_for_update().get(pk=row.build_id)
    now = SignUp.objects.select_for_update().get(pk=row.pk)
    if now.withdrawn is None:
        now.withdrawn = timezone.now()
        now.changes += 1
        now.save(update_fields=["withdrawn", "changes"])
        builds.note(build, "sign-up", f"{now.first_name} withdrew from {_where(build, now)}", by_name=now.first_name)
    return now


def _until_it_holds(attempt: Callable[[], T]) -> T:
    for left in reversed(range(TRIES)):
        try:
            with transaction.atomic():
                return attempt()
        except IntegrityError:
            if not left:
                raise
    raise AssertionError("unreachable")


def _free_places(
    build: Build, day: str, task: str, skills: list[str], mine: SignUp | None = None
) -> tuple[int, int | None]:
    """(place of the day, place of the task) for somebody new, or for ``mine``, whose own places count as free."""
    sheet = builds.sheet_of(build)
    offer = next((o for o in upcoming(day_offers(build, sheet), sheet.today()) if o.day.id == day), None)
    if offer is None:
        raise NoPlaceError("This day is not offered any more. Please choose another.", None)
    wanted = offer.task(task) if task else None
    if task and wanted is None:
        raise NoPlaceError("This task is not done on this day any more. Please choose another.", offer)
    if wanted is not None and not wanted.suits(skills):
        raise NoPlaceError("This task is for practised people only. These are open to you.", offer)
    others = [row for row in offer.sign_ups if mine is None or row.pk != mine.pk]
    if len(others) >= offer.day.places:
        raise NoPlaceError("Somebody took the last place of this day just now. Please choose another day.", offer)
    day_place = _lowest_free([row.day_place for row in others])
    if mine is not None and mine.day == day:
        day_place = mine.day_place
    if wanted is None:
        return day_place, None
    beside = [row.task_place or 0 for row in others if row.task == task]
    if len(beside) >= wanted.crew:
        raise NoPlaceError("Somebody took the last place of this task just now. These are still free.", offer)
    return day_place, _lowest_free(beside)


def _lowest_free(taken: list[int]) -> int:
    return next(number for number in range(1, len(taken) + 2) if number not in set(taken))


def _where(build: Build, row: SignUp) -> str:
    sheet = builds.sheet_of(build)
    offer = next((o for o in day_offers(build, sheet) if o.day.id == row.day), None)
    if offer is None:
        return f"the day {row.day}"
    task = offer.task(row.task) if row.task else None
    return f"{day_text(offer.day.date, year=False)}, {task.name if task else 'wherever needed'}"
