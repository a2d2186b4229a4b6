"""In which order stock is cut, found from where the pieces lie: every cut runs right across the part in hand.

Finding the order is at the same time the proof that the plan can be cut edge to edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from estimating.engine.types import CutPiece, SawCut

NEAR = 0.001
"""mm; places closer than this are the same."""
HAIR = 25.4 / 32
"""mm; half a sixteenth of an inch, the finest mark of a tape. Less than this can be neither marked nor sawn off, so a
piece this much short of what it is cut from is left as large as that. Common practice, no published source."""
Rect = tuple[float, float, float, float]
"""Where it lies along and across, its length and width, mm."""


@dataclass(frozen=True)
class _Part:
    x: float
    y: float
    length: float
    width: float
    pieces: tuple[int, ...]


def cutting_order(
    length: float, width: float, pieces: Sequence[CutPiece], *, first: Literal["rip", "crosscut"], kerf: float = 0.0
) -> tuple[list[CutPiece], list[SawCut]]:
    """Pieces numbered as they come off, and the cuts. ``first``: which way the stock is divided first, if it can be.

    Raises ValueError where the pieces cannot be parted by cuts that run right across.

    >>> made = [CutPiece(piece="a", x=0, y=0, length=60, width=40), CutPiece(piece="b", x=0, y=40, length=100, width=8)]
    >>> [(c.kind, c.a, c.b, c.frees) for c in cutting_order(100, 48, made, first="rip")[1]]
    [('rip', (0, 40), (100, 40), ['b']), ('crosscut', (60, 0), (60, 40), ['a'])]
    """
    cuts: list[SawCut] = []
    order: list[int] = []
    waiting = [(_Part(0, 0, length, width, tuple(range(len(pieces)))), first)]
    while waiting:
        part, way = waiting.pop(0)
        done = _finished(part, pieces)
        if done is not None:
            if done not in order:
                order.append(done)
            continue
        if not part.pieces:
            continue
        kind, groups = _first_cut(part, pieces, way, kerf)
        subs, marks, _ = _divided(part, groups, kind, kerf)
        for at, ready in marks:
            frees = [d for p in ready if (d := _finished(p, pieces)) is not None]
            order += [f for f in frees if f not in order]
            cuts.append(_cut(len(cuts) + 1, kind, part, at, [pieces[f].piece for f in frees]))
        waiting = [(sub, _other(kind)) for sub in subs] + waiting
    numbered = {index: place for place, index in enumerate(order, 1)}
    made = [
        CutPiece(
            piece=p.piece, x=p.x, y=p.y, length=p.length, width=p.width, turned=p.turned, number=numbered[i],
        )
        for i, p in enumerate(pieces)
    ]  # fmt: skip
    return sorted(made, key=lambda p: p.number), cuts


def _other(kind: Literal["rip", "crosscut"]) -> Literal["rip", "crosscut"]:
    return "crosscut" if kind == "rip" else "rip"


def _start(part: _Part, kind: str) -> float:
    return part.y if kind == "rip" else part.x


def _end(part: _Part, kind: str) -> float:
    return part.y + part.width if kind == "rip" else part.x + part.length


def _first_cut(
    part: _Part, pieces: Sequence[CutPiece], way: Literal["rip", "crosscut"], kerf: float
) -> tuple[Literal["rip", "crosscut"], list[tuple[float, float, list[int]]]]:
    """Which way a part is cut, ``way`` if it can be, and what it then falls into.

    The blade needs its kerf between pieces; only where no way leaves it that (as cut by another blade) less will do.
    """
    for gap in (kerf, 0.0):
        for kind in (way, _other(way)):
            groups = _groups(part, pieces, kind, gap)
            if len(groups) > 1 or _has_edges(part, groups, kind):
                return kind, groups
    raise ValueError(f"no straight cut parts {', '.join(pieces[i].piece for i in part.pieces)}")


def _groups(
    part: _Part, pieces: Sequence[CutPiece], kind: str, kerf: float
) -> list[tuple[float, float, list[int]]]:  # fmt: skip
    """Pieces that no cut of this kind can part, with the run they take up."""
    spans = sorted(
        (p.y, round(p.y + p.width, 3), i) if kind == "rip" else (p.x, round(p.x + p.length, 3), i)
        for i, p in ((i, pieces[i]) for i in part.pieces)
    )  # fmt: skip
    groups: list[tuple[float, float, list[int]]] = []
    for low, high, index in spans:
        if groups and low < groups[-1][1] + kerf - NEAR:
            groups[-1] = (groups[-1][0], max(groups[-1][1], high), [*groups[-1][2], index])
        else:
            groups.append((low, high, [index]))
    return groups


def _has_edges(part: _Part, groups: list[tuple[float, float, list[int]]], kind: str) -> bool:
    return bool(groups) and (groups[0][0] - _start(part, kind) >= HAIR or _end(part, kind) - groups[-1][1] >= HAIR)


def _divided(
    part: _Part, groups: list[tuple[float, float, list[int]]], kind: str, kerf: float
) -> tuple[list[_Part], list[tuple[float, list[_Part]]], list[_Part]]:
    """A part as cuts of one kind divide it: one part for every group, the cuts with what each frees, and the gaps.

    What would have to come off is left on where it is less than a hair.
    """
    subs: list[_Part] = []
    marks: list[tuple[float, list[_Part]]] = []
    gaps: list[_Part] = []
    at, end = _start(part, kind), _end(part, kind)

    def gap(low: float, high: float) -> None:
        if high > low + NEAR:
            gaps.append(_sub(part, (round(low, 3), round(high, 3), []), kind))

    for number, (low, high, members) in enumerate(groups):
        begin = min(at, low)
        if low - at >= HAIR:
            marks.append((low, []))
            gap(at, low - kerf)
            begin = low
        last = number == len(groups) - 1 and end - high < HAIR
        subs.append(_sub(part, (begin, end if last else high, members), kind))
        if last:  # what reaches the far edge is free with the last cut before it
            marks[-1][1].append(subs[number])
        else:
            marks.append((high, [subs[number]]))
            at = round(high + kerf, 3)
            if number == len(groups) - 1:
                gap(at, end)
    return subs, marks, gaps


def _sub(part: _Part, group: tuple[float, float, list[int]], kind: str) -> _Part:
    low, high, members = group
    across = round(high - low, 3)
    if kind == "rip":
        return _Part(part.x, low, part.length, across, tuple(members))
    return _Part(low, part.y, across, part.width, tuple(members))


def _finished(part: _Part, pieces: Sequence[CutPiece]) -> int | None:
    if len(part.pieces) != 1:
        return None
    return part.pieces[0] if all(more < HAIR for more in _over(part, pieces[part.pieces[0]])) else None


def _over(part: _Part, piece: CutPiece) -> tuple[float, float, float, float]:
    """By how much a part is larger than the piece in it: at its left, right, lower and upper side."""
    left, low = piece.x - part.x, piece.y - part.y
    return left, part.length - piece.length - left, low, part.width - piece.width - low


def _cut(number: int, kind: Literal["rip", "crosscut"], part: _Part, at: float, frees: list[str]) -> SawCut:
    if kind == "rip":
        return SawCut(number=number, kind=kind, a=(part.x, at), b=(round(part.x + part.length, 3), at), frees=frees)
    return SawCut(number=number, kind=kind, a=(at, part.y), b=(at, round(part.y + part.width, 3)), frees=frees)


def worked_for(
    length: float, width: float, pieces: Sequence[CutPiece], cuts: Sequence[SawCut]
) -> list[tuple[list[int], list[int]]]:
    """What each cut is for: numbers of the pieces it frees, and of those still together in the part it takes off.

    ``pieces`` and ``cuts`` as ``cutting_order`` gives them. Both lists are empty where only an edge comes off.

    >>> made = [CutPiece(piece=n, x=x, y=5, length=30, width=20) for n, x in (("a", 0), ("b", 30))]
    >>> worked_for(100, 48, *cutting_order(100, 48, made, first="rip"))
    [([], []), ([], [1, 2]), ([1], []), ([2], [])]
    """
    parts = [(0.0, 0.0, length, width)]
    found: list[tuple[list[int], list[int]]] = []
    done = 0
    for cut in cuts:
        frees = list(range(done + 1, done + len(cut.frees) + 1))
        done += len(frees)
        mid = ((cut.a[0] + cut.b[0]) / 2, (cut.a[1] + cut.b[1]) / 2)
        x, y, long, across = here = next(part for part in parts if _holds(part, mid))
        parts.remove(here)
        if cut.kind == "rip":
            near, far = (x, y, long, mid[1] - y), (x, mid[1], long, y + across - mid[1])
        else:
            near, far = (x, y, mid[0] - x, across), (mid[0], y, x + long - mid[0], across)
        parts += [near, far]
        off = [p.number for p in pieces if p.number > done and _holds(near, (p.x + p.length / 2, p.y + p.width / 2))]
        found.append((frees, sorted(off)))
    return found


def _holds(part: Rect, at: tuple[float, float]) -> bool:
    x, y, long, across = part
    return x <= at[0] <= x + long and y <= at[1] <= y + across


def free_rectangles(
    length: float, width: float, pieces: Sequence[CutPiece], kerf: float, *, first: Literal["rip", "crosscut"]
) -> list[Rect]:
    """What is left when the stock has been cut: (x, y, length, width), the saw's dust taken off.

    Hairs that stay on pieces are among it, none of them worth keeping.

    >>> free_rectangles(96, 48, [CutPiece(piece="a", x=0, y=0, length=60, width=40)], 1, first="rip")
    [(0, 41, 96, 7), (61, 0, 35, 40)]
    """
    found: list[Rect] = []
    waiting = [(_Part(0, 0, length, width, tuple(range(len(pieces)))), first)]
    while waiting:
        part, way = waiting.pop(0)
        if not part.pieces:
            found.append((part.x, part.y, part.length, part.width))
            continue
        done = _finished(part, pieces)
        if done is not None:
            found += _hairs(part, pieces[done])
            continue
        kind, groups = _first_cut(part, pieces, way, kerf)
        subs, _, gaps = _divided(part, groups, kind, kerf)
        found += [(gap.x, gap.y, gap.length, gap.width) for gap in gaps]
        waiting = [(sub, _other(kind)) for sub in subs] + waiting
    return found


def _hairs(part: _Part, piece: CutPiece) -> list[Rect]:
    left, right, low, high = _over(part, piece)
    strips = (
        (part.x, part.y, left, part.width), (piece.x + piece.length, part.y, right, part.width),
        (piece.x, part.y, piece.length, low), (piece.x, piece.y + piece.width, piece.length, high),
    )  # fmt: skip
    return [(round(x, 3), round(y, 3), round(a, 3), round(b, 3)) for x, y, a, b in strips if min(a, b) > NEAR]
