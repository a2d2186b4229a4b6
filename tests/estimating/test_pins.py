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
from estimating.engine.types import Fitout, Pin, Product, RoomLayouts
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
        Pin(id="roll", layer="top", kind="piece", direction="x", x=inches(10), y=inches(10)),
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
