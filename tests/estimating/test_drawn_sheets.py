"""Drawings of layouts at print size: nothing runs into anything, nothing is too small to read; DXF read back."""

from __future__ import annotations

import io
import math
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import pytest

from buildout.rooms.engine.drawing import Drawing, TitleBlock
from buildout.rooms.engine.dxf import to_dxf
from buildout.rooms.engine.plan import plan_room
from buildout.rooms.engine.survey import adjust
from buildout.rooms.engine.svg import to_svg
from buildout.rooms.engine.types import Reading, Room, RoomPlan
from buildout.units.lengths import Length, format_length
from buildout.units.value import from_json
from estimating.engine.cover import lay_cover
from estimating.engine.cut_drawing import draw_stock
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.floor import lay_floor
from estimating.engine.fold_away import lay_fold_away
from estimating.engine.frame_drawing import draw_frame
from estimating.engine.layout_drawings import draw_cover, draw_elevation, draw_floor_layer, draw_fold_away
from estimating.engine.types import CoverLayout, Fitout, FoldAwaySystem, Pin, RoomLayouts
from estimating.engine.walls import lay_walls
from tests.drawn import faults

HALL = Path(__file__).parent.parent / "data" / "main_hall.json"
BLOCK = TitleBlock(build="Test build", sheet="Main hall", number="3", revision="2", date="3 Aug 2026")
SHEET = (400.0, 277.0)
"""A3 across less its margins, mm, as printed."""
SHEET_ON_PAPER, LONG_ON_PAPER = 87.0, 182.0
"""Sheets stand two abreast on A4 less its margins, lengths and rolls take its whole width, mm."""


@pytest.fixture(scope="module")
def drawings(rooms: Any, systems: Any) -> dict[str, Drawing]:
    """Every kind of drawing of the L-shaped hall with its two columns, roller door and low wall."""
    plan = rooms.hall()
    products = systems.products()
    system = systems.floor()
    floor = lay_floor(plan, system, products)
    cover = lay_cover(plan, system, floor, products)
    walls = lay_walls(
        plan, systems.walls(), Fitout(room="hall", panelled=["A-B", "C-D", "D-E", "F-A"], removable=["roller-door"]),
        products,
    )  # fmt: skip
    mats = FoldAwaySystem(
        id="f", name="Mats", product="fold-mat", mat_length=systems.inches(96), mat_width=systems.inches(48)
    )
    line = Pin(id="pin-1", layer="base", kind="line", direction="x", y=Length.read("8'"))
    across = Pin(id="pin-2", layer="top", kind="line", direction="y", x=Length.read("12'"))
    sheet = next(piece for piece in floor.layers[0].pieces if piece.whole)
    corner = [Length.read(f"{min(p[k] for p in sheet.outline)} mm") for k in (0, 1)]
    whole = Pin(id="pin-3", layer="base", kind="piece", direction="x", x=corner[0], y=corner[1])
    way = Pin(id="pin-4", layer="base", kind="direction", direction="x")
    made = {
        f"floor {foam.layer}": draw_floor_layer(plan, floor, foam.layer, system=system, block=BLOCK)
        for foam in floor.layers
    }
    for name, layer, pins in (("base", "base", [line, whole]), ("way", "base", [way]), ("top", "top", [across])):
        told = [(pin, "kept") for pin in pins]
        made[f"pinned {name}"] = draw_floor_layer(plan, floor, layer, system=system, pins=told, block=BLOCK)
    made["frame"] = draw_frame(plan, floor, system=system, block=BLOCK)
    ramped = rooms.rectangle(300, 200, ramps=["B-C", "C-D"])
    made["ramps"] = draw_frame(ramped, lay_floor(ramped, system, products), system=system, block=BLOCK)
    made["cover"] = draw_cover(plan, cover, spec=system.cover, contact="owner@example.org", survey="Gate", block=BLOCK)
    made |= {
        f"wall {e.wall}": draw_elevation(plan, walls, e.wall, block=BLOCK) for e in walls.elevations if e.panels
    }  # fmt: skip
    made["fold-away"] = draw_fold_away(plan, lay_fold_away(plan, mats, products), block=BLOCK)
    made["metric base"] = draw_floor_layer(plan, floor, "base", system=system, units="metric", block=BLOCK)
    made["metric top"] = draw_floor_layer(plan, floor, "top", system=system, units="metric", block=BLOCK)
    made["metric frame"] = draw_frame(plan, floor, system=system, units="metric", block=BLOCK)
    made["metric cover"] = draw_cover(plan, cover, spec=system.cover, units="metric", block=BLOCK)
    made["metric wall"] = draw_elevation(plan, walls, "C-D", units="metric", block=BLOCK)
    made["metric fold-away"] = draw_fold_away(plan, lay_fold_away(plan, mats, products), units="metric", block=BLOCK)
    cuts = plan_cuts(
        [RoomLayouts(room="hall", floor=floor, walls=walls)], products, [system], [systems.walls()]
    ).plans  # fmt: skip
    for cut in cuts:
        for stock in cut.stock[:3]:
            made[f"cut {cut.form} {cut.product} {stock.number}"] = draw_stock(cut, stock)
    return made


