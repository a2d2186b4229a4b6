"""From a drawing to marks on a sheet of known size: scale chosen, dimensions drawn out, lettering placed.

All results are paper millimetres with y pointing down from the sheet's upper left corner.
Scales are those of ISO 5455 for metric sheets and between them 1:25, 1:75, 1:125 and 1:250, which scale rules carry
too, and the architect's scales usual in US practice for feet and inches (common practice, no published source).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeAlias

from buildout.rooms.engine.drawing import (
    LABEL,
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
from buildout.rooms.engine.lettering import (
    CAP,
    FAINT,
    FIRM,
    HATCHED,
    LETTERING,
    PLAIN,
    Ground,
    Place,
    Settled,
    Wish,
    letter_box,
    settle,
    text_width,
    wrapped,
)
from buildout.units.lengths import UnitSystem

METRIC_SCALES = (1, 2, 5, 10, 20, 25, 50, 75, 100, 125, 200, 250, 500, 1000, 2000, 5000)
FOOT_SCALES = {
    1: "full size", 2: '6" = 1\'-0"', 4: '3" = 1\'-0"', 8: '1 1/2" = 1\'-0"', 12: '1" = 1\'-0"', 16: '3/4" = 1\'-0"',
    24: '1/2" = 1\'-0"', 32: '3/8" = 1\'-0"', 48: '1/4" = 1\'-0"', 64: '3/16" = 1\'-0"', 96: '1/8" = 1\'-0"',
    128: '3/32" = 1\'-0"', 192: '1/16" = 1\'-0"', 240: "1\" = 20'-0\"", 480: "1\" = 40'-0\"", 960: "1\" = 80'-0\"",
    2400: "1\" = 200'-0\"", 4800: "1\" = 400'-0\"",
}  # fmt: skip

FRAME = 1.0
"""From the sheet's edge to its frame line."""
BLOCK = 15.0
"""Height of the title block."""
AIR = 6.0
"""Least distance from the work to the frame."""
NOTE_SIZE = SMALL
NOTE_STEP = 4.4
BAR = 9.0
"""Height of the scale bar with its figures."""
BAR_WIDE = 150.0
"""It is never wider."""
COLUMN = 110.0
"""Width of a column of notes beside the work."""
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
    clear: bool = False
    """As of a ``Mark``."""


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


@dataclass(frozen=True)
class DrawnDimension:
    """A dimension with the row it was moved to and where its lettering stands."""

    item: Dimension
    offset: float
    """From a → b to its line, mm on paper, to the left; what is drawn to scale is counted in."""
    text_at: Point = (0.0, 0.0)
    moved: bool = False
    """Whether the lettering stands elsewhere than over the middle of the line."""


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
    dimensions: list[DrawnDimension] = field(default_factory=list)


def scale_words(scale: int, units: UnitSystem) -> str:
    """How a scale is written in the title block.

    >>> scale_words(96, "feet-inches"), scale_words(50, "metric")
    ('1/8" = 1\\'-0" (1:96)', '1:50')
    """
    return f"{FOOT_SCALES[scale]} (1:{scale})" if units == "feet-inches" and scale in FOOT_SCALES else f"1:{scale}"


@dataclass(frozen=True)
class _Sheet:
    """What a drawing stands on, and where its notes go."""

    width: float
    height: float | None
    framed: bool
    lines: list[str]
    beside: bool = False
    """Notes in a column at the right edge instead of under the work."""

    @property
    def side(self) -> float:
        return FRAME + AIR if self.framed else 2.0

    @property
    def across(self) -> float:
        return self.width - 2 * self.side - (COLUMN if self.beside else 0.0)

    @property
    def foot(self) -> float:
        """Height of what stands under the work: notes, scale bar and title block."""
        under = NOTE_STEP * (0 if self.beside else len(self.lines))
        if not self.framed:
            return under + (1.0 if self.lines else 0.0)
        if self.beside:
            return BLOCK
        return BLOCK + max(11.0, under + 3.0 + self.strip)

    @property
    def strip(self) -> float:
        """The scale bar stands to the right of the notes, or under them where they are too wide for that."""
        room = self.width - 2 * (FRAME + 4.0) - BAR_WIDE
        return BAR if any(text_width(line, NOTE_SIZE) > room for line in self.lines) else 0.0

    @property
    def up(self) -> float:
        return (self.height if self.height is not None else self.width * TALLEST) - 2 * self.side - self.foot

    def holds(self, box: tuple[float, float, float, float]) -> bool:
        fits = box[2] - box[0] <= self.across and box[3] - box[1] <= self.up
        if self.beside:
            fits = fits and NOTE_STEP * len(self.lines) <= self.up - BAR
        return fits


