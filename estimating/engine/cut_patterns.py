"""Guillotine patterns with a limit on the copies of every piece: the best one, or all that are worth a given sum.

Rectangles are built up by joining two smaller ones side by side or one above the other, most promising first
(Wang, Oper. Res. 31, 1983; Viswanathan & Bagchi, Oper. Res. 41, 1993). What the rest of the sheet could add to a
rectangle is bounded by the same sheet without limits (Beasley, J. Oper. Res. Soc. 36, 1985), so the search either
ends with proof or says what no pattern can exceed.

Sizes are whole numbers with the kerf already added to pieces and sheet.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, overload

from estimating.engine.best_sheet import BestSheet, Cut
from estimating.engine.limits import LIMITS

BOUND_POINTS = 120
"""Cut positions per side in the bound; where sizes give more, they are rounded down to a coarser grid."""


@dataclass(frozen=True)
class Pattern:
    """Pieces cut from one sheet, how many of each kind, and the cuts that make them."""

    value: int
    counts: tuple[int, ...]
    cuts: Cut


class Patterns(Sequence[Pattern]):
    """Patterns drawn up one by one as they are asked for: of thousands found, column generation takes a few."""

    def __init__(self, counts: Any, draw: Callable[[int], Pattern]) -> None:
        self.counts = counts
        """Pieces of every kind (columns) on every pattern (rows)."""
        self._draw = draw

    def __len__(self) -> int:
        return len(self.counts)

    @overload
    def __getitem__(self, place: int) -> Pattern: ...
    @overload
    def __getitem__(self, place: slice) -> list[Pattern]: ...
    def __getitem__(self, place: int | slice) -> Pattern | list[Pattern]:
        if isinstance(place, slice):
            return [self._draw(k) for k in range(len(self))[place]]
        return self._draw(range(len(self))[place])


@dataclass(frozen=True)
class Found:
    """Patterns by falling value; none is worth more than ``ceiling``. ``complete``: nothing was left unseen."""

    patterns: Patterns
    ceiling: int
    complete: bool
    joins: int
    """Work done: pairs of rectangles looked at."""


class PatternSearch:
    """Patterns of one sheet size. ``kinds``: (length, width) of each; ``turns``: both ways round.

    ``strips``: rips right along the sheet first, then crosscuts, so nothing is stacked within a strip.
    """

    def __init__(
        self,
        kinds: Sequence[tuple[int, int]],
        sheet: tuple[int, int],
        *,
        turns: bool,
        points: int = BOUND_POINTS,
        strips: bool = False,
    ) -> None:
        import numpy as np

        self.kinds = list(kinds)
        self.points, self.turns, self.strips = points, turns, strips
        self.sheet = sheet
        self._ways = [(k, a, b) for k, (a, b) in enumerate(kinds) if a <= sheet[0] and b <= sheet[1]]
        if turns:
            self._ways += [(k, b, a) for k, (a, b) in enumerate(kinds) if a != b and b <= sheet[0] and a <= sheet[1]]
        self._free = BestSheet(kinds, sheet, turns=turns, limit=points)
        step = self._free.coarse
        self._step = step
        xs, ys = self._free.xs, self._free.ys
        self._at_x = np.searchsorted(xs, np.arange(sheet[0] // step + 1), side="right") - 1
        self._at_y = np.searchsorted(ys, np.arange(sheet[1] // step + 1), side="right") - 1
        self._over_x = _differences(xs)
        self._over_y = _differences(ys)
        self._blocks = (_reversed_blocks(xs, self._free.step_x), _reversed_blocks(ys, self._free.step_y))

    def finer(self, points: int) -> PatternSearch:
        """The same with more cut positions in the bound: slower to price, but sees sooner what cannot be."""
        return PatternSearch(self.kinds, self.sheet, turns=self.turns, points=points, strips=self.strips)

    def outside(self, prices: Sequence[int]) -> Any:
        """For every corner rectangle (by cut position) the most that pieces outside it can be worth."""
        import numpy as np

        inside = self._free.table(prices)
        across, along = len(self._free.xs), len(self._free.ys)
        rest = np.zeros((across, along), dtype=np.int64)
        for i0, i1 in self._blocks[0]:
            for j0, j1 in self._blocks[1]:
                best = np.zeros((i1 - i0, j1 - j0), dtype=np.int64)
                if i1 < across:
                    beside = inside[self._over_x[i0:i1, i1:, None], np.arange(j0, j1)]
                    best = np.maximum(best, (rest[None, i1:, j0:j1] + beside).max(axis=1))
                if j1 < along:
                    above = inside[np.arange(i0, i1)[:, None, None], self._over_y[None, j0:j1, j1:]]
                    best = np.maximum(best, (rest[i0:i1, None, j1:] + above).max(axis=2))
                # A rectangle a little smaller has at least as much left beside it.
                best = np.maximum.accumulate(best[::-1], axis=0)[::-1]
                best = np.maximum.accumulate(best[:, ::-1], axis=1)[:, ::-1]
                rest[i0:i1, j0:j1] = best
        return rest

    def search(
        self,
        prices: Sequence[int],
        most: Sequence[int],
        *,
        least: int = 0,
        joins: int,
        listed: int = 0,
        only_best: bool = False,
    ) -> Found:
        """Patterns worth more than ``least`` with at most ``most`` of each kind; ``only_best``: the best alone.

        ``joins`` limits the work, ``listed`` the patterns given (0: the usual limit). Only rectangles that could still
        grow into such a pattern are kept, and of those with the same pieces only the ones not larger than another.
        """
        import numpy as np

        rest = self.outside(prices)
        areas, worths = self._by_area(prices, most)
        whole = self.sheet[0] * self.sheet[1]

        def beyond(w: Any, h: Any, cw: Any, ch: Any) -> Any:
            """The most that pieces outside a rectangle can add: by cut positions, or by area and numbers left."""
            by_area = np.interp(whole - w * h, areas, worths).astype(np.int64) + 1
            return np.minimum(rest[self._at_x[cw], self._at_y[ch]], by_area)

        limit = np.array([min(m, 16_000) for m in most], dtype=np.int16)
        kinds, (room_x, room_y), step = len(self.kinds), self.sheet, self._step
        size, worth, counts = _Rows(4), _Rows(1), _Rows(kinds, np.int16)
        made: list[tuple[str, int, int]] = []
        best = -1
        heap: list[tuple[int, int, int]] = []
        stacked = _Rows(1, np.bool_)
        known: dict[bytes, list[tuple[int, int]]] = {}

        def keep(box: tuple[int, int, int, int], value: int, count: Any, how: tuple[str, int, int], reach: int) -> None:
            nonlocal least, best
            w, h = box[:2]
            key = count.tobytes() + (how[0] if self.strips else "").encode()
            seen = known.setdefault(key, [])
            for a, b in seen:
                if a <= w and b <= h:
                    return
            seen.append((w, h))
            number = len(made)
            made.append(how)
            size.add(box)
            worth.add((value,))
            counts.add(count)
            stacked.add((how[0] == "y",))
            heapq.heappush(heap, (-reach, -value, number))
            if only_best and value > least:
                least, best = value, number

        n = work = 0
        for k, a, b in self._ways:
            if limit[k] < 1:
                continue
            cw, ch = max(1, a // step), max(1, b // step)
            could = int(prices[k] + beyond(a, b, cw, ch))
            if could > least or int(prices[k]) > least:
                single = np.zeros(kinds, dtype=np.int16)
                single[k] = 1
                keep((a, b, cw, ch), int(prices[k]), single, ("piece", k, 0), could)

        closed = np.zeros(64, dtype=np.int64)
        while heap and -heap[0][0] > least and work < joins:
            _, _, here = heapq.heappop(heap)
            if n == len(closed):
                closed = np.concatenate([closed, np.zeros(n, dtype=np.int64)])
            closed[n] = here
            n += 1
            work += n
            others = closed[:n]
            others = others[(counts.rows[others] + counts.rows[here] <= limit).all(axis=1)]
            if not len(others):
                continue
            mine, theirs = size.rows[here], size.rows[others]
            value = worth.rows[others, 0] + worth.rows[here, 0]
            for name, along, over, room in (("x", 0, 1, room_x), ("y", 1, 0, room_y)):
                run = theirs[:, along] + mine[along]
                fits = run <= room
                if self.strips and name == "x":
                    fits &= not stacked.rows[here, 0] and ~stacked.rows[others, 0]
                if not fits.any():
                    continue
                side = np.maximum(theirs[:, over], mine[over])
                coarse_run = np.minimum(theirs[:, along + 2] + mine[along + 2], room // step)
                coarse_side = np.maximum(theirs[:, over + 2], mine[over + 2])
                pair = (coarse_run, coarse_side) if name == "x" else (coarse_side, coarse_run)
                boxes = (run, side) if name == "x" else (side, run)
                reach = value + beyond(*boxes, *pair)
                for m in np.flatnonzero(fits & (reach > least)):
                    other = int(others[m])
                    together = counts.rows[here] + counts.rows[other]
                    box = (int(boxes[0][m]), int(boxes[1][m]), int(pair[0][m]), int(pair[1][m]))
                    keep(box, int(value[m]), together, (name, here, other), int(reach[m]))
        complete = not heap or -heap[0][0] <= least
        top: dict[bytes, int] = {}
        for number in range(len(made)) if not only_best else [best] if best >= 0 else []:
            if only_best or worth.rows[number, 0] > least:
                top.setdefault(counts.rows[number].tobytes(), number)
        order = sorted(top.values(), key=lambda i: (-int(worth.rows[i, 0]), i))
        highest = int(worth.rows[order[0], 0]) if order else least
        chosen = order[: listed or LIMITS["patterns listed"].most]

        def draw(place: int) -> Pattern:
            number = chosen[place]
            return Pattern(
                int(worth.rows[number, 0]), tuple(counts.rows[number].tolist()), self._cuts(number, made, size.rows)
            )

        ceiling = highest if complete else max(highest, -heap[0][0])
        patterns = Patterns(counts.rows[chosen], draw)
        return Found(patterns, ceiling, complete and len(order) == len(chosen), work)

    def _by_area(self, prices: Sequence[int], most: Sequence[int]) -> tuple[list[float], list[float]]:
        """Corners of the curve: the most that pieces can be worth on so much area, the dearest for their size first."""
        areas, worths = [0.0], [0.0]
        kinds = [(a * b, p, n) for (a, b), p, n in zip(self.kinds, prices, most, strict=True) if p > 0 and n > 0]
        for area, price, number in sorted(kinds, key=lambda k: (-k[1] / k[0], k)):
            areas.append(areas[-1] + float(area * number))
            worths.append(worths[-1] + float(price * number))
        return areas, worths

    def _cuts(self, number: int, made: list[tuple[str, int, int]], size: Any) -> Cut:
        name, first, second = made[number]
        if name == "piece":
            return ("piece", first, int(size[number, 0]), int(size[number, 1]))
        at = int(size[first, 0 if name == "x" else 1])
        return (name, at, self._cuts(first, made, size), self._cuts(second, made, size))


class _Rows:
    """A table that grows."""

    def __init__(self, width: int, kind: Any = None) -> None:
        import numpy as np

        self.rows = np.zeros((256, width), dtype=kind or np.int64)
        self.used = 0

    def add(self, row: Any) -> None:
        import numpy as np

        if self.used == len(self.rows):
            self.rows = np.concatenate([self.rows, np.zeros_like(self.rows)])
        self.rows[self.used] = row
        self.used += 1


def _differences(points: Any) -> Any:
    """For every pair of positions, the position at or below their distance."""
    import numpy as np

    apart = np.maximum(points[None, :] - points[:, None], 0)
    return np.searchsorted(points, apart, side="right") - 1


def _reversed_blocks(points: Any, step: int) -> list[tuple[int, int]]:
    """Runs of positions narrower than the smallest piece, the last ones first."""
    blocks = []
    end = len(points)
    while end > 0:
        start = end - 1
        while start > 0 and points[end - 1] - points[start - 1] < step:
            start -= 1
        blocks.append((start, end))
        end = start
    return blocks
