"""Cutting blanks from a roll of fixed width: how little length is drawn off, and how little any plan needs.

Sizes are whole numbers in one unit (the cut plans use 0.1 mm). Nothing is turned: a blank's length runs along
the roll (nap, emboss, one way up). Blanks are cut in levels: a straight cut across the goods, then blanks
side by side and one after another inside the level. The level patterns of many orders go into one pool and
the cheapest cover of the demand is chosen from it (Gilmore & Gomory, Operations Research 13, 1965).

Bounds, of which the highest counts. Blanks thought of as cut into strips one unit long must still lie side by side
across the goods, no blank beside itself (the bar relaxation of strip packing; Scheithauer, Oper. Res. Spektrum 21,
1999), so the one-dimensional pattern programme over the widths bounds the length. And where at most m of the blanks of
some width and wider lie side by side, they lie in m lanes, as jobs on m like machines, which are busy at least as long
as the best sharing out (the parallel-processor relaxation of strip packing; Côté, Dell'Amico & Iori, Oper. Res. 62,
2014): two lanes are shared out exactly, more by the bin-packing bound of ``cut_lengths``. Blanks wider than half the
goods lie end to end whatever is done, so they are a length problem: it bounds the number of rolls.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from estimating.engine.cut_lengths import cut_lengths, lower_bound, price_patterns
from estimating.engine.limits import Work
from estimating.engine.linear import cover

POOLED = (16, 48)
"""After so many orders, and after the last, the cheapest cover is chosen from the levels seen so far."""
SEED = 11


@dataclass(frozen=True)
class Blank:
    """A blank on a level: which, and its lower left corner from the level's start (x) and the goods' edge (y)."""

    piece: int
    x: int
    y: int


@dataclass(frozen=True)
class Level:
    length: int
    blanks: list[Blank]


@dataclass(frozen=True)
class RollPlan:
    rolls: list[list[Level]]
    """Levels in cutting order, roll by roll (one run when rolls are endless)."""
    drawn: int
    """Length taken off the rolls, all levels together."""
    bound: int
    too_big: list[int]
    rolls_bound: int = 0
    """Fewest rolls of the stated length; 1 where none is stated."""
    stopped_by: str = ""
    """Limits that kept the search from proving more, in words."""

    @property
    def proven(self) -> bool:
        return not self.too_big and self.drawn == self.bound


def cut_rolls(
    pieces: Sequence[tuple[int, int]], width: int, *, roll: int | None = None, kerf: int = 0, work: Work | None = None
) -> RollPlan:
    """Cut every blank (length, width) from goods ``width`` wide.

    ``roll``: usable length of one roll; None when cut to order. Raises ValueError for sizes below 1.

    >>> plan = cut_rolls([(80, 54), (80, 27), (80, 27)], 54)
    >>> plan.drawn, plan.bound
    (160, 160)
    """
    if width < 1 or kerf < 0 or (roll is not None and roll < 1) or any(min(p) < 1 for p in pieces):
        raise ValueError("sizes must be at least 1 and the kerf at least 0")
    too_big = [i for i, (a, b) in enumerate(pieces) if b > width or (roll is not None and a > roll)]
    left_out = set(too_big)
    fits = [i for i in range(len(pieces)) if i not in left_out]
    if not fits:
        return RollPlan([], 0, 0, too_big)
    # A blank that leaves no room for any other beside it is a level of its own in every plan.
    narrowest = min(pieces[i][1] for i in fits)
    alone = [i for i in fits if pieces[i][1] + kerf + narrowest > width]
    shared = [i for i in fits if pieces[i][1] + kerf + narrowest <= width]
    ends = sum(pieces[i][0] + kerf for i in alone)
    work = work or Work()
    bound = _bound(pieces, shared, width, kerf, work) if shared else 0
    levels = [Level(pieces[i][0], [Blank(i, 0, 0)]) for i in alone]
    levels += _levels(pieces, shared, width, kerf, bound, roll, work) if shared else []
    bound += ends
    drawn = sum(level.length + kerf for level in levels)
    if drawn < bound:
        raise AssertionError("the bound lies above the plan")
    levels.sort(key=lambda level: (-level.length, [b.piece for b in level.blanks]))
    if roll is None:
        rolls = [levels]
    else:
        packed = cut_lengths([level.length for level in levels], roll, kerf)
        rolls = [[levels[k] for k in bar] for bar in packed.bars]
    fewest = min(len(rolls), _rolls_bound(pieces, fits, width, roll, kerf, bound))
    return RollPlan(rolls, drawn, bound, too_big, fewest, work.said() if bound < drawn else "")


def _rolls_bound(
    pieces: Sequence[tuple[int, int]], fits: list[int], width: int, roll: int | None, kerf: int, bound: int
) -> int:
    if roll is None:
        return 1
    wide = [pieces[i][0] for i in fits if 2 * pieces[i][1] + kerf > width]
    return max(-(-bound // (roll + kerf)), cut_lengths(wide, roll, kerf).bound)


def _bound(pieces: Sequence[tuple[int, int]], fits: list[int], width: int, kerf: int, work: Work) -> int:
    longest = max(pieces[i][0] for i in fits) + kerf
    kinds = Counter((pieces[i][1] + kerf, pieces[i][0] + kerf) for i in fits)
    sizes = sorted(kinds, reverse=True)
    demand = [long * kinds[wide, long] for wide, long in sizes]
    most = [kinds[size] for size in sizes]
    _, (top, below), _ = price_patterns([wide for wide, _ in sizes], demand, width + kerf, [], None, work, most)
    return max(longest, -(-top // below), _lanes_bound(kinds, width + kerf))


def _lanes_bound(kinds: Mapping[tuple[int, int], int], room: int) -> int:
    """Length that the widest blanks need in as many lanes as lie side by side; (width, length) with the kerf in it.

    >>> _lanes_bound({(600, 12): 2, (600, 5): 1}, 1400)  # two lanes: 12 + 5 beside 12
    17
    """
    best = 0
    for narrowest in sorted({wide for wide, _ in kinds}):
        lengths = [long for (wide, long), count in kinds.items() for _ in range(count) if wide >= narrowest]
        lanes = room // narrowest
        if sum(lengths) > best * lanes or len(lengths) > lanes:
            best = max(best, _shared_out(lengths, lanes, best))
    return best


def _shared_out(lengths: Sequence[int], lanes: int, best: int) -> int:
    """No sharing out of ``lengths`` over ``lanes`` keeps all of them shorter than this; ``best``: known already.

    >>> _shared_out([4] * 7, 3, 0)  # three share a lane
    12
    """
    falling = sorted(lengths, reverse=True)
    least = max(-(-sum(lengths) // lanes), falling[0])
    # Of the k × lanes + 1 longest, k + 1 share a lane: no less than the k + 1 shortest of them.
    for k in range(1, (len(lengths) - 1) // lanes + 1):
        least = max(least, sum(falling[k * lanes - k : k * lanes + 1]))
    if lanes == 2:
        reached = 1  # bit n: some of the lengths come to n
        for length in lengths:
            reached |= reached << length
        return least + ((above := reached >> least) & -above).bit_length() - 1
    kinds = Counter(lengths)
    sizes = sorted(kinds, reverse=True)
    low, high = max(least, best), sum(falling[: -(-len(lengths) // lanes)])
    while low < high:
        middle = (low + high) // 2
        if lower_bound(sizes, [kinds[size] for size in sizes], middle) > lanes:
            low = middle + 1
        else:
            high = middle
    return low


def _levels(
    pieces: Sequence[tuple[int, int]], fits: list[int], width: int, kerf: int, bound: int, roll: int | None, work: Work
) -> list[Level]:
    draw = random.Random(SEED)  # noqa: S311  # repeatable search, no secret
    best: list[Level] = []
    best_length = 0
    pool: dict[tuple[tuple[int, int], ...], Level] = {}
    orders = work["roll orders"]
    for attempt in range(orders):
        jitter = {i: 1.0 if attempt < 3 else 1.0 + 0.3 * (draw.random() - 0.5) for i in fits}
        sign = (-1, 1, 0)[attempt % 3]
        order = sorted(fits, key=lambda i, j=jitter, s=sign: (-pieces[i][0] * j[i], s * pieces[i][1], i))  # type: ignore[misc]
        behind = [0 if attempt < 3 else int(3 * draw.random()) for _ in fits]
        if attempt % 2 and attempt > 2:
            levels = _in_lanes(pieces, order, width, kerf, roll, draw)
        else:
            levels = _fill(pieces, order, width, kerf, behind, roll)
        length = sum(level.length + kerf for level in levels)
        for level in levels:
            pool.setdefault(tuple(sorted(pieces[b.piece] for b in level.blanks)), level)
        if not best or length < best_length:
            best, best_length = levels, length
        if best_length > bound and attempt + 1 in (*POOLED, orders):
            best, best_length = _from_pool(pieces, fits, kerf, list(pool.items()), best, best_length, work)
        if best_length <= bound:
            break
    else:
        work.out("roll orders")
    return best


def _in_lanes(
    pieces: Sequence[tuple[int, int]], order: list[int], width: int, kerf: int, roll: int | None, draw: random.Random
) -> list[Level]:
    """Levels of lanes side by side, each as wide as its widest blank, filled so that they end about alike.

    Some of the blanks, in their order, make a level: the widest of them opens a lane, the next that fits beside it
    another; then the longest go first, each into the lane wide enough for it that ends earliest.
    """
    levels: list[Level] = []
    waiting = list(order)
    while waiting:
        group = sorted(waiting[: draw.randint(1, len(waiting))], key=lambda i: (-pieces[i][1], -pieces[i][0], i))
        lanes: list[tuple[int, int]] = []  # where it lies, how wide
        across = 0
        for place, i in enumerate(group):
            wide = pieces[i][1]
            # Not every blank that could open a lane does: a narrower one may leave room for one lane more.
            if across + wide <= width and (not lanes or place == len(group) - 1 or draw.random() < 0.6):
                lanes.append((across, wide))
                across += wide + kerf
        ends = [0] * len(lanes)
        blanks = []
        for i in sorted(group, key=lambda i: (-pieces[i][0], -pieces[i][1], i)):
            long, wide = pieces[i]
            open_ = [
                k for k, (_, room) in enumerate(lanes) if wide <= room and (roll is None or ends[k] + long <= roll)
            ]
            if not open_:
                continue
            k = min(open_, key=lambda k: (ends[k], lanes[k][1], k))
            blanks.append(Blank(i, ends[k], lanes[k][0]))
            ends[k] += long + kerf
        used = {blank.piece for blank in blanks}
        waiting = [i for i in waiting if i not in used]
        levels.append(Level(max(ends) - kerf, blanks))
    return levels


def _fill(
    pieces: Sequence[tuple[int, int]],
    order: list[int],
    width: int,
    kerf: int,
    behind: list[int],
    roll: int | None,
    *,
    total: int | None = None,
) -> list[Level]:
    """Open a level with the first blank left, then fill it beside and behind with whatever fits best.

    ``behind``: so many more blanks, no wider, follow the first in its level: two short ones beside a long one may
    draw less than a level for each. ``total``: stop when no level fits what is left of so much length.
    """
    waiting = list(order)
    levels: list[Level] = []
    while waiting:
        first = next((i for i in waiting if total is None or pieces[i][0] <= total), -1)
        if first < 0:
            break
        waiting.remove(first)
        length = pieces[first][0]
        blanks = [Blank(first, 0, 0)]
        lane = pieces[first][1]
        for _ in range(behind[len(levels)]):
            more = next((i for i in waiting if pieces[i][1] <= lane), None)
            if more is None or (roll is not None and length + kerf + pieces[more][0] > roll):
                break
            waiting.remove(more)
            blanks.append(Blank(more, length + kerf, 0))
            length += kerf + pieces[more][0]
        free = [(0, lane + kerf, length, width - lane - kerf)]
        while free:
            x, y, along, across = free.pop(0)
            fitting = [i for i in waiting if pieces[i][0] <= along and pieces[i][1] <= across]
            if not fitting:
                continue
            chosen = max(fitting, key=lambda i: (pieces[i][0] * pieces[i][1], pieces[i][0], -i))
            waiting.remove(chosen)
            a, b = pieces[chosen]
            blanks.append(Blank(chosen, x, y))
            free += [(x, y + b + kerf, along, across - b - kerf), (x + a + kerf, y, along - a - kerf, b)]
        levels.append(Level(length, blanks))
        total = total - length - kerf if total is not None else None
    return levels


def fill_length(
    pieces: Sequence[tuple[int, int]], length: int, width: int, kerf: int, work: Work | None = None
) -> tuple[list[Level], set[int]] | None:
    """Levels that use up most of one piece of goods ``length`` × ``width``, and the blanks in them; None: none fits.

    >>> levels, used = fill_length([(80, 54), (80, 27), (30, 27)], 120, 54, 0)
    >>> [level.length for level in levels], sorted(used)
    ([80, 30], [0, 2])
    """
    fits = [i for i, (a, b) in enumerate(pieces) if a <= length and b <= width]
    best: tuple[int, list[Level]] = (0, [])
    draw = random.Random(SEED)  # noqa: S311  # repeatable search, no secret
    work = work or Work()
    for attempt in range(work["remnant orders"] if fits else 0):
        jitter = {i: 1.0 + (0.4 * (draw.random() - 0.5) if attempt else 0.0) for i in fits}
        order = sorted(fits, key=lambda i, j=jitter: (-pieces[i][0] * pieces[i][1] * j[i], i))  # type: ignore[misc]
        levels = _fill(pieces, order, width, kerf, [0] * len(fits), length, total=length)
        area = sum(pieces[b.piece][0] * pieces[b.piece][1] for level in levels for b in level.blanks)
        if area > best[0]:
            best = (area, levels)
        if len(fits) == 1 or area == length * width:
            break
    else:
        if fits:
            work.out("remnant orders")
    return (best[1], {b.piece for level in best[1] for b in level.blanks}) if best[1] else None


def _from_pool(
    pieces: Sequence[tuple[int, int]],
    fits: list[int],
    kerf: int,
    pool: list[tuple[tuple[tuple[int, int], ...], Level]],
    best: list[Level],
    best_length: int,
    work: Work,
) -> tuple[list[Level], int]:
    kinds = sorted({pieces[i] for i in fits})
    number = {kind: k for k, kind in enumerate(kinds)}
    waiting: dict[tuple[int, int], list[int]] = {}
    for i in sorted(fits, reverse=True):
        waiting.setdefault(pieces[i], []).append(i)
    columns = []
    for key, level in pool:
        counts: dict[int, int] = {}
        for kind in key:
            counts[number[kind]] = counts.get(number[kind], 0) + 1
        columns.append((float(level.length + kerf), counts))
    chosen, answer = cover(
        columns, [len(waiting[kind]) for kind in kinds], below=best_length - 1, nodes=work["roll choice"]
    )
    if answer.cut_short:
        work.out("roll choice")
    levels = []
    for (_, level), times in zip(pool, chosen, strict=False):
        for _ in range(times):
            blanks = []
            for blank in level.blanks:
                ready = waiting[pieces[blank.piece]]
                if ready:
                    blanks.append(Blank(ready.pop(), blank.x, blank.y))
            if blanks:
                length = max(b.x + pieces[b.piece][0] for b in blanks)
                levels.append(Level(length, blanks))
    length = sum(level.length + kerf for level in levels)
    return (best, best_length) if any(waiting.values()) or length >= best_length else (levels, length)
