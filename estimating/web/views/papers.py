"""Papers that suppliers send: taken in, looked at beside the quote, tables read column by column."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.text import get_valid_filename
from django.views.decorators.http import require_GET, require_http_methods

from buildout.builds.web.editing import whole
from buildout.units.value import from_plain, to_plain
from estimating.engine.price_list import ColumnPlan, PriceList, guess_columns, item_of, read_prices, read_table
from estimating.engine.types import Supplier, TakeOff
from estimating.web.asking_forms import ColumnsForm, PaperForm
from estimating.web.asking_models import Paper, Request
from estimating.web.papers import KINDS
from estimating.web.views.desk import Desk, sit_down

MOST_TEXTS = 120
"""Descriptions whose item can be chosen by hand."""


@login_required
@require_http_methods(["GET", "POST"])
def add(request: HttpRequest, build_id: int) -> HttpResponse:
    """Take a paper in. ``?quote``: it belongs to that quote; ``?request``: it answers that request."""
    desk = sit_down(request, build_id)
    suppliers = [(s.id, s.name) for s in desk.sheet.section("suppliers", list[Supplier])]
    form = PaperForm(
        *((request.POST, request.FILES) if request.method == "POST" else ()), suppliers=suppliers,
        initial={"supplier": request.GET.get("supplier", "")},
    )  # fmt: skip
    if request.method == "POST" and form.is_valid():
        name, kind, data = form.cleaned_data["file"]
        quotes = {quote["id"]: quote["supplier"] for quote in desk.sheet.document.get("quotes", [])}
        quote = request.GET.get("quote", "")
        number = whole(request.GET.get("request", ""))
        paper = Paper.objects.create(
            build=desk.build, name=name, kind=kind, data=data, size=len(data), by=desk.user,
            quote=quote if quote in quotes else "", supplier=quotes.get(quote, "") or form.cleaned_data["supplier"],
            request=Request.objects.filter(build=desk.build, number=number).first() if number else None,
        )  # fmt: skip
        if paper.quote:
            messages.success(request, f"{name} is with the quote.")
            return redirect("estimating:quote", build_id, paper.quote)
        return redirect("estimating:paper", build_id, paper.pk)
    context = desk.page("5", form=form, quote_id=request.GET.get("quote", ""))
    return render(request, "estimating/paper_new.html", context, status=422 if request.method == "POST" else 200)


def paper_of(desk: Desk, paper_id: int) -> Paper:
    return get_object_or_404(Paper.objects.select_related("request"), build=desk.build, pk=paper_id)


@login_required
@require_http_methods(["GET", "POST"])
def paper(request: HttpRequest, build_id: int, paper_id: int) -> HttpResponse:
    """A paper with what can be done with it; of a table, what became of every row."""
    desk = sit_down(request, build_id)
    found = paper_of(desk, paper_id)
    if found.product:
        return redirect("estimating:product", build_id, found.product)
    if found.kind != Paper.Kind.CSV:
        return render(request, "estimating/paper.html", desk.page("5", paper=found))
    table = read_table(bytes(found.data))
    lines = [line for line in desk.sheet.part("take_off", TakeOff).lines if line.quantity > 0]
    plan, chosen = columns_of(found)
    texts = list(dict.fromkeys(_texts(table.rows, plan)))[:MOST_TEXTS]
    form = ColumnsForm(
        request.POST or None, plan=plan, first=table.rows[0], texts=texts,
        items=[(line.item, line.name) for line in lines],
    )  # fmt: skip
    for name, text in form.texts.items():
        form.fields[name].initial = chosen[text] if text in chosen else item_of(text, lines)
    if request.method == "POST" and form.is_valid():
        picked = {text: form.cleaned_data[name] for name, text in form.texts.items()}
        found.columns = {"plan": to_plain(form.plan), "items": picked}
        found.save(update_fields=["columns"])
        return redirect("estimating:paper", build_id, paper_id)
    read = price_list_of(desk, found)
    states = [row.state for row in read.rows]
    context = desk.page(
        "5", paper=found, table=table, form=form, read=read, taken=states.count("taken"), bad=states.count("bad"),
        fields=[form[name] for name in form.columns], text_fields=[form[name] for name in form.texts],
    )  # fmt: skip
    return render(request, "estimating/paper.html", context, status=422 if form.is_bound else 200)


def columns_of(found: Paper) -> tuple[ColumnPlan, dict[str, str]]:
    """What a person said of a table's columns and descriptions, else a first guess."""
    if found.columns:
        return from_plain(ColumnPlan, found.columns["plan"]), found.columns["items"]
    return guess_columns(read_table(bytes(found.data))), {}


def price_list_of(desk: Desk, found: Paper) -> PriceList:
    lines = [line for line in desk.sheet.part("take_off", TakeOff).lines if line.quantity > 0]
    plan, chosen = columns_of(found)
    return read_prices(read_table(bytes(found.data)), plan, lines, desk.sheet.currency, chosen)


def _texts(rows: list[list[str]], plan: ColumnPlan) -> list[str]:
    at = next((at for at, meaning in enumerate(plan.columns) if meaning == "item"), None)
    if at is None:
        return []
    return [row[at] for row in rows[1 if plan.heading else 0 :] if at < len(row) and row[at]]


@login_required
@require_GET
def as_it_came(request: HttpRequest, build_id: int, paper_id: int) -> HttpResponse:
    """The file itself."""
    found = paper_of(sit_down(request, build_id), paper_id)
    name = get_valid_filename(found.name) or "paper"
    way = "attachment" if found.kind == Paper.Kind.CSV else "inline"
    headers: dict[str, Any] = {
        "Content-Disposition": f'{way}; filename="{name if way == "inline" else name + ".txt"}"',
        "X-Content-Type-Options": "nosniff", "Cache-Control": "private, max-age=3600",
    }  # fmt: skip
    return HttpResponse(bytes(found.data), content_type=KINDS[found.kind], headers=headers)
