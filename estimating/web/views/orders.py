"""Orders: what to order by when, orders as sent, and the changes to them."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.documents import pdf_response
from buildout.units.dates import date_text
from estimating.engine.types import OrderBy, OrderDates, Product, Remnant, TakeOff
from estimating.web import approvals, documents, order_book
from estimating.web.forms import CloseForm, ConfirmForm, ReceiveForm
from estimating.web.models import Approval, ChangeOrder, Order, SentDocument
from estimating.web.order_book import OrderBookError, WrongStateError
from estimating.web.services import standings
from estimating.web.views.desk import Desk, sit_down
from estimating.web.views.order_page import order_of, order_page

_FIRST = {"overdue": 0, "to order": 1, "placed": 2, "confirmed": 3, "received": 4}
_SHAPES = {"overdue": "stop", "to order": "open", "placed": "done", "confirmed": "done", "received": "done"}


def _orders(desk: Desk) -> list[Order]:
    return list(Order.objects.filter(build=desk.build).prefetch_related("changes", "deliveries"))


def _due(desk: Desk, orders: list[Order]) -> list[dict[str, Any]]:
    """Order-by dates with what became of each line since, overdue first."""
    names = {line.item: line.name for line in desk.sheet.part("take_off", TakeOff).lines}
    tasks = {task["code"]: task["name"] for task in desk.sheet.part("tasks", dict).get("tasks", [])}
    on = {line["item"]: order for order in orders if order.state != Order.State.CANCELLED for line in order.lines}
    today = desk.sheet.today()
    rows = []
    for line in desk.sheet.part("order_dates", OrderDates).lines:
        order = on.get(line.item)
        state = order.state if order else ("overdue" if line.order_by < max(today, desk.sheet.as_of) else "to order")
        rows.append(
            {
                "line": line,
                "name": names.get(line.item, line.item),
                "state": state,
                "order": order,
                "task": tasks.get(line.task, line.task),
                "shape": _SHAPES[state],
            }
        )

    def rank(row: dict[str, Any]) -> tuple[int, Any, str]:
        line: OrderBy = row["line"]
        return _FIRST[row["state"]], line.order_by, line.item

    return sorted(rows, key=rank)


def _remnants(desk: Desk) -> list[dict[str, Any]]:
    """Left-overs kept in stock, as cut plans use them first."""
    names = {product.id: product.name for product in desk.sheet.section("products", list[Product])}
    return [
        {"remnant": remnant, "name": names.get(remnant.product, remnant.product)}
        for remnant in desk.sheet.section("remnants", list[Remnant])
    ]


def _on_site(desk: Desk, orders: list[Order]) -> list[dict[str, Any]]:
    """What came and was in order, with where it was put and the lots; beside what the plan needs of it."""
    needed = {line.item: line for line in desk.sheet.part("take_off", TakeOff).lines}
    rows: dict[tuple[str, str], dict[str, Any]] = {}
    for order in orders:
        places = sorted({d.put for d in order.deliveries.all() if d.put and d.taken_back is None})
        for line in standings(order):
            if line.standing.received <= 0:
                continue
            row = rows.setdefault(
                (line.item, line.unit),
                {"name": line.name, "unit": line.unit, "quantity": Decimal(0), "lots": [], "put": [], "need": None},
            )
            row["quantity"] += line.standing.received
            row["lots"] = sorted({*row["lots"], *line.lots})
            row["put"] = sorted({*row["put"], *places})
            if line.item in needed and needed[line.item].unit == line.unit:
                row["need"] = needed[line.item].quantity
    return sorted(rows.values(), key=lambda row: row["name"])


@login_required
@require_GET
def orders(request: HttpRequest, build_id: int) -> HttpResponse:
    desk = sit_down(request, build_id)
    found = _orders(desk)
    ready = order_book.ready_orders(desk.sheet, found)
    names = {line.item: line.name for line in desk.sheet.part("take_off", TakeOff).lines}
    due = _due(desk, found)
    first = {row["line"].quote: row["line"].order_by for row in reversed(due) if not row["order"]}
    ready.sort(key=lambda order: (first.get(order.quote.id, date.max), order.quote.id))
    limit = approvals.limit_of(desk.sheet)
    waits: dict[str, Any] = {}
    if limit is not None and approvals.has_partner(desk.build):
        asked = {a.quote: a for a in Approval.objects.filter(build=desk.build, order=None).order_by("number")
                 if a.state != Approval.State.WITHDRAWN}  # fmt: skip
        waits = {r.quote.id: _wait(asked.get(r.quote.id), r) for r in ready if r.total > limit}
    context = desk.page(
        "6", limit=limit, waits=waits, orders=found, ready=ready, on_site=_on_site(desk, found),
        remnants=_remnants(desk), names=names, due=due, first=first,
        overdue=sum(1 for row in due if row["state"] == "overdue"),
        open_changes=[change for order in found for change in order.changes.all() if change.state == "open"],
        reasons=desk.sheet.part("order_dates", OrderDates).reasons, today=desk.sheet.today(),
    )  # fmt: skip
    return render(request, "estimating/orders.html", context)


def _wait(asked: Approval | None, ready: order_book.ReadyOrder) -> dict[str, Any]:
    """Where the partner's answer to an order above the limit stands."""
    if asked is None:
        return {"state": "ask"}
    if asked.state == Approval.State.APPROVED and not approvals.covers(asked, ready.lines, ready.total):
        return {"state": "ask", "outgrown": asked}
    return {"state": asked.state, "asked": asked}


