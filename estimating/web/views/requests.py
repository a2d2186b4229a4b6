"""Requests for quotation: chosen, sent to several suppliers at once, answered or not."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web.documents import pdf_response
from estimating.engine.rfq import asked_line, material_of
from estimating.engine.types import (
    Award,
    CutPlans,
    FloorSystem,
    OrderDates,
    Product,
    Supplier,
    TakeOff,
    WallSystem,
)
from estimating.web import asking
from estimating.web.asking_forms import RequestForm, RequestLineForm
from estimating.web.asking_models import Request, RequestLetter, Sample
from estimating.web.views.desk import Desk, sit_down
from estimating.web.views.layouts import fabricator_sheets
from estimating.web.views.take_off import cut_plan_context


def _drawings(desk: Desk) -> list[tuple[str, str]]:
    """Every drawing a request can take along: keys and titles with their revision."""
    revision = desk.sheet.revision.number
    products = {product.id: product.name for product in desk.sheet.section("products", list[Product])}
    found = [
        (f"cover:{plan.room}", f"{plan.name}, cover diagram, revision {revision}")
        for plan, _ in fabricator_sheets(desk)
    ]
    found += [
        (f"cut:{plan.product}", f"{products.get(plan.product, plan.product)}, cut list, revision {revision}")
        for plan in desk.sheet.part("cut_plans", CutPlans).plans
        if plan.stock
    ]
    return found


def _drawn(desk: Desk, chosen: list[str]) -> list[asking.AttachedDrawing]:
    from buildout.rooms.web.drawings import svg_on_paper

    titles = dict(_drawings(desk))
    covers = {f"cover:{plan.room}": sheet for plan, sheet in fabricator_sheets(desk)}
    found = []
    for number, key in enumerate(key for key in titles if key in chosen):
        if key in covers:
            svgs = [svg_on_paper(covers[key].draw(), f"d{number}")]
            found.append(asking.AttachedDrawing(titles[key], svgs, []))
            continue
        context = cut_plan_context(desk, key.removeprefix("cut:"))
        units = desk.sheet.units
        pieces = [
            f"{pattern['numbers']}: " + "; ".join(_piece(piece, units) for piece in pattern["stock"].pieces)
            for pattern in context["patterns"]
        ]
        svgs = [pattern["svg"].replace('id="s', f'id="d{number}s').replace("url(#s", f"url(#d{number}s")
                for pattern in context["patterns"]]  # fmt: skip
        found.append(asking.AttachedDrawing(titles[key], svgs, pieces, long=context["plan"].form != "sheet"))
    return found


def _piece(piece: Any, units: Any) -> str:
    from decimal import Decimal

    from buildout.units.lengths import format_length

    length, width = (format_length(Decimal(str(round(size, 3))), units) for size in (piece.length, piece.width))
    return f"{piece.piece} {length} × {width}"


@login_required
@require_http_methods(["GET", "POST"])
def new(request: HttpRequest, build_id: int) -> HttpResponse:
    """Choose lines and suppliers, say what holds for all, send."""
    desk = sit_down(request, build_id)
    data = request.POST or None
    today = desk.sheet.today()
    needed = [line for line in desk.sheet.part("take_off", TakeOff).lines if line.quantity > 0]
    suppliers = desk.sheet.section("suppliers", list[Supplier])
    drawings = _drawings(desk)
    wanted = set(request.GET.getlist("item"))
    if "unquoted" in request.GET:
        wanted |= set(desk.sheet.part("award", Award).unquoted)
    last = Request.objects.filter(build=desk.build).last()
    ticked = [s.id for s in suppliers if s.id in request.GET.getlist("supplier")]
    site = last.site if last else {"place": desk.sheet.document.get("place", ""), "contact": desk.user.name}
    covers = [key for key, _ in drawings if key.startswith("cover:")]
    form = RequestForm(
        data, initial=site | {"suppliers": ticked, "drawings": covers}, today=today,
        suppliers=[(s.id, s.name) for s in suppliers], drawings=drawings,
        units=desk.sheet.units,
    )  # fmt: skip
    lines = [
        RequestLineForm(data, prefix=f"item-{n}", line=line, initial={"asked": line.item in wanted})
        for n, line in enumerate(needed)
    ]
    if data is not None:
        valid = [part.is_valid() for part in (form, *lines)]
        chosen = [line for line in lines if line.is_valid() and line.cleaned_data["asked"]]
        if not chosen:
            form.add_error(None, "Nothing is asked for yet: tick at least one item.")
        elif all(valid) and form.is_valid():
            sent = _send(desk, form, chosen, suppliers)
            messages.success(request, f"{sent.name} is ready: one document for each supplier. Send it from here.")
            return redirect("estimating:request", build_id, sent.number)
    context = desk.page("5", form=form, lines=lines, suppliers=suppliers)
    return render(request, "estimating/request_new.html", context, status=422 if data is not None else 200)


def _send(desk: Desk, form: RequestForm, chosen: list[RequestLineForm], suppliers: list[Supplier]) -> Request:
    sheet = desk.sheet
    products = {product.id: product for product in sheet.section("products", list[Product])}
    floors = sheet.section("floor_systems", list[FloorSystem])
    walls = sheet.section("wall_systems", list[WallSystem])
    needs = {row.item: row.need for row in sheet.part("order_dates", OrderDates).lines}
    lines = [
        asked_line(
            row.line, products[row.line.item], material_of(products[row.line.item], floors, walls), sheet.units,
            needs.get(row.line.item), row.cleaned_data["wish"].strip(), sample=row.cleaned_data["sample"],
        )
        for row in chosen
    ]  # fmt: skip
    to = [supplier for supplier in suppliers if supplier.id in form.cleaned_data["suppliers"]]
    drawn = _drawn(desk, form.cleaned_data["drawings"])
    return asking.ask(desk.build, desk.user, lines, to, form.site, form.cleaned_data["reply_by"], drawn)


def request_of(desk: Desk, number: int) -> Request:
    return get_object_or_404(Request.objects.select_related("build"), build=desk.build, number=number)


@login_required
@require_GET
def request_page(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """Who has answered, and the documents as they were sent."""
    desk = sit_down(request, build_id)
    found = request_of(desk, number)
    known = {quote["id"] for quote in desk.sheet.document.get("quotes", [])}
    items = {line["item"] for line in found.items}
    context = desk.page(
        "5", request_sent=found, letters=found.letters.defer("body", "pdf", "text"), known=known,
        today=desk.sheet.today(), samples=Sample.objects.filter(build=desk.build, item__in=items),
    )  # fmt: skip
    return render(request, "estimating/request.html", context)


def _letter(request: HttpRequest, build_id: int, number: int, supplier_id: str) -> tuple[Desk, RequestLetter]:
    desk = sit_down(request, build_id)
    return desk, get_object_or_404(
        request_of(desk, number).letters.select_related("request__build"), supplier=supplier_id
    )


@login_required
@require_GET
def letter(request: HttpRequest, build_id: int, number: int, supplier_id: str) -> HttpResponse:
    """The document of one supplier: PDF, or the page itself with ``?print`` or where no PDF can be made."""
    desk, found = _letter(request, build_id, number, supplier_id)
    made = None if "print" in request.GET else asking.pdf_of(found)
    if made is not None:
        return pdf_response(made, f"{found.request.name}-{supplier_id}.pdf")
    context = desk.page("5", sent=found, no_pdf="print" not in request.GET)
    return render(request, "estimating/sent_paper.html", context)


@login_required
@require_GET
def letter_text(request: HttpRequest, build_id: int, number: int, supplier_id: str) -> HttpResponse:
    _, found = _letter(request, build_id, number, supplier_id)
    return HttpResponse(found.text, content_type="text/plain; charset=utf-8")


@login_required
@require_POST
def answer(request: HttpRequest, build_id: int, number: int, supplier_id: str) -> HttpResponse:
    """They will not quote, or have not answered after all."""
    desk, found = _letter(request, build_id, number, supplier_id)
    said = request.POST.get("answer", "")
    if said not in (RequestLetter.Answer.OPEN, RequestLetter.Answer.DECLINED):
        messages.error(request, "Say “declined” or “open”; a quote is typed in instead.")
    else:
        asking.note_answer(found, desk.user, said, desk.sheet.today())
    return redirect("estimating:request", build_id, number)
