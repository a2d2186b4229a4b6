"""The floor layout against rooms solved by hand, and its promises on rooms made at random."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import msgspec
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildout.units.value import to_json
from estimating.engine.courses import Courses
from estimating.engine.first_fit import sheets_needed
from estimating.engine.floor import Lines as Joints
from estimating.engine.floor import clashes, lay_floor
from estimating.engine.laid_courses import Goods, PieceRules
from estimating.engine.mat_shape import GRID, mat_shape
from estimating.engine.types import FloorLayout, FoamLayer, Joint

INCH = 25.4
BASE_ONLY = [FoamLayer(product="base", role="base")]


def check(layout: FloorLayout, smallest_width: float = 6 * INCH) -> None:
    """What every layout promises, whatever the room."""
    field = shapely.Polygon(layout.field, layout.holes)
    tolerance = GRID * (field.length + 1000)
    for layer in layout.layers:
        pieces = [shapely.Polygon(piece.outline) for piece in layer.pieces]
        assert sum(p.area for p in pieces) == pytest.approx(field.area, abs=tolerance)
        assert shapely.union_all(pieces).area == pytest.approx(field.area, abs=tolerance)  # so no two overlap
        assert all(p.difference(field.buffer(0.02, join_style="mitre")).area < 1 for p in pieces)
        assert all(p.is_valid and not p.interiors for p in pieces)
        assert len({piece.id for piece in layer.pieces}) == len(layer.pieces)
        for piece, shape in zip(layer.pieces, pieces, strict=True):
            assert piece.area == pytest.approx(shape.area, abs=0.01)
            x0, y0, x1, y1 = shape.bounds
            assert sorted(piece.box) == pytest.approx(sorted((x1 - x0, y1 - y0)), abs=0.02)
        small = [p for p in layer.pieces if min(p.box) < smallest_width - 1]
        warned = any(r.code.startswith("floor-rule") and r.severity == "warning" for r in layout.reasons)
        assert not small or warned
    assert layout.bound <= layout.value
    assert layout.bound == sum(layer.sheets_bound for layer in layout.layers)
    if layout.status == "proven":
        assert layout.bound == layout.value


def joint_lines(joints: list[Joint]) -> Joints:
    level = [(j.a[1], j.a[0], j.b[0]) for j in joints if j.a[1] == j.b[1]]
    upright = [(j.a[0], j.a[1], j.b[1]) for j in joints if j.a[0] == j.b[0]]
    return Joints(level, upright)


def test_one_sheet_fills_its_field(rooms: Any, systems: Any) -> None:
    """Room 116 × 56 in less 4 in on every side is one 108 × 48 in sheet; the frame is 2(115 + 55) − 4 × 3.5 in."""
    layout = lay_floor(rooms.rectangle(116, 56), systems.floor(layers=BASE_ONLY), systems.products())
    check(layout)
    assert layout.status == "proven"
    assert [(p.id, p.whole) for p in layout.layers[0].pieces] == [("B1.01", True)]
    assert layout.layers[0].joint_length == 0
    assert layout.frame_length == pytest.approx(326 * INCH)
    assert layout.edge_length == pytest.approx(2 * (108 + 48) * INCH)
    assert layout.mat_area == pytest.approx(115 * 55 * INCH**2)


def test_exact_multiples_use_no_sheet_more_than_the_area(rooms: Any, systems: Any) -> None:
    """192 × 96 in of 96 × 48 in: one course of two wholes, one of half, whole, half; joints 192 + 48 + 2 × 48 in."""
    products = systems.products(base=(96, 48))
    layout = lay_floor(rooms.rectangle(200, 104), systems.floor(layers=BASE_ONLY), products)
    check(layout)
    assert (layout.status, layout.value, layout.bound) == ("proven", 4, 4)
    assert sum(p.whole for p in layout.layers[0].pieces) == 3
    assert layout.layers[0].joint_length == pytest.approx((192 + 48 + 96) * INCH)


def test_kerf_makes_two_halves_need_two_sheets() -> None:
    """Two halves of a 96 in sheet fit without kerf and not with 1/8 in of it."""
    halves = [(48.0, 48.0), (48.0, 48.0)]
    assert sheets_needed(halves, 96, 48) == 1
    assert sheets_needed(halves, 96, 48, kerf=0.125) == 2


def test_a_last_row_under_the_limit_is_shared_with_the_first(rooms: Any, systems: Any) -> None:
    """99 in across is two 48 in courses and 3 in: with a 6 in limit the ends are part courses instead."""
    products = systems.products(base=(96, 48))
    layout = lay_floor(
        rooms.rectangle(200, 107),
        systems.floor(layers=[FoamLayer(product="base", role="base", direction="x")]),
        products,
    )
    check(layout)
    assert not [r for r in layout.reasons if r.severity == "warning"]
    rows = {p.row: p.box[1] for p in layout.layers[0].pieces}
    assert len(rows) == 3
    assert all(width >= 6 * INCH - 0.5 for width in rows.values())
    assert sum(rows.values()) == pytest.approx(99 * INCH)


def test_no_sliver_at_a_sloped_wall(rooms: Any, systems: Any) -> None:
    """The far wall runs from 98 to 107 in: flush courses would leave a wedge down to nothing along it."""
    plan = rooms.plan({"A": (0, 0), "B": (0, 98), "C": (240, 107), "D": (240, 0)})
    layout = lay_floor(plan, systems.floor(layers=BASE_ONLY), systems.products(base=(96, 48)))
    check(layout)
    assert not [r for r in layout.reasons if r.severity == "warning"]


def test_a_sheet_over_a_column_is_laid_as_two_pieces(rooms: Any, systems: Any) -> None:
    """One 108 × 48 in sheet over a 10 in column in its middle: two pieces that meet on the column's centre line."""
    plan = rooms.rectangle(116, 56, columns=[rooms.square_column("K", (58, 28), 10)])
    layout = lay_floor(plan, systems.floor(layers=BASE_ONLY), systems.products())
    check(layout)
    base = layout.layers[0]
    assert [p.id for p in base.pieces] == ["B1.01", "B1.02"]
    assert layout.cutouts == 1
    # hole 10 1/2 in wide: 48 − 10.5 in of joint on the centre line
    assert base.joint_length == pytest.approx(37.5 * INCH)
    assert {round(j.a[0] / INCH, 2) for j in base.joints} == {58.0}
    assert base.area == pytest.approx((108 * 48 - 10.5**2) * INCH**2, rel=1e-6)


