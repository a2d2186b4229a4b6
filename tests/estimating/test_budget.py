"""The budget: every head opens to its parts, sums are exact, orders replace estimates, tax stands apart."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from estimating.engine.budget import budget
from estimating.engine.heads import HEADS
from estimating.engine.types import (
    Award,
    AwardLine,
    AwardSupplier,
    Budget,
    Charge,
    HeadPlan,
    MoneyPlan,
    OrderedLine,
    PlacedOrder,
    Product,
    Quote,
    TakeOff,
    TakeOffLine,
)

D = Decimal
PRODUCTS = [
    Product(id=item, name=item.title(), form="each", unit="each", head=head)
    for item, head in (("foam", 8), ("cover", 9), ("tape", 8), ("mirror", 12))
]


def asked(*items: str) -> TakeOff:
    heads = {p.id: p.head for p in PRODUCTS}
    lines = [
        TakeOffLine(
            item=item, name=item.title(), head=heads[item], unit="each", net=D(1), allowance=D(0), waste=D(0),
            quantity=D(1), trace=[],
        )
        for item in items
    ]  # fmt: skip
    return TakeOff(status="proven", lines=lines, drivers={}, reasons=[])


def bought(item: str, goods: str, extras: str = "0.00", quantity: int = 10, **more: Any) -> AwardLine:
    fields: dict[str, Any] = {
        "item": item, "quote": "q-1", "supplier": "q", "asked": D(quantity), "asked_unit": "each",
        "quantity": D(quantity), "unit": "each", "conversion": "", "unit_price": D(goods) / quantity,
        "goods": D(goods), "extras": D(extras), "spare": D(0), "runner_up": "", "runner_up_extra": D(0),
    }  # fmt: skip
    return AwardLine(**(fields | more))


def awarded(*lines: AwardLine, freight: str = "0.00") -> Award:
    goods = sum((line.goods + line.extras for line in lines), D(0))
    parties = [
        AwardSupplier(supplier="q", quote="q-1", goods=goods, freight=D(freight), tax=D(0), total=goods + D(freight))
    ]
    return Award(
        status="proven", bound=goods, total=goods + D(freight), tax=D(0), lines=list(lines),
        suppliers=parties if lines else [], unquoted=[], reasons=[],
    )  # fmt: skip


def order(item: str, goods: str, quantity: int, freight: str = "0", quote: str = "q-1") -> PlacedOrder:
    line = OrderedLine(item=item, quantity=D(quantity), unit="each", unit_price=D(goods) / quantity, goods=D(goods))
    return PlacedOrder(
        number="PO-7", supplier="q", quote=quote, state="placed", placed=date(2027, 1, 4), lines=[line],
        freight=D(freight),
    )  # fmt: skip


def check(found: Budget) -> None:
    assert [line.head for line in found.lines] == list(range(1, 25))
    assert [line.name for line in found.lines] == list(HEADS.values())
    for line in found.lines:
        assert line.total == line.quoted + line.allowance + line.contingency
        assert sum((amount for _, amount in line.made_of), D(0)) == line.total
    inside = [line for line in found.lines if line.head != 24]
    assert found.total == sum(line.total for line in inside)
    assert found.total == found.goods + found.freight + found.tax + found.allowances + found.contingency
    assert found.left == found.available - found.total


def head(found: Budget, number: int) -> tuple[Decimal, Decimal, Decimal, Decimal, Decimal]:
    line = found.lines[number - 1]
    return line.quoted, line.allowance, line.contingency, line.ordered, line.total


def test_heads_by_hand() -> None:
    money = MoneyPlan(
        available=D(20000), tax_percent=D("7.5"), weekly_rent=D(1150),
        heads=[
            HeadPlan(head=8, allowance=D(100), contingency_percent=D(10), note="tape"),
            HeadPlan(head=9, contingency_percent=D(5)),
            HeadPlan(head=24, allowance=D(7000)),
        ],
    )  # fmt: skip
    award = awarded(bought("foam", "1000.00"), bought("cover", "9000.00", "610.00"), freight="405.00")
    found = budget(asked("foam", "cover", "tape"), award, money, [], PRODUCTS)
    check(found)
    assert head(found, 8) == (D(1000), D(100), D(110), D(0), D(1210))  # 10 % of 1000 + 100
    assert head(found, 9) == (D(9610), D(0), D("480.50"), D(0), D("10090.50"))
    assert head(found, 19)[0] == D(405)
    # 7.5 %: 75.00 + 720.75 + 30.375 → 30.38
    assert head(found, 22)[0] == D("826.13")
    assert found.total == D("12531.63")
    assert (found.left, found.kept_apart) == (D("7468.37"), D(7000))
    assert found.status == "proven"
    assert [r.code for r in found.reasons] == ["cost of delay"]
    assert found.lines[8].made_of == [
        ("Cover, quote q-1", D("9000.00")),
        ("Cover, quote q-1, set-up and extras", D("610.00")),
        ("Contingency 5 %", D("480.50")),
    ]


def test_an_order_replaces_the_award_for_what_it_covers() -> None:
    award = awarded(bought("foam", "1000.00"), freight="50.00")
    whole = budget(asked("foam"), award, MoneyPlan(), [order("foam", "930.00", 10, "60")], PRODUCTS)
    check(whole)
    assert head(whole, 8) == (D(930), D(0), D(0), D(930), D(930))
    assert head(whole, 19)[0] == D(60)
    part = budget(asked("foam"), award, MoneyPlan(), [order("foam", "400.00", 4)], PRODUCTS)
    check(part)
    assert head(part, 8)[0] == D(1000)  # 400 ordered and 6/10 of 1000
    assert [what for what, _ in part.lines[7].made_of] == [
        "Foam, order PO-7", "Foam, quote q-1, still to order 6 each",
    ]  # fmt: skip


def test_an_order_nothing_asks_for_any_more_still_costs() -> None:
    found = budget(asked(), awarded(), MoneyPlan(tax_percent=D(10)), [order("mirror", "300.00", 2)], PRODUCTS)
    check(found)
    assert head(found, 12) == (D(300), D(0), D(0), D(300), D(300))
    assert found.tax == D("30.00")


def test_items_neither_quoted_nor_set_aside_are_named() -> None:
    found = budget(asked("foam", "mirror"), awarded(bought("foam", "10.00")), MoneyPlan(), [], PRODUCTS)
    assert found.status == "underdetermined"
    reason = found.reasons[0]
    assert (reason.code, reason.where) == ("nothing set aside", "head 12")
    assert "Mirror" in reason.text
    kept = MoneyPlan(heads=[HeadPlan(head=12, allowance=D(500))])
    assert budget(asked("mirror"), awarded(), kept, [], PRODUCTS).status == "proven"


def test_money_that_does_not_reach() -> None:
    award = awarded(bought("foam", "1000.00"))
    short = budget(asked("foam"), award, MoneyPlan(available=D(900)), [], PRODUCTS)
    assert (short.status, short.left) == ("infeasible", D(-100))
    assert "¤100.00 more" in short.reasons[0].text
    purse = MoneyPlan(available=D(1500), heads=[HeadPlan(head=24, allowance=D(600))])
    tight = budget(asked("foam"), award, purse, [], PRODUCTS)
    assert (tight.status, [r.code for r in tight.reasons]) == ("proven", ["float not covered"])


def test_an_empty_build_and_an_unknown_head() -> None:
    found = budget(asked(), awarded(), MoneyPlan(heads=[HeadPlan(head=31, allowance=D(5))]), [], [])
    check(found)
    assert found.total == 0
    assert [r.code for r in found.reasons] == ["unknown head"]


def test_percentages_beyond_reason_are_said() -> None:
    money = MoneyPlan(tax_percent=D(10) ** 11, heads=[HeadPlan(head=8, contingency_percent=D(10) ** 11)])
    found = budget(asked("foam"), awarded(bought("foam", "10.00")), money, [], PRODUCTS)
    check(found)
    assert [(r.code, r.where) for r in found.reasons] == [
        ("percent too high", "tax_percent"), ("percent too high", "head 8"),
    ]  # fmt: skip


cents = st.decimals(0, 20000, places=2)
percents = st.decimals(0, 25, places=2)


@given(
    st.lists(st.tuples(st.sampled_from(["foam", "cover", "tape", "mirror"]), cents, cents), unique_by=lambda t: t[0]),
    cents,
    percents,
    st.lists(st.tuples(st.integers(1, 24), cents, percents), unique_by=lambda t: t[0]),
    st.booleans(),
)
def test_sums_are_exact_whatever_the_figures(
    lines: list[tuple[str, Decimal, Decimal]],
    freight: Decimal,
    tax: Decimal,
    heads: list[tuple[int, Decimal, Decimal]],
    with_order: bool,
) -> None:
    award = awarded(*(bought(item, str(goods), str(extras)) for item, goods, extras in lines), freight=str(freight))
    plans = [HeadPlan(head=h, allowance=a, contingency_percent=p) for h, a, p in heads]
    orders = [order("foam", "123.45", 3, "6.78", quote="z-1")] if with_order else []
    found = budget(asked("foam"), award, MoneyPlan(tax_percent=tax, heads=plans), orders, PRODUCTS)
    check(found)
    if not with_order:
        assert found.goods == sum((goods + extras for _, goods, extras in lines), D(0))


def test_what_calling_off_costs_stays_in_the_budget() -> None:
    # Quoted 1000.00 still to buy, 120.00 asked for calling off an earlier order of it, 10 % tax on each.
    award = awarded(bought("foam", "1000.00"))
    money = MoneyPlan(tax_percent=D(10))
    found = budget(asked("foam"), award, money, [], PRODUCTS, [Charge(order="PO-1", item="foam", amount=D("120.00"))])
    head = next(line for line in found.lines if line.head == 8)
    assert (head.quoted, head.ordered) == (D("1120.00"), D("120.00"))
    assert ("Foam, called off from order PO-1", D("120.00")) in head.made_of
    assert (found.tax, found.total) == (D("112.00"), D("1232.00"))


def quote(name: str, percent: str | None) -> Quote:
    day = date(2027, 1, 4)
    return Quote(
        id=name, supplier=name[0], currency="XXX", quoted=day, valid_until=day, lines=[], lead_days_low=1,
        lead_days_likely=1, lead_days_high=1, tax_percent=None if percent is None else D(percent),
    )  # fmt: skip


QUOTES = [quote("q-1", "7.5"), quote("r-1", "5"), quote("s-1", None)]


def test_every_line_is_taxed_at_the_rate_of_its_own_quote() -> None:
    # q-1, 7.5 %: foam 1000.00 and 20.00 extras → 76.50; freight 40.00 → 3.00
    # r-1, 5 %: cover 1175.43 → 58.7715 → 58.77; freight 80.00 → 4.00
    # s-1, the build's 10 %: mirror 30.05 → 3.005 → 3.01
    award = Award(
        status="proven", bound=D(0), total=D(0), tax=D(0), unquoted=[], reasons=[],
        lines=[
            bought("foam", "1000.00", "20.00"), bought("cover", "1175.43", quote="r-1"),
            bought("mirror", "30.05", quote="s-1"),
        ],
        suppliers=[
            AwardSupplier(supplier=q[0], quote=q, goods=D(0), freight=D(freight), tax=D(0), total=D(0))
            for q, freight in (("q-1", "40.00"), ("r-1", "80.00"), ("s-1", "0.00"))
        ],
    )  # fmt: skip
    found = budget(asked("foam", "cover", "mirror"), award, MoneyPlan(tax_percent=D(10)), [], PRODUCTS, (), QUOTES)
    check(found)
    assert found.lines[21].made_of == [
        ("Foam, quote q-1, 7.5 %", D("76.50")), ("Cover, quote r-1, 5 %", D("58.77")),
        ("Mirror, quote s-1, 10 %", D("3.01")), ("Freight, quote q-1, 7.5 %", D("3.00")),
        ("Freight, quote r-1, 5 %", D("4.00")),
    ]  # fmt: skip
    assert (found.goods, found.freight, found.tax) == (D("2225.48"), D("120.00"), D("145.28"))
    assert found.total == D("2490.76")
    assert found.tax_rates == [D(5), D("7.5"), D(10)]


def test_an_order_is_taxed_as_it_was_placed() -> None:
    # Placed at 5 % for 400.00 and 60.00 freight: 20.00 + 3.00. Its quote says 7.5 % since: that is for the 6 of 10
    # still to buy, 600.00 → 45.00. Calling off an earlier order placed at 5 % costs 120.00 → 6.00.
    award = awarded(bought("foam", "1000.00"))
    placed = msgspec.structs.replace(order("foam", "400.00", 4, "60"), tax_percent=D(5), tax=D("23.00"))
    off = [Charge(order="PO-1", item="foam", amount=D("120.00"), tax_percent=D(5))]
    found = budget(asked("foam"), award, MoneyPlan(tax_percent=D(10)), [placed], PRODUCTS, off, QUOTES)
    check(found)
    assert found.tax == D("74.00")
    assert found.tax_rates == [D(5), D("7.5")]
    # Their paper rounds the whole invoice and says 22.99: that is what is owed.
    told = msgspec.structs.replace(placed, tax=D("22.99"))
    found = budget(asked("foam"), award, MoneyPlan(tax_percent=D(10)), [told], PRODUCTS, off, QUOTES)
    check(found)
    assert found.tax == D("73.99")
    assert ("Order PO-7, as its tax is written there", D("-0.01")) in found.lines[21].made_of
    # A file that says neither rate nor tax: as its quote says.
    bare = msgspec.structs.replace(placed, tax_percent=None, tax=None)
    found = budget(asked("foam"), award, MoneyPlan(tax_percent=D(10)), [bare], PRODUCTS, (), QUOTES)
    assert found.tax == D("79.50")  # 30.00 + 4.50 + 45.00
