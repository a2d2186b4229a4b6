"""The board of a build day: now, next and blocked, for the crew lead and, by their own link, for helpers.

Every button is a form of its own right, so the pages work without script. With script the same marks are kept on
the telephone while there is no signal and sent later, each once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from hashlib import sha256
from math import ceil
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Role
from buildout.builds.web.services import Sheet
from buildout.units.dates import day_text
from scheduling.engine.activities import needs_tool
from scheduling.engine.calendars import read_time
from scheduling.engine.day import TaskDay, crew_hours
from scheduling.engine.types import PlannedTask, Schedule, Task, TaskNet
from scheduling.web import guardians, links, marks
from scheduling.web.forms import DayEndForm, request_key
from scheduling.web.helpers import OwnLinkEndedError, own_link
from scheduling.web.keeping import link_until
from scheduling.web.marks import Day, Person
from scheduling.web.models import DayMark, DayPhoto, SignUp
from scheduling.web.offers import (
    DayOffer,
    TaskOffer,
    build_days,
    carried_together,
    day_offers,
    known_by_name,
    lead_words,
    whole_task,
)
from scheduling.web.task_editing import report
from scheduling.web.views import user_of

MEALS_A_HEAD = 1.1
"""Common practice, no published source."""
HELPERS_MAY = ("start", "crew", "stop", "finish", "problem", "short", "here", "gone", "heard")
"""What helpers may mark; of people, only themselves."""


@dataclass
class Card:
    """One task of the day as it stands."""

    offer: TaskOffer
    task: Task | None
    lead: str
    """Who leads it, in words."""
    state: str
    since: datetime | None
    people: list[str]
    count: int
    hours: float
    waits: list[str]
    unreported: list[str]
    problems: list[DayMark]
    late: bool
    url: str
    mine: bool = False
    hands_missing: int = 0
    """How many too few are here to carry it; it is not begun."""
    places: Mapping[str, str] = field(default_factory=dict)
    """Where tools lie, by a word of the tasks' tools."""

    @property
    def tools(self) -> list[str]:
        tools = self.task.tools if self.task else ""
        return [self._with_place(tool.strip()) for tool in tools.split(",") if tool.strip() not in ("", "-")]

    def _with_place(self, tool: str) -> str:
        place = next((place for word, place in self.places.items() if needs_tool(tool, word)), "")
        return f"{tool} ({place})" if place else tool


@dataclass
class Desk:
    """Whoever stands before the board: a crew lead or the owner, or one helper."""

    build: Build
    sheet: Sheet
    offer: DayOffer
    people: list[Person]
    by_name: str
    lead: bool
    owner: bool = False
    row: SignUp | None = None
    day: Day = field(init=False)

    def __post_init__(self) -> None:
        self.day = marks.read_day(self.build, self.offer.day.id)

    @property
    def me(self) -> str:
        return f"s{self.row.pk}" if self.row else ""

    def url(self, name: str, *more: Any) -> str:
        if self.row is not None:
            return reverse(f"scheduling:my-{name}", args=[self.row.token, *more])
        return reverse(f"scheduling:{name}", args=[self.build.pk, self.offer.day.id, *more])

    @property
    def sheets(self) -> list[str]:
        """Addresses of further pages to be read with no signal, and of what they need to look right."""
        if self.row is not None:
            return [reverse("scheduling:my", args=[self.row.token])]
        return [self.url(name) for name in ("board-people", "board-end", "day-sheet")] + [static("css/document.css")]

    @property
    def scope(self) -> str:
        """Where the service worker answers: a helper's own page lies above the board."""
        return reverse("scheduling:my", args=[self.row.token]) if self.row is not None else self.url("board")

    @property
    def date(self) -> date:
        return self.offer.day.date

    @property
    def days_ahead(self) -> int:
        return (self.date - self.sheet.today()).days

    @property
    def may_mark(self) -> bool:
        """From the day itself on: the lead at any time (reports come late), helpers until the end of the next day."""
        return self.days_ahead <= 0 and (self.lead or self.days_ahead >= -1)

    def unsigned(self) -> dict[int, str]:
        """First names of minors whose guardian has not signed for this day. No query where nobody is under 18."""
        signed = guardians.signatures(self.offer.sign_ups, self.date)
        return {row.pk: row.first_name for row in self.offer.sign_ups if row.minor and row.pk not in signed}

    @property
    def meals_expected(self) -> int:
        return ceil(MEALS_A_HEAD * len(self.people) - 1e-9)

    def at(self, minute: int) -> datetime:
        """A time of this day on the wall clock of the build."""
        midnight = datetime(self.date.year, self.date.month, self.date.day, tzinfo=self.sheet.zone)
        return midnight + timedelta(minutes=minute)

    def now(self) -> datetime:
        """The moment the board shows: now on the day itself, else the start or the end of it."""
        if self.days_ahead == 0:
            return timezone.now().astimezone(self.sheet.zone)
        return self.at(0 if self.days_ahead > 0 else 24 * 60 - 1)

    def breaks(self) -> list[tuple[datetime, datetime]]:
        day = self.offer.day
        try:
            start = read_time(day.meal_start)
        except ValueError:
            return []
        return [(self.at(start), self.at(start + max(0, day.meal_minutes)))]


