"""What was cut already: which of its pieces still serve, and what is left of it to cut on from, where it lies.

A left-over is a rectangle as the saw left it: its pieces' neighbours, or a piece that nobody wants any more. A later
cut can be made from one; it then names the cut it comes from and where in it its corner lies, and every square
millimetre is counted once: as a piece, as a left-over, as dust or as scrap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from estimating.engine.cut_order import HAIR, Rect
from estimating.engine.cut_parts import FirstCuts, keeps, mm, steps
from estimating.engine.types import CutDemand, CutPiece, CutStock, MadeCut, Product

Box = tuple[int, int]
Corner = tuple[int, int]


@dataclass(frozen=True)
class Rest:
    """A left-over of a cut that was made, in whole steps, from the lower left corner of what was cut."""

    cut: str
    number: int
    at: Corner
    size: Box

    @property
    def name(self) -> str:
        return f"{self.cut} rest {self.number}"

    @property
    def place(self) -> tuple[float, float]:
        return mm(self.at[0]), mm(self.at[1])

    def piece(self) -> CutPiece:
        """Itself as something kept, drawn where it lies."""
        return CutPiece(piece=self.name, x=mm(self.at[0]), y=mm(self.at[1]), length=mm(self.size[0]),
                        width=mm(self.size[1]))  # fmt: skip


@dataclass
class Made:
    """Areas in whole steps. Those of stock cut from a left-over are counted in the stock that it is a part of."""

    stock: list[CutStock] = field(default_factory=list)
    """As it was cut, with the pieces that are still wanted."""
    wanted: list[tuple[CutDemand, Box]] = field(default_factory=list)
    """What is to be cut besides."""
    rests: list[Rest] = field(default_factory=list)
    """Worth keeping, and nothing has been cut from them."""
    area: int = 0
    used: int = 0
    dust: int = 0
    scrap: int = 0


def cuts_made(
    product: Product, cuts: Sequence[MadeCut], wanted: Sequence[tuple[CutDemand, Box]], width: int | None = None
) -> Made:
    """Pieces of ``cuts`` that are still wanted are taken, the rest of what was cut is stock again.

    ``width``: of lengths, in steps, whatever width is written on them. The area of what was cut is the sum of pieces
    used, left-overs, dust and scrap.
    """
    found = Made(wanted=list(wanted))
    nested = _nested(product, cuts, width)
    for number, one in enumerate(cuts, 1):
        pieces = [_laid(piece, width) for piece in one.pieces]
        across = mm(width) if width else one.width
        area = steps(one.length) * steps(across)
        parent = nested.get(one.id)
        gone = [(_corner(child.at), _size(child, width)) for child in cuts if nested.get(child.id) == one.id]
        kept: list[CutPiece] = []
        free: list[tuple[Corner, Box]] = []
        for piece in pieces:
            rect = (_corner((piece.x, piece.y)), (steps(piece.length), steps(piece.width)))
            match = None if any(_inside(c, rect) for c in gone) else _asked(found.wanted, piece, rect[1])
            if match is None:
                free.append(rect)
            else:
                del found.wanted[match]
                kept.append(piece)
        here = sum(steps(p.length) * steps(p.width) for p in kept)
        inside = sum(a * b for _, (a, b) in free)
        try:
            left = _left(product, one.length, across, pieces)
        except ValueError:  # as cut on site, not edge to edge: what is left besides its pieces cannot be told
            dust = 0
        else:
            gaps = [((steps(x), steps(y)), (steps(a), steps(b))) for x, y, a, b in left]
            dust = max(0, area - here - inside - sum(a * b for _, (a, b) in gaps))
            free += gaps
        rests = [rect for rect in free if _worth(product, rect[1]) and not any(_inside(c, rect) for c in gone)]
        kept_rests = [Rest(one.id, n, *rect) for n, rect in enumerate(rests, 1)]
        found.stock.append(
            CutStock(
                number=number, length=one.length, width=across, pieces=kept, offcuts=[], taken=one.id,
                source="remnant already cut" if one.remnant or parent else "already cut",
                product="" if one.sold_as == product.id else one.sold_as, rest_of=parent or "",
                at=one.at if parent else (0.0, 0.0),
            )
        )  # fmt: skip
        found.rests += kept_rests
        found.area += 0 if parent else area
        found.used += here
        found.dust += dust
        found.scrap += area - here - dust - sum(a * b for _, (a, b) in gone)
        found.scrap -= sum(r.size[0] * r.size[1] for r in kept_rests)
    return found


def bought_as(plan_stock: Sequence[CutStock], one: CutStock) -> CutStock | None:
    """The new stock that a piece of stock is, or was cut from; None where it comes from what lay in store."""
    by_name = {stock.taken: stock for stock in plan_stock if stock.source.endswith("already cut")}
    here: CutStock | None = one
    while here is not None and here.rest_of:
        here = by_name.get(here.rest_of)
    return here if here is not None and here.source in ("new", "already cut") else None


def _nested(product: Product, cuts: Sequence[MadeCut], width: int | None) -> dict[str, str]:
    """Cut by cut the earlier one whose left-over it lies in; one that lies in none counts as stock of its own."""
    found: dict[str, str] = {}
    spots: dict[str, list[tuple[Corner, Box]]] = {}
    for one in cuts:
        pieces = [_laid(piece, width) for piece in one.pieces]
        here = [(_corner((p.x, p.y)), (steps(p.length), steps(p.width))) for p in pieces]
        try:
            left = _left(product, one.length, mm(width) if width else one.width, pieces)
        except ValueError:
            left = []
        here += [((steps(x), steps(y)), (steps(a), steps(b))) for x, y, a, b in left]
        if one.rest_of and not one.remnant:
            rect = (_corner(one.at), _size(one, width))
            spot = next((s for s in spots.get(one.rest_of, []) if _inside(rect, s)), None)
            if spot is not None:
                found[one.id] = one.rest_of
                spots[one.rest_of].remove(spot)
        spots.setdefault(one.id, here)
    return found


def _left(product: Product, length: float, width: float, pieces: Sequence[CutPiece]) -> list[Rect]:
    return FirstCuts(product)(mm(steps(length)), width, pieces)[1]


def _laid(piece: CutPiece, width: int | None) -> CutPiece:
    return CutPiece(
        piece=piece.piece, x=mm(steps(piece.x)), y=0.0 if width else mm(steps(piece.y)), length=mm(steps(piece.length)),
        width=mm(width) if width else mm(steps(piece.width)), turned=piece.turned,
    )  # fmt: skip


def _size(cut: MadeCut, width: int | None) -> Box:
    return steps(cut.length), width or steps(cut.width)


def _corner(at: tuple[float, float]) -> Corner:
    return steps(at[0]), steps(at[1])


def _inside(inner: tuple[Corner, Box], outer: tuple[Corner, Box]) -> bool:
    return all(
        outer[0][k] <= inner[0][k] and inner[0][k] + inner[1][k] <= outer[0][k] + outer[1][k] for k in (0, 1)
    )  # fmt: skip


def _asked(wanted: Sequence[tuple[CutDemand, Box]], piece: CutPiece, size: Box) -> int | None:
    """Which of ``wanted`` this piece is: of its name, and of its size to within what a saw could take off."""
    return next(
        (
            k for k, (d, s) in enumerate(wanted)
            if d.piece == piece.piece
            and all(abs(a - b) < steps(HAIR) for a, b in zip(sorted(s), sorted(size), strict=True))
        ),
        None,
    )  # fmt: skip


def _worth(product: Product, size: Box) -> bool:
    short, long = (steps(k) for k in keeps(product))
    return max(size) >= long and min(size) >= short
