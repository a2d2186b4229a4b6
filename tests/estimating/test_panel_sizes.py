"""Panels by size: every piece once, counted and measured by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.engine.panel_sizes import panel_sizes
from estimating.engine.types import Fitout, WallLayout
from estimating.engine.walls import lay_walls

INCH = 25.4


def north(rooms: Any, systems: Any, width: float, features: list[dict[str, Any]], *, wraps: bool = False) -> WallLayout:
    columns = [rooms.round_column("K1", (100, 60), 10.75)] if wraps else []
    plan = rooms.rectangle(width, 300, features=features, columns=columns)
    fitout = Fitout(room="room", panelled=["B-C"], column_wraps=wraps)
    return lay_walls(plan, systems.walls(), fitout, systems.products())


def test_a_wall_by_size(rooms: Any, systems: Any) -> None:
    """400 in = 8 × 48 + 16. Whole: board 72 × 48, foam 1/8 in over at each edge, fabric 80 × 54, ears of 4 × 3 in.

    Staples each 1 1/2 in round 240 in are 160; round the end, 2 × (72 + 16) = 176 in, 117.3 and so 118.
    """
    outlet = [{"id": "o", "wall": "B-C", "kind": "outlet", "start": 100, "sill": 16}]
    whole, end = panel_sizes(north(rooms, systems, 400, outlet))
    assert (whole.kind, whole.count, whole.staples) == ("full", 8, 160)
    assert whole.cut_out == ["B-C.03"]  # 16 + 48 to 16 + 96 in, the outlet at 100
    assert [round(v / INCH, 3) for v in (*whole.board, *whole.foam, *whole.face)] == [72, 48, 72.25, 48.25, 80, 54]
    assert [round(v / INCH, 3) for v in whole.edge] == [4, 3]
    assert whole.ear / INCH**2 == pytest.approx(12)
    assert (end.kind, end.count, end.staples) == ("end", 1, 118)
    assert [round(v / INCH, 3) for v in end.face] == [80, 22]


def test_caps_lie_along_the_wall(rooms: Any, systems: Any) -> None:
    """Cap 7 1/8 in deep: its blank's ends go along the wall, 1 1/2 + 3/4 + 2 each, its sides across, 1 in less."""
    low = [{"id": "low", "wall": "B-C", "kind": "low wall", "start": 64, "end": 282, "head": 42, "thickness": 4.625}]
    sizes = panel_sizes(north(rooms, systems, 400, low, wraps=True))
    cap = next(s for s in sizes if s.kind == "cap")
    assert [round(v / INCH, 3) for v in cap.edge] == [4.25, 3.25]
    assert [s.kind for s in sizes if s.board == (0.0, 0.0)] == ["wrap"]


@given(width=st.integers(130, 900), at=st.integers(20, 90), wide=st.integers(20, 40), low=st.booleans())
def test_every_piece_is_in_one_size(rooms: Any, systems: Any, width: int, at: int, wide: int, low: bool) -> None:
    """Numbers, areas, masses, staples and folded corners of the sizes are those of the layout."""
    kind: dict[str, Any] = {"kind": "low wall", "head": 42, "thickness": 5} if low else {"kind": "door", "head": 82}
    layout = north(
        rooms, systems, width, [{"id": "f", "wall": "B-C", "start": at, "end": at + wide, **kind}], wraps=True
    )
    sizes = panel_sizes(layout)
    ids = [name for size in sizes for name in size.ids]
    pieces = [p for e in layout.elevations for p in (*e.panels, *e.trims)] + layout.wraps
    assert sorted(ids) == sorted(p.id for p in pieces)
    panels = [s for s in sizes if s.kind not in ("cap", "wall end", "wrap")]
    assert sum(s.count for s in panels) == layout.full_count + layout.low_count + layout.special_count
    assert sum(s.count * s.width * s.height for s in panels) == pytest.approx(layout.panel_area, rel=1e-4)
    assert sum(s.count * s.staples for s in sizes) == layout.staples
    assert sum(s.count * s.mass for s in panels) == pytest.approx(layout.mass, rel=1e-3)
    folded = sum(4 * s.count * s.ear for s in sizes if s.kind != "wrap")
    assert folded == pytest.approx(layout.corner_fabric, rel=1e-4)
    assert math.isclose(sum(s.count for s in sizes), sum(n for *_, n in layout.faces))
