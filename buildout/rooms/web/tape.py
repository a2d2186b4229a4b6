"""Taping a room on site: two points, a length, and the room is drawn anew with its ±.

Nothing here changes the plan. Readings gather in the person's own session, are adjusted with the plan's within the
request, and become a proposal when the person says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import LengthField, person, show_problems
from buildout.rooms.engine.types import Candidate, FabricatorGate
from buildout.rooms.web import edits
from buildout.rooms.web.cutting import cutting_of
from buildout.rooms.web.drawings import svg_of
from buildout.rooms.web.forms import KINDS, TOOL_WORDS, ReadingForm, pairs, points_of
from buildout.rooms.web.lines import (
    TOOLS,
    FileError,
    LineError,
    ReadLines,
    WrongLine,
    made_reading,
    read_csv,
    read_lines,
)
from buildout.rooms.web.models import TapeSession
from buildout.rooms.web.opened import OpenRoom, open_room
from buildout.rooms.web.preview import OF_ONE_READING, Worked, new_stops, work_out
from buildout.rooms.web.sketch import sketch


class TakeForm(forms.Form):
    """One reading between two points."""

    start = forms.ChoiceField(label="From")
    end = forms.ChoiceField(label="To")
    value = LengthField(label="The tape says", max_length=60)
    tool = forms.ChoiceField(label="Read with", choices=TOOL_WORDS, required=False)
    who = forms.CharField(label="Who reads", required=False, max_length=120)

    def __init__(self, *args: Any, points: Sequence[str], units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", "tap a point"), *pairs(list(points))]
        for name in ("start", "end"):
            field = self.fields[name]
            field.choices = choices  # type: ignore[attr-defined]
            field.error_messages["required"] = "Tap the point or choose it here, for example A."
        self.fields["value"].widget.attrs |= {"data-value": "", "enterkeyhint": "done", "autocapitalize": "off"}
        example = "9.563 m" if units == "metric" else "31' 4 1/2\""
        self.fields["value"].error_messages["required"] = f"Write what the tape says, for example {example}."
        self.fields["who"].unmarked = self.fields["tool"].unmarked = True  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if all(data.get(name) for name in ("start", "end", "value")):
            try:
                self.reading = made_reading(data["start"], data["end"], data["value"])
            except LineError as error:
                self.add_error("end" if data["start"] == data["end"] else "value", str(error).capitalize())
            else:
                if data.get("tool") not in ("", "tape"):
                    self.reading["tool"] = data["tool"]
                if data.get("who"):
                    self.reading["who"] = data["who"]
        return data


class ListForm(forms.Form):
    """Readings one a line, as fast as they can be typed."""

    lines = forms.CharField(
        label="One reading a line: from, to, length",
        required=False,
        widget=forms.Textarea(
            attrs={"rows": 4, "spellcheck": "false", "autocapitalize": "characters", "data-lines": ""}
        ),
    )


class Desk(NamedTuple):
    """A room with the readings of one person's session."""

    found: OpenRoom
    readings: list[dict[str, Any]]
    """The session's."""
    before: dict[str, Any]
    """The room as the plan has it."""
    after: dict[str, Any]
    """With the session's readings."""
    made: Worked


def _desk(request: HttpRequest, build_id: int, room_id: str) -> Desk:
    """The room with the session's readings; those the plan has taken up meanwhile leave the session."""
    found = open_room(request, build_id, room_id)
    before = edits.room_of(found.sheet.document, room_id)
    session = TapeSession.objects.filter(build=found.build, room=room_id, user=person(request)).first()
    return _with(found, before, _still_open(session.readings, before) if session is not None else [])


def _with(found: OpenRoom, before: dict[str, Any], readings: list[dict[str, Any]]) -> Desk:
    after = before | {"readings": [*before.get("readings", []), *readings]}
    return Desk(found, readings, before, after, work_out(after))


def _still_open(taken: list[dict[str, Any]], room: dict[str, Any]) -> list[dict[str, Any]]:
    """Readings the plan does not hold yet, numbered past those it does."""
    known = room.get("readings", [])
    left = [r for r in taken if r not in known]
    used = {r["id"] for r in known}
    for at, reading in enumerate(left):
        if reading["id"] in used:
            left[at] = reading | {"id": edits.next_reading_id({"readings": [*known, *left]})}
    return left