def printed(name: str, drawing: Drawing) -> str:
    if name.startswith("cut"):
        return to_svg(drawing, width=SHEET_ON_PAPER if " sheet " in name else LONG_ON_PAPER)
    return to_svg(drawing, width=SHEET[0], height=SHEET[1])


def test_every_sheet_can_be_read_as_printed(drawings: dict[str, Drawing]) -> None:
    """No lettering on lettering, under a line, on bare hatching, smaller than 2 mm or off the sheet."""
    found = {name: faults(printed(name, drawing)) for name, drawing in drawings.items()}
    assert {name: wrong for name, wrong in found.items() if wrong} == {}


# ---------------------------------------------------------------- the cover as a CAD file


def bowed_hall(*bows: tuple[str, str, str, str]) -> RoomPlan:
    """The taped hall with walls that bow: (wall, how far along, how much, which way)."""
    room = from_json(Room, HALL.read_bytes())
    read = [
        Reading(id=f"bow-{k}", kind="straightness", start=wall[0], end=wall[1], along=Length.read(along),
                value=Length.read(much), side=way)  # type: ignore[arg-type]
        for k, (wall, along, much, way) in enumerate(bows)
    ]  # fmt: skip
    bowed = msgspec.structs.replace(room, readings=[*room.readings, *read])
    return plan_room(bowed, adjust(bowed))


BOWS = (
    ("FA", "40 ft", "2 in", "in"), ("FA", "15 ft", "1 in", "in"), ("AB", "20 ft", "1 1/2 in", "out"),
    ("BC", "14 ft", "3/4 in", "in"), ("CD", "10 ft", "1 in", "in"), ("EF", "16 ft", "5/8 in", "out"),
)  # fmt: skip
COVERS = {
    "L-shaped hall with columns": lambda rooms: rooms.hall(),
    "room with a ramp and a column": lambda rooms: rooms.rectangle(
        300, 200, ramps=["B-C"], columns=[rooms.square_column("K", (106, 66), 12)]
    ),
    "two columns in one line off the side": lambda rooms: rooms.rectangle(
        400, 300, columns=[rooms.square_column("K1", (150, 80), 12), rooms.round_column("K2", (150, 200), 10)]
    ),
    "hall whose walls bow": lambda rooms: bowed_hall(*BOWS),
}


