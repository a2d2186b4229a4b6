"""Price tables: brackets, slices, packs, and where buying more costs less."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.engine.prices import cheapest, goods, kinks, problems, tiers, whole_packs
from estimating.engine.types import Break, QuoteLine

D = Decimal


def line(*breaks: tuple[object, object], **more: object) -> QuoteLine:
    steps = [Break(start=D(str(a)), price=D(str(b))) for a, b in breaks]
    return QuoteLine(item="x", unit="each", breaks=steps, **more)  # type: ignore[arg-type]


THREE = ((1, 10), (100, 9), (200, 8))


@pytest.mark.parametrize(
    ("quantity", "all_units", "incremental"),
    [
        # All units: the whole quantity at its bracket's price. Incremental: 99 at 10, 100 at 9, the rest at 8.
        (99, 990, 990),
        (100, 900, 999),
        (199, 1791, 1890),
        (200, 1600, 1898),
        (150, 1350, 1449),
    ],
)
def test_reading_a_price_table(quantity: int, all_units: int, incremental: int) -> None:
    assert goods(line(*THREE), D(quantity), "XXX") == all_units
    assert goods(line(*THREE, form="incremental"), D(quantity), "XXX") == incremental


def test_where_more_costs_less() -> None:
    # 90 · 10 = 900 = 100 · 9, so from 91 on; 178 · 9 = 1602 > 1600 = 200 · 8.
    assert kinks(line(*THREE), "XXX") == [(D(91), D(99)), (D(178), D(199))]
    assert kinks(line(*THREE, form="incremental"), "XXX") == []


def test_the_demo_list_teaches_both_lessons() -> None:
    # Prices invented for the demo. 23 base sheets 23 · 91.40 = 2102.20, 24 cost 24 · 82.10 = 1970.40.
    base = line((1, "91.40"), (24, "82.10"), (60, "74.65"))
    assert goods(base, D(23), "XXX") == D("2102.20")
    assert cheapest(base, D(23), "XXX") == (D(24), D("1970.40"))
    # Ten top rolls 3550 against 7 at 371 = 2597: the break is not worth it.
    top = line((1, 402), (5, 371), (10, 355))
    assert goods(top, D(10), "XXX") == D("3550.00")
    assert cheapest(top, D(7), "XXX") == (D(7), D("2597.00"))


@pytest.mark.parametrize(
    ("demand", "order", "rate", "breaks", "totals", "best"),
    [
        # Nahmias, Production and Operations Analysis (quantity discounts), data from memory; all units.
        (600, 8, "0.20", ((1, "0.30"), (500, "0.29"), (1000, "0.28")),
         {400: "204.00", 500: "198.10", 1000: "200.80"}, 500),
        # Textbook exercise in Heizer & Render, Operations Management, from memory; all units.
        (5000, 49, "0.20", ((1, "5.00"), (1000, "4.80"), (2000, "4.75")),
         {700: "25700", 1000: "24725", 2000: "24822.50"}, 1000),
    ],
)  # fmt: skip
def test_economic_quantities_of_the_textbooks(
    demand: int, order: int, rate: str, breaks: tuple[tuple[int, str], ...], totals: dict[int, str], best: int
) -> None:
    table = line(*breaks)

    def a_year(quantity: int) -> Decimal:
        unit = goods(table, D(quantity), "XXX") / quantity
        return unit * demand + D(order) * demand / quantity + D(rate) * unit * quantity / 2

    for quantity, total in totals.items():
        assert a_year(quantity) == D(total)
    assert min(totals, key=a_year) == best


def test_same_incremental_from_the_textbook() -> None:
    # First 500 at 0.30, next 500 at 0.29, the rest at 0.28: 519 cost 150 + 19 · 0.29 = 155.51.
    table = line((1, "0.30"), (501, "0.29"), (1001, "0.28"), form="incremental")
    assert goods(table, D(400), "XXX") == D("120.00")
    assert goods(table, D(519), "XXX") == D("155.51")
    assert goods(table, D(1002), "XXX") == D("295.56")


def test_packs_and_smallest_quantity() -> None:
    packs = line((5, 149), pack=D(5))
    assert [whole_packs(packs, D(q)) for q in (1, 5, 6, 15)] == [5, 5, 10, 15]
    with pytest.raises(ValueError, match="smallest"):
        goods(packs, D(4), "XXX")
    # In packs of 5 with a break at 25, the slices are 5…20 at 10 and from 25 at 8: 25 cost 20 · 10 + 5 · 8.
    sliced = line((5, 10), (25, 8), pack=D(5), form="incremental")
    assert goods(sliced, D(25), "XXX") == D("240.00")
    assert kinks(line((5, 10), (25, 8), pack=D(5)), "XXX") == []  # 20 cost 200, as much as 25


def test_rounding_is_once_at_the_line() -> None:
    assert goods(line((1, "0.335")), D(3), "XXX") == D("1.01")  # 1.005 half up
    assert goods(line((1, "0.5")), D(3), "JPY") == D(2)  # 1.5 yen


@pytest.mark.parametrize(
    ("table", "says"),
    [
        (line(), "no price"),
        (line((1, 5), (1, 4)), "must rise"),
        (line((10, 5), (1, 6)), "must rise"),
        (line((1, -5)), "below zero"),
        (line((1, 5), pack=D(0)), "pack size"),
        (line((1, "1e30")), "above"),
    ],
)
def test_tables_that_cannot_be_used(table: QuoteLine, says: str) -> None:
    assert says in "; ".join(problems(table))
    assert problems(line(*THREE)) == []


tables = st.builds(
    lambda starts, prices, form, pack: line(
        *zip(sorted({1, *starts}), sorted(prices, reverse=True), strict=False), form=form, pack=D(pack)
    ),
    st.lists(st.integers(2, 150), max_size=3, unique=True),
    st.lists(st.decimals(1, 50, places=2), min_size=4, max_size=4),
    st.sampled_from(["all units", "incremental"]),
    st.sampled_from([1, 4, 10]),
)


@given(tables, st.integers(1, 200))
def test_cheapest_beats_every_quantity_that_covers_the_need(table: QuoteLine, need: int) -> None:
    quantity, paid = cheapest(table, D(need), "XXX")
    assert quantity >= need
    assert quantity % table.pack == 0
    assert paid == goods(table, quantity, "XXX")
    pack = int(table.pack)
    for other in range(-(-need // pack) * pack, 240, pack):
        assert paid <= goods(table, D(other), "XXX")


@given(tables, st.integers(1, 20))
def test_incremental_prices_never_fall_and_brackets_leave_no_gap(table: QuoteLine, packs: int) -> None:
    quantity = table.pack * packs
    if table.form == "incremental":
        assert goods(table, quantity + table.pack, "XXX") >= goods(table, quantity, "XXX")
    brackets = list(tiers(table))
    for (_, last, _, _), (first, _, _, _) in pairwise(brackets):
        assert last is not None
        assert first == last + table.pack
    assert brackets[-1][1] is None
