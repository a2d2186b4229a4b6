"""Goods coming in: counted and looked at, part by part; what is on site."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from buildout.units.lengths import Length
from buildout.units.value import Reason
from estimating.engine.deliveries import ArrivedLine, check_arrival
from estimating.engine.types import Product
from estimating.web import order_book
from estimating.web.forms import CloseForm, DeliveryForm, DeliveryLineForm
from estimating.web.models import Delivery, Order
from estimating.web.order_book import Booked, OrderBookError, WrongStateError
from estimating.web.services import standings
from estimating.web.views.desk import Desk, sit_down

SHADED = "roll"
"""Goods off the roll show their colour side by side."""


def order_of(request: HttpRequest, build_id: int, number: int) -> tuple[Desk, Order]:
    desk = sit_down(request, build_id)
    found = Order.objects.select_related("build").prefetch_related("changes", "deliveries")
    return desk, get_object_or_404(found, build=desk.build, number=number)


def findings(order: Order, products: dict[str, Product], units: Any) -> dict[int, list[Reason]]:
    """What is not as ordered, by delivery number; each is held against what was due when it came."""
    due = {line.item: line.due for line in standings(order)}
    lots: dict[str, list[str]] = {}
    found: dict[int, list[Reason]] = {}
    for delivery in order.deliveries.all():
        if delivery.taken_back is not None:
            continue
        lines = []
        for entry in delivery.lines:
            item, product = entry["item"], products.get(entry["item"])
            accepted = Decimal(entry["accepted"])
            lines.append(
                ArrivedLine(
                    item=item, name=entry["name"], unit=entry["unit"], due=due.get(item, Decimal(0)),
                    accepted=accepted, damaged=Decimal(entry["damaged"]),
                    lots=entry.get("lots", []), earlier_lots=lots.get(item, []),
                    width=Length.read(entry["width"]) if entry.get("width") else None,
                    thickness=[Length.read(text) for text in entry.get("thickness", [])],
                    stated_width=product.width if product else None,
                    stated_thickness=product.thickness if product else None,
                    shaded=product is not None and product.form == SHADED,
                )
            )  # fmt: skip
            due[item] = max(due.get(item, Decimal(0)) - accepted, Decimal(0))
            lots.setdefault(item, []).extend(entry.get("lots", []))
        found[delivery.number] = check_arrival(lines, units)
    return found


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
        DeliveryLineForm(data, prefix=f"line-{at}", line=line, product=products.get(line.item))
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


def _done(request: HttpRequest, found: Order, work: Any, told: str) -> HttpResponse:
    try:
        work()
    except OrderBookError as error:
        messages.error(request, f"{error}.")
    else:
        messages.success(request, f"{told} The plan itself is as it was: see below what this does to it.")
    return redirect(reverse("estimating:order", args=[found.build_id, found.number]) + "#deliveries")
