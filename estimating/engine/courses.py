"""Ways of laying one layer in courses: every direction and offset on a grid, scored before it is drawn.

A course is a row of sheets, or one strip off a roll. All work is done in course axes: u runs along the
courses, v across them; for direction "y" the field is mirrored about x = y so the same code serves both.
Lengths mm, areas mm².
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from estimating.engine.course_field import EDGE, CourseField, each, firsts
from estimating.engine.laid_courses import Bands, Goods, LaidCourses, Offsets, PieceRules
from estimating.engine.limits import Work
from estimating.engine.mat_shape import GRID, Point, Ring, parts_of, tidy_ring

Direction = Literal["x", "y"]

STEPS = 32
"""Even offsets tried at most."""
FINEST = 50.0
"""mm (about 2 in); a finer grid of offsets is not worth its time."""
CLIPPED = 6_000
"""Sheet positions looked at in the best layouts by arithmetic, per direction, whose pieces are cut out of the field."""
FEWEST = 64
"""Layouts cut out at least, however large the field."""


@dataclass(frozen=True)
class Way:
    """One way of laying the layer. ``across``/``along``: first course line and first end joint."""

    direction: Direction
    across: float
    along: float
    stagger: float
    faults: int
    stock: int
    """Stock pieces: those the areas alone ask for, until its pieces are ``packed``."""
    drawn: float
    """Length drawn off the roll; 0 for sheets."""
    cut: int
    """Pieces that are not whole stock."""
    joint_length: float
    packed: bool = False

    @property
    def offsets(self) -> Offsets:
        return self.across, self.along, self.stagger


@dataclass
class Courses:
    """One layer in one direction. Keeps what it has cut out, since every layout is looked at more than once."""

    area: Any
    goods: Goods
    rules: PieceRules
    direction: Direction
    work: Work = field(default_factory=Work)
    line: float | None = None
    """A course line that is pinned, v."""
    corner: Point | None = None
    """Corner of a sheet that is pinned, (u, v)."""
    counted: int = 0
    clipped: int = 0
    """Layouts counted by arithmetic, and those of them cut out of the field so far."""
    _laid: dict[Offsets, tuple[LaidCourses, int]] = field(default_factory=dict)
    _stock: dict[Offsets, int] = field(default_factory=dict)
    _all_bands: Bands | None = None

    def __post_init__(self) -> None:
        self.shape = mirrored(self.area) if self.direction == "y" else self.area
        self.field = CourseField(self.shape)
        self.low_u, self.low_v, self.high_u, self.high_v = (
            self.field.low_u, self.field.low_v, self.field.high_u, self.field.high_v,
        )  # fmt: skip
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

    # ------------------------------------------------------------ rows

    def row_starts(self, across: float) -> list[float]:
        """Low edge of every course, from the bottom."""
        width = self.goods.width
        first = -1 if across > EDGE else 0
        count = math.ceil((self.high_v - self.low_v - across - EDGE) / width)
        return [round(self.low_v + across + k * width, 2) for k in range(first, max(count, first + 1))]

    def _rows(self, across: float, along: float, stagger: float) -> list[tuple[float, float]]:
        """Low edge of every course, from the bottom, and where one of its end joints lies."""
        length = self.goods.length
        rows = []
        for number, v in enumerate(self.row_starts(across)):
            shift = 0.0 if self.goods.roll else (number * stagger * length) % length
            rows.append((v, round(self.low_u + along + shift, 2)))
        return rows

    def cut_out(self, offsets: list[Offsets], *, exact: bool = False) -> LaidCourses:
        """Layouts cut out of the field; ``exact``: fit to be drawn, with clean rings."""
        import numpy as np

        rows = [self._rows(*one) for one in offsets]
        if exact:
            lows = np.unique([v for courses in rows for v, _ in courses])
            bands = Bands(self.field, lows, self.goods.width, exact=True)
        else:
            bands = self._bands()
        return LaidCourses(self.field, bands, self.goods, self.rules, rows, exact=exact)

    def _bands(self) -> Bands:
        import numpy as np

        if self._all_bands is None:
            lows = np.unique([v for across in self.across_offsets() for v in self.row_starts(across)])
            self._all_bands = Bands(self.field, lows, self.goods.width, exact=False)
        return self._all_bands

    # ------------------------------------------------------------ scoring

    def ways(self, staggers: list[float]) -> list[Way]:
        """The layouts worth a look, best first: fewest broken rules, stock by area, cut pieces, least joint length.

        Sheets: whole sheets and end pieces of every offset are counted by arithmetic, and only the best are cut out
        of the field.
        """
        tried: list[Offsets] = []
        for stagger in staggers:
            if self.goods.roll:
                strips = [(across, 0.0, stagger) for across in self.across_offsets()]
                self.counted += len(strips)
                tried += strips
            else:
                tried += self._screened(stagger)
        self.clipped += len(tried)
        laid = self.cut_out(tried)
        found = []
        for k, (offsets, (faults, least, cut, joint_length)) in enumerate(zip(tried, laid.figures(), strict=True)):
            self._laid[offsets] = (laid, k)
            drawn = drawn_off(laid.sizes(k), self.goods.width) if self.goods.roll else 0.0
            found.append(Way(self.direction, *offsets, faults, least, drawn, cut, joint_length))
        return sorted(found, key=_rank)

    def packed(self, way: Way) -> Way:
        """The way with its cut pieces packed into stock: never less of it than the areas alone ask for."""
        if way.offsets not in self._stock:
            laid, k = self._laid[way.offsets]
            self._stock[way.offsets] = laid.stock(k)
        return replace(way, stock=self._stock[way.offsets], packed=True)

    def joints(self, way: Way) -> tuple[Any, Any]:
        """Joints along the courses and across them, as ``LaidCourses.joints`` gives them."""
        laid, k = self._laid[way.offsets]
        return laid.joints(k)

    def _screened(self, stagger: float) -> list[Offsets]:
        """Offsets with the fewest end pieces under the rule, then the most whole sheets or the least stock.

        Stock is estimated piece by piece: the share of a sheet that one of many pieces of that size would take.
        """
        import numpy as np

        bands = self._bands()
        length, limit = self.goods.length, self.rules.width - 0.5
        offsets: list[Offsets] = []
        rows: list[float] = []
        groups: list[int] = []
        shifts: list[float] = []
        alongs: list[list[float]] = []
        free = self.along_offsets()
        for across in self.across_offsets():
            along = free if self.corner is None else [self._along_pinned(across, stagger)]
            offsets += [(across, one, stagger) for one in along]
            alongs.append(along)
            starts = self.row_starts(across)
            groups.append(len(rows))
            rows += starts
            shifts += [self.low_u + (number * stagger * length) % length for number in range(len(starts))]
        band, shift = bands.at(np.array(rows)), np.array(shifts)
        group = np.repeat(np.arange(len(groups)), np.diff([*groups, len(rows)]))
        offset = np.array(alongs, dtype=float)
        self.counted += len(offsets)

        def total(of: Any, values: Any) -> Any:
            """Summed over the rows of every layout."""
            so_far = np.concatenate([np.zeros((1, offset.shape[1])), np.cumsum(values, axis=0)])
            first = firsts(group[of], len(groups))
            return (so_far[first[1:]] - so_far[first[:-1]]).ravel()

        of, at = each(band, bands.full.first)
        line = shift[of][:, None] + offset[group[of]]
        a, b = bands.full.start[at][:, None], bands.full.end[at][:, None]
        fits = np.floor((b + EDGE - line) / length) - np.ceil((a - EDGE - line) / length)
        whole = -total(of, np.maximum(fits, 0))
        of, at = each(band, bands.first)
        line = shift[of][:, None] + offset[group[of]]
        a, low, b, high = (side[:, None] for side in bands.bounds[at].T)
        first = line + np.ceil((a + EDGE - line) / length) * length
        last = line + np.floor((b - EDGE - line) / length) * length
        divided = first < b - EDGE
        middle = np.where(divided, np.rint((last - first) / length), 0)
        left, right = np.where(divided, first - a, b - a), np.where(divided, b - last, 0.0)
        pieces = np.where(divided, middle + 2, 1)
        short = (left < limit) * 1 + (divided & (right < limit))
        faults = total(of, np.where(high - low < limit, pieces, short))
        count = total(of, pieces)
        beside = np.maximum(np.floor((self.goods.width + 1) / (high - low)), 1)
        share = sum(
            np.where(e > 1, 1 / np.maximum(np.floor((length + 1) / np.maximum(e, 1)), 1), 0) for e in (left, right)
        )
        stock = np.round(total(of, (share + middle) / beside), 3)
        place = np.array(offsets)[:, :2].T
        by_whole = np.lexsort((*reversed(place), stock, count, whole, faults))
        by_stock = np.lexsort((*reversed(place), count, whole, stock, faults))
        cells = (self.high_u - self.low_u) / length * (self.high_v - self.low_v) / self.goods.width
        most = min(self.work["layouts cut out"], max(FEWEST, int(CLIPPED / max(1.0, cells))))
        mixed = dict.fromkeys(np.column_stack([by_stock, by_whole]).ravel().tolist())
        return [offsets[k] for k in list(mixed)[:most]]

    def _along_pinned(self, across: float, stagger: float) -> float:
        """The offset of end joints that puts a sheet at the pinned corner."""
        u, v = self.corner or (self.low_u, self.low_v)
        starts = self.row_starts(across)
        number = min(range(len(starts)), key=lambda k: abs(starts[k] - v))
        length = self.goods.length
        return round((u - self.low_u - number * stagger * length) % length, 2)


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
