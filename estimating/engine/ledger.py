"""Bills and payments: which heads they fall under, and whether order, receipt and invoice agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Literal

import msgspec

from buildout.units.money import format_money, round_money, smallest, tax_on
from buildout.units.value import Reason, Value
from buildout.units.words import counted
from estimating.engine.heads import FLOAT, FREIGHT, HEADS, OTHER, TAX
from estimating.engine.types import Budget, BudgetLine

Kind = Literal["invoice", "credit", "payment", "draw"]
BILLS: tuple[Kind, ...] = ("invoice", "credit")
"""What says how much is asked for; a credit note takes back, so that its amounts are below nought."""


class BilledLine(Value, kw_only=True):
    item: str
    quantity: Decimal
    goods: Decimal
    """Without tax, extras in it."""


class LedgerRow(Value, kw_only=True):
    """One entry. A reversal has the same fields with every amount negative."""

    number: int
    kind: Kind
    day: date
    order: str = ""
    """Order number; empty for a bill that no order stands behind."""
    settles: int | None = None
    """Number of the invoice or credit note a payment is for; none for a deposit."""
    head: int | None = None
    """Where a bill without an order, a payment for one, or a draw falls."""
    lines: list[BilledLine] = []
    goods: Decimal = Decimal(0)
    """Of a bill without lines; otherwise the lines say it."""
    freight: Decimal = Decimal(0)
    tax: Decimal = Decimal(0)
    amount: Decimal
    """What is due, paid or drawn in all."""
    reference: str = ""
    """Number on the paper."""
    who: str = ""
    """From whom, where no order says it."""

    @property
    def allowance(self) -> bool:
        """A credit note for money alone: the goods stay, at a lower price."""
        return self.kind == "credit" and not any(line.quantity for line in self.lines)


class OrderLine(Value, kw_only=True):
    """An order line for the three-way check, agreed changes counted in."""

    item: str
    name: str
    unit: str
    due: Decimal
    goods: Decimal
    received: Decimal


class MatchLine(Value, kw_only=True):
    """Ordered, received and invoiced side by side."""

    item: str
    name: str
    unit: str
    ordered: Decimal
    received: Decimal
    invoiced: Decimal
    ordered_goods: Decimal
    invoiced_goods: Decimal


class ThreeWay(Value, kw_only=True):
    lines: list[MatchLine]
    invoiced: Decimal
    """Less what was credited."""
    credited: Decimal
    paid: Decimal
    reasons: list[Reason]


Part = tuple[str, Decimal]
"""What it is, and how much of the figure."""


class HeadMoney(Value, kw_only=True):
    """One budget head with what has happened since. Amounts in the build's currency."""

    head: int
    estimated: Decimal
    """Set aside for what no quote covers, and what was drawn from contingency."""
    quoted: Decimal
    """Quotes, or the orders that took their place."""
    ordered: Decimal
    invoiced: Decimal
    paid: Decimal
    contingency: Decimal
    """Still undrawn."""
    drawn: Decimal
    forecast: Decimal
    """At the finish: estimated and quoted less what was let off, or what was invoiced where that is more, and undrawn
    contingency."""
    ordered_of: list[Part] = []
    invoiced_of: list[Part] = []
    paid_of: list[Part] = []
    forecast_of: list[Part] = []
    """What each of these figures is made of; the parts add up to it."""


def shares(amount: Decimal, weights: Sequence[Decimal], currency: str) -> list[Decimal]:
    """An amount split by weights so that the parts add up to it; the odd cent falls where the running sum crosses it.

    >>> [str(part) for part in shares(Decimal("100.00"), [Decimal(1)] * 3, "USD")]
    ['33.33', '33.34', '33.33']
    """
    total = sum(weights, Decimal(0))
    if not weights or not total:
        raise ValueError("Nothing to split by")
    found, given, run = [], Decimal(0), Decimal(0)
    for weight in weights:
        run += weight
        upto = round_money(amount * run / total, currency)
        found.append(upto - given)
        given = upto
    return found


