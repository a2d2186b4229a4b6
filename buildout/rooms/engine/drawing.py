"""A drawing to scale: what the screen, the printed page and the CAD file are all written from.

Two kinds of millimetre meet here. *Model* millimetres are real ones: positions, radii, outlines; y points up.
*Paper* millimetres are sizes on the sheet: text heights, how far a dimension line stands off, shifts of
labels. A drawing does not know its scale; the writer picks one from the usual scales when it knows the
sheet (``svg.to_svg``, ``dxf.to_dxf``), so text stays legible at any scale.

Every item has a ``role`` (what it is, which decides line weight, dashes and CAD layer) and may have a
``title``, which is read out by screen readers and shown when it is pointed at.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, TypeAlias

from buildout.rooms.engine.geometry import Point
from buildout.units.lengths import UnitSystem, format_length
from buildout.units.value import Value

Role = Literal[
    # the room
    "wall", "stud wall", "low wall", "opening", "door", "swing", "window", "column", "keep clear", "mat field",
    "service", "mark", "reading", "suspect", "datum",
    # floor, cover and walls
    "frame", "ramp", "piece", "whole piece", "joint", "lower joint", "first line", "cover", "band", "weld", "cutout",
    "panel", "low panel", "removable panel", "end panel", "cap", "cleat", "floor line", "section cut",
    # cut diagrams
    "stock", "cut piece", "offcut",
    # what a sheet carries
    "dimension", "label", "small label", "note", "grid", "hidden", "outline", "highlight", "removed", "added",
]  # fmt: skip
"""What an item is."""

Hatch = Literal["", "fill", "diagonal", "back diagonal", "cross", "dots", "sparse"]

SymbolKind = Literal[
    "outlet", "switch", "thermostat", "call point", "extinguisher", "panelboard", "mark", "question", "arrow",
    "exit", "datum", "level",
]  # fmt: skip

LABEL = 3.2
"""Usual text height on paper, mm."""
SMALL = 2.8
"""Least one: its capitals stand 2 mm high."""


class Line(Value, tag="line"):
    a: Point
    b: Point
    role: Role
    title: str = ""


class Polyline(Value, tag="polyline"):
    points: list[Point]
    role: Role
    closed: bool = False
    title: str = ""


class Polygon(Value, tag="polygon"):
    outline: list[Point]
    role: Role
    holes: list[list[Point]] = []
    hatch: Hatch = ""
    title: str = ""


class Circle(Value, tag="circle"):
    centre: Point
    radius: float
    role: Role
    hatch: Hatch = ""
    title: str = ""


class Arc(Value, tag="arc"):
    """Part of a circle, anticlockwise from ``start`` to ``end`` in degrees from +x."""

    centre: Point
    radius: float
    start: float
    end: float
    role: Role
    title: str = ""


class Text(Value, tag="text"):
    """Lettering, one line or several (parted by line feeds).

    ``shift`` moves it on paper (mm, y up); the writer takes the first of ``shift`` and ``or_shift`` that is
    free of other lettering and lines, else a free place farther off with a leader, or the least crowded.
    """

    at: Point
    text: str
    role: Role = "label"
    size: float = LABEL
    rest: float = 1.0
    """Height of the lines after the first, as a share of ``size``."""
    anchor: Literal["start", "middle", "end"] = "middle"
    turn: float = 0.0
    """Degrees anticlockwise; the writer keeps lettering readable from below or from the right."""
    shift: tuple[float, float] = (0.0, 0.0)
    or_shift: list[tuple[float, float]] = []
    clear: bool = False
    """Blank the ground behind the lettering, where it stands on hatching."""
    inside: float = 0.0
    """If set: room in the piece it names, model mm. Lettering that is wider stands beside the piece on a leader, and
    is dropped where nothing is free."""
    deep: float = 0.0
    """With ``inside``: how deep that room is, model mm. Lettering that is too wide is broken between words to fit."""
    roam: float = 31.0
    """How far it may move off when its places are taken, paper mm; 0 for lettering that belongs in its place."""
    led: bool = True
    """Whether it takes a leader when it moves off."""
    title: str = ""


class Dimension(Value, tag="dimension"):
    """A dimension line with oblique ticks, ``offset`` paper mm to the left of a → b (negative: right)."""

    a: Point
    b: Point
    text: str
    offset: float = 10.0
    beyond: float = 0.0
    """Model mm the line stands farther off, to clear something drawn to scale such as a door's swing."""
    role: Role = "dimension"
    title: str = ""


