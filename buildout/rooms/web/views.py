"""Rooms: readings beside the drawing they make, and every edit of them as a proposal."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.documents import pdf_or_page
from buildout.builds.web.editing import fitting_id, person, propose_from
from buildout.builds.web.models import Proposal, Role
from buildout.rooms.engine.drawing import Drawing
from buildout.rooms.engine.move_wall import WallMoveError, move_wall
from buildout.rooms.engine.neighbours import told_of
from buildout.rooms.engine.types import FabricatorGate, Room, RoomPlan, Survey
from buildout.rooms.web import edits
from buildout.rooms.web.cutting import cutting_of
from buildout.rooms.web.drawings import as_file, dxf_of, svg_of, svg_on_paper, title_block
from buildout.rooms.web.forms import (
    ColumnForm,
    FastReadingsForm,
    FeatureForm,
    KeepClearForm,
    LevelForm,
    MoveWallForm,
    NewRoomForm,
    PlacedRoomForm,
    ReadingForm,
    RoomPartForm,
    ToolsForm,
    WallForm,
    walls_of,
)
from buildout.rooms.web.gate import gate_of
from buildout.rooms.web.models import TapeSession
from buildout.rooms.web.opened import OpenRoom, leads_of, neighbours_of, open_room
from buildout.rooms.web.photos import photos_of
from buildout.rooms.web.preview import tell_overlaps, tell_stops
from buildout.rooms.web.starts import WAYS


class PartKind(NamedTuple):
    key: str
    noun: str
    form: type[RoomPartForm]
    caution: str = ""
    a: str = "a"


PARTS = {
    "readings": PartKind("readings", "reading", ReadingForm),
    "columns": PartKind(
        "columns", "column", ColumnForm,
        "A column may carry the building. Nothing is fixed to it, cut from it or boxed in without the landlord's word.",
    ),
    "features": PartKind(
        "features", "opening or service", FeatureForm,
        "Exits, call points, extinguishers and panelboards stay free of panels; local code says how far.", "an",
    ),
    "keep-clear": PartKind(
        "keep_clear", "strip kept clear", KeepClearForm,
        "How wide an exit landing or the space before a panelboard must be is for the local authority to say.",
    ),
    "levels": PartKind(
        "levels", "change of level", LevelForm,
        "A step in the floor trips people and may need a ramp or a rail; local code says which.",
    ),
    "walls": PartKind("walls", "wall", WallForm),
}  # fmt: skip
"""What a room is made of: the word in the address, the key in the plan, its form."""


def drawing_of(found: OpenRoom, *, diagonals: bool = False, gate: FabricatorGate | None = None) -> Drawing | None:
    """The plan of a room as a drawing (a sketch where its readings do not fix it), or None without any point."""
    from buildout.rooms.engine.room_drawing import draw_plan

    if not found.survey.points:
        return None
    block = title_block(found.build, found.sheet, f"{found.room.name}, plan", "2")
    return draw_plan(
        found.room, found.survey, found.plan, units=found.sheet.units, block=block, diagonals=diagonals,
        gate=gate or gate_of(found), leads=found.leads(),
    )  # fmt: skip


def _svg(drawing: Drawing | None) -> str:
    return svg_of(drawing) if drawing is not None else ""


# ------------------------------------------------------------------ looking


@login_required
@require_GET
def list_rooms(request: HttpRequest, build_id: int) -> HttpResponse:
    build, member = builds.build_for(person(request), build_id, Role.OWNER)
    sheet = builds.sheet_of(build)
    rooms = {room.id: room for room in sheet.section("rooms", list[Room])}
    surveys = {survey.room: survey for survey in sheet.part("surveys", list[Survey])}
    beside, every = neighbours_of(sheet), list(rooms.values())
    rows = [
        {
            "plan": plan,
            "room": rooms[plan.room],
            "survey": surveys[plan.room],
            "shape": _thumbnail(plan),
            "leads": leads_of(beside, every, plan.room),
        }
        for plan in sheet.part("plans", list[RoomPlan])
    ]
    context = {"build": build, "member": member, "sheet": sheet, "sheet_no": "2", "rows": rows}
    return render(request, "rooms/list.html", context)


def _thumbnail(plan: RoomPlan) -> dict[str, Any] | None:
    """Outlines for a small picture, y turned to point down as screens have it."""
    if not plan.outline:
        return None
    xs, ys = [x for x, _ in plan.outline], [y for _, y in plan.outline]

    def points(ring: list[tuple[float, float]]) -> str:
        return " ".join(f"{x - min(xs):.0f},{max(ys) - y:.0f}" for x, y in ring)

    width, height = max(xs) - min(xs), max(ys) - min(ys)
    edge = max(width, height) * 0.03
    return {
        "box": f"{-edge:.0f} {-edge:.0f} {width + 2 * edge:.0f} {height + 2 * edge:.0f}",
        "outline": points(plan.outline),
        "mat": points(plan.mat_field),
        "columns": [points(column.outline) for column in plan.columns],
        "stroke": f"{max(width, height) / 90:.0f}",
    }


def _room_context(found: OpenRoom) -> dict[str, Any]:
    worked = {reading.id: reading for reading in found.survey.readings}
    leads = found.leads()
    walls = {wall.id: wall for wall in found.room.walls}
    lengths = {f"{length.start}-{length.end}": length for length in found.survey.walls}
    return {
        "build": found.build,
        "member": found.member,
        "sheet": found.sheet,
        "sheet_no": "2",
        "room": found.room,
        "survey": found.survey,
        "plan": found.plan,
        "openings": [{"it": f, "to": leads.get(f.id, "")} for f in found.room.features],
        "readings": [{"read": reading, "worked": worked.get(reading.id)} for reading in found.room.readings],
        "doubted": [r for r in found.survey.readings if r.verdict in ("suspect", "set aside")],
        "unchecked": sum(1 for r in found.survey.readings if r.verdict == "unchecked"),
        "walls": [{"id": wall, "wall": walls.get(wall), "length": lengths.get(wall)} for wall in walls_of(found.room)],
    }


@login_required
@require_GET
def room(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """One room: its drawing beside the readings it was drawn from."""
    found = open_room(request, build_id, room_id)
    return _room_page(request, found)


def _room_page(
    request: HttpRequest,
    found: OpenRoom,
    *,
    move: MoveWallForm | None = None,
    fast: FastReadingsForm | None = None,
    refused: dict[str, Any] | None = None,
    status: int = 200,
) -> HttpResponse:
    from buildout.rooms.engine.quality import advise

    cutting, diagonals = cutting_of(found.sheet.document, found.room.id), "diagonals" in request.GET
    best, gate = advise(found.room, found.survey, found.plan, many=3, cutting=cutting)
    taping = TapeSession.objects.filter(build=found.build, room=found.room.id, user=person(request)).first()
    context = _room_context(found) | {
        "beside": told_of(found.neighbours(), found.room.id),
        "drawing": _svg(drawing_of(found, diagonals=diagonals, gate=gate)),
        "diagonals": diagonals,
        "gate": gate,
        "best": best,
        "taping": len(taping.readings) if taping else 0,
        "photos": photos_of(found.build.pk) if any(r.photo for r in found.room.readings) else set(),
        "refused": refused,
        "move": move or MoveWallForm(room=found.room),
        "fast": fast or FastReadingsForm(room=found.room, initial={"when": found.sheet.today()}),
    }
    return render(request, "rooms/room.html", context, status=status)


@login_required
@require_GET
def drawing(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """The plan as an SVG file."""
    found = open_room(request, build_id, room_id)
    return as_file(
        svg_on_paper(_needed(found, diagonals="diagonals" in request.GET)).encode(),
        "image/svg+xml",
        f"{room_id}-plan.svg",
    )


@login_required
@require_GET
def dxf(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """The plan for CAD programs."""
    found = open_room(request, build_id, room_id)
    return as_file(dxf_of(_needed(found)), "image/vnd.dxf", f"{room_id}-plan.dxf")


def _needed(found: OpenRoom, *, diagonals: bool = False) -> Drawing:
    made = drawing_of(found, diagonals=diagonals)
    if made is None:
        raise Http404("The readings do not give this room a shape yet")
    return made


@login_required
@require_GET
def pdf(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """The plan with its readings on paper."""
    found = open_room(request, build_id, room_id)
    context = _room_context(found) | {"drawing": svg_on_paper(_needed(found, diagonals="diagonals" in request.GET))}
    return pdf_or_page(request, "rooms/paper.html", context, f"{room_id}-plan.pdf")


@login_required
@require_GET
def figures(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Every figure of a room with its ±, and how far each reading is checked."""
    found = open_room(request, build_id, room_id)
    return render(request, "rooms/figures.html", _room_context(found))


