"""From a drawing to marks on a sheet of known size: scale chosen, dimensions drawn out, lettering placed.

All results are paper millimetres with y pointing down from the sheet's upper left corner.
Scales are those of ISO 5455 for metric sheets, and the architect's scales usual in US practice for feet and
inches (common practice, no published source).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from buildout.rooms.engine.drawing import (
    SMALL,
    Arc,
    Circle,
    Dimension,
    Drawing,
    Hatch,
    Line,
    Polygon,
    Polyline,
    Role,
    Symbol,
    Text,
)
from buildout.rooms.engine.geometry import Point
from buildout.units.lengths import UnitSystem

METRIC_SCALES = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
FOOT_SCALES = {
    1: "full size", 2: '6" = 1\'-0"', 4: '3" = 1\'-0"', 8: '1 1/2" = 1\'-0"', 12: '1" = 1\'-0"', 16: '3/4" = 1\'-0"',
    24: '1/2" = 1\'-0"', 32: '3/8" = 1\'-0"', 48: '1/4" = 1\'-0"', 64: '3/16" = 1\'-0"', 96: '1/8" = 1\'-0"',
    128: '3/32" = 1\'-0"', 192: '1/16" = 1\'-0"', 240: "1\" = 20'-0\"", 480: "1\" = 40'-0\"", 960: "1\" = 80'-0\"",
    2400: "1\" = 200'-0\"", 4800: "1\" = 400'-0\"",
}  # fmt: skip

FRAME = 5.0
"""From the sheet's edge to its frame line."""
BLOCK = 15.0
"""Height of the title block."""
AIR = 6.0
"""Least distance from the work to the frame."""
NOTE_SIZE = 2.7
NOTE_STEP = 4.2
TALLEST = 1.3
"""A sheet of free height is at most this many times as high as it is wide."""


@dataclass(frozen=True)
class Mark:
    """A path, or a group of paths drawn alike, on paper."""

    role: Role
    rings: tuple[tuple[Point, ...], ...]
    closed: bool = False
    hatch: Hatch = ""
    weight: float | None = None
    """Line weight in mm where it differs from the role's."""
    title: str = ""
    filled: bool = False
    """Filled with the line's own colour."""
    clear: bool = False
    """Filled with the colour of the paper, hiding what lies behind."""


@dataclass(frozen=True)
class Round:
    """A circle or, when ``start`` and ``end`` differ, an arc (degrees anticlockwise as seen on paper)."""

    role: Role
    centre: Point
    radius: float
    start: float = 0.0
    end: float = 0.0
    hatch: Hatch = ""
    title: str = ""
    weight: float | None = None
    filled: bool = False


@dataclass(frozen=True)
class Letters:
    """Lettering; ``at`` is on the base line, ``turn`` is anticlockwise as seen on paper."""

    role: Role
    at: Point
    text: str
    size: float
    anchor: str
    turn: float = 0.0
    bold: bool = False
    clear: bool = False
    title: str = ""


Primitive = Mark | Round | Letters


@dataclass
class Laid:
    """A sheet ready to be written."""

    width: float
    height: float
    scale: int
    scale_text: str
    origin: Point = (0.0, 0.0)
    """Where the model's origin lies on the sheet."""
    marks: list[Primitive] = field(default_factory=list)


_NARROW = {**dict.fromkeys("'il.,:;|!", 0.25), **dict.fromkeys(' "()-/ftrj’°', 0.34), **dict.fromkeys("mwMW%&@", 0.86)}


def text_width(text: str, size: float) -> float:
    """Width of lettering in a plain sans serif, within about a tenth."""
    return size * sum(_NARROW.get(c, 0.68 if c.isupper() else 0.56) for c in text)


def scale_words(scale: int, units: UnitSystem) -> str:
    """How a scale is written in the title block.

    >>> scale_words(96, "feet-inches"), scale_words(50, "metric")
    ('1/8" = 1\\'-0" (1:96)', '1:50')
    """
    return f"{FOOT_SCALES[scale]} (1:{scale})" if units == "feet-inches" and scale in FOOT_SCALES else f"1:{scale}"