def heads_of(row: LedgerRow, head_of: Mapping[str, int]) -> dict[int, Decimal]:
    """What an invoice puts under each head, or a credit note takes from it."""
    found: dict[int, Decimal] = {}

    def enter(head: int | None, amount: Decimal) -> None:
        if amount:
            number = head if head in HEADS else OTHER
            found[number] = found.get(number, Decimal(0)) + amount

    for line in row.lines:
        enter(head_of.get(line.item, OTHER), line.goods)
    enter(row.head, row.goods)
    enter(FREIGHT, row.freight)
    enter(TAX, row.tax)
    return dict(sorted(found.items()))


def let_off(allowed: Decimal, ordered: Decimal, invoiced: Decimal) -> Decimal:
    """By how much an order costs less for good: what was credited for money alone, as far as the bills then stay below
    the order. A note that takes back what was billed too high lets nothing off.

    >>> let_off(Decimal(40), Decimal(1000), Decimal(960)), let_off(Decimal(40), Decimal(1000), Decimal(1000))
    (Decimal('40'), Decimal('0'))
    """
    return max(min(allowed, ordered - invoiced), Decimal(0))


def _let_off_by_head(
    rows: list[LedgerRow], ordered: Mapping[str, Mapping[int, Decimal]], head_of: Mapping[str, int]
) -> dict[int, Decimal]:
    found = dict.fromkeys(HEADS, Decimal(0))
    for name in sorted({row.order for row in rows if row.allowance}):
        bills, allowed = dict.fromkeys(HEADS, Decimal(0)), dict.fromkeys(HEADS, Decimal(0))
        for row in rows:
            if row.order == name and row.kind in BILLS:
                for head, amount in heads_of(row, head_of).items():
                    bills[head] += amount
                    if row.allowance:
                        allowed[head] -= amount
        for head in HEADS:
            found[head] += let_off(allowed[head], ordered.get(name, {}).get(head, Decimal(0)), bills[head])
    return found


_WORDS = {"invoice": "Invoice", "credit": "Credit note", "payment": "Payment", "draw": "Draw"}


def _named(row: LedgerRow) -> str:
    """An entry as people find it again: its number in the book, that on the paper, and whose it is."""
    return ", ".join(filter(None, (f"{_WORDS[row.kind]} {row.number}", row.reference, row.order or row.who)))


def _forecast_of(line: BudgetLine, drawn: Decimal, less: Decimal, billed: Decimal) -> list[Part]:
    """What a head comes to at the finish. ``billed``: invoiced, as far as it counts against the head."""
    expected = line.quoted + line.allowance + drawn - less
    parts = [("Quoted or ordered", line.quoted), ("Set aside", line.allowance + drawn), ("Let off", -less)]
    if billed > expected:
        parts = [("Invoiced, more than was expected", billed)]
    return [(what, amount) for what, amount in [*parts, ("Contingency left", line.contingency - drawn)] if amount]


def after_draws(budget: Budget, drawn: Mapping[int, Decimal]) -> Budget:
    """The budget with what was drawn from contingency set aside instead: no total moves. ``drawn``: by head."""
    moved = sum((amount for head, amount in drawn.items() if head in HEADS and head != FLOAT), Decimal(0))
    return msgspec.structs.replace(
        budget,
        lines=[
            msgspec.structs.replace(
                line, allowance=line.allowance + drawn.get(line.head, Decimal(0)),
                contingency=line.contingency - drawn.get(line.head, Decimal(0)),
            )
            for line in budget.lines
        ],
        allowances=budget.allowances + moved, contingency=budget.contingency - moved,
    )  # fmt: skip


