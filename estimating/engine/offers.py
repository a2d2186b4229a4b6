"""Which lines of which quotes can be compared for which item, and why the others cannot."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from functools import cached_property, lru_cache
from typing import Any

import msgspec

from buildout.units.dates import day_text
from buildout.units.money import round_money
from buildout.units.quantities import QuantityError, convert, convert_by_way_of, to_unit
from buildout.units.value import Reason
from estimating.engine.prices import LARGEST, Bracket, cheapest_in, goods_in, problems, tiers, whole_packs
from estimating.engine.types import (
    AwardRules,
    Break,
    Freight,
    PlacedOrder,
    PurchaseUnit,
    Quote,
    QuoteLine,
    Settled,
    Supplier,
    TakeOffLine,
)


class Offer(msgspec.Struct, frozen=True, kw_only=True, dict=True):
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
    load: Decimal
    """What freight is charged by, for one unit: the unit itself, or its kilograms."""
    brackets: list[Bracket]
    enough: Decimal
    """The need in whole packs, not below the smallest quantity sold."""
    priced: dict[Decimal, Decimal] = msgspec.field(default_factory=dict)
    """What quantities asked for before cost."""

    @cached_property
    def cheapest(self) -> Decimal:
        """The quantity at or above the need that costs least."""
        quantity, price = cheapest_in(self.brackets, self.line.pack, self.enough, self.currency)
        self.priced[quantity] = price
        return quantity

    def goods_from(self, bracket: Bracket, quantity: Decimal) -> Decimal:
        """Goods of a quantity known to lie in a bracket."""
        if quantity not in self.priced:
            self.priced[quantity] = round_money(bracket[2] + bracket[3] * quantity, self.currency)
        return self.priced[quantity]

    def goods(self, quantity: Decimal) -> Decimal:
        if quantity not in self.priced:  # an award asks for the same few quantities again and again
            self.priced[quantity] = goods_in(self.brackets, self.line.pack, quantity, self.currency)
        return self.priced[quantity]

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
    settled: Settled | None = None,
) -> tuple[list[Offer], list[Reason]]:
    """Every usable offer, sorted by item and quote, and a reason for every quote or line left out.

    What is on an order comes from that order's quote alone, also after it has run out or was left out.
    """
    reasons: list[Reason] = []
    settled = settled or Settled()
    known = {supplier.id for supplier in suppliers}
    needed = {line.item for line in lines if line.quantity > 0}
    quoted: dict[str, list[tuple[Quote, QuoteLine]]] = {}
    for quote in quotes:
        sold = {line.item for line in quote.lines if settled.quotes.get(line.item) == quote.id}
        if not _can_be_reckoned(quote, known, currency, reasons):
            continue
        # Nobody need ring up about a quote of which nothing is left to order.
        done = bool(sold) and sold >= {line.item for line in quote.lines} & needed
        stands = _quote_stands(quote, rules, as_of, [] if done else reasons)
        for line in quote.lines:
            if line.item in sold or (stands and line.item not in settled.quotes):
                quoted.setdefault(line.item, []).append((quote, line))
    offers: list[Offer] = []
    for asked in lines:
        if asked.quantity <= 0:
            continue
        found = [
            offer
            for quote, line in quoted.get(asked.item, ())
            if (offer := _offer(asked, quote, line, tax_percent, currency, reasons)) is not None
        ]
        forced = None if asked.item in settled.quotes else rules.force.get(asked.item)
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


def settled_by(orders: Sequence[PlacedOrder]) -> Settled:
    """What the standing orders have decided; of several orders for one item the last one counts."""
    quotes: dict[str, str] = {}
    numbers: dict[str, str] = {}
    freight: dict[str, Decimal] = {}
    for order in sorted(orders, key=lambda o: (o.placed, o.number)):
        freight[order.quote] = freight.get(order.quote, Decimal(0)) + order.freight
        for line in order.lines:
            quotes[line.item], numbers[line.item] = order.quote, order.number
    return Settled(quotes=quotes, orders=numbers, freight=freight)


def _no(quote: Quote, reasons: list[Reason], code: str, text: str, todo: str, severity: str = "warning") -> bool:
    reasons.append(
        Reason(code=code, where=quote.id, severity=severity, text=text, todo=todo)  # type: ignore[arg-type]
    )
    return False


def _can_be_reckoned(quote: Quote, known: set[str], currency: str, reasons: list[Reason]) -> bool:
    """Whether a quote's amounts mean anything here."""
    if quote.supplier not in known:
        return _no(
            quote, reasons, "unknown supplier",
            f"Quote {quote.id} is from “{quote.supplier}”, who is not in the list of suppliers",
            f"Add a supplier with the id “{quote.supplier}”",
        )  # fmt: skip
    if quote.currency != currency:
        return _no(
            quote, reasons, "other currency",
            f"Quote {quote.id} is in {quote.currency}, this build reckons in {currency}",
            f"Ask for the quote in {currency}, for instance “{currency} 82.10 a sheet”",
        )  # fmt: skip
    wrong = freight_problem(quote.freight)
    if wrong:
        todo = "Write the freight again, for instance a flat 310"
        return _no(quote, reasons, "freight unusable", f"Quote {quote.id}: {wrong}", todo)
    return True