def lead_desk(request: HttpRequest, build_id: int, day: str) -> Desk:
    user = user_of(request)
    build, member = builds.build_for(user, build_id, Role.OWNER, Role.LEAD)
    sheet = builds.sheet_of(build)
    offer = _offer(build, sheet, day)
    people = marks.roster(sheet, offer)
    by_name = (user.name.split() or [user.name])[0]  # helpers see first names only
    return Desk(build, sheet, offer, people, by_name, lead=True, owner=member.role == Role.OWNER)


def _helper_desk(token: str) -> Desk:
    row = get_object_or_404(
        SignUp.objects.standing().select_related("build", "build__current"), token=token, build__current__isnull=False
    )
    sheet = builds.sheet_of(row.build)
    if link_until(row, sheet) < sheet.today():
        raise OwnLinkEndedError(row, sheet)
    offer = _offer(row.build, sheet, row.day)
    people = marks.roster(sheet, offer)
    return Desk(row.build, sheet, offer, people, row.first_name, lead=False, row=row)


def _offer(build: Build, sheet: Sheet, day: str) -> DayOffer:
    found = next((offer for offer in day_offers(build, sheet) if offer.day.id == day), None)
    if found is None:
        raise Http404("No such build day")
    return found


# ------------------------------------------------------------------ what stands on the board


def cards_of(desk: Desk) -> list[Card]:
    net = {task.code: task for task in desk.sheet.part("tasks", TaskNet).tasks}
    waiting, hands = _Waiting(desk, net), _Hands(desk)
    names = {person.key: person.name for person in desk.people}
    leaders = known_by_name(desk.sheet) | {person.id: person.name for person in desk.people}
    places = desk.sheet.document.get("crew", {}).get("tool_places", {})
    now = desk.now()
    # A task nobody ended on its day was not worked on through the night.
    counted_to = min(now, desk.at(read_time(desk.offer.day.end)))
    found = []
    for offer in desk.offer.tasks:
        state = desk.day.tasks.get(offer.code)
        waits, unreported = waiting.of(offer.code)
        short = hands.missing(net.get(offer.code)) if desk.days_ahead == 0 else 0
        if short:
            waits = [*waits, f"{short} more {'carrier' if short == 1 else 'carriers'}"]
        found.append(
            Card(
                offer=offer,
                task=net.get(offer.code),
                lead=lead_words(offer, leaders),
                state=state.state if state else "to do",
                since=state.since.astimezone(desk.sheet.zone) if state else None,
                people=[names.get(key, "somebody") for key in state.people] if state else [],
                count=state.count if state else 0,
                hours=crew_hours(state, counted_to, desk.breaks()) if state else 0.0,
                waits=waits,
                unreported=unreported,
                problems=[mark for mark in desk.day.problems if mark.task == offer.code],
                late=desk.at(offer.start) < now,
                url=desk.url("board-task", offer.code),
                mine=desk.row is not None and desk.row.task == offer.code,
                hands_missing=short,
                places=places,
            )
        )
    return found


