"""Ways of laying one layer in courses: every direction and offset on a grid, scored before it is drawn.

A course is a row of sheets, or one strip off a roll. All work is done in course axes: u runs along the
courses, v across them; for direction "y" the field is mirrored about x = y so the same code serves both.
Lengths mm, areas mm².
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any, Literal

from estimating.engine.first_fit import sheets_needed
from estimating.engine.mat_shape import GRID, Point, Ring, parts_of, tidy_ring

Direction = Literal["x", "y"]
Segment = tuple[float, float, float]
"""(line, from, to): a joint at ``line`` on the other axis."""

EDGE = 0.02
"""mm looked to either side of a line to tell a joint from the field's own edge."""
STEPS = 32
"""Even offsets tried at most."""
FINEST = 50.0
"""mm (about 2 in); a finer grid of offsets is not worth its time."""
CLIPPED = 6_000
"""Sheet positions looked at in the best layouts by arithmetic, per direction, whose pieces are cut out of the field."""
FEWEST, MOST = 64, 160
"""Layouts looked at in large fields and in small ones."""
PACKED = 40
"""Best of those, and as many of the best by estimate, whose cut pieces are then packed."""


@dataclass(frozen=True)
class Goods:
    """Foam as it is sold: sheets, or a roll of ``length`` (infinite where none is stated)."""

    product: str
    length: float
    width: float
    roll: bool
    kerf: float
    turns: bool


@dataclass(frozen=True)
class PieceRules:
    width: float
    area: float


@dataclass(frozen=True)
class Cut:
    """A piece as laid, in course axes."""

    shape: Any
    length: float
    width: float
    area: float
    whole: bool
    fault: str
    """Empty, or the rule it breaks: ``narrow``, ``small`` or ``thin``."""


@dataclass(frozen=True)
class Cell:
    """What becomes of one sheet position (or one strip)."""

    pieces: tuple[Cut, ...]
    splits: tuple[Segment, ...] = ()
    """Joints where the piece is divided at a column's centre line: (u, from v, to v)."""


@dataclass(frozen=True)
class Way:
    """One way of laying the layer. ``across``/``along``: first course line and first end joint."""

    direction: Direction
    across: float
    along: float
    stagger: float
    faults: int
    least: int
    """Stock pieces that the areas alone ask for."""
    stock: int
    drawn: float
    """Length drawn off the roll; 0 for sheets."""
    cut: int
    """Pieces that are not whole stock."""
    joint_length: float


