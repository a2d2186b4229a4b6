"""The take-off's figures a second time: from the room, the system's sizes and what is drawn, not from its pieces.

Nothing here uses the engine. Every kind of amount that a line is made up of has its way in ``WAYS``; each gives (net,
allowance) in mm, mm² or pieces. Floors are recounted from the mat field by moving its outline in, walls from the runs
left free, in short from the geometry; where the take-off adds up pieces.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import pytest
import shapely

from buildout.changes.engine.build_file import Plan
from buildout.rooms.engine.types import RoomPlan
from estimating.engine.types import (
    CutPlans,
    FloorSystem,
    FoldAwaySystem,
    Product,
    RoomLayouts,
    TakeOff,
    TakeOffLine,
    TraceStep,
    WallElevation,
    WallSystem,
)

COLUMN_GAP = 6.35
OVERHANG = 12.7
SLAB_LAP = 152.4
STAPLES = 38.1
WRAP_FOAM, WRAP_LAP = 50.8, 76.2
"""mm: 1/4 in round a column, 1/2 in that a cap stands out, 6 in of barrier lap, a staple each 1 1/2 in, 2 in of foam
and a 3 in lap round a column. Common practice, no published source."""

Amount = tuple[float, float]


@dataclass
class Room:
    """One room with its systems and what is laid in it."""

    plan: RoomPlan
    layouts: RoomLayouts
    products: dict[str, Product]
    floor: FloorSystem | None = None
    walls: WallSystem | None = None
    mats: FoldAwaySystem | None = None
    removable: tuple[str, ...] = ()

    # ------------------------------------------------ floor

    def mat(self, inwards: float, *, columns: bool = True) -> Any:
        """The mat field moved in on every side, columns with their gap taken out."""
        shape = shapely.Polygon(self.plan.mat_field).buffer(-inwards, join_style="mitre", mitre_limit=10)
        for column in self.plan.columns if columns else []:
            ring = shapely.Polygon(column.outline)
            round_ = column.shape == "round"
            shape = shape.difference(ring.buffer(COLUMN_GAP, join_style="round" if round_ else "mitre"))
        return shape

    @property
    def gap(self) -> float:
        return float(self.floor.frame_gap or 0) if self.floor else 0.0

    @property
    def timber(self) -> float:
        return float(self.floor.frame_width or 0) if self.floor and self.floor.frame else 0.0

    def finished(self) -> Any:
        """Inside the frame's outer face: what the cover lies on."""
        over = float(self.floor.cover.overhang or 0) if self.floor and self.floor.cover else 0.0
        return self.mat(self.gap - over)

    # ------------------------------------------------ walls

    def drawn(self, wall: str) -> WallElevation:
        assert self.layouts.walls is not None
        return next(e for e in self.layouts.walls.elevations if e.wall == wall)

    def runs(self, wall: str) -> list[tuple[float, float]]:
        """What the runs left free leave of a wall; its last panel may lap past it."""
        elevation = self.drawn(wall)
        end = max([elevation.length, *(p.start + p.width for p in elevation.panels)])
        begin = min([0.0, *(p.start for p in elevation.panels)])
        marks = [begin, *(v for a, b, _ in sorted(elevation.free) for v in (a, b)), end]
        return [(a, b) for a, b in zip(marks[::2], marks[1::2], strict=True) if b - a > 0.05]

    def rectangles(self, wall: str) -> list[tuple[float, float]]:
        """(width, height) of what is drawn on a wall; no two may lie on each other."""
        boxes = [shapely.box(p.start, p.bottom, p.start + p.width, p.bottom + p.height)
                 for p in self.drawn(wall).panels]  # fmt: skip
        assert shapely.union_all(boxes).area == sum(b.area for b in boxes) or math.isclose(
            shapely.union_all(boxes).area, sum(b.area for b in boxes), rel_tol=1e-6
        )
        return [(x1 - x0, y1 - y0) for x0, y0, x1, y1 in (b.bounds for b in boxes)]

    def face_area(self, wall: str) -> float:
        """Runs times the height stated for a wall or for the low wall there."""
        assert self.walls is not None
        low = [(f.start, f.end) for f in self.plan.features if f.wall == wall and f.kind == "low wall"]
        total = 0.0
        for a, b in self.runs(wall):
            below = sum(max(0.0, min(b, end) - max(a, start)) for start, end in low)
            total += below * float(self.walls.low_height) + (b - a - below) * float(self.walls.height)
        return total

    def part(self, item: str, otherwise: float = 0.0) -> float:
        """Thickness of a product."""
        product = self.products.get(item)
        return float(product.thickness) if product is not None and product.thickness is not None else otherwise

    def margins(self, board: float) -> tuple[float, float]:
        """Fabric beyond a face on either side, and at top and bottom: foam, board edge and turn-back."""
        assert self.walls is not None
        edge = self.part(self.walls.foam) + board
        return edge + float(self.walls.turn_back_side), edge + float(self.walls.turn_back_end)

    def low_wall_boxes(self, wall: str) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
        """(along, across) of cap sections, and (width, height) of padded ends, from the low walls' own sizes."""
        assert self.walls is not None
        out = float(self.walls.thickness) + self.part(self.walls.cleat)
        caps, ends = [], []
        on = [f for f in self.plan.features if f.wall == wall]
        for low in (f for f in on if f.kind == "low wall"):
            open_ends = sum(
                g.kind == "gap" and (abs(g.end - low.start) < 1 or abs(g.start - low.end) < 1) for g in on
            )  # fmt: skip
            thick = float(low.thickness or 0)
            whole = (low.end - low.start) + open_ends * (out + OVERHANG)
            sections = [p for p in self.drawn(wall).trims if p.kind == "cap"]
            caps += [(whole / len(sections), thick + out + OVERHANG)] * len(sections)
            ends += [(thick + out, float(self.walls.low_height))] * open_ends
        return caps, ends

    def jacket(self) -> tuple[int, float]:
        """Whole sheets of foam round a column, and how thick they are together."""
        assert self.walls is not None
        one = self.part(self.walls.foam)
        sheets = next(n for n in range(1, 50) if n * one > WRAP_FOAM - 0.01)
        return sheets, sheets * one

    def girths(self) -> list[tuple[float, int]]:
        """Way round each wrapped column's foam, and how many parts its jacket has."""
        assert self.walls is not None
        assert self.layouts.walls is not None
        thick = self.jacket()[1]
        found = []
        for column in self.plan.columns:
            parts = sum(p.wall == column.id for p in self.layouts.walls.wraps)
            # A padded rectangle keeps its corners square; a circle grows on its radius.
            if column.shape == "round":
                around = math.tau * (float(column.diameter or 0) / 2 + thick)
            else:
                around = shapely.Polygon(column.outline).buffer(thick, join_style="mitre").length
            if parts:
                found.append((around, parts))
        return found