@login_required
@require_POST
def ask_approval(request: HttpRequest, build_id: int) -> HttpResponse:
    """Put an order that is ready before the partner."""
    desk = sit_down(request, build_id)
    ready = order_book.ready_orders(desk.sheet, _orders(desk))
    one = next((r for r in ready if r.quote.id == request.POST.get("quote", "")), None)
    try:
        if one is None:
            raise approvals.ApprovalError("Nothing of this quote is waiting to be ordered")
        approvals.ask(desk.build, desk.user, one, request.POST.get("why", "").strip()[:500])
    except approvals.ApprovalError as error:
        messages.error(request, f"{error}.")
    else:
        messages.success(request, "The partner is asked. The answer will stand here and in the journal.")
    return redirect("estimating:orders", build_id)


@login_required
@require_GET
def order(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    desk, found = order_of(request, build_id, number)
    return order_page(request, desk, found)


@login_required
@require_POST
def place(request: HttpRequest, build_id: int) -> HttpResponse:
    """Place an order for everything of one quote that is awarded and not ordered yet."""
    desk = sit_down(request, build_id)
    try:
        made = order_book.place(
            desk.build, desk.user, request.POST.get("quote", ""), request.POST.get("note", "").strip()[:2000]
        )
    except OrderBookError as error:
        messages.error(request, f"{error}.")
        return redirect("estimating:orders", build_id)
    messages.success(request, f"{made.name} is placed. Send the document below to {made.supplier_name}.")
    return redirect("estimating:order", build_id, made.number)


@login_required
@require_POST
def confirm(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    desk, found = order_of(request, build_id, number)
    form = ConfirmForm(request.POST)
    if form.is_valid():
        before = found.promised
        try:
            order_book.confirm(found, desk.user, form.cleaned_data["promised"])
        except WrongStateError as error:
            return _refused(request, found, error)
        except OrderBookError as error:
            form.add_error("promised", f"{error}.")
        else:
            if before is not None and form.cleaned_data["promised"] > before:
                late = (form.cleaned_data["promised"] - before).days
                messages.info(
                    request,
                    f"The promise has slipped by {late} day{'' if late == 1 else 's'}. This is what it does to "
                    "schedule and forecast; nothing moves until you apply it.",
                )
                said = f"{found.name} promised for {date_text(form.cleaned_data['promised'])}, {late} days later"
                return redirect(builds.propose(desk.build, desk.user, builds.editable(desk.build), said))
            return _told(request, desk, found, "The promised day is written down.")
    return order_page(request, desk, found, confirm=form)


@login_required
@require_POST
def receive(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    desk, found = order_of(request, build_id, number)
    form = ReceiveForm(request.POST)
    if form.is_valid():
        try:
            order_book.receive(found, desk.user, form.cleaned_data["received"])
        except WrongStateError as error:
            return _refused(request, found, error)
        except OrderBookError as error:
            form.add_error("received", f"{error}.")
        else:
            return _told(request, desk, found, "The goods are booked in.")
    return order_page(request, desk, found, receive=form)


def _told(request: HttpRequest, desk: Desk, found: Order, text: str) -> HttpResponse:
    messages.success(request, f"{text} The plan itself is as it was: see below what this does to it.")
    return redirect("estimating:order", desk.build.pk, found.number)


def _refused(request: HttpRequest, found: Order, error: OrderBookError) -> HttpResponse:
    messages.error(request, f"{error}.")
    return redirect("estimating:order", found.build_id, found.number)


@login_required
@require_POST
def cancel(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    desk, found = order_of(request, build_id, number)
    form = CloseForm(request.POST)
    if not form.is_valid():
        return order_page(request, desk, found, cancel=form)
    try:
        order_book.cancel(found, desk.user, form.cleaned_data["charge"] or Decimal(0))
    except WrongStateError as error:
        return _refused(request, found, error)
    return _told(request, desk, found, "The order is cancelled; its lines wait to be ordered again.")


@login_required
@require_POST
def decide(request: HttpRequest, build_id: int, number: int, change: int, answer: str) -> HttpResponse:
    """What the supplier said to a change order: agree or refuse."""
    desk, found = order_of(request, build_id, number)
    asked = get_object_or_404(ChangeOrder, order=found, number=change)
    try:
        order_book.decide(asked, desk.user, agreed=answer == "agree")
    except WrongStateError as error:
        return _refused(request, found, error)
    return _told(request, desk, found, "The answer is written down.")


@login_required
@require_POST
def see(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """Propose the unchanged plan, so that it is worked out with the orders as they are now."""
    desk, found = order_of(request, build_id, number)
    said = f"promised for {date_text(found.promised)}" if found.promised else found.get_state_display().lower()
    if found.state == Order.State.RECEIVED and found.received:
        said = f"received on {date_text(found.received)}"
    elif any(line.standing.received for line in standings(found)):
        said = f"received in part, {said}"
    document = builds.editable(desk.build)
    return redirect(builds.propose(desk.build, desk.user, document, f"{found.name} {said}"))


# ------------------------------------------------------------------ the document


@login_required
@require_GET
def document(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """The purchase order on paper."""
    desk, found = order_of(request, build_id, number)
    return _paper(request, desk, found, documents.order_document(desk.sheet, found, desk.user.name))


def _paper(request: HttpRequest, desk: Desk, found: Order, sent: SentDocument) -> HttpResponse:
    """The kept bytes; without a PDF, or with ``?print``, the page that was kept."""
    data = documents.pdf_of(sent) if "print" not in request.GET else None
    if data is not None:
        return pdf_response(data, f"{sent.title}.pdf")
    context = desk.page(
        "6", sent=sent, no_pdf="print" not in request.GET,
        back=reverse("estimating:order", args=[found.build_id, found.number]),
    )  # fmt: skip
    return render(request, "estimating/sent_paper.html", context)


@login_required
@require_GET
def change_document(request: HttpRequest, build_id: int, number: int, change: int) -> HttpResponse:
    """A change to an order on paper, for both sides to sign."""
    desk, found = order_of(request, build_id, number)
    asked = get_object_or_404(ChangeOrder, order=found, number=change)
    return _paper(request, desk, found, documents.change_document(desk.sheet, found, asked, desk.user.name))


@login_required
@require_GET
def change_text(request: HttpRequest, build_id: int, number: int, change: int) -> HttpResponse:
    desk, found = order_of(request, build_id, number)
    asked = get_object_or_404(ChangeOrder, order=found, number=change)
    sent = documents.change_document(desk.sheet, found, asked, desk.user.name)
    return HttpResponse(sent.text, content_type="text/plain; charset=utf-8")


@login_required
@require_GET
def document_text(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """The purchase order as text for a mail."""
    desk, found = order_of(request, build_id, number)
    sent = documents.order_document(desk.sheet, found, desk.user.name)
    return HttpResponse(sent.text, content_type="text/plain; charset=utf-8")
