"""The budget by head: what is quoted, set aside, ordered and left, and what owner and partner say to it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Sum
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import propose_from
from buildout.builds.web.models import Comment, Role
from buildout.units.money import ROUNDING_NAME
from estimating.engine.heads import FLOAT, HEADS
from estimating.engine.ledger import TOLERANCE_NAME, HeadMoney, Part
from estimating.engine.types import Budget
from estimating.web import edits, in_short, ledger
from estimating.web.cash import picture, planned, weeks_shown
from estimating.web.forms import CommentForm, HeadForm, MoneyForm
from estimating.web.models import LedgerEntry, Order
from estimating.web.views import in_short as in_short_page
from estimating.web.views.desk import Desk, sit_down
from estimating.web.views.take_off import csv_file


@login_required
@require_GET
def budget(request: HttpRequest, build_id: int) -> HttpResponse:
    desk = sit_down(request, build_id, Role.OWNER, Role.PARTNER)
    return _budget_page(request, desk)


def _budget_page(
    request: HttpRequest, desk: Desk, asked: int | None = None, form: CommentForm | None = None
) -> HttpResponse:
    found = desk.sheet.part("budget", Budget)
    comments = in_short.comments_by_head(desk.build)
    book = ledger.entries_of(desk.build)
    orders = list(Order.objects.filter(build=desk.build).prefetch_related("changes", "deliveries"))
    money = ledger.money_by_head(desk.sheet, book, orders)
    since = {line.head: line for line in money}
    build_only = [line for line in money if line.head != FLOAT]
    plans = {plan["head"]: plan for plan in desk.sheet.document.get("money", {}).get("heads", [])}
    boxes = CommentForm.boxes((line.head for line in found.lines), asked, form)
    rows = [
        {
            "line": line,
            "since": since[line.head],
            "parts": [(title, parts) for title, parts in _parts(since[line.head]) if parts],
            "draws": [entry for entry in book if entry.kind == ledger.Kind.DRAW and entry.head == line.head],
            "comments": comments[line.head],
            "note": plans.get(line.head, {}).get("note", ""),
            "box": boxes[line.head],
            "figures": [
                ("Quoted or ordered", line.quoted),
                ("Estimated, set aside", since[line.head].estimated),
                ("Ordered", since[line.head].ordered),
                ("Invoiced", since[line.head].invoiced),
                ("Paid", since[line.head].paid),
                ("Contingency left", since[line.head].contingency),
            ],
            "open": str(line.head) == str(asked or request.GET.get("head", "")),
        }
        for line in found.lines
    ]
    context = desk.page(
        "8", budget=found, rows=rows, book=book, rounding=ROUNDING_NAME, tolerance=TOLERANCE_NAME,
        differences=ledger.differences(desk.sheet, orders, book),
        sums={
            name: sum((getattr(line, name) for line in build_only), Decimal(0))
            for name in ("quoted", "estimated", "ordered", "invoiced", "paid", "contingency", "drawn", "forecast")
        },
    )  # fmt: skip
    return render(request, "estimating/budget.html", context, status=422 if form is not None else 200)


def _parts(money: HeadMoney) -> list[tuple[str, list[Part]]]:
    """What the figures of a head are made of that come from the order book and the ledger."""
    return [
        ("Ordered", money.ordered_of),
        ("Invoiced", money.invoiced_of),
        ("Paid", money.paid_of),
        ("Forecast to finish", money.forecast_of),
    ]


@login_required
@require_GET
def cash(request: HttpRequest, build_id: int) -> HttpResponse:
    """When money leaves and arrives, for owner and partner."""
    desk = sit_down(request, build_id, Role.OWNER, Role.PARTNER)
    flow = planned(desk.build, desk.sheet)
    drawn = LedgerEntry.objects.filter(build=desk.build, kind=ledger.Kind.DRAW).aggregate(s=Sum("amount"))["s"] or 0
    context = desk.page(
        "8", flow=flow, weeks=weeks_shown(flow), picture=picture(flow, desk.sheet.currency),
        contingency=desk.sheet.part("budget", Budget).contingency - drawn,
        back=reverse("estimating:budget", args=[build_id]),
    )  # fmt: skip
    return render(request, "estimating/cash.html", context)


@login_required
@require_POST
def comment(request: HttpRequest, build_id: int) -> HttpResponse:
    """Owner or partner says something to one head of the budget."""
    desk = sit_down(request, build_id, Role.OWNER, Role.PARTNER)
    head = request.POST.get("head", "")
    if not head.isascii() or not head.isdigit() or int(head) not in HEADS:
        raise Http404("There is no such budget head")
    form = CommentForm(request.POST, auto_id=f"id_{int(head)}_%s")
    short = request.POST.get("back") == "in-short"
    if not form.is_valid():
        page = in_short_page.page if short else _budget_page
        return page(request, desk, int(head), form)
    name = HEADS[int(head)]
    Comment.objects.create(
        build=desk.build, subject=f"budget:{int(head)}", subject_text=name, text=form.cleaned_data["text"], by=desk.user
    )
    builds.note(desk.build, "comment", f"Comment on budget, {name}: {form.cleaned_data['text']}", by=desk.user)
    messages.success(request, f"Your comment on “{name}” is there for everybody who sees the budget.")
    back = reverse("estimating:in-short" if short else "estimating:budget", args=[build_id])
    return redirect(f"{back}?head={int(head)}#head-{int(head)}")


@login_required
@require_http_methods(["GET", "POST"])
def allowances(request: HttpRequest, build_id: int) -> HttpResponse:
    """Money available, tax, and what is set aside for each head."""
    desk = sit_down(request, build_id)
    document = builds.editable(desk.build)
    money = document.get("money", {})
    before: dict[int, dict[str, Any]] = {plan["head"]: plan for plan in money.get("heads", [])}
    data = request.POST or None
    form = MoneyForm(data, initial=money)
    heads = [
        (number, name, HeadForm(data, prefix=f"head-{number}", initial=before.get(number, {})))
        for number, name in HEADS.items()
    ]
    valid = [form.is_valid(), *[head.is_valid() for _, _, head in heads]]
    if data is not None and all(valid):
        after = [
            {**plan, "head": number}
            for number, _, head in heads
            for plan in [head.edited(before.get(number, {}))]
            if number in before or any(name in plan for name in ("allowance", "contingency_percent", "note"))
        ]
        edits.set_money(document, form.edited({k: v for k, v in money.items() if k != "heads"}), after)
        places = {number: at for at, number in enumerate(plan["head"] for plan in after)}
        within = {f"/money/heads/{places[number]}": head for number, _, head in heads if number in places}
        proposal = propose_from(form, desk.build, desk.user, document, "Money set aside", under="/money", within=within)
        if proposal is not None:
            return redirect(proposal)
    context = desk.page("8", form=form, heads=heads, back=reverse("estimating:budget", args=[build_id]))
    return render(request, "estimating/allowances.html", context, status=422 if data is not None else 200)


@login_required
@require_GET
def budget_csv(request: HttpRequest, build_id: int) -> HttpResponse:
    desk = sit_down(request, build_id, Role.OWNER, Role.PARTNER)
    header = ["head", "name", "estimated", "quoted or ordered", "ordered", "invoiced", "paid", "contingency left",
              "forecast to finish", "made of"]  # fmt: skip
    book = ledger.entries_of(desk.build)
    orders = list(Order.objects.filter(build=desk.build).prefetch_related("changes", "deliveries"))
    since = {money.head: money for money in ledger.money_by_head(desk.sheet, book, orders)}
    rows = [
        [
            line.head, line.name, now.estimated, now.quoted, now.ordered, now.invoiced, now.paid, now.contingency,
            now.forecast, "; ".join(f"{what} {amount:f}" for what, amount in line.made_of),
        ]
        for line in desk.sheet.part("budget", Budget).lines
        for now in [since[line.head]]
    ]  # fmt: skip
    return csv_file("budget.csv", header, rows)
