"""One sum, wherever it is told: award, orders, budget, cash-flow, page in short and ledger agree to the cent."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, Revision
from buildout.builds.web.services import sheet_of
from buildout.changes.engine.chain import MemoryStore, run_chain
from buildout.changes.engine.impact import totals
from buildout.changes.engine.reading import check_plan
from buildout.changes.web.services import commitments_of
from buildout.people.web.models import User
from buildout.units.value import to_json
from estimating.engine.heads import FLOAT
from estimating.engine.types import Award, Budget
from estimating.web import in_short, ledger, order_book
from estimating.web.cash import planned
from estimating.web.documents import order_document
from estimating.web.models import ChangeOrder, Order
from tests.conftest import Computed

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
D = Decimal


@pytest.fixture
def work_out(computed_demo: Computed) -> Callable[[Build], Budget]:
    """The build's plan worked out anew with its order book as it stands now, as the next revision."""
    store = MemoryStore()
    store.kept = {key: text.encode() for key, (_, text) in computed_demo.links.items()}

    def run(build: Build) -> Budget:
        assert build.current is not None
        document = build.current.document
        plan = check_plan(document)
        result = run_chain(plan, commitments_of(build, plan.currency), store=store)
        build.current = Revision.objects.create(
            build=build, number=build.current.number + 1, document=document, result=to_json(result).decode(),
            totals=totals(result), summary="Worked out anew",
        )  # fmt: skip
        build.save()
        return result.budget

    return run


def edit(build: Build, quote_id: str, **fields: Any) -> None:
    assert build.current is not None
    next(quote for quote in build.current.document["quotes"] if quote["id"] == quote_id).update(fields)
    build.current.save()


def orders_of(build: Build) -> list[Order]:
    return list(Order.objects.filter(build=build).prefetch_related("changes", "deliveries"))


def printed(order: Order) -> Decimal:
    """The total on the order's paper."""
    text = order_document(sheet_of(order.build), order, "x").text
    return D(next(line for line in text.splitlines() if line.startswith("Total: ")).split("¤")[1].replace(",", ""))


def agree(build: Build, *, over: str = "0", unchanged: bool = True) -> Decimal:
    """Holds every place against every other; returns goods, freight and tax together.

    ``over``: still to be bought beyond the orders placed. ``unchanged``: no order was changed since it was sent.
    """
    sheet = sheet_of(build)
    budget, award = sheet.part("budget", Budget), sheet.part("award", Award)
    orders, book = orders_of(build), ledger.entries_of(build)
    bought = budget.goods + budget.freight + budget.tax

    # The award by itself.
    assert award.total == sum(p.goods + p.freight for p in award.suppliers)
    assert award.tax == sum(p.tax for p in award.suppliers)
    assert award.total + award.tax == sum(p.total for p in award.suppliers)

    # Orders placed, as their papers say, and those still to be placed.
    standing = [order for order in orders if order.state != Order.State.CANCELLED]
    ready = sum((r.total for r in order_book.ready_orders(sheet, orders)), D(0))
    if unchanged:
        assert sum((printed(order) for order in standing), D(0)) + ready + D(over) == bought
    elif not orders:
        assert ready == award.total + award.tax == bought

    # Budget heads, and what they are made of.
    assert budget.total == bought + budget.allowances + budget.contingency
    heads = [line for line in budget.lines if line.head != FLOAT]
    assert sum(amount for line in heads for _, amount in line.made_of) == budget.total
    assert sum(amount for what, amount in budget.lines[21].made_of) == budget.tax

    # What leaves week by week, with what is paid already, is all but contingency and float.
    flow = planned(build, sheet)
    leaves = sum((f.amount for week in flow.weeks for f in week.flows), D(0))
    paid = sum((entry.amount for entry in book if entry.kind == ledger.Kind.PAYMENT), D(0))
    drawn = sum((entry.amount for entry in book if entry.kind == ledger.Kind.DRAW), D(0))
    assert leaves + paid == bought + budget.allowances + drawn
    beyond = [f.amount for week in flow.weeks for f in week.flows if f.what.startswith("Quoted, still to be ordered")]
    assert sum(beyond, D(0)) == D(over)
    assert flow.weeks[-1].balance == budget.available - paid - leaves

    # In short.
    facts = in_short.facts(build, sheet, None)
    assert facts["forecast_to_finish"] == budget.total
    assert facts["paid"] == paid
    assert facts["risk"].expected == budget.total - budget.contingency + drawn
    assert D(facts["totals"]["cost"]) == budget.total
    return bought


