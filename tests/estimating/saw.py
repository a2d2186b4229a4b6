"""A saw on paper: carries a plan's cuts out one by one, by the rules of cutting alone, and keeps every chip.

Nothing of the cut plans' own code is used. Rules: a cut runs right across the part in hand; the blade takes its kerf
beside the line, on the side where no piece is wanted; what is then a piece is free, what is left over is a rectangle.
Nobody can saw off less than a hair, 1/32 in: a part that is so little larger than its piece is that piece.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from decimal import Decimal

from estimating.engine.types import CutPiece, CutStock, SawCut

Rect = tuple[int, int, int, int]
"""x, y, length, width in tenths of a millimetre."""
HAIR = 8
"""Tenths of a millimetre: the first of them not below 25.4 / 32 mm = 0.794 mm."""


def tenths(value: float) -> int:
    """Tenths of a millimetre; a place between two of them is an error of the plan."""
    count = Decimal(str(value)) * 10
    assert count == count.to_integral_value(), f"{value} mm lies between two steps"
    return int(count)


def rect(piece: CutPiece, *, flat: bool = False) -> Rect:
    return tenths(piece.x), tenths(piece.y), tenths(piece.length), 1 if flat else tenths(piece.width)


@dataclass(frozen=True)
class Sawn:
    """What one stock came to."""

    dust: int
    """Area the blade took, hundredths of a mm²."""
    left: list[Rect]
    """Parts with no piece in them."""
    over: int
    """Area of hairs left on pieces."""
    ways: dict[str, tuple[str, ...]]
    """Rip, crosscut, rip … until a piece was free, each turn of the saw once, piece by piece."""
    stacked: int
    """Rips within a part already crosscut that hold more than one piece: not what a saw on a track does."""


@dataclass(frozen=True)
class _Part:
    rect: Rect
    ways: tuple[str, ...] = ()


def saw(stock: CutStock, kerf: float, *, flat: bool = False) -> Sawn:
    """Carry out ``stock.cuts``; fails where a cut cannot be made, hits a piece, or frees other pieces than it says."""
    blade = tenths(kerf)
    wanted = {id(piece): (piece.piece, rect(piece, flat=flat)) for piece in stock.pieces}
    parts = [_Part((0, 0, tenths(stock.length), 1 if flat else tenths(stock.width)))]
    dust = stacked = 0
    ways: dict[str, tuple[str, ...]] = {}
    order: list[str] = []
    assert [cut.number for cut in stock.cuts] == list(range(1, len(stock.cuts) + 1))
    for cut in stock.cuts:
        part = _in_hand(parts, cut, flat=flat)
        x, y, long, across = part.rect
        rip = cut.kind == "rip"
        at = tenths(cut.a[1] if rip else cut.a[0])
        low, high = (y, y + across) if rip else (x, x + long)
        inside = [box for _, box in wanted.values() if _within(box, part.rect)]
        assert not (len(inside) == 1 and _is(inside[0], part.rect)), f"cut {cut.number} takes off a hair"
        spans = [(v, v + b) if rip else (u, u + a) for u, v, a, b in inside]
        for near, far in ((at, min(at + blade, high)), (max(at - blade, low), at)):
            if not any(a < far and near < b for a, b in spans) and not any(a < at < b for a, b in spans):
                break
        else:
            raise AssertionError(f"cut {cut.number} goes through a piece")
        sides = [(low, near), (far, high)]
        new = [
            (x, a, long, b - a) if rip else (a, y, b - a, across) for a, b in sides if b > a
        ]  # fmt: skip
        dust += (far - near) * (long if rip else across)
        stacked += rip and "crosscut" in part.ways and len(inside) > 1
        way = part.ways if part.ways[-1:] == (cut.kind,) else (*part.ways, cut.kind)
        parts.remove(part)
        parts += [_Part(one, way) for one in new]
        freed = [name for name, box in wanted.values() if any(_is(box, one) for one in new)]
        assert Counter(freed) == Counter(cut.frees), f"cut {cut.number} frees {freed}, the plan says {cut.frees}"
        ways |= dict.fromkeys(freed, way)
        order += cut.frees
    boxes = [box for _, box in wanted.values()]
    left = [part.rect for part in parts]
    over = 0
    for box in boxes:
        own = next((one for one in left if _is(box, one)), None)
        assert own is not None, "a piece was not cut out"
        left.remove(own)
        over += own[2] * own[3] - box[2] * box[3]
    assert not any(meet(box, one) for box in boxes for one in left)
    if order:
        numbered = sorted(stock.pieces, key=lambda p: p.number)
        assert [p.piece for p in numbered] == order, "pieces are not numbered as they come off"
    total = sum(part.rect[2] * part.rect[3] for part in parts) + dust
    assert total == tenths(stock.length) * (1 if flat else tenths(stock.width))
    return Sawn(dust, left, over, ways, stacked)


def _in_hand(parts: list[_Part], cut: SawCut, *, flat: bool) -> _Part:
    """The part that the cut runs right across."""
    (ax, ay), (bx, by) = cut.a, cut.b
    found = []
    for part in parts:
        x, y, long, across = part.rect
        if cut.kind == "rip":
            if ay == by and (tenths(ax), tenths(bx)) == (x, x + long) and y < tenths(ay) < y + across:
                found.append(part)
        elif ax == bx and x < tenths(ax) < x + long and (flat or (tenths(ay), tenths(by)) == (y, y + across)):
            found.append(part)
    assert len(found) == 1, f"cut {cut.number} runs right across {len(found)} parts"
    return found[0]


def _is(box: Rect, part: Rect) -> bool:
    """Whether a part is a piece: it holds it, and is larger by less than a hair on any side."""
    (x, y, a, b), (u, v, c, d) = box, part
    return all(0 <= more < HAIR for more in (x - u, u + c - x - a, y - v, v + d - y - b))


def _within(inner: Rect, outer: Rect) -> bool:
    (x, y, a, b), (u, v, c, d) = inner, outer
    return u <= x and x + a <= u + c and v <= y and y + b <= v + d


def meet(one: Rect, two: Rect) -> bool:
    (x, y, a, b), (u, v, c, d) = one, two
    return x < u + c and u < x + a and y < v + d and v < y + b
