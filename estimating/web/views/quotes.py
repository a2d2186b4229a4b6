"""Suppliers, their quotes, and the award: who gets which line, and what the next best would cost."""

from __future__ import annotations

from collections.abc import Collection
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import amount_text, fitting_id, propose_from
from buildout.units.money import round_money
from estimating.engine.quote_gaps import quote_gaps
from estimating.engine.types import LEAD_GROUPS, Award, AwardChoices, AwardRules, Product, Quote, Supplier, TakeOff
from estimating.web import edits
from estimating.web.forms import AwardRulesForm, FreightForm, QuoteForm, QuoteLineForm, SupplierForm, product_choices
from estimating.web.models import Order
from estimating.web.views.desk import Desk, sit_down
from estimating.web.views.take_off import csv_file

MOST_LINES = 60
SPARE_LINES = 2


def _rules_form(desk: Desk, quotes: list[Quote], suppliers: dict[str, Supplier], data: Any = None) -> AwardRulesForm:
    names = {line.item: line.name for line in desk.sheet.part("take_off", TakeOff).lines}
    offers: dict[str, tuple[str, list[tuple[str, str]]]] = {}
    for quote in quotes:
        for line in quote.lines:
            if line.item in names:
                offered = offers.setdefault(line.item, (names[line.item], []))[1]
                offered.append((quote.id, quote_name(quote, suppliers)))
    rules = desk.sheet.section("award", AwardRules) if desk.sheet.document.get("award") else AwardRules()
    contested = {item: offer for item, offer in offers.items() if len(offer[1]) > 1 or item in rules.force}
    form = AwardRulesForm(
        data,
        quotes=[(quote.id, quote_name(quote, suppliers)) for quote in quotes],
        offers=contested,
        items=[(item, name) for item, name in names.items() if item in offers],
        together=rules.together,
        groups=_groups(desk, names),
        need_by=rules.need_by,
        initial={
            "most_suppliers": rules.most_suppliers,
            "exclude": rules.exclude,
            "day_late": rules.day_late or None,
        },
    )
    for name, item in form.forced.items():
        form.fields[name].initial = rules.force.get(item, "")
    return form


def _groups(desk: Desk, items: Collection[str]) -> list[str]:
    """Kinds of goods that are asked for."""
    products = desk.sheet.section("products", list[Product])
    asked = {product.lead_group for product in products if product.id in items}
    return [group for group in LEAD_GROUPS if group in asked]


@login_required
@require_POST
def need_days(request: HttpRequest, build_id: int) -> HttpResponse:
    """Take over from the schedule when each kind of goods is first needed, and price a day by the rent."""
    desk = sit_down(request, build_id)
    products = {product.id: product for product in desk.sheet.section("products", list[Product])}
    days: dict[str, str] = {}
    for item, day in desk.sheet.part("schedule", dict).get("needs", {}).items():
        if item in products:
            group = products[item].lead_group
            days[group] = min(day, days.get(group, day))
    if not days:
        messages.error(
            request, "The schedule says of no goods when they are needed: see on the crew days what it lacks."
        )
        return redirect(reverse("estimating:quotes", args=[build_id]) + "#rules")
    document = builds.editable(desk.build)
    rules = document.setdefault("award", {})
    rules["need_by"] = days
    rent = Decimal(str(document.get("money", {}).get("weekly_rent", 0)))
    if "day_late" not in rules and rent:
        rules["day_late"] = amount_text(round_money(rent / 7, desk.sheet.currency))
    return redirect(builds.propose(desk.build, desk.user, document, "Days goods are needed, from the schedule"))


def quote_name(quote: Quote, suppliers: dict[str, Supplier]) -> str:
    supplier = suppliers.get(quote.supplier)
    return f"{supplier.name if supplier else quote.supplier}, {quote.quoted:%d %b %Y} ({quote.id})"


@login_required
@require_GET
def quotes(request: HttpRequest, build_id: int) -> HttpResponse:
    desk = sit_down(request, build_id)
    return _quotes_page(request, desk)