def lay_out(drawing: Drawing, width: float = 297.0, height: float | None = None, scale: int | None = None) -> Laid:
    """Lay a drawing out on a sheet ``width`` × ``height`` mm at the largest usual scale that fits.

    ``height`` None: as high as needed, up to 1.3 × the width. ``scale`` forces one (it may then not fit).
    """
    framed = drawing.block is not None
    side = (FRAME if framed else 0.0) + (AIR if framed else 2.0)
    foot = _foot(drawing)
    room_across = width - 2 * side
    room_up = (height if height is not None else width * TALLEST) - 2 * side - foot
    known = list(FOOT_SCALES) if drawing.units == "feet-inches" else list(METRIC_SCALES)
    chosen, work, box = known[-1], _Work([]), (0.0, 0.0, 1.0, 1.0)
    for candidate in [scale] if scale is not None else _worth_trying(drawing, known, room_across, room_up):
        chosen = candidate
        work = _resolve(drawing, candidate)
        box = work.box()
        if box[2] - box[0] <= room_across and box[3] - box[1] <= room_up:
            break
    tall = height if height is not None else box[3] - box[1] + 2 * side + foot
    dx = (width - (box[2] - box[0])) / 2 - box[0]
    top = side + max(0.0, (tall - 2 * side - foot - (box[3] - box[1])) / 2)
    dy = top + box[3]
    laid = Laid(width=width, height=tall, scale=chosen, scale_text=scale_words(chosen, drawing.units), origin=(dx, dy))
    laid.marks = [_moved(mark, dx, dy) for mark in work.marks]
    if framed:
        laid.marks += _border(drawing, laid)
    return laid


def _foot(drawing: Drawing) -> float:
    if drawing.block is None:
        return NOTE_STEP * len(drawing.notes)
    return BLOCK + max(11.0, NOTE_STEP * len(drawing.notes) + 3.0)


def _worth_trying(drawing: Drawing, known: Sequence[int], across: float, up: float) -> list[int]:
    """Scales from the first at which the bare geometry fits, so that dimensions are not laid out in vain."""
    xs, ys = [], []
    for item in drawing.items:
        for x, y in _reach(item):
            xs.append(x)
            ys.append(y)
    if not xs:
        return [known[0]]
    wide, high = max(xs) - min(xs), max(ys) - min(ys)
    able = [s for s in known if wide / s <= across and high / s <= up]
    return able or [known[-1]]


def _reach(item: object) -> list[Point]:
    match item:
        case Line() | Dimension():
            return [item.a, item.b]
        case Polyline():
            return item.points
        case Polygon():
            return item.outline
        case Circle():
            (x, y), r = item.centre, item.radius
            return [(x - r, y - r), (x + r, y + r)]
        case Arc():
            return [_polar(item.centre, item.radius, item.start), _polar(item.centre, item.radius, item.end)]
        case Text() | Symbol():
            return [item.at]
    return []


def _polar(centre: Point, radius: float, degrees: float) -> Point:
    return (
        centre[0] + radius * math.cos(math.radians(degrees)),
        centre[1] + radius * math.sin(math.radians(degrees)),
    )


# ---------------------------------------------------------------- working on paper, y still up


@dataclass
class _Work:
    marks: list[Primitive]
    lines: list[tuple[Point, Point]] = field(default_factory=list)
    boxes: list[list[Point]] = field(default_factory=list)

    def box(self) -> tuple[float, float, float, float]:
        xs: list[float] = []
        ys: list[float] = []
        for mark in self.marks:
            if isinstance(mark, Mark):
                points: Sequence[Point] = [p for ring in mark.rings for p in ring]
            elif isinstance(mark, Round):
                (x, y), r = mark.centre, mark.radius
                points = [(x - r, y - r), (x + r, y + r)]
                if mark.start != mark.end:
                    points = [_polar(mark.centre, r, mark.start + k * _sweep(mark) / 8) for k in range(9)]
            else:
                points = _letter_box(mark)
            for x, y in points:
                xs.append(x)
                ys.append(y)
        if not xs:
            return 0.0, 0.0, 1.0, 1.0
        return min(xs), min(ys), max(xs), max(ys)

    def line(self, role: Role, a: Point, b: Point, *, weight: float | None = None, title: str = "") -> None:
        self.marks.append(Mark(role, ((a, b),), weight=weight, title=title))
        self.lines.append((a, b))


def _sweep(mark: Round) -> float:
    return (mark.end - mark.start) % 360


