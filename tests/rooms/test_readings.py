"""Kinds of reading beyond the distance, tools, statistics, slips, loose and undecided rooms."""

import itertools
import math

import msgspec
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares
from scipy.stats import norm

from buildout.changes.web.bench_survey import (
    Tally,
    alarmed,
    foot_slip,
    in_ellipsoid,
    inside_its_own,
    seeded_room,
    swapped_digits,
    taped,
)
from buildout.rooms.engine.network import DELTA, End, Network, Offset, Running, Square, adjust_network
from buildout.rooms.engine.network import Distance as Tape
from buildout.rooms.engine.observations import sigma
from buildout.rooms.engine.plan import plan_room
from buildout.rooms.engine.slips import find_slip
from buildout.rooms.engine.survey import adjust, limit_for, solve
from buildout.rooms.engine.types import Column, LevelChange, Reading, ToolAccuracy, WallFeature
from buildout.units.lengths import Length
from buildout.units.value import from_json, to_json

L = Length.read
FOOT = 304.8
RECTANGLE = [("A", "B", 4000.0), ("B", "C", 3000.0), ("C", "D", 4000.0), ("D", "A", 3000.0), ("A", "C", 5000.0),
             ("B", "D", 5000.0)]  # fmt: skip


def stops(survey):
    return [r.code for r in survey.reasons if r.severity == "stop"]


def square_room(room_of, *more, drop=(), **other):
    readings = [r for k, r in enumerate(RECTANGLE, 1) if k not in drop]
    room = room_of("ABCD", readings, turning="anticlockwise", **other)
    return msgspec.structs.replace(room, readings=[*room.readings, *more])


# ---------------------------------------------------------------- offset, running, square


def test_old_readings_read_as_distances():
    made = from_json(Reading, '{"id":"1","start":"A","end":"B","value":"12\' 3 1/4\\""}')
    assert made.kind == "distance"
    assert made.legs == []


def test_offset_and_running_place_a_mark(room_of):
    # 1,500 off A-B and 1,000 along it from A: the mark lies at (1000, 1500)
    room = square_room(
        room_of,
        Reading(id="o", kind="offset", start="A", end="B", point="M", value=L(1500)),
        Reading(id="r", kind="running", start="A", end="B", point="M", value=L(1000)),
        marks=["M"],
    )
    survey = adjust(room)
    at = {p.name: (p.x, p.y) for p in survey.points}
    assert at["M"] == pytest.approx((1000, 1500), abs=0.02)
    assert {r.kind for r in survey.readings} == {"distance", "offset", "running"}


def test_round_column_by_diameter_and_two_offsets(room_of):
    # faces 900 off A-B and 1,100 off D-A, diameter 200: centre 100 farther each way
    room = square_room(
        room_of,
        Reading(id="o1", kind="offset", start="A", end="B", point="K1", value=L(900)),
        Reading(id="o2", kind="offset", start="D", end="A", point="K1", value=L(1100)),
        columns=[Column(id="K1", shape="round", diameter=L(200))],
    )
    survey = adjust(room)
    at = {p.name: (p.x, p.y) for p in survey.points}
    assert at["K1"] == pytest.approx((1200, 1000), abs=0.02)


def test_square_check_fixes_a_corner(room_of):
    # four walls and a 3-4-5 at A: 5 ft says the corner is square, so the room is a rectangle
    room = square_room(
        room_of,
        Reading(id="s", kind="square", start="B", end="D", point="A", value=L("5'"), legs=[L("3'"), L("4'")]),
        drop=(5, 6),
    )
    survey = adjust(room)
    assert survey.degrees_of_freedom == 0
    assert survey.angles["A"] == pytest.approx(90.0, abs=0.001)
    assert next(d.length for d in survey.diagonals if d.start == "A") == pytest.approx(5000, abs=0.02)


