"""Drawings of what is laid on a room's floor and hung on its walls."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, NamedTuple

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from buildout.builds.web.documents import pdf_or_page
from buildout.rooms.engine.drawing import Drawing
from buildout.rooms.engine.types import Room, RoomPlan, Survey
from buildout.rooms.web.drawings import as_file, dxf_of, svg_of, svg_on_paper, title_block
from estimating.engine.pins import ON_WALLS, ROUND_FLOOR, refusals, words
from estimating.engine.types import CutPlans, Fitout, FloorSystem, Product, RoomLayouts, TakeOff, WallSystem
from estimating.web.cutting import cutting
from estimating.web.views.desk import Desk, sit_down


class LayoutSheet(NamedTuple):
    """One drawing of a room: its name in addresses and on paper, and how to draw it."""

    name: str
    title: str
    draw: Callable[[], Drawing]
    caution: str = ""
    for_fabricator: bool = False


def _sheets(desk: Desk, room_id: str) -> tuple[RoomPlan, RoomLayouts | None, list[LayoutSheet]]:
    from estimating.engine.frame_drawing import draw_frame
    from estimating.engine.layout_drawings import draw_cover, draw_elevation, draw_floor_layer, draw_fold_away
    from estimating.engine.wall_details import capped, draw_cap, draw_wraps

    plan = next((plan for plan in desk.sheet.part("plans", list[RoomPlan]) if plan.room == room_id), None)
    if plan is None:
        raise Http404(f"This build has no room {room_id}")
    layout = next((layout for layout in desk.sheet.part("layouts", list[RoomLayouts]) if layout.room == room_id), None)
    found: list[LayoutSheet] = []
    if layout is None or not plan.outline:
        return plan, layout, found
    units = desk.sheet.units
    systems = {system.id: system for system in desk.sheet.section("floor_systems", list[FloorSystem])}
    system = systems.get(layout.floor.system) if layout.floor else None

    fitout = next((f for f in desk.sheet.section("fitouts", list[Fitout]) if f.room == room_id), None)
    products = {product.id: product for product in desk.sheet.section("products", list[Product])}
    pins = fitout.pins if fitout else []
    held = [(pin, words(pin, products)) for pin, why in zip(pins, refusals(layout, pins), strict=True) if why is None]

    def add(name: str, title: str, draw: Callable[..., Drawing], *args: Any, caution: str = "", **more: Any) -> None:
        block = title_block(desk.build, desk.sheet, f"{plan.name}, {title[0].lower()}{title[1:]}", "3")
        made = partial(draw, plan, *args, units=units, block=block, **more)
        found.append(LayoutSheet(name, title, made, caution, for_fabricator=name == "cover"))

    for layer in layout.floor.layers if layout.floor else []:
        title = f"{layer.layer.capitalize()} layer of the floor"
        caution = "" if found else _LAYING
        add(f"floor-{layer.layer}", title, draw_floor_layer, layout.floor, layer.layer, system=system, caution=caution,
            pins=[one for one in held if one[0].layer == layer.layer])  # fmt: skip
    if layout.floor and layout.floor.frame:
        add("frame", "Frame and ramps", draw_frame, layout.floor, system=system, caution=_SAWING,
            pins=[one for one in held if one[0].layer in ROUND_FLOOR])  # fmt: skip
    if layout.cover:
        spec = system.cover if system else None
        add("cover", "Cover, for the fabricator", draw_cover, layout.cover, spec=spec, contact=desk.user.name,
            survey=_gate(desk, plan), caution=_COVER,
            pins=[one for one in held if one[0].layer == "cover"])  # fmt: skip
    for elevation in layout.walls.elevations if layout.walls else []:
        add(f"wall-{elevation.wall}", f"Wall {elevation.wall}", draw_elevation, layout.walls, elevation.wall,
            pins=[one for one in held if one[0].layer in ON_WALLS and one[0].wall == elevation.wall])  # fmt: skip
    panels = {system.id: system for system in desk.sheet.section("wall_systems", list[WallSystem])}
    if layout.walls and layout.walls.system in panels:
        parts = (layout.walls, panels[layout.walls.system], products)
        for elevation in layout.walls.elevations:
            for item in capped(elevation, plan):
                add(f"cap-{item.id}", f"Cap of {item.id}, cut through", draw_cap, *parts, low_wall=item.id)
        if layout.walls.wraps:
            add("column-jackets", "Column jackets", draw_wraps, *parts)
    if layout.fold_away:
        add("fold-away", "Fold-away mats", draw_fold_away, layout.fold_away,
            pins=[one for one in held if one[0].layer == "fold-away"])  # fmt: skip
    return plan, layout, found


def _weld_ways(desk: Desk, plan: RoomPlan, layout: RoomLayouts | None) -> list[dict[str, Any]]:
    """Ways of running the cover's welds that were looked at, each with its small plan."""
    from estimating.engine.weld_drawing import along, draw_welds

    cover = layout.cover if layout else None
    if cover is None or not cover.outline:
        return []
    fitout = next(f for f in desk.sheet.section("fitouts", list[Fitout]) if f.room == plan.room)
    small = partial(draw_welds, plan, cover, zones=fitout.weld_free, units=desk.sheet.units)
    return [
        {"way": way, "along": along(plan, way), "svg": svg_of(small(way), f"w{n}", 110.0)}
        for n, way in enumerate(cover.ways)
    ]


