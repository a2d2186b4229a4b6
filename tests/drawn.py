"""Looks at a drawing as it is printed: does lettering run into lettering or lines, is it large enough, on the sheet?

Reads the SVG that people see, whatever wrote it. ``faults`` names what is wrong in words; an empty list is a drawing
that can be read. Sizes are millimetres on paper; ``scale`` says how large the picture is printed.
"""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import shapely
import shapely.affinity

from buildout.rooms.engine.lettering import text_width

CAP = 0.716
"""Height of a capital as a share of the size of plain sans serif lettering (Adobe's metrics of Helvetica: 718)."""
LOW = 0.21
LEAST = 2.0
"""Least height of capitals on paper, mm. ISO 3098-1 begins its row of lettering heights at 1.8."""
SLACK = 0.12
"""Lettering and lines closer than this, mm, touch."""
FAINT = {
    "lower-joint", "band", "hidden", "grid", "reading", "keep-clear", "joint", "weld", "cleat", "section-cut",
    "piece", "whole-piece", "mat-field", "offcut", "cut-piece", "panel", "end-panel", "low-panel", "removable-panel",
    "window", "opening", "ramp", "frame", "first-line", "highlight", "suspect", "service", "datum", "floor-line",
}  # fmt: skip
"""Lines that may be broken behind lettering whose ground is blanked; the others are never crossed."""


@dataclass(frozen=True)
class Lettered:
    text: str
    box: shapely.Polygon
    cap: float
    blanked: bool
    order: int


@dataclass(frozen=True)
class Stroke:
    line: shapely.Geometry
    kind: str
    order: int


def _numbers(text: str) -> list[float]:
    return [float(n) for n in re.findall(r"-?\d*\.?\d+(?:e-?\d+)?", text)]


def _paths(d: str) -> list[list[tuple[float, float]]]:
    """Rings and lines of a path of M, L, A and Z."""
    found: list[list[tuple[float, float]]] = []
    for letter, rest in re.findall(r"([MLAZ])([^MLAZ]*)", d):
        n = _numbers(rest)
        if letter == "M":
            found.append([(n[0], n[1])])
        elif letter == "L":
            found[-1].append((n[0], n[1]))
        elif letter == "A":
            found[-1] += _arc(found[-1][-1], n)
        else:
            found[-1].append(found[-1][0])
    return found


def _arc(start: tuple[float, float], n: Sequence[float]) -> list[tuple[float, float]]:
    """Points of a circular arc drawn anticlockwise as seen on paper (the only way our pictures draw them)."""
    r, large, end = n[0], n[3], (n[5], n[6])
    half = math.dist(start, end) / 2
    rise = math.sqrt(max(0.0, r * r - half * half))
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    ux, uy = (end[0] - start[0]) / (2 * half), (end[1] - start[1]) / (2 * half)
    sign = -1.0 if large else 1.0
    centre = (middle[0] + sign * uy * rise, middle[1] - sign * ux * rise)
    one, two = (math.atan2(p[1] - centre[1], p[0] - centre[0]) for p in (start, end))
    sweep = (one - two) % math.tau
    return [
        (centre[0] + r * math.cos(one - sweep * k / 12), centre[1] + r * math.sin(one - sweep * k / 12))
        for k in range(1, 13)
    ]


def _turned(shape: shapely.Geometry, node: ElementTree.Element) -> shapely.Geometry:
    turn = re.match(r"rotate\(([^)]*)\)", node.get("transform", ""))
    if not turn:
        return shape
    angle, x, y = _numbers(turn[1])
    return shapely.affinity.rotate(shape, angle, origin=(x, y), use_radians=False)


def _rect(x0: float, y0: float, x1: float, y1: float) -> shapely.Polygon:
    return shapely.box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))


def _float(node: ElementTree.Element, name: str) -> float:
    found = _numbers(node.get(name, "0"))
    return found[0] if found else 0.0