def test_square_check_out_of_square(room_of):
    # cos A = (3² + 4² - 4.95²)/(2·3·4) in feet
    tie = Reading(id="s", kind="square", start="B", end="D", point="A", value=L('59.4"'), legs=[L("3'"), L("4'")])
    survey = adjust(square_room(room_of, tie, drop=(5, 6)))
    assert survey.angles["A"] == pytest.approx(math.degrees(math.acos((9 + 16 - 4.95**2) / 24)), abs=0.001)


def test_a_wrong_offset_is_named(hall):
    at = {p.name: (p.x, p.y) for p in adjust(hall).points}
    true = at["M"][1]  # A-F lies along the x axis
    more = [
        Reading(id=f"o{k}", kind="offset", start="A", end="F", point="M", value=L(round(true + by, 1)))
        for k, by in enumerate((1.0, -1.0, 152.4))
    ]
    survey = adjust(msgspec.structs.replace(hall, readings=[*hall.readings, *more]))
    assert [r.id for r in survey.readings if r.verdict == "set aside"] == ["o2"]
    blunder = next(r for r in survey.reasons if r.code == "blunder")
    assert "o2 (M off A–F)" in blunder.text


def test_derivatives_of_every_kind_agree_with_differences():
    points = {"A": (0, 0), "B": (150, 7000), "C": (9000, 7100), "D": (9100, 0), "M": (3000, 2500), "K": (6000, 4000)}
    spot = End("K", offset=(150.0, -200.0), frame=("B", "C"))
    made = [
        Tape("t", End("A"), spot, 7000, 2), Offset("o", spot, ("A", "D"), 3800, 2),
        Offset("p", End("M"), ("B", "C"), 4500, 2), Running("r", spot, ("D", "C"), 3900, 2),
        Running("q", End("M", radius=100.0), ("A", "B"), 2400, 2), Square("s", "B", ("A", "C"), (900, 1200), 1500, 2),
    ]  # fmt: skip
    network = Network(sorted(points), made, {"A": (0.0, 0.0), "D": (None, 0.0)})
    x = network.pack(points)
    _, design = network.evaluate(x)
    for k in range(len(x)):
        up, down = x.copy(), x.copy()
        up[k] += 1e-3
        down[k] -= 1e-3
        numeric = (network.evaluate(up)[0] - network.evaluate(down)[0]) / 2e-3
        assert design[:, k] == pytest.approx(numeric, abs=1e-6)


@pytest.mark.parametrize(
    ("extra", "code"),
    [
        (Reading(id="x", kind="offset", start="A", end="B", point="Q", value=L(10)), "unknown point"),
        (Reading(id="x", kind="offset", start="A", end="B", point="B", value=L(10)), "zero length"),
        (Reading(id="x", kind="square", start="B", end="D", point="A", value=L("5'")), "square legs"),
        (
            Reading(id="x", kind="square", start="B", end="D", point="A", value=L("8'"), legs=[L("3'"), L("4'")]),
            "square legs",
        ),
        (Reading(id="x", kind="clear width", start="", end="", feature="no door", value=L(800)), "unknown opening"),
        (Reading(id="x", kind="plumb", start="A", end="B", value=L(3), over=L(0)), "no height"),
        (Reading(id="x", start="A", end="C", value=L("3000 ft")), "too long"),
    ],
)
def test_readings_that_make_no_sense_are_named_and_kept(room_of, extra, code):
    survey = adjust(square_room(room_of, extra))
    assert code in stops(survey)
    assert survey.status == "infeasible"
    assert survey.readings[-1].verdict == "set aside"
    assert survey.readings[-1].why


# ---------------------------------------------------------------- what fixes no point


