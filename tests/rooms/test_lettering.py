"""Lettering: how wide it is, where it finds room, and the look at printed drawings that other tests rely on."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from buildout.rooms.engine.drawing import Dimension, Drawing, Line, Polygon, Text, TitleBlock, rectangle
from buildout.rooms.engine.lettering import (
    BLANK,
    BOLD,
    FAINT,
    FIRM,
    PLAIN,
    Ground,
    Place,
    Settled,
    Wish,
    _advance,
    letter_box,
    overlap,
    settle,
    text_width,
)
from buildout.rooms.engine.sheet import ROW, Letters, Mark, lay_out
from buildout.rooms.engine.svg import to_svg
from tests.drawn import faults

LIBERATION = Path("/usr/share/fonts/truetype/liberation")


def wish(text: str, *places: tuple[float, float], **more: object) -> Wish:
    found = [Place(at, 0.3 * order, lead=order > 0) for order, at in enumerate(places)]
    return Wish([(text, 3.0)], found, names=places[0], **more)  # type: ignore[arg-type]


def at(settled: Settled | None) -> tuple[float, float]:
    assert settled is not None
    return settled.place.at


# ---------------------------------------------------------------- how wide


def test_width_by_hand() -> None:
    """Adobe's metrics of Helvetica, thousandths: 6 and 2 556, ' 191, space 278, 0 556, " 355: 2492 for 62' 0"."""
    assert text_width("62' 0\"", 10) == pytest.approx(24.92)
    assert text_width("Ä", 10) == text_width("A", 10) == pytest.approx(6.67)


@pytest.mark.parametrize("face", ["Regular", "Bold"])
def test_widths_are_those_of_the_font_that_prints(face: str) -> None:
    """Liberation Sans has the advance widths of Arial and Helvetica; bold figures and capitals stay within the sum."""
    path = LIBERATION / f"LiberationSans-{face}.ttf"
    if not path.exists():
        pytest.skip("Liberation Sans is not installed here")
    from fontTools.ttLib import TTFont

    with TTFont(path) as font:
        glyphs, advances, em = font.getBestCmap(), font["hmtx"], font["head"].unitsPerEm
        for letter in map(chr, [*range(32, 127), *map(ord, "×°–—±−½éüß")]):
            wide = advances[glyphs[ord(letter)]][0] / em
            if face == "Regular":
                assert -0.001 <= _advance(letter) - wide <= 0.036, letter
            elif letter.isupper() or letter.isdigit():
                assert wide <= _advance(letter) * BOLD + 0.001, letter


# ---------------------------------------------------------------- where


def test_the_second_takes_its_next_place_when_the_first_is_taken() -> None:
    found = settle(Ground(), [wish("one", (0, 0)), wish("two", (0.5, 0), (0, 20))])
    assert [at(one) for one in found] == [(0, 0), (0, 20)]


def test_who_has_no_place_of_its_own_takes_nobody_elses() -> None:
    """The first could stand where the second alone can; it moves off elsewhere."""
    ground = Ground()
    ground.box(rectangle(-8, -6, 16, 12))
    found = settle(ground, [wish("one", (0, 0), roam=31.0), wish("two", (0, 9))])
    assert at(found[1]) == (0, 9)
    assert found[0] is not None
    assert found[0].place.strayed
    assert not any(overlap(a, b) for a in found[0].boxes for b in [*found[1].boxes, rectangle(-8, -6, 16, 12)])  # type: ignore[union-attr]


def test_lettering_that_may_be_dropped_is_dropped_and_other_lettering_is_not() -> None:
    ground = Ground()
    ground.box(rectangle(-50, -50, 100, 100))
    kept, dropped = settle(ground, [wish("one", (0, 0), roam=9.0), wish("two", (0, 0), roam=9.0, may_drop=True)])
    assert kept is not None
    assert dropped is None


@pytest.mark.parametrize(("cost", "moves", "blanks"), [(FIRM, True, False), (PLAIN, True, False), (FAINT, False, True)])
def test_firm_lines_are_kept_clear_of_and_faint_ones_broken(cost: float, moves: bool, blanks: bool) -> None:
    ground = Ground()
    ground.line((-20, 0), (20, 0), cost)
    found = settle(ground, [wish("text", (0, 0), (0, 5))])[0]
    assert found is not None
    assert (found.place.at == (0, 5), found.blank) == (moves, blanks)


def test_boxes_by_hand() -> None:
    """A figure 10 high is 5.56 wide and 7.2 tall; turned by 90° it reads from below upwards."""
    flat = [(round(x, 6), round(y, 6)) for x, y in letter_box((0, 0), "8", 10, "start", 0)]
    assert flat == [(0, 0), (5.56, 0), (5.56, 7.2), (0, 7.2)]
    turned = [(round(x, 6), round(y, 6)) for x, y in letter_box((0, 0), "8", 10, "start", 90)]
    assert turned == [(0, 0), (0, 5.56), (-7.2, 5.56), (-7.2, 0)]


def test_the_same_wishes_find_the_same_places() -> None:
    def places() -> list[tuple[float, float]]:
        ground = Ground()
        for x in range(-30, 31, 6):
            ground.line((x, -30), (x, 30), FIRM)
        return [at(one) for one in settle(ground, [wish(f"{n}", (n, 0), roam=31.0) for n in range(12)])]

    assert places() == places()


# ---------------------------------------------------------------- rows of dimensions


def test_dimensions_in_each_others_way_stand_in_rows() -> None:
    """Three running dimensions from one point, all asked for in the same row: 0, 1 and 2 rows out."""
    items = [Dimension(a=(0, 0), b=(1000.0 * n, 0), text=f"{1000 * n}", offset=8) for n in (1, 2, 3)]
    laid = lay_out(Drawing(items=list(items), title="t", description="d", units="metric"), 297, scale=20)
    assert [one.offset for one in laid.dimensions] == [8, 8 + ROW, 8 + 2 * ROW]


def test_a_chain_stays_in_one_row() -> None:
    items = [Dimension(a=(1000.0 * n, 0), b=(1000.0 * (n + 1), 0), text="1000", offset=8) for n in range(4)]
    laid = lay_out(Drawing(items=list(items), title="t", description="d", units="metric"), 297, scale=20)
    assert {one.offset for one in laid.dimensions} == {8}


def test_notes_are_broken_to_the_sheet_and_no_size_is_broken() -> None:
    notes = ["Diagonals: " + "; ".join(f"{n}–{n + 1} 17' 10 1/2\"" for n in range(40)) + "."]
    block = TitleBlock(build="b", sheet="s")
    drawing = Drawing(
        items=[Line(a=(0, 0), b=(9e3, 0), role="wall")], title="t", description="d", block=block, notes=notes
    )
    lines = [m.text for m in lay_out(drawing, 400, 272).marks if isinstance(m, Letters) and "17'" in m.text]
    assert len(lines) > 1
    assert all(line.rstrip(";.").endswith("17' 10 1/2\"") for line in lines)
    assert faults(to_svg(drawing, width=400, height=272)) == []


# ---------------------------------------------------------------- the look itself


def sheet(*items: object) -> str:
    return to_svg(Drawing(items=list(items), title="t", description="d", units="metric"), width=100, scale=1)  # type: ignore[arg-type]


BOX = Polygon(outline=rectangle(0, 0, 80, 40), role="outline")


def test_the_look_sees_lettering_on_lettering() -> None:
    one, two = Text(at=(20, 20), text="one", roam=0), Text(at=(21, 20), text="two", roam=0)
    assert faults(sheet(BOX, one, two)) == ['"one" runs into "two"']
    assert faults(sheet(BOX, one, Text(at=(21, 26), text="two", roam=0))) == []


def test_the_look_sees_lines_through_lettering_unless_the_ground_is_blanked() -> None:
    text = Text(at=(20, 20), text="one", roam=0)
    for role, wrong in (("wall", ['"one" is crossed by a line of wall']), ("hidden", [])):
        assert faults(sheet(BOX, Line(a=(0, 20), b=(40, 20), role=role), text)) == wrong  # type: ignore[arg-type]


def test_the_look_sees_what_is_too_small_and_what_leaves_the_sheet() -> None:
    small = faults(sheet(BOX, Text(at=(20, 20), text="one", size=2.5, roam=0)))
    assert small == ['"one" is only 1.79 mm high']
    wide = Line(a=(0, 0), b=(80, 0), role="outline")
    svg = sheet(wide, Text(at=(40, 5), text="a", roam=0)).replace('x="50', 'x="99.5')
    assert faults(svg) == ['"a" leaves the sheet']


def test_the_look_sees_bare_hatching() -> None:
    shaded = Polygon(outline=rectangle(0, 0, 80, 40), role="outline", hatch="diagonal")
    text = Text(at=(40, 20), text="one", roam=0)
    assert faults(sheet(shaded, text)) == []
    assert faults(sheet(shaded, text).replace("d-paper", "gone")) == ['"one" stands on hatching']


def test_blanked_ground_reaches_round_the_lettering() -> None:
    shaded = Polygon(outline=rectangle(0, 0, 80, 40), role="outline", hatch="diagonal")
    svg = sheet(shaded, Text(at=(40, 20), text="1", size=5.0, roam=0))
    width = float(svg.split('class="d-paper"')[1].split('width="')[1].split('"')[0])
    assert width == pytest.approx(5 * 0.556 + 2 * BLANK, abs=0.01)


def test_a_leader_ends_at_its_lettering() -> None:
    piece = Polygon(outline=rectangle(38, 18, 2, 4), role="outline")
    laid = lay_out(
        Drawing(items=[BOX, piece, Text(at=(39, 20), text="number", inside=2.0)], title="t", description="d",
                units="metric"), 100, scale=1,
    )  # fmt: skip
    letters = next(m for m in laid.marks if isinstance(m, Letters))
    (start, end) = next(m for m in laid.marks if isinstance(m, Mark) and m.role == "label").rings[0]
    box = [(x, 2 * letters.at[1] - y) for x, y in letter_box(letters.at, "number", 3.2, letters.anchor, -letters.turn)]
    assert math.dist(start, (laid.origin[0] + 39, laid.origin[1] - 20)) < 0.01
    assert min(math.dist(end, p) for p in box) < text_width("number", 3.2)