# ------------------------------------------------------------------ editing


def _page(
    request: HttpRequest, found: OpenRoom, title: str, form: Any, button: str, caution: str = "", delete: str = ""
) -> HttpResponse:
    context = {
        "build": found.build, "member": found.member, "sheet": found.sheet, "sheet_no": "2", "room": found.room,
        "title": title, "form": form, "button": button, "caution": caution, "delete": delete,
        "back": _url("room", found.build.pk, found.room.id),
    }  # fmt: skip
    return render(request, "rooms/edit.html", context, status=422 if form.is_bound else 200)


def _url(name: str, *args: Any) -> str:
    from django.urls import reverse

    return reverse(f"rooms:{name}", args=args)


def _kind(part: str) -> PartKind:
    if part not in PARTS:
        raise Http404(f"A room has no {part}")
    return PARTS[part]


def propose_room(
    form: Any,
    found: OpenRoom,
    request: HttpRequest,
    document: dict[str, Any],
    summary: str,
    *,
    under: str,
    opening: str = "",
    **places: Any,
) -> Proposal | None:
    """Propose an edited room; None when the form now says why it cannot be. ``opening``: the one that was edited.

    The plan's own check comes first. A room that then cannot stand as read, and could before, is not proposed.
    """
    try:
        builds.office().check(document)
    except builds.DocumentProblems:
        pass  # said beside the fields below
    else:
        before, after = (edits.room_of(d, found.room.id) for d in (found.sheet.document, document))
        if before != after and tell_stops(form, before, after):
            return None
        if opening and tell_overlaps(form, before, after, opening, found.sheet.units):
            return None
    return propose_from(form, found.build, person(request), document, summary, under=under, **places)


