"""What is on an order stays with its quote, whatever is quoted, lapses or is ruled afterwards. Sums by hand."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D
from typing import Any

import pytest

from estimating.engine.award import award
from estimating.engine.award_choices import award_choices
from estimating.engine.offers import settled_by
from estimating.engine.order_changes import order_differences
from estimating.engine.types import (
    Award,
    AwardRules,
    Break,
    Freight,
    OrderedLine,
    PlacedOrder,
    Quote,
    QuoteLine,
    Supplier,
    TakeOff,
    TakeOffLine,
)

DAY = date(2027, 1, 18)
SUPPLIERS = [Supplier(id="a", name="Ash", minimum_order=D(300)), Supplier(id="b", name="Beech")]


def asked(item: str, quantity: int) -> TakeOffLine:
    return TakeOffLine(
        item=item, name=item.title(), head=8, unit="sheet", net=D(quantity), allowance=D(0), waste=D(0),
        quantity=D(quantity), needed=D(quantity), trace=[],
    )  # fmt: skip


def quote(name: str, supplier: str, prices: dict[str, str], **other: Any) -> Quote:
    told: dict[str, Any] = {"valid_until": date(2027, 2, 1), "freight": Freight(form="flat", amount=D(30))} | other
    lines = [
        QuoteLine(item=item, unit="sheet", form="all units", breaks=[Break(start=D(1), price=D(price))])
        for item, price in prices.items()
    ]
    return Quote(
        id=name, supplier=supplier, currency="XXX", quoted=date(2027, 1, 4), lines=lines, lead_days_low=1,
        lead_days_likely=2, lead_days_high=3, **told,
    )  # fmt: skip


ORDER = PlacedOrder(
    number="PO-1", supplier="a", quote="a-1", state="confirmed", placed=DAY, freight=D(30),
    lines=[OrderedLine(item="foam", quantity=D(40), unit="sheet", unit_price=D(10), goods=D(400))],
)  # fmt: skip
NEED = [asked("foam", 40), asked("ply", 10)]
ASH = quote("a-1", "a", {"foam": "10", "ply": "9"})
BEECH = quote("b-1", "b", {"foam": "8", "ply": "12"})


def solve(*quotes: Quote, rules: AwardRules | None = None, day: date = DAY, need: list[TakeOffLine] = NEED) -> Award:
    take_off = TakeOff(status="proven", lines=need, drivers={}, reasons=[])
    return award(
        take_off, list(quotes), SUPPLIERS, rules or AwardRules(), day, "XXX", D(0), settled=settled_by([ORDER])
    )


def who(found: Award) -> dict[str, tuple[str, str]]:
    return {line.item: (line.quote, line.order) for line in found.lines}


def test_a_cheaper_offer_does_not_take_what_is_ordered() -> None:
    """Foam stays: 400. Ply from Ash 90, its freight being paid with the order; from Beech 120 + 30."""
    found = solve(ASH, BEECH)
    assert who(found) == {"foam": ("a-1", "PO-1"), "ply": ("a-1", "")}
    assert (found.status, found.total) == ("proven", D(400 + 90 + 30))
    [foam, ply] = found.lines
    assert foam.runner_up == "", "nothing is to be decided of what is ordered"
    assert (ply.runner_up, ply.runner_up_extra) == ("b-1", D(120 + 30 - 90))


@pytest.mark.parametrize(
    ("rules", "change"),
    [
        (AwardRules(), {"valid_until": date(2027, 1, 10)}),
        (AwardRules(exclude=["a-1"]), {}),
        (AwardRules(force={"foam": "b-1"}), {"valid_until": date(2027, 1, 10)}),
        (AwardRules(together=[["foam", "ply"]], exclude=["a-1"]), {}),
        (AwardRules(most_suppliers=1), {}),
    ],
)
def test_neither_time_nor_a_rule_takes_it_away(rules: AwardRules, change: dict[str, Any]) -> None:
    found = solve(quote("a-1", "a", {"foam": "10", "ply": "9"}, **change), BEECH, rules=rules)
    at = who(found).get("foam")
    if rules.together:  # Ash is to have nothing more, and the set may not be split: that cannot be.
        assert (found.status, at) == ("infeasible", None)
        return
    assert at == ("a-1", "PO-1")
    assert who(found)["ply"] == (("a-1", "") if rules.most_suppliers else ("b-1", ""))


def test_a_lapsed_quote_of_which_all_is_ordered_needs_no_call() -> None:
    lapsed = quote("a-1", "a", {"foam": "10"}, valid_until=date(2027, 1, 10))
    assert [r.code for r in solve(lapsed, BEECH).reasons] == []
    still = quote("a-1", "a", {"foam": "10", "ply": "9"}, valid_until=date(2027, 1, 10))
    assert [r.code for r in solve(still, BEECH).reasons] == ["quote expired"], "its ply could still be ordered"


def test_an_order_that_shrinks_below_the_minimum_leaves_the_rest_awarded() -> None:
    """Ash takes no order under 300. Ten sheets of what is ordered come to 100, and that is no reason for nothing."""
    found = solve(ASH, BEECH, need=[asked("foam", 10), asked("ply", 10)])
    assert (found.status, found.total) == ("proven", D(100 + 90 + 30))


def test_free_freight_does_not_come_back() -> None:
    """Over 450 freight would be free, yet the order was sent with its 30: Beech's ply at 8 is 80 against 90."""
    ash = quote(
        "a-1", "a", {"foam": "10", "ply": "9"}, freight=Freight(form="free over", amount=D(30), free_over=D(450))
    )
    beech = quote("b-1", "b", {"ply": "8"}, freight=Freight())
    found = solve(ash, beech)
    assert who(found)["ply"] == ("b-1", "")
    assert found.total == D(400 + 30 + 80)


