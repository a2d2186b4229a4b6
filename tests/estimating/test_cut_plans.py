"""Cut plans from layouts: sizes held alike, areas that add up, pieces that do not fit named."""

from __future__ import annotations

import random
from typing import Any

import pytest

from buildout.units.lengths import Length
from buildout.units.value import to_json
from estimating.engine.cut_plans import panel_foam, plan_cuts, steps
from estimating.engine.types import (
    CutPiece,
    CutPlan,
    FloorLayout,
    FloorSystem,
    FoamLayer,
    FoamLayout,
    FramePiece,
    MadeCut,
    Panel,
    Piece,
    Product,
    RoomLayouts,
    WallElevation,
    WallLayout,
    WallSystem,
)

L = Length.read
INCH = 25.4


def product(id_: str, form: str, unit: str, **more: Any) -> Product:
    return Product(id=id_, name=id_.title(), form=form, unit=unit, head=8, **more)  # type: ignore[arg-type]


PRODUCTS = {
    p.id: p
    for p in (
        product("base", "sheet", "sheet", length=L('108"'), width=L('48"'), lead_group="foam"),
        product("top", "roll", "roll", length=L("100'"), width=L('54"'), turns=False, lead_group="foam"),
        product("timber", "length", "length", length=L("12'"), width=L('3 1/2"'), kerf=L('1/8"'), lead_group="timber"),
        product("ply", "sheet", "sheet", length=L('96"'), width=L('48"'), kerf=L('1/8"'), turns=False,
                lead_group="timber"),
        product("foam", "sheet", "sheet", length=L('81"'), width=L('54"'), thickness=L('1 1/2"'), lead_group="panel"),
        product("vinyl", "roll", "running yard", length=L("150'"), width=L('54"'), turns=False, lead_group="panel"),
        product("cleat", "length", "length", length=L("8'"), kerf=L('1/8"'), lead_group="panel"),
    )
}  # fmt: skip
FLOOR = FloorSystem(
    id="two", name="Two layers", layers=[FoamLayer(product="base", role="base"), FoamLayer(product="top", role="top")],
    frame="timber", smallest_width=L('6"'), joint_offset=L('6"'),
)  # fmt: skip
WALLS = WallSystem(
    id="panels", name="Panels", module=L('48"'), height=L('72"'), low_height=L('39"'), thickness=L('2"'),
    bottom=L('2 3/4"'), narrowest_end=L('12"'), reveal=L('3/4"'), board="ply", foam="foam", face="vinyl",
    foam_edge=L('1/8"'), turn_back_side=L('1"'), turn_back_end=L('2"'), cleat="cleat",
)  # fmt: skip


def piece(id_: str, length: float, width: float, *, whole: bool = False) -> Piece:
    return Piece(
        id=id_, layer="base", row=1, outline=[], area=length * width, box=(length, width), whole=whole
    )  # fmt: skip


def floor(base: list[Piece], top: list[Piece] | None = None, frame: list[float] | None = None) -> RoomLayouts:
    layers = [
        FoamLayout(
            layer=role, product=role, direction="x", origin=(0, 0), pieces=pieces, joints=[], joint_length=0.0,
            area=sum(p.area for p in pieces), sheets_bound=0,
        )
        for role, pieces in (("base", base), ("top", top or []))
    ]  # fmt: skip
    timbers = [FramePiece(id=f"F{k}", edge="A-B", length=n, kind="frame") for k, n in enumerate(frame or [], 1)]
    layout = FloorLayout(
        room="hall", system="two", status="feasible", bound=0, value=0, field=[], holes=[], layers=layers,
        frame=timbers, frame_length=sum(frame or []), ramp_length=0.0, edge_length=0.0, cutouts=0,
        mat_area=0.0, thickness=0.0, mass_per_area=0.0, reasons=[],
    )  # fmt: skip
    return RoomLayouts(room="hall", floor=layout)


def panel(id_: str, width: float, height: float = 72 * INCH, **more: Any) -> Panel:
    fields: dict[str, Any] = {
        "id": id_, "wall": "A-B", "kind": "full", "start": 0.0, "width": width, "bottom": 70.0, "height": height,
        "board": (height, width), "face": (height + 8 * INCH, width + 6 * INCH),
    }  # fmt: skip
    return Panel(**(fields | more))


def walls(panels: list[Panel], wraps: list[Panel] | None = None, cleat: float = 0.0) -> RoomLayouts:
    elevation = WallElevation(wall="A-B", length=0.0, panels=panels, free=[], cleat_length=cleat, cap_length=0.0)
    layout = WallLayout(
        room="hall", system="panels", status="feasible", elevations=[elevation], wraps=wraps or [], full_count=0,
        low_count=0, special_count=0, panel_run=0.0, panel_area=0.0, reasons=[],
    )  # fmt: skip
    return RoomLayouts(room="hall", walls=layout)


