"""The crew days sheet: the calendar, who signed up, the share link, whom to tell."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any
from urllib.parse import quote

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.cache import cache
from django.db import transaction
from django.db.models import F, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.documents import pdf_or_page
from buildout.builds.web.models import Build, Member, Role
from buildout.builds.web.templatetags.sheet import clock
from buildout.people.web.models import User
from buildout.units.dates import day_text
from buildout.units.value import content_hash
from scheduling.engine.types import PlannedTask, Schedule
from scheduling.web import floods, guardians, links, sign_ups
from scheduling.web.models import Notice, ShareLink, Signature, SignUp
from scheduling.web.offers import (
    DayOffer,
    People,
    at_once,
    by_person,
    day_offers,
    known_by_name,
    lead_words,
    still_to_find,
    upcoming,
    whole_task,
)
from scheduling.web.pictures import draw_day
from scheduling.web.words import STATUSES, WHO, skill_words

PICTURE_VERSION = 2
"""Raise it when days are drawn otherwise, so that none is shown as it used to look."""

POSTER_ROWS = 14
"""So many days or tasks stand on a poster, which is one page."""


def user_of(request: HttpRequest) -> User:
    assert isinstance(request.user, User)  # noqa: S101 - login_required stands before every caller
    return request.user


def sheet_context(build: Build, member: Member, number: str = "7") -> dict[str, Any]:
    sheet = builds.sheet_of(build)
    return {
        "build": build,
        "member": member,
        "sheet": sheet,
        "sheet_no": number,
        "is_owner": member.role == Role.OWNER,
    }


def open_link(build: Build) -> ShareLink | None:
    return ShareLink.objects.open().filter(build=build).order_by("-created", "-pk").first()


@login_required
@require_GET
def days(request: HttpRequest, build_id: int) -> HttpResponse:
    build, member = builds.build_for(user_of(request), build_id, Role.OWNER, Role.LEAD)
    context = sheet_context(build, member)
    sheet: builds.Sheet = context["sheet"]
    schedule = sheet.part("schedule", Schedule)
    done = sheet.document.get("tasks", {}).get("done", {})
    offers = day_offers(build, sheet, schedule)
    persons = by_person(offers)
    signed = guardians.signatures_on(upcoming(offers, sheet.today()))
    notices = (
        Notice.objects.filter(sign_up__build=build)
        .filter(Q(sign_up__withdrawn=None) | Q(created__gte=F("sign_up__withdrawn")))
        .select_related("sign_up")
        .order_by("pk")
    )
    link = open_link(build)
    others = list(SignUp.objects.filter(build=build, removed=None).exclude(withdrawn=None, waiting=None))
    in_line = sorted((r for r in others if r.withdrawn is None and r.waiting), key=lambda r: (r.waiting, r.pk))
    off = [row for row in others if row.withdrawn and not row.taken_out]
    called_off = sorted(off, key=lambda r: (r.withdrawn, r.pk), reverse=True)
    tasks_at = reverse("scheduling:tasks", args=[build.pk])
    context |= {
        "schedule": schedule,
        "status": STATUSES[schedule.status],
        "days_left": [
            _day(offer, persons, in_line, called_off, known_by_name(sheet), tasks_at, signed, sheet.today())
            for offer in upcoming(offers, sheet.today())
        ],
        "days_past": [offer for offer in offers if offer.day.date < sheet.today()],
        "elsewhere": [
            _line(task, tasks_at)
            | {"who": WHO.get(task.place, task.place), "until": day_text(task.end_day, year=False)}
            | {"from": day_text(task.start_day, year=False)}
            for task in sorted(schedule.tasks, key=lambda task: (task.start_day, task.start, task.code))
            if not task.build_day and task.code not in done
        ],
        "left_behind": _left_behind(build, offers),
        "crowded": floods.crowded([*(row for offer in offers for row in offer.sign_ups), *in_line], sheet),
        "to_tell": [
            {
                "notice": notice,
                "row": notice.sign_up,
                "text": text,
                "link": links.message_link(notice.sign_up.contact, build.name, text),
            }
            for notice in notices
            for text in [f"{notice.text} {links.my_address(request, notice.sign_up)}"]
        ],
        "to_ask": guardians.to_ask(request, build, upcoming(offers, sheet.today()), signed, sheet.today()),
        "to_find": still_to_find(sheet),
        "untold": sum(1 for notice in notices if notice.told is None and notice.seen is None),
        "link": link,
    }
    if link is not None:
        context["address"] = links.join_address(request, link)
        context["qr"] = links.qr_code(context["address"])
        context["open_until"] = sheet.local(link.expires - timedelta(seconds=1)).date() if link.expires else None
    with timezone.override(sheet.zone):
        return render(request, "scheduling/days.html", context)


def _line(task: PlannedTask, tasks_at: str) -> dict[str, Any]:
    """What a table says of a task. Tables are long: their words are put together here, not by the page."""
    code = whole_task(task.code)
    slack = "" if task.critical else f"{task.slack_days} day{'' if task.slack_days == 1 else 's'}"
    return {"code": task.code, "name": task.name, "crew": task.crew, "slack": slack, "at": f"{tasks_at}{quote(code)}/"}


def _day(
    offer: DayOffer,
    persons: People,
    in_line: list[SignUp],
    called_off: list[SignUp],
    known: dict[str, str],
    tasks_at: str,
    signed: dict[int, Signature],
    today: date,
) -> dict[str, Any]:
    names = {task.code: task.name for task in offer.tasks}
    people = [
        {
            "signed": row.pk in signed,
            "guardian": guardians.words(row, signed.get(row.pk), today) if row.minor else "",
            "row": row,
            "task": names.get(row.task, f"{row.task}, no longer on this day") if row.task else "",
            "skills": skill_words(row.skills),
            "twice": at_once(row, offer, persons),
        }
        for row in offer.sign_ups
    ]
    waiting = [row for row in in_line if row.day == offer.day.id]
    picture = _picture(offer)
    off = [row for row in called_off if row.day == offer.day.id]
    leaders = known | {row.ref: row.first_name for row in offer.sign_ups}
    planned = [
        _line(task, tasks_at) | {"lead": lead_words(task, leaders), "time": f"{clock(task.start)}–{clock(task.end)}"}
        for task in offer.planned
    ]
    return {
        "called_off": off, "waiting": waiting, "offer": offer, "picture": picture, "people": people, "planned": planned
    }  # fmt: skip


def _picture(offer: DayOffer) -> dict[str, Any]:
    """The day's tasks to scale of time; drawn once for one plan, kept under the content it is drawn from."""

    def draw() -> dict[str, Any]:
        picture = draw_day(offer.day, offer.planned)
        return {"wide": picture.wide, "svg": render_to_string("scheduling/day_picture.html", {"picture": picture})}

    key = content_hash("day picture", PICTURE_VERSION, offer.day, offer.planned)
    return dict(cache.get_or_set(key, draw, timeout=None) or {})


