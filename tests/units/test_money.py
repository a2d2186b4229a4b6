"""Money: one rounding rule, minor units, sums that add up."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildout.units.money import CURRENCIES, MoneyError, format_money, minor_units, round_money, split_money, tax_on


@pytest.mark.parametrize(
    ("value", "rounded"),
    [("2.665", "2.67"), ("2.675", "2.68"), ("1.005", "1.01"), ("0.125", "0.13"), ("-2.665", "-2.67")],
)
def test_half_up_away_from_nothing(value, rounded):
    """Written out by hand; rounding to even gives 2.66, 1.00, 0.12 and −2.66, so that a wrong rule shows."""
    assert round_money(Decimal(value), "USD") == Decimal(rounded)


def test_tax_at_line_level():
    # By hand: 0.83 + 1.66 + 2.75 = 5.24, where the whole would be 5.23215 → 5.23
    lines = [tax_on(Decimal(v), Decimal("8.25"), "USD") for v in ("10.02", "20.07", "33.33")]
    assert lines == [Decimal("0.83"), Decimal("1.66"), Decimal("2.75")]
    # Ten times 0.0049 is nothing ten times, where the whole would be 0.049 → 0.05.
    assert sum(tax_on(Decimal("0.07"), Decimal(7), "USD") for _ in range(10)) == 0
    # 0.25 + 0.255 + 0.785: half up 0.26 and 0.79; rounding to even would give 1.29.
    assert sum(tax_on(Decimal(v), Decimal("6.25"), "USD") for v in ("4.00", "4.08", "12.56")) == Decimal("1.30")


def test_minor_units():
    """ISO 4217 exponents, from memory."""
    assert {c: minor_units(c) for c in ("USD", "EUR", "JPY", "KWD", "BHD", "CLF", "XXX", "XTS")} == {
        "USD": 2, "EUR": 2, "JPY": 0, "KWD": 3, "BHD": 3, "CLF": 4, "XXX": 2, "XTS": 2,
    }  # fmt: skip
    assert all(len(c) == 3 and c.isupper() for c in CURRENCIES)
    for wrong in ("usd", "DOLLAR", "", "ABC"):
        with pytest.raises(MoneyError, match="three capital letters"):
            minor_units(wrong)


def test_written():
    assert format_money(Decimal("6229.4"), "XXX") == "¤6,229.40"
    assert format_money(Decimal("-0.001"), "USD") == "$0.00"
    assert format_money(Decimal("-1234.5"), "EUR") == "−€1,234.50"
    assert format_money(Decimal("1234.5"), "JPY") == "¥1,235"
    assert format_money(Decimal("1"), "CHF") == "CHF 1.00"


@pytest.mark.parametrize("amount", ["NaN", "Infinity", "1e20"])
def test_no_amount(amount):
    with pytest.raises(MoneyError):
        round_money(Decimal(amount), "USD")


def test_split_in_three():
    assert split_money(Decimal("100.00"), 3, "USD") == [Decimal("33.34"), Decimal("33.33"), Decimal("33.33")]
    with pytest.raises(MoneyError):
        split_money(Decimal(1), 0, "USD")


@given(st.decimals("-99999", "99999", places=2), st.integers(1, 50), st.sampled_from(["USD", "JPY", "KWD"]))
def test_parts_add_up(amount, parts, currency):
    made = split_money(amount, parts, currency)
    assert sum(made) == round_money(amount, currency)
    assert max(made) - min(made) <= Decimal(1).scaleb(-minor_units(currency))