def plans(*rooms: RoomLayouts) -> dict[str, CutPlan]:
    return {p.product: p for p in plan_cuts(list(rooms), PRODUCTS, [FLOOR], [WALLS]).plans}


def check(plan: CutPlan) -> None:
    assert plan.bound <= plan.value
    assert plan.waste_area == pytest.approx(plan.offcut_area + plan.kerf_area + plan.scrap_area, abs=0.02)
    total = sum(s.length for s in plan.stock) if plan.form == "length" else sum(s.length * s.width for s in plan.stock)
    assert plan.used_area + plan.waste_area == pytest.approx(total, abs=0.05)
    if total:
        assert plan.waste_share == pytest.approx(plan.waste_area / total, abs=1e-4)


def test_whole_sheets_are_counted_and_the_rest_is_cut() -> None:
    # Two whole sheets; 54 + 54 in fit one sheet of 108 in; the last 60 in needs one more: 4 sheets.
    half = 54 * INCH
    wide = 48 * INCH
    base = [piece("B1", 108 * INCH, wide, whole=True), piece("B2", 108 * INCH, wide, whole=True)]
    base += [piece("B3", half, wide), piece("B4", half, wide), piece("B5", 60 * INCH, wide)]
    plan = plans(floor(base))["base"]
    assert (plan.value, plan.bound, plan.status) == (4, 4, "proven")
    assert sorted(p.piece for s in plan.stock for p in s.pieces) == [f"hall base B{k}" for k in range(1, 6)]
    # 48 × 48 in are left of the last sheet and kept.
    kept = [(o.length, o.width) for s in plan.stock for o in s.offcuts]
    assert kept == [(1219.2, 1219.2)]
    check(plan)


def test_inch_fractions_and_their_stock_are_rounded_alike() -> None:
    # Two pieces of 47 15/16 in and a kerf of 1/8 in fill 96 in with nothing over, whatever mm make of it.
    assert [steps(47.9375 * INCH), steps(L('1/8"').mm), steps(96 * INCH)] == [12176, 32, 24384]
    exact = product("exact", "length", "length", length=L("8'"), kerf=L('1/8"'))
    system = FLOOR.__class__(id="two", name="", layers=[], frame="exact", smallest_width=L('6"'), joint_offset=L('6"'))
    layouts = floor([], frame=[47.9375 * INCH] * 6)
    found = plan_cuts([layouts], {"exact": exact}, [system], []).plans[0]
    assert (found.value, found.bound) == (3, 3)
    check(found)


def test_a_piece_a_hair_short_of_its_stock_is_not_sawn_at_the_stocks_end() -> None:
    # 108 in is 2743.2 mm. 0.2 mm is less than half a sixteenth (0.79 mm): no cut; 1.0 mm can be marked and cut.
    plan = plans(floor([piece("a", 2743.0, 1219.0), piece("b", 2743.0, 600.0), piece("c", 2742.2, 1219.2)]))["base"]
    check(plan)
    ways = {s.pieces[0].piece: [(c.kind, c.a, c.b, c.frees) for c in s.cuts] for s in plan.stock}
    assert ways == {
        "hall base a": [],
        "hall base b": [("rip", (0, 600), (2743.2, 600), ["hall base b"])],
        "hall base c": [("crosscut", (2742.2, 0), (2742.2, 1219.2), ["hall base c"])],
    }
    # The sheet's edge stays on the piece: what is used, kept and scrapped is all of three sheets, nothing is dust.
    assert plan.used_area == pytest.approx(2743.2 * 1219.2 + 2743.2 * 600 + 2742.2 * 1219.2)
    assert plan.offcut_area == pytest.approx(2743.2 * 619.2)
    assert (plan.kerf_area, plan.scrap_area) == (0, pytest.approx(1219.2))


def test_a_timber_a_hair_short_of_its_stock_is_not_sawn() -> None:
    (stock,) = plans(floor([piece("a", 2743.2, 1219.2, whole=True)], frame=[144 * INCH - 0.5]))["timber"].stock
    assert (stock.cuts, stock.pieces[0].length) == ([], 3657.6)


def test_what_was_cut_a_hair_off_still_counts_as_the_piece() -> None:
    cut = MadeCut(
        id="cut-1", product="base", length=2743.2, width=1219.2,
        pieces=[CutPiece(piece="hall base a", x=0, y=0, length=2743.0, width=1219.2)],
    )  # fmt: skip
    rooms = [floor([piece("a", 2743.0, 1219.2)])]
    (plan,) = [p for p in plan_cuts(rooms, PRODUCTS, [FLOOR], [WALLS], made=[cut]).plans if p.product == "base"]
    check(plan)
    assert [(s.source, [p.piece for p in s.pieces]) for s in plan.stock] == [("already cut", ["hall base a"])]


