"""What is in stock, and cuts ticked as made on site: facts that later plans work with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import fitting_id, propose_from
from buildout.builds.web.models import Role
from buildout.rooms.web.drawings import LONG_WIDTH, PATTERN_WIDTH, svg_of
from estimating.engine.cut_drawing import alike, draw_stock
from estimating.engine.types import CutPlan, CutPlans, CutStock, Product, Remnant
from estimating.web import edits
from estimating.web.cuts import NotCuttableError, takeable, tick, ticked, untick
from estimating.web.forms import RemnantForm, product_choices
from estimating.web.views.desk import Desk, sit_down

ON_SITE = (Role.OWNER, Role.LEAD)


def _plans(desk: Desk) -> dict[str, CutPlan]:
    return {plan.product: plan for plan in desk.sheet.part("cut_plans", CutPlans).plans}


@login_required
@require_http_methods(["GET", "POST"])
def stock(request: HttpRequest, build_id: int) -> HttpResponse:
    """Remnants booked in, left-overs of cuts, and where the cutting stands; the owner books remnants in here."""
    desk = sit_down(request, build_id, *(ON_SITE if request.method == "GET" else (Role.OWNER,)))
    goods = desk.sheet.section("products", list[Product])
    products = {product.id: product for product in goods}
    choices = {"product": [("", "choose"), *product_choices(goods, "sheet", "length", "roll")]}
    form = RemnantForm(request.POST if request.method == "POST" else None, choices=choices, products=products)
    if request.method == "POST" and form.is_valid():
        document = builds.editable(desk.build)
        made = form.edited({})
        entries = document.get("remnants", [])
        made["id"] = fitting_id(f"left over {made['product']}", [entry["id"] for entry in entries], "remnant")
        at = edits.put(document, "remnants", "", made)
        name = products[made["product"]].name
        proposal = propose_from(
            form, desk.build, desk.user, document, f"Booked in as stock: {name}, {made['length']}",
            under=f"/remnants/{at}",
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    done = ticked(desk.build)
    rows: list[dict[str, Any]] = []
    for item, plan in _plans(desk).items():
        now = {cut.stock_number for cut in done if cut.product == item and cut.revision_id == desk.build.current_id}
        cut = sum(1 for one in plan.stock if one.source.endswith("already cut")) + len(now)
        left = [
            {"stock": one, "piece": piece, "cut": one.source.endswith("already cut") or one.number in now}
            for one in plan.stock
            for piece in one.offcuts
        ]
        rows.append({"plan": plan, "product": products.get(item), "cut": cut, "total": len(plan.stock), "left": left})
    remnants = desk.sheet.section("remnants", list[Remnant])
    used = {one.taken for row in rows for one in row["plan"].stock if one.taken}
    newer = [cut for cut in done if cut.revision_id == desk.build.current_id]
    context = desk.page(
        "4", rows=rows, remnants=remnants, products=products, form=form, used=used, newer=newer,
        owner=desk.member.role == Role.OWNER,
    )  # fmt: skip
    return render(request, "estimating/stock.html", context, status=422 if form.is_bound else 200)


@login_required
@require_POST
def remove_remnant(request: HttpRequest, build_id: int, remnant_id: str) -> HttpResponse:
    """Propose that a remnant is no longer in stock."""
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    try:
        edits.remove(document, "remnants", remnant_id)
    except KeyError as missing:
        raise Http404(f"There is no remnant {remnant_id} in stock") from missing
    if not document["remnants"]:
        del document["remnants"]
    return redirect(builds.propose(desk.build, desk.user, document, f"No longer in stock: {remnant_id}"))


@login_required
@require_POST
def count_in(request: HttpRequest, build_id: int) -> HttpResponse:
    """Propose the same plan, worked out with what was cut since."""
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    return redirect(builds.propose(desk.build, desk.user, document, "Cuts made on site counted in"))


def _stock(desk: Desk, product_id: str) -> tuple[CutPlan, Product | None]:
    plan = _plans(desk).get(product_id)
    if plan is None:
        raise Http404(f"Nothing is cut from {product_id}")
    goods = desk.sheet.section("products", list[Product])
    return plan, next((product for product in goods if product.id == product_id), None)


@login_required
@require_GET
def cutting(request: HttpRequest, build_id: int, product_id: str) -> HttpResponse:
    """One product's stock in cutting order, to be ticked on site."""
    desk = sit_down(request, build_id, *ON_SITE)
    plan, product = _stock(desk, product_id)
    known = {remnant.id for remnant in desk.sheet.section("remnants", list[Remnant])}
    done = {
        cut.stock_number: cut
        for cut in ticked(desk.build)
        if cut.product == product_id and cut.revision_id == desk.build.current_id
    }
    states = {one.number: _state(plan, one, done, known) for one in plan.stock}
    width = PATTERN_WIDTH if plan.form == "sheet" else LONG_WIDTH
    patterns: list[dict[str, Any]] = []
    finished: list[dict[str, Any]] = []
    for numbers, _ in alike(plan):
        of_kind = [one for one in plan.stock if one.number in numbers]
        open_ = [one for one in of_kind if states[one.number] in ("to cut", "not there")]
        finished += [{"stock": one, "state": states[one.number]} for one in of_kind if one not in open_]
        if open_:
            ready = [one for one in open_ if states[one.number] == "to cut"]
            first, *later = ready or open_
            patterns.append(
                {
                    "next": first, "later": later, "ready": bool(ready), "total": len(of_kind),
                    "done": len(of_kind) - len(open_),
                    "left": [one for one in open_ if one not in ready] if ready else [],
                    "svg": svg_of(draw_stock(plan, first, desk.sheet.units), f"c{first.number}", width),
                }
            )  # fmt: skip
    patterns.sort(key=lambda pattern: (not pattern["ready"], pattern["next"].number))
    finished.sort(key=lambda row: row["stock"].number)
    context = desk.page(
        "4", plan=plan, product=product, patterns=patterns, finished=finished,
        waiting=sum(1 for state in states.values() if state == "to cut"),
    )  # fmt: skip
    return render(request, "estimating/cutting.html", context)


def _state(plan: CutPlan, one: CutStock, done: Mapping[int, Any], known: set[str]) -> str:
    if one.source.endswith("already cut"):
        return "cut before"
    if one.number in done:
        return "cut"
    return "to cut" if takeable(plan, one, known) else "not there"


@login_required
@require_POST
def tick_cut(request: HttpRequest, build_id: int, product_id: str, number: int) -> HttpResponse:
    """Sheet, length or run ``number`` of the plan as it stands has been cut as drawn."""
    desk = sit_down(request, build_id, *ON_SITE)
    plan, product = _stock(desk, product_id)
    one = next((one for one in plan.stock if one.number == number), None)
    if one is None:
        raise Http404(f"The plan has no number {number} of {product_id}")
    name = product.name if product is not None else product_id
    try:
        made = tick(desk.build, plan, one, desk.sheet.section("remnants", list[Remnant]), name, desk.user)
    except NotCuttableError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"{made}: cut. Later plans work with what is left of it.")
    return redirect("estimating:cutting", build_id, product_id)


@login_required
@require_POST
def untick_cut(request: HttpRequest, build_id: int, product_id: str, number: int) -> HttpResponse:
    """It was not cut after all: only while no later revision has counted on it."""
    desk = sit_down(request, build_id, *ON_SITE)
    if not untick(desk.build, product_id, number, desk.user):
        messages.error(request, "This is not ticked, or a later revision counts on it already.")
    return redirect("estimating:cutting", build_id, product_id)
