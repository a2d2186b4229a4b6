"""Taking, changing and giving up a place.

A sign-up takes the lowest free number among the places of its day and, unless it is for wherever needed, among
those of its task. Whoever signs up holds the build's row meanwhile, so counts are true; should two still reach
for one number, the database's own constraints let one through and the other looks again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import TypeVar

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build
from buildout.people.web.models import User
from buildout.units.dates import day_text
from buildout.units.words import one_line
from scheduling.engine import ages
from scheduling.web import floods, guardians, keeping, services
from scheduling.web.models import ShareLink, SignUp, Swap, new_token
from scheduling.web.offers import DayOffer, day_offers, upcoming

TRIES = 5
MOST_AN_HOUR = 500
MOST_A_CONTACT = 60
"""Sign-ups in an hour under one contact: a whole class by its trainer, and a robot no further. Common practice, no
published source."""
LONGEST_LINE = 200
"""Most people waiting for one day."""
PLACE_FIELDS = ["day", "task", "day_place", "task_place", "waiting"]
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
    age: str = "adult",
    guardian: str = "",
    lifting: str = "any",
    power_tools: bool = True,
    wait: bool = False,
) -> SignUp:
    """Take a place. The same ``request_key`` again gives the sign-up it made the first time.

    With ``wait`` somebody for whom no place is free goes on the waiting list, behind those who wait already.
    Raises ``NoPlaceError`` when day or task is full or not offered, asks for skills not among ``skills``, or is not for
    people of this age.
    """

    def attempt() -> SignUp:
        build = Build.objects.select_for_update().get(pk=link.build_id)
        made = SignUp.objects.filter(build=build, request_key=request_key).first()
        if made is not None:
            return made
        came = _not_a_flood(build, contact)
        row = SignUp(
            build=build, day=day, task=task, day_place=0, name=name, contact=contact, skills=skills or [], note=note,
            age=age, guardian=guardian, lifting=lifting, power_tools=power_tools, request_key=request_key,
        )  # fmt: skip
        try:
            row.day_place, row.task_place = _free_places(build, row, day, task)
        except FullError as error:
            if not wait:
                raise
            _room_to_wait(build, day, error)
            row.waiting = timezone.now()
        _ask_guardian(build, row)
        row.save(force_insert=True)
        did = "is on the waiting list for" if row.waiting else "signed up for"
        builds.note(build, "sign-up", f"{row.first_name} {did} {_where(build, row)}", by_name=row.first_name)
        if came + 1 == floods.MANY:
            services.tell_owners_of_flood(build)
        return row

    return _until_it_holds(attempt)


def move(row: SignUp, day: str, task: str) -> SignUp:
    """Give up a place for another; the old one stays when the new one cannot be had (``NoPlaceError``)."""

    def attempt() -> SignUp:
        build = Build.objects.select_for_update().get(pk=row.build_id)
        now = SignUp.objects.select_for_update().get(pk=row.pk)
        if now.withdrawn is not None:
            raise NoPlaceError("You withdrew from this day before.", None)
        if (now.day, now.task) == (day, task) and now.waiting is None:
            return now
        left, was_waiting = now.day, now.waiting is not None
        now.day_place, now.task_place = _free_places(build, now, day, task, mine=now)
        now.day, now.task, now.waiting = day, task, None
        now.changes += 1
        if day != left or was_waiting:
            _ask_guardian(build, now)
        now.save(update_fields=[*PLACE_FIELDS, "changes", *guardians.ASK_FIELDS])
        move_up(build, left)
        builds.note(build, "sign-up", f"{now.first_name} changed to {_where(build, now)}", by_name=now.first_name)
        return now

    return _until_it_holds(attempt)


@transaction.atomic
def withdraw(row: SignUp, word: str = "") -> SignUp:
    """Give up a place, with a word for the organisers or without; doing it twice is the same as once."""
    build = Build.objects.select_for_update().get(pk=row.build_id)
    now = SignUp.objects.select_for_update().get(pk=row.pk)
    if now.withdrawn is None:
        now.withdrawn, now.word = timezone.now(), one_line(word, 200)
        now.changes += 1
        now.save(update_fields=["withdrawn", "changes", "word"])
        builds.note(build, "sign-up", f"{now.first_name} withdrew from {_where(build, now)}", by_name=now.first_name)
        if now.waiting is None:
            move_up(build, now.day)
    return now


def move_up(build: Build, day: str) -> list[SignUp]:
    """Give free places of a day to those who wait for them, first come first, and write what to tell each.

    Somebody whose task is full lets others past; their turn comes when it is free. Call it holding the build's row.
    """
    made: list[SignUp] = []
    today = builds.sheet_of(build).today()
    for row in SignUp.objects.in_line().filter(build=build, day=day):
        if row.hold_is_over(today):
            continue  # had a place already; comes in line again when the guardian has signed
        try:
            row.day_place, row.task_place = _free_places(build, row, row.day, row.task, mine=row)
        except NoPlaceError:
            continue
        row.waiting = None
        row.changes += 1
        asked = _ask_guardian(build, row)
        row.save(update_fields=[*PLACE_FIELDS, "changes", *guardians.ASK_FIELDS])
        where = _where(build, row)
        text = (
            f"Hello {row.first_name}. A place has come free and it is yours: {where}. If you cannot come, please "
            "say so on your page."
        )
        if asked:
            text += f" Your guardian has to sign: the place is held until {day_text(row.held_until, year=False)}."
        services.tell(row, text, build.name, "a place has come free for you")
        builds.note(
            build, "sign-up", f"{row.first_name} moved up from the waiting list: {where}", by_name=row.first_name
        )
        made.append(row)
    return made


@transaction.atomic
def take_out_together(build: Build, rows: Iterable[SignUp], *, by: User) -> tuple[int, int]:
    """Take out what a robot wrote: (how many went, how many moved up in their stead)."""
    build = Build.objects.select_for_update().get(pk=build.pk)
    going = SignUp.objects.filter(build=build, withdrawn=None, pk__in=[row.pk for row in rows])
    days = sorted(set(going.filter(waiting=None).values_list("day", flat=True)))
    now = timezone.now()
    count = going.update(withdrawn=now, taken_out=now, changes=F("changes") + 1)
    builds.note(build, "sign-up", f"{count} sign-ups that came in within one hour were taken out together", by=by)
    return count, sum(len(move_up(build, day)) for day in days)


@transaction.atomic
def bring_back(build: Build, rows: Iterable[SignUp], *, by: User) -> tuple[int, int]:
    """Undo taking out: (how many have a place again, how many wait for one), first come first."""
    build = Build.objects.select_for_update().get(pk=build.pk)
    placed = waiting = 0
    gone = SignUp.objects.filter(build=build, removed=None, pk__in=[row.pk for row in rows])
    for row in gone.exclude(taken_out=None).order_by("created", "pk"):
        stood = row.waiting is None
        row.withdrawn = row.taken_out = None
        row.changes += 1
        if stood:
            try:
                row.day_place, row.task_place = _free_places(build, row, row.day, row.task)
            except NoPlaceError:
                row.waiting = row.created
        _ask_guardian(build, row)
        placed, waiting = placed + (row.waiting is None), waiting + (row.waiting is not None)
        row.save()
    builds.note(build, "sign-up", f"{placed + waiting} sign-ups taken out together were brought back", by=by)
    return placed, waiting


@transaction.atomic
def fill_up(build: Build) -> list[SignUp]:
    """Move everybody up for whom there is room, on all days; for when a plan with more places is applied."""
    Build.objects.select_for_update().get(pk=build.pk)
    days = SignUp.objects.in_line().filter(build=build).values_list("day", flat=True)
    return [row for day in sorted(set(days)) for row in move_up(build, day)]


def pass_on_places() -> int:
    """Give places that are no longer held for a signature to those who wait for them; for once a day."""
    today = timezone.localdate()
    late = SignUp.objects.standing().filter(held_until__lt=today)
    builds_of = Build.objects.filter(pk__in=late.values("build"), current__isnull=False).order_by("pk")
    return sum(len(fill_up(build)) for build in builds_of)


# ------------------------------------------------------------------ changing places with somebody


@transaction.atomic
def ask_to_swap(asker: SignUp, asked_id: int) -> Swap:
    """Ask another helper to change places. Raises ``NoPlaceError`` when one of them may not do the other's task."""
    build = Build.objects.select_for_update().get(pk=asker.build_id)
    asker.refresh_from_db()
    asked = SignUp.objects.standing().filter(pk=asked_id, build=build).exclude(pk=asker.pk).first()
    if asked is None or asker.withdrawn or asker.waiting:
        raise NoPlaceError("That place is not there to swap any more.", None)
    _may_swap(build, asker, asked)
    Swap.objects.filter(asker=asker, answered=None).update(answered=timezone.now())
    swap = Swap.objects.create(asker=asker, asked=asked)
    text = (
        f"Hello {asked.first_name}. {asker.first_name} would like to swap with you: you would come for "
        f"{_where(build, asker)} instead of {_where(build, asked)}. Please answer on your page."
    )
    services.tell(asked, text, build.name, f"{asker.first_name} asks to swap")
    return swap