def lay_out(drawing: Drawing, width: float = 297.0, height: float | None = None, scale: int | None = None) -> Laid:
    """Lay a drawing out on a sheet ``width`` × ``height`` mm at the largest usual scale that fits.

    ``height`` None: as high as needed, up to 1.3 × the width. ``scale`` forces one (it may then not fit). On a sheet of
    given height the notes stand beside the work where a larger scale fits so.
    """
    sheets = _sheets(drawing, width, height)
    known = list(FOOT_SCALES) if drawing.units == "feet-inches" else list(METRIC_SCALES)
    tried = [scale] if scale is not None else _worth_trying(drawing, known, sheets)
    chosen, work, box, sheet = known[-1], _Work([]), (0.0, 0.0, 1.0, 1.0), sheets[0]
    for candidate in tried:
        chosen = candidate
        room = (max(s.across for s in sheets), max(s.up for s in sheets))
        work = _resolve(drawing, candidate, room if candidate != tried[-1] else (math.inf, math.inf))
        box = work.box()
        fitting = [s for s in sheets if s.holds(box)]
        if fitting:
            sheet = fitting[0]
            break
    side, foot = sheet.side, sheet.foot
    tall = height if height is not None else box[3] - box[1] + 2 * side + foot
    dx = side + (sheet.across - (box[2] - box[0])) / 2 - box[0]
    top = side + max(0.0, (tall - 2 * side - foot - (box[3] - box[1])) / 2)
    dy = top + box[3]
    laid = Laid(width=width, height=tall, scale=chosen, scale_text=scale_words(chosen, drawing.units), origin=(dx, dy))
    laid.marks = [_moved(mark, dx, dy) for mark in work.marks]
    laid.dimensions = [
        replace(one, text_at=(one.text_at[0] + dx, dy - one.text_at[1])) for one in work.dimensions
    ]  # fmt: skip
    laid.marks += _border(drawing, laid, sheet) if sheet.framed else _notes(sheet.lines, 2.0, laid.height - 1.6)
    return laid


def _sheets(drawing: Drawing, width: float, height: float | None) -> list[_Sheet]:
    framed = drawing.block is not None
    side = FRAME + 4.0 if framed else 2.0
    found = [_Sheet(width, height, framed, _note_lines(drawing, width - 2 * side - 4.0))]
    if framed and height is not None and len(drawing.notes) > 2:
        found.append(_Sheet(width, height, framed, _note_lines(drawing, COLUMN - 6.0), beside=True))
    return found


def _note_lines(drawing: Drawing, wide: float) -> list[str]:
    """Notes broken to ``wide`` mm; what goes on in a second line is set in."""
    lines: list[str] = []
    for note in drawing.notes:
        first, *more = wrapped(note, wide - NOTE_SIZE, NOTE_SIZE)
        lines += [first, *(f"\u2003{line}" for line in more)]
    return lines


def _worth_trying(drawing: Drawing, known: Sequence[int], sheets: Sequence[_Sheet]) -> list[int]:
    """Scales from the first at which the bare geometry fits, so that dimensions are not laid out in vain."""
    xs, ys = [], []
    for item in drawing.items:
        for x, y in _reach(item):
            xs.append(x)
            ys.append(y)
    if not xs:
        return [known[0]]
    wide, high = max(xs) - min(xs), max(ys) - min(ys)
    able = [n for n in known if any(wide / n <= sheet.across and high / n <= sheet.up for sheet in sheets)]
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


