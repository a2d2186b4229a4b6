"""The take-off with its trace, and the cut plans with what is cut from every sheet, roll and length."""

from __future__ import annotations

import csv
import re
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.documents import pdf_or_page
from buildout.builds.web.editing import fitting_id, propose_from
from buildout.rooms.engine.types import RoomPlan
from buildout.rooms.web.drawings import LONG_WIDTH, PATTERN_WIDTH, svg_of
from estimating.engine.cut_drawing import alike, draw_stock
from estimating.engine.cut_order import worked_for
from estimating.engine.heads import HEADS
from estimating.engine.types import CutPlan, CutPlans, CutStock, Need, Product, SawCut, TakeOff
from estimating.web import edits
from estimating.web.forms import NeedForm, QuantitiesForm, product_choices
from estimating.web.views.desk import Desk, sit_down

_FORMULA = frozenset("=+-@＝＋－＠\t\r\n")
"""What a spreadsheet program takes for the start of a formula, or strips to find one."""
_INSIDE = re.compile(r"([;|\t\r\n]\s*)([=+\-@＝＋－＠])")
"""The same after a mark at which a program set up for another country cuts cells."""


def csv_file(name: str, header: list[str], rows: list[list[Any]]) -> HttpResponse:
    """A table for a spreadsheet program. Text that a spreadsheet would run as a formula is written as text."""
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response.write("\ufeff")
    writer = csv.writer(response)
    writer.writerow(header)
    for row in rows:
        writer.writerow([as_text(cell) for cell in row])
    return response


def as_text(cell: Any) -> Any:
    """A cell that no spreadsheet runs, cut at commas or at semicolons: what could begin a formula is preceded by '.

    >>> as_text("=1+1"), as_text("Tape; =1+1"), as_text("2 - 1"), as_text(-3)
    ("'=1+1", "Tape; '=1+1", '2 - 1', -3)
    """
    if not isinstance(cell, str):
        return cell
    text = _INSIDE.sub(r"\1'\2", cell)
    return f"'{text}" if text[:1] in _FORMULA or text.lstrip()[:1] in _FORMULA else text


def head_name(number: int) -> str:
    return HEADS.get(number, f"Head {number}")


@login_required
@require_GET
def take_off(request: HttpRequest, build_id: int) -> HttpResponse:
    desk = sit_down(request, build_id)
    found = desk.sheet.part("take_off", TakeOff)
    by_head: dict[int, list[Any]] = {}
    for line in found.lines:
        by_head.setdefault(line.head, []).append(line)
    groups = [{"head": head, "name": head_name(head), "lines": lines} for head, lines in sorted(by_head.items())]
    names = {plan.room: plan.name for plan in desk.sheet.part("plans", list[RoomPlan])}
    products = {product.id: product for product in desk.sheet.section("products", list[Product])}
    cuts = [
        {"plan": plan, "product": products.get(plan.product)} for plan in desk.sheet.part("cut_plans", CutPlans).plans
    ]
    needs = desk.sheet.section("needs", list[Need])
    context = desk.page("4", take_off=found, groups=groups, rooms=names, cuts=cuts, needs=needs, products=products)
    return render(request, "estimating/take_off.html", context)


@login_required
@require_GET
def take_off_csv(request: HttpRequest, build_id: int) -> HttpResponse:
    desk = sit_down(request, build_id)
    header = ["head", "head name", "item", "name", "unit", "net", "allowance", "waste", "quantity", "made of"]
    rows = [
        [
            line.head, head_name(line.head), line.item, line.name, line.unit, line.net, line.allowance, line.waste,
            line.quantity, "; ".join(step.text for step in line.trace),
        ]
        for line in desk.sheet.part("take_off", TakeOff).lines
    ]  # fmt: skip
    return csv_file("take-off.csv", header, rows)


# ------------------------------------------------------------------ stated by the owner


