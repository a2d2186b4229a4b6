"""The page of one order, which every command on it comes back to."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.forms import model_to_dict
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from buildout.rooms.engine.types import RoomPlan
from buildout.units.lengths import Length
from buildout.units.value import Reason
from estimating.engine.deliveries import ArrivedLine, check_arrival
from estimating.engine.handling import LONG, Door, Handling, Stacked, handle, stack
from estimating.engine.ledger import TOLERANCE_NAME
from estimating.engine.rolled import SHARE
from estimating.engine.types import Product
from estimating.web import ledger
from estimating.web.documents import order_facts
from estimating.web.forms import ClaimForm, CloseForm, ConfirmForm, ExpectForm, PhotoForm, ReceiveForm
from estimating.web.ledger_forms import ReverseForm
from estimating.web.models import Order
from estimating.web.services import standings
from estimating.web.views.desk import Desk, sit_down

DOORS = ("door", "exit door", "roller door", "gap")
"""Kinds of features that goods are carried through."""
SHADED = "roll"
"""Goods off the roll show their colour side by side."""


def order_of(request: HttpRequest, build_id: int, number: int) -> tuple[Desk, Order]:
    desk = sit_down(request, build_id)
    found = Order.objects.select_related("build").prefetch_related(
        "changes", "deliveries", "deliveries__photos", "deliveries__claims"
    )
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


def doors_of(plan: RoomPlan) -> list[Door]:
    """Openings of a room goods can be carried through."""
    return [
        Door(feature.note or feature.id, feature.clear_width or feature.end - feature.start,
             feature.clear_height or feature.head)
        for feature in plan.features
        if feature.kind in DOORS
    ]  # fmt: skip


STACK = 1828.8
"""mm (6 ft): as high as goods are stacked where nothing is said. Common practice, no published source."""


def _stacked(order: Order, goods: list[Handling], plans: list[RoomPlan]) -> Stacked | None:
    """The goods held against the place that was measured, else against the whole floor of the room."""
    if not goods:
        return None
    if order.space:
        length, width, height = (float(Length.read(order.space[n]).mm) for n in ("length", "width", "height"))
        return stack(goods, length * width, height, (length, width))
    plan = next((plan for plan in plans if plan.room == order.room and plan.floor_area > 0), None)
    return stack(goods, plan.floor_area, STACK) if plan is not None else None


def room_choices(desk: Desk) -> list[tuple[str, str]]:
    return [(plan.room, plan.name) for plan in desk.sheet.part("plans", list[RoomPlan])]


def order_page(
    request: HttpRequest,
    desk: Desk,
    found: Order,
    confirm: ConfirmForm | None = None,
    receive: ReceiveForm | None = None,
    cancel: CloseForm | None = None,
    expect: ExpectForm | None = None,
    claim: tuple[int, ClaimForm] | None = None,
    photo: tuple[int, PhotoForm] | None = None,
) -> HttpResponse:
    """The order with all that happened since; forms that came back with something wrong in them stand as typed."""
    status = 422 if any(form is not None for form in (confirm, receive, cancel, expect, claim, photo)) else 200
    products = {product.id: product for product in desk.sheet.section("products", list[Product])}
    lines_now = standings(found)
    plans = desk.sheet.part("plans", list[RoomPlan])
    rooms = [(plan.room, plan.name) for plan in plans]
    doors = [door for plan in plans if plan.room == found.room for door in doors_of(plan)]
    known = [line for line in lines_now if line.item in products]
    coming = [(line, line.standing.outstanding) for line in known if line.standing.outstanding > 0]
    handling = [handle(products[line.item], line.name, rest, doors) for line, rest in coming]
    in_all = [handle(products[line.item], line.name, line.due, doors) for line in known if line.due > 0]
    book = [entry for entry in ledger.entries_of(desk.build) if entry.order_id == found.pk]
    context = desk.page(
        "6",
        now=lines_now,
        expect=expect
        or ExpectForm(
            rooms=rooms,
            units=desk.sheet.units,
            initial=model_to_dict(found, ["window", "receiver", "room", "put"]) | found.space,
        ),
        put_in=dict(rooms).get(found.room, found.room),
        handling=handling,
        stacked=_stacked(found, in_all, plans),
        carry={"share": SHARE, "long": LONG, "stack": STACK},
        photos=dict([photo]) if photo else {},
        doors=len(doors),
        claims=dict([claim]) if claim else {},
        claim_form=ClaimForm(auto_id=False),
        begun=any(line.standing.received or line.damaged for line in lines_now),
        found_wrong=findings(found, products, desk.sheet.units),
        close=CloseForm(),
        cancel=cancel or CloseForm(auto_id="id_cancel_%s"),
        book=book,
        credits={entry.claim_id: entry for entry in book if entry.claim_id and entry.counts},
        match=ledger.match(desk.sheet, found, book),
        tolerance=TOLERANCE_NAME,
        reverse_form=ReverseForm(),
        confirm=confirm or ConfirmForm(initial={"promised": found.promised}),
        receive=receive or ReceiveForm(initial={"received": max(desk.sheet.today(), found.placed)}),
        **order_facts(desk.sheet, found),
    )
    return render(request, "estimating/order.html", context, status=status)