FIRM_ROLES: frozenset[Role] = frozenset((
    "wall", "stud wall", "low wall", "door", "swing", "column", "mark", "suspect", "datum", "frame", "ramp",
    "first line", "cover", "cutout", "cap", "floor line", "section cut", "stock", "dimension", "outline", "highlight",
    "removed", "added",
))  # fmt: skip
"""Lines that lettering keeps clear of; the others may be broken behind it."""
FAINT_ROLES: frozenset[Role] = frozenset((
    "keep clear", "mat field", "reading", "lower joint", "band", "weld", "cleat", "grid", "hidden", "offcut",
))  # fmt: skip
TO_EDGE = 0.4
"""From lettering to the edges of the piece it stands in, mm."""
DARK = 30.0
"""Cost of lettering on a dark ground."""
DARK_ROLES: frozenset[Role] = frozenset(("wall", "stud wall", "column"))


@dataclass
class _Work:
    marks: list[Primitive]
    signs: list[Primitive] = field(default_factory=list)
    """Drawn over the lines, whose ground they blank."""
    ground: Ground = field(default_factory=Ground)
    dimensions: list[DrawnDimension] = field(default_factory=list)

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
                points = letter_box(mark.at, mark.text, mark.size, mark.anchor, mark.turn, bold=mark.bold)
            for x, y in points:
                xs.append(x)
                ys.append(y)
        if not xs:
            return 0.0, 0.0, 1.0, 1.0
        return min(xs), min(ys), max(xs), max(ys)

    def line(self, role: Role, a: Point, b: Point, *, weight: float | None = None, title: str = "") -> None:
        self.marks.append(Mark(role, ((a, b),), weight=weight, title=title))
        self.mind(role, [a, b])

    def mind(self, role: Role, points: Sequence[Point], *, closed: bool = False) -> None:
        """Keep lettering off a line that is drawn."""
        cost = FIRM if role in FIRM_ROLES else FAINT if role in FAINT_ROLES else PLAIN
        for a, b in itertools.pairwise((*points, points[0]) if closed else points):
            self.ground.line(a, b, cost)

    def shade(self, role: Role, rings: Sequence[Sequence[Point]], hatch: Hatch) -> None:
        """Mind a hatched or filled area."""
        if hatch == "fill":
            if role in DARK_ROLES:
                self.ground.area(rings, DARK)
        elif hatch:
            self.ground.area(rings, HATCHED)


def _sweep(mark: Round) -> float:
    return (mark.end - mark.start) % 360


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


def _resolve(drawing: Drawing, scale: int, room: tuple[float, float]) -> _Work:
    """Everything at one scale; lettering is left out where lines alone do not fit the room across and up."""

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
                work.mind(item.role, ring, closed=item.closed)
            case Polygon():
                rings = tuple(tuple(to_paper(p) for p in ring) for ring in (item.outline, *item.holes))
                work.marks.append(Mark(item.role, rings, closed=True, hatch=item.hatch, title=item.title))
                for ring in rings:
                    work.mind(item.role, ring, closed=True)
                work.shade(item.role, rings, item.hatch)
            case Circle():
                middle, r = to_paper(item.centre), item.radius / scale
                work.marks.append(Round(item.role, middle, r, hatch=item.hatch, title=item.title))
                ring = tuple(_polar(middle, r, 22.5 * k) for k in range(16))
                work.mind(item.role, ring, closed=True)
                work.shade(item.role, [ring], item.hatch)
            case Arc():
                middle, r = to_paper(item.centre), item.radius / scale
                work.marks.append(Round(item.role, middle, r, item.start, item.end, title=item.title))
                sweep = (item.end - item.start) % 360
                work.mind(item.role, [_polar(middle, r, item.start + k * sweep / 8) for k in range(9)])
            case Symbol():
                _draw_symbol(work, item, to_paper(item.at))
            case Dimension():
                dimensions.append((item, to_paper(item.a), to_paper(item.b)))
            case Text():
                waiting.append(item)
    wishes = _draw_dimensions(work, dimensions, scale)
    work.marks += work.signs
    left, low, right, high = work.box()
    if right - left > room[0] or high - low > room[1]:
        return work
    wishes += [_text_wish(text, scale) for text in sorted(waiting, key=lambda t: (t.roam > 0, bool(t.or_shift)))]
    found = settle(work.ground, [wish for _, wish, _ in wishes])
    for (item, wish, drawn), settled in zip(wishes, found, strict=True):
        if settled is not None:
            _write(work, item, wish, settled)
        if drawn is not None and settled is not None:
            work.dimensions.append(replace(drawn, text_at=settled.place.at, moved=settled.place is not wish.places[0]))
    return work


