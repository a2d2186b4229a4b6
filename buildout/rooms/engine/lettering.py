"""How wide lettering is and where it finds room on a sheet: the one rule for every drawing.

All sizes are millimetres on paper, y up. A ``Wish`` is a piece of lettering with the places it may stand at, best
first. Lettering goes to the first of them that is free; lettering whose places are all taken moves off on a leader.
What crosses thin lines or hatching blanks its ground; other lettering, dimension lines and thick outlines are kept
clear of. Same wishes, same result.
"""

from __future__ import annotations

import itertools
import math
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from buildout.rooms.engine.geometry import Point, contains

_WIDTHS = (
    (0.222, "ijl‘’"), (0.191, "'"), (0.26, "|"), (0.278, " !,./:;I[]\\ft·"), (0.333, "()-`r²³“”„"), (0.334, "{}"),
    (0.35, "•"), (0.355, '"'), (0.389, "*"), (0.4, "°"), (0.469, "^"), (0.5, "Jckvsxyz"),
    (0.556, "#$0123456789?L_abdeghnopqu–€£¥≈"), (0.584, "+<=>~×÷±−"), (0.611, "FTZß"), (0.667, "&ABEKPSVXY"),
    (0.722, "CDHNRUw"), (0.778, "GOQ"), (0.833, "Mm½¼¾"), (0.889, "%"), (0.944, "W"), (1.0, "—…→◆▤\u2003"),
    (1.015, "@"),
)  # fmt: skip
_ADVANCE = {letter: share for share, letters in _WIDTHS for letter in letters}
OTHER = 0.667
"""A letter that is not in the list is taken to be as wide as most capitals."""
BOLD = 1.12
"""Bold letters and digits are hardly wider than this, against plain ones."""
CAP = 0.72
"""Height of a capital or digit as a share of the size of lettering."""
LOW = 0.22
"""How far a tail reaches below the line, likewise."""
TAILS = frozenset("gjpqyQ,;()[]{}|_")


