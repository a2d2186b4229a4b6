"""Cutting lengths from stock with a saw: how few stock lengths, and how few any plan could need.

Sizes are whole numbers in one unit of the caller's choice (the cut plans use 0.1 mm), so that a plan and
its bound can never disagree through rounding. n pieces fit one length when Σ pieces + (n−1)·kerf ≤ stock,
the same as Σ (piece + kerf) ≤ stock + kerf.

Bounds: Martello & Toth's L2 (Knapsack Problems, 1990) and the pattern programme of Gilmore & Gomory
(Operations Research 9, 1961) with the bound of Farley (Operations Research 38, 1990), in whole numbers.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from estimating.engine.limits import Work
from estimating.engine.linear import Master, cover

PRICE_SCALE = 1 << 24


@dataclass(frozen=True)
class LengthPlan:
    """``bars``: for every stock length the indices of the pieces cut from it, longest first."""

    bars: list[list[int]]
    bound: int
    too_long: list[int]
    """Indices of pieces longer than the stock; they are in no bar."""
    stopped_by: str = ""
    """Limits that kept the search from proving more, in words."""

    @property
    def proven(self) -> bool:
        return not self.too_long and len(self.bars) == self.bound


def cut_lengths(pieces: Sequence[int], stock: int, kerf: int = 0, *, work: Work | None = None) -> LengthPlan:
    """Cut every piece from as few stock lengths as can be found.

    Never more lengths than first-fit decreasing; ``bound`` is what no plan can beat.
    Raises ValueError for sizes below 1 or a negative kerf.

    >>> plan = cut_lengths([240] * 8, 960)
    >>> len(plan.bars), plan.bound
    (2, 2)
    >>> len(cut_lengths([240] * 8, 960, kerf=1).bars)  # a 4th piece needs 963
    3
    """
    if stock < 1 or kerf < 0 or any(piece < 1 for piece in pieces):
        raise ValueError("sizes must be at least 1 and the kerf at least 0")
    too_long = [i for i, piece in enumerate(pieces) if piece > stock]
    fits = [i for i, piece in enumerate(pieces) if piece <= stock]
    room = stock + kerf
    work = work or Work()
    order = sorted(fits, key=lambda i: (-pieces[i], i))
    sizes = sorted({pieces[i] + kerf for i in fits}, reverse=True)
    demand = [sum(1 for i in fits if pieces[i] + kerf == size) for size in sizes]
    if not fits:
        return LengthPlan([], 0, too_long)

    first = _first_fit([pieces[i] + kerf for i in order], room)
    best_fit = _best_fit([pieces[i] + kerf for i in order], room)
    patterns = [Counter(bar) for bar in min((first, best_fit), key=len)]
    bound = lower_bound(sizes, demand, room)
    if bound < len(patterns):
        patterns, bound = _by_patterns(sizes, demand, room, patterns, bound, work)
    waiting: dict[int, list[int]] = {}
    for i in reversed(order):
        waiting.setdefault(pieces[i] + kerf, []).append(i)
    bars = []
    for pattern in sorted(patterns, key=lambda p: sorted(p.elements(), reverse=True), reverse=True):
        bar = [waiting[size].pop() for size in sorted(pattern.elements(), reverse=True) if waiting[size]]
        if bar:
            bars.append(bar)
    if bound > len(bars):
        raise AssertionError("the bound lies above the plan")
    return LengthPlan(bars, bound, too_long, work.said() if bound < len(bars) else "")


def _first_fit(sizes: Sequence[int], room: int) -> list[list[int]]:
    bars: list[list[int]] = []
    left: list[int] = []
    for size in sizes:
        spot = next((k for k, free in enumerate(left) if free >= size), None)
        if spot is None:
            bars.append([size])
            left.append(room - size)
        else:
            bars[spot].append(size)
            left[spot] -= size
    return bars


def _best_fit(sizes: Sequence[int], room: int) -> list[list[int]]:
    bars: list[list[int]] = []
    left: list[int] = []
    for size in sizes:
        spots = [(free, k) for k, free in enumerate(left) if free >= size]
        if spots:
            _, k = min(spots)
            bars[k].append(size)
            left[k] -= size
        else:
            bars.append([size])
            left.append(room - size)
    return bars


def lower_bound(sizes: Sequence[int], demand: Sequence[int], room: int) -> int:
    """Martello & Toth's L2: the volume bound, sharpened by pieces too big to share a length.

    >>> lower_bound([51], [6], 100)  # volume says 4, yet no two fit together
    6
    """
    pairs = list(zip(sizes, demand, strict=True))
    best = -(-sum(s * d for s, d in pairs) // room)
    for limit in sorted({0, *(s for s in sizes if 2 * s <= room)}):
        alone = sum(d for s, d in pairs if s > room - limit)
        half = [(s, d) for s, d in pairs if room - limit >= s and 2 * s > room]
        small = sum(s * d for s, d in pairs if 2 * s <= room and s >= limit)
        count = sum(d for _, d in half)
        spare = count * room - sum(s * d for s, d in half)
        best = max(best, alone + count + max(0, -(-(small - spare) // room)))
    return best


def best_pattern(sizes: Sequence[int], most: Sequence[int], prices: Sequence[int], room: int) -> tuple[int, list[int]]:
    """Bounded knapsack: the dearest set of pieces that fits ``room``; exact in whole numbers."""
    import numpy as np

    best = np.zeros(room + 1, dtype=np.int64)
    items: list[tuple[int, int]] = []
    taken = []
    for kind, (size, limit, price) in enumerate(zip(sizes, most, prices, strict=True)):
        left, bundle = min(limit, room // size), 1
        while left > 0 and price > 0:
            count = min(bundle, left)
            weight = size * count
            with_it = best[: room + 1 - weight] + price * count
            better = np.zeros(room + 1, dtype=bool)
            better[weight:] = with_it > best[weight:]
            best[weight:] = np.maximum(best[weight:], with_it)
            items.append((kind, count))
            taken.append(better)
            left -= count
            bundle *= 2
    counts = [0] * len(sizes)
    at = room
    for (kind, count), better in zip(reversed(items), reversed(taken), strict=True):
        if better[at]:
            counts[kind] += count
            at -= sizes[kind] * count
    return int(best[room]), counts


def price_patterns(
    sizes: Sequence[int],
    demand: Sequence[int],
    room: int,
    start: Sequence[Counter[int]],
    good_enough: int | None,
    work: Work,
    most: Sequence[int] | None = None,
) -> tuple[Master, tuple[int, int], list[int]]:
    """Column generation. Gives the master, the best proven bound as (numerator, denominator), and the last prices.

    ``good_enough``: stop as soon as the bound, rounded up, reaches this. ``most``: of each kind in one pattern;
    otherwise as many as are asked for.
    """
    kind_of = {size: kind for kind, size in enumerate(sizes)}
    master = Master(demand)
    most = most if most is not None else demand
    for kind, size in enumerate(sizes):
        master.add(1.0, {kind: min(most[kind], room // size) or 1})
    for pattern in start:
        master.add(1.0, {kind_of[size]: count for size, count in sorted(pattern.items())})
    bound = (0, 1)
    prices = [0] * len(sizes)
    for _ in range(work["length rounds"]):
        _, duals = master.solve()
        prices = [int(d * PRICE_SCALE) for d in duals]
        value, counts = best_pattern(sizes, most, prices, room)
        total = sum(p * d for p, d in zip(prices, demand, strict=True))
        scale = max(PRICE_SCALE, value)
        if total * bound[1] > bound[0] * scale:
            bound = (total, scale)
        if good_enough is not None and -(-bound[0] // bound[1]) >= good_enough:
            break
        if value <= PRICE_SCALE + len(sizes):
            break
        if not master.add(1.0, {kind: count for kind, count in enumerate(counts) if count}):
            break
    else:
        work.out("length rounds")
    return master, bound, prices


def _by_patterns(
    sizes: list[int], demand: list[int], room: int, plan: list[Counter[int]], bound: int, work: Work
) -> tuple[list[Counter[int]], int]:
    master, found, prices = price_patterns(sizes, demand, room, plan, len(plan), work)
    bound = max(bound, -(-found[0] // found[1]))
    if bound >= len(plan):
        return plan, len(plan)
    counts, answer = cover(master.columns, demand, below=None, nodes=work["length choice"])
    if answer.cut_short:
        work.out("length choice")
    plan = _better(plan, _drawn(master.columns, counts, sizes, demand))
    while bound < len(plan):
        # A plan of at most ``target`` lengths can use only patterns whose reduced cost is within the gap.
        target = len(plan) - 1
        total = sum(p * d for p, d in zip(prices, demand, strict=True))
        dearest = max(PRICE_SCALE, best_pattern(sizes, demand, prices, room)[0])
        slack = target * dearest - total
        columns, complete = near_patterns(sizes, demand, prices, room, dearest - slack, work)
        if not complete:
            counts, _ = cover([*master.columns, *columns], demand, below=target, nodes=work["length choice"])
            plan = _better(plan, _drawn([*master.columns, *columns], counts, sizes, demand))
            break
        counts, answer = cover(columns, demand, below=target, nodes=work["length proof"])
        if answer.infeasible:
            bound = len(plan)
        elif counts:
            plan = _better(plan, _drawn(columns, counts, sizes, demand))
        else:
            work.out("length proof")
            break
    return plan, min(bound, len(plan))


def _better(old: list[Counter[int]], new: list[Counter[int]]) -> list[Counter[int]]:
    return new if new and len(new) < len(old) else old


def _drawn(
    columns: Sequence[tuple[float, dict[int, int]]], counts: Sequence[int], sizes: Sequence[int], demand: Sequence[int]
) -> list[Counter[int]]:
    """Patterns as cut: what a pattern offers beyond the demand is left off, empty ones dropped."""
    left = list(demand)
    plan = []
    for (_, pattern), count in zip(columns, counts, strict=False):
        for _ in range(count):
            bar: Counter[int] = Counter()
            for kind, offered in sorted(pattern.items()):
                used = min(offered, left[kind])
                if used:
                    bar[sizes[kind]] = used
                    left[kind] -= used
            if bar:
                plan.append(bar)
    return plan if counts and not any(left) else []


def near_patterns(
    sizes: Sequence[int], demand: Sequence[int], prices: Sequence[int], room: int, least: int, work: Work
) -> tuple[list[tuple[float, dict[int, int]]], bool]:
    """Every maximal pattern worth at least ``least``; False in second place when the limits cut the list short."""
    import numpy as np

    kinds = len(sizes)
    suffix = [np.zeros(room + 1, dtype=np.int64)]
    for kind in reversed(range(kinds)):
        table = suffix[-1].copy()
        size, price = sizes[kind], prices[kind]
        left, bundle = min(demand[kind], room // size), 1
        while left > 0:
            count = min(bundle, left)
            weight = size * count
            table[weight:] = np.maximum(table[weight:], table[: room + 1 - weight] + price * count)
            left -= count
            bundle *= 2
        suffix.append(table)
    suffix.reverse()
    found: list[tuple[float, dict[int, int]]] = []
    steps = 0
    stack: list[tuple[int, int, int, tuple[tuple[int, int], ...]]] = [(0, room, 0, ())]
    while stack:
        steps += 1
        if steps > work["length steps"] or len(found) > work["length patterns"]:
            work.out("length steps" if steps > work["length steps"] else "length patterns")
            return found, False
        kind, free, worth, chosen = stack.pop()
        if worth + int(suffix[kind][free]) < least:
            continue
        if kind == kinds:
            if chosen:
                found.append((1.0, dict(chosen)))
            continue
        for count in range(min(demand[kind], free // sizes[kind]) + 1):
            step = (*chosen, (kind, count)) if count else chosen
            stack.append((kind + 1, free - count * sizes[kind], worth + count * prices[kind], step))
    return found, True
