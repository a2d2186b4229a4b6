"""Cutting rectangles from sheets with edge-to-edge (guillotine) cuts.

Sizes are whole numbers in one unit of the caller's choice (the cut plans use 0.1 mm). A saw cut turns ``kerf``
to dust; cutting x into a and b means a + kerf + b = x, the same as (a+kerf) + (b+kerf) = x + kerf, so with
every size raised by one kerf the cut has no width.

Plans come from first-fit and best-fit over many orders, and from patterns chosen by column generation;
the better one is kept. The bound comes from dual feasible functions (``sheet_bound``) and, where that does not meet
the first plan, from the same patterns: the best single sheet is found by Beasley's dynamic programme (J. Oper. Res.
Soc. 36, 1985, 297-306), the bound by Farley (Oper. Res. 38, 1990).
"""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import product

from estimating.engine.best_sheet import BestSheet, Cut
from estimating.engine.cut_patterns import PatternSearch
from estimating.engine.limits import Work
from estimating.engine.linear import Master, cover
from estimating.engine.sheet_bound import fewest_sheets

PRICE_SCALE = 1 << 24
SEARCH_WORK = 20_000
"""What one search costs beside its pairs of parts, in the same unit."""
FREE_POINTS = 150
PULL = 0.6
DIVE_JOINS = 60_000
"""Pairs of parts looked at in one round of a dive; what it misses a later round may find."""
FINE_POINTS = 240
"""Cut positions per side once coarser ones no longer find or bound anything."""
COLUMNS = 30
DIVE_ROUNDS = 3
FIRST_TRIES = 8_000
"""Tries of a piece in a free space before patterns are priced; the fitting goes on later."""
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
    stopped_by: str = ""
    """Limits that kept the search from proving more, in words."""

    @property
    def proven(self) -> bool:
        return not self.too_big and len(self.sheets) == self.bound


