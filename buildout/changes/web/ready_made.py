"""Ready-made offers set beside making it ourselves; the hours saved come from the schedule's tasks."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import AmountField, DayField, person
from buildout.builds.web.models import Build, Member, Role
from buildout.builds.web.services import Sheet
from buildout.changes.engine.ready_made import has_other_terms, is_taken, make_here, name_of, take_ready_made
from buildout.units.dates import day_text
from buildout.units.value import from_plain
from estimating.engine.ready_made import MakeOrBuy, ReadyMade, make_or_buy
from estimating.engine.types import Arrivals, Award, Product, Quote, TakeOff
from estimating.web.models import Order, ReadyMadeOffer
from scheduling.engine.types import Task, TaskNet

AMOUNTS = {
    "price": "Price without tax", "freight": "Freight", "fixings": "Fixings bought for it",
    "hours": "Person-hours to receive and fix it", "own_tools": "Tools only needed to make it",
    "own_consumables": "Blades, adhesive and the like to make it", "meal": "One meal for a helper",
    "hour_value": "A helper's hour, when it is valued",
}  # fmt: skip
YEARS = {"life_years": "Years it lasts, ready-made", "own_life_years": "Years it lasts, made here"}
DAYS = ("low", "likely", "high")


class OfferForm(forms.Form):
    name = forms.CharField(label="What is offered", max_length=120, help_text="For example: wall panels, ready to hang")
    supplier_name = forms.CharField(label="By whom", max_length=120, required=False)

    def __init__(self, *args: Any, items: list[tuple[str, str]], tasks: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, label in AMOUNTS.items():
            self.fields[name] = AmountField(label=label, required=name == "price")
        for day in DAYS:
            self.fields[day] = forms.IntegerField(
                label=f"Days until it is here, {day}", min_value=0, max_value=1000,
                widget=forms.TextInput(attrs={"inputmode": "numeric"}),
            )  # fmt: skip
        for name, label in YEARS.items():
            self.fields[name] = AmountField(label=label, required=False, min_value=Decimal("0.1"))
        self.fields["valid_until"] = DayField(label="The offer holds until", required=False)
        for name, label, choices in (
            ("items", "Takes the place of", items),
            ("tasks", "Tasks it saves", tasks),
        ):
            self.fields[name] = forms.MultipleChoiceField(
                label=label, required=name == "items", choices=choices, widget=forms.CheckboxSelectMultiple,
                error_messages={"required": "Tick at least one item it takes the place of."},
            )  # fmt: skip
        self.fields["note"] = forms.CharField(label="Note", required=False, max_length=500)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        days = [data.get(day) for day in DAYS]
        if None not in days and days != sorted(days):  # type: ignore[type-var]
            self.add_error("high", "Write shortest, likely and longest, for instance 20, 25, 40.")
        return data

    @staticmethod
    def typed(offer: ReadyMadeOffer) -> dict[str, Any]:
        """An offer as it was typed."""
        terms = offer.terms
        amounts = {name: Decimal(terms[name]) for name in (*AMOUNTS, *YEARS) if name in terms}
        amounts |= {"valid_until": terms["valid_until"]} if terms.get("valid_until") else {}
        days = dict(zip(DAYS, terms.get("lead_days", ()), strict=False))
        kept = {name: getattr(offer, name) for name in ("name", "supplier_name", "tasks", "note")}
        return amounts | days | kept | {"items": terms.get("items", [])}

    @property
    def terms(self) -> dict[str, Any]:
        data = self.cleaned_data
        amounts = {name: f"{data[name]:f}" for name in (*AMOUNTS, *YEARS) if data.get(name) is not None}
        if data.get("valid_until"):
            amounts["valid_until"] = data["valid_until"].isoformat()
        return amounts | {"lead_days": [data[day] for day in DAYS], "items": data["items"]}


def _desk(request: HttpRequest, build_id: int) -> tuple[Build, Member, Sheet]:
    build, member = builds.build_for(person(request), build_id, Role.OWNER)
    return build, member, builds.sheet_of(build)


def _work(sheet: Sheet) -> dict[str, Task]:
    return {task.code: task for task in sheet.part("tasks", TaskNet).tasks if task.kind == "work"}


def compared(sheet: Sheet, offers: list[ReadyMadeOffer], orders: list[Order]) -> list[tuple[ReadyMadeOffer, MakeOrBuy]]:
    """Every offer beside the award it would take the place of."""
    award, work = sheet.part("award", Award), _work(sheet)
    ordered = {line["item"] for order in orders for line in order.lines}
    days = {
        arrival.item: tuple((day - sheet.as_of).days for day in (arrival.low, arrival.likely, arrival.high))
        for arrival in sheet.part("arrivals", Arrivals).items
    }
    wasted = {line.item: line.waste / line.quantity for line in sheet.part("take_off", TakeOff).lines if line.quantity}
    found = []
    for offer in offers:
        hours = sum((Decimal(str(round(work[code].likely, 1))) for code in offer.tasks if code in work), Decimal(0))
        terms = from_plain(ReadyMade, offer.terms)
        found.append((offer, make_or_buy(terms, award, ordered, hours, days, wasted, sheet.currency)))  # type: ignore[arg-type]
    return found


@login_required
@require_GET
def ready_made(request: HttpRequest, build_id: int) -> HttpResponse:
    build, member, sheet = _desk(request, build_id)
    offers = list(ReadyMadeOffer.objects.filter(build=build))
    taken = [offer for offer in offers if is_taken(sheet.document, offer.number)]
    open_to = [offer for offer in offers if offer not in taken]
    rows = compared(sheet, open_to, list(Order.objects.standing().filter(build=build)))
    names = {line.item: line.name for line in sheet.part("take_off", TakeOff).lines}
    context = {"build": build, "member": member, "sheet": sheet, "sheet_no": "5", "rows": rows, "names": names}
    context |= {"taken": [(offer, _in_plan(sheet, offer)) for offer in taken]}
    return render(request, "changes/ready_made.html", context)


def _in_plan(sheet: Sheet, offer: ReadyMadeOffer) -> dict[str, Any]:
    """What the plan has of an offer taken in: its quote, what it replaced, whether the offer still says so."""
    name = name_of(offer.number)
    there = next(one for one in sheet.document["ready_made"] if one["product"] == name)
    quote = next((q for q in sheet.section("quotes", list[Quote]) if q.id == name), None)
    products = {p.id: p.name for p in sheet.section("products", list[Product])}
    terms = from_plain(ReadyMade, offer.terms)
    price = quote.lines[0].breaks[0].price if quote is not None else None
    return {
        "quote": quote, "price": price, "instead_of": [products.get(item, item) for item in there["items"]],
        "tasks": there.get("tasks", []),
        "differs": has_other_terms(
            sheet.document, offer.number, offer.name, offer.supplier_name, terms, offer.tasks
        ),
    }  # fmt: skip


@login_required
@require_POST
def take_offer(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """Propose the plan with the offer in place of what it replaces."""
    build, _, sheet = _desk(request, build_id)
    offer = get_object_or_404(ReadyMadeOffer, build=build, number=number)
    terms = from_plain(ReadyMade, offer.terms)
    gone = [item for item in terms.items if item not in {p.id for p in sheet.section("products", list[Product])}]
    if gone:
        messages.error(
            request, f"The plan no longer knows {', '.join(gone)}: change what the offer takes the place of."
        )
        return redirect("changes:ready-made", build.pk)
    if terms.valid_until is not None and terms.valid_until < sheet.today():
        messages.error(
            request,
            f"{offer.name} was offered until {day_text(terms.valid_until)}: ask for a new date, then change it.",
        )
        return redirect("changes:ready-made", build.pk)
    document = take_ready_made(
        builds.editable(build), number, offer.name, offer.supplier_name, terms, offer.tasks, sheet.today()
    )
    return _proposed(request, build, document, f"Ready-made: {offer.name}")


@login_required
@require_POST
def make_instead(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """Propose the plan without the offer again."""
    build, _, _ = _desk(request, build_id)
    offer = get_object_or_404(ReadyMadeOffer, build=build, number=number)
    document = make_here(builds.editable(build), number)
    return _proposed(request, build, document, f"Made here after all, not ready-made: {offer.name}")


def _proposed(request: HttpRequest, build: Build, document: dict[str, Any], summary: str) -> HttpResponse:
    try:
        return redirect(builds.propose(build, person(request), document, summary))
    except builds.DocumentProblems as error:
        for problem in error.problems[:3]:
            messages.error(request, problem.message)
        return redirect("changes:ready-made", build.pk)


@login_required
@require_http_methods(["GET", "POST"])
def edit_offer(request: HttpRequest, build_id: int, number: int | None = None) -> HttpResponse:
    """A new offer, or one that is there with another price or other terms."""
    build, member, sheet = _desk(request, build_id)
    there = get_object_or_404(ReadyMadeOffer, build=build, number=number) if number is not None else None
    start = OfferForm.typed(there) if there is not None else {}
    # What an offer speaks of stays to be chosen where the plan no longer has it.
    items = [(line.item, line.name) for line in sheet.part("take_off", TakeOff).lines]
    items += [(item, f"{item} (no longer needed)") for item in start.get("items", []) if item not in dict(items)]
    tasks = [(code, f"{task.name} ({task.likely:.1f} h)") for code, task in _work(sheet).items()]
    tasks += [(code, f"{code} (no longer planned)") for code in start.get("tasks", []) if code not in dict(tasks)]
    form = OfferForm(request.POST or None, items=items, tasks=tasks, initial=start)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        fields = {name: data[name] for name in ("name", "supplier_name", "tasks", "note")} | {"terms": form.terms}
        with transaction.atomic():
            locked = Build.objects.select_for_update().get(pk=build.pk)
            if there is not None:
                ReadyMadeOffer.objects.filter(pk=there.pk).update(**fields)
            else:
                last = ReadyMadeOffer.objects.filter(build=locked).order_by("-number").first()
                ReadyMadeOffer.objects.create(
                    build=locked, number=last.number + 1 if last else 1, by=person(request), **fields
                )
        messages.success(request, "The offer is kept and set beside making it ourselves.")
        return redirect("changes:ready-made", build.pk)
    context = {"build": build, "member": member, "sheet": sheet, "sheet_no": "5", "form": form, "offer": there}
    return render(request, "changes/ready_made_edit.html", context, status=422 if form.is_bound else 200)


@login_required
@require_POST
def remove_offer(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    build, _, sheet = _desk(request, build_id)
    offer = get_object_or_404(ReadyMadeOffer, build=build, number=number)
    if is_taken(sheet.document, number):
        messages.error(request, "The plan is made with this offer. Go back to making it here first, then take it out.")
        return redirect("changes:ready-made", build.pk)
    offer.delete()
    messages.success(request, "The offer is gone.")
    return redirect("changes:ready-made", build.pk)
