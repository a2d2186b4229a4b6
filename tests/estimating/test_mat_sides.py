"""What stands at each side of a mat: hand-solved rectangles, what cannot stand there, and the drawing of it."""

from __future__ import annotations

import math
from typing import Any

import msgspec
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from buildout.rooms.engine.svg import to_svg
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.floor import lay_floor
from estimating.engine.frame_run import Timbers, frame_pieces
from estimating.engine.mat_shape import mat_shape
from estimating.engine.mat_sides import mat_sides
from estimating.engine.screening import screen_floor
from estimating.engine.sides_drawing import draw_sides
from estimating.engine.types import FoamLayer, RoomLayouts, SideChoice

INCH = 25.4
BASE_ONLY = [FoamLayer(product="base", role="base")]


def said(**edges: str) -> list[SideChoice]:
    return [SideChoice(side=side, edge=edge) for side, edge in edges.items()]  # type: ignore[arg-type]


def side_on(plan: Any, wall: str) -> str:
    return str(next(edge.id for edge in plan.mat_edges if edge.along == wall))


def loose(systems: Any, **more: Any) -> Any:
    """One layer, no cover, 3 1/2 in timber, 1/2 in gap, 12 in ramp."""
    return msgspec.structs.replace(systems.floor(layers=BASE_ONLY), cover=None, **more)


def split(plan: Any, wall: str, at: float) -> Any:
    """The plan with one of its sides in two, ``at`` inches from where the side begins."""
    edges = []
    for edge in plan.mat_edges:
        if edge.along != wall:
            edges.append(edge)
            continue
        share = at * INCH / edge.length
        mid = tuple(edge.a[k] + (edge.b[k] - edge.a[k]) * share for k in (0, 1))
        change = msgspec.structs.replace
        edges += [
            change(edge, id=f"{edge.id}a", b=mid, length=at * INCH),
            change(edge, id=f"{edge.id}b", a=mid, length=edge.length - at * INCH),
        ]
    return msgspec.structs.replace(plan, mat_edges=edges)


# ---------------------------------------------------------------- what is usual, and other edges


