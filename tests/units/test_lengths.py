"""Lengths: what is read, what is refused, what comes back."""

import contextlib
import copy
import pickle
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildout.units.lengths import (
    FOOT_MM,
    INCH_MM,
    Length,
    LengthError,
    UnitSystem,
    format_area,
    format_length,
    format_mass,
    format_run,
    format_small,
    parse_length,
    written_in,
)
from buildout.units.quantities import to_unit


def test_inch_foot_yard():
    """International yard and pound agreement (1959), restated in 85 FR 62698 (5 October 2020)."""
    assert parse_length("1 in") == Decimal("25.4")
    assert parse_length("1 ft") == Decimal("304.8")
    assert parse_length("1 yd") == Decimal("914.4")


def test_own_factors_are_those_of_the_unit_library():
    assert to_unit(1, "inch", "millimetre") == INCH_MM
    assert to_unit(1, "foot", "millimetre") == FOOT_MM


@pytest.mark.parametrize(
    ("typed", "mm", "shown"),
    [
        ("12' 3 1/4\"", "3740.150", "12' 3 1/4\""),
        ("12 ft 3.25 in", "3740.150", "12' 3 1/4\""),
        ('147 1/4"', "3740.150", "12' 3 1/4\""),
        ("3.74015 m", "3740.150", "12' 3 1/4\""),
        ("0' 0 1/64\"", "0.397", "0' 0 1/64\""),
        ("30' 11 63/64\"", "9448.403", "30' 11 63/64\""),
        ("5' 11 15/16\"", "1827.213", "5' 11 15/16\""),
        ("1' 0 1/32\"", "305.594", "1' 0 1/32\""),
        ("49' 2 9/16\"", "15000.288", "49' 2 9/16\""),
    ],
)
def test_round_trip_table(typed, mm, shown):
    """25.4 mm exactly, three places half up, shown again to 1/64 in."""
    assert parse_length(typed) == Decimal(mm)
    assert format_length(Decimal(mm), denominator=64) == shown


@pytest.mark.parametrize(
    ("mm", "denominator", "shown"),
    [
        ("3740", 16, "12' 3 1/4\""),
        ("1000", 8, "3' 3 3/8\""),
        ("2440", 16, "8' 0 1/16\""),
        ("609.4", 64, "1' 11 63/64\""),
        ("609.4", 16, "2' 0\""),  # carries into feet, never 1' 12"
        ("0.1", 64, "0' 0\""),
        ("0.2", 64, "0' 0 1/64\""),
        ("-3740.15", 16, "−12' 3 1/4\""),
        ("-0.1", 16, "0' 0\""),
    ],
)
def test_shown(mm, denominator, shown):
    assert format_length(Decimal(mm), denominator=denominator) == shown


def test_rounded_lengths_can_be_marked():
    assert format_length(3740, mark_rounded=True) == "≈ 12' 3 1/4\""
    assert format_length(Decimal("3740.150"), mark_rounded=True) == "12' 3 1/4\""
    assert format_length(Decimal("0.397"), denominator=64, mark_rounded=True) == "0' 0 1/64\""


@pytest.mark.parametrize(
    "typed",
    [
        "12′ 3 1/4″", "12’ 3 ¼”", "12'3¼\"", "12'-3 1/4\"", "12 feet 3 1/4 inches", "12ft 3 1/4in", "12 FT. 3 1/4 IN.",
        "12' 3 1/4''", " 12'  3  1/4 \" ", "147-1/4\"", "147.25 in", "12' 3 1⁄4\"",
    ],
)  # fmt: skip
def test_ways_of_writing_one_length(typed):
    assert parse_length(typed) == Decimal("3740.150")


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("3.74 m", 3740), ("3740 mm", 3740), ("374 cm", 3740), ("3.74 metres", 3740), ("12'", "3657.6"), ("0 in", 0),
        ("6.5 ft", "1981.2"), ("100 ft", 30480), ("25 yd", 22860), ("½\"", "12.7"), (".5 m", 500),
    ],
)  # fmt: skip
def test_other_lengths(typed, mm):
    assert parse_length(typed) == Decimal(mm)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("12 3 1/4", "does not say feet, inches or metres"),
        ("12' 13\"", "13' 1\""),
        ("12' 12\"", "13' 0\""),
        ('3 1/0"', "divides by nothing"),
        ("1/3", "does not say"),
        ('1/3"', "not a mark on a tape"),
        ('3 4/4"', "whole inch"),
        ("-2'", "negative"),
        ("−2'", "negative"),
        ("", "No length"),
        ("   ", "No length"),
        ("12'3 1/4", "no inch mark"),
        ("12' 3", "no inch mark"),
        ("12 ft 3", "no inch mark"),
        ("3740", "does not say"),
        ("6.5", "does not say"),
        ("3,74 m", "comma"),
        ("1,200 mm", "comma"),
        ("12.5' 3\"", "part of a foot"),
        ('3.5 1/4"', "decimals and a fraction"),
        ("12' \"", "without inches"),
        ("5\" 3'", "cannot be read"),
        ("3 m 40", "cannot be read"),
        ("1' 2' 3\"", "cannot be read"),
        ("about 3 m", "cannot be read"),
        ("nan m", "cannot be read"),
        ("1e3 mm", "cannot be read"),
        ('11/4"', "cannot be read"),
        ("5 survey ft", "Survey feet"),
        ("4000 ft", "longer than a kilometre"),
        ("9" * 5000 + " mm", "too long"),
    ],
)
def test_unclear_lengths_are_refused_with_an_example(typed, says):
    with pytest.raises(LengthError, match=says.replace("(", "\\(")) as refused:
        parse_length(typed)
    message = str(refused.value)
    assert any(example in message for example in ("12' 3 1/4\"", '3 1/4"', '3 5/16"', "13' ", "3.25 in", "12.5 ft"))
    assert len(message) < 200