def _write(work: _Work, item: Text | Dimension, wish: Wish, settled: Settled) -> None:
    clear = settled.blank or (isinstance(item, Text) and item.clear)
    if settled.leader is not None:
        work.marks.append(Mark(item.role, (settled.leader,), weight=0.13))
        if isinstance(item, Text):
            work.marks.append(Round(item.role, settled.leader[0], 0.4, weight=0.0, filled=True))
    work.marks += [
        Letters(item.role, at, text, size, wish.anchor, settled.turn, clear=clear, title=item.title)
        for (text, size), at in zip(wish.lines, settled.lines, strict=True)
    ]


_Wished: TypeAlias = "tuple[Text | Dimension, Wish, DrawnDimension | None]"


def _text_wish(text: Text, scale: int) -> _Wished:
    turn = readable(text.turn)
    first, *others = text.text.split("\n")
    lines = [(first, text.size), *((line, text.size * text.rest) for line in others)]
    inside = text.inside / scale - 2 * TO_EDGE
    if text.deep and len(lines) == 1 and text_width(first, text.size) > inside:
        parts = wrapped(first, inside, text.size)
        fits = max(text_width(part, text.size) for part in parts) <= inside
        if fits and text.size * (1.4 * (len(parts) - 1) + 1.0) <= text.deep / scale:
            lines = [(part, text.size) for part in parts]
    at = (text.at[0] / scale, text.at[1] / scale)
    shifts = [text.shift, *text.or_shift]
    room = inside - max(text_width(line, size) for line, size in lines)
    if text.inside and room > 0:  # along its piece, rather than out of it
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        shifts += [(c * room * k, s * room * k) for k in (0.2, -0.2, 0.4, -0.4)]
    places = [
        Place((at[0] + dx, at[1] + dy), order * 0.3, turn, lead=order > 0 and not text.inside)
        for order, (dx, dy) in enumerate(shifts)
    ]
    if text.inside and room < 0:
        places = [replace(place, cost=2 * LETTERING) for place in places[:1]]
    wish = Wish(lines, places, anchor=text.anchor, names=at, roam=text.roam, led=text.led, may_drop=bool(text.inside))
    return text, wish, None


# ---------------------------------------------------------------- dimensions


TICK = 1.4
GAP = 1.2
OVER = 1.4
DIMENSION_TEXT = 2.8
ROW = 7.0
"""From one row of dimensions to the next."""
ROWS = 8
"""A dimension moves out no more than this many rows."""


def _draw_dimensions(work: _Work, dimensions: Sequence[tuple[Dimension, Point, Point]], scale: int) -> list[_Wished]:
    """Draw dimension lines, each in the first row that is free, and say what lettering they want."""
    drawn: list[tuple[Dimension, Point, Point, float]] = []
    rows: list[tuple[Point, Point]] = []
    for item, a, b in dimensions:
        length = math.hypot(b[0] - a[0], b[1] - a[1])
        if length < 1e-6:
            continue
        ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        side = math.copysign(1.0, item.offset)
        nx, ny = -uy * side, ux * side
        off = abs(item.offset) + item.beyond / scale
        for _ in range(ROWS):
            p, q = (a[0] + nx * off, a[1] + ny * off), (b[0] + nx * off, b[1] + ny * off)
            if not item.offset or not (any(_same_row(p, q, row) for row in rows) or _through_a_sign(work, p, q)):
                break
            off += ROW
        rows.append((p, q))
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
            work.mind(item.role, [(x - tx, y - ty), (x + tx, y + ty)])
        drawn.append((item, p, q, side * off))
    wishes: list[tuple[bool, _Wished]] = []
    for item, p, q, offset in drawn:
        tight = text_width(item.text, DIMENSION_TEXT) + 2.4 > math.dist(p, q)
        wish = _dimension_wish(item, p, q, rows, tight=tight)
        wishes.append((tight, (item, wish, DrawnDimension(item, offset))))
    return [wish for _, wish in sorted(wishes, key=lambda one: one[0])]