# ---------------------------------------------------------------- floors


def layer(room: Room, which: str) -> Amount:
    return room.mat(room.gap + room.timber).area, 0.0


def frame(room: Room, which: str) -> Amount:
    """The ring between the frame's two faces, by its width."""
    return (room.mat(room.gap, columns=False).area - room.mat(room.gap + room.timber, columns=False).area) / (
        room.timber
    ), 0.0


def ramp(room: Room, which: str) -> Amount:
    """The ground ramps cover by their depth, and at every mitre half the depth times tan of half the turn, twice."""
    assert room.floor is not None
    deep = float(room.floor.ramp_run or 0)
    edges = [e for e in room.plan.mat_edges if e.kind == "ramp"]
    total = 0.0
    while edges:
        chain = [edges.pop(0)]
        while (after := next((e for e in edges if math.dist(chain[-1].b, e.a) < 1), None)) is not None:
            chain.append(after)
            edges.remove(after)
        while (before := next((e for e in edges if math.dist(e.b, chain[0].a) < 1), None)) is not None:
            chain.insert(0, before)
            edges.remove(before)
        line = shapely.LineString([chain[0].a, *(e.b for e in chain)])
        # The mat lies to the left of its edges.
        total += line.buffer(-deep, single_sided=True, join_style="mitre", mitre_limit=10).area / deep
        for one, two in pairwise(chain):
            turn = math.remainder(_heading(two) - _heading(one), math.tau)
            total += deep * abs(math.tan(turn / 2))
    return total, 0.0


def _heading(edge: Any) -> float:
    return math.atan2(edge.b[1] - edge.a[1], edge.b[0] - edge.a[0])


def barrier(room: Room, which: str) -> Amount:
    return room.mat(room.gap).area, 0.0


def laps(room: Room, which: str) -> Amount:
    """Runs laid a width less a lap apart, from many first lines: the mean of what their laps cover (Cavalieri)."""
    assert room.floor is not None
    width = room.products[room.floor.barrier].width
    assert width is not None
    pitch = float(width) - SLAB_LAP
    shape = room.mat(room.gap)
    x0, y0, x1, y1 = shape.bounds
    tried = 24
    covered = 0.0
    for k in range(tried):
        y = y0 + pitch * (k + 0.5) / tried
        while y < y1:
            covered += shape.intersection(shapely.LineString([(x0 - 1, y), (x1 + 1, y)])).length
            y += pitch
    return 0.0, covered / tried * SLAB_LAP


