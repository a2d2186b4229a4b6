"""Layouts of one layer cut out of the field, many of them in one go and kept as arrays.

Neighbouring layouts share most of their sheet positions ("cells"; of a roll: strips), so each is cut out once. The
pieces of a layout are drawn up only for those few that are packed, compared joint by joint, or drawn.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from estimating.engine.course_field import EDGE, CourseField, Runs, each, firsts
from estimating.engine.first_fit import sheets_needed

Segment = tuple[float, float, float]
"""(line, from, to): a joint at ``line`` on the other axis."""
Offsets = tuple[float, float, float]
"""First course line above the field's low edge, first end joint, and share of a sheet from course to course."""

FAULTS = ("", "narrow", "small", "thin")
"""Rules a piece may break; "": it keeps them all."""


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


class Bands:
    """The field course by course, for all the heights a course may start at."""

    def __init__(self, field: CourseField, lows: Any, width: float, *, exact: bool) -> None:
        import numpy as np
        import shapely

        self.lows = lows
        self.highs = np.array([round(low + width, 2) for low in lows.tolist()])
        self.full = field.full(lows, self.highs)
        parts, of = shapely.get_parts(field.between(lows, self.highs, exact=exact), return_index=True)
        flat = (shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 0)
        self.parts, of = parts[flat], of[flat]
        self.bounds = shapely.bounds(self.parts)
        order = np.lexsort((self.bounds[:, 1], self.bounds[:, 0], of))
        self.parts, self.bounds = self.parts[order], self.bounds[order]
        self.first = firsts(of, len(lows))
        """Of the parts of every course."""

    def at(self, lows: Any) -> Any:
        import numpy as np

        return np.searchsorted(self.lows, lows)


@dataclass
class Pieces:
    """What becomes of every cell, cell by cell from the left: those of cell c are ``first[c]`` to ``first[c + 1]``."""

    first: Any
    shapes: Any
    sizes: Any
    """Length and width, a row for each piece."""
    areas: Any
    whole: Any
    faults: Any
    """Places in ``FAULTS``."""
    splits: dict[int, list[Segment]] = field(default_factory=dict)
    """By cell: joints where a piece is divided, at a column's centre line or a roll's end."""


