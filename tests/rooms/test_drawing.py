"""Drawings: scale, lettering, SVG and DXF."""

import io
import math
import xml.etree.ElementTree as ElementTree

import ezdxf
import pytest
from ezdxf import recover

from buildout.rooms.engine.drawing import (
    Circle,
    Dimension,
    Drawing,
    Line,
    Polygon,
    Role,
    Symbol,
    Text,
    TitleBlock,
    chain_dimensions,
    overall_and_chain,
    rectangle,
)
from buildout.rooms.engine.dxf import layer_name, to_dxf
from buildout.rooms.engine.plan import plan_room
from buildout.rooms.engine.room_drawing import draw_plan
from buildout.rooms.engine.sheet import Letters, Mark, lay_out
from buildout.rooms.engine.survey import adjust
from buildout.rooms.engine.svg import PENS, to_svg
from buildout.units.value import from_json, to_json
from tests.drawn import faults

SVG = "{http://www.w3.org/2000/svg}"
BLOCK = TitleBlock(build="Test build", sheet="Main hall, plan", number="S-1", revision="2", date="2026-08-03")


def simple(*items, units="metric", block=None):
    return Drawing(items=list(items), title="A & B", description="Two <things>.", units=units, block=block)


@pytest.fixture(scope="module")
def sheets(hall, reread):
    """The hall, and the hall with its blunder, as drawings."""
    made = {}
    for name, room in (("sound", hall), ("blunder", reread(hall, {"4": "35' 0 1/2\""}))):
        survey = adjust(room)
        made[name] = draw_plan(room, survey, plan_room(room, survey), block=BLOCK)
    return made


# ---------------------------------------------------------------- scale


@pytest.mark.parametrize(
    ("size", "units", "scale"),
    [
        (9000, "metric", 50),  # 9 m at 1:50 is 180 mm; at 1:20 450 mm
        (20000, "metric", 75),  # 266.7 mm; at 1:50 400 mm
        (20000, "feet-inches", 96),
        (2400, "metric", 10),  # 240 mm
        (300000, "metric", 2000),
    ],
)
def test_largest_usual_scale_that_fits(size, units, scale):
    laid = lay_out(simple(Line(a=(0, 0), b=(size, 0), role="wall"), units=units), 297)
    assert laid.scale == scale
    line = next(m for m in laid.marks if isinstance(m, Mark))
    (ax, _), (bx, _) = line.rings[0]
    assert bx - ax == pytest.approx(size / scale)


def test_y_points_up():
    laid = lay_out(simple(Line(a=(0, 0), b=(0, 1000), role="wall")), 297)
    (_, low), (_, high) = laid.marks[0].rings[0]
    assert high < low  # paper y runs down


def test_dimension_stands_off_to_the_left_and_has_two_ticks():
    laid = lay_out(simple(Dimension(a=(0, 0), b=(5000, 0), text="5000", offset=8)), 297)
    text = next(m for m in laid.marks if isinstance(m, Letters))
    assert text.turn == 0
    witness = [m for m in laid.marks if isinstance(m, Mark)]
    ticks = [m for m in witness if m.weight]
    assert len(ticks) == 2
    for tick in ticks:
        (ax, ay), (bx, by) = tick.rings[0]
        assert abs(math.degrees(math.atan2(ay - by, bx - ax))) == pytest.approx(45, abs=0.1)


def test_chain_and_overall():
    made = overall_and_chain([(0, 0), (1000, 0), (4000, 0)], "metric")
    assert [d.text for d in made] == ["1000", "3000", "4000"]
    assert made[-1].offset > made[0].offset
    assert [d.text for d in chain_dimensions([(0, 0), (304.8, 0)], "feet-inches")] == ["1' 0\""]


def test_a_short_dimension_at_the_end_of_a_chain_is_written_past_the_end():
    """Over its neighbour's line its figure would be read as that one's."""
    for points, past in (
        ([(0, 0), (50, 0), (6000, 0)], lambda x, ends: x < ends[0]),
        ([(0, 0), (5950, 0), (6000, 0)], lambda x, ends: x > ends[1]),
    ):
        laid = lay_out(simple(*chain_dimensions(points, "metric", offset=-10.0)), 297, scale=50)
        at = next(m.at[0] for m in laid.marks if isinstance(m, Letters) and m.text == "50")
        assert past(at, (laid.origin[0], laid.origin[0] + 6000 / 50))


