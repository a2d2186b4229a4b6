"""Fold-away mats: whole mats only, as many as fit."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import msgspec
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from estimating.engine.fold_away import lay_fold_away
from estimating.engine.types import FoldAwayLayout, FoldAwaySystem, Store

INCH = 25.4


def system(systems: Any, length: float = 96, width: float = 48) -> FoldAwaySystem:
    return FoldAwaySystem(
        id="fold", name="Fold-away mats", product="fold-mat",
        mat_length=systems.inches(length), mat_width=systems.inches(width),
    )  # fmt: skip


def check(layout: FoldAwayLayout, field: Any) -> None:
    mats = [shapely.Polygon(ring) for ring in layout.mats]
    assert len(mats) == layout.count
    assert shapely.union_all(mats).area == pytest.approx(sum(m.area for m in mats), rel=1e-5)
    assert all(field.buffer(1, join_style="mitre").covers(mat) for mat in mats)
    if layout.status in ("proven", "feasible"):
        assert layout.covered + layout.uncovered == pytest.approx(field.area, rel=1e-6)


def childrens_room(rooms: Any) -> Any:
    """Corners from taped sides and diagonals by two circles each (inches)."""
    gh, hj, ng, gj, hn = 289.25, 241.0, 240.875, 375.875, 376.625

    def meet(one: float, two: float) -> tuple[float, float]:
        x = (one**2 - two**2 + gh**2) / (2 * gh)
        return x, math.sqrt(one**2 - x**2)

    return rooms.plan({"G": (0, 0), "N": meet(ng, hn), "J": meet(gj, hj), "H": (gh, 0)})


def test_fifteen_mats_fill_the_childrens_room(rooms: Any, systems: Any) -> None:
    """20 × 24 ft holds five by three mats of 4 × 8 ft: 480 sq ft, although the room is out of square by 1/2 in."""
    plan = childrens_room(rooms)
    layout = lay_fold_away(plan, system(systems), systems.products())
    check(layout, shapely.Polygon(plan.mat_field))
    assert (layout.count, layout.status) == (15, "proven")
    assert layout.covered == pytest.approx(480 * 304.8**2)
    assert layout.mass == pytest.approx(480 * 0.09290304 * 3.2, rel=1e-4)


def test_the_way_round_matters(rooms: Any, systems: Any) -> None:
    """10 × 16 ft 6 in: lengthwise mats make 2 × 2, turned ones 1 × 4; 10 × 8 ft holds 2 side by side."""
    layout = lay_fold_away(rooms.rectangle(198, 120), system(systems), systems.products())
    assert layout.count == 4
    assert lay_fold_away(rooms.rectangle(97, 97), system(systems), systems.products()).count == 2


def test_columns_and_strips_get_no_mat(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(100, 100, columns=[rooms.square_column("K", (50, 25), 8)])
    layout = lay_fold_away(plan, system(systems), systems.products())
    field = shapely.Polygon(plan.mat_field).difference(shapely.Polygon(plan.columns[0].outline))
    check(layout, field)
    assert layout.count == 1


def test_a_room_too_small_holds_none_and_says_so(rooms: Any, systems: Any) -> None:
    layout = lay_fold_away(rooms.rectangle(90, 47), system(systems), systems.products())
    assert (layout.status, layout.count) == ("infeasible", 0)
    assert layout.reasons[0].severity == "warning"


def test_no_field_and_no_size(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(100, 100, keep_clear={"all": [(-9, -9), (120, -9), (120, 120), (-9, 120)]})
    assert lay_fold_away(plan, system(systems), systems.products()).status == "empty"
    layout = lay_fold_away(rooms.rectangle(100, 100), system(systems, 0, 48), systems.products())
    assert layout.status == "infeasible"
    tiny = lay_fold_away(rooms.rectangle(100, 100), system(systems, 1, 1), systems.products())
    assert [(r.code, r.severity) for r in tiny.reasons] == [("fold-away-size", "stop")]


@settings(max_examples=15, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(width=st.integers(100, 300), depth=st.integers(100, 300), lean=st.floats(-8, 8))
def test_mats_never_overlap_or_leave_the_room(rooms: Any, systems: Any, width: int, depth: int, lean: float) -> None:
    plan = rooms.plan({"A": (0, 0), "B": (round(lean, 2), depth), "C": (width, depth), "D": (width, 0)})
    layout = lay_fold_away(plan, system(systems), systems.products())
    check(layout, shapely.Polygon(plan.mat_field))
    inner = (width - 2 * abs(lean), depth)
    least = max((inner[0] // a) * (inner[1] // b) for a, b in ((96, 48), (48, 96)))
    assert layout.count >= least


# ---------------------------------------------------------------- area wanted, under-laps, store, carrier


def mats(systems: Any, mass: str = "3.2") -> dict[str, Any]:
    products = systems.products()
    made = msgspec.structs.replace(
        products["fold-mat"], thickness=systems.inches(2), mass_per_area=Decimal(mass)
    )  # fmt: skip
    return products | {"fold-mat": made}


def test_under_laps_are_the_edges_two_mats_share(rooms: Any, systems: Any) -> None:
    """Six mats of 8 × 4 ft as 2 × 3: 3 short edges of 4 ft and 4 long ones of 8 ft are shared, 44 ft.

    The other way: the outlines, 6 × 24 ft, less the outline of the whole, 56 ft, is twice what is shared: 88 / 2.
    """
    lapped = msgspec.structs.replace(system(systems), under_lap=systems.inches(4))
    layout = lay_fold_away(rooms.rectangle(192, 144), lapped, mats(systems))
    assert layout.count == 6
    assert (layout.under_laps, layout.under_lap_length) == (7, pytest.approx(44 * 12 * INCH))
    assert layout.under_lap_length == pytest.approx((6 * 24 - 56) / 2 * 12 * INCH)
    plain = lay_fold_away(rooms.rectangle(192, 144), system(systems), mats(systems))
    assert (plain.under_laps, plain.under_lap_length) == (0, 0)


def test_no_more_mats_than_the_area_wanted(rooms: Any, systems: Any) -> None:
    """A mat is 32 sq ft = 2.97 m²: 8 m² take three. 100 m² are more than the six that fit, and it says so."""
    plan = rooms.rectangle(192, 144)
    layout = lay_fold_away(plan, system(systems), mats(systems), Decimal(8))
    assert (layout.count, layout.status) == (3, "proven")
    check(layout, shapely.Polygon(plan.mat_field))
    more = lay_fold_away(plan, system(systems), mats(systems), Decimal(100))
    assert more.count == 6
    assert any(r.code == "fold-away-wanted" and r.todo for r in more.reasons)


@pytest.mark.parametrize(
    ("kind", "size", "stored", "stacks"),
    [
        # folded in four: 24 × 48 × 8 in. Under a bed 80 × 60 × 10 in: three beside each other, one high.
        ("under a bed", (80, 60, 10), 3, 3),
        ("under a bed", (80, 60, 17), 6, 3),
        # on edge against a wall 8 ft long, 48 in deep, 4 ft high: two beside each other, six deep
        ("against a wall", (50, 48, 30), 6, 1),
        ("against a wall", (50, 48, 20), 0, 0),
        # a cupboard takes them flat or on edge
        ("cupboard", (24, 48, 50), 6, 1),
    ],
)
def test_what_a_store_holds(
    rooms: Any, systems: Any, kind: str, size: tuple[float, float, float], stored: int, stacks: int
) -> None:
    folding = msgspec.structs.replace(system(systems), sections=4)
    store = Store(kind=kind, length=systems.inches(size[0]), width=systems.inches(size[1]),
                  height=systems.inches(size[2]))  # type: ignore[arg-type]  # fmt: skip
    layout = lay_fold_away(rooms.rectangle(192, 144), folding, mats(systems), None, store)
    assert layout.folded == pytest.approx((24 * INCH, 48 * INCH, 8 * INCH))
    assert (layout.stored, layout.stacks) == (stored, stacks)
    told = next(r for r in layout.reasons if r.code == "fold-away-store")
    assert (told.severity == "warning") == (stored < 6)
    assert bool(told.todo) == (stored < 6)


def test_stacks_that_fill_a_store_to_the_inch(rooms: Any, systems: Any) -> None:
    """Fifteen mats of 4 × 8 ft fill 20 × 24 ft; folded, 144 ÷ 48 = 3 stacks of 42 ÷ 8 = 5 fill the shelf's length."""
    folding = msgspec.structs.replace(system(systems), sections=4)
    shelf = Store(kind="cupboard", length=systems.inches(144), width=systems.inches(24), height=systems.inches(42))
    layout = lay_fold_away(rooms.rectangle(288, 240), folding, mats(systems), None, shelf)
    assert (layout.count, layout.stored, layout.stacks) == (15, 15, 3)


def test_one_person_carries_a_light_mat(rooms: Any, systems: Any) -> None:
    """2.97 m² at 3.2 kg/m² is 9.5 kg, below 18.1 kg (40 lb); at 8 kg/m² 23.8 kg is two people's."""
    light = lay_fold_away(rooms.rectangle(192, 144), system(systems), mats(systems))
    assert light.mat_mass == pytest.approx(9.513, abs=0.001)
    assert next(r for r in light.reasons if r.code == "fold-away-carrier").severity == "note"
    heavy = lay_fold_away(rooms.rectangle(192, 144), system(systems), mats(systems, "8"))
    assert next(r for r in heavy.reasons if r.code == "fold-away-carrier").severity == "warning"


def test_a_store_without_a_thickness_says_what_is_missing(rooms: Any, systems: Any) -> None:
    store = Store(kind="cupboard", length=systems.inches(50), width=systems.inches(50), height=systems.inches(90))
    layout = lay_fold_away(rooms.rectangle(192, 144), system(systems), systems.products(), None, store)
    assert layout.stored == 0
    assert any("thickness is missing" in r.text for r in layout.reasons)
