"""The cover: welds against hand sums and a dense scan, rolled size and carriers against published formulas."""

from __future__ import annotations

import math
from decimal import Decimal
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from buildout.rooms.engine.drawing import Dimension
from buildout.rooms.engine.plan import plan_room
from buildout.rooms.engine.quality import fabricator_gate
from buildout.rooms.engine.survey import adjust, solve
from buildout.rooms.engine.types import Reading, Room, ToolAccuracy
from buildout.units.lengths import Length, format_length
from buildout.units.value import from_json
from estimating.engine.cover import cover_shape, diagonals, directions, lay_cover, weld_over_joints
from estimating.engine.floor import lay_floor
from estimating.engine.layout_drawings import draw_cover
from estimating.engine.rolled import carriers_needed, places_to_hold, rolled_diameter
from estimating.engine.types import CoverLayout, FloorSystem, FoamLayer, Pin, RouteStep, Weld, Zone
from tests.estimating.halls import halls

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


# ---------------------------------------------------------------- zones, widths, hems, pins, joints, parting


def inches(value: float) -> Length:
    return Length(f"{value:g} in", Decimal(str(value)) * Decimal("25.4"))


def zone(x: float, y: float, length: float, width: float) -> Zone:
    return Zone(id="centre", x=inches(x), y=inches(y), length=inches(length), width=inches(width))


def with_cover(system: FloorSystem, **changed: Any) -> FloorSystem:
    assert system.cover is not None
    return msgspec.structs.replace(system, cover=msgspec.structs.replace(system.cover, **changed))


def test_welds_keep_out_of_a_zone_at_the_price_of_length(rooms: Any, systems: Any) -> None:
    """240 × 119.5 in takes one weld of 240 in in the middle. With a zone there: four of 119.5 in beside it."""
    plan = rooms.rectangle(241, 120.5)
    cover = lay_cover(plan, systems.floor(), None, systems.products(), zones=[zone(100, 55, 40, 10)])
    check(cover)
    assert (cover.weld_in_zones, cover.status) == (0, "feasible")
    assert cover.weld_length == pytest.approx(4 * 119.5 * INCH)
    assert cover.bound == pytest.approx(240 * INCH)


def test_what_cannot_be_kept_out_is_said_with_its_length(rooms: Any, systems: Any) -> None:
    """A zone over the whole floor: the least weld, 240 in, lies in it."""
    plan = rooms.rectangle(241, 120.5)
    cover = lay_cover(plan, systems.floor(), None, systems.products(), zones=[zone(-9, -9, 300, 300)])
    assert cover.weld_in_zones == pytest.approx(240 * INCH, abs=0.2)
    told = next(r for r in cover.reasons if r.code == "cover-zones")
    assert "20' 0\"" in told.text
    assert told.todo


def test_the_width_with_least_weld_is_taken(rooms: Any, systems: Any) -> None:
    """119.5 in is covered by one width of 122 in goods (no weld), by two of 61 in (one weld of 240 in)."""
    system = with_cover(systems.floor(), other_widths=[inches(122), inches(72)])
    cover = lay_cover(rooms.rectangle(241, 120.5), system, None, systems.products())
    check(cover)
    assert cover.weld_length == 0
    assert cover.goods_width == pytest.approx(122 * INCH)
    assert any("3 widths" in r.text for r in cover.reasons)


def test_hem_and_overhang(rooms: Any, systems: Any) -> None:
    """Frame 200 × 55 in, 1 1/2 in over its face: 203 × 58 finished; with a 1 in hem the blank is 205 × 60 in."""
    system = with_cover(systems.floor(), hem=inches(1), overhang=inches(1.5))
    cover = lay_cover(rooms.rectangle(201, 56), system, None, systems.products())
    check(cover)
    assert [round(length / INCH, 2) for _, length in cover.sides] == [203.0, 58.0, 203.0, 58.0]
    assert cover.area == pytest.approx(203 * 58 * INCH**2)
    assert cover.cut_area == pytest.approx(205 * 60 * INCH**2)
    assert cover.goods_length == pytest.approx(205 * INCH)
    assert cover.mass == pytest.approx(205 * 60 * INCH**2 / 1e6 * 1.6275, abs=0.01)
    assert cover.band_length == pytest.approx(2 * (203 + 58) * INCH)


