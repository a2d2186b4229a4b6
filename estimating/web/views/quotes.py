"""Suppliers, their quotes, and the award: who gets which line, and what the next best would cost."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import amount_text, propose_from
from buildout.units.dates import date_text
from buildout.units.money import round_money
from estimating.engine.quote_gaps import SampleOut, quote_gaps, sample_gaps
from estimating.engine.side_by_side import side_by_side
from estimating.engine.types import LEAD_GROUPS, Award, AwardChoices, AwardRules, Product, Quote, Supplier, TakeOff
from estimating.web import asking, edits
from estimating.web.asking_models import Paper, Request, RequestLetter, Sample
from estimating.web.forms import GROUPS, AwardRulesForm
from estimating.web.models import Order
from estimating.web.views.desk import Desk, sit_down
from estimating.web.views.take_off import csv_file


def _rules_form(desk: Desk, quotes: list[Quote], suppliers: dict[str, Supplier], data: Any = None) -> AwardRulesForm:
    names = {line.item: line.name for line in desk.sheet.part("take_off", TakeOff).lines}
    offers: dict[str, tuple[str, list[tuple[str, str]]]] = {}
    for quote in quotes:
        for line in quote.lines:
            if line.item in names:
                offered = offers.setdefault(line.item, (names[line.item], []))[1]
                choice = (quote.id, quote_name(quote, suppliers))
                if choice not in offered:  # a quote may offer the same by the yard and by the roll
                    offered.append(choice)
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


def _scheduled_needs(desk: Desk) -> dict[str, date]:
    """Kind of goods → when the schedule people rely on first needs it."""
    groups = {product.id: product.lead_group for product in desk.sheet.section("products", list[Product])}
    days: dict[str, date] = {}
    for item, said in sorted(desk.sheet.part("schedule", dict).get("needs", {}).items()):
        if item in groups:
            day = date.fromisoformat(said)
            days[groups[item]] = min(day, days.get(groups[item], day))
    return days


class Drift(NamedTuple):
    """A kind of goods whose written need day is not the schedule's any more."""

    goods: str
    written: date
    scheduled: date

    @property
    def days(self) -> int:
        """Above nought: the schedule needs it later than is written."""
        return (self.scheduled - self.written).days


def _drifted(desk: Desk, rules: AwardRules) -> list[Drift]:
    if not rules.need_by:
        return []
    scheduled = _scheduled_needs(desk)
    return [
        Drift(GROUPS[group], written, scheduled[group])
        for group, written in sorted(rules.need_by.items())
        if group in scheduled and group in GROUPS and scheduled[group] != written
    ]


@login_required
@require_POST
def need_days(request: HttpRequest, build_id: int) -> HttpResponse:
    """Take over from the schedule when each kind of goods is first needed, and price a day by the rent."""
    desk = sit_down(request, build_id)
    days = {group: day.isoformat() for group, day in _scheduled_needs(desk).items()}
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
    return f"{supplier.name if supplier else quote.supplier}, {date_text(quote.quoted)} ({quote.id})"


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
    samples = list(Sample.objects.filter(build=desk.build, received=None))
    gaps = sample_gaps([SampleOut(s.name, s.supplier_name, s.asked) for s in samples], today) + gaps
    rules = desk.sheet.section("award", AwardRules) if desk.sheet.document.get("award") else AwardRules()
    requests = Request.objects.filter(build=desk.build).order_by("-number")
    letters = RequestLetter.objects.defer("body", "text", "pdf").select_related("request")
    compared = side_by_side(
        take_off.lines, found, list(suppliers.values()), desk.sheet.as_of, award.currency, tax_percent
    )
    context = desk.page(
        "5", compared=compared, requests=requests.prefetch_related(Prefetch("letters", letters)),
        papers=Paper.objects.filter(build=desk.build, product="").exclude(quote__in=by_id).defer("data"),
        steps=asking.steps_due(desk.build), samples_out=samples, drifted=_drifted(desk, rules),
        lateness=rules.day_late if rules.need_by else None, gaps=gaps, rows=rows, suppliers=suppliers, award=award,
        choices=choices, products=products, quotes=by_id,
        sums=[(name, sum((getattr(party, name.lower()) for party in award.suppliers), Decimal(0)))
              for name in ("Goods", "Freight", "Tax", "Total")],
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
        return "warning", f"ran out on {date_text(quote.valid_until, year=False)}"
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
    names = {line.item: line.name for line in desk.sheet.part("take_off", TakeOff).lines}
    sellers = {supplier.id: supplier.name for supplier in desk.sheet.section("suppliers", list[Supplier])}
    header = [
        "item", "name", "supplier", "supplier name", "quote", "asked", "asked unit", "bought", "unit", "unit price",
        "goods", "extras", "runner-up", "runner-up costs more",
    ]  # fmt: skip
    rows = [
        [
            line.item, names.get(line.item, ""), line.supplier, sellers.get(line.supplier, ""), line.quote, line.asked,
            line.asked_unit, line.quantity, line.unit, line.unit_price, line.goods, line.extras, line.runner_up,
            line.runner_up_extra,
        ]
        for line in desk.sheet.part("award", Award).lines
    ]  # fmt: skip
    return csv_file("award.csv", header, rows)
