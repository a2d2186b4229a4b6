"""What the build may cost: nothing uncertain is one figure, a triangle has its percentiles, more risk costs more."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimating.engine.budget import budget
from estimating.engine.cost_risk import RUNS, CostRisk, cost_risk
from estimating.engine.types import Award, Budget, HeadPlan, MoneyPlan
from tests.estimating.test_budget import PRODUCTS, asked, awarded, bought

D = Decimal
DAY = date(2027, 5, 3)


def plan(award: Award, *heads: HeadPlan, **money: D) -> Budget:
    return budget(asked("foam"), award, MoneyPlan(heads=list(heads), **money), [], PRODUCTS)  # type: ignore[arg-type]


def risk(found: Budget, award: Award, **more: object) -> CostRisk:
    given = {
        "billed": {}, "here": set(), "cut_here": set(), "openings": [(DAY, RUNS)], "planned": DAY,
        "weekly_rent": D(700),
        "tax_percent": {}, "currency": "XXX",
    } | more  # fmt: skip
    return cost_risk(found, asked("foam"), award, **given)  # type: ignore[arg-type]


AWARD = awarded(bought("foam", "1000.00"))


def test_with_nothing_uncertain_there_is_one_figure() -> None:
    found = risk(plan(AWARD), AWARD)
    assert found.expected == found.p50 == found.p80 == D("1000.00")
    assert found.sources == []
    assert found.covered == 1
    assert found.status == "feasible"


def test_an_allowance_alone_has_the_percentiles_of_its_triangle() -> None:
    # Triangle −10 %, 0, +40 %: above its mode F(x) = 1 − (0.4 − x)²/(0.5·0.4), so half at 0.4 − √0.1 = 8.4 % and
    # four fifths at 0.4 − √0.04 = 20 %. A thousand draws put the fifth tenths within about 2 % of the allowance.
    found = risk(plan(AWARD, HeadPlan(head=5, allowance=D(10000))), AWARD)
    assert found.expected == D(11000)
    assert float(found.p50 - found.expected) == pytest.approx(838, abs=200)
    assert float(found.p80 - found.expected) == pytest.approx(2000, abs=250)
    assert [source.kind for source in found.sources] == ["not quoted"]
    # Contingency of 20 % covers what four runs in five come to.
    kept = risk(plan(AWARD, HeadPlan(head=5, allowance=D(10000), contingency_percent=D(20))), AWARD)
    assert kept.covered == pytest.approx(0.8, abs=0.04)
    assert kept.with_contingency == D(13000)


def test_a_late_opening_costs_its_rent() -> None:
    # Half of the runs open two weeks late: 1400.00 of rent at 700.00 a week, in half of the runs.
    half = [(DAY, RUNS // 2), (DAY + timedelta(days=14), RUNS // 2)]
    found = risk(plan(AWARD), AWARD, openings=half)
    assert found.p80 == D("2400.00")
    assert float(found.sources[0].mean) == pytest.approx(700, abs=70)
    early = risk(plan(AWARD), AWARD, openings=[(DAY - timedelta(days=14), RUNS)])
    assert early.p80 == D("1000.00"), "rent saved is not counted on"


def test_goods_cut_here_are_spoiled_now_and_then() -> None:
    # Triangle 0, 3 %, 5 % of 1000.00 and 10 % tax: its mean is 8/3 % of 1100.00, 29.33; four fifths at
    # 5 % − √(0.2 · 5 % · 2 %) = 3.59 %, 39.45.
    found = risk(plan(AWARD), AWARD, cut_here={"foam"}, tax_percent={"foam": D(10)})
    assert float(found.sources[0].mean) == pytest.approx(29.33, abs=1.5)
    assert float(found.p80 - found.expected) == pytest.approx(39.45, abs=1.5)
    assert risk(plan(AWARD), AWARD, cut_here={"foam"}, here={"foam"}).sources == []


def test_what_is_billed_is_certain() -> None:
    set_aside = plan(AWARD, HeadPlan(head=5, allowance=D(10000)))
    assert risk(set_aside, AWARD, billed={5: D(10000)}).sources == []
    half = risk(set_aside, AWARD, billed={5: D(5000)})
    assert half.sources[0].mean * 2 == pytest.approx(risk(set_aside, AWARD).sources[0].mean, abs=D("0.02"))


def test_without_a_forecast_or_a_price_it_says_so() -> None:
    bare = budget(asked("foam", "mirror"), AWARD, MoneyPlan(), [], PRODUCTS)
    found = risk(bare, AWARD, openings=[], planned=None)
    assert found.status == "underdetermined"
    assert {reason.code for reason in found.reasons} == {"no price at all", "no forecast", "no contingency"}


amounts = st.integers(0, 40_000).map(D)


@settings(max_examples=25, deadline=None)
@given(amounts, amounts, st.integers(0, 2000).map(D), st.integers(0, 60))
def test_more_risk_never_costs_less(allowance: D, more: D, rent: D, late: int) -> None:
    openings = [(DAY, 600), (DAY + timedelta(days=late), 400)]
    small = plan(AWARD, HeadPlan(head=5, allowance=allowance), HeadPlan(head=3, allowance=D(500)))
    large = plan(AWARD, HeadPlan(head=5, allowance=allowance + more), HeadPlan(head=3, allowance=D(500)))
    first = risk(small, AWARD, openings=openings, weekly_rent=rent)
    assert first == risk(small, AWARD, openings=openings, weekly_rent=rent)
    assert first.p50 <= first.p80
    for other in (
        risk(large, AWARD, openings=openings, weekly_rent=rent),
        risk(small, AWARD, openings=openings, weekly_rent=rent + 100),
        risk(small, AWARD, openings=[(DAY, 500), (DAY + timedelta(days=late), 500)], weekly_rent=rent),
    ):
        assert other.p80 >= first.p80
