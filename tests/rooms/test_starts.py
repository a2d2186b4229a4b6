"""Beginning a room: rectangle, chain of walls, DXF outline."""

import io
import math

import ezdxf
import pytest

from buildout.rooms.engine.starts import (
    StartError,
    UnitsNeeded,
    corner_names,
    start_chain,
    start_from_dxf,
    start_rectangle,
)
from buildout.rooms.engine.survey import adjust
from buildout.rooms.engine.types import Reading, Room
from buildout.units.lengths import Length

L = Length.read
# an L-shaped room in mm, clockwise from the lower left
OUTLINE = [(0, 0), (0, 6096), (6096, 6096), (6096, 4572), (9144, 4572), (9144, 0)]


def room_from(start, **other):
    return Room(
        id="room", name="Room", corners=start.corners, turning=start.turning, readings=start.readings, **other
    )  # fmt: skip


def dxf(draw, insunits=4, version="R2010"):
    document = ezdxf.new(version)
    if insunits is not None:
        document.header["$INSUNITS"] = insunits
    draw(document.modelspace())
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode()


def polyline(scale=1.0, close=True, points=OUTLINE):
    return lambda space: space.add_lwpolyline([(x * scale, y * scale) for x, y in points], close=close)


def area(start):
    ring = [start.points[c] for c in start.corners]
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, ring[1:] + ring[:1], strict=True))) / 2


# ---------------------------------------------------------------- rectangle and chain


def test_rectangle_becomes_a_room_with_its_diagonals():
    start = start_rectangle(L("30'"), L("20'"))
    assert [(r.start, r.end, r.value.text) for r in start.readings] == [
        ("A", "B", "20'"), ("B", "C", "30'"), ("C", "D", "20'"), ("D", "A", "30'"),
    ]  # fmt: skip
    room = room_from(start)
    assert adjust(room).loose == ["B", "C"]
    diagonal = L("36' 0 5/8\"")  # √(30² + 20²) = 36.0555 ft
    more = [Reading(id=n, start=n[0], end=n[1], value=diagonal) for n in ("AC", "BD")]
    survey = adjust(Room(id="r", name="R", corners=start.corners, readings=[*start.readings, *more]))
    assert survey.area / 304.8**2 == pytest.approx(600, abs=0.1)
    assert {p.name: (p.x > 1, p.y > 1) for p in survey.points} == {
        "A": (False, False), "B": (False, True), "C": (True, True), "D": (True, False),
    }  # fmt: skip


@pytest.mark.parametrize(("width", "depth", "field"), [("0 in", "5 ft", "width"), ("5 ft", "0 mm", "depth")])
def test_rectangle_of_nothing(width, depth, field):
    with pytest.raises(StartError) as error:
        start_rectangle(L(width), L(depth))
    assert error.value.field == field


def test_chain_of_an_l_shaped_room():
    # 30 × 20 ft less 10 × 5 ft
    walls = [("30'", "left"), ("15'", "left"), ("10'", "right"), ("5'", "left"), ("20'", "left"), ("20'", "left")]
    start = start_chain([(L(v), t) for v, t in walls])
    assert start.turning == "anticlockwise"
    assert start.corners == list("ABCDEF")
    assert area(start) / 304.8**2 == pytest.approx(550)
    other = start_chain([(L(v), "right" if t == "left" else "left") for v, t in walls])
    assert other.turning == "clockwise"


def test_chain_with_a_slanting_wall():
    # 40 × 37 ft with a 12 ft corner cut at 45°: 1,408 sq ft
    slant = Length.read(round(12 * 304.8 * math.sqrt(2), 3))
    walls = [("40'", 90), ("25'", 45), (slant, 45), ("28'", 90), ("37'", 90)]
    start = start_chain([(L(v), t) for v, t in walls])
    assert area(start) / 304.8**2 == pytest.approx(1408, abs=0.01)


@pytest.mark.parametrize(
    ("walls", "words"),
    [
        ([("10'", "left")] * 2, "at least three"),
        ([("10'", "left"), ("10'", "right"), ("10'", "left"), ("10'", "left")], "add up to 180°"),
        ([("30'", "left"), ("20'", "left"), ("29'", "left"), ("20'", "left")], "do not close"),
        ([("0 in", "left"), ("20'", "left"), ("29'", "left"), ("20'", "left")], "no length"),
        ([("3 m", 200), ("3 m", "left"), ("3 m", "left")], "between -180 and 180"),
        ([("3 m", "left")] * 201, "More than 200"),
    ],
)
def test_chains_that_cannot_be(walls, words):
    with pytest.raises(StartError, match=words):
        start_chain([(L(v), t) for v, t in walls])