def test_bills_without_an_order_and_draws(demo_build: Build, owner: User) -> None:
    """4,300.00 billed and paid with its tax, 107.50 of it credited and paid back, 60.00 drawn: no total moves."""
    whole = agree(demo_build)
    day, build = sheet_of(demo_build).today(), demo_build
    common = {"head": 5, "day": day, "who": "Sparrow Electric"}
    bill = ledger.enter(build, owner, "invoice", goods=D(4000), tax=D(300), amount=D(4300), **common)
    assert agree(build) == whole
    ledger.enter(build, owner, "payment", settles=bill, amount=D(4300), **common)
    ledger.enter(build, owner, "draw", head=5, day=day, amount=D(60), note="more sockets")
    assert agree(build) == whole
    note = ledger.enter(
        build, owner, "credit", settles=bill, goods=D(-100), tax=D("-7.50"), amount=D("-107.50"), **common
    )  # fmt: skip
    assert agree(build) == whole
    back = [f for week in planned(build, sheet_of(build)).weeks for f in week.flows if f.amount < 0]
    assert [(f.amount, f.what) for f in back] == [(D("-107.50"), "Money back, Sparrow Electric, Licensed trades")]
    ledger.enter(build, owner, "payment", settles=note, amount=D("-107.50"), **common)
    assert agree(build) == whole


def test_the_demo(client_of: ClientOf, demo_build: Build, owner: User, partner: User) -> None:
    agree(demo_build)
    budget = sheet_of(demo_build).part("budget", Budget)
    assert budget.tax_rates == [D("7.5")]
    page = client_of(owner).get(reverse("estimating:budget", args=[demo_build.pk])).content.decode()
    assert "7.5 %, rounded half up at each line" in page
    for name in ("budget", "in-short"):
        page = client_of(partner).get(reverse(f"estimating:{name}", args=[demo_build.pk])).content.decode()
        assert f"¤{budget.total:,.2f}" in page, name
    text = client_of(owner).get(reverse("estimating:budget-csv", args=[demo_build.pk])).content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert sum(D(row["forecast to finish"]) for row in rows if row["head"] != str(FLOAT)) == budget.total


