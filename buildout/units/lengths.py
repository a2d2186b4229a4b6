"""Lengths as people write them: one reader, one writer, exact millimetres between.

An inch is 25.4 mm exactly (international yard and pound agreement of 1959; restated in the US Federal
Register, 85 FR 62698, 5 October 2020). The US survey foot is never read and never written.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any, Literal

UnitSystem = Literal["feet-inches", "metric"]

INCH_MM = Fraction(254, 10)
FOOT_MM = INCH_MM * 12
THREE_PLACES = Decimal("0.001")
LONGEST_MM = Decimal(1_000_000)
"""Nothing in a building or on a roll is longer than a kilometre; a longer value is a slip of the keyboard."""
LONGEST_TEXT = 40
EXAMPLE = "12' 3 1/4\" or 3.74 m"
TAPE_FRACTIONS = (2, 4, 8, 16, 32, 64)
POUND_KG = Fraction(45359237, 100_000_000)


class LengthError(ValueError):
    """A length that cannot be read without guessing; the message carries an example."""


class Length:
    """A length kept as typed (``text``) with its exact millimetres (``mm``, three places)."""

    __slots__ = ("mm", "text")
    text: str
    mm: Decimal

    def __init__(self, text: str, mm: Decimal) -> None:
        object.__setattr__(self, "text", text)
        object.__setattr__(self, "mm", mm)

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a Length cannot be changed")

    def __reduce__(self) -> tuple[type[Length], tuple[str, Decimal]]:
        return (Length, (self.text, self.mm))

    @classmethod
    def read(cls, value: Any) -> Length:
        """Read text as typed, or a bare number as millimetres (the build file's rule)."""
        if isinstance(value, Length):
            return value
        if isinstance(value, bool) or not isinstance(value, str | int | float | Decimal):
            raise LengthError(f"Expected a length such as {EXAMPLE}")
        if isinstance(value, str):
            return cls(value, parse_length(value))
        mm = Decimal(str(value)) or Decimal(0)  # a zero written with a minus sign is a plain zero
        if not mm.is_finite():
            raise LengthError(f"Expected a length such as {EXAMPLE}")
        if mm < 0:
            raise LengthError(f"A length cannot be negative. Write it without the minus sign, such as {EXAMPLE}")
        if mm > LONGEST_MM:
            raise LengthError(f"That is longer than a kilometre. Write a length such as {EXAMPLE}")
        kept = mm.quantize(THREE_PLACES, ROUND_HALF_UP)
        # Numbers so small or round that they are written with an exponent could not be read again, nor could "-0.0".
        return cls(f"{kept if 'e' in str(value).lower() or not mm else value} mm", kept)

    def __float__(self) -> float:
        return float(self.mm)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Length) and self.mm == other.mm

    def __hash__(self) -> int:
        return hash(self.mm)

    def __repr__(self) -> str:
        return f"Length({self.text!r})"


_SAME_MARK = str.maketrans(
    {
        "′": "'", "’": "'", "‘": "'", "ʹ": "'", "ʼ": "'", "´": "'", "`": "'", "＇": "'",
        "″": '"', "”": '"', "“": '"', "„": '"', "ʺ": '"', "〃": '"', "＂": '"',
        "⁄": "/", "∕": "/", "−": "-", "–": "-", "‐": "-", "‑": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " ",
    }
)  # fmt: skip

_FEET = r"(?:'|ft\.?|feet|foot)"
_INCHES = r"(?:\"|in\.?|inch(?:es)?)"
_NUMBER = r"(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"
_FRACTION = r"(?P<num>[0-9]+)\s*/\s*(?P<den>[0-9]+)"
_METRIC = {"mm": 1, "cm": 10, "m": 1000}
_WORDS = {
    "millimetre": "mm", "millimeter": "mm", "centimetre": "cm", "centimeter": "cm", "metre": "m", "meter": "m",
    "yard": "yd", "yds": "yd",
}  # fmt: skip

_FEET_INCHES = re.compile(
    rf"^(?:(?P<feet>{_NUMBER})\s*{_FEET})?"
    rf"(?:\s*-?\s*(?P<rest>(?P<whole>{_NUMBER})?(?P<gap>\s+|-|\s+-\s+)?(?:{_FRACTION})?)\s*(?P<mark>{_INCHES}))?$"
)
_ONE_UNIT = re.compile(rf"^(?P<number>{_NUMBER})\s*(?P<unit>mm|cm|m|yd)\.?$")
_BARE = re.compile(rf"^{_NUMBER}(?:[\s-]+[0-9]+\s*/\s*[0-9]+)?$|^[0-9]+\s*/\s*[0-9]+$")


@lru_cache(maxsize=8192)
def _plain(text: str) -> str:
    spread = "".join(f" {c}" if unicodedata.decomposition(c).startswith("<fraction>") else c for c in text)
    marked = unicodedata.normalize("NFKC", spread.translate(_SAME_MARK)).translate(_SAME_MARK)
    tidy = " ".join(marked.replace("''", '"').lower().split())
    for word, unit in _WORDS.items():
        tidy = re.sub(rf"\b{word}s?\b", unit, tidy)
    return tidy


