"""Purchase units: exact factors, conversions in words, refusals."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildout.units.quantities import UNITS, QuantityError, convert, convert_by_way_of, to_unit
from estimating.engine.types import PurchaseUnit

INCH = Decimal("25.4")


def test_units_are_those_of_the_purchase_list():
    assert set(UNITS) == set(PurchaseUnit.__args__)


@pytest.mark.parametrize(
    ("unit", "to", "factor"),
    [
        ("foot ** 2", "metre ** 2", "0.09290304"),
        ("yard ** 2", "metre ** 2", "0.83612736"),
        ("board_foot", "metre ** 3", "0.002359737216"),
        ("pound", "gram", "453.59237"),
        ("ounce", "gram", "28.349523125"),
    ],
)
def test_exact_factors(unit, to, factor):
    """Products of the 1959 definitions (foot 0.3048 m, pound 0.45359237 kg)."""
    assert to_unit(1, unit, to) == Fraction(factor)


def test_derived_densities_and_pressures():
    """lb × 9.80665 ÷ area; oz/sq yd = 28.349523125/0.83612736 g/m²."""
    assert float(to_unit(1, "ounce / yard ** 2", "gram / metre ** 2")) == pytest.approx(33.905747475, abs=1e-9)
    assert float(to_unit(1, "pound / foot ** 3", "kilogram / metre ** 3")) == pytest.approx(16.018463374, abs=1e-8)
    assert float(to_unit(1, "psi", "kilopascal")) == pytest.approx(6.894757293, abs=1e-8)


def test_survey_foot_is_refused():
    """Withdrawn from use after 2022 (85 FR 62698); 2 ppm longer than the international foot."""
    with pytest.raises(QuantityError, match="Survey feet"):
        to_unit(1, "survey_foot", "metre")


@pytest.mark.parametrize(
    ("quantity", "unit", "to", "known", "result"),
    [
        # 54 in × 36 in = 1944 sq in = 13.5 sq ft = 1.5 sq yd = 1.25419104 m²
        (1, "running yard", "square foot", {"goods_width_mm": 54 * INCH}, "13.5"),
        (1, "running yard", "square yard", {"goods_width_mm": 54 * INCH}, "1.5"),
        (1, "running yard", "square metre", {"goods_width_mm": 54 * INCH}, "1.254191"),
        (1, "running yard", "square foot", {"goods_width_mm": 72 * INCH}, "18"),
        (1, "running yard", "square yard", {"goods_width_mm": 72 * INCH}, "2"),
        (1, "sheet", "square foot", {"sheet": (96 * INCH, 48 * INCH)}, "32"),
        (320, "square foot", "sheet", {"sheet": (96 * INCH, 48 * INCH)}, "10"),
        # 100 ft roll of 54 in goods: 450 sq ft
        (2, "roll", "square foot", {"roll_length_mm": 30480, "goods_width_mm": 54 * INCH}, "900"),
        (50, "running yard", "roll", {"roll_length_mm": 45720}, "1"),
        (3, "length", "running foot", {"piece_length_mm": Decimal("3657.6")}, "36"),
        # 2×4 by its full size: 12 ft × 3.5 in × 1.5 in = 12·3.5·1.5/12 = 5.25 board ft
        (1, "length", "board foot", {"piece_length_mm": 144 * INCH, "goods_width_mm": INCH * 7 / 2,
                                     "thickness_mm": INCH * 3 / 2}, "5.25"),
        (1, "square foot", "board foot", {"thickness_mm": INCH}, "1"),
        (6, "running yard", "running foot", {}, "18"),
        (3, "bundle", "each", {"per_pack": 5}, "15"),
        (120, "each", "box", {"per_pack": 50}, "2.4"),
        (3, "pair", "each", {}, "6"),
        (1, "gallon", "litre", {}, "3.785412"),
        # paint at 32.5 m² to the gallon
        (65, "square metre", "gallon", {"spread": Decimal("32.5"), "spread_unit": "gallon"}, "2"),
    ],
)  # fmt: skip
def test_conversions(quantity, unit, to, known, result):
    amount, words = convert(Decimal(quantity), unit, to, **known)
    assert amount == Decimal(result)
    assert words.count("=") == 1


def test_price_trap_of_running_yards():
    """A running yard of 72 in goods holds 4/3 of one of 54 in goods."""
    wide, _ = convert(Decimal(1), "running yard", "square foot", goods_width_mm=72 * INCH)
    narrow, _ = convert(Decimal(1), "running yard", "square foot", goods_width_mm=54 * INCH)
    assert Fraction(wide) / Fraction(narrow) == Fraction(4, 3)


def test_words_carry_the_arithmetic():
    _, words = convert(Decimal(270), "square foot", "running yard", goods_width_mm=54 * INCH)
    assert words == "270 sq ft ÷ 13.5 sq ft in 1 running yd of goods 54 in wide = 20 running yd"
    _, words = convert(Decimal(100), "running foot", "metre")
    assert words == "100 running ft ÷ 3.2808 running ft in 1 m = 30.48 m"
    assert convert(Decimal(84), "sheet", "sheet") == (Decimal(84), "84 sheets")


@pytest.mark.parametrize(
    ("unit", "to", "known", "says"),
    [
        ("running yard", "square foot", {}, "width of the goods"),
        ("square foot", "board foot", {}, "thickness"),
        ("sheet", "square foot", {}, "the sheet's size"),
        ("roll", "running foot", {}, "the roll's length"),
        ("each", "square foot", {}, "the size of one"),
        ("visit", "square foot", {}, "cannot be turned"),
        ("gallon", "square foot", {}, "thickness"),
        ("furlong", "metre", {}, "not a unit"),
        ("running yard", "square foot", {"goods_width_mm": 0}, "nothing"),
    ],
)
def test_units_that_do_not_fit(unit, to, known, says):
    with pytest.raises(QuantityError, match=says):
        convert(Decimal(1), unit, to, **known)


@pytest.mark.parametrize("quantity", ["-1", "NaN", "Infinity"])
def test_bad_quantities(quantity):
    with pytest.raises(QuantityError):
        convert(Decimal(quantity), "square foot", "square metre")


@given(
    st.decimals("0.01", "100000", places=2), st.sampled_from(["square foot", "square yard", "square metre", "sheet"])
)
def test_there_and_back(quantity, unit):
    known = {"goods_width_mm": 54 * INCH, "sheet": (Decimal(2440), Decimal(1220))}
    there, _ = convert(quantity, unit, "running yard", **known)
    back, _ = convert(there, "running yard", unit, **known)
    assert abs(back - quantity) < Decimal("0.00001")


def test_by_way_of_another_unit_is_rounded_once() -> None:
    """A running foot of goods 44 in wide: 0.3048 × 1.1176 m = 0.34064448 m². By 3.666667 sq ft it would be 0.340645."""
    narrow, wide = {"goods_width_mm": Decimal("1117.6")}, {"goods_width_mm": Decimal("914.4")}
    found, words = convert_by_way_of("square foot", Decimal(1), "running foot", narrow, "square metre", wide)
    assert found == Decimal("0.340644")
    assert "sq ft" in words
