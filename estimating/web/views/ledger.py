"""Invoices, credit notes, payments and draws: entered against an order or under a budget head, reversed when wrong."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from buildout.builds.web.editing import whole
from buildout.units.money import format_money
from estimating.engine.types import Budget
from estimating.web import ledger
from estimating.web.ledger import Kind
from estimating.web.ledger_forms import (
    BillCreditForm,
    BillForm,
    CreditForm,
    CreditLineForm,
    DrawForm,
    InvoiceForm,
    InvoiceLineForm,
    PaymentForm,
    ReverseForm,
)
from estimating.web.models import Claim, LedgerEntry, Order
from estimating.web.order_book import OrderBookError
from estimating.web.services import standings, tax_on_lines
from estimating.web.views.desk import Desk, sit_down
from estimating.web.views.order_page import order_of


def open_invoices(entries: list[LedgerEntry], currency: str) -> list[tuple[str, str]]:
    """Invoices not paid in full and credit notes not paid back, as choices."""
    found = []
    for entry in entries:
        # A credit note for an invoice is taken off that one; by itself it stands for money to come back.
        if entry.kind not in ledger.BILLS or not entry.counts or (entry.kind == Kind.CREDIT and entry.settles_id):
            continue
        left = ledger.balance(entry, entries)
        if left:
            who = entry.order.supplier_name if entry.order else entry.who
            what = f"{who}, {entry.get_kind_display().lower()} {entry.reference or entry.number}"
            said = f"{format_money(abs(left), currency)} {'open' if left > 0 else 'to come back to you'}"
            found.append((str(entry.number), f"{what}: {said}"))
    return found


def _edit(
    request: HttpRequest,
    desk: Desk,
    title: str,
    parts: list[tuple[str, Any]],
    back: str,
    back_name: str,
    intro: str = "",
) -> HttpResponse:
    bound = any(form.is_bound for _, form in parts)
    context = desk.page("8", title=title, parts=parts, back=back, back_name=back_name, intro=intro)
    return render(request, "estimating/entry.html", context, status=422 if bound else 200)


@login_required
@require_http_methods(["GET", "POST"])
def invoice(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """A supplier's invoice for an order; what is received and not invoiced yet is filled in."""
    desk, order = order_of(request, build_id, number)
    back = reverse("estimating:order", args=[build_id, number])
    entries = [entry for entry in ledger.entries_of(desk.build) if entry.order_id == order.pk]
    billed: dict[str, Decimal] = {}
    for entry in entries:
        for line in entry.lines:
            billed[line["item"]] = billed.get(line["item"], Decimal(0)) + Decimal(line["quantity"])
    data = request.POST or None
    currency = desk.sheet.currency
    lines = [
        InvoiceLineForm(
            data, prefix=f"line-{at}", line=line, billed=billed.get(line.item, Decimal(0)), currency=currency
        )
        for at, line in enumerate(standings(order))
    ]
    freight = max(order.freight - sum((entry.freight for entry in entries), Decimal(0)), Decimal(0))
    amounts = [*(line.fields["goods"].initial or Decimal(0) for line in lines), freight]
    form = InvoiceForm(
        data, currency=currency,
        initial={
            "day": desk.sheet.today(), "freight": freight.normalize(), "tax": tax_on_lines(order, amounts, currency),
        },
    )  # fmt: skip
    if data is not None and all([form.is_valid(), *[line.is_valid() for line in lines]]):
        typed = form.cleaned_data
        rows = [line.billed() for line in lines if line.cleaned_data["quantity"] or line.cleaned_data["goods"]]
        freight, tax = typed["freight"] or Decimal(0), typed["tax"] or Decimal(0)
        amount = sum((Decimal(row["goods"]) for row in rows), Decimal(0)) + freight + tax
        twice = any(e.reference == typed["reference"] and not hasattr(e, "reversal") and e.reverses_id is None
                    for e in entries if e.kind == Kind.INVOICE)  # fmt: skip
        if twice:
            form.add_error("reference", f"Invoice {typed['reference']} is in the book already.")
        elif amount <= 0:
            form.add_error(None, "The invoice comes to nothing: type what they ask for at least one line.")
        elif form.adds_up(amount):
            ledger.enter(
                desk.build, desk.user, Kind.INVOICE, order=order, who=order.supplier_name, lines=rows, freight=freight,
                tax=tax, amount=amount, day=typed["day"], due=typed["due"], reference=typed["reference"],
                note=typed["note"],
            )  # fmt: skip
            messages.success(request, "The invoice is in the book. See below whether it agrees with order and receipt.")
            return redirect(f"{back}#invoices")
    parts = [("The invoice", form), *[(f"{line.line.name}", line) for line in lines]]
    return _edit(request, desk, f"Invoice for {order.name}", parts, back, order.name)