def head_money(
    budget: Budget,
    rows: list[LedgerRow],
    ordered: Mapping[str, Mapping[int, Decimal]],
    head_of: Mapping[str, int],
    currency: str,
) -> list[HeadMoney]:
    """The budget's heads with invoices, payments and draws.

    ``ordered``: order number → what it comes to under each head, tax and freight included, and of one called off what
    is charged for that; a payment ahead of the invoice is split the same way. Sums over the heads equal the sums of the
    rows, to the cent.
    """
    drawn = dict.fromkeys(HEADS, Decimal(0))
    placed: dict[int, list[Part]] = {head: [] for head in HEADS}
    invoiced: dict[int, list[Part]] = {head: [] for head in HEADS}
    paid: dict[int, list[Part]] = {head: [] for head in HEADS}
    for name, parts in ordered.items():
        for head, amount in parts.items():
            placed[head if head in HEADS else OTHER].append((name, amount))
    bills = {row.number: heads_of(row, head_of) for row in rows if row.kind in BILLS}
    # What is set aside is meant with its tax; so a bill that no order stands behind uses it up with its tax.
    held = dict.fromkeys(HEADS, Decimal(0))
    for row in rows:
        if row.kind in BILLS and not row.order:
            held[row.head if row.head in HEADS else OTHER] += row.tax
            held[TAX] -= row.tax
    less = _let_off_by_head(rows, ordered, head_of)
    for row in rows:
        if row.kind in BILLS:
            for head, amount in bills[row.number].items():
                invoiced[head].append((_named(row), amount))
            continue
        split = bills.get(row.settles or 0) or ordered.get(row.order) or {row.head or OTHER: Decimal(1)}
        split = split if sum(split.values()) else {row.head or OTHER: Decimal(1)}
        for head, amount in zip(split, shares(row.amount, list(split.values()), currency), strict=True):
            number = head if head in HEADS else OTHER
            if row.kind == "draw":
                drawn[number] += amount
            elif amount:
                paid[number].append((_named(row), amount))
    found = []
    for line in budget.lines:
        billed = _sum(invoiced[line.head])
        parts_of = _forecast_of(line, drawn[line.head], less[line.head], billed + held[line.head])
        found.append(
            HeadMoney(
                head=line.head, estimated=line.allowance + drawn[line.head], quoted=line.quoted,
                ordered=_sum(placed[line.head]), invoiced=billed, paid=_sum(paid[line.head]),
                contingency=line.contingency - drawn[line.head], drawn=drawn[line.head], forecast=_sum(parts_of),
                ordered_of=placed[line.head], invoiced_of=invoiced[line.head], paid_of=paid[line.head],
                forecast_of=parts_of,
            )
        )  # fmt: skip
    return found


def _sum(parts: Sequence[Part]) -> Decimal:
    return sum((amount for _, amount in parts), Decimal(0))


TOLERANCE_NAME = "half of the smallest coin for each amount printed"
"""By how much a supplier's tax, or price for a part, may differ from ours where each side rounds by its own rule."""


def near(amounts: int, currency: str) -> Decimal:
    """How far sums of so many printed amounts may lie apart by rounding alone.

    >>> near(3, "USD")
    Decimal('0.015')
    """
    return smallest(currency) * amounts / 2


