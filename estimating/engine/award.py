"""From whom to buy what: the cheapest choice of one quote per item, freight and minimum orders counted.

The choice is a mixed-integer programme in cents: for every offer and price bracket whether it is used (and,
where a minimum order or free freight can make it worth buying more, how many packs), for every quote and
supplier whether it is used at all. The answer is priced again in decimals before it is given.
"""

from __future__ import annotations

from array import array
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_CEILING, Decimal
from functools import cached_property
from typing import NamedTuple

from buildout.units.money import round_money, smallest, tax_on
from buildout.units.value import Reason, Status
from buildout.units.words import some_of
from estimating.engine.linear import Programme
from estimating.engine.offers import Offer, carriage, flat_freight, offers_for, tax_rate
from estimating.engine.types import (
    Award,
    AwardLine,
    AwardRules,
    AwardSupplier,
    Discount,
    Lateness,
    Quote,
    Settled,
    Supplier,
    TakeOff,
)

MOST_PERCENT = Decimal(1000)
"""A higher tax or contingency is a slip of the pen; the budget says so."""

Selection = dict[str, tuple[Offer, Decimal]]
"""item → the offer taken and the quantity bought."""


class Off(NamedTuple):
    """What a discount takes off one line."""

    goods: Decimal
    extras: Decimal


NOTHING_OFF = Off(Decimal(0), Decimal(0))


class Rate(NamedTuple):
    """How one quote charges freight, without tax."""

    each: Decimal | None
    """For one unit of what it is charged by; None where it is charged once."""
    once: Decimal
    """What is charged once or, with ``each``, the least there is to pay."""
    free_over: Decimal | None
    """Sum of goods from which it is free."""


class Bill(NamedTuple):
    """One quote's goods with extras before any discount, what its freight is charged by, and the discount."""

    paid: Decimal
    load: Decimal
    off: Decimal


Lines = list[tuple[Offer, Decimal]]


def award(
    take_off: TakeOff,
    quotes: list[Quote],
    suppliers: list[Supplier],
    rules: AwardRules,
    as_of: date,
    currency: str,
    tax_percent: Decimal,
    late: Lateness | None = None,
    settled: Settled | None = None,
) -> Award:
    """Choose one valid quote for every item asked so that goods, extras and freight together cost least.

    With ``late`` the days that the latest line chosen comes after it is needed are weighed with it: once, since a
    school opens when the last goods are there. What is on an order (``settled``) stays with its quote: its freight is
    paid, its minimum met, and only what is still open is chosen.

    Quotes that are past their date, in another currency, in a unit that does not fit or with a price table out
    of order are left out, each with a reason. Items nobody quotes are listed as ``unquoted``; the rest is awarded.
    Ties go to fewer suppliers, then to the name that comes first. Status: empty when nothing is asked,
    underdetermined when nothing asked has a valid quote, infeasible when the rules leave no choice.
    """
    tax_percent = min(tax_percent, MOST_PERCENT)
    settled = settled or Settled()
    offers, reasons = offers_for(take_off.lines, quotes, suppliers, rules, as_of, currency, tax_percent, settled)
    asked = [line.item for line in take_off.lines if line.quantity > 0]
    if not asked:
        return _nothing("empty", [], reasons, currency)
    quoted = {offer.item for offer in offers}
    unquoted = [item for item in asked if item not in quoted and item not in settled.quotes]
    forced_out = any(reason.severity == "stop" for reason in reasons)
    if unquoted:
        names = {line.item: line.name for line in take_off.lines}
        reasons.append(
            Reason(
                code="not quoted",
                where=", ".join(unquoted),
                severity="warning",
                text=f"Nobody quotes {len(unquoted)} of {len(asked)} item{'s' if len(asked) > 1 else ''}: "
                f"{some_of([names[i] for i in unquoted])}",
                todo="Ask for quotes, or set an allowance aside under their budget heads",
            )
        )
    if not offers:
        nothing: Status = "infeasible" if forced_out else "underdetermined" if unquoted else "empty"
        return _nothing(nothing, unquoted, reasons, currency)

    terms = Terms.of(quotes, suppliers, rules, tax_percent, currency, late, settled)
    found = choose(offers, terms)
    if found is None:
        reasons.append(_no_choice(offers, terms))
        return _nothing("infeasible", unquoted, reasons, currency)
    chosen, bound, proven = found
    cost = terms.cost(chosen)
    if cost is None:
        raise AssertionError("the chosen award breaks its own rules")
    late_cost = terms.late_cost(chosen)
    bound = min(terms.round(bound), cost + late_cost)
    others = _Others(chosen, offers, terms)
    lines = [_line(item, chosen, others) for item in asked if item in chosen]
    reasons += [_bought_more(line, chosen[line.item]) for line in lines if line.spare > 0 and not line.order]
    parties = _parties(chosen, terms)
    status: Status = "infeasible" if forced_out else "proven" if proven else "feasible"
    return Award(
        status=status,
        currency=currency,
        bound=bound,
        total=cost,
        late_cost=late_cost,
        tax=sum((p.tax for p in parties), Decimal(0)),
        lines=lines,
        suppliers=parties,
        unquoted=unquoted,
        reasons=reasons,
    )


