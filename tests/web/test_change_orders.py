"""Change orders follow the plan: kept while they are right, withdrawn when they are not, never altered."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from buildout.builds.web.models import Build
from estimating.engine.order_changes import OrderDifference
from estimating.web import order_book
from estimating.web.models import ChangeOrder, Order
from estimating.web.services import placed_orders, write_change_orders


@pytest.fixture
def order(hand_build: Build) -> Order:
    line = {"item": "ply", "name": "Plywood", "quantity": "40", "unit": "sheet", "unit_price": "10", "goods": "400"}
    return Order.objects.create(
        build=hand_build,
        number=1,
        supplier="yard",
        supplier_name="Yard",
        quote="q",
        placed=date(2027, 1, 4),
        lines=[line],
    )


def need(quantity: int, *, received: bool = False) -> OrderDifference:
    return OrderDifference(
        order="PO-1", supplier="yard", item="ply", ordered=Decimal(40), needed=Decimal(quantity), unit="sheet",
        kind="more" if quantity > 40 else "less", received=received, money=Decimal(10 * (quantity - 40)), text="…",
    )  # fmt: skip


def write(build: Build, *differences: OrderDifference) -> list[ChangeOrder]:
    assert build.current is not None
    return write_change_orders(build, list(differences), {"ply": "Plywood"}, "Revision 2: wall", build.current)


def states() -> list[tuple[int, str]]:
    return list(ChangeOrder.objects.order_by("number").values_list("number", "state"))


def test_a_difference_becomes_a_numbered_change(order: Order) -> None:
    [change] = write(order.build, need(43))
    assert (change.number, change.money, change.lines[0]["before"], change.lines[0]["after"]) == (1, 30, "40", "43")


def test_one_that_is_still_right_keeps_its_number(order: Order) -> None:
    write(order.build, need(43))
    assert write(order.build, need(43)) == []
    assert states() == [(1, "open")]


def test_one_that_is_overtaken_is_withdrawn_and_stays_readable(order: Order) -> None:
    write(order.build, need(43))
    write(order.build, need(44))
    assert states() == [(1, "withdrawn"), (2, "open")]
    assert ChangeOrder.objects.get(number=1).lines[0]["after"] == "43"


def test_when_the_plan_moves_back_nothing_is_left_to_agree(order: Order) -> None:
    write(order.build, need(43))
    assert write(order.build) == []
    assert states() == [(1, "withdrawn")]


def test_an_agreed_change_is_what_the_order_now_says(order: Order) -> None:
    [change] = write(order.build, need(43))
    member = order.build.members.select_related("user").get(role="owner")
    order_book.decide(change, member.user, agreed=True)
    [placed] = placed_orders(order.build, "XXX")
    assert placed.lines[0].quantity == 43
    write(order.build)
    assert states() == [(1, "agreed")]


def test_goods_already_here_need_no_change_order(order: Order) -> None:
    assert write(order.build, need(38, received=True)) == []


def test_cancelling_the_order_withdraws_what_was_open(order: Order) -> None:
    write(order.build, need(43))
    order_book.cancel(order, order.build.members.select_related("user").get(role="owner").user)
    assert states() == [(1, "withdrawn"), (2, "agreed")]
    assert ChangeOrder.objects.get(number=2).lines[0]["after"] == "0"