def _quotes_page(request: HttpRequest, desk: Desk, form: AwardRulesForm | None = None) -> HttpResponse:
    found = desk.sheet.section("quotes", list[Quote])
    suppliers = {supplier.id: supplier for supplier in desk.sheet.section("suppliers", list[Supplier])}
    award = desk.sheet.part("award", Award)
    products = {product.id: product.name for product in desk.sheet.section("products", list[Product])}
    by_id = {quote.id: quote for quote in found}
    excluded = set(desk.sheet.document.get("award", {}).get("exclude", []))
    today = desk.sheet.today()
    chosen = {line.quote for line in award.lines}
    rows = [
        {
            "quote": quote,
            "supplier": suppliers.get(quote.supplier),
            "state": _state(quote, excluded, desk.sheet.as_of, today, chosen),
        }
        for quote in found
    ]
    needed = {line.item: line for line in desk.sheet.part("take_off", TakeOff).lines}
    choices = desk.sheet.part("choices", AwardChoices, AwardChoices())
    take_off = desk.sheet.part("take_off", TakeOff)
    on_order = {line["item"] for order in Order.objects.standing().filter(build=desk.build) for line in order.lines}
    tax_percent = Decimal(str(desk.sheet.document.get("money", {}).get("tax_percent", 0)))
    gaps = quote_gaps(
        take_off.lines, found, list(suppliers.values()), award, tax_percent, desk.sheet.as_of, today, on_order
    )
    rules = desk.sheet.section("award", AwardRules) if desk.sheet.document.get("award") else AwardRules()
    context = desk.page(
        "5", lateness=rules.day_late if rules.need_by else None, gaps=gaps,
        rows=rows, suppliers=suppliers, award=award, choices=choices, products=products, quotes=by_id,
        unquoted=[needed[item] for item in award.unquoted if item in needed],
        rules=form or _rules_form(desk, found, suppliers), today=today,
    )  # fmt: skip
    return render(request, "estimating/quotes.html", context, status=422 if form is not None else 200)


def _state(quote: Quote, excluded: set[str], as_of: Any, today: Any, chosen: set[str]) -> tuple[str, str]:
    """A shape and words for where a quote stands."""
    if quote.valid_until < as_of:
        return "stop", "expired"
    if quote.id in excluded:
        return "open", "left out by you"
    if quote.valid_until < today:
        return "warning", f"ran out on {quote.valid_until:%d %b}"
    return ("done", "chosen") if quote.id in chosen else ("open", "not chosen")


@login_required
@require_POST
def rules(request: HttpRequest, build_id: int) -> HttpResponse:
    """Force a quote for an item, leave quotes out, limit the number of suppliers."""
    desk = sit_down(request, build_id)
    found = desk.sheet.section("quotes", list[Quote])
    suppliers = {supplier.id: supplier for supplier in desk.sheet.section("suppliers", list[Supplier])}
    form = _rules_form(desk, found, suppliers, request.POST)
    if form.is_valid():
        document = builds.editable(desk.build)
        data = form.cleaned_data
        edits.set_award_rules(
            document, form.force, data["exclude"], data["most_suppliers"], form.together, form.need_by, data["day_late"]
        )
        proposal = propose_from(
            form, desk.build, desk.user, document, "Which quotes count in the award", under="/award"
        )
        if proposal is not None:
            return redirect(proposal)
    return _quotes_page(request, desk, form)


@login_required
@require_GET
def award_csv(request: HttpRequest, build_id: int) -> HttpResponse:
    desk = sit_down(request, build_id)
    header = [
        "item", "supplier", "quote", "asked", "asked unit", "bought", "unit", "unit price", "goods", "extras",
        "runner-up", "runner-up costs more",
    ]  # fmt: skip
    rows = [
        [
            line.item, line.supplier, line.quote, line.asked, line.asked_unit, line.quantity, line.unit,
            line.unit_price, line.goods, line.extras, line.runner_up, line.runner_up_extra,
        ]
        for line in desk.sheet.part("award", Award).lines
    ]  # fmt: skip
    return csv_file("award.csv", header, rows)


# ------------------------------------------------------------------ suppliers


@login_required
@require_http_methods(["GET", "POST"])
def supplier(request: HttpRequest, build_id: int, supplier_id: str = "") -> HttpResponse:
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    entries = document.get("suppliers", [])
    before = next((entry for entry in entries if entry["id"] == supplier_id), None)
    if supplier_id and before is None:
        raise Http404(f"There is no supplier {supplier_id}")
    form = SupplierForm(request.POST or None, initial=before or {})
    if request.method == "POST" and form.is_valid():
        after = form.edited(before or {})
        if before is None:
            after = {"id": fitting_id(after["name"], [entry["id"] for entry in entries], "supplier"), **after}
        at = edits.put(document, "suppliers", supplier_id, after)
        summary = f"{'Changed' if supplier_id else 'Added'} supplier: {after['name']}"
        proposal = propose_from(form, desk.build, desk.user, document, summary, under=f"/suppliers/{at}")
        if proposal is not None:
            return redirect(proposal)
    context = desk.page(
        "5", title=before["name"] if before else "A new supplier", parts=[("", form)],
        delete=reverse("estimating:delete-supplier", args=[build_id, supplier_id]) if supplier_id else "",
        back=reverse("estimating:quotes", args=[build_id]), back_name="Quotes",
    )  # fmt: skip
    return render(request, "estimating/edit.html", context, status=422 if form.is_bound else 200)


