"""Something ready-made set beside making it ourselves, by what each costs to finish from today.

Left out: what left-overs are worth, and the risk of delay; the days until it is here stand beside the money.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import ROUND_CEILING, Decimal

from buildout.units.money import round_money
from buildout.units.value import Value
from estimating.engine.types import Award

REJECTED = Decimal("0.04")
"""Share of goods worked on here that is spoiled: 3 to 5 %. Common practice, no published source."""
DAY_HOURS = Decimal(6)
"""Hours a helper works on a build day once breaks and the meal are taken off. Common practice, no published source."""
MEALS = Decimal("1.1")
"""Meals for every helper and day. Common practice, no published source."""


class ReadyMade(Value, kw_only=True):
    """What somebody offers ready to be fixed, and what it would take the place of. Money without tax."""

    price: Decimal
    freight: Decimal = Decimal(0)
    fixings: Decimal = Decimal(0)
    """Bought for fixing it."""
    hours: Decimal = Decimal(0)
    """Person-hours to receive and fix it."""
    lead_days: tuple[int, int, int] = (0, 0, 0)
    """Calendar days until it is here: low, likely, high."""
    life_years: Decimal | None = None
    valid_until: date | None = None
    items: list[str] = []
    """Items it takes the place of."""
    own_tools: Decimal = Decimal(0)
    """Tools bought or hired only for making it ourselves."""
    own_consumables: Decimal = Decimal(0)
    """Blades, adhesive and the like that stand in no take-off line."""
    own_life_years: Decimal | None = None
    meal: Decimal = Decimal(0)
    """Price of one meal for a helper."""
    hour_value: Decimal = Decimal(0)
    """What a helper's hour is counted at when it is valued."""


class Way(Value, kw_only=True):
    """One of the two ways, money without tax."""

    goods: Decimal
    cut_away: Decimal
    """Of ``goods``: what is bought and ends in no piece, left-overs that can be kept among it."""
    freight: Decimal
    consumables: Decimal
    """And fixings."""
    tools: Decimal
    waste: Decimal
    """Spoiled and bought again."""
    meals: Decimal
    hours: Decimal
    total: Decimal
    """Helpers' hours at nought."""
    total_valued: Decimal
    """With their hours at their value."""
    lead_days: tuple[int, int, int] | None
    life_years: Decimal | None
    a_year: Decimal | None
    """``total_valued`` over the years it is expected to last."""


class MakeOrBuy(Value, kw_only=True):
    ready: Way
    own: Way
    even_at: Decimal | None
    """Value of an hour at which both cost the same; None where one is cheaper whatever an hour is worth."""
    missing: list[str]
    """Items nobody quotes: the way of our own is dearer than it says."""
    ordered: list[str]
    """Items on an order already: paid for either way, and in neither."""


def make_or_buy(
    offer: ReadyMade,
    award: Award,
    ordered: set[str],
    hours: Decimal,
    as_of_days: Mapping[str, tuple[int, int, int]],
    wasted: Mapping[str, Decimal],
    currency: str,
) -> MakeOrBuy:
    """Set an offer beside the award's lines it takes the place of.

    ``hours``: likely person-hours of the tasks it saves. ``as_of_days``: item → calendar days until it is here.
    ``wasted``: item → share of what is bought that ends in no piece, 0 to 1.
    Freight of our own goods counts where nothing else would come from that quote.
    """
    mine = [line for line in award.lines if line.item in offer.items and line.item not in ordered]
    goods = sum((line.goods + line.extras for line in mine), Decimal(0))
    left = {line.quote for line in award.lines if line not in mine}
    cut_away = sum((line.goods * wasted.get(line.item, Decimal(0)) for line in mine), Decimal(0))
    freight = sum((p.freight for p in award.suppliers if p.quote not in left), Decimal(0)) if mine else Decimal(0)
    days = [as_of_days[line.item] for line in mine if line.item in as_of_days]
    latest = (max(d[0] for d in days), max(d[1] for d in days), max(d[2] for d in days)) if days else None
    own = _way(
        offer, goods, cut_away, freight, offer.own_consumables, offer.own_tools, goods * REJECTED, hours, latest,
        offer.own_life_years, currency,
    )  # fmt: skip
    ready = _way(
        offer, offer.price, Decimal(0), offer.freight, offer.fixings, Decimal(0), Decimal(0), offer.hours,
        offer.lead_days, offer.life_years, currency,
    )  # fmt: skip
    return MakeOrBuy(
        ready=ready,
        own=own,
        even_at=_even(ready, own, currency),
        missing=[item for item in offer.items if item in award.unquoted],
        ordered=[item for item in offer.items if item in ordered],
    )


def _way(
    offer: ReadyMade,
    goods: Decimal,
    cut_away: Decimal,
    freight: Decimal,
    consumables: Decimal,
    tools: Decimal,
    waste: Decimal,
    hours: Decimal,
    lead_days: tuple[int, int, int] | None,
    life: Decimal | None,
    currency: str,
) -> Way:
    eaten = (hours / DAY_HOURS * MEALS).to_integral_value(ROUND_CEILING)
    meals, spoiled = round_money(eaten * offer.meal, currency), round_money(waste, currency)
    total = goods + freight + consumables + tools + spoiled + meals
    valued = total + round_money(hours * offer.hour_value, currency)
    return Way(
        goods=goods, cut_away=round_money(cut_away, currency), freight=freight,
        consumables=consumables, tools=tools, waste=spoiled, meals=meals, hours=hours,
        total=total, total_valued=valued, lead_days=lead_days, life_years=life,
        a_year=round_money(valued / life, currency) if life else None,
    )  # fmt: skip


def _even(ready: Way, own: Way, currency: str) -> Decimal | None:
    saved, dearer = own.hours - ready.hours, ready.total - own.total
    if saved == 0 or dearer / saved < 0:
        return None
    return round_money(dearer / saved, currency)
