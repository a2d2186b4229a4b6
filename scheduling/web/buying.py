"""The buying list: what was asked for on the boards of build days, until somebody has it.

A thing asked for is a mark of its day (``DayMark``). The owner can have the plan buy it, as a stated quantity that
remembers the mark, or note that it was bought, with its bill; the board then no longer asks for it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import fitting_id, propose_from
from buildout.builds.web.models import Build, Proposal, Role
from buildout.units.dates import day_text
from estimating.engine.types import Need, Product
from estimating.web import edits, ledger
from estimating.web.forms import NeedForm, product_choices
from estimating.web.models import LedgerEntry
from scheduling.engine.types import TaskNet
from scheduling.web import marks
from scheduling.web.forms import BoughtForm
from scheduling.web.models import DayMark
from scheduling.web.offers import build_days
from scheduling.web.views import sheet_context, user_of

HAVE_IT = (DayMark.Kind.GOT, DayMark.Kind.BOUGHT)
NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass
class Asked:
    """One line of the buying list."""

    mark: DayMark
    day: str
    """The build day in words."""
    task: str
    """Code and name; empty: for none in particular."""
    need: Need | None
    """The stated quantity of the plan that answers it."""
    product: str
    answer: DayMark | None = None
    """How it was got."""

    @property
    def name(self) -> str:
        return self.mark.text


def open_marks(build: Build) -> QuerySet[DayMark]:
    """What was asked for and nobody has got yet, first asked first."""
    got = DayMark.objects.filter(about=OuterRef("pk"), kind__in=HAVE_IT)
    return DayMark.objects.filter(build=build, kind=DayMark.Kind.SHORT, outcome="taken").exclude(Exists(got))


def open_lines(build: Build, sheet: builds.Sheet) -> list[Asked]:
    return _lines(sheet, list(open_marks(build)))


def _lines(sheet: builds.Sheet, found: list[DayMark]) -> list[Asked]:
    if not found:
        return []
    needs = {need.asked: need for need in sheet.section("needs", list[Need]) if need.asked}
    names = {task.code: task.name for task in sheet.part("tasks", TaskNet).tasks}
    days = {day.id: f"{day_text(day.date, year=False)}, {day.name}" for day in build_days(sheet)}
    products = {product.id: product.name for product in sheet.section("products", list[Product])} if needs else {}
    return [
        Asked(
            mark=mark,
            day=days.get(mark.day, "a day that is no longer held"),
            task=f"{mark.task} {names.get(mark.task, '')}".strip(),
            need=(need := needs.get(mark.key)),
            product=products.get(need.product, need.product) if need else "",
        )
        for mark in found
    ]


@login_required
@require_GET
def buying(request: HttpRequest, build_id: int) -> HttpResponse:
    """What is asked for, by whom, when and for which task; below, what was got."""
    build, member = builds.build_for(user_of(request), build_id, Role.OWNER, Role.LEAD)
    context = sheet_context(build, member)
    sheet: builds.Sheet = context["sheet"]
    answers = {
        mark.about_id: mark
        for mark in DayMark.objects.filter(build=build, kind__in=HAVE_IT, outcome="taken").select_related("about")
    }
    had = _lines(sheet, [mark.about for mark in answers.values() if mark.about is not None])
    for line in had:
        line.answer = answers[line.mark.pk]
    context |= {"lines": open_lines(build, sheet), "had": had[::-1]}
    with timezone.override(sheet.zone):
        return render(request, "scheduling/buying.html", context)


def _asked(build: Build, mark_id: int) -> DayMark:
    found = DayMark.objects.filter(build=build, pk=mark_id, kind=DayMark.Kind.SHORT).first()
    if found is None:
        raise Http404("Nothing of that kind was asked for")
    return found


@login_required
@require_POST
def have_it(request: HttpRequest, build_id: int, mark_id: int) -> HttpResponse:
    """It was found, borrowed, or brought along: nothing to pay."""
    user = user_of(request)
    build, _ = builds.build_for(user, build_id, Role.OWNER, Role.LEAD)
    mark = _asked(build, mark_id)
    made = marks.answer(mark, DayMark.Kind.GOT, by_name=user.name)
    messages.success(request, f"{mark.text}: {'off the list' if made else 'was off the list already'}.")
    _still_planned(request, build, mark)
    return redirect("scheduling:buying", build_id)


@login_required
@require_http_methods(["GET", "POST"])
def plan_it(request: HttpRequest, build_id: int, mark_id: int) -> HttpResponse:
    """Have the plan buy it: a stated quantity, proposed like every other."""
    user = user_of(request)
    build, member = builds.build_for(user, build_id, Role.OWNER)
    context = sheet_context(build, member)
    sheet: builds.Sheet = context["sheet"]
    mark = _asked(build, mark_id)
    document = builds.editable(build)
    entries = document.get("needs", [])
    if any(entry.get("asked") == mark.key for entry in entries):
        messages.success(request, f"{mark.text}: the plan buys it already.")
        return redirect("scheduling:buying", build_id)
    if not open_marks(build).filter(pk=mark.pk).exists():
        messages.success(request, f"{mark.text}: was off the list already.")
        return redirect("scheduling:buying", build_id)
    other = _proposed(build, mark)
    if other is not None:
        return _someone_is_at_it(request, mark, other)
    known = sheet.section("products", list[Product])
    products = product_choices(known)
    days = {day.id: day for day in build_days(sheet)}
    on = f", {day_text(days[mark.day].date)}" if mark.day in days else ""
    why = f"Asked for on the board{on}{f', for {mark.task}' if mark.task else ''}: {mark.text}"
    guess = likely_product(mark.text, known)
    initial = {
        "product": guess.id if guess else "", "unit": guess.unit if guess else "each",
        "quantity": likely_count(mark.text), "why": why[:200],
    }  # fmt: skip
    form = NeedForm(request.POST or None, initial=initial, choices={"product": [("", "choose"), *products]})
    if request.method == "POST" and form.is_valid():
        need = form.edited({}) | {"asked": mark.key}
        need["id"] = fitting_id(f"need {need['product']}", [entry["id"] for entry in entries], "need")
        at = edits.put(document, "needs", "", need)
        what = dict(products).get(need["product"], need["product"])
        summary = f"Asked for on the board: {need['quantity']} {need['unit']} of {what}"
        with transaction.atomic():
            # Of two people who take the same thing into the plan at one time, the second is shown the first one's.
            Build.objects.select_for_update().get(pk=build.pk)
            other = _proposed(build, mark)
            proposal = None if other else propose_from(form, build, user, document, summary, under=f"/needs/{at}")
        if other is not None:
            return _someone_is_at_it(request, mark, other)
        if proposal is not None:
            return redirect(proposal)
    intro = f"Asked for by {mark.by_name}: {mark.text}. Not among these? Add the product on the systems sheet first."
    return _edit(request, context, "Have the plan buy it", form, intro)


def _proposed(build: Build, mark: DayMark) -> Proposal | None:
    """An edit under way that has the plan buy what a mark asks for."""
    return next(
        (
            proposal
            for proposal in build.proposals.exclude(state=Proposal.State.FAILED).select_related("by").order_by("pk")
            if any(need.get("asked") == mark.key for need in proposal.document.get("needs", []))
        ),
        None,
    )


def _someone_is_at_it(request: HttpRequest, mark: DayMark, other: Proposal) -> HttpResponse:
    who = other.by.name if other.by is not None else "Somebody"
    messages.error(
        request,
        f"{mark.text}: {who} is having the plan buy it already. This is what it changes; nothing was added twice.",
    )
    return redirect(other)


def likely_product(text: str, products: list[Product]) -> Product | None:
    """The product whose name shares most words with what was asked for; None where no word fits."""
    wanted = _words(text)
    best = max(products, key=lambda product: len(wanted & _words(product.name)), default=None)
    return best if best is not None and wanted & _words(best.name) else None


def _words(text: str) -> set[str]:
    return {word.removesuffix("s") for word in re.findall(r"[^\W\d_]{3,}", text.lower())}


def likely_count(text: str) -> Decimal | None:
    """How many were asked for, where a number is the first word.

    >>> likely_count("two rolls of seam tape"), likely_count("12 screws"), likely_count("more tape")
    (Decimal('2'), Decimal('12'), None)
    """
    first = (text.split() or [""])[0].lower()
    if first in NUMBERS:
        return Decimal(NUMBERS.index(first) + 1)
    return Decimal(first) if first.isascii() and first.isdecimal() and 0 < int(first) < 10_000 else None


@login_required
@require_http_methods(["GET", "POST"])
def bought(request: HttpRequest, build_id: int, mark_id: int) -> HttpResponse:
    """Somebody bought it in a shop; what it cost goes into the ledger as a bill, paid or to be paid back."""
    user = user_of(request)
    build, member = builds.build_for(user, build_id, Role.OWNER)
    context = sheet_context(build, member)
    mark = _asked(build, mark_id)
    today: date = context["sheet"].today()
    guess = likely_product(mark.text, context["sheet"].section("products", list[Product]))
    start = {"day": today, "head": guess.head if guess else 23, "paid": True}
    form = BoughtForm(request.POST or None, initial=start, currency=context["sheet"].currency)
    if request.method == "POST" and form.is_valid():
        with transaction.atomic():
            made = marks.answer(mark, DayMark.Kind.BOUGHT, by_name=user.name)
            if made and form.costs:
                made.text = str(_bill(build, mark, form, request))
                made.save(update_fields=["text"])
        word = "is bought and off the list" if made else "was off the list already; no bill was written"
        messages.success(request, f"{mark.text}: {word}.")
        _still_planned(request, build, mark)
        return redirect("scheduling:buying", build_id)
    intro = f"Asked for by {mark.by_name}: {mark.text}. What it cost goes into the ledger; leave it empty for nothing."
    return _edit(request, context, "Bought", form, intro, button="Bought")


def _still_planned(request: HttpRequest, build: Build, mark: DayMark) -> None:
    needs = builds.sheet_of(build).document.get("needs", [])
    if any(need.get("asked") == mark.key for need in needs):
        messages.error(
            request, f"{mark.text}: the plan buys it too. Take it out on the take-off sheet, or it comes twice."
        )


def _bill(build: Build, mark: DayMark, form: BoughtForm, request: HttpRequest) -> LedgerEntry:
    data, user = form.cleaned_data, user_of(request)
    tax = data["tax"] or Decimal(0)
    common = {"day": data["day"], "who": data["who"], "head": data["head"], "amount": data["goods"] + tax}
    bill = ledger.enter(
        build, user, LedgerEntry.Kind.INVOICE, goods=data["goods"], tax=tax, reference=data["reference"],
        note=f"Asked for on the board: {mark.text}"[:300], **common,
    )  # fmt: skip
    if data["paid"]:
        ledger.enter(build, user, LedgerEntry.Kind.PAYMENT, settles=bill, **common)
    return bill


def _edit(
    request: HttpRequest, context: dict[str, object], title: str, form: object, intro: str, button: str = ""
) -> HttpResponse:
    build: Build = context["build"]  # type: ignore[assignment]
    context |= {"title": title, "form": form, "intro": intro, "button": button or "See what this changes"}
    context["back"] = reverse("scheduling:buying", args=[build.pk])
    return render(request, "scheduling/buying_edit.html", context, status=422 if request.method == "POST" else 200)