class _Waiting:
    """What a task still has to wait for."""

    def __init__(self, desk: Desk, net: dict[str, Task]) -> None:
        self.desk, self.net = desk, net
        self.done = set(desk.sheet.document.get("tasks", {}).get("done", {}))
        earlier = DayMark.objects.filter(build=desk.build, kind="finish", outcome="taken").exclude(
            day=desk.offer.day.id
        )
        self.done |= set(earlier.values_list("task", flat=True))
        self.ends: dict[str, datetime] = {}
        for part in desk.sheet.part("schedule", Schedule).tasks:
            day = part.end_day
            midnight = datetime(day.year, day.month, day.day, tzinfo=desk.sheet.zone)
            end = midnight + timedelta(minutes=part.end)
            code = whole_task(part.code)
            self.ends[code] = max(end, self.ends.get(code, end))
        self.today = {offer.code for offer in desk.offer.tasks}

    def of(self, code: str) -> tuple[list[str], list[str]]:
        """(what it waits for, what should be done by now and nobody reported)."""
        task = self.net.get(code)
        waits: list[str] = []
        unreported: list[str] = []
        now = self.desk.now()
        for lag in task.after if task else []:
            other = self.net.get(lag.task)
            if other is None:
                continue
            name = f"{lag.task} {other.name}"
            state: TaskDay | None = self.desk.day.tasks.get(lag.task)
            ready = self._ready(lag.minutes, lag.from_start, state)
            if ready is not None:
                if ready > now:
                    waits.append(f"{name}: not before {ready.astimezone(self.desk.sheet.zone):%H:%M}")
            elif lag.task in self.done or lag.task not in self.ends:
                continue
            elif lag.task in self.today:
                waits.append(name)
            elif self.ends[lag.task] > now:
                end = self.ends[lag.task]
                waits.append(f"{name}, planned until {day_text(end.date(), year=False)} {end:%H:%M}")
            elif other.kind != "wait":
                unreported.append(name)
        return waits, unreported

    def _ready(self, minutes: int, from_start: bool, state: TaskDay | None) -> datetime | None:
        """When what a mark says lets the next one begin; None while it says nothing of the kind."""
        if state is None:
            return None
        if from_start and state.stints:
            return state.stints[0].start + timedelta(minutes=minutes)
        return state.since + timedelta(minutes=minutes) if state.state == "finished" else None


class _Hands:
    """Who is there to carry what takes many hands at once."""

    def __init__(self, desk: Desk) -> None:
        self.carried = carried_together()
        able = [one for one in desk.people if one.sign_up is None or one.sign_up.lifting == "any"]
        self.expected = len(able)
        counted = desk.day.counts.get("carriers")
        self.counted = counted is not None
        self.present = counted if counted is not None else len(desk.day.present(able))

    def missing(self, task: Task | None) -> int:
        """How many too few are here for a task; 0 for one that is not carried."""
        return max(0, task.crew_min - self.present) if task is not None and task.code in self.carried else 0


def _carries(desk: Desk, cards: Sequence[Card]) -> list[dict[str, Any]]:
    """What takes many hands at once: how many are needed, how many are here, and whether it may begin."""
    hands = _Hands(desk)
    return [
        {"card": card, "needed": card.task.crew_min, "expected": hands.expected, "present": hands.present,
         "counted": hands.counted, "enough": not hands.missing(card.task), "missing": hands.missing(card.task)}
        for card in cards
        if card.offer.code in hands.carried and card.task is not None and card.state != "finished"
    ]  # fmt: skip


def _context(desk: Desk) -> dict[str, Any]:
    names = {offer.code: offer.name for offer in desk.offer.tasks}
    day = desk.day
    return {
        "build": desk.build,
        "desk": desk,
        "offer": desk.offer,
        "now": desk.now(),
        "key": request_key(),
        "mark_url": desk.url("board-mark"),
        "board_url": desk.url("board"),
        "worker_url": reverse("scheduling:board-worker"),
        "here": day.present(desk.people),
        "i_am_here": desk.me in day.here and desk.me not in day.gone,
        "i_heard": desk.me in day.heard,
        "conflicts": [marks.words(mark, names) for mark in day.conflicts],
    }


def _render(
    request: HttpRequest, desk: Desk, template: str, context: dict[str, Any], status: int = 200
) -> HttpResponse:
    """Times of day are the build's own."""
    with timezone.override(desk.sheet.zone):
        return render(request, template, context, status=status)