def joints(room: Room, which: str) -> Amount:
    """Edges that two pieces share: half of what all outlines have beyond the field's own. A twentieth on top."""
    assert room.layouts.floor is not None
    run = 0.0
    for layout in room.layouts.floor.layers:
        if layout.layer == which and layout.tape_length > 0:
            outlines = sum(shapely.Polygon(p.outline).length for p in layout.pieces)
            run += (outlines - room.mat(room.gap + room.timber).length) / 2
    return run, run / 20


def glued(room: Room, which: str) -> Amount:
    assert room.floor is not None
    layers = sum(bool(one.adhesive) for one in room.floor.layers if one.role == which)
    return layers * room.mat(room.gap + room.timber).area, 0.0


def hook_tape(room: Room, which: str) -> Amount:
    """Round the cover and its cut-outs; without a cover along the frame."""
    assert room.floor is not None
    return (room.finished().length, 0.0) if room.floor.cover is not None else frame(room, which)


def hook_staples(room: Room, which: str) -> Amount:
    """Two rows, a staple at every mark and at both ends, these doubled."""
    run = room.finished().length
    return 2 * (len(range(math.ceil(run / STAPLES))) + 1 + 2), 0.0


def cover(room: Room, which: str) -> Amount:
    """Strips between welds, cut-outs taken out of each."""
    assert room.layouts.cover is not None
    holes = shapely.union_all([shapely.Polygon(c) for c in room.layouts.cover.cutouts])
    strips = sum(shapely.Polygon(s).difference(holes).area for s in room.layouts.cover.strips)
    assert math.isclose(strips, room.finished().area, rel_tol=1e-4)
    return strips, 0.0


# ---------------------------------------------------------------- walls


def board(room: Room, which: str) -> Amount:
    if which.startswith("low walls on "):
        return sum(a * b for a, b in room.low_wall_boxes(which.removeprefix("low walls on "))[1]), 0.0
    return room.face_area(which), 0.0


def panel_foam(room: Room, which: str) -> Amount:
    """Faces, and a margin of the oversize round each: its length by the margin, and four corners."""
    assert room.walls is not None
    over = float(room.walls.foam_edge)
    if which == "column wraps":
        return sum(around for around, _ in room.girths()) * float(room.walls.height) * room.jacket()[0], 0.0
    if which.startswith("low walls on "):
        caps, ends = room.low_wall_boxes(which.removeprefix("low walls on "))
        boxes, net = caps + ends, sum(a * b for a, b in caps + ends)
    else:
        boxes, net = room.rectangles(which), room.face_area(which)
    return net, sum(2 * over * (a + b) + 4 * over**2 for a, b in boxes)


def face(room: Room, which: str) -> Amount:
    """Faces, and a band round each: foam edge, board edge and turn-back, with four corners."""
    assert room.walls is not None
    sides, ends = room.margins(room.part(room.walls.board))
    if which == "column wraps":
        edge = 2 * (room.jacket()[1] + float(room.walls.turn_back_end))
        more = WRAP_LAP + 2 * float(room.walls.turn_back_side)
        tall = float(room.walls.height)
        net = sum(around for around, _ in room.girths()) * tall
        blanks = sum((around + parts * more) * (tall + edge) for around, parts in room.girths())
        return net, blanks - net
    if which.startswith("low walls on "):
        caps, padded = room.low_wall_boxes(which.removeprefix("low walls on "))
        cap_sides, cap_ends = room.margins(room.part(room.walls.cap, 19.05))
        round_ = sum(2 * cap_ends * b + 2 * cap_sides * a + 4 * cap_sides * cap_ends for a, b in caps)
        round_ += sum(2 * ends * a + 2 * sides * b + 4 * sides * ends for a, b in padded)
        return sum(a * b for a, b in caps + padded), round_
    round_ = sum(2 * ends * a + 2 * sides * b + 4 * sides * ends for a, b in room.rectangles(which))
    return room.face_area(which), round_


def adhesive(room: Room, which: str) -> Amount:
    """Board and foam of panels, ends and caps."""
    if which.startswith("low walls on "):
        caps, ends = room.low_wall_boxes(which.removeprefix("low walls on "))
        return sum(a * b for a, b in caps + ends), 0.0
    return (room.face_area(which) if which != "column wraps" else 0.0), 0.0


