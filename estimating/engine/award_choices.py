"""What other choices would have cost: a supplier left out, a supplier taken in, a quantity rounded up to a break."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from buildout.units.value import Reason
from estimating.engine.award import MOST_PERCENT, Selection, Terms, choose
from estimating.engine.offers import Offer, offers_for
from estimating.engine.types import (
    Award,
    AwardChoices,
    AwardRules,
    Quote,
    RoundUp,
    Supplier,
    SupplierChoice,
    TakeOffLine,
)

MOST_OFFERS = 500
"""Above this every re-solve may take seconds, and there are two dozen of them."""
NODES = 3_000


def award_choices(
    lines: list[TakeOffLine],
    quotes: list[Quote],
    suppliers: list[Supplier],
    rules: AwardRules,
    as_of: date,
    currency: str,
    tax_percent: Decimal,
    award: Award,
) -> AwardChoices:
    """Solve the award again with each chosen supplier left out and with each other one taken in.

    The owner's rules hold in every one of them. Amounts are goods, extras and freight, tax apart, in the build's
    currency. Suppliers without a usable quote are not listed; chosen ones come first, then by name.
    """
    tax_percent = min(tax_percent, MOST_PERCENT)
    offers, _ = offers_for(lines, quotes, suppliers, rules, as_of, currency, tax_percent)
    round_ups = _round_ups(offers, award)
    if not award.lines:
        return AwardChoices(round_ups=round_ups)
    if len(offers) > MOST_OFFERS:
        return AwardChoices(
            round_ups=round_ups,
            reasons=[
                Reason(
                    code="choices not priced", severity="note",
                    text=f"With {len(offers)} offers, leaving out or taking in each supplier is not worked out ahead",
                    todo="Leave a quote out, or say who must get an item, to see what that costs",
                )
            ],
        )  # fmt: skip
    terms = Terms.of(quotes, suppliers, rules, tax_percent, currency)
    before = {line.item: line.quote for line in award.lines}
    chosen = {line.supplier for line in award.lines}
    names = {supplier.id: supplier.name for supplier in suppliers}
    found = []
    for supplier in sorted({o.supplier for o in offers}, key=lambda s: (s not in chosen, names[s], s)):
        without = [offer for offer in offers if offer.supplier != supplier]
        left = without if supplier in chosen else offers
        missing = sorted(set(before) - {offer.item for offer in left})
        answer = None
        if not missing:
            wanted = "" if supplier in chosen else supplier
            answer = choose(left, terms, wanted=wanted, nodes=NODES, ties=False)
        found.append(_choice(supplier, supplier in chosen, answer, missing, before, terms, award.total))
    return AwardChoices(suppliers=found, round_ups=round_ups)


def _choice(
    supplier: str,
    chosen: bool,
    answer: tuple[Selection, Decimal, bool] | None,
    missing: list[str],
    before: dict[str, str],
    terms: Terms,
    paid: Decimal,
) -> SupplierChoice:
    selection: Selection = answer[0] if answer else {}
    total = (terms.cost(selection) if answer else None) or Decimal(0)
    return SupplierChoice(
        supplier=supplier,
        kind="without" if chosen else "with",
        possible=answer is not None,
        proven=answer is not None and answer[2],
        total=total,
        extra=total - paid if answer else Decimal(0),
        moved=[
            (item, offer.quote) for item, (offer, _) in sorted(selection.items()) if before.get(item) != offer.quote
        ],
        missing=missing,
    )


def _round_ups(offers: list[Offer], award: Award) -> list[RoundUp]:
    """Every offer whose needed quantity costs more than a later break's own quantity, chosen ones first."""
    chosen = {(line.item, line.quote) for line in award.lines}
    found = []
    for offer in offers:
        if offer.cheapest > offer.enough:
            found.append(
                RoundUp(
                    item=offer.item, quote=offer.quote, unit=offer.line.unit, need=offer.enough, to=offer.cheapest,
                    cost=offer.goods(offer.enough), cost_rounded=offer.goods(offer.cheapest),
                    chosen=(offer.item, offer.quote) in chosen,
                )
            )  # fmt: skip
    return sorted(found, key=lambda r: (not r.chosen, r.item, r.quote))