@login_required
@require_http_methods(["GET", "POST"])
def credit(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """A supplier's credit note for an order; ``?claim=``: what a claim asked for is filled in."""
    desk, order = order_of(request, build_id, number)
    back = reverse("estimating:order", args=[build_id, number])
    entries = [entry for entry in ledger.entries_of(desk.build) if entry.order_id == order.pk]
    invoices = [entry for entry in entries if entry.kind == Kind.INVOICE and entry.counts]
    if not invoices:
        messages.error(request, "Nothing of this order is invoiced yet, so nothing can be credited: enter the invoice.")
        return redirect(f"{back}#invoices")
    asked = request.GET.get("claim", "")
    claim = get_object_or_404(Claim, delivery__order=order, pk=whole(asked)) if asked else None
    facts = ledger.credit_start(desk.sheet, order, entries, claim)
    data = request.POST or None
    form = CreditForm(
        data, currency=desk.sheet.currency,
        invoices=[(str(entry.number), f"invoice {entry.reference or entry.number}") for entry in invoices],
        initial={
            "day": desk.sheet.today(), "tax": facts.tax or None, "settles": str(invoices[-1].number),
            "note": f"Claim {claim.number}: {claim.text}"[:300] if claim else "",
        },
    )  # fmt: skip
    lines = [
        CreditLineForm(
            data, currency=desk.sheet.currency, prefix=f"line-{at}", line=line,
            billed=facts.billed.get(line.item, Decimal(0)),
            initial={"quantity": facts.quantity.get(line.item), "goods": facts.goods.get(line.item)},
        )
        for at, line in enumerate(standings(order))
    ]  # fmt: skip
    if data is not None and all([form.is_valid(), *[line.is_valid() for line in lines]]):
        typed = form.cleaned_data
        rows = [line.credited() for line in lines if line.cleaned_data["quantity"] or line.cleaned_data["goods"]]
        freight, tax = -(typed["freight"] or Decimal(0)), -(typed["tax"] or Decimal(0))
        amount = sum((Decimal(row["goods"]) for row in rows), Decimal(0)) + freight + tax
        billed = sum((entry.amount for entry in entries if entry.kind in ledger.BILLS), Decimal(0))
        if any(e.reference == typed["reference"] and e.counts for e in entries if e.kind == Kind.CREDIT):
            form.add_error("reference", f"Credit note {typed['reference']} is in the book already.")
        elif amount >= 0:
            form.add_error(None, "The credit note comes to nothing: type what they credit, without a minus.")
        elif billed + amount < 0:
            said = f"{format_money(-amount, desk.sheet.currency)} is more than the {{}} invoiced and not credited yet."
            form.add_error(None, said.format(format_money(billed, desk.sheet.currency)))
        elif form.adds_up(-amount):
            ledger.enter(
                desk.build, desk.user, Kind.CREDIT, order=order, who=order.supplier_name, lines=rows, freight=freight,
                tax=tax, amount=amount, day=typed["day"], due=typed["due"], reference=typed["reference"],
                note=typed["note"], claim=claim,
                settles=next((entry for entry in invoices if str(entry.number) == typed["settles"]), None),
            )  # fmt: skip
            messages.success(request, "The credit note is in the book. See below whether all now agrees.")
            return redirect(f"{back}#invoices")
    parts = [("The credit note", form), *[(f"{line.line.name}", line) for line in lines]]
    return _edit(request, desk, f"Credit note for {order.name}", parts, back, order.name,
                 "Amounts as on their paper, without a minus.")  # fmt: skip


@login_required
@require_http_methods(["GET", "POST"])
def pay_order(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    desk, order = order_of(request, build_id, number)
    entries = [entry for entry in ledger.entries_of(desk.build) if entry.order_id == order.pk]
    back = reverse("estimating:order", args=[build_id, number])
    return _pay(request, desk, entries, order, back, order.name, "a deposit or payment in advance")


@login_required
@require_http_methods(["GET", "POST"])
def pay(request: HttpRequest, build_id: int) -> HttpResponse:
    desk = sit_down(request, build_id)
    back = reverse("estimating:budget", args=[build_id])
    return _pay(request, desk, ledger.entries_of(desk.build), None, back, "Budget", "")


def _pay(
    request: HttpRequest, desk: Desk, entries: list[LedgerEntry], order: Order | None, back: str, name: str, other: str
) -> HttpResponse:
    choices = open_invoices(entries, desk.sheet.currency)
    form = PaymentForm(
        request.POST or None, currency=desk.sheet.currency, invoices=choices, otherwise=other,
        initial={"day": desk.sheet.today(), "settles": choices[0][0] if choices else ""},
    )  # fmt: skip
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        settles = next((entry for entry in entries if str(entry.number) == typed["settles"]), None)
        about = order or (settles.order if settles else None)
        back_to_us = settles is not None and ledger.balance(settles, entries) < 0
        ledger.enter(
            desk.build, desk.user, Kind.PAYMENT, order=about, settles=settles, day=typed["day"],
            who=settles.who if settles else order.supplier_name if order else "",
            head=settles.head if settles else None, amount=-typed["amount"] if back_to_us else typed["amount"],
            reference=typed["reference"], note="came back" if back_to_us else "",
        )  # fmt: skip
        messages.success(request, "The money that came back is in the book." if back_to_us
                         else "The payment is in the book.")  # fmt: skip
        return redirect(f"{back}#{'invoices' if order else 'book'}")
    return _edit(request, desk, "A payment", [("", form)], back, name)


@login_required
@require_http_methods(["GET", "POST"])
def bill(request: HttpRequest, build_id: int) -> HttpResponse:
    """A bill without an order, under a budget head."""
    desk = sit_down(request, build_id)
    back = reverse("estimating:budget", args=[build_id])
    start = {"day": desk.sheet.today(), "head": request.GET.get("head", "1")}
    form = BillForm(request.POST or None, currency=desk.sheet.currency, initial=start)
    if request.method == "POST" and form.is_valid():
        typed = {name: value for name, value in form.cleaned_data.items() if name != "printed"}
        tax = typed.pop("tax") or Decimal(0)
        if typed["goods"] + tax <= 0:
            form.add_error("goods", "The bill comes to nothing: type what they ask for, for example 1250.00.")
        elif form.adds_up(typed["goods"] + tax):
            ledger.enter(desk.build, desk.user, Kind.INVOICE, tax=tax, amount=typed["goods"] + tax, **typed)
            messages.success(request, "The bill is in the book.")
            return redirect(f"{back}?head={typed['head']}#book")
    return _edit(request, desk, "A bill", [("", form)], back, "Budget",
                 "For what no order stands behind: rent, permits, insurance, licensed trades.")  # fmt: skip


@login_required
@require_http_methods(["GET", "POST"])
def credit_bill(request: HttpRequest, build_id: int) -> HttpResponse:
    """A credit note for a bill that no order stands behind."""
    desk = sit_down(request, build_id)
    back = reverse("estimating:budget", args=[build_id])
    book, currency = ledger.entries_of(desk.build), desk.sheet.currency
    bills = {f"{e.number}": e for e in book if e.kind == Kind.INVOICE and e.order_id is None and e.counts}
    if not bills:
        messages.error(request, "There is no bill without an order that could be credited: enter the bill first.")
        return redirect(f"{back}#book")
    choices = [
        (number, f"{bill.who}, invoice {bill.reference or number}, {format_money(bill.amount, currency)}")
        for number, bill in bills.items()
    ]
    form = BillCreditForm(
        request.POST or None, currency=currency, bills=choices, initial={"day": desk.sheet.today()}
    )  # fmt: skip
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        bill = bills[typed["settles"]]
        earlier = [e for e in book if e.settles_id == bill.pk and e.kind == Kind.CREDIT and e.counts]
        goods, tax = typed["goods"] or Decimal(0), typed["tax"] or Decimal(0)
        left = {name: getattr(bill, name) + sum(getattr(e, name) for e in earlier) for name in ("goods", "tax")}
        for name, amount in (("goods", goods), ("tax", tax)):
            if amount > left[name]:
                form.add_error(name, f"Of this bill {format_money(left[name], currency)} is not credited yet.")
        if any(e.reference == typed["reference"] for e in earlier):
            form.add_error("reference", f"Credit note {typed['reference']} is in the book already.")
        if not goods + tax:
            form.add_error(None, "The credit note comes to nothing: type what they credit, without a minus.")
        if not form.errors and form.adds_up(goods + tax):
            ledger.enter(
                desk.build, desk.user, Kind.CREDIT, settles=bill, who=bill.who, head=bill.head, goods=-goods, tax=-tax,
                amount=-goods - tax, day=typed["day"], due=typed["due"], reference=typed["reference"],
                note=typed["note"],
            )  # fmt: skip
            messages.success(request, "The credit note is in the book.")
            return redirect(f"{back}?head={bill.head}#book")
    return _edit(request, desk, "Credit note for a bill", [("", form)], back, "Budget",
                 "For a bill without an order. Amounts as on their paper, without a minus.")  # fmt: skip


@login_required
@require_http_methods(["GET", "POST"])
def draw(request: HttpRequest, build_id: int) -> HttpResponse:
    """Move money from a head's contingency to what is set aside under it, with a note."""
    desk = sit_down(request, build_id)
    back = reverse("estimating:budget", args=[build_id])
    start = {"day": desk.sheet.today(), "head": request.GET.get("head", "")}
    form = DrawForm(request.POST or None, currency=desk.sheet.currency, initial=start)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        line = next(line for line in desk.sheet.part("budget", Budget).lines if line.head == typed["head"])
        drawn = LedgerEntry.objects.filter(build=desk.build, kind=Kind.DRAW, head=line.head).aggregate(s=Sum("amount"))
        left = line.contingency - (drawn["s"] or 0)
        if typed["amount"] > left:
            form.add_error("amount", f"{line.name} has {format_money(left, desk.sheet.currency)} of contingency left.")
        else:
            ledger.enter(desk.build, desk.user, Kind.DRAW, **typed)
            messages.success(request, "The draw is in the book, and the partner sees it.")
            return redirect(f"{back}?head={line.head}#head-{line.head}")
    return _edit(request, desk, "Draw from contingency", [("", form)], back, "Budget",
                 "The whole build costs the same; what was kept for surprises is now meant for this one.")  # fmt: skip


@login_required
@require_POST
def reverse_entry(request: HttpRequest, build_id: int, entry: int) -> HttpResponse:
    desk = sit_down(request, build_id)
    found = get_object_or_404(LedgerEntry.objects.select_related("order"), build=desk.build, number=entry)
    order = found.order
    back = reverse("estimating:order", args=[build_id, order.number]) + "#invoices" if order else (
        reverse("estimating:budget", args=[build_id]) + "#book")  # fmt: skip
    form = ReverseForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Say why it is reversed, for example: typed twice.")
        return redirect(back)
    try:
        ledger.reverse(found, desk.user, desk.sheet.today(), form.cleaned_data["note"])
    except OrderBookError as error:
        messages.error(request, f"{error}.")
    else:
        messages.success(request, f"{found} is reversed; both entries stay in the book.")
    return redirect(back)
