"""Every usable offer for every item, in the seller's unit and in ours, so that a person can compare them."""

from __future__ import annotations

from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from buildout.units.value import Value
from estimating.engine.offers import offers_for
from estimating.engine.types import AwardRules, PurchaseUnit, Quote, Supplier, TakeOffLine


class ComparedOffer(Value, kw_only=True):
    quote: str
    supplier: str
    """Name."""
    words: str
    """How the seller's unit becomes ours, with the arithmetic."""
    quantity: Decimal
    unit: PurchaseUnit
    """What would be bought, in the seller's unit."""
    cost: Decimal
    """Goods and extras for it, without freight, tax and discounts."""
    each: Decimal
    """The same for one of the unit asked, to four places."""


class ComparedItem(Value, kw_only=True):
    item: str
    name: str
    quantity: Decimal
    unit: PurchaseUnit
    offers: list[ComparedOffer]
    """Cheapest first."""


def side_by_side(
    lines: list[TakeOffLine], quotes: list[Quote], suppliers: list[Supplier], as_of: date, currency: str,
    tax_percent: Decimal,
) -> list[ComparedItem]:  # fmt: skip
    """The owner's rules left aside. Items without a usable offer are not in it; the award lists them."""
    offers, _ = offers_for(lines, quotes, suppliers, AwardRules(), as_of, currency, tax_percent)
    names = {supplier.id: supplier.name for supplier in suppliers}
    found = []
    for line in lines:
        mine = [
            ComparedOffer(
                quote=o.quote, supplier=names[o.supplier], words=o.words, quantity=o.cheapest, unit=o.line.unit,
                cost=o.cost(o.cheapest),
                each=(o.cost(o.cheapest) / line.quantity).quantize(Decimal("0.0001"), ROUND_HALF_UP),
            )
            for o in offers
            if o.item == line.item
        ]  # fmt: skip
        if mine:
            found.append(
                ComparedItem(
                    item=line.item, name=line.name, quantity=line.quantity, unit=line.unit,
                    offers=sorted(mine, key=lambda o: (o.cost, o.supplier, o.quote)),
                )
            )  # fmt: skip
    return found