def test_lettering_that_does_not_fit_its_piece_stands_beside_it_on_a_leader():
    piece = Polygon(outline=rectangle(9500, 9500, 1000, 1000), role="piece")
    room = Polygon(outline=rectangle(0, 0, 20000, 20000), role="outline")
    long = "a long label on a small piece"
    for roam, shown in ((31.0, 1), (0.0, 0)):  # what may not move off is left out
        number = Text(at=(10000, 10000), text=long, inside=1000.0, roam=roam)
        laid = lay_out(simple(room, piece, number), 297)
        found = [m for m in laid.marks if isinstance(m, Letters)]
        leaders = [m for m in laid.marks if isinstance(m, Mark) and m.role == "label"]
        assert (len(found), len(leaders)) == (shown, shown)
    (start, end), middle = leader_of(simple(room, piece, Text(at=(10000, 10000), text=long, inside=1000.0)))
    assert math.dist(start, middle) < 0.01
    assert math.dist(end, middle) > 500 / 100  # out of the piece, at 1:100


def leader_of(drawing):
    laid = lay_out(drawing, 297, scale=100)
    leader = next(m for m in laid.marks if isinstance(m, Mark) and m.role == "label")
    return leader.rings[0], (laid.origin[0] + 100.0, laid.origin[1] - 100.0)


# ---------------------------------------------------------------- SVG


def test_svg_is_well_formed_and_free_of_inline_style(sheets):
    for drawing in sheets.values():
        text = to_svg(drawing)
        root = ElementTree.fromstring(text)  # noqa: S314
        reached = [n.get("aria-label") for n in root.iter() if n.get("tabindex") == "0"]
        assert root.get("role") == ("group" if reached else "img")
        assert len(reached) == len(set(reached))
        assert root[0].tag == f"{SVG}title"
        assert root[1].tag == f"{SVG}desc"
        for node in root.iter():
            assert node.tag not in (f"{SVG}style", f"{SVG}script")
            assert node.get("style") is None
            assert not [name for name in node.attrib if name.startswith("on")]


def test_everything_with_a_plus_minus_is_reached_with_the_keyboard(hall, sheets):
    root = ElementTree.fromstring(to_svg(sheets["sound"]))  # noqa: S314
    reached = {n.get("aria-label") for n in root.iter() if n.get("tabindex") == "0"}
    titles = {n.text for n in root.iter(f"{SVG}title") if "±" in n.text}
    assert reached == titles
    for wall in ("A–B", "B–C", "C–D", "D–E", "E–F", "F–A"):
        assert any(t.startswith(f"Wall {wall}: ") for t in titles)
    for name in (*(f"Corner {c}" for c in hall.corners), "Column K1", "Column K2", "Control mark M"):
        assert any(t.startswith(name) for t in titles)


def test_a_chain_says_how_well_its_openings_are_known(hall, sheets):
    """A running dimension of 18' 3" by tape has σ = 1.2 + 65e-6·5563 = 1.56 mm, so ± 3.06 mm; two make ± 4.7 mm."""
    titles = {i.title for i in sheets["sound"].items if isinstance(i, Dimension) and "roller door" in i.title}
    assert len(titles) == 3
    assert all("±" in t for t in titles)
    own = next(t for t in titles if t.startswith("Wall F–A, roller door: 10' 1\""))
    assert own.endswith("± 3/16 in")


def test_svg_escapes_what_people_write():
    text = to_svg(simple(Text(at=(0, 0), text="<b>", title='5" & more'), Line(a=(0, 0), b=(1, 1), role="wall")))
    assert "<b>" not in text
    root = ElementTree.fromstring(text)  # noqa: S314
    assert root.find(f"{SVG}title").text == "A & B"


def test_ids_do_not_clash_on_one_page(sheets):
    one, two = (ElementTree.fromstring(to_svg(sheets["sound"], id_prefix=p)) for p in ("p", "q"))  # noqa: S314
    ids = [{n.get("id") for n in root.iter() if n.get("id")} for root in (one, two)]
    assert ids[0]
    assert not ids[0] & ids[1]


def test_every_role_has_a_pen():
    assert set(PENS) == set(Role.__args__)


def test_ink_follows_the_page(sheets):
    text = to_svg(sheets["sound"])
    assert 'stroke="currentColor"' in text
    assert "#000" not in text


def test_same_drawing_same_text(sheets):
    again = from_json(Drawing, to_json(sheets["sound"]))
    assert to_svg(again) == to_svg(sheets["sound"])
    assert to_dxf(again) == to_dxf(sheets["sound"])