def _nothing(status: Status, unquoted: list[str], reasons: list[Reason], currency: str) -> Award:
    zero = Decimal(0)
    return Award(
        status=status,
        currency=currency,
        bound=zero,
        total=zero,
        tax=zero,
        lines=[],
        suppliers=[],
        unquoted=unquoted,
        reasons=reasons,
    )


# ---------------------------------------------------------------- what a choice costs


@dataclass(frozen=True)
class Terms:
    """What suppliers ask beside their prices, and what a selection then costs."""

    suppliers: Mapping[str, Supplier]
    quotes: Mapping[str, Quote]
    rules: AwardRules
    tax_percent: Decimal
    currency: str
    lateness: Lateness
    settled: Settled

    @classmethod
    def of(
        cls,
        quotes: list[Quote],
        suppliers: list[Supplier],
        rules: AwardRules,
        tax_percent: Decimal,
        currency: str,
        late: Lateness | None = None,
        settled: Settled | None = None,
    ) -> Terms:
        by_id, sellers = {q.id: q for q in quotes}, {s.id: s for s in suppliers}
        return cls(sellers, by_id, rules, tax_percent, currency, late or Lateness(), settled or Settled())

    @cached_property
    def ordered_from(self) -> set[str]:
        """Suppliers who have an order."""
        return {self.sold_by(quote) for quote in self.settled.quotes.values() if quote in self.quotes}

    @cached_property
    def most_suppliers(self) -> int | None:
        """As the owner wants it; those who have an order count, and cannot be sent away."""
        most = self.rules.most_suppliers
        return None if most is None else max(most, len(self.ordered_from))

    @cached_property
    def together(self) -> list[list[str]]:
        """Sets that can still be kept together: what is on orders with several quotes is split already."""
        found = []
        for unsplit in self.rules.together:
            quotes = {self.settled.quotes[item] for item in unsplit if item in self.settled.quotes}
            kept = unsplit if len(quotes) < 2 else [item for item in unsplit if item not in self.settled.quotes]
            found.append(list(kept))
        return found

    def days_late(self, item: str, quote: str) -> Decimal:
        return self.lateness.days.get(item, {}).get(quote, Decimal(0))

    def late(self, item: str, quote: str) -> Decimal:
        """What a line's lateness costs where no other line is later."""
        return self.round(self.days_late(item, quote) * self.lateness.day)

    def late_cost(self, chosen: Selection) -> Decimal:
        """What the latest line chosen costs by being late."""
        return max((self.late(item, offer.quote) for item, (offer, _) in chosen.items()), default=Decimal(0))

    def weighed(self, chosen: Selection) -> Decimal | None:
        """Cost and lateness together: what the award makes least; None when a rule is broken."""
        cost = self.cost(chosen)
        return None if cost is None else cost + self.late_cost(chosen)

    @cached_property
    def cents(self) -> int:
        """Smallest money units in one."""
        return int(1 / smallest(self.currency))

    def round(self, amount: Decimal) -> Decimal:
        return round_money(amount, self.currency)

    def rate(self, quote: str) -> Decimal:
        return tax_rate(self.quotes[quote], self.tax_percent)

    def net(self, quote: str, amount: Decimal) -> Decimal:
        """A quote's amount without tax."""
        if self.quotes[quote].tax_included:
            return amount / (1 + self.rate(quote) / 100)
        return amount

    @cached_property
    def _rates(self) -> dict[str, Rate]:
        return {}

    def freight_rate(self, quote: str) -> Rate:
        """How a quote charges freight, worked out once."""
        if quote not in self._rates:
            freight = self.quotes[quote].freight
            each = carriage(freight)
            free = freight.free_over if freight.form == "free over" else None
            if each is None and quote in self.settled.freight:
                # Asked for with the order; what else comes from that quote travels along.
                self._rates[quote] = Rate(None, self.round(self.settled.freight[quote]), None)
                return self._rates[quote]
            self._rates[quote] = Rate(
                each=None if each is None else self.net(quote, each),
                once=self.round(self.net(quote, flat_freight(freight) if each is None else freight.at_least)),
                free_over=None if free is None else self.net(quote, free),
            )
        return self._rates[quote]

    def discounts(self, quote: str) -> list[Discount]:
        found = self.quotes[quote].discounts
        return [discount for discount in found if discount.percent > 0] if found else []

    def sold_by(self, quote: str) -> str:
        return self.quotes[quote].supplier

    def minimum(self, supplier: str) -> Decimal:
        return Decimal(0) if supplier in self.ordered_from else self.suppliers[supplier].minimum_order

    def goal(self, quote: str) -> Decimal:
        """The sum of goods up to which buying more than is needed may save something; nought where it never does."""
        sums = [self.minimum(self.sold_by(quote)), self.freight_rate(quote).free_over or Decimal(0)]
        return max(sums + [self.net(quote, discount.over) for discount in self.discounts(quote)])

    def freight(self, quote: str, bill: Bill) -> Decimal:
        """Freight of one quote for what it gets."""
        each, once, free = self.freight_rate(quote)
        if each is not None:
            return max(self.round(each * bill.load), once)
        return self.round(Decimal(0)) if free is not None and bill.paid >= free else once

    def by_quote(self, chosen: Selection) -> dict[str, Lines]:
        found: dict[str, Lines] = {}
        for item in sorted(chosen):
            offer, quantity = chosen[item]
            found.setdefault(offer.quote, []).append((offer, quantity))
        return dict(sorted(found.items()))

    def offs(self, lines: Lines) -> list[Off]:
        """What discounts take off each line of one quote."""
        percents = [Decimal(0)] * len(lines)
        for discount in self.discounts(lines[0][0].quote) if lines else ():
            covered = [at for at, (offer, _) in enumerate(lines) if not discount.items or offer.item in discount.items]
            whole = {lines[at][0].item for at in covered} >= set(discount.items)
            paid = sum((lines[at][0].cost(lines[at][1]) for at in covered), Decimal(0))
            if whole and paid >= self.net(lines[0][0].quote, discount.over):
                for at in covered:
                    percents[at] = min(percents[at] + discount.percent, Decimal(100))
        return [
            Off(self.round(offer.goods(quantity) * percent / 100), self.round(offer.extras * percent / 100))
            for percent, (offer, quantity) in zip(percents, lines, strict=True)
        ]

    def bill(self, lines: Lines) -> Bill:
        paid = sum((offer.cost(quantity) for offer, quantity in lines), Decimal(0))
        load = sum((offer.load * quantity for offer, quantity in lines), Decimal(0))
        off = Decimal(0)
        if lines and self.discounts(lines[0][0].quote):
            off = sum((off.goods + off.extras for off in self.offs(lines)), Decimal(0))
        return Bill(paid, load, off)

    def cost(self, chosen: Selection) -> Decimal | None:
        """Goods, extras and freight; None when a rule or a minimum order is broken."""
        for unsplit in self.together:
            if len({chosen[item][0].quote for item in unsplit if item in chosen}) > 1:
                return None
        return self.total({quote: self.bill(lines) for quote, lines in self.by_quote(chosen).items()})

    def total(self, bills: Mapping[str, Bill]) -> Decimal | None:
        """The bills together; None when a minimum order or the number of suppliers is broken. Minimum orders and
        free freight look at the sum before discounts."""
        spent: dict[str, Decimal] = {}
        for quote, bill in bills.items():
            supplier = self.quotes[quote].supplier
            spent[supplier] = spent.get(supplier, Decimal(0)) + bill.paid
        if any(paid < self.minimum(supplier) for supplier, paid in spent.items()):
            return None
        if self.most_suppliers is not None and len(spent) > self.most_suppliers:
            return None
        return sum((self.comes_to(quote, bill) for quote, bill in bills.items()), Decimal(0))

    def comes_to(self, quote: str, bill: Bill) -> Decimal:
        """One quote's bill with its freight."""
        return bill.paid - bill.off + self.freight(quote, bill)


