"""Every quantity counted twice: from the pieces, and from the geometry, which know nothing of each other."""

from __future__ import annotations

import json
import math
from collections import Counter
from datetime import date
from decimal import Decimal
from importlib.resources import files
from typing import Any

import msgspec
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildout.changes.engine.reading import check_plan
from buildout.changes.engine.starters import starter_plan, starter_systems
from estimating.engine.cover import lay_cover
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.floor import lay_floor
from estimating.engine.fold_away import lay_fold_away
from estimating.engine.mat_shape import GRID
from estimating.engine.take_off import take_off
from estimating.engine.types import CutPlans, Fitout, FloorLayout, FoamLayer, Pin, Product, RoomLayouts
from estimating.engine.walls import lay_walls

INCH = 25.4


def joints_by_outlines(layout: FloorLayout, number: int) -> float:
    """Joints are edges that two pieces share: half of what all outlines have beyond the field's own."""
    field = shapely.Polygon(layout.field, layout.holes)
    pieces = [shapely.Polygon(p.outline) for p in layout.layers[number].pieces]
    return (sum(p.length for p in pieces) - field.length) / 2


def conserved(cuts: CutPlans) -> None:
    """Pieces, left-overs, dust and scrap are the stock, to 0.01 mm² for every mm² of it that can be told."""
    for plan in cuts.plans:
        flat = plan.form == "length"
        stock = sum(s.length * (1 if flat else s.width) for s in plan.stock)
        total = plan.used_area + plan.offcut_area + plan.kerf_area + plan.scrap_area
        assert total == pytest.approx(stock, abs=0.01)
        pieces = sum(p.length * (1 if flat else p.width) for s in plan.stock for p in s.pieces)
        assert plan.used_area == pytest.approx(pieces, abs=0.01 if not flat else 0.1)


