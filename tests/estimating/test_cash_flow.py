"""Money by week: hand-solved weeks, and nothing lost between opening and last balance."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal as D
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from estimating.engine.cash_flow import Flow, Purchase, cash_flow, purchase_flows, spread

MON = date(2027, 1, 4)


def out(day: int, amount: str, what: str = "x", **more: Any) -> Flow:
    return Flow(day=MON + timedelta(days=day), amount=D(amount), what=what, **more)


def test_weeks_by_hand() -> None:
    # Opening 1000. Week 1: 300 + 200 leave: 500. Week 2: nothing. Week 3: 400 arrives, 850 leaves: 50.
    found = cash_flow(D(1000), [out(0, "300"), out(6, "200"), out(14, "-400"), out(20, "850")], MON, "USD")
    assert [(week.start, week.arriving, week.leaving, week.balance) for week in found.weeks] == [
        (MON, D(0), D(500), D(500)),
        (MON + timedelta(days=7), D(0), D(0), D(500)),
        (MON + timedelta(days=14), D(400), D(850), D(50)),
    ]
    assert (found.status, found.lowest, found.lowest_week) == ("enough", D(50), MON + timedelta(days=14))
    assert found.put_off == found.reasons == []


def test_what_is_overdue_leaves_in_the_first_week() -> None:
    found = cash_flow(D(10), [out(-30, "4")], MON + timedelta(days=2), "USD")
    assert [(week.start, week.balance) for week in found.weeks] == [(MON, D(6))]


def test_no_flows_and_no_money() -> None:
    found = cash_flow(D(0), [], MON, "USD")
    assert (found.status, found.lowest, len(found.weeks)) == ("enough", D(0), 1)


def test_deposit_and_balance_less_what_is_paid() -> None:
    def flows(paid: str, **more: Any) -> list[tuple[int, D]]:
        order = Purchase(
            what="PO-1", total=D("999.99"), deposit_percent=D(40), balance_days=30, ordered=MON, paid=D(paid),
            arrives=MON + timedelta(days=28), placed=True, **more,
        )  # fmt: skip
        return [((flow.day - MON).days, flow.amount) for flow in purchase_flows(order, "USD")]

    # 40 % of 999.99 is 399.996, rounded 400.00; the balance 599.99 on day 28 + 30.
    assert flows("0") == [(0, D("400.00")), (58, D("599.99"))]
    assert flows("150") == [(0, D("250.00")), (58, D("599.99"))]
    assert flows("500") == [(58, D("499.99"))]
    assert flows("999.99") == []
    assert flows("400", balance_due=MON + timedelta(days=45)) == [(45, D("599.99"))]


def test_spread_evenly_to_the_cent() -> None:
    parts = spread(D("100.00"), "Paint", MON, MON + timedelta(days=20), "USD")
    assert [(flow.day, flow.amount) for flow in parts] == [
        (MON, D("33.33")), (MON + timedelta(days=7), D("33.34")), (MON + timedelta(days=14), D("33.33"))
    ]  # fmt: skip
    assert [flow.amount for flow in spread(D(5), "Late", MON, MON - timedelta(days=9), "USD")] == [D(5)]


def test_what_to_put_off_until_money_comes() -> None:
    # 100 in hand, 500 come in week 3. Week 1: 90 promised. Week 2: mirrors 60, benches 30, lockers 45.
    # Week 2 ends at 100 − 90 − 135 = −125: the largest first, mirrors (65 short), lockers (20 short), then benches,
    # the smallest that closes 20. All of them until week 3, which can bear them: −125 + 500 = 375.
    flows = [
        out(0, "90", "Vinyl"), out(7, "60", "Mirrors", movable=True), out(8, "30", "Benches", movable=True),
        out(9, "45", "Lockers", movable=True), out(14, "-500", "Loan"),
    ]  # fmt: skip
    found = cash_flow(D(100), flows, MON, "USD")
    assert (found.status, found.lowest) == ("short for a while", D(-125))
    assert [(entry.what, entry.amount, (entry.until - MON).days) for entry in found.put_off] == [
        ("Mirrors", D(60), 14), ("Lockers", D(45), 14), ("Benches", D(30), 14)
    ]  # fmt: skip
    assert "Put off what is listed" in found.reasons[0].todo


def test_the_smallest_that_closes_the_gap_alone_is_put_off() -> None:
    flows = [out(0, "50", "A", movable=True), out(1, "80", "B", movable=True), out(7, "-100", "Loan")]
    # 100 − 130 = −30: A (50) is enough, B (80) more than needed.
    found = cash_flow(D(100), flows, MON, "USD")
    assert [entry.what for entry in found.put_off] == ["A"]


def test_promised_payments_cannot_be_put_off() -> None:
    found = cash_flow(D(100), [out(0, "130", "Rent"), out(7, "-100", "Loan")], MON, "USD")
    assert (found.status, found.put_off) == ("short for a while", [])
    assert "not enough" in found.reasons[0].todo


def test_short_in_all() -> None:
    found = cash_flow(D(100), [out(0, "130", "Skip", movable=True)], MON, "USD")
    assert (found.status, found.put_off) == ("short in all", [])
    assert "Raise more" in found.reasons[0].todo


sums = st.decimals(-900, 900, places=2)
flow = st.builds(
    lambda day, amount, what, movable: out(day, str(amount), what, movable=movable),
    st.integers(-20, 200), sums, st.sampled_from("abc"), st.booleans(),
)  # fmt: skip


@given(st.decimals(0, 3000, places=2), st.lists(flow, max_size=12))
def test_nothing_is_lost_and_what_is_put_off_helps(opening: D, flows: list[Flow]) -> None:
    found = cash_flow(opening, flows, MON, "USD")
    assert found.weeks[-1].balance == opening - sum((f.amount for f in flows), D(0))
    assert sum(len(week.flows) for week in found.weeks) == len(flows)
    assert found.lowest == min(week.balance for week in found.weeks)
    left = list(flows)
    for entry in found.put_off:
        wanted = (entry.what, entry.planned, entry.amount, True)
        at = next(n for n, f in enumerate(left) if (f.what, f.day, f.amount, f.movable) == wanted)
        assert entry.until > entry.planned
        left[at] = Flow(day=entry.until, amount=entry.amount, what=entry.what)
    after = cash_flow(opening, left, MON, "USD")
    assert after.lowest >= found.lowest
    if found.reasons and "Put off" in found.reasons[0].todo:
        assert after.lowest >= 0