@lru_cache(maxsize=512)
def _advance(letter: str) -> float:
    return _ADVANCE.get(unicodedata.normalize("NFD", letter)[0], OTHER)


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of lettering ``size`` high, mm.

    Advance widths of Helvetica (Adobe's font metrics for the 14 standard fonts), which Arial and Liberation Sans
    share.

    >>> round(text_width("62' 0\\"", 10), 2)
    24.92
    """
    wide = sum(map(_advance, text))
    return size * wide * (BOLD if bold else 1.0)


def text_reach(text: str, size: float) -> tuple[float, float]:
    """How far lettering reaches below (negative) and above its base line, mm.

    >>> [round(reach, 2) for reach in text_reach("gap", 10)]
    [-2.2, 7.2]
    """
    return -LOW * size if any(c in TAILS for c in text) else 0.0, CAP * size


_BETWEEN_WORDS = re.compile(r"(?<![\d'×]) | (?![\d×]|in\b|mm\b|m\b)")


def wrapped(text: str, wide: float, size: float, *, bold: bool = False) -> list[str]:
    """Text broken between words into lines no wider than ``wide`` (a single word may be). Sizes are kept together.

    >>> wrapped("one two three", 15.0, 3.0), wrapped("side of 1200 mm", 15.0, 3.0)
    (['one two', 'three'], ['side of', '1200 mm'])
    """
    lines: list[str] = []
    for word in _BETWEEN_WORDS.split(text):
        if lines and text_width(f"{lines[-1]} {word}", size, bold=bold) <= wide:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def shortened(text: str, wide: float, size: float, *, bold: bool = False) -> str:
    """Text cut with an ellipsis where it is wider than ``wide``; empty where not even one letter fits.

    >>> shortened("wall panels", 12.0, 3.0), shortened("wall", 12.0, 3.0)
    ('wall p…', 'wall')
    """
    if text_width(text, size, bold=bold) <= wide:
        return text
    for keep in range(len(text) - 1, 0, -1):
        cut = f"{text[:keep].rstrip()}…"
        if text_width(cut, size, bold=bold) <= wide:
            return cut
    return ""


# ---------------------------------------------------------------- what lies on the sheet

Box = Sequence[Point]
CELL = 10.0
LETTERING = 30.0
"""Cost of standing on other lettering or on a sign."""
FIRM = 10.0
"""Cost of crossing a line that must not be broken."""
PLAIN = 3.0
"""Cost of breaking a thin line, the edge of a piece."""
FAINT = 0.6
"""Cost of breaking a faint or dashed line."""
HATCHED = 0.8
THROUGH = 3.0
"""Cost of standing on the other side of a firm line; more where other lettering is between."""
ENOUGH = 2.9
"""A place that costs less is good enough not to look for one farther off."""


def overlap(a: Box, b: Box) -> bool:
    """Whether two convex outlines overlap (separating axes)."""
    for ring in (a, b):
        for k in range(len(ring)):
            nx, ny = ring[k][1] - ring[k - 1][1], ring[k - 1][0] - ring[k][0]
            one = [nx * x + ny * y for x, y in a]
            two = [nx * x + ny * y for x, y in b]
            if max(one) <= min(two) or max(two) <= min(one):
                return False
    return True


def _crosses(ring: Box, a: Point, b: Point) -> bool:
    """Whether a line passes through a rectangle (clipped to it in the rectangle's own axes)."""
    (x0, y0), (x1, y1), _, (x3, y3) = ring
    low, high = 0.0, 1.0
    for ux, uy in ((x1 - x0, y1 - y0), (x3 - x0, y3 - y0)):
        square = ux * ux + uy * uy
        start = ((a[0] - x0) * ux + (a[1] - y0) * uy) / square
        step = ((b[0] - a[0]) * ux + (b[1] - a[1]) * uy) / square
        if abs(step) < 1e-9:
            if not 0.0 < start < 1.0:
                return False
            continue
        one, two = -start / step, (1.0 - start) / step
        if one > two:
            one, two = two, one
        low, high = max(low, one), min(high, two)
        if low >= high:
            return False
    return True


class Ground:
    """Lines, hatched areas and lettering on a sheet, found by place."""

    def __init__(self) -> None:
        self._lines: dict[tuple[int, int], list[tuple[int, Point, Point, float, int]]] = {}
        self._boxes: dict[tuple[int, int], dict[int, list[tuple[Box, tuple[float, float, float, float]]]]] = {}
        self._areas: list[tuple[Sequence[Box], tuple[float, float, float, float], float]] = []
        self._count = 0

    def line(self, a: Point, b: Point, cost: float, owner: int = -1) -> None:
        """A line that lettering had better not cross; ``owner`` may."""
        self._count += 1
        entry = (self._count, a, b, cost, owner)
        for cell in _along(a, b):
            self._lines.setdefault(cell, []).append(entry)

    def box(self, ring: Box, owner: int = -1) -> None:
        """A place that is taken."""
        entry = (ring, _bounds(ring))
        for cell in _cells(entry[1]):
            self._boxes.setdefault(cell, {}).setdefault(owner, []).append(entry)

    def area(self, rings: Sequence[Box], cost: float) -> None:
        """A hatched or dark area with its holes."""
        self._areas.append((rings, _bounds(rings[0]), cost))

    def free(self, owner: int, rings: Iterable[Box], leader: tuple[Point, Point] | None) -> None:
        """Take lettering, and its leader, up again."""
        for ring in rings:
            for cell in _cells(_bounds(ring)):
                self._boxes.get(cell, {}).pop(owner, None)
        if leader is not None:
            for cell in _along(*leader):
                self._lines[cell] = [one for one in self._lines[cell] if one[4] != owner]

    def on(self, ring: Box, owner: int, start: Point | None = None) -> list[int]:
        """Whose lettering or signs an outline overlaps, once for each; not those round about ``start``."""
        x0, y0, x1, y1 = bounds = _bounds(ring)
        found: dict[int, int] = {}
        for cell in _cells(bounds):
            for other, boxes in self._boxes.get(cell, {}).items():
                if other == owner:
                    continue
                for box, (bx0, by0, bx1, by1) in boxes:
                    if id(box) in found or bx0 >= x1 or bx1 <= x0 or by0 >= y1 or by1 <= y0:
                        continue
                    if overlap(ring, box) and not (start is not None and contains(box, start)):
                        found[id(box)] = other
        return list(found.values())

    def out_of_sign(self, start: Point, end: Point) -> Point:
        """Where a line leaves the sign it starts in, if it does."""
        for box, _ in self._boxes.get(_cells(_bounds((start, start)))[0], {}).get(-1, []):
            if contains(box, start):
                return next(
                    (start[0] + (end[0] - start[0]) * k / 40, start[1] + (end[1] - start[1]) * k / 40)
                    for k in range(1, 41)
                    if k == 40 or not contains(box, (start[0] + (end[0] - start[0]) * k / 40,
                                                     start[1] + (end[1] - start[1]) * k / 40))
                )  # fmt: skip
        return start

    def crossed(self, ring: Box, owner: int) -> tuple[float, float]:
        """Cost of the lines an outline lies on, and how much of it is of lines that may be broken."""
        low_x, low_y, high_x, high_y = bounds = _bounds(ring)
        total = breakable = 0.0
        seen: set[int] = set()
        for cell in _cells(bounds):
            for number, a, b, cost, whose in self._lines.get(cell, ()):
                if number in seen or whose == owner:
                    continue
                seen.add(number)
                if (a[0] < low_x and b[0] < low_x) or (a[0] > high_x and b[0] > high_x):
                    continue
                if (a[1] < low_y and b[1] < low_y) or (a[1] > high_y and b[1] > high_y):
                    continue
                if _crosses(ring, a, b):
                    total += cost
                    breakable += cost if cost < FIRM else 0.0
        return total, breakable

    def hatched(self, ring: Box) -> float:
        """Cost of the hatched areas an outline lies on."""
        low_x, low_y, high_x, high_y = _bounds(ring)
        return sum(
            cost
            for rings, (x0, y0, x1, y1), cost in self._areas
            if x0 < high_x and x1 > low_x and y0 < high_y and y1 > low_y and _meets(ring, rings)
        )


def _meets(ring: Box, area: Sequence[Box]) -> bool:
    if any(sum(contains(part, p) for part in area) % 2 for p in ring):
        return True
    return any(_crosses(ring, a, b) for part in area for a, b in zip(part, (*part[1:], part[0]), strict=True))


def _bounds(ring: Box) -> tuple[float, float, float, float]:
    xs, ys = [p[0] for p in ring], [p[1] for p in ring]
    return min(xs), min(ys), max(xs), max(ys)


def _cells(bounds: tuple[float, float, float, float]) -> list[tuple[int, int]]:
    x0, y0, x1, y1 = (math.floor(v / CELL) for v in bounds)
    return [(x, y) for x in range(x0, x1 + 1) for y in range(y0, y1 + 1)]


def _along(a: Point, b: Point) -> list[tuple[int, int]]:
    """Cells a line passes, and some beside it."""
    steps = max(1, math.ceil(math.dist(a, b) / CELL))
    found: dict[tuple[int, int], None] = {}
    spots = [(a[0] + (b[0] - a[0]) * k / steps, a[1] + (b[1] - a[1]) * k / steps) for k in range(steps + 1)]
    for p, q in itertools.pairwise(spots):
        bounds = (min(p[0], q[0]), min(p[1], q[1]), max(p[0], q[0]), max(p[1], q[1]))
        found |= dict.fromkeys(_cells(bounds))
    return list(found)


# ---------------------------------------------------------------- wishes

DIRECTIONS = 16
DISTANCES = (5.0, 7.0, 9.5, 12.5, 16.0, 20.0, 25.0, 31.0)
"""How far lettering moves off when its places are taken, mm."""
NEAR = 2.5
"""Lettering that had to leave its places has a leader unless it is this close, mm, to what it names."""
LED = 3.0
"""Lettering that stands this much farther from what it names than it was to, mm, has a leader."""
ROUNDS = 3
BLANK = 0.35
"""How far blanked ground reaches beyond lettering, and half of what lettering keeps from lettering, mm."""
AIR = 0.15
"""What lettering keeps from lines, mm."""


@dataclass(frozen=True)
class Place:
    """Where the middle of a block of lettering may stand, and what it costs to stand there rather than elsewhere."""

    at: Point
    cost: float = 0.0
    turn: float = 0.0
    lead: bool = False
    """Whether it may need a leader there."""
    strayed: bool = False
    """Whether it is none of the places that were asked for."""


@dataclass
class Wish:
    """Lettering looking for a place."""

    lines: list[tuple[str, float]]
    """Each line with its size."""
    places: list[Place]
    anchor: str = "middle"
    names: Point | None = None
    """What it names: where a leader begins."""
    roam: float = 0.0
    """How far it may move off when all its places are taken, mm."""
    led: bool = True
    """Whether it has a leader when it moves off; across a firm line it always has."""
    apart: float = 0.0
    """How far from other lettering on its own line, so that two figures do not read as one."""
    bold: bool = False
    may_drop: bool = False


@dataclass(frozen=True)
class Settled:
    """Where lettering stands: base line point of each line, outlines, leader, whether the ground is blanked."""

    lines: list[Point]
    turn: float
    boxes: list[list[Point]]
    leader: tuple[Point, Point] | None
    blank: bool
    cost: float
    crowd: float
    """Part of the cost: what it stands on."""
    place: Place


@dataclass
class _Desk:
    ground: Ground
    wishes: Sequence[Wish]
    settled: dict[int, Settled] = field(default_factory=dict)


def settle(ground: Ground, wishes: Sequence[Wish]) -> list[Settled | None]:
    """Find a place for each wish, in the order given, then let those that are in each other's way look again.

    First come those that can stand where they would best, then those with another place, then those that move off.

    None stands for lettering that may be dropped and has no free place. ``ground`` then holds the lettering too.
    """
    desk = _Desk(ground, wishes)
    waiting = list(range(len(wishes)))
    for reach in (1, None):  # who has no place of its own takes nobody else's
        crowded_out = []
        for number in waiting:
            here = _best(desk, number, reach, farther=False)
            if here.crowd < ENOUGH and here.place.cost < LETTERING:
                _put(desk, number, here)
            else:
                crowded_out.append(number)
        waiting = crowded_out
    for number in waiting:
        _put(desk, number, _best(desk, number))
    for _ in range(ROUNDS):
        now = [_weigh(desk, number, desk.settled[number].place) for number in range(len(wishes))]
        crowded = [number for number, here in enumerate(now) if here.crowd >= ENOUGH]
        if not sum([_make_room(desk, number) for number in crowded]):
            break
    found: list[Settled | None] = []
    for number, wish in enumerate(wishes):
        here = desk.settled[number]
        _lift(desk, number)
        here = _weigh(desk, number, here.place)  # neighbours may have moved off meanwhile
        if wish.may_drop and (here.crowd >= FIRM or here.place.cost >= LETTERING):
            found.append(None)
            continue
        _put(desk, number, here)
        found.append(here)
    return found


def _make_room(desk: _Desk, number: int) -> bool:
    """Look again for one piece of lettering, with those it stands on lifted, and keep what costs less together."""
    here = desk.settled[number]
    rivals = sorted({n for box in here.boxes for n in desk.ground.on(box, number) if n >= 0})
    old = {n: desk.settled[n] for n in (number, *rivals)}

    def together() -> float:
        return sum(_weigh(desk, n, desk.settled[n].place).cost for n in old)

    before = together()
    for n in old:
        _lift(desk, n)
    for n in old:
        _put(desk, n, _best(desk, n))
    if together() < before - 1e-9:
        return True
    for n in old:
        _lift(desk, n)
    for n, settled in old.items():
        _put(desk, n, settled)
    return False


def _put(desk: _Desk, number: int, settled: Settled) -> None:
    desk.settled[number] = settled
    for box in settled.boxes:
        desk.ground.box(box, number)
    if settled.leader is not None:
        desk.ground.line(*settled.leader, FIRM, number)


def _lift(desk: _Desk, number: int) -> None:
    settled = desk.settled[number]
    desk.ground.free(number, settled.boxes, settled.leader)


def _best(desk: _Desk, number: int, reach: int | None = None, *, farther: bool = True) -> Settled:
    wish = desk.wishes[number]
    best: Settled | None = None
    for place in wish.places[:reach]:
        tried = _weigh(desk, number, place, best.cost if best else math.inf)
        if best is None or tried.cost < best.cost - 1e-9:
            best = tried
        if tried.cost <= place.cost + 1e-9:
            break
    if best is None:
        raise ValueError("lettering needs a place")
    if best.cost < ENOUGH or not farther or not wish.roam or wish.names is None:
        return best
    for place in _farther(wish):
        if place.cost >= best.cost:
            break
        tried = _weigh(desk, number, place, best.cost)
        if tried.cost < best.cost - 1e-9:
            best = tried
    return best


def _farther(wish: Wish) -> Iterable[Place]:
    """Places round about what is named, the nearest first and of those the ones on the wished side first."""
    start = wish.names or (0.0, 0.0)
    first = wish.places[0]
    heading = math.atan2(first.at[1] - start[1], first.at[0] - start[0]) if math.dist(first.at, start) > 0.5 else 0.0
    turns = [first.turn, 0.0] if abs(first.turn) > 1.0 else [first.turn]
    wide = max(text_width(text, size) for text, size in wish.lines)
    shift = {"start": wide / 2, "end": -wide / 2}.get(wish.anchor, 0.0)
    for distance in DISTANCES:
        if distance > wish.roam:
            return
        for k in range(DIRECTIONS):
            step = (k + 1) // 2 * (1 if k % 2 else -1)
            angle = heading + step * math.tau / DIRECTIONS
            for turn in turns:
                c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
                # measured to the near end of the lettering, so that it is as far off sideways as upwards
                far = distance + abs(math.cos(angle - math.radians(turn))) * wide / 2
                at = (start[0] + math.cos(angle) * far - c * shift, start[1] + math.sin(angle) * far - s * shift)
                yield Place(at, ENOUGH + 0.1 * distance + 0.01 * k, turn, lead=True, strayed=True)


def _weigh(desk: _Desk, number: int, place: Place, most: float = math.inf) -> Settled:
    """Lettering at one place, with the cost of standing there (as far as it is looked into: up to ``most``)."""
    wish, ground = desk.wishes[number], desk.ground
    spots, boxes = _block(wish, place)
    tight = _block(wish, place, near=True)[1]
    cost = place.cost
    blank = False
    leader: tuple[Point, Point] | None = None
    for wide, box in zip(boxes, tight, strict=True):
        cost += LETTERING * len(ground.on(wide, number))
        if cost < most:
            lines, breakable = ground.crossed(box, number)
            cost += lines
            blank = blank or breakable > 0
        if cost < most:
            hatched = ground.hatched(box)
            blank = blank or hatched > 0
            cost += hatched
    crowd = cost - place.cost
    if place.lead and cost < most:
        leader = _leader(wish, boxes)
        if leader is not None:
            thin = _sliver(*leader)
            between = len(ground.on(thin, number, leader[0])) * LETTERING + ground.crossed(thin, number)[0]
            cost += THROUGH * between / FIRM
            near = NEAR if place.strayed else LED + _reach(wish)
            leader = (ground.out_of_sign(*leader), leader[1])
            if between < FIRM and (not wish.led or math.dist(*leader) < near):
                leader = None
    return Settled(spots, place.turn, boxes, leader, blank, cost, crowd, place)


def _reach(wish: Wish) -> float:
    """How far from what it names lettering was to stand."""
    return 0.0 if wish.names is None else _off(wish.names, _block(wish, wish.places[0])[1])[0]


def _off(start: Point, boxes: Sequence[Box]) -> tuple[float, Point]:
    """How far the outline of lettering is off, and the point of it that is nearest."""
    ends = [_nearest(start, a, b) for ring in boxes for a, b in zip(ring, (*ring[1:], ring[0]), strict=True)]
    if any(contains(ring, start) for ring in boxes):
        return 0.0, start
    end = min(ends, key=lambda p: math.dist(start, p))
    return math.dist(start, end), end


def _block(wish: Wish, place: Place, *, near: bool = False) -> tuple[list[Point], list[list[Point]]]:
    """Base line points and outlines of lettering centred, in height, on its place: what other lettering keeps off, or
    (``near``) what lines keep off."""
    c, s = math.cos(math.radians(place.turn)), math.sin(math.radians(place.turn))
    pad, ends = (AIR, AIR) if near else (BLANK, BLANK + wish.apart)
    steps = list(itertools.accumulate(1.4 * size for _, size in wish.lines[1:]))
    spots, boxes = [], []
    for (text, size), down in zip(wish.lines, [0.0, *steps], strict=True):
        low = -(CAP / 2 * size + down - (steps[-1] / 2 if steps else 0.0))
        spot = (place.at[0] - s * low, place.at[1] + c * low)
        spots.append(spot)
        boxes.append(letter_box(spot, text, size, wish.anchor, place.turn, pad=pad, ends=ends, bold=wish.bold))
    return spots, boxes


def letter_box(
    at: Point,
    text: str,
    size: float,
    anchor: str,
    turn: float,
    *,
    pad: float = 0.0,
    ends: float | None = None,
    bold: bool = False,
) -> list[Point]:
    """Corners of the space lettering takes with ``pad`` over and under it and at its ends; ``at`` is on its base
    line."""
    ends = pad if ends is None else ends
    wide = text_width(text, size, bold=bold)
    left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[anchor]
    low, high = text_reach(text, size)
    low, high = low - pad, high + pad
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    corners = [(left - ends, low), (left + wide + ends, low), (left + wide + ends, high), (left - ends, high)]
    return [(at[0] + c * x - s * y, at[1] + s * x + c * y) for x, y in corners]


def _leader(wish: Wish, boxes: Sequence[Box]) -> tuple[Point, Point] | None:
    """From what is named to the nearest point of the lettering's outline; None where it stands on it."""
    if wish.names is None:
        return None
    far, end = _off(wish.names, boxes)
    return (wish.names, end) if far > 1.5 else None


def _nearest(p: Point, a: Point, b: Point) -> Point:
    square = max((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2, 1e-12)
    share = min(1.0, max(0.0, ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / square))
    return a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])


def _sliver(a: Point, b: Point) -> list[Point]:
    long = math.dist(a, b) or 1.0
    nx, ny = -(b[1] - a[1]) / long * 0.15, (b[0] - a[0]) / long * 0.15
    start = (a[0] + (b[0] - a[0]) / long * 0.8, a[1] + (b[1] - a[1]) / long * 0.8)
    end = (b[0] - (b[0] - a[0]) / long * 0.3, b[1] - (b[1] - a[1]) / long * 0.3)
    return [(start[0] + nx, start[1] + ny), (start[0] - nx, start[1] - ny), (end[0] - nx, end[1] - ny),
            (end[0] + nx, end[1] + ny)]  # fmt: skip
