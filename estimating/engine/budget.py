"""The budget: quotes, allowances and contingency head by head, each figure open to what it is made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from buildout.units.money import format_money, round_money, tax_on
from buildout.units.value import Reason, Status
from estimating.engine.award import MOST_PERCENT
from estimating.engine.heads import FLOAT, FREIGHT, HEADS, OTHER, TAX
from estimating.engine.offers import tax_rate
from estimating.engine.types import (
    Award,
    AwardLine,
    Budget,
    BudgetLine,
    Charge,
    HeadPlan,
    MoneyPlan,
    OrderedLine,
    PlacedOrder,
    Product,
    Quote,
    TakeOff,
)


@dataclass
class _Head:
    made_of: list[tuple[str, Decimal]] = field(default_factory=list)
    ordered: Decimal = Decimal(0)

    @property
    def quoted(self) -> Decimal:
        return sum((amount for _, amount in self.made_of), Decimal(0))


def budget(
    take_off: TakeOff,
    award: Award,
    money: MoneyPlan,
    orders: list[PlacedOrder],
    products: list[Product],
    charges: Sequence[Charge] = (),
    quotes: Sequence[Quote] = (),
) -> Budget:
    """Add up what the build costs, head by head.

    A head's total is what is quoted or ordered for it, plus the allowance set aside for what no quote covers,
    plus its contingency percent of both. An order replaces the award for the quantity it covers; ``charges``
    for goods called off count as ordered. Tax is a head of its own, worked out line by line: an order at the rate it
    was placed at, what is only awarded at the rate of its quote, and where neither says one at the build's. So it is
    what award and orders say, to the cent. Allowances are taken to include their tax. The float for the first quiet
    months is shown but is in no total. Status: infeasible when the money does not reach, underdetermined when
    something asked is neither quoted nor set aside for, else proven.
    """
    currency = award.currency
    build_percent = min(money.tax_percent, MOST_PERCENT)
    percent_of = {quote.id: tax_rate(quote, build_percent) for quote in quotes}
    names = {p.id: p.name for p in products} | {line.item: line.name for line in take_off.lines}
    head_of = {p.id: p.head for p in products} | {line.item: line.head for line in take_off.lines}
    heads = {number: _Head() for number in HEADS}
    taxes: list[tuple[str, Decimal]] = []

    rates: set[Decimal] = set()

    def enter(number: int, parts: list[tuple[str, Decimal]], percent: Decimal) -> Decimal:
        """One line of a bill: its parts under a head, its tax rounded once. Returns the tax."""
        heads[number if number in heads else OTHER].made_of += parts
        taxed = sum((amount for _, amount in parts), Decimal(0))
        tax = tax_on(taxed, percent, currency)
        if taxed:
            rates.add(percent)
        taxes.append((f"{parts[0][0]}, {_written(percent)} %", tax))
        return tax

    def order_percent(order: PlacedOrder) -> Decimal:
        return order.tax_percent if order.tax_percent is not None else percent_of.get(order.quote, build_percent)

    taxed = dict.fromkeys((order.number for order in orders), Decimal(0))
    ordered = _ordered_lines(orders)
    awarded = {line.item: line for line in award.lines}
    for item in sorted({*awarded, *ordered}, key=lambda i: (head_of.get(i, OTHER), names.get(i, i), i)):
        number = head_of.get(item, OTHER)
        name = names.get(item, item)
        for order, entry in ordered.get(item, []):
            tax = enter(number, [(f"{name}, order {order.number}", entry.goods)], order_percent(order))
            taxed[order.number] += tax
        line = awarded.get(item)
        if line is not None and (parts := _still_to_buy(name, line, ordered.get(item, []), currency)):
            enter(number, parts, percent_of.get(line.quote, build_percent))
        placed = sum((line.goods for _, line in ordered.get(item, [])), Decimal(0))
        heads[number if number in heads else OTHER].ordered += placed
    for charge in charges:
        name = names.get(charge.item, charge.item)
        number = head_of.get(charge.item, OTHER)
        percent = charge.tax_percent if charge.tax_percent is not None else build_percent
        enter(number, [(f"{name}, called off from order {charge.order}", charge.amount)], percent)
        heads[number if number in heads else OTHER].ordered += charge.amount
    for order in sorted(orders, key=lambda o: (o.placed, o.number)):
        if order.freight:
            freight = [(f"Freight, order {order.number}", order.freight)]
            taxed[order.number] += enter(FREIGHT, freight, order_percent(order))
        if order.tax is not None and order.tax != taxed[order.number]:
            taxes.append((f"Order {order.number}, as its tax is written there", order.tax - taxed[order.number]))
    placed_quotes = {order.quote for order in orders}
    for party in award.suppliers:
        if party.quote not in placed_quotes and party.freight:
            freight = [(f"Freight, quote {party.quote}", party.freight)]
            enter(FREIGHT, freight, percent_of.get(party.quote, build_percent))
    heads[FREIGHT].ordered += sum((order.freight for order in orders), Decimal(0))
    heads[TAX].made_of += [(what, amount) for what, amount in taxes if amount]

    plans = {plan.head: plan for plan in money.heads}
    lines = [_line(number, heads[number], plans.get(number), currency) for number in HEADS]
    inside = [line for line in lines if line.head != FLOAT]
    total = sum((line.total for line in inside), Decimal(0))
    result = Budget(
        status="proven",
        lines=lines,
        goods=sum((line.quoted for line in inside if line.head not in (FREIGHT, TAX)), Decimal(0)),
        freight=heads[FREIGHT].quoted,
        tax=heads[TAX].quoted,
        allowances=sum((line.allowance for line in inside), Decimal(0)),
        contingency=sum((line.contingency for line in inside), Decimal(0)),
        total=total,
        available=money.available,
        left=money.available - total,
        kept_apart=next(line.total for line in lines if line.head == FLOAT),
        tax_rates=sorted(rates),
        reasons=[],
    )
    reasons = _reasons(result, take_off, award, ordered, plans, money, currency)
    status: Status = "proven"
    if any(reason.code == "nothing set aside" for reason in reasons):
        status = "underdetermined"
    if any(reason.severity == "stop" for reason in reasons):
        status = "infeasible"
    return Budget(
        status=status, lines=lines, goods=result.goods, freight=result.freight, tax=result.tax,
        allowances=result.allowances, contingency=result.contingency, total=total, available=money.available,
        left=result.left, kept_apart=result.kept_apart, tax_rates=result.tax_rates, reasons=reasons,
    )  # fmt: skip


def _ordered_lines(orders: list[PlacedOrder]) -> dict[str, list[tuple[PlacedOrder, OrderedLine]]]:
    found: dict[str, list[tuple[PlacedOrder, OrderedLine]]] = {}
    for order in sorted(orders, key=lambda o: (o.placed, o.number)):
        for line in order.lines:
            found.setdefault(line.item, []).append((order, line))
    return found


def _still_to_buy(
    name: str, line: AwardLine, ordered: list[tuple[PlacedOrder, OrderedLine]], currency: str
) -> list[tuple[str, Decimal]]:
    """Parts of the bill line for what orders of an item leave open of its award; none where they cover it."""
    label = f"{name}, quote {line.quote}"
    if not ordered:
        parts = [(label, line.goods)]
        if line.extras:
            parts.append((f"{label}, set-up and extras", line.extras))
        return parts
    if any(entry.unit != line.unit for _, entry in ordered):
        return []
    open_part = line.quantity - line.spare - sum((entry.quantity for _, entry in ordered), Decimal(0))
    if open_part > 0 and line.quantity > 0:
        rest = round_money(line.goods * open_part / line.quantity, currency)
        return [(f"{label}, still to order {_written(open_part)} {line.unit}", rest)]
    return []


def _written(number: Decimal) -> str:
    return f"{number.normalize():f}"


def _line(number: int, head: _Head, plan: HeadPlan | None, currency: str) -> BudgetLine:
    allowance = round_money(plan.allowance if plan else Decimal(0), currency)
    percent = min(plan.contingency_percent, MOST_PERCENT) if plan else Decimal(0)
    contingency = round_money((head.quoted + allowance) * percent / 100, currency)
    made_of = list(head.made_of)
    if allowance:
        made_of.append((f"Set aside{': ' + plan.note if plan and plan.note else ''}", allowance))
    if contingency:
        made_of.append((f"Contingency {percent.normalize():f} %", contingency))
    return BudgetLine(
        head=number,
        name=HEADS[number],
        quoted=round_money(head.quoted, currency),
        allowance=allowance,
        contingency=contingency,
        ordered=round_money(head.ordered, currency),
        total=head.quoted + allowance + contingency,
        made_of=made_of,
    )


def _reasons(
    result: Budget,
    take_off: TakeOff,
    award: Award,
    ordered: Mapping[str, object],
    plans: Mapping[int, HeadPlan],
    money: MoneyPlan,
    currency: str,
) -> list[Reason]:
    found: list[Reason] = []
    bare: dict[int, list[str]] = {}
    quoted = {line.item for line in award.lines}
    for line in take_off.lines:
        plan = plans.get(line.head)
        if line.item not in quoted and line.item not in ordered and (plan is None or plan.allowance <= 0):
            bare.setdefault(line.head, []).append(line.name)
    for number, missing in sorted(bare.items()):
        found.append(
            Reason(
                code="nothing set aside",
                where=f"head {number}",
                severity="warning",
                text=f"{HEADS.get(number, 'Unknown head')}: {', '.join(missing)} "
                f"{'is' if len(missing) == 1 else 'are'} neither quoted nor set aside for",
                todo="Ask for quotes, or set an allowance under this head, for instance 450",
            )
        )
    for number in sorted(set(plans) - set(HEADS)):
        found.append(
            Reason(
                code="unknown head",
                where=f"head {number}",
                severity="warning",
                text=f"Money is set aside under head {number}, but heads run from 1 to {len(HEADS)}; it is not counted",
                todo="Move it to one of the heads, for instance 8 for the floor",
            )
        )
    high = [f"head {plan.head}" for plan in money.heads if plan.contingency_percent > MOST_PERCENT]
    for where in (["tax_percent"] if money.tax_percent > MOST_PERCENT else []) + high:
        found.append(
            Reason(
                code="percent too high",
                where=where,
                severity="warning",
                text=f"The percentage of {where} is above {MOST_PERCENT}; {MOST_PERCENT} is taken",
                todo="Write it again, for instance 7.5",
            )
        )
    if money.available > 0 and result.left < 0:
        found.append(
            Reason(
                code="over the money available",
                where="available",
                severity="stop",
                text=f"The build comes to {format_money(result.total, currency)}, "
                f"{format_money(-result.left, currency)} more than the {format_money(money.available, currency)} "
                "available",
                todo="Raise more, take something out, or choose cheaper systems",
            )
        )
    elif money.available > 0 and result.left < result.kept_apart:
        found.append(
            Reason(
                code="float not covered",
                where=f"head {FLOAT}",
                severity="warning",
                text=f"{format_money(result.left, currency)} is left, less than the "
                f"{format_money(result.kept_apart, currency)} meant for the first quiet months",
                todo="Raise more, or accept a smaller float",
            )
        )
    if money.weekly_rent > 0:
        found.append(
            Reason(
                code="cost of delay",
                where="weekly_rent",
                text=f"Every week the opening slips costs another {format_money(money.weekly_rent, currency)} of rent",
            )
        )
    return found
