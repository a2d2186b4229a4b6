"""Low-wall caps cut through and column jackets laid flat: every size by hand, on the sheet and in the CAD file."""

from __future__ import annotations

import io
import math
from typing import Any

import msgspec
import pytest

from buildout.rooms.engine.drawing import Circle, Dimension, Drawing, Polygon, Polyline, Text
from buildout.rooms.engine.dxf import to_dxf
from buildout.rooms.engine.svg import to_svg
from buildout.rooms.engine.types import RoomPlan
from estimating.engine.types import Fitout, Product, WallLayout, WallSystem
from estimating.engine.wall_details import capped, draw_cap, draw_wraps
from estimating.engine.walls import lay_walls
from tests.drawn import faults

INCH = 25.4
LOW = [
    {"id": "low", "wall": "B-C", "kind": "low wall", "start": 64, "end": 282, "head": 42, "thickness": 4.625},
    {"id": "gap", "wall": "B-C", "kind": "gap", "start": 282, "end": 357},
]


def made(rooms: Any, systems: Any, *, gap: bool = True) -> tuple[RoomPlan, WallLayout, WallSystem, dict[str, Product]]:
    """A room 432 in wide with a low wall in B–C, two columns, and cleats 3/4 in thick and 3 1/2 wide."""
    columns = [rooms.square_column("K1", (100, 60), 12.25), rooms.round_column("K2", (220, 60), 10.75)]
    plan = rooms.rectangle(432, 300, columns=columns, features=LOW if gap else LOW[:1])
    products = systems.products()
    products["cleat"] = msgspec.structs.replace(
        products["cleat"], thickness=systems.inches(0.75), width=systems.inches(3.5)
    )
    system = systems.walls()
    fitout = Fitout(room="room", panelled=["A-B", "B-C"], column_wraps=True)
    return plan, lay_walls(plan, system, fitout, products), system, products


def boxes(drawing: Drawing, title: str) -> list[tuple[float, float, float, float]]:
    """Inches: left, right, low, high of the polygons of one name."""
    rings = [i.outline for i in drawing.items if isinstance(i, Polygon) and i.title == title]
    return [
        tuple(round(v / INCH, 3) for v in (min(x for x, _ in r), max(x for x, _ in r), min(y for _, y in r),
              max(y for _, y in r)))
        for r in rings
    ]  # type: ignore[misc]  # fmt: skip


def test_cleats_hold_panels_off_the_wall(rooms: Any, systems: Any) -> None:
    """Panel 2 in, cleat 3/4: faces 2 3/4 off the wall, so the neighbour butts 2 7/8 in short at the inside corner.

    The cap reaches over the wall 4 5/8, the panels 2 3/4 and 1/2 beyond: 7 7/8 in deep.
    """
    _, layout, _, _ = made(rooms, systems)
    second = next(e for e in layout.elevations if e.wall == "B-C")
    assert second.panels[0].start / INCH == pytest.approx(2.875, abs=0.001)
    caps = [p for p in second.trims if p.kind == "cap"]
    assert {round(p.height / INCH, 3) for p in caps} == {7.875}
    assert sum(p.width for p in caps) / INCH == pytest.approx(218 + 2.75 + 0.5, abs=0.01)
    assert "2 3/4 in (70 mm)" in next(r.text for r in layout.reasons if r.code == "walls-stand-off")


def test_the_section_of_a_cap_by_hand(rooms: Any, systems: Any) -> None:
    """Across the wall, inches from its far face and above the slab.

    Low wall 0–4 5/8, up to 42. Cleat 4 5/8–5 3/8 in the plane of both rails, 3 1/2 high about 5 below the panel's top;
    panel board 5 3/8–5 7/8, foam to 7 3/8, top at 2 3/4 + 39 = 41 3/4. Cap board 0–7 7/8, 42–42 3/4; foam to 44 1/4.
    """
    plan, layout, system, products = made(rooms, systems)
    drawing = draw_cap(plan, layout, system, products, low_wall="low")
    low = boxes(drawing, "Low wall low")[0][2]
    assert boxes(drawing, "Low wall low")[0] == (0, 4.625, low, 42)
    assert boxes(drawing, "Panel board")[0] == (5.375, 5.875, low, 41.75)
    assert boxes(drawing, "Panel foam")[0] == (5.875, 7.375, low, 41.75)
    assert boxes(drawing, "Cap board")[0] == (0, 7.875, 42, 42.75)
    assert boxes(drawing, "Cap foam")[0] == (0, 7.875, 42.75, 44.25)
    rails = [*boxes(drawing, "Cleat, wall rail")[:1], *boxes(drawing, "Cleat, panel rail")[:1]]
    assert {(a, b) for a, b, _, _ in rails} == {(4.625, 5.375)}
    assert (min(r[2] for r in rails), max(r[3] for r in rails)) == (36.75 - 1.75, 36.75 + 1.75)
    cap = next(i for i in drawing.items if isinstance(i, Polyline) and i.title.startswith("Face of the cap"))
    assert [(round(x / INCH, 3), round(y / INCH, 3)) for x, y in cap.points] == [
        (1, 42), (0, 42), (0, 44.25), (7.875, 44.25), (7.875, 42), (6.875, 42),
    ]  # fmt: skip
    along = [p for p, q in zip(cap.points, cap.points[1:], strict=False) for p in (math.dist(p, q),)]
    assert sum(along) == pytest.approx(layout.elevations[1].trims[-1].face[1], abs=0.02)  # the blank, edge to edge


