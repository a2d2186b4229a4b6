"""The frame and ramps of a mat field as its carpenter wants them: numbered pieces on a plan, a table beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from buildout.rooms.engine.drawing import (
    SMALL,
    Drawing,
    Item,
    Line,
    Polygon,
    Text,
    TitleBlock,
    dimension,
)
from buildout.rooms.engine.types import RoomPlan
from buildout.units.lengths import UnitSystem, format_length, format_run, format_small
from estimating.engine.types import FloorLayout, FloorSystem, FramePiece, Pin

Point = tuple[float, float]

ROW = 4.2
"""mm on paper from one line of the table to the next."""
MOST_ROWS = 44
"""Lines of the table beside each other before it goes on in a second block."""
NEARLY_SQUARE = 0.25
"""Degrees. No saw on a site is set finer than half a degree: an end nearer to square than half of that is cut square.
The one place this is said; angles beyond keep their figure. Common practice, no published source."""
COLUMNS = (("Piece", 0.0), ("Length", 14.0), ("Cut at start", 39.0), ("Cut at end", 63.0))
"""Head of each column of the table and how far it stands from the table's left edge, mm on paper."""
TABLE_WIDTH = 92.0


def draw_frame(
    plan: RoomPlan,
    floor: FloorLayout,
    *,
    system: FloorSystem | None = None,
    pins: Sequence[tuple[Pin, str]] = (),
    units: UnitSystem = "feet-inches",
    block: TitleBlock | None = None,
) -> Drawing:
    """Draw every frame timber and ramp piece with its number, and list lengths and angles of the cuts.

    Pieces run anticlockwise round the mat: *start* is the end met first that way.
    """
    items: list[Item] = [Line(a=wall.a, b=wall.b, role="wall", title=f"Wall {wall.id}") for wall in plan.walls]
    items += [
        Polygon(outline=ring, role="keep clear", title=f"Kept clear: {name}") for name, ring in plan.keep_clear.items()
    ]
    for column in plan.columns:
        items.append(Polygon(outline=column.outline, role="column", hatch="diagonal", title=f"Column {column.id}"))
    timber = float(system.frame_width or 0) if system is not None else 0.0
    run = float(system.ramp_run or 0) if system is not None else 0.0
    for piece in floor.frame:
        ring = piece_outline(piece, timber if piece.kind == "frame" else run)
        words = f"{piece.id}, {format_length(piece.length, units)}"
        items.append(
            Polygon(
                outline=ring, role="frame" if piece.kind == "frame" else "ramp", title=words,
                hatch="" if piece.kind == "frame" else "sparse",
            )
        )  # fmt: skip
    items += _pinned(floor, timber, run, pins)
    items += [_number(piece) for piece in floor.frame]
    corners = floor.outer or floor.field
    left, low = min(x for x, _ in corners), min(y for _, y in corners)
    right, high = max(x for x, _ in corners), max(y for _, y in corners)
    items.append(dimension((left, low), (left, high), units, offset=14.0, title="Frame over all"))
    items.append(dimension((left, low), (right, low), units, offset=-14.0, title="Frame over all"))
    items += _table(plan, floor.frame, units)
    mitred = sum(1 for piece in floor.frame for angle in (piece.start_mitre, piece.end_mitre) if not _square(angle))
    lengths = [
        f"{kind} {format_run(total, units)}"
        for kind, total in (("frame", floor.frame_length), ("ramp", floor.ramp_length))
        if total
    ]
    wide = []
    if timber and any(piece.kind == "frame" for piece in floor.frame):
        wide.append(f"frame timber {format_small(timber, units)} wide")
    if run and any(piece.kind == "ramp" for piece in floor.frame):
        wide.append(f"ramp {format_small(run, units)} deep")
    notes = [
        f"{len(floor.frame)} pieces: {', '.join(lengths)}; {', '.join(wide)}. {mitred} ends are not cut square.",
        "Pieces run anticlockwise round the mat, start to end. A frame's length is along its outer face, a ramp's "
        "along the longer of its two edges.",
        'Cut: degrees off square. "out": the edge away from the mat is the longer one at that end; "in": the edge '
        "towards the mat is.",
        f"An end within {NEARLY_SQUARE}° of square is cut square: no saw on a site is set finer.",
        "At a corner the timber that arrives goes through and the next one butts against it. Measure in the room "
        "before cutting. Do not scale.",
    ]
    notes += [f"Pinned {pin.id}: {told}." for pin, told in pins]
    return Drawing(
        items=items,
        title=f"{plan.name}: frame and ramps",
        description=(
            f"Frame and ramps round the mat of {plan.name} seen from above: {len(floor.frame)} numbered pieces with a "
            f"table of their lengths and of the angles of their ends, {mitred} of them off square."
        ),
        units=units,
        block=block,
        notes=notes,
    )


