"""Cutting rectangles from sheets with edge-to-edge (guillotine) cuts.

Sizes are whole numbers in one unit of the caller's choice (the cut plans use 0.1 mm). A saw cut turns ``kerf``
to dust; cutting x into a and b means a + kerf + b = x, the same as (a+kerf) + (b+kerf) = x + kerf, so with
every size raised by one kerf the cut has no width.

Plans come from first-fit and best-fit over many orders, and from patterns chosen by column generation;
the better one is kept. The bound comes from the same patterns: the best single sheet is found by Beasley's
dynamic programme (J. Oper. Res. Soc. 36, 1985, 297-306), the bound by Farley (Oper. Res. 38, 1990).
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any

from estimating.engine.linear import Master, cover

PRICE_SCALE = 1 << 24
MOST_POINTS = 300
BOUND_POINTS = 150
"""Cut positions per side in the dynamic programme; above it, sizes are rounded to a coarser grid."""
PATTERN_WORK = 100_000_000
"""Cut positions looked at in column generation before it stops with what it has."""
FITTING_WORK = 700_000
"""Tries of a piece in a free rectangle before the fitting stops looking for a better order."""
MIXED_ORDERS = 300
SEED = 7


@dataclass(frozen=True)
class Placed:
    """A piece on a sheet: which, where its lower left corner lies, and its sides as placed."""

    piece: int
    x: int
    y: int
    length: int
    width: int
    turned: bool


@dataclass
class Sheet:
    pieces: list[Placed] = field(default_factory=list)
    free: list[tuple[int, int, int, int]] = field(default_factory=list)
    """Left-over rectangles (x, y, length, width)."""
    kerf_area: int = 0


@dataclass(frozen=True)
class SheetPlan:
    sheets: list[Sheet]
    bound: int
    too_big: list[int]
    """Indices of pieces that fit no sheet; they are on none."""

    @property
    def proven(self) -> bool:
        return not self.too_big and len(self.sheets) == self.bound


Cut = tuple[str, int, Any, Any]
"""How a plate is divided: ("x" or "y", position of the cut, first part, second part)."""


def cut_sheets(
    pieces: Sequence[tuple[int, int]], sheet: tuple[int, int], *, kerf: int = 0, turns: bool = True
) -> SheetPlan:
    """Cut every piece (length, width) from as few sheets as can be found.

    ``sheet`` is the usable size, edges already trimmed. ``turns``: pieces may be turned by 90°; False keeps
    a piece's length along the sheet's length (grain, nap). Raises ValueError for sizes below 1.

    >>> plan = cut_sheets([(72, 48)] * 3 + [(24, 48)] * 3, (96, 48))
    >>> len(plan.sheets), plan.bound
    (3, 3)
    """
    if min(sheet) < 1 or kerf < 0 or any(min(piece) < 1 for piece in pieces):
        raise ValueError("sizes must be at least 1 and the kerf at least 0")
    too_big = [i for i, piece in enumerate(pieces) if not _ways(piece, sheet, turns)]
    fits = [i for i in range(len(pieces)) if i not in set(too_big)]
    if not fits:
        return SheetPlan([], 0, too_big)
    area = -(
        -sum((pieces[i][0] + kerf) * (pieces[i][1] + kerf) for i in fits) // ((sheet[0] + kerf) * (sheet[1] + kerf))
    )
    bound = max(area, _alone(pieces, fits, sheet, kerf, turns))
    sheets = _fit_all(pieces, fits, sheet, kerf, turns, bound)
    if bound < len(sheets):
        sheets, bound = _by_patterns(pieces, fits, sheet, kerf, turns, sheets, bound)
    if bound > len(sheets):
        raise AssertionError("the bound lies above the plan")
    return SheetPlan(sheets, bound, too_big)


def _ways(piece: tuple[int, int], room: tuple[int, int], turns: bool) -> list[tuple[int, int, bool]]:
    """Ways a piece fits a rectangle, as (length, width, turned)."""
    length, width = piece
    ways = []
    if length <= room[0] and width <= room[1]:
        ways.append((length, width, False))
    if turns and length != width and width <= room[0] and length <= room[1]:
        ways.append((width, length, True))
    return ways


def _alone(pieces: Sequence[tuple[int, int]], fits: list[int], sheet: tuple[int, int], kerf: int, turns: bool) -> int:
    """How many pieces can share a sheet with none of the others counted here."""
    long, short = sheet
    count = 0
    for i in fits:
        sizes = [(a, b) for a, b, _ in _ways(pieces[i], sheet, turns)]
        # Two such pieces fit neither end to end nor side by side, whichever way they lie.
        count += all(2 * a + kerf > long and 2 * b + kerf > short for a, b in sizes)
    return count


# ---------------------------------------------------------------- fitting one piece after another


def _fit_all(
    pieces: Sequence[tuple[int, int]], fits: list[int], sheet: tuple[int, int], kerf: int, turns: bool, bound: int
) -> list[Sheet]:
    keys: list[Callable[[int], tuple[int, ...]]] = [
        lambda i: (-pieces[i][0] * pieces[i][1], -max(pieces[i])),
        lambda i: (-pieces[i][0], -pieces[i][1]),
        lambda i: (-pieces[i][1], -pieces[i][0]),
        lambda i: (-max(pieces[i]), -min(pieces[i])),
        lambda i: (-min(pieces[i]), -max(pieces[i])),
    ]
    best: list[Sheet] | None = None
    work = 0
    for key, choose, divide in product(keys, ("first", "short", "area"), ("short", "long", "area")):
        order = sorted(fits, key=lambda i, key=key: (key(i), i))  # type: ignore[misc]
        found, tries = _fit(pieces, order, sheet, kerf, turns, choose, divide)
        work += tries
        if best is None or _rank(found) < _rank(best):
            best = found
        if len(best) <= bound or work > FITTING_WORK:
            return best
    draw = random.Random(SEED)  # noqa: S311  # repeatable search, no secret
    for _ in range(MIXED_ORDERS):
        if best is None or work > FITTING_WORK:
            break
        jitter = {i: (1.0 + 0.35 * (draw.random() - 0.5)) for i in fits}
        mixed = sorted(fits, key=lambda i: (-pieces[i][0] * pieces[i][1] * jitter[i], i))
        choose = ("first", "short", "area")[int(draw.random() * 3)]
        divide = ("short", "long", "area")[int(draw.random() * 3)]
        found, tries = _fit(pieces, mixed, sheet, kerf, turns, choose, divide)
        work += tries
        if _rank(found) < _rank(best):
            best = found
        if len(best) <= bound:
            break
    return best or []


def _rank(sheets: list[Sheet]) -> tuple[int, int]:
    """Fewer sheets first, then the largest single left-over."""
    return len(sheets), -max((length * width for s in sheets for _, _, length, width in s.free), default=0)


def _fit(
    pieces: Sequence[tuple[int, int]],
    order: list[int],
    sheet: tuple[int, int],
    kerf: int,
    turns: bool,
    choose: str,
    divide: str,
) -> tuple[list[Sheet], int]:
    sheets: list[Sheet] = []
    tries = 0
    for i in order:
        best: tuple[tuple[int, ...], int, int, tuple[int, int, bool]] | None = None
        for number, opened in enumerate(sheets):
            for spot, (_, _, length, width) in enumerate(opened.free):
                tries += 1
                for way in _ways(pieces[i], (length, width), turns):
                    spare = sorted((length - way[0], width - way[1]))
                    score = (
                        (spare[0], spare[1])
                        if choose == "short"
                        else (length * width - way[0] * way[1], spare[0])
                        if choose == "area"
                        else (0, 0)
                    )
                    rank = (*score, number, spot, int(way[2]))
                    if best is None or rank < best[0]:
                        best = (rank, number, spot, way)
            if choose == "first" and best is not None:
                break
        if best is None:
            sheets.append(Sheet(free=[(0, 0, *sheet)]))
            way = min(_ways(pieces[i], sheet, turns), key=lambda w: (min(sheet[0] - w[0], sheet[1] - w[1]), w[2]))
            best = ((), len(sheets) - 1, 0, way)
        _, number, spot, way = best
        _place(sheets[number], spot, i, way, kerf, divide)
    return sheets, tries


def _place(sheet: Sheet, spot: int, piece: int, way: tuple[int, int, bool], kerf: int, divide: str) -> None:
    """Put a piece in the corner of a free rectangle and cut the rest in two."""
    x, y, length, width = sheet.free.pop(spot)
    a, b, turned = way
    sheet.pieces.append(Placed(piece, x, y, a, b, turned))
    right, above = length - a, width - b
    if divide == "area":
        across = max((right - kerf) * width, a * (above - kerf)) >= max(length * (above - kerf), (right - kerf) * b)
    else:
        across = (right <= above) == (divide == "short")
    if across:  # first cut across the whole width, beside the piece
        sheet.kerf_area += min(kerf, right) * width + min(kerf, above) * a
        rest = [(x + a + kerf, y, right - kerf, width), (x, y + b + kerf, a, above - kerf)]
    else:  # first cut along the whole length, above the piece
        sheet.kerf_area += min(kerf, above) * length + min(kerf, right) * b
        rest = [(x, y + b + kerf, length, above - kerf), (x + a + kerf, y, right - kerf, b)]
    sheet.free += [r for r in rest if r[2] > 0 and r[3] > 0]


# ---------------------------------------------------------------- the best single sheet


class BestSheet:
    """Beasley's dynamic programme over the positions where a cut can matter.

    One sheet, any number of each kind. Sizes have the kerf added and are constant between calls;
    only the prices change. ``limit``: most positions per side; when the sizes give more, they are counted
    in steps of ``coarse``. Pieces rounded down keep every true pattern possible, so the value is a bound but
    the pattern need not be cuttable; rounded ``up`` every pattern found can be cut, but better ones may exist.
    """

    def __init__(
        self,
        kinds: Sequence[tuple[int, int]],
        sheet: tuple[int, int],
        *,
        turns: bool,
        limit: int = 3_000,
        up: bool = False,
    ) -> None:
        import numpy as np

        coarse = 1
        while True:
            sizes = [
                (-(-a // coarse), -(-b // coarse)) if up else (max(1, a // coarse), max(1, b // coarse))
                for a, b in kinds
            ]
            room = (sheet[0] // coarse, sheet[1] // coarse)
            laid = [(k, a, b) for k, (a, b) in enumerate(sizes) if a <= room[0] and b <= room[1]]
            if turns:
                laid += [(k, b, a) for k, (a, b) in enumerate(sizes) if a != b and b <= room[0] and a <= room[1]]
            xs = _points({a for _, a, _ in laid}, room[0])
            ys = _points({b for _, _, b in laid}, room[1])
            if max(len(xs), len(ys)) <= limit:
                break
            coarse = max(coarse + 1, coarse * 5 // 4)
        self.exact = coarse == 1
        self.coarse = coarse
        self.work = len(xs) * len(ys) * (len(xs) + len(ys)) // 2
        self._laid, self._xs, self._ys = laid, np.array(xs), np.array(ys)
        self._step_x = min((a for _, a, _ in laid), default=1)
        self._step_y = min((b for _, _, b in laid), default=1)

    def solve(self, prices: Sequence[int]) -> tuple[int, dict[int, int], Cut | None]:
        """Highest value, how many of each kind, and the cuts."""
        import numpy as np

        xs, ys = self._xs, self._ys
        value = np.zeros((len(xs), len(ys)), dtype=np.int64)
        for kind, a, b in self._laid:
            corner = value[np.searchsorted(xs, a) :, np.searchsorted(ys, b) :]
            np.maximum(corner, prices[kind], out=corner)
        blocks_x, blocks_y = _blocks(xs.tolist(), self._step_x), _blocks(ys.tolist(), self._step_y)
        # A cut of x leaves parts of at least one step, so a block of positions narrower than a step depends
        # only on blocks before it; within a block-by-block sweep both cut directions see finished values.
        for (i0, i1), (j0, j1) in sorted(
            product(blocks_x, blocks_y), key=lambda pair: (pair[0][0] + pair[1][0], pair[0][0])
        ):
            target = value[i0:i1, j0:j1]
            for i in range(1, int(np.searchsorted(xs, xs[i1 - 1] // 2, side="right"))):
                other = np.searchsorted(xs, xs[i0:i1] - xs[i], side="right") - 1
                good = other >= i
                if good.any():
                    first = int(np.argmax(good))
                    np.maximum(
                        target[first:], value[i, j0:j1][None, :] + value[other[first:], j0:j1], out=target[first:]
                    )
            for j in range(1, int(np.searchsorted(ys, ys[j1 - 1] // 2, side="right"))):
                other = np.searchsorted(ys, ys[j0:j1] - ys[j], side="right") - 1
                good = other >= j
                if good.any():
                    first = int(np.argmax(good))
                    np.maximum(
                        target[:, first:],
                        value[i0:i1, j][:, None] + value[i0:i1, other[first:]],
                        out=target[:, first:],
                    )
        counts: dict[int, int] = {}
        cuts = self._trace(value, prices, len(xs) - 1, len(ys) - 1, counts)
        return int(value[-1, -1]), counts, cuts

    def _trace(self, value: Any, prices: Sequence[int], i: int, j: int, counts: dict[int, int]) -> Cut | None:
        import numpy as np

        worth = int(value[i, j])
        if worth == 0:
            return None
        xs, ys = self._xs, self._ys
        for kind, a, b in self._laid:
            if prices[kind] == worth and a <= xs[i] and b <= ys[j]:
                counts[kind] = counts.get(kind, 0) + 1
                return ("piece", kind, int(a), int(b))
        for k in range(1, int(np.searchsorted(xs, xs[i] // 2, side="right"))):
            other = int(np.searchsorted(xs, xs[i] - xs[k], side="right")) - 1
            if int(value[k, j]) + int(value[other, j]) == worth:
                return (
                    "x",
                    int(xs[k]),
                    self._trace(value, prices, k, j, counts),
                    self._trace(value, prices, other, j, counts),
                )
        for k in range(1, int(np.searchsorted(ys, ys[j] // 2, side="right"))):
            other = int(np.searchsorted(ys, ys[j] - ys[k], side="right")) - 1
            if int(value[i, k]) + int(value[i, other]) == worth:
                return (
                    "y",
                    int(ys[k]),
                    self._trace(value, prices, i, k, counts),
                    self._trace(value, prices, i, other, counts),
                )
        raise AssertionError("the dynamic programme cannot be traced back")


def _points(sizes: set[int], room: int) -> list[int]:
    """0, every sum of sizes up to the room, and the room itself (normal patterns)."""
    reach = 1
    mask = (1 << (room + 1)) - 1
    for size in sorted(sizes):
        step = size
        while step <= room:
            reach |= (reach << step) & mask
            step *= 2
    points = [0]
    bits = bin(reach)[2:][::-1]
    at = bits.find("1", 1)
    while at != -1:
        points.append(at)
        at = bits.find("1", at + 1)
    if points[-1] != room:
        points.append(room)
    return points


def _blocks(points: list[int], step: int) -> list[tuple[int, int]]:
    """Runs of positions narrower than the smallest piece."""
    blocks = []
    start = 0
    for k, point in enumerate(points):
        if point >= points[start] + step:
            blocks.append((start, k))
            start = k
    blocks.append((start, len(points)))
    return blocks


# ---------------------------------------------------------------- patterns over many sheets


def _by_patterns(
    pieces: Sequence[tuple[int, int]],
    fits: list[int],
    sheet: tuple[int, int],
    kerf: int,
    turns: bool,
    sheets: list[Sheet],
    bound: int,
) -> tuple[list[Sheet], int]:
    def kind_key(i: int) -> tuple[int, int]:
        a, b = pieces[i]
        return (max(a, b), min(a, b)) if turns else (a, b)

    kinds = sorted({kind_key(i) for i in fits}, reverse=True)
    number = {kind: k for k, kind in enumerate(kinds)}
    demand = [0] * len(kinds)
    for i in fits:
        demand[number[kind_key(i)]] += 1
    raised = [(a + kerf, b + kerf) for a, b in kinds]
    room = (sheet[0] + kerf, sheet[1] + kerf)
    cutting = BestSheet(raised, room, turns=turns, limit=MOST_POINTS, up=True)
    if not cutting.exact:
        relaxed = BestSheet(raised, room, turns=turns, limit=BOUND_POINTS)
        bounding = Master(demand)
        for kind in range(len(kinds)):
            bounding.add(1.0, {kind: 1})
        bound = max(bound, _price(bounding, demand, relaxed, len(sheets))[0])
        if bound >= len(sheets):
            return sheets, len(sheets)
    master = Master(demand)
    drawings: list[Cut | None] = []
    for used in sheets:
        pattern: dict[int, int] = {}
        for placed in used.pieces:
            k = number[kind_key(placed.piece)]
            pattern[k] = pattern.get(k, 0) + 1
        if master.add(1.0, pattern):
            drawings.append(None)
    proven, more = _price(master, demand, cutting, len(sheets))
    if cutting.exact:
        bound = max(bound, proven)
    drawings += more
    if bound >= len(sheets):
        return sheets, len(sheets)
    chosen, _ = cover(master.columns, demand, below=len(sheets) - 1, nodes=2_000)
    if chosen and sum(chosen) < len(sheets):
        waiting: dict[int, list[int]] = {}
        for i in sorted(fits, reverse=True):
            waiting.setdefault(number[kind_key(i)], []).append(i)
        plan = []
        for (_, pattern), cuts, times in zip(master.columns, drawings, chosen, strict=True):
            for _ in range(times):
                drawn = Sheet()
                if cuts is None:
                    loose = [waiting[k].pop() for k, n in sorted(pattern.items()) for _ in range(n) if waiting[k]]
                    drawn = _redraw(pieces, loose, sheet, kerf, turns, sheets, kind_key)
                else:
                    _draw(drawn, cuts, (0, 0, *sheet), kerf, cutting.coarse, pieces, kinds, waiting)
                if drawn.pieces:
                    plan.append(drawn)
        if len(plan) < len(sheets) and not any(waiting.values()):
            return plan, min(bound, len(plan))
    return sheets, min(bound, len(sheets))


def _price(master: Master, demand: list[int], best_sheet: BestSheet, enough: int) -> tuple[int, list[Cut | None]]:
    """Column generation. Gives the bound (true only where no pattern is lost to rounding) and the cuts added.

    ``enough``: stop as soon as the bound reaches this.
    """
    bound = 0
    drawings: list[Cut | None] = []
    work = 0
    while work < PATTERN_WORK:
        _, duals = master.solve()
        prices = [int(d * PRICE_SCALE) for d in duals]
        value, counts, cuts = best_sheet.solve(prices)
        work += best_sheet.work
        total = sum(p * d for p, d in zip(prices, demand, strict=True))
        bound = max(bound, -(-total // max(PRICE_SCALE, value)))
        if bound >= enough or value <= PRICE_SCALE + sum(counts.values()) or not master.add(1.0, counts):
            break
        drawings.append(cuts)
    return bound, drawings


def _redraw(
    pieces: Sequence[tuple[int, int]],
    loose: list[int],
    sheet: tuple[int, int],
    kerf: int,
    turns: bool,
    sheets: list[Sheet],
    kind_key: Callable[[int], tuple[int, int]],
) -> Sheet:
    """Repeat a fitted sheet with other pieces of the same sizes (some may be missing)."""
    have: dict[tuple[int, int], list[int]] = {}
    for i in loose:
        have.setdefault(kind_key(i), []).append(i)
    need = {kind: len(found) for kind, found in have.items()}
    for used in sheets:
        there: dict[tuple[int, int], int] = {}
        for placed in used.pieces:
            there[kind_key(placed.piece)] = there.get(kind_key(placed.piece), 0) + 1
        if all(there.get(kind, 0) >= count for kind, count in need.items()):
            again = Sheet(free=list(used.free), kerf_area=used.kerf_area)
            for placed in used.pieces:
                left = have.get(kind_key(placed.piece), [])
                if left:
                    i = left.pop()
                    turned = pieces[i] != (placed.length, placed.width)
                    again.pieces.append(Placed(i, placed.x, placed.y, placed.length, placed.width, turned))
                else:
                    again.free.append((placed.x, placed.y, placed.length, placed.width))
            return again
    raise AssertionError("a fitted pattern has no sheet to copy")


def _draw(
    sheet: Sheet,
    cuts: Cut | None,
    plate: tuple[int, int, int, int],
    kerf: int,
    step: int,
    pieces: Sequence[tuple[int, int]],
    kinds: list[tuple[int, int]],
    waiting: dict[int, list[int]],
) -> None:
    """Draw a pattern on a plate (x, y, length, width); pieces nobody waits for stay whole plates."""
    x, y, length, width = plate
    if length <= 0 or width <= 0:
        return
    if cuts is None or (cuts[0] == "piece" and not waiting[cuts[1]]):
        sheet.free.append(plate)
        return
    direction, at, first, second = cuts
    if direction == "piece":
        i = waiting[at].pop()
        a, b = kinds[at]
        straight = -(-(a + kerf) // step) == first and -(-(b + kerf) // step) == second
        a, b = (a, b) if straight else (b, a)
        sheet.free.append(plate)
        _place(sheet, len(sheet.free) - 1, i, (a, b, pieces[i] != (a, b)), kerf, "short")
        return
    part = at * step - kerf
    if direction == "x":
        sheet.kerf_area += min(kerf, length - part) * width
        _draw(sheet, first, (x, y, part, width), kerf, step, pieces, kinds, waiting)
        rest = (x + part + kerf, y, length - part - kerf, width)
    else:
        sheet.kerf_area += min(kerf, width - part) * length
        _draw(sheet, first, (x, y, length, part), kerf, step, pieces, kinds, waiting)
        rest = (x, y + part + kerf, length, width - part - kerf)
    _draw(sheet, second, rest, kerf, step, pieces, kinds, waiting)


def best_value(kinds: Sequence[tuple[int, int]], values: Sequence[int], sheet: tuple[int, int], *, turns: bool) -> int:
    """Most valuable guillotine cutting of one sheet, any number of each kind.

    >>> best_value([(3, 2), (2, 2)], [6, 4], (5, 4), turns=False)
    20
    """
    return BestSheet(kinds, sheet, turns=turns).solve(values)[0]