def _railed(room: Room, wall: str) -> list[tuple[float, float, bool]]:
    """Runs that have a rail and whether they are low: what is not free and not before an opening with loose panels."""
    assert room.walls is not None
    on = [f for f in room.plan.features if f.wall == wall]
    loose = shapely.union_all([shapely.LineString([(f.start - 1, 0), (f.end + 1, 0)]) for f in on
                               if f.id in room.removable])  # fmt: skip
    # Loose panels reach beyond the opening by what they need; a run that touches one is theirs as a whole.
    spans = []
    low = [(f.start, f.end) for f in on if f.kind == "low wall"]
    loose_panels = [(p.start, p.start + p.width) for p in room.drawn(wall).panels if p.kind == "removable"]
    for a, b in room.runs(wall):
        marks = {a, b, *(v for pair in low + loose_panels for v in pair if a < v < b)}
        ordered = sorted(marks)
        for start, end in pairwise(ordered):
            middle = (start + end) / 2
            if any(x < middle < y for x, y in loose_panels):
                assert loose.length > 0
                continue
            spans.append((start, end, any(x < middle < y for x, y in low)))
    return spans


def cleat(room: Room, which: str) -> Amount:
    return sum(b - a for a, b, _ in _railed(room, which)), 0.0


def cap(room: Room, which: str) -> Amount:
    return sum(a for a, _ in room.low_wall_boxes(which)[0]), 0.0


def anchors(room: Room, which: str) -> Amount:
    """A fixing at the beginning of every rail and each spacing on."""
    assert room.walls is not None
    step = float(room.walls.anchor_spacing or 0)
    count = 0
    for a, b, _ in _railed(room, which):
        at = a
        while at <= b + 1e-6:
            count += 1
            at += step
    return count, 0.0


def face_staples(room: Room, which: str) -> Amount:
    """A staple at every 1 1/2 in round every panel, the last gap no longer."""
    assert room.layouts.walls is not None
    count = 0
    for elevation in room.layouts.walls.elevations:
        caps, ends = room.low_wall_boxes(elevation.wall) if elevation.trims else ([], [])
        for a, b in [*room.rectangles(elevation.wall), *caps, *ends]:
            count += math.ceil(round((a + a + b + b) / STAPLES, 6))
    return count, 0.0


# ---------------------------------------------------------------- mats


def fold_away(room: Room, which: str) -> Amount:
    """What they cover by the size of one; no two lie on each other."""
    assert room.mats is not None
    assert room.layouts.fold_away is not None
    mats = shapely.union_all([shapely.Polygon(m) for m in room.layouts.fold_away.mats])
    assert shapely.Polygon(room.plan.mat_field).buffer(0.1).contains(mats)
    return mats.area / (float(room.mats.mat_length) * float(room.mats.mat_width)), 0.0


WAYS: dict[str, Callable[[Room, str], Amount]] = {
    "layer": layer,
    "frame": frame,
    "ramp": ramp,
    "barrier": barrier,
    "laps": laps,
    "joints": joints,
    "layer adhesive": glued,
    "hook tape": hook_tape,
    "hook tape staples": hook_staples,
    "cover": cover,
    "board": board,
    "panel foam": panel_foam,
    "face": face,
    "adhesive": adhesive,
    "cleat": cleat,
    "cap": cap,
    "anchors": anchors,
    "face staples": face_staples,
    "fold-away mats": fold_away,
}
"""Kind of amount to its second way."""
BY_CUTS = {"cut plan", "whole units"}
"""Kinds that say what is left when cut and rounded up: counted again from the stock drawn."""


def kind_of(step: TraceStep) -> tuple[str, str]:
    """Kind of an amount and which of its kind: a layer's role, a wall.

    >>> kind_of(TraceStep(room="hall", source="panel foam A-B", pieces=[], amount=1, unit="sheet", text=""))
    ('panel foam', 'A-B')
    """
    if step.source in WAYS or step.source in BY_CUTS or step.source == "stated need":
        return step.source, ""
    for kind in ("layer", "joints"):
        if step.source.endswith(f" {kind}"):
            return kind, step.source.removesuffix(f" {kind}")
    for role in ("base", "top"):
        if step.source == f"{role} adhesive":
            return "layer adhesive", role
    for kind in ("board", "panel foam", "face", "adhesive", "cleat", "cap", "anchors"):
        if step.source.startswith(f"{kind} "):
            return kind, step.source.removeprefix(f"{kind} ")
    return step.source, ""