@login_required
@require_http_methods(["GET", "POST"])
def add_part(request: HttpRequest, build_id: int, room_id: str, part: str) -> HttpResponse:
    """Add a reading, column, opening or strip."""
    return _edit_part(request, build_id, room_id, part, "")


@login_required
@require_http_methods(["GET", "POST"])
def edit_part(request: HttpRequest, build_id: int, room_id: str, part: str, part_id: str) -> HttpResponse:
    return _edit_part(request, build_id, room_id, part, part_id)


def _edit_part(request: HttpRequest, build_id: int, room_id: str, part: str, part_id: str) -> HttpResponse:
    found = open_room(request, build_id, room_id)
    kind = _kind(part)
    document = builds.editable(found.build)
    at = edits.room_position(document, room_id)
    edited = document["rooms"][at]
    before = next((entry for entry in edited.get(kind.key, []) if entry["id"] == part_id), None)
    if part_id and before is None:
        if part != "walls" or part_id not in walls_of(found.room):
            raise Http404(f"There is no {kind.noun} {part_id} in this room")
        before = {"id": part_id}
    initial: dict[str, Any] = dict(before or {})
    if not part_id and part == "readings":
        initial = {"id": edits.next_reading_id(edited), "when": found.sheet.today()}
    form = kind.form(
        request.POST or None, request.FILES or None, initial=initial, room=found.room, others=found.rooms()
    )
    if request.method == "POST" and form.is_valid():
        entry = form.entry(before or {}, found.build)
        place = edits.put_part(edited, kind.key, part_id, entry)
        proposal = propose_room(
            form, found, request, document, f"{found.room.name}: {form.summary()}",
            under=f"/rooms/{at}/{kind.key}/{place}", places={"backs_on/thickness": "thickness"},
            opening=entry["id"] if part == "features" else "",
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    title = f"{kind.noun.capitalize()} {part_id}" if part_id else f"Add {kind.a} {kind.noun}"
    delete = _url("delete-part", build_id, room_id, part, part_id) if part_id and part != "walls" else ""
    return _page(request, found, title, form, "See what this does", kind.caution, delete)


@login_required
@require_POST
def delete_part(request: HttpRequest, build_id: int, room_id: str, part: str, part_id: str) -> HttpResponse:
    found = open_room(request, build_id, room_id)
    kind = _kind(part)
    document = builds.editable(found.build)

    def remove() -> None:
        edits.remove_part(edits.room_of(document, room_id), kind.key, part_id)

    return _without(request, found, document, remove, f"{found.room.name}: {kind.noun} {part_id} taken out")


def _without(
    request: HttpRequest, found: OpenRoom, document: dict[str, Any], remove: Callable[[], None], summary: str
) -> HttpResponse:
    """Propose a plan with something taken out; what still leans on it is said on the room's page."""
    try:
        remove()
        proposal = builds.propose(found.build, person(request), document, summary)
    except KeyError as missing:
        raise Http404("It is no longer there") from missing
    except builds.DocumentProblems as error:
        return _room_page(request, found, refused={"what": summary, "problems": error.problems}, status=422)
    return redirect(proposal)


@login_required
@require_POST
def add_readings(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Add readings typed as a list, one a line."""
    found = open_room(request, build_id, room_id)
    form = FastReadingsForm(request.POST, room=found.room)
    if form.is_valid():
        document = builds.editable(found.build)
        at = edits.room_position(document, room_id)
        first = len(document["rooms"][at].get("readings", []))
        data = form.cleaned_data
        when = data["when"].isoformat() if data["when"] else ""
        edits.add_readings(document["rooms"][at], data["lines"], who=data["who"], when=when)
        count = len(data["lines"])
        proposal = propose_room(
            form, found, request, document,
            f"{found.room.name}: {count} reading{'' if count == 1 else 's'} added",
            under=f"/rooms/{at}",
            places={f"readings/{first + n}": "lines" for n in range(count)},
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    return _room_page(request, found, fast=form, status=422)


@login_required
@require_POST
def move(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Move a wall: every reading that touches it is rewritten by as much as it grows or shrinks."""
    found = open_room(request, build_id, room_id)
    form = MoveWallForm(request.POST, room=found.room)
    if form.is_valid():
        try:
            moved = move_wall(found.room, found.survey, form.cleaned_data["wall"], form.outward)
        except WallMoveError as error:
            form.add_error("distance", str(error))
        else:
            if not moved.dimensions:
                form.add_error("distance", "No reading touches this wall by that much. Write a larger distance.")
            else:
                document = builds.editable(found.build)
                at = edits.room_position(document, room_id)
                edits.apply_wall_move(document["rooms"][at], moved)
                summary = f"{found.room.name}: {moved.text[0].lower()}{moved.text[1:]}"
                proposal = propose_room(form, found, request, document, summary, under=f"/rooms/{at}")
                if proposal is not None:
                    return redirect(proposal)
    return _room_page(request, found, move=form, status=422)


@login_required
@require_http_methods(["GET", "POST"])
def edit_room(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """A room's name, corners and marks."""
    found = open_room(request, build_id, room_id)
    document = builds.editable(found.build)
    at = edits.room_position(document, room_id)
    before = dict(document["rooms"][at])
    initial = before | {"corners": " ".join(before["corners"]), "marks": " ".join(before.get("marks", []))}
    form = PlacedRoomForm(request.POST or None, initial=initial, room=found.room)
    if request.method == "POST" and form.is_valid():
        edits.reshape(document["rooms"][at], form.edited(before))
        proposal = propose_room(
            form, found, request, document, f"{form.cleaned_data['name']}: name and corners",
            under=f"/rooms/{at}",
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    delete = _url("delete", build_id, room_id)
    return _page(request, found, f"{found.room.name}: name and corners", form, "See what this does", "", delete)


@login_required
@require_http_methods(["GET", "POST"])
def tools(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """What tape, laser, rule and drawing are good for in this room."""
    found = open_room(request, build_id, room_id)
    form = ToolsForm(request.POST or None, room=found.room, units=found.sheet.units)
    if request.method == "POST" and form.is_valid():
        document = builds.editable(found.build)
        at = edits.room_position(document, room_id)
        own = form.tools()
        document["rooms"][at]["tools"] = own
        if not own:
            del document["rooms"][at]["tools"]
        summary = f"{found.room.name}: accuracy of its tools"
        proposal = propose_room(form, found, request, document, summary, under=f"/rooms/{at}/tools")
        if proposal is not None:
            return redirect(proposal)
    context = {
        "build": found.build, "member": found.member, "sheet": found.sheet, "sheet_no": "2", "room": found.room,
        "form": form,
    }  # fmt: skip
    return render(request, "rooms/tools.html", context, status=422 if form.is_bound else 200)


@login_required
@require_http_methods(["GET", "POST"])
def new_room(request: HttpRequest, build_id: int) -> HttpResponse:
    """Add a room from a tape."""
    build, member = builds.build_for(person(request), build_id, Role.OWNER)
    sheet = builds.sheet_of(build)
    form = NewRoomForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        document = builds.editable(build)
        taken = [room["id"] for room in document.get("rooms", [])]
        room = form.edited({"id": fitting_id(form.cleaned_data["name"], taken, "room")})
        edits.add_readings(room, form.cleaned_data["lines"], who=person(request).name, when=sheet.today().isoformat())
        edits.add_room(document, room)
        proposal = None
        if not tell_stops(form, None, room):
            summary = f"Room added: {room['name']}"
            proposal = propose_from(form, build, person(request), document, summary, under=f"/rooms/{len(taken)}")
        if proposal is not None:
            return redirect(proposal)
    context = {
        "build": build, "member": member, "sheet": sheet, "sheet_no": "2", "title": "Add a room", "form": form,
        "button": "See the room and what it does", "back": _url("list", build_id), "delete": "",
        "ways": [{"way": way, "title": title, "told": told} for way, (_, title, told) in WAYS.items()],
    }  # fmt: skip
    return render(request, "rooms/edit.html", context, status=422 if form.is_bound else 200)


@login_required
@require_POST
def delete_room(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    found = open_room(request, build_id, room_id)
    document = builds.editable(found.build)
    return _without(
        request, found, document, lambda: edits.remove_room(document, room_id), f"Room taken out: {found.room.name}"
    )
