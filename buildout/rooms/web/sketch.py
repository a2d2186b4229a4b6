"""The picture one taps on: a room's points as targets a thumb can hit, its readings as lines between them.

Targets keep 44 px on a phone 390 px wide, whatever the room's scale; those that would lie on each other are moved
apart, each tied to its point by a thin line.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from buildout.rooms.engine.types import FIXING, Room, RoomPlan, Survey
from buildout.rooms.web.forms import points_of

Spot = tuple[float, float]

WIDE = 344.0
"""Units across: one is a CSS pixel on the narrowest phone supported."""
RADIUS = 23.0
EDGE = 62.0
"""From the picture's edge to the room, so that targets fit between."""
TALLEST = 1.15
MOST_TARGETS = 40
"""With more points the picture only shows them; the list below it has them all."""


class Target(NamedTuple):
    name: str
    x: str
    y: str
    at_x: str
    at_y: str
    chosen: bool
    link: str
    words: str
    two: tuple[str, str]
    """A column's corner on two lines."""


class Tie(NamedTuple):
    x1: str
    y1: str
    x2: str
    y2: str
    look: str
    words: str


class Sketch(NamedTuple):
    box: str
    outline: str
    columns: list[str]
    ties: list[Tie]
    arrows: list[Tie]
    targets: list[Target]
    radius: str
    told: str


def sketch(room: Room, survey: Survey, plan: RoomPlan, *, start: str = "", end: str = "") -> Sketch:
    """Lay the picture out. ``start`` and ``end`` are the points chosen so far."""
    points = points_of(room)
    real = _positions(room, survey)
    put, height = _scale([real[p] for p in points])
    at = {name: put(real[name]) for name in points}
    middle = put(_mean(real[c] for c in room.corners))
    spots = _apart(points, at, middle, height) if len(points) <= MOST_TARGETS else {}
    outline = plan.outline or [real[c] for c in room.corners]
    spread = {p.name: p.plus_minus for p in survey.points}
    loose = {p.name: p.text for p in survey.loose_points}
    targets = [
        Target(
            name, *_xy(spots[name]), *_xy(at[name]), name in (start, end), _link(name, start, end),
            loose.get(name, "") or ("" if name in spread else "not fixed yet"), _two(name),
        )
        for name in points if name in spots
    ]  # fmt: skip
    return Sketch(
        box=f"0 0 {WIDE:.0f} {height:.0f}", outline=_path(put(p) for p in outline),
        columns=[_path(put(p) for p in column.outline) for column in plan.columns],
        ties=_ties(survey, at), arrows=_arrows(survey, put), targets=targets, radius=f"{RADIUS:.0f}",
        told=f"{room.name}: {len(room.corners)} corners, {len(points)} points to hold the tape at.",
    )  # fmt: skip


def _link(name: str, start: str, end: str) -> str:
    from urllib.parse import urlencode

    return "?" + urlencode({"from": start, "to": name} if start and not end and name != start else {"from": name})


def _two(name: str) -> tuple[str, str]:
    first, _, second = name.partition(".")
    return first, second


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _xy(p: Spot) -> tuple[str, str]:
    return _n(p[0]), _n(p[1])


def _path(points: Iterable[Spot]) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in points)


def _mean(points: Iterable[Spot]) -> Spot:
    found = list(points)
    return sum(p[0] for p in found) / len(found), sum(p[1] for p in found) / len(found)


# ------------------------------------------------------------------ where things lie


def _positions(room: Room, survey: Survey) -> dict[str, Spot]:
    """Every point as surveyed, as sketched by the survey, or where a quick hand sketch would put it."""
    found = {p.name: (p.x, p.y) for p in survey.points}
    found |= {p.name: (p.x, p.y) for p in survey.loose_points if p.name not in found}
    corners = room.corners
    if len([c for c in corners if c in found]) < len(corners):
        found = {} if len([c for c in corners if c in found]) < 3 else found
    size = _size(list(found.values())) or 8000.0
    centre = _mean(found.values()) if found else (size / 2, size / 2)
    way = -1.0 if room.turning == "clockwise" else 1.0
    for k, name in enumerate(corners):
        turn = math.radians(225) + way * 2 * math.pi * k / len(corners)
        found.setdefault(name, (centre[0] + size / 2 * math.cos(turn), centre[1] + size / 2 * math.sin(turn)))
    rest = [*room.marks, *(c.id for c in room.columns)]
    for k, name in enumerate(rest):
        turn = 2 * math.pi * k / max(len(rest), 1)
        found.setdefault(name, (centre[0] + size / 7 * math.cos(turn), centre[1] + size / 7 * math.sin(turn)))
    for column in room.columns:
        x, y = found[column.id]
        half = [float(v.mm) / 2 if v is not None else 150.0 for v in (column.width, column.depth)]
        for side, (dx, dy) in {"SW": (-1, -1), "SE": (1, -1), "NE": (1, 1), "NW": (-1, 1)}.items():
            found.setdefault(f"{column.id}.{side}", (x + dx * half[0], y + dy * half[1]))
    return found


