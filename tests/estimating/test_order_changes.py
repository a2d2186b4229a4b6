"""Placed orders against a new award: hand-counted cases."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D

from estimating.engine.order_changes import order_differences
from estimating.engine.types import Award, AwardLine, OrderedLine, PlacedOrder, Product, Supplier


def award(*lines):
    return Award(
        status="proven", bound=D(0), total=D(0), tax=D(0), suppliers=[], unquoted=[], reasons=[],
        lines=[
            AwardLine(
                item=item, quote="q", supplier="s", asked=D(asked), asked_unit=asked_unit, quantity=D(quantity),
                unit=unit, conversion="", unit_price=D(1), goods=D(1), extras=D(0), spare=D(0), runner_up="",
                runner_up_extra=D(0),
            )
            for item, asked, asked_unit, quantity, unit in lines
        ],
    )  # fmt: skip


def order(number, item, quantity, unit="sheet", price="10.00", state="placed"):
    line = OrderedLine(item=item, quantity=D(quantity), unit=unit, unit_price=D(price), goods=D(quantity) * D(price))
    return PlacedOrder(number=number, supplier="s", quote="q", state=state, placed=date(2027, 1, 4), lines=[line])


def found(orders, *lines):
    differences = order_differences(orders, award(*lines), "USD")
    return [(d.order, d.kind, d.needed, d.money) for d in differences]


def test_orders_that_match_need_no_change():
    assert found([order("PO-1", "ply", 40)], ("ply", 40, "sheet", 40, "sheet")) == []


def test_three_more_sheets_at_the_order_s_own_price():
    # 43 − 40 = 3 sheets, 3 × 10.00
    assert found([order("PO-1", "ply", 40)], ("ply", 43, "sheet", 43, "sheet")) == [("PO-1", "more", D(43), D("30.00"))]


def test_fewer():
    assert found([order("PO-1", "ply", 40)], ("ply", 38, "sheet", 38, "sheet")) == [
        ("PO-1", "less", D(38), D("-20.00"))
    ]


def test_nothing_uses_it_any_more():
    assert found([order("PO-1", "ply", 40)]) == [("PO-1", "no longer needed", D(0), D("-400.00"))]


def test_two_part_orders_cover_the_need_together():
    orders = [order("PO-1", "ply", 30), order("PO-2", "ply", 10)]
    assert found(orders, ("ply", 40, "sheet", 40, "sheet")) == []
    # 36 are needed: the first 30 stand, the last order answers for the difference, 10 → 6.
    assert found(orders, ("ply", 36, "sheet", 36, "sheet")) == [("PO-2", "less", D(6), D("-40.00"))]


def test_ordered_in_the_unit_asked_for():
    # The new award buys the vinyl by the roll, the order was by the yard: compare yards.
    orders = [order("PO-1", "vinyl", 90, unit="running yard")]
    assert found(orders, ("vinyl", 90, "running yard", 2, "roll")) == []


def test_received_goods_are_marked_as_left_over():
    [difference] = order_differences(
        [order("PO-1", "ply", 40, state="received")], award(("ply", 38, "sheet", 38, "sheet")), "USD"
    )
    assert difference.received
    assert "left over" in difference.text


# ------------------------------------------------------------------ what it costs and when


def detailed(orders, *lines, restocking=None, made=False):
    products = [Product(id="ply", name="Ply", form="made to drawing" if made else "sheet", unit="sheet", head=8)]
    suppliers = [Supplier(id="s", name="S", restocking_percent=restocking)]
    arrive = {"q": date(2027, 2, 1)}
    [difference] = order_differences(orders, award(*lines), "USD", products, suppliers, arrive)
    return difference.cancellable, difference.charge, difference.left_over, difference.cost, difference.day


FEWER = ("ply", 33, "sheet", 33, "sheet")


def test_more_costs_its_price_and_comes_with_the_lead_time():
    more = ("ply", 43, "sheet", 43, "sheet")
    assert detailed([order("PO-1", "ply", 40)], more) == ("", D(0), D(0), D("30.00"), date(2027, 2, 1))


def test_fewer_against_a_restocking_charge():
    # Seven sheets of 10.00 off: 70.00 less 20 % of it.
    answer = ("yes", D("14.00"), D(0), D("-56.00"), None)
    assert detailed([order("PO-1", "ply", 40)], FEWER, restocking=D(20)) == answer
    assert detailed([order("PO-1", "ply", 40)], FEWER) == ("ask", D(0), D(0), D("-70.00"), None)


def test_what_is_here_or_being_made_stays():
    left = ("no", D(0), D(7), D(0), None)
    assert detailed([order("PO-1", "ply", 40, state="received")], FEWER, restocking=D(20)) == left
    assert detailed([order("PO-1", "ply", 40, state="confirmed")], FEWER, restocking=D(20), made=True) == left
    assert detailed([order("PO-1", "ply", 40)], FEWER, restocking=D(20), made=True)[0] == "ask", "not confirmed yet"


def test_the_goods_are_named_with_what_to_ask():
    products = [Product(id="ply", name="Plywood 1/2 in", form="sheet", unit="sheet", head=8)]
    for lines, said in (
        ((FEWER,), "40 sheets ordered, 33 needed: ask to take 7 sheets off."),
        ((("ply", 43, "sheet", 43, "sheet"),), "40 sheets ordered, 43 needed: ask for 3 sheets more."),
        ((), "40 sheets ordered, which nothing uses any more: ask whether they can be cancelled."),
    ):
        [difference] = order_differences([order("PO-1", "ply", 40)], award(*lines), "USD", products)
        assert difference.text == f"Order PO-1, Plywood 1/2 in: {said}"
