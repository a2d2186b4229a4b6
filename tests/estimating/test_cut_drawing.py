from __future__ import annotations

from buildout.rooms.engine.drawing import Polygon
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