def three_way(
    lines: list[OrderLine], freight: Decimal, tax: Decimal, percent: Decimal, rows: list[LedgerRow], currency: str
) -> ThreeWay:
    """Order, receipt, invoices and payments of one order side by side, and where they differ, each by name.

    ``tax``: on the whole order as it stands; ``percent``: the rate it was placed at. Tax is held against the lines and
    freight as the bills print them, each taxed and rounded by itself; a supplier may round the bill as a whole, so that
    ``near`` as many cents count as the same. The same holds for the price of a part of a line, bill by bill. Freight
    is one amount and must agree. What a credit note lets off for goods that stay explains a lower price, freight or
    tax. Payments are held against each invoice, then against all of them, then against the order.
    """
    bills = [row for row in rows if row.kind in BILLS]
    allowed: dict[str, Decimal] = {}
    for row in bills:
        for entry in row.lines if row.allowance else []:
            allowed[entry.item] = allowed.get(entry.item, Decimal(0)) - entry.goods
    billed: dict[str, list[BilledLine]] = {}
    for row in bills:
        for entry in row.lines:
            billed.setdefault(entry.item, []).append(entry)
    found, reasons = [], []
    for line in lines:
        entries = billed.pop(line.item, [])
        match = MatchLine(
            item=line.item, name=line.name, unit=line.unit, ordered=line.due, received=line.received,
            invoiced=sum((e.quantity for e in entries), Decimal(0)), ordered_goods=line.goods,
            invoiced_goods=sum((e.goods for e in entries), Decimal(0)),
        )  # fmt: skip
        found.append(match)
        reasons += _differences(match, allowed.get(line.item, Decimal(0)), near(len(entries), currency), currency)
    for item, entries in sorted(billed.items()):
        amount = sum((entry.goods for entry in entries), Decimal(0))
        if amount:
            reasons.append(_differs("not ordered", item, f"{format_money(amount, currency)} for something not on the "
                                    "order", "Ask what it is for before paying"))  # fmt: skip
    whole = bool(found) and all(line.invoiced >= line.ordered for line in found)
    over = sum((row.freight for row in bills), Decimal(0)) - freight
    let = -sum((row.freight for row in bills if row.allowance), Decimal(0))
    if over > 0 or (whole and bills and -over > let):
        reasons.append(_differs("freight differs", "freight", f"{_apart(over, currency)} freight than the order says",
                                "Ask the supplier which is right"))  # fmt: skip
    reasons += _tax_differs(bills, percent, currency)
    invoiced = sum((row.amount for row in bills), Decimal(0))
    credited = -sum((row.amount for row in bills if row.kind == "credit"), Decimal(0))
    ordered = sum((line.goods for line in lines), freight + tax)
    reasons += _payments(rows, invoiced, credited, invoiced if whole else max(invoiced, ordered), currency)
    paid = sum((row.amount for row in rows if row.kind == "payment"), Decimal(0))
    return ThreeWay(lines=found, invoiced=invoiced, credited=credited, paid=paid, reasons=reasons)


def _tax_differs(bills: list[LedgerRow], percent: Decimal, currency: str) -> list[Reason]:
    """The tax the bills ask for against the tax on every amount they print."""
    asked, expected, amounts = Decimal(0), Decimal(0), 0
    for row in bills:
        if row.allowance and not row.tax:
            continue  # money given back without touching the tax
        printed = [amount for amount in (*(entry.goods for entry in row.lines), row.goods, row.freight) if amount]
        asked += row.tax
        expected += sum((tax_on(amount, percent, currency) for amount in printed), Decimal(0))
        amounts += len(printed)
    if abs(asked - expected) <= near(amounts, currency):
        return []
    text = (
        f"{_apart(asked - expected, currency)} tax than {percent.normalize():f} % of what is invoiced: "
        f"{format_money(asked, currency)}, where its lines come to {format_money(expected, currency)}"
    )
    return [_differs("tax differs", "tax", text, "Ask the supplier which is right")]


