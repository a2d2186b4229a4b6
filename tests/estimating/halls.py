"""Rooms for property tests: leaning walls, a re-entrant corner or none, columns well apart."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

Corners = dict[str, tuple[float, float]]
Columns = list[tuple[float, float, int]]


@st.composite
def halls(draw: Any) -> tuple[Corners, Columns]:
    """Corners of a room of four or six leaning walls and square columns (centre and side), in inches.

    Columns stand in the quarter at the first corner, where no re-entrant corner reaches.
    """
    wide, deep = draw(st.integers(200, 700)), draw(st.integers(160, 500))
    east, slope, north, west = (draw(st.integers(-8, 8)) for _ in range(4))
    if draw(st.booleans()):
        leg, off = wide - draw(st.integers(60, wide // 2)), deep - draw(st.integers(50, deep // 2))
        ring = [(0, 0), (0, deep), (leg + north, deep), (leg, off + slope), (wide + east, off), (wide, west)]
    else:
        ring = [(0, 0), (west, deep), (wide + east, deep + north), (wide, slope)]
    at = draw(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 1)), max_size=3, unique=True))
    columns = [(30 + i * (wide / 2 - 50) / 4, 25 + j * (deep / 2 - 40), draw(st.integers(6, 14))) for i, j in at]
    return {"ABCDEF"[n]: (float(x), float(y)) for n, (x, y) in enumerate(ring)}, columns
