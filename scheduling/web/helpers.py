"""What helpers see: no account, no script, one decision a screen."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.mail import mail
from buildout.builds.web.services import Sheet
from buildout.units.dates import day_text
from buildout.units.words import one_line
from scheduling.engine.types import BuildDay, Schedule
from scheduling.web import floods, guardians, links, sign_ups
from scheduling.web.calendar_file import calendar_file
from scheduling.web.forms import SignUpForm, request_key
from scheduling.web.keeping import KEPT_DAYS, kept_until, link_until
from scheduling.web.models import Notice, ShareLink, SignUp, Swap
from scheduling.web.offers import (
    DayOffer,
    TaskOffer,
    at_once,
    build_days,
    by_person,
    day_offers,
    known_by_name,
    upcoming,
)


class _ClosedError(Exception):
    """The link was closed, or is past its time."""


class OwnLinkEndedError(Exception):
    """A helper's or guardian's own link is past its last day."""

    def __init__(self, row: SignUp, sheet: Sheet) -> None:
        super().__init__(row, sheet)
        self.row, self.sheet = row, sheet


def own_link(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A view behind a link of somebody's own: past its last day a page says so, and how to get a new one."""

    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **more: Any) -> HttpResponse:
        try:
            return view(request, *args, **more)
        except OwnLinkEndedError as error:
            row, sheet = error.row, error.sheet
            context = {
                "build": row.build, "row": row, "ended": link_until(row, sheet), "kept_until": kept_until(row, sheet),
                "own": more.get("token") == row.token,
            }  # fmt: skip
            return render(request, "scheduling/helper/ended.html", context, status=410)

    return inner


def _link(token: str) -> tuple[ShareLink, Sheet]:
    link = get_object_or_404(ShareLink.objects.select_related("build", "build__current"), token=token)
    if link.revoked is not None or (link.expires is not None and link.expires <= timezone.now()):
        raise _ClosedError
    return link, builds.sheet_of(link.build)


def _closed(request: HttpRequest) -> HttpResponse:
    return render(request, "scheduling/helper/closed.html", status=410)


def _offers(link_or_row: ShareLink | SignUp, sheet: Sheet) -> list[DayOffer]:
    return upcoming(day_offers(link_or_row.build, sheet), sheet.today())


def _day(offers: list[DayOffer], day: str) -> DayOffer:
    found = next((offer for offer in offers if offer.day.id == day), None)
    if found is None:
        raise Http404("This day is not offered")
    return found


# ------------------------------------------------------------------ signing up


@never_cache
@require_GET
def join(request: HttpRequest, token: str) -> HttpResponse:
    """The days: date, hours, what is done, food, free places, what skills are missed."""
    try:
        link, sheet = _link(token)
    except _ClosedError:
        return _closed(request)
    context = {"build": link.build, "link": link, "offers": _offers(link, sheet), "place": sheet.document.get("place")}
    return render(request, "scheduling/helper/join.html", context)


@never_cache
@require_GET
def join_day(request: HttpRequest, token: str, day: str) -> HttpResponse:
    """One day: choose a task, or wherever needed."""
    try:
        link, sheet = _link(token)
    except _ClosedError:
        return _closed(request)
    offer = _day(_offers(link, sheet), day)
    return render(request, "scheduling/helper/join_day.html", {"build": link.build, "link": link, "offer": offer})


@never_cache
@require_http_methods(["GET", "POST"])
def join_as(request: HttpRequest, token: str, day: str, task: str) -> HttpResponse:
    """Name and one way to be reached; sending it takes the place."""
    try:
        link, sheet = _link(token)
    except _ClosedError:
        return _closed(request)
    if request.method == "POST":
        return _take(request, link, day, task)
    offer = _day(_offers(link, sheet), day)
    wanted = offer.task(task) if task else None
    if task and wanted is None:
        raise Http404("This task is not done on this day")
    form = SignUpForm(initial={"request_key": request_key()}, needed=_needed(wanted))
    full = not (wanted.free if wanted else offer.free)
    return _form_page(request, link, offer, wanted, form, full="This place is taken." if full else "", line=full)


def _needed(wanted: TaskOffer | None) -> list[str] | None:
    return list(wanted.skills) if wanted is not None and wanted.practised_only else None


