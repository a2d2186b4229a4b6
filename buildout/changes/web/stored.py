"""From a build file to a stored build: revisions worked out one after the other, orders and places as facts.

This is for files that carry no history of their own: ``earlier`` tells how the plan got here, and
``commitments`` what was ordered and who signed up. ``transfer`` reads and writes the complete tables.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable
from decimal import Decimal
from typing import Any, NamedTuple

from django.utils import timezone

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Proposal, Revision
from buildout.changes.engine.build_file import BuildFile
from buildout.changes.web.services import compute
from buildout.people.web.models import User
from buildout.units.dates import date_text
from buildout.units.money import format_money, tax_on
from estimating.engine.offers import tax_rate
from estimating.engine.types import PlacedOrder
from estimating.web.cuts import enter_cuts
from estimating.web.models import ChangeOrder, Delivery, Order
from estimating.web.services import terms_asked
from scheduling.web.models import SignUp, new_token


class Helper(NamedTuple):
    """Who a sign-up belongs to; build files themselves hold no names and no contacts."""

    name: str
    contact: str = ""
    note: str = ""
    guardian: str = ""


class Step(NamedTuple):
    """One revision to come: the plan as written and what it is called."""

    document: dict[str, Any]
    summary: str


def plain_history(data: bytes, current: str = "As imported") -> list[Step]:
    """The plans a build file without tables leads through, first revision first, the last one called ``current``.

    ``data`` must have passed ``read_build_file``: its patches are known to apply.
    """
    import jsonpatch

    file = json.loads(data.decode("utf-8-sig"))
    plan = file["plan"]
    summary = current
    steps: list[Step] = []
    for earlier in file.get("earlier", []):
        before = jsonpatch.apply_patch(plan, earlier["patch"])
        steps.insert(0, Step(plan, summary))
        plan, summary = before, earlier["summary"]
    steps.insert(0, Step(plan, summary))
    return steps


def load_plain(
    build: Build,
    file: BuildFile,
    history: list[Step],
    *,
    by: User | None,
    helper_of: Callable[[str], Helper] = lambda sign_up: Helper(sign_up),
    between: Callable[[], None] = lambda: None,
    on_revision: Callable[[int, str], None] = lambda number, summary: None,
    on_step: Callable[[int, str], None] = lambda number, name: None,
) -> Revision:
    """Give an empty build its revisions, orders and sign-ups. Call it inside a transaction.

    Orders and sign-ups are facts of the plan as it stands now, so they come in before its last revision
    is worked out; ``between`` is called right after they have.
    """
    revision: Revision | None = None
    for number, step in enumerate(history, 1):
        last = number == len(history)
        on_revision(number, step.summary)
        if last:
            enter_commitments(build, file, by=by, helper_of=helper_of)
            between()
        revision = _apply(build, step, revision, by, on_step)
    assert revision is not None  # noqa: S101 - a file has at least its own plan
    return revision


def _apply(
    build: Build, step: Step, base: Revision | None, by: User | None, on_step: Callable[[int, str], None]
) -> Revision:
    from buildout.changes.web.services import apply

    proposal = Proposal.objects.create(
        build=build, base=base, document=step.document, summary=step.summary[:300], by=by
    )
    compute(proposal, on_step=on_step)
    if base is not None:
        proposal.refresh_from_db()
        apply(proposal, by, why="")
    return Revision.objects.get(build=build, number=base.number + 1 if base else 1)


def enter_commitments(build: Build, file: BuildFile, *, by: User | None, helper_of: Callable[[str], Helper]) -> None:
    """Write a file's orders, cuts and sign-ups into their books."""
    plan = file.plan
    suppliers = {supplier.id: supplier.name for supplier in plan.suppliers}
    products = {product.id: product.name for product in plan.products}
    quotes = {quote.id: quote for quote in plan.quotes}
    sellers = {supplier.id: supplier for supplier in plan.suppliers}
    taken: set[int] = set()
    entered: dict[str, Order] = {}
    for order in file.commitments.orders:
        number = _order_number(order.number, taken)
        taken.add(number)
        percent = order.tax_percent
        if percent is None:
            percent = tax_rate(quotes[order.quote], plan.money.tax_percent)  # the file was checked: it is there
        amounts = [*(line.goods for line in order.lines), order.freight]
        tax = sum((tax_on(amount, percent, plan.currency) for amount in amounts), Decimal(0))
        supplier = suppliers.get(order.supplier, order.supplier)
        asked = terms_asked(quotes.get(order.quote), sellers.get(order.supplier))
        if order.deposit_percent is not None:
            asked = asked._replace(deposit_percent=order.deposit_percent)
        if order.balance_days is not None:
            asked = asked._replace(balance_days=order.balance_days)
        made = entered[order.number] = Order.objects.create(
            build=build, number=number, supplier=order.supplier, supplier_name=supplier, quote=order.quote,
            state=order.state, placed=order.placed, promised=order.promised, received=order.received,
            freight=order.freight, tax=tax if order.tax is None else order.tax, tax_percent=percent, **asked._asdict(),
            lines=[
                {
                    "item": line.item, "name": products.get(line.item, line.item), "quantity": str(line.quantity),
                    "unit": line.unit, "unit_price": str(line.unit_price), "goods": str(line.goods),
                }
                for line in order.lines
            ],
        )  # fmt: skip
        if order.received is None:
            _enter_deliveries(made, order, products)
        builds.note(build, "order", f"PO-{number} to {supplier} was placed on {date_text(order.placed)}", by=by)
    _enter_charges(build, file, entered, taken, by)
    enter_cuts(build, file.commitments.cuts, plan.products, by)
    places: Counter[tuple[str, str]] = Counter()
    for sign_up in file.commitments.sign_ups:
        helper = helper_of(sign_up.id)
        places[sign_up.day, ""] += 1
        day_place = places[sign_up.day, ""]
        task_place = None
        if sign_up.task:
            places[sign_up.day, sign_up.task] += 1
            task_place = places[sign_up.day, sign_up.task]
        day = next((day for day in plan.crew.days if day.id == sign_up.day), None)
        row = SignUp.objects.create(
            build=build, ref=sign_up.id, day=sign_up.day, task=sign_up.task, day_place=day_place, task_place=task_place,
            name=helper.name[:80], contact=helper.contact, note=helper.note, skills=list(sign_up.skills),
            age=sign_up.age, lifting=sign_up.lifting, power_tools=sign_up.power_tools,
            guardian=helper.guardian, request_key=new_token(),
            held_until=day.date if day is not None and sign_up.age != "adult" else None,
        )  # fmt: skip
        builds.note(
            build,
            "sign-up",
            f"{row.first_name} signed up for {day.name if day else sign_up.day}",
            by_name=row.first_name,
        )