def test_a_pinned_weld_line_is_honoured_or_named(rooms: Any, systems: Any) -> None:
    """Pitch 59 3/4 in: lines pinned 24 and 24 + 59 3/4 in up hold together, one 40 in up does not."""

    def pin(name: str, y: float) -> Pin:
        return Pin(id=name, layer="cover", kind="line", direction="x", y=inches(y))

    plan = rooms.rectangle(241, 120.5)
    cover = lay_cover(plan, systems.floor(), None, systems.products(), [pin("p", 24), pin("q", 83.75), pin("r", 40)])
    check(cover)
    assert sorted({round(w.a[1] / INCH, 2) for w in cover.welds}) == [24.0, 83.75]
    refused = [r for r in cover.reasons if r.code == "pin-refused"]
    assert [r.where for r in refused] == ["r"]
    assert "pin p" in refused[0].text


def test_a_pinned_cover_product(rooms: Any, systems: Any) -> None:
    products = systems.products()
    products["heavy"] = msgspec.structs.replace(products["cover"], id="heavy", name="Heavy")
    pins = [
        Pin(id="p", layer="cover", kind="product", product="heavy"),
        Pin(id="q", layer="cover", kind="product", product="timber"),
    ]
    cover = lay_cover(rooms.rectangle(241, 120.5), systems.floor(), None, products, pins)
    assert cover.product == "heavy"
    assert [r.where for r in cover.reasons if r.code == "pin-refused"] == ["q"]


def test_weld_over_a_joint_is_measured_once() -> None:
    """A weld of 1,000 mm; joints beside it from 0–400 and 300–600 mm at 50 mm, one at 200 mm away, one across."""
    weld = Weld(a=(0.0, 0.0), b=(1000.0, 0.0), length=1000.0)
    joints = np.array([(0, 50, 400, 50), (300, -50, 600, -50), (0, 200, 900, 200), (500, -900, 500, 900)], dtype=float)
    assert weld_over_joints([weld], joints) == 600.0


def test_welds_avoid_joints_where_it_costs_nothing(rooms: Any, systems: Any) -> None:
    """Covers with room to shift: among equally good offsets the one with least weld over joints of the top is taken."""
    plan = rooms.rectangle(241, 100)
    system = systems.floor(layers=[FoamLayer(product="top", role="top", direction="x", taped=True)])
    floor = lay_floor(plan, system, systems.products())
    cover = lay_cover(plan, system, floor, systems.products())
    lines = {round(j.a[1], 1) for j in floor.layers[0].joints}
    assert lines
    assert cover.weld_over_joints == 0
    assert all(abs(w.a[1] - y) >= 101.6 for w in cover.welds for y in lines)


def test_where_a_joint_would_be_least_harmful(rooms: Any, systems: Any) -> None:
    """40 × 20 ft at 24 ft of roll is √(4·115,200·0.05/(π·288·0.75)) = 5.8 in thick: 9 in of door less 4 in stops it.

    Half of it is 5.8/√2 = 4.1 in thick and passes.
    """
    plan = rooms.rectangle(481, 241)
    route = [RouteStep(id="door", name="narrow door", kind="opening", width=inches(9), height=inches(80))]
    cover = lay_cover(plan, systems.floor(), None, systems.products(), (), route)
    assert not cover.passage[0].passes
    assert cover.parting is not None
    assert cover.parting in cover.welds
    told = next(r for r in cover.reasons if r.code == "cover-parting")
    assert "both pass" in told.text
    wide = [RouteStep(id="door", name="door", kind="opening", width=inches(36), height=inches(80))]
    assert lay_cover(plan, systems.floor(), None, systems.products(), (), wide).parting is None
    shut = [RouteStep(id="slot", name="slot", kind="opening", width=inches(4.5), height=inches(80))]
    none = lay_cover(plan, systems.floor(), None, systems.products(), (), shut)
    assert none.parting is None
    assert any(r.code == "cover-parting" and "No single weld" in r.text for r in none.reasons)


# ---------------------------------------------------------------- the fabricator gate looks at this drawing


@pytest.fixture(scope="module")
def taped_hall() -> Any:
    room = from_json(Room, (Path(__file__).parent.parent / "data" / "main_hall.json").read_bytes())
    survey, solution = solve(room)
    return room, survey, solution


def test_the_gate_looks_at_every_size_on_the_covers_drawing(taped_hall: Any, systems: Any) -> None:
    room, survey, _ = taped_hall
    plan = plan_room(room, survey)
    system = systems.floor()
    cover = lay_cover(plan, system, None, systems.products())
    gate = fabricator_gate(room, survey, plan, cutting=partial(cover_shape, system=system))
    sides = [i for i in gate.items if i.what == "side"]
    assert [i.name.split(" (")[0] for i in sides] == [f"cover side {name}" for name, _ in cover.sides]
    assert [i.value for i in sides] == pytest.approx([length for _, length in cover.sides], abs=0.02)
    across = [i for i in gate.items if i.what == "diagonal"]
    assert [i.name.split(" (")[0] for i in across] == [f"cover diagonal {name}" for name, _ in cover.diagonals]
    assert [i.value for i in across] == pytest.approx([length for _, length in cover.diagonals], abs=0.02)
    assert len([i for i in gate.items if i.what == "cut-out"]) == 4 * len(cover.cutouts) == 8
    written = " ".join(draw_cover(plan, cover, spec=system.cover, units="metric").notes)
    for item in (i for i in gate.items if i.what == "cut-out"):
        assert format_length(item.value, "metric", denominator=4).removesuffix(" mm") in written