@pytest.mark.parametrize("hem", [None, 2.0])
@pytest.mark.parametrize("name", COVERS)
def test_the_fabricators_dxf_is_the_engines_cover_to_a_hundredth(
    rooms: Any, systems: Any, name: str, hem: float | None
) -> None:
    """Read back: millimetres, audit clean; every corner of edge and cut-outs, every dimension, every weld."""
    import ezdxf
    from ezdxf import recover

    plan, system = COVERS[name](rooms), systems.floor()
    if hem:
        spec = msgspec.structs.replace(system.cover, hem=systems.inches(hem))
        system = msgspec.structs.replace(system, cover=spec)
    cover = lay_cover(plan, system, None, systems.products())
    drawing = draw_cover(plan, cover, spec=system.cover, block=BLOCK)
    document, auditor = recover.read(io.BytesIO(to_dxf(drawing).encode()))
    assert not auditor.has_errors
    assert not auditor.has_fixes
    assert document.units == ezdxf.units.MM
    assert document.header["$MEASUREMENT"] == 1
    space = document.modelspace()
    corners = [
        (float(p[0]), float(p[1])) for line in space.query("LWPOLYLINE[layer=='COVER']") for p in line.get_points()
    ]  # fmt: skip
    rings = [cover.outline, *cover.cutouts]
    for ring in rings:
        for x, y in ring:
            assert min(math.dist((x, y), corner) for corner in corners) <= 0.01
    assert len(corners) == sum(len(ring) for ring in rings)
    read = space.query("DIMENSION")
    measured = [float(d.get_measurement()) for d in read]
    ring = cover.outline
    wanted = [length for _, length in cover.sides]
    for (_, length), (a, b) in zip(cover.sides, pairwise([*ring, ring[0]]), strict=True):
        assert math.dist(a, b) == pytest.approx(length, abs=0.01)
    wanted += running_by_hand(drawing, cover)
    assert len(read) == len(wanted)
    for length, found in zip(sorted(wanted), sorted(measured), strict=True):
        assert abs(length - found) <= 0.01
    for one, found in zip(read, measured, strict=True):  # what is written is what is measured, to the quarter inch
        assert one.dxf.text == format_length(found, denominator=4)
    welds = [
        [(float(p[0]), float(p[1])) for p in line.get_points()] for line in space.query("LWPOLYLINE[layer=='WELD']")
    ]
    assert len(welds) == len(cover.welds)
    for weld in cover.welds:
        assert min(max(math.dist(weld.a, w[0]), math.dist(weld.b, w[-1])) for w in welds) <= 0.01


def running_by_hand(drawing: Drawing, cover: CoverLayout) -> list[float]:
    """Of each cut-out, its nearest point along and off the side the notes name, with that side turned to the x axis."""
    found = []
    named = [re.search(r"from corner (\d+) along side", note) for note in drawing.notes if note.startswith("Cut-out")]
    for match, cut in zip(named, cover.cutouts, strict=True):
        assert match
        first = int(match[1]) - 1
        a, b = cover.outline[first], cover.outline[(first + 1) % len(cover.outline)]
        turn = complex(b[0] - a[0], b[1] - a[1])
        turned = [complex(x - a[0], y - a[1]) / turn * abs(turn) for x, y in cut]
        found += [min(p.real for p in turned), min(p.imag for p in turned)]
    return found


def test_dimensions_of_a_dxf_lie_in_the_rows_of_the_sheet(rooms: Any, systems: Any) -> None:
    """Two cut-outs measured off one side: their running dimensions and the side's own lie in three rows."""
    import ezdxf

    plan = rooms.rectangle(
        400, 300, columns=[rooms.square_column("K1", (150, 80), 12), rooms.square_column("K2", (250, 80), 12)]
    )
    cover = lay_cover(plan, systems.floor(), None, systems.products())
    drawing = draw_cover(plan, cover, block=BLOCK)
    space = ezdxf.read(io.StringIO(to_dxf(drawing))).modelspace()
    side = next(note for note in drawing.notes if note.startswith("Cut-out 1")).split("along side ")[1].split(" ")[0]
    rows = {
        round(float(d.dxf.defpoint[1]), 1) for d in space.query("DIMENSION")
        if abs(d.dxf.defpoint2[1] - d.dxf.defpoint3[1]) < 0.1 and d.dxf.defpoint[1] < 0
    }  # fmt: skip
    assert side
    assert len(rows) == 3
