"""The plan of a room: walls, openings, strips, mat field, edges; areas add up."""

import math

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from buildout.rooms.engine import geometry
from buildout.rooms.engine.plan import plan_room
from buildout.rooms.engine.survey import adjust
from buildout.rooms.engine.types import Column, KeepClear, Reading, Room, Wall, WallFeature
from buildout.units.lengths import Length

FOOT = 304.8
SQUARE_FOOT = FOOT**2


def read(value):
    return Length.read(value)


@pytest.fixture(scope="module")
def hall_plan(hall):
    return plan_room(hall, adjust(hall))


@pytest.fixture(scope="module")
def plain(room_of):
    """20 × 30 ft, corners anticlockwise from the lower left, A–B along +x."""
    side, end = 30 * FOOT, 20 * FOOT
    across = math.hypot(side, end)
    readings = [("A", "B", side), ("B", "C", end), ("C", "D", side), ("D", "A", end), ("A", "C", across),
                ("B", "D", across)]  # fmt: skip

    def make(**other) -> Room:
        return room_of("ABCD", readings, turning="anticlockwise", **other)

    return make


def planned(room):
    return plan_room(room, adjust(room))


def codes(plan):
    return [r.code for r in plan.reasons]


def feature(kind, start, end=None, wall="A-B", zero="A", **other):
    lengths = {k: read(v) for k, v in other.items() if k in ("sill", "head", "clear_width")}
    rest = {k: v for k, v in other.items() if k not in lengths}
    return WallFeature(
        id=rest.pop("id", kind), wall=wall, zero=zero, kind=kind, start=read(start), end=read(end) if end else None,
        **lengths, **rest,
    )  # fmt: skip


def strip(start, end, depth, wall="A-B", zero="A", name="strip", edge="ramp"):
    return KeepClear(
        id=name, name=name, wall=wall, zero=zero, start=read(start), end=read(end), depth=read(depth), edge=edge
    )


# ---------------------------------------------------------------- the demo hall (its own handbook figures)


def test_hall_areas_and_edges(hall_plan):
    assert hall_plan.status == "proven"
    assert hall_plan.reasons == []
    assert hall_plan.mat_area / SQUARE_FOOT == pytest.approx(2750, abs=5)
    assert sum(e.length for e in hall_plan.mat_edges) / FOOT == pytest.approx(252, abs=0.5)
    ramps: dict[str, float] = {}
    for edge in hall_plan.mat_edges:
        if edge.kind == "ramp":
            ramps[edge.along] = ramps.get(edge.along, 0.0) + edge.length
    assert ramps["landing"] / FOOT == pytest.approx(12.5, abs=0.02)
    assert ramps["walk-on gap"] / FOOT == pytest.approx(6.25, abs=0.02)
    assert ramps["storage"] / FOOT == pytest.approx(31 + 11 / 12, abs=0.03)


def test_hall_areas_add_up(hall_plan):
    room = Polygon(hall_plan.outline)
    mat = Polygon(hall_plan.mat_field)
    strips = [Polygon(s) for s in hall_plan.keep_clear.values()]
    grid = room.length * 0.01
    assert mat.area + sum(s.area for s in strips) == pytest.approx(room.area, abs=grid)
    columns = sum(Polygon(c.outline).area for c in hall_plan.columns)
    assert hall_plan.floor_area == pytest.approx(room.area - columns, abs=grid)
    assert hall_plan.mat_area == pytest.approx(mat.area - columns, abs=grid)


def test_hall_edges_close_round_the_field(hall_plan):
    edges = hall_plan.mat_edges
    for before, after in zip(edges, [*edges[1:], edges[0]], strict=True):
        assert before.b == pytest.approx(after.a, abs=0.011)
    assert geometry.signed_area(hall_plan.mat_field) > 0
    assert len({e.id for e in edges}) == len(edges)


def test_walls_point_inward(hall_plan):
    for wall in hall_plan.walls:
        middle = ((wall.a[0] + wall.b[0]) / 2, (wall.a[1] + wall.b[1]) / 2)
        inside = (middle[0] + 100 * wall.inward[0], middle[1] + 100 * wall.inward[1])
        assert geometry.contains(hall_plan.outline, inside)
        assert math.hypot(*wall.inward) == pytest.approx(1, abs=1e-5)
    assert geometry.signed_area(hall_plan.outline) > 0
    assert {w.id: w.construction for w in hall_plan.walls}["C-D"] == "stud"


def test_running_dimensions_from_either_end(hall_plan):
    door = next(f for f in hall_plan.features if f.id == "roller door")
    wall = next(w for w in hall_plan.walls if w.id == "F-A")
    assert (door.start, door.end) == pytest.approx((18.25 * FOOT, (28 + 1 / 3) * FOOT), abs=0.01)
    # zero at F, which is the wall's first corner in corner order: measured from F towards A
    assert math.dist(wall.a, door.a) == pytest.approx(18.25 * FOOT, abs=0.02)