def test_a_column_in_a_corner_takes_the_corner(rooms: Any, systems: Any) -> None:
    """A column that reaches into the frame leaves a notch, not a hole."""
    plan = rooms.rectangle(200, 150, columns=[rooms.square_column("K", (6, 6), 12)])
    layout = lay_floor(plan, systems.floor(), systems.products())
    check(layout)
    assert layout.holes == []
    # the field starts 4 in in; the column and its gap reach to 12 1/4 in
    assert layout.layers[0].area == pytest.approx((192 * 142 - 8.25**2) * INCH**2, rel=1e-6)


def test_room_smaller_than_a_sheet(rooms: Any, systems: Any) -> None:
    layout = lay_floor(rooms.rectangle(60, 40), systems.floor(), systems.products())
    check(layout)
    assert layout.status == "proven"
    assert [len(layer.pieces) for layer in layout.layers] == [1, 1]
    assert not any(p.whole for layer in layout.layers for p in layer.pieces)


def test_a_limit_no_sheet_can_keep_is_reported_not_hidden(rooms: Any, systems: Any) -> None:
    """A 60 in limit cannot be kept by 48 in sheets: the floor is laid all the same and a warning names the rule."""
    layout = lay_floor(rooms.rectangle(200, 150), systems.floor(smallest_width=60), systems.products())
    check(layout, smallest_width=60 * INCH)
    assert layout.status == "feasible"
    assert {r.code for r in layout.reasons if r.severity == "warning"} == {"floor-rule-narrow"}
    assert all(r.todo for r in layout.reasons if r.severity == "warning")