def test_corner_letters_never_repeat():
    names = corner_names(200)
    assert len(set(names)) == 200
    assert not {"I", "O"} & set(names)


# ---------------------------------------------------------------- DXF


@pytest.mark.parametrize(("insunits", "factor"), [(4, 1), (1, 25.4), (2, 304.8), (6, 1000), (5, 10)])
def test_units_in_the_file_are_honoured(insunits, factor):
    start = start_from_dxf(dxf(polyline(1 / factor), insunits))
    assert area(start) == pytest.approx(51_096_672, rel=1e-6)
    assert start.corners == list("ABCDEF")
    assert start.turning == "clockwise"


@pytest.mark.parametrize("insunits", [0, None])
def test_a_file_without_units_asks(insunits):
    data = dxf(polyline(1 / 25.4), 0 if insunits is None else insunits)
    with pytest.raises(UnitsNeeded) as asked:
        start_from_dxf(data)
    assert asked.value.field == "units"
    assert (asked.value.width, asked.value.height) == (360, 240)
    assert "inches" in asked.value.choices
    assert area(start_from_dxf(data, units="inches")) == pytest.approx(51_096_672, rel=1e-6)
    with pytest.raises(StartError, match="is not a unit"):
        start_from_dxf(data, units="cubits")


def test_lengths_come_in_as_weak_readings_never_as_measured():
    start = start_from_dxf(dxf(polyline()))
    assert {r.tool for r in start.readings} == {"drawing"}
    assert {r.note for r in start.readings} == {"from drawing"}
    assert len(start.readings) == 6 + 3  # walls, and diagonals that cut the outline into triangles
    survey = adjust(room_from(start))
    assert survey.loose == []
    assert survey.area == pytest.approx(51_096_672, rel=1e-3)
    assert min(w.plus_minus for w in survey.walls) > 25
    # a taped wall outweighs the drawing
    one = start.readings[0]
    tape = Reading(id="1", start=one.start, end=one.end, value=Length.read(float(one.value.mm) + 40))
    room = Room(id="r", name="R", corners=start.corners, readings=[*start.readings, tape])
    wall = next(w for w in adjust(room).walls if {w.start, w.end} == {one.start, one.end})
    assert wall.length == pytest.approx(float(one.value.mm) + 40, abs=1.0)


def test_lines_within_tolerance_are_joined():
    def draw(space):
        for k, (a, b) in enumerate(zip(OUTLINE, OUTLINE[1:] + OUTLINE[:1], strict=True)):
            by = 3.0 if k % 2 else 0.0
            space.add_line((a[0] + by, a[1]), (b[0], b[1] + by))

    start = start_from_dxf(dxf(draw))
    assert len(start.corners) == 6
    assert area(start) == pytest.approx(51_096_672, rel=0.002)


def test_the_largest_outline_counts_and_drafting_points_are_dropped():
    def draw(space):
        space.add_lwpolyline([(100, 100), (400, 100), (400, 400), (100, 400)], close=True)  # a column
        extra = [*OUTLINE[:1], (0, 3000), *OUTLINE[1:]]  # a point along a wall
        space.add_lwpolyline(extra, close=True)

    assert start_from_dxf(dxf(draw)).corners == list("ABCDEF")


def test_only_the_layer_asked_for():
    def draw(space):
        space.add_lwpolyline(OUTLINE, close=True, dxfattribs={"layer": "WALLS"})
        space.add_lwpolyline([(x * 3, y * 3) for x, y in OUTLINE], close=True, dxfattribs={"layer": "SITE"})

    assert area(start_from_dxf(dxf(draw), layer="WALLS")) == pytest.approx(51_096_672, rel=1e-6)
    with pytest.raises(StartError, match="on layer ROOF"):
        start_from_dxf(dxf(draw), layer="ROOF")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"hello", "not a DXF"),
        (b"AC1032" + b"\0" * 200, "DWG"),
        (b"  0\nSECTION\n  2\nENTITIES\n garbage", "cannot be read|no closed outline"),
        (dxf(lambda space: space.add_circle((0, 0), 3000)), "no closed outline"),
        (dxf(polyline(close=False, points=OUTLINE[:4])), "no closed outline"),
        (dxf(polyline(points=[(0, 0), (9000, 9000), (9000, 0), (0, 7000)])), "crosses itself"),
        (dxf(polyline(points=[(0, 0), (9000, 0), (0, 9000), (9000, 9000)])), "crosses itself"),
        (dxf(polyline(), 6), "which is no room"),  # millimetres called metres: 9 km
    ],
)
def test_files_that_will_not_do(data, words):
    with pytest.raises(StartError, match=words):
        start_from_dxf(data)


def test_metric_writing():
    start = start_from_dxf(dxf(polyline()), written="metric")
    assert start.readings[0].value.text == "6096 mm"