def _left_behind(build: Build, offers: list[DayOffer]) -> list[SignUp]:
    """Helpers whose build day is not held any more and who have not chosen another."""
    held = [offer.day.id for offer in offers]
    return list(SignUp.objects.standing().filter(build=build).exclude(day__in=held))


@login_required
@require_GET
def poster(request: HttpRequest, build_id: int, day: str = "") -> HttpResponse:
    """One page to print and pin up: what, when, and the way in; of all days, or of one."""
    build, member = builds.build_for(user_of(request), build_id, Role.OWNER, Role.LEAD)
    context = sheet_context(build, member)
    link = open_link(build)
    if link is None:
        messages.error(request, "There is no sign-up link to print. Make one first.")
        return redirect("scheduling:days", build_id)
    offers = upcoming(day_offers(build, context["sheet"]), context["sheet"].today())
    offer = next((offer for offer in offers if offer.day.id == day), None)
    if day and offer is None:
        raise Http404("No such build day ahead")
    address = links.join_address(request, link, day)
    rows = len(offer.tasks if offer else offers)
    context |= {
        "offers": offers,
        "one": offer,
        "rows": rows,
        "most": f":{POSTER_ROWS}",
        "more": rows - POSTER_ROWS,
        "place": context["sheet"].document.get("place", ""),
        "address": address,
        "qr": links.qr_code(address),
    }
    return pdf_or_page(request, "scheduling/poster.html", context, f"poster-{day or 'days'}.pdf")


# ------------------------------------------------------------------ the share link


@login_required
@require_POST
def new_link(request: HttpRequest, build_id: int) -> HttpResponse:
    """A fresh link; the one before stops working. ``until`` is the last day it is open, empty for no end."""
    build = builds.owner_build(user_of(request), build_id)
    raw, expires = request.POST.get("until", "").strip(), None
    if raw:
        zone = builds.sheet_of(build).zone
        try:
            last = date.fromisoformat(raw)
            expires = datetime(last.year, last.month, last.day, tzinfo=zone) + timedelta(days=1)
        except (ValueError, OverflowError):
            last = None
        if expires is None or expires <= timezone.now():
            messages.error(request, f"{raw[:20]} is not a day to come. Write one like 2027-03-20.")
            return redirect("scheduling:days", build_id)
    with transaction.atomic():
        had = ShareLink.objects.open().filter(build=build).update(revoked=timezone.now())
        ShareLink.objects.create(build=build, expires=expires)
        builds.note(build, "people", "New sign-up link for helpers", by=user_of(request))
    messages.success(request, "A new link is open." + (" The one before no longer works." if had else ""))
    return redirect("scheduling:days", build_id)