@transaction.atomic
def answer_swap(asked: SignUp, swap_id: int, *, yes: bool) -> Swap:
    """Agree or not; answering twice is the same as once. Raises ``NoPlaceError`` when it cannot be done any more."""
    build = Build.objects.select_for_update().get(pk=asked.build_id)
    swap = Swap.objects.select_related("asker", "asked").filter(pk=swap_id, asked=asked).first()
    if swap is None:
        raise NoPlaceError("That question is not open any more.", None)
    if swap.answered is not None:
        return swap
    swap.answered, swap.accepted = timezone.now(), yes
    one, other = swap.asker, swap.asked
    if yes:
        if one.withdrawn or one.waiting or other.withdrawn or other.waiting:
            raise NoPlaceError("One of you has no place any more, so there is nothing to swap.", None)
        _may_swap(build, one, other)
        mine, theirs = ((row.day, row.task, row.day_place, row.task_place) for row in (one, other))
        now = timezone.now()
        SignUp.objects.filter(pk=one.pk).update(waiting=now)  # lets go of its numbers for a moment
        for row, (day, task, day_place, task_place) in ((other, mine), (one, theirs)):
            row.day, row.task, row.day_place, row.task_place = day, task, day_place, task_place
            row.changes += 1
            _ask_guardian(build, row)
            row.save(update_fields=[*PLACE_FIELDS, "changes", *guardians.ASK_FIELDS])
        builds.note(
            build, "sign-up", f"{one.first_name} and {other.first_name} swapped places: {_where(build, one)} and "
            f"{_where(build, other)}", by_name=other.first_name,
        )  # fmt: skip
    said = f"said yes: you now come for {_where(build, one)}" if yes else "would rather keep the place"
    text = f"Hello {one.first_name}. {other.first_name} {said}."
    services.tell(one, text, build.name, f"{other.first_name} has answered")
    swap.save(update_fields=["answered", "accepted"])
    return swap