def _quote_stands(quote: Quote, rules: AwardRules, as_of: date, reasons: list[Reason]) -> bool:
    """Whether something can be ordered from a quote on that day."""
    if quote.id in rules.exclude:
        text = f"Quote {quote.id} is left out by the owner's rule"
        return _no(quote, reasons, "quote left out", text, "", "note")
    if quote.valid_until < as_of:
        return _no(
            quote, reasons, "quote expired", f"Quote {quote.id} was valid until {day_text(quote.valid_until)}",
            "Ask the supplier to confirm it with a new date",
        )  # fmt: skip
    if quote.quoted > as_of:
        return _no(
            quote, reasons, "quote from the future",
            f"Quote {quote.id} is dated {day_text(quote.quoted)}, after the day this plan is worked out for "
            f"({day_text(as_of)})",
            "Check the date, or move the plan's day on",
        )  # fmt: skip
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
    if line.substitute and not line.substitute_accepted:
        reasons.append(
            Reason(
                code="substitute offered", where=where, severity="warning",
                text=f"Quote {quote.id} offers {line.substitute} instead of {asked.name}",
                todo="Ask for its data sheet, fire papers and a sample; then accept it on the quote or say no",
            )
        )  # fmt: skip
        return None
    load = Decimal(1)
    if quote.freight.form == "by weight":
        mass = _mass(asked, line)
        if mass is None:
            reasons.append(
                Reason(
                    code="weight unknown", where=where, severity="warning",
                    text=f"Quote {quote.id} charges freight by weight, but nothing says what one {line.unit} of "
                    f"{asked.name} weighs",
                    todo="Ask for the weight and type it on the quote's line, for instance 31 lb",
                )
            )  # fmt: skip
            return None
        load = mass
    share = 1 + tax_rate(quote, tax_percent) / 100 if quote.tax_included else Decimal(1)
    if quote.tax_included:
        line = msgspec.structs.replace(line, breaks=[Break(start=b.start, price=b.price / share) for b in line.breaks])
    extras = round_money(line.set_up / share, currency)
    for price, count in ((line.extra_per_cutout, asked.cutouts), (line.extra_per_band_foot, asked.band)):
        if price and count:
            extras += round_money(price * count / share, currency)
    return Offer(
        item=asked.item, quote=quote.id, supplier=quote.supplier, line=line, need=need, asked=asked.quantity,
        asked_unit=asked.unit, extras=extras, words=words, currency=currency, load=load, brackets=list(tiers(line)),
        enough=whole_packs(line, need),
    )  # fmt: skip


def tax_rate(quote: Quote, build_percent: Decimal) -> Decimal:
    """The rate a quote is taxed at: its own, else the build's."""
    return build_percent if quote.tax_percent is None else quote.tax_percent


def freight_problem(freight: Freight) -> str:
    """What is wrong with a freight, in words; empty when it can be used."""
    amounts = [freight.amount, freight.at_least, *(zone.amount for zone in freight.zones)]
    if any(amount < 0 for amount in amounts):
        return "its freight is below zero"
    if any(amount > LARGEST for amount in amounts):
        return f"it asks {max(amounts):f} for freight"
    if freight.form == "by zone" and freight.zone not in [zone.name for zone in freight.zones]:
        return f"its freight goes by zone, but has no zone “{freight.zone}”"
    return ""


def flat_freight(freight: Freight) -> Decimal:
    """What is charged once, whatever is bought: the flat sum, or that of the zone the site lies in."""
    if freight.form == "by zone":
        return next(zone.amount for zone in freight.zones if zone.name == freight.zone)
    return freight.amount


def carriage(freight: Freight) -> Decimal | None:
    """What is charged for each unit or, by weight, for each kilogram; None where it is charged once.

    >>> round(carriage(Freight(form="by weight", amount=Decimal(18), per="100 lb")), 6)
    Decimal('0.396832')
    """
    if freight.form == "per unit":
        return freight.amount
    if freight.form != "by weight":
        return None
    count, unit = (Decimal(100), freight.per[4:]) if freight.per.startswith("100 ") else (Decimal(1), freight.per)
    exact = to_unit(count, "pound" if unit == "lb" else "kilogram", "kilogram")
    return freight.amount * exact.denominator / exact.numerator


