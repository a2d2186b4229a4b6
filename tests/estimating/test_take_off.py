"""The take-off: net, allowance and waste apart and adding up, traced, in purchase units; and task quantities."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from buildout.rooms.engine.types import Column, PlacedColumn, PlacedFeature, PlanWall, Reading, Room, RoomPlan
from buildout.units.lengths import Length
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.take_off import take_off
from estimating.engine.types import (
    CleatLine,
    CoverLayout,
    CoverSpec,
    Fitout,
    FloorLayout,
    FloorSystem,
    FoamLayer,
    FoamLayout,
    FoldAwayLayout,
    FramePiece,
    Need,
    Panel,
    Piece,
    Product,
    RoomLayouts,
    TakeOff,
    TakeOffLine,
    WallElevation,
    WallLayout,
    WallSystem,
)

L = Length.read
D = Decimal
FOOT = 304.8
INCH = 25.4


def product(id_: str, form: str, unit: str, **more: Any) -> Product:
    return Product(**({"id": id_, "name": id_.title(), "form": form, "unit": unit, "head": 8} | more))


PRODUCTS = {
    p.id: p
    for p in (
        product("base", "sheet", "sheet", length=L("8'"), width=L("4'"), lead_group="foam"),
        product("top", "roll", "roll", length=L("100'"), width=L("4'"), lead_group="foam"),
        product("timber", "length", "length", length=L("12'"), kerf=L('1/8"'), lead_group="timber"),
        product("ramp", "made to drawing", "running foot", lead_group="timber", head=10),
        product("barrier", "roll", "roll", length=L("100'"), width=L("10'")),
        product("tape", "roll", "roll", length=L("180'"), width=L('3"')),
        product("hook", "roll", "roll", length=L("75'"), width=L('4"'), lead_group="panel"),
        product("cover", "made to drawing", "square foot", head=9, lead_group="cover"),
        product("ply", "sheet", "sheet", length=L("8'"), width=L("4'"), turns=False, head=11, lead_group="timber"),
        product("foam", "sheet", "sheet", length=L('81"'), width=L('54"'), thickness=L('2"'), head=11,
                lead_group="panel"),
        product("vinyl", "roll", "running yard", length=L("150'"), width=L('54"'), turns=False, head=11,
                lead_group="panel"),
        product("cleat", "length", "length", length=L("8'"), head=11, lead_group="panel"),
        product("anchors", "each", "box", per_pack=50, head=11, lead_group="panel"),
        product("glue", "volume", "gallon", spread=D("7.5"), head=11, lead_group="panel"),
        product("mat", "each", "each", head=21, lead_group="foam"),
        product("paint", "volume", "gallon", spread=D(28), head=7),
        product("gloves", "each", "pair", head=20),
    )
}  # fmt: skip
FLOOR = FloorSystem(
    id="two", name="Two", layers=[FoamLayer(product="base", role="base"),
                                  FoamLayer(product="top", role="top", taped=True)],
    cover=CoverSpec(product="cover", goods_width=L('61"'), weld_lap=L('1"'), band_width=L('4"'), mass_per_area=D(1)),
    frame="timber", ramp="ramp", barrier="barrier", tape="tape", hook_tape="hook",
    smallest_width=L('6"'), joint_offset=L('6"'),
)  # fmt: skip
WALLS = WallSystem(
    id="panels", name="Panels", module=L("4'"), height=L("6'"), low_height=L('39"'), thickness=L('2"'),
    bottom=L('2"'), narrowest_end=L("1'"), reveal=L('1"'), board="ply", foam="foam", face="vinyl", foam_edge=L('1/8"'),
    turn_back_side=L('1"'), turn_back_end=L('2"'), cleat="cleat", anchor="anchors", anchor_spacing=L('16"'),
    adhesive="glue",
)  # fmt: skip


def piece(id_: str, length: float, width: float, *, whole: bool = False) -> Piece:
    ring = [(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)]
    return Piece(id=id_, layer="base", row=1, outline=ring, area=length * width, box=(length, width), whole=whole)


def layer(role: str, pieces: list[Piece], joints: float) -> FoamLayout:
    return FoamLayout(
        layer=role, product=role, direction="x", origin=(0.0, 0.0), pieces=pieces, joints=[], joint_length=joints,
        area=sum(p.area for p in pieces), sheets_bound=1,
    )  # fmt: skip


# A field of 16 × 8 ft: four whole base sheets, two top strips of 16 ft, and one base offcut of 8 × 1 ft by the ramp.
BASE = [piece(f"B{k}", 8 * FOOT, 4 * FOOT, whole=True) for k in range(1, 5)] + [piece("B5", 8 * FOOT, FOOT)]
TOP = [piece("T1", 16 * FOOT, 4 * FOOT), piece("T2", 16 * FOOT, 4 * FOOT)]
HALL = RoomLayouts(
    room="hall",
    floor=FloorLayout(
        room="hall", system="two", status="proven", bound=5, value=5, field=[], holes=[],
        layers=[layer("base", BASE, 32 * FOOT), layer("top", TOP, 16 * FOOT)],
        frame=[FramePiece(id="F1", edge="A-B", length=16 * FOOT, kind="frame"),
               FramePiece(id="F2", edge="B-C", length=8 * FOOT, kind="frame"),
               FramePiece(id="R1", edge="C-D", length=8 * FOOT, kind="ramp")],
        frame_length=24 * FOOT, ramp_length=8 * FOOT, edge_length=48 * FOOT, cutouts=1,
        mat_area=136 * FOOT * FOOT, thickness=60.0, mass_per_area=2.0, reasons=[],
    ),
    cover=CoverLayout(
        room="hall", status="proven", product="cover",
        outline=[(0, 0), (16 * FOOT, 0), (16 * FOOT, 8 * FOOT), (0, 8 * FOOT)],
        cutouts=[[(FOOT, FOOT), (2 * FOOT, FOOT), (2 * FOOT, 2 * FOOT), (FOOT, 2 * FOOT)]], direction=(1, 0),
        strips=[], welds=[], weld_length=0.0, bound=0.0, band_length=52 * FOOT, area=127 * FOOT * FOOT,
        goods_length=0.0, mass=20.0, rolled_diameter=0.0, roll_length=0.0, carriers=2, sides=[], diagonals=[],
        reasons=[],
    ),
    walls=WallLayout(
        room="hall", system="panels", status="proven", wraps=[], full_count=3, low_count=0, special_count=0,
        panel_run=12 * FOOT, panel_area=72 * FOOT * FOOT, reasons=[],
        elevations=[
            WallElevation(
                wall="A-B", length=16 * FOOT, free=[], cleat_length=12 * FOOT, cap_length=0.0,
                cleats=[
                    CleatLine(kind="cleat", height=6 * FOOT, start=0.0, end=12 * FOOT, spacing=16 * 25.4, fixings=10)
                ],
                panels=[
                    Panel(id=f"P{k}", wall="A-B", kind="full", start=0.0, width=4 * FOOT, bottom=50.0, height=6 * FOOT,
                          board=(6 * FOOT, 4 * FOOT), face=(80 * INCH, 54 * INCH))
                    for k in range(1, 4)
                ],
            )
        ],
    ),
)  # fmt: skip
PLAN = RoomPlan(
    room="hall", name="Hall", status="proven", outline=[], corners={},
    walls=[
        PlanWall(id=name, a=(0, 0), b=(1, 0), length=length * FOOT, construction=kind, height=10 * FOOT, inward=(0, 1))
        for name, length, kind in (("A-B", 17, "masonry"), ("B-C", 9, "stud"), ("C-D", 17, "stud"), ("D-A", 9, "stud"))
    ],
    columns=[PlacedColumn(id="K1", shape="round", centre=(0, 0), outline=[])],
    features=[
        PlacedFeature(id="door", kind="door", wall="A-B", start=0.0, end=3 * FOOT, a=(0, 0), b=(1, 0), sill=0.0,
                      head=7 * FOOT, clear_width=None, swing="in")
    ],
    keep_clear={}, mat_field=[], mat_edges=[], floor_area=153 * FOOT * FOOT, mat_area=136 * FOOT * FOOT, reasons=[],
)  # fmt: skip
ROOM = Room(
    id="hall", name="Hall", corners=["A", "B", "C", "D"], marks=["M"], columns=[Column(id="K1", shape="round")],
    readings=[
        Reading(id=ends, start=ends[0], end=ends[1], value=L("10'")) for ends in ("AB", "BC", "CD", "DA", "AC", "AM")
    ],
)  # fmt: skip
CHILDREN = RoomLayouts(
    room="children",
    fold_away=FoldAwayLayout(
        room="children", system="fold", product="mat", status="proven", mats=[], count=6,
        covered=192 * FOOT * FOOT, uncovered=0.0, mass=0.0, reasons=[],
    ),
)  # fmt: skip


def counted(
    layouts: list[RoomLayouts] | None = None, needs: list[Need] | None = None, stated: dict[str, Any] | None = None,
    products: dict[str, Product] | None = None,
) -> TakeOff:  # fmt: skip
    rooms = [HALL, CHILDREN] if layouts is None else layouts
    known = PRODUCTS if products is None else products
    cuts = plan_cuts(rooms, known, [FLOOR], [WALLS])
    quantities = {name: D(str(amount)) for name, amount in (stated or {}).items()}
    fitouts = [Fitout(room="hall", floor="two", walls="panels", panelled=["A-B"], column_wraps=True)]
    return take_off([ROOM], [PLAN], rooms, cuts, fitouts, [FLOOR], [WALLS], known, needs or [], quantities)


def by_item(found: TakeOff) -> dict[str, TakeOffLine]:
    return {line.item: line for line in found.lines}


def test_every_line_adds_up_and_can_be_followed_back() -> None:
    needs = [Need(id="n1", product="paint", quantity=D(3), unit="gallon", why="walls")]
    found = counted(needs=needs)
    assert found.lines
    for line in found.lines:
        assert line.net + line.allowance + line.waste == line.quantity
        assert min(line.net, line.allowance, line.waste) >= 0
        assert line.quantity == line.quantity.to_integral_value()
        assert sum(step.amount for step in line.trace) == pytest.approx(float(line.quantity), abs=1e-9)
        assert line.trace[0].source
    base = by_item(found)["base"]
    assert base.trace[0].pieces == ["B1", "B2", "B3", "B4", "B5"]
    assert base.trace[0].room == "hall"


def test_quantities_in_purchase_units_by_hand() -> None:
    found = by_item(counted())
    # Base: 136 sq ft laid ÷ 32 = 4.25 sheets, five bought. Top: 32 ft drawn of a 100 ft roll.
    assert (found["base"].net, found["base"].waste, found["base"].quantity) == (D("4.250"), D("0.750"), D(5))
    assert (found["top"].net, found["top"].quantity) == (D("0.320"), D(1))
    # Frame 24 ft of 12 ft lengths: 2.000 net, 12 + 4 butted from 16, and 8: three, the 4 and 8 share with a kerf over.
    assert found["timber"].net == D("2.000")
    assert found["timber"].quantity == D(3)
    assert (found["ramp"].net, found["ramp"].quantity, found["ramp"].head) == (D("8.000"), D(8), 10)
    # Barrier 136 sq ft of 1000 sq ft rolls; laps 136 · 6 / (120 − 6) = 7.158 sq ft are allowance.
    assert (found["barrier"].net, found["barrier"].allowance) == (D("0.136"), D("0.007"))
    # Tape on the 16 ft of top joints only, 5 % over, 180 ft to a roll.
    assert (found["tape"].net, found["tape"].allowance) == (D("0.089"), D("0.004"))
    # Hook tape opposite 52 ft of band, 75 ft to a roll.
    assert (found["hook"].net, found["hook"].quantity) == (D("0.693"), D(1))
    cover = found["cover"]
    assert (cover.net, cover.quantity, cover.cutouts, cover.band) == (D("127.000"), D(127), 1, D("52.0"))


def test_panels_keep_allowance_apart_from_net() -> None:
    found = by_item(counted())
    # Three panels of 24 sq ft on 32 sq ft sheets, one each.
    assert (found["ply"].net, found["ply"].allowance, found["ply"].quantity) == (D("2.250"), D(0), D(3))
    # Vinyl: 72 sq ft of face ÷ 13.5 = 5.333 running yd; blanks 3 × 80 in = 6.667 yd; 7 bought.
    vinyl = found["vinyl"]
    assert (vinyl.net, vinyl.allowance, vinyl.quantity) == (D("5.333"), D("1.333"), D(7))
    # Foam a quarter inch larger both ways: 3 · (72.25 · 48.25 − 72 · 48) / (81 · 54) = 0.0207 of a sheet.
    assert (found["foam"].allowance, found["foam"].quantity) == (D("0.021"), D(3))
    # 72 sq ft = 6.689 m² at 7.5 m² a gallon, both faces counted by the maker.
    assert (found["glue"].net, found["glue"].quantity) == (D("0.892"), D(1))
    # 12 ft of cleat on masonry, an anchor every 16 in and one more: 10 of a box of 50.
    assert (found["anchors"].net, found["anchors"].quantity) == (D("0.200"), D(1))
    assert (found["cleat"].net, found["cleat"].quantity) == (D("1.500"), D(2))
    assert found["mat"].quantity == D(6)


def test_stated_needs_are_converted_and_joined() -> None:
    needs = [
        Need(id="n1", product="gloves", quantity=D(7), unit="each", why="left hands too"),
        Need(id="n2", product="gloves", quantity=D(2), unit="pair"),
        Need(id="n3", product="nothing", quantity=D(2), unit="each"),
    ]
    found = counted(layouts=[], needs=needs)
    gloves = by_item(found)["gloves"]
    assert (gloves.net, gloves.quantity) == (D("5.500"), D(6))  # 3.5 + 2 pairs
    assert found.status == "infeasible"
    assert [(r.code, r.where) for r in found.reasons if r.severity == "stop"] == [("unknown product", "n3")]


def test_a_need_beyond_reason_is_refused() -> None:
    found = counted(layouts=[], needs=[Need(id="n1", product="paint", quantity=D("1e30"), unit="gallon")])
    assert [(r.code, r.where) for r in found.reasons] == [("need too large", "n1")]
    assert found.lines == []


def test_a_size_that_is_missing_is_asked_for() -> None:
    bare = PRODUCTS | {"tape": product("tape", "roll", "roll")}
    found = counted(products=bare)
    assert found.status == "infeasible"
    stop = next(r for r in found.reasons if r.severity == "stop")
    assert (stop.code, stop.where) == ("size missing", "tape")


def test_nothing_asked() -> None:
    found = take_off([], [], [], plan_cuts([], {}, [], []), [], [], [], {}, [], {})
    assert (found.status, found.lines, found.reasons) == ("empty", [], [])
    assert found.drivers["1"] == 1.0
    assert found.drivers["mat.area"] == 0.0


def test_drivers_by_hand() -> None:
    drivers = counted().drivers
    expected = {
        "1": 1, "room.floor_area": 153, "all.floor_area": 153, "mat.area": 136, "base.area": 136, "top.area": 128,
        "frame.length": 24, "ramp.length": 8, "base.edge_length": 48, "top.edge_length": 48, "top.joint_length": 16,
        "floor.cutouts": 1, "cover.area": 127, "cover.perimeter": 48, "cover.weight": 20 / 0.45359237,
        "panel.count": 3, "panel.full_count": 3, "panel.special_count": 0, "wall.panel_run": 12,
        "cleat.masonry_length": 12, "cleat.stud_length": 0, "fold.area": 192, "column.count": 1, "lowwall.length": 0,
        "mat.and_panel_area": 136 + 192 + 72,
        "survey.ties": 2,  # A–C and A–M; the walls are not ties
        "survey.check_readings": 6,  # four walls, two diagonals
        "room.features": 1, "wall.stations": 3,
        "foam.pieces": 5 + 1 + 6,  # base sheets, top roll, mats
        "timber.pieces": 3 + 3 + 3 + 2 + 1,  # timbers, ply, panel foam, cleats, hook tape
        "reveal.length": 12,  # two jambs, 6 ft of panel
        "wall.paint_area": 52 * 10 - 21, "paint.edge_length": 104, "paint.mask_length": 52, "floor.paint_area": 17,
    }  # fmt: skip
    for name, amount in expected.items():
        assert drivers[name] == pytest.approx(amount, abs=0.01), name


def test_stated_quantities_win_and_say_so() -> None:
    found = counted(stated={"mat.area": 200, "strip.area": 900, "ramp.length": 8})
    assert (found.drivers["mat.area"], found.drivers["strip.area"]) == (200.0, 900.0)
    assert [(r.where, r.severity) for r in found.reasons] == [("mat.area", "note")]
