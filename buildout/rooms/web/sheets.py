"""More sheets of rooms: every wall seen from inside, and several rooms on one sheet."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from buildout.builds.web import services as builds
from buildout.builds.web.documents import pdf_or_page
from buildout.builds.web.editing import person
from buildout.builds.web.models import Role
from buildout.rooms.engine.drawing import Drawing
from buildout.rooms.engine.types import Room, RoomPlan, Survey
from buildout.rooms.web.drawings import as_file, dxf_of, svg_of, svg_on_paper, title_block
from buildout.rooms.web.opened import OpenRoom, neighbours_of, open_room


def _elevations(found: OpenRoom) -> list[tuple[str, Drawing]]:
    from buildout.rooms.engine.room_sheets import draw_elevation

    made = []
    for wall in found.plan.walls:
        name = wall.id.replace("-", "–")
        block = title_block(found.build, found.sheet, f"{found.room.name}, wall {name}", "2")
        drawn = draw_elevation(found.room, found.plan, wall.id, units=found.sheet.units, block=block)
        made.append((name, drawn))
    return made


@login_required
@require_GET
def elevations(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Every wall of a room square-on from inside, with heights, openings and services."""
    found = open_room(request, build_id, room_id)
    drawn = [{"wall": wall, "svg": svg_of(made, f"e{n}")} for n, (wall, made) in enumerate(_elevations(found))]
    return render(request, "rooms/elevations.html", _context(found) | {"drawn": drawn})


@login_required
@require_GET
def elevations_pdf(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """The same, one wall a page."""
    found = open_room(request, build_id, room_id)
    walls = _elevations(found)
    if not walls:
        raise Http404("The readings do not give this room a shape yet")
    drawn = [{"wall": wall, "svg": svg_on_paper(made, f"e{n}")} for n, (wall, made) in enumerate(walls)]
    return pdf_or_page(
        request, "rooms/elevations_paper.html", _context(found) | {"drawn": drawn}, f"{room_id}-walls.pdf"
    )


def _context(found: OpenRoom) -> dict[str, Any]:
    return {
        "build": found.build, "member": found.member, "sheet": found.sheet, "sheet_no": "2", "room": found.room,
    }  # fmt: skip


# ------------------------------------------------------------------ several rooms


def _together(request: HttpRequest, build_id: int) -> tuple[dict[str, Any], Drawing | None]:
    """The rooms asked for (``?room=hall&room=entry``; all when none is named) on one sheet."""
    from buildout.rooms.engine.compare import RoomRevision
    from buildout.rooms.engine.room_sheets import draw_rooms

    build, member = builds.build_for(person(request), build_id, Role.OWNER)
    sheet = builds.sheet_of(build)
    rooms = sheet.section("rooms", list[Room])
    asked = request.GET.getlist("room")
    unknown = [name for name in asked if name not in {room.id for room in rooms}]
    if unknown:
        raise Http404(f"This build has no room {unknown[0]}")
    surveys = {survey.room: survey for survey in sheet.part("surveys", list[Survey])}
    plans = {plan.room: plan for plan in sheet.part("plans", list[RoomPlan])}
    shown = [room for room in rooms if (room.id in asked or not asked) and plans[room.id].outline]
    context: dict[str, Any] = {
        "build": build, "member": member, "sheet": sheet, "sheet_no": "2", "shown": [room.id for room in shown],
        "rooms": [{"room": room, "shape": bool(plans[room.id].outline)} for room in rooms],
    }  # fmt: skip
    if not shown:
        return context, None
    block = title_block(build, sheet, ", ".join(room.name for room in shown), "2")
    parts = [RoomRevision(room=room, survey=surveys[room.id], plan=plans[room.id]) for room in shown]
    beside = neighbours_of(sheet)
    return context, draw_rooms(parts, units=sheet.units, block=block, neighbours=beside)


@login_required
@require_GET
def together(request: HttpRequest, build_id: int) -> HttpResponse:
    """Several rooms on one sheet, at one scale."""
    context, made = _together(request, build_id)
    return render(
        request, "rooms/together.html", context | {"drawing": svg_of(made, width=420.0) if made is not None else ""}
    )


@login_required
@require_GET
def together_file(request: HttpRequest, build_id: int, kind: str) -> HttpResponse:
    """The sheet as PDF, SVG or DXF."""
    if kind not in ("pdf", "svg", "dxf"):
        raise Http404(f"Rooms are not written as {kind}")
    context, made = _together(request, build_id)
    if made is None:
        raise Http404("None of these rooms has a shape yet")
    if kind == "dxf":
        return as_file(dxf_of(made), "image/vnd.dxf", "rooms.dxf")
    svg = svg_on_paper(made)
    if kind == "svg":
        return as_file(svg.encode(), "image/svg+xml", "rooms.svg")
    return pdf_or_page(request, "rooms/together_paper.html", context | {"drawing": svg}, "rooms.pdf")