def written_in(texts: Iterable[str]) -> UnitSystem:
    """The unit system most lengths are written in; feet and inches when it is a draw.

    >>> written_in(["3.74 m", "12 mm", "4 ft"])
    'metric'
    """
    metric = sum(1 if _ONE_UNIT.match(_plain(text)) and not text.strip().endswith("yd") else -1 for text in texts)
    return "metric" if metric > 0 else "feet-inches"


def _fraction(num: str, den: str) -> Fraction:
    if int(den) == 0:
        raise LengthError(f'{num}/{den} divides by nothing. Write a tape fraction, such as 3 1/4"')
    if int(den) not in TAPE_FRACTIONS:
        raise LengthError(f'{num}/{den} is not a mark on a tape. Use halves to 64ths, such as 3 5/16", or 3.33 in')
    if int(num) >= int(den):
        raise LengthError(f'{num}/{den} is a whole inch or more. Write whole inches first, such as 3 1/4"')
    return Fraction(int(num), int(den))


@lru_cache(maxsize=4096)
def parse_length(text: str) -> Decimal:
    """Read a length as people write it, as millimetres with three places (half up).

    Takes feet, inches and tape fractions (``12' 3 1/4"``, ``12 ft 3.25 in``, ``147 1/4"``, with straight or
    typographic marks), millimetres, centimetres, metres and yards. Raises ``LengthError`` naming what is
    unclear: nothing is guessed.

    >>> parse_length("12' 3 1/4\\"")
    Decimal('3740.150')
    >>> parse_length("3.74 m")
    Decimal('3740.000')
    >>> parse_length("12 3 1/4")
    Traceback (most recent call last):
    buildout.units.lengths.LengthError: "12 3 1/4" does not say feet, inches or metres. Write 12' 3 1/4" or 3.74 m
    """
    if len(text) > LONGEST_TEXT:
        raise LengthError(f"That is too long to be a length. Write {EXAMPLE}")
    plain = _plain(text)
    shown = " ".join(text.split())
    if not plain:
        raise LengthError(f"No length is given. Write {EXAMPLE}")
    if plain.startswith("-"):
        raise LengthError(f'"{shown}" is negative. Write it without the minus sign, such as {EXAMPLE}')
    if "," in plain:
        raise LengthError(f'"{shown}" has a comma, which may mean two things. Write {EXAMPLE}')
    if "survey" in plain:
        raise LengthError(f"Survey feet are not used here. Write international feet or metres, such as {EXAMPLE}")
    mm = _read(plain, shown)
    if mm > LONGEST_MM:
        raise LengthError(f'"{shown}" is longer than a kilometre. Write a length such as {EXAMPLE}')
    return mm


def _read(plain: str, shown: str) -> Decimal:
    metric = _ONE_UNIT.match(plain)
    if metric:
        factor = FOOT_MM * 3 if metric["unit"] == "yd" else Fraction(_METRIC[metric["unit"]])
        return _three_places(Fraction(metric["number"]) * factor)
    if _BARE.match(plain) or re.fullmatch(r"[0-9\s./-]+", plain):
        raise LengthError(f'"{shown}" does not say feet, inches or metres. Write {EXAMPLE}')
    match = _FEET_INCHES.match(plain)
    if not match or (match["feet"] is None and match["mark"] is None):
        if re.match(rf"^{_NUMBER}\s*{_FEET}\s*-?\s*[0-9]", plain) and not re.search(_INCHES, plain.split("'")[-1]):
            raise LengthError(f'"{shown}" has no inch mark after the inches. Write 12\' 3 1/4"')
        raise LengthError(f'"{shown}" cannot be read as a length. Write {EXAMPLE}')
    feet, whole, num, den = match["feet"], match["whole"], match["num"], match["den"]
    inches = Fraction(0)
    if match["mark"] is not None:
        if whole is None and num is None:
            raise LengthError(f'"{shown}" has an inch mark without inches. Write 12\' 3 1/4"')
        if whole is not None and num is not None and not match["gap"]:
            raise LengthError(f'"{shown}" cannot be read as a length. Write {EXAMPLE}')
        if whole is not None and "." in whole and num is not None:
            raise LengthError(f'"{shown}" mixes decimals and a fraction. Write 3.25 in or 3 1/4"')
        inches = Fraction(whole or 0) + (_fraction(num, den) if num is not None else 0)
    if feet is not None and match["mark"] is not None:
        if "." in feet:
            raise LengthError(f'"{shown}" has part of a foot and inches too. Write 12\' 6" or 12.5 ft')
        if inches >= 12:
            over = Fraction(feet) * FOOT_MM + inches * INCH_MM
            raise LengthError(
                f'"{shown}" has a foot or more of inches. Write {format_length(_three_places(over), denominator=64)}'
                " if that is what is meant"
            )
    return _three_places(Fraction(feet or 0) * FOOT_MM + inches * INCH_MM)


def _three_places(mm: Fraction) -> Decimal:
    return Decimal(_half_up(mm * 1000)).scaleb(-3).quantize(THREE_PLACES)