def test_no_mat_field_is_empty_and_says_why(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(100, 100, keep_clear={"all": [(-9, -9), (120, -9), (120, 120), (-9, 120)]})
    layout = lay_floor(plan, systems.floor(), systems.products())
    assert (layout.status, layout.layers, layout.value) == ("empty", [], 0)
    assert layout.reasons[0].code == "floor-no-field"
    narrow = lay_floor(rooms.rectangle(100, 7), systems.floor(), systems.products())
    assert narrow.status == "empty"


@pytest.mark.parametrize(
    ("layers", "code"),
    [([], "floor-no-layer"), (["nothing"], "floor-no-product"), (["timber"], "floor-no-sheet")],
)
def test_a_system_that_cannot_be_laid_says_so(rooms: Any, systems: Any, layers: list[str], code: str) -> None:
    system = systems.floor(layers=[FoamLayer(product=name, role="base") for name in layers])
    layout = lay_floor(rooms.rectangle(100, 100), system, systems.products())
    assert layout.status == "infeasible"
    assert [(r.code, r.severity) for r in layout.reasons] == [(code, "stop")]


def test_a_size_in_the_wrong_unit_is_refused_before_it_takes_hours(rooms: Any, systems: Any) -> None:
    """Sheets of 1 × 1/2 in in a 20 ft room would be 115,200 pieces."""
    layout = lay_floor(rooms.rectangle(248, 248), systems.floor(layers=BASE_ONLY), systems.products(base=(1, 0.5)))
    assert layout.status == "infeasible"
    assert [r.code for r in layout.reasons] == ["floor-tiny"]


def test_strips_off_a_roll_run_unbroken_until_the_roll_ends(rooms: Any, systems: Any) -> None:
    """Field 240 × 108 in, 54 in roll: two strips. With a 150 in roll each strip has one end joint, not side by side."""
    top = [FoamLayer(product="top", role="top", direction="x")]
    whole = lay_floor(rooms.rectangle(248, 116), systems.floor(layers=top), systems.products())
    check(whole)
    assert [p.box for p in whole.layers[0].pieces] == [(240 * INCH, 54 * INCH)] * 2
    assert whole.layers[0].joint_length == pytest.approx(240 * INCH)
    short = lay_floor(rooms.rectangle(248, 116), systems.floor(layers=top), systems.products(roll=(150, 54)))
    check(short)
    ends = sorted({round(j.a[0] / INCH, 2) for j in short.layers[0].joints if j.a[0] == j.b[0]})
    assert ends == [94.0, 154.0]  # 4 + 150 in from the left, 244 − 150 in from the right
    unstated = lay_floor(rooms.rectangle(248, 116), systems.floor(layers=top), systems.products(roll=(None, 54)))
    assert unstated.value == 1
    assert "floor-roll-length" in {r.code for r in unstated.reasons}


def test_joints_of_the_top_keep_off_parallel_joints_below(rooms: Any, systems: Any) -> None:
    layout = lay_floor(rooms.rectangle(300, 200), systems.floor(), systems.products())
    check(layout)
    base, top = (joint_lines(layer.joints) for layer in layout.layers)
    assert clashes(base, top, 6 * INCH) == []
    assert layout.layers[0].direction == "x"  # along the room
    assert layout.layers[1].direction == "y"  # across it


def test_an_offset_that_cannot_be_kept_names_place_and_length(rooms: Any, systems: Any) -> None:
    """Courses of 48 in over strips of 54 in, both along x: the lines come within 3 in of each other somewhere."""
    layers = [
        FoamLayer(product="base", role="base", direction="x"),
        FoamLayer(product="top", role="top", direction="x"),
    ]
    layout = lay_floor(rooms.rectangle(300, 500), systems.floor(layers=layers), systems.products())
    check(layout)
    told = [r for r in layout.reasons if r.code == "floor-rule-joints"]
    assert len(told) == 1
    assert told[0].severity == "warning"
    assert layout.status == "feasible"


def test_clashes_measure_the_overlap_only() -> None:
    """Lines 100 mm apart that run beside each other for 300 mm clash under a 150 mm rule, not under a 90 mm one."""
    below = Joints([(0.0, 0.0, 1000.0)], [])
    above = Joints([(100.0, 700.0, 2000.0)], [])
    assert [length for _, length in clashes(below, above, 150)] == [300.0]
    assert clashes(below, above, 90) == []


def test_frame_timbers_are_cut_from_what_is_sold(rooms: Any, systems: Any) -> None:
    layout = lay_floor(rooms.rectangle(400, 160), systems.floor(), systems.products())
    timbers = [p for p in layout.frame if p.kind == "frame"]
    assert all(0 < p.length <= 144 * INCH + 0.01 for p in timbers)
    outer = 2 * (399 + 159) - 4 * 3.5
    assert layout.frame_length == pytest.approx(outer * INCH)
    assert sum(p.length for p in timbers) == pytest.approx(outer * INCH)
    # lengths × width are the ring between the outer face and the field
    assert layout.frame_length * 3.5 * INCH == pytest.approx((399 * 159 - 392 * 152) * INCH**2)


def test_ramp_says_what_an_accessible_route_would_need(rooms: Any, systems: Any) -> None:
    """A 2 1/2 in floor at 1 : 12 (2010 ADA Standards 405.2) needs 30 in of ramp."""
    layout = lay_floor(rooms.rectangle(300, 200, ramps=["B-C"]), systems.floor(), systems.products())
    assert layout.ramp_length == pytest.approx(300 * INCH)
    told = next(r for r in layout.reasons if r.code == "floor-ramp")
    assert "2' 6\" (762 mm)" in told.text
    assert "local authority decides" in told.text


def test_ramps_meet_in_a_mitre(rooms: Any, systems: Any) -> None:
    """Ramps 12 in deep along two sides that meet at 90°: each is mitred 45° and 12 in longer at the toe (tan 45° = 1).

    Two ways: from the pieces, and from the geometry of the two trapezes that fill the ramp's ring.
    """
    layout = lay_floor(rooms.rectangle(120, 96, ramps=["B-C", "C-D"]), systems.floor(), systems.products())
    ramps = [p for p in layout.frame if p.kind == "ramp"]
    lengths = {p.edge: (round(p.length / INCH, 3), {p.start_mitre, p.end_mitre}) for p in ramps}
    assert sorted(lengths.values(), key=lambda v: v[0]) == [(108.0, {0.0, 45.0}), (132.0, {0.0, 45.0})]
    from_pieces = sum((p.length / INCH - 6) * 12 for p in ramps)  # mean of toe and mat side, 12 in deep
    ring = shapely.box(0, 0, 132, 108).area - shapely.box(0, 0, 120, 96).area
    assert from_pieces == pytest.approx(ring)
    assert layout.ramp_length == pytest.approx((120 + 96) * INCH)


def test_ramps_in_a_notch_are_longest_against_the_mat(rooms: Any, systems: Any) -> None:
    """An exit landing cut into the mat: its three ramps meet at inner corners, mitred the other way, none longer."""
    plan = rooms.rectangle(200, 150, keep_clear={"landing": [(-9, 50), (48, 50), (48, 104), (-9, 104)]})
    layout = lay_floor(plan, systems.floor(), systems.products())
    ramps = {round(p.length / INCH, 2): (p.start_mitre, p.end_mitre) for p in layout.frame if p.kind == "ramp"}
    assert ramps[54.0] == (-45.0, -45.0)
    assert layout.ramp_length == pytest.approx((48 + 54 + 48) * INCH)


def test_frame_ends_follow_corners_out_of_square(rooms: Any, systems: Any) -> None:
    """A corner of 85° inside turns the frame by 95°: both timbers are 5° off square, outer edge longer."""
    lean = 100 / math.tan(math.radians(85))
    plan = rooms.plan({"A": (0, 0), "B": (lean, 100), "C": (200, 100), "D": (200, 0)})
    layout = lay_floor(plan, systems.floor(layers=BASE_ONLY), systems.products())
    frame = [p for p in layout.frame if p.kind == "frame"]
    ends = sorted(round(m, 1) for p in frame for m in (p.start_mitre, p.end_mitre))
    assert ends == [-5.0, -5.0, *[0.0] * (len(ends) - 4), 5.0, 5.0]


def test_the_first_line_and_where_it_is_measured_from(rooms: Any, systems: Any) -> None:
    """99 in across with 48 in sheets: the first course is a part row, and the line lies its width off the long side."""
    layers = [FoamLayer(product="base", role="base", direction="x", taped=True)]
    layout = lay_floor(rooms.rectangle(200, 107), systems.floor(layers=layers), systems.products(base=(96, 48)))
    base = layout.layers[0]
    assert base.first_line is not None
    first = [p for p in base.pieces if p.row == 1]
    width = first[0].box[1]
    assert abs(base.first_line.a[1] - 4 * INCH) == pytest.approx(width)
    assert base.first_line_from.count("towards corner") == 2
    plan = rooms.rectangle(200, 107)
    walls = {w.id: w for w in plan.walls if abs(w.a[1] - w.b[1]) < 1}
    side = base.first_line.a[1] - width, base.first_line.a[1] + width
    beside = min(walls, key=lambda w: min(abs(walls[w].a[1] - v) for v in side))
    assert f"side parallel to wall {beside} and nearest to it" in base.first_line_from
    assert base.cut_count == sum(not p.whole for p in base.pieces)
    assert base.tape_length == base.joint_length > 0
    one = lay_floor(rooms.rectangle(116, 56), systems.floor(layers=BASE_ONLY), systems.products()).layers[0]
    assert (one.first_line, one.first_line_from, one.tape_length) == (None, "", 0.0)


def test_the_first_line_is_snapped_where_there_is_floor(rooms: Any, systems: Any) -> None:
    """An L whose long wall bows: of 400, 364 and, in the notch, 434 in along x only the first two begin a course."""
    plan = rooms.plan(
        {"A": (0, 0), "B": (0, 744), "C": (330, 744), "D": (330, 380), "E": (764, 380), "F": (764, 0), "M": (400, 2)}
    )
    layers = [FoamLayer(product="base", role="base", direction="x")]
    floor = lay_floor(plan, systems.floor(layers=layers), systems.products())
    line = floor.layers[0].first_line
    assert line is not None
    field = shapely.Polygon(floor.field)
    assert field.buffer(1).covers(shapely.LineString([line.a, line.b]))
    first = shapely.union_all([shapely.Polygon(p.outline) for p in floor.layers[0].pieces if p.row == 1])
    assert first.distance(shapely.LineString([line.a, line.b])) < 1


def test_mass_on_the_floor_from_density(rooms: Any, systems: Any) -> None:
    """2 in at 2 lb/cu ft is a third of a pound a square foot (density × thickness ÷ 12), cover 0.125 lb/sq ft."""
    pound_per_square_foot = 0.45359237 / 0.09290304
    products = systems.products()
    values = {name: getattr(products["base"], name) for name in products["base"].__struct_fields__}
    products["base"] = type(products["base"])(**(values | {"density": Decimal("32.0369")}))
    system = systems.floor(layers=BASE_ONLY)
    layout = lay_floor(rooms.rectangle(200, 100), system, products)
    cover = float(system.cover.mass_per_area)
    assert layout.mass_per_area - cover == pytest.approx(pound_per_square_foot / 3, rel=1e-3)
    assert layout.thickness == pytest.approx(50.8)


def test_the_hall_keeps_every_rule(rooms: Any, systems: Any) -> None:
    """L-shaped hall with two columns, two strips, sloped walls; areas by the shoelace formula beside them."""
    plan = rooms.hall()
    layout = lay_floor(plan, systems.floor(), systems.products())
    check(layout)
    assert not [r for r in layout.reasons if r.severity != "note"]
    shape = mat_shape(plan, systems.floor())
    assert shape is not None
    # a strip 4 in wide along some 257 ft of edge and two columns leave about 2,665 of 2,748 sq ft
    assert shape.field.area / 304.8**2 == pytest.approx(2665, abs=5)
    assert layout.cutouts == 2
    assert layout.value <= layout.bound + 4
    base, top = (joint_lines(layer.joints) for layer in layout.layers)
    assert clashes(base, top, 6 * INCH) == []
    again = lay_floor(plan, systems.floor(), systems.products())
    assert to_json(again) == to_json(layout)


@st.composite
def crooked_rooms(draw: Any) -> dict[str, tuple[float, float]]:
    """Quadrilaterals and L-shapes up to 20 ft with corners up to 5 in out of true."""
    width, depth = draw(st.integers(60, 240)), draw(st.integers(60, 240))
    ring = [(0, 0), (0, depth), (width, depth), (width, 0)]
    if draw(st.booleans()) and width > 120 and depth > 120:
        leg, arm = draw(st.integers(60, width - 40)), draw(st.integers(60, depth - 40))
        ring = [(0, 0), (0, depth), (leg, depth), (leg, arm), (width, arm), (width, 0)]
    off = st.floats(-5, 5).map(lambda v: round(v, 2))
    return {chr(65 + k): (x + draw(off), y + draw(off)) for k, (x, y) in enumerate(ring)}


@settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(corners=crooked_rooms(), column=st.booleans(), at=st.tuples(st.integers(20, 90), st.integers(20, 90)))
def test_areas_add_up_in_any_room(
    rooms: Any, systems: Any, corners: dict[str, tuple[float, float]], column: bool, at: tuple[int, int]
) -> None:
    pillars = [rooms.round_column("K", (float(at[0]), float(at[1])), 9)] if column else []
    layout = lay_floor(rooms.plan(corners, columns=pillars), systems.floor(), systems.products(base=(96, 48)))
    check(layout)
    if not any(r.code == "floor-rule-joints" for r in layout.reasons):
        base, top = (joint_lines(layer.joints) for layer in layout.layers)
        assert clashes(base, top, 6 * INCH) == []


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    boxes=st.lists(st.tuples(st.integers(1, 96), st.integers(1, 48)), max_size=25),
    kerf=st.sampled_from([0.0, 0.125]),
)
def test_first_fit_is_never_below_the_area(boxes: list[tuple[int, int]], kerf: float) -> None:
    count = sheets_needed([(float(a), float(b)) for a, b in boxes], 96, 48, kerf=kerf)
    assert math.ceil(sum(a * b for a, b in boxes) / (96 * 48) - 1e-9) <= count <= len(boxes)