class Symbol(Value, tag="symbol"):
    """A small sign of fixed paper size, ``turn`` degrees anticlockwise; its base is at ``at``."""

    at: Point
    kind: SymbolKind
    role: Role = "service"
    turn: float = 0.0
    title: str = ""


Item: TypeAlias = Line | Polyline | Polygon | Circle | Arc | Text | Dimension | Symbol


class TitleBlock(Value):
    """What stands in the block at the foot of the sheet. The scale is filled in by the writer."""

    build: str
    sheet: str
    number: str = ""
    revision: str = ""
    date: str = ""
    drawn_by: str = ""


class Drawing(Value):
    items: list[Item]
    title: str
    """Short name, read out first."""
    description: str
    """What the drawing shows, in a sentence or two, for those who cannot see it."""
    units: UnitSystem = "feet-inches"
    block: TitleBlock | None = None
    notes: list[str] = []
    """Lines of plain text printed beside the title block."""


# ---------------------------------------------------------------- helpers


def dimension(
    a: Point,
    b: Point,
    units: UnitSystem,
    *,
    offset: float = 10.0,
    beyond: float = 0.0,
    denominator: int = 8,
    title: str = "",
    text: str = "",
) -> Dimension:
    """One dimension with its length written in ``units``; metric ones in whole millimetres without the unit.

    >>> dimension((0, 0), (3048, 0), "feet-inches").text
    '10\\' 0"'
    """
    length = math.hypot(b[0] - a[0], b[1] - a[1])
    shown = text or format_length(length, units, denominator=denominator).removesuffix(" mm")
    return Dimension(a=a, b=b, text=shown, offset=offset, beyond=beyond, title=title)


def chain_dimensions(
    points: Sequence[Point],
    units: UnitSystem,
    *,
    offset: float = 10.0,
    beyond: float = 0.0,
    denominator: int = 8,
    titles: Sequence[str] = (),
    least: float = 1.0,
) -> list[Dimension]:
    """End-to-end dimensions between neighbouring points; steps shorter than ``least`` mm are left out.

    >>> [d.text for d in chain_dimensions([(0, 0), (1000, 0), (3000, 0)], "metric")]
    ['1000', '2000']
    """
    made = []
    for k in range(len(points) - 1):
        a, b = points[k], points[k + 1]
        if math.hypot(b[0] - a[0], b[1] - a[1]) < least:
            continue
        title = titles[k] if k < len(titles) else ""
        made.append(dimension(a, b, units, offset=offset, beyond=beyond, denominator=denominator, title=title))
    return made


def overall_and_chain(
    points: Sequence[Point], units: UnitSystem, *, offset: float = 10.0, step: float = 8.0, denominator: int = 8
) -> list[Dimension]:
    """A chain close to the work and the overall beyond it; the overall alone when the chain has one link."""
    away = math.copysign(step, offset)
    if len(points) <= 2:
        return chain_dimensions(points, units, offset=offset, denominator=denominator)
    chain = chain_dimensions(points, units, offset=offset, denominator=denominator)
    return [*chain, dimension(points[0], points[-1], units, offset=offset + away, denominator=denominator)]


def rectangle(x: float, y: float, width: float, height: float) -> list[Point]:
    """Corners anticlockwise from the lower left."""
    return [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]


def middle(outline: Sequence[Point]) -> Point:
    """Mean of the corners: where a piece's label goes."""
    return sum(p[0] for p in outline) / len(outline), sum(p[1] for p in outline) / len(outline)