def _form_page(
    request: HttpRequest,
    link: ShareLink,
    offer: DayOffer,
    wanted: TaskOffer | None,
    form: SignUpForm,
    *,
    full: str = "",
    line: bool = False,
    status: int = 200,
) -> HttpResponse:
    """``full`` says why the place cannot be had; with ``line`` one may wait for it."""
    others = []
    if full:
        arguments = [link.token, offer.day.id]
        others = [
            (task.name, reverse("scheduling:join-task", args=[*arguments, task.code]))
            for task in offer.tasks
            if task.free
        ]
        if offer.free:
            others.append(("Wherever I am needed", reverse("scheduling:join-anywhere", args=arguments)))
    context: dict[str, Any] = {
        "build": link.build, "link": link, "offer": offer, "task": wanted, "form": form, "full": full, "others": others,
        "line": line, "kept_days": KEPT_DAYS,
    }  # fmt: skip
    return render(request, "scheduling/helper/join_as.html", context, status=status)


def _take(request: HttpRequest, link: ShareLink, day: str, task: str) -> HttpResponse:
    made = SignUp.objects.filter(
        build=link.build, request_key=one_line(request.POST.get("request_key", ""), 40)
    ).first()
    if made is not None:  # a second tap, or the page loaded again
        return redirect("scheduling:my", made.token)
    offer = next((offer for offer in _offers(link, builds.sheet_of(link.build)) if offer.day.id == day), None)
    wanted = offer.task(task) if offer else None
    form = SignUpForm(request.POST, needed=_needed(wanted))
    if not form.is_valid():
        if offer is None:
            raise Http404("This day is not offered")
        if "request_key" in form.errors:  # the page came without its key: give it one
            again = request.POST.copy()
            again["request_key"] = request_key()
            form = SignUpForm(again, needed=_needed(wanted))
            if form.is_valid():
                form.add_error(None, "Please send it once more.")
        return _form_page(request, link, offer, wanted, form, status=422)
    data = form.cleaned_data
    try:
        row = sign_ups.sign_up(link, day, task, wait="wait" in request.POST, **data)
    except sign_ups.NoPlaceError as error:
        if error.offer is None:
            context = {"build": link.build, "link": link, "text": str(error)}
            return render(request, "scheduling/helper/gone.html", context, status=409)
        line = isinstance(error, sign_ups.FullError)
        wanted = error.offer.task(task)
        return _form_page(request, link, error.offer, wanted, form, full=str(error), line=line, status=409)
    did = "on the waiting list of" if row.waiting else "signed up with"
    text = (
        f"Thank you, {row.first_name}. You are {did} {link.build.name}.\n"
        f"Your own page, to look, change or withdraw: {links.my_address(request, row)}\n"
    )
    if row.minor:
        text += f"Your guardian has to sign. Please send them this link: {links.guardian_address(request, row)}\n"
    if floods.within_an_hour(link.build).count() < floods.MANY:  # else a robot would have us mail whom it likes
        mail(f"{link.build.name}: your place", text, row.contact)
        _ask_guardian(request, row)
    return redirect("scheduling:my", row.token)


# ------------------------------------------------------------------ a helper's own page


def _mine(token: str, *, ended_too: bool = False) -> tuple[SignUp, Sheet]:
    """Whose link it is. Raises ``OwnLinkEndedError`` after its last day, unless ``ended_too``."""
    row = get_object_or_404(SignUp.objects.select_related("build", "build__current"), token=token)
    sheet = builds.sheet_of(row.build)
    if not ended_too and row.removed is None and link_until(row, sheet) < sheet.today():
        raise OwnLinkEndedError(row, sheet)
    return row, sheet


@never_cache
@require_GET
@own_link
def my(request: HttpRequest, token: str) -> HttpResponse:
    row, sheet = _mine(token)
    offers = day_offers(row.build, sheet)
    offer = next((offer for offer in offers if offer.day.id == row.day), None)
    address = links.my_address(request, row)
    task = offer.task(row.task) if offer and row.task else None
    context = {
        "build": row.build,
        "row": row,
        "offer": offer,
        "task": task,
        "lead": _leader(sheet, offer, task) if offer and task else "",
        "place": sheet.document.get("place"),
        "unplanned": sheet.part("schedule", Schedule).status == "infeasible",
        "over": offer is not None and offer.day.date < sheet.today(),
        "is_today": offer is not None and offer.day.date == sheet.today() and row.waiting is None,
        "others": [name for name in offer.first_names if name] if offer else [],
        "notices": row.notices.all(),
        "address": address,
        "qr": links.qr_code(address),
        "subscribe": f"webcal:{address.partition(':')[2]}feed.ics",
        "ahead": _ahead(row),
        "kept_until": kept_until(row, sheet),
        "link_until": link_until(row, sheet),
        "guardian": _guardian(request, row, offer, sheet) if offer and row.minor else None,
        "swaps": _open_swaps(row, offers),
        "twice": at_once(row, offer, by_person(offers)) if offer and not row.withdrawn else [],
        "asked": row.swaps_asked.filter(answered=None).select_related("asked").first() if not row.withdrawn else None,
        "refused": row.withdrawn is not None and row.minor and row.signatures.filter(yes=False).exists(),
        "again": _open_link(row) if row.withdrawn else None,
    }
    return render(request, "scheduling/helper/my.html", context)