def test_the_hall_counted_twice(rooms: Any, systems: Any) -> None:
    plan = rooms.hall()
    products: dict[str, Product] = systems.products()
    system = systems.floor()
    fitout = Fitout(room="hall", panelled=["A-B", "B-C", "C-D", "D-E"], removable=["roller-door"])
    floor = lay_floor(plan, system, products)
    cover = lay_cover(plan, system, floor, products)
    walls = lay_walls(plan, systems.walls(), fitout, products)
    layouts = [RoomLayouts(room="hall", floor=floor, cover=cover, walls=walls)]
    cuts = plan_cuts(layouts, products, [system], [systems.walls()])
    conserved(cuts)
    counted = take_off([], [plan], layouts, cuts, [fitout], [system], [systems.walls()], products, [], {})
    lines = {line.item: line for line in counted.lines}
    field = shapely.Polygon(floor.field, floor.holes)
    outer = shapely.Polygon(floor.outer)

    # Foam: pieces cut, and the field's area by the shoelace formula.
    for number, item, size in ((0, "base", 108 * 48), (1, "top", 1200 * 54)):
        net = float(lines[item].net) * size * INCH**2
        assert net == pytest.approx(field.area, rel=2e-3)
        assert floor.layers[number].area == pytest.approx(field.area, abs=GRID * (field.length + 1000))
    # Tape: joint lines, and half of the outlines' lengths.
    for number, layer in enumerate(floor.layers):
        assert layer.joint_length == pytest.approx(joints_by_outlines(floor, number), rel=2e-3)
    assert floor.layers[1].tape_length == floor.layers[1].joint_length
    # Frame: timbers by length, and the ring they fill by area; corners a little out of square take what they take.
    # The frame runs on round columns' notches only where they reach the edge; here they do not.
    ring = outer.area - shapely.Polygon(floor.field).area
    assert sum(p.length for p in floor.frame if p.kind == "frame") * 3.5 * INCH == pytest.approx(ring, rel=2e-3)
    assert float(lines["timber"].net) * 144 * INCH * 3.5 * INCH == pytest.approx(ring, rel=5e-3)
    # Ramp: pieces less what mitres add, and the plan's edges. Its three sides at the landing meet at inner corners.
    ramp = sum(p.length for p in floor.frame if p.kind == "ramp")
    assert ramp == pytest.approx(sum(e.length for e in plan.mat_edges if e.kind == "ramp"), abs=0.1)
    # Cover: finished outline, and strips between welds less cut-outs.
    holes = shapely.union_all([shapely.Polygon(c) for c in cover.cutouts])
    strips = sum(shapely.Polygon(s).difference(holes).area for s in cover.strips)
    assert float(lines["cover"].net) * 304.8**2 == pytest.approx(strips, rel=1e-4)
    # Band: sides and cut-outs, and the boundary of the strips put together.
    whole = shapely.union_all(shapely.set_precision([shapely.Polygon(s) for s in cover.strips], 0.5)).difference(holes)
    assert cover.band_length == pytest.approx(whole.length, rel=1e-3)
    # Welds: lines, and half of what the strips' outlines have beyond the cover's (holes apart).
    outlines = sum(shapely.Polygon(s).length for s in cover.strips)
    through = sum(w.length for w in cover.welds)
    across_holes = outlines - shapely.Polygon(cover.outline).length - 2 * through
    assert 0 <= across_holes + 1 <= 4 * sum(shapely.Polygon(c).length for c in cover.cutouts)
    # Panels: what was panelled and what was left free are the walls.
    for elevation in walls.elevations:
        free = sum(b - a for a, b, _ in elevation.free)
        assert sum(p.width for p in elevation.panels) + free == pytest.approx(elevation.length, abs=60)
        rails = sum(c.end - c.start for c in elevation.cleats if c.kind == "cleat")
        assert rails == pytest.approx(elevation.cleat_length, abs=0.05)
    # Board: panels' areas and boards cut in the plan; fabric: blanks by size and the take-off's net with its allowance.
    ply = next(p for p in cuts.plans if p.product == "ply")
    assert ply.used_area == pytest.approx(walls.panel_area, rel=1e-3)
    blanks = sum(a * b * n for a, b, n in walls.faces)
    vinyl = lines["vinyl"]
    assert float(vinyl.net + vinyl.allowance) * 36 * 54 * INCH**2 == pytest.approx(blanks, rel=1e-3)
    # Every piece laid is cut once, none twice.
    asked = Counter(f"hall {layer.layer} {p.id}" for layer in floor.layers for p in layer.pieces)
    cut = Counter(p.piece for plan_ in cuts.plans if plan_.product in ("base", "top")
                  for s in plan_.stock for p in s.pieces)  # fmt: skip
    assert cut == asked


