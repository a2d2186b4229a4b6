"""Where an order line stands, checks on arrival, and what a short delivery does to arrivals and change orders."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildout.units.lengths import Length
from estimating.engine.deliveries import ArrivedLine, check_arrival, standing
from estimating.engine.lead_times import arrivals
from estimating.engine.order_changes import order_differences
from estimating.engine.types import (
    Arrivals,
    Award,
    AwardLine,
    Break,
    OrderedLine,
    PlacedOrder,
    Product,
    Quote,
    QuoteLine,
    Supplier,
)

whole = st.integers(0, 200).map(D)


@given(whole, st.lists(whole, max_size=4), st.lists(whole, max_size=4))
def test_ordered_is_received_outstanding_and_cancelled(sent: D, agreed: list[D], accepted: list[D]) -> None:
    found = standing(sent, agreed, accepted)
    assert found.ordered + found.over == found.received + found.outstanding + found.cancelled
    assert min(found.ordered, found.received, found.outstanding, found.cancelled, found.over) >= 0
    assert found.outstanding == 0 or found.over == 0
    assert found.received == sum(accepted)


def test_standing_by_hand() -> None:
    # 40 sent; a change made it 44, a later one 42: ordered 44, cancelled 2. 30 + 8 came: 4 to come.
    found = standing(D(40), [D(44), D(42)], [D(30), D(8)])
    assert (found.ordered, found.received, found.outstanding, found.cancelled, found.over) == (44, 38, 4, 2, 0)
    assert standing(D(10), [], [D(12)]).over == 2


def arrived(**more: Any) -> ArrivedLine:
    fields: dict[str, Any] = {"item": "vinyl", "name": "Vinyl", "unit": "roll", "due": D(4), "accepted": D(4)}
    return ArrivedLine(**(fields | more))


def inches(*texts: str) -> list[Length]:
    return [Length.read(text) for text in texts]


@pytest.mark.parametrize(
    ("found", "codes"),
    [
        ({}, []),
        ({"accepted": D(3)}, ["short"]),
        ({"accepted": D(3), "damaged": D(1)}, ["damaged"]),
        ({"accepted": D(2), "damaged": D(1)}, ["short", "damaged"]),
        ({"accepted": D(5)}, ["over"]),
        ({"lots": ["A7"], "earlier_lots": ["A7"], "shaded": True}, []),
        ({"lots": ["A7"], "earlier_lots": ["B2"], "shaded": True}, ["several lots"]),
        ({"lots": ["A7", "B2"], "shaded": True}, ["several lots"]),
        ({"lots": ["A7", "B2"]}, []),  # lots of foam do not show
        ({"width": Length.read('53 7/8"'), "stated_width": Length.read('54"')}, ["too narrow"]),  # by 3.2 mm
        ({"width": Length.read('53 15/16"'), "stated_width": Length.read('54"')}, []),  # by 1.6 mm
    ],
)  # fmt: skip
def test_count_damage_and_lots(found: dict[str, Any], codes: list[str]) -> None:
    assert [reason.code for reason in check_arrival([arrived(**found)])] == codes


@pytest.mark.parametrize(
    ("readings", "codes"),
    [
        (['2"', '2"', '1 15/16"', '2"', '2 1/16"'], []),  # mean 2 in, spread 1/8 in = 3.175 mm
        (['1 7/8"', '1 7/8"', '1 7/8"', '1 7/8"', '1 7/8"'], ["wrong thickness"]),  # 3.2 mm off; 5 % of 2 in is 2.54
        (['2"', '2 1/16"', '1 7/8"', '2"', '2 1/16"'], ["uneven thickness"]),  # spread 3/16 in
    ],
)
def test_thickness_in_five_places(readings: list[str], codes: list[str]) -> None:
    line = arrived(thickness=inches(*readings), stated_thickness=Length.read('2"'))
    assert [reason.code for reason in check_arrival([line])] == codes


# ------------------------------------------------------------------ what it does to dates and orders

DAY = date(2027, 3, 1)  # a Monday
PRODUCTS = {"foam": Product(id="foam", name="Foam", form="sheet", unit="sheet", head=8, lead_group="foam")}
QUOTE = Quote(
    id="s-1", supplier="s", currency="XXX", quoted=DAY, valid_until=DAY,
    lines=[QuoteLine(item="foam", unit="sheet", breaks=[Break(start=D(1), price=D(10))])],
    lead_days_low=2, lead_days_likely=3, lead_days_high=5,
)  # fmt: skip


def awarded(quantity: int) -> Award:
    line = AwardLine(
        item="foam", quote="s-1", supplier="s", asked=D(quantity), asked_unit="sheet", quantity=D(quantity),
        unit="sheet", conversion="", unit_price=D(10), goods=D(quantity) * 10, extras=D(0), spare=D(0), runner_up="",
        runner_up_extra=D(0),
    )  # fmt: skip
    return Award(status="proven", bound=D(0), total=D(0), tax=D(0), lines=[line], suppliers=[], unquoted=[], reasons=[])


def order(received: int, *, promised: date | None, last: date | None) -> PlacedOrder:
    line = OrderedLine(
        item="foam", quantity=D(84), unit="sheet", unit_price=D(10), goods=D(840), received=D(received),
        came=last if received else None,
    )  # fmt: skip
    return PlacedOrder(
        number="PO-1", supplier="s", quote="s-1", state="confirmed", placed=date(2027, 2, 15), promised=promised,
        last_delivery=last, lines=[line],
    )  # fmt: skip


def due(placed: PlacedOrder) -> Arrivals:
    return arrivals(awarded(84), PRODUCTS, [QUOTE], [Supplier(id="s", name="S")], [placed], [], DAY)


def test_the_rest_of_a_short_delivery_comes_a_lead_time_later() -> None:
    # 80 of 84 came on Wed 3 March, the day promised: the rest 2, 3 or 5 working days on: Fri 5, Mon 8, Wed 10.
    found = due(order(80, promised=date(2027, 3, 3), last=date(2027, 3, 3)))
    foam = found.items[0]
    assert (foam.basis, foam.low, foam.likely, foam.high) == (
        "ordered", date(2027, 3, 5), date(2027, 3, 8), date(2027, 3, 10)
    )  # fmt: skip
    assert [reason.code for reason in found.reasons] == ["short delivery"]
    assert "4 sheets" in found.reasons[0].text


def test_a_new_day_for_the_rest_counts() -> None:
    found = due(order(80, promised=date(2027, 3, 19), last=date(2027, 3, 3)))
    assert (found.items[0].basis, found.items[0].high) == ("promised", date(2027, 3, 19))
    assert found.reasons == []


def test_all_of_a_line_here_while_the_order_waits_for_others() -> None:
    found = due(order(84, promised=date(2027, 3, 19), last=date(2027, 3, 3)))
    assert (found.items[0].basis, found.items[0].high) == ("received", date(2027, 3, 3))


def test_what_came_cannot_be_taken_off_the_order() -> None:
    # 70 are needed, 84 ordered, 80 here: 4 can still be taken off, at 10.00 each.
    part = order(80, promised=None, last=date(2027, 3, 3))
    [difference] = order_differences([part], awarded(70), "XXX")
    assert (difference.kind, difference.needed, difference.money) == ("less", D(80), D("-40.00"))
    assert not difference.received
    whole_line = order(84, promised=None, last=date(2027, 3, 3))
    [over] = order_differences([whole_line], awarded(70), "XXX")
    assert over.received
    assert "14 sheets left over" in over.text