def _through_a_sign(work: _Work, p: Point, q: Point) -> bool:
    """Whether a dimension line would run through a sign; lettering is not placed yet."""
    long = math.dist(p, q)
    nx, ny = -(q[1] - p[1]) / long * 0.3, (q[0] - p[0]) / long * 0.3
    line = [(p[0] + nx, p[1] + ny), (p[0] - nx, p[1] - ny), (q[0] - nx, q[1] - ny), (q[0] + nx, q[1] + ny)]
    return bool(work.ground.on(line, 0))


def _same_row(p: Point, q: Point, row: tuple[Point, Point]) -> bool:
    """Whether two dimension lines run side by side with no room for lettering between them."""
    (a, b), long = row, math.dist(*row)
    ux, uy = (b[0] - a[0]) / long, (b[1] - a[1]) / long
    off = [(x - a[0]) * -uy + (y - a[1]) * ux for x, y in (p, q)]
    if abs(off[0] - off[1]) > 0.1 * math.dist(p, q) or min(map(abs, off)) > ROW - 1.5:
        return False
    runs = sorted((x - a[0]) * ux + (y - a[1]) * uy for x, y in (p, q))
    return min(runs[1], long) - max(runs[0], 0.0) > 0.5


def _goes_on(end: Point, other: Point, rows: Sequence[tuple[Point, Point]]) -> bool:
    """Whether another dimension line goes on from ``end`` in the direction away from ``other``."""
    long = math.dist(end, other)
    away = ((end[0] - other[0]) / long, (end[1] - other[1]) / long)
    return any(
        math.dist(end, start) < 0.5
        and (far[0] - start[0]) * away[0] + (far[1] - start[1]) * away[1] > 0.9 * math.dist(start, far)
        for a, b in rows
        for start, far in ((a, b), (b, a))
    )


def _dimension_wish(item: Dimension, p: Point, q: Point, rows: Sequence[tuple[Point, Point]], *, tight: bool) -> Wish:
    length = math.dist(p, q)
    turn = readable(math.degrees(math.atan2(q[1] - p[1], q[0] - p[0])))
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    mid = ((p[0] + q[0]) / 2, (p[1] + q[1]) / 2)
    wide = text_width(item.text, DIMENSION_TEXT)
    above = 0.9 + CAP / 2 * DIMENSION_TEXT
    choices: list[tuple[float, float]] = [(0.0, above)]
    if tight:
        aside = (length + wide) / 2 + 2.4
        # Beside its line, not over a neighbour's, where it would be read as that one's.
        before, after = (p, q) if (q[0] - p[0]) * c + (q[1] - p[1]) * s > 0 else (q, p)
        if _goes_on(after, before, rows) and not _goes_on(before, after, rows):
            aside = -aside
        choices += [
            (0.0, -above), (aside, above), (-aside, above), (0.0, above + 3.6), (0.0, -above - 3.6),
            (aside, -above), (-aside, -above), (aside * 0.6, above + 3.6), (-aside * 0.6, above + 3.6),
            (0.0, above + 7.2), (0.0, -above - 7.2),
        ]  # fmt: skip
    else:
        room = length - wide - 2.4
        choices += [(room * k, side) for k in (0.25, -0.25, 0.5, -0.5) for side in (above, -above)]
        choices.insert(3, (0.0, -above))
    places = [
        Place((mid[0] + c * x - s * y, mid[1] + s * x + c * y), 0.3 * order, turn, lead=abs(y) > above + 1.0)
        for order, (x, y) in enumerate(choices)
    ]
    return Wish([(item.text, DIMENSION_TEXT)], places, names=mid, roam=20.0, apart=0.7)


# ---------------------------------------------------------------- symbols


_REACH = {
    "outlet": 2.9, "switch": 4.4, "thermostat": 4.4, "call point": 5.8, "extinguisher": 5.8, "panelboard": 1.8,
    "exit": 4.6, "arrow": 5.0,
}  # fmt: skip
"""How far a symbol reaches from its base; those not listed are centred on it."""