def test_sizes_of_the_cover_spread_as_the_gate_says(taped_hall: Any, systems: Any) -> None:
    """Draws from the covariance, each planned and cut anew; 150 draws give a standard deviation to about 6 %."""
    room, survey, solution = taped_hall
    plan, cut = plan_room(room, survey), partial(cover_shape, system=systems.floor())
    told = [i for i in fabricator_gate(room, survey, plan, cutting=cut).items if i.what != "reading"]
    network, sizes = solution.network, []
    spots = {p.name: p for p in survey.points}
    for x in np.random.default_rng(5).multivariate_normal(solution.x, solution.adjusted.cofactor, size=150):
        at = network.unpack(x)
        moved = []
        for name, p in spots.items():
            centre = name.split(".")[0]
            dx, dy = at[centre][0] - spots[centre].x, at[centre][1] - spots[centre].y
            moved.append(msgspec.structs.replace(p, x=p.x + dx, y=p.y + dy))
        made = cut(plan_room(room, msgspec.structs.replace(survey, points=moved)))
        ring = made.outline
        found = [math.dist(ring[k], ring[(k + 1) % len(ring)]) for k in range(len(ring))]
        found += [math.dist(ring[i], ring[j]) for i, j in made.diagonals]
        sizes.append(found)
    spread = 1.96 * np.std(np.array(sizes), axis=0)
    for item, drawn in zip(told, spread, strict=False):
        assert item.plus_minus == pytest.approx(drawn, rel=0.25, abs=0.06), item.name


def test_a_poor_reading_of_a_bow_widens_the_cover_along_it(taped_hall: Any, systems: Any) -> None:
    """A bow read to ± 1/2 in leaves each diagonal to that corner of the cover no better than the bow's own reading."""
    room, survey, _ = taped_hall
    bow = Reading(id="b", kind="straightness", start="A", end="B", value=Length.read("1 in"), side="in", tool="rule")
    bowed = msgspec.structs.replace(
        room, readings=[*room.readings, bow], tools=[ToolAccuracy(id="rule", fixed=Length.read("1/2 in"))]
    )
    survey = adjust(bowed)
    plan, cut = plan_room(bowed, survey), partial(cover_shape, system=systems.floor())
    gate = fabricator_gate(bowed, survey, plan, cutting=cut)
    wide = [i for i in gate.items if i.what == "diagonal" and not i.passes]
    assert wide
    assert max(i.plus_minus for i in wide) == pytest.approx(12.7 * 1.96 / 2, rel=0.2)  # ± of a tool: two deviations
    assert "cover diagonal" in gate.text


def test_cut_outs_of_a_bowed_hall_are_measured_along_one_side_that_passes_them_all(
    taped_hall: Any, systems: Any
) -> None:
    """A bow divides the longest side in two; neither passes both columns, so another side serves."""
    room, _, _ = taped_hall
    bow = Reading(id="b", kind="straightness", start="F", end="A", value=Length.read("2 in"), side="in",
                  along=Length.read("40 ft"))  # fmt: skip
    bowed = msgspec.structs.replace(room, readings=[*room.readings, bow])
    survey = adjust(bowed)
    plan = plan_room(bowed, survey)
    cover = lay_cover(plan, systems.floor(), None, systems.products())
    straight = lay_cover(plan_room(room, adjust(room)), systems.floor(), None, systems.products())
    assert len(cover.outline) == len(straight.outline) + 1
    gate = fabricator_gate(bowed, survey, plan, cutting=partial(cover_shape, system=systems.floor()))
    cuts = [i for i in gate.items if i.what == "cut-out"]
    assert len(cuts) == 8
    assert all(i.value > 0 for i in cuts)
    drawn = draw_cover(plan, cover, spec=systems.floor().cover)
    told = [d.text for d in drawn.items if isinstance(d, Dimension) and ", from" in d.title]
    assert len(told) == 2
    assert not [text for text in told if text.startswith(("-", "−"))]


# ---------------------------------------------------------------- ways of running the welds