COUNTED = {"fold-away mats", "anchors", "face staples", "hook tape staples"}
"""Kinds that come in pieces."""
RUNS = {"frame", "ramp", "joints", "hook tape", "cleat", "cap"}
RUNNING = {"running foot": 304.8, "running yard": 914.4, "metre": 1000.0}
"""mm."""


def second_way(
    plan: Plan, drawn: Sequence[RoomPlan], layouts: Sequence[RoomLayouts], cuts: CutPlans, found: TakeOff
) -> set[str]:
    """Hold every line against its recount; gives the kinds of amounts met.

    Tolerances: 0.2 % for runs and areas (corners out of square, the 0.01 mm grid, arcs drawn as chords), 0.5 % for
    allowances, of which laps depend on where the first run lies; for pieces what rounding to 0.001 units leaves.
    """
    products = {product.id: product for product in plan.products}
    floors = {system.id: system for system in plan.floor_systems}
    walls = {system.id: system for system in plan.wall_systems}
    mats = {system.id: system for system in plan.fold_away_systems}
    fitouts = {fitout.room: fitout for fitout in plan.fitouts}
    rooms = {}
    for laid in layouts:
        fitout = fitouts[laid.room]
        rooms[laid.room] = Room(
            next(one for one in drawn if one.room == laid.room), laid, products, floors.get(fitout.floor),
            walls.get(fitout.walls), mats.get(fitout.fold_away), tuple(fitout.removable),
        )  # fmt: skip
    met: set[str] = set()
    for line in found.lines:
        product = products[line.item]
        net = allowance = 0.0
        here = {kind_of(step)[0] for step in line.trace}
        for step_room, kind, which in dict.fromkeys((step.room, *kind_of(step)) for step in line.trace):
            if kind in BY_CUTS:
                continue
            if kind == "stated need":
                net += sum(float(need.quantity) for need in plan.needs if need.product == line.item)
                continue
            assert kind in WAYS, f"{line.item}: nothing counts “{kind}” a second way"
            own, more = WAYS[kind](rooms[step_room], which)
            net += own / _one(kind, product)
            allowance += more / _one(kind, product)
        if any(step.source == "cut plan" and "cut from" in step.text for step in line.trace):
            net, allowance = _by_size(line, product, cuts, net, allowance)
        close = {"abs": 0.0006 * len(line.trace)} if here <= COUNTED | BY_CUTS else {"rel": 2e-3}
        assert float(line.net) == pytest.approx(net, **close), line.item
        assert float(line.allowance) == pytest.approx(allowance, rel=5e-3, abs=0.0006 * len(line.trace)), line.item
        _rounded_up(line, product, cuts)
        met |= here
    return met


def _one(kind: str, product: Product) -> float:
    """How much of an amount one unit of a product is: mm², mm or pieces, from its sizes alone."""
    length, width = float(product.length or 0), float(product.width or 0)
    if kind in COUNTED:
        return product.per_pack
    if product.form == "volume":
        return float(product.spread or 0) * 1e6
    along = RUNNING.get(product.unit, length)
    if kind in RUNS:
        return along
    return 304.8**2 if product.unit == "square foot" else along * width


def _by_size(line: TakeOffLine, product: Product, cuts: CutPlans, net: float, allowance: float) -> Amount:
    """Goods sold in several sizes: each size's line is the pieces cut from it, those from what is in stock left out.

    What is cut elsewhere leaves the net first, what is cut here for another size comes to the net.
    """
    unit = _one("layer", product)
    here = there = 0.0
    for plan in cuts.plans:
        for one in plan.stock:
            size = one.product or plan.product
            area = sum(p.length * p.width for p in one.pieces)
            if plan.product == line.item and (size != line.item or one.source == "remnant"):
                there += area / unit
            if plan.product != line.item and size == line.item:
                here += area / unit
    return net - there + here, allowance


def _rounded_up(line: TakeOffLine, product: Product, cuts: CutPlans) -> None:
    """What is bought: as many as cut plans draw on, or the length drawn off a roll; without a cut plan rounded up."""
    assert line.quantity == line.net + line.allowance + line.waste
    lengths = [
        one.length
        for plan in cuts.plans
        for one in plan.stock
        if one.source in ("new", "already cut") and (one.product or plan.product) == line.item
    ]
    if not lengths:
        assert line.quantity == math.ceil(line.net + line.allowance)
    elif product.unit in RUNNING:
        assert line.quantity == math.ceil(round(sum(lengths) / RUNNING[product.unit], 6))
    else:
        assert line.quantity == len(lengths)