def _letter_box(letters: Letters, pad: float = 0.0) -> list[Point]:
    wide = text_width(letters.text, letters.size)
    left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[letters.anchor]
    low, high = -0.22 * letters.size - pad, 0.75 * letters.size + pad
    c, s = math.cos(math.radians(letters.turn)), math.sin(math.radians(letters.turn))
    corners = [(left - pad, low), (left + wide + pad, low), (left + wide + pad, high), (left - pad, high)]
    return [(letters.at[0] + c * x - s * y, letters.at[1] + s * x + c * y) for x, y in corners]


def _overlap(a: Sequence[Point], b: Sequence[Point]) -> bool:
    """Whether two convex outlines overlap (separating axes)."""
    for ring in (a, b):
        for k in range(len(ring)):
            nx, ny = ring[k][1] - ring[k - 1][1], ring[k - 1][0] - ring[k][0]
            one = [nx * x + ny * y for x, y in a]
            two = [nx * x + ny * y for x, y in b]
            if max(one) <= min(two) or max(two) <= min(one):
                return False
    return True


def readable(turn: float) -> float:
    """The same direction turned so that lettering reads from below or from the right.

    >>> readable(180.0), readable(-90.0), readable(91.0), readable(135.0)
    (0.0, 90.0, 91.0, -45.0)
    """
    turn = (turn + 180.0) % 360.0 - 180.0
    if turn > 105.0:
        return turn - 180.0
    if turn <= -75.0:
        return turn + 180.0
    return turn


def _resolve(drawing: Drawing, scale: int) -> _Work:
    def to_paper(p: Point) -> Point:
        return p[0] / scale, p[1] / scale

    work = _Work([])
    waiting: list[Text] = []
    dimensions: list[tuple[Dimension, Point, Point]] = []
    for item in drawing.items:
        match item:
            case Line():
                work.line(item.role, to_paper(item.a), to_paper(item.b), title=item.title)
            case Polyline():
                ring = tuple(to_paper(p) for p in item.points)
                work.marks.append(Mark(item.role, (ring,), closed=item.closed, title=item.title))
                work.lines += list(itertools.pairwise(ring))
                if item.closed:
                    work.lines.append((ring[-1], ring[0]))
            case Polygon():
                rings = tuple(tuple(to_paper(p) for p in ring) for ring in (item.outline, *item.holes))
                work.marks.append(Mark(item.role, rings, closed=True, hatch=item.hatch, title=item.title))
                for ring in rings:
                    work.lines += list(zip(ring, (*ring[1:], ring[0]), strict=True))
            case Circle():
                work.marks.append(
                    Round(item.role, to_paper(item.centre), item.radius / scale, hatch=item.hatch, title=item.title)
                )
                (x, y), r = to_paper(item.centre), item.radius / scale
                work.lines += [((x - r, y), (x + r, y)), ((x, y - r), (x, y + r))]
            case Arc():
                work.marks.append(
                    Round(item.role, to_paper(item.centre), item.radius / scale, item.start, item.end, title=item.title)
                )
                chords = [
                    _polar(
                        to_paper(item.centre), item.radius / scale, item.start + k * ((item.end - item.start) % 360) / 4
                    )
                    for k in range(5)
                ]
                work.lines += list(itertools.pairwise(chords))
            case Symbol():
                _draw_symbol(work, item, to_paper(item.at))
            case Dimension():
                dimensions.append((item, to_paper(item.a), to_paper(item.b)))
            case Text():
                waiting.append(item)
    _draw_dimensions(work, dimensions, scale)
    for text in sorted(waiting, key=lambda t: bool(t.or_shift)):
        if text.inside and text_width(text.text, text.size) > text.inside / scale:
            continue
        _place_text(work, text, to_paper(text.at))
    return work