class LaidCourses:
    """Layouts of ``goods`` by their offsets, every row of every layout cut out of its band."""

    def __init__(
        self, field: CourseField, bands: Bands, goods: Goods, rules: PieceRules,
        rows: Sequence[Sequence[tuple[float, float]]], *, exact: bool,
    ) -> None:  # fmt: skip
        """``rows``: of every layout, from the bottom, (low edge of a course, where one of its end joints lies)."""
        import numpy as np

        self.goods, self._field, self._bands, self._rules, self._exact = goods, field, bands, rules, exact
        self.layouts = len(rows)
        layout: list[int] = []
        number: list[int] = []
        for k, courses in enumerate(rows):
            layout += [k] * len(courses)
            number += range(len(courses))
        self._layout, self._number = np.array(layout), np.array(number)
        self._low, self._start = np.array([row for courses in rows for row in courses]).reshape(-1, 2).T
        self._band = bands.at(self._low)
        self._ends = Runs(np.zeros(1, dtype=np.int64), np.zeros(0), np.zeros(0))
        self.pieces = self._strips() if goods.roll else self._sheets()
        self._row_of = np.repeat(np.arange(len(self._low)), np.diff(self._first_cell))
        held = np.bincount(self._row_of, weights=np.diff(self.pieces.first)[self._cells], minlength=len(self._low))
        self._held = held > 0
        """Rows that hold anything."""
        so_far = np.concatenate([[0], np.cumsum(self._held)])
        before = so_far[firsts(self._layout, self.layouts)[self._layout]]
        self._joined = self._held & (so_far[1:] - before > 1)
        """Rows with a joint along their low edge: all but the first that hold anything."""
        self._lines = field.inside(1, bands.lows)

    # ------------------------------------------------------------ cutting out

    def _sheets(self) -> Pieces:
        import numpy as np
        import shapely

        low_u, high_u, length = self._field.low_u, self._field.high_u, self.goods.length
        bands = self._bands
        first = np.floor((low_u - self._start + EDGE) / length)
        count = (np.ceil((high_u - EDGE - self._start) / length) - first).astype(np.int64)
        row, place = each(np.arange(len(count)), np.concatenate([[0], np.cumsum(count)]))
        place = place - np.repeat(np.cumsum(count) - count, count) + first[row]
        left, right = (np.round(self._start[row] + (place + side) * length, 2) for side in (0, 1))
        key = self._band[row] * (1 << 40) + np.rint((left - low_u + 2 * length) * 100).astype(np.int64)
        _, found, self._cells = np.unique(key, return_index=True, return_inverse=True)
        self._first_cell = np.concatenate([[0], np.cumsum(count)])
        band, left, right = self._band[row[found]], left[found], right[found]

        whole = np.zeros(len(band), dtype=bool)
        of, at = each(band, bands.full.first)
        within = (bands.full.start[at] <= left[of] + EDGE) & (bands.full.end[at] >= right[of] - EDGE)
        whole[of[within]] = True
        clipped = np.flatnonzero(~whole)
        of, at = each(band[clipped], bands.first)
        of = clipped[of]
        meets = (bands.bounds[at, 0] < right[of]) & (bands.bounds[at, 2] > left[of])
        of, at = of[meets], at[meets]
        shapes = self._between(bands.parts[at], bands.bounds[at], left[of], right[of])
        self._joints_across(band, left)
        boxes = np.column_stack([left, bands.lows[band], right, bands.highs[band]])[whole]
        full = shapely.box(*boxes.T) if self._exact else np.full(len(boxes), None)
        return self._cut_up(shapes, of, np.flatnonzero(whole), full, len(band), {})

    def _between(self, parts: Any, bounds: Any, left: Any, right: Any) -> Any:
        """Parts of courses cut off at both ends of a sheet."""
        import numpy as np
        import shapely

        found = parts.copy()
        cut = np.flatnonzero((bounds[:, 0] < left) | (bounds[:, 2] > right))
        low, high = self._field.low_v - 1, self._field.high_v + 1
        if self._exact:
            found[cut] = shapely.intersection(parts[cut], shapely.box(left[cut], low, right[cut], high))
            return found
        right = np.minimum(right, self._field.high_u + 1)
        left = np.maximum(left, self._field.low_u - 1)
        cut = cut[np.lexsort((right[cut], left[cut]))]
        new = np.flatnonzero((np.diff(left[cut]) != 0) | (np.diff(right[cut]) != 0)) + 1
        for some in np.split(cut, new) if len(cut) else []:
            found[some] = shapely.clip_by_rect(parts[some], left[some[0]], low, right[some[0]], high)
        return found

    def _joints_across(self, band: Any, left: Any) -> None:
        """Joints between neighbouring sheets of a course, cell by cell: that at the cell's left end."""
        import numpy as np

        field, bands = self._field, self._bands
        inner = np.flatnonzero((left >= field.low_u + EDGE) & (left < field.high_u - EDGE))
        lines, line = np.unique(left[inner], return_inverse=True)
        runs = field.inside(0, lines)
        of, at = each(line, runs.first)
        cell = inner[of]
        low = bands.lows[band[cell]]
        start, end = np.maximum(runs.start[at], low), np.minimum(runs.end[at], low + self.goods.width)
        kept = end - start > 1
        self._ends = Runs(firsts(cell[kept], len(left)), start[kept], end[kept])
        self._left = left

    def _strips(self) -> Pieces:
        """Strips off a roll: each part of a course, divided where it is longer than the roll."""
        import numpy as np

        bands, limit = self._bands, self.goods.length
        long = bands.bounds[:, 2] - bands.bounds[:, 0] > limit + EDGE
        some_long = np.zeros(len(bands.lows), dtype=bool)
        some_long[np.repeat(np.arange(len(bands.lows)), np.diff(bands.first))[long]] = True
        odd = (self._number % 2 == 1) & some_long[self._band]
        strips, strip = np.unique(self._band * 2 + odd, return_inverse=True)
        shapes: list[Any] = []
        first = [0]
        splits: dict[int, list[Segment]] = {}
        for code in strips.tolist():
            band, other = divmod(code, 2)
            for part in range(int(bands.first[band]), int(bands.first[band + 1])):
                if not long[part]:
                    shapes.append(bands.parts[part])
                    continue
                left, right = float(bands.bounds[part, 0]), float(bands.bounds[part, 2])
                steps = math.ceil((right - left - EDGE) / limit)
                inner = [right - limit * k if other else left + limit * k for k in range(1, steps)]
                ends = sorted({round(c, 2) for c in (left, *inner, right)})
                for a, b in pairwise(ends):
                    if b != ends[-1]:
                        splits[len(shapes)] = self._across(b, float(bands.lows[band]))
                    edges = np.array([a]), np.array([b])
                    shapes.append(self._between(bands.parts[part : part + 1], bands.bounds[part : part + 1], *edges)[0])
            first.append(len(shapes))
        starts = np.array(first)
        _, self._cells = each(strip, starts)
        self._first_cell = np.concatenate([[0], np.cumsum(np.diff(starts)[strip])])
        made = np.empty(len(shapes), dtype=object)
        made[:] = shapes
        none = np.array([], dtype=np.int64)
        return self._cut_up(made, np.arange(len(shapes)), none, np.array([], dtype=object), len(shapes), splits)

    def _across(self, u: float, v: float) -> list[Segment]:
        import numpy as np

        runs = self._field.inside(0, np.array([u]))
        top = v + self.goods.width
        ends = [(max(a, v), min(b, top)) for a, b in zip(runs.start.tolist(), runs.end.tolist(), strict=True)]
        return [(u, a, b) for a, b in ends if b - a > 1]

    def _cut_up(
        self, shapes: Any, cells: Any, whole: Any, sheets: Any, count: int, splits: dict[int, list[Segment]]
    ) -> Pieces:
        """Pieces of all cells: of ``shapes``, which lie in ``cells``, divided at columns; and sheets left ``whole``."""
        import numpy as np
        import shapely

        if not (shapely.get_type_id(shapes) == 3).all():
            shapes, of = shapely.get_parts(shapes, return_index=True)
            flat = shapely.get_type_id(shapes) == 3
            shapes, cells = shapes[flat], cells[of[flat]]
        areas = shapely.area(shapes)
        held = areas > 1
        shapes, cells, areas = shapes[held], cells[held], areas[held]
        ringed = shapely.get_num_interior_rings(shapes) > 0
        if ringed.any():
            parts, of = self._at_columns(shapes[ringed], cells[ringed], splits)
            shapes = np.concatenate([shapes[~ringed], parts])
            cells = np.concatenate([cells[~ringed], of])
            areas = shapely.area(shapes)
        bounds = shapely.bounds(shapes)
        order = np.lexsort((*(np.round(side, 2) for side in (areas, bounds[:, 1], bounds[:, 0])), cells))
        shapes, cells, areas, bounds = shapes[order], cells[order], areas[order], bounds[order]
        sizes = bounds[:, 2:] - bounds[:, :2]
        faults = np.zeros(len(shapes), dtype=np.int8)
        faults[self._thin(shapes, areas, sizes)] = 3
        faults[areas < self._rules.area - 1] = 2
        faults[sizes.min(axis=1, initial=np.inf) < self._rules.width - 0.5] = 1
        sheet = self.goods.length * self.goods.width
        complete = np.zeros(len(shapes), dtype=bool) if self.goods.roll else areas >= sheet - 1
        if len(whole):
            order = np.argsort(np.concatenate([cells, whole]), kind="stable")
            n = len(whole)
            shapes = np.concatenate([shapes, sheets])[order]
            cells = np.concatenate([cells, whole])[order]
            areas = np.concatenate([areas, np.full(n, sheet)])[order]
            sizes = np.concatenate([sizes, np.tile([self.goods.length, self.goods.width], (n, 1))])[order]
            complete = np.concatenate([complete, np.ones(n, dtype=bool)])[order]
            faults = np.concatenate([faults, np.zeros(n, dtype=np.int8)])[order]
        return Pieces(firsts(cells, count), shapes, sizes, areas, complete, faults, splits)

    def _at_columns(self, shapes: Any, cells: Any, splits: dict[int, list[Segment]]) -> tuple[Any, Any]:
        """Shapes with holes divided through the middle of every hole, and the cells the parts lie in.

        The joints this makes are put down in ``splits``.
        """
        import numpy as np
        import shapely

        done = [(np.array([], dtype=object), np.array([], dtype=np.int64))]
        while len(shapes):
            holes = shapely.bounds(shapely.get_geometry(shapely.boundary(shapes), 1))
            middles = np.round((holes[:, 0] + holes[:, 2]) / 2, 2)
            lines, line = np.unique(middles, return_inverse=True)
            runs = self._field.inside(0, lines)
            bounds = shapely.bounds(shapes)
            low, high = bounds[:, 1], bounds[:, 3]
            of, at = each(line, runs.first)
            for k, start, end in zip(of.tolist(), runs.start[at].tolist(), runs.end[at].tolist(), strict=True):
                if start < high[k] and end > low[k]:
                    joint = (float(middles[k]), max(start, float(low[k])), min(end, float(high[k])))
                    splits.setdefault(int(cells[k]), []).append(joint)
            left = self._between(shapes, bounds, np.full(len(middles), self._field.low_u - 1), middles)
            right = self._between(shapes, bounds, middles, np.full(len(middles), self._field.high_u + 1))
            parts, of = shapely.get_parts(np.concatenate([left, right]), return_index=True)
            held = (shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 1)
            parts, of = parts[held], np.concatenate([cells, cells])[of[held]]
            ringed = shapely.get_num_interior_rings(parts) > 0
            done.append((parts[~ringed], of[~ringed]))
            shapes, cells = parts[ringed], of[ringed]
        return np.concatenate([part for part, _ in done]), np.concatenate([of for _, of in done])

    def _thin(self, shapes: Any, areas: Any, sizes: Any) -> Any:
        """Which shapes have a part thinner than the rule, away from what a rectangle of their size would have."""
        import numpy as np
        import shapely

        limit = self._rules.width
        asked = np.flatnonzero(areas < 0.985 * sizes[:, 0] * sizes[:, 1]) if limit else np.array([], dtype=int)
        opened = shapely.buffer(
            shapely.buffer(shapes[asked], -limit / 2, join_style="mitre"), limit / 2, join_style="mitre"
        )
        return asked[areas[asked] - shapely.area(opened) > limit**2 / 2]

    # ------------------------------------------------------------ figures of every layout

    def figures(self) -> list[tuple[int, int, int, float]]:
        """Of every layout: pieces that break a rule, stock that the areas alone ask for, pieces cut, joint length."""
        import numpy as np

        pieces, cells = self.pieces, self._cells
        cell_of = np.repeat(np.arange(len(pieces.first) - 1), np.diff(pieces.first))
        layout = self._layout[self._row_of]

        def total(values: Any) -> Any:
            """Summed over the pieces of every layout."""
            by_cell = np.bincount(cell_of, weights=values, minlength=len(pieces.first) - 1)
            return np.bincount(layout, weights=by_cell[cells], minlength=self.layouts)

        faults, whole = total(pieces.faults > 0), total(pieces.whole)
        cut = total(~pieces.whole)
        boxes = total(np.where(pieces.whole, 0.0, pieces.sizes[:, 0] * pieces.sizes[:, 1]))
        sheet = self.goods.length * self.goods.width
        least = whole + (np.ceil(boxes / sheet - 1e-6) if math.isfinite(sheet) else 1)
        length = np.bincount(
            self._layout, weights=self._joined * _lengths(self._lines)[self._band], minlength=self.layouts
        )
        split = np.zeros(len(pieces.first) - 1)
        for cell, joints in pieces.splits.items():
            split[cell] = sum(b - a for _, a, b in joints)
        if not self.goods.roll:
            split += _lengths(self._ends)
        length += np.bincount(layout, weights=(split[cells] * self._held[self._row_of]), minlength=self.layouts)
        columns = faults.astype(int), least.astype(int), cut.astype(int), np.round(length, 1)
        return list(zip(*(column.tolist() for column in columns), strict=True))

    # ------------------------------------------------------------ one layout

    def _rows(self, layout: int) -> Any:
        import numpy as np

        return np.flatnonzero((self._layout == layout) & self._held)

    def _pieces_of(self, layout: int) -> Any:
        import numpy as np

        _, at = each(self._rows(layout), self._first_cell)
        _, pieces = each(self._cells[at], self.pieces.first)
        return np.asarray(pieces)

    def sizes(self, layout: int) -> list[tuple[float, float]]:
        """Length and width of every piece."""
        return [(a, b) for a, b in self.pieces.sizes[self._pieces_of(layout)].tolist()]

    def stock(self, layout: int) -> int:
        """Whole sheets, plus those that the cut pieces are packed into; 1 for a roll of unstated length."""
        goods, found = self.goods, self._pieces_of(layout)
        if not math.isfinite(goods.length):
            return 1 if len(found) else 0
        cut = found[~self.pieces.whole[found]]
        boxes = [(round(a, 2), round(b, 2)) for a, b in self.pieces.sizes[cut].tolist()]
        return (
            len(found) - len(cut) + sheets_needed(boxes, goods.length, goods.width, kerf=goods.kerf, turns=goods.turns)
        )

    def joints(self, layout: int) -> tuple[Any, Any]:
        """Along the courses as (v, from u, to u), and across them as (u, from v, to v), a row for each joint."""
        import numpy as np

        rows = self._rows(layout)
        of, at = each(self._band[rows[self._joined[rows]]], self._lines.first)
        line = self._low[rows[self._joined[rows]]][of]
        along = np.column_stack([line, self._lines.start[at], self._lines.end[at]])
        along = along[along[:, 2] - along[:, 1] > 1]
        _, at = each(rows, self._first_cell)
        cells = self._cells[at]
        splits = [split for cell in cells.tolist() for split in self.pieces.splits.get(cell, ())]
        across = [np.array(splits).reshape(-1, 3)]
        if not self.goods.roll:
            of, at = each(cells, self._ends.first)
            across.append(np.column_stack([self._left[cells[of]], self._ends.start[at], self._ends.end[at]]))
        return along, np.concatenate(across)

    def rows(self, layout: int) -> list[tuple[float, float, list[Cut]]]:
        """(low edge, where an end joint lies, pieces) of every course that holds anything, from the bottom."""
        found = []
        pieces = self.pieces
        for row in self._rows(layout).tolist():
            cells = self._cells[self._first_cell[row] : self._first_cell[row + 1]]
            here = [k for c in cells.tolist() for k in range(pieces.first[c], pieces.first[c + 1])]
            cuts = []
            for k in here:
                length, width = pieces.sizes[k].tolist()
                area, whole, fault = float(pieces.areas[k]), bool(pieces.whole[k]), FAULTS[pieces.faults[k]]
                cuts.append(Cut(pieces.shapes[k], length, width, area, whole, fault))
            found.append((float(self._low[row]), float(self._start[row]), cuts))
        return found


def _lengths(runs: Runs) -> Any:
    """Length of the stretches of every line, those of a millimetre and less left out."""
    import numpy as np

    long = runs.end - runs.start
    sums = np.concatenate([[0.0], np.cumsum(np.where(long > 1, long, 0.0))])
    return sums[runs.first[1:]] - sums[runs.first[:-1]]