# ---------------------------------------------------------------- a plain room, by hand


def test_zero_at_the_far_corner(plain):
    near = planned(plain(features=[feature("door", "4' 0\"", "7' 0\"")])).features[0]
    far = planned(plain(features=[feature("door", "23' 0\"", "26' 0\"", zero="B")])).features[0]
    assert (near.start, near.end) == pytest.approx((far.start, far.end), abs=0.02)
    assert near.a == pytest.approx((4 * FOOT, 0), abs=0.02)


def test_column_is_deducted(plain):
    # 30 × 20 ft less 2 × 2 ft = 596 sq ft
    column = Column(id="K1", shape="rectangular", width=read("24 in"), depth=read("24 in"))
    room = plain(columns=[column])
    corner = {"K1.SW": (9, 9), "K1.SE": (11, 9), "K1.NE": (11, 11), "K1.NW": (9, 11)}
    ties = [("A", "K1.SW", 0, 0), ("B", "K1.SE", 30, 0), ("C", "K1.NE", 30, 20), ("D", "K1.NW", 0, 20)]
    readings = list(room.readings)
    for k, (a, b, x, y) in enumerate(ties):
        away = math.dist((x, y), corner[b]) * FOOT
        readings.append(type(readings[0])(id=f"k{k}", start=a, end=b, value=read(round(away, 3))))
    plan = planned(Room(id="r", name="R", corners=list("ABCD"), turning="anticlockwise", columns=[column],
                        readings=readings))  # fmt: skip
    assert plan.floor_area / SQUARE_FOOT == pytest.approx(596, abs=0.001)
    assert plan.columns[0].centre == pytest.approx((10 * FOOT, 10 * FOOT), abs=0.05)


def test_strip_in_the_middle_of_a_wall(plain):
    plan = planned(plain(keep_clear=[strip("10' 0\"", "15' 0\"", "4' 0\"")]))
    assert plan.mat_area / SQUARE_FOOT == pytest.approx(600 - 20, abs=0.001)
    ramps = [e for e in plan.mat_edges if e.kind == "ramp"]
    assert [round(e.length / FOOT, 3) for e in ramps] == [4, 5, 4]
    assert sum(e.length for e in plan.mat_edges) / FOOT == pytest.approx(100 + 8, abs=0.001)


def test_strip_along_a_whole_wall_leaves_no_sliver(hall_plan):
    storage = next(e for e in hall_plan.mat_edges if e.along == "storage")
    walls = {w.id: w for w in hall_plan.walls}
    ends = {"D-E": storage.b, "F-A": storage.a}
    for name, spot in ends.items():
        wall = walls[name]
        away = abs(geometry.cross(wall.a, wall.b, spot)) / wall.length
        assert away < 0.05


def test_square_edge_and_open_side(plain):
    plan = planned(plain(
        keep_clear=[strip("0 in", "30' 0\"", "2' 0\"", edge="square")], walls=[Wall(id="C-B", construction="none")]
    ))  # fmt: skip
    kinds = {e.along: e.kind for e in plan.mat_edges}
    assert kinds == {"strip": "square", "B-C": "ramp", "C-D": "wall", "D-A": "wall"}


def test_gap_at_the_end_of_a_wall(plain):
    plan = planned(plain(features=[feature("gap", "0 in", "6' 0\"")]))
    on_wall = [(e.kind, round(e.length / FOOT, 2)) for e in plan.mat_edges if e.along in ("A-B", "gap")]
    assert on_wall == [("ramp", 6.0), ("wall", 24.0)]


def test_low_walls_are_sides_of_their_own(plain):
    """A wall of 30 ft with a low wall of 8 and, right behind it, a gap of 4: 10 + 8 + 4 + 8 ft."""
    plan = planned(plain(features=[
        feature("low wall", "10' 0\"", "18' 0\"", head="3' 6\""), feature("gap", "18' 0\"", "22' 0\"")
    ]))  # fmt: skip
    on_wall = [
        (e.along, e.kind, e.walked_on, round(e.length / FOOT, 2))
        for e in plan.mat_edges
        if e.along in ("A-B", "low wall", "gap")
    ]
    expected = [
        ("A-B", "wall", False, 10.0), ("low wall", "low wall", False, 8.0), ("gap", "ramp", True, 4.0),
        ("A-B", "wall", False, 8.0),
    ]  # fmt: skip
    assert on_wall in (expected, expected[::-1])


def test_strips_that_take_the_whole_room(plain):
    plan = planned(plain(keep_clear=[strip("0 in", "30' 0\"", "25' 0\"")]))
    assert plan.mat_field == []
    assert plan.mat_area == 0
    assert "no mat" in codes(plan)