def _place_text(work: _Work, text: Text, at: Point) -> None:
    turn = readable(text.turn)
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    lines = text.text.split("\n")
    sizes = [text.size, *(text.size * text.rest for _ in lines[1:])]
    steps = list(itertools.accumulate(1.4 * size for size in sizes[1:]))
    best: tuple[float, list[Letters]] | None = None
    for order, (dx, dy) in enumerate([text.shift, *text.or_shift]):
        made = []
        for line, size, down in zip(lines, sizes, [0.0, *steps], strict=True):
            low = -(0.36 * size + down - (steps[-1] / 2 if steps else 0.0))
            spot = (at[0] + dx - s * low, at[1] + dy + c * low)
            made.append(Letters(text.role, spot, line, size, text.anchor, turn, clear=text.clear, title=text.title))
        cost = sum(_cost(work, letters) for letters in made) + order * 0.3 if text.or_shift else 0.0
        if best is None or cost < best[0] - 1e-9:
            best = (cost, made)
        if cost <= order * 0.3 + 1e-9:
            break
    if best is not None:
        work.marks += best[1]
        work.boxes += [_letter_box(letters, 0.3) for letters in best[1]]


def _cost(work: _Work, letters: Letters) -> float:
    box = _letter_box(letters, 0.4)
    cost = 12.0 * sum(_overlap(box, other) for other in work.boxes)
    xs, ys = [p[0] for p in box], [p[1] for p in box]
    low_x, high_x, low_y, high_y = min(xs), max(xs), min(ys), max(ys)
    for a, b in work.lines:
        if max(a[0], b[0]) < low_x or min(a[0], b[0]) > high_x or max(a[1], b[1]) < low_y or min(a[1], b[1]) > high_y:
            continue
        if _overlap(box, [a, b]):
            cost += 4.0
    return cost


# ---------------------------------------------------------------- dimensions


TICK = 1.4
GAP = 1.2
OVER = 1.4
DIMENSION_TEXT = 2.7


def _draw_dimensions(work: _Work, dimensions: Sequence[tuple[Dimension, Point, Point]], scale: int) -> None:
    texts: list[tuple[bool, int, Dimension, Point, Point, float]] = []
    for order, (item, a, b) in enumerate(dimensions):
        length = math.hypot(b[0] - a[0], b[1] - a[1])
        if length < 1e-6:
            continue
        ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        side = math.copysign(1.0, item.offset)
        nx, ny = -uy * side, ux * side
        off = abs(item.offset) + item.beyond / scale
        p, q = (a[0] + nx * off, a[1] + ny * off), (b[0] + nx * off, b[1] + ny * off)
        for start, end in ((a, p), (b, q)):
            if off > GAP:
                work.line(
                    item.role, (start[0] + nx * GAP, start[1] + ny * GAP), (end[0] + nx * OVER, end[1] + ny * OVER)
                )
        work.line(
            item.role, (p[0] - ux * OVER, p[1] - uy * OVER), (q[0] + ux * OVER, q[1] + uy * OVER), title=item.title
        )
        tx, ty = (ux - uy) * TICK / math.sqrt(2), (uy + ux) * TICK / math.sqrt(2)
        for x, y in (p, q):
            work.marks.append(Mark(item.role, (((x - tx, y - ty), (x + tx, y + ty)),), weight=0.45))
        fits = text_width(item.text, DIMENSION_TEXT) + 2.4 <= length
        texts.append((not fits, order, item, p, q, length))
    for tight, _, item, p, q, length in sorted(texts, key=lambda t: t[:2]):
        _dimension_text(work, item, p, q, length, tight=tight)


def _dimension_text(work: _Work, item: Dimension, p: Point, q: Point, length: float, *, tight: bool) -> None:
    turn = readable(math.degrees(math.atan2(q[1] - p[1], q[0] - p[0])))
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    mid = ((p[0] + q[0]) / 2, (p[1] + q[1]) / 2)
    wide = text_width(item.text, DIMENSION_TEXT)
    above, below = 0.9, -0.9 - 0.75 * DIMENSION_TEXT
    aside = (length + wide) / 2 + 1.8
    choices = [(0.0, above)]
    if tight:
        choices += [
            (0.0, below), (aside, above), (-aside, above), (0.0, above + 3.6), (0.0, below - 3.6),
            (aside, below), (-aside, below), (aside * 0.6, above + 3.6), (-aside * 0.6, above + 3.6),
            (0.0, above + 7.2), (0.0, below - 7.2),
        ]  # fmt: skip
    best: tuple[float, Letters, tuple[float, float]] | None = None
    for order, (along, up) in enumerate(choices):
        at = (mid[0] + c * along - s * up, mid[1] + s * along + c * up)
        letters = Letters(item.role, at, item.text, DIMENSION_TEXT, "middle", turn, title=item.title)
        cost = _cost(work, letters) + order * 0.3 if tight else 0.0
        if best is None or cost < best[0] - 1e-9:
            best = (cost, letters, (along, up))
    if best is None:
        return
    _, letters, (along, up) = best
    work.marks.append(letters)
    work.boxes.append(_letter_box(letters, 0.3))
    if abs(up) > 4.0:
        near = up - 0.6 if up > 0 else up + 0.75 * DIMENSION_TEXT + 0.6
        foot = (mid[0] + c * along - s * near, mid[1] + s * along + c * near)
        work.marks.append(Mark(item.role, ((mid, foot),), weight=0.13))


