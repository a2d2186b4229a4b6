"""Where lines and courses run through the field of a floor, for many of them in one go.

Everything is in course axes: u runs along the courses, v across them. Lengths mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

EDGE = 0.02
"""mm looked to either side of a line to tell a joint from the field's own edge."""
CHUNK = 400_000
"""Pairs of a line and a side of the field looked at in one go."""


@dataclass(frozen=True)
class Runs:
    """Stretches of many lines, line by line: those of line k are ``first[k]`` to ``first[k + 1]``."""

    first: Any
    start: Any
    end: Any

    def of(self, line: int) -> slice:
        return slice(int(self.first[line]), int(self.first[line + 1]))


def each(index: Any, first: Any) -> tuple[Any, Any]:
    """For every entry of ``index`` all its members: (place in ``index``, member). ``first``: where those of each begin.

    >>> import numpy as np
    >>> [part.tolist() for part in each(np.array([1, 0]), np.array([0, 2, 5]))]
    [[0, 0, 0, 1, 1], [2, 3, 4, 0, 1]]
    """
    import numpy as np

    count = first[index + 1] - first[index]
    of = np.repeat(np.arange(len(index)), count)
    return of, np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first[index], count)


def firsts(of: Any, count: int) -> Any:
    """Where each of ``count`` groups begins among members sorted by group ``of``, and where the last ends."""
    import numpy as np

    return np.concatenate([[0], np.cumsum(np.bincount(of, minlength=count))])


class CourseField:
    """A polygon with holes, asked about lines u = … (axis 0) and v = … (axis 1) and about courses between two v."""

    def __init__(self, shape: Any) -> None:
        import numpy as np

        self.shape = shape
        self.low_u, self.low_v, self.high_u, self.high_v = (round(float(c), 2) for c in shape.bounds)
        rings = [np.asarray(ring.coords) for ring in (shape.exterior, *shape.interiors)]
        self._from = np.concatenate([points[:-1] for points in rings])
        self._to = np.concatenate([points[1:] for points in rings])

    def _crossings(self, axis: int, lines: Any) -> tuple[Any, Any]:
        """Where the field's sides cross lines: (number of the line, place on it), in order."""
        import numpy as np

        a, b = self._from, self._to
        step = max(1, CHUNK // len(a))
        of, places = [], []
        for k in range(0, len(lines), step):
            some = lines[k : k + step]
            line, side = np.nonzero((a[:, axis] <= some[:, None]) != (b[:, axis] <= some[:, None]))
            p, q = a[side], b[side]
            share = (some[line] - p[:, axis]) / (q[:, axis] - p[:, axis])
            place = p[:, 1 - axis] + share * (q[:, 1 - axis] - p[:, 1 - axis])
            order = np.lexsort((place, line))
            of.append(line[order] + k)
            places.append(place[order])
        return np.concatenate(of), np.concatenate(places)

    def inside(self, axis: int, lines: Any) -> Runs:
        """Stretches of every line with field on both sides of it."""
        import numpy as np

        if not len(lines):
            return Runs(np.zeros(1, dtype=np.int64), np.zeros(0), np.zeros(0))
        low, high = (self._table(*self._crossings(axis, lines + side), len(lines)) for side in (-EDGE, EDGE))
        start = np.maximum(low[0][:, :, None], high[0][:, None, :])
        end = np.minimum(low[1][:, :, None], high[1][:, None, :])
        of, i, j = np.nonzero(end - start > EDGE)
        return Runs(firsts(of, len(lines)), start[of, i, j], end[of, i, j])

    @staticmethod
    def _table(of: Any, places: Any, count: int) -> tuple[Any, Any]:
        """Crossings in pairs as rows of a table, a row for each line; ``nan`` where a line has fewer."""
        import numpy as np

        of = of[::2]
        first = firsts(of, count)
        at = np.arange(len(of)) - first[of]
        tables = np.full((2, count, int(np.max(np.diff(first)))), np.nan)
        tables[0, of, at], tables[1, of, at] = places[::2], places[1::2]
        return tables[0], tables[1]

    def full(self, lows: Any, highs: Any) -> Runs:
        """Stretches over which a course from v = low to v = high lies wholly in the field.

        Where no side of the field passes through the course and its middle is inside.
        """
        import numpy as np

        a, b = self._from, self._to
        rise, run = b[:, 1] - a[:, 1], b[:, 0] - a[:, 0]
        level = np.abs(rise) < 1e-9
        step = max(1, CHUNK // len(a))
        course, starts, ends = [], [], []
        for k in range(0, len(lows), step):
            low, high = (side[k : k + step, None] for side in (lows + EDGE, highs - EDGE))
            with np.errstate(divide="ignore", invalid="ignore"):
                enter = np.where(level, 0.0, (low - a[:, 1]) / rise)
                leave = np.where(level, 1.0, (high - a[:, 1]) / rise)
            first = np.maximum(np.minimum(enter, leave), 0.0)
            last = np.minimum(np.maximum(enter, leave), 1.0)
            of, side = np.nonzero(np.where(level, (a[:, 1] > low) & (a[:, 1] < high), first < last))
            one = a[side, 0] + first[of, side] * run[side]
            two = a[side, 0] + last[of, side] * run[side]
            course.append(of + k)
            starts.append(np.minimum(one, two))
            ends.append(np.maximum(one, two))
        of, start, end = (np.concatenate(parts) for parts in (course, starts, ends))
        order = np.lexsort((start, of))
        of, start, end = of[order], start[order], end[order]
        apart = 4 * (self.high_u - self.low_u + 1)  # so that sides of one course never reach into the next
        reach = np.maximum.accumulate(end - self.low_u + of * apart) - of * apart + self.low_u
        gap = np.flatnonzero((of[1:] == of[:-1]) & (start[1:] > reach[:-1] + EDGE))
        of, start, end = of[gap], reach[gap], start[gap + 1]
        line, place = self._crossings(1, (lows + highs) / 2)
        before = np.searchsorted(place - self.low_u + line * apart, (start + end) / 2 - self.low_u + of * apart)
        inside = before % 2 == 1
        return Runs(firsts(of[inside], len(lows)), start[inside], end[inside])

    def between(self, lows: Any, highs: Any, *, exact: bool) -> Any:
        """The field inside every course. Not ``exact``: cut by the faster rectangle clip of GEOS.

        That leaves unclean rings only where a corner of the field lies on an edge of the course, so what has one there
        is looked at and cut anew where it is not valid.
        """
        import numpy as np
        import shapely

        left, right = self.low_u - 1, self.high_u + 1
        if exact:
            return shapely.intersection(self.shape, shapely.box(left, lows, right, highs))
        found = np.array(
            [
                shapely.clip_by_rect(self.shape, left, low, right, high)
                for low, high in zip(lows.tolist(), highs.tolist(), strict=True)
            ],
            dtype=object,
        )
        levels = np.unique(self._from[:, 1])
        touched = np.zeros(len(lows), dtype=bool)
        for edges in (lows, highs):
            near = np.searchsorted(levels, edges)
            for at in (np.maximum(near - 1, 0), np.minimum(near, len(levels) - 1)):
                touched |= np.abs(levels[at] - edges) < EDGE
        again = np.flatnonzero(touched)
        again = again[~shapely.is_valid(found[again])]
        found[again] = shapely.intersection(self.shape, shapely.box(left, lows[again], right, highs[again]))
        return found