def test_strips_that_part_the_room(plain):
    plan = planned(plain(keep_clear=[strip("10' 0\"", "12' 0\"", "20' 0\"")]))
    assert "mat in parts" in codes(plan)
    assert plan.mat_area / SQUARE_FOOT == pytest.approx(18 * 20, abs=0.01)


@pytest.mark.parametrize(
    ("made", "code"),
    [
        (feature("door", "28' 0\"", "31' 0\""), "beyond the wall"),
        (feature("door", "7' 0\"", "4' 0\""), "ends before it starts"),
        (feature("door", "4' 0\""), "no end"),
        (feature("door", "4' 0\"", "7' 0\"", zero="C"), "zero corner"),
        (feature("door", "4' 0\"", "7' 0\"", wall="A-C"), "unknown wall"),
    ],
)
def test_openings_that_cannot_be_placed(plain, made, code):
    plan = planned(plain(features=[made]))
    assert codes(plan) == [code]
    assert plan.reasons[0].severity == "stop"
    assert plan.reasons[0].where == "door"
    assert plan.status == "infeasible"
    assert plan.features == []


def test_half_an_inch_over_is_not_an_error(plain):
    plan = planned(plain(features=[feature("door", "27' 0\"", "30' 0 3/8\"")]))
    assert plan.reasons == []
    assert plan.features[0].end == pytest.approx(30 * FOOT, abs=0.05)


def test_overlaps_are_told_only_where_heights_meet(plain):
    door = feature("door", "4' 0\"", "7' 0\"", head="6' 8\"")
    window = feature("window", "6' 0\"", "9' 0\"", sill="3' 0\"", head="6' 0\"")
    over_door = feature("window", "4' 0\"", "7' 0\"", sill="7' 0\"", head="9' 0\"", id="fanlight")
    outlet = feature("outlet", "5' 0\"", sill="16 in")
    plan = planned(plain(features=[door, window, over_door, outlet]))
    assert [(r.code, r.where) for r in plan.reasons] == [("overlap", "window"), ("overlap", "outlet")]
    assert plan.status == "feasible"


def test_heights_and_widths_that_do_not_fit(plain):
    plan = planned(plain(
        height=read("8' 0\""),
        features=[
            feature("door", "4' 0\"", "7' 0\"", clear_width="40 in", head="9' 0\""),
            feature("window", "10' 0\"", "12' 0\"", sill="5' 0\"", head="4' 0\""),
        ],
    ))  # fmt: skip
    assert codes(plan) == ["clear width", "above the wall", "sill above head"]


def test_exit_needs_a_landing(plain):
    door = feature("exit door", "10' 0\"", "13' 0\"", swing="out")
    assert codes(planned(plain(features=[door]))) == ["exit blocked"]
    short = strip("10' 0\"", "12' 0\"", "4' 0\"")
    assert codes(planned(plain(features=[door], keep_clear=[short]))) == ["exit blocked"]
    enough = strip("9' 0\"", "14' 0\"", "4' 0\"")
    assert codes(planned(plain(features=[door], keep_clear=[enough]))) == []


def test_door_that_opens_over_the_mat(plain):
    assert codes(planned(plain(features=[feature("door", "4' 0\"", "7' 0\"", swing="in")]))) == ["door over mat"]
    assert codes(planned(plain(features=[feature("door", "4' 0\"", "7' 0\"", swing="out")]))) == []


def test_panelboard_working_space(plain):
    board = feature("panelboard", "4' 0\"", "5' 8\"")
    plan = planned(plain(features=[board]))
    assert codes(plan) == ["panelboard space"]
    assert "The local electrical code decides" in plan.reasons[0].todo


def test_no_plan_without_a_survey(room_of, plain):
    empty = planned(room_of("", []))
    assert (empty.status, empty.outline, codes(empty)) == ("empty", [], ["no plan"])
    loose = plain()
    loose = planned(Room(id="r", name="R", corners=list("ABCD"), turning="anticlockwise", readings=loose.readings[:4]))
    assert (loose.status, loose.outline, loose.mat_area) == ("underdetermined", [], 0)


def test_names_used_twice(plain):
    plan = planned(plain(features=[feature("outlet", "4' 0\""), feature("outlet", "9' 0\"")]))
    assert codes(plan) == ["named twice"]


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    start=st.integers(0, 280), run=st.integers(6, 80), depth=st.integers(6, 160), wall=st.sampled_from("ABCDEF"),
)  # fmt: skip
def test_strip_and_mat_add_up_to_the_room(hall, reread, start, run, depth, wall):
    """Whatever strip is kept clear, mat and strip make up the room to within outline × grid."""
    corners = "ABCDEF"
    name = f"{wall}-{corners[(corners.index(wall) + 1) % 6]}"
    one = KeepClear(
        id="s", name="s", wall=name, zero=wall, start=read(f"{start} in"), end=read(f"{start + run} in"),
        depth=read(f"{depth} in"),
    )  # fmt: skip
    plan = plan_room(reread(hall, keep_clear=[one], features=[]), hall_survey(hall))
    if "s" not in plan.keep_clear or "mat in parts" in codes(plan):
        return
    room, mat, kept = Polygon(plan.outline), Polygon(plan.mat_field), Polygon(plan.keep_clear["s"])
    assert mat.area + kept.area == pytest.approx(room.area, abs=room.length * 0.01)
    assert mat.intersection(kept).area < room.length * 0.01
    assert sum(e.length for e in plan.mat_edges) == pytest.approx(mat.length, abs=0.5)


