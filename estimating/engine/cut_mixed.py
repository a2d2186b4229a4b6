"""Cut plans over several sizes of the same goods, remnants in stock, cuts already made, and rips before crosscuts.

What was cut stays: its pieces that are still wanted are counted, what is left of it is stock again. What lies in stock
costs nothing and is used first, whether or not that saves new stock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import msgspec

from buildout.units.value import Reason, Status, snap
from estimating.engine.best_sheet import Cut
from estimating.engine.cut_choice import Choice, Offer, Priced, Pricing, Source, choose_stock
from estimating.engine.cut_lengths import best_pattern, near_patterns
from estimating.engine.cut_parts import (
    STEPS_PER_MM,
    FirstCuts,
    Wanted,
    keeps,
    missing,
    mm,
    steps,
    too_large,
)
from estimating.engine.cut_patterns import PatternSearch
from estimating.engine.cut_rests import Made, Rest, cuts_made
from estimating.engine.limits import LimitName, Work, stopped_after
from estimating.engine.types import CutDemand, CutPiece, CutPlan, CutStock, MadeCut, Product, Remnant

Box = tuple[int, int]
UNTRIMMED = (0, 0)


@dataclass(frozen=True)
class _Stock:
    """One kind of stock, in whole steps. ``trim`` is taken off either end and either side; ``number``: how many."""

    product: str
    length: int
    width: int
    trim: Box
    cost: int
    number: int | None
    taken: str = ""
    """Remnant or left-over it is."""
    rest: Rest | None = None
    """A left-over of stock that was cut already: counted with it, not bought again."""

    @property
    def room(self) -> Box:
        return self.length - 2 * self.trim[0], self.width - 2 * self.trim[1]


def mixed_plan(
    product: Product,
    need: Wanted,
    others: Sequence[Product],
    remnants: Sequence[Remnant],
    made: Sequence[MadeCut],
    work: Work | None = None,
) -> CutPlan:
    """Cut a product's pieces from its own size, from ``others``, from remnants and from what is left of ``made``."""
    flat = product.form == "length"
    if product.length is None or (product.width is None and not flat):
        return missing(product, product.form, "length" if flat else "length and width")
    width = 1 if flat else steps(product.width.mm if product.width else 0)
    whole = [CutDemand(piece=name, length=product.length.mm, width=mm(width)) for name in need.whole]  # type: ignore[arg-type]
    demands = [CutDemand(piece=d.piece, length=d.length, width=mm(width) if flat else d.width) for d in need.pieces]
    wanted = [(d, (steps(d.length), width if flat else steps(d.width))) for d in [*whole, *demands]]
    cut = cuts_made(product, made, wanted, width if flat else None)
    wanted = cut.wanted
    rests = [_Stock(product.id, *rest.size, UNTRIMMED, 0, 1, rest.name, rest) for rest in cut.rests]
    news, reasons = _new(product, others, flat=flat, width=width)
    kerf = steps(product.kerf.mm) if product.kerf else 0
    used_up = {m.remnant for m in made}
    stock = [*_left_over([r for r in remnants if r.id not in used_up], width if flat else None), *rests, *news]
    turns = product.turns and not flat
    fits = [_fits(size, [s for s in stock if s.number is None], turns=turns) for _, size in wanted]
    reasons += too_large(product, [demand for (demand, _), ok in zip(wanted, fits, strict=True) if not ok])
    todo = [w for w, ok in zip(wanted, fits, strict=True) if ok]
    kinds = sorted({_kind(size, turns=turns) for _, size in todo}, reverse=True)
    waiting: dict[Box, list[tuple[CutDemand, Box]]] = {}
    for demand, size in reversed(todo):
        waiting.setdefault(_kind(size, turns=turns), []).append((demand, size))
    work = work or Work()
    pricing = _lengths(kinds, stock, kerf, work) if flat else _sheets(kinds, stock, kerf, product, work)
    choice = choose_stock(
        [len(waiting[k]) for k in kinds], [a * b for a, b in kinds],
        [Source(s.cost, s.number) for s in stock], pricing, work,
    )  # fmt: skip
    taken = _used_first(choice, stock, [len(waiting[k]) for k in kinds], [a * b for a, b in kinds], pricing)
    drawn: list[CutStock] = list(cut.stock)
    for number, offer in taken:
        source = stock[number]
        pieces = _draw(offer, source, kerf, kinds, waiting)
        if not pieces:
            continue
        first = CutStock(
            number=len(drawn) + 1, length=mm(source.length), width=mm(source.width), pieces=pieces, offcuts=[],
            source="new" if source.number is None else "remnant",
            product="" if source.product == product.id else source.product, taken=source.taken,
            rest_of=source.rest.cut if source.rest else "", at=source.rest.place if source.rest else (0.0, 0.0),
        )  # fmt: skip
        drawn.append(first)
    cost = sum(s.cost for one in drawn if one.source == "new" for s in news if s.product == (one.product or product.id))
    return _summed(product, drawn, stock, cut, (cost, choice.bound), reasons, work.said(), flat=flat)


