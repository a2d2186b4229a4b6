"""A supplier: whom to ask for, on what terms they sell, what was said, what they were asked and what they sent."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import fitting_id, propose_from, whole
from estimating.engine.types import Product, Quote, Supplier
from estimating.web import asking, edits
from estimating.web.asking_forms import CallForm, SampleCameForm, SampleForm
from estimating.web.asking_models import Call, Paper, RequestLetter, Sample
from estimating.web.quote_forms import ContactForm, SupplierForm
from estimating.web.views.desk import Desk, sit_down, take_out

MOST_CONTACTS = 20


def supplier_of(desk: Desk, supplier_id: str) -> Supplier:
    found = next((s for s in desk.sheet.section("suppliers", list[Supplier]) if s.id == supplier_id), None)
    if found is None:
        raise Http404(f"There is no supplier {supplier_id}")
    return found


@login_required
@require_GET
def supplier(request: HttpRequest, build_id: int, supplier_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    return _page(request, desk, supplier_of(desk, supplier_id))


def _page(
    request: HttpRequest, desk: Desk, found: Supplier, call: CallForm | None = None, sample: SampleForm | None = None,
    came: dict[int, SampleCameForm] | None = None,
) -> HttpResponse:  # fmt: skip
    today = desk.sheet.today()
    mine: dict[str, Any] = {"build": desk.build, "supplier": found.id}
    samples = [
        {"sample": row, "form": (came or {}).get(row.pk) or _came_form(row, today)}
        for row in Sample.objects.filter(**mine)
    ]
    context = desk.page(
        "5", supplier=found, today=today, samples=samples,
        calls=Call.objects.filter(**mine).select_related("by"),
        letters=RequestLetter.objects.filter(request__build=desk.build, supplier=found.id)
        .select_related("request").defer("body", "text", "pdf").order_by("-request__number"),
        papers=Paper.objects.filter(**mine).defer("data"),
        quotes=[quote for quote in desk.sheet.section("quotes", list[Quote]) if quote.supplier == found.id],
        products={product.id: product.name for product in desk.sheet.section("products", list[Product])},
        call=call or CallForm(today=today), ask_sample=sample or SampleForm(initial={"asked": today}),
    )  # fmt: skip
    wrong = call is not None or sample is not None or came is not None
    return render(request, "estimating/supplier.html", context, status=422 if wrong else 200)


def _came_form(row: Sample, today: Any, data: Any = None) -> SampleCameForm:
    return SampleCameForm(data, prefix=f"sample-{row.pk}", initial={"received": today}, asked=row.asked, today=today)


@login_required
@require_POST
def note_call(request: HttpRequest, build_id: int, supplier_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    found = supplier_of(desk, supplier_id)
    form = CallForm(request.POST, today=desk.sheet.today())
    if not form.is_valid():
        return _page(request, desk, found, call=form)
    asking.note_call(desk.build, desk.user, found, dict(form.cleaned_data))
    messages.success(request, "Written down.")
    return redirect(reverse("estimating:supplier", args=[build_id, supplier_id]) + "#calls")


@login_required
@require_POST
def step_done(request: HttpRequest, build_id: int, call_id: int) -> HttpResponse:
    desk = sit_down(request, build_id)
    call = get_object_or_404(Call, build=desk.build, pk=call_id)
    if call.done is None:
        call.done = timezone.now()
        call.save(update_fields=["done"])
    messages.success(request, f"Done: {call.next_step}")
    return redirect(reverse("estimating:supplier", args=[build_id, call.supplier]) + "#calls")


@login_required
@require_POST
def ask_sample(request: HttpRequest, build_id: int, supplier_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    found = supplier_of(desk, supplier_id)
    form = SampleForm(request.POST)
    if not form.is_valid():
        return _page(request, desk, found, sample=form)
    data = form.cleaned_data
    asking.ask_for_sample(desk.build, found.id, found.name, data["what"], data["asked"])
    messages.success(request, "The sample is on the list.")
    return redirect(reverse("estimating:supplier", args=[build_id, supplier_id]) + "#samples")


@login_required
@require_POST
def sample_came(request: HttpRequest, build_id: int, sample_id: int) -> HttpResponse:
    desk = sit_down(request, build_id)
    row = get_object_or_404(Sample, build=desk.build, pk=sample_id)
    form = _came_form(row, desk.sheet.today(), request.POST)
    if not form.is_valid():
        return _page(request, desk, supplier_of(desk, row.supplier), came={row.pk: form})
    row.received, row.found = form.cleaned_data["received"], form.cleaned_data["found"]
    row.save(update_fields=["received", "found"])
    messages.success(request, f"{row.name} is here. Keep it to check deliveries against.")
    return redirect(reverse("estimating:supplier", args=[build_id, row.supplier]) + "#samples")


# ------------------------------------------------------------------ their entry in the plan


@login_required
@require_http_methods(["GET", "POST"])
def edit(request: HttpRequest, build_id: int, supplier_id: str = "") -> HttpResponse:
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    entries = document.get("suppliers", [])
    before = next((entry for entry in entries if entry["id"] == supplier_id), None)
    if supplier_id and before is None:
        raise Http404(f"There is no supplier {supplier_id}")
    data = request.POST or None
    form = SupplierForm(data, initial=before or {})
    contacts = _contact_forms(data, (before or {}).get("contacts", []))
    valid = [part.is_valid() for part in (form, *contacts)]
    if data is not None and all(valid):
        after = form.edited(before or {})
        named = [contact for contact in contacts if contact.cleaned_data["name"]]
        after.pop("contacts", None)
        if named:
            after["contacts"] = [contact.edited({}) for contact in named]
        if before is None:
            after = {"id": fitting_id(after["name"], [entry["id"] for entry in entries], "supplier"), **after}
        at = edits.put(document, "suppliers", supplier_id, after)
        summary = f"{'Changed' if supplier_id else 'Added'} supplier: {after['name']}"
        proposal = propose_from(form, desk.build, desk.user, document, summary, under=f"/suppliers/{at}")
        if proposal is not None:
            return redirect(proposal)
    back = reverse("estimating:supplier", args=[build_id, supplier_id]) if supplier_id else ""
    context = desk.page(
        "5", title=before["name"] if before else "A new supplier", form=form, contacts=contacts,
        delete=reverse("estimating:delete-supplier", args=[build_id, supplier_id]) if supplier_id else "",
        back=back or reverse("estimating:quotes", args=[build_id]), back_name=before["name"] if before else "Quotes",
    )  # fmt: skip
    return render(request, "estimating/supplier_edit.html", context, status=422 if form.is_bound else 200)


def _contact_forms(data: Any, there: list[dict[str, Any]]) -> list[ContactForm]:
    count = len(there) + 1
    if data is not None:
        posted = data.get("contacts", "")
        count = whole(posted, count)
    return [
        ContactForm(data, prefix=f"contact-{n}", initial=there[n] if n < len(there) else {})
        for n in range(min(count, MOST_CONTACTS))
    ]


@login_required
@require_POST
def delete(request: HttpRequest, build_id: int, supplier_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    try:
        edits.remove(document, "suppliers", supplier_id)
    except KeyError as missing:
        raise Http404(f"There is no supplier {supplier_id}") from missing
    return take_out(request, desk, document, f"Taken out: supplier {supplier_id}")