def test_what_a_system_usually_puts_there(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(200, 100, ramps=["B-C"])
    edges = {side.along: (side.against, side.edge, side.chosen) for side in mat_sides(plan, loose(systems))[0]}
    assert edges == {
        "A-B": ("wall", "frame", False), "B-C": ("open", "ramp", False),
        "C-D": ("wall", "frame", False), "D-A": ("wall", "frame", False),
    }  # fmt: skip
    walked_on = {s.along: s.edge for s in mat_sides(plan, loose(systems, framed="walk-on edges"))[0]}
    assert walked_on == {"A-B": "foam", "B-C": "ramp", "C-D": "foam", "D-A": "foam"}
    bare = loose(systems, frame="", frame_width=None, ramp="", ramp_run=None)
    assert {side.edge for side in mat_sides(plan, bare)[0]} == {"foam"}


def test_one_wall_without_timber(rooms: Any, systems: Any) -> None:
    """200 × 100 in, foam up to the 200 in wall B–C: timber 199 + 99 + 99, less 3 1/2 at each of two corners: 390 in.

    Two ways: the field is 192 × 95 1/2 in, and 199 × 99 less 390 × 3 1/2 is the same.
    """
    plan = rooms.rectangle(200, 100)
    layout = lay_floor(
        plan, loose(systems), systems.products(), choices=[SideChoice(side=side_on(plan, "B-C"), edge="foam")]
    )
    assert layout.frame_length == pytest.approx(390 * INCH)
    assert layout.layers[0].area == pytest.approx(192 * 95.5 * INCH**2)
    assert 199 * 99 - 390 * 3.5 == 192 * 95.5
    assert {side.along: (side.edge, side.chosen) for side in layout.sides}["B-C"] == ("foam", True)
    assert not any(reason.code.startswith("side") for reason in layout.reasons)


def test_the_frame_ends_within_a_straight_side(rooms: Any, systems: Any) -> None:
    """B–C in two, 80 in of it without timber: 199 − 79 1/2 is left there, the corner it ends at takes no lap.

    119 1/2 + 99 + 99 + 199 less three laps of 3 1/2 is 506 in; 506 × 3 1/2 is what the field lacks of 199 × 99.
    """
    plan = split(rooms.rectangle(200, 100), "B-C", 80)
    name = next(edge.id for edge in plan.mat_edges if edge.id.endswith("a"))
    layout = lay_floor(plan, loose(systems), systems.products(), choices=[SideChoice(side=name, edge="foam")])
    assert layout.frame_length == pytest.approx(506 * INCH)
    field = shapely.Polygon(layout.field).area
    assert field == pytest.approx((199 * 99 - 506 * 3.5) * INCH**2)
    assert layout.layers[0].area == pytest.approx(field)


def test_a_frame_where_a_ramp_is_usual(rooms: Any, systems: Any) -> None:
    """The step stays square: no ramp is cut or bought, it is said, and the screening asks for one."""
    plan = rooms.rectangle(200, 100, ramps=["B-C"])
    system, products = loose(systems), systems.products()
    name = side_on(plan, "B-C")
    usual = lay_floor(plan, system, products)
    layout = lay_floor(plan, system, products, choices=[SideChoice(side=name, edge="frame")])
    assert (usual.ramp_length, layout.ramp_length) == (pytest.approx(200 * INCH), 0.0)
    assert layout.frame_length == usual.frame_length  # a ramp stands before the timber, not in its place
    assert [r.severity for r in layout.reasons if r.code == "floor-step"] == ["note"]
    assert not [r for r in layout.reasons if r.code in ("floor-ramp", "floor-no-ramp")]
    edge = screen_floor(plan, system, layout, products).edges[0]
    assert (edge.edge, edge.need, edge.run_stated, edge.verdict) == (name, "ramp", 0.0, "look at it")
    before, after = (
        {cut.product: cut for cut in plan_cuts([RoomLayouts(room="room", floor=floor)], products, [system], []).plans}
        for floor in (usual, layout)
    )
    assert "wedge" in before
    assert "wedge" not in after
    assert sum(p.length for p in layout.frame) == pytest.approx(after["timber"].used_area)


def test_a_square_strip_is_a_step_until_the_owner_chooses_a_ramp(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(200, 150, keep_clear={"aisle": [(140, -9), (209, -9), (209, 159), (140, 159)]})
    square = [
        msgspec.structs.replace(edge, kind="square") if edge.along == "aisle" else edge for edge in plan.mat_edges
    ]
    plan = msgspec.structs.replace(plan, mat_edges=square)
    assert lay_floor(plan, loose(systems), systems.products()).ramp_length == 0
    name = side_on(plan, "aisle")
    layout = lay_floor(plan, loose(systems), systems.products(), choices=[SideChoice(side=name, edge="ramp")])
    assert layout.ramp_length == pytest.approx(150 * INCH)


# ---------------------------------------------------------------- what cannot stand there


@pytest.mark.parametrize(
    ("wall", "edge", "change", "why", "way_out"),
    [
        ("A-B", "ramp", {}, "the wall is there", "keep a strip along the wall clear"),
        ("B-C", "foam", {}, "foam that nothing holds", "frame timber or a ramped edge"),
        ("B-C", "ramp", {"ramp": "", "ramp_run": None}, "has no ramped edge", "goods of a ramp"),
        ("A-B", "frame", {"frame": "", "frame_width": None}, "has no frame timber", "frame timber in the floor system"),
    ],
)
def test_what_makes_no_sense_is_named_and_left_as_usual(
    rooms: Any, systems: Any, wall: str, edge: Any, change: dict[str, Any], why: str, way_out: str
) -> None:
    plan = rooms.rectangle(200, 100, ramps=["B-C"])
    system, name = loose(systems, **change), side_on(plan, wall)
    layout = lay_floor(plan, system, systems.products(), choices=[SideChoice(side=name, edge=edge)])
    told = next(reason for reason in layout.reasons if reason.code == "side-refused")
    assert (told.where, told.severity) == (name, "warning")
    assert why in told.text
    assert way_out in told.todo
    assert layout.sides == mat_sides(plan, system)[0]


def test_a_side_that_is_no_longer_there(rooms: Any, systems: Any) -> None:
    layout = lay_floor(rooms.rectangle(200, 100), loose(systems), systems.products(), choices=said(e9="foam"))
    told = next(reason for reason in layout.reasons if reason.code == "side-unknown")
    assert "e9" in told.text
    assert "choose again" in told.todo


def without_room(plan: Any, system: Any) -> list[str]:
    return [reason.where for reason in mat_sides(plan, system)[1] if reason.code == "side-no-room"]


def test_a_ramp_needs_room_in_front_of_it(rooms: Any, systems: Any) -> None:
    """12 in of ramp run into the wall across an aisle of 11 in, not across one of 13, but into a column 9 in off."""
    system = loose(systems)

    def hall(aisle: float, **more: Any) -> Any:
        return rooms.rectangle(
            200, 150, keep_clear={"aisle": [(200 - aisle, -9), (209, -9), (209, 159), (200 - aisle, 159)]}, **more
        )

    narrow = hall(11)
    sides, reasons = mat_sides(narrow, system)
    aisle = next(side for side in sides if side.along == "aisle")
    assert aisle.room_in_front == pytest.approx(11 * INCH, abs=0.1)
    assert [reason.where for reason in reasons] == [aisle.id]
    assert "11 in (279 mm)" in reasons[0].text
    assert "frame timber" in reasons[0].todo
    assert without_room(hall(13), system) == []
    column = rooms.square_column("K", (200 - 60 + 9 + 5, 75), 10)
    assert len(without_room(hall(60, columns=[column]), system)) == 1
    assert without_room(hall(60), system) == []
    assert mat_sides(hall(11), system, [SideChoice(side=aisle.id, edge="frame")])[1] == []  # the way out


def test_ramps_that_stand_in_each_others_way(rooms: Any, systems: Any) -> None:
    """A landing of 48 × 54 in holds three ramps of 12 in; at 30 in the mitres of the middle one cross, 54 < 2 × 30.

    One of 48 × 20 in is too narrow for two that face each other.
    """

    def landing(wide: float) -> Any:
        return rooms.rectangle(200, 150, keep_clear={"landing": [(-9, 50), (48, 50), (48, 50 + wide), (-9, 50 + wide)]})

    assert without_room(landing(54), loose(systems)) == []
    assert without_room(landing(54), loose(systems, ramp_run=systems.inches(30)))
    assert without_room(landing(20), loose(systems))
    ends = [side for side in mat_sides(landing(54), loose(systems))[0] if side.along == "landing"]
    assert sorted(round(side.room_in_front / INCH) for side in ends if side.room_in_front) == [48, 54, 54]


# ---------------------------------------------------------------- any choice


@given(
    width=st.integers(60, 400), depth=st.integers(60, 300), cut=st.integers(10, 50),
    edges=st.lists(st.sampled_from(["", "frame", "foam"]), min_size=5, max_size=5),
)  # fmt: skip
def test_timber_is_what_the_field_lacks(
    rooms: Any, systems: Any, width: int, depth: int, cut: int, edges: list[str]
) -> None:
    """Whatever is framed: lengths × width = outer face − field, on square corners; no timber where foam runs on."""
    plan = split(rooms.rectangle(width, depth), "B-C", cut)
    wanted = [
        SideChoice(side=edge.id, edge=choice)  # type: ignore[arg-type]
        for edge, choice in zip(plan.mat_edges, edges, strict=True)
        if choice
    ]
    system = loose(systems)
    sides, reasons = mat_sides(plan, system, wanted)
    assert reasons == []
    shape = mat_shape(plan, system, sides)
    assert shape is not None
    pieces = frame_pieces(shape, 3.5 * INCH, Timbers("frame", [], None))
    timber = sum(piece.length for piece in pieces) * 3.5 * INCH
    assert timber == pytest.approx(shape.outer.area - shape.field.area, abs=1)
    bare = [shapely.LineString([side.a, side.b]) for side in sides if side.edge == "foam"]
    for piece in pieces:
        mid = shapely.Point((piece.a[0] + piece.b[0]) / 2, (piece.a[1] + piece.b[1]) / 2)
        along = shapely.LineString([piece.a, piece.b])
        assert not any(line.buffer(0.6 * INCH, cap_style="flat").intersection(along).length > 4 * INCH for line in bare
                       if line.distance(mid) < 0.6 * INCH)  # fmt: skip


# ---------------------------------------------------------------- drawn


def test_every_side_stands_on_the_drawing_by_name(rooms: Any, systems: Any) -> None:
    plan = rooms.hall()
    sides, _ = mat_sides(plan, systems.floor())
    drawing = draw_sides(plan, sides, system=systems.floor())
    lettering = {item.text.split("\n")[0] for item in drawing.items if hasattr(item, "text")}
    assert lettering == {side.id for side in sides}
    ramps = [item for item in drawing.items if getattr(item, "role", "") == "ramp"]
    assert len(ramps) == sum(side.edge == "ramp" for side in sides)
    # two ways: the ramps' outlines, and length × run with the mitres at the landing's inner corners taken off
    area = sum(shapely.Polygon(item.outline).area for item in ramps)
    straight = sum(side.length for side in sides if side.edge == "ramp") * 12 * INCH
    assert area == pytest.approx(straight - 2 * (12 * INCH) ** 2, rel=2e-3)
    assert math.isfinite(area)
    assert "<svg" in to_svg(drawing)