def test_recorded_kinds_do_not_move_the_room(hall):
    more = [
        Reading(id="b", kind="straightness", start="A", end="B", along=L("20'"), value=L('1 1/4"'), base=L('1 3/4"')),
        Reading(
            id="p", kind="plumb", start="C", end="B", along=L("10'"), value=L('2 1/2"'), base=L('2"'), over=L("6'")
        ),
        Reading(id="h", kind="height", start="A", end="B", along=L("1'"), value=L("13' 3\"")),
        Reading(id="f", kind="flatness", start="A", end="M", along=L("10'"), value=L('3/8"'), over=L("10'")),
        Reading(id="l1", kind="level", start="M", end="F", along=L("10'"), value=L('40 1/4"')),
        Reading(id="l2", kind="level", start="M", end="E", along=L("20'"), value=L('40 3/4"')),
        Reading(id="c", kind="clear width", start="", end="", feature="fire exit", value=L('34 1/8"')),
    ]
    room = msgspec.structs.replace(hall, readings=[*hall.readings, *more])
    plain, survey = adjust(hall), adjust(room)
    assert survey.points == plain.points
    assert {r.verdict for r in survey.readings[-7:]} == {"recorded"}
    plan = plan_room(room, survey)
    wall = {w.id: w for w in plan.walls}
    assert (wall["A-B"].bow[0].along, wall["A-B"].bow[0].inward) == (20 * FOOT, 12.7)  # 1 3/4 - 1 1/4 in
    length = wall["B-C"].length
    assert wall["B-C"].lean[0].along == pytest.approx(length - 10 * FOOT, abs=0.02)  # read from C
    assert (wall["B-C"].lean[0].inward, wall["B-C"].lean[0].over) == (-12.7, pytest.approx(6 * FOOT, abs=0.01))
    assert wall["A-B"].heights[0].height == pytest.approx(13.25 * FOOT, abs=0.01)
    floor = {s.reading: s.value for s in plan.floor}
    assert floor["f"] == pytest.approx(9.53, abs=0.01)
    assert floor["l1"] == pytest.approx(6.35, abs=0.01)  # a quarter inch above the mean of the two
    assert floor["l1"] == -floor["l2"]
    assert next(f for f in plan.features if f.id == "fire exit").clear_width == pytest.approx(34.125 * 25.4, abs=0.01)
    assert {"bowed wall", "leaning wall", "hollow floor"} <= {r.code for r in plan.reasons}


@pytest.mark.parametrize(
    ("base", "side", "inward"), [(30, "", 10), (None, "in", 20), (None, "", -20), (None, "out", -20)]
)
def test_which_way_a_bow_goes(room_of, base, side, inward):
    bow = Reading(
        id="b", kind="straightness", start="A", end="B", value=L(20), base=None if base is None else L(base), side=side
    )
    room = square_room(room_of, bow)
    station = plan_room(room, adjust(room)).walls[0].bow[0]
    assert (station.inward, station.along) == (inward, pytest.approx(2000, abs=0.1))  # the middle, unless said


def test_stations_beyond_the_wall_and_unlikely_gaps(room_of):
    far = Reading(id="b", kind="straightness", start="A", end="B", along=L(4500), value=L(20))
    big = Reading(id="c", kind="straightness", start="B", end="C", value=L(300))
    room = square_room(room_of, far, big)
    codes = [r.code for r in plan_room(room, adjust(room)).reasons]
    assert "beyond the wall" in codes
    assert "unlikely reading" in codes


def test_levels_and_hinges(room_of):
    door = WallFeature(id="door", wall="A-B", zero="B", kind="door", start=L(500), end=L(1300), hinge="start")
    room = square_room(
        room_of, features=[door], levels=[LevelChange(id="step", edge=["A", "C"], rise=L(150), up_to="D")]
    )
    plan = plan_room(room, adjust(room))
    assert plan.features[0].hinge == "b"  # start is measured from B, so it is the jamb nearer B
    assert plan.levels[0].up_left  # D lies to the left of A→C
    assert plan.levels[0].rise == 150
    bad = msgspec.structs.replace(room, levels=[LevelChange(id="step", edge=["A", "Q"], rise=L(150))])
    assert "level edge" in [r.code for r in plan_room(bad, adjust(bad)).reasons]