# ---------------------------------------------------------------- the programme


class _Model:
    """The programme and what its columns mean."""

    def __init__(self, offers: list[Offer], terms: Terms, wanted: str) -> None:
        self.offers, self.terms = offers, terms
        self.programme = Programme()
        self.brackets: list[tuple[int, int | None, Offer, Decimal]] = []
        """(used?, packs or None, offer, quantity where packs is None)."""
        self.rounded = Decimal(0)
        """Cents the programme may differ from whole-cent line prices."""
        self.cents: dict[int, float] = {}
        self.short: dict[str, float] = {}
        """What rounding at the lines may take off a quote's goods, so that a minimum order is met for certain."""
        names = sorted({o.supplier for o in offers}, key=lambda s: (terms.suppliers[s].name, s))
        self.rank = {supplier: place for place, supplier in enumerate(names)}
        self.supplier = {s: self.programme.column(0.0, 0, 1, whole=True) for s in names}
        self.quote = {q: self.programme.column(0.0, 0, 1, whole=True) for q in sorted({o.quote for o in offers})}
        self.ways: dict[tuple[str, str], dict[int, float]] = {}
        """(item, quote) → the columns of its brackets."""
        self._offers()
        self._quotes()
        self._discounts()
        self._together()
        self._lateness()
        if wanted:
            theirs = {c: 1.0 for (_, q), found in self.ways.items() for c in found if terms.sold_by(q) == wanted}
            self.programme.row(1, None, theirs)
        if terms.most_suppliers is not None:
            self.programme.row(None, terms.most_suppliers, dict.fromkeys(self.supplier.values(), 1.0))

    def _cost(self, column: int, amount: Decimal) -> float:
        """Give a column its cost in cents; the same amount in whole money."""
        cents = amount * self.terms.cents
        whole = int(cents)
        # A quotient of whole numbers is rounded as the decimal would be, and is had for a fraction of the time.
        exact = whole == cents
        self.cents[column] = self.programme.costs[column] = float(whole if exact else cents)
        return whole / self.terms.cents if exact else float(amount)

    def _offers(self) -> None:
        programme, terms = self.programme, self.terms
        self.paid: dict[str, dict[int, float]] = {q: {} for q in self.quote}
        self.carried: dict[str, dict[int, float]] = {q: {} for q in self.quote}
        self.line_paid: dict[tuple[str, str], dict[int, float]] = {}
        self.most: dict[tuple[str, str], float] = {}
        """(item, quote) → what its columns add to the goods, and the most that can come to; of discounted quotes."""
        carried = {quote: each for quote in self.quote if (each := terms.freight_rate(quote).each) is not None}
        cents = terms.cents
        goals = {quote: terms.goal(quote) for quote in self.quote}
        discounted = {quote for quote in self.quote if terms.discounts(quote)}
        by_item: dict[str, list[Offer]] = {}
        for offer in self.offers:
            by_item.setdefault(offer.item, []).append(offer)
        for item in sorted(by_item):
            ways: dict[int, float] = {}
            for offer in by_item[item]:
                each = carried[offer.quote] * offer.load if offer.quote in carried else None
                goal = goals[offer.quote]
                opened = self.quote[offer.quote]
                mine: dict[int, float] = {}
                key = (item, offer.quote)
                enough = offer.enough
                for bracket in offer.brackets:
                    first, last, fixed, price = bracket
                    low = max(first, enough)
                    if last is not None and low > last:
                        continue
                    used = programme.column(0.0, 0, 1, whole=True)
                    mine[used] = 1.0
                    if goal <= 0 or price <= 0:
                        self.brackets.append((used, None, offer, low))
                        paid = self._cost(used, offer.goods_from(bracket, low) + offer.extras)
                        self.paid[offer.quote][used] = paid
                        if offer.quote in discounted:
                            self._pay(key, {used: paid}, paid)
                        if each is not None:
                            self.carried[offer.quote][used] = float(each * low)
                        continue
                    high = low + (goal / price).to_integral_value(ROUND_CEILING) + offer.line.pack
                    high = min(high, last) if last is not None else high
                    pack = offer.line.pack
                    most = int((high / pack).to_integral_value(ROUND_CEILING))
                    packs = programme.column(0.0, 0, float(most), whole=True)
                    programme.row(0, None, {used: -float(int(low / pack)), packs: 1.0})
                    programme.row(None, 0, {used: -float(most), packs: 1.0})
                    once, by_pack = fixed + offer.extras, price * pack
                    steps = {used: self._cost(used, once), packs: self._cost(packs, by_pack)}
                    self.paid[offer.quote] |= steps
                    if offer.quote in discounted:
                        self._pay(key, steps, float(once + by_pack * most))
                    if each is not None:
                        self.carried[offer.quote][packs] = float(each * pack)
                    self.brackets.append((used, packs, offer, pack))
                    if (by_pack * cents) % 1 or (fixed * cents) % 1:
                        self.rounded += Decimal("0.5")
                        self.short[offer.quote] = self.short.get(offer.quote, 0.0) + 1 / cents
                if mine:
                    self.ways[key] = mine
                    ways |= mine
                    # At most one bracket is used, so one row for all of them says more than one for each.
                    programme.row(None, 0, {**mine, opened: -1.0})
            programme.row(1, 1, ways)

    def _pay(self, key: tuple[str, str], columns: dict[int, float], most: float) -> None:
        self.line_paid.setdefault(key, {}).update(columns)
        self.most[key] = max(self.most.get(key, 0.0), most)

    def _discounts(self) -> None:
        """A discount is a sum of its own, held down by what it covers and by what it hangs on."""
        programme, terms = self.programme, self.terms
        for quote, opened in self.quote.items():
            for discount in terms.discounts(quote):
                mine = sorted(item for item, of in self.line_paid if of == quote)
                covered = [item for item in mine if not discount.items or item in discount.items]
                if not set(discount.items) <= set(covered):
                    continue
                share = float(discount.percent / 100)
                paid = {c: v for item in covered for c, v in self.line_paid[item, quote].items()}
                off = programme.column(0.0, 0, None)
                self._cost(off, Decimal(-1))
                programme.row(0, None, {**{c: v * share for c, v in paid.items()}, off: -1.0})
                self.rounded += len(covered)  # goods and extras of each line are rounded, half a cent each
                over = float(terms.net(quote, discount.over))
                if over <= 0 and not discount.items:
                    continue
                holds = programme.column(0.0, 0, 1, whole=True)
                programme.row(None, 0, {holds: 1.0, opened: -1.0})
                programme.row(0, None, {holds: share * sum(self.most[item, quote] for item in covered), off: -1.0})
                if over > 0:
                    programme.row(0, None, {**paid, holds: -over - self.short.get(quote, 0.0)})
                for item in discount.items:
                    programme.row(0, None, {**self.ways[item, quote], holds: -1.0})

    def _quotes(self) -> None:
        programme, terms = self.programme, self.terms
        spent: dict[str, dict[int, float]] = {s: {} for s in self.supplier}
        for quote, opened in self.quote.items():
            supplier = terms.quotes[quote].supplier
            programme.row(None, 0, {opened: 1.0, self.supplier[supplier]: -1.0})
            spent[supplier] |= self.paid[quote]
            each, once, free = terms.freight_rate(quote)
            if each is not None:
                self.rounded += Decimal("0.5")
                brought = programme.column(0.0, 0, None)
                self._cost(brought, Decimal(1))
                programme.row(0, None, {brought: 1.0, **{c: -v for c, v in self.carried[quote].items()}})
                programme.row(0, None, {brought: 1.0, opened: -float(once)})
                continue
            if free is None:
                self._cost(opened, once)
                continue
            reached = programme.column(0.0, 0, 1, whole=True)
            carried = programme.column(0.0, 0, 1, whole=True)
            self._cost(carried, once)
            programme.row(0, None, {carried: 1.0, reached: 1.0, opened: -1.0})
            programme.row(0, None, {**self.paid[quote], reached: -float(free) - self.short.get(quote, 0.0)})
        for supplier, opened in self.supplier.items():
            if terms.minimum(supplier) > 0:
                short = sum(self.short.get(q, 0.0) for q in self.quote if terms.quotes[q].supplier == supplier)
                programme.row(0, None, {**spent[supplier], opened: -float(terms.minimum(supplier)) - short})

    def _together(self) -> None:
        """Items of one set come from one quote: each of its quotes serves all of them or none."""
        for unsplit in self.terms.together:
            items = sorted({o.item for o in self.offers} & set(unsplit))
            for quote in self.quote:
                first = self.ways.get((items[0], quote), {}) if items else {}
                for item in items[1:]:
                    other = self.ways.get((item, quote), {})
                    if first or other:
                        self.programme.row(0, 0, {**first, **dict.fromkeys(other, -1.0)})

    def _lateness(self) -> None:
        """One column for the latest line, at least as large as every line's own lateness."""
        if not self.terms.lateness.days:
            return
        columns: dict[str, dict[int, float]] = {}
        least: dict[str, float] = {}
        for (item, quote), ways in self.ways.items():
            cents = float(self.terms.late(item, quote) * self.terms.cents)
            least[item] = min(least.get(item, cents), cents)
            if cents:
                columns.setdefault(item, {}).update(dict.fromkeys(ways, -cents))
        if not columns:
            return
        worst = self.programme.column(0.0, max(least.values()), None)
        self._cost(worst, smallest(self.terms.currency))
        for item in sorted(columns):
            self.programme.row(0, None, {worst: 1.0, **columns[item]})

    def selection(self, values: list[float]) -> Selection:
        chosen: Selection = {}
        for used, packs, offer, quantity in self.brackets:
            if values[used] > 0.5:
                bought = quantity if packs is None else quantity * round(values[packs])
                chosen[offer.item] = (offer, bought)
        return chosen

    def break_ties(self, most_cents: float) -> None:
        """Among awards of the same cost: fewest suppliers, then names, then the lower bracket."""
        self.programme.row(None, most_cents + 0.4, dict(self.cents))
        weight = len(self.supplier) * (len(self.brackets) + 1) * 2 + 1
        self.programme.costs = array("d", bytes(8 * len(self.programme.costs)))
        for column in self.supplier.values():
            self.programme.costs[column] = float(weight)
        seen: dict[str, int] = {}
        for used, packs, offer, _ in self.brackets:
            step = seen[offer.item] = seen.get(offer.item, -1) + 1
            self.programme.costs[used] = self.rank[offer.supplier] + step / (len(self.brackets) + 1)
            if packs is not None:
                self.programme.costs[packs] = 1e-6