def _half_up(value: Fraction) -> int:
    """Nearest whole number, halves away from nothing (value ≥ 0)."""
    return (value.numerator * 2 + value.denominator) // (value.denominator * 2)


def _exact(mm: Decimal | float | Length) -> Fraction:
    if isinstance(mm, Length):
        return Fraction(mm.mm)
    return Fraction(Decimal(str(mm)))


def _inch_text(sixty_fourths: int, denominator: int) -> str:
    whole, part = divmod(sixty_fourths, denominator)
    if not part:
        return str(whole)
    fraction = Fraction(part, denominator)
    return f"{whole} {fraction.numerator}/{fraction.denominator}"


def format_length(
    mm: Decimal | float | Length,
    units: UnitSystem = "feet-inches",
    *,
    denominator: int = 16,
    places: int = 0,
    mark_rounded: bool = False,
) -> str:
    """Write a length. Feet and inches to 1/``denominator`` in, metric in millimetres to ``places``.

    Rounds half up and carries (never 12 inches beside feet). ``mark_rounded`` puts ``≈`` before a
    length that is not exactly what is shown.

    >>> format_length(Decimal("3740.150"))
    '12\\' 3 1/4"'
    >>> format_length(609.4)
    '2\\' 0"'
    >>> format_length(3740, mark_rounded=True)
    '≈ 12\\' 3 1/4"'
    >>> format_length(3740.15, "metric")
    '3740 mm'
    """
    if denominator not in (1, *TAPE_FRACTIONS):
        raise ValueError("denominator must be 1, 2, 4, 8, 16, 32 or 64")
    exact = _exact(mm)
    size = abs(exact)
    if units == "metric":
        steps = _half_up(size * 10**places)
        shown = Fraction(steps, 10**places)
        body = f"{Decimal(steps).scaleb(-places):f} mm"
    else:
        parts = _half_up(size / INCH_MM * denominator)
        shown = Fraction(parts, denominator) * INCH_MM
        feet, rest = divmod(parts, 12 * denominator)
        body = f"{feet}' {_inch_text(rest, denominator)}\""
    sign = "−" if exact < 0 and shown else ""
    rounded = mark_rounded and abs(shown - size) > Fraction(1, 2000)
    return f"{'≈ ' if rounded else ''}{sign}{body}"


def format_run(
    mm: Decimal | float | Length, units: UnitSystem = "feet-inches", *, denominator: int = 1, places: int = 2
) -> str:
    """Write a long run: what is added up, gone round or drawn off a roll, rather than marked and cut.

    Feet and inches to 1/``denominator`` in; metres to ``places`` from a metre on, millimetres below. Dimensions on
    drawings and lengths to cut are written by ``format_length``, in millimetres throughout.

    >>> format_run(76409.2), format_run(76409.2, "metric"), format_run(640, "metric")
    ('250\\' 8"', '76.41 m', '640 mm')
    """
    exact = _exact(mm)
    if units == "metric" and abs(exact) >= 1000:
        return f"{_decimal(exact / 1000, places):,} m".replace("-", "−")
    return format_length(mm, units, denominator=denominator)


def format_small(mm: Decimal | float | Length, units: UnitSystem = "feet-inches", *, denominator: int = 16) -> str:
    """Write a small length (a residual, a tolerance) in inches, or in millimetres to one place.

    >>> format_small(3.2)
    '1/8 in'
    >>> format_small(-305.0)
    '−12 in'
    >>> format_small(3.2, "metric")
    '3.2 mm'
    """
    exact = _exact(mm)
    if units == "metric":
        steps = _half_up(abs(exact) * 10)
        body = f"{Decimal(steps).scaleb(-1):f} mm"
    else:
        steps = _half_up(abs(exact) / INCH_MM * denominator)
        text = _inch_text(steps, denominator)
        body = f"{text.removeprefix('0 ')} in"
    return f"{'−' if exact < 0 and steps else ''}{body}"


def format_area(mm2: Decimal | float, units: UnitSystem = "feet-inches", *, places: int | None = None) -> str:
    """Write an area: whole square feet, or square metres to one place, unless ``places`` is given.

    >>> format_area(268958000)
    '2,895 sq ft'
    >>> format_area(268958000, "metric")
    '269.0 m²'
    """
    exact = Fraction(Decimal(str(mm2)))
    if units == "metric":
        return f"{_decimal(exact / 1_000_000, 1 if places is None else places):,} m²"
    return f"{_decimal(exact / FOOT_MM**2, places or 0):,} sq ft"


def format_mass(kg: Decimal | float, units: UnitSystem = "feet-inches", *, places: int = 0) -> str:
    """Write a mass in pounds or kilograms.

    >>> format_mass(416)
    '917 lb'
    """
    exact = Fraction(Decimal(str(kg)))
    if units == "metric":
        return f"{_decimal(exact, places):,} kg"
    return f"{_decimal(exact / POUND_KG, places):,} lb"


def _decimal(value: Fraction, places: int) -> Decimal:
    steps = _half_up(abs(value) * 10**places)
    return Decimal(-steps if value < 0 else steps).scaleb(-places)
