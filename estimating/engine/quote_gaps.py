"""What to ring up about: prices out of line with the others, chosen quotes about to lapse, lines quoted once only."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from statistics import median
from typing import NamedTuple

from buildout.units.dates import date_text
from buildout.units.money import format_money
from buildout.units.value import Reason
from buildout.units.words import counted, some_of
from estimating.engine.offers import offers_for
from estimating.engine.types import Award, AwardRules, Quote, QuoteLine, Supplier, TakeOffLine

OUT_OF_LINE = Decimal("1.5")
"""A cost this many times another's, or less than its inverse, is worth asking about. Common practice, no published
source."""
FEWER = Decimal("0.9")
"""Below this share of what was quoted for, the price may not hold. Common practice, no published source."""
SAMPLE_DAYS = 10
"""Days after which a sample that has not come is asked about. Common practice, no published source."""
SOON = 7
"""Days in which a quote that is chosen must be ordered or confirmed anew."""


def quote_gaps(
    lines: list[TakeOffLine],
    quotes: list[Quote],
    suppliers: list[Supplier],
    award: Award,
    tax_percent: Decimal,
    as_of: date,
    today: date,
    ordered: set[str],
) -> list[Reason]:
    """Warnings first by kind, then notes. Every usable offer is compared for the quantity needed, the owner's rules
    left aside; ``ordered``: items that are on an order already, which nobody need ask about any more."""
    names = {line.item: line.name for line in lines}
    sellers = {supplier.id: supplier.name for supplier in suppliers}
    offers, _ = offers_for(lines, quotes, suppliers, AwardRules(), as_of, award.currency, tax_percent)
    costs: dict[str, dict[str, Decimal]] = {}
    seller_of: dict[str, str] = {}
    for offer in offers:
        if offer.item not in ordered:
            costs.setdefault(offer.item, {})[offer.quote] = offer.cost(offer.cheapest)
            seller_of[offer.quote] = sellers.get(offer.supplier, offer.supplier)
    found = [_lapsing(quote, award, ordered, sellers, today) for quote in quotes]
    reasons = [reason for reason in found if reason is not None]
    reasons += [
        reason
        for quote in quotes
        if quote.valid_until >= today
        for line in quote.lines
        if line.item not in ordered
        if (reason := _outgrown(quote, line, lines, award, sellers)) is not None
    ]
    for item, by_quote in sorted(costs.items()):
        for quote, cost in sorted(by_quote.items()):
            others = [other for name, other in by_quote.items() if name != quote]
            if not others:
                continue
            # With three and more the middle of all of them, so that one wild price does not mark the sound ones.
            usual = Decimal(median(by_quote.values() if len(others) > 1 else others))
            if cost > usual * OUT_OF_LINE or cost * OUT_OF_LINE < usual:
                reasons.append(
                    Reason(
                        code="out of line", where=f"{quote}/{item}", severity="warning",
                        text=f"{names.get(item, item)} from {seller_of[quote]} comes to "
                        f"{format_money(cost, award.currency)}; the "
                        f"others ask about {format_money(usual, award.currency)}",
                        todo="Ask whether it is the same goods, unit and width, and read the quote again",
                    )
                )  # fmt: skip
    once = [
        names.get(item, item) for item, by_quote in sorted(costs.items()) if len({seller_of[q] for q in by_quote}) == 1
    ]
    if once:
        reasons.append(
            Reason(
                code="one quote only", where="quotes", severity="note",
                text=f"Only one supplier quotes {len(once)} items: {some_of(once)}",
                todo="A second quote shows whether the price is right",
            )
        )  # fmt: skip
    return reasons


class SampleOut(NamedTuple):
    """A piece asked for that has not come."""

    name: str
    supplier: str
    asked: date


def sample_gaps(samples: Sequence[SampleOut], today: date) -> list[Reason]:
    """Samples that have been waited for too long, longest first.

    >>> [r.text for r in sample_gaps([SampleOut("Top cover", "Ninefold", date(2027, 1, 4))], date(2027, 1, 18))]
    ['14 days without the sample of Top cover from Ninefold']
    """
    return [
        Reason(
            code="sample missing", where=f"sample/{sample.name}", severity="warning",
            text=f"{(today - sample.asked).days} days without the sample of {sample.name} from {sample.supplier}",
            todo="Ask for it once more; do not order by the colour on a screen",
        )
        for sample in sorted(samples, key=lambda s: (s.asked, s.name, s.supplier))
        if (today - sample.asked).days >= SAMPLE_DAYS
    ]  # fmt: skip


def _outgrown(
    quote: Quote, line: QuoteLine, lines: list[TakeOffLine], award: Award, sellers: dict[str, str]
) -> Reason | None:
    """More is needed now than the price was asked for, or clearly less."""
    asked = next((asked for asked in lines if asked.item == line.item), None)
    if line.quoted_for is None or asked is None or line.quoted_for * FEWER <= asked.quantity <= line.quoted_for:
        return None
    more = asked.quantity > line.quoted_for
    chosen = any(row.item == line.item and row.quote == quote.id for row in award.lines)
    return Reason(
        code="quantity outgrown" if more else "quantity fell", where=f"{quote.id}/{line.item}",
        severity="warning" if chosen else "note",
        text=f"{sellers.get(quote.supplier, quote.supplier)} quoted {asked.name} for "
        f"{counted(line.quoted_for, asked.unit)}; {'' if more else 'only '}{counted(asked.quantity, asked.unit)} "
        "are needed now",
        todo=f"Ask whether price and {'lead time hold for the larger' if more else 'freight hold for the smaller'} "
        "quantity, then put it on the quote",
    )  # fmt: skip


def _lapsing(quote: Quote, award: Award, ordered: set[str], sellers: dict[str, str], today: date) -> Reason | None:
    chosen = [line.item for line in award.lines if line.quote == quote.id and line.item not in ordered]
    left = (quote.valid_until - today).days
    if not chosen or left > SOON:
        return None
    who = sellers.get(quote.supplier, quote.supplier)
    when = (
        f"ran out on {date_text(quote.valid_until)}" if left < 0
        else "runs out today" if left == 0
        else f"runs out in {left} day{'' if left == 1 else 's'}, on {date_text(quote.valid_until)}"
    )  # fmt: skip
    return Reason(
        code="about to lapse", where=quote.id, severity="warning", text=f"The quote of {who} {when}",
        todo="Order from it, or ask for a new date in writing",
    )  # fmt: skip
