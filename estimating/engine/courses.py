"""Ways of laying one layer in courses: every direction and offset on a grid, scored before it is drawn.

A course is a row of sheets, or one strip off a roll. All work is done in course axes: u runs along the
courses, v across them; for direction "y" the field is mirrored about x = y so the same code serves both.
Lengths mm, areas mm².
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Literal

from estimating.engine.first_fit import sheets_needed
from estimating.engine.mat_shape import GRID, Point, Ring, parts_of, tidy_ring

Direction = Literal["x", "y"]
Segment = tuple[float, float, float]
"""(line, from, to): a joint at ``line`` on the other axis."""

EDGE = 0.02
"""mm looked to either side of a line to tell a joint from the field's own edge."""
STEPS = 16
"""Even offsets tried at most."""
FINEST = 100.0
"""mm (about 4 in); a finer grid of offsets is not worth its time."""
PACKED = 120
"""Best layouts by arithmetic whose cut pieces are then packed, per direction."""


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
    _bands: dict[float, tuple[Any, list[tuple[float, float]]]] = field(default_factory=dict)
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

    def offsets(self, positions: float) -> tuple[list[float], list[float]]:
        """(across, along) to try: all, or fewer of both if that would look at more sheet ``positions``."""
        across, along = self.across_offsets(), self.along_offsets()
        if self.goods.roll:
            return across, along
        cells = (self.high_u - self.low_u) / self.goods.length * (self.high_v - self.low_v) / self.goods.width
        share = min(1.0, math.sqrt(positions / max(1.0, cells * len(across) * len(along))))
        return across[: max(4, round(len(across) * share))], along[: max(4, round(len(along) * share))]

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

    def band(self, v: float) -> tuple[Any, list[tuple[float, float]]]:
        """Field inside one course, and the stretches of u where the course is not full."""
        import shapely

        if v not in self._bands:
            strip = shapely.box(self.low_u, v, self.high_u, round(v + self.goods.width, 2))
            part = self._clip(self.shape, self.low_u - 1, v, self.high_u + 1, round(v + self.goods.width, 2))
            empty = parts_of(shapely.difference(strip, self.shape))
            self._bands[v] = (part, [(p.bounds[0], p.bounds[2]) for p in empty if p.area > 1])
        return self._bands[v]

    def row(self, v: float, start: float, number: int) -> list[Cell]:
        """Cells of one course. ``start`` is where one of its end joints lies."""
        if self.goods.roll:
            return self._strip_row(v, number)
        length = self.goods.length
        first = math.floor((self.low_u - start + EDGE) / length)
        cells = []
        position = first
        while start + position * length < self.high_u - EDGE:
            u0, u1 = round(start + position * length, 2), round(start + (position + 1) * length, 2)
            cell = self._cells.get((v, u0))
            if cell is None:
                cell = self._cells[(v, u0)] = self._cell(v, u0, u1)
            if cell.pieces:
                cells.append(cell)
            position += 1
        return cells

    def _cell(self, v: float, u0: float, u1: float) -> Cell:
        import shapely

        part, empty = self.band(v)
        width = self.goods.width
        inside = u0 >= self.low_u - EDGE and u1 <= self.high_u + EDGE
        if inside and not any(a < u1 - EDGE and b > u0 + EDGE for a, b in empty):
            shape = shapely.box(u0, v, u1, round(v + width, 2))
            return Cell(pieces=(Cut(shape, self.goods.length, width, self.goods.length * width, True, ""),))
        return self._pieces(self._clip(part, u0, v, u1, round(v + width, 2)))

    def _clip(self, shape: Any, u0: float, v0: float, u1: float, v1: float) -> Any:
        import shapely

        if self.exact:
            return shapely.intersection(shape, shapely.box(u0, v0, u1, v1))
        return shapely.clip_by_rect(shape, u0, v0, u1, v1)

    def _strip_row(self, v: float, number: int) -> list[Cell]:
        odd = bool(number % 2)
        if (v, odd) not in self._strips:
            part, _ = self.band(v)
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
            sheet = not self.goods.roll and part.area >= self.goods.length * self.goods.width - 1
            found.append(Cut(part, length, width, part.area, sheet, self._fault(part, length, width)))
        return Cell(tuple(found), tuple(splits))

    def _fault(self, part: Any, length: float, width: float) -> str:
        rule = self.rules
        if min(length, width) < rule.width - 0.5:
            return "narrow"
        if part.area < rule.area - 1:
            return "small"
        if rule.width and part.area < 0.985 * length * width:
            opened = part.buffer(-rule.width / 2, join_style="mitre").buffer(rule.width / 2, join_style="mitre")
            if part.area - opened.area > rule.width**2 / 2:
                return "thin"
        return ""

    def _ends(self, u: float, v: float) -> Iterable[Segment]:
        top = v + self.goods.width
        for a, b in self.inside(0, u):
            low, high = max(a, v), min(b, top)
            if high - low > 1:
                yield u, low, high

    def rows(self, across: float, along: float, stagger: float) -> list[tuple[float, float, list[Cell]]]:
        """(low edge, end-joint start, cells) of every course that holds anything, from the bottom."""
        length = self.goods.length
        found = []
        for number, v in enumerate(self.row_starts(across)):
            shift = 0.0 if self.goods.roll else (number * stagger * length) % length
            start = round(self.low_u + along + shift, 2)
            cells = self.row(v, start, number)
            if cells:
                found.append((v, start, cells))
        return found

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

    def ways(self, staggers: list[float], positions: float) -> list[Way]:
        """Every layout tried, best first: fewest broken rules, fewest stock pieces, least joint length.

        ``positions`` limits the work: so many sheet positions are looked at, over all layouts together.
        """
        across_offsets, along_offsets = self.offsets(positions / len(staggers))
        found = []
        for stagger in staggers:
            for across in across_offsets:
                for along in along_offsets if self.corner is None else [self._along_pinned(across, stagger)]:
                    found.append(self._score(across, along, stagger))
        found.sort(key=_rank)
        packed = [self._packed(way) for way in found[:PACKED]]
        return sorted(packed, key=_rank) + found[PACKED:]

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
            drawn=round(sum(piece.length for piece in pieces), 2) if self.goods.roll else 0.0,
            joint_length=round(sum(b - a for _, a, b in lengthwise + ends), 1),
        )

    def _packed(self, way: Way) -> Way:
        rows = self.rows(way.across, way.along, way.stagger)
        stock = stock_needed([p for _, _, cells in rows for cell in cells for p in cell.pieces], self.goods)
        return Way(
            way.direction, way.across, way.along, way.stagger, way.faults, way.least, stock, way.drawn, way.joint_length
        )


def stock_needed(pieces: list[Cut], goods: Goods) -> int:
    """Whole sheets, plus those that the cut pieces are packed into; 1 for a roll of unstated length."""
    if not math.isfinite(goods.length):
        return 1 if pieces else 0
    boxes = [(round(p.length, 2), round(p.width, 2)) for p in pieces if not p.whole]
    whole = sum(1 for piece in pieces if piece.whole)
    return whole + sheets_needed(boxes, goods.length, goods.width, kerf=goods.kerf, turns=goods.turns)


def _rank(way: Way) -> tuple[float, ...]:
    turned = 0.0 if way.direction == "x" else 1.0
    return way.faults, way.stock, way.drawn, way.joint_length, turned, way.stagger, way.across, way.along


def _grid(period: float) -> list[float]:
    """Even steps through a period, coarse ones before the fine ones between them.

    >>> _grid(400.0)
    [0.0, 200.0, 100.0, 300.0]
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
