"""Comparison of revisions, wall elevations, several rooms on one sheet, and what the plan says of quality."""

import itertools
import math
from datetime import date

import msgspec
import pytest

from buildout.rooms.engine.compare import RoomRevision, compare_rooms, draw_comparison
from buildout.rooms.engine.drawing import Dimension, Line, Polygon, Polyline, Symbol, Text, TitleBlock
from buildout.rooms.engine.dxf import to_dxf
from buildout.rooms.engine.plan import plan_room
from buildout.rooms.engine.room_drawing import draw_plan
from buildout.rooms.engine.room_sheets import draw_elevation, draw_rooms
from buildout.rooms.engine.survey import adjust
from buildout.rooms.engine.svg import to_svg
from buildout.rooms.engine.types import Column, Datum, GatePass, LevelChange, Reading, Room
from buildout.units.lengths import Length

L = Length.read
BLOCK = TitleBlock(build="Test build", sheet="Sheet")


def revision(room):
    survey = adjust(room)
    return RoomRevision(room=room, survey=survey, plan=plan_room(room, survey))


def texts(drawing):
    return [i.text for i in drawing.items if isinstance(i, Text)]


def titles(drawing):
    return [i.title for i in drawing.items if getattr(i, "title", "")]


# ---------------------------------------------------------------- comparison


def test_nothing_differs(hall):
    table = compare_rooms(revision(hall), revision(hall))
    assert table.differences == []
    assert table.text == "Nothing differs."


def test_a_longer_wall_is_listed_and_drawn(room_of):
    # one side of a 4 × 3 m rectangle built 100 mm farther out; every length follows
    def room(width):
        diagonal = math.hypot(width, 3000)
        return room_of(
            "ABCD",
            [("A", "B", width), ("B", "C", 3000), ("C", "D", width), ("D", "A", 3000), ("A", "C", round(diagonal, 2)),
             ("B", "D", round(diagonal, 2))],
            turning="anticlockwise",
        )  # fmt: skip

    before, after = revision(room(4000)), revision(room(4100))
    table = compare_rooms(before, after, units="metric")
    by = {d.name: d for d in table.differences}
    assert (by["wall A–B"].before, by["wall A–B"].after) == ("4000 mm", "4100 mm")
    assert by["wall A–B"].change == pytest.approx(100, abs=0.1)
    assert by["wall A–B"].beyond
    assert "wall B–C" not in by
    assert by["floor"].change == pytest.approx(300_000, rel=0.01)
    assert by["reading 1 (A–B)"].change == 100
    drawing = draw_comparison(before, after, names=("revision 1", "revision 2"), units="metric", block=BLOCK)
    outlines = {i.role: i.points for i in drawing.items if isinstance(i, Polyline)}
    assert outlines["removed"] != outlines["outline"]
    assert "B moved 100.0 mm" in texts(drawing)
    assert "Dashed: revision 1" in drawing.notes[0]
    assert to_svg(drawing)


def test_revisions_with_other_datums_are_laid_on_each_other(hall):
    # without columns, whose corners are named as they lie on the sheet
    bare = msgspec.structs.replace(hall, columns=[], readings=hall.readings[:17])
    turned = msgspec.structs.replace(bare, datum=Datum(origin="C", along="B"))
    table = compare_rooms(revision(bare), revision(turned))
    assert [d.name for d in table.differences if d.what in ("corner", "wall", "column")] == []


def test_things_that_came_and_went(hall):
    gone = msgspec.structs.replace(
        hall, name="Big hall", columns=hall.columns[:1], features=hall.features[1:],
        readings=[r for r in hall.readings if "K2" not in (r.start, r.end)],
    )  # fmt: skip
    by = {(d.what, d.name): d for d in compare_rooms(revision(hall), revision(gone)).differences}
    assert by["column", "column K2"].after == ""
    assert by["opening", "fire exit"].before.startswith("exit door, wall A–B, 40' 6\" to 43' 10\"")
    assert by["reading", "reading 23 (A–K2)"].after == ""
    assert by["name", "Big hall"].before == "Main hall"


def test_a_reading_set_aside_is_told(hall, reread):
    by = {d.name: d for d in compare_rooms(revision(reread(hall, {"4": "35' 0 1/2\""})), revision(hall)).differences}
    assert by["reading 4 (D–E)"].before == "35' 0 1/2\" by tape, set aside"


def test_a_revision_that_is_not_settled_can_still_be_compared(hall, reread):
    loose = revision(reread(hall, drop=["24", "25", "26"]))
    table = compare_rooms(revision(hall), loose)
    assert {d.what for d in table.differences} >= {"reading"}
    assert not any(d.what == "area" for d in table.differences)
    assert to_svg(draw_comparison(revision(hall), loose))
    empty = revision(Room(id="hall", name="Main hall", corners=[]))
    assert draw_comparison(empty, empty).items