def test_a_column_that_straddles_a_wall_stops(room_of):
    column = Column(id="K1", shape="round", diameter=L(400))
    ties = [
        Reading(id=f"k{c}", start=c, end="K1", value=L(round(math.dist(p, (2000, 20)) - 200, 1)))
        for c, p in zip("ABCD", ((0, 0), (4000, 0), (4000, 3000), (0, 3000)), strict=True)
    ]
    room = square_room(room_of, *ties, columns=[column])
    survey = adjust(room)
    plan = plan_room(room, survey)
    assert plan.status == "infeasible"
    assert "straddles" in next(r.text for r in plan.reasons if r.code == "column in wall")


# ---------------------------------------------------------------- tools and statistics


def test_own_tools():
    own = [ToolAccuracy(id="laser", fixed=L(3), added=L(2), every=L(10_000))]
    assert sigma("laser", 20_000, own) == pytest.approx((3 + 4) / 2)  # ± is two standard deviations
    assert sigma("tape", 20_000, own) == sigma("tape", 20_000)
    assert sigma("rule", 500, [ToolAccuracy(id="rule", fixed=L(1))]) == 0.5


def test_least_blunder_is_that_of_the_normal_test(room_of):
    # δ₀: 0.001 two-sided at power 0.80
    assert pytest.approx(norm.ppf(0.9995) + norm.ppf(0.80), abs=1e-4) == DELTA
    survey = adjust(square_room(room_of))
    for r in survey.readings:
        assert r.least_blunder == pytest.approx(DELTA * r.sigma / math.sqrt(r.redundancy), rel=0.01)
    # σ 3 mm and r ½: 17.53 mm
    assert DELTA * 3 / math.sqrt(0.5) == pytest.approx(17.53, abs=0.01)


def test_plus_minus_of_area_and_perimeter_by_drawing_lots(hall):
    """Against a Monte Carlo draw from the covariance: same spread of area and perimeter within 5 %."""
    survey, solution = solve(hall)
    rng = np.random.default_rng(5)
    draws = rng.multivariate_normal(solution.x, solution.adjusted.cofactor, size=4000)
    areas, rounds = [], []
    for x in draws:
        at = solution.network.unpack(x)
        ring = [at[c] for c in hall.corners]
        areas.append(abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise([*ring, ring[0]]))) / 2)
        rounds.append(sum(math.dist(a, b) for a, b in itertools.pairwise([*ring, ring[0]])))
    assert survey.area_plus_minus == pytest.approx(1.96 * np.std(areas), rel=0.05)
    assert survey.perimeter_plus_minus == pytest.approx(1.96 * np.std(rounds), rel=0.05)


def test_global_test_limit(room_of):
    assert adjust(square_room(room_of)).misfit_limit == pytest.approx(3.8415, abs=1e-4)  # χ² of 1 at 5 %


def test_stricter_limit_for_many_readings():
    assert limit_for(40) == pytest.approx(3.29)
    assert limit_for(1000) == pytest.approx(norm.ppf(1 - 0.5 * 0.04 / 1000), abs=1e-6)


