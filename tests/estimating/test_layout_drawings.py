"""Drawings of layouts: what a layer, a fabricator and a crew must find on them."""

from __future__ import annotations

import math
import re
from typing import Any

import msgspec
import pytest
import shapely

from buildout.rooms.engine.drawing import Dimension, Drawing, Line, Polygon, Text, TitleBlock
from buildout.rooms.engine.dxf import to_dxf
from buildout.rooms.engine.svg import to_svg
from buildout.units.lengths import format_length
from estimating.engine.cover import lay_cover
from estimating.engine.floor import lay_floor
from estimating.engine.fold_away import lay_fold_away
from estimating.engine.frame_drawing import draw_frame
from estimating.engine.layout_drawings import draw_cover, draw_elevation, draw_floor_layer, draw_fold_away
from estimating.engine.types import Fitout, FoldAwaySystem
from estimating.engine.walls import lay_walls

INCH = 25.4
BLOCK = TitleBlock(build="Test", sheet="Sheet")


def texts(drawing: Drawing) -> list[str]:
    return [item.text for item in drawing.items if isinstance(item, Text | Dimension)]


def polygons(drawing: Drawing, *roles: str) -> list[Polygon]:
    return [item for item in drawing.items if isinstance(item, Polygon) and item.role in roles]


@pytest.fixture(scope="module")
def floor_of_a_room(rooms: Any, systems: Any) -> Any:
    plan = rooms.rectangle(300, 200, ramps=["B-C"], columns=[rooms.square_column("K", (120, 80), 12)])
    return plan, lay_floor(plan, systems.floor(), systems.products())


def test_every_piece_is_drawn_and_numbered(floor_of_a_room: Any, systems: Any) -> None:
    plan, floor = floor_of_a_room
    for foam in floor.layers:
        drawing = draw_floor_layer(plan, floor, foam.layer, system=systems.floor(), block=BLOCK)
        shapes = polygons(drawing, "piece", "whole piece")
        assert [p.outline for p in shapes] == [piece.outline for piece in foam.pieces]
        assert {piece.id for piece in foam.pieces} <= set(texts(drawing))
        assert len(polygons(drawing, "ramp")) == 1
        assert len(polygons(drawing, "frame")) == 1
    lower = [i for i in drawing.items if isinstance(i, Line) and i.role == "lower joint"]
    assert len(lower) == len(floor.layers[0].joints)
    with pytest.raises(KeyError):
        draw_floor_layer(plan, floor, "middle")


def test_the_ramp_stands_in_front_of_the_mat(floor_of_a_room: Any, systems: Any) -> None:
    """The ramped edge is the far wall at 200 in: its 12 in lie beyond it."""
    plan, floor = floor_of_a_room
    ramp = polygons(draw_floor_layer(plan, floor, "base", system=systems.floor()), "ramp")[0]
    assert sorted({round(y / INCH, 1) for _, y in ramp.outline}) == [200.0, 212.0]


def test_course_dimensions_add_up_to_the_field(floor_of_a_room: Any) -> None:
    plan, floor = floor_of_a_room
    drawing = draw_floor_layer(plan, floor, "base")
    upright = [
        d for d in drawing.items if isinstance(d, Dimension) and d.a[0] == d.b[0] and not d.title.startswith("First")
    ]
    lengths = sorted(math.dist(d.a, d.b) for d in upright)
    assert lengths[-1] == pytest.approx(192 * INCH)  # 200 less 4 in on both sides
    assert sum(lengths[:-1]) == pytest.approx(lengths[-1])


def test_the_fabricator_finds_every_size(rooms: Any, systems: Any) -> None:
    """Sides, diagonals, angles, cut-outs from a named side, band, tolerance, "do not scale", a line to sign."""
    plan = rooms.hall()
    cover = lay_cover(plan, systems.floor(), None, systems.products())
    drawing = draw_cover(plan, cover, spec=systems.floor().cover, contact="owner@example.org", block=BLOCK)
    written = texts(drawing)
    for _, length in cover.sides:
        assert format_length(length, "feet-inches", denominator=4) in written
    assert {str(k + 1) for k in range(len(cover.outline))} <= set(written)
    angles = [float(t[:-1]) for t in written if re.fullmatch(r"\d+\.\d°", t)]
    assert sum(angles) == pytest.approx((len(cover.outline) - 2) * 180, abs=0.5)
    notes = " ".join(drawing.notes)
    for name, length in cover.diagonals:
        assert f"{name} {format_length(length, 'feet-inches', denominator=4)}" in notes
    for words in ("Do not scale", "+0 / −1/4 in", "Matte side up", "approved", "owner@example.org", "4 in loop band"):
        assert words in notes
    assert "Cut-out 1: 12 3/4 in × 12 3/4 in" in notes  # 12 1/4 in column and 1/4 in on both sides
    assert "Cut-out 2: round, 11 1/4 in across" in notes
    assert "Walk-on side" in notes