def _keep(desk: Desk, readings: list[dict[str, Any]], request: HttpRequest) -> None:
    TapeSession.objects.update_or_create(
        build=desk.found.build, room=desk.found.room.id, user=person(request),
        defaults={"readings": readings, "updated": timezone.now()},
    )  # fmt: skip


def _address(name: str, desk: Desk, *args: Any) -> str:
    return reverse(f"rooms:{name}", args=[desk.found.build.pk, desk.found.room.id, *args])


# ------------------------------------------------------------------ the page


def _advice(desk: Desk) -> tuple[list[Candidate], FabricatorGate]:
    from buildout.rooms.engine.quality import advise

    cutting = cutting_of(desk.found.sheet.document, desk.found.room.id)
    return advise(*desk.made, many=3, cutting=cutting)


def _state(
    request: HttpRequest, desk: Desk, *, take: TakeForm | None = None, listed: ListForm | None = None,
    wrong: Sequence[str] = (), said: str = "", start: str = "", end: str = "",
) -> dict[str, Any]:  # fmt: skip
    room, survey, plan = desk.made
    points = points_of(room)
    if take is None:
        kept = {name: request.POST.get(name, "") for name in ("tool", "who")}
        take = TakeForm(
            points=points, units=desk.found.sheet.units,
            initial={"start": start, "end": end, "tool": kept["tool"] or "tape",
                     "who": kept["who"] or person(request).name},
        )  # fmt: skip
    worked = {r.id: r for r in survey.readings}
    best, gate = _advice(desk)
    found = desk.found
    return {
        "build": found.build, "member": found.member, "sheet": found.sheet, "sheet_no": "2", "room": room,
        "survey": survey, "plan": plan, "take": take, "listed": listed or ListForm(), "wrong": wrong, "said": said,
        "sketch": sketch(room, survey, plan, start=start, end=end), "start": start, "end": end, "points": [
            {"name": name, "chosen": name in (start, end)} for name in points
        ],
        "taken": [{"read": r, "worked": worked.get(r["id"])} for r in reversed(desk.readings)],
        "doubted": [r for r in survey.readings if r.verdict in ("suspect", "set aside")],
        "best": best, "gate": gate, "wanted": survey.wanted,
        "stops": [r for r in [*survey.reasons, *plan.reasons] if r.severity == "stop"],
        "worst": max((p.plus_minus for p in survey.points), default=None),
    }  # fmt: skip


def _answer(request: HttpRequest, desk: Desk, *, status: int = 200, **state: Any) -> HttpResponse:
    """The part of the page that changes, or the whole page where scripts do not run."""
    if request.htmx:  # type: ignore[attr-defined]
        return render(request, "rooms/tape_state.html", _state(request, desk, **state), status=status)
    if status == 200 and request.method == "POST":
        if state.get("said"):
            messages.success(request, state["said"])
        return redirect(_address("tape", desk))
    return _page(request, desk, status=status, **state)


def _page(request: HttpRequest, desk: Desk, *, status: int = 200, **state: Any) -> HttpResponse:
    from buildout.rooms.engine.room_drawing import draw_plan

    context = _state(request, desk, **state)
    if desk.made.survey.points:
        context["drawing"] = svg_of(draw_plan(*desk.made, units=desk.found.sheet.units), "p")
    return render(request, "rooms/tape.html", context, status=status)


