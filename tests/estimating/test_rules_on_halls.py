"""Panels and fold-away mats on rooms of any shape with columns: rules are kept, pins are held or named, never both."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from buildout.rooms.engine.types import RoomPlan
from buildout.units.lengths import Length
from estimating.engine.fold_away import lay_fold_away
from estimating.engine.pins import holds_mat, refusals
from estimating.engine.types import Fitout, FoldAwaySystem, Pin, RoomLayouts, WallLayout
from estimating.engine.walls import lay_walls
from tests.estimating.halls import halls

INCH = 25.4
LEAST = 12 * INCH
"""Of an end panel, as the system of these tests has it."""


def inches(value: float) -> Length:
    return Length(f"{value:g} in", Decimal(str(value)) * Decimal("25.4"))


def room(rooms: Any, hall: Any, features: list[dict[str, Any]] | None = None) -> RoomPlan:
    corners, columns = hall
    made = [rooms.square_column(f"K{n}", (x, y), side) for n, (x, y, side) in enumerate(columns)]
    plan: RoomPlan = rooms.plan(corners, columns=made, features=features or [])
    return plan


@st.composite
def openings(draw: Any) -> list[dict[str, Any]]:
    """What stands in the first wall, 160 in long at least: one after the other, never overlapping."""
    found: list[dict[str, Any]] = []
    place = draw(st.integers(4, 40))
    for n, kind in enumerate(draw(st.lists(st.sampled_from(["door", "exit door", "outlet", "extinguisher",
                                                             "thermostat"]), max_size=3))):  # fmt: skip
        wide = 36 if "door" in kind else 0
        if place + wide > 150:
            break
        sill = {} if wide else {"sill": 46}
        found.append({"id": f"f{n}", "wall": "A-B", "kind": kind, "start": place, "end": place + wide, **sill})
        place += wide + draw(st.integers(6, 60))
    return found


@st.composite
def wishes(draw: Any) -> list[Pin]:
    """Joints, panels and panel widths on two walls, sensible or not."""
    found = []
    for n in range(draw(st.integers(0, 4))):
        kind = draw(st.sampled_from(["line", "piece", "module"]))
        found.append(
            Pin(
                id=f"p{n}", layer="walls", kind=kind, wall=draw(st.sampled_from(["A-B", "B-C"])),
                x=inches(draw(st.integers(1, 320))) if kind != "module" else None,
                module=inches(draw(st.integers(10, 60))) if kind != "line" else None,
            )
        )  # fmt: skip
    return found


def laid(layout: WallLayout, pins: list[Pin]) -> dict[str, bool]:
    """Whether each pinned joint, panel or width is there as it was asked for."""
    found = {}
    for pin in pins:
        panels = next(e for e in layout.elevations if e.wall == pin.wall).panels
        edges = [v for p in panels for v in (p.start, p.start + p.width)]
        if pin.kind == "line":
            found[pin.id] = any(abs(float(pin.x or 0) - edge) < 0.06 for edge in edges)
        elif pin.kind == "piece":
            there = (float(pin.x or 0), float(pin.module or 0))
            found[pin.id] = any(abs(p.start - there[0]) < 0.06 and abs(p.width - there[1]) < 0.06 for p in panels)
        else:
            found[pin.id] = all(p.width <= float(pin.module or 0) + 0.06 for p in panels)
    return found


@settings(max_examples=150, deadline=None)
@given(hall=halls(), features=openings(), pins=wishes())
def test_panels_keep_their_rules_on_any_hall(
    rooms: Any, systems: Any, hall: Any, features: list[dict[str, Any]], pins: list[Pin]
) -> None:
    """Panels lie side by side on the wall, none too narrow, none wider than its module, none over what stays free.

    A pin that is not named is there as it was asked for.
    """
    plan = room(rooms, hall, features)
    fitout = Fitout(room="room", column_wraps=True, pins=pins)
    layout = lay_walls(plan, systems.walls(), fitout, systems.products())
    named = {pin.id for pin, why in zip(pins, refusals(_only(layout), pins), strict=True) if why is not None}
    held = laid(layout, [pin for pin in pins if pin.id not in named])
    assert all(held.values()), (held, [r.text for r in layout.reasons if r.code == "pin-refused"])
    for elevation in layout.elevations:
        wall = next(w for w in plan.walls if w.id == elevation.wall)
        spans = sorted([(p.start, p.start + p.width) for p in elevation.panels] + [f[:2] for f in elevation.free])
        assert all(abs(b[0] - a[1]) < 0.06 for a, b in pairwise(spans))
        assert spans[0][0] == pytest.approx(0, abs=0.02)
        assert spans[-1][1] >= wall.length - 0.06
        asked = [float(p.module) for p in pins if p.kind == "module" and p.wall == wall.id and p.id not in named
                 and p.module is not None]  # fmt: skip
        module = asked[0] if asked else 48 * INCH
        for panel in elevation.panels:
            assert panel.width >= min(LEAST, module) - 0.06
            assert panel.width <= module + 0.06
        for item in (f for f in plan.features if f.wall == wall.id and f.kind != "outlet"):
            assert not any(
                p.start < item.end - 0.01 and p.start + p.width > item.start + 0.01 for p in elevation.panels
            )
    for column in plan.columns:
        parts = [p for p in layout.wraps if p.wall == column.id]
        grown = shapely.Polygon(column.outline).buffer(parts[0].thickness, join_style="mitre").length
        assert sum(p.width for p in parts) == pytest.approx(grown, abs=0.1)


def _only(layout: WallLayout) -> RoomLayouts:
    return RoomLayouts(room="room", floor=None, cover=None, walls=layout, fold_away=None)


@settings(max_examples=40, deadline=None)
@given(
    hall=halls(),
    wishes=st.lists(st.tuples(st.integers(0, 400), st.integers(0, 300), st.sampled_from(["x", "y", ""])), max_size=2),
)
def test_mats_keep_their_rules_on_any_hall(rooms: Any, systems: Any, hall: Any, wishes: list[Any]) -> None:
    """Whole mats, none over another, a wall or a column; each pin is held or named, never both nor neither."""
    plan = room(rooms, hall)
    pins = [
        Pin(id=f"p{n}", layer="fold-away", kind="piece", direction=way, x=inches(x), y=inches(y))
        for n, (x, y, way) in enumerate(wishes)
    ]
    layout = lay_fold_away(
        plan,
        FoldAwaySystem(id="f", name="Mats", product="fold-mat", mat_length=inches(96), mat_width=inches(48)),
        systems.products(),
        pins=pins,
    )
    mats = [shapely.Polygon(mat) for mat in layout.mats]
    free = shapely.Polygon(plan.outline).difference(
        shapely.union_all([shapely.Polygon(c.outline) for c in plan.columns])
    )  # fmt: skip
    for mat in mats:
        assert free.buffer(1.5).covers(mat)
    assert sum(m.area for m in mats) - shapely.union_all(mats).area < 2.0 * sum(m.length for m in mats)
    assert sum(m.area for m in mats) <= free.area + 1.5 * free.length
    for pin in pins:
        told = any(r.code == "pin-refused" and r.where == pin.id for r in layout.reasons)
        assert any(holds_mat(pin, mat) for mat in layout.mats) != told