@given(st.integers(0, 200 * 12 * 64))
def test_every_64th_survives(steps):
    exact = Fraction(steps, 64) * INCH_MM
    text = format_length(Decimal(exact.numerator) / Decimal(exact.denominator), denominator=64)
    mm = parse_length(text)
    assert abs(Fraction(mm) - exact) <= Fraction(1, 2000)  # three stored places
    assert format_length(mm, denominator=64) == text
    assert '12"' not in text.split("' ")[1].split(" ")[0] + '"'


@given(st.decimals("0", "60000", places=3), st.sampled_from([1, 2, 4, 8, 16, 32, 64]))
def test_shown_is_the_nearest_mark(mm, denominator):
    shown = parse_length(format_length(mm, denominator=denominator))
    assert abs(shown - mm) <= Decimal("12.7") / denominator + Decimal("0.001")


@given(st.decimals("0", "60000", places=3))
def test_metric_round_trip(mm):
    assert parse_length(format_length(mm, "metric", places=3)) == mm


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused(text):
    with contextlib.suppress(LengthError):
        assert 0 <= parse_length(text) <= 1_000_000


def test_system_most_lengths_are_written_in():
    assert written_in(["3.74 m", "12' 0\"", "30 cm"]) == "metric"
    assert written_in(["3.74 m", "12' 0\""]) == "feet-inches"
    assert written_in([]) == "feet-inches"


def test_length_keeps_what_was_typed():
    length = Length.read("12' 3 1/4\"")
    assert (length.text, length.mm) == ("12' 3 1/4\"", Decimal("3740.150"))
    assert length == Length.read('147 1/4"')
    assert len({length, Length.read(3740.15)}) == 1
    assert Length.read(3740).text == "3740 mm"
    assert pickle.loads(pickle.dumps(length)) == copy.deepcopy(length) == length  # noqa: S301
    with pytest.raises(AttributeError):
        length.mm = Decimal(1)


@pytest.mark.parametrize("value", [True, None, float("nan"), float("inf"), -1, 1e9, [], {}])
def test_values_that_are_no_length(value):
    with pytest.raises(LengthError):
        Length.read(value)


def test_areas_and_masses():
    # 1 sq ft = 0.09290304 m²; 1 lb = 0.45359237 kg
    assert format_area(Decimal("92903.04") * 2895) == "2,895 sq ft"
    assert format_area(5_000_000, "metric", places=2) == "5.00 m²"
    assert format_mass(Decimal("0.45359237") * 150) == "150 lb"
    assert format_mass(68, "metric") == "68 kg"
    assert format_small(Decimal("3.175")) == "1/8 in"
    assert format_small(-13) == "−1/2 in"


@pytest.mark.parametrize(
    ("mm", "units", "text"),
    [
        (999.4, "metric", "999 mm"),
        (1000, "metric", "1.00 m"),
        (280904, "metric", "280.90 m"),
        (1592315, "metric", "1,592.32 m"),
        (280904, "feet-inches", "921' 7\""),  # 11059.2 in
        (640, "feet-inches", "2' 1\""),  # 25.2 in
    ],
)
def test_long_runs_are_written_in_metres(mm: float, units: UnitSystem, text: str) -> None:
    assert format_run(mm, units) == text


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (1e-5, "0.000 mm"), (9.1e-290, "0.000 mm"), (Decimal("5E+2"), "500.000 mm"), (12.5, "12.5 mm"),
        (-0.0, "0.000 mm"), (Decimal("-0.00"), "0.000 mm"), (0, "0.000 mm"),
    ],
)  # fmt: skip
def test_numbers_with_an_exponent_or_no_value_are_written_so_that_they_read_again(
    number: float | Decimal, text: str
) -> None:
    length = Length.read(number)
    assert length.text == text
    assert Length.read(text) == length