def test_a_low_wall_counted_twice(rooms: Any, systems: Any) -> None:
    """Board, foam and vinyl of a low wall alone: its pieces as cut, and what wraps the wall's three faces by girth.

    Wall 218 × 39 in of panel, 4 5/8 thick, one end free. Face: 218 × 39; end: (4 5/8 + 2) × 39; top: (218 + 2 1/2) ×
    (4 5/8 + 2 1/2). Vinyl goes on by 8 in along and 6 in across round every panel, 8 1/2 and 6 1/2 round a cap's.
    """
    features = [
        {"id": "low", "wall": "B-C", "kind": "low wall", "start": 0, "end": 218, "head": 42, "thickness": 4.625},
        {"id": "gap", "wall": "B-C", "kind": "gap", "start": 218, "end": 300},
    ]
    plan = rooms.rectangle(300, 200, features=features, constructions={"B-C": "masonry"})
    extra = {
        "glue": Product(id="glue", name="Glue", form="volume", unit="litre", head=8, spread=Decimal(2)),
        "anchor": Product(id="anchor", name="Anchor", form="each", unit="each", head=8),
    }
    products = systems.products() | extra
    system = msgspec.structs.replace(systems.walls(), adhesive="glue", anchor="anchor")
    fitout = Fitout(room="room", panelled=["B-C"])
    walls = lay_walls(plan, system, fitout, products)
    layouts = [RoomLayouts(room="room", walls=walls)]
    cuts = plan_cuts(layouts, products, [], [system])
    conserved(cuts)
    counted = take_off([], [plan], layouts, cuts, [fitout], [], [system], products, [], {})
    lines = {line.item: line for line in counted.lines}
    used = {p.product: p.used_area / INCH**2 for p in cuts.plans}
    face, end, top = 218 * 39, 6.625 * 39, 220.5 * 7.125
    panels, sections = math.ceil(218 / 48), math.ceil(220.5 / 80.75)
    assert used["ply"] == pytest.approx(face + end, rel=1e-4)
    assert float(lines["ply"].net) * 96 * 48 == pytest.approx(face + end, rel=1e-3)
    over = 0.25
    foam = (
        (218 + panels * over) * (39 + over) + (6.625 + over) * (39 + over) + (220.5 + sections * over) * (7.125 + over)
    )
    assert used["panel-foam"] == pytest.approx(foam, rel=1e-3)
    line = lines["panel-foam"]
    assert float(line.net + line.allowance) * 81 * 54 == pytest.approx(foam, rel=1e-3)
    vinyl = (218 + panels * 6) * 47 + (6.625 + 6) * 47 + (220.5 + sections * 8.5) * (7.125 + 6.5)
    assert used["vinyl"] == pytest.approx(vinyl, rel=1e-3)
    line = lines["vinyl"]
    assert float(line.net + line.allowance) * 36 * 54 == pytest.approx(vinyl, rel=1e-3)
    assert float(lines["cap"].net) * 96 == pytest.approx(220.5, rel=1e-3)
    # Glue joins board and foam of panels, end and cap; anchors sit every 16 in of the one rail, both ends held.
    assert float(lines["glue"].net) == pytest.approx((face + end + top) * INCH**2 / 1e6 / 2, abs=0.001)
    assert lines["anchor"].quantity == math.floor(218 / 16) + 1


@st.composite
def rooms_with_columns(draw: Any) -> tuple[dict[str, tuple[float, float]], list[tuple[int, int, int]]]:
    """Rooms of four to six corners out of true, with up to two columns inside."""
    width, depth = draw(st.integers(150, 420)), draw(st.integers(150, 420))
    ring = [(0, 0), (0, depth), (width, depth), (width, 0)]
    if draw(st.booleans()):
        leg, arm = draw(st.integers(90, width - 50)), draw(st.integers(90, depth - 50))
        ring = [(0, 0), (0, depth), (leg, depth), (leg, arm), (width, arm), (width, 0)]
    off = st.floats(-4, 4).map(lambda v: round(v, 2))
    corners = {chr(65 + k): (x + draw(off), y + draw(off)) for k, (x, y) in enumerate(ring)}
    columns = draw(st.lists(st.tuples(st.integers(20, 80), st.integers(20, 80), st.integers(6, 14)), max_size=2))
    return corners, columns