def _may_swap(build: Build, one: SignUp, other: SignUp) -> None:
    sheet = builds.sheet_of(build)
    offers = {offer.day.id: offer for offer in upcoming(day_offers(build, sheet), sheet.today())}
    for row, place in ((one, other), (other, one)):
        offer = offers.get(place.day)
        if offer is None:
            raise NoPlaceError("One of the two days is over or not held any more.", None)
        task = offer.task(place.task) if place.task else None
        why = task.refusal(row.skills, *row.limits) if task else ""
        if why:
            raise NoPlaceError(f"{row.first_name} cannot do {task.name if task else 'this'}. {why}", None)


# ------------------------------------------------------------------ the personal link


@transaction.atomic
def renew_link(row: SignUp, *, by: User) -> SignUp:
    """A new personal link; the one before, which others may have got hold of, opens nothing from now on."""
    build = Build.objects.select_for_update().get(pk=row.build_id)
    now = SignUp.objects.select_for_update().get(pk=row.pk)
    now.token, now.guardian_token = new_token(), new_token()  # whoever has the one may have read the other
    now.link_until = builds.sheet_of(build).today() + timedelta(days=keeping.LINK_DAYS)
    now.save(update_fields=["token", "guardian_token", "link_until"])
    text = (
        f"Hello {now.first_name}. Your own page has a new address, and the one before is closed. Day and place are as "
        "they were."
    )
    services.tell(now, text, build.name, "a new address for your page")
    builds.note(build, "sign-up", f"{now.first_name} was given a new personal link", by=by)
    return now


# ------------------------------------------------------------------ forgetting


@transaction.atomic
def remove(row: SignUp) -> None:
    """Take out everything about a helper, on request; the place goes to somebody else."""
    withdraw(row)
    build = Build.objects.select_for_update().get(pk=row.build_id)
    keeping.strip(build, SignUp.objects.select_for_update().get(pk=row.pk))


# ------------------------------------------------------------------ places


class FullError(NoPlaceError):
    """Day and task are offered and open to the helper, but every place is taken."""


