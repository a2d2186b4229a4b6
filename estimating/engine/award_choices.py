"""What other choices would have cost: a supplier left out, a supplier taken in, a quantity rounded up to a break."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import msgspec

from buildout.units.value import Reason
from estimating.engine.award import MOST_PERCENT, Selection, Terms, choose
from estimating.engine.offers import Offer, offers_for
from estimating.engine.types import (
    Award,
    AwardChoices,
    AwardRules,
    Lateness,
    Quote,
    RoundUp,
    RuleCost,
    Settled,
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
    late: Lateness | None = None,
    settled: Settled | None = None,
) -> AwardChoices:
    """Solve the award again with each chosen supplier left out, with each other one taken in, and without each rule.

    The owner's other rules hold in every one of them. Amounts are goods, extras and freight, tax apart, in the build's
    currency. Suppliers without a usable quote are not listed; chosen ones come first, then by name.
    What is on an order stays there in every one of them; where nothing else is left of a supplier, there is no choice.
    """
    tax_percent = min(tax_percent, MOST_PERCENT)
    settled = settled or Settled()
    offers, _ = offers_for(lines, quotes, suppliers, rules, as_of, currency, tax_percent, settled)
    round_ups = _round_ups([offer for offer in offers if offer.item not in settled.quotes], award)
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
    terms = Terms.of(quotes, suppliers, rules, tax_percent, currency, late, settled)
    before = {line.item: line.quote for line in award.lines}
    chosen = {line.supplier for line in award.lines}
    names = {supplier.id: supplier.name for supplier in suppliers}
    found = []
    for supplier in sorted({o.supplier for o in offers}, key=lambda s: (s not in chosen, names[s], s)):
        open_to = [offer for offer in offers if offer.supplier == supplier and offer.item not in settled.quotes]
        if not open_to or (supplier in chosen and not any(before.get(offer.item) == offer.quote for offer in open_to)):
            continue  # all they have of the award is on order
        without = [offer for offer in offers if offer not in open_to]
        left = without if supplier in chosen else offers
        missing = sorted(set(before) - {offer.item for offer in left})
        answer = None
        if not missing:
            wanted = "" if supplier in chosen else supplier
            answer = choose(left, terms, wanted=wanted, nodes=NODES, ties=False)
        found.append(_choice(supplier, supplier in chosen, answer, missing, before, terms, award))
    without_rule = []
    for cost, freed in _without_each(rules):
        if cost.item and (cost.item not in before or cost.item in settled.quotes):
            continue
        offers, _ = offers_for(lines, quotes, suppliers, freed, as_of, currency, tax_percent, settled)
        freer = Terms.of(quotes, suppliers, freed, tax_percent, currency, late, settled)
        answer = choose([offer for offer in offers if offer.item in before], freer, nodes=NODES, ties=False)
        weighed = freer.weighed(answer[0]) if answer else None
        if answer is None or weighed is None:
            continue
        without_rule.append(
            msgspec.structs.replace(
                cost, total=freer.cost(answer[0]) or Decimal(0), costs=award.total + award.late_cost - weighed,
                proven=answer[2],
            )
        )  # fmt: skip
    return AwardChoices(suppliers=found, rules=without_rule, round_ups=round_ups)


MOST_RULES = 12
"""Each costs a solve."""


def _without_each(rules: AwardRules) -> list[tuple[RuleCost, AwardRules]]:
    """Every rule of the owner, yet without its price, and the rules without it."""

    def rule(kind: Any, **where: str) -> RuleCost:
        return RuleCost(kind=kind, total=Decimal(0), costs=Decimal(0), proven=False, **where)

    replace = msgspec.structs.replace
    found = []
    for item, quote in sorted(rules.force.items()):
        kept = {other: name for other, name in rules.force.items() if other != item}
        found.append((rule("force", item=item, quote=quote), replace(rules, force=kept)))
    for quote in rules.exclude:
        freed = replace(rules, exclude=[other for other in rules.exclude if other != quote])
        found.append((rule("exclude", quote=quote), freed))
    if rules.most_suppliers is not None:
        found.append((rule("most suppliers"), replace(rules, most_suppliers=None)))
    for number, unsplit in enumerate(rules.together):
        freed = replace(rules, together=[other for at, other in enumerate(rules.together) if at != number])
        found.append((rule("together", item=unsplit[0] if unsplit else ""), freed))
    return found[:MOST_RULES]


def _choice(
    supplier: str,
    chosen: bool,
    answer: tuple[Selection, Decimal, bool] | None,
    missing: list[str],
    before: dict[str, str],
    terms: Terms,
    award: Award,
) -> SupplierChoice:
    selection: Selection = answer[0] if answer else {}
    total = (terms.cost(selection) if answer else None) or Decimal(0)
    late = terms.late_cost(selection) - award.late_cost if answer else Decimal(0)
    return SupplierChoice(
        supplier=supplier,
        kind="without" if chosen else "with",
        possible=answer is not None,
        proven=answer is not None and answer[2],
        total=total,
        late=late,
        extra=total - award.total + late if answer else Decimal(0),
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