@login_required
@require_http_methods(["GET", "POST"])
def need(request: HttpRequest, build_id: int, need_id: str = "") -> HttpResponse:
    """A quantity that no drawing gives: paint, hooks, a first-aid kit."""
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    entries = document.get("needs", [])
    before = next((entry for entry in entries if entry["id"] == need_id), None)
    if need_id and before is None:
        raise Http404(f"There is no stated quantity {need_id}")
    products = product_choices(desk.sheet.section("products", list[Product]))
    form = NeedForm(request.POST or None, initial=before or {}, choices={"product": [("", "choose"), *products]})
    if request.method == "POST" and form.is_valid():
        after = form.edited(before or {})
        if before is None:
            after["id"] = fitting_id(f"need {after['product']}", [entry["id"] for entry in entries], "need")
        at = edits.put(document, "needs", need_id, after)
        what = dict(products).get(after["product"], after["product"])
        proposal = propose_from(
            form, desk.build, desk.user, document, f"Stated: {after['quantity']} {after['unit']} of {what}",
            under=f"/needs/{at}",
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    return _stated_page(
        request, desk, "Stated quantity" if before else "Something else to buy", form,
        reverse("estimating:delete-need", args=[build_id, need_id]) if need_id else "",
    )  # fmt: skip


def _stated_page(
    request: HttpRequest, desk: Desk, title: str, form: Any, delete: str = "", intro: str = ""
) -> HttpResponse:
    context = desk.page(
        "4", title=title, parts=[("", form)], delete=delete, intro=intro, wide=bool(intro), back_name="Take-off",
        back=reverse("estimating:take-off", args=[desk.build.pk]),
    )  # fmt: skip
    return render(request, "estimating/edit.html", context, status=422 if form.is_bound else 200)


@login_required
@require_POST
def delete_need(request: HttpRequest, build_id: int, need_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    try:
        edits.remove(document, "needs", need_id)
    except KeyError as missing:
        raise Http404(f"There is no stated quantity {need_id}") from missing
    return redirect(builds.propose(desk.build, desk.user, document, f"No longer stated: {need_id}"))


@login_required
@require_http_methods(["GET", "POST"])
def quantities(request: HttpRequest, build_id: int) -> HttpResponse:
    """Quantities that tasks are worked out from and that the owner may state over the drawings."""
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    drawn = desk.sheet.part("take_off", TakeOff).drivers
    form = QuantitiesForm(request.POST or None, stated=document.get("quantities", {}), drawn=drawn)
    if request.method == "POST" and form.is_valid():
        edits.set_quantities(document, form.stated)
        proposal = propose_from(
            form, desk.build, desk.user, document, "Quantities the tasks are worked out from", under="/quantities"
        )
        if proposal is not None:
            return redirect(proposal)
    intro = (
        "Tasks take their hours from these. An empty field follows the drawings; a number you type stands over them. "
        "Areas are sq ft, lengths ft, the rest counts."
    )
    return _stated_page(request, desk, "Quantities for the task list", form, intro=intro)


# ------------------------------------------------------------------ cut plans


def cut_plan_context(desk: Desk, product_id: str) -> dict[str, Any]:
    """A cut plan with its drawings, for the screen and for paper."""
    plan = next((p for p in desk.sheet.part("cut_plans", CutPlans).plans if p.product == product_id), None)
    if plan is None:
        raise Http404(f"Nothing is cut from {product_id}")
    product = next((p for p in desk.sheet.section("products", list[Product]) if p.id == product_id), None)
    width = PATTERN_WIDTH if plan.form == "sheet" else LONG_WIDTH
    patterns = [
        {
            "numbers": _ranges(numbers),
            "count": len(numbers),
            "stock": stock,
            "each": [one for one in plan.stock if one.number in numbers],
            "cuts": _cuts(stock),
            "svg": svg_of(draw_stock(plan, stock, desk.sheet.units), f"s{stock.number}", width),
        }
        for numbers, stock in alike(plan)
    ]
    gap = 100 * (plan.value - plan.bound) / plan.value if plan.value else 0.0
    return desk.page("4", plan=plan, product=product, patterns=patterns, gap=gap)


def _cuts(stock: CutStock) -> list[tuple[SawCut, float, str]]:
    """The cuts in order, each with where it is set and what it is for."""
    found = []
    for cut, (frees, off) in zip(
        stock.cuts, worked_for(stock.length, stock.width, stock.pieces, stock.cuts), strict=True
    ):
        gain = f"frees {_ranges(frees)}" if frees else f"takes off the part with {_ranges(off)}" if off else "trims"
        found.append((cut, cut.a[1] if cut.kind == "rip" else cut.a[0], gain))
    return found


def _ranges(numbers: list[int]) -> str:
    """Numbers in words, runs drawn together.

    >>> _ranges([1, 2, 3, 7])
    '1–3, 7'
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}–{run[-1]}" for run in runs)


@login_required
@require_GET
def cut_plan(request: HttpRequest, build_id: int, product_id: str) -> HttpResponse:
    """What is cut from every sheet, roll or length of one product, drawn."""
    desk = sit_down(request, build_id)
    return render(request, "estimating/cut_plan.html", cut_plan_context(desk, product_id))


@login_required
@require_GET
def cut_plan_pdf(request: HttpRequest, build_id: int, product_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    context = cut_plan_context(desk, product_id)
    return pdf_or_page(request, "estimating/cut_plan_paper.html", context, f"cut-plan-{product_id}.pdf")


@login_required
@require_GET
def cut_plan_csv(request: HttpRequest, build_id: int, product_id: str) -> HttpResponse:
    """The cut list: stock number, piece, place and size."""
    desk = sit_down(request, build_id)
    plan: CutPlan = cut_plan_context(desk, product_id)["plan"]
    header = ["stock", "piece", "from end mm", "from side mm", "length mm", "width mm", "turned"]
    rows = [
        [stock.number, p.piece, p.x, p.y, p.length, p.width, "yes" if p.turned else "no"]
        for stock in plan.stock
        for p in stock.pieces
    ]
    return csv_file(f"cut-list-{product_id}.csv", header, rows)