def _board_page(request: HttpRequest, desk: Desk) -> HttpResponse:
    cards = cards_of(desk)
    under = [card for card in cards if card.state == "under way"]
    rest = [card for card in cards if card.state in ("to do", "stopped")]
    blocked = [card for card in rest if card.waits or card.problems]
    ready = [card for card in rest if card not in blocked]
    in_plan = {need.get("asked") for need in desk.sheet.document.get("needs", [])}
    context = _context(desk) | {
        "cards": cards,
        "under": under + [card for card in ready if card.late],
        "next": [card for card in ready if not card.late],
        "blocked": blocked,
        "finished": [card for card in cards if card.state == "finished"],
        "carries": _carries(desk, cards),
        "tools": sorted({tool for card in cards for tool in card.tools if card.state != "finished"}),
        "loose_problems": [mark for mark in desk.day.problems if not mark.task],
        "shorts": [(mark, mark.key in in_plan) for mark in desk.day.shorts],
        "meals": desk.day.counts.get("meals"),
        "meals_expected": desk.meals_expected,
        "first_aid": desk.offer.day.first_aid,
        "keep": [card.url for card in cards] + desk.sheets,
        "unsigned": list(desk.unsigned().values()) if desk.lead else [],
        "notes": [(row.first_name, row.note) for row in desk.offer.sign_ups if row.note] if desk.lead else [],
    }
    return _render(request, desk, "scheduling/board/board.html", context)


def _task_page(request: HttpRequest, desk: Desk, code: str) -> HttpResponse:
    card = next((card for card in cards_of(desk) if card.offer.code == code), None)
    if card is None:
        raise Http404("This task is not done on this day")
    state = desk.day.tasks.get(code)
    on_it = set(state.people) if state and state.state in ("under way", "stopped") else set()
    here = desk.day.present(desk.people)
    choose = here or desk.people
    names = {offer.code: offer.name for offer in desk.offer.tasks}
    busy = {
        key: names.get(other.task, other.task)
        for other in desk.day.tasks.values()
        if other.task != code and other.state == "under way"
        for key in other.people
    }
    if state and state.state == "stopped":
        on_it -= {*busy, *desk.day.gone}  # those who went to other work meanwhile stay there
    ticked = on_it or {person.key for person in marks.usual_crew(desk.people, desk.day, code)}
    unsigned = desk.unsigned() if desk.lead else {}
    choices = [
        (person, person.key in ticked, busy.get(person.key, ""), person.sign_up is not None
         and person.sign_up.pk in unsigned)
        for person in choose
    ]  # fmt: skip
    return _render(request, desk, "scheduling/board/task.html", _context(desk) | {"card": card, "choices": choices})


# ------------------------------------------------------------------ taking marks


def _mark(request: HttpRequest, desk: Desk) -> HttpResponse:
    kind, _, target = request.POST.get("say", "").partition(":")
    wants_json = request.headers.get("Accept", "").startswith("application/json")
    try:
        if not desk.may_mark:
            raise marks.MarkError(f"The board opens for marks on {day_text(desk.date, year=False)}.")
        if not desk.lead and (kind not in HELPERS_MAY or (kind in marks.PERSON_KINDS and target != desk.me)):
            raise marks.MarkError("This is for the crew lead.")
        made = marks.take(
            desk.build, desk.offer, desk.people, kind, target or request.POST.get("task", "")[:20],
            key=_key(request, kind, target), by_name=desk.by_name, ago=_ago(request),
            on_it=request.POST.getlist("people"), text=request.POST.get("text", "")[:400],
            count=_count(request, kind), photo=_photo(request),
        )  # fmt: skip
    except marks.MarkError as error:
        if wants_json:
            return JsonResponse({"outcome": "refused", "text": str(error)}, status=422)
        messages.error(request, str(error))
        return redirect(_back(request, desk))
    if wants_json:
        return JsonResponse({"outcome": made.outcome, "text": made.against})
    if made.outcome == DayMark.Outcome.CONFLICT:
        messages.error(request, f"{made.against}. Your mark is kept; the crew lead decides.")
    on_people = request.POST.get("from") == "people" and desk.lead
    known = {person.key for person in desk.people} if on_people else {offer.code for offer in desk.offer.tasks}
    # Back to where the thumb was, unless there is something to read at the top.
    where = f"#{target}" if target in known and made.outcome != DayMark.Outcome.CONFLICT else ""
    return redirect(desk.url("board-people" if on_people else "board") + where)


