"""A guardian signs for somebody under 18, or does not agree."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build
from buildout.units.dates import day_text
from buildout.units.words import one_line
from scheduling.web import guardians, services, sign_ups
from scheduling.web.models import Signature, SignUp


class ConsentError(Exception):
    """There is nothing to sign for any more; the text says why."""


def _locked(row: SignUp) -> tuple[Build, SignUp, date]:
    build = Build.objects.select_for_update().get(pk=row.build_id)
    now = SignUp.objects.select_for_update().get(pk=row.pk)
    if now.withdrawn is not None or not now.minor:
        raise ConsentError("This place was given up, so there is nothing to sign.")
    day = guardians.date_of(now, builds.sheet_of(build))
    if day is None:
        raise ConsentError("This day is not held any more, so there is nothing to sign yet.")
    return build, now, day


@transaction.atomic
def sign(row: SignUp, name: str, *, how: Signature.How = Signature.How.LINK, taken_by: str = "") -> Signature:
    """Keep a guardian's signature for the day as it is planned now; signing twice is the same as once.

    The place is then held for good; whoever had lost it meanwhile gets it back if it is free. Raises
    ``ConsentError``.
    """
    build, now, day = _locked(row)
    made = guardians.signature(now, day)
    if made is not None:
        return made
    made = Signature.objects.create(
        sign_up=now, day=now.day, date=day, yes=True, name=name[:80], how=how, taken_by=taken_by[:120]
    )
    now.held_until = None
    now.save(update_fields=["held_until"])
    said = f"{now.first_name} has a guardian's signature for {day_text(day, year=False)}"
    builds.note(build, "sign-up", f"{said}, taken by {taken_by}" if taken_by else said, by_name=now.first_name)
    if now.waiting is not None:
        sign_ups.move_up(build, now.day)
    return made


@transaction.atomic
def decline(row: SignUp, word: str = "") -> Signature:
    """Keep that the guardian does not agree, also after having signed; the place goes to somebody else."""
    build, now, day = _locked(row)
    word = one_line(word, 200)
    made = Signature.objects.create(sign_up=now, day=now.day, date=day, yes=False, word=word)
    sign_ups.withdraw(now, f"The guardian does not agree{': ' if word else ''}{word}")
    text = (
        f"Hello {now.first_name}. Your guardian does not agree that you help on {day_text(day, year=False)}, so your "
        "place went to somebody else."
    )
    services.tell(now, text, build.name, "your guardian has answered")
    return made