def test_cut_out_running_dimensions_by_hand(rooms: Any, systems: Any) -> None:
    """Room 300 × 200, cover from 1/2 in; column 100–112 in along, 60–72 up, hole 1/4 in larger all round."""
    plan = rooms.rectangle(300, 200, columns=[rooms.square_column("K", (106, 66), 12)])
    cover = lay_cover(plan, systems.floor(), None, systems.products())
    notes = " ".join(draw_cover(plan, cover).notes)
    assert "from corner 1 along side 1–2 8' 3 1/4\" to 9' 3 3/4\"" in notes  # 99.25 and 111.75 in
    assert "square off that side 4' 11 1/4\" to 5' 11 3/4\"" in notes  # 59.25 and 71.75 in


def test_no_cover_is_said_not_drawn(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(100, 7)
    drawing = draw_cover(plan, lay_cover(plan, systems.floor(), None, systems.products()))
    assert drawing.items == []
    assert "no cover" in drawing.notes[0]


def test_elevation_shows_every_panel_and_adds_up(rooms: Any, systems: Any) -> None:
    plan = rooms.hall()
    fitout = Fitout(room="hall", panelled=["A-B", "C-D", "D-E", "F-A"], removable=["roller-door"])
    layout = lay_walls(plan, systems.walls(), fitout, systems.products())
    for elevation in layout.elevations:
        drawing = draw_elevation(plan, layout, elevation.wall, block=BLOCK)
        roles = ("panel", "end panel", "low panel", "removable panel")
        assert len(polygons(drawing, *roles)) == len(elevation.panels)
        assert {p.id.rsplit(".", 1)[-1] for p in elevation.panels} <= set(texts(drawing))
        assert format_length(elevation.length, "feet-inches", denominator=8) in texts(drawing)
        for _, _, why in elevation.free:
            assert why in " ".join(drawing.notes)
    low = draw_elevation(plan, layout, "D-E")
    assert len(polygons(low, "cap")) == 1
    assert len(polygons(low, "low panel")) == 5
    with pytest.raises(KeyError):
        draw_elevation(plan, layout, "E-F")


@pytest.mark.parametrize("clockwise", [True, False])
def test_walls_are_seen_from_inside(rooms: Any, systems: Any, clockwise: bool) -> None:
    """Looking at the far wall from inside, west is on the left: a door 10 in from the west stays there."""
    ring = {"A": (0, 0), "B": (0, 100), "C": (200, 100), "D": (200, 0)}
    wall, start = "B-C", 10.0
    if not clockwise:
        ring = {"A": (0, 0), "D": (200, 0), "C": (200, 100), "B": (0, 100)}
        wall, start = "C-B", 160.0
    door = {"id": "d", "wall": wall, "kind": "door", "start": start, "end": start + 30}
    plan = rooms.plan(ring, features=[door])
    layout = lay_walls(plan, systems.walls(), Fitout(room="room", panelled=[wall]), systems.products())
    opening = polygons(draw_elevation(plan, layout, wall), "opening")[0]
    assert min(x for x, _ in opening.outline) == pytest.approx(10 * INCH)


def test_drawings_can_be_written_to_every_sheet(floor_of_a_room: Any, rooms: Any, systems: Any) -> None:
    plan, floor = floor_of_a_room
    cover = lay_cover(plan, systems.floor(), floor, systems.products())
    walls = lay_walls(plan, systems.walls(), Fitout(room="room"), systems.products())
    size = {"mat_length": systems.inches(96), "mat_width": systems.inches(48)}
    folded = lay_fold_away(plan, FoldAwaySystem(id="f", name="Mats", product="fold-mat", **size), systems.products())
    for units in ("feet-inches", "metric"):
        for drawing in (
            draw_floor_layer(plan, floor, "top", units=units),
            draw_cover(plan, cover, spec=systems.floor().cover, units=units),
            draw_elevation(plan, walls, "A-B", units=units),
            draw_fold_away(plan, folded, units=units),
        ):
            svg = to_svg(drawing, width=420, height=297)
            assert svg.startswith("<svg")
            assert drawing.title.replace("&", "&amp;") in svg
            assert "SECTION" in to_dxf(drawing)
            if units == "metric":
                assert not any("'" in text for text in texts(drawing))
                assert not any(re.search(r"\d in\b", note) for note in drawing.notes)


def test_the_first_line_is_drawn_and_measured_from_the_side_it_is_laid_from(floor_of_a_room: Any) -> None:
    """Sheets are 48 in wide and the first course is whole, so the line lies 48 in inside the field's edge at 4 in."""
    plan, floor = floor_of_a_room
    drawing = draw_floor_layer(plan, floor, "base")
    line = next(i for i in drawing.items if isinstance(i, Line) and i.role == "first line")
    told = [d for d in drawing.items if isinstance(d, Dimension) and d.title.startswith("First")]
    assert {round(abs(line.a[1] - edge) / INCH, 2) for edge in (4 * INCH, 196 * INCH)} >= {48.0}
    assert [round(math.dist(d.a, d.b) / INCH, 2) for d in told] == [48.0, 48.0]
    assert {d.b for d in told} == {line.a, line.b}
    assert "first line" in texts(drawing)
    assert not [i for i in draw_floor_layer(plan, floor, "top").items if isinstance(i, Line) and i.role == "first line"]
    metric = draw_floor_layer(plan, floor, "base", units="metric")
    first = next(note for note in metric.notes if note.startswith("Snap the first line"))
    assert "1219 mm at the end towards corner" in first
    assert '"' not in first


@pytest.mark.parametrize(
    ("off", "said"), [(0.1, "square"), (-0.25, "square"), (0.26, "0.3° out"), (-0.3, "0.3° in"), (1.0, "1.0° out")]
)
def test_ends_nearer_to_square_than_a_saw_is_set_read_square(rooms: Any, systems: Any, off: float, said: str) -> None:
    """The pieces of a frame with square ends everywhere but one: the table and the count of cut ends follow it."""
    plan = rooms.rectangle(300, 200)
    floor = lay_floor(plan, systems.floor(), systems.products())
    first, *rest = [msgspec.structs.replace(piece, start_mitre=0.0, end_mitre=0.0) for piece in floor.frame]
    one = msgspec.structs.replace(floor, frame=[msgspec.structs.replace(first, start_mitre=off), *rest])
    drawing = draw_frame(plan, one, system=systems.floor())
    ends = [words for words in texts(drawing) if words == "square" or "°" in words]
    assert sorted(ends) == sorted([said, *["square"] * (2 * len(floor.frame) - 1)])
    assert f"{int(said != 'square')} ends are not cut square" in " ".join(drawing.notes)


def test_frame_pieces_are_drawn_where_they_lie_with_their_cuts(rooms: Any, systems: Any) -> None:
    """Frame: timbers 3.5 in wide fill the ring between outer face and field. Ramps 12 in deep meet at 45°: their
    areas are those of the two trapezia, 12 × (side + side + 12) / 2."""
    plan = rooms.rectangle(300, 200, ramps=["B-C", "C-D"])
    floor = lay_floor(plan, systems.floor(), systems.products())
    drawing = draw_frame(plan, floor, system=systems.floor())
    frame = shapely.union_all([shapely.Polygon(p.outline) for p in polygons(drawing, "frame")])
    ring = shapely.Polygon(floor.outer).difference(shapely.Polygon(floor.field))
    assert frame.symmetric_difference(ring).area == pytest.approx(0, abs=200)
    assert sum(shapely.Polygon(p.outline).area for p in polygons(drawing, "frame")) == pytest.approx(ring.area, abs=200)
    ramps = [shapely.Polygon(p.outline) for p in polygons(drawing, "ramp")]
    sides = (300.0, 200.0)
    hand = sum(12 * (side + side + 12) / 2 for side in sides) * INCH**2
    assert sum(r.area for r in ramps) == pytest.approx(hand, rel=1e-4)
    assert shapely.union_all(ramps).area == pytest.approx(hand, rel=1e-4)
    written = texts(drawing)
    for piece in floor.frame:
        assert written.count(piece.id) == 2  # on the plan and in the table
        assert format_length(piece.length, "feet-inches") in written
    assert written.count("45.0° out") == 2


def test_rails_and_fixings_stand_at_their_heights(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(240, 200, constructions={"A-B": "masonry"})
    fitout = Fitout(room="room", panelled=["A-B"])
    layout = lay_walls(plan, systems.walls(), fitout, systems.products())
    drawing = draw_elevation(plan, layout, "A-B")
    lines = layout.elevations[0].cleats
    drawn = [i for i in drawing.items if isinstance(i, Line) and i.role == "cleat"]
    level = [i for i in drawn if i.title != "Fixing"]
    assert sorted(i.a[1] for i in level) == sorted(line.height for line in lines)
    assert len(drawn) - len(level) == sum(line.fixings for line in lines) > 0
    heights = [line.height for line in lines if line.kind == "cleat"]
    assert any(format_length(heights[0], "feet-inches") in note and "16 in" in note for note in drawing.notes)


@pytest.mark.parametrize(
    ("corners", "wall", "left"),
    [
        ({"A": (0, 0), "B": (0, 300), "C": (400, 300), "D": (400, 0)}, "B-C", "1' 4\""),
        ({"A": (0, 0), "B": (400, 0), "C": (400, 300), "D": (0, 300)}, "A-B", "2' 8\""),
    ],
)
def test_cut_outs_are_told_from_the_left_edge_as_the_panel_is_looked_at(
    rooms: Any, systems: Any, corners: Any, wall: str, left: str
) -> None:
    """An outlet 160 in from the wall's first corner in a panel from 144 to 192: 16 in from the edge at that corner.

    That is on the left where rooms are lettered clockwise and on the right (48 − 16 = 32 in) where they are not.
    """
    services = [
        {"id": "outlet-1", "wall": wall, "kind": "outlet", "start": 160, "sill": 16},
        {"id": "bell", "wall": wall, "kind": "call point", "start": 390, "sill": 46},
    ]
    plan = rooms.plan(corners, features=services)
    system = msgspec.structs.replace(systems.walls(), start="corner")
    layout = lay_walls(plan, system, Fitout(room="room", panelled=[wall]), systems.products())
    drawing = draw_elevation(plan, layout, wall)
    notes = " ".join(drawing.notes)
    assert (
        f"Cut-out in panel 04 round outlet-1: its middle {left} from the panel's left edge, 1' 1 1/4\" above its "
        "bottom, 1' 4\" above the slab."
    ) in notes
    first = wall[0]
    assert (
        f"Never covered: call point bell at 32' 6\", 3' 10\" above the slab; along the wall from corner {first}."
        in notes
    )
    hole = polygons(drawing, "cutout")[0].outline
    middle = sum(x for x, _ in hole) / 4 / INCH
    assert (middle, sum(y for _, y in hole) / 4 / INCH) == pytest.approx((160 if wall == "B-C" else 240, 16), abs=0.01)


def test_under_laps_are_drawn_where_mats_meet(rooms: Any, systems: Any) -> None:
    """Mats 96 × 48 in on 192 × 96 in lie two by two: four edges meet, 2 × 96 + 2 × 48 in."""
    mats = FoldAwaySystem(
        id="f", name="Mats", product="fold-mat", mat_length=systems.inches(96), mat_width=systems.inches(48),
        under_lap=systems.inches(4),
    )  # fmt: skip
    layout = lay_fold_away(rooms.rectangle(193, 97), mats, systems.products())
    drawing = draw_fold_away(rooms.rectangle(193, 97), layout)
    laps = [i for i in drawing.items if isinstance(i, Line) and i.role == "weld"]
    assert len(laps) == layout.under_laps == 4
    assert sum(math.dist(i.a, i.b) for i in laps) / INCH == pytest.approx(2 * 96 + 2 * 48)
    assert "4 under-laps, 24' 0\"" in drawing.notes[1]


def test_metric_notes_tell_long_runs_in_metres_and_dimensions_in_millimetres(rooms: Any, systems: Any) -> None:
    plan, products, system = rooms.hall(), systems.products(), systems.floor()
    floor = lay_floor(plan, system, products)
    cover = lay_cover(plan, system, floor, products)
    base = draw_floor_layer(plan, floor, "base", system=system, units="metric")
    assert f"joints {floor.layers[0].joint_length / 1000:.2f} m." in base.notes[1]
    frame = draw_frame(plan, floor, system=system, units="metric")
    assert f"frame {floor.frame_length / 1000:.2f} m, ramp {floor.ramp_length / 1000:.2f} m" in frame.notes[0]
    sheet = draw_cover(plan, cover, spec=system.cover, units="metric")
    notes = " ".join(sheet.notes)
    assert f"{cover.band_length / 1000:.2f} m in all" in notes
    assert f"Welds as drawn, {cover.weld_length / 1000:.2f} m;" in notes
    name, length = cover.diagonals[0]
    assert f"{name} {length:.0f} mm" in notes  # what is made to stays in millimetres
    assert f"{cover.sides[0][1]:.0f}" in texts(sheet)