def choose(
    offers: list[Offer], terms: Terms, *, wanted: str = "", nodes: int = 50_000, ties: bool = True
) -> tuple[Selection, Decimal, bool] | None:
    """The cheapest selection, what none can cost less than, and whether that is shown.

    ``wanted``: a supplier who must get at least one item. Without ``ties`` any of several equally cheap ones.
    """
    model = _Model(offers, terms, wanted)
    answer = model.programme.solve(absolute_gap=0.4, nodes=nodes)
    if not answer.values:
        return None
    chosen = model.selection(answer.values)
    cents = Decimal(repr(answer.bound)) - model.rounded - Decimal("0.001")
    bound = cents.to_integral_value(ROUND_CEILING) / terms.cents
    if answer.proven and ties:
        model.break_ties(answer.value)
        again = model.programme.solve(absolute_gap=0.0, nodes=5_000)
        if again.values:
            other = model.selection(again.values)
            if other != chosen:
                first, second = terms.weighed(chosen), terms.weighed(other)
                if first is None or (second is not None and second <= first):
                    chosen = other
    return chosen, bound, answer.proven


def _no_choice(offers: list[Offer], terms: Terms) -> Reason:
    for unsplit in terms.together:
        items = sorted({o.item for o in offers} & set(unsplit))
        sellers = [{o.quote for o in offers if o.item == item} for item in items]
        if sellers and not set.intersection(*sellers):
            return Reason(
                code="set offered by nobody", severity="stop", where="award.together",
                text=f"{some_of(items)} must come from one quote, but no usable quote offers all of them",
                todo="Ask one supplier to quote the whole set, or allow it to be split",
            )  # fmt: skip
    most = terms.most_suppliers
    if most is None:
        return Reason(
            code="no award possible", severity="stop",
            text="No choice of quotes meets every supplier's minimum order",
            todo="Ask a supplier to waive the minimum, or take other quotes in",
        )  # fmt: skip
    programme = Programme()
    columns = {s: programme.column(1.0, 0, 1, whole=True) for s in sorted({o.supplier for o in offers})}
    for item in sorted({o.item for o in offers}):
        programme.row(1, None, {columns[o.supplier]: 1.0 for o in offers if o.item == item})
    needed = round(programme.solve(absolute_gap=0.5).value)
    return Reason(
        code="too few suppliers allowed", severity="stop", where="award.most_suppliers",
        text=f"At most {most} suppliers are allowed, but the quoted items need at least {needed}",
        todo=f"Allow {needed} suppliers or more, or ask the others to quote more items",
    )  # fmt: skip


