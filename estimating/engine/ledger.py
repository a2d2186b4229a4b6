"""Bills and payments: which heads they fall under, and whether order, receipt and invoice agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Literal

from buildout.units.money import format_money, round_money, smallest
from buildout.units.value import Reason, Value
from buildout.units.words import counted
from estimating.engine.heads import FREIGHT, HEADS, TAX
from estimating.engine.types import Budget

OTHER = 23
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


def head_money(
    budget: Budget,
    rows: list[LedgerRow],
    ordered: Mapping[str, Mapping[int, Decimal]],
    head_of: Mapping[str, int],
    currency: str,
) -> list[HeadMoney]:
    """The budget's heads with invoices, payments and draws.

    ``ordered``: order number → what it comes to under each head, tax and freight included; a payment ahead of the
    invoice is split the same way. Sums over the heads equal the sums of the rows, to the cent.
    """
    invoiced = dict.fromkeys(HEADS, Decimal(0))
    paid, drawn = dict(invoiced), dict(invoiced)
    bills = {row.number: heads_of(row, head_of) for row in rows if row.kind in BILLS}
    less = _let_off_by_head(rows, ordered, head_of)
    for row in rows:
        if row.kind in BILLS:
            for head, amount in bills[row.number].items():
                invoiced[head] += amount
            continue
        into = drawn if row.kind == "draw" else paid
        split = bills.get(row.settles or 0) or ordered.get(row.order) or {row.head or OTHER: Decimal(1)}
        split = split if sum(split.values()) else {row.head or OTHER: Decimal(1)}
        for head, amount in zip(split, shares(row.amount, list(split.values()), currency), strict=True):
            into[head if head in HEADS else OTHER] += amount
    return [
        HeadMoney(
            head=line.head,
            estimated=line.allowance + drawn[line.head],
            quoted=line.quoted,
            ordered=line.ordered,
            invoiced=invoiced[line.head],
            paid=paid[line.head],
            contingency=line.contingency - drawn[line.head],
            drawn=drawn[line.head],
            forecast=max(line.quoted + line.allowance + drawn[line.head] - less[line.head], invoiced[line.head])
            + line.contingency
            - drawn[line.head],
        )
        for line in budget.lines
    ]


def three_way(lines: list[OrderLine], freight: Decimal, tax: Decimal, rows: list[LedgerRow], currency: str) -> ThreeWay:
    """Order, receipt and invoices of one order side by side, and where they differ.

    Money within half of the smallest unit per line is the same: suppliers round tax by line or by invoice. What a
    credit note lets off for goods that stay explains a lower price, freight or tax.
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
    found = []
    for line in lines:
        entries = billed.pop(line.item, [])
        found.append(
            MatchLine(
                item=line.item, name=line.name, unit=line.unit, ordered=line.due, received=line.received,
                invoiced=sum((e.quantity for e in entries), Decimal(0)), ordered_goods=line.goods,
                invoiced_goods=sum((e.goods for e in entries), Decimal(0)),
            )
        )  # fmt: skip
    invoiced = sum((row.amount for row in bills), Decimal(0))
    paid = sum((row.amount for row in rows if row.kind == "payment"), Decimal(0))
    credited = -sum((row.amount for row in bills if row.kind == "credit"), Decimal(0))
    reasons = [reason for line in found for reason in _differences(line, allowed.get(line.item, Decimal(0)), currency)]
    for item, entries in sorted(billed.items()):
        amount = sum((entry.goods for entry in entries), Decimal(0))
        if amount:
            reasons.append(_differs("not ordered", item, f"{format_money(amount, currency)} for something not on the "
                                    "order", "Ask what it is for before paying"))  # fmt: skip
    whole = bool(found) and all(line.invoiced >= line.ordered for line in found)
    near = smallest(currency) * (len(lines) + 1) / 2
    for name, asked, off, agreed in (
        ("freight", sum((row.freight for row in bills), Decimal(0)),
         sum((row.freight for row in bills if row.allowance), Decimal(0)), freight),
        ("tax", sum((row.tax for row in bills), Decimal(0)),
         sum((row.tax for row in bills if row.allowance), Decimal(0)), tax),
    ):  # fmt: skip
        over = asked - agreed
        if over > near or (whole and bills and off - over > near):
            more = "more" if over > 0 else "less"
            reasons.append(_differs(f"{name} differs", name, f"{format_money(abs(over), currency)} {more} {name} than "
                                    "the order says", "Ask the supplier which is right"))  # fmt: skip
    if paid > invoiced and credited > 0:
        owed = format_money(min(paid - invoiced, credited), currency)
        reasons.append(_differs("credit open", "payments", f"{owed} that was credited is paid already",
                                "Have it paid back, or set off against their next invoice"))  # fmt: skip
    elif paid > invoiced and whole:
        reasons.append(_differs("paid too much", "payments", f"{format_money(paid - invoiced, currency)} more was paid "
                                "than invoiced", "Ask for it back, or for a credit note"))  # fmt: skip
    return ThreeWay(lines=found, invoiced=invoiced, credited=credited, paid=paid, reasons=reasons)


def _differences(line: MatchLine, allowed: Decimal, currency: str) -> list[Reason]:
    found = []
    if line.invoiced > line.received:
        missing = counted(line.invoiced - line.received, line.unit)
        found.append(_differs("billed, not received", line.item, f"{line.name}: {missing} invoiced that have not come",
                              "Pay for what is here; ask for the rest or a credit note"))  # fmt: skip
    if line.invoiced > line.ordered:
        more = counted(line.invoiced - line.ordered, line.unit)
        found.append(_differs("billed, not ordered", line.item, f"{line.name}: {more} more invoiced than ordered",
                              "Ask for a credit note"))  # fmt: skip
    if line.invoiced and line.ordered:
        agreed = line.ordered_goods * line.invoiced / line.ordered
        over = line.invoiced_goods - agreed
        if over > smallest(currency) / 2 or -over - allowed > smallest(currency) / 2:
            said = f"{format_money(abs(over), currency)} {'more' if over > 0 else 'less'}"
            found.append(_differs("price differs", line.item, f"{line.name}: {said} than the order's price for "
                                  "what is invoiced", "Hold one against the other with the supplier"))  # fmt: skip
    return found


def _differs(code: str, where: str, text: str, todo: str) -> Reason:
    return Reason(code=code, where=where, severity="warning", text=text, todo=todo)