def piece_outline(piece: FramePiece, depth: float) -> list[Point]:
    """Corners of a piece seen from above, ``depth`` mm wide, with its ends cut at their angles.

    A frame timber lies to the left of a → b, a ramp to the right of it.

    >>> piece = FramePiece(id="R1.1", edge="e1", length=1100, kind="ramp", start_mitre=45, a=(-100, 0), b=(1000, 0))
    >>> piece_outline(piece, 100)
    [(0.0, 0.0), (1000.0, 0.0), (1000.0, -100.0), (-100.0, -100.0)]
    """
    length = math.dist(piece.a, piece.b) or 1.0
    along = ((piece.b[0] - piece.a[0]) / length, (piece.b[1] - piece.a[1]) / length)
    away = (along[1], -along[0])  # to the right: anticlockwise rings have their inside on the left
    off = [depth * math.tan(math.radians(angle)) for angle in (piece.start_mitre, piece.end_mitre)]

    def at(run: float, out: float) -> Point:
        return (
            round(piece.a[0] + along[0] * run + away[0] * out, 2) + 0.0,
            round(piece.a[1] + along[1] * run + away[1] * out, 2) + 0.0,
        )

    if piece.kind == "frame":  # a and b are on the outer face
        return [at(0, 0), at(length, 0), at(length - off[1], -depth), at(off[0], -depth)]
    near = (max(0.0, off[0]), length - max(0.0, off[1]))
    toe = (max(0.0, -off[0]), length - max(0.0, -off[1]))
    return [at(near[0], 0), at(near[1], 0), at(toe[1], depth), at(toe[0], depth)]


def _pinned(floor: FloorLayout, timber: float, run: float, pins: Sequence[tuple[Pin, str]]) -> list[Item]:
    """A thick outline round a timber that is pinned; joints and goods are told in the notes alone."""
    items: list[Item] = []
    for pin, told in pins:
        if pin.kind != "piece" or pin.x is None:
            continue
        here = [piece for piece in floor.frame if (piece.kind, piece.edge) == (pin.layer, pin.wall)]
        if not here:
            continue
        begin, at = here[0].a, float(pin.x)
        piece = min(here, key=lambda one: abs(math.dist(begin, one.a) - at))
        depth = timber if piece.kind == "frame" else run
        items.append(Polygon(outline=piece_outline(piece, depth), role="highlight", title=f"Pinned {pin.id}: {told}"))
    return items


def _number(piece: FramePiece) -> Text:
    length = math.dist(piece.a, piece.b) or 1.0
    along = ((piece.b[0] - piece.a[0]) / length, (piece.b[1] - piece.a[1]) / length)
    inward = (-along[1], along[0])
    side = 1.0 if piece.kind == "frame" else -1.0
    away = [(round(inward[0] * side * d, 2), round(inward[1] * side * d, 2)) for d in (5.0, 8.0, 11.0, 14.0)]
    slid = [(x + along[0] * s, y + along[1] * s) for x, y in away[:3] for s in (6.0, -6.0)]
    return Text(
        at=((piece.a[0] + piece.b[0]) / 2, (piece.a[1] + piece.b[1]) / 2), text=piece.id, role="small label",
        size=SMALL, shift=away[0], or_shift=[*away[1:], *slid], clear=True,
    )  # fmt: skip


def _table(plan: RoomPlan, pieces: Sequence[FramePiece], units: UnitSystem) -> list[Item]:
    """Lines of lettering to the right of everything that is drawn, from the top down."""
    points = [p for wall in plan.walls for p in (wall.a, wall.b)] + [p for one in pieces for p in (one.a, one.b)]
    if not points or not pieces:
        return []
    corner = (max(x for x, _ in points), max(y for _, y in points))
    items: list[Item] = []
    for number, piece in enumerate(pieces):
        over, row = divmod(number, MOST_ROWS)
        left = 26.0 + over * TABLE_WIDTH
        if row == 0:
            items += [_cell(corner, left + at, 0, head, "label") for head, at in COLUMNS]
        told = (piece.id, format_length(piece.length, units), _cut(piece.start_mitre), _cut(piece.end_mitre))
        for words, (_, at) in zip(told, COLUMNS, strict=True):
            items.append(_cell(corner, left + at, row + 1, words, "small label"))
    return items


def _cell(corner: Point, across: float, row: int, words: str, role: str) -> Text:
    return Text(
        at=corner, text=words, role="label" if role == "label" else "small label", size=SMALL, anchor="start",
        shift=(across, -ROW * row),
    )  # fmt: skip


def _square(angle: float) -> bool:
    return abs(angle) <= NEARLY_SQUARE + 1e-9


def _cut(angle: float) -> str:
    """How an end is cut, in words; within ``NEARLY_SQUARE`` it is square.

    >>> _cut(0.0), _cut(-0.25), _cut(0.3), _cut(45.0), _cut(-5.02)
    ('square', 'square', '0.3° out', '45.0° out', '5.0° in')
    """
    if _square(angle):
        return "square"
    return f"{abs(angle):.1f}° {'out' if angle > 0 else 'in'}"