def _not_a_flood(build: Build, contact: str) -> int:
    """No school has so many helpers: this is a robot, or somebody playing; one contact's leaves room for others.

    Says how many came in within the hour. They are not counted by the address they came from: a class stands in one
    hall on one network.
    """
    contacts = list(floods.within_an_hour(build).values_list("contact", flat=True))
    if contacts.count(contact) >= MOST_A_CONTACT:
        raise NoPlaceError(
            f"{MOST_A_CONTACT} sign-ups came in under this contact within an hour, so it takes no more for now. "
            "Nobody who is on the list has lost a place. Are so many really coming? Please tell the organisers.",
            None,
        )
    if len(contacts) >= MOST_AN_HOUR:
        raise NoPlaceError(
            f"More than {MOST_AN_HOUR} sign-ups came in within an hour, so the list takes no more for now. Nobody who "
            "is on it has lost a place. Please tell the organisers.",
            None,
        )
    return len(contacts)


def _room_to_wait(build: Build, day: str, full: FullError) -> None:
    if SignUp.objects.in_line().filter(build=build, day=day).count() >= LONGEST_LINE:
        raise NoPlaceError(
            f"This day is full and {LONGEST_LINE} people wait already. Please choose another.", full.offer
        )


def _until_it_holds(attempt: Callable[[], T]) -> T:
    for left in reversed(range(TRIES)):
        try:
            with transaction.atomic():
                return attempt()
        except IntegrityError:
            if not left:
                raise
    raise AssertionError("unreachable")


def _free_places(build: Build, who: SignUp, day: str, task: str, mine: SignUp | None = None) -> tuple[int, int | None]:
    """(place of the day, place of the task) for ``who``; places of ``mine`` count as free."""
    sheet = builds.sheet_of(build)
    offer = next((o for o in upcoming(day_offers(build, sheet), sheet.today()) if o.day.id == day), None)
    if offer is None:
        raise NoPlaceError("This day is not offered any more. Please choose another.", None)
    wanted = offer.task(task) if task else None
    if task and wanted is None:
        raise NoPlaceError("This task is not done on this day any more. Please choose another.", offer)
    if who.age == "under 14":
        raise NoPlaceError(ages.refusal("under 14", "any", skills=[], cautions=[], tools=""), offer)
    if wanted is not None and (why := wanted.refusal(who.skills, *who.limits)):
        raise NoPlaceError(why, offer)
    others = [row for row in offer.sign_ups if mine is None or row.pk != mine.pk]
    unsigned = [row for row in others if row.hold_is_over(sheet.today())]
    if len(others) - len(unsigned) >= offer.day.places:
        raise FullError("Somebody took the last place of this day just now. Please choose another day.", offer)
    if wanted is not None:
        beside = [row for row in others if row.task == task]
        late = [row for row in unsigned if row.task == task]
        if len(beside) - len(late) >= wanted.crew:
            raise FullError("Somebody took the last place of this task just now. These are still free.", offer)
        if len(beside) >= wanted.crew:
            others.remove(_give_up_hold(build, late))
    if len(others) >= offer.day.places:
        others.remove(_give_up_hold(build, [row for row in unsigned if row in others]))
    day_place = _lowest_free([row.day_place for row in others])
    if mine is not None and mine.day == day and mine.waiting is None:
        day_place = mine.day_place
    if wanted is None:
        return day_place, None
    return day_place, _lowest_free([row.task_place or 0 for row in others if row.task == task])


def _ask_guardian(build: Build, row: SignUp) -> bool:
    sheet = builds.sheet_of(build)
    return guardians.ask_anew(row, guardians.date_of(row, sheet), sheet.today())


def _give_up_hold(build: Build, rows: list[SignUp]) -> SignUp:
    """Send whose guardian should have signed first on the waiting list, and write what to tell them."""
    row = min(rows, key=lambda row: (str(row.held_until), row.pk))
    row.waiting = timezone.now()
    row.changes += 1
    row.save(update_fields=["waiting", "changes"])
    where = _where(build, row)
    text = (
        f"Hello {row.first_name}. Your guardian has not signed until {day_text(row.held_until, year=False)}, so your "
        f"place went to somebody who waited: {where}. You are on the waiting list; your turn comes when your guardian "
        "has signed."
    )
    services.tell(row, text, build.name, "your place is no longer held")
    did = f"{row.first_name} is on the waiting list again, no guardian having signed: {where}"
    builds.note(build, "sign-up", did, by_name=row.first_name)
    return row


def _lowest_free(taken: list[int]) -> int:
    return next(number for number in range(1, len(taken) + 2) if number not in set(taken))


def _where(build: Build, row: SignUp) -> str:
    sheet = builds.sheet_of(build)
    offer = next((o for o in day_offers(build, sheet) if o.day.id == row.day), None)
    if offer is None:
        return f"the day {row.day}"
    task = offer.task(row.task) if row.task else None
    return f"{day_text(offer.day.date, year=False)}, {task.name if task else 'wherever needed'}"