@login_required
@require_POST
def revoke_link(request: HttpRequest, build_id: int) -> HttpResponse:
    build = builds.owner_build(user_of(request), build_id)
    with transaction.atomic():
        had = ShareLink.objects.open().filter(build=build).update(revoked=timezone.now())
        if had:
            builds.note(build, "people", "Sign-up link for helpers closed", by=user_of(request))
    messages.success(request, "The link is closed. Those who signed up keep their places and their own pages.")
    return redirect("scheduling:days", build_id)


# ------------------------------------------------------------------ people


@login_required
@require_GET
def reminders(request: HttpRequest, build_id: int, day: str) -> HttpResponse:
    """A text for every helper of a day, ready to be sent by the owner's own messenger."""
    build, member = builds.build_for(user_of(request), build_id, Role.OWNER, Role.LEAD)
    context = sheet_context(build, member)
    sheet: builds.Sheet = context["sheet"]
    offer = next((offer for offer in day_offers(build, sheet) if offer.day.id == day), None)
    if offer is None:
        raise Http404("No such build day")
    texts = [(row, _reminder(request, row, offer, sheet)) for row in offer.sign_ups]
    subject = f"{build.name}: {offer.day.name}"
    context |= {
        "offer": offer,
        "texts": [(row, text, links.message_link(row.contact, subject, text)) for row, text in texts],
    }
    return render(request, "scheduling/reminders.html", context)


def _reminder(request: HttpRequest, row: SignUp, offer: DayOffer, sheet: builds.Sheet) -> str:
    task = offer.task(row.task) if row.task else None
    place = sheet.document.get("place", "") if offer.day.place == "hall" else offer.day.place
    job = f"{task.name}, from {task.start // 60:02d}:{task.start % 60:02d}" if task else "wherever you are needed"
    parts = [
        f"Hello {row.first_name}, {offer.day.name} is on {day_text(offer.day.date)}, {offer.day.start} to "
        f"{offer.day.end}" + (f", at {place}." if place else "."),
        f"You are down for: {job}.",
        f"Food: {offer.day.food}." if offer.day.food else "",
        "Bring closed shoes, gloves and clothes that may get dirty.",
        f"Your guardian still has to sign: {links.guardian_address(request, row)}" if row.held_until else "",
        f"Cannot come? Please say so here: {links.my_address(request, row)}",
    ]
    return " ".join(part for part in parts if part)


@login_required
@require_POST
def told(request: HttpRequest, build_id: int, notice_id: int) -> HttpResponse:
    """Somebody told the helper; the owner or the crew lead says so."""
    build, _ = builds.build_for(user_of(request), build_id, Role.OWNER, Role.LEAD)
    notice = get_object_or_404(Notice.objects.select_related("sign_up"), pk=notice_id, sign_up__build=build)
    if notice.told is None:
        notice.told = timezone.now()
        notice.save(update_fields=["told"])
    messages.success(request, f"{notice.sign_up.first_name} is marked as told.")
    return redirect("scheduling:days", build_id)


@login_required
@require_POST
def renew_link(request: HttpRequest, build_id: int, sign_up_id: int) -> HttpResponse:
    """Close the personal link of a helper, which others may have, and make a new one."""
    build = builds.owner_build(user_of(request), build_id)
    row = get_object_or_404(SignUp, pk=sign_up_id, build=build, withdrawn=None)
    sign_ups.renew_link(row, by=user_of(request))
    messages.success(request, f"{row.first_name}'s old link is closed. The new one stands among the people to tell.")
    return redirect("scheduling:days", build_id)


@login_required
@require_POST
def take_out(request: HttpRequest, build_id: int, sign_up_id: int) -> HttpResponse:
    """Free the place of a helper who called off by telephone."""
    build = builds.owner_build(user_of(request), build_id)
    row = get_object_or_404(SignUp, pk=sign_up_id, build=build)
    sign_ups.withdraw(row)
    messages.success(request, f"{row.first_name}'s place is free again.")
    return redirect("scheduling:days", build_id)


@login_required
@require_http_methods(["GET", "POST"])
def remove_person(request: HttpRequest, build_id: int, sign_up_id: int) -> HttpResponse:
    """Take out everything about a helper who asked for it by telephone, or whose guardian did."""
    user = user_of(request)
    build, member = builds.build_for(user, build_id, Role.OWNER)
    row = get_object_or_404(SignUp, pk=sign_up_id, build=build, removed=None)
    if request.method == "GET":
        return render(request, "scheduling/remove_person.html", sheet_context(build, member) | {"row": row})
    first_name = row.first_name
    with transaction.atomic():
        sign_ups.remove(row)
        builds.note(build, "people", "Everything about one helper was taken out on request", by=user)
    messages.success(request, f"Everything about {first_name} is taken out.")
    return redirect("scheduling:days", build_id)