# ---------------------------------------------------------------- elevations


def test_elevation_shows_openings_at_their_heights(hall):
    plan = revision(hall).plan
    drawing = draw_elevation(hall, plan, "A-B", block=BLOCK)
    # A at the left as seen from inside a clockwise room: the exit runs from 40' 6" to 43' 10", 6' 10" high
    exit_door = next(i for i in drawing.items if isinstance(i, Polygon) and "fire exit" in i.title)
    xs, ys = [p[0] for p in exit_door.outline], [p[1] for p in exit_door.outline]
    assert (min(xs), max(xs)) == (pytest.approx(40.5 * 304.8, abs=0.1), pytest.approx((43 * 12 + 10) * 25.4, abs=0.1))
    assert (min(ys), max(ys)) == (0, pytest.approx(82 * 25.4, abs=0.1))
    shown = [d.text for d in drawing.items if isinstance(d, Dimension)]
    assert "62' 0\"" in shown  # overall
    assert "13' 4\"" in shown  # height
    signs = [i for i in drawing.items if isinstance(i, Symbol)]
    assert {s.kind for s in signs} == {"call point", "extinguisher"}
    call = next(s for s in signs if s.kind == "call point")
    assert call.at == (pytest.approx((44 * 12 + 9) * 25.4, abs=0.1), pytest.approx(46 * 25.4, abs=0.1))
    assert "seen from inside" in drawing.description
    assert draw_elevation(hall, plan, "B–A").items == draw_elevation(hall, plan, "A-B").items


def test_elevation_of_an_anticlockwise_room_is_not_mirrored(room_of):
    readings = [("A", "B", 4000.0), ("B", "C", 3000.0), ("C", "D", 4000.0), ("D", "A", 3000.0), ("A", "C", 5000.0),
                ("B", "D", 5000.0)]  # fmt: skip
    room = room_of("ABCD", readings, turning="anticlockwise")
    drawing = draw_elevation(room, revision(room).plan, "A-B")
    # standing inside and facing the lower wall, B is at the left
    at = {i.text: i.at[0] for i in drawing.items if isinstance(i, Text) and i.text in ("A", "B")}
    assert at["B"] < at["A"]
    assert "height not read" in texts(drawing)


def test_elevation_follows_heights_read(hall):
    more = [
        Reading(id=f"h{k}", kind="height", start="B", end="C", along=L(f"{k * 10} ft"), value=L(v))
        for k, v in ((0, "13 ft"), (1, "13' 2\""), (2, "13' 6\""))
    ]
    room = msgspec.structs.replace(hall, readings=[*hall.readings, *more])
    outline = next(
        i for i in draw_elevation(room, revision(room).plan, "B-C").items
        if isinstance(i, Polygon) and i.role == "outline"
    ).outline  # fmt: skip
    assert {round(y / 25.4) for _, y in outline} == {0, 156, 158, 162}


def test_elevation_of_no_wall(hall):
    with pytest.raises(KeyError, match="no wall A-C"):
        draw_elevation(hall, revision(hall).plan, "A-C")


# ---------------------------------------------------------------- several rooms


def test_several_rooms_do_not_overlap(hall):
    rooms = [revision(hall)] * 5
    drawing = draw_rooms(rooms, block=BLOCK)
    names = [i.at for i in drawing.items if isinstance(i, Text) and i.text.startswith("Main hall")]
    assert len(names) == 5
    wide, high = 764 * 25.4, 747 * 25.4
    for a, b in itertools.combinations(names, 2):
        assert abs(a[0] - b[0]) > wide or abs(a[1] - b[1]) > high
    assert to_svg(drawing, width=420)
    assert "5 rooms" in drawing.description


def test_no_rooms():
    assert texts(draw_rooms([])) == ["No rooms yet"]


def test_unsettled_rooms_come_as_sketches(hall, reread):
    drawing = draw_rooms([revision(hall), revision(reread(hall, drop=["24", "25", "26"]))])
    assert any("not settled" in t for t in titles(drawing))


# ---------------------------------------------------------------- the plan


def test_every_dimension_and_point_carries_its_plus_minus(hall):
    found = revision(hall)
    drawing = draw_plan(found.room, found.survey, found.plan, diagonals=True)
    told = titles(drawing)
    for w in found.survey.walls:
        assert any(t.startswith(f"Wall {w.start}–{w.end}") and "±" in t for t in told)
    for d in found.survey.diagonals:
        assert any(t.startswith(f"Diagonal {d.start}–{d.end}") and "±" in t for t in told)
    for p in found.survey.points:
        if p.kind != "column":
            assert any(t.startswith((f"Corner {p.name}", f"Control mark {p.name}")) and "±" in t for t in told)
    plain = draw_plan(found.room, found.survey, found.plan)
    assert not any(t.startswith("Diagonal") for t in titles(plain))