def _floor_goods(desk: Desk, layout: RoomLayouts | None) -> list[dict[str, Any]]:
    """Goods of a room's floor, from the slab up: what they are for, their cut plan and their line of the take-off."""
    if layout is None or layout.floor is None:
        return []
    floor = layout.floor
    systems = {system.id: system for system in desk.sheet.section("floor_systems", list[FloorSystem])}
    system = systems.get(floor.system)
    uses: dict[str, list[str]] = {}
    for layer in floor.layers:
        uses.setdefault(layer.product, []).append(f"{layer.layer} layer")
    for kind, usual in (("frame", system.frame), ("ramp", system.ramp)) if system is not None else ():
        item = floor.pinned.get(kind, usual)
        if item and any(piece.kind == kind for piece in floor.frame):
            uses.setdefault(item, []).append(kind)
    products = {product.id: product for product in desk.sheet.section("products", list[Product])}
    cuts = {plan.product: plan for plan in desk.sheet.part("cut_plans", CutPlans).plans}
    lines = {line.item: line for line in desk.sheet.part("take_off", TakeOff).lines}
    return [
        {"item": item, "uses": found, "product": products.get(item), "cut": cuts.get(item), "line": lines.get(item)}
        for item, found in uses.items()
    ]


def _gate(desk: Desk, plan: RoomPlan) -> str:
    """What the fabricator gate says of a room, for its cover's drawing."""
    from buildout.rooms.engine.quality import fabricator_gate

    room = next(room for room in desk.sheet.section("rooms", list[Room]) if room.id == plan.room)
    survey = next(survey for survey in desk.sheet.part("surveys", list[Survey]) if survey.room == plan.room)
    return fabricator_gate(room, survey, plan, cutting=cutting(desk.sheet.document, room.id)).text


_LAYING = (
    "Knives: long cuts on a board, away from the body, one person cutting. Foam is light but sheets catch wind: two "
    "people through a door."
)
_SAWING = (
    "Saws: one person cuts, the piece is held, off-cuts fall free, eyes and ears covered. Mitre gauges are set to the "
    "angle measured in the room, not to the one on paper."
)
_COVER = (
    "Sign it twice before it goes out: two people check it, and one of them has measured the room again. A cover cut "
    "wrong cannot be mended."
)


def _sheet(desk: Desk, room_id: str, name: str) -> tuple[RoomPlan, LayoutSheet]:
    plan, _, sheets = _sheets(desk, room_id)
    found = next((sheet for sheet in sheets if sheet.name == name), None)
    if found is None:
        raise Http404(f"{plan.name} has no drawing {name}")
    return plan, found


def fabricator_sheets(desk: Desk) -> list[tuple[RoomPlan, LayoutSheet]]:
    """The drawings that go to somebody who makes from them, room by room."""
    rooms = [plan.room for plan in desk.sheet.part("plans", list[RoomPlan])]
    found = [_sheets(desk, room) for room in rooms]
    return [(plan, sheet) for plan, _, sheets in found for sheet in sheets if sheet.for_fabricator]


@login_required
@require_GET
def layouts(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Floor layers, cover and wall elevations of one room."""
    from estimating.engine.panel_sizes import panel_sizes

    desk = sit_down(request, build_id)
    plan, layout, sheets = _sheets(desk, room_id)
    drawn = [{"sheet": sheet, "svg": svg_of(sheet.draw(), f"l{n}")} for n, sheet in enumerate(sheets)]
    parts = (layout.floor, layout.cover, layout.walls, layout.fold_away) if layout else ()
    reasons = [reason for part in parts if part for reason in part.reasons]
    fitout: dict[str, Any] = next((f for f in desk.sheet.document.get("fitouts", []) if f["room"] == room_id), {})
    context = desk.page(
        "3", plan=plan, layout=layout, drawn=drawn, reasons=reasons, pins=len(fitout.get("pins", [])),
        goods=_floor_goods(desk, layout),
        ways=_weld_ways(desk, plan, layout),
        sizes=panel_sizes(layout.walls) if layout and layout.walls else [],
    )  # fmt: skip
    return render(request, "estimating/layouts.html", context)


@login_required
@require_GET
def pdf(request: HttpRequest, build_id: int, room_id: str, name: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    plan, sheet = _sheet(desk, room_id, name)
    context = desk.page("3", plan=plan, drawing=sheet, svg=svg_on_paper(sheet.draw()))
    return pdf_or_page(request, "estimating/layout_paper.html", context, f"{room_id}-{name}.pdf")


@login_required
@require_GET
def dxf(request: HttpRequest, build_id: int, room_id: str, name: str) -> HttpResponse:
    _, sheet = _sheet(sit_down(request, build_id), room_id, name)
    return as_file(dxf_of(sheet.draw()), "image/vnd.dxf", f"{room_id}-{name}.dxf")


@login_required
@require_GET
def svg(request: HttpRequest, build_id: int, room_id: str, name: str) -> HttpResponse:
    _, sheet = _sheet(sit_down(request, build_id), room_id, name)
    return as_file(svg_on_paper(sheet.draw()).encode(), "image/svg+xml", f"{room_id}-{name}.svg")
