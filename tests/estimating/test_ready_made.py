"""Ready-made beside made here: one case by hand, what is ordered or unquoted, when an hour decides."""

from __future__ import annotations

from decimal import Decimal

import msgspec

from estimating.engine.ready_made import MakeOrBuy, ReadyMade, make_or_buy
from estimating.engine.types import Award, AwardSupplier
from tests.estimating.test_budget import awarded, bought

D = Decimal
DAYS = {"foam": (5, 8, 12), "tape": (1, 2, 30)}
OFFER = ReadyMade(
    price=D(1900), freight=D(150), fixings=D(40), hours=D(6), lead_days=(20, 25, 40), life_years=D(10),
    items=["foam"], own_tools=D(60), own_consumables=D(35), own_life_years=D(5), meal=D(8), hour_value=D(15),
)  # fmt: skip


def award() -> Award:
    lines = [bought("foam", "1000.00", "50.00"), bought("tape", "200.00", quote="r-1", supplier="r")]
    parties = [
        AwardSupplier(supplier=q, quote=f"{q}-1", goods=D(1), freight=D(freight), tax=D(0), total=D(1))
        for q, freight in (("q", "80.00"), ("r", "30.00"))
    ]
    return msgspec.structs.replace(awarded(*lines), suppliers=parties, unquoted=["mirror"])


def compare(offer: ReadyMade = OFFER, ordered: set[str] | None = None, hours: str = "30") -> MakeOrBuy:
    return make_or_buy(offer, award(), ordered or set(), D(hours), DAYS, {"foam": D("0.08")}, "XXX")


def test_both_ways_by_hand() -> None:
    # Made here: 1000 + 50 goods, 80 freight (all of q-1 falls away), 35 consumables, 60 tools, 4 % of 1050 is 42, 30 h
    # are five days of six hours and 5.5 meals, so six at 8: 1315. Thirty hours at 15 are 450 more.
    # Ready: 1900 + 150 + 40, 6 h are 1.1 meals, so two at 8: 2106, and 90 for six hours.
    found = compare()
    own, ready = found.own, found.ready
    assert (own.goods, own.freight, own.waste, own.meals) == (D("1050.00"), D("80.00"), D("42.00"), D("48.00"))
    assert (own.total, own.total_valued) == (D("1315.00"), D("1765.00"))
    assert (ready.total, ready.total_valued) == (D("2106.00"), D("2196.00"))
    # 791 dearer for 24 hours saved.
    assert found.even_at == D("32.96")
    assert (ready.a_year, own.a_year) == (D("219.60"), D("353.00"))
    assert (own.lead_days, ready.lead_days) == ((5, 8, 12), (20, 25, 40))


def test_what_is_cut_away_is_told_apart_and_counted_once() -> None:
    # Two sheets of twenty-five end in no piece: 8 % of 1000; the 50 of extras buy no goods. It is in the goods already.
    found = compare()
    assert (found.own.cut_away, found.ready.cut_away) == (D("80.00"), D("0.00"))
    own = found.own
    assert own.total == own.goods + own.freight + own.consumables + own.tools + own.waste + own.meals
    assert compare(ordered={"foam"}).own.cut_away == 0


def test_freight_stays_while_anything_else_comes_from_the_quote() -> None:
    both = compare(msgspec.structs.replace(OFFER, items=["foam", "tape"]))
    assert both.own.freight == D("110.00")
    assert both.own.lead_days == (5, 8, 30), "the latest of them"
    shared = awarded(bought("foam", "1000.00"), bought("tape", "9.00"), freight="80.00")
    one = make_or_buy(OFFER, shared, set(), D(0), {}, {}, "XXX")
    assert one.own.freight == 0
    assert one.own.lead_days is None


def test_what_is_ordered_is_spent_either_way() -> None:
    found = compare(ordered={"foam"})
    assert found.ordered == ["foam"]
    assert (found.own.goods, found.own.freight, found.own.waste) == (D(0), D(0), D("0.00"))


def test_what_nobody_quotes_is_named() -> None:
    assert compare(msgspec.structs.replace(OFFER, items=["foam", "mirror"])).missing == ["mirror"]


def test_an_hour_does_not_always_decide() -> None:
    cheap = compare(msgspec.structs.replace(OFFER, price=D(500)))
    assert cheap.ready.total < cheap.own.total
    assert cheap.even_at is None, "cheaper and fewer hours: whatever an hour is worth"
    assert compare(hours="6").even_at is None, "the same hours"
