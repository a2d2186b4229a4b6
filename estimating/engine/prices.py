"""What a quantity costs under the usual forms of price table.

*All units*: the whole quantity at the price of the bracket it falls in, so that buying a little more can cost
less. *Incremental*: each slice at its own price. Both with a set-up charge and whole packs. A break that starts
at 100 leaves the 99 before it (in whole packs) at the earlier price.
"""

from __future__ import annotations

import itertools
import operator
from collections.abc import Iterator
from decimal import ROUND_CEILING, Decimal

from buildout.units.money import round_money
from estimating.engine.types import QuoteLine

LARGEST = Decimal(1_000_000)
"""Highest price of one unit, and most units, that are taken at their word."""

Bracket = tuple[Decimal, Decimal | None, Decimal, Decimal]
"""First quantity, last quantity or None, fixed part, price of one unit."""


def problems(line: QuoteLine) -> list[str]:
    """What is wrong with a price table, in words; empty when it can be used."""
    found = []
    if not line.breaks:
        found.append("it has no price")
    starts = [b.start for b in line.breaks]
    if not all(map(operator.lt, starts, starts[1:])):
        found.append(
            f"its breaks start at {', '.join(f'{s.normalize():f}' for s in starts)}: "
            "they must rise, for instance from 1, from 24, from 60"
        )
    if starts and min(starts) < 0:
        found.append("a break starts below zero")
    prices = [b.price for b in line.breaks] + [line.set_up, line.extra_per_cutout, line.extra_per_band_foot]
    if min(prices) < 0:
        found.append("a price is below zero")
    if max(prices) > LARGEST:
        found.append(f"a price is above {LARGEST:,}")
    if line.pack <= 0:
        found.append("its pack size must be above zero, for instance 1")
    return found


def whole_packs(line: QuoteLine, quantity: Decimal) -> Decimal:
    """The quantity rounded up to whole packs and to the smallest quantity sold."""
    at_least = max(quantity, line.breaks[0].start)
    return (at_least / line.pack).to_integral_value(ROUND_CEILING) * line.pack


def tiers(line: QuoteLine) -> Iterator[Bracket]:
    """Brackets as (first quantity, last quantity or None, fixed part, price of one unit).

    A quantity q inside a bracket costs fixed + price·q, set-up not counted; first and last are whole packs.
    """
    fixed = Decimal(0)
    firsts = [whole_packs(line, tier.start) for tier in line.breaks]
    for number, (first, tier) in enumerate(zip(firsts, line.breaks, strict=True)):
        last = firsts[number + 1] - line.pack if number + 1 < len(firsts) else None
        if line.form == "incremental" and number:
            # Up to the last pack before this break the earlier prices hold.
            fixed += (line.breaks[number - 1].price - tier.price) * (first - line.pack)
        if last is None or last >= first:
            yield first, last, fixed, tier.price


def goods(line: QuoteLine, quantity: Decimal, currency: str) -> Decimal:
    """Price of a quantity that is sold (whole packs, not below the smallest), set-up apart, rounded once.

    >>> from estimating.engine.types import Break
    >>> table = [Break(start=Decimal(s), price=Decimal(p)) for s, p in ((1, 10), (100, 9), (200, 8))]
    >>> line = QuoteLine(item="tape", unit="each", breaks=table)
    >>> goods(line, Decimal(99), "XXX"), goods(line, Decimal(100), "XXX")
    (Decimal('990.00'), Decimal('900.00'))
    """
    return goods_in(list(tiers(line)), line.pack, quantity, currency)


def goods_in(brackets: list[Bracket], pack: Decimal, quantity: Decimal, currency: str) -> Decimal:
    """The same from brackets worked out once."""
    for first, last, fixed, price in reversed(brackets):
        if quantity >= first and (last is None or quantity < last + pack):
            return round_money(fixed + price * quantity, currency)
    raise ValueError(f"{quantity} is less than the smallest quantity sold")


def cheapest(line: QuoteLine, need: Decimal, currency: str) -> tuple[Decimal, Decimal]:
    """The quantity at or above the need that costs least, and its price; the smaller one where they tie.

    >>> from estimating.engine.types import Break
    >>> table = [Break(start=Decimal(1), price=Decimal("91.40")), Break(start=Decimal(24), price=Decimal("82.10"))]
    >>> cheapest(QuoteLine(item="base", unit="sheet", breaks=table), Decimal(23), "XXX")
    (Decimal('24'), Decimal('1970.40'))
    """
    enough = whole_packs(line, need)
    return cheapest_in(list(tiers(line)), line.pack, enough, currency)


def cheapest_in(brackets: list[Bracket], pack: Decimal, enough: Decimal, currency: str) -> tuple[Decimal, Decimal]:
    """The same from brackets worked out once and a need in whole packs."""
    quantity, least = enough, goods_in(brackets, pack, enough, currency)
    for first, _, fixed, price in brackets:
        if first > enough and (cost := round_money(fixed + price * first, currency)) < least:
            quantity, least = first, cost
    return quantity, least


def kinks(line: QuoteLine, currency: str) -> list[tuple[Decimal, Decimal]]:
    """Runs of quantities (from, to) for which the next break's smallest quantity costs less.

    >>> from estimating.engine.types import Break
    >>> table = [Break(start=Decimal(s), price=Decimal(p)) for s, p in ((1, 10), (100, 9), (200, 8))]
    >>> [(int(a), int(b)) for a, b in kinks(QuoteLine(item="tape", unit="each", breaks=table), "XXX")]
    [(91, 99), (178, 199)]
    """
    found = []
    brackets = list(tiers(line))
    for (first, last, fixed, price), (jump, _, _, _) in itertools.pairwise(brackets):
        if last is None or price <= 0:
            continue
        # Smallest whole number of packs whose cost exceeds the cost at the break.
        limit = (goods(line, jump, currency) - fixed) / price
        start = max(first, ((limit / line.pack).to_integral_value(ROUND_CEILING)) * line.pack)
        while start <= last and goods(line, start, currency) <= goods(line, jump, currency):
            start += line.pack
        if start <= last:
            found.append((start, last))
    return found