@dataclass
class Courses:
    """One layer in one direction. Keeps what it has clipped, since neighbouring layouts share rows."""

    area: Any
    goods: Goods
    rules: PieceRules
    direction: Direction
    exact: bool = False
    """False while comparing: cells are clipped by the faster rectangle clip of GEOS, which may leave unclean rings."""
    line: float | None = None
    """A course line that is pinned, v."""
    corner: Point | None = None
    """Corner of a sheet that is pinned, (u, v)."""
    counted: int = 0
    clipped: int = 0
    """Layouts counted by arithmetic, and those of them cut out of the field so far."""
    _bands: dict[float, Any] = field(default_factory=dict)
    _full: dict[float, list[tuple[float, float]]] = field(default_factory=dict)
    _cells: dict[tuple[float, float], Cell] = field(default_factory=dict)
    _strips: dict[tuple[float, bool], list[Cell]] = field(default_factory=dict)
    _lines: dict[tuple[int, float], list[tuple[float, float]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        import numpy as np

        self.shape = mirrored(self.area) if self.direction == "y" else self.area
        self.low_u, self.low_v, self.high_u, self.high_v = (round(float(c), 2) for c in self.shape.bounds)
        starts, ends = [], []
        for ring in (self.shape.exterior, *self.shape.interiors):
            points = np.asarray(ring.coords)
            starts.append(points[:-1])
            ends.append(points[1:])
        self._from = np.concatenate(starts)
        self._to = np.concatenate(ends)
        self.columns = sorted(
            (round((h.bounds[0] + h.bounds[2]) / 2, 2), round((h.bounds[1] + h.bounds[3]) / 2, 2))
            for h in self.shape.interiors
        )

    # ------------------------------------------------------------ offsets to try

    def across_offsets(self) -> list[float]:
        """Where the first course line may lie above the field's low edge, 0 ≤ offset < width, the likeliest first."""
        width = self.goods.width
        pinned = self.corner[1] if self.corner is not None else self.line
        if pinned is not None:
            return [round((pinned - self.low_v) % width, 2) % width]
        left = (self.high_v - self.low_v) % width
        wanted = [0.0, left, left / 2, (left + width) / 2, *_grid(width)]
        wanted += [v - self.low_v for _, v in self.columns]
        wanted += [float(y) - self.low_v for _, y in self.shape.exterior.coords[:-1]]
        return _distinct(wanted, width)

    def along_offsets(self) -> list[float]:
        """Where the first course's first end joint may lie, 0 ≤ offset < length, the likeliest first."""
        if self.goods.roll:
            return [0.0]
        length = self.goods.length
        left = (self.high_u - self.low_u) % length
        wanted = [0.0, left, left / 2, (left + length) / 2, *_grid(length)]
        wanted += [u - self.low_u for u, _ in self.columns]
        return _distinct(wanted, length)

    # ------------------------------------------------------------ lines through the field

    def inside(self, axis: int, line: float) -> list[tuple[float, float]]:
        """Stretches of the line u = ``line`` (axis 0) or v = ``line`` (axis 1) with field on both sides."""
        key = (axis, line)
        if key not in self._lines:
            self._lines[key] = _both(self._scan(axis, line - EDGE), self._scan(axis, line + EDGE))
        return self._lines[key]

    def _scan(self, axis: int, line: float) -> list[tuple[float, float]]:
        a, b = self._from, self._to
        crossing = (a[:, axis] <= line) != (b[:, axis] <= line)
        a, b = a[crossing], b[crossing]
        share = (line - a[:, axis]) / (b[:, axis] - a[:, axis])
        met = sorted(float(m) for m in a[:, 1 - axis] + share * (b[:, 1 - axis] - a[:, 1 - axis]))
        return list(zip(met[::2], met[1::2], strict=True))

    # ------------------------------------------------------------ rows

    def row_starts(self, across: float) -> list[float]:
        """Low edge of every course, from the bottom."""
        width = self.goods.width
        first = -1 if across > EDGE else 0
        count = math.ceil((self.high_v - self.low_v - across - EDGE) / width)
        return [round(self.low_v + across + k * width, 2) for k in range(first, max(count, first + 1))]

    def band(self, v: float) -> Any:
        """Field inside one course."""
        if v not in self._bands:
            self._bands[v] = self._clip(self.shape, self.low_u - 1, v, self.high_u + 1, round(v + self.goods.width, 2))
        return self._bands[v]

    def full(self, v: float) -> list[tuple[float, float]]:
        """Stretches of u over which one course lies wholly in the field.

        Where the course's middle is inside and no edge of the field passes through it.
        """
        if v in self._full:
            return self._full[v]
        import numpy as np

        low, high = v + EDGE, round(v + self.goods.width, 2) - EDGE
        rise = self._to[:, 1] - self._from[:, 1]
        level = np.abs(rise) < 1e-9
        with np.errstate(divide="ignore", invalid="ignore"):
            enter = np.where(level, 0.0, (low - self._from[:, 1]) / rise)
            leave = np.where(level, 1.0, (high - self._from[:, 1]) / rise)
        first, last = np.maximum(np.minimum(enter, leave), 0.0), np.minimum(np.maximum(enter, leave), 1.0)
        passes = np.where(level, (self._from[:, 1] > low) & (self._from[:, 1] < high), first < last)
        run = self._to[:, 0] - self._from[:, 0]
        one, two = self._from[:, 0] + first * run, self._from[:, 0] + last * run
        taken = sorted(zip(np.minimum(one, two)[passes].tolist(), np.maximum(one, two)[passes].tolist(), strict=True))
        found = []
        for a, b in self._scan(1, (low + high) / 2):
            at = a
            for c, d in taken:
                if c >= b or d <= at:
                    continue
                if c > at + EDGE:
                    found.append((at, c))
                at = max(at, d)
            if b > at + EDGE:
                found.append((at, b))
        self._full[v] = found
        return found

    def row(self, v: float, start: float, number: int) -> list[Cell]:
        """Cells of one course. ``start`` is where one of its end joints lies."""
        if self.goods.roll:
            return self._strip_row(v, number)
        cells = []
        for u0, u1 in self._places(start):
            cell = self._cells.get((v, u0))
            if cell is None:
                cell = self._cells[(v, u0)] = self._cell(v, u0, u1)
            if cell.pieces:
                cells.append(cell)
        return cells

    def _places(self, start: float) -> list[tuple[float, float]]:
        """From and to of every sheet position of a course."""
        length = self.goods.length
        first = math.floor((self.low_u - start + EDGE) / length)
        last = math.ceil((self.high_u - EDGE - start) / length)
        import numpy as np

        marks = np.round(start + np.arange(first, last + 1) * length, 2).tolist()
        return list(pairwise(marks))

    def _whole(self, v: float, u0: float, u1: float) -> Cell | None:
        """The cell of a sheet that lies wholly in the field."""
        if not any(a <= u0 + EDGE and b >= u1 - EDGE for a, b in self.full(v)):
            return None
        return self._sheet(v, u0, u1)

    def _sheet(self, v: float, u0: float, u1: float) -> Cell:
        import shapely

        goods = self.goods
        shape = shapely.box(u0, v, u1, round(v + goods.width, 2)) if self.exact else None
        return Cell(pieces=(Cut(shape, goods.length, goods.width, goods.length * goods.width, True, ""),))

    def _cell(self, v: float, u0: float, u1: float) -> Cell:
        whole = self._whole(v, u0, u1)
        if whole is not None:
            return whole
        return self._pieces(self._clip(self.band(v), u0, v, u1, round(v + self.goods.width, 2)))

    def prepare(self, laid: Iterable[tuple[float, float, float]]) -> None:
        """Cut out the cells of many layouts (across, along, stagger) in one go; ``row`` finds them made."""
        import numpy as np
        import shapely

        width = self.goods.width
        wanted: dict[tuple[float, float], tuple[float, float]] = {}
        for across, along, stagger in laid:
            for number, v in enumerate(self.row_starts(across)):
                full = self.full(v)
                for u0, u1 in self._places(self._start(along, number, stagger)):
                    key = (v, u0)
                    if key in self._cells or key in wanted:
                        continue
                    low, high = u0 + EDGE, u1 - EDGE
                    for a, b in full:
                        if a <= low and b >= high:
                            self._cells[key] = self._sheet(v, u0, u1)
                            break
                    else:
                        wanted[key] = (u0, u1)
        if not wanted:
            return
        boxes = np.array([(u0, v, u1, round(v + width, 2)) for (v, _), (u0, u1) in wanted.items()])
        bands = [self.band(v) for v, _ in wanted]
        shapes = np.array(
            [self._clip(band, *box) for band, box in zip(bands, boxes.tolist(), strict=True)], dtype=object
        )
        areas, bounds = shapely.area(shapes), shapely.bounds(shapes)
        simple = (shapely.get_type_id(shapes) == 3) & (shapely.get_num_interior_rings(shapes) == 0)
        thin = self._thin(shapes, areas, bounds)
        for place, key in enumerate(wanted):
            area = float(areas[place])
            if area <= 1:
                self._cells[key] = Cell(())
            elif simple[place]:
                u0, v0, u1, v1 = (float(c) for c in bounds[place])
                fault = self._fault(area, u1 - u0, v1 - v0, lambda at=place: bool(thin[at]))  # type: ignore[misc]
                piece = Cut(shapes[place], u1 - u0, v1 - v0, area, self._is_whole(area), fault)
                self._cells[key] = Cell((piece,))
            else:
                self._cells[key] = self._pieces(shapes[place])

    def _is_whole(self, area: float) -> bool:
        return not self.goods.roll and area >= self.goods.length * self.goods.width - 1

    def _thin(self, shapes: Any, areas: Any, bounds: Any) -> Any:
        """Which shapes have a part thinner than the rule, away from what a rectangle of their size would have."""
        import numpy as np
        import shapely

        found = np.zeros(len(shapes), dtype=bool)
        limit = self.rules.width
        boxes = (bounds[:, 2] - bounds[:, 0]) * (bounds[:, 3] - bounds[:, 1])
        asked = np.flatnonzero((areas > 1) & (areas < 0.985 * boxes)) if limit else np.array([], dtype=int)
        if len(asked):
            opened = shapely.buffer(
                shapely.buffer(shapes[asked], -limit / 2, join_style="mitre"), limit / 2, join_style="mitre"
            )
            found[asked] = areas[asked] - shapely.area(opened) > limit**2 / 2
        return found

    def _clip(self, shape: Any, u0: float, v0: float, u1: float, v1: float) -> Any:
        import shapely

        if self.exact:
            return shapely.intersection(shape, shapely.box(u0, v0, u1, v1))
        return shapely.clip_by_rect(shape, u0, v0, u1, v1)

    def _strip_row(self, v: float, number: int) -> list[Cell]:
        odd = bool(number % 2)
        if (v, odd) not in self._strips:
            part = self.band(v)
            cells = []
            for shape in parts_of(part):
                u0, _, u1, _ = shape.bounds
                limit = self.goods.length
                cuts = [u0, u1]
                if u1 - u0 > limit + EDGE:
                    steps = math.ceil((u1 - u0 - EDGE) / limit)
                    inner = [u1 - limit * k if odd else u0 + limit * k for k in range(1, steps)]
                    cuts = sorted({round(c, 2) for c in (u0, *inner, u1)})
                for a, b in pairwise(cuts):
                    clipped = shape if len(cuts) == 2 else self._clip(shape, a, v - 1, b, v + self.goods.width + 1)
                    cell = self._pieces(clipped)
                    if b != cuts[-1]:
                        cell = Cell(cell.pieces, cell.splits + tuple(self._ends(b, v)))
                    cells.append(cell)
            self._strips[(v, odd)] = [cell for cell in cells if cell.pieces]
        return self._strips[(v, odd)]

    def _pieces(self, shape: Any) -> Cell:
        found: list[Cut] = []
        splits: list[Segment] = []
        waiting = [part for part in parts_of(shape) if part.area > 1]
        while waiting:
            part = waiting.pop(0)
            u0, v0, u1, v1 = part.bounds
            if part.interiors:
                hole = part.interiors[0].bounds
                line = round((hole[0] + hole[2]) / 2, 2)
                splits += [(line, max(a, v0), min(b, v1)) for a, b in self.inside(0, line) if a < v1 and b > v0]
                left = self._clip(part, u0 - 1, v0 - 1, line, v1 + 1)
                right = self._clip(part, line, v0 - 1, u1 + 1, v1 + 1)
                waiting += [p for p in parts_of(left) + parts_of(right) if p.area > 1]
                continue
            length, width = u1 - u0, v1 - v0
            area = part.area
            fault = self._fault(area, length, width, lambda one=part: self._thin_part(one))  # type: ignore[misc]
            found.append(Cut(part, length, width, area, self._is_whole(area), fault))
        return Cell(tuple(found), tuple(splits))

    def _thin_part(self, part: Any) -> bool:
        import numpy as np

        return bool(self._thin(np.array([part], dtype=object), np.array([part.area]), np.array([part.bounds]))[0])

    def _fault(self, area: float, length: float, width: float, thin: Callable[[], bool]) -> str:
        if min(length, width) < self.rules.width - 0.5:
            return "narrow"
        if area < self.rules.area - 1:
            return "small"
        return "thin" if thin() else ""

    def _ends(self, u: float, v: float) -> Iterable[Segment]:
        top = v + self.goods.width
        for a, b in self.inside(0, u):
            low, high = max(a, v), min(b, top)
            if high - low > 1:
                yield u, low, high

    def rows(self, across: float, along: float, stagger: float) -> list[tuple[float, float, list[Cell]]]:
        """(low edge, end-joint start, cells) of every course that holds anything, from the bottom."""
        found = []
        for number, v in enumerate(self.row_starts(across)):
            start = self._start(along, number, stagger)
            cells = self.row(v, start, number)
            if cells:
                found.append((v, start, cells))
        return found

    def _start(self, along: float, number: int, stagger: float) -> float:
        """Where one end joint of a course lies."""
        length = self.goods.length
        shift = 0.0 if self.goods.roll else (number * stagger * length) % length
        return round(self.low_u + along + shift, 2)

    def joints(self, rows: list[tuple[float, float, list[Cell]]]) -> tuple[list[Segment], list[Segment]]:
        """(along the courses as (v, from u, to u), across them as (u, from v, to v))."""
        along: list[Segment] = []
        across: list[Segment] = []
        for number, (v, start, cells) in enumerate(rows):
            if number:
                along += [(v, a, b) for a, b in self.inside(1, v) if b - a > 1]
            for cell in cells:
                across += cell.splits
            if not self.goods.roll:
                length = self.goods.length
                step = math.ceil((self.low_u + EDGE - start) / length)
                while start + step * length < self.high_u - EDGE:
                    across += self._ends(round(start + step * length, 2), v)
                    step += 1
        return along, across

    # ------------------------------------------------------------ scoring

    def ways(self, staggers: list[float]) -> list[Way]:
        """The layouts worth a look, best first: fewest broken rules, stock pieces, cut pieces, least joint length.

        Sheets: whole sheets and end pieces of every offset are counted by arithmetic, and only the best are cut out
        of the field and packed.
        """
        tried = []
        for stagger in staggers:
            if self.goods.roll:
                strips = [(across, 0.0, stagger) for across in self.across_offsets()]
                self.counted += len(strips)
                tried += strips
            else:
                tried += self._screened(stagger)
        if not self.goods.roll:
            self.prepare(tried)
        self.clipped += len(tried)
        found = [self._score(*laid) for laid in tried]
        ranked = sorted(found, key=_rank)
        packed = dict.fromkeys(ranked[:PACKED] + found[:PACKED])
        rest = [way for way in ranked if way not in packed]
        return sorted((self._packed(way) for way in packed), key=_rank) + rest

    def _screened(self, stagger: float) -> list[tuple[float, float, float]]:
        """Offsets with the fewest end pieces under the rule, then the most whole sheets or the least stock.

        Stock is estimated piece by piece: the share of a sheet that one of many pieces of that size would take.
        """
        import numpy as np
        import shapely

        offsets = [(across, self.row_starts(across)) for across in self.across_offsets()]
        lows = sorted({v for _, starts in offsets for v in starts if v not in self._bands})
        if lows and not self.exact:
            low = np.array(lows)
            strips = shapely.box(self.low_u - 1, low, self.high_u + 1, np.round(low + self.goods.width, 2))
            self._bands.update(zip(lows, shapely.intersection(self.shape, strips), strict=True))
        length, limit = self.goods.length, self.rules.width - 0.5
        ranked = []
        for across, starts in offsets:
            along = np.array(
                self.along_offsets() if self.corner is None else [self._along_pinned(across, stagger)], dtype=float
            )
            full: list[tuple[float, float, float]] = []
            parts: list[tuple[float, float, float, float]] = []
            for number, v in enumerate(starts):
                shift = self.low_u + (number * stagger * length) % length
                full += [(shift, a, b) for a, b in self.full(v)]
                for part in parts_of(self.band(v)):
                    u0, v0, u1, v1 = part.bounds
                    parts.append((shift, u0, u1, v1 - v0))
            whole = np.zeros(len(along), dtype=np.int64)
            if full:
                shift, a, b = (c[:, None] for c in np.array(full).T)
                line = shift + along[None, :]
                count = np.floor((b + EDGE - line) / length) - np.ceil((a - EDGE - line) / length)
                whole = np.maximum(count, 0).sum(axis=0).astype(np.int64)
            shift, a, b, tall = (c[:, None] for c in np.array(parts).T)
            line = shift + along[None, :]
            first = line + np.ceil((a + EDGE - line) / length) * length
            last = line + np.floor((b - EDGE - line) / length) * length
            divided = first < b - EDGE
            pieces = np.where(divided, np.rint((last - first) / length) + 2, 1)
            short = np.where(divided, (first - a < limit) * 1 + (b - last < limit), (b - a < limit) * 1)
            faults = np.where(tall < limit, pieces, short).sum(axis=0)
            count = pieces.sum(axis=0)
            rows = np.maximum(np.floor((self.goods.width + 1) / tall), 1)
            ends = [np.where(divided, first - a, b - a), np.where(divided, b - last, 0.0)]
            share = sum(np.where(e > 1, 1 / np.maximum(np.floor((length + 1) / np.maximum(e, 1)), 1), 0) for e in ends)
            middle = np.where(divided, np.rint((last - first) / length), 0)
            stock = ((share + middle) / rows).sum(axis=0)
            for k, offset in enumerate(along.tolist()):
                ranked.append(
                    (int(faults[k]), -int(whole[k]), int(count[k]), round(float(stock[k]), 3), across, offset)
                )
        self.counted += len(ranked)
        by_whole = sorted(ranked)
        by_stock = sorted(ranked, key=lambda r: (r[0], r[3], r[1], r[2], r[4:]))
        cells = (self.high_u - self.low_u) / length * (self.high_v - self.low_v) / self.goods.width
        most = max(FEWEST, min(MOST, int(CLIPPED / max(1.0, cells))))
        mixed = dict.fromkeys(r[4:] for pair in zip(by_stock, by_whole, strict=True) for r in pair)
        return [(across, along, stagger) for across, along in list(mixed)[:most]]

    def _along_pinned(self, across: float, stagger: float) -> float:
        """The offset of end joints that puts a sheet at the pinned corner."""
        u, v = self.corner or (self.low_u, self.low_v)
        starts = self.row_starts(across)
        number = min(range(len(starts)), key=lambda k: abs(starts[k] - v))
        length = self.goods.length
        return round((u - self.low_u - number * stagger * length) % length, 2)

    def _score(self, across: float, along: float, stagger: float) -> Way:
        rows = self.rows(across, along, stagger)
        pieces = [piece for _, _, cells in rows for cell in cells for piece in cell.pieces]
        whole = sum(1 for piece in pieces if piece.whole)
        boxes = sum(piece.length * piece.width for piece in pieces if not piece.whole)
        sheet = self.goods.length * self.goods.width
        least = whole + (math.ceil(boxes / sheet - 1e-6) if math.isfinite(sheet) else 1)
        lengthwise, ends = self.joints(rows)
        return Way(
            direction=self.direction,
            across=across,
            along=along,
            stagger=stagger,
            faults=sum(1 for piece in pieces if piece.fault),
            least=least,
            stock=least,
            drawn=drawn_off([(p.length, p.width) for p in pieces], self.goods.width) if self.goods.roll else 0.0,
            cut=len(pieces) - whole,
            joint_length=round(sum(b - a for _, a, b in lengthwise + ends), 1),
        )

    def _packed(self, way: Way) -> Way:
        rows = self.rows(way.across, way.along, way.stagger)
        stock = stock_needed([p for _, _, cells in rows for cell in cells for p in cell.pieces], self.goods)
        return replace(way, stock=stock)


def drawn_off(strips: list[tuple[float, float]], width: float) -> float:
    """Length drawn off a roll when narrow strips are cut beside others, the longest first.

    >>> drawn_off([(10.0, 5.0), (8.0, 2.0), (6.0, 3.0)], 5.0)
    18.0
    """
    left: list[float] = []
    total = 0.0
    for length, across in sorted(strips, reverse=True):
        spot = next((k for k, free in enumerate(left) if free >= across - EDGE), None)
        if spot is None:
            total += length
            left.append(width - across)
        else:
            left[spot] -= across
    return round(total, 2)


def stock_needed(pieces: list[Cut], goods: Goods) -> int:
    """Whole sheets, plus those that the cut pieces are packed into; 1 for a roll of unstated length."""
    if not math.isfinite(goods.length):
        return 1 if pieces else 0
    boxes = [(round(p.length, 2), round(p.width, 2)) for p in pieces if not p.whole]
    whole = sum(1 for piece in pieces if piece.whole)
    return whole + sheets_needed(boxes, goods.length, goods.width, kerf=goods.kerf, turns=goods.turns)


def _rank(way: Way) -> tuple[float, ...]:
    turned = 0.0 if way.direction == "x" else 1.0
    return way.faults, way.stock, way.drawn, way.cut, way.joint_length, turned, way.stagger, way.across, way.along


def _grid(period: float) -> list[float]:
    """Even steps through a period, coarse ones before the fine ones between them.

    >>> _grid(240.0)
    [0.0, 120.0, 60.0, 180.0]
    """
    count = 1
    while count < STEPS and period / (count * 2) >= FINEST:
        count *= 2
    order = sorted(range(count), key=lambda k: (count // math.gcd(k, count), k))
    return [k * period / count for k in order]


def _distinct(wanted: list[float], period: float) -> list[float]:
    """Offsets reduced to one period, in order of preference, without near repeats."""
    kept: list[float] = []
    for offset in (round(w % period, 2) % period for w in wanted):
        if all(abs(math.remainder(offset - other, period)) > 1 for other in kept):
            kept.append(offset)
    return kept


def _both(one: list[tuple[float, float]], two: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Where both lists of stretches agree."""
    found = []
    for a, b in one:
        for c, d in two:
            low, high = max(a, c), min(b, d)
            if high - low > EDGE:
                found.append((low, high))
    return found


def mirrored(shape: Any) -> Any:
    """The shape mirrored about the line x = y."""
    import shapely

    return shapely.transform(shape, lambda points: points[:, ::-1])


def turned_ring(points: Ring, direction: Direction) -> Ring:
    """A ring in room coordinates from course axes."""
    return tidy_ring([(y, x) for x, y in points] if direction == "y" else points)


def turned_point(point: Point, direction: Direction) -> Point:
    return (point[1], point[0]) if direction == "y" else point


def on_grid(shape: Any) -> list[Any]:
    """The parts of a shape on the 0.01 mm grid."""
    import shapely

    return parts_of(shapely.set_precision(shape, GRID))