def _used_first(
    choice: Choice, stock: Sequence[_Stock], demand: Sequence[int], areas: list[int], pricing: Pricing
) -> list[tuple[int, Offer]]:
    """The choice with what else lies in stock drawn on before anything new, even where that saves no new stock.

    Patterns of new stock keep what is then still to be cut; pieces are drawn in this order while there are any.
    """
    old = [(number, offer) for number, offer in choice.taken if stock[number].number is not None]
    left = [n - sum(offer.counts[k] for _, offer in old) for k, n in enumerate(demand)]
    lying = {number for number, _ in old}
    for number, one in enumerate(stock):
        if one.number is None or number in lying or not any(n > 0 for n in left):
            continue
        prices = [area if n > 0 else 0 for area, n in zip(areas, left, strict=True)]
        best = pricing(number, prices, [max(0, n) for n in left], 0).offers[:1]
        if best and any(best[0].counts):
            old.append((number, best[0]))
            left = [n - used for n, used in zip(left, best[0].counts, strict=True)]
    new = [(number, offer) for number, offer in choice.taken if stock[number].number is None]
    return sorted(old, key=lambda t: t[0]) + sorted(new, key=lambda t: (t[0], tuple(-n for n in t[1].counts)))


def _kind(size: Box, *, turns: bool) -> Box:
    return (max(size), min(size)) if turns else size


def _fits(size: Box, stock: Sequence[_Stock], *, turns: bool) -> bool:
    ways = [size, size[::-1]] if turns else [size]
    return any(a <= s.room[0] and b <= s.room[1] for s in stock for a, b in ways)