# ---------------------------------------------------------------- the answer in words and figures


class _Others:
    """What the award would come to with one line (and those it may not be split from) from another quote."""

    def __init__(self, chosen: Selection, offers: list[Offer], terms: Terms) -> None:
        self.chosen, self.terms = chosen, terms
        self.lines = terms.by_quote(chosen)
        self.bills = {quote: terms.bill(lines) for quote, lines in self.lines.items()}
        self.comes_to = {quote: terms.comes_to(quote, bill) for quote, bill in self.bills.items()}
        self.offs = {
            offer.item: off
            for quote, lines in self.lines.items()
            if terms.discounts(quote)
            for (offer, _), off in zip(lines, terms.offs(lines), strict=True)
        }
        self.sellers: dict[str, set[str]] = {}
        for quote in self.bills:
            self.sellers.setdefault(terms.sold_by(quote), set()).add(quote)
        self.minimums = {offer.quote for offer in offers if terms.minimum(offer.supplier) > 0}
        late = sorted(((terms.late(item, offer.quote), item) for item, (offer, _) in chosen.items()), reverse=True)
        self.latest = late if late and late[0][0] else []
        self.offers: dict[str, dict[str, Offer]] = {}
        for offer in offers:
            self.offers.setdefault(offer.item, {})[offer.quote] = offer

    def next_best(self, item: str) -> tuple[Decimal, str] | None:
        """How much more it costs, lateness counted in, and the quote."""
        along = {other for unsplit in self.terms.together if item in unsplit for other in unsplit}
        along = (along & set(self.chosen)) | {item}
        # What is left where these items are now does not hang on where they go.
        left = {quote: self._bill(quote, along, False) for quote in sorted({self.chosen[i][0].quote for i in along})}
        added = {quote: self._adds(quote, bill) for quote, bill in left.items()}
        found = []
        for quote in sorted(set(self.offers[item]) - {self.chosen[item][0].quote}):
            if not all(quote in self.offers[other] for other in along):
                continue
            there = self._bill(quote, along, True)
            if self._allowed({**left, quote: there}):
                extra = sum({**added, quote: self._adds(quote, there)}.values())
                found.append((extra + self._later(along, quote), quote))
        return min(found, default=None)

    def _bill(self, quote: str, along: set[str], into: bool) -> Bill | None:
        """A quote's bill once these items have left it or, ``into``, come to it; None when nothing is left on it."""
        lines = self.lines.get(quote, [])
        gone = [line for item in sorted(along) if (line := self.chosen[item])[0].quote == quote]
        moved = [self.offers[item][quote] for item in sorted(along)] if into else []
        new = [(offer, offer.cheapest) for offer in moved]
        if len(gone) == len(lines) and not new:
            return None
        if self.terms.discounts(quote):
            return self.terms.bill([line for line in lines if line[0].item not in along] + new)
        # Without discounts every line adds its own, so the others need not be summed again.
        before = self.bills.get(quote) or Bill(Decimal(0), Decimal(0), Decimal(0))
        paid, load = before.paid, before.load
        for offer, bought in new:
            paid += offer.cost(bought)
            load += offer.load * bought
        for offer, bought in gone:
            paid -= offer.cost(bought)
            load -= offer.load * bought
        return Bill(paid, load, before.off)

    def _adds(self, quote: str, bill: Bill | None) -> Decimal:
        """What this bill costs more than the one the quote has in the award."""
        now = Decimal(0) if bill is None else self.terms.comes_to(quote, bill)
        return now - self.comes_to.get(quote, Decimal(0))

    def _allowed(self, bills: Mapping[str, Bill | None]) -> bool:
        """Whether minimum orders and the number of suppliers hold with these bills in place of the same quotes'."""
        terms = self.terms
        if terms.most_suppliers is None and self.minimums.isdisjoint(bills):
            return True
        sellers: dict[str, set[str]] = {}
        for quote, bill in bills.items():
            supplier = terms.sold_by(quote)
            theirs = sellers.setdefault(supplier, set(self.sellers.get(supplier, ())))
            theirs.discard(quote)
            if bill is not None:
                theirs.add(quote)
        for supplier, theirs in sellers.items():
            if terms.minimum(supplier) <= 0:
                continue
            spent = [bills.get(quote) or self.bills[quote] for quote in theirs]
            if spent and sum((bill.paid for bill in spent), Decimal(0)) < terms.minimum(supplier):
                return False
        if terms.most_suppliers is not None:
            kept = {supplier: sellers.get(supplier, theirs) for supplier, theirs in (self.sellers | sellers).items()}
            if sum(1 for theirs in kept.values() if theirs) > terms.most_suppliers:
                return False
        return True

    def _later(self, along: set[str], quote: str) -> Decimal:
        """What the latest line costs more by being later, when these items come from that quote."""
        days = self.terms.lateness.days
        if not days:
            return Decimal(0)
        rest = next((cost for cost, item in self.latest if item not in along), Decimal(0))
        moved = max(self.terms.late(item, quote) for item in along)
        return max(rest, moved) - (self.latest[0][0] if self.latest else Decimal(0))

    def off(self, item: str) -> Off:
        """What discounts take off the line chosen for an item."""
        return self.offs.get(item, NOTHING_OFF)


