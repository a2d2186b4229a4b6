"""Arrivals and order-by dates: working days, holidays, orders as facts, and what is already late."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.engine.lead_times import arrivals, expected_days_late, lateness, order_by
from estimating.engine.types import (
    Arrivals,
    Award,
    AwardLine,
    AwardRules,
    Break,
    Lateness,
    OrderBy,
    OrderDates,
    OrderedLine,
    PlacedOrder,
    Product,
    Quote,
    QuoteLine,
    Supplier,
    TakeOffLine,
)

D = Decimal
DAY = date(2026, 11, 25)  # a Wednesday
CLOSED = [date(2026, 11, 26), date(2026, 12, 25), date(2027, 1, 1)]


def award_line(item: str, supplier: str = "s", quantity: int = 10, **more: Any) -> AwardLine:
    fields: dict[str, Any] = {
        "item": item, "quote": f"{supplier}-1", "supplier": supplier, "asked": D(quantity), "asked_unit": "each",
        "quantity": D(quantity), "unit": "each", "conversion": "", "unit_price": D(1), "goods": D(quantity),
        "extras": D(0), "spare": D(0), "runner_up": "", "runner_up_extra": D(0),
    }  # fmt: skip
    return AwardLine(**(fields | more))


def awarded(*lines: AwardLine, unquoted: list[str] | None = None) -> Award:
    return Award(
        status="proven", bound=D(0), total=D(0), tax=D(0), lines=list(lines), suppliers=[], unquoted=unquoted or [],
        reasons=[],
    )  # fmt: skip


def quote(supplier: str, low: int, likely: int, high: int) -> Quote:
    return Quote(
        id=f"{supplier}-1", supplier=supplier, currency="XXX", quoted=DAY, valid_until=date(2027, 12, 31),
        lines=[QuoteLine(item="x", unit="each", breaks=[Break(start=D(1), price=D(1))])],
        lead_days_low=low, lead_days_likely=likely, lead_days_high=high,
    )  # fmt: skip


def order(item: str, quantity: int = 10, **more: Any) -> PlacedOrder:
    line = OrderedLine(item=item, quantity=D(quantity), unit="each", unit_price=D(1), goods=D(quantity))
    fields: dict[str, Any] = {
        "number": "PO-1", "supplier": "s", "quote": "s-1", "state": "placed", "placed": DAY, "lines": [line],
    }  # fmt: skip
    return PlacedOrder(**(fields | more))


PRODUCTS = {
    item: Product(id=item, name=item.title(), form="each", unit="each", head=8, lead_group=group)  # type: ignore[arg-type]
    for item, group in (("foam", "foam"), ("cover", "cover"), ("ply", "timber"), ("sign", "fit-out"))
}
SUPPLIERS = [Supplier(id="s", name="S"), Supplier(id="t", name="T", holidays=[date(2026, 11, 27)])]
QUOTES = [quote("s", 1, 5, 10), quote("t", 1, 5, 10)]


def due(award: Award, *orders: PlacedOrder, quotes: list[Quote] | None = None, day: date = DAY) -> Arrivals:
    return arrivals(award, PRODUCTS, quotes or QUOTES, SUPPLIERS, list(orders), CLOSED, day)


def test_lead_times_are_working_days_without_closed_days() -> None:
    found = due(awarded(award_line("foam")))
    # From Wed 25 Nov, 26 Nov closed: 1 day is Fri 27 Nov; 5 days Thu 3 Dec; 10 days Thu 10 Dec.
    one = found.items[0]
    assert (one.low, one.likely, one.high) == (date(2026, 11, 27), date(2026, 12, 3), date(2026, 12, 10))
    assert (one.basis, one.lead_group) == ("to order", "foam")
    assert found.status == "proven"


def test_a_suppliers_own_holidays_count() -> None:
    one = due(awarded(award_line("foam", "t"))).items[0]
    # 27 Nov closed too: each arrival a working day later, 5 days is Fri 4 Dec.
    assert (one.low, one.likely) == (date(2026, 11, 30), date(2026, 12, 4))


@pytest.mark.parametrize(
    ("more", "basis", "likely"),
    [
        ({"state": "received", "received": date(2026, 11, 20)}, "received", date(2026, 11, 20)),
        ({"state": "confirmed", "promised": date(2026, 12, 9)}, "promised", date(2026, 12, 9)),
        ({"placed": date(2026, 11, 23)}, "ordered", date(2026, 12, 1)),  # Tue, Wed, Fri, Mon, Tue
        ({"promised": date(2026, 11, 20)}, "promised", DAY),  # overdue: not before today
    ],
)
def test_orders_are_facts(more: dict[str, Any], basis: str, likely: date) -> None:
    one = due(awarded(award_line("foam")), order("foam", **more)).items[0]
    assert (one.basis, one.likely) == (basis, likely)


def test_an_overdue_promise_is_said() -> None:
    found = due(awarded(award_line("foam")), order("foam", promised=date(2026, 11, 20)))
    assert [(r.code, r.where, r.severity) for r in found.reasons] == [("delivery overdue", "foam", "warning")]


def test_half_an_order_leaves_the_rest_to_order() -> None:
    received = order("foam", 6, state="received", received=date(2026, 11, 20))
    one = due(awarded(award_line("foam")), received).items[0]
    assert (one.basis, one.high) == ("to order", date(2026, 12, 10))
    enough = due(awarded(award_line("foam", spare=D(4))), received).items[0]
    assert enough.basis == "received"


def test_unquoted_items_take_the_usual_time_and_say_so() -> None:
    found = due(awarded(unquoted=["sign"]))
    one = found.items[0]
    # Fit-out: 10, 21 and 42 calendar days.
    assert (one.low, one.likely, one.high) == (date(2026, 12, 5), date(2026, 12, 16), date(2027, 1, 6))
    assert one.basis == "unquoted"
    assert [r.code for r in found.reasons] == ["usual lead time"]


def test_lead_times_out_of_order_are_not_used() -> None:
    found = due(awarded(award_line("foam")), quotes=[quote("s", 5, 3, 10)])
    assert found.items[0].basis == "unquoted"
    assert found.reasons[0].where == "s-1"


def test_nothing_awarded() -> None:
    assert due(awarded()).status == "empty"
    assert order_by(awarded(), due(awarded()), {}, {}, [], [], [], [], DAY).status == "empty"


def dates(award: Award, needs: dict[str, date], *orders: PlacedOrder, day: date = DAY) -> OrderDates:
    tasks = {item: f"T {item}" for item in needs}
    coming = due(award, *orders, day=day)
    return order_by(award, coming, needs, tasks, QUOTES, SUPPLIERS, list(orders), CLOSED, day)


def only(found: OrderDates) -> OrderBy:
    assert len(found.lines) == 1
    return found.lines[0]


def test_latest_order_date_counts_back_working_days() -> None:
    # Needed Sat 9 Jan 2027, so here by Fri 8 Jan; ten working days back, closed 25 Dec and 1 Jan:
    # 7, 6, 5, 4 Jan, 31, 30, 29, 28, 24 Dec make nine, Wed 23 Dec is the tenth.
    one = only(dates(awarded(award_line("foam")), {"foam": date(2027, 1, 9)}))
    assert (one.order_by, one.lead_days, one.state, one.late_by) == (date(2026, 12, 23), 10, "to order", 0)
    assert one.task == "T foam"


def test_too_late_is_overdue_and_says_by_how_much() -> None:
    found = dates(awarded(award_line("foam")), {"foam": date(2026, 12, 7)})
    one = only(found)
    # Ordered today it may come on 10 Dec, three days after it is needed.
    assert (one.state, one.late_by) == ("overdue", 3)
    assert one.order_by < DAY
    assert [r.code for r in found.reasons] == ["too late in the worst case"]
    award, coming = awarded(award_line("foam")), due(awarded(award_line("foam")))
    need = {"foam": date(2026, 12, 7)}
    said = order_by(award, coming, need, {}, QUOTES, SUPPLIERS, [], CLOSED, DAY, {"foam": "Base foam 2 in"}).reasons[0]
    assert said.text.startswith("Base foam 2 in should have been ordered by ")
    assert said.text.endswith("ordered now it may come 3 days after it is needed on Mon 7 Dec 2026")


def test_placed_orders_keep_their_state_and_can_be_late() -> None:
    late = order("foam", state="confirmed", promised=date(2026, 12, 9))
    one = only(dates(awarded(award_line("foam")), {"foam": date(2026, 12, 7)}, late))
    assert (one.state, one.late_by) == ("confirmed", 2)
    here = order("foam", state="received", received=date(2026, 12, 9))
    assert only(dates(awarded(award_line("foam")), {"foam": date(2026, 12, 7)}, here)).late_by == 0
    part = only(dates(awarded(award_line("foam")), {"foam": date(2026, 12, 30)}, order("foam", 6)))
    assert part.state == "to order"


def test_overdue_first_then_by_date() -> None:
    award = awarded(award_line("cover"), award_line("foam"), award_line("ply"), award_line("sign"))
    needs = {"cover": date(2027, 2, 1), "foam": date(2026, 12, 1), "ply": date(2027, 1, 4)}
    found = dates(award, needs, order("ply", state="placed"))
    assert [(line.item, line.state) for line in found.lines] == [
        ("foam", "overdue"), ("cover", "to order"), ("ply", "placed"),
    ]  # fmt: skip
    assert [r.where for r in found.reasons if r.code == "no task uses it"] == ["sign"]


# ------------------------------------------------------------------ lateness on average


def test_mean_lateness_is_the_triangles() -> None:
    # Triangle over 0, 3, 9 days. Needed on day 6: (9 − 6)³ / (3·9·6) = 27/162 = 0.17. On day 2, below the mode:
    # mean 4 less 2, and 2³/(3·9·3) = 8/81 = 0.10 for the runs that come before. On day 9 or later nothing is late.
    start = date(2027, 3, 1)
    days = [start + timedelta(days=n) for n in (0, 3, 9)]
    said = {n: expected_days_late(*days, start + timedelta(days=n)) for n in (-5, 0, 2, 6, 9, 20)}
    assert said == {-5: D("9.00"), 0: D("4.00"), 2: D("2.10"), 6: D("0.17"), 9: D("0.00"), 20: D("0.00")}
    assert expected_days_late(start, start, start, start - timedelta(days=2)) == 2


@given(st.integers(0, 40), st.integers(0, 40), st.integers(0, 40), st.integers(-10, 130))
def test_mean_lateness_falls_with_the_day_it_is_needed(low: int, more: int, most: int, need: int) -> None:
    start = date(2027, 3, 1)
    days = [start + timedelta(days=n) for n in (low, low + more, low + more + most)]
    late, later = (expected_days_late(*days, start + timedelta(days=need + n)) for n in (0, 1))
    assert 0 <= later <= late <= later + D("1.01")
    assert late <= max(low + more + most - need, 0)
    assert late >= D(low + low + more + low + more + most) / 3 - need - D("0.01"), "never below the mean"


def test_only_open_items_with_a_day_are_weighed() -> None:
    rules = AwardRules(need_by={"foam": date(2027, 1, 20)}, day_late=D(100))
    quote = offer("foam", "cover", low=5, likely=8, high=10)
    products = {i: Product(id=i, name=i, form="each", unit="each", head=8, lead_group=g) for i, g in
                (("foam", "foam"), ("cover", "cover"))}  # fmt: skip
    lines = [need_line("foam"), need_line("cover")]
    suppliers = [Supplier(id="q", name="Q")]
    found = lateness(lines, products, [quote], suppliers, [], [], rules, date(2027, 1, 18))
    # Ordered on Monday the 18th: 5, 8 and 10 working days are the 25th, the 28th and the 1st: 5, 8 and 12 days late.
    assert found == Lateness(day=D(100), days={"foam": {"q-1": D("8.33")}})
    assert (
        lateness(lines, products, [quote], suppliers, [], [], AwardRules(day_late=D(9)), date(2027, 1, 18)).days == {}
    )
    order = PlacedOrder(
        number="PO-1", supplier="q", quote="q-1", state="placed", placed=date(2027, 1, 18),
        lines=[OrderedLine(item="foam", quantity=D(1), unit="each", unit_price=D(1), goods=D(1))],
    )  # fmt: skip
    assert lateness(lines, products, [quote], suppliers, [order], [], rules, date(2027, 1, 18)).days == {}


def offer(*items: str, low: int, likely: int, high: int) -> Quote:
    return Quote(
        id="q-1", supplier="q", currency="XXX", quoted=date(2027, 1, 4), valid_until=date(2027, 3, 1),
        lines=[QuoteLine(item=i, unit="each", breaks=[Break(start=D(1), price=D(1))]) for i in items],
        lead_days_low=low, lead_days_likely=likely, lead_days_high=high,
    )  # fmt: skip


def need_line(item: str) -> TakeOffLine:
    return TakeOffLine(
        item=item, name=item, head=8, unit="each", net=D(1), allowance=D(0), waste=D(0), quantity=D(1), trace=[]
    )


def test_goods_that_lie_in_the_room_first_are_ordered_earlier_and_used_later() -> None:
    # Needed Sat 9 Jan 2027, three days in the room: here by Wed 6 Jan. Ten working days back, closed 25 Dec and 1 Jan:
    # 5, 4 Jan, 31, 30, 29, 28, 24, 23, 22 Dec make nine, Mon 21 Dec is the tenth; Wed 23 Dec without them.
    from scheduling.engine.deliveries import read_arrivals

    lies = {"foam": Product(id="foam", name="Foam", form="sheet", unit="sheet", head=8, lead_group="foam",
                            acclimatise_days=3)}  # fmt: skip
    award = awarded(award_line("foam"))
    coming = arrivals(award, lies, QUOTES, SUPPLIERS, [], CLOSED, DAY)
    one = only(order_by(award, coming, {"foam": date(2027, 1, 9)}, {}, QUOTES, SUPPLIERS, [], CLOSED, DAY))
    assert (one.order_by, one.acclimatise_days) == (date(2026, 12, 21), 3)
    plain = read_arrivals(due(award), DAY)["foam"]
    later = read_arrivals(coming, DAY)["foam"]
    assert (later.low, later.likely, later.high) == (plain.low + 3, plain.likely + 3, plain.high + 3)
    # In time by its arrival, a day late by the days it lies.
    soon = {"foam": coming.items[0].high + timedelta(days=2)}
    assert only(order_by(award, coming, soon, {}, QUOTES, SUPPLIERS, [], CLOSED, DAY)).late_by == 1


def test_goods_are_called_by_the_name_of_their_product() -> None:
    found = arrivals(
        awarded(award_line("cover"), unquoted=["corner-blocks"]), PRODUCTS, QUOTES, SUPPLIERS, [], CLOSED, DAY
    )
    assert [(one.item, one.called) for one in found.items] == [
        ("corner-blocks", "corner blocks"), ("cover", "Cover"),
    ]  # fmt: skip