def _back(request: HttpRequest, desk: Desk) -> str:
    code = request.POST.get("page", "")
    return desk.url("board-task", code) if desk.offer.task(code) else desk.url("board")


def _key(request: HttpRequest, kind: str, target: str) -> str:
    given = request.POST.get("key", "")
    if not 8 <= len(given) <= 40:
        raise marks.MarkError("The page came without its key. Load it again.")
    # Every button of one page has the page's key; which button it was makes it one of a kind.
    return sha256(f"{given}:{kind}:{target}".encode()).hexdigest()


def _ago(request: HttpRequest) -> timedelta:
    raw = request.POST.get("ago", "")
    return timedelta(seconds=int(raw)) if raw.isdecimal() and len(raw) < 9 else timedelta(0)


def _count(request: HttpRequest, kind: str) -> int | None:
    raw = request.POST.get("count", "").strip()
    if not raw:
        return None
    if not raw.isdecimal() or int(raw) > 999:
        raise marks.MarkError(f"{raw!r} is not a number of people or meals. Write one like 24.")
    return int(raw)


def _photo(request: HttpRequest) -> bytes:
    sent = request.FILES.get("photo")
    if sent is None:
        return b""
    if (sent.size or 0) > marks.LARGEST_PHOTO:
        raise marks.MarkError(f"This picture is larger than {marks.LARGEST_PHOTO // 1_000_000} MB. Send a smaller one.")
    return bytes(sent.read())


def _photo_answer(desk: Desk, mark_id: int) -> HttpResponse:
    photo = get_object_or_404(DayPhoto, mark_id=mark_id, mark__build=desk.build, mark__day=desk.offer.day.id)
    return HttpResponse(
        bytes(photo.jpeg), content_type="image/jpeg", headers={"Cache-Control": "private, max-age=86400"}
    )


# ------------------------------------------------------------------ crew lead and owner


@login_required
@never_cache
@require_GET
def board(request: HttpRequest, build_id: int, day: str) -> HttpResponse:
    return _board_page(request, lead_desk(request, build_id, day))


@login_required
@never_cache
@require_GET
def board_task(request: HttpRequest, build_id: int, day: str, code: str) -> HttpResponse:
    return _task_page(request, lead_desk(request, build_id, day), code)


@login_required
@require_POST
def board_mark(request: HttpRequest, build_id: int, day: str) -> HttpResponse:
    return _mark(request, lead_desk(request, build_id, day))


@login_required
@require_GET
def board_photo(request: HttpRequest, build_id: int, day: str, mark_id: int) -> HttpResponse:
    return _photo_answer(lead_desk(request, build_id, day), mark_id)


@login_required
@never_cache
@require_GET
def board_people(request: HttpRequest, build_id: int, day: str) -> HttpResponse:
    """The arrival list: who is here, who heard the briefing, whom to call."""
    desk = lead_desk(request, build_id, day)
    names = {offer.code: offer.name for offer in desk.offer.tasks}
    signed = guardians.signatures(desk.offer.sign_ups, desk.date)
    said = {
        row.pk: guardians.words(row, signed.get(row.pk), desk.sheet.today()) for row in desk.offer.sign_ups if row.minor
    }
    people = [
        {
            "person": person,
            "here": person.key in desk.day.here and person.key not in desk.day.gone,
            "gone": person.key in desk.day.gone,
            "heard": person.key in desk.day.heard,
            "task": names.get(person.task, person.task),
            "guardian": said.get(person.sign_up.pk, "") if person.sign_up else "",
            "signed": person.sign_up is not None and person.sign_up.pk in signed,
            "call": links.call_link(person.sign_up.contact) if person.sign_up else "",
        }
        for person in desk.people
    ]
    unbriefed = [one for one in people if one["here"] and not one["heard"]]
    context = _context(desk) | {"people": people, "unbriefed": len(unbriefed)}
    return _render(request, desk, "scheduling/board/people.html", context)