@pytest.mark.parametrize("seed", range(10))
def test_ten_rooms_as_a_general_library_solves_them(seed):
    """Coordinates and covariances against SciPy's solver, from a far start, to 1e-6 mm and mm².

    The general solution has its own residual function, written from the coordinates alone, and derivatives by
    the complex step, so that nothing of the network's own linearisation is used.
    """
    truth = seeded_room(seed)
    room = taped(truth, np.random.default_rng(seed))
    _, solution = solve(room)
    network = solution.network
    names, columns = network.names, network.columns

    def misfits(x):
        at = {
            n: [0.0 if c is None else x[c] for c in columns[n]] for n in names
        }  # fmt: skip
        out = []
        for o in network.observations:
            dx = at[o.end.point][0] + o.end.offset[0] - at[o.start.point][0] - o.start.offset[0]
            dy = at[o.end.point][1] + o.end.offset[1] - at[o.start.point][1] - o.start.offset[1]
            out.append(((dx * dx + dy * dy) ** 0.5 - o.end.radius - o.start.radius - o.value) / o.sigma)
        return np.array(out)

    def slopes(x):
        rows = []
        for k in range(len(x)):
            moved = x.astype(complex)
            moved[k] += 1e-20j
            rows.append(misfits(moved).imag / 1e-20)
        return np.array(rows).T

    start = network.pack(truth.points) + np.random.default_rng(seed).uniform(-300, 300, network.size)
    found = least_squares(misfits, start, jac=slopes, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    x = found.x
    for _ in range(3):  # the solver stops at its own tolerance; take it to the end with a general least-squares call
        x = x - np.linalg.lstsq(slopes(x), misfits(x), rcond=None)[0]
    assert np.abs(solution.x - x).max() < 1e-6
    _, r = np.linalg.qr(slopes(x))
    inverse = np.linalg.inv(r)
    assert np.abs(solution.adjusted.cofactor - inverse @ inverse.T).max() < 1e-6


# ---------------------------------------------------------------- slips


@pytest.mark.parametrize(
    ("written", "better", "words"),
    [
        ("14' 7\"", (17, 4), "two digits had changed places"),
        ("36' 2\"", (39, 2), "a 9 had been read as a 6"),
        ("21' 2\"", (23, 2), "two-foot slip"),
        ("20' 3 1/2\"", (20, 2.5), "1 in mark"),
        ("20' 8\"", (20, 6), "two whole inches off"),
        ("10' 0\"", (25, 4.8), "inch and centimetre"),
        ("30' 6\"", (100, 0.8), "foot and metre"),
    ],
)
def test_slips(written, better, words):
    assert words in find_slip(L(written), better[0] * FOOT + better[1] * 25.4, 6.0)


def test_an_odd_difference_is_no_slip():
    assert find_slip(L("20' 3 1/2\""), 20 * FOOT + 9.9 * 25.4, 3.0) == ""


# ---------------------------------------------------------------- loose and undecided


def test_loose_corners_say_which_way(room_of):
    survey = adjust(square_room(room_of, drop=(5, 6)))  # four walls: C and D swing about B and A
    loose = {p.name: p for p in survey.loose_points}
    assert set(loose) == {"C", "D"}
    assert "square to" in loose["C"].text
    for name, other in (("C", "B"), ("D", "A")):  # each moves across the wall that holds it
        at = {p.name: (p.x, p.y) for p in survey.points} | {p.name: (p.x, p.y) for p in survey.loose_points}
        (dx, dy), (px, py), (qx, qy) = loose[name].directions[0], at[name], at[other]
        assert abs(dx * (px - qx) + dy * (py - qy)) < 0.01 * math.dist(at[name], at[other])
    assert len(survey.wanted) == 1  # one diagonal is the shortest list
    assert {survey.wanted[0].start, survey.wanted[0].end} in ({"A", "C"}, {"B", "D"})


def test_undecided_asks_for_the_deciding_tie(room_of):
    post = {"AB": 9145.2, "BC": 6093.9 + FOOT, "CD": 9144.6, "DA": 6097.5, "AC": 10988.8, "BD": 10992.1,
            "AE": 4394.1, "BE": 6004.2, "CE": 6593.2, "DE": 5173.7}  # fmt: skip
    survey = adjust(room_of("ABCD", [(p[0], p[1], v) for p, v in post.items()], turning="anticlockwise", marks=["E"]))
    assert survey.undecided_sets == [["2"], ["3"]] or survey.undecided_sets == [["3"], ["2"]]
    wanted = survey.wanted[0]
    assert {wanted.start, wanted.end} in ({"B", "C"}, {"C", "D"})  # taping either again tells them apart
    again = (wanted.start, wanted.end, 6096.0 if "B" in (wanted.start, wanted.end) else 9144.0)
    room = room_of("ABCD", [*((p[0], p[1], v) for p, v in post.items()), again], turning="anticlockwise", marks=["E"])
    assert [r.id for r in adjust(room).readings if r.verdict == "set aside"] == ["2"]


# ---------------------------------------------------------------- promises on seeded rooms (bench --survey: more)


def test_promises_on_seeded_rooms():
    foot, digits, less = Tally(), Tally(), Tally()
    lengths, areas, whole, alarms, rooms = [], 0, 0, 0, 60
    for seed in range(5000, 5000 + rooms):
        rng = np.random.default_rng(seed)
        truth = seeded_room(seed)
        room = taped(truth, rng)
        survey = adjust(room)
        found, area, _ = inside_its_own(truth, survey)
        lengths += found
        areas += area
        whole += in_ellipsoid(truth, room)
        alarms += alarmed(survey)
        for slip, tally in ((foot_slip, foot), (swapped_digits, digits)):
            slipped, culprit = slip(room, rng)
            tally.count(adjust(slipped), culprit)
        poor, culprit = foot_slip(taped(seeded_room(seed, checked=False), rng), rng)
        less.count(adjust(poor), culprit)
    # three standard deviations of a share of 0.95 among 60 rooms: 0.084
    assert np.mean(lengths) == pytest.approx(0.95, abs=0.03)
    assert areas / rooms >= 0.95 - 0.085
    assert whole / rooms >= 0.95 - 0.085
    assert alarms / rooms <= 0.05 + 0.05
    assert foot.share("named", "pair", "more") >= 0.98
    assert digits.share("named", "pair", "more") >= 0.95
    assert foot.share("named", "pair") >= 0.93
    assert max(t.share("wrong") for t in (foot, digits, less)) <= 0.02


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
@example(4423)  # its quick start is drawn to a wrong room that gives up three readings
def test_exact_readings_give_the_room_back(seed):
    truth = seeded_room(seed, checked=False)
    survey = adjust(truth.room)
    for p in survey.points:
        if p.name in truth.points:
            assert (p.x, p.y) == pytest.approx(truth.points[p.name], abs=0.1)
    assert not any(r.verdict in ("set aside", "suspect") for r in survey.readings)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
def test_order_of_readings_does_not_matter(seed, random):
    room = taped(seeded_room(seed), np.random.default_rng(seed))
    shuffled = list(room.readings)
    random.shuffle(shuffled)
    one, two = adjust(room), adjust(msgspec.structs.replace(room, readings=shuffled))
    for p, q in zip(one.points, two.points, strict=True):
        assert (p.x, p.y, p.plus_minus) == pytest.approx((q.x, q.y, q.plus_minus), abs=0.011)
    assert one.area == pytest.approx(two.area, abs=2.0)


def test_two_hundred_points_still_work():
    from buildout.changes.web.bench_survey import large_room

    truth, room = large_room(200)
    assert len(room.readings) == 1000
    survey = adjust(room)
    assert survey.status in ("proven", "feasible")
    at = {p.name: (p.x, p.y) for p in survey.points}
    assert max(math.dist(at[n], truth.points[n]) for n in truth.points) < 60.0
    assert from_json(type(survey), to_json(survey)) == survey


def test_sums_of_redundancy_numbers_are_the_spare_readings(hall):
    survey = adjust(hall)
    assert sum(r.redundancy for r in survey.readings) == pytest.approx(survey.degrees_of_freedom, abs=0.01)


def test_network_takes_kinds_together():
    # a mark by offset, running and a tie: 3-4-5 from A
    points = {"A": (0.0, 0.0), "B": (8000.0, 0.0), "P": (2900.0, 4100.0)}
    done = adjust_network(
        [Offset("o", End("P"), ("A", "B"), 4000, 2.0), Running("r", End("P"), ("A", "B"), 3000, 2.0),
         Tape("t", End("A"), End("P"), 5000, 2.0)],
        points, {"A": (0.0, 0.0), "B": (8000.0, 0.0)},
    )  # fmt: skip
    assert done.points["P"] == pytest.approx((3000, 4000), abs=1e-6)
    # r of the tie: 1 - 1/(1 + 1/(cos² + sin²)) = ½; of the others ½·sin² and ½·cos² of its direction
    assert done.redundancy == pytest.approx([0.32, 0.18, 0.5], abs=1e-9)
