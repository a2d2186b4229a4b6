"""A quote typed in: from nothing, as the answer to a request, or beside the paper it came on."""

from __future__ import annotations

from typing import Any, NamedTuple

import msgspec
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import amount_text, fitting_id, propose_from, whole
from buildout.units.quantities import QuantityError
from buildout.units.value import from_plain, to_plain
from buildout.units.words import counted
from estimating.engine.offers import in_quote_unit
from estimating.engine.types import Product, QuoteLine, Supplier, TakeOff
from estimating.web import asking, edits
from estimating.web.asking_models import Paper, RequestLetter
from estimating.web.forms import product_choices
from estimating.web.quote_forms import DiscountForm, FreightForm, QuoteForm, QuoteLineForm
from estimating.web.views.desk import Desk, sit_down, take_out
from estimating.web.views.papers import price_list_of

MOST_LINES = 60
LEAD_FIELDS = ("lead_days_low", "lead_days_likely", "lead_days_high")
SPARE_LINES = 2
MOST_DISCOUNTS = 6


class Origin(NamedTuple):
    """What a new quote is typed in from."""

    start: dict[str, Any]
    letter: RequestLetter | None = None
    paper: Paper | None = None
    left: int = 0
    """Rows of the paper's table that could not be read."""
    seller: Supplier | None = None
    """Whose usual terms are filled in."""


def _origin(request: HttpRequest, desk: Desk) -> Origin:
    start: dict[str, Any] = {
        "currency": desk.sheet.currency, "quoted": desk.sheet.today(), "supplier": request.GET.get("supplier", "")
    }  # fmt: skip
    number = whole(request.GET.get("request", ""))
    letter = None
    if number:
        letters = RequestLetter.objects.select_related("request").defer("body", "text", "pdf")
        letter = letters.filter(request__build=desk.build, request__number=number, supplier=start["supplier"]).first()
    if letter is not None:
        start["lines"] = [
            {"item": line["item"], "unit": line["unit"], "quoted_for": line["quantity"]}
            for line in letter.request.items
        ]
    paper_id = whole(request.GET.get("paper", ""))
    found = Paper.objects.filter(build=desk.build, pk=paper_id).first() if paper_id else None
    seller = next((s for s in desk.sheet.section("suppliers", list[Supplier]) if s.id == start["supplier"]), None)
    if seller is not None:
        start |= usual_of(seller)
    left = 0
    if found is not None and found.kind == Paper.Kind.CSV:
        read = price_list_of(desk, found)
        asked = {line["item"]: line["quantity"] for line in letter.request.items} if letter is not None else {}
        start["lines"] = [
            to_plain(line) | ({"quoted_for": asked[line.item]} if line.item in asked else {})
            for line in read.lines[:MOST_LINES]
        ]
        left = sum(row.state == "bad" for row in read.rows)
        start |= dict(zip(LEAD_FIELDS, read.lead_days, strict=False))
        if read.valid_until is not None:
            start["valid_until"] = read.valid_until
    return Origin(start, letter, found, left, seller)


def usual_of(seller: Supplier) -> dict[str, Any]:
    """What a supplier usually names, to be looked over on each quote."""
    found: dict[str, Any] = {}
    if seller.usual_lead_days is not None:
        found = dict.fromkeys(LEAD_FIELDS, seller.usual_lead_days)
    if seller.services:
        found["freight"] = {"service": seller.services[0]}
    if seller.deposit_percent:
        found["deposit_percent"] = amount_text(seller.deposit_percent)
    return found