def _new(product: Product, others: Sequence[Product], *, flat: bool, width: int) -> tuple[list[_Stock], list[Reason]]:
    """Every size the goods are sold in, with what it is reckoned at."""
    sizes: list[tuple[Product, int, int, Box]] = []
    reasons = []
    for one in [product, *others]:
        if one.form != product.form or one.length is None or (one.width is None and not flat):
            text = f"{one.name} is named as another size of {product.name}, but it has no such size"
            todo = "Give its length and width, or take it off the list of sizes"
            reasons.append(Reason(code="no other size", where=one.id, severity="warning", text=text, todo=todo))
            continue
        trim = steps(one.trim.mm) if one.trim else 0
        across = width if flat else steps(one.width.mm if one.width else 0)
        sizes.append((one, steps(one.length.mm), across, (trim, 0 if flat else trim)))
    priced = all(one.reckoned_price for one, *_ in sizes)
    found = []
    for one, long, across, edges in sizes:
        cost = 1
        if len(sizes) > 1:
            by_size = max(1, long * across // (1 if flat else 10_000))
            cost = round((one.reckoned_price or 0) * 100) if priced else by_size
        found.append(_Stock(one.id, long, across, edges, cost, None))
    return found, reasons


def _left_over(remnants: Sequence[Remnant], width: int | None) -> list[_Stock]:
    return [
        _Stock(r.product, steps(r.length.mm), width or steps(r.width.mm if r.width else 0), UNTRIMMED, 0, 1, r.id)
        for r in sorted(remnants, key=lambda r: (r.length.mm, r.id))
        if r.length.mm > 0 and (width or (r.width is not None and r.width.mm > 0))
    ]


# ---------------------------------------------------------------- patterns


def _lengths(kinds: list[Box], stock: Sequence[_Stock], kerf: int, work: Work) -> Pricing:
    raised = [a + kerf for a, _ in kinds]

    def price(source: int, prices: list[int], most: list[int], least: int, *, every: bool = False) -> Priced:
        longest = stock[source].room[0]
        room = longest + kerf
        here = [p if a <= longest else 0 for p, (a, _) in zip(prices, kinds, strict=True)]
        value, counts = best_pattern(raised, most, here, room)
        if not every:
            return Priced([Offer(value, tuple(counts), None)] if value > least else [], value, False)
        listed, complete = near_patterns(raised, most, here, room, least + 1, work)
        offers = [
            Offer(0, tuple(pattern.get(k, 0) for k in range(len(kinds))), None)
            for _, pattern in listed
            if all(kinds[k][0] <= longest for k in pattern)
        ]
        return Priced(offers, value, complete)

    return price


def _sheets(kinds: list[Box], stock: Sequence[_Stock], kerf: int, product: Product, work: Work) -> Pricing:
    raised = [(a + kerf, b + kerf) for a, b in kinds]
    strips = product.cuts == "rips, then crosscuts"
    made: dict[Box, PatternSearch] = {}

    def price(source: int, prices: list[int], most: list[int], least: int, *, every: bool = False) -> Priced:
        room = (stock[source].room[0] + kerf, stock[source].room[1] + kerf)
        if not _fits_any(raised, room, turns=product.turns):
            return Priced([], 0, True)
        if room not in made:
            made[room] = PatternSearch(raised, room, turns=product.turns, strips=strips)
        limit: LimitName = "stock proof joins" if every else "stock joins"
        best = least == 0 and not every
        found = made[room].search(
            prices, most, least=least, joins=work[limit], listed=work["patterns listed"], only_best=best
        )
        if not found.complete:
            work.out(limit if found.joins >= work[limit] else "patterns listed")
        return Priced([Offer(p.value, p.counts, p.cuts) for p in found.patterns], max(found.ceiling, 0), found.complete)

    return price


def _fits_any(kinds: list[Box], room: Box, *, turns: bool) -> bool:
    return any(
        (a <= room[0] and b <= room[1]) or (turns and b <= room[0] and a <= room[1]) for a, b in kinds
    )  # fmt: skip


# ---------------------------------------------------------------- drawing


def _draw(
    offer: Offer, stock: _Stock, kerf: int, kinds: list[Box], waiting: dict[Box, list[tuple[CutDemand, Box]]]
) -> list[CutPiece]:
    pieces: list[CutPiece] = []

    def put(kind: int, x: int, y: int, a: int, b: int) -> bool:
        """False where nobody waits for such a piece any more: patterns may give more than is wanted."""
        if not waiting[kinds[kind]]:
            return False
        demand, size = waiting[kinds[kind]].pop()
        pieces.append(
            CutPiece(
                piece=demand.piece, x=mm(x + stock.trim[0]), y=mm(y + stock.trim[1]), length=mm(a), width=mm(b),
                turned=(a, b) != size,
            )
        )  # fmt: skip
        return True

    def cut(tree: Cut, x: int, y: int) -> None:
        name, at, first, second = tree
        if name == "piece":
            put(at, x, y, first - kerf, second - kerf)
            return
        cut(first, x, y)
        cut(second, x + at if name == "x" else x, y + at if name == "y" else y)

    if offer.drawing is None:
        at = 0
        for kind, count in enumerate(offer.counts):
            for _ in range(count):
                if put(kind, at, 0, *kinds[kind]):
                    at += kinds[kind][0] + kerf
    else:
        cut(offer.drawing, 0, 0)
    return pieces


def _summed(
    product: Product, drawn: list[CutStock], stock: list[_Stock], made: Made, costs: tuple[int, int],
    reasons: list[Reason], limits: str, *, flat: bool,
) -> CutPlan:  # fmt: skip
    cost, cost_bound = costs
    short, long = (steps(k) for k in keeps(product))
    first_cut = FirstCuts(product)
    taken = {s.taken for s in drawn if s.source == "remnant"}
    used, dust, scrap, total, offcut = made.used, made.dust, made.scrap, made.area, 0
    finished: list[CutStock] = []
    for one in drawn:
        kept: list[CutPiece] = []
        if one.source.endswith("already cut"):
            kept = [rest.piece() for rest in made.rests if rest.cut == one.taken and rest.name not in taken]
        else:
            area = steps(one.length) * steps(one.width)
            here = sum(steps(p.length) * steps(p.width) for p in one.pieces)
            _, free = first_cut(one.length, one.width, one.pieces)
            left = sum(steps(a) * steps(b) for _, _, a, b in free)
            for x, y, a, b in sorted(free, key=lambda f: (-f[2] * f[3], f)):
                if max(steps(a), steps(b)) >= long and min(steps(a), steps(b)) >= short:
                    name = f"offcut {one.number}.{len(kept) + 1}"
                    kept.append(CutPiece(piece=name, x=x, y=y, length=snap(a, 0.1), width=snap(b, 0.1)))
            used += here
            dust += area - here - left
            scrap += left - sum(steps(p.length) * steps(p.width) for p in kept)
            total += 0 if one.rest_of else area
        offcut += sum(steps(p.length) * steps(p.width) for p in kept)
        finished.append(
            msgspec.structs.replace(one, width=float(product.width or 0) if flat else one.width, offcuts=kept)
        )
    if used + offcut + dust + scrap != total or scrap < 0:
        raise AssertionError(f"the cut plan of {product.id} does not add up to its stock")
    fixed = sum(1 for one in made.stock if one.source == "already cut")
    fresh = sum(1 for one in drawn if one.source == "new")
    dearest = max((s.cost for s in stock if s.number is None), default=1)
    sizes = sum(1 for s in stock if s.number is None)
    proven = cost <= cost_bound
    bound = fresh if proven and sizes == 1 else min(fresh, -(-cost_bound // max(1, dearest)))
    stopped = any(r.severity == "stop" for r in reasons)
    status: Status = "infeasible" if stopped else "proven" if proven else "feasible"
    if status == "feasible":
        text = (
            f"{product.name}: the stock drawn is reckoned at {cost}; no plan could be below {cost_bound}, "
            f"{100 * (cost - cost_bound) / cost:.1f} % less. {stopped_after(limits)}"
        ).rstrip()
        reasons = [*reasons, Reason(code="cut plan not proven best", where=product.id, text=text)]
    if taken:
        text = f"{product.name}: {len(taken)} of what is in stock is used before anything new"
        reasons = [*reasons, Reason(code="remnants used", where=product.id, text=text)]
    scale = STEPS_PER_MM if flat else STEPS_PER_MM**2
    return CutPlan(
        product=product.id, form=product.form, status=status, value=float(fresh + fixed), bound=float(bound + fixed),  # type: ignore[arg-type]
        stock=finished, used_area=snap(used / scale), offcut_area=snap(offcut / scale), kerf_area=snap(dust / scale),
        scrap_area=snap(scrap / scale),
        waste_area=snap((total - used) / scale), waste_share=snap((total - used) / total, 0.0001) if total else 0.0,
        reasons=reasons, cost=float(cost), cost_bound=float(cost_bound),
        stopped_by=limits if status == "feasible" else "",
    )  # fmt: skip
