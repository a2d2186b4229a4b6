"""The cover: welds against hand sums and a dense scan, rolled size and carriers against published formulas."""

from __future__ import annotations

import math
from typing import Any

import pytest
import shapely

from estimating.engine.cover import diagonals, directions, lay_cover
from estimating.engine.floor import lay_floor
from estimating.engine.rolled import carriers_needed, places_to_hold, rolled_diameter
from estimating.engine.types import CoverLayout

INCH = 25.4
POUND = 0.45359237


def check(cover: CoverLayout) -> None:
    fabric = shapely.Polygon(cover.outline, cover.cutouts)
    holes = shapely.union_all([shapely.Polygon(ring) for ring in cover.cutouts])
    strips = [shapely.Polygon(ring).difference(holes) for ring in cover.strips]
    rounding = 0.01 * (fabric.length + cover.weld_length)
    assert sum(s.area for s in strips) == pytest.approx(cover.area, abs=rounding)
    assert shapely.union_all(strips).area == pytest.approx(cover.area, abs=rounding)
    assert cover.bound <= cover.weld_length
    assert cover.weld_length == pytest.approx(sum(w.length for w in cover.welds))
    assert cover.area == pytest.approx(fabric.area, rel=1e-9)


def test_welds_run_along_the_longer_side(rooms: Any, systems: Any) -> None:
    """Cover 240 × 119.5 in from 61 in goods, lap 1 1/4: pitch 59 3/4 in, so one weld of 240 in divides it in two.

    Across, 240 ÷ 59.75 would take four welds of 119.5 in. Band 2 × (240 + 119.5) in; two lengths of goods.
    """
    cover = lay_cover(rooms.rectangle(241, 120.5), systems.floor(), None, systems.products())
    check(cover)
    assert cover.status == "proven"
    assert cover.weld_length == pytest.approx(240 * INCH)
    assert len(cover.strips) == 2
    assert cover.band_length == pytest.approx(719 * INCH)
    assert cover.goods_length == pytest.approx(480 * INCH)
    assert [round(length / INCH, 2) for _, length in cover.sides] == [240.0, 119.5, 240.0, 119.5]
    assert [length for _, length in cover.diagonals] == pytest.approx([math.hypot(240, 119.5) * INCH] * 2, abs=0.01)


def test_a_cover_no_wider_than_the_goods_has_no_weld(rooms: Any, systems: Any) -> None:
    cover = lay_cover(rooms.rectangle(200, 55), systems.floor(), None, systems.products())
    check(cover)
    assert (cover.weld_length, len(cover.strips)) == (0, 1)


def test_cutouts_carry_band_and_lose_area(rooms: Any, systems: Any) -> None:
    """A 12 in column with 1/4 in of gap is a 12 1/2 in hole: 50 in more band, 156 1/4 sq in less cover."""
    plain = lay_cover(rooms.rectangle(241, 181), systems.floor(), None, systems.products())
    plan = rooms.rectangle(241, 181, columns=[rooms.square_column("K", (100, 90), 12)])
    cover = lay_cover(plan, systems.floor(), None, systems.products())
    check(cover)
    assert cover.band_length - plain.band_length == pytest.approx(50 * INCH)
    assert plain.area - cover.area == pytest.approx(12.5**2 * INCH**2)
    assert cover.mass == pytest.approx(cover.area / 1e6 * 1.6275, abs=0.001)


def test_a_column_at_the_wall_leaves_a_notch_in_the_finished_edge(rooms: Any, systems: Any) -> None:
    """A 12 in column at the wall reaches 12 1/4 in with its gap: 11 3/4 × 12 1/2 in less cover, 1/2 in off the wall."""
    plan = rooms.rectangle(241, 181, columns=[rooms.square_column("K", (100, 6), 12)])
    cover = lay_cover(plan, systems.floor(), None, systems.products())
    check(cover)
    assert cover.cutouts == []
    assert len(cover.sides) == 8
    assert cover.area == pytest.approx((240 * 180 - 11.75 * 12.5) * INCH**2, rel=1e-6)
    floor = lay_floor(plan, systems.floor(), systems.products())
    assert floor.mat_area == pytest.approx(cover.area, rel=1e-6)