def _payments(
    rows: list[LedgerRow], invoiced: Decimal, credited: Decimal, most: Decimal, currency: str
) -> list[Reason]:
    """Where more is paid than asked: for one invoice, for all of them, ahead of them. ``most``: what is due in all."""
    found = overpaid(rows, currency)
    over = sum((row.amount for row in rows if row.kind == "payment"), Decimal(0)) - invoiced
    if over > 0 and credited > 0:
        owed = min(over, credited)
        over -= owed
        found.append(_differs("credit open", "payments", f"{format_money(owed, currency)} that was credited is paid "
                              "already", "Have it paid back, or set off against their next invoice"))  # fmt: skip
    over -= sum((_over(row, rows) for row in rows if row.kind == "invoice"), Decimal(0))
    too_much = over - (most - invoiced)
    if too_much > 0:
        than = "invoiced" if most == invoiced else "the whole order comes to"
        found.append(_differs("paid too much", "payments", f"{format_money(too_much, currency)} more was paid than "
                              f"{than}", "Ask for it back, or for a credit note"))  # fmt: skip
    ahead = over - max(too_much, Decimal(0))
    if ahead > 0:
        found.append(
            Reason(code="paid ahead", where="payments", severity="note", todo="Hold the next invoice against it",
                   text=f"{format_money(ahead, currency)} is paid ahead of an invoice")
        )  # fmt: skip
    return found


def _over(invoice: LedgerRow, rows: Sequence[LedgerRow]) -> Decimal:
    """What is paid for an invoice beyond what it asks."""
    paid = sum((row.amount for row in rows if row.kind == "payment" and row.settles == invoice.number), Decimal(0))
    return max(paid - max(invoice.amount, Decimal(0)), Decimal(0))


def overpaid(rows: Sequence[LedgerRow], currency: str) -> list[Reason]:
    """Every invoice that more was paid for than it asks, whether an order stands behind it or not."""
    return [
        _differs("paid too much", f"entry {row.number}", f"Invoice {row.reference or row.number}"
                 f"{f' of {row.who}' if row.who else ''}: {format_money(over, currency)} more was paid than it asks",
                 "Ask for it back, or for a credit note")
        for row in rows
        if row.kind == "invoice" and (over := _over(row, rows)) > 0
    ]  # fmt: skip


def _apart(over: Decimal, currency: str) -> str:
    return f"{format_money(abs(over), currency)} {'more' if over > 0 else 'less'}"


def _differences(line: MatchLine, allowed: Decimal, rounding: Decimal, currency: str) -> list[Reason]:
    found = []
    if line.invoiced > line.received:
        missing = counted(line.invoiced - line.received, line.unit)
        found.append(_differs("billed, not received", line.item, f"{line.name}: {missing} invoiced that have not come",
                              "Pay for what is here; ask for the rest or a credit note"))  # fmt: skip
    if line.invoiced > line.ordered:
        more = counted(line.invoiced - line.ordered, line.unit)
        found.append(_differs("billed, not ordered", line.item, f"{line.name}: {more} more invoiced than ordered",
                              "Ask for a credit note"))  # fmt: skip
    if line.received > line.invoiced:
        here = counted(line.received - line.invoiced, line.unit)
        found.append(
            Reason(code="received, not billed", where=line.item, severity="note", todo="Keep the money for it ready",
                   text=f"{line.name}: {here} came that no invoice asks for yet")
        )  # fmt: skip
    if line.invoiced and line.ordered:
        over = line.invoiced_goods - line.ordered_goods * line.invoiced / line.ordered
        if over > rounding or -over - allowed > rounding:
            text = f"{line.name}: {_apart(over, currency)} than the order's price for what is invoiced"
            found.append(_differs("price differs", line.item, text, "Hold one against the other with the supplier"))
    elif line.invoiced_goods > 0 and line.ordered_goods and not line.ordered:
        over = line.invoiced_goods - line.ordered_goods
        if abs(over) > rounding:
            text = f"{line.name}: {_apart(over, currency)} than was agreed for calling it off"
            found.append(_differs("price differs", line.item, text, "Hold one against the other with the supplier"))
    elif line.invoiced_goods > 0:
        amount = format_money(line.invoiced_goods, currency)
        found.append(_differs("billed without a quantity", line.item, f"{line.name}: {amount} invoiced without saying "
                              "for how many", "Ask what it is for before paying"))  # fmt: skip
    return found


def _differs(code: str, where: str, text: str, todo: str) -> Reason:
    return Reason(code=code, where=where, severity="warning", text=text, todo=todo)
