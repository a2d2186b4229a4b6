"""What can be screened of a floor before anybody falls on it: steps, pressure, mass, joints."""

from __future__ import annotations

from typing import NamedTuple

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from buildout.rooms.engine.types import RoomPlan
from estimating.engine.screening import Screening, burning_goods, screen_floor, screen_fold_away
from estimating.engine.types import FloorSystem, FoldAwaySystem, Product, RoomLayouts
from estimating.web.reports import Report, on_what_burns, reports_on
from estimating.web.views.desk import Desk, sit_down


class Screened(NamedTuple):
    """What lies in one room, its screening, and the papers on what of it burns."""

    room: RoomPlan
    name: str
    screening: Screening
    reports: list[Report]


def screenings(desk: Desk) -> list[Screened]:
    """Every floor and every set of fold-away mats laid out."""
    products = {product.id: product for product in desk.sheet.section("products", list[Product])}
    systems = {system.id: system for system in desk.sheet.section("floor_systems", list[FloorSystem])}
    folds = {system.id: system for system in desk.sheet.section("fold_away_systems", list[FoldAwaySystem])}
    plans = {plan.room: plan for plan in desk.sheet.part("plans", list[RoomPlan])}
    reports = reports_on(desk.build, list(products.values()))

    found = []
    for layout in desk.sheet.part("layouts", list[RoomLayouts]):
        plan = plans[layout.room]
        if layout.floor is not None and layout.floor.layers and layout.floor.system in systems:
            system = systems[layout.floor.system]
            screened = screen_floor(plan, system, layout.floor, products, layout.cover)
            papers = on_what_burns(burning_goods(system, layout.floor), reports)
            found.append(Screened(plan, system.name, screened, papers))
        if layout.fold_away is not None and layout.fold_away.count and layout.fold_away.system in folds:
            fold = folds[layout.fold_away.system]
            under = systems.get(layout.floor.system) if layout.floor is not None else None
            product = products.get(layout.fold_away.product)
            screened = screen_fold_away(plan, layout.fold_away, product, layout.floor, under, fold)
            found.append(Screened(plan, fold.name, screened, on_what_burns([layout.fold_away.product], reports)))
    return found


@login_required
@require_GET
def screening(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """The screening of what lies in one room."""
    desk = sit_down(request, build_id)
    found = [row for row in screenings(desk) if row.room.room == room_id]
    if not found:
        raise Http404(f"Nothing is laid on the floor of a room {room_id}")
    context = desk.page("3", plan=found[0].room, found=found)
    return render(request, "estimating/screening.html", context)