def test_no_offset_of_a_dense_scan_beats_the_welds(rooms: Any, systems: Any) -> None:
    """Every 10 mm over one pitch in every direction tried: weld length by Shapely, an independent way of counting."""
    cover = lay_cover(rooms.hall(), systems.floor(), None, systems.products())
    check(cover)
    fabric = shapely.Polygon(cover.outline, cover.cutouts)
    pitch = (61 - 1.25) * INCH
    least = math.inf
    for angle in directions(cover.outline):
        turned = shapely.affinity.rotate(fabric, -angle, origin=(0, 0), use_radians=True)
        x0, y0, x1, y1 = turned.bounds
        for step in range(0, int(pitch), 10):
            first = y0 + (step - y0) % pitch
            rows = [first + k * pitch for k in range(int((y1 - first) / pitch) + 1)]
            lines = shapely.multilinestrings([[(x0 - 1, y), (x1 + 1, y)] for y in rows])
            least = min(least, float(turned.intersection(lines).length))
    assert cover.bound <= least + 1
    assert cover.status == "feasible"  # a little more weld keeps it off the walk-on edges
    assert "walk-on" in next(r.text for r in cover.reasons if r.code == "cover-welds")


def test_the_hall_weighs_and_rolls_as_a_foreman_reckons(rooms: Any, systems: Any) -> None:
    """About 2,740 sq ft at a third of a pound: some 915 lb, 24 ft roll about 11 in thick, 24 places, 23 carriers."""
    cover = lay_cover(rooms.hall(), systems.floor(), None, systems.products())
    assert cover.mass / POUND == pytest.approx(917, rel=0.01)
    assert cover.rolled_diameter / INCH == pytest.approx(11, abs=0.5)
    assert cover.roll_length == pytest.approx(24 * 304.8)
    assert cover.carriers == 23
    told = next(r for r in cover.reasons if r.code == "cover-carry")
    assert "24 places" in told.text
    assert told.text.startswith("Screening figure")


@pytest.mark.parametrize(
    ("core", "thickness", "length", "diameter"),
    [(76.2, 0.5, 30_000, 157.813), (76.2, 1.0, 30_480, 211.222), (100, 50, 12_192, 886.660)],
)
def test_roll_diameter(core: float, thickness: float, length: float, diameter: float) -> None:
    """D = √(d² + 4tL ÷ π), the textbook length of goods on a roll, with nothing lost to packing."""
    width = 1500.0
    found = rolled_diameter(length * width, thickness, width, core=core, packing=1.0)
    assert found == pytest.approx(diameter, abs=0.001)


def test_carriers_by_share_and_by_length() -> None:
    """150 lb shared at 40 lb a head is four people; a light 24 ft roll still sags without two every 6 ft."""
    assert carriers_needed(150 * POUND, 1000) == 4
    assert carriers_needed(20 * POUND, 24 * 304.8) == 8
    assert carriers_needed(0, 1000) == 0
    assert places_to_hold(5 * 304.8) == 4


def test_too_few_places_is_a_warning(rooms: Any, systems: Any) -> None:
    """A 35 ft square cover weighs some 400 lb more than its 24 ft roll has places for only when it is heavy fabric."""
    system = systems.floor()
    values = {name: getattr(system.cover, name) for name in system.cover.__struct_fields__}
    heavy = type(system.cover)(**(values | {"mass_per_area": system.cover.mass_per_area * 4}))
    changed = {name: getattr(system, name) for name in system.__struct_fields__} | {"cover": heavy}
    cover = lay_cover(rooms.rectangle(420, 420), type(system)(**changed), None, systems.products())
    assert cover.carriers > places_to_hold(cover.roll_length)
    assert "cover-places" in {r.code for r in cover.reasons if r.severity == "warning"}


def test_diagonals_fix_every_quadrilateral() -> None:
    """An L has six corners: three diagonals fix it (2 × 6 − 3 readings less 6 sides), more check it; all lie inside."""
    ring = [(0.0, 0.0), (60.0, 0.0), (60.0, 30.0), (25.0, 30.0), (25.0, 60.0), (0.0, 60.0)]
    found = diagonals(ring)
    assert len(found) >= 3
    shape = shapely.Polygon(ring)
    assert all(shape.buffer(0.1).covers(shapely.LineString([ring[i], ring[j]])) for i, j in found)
    assert diagonals(ring[:3]) == []


def test_nothing_to_cover_is_empty(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(100, 100, keep_clear={"all": [(-9, -9), (120, -9), (120, 120), (-9, 120)]})
    cover = lay_cover(plan, systems.floor(), None, systems.products())
    assert (cover.status, cover.area, cover.carriers) == ("empty", 0, 0)
    assert cover.reasons


def test_lap_as_wide_as_the_goods_is_refused(rooms: Any, systems: Any) -> None:
    cover = lay_cover(rooms.rectangle(200, 100), systems.floor(goods_width=1), None, systems.products())
    assert cover.status == "infeasible"
    assert cover.reasons[0].severity == "stop"


def test_goods_narrower_than_the_band_are_refused(rooms: Any, systems: Any) -> None:
    found = lay_cover(rooms.rectangle(240, 180), systems.floor(goods_width=3), None, systems.products())
    assert found.status == "infeasible"
    assert [(r.code, r.severity) for r in found.reasons] == [("cover-band", "stop")]
