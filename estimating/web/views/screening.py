"""What can be screened of a floor before anybody falls on it: steps, pressure, mass, joints."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from buildout.rooms.engine.types import RoomPlan
from estimating.engine.screening import Screening, screen_floor, screen_fold_away
from estimating.engine.types import FloorSystem, Product, RoomLayouts
from estimating.web.views.desk import Desk, sit_down


def screenings(desk: Desk) -> list[tuple[RoomPlan, str, Screening]]:
    """Room, name of the system and its screening, for every floor and every set of fold-away mats laid out."""
    products = {product.id: product for product in desk.sheet.section("products", list[Product])}
    systems = {system.id: system for system in desk.sheet.section("floor_systems", list[FloorSystem])}
    folds = {system["id"]: system["name"] for system in desk.sheet.document.get("fold_away_systems", [])}
    plans = {plan.room: plan for plan in desk.sheet.part("plans", list[RoomPlan])}
    found = []
    for layout in desk.sheet.part("layouts", list[RoomLayouts]):
        plan = plans[layout.room]
        if layout.floor is not None and layout.floor.layers and layout.floor.system in systems:
            system = systems[layout.floor.system]
            found.append((plan, system.name, screen_floor(plan, system, layout.floor, products)))
        if layout.fold_away is not None and layout.fold_away.count:
            fold = layout.fold_away
            screened = screen_fold_away(plan, fold, products.get(fold.product))
            found.append((plan, folds.get(fold.system, fold.system), screened))
    return found


@login_required
@require_GET
def screening(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """The screening of what lies in one room."""
    desk = sit_down(request, build_id)
    found = [row for row in screenings(desk) if row[0].room == room_id]
    if not found:
        raise Http404(f"Nothing is laid on the floor of a room {room_id}")
    context = desk.page("3", plan=found[0][0], found=found)
    return render(request, "estimating/screening.html", context)
