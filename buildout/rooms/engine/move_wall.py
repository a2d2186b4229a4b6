"""What the tape would read after a wall has been moved.

A wall is never drawn from a position: it stands where the readings put it. Moving one therefore means
rewriting the readings that touch it, by as much as the adjusted points say they grow or shrink.
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from math import hypot, sqrt
from typing import Literal

from buildout.rooms.engine.types import FIXING, KeepClear, Reading, Room, Survey, WallFeature
from buildout.units.lengths import INCH_MM, Length, format_length, format_small
from buildout.units.value import Value, snap

Point = tuple[float, float]

NOTHING = 0.05
"""A reading that changes by less than this many millimetres is left alone."""
SHORTEST = 300.0
"""No wall may be left shorter than this, mm."""
AT_END = 15.0
"""A strip that ends this close to a wall's end runs to its end, mm."""


class WallMoveError(ValueError):
    """The wall cannot be moved like this; the message says why and what can be done."""


class MovedDimension(Value, kw_only=True):
    """One written length before and after the move."""

    part: Literal["readings", "features", "keep_clear"]
    id: str
    field: str
    before: str
    after: str


class WallMove(Value, kw_only=True):
    wall: str
    outward: float
    """mm; negative is into the room."""
    text: str
    """The move in words."""
    dimensions: list[MovedDimension]


def move_wall(room: Room, survey: Survey, wall: str, outward: Decimal | float) -> WallMove:
    """Shift one wall parallel to itself and say what every reading that touches it becomes.

    Its neighbours keep their lines, so its two corners slide along them. ``outward`` is millimetres, positive away
    from the room. A reading becomes what was observed plus what the adjusted points change by, written in its own
    notation to 1/8 in or 1 mm. Openings and strips on the neighbours that are measured from a corner that slides
    stay where they are in the building, so their running dimensions change too.

    Raises ``WallMoveError`` for an unknown wall, a room whose shape is not known, neighbours along the same line,
    or a move that would leave a wall shorter than 300 mm.
    """
    first, last = _ends(room, wall)
    points = {point.name: (point.x, point.y) for point in survey.points}
    unknown = [corner for corner in room.corners if corner not in points]
    if unknown:
        raise WallMoveError(
            f"Corner {unknown[0]} is not fixed by the readings yet. Add a reading to it first, then move the wall."
        )
    distance = float(outward)
    corners = room.corners
    at = corners.index(first)
    before, after = corners[at - 1], corners[(at + 2) % len(corners)]
    normal = _outward(points, corners, first, last)
    shift = (normal[0] * distance, normal[1] * distance)
    through = (points[first][0] + shift[0], points[first][1] + shift[1])
    along = (points[last][0] - points[first][0], points[last][1] - points[first][1])
    moved = dict(points)
    moved[first] = _meet(through, along, points[before], points[first], wall)
    moved[last] = _meet(through, along, points[after], points[last], wall)
    for a, b in ((before, first), (first, last), (last, after)):
        was, now = _vector(points, a, b), _vector(moved, a, b)
        if hypot(*now) < SHORTEST or was[0] * now[0] + was[1] * now[1] <= 0:
            raise WallMoveError(
                f'Moving {wall} that far would leave wall {a}-{b} without length. Move it less, for example 3".'
            )
    dimensions = []
    for r in room.readings:
        shown, later = _shown(r, points), _shown(r, moved)
        new = r.value.text if shown is None or later is None else _rewritten(r.value, later - shown)
        if new != r.value.text:
            dimensions.append(MovedDimension(part="readings", id=r.id, field="value", before=r.value.text, after=new))
    for a, b, corner in ((before, first, first), (last, after, last), (first, last, "")):
        grown = _distance(moved, a, b) - _distance(points, a, b)
        if abs(grown) >= NOTHING:
            dimensions += _running(room, {a, b}, corner, grown, _distance(points, a, b))
    way = "outwards" if distance > 0 else "inwards"
    size = format_small(abs(distance), "metric" if _is_metric(room) else "feet-inches")
    return WallMove(
        wall=f"{first}-{last}", outward=snap(distance), text=f"Wall {first}-{last} moved {size} {way}",
        dimensions=dimensions,
    )  # fmt: skip


def _shown(r: Reading, points: dict[str, Point]) -> float | None:
    """What a reading shows, give or take the size of a column; None where it fixes no point."""
    if r.kind not in FIXING or any(name not in points for name in (r.start, r.end, r.point or r.start)):
        return None
    a, b = points[r.start], points[r.end]
    if r.kind == "distance":
        return hypot(b[0] - a[0], b[1] - a[1])
    p = points[r.point]
    if r.kind == "square":
        (ux, uy), (vx, vy) = ((q[0] - p[0], q[1] - p[1]) for q in (a, b))
        cosine = (ux * vx + uy * vy) / (hypot(ux, uy) * hypot(vx, vy))
        one, two = (float(leg.mm) for leg in r.legs)
        return sqrt(max(one * one + two * two - 2 * one * two * cosine, 0.0))
    size = hypot(b[0] - a[0], b[1] - a[1])
    if r.kind == "offset":
        return abs((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])) / size
    return ((b[0] - a[0]) * (p[0] - a[0]) + (b[1] - a[1]) * (p[1] - a[1])) / size


