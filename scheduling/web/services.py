"""What other floors ask of the sign-up book."""

from __future__ import annotations

from buildout.builds.web.models import Build
from scheduling.engine.moved import MovedShift
from scheduling.engine.types import SignedUp
from scheduling.web.models import Notice, SignUp


def signed_up(build: Build) -> list[SignedUp]:
    """The places taken, as the chain takes them: no names, no contacts."""
    return [
        SignedUp(id=str(row.pk), day=row.day, task=row.task, skills=row.skills)
        for row in SignUp.objects.standing().filter(build=build).order_by("pk")
    ]


def write_notices(moved: list[MovedShift]) -> list[Notice]:
    """One ready text for every helper whose shift moves; the place itself moves with the task where it can.

    A helper whose task goes to another day keeps the place on the old day until they choose: nobody is
    moved without a word.
    """
    rows = {str(row.pk): row for row in SignUp.objects.standing().filter(pk__in=[m.sign_up for m in moved])}
    made = []
    for shift in moved:
        row = rows.get(shift.sign_up)
        if row is None:
            continue
        ask = "" if shift.kind in ("day moved", "time changed") else " Please open your link and choose what suits you."
        made.append(Notice.objects.create(sign_up=row, text=f"Hello {row.first_name}. {shift.text}{ask}"))
    return made