def _size(points: Sequence[Spot]) -> float:
    if not points:
        return 0.0
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return max(max(xs) - min(xs), max(ys) - min(ys))


class _Put:
    """From millimetres, y up, to the picture, y down."""

    def __init__(self, left: float, top: float, by: float, shift: Spot) -> None:
        self.left, self.top, self.by, self.shift = left, top, by, shift

    def __call__(self, p: Spot) -> Spot:
        return self.shift[0] + (p[0] - self.left) * self.by, self.shift[1] + (self.top - p[1]) * self.by


def _scale(points: Sequence[Spot]) -> tuple[_Put, float]:
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    wide, tall = max(max(xs) - min(xs), 1.0), max(max(ys) - min(ys), 1.0)
    by = min((WIDE - 2 * EDGE) / wide, (WIDE * TALLEST - 2 * EDGE) / tall)
    height = max(tall * by, 120.0) + 2 * EDGE
    shift = ((WIDE - wide * by) / 2, (height - tall * by) / 2)
    return _Put(min(xs), max(ys), by, shift), height


def _apart(points: Sequence[str], at: dict[str, Spot], middle: Spot, height: float) -> dict[str, Spot]:
    """Targets a little outside their points, moved until none lies on another; the same every time."""
    spots: list[list[float]] = []
    for name in points:
        x, y = at[name]
        away = math.hypot(x - middle[0], y - middle[1])
        corner = "." not in name and away > 1.0
        push = RADIUS + 6 if corner else 12.0
        if "." in name:  # a column's corners spread from the column
            way = {"SW": (-1, 1), "SE": (1, 1), "NE": (1, -1), "NW": (-1, -1)}[name.partition(".")[2]]
            spots.append([x + way[0] * push * 1.6, y + way[1] * push * 1.6])
        else:
            spots.append([x + (x - middle[0]) / max(away, 1) * push, y + (y - middle[1]) / max(away, 1) * push])
    least = 2 * RADIUS + 2
    for _ in range(200):
        moved = False
        for i in range(len(spots)):
            for j in range(i):
                dx, dy = spots[i][0] - spots[j][0], spots[i][1] - spots[j][1]
                gap = math.hypot(dx, dy)
                if gap >= least:
                    continue
                moved = True
                ux, uy = (dx / gap, dy / gap) if gap > 0.01 else (math.cos(i), math.sin(i))
                by = (least - gap) / 2 + 0.1
                for spot, sign in ((spots[i], 1), (spots[j], -1)):
                    spot[0] = min(max(spot[0] + sign * ux * by, RADIUS + 1), WIDE - RADIUS - 1)
                    spot[1] = min(max(spot[1] + sign * uy * by, RADIUS + 1), height - RADIUS - 1)
        if not moved:
            break
    return {
        name: (min(max(x, RADIUS + 1), WIDE - RADIUS - 1), min(max(y, RADIUS + 1), height - RADIUS - 1))
        for name, (x, y) in zip(points, spots, strict=True)
    }


def _ties(survey: Survey, at: dict[str, Spot]) -> list[Tie]:
    found = []
    for r in survey.readings:
        if r.kind not in FIXING or r.start not in at or r.end not in at or r.kind in ("running", "square"):
            continue
        a, b = at[r.start], at[r.end]
        if r.kind == "offset":
            if r.point not in at:
                continue
            ux, uy = b[0] - a[0], b[1] - a[1]
            p = at[r.point]
            share = ((p[0] - a[0]) * ux + (p[1] - a[1]) * uy) / max(ux * ux + uy * uy, 1e-9)
            a, b = p, (a[0] + share * ux, a[1] + share * uy)
        look = "doubted" if r.verdict in ("suspect", "set aside") else "tie"
        words = f"Reading {r.id}, {r.start}–{r.end}: {r.verdict}"
        found.append(Tie(*_xy(a), *_xy(b), look, words))
    return sorted(found, key=lambda t: t.look == "doubted")


def _arrows(survey: Survey, put: _Put) -> list[Tie]:
    """Which way loose points can move."""
    found = []
    for point in survey.loose_points:
        x, y = put((point.x, point.y))
        for dx, dy in point.directions:
            size = math.hypot(dx, dy) or 1.0
            ux, uy = dx / size * 18, -dy / size * 18
            found.append(Tie(*_xy((x - ux, y - uy)), *_xy((x + ux, y + uy)), "free", point.text))
    return found