def test_two_rates_and_a_quote_with_tax_in_it(
    client_of: ClientOf, demo_build: Build, owner: User, work_out: Callable[[Build], Budget]
) -> None:
    """From award to last payment: the build's 7.5 %, one supplier at 5 %, one whose prices hold 8.25 %."""
    chosen = {party.quote for party in sheet_of(demo_build).part("award", Award).suppliers}
    Order.objects.filter(build=demo_build).delete()
    reduced, inside = "ninefold-1", "copperhinge-1"
    edit(demo_build, reduced, tax_percent="5")
    edit(demo_build, inside, tax_included=True, tax_percent="8.25")
    budget = work_out(demo_build)
    award = sheet_of(demo_build).part("award", Award)
    assert {party.quote for party in award.suppliers} == chosen >= {reduced, inside}
    assert budget.tax_rates == [D(5), D("7.5"), D("8.25")]
    assert (budget.goods + budget.freight, budget.tax) == (award.total, award.tax)
    whole = agree(demo_build)

    # What they ask for the fixings, tax in it, is what goods, freight and tax come to; a cent a line is rounding.
    party = next(party for party in award.suppliers if party.quote == inside)
    assert demo_build.current is not None
    quote = next(quote for quote in demo_build.current.document["quotes"] if quote["id"] == inside)
    price = {line["item"]: D(line["breaks"][0]["price"]) for line in quote["lines"]}
    lines = [line for line in award.lines if line.quote == inside]
    asked = sum(line.quantity * price[line.item] for line in lines) + D(quote["freight"]["amount"])
    assert abs(party.total - asked) <= D("0.01") * (len(lines) + 1)

    for ready in order_book.ready_orders(sheet_of(demo_build), []):
        order = order_book.place(demo_build, owner, ready.quote.id)
        assert printed(order) == ready.total == order.freight + order.tax + ready.goods
    assert agree(demo_build) == whole, "the plan does not know the orders yet"
    work_out(demo_build)
    assert agree(demo_build) == whole

    # A quote's rate put right later moves no order that was placed before, nor its paper.
    papers = {order.name: order_document(sheet_of(demo_build), order, "x").body for order in orders_of(demo_build)}
    edit(demo_build, reduced, tax_percent="19")
    edit(demo_build, inside, tax_included=False, tax_percent="19")
    budget = work_out(demo_build)
    assert budget.tax_rates == [D(5), D("7.5"), D("8.25")]
    assert agree(demo_build) == whole
    assert {o.name: order_document(sheet_of(demo_build), o, "x").body for o in orders_of(demo_build)} == papers

    # Invoiced and paid as ordered: nothing differs, and what is paid is what the budget says of goods, freight, tax.
    sheet = sheet_of(demo_build)
    for order in orders_of(demo_build):
        order_book.receive(order, owner, sheet.today())
        rows = [{**line, "quantity": line["quantity"], "goods": line["goods"]} for line in order.lines]
        goods = sum(D(line["goods"]) for line in order.lines)
        bill = ledger.enter(
            demo_build, owner, ledger.Kind.INVOICE, order=order, day=sheet.today(), lines=rows, freight=order.freight,
            tax=order.tax, amount=goods + order.freight + order.tax, reference="1",
        )  # fmt: skip
        ledger.enter(
            demo_build, owner, ledger.Kind.PAYMENT, order=order, day=sheet.today(), settles=bill, amount=bill.amount
        )
    work_out(demo_build)
    assert agree(demo_build) == whole
    paid = D(0)
    for order in orders_of(demo_build):
        found = ledger.match(sheet, order, [e for e in ledger.entries_of(demo_build) if e.order_id == order.pk])
        assert found.reasons == []
        paid += found.paid
    assert paid == whole


def test_changed_and_called_off(demo_build: Build, owner: User, work_out: Callable[[Build], Budget]) -> None:
    """PO-1 at 5 %: one length less of 6.35, then its 8.25 %-quote; PO-2 called off for 100.00."""
    first, second = orders_of(demo_build)
    line = first.lines[0]
    first.tax_percent = D(5)
    # 22 lengths at 6.35 = 139.70 → 6.985 → 6.99; 53 sheets 1865.60 → 93.28; no freight: 100.27.
    first.tax = D("100.27")
    first.save()
    edit(demo_build, first.quote, tax_percent="8.25")
    work_out(demo_build)
    before = agree(demo_build)
    change = ChangeOrder.objects.create(
        order=first, number=1, reason="One less", money=D("-6.35"),
        lines=[{"item": line["item"], "name": line["name"], "unit": line["unit"], "before": line["quantity"],
                "after": "21", "money": "-6.35", "text": ""}],
    )  # fmt: skip
    order_book.decide(change, owner, agreed=True)
    budget = work_out(demo_build)
    # 133.35 at 5 % = 6.6675 → 6.67, so 0.32 less; the one length still needed costs 6.35 and, by its quote, 8.25 %.
    assert ("Timber 2 × 4 (1 1/2 × 3 1/2 in), 12 ft, order PO-1, 5 %", D("6.67")) in budget.lines[21].made_of
    rest = next(amount for what, amount in budget.lines[21].made_of if "still to order 1 length, 8.25 %" in what)
    assert rest == D("0.52")  # 6.35 × 0.0825 = 0.523875
    assert agree(demo_build, over="6.87", unchanged=False) == before - D("6.67") + D("6.87")
    order_book.cancel(second, owner, D(100))
    work_out(demo_build)
    # The goods wait to be ordered again as they were; on top stand the charge and its 7.5 %.
    assert agree(demo_build, over="6.87", unchanged=False) == before - D("6.67") + D("6.87") + D("107.50")