@settings(max_examples=10, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(made=rooms_with_columns(), kerf=st.sampled_from([0, 0.125]), pinned=st.booleans())
def test_any_room_counted_twice(rooms: Any, systems: Any, made: Any, kerf: float, pinned: bool) -> None:
    corners, columns = made
    pillars = [rooms.square_column(f"K{k}", (float(x), float(y)), float(s)) for k, (x, y, s) in enumerate(columns)]
    plan = rooms.plan(corners, columns=pillars[:1] if len(pillars) > 1 and overlap(columns) else pillars)
    products = systems.products(base=(96, 48), kerf=kerf)
    line = systems.inches(30)
    pins = [Pin(id="p", layer="base", kind="line", direction="x", y=line)] if pinned else []
    floor = lay_floor(plan, systems.floor(), products, pins)
    if not floor.layers:
        return
    field = shapely.Polygon(floor.field, floor.holes)
    for number, layer in enumerate(floor.layers):
        assert layer.area == pytest.approx(field.area, abs=GRID * (field.length + 1000))
        assert layer.joint_length == pytest.approx(joints_by_outlines(floor, number), rel=0.01, abs=60)
    if pinned:
        edges = {round(y, 1) for p in floor.layers[0].pieces for _, y in p.outline}
        courses = {round((y - 30 * INCH) % (48 * INCH), 1) for y in edges}
        refused = any(r.code == "pin-refused" for r in floor.reasons)
        assert floor.layers[0].direction == "x"
        assert refused or any(min(c, 48 * INCH - c) < 1.5 for c in courses)
    cover = lay_cover(plan, systems.floor(), floor, products)
    layouts = [RoomLayouts(room="room", floor=floor, cover=cover)]
    cuts = plan_cuts(layouts, products, [systems.floor()], [])
    conserved(cuts)
    assert all(p.bound <= p.value + 1e-9 for p in cuts.plans)
    strips = shapely.union_all([shapely.Polygon(s) for s in cover.strips])
    holes = shapely.union_all([shapely.Polygon(c) for c in cover.cutouts])
    assert strips.difference(holes).area == pytest.approx(cover.area, abs=0.01 * (field.length + cover.weld_length))


def overlap(columns: list[tuple[int, int, int]]) -> bool:
    (x, y, s), (u, v, t) = columns
    return abs(x - u) < (s + t) / 2 + 8 and abs(y - v) < (s + t) / 2 + 8


# ---------------------------------------------------------------- what a new build starts with


@pytest.mark.parametrize("units", ["feet-inches", "metric"])
def test_every_system_shipped_lays_out(rooms: Any, units: Any) -> None:
    """Each floor and fold-away system of the catalogue in a 21 × 16 ft room: pieces, no stop, cuts that add up."""
    demo = files("buildout.changes.engine").joinpath("data/demo.json").read_text(encoding="utf-8")
    given_room = json.loads(demo)["plan"]["rooms"][1]
    room = rooms.rectangle(252, 192, ramps=["B-C"])
    names = [name for name, _ in starter_systems(units)]
    words = ("two-layer", "single-laminate", "interlocking", "roll-out", "fold", "sprung-two-layer", "sprung-laminate",
             "sprung-tiles", "sprung-roll-out")  # fmt: skip
    assert all(any(name.startswith(word) for name in names) for word in words)
    plan = check_plan(starter_plan("x", units, "EUR", "UTC", date(2027, 1, 4), given_room, names[0]))
    products = {product.id: product for product in plan.products}
    for system in plan.floor_systems:
        floor = lay_floor(room, system, products)
        assert floor.status in ("proven", "feasible"), system.id
        assert not [r for r in floor.reasons if r.severity == "stop"]
        assert [len(layer.pieces) > 0 for layer in floor.layers] == [True] * len(system.layers)
        assert floor.thickness == pytest.approx(
            sum(float(products[layer.product].thickness or 0) for layer in system.layers), abs=0.01
        )
        conserved(plan_cuts([RoomLayouts(room="room", floor=floor)], products, [system], []))
        if system.cover is not None:
            assert lay_cover(room, system, floor, products).status in ("proven", "feasible")
    for fold in plan.fold_away_systems:
        layout = lay_fold_away(room, fold, products)
        assert layout.count > 0
        assert layout.under_laps > 0
        assert layout.mat_mass > 0


def test_a_floor_glued_down_counts_its_adhesive(rooms: Any, systems: Any) -> None:
    """A layer of 200 × 100 in less the frame, glued: the adhesive's area is the layer's, at its spread."""
    layers = [FoamLayer(product="base", role="base", adhesive="glue")]
    system = systems.floor(layers=layers)
    glue = Product(id="glue", name="Glue", form="volume", unit="litre", head=8, spread=Decimal(2))
    products = systems.products() | {"glue": glue}
    plan = rooms.rectangle(200, 100)
    floor = lay_floor(plan, system, products)
    layouts = [RoomLayouts(room="room", floor=floor)]
    cuts = plan_cuts(layouts, products, [system], [])
    counted = take_off([], [plan], layouts, cuts, [], [system], [], products, [], {})
    line = next(one for one in counted.lines if one.item == "glue")
    area = (200 - 8) * (100 - 8) * INCH**2 / 1e6
    assert float(line.net) == pytest.approx(area / 2, abs=0.001)
    assert line.quantity == math.ceil(area / 2)