def test_arithmetic_score_agrees_with_the_drawn_pieces() -> None:
    """In a plain 200 × 100 in field every layout's whole sheets can be counted by hand from its offsets."""
    goods = Goods("base", 96.0, 48.0, False, 0.0, True)
    courses = Courses(shapely.box(0, 0, 200, 100), goods, PieceRules(0.0, 0.0), "x")
    for across in (0.0, 4.0, 20.0):
        for along in (0.0, 8.0, 50.0):
            pieces = [p for _, _, cuts in courses.cut_out([(across, along, 0.5)]).rows(0) for p in cuts]
            whole = sum(p.whole for p in pieces)
            expected = 0
            for number, low in enumerate(courses.row_starts(across)):
                start = (along + number * 48.0) % 96
                fits = max(0, math.floor((200 - start) / 96))
                expected += fits if low >= 0 and low + 48 <= 100 else 0
            assert whole == expected
            assert sum(p.area for p in pieces) == pytest.approx(200 * 100)


@pytest.mark.parametrize(
    ("swing", "gap", "start", "severity"),
    [("in", 0.5, 60, "warning"), ("in", 3, 60, ""), ("in", None, 60, "note"), ("out", 0.5, 60, "")],
)
def test_a_floor_thicker_than_the_gap_under_a_door(
    rooms: Any, systems: Any, swing: str, gap: float | None, start: float, severity: str
) -> None:
    """2 1/2 in of foam under a leaf with 1/2 in of air does not let it open; 3 in does; out it swings over nothing."""
    door = {"id": "store-door", "wall": "B-C", "kind": "door", "start": start, "end": start + 36, "swing": swing}
    plan = rooms.rectangle(200, 150, features=[door])
    features = [
        msgspec.structs.replace(f, under_leaf=None if gap is None else gap * INCH) for f in plan.features
    ]  # fmt: skip
    layout = lay_floor(msgspec.structs.replace(plan, features=features), systems.floor(), systems.products())
    told = [r for r in layout.reasons if r.code == "floor-door-gap"]
    assert [r.severity for r in told] == ([severity] if severity else [])
    assert all(r.todo and "store-door" in r.text for r in told)