@login_required
@require_POST
def board_settle(request: HttpRequest, build_id: int, day: str, mark_id: int) -> HttpResponse:
    desk = lead_desk(request, build_id, day)
    try:
        marks.settle(desk.build, mark_id, take_it="take" in request.POST, by_name=desk.by_name)
    except marks.MarkError as error:
        messages.error(request, str(error))
    return redirect(desk.url("board"))


@dataclass(frozen=True)
class Rest:
    """A task of which a part is done."""

    code: str
    name: str
    percent: int
    """How much seems to be done: what boards and plan say of it in hours."""


@dataclass
class DayEnd:
    """The day in figures, as the marks tell it."""

    finished: list[Card]
    unfinished: list[Card]
    planned_hours: float
    hours: float
    came: int
    signed: int
    done: dict[str, str]
    """Tasks that are finished altogether, for the plan."""
    partly: list[str]
    """Tasks whose part of today is finished while other parts are planned later."""
    rest: list[Rest]
    unreported: list[PlannedTask]
    """The last parts of tasks that by the plan are done by now, of which nobody has said so."""


def day_end(desk: Desk) -> DayEnd:
    cards = cards_of(desk)
    finished = [card for card in cards if card.state == "finished"]
    schedule = desk.sheet.part("schedule", Schedule)
    ends: dict[str, PlannedTask] = {}
    for part in sorted(schedule.tasks, key=lambda part: (part.end_day, part.end, part.code)):
        ends[whole_task(part.code)] = part
    later = {code for code, part in ends.items() if part.build_day != desk.offer.day.id and part.end_day > desk.date}
    helpers = [person for person in desk.people if person.sign_up is not None]
    known = set(desk.sheet.document.get("tasks", {}).get("done", {}))
    before = _finished_before(desk)
    done = {code: day.isoformat() for code, day in before.items() if code in ends and code not in later | known}
    done |= {card.offer.code: desk.date.isoformat() for card in finished if card.offer.code not in later | known}
    reported = {*done, *known, *before, *(card.offer.code for card in cards)}
    return DayEnd(
        finished=finished,
        unfinished=[card for card in cards if card.state != "finished"],
        planned_hours=sum(part.crew * (part.end - part.start) for part in desk.offer.planned) / 60,
        hours=sum(card.hours for card in cards),
        came=sum(1 for person in helpers if person.key in desk.day.here),
        signed=len(helpers),
        done=done,
        partly=[card.offer.code for card in finished if card.offer.code in later],
        rest=_rest(desk, cards, before, {*done, *known}),
        unreported=[part for code, part in sorted(ends.items()) if code not in reported and part.end_day <= desk.date],
    )


def _finished_before(desk: Desk) -> dict[str, date]:
    """Tasks, or their parts, that boards of earlier days say are finished, and the last such day."""
    days = {day.id: day.date for day in build_days(desk.sheet) if day.date < desk.date}
    marks_of = DayMark.objects.filter(build=desk.build, day__in=days, outcome="taken", kind__in=marks.TASK_KINDS)
    last: dict[tuple[str, str], str] = {}
    for day, task, kind in marks_of.order_by("pk").values_list("day", "task", "kind"):
        last[day, task] = kind
    found: dict[str, date] = {}
    for (day, task), kind in last.items():
        if kind == "finish":
            found[task] = max(days[day], found.get(task, days[day]))
    return found


def _rest(desk: Desk, cards: list[Card], before: Mapping[str, date], over: set[str]) -> list[Rest]:
    """Tasks begun and not finished altogether, with the share that seems to be done."""
    parts: dict[str, list[PlannedTask]] = {}
    for part in desk.sheet.part("schedule", Schedule).tasks:
        parts.setdefault(whole_task(part.code), []).append(part)
    told = desk.sheet.document.get("tasks", {}).get("begun", {})
    found = []
    for card in cards:
        code = card.offer.code
        if code in over or not (card.state != "to do" or code in before):
            continue
        whole = sum(_hours(part) for part in parts.get(code, ()))
        if card.state == "finished":
            spent = sum(_hours(part) for part in parts.get(code, ()) if part.end_day <= desk.date)
        else:
            past = before.get(code)
            spent = card.hours + sum(_hours(p) for p in parts.get(code, ()) if past and p.end_day <= past)
        had = float(told.get(code, 0))
        share = had + (1 - had) * (spent / whole if whole else 0.5)
        found.append(Rest(code, card.offer.name, min(95, max(5, round(share * 20) * 5))))
    return found