def _line(item: str, chosen: Selection, others: _Others) -> AwardLine:
    offer, quantity = chosen[item]
    best = others.next_best(item)
    off = others.off(item)
    paid = offer.goods(quantity) - off.goods
    words = offer.words
    enough = offer.enough
    if enough != offer.need:
        words += f"; sold in {_packs(offer)}: {_n(enough)}"
    if quantity != enough:
        words += f"; {_n(quantity)} bought because that costs less in all"
    return AwardLine(
        item=item,
        quote=offer.quote,
        supplier=offer.supplier,
        asked=offer.asked,
        asked_unit=offer.asked_unit,
        quantity=quantity,
        unit=offer.line.unit,
        conversion=words,
        unit_price=(paid / quantity).quantize(Decimal("0.0001")) if quantity else Decimal(0),
        goods=paid,
        extras=offer.extras - off.extras,
        spare=quantity - offer.need,
        runner_up=best[1] if best else "",
        runner_up_extra=best[0] if best else Decimal(0),
        discount=off.goods + off.extras,
        days_late=others.terms.days_late(item, offer.quote),
        order=others.terms.settled.orders.get(item, ""),
    )


def _packs(offer: Offer) -> str:
    pack, smallest = offer.line.pack, offer.line.breaks[0].start
    if offer.need < smallest:
        return f"no less than {_n(smallest)} {offer.line.unit}"
    return f"whole units ({offer.line.unit})" if pack == 1 else f"packs of {_n(pack)}"


