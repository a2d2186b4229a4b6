"""The week as a letter: what it costs now, what happened, what comes, what waits for an answer."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.mail import mail, mail_is_set_up
from buildout.builds.web.models import Build, JournalEntry, Member, Role
from buildout.builds.web.services import Sheet
from buildout.units.dates import date_text, iso_week
from estimating.engine.heads import HEADS
from estimating.web.in_short import facts

WEEK = timedelta(days=7)
KIND = "digest"


def text_of(build: Build, sheet: Sheet, since: datetime) -> str:
    """The letter as plain text."""
    path = reverse("estimating:in-short", args=[build.pk])
    found = facts(build, sheet, since)
    forecast = {line.head: line.forecast for line in found["heads"]}
    context = found | {
        "by_head": [(HEADS[head], amount, forecast[head]) for head, amount in sorted(found["moved"].items())],
        "build": build, "sheet": sheet, "today": sheet.today(),
        "address": f"{settings.PUBLIC_URL}{path}" if settings.PUBLIC_URL else "",
    }  # fmt: skip
    lines = render_to_string("estimating/week.txt", context).splitlines()
    kept = [line for at, line in enumerate(lines) if line.strip() or (at and lines[at - 1].strip())]
    return "\n".join(kept).strip() + "\n"


def send(build: Build, *, again: bool = False) -> tuple[list[str], str]:
    """Mail the week to every partner of a build; gives who got it and the letter.

    Nobody gets it, and the letter is empty, when this calendar week's has gone out already, unless ``again``.
    Without mail set up nothing is sent and nothing noted: the letter is there to read out or to copy.
    """
    if build.current is None:
        return [], ""
    sheet = builds.sheet_of(build)
    number = iso_week(sheet.today())
    if not again and JournalEntry.objects.filter(build=build, kind=KIND, after__week=number).exists():
        return [], ""
    text = text_of(build, sheet, timezone.now() - WEEK)
    if not mail_is_set_up():
        return [], text
    subject = f"{build.name}: the week to {date_text(sheet.today())}"
    partners = Member.objects.filter(build=build, role=Role.PARTNER).select_related("user").order_by("pk")
    told = [member.user.name for member in partners if mail(subject, text, member.user.email)]
    if told:
        builds.note(build, KIND, f"The week's letter was mailed to {', '.join(told)}", after={"week": number})
    return told, text
