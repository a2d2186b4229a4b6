"""Pins: honoured, or refused by name. Positions worked out by hand."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildout.units.lengths import Length
from estimating.engine.cover import lay_cover
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.floor import lay_floor
from estimating.engine.fold_away import lay_fold_away
from estimating.engine.pinned_runs import Run, divide, evenly, shares
from estimating.engine.pins import as_it_lies
from estimating.engine.pins import refusals as why
from estimating.engine.take_off import take_off
from estimating.engine.types import Fitout, FoldAwaySystem, Pin, Product, RoomLayouts
from estimating.engine.walls import lay_walls

INCH = 25.4


def inches(value: float) -> Length:
    return Length(f"{value:g} in", Decimal(str(value)) * Decimal("25.4"))


def refusals(reasons: list[Any]) -> list[str]:
    return [r.where for r in reasons if r.code == "pin-refused"]


def test_a_pinned_line_is_a_course_line(rooms: Any, systems: Any) -> None:
    plan, products = rooms.rectangle(300, 240), systems.products()
    pin = Pin(id="p1", layer="base", kind="line", direction="x", y=inches(100))
    floor = lay_floor(plan, systems.floor(), products, [pin])
    base = floor.layers[0]
    assert base.direction == "x"
    # Courses are 48 in wide, so lines lie at 100 + 48 k inches.
    lines = {round(j.a[1] / INCH, 1) for j in base.joints if abs(j.a[1] - j.b[1]) < 0.01}
    assert 100.0 in lines
    assert all(abs((line - 100) % 48) < 0.1 or abs((line - 100) % 48 - 48) < 0.1 for line in lines)
    assert refusals(floor.reasons) == []


def test_a_pinned_sheet_lies_where_it_is_pinned(rooms: Any, systems: Any) -> None:
    plan, products = rooms.rectangle(400, 300), systems.products()
    pin = Pin(id="p1", layer="base", kind="piece", direction="y", x=inches(70), y=inches(90))
    floor = lay_floor(plan, systems.floor(), products, [pin])
    corners = {
        (round(min(x for x, _ in p.outline) / INCH, 2), round(min(y for _, y in p.outline) / INCH, 2))
        for p in floor.layers[0].pieces if p.whole
    }  # fmt: skip
    assert (70.0, 90.0) in corners
    assert floor.layers[0].direction == "y"
    assert refusals(floor.reasons) == []


def test_pins_that_contradict_are_named(rooms: Any, systems: Any) -> None:
    plan, products = rooms.rectangle(400, 300), systems.products()
    pins = [
        Pin(id="first", layer="base", kind="line", direction="x", y=inches(100)),
        Pin(id="turned", layer="base", kind="direction", direction="y"),
        Pin(id="close", layer="base", kind="line", direction="x", y=inches(110)),
        Pin(id="same", layer="base", kind="line", direction="x", y=inches(148)),
        Pin(id="outside", layer="base", kind="piece", direction="x", x=inches(390), y=inches(100)),
        Pin(id="middle", layer="middle", kind="direction", direction="x"),
        Pin(id="no-such", layer="top", kind="product", product="nothing"),
        Pin(id="roll", layer="top", kind="piece", direction="x", x=inches(10), y=inches(500)),
    ]
    floor = lay_floor(plan, systems.floor(), products, pins)
    assert sorted(refusals(floor.reasons)) == ["close", "middle", "no-such", "outside", "roll", "turned"]
    assert floor.layers[0].direction == "x"
    told = {r.where: r for r in floor.reasons if r.code == "pin-refused"}
    assert all(r.todo for r in told.values())
    assert all("pin first" in told[name].text for name in ("close", "turned", "outside"))


def test_a_pinned_product_is_laid(rooms: Any, systems: Any) -> None:
    plan, products = rooms.rectangle(300, 240), systems.products()
    thick: Product = msgspec.structs.replace(products["base"], id="thick", width=inches(60))
    floor = lay_floor(
        plan, systems.floor(), products | {"thick": thick}, [Pin(id="p", layer="base", kind="product", product="thick")]
    )
    assert floor.layers[0].product == "thick"


@settings(max_examples=12, deadline=None)
@given(st.integers(30, 200), st.sampled_from(["x", "y"]))
def test_any_line_inside_holds_and_the_areas_add_up(rooms: Any, systems: Any, at: int, direction: Any) -> None:
    plan, products = rooms.rectangle(260, 230), systems.products()
    place: dict[str, Any] = {"y": inches(at)} if direction == "x" else {"x": inches(at)}
    pin = Pin(id="p", layer="base", kind="line", direction=direction, **place)
    floor = lay_floor(plan, systems.floor(), products, [pin])
    base = floor.layers[0]
    axis = 1 if direction == "x" else 0
    assert base.direction == direction
    assert any(abs(j.a[axis] - at * INCH) < 1 and abs(j.b[axis] - at * INCH) < 1 for j in base.joints)
    assert sum(p.area for p in base.pieces) == pytest.approx(base.area, abs=1)


def test_wall_module_and_joint(rooms: Any, systems: Any) -> None:
    plan, products = rooms.rectangle(300, 240), systems.products()
    pins = [
        Pin(id="m", layer="walls", kind="module", wall="B-C", module=inches(40)),
        Pin(id="j", layer="walls", kind="line", wall="B-C", x=inches(110)),
    ]
    walls = lay_walls(plan, systems.walls(), Fitout(room="room", walls="panels", panelled=["B-C"], pins=pins), products)
    (elevation,) = walls.elevations
    starts = [round(p.start / INCH, 2) for p in elevation.panels]
    # From the joint at 110 in whole panels of 40 in both ways: 30 | 70 | 110 | 150 | … and end panels at the corners.
    assert starts == [0.0, 30.0, 70.0, 110.0, 150.0, 190.0, 230.0, 270.0]
    assert sum(p.width for p in elevation.panels) == pytest.approx(300 * INCH, abs=0.05)
    assert refusals(walls.reasons) == []


def test_a_pinned_strip_lies_where_it_is_pinned(rooms: Any, systems: Any) -> None:
    """Strips off a 54 in roll: one with its edge 70 in across puts course lines at 70 + 54 k, so at 16, 70, 124."""
    plan, products = rooms.rectangle(400, 300), systems.products()
    pins = [
        Pin(id="held", layer="top", kind="piece", direction="x", x=inches(40), y=inches(70)),
        Pin(id="next", layer="top", kind="piece", direction="x", x=inches(40), y=inches(124)),
        Pin(id="off", layer="top", kind="piece", direction="x", x=inches(40), y=inches(90)),
        Pin(id="nowhere", layer="top", kind="piece", direction="x", y=inches(70)),
    ]
    floor = lay_floor(plan, systems.floor(), products, pins)
    lows = {round(min(y for _, y in p.outline) / INCH, 1) for p in floor.layers[1].pieces}
    assert {16.0, 70.0, 124.0} <= lows
    assert sorted(refusals(floor.reasons)) == ["nowhere", "off"]


def test_a_pinned_panel_hangs_where_it_is_pinned(rooms: Any, systems: Any) -> None:
    """300 in of wall, a panel of 40 at 100: 100 in are left before it and 160 after it, filled as ever."""
    plan, products = rooms.rectangle(300, 240), systems.products()
    pins = [Pin(id="p", layer="walls", kind="piece", wall="B-C", x=inches(100), module=inches(40))]
    for start in ("opening", "corner", "middle"):
        system = msgspec.structs.replace(systems.walls(), start=start)
        fitout = Fitout(room="room", panelled=["B-C"], pins=pins)
        layout = lay_walls(plan, system, fitout, products)
        (elevation,) = layout.elevations
        shown = [(round(p.start / INCH, 2), round(p.width / INCH, 2)) for p in elevation.panels]
        assert (100.0, 40.0) in shown
        assert sum(p.width for p in elevation.panels) == pytest.approx(300 * INCH, abs=0.05)
        assert min(p.width for p in elevation.panels) >= 12 * INCH
        assert refusals(layout.reasons) == []


def test_pinned_panels_that_cannot_hang(rooms: Any, systems: Any) -> None:
    door = {"id": "way-out", "wall": "B-C", "kind": "door", "start": 100, "end": 136, "head": 82}
    plan, products = rooms.rectangle(300, 240, features=[door]), systems.products()

    def pin(name: str, x: float | None, wide: float | None) -> Pin:
        return Pin(id=name, layer="walls", kind="piece", wall="B-C", x=None if x is None else inches(x),
                   module=None if wide is None else inches(wide))  # fmt: skip

    pins = [
        pin("held", 150, 48), pin("over", 180, 48), pin("door", 90, 30), pin("wide", 20, 60), pin("slip", 5, 48),
        pin("nowhere", None, 48), pin("sizeless", 20, None), pin("past", 280, 48),
    ]  # fmt: skip
    walls = lay_walls(plan, systems.walls(), Fitout(room="room", panelled=["B-C"], pins=pins), products)
    assert sorted(refusals(walls.reasons)) == ["door", "nowhere", "over", "past", "sizeless", "slip", "wide"]
    assert (150.0, 48.0) in [(round(p.start / INCH, 2), round(p.width / INCH, 2)) for p in walls.elevations[0].panels]
    assert all(r.todo for r in walls.reasons if r.code == "pin-refused")


def test_a_pinned_mat_lies_where_it_is_pinned(rooms: Any, systems: Any) -> None:
    """200 × 150 in, mats of 96 × 48: free, 2 × 3 lie along. One pinned 100 across the other way leaves columns of 48
    from 100 both ways: 4 to 52, 52 to 100, 100 to 148, 148 to 196, one mat high each.
    """
    plan, products = rooms.rectangle(200, 150), systems.products()
    fold = FoldAwaySystem(
        id="fold", name="Mats", product="fold-mat", mat_length=systems.inches(96), mat_width=systems.inches(48)
    )
    assert lay_fold_away(plan, fold, products).count == 6
    pins = [
        Pin(id="p", layer="fold-away", kind="piece", direction="y", x=inches(100), y=inches(20)),
        Pin(id="same", layer="fold-away", kind="piece", x=inches(52), y=inches(20)),
        Pin(id="other", layer="fold-away", kind="piece", x=inches(60), y=inches(20)),
        Pin(id="vague", layer="fold-away", kind="line", direction="x"),
    ]
    layout = lay_fold_away(plan, fold, products, pins=pins)
    corners = sorted((round(min(x for x, _ in m) / INCH), round(min(y for _, y in m) / INCH)) for m in layout.mats)
    assert corners == [(4, 20), (52, 20), (100, 20), (148, 20)]
    assert sorted(refusals(layout.reasons)) == ["other", "vague"]
    # Wanting fewer keeps the pinned one; a pin off the field is refused and the mats lie as they would without.
    few = lay_fold_away(plan, fold, products, wanted=Decimal("2.5"), pins=pins[:1])
    assert [(round(m[0][0] / INCH), few.count) for m in few.mats] == [(100, 1)]
    outside = Pin(id="out", layer="fold-away", kind="piece", x=inches(150), y=inches(120))
    refused = lay_fold_away(plan, fold, products, pins=[outside])
    assert (refused.count, refusals(refused.reasons)) == (6, ["out"])


@settings(max_examples=15, deadline=None)
@given(st.floats(0, 100), st.floats(0, 100), st.sampled_from(["x", "y"]))
def test_any_mat_inside_holds(rooms: Any, systems: Any, x: float, y: float, way: Any) -> None:
    plan, products = rooms.rectangle(200, 200), systems.products()
    fold = FoldAwaySystem(
        id="fold", name="Mats", product="fold-mat", mat_length=systems.inches(96), mat_width=systems.inches(48)
    )
    pin = Pin(id="p", layer="fold-away", kind="piece", direction=way, x=inches(round(x, 2)), y=inches(round(y, 2)))
    layout = lay_fold_away(plan, fold, products, pins=[pin])
    assert refusals(layout.reasons) == []
    across = 0 if way == "y" else 1
    spans = {round(max(p[across] for p in m) - min(p[across] for p in m), 1) for m in layout.mats}
    assert spans == {round(48 * INCH, 1)}


def test_what_lies_is_pinned_and_stays(rooms: Any, systems: Any) -> None:
    """Everything offered as it lies holds when pinned: strips, panels and mats, one by one."""
    products = systems.products()
    plan = rooms.rectangle(252, 192)
    fold = FoldAwaySystem(
        id="fold", name="Mats", product="fold-mat", mat_length=systems.inches(96), mat_width=systems.inches(48)
    )
    made = RoomLayouts(
        room="room", floor=lay_floor(plan, systems.floor(), products),
        walls=lay_walls(plan, systems.walls(), Fitout(room="room"), products),
        fold_away=lay_fold_away(plan, fold, products),
    )  # fmt: skip
    offered = [(told, pin) for _, found in as_it_lies(made, "metric", products) for told, pin in found]
    kinds = {told.split()[0] for told, pin in offered if pin.kind == "piece"}
    assert kinds == {"sheet", "strip", "panel", "mat", "timber"}
    for told, given_pin in offered:
        pin = msgspec.structs.replace(given_pin, id="p")
        if pin.kind != "piece" or told.startswith("sheet"):
            continue
        if pin.layer == "walls":
            reasons = lay_walls(plan, systems.walls(), Fitout(room="room", pins=[pin]), products).reasons
        elif pin.layer == "fold-away":
            reasons = lay_fold_away(plan, fold, products, pins=[pin]).reasons
        else:
            reasons = lay_floor(plan, systems.floor(), products, [pin]).reasons
        assert refusals(reasons) == [], (told, [r.text for r in reasons if r.code == "pin-refused"])


def test_wall_pins_that_cannot_hold(rooms: Any, systems: Any) -> None:
    door = {"id": "way-out", "wall": "B-C", "kind": "door", "start": 100, "end": 136, "head": 82}
    plan, products = rooms.rectangle(300, 240, features=[door]), systems.products()
    pins = [
        Pin(id="door", layer="walls", kind="line", wall="B-C", x=inches(120)),
        Pin(id="far", layer="walls", kind="line", wall="B-C", x=inches(500)),
        Pin(id="wide", layer="walls", kind="module", wall="B-C", module=inches(60)),
        Pin(id="nowhere", layer="walls", kind="module", wall="Q-R", module=inches(40)),
    ]
    walls = lay_walls(plan, systems.walls(), Fitout(room="room", walls="panels", panelled=["B-C"], pins=pins), products)
    assert sorted(refusals(walls.reasons)) == ["door", "far", "nowhere", "wide"]


def test_a_joint_in_the_corner_behind_the_neighbours_panels(rooms: Any, systems: Any) -> None:
    """B–C gives way 2 1/8 in to the panels on A–B: a joint 1 in from B cannot be, one 50 in from it can."""
    plan, products = rooms.rectangle(300, 240), systems.products()
    pins = [Pin(id=name, layer="walls", kind="line", wall="B-C", x=inches(at)) for name, at in (("in", 1), ("out", 50))]
    walls = lay_walls(plan, systems.walls(), Fitout(room="room", walls="panels", pins=pins), products)
    assert refusals(walls.reasons) == ["in"]
    assert "stand in the corner" in next(r.text for r in walls.reasons if r.where == "in")


def test_a_joint_where_no_panel_fits(rooms: Any, systems: Any) -> None:
    """A door 8 in from the corner leaves no panel there, so a joint pinned 4 in along holds nothing."""
    door = {"id": "way-out", "wall": "B-C", "kind": "door", "start": 8, "end": 44, "head": 82}
    plan, products = rooms.rectangle(300, 240, features=[door]), systems.products()
    pins = [Pin(id="sliver", layer="walls", kind="line", wall="B-C", x=inches(4))]
    walls = lay_walls(plan, systems.walls(), Fitout(room="room", walls="panels", pins=pins), products)
    assert "too narrow" in next(r.text for r in walls.reasons if r.where == "sliver")


def test_weld_direction(rooms: Any, systems: Any) -> None:
    plan, products = rooms.rectangle(400, 240), systems.products()
    free = lay_cover(plan, systems.floor(), None, products)
    # The long way needs fewer welds; pinned across it they are more, and the bound is that of the pinned direction.
    assert abs(free.direction[0]) == pytest.approx(1, abs=0.001)
    pin = Pin(id="p", layer="cover", kind="direction", wall="A-B")
    across = lay_cover(plan, systems.floor(), None, products, [pin])
    assert abs(across.direction[1]) == pytest.approx(1, abs=0.001)
    assert across.weld_length >= free.weld_length
    both = lay_cover(
        plan, systems.floor(), None, products, [pin, Pin(id="q", layer="cover", kind="direction", direction="x")]
    )
    assert refusals(both.reasons) == ["q"]


def test_a_pinned_face_is_cut_and_counted(rooms: Any, systems: Any) -> None:
    """Two walls of whole panels: with another vinyl pinned all blanks come off that roll, and the board stays."""
    products = systems.products()
    products["vinyl-b"] = msgspec.structs.replace(products["vinyl"], id="vinyl-b", name="Other vinyl")
    pins = [
        Pin(id="p", layer="walls", kind="product", product="vinyl-b"),
        Pin(id="q", layer="walls", kind="product", product="clouds"),
        Pin(id="r", layer="walls", kind="product", product="fold-mat"),
    ]
    plan = rooms.rectangle(192, 300)
    fitout = Fitout(room="room", panelled=["B-C"], pins=pins)
    layout = lay_walls(plan, systems.walls(), fitout, products)
    assert layout.pinned == {"face": "vinyl-b"}
    assert [r.where for r in layout.reasons if r.code == "pin-refused"] == ["q", "r"]
    cuts = plan_cuts([RoomLayouts(room="room", walls=layout)], products, [], [systems.walls()])
    assert {"vinyl-b", "ply"} <= {p.product for p in cuts.plans}
    assert "vinyl" not in {p.product for p in cuts.plans}


# ---------------------------------------------------------------- caps, ends, wraps, timbers


def piece(layer: str, name: str, where: str, x: float | None, wide: float | None) -> Pin:
    return Pin(id=name, layer=layer, kind="piece", wall=where, x=None if x is None else inches(x),
               module=None if wide is None else inches(wide))  # fmt: skip


def joint(layer: str, name: str, where: str, x: float) -> Pin:
    return Pin(id=name, layer=layer, kind="line", wall=where, x=inches(x))


LOW = [
    {"id": "low", "wall": "B-C", "kind": "low wall", "start": 64, "end": 282, "head": 42, "thickness": 4.625},
    {"id": "gap", "wall": "B-C", "kind": "gap", "start": 282, "end": 357},
]


def hung(rooms: Any, systems: Any, *pins: Pin, **more: Any) -> Any:
    plan = rooms.rectangle(400, 300, features=LOW, columns=[rooms.square_column("K1", (150, 150), 12)])
    fitout = Fitout(room="room", panelled=["B-C"], pins=list(pins), **more)
    return lay_walls(plan, systems.walls(), fitout, systems.products())


def told(reasons: list[Any]) -> dict[str, str]:
    return {r.where: r.text for r in reasons if r.code == "pin-refused"}


def test_a_pinned_section_of_a_cap(rooms: Any, systems: Any) -> None:
    """The cap is 220 1/2 in long from 64: in threes it would be 73 1/2. A section of 60 from 100 leaves 36 and 124 1/2.

    Its foam is cut from 81 in less 1/4, so a section is 80 3/4 at most: 124 1/2 in two of 62 1/4.
    """
    layout = hung(rooms, systems, piece("caps", "p", "B-C", 100, 60))
    caps = [(round(p.start / INCH, 2), round(p.width / INCH, 2)) for p in layout.elevations[0].trims if p.kind == "cap"]
    assert caps == [(64.0, 36.0), (100.0, 60.0), (160.0, 62.25), (222.25, 62.25)]
    assert told(layout.reasons) == {}
    cut = hung(rooms, systems, joint("caps", "j", "B-C", 154))
    marks = [round(p.start / INCH, 2) for p in cut.elevations[0].trims if p.kind == "cap"]
    assert 154.0 in marks
    assert told(cut.reasons) == {}


def test_sections_of_a_cap_that_cannot_hold(rooms: Any, systems: Any) -> None:
    pins = [
        piece("caps", "held", "B-C", 100, 60), piece("caps", "over", "B-C", 150, 40),
        piece("caps", "long", "B-C", 170, 90), piece("caps", "slip", "B-C", 70, 24),
        piece("caps", "before", "B-C", 10, 30), piece("caps", "other", "A-B", 10, 30),
        piece("caps", "short", "B-C", 170, 5), piece("caps", "sizeless", "B-C", 170, None),
        Pin(id="way", layer="caps", kind="direction", wall="B-C", direction="x"),
    ]  # fmt: skip
    found = told(hung(rooms, systems, *pins).reasons)
    assert sorted(found) == ["before", "long", "other", "over", "short", "sizeless", "slip", "way"]
    assert "overlaps the cap section of pin held" in found["over"]
    assert "its goods allow" in found["long"]
    assert "too short for a cap section" in found["slip"]
    assert "no cap lies there" in found["before"]
    assert "gets no panels" in found["other"]


def test_a_pinned_end_of_a_low_wall_is_held_while_it_lies_there(rooms: Any, systems: Any) -> None:
    """4 5/8 in of wall and 2 of panel: 6 5/8 wide, at 282 in."""
    pins = [
        piece("ends", "held", "B-C", 282, 6.625), piece("ends", "moved", "B-C", 270, 6.625),
        piece("ends", "thin", "B-C", 282, 5), piece("ends", "none", "C-D", 282, 6.625),
        joint("ends", "line", "B-C", 282),
    ]  # fmt: skip
    found = told(hung(rooms, systems, *pins).reasons)
    assert sorted(found) == ["line", "moved", "none", "thin"]
    assert "6 5/8 in" in found["moved"]
    assert "Name one of B-C" in next(
        r.todo for r in hung(rooms, systems, *pins).reasons if r.where == "none" and r.code == "pin-refused"
    )


def test_a_pinned_part_of_a_column_s_jacket(rooms: Any, systems: Any) -> None:
    """Column 12 in square, foam twice 1 1/2: 48 + 8 × 3 = 72 in round. Goods 54 less 3 lap, 2 turned back: 49 a part.

    Free it is two of 36. A part of 45 from the first seam leaves 27; one of 52 is too wide for the goods.
    """
    free = hung(rooms, systems, column_wraps=True)
    assert [round(p.width / INCH, 2) for p in free.wraps] == [36.0, 36.0]
    layout = hung(rooms, systems, piece("wraps", "p", "K1", 0, 45), column_wraps=True)
    assert [(round(p.start / INCH, 2), round(p.width / INCH, 2)) for p in layout.wraps] == [(0.0, 45.0), (45.0, 27.0)]
    assert [round(p.face[1] / INCH, 2) for p in layout.wraps] == [50.0, 32.0]
    assert told(layout.reasons) == {}
    seam = hung(rooms, systems, joint("wraps", "j", "K1", 24), column_wraps=True)
    assert [round(p.width / INCH, 2) for p in seam.wraps] == [24.0, 48.0]
    pins = [
        piece("wraps", "wide", "K1", 0, 52), piece("wraps", "past", "K1", 40, 40), piece("wraps", "slip", "K1", 1, 45),
        piece("wraps", "nobody", "K9", 0, 40),
        Pin(id="goods", layer="wraps", kind="product", wall="K1", product="vinyl"),
    ]  # fmt: skip
    assert sorted(told(hung(rooms, systems, *pins, column_wraps=True).reasons)) == sorted(p.id for p in pins)
    bare = told(hung(rooms, systems, piece("wraps", "bare", "K1", 0, 45)).reasons)
    assert "column K1 gets no wrap" in bare["bare"]


def test_a_pinned_timber_lies_where_it_is_pinned(rooms: Any, systems: Any) -> None:
    """Room 300 × 240, frame 1/2 in off the walls: a run of 299 less one timber's 3 1/2, 295 1/2, from 12 ft timbers.

    Free: 144 + 75 3/4 + 75 3/4 (151 1/2 left after one: the last two are evened, since 7 1/2 is too short). One of
    100 pinned 60 from the start leaves 60 and 135 1/2.
    """
    plan, products = rooms.rectangle(300, 240), systems.products()
    free = lay_floor(plan, systems.floor(), products)
    edge = next(e.id for e in plan.mat_edges if e.along == "B-C")

    def lengths(floor: Any) -> list[float]:
        return [round(p.length / INCH, 2) for p in floor.frame if p.edge == edge]

    assert lengths(free) == [144.0, 75.75, 75.75]
    pinned = lay_floor(plan, systems.floor(), products, [piece("frame", "p", edge, 60, 100)])
    assert lengths(pinned) == [60.0, 100.0, 135.5]
    assert told(pinned.reasons) == {}
    assert pinned.frame_length == pytest.approx(free.frame_length, abs=0.05)
    for one, two in zip(pinned.frame, pinned.frame[1:], strict=False):
        if one.edge == two.edge == edge:
            assert one.b == pytest.approx(two.a, abs=0.02)
    split = lay_floor(plan, systems.floor(), products, [joint("frame", "j", edge, 100)])
    assert lengths(split) == [100.0, 144.0, 51.5]


def test_timbers_that_cannot_hold(rooms: Any, systems: Any) -> None:
    plan, products = rooms.rectangle(300, 240, ramps=["A-B"]), systems.products()
    edge = next(e.id for e in plan.mat_edges if e.along == "B-C")
    ramp = next(e.id for e in plan.mat_edges if e.kind == "ramp")
    pins = [
        piece("frame", "held", edge, 60, 100), piece("frame", "over", edge, 100, 80),
        piece("frame", "long", edge, 0, 150), piece("frame", "past", edge, 250, 100),
        piece("frame", "stub", edge, 170, 100), piece("frame", "short", edge, 170, 10),
        piece("frame", "nowhere", "Q-R 1", 0, 100), piece("frame", "vague", edge, None, 100),
        joint("frame", "end", edge, 295.5), Pin(id="way", layer="frame", kind="direction", wall=edge, direction="x"),
        Pin(id="foam", layer="frame", kind="product", product="base"),
        piece("ramp", "toe", ramp, 0, 100), piece("ramp", "flat", edge, 0, 100),
    ]  # fmt: skip
    floor = lay_floor(plan, systems.floor(), products, pins)
    found = told(floor.reasons)
    assert sorted(found) == ["end", "flat", "foam", "long", "nowhere", "over", "past", "short", "stub", "vague", "way"]
    assert [round(p.length / INCH) for p in floor.frame if p.kind == "ramp"] == [100, 140]
    assert all(r.todo for r in floor.reasons if r.code == "pin-refused")


def test_pinned_timber_and_cap_boards_are_cut_and_counted(rooms: Any, systems: Any) -> None:
    products = systems.products()
    products["oak"] = msgspec.structs.replace(products["timber"], id="oak", name="Oak", length=inches(192))
    products["plank"] = msgspec.structs.replace(products["cap"], id="plank", name="Plank", width=inches(8))
    plan = rooms.rectangle(400, 300, features=LOW)
    pins = [
        Pin(id="p", layer="frame", kind="product", product="oak"),
        Pin(id="q", layer="caps", kind="product", product="plank"),
    ]
    floor = lay_floor(plan, systems.floor(), products, pins)
    walls = lay_walls(plan, systems.walls(), Fitout(room="room", panelled=["B-C"], pins=pins), products)
    assert (floor.pinned, walls.pinned) == ({"frame": "oak"}, {"cap": "plank"})
    assert max(p.length for p in floor.frame) == pytest.approx(192 * INCH)
    layouts = [RoomLayouts(room="room", floor=floor, walls=walls)]
    cuts = plan_cuts(layouts, products, [systems.floor()], [systems.walls()])
    cut = {plan.product for plan in cuts.plans}
    assert {"oak", "plank"} <= cut
    assert not {"timber", "cap"} & cut
    counted = take_off([], [plan], layouts, cuts, [], [systems.floor()], [systems.walls()], products, [], {})
    lines = {line.item for line in counted.lines}
    assert {"oak", "plank"} <= lines
    assert not {"timber", "cap"} & lines


@settings(max_examples=40, deadline=None)
@given(
    st.integers(700, 9000), st.integers(900, 4000),
    st.lists(st.tuples(st.integers(-200, 9000), st.integers(0, 4500), st.booleans()), max_size=5),
)  # fmt: skip
def test_any_run_is_whole_whatever_is_pinned(length: int, longest: int, wishes: list[tuple[int, int, bool]]) -> None:
    """Pieces lie end to end over the run, none longer than its goods, and every pin is held or named, never both."""
    run = Run(length, longest, 300, "timber")
    pins = [
        Pin(id=f"p{k}", layer="frame", kind="line" if line else "piece", x=Length(f"{x} mm", Decimal(x)),
            module=None if line else Length(f"{wide} mm", Decimal(wide)))
        for k, (x, wide, line) in enumerate(wishes)
    ]  # fmt: skip
    parts, reasons = divide(run, pins)
    pieces = shares(parts, evenly(longest))
    ends = [0.0, *(at + long for at, long in pieces)]
    assert [at for at, _ in pieces] == pytest.approx(ends[:-1], abs=0.02)
    assert ends[-1] == pytest.approx(length, abs=0.02)
    assert all(0 < long <= longest + 0.02 for _, long in pieces)
    named = {r.where for r in reasons}
    for pin in pins:
        at, end = float(pin.x or 0), float(pin.x or 0) + float(pin.module or 0)
        if pin.kind == "line":
            there = any(abs(at - mark) <= 1.01 for mark in ends[1:-1])
        else:
            there = any(abs(at - a) <= 1.01 and abs(end - a - long) <= 1.01 for a, long in pieces)
        assert there or pin.id in named


def test_a_refusal_follows_what_was_asked_not_the_name(rooms: Any, systems: Any) -> None:
    """Two pins of one name, and one whose place was changed since: each is told by what it asks for."""
    plan, products = rooms.rectangle(300, 240), systems.products()
    held = Pin(id="a", layer="base", kind="line", direction="x", y=inches(100))
    lost = Pin(id="a", layer="base", kind="line", direction="x", y=inches(110))
    floor = lay_floor(plan, systems.floor(), products, [held, lost])
    layouts = RoomLayouts(room="room", floor=floor)
    first, second = why(layouts, [held, lost])
    assert first is None
    assert second is not None
    renamed = msgspec.structs.replace(lost, id="b", why="Said again")
    (again,) = why(layouts, [renamed])
    assert again is not None
    assert why(layouts, [msgspec.structs.replace(held, id="b")]) == [None]
    nothing = lay_floor(rooms.rectangle(6, 6), systems.floor(), products, [held])
    (refusal,) = why(RoomLayouts(room="room", floor=nothing), [held])
    assert refusal is not None
    assert "no floor could be laid" in refusal.text
