"""Bills and payments by head, and the three-way check: hand-counted, and sums kept to the cent."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.engine.heads import FREIGHT, HEADS, TAX
from estimating.engine.ledger import (
    BilledLine,
    LedgerRow,
    OrderLine,
    after_draws,
    head_money,
    overpaid,
    shares,
    three_way,
)
from estimating.engine.types import Budget, BudgetLine

DAY = date(2027, 2, 1)
HEAD_OF = {"ply": 11, "foam": 8}


def budget(**lines: tuple[str, str, str]) -> Budget:
    """head8=(quoted, set aside, contingency)."""
    rows = []
    for number, name in HEADS.items():
        quoted, allowance, contingency = (D(a) for a in lines.get(f"head{number}", ("0", "0", "0")))
        rows.append(
            BudgetLine(
                head=number, name=name, quoted=quoted, allowance=allowance, contingency=contingency, ordered=D(0),
                total=quoted + allowance + contingency, made_of=[],
            )
        )  # fmt: skip
    return Budget(
        status="proven", lines=rows, goods=D(0), freight=D(0), tax=D(0), contingency=D(0), total=D(0),
        available=D(0), left=D(0), reasons=[],
    )  # fmt: skip


def row(number: int, kind: str, amount: str, **more: Any) -> LedgerRow:
    return LedgerRow(number=number, kind=kind, day=DAY, amount=D(amount), **more)  # type: ignore[arg-type]


def by_head(rows: list[LedgerRow], plan: Budget | None = None, ordered: Any = None) -> dict[int, Any]:
    return {line.head: line for line in head_money(plan or budget(), rows, ordered or {}, HEAD_OF, "USD")}


def test_an_invoice_falls_under_the_heads_of_its_items() -> None:
    lines = [BilledLine(item="ply", quantity=D(10), goods=D("100.00")),
             BilledLine(item="foam", quantity=D(2), goods=D("50.00"))]  # fmt: skip
    bill = row(1, "invoice", "176.25", lines=lines, freight=D("15.00"), tax=D("11.25"))
    # 176.25 in all; half of it paid: 88.13 split 50 : 100 : 15 : 11.25 (heads 8, 11, 19, 22).
    # Running: 88.13·50/176.25 = 25.0014 → 25.00; ·150/176.25 = 75.0043 → 75.00; ·165/176.25 = 82.5047 → 82.50.
    found = by_head([bill, row(2, "payment", "88.13", settles=1)])
    assert {h: (m.invoiced, m.paid) for h, m in found.items() if m.invoiced} == {
        8: (D("50.00"), D("25.00")), 11: (D("100.00"), D("50.00")), FREIGHT: (D("15.00"), D("7.50")),
        TAX: (D("11.25"), D("5.63")),
    }  # fmt: skip


def test_a_deposit_is_split_as_the_order_is() -> None:
    found = by_head([row(1, "payment", "40.00", order="PO-1")], ordered={"PO-1": {8: D(75), TAX: D(25)}})
    assert {h: m.paid for h, m in found.items() if m.paid} == {8: D("30.00"), TAX: D("10.00")}


def test_every_figure_opens_to_what_it_is_made_of() -> None:
    """PO-1 of 75.00 under head 8, 60.00 of it invoiced and 20.00 paid, then 5.00 too many reversed."""
    line = BilledLine(item="foam", quantity=D(4), goods=D("60.00"))
    rows = [
        row(1, "invoice", "60.00", lines=[line], order="PO-1", reference="R-17"),
        row(2, "payment", "25.00", settles=1, order="PO-1"),
        row(3, "payment", "-25.00", settles=1, order="PO-1"),
        row(4, "payment", "20.00", settles=1, order="PO-1"),
        row(5, "invoice", "9.00", head=8, goods=D("9.00"), who="Sparrow Electric"),
    ]
    money = by_head(rows, ordered={"PO-1": {8: D(75)}, "PO-2": {8: D(5)}})[8]
    assert money.ordered_of == [("PO-1", D(75)), ("PO-2", D(5))]
    assert money.invoiced_of == [("Invoice 1, R-17, PO-1", D(60)), ("Invoice 5, Sparrow Electric", D(9))]
    assert money.paid_of == [
        ("Payment 2, PO-1", D(25)), ("Payment 3, PO-1", D(-25)), ("Payment 4, PO-1", D(20)),
    ]  # fmt: skip
    assert (money.ordered, money.invoiced, money.paid) == (D(80), D(69), D(20))


def test_a_draw_moves_money_and_changes_no_total() -> None:
    plan = budget(head5=("1000", "200", "150"))
    before = by_head([], plan)[5]
    after = by_head([row(1, "draw", "60.00", head=5)], plan)[5]
    assert before.forecast == after.forecast == D(1350)
    assert (after.estimated, after.contingency, after.drawn) == (D("260.00"), D("90.00"), D("60.00"))


def test_a_bill_above_the_plan_raises_the_forecast() -> None:
    # Quoted 1000 and set aside 200; invoiced 1300: 1300 + 150 of contingency.
    plan = budget(head5=("1000", "200", "150"))
    assert by_head([row(1, "invoice", "1300", head=5, goods=D(1300))], plan)[5].forecast == D(1450)


def test_what_is_set_aside_holds_its_tax() -> None:
    # 8600 set aside: a bill of 8000.00 and 600.00 tax uses it up and no more; one of 8500.00 and 637.50 is 537.50 over.
    plan = budget(head5=("0", "8600", "0"), head22=("2000", "0", "0"))
    ordered = row(1, "invoice", "2000", order="PO-1", tax=D(2000))
    for goods, tax, more in (("8000", "600", "0"), ("8500", "637.50", "537.50")):
        loose = row(2, "invoice", f"{D(goods) + D(tax)}", head=5, goods=D(goods), tax=D(tax))
        found = by_head([ordered, loose], plan)
        assert (found[5].invoiced, found[TAX].invoiced) == (D(goods), 2000 + D(tax)), "tax stands apart"
        assert sum(m.forecast for m in found.values()) == D(10600) + D(more)


def test_money_drawn_is_set_aside_from_then_on() -> None:
    plan = budget(head5=("1000", "200", "150"), head24=("0", "700", "0"))
    found = after_draws(plan, {5: D(60)})
    assert (found.lines[4].allowance, found.lines[4].contingency) == (D(260), D(90))
    assert (found.allowances - plan.allowances, found.contingency - plan.contingency) == (D(60), D(-60))
    assert found.total == plan.total


def test_a_reversal_leaves_nothing() -> None:
    bill = row(1, "invoice", "107.50", head=5, goods=D(100), tax=D("7.50"))
    back = row(2, "invoice", "-107.50", head=5, goods=D(-100), tax=D("-7.50"))
    paid, unpaid = row(3, "payment", "20", settles=1, head=5), row(4, "payment", "-20", settles=1, head=5)
    assert all(m.invoiced == m.paid == 0 for m in by_head([bill, back, paid, unpaid]).values())


cents = st.decimals(-5000, 5000, places=2)


@given(cents, st.lists(st.decimals("0.01", 900, places=2), min_size=1, max_size=6))
def test_shares_add_up(amount: D, weights: list[D]) -> None:
    parts = shares(amount, weights, "USD")
    assert sum(parts) == amount
    for part, weight in zip(parts, weights, strict=True):
        assert abs(part - amount * weight / sum(weights)) <= D("0.01")


@given(
    st.lists(
        st.tuples(st.sampled_from(["ply", "foam", "unknown"]), st.decimals(0, 900, places=2)), min_size=1, max_size=4
    ),
    st.decimals(0, 90, places=2), st.decimals(0, 90, places=2),
    st.lists(st.decimals("0.01", 300, places=2), max_size=4),
)  # fmt: skip
def test_money_under_heads_is_the_money_in_the_book(
    goods: list[tuple[str, D]], freight: D, tax: D, payments: list[D]
) -> None:
    lines = [BilledLine(item=item, quantity=D(1), goods=amount) for item, amount in goods]
    total = sum((amount for _, amount in goods), D(0)) + freight + tax
    rows = [row(1, "invoice", f"{total}", lines=lines, freight=freight, tax=tax)]
    rows += [row(2 + n, "payment", f"{amount}", settles=1) for n, amount in enumerate(payments)]
    found = by_head(rows).values()
    assert sum(m.invoiced for m in found) == total
    assert sum(m.paid for m in found) == sum(payments, D(0))


# ------------------------------------------------------------------ three-way check


def line(received: str = "40") -> OrderLine:
    return OrderLine(item="ply", name="Plywood", unit="sheet", due=D(40), goods=D("1400.00"), received=D(received))


def bill(quantity: str, goods: str, freight: str = "75.00", tax: str = "110.63", item: str = "ply") -> LedgerRow:
    total = D(goods) + D(freight) + D(tax)
    billed = [BilledLine(item=item, quantity=D(quantity), goods=D(goods))]
    return row(1, "invoice", f"{total}", lines=billed, freight=D(freight), tax=D(tax))


@pytest.mark.parametrize(
    ("received", "rows", "codes"),
    [
        ("40", [bill("40", "1400.00")], []),
        ("38", [bill("40", "1400.00")], ["billed, not received"]),
        # 1470.00 → 110.25, freight 5.63: 115.88
        ("40", [bill("42", "1470.00", tax="115.88")], ["billed, not received", "billed, not ordered"]),
        ("40", [bill("40", "1400.01")], ["price differs"]),
        ("20", [bill("20", "700.00", tax="58.13")], []),  # half, at the order's price: nothing is wrong yet
        # Freight is one amount and no cent may differ: 95.00 → 7.125 → 7.13, 55.00 → 4.125 → 4.13, 75.01 → 5.63.
        ("40", [bill("40", "1400.00", freight="95.00", tax="112.13")], ["freight differs"]),
        ("40", [bill("40", "1400.00", freight="55.00", tax="109.13")], ["freight differs"]),
        ("40", [bill("40", "1400.00", freight="75.01")], ["freight differs"]),
        # Two amounts are printed, so two half cents: 7.5 % of 1475.00 is 110.625, whichever way they round it.
        ("40", [bill("40", "1400.00", tax="110.62")], []),
        ("40", [bill("40", "1400.00", tax="110.64")], []),
        ("40", [bill("40", "1400.00", tax="110.65")], ["tax differs"]),
        ("40", [bill("40", "1400.00", tax="110.61")], ["tax differs"]),
        ("20", [bill("20", "700.00", tax="110.63")], ["tax differs"]),  # tax on all, goods for half
        ("40", [bill("3", "30.00", tax="7.88", item="glue")], ["received, not billed", "not ordered"]),
        # 1470.00 without freight: at 40 for 1400.00 too dear; and 70.00 more without a quantity.
        ("40", [bill("0", "70.00", tax="10.88")], ["received, not billed", "billed without a quantity"]),
        ("40", [], ["received, not billed"]),
        ("25", [bill("20", "700.00", tax="58.13")], ["received, not billed"]),
        ("40", [bill("40", "1400.00"), row(2, "payment", "1585.64", settles=1)], ["paid too much"]),
        ("40", [bill("40", "1400.00"), row(2, "payment", "1585.64")], ["paid too much"]),
        ("0", [row(2, "payment", "600", order="PO-1")], ["paid ahead"]),  # a deposit
        ("0", [row(2, "payment", "1585.63", order="PO-1")], ["paid ahead"]),  # all of it, before anything came
        ("0", [row(2, "payment", "1585.64", order="PO-1")], ["paid too much", "paid ahead"]),
        # Half is invoiced, 833.13; another hundred is paid for it than it asks.
        ("20", [bill("20", "700.00", tax="58.13"), row(2, "payment", "933.13", settles=1)], ["paid too much"]),
        # The same hundred paid to the order: ahead of the rest.
        ("20", [bill("20", "700.00", tax="58.13"), row(2, "payment", "933.13")], ["paid ahead"]),
    ],
)
def test_order_receipt_and_invoice(received: str, rows: list[LedgerRow], codes: list[str]) -> None:
    # 40 sheets for 1400.00, freight 75.00, tax 7.5 % by line: 105.00 + 5.63 = 110.63; in all 1585.63.
    found = three_way([line(received)], D("75.00"), D("110.63"), D("7.5"), rows, "USD")
    assert [reason.code for reason in found.reasons] == codes


# ------------------------------------------------------------------ credit notes


def credit(quantity: str, goods: str, tax: str = "0", settles: int | None = 1) -> LedgerRow:
    taken = [BilledLine(item="ply", quantity=D(quantity), goods=D(goods))]
    return row(9, "credit", f"{D(goods) + D(tax)}", lines=taken, tax=D(tax), settles=settles, order="PO-1")


@pytest.mark.parametrize(
    ("received", "rows", "codes"),
    [
        # Two sheets billed that never came, taken back at the order's price, 35.00 each.
        ("38", [bill("40", "1400.00"), credit("-2", "-70.00", "-5.25")], []),
        # One of the two is still billed.
        ("38", [bill("40", "1400.00"), credit("-1", "-35.00", "-2.63")], ["billed, not received"]),
        # 50.00 off for scratched sheets that stay: a lower price and less tax, both explained.
        ("40", [bill("40", "1400.00"), credit("0", "-50.00", "-3.75")], []),
        # 14 too dear, 10 credited: 4 still differ.
        ("40", [bill("40", "1414.00", tax="111.68"), credit("0", "-10.00")], ["price differs"]),
        # Less than the order's price without a note that says why.
        ("40", [bill("40", "1350.00", tax="106.88")], ["price differs"]),
        # All paid before the note: 53.75 to come back; once it has, nothing is open.
        ("40", [bill("40", "1400.00"), row(2, "payment", "1585.63"), credit("0", "-50.00", "-3.75")], ["credit open"]),
        ("40", [bill("40", "1400.00"), row(2, "payment", "1585.63"), credit("0", "-50.00", "-3.75"),
                row(3, "payment", "-53.75", settles=9)], []),
    ],
)  # fmt: skip
def test_a_credit_note_in_the_check(received: str, rows: list[LedgerRow], codes: list[str]) -> None:
    found = three_way([line(received)], D("75.00"), D("110.63"), D("7.5"), rows, "USD")
    assert [reason.code for reason in found.reasons] == codes
    assert found.invoiced == sum((r.amount for r in rows if r.kind in ("invoice", "credit")), D(0))


@pytest.mark.parametrize(
    ("rows", "forecast"),
    [
        # Ordered 1000. Kept at a lower price: 40 less for good.
        ([("invoice", "1000", "10"), ("credit", "-40", "0")], "960"),
        # Billed 40 too high and corrected: the order still costs what it says.
        ([("invoice", "1040", "10"), ("credit", "-40", "0")], "1000"),
        # Taken back: the goods are still needed, so the money is too, until a change order says otherwise.
        ([("invoice", "1000", "10"), ("credit", "-100", "-1")], "1000"),
    ],
)
def test_a_credit_note_in_the_forecast(rows: list[tuple[str, str, str]], forecast: str) -> None:
    book = [
        row(n, kind, amount, order="PO-1", lines=[BilledLine(item="ply", quantity=D(quantity), goods=D(amount))])
        for n, (kind, amount, quantity) in enumerate(rows)
    ]
    found = by_head(book, budget(head11=("1000", "0", "0")), {"PO-1": {11: D(1000)}})[11]
    assert (found.forecast, found.invoiced) == (D(forecast), sum((entry.amount for entry in book), D(0)))


@given(st.decimals("0.01", 900, places=2), st.decimals("0.01", 90, places=2), st.decimals("0.01", 90, places=2))
def test_money_that_came_back_is_under_the_heads_it_left(goods: D, tax: D, off: D) -> None:
    sold = row(1, "invoice", f"{goods + tax}", lines=[BilledLine(item="ply", quantity=D(1), goods=goods)], tax=tax)
    rows = [sold, row(2, "payment", f"{goods + tax}", settles=1), credit("0", f"{-off}", settles=None)]
    rows.append(row(3, "payment", f"{-off}", settles=9))
    found = by_head(rows, ordered={"PO-1": {11: goods, TAX: tax}})
    assert sum(m.paid for m in found.values()) == goods + tax - off
    assert (found[11].invoiced, found[11].paid) == (goods - off, goods - off)


def test_each_difference_is_told_with_its_arithmetic() -> None:
    # Three bills, each a third of 100.00: 33.33 three times is a cent short, half a cent a bill is rounding.
    order = [OrderLine(item="ply", name="Plywood", unit="sheet", due=D(3), goods=D("100.00"), received=D(3))]
    thirds = [
        row(n, "invoice", "35.83", lines=[BilledLine(item="ply", quantity=D(1), goods=D("33.33"))], tax=D("2.50"))
        for n in (1, 2, 3)
    ]  # 7.5 % of 33.33 is 2.49975
    found = three_way(order, D(0), D("7.50"), D("7.5"), thirds, "USD")
    assert found.reasons == []
    # A fourth says the same once more.
    found = three_way(order, D(0), D("7.50"), D("7.5"), [*thirds, thirds[0]], "USD")
    assert [reason.code for reason in found.reasons] == ["billed, not received", "billed, not ordered"]
    # 2.60 three times, where the lines come to 2.50 each.
    dear = [msgspec.structs.replace(bill, tax=D("2.60"), amount=D("35.93")) for bill in thirds]
    [reason] = three_way(order, D(0), D("7.50"), D("7.5"), dear, "USD").reasons
    assert reason.text == "$0.30 more tax than 7.5 % of what is invoiced: $7.80, where its lines come to $7.50"


def test_overpaid_invoices_are_named() -> None:
    rent = row(1, "invoice", "1150.00", head=1, goods=D(1150), who="Wickerby", reference="R-7")
    assert overpaid([rent, row(2, "payment", "1150.00", settles=1)], "USD") == []
    [reason] = overpaid([rent, row(2, "payment", "1150.00", settles=1), row(3, "payment", "1150", settles=1)], "USD")
    assert reason.text == "Invoice R-7 of Wickerby: $1,150.00 more was paid than it asks"


def test_what_calling_off_costs_is_held_against_what_was_agreed() -> None:
    off = [OrderLine(item="ply", name="Plywood", unit="sheet", due=D(0), goods=D("100.00"), received=D(0))]
    paid = [row(1, "invoice", "107.50", lines=[BilledLine(item="ply", quantity=D(0), goods=D(100))], tax=D("7.50"))]
    assert three_way(off, D(0), D("7.50"), D("7.5"), paid, "USD").reasons == []
    more = [row(1, "invoice", "129.00", lines=[BilledLine(item="ply", quantity=D(0), goods=D(120))], tax=D("9.00"))]
    [reason] = three_way(off, D(0), D("7.50"), D("7.5"), more, "USD").reasons
    assert reason.text == "Plywood: $20.00 more than was agreed for calling it off"
