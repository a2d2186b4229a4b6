"""The partner's page: what it costs, how sure that is, what waits for an answer; and the week as a letter."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from buildout.builds.web.models import Role
from buildout.builds.web.visits import since_last_visit
from estimating.engine.types import Budget
from estimating.web import approvals, digest
from estimating.web.forms import AnswerForm, CommentForm
from estimating.web.in_short import comments_by_head, facts
from estimating.web.models import Approval
from estimating.web.views.desk import Desk, sit_down


@login_required
@require_GET
def in_short(request: HttpRequest, build_id: int) -> HttpResponse:
    return page(request, sit_down(request, build_id, Role.OWNER, Role.PARTNER))


def page(
    request: HttpRequest,
    desk: Desk,
    head: int | None = None,
    comment: CommentForm | None = None,
    answers: dict[int, AnswerForm] | None = None,
) -> HttpResponse:
    """With ``comment`` or ``answers``: forms that came back with something wrong in them."""
    found = facts(desk.build, desk.sheet, since_last_visit(request, desk.member))
    comments = comments_by_head(desk.build)
    made_of = {line.head: line for line in desk.sheet.part("budget", Budget).lines}
    opened = str(head or request.GET.get("head", ""))
    boxes = CommentForm.boxes(made_of, head, comment)
    rows = [
        {
            "money": money, "line": made_of[money.head], "comments": comments[money.head],
            "box": boxes[money.head],
            "open": str(money.head) == opened,
            "moved": found["moved"].get(money.head),
        }
        for money in found["heads"]
        if money.forecast or comments[money.head] or money.paid or money.head in found["moved"]
    ]  # fmt: skip
    waiting = [
        {"approval": a, "form": (answers or {}).get(a.number) or AnswerForm(auto_id=f"id_approval_{a.number}_%s")}
        for a in found["open_approvals"]
    ]
    status = 422 if comment is not None or answers else 200
    context: dict[str, Any] = desk.page("8", rows=rows, waiting=waiting, limit=approvals.limit_of(desk.sheet), **found)
    return render(request, "estimating/in_short.html", context, status=status)


@login_required
@require_POST
def decide(request: HttpRequest, build_id: int, number: int, answer: str) -> HttpResponse:
    """The partner approves or refuses."""
    desk = sit_down(request, build_id, Role.PARTNER)
    asked = get_object_or_404(Approval, build=desk.build, number=number)
    form = AnswerForm(request.POST, refusing=answer == "refuse", auto_id=f"id_approval_{number}_%s")
    if not form.is_valid():
        return page(request, desk, answers={number: form})
    try:
        approvals.decide(asked, desk.user, approved=answer == "approve", answer=form.cleaned_data["answer"])
    except approvals.ApprovalError as error:
        messages.error(request, f"{error}.")
    else:
        word = "approved" if answer == "approve" else "refused"
        messages.success(request, f"You {word} the order to {asked.supplier_name}. The owner sees it on the orders.")
    return redirect(reverse("estimating:in-short", args=[build_id]) + "#approvals")


@login_required
@require_GET
def week(request: HttpRequest, build_id: int) -> HttpResponse:
    """The last seven days as the digest says them."""
    desk = sit_down(request, build_id, Role.OWNER, Role.PARTNER)
    text = digest.text_of(desk.build, desk.sheet, timezone.now() - timedelta(days=7))
    context = desk.page("8", text=text, back=reverse("estimating:in-short", args=[build_id]))
    return render(request, "estimating/week.html", context)