def _hours(part: PlannedTask) -> float:
    return part.crew * (part.end - part.start) / 60


@login_required
@never_cache
@require_GET
def board_end(request: HttpRequest, build_id: int, day: str) -> HttpResponse:
    """What was done, what slid, who came; the owner can have the rest planned anew."""
    desk = lead_desk(request, build_id, day)
    end = day_end(desk)
    return _end_page(request, desk, end, DayEndForm(end.rest, end.unreported))


def _end_page(request: HttpRequest, desk: Desk, end: DayEnd, form: DayEndForm, status: int = 200) -> HttpResponse:
    over = desk.now() >= desk.at(read_time(desk.offer.day.end))
    context = _context(desk) | {"end": end, "over": over, "form": form}
    return _render(request, desk, "scheduling/board/end.html", context, status=status)


@login_required
@require_POST
def board_replan(request: HttpRequest, build_id: int, day: str) -> HttpResponse:
    """Propose the plan with what was finished and begun so far, worked out for the day after."""
    build = builds.owner_build(user_of(request), build_id)
    desk = lead_desk(request, build_id, day)
    end = day_end(desk)
    form = DayEndForm(end.rest, end.unreported, request.POST)
    if not form.is_valid():
        return _end_page(request, desk, end, form, 422)
    finished, begun = form.said(desk.date)
    finished |= end.done
    document = builds.editable(build)
    report(document.setdefault("tasks", {}), finished, begun)
    after = max(desk.date + timedelta(days=1), desk.sheet.as_of) if desk.days_ahead <= 0 else desk.sheet.as_of
    document["as_of"] = after.isoformat()
    done = ", ".join(sorted(finished)) or "nothing"
    parts = ", ".join(f"{code} {percent} %" for code, percent in begun.items() if percent)
    slid = ", ".join(card.offer.code for card in end.unfinished if card.offer.code not in finished | begun)
    summary = f"After {desk.offer.day.name}: done {done}"
    summary += (f"; begun: {parts}" if parts else "") + (f"; slid: {slid}" if slid else "")
    try:
        return redirect(builds.propose(build, user_of(request), document, summary))
    except builds.DocumentProblems as error:
        for problem in error.problems:
            messages.error(request, f"{problem.pointer}: {problem.message}")
        return redirect(desk.url("board-end"))


@login_required
@never_cache
@require_GET
def day_sheet(request: HttpRequest, build_id: int, day: str) -> HttpResponse:
    """The day on paper, for when telephones fail."""
    desk = lead_desk(request, build_id, day)
    cards = cards_of(desk)
    context = _context(desk) | {
        "cards": cards, "carries": _carries(desk, cards), "meals_expected": desk.meals_expected,
        "guardians": guardians.states(desk.offer.sign_ups, desk.date, desk.sheet.today()),
        "signed": guardians.signatures(desk.offer.sign_ups, desk.date),
    }  # fmt: skip
    return _render(request, desk, "scheduling/board/sheet.html", context)


# ------------------------------------------------------------------ helpers


@never_cache
@require_GET
@own_link
def my_board(request: HttpRequest, token: str) -> HttpResponse:
    return _board_page(request, _helper_desk(token))


@never_cache
@require_GET
@own_link
def my_board_task(request: HttpRequest, token: str, code: str) -> HttpResponse:
    return _task_page(request, _helper_desk(token), code)


@require_POST
@own_link
def my_board_mark(request: HttpRequest, token: str) -> HttpResponse:
    return _mark(request, _helper_desk(token))


@require_GET
@own_link
def my_board_photo(request: HttpRequest, token: str, mark_id: int) -> HttpResponse:
    return _photo_answer(_helper_desk(token), mark_id)


@require_GET
def board_worker(request: HttpRequest) -> HttpResponse:
    """The service worker; it must come from the top of the site to serve both kinds of board."""
    text = (Path(settings.BASE_DIR) / "static/js/board-worker.js").read_text()
    return HttpResponse(text, content_type="text/javascript", headers={"Cache-Control": "no-cache"})
