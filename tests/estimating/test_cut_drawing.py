from __future__ import annotations

import msgspec
from hypothesis import given, settings
from hypothesis import strategies as st

from buildout.rooms.engine.drawing import Dimension, Polygon, Text
from estimating.engine.cut_drawing import alike, draw_stock
from estimating.engine.types import CutPiece, CutPlan, CutStock


def piece(name: str, x: float, length: float = 600, width: float = 1200) -> CutPiece:
    return CutPiece(piece=name, x=x, y=0, length=length, width=width)


def plan(*stock: CutStock) -> CutPlan:
    return CutPlan(
        product="ply", form="sheet", status="proven", value=len(stock), bound=len(stock), stock=list(stock),
        used_area=0, waste_area=0, waste_share=0, reasons=[],
    )  # fmt: skip


def sheet(number: int, *pieces: CutPiece, offcuts: tuple[CutPiece, ...] = ()) -> CutStock:
    return CutStock(number=number, length=2400, width=1200, pieces=list(pieces), offcuts=list(offcuts))


def test_sheets_cut_the_same_way_are_drawn_once() -> None:
    found = alike(
        plan(
            sheet(1, piece("a", 0)),
            sheet(2, piece("b", 0)),
            sheet(3, piece("c", 0), piece("d", 600)),
        )
    )
    assert [numbers for numbers, _ in found] == [[1, 2], [3]]


def test_every_piece_and_offcut_is_drawn_where_it_is_cut_and_named() -> None:
    one = sheet(1, piece("a", 0), piece("b", 600), offcuts=(piece("left", 1200, length=1200),))
    drawing = draw_stock(plan(one), one)
    boxes = {item.title.split(",")[0]: item for item in drawing.items if isinstance(item, Polygon)}
    assert set(boxes) == {"7' 10 1/2\" × 3' 11 1/4\"", "a", "b", "Kept: left"}
    assert boxes["b"].outline[0] == (600, 0)
    area = sum(_area(box) for name, box in boxes.items() if "×" not in name)
    assert area == 2400 * 1200, "pieces and what is kept fill the sheet"


def _area(box: Polygon) -> float:
    (x0, y0), _, (x1, y1), _ = box.outline
    return (x1 - x0) * (y1 - y0)


def test_a_slender_length_says_that_its_width_is_not_to_scale() -> None:
    stud = CutStock(number=1, length=3657.6, width=88.9, pieces=[piece("p", 0, 1000, 88.9)], offcuts=[])
    drawing = draw_stock(plan(stud), stud)
    assert drawing.notes
    assert not draw_stock(plan(sheet(1)), sheet(1)).notes


def test_a_long_run_of_roll_goes_on_in_rows_that_break_no_piece() -> None:
    """Twelve blanks 2 m long off a roll 1.4 m wide: rows of at most 10 × 1.4 m hold seven, so 14 m and 10 m."""
    blanks = [piece(f"b{n}", 2000 * n, 2000, 1400) for n in range(12)]
    roll = CutStock(number=1, length=24_000, width=1400, pieces=blanks, offcuts=[])
    drawing = draw_stock(msgspec.structs.replace(plan(roll), form="roll"), roll, "metric")
    drawn = [item for item in drawing.items if isinstance(item, Polygon)]
    rows = [item for item in drawn if item.role == "stock"]
    assert [round(row.outline[1][0] - row.outline[0][0]) for row in rows] == [14_000, 10_000]
    cut = [item for item in drawn if item.role == "cut piece"]
    assert len(cut) == 12
    assert sum(_area(box) for box in cut) == 24_000 * 1400 == sum(_area(row) for row in rows)
    for box in cut:
        assert any(row.outline[0][0] <= box.outline[0][0] and box.outline[2][0] <= row.outline[2][0]
                   and row.outline[0][1] == box.outline[0][1] for row in rows)  # fmt: skip
    assert [i.text for i in drawing.items if isinstance(i, Dimension)] == ["14000", "10000", "1400"]
    assert "from 14000" in [i.text for i in drawing.items if isinstance(i, Text)]
    assert drawing.notes == ["One run of 24.00 m, row below row."]


def test_a_piece_as_long_as_the_run_is_not_broken() -> None:
    roll = CutStock(number=1, length=24_000, width=1400, pieces=[piece("b", 0, 24_000, 1400)], offcuts=[])
    drawing = draw_stock(msgspec.structs.replace(plan(roll), form="roll"), roll, "metric")
    assert len([item for item in drawing.items if isinstance(item, Polygon) and item.role == "stock"]) == 1


@settings(max_examples=200, deadline=None)
@given(
    cuts=st.lists(st.tuples(st.floats(5, 3000), st.integers(1, 4), st.floats(-0.004, 0.004)), min_size=1, max_size=30),
    width=st.floats(300, 3000),
)
def test_every_piece_of_a_roll_is_drawn_once_whole_and_in_a_row(
    cuts: list[tuple[float, int, float]], width: float
) -> None:
    """Bands across the roll, each of one to four pieces side by side, placed to within a hair of the cuts."""
    pieces, at = [], 0.0
    for number, (length, beside, hair) in enumerate(cuts):
        for lane in range(beside):
            pieces.append(
                CutPiece(
                    piece=f"p{number}.{lane}", x=max(0.0, at + hair), y=lane * width / beside, length=length,
                    width=width / beside,
                )
            )  # fmt: skip
        at += length
    roll = CutStock(number=1, length=at, width=width, pieces=pieces, offcuts=[])
    drawing = draw_stock(msgspec.structs.replace(plan(roll), form="roll"), roll, "metric")
    drawn = [item for item in drawing.items if isinstance(item, Polygon)]
    rows = [item.outline for item in drawn if item.role == "stock"]
    boxes = {item.title.split(",")[0]: item.outline for item in drawn if item.role == "cut piece"}
    assert len(boxes) == len([item for item in drawn if item.role == "cut piece"]) == len(pieces)
    for piece in pieces:
        box = boxes[piece.piece]
        (row,) = (r for r in rows if r[0][1] - 0.01 <= box[0][1] and box[2][1] <= r[2][1] + 0.01)
        left, right = box[0][0] - row[0][0], row[1][0] - box[1][0]
        assert left >= -0.01
        assert right >= -0.01