def test_the_free_end_is_cut_along_the_wall(rooms: Any, systems: Any) -> None:
    """The end panel's face stands 2 3/4 in past the wall's end, the cap 1/2 in past that."""
    plan, layout, system, products = made(rooms, systems)
    drawing = draw_cap(plan, layout, system, products, low_wall="low")
    wall_end = boxes(drawing, "Low wall low")[1][1]
    assert boxes(drawing, "Panel foam")[1][1] - wall_end == pytest.approx(2.75, abs=0.002)
    assert boxes(drawing, "Cap board")[1][1] - wall_end == pytest.approx(3.25, abs=0.002)
    plan, layout, system, products = made(rooms, systems, gap=False)
    assert len(boxes(draw_cap(plan, layout, system, products, low_wall="low"), "Cap board")) == 1


def test_what_a_section_writes_is_what_its_cad_file_measures(rooms: Any, systems: Any) -> None:
    import ezdxf
    from ezdxf import recover

    plan, layout, system, products = made(rooms, systems)
    drawing = draw_cap(plan, layout, system, products, low_wall="low")
    document, auditor = recover.read(io.BytesIO(to_dxf(drawing).encode()))
    assert not auditor.has_errors
    assert document.units == ezdxf.units.MM
    read = sorted(round(float(d.get_measurement()) / INCH, 3) for d in document.modelspace().query("DIMENSION"))
    across = [4.625, 2.75, 0.75, 0.5, 1.5, 0.5, 7.875, 0.75, 1.5, 5, 0.25]
    along = [0.75, 0.5, 1.5, 2.75, 0.5, 3.25]
    assert read == pytest.approx(sorted(across + along), abs=0.001)
    written = [d.text for d in drawing.items if isinstance(d, Dimension)]
    assert written.count('7 7/8"') == 1
    assert written.count('4 5/8"') == 1
    told = " ".join(drawing.notes)
    assert "3 sections alike" in told
    assert "turned back 1 in under the long edges, 2 in under the ends" in told


def test_jackets_by_hand(rooms: Any, systems: Any) -> None:
    """Foam 2 × 1 1/2 in. Square 12 1/4: 4 × 18 1/4 = 73 in round, two parts of 36 1/2. Round 10 3/4: 16 3/4 across."""
    plan, layout, system, products = made(rooms, systems)
    drawing = draw_wraps(plan, layout, system, products)
    outside = boxes(drawing, "Jacket of K1")[0]
    assert outside[1] - outside[0] == pytest.approx(18.25, abs=0.01)
    rings = {round(2 * i.radius / INCH, 3) for i in drawing.items if isinstance(i, Circle)}
    assert rings == {10.75, 16.75}
    parts = [b for i in drawing.items if isinstance(i, Polygon) and i.title.startswith("K1.") for b in
             boxes(drawing, i.title)]  # fmt: skip
    assert [b[1] - b[0] for b in parts] == pytest.approx([36.5, 36.5])
    written = {d.text for d in drawing.items if isinstance(d, Dimension)}
    assert {"6' 1\"", "3' 0 1/2\"", "6' 0\"", "4' 4 5/8\""} <= written
    assert "face 6' 10\" × 3' 5 1/2\"" in " ".join(drawing.notes)  # 72 + 2 × (3 + 2) by 36 1/2 + 3 lap + 2 × 1
    assert [t.text for t in drawing.items if isinstance(t, Text)].count("first seam") == 2


@pytest.mark.parametrize("units", ["feet-inches", "metric"])
def test_details_can_be_read_as_printed(rooms: Any, systems: Any, units: Any) -> None:
    plan, layout, system, products = made(rooms, systems)
    for drawing in (
        draw_cap(plan, layout, system, products, low_wall="low", units=units),
        draw_wraps(plan, layout, system, products, units=units),
    ):
        assert faults(to_svg(drawing, width=400, height=277)) == []
        if units == "metric":
            words = [*drawing.notes, *(i.text for i in drawing.items if isinstance(i, Text | Dimension))]
            assert not [w for w in words if " in " in w.replace(" in all", "") or '"' in w]


def test_what_is_not_there_cannot_be_drawn(rooms: Any, systems: Any) -> None:
    """No thickness of the low wall, no cap to cut through; no columns, no jackets."""
    features = [{**LOW[0], "thickness": 4.625}, LOW[1]]
    del features[0]["thickness"]
    plan = rooms.rectangle(432, 300, features=features)
    layout = lay_walls(plan, systems.walls(), Fitout(room="room", panelled=["B-C"]), systems.products())
    assert capped(layout.elevations[0], plan) == []
    with pytest.raises(KeyError):
        draw_cap(plan, layout, systems.walls(), systems.products(), low_wall="low")
    with pytest.raises(KeyError):
        draw_wraps(plan, layout, systems.walls(), systems.products())
