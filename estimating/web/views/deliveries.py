"""Goods coming in: counted and looked at, part by part; what is on site."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.rooms.web.photos import PhotoError, read_photo
from estimating.engine.types import Product
from estimating.web import order_book
from estimating.web.forms import (
    ClaimAnswerForm,
    ClaimForm,
    CloseForm,
    DeliveryForm,
    DeliveryLineForm,
    ExpectForm,
    PhotoForm,
)
from estimating.web.models import Claim, Delivery, DeliveryPhoto, Order
from estimating.web.order_book import Booked, OrderBookError, WrongStateError
from estimating.web.services import standings
from estimating.web.views.order_page import order_of, order_page, room_choices


@login_required
@require_http_methods(["GET", "POST"])
def deliver(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """Count goods in against what is still due."""
    desk, found = order_of(request, build_id, number)
    back = reverse("estimating:order", args=[build_id, number])
    if found.state not in (Order.State.PLACED, Order.State.CONFIRMED):
        messages.error(request, f"{found.name} is {found.get_state_display().lower()}: nothing more is due.")
        return redirect(back)
    products = {product.id: product for product in desk.sheet.section("products", list[Product])}
    data = request.POST or None
    form = DeliveryForm(data, initial={"came": max(desk.sheet.today(), found.placed)})
    lines = [
        DeliveryLineForm(data, prefix=f"line-{at}", line=line, product=products.get(line.item), units=desk.sheet.units)
        for at, line in enumerate(standings(found))
    ]
    if data is not None and all([form.is_valid(), *[line.is_valid() for line in lines]]):
        typed = form.cleaned_data
        booked = Booked(
            typed["came"], [line.booked() for line in lines], typed["taken_by"], typed["put"], typed["slip"]
        )
        try:
            made = order_book.deliver(found, desk.user, booked, typed["promised"])
        except WrongStateError as error:
            messages.error(request, f"{error}.")
            return redirect(back)
        except OrderBookError as error:
            form.add_error("promised" if "rest" in str(error) else "came" if "earlier" in str(error) else None,
                           f"{error}.")  # fmt: skip
        else:
            messages.success(
                request, f"{made.name} is booked in. The plan itself is as it was: see below what this does to it."
            )
            return redirect(f"{back}#deliveries")
    context = desk.page("6", order=found, form=form, lines=lines, back=back)
    return render(request, "estimating/delivery.html", context, status=422 if data is not None else 200)


@login_required
@require_POST
def take_back(request: HttpRequest, build_id: int, number: int, delivery: int) -> HttpResponse:
    desk, found = order_of(request, build_id, number)
    booked = get_object_or_404(Delivery, order=found, number=delivery)
    return _done(request, found, lambda: order_book.take_back(booked, desk.user), f"{booked.name} no longer counts.")


@login_required
@require_POST
def close(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """The rest is cancelled with the supplier."""
    desk, found = order_of(request, build_id, number)
    form = CloseForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Type the charge as a plain number, for example 25.00, or leave it empty.")
        return redirect(reverse("estimating:order", args=[build_id, number]) + "#deliveries")
    charge = form.cleaned_data["charge"] or Decimal(0)
    return _done(
        request, found, lambda: order_book.close_rest(found, desk.user, charge),
        "The rest is cancelled by a numbered change.",
    )  # fmt: skip


def _done(request: HttpRequest, found: Order, work: Any, told: str, where: str = "#deliveries") -> HttpResponse:
    try:
        work()
    except OrderBookError as error:
        messages.error(request, f"{error}.")
    else:
        messages.success(request, f"{told} The plan itself is as it was: see below what this does to it.")
    return redirect(reverse("estimating:order", args=[found.build_id, found.number]) + where)


# ------------------------------------------------------------------ how it comes, photos, claims


@login_required
@require_POST
def expect(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """Who takes the goods in, when and where."""
    desk, found = order_of(request, build_id, number)
    form = ExpectForm(request.POST, rooms=room_choices(desk), units=desk.sheet.units)
    if not form.is_valid():
        return order_page(request, desk, found, expect=form)
    return _done(
        request,
        found,
        lambda: order_book.expect(found, desk.user, **form.cleaned_data),
        "It is written down.",
        "#coming",
    )


@login_required
@require_POST
def add_photo(request: HttpRequest, build_id: int, number: int, delivery: int) -> HttpResponse:
    desk, found = order_of(request, build_id, number)
    came = get_object_or_404(Delivery, order=found, number=delivery)
    form = PhotoForm(request.POST, request.FILES)
    if form.is_valid():
        file = form.cleaned_data["photo"]
        try:
            jpeg = read_photo(file, file.size)
            order_book.add_photo(came, jpeg, form.cleaned_data["shows"])
        except (PhotoError, OrderBookError) as error:
            form.add_error("photo", f"{str(error).rstrip('.')}.")
    if form.errors:
        return order_page(request, desk, found, photo=(delivery, form))
    messages.success(request, "The photo is kept with the delivery.")
    return redirect(reverse("estimating:order", args=[build_id, number]) + "#deliveries")


@login_required
@require_GET
def photo(request: HttpRequest, build_id: int, number: int, delivery: int, photo: int) -> HttpResponse:
    _, found = order_of(request, build_id, number)
    kept = get_object_or_404(DeliveryPhoto, delivery__order=found, delivery__number=delivery, number=photo)
    return HttpResponse(
        bytes(kept.jpeg), content_type="image/jpeg", headers={"Cache-Control": "private, max-age=31536000, immutable"}
    )


@login_required
@require_POST
def claim(request: HttpRequest, build_id: int, number: int, delivery: int) -> HttpResponse:
    desk, found = order_of(request, build_id, number)
    came = get_object_or_404(Delivery, order=found, number=delivery)
    form = ClaimForm(request.POST)
    if not form.is_valid():
        return order_page(request, desk, found, claim=(delivery, form))
    typed = form.cleaned_data
    return _done(request, found, lambda: order_book.claim(came, desk.user, typed["text"], typed["asked"]),
                 "The claim is written down.")  # fmt: skip


@login_required
@require_POST
def answer_claim(
    request: HttpRequest, build_id: int, number: int, delivery: int, claim: int, answer: str
) -> HttpResponse:
    desk, found = order_of(request, build_id, number)
    asked = get_object_or_404(Claim, delivery__order=found, delivery__number=delivery, number=claim)
    form = ClaimAnswerForm(request.POST)
    said = form.cleaned_data["answer"] if form.is_valid() else request.POST.get("answer", "")[:500]
    return _done(
        request, found, lambda: order_book.answer_claim(asked, desk.user, settled=answer == "settle", answer=said),
        "The answer is written down.",
    )  # fmt: skip