_kept = {}


def hall_survey(hall):
    if "survey" not in _kept:
        _kept["survey"] = adjust(hall)
    return _kept["survey"]


# ---------------------------------------------------------------- walls that bow


def bow(value, along=None, name="b", wall="AB", side="in"):
    """A straightness reading: the wall stands ``value`` into the room (or back) there."""
    return Reading(
        id=name, kind="straightness", start=wall[0], end=wall[1], value=read(value), side=side,
        along=read(along) if along else None,
    )  # fmt: skip


def bowed(plain, *bows, **other):
    room = plain(**other)
    return planned(msgspec.structs.replace(room, readings=[*room.readings, *bows]))


@pytest.mark.parametrize(("side", "sign"), [("in", -1), ("out", 1)])
def test_a_bowed_wall_keeps_its_shape_in_floor_and_mat(plain, side, sign):
    """1 in at the middle of 30 ft: a triangle of 30 ft × 1 in / 2 = 15 sq ft / 12 = 1.25 sq ft."""
    plan = bowed(plain, bow("1 in", side=side))
    assert plan.floor_area / SQUARE_FOOT == pytest.approx(600 + sign * 1.25, abs=0.001)
    assert plan.mat_area == pytest.approx(plan.floor_area, abs=1)
    middle = (15 * FOOT, -sign * 25.4)
    assert any(math.dist(p, middle) < 0.05 for p in plan.mat_field)
    assert any(math.dist(p, middle) < 0.05 for p in plan.walls[0].line)
    along = [e for e in plan.mat_edges if e.along == "A-B"]
    assert [e.kind for e in along] == ["wall", "wall"]
    assert sum(e.length for e in along) == pytest.approx(2 * math.hypot(15 * FOOT, 25.4), abs=0.1)
    assert "bowed wall" in codes(plan)


def test_a_wall_runs_straight_where_the_owner_asks(plain):
    plan = bowed(plain, bow("1 in"), walls=[Wall(id="B-A", straight=True)])
    assert plan.floor_area / SQUARE_FOOT == pytest.approx(600, abs=0.001)
    assert len(plan.mat_field) == 4
    assert plan.walls[0].line == []
    assert plan.walls[0].bow  # what was read is still shown


def test_stations_are_joined_in_order_and_repeats_averaged(plain):
    plan = bowed(
        plain,
        bow("1 in", "20 ft", "c"),
        bow("1/2 in", "10 ft", "b"),
        bow("3/4 in", "10 ft", "a"),
        bow("2 ft", "5 ft", "d"),
    )
    line = plan.walls[0].line
    assert [round(x / FOOT, 2) for x, _ in line] == [0, 10, 20, 30]  # two feet of bow are a slip, named and left out
    assert [round(y / 25.4, 3) for _, y in line] == [0, 0.625, 1, 0]
    assert "unlikely reading" in codes(plan)


@pytest.mark.parametrize("side", ["in", "out"])
def test_a_strip_along_a_bowed_wall_leaves_no_sliver_of_mat(plain, side):
    plan = bowed(plain, bow("2 in", side=side), keep_clear=[strip("0 in", "30 ft", "4 ft")])
    kept = Polygon(plan.keep_clear["strip"])
    assert Polygon(plan.mat_field).area + kept.area == pytest.approx(plan.floor_area, abs=50)
    assert Polygon(plan.mat_field).intersection(kept).area < 50
    assert "mat in parts" not in codes(plan)
    assert max(y for _, y in plan.mat_field) - min(y for _, y in plan.mat_field) < 16.1 * FOOT


def test_openings_stand_on_the_bowed_face(plain):
    plan = bowed(plain, bow("1 in"), features=[feature("gap", "10 ft", "20 ft")])
    gap = plan.features[0]
    assert gap.a[1] == pytest.approx(25.4 * 10 / 15, abs=0.05)  # two thirds of the way to the middle
    ramps = [e for e in plan.mat_edges if e.kind == "ramp"]
    assert sum(e.length for e in ramps) == pytest.approx(10 * FOOT, abs=1)
    assert sum(e.length for e in plan.mat_edges) == pytest.approx(100 * FOOT, abs=1)
