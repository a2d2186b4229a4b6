"""What the owner wants kept in a room's layouts: pinned, held or refused with its reason, and let go again."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import fitting_id, propose_from
from buildout.rooms.engine.types import RoomPlan
from buildout.units.value import from_plain, to_plain
from estimating.engine.pins import as_it_lies, refusals, words
from estimating.engine.types import Pin, Product, RoomLayouts
from estimating.web import edits
from estimating.web.forms import PinForm, product_choices
from estimating.web.views.desk import Desk, sit_down


def room_of(desk: Desk, room_id: str) -> tuple[RoomPlan, RoomLayouts]:
    """A room that has something laid out, or Http404."""
    plan = next((plan for plan in desk.sheet.part("plans", list[RoomPlan]) if plan.room == room_id), None)
    layout = next((layout for layout in desk.sheet.part("layouts", list[RoomLayouts]) if layout.room == room_id), None)
    if plan is None or layout is None:
        raise Http404(f"Nothing is laid out in a room {room_id}")
    return plan, layout


def _form(request: HttpRequest, plan: RoomPlan, layout: RoomLayouts, goods: list[Product]) -> PinForm:
    layers = [(layer.layer, f"{layer.layer} layer") for layer in layout.floor.layers] if layout.floor else []
    layers += [("cover", "cover")] if layout.cover else []
    timbers = {piece.kind for piece in layout.floor.frame} if layout.floor else set()
    layers += [(kind, name) for kind, name in (("frame", "frame timbers"), ("ramp", "ramps")) if kind in timbers]
    layers += [("walls", "wall panels")] if layout.walls else []
    trims = {trim.kind for elevation in layout.walls.elevations for trim in elevation.trims} if layout.walls else set()
    layers += [("caps", "caps on low walls")] if "cap" in trims else []
    layers += [("ends", "free ends of low walls")] if "wall end" in trims else []
    layers += [("wraps", "column wraps")] if layout.walls and layout.walls.wraps else []
    layers += [("fold-away", "fold-away mats")] if layout.fold_away else []
    places = [(wall.id, f"wall {wall.id}") for wall in plan.walls]
    places += [(column.id, f"column {column.id}") for column in plan.columns] if layout.walls else []
    places += [(edge.id, f"mat edge {edge.id}") for edge in plan.mat_edges] if timbers else []
    choices = {
        "layer": layers,
        "wall": places,
        "product": product_choices(goods, "sheet", "roll", "length", "made to drawing"),
    }
    return PinForm(request.POST if request.method == "POST" else None, choices=choices)


@login_required
@require_http_methods(["GET", "POST"])
def pins(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Pins of a room, what could be pinned just as it lies, and a form for anything else."""
    desk = sit_down(request, build_id)
    plan, layout = room_of(desk, room_id)
    document = builds.editable(desk.build)
    at = edits.position(document["fitouts"], room_id, "room")
    fitout = document["fitouts"][at]
    goods = desk.sheet.section("products", list[Product])
    products = {product.id: product for product in goods}
    form = _form(request, plan, layout, goods)
    if request.method == "POST" and form.is_valid():
        entries = fitout.setdefault("pins", [])
        name = fitting_id(f"pin {len(entries) + 1}", [entry["id"] for entry in entries], "pin")
        made = {"id": name} | {key: value for key, value in form.edited({}).items() if value != ""}
        entries.append(made)
        proposal = propose_from(
            form, desk.build, desk.user, document,
            f"{plan.name}: pinned {words(from_plain(Pin, made), products)}",
            under=f"/fitouts/{at}/pins/{len(entries) - 1}",
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
        entries.pop()
    there = from_plain(list[Pin], fitout.get("pins", []))
    rows = [
        {"pin": pin, "words": words(pin, products), "refused": why}
        for pin, why in zip(there, refusals(layout, there), strict=True)
    ]
    groups = [
        (name, [(told, pin.kind, _posted(pin)) for told, pin in found])
        for name, found in as_it_lies(layout, desk.sheet.units, products)
    ]
    context = desk.page("3", plan=plan, rows=rows, groups=groups, form=form)
    return render(request, "estimating/pins.html", context, status=422 if form.is_bound else 200)


def _posted(pin: Pin) -> dict[str, Any]:
    """The fields that, sent back, pin this."""
    return {name: value for name, value in to_plain(pin).items() if name != "id" and value not in ("", None)}


@login_required
@require_POST
def unpin(request: HttpRequest, build_id: int, room_id: str, pin_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    plan, _ = room_of(desk, room_id)
    document = builds.editable(desk.build)
    fitout = document["fitouts"][edits.position(document["fitouts"], room_id, "room")]
    left = [pin for pin in fitout.get("pins", []) if pin["id"] != pin_id]
    if len(left) == len(fitout.get("pins", [])):
        raise Http404(f"There is no pin {pin_id}")
    if left:
        fitout["pins"] = left
    else:
        del fitout["pins"]
    return redirect(builds.propose(desk.build, desk.user, document, f"{plan.name}: unpinned {pin_id}"))