def _open_link(row: SignUp) -> ShareLink | None:
    """Where somebody of this build signs up for a further day, if anybody can just now."""
    return ShareLink.objects.open().filter(build=row.build).order_by("-pk").first()


def _guardian(request: HttpRequest, row: SignUp, offer: DayOffer, sheet: Sheet) -> dict[str, Any]:
    """What somebody under 18 passes on to their guardian, and whether it has come back signed."""
    text = guardians.request_text(row.build, row, offer, links.guardian_address(request, row))
    return {
        "signed": guardians.signature(row, offer.day.date),
        "late": row.hold_is_over(sheet.today()),
        "address": links.guardian_address(request, row),
        "text": text,
        "link": links.message_link(row.guardian_contact, guardians.request_subject(row.build, row), text),
    }


def _ask_guardian(request: HttpRequest, row: SignUp) -> None:
    """Mail the guardian where that is possible; else the helper passes the link on, and the organisers can."""
    if row.held_until is None or row.guardian_told is not None:
        return
    offer = next((one for one in day_offers(row.build, builds.sheet_of(row.build)) if one.day.id == row.day), None)
    if offer and guardians.ask_by_mail(row.build, row, offer, links.guardian_address(request, row)):
        SignUp.objects.filter(pk=row.pk, guardian_told=None).update(guardian_told=timezone.now())


def _leader(sheet: Sheet, offer: DayOffer, task: TaskOffer) -> str:
    """First name of who leads a helper's task."""
    return (known_by_name(sheet) | {row.ref: row.first_name for row in offer.sign_ups}).get(task.lead, "")


@never_cache
@require_GET
@own_link
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    row, sheet = _mine(token)
    response = _calendar(request, row, sheet)
    response["Content-Disposition"] = 'attachment; filename="build-day.ics"'
    return response


@never_cache
@require_GET
@own_link
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """The same event for calendars that look again by themselves."""
    row, sheet = _mine(token)
    return _calendar(request, row, sheet)


def _calendar(request: HttpRequest, row: SignUp, sheet: Sheet) -> HttpResponse:
    offer = next((offer for offer in day_offers(row.build, sheet) if offer.day.id == row.day), None)
    held = offer is not None
    if offer is None:
        day = _last_known(row)
        if day is None:
            raise Http404("Nobody knows when this build day was")
        offer = DayOffer(day=day, tasks=[], planned=[], load=None)
    made = calendar_file(row, offer, sheet, links.my_address(request, row), held=held)
    return HttpResponse(made, content_type="text/calendar; charset=utf-8")


def _last_known(row: SignUp) -> BuildDay | None:
    """A build day that is not held any more, as the last plan had it that held it."""
    for revision in row.build.revisions.defer("result").order_by("-number").iterator(chunk_size=5):
        found = next((day for day in build_days(Sheet(revision)) if day.id == row.day), None)
        if found is not None:
            return found
    return None


@require_POST
@own_link
def seen(request: HttpRequest, token: str, notice_id: int) -> HttpResponse:
    row, _ = _mine(token)
    Notice.objects.filter(pk=notice_id, sign_up=row, seen=None).update(seen=timezone.now())
    return redirect("scheduling:my", token)


@never_cache
@require_GET
@own_link
def change(request: HttpRequest, token: str) -> HttpResponse:
    row, sheet = _mine(token)
    if row.withdrawn is not None:
        return redirect("scheduling:my", token)
    context = {"build": row.build, "row": row, "offers": _offers(row, sheet), "place": sheet.document.get("place")}
    return render(request, "scheduling/helper/change.html", context | {"link": _open_link(row)})


@never_cache
@require_GET
@own_link
def change_day(request: HttpRequest, token: str, day: str) -> HttpResponse:
    row, sheet = _mine(token)
    if row.withdrawn is not None:
        return redirect("scheduling:my", token)
    offer = _day(_offers(row, sheet), day)
    return render(request, "scheduling/helper/change_day.html", _change_context(row, offer))


def _ahead(row: SignUp) -> int:
    """How many on the waiting list of the day came before."""
    if row.waiting is None:
        return 0
    line = SignUp.objects.in_line().filter(build_id=row.build_id, day=row.day).values_list("pk", flat=True)
    return list(line).index(row.pk) if row.withdrawn is None else 0