def test_timbers_longer_than_stock_are_butted() -> None:
    # 30 ft of frame from 12 ft lengths: 12 + 12 + 6.
    plan = plans(floor([], frame=[30 * 12 * INCH]))["timber"]
    assert (plan.value, plan.bound) == (3, 3)
    assert [p.piece for s in plan.stock for p in s.pieces] == [
        "hall frame F1 part 1 of 3", "hall frame F1 part 2 of 3", "hall frame F1 part 3 of 3",
    ]  # fmt: skip
    assert sum(p.length for s in plan.stock for p in s.pieces) == pytest.approx(9144)
    check(plan)


def test_a_piece_larger_than_its_stock_is_named() -> None:
    found = plan_cuts([walls([panel("P1", 49 * INCH), panel("P2", 40 * INCH)])], PRODUCTS, [FLOOR], [WALLS])
    assert found.status == "infeasible"
    ply = next(p for p in found.plans if p.product == "ply")
    assert ply.status == "infeasible"
    reason = ply.reasons[0]
    assert (reason.code, reason.where, reason.severity) == ("piece larger than stock", "hall panel P1", "stop")
    assert "may not be turned" in reason.text
    assert [p.piece for s in ply.stock for p in s.pieces] == ["hall panel P2"]


def test_unknown_products_and_missing_sizes_are_stops() -> None:
    found = plan_cuts([floor([piece("B1", 900, 900)])], {}, [FLOOR], [])
    assert (found.status, [r.where for r in found.reasons]) == ("infeasible", ["base"])
    bare = {"base": product("base", "sheet", "sheet")}
    sized = plan_cuts([floor([piece("B1", 900, 900)])], bare, [FLOOR], [])
    assert sized.status == "infeasible"
    assert sized.reasons[0].code == "product size missing"


def test_nothing_to_cut() -> None:
    assert plan_cuts([], PRODUCTS, [FLOOR], [WALLS]).status == "empty"
    assert plan_cuts([RoomLayouts(room="hall")], PRODUCTS, [FLOOR], [WALLS]).plans == []


def test_panels_take_board_foam_and_face() -> None:
    # 48 × 72 in: one plywood sheet, one foam sheet and 80 in of 54 in vinyl each.
    found = plans(walls([panel(f"P{k}", 48 * INCH) for k in range(5)], cleat=20 * 12 * INCH))
    assert {name: plan.value for name, plan in found.items()} == {
        "ply": 5, "foam": 5, "vinyl": pytest.approx(5 * 80 * INCH), "cleat": 3,
    }  # fmt: skip
    for plan in found.values():
        assert plan.status == "proven"
        check(plan)


def test_a_column_wrap_has_no_board_and_foam_enough() -> None:
    wrap = panel("K1.1", 800.0, kind="wrap", board=(0.0, 0.0), face=(2032.0, 950.0))
    # 1 1/2 in foam is laid twice to reach 2 in; 3 in would be laid once.
    assert panel_foam(wrap, WALLS, PRODUCTS["foam"]) == ((1828.8, 800.0), 2)
    thick = product("thick", "sheet", "sheet", thickness=L('3"'))
    assert panel_foam(wrap, WALLS, thick)[1] == 1
    found = plans(walls([], wraps=[wrap]))
    assert "ply" not in found
    assert [p.piece for s in found["foam"].stock for p in s.pieces] == [
        "hall panel K1.1 layer 1", "hall panel K1.1 layer 2",
    ]  # fmt: skip


def test_roll_strips_and_the_rest_of_the_roll() -> None:
    # Strips of 60 and 30 ft at full width: 90 ft of one roll, 10 ft stay on it.
    strips = [piece("T1", 60 * 12 * INCH, 54 * INCH), piece("T2", 30 * 12 * INCH, 54 * INCH)]
    plan = plans(floor([], strips))["top"]
    assert (plan.value, plan.bound, len(plan.stock)) == (pytest.approx(90 * 304.8), pytest.approx(90 * 304.8), 1)
    assert plan.stock[0].offcuts[0].length == pytest.approx(10 * 304.8)
    check(plan)


def test_a_random_job_adds_up_and_repeats_byte_for_byte() -> None:
    draw = random.Random(4)  # noqa: S311
    base = [piece(f"B{k}", draw.uniform(200, 2740), draw.uniform(160, 1219)) for k in range(24)]
    panels = [panel(f"P{k}", draw.uniform(310, 1219)) for k in range(20)]
    rooms = [floor(base, frame=[draw.uniform(500, 20000) for _ in range(8)]), walls(panels)]
    first = plan_cuts(rooms, PRODUCTS, [FLOOR], [WALLS])
    assert to_json(first) == to_json(plan_cuts(rooms, PRODUCTS, [FLOOR], [WALLS]))
    for plan in first.plans:
        check(plan)
    cut = next(p for p in first.plans if p.product == "base")
    assert sorted(p.piece for s in cut.stock for p in s.pieces) == sorted(f"hall base B{k}" for k in range(24))
