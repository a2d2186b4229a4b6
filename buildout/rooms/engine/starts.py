"""Ways to begin a room before it is taped: a typed rectangle, a chain of walls with turns, an outline from a DXF file.

A rectangle and a chain give corners and a sketch; their lengths are readings like any other, as typed. Lengths
from a drawing come in as weak readings of the tool "drawing", each to be replaced by the tape; they are never
called measured.
"""

from __future__ import annotations

import io
import itertools
import math
from collections.abc import Sequence
from typing import Any, Literal

from buildout.rooms.engine import geometry
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.types import OutlineStart, Reading
from buildout.units.lengths import Length, LengthError, UnitSystem, format_length
from buildout.units.value import Reason, snap

CLOSES = 152.4
"""A chain of walls may miss its start by 6 in before it is called wrong: it is only a sketch."""
JOIN = 10.0
"""Lines in a drawing whose ends lie this close are taken to meet, mm."""
SHORTEST = 50.0
"""Sides of an outline shorter than this are taken for drafting noise, mm."""
LARGEST_FILE = 20_000_000
MOST_LINES = 20_000
MOST_CORNERS = 200
UNITS = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 10: 914.4, 14: 100.0}
"""Millimetres in the drawing units of $INSUNITS that a room may be drawn in (DXF reference, header variables)."""
UNIT_NAMES = {
    "inches": 25.4, "feet": 304.8, "millimetres": 1.0, "centimetres": 10.0, "metres": 1000.0, "yards": 914.4,
    "decimetres": 100.0,
}  # fmt: skip
"""What to answer when a file does not say its units."""
Turn = Literal["left", "right"]