def test_ways_of_running_the_welds_by_hand(rooms: Any, systems: Any) -> None:
    """240 × 119.5 in: one weld of 240 in along, or across 4 strips of 2 × 60 3/8 + 2 × 59 3/4 = 240 1/4 in.

    Three welds of 119.5 in are 358.5 in all, 118.5 in, 9' 10", more.
    """
    cover = lay_cover(rooms.rectangle(241, 120.5), systems.floor(), None, systems.products())
    along, across = cover.ways
    assert (along.chosen, across.chosen) == (True, False)
    assert along.why == "least weld"
    assert [round(w.weld_length / INCH, 1) for w in cover.ways] == [240, 358.5]
    assert across.why.startswith("9' 10\"")
    assert sum(w.length for w in across.welds) == pytest.approx(across.weld_length)
    assert along.goods_length == pytest.approx(cover.goods_length)


def test_ways_say_what_keeping_out_of_a_zone_costs(rooms: Any, systems: Any) -> None:
    """Four welds across, 478 in, keep out of a zone on the middle, and two along of 240 in, 2 in more.

    One along would be 238 in less, 19' 10", but 40 in of it in the zone.
    """
    plan = rooms.rectangle(241, 120.5)
    cover = lay_cover(plan, systems.floor(), None, systems.products(), zones=[zone(100, 55, 40, 10)])
    first, twice, second = cover.ways
    assert "kept free" in first.why
    assert twice.why == "2 in (51 mm) more weld"
    assert second.kept_off / INCH == pytest.approx(40, abs=0.1)
    assert "3' 4\"" in second.why
    assert "19' 10\"" in second.why


def test_a_pinned_direction_is_why(rooms: Any, systems: Any) -> None:
    pins = [Pin(id="p", layer="cover", kind="direction", direction="y")]
    cover = lay_cover(rooms.rectangle(241, 120.5), systems.floor(), None, systems.products(), pins)
    assert [(w.chosen, w.why) for w in cover.ways] == [(True, "the pinned direction")]


@settings(max_examples=25, deadline=None)
@given(hall=halls(), wide=st.sampled_from([54, 61, 72]), x=st.integers(20, 150), y=st.integers(20, 120))
def test_rules_hold_on_any_hall_with_columns(rooms: Any, systems: Any, hall: Any, wide: int, x: int, y: int) -> None:
    """Areas add up, welds lie inside, strips are no wider than the goods; none of the ways is before the chosen one.

    Every cut-out has a slit inside the cover from its edge to the finished edge, and every inner corner its patch.
    """
    corners, columns = hall
    made = [rooms.square_column(f"K{n}", (cx, cy), side) for n, (cx, cy, side) in enumerate(columns)]
    plan = rooms.plan(corners, columns=made)
    system = with_cover(systems.floor(), goods_width=inches(wide))
    cover = lay_cover(plan, system, None, systems.products(), zones=[zone(x, y, 40, 30)])
    check(cover)
    fabric = shapely.Polygon(cover.outline, cover.cutouts)
    chosen, *others = cover.ways
    assert chosen.weld_length == pytest.approx(cover.weld_length, abs=len(cover.welds) + 0.2)
    for way in cover.ways:
        across = np.array([-way.direction[1], way.direction[0]])
        levels = sorted(float(across @ np.array(p)) for w in way.welds for p in (w.a, w.b))
        heights = np.array(cover.outline) @ across
        marks = [heights.min(), *levels, heights.max()]
        assert max(b - a for a, b in pairwise(marks)) <= wide * INCH + 0.1
        assert all(fabric.buffer(0.1).covers(shapely.LineString([w.a, w.b])) for w in way.welds)
    for other in others:
        assert (chosen.kept_off - 1.01, chosen.weld_length - 1.01) <= (other.kept_off, other.weld_length)
        if other.kept_off <= chosen.kept_off:
            assert chosen.weld_length <= other.weld_length + 1.01
    slits = [r for r in cover.reliefs if r.kind == "cut-out"]
    assert len(slits) == len(cover.cutouts)
    for relief in slits:
        line = shapely.LineString(relief.slit)
        assert fabric.buffer(1.0).covers(line)
        assert line.distance(fabric.exterior) < 0.1
        assert min(line.distance(shapely.LinearRing(ring)) for ring in cover.cutouts) < 0.1
    ring = cover.outline
    turns = [
        (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])
        for a, b, c in zip([ring[-1], *ring[:-1]], ring, [*ring[1:], ring[0]], strict=True)
    ]
    assert sum(r.kind == "inner corner" for r in cover.reliefs) == sum(turn < -2 for turn in turns)
