"""Which lines of which quotes can be compared for which item, and why the others cannot."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any

import msgspec

from buildout.units.money import round_money
from buildout.units.quantities import QuantityError, convert
from buildout.units.value import Reason
from estimating.engine.prices import LARGEST, Bracket, cheapest_in, goods_in, problems, tiers, whole_packs
from estimating.engine.types import AwardRules, Break, PurchaseUnit, Quote, QuoteLine, Supplier, TakeOffLine


@dataclass(frozen=True)
class Offer:
    """One quote's line for one item, in the quote's unit and without tax."""

    item: str
    quote: str
    supplier: str
    line: QuoteLine
    need: Decimal
    asked: Decimal
    asked_unit: PurchaseUnit
    extras: Decimal
    """Set-up, cut-outs and band: paid whatever the quantity."""
    words: str
    currency: str

    @cached_property
    def brackets(self) -> list[Bracket]:
        return list(tiers(self.line))

    @cached_property
    def enough(self) -> Decimal:
        """The need in whole packs, not below the smallest quantity sold."""
        return whole_packs(self.line, self.need)

    @cached_property
    def cheapest(self) -> Decimal:
        """The quantity at or above the need that costs least."""
        return cheapest_in(self.brackets, self.line.pack, self.enough, self.currency)[0]

    @cached_property
    def _priced(self) -> dict[Decimal, Decimal]:
        return {}

    def goods(self, quantity: Decimal) -> Decimal:
        if quantity not in self._priced:  # an award asks for the same few quantities again and again
            self._priced[quantity] = goods_in(self.brackets, self.line.pack, quantity, self.currency)
        return self._priced[quantity]

    def cost(self, quantity: Decimal) -> Decimal:
        """Goods and extras."""
        return self.goods(quantity) + self.extras


def offers_for(
    lines: list[TakeOffLine],
    quotes: list[Quote],
    suppliers: list[Supplier],
    rules: AwardRules,
    as_of: date,
    currency: str,
    tax_percent: Decimal,
) -> tuple[list[Offer], list[Reason]]:
    """Every usable offer, sorted by item and quote, and a reason for every quote or line left out."""
    reasons: list[Reason] = []
    known = {supplier.id for supplier in suppliers}
    usable = [q for q in quotes if _quote_stands(q, known, rules, as_of, currency, reasons)]
    offers: list[Offer] = []
    for asked in lines:
        if asked.quantity <= 0:
            continue
        found = [
            offer
            for quote in usable
            for line in quote.lines
            if line.item == asked.item
            if (offer := _offer(asked, quote, line, tax_percent, currency, reasons)) is not None
        ]
        forced = rules.force.get(asked.item)
        if forced is not None:
            found = [offer for offer in found if offer.quote == forced]
            if not found:
                reasons.append(
                    Reason(
                        code="forced quote unusable",
                        where=asked.item,
                        severity="stop",
                        text=f"{asked.name} is to come from quote “{forced}”, which has no usable line for it",
                        todo="Take the rule back, or have the quote put right",
                    )
                )
        offers += found
    return sorted(offers, key=lambda o: (o.item, o.quote)), reasons


def _quote_stands(
    quote: Quote, known: set[str], rules: AwardRules, as_of: date, currency: str, reasons: list[Reason]
) -> bool:
    def no(code: str, text: str, todo: str, severity: str = "warning") -> bool:
        reasons.append(
            Reason(code=code, where=quote.id, severity=severity, text=text, todo=todo)  # type: ignore[arg-type]
        )
        return False

    if quote.id in rules.exclude:
        return no("quote left out", f"Quote {quote.id} is left out by the owner's rule", "", "note")
    if quote.supplier not in known:
        return no(
            "unknown supplier",
            f"Quote {quote.id} is from “{quote.supplier}”, who is not in the list of suppliers",
            f"Add a supplier with the id “{quote.supplier}”",
        )
    if quote.currency != currency:
        return no(
            "other currency",
            f"Quote {quote.id} is in {quote.currency}, this build reckons in {currency}",
            f"Ask for the quote in {currency}, for instance “{currency} 82.10 a sheet”",
        )
    if quote.freight.amount > LARGEST:
        return no(
            "freight too large",
            f"Quote {quote.id} asks {quote.freight.amount:f} for freight",
            "Write the freight again, for instance 310",
        )
    if quote.valid_until < as_of:
        return no(
            "quote expired",
            f"Quote {quote.id} was valid until {quote.valid_until.isoformat()}",
            "Ask the supplier to confirm it with a new date",
        )
    if quote.quoted > as_of:
        return no(
            "quote from the future",
            f"Quote {quote.id} is dated {quote.quoted.isoformat()}, after the day this plan is worked out for "
            f"({as_of.isoformat()})",
            "Check the date, or move the plan's day on",
        )
    return True


def _offer(
    asked: TakeOffLine, quote: Quote, line: QuoteLine, tax_percent: Decimal, currency: str, reasons: list[Reason]
) -> Offer | None:
    where = f"{quote.id}/{line.item}"
    wrong = problems(line)
    if wrong:
        reasons.append(
            Reason(
                code="price table unusable",
                where=where,
                severity="warning",
                text=f"Quote {quote.id}, {asked.name}: {'; '.join(wrong)}",
                todo="Put the line right as the supplier meant it, for instance 1: 91.40, 24: 82.10, 60: 74.65",
            )
        )
        return None
    try:
        need, words = in_quote_unit(asked, line)
    except QuantityError as error:
        reasons.append(
            Reason(
                code="unit does not fit",
                where=where,
                severity="warning",
                text=f"Quote {quote.id} sells {asked.name} by the {line.unit}, but {asked.quantity:f} {asked.unit} "
                f"are needed: {error}",
                todo=f"Ask for the price by the {asked.unit}, or give the goods width, for instance 54 in",
            )
        )
        return None
    share = 1 + tax_percent / 100 if quote.tax_included else Decimal(1)
    if quote.tax_included:
        line = msgspec.structs.replace(line, breaks=[Break(start=b.start, price=b.price / share) for b in line.breaks])
    extras = (
        round_money(line.set_up / share, currency)
        + round_money(line.extra_per_cutout * asked.cutouts / share, currency)
        + round_money(line.extra_per_band_foot * asked.band / share, currency)
    )
    return Offer(
        item=asked.item, quote=quote.id, supplier=quote.supplier, line=line, need=need, asked=asked.quantity,
        asked_unit=asked.unit, extras=extras, words=words, currency=currency,
    )  # fmt: skip


PIECES = ("each", "sheet", "roll", "length")
"""Units that all mean one of the thing itself."""


def in_quote_unit(asked: TakeOffLine, line: QuoteLine) -> tuple[Decimal, str]:
    """The quantity asked, in the unit the quote sells by, and how it was worked out.

    Goods of another width are compared by area, from what is needed before rounding up to whole units.
    Raises ``QuantityError`` where a size is missing.
    """
    width = line.goods_width if line.goods_width is not None else asked.width
    same_width = asked.width is None or width is None or asked.width == width
    if same_width and asked.unit == line.unit:
        words = convert(asked.quantity, asked.unit, asked.unit)[1]
        sold = "one by one" if line.unit == "each" else f"by the {line.unit}"
        return asked.quantity, f"{words} asked, sold {sold}"
    if same_width and asked.unit in PIECES and line.unit in PIECES:
        words = convert(asked.quantity, asked.unit, asked.unit)[1]
        return asked.quantity, f"{words} asked, sold by the piece"
    own = _sizes(asked)
    start = "sheet" if asked.unit == "each" and "sheet" in own and line.unit not in ("bundle", "box") else asked.unit
    amount = asked.needed if asked.needed > 0 else asked.quantity
    if same_width:
        return convert(amount, start, line.unit, **own)
    area, first = convert(amount, start, "square foot", **own)
    need, second = convert(area, "square foot", line.unit, **(own | {"goods_width_mm": width.mm if width else None}))
    return need, f"{first}; {second}; the layout was made for the other width"


def _sizes(asked: TakeOffLine) -> dict[str, Any]:
    sizes: dict[str, Any] = {}
    if asked.width is not None:
        sizes["goods_width_mm"] = asked.width.mm
    if asked.length is not None:
        if asked.width is not None:
            sizes["sheet"] = (asked.length.mm, asked.width.mm)
        sizes["roll_length_mm"] = sizes["piece_length_mm"] = asked.length.mm
    if asked.per_pack > 1:
        sizes["per_pack"] = asked.per_pack
    if asked.spread is not None:
        sizes |= {"spread": asked.spread, "spread_unit": asked.unit}
    return sizes