def _n(quantity: Decimal) -> str:
    return f"{quantity.normalize():f}"


def _bought_more(line: AwardLine, taken: tuple[Offer, Decimal]) -> Reason:
    offer, quantity = taken
    enough = offer.enough
    if quantity > enough:
        text = (
            f"{line.item}: {_n(quantity)} are bought where {_n(offer.need)} are needed; the goods come to "
            f"{offer.goods(quantity)} against {offer.goods(enough)} for {_n(enough)}"
        )
        return Reason(code="more costs less", where=line.item, text=text, todo="Decide where the spare is kept")
    text = f"{line.item}: {_n(offer.need)} {offer.line.unit} needed, sold in {_packs(offer)}, so {_n(quantity)} bought"
    return Reason(code="whole packs", where=line.item, text=text)


def _parties(chosen: Selection, terms: Terms) -> list[AwardSupplier]:
    found = []
    for quote, lines in terms.by_quote(chosen).items():
        bill = terms.bill(lines)
        paid, freight, rate = bill.paid - bill.off, terms.freight(quote, bill), terms.rate(quote)
        costs = [
            offer.cost(quantity) - off.goods - off.extras
            for (offer, quantity), off in zip(lines, terms.offs(lines), strict=True)
        ]
        tax = sum((tax_on(cost, rate, terms.currency) for cost in [*costs, freight]), Decimal(0))
        found.append(
            AwardSupplier(
                supplier=terms.quotes[quote].supplier,
                quote=quote,
                goods=paid,
                freight=freight,
                tax=tax,
                total=paid + freight + tax,
            )
        )
    return found
