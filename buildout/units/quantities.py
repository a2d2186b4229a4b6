"""Quantities in the units goods are bought in, converted by Pint with exact fractions.

Running units have no area until the goods' width is known, sheets and rolls none until their size is known:
the caller says so, and the conversion is told in words with its arithmetic.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import cache
from typing import Any, NamedTuple

from buildout.units.lengths import INCH_MM

SIX_PLACES = Decimal("0.000001")


class QuantityError(ValueError):
    """Units that do not fit each other; the message says what is missing."""


@cache
def registry() -> Any:
    """The one Pint registry, with exact fractions and without the US survey foot.

    >>> registry().Quantity(Fraction(1), "foot").to("millimetre").magnitude
    Fraction(1524, 5)
    """
    import pint

    return pint.UnitRegistry(non_int_type=Fraction, cache_folder=None)


def to_unit(amount: Decimal | Fraction | int, from_unit: str, to: str) -> Fraction:
    """Convert between Pint's own units, exactly. Raises ``QuantityError`` for units that do not fit.

    >>> to_unit(1, "pound", "gram")
    Fraction(45359237, 100000)
    """
    import pint

    if "survey" in from_unit or "survey" in to:
        raise QuantityError("Survey feet are not used here. Use international feet or metres")
    try:
        return Fraction(registry().Quantity(Fraction(amount), from_unit).to(to).magnitude)
    except pint.DimensionalityError as error:
        raise QuantityError(f"{from_unit} cannot be turned into {to}: they measure different things") from error
    except pint.UndefinedUnitError as error:
        raise QuantityError(f"{from_unit} or {to} is not a unit. Use one such as square foot or metre") from error


class _Measure(NamedTuple):
    """What one unit holds: ``size`` in ``base``, with the words that say how it is known."""

    size: Fraction
    base: str
    """millimetre, millimetre ** 2, millimetre ** 3 or each."""
    known: str


_PLAIN = {
    "running foot": ("foot", "millimetre"), "running yard": ("yard", "millimetre"), "metre": ("metre", "millimetre"),
    "square foot": ("foot ** 2", "millimetre ** 2"), "square yard": ("yard ** 2", "millimetre ** 2"),
    "square metre": ("metre ** 2", "millimetre ** 2"), "board foot": ("board_foot", "millimetre ** 3"),
    "gallon": ("gallon", "millimetre ** 3"), "litre": ("litre", "millimetre ** 3"),
}  # fmt: skip
_SHORT = {
    "running foot": "running ft", "running yard": "running yd", "metre": "m", "square foot": "sq ft",
    "square yard": "sq yd", "square metre": "m²", "board foot": "board ft", "litre": "l",
}  # fmt: skip
_PLURALS = {"foot": "feet", "box": "boxes"}
UNITS = (*_PLAIN, "each", "sheet", "roll", "length", "bundle", "box", "pair", "visit")
_BASE_NAMES = {
    "millimetre": "a length", "millimetre ** 2": "an area", "millimetre ** 3": "a volume", "each": "a count",
}  # fmt: skip


class Goods(NamedTuple):
    """What must be known of goods to convert between units; leave out what does not matter. Lengths in mm."""

    goods_width_mm: Decimal | float | None = None
    """Usable width of a roll."""
    sheet: tuple[Decimal | float, Decimal | float] | None = None
    roll_length_mm: Decimal | float | None = None
    piece_length_mm: Decimal | float | None = None
    thickness_mm: Decimal | float | None = None
    per_pack: int | None = None
    """Pieces in a bundle or box."""
    spread: Decimal | None = None
    """Area one ``spread_unit`` covers, m²."""
    spread_unit: str = "each"


def convert(
    quantity: Decimal,
    from_unit: str,
    to_unit: str,
    *,
    goods_width_mm: Decimal | float | None = None,
    sheet: tuple[Decimal | float, Decimal | float] | None = None,
    roll_length_mm: Decimal | float | None = None,
    piece_length_mm: Decimal | float | None = None,
    thickness_mm: Decimal | float | None = None,
    per_pack: int | None = None,
    spread: Decimal | None = None,
    spread_unit: str = "each",
) -> tuple[Decimal, str]:
    """Turn a quantity into another purchase unit; returns it (six places, half up) and how, in words.

    Units are those of ``PurchaseUnit``. ``goods_width_mm`` gives running units an area, ``sheet`` (length,
    width) a sheet, ``roll_length_mm`` a roll, ``piece_length_mm`` a length, ``thickness_mm`` turns area into
    board feet, ``per_pack`` opens bundles and boxes, ``spread`` is the area in m² that one ``spread_unit``
    covers. Raises ``QuantityError`` saying what is missing or why the units do not fit.

    >>> convert(Decimal(270), "square foot", "running yard", goods_width_mm=Decimal("1371.6"))
    (Decimal('20.000000'), '270 sq ft ÷ 13.5 sq ft in 1 running yd of goods 54 in wide = 20 running yd')
    """
    goods = Goods(
        goods_width_mm, sheet, roll_length_mm, piece_length_mm, thickness_mm, per_pack, spread, spread_unit
    )  # fmt: skip
    for unit in (from_unit, to_unit):
        if unit not in UNITS:
            raise QuantityError(f'"{unit}" is not a unit goods are bought in. Use one such as sheet or running yard')
    if not quantity.is_finite() or quantity < 0:
        raise QuantityError("A quantity is a number, nought or more, such as 84")
    if from_unit == to_unit:
        return quantity, f"{_number(Fraction(quantity))} {_name(from_unit, quantity)}"
    factor, known = _factor(from_unit, to_unit, goods)
    amount = _decimal(Fraction(quantity) * factor)
    return amount, _words(quantity, from_unit, to_unit, factor, amount, known)


def convert_by_way_of(
    middle: str,
    quantity: Decimal,
    from_unit: str,
    from_sizes: Mapping[str, Any],
    to_unit: str,
    to_sizes: Mapping[str, Any],
) -> tuple[Decimal, str]:
    """``convert`` between goods of different sizes, by a unit both have; rounded once, at the end.

    ``from_sizes``, ``to_sizes``: the sizes ``convert`` takes, of each. One running yard 54 in wide covers 13.5 sq ft,
    and so many are 13.5 ÷ 5 = 2.7 running ft of goods 60 in wide:

    >>> wide, wider = {"goods_width_mm": Decimal("1371.6")}, {"goods_width_mm": Decimal("1524")}
    >>> convert_by_way_of("square foot", Decimal(1), "running yard", wide, "running foot", wider)[0]
    Decimal('2.700000')
    """
    between, first = convert(quantity, from_unit, middle, **from_sizes)
    _, second = convert(between, middle, to_unit, **to_sizes)
    exact = Fraction(quantity)
    for one, other, sizes in ((from_unit, middle, from_sizes), (middle, to_unit, to_sizes)):
        if one != other:
            exact *= _factor(one, other, Goods(**sizes))[0]
    return _decimal(exact), f"{first}; {second}"


def _factor(from_unit: str, to_unit: str, goods: Goods) -> tuple[Fraction, str]:
    """What one unit comes to in the other, exactly, and what had to be known for it."""
    _check_fits(goods)
    give, take = _measure(from_unit, goods), _measure(to_unit, goods)
    give, take = _meet(from_unit, give, to_unit, take, goods)
    return give.size / take.size, " ".join(known for known in (give.known, take.known) if known)


def _check_fits(goods: Goods) -> None:
    sizes = [
        goods.goods_width_mm,
        goods.roll_length_mm,
        goods.piece_length_mm,
        goods.thickness_mm,
        *(goods.sheet or ()),
    ]
    if any(s is not None and s <= 0 for s in sizes) or (goods.per_pack is not None and goods.per_pack < 1):
        raise QuantityError("A size or pack of nothing cannot be converted. Give sizes above nought")
    if goods.spread is not None and goods.spread <= 0:
        raise QuantityError("A coverage of nothing cannot be converted. Give the area one unit covers, such as 9 m²")


def _measure(unit: str, goods: Goods) -> _Measure:
    if unit in _PLAIN:
        own, base = _PLAIN[unit]
        return _Measure(to_base(1, own, base), base, "")
    if unit == "sheet" and goods.sheet is not None:
        length, width = (_exact(s) for s in goods.sheet)
        return _Measure(length * width, "millimetre ** 2", f"(sheet {_inches(width)} × {_inches(length)})")
    if unit == "roll" and goods.roll_length_mm is not None:
        return _Measure(
            _exact(goods.roll_length_mm), "millimetre", f"(roll {_feet(_exact(goods.roll_length_mm))} long)"
        )
    if unit == "length" and goods.piece_length_mm is not None:
        size = _exact(goods.piece_length_mm)
        return _Measure(size, "millimetre", f"(each {_feet(size)} long)")
    if unit in ("bundle", "box") and goods.per_pack is not None:
        return _Measure(Fraction(goods.per_pack), "each", f"({goods.per_pack} in a {unit})")
    if unit == "pair":
        return _Measure(Fraction(2), "each", "")
    return _Measure(Fraction(1), "each" if unit != "visit" else "visit", "")


def to_base(amount: int, unit: str, base: str) -> Fraction:
    """Size of a purchase unit in its millimetre base, through Pint."""
    return to_unit(amount, unit, base)


def _meet(from_unit: str, give: _Measure, to_unit: str, take: _Measure, goods: Goods) -> tuple[_Measure, _Measure]:
    """Bring both measures to one base, by the goods' width, thickness or coverage."""
    order = ("millimetre", "millimetre ** 2", "millimetre ** 3")
    if give.base == take.base:
        return give, take
    if goods.spread is not None and goods.spread_unit in (from_unit, to_unit):
        covered = Fraction(goods.spread) * 1_000_000
        known = f"({_number(Fraction(goods.spread))} m² to 1 {goods.spread_unit})"
        if goods.spread_unit == from_unit:
            give = _Measure(covered, order[1], known)
        else:
            take = _Measure(covered, order[1], known)
        if give.base == take.base:
            return give, take
    if give.base not in order or take.base not in order:
        missing = {
            "sheet": "the sheet's size", "roll": "the roll's length", "length": "the length of one",
            "bundle": "how many are in a bundle", "box": "how many are in a box", "gallon": "what one gallon covers",
            "litre": "what one litre covers", "each": "the size of one",
        }  # fmt: skip
        need = [missing[u] for u, m in ((from_unit, give), (to_unit, take)) if m.base not in order and u in missing]
        hint = f" without {' and '.join(need)}" if need else ""
        raise QuantityError(f"{_name(from_unit, 2)} cannot be turned into {_name(to_unit, 2)}{hint}")
    low, high = sorted((order.index(give.base), order.index(take.base)))
    for step in range(low, high):
        if step == 0:
            size, what = goods.goods_width_mm, "the width of the goods"
        else:
            size, what = goods.thickness_mm, "the thickness"
        if size is None:
            raise QuantityError(
                f"{_name(from_unit, 2)} measure {_BASE_NAMES[give.base]} and {_name(to_unit, 2)} "
                f"{_BASE_NAMES[take.base]}: give {what} to convert"
            )
        exact = _exact(size)
        known = f"of goods {_inches(exact)} {'wide' if step == 0 else 'thick'}"
        if order.index(give.base) == step:
            give = _Measure(give.size * exact, order[step + 1], f"{known} {give.known}".strip())
        else:
            take = _Measure(take.size * exact, order[step + 1], f"{known} {take.known}".strip())
    return give, take


