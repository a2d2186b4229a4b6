"""What other floors ask of the sign-up book, and how helpers are told."""

from __future__ import annotations

from datetime import timedelta
from functools import partial

from django.conf import settings
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.mail import mail
from buildout.builds.web.models import Build, Role
from buildout.builds.web.services import Sheet
from scheduling.engine.moved import MovedShift
from scheduling.engine.types import SignedUp
from scheduling.web import floods, guardians
from scheduling.web.models import Notice, SignUp
from scheduling.web.offers import build_days


def signed_up(build: Build) -> list[SignedUp]:
    """The places taken, as the chain takes them: no names, no contacts.

    Places on a day the current plan no longer holds are left out: nobody can count on them.
    """
    rows = SignUp.objects.standing().filter(build=build).order_by("pk")
    if build.current is not None:
        rows = rows.filter(day__in=[day.id for day in build_days(Sheet(build.current))])
    return [
        SignedUp(
            id=row.ref,
            day=row.day,
            task=row.task,
            skills=row.skills,
            age=row.age,  # type: ignore[arg-type]
            lifting=row.lifting,  # type: ignore[arg-type]
            power_tools=row.power_tools,
        )
        for row in rows
    ]


def write_notices(build: Build, moved: list[MovedShift]) -> list[Notice]:
    """One ready text for every helper whose shift moves.

    A helper whose task goes to another day keeps the place on the old day until they choose: nobody is
    moved without a word. One whose task is gone helps wherever needed on the same day.
    """
    touched = SignUp.objects.filter(build=build, withdrawn=None, ref__in=[shift.sign_up for shift in moved])
    rows = {row.ref: row for row in touched}
    today = Sheet(build.current).today() if build.current is not None else timezone.localdate()
    made = []
    for shift in moved:
        row = rows.get(shift.sign_up)
        if row is None:
            continue
        if shift.kind == "task gone":
            row.task, row.task_place = "", None
            row.save(update_fields=["task", "task_place"])
        if shift.kind == "day moved" and guardians.ask_anew(row, shift.new_date, today):
            row.save(update_fields=guardians.ASK_FIELDS)
        anew = " Your guardian has to sign anew for that date." if row.held_until and shift.kind == "day moved" else ""
        ask = "" if shift.kind in ("day moved", "time changed") else " Please open your link and choose what suits you."
        why = f" {shift.why}" if shift.why else ""
        made.append(Notice.objects.create(sign_up=row, text=f"Hello {row.first_name}. {shift.text}{why}{ask}{anew}"))
    return made


def personal_address(row: SignUp) -> str:
    """A helper's own page as a full address, empty where the installation does not know its own."""
    return f"{settings.PUBLIC_URL}{reverse('scheduling:my', args=[row.token])}" if settings.PUBLIC_URL else ""


def tell(row: SignUp, text: str, build_name: str, subject: str) -> Notice:
    """Write a notice and mail it once what it tells of is kept."""
    notice = Notice.objects.create(sign_up=row, text=text)
    transaction.on_commit(partial(tell_by_mail, notice, build_name, personal_address(row), subject))
    return notice


def tell_by_mail(notice: Notice, build_name: str, link: str = "", subject: str = "your shift has changed") -> None:
    """Mail a notice and mark it as told; without mail it stays on the list of people to tell."""
    text = f"{notice.text}\n\n{link}".strip() + "\n"
    if mail(f"{build_name}: {subject}", text, notice.sign_up.contact):
        Notice.objects.filter(pk=notice.pk, told=None).update(told=timezone.now())


def tell_owners_of_flood(build: Build) -> None:
    """Tell the owners, once an hour at most, that sign-ups come in as a robot's would; call it holding the row."""
    since, many = timezone.now() - timedelta(hours=1), f"{floods.MANY} sign-ups came in within an hour"
    if build.journal.filter(kind="sign-up", text__startswith=many, at__gt=since).exists():
        return
    builds.note(build, "sign-up", f"{many}; until it is calmer nobody gets a confirmation by mail")
    address = f"{settings.PUBLIC_URL}{reverse('scheduling:by-hour', args=[build.pk])}" if settings.PUBLIC_URL else ""
    text = (
        f"{many} for {build.name}. Was that a robot? On the crew days sheet you can look at who came, take them out "
        f"together and close the sign-up link. Those who had a place before keep it.\n\n{address}"
    )
    owners = build.members.filter(role=Role.OWNER).values_list("user__email", flat=True)
    for to in owners:
        transaction.on_commit(partial(mail, f"{build.name}: many sign-ups at once", f"{text.strip()}\n", to))