def _ends(room: Room, wall: str) -> tuple[str, str]:
    corners = room.corners
    for at, corner in enumerate(corners):
        after = corners[(at + 1) % len(corners)]
        if wall in (f"{corner}-{after}", f"{after}-{corner}"):
            return corner, after
    known = ", ".join(f"{c}-{corners[(i + 1) % len(corners)]}" for i, c in enumerate(corners))
    raise WallMoveError(f"There is no wall {wall} in this room. Its walls are {known}.")


def _vector(points: dict[str, Point], a: str, b: str) -> Point:
    return points[b][0] - points[a][0], points[b][1] - points[a][1]


def _distance(points: dict[str, Point], a: str, b: str) -> float:
    return hypot(*_vector(points, a, b))


def _outward(points: dict[str, Point], corners: list[str], first: str, last: str) -> Point:
    ring = [points[corner] for corner in corners]
    twice = sum(ring[i - 1][0] * ring[i][1] - ring[i][0] * ring[i - 1][1] for i in range(len(ring)))
    x, y = _vector(points, first, last)
    size = hypot(x, y) * (1 if twice > 0 else -1)  # the outside is to the right of an anticlockwise ring
    return y / size, -x / size


def _meet(through: Point, along: Point, fixed: Point, corner: Point, wall: str) -> Point:
    """Where the shifted wall crosses the line of its neighbour (``fixed`` to ``corner``)."""
    line = (corner[0] - fixed[0], corner[1] - fixed[1])
    cross = along[0] * line[1] - along[1] * line[0]
    if abs(cross) < 0.02 * hypot(*along) * hypot(*line):
        raise WallMoveError(
            f"A neighbour of {wall} runs along the same line, so its corner cannot slide. "
            "Enter the new readings of both walls instead."
        )
    t = (along[0] * (through[1] - fixed[1]) - along[1] * (through[0] - fixed[0])) / cross
    return fixed[0] + t * line[0], fixed[1] + t * line[1]


def _running(room: Room, wall: set[str], corner: str, grown: float, length: float) -> list[MovedDimension]:
    """Running dimensions on one wall that grew by ``grown`` at ``corner`` (empty: both ends slid)."""
    found = []
    parts: list[tuple[Literal["features", "keep_clear"], WallFeature | KeepClear]] = [
        *(("features", feature) for feature in room.features),
        *(("keep_clear", strip) for strip in room.keep_clear),
    ]
    for part, thing in parts:
        if set(thing.wall.split("-")) != wall:
            continue
        is_strip = part == "keep_clear"
        for field in ("start", "end"):
            value: Length | None = getattr(thing, field)
            if value is None:
                continue
            from_corner = thing.zero == corner
            to_end = is_strip and field == "end" and abs(float(value) - length) < AT_END
            at_zero = is_strip and field == "start" and float(value) < AT_END
            if (from_corner and not at_zero) or (not from_corner and to_end):
                new = _rewritten(value, grown)
                if new != value.text:
                    found.append(MovedDimension(part=part, id=thing.id, field=field, before=value.text, after=new))
    return found


_WHOLE = {"mm": 1, "cm": 10, "m": 1000}


def _metric_unit(text: str) -> str:
    match = re.search(r"(mm|cm|m)\.?\s*$", text.strip().lower())
    return match[1] if match else ""


def _is_metric(room: Room) -> bool:
    return bool(room.readings) and bool(_metric_unit(room.readings[0].value.text))


def _rewritten(value: Length, change: float) -> str:
    """A length changed by so many millimetres, in the notation it was written in."""
    if abs(change) < NOTHING:
        return value.text
    new = max(Fraction(value.mm) + Fraction(snap(change)).limit_denominator(100), Fraction(0))
    unit = _metric_unit(value.text)
    if unit:
        millimetres = int(new + Fraction(1, 2))
        places = len(str(_WHOLE[unit])) - 1
        text = f"{Decimal(millimetres).scaleb(-places):f} {unit}"
        return text if Length.read(text) != value else value.text
    eighths = int(new / INCH_MM * 8 + Fraction(1, 2))
    exact = Decimal(eighths) / 8 * Decimal("25.4")
    if exact == value.mm:
        return value.text
    if "'" in value.text or "ft" in value.text or "f" in value.text:
        return format_length(exact, denominator=8)
    whole, part = divmod(eighths, 8)
    fraction = Fraction(part, 8)
    return f'{whole} {fraction.numerator}/{fraction.denominator}"' if part else f'{whole}"'