# ---------------------------------------------------------------- the hall's sheet


def letters(drawing):
    return [m for m in lay_out(drawing).marks if isinstance(m, Letters)]


def test_hall_sheet_says_what_it_must(sheets):
    found = {m.text for m in letters(sheets["sound"])}
    assert {*"ABCDEF", "M", "K1", "K2", "62' 0\"", "64' 0 3/8\"", "36' 0 1/2\"", "Main hall", "fire exit"} <= found
    assert '1/8" = 1\'-0" (1:96)' in found
    assert any("low wall 42 in" in t for t in found)
    assert {"S-1", "2", "2026-08-03"} <= found


@pytest.mark.parametrize("name", ["sound", "blunder"])
def test_hall_sheet_can_be_read_as_printed(sheets, name):
    assert faults(to_svg(sheets[name], width=400, height=277)) == []


def test_set_aside_reading_is_marked_in_words_and_shape(sheets):
    sound, blunder = (to_svg(sheets[name]) for name in ("sound", "blunder"))
    assert "set aside" not in sound
    assert "reading 4: 35' 0 1/2\", set aside, tape again" in blunder
    assert any(isinstance(i, Symbol) and i.kind == "question" for i in sheets["blunder"].items)
    assert any(isinstance(i, Line) and i.role == "suspect" for i in sheets["blunder"].items)


def test_plus_minus_stands_in_titles(sheets):
    titles = [i.title for i in sheets["sound"].items if isinstance(i, Dimension) and i.title]
    assert len(titles) == 24  # six walls; and their chains: 3 + 5 + 3 + 4 + 0 + 3 links
    assert all("±" in t for t in titles)
    assert all("±" in t for t in titles)


def test_metric_sheet(hall):
    survey = adjust(hall)
    drawing = draw_plan(hall, survey, plan_room(hall, survey), units="metric", block=BLOCK)
    found = {m.text for m in letters(drawing)}
    assert "19516" in found
    assert any("mm" in t and "1:100" in t for t in found)


def test_room_that_is_not_fixed_is_a_sketch(hall, reread):
    room = reread(hall, drop=["24", "25", "26"])
    survey = adjust(room)
    drawing = draw_plan(room, survey, plan_room(room, survey), block=BLOCK)
    assert drawing.title.startswith("Sketch")
    assert "K2" in drawing.description
    to_svg(drawing)
    bare = reread(hall, readings=[], corners=[], columns=[], marks=[], features=[], keep_clear=[])
    nothing = draw_plan(bare, adjust(bare), plan_room(bare, adjust(bare)))
    assert "Nothing can be drawn yet" in to_svg(nothing)


# ---------------------------------------------------------------- DXF


def test_dxf_reads_back_in_millimetres(sheets, hall):
    survey = adjust(hall)
    text = to_dxf(sheets["sound"])
    document = ezdxf.read(io.StringIO(text))
    assert document.units == ezdxf.units.MM
    _, auditor = recover.read(io.BytesIO(text.encode()))
    assert not auditor.has_errors
    layers = {layer.dxf.name for layer in document.layers}
    assert {"WALL", "COLUMN", "DIMENSION", "KEEP-CLEAR"} <= layers
    circles = document.modelspace().query("CIRCLE[layer=='COLUMN']")
    assert [c.dxf.radius for c in circles] == pytest.approx([10.75 / 2 * 25.4], abs=0.01)
    k2 = next(p for p in survey.points if p.name == "K2")
    assert tuple(circles[0].dxf.center)[:2] == pytest.approx((k2.x, k2.y), abs=0.02)
    dimensions = {d.dxf.text: d.get_measurement() for d in document.modelspace().query("DIMENSION")}
    assert dimensions["62' 0\""] == pytest.approx(62 * 304.8, abs=1)


def test_dxf_of_the_simplest_drawing():
    drawing = simple(Circle(centre=(1000, 2000), radius=50, role="column"), Line(a=(0, 0), b=(3000, 0), role="wall"))
    space = ezdxf.read(io.StringIO(to_dxf(drawing))).modelspace()
    circle = space.query("CIRCLE")[0]
    assert tuple(circle.dxf.center)[:2] == pytest.approx((1000, 2000), abs=0.01)
    line = space.query("LWPOLYLINE")[0]
    assert [p[:2] for p in line.get_points()] == [(0, 0), (3000, 0)]
    assert layer_name("keep clear") == "KEEP-CLEAR"
