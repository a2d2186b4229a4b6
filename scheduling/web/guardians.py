"""Whose guardian has to sign, how long a place is held for it, and how both are said.

A signature is for one person on one build day at one date, and for the tasks that are permitted at that age. Whoever
goes to another day, or whose day is moved to another date, needs a new one.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest

from buildout.builds.web.mail import mail
from buildout.builds.web.models import Build
from buildout.builds.web.services import Sheet
from buildout.units.dates import date_text, day_text
from scheduling.web import links
from scheduling.web.models import Signature, SignUp
from scheduling.web.offers import DayOffer, TaskOffer, build_days

HELD_DAYS = 7
"""So long a place is held for a guardian's signature; where the day comes sooner, until the day itself, on which the
crew lead can take it. Common practice, no published source."""


def hold(day: date, today: date) -> date:
    """Last day on which a place on ``day`` is held for a signature asked for on ``today``.

    >>> hold(date(2027, 3, 20), date(2027, 3, 1)), hold(date(2027, 3, 6), date(2027, 3, 1))
    (datetime.date(2027, 3, 8), datetime.date(2027, 3, 6))
    """
    return max(today, min(day, today + timedelta(days=HELD_DAYS)))


def date_of(row: SignUp, sheet: Sheet) -> date | None:
    """Date of somebody's build day; none where the plan does not hold the day any more."""
    return next((day.date for day in build_days(sheet) if day.id == row.day), None)


def signatures(rows: Iterable[SignUp], day: date | None) -> dict[int, Signature]:
    """What counts for each of ``rows`` on their day at that date, by the row. No query where nobody is under 18."""
    return _counting({row.pk: (row, day) for row in rows if row.minor}) if day is not None else {}


def signatures_on(offers: Iterable[DayOffer]) -> dict[int, Signature]:
    """``signatures`` of several days together, in one query."""
    return _counting({row.pk: (row, offer.day.date) for offer in offers for row in offer.sign_ups if row.minor})


def _counting(minors: dict[int, tuple[SignUp, date]]) -> dict[int, Signature]:
    found: dict[int, Signature] = {}
    for one in Signature.objects.filter(sign_up__in=minors).order_by("pk") if minors else ():
        row, day = minors[one.sign_up_id]
        if (one.day, one.date) == (row.day, day):
            found[row.pk] = one
    return {pk: one for pk, one in found.items() if one.yes}


def signature(row: SignUp, day: date | None) -> Signature | None:
    return signatures([row], day).get(row.pk)


def ask_anew(row: SignUp, day: date | None, today: date) -> bool:
    """Hold the place of somebody under 18 until the guardian has signed for ``day``; the caller saves the row.

    Says whether there is somebody to ask: not where nobody is under 18, nor where that day is signed for already.
    """
    if not row.minor or day is None or row.waiting is not None or signature(row, day) is not None:
        row.held_until = None
        return False
    row.held_until, row.guardian_told = hold(day, today), None
    return True


ASK_FIELDS = ["held_until", "guardian_told"]


def permitted(row: SignUp, offer: DayOffer) -> list[TaskOffer]:
    """The tasks of a day that somebody of this age, with these limits, may take part in."""
    return [task for task in offer.tasks if task.suits(row.skills, *row.limits)]


# ------------------------------------------------------------------ in words


def words(row: SignUp, signed: Signature | None, today: date) -> str:
    """How it stands with a minor's guardian, for the owner and the crew lead."""
    if signed is not None:
        taken = f", taken by {signed.taken_by}" if signed.taken_by else ""
        return f"guardian has signed: {signed.name}, {date_text(signed.at)}, {signed.get_how_display()}{taken}"
    if row.held_until is None or row.waiting is not None:
        return "guardian has not signed"
    if row.hold_is_over(today):
        return (
            f"guardian has not signed until {day_text(row.held_until, year=False)}: the next who wants the place has it"
        )
    return f"guardian has not signed; the place is held until {day_text(row.held_until, year=False)}"


def states(rows: Iterable[SignUp], day: date | None, today: date) -> dict[int, str]:
    """``words`` for every minor among ``rows``, by the row."""
    minors = [row for row in rows if row.minor]
    signed = signatures(minors, day)
    return {row.pk: words(row, signed.get(row.pk), today) for row in minors}


def request_text(build: Build, row: SignUp, offer: DayOffer, address: str) -> str:
    """What to send to the guardian, ready for anybody's messenger."""
    day = offer.day
    until = f" The place is held until {day_text(row.held_until, year=False)}." if row.held_until else ""
    return (
        f"Hello {row.guardian_name}. {row.name} would like to help on a build day of {build.name}: "
        f"{day_text(day.date)}, {day.start} to {day.end}. Under 18 this needs your signature. Please read what is done "
        f"on that day, and sign or say no.{until} {address}"
    )


def to_ask(
    request: HttpRequest, build: Build, offers: list[DayOffer], signed: dict[int, Signature], today: date
) -> list[dict[str, Any]]:
    """Guardians who have not signed for a day of ``offers``, each with the text to send them."""
    found = []
    for offer in offers:
        for row in offer.sign_ups:
            if row.minor and row.pk not in signed:
                text = request_text(build, row, offer, links.guardian_address(request, row))
                link = links.message_link(row.guardian_contact, request_subject(build, row), text)
                found.append(
                    {"row": row, "day": offer.day, "text": text, "state": words(row, None, today), "link": link}
                )
    return found


def request_subject(build: Build, row: SignUp) -> str:
    return f"{build.name}: please sign for {row.first_name}"


def ask_by_mail(build: Build, row: SignUp, offer: DayOffer, address: str) -> bool:
    """Mail the request where the guardian has an address and mail is set up; otherwise it is on the list to tell."""
    text = request_text(build, row, offer, address)
    return mail(request_subject(build, row), f"{text}\n", row.guardian_contact)