# ---------------------------------------------------------------- symbols


_REACH = {
    "outlet": 2.9, "switch": 3.8, "thermostat": 3.8, "call point": 4.2, "extinguisher": 4.2, "panelboard": 1.8,
    "exit": 4.6, "arrow": 5.0,
}  # fmt: skip
"""How far a symbol reaches from its base; those not listed are centred on it."""


def _symbol_box(kind: str, put: Callable[[float, float], Point]) -> list[Point]:
    half = 2.7 if kind in ("panelboard", "question") else 1.8
    reach = _REACH.get(kind)
    low, high = (0.0, reach) if reach is not None else (-half, half)
    return [put(low, -half), put(high, -half), put(high, half), put(low, half)]


def _draw_symbol(work: _Work, item: Symbol, at: Point) -> None:
    """Draw a symbol; one that would lie on another steps away from the wall, on a stem."""
    c, s = math.cos(math.radians(item.turn)), math.sin(math.radians(item.turn))
    step = 0.0

    def put(x: float, y: float) -> Point:
        x += step
        return at[0] + c * x - s * y, at[1] + s * x + c * y

    box = _symbol_box(item.kind, put)
    while item.kind in _REACH and step < 15.0 and any(_overlap(box, other) for other in work.boxes):
        step += 0.8
        box = _symbol_box(item.kind, put)
    work.boxes.append(box)

    def ring(
        *points: Point, closed: bool = True, filled: bool = False, weight: float | None = 0.25, clear: bool = False
    ) -> None:
        path = tuple(put(*p) for p in points)
        work.marks.append(
            Mark(item.role, (path,), closed=closed, weight=weight, title=item.title, filled=filled, clear=clear)
        )

    def circle(x: float, y: float, r: float, *, filled: bool = False) -> None:
        work.marks.append(Round(item.role, put(x, y), r, title=item.title, weight=0.25, filled=filled))

    def letter(x: float, y: float, text: str, size: float = 2.2) -> None:
        px, py = put(x, y)
        work.marks.append(Letters(item.role, (px, py - 0.36 * size), text, size, "middle", bold=True))

    if step:
        ring((-step, 0), (0, 0), closed=False)
    # x runs away from the wall the symbol stands on
    match item.kind:
        case "outlet":
            circle(1.7, 0, 1.2)
            ring((0, -0.45), (2.8, -0.45), closed=False)
            ring((0, 0.45), (2.8, 0.45), closed=False)
        case "switch" | "thermostat":
            ring((0, 0), (0.8, 0), closed=False)
            circle(2.3, 0, 1.5)
            letter(2.3, 0, "S" if item.kind == "switch" else "T")
        case "call point" | "extinguisher":
            ring((0, 0), (0.8, 0), closed=False)
            ring((0.8, -1.7), (4.2, -1.7), (4.2, 1.7), (0.8, 1.7))
            letter(2.5, 0, "CP" if item.kind == "call point" else "FE", 1.9)
        case "panelboard":
            ring((0, -2.6), (1.6, -2.6), (1.6, 2.6), (0, 2.6))
            ring((0, -2.6), (1.6, -2.6), (0, 2.6), filled=True)
        case "mark":
            circle(0, 0, 1.3)
            ring((-2.2, 0), (2.2, 0), closed=False)
            ring((0, -2.2), (0, 2.2), closed=False)
        case "datum":
            circle(0, 0, 1.6)
            ring((0, 0), (1.6, 0), (0, 1.6), filled=True)
            ring((0, 0), (-1.6, 0), (0, -1.6), filled=True)
        case "question":
            ring((0, 3.0), (-2.7, -1.7), (2.7, -1.7), weight=0.4, clear=True)
            letter(0, -0.1, "?", 3.2)
        case "exit":
            ring((0, -0.9), (2.6, -0.9), (2.6, -1.9), (4.6, 0), (2.6, 1.9), (2.6, 0.9), (0, 0.9), filled=True)
        case "arrow":
            ring((0, 0), (3.0, 0), closed=False)
            ring((3.0, -1.0), (5.0, 0), (3.0, 1.0), filled=True)
        case "level":
            ring((0, 0), (-1.5, 2.4), (1.5, 2.4), filled=True)