@pytest.mark.parametrize(
    ("base", "edge", "says"),
    [
        (1.5, False, ""),
        (1.625, False, ""),
        (2, False, "pack the timber up by 1/2 in"),
        (1, False, "the timber stands 1/2 in (13 mm) above it"),
        (1.5, True, "the timber stands 2 in (51 mm) above it"),
    ],
)
def test_the_frame_is_level_with_the_base_foam(rooms: Any, systems: Any, base: float, edge: bool, says: str) -> None:
    """Timber of 1 1/2 × 3 1/2 in, flat or on edge, beside the base: within 1/8 in nothing is said.

    Common practice, no published source. Without a cover no band is held, and nothing is said either.
    """
    products = systems.products()
    system = systems.floor()
    products["base"] = msgspec.structs.replace(products["base"], thickness=systems.inches(base))
    timber = msgspec.structs.replace(products[system.frame], thickness=systems.inches(1.5), width=systems.inches(3.5))
    products[system.frame] = timber
    system = msgspec.structs.replace(system, frame_width=timber.thickness if edge else timber.width)
    told = [r for r in lay_floor(rooms.rectangle(200, 150), system, products).reasons if r.code == "floor-frame-level"]
    assert len(told) == bool(says)
    assert all(says in r.text and r.todo and r.severity == "note" for r in told)
    bare = lay_floor(rooms.rectangle(200, 150), msgspec.structs.replace(system, cover=None), products)
    assert not [r for r in bare.reasons if r.code == "floor-frame-level"]


