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
from estimating.engine.pins import as_it_lies
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
    assert all(r.todo for r in floor.reasons if r.code == "pin-refused")


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
    assert kinds == {"sheet", "strip", "panel", "mat"}
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