# ---------------------------------------------------------------- frame, notes, title block


def _moved(mark: Primitive, dx: float, dy: float) -> Primitive:
    """From y up to y down, shifted on to the sheet."""

    def put(p: Point) -> Point:
        return p[0] + dx, dy - p[1]

    match mark:
        case Mark():
            return replace(mark, rings=tuple(tuple(put(p) for p in ring) for ring in mark.rings))
        case Round():
            return replace(mark, centre=put(mark.centre))
        case Letters():
            return replace(mark, at=put(mark.at))


def _border(drawing: Drawing, laid: Laid) -> list[Primitive]:
    block = drawing.block
    if block is None:
        return []
    left, right, top, foot = FRAME, laid.width - FRAME, FRAME, laid.height - FRAME
    head = foot - BLOCK
    made: list[Primitive] = [
        Mark("outline", (((left, top), (right, top), (right, foot), (left, foot)),), closed=True, weight=0.5),
        Mark("outline", (((left, head), (right, head)),), weight=0.5),
    ]
    scale = laid.scale_text + (", dimensions in mm" if drawing.units == "metric" else "")
    cells = [
        ("BUILD", block.build, 0.27), ("SHEET", block.sheet, 0.26), ("REVISION", block.revision or "–", 0.1),
        ("DATE", block.date or "–", 0.12), ("SCALE", scale, 0.18), ("NO", block.number or "–", 0.07),
    ]  # fmt: skip
    x = left
    for k, (name, value, share) in enumerate(cells):
        wide = (right - left) * share
        if k:
            made.append(Mark("outline", (((x, head), (x, foot)),), weight=0.25))
        made.append(Letters("note", (x + 2, head + 4.2), name, 2.1, "start"))
        for line, text in enumerate(_wrapped(value, wide - 4, 3.2 if k < 2 else 2.8)):
            made.append(
                Letters("label", (x + 2, head + 8.8 + 4.0 * line), text, 3.2 if k < 2 else 2.8, "start", bold=k < 2)
            )
        x += wide
    size = len(drawing.notes)
    y = head - 3.2 - NOTE_STEP * (size - 1)
    for note in drawing.notes:
        made.append(Letters("note", (left + 4, y), note, NOTE_SIZE, "start"))
        y += NOTE_STEP
    return [*made, *_scale_bar(drawing.units, laid.scale, right - 4, head - 5.0)]


def _wrapped(text: str, wide: float, size: float) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", size) <= wide:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    if len(lines) > 2:
        lines = [lines[0], f"{lines[1]} …"]
    return lines


def _scale_bar(units: UnitSystem, scale: int, right: float, y: float) -> list[Primitive]:
    """A bar of four equal steps, so that a print of any size can be measured."""
    foot = 304.8
    steps = (
        [foot / 12, foot / 4, foot, 2 * foot, 5 * foot, 10 * foot, 20 * foot, 50 * foot]
        if units == "feet-inches"
        else [10.0, 50.0, 100.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0]
    )
    step = next((s for s in steps if s / scale >= 9.0), steps[-1])
    wide = step / scale
    left = right - 4 * wide - 3
    made: list[Primitive] = []
    for k in range(4):
        x = left + k * wide
        ring = ((x, y), (x + wide, y), (x + wide, y + 1.4), (x, y + 1.4))
        made.append(Mark("outline", (ring,), closed=True, weight=0.2, filled=k % 2 == 0))
    for k in (0, 1, 2, 4):
        if units == "feet-inches":
            inches = k * step / 25.4
            text = f"{inches / 12:g} ft" if inches >= 12 or not k else f"{inches:g} in"
        else:
            text = f"{k * step / 1000:g} m"
        if not k:
            text = "0"
        made.append(Letters("note", (left + k * wide, y - 1.2), text, SMALL, "middle"))
    return made
