"""Money: one rounding rule, currencies by ISO 4217, amounts that add up.

The rule is half up (away from nothing) and it is applied once per line; tax is worked out per line on the
rounded line amount and shown apart. A supplier who rounds per invoice may differ by half a minor unit a line.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from typing import Final

ROUNDING: Final = ROUND_HALF_UP
ROUNDING_NAME: Final = "rounded half up at each line"
LARGEST: Final = Decimal(10) ** 15


def _codes(text: str) -> list[str]:
    return text.split()


CURRENCIES: Final[frozenset[str]] = frozenset(
    _codes("""
    AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BGN BHD BIF BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF
    CHF CLF CLP CNY COP CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GNF GTQ
    GYD HKD HNL HTG HUF IDR ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF KPW KRW KWD KYD KZT LAK LBP LKR
    LRD LSL LYD MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN
    PGK PHP PKR PLN PYG QAR RON RSD RUB RWF SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB
    TJS TMT TND TOP TRY TTD TWD TZS UAH UGX USD UYI UYU UYW UZS VED VES VND VUV WST XAF XCD XOF XPF XTS XXX
    YER ZAR ZMW ZWG
    """)
)
"""Alphabetic codes of ISO 4217, from memory; XXX stands for no currency, XTS for testing."""

_OTHER_PLACES: Final[dict[str, int]] = {
    **dict.fromkeys(_codes("BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF"), 0),
    **dict.fromkeys(_codes("BHD IQD JOD KWD LYD OMR TND"), 3),
    **dict.fromkeys(("CLF", "UYW"), 4),
}

_SIGNS: Final[dict[str, str]] = {"XXX": "¤", "USD": "$", "EUR": "€", "GBP": "£", "JPY": "¥"}


class MoneyError(ValueError):
    """A currency or an amount that cannot be used; the message carries an example."""


def minor_units(currency: str) -> int:
    """Decimal places of a currency (ISO 4217 exponent).

    >>> [minor_units(c) for c in ("USD", "JPY", "KWD", "XXX")]
    [2, 0, 3, 2]
    """
    if currency not in CURRENCIES:
        raise MoneyError(f'"{currency}" is not a currency code. Use three capital letters, such as USD or EUR')
    return _OTHER_PLACES.get(currency, 2)


@cache
def smallest(currency: str) -> Decimal:
    """The smallest amount a currency can hold (0.01 for most)."""
    return Decimal(1).scaleb(-minor_units(currency))


def round_money(amount: Decimal, currency: str) -> Decimal:
    """Round half up to the currency's minor unit. Raises ``MoneyError`` for an amount that is not a number.

    >>> round_money(Decimal("1.005"), "USD"), round_money(Decimal("-2.665"), "USD"), round_money(Decimal("0.5"), "JPY")
    (Decimal('1.01'), Decimal('-2.67'), Decimal('1'))
    """
    if not amount.is_finite() or abs(amount) >= LARGEST:
        raise MoneyError("That is not an amount of money a build can hold. Write a number such as 74.65")
    rounded = amount.quantize(smallest(currency), ROUNDING)
    return rounded or abs(rounded)  # no minus before nought


def format_money(amount: Decimal, currency: str) -> str:
    """Write an amount with its currency, thousands parted by commas.

    >>> format_money(Decimal("1234.5"), "XXX"), format_money(Decimal("-3"), "USD"), format_money(Decimal("7"), "KWD")
    ('¤1,234.50', '−$3.00', 'KWD 7.000')
    """
    rounded = round_money(amount, currency)
    sign = "−" if rounded < 0 else ""
    mark = _SIGNS.get(currency, f"{currency} ")
    return f"{sign}{mark}{abs(rounded):,}"


def tax_on(amount: Decimal, percent: Decimal, currency: str) -> Decimal:
    """Tax on one line, rounded by the rule.

    >>> tax_on(Decimal("20.07"), Decimal("8.25"), "USD")
    Decimal('1.66')
    """
    return round_money(amount * percent / 100, currency)


def total(amounts: Iterable[Decimal], currency: str) -> Decimal:
    """Sum of lines, each already rounded; rounds nothing away."""
    return round_money(sum(amounts, Decimal(0)), currency)


def split_money(amount: Decimal, parts: int, currency: str) -> list[Decimal]:
    """Split an amount in equal parts that add up; what is left over goes to the first parts, one unit each.

    Raises ``MoneyError`` when there are no parts.

    >>> split_money(Decimal("100.00"), 3, "USD")
    [Decimal('33.34'), Decimal('33.33'), Decimal('33.33')]
    """
    if parts < 1:
        raise MoneyError("An amount is split in one part or more, such as 3")
    places = minor_units(currency)
    units = int(round_money(amount, currency).scaleb(places))
    size, over = divmod(abs(units), parts)
    sign = -1 if units < 0 else 1
    return [Decimal(sign * (size + (1 if k < over else 0))).scaleb(-places) for k in range(parts)]