def test_dimensions_at_a_re_entrant_corner_do_not_cross(hall):
    found = revision(hall)
    drawing = draw_plan(found.room, found.survey, found.plan)
    lines = []
    for d in (i for i in drawing.items if isinstance(i, Dimension)):
        length = math.dist(d.a, d.b)
        ux, uy = (d.b[0] - d.a[0]) / length, (d.b[1] - d.a[1]) / length
        off = math.copysign(abs(d.offset) * 96 + d.beyond, d.offset)  # on paper, at 1:96
        lines.append([(p[0] - uy * off, p[1] + ux * off) for p in (d.a, d.b)])
    for (a, b), (c, d) in itertools.combinations(lines, 2):
        assert not crosses(a, b, c, d)


def crosses(a, b, c, d):
    def side(p, q, r):
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


def test_door_leaf_hangs_on_the_jamb_stated(hall):
    def leaf(hinge):
        features = [msgspec.structs.replace(f, hinge=hinge) if f.id == "fire exit" else f for f in hall.features]
        found = revision(msgspec.structs.replace(hall, features=features))
        drawing = draw_plan(found.room, found.survey, found.plan)
        made = next(f for f in found.plan.features if f.id == "fire exit")
        line = next(i for i in drawing.items if isinstance(i, Line) and i.role == "door" and "fire exit" in i.title)
        return min((math.dist(line.a, p), name) for p, name in ((made.a, "a"), (made.b, "b")))[1]

    assert leaf("") == leaf("start") == "a"
    assert leaf("end") == "b"


def test_levels_bows_north_and_gate_are_drawn(hall):
    more = [
        Reading(id="b", kind="straightness", start="A", end="B", along=L("20'"), value=L('1 1/4"'), base=L('1 3/4"')),
        Reading(id="f", kind="flatness", start="A", end="M", along=L("10'"), value=L('3/8"'), over=L("10'")),
    ]
    found = revision(
        msgspec.structs.replace(
            hall, readings=[*hall.readings, *more], north=20.0,
            levels=[LevelChange(id="step", edge=["D", "M"], rise=L('6"'), up_to="E")],
            gate_passed=GatePass(who="Ada", when=date(2026, 8, 3), why=""),
        )
    )  # fmt: skip
    drawing = draw_plan(found.room, found.survey, found.plan, block=BLOCK)
    assert {"bow 1/2 in in", "hollow 3/8 in", "up 6 in", "N"} <= set(texts(drawing))
    assert any("Sent to the fabricator knowingly by Ada" in note for note in drawing.notes)
    assert any(note.startswith("Adjusted from 26 readings") for note in drawing.notes)
    assert to_dxf(drawing).startswith("  0\nSECTION")


def test_sketch_shows_which_way_loose_points_move(room_of):
    walls = [("A", "B", 4000.0), ("B", "C", 3000.0), ("C", "D", 4000.0), ("D", "A", 3000.0)]
    found = revision(room_of("ABCD", walls, turning="anticlockwise"))
    drawing = draw_plan(found.room, found.survey, found.plan)
    arrows = [i for i in drawing.items if isinstance(i, Symbol) and i.kind == "arrow"]
    assert len(arrows) == 4  # both ways for C and for D
    assert any("C is free to move" in a.title for a in arrows)


def test_wrong_offset_is_drawn_where_the_tape_lay(room_of):
    walls = [("A", "B", 4000.0), ("B", "C", 3000.0), ("C", "D", 4000.0), ("D", "A", 3000.0)]
    corners = {"A": (0, 0), "B": (4000, 0), "C": (4000, 3000), "D": (0, 3000)}
    ties = [(c, "K1", round(math.dist(p, (1500, 1200)) - 100, 1)) for c, p in corners.items()]
    room = room_of(
        "ABCD", [*walls, ("A", "C", 5000.0), ("B", "D", 5000.0), *ties], turning="anticlockwise",
        columns=[Column(id="K1", shape="round", diameter=L(200))],
    )  # fmt: skip
    wrong = Reading(id="o", kind="offset", start="A", end="B", point="K1", value=L(1400))  # 1,100 it is
    found = revision(msgspec.structs.replace(room, readings=[*room.readings, wrong]))
    assert [r.id for r in found.survey.readings if r.verdict == "set aside"] == ["o"]
    drawing = draw_plan(found.room, found.survey, found.plan)
    line = next(i for i in drawing.items if isinstance(i, Line) and i.role == "suspect")
    assert line.a == pytest.approx((1500, 0), abs=3)
    assert line.b == pytest.approx((1500, 1200), abs=3)