def test_choices_are_of_what_is_open() -> None:
    """Without Ash its order stays: only the ply moves, 150 against 90."""
    need, settled = NEED, settled_by([ORDER])
    rest = ([ASH, BEECH], SUPPLIERS, AwardRules(force={"foam": "a-1"}), DAY, "XXX", D(0))
    found = award_choices(need, *rest, solve(ASH, BEECH), settled=settled)
    assert [(c.kind, c.supplier, c.extra, c.moved) for c in found.suppliers] == [
        ("without", "a", D(60), [("ply", "b-1")]),
        ("with", "b", D(60), [("ply", "b-1")]),
    ]
    assert found.rules == [], "a rule about what is ordered costs nothing any more"
    alone = award_choices(need[:1], *rest, solve(ASH, BEECH, need=need[:1]), settled=settled)
    assert alone.suppliers == []


def test_goods_on_order_are_still_needed_when_their_quote_is_gone() -> None:
    """The order fits what is needed: no change is asked for. With 44 needed, four more are."""
    found = solve(BEECH)
    assert who(found) == {"ply": ("b-1", "")}
    assert found.unquoted == [], "what is ordered need not be asked for"
    assert order_differences([ORDER], found, "XXX", asked=NEED) == []
    [more] = order_differences([ORDER], found, "XXX", asked=[asked("foam", 44)])
    assert (more.kind, more.needed, more.cost) == ("more", D(44), D(40))
    [gone] = order_differences([ORDER], found, "XXX", asked=[asked("foam", 0)])
    assert gone.kind == "no longer needed"


def test_of_several_orders_the_last_one_counts() -> None:
    later = PlacedOrder(
        number="PO-2", supplier="b", quote="b-1", state="placed", placed=date(2027, 1, 20), freight=D(30),
        lines=[OrderedLine(item="foam", quantity=D(4), unit="sheet", unit_price=D(8), goods=D(32))],
    )  # fmt: skip
    found = settled_by([later, ORDER])
    assert (found.quotes, found.orders) == ({"foam": "b-1"}, {"foam": "PO-2"})
    assert found.freight == {"a-1": D(30), "b-1": D(30)}