def _mass(asked: TakeOffLine, line: QuoteLine) -> Decimal | None:
    """Kilograms of one unit of a quote's line: as stated, else worked out from the goods."""
    if line.mass is not None:
        exact = to_unit(line.mass, "pound" if line.mass_unit == "lb" else "kilogram", "kilogram")
        return Decimal(exact.numerator) / exact.denominator
    if asked.mass is None:
        return None
    try:
        own, _ = in_asked_unit(asked, line)
    except QuantityError:
        return None
    return own * asked.mass


PIECES = ("each", "sheet", "roll", "length")
"""Units that all mean one of the thing itself."""


def in_quote_unit(asked: TakeOffLine, line: QuoteLine) -> tuple[Decimal, str]:
    """The quantity asked, in the unit the quote sells by, and how it was worked out.

    Goods of another size are compared by area or run, from what is needed before rounding up to whole units.
    Raises ``QuantityError`` where a size is missing.
    """
    if _same_goods(asked, line):
        if asked.unit == line.unit:
            sold = "one by one" if line.unit == "each" else f"by the {line.unit}"
            return asked.quantity, f"{_written(asked.quantity, asked.unit)} asked, sold {sold}"
        if asked.unit in PIECES and line.unit in PIECES:
            return asked.quantity, f"{_written(asked.quantity, asked.unit)} asked, sold by the piece"
    return _across(asked.needed if asked.needed > 0 else asked.quantity, asked, line)


@lru_cache(maxsize=1024)
def _written(quantity: Decimal, unit: PurchaseUnit) -> str:
    """A quantity in its own unit; every quote for an item asks for the same words."""
    return convert(quantity, unit, unit)[1]


def in_asked_unit(asked: TakeOffLine, line: QuoteLine) -> tuple[Decimal, str]:
    """What one unit of the quote comes to in the unit asked, and how: the way back.

    Raises ``QuantityError`` where a size is missing.
    """
    if _same_goods(asked, line) and (asked.unit == line.unit or {asked.unit, line.unit} <= set(PIECES)):
        return Decimal(1), "the same unit"
    return _across(Decimal(1), asked, line, back=True)


def _same_goods(asked: TakeOffLine, line: QuoteLine) -> bool:
    """No size stated in the quote differs from what is asked."""
    pairs = ((asked.width, line.goods_width), (asked.length, line.goods_length))
    return all(mine is None or theirs is None or mine == theirs for mine, theirs in pairs) and (
        line.per_pack is None or line.per_pack == asked.per_pack
    )


def _across(amount: Decimal, asked: TakeOffLine, line: QuoteLine, *, back: bool = False) -> tuple[Decimal, str]:
    """From the asked unit into the quote's, or ``back``; by way of area or run where the goods' sizes differ."""
    mine, theirs = _sizes(asked), _sizes(asked, line)
    start = "sheet" if asked.unit == "each" and "sheet" in mine and line.unit not in ("bundle", "box") else asked.unit
    ends = ((line.unit, theirs), (start, mine)) if back else ((start, mine), (line.unit, theirs))
    (give, give_sizes), (take, take_sizes) = ends
    if line.unit == "board foot":
        # Timber is reckoned at the size it is called by, not the size it has.
        return convert(amount, give, take, **theirs)
    if mine == theirs:
        return convert(amount, give, take, **mine)
    if "per_pack" in theirs and theirs["per_pack"] != mine.get("per_pack"):
        return convert_by_way_of("each", amount, give, give_sizes, take, take_sizes)
    try:
        way = convert_by_way_of("square foot", amount, give, give_sizes, take, take_sizes)
    except QuantityError:
        way = convert_by_way_of("running foot", amount, give, give_sizes, take, take_sizes)
    return way[0], f"{way[1]}; the layout was made for the other {'width' if _wider(asked, line) else 'size'}"


def _wider(asked: TakeOffLine, line: QuoteLine) -> bool:
    return asked.width is not None and line.goods_width is not None and asked.width != line.goods_width


def _sizes(asked: TakeOffLine, line: QuoteLine | None = None) -> dict[str, Any]:
    """What the unit converter must know: of the goods asked, or as a quote's line describes them."""
    sizes: dict[str, Any] = {}
    width = line.goods_width if line is not None and line.goods_width is not None else asked.width
    long = line.goods_length if line is not None and line.goods_length is not None else asked.length
    thick = line.goods_thickness if line is not None and line.goods_thickness is not None else asked.thickness
    pack = line.per_pack if line is not None and line.per_pack is not None else asked.per_pack
    if width is not None:
        sizes["goods_width_mm"] = width.mm
    if long is not None:
        if width is not None:
            sizes["sheet"] = (long.mm, width.mm)
        sizes["roll_length_mm"] = sizes["piece_length_mm"] = long.mm
    if thick is not None:
        sizes["thickness_mm"] = thick.mm
    if pack > 1:
        sizes["per_pack"] = pack
    if asked.spread is not None:
        sizes |= {"spread": asked.spread, "spread_unit": asked.unit}
    return sizes