def test_an_unproven_floor_says_its_bound_and_where_the_search_stopped(rooms: Any, systems: Any) -> None:
    layout = lay_floor(rooms.hall(), systems.floor(), systems.products())
    told = [r for r in layout.reasons if r.code == "floor-bound"]
    assert bool(told) == (layout.value > layout.bound)
    for reason in told:
        assert f"asks for {layout.bound:.0f}," in reason.text
        assert f"The search stops after {layout.stopped_by}, the same on every machine." in reason.text
    proven = lay_floor(rooms.rectangle(116, 56), systems.floor(layers=BASE_ONLY), systems.products())
    assert not [r for r in proven.reasons if r.code == "floor-bound"]


def test_a_frame_on_walk_on_edges_only(rooms: Any, systems: Any) -> None:
    """200 × 100 in, walked on along one 200 in side: one run of 199 in there, foam to 1/2 in of the three walls.

    Foam 199 × (99 − 3 1/2) in; two ways: the field, and the outer face less the timber's area.
    """
    system = msgspec.structs.replace(systems.floor(layers=BASE_ONLY), framed="walk-on edges")
    layout = lay_floor(rooms.rectangle(200, 100, ramps=["B-C"]), system, systems.products())
    check(layout)
    assert layout.frame_length == pytest.approx(199 * INCH)
    assert layout.layers[0].area == pytest.approx(199 * 95.5 * INCH**2)
    outer = shapely.Polygon(layout.outer).area
    assert layout.layers[0].area == pytest.approx(outer - layout.frame_length * 3.5 * INCH)
    assert any(r.code == "floor-band" for r in layout.reasons)
    loose = msgspec.structs.replace(system, cover=None)
    assert not any(
        r.code == "floor-band" for r in lay_floor(rooms.rectangle(200, 100), loose, systems.products()).reasons
    )
    two = lay_floor(rooms.rectangle(200, 100, ramps=["B-C", "C-D"]), system, systems.products())
    # the second run butts against the first: 199 + 99 − 3 1/2
    assert two.frame_length == pytest.approx((199 + 99 - 3.5) * INCH)
    assert two.layers[0].area == pytest.approx(195.5 * 95.5 * INCH**2)