@login_required
@require_http_methods(["GET", "POST"])
def quote(request: HttpRequest, build_id: int, quote_id: str = "") -> HttpResponse:
    """A quote with its lines, break tables, discounts and freight."""
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    entries = document.get("quotes", [])
    before = next((entry for entry in entries if entry["id"] == quote_id), None)
    if quote_id and before is None:
        raise Http404(f"There is no quote {quote_id}")
    origin = Origin(before) if before is not None else _origin(request, desk)
    start = origin.start
    data = request.POST or None
    known = [(s["id"], s["name"]) for s in document.get("suppliers", [])]
    form = QuoteForm(
        data, initial=start, choices={"supplier": [("", "choose"), *known]},
        today=desk.sheet.today() if before is None else None,
    )  # fmt: skip
    freight = FreightForm(data, prefix="freight", initial=start.get("freight", {}))
    lines = _line_forms(desk, data, start.get("lines", []), skippable=origin.letter is not None)
    discounts = _discount_forms(desk, data, start.get("discounts", []))
    valid = [part.is_valid() for part in (form, freight, *lines, *discounts)]
    filled = [line for line in lines if data is not None and line.is_valid() and line.cleaned_data.get("item")]
    if data is not None and all(valid):
        if not filled:
            form.add_error(None, "A quote needs at least one line: choose an item and type its prices.")
        else:
            after = form.edited(before or {})
            after["freight"] = freight.edited((before or {}).get("freight", {}))
            after["lines"] = [line.edited(line.initial if line.initial.get("item") else {}) for line in filled]
            taken = [discount for discount in discounts if discount.cleaned_data["percent"] is not None]
            after.pop("discounts", None)
            if taken:
                after["discounts"] = [discount.edited({}) for discount in taken]
            if before is None:
                after["id"] = fitting_id(f"{after['supplier']} {after['quoted']}", [e["id"] for e in entries], "quote")
            at = edits.put(document, "quotes", quote_id, after)
            under = f"/quotes/{at}"
            who = dict(known).get(after["supplier"], after["supplier"])
            proposal = propose_from(
                form, desk.build, desk.user, document,
                f"{'Changed' if quote_id else 'Added'} quote of {who}, {after['quoted']}", under=under,
                within={f"{under}/freight": freight}
                | {f"{under}/lines/{number}": line for number, line in enumerate(filled)}
                | {f"{under}/discounts/{number}": discount for number, discount in enumerate(taken)},
            )  # fmt: skip
            if proposal is not None:
                if origin.letter is not None:
                    day = desk.sheet.today()
                    asking.note_answer(origin.letter, desk.user, RequestLetter.Answer.QUOTED, day, after["id"])
                if origin.paper is not None:
                    Paper.objects.filter(pk=origin.paper.pk).update(quote=after["id"], supplier=after["supplier"])
                return redirect(proposal)
    context = desk.page(
        "5", form=form, freight=freight, lines=lines, discounts=discounts, quote_id=quote_id, suppliers=known,
        title=f"Quote {quote_id}" if quote_id else "A new quote", letter=origin.letter, paper=origin.paper,
        left=origin.left, seller=origin.seller, asks=before is None and data is None,
        papers=Paper.objects.filter(build=desk.build, quote=quote_id).defer("data") if quote_id else [],
        back=reverse("estimating:quotes", args=[build_id]),
    )  # fmt: skip
    return render(request, "estimating/quote.html", context, status=422 if data is not None else 200)


def _line_forms(desk: Desk, data: Any, there: list[dict[str, Any]], *, skippable: bool) -> list[QuoteLineForm]:
    needed = {line.item: line for line in desk.sheet.part("take_off", TakeOff).lines}
    products = desk.sheet.section("products", list[Product])
    items = [
        ("", "no item"),
        *product_choices([p for p in products if p.id in needed]),
        *[(p.id, f"{p.name} (not in the take-off)") for p in products if p.id not in needed],
    ]
    count = len(there) + SPARE_LINES
    if data is not None:
        posted = data.get("lines", "")
        count = whole(posted, count)
    found = []
    for n in range(min(count, MOST_LINES)):
        initial = dict(there[n]) if n < len(there) else {}
        form = QuoteLineForm(
            data, prefix=f"line-{n}", initial=initial, choices={"item": items}, skippable=skippable and bool(initial)
        )
        asked = needed.get(initial.get("item", ""))
        if asked is not None:
            form.asked = counted(asked.quantity, asked.unit)
            form.conversion = _conversion(asked, initial)
        found.append(form)
    return found


def _conversion(asked: Any, typed: dict[str, Any]) -> str:
    """How what is needed becomes what the line sells by; empty where nothing is converted or typed yet."""
    if not typed.get("breaks"):
        return ""
    try:
        return in_quote_unit(asked, from_plain(QuoteLine, typed))[1]
    except (QuantityError, msgspec.ValidationError, ValueError) as error:
        return str(error)


def _discount_forms(desk: Desk, data: Any, there: list[dict[str, Any]]) -> list[DiscountForm]:
    lines = desk.sheet.part("take_off", TakeOff).lines
    items = [(line.item, line.name) for line in lines]
    count = len(there) + 1
    if data is not None:
        posted = data.get("discounts", "")
        count = whole(posted, count)
    return [
        DiscountForm(data, prefix=f"discount-{n}", initial=there[n] if n < len(there) else {}, items=items)
        for n in range(min(count, MOST_DISCOUNTS))
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
    return take_out(request, desk, document, f"Taken out: quote {quote_id}")
