"""Cutting from several kinds of stock at once: sizes with prices, and remnants of which there are only so many.

Patterns are priced by the linear programme over all kinds of stock (Gilmore & Gomory, Operations Research 9, 1961,
who have several stock lengths from the start) and chosen in whole numbers. Costs are whole numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Protocol

from estimating.engine.limits import Work
from estimating.engine.linear import Master, cover

PRICE_SCALE = 1 << 20


@dataclass(frozen=True)
class Source:
    """A kind of stock: what one costs, and how many there are (None: as many as wanted)."""

    cost: int
    most: int | None = None


@dataclass(frozen=True)
class Offer:
    """A pattern: pieces of each kind, and whatever the caller needs to draw it."""

    value: int
    counts: tuple[int, ...]
    drawing: Any


@dataclass(frozen=True)
class Priced:
    """Patterns worth more than was asked; none exceeds ``ceiling``. ``all_seen``: no other is worth as much."""

    offers: list[Offer]
    ceiling: int
    all_seen: bool


class Pricing(Protocol):
    """Patterns of a source at a price for each kind and at most so many of each."""

    def __call__(self, source: int, prices: list[int], most: list[int], least: int, *, every: bool = False) -> Priced:
        """Those worth more than ``least``, the best first; without ``every`` the best alone will do."""
        ...


@dataclass(frozen=True)
class Choice:
    """``taken``: (source, pattern) in no particular order. No plan costs less than ``bound``."""

    taken: list[tuple[int, Offer]]
    cost: int
    bound: int


def choose_stock(
    demand: Sequence[int],
    sizes: Sequence[int],
    sources: Sequence[Source],
    pricing: Pricing,
    work: Work | None = None,
) -> Choice:
    """Cover the demand at least cost. ``sizes``: length or area of each kind.

    At least one source must be unlimited and hold every kind of piece; raises ValueError otherwise.
    """
    work = work or Work()
    wanted = list(demand)
    taken = _greedy(wanted, list(sizes), sources, pricing)
    best = sum(sources[s].cost for s, _ in taken)
    limited = [s for s, source in enumerate(sources) if source.most is not None]
    rows = [*wanted, *(-(sources[s].most or 0) for s in limited)]
    master = Master(rows)
    columns: list[tuple[int, Offer]] = []
    known: set[tuple[int, tuple[int, ...]]] = set()

    def add(source: int, offer: Offer) -> bool:
        if (source, offer.counts) in known:
            return False
        known.add((source, offer.counts))
        terms = {k: n for k, n in enumerate(offer.counts) if n}
        if source in limited:
            terms[len(wanted) + limited.index(source)] = -1
        master.add(float(sources[source].cost), terms)
        columns.append((source, offer))
        return True

    for source, offer in taken:
        add(source, offer)
    bound, best_prices = 0, list[int]()
    for _ in range(work["stock rounds"]):
        value, duals = master.solve()
        prices = [int(d * PRICE_SCALE) for d in duals[: len(wanted)]]
        ceilings = []
        new = 0
        for number, stock in enumerate(sources):
            rent = duals[len(wanted) + limited.index(number)] if number in limited else 0.0
            least = int((stock.cost + rent) * PRICE_SCALE) + len(wanted)
            found = pricing(number, prices, wanted, least)
            ceilings.append(max(found.ceiling, 0))
            new += sum(add(number, offer) for offer in found.offers[:20])
        here, shrink = _bound(prices, wanted, sources, ceilings)
        if here > bound or not best_prices:
            bound, best_prices = max(bound, here), [int(p * shrink) for p in prices]
        if not new or bound >= min(best, -int(-value // 1)):
            break
    else:
        work.out("stock rounds")
    chosen, answer = cover(
        [(float(sources[s].cost), _terms(s, o, len(wanted), limited)) for s, o in columns], rows, below=best - 1,
        nodes=work["stock choice"],
    )  # fmt: skip
    if answer.cut_short:
        work.out("stock choice")
    if chosen:
        taken = [columns[c] for c, times in enumerate(chosen) for _ in range(times)]
        best = sum(sources[s].cost for s, _ in taken)
    while bound < best:
        found_all = _within_gap(best_prices, wanted, sources, best, pricing)
        if found_all is None:
            break
        chosen, answer = cover(
            [(float(sources[s].cost), _terms(s, o, len(wanted), limited)) for s, o in found_all], rows, below=best - 1,
            nodes=work["stock choice"],
        )  # fmt: skip
        if chosen:
            taken = [found_all[c] for c, times in enumerate(chosen) for _ in range(times)]
            best = sum(sources[s].cost for s, _ in taken)
        else:
            bound = best if answer.infeasible else bound
            if answer.cut_short:
                work.out("stock choice")
            break
    return Choice(taken, best, min(bound, best))


def _within_gap(
    prices: list[int], demand: list[int], sources: Sequence[Source], best: int, pricing: Pricing
) -> list[tuple[int, Offer]] | None:
    """Every pattern that a plan cheaper than ``best`` could use; None when there are too many to list.

    At feasible prices a plan costs at least what its pieces are worth plus what its patterns cost beyond their worth.
    """
    rents = [0] * len(sources)
    for number, source in enumerate(sources):
        if source.most is not None:
            rents[number] = max(0, pricing(number, prices, demand, 0).ceiling - source.cost * PRICE_SCALE)
    worth = sum(p * d for p, d in zip(prices, demand, strict=True))
    worth -= sum(rent * (source.most or 0) for rent, source in zip(rents, sources, strict=True))
    gap = (best - 1) * PRICE_SCALE - worth
    columns: list[tuple[int, Offer]] = []
    for number, source in enumerate(sources):
        least = source.cost * PRICE_SCALE + rents[number] - gap - 1
        found = pricing(number, prices, demand, max(-1, least), every=True)
        if not found.all_seen:
            return None
        columns += [(number, offer) for offer in found.offers]
    return columns


def _terms(source: int, offer: Offer, kinds: int, limited: list[int]) -> dict[int, int]:
    terms = {k: n for k, n in enumerate(offer.counts) if n}
    if source in limited:
        terms[kinds + limited.index(source)] = -1
    return terms


def _bound(
    prices: list[int], demand: list[int], sources: Sequence[Source], ceilings: list[int]
) -> tuple[int, Fraction]:
    """Weak duality in exact arithmetic: shrink the prices until no unlimited stock is worth more than it costs."""
    shrink = min(
        (Fraction(source.cost * PRICE_SCALE, ceiling)
         for source, ceiling in zip(sources, ceilings, strict=True) if source.most is None and ceiling > 0),
        default=Fraction(1),
    )  # fmt: skip
    shrink = min(shrink, Fraction(1))
    total = shrink * sum(p * d for p, d in zip(prices, demand, strict=True)) / PRICE_SCALE
    for source, ceiling in zip(sources, ceilings, strict=True):
        if source.most is not None:
            total -= source.most * max(Fraction(0), shrink * ceiling / PRICE_SCALE - source.cost)
    return max(0, -int(-total // 1)), shrink


def _greedy(
    demand: list[int], sizes: list[int], sources: Sequence[Source], pricing: Pricing
) -> list[tuple[int, Offer]]:
    """Remnants first, each with what fills it best, then new stock by what it yields for its cost."""
    left = list(demand)
    taken: list[tuple[int, Offer]] = []

    def best(source: int) -> Offer | None:
        offers = pricing(source, sizes, left, 0).offers
        return offers[0] if offers else None

    def take(number: int, offer: Offer, most: int | None) -> int:
        """As often as the demand has room for it: with less left to cut no other pattern can become worth more."""
        nonlocal left
        room = min((d // n for d, n in zip(left, offer.counts, strict=True) if n), default=0)
        times = min(room, most) if most is not None else room
        taken.extend([(number, offer)] * times)
        left = [d - times * n for d, n in zip(left, offer.counts, strict=True)]
        return times

    for number, source in enumerate(sources):
        lying = source.most or 0
        while lying and (offer := best(number)) is not None:
            lying -= take(number, offer, lying)
    while any(left):
        offers = [(s, o) for s, source in enumerate(sources) if source.most is None and (o := best(s)) is not None]
        if not offers:
            raise ValueError("a piece fits none of the unlimited stock")
        number, offer = max(offers, key=lambda c: (Fraction(c[1].value, max(1, sources[c[0]].cost)), -c[0]))
        take(number, offer, None)
    return taken