def _place_words(row: SignUp, offers: list[DayOffer]) -> str:
    offer = next((offer for offer in offers if offer.day.id == row.day), None)
    if offer is None:
        return "a day that is not held any more"
    task = offer.task(row.task) if row.task else None
    return f"{day_text(offer.day.date, year=False)}, {task.name if task else 'wherever needed'}"


def _open_swaps(row: SignUp, offers: list[DayOffer]) -> list[tuple[Swap, str]]:
    swaps = row.swaps_to_answer.filter(answered=None).select_related("asker")
    return [(swap, _place_words(swap.asker, offers)) for swap in swaps]


def _same_person(row: SignUp, other: SignUp) -> bool:
    """Somebody who signed up for two days is not asked to swap with themselves."""
    return row.person == other.person


@never_cache
@require_http_methods(["GET", "POST"])
@own_link
def swap(request: HttpRequest, token: str) -> HttpResponse:
    """Ask somebody by their first name and place whether they change with you."""
    row, sheet = _mine(token)
    if row.withdrawn is not None or row.waiting is not None:
        return redirect("scheduling:my", token)
    offers = _offers(row, sheet)
    text = ""
    if request.method == "POST":
        raw = request.POST.get("with", "")
        try:
            sign_ups.ask_to_swap(row, int(raw) if raw.isdecimal() and len(raw) < 18 else 0)
        except sign_ups.NoPlaceError as error:
            text = str(error)
        else:
            return redirect("scheduling:my", token)
    others = [
        (other, _place_words(other, offers))
        for offer in offers
        for other in offer.sign_ups
        if other.pk != row.pk and (other.day, other.task) != (row.day, row.task) and not _same_person(row, other)
    ]
    context = {"build": row.build, "row": row, "others": others, "text": text}
    return render(request, "scheduling/helper/swap.html", context, status=409 if text else 200)


@require_POST
@own_link
def answer_swap(request: HttpRequest, token: str, swap_id: int) -> HttpResponse:
    row, _ = _mine(token)
    try:
        done = sign_ups.answer_swap(row, swap_id, yes="yes" in request.POST)
    except sign_ups.NoPlaceError as error:
        context = {"build": row.build, "row": row, "text": str(error)}
        return render(request, "scheduling/helper/gone.html", context, status=409)
    if done.accepted:
        for one in SignUp.objects.filter(pk__in=[done.asker_id, done.asked_id]).select_related("build__current"):
            _ask_guardian(request, one)
    return redirect("scheduling:my", token)


@never_cache
@require_http_methods(["GET", "POST"])
@own_link
def remove(request: HttpRequest, token: str) -> HttpResponse:
    """Take out name, contact and notes for good; the one thing a link can do that is past its last day."""
    row, _ = _mine(token, ended_too=True)
    if request.method == "POST":
        sign_ups.remove(row)
        return redirect("scheduling:my", token)
    return render(request, "scheduling/helper/remove.html", {"build": row.build, "row": row})


def _change_context(row: SignUp, offer: DayOffer, full: str = "") -> dict[str, Any]:
    """A helper's own place counts as free while they choose: they give it up for the other."""
    here = row.day == offer.day.id
    if here:
        for task in offer.tasks:
            task.day_free += 1
    choices = [
        (task, task.free > 0 and task.suits(row.skills, *row.limits), here and row.task == task.code)
        for task in offer.tasks
    ]
    context = {"build": row.build, "row": row, "offer": offer, "choices": choices, "full": full}
    return context | {"anywhere_now": here and not row.task, "anywhere_free": here or offer.free > 0}


@require_POST
@own_link
def move(request: HttpRequest, token: str) -> HttpResponse:
    row, _ = _mine(token)
    day, task = request.POST.get("day", "")[:40], request.POST.get("task", "")[:20]
    try:
        moved = sign_ups.move(row, day, task)
    except sign_ups.NoPlaceError as error:
        if error.offer is None:
            context = {"build": row.build, "row": row, "text": str(error)}
            return render(request, "scheduling/helper/gone.html", context, status=409)
        context = _change_context(row, error.offer, str(error))
        return render(request, "scheduling/helper/change_day.html", context, status=409)
    _ask_guardian(request, moved)
    return redirect("scheduling:my", token)


@never_cache
@require_http_methods(["GET", "POST"])
@own_link
def withdraw(request: HttpRequest, token: str) -> HttpResponse:
    row, sheet = _mine(token)
    if request.method == "POST":
        sign_ups.withdraw(row, request.POST.get("word", ""))
        return redirect("scheduling:my", token)
    offer = next((offer for offer in day_offers(row.build, sheet) if offer.day.id == row.day), None)
    return render(request, "scheduling/helper/withdraw.html", {"build": row.build, "row": row, "offer": offer})