def cut_sheets(
    pieces: Sequence[tuple[int, int]],
    sheet: tuple[int, int],
    *,
    kerf: int = 0,
    turns: bool = True,
    work: Work | None = None,
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
    raised, room = _kinds(pieces, fits, kerf, turns), (sheet[0] + kerf, sheet[1] + kerf)
    bound = -(-sum(a * b * count for (a, b), count in raised.items()) // (room[0] * room[1]))
    work = work or Work()
    sheets = _fit_all(pieces, fits, sheet, kerf, turns, bound, tries=0)
    if bound < len(sheets):
        bound = max(bound, fewest_sheets(list(raised), list(raised.values()), room, turns=turns))
    if bound < len(sheets):
        sheets = _fit_all(pieces, fits, sheet, kerf, turns, bound, tries=min(FIRST_TRIES, work["fitting tries"]))
    if bound < len(sheets):
        pool = _pool(pieces, fits, sheet, kerf, turns, work)
        pool.take(pieces, sheets)
        bound = max(bound, pool.price_unlimited(len(sheets)))
        if bound < len(sheets):
            more = _fit_all(pieces, fits, sheet, kerf, turns, bound, tries=work["fitting tries"], work=work)
            sheets = min(sheets, more, key=_rank)
        if bound < len(sheets):
            sheets, bound = _by_patterns(pieces, fits, sheet, kerf, turns, sheets, bound, pool)
    if bound > len(sheets):
        raise AssertionError("the bound lies above the plan")
    return SheetPlan(sheets, bound, too_big, work.said() if bound < len(sheets) else "")


def _ways(piece: tuple[int, int], room: tuple[int, int], turns: bool) -> list[tuple[int, int, bool]]:
    """Ways a piece fits a rectangle, as (length, width, turned)."""
    length, width = piece
    ways = []
    if length <= room[0] and width <= room[1]:
        ways.append((length, width, False))
    if turns and length != width and width <= room[0] and length <= room[1]:
        ways.append((width, length, True))
    return ways


# ---------------------------------------------------------------- fitting one piece after another


def _fit_all(
    pieces: Sequence[tuple[int, int]],
    fits: list[int],
    sheet: tuple[int, int],
    kerf: int,
    turns: bool,
    bound: int,
    *,
    tries: int,
    work: Work | None = None,
) -> list[Sheet]:
    """The best of many orders, until one meets the bound or ``tries`` are used up."""
    work = work or Work()
    keys: list[Callable[[int], tuple[int, ...]]] = [
        lambda i: (-pieces[i][0] * pieces[i][1], -max(pieces[i])),
        lambda i: (-pieces[i][0], -pieces[i][1]),
        lambda i: (-pieces[i][1], -pieces[i][0]),
        lambda i: (-max(pieces[i]), -min(pieces[i])),
        lambda i: (-min(pieces[i]), -max(pieces[i])),
    ]
    best: list[Sheet] | None = None
    # The tightest space by area, divided so that the larger part stays whole, mostly needs fewest: it comes first.
    for key, choose, divide in product(keys, ("area", "first", "short"), ("area", "short", "long")):
        order = sorted(fits, key=lambda i, key=key: (key(i), i))  # type: ignore[misc]
        found, took = _fit(pieces, order, sheet, kerf, turns, choose, divide)
        tries -= took
        if best is None or _rank(found) < _rank(best):
            best = found
        if len(best) <= bound:
            return best
        if tries <= 0:
            work.out("fitting tries")
            return best
    draw = random.Random(SEED)  # noqa: S311  # repeatable search, no secret
    for _ in range(work["fitting orders"]):
        if best is None:
            break
        if tries <= 0:
            work.out("fitting tries")
            break
        jitter = {i: (1.0 + 0.35 * (draw.random() - 0.5)) for i in fits}
        mixed = sorted(fits, key=lambda i: (-pieces[i][0] * pieces[i][1] * jitter[i], i))
        choose = ("first", "short", "area")[int(draw.random() * 3)]
        divide = ("short", "long", "area")[int(draw.random() * 3)]
        found, took = _fit(pieces, mixed, sheet, kerf, turns, choose, divide)
        tries -= took
        if _rank(found) < _rank(best):
            best = found
        if len(best) <= bound:
            break
    else:
        work.out("fitting orders")
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
        piece = pieces[i]
        ways = [(piece[0], piece[1], False)]
        if turns and piece[0] != piece[1]:
            ways.append((piece[1], piece[0], True))
        best: tuple[int, ...] | None = None
        for number, opened in enumerate(sheets):
            tries += len(opened.free)
            for spot, (_, _, length, width) in enumerate(opened.free):
                for a, b, turned in ways:
                    if a > length or b > width:
                        continue
                    if choose == "first":
                        rank: tuple[int, ...] = (0, 0, number, spot, turned)
                    elif choose == "short":
                        over, side = length - a, width - b
                        rank = (over, side, number, spot, turned) if over < side else (side, over, number, spot, turned)
                    else:
                        rank = (length * width - a * b, min(length - a, width - b), number, spot, turned)
                    if best is None or rank < best:
                        best = rank
            if choose == "first" and best is not None:
                break
        if best is None:
            sheets.append(Sheet(free=[(0, 0, *sheet)]))
            way = min(_ways(piece, sheet, turns), key=lambda w: (min(sheet[0] - w[0], sheet[1] - w[1]), w[2]))
            _place(sheets[-1], 0, i, way, kerf, divide)
        else:
            _, _, number, spot, flip = best
            _place(sheets[number], spot, i, ways[flip], kerf, divide)
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


# ---------------------------------------------------------------- patterns over many sheets


def _kind(piece: tuple[int, int], *, turns: bool) -> tuple[int, int]:
    return (max(piece), min(piece)) if turns else piece


def _kinds(pieces: Sequence[tuple[int, int]], fits: list[int], kerf: int, turns: bool) -> dict[tuple[int, int], int]:
    """How many there are of every size, the kerf added."""
    counted = Counter(_kind(pieces[i], turns=turns) for i in fits)
    return {(a + kerf, b + kerf): counted[a, b] for a, b in sorted(counted, reverse=True)}


def _pool(
    pieces: Sequence[tuple[int, int]], fits: list[int], sheet: tuple[int, int], kerf: int, turns: bool, work: Work
) -> _Pool:
    raised = _kinds(pieces, fits, kerf, turns)
    room = (sheet[0] + kerf, sheet[1] + kerf)
    return _Pool(PatternSearch(list(raised), room, turns=turns), list(raised.values()), kerf, work)


def _by_patterns(
    pieces: Sequence[tuple[int, int]],
    fits: list[int],
    sheet: tuple[int, int],
    kerf: int,
    turns: bool,
    sheets: list[Sheet],
    bound: int,
    pool: _Pool,
) -> tuple[list[Sheet], int]:
    """Choose from patterns priced by the linear programme; where that misses the bound, dive and then prove."""

    def kind_key(i: int) -> tuple[int, int]:
        return _kind(pieces[i], turns=turns)

    kinds = sorted({kind_key(i) for i in fits}, reverse=True)
    number = {kind: k for k, kind in enumerate(kinds)}
    pool.take(pieces, sheets)
    if bound < len(sheets):
        bound = max(bound, pool.price(len(sheets), bound))
    chosen: list[tuple[int, ...]] = []
    target = len(sheets) - 1
    if bound <= target:
        chosen = pool.choose(target) or pool.dive(bound, target)
    if not chosen and bound <= target:
        chosen, bound = pool.prove(target, bound)
    if not chosen:
        return sheets, min(bound, len(sheets))
    waiting: dict[int, list[int]] = {}
    for i in sorted(fits, reverse=True):
        waiting.setdefault(number[kind_key(i)], []).append(i)
    plan = []
    for pattern in sorted(chosen, reverse=True):
        drawn = Sheet()
        cuts = pool.cuts[pattern]
        if cuts is None:
            loose = [waiting[k].pop() for k, n in enumerate(pattern) for _ in range(n) if waiting[k]]
            drawn = _redraw(pieces, loose, pool.fitted, kind_key)
        else:
            _draw(drawn, cuts, (0, 0, *sheet), kerf, pieces, kinds, waiting)
        if drawn.pieces:
            plan.append(drawn)
    if any(waiting.values()):
        raise AssertionError("the chosen patterns leave pieces over")
    if len(plan) > bound:
        fresh = _pool(pieces, fits, sheet, kerf, turns, pool.limits)
        fresh.take(pieces, plan)
        bound = max(bound, fresh.price_unlimited(len(plan)))
        again, more = _by_patterns(pieces, fits, sheet, kerf, turns, plan, bound, fresh)
        return (again, more) if len(again) < len(plan) else (plan, more)
    return plan, min(bound, len(plan))


class _Pool:
    """Patterns seen so far, the work left, and what is to be covered."""

    def __init__(self, search: PatternSearch, demand: list[int], kerf: int, limits: Work) -> None:
        self.search, self.demand, self.kerf, self.limits = search, demand, kerf, limits
        self.cuts: dict[tuple[int, ...], Cut | None] = {}
        """None: as on one of the ``fitted`` sheets."""
        self.fitted: list[Sheet] = []
        self.work = limits["pricing joins"]
        area = search.sheet[0] * search.sheet[1]
        self.duals = [PRICE_SCALE * a * b // area for a, b in search.kinds]
        self.ceiling = PRICE_SCALE
        """Prices at which no pattern is worth more than ``ceiling``: by area to begin with."""

    def add(self, counts: tuple[int, ...], cuts: Cut | None) -> bool:
        if counts in self.cuts:
            return False
        self.cuts[counts] = cuts
        return True

    def take(self, pieces: Sequence[tuple[int, int]], sheets: list[Sheet]) -> None:
        """Add the patterns of a fitted plan."""
        kerf = self.kerf
        number = {(a - kerf, b - kerf): k for k, (a, b) in enumerate(self.search.kinds)}
        for used in sheets:
            counts = [0] * len(self.demand)
            for placed in used.pieces:
                counts[number[_kind(pieces[placed.piece], turns=self.search.turns)]] += 1
            self.add(tuple(counts), None)
        self.fitted += sheets

    def _master(self, demand: list[int]) -> Master:
        master = Master(demand)
        for k in range(len(demand)):
            master.add(1.0, {k: 1})
        for counts in self.cuts:
            if proper := {k: min(n, demand[k]) for k, n in enumerate(counts) if n and demand[k]}:
                master.add(1.0, proper)
        return master

    def price(self, enough: int, bound: int) -> int:
        """Column generation over patterns that take no more than the demand; gives the proven bound.

        ``enough``: stop as soon as the bound reaches this.
        """
        import numpy as np

        for k in range(len(self.demand)):
            self.add(tuple(int(k == j) for j in range(len(self.demand))), ("piece", k, *self.search.kinds[k]))
        master = self._master(self.demand)
        pull = PULL
        while self.work > 0:
            value, duals = master.solve()
            if bound >= min(enough, math.ceil(value - 1e-6)):
                break
            # Prices drawn towards the best feasible ones found so far swing less and bound sooner (Wentges,
            # Int. Trans. Oper. Res. 4, 1997).
            prices = [int(pull * c + (1 - pull) * d * PRICE_SCALE) for c, d in zip(self.duals, duals, strict=True)]
            found = self.search.search(prices, self.demand, least=PRICE_SCALE, joins=self.limits["round joins"])
            self.work -= found.joins + SEARCH_WORK
            ceiling = max(PRICE_SCALE, found.ceiling)
            total = sum(p * d for p, d in zip(prices, self.demand, strict=True))
            if total * self.ceiling > sum(p * d for p, d in zip(self.duals, self.demand, strict=True)) * ceiling:
                self.duals, self.ceiling = prices, ceiling
                bound = max(bound, -(-total // ceiling))
            new = 0
            worth = np.cumsum(found.patterns.counts * np.array(duals), axis=1)[:, -1]
            for place in np.flatnonzero(worth > 1 + 1e-6).tolist():
                pattern = found.patterns[place]
                if self.add(pattern.counts, pattern.cuts):
                    master.add(1.0, {k: n for k, n in enumerate(pattern.counts) if n})
                    new += 1
                if new >= COLUMNS:
                    break
            if new:
                pull = PULL
            elif pull > 0.05:
                pull -= PULL / 4
            elif found.complete or self.search.points >= FINE_POINTS:
                if not found.complete:
                    self.limits.out("round joins")
                break
            else:
                self.search, pull = self.search.finer(FINE_POINTS), PULL
        else:
            self.limits.out("pricing joins")
        return self._lifted(master, min(enough, bound + 1), bound)

    def _lifted(self, master: Master, target: int, bound: int) -> int:
        """Try to lift the bound to ``target`` at the gentlest prices that could: those just above it in all."""
        for _ in range(self.limits["raising rounds"]):
            _, duals = master.solve()
            worth = [int(d * PRICE_SCALE) for d in duals]
            high = sum(p * d for p, d in zip(worth, self.demand, strict=True))
            low = sum(p * d for p, d in zip(self.duals, self.demand, strict=True))
            # More than target − 1 sheets at no pattern worth more than one sheet means target sheets.
            goal = (target - 1) * PRICE_SCALE + PRICE_SCALE // 50
            if high <= goal or bound >= target:
                break
            pull = min(1.0, max(0.0, (high - goal) / (high - low))) if high > low else 0.0
            prices = [int(pull * c + (1 - pull) * w) + 1 for c, w in zip(self.duals, worth, strict=True)]
            found = self.search.search(prices, self.demand, least=PRICE_SCALE, joins=self.limits["raising joins"])
            ceiling = max(PRICE_SCALE, found.ceiling)
            total = sum(p * d for p, d in zip(prices, self.demand, strict=True))
            if -(-total // ceiling) >= target:
                self.duals, self.ceiling, bound = prices, ceiling, -(-total // ceiling)
                break
            new = [p for p in found.patterns[:COLUMNS] if self.add(p.counts, p.cuts)]
            for pattern in new:
                master.add(1.0, {k: n for k, n in enumerate(pattern.counts) if n})
            if not new:
                if not found.complete:
                    self.limits.out("raising joins")
                break
        else:
            self.limits.out("raising rounds")
        return bound

    def price_unlimited(self, enough: int) -> int:
        """The bound that patterns without limits give, and prices to start from: quick, and often enough alone."""
        sheet = BestSheet(self.search.kinds, self.search.sheet, turns=self.search.turns, limit=FREE_POINTS)
        master = self._master(self.demand)
        bound = 0
        for _ in range(self.limits["free rounds"]):
            value, duals = master.solve()
            if bound >= min(enough, math.ceil(value - 1e-6)):
                break
            prices = [int(d * PRICE_SCALE) for d in duals]
            worth, counts, _ = sheet.solve(prices)
            ceiling = max(PRICE_SCALE, worth)
            total = sum(p * d for p, d in zip(prices, self.demand, strict=True))
            if total * self.ceiling > sum(p * d for p, d in zip(self.duals, self.demand, strict=True)) * ceiling:
                self.duals, self.ceiling = prices, ceiling
                bound = max(bound, -(-total // ceiling))
            if worth <= PRICE_SCALE + len(prices) or not master.add(1.0, counts):
                break
        else:
            self.limits.out("free rounds")
        return bound

    def choose(self, target: int) -> list[tuple[int, ...]]:
        """Patterns of the pool that cover the demand with at most ``target`` sheets, if the search finds any."""
        columns = [(1.0, {k: n for k, n in enumerate(counts) if n}) for counts in self.cuts]
        counts, answer = cover(columns, self.demand, below=target, nodes=self.limits["choice"])
        if answer.cut_short:
            self.limits.out("choice")
        return [pattern for pattern, times in zip(self.cuts, counts, strict=False) for _ in range(times)]

    def dive(self, bound: int, target: int) -> list[tuple[int, ...]]:
        """Fix the most used pattern of the linear programme, price again for what is left, and so on."""
        self.work = self.limits["dive joins"]
        for skip in range(self.limits["dives"]):
            left, taken = list(self.demand), list[tuple[int, ...]]()
            while any(left) and len(taken) <= target and self.work > 0:
                master = self._master(left)
                for _ in range(DIVE_ROUNDS):
                    value, duals = master.solve()
                    # A little of the price by area tells patterns apart that the duals alone think equal.
                    prices = [int(0.1 * c + 0.9 * d * PRICE_SCALE) for c, d in zip(self.duals, duals, strict=True)]
                    found = self.search.search(prices, left, least=PRICE_SCALE * 9 // 10, joins=DIVE_JOINS)
                    self.work -= found.joins + SEARCH_WORK
                    new = [p for p in found.patterns[:COLUMNS] if self.add(p.counts, p.cuts)]
                    for pattern in new:
                        master.add(1.0, {k: n for k, n in enumerate(pattern.counts) if n})
                    if not new:
                        break
                value, _ = master.solve()
                if len(taken) + value > target + 1e-6:
                    break
                use = master.values()
                ranked = sorted(range(len(use)), key=lambda c: (-use[c], c))
                column = ranked[
                    min(skip, len(ranked) - 1) if len(taken) == skip // 2 and use[ranked[skip]] > 0.05 else 0
                ]
                proper = master.columns[column][1]
                whole = tuple(proper.get(k, 0) for k in range(len(left)))
                source = (
                    whole
                    if whole in self.cuts
                    else next(c for c in self.cuts if all(min(n, left[k]) == whole[k] for k, n in enumerate(c)))
                )
                for _ in range(max(1, int(use[column] + 1e-6))):
                    taken.append(source)
                    left = [max(0, d - n) for d, n in zip(left, whole, strict=True)]
                    if any(n > d for n, d in zip(whole, left, strict=True)):
                        break
            if not any(left) and len(taken) <= target:
                return taken
            if found_plan := self.choose(target):
                return found_plan
            if self.work <= 0:
                self.limits.out("dive joins")
                return []
        self.limits.out("dives")
        return []

    def prove(self, target: int, bound: int) -> tuple[list[tuple[int, ...]], int]:
        """List every pattern a plan of ``target`` sheets could use and choose among them: a plan, or proof of none.

        Such a plan can only use patterns whose reduced cost is within the gap to the linear programme.
        """
        total = sum(p * d for p, d in zip(self.duals, self.demand, strict=True))
        least = self.ceiling - (target * self.ceiling - total) - 1
        joins, listed = self.limits["proof joins"], self.limits["patterns listed"]
        found = self.search.search(self.duals, self.demand, least=max(-1, least), joins=joins, listed=listed)
        patterns = list(found.patterns)
        for pattern in patterns:
            self.add(pattern.counts, pattern.cuts)
        if not found.complete:
            self.limits.out("proof joins" if found.joins >= joins else "patterns listed")
            return [], bound
        columns = [(1.0, {k: n for k, n in enumerate(p.counts) if n}) for p in patterns]
        counts, answer = cover(columns, self.demand, below=target, nodes=self.limits["proof"])
        if answer.cut_short and not counts:
            self.limits.out("proof")
        if counts:
            return [p.counts for p, times in zip(patterns, counts, strict=True) for _ in range(times)], bound
        return [], target + 1 if answer.infeasible else bound


def _redraw(
    pieces: Sequence[tuple[int, int]],
    loose: list[int],
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
        a, b = first - kerf, second - kerf
        sheet.free.append(plate)
        _place(sheet, len(sheet.free) - 1, i, (a, b, pieces[i] != (a, b)), kerf, "short")
        return
    part = at - kerf
    if direction == "x":
        sheet.kerf_area += min(kerf, length - part) * width
        _draw(sheet, first, (x, y, part, width), kerf, pieces, kinds, waiting)
        rest = (x + part + kerf, y, length - part - kerf, width)
    else:
        sheet.kerf_area += min(kerf, width - part) * length
        _draw(sheet, first, (x, y, length, part), kerf, pieces, kinds, waiting)
        rest = (x, y + part + kerf, length, width - part - kerf)
    _draw(sheet, second, rest, kerf, pieces, kinds, waiting)