def _symbol_box(kind: str, put: Callable[[float, float], Point]) -> list[Point]:
    half = 2.7 if kind in ("panelboard", "question", "call point", "extinguisher") else 1.9
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
    while item.kind in _REACH and step < 15.0 and work.ground.on(box, 0):
        step += 0.8
        box = _symbol_box(item.kind, put)
    work.ground.box(box)

    def ring(
        *points: Point, closed: bool = True, filled: bool = False, weight: float | None = 0.25, clear: bool = False
    ) -> None:
        path = tuple(put(*p) for p in points)
        work.signs.append(
            Mark(item.role, (path,), closed=closed, weight=weight, title=item.title, filled=filled, clear=clear)
        )

    def circle(x: float, y: float, r: float, *, filled: bool = False, clear: bool = False) -> None:
        work.signs.append(Round(item.role, put(x, y), r, title=item.title, weight=0.25, filled=filled, clear=clear))

    def letter(x: float, y: float, text: str, size: float = SMALL) -> None:
        px, py = put(x, y)
        work.signs.append(Letters(item.role, (px, py - 0.36 * size), text, size, "middle", bold=True))

    if step:  # the stem runs under what it passes
        work.marks.append(Mark(item.role, ((at, put(0, 0)),), weight=0.25, title=item.title))
    # x runs away from the wall the symbol stands on
    match item.kind:
        case "outlet":
            circle(1.7, 0, 1.2)
            ring((0, -0.45), (2.8, -0.45), closed=False)
            ring((0, 0.45), (2.8, 0.45), closed=False)
        case "switch" | "thermostat":
            ring((0, 0), (0.8, 0), closed=False)
            circle(2.6, 0, 1.8, clear=True)
            letter(2.6, 0, "S" if item.kind == "switch" else "T")
        case "call point" | "extinguisher":
            ring((0, 0), (0.8, 0), closed=False)
            ring((0.8, -2.5), (5.8, -2.5), (5.8, 2.5), (0.8, 2.5), clear=True)
            letter(3.3, 0, "CP" if item.kind == "call point" else "FE")
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


def _border(drawing: Drawing, laid: Laid, sheet: _Sheet) -> list[Primitive]:
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
        made.append(Letters("note", (x + 2, head + 4.2), name, SMALL, "start"))
        size = LABEL if k < 2 else SMALL
        lines = wrapped(value, wide - 4, size, bold=k < 2)
        if len(lines) > 2:
            lines = [lines[0], f"{lines[1]} …"]
        made += [
            Letters("label", (x + 2, head + 8.9 + 4.0 * line), text, size, "start", bold=k < 2)
            for line, text in enumerate(lines)
        ]
        x += wide
    if sheet.beside:
        made += _notes(sheet.lines, right - COLUMN + 4.0, top + 3.0 + NOTE_STEP * len(sheet.lines))
    else:
        made += _notes(sheet.lines, left + 4, head - 3.2 - sheet.strip)
    return [*made, *_scale_bar(drawing.units, laid.scale, right - 4, head - 5.0, COLUMN if sheet.beside else BAR_WIDE)]


def _notes(lines: Sequence[str], left: float, last: float) -> list[Primitive]:
    """Notes one below the other, the last one's base line at ``last``."""
    first = last - NOTE_STEP * (len(lines) - 1)
    return [Letters("note", (left, first + NOTE_STEP * k), line, NOTE_SIZE, "start") for k, line in enumerate(lines)]


def _scale_bar(units: UnitSystem, scale: int, right: float, y: float, most: float) -> list[Primitive]:
    """A bar of four equal steps, so that a print of any size can be measured."""
    foot = 304.8
    steps = (
        [foot / 12, foot / 4, foot, 2 * foot, 5 * foot, 10 * foot, 20 * foot, 50 * foot]
        if units == "feet-inches"
        else [10.0, 50.0, 100.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0]
    )
    able = [s for s in steps if s / scale >= 9.0 and 4 * s / scale + 6.0 <= most]
    step = able[0] if able else next((s for s in steps if s / scale >= 5.0), steps[-1])
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
