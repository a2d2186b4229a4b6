"""How long what helpers wrote about themselves is kept, and taking it out when the time is over."""

from __future__ import annotations

import re
from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone

from buildout.builds.web.models import Build
from buildout.builds.web.services import Sheet
from scheduling.web.models import DayMark, DayPhoto, Notice, SignUp, new_token
from scheduling.web.offers import build_days

KEPT_DAYS = 90
"""Names, contacts and notes are kept so long after a helper's build day: long enough for the insurer and a word of
thanks. Common practice, no published source."""
LINK_DAYS = 30
"""So long after the build day a helper's own link and the guardian's still open their pages. Common practice, no
published source."""
NOBODY = "Removed"


def kept_until(row: SignUp, sheet: Sheet) -> date:
    """Last day on which a helper's own data is still there; counted from the sign-up where the day is gone."""
    day = next((day.date for day in build_days(sheet) if day.id == row.day), None)
    return (day or sheet.local(row.created).date()) + timedelta(days=KEPT_DAYS)


def link_until(row: SignUp, sheet: Sheet) -> date:
    """Last day on which a helper's own link, and the guardian's, open their pages."""
    day = next((day.date for day in build_days(sheet) if day.id == row.day), None)
    # Whose day is gone still has to choose another.
    ends = day + timedelta(days=LINK_DAYS) if day is not None else kept_until(row, sheet)
    return max(ends, row.link_until) if row.link_until is not None else ends


def strip(build: Build, row: SignUp) -> None:
    """Take out everything a helper wrote, wherever it stands. What happened stays: that somebody had the place.

    Call it holding the build's row.
    """
    first = row.first_name
    others = [s.asker_id for s in row.swaps_to_answer.all()] + [s.asked_id for s in row.swaps_asked.all()]
    row.name, row.contact, row.note, row.guardian, row.skills, row.word = NOBODY, "", "", "", [], ""
    row.lifting, row.power_tools, row.age, row.removed = "any", True, "adult", timezone.now()
    row.held_until, row.guardian_told, row.guardian_token = None, None, new_token()
    row.save()
    row.signatures.all().delete()
    row.notices.all().delete()
    Notice.objects.filter(sign_up__build=build, text__contains=first, sign_up__in=others).delete()
    row.swaps_asked.all().delete()
    row.swaps_to_answer.all().delete()
    alike = SignUp.objects.filter(build=build, removed=None).exclude(pk=row.pk)
    if any(other.first_name == first for other in alike):
        return
    # The journal and the board keep what happened, not who.
    # As the book writes them: "Bram took …", "Sika and Bram swapped …"; never a word of a task's name.
    named = re.compile(rf"^{re.escape(first)}(?= )|(?<= and ){re.escape(first)}(?= swapped places:)")
    for entry in build.journal.filter(kind="sign-up", text__contains=first):
        entry.text = named.sub("A helper", entry.text)
        entry.by_name = "A helper" if entry.by_name == first else entry.by_name
        entry.save(update_fields=["text", "by_name"])
    DayMark.objects.filter(build=build, by_name=first).update(by_name="A helper")


def forget(build: Build) -> int:
    """Take out what is past its time, photos of the build days too; how many helpers."""
    if build.current is None:
        return 0
    sheet = Sheet(build.current)
    today, count = sheet.today(), 0
    over = [row for row in SignUp.objects.filter(build=build, removed=None) if kept_until(row, sheet) < today]
    if over:
        with transaction.atomic():
            held = Build.objects.select_for_update().get(pk=build.pk)
            for row in SignUp.objects.filter(pk__in=[row.pk for row in over], removed=None):
                strip(held, row)
                count += 1
    past = [day.id for day in build_days(sheet) if day.date + timedelta(days=KEPT_DAYS) < today]
    DayPhoto.objects.filter(mark__build=build, mark__day__in=past).delete()
    return count


def forget_everywhere() -> int:
    return sum(forget(build) for build in Build.objects.select_related("current").order_by("pk"))