def _enter_charges(build: Build, file: BuildFile, entered: dict[str, Order], taken: set[int], by: User | None) -> None:
    """What suppliers ask for goods called off: an agreed change of that order, or an order that is cancelled.

    Of the goods themselves a file says nothing any more, so their lines stand with none ordered.
    """
    plan, charges = file.plan, file.commitments.charges
    suppliers = {supplier.id: supplier.name for supplier in plan.suppliers}
    products = {product.id: product for product in plan.products}
    for written in dict.fromkeys(charge.order for charge in charges):
        mine = [charge for charge in charges if charge.order == written]
        order = entered.get(written)
        if order is None:
            number = _order_number(written, taken)
            taken.add(number)
            seller, percent = mine[0].supplier, mine[0].tax_percent
            order = Order.objects.create(
                build=build, number=number, supplier=seller,
                supplier_name=suppliers.get(seller, "a supplier the build file does not name"),
                quote="", state=Order.State.CANCELLED, placed=plan.as_of, deposit_percent=Decimal(0), lines=[],
                tax_percent=plan.money.tax_percent if percent is None else percent,
                note="Called off before this build came from a file; the day is that of the plan",
            )  # fmt: skip
        lines = [
            {"item": charge.item, "name": products[charge.item].name, "unit": products[charge.item].unit,
             "before": "0", "after": "0", "money": f"{charge.amount:f}", "text": ""}
            for charge in mine
        ]  # fmt: skip
        order.lines = order.lines + [
            {"item": line["item"], "name": line["name"], "quantity": "0", "unit": line["unit"], "unit_price": "0",
             "goods": "0"}
            for line in lines
        ]  # fmt: skip
        order.save(update_fields=["lines"])
        money = sum((charge.amount for charge in mine), Decimal(0))
        ChangeOrder.objects.create(
            order=order, number=1, reason="Goods called off; this is what is charged for it", lines=lines, money=money,
            state=ChangeOrder.State.AGREED, decided=timezone.now(),
        )  # fmt: skip
        said = f"{order.name} to {order.supplier_name}: {format_money(money, plan.currency)} is charged for goods"
        builds.note(build, "order", f"{said} called off", by=by)


def _enter_deliveries(made: Order, order: PlacedOrder, products: dict[str, str]) -> None:
    """What a file says of goods that came in part: one delivery for each day."""
    here = [line for line in order.lines if line.received > 0 and line.came is not None]
    days = sorted({line.came for line in here if line.came} | ({order.last_delivery} if order.last_delivery else set()))
    for number, day in enumerate(days, 1):
        lines = [
            {"item": line.item, "name": products.get(line.item, line.item), "unit": line.unit,
             "accepted": f"{line.received:f}", "damaged": "0"}
            for line in here if line.came == day
        ]  # fmt: skip
        Delivery.objects.create(order=made, number=number, came=day, lines=lines)


def _order_number(written: str, taken: set[int]) -> int:
    """PO-007 is 7; what is no number, or taken already, gets the next free one."""
    digits = re.search(r"(\d{1,9})$", written)
    wanted = int(digits[1]) if digits else 0
    return wanted if wanted > 0 and wanted not in taken else max(taken, default=0) + 1
