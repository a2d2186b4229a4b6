"""Orders above the agreed limit wait for the partner: asked for, answered, used once. All of it goes to the journal."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Member, Role
from buildout.people.web.models import User
from buildout.units.money import format_money
from estimating.engine.types import AwardLine, MoneyPlan, TakeOff
from estimating.web.models import Approval

State = Approval.State


class ApprovalError(ValueError):
    """Something that cannot be done with an approval as it stands; the message says why."""


def limit_of(sheet: builds.Sheet) -> Decimal | None:
    """The sum above which an order waits; None where no limit is set."""
    money = sheet.section("money", MoneyPlan) if sheet.document.get("money") else MoneyPlan()
    return money.approval_over


def has_partner(build: Build) -> bool:
    return Member.objects.filter(build=build, role=Role.PARTNER).exists()


def covers(approval: Approval, lines: Iterable[AwardLine], total: Decimal) -> bool:
    """Whether an answer stands for this order: approved, not used, for these items and no more money."""
    return (
        approval.state == State.APPROVED
        and approval.order_id is None
        and total <= approval.total
        and {line.item for line in lines} <= {line["item"] for line in approval.lines}
    )


def of_quote(build: Build, quote: str) -> Approval | None:
    """The last thing asked about a quote and not used yet."""
    asked = Approval.objects.filter(build=build, quote=quote, order=None).exclude(state=State.WITHDRAWN)
    return asked.order_by("-number").first()


@transaction.atomic
def ask(build: Build, user: User, ready: Any, why: str) -> Approval:
    """Put what is ready to be ordered from one quote before the partner; an earlier question about it is taken back."""
    build = Build.objects.select_for_update().get(pk=build.pk)
    if not has_partner(build):
        raise ApprovalError("Nobody has the part of partner in this build: invite one first")
    sheet = builds.sheet_of(build)
    names = {line.item: line.name for line in sheet.part("take_off", TakeOff).lines}
    Approval.objects.filter(build=build, quote=ready.quote.id, order=None).exclude(state=State.REFUSED).update(
        state=State.WITHDRAWN
    )
    last = Approval.objects.filter(build=build).order_by("-number").first()
    made = Approval.objects.create(
        build=build, number=last.number + 1 if last else 1, quote=ready.quote.id,
        supplier_name=ready.supplier.name if ready.supplier else ready.quote.supplier,
        lines=[
            {
                "item": line.item, "name": names.get(line.item, line.item), "quantity": f"{line.quantity:f}",
                "unit": line.unit, "goods": f"{line.goods + line.extras:f}",
            }
            for line in ready.lines
        ],
        total=ready.total, why=why, asked_by=user,
    )  # fmt: skip
    _tell(made, user, f"Approval {made.number} asked for: {_what(made, sheet.currency)}", why)
    return made


@transaction.atomic
def decide(approval: Approval, user: User, *, approved: bool, answer: str) -> Approval:
    """The partner's answer. Raises ``ApprovalError`` for a question that is no longer open."""
    fresh = Approval.objects.select_for_update().select_related("build").get(pk=approval.pk)
    if fresh.state != State.OPEN:
        raise ApprovalError(f"Approval {fresh.number} is no longer open: {fresh.get_state_display().lower()}")
    fresh.state = State.APPROVED if approved else State.REFUSED
    fresh.decided_by, fresh.decided, fresh.answer = user, timezone.now(), answer
    fresh.save(update_fields=["state", "decided_by", "decided", "answer"])
    word = "approved" if approved else "refused"
    currency = builds.sheet_of(fresh.build).currency
    _tell(fresh, user, f"Approval {fresh.number} {word}: {_what(fresh, currency)}", answer)
    return fresh


def _what(approval: Approval, currency: str) -> str:
    return f"order to {approval.supplier_name} for {format_money(approval.total, currency)}"


def _tell(approval: Approval, user: User, text: str, why: str) -> None:
    builds.note(approval.build, "money", text, by=user, why=why, after={"approval": approval.number})
