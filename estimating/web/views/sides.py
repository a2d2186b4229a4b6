"""What stands at each side of a room's mat: seen on the drawing, chosen side by side, proposed as one change."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from buildout.builds.web import services as builds
from buildout.builds.web.editing import propose_from
from buildout.rooms.engine.types import RoomPlan
from buildout.rooms.web.drawings import svg_of
from buildout.units.value import from_plain
from estimating.engine.mat_sides import mat_sides, usual_edge
from estimating.engine.screening import screen_floor
from estimating.engine.sides_drawing import draw_sides, edge_words
from estimating.engine.types import FloorSystem, MatSide, Product, SideChoice
from estimating.web import edits
from estimating.web.forms import SidesForm
from estimating.web.views.desk import sit_down
from estimating.web.views.pins import room_of

SHOWN = 190.0
"""mm the drawing is wide: it stands beside the choices, so its lettering is larger than a whole sheet's."""
AT_ONCE = 3
"""Sides named in the summary of a change; more are counted."""


@login_required
@require_http_methods(["GET", "POST"])
def sides(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    plan, layout = room_of(desk, room_id)
    systems = {system.id: system for system in desk.sheet.section("floor_systems", list[FloorSystem])}
    system = systems.get(layout.floor.system) if layout.floor is not None else None
    if system is None or layout.floor is None or not plan.mat_edges:
        raise Http404(f"{plan.name} has no floor whose sides could be chosen")
    document = builds.editable(desk.build)
    at = edits.position(document["fitouts"], room_id, "room")
    fitout = document["fitouts"][at]
    there = {choice.side: choice.edge for choice in from_plain(list[SideChoice], fitout.get("sides", []))}
    found, reasons = mat_sides(plan, system, [SideChoice(side=name, edge=edge) for name, edge in there.items()])
    usual = {edge.id: usual_edge(edge, system) for edge in plan.mat_edges}
    form = SidesForm(
        request.POST if request.method == "POST" else None, sides=found, usual=usual,
        initial={f"side-{number}": there.get(side.id, "") for number, side in enumerate(found, 1)},
    )  # fmt: skip
    if form.is_bound and form.is_valid() and _holds(form, plan, system, there):
        chosen = form.choices()
        fitout["sides"] = chosen
        if not chosen:
            del fitout["sides"]
        now = {choice["side"]: choice["edge"] for choice in chosen}
        proposal = propose_from(
            form, desk.build, desk.user, document, f"{plan.name}: {_summary(found, usual, there, now)}",
            under=f"/fitouts/{at}/sides",
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    products = {product.id: product for product in desk.sheet.section("products", list[Product])}
    screened = {edge.edge: edge for edge in screen_floor(plan, system, layout.floor, products).edges}
    walls: dict[str, str] = {wall.id: wall.construction for wall in plan.walls}
    strips = {strip["id"]: strip["name"] for room in document["rooms"] for strip in room.get("keep_clear", [])
              if room["id"] == room_id}  # fmt: skip
    rows: list[dict[str, Any]] = [
        {
            "side": side, "field": form[form.names[side.id]], "words": edge_words(side),
            "screened": screened.get(side.id), "there": _there(side, walls, strips),
            "reasons": [reason for reason in reasons if reason.where == side.id],
        }
        for side in found
    ]  # fmt: skip
    drawing = draw_sides(plan, found, system=system, units=desk.sheet.units)
    gone = [reason for reason in reasons if reason.code == "side-unknown"]
    svg = svg_of(drawing, "sides", width=SHOWN)
    context = desk.page("3", plan=plan, system=system, rows=rows, form=form, gone=gone, svg=svg)
    return render(request, "estimating/sides.html", context, status=422 if form.is_bound else 200)


def _holds(form: SidesForm, plan: RoomPlan, system: FloorSystem, there: dict[str, Any]) -> bool:
    """Whether everything newly chosen can stand where it is chosen; what cannot is said beside it."""
    choices = from_plain(list[SideChoice], form.choices())
    _, reasons = mat_sides(plan, system, choices)
    new = {choice.side for choice in choices if there.get(choice.side) != choice.edge}
    for reason in reasons:
        if reason.where in new:
            form.add_error(form.names[reason.where], f"{reason.text} {reason.todo}")
    return form.is_valid()


def _summary(found: list[MatSide], usual: dict[str, Any], there: dict[str, Any], now: dict[str, Any]) -> str:
    changed = [side for side in found if there.get(side.id, "") != now.get(side.id, "")]
    if not changed:
        return "sides of the mat as they were"
    if len(changed) > AT_ONCE:
        return f"other edges at {len(changed)} sides of the mat"
    kinds = {"frame": "a frame timber", "ramp": "a ramped edge", "foam": "foam up to the wall"}
    return "; ".join(f"{kinds[now.get(side.id, usual[side.id])]} at {side.id}" for side in changed)


def _there(side: MatSide, walls: dict[str, str], strips: dict[str, str]) -> str:
    """What the side runs along, in words."""
    if side.along in strips:
        return f"kept clear: {strips[side.along]}"
    if side.against == "open":
        return f"walked on through {side.along}" if side.along else "walked on"
    if side.against == "low wall":
        return f"against the low wall {side.along}"
    return f"against wall {side.along}, {walls.get(side.along, 'not said what it is made of')}"
