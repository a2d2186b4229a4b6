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

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Proposal, Revision
from buildout.changes.engine.build_file import BuildFile
from buildout.changes.web.services import compute
from buildout.people.web.models import User
from buildout.units.money import tax_on
from estimating.engine.offers import tax_rate
from estimating.engine.types import PlacedOrder
from estimating.web.cuts import enter_cuts
from estimating.web.models import Delivery, Order
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
    taken: set[int] = set()
    for order in file.commitments.orders:
        number = _order_number(order.number, taken)
        taken.add(number)
        percent = order.tax_percent
        if percent is None:
            percent = tax_rate(quotes[order.quote], plan.money.tax_percent)  # the file was checked: it is there
        amounts = [*(line.goods for line in order.lines), order.freight]
        tax = sum((tax_on(amount, percent, plan.currency) for amount in amounts), Decimal(0))
        supplier = suppliers.get(order.supplier, order.supplier)
        made = Order.objects.create(
            build=build, number=number, supplier=order.supplier, supplier_name=supplier, quote=order.quote,
            state=order.state, placed=order.placed, promised=order.promised, received=order.received,
            freight=order.freight, tax=tax if order.tax is None else order.tax, tax_percent=percent,
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
        builds.note(build, "order", f"PO-{number} to {supplier} was placed on {order.placed:%d %b %Y}", by=by)
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
        row = SignUp.objects.create(
            build=build, ref=sign_up.id, day=sign_up.day, task=sign_up.task, day_place=day_place, task_place=task_place,
            name=helper.name[:80], contact=helper.contact, note=helper.note, skills=list(sign_up.skills),
            age=sign_up.age, lifting=sign_up.lifting, power_tools=sign_up.power_tools,
            guardian=helper.guardian, request_key=new_token(),
        )  # fmt: skip
        day = next((day.name for day in plan.crew.days if day.id == sign_up.day), sign_up.day)
        builds.note(build, "sign-up", f"{row.first_name} signed up for {day}", by_name=row.first_name)


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