class StartError(ValueError):
    """A room cannot be begun from this; ``field`` names what is wrong, the message says how to mend it."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field


class UnitsNeeded(StartError):
    """The drawing does not say its units; ask, and call again with one of ``choices``."""

    def __init__(self, width: float, height: float) -> None:
        super().__init__(
            f"This drawing does not say its units. Its outline is {width:g} by {height:g} drawing units. "
            "Say what one unit is, for example millimetres or inches.",
            "units",
        )
        self.width = width
        self.height = height
        self.choices = list(UNIT_NAMES)


def corner_names(count: int) -> list[str]:
    """Letters for corners: A to Z without I and O, which read as figures, then A2, B2 …

    >>> corner_names(3), corner_names(26)[-2:]
    (['A', 'B', 'C'], ['A2', 'B2'])
    """
    letters = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    return [letters[k % 24] + (str(k // 24 + 1) if k >= 24 else "") for k in range(count)]


def start_rectangle(width: Length, depth: Length) -> OutlineStart:
    """Begin with a rectangle: corners A to D clockwise from the lower left, A–D along the base line.

    ``width`` is along the base line, ``depth`` up the sheet. The four walls come in as readings as typed; they
    leave the corners free to lean until a diagonal is taped. Raises ``StartError`` for a length of nothing.

    >>> start_rectangle(Length.read("30'"), Length.read("20'")).points["C"]
    (9144.0, 6096.0)
    """
    for field, value in (("width", width), ("depth", depth)):
        if value.mm <= 0:
            raise StartError(f"The {field} must be more than nothing, for example 30' 0\".", field)
    w, d = float(width.mm), float(depth.mm)
    points = {"A": (0.0, 0.0), "B": (0.0, d), "C": (w, d), "D": (w, 0.0)}
    sides = [("A", "B", depth), ("B", "C", width), ("C", "D", depth), ("D", "A", width)]
    readings = [Reading(id=str(k), start=a, end=b, value=v) for k, (a, b, v) in enumerate(sides, 1)]
    todo = "Tape both diagonals, A–C and B–D, and each wall a second time from its other end."
    note = Reason(code="diagonals", text="Four walls do not fix a rectangle.", where="A", todo=todo)
    return OutlineStart(
        corners=list("ABCD"), turning="clockwise", readings=readings,
        points={k: (snap(x), snap(y)) for k, (x, y) in points.items()}, reasons=[note],
    )  # fmt: skip


def start_chain(walls: Sequence[tuple[Length, Turn | float]]) -> OutlineStart:
    """Begin with a walk along the walls: each wall's length and the turn at its end.

    A turn is "left" or "right" (square), or degrees, positive to the left. The first wall runs from A to B; the
    last turn leads back on to the first wall. The walk must come back to its start within 6 in; it decides corners
    and turning only, the lengths are readings as typed. Raises ``StartError`` naming the wall that is wrong.

    >>> made = start_chain([(Length.read(v), "left") for v in ("30'", "20'", "30'", "20'")])
    >>> made.turning, made.corners
    ('anticlockwise', ['A', 'B', 'C', 'D'])
    """
    if len(walls) < 3:
        raise StartError("A room needs at least three walls. Write one a line, for example 30' 0\" left.", "walls")
    if len(walls) > MOST_CORNERS:
        raise StartError(f"More than {MOST_CORNERS} walls. Split the room in two, with a shared wall.", "walls")
    names = corner_names(len(walls))
    spot, heading, turned = (0.0, 0.0), 0.0, 0.0
    points: dict[str, Point] = {}
    readings = []
    for k, (length, turn) in enumerate(walls):
        if length.mm <= 0:
            raise StartError(
                f"Wall {k + 1} has no length. Write what the tape showed, for example 12' 3 1/4\".", "walls"
            )
        points[names[k]] = spot
        way = math.radians(heading)
        spot = (spot[0] + float(length.mm) * math.cos(way), spot[1] + float(length.mm) * math.sin(way))
        degrees = 90.0 if turn == "left" else -90.0 if turn == "right" else float(turn)
        if not -180 < degrees < 180:
            raise StartError(f"The turn after wall {k + 1} is {degrees:g}°; turns lie between -180 and 180.", "walls")
        heading += degrees
        turned += degrees
        readings.append(
            Reading(id=str(k + 1), start=names[k], end=names[(k + 1) % len(walls)], value=length)
        )  # fmt: skip
    if abs(abs(turned) - 360) > 20:
        raise StartError(
            f"The turns add up to {abs(turned):g}°, not to once round the room (360°). Check left and right.", "walls"
        )
    gap = math.hypot(*spot)
    if gap > CLOSES:
        raise StartError(
            f"The walls do not close: the last ends {format_length(gap, denominator=8)} from where the first began. "
            "Check the lengths and turns; the walls facing each other must add up alike.",
            "walls",
        )
    ring = list(points.values())
    crossed = geometry.crossing_sides(ring)
    if crossed is not None:
        one, two = (crossed[0] + 1, crossed[1] + 1)
        raise StartError(f"Walls {one} and {two} cross each other. Check the turns between them.", "walls")
    anticlockwise = geometry.signed_area(ring) > 0
    return OutlineStart(
        corners=names, turning="anticlockwise" if anticlockwise else "clockwise", readings=readings,
        points={n: (snap(x), snap(y)) for n, (x, y) in points.items()},
        reasons=[_needs_ties(names)],
    )  # fmt: skip


def _needs_ties(names: Sequence[str]) -> Reason:
    n = len(names)
    return Reason(
        code="diagonals", text=f"{n} walls do not fix {n} corners: at least {n - 3 or 1} diagonals are missing.",
        where=names[0],
        todo="Tape diagonals, and a control mark on the floor tied to every corner, so that a wrong reading shows.",
    )  # fmt: skip


# ---------------------------------------------------------------- an outline from a DXF file


def start_from_dxf(
    data: bytes, *, units: str = "", written: UnitSystem = "feet-inches", layer: str = ""
) -> OutlineStart:
    """Begin with the outline in a DXF file: its largest closed polyline, or the largest ring its lines close.

    Lines whose ends miss each other by up to 10 mm are joined; arcs and curved polylines are refused. The file's
    own units count; ``units`` (one of ``UNIT_NAMES``) is for files without. ``written`` is how the lengths are
    written down; ``layer`` limits the search. Walls and, from each corner, one diagonal come in as readings of the
    tool "drawing". Raises ``UnitsNeeded`` when units are missing, ``StartError`` for anything that will not do.
    """
    document = _document(data)
    own = UNITS.get(int(document.header.get("$INSUNITS", 0)))
    if units and units not in UNIT_NAMES:
        raise StartError(f"{units!r} is not a unit. Use one of {', '.join(UNIT_NAMES)}.", "units")
    rings = _closed_rings(document, layer)
    lines = _lines(document, layer)
    if own is None and not units:
        everything = [p for ring in rings for p in ring] + [p for line in lines for p in line]
        if not everything:
            raise _nothing(layer)
        xs, ys = [p[0] for p in everything], [p[1] for p in everything]
        raise UnitsNeeded(round(max(xs) - min(xs), 3), round(max(ys) - min(ys), 3))
    factor = own if own is not None else UNIT_NAMES[units]
    found = [_scaled(ring, factor) for ring in rings]
    found += _rings_of([(_scaled(line, factor)[0], _scaled(line, factor)[1]) for line in lines])
    tidied = [_tidy(ring) for ring in found]
    outlines = [ring for ring in tidied if len(ring) >= 3 and abs(geometry.signed_area(ring)) > 1e6]
    if not outlines:
        if any(geometry.crossing_sides(ring) is not None for ring in tidied):
            raise _crossing()
        raise _nothing(layer)
    ring = max(outlines, key=lambda r: (round(abs(geometry.signed_area(r)), 1), len(r)))
    return _outline(ring, written, stated=own is not None)


def _crossing() -> StartError:
    return StartError("The outline in the drawing crosses itself. Mend it there and save again.", "file")


def _nothing(layer: str) -> StartError:
    where = f" on layer {layer}" if layer else ""
    return StartError(
        f"There is no closed outline of straight walls{where} in this drawing. Draw the inside faces of the walls as "
        "one closed polyline, or as lines that meet at the corners, and save as DXF.",
        "file",
    )  # fmt: skip


def _document(data: bytes) -> Any:
    import ezdxf
    from ezdxf import recover

    if not data.strip():
        raise StartError("The file is empty. Choose a DXF file.", "file")
    if len(data) > LARGEST_FILE:
        raise StartError("The file is larger than 20 MB. Save the outline alone as DXF.", "file")
    if data[:4] in (b"AC10", b"AC1."):
        raise StartError("This is a DWG file. Save it as DXF in the drawing program and choose that file.", "file")
    if b"SECTION" not in data[:20_000] and not data.startswith(b"AutoCAD Binary DXF"):
        raise StartError("This is not a DXF file. Choose a file saved as DXF.", "file")
    try:
        document, _ = recover.read(io.BytesIO(data))
    except (ezdxf.DXFError, OSError, ValueError, KeyError, IndexError, TypeError, AttributeError) as error:
        raise StartError(
            "The DXF file cannot be read. Save it again as DXF, version R2010 or later.", "file"
        ) from error
    return document


def _closed_rings(document: Any, layer: str) -> list[list[Point]]:
    rings: list[list[Point]] = []
    for entity in document.modelspace().query("LWPOLYLINE POLYLINE"):
        if layer and entity.dxf.layer != layer:
            continue
        if entity.dxftype() == "LWPOLYLINE":
            vertices = [(float(x), float(y), float(bulge)) for x, y, _, _, bulge in entity.get_points("xyseb")]
        else:
            if not (entity.is_2d_polyline or entity.is_3d_polyline):
                continue
            vertices = [
                (float(v.dxf.location.x), float(v.dxf.location.y), float(v.dxf.get("bulge", 0.0)))
                for v in entity.vertices
            ]  # fmt: skip
        if any(abs(b) > 1e-6 for _, _, b in vertices):
            continue
        ring = [(x, y) for x, y, _ in vertices]
        closed = bool(entity.closed if entity.dxftype() == "LWPOLYLINE" else entity.is_closed)
        if not closed and len(ring) > 3 and math.dist(ring[0], ring[-1]) <= 1e-6 * _size(ring):
            closed = True
            ring = ring[:-1]
        if closed and len(ring) >= 3:
            rings.append(ring)
    return rings


def _size(ring: Sequence[Point]) -> float:
    return max(max(p[0] for p in ring) - min(p[0] for p in ring), max(p[1] for p in ring) - min(p[1] for p in ring))


def _lines(document: Any, layer: str) -> list[tuple[Point, Point]]:
    """Straight lines, and the sides of polylines that do not close."""
    found: list[tuple[Point, Point]] = []
    for entity in document.modelspace().query("LINE LWPOLYLINE"):
        if layer and entity.dxf.layer != layer:
            continue
        if entity.dxftype() == "LINE":
            start, end = entity.dxf.start, entity.dxf.end
            found.append(((float(start.x), float(start.y)), (float(end.x), float(end.y))))
        elif not entity.closed:
            points = [(float(x), float(y)) for x, y, *_ in entity.get_points("xy")]
            found += list(itertools.pairwise(points))
    if len(found) > MOST_LINES:
        raise StartError(f"The drawing holds more than {MOST_LINES} lines. Save the outline alone as DXF.", "file")
    return found


def _scaled(points: Sequence[Point], factor: float) -> list[Point]:
    return [(x * factor, y * factor) for x, y in points]


def _rings_of(lines: Sequence[tuple[Point, Point]]) -> list[list[Point]]:
    """Rings closed by lines whose ends lie within the joining distance (Shapely's polygonize)."""
    from shapely.geometry import LineString
    from shapely.ops import polygonize, unary_union

    if not lines:
        return []
    spots: list[Point] = []
    grid: dict[tuple[int, int], list[int]] = {}

    def join(p: Point) -> Point:
        cell = (math.floor(p[0] / JOIN), math.floor(p[1] / JOIN))
        for i, j in itertools.product((-1, 0, 1), repeat=2):
            for k in grid.get((cell[0] + i, cell[1] + j), []):
                if math.dist(spots[k], p) <= JOIN:
                    return spots[k]
        spots.append(p)
        grid.setdefault(cell, []).append(len(spots) - 1)
        return p

    joined = [(join(a), join(b)) for a, b in lines]
    parts = [LineString(pair) for pair in joined if pair[0] != pair[1]]
    if not parts:
        return []
    whole: Any = unary_union(list(polygonize(unary_union(parts))))
    shapes = sorted(getattr(whole, "geoms", [whole]), key=lambda g: (-g.area, g.bounds))
    return [[(float(x), float(y)) for x, y in s.exterior.coords[:-1]] for s in shapes if not s.is_empty]


def _tidy(ring: Sequence[Point]) -> list[Point]:
    """Without repeated points, drafting noise and points along a straight wall."""
    kept: list[Point] = []
    for p in ring:
        if not kept or math.dist(p, kept[-1]) > SHORTEST:
            kept.append(p)
    while len(kept) > 3 and math.dist(kept[0], kept[-1]) <= SHORTEST:
        kept.pop()
    changed = True
    while changed and len(kept) > 3:
        changed = False
        for k in range(len(kept)):
            a, b, c = kept[k - 1], kept[k], kept[(k + 1) % len(kept)]
            span = math.dist(a, c)
            if span > 0 and abs(geometry.cross(a, b, c)) / span < JOIN / 2 and math.dist(a, b) < span + JOIN:
                del kept[k]
                changed = True
                break
    return kept


def _outline(ring: list[Point], written: UnitSystem, *, stated: bool) -> OutlineStart:
    if len(ring) > MOST_CORNERS:
        raise StartError(f"The outline has more than {MOST_CORNERS} corners. Draw the walls alone.", "file")
    if geometry.crossing_sides(ring) is not None:
        raise _crossing()
    size = _size(ring)
    if not 1000.0 <= size <= 150_000.0:
        raise StartError(
            f"The outline is {format_length(snap(size), written, denominator=8)} across, which is no room. "
            f"{'The units in the file are wrong' if stated else 'Choose other units'}; "
            "check what one drawing unit stands for.",
            "units",
        )
    if geometry.signed_area(ring) > 0:
        ring = [ring[0], *reversed(ring[1:])]
    first = min(range(len(ring)), key=lambda k: (round(ring[k][0] + ring[k][1], 1), round(ring[k][0], 1)))
    ring = ring[first:] + ring[:first]
    ox, oy = ring[0]
    names = corner_names(len(ring))
    points = {n: (snap(x - ox), snap(y - oy)) for n, (x, y) in zip(names, ring, strict=True)}
    n = len(names)
    pairs = [(names[k], names[(k + 1) % n]) for k in range(n)]
    pairs += _bracing(names, points)
    readings = []
    for k, (a, b) in enumerate(pairs, 1):
        text = format_length(math.dist(points[a], points[b]), written, denominator=8)
        try:
            value = Length.read(text)
        except LengthError as error:
            raise StartError(f"The side {a}–{b} cannot be written as a length: {error}", "file") from error
        readings.append(Reading(id=f"d{k}", start=a, end=b, value=value, tool="drawing", note="from drawing"))
    note = Reason(
        code="from drawing", text="These lengths come from a drawing, not from the room.", where=names[0],
        todo="Tape every wall and diagonal; readings from the tape outweigh those from the drawing.",
    )  # fmt: skip
    return OutlineStart(corners=names, turning="clockwise", readings=readings, points=points, reasons=[note])


def _bracing(names: Sequence[str], points: dict[str, Point]) -> list[tuple[str, str]]:
    """Diagonals that cut the outline into triangles (ears cut off one after another): they fix its shape."""
    left = list(names)
    ring = [points[name] for name in names]
    found: list[tuple[str, str]] = []
    while len(left) > 3:
        best: tuple[float, int] | None = None
        for k in range(len(left)):
            a, b, c = left[k - 1], left[k], left[(k + 1) % len(left)]
            turned = geometry.cross(points[a], points[b], points[c])
            if turned >= 0:  # clockwise outline: an ear turns to the right
                continue
            if any(
                other not in (a, b, c) and _in_triangle(points[other], points[a], points[b], points[c])
                for other in left
            ):  # fmt: skip
                continue
            size = math.dist(points[a], points[c])
            share = abs(turned) / (size * max(math.dist(points[a], points[b]), math.dist(points[b], points[c]), 1.0))
            score = share if geometry.in_sight(ring, points[a], points[c]) else share / 100
            if best is None or score > best[0] + 1e-9:
                best = (score, k)
        if best is None:
            break
        k = best[1]
        found.append((left[k - 1], left[(k + 1) % len(left)]))
        del left[k]
    return found


def _in_triangle(p: Point, a: Point, b: Point, c: Point) -> bool:
    one, two, three = geometry.cross(a, b, p), geometry.cross(b, c, p), geometry.cross(c, a, p)
    return (one <= 0 and two <= 0 and three <= 0) or (one >= 0 and two >= 0 and three >= 0)