@login_required
@require_POST
def delete_supplier(request: HttpRequest, build_id: int, supplier_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    try:
        edits.remove(document, "suppliers", supplier_id)
    except KeyError as missing:
        raise Http404(f"There is no supplier {supplier_id}") from missing
    return _take_out(request, desk, document, f"Taken out: supplier {supplier_id}")


def _take_out(request: HttpRequest, desk: Desk, document: dict[str, Any], summary: str) -> HttpResponse:
    try:
        return redirect(builds.propose(desk.build, desk.user, document, summary))
    except builds.DocumentProblems as error:
        back = reverse("estimating:quotes", args=[desk.build.pk])
        context = desk.page("5", summary=summary, problems=error.problems, back=back)
        return render(request, "estimating/refused.html", context, status=422)


# ------------------------------------------------------------------ quotes


@login_required
@require_http_methods(["GET", "POST"])
def quote(request: HttpRequest, build_id: int, quote_id: str = "") -> HttpResponse:
    """A quote with its lines, break tables and freight."""
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    entries = document.get("quotes", [])
    before = next((entry for entry in entries if entry["id"] == quote_id), None)
    if quote_id and before is None:
        raise Http404(f"There is no quote {quote_id}")
    start = before or {
        "currency": desk.sheet.currency, "quoted": desk.sheet.today(), "supplier": request.GET.get("supplier", "")
    }  # fmt: skip
    data = request.POST or None
    known = [(s["id"], s["name"]) for s in document.get("suppliers", [])]
    form = QuoteForm(data, initial=start, choices={"supplier": [("", "choose"), *known]})
    freight = FreightForm(data, prefix="freight", initial=start.get("freight", {}))
    lines = _line_forms(desk, data, start.get("lines", []))
    valid = [part.is_valid() for part in (form, freight, *lines)]
    filled = [line for line in lines if data is not None and line.is_valid() and line.cleaned_data.get("item")]
    if data is not None and all(valid):
        if not filled:
            form.add_error(None, "A quote needs at least one line: choose an item and type its prices.")
        else:
            after = form.edited(before or {})
            after["freight"] = freight.edited((before or {}).get("freight", {}))
            after["lines"] = [line.edited(line.initial if line.initial.get("item") else {}) for line in filled]
            if before is None:
                after["id"] = fitting_id(f"{after['supplier']} {after['quoted']}", [e["id"] for e in entries], "quote")
            at = edits.put(document, "quotes", quote_id, after)
            under = f"/quotes/{at}"
            who = dict(known).get(after["supplier"], after["supplier"])
            proposal = propose_from(
                form, desk.build, desk.user, document,
                f"{'Changed' if quote_id else 'Added'} quote of {who}, {after['quoted']}", under=under,
                within={f"{under}/freight": freight}
                | {f"{under}/lines/{number}": line for number, line in enumerate(filled)},
            )  # fmt: skip
            if proposal is not None:
                return redirect(proposal)
    context = desk.page(
        "5", form=form, freight=freight, lines=lines, quote_id=quote_id, suppliers=known,
        title=f"Quote {quote_id}" if quote_id else "A new quote", back=reverse("estimating:quotes", args=[build_id]),
    )  # fmt: skip
    return render(request, "estimating/quote.html", context, status=422 if data is not None else 200)


def _line_forms(desk: Desk, data: Any, there: list[dict[str, Any]]) -> list[QuoteLineForm]:
    needed = {line.item for line in desk.sheet.part("take_off", TakeOff).lines}
    products = desk.sheet.section("products", list[Product])
    items = [
        ("", "no item"),
        *product_choices([p for p in products if p.id in needed]),
        *[(p.id, f"{p.name} (not in the take-off)") for p in products if p.id not in needed],
    ]
    count = len(there) + SPARE_LINES
    if data is not None:
        posted = data.get("lines", "")
        count = int(posted) if posted.isdigit() else count
    count = min(count, MOST_LINES)
    return [
        QuoteLineForm(
            data, prefix=f"line-{n}", initial=dict(there[n]) if n < len(there) else {}, choices={"item": items}
        )
        for n in range(count)
    ]


@login_required
@require_POST
def delete_quote(request: HttpRequest, build_id: int, quote_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    try:
        edits.remove_quote(document, quote_id)
    except KeyError as missing:
        raise Http404(f"There is no quote {quote_id}") from missing
    return _take_out(request, desk, document, f"Taken out: quote {quote_id}")
