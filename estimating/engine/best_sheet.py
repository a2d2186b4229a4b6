"""The most valuable way of cutting one sheet with edge-to-edge cuts, any number of each piece.

Beasley's dynamic programme (J. Oper. Res. Soc. 36, 1985, 297-306). Sizes are whole numbers with the kerf
already added to pieces and sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Any

Cut = tuple[str, int, Any, Any]
"""How a plate is divided: ("x" or "y", position of the cut, first part, second part)."""

CHUNK = 100_000
"""Sums of two parts looked at in one go."""


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
        self._laid, self.xs, self.ys = laid, np.array(xs), np.array(ys)
        self.step_x = min((a for _, a, _ in laid), default=1)
        self.step_y = min((b for _, _, b in laid), default=1)
        self._sweep = sorted(
            product(_cuts(self.xs, self.step_x), _cuts(self.ys, self.step_y)),
            key=lambda pair: (pair[0][0] + pair[1][0], pair[0][0]),
        )

    def solve(self, prices: Sequence[int]) -> tuple[int, dict[int, int], Cut | None]:
        """Highest value, how many of each kind, and the cuts."""
        value = self.table(prices)
        counts: dict[int, int] = {}
        cuts = self._trace(value, prices, len(self.xs) - 1, len(self.ys) - 1, counts)
        return int(value[-1, -1]), counts, cuts

    def table(self, prices: Sequence[int]) -> Any:
        """Highest value of every rectangle from the lower left corner to a pair of cut positions."""
        import numpy as np

        xs, ys = self.xs, self.ys
        value = np.zeros((len(xs), len(ys)), dtype=np.int64)
        for kind, a, b in self._laid:
            corner = value[np.searchsorted(xs, a) :, np.searchsorted(ys, b) :]
            np.maximum(corner, prices[kind], out=corner)
        # A cut of x leaves parts of at least one step, so a block of positions narrower than a step depends
        # only on blocks before it; within a block-by-block sweep both cut directions see finished values.
        for (i0, i1, cut_x, rest_x), (j0, j1, cut_y, rest_y) in self._sweep:
            target = value[i0:i1, j0:j1]
            size = max(1, target.size)
            for k in range(0, len(cut_x), max(1, CHUNK // size)):
                some = slice(k, k + max(1, CHUNK // size))
                parts = value[cut_x[some], j0:j1][:, None, :] + value[rest_x[some], j0:j1]
                np.maximum(target, parts.max(axis=0), out=target)
            for k in range(0, len(cut_y), max(1, CHUNK // size)):
                some = slice(k, k + max(1, CHUNK // size))
                parts = value[i0:i1, cut_y[some]][:, :, None] + value[i0:i1, rest_y[some]]
                np.maximum(target, parts.max(axis=1), out=target)
        return value

    def _trace(self, value: Any, prices: Sequence[int], i: int, j: int, counts: dict[int, int]) -> Cut | None:
        import numpy as np

        worth = int(value[i, j])
        if worth == 0:
            return None
        xs, ys = self.xs, self.ys
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


def _cuts(points: Any, step: int) -> list[tuple[int, int, Any, Any]]:
    """Every block of positions (from, to) with the cuts up to its half and, cut by cut, what each leaves beside it."""
    import numpy as np

    found = []
    for start, end in _blocks(points.tolist(), step):
        cuts = np.arange(1, int(np.searchsorted(points, points[end - 1] // 2, side="right")))
        if points[start] < step:
            cuts = cuts[:0]
        rest = np.searchsorted(points, points[None, start:end] - points[cuts][:, None], side="right") - 1
        found.append((start, end, cuts, rest))
    return found


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


def best_value(kinds: Sequence[tuple[int, int]], values: Sequence[int], sheet: tuple[int, int], *, turns: bool) -> int:
    """Most valuable guillotine cutting of one sheet, any number of each kind.

    >>> best_value([(3, 2), (2, 2)], [6, 4], (5, 4), turns=False)
    20
    """
    return BestSheet(kinds, sheet, turns=turns).solve(values)[0]