def _words(quantity: Decimal, from_unit: str, to_unit: str, factor: Fraction, amount: Decimal, known: str) -> str:
    start = f"{_number(Fraction(quantity))} {_name(from_unit, quantity)}"
    end = f"= {'' if Fraction(amount) == Fraction(quantity) * factor else 'about '}"
    end += f"{_number(Fraction(amount))} {_name(to_unit, amount)}"
    tail = f" {known}" if known else ""
    if factor >= 1:
        return f"{start} × {_number(factor)} {_name(to_unit, 2)} in 1 {_name(from_unit, 1)}{tail} {end}"
    return f"{start} ÷ {_number(1 / factor)} {_name(from_unit, 2)} in 1 {_name(to_unit, 1)}{tail} {end}"


def _name(unit: str, count: Decimal | int) -> str:
    if unit in _SHORT:
        return _SHORT[unit]
    if unit == "each":
        return "each"
    return unit if count == 1 else _PLURALS.get(unit, f"{unit}s")


def _exact(size: Decimal | float) -> Fraction:
    return Fraction(Decimal(str(size)))


def _decimal(value: Fraction) -> Decimal:
    steps = (value.numerator * 2_000_000 + value.denominator) // (value.denominator * 2)
    return Decimal(steps).scaleb(-6).quantize(SIX_PLACES, ROUND_HALF_UP)


def _number(value: Fraction) -> str:
    """At most four places, trailing noughts dropped."""
    steps = (value.numerator * 20_000 + value.denominator) // (value.denominator * 2)
    text = f"{Decimal(steps).scaleb(-4):,f}".rstrip("0").rstrip(".")
    return text or "0"


def _inches(mm: Fraction) -> str:
    inches = mm / INCH_MM
    return f"{_number(inches)} in" if (inches * 64).denominator == 1 else f"{_number(mm)} mm"


def _feet(mm: Fraction) -> str:
    feet = mm / (12 * INCH_MM)
    return f"{_number(feet)} ft" if (feet * 12 * 64).denominator == 1 else f"{_number(mm / 1000)} m"
