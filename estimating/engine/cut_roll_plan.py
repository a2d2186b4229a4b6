"""Goods off a roll: what was cut already stays, remnants come next, the rest is drawn off new rolls."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from buildout.units.value import Reason
from estimating.engine.cut_order import free_rectangles
from estimating.engine.cut_parts import STEPS_PER_MM, Wanted, finished, keeps, missing, mm, steps, too_large
from estimating.engine.cut_rests import Rest, cuts_made
from estimating.engine.cut_rolls import Level, cut_rolls, fill_length
from estimating.engine.limits import Work
from estimating.engine.types import CutDemand, CutPiece, CutPlan, CutStock, MadeCut, Product, Remnant

Wish = tuple[CutDemand, tuple[int, int]]


class _Sum:
    """Areas in whole steps (pieces, offcuts, kerf, scrap) and the stock they lie in."""

    def __init__(self, product: Product) -> None:
        self.used = self.offcuts = self.dust = self.scrap = 0
        self.stock: list[CutStock] = []
        self.kerf = steps(product.kerf.mm) if product.kerf else 0
        self.keep = (steps(keeps(product)[0]), steps(keeps(product)[1]))

    def cut(self, levels: Sequence[Level], wishes: Sequence[Wish], start: int) -> list[CutPiece]:
        """Pieces of levels cut one after another from ``start``."""
        pieces = []
        at = start
        for level in levels:
            for blank in level.blanks:
                demand, (a, b) = wishes[blank.piece]
                pieces.append(
                    CutPiece(piece=demand.piece, x=mm(at + blank.x), y=mm(blank.y), length=mm(a), width=mm(b))
                )
            at += level.length + self.kerf
        return pieces


def roll_plan(
    product: Product,
    need: Wanted,
    remnants: Sequence[Remnant] = (),
    made: Sequence[MadeCut] = (),
    work: Work | None = None,
) -> CutPlan:
    """Cut a product's blanks from remnants first and then from rolls; ``made`` is kept as it was cut.

    ``value`` is the length drawn off new rolls, what was cut from new ones already counted in. No plan can draw less
    than ``bound``: what all blanks still wanted need, less what remnants and left-overs are long.
    """
    if product.width is None:
        return missing(product, "roll", "goods width")
    width = steps(product.width.mm)
    trim = steps(product.trim.mm) if product.trim else 0
    roll = steps(product.length.mm) - 2 * trim if product.length else None
    work = work or Work()
    total = _Sum(product)
    wishes: list[Wish] = [(d, (steps(d.length), steps(d.width))) for d in need.pieces]
    cut = cuts_made(product, made, wishes)
    wishes = cut.wanted
    total.used, total.dust, total.scrap = cut.used, cut.dust, cut.scrap
    total.stock += cut.stock
    large = [w for w in wishes if w[1][1] > width or (roll is not None and w[1][0] > roll)]
    wishes = [w for w in wishes if w not in large]
    lying: list[tuple[str, int, int, Rest | None]] = [(r.name, *r.size, r) for r in cut.rests]
    gone = {m.remnant for m in made}
    for r in sorted(remnants, key=lambda r: (r.length.mm, r.id)):
        if r.id not in gone and r.length.mm > 0:
            lying.append((r.id, steps(r.length.mm), steps(r.width.mm) if r.width is not None else width, None))
    whole = cut_rolls([size for _, size in wishes], width, roll=roll, kerf=total.kerf).bound if lying else 0
    spared = taken = 0
    for name, long, across, rest in lying:
        spared += long + total.kerf
        fit = fill_length([size for _, size in wishes], long, across, total.kerf, work)
        if fit is None:
            if rest is not None:
                total.offcuts += long * across
                _kept_in(total.stock, rest)
            continue
        levels, inside = fit
        taken += 1
        pieces = total.cut(levels, wishes, 0)
        wishes = [w for k, w in enumerate(wishes) if k not in inside]
        run = sum(level.length for level in levels) + total.kerf * len(levels)
        _stock(total, pieces, long, across, min(run, long), long, name, rest)
    plan = cut_rolls([size for _, size in wishes], width, roll=roll, kerf=total.kerf, work=work)
    for levels in plan.rolls:
        run = sum(level.length + total.kerf for level in levels) + 2 * trim
        pieces = total.cut(levels, wishes, trim)
        _stock(total, pieces, run, width, run, steps(product.length.mm) if product.length else run, "")
    ends = 2 * trim * plan.rolls_bound
    fixed = sum(steps(s.length) for s in cut.stock if s.source == "already cut")
    drawn = fixed + sum(steps(s.length) for s in total.stock if s.source == "new")
    least = fixed + max(plan.bound if not taken else 0, whole - spared) + ends
    area = sum(steps(s.length) * steps(s.width) for s in total.stock if not s.rest_of)
    if total.used + total.offcuts + total.dust + total.scrap != area:
        raise AssertionError(f"the cut plan of {product.id} does not add up to its stock")
    result = finished(
        product, "roll", value=mm(drawn), bound=mm(min(least, drawn)), stock=total.stock,
        areas=(total.used, total.offcuts, total.dust, total.scrap), scale=STEPS_PER_MM**2,
        large=too_large(product, [demand for demand, _ in large]), unit="mm", stopped=work.said(),
    )  # fmt: skip
    reasons = list(result.reasons)
    if taken:
        text = f"{product.name}: {taken} of what is in stock is used before anything new"
        reasons.append(Reason(code="remnants used", where=product.id, text=text))
    if roll is not None and plan.rolls:
        fewest = f"no plan could need fewer than {plan.rolls_bound}"
        how = "no plan needs fewer" if len(plan.rolls) == plan.rolls_bound and not taken else fewest
        text = f"{product.name}: {len(plan.rolls)} new rolls are cut into; {how}"
        reasons.append(Reason(code="rolls needed", where=product.id, text=text))
    return msgspec.structs.replace(result, reasons=reasons)


def _stock(
    total: _Sum, pieces: list[CutPiece], length: int, width: int, run: int, whole: int, taken: str,
    rest: Rest | None = None,
) -> None:  # fmt: skip
    """Add a run of roll, or a remnant, with what is worth keeping of it, and count what it comes to.

    Strips beside blanks are kept too; what is left of a roll lies behind its run and is in no area.
    """
    number = len(total.stock) + 1
    free = free_rectangles(mm(length), mm(width), pieces, mm(total.kerf), first="crosscut")
    used = sum(steps(p.length) * steps(p.width) for p in pieces)
    spare = sum(steps(a) * steps(b) for _, _, a, b in free)
    total.used += used
    total.dust += length * width - used - spare
    total.scrap += spare
    short, long = total.keep
    kept: list[CutPiece] = []
    for x, y, a, b in sorted(free, key=lambda f: (-f[2] * f[3], f)):
        if max(steps(a), steps(b)) >= long and min(steps(a), steps(b)) >= short:
            kept.append(CutPiece(piece=f"offcut {number}.{len(kept) + 1}", x=x, y=y, length=a, width=b))
            total.offcuts += steps(a) * steps(b)
            total.scrap -= steps(a) * steps(b)
    if not taken and whole - run >= long:  # not drawn off the roll
        kept.append(CutPiece(piece=f"rest of roll {number}", x=mm(run), y=0.0, length=mm(whole - run), width=mm(width)))
    total.stock.append(
        CutStock(
            number=number, length=mm(length), width=mm(width), pieces=pieces, offcuts=kept,
            source="remnant" if taken else "new", taken=taken, rest_of=rest.cut if rest else "",
            at=rest.place if rest else (0.0, 0.0),
        )
    )  # fmt: skip


def _kept_in(stock: list[CutStock], rest: Rest) -> None:
    """Book a left-over of stock cut already as kept."""
    place = next(k for k, one in enumerate(stock) if one.source.endswith("already cut") and one.taken == rest.cut)
    stock[place] = msgspec.structs.replace(stock[place], offcuts=[*stock[place].offcuts, rest.piece()])