def read(
    svg: str, sizes: Mapping[str, float] | None = None
) -> tuple[list[Lettered], list[Stroke], list[shapely.Geometry], shapely.Polygon]:
    """Lettering, strokes, hatched areas and the sheet of a picture; ``sizes`` are letter sizes by class of a sheet."""
    root = ElementTree.fromstring(svg)  # noqa: S314 - our own
    letters: list[Lettered] = []
    strokes: list[Stroke] = []
    hatched: list[shapely.Geometry] = []
    blank: shapely.Geometry = shapely.Polygon()
    usual = _float(root, "font-size") or (sizes or {}).get("", 10.0)
    x, y, wide, high = _numbers(root.get("viewBox", ""))
    for order, node in enumerate(_visible(root)):
        tag = node.tag.rsplit("}", 1)[-1]
        kinds = node.get("class", "").split()
        kind = next((k[2:] for k in kinds if k.startswith("d-")), " ".join(kinds))
        if tag == "rect" and "d-paper" in kinds:
            x0, y0 = _float(node, "x"), _float(node, "y")
            blank = _turned(_rect(x0, y0, x0 + _float(node, "width"), y0 + _float(node, "height")), node)
            continue
        if tag == "text":
            size = _float(node, "font-size") or next((sizes[k] for k in kinds if sizes and k in sizes), usual)
            box = _turned(_text_box(node, size), node)
            letters.append(Lettered("".join(node.itertext()), box, CAP * size, blank.covers(box), order))
            continue
        shapes = _shapes(tag, node)
        if "d-on-paper" in kinds and len(shapes[0].coords) > 3:
            blank = shapely.Polygon(shapes[0].coords)
            strokes = [s for s in strokes if not s.line.intersects(blank)] + [
                Stroke(part, s.kind, s.order) for s in strokes if s.line.intersects(blank)
                for part in [s.line.difference(blank)] if not part.is_empty
            ]  # fmt: skip
        if node.get("stroke") != "none" and not (tag == "rect" and "stroke" not in node.attrib):
            strokes += [Stroke(shape, kind, order) for shape in shapes]
        if node.get("fill", "").startswith("url(") and shapes:
            rings = [shapely.Polygon(s.coords) for s in shapes if len(s.coords) > 3]
            area = rings[0]
            for hole in rings[1:]:
                area = area.symmetric_difference(hole)
            hatched.append(area)
    return letters, strokes, hatched, _rect(x, y, x + wide, y + high)


def _visible(node: ElementTree.Element) -> list[ElementTree.Element]:
    found = []
    for child in node:
        if child.tag.rsplit("}", 1)[-1] == "defs":
            continue
        found += [child, *_visible(child)]
    return [n for n in found if n.tag.rsplit("}", 1)[-1] in ("text", "path", "circle", "line", "polyline", "rect")]


def _text_box(node: ElementTree.Element, size: float) -> shapely.Polygon:
    text = "".join(node.itertext())
    bold = node.get("font-weight", "") in ("bold", "600", "700") or "strong" in node.get("class", "").split()
    wide = text_width(text, size, bold=bold)
    left = {"middle": -wide / 2, "end": -wide}.get(node.get("text-anchor", ""), 0.0)
    x, y = _float(node, "x") + _float(node, "dx") + left, _float(node, "y") + _float(node, "dy")
    low = LOW * size if re.search(r"[gjpqyQ,;()|_]", text) else 0.0
    return _rect(x, y - CAP * size, x + wide, y + low)


def _shapes(tag: str, node: ElementTree.Element) -> list[shapely.LineString]:
    match tag:
        case "path":
            return [shapely.LineString(p) for p in _paths(node.get("d", "")) if len(p) > 1]
        case "circle":
            centre = shapely.Point(_float(node, "cx"), _float(node, "cy"))
            return [shapely.LineString(centre.buffer(_float(node, "r")).exterior.coords)]
        case "line":
            ends = [(_float(node, f"x{k}"), _float(node, f"y{k}")) for k in (1, 2)]
            return [shapely.LineString(ends)]
        case "rect":
            x, y = _float(node, "x"), _float(node, "y")
            ring = _rect(x, y, x + _float(node, "width"), y + _float(node, "height")).exterior
            return [shapely.LineString(ring.coords)]
        case "polyline":
            n = _numbers(node.get("points", ""))
            return [shapely.LineString(list(zip(n[::2], n[1::2], strict=True)))]
    return []


def faults(
    svg: str, *, scale: float = 1.0, sizes: Mapping[str, float] | None = None, least: float = LEAST
) -> list[str]:
    """What a reader of the print would stumble over, in words."""
    letters, strokes, hatched, sheet = read(svg, sizes)
    found: list[str] = []
    slim = [letter.box.buffer(-SLACK, join_style="mitre") for letter in letters]
    tree = shapely.STRtree(slim)
    for a, b in sorted(map(tuple, tree.query(slim, predicate="intersects").T.tolist())):
        if a < b and not slim[a].is_empty and not slim[b].is_empty:
            found.append(f'"{letters[a].text}" runs into "{letters[b].text}"')
    lines = shapely.STRtree([s.line for s in strokes])
    for k, letter in enumerate(letters):
        kinds: set[str] = set()
        for n in lines.query(slim[k], predicate="intersects").tolist() if strokes else []:
            stroke = strokes[n]
            if letter.blanked and stroke.order < letter.order and stroke.kind in FAINT:
                continue
            kinds.add(stroke.kind)
        found += [f'"{letter.text}" is crossed by a line of {kind}' for kind in sorted(kinds)]
        if not letter.blanked and any(area.intersects(slim[k]) for area in hatched):
            found.append(f'"{letter.text}" stands on hatching')
        if letter.cap * scale < least - 0.01:
            found.append(f'"{letter.text}" is only {letter.cap * scale:.2f} mm high')
        if not sheet.buffer(0.05).covers(letter.box):
            found.append(f'"{letter.text}" leaves the sheet')
    return found