@login_required
@require_GET
def tape(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """The page for the phone. ``?from=A&to=B`` are the points tapped so far."""
    desk = _desk(request, build_id, room_id)
    points = points_of(desk.made.room)
    start, end = (name if name in points else "" for name in (request.GET.get("from", ""), request.GET.get("to", "")))
    return _page(request, desk, start=start, end=end if end != start else "")


# ------------------------------------------------------------------ taking readings


Trouble = tuple[int, builds.Problem]
"""Which of the readings just taken, and what is wrong with it: its pointer starts at the reading."""


def _problems(desk: Desk, room: dict[str, Any], new: int) -> list[Trouble]:
    """What the plan's check says against each of the last ``new`` readings."""
    document = {**desk.found.sheet.document}
    at, first = edits.room_position(document, desk.found.room.id), len(room["readings"]) - new
    document["rooms"] = [*document["rooms"][:at], room, *document["rooms"][at + 1 :]]
    found: list[Trouble] = []
    try:
        builds.office().check(document)
    except builds.DocumentProblems as error:
        for problem in error.problems:
            parts = problem.pointer.split("/")
            if parts[1:3] == ["rooms", str(at)] and parts[3:4] == ["readings"] and int(parts[4]) >= first:
                inside = builds.Problem("/" + "/".join(parts[5:]), problem.message, problem.example)
                found.append((int(parts[4]) - first, inside))
    return found


def _said(desk: Desk, before: int) -> str:
    taken = desk.readings[before:]
    if len(taken) == 1:
        r = taken[0]
        worked = next((w for w in desk.made.survey.readings if w.id == r["id"]), None)
        verdict = f": {worked.verdict}" if worked is not None else ""
        return f"Reading {r['id']}, {r['start']}–{r['end']} {r['value']}{verdict}."
    return f"{len(taken)} readings taken."


def _gather(request: HttpRequest, desk: Desk, new: list[dict[str, Any]]) -> tuple[Desk, list[Trouble]]:
    """Keep new readings in the session when nothing speaks against any of them."""
    room = dict(desk.after) | {"readings": list(desk.after["readings"])}
    edits.add_readings(room, new, when=desk.found.sheet.today().isoformat())
    added = room["readings"][len(desk.after["readings"]) :]
    problems = _problems(desk, room, len(new))
    if problems:
        return desk, problems
    made = _with(desk.found, desk.before, [*desk.readings, *added])
    problems = [
        (k, builds.Problem(f"/{OF_ONE_READING[r.code]}", f"{r.text} {r.todo}"))
        for r in [*made.made.survey.reasons, *made.made.plan.reasons] for k, n in enumerate(added)
        if r.where == n["id"] and r.severity == "stop" and r.code in OF_ONE_READING
    ]  # fmt: skip
    if problems:
        return desk, problems
    _keep(made, made.readings, request)
    return made, []


@login_required
@require_POST
def take(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Take one reading."""
    desk = _desk(request, build_id, room_id)
    form = TakeForm(request.POST, points=points_of(desk.made.room), units=desk.found.sheet.units)
    if form.is_valid():
        before = len(desk.readings)
        desk, problems = _gather(request, desk, [form.reading])
        if not problems:
            return _answer(request, desk, said=_said(desk, before))
        for _, problem in problems:
            form.add_error("value", problem.message)
    chosen = {name: request.POST.get(name, "") for name in ("start", "end")}
    return _answer(request, desk, take=form, status=422, **chosen)


@login_required
@require_POST
def take_list(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Take readings typed or pasted one a line. Lines that are wrong stay in the box and are named."""
    desk = _desk(request, build_id, room_id)
    text = request.POST.get("lines", "")
    found = read_lines(text[:100_000], points_of(desk.made.room))
    return _take_lines(request, desk, found)


@login_required
@require_POST
def take_file(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Take readings from a CSV file."""
    desk = _desk(request, build_id, room_id)
    sent = request.FILES.get("file")
    if sent is None:
        return _answer(request, desk, wrong=["Choose a CSV file first, for example readings.csv."], status=422)
    try:
        found = read_csv(sent.read(), points_of(desk.made.room))
    except FileError as error:
        return _answer(request, desk, wrong=[str(error)], status=422)
    return _take_lines(request, desk, found)


def _take_lines(request: HttpRequest, desk: Desk, found: ReadLines) -> HttpResponse:
    before, wrong, good = len(desk.readings), list(found.wrong), list(found.taken)
    who = request.POST.get("who", "")[:120] or person(request).name
    tool = request.POST.get("tool", "")
    common = {"who": who} | ({"tool": tool} if tool in TOOLS and tool != "tape" else {})
    while good:
        new = [common | line.reading for line in good]
        desk, problems = _gather(request, desk, new)
        if not problems:
            break
        bad = dict(reversed(problems))
        wrong += [WrongLine(good[k].number, good[k].text, problem.message) for k, problem in bad.items()]
        good = [line for k, line in enumerate(good) if k not in bad]
    if not good and not wrong:
        wrong_words = ["There is no reading in it. Write one a line, for example A B 31' 4 1/2\"."]
        return _answer(request, desk, wrong=wrong_words, status=422)
    said = _said(desk, before) if good else ""
    if not wrong:
        return _answer(request, desk, said=said)
    wrong.sort(key=lambda line: line.number)
    left = ListForm(initial={"lines": "\n".join(line.text for line in wrong)})
    told = [f"{line.text.strip()}: {line.why}" for line in wrong]
    return _answer(request, desk, listed=left, wrong=told, said=said, status=422)


@login_required
@require_http_methods(["GET", "POST"])
def take_other(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Take a reading of any kind, with note and photo: first which kind, then what that kind needs."""
    desk = _desk(request, build_id, room_id)
    kind = request.POST.get("kind") or request.GET.get("kind", "")
    if request.method == "GET" and kind not in KINDS:
        return _kinds(request, desk)
    initial = {"id": edits.next_reading_id(desk.after), "when": desk.found.sheet.today(),
               "who": person(request).name}  # fmt: skip
    form = ReadingForm(
        request.POST or None, request.FILES or None, initial=initial, room=desk.made.room,
        only=kind if kind in KINDS else "",
    )  # fmt: skip
    if request.method == "POST" and form.is_valid():
        reading = form.edited({}, build=desk.found.build)
        before = len(desk.readings)
        desk, problems = _gather(request, desk, [reading])
        if not problems:
            messages.success(request, _said(desk, before))
            return redirect(_address("tape", desk))
        show_problems(form, [problem for _, problem in problems], "")
    found = desk.found
    context = {
        "build": found.build, "member": found.member, "sheet": found.sheet, "sheet_no": "2", "room": found.room,
        "title": KINDS[kind].told if kind in KINDS else "Take a reading of any kind",
        "form": form, "button": "Take it", "back": _address("tape", desk),
        "draft": True,
    }  # fmt: skip
    return render(request, "rooms/edit.html", context, status=422 if form.is_bound else 200)


def _kinds(request: HttpRequest, desk: Desk) -> HttpResponse:
    found = desk.found
    context = {
        "build": found.build, "member": found.member, "sheet": found.sheet, "sheet_no": "2", "room": found.room,
        "back": _address("tape", desk), "kinds": [{"word": word, "told": kind.told} for word, kind in KINDS.items()],
    }  # fmt: skip
    return render(request, "rooms/kinds.html", context)


@login_required
@require_POST
def drop(request: HttpRequest, build_id: int, room_id: str, reading_id: str) -> HttpResponse:
    """Take one reading of the session out again."""
    desk = _desk(request, build_id, room_id)
    left = [r for r in desk.readings if r["id"] != reading_id]
    if len(left) < len(desk.readings):
        _keep(desk, left, request)
        desk = _with(desk.found, desk.before, left)
    return _answer(request, desk, said=f"Reading {reading_id} taken out again.")


@login_required
@require_POST
def propose(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Make a proposal of the session. Its readings stay here until the plan holds them."""
    desk = _desk(request, build_id, room_id)
    count = len(desk.readings)
    if not count:
        return _answer(request, desk, wrong=["There is no reading to propose yet."], status=422)
    stops = new_stops(desk.before, desk.after)
    if stops:
        wrong = [f"{r.text} {r.todo}" for r in stops]
        return _page(request, desk, wrong=["Nothing is proposed while the room cannot be:", *wrong], status=422)
    document = builds.editable(desk.found.build)
    document["rooms"][edits.room_position(document, room_id)] = desk.after
    summary = f"{desk.found.room.name}: {count} reading{'' if count == 1 else 's'} taken on site"
    _keep(desk, desk.readings, request)
    try:
        proposal = builds.propose(desk.found.build, person(request), document, summary)
    except builds.DocumentProblems as error:
        return _page(request, desk, wrong=[p.message for p in error.problems], status=422)
    return redirect(proposal)
