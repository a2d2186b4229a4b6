"""Layouts cut out many at a time against the plainest way: every sheet position cut out of the field by itself."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from estimating.engine.course_field import CourseField
from estimating.engine.courses import Courses
from estimating.engine.laid_courses import Goods, PieceRules

SHEET = Goods("sheet", 1000.0, 480.0, False, 0.0, True)
ROLL = Goods("roll", 1500.0, 480.0, True, 0.0, False)


@st.composite
def fields(draw: Any) -> Any:
    """A ring of three to nine corners round a middle, some with a square hole; corners on whole millimetres, so that
    courses often start right at one."""
    count = draw(st.integers(3, 9))
    reach = draw(st.lists(st.integers(700, 2500), min_size=count, max_size=count))
    ring = [
        (round(r * math.cos(2 * math.pi * k / count)), round(r * math.sin(2 * math.pi * k / count)))
        for k, r in enumerate(reach)
    ]
    shape = shapely.Polygon(ring)
    if draw(st.booleans()):
        x, y = draw(st.integers(-150, 150)), draw(st.integers(-150, 150))
        shape = shape.difference(shapely.box(x, y, x + 120, y + 120))
    return shapely.set_precision(shape, 0.01)


def plain(field: Any, low: float, start: float, goods: Goods) -> list[Any]:
    """What one course holds, sheet by sheet."""
    left, _, right, _ = field.bounds
    first = math.floor((left - start) / goods.length)
    last = math.ceil((right - start) / goods.length)
    boxes = [
        shapely.box(start + k * goods.length, low, start + (k + 1) * goods.length, low + goods.width)
        for k in range(first - 1, last + 1)
    ]
    return [cut for box in boxes if (cut := field.intersection(box)).area > 1]


@settings(max_examples=15, deadline=None, derandomize=True)
@given(field=fields(), direction=st.sampled_from(["x", "y"]), stagger=st.sampled_from([0.0, 0.5, 1 / 3]))
def test_sheets_cut_out_together_are_those_cut_out_one_by_one(field: Any, direction: Any, stagger: float) -> None:
    courses = Courses(field, SHEET, PieceRules(150.0, 0.0), direction)
    offsets = [(a, b, stagger) for a in courses.across_offsets()[:4] for b in courses.along_offsets()[:2]]
    laid = courses.cut_out(offsets)
    for k, ((across, along, _), (faults, least, cut, _)) in enumerate(zip(offsets, laid.figures(), strict=True)):
        pieces = [piece for _, _, cuts in laid.rows(k) for piece in cuts]
        assert sum(p.area for p in pieces) == pytest.approx(field.area, abs=field.length * 0.05)
        expected = []
        for number, low in enumerate(courses.row_starts(across)):
            start = courses.low_u + along + number * stagger * SHEET.length
            expected += plain(courses.shape, low, start, SHEET)
        sheet = SHEET.length * SHEET.width
        whole = sum(1 for shape in expected if shape.area >= sheet - 1)
        assert sum(p.whole for p in pieces) == whole
        assert len(pieces) - whole == cut
        # a piece on both sides of a column is one shape of the plain way and two of ours, so never fewer
        assert len(pieces) >= len(expected)
        rest = sum(shape.area for shape in expected) - whole * sheet
        assert least >= whole + math.ceil(rest / sheet - 0.01)
        assert faults == sum(bool(p.fault) for p in pieces)
        exact = courses.cut_out([offsets[k]], exact=True)
        assert exact.figures()[0][1:] == pytest.approx(laid.figures()[k][1:], abs=0.2)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(field=fields(), direction=st.sampled_from(["x", "y"]))
def test_strips_and_their_joints_fill_the_field(field: Any, direction: Any) -> None:
    """Pieces of a strip no longer than the roll; courses as high as the goods are wide, so lines lie on their edges."""
    courses = Courses(field, ROLL, PieceRules(0.0, 0.0), direction)
    offsets = [(across, 0.0, 0.0) for across in courses.across_offsets()[:8]]
    laid = courses.cut_out(offsets)
    for k, (across, _, _) in enumerate(offsets):
        pieces = [piece for _, _, cuts in laid.rows(k) for piece in cuts]
        assert sum(p.area for p in pieces) == pytest.approx(field.area, abs=field.length * 0.05)
        assert max(p.length for p in pieces) <= ROLL.length + 0.05
        along, _ = laid.joints(k)
        edges = {round(low, 2) for low in courses.row_starts(across)}
        assert {round(v, 2) for v in along[:, 0].tolist()} <= edges
        for v, a, b in along.tolist():
            line = shapely.LineString([(a, v), (b, v)])
            assert courses.shape.buffer(0.5).covers(line)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(field=fields(), at=st.lists(st.floats(-2400, 2400).map(lambda v: round(v, 2)), min_size=1, max_size=8))
def test_lines_run_where_the_field_is(field: Any, at: list[float]) -> None:
    runs = CourseField(field).inside(1, np.array(at))
    for k, v in enumerate(at):
        here = runs.of(k)
        length = float((runs.end[here] - runs.start[here]).sum())
        line = field.intersection(shapely.LineString([(-3000, v), (3000, v)]))
        on_edge = field.boundary.intersection(shapely.box(-3000, v - 0.05, 3000, v + 0.05)).length
        assert length == pytest.approx(line.length, abs=on_edge + 10)
        assert all(
            field.buffer(0.1).covers(shapely.LineString([(a, v), (b, v)]))
            for a, b in zip(runs.start[here].tolist(), runs.end[here].tolist(), strict=True)
        )


def test_a_course_right_along_a_notch_is_cut_clean() -> None:
    """A U of two 600 mm legs over a 400 mm bar: a course along the bar's upper edge holds two parts, not one."""
    u = shapely.Polygon([(0, 0), (3000, 0), (3000, 880), (2400, 880), (2400, 400), (600, 400), (600, 880), (0, 880)])
    courses = Courses(u, Goods("sheet", 5000.0, 480.0, False, 0.0, True), PieceRules(0.0, 0.0), "x")
    laid = courses.cut_out([(400.0, 0.0, 0.0)])
    (low, _, bar), (above, _, legs) = laid.rows(0)
    assert (round(low), round(above)) == (-80, 400)
    assert sorted((round(p.length), round(p.width)) for p in [*bar, *legs]) == [(600, 480), (600, 480), (3000, 400)]
    along, _ = laid.joints(0)
    assert along.round().tolist() == [[400, 0, 600], [400, 2400, 3000]]
