"""What goes into and comes out of the survey and plan links.

Inputs carry lengths as written (``Length``). Results carry millimetres as floats on the 0.01 mm grid.
Axes: the datum corner is the origin, the datum wall lies along +x, y points into the sheet's "up".
Points are named by letter on the drawing; a column's own points are ``K1.SW``, ``K1.SE``, ``K1.NE``,
``K1.NW`` (rectangular), or ``K2`` alone for the nearest face of a round one.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from buildout.units.lengths import Length
from buildout.units.value import Reason, Status, Value

# ---------------------------------------------------------------- inputs


class Reading(Value, kw_only=True):
    """One taped distance between two named points, kept as read."""

    id: str
    start: str
    end: str
    value: Length
    tool: Literal["tape", "laser", "rule", "drawing"] = "tape"
    who: str = ""
    when: date | None = None
    note: str = ""


class Column(Value, kw_only=True):
    """A column that blocks sight and mat. Square ones carry ``width`` and ``depth``, round ones ``diameter``."""

    id: str
    shape: Literal["rectangular", "round"]
    width: Length | None = None
    depth: Length | None = None
    diameter: Length | None = None
    parallel_to: str = ""
    """Wall (``F-A``) the width side runs parallel to; rectangular only. Empty: parallel to the datum wall."""


FeatureKind = Literal[
    "door", "exit door", "roller door", "window", "low wall", "gap",
    "outlet", "switch", "thermostat", "call point", "extinguisher", "panelboard",
]  # fmt: skip


class WallFeature(Value, kw_only=True):
    """An opening, low wall or service on a wall, as a running dimension from one named corner."""

    id: str
    wall: str
    zero: str
    kind: FeatureKind
    start: Length
    end: Length | None = None
    """None: a point service such as an outlet."""
    sill: Length | None = None
    head: Length | None = None
    """Heights above the slab. For a point service ``sill`` is its height; for a low wall ``head`` is its top."""
    clear_width: Length | None = None
    thickness: Length | None = None
    swing: Literal["", "in", "out"] = ""
    note: str = ""


class Wall(Value, kw_only=True):
    """What a wall is made of; walls not listed are studs behind board."""

    id: str
    construction: Literal["masonry", "stud", "none"] = "stud"
    height: Length | None = None


class KeepClear(Value, kw_only=True):
    """A strip along a wall that gets no mat: storage aisle, exit landing, working space."""

    id: str
    name: str
    wall: str
    zero: str
    start: Length
    end: Length
    depth: Length
    edge: Literal["ramp", "square"] = "ramp"
    """How the mat field ends at this strip."""


class Datum(Value, kw_only=True):
    """Where the drawing's axes lie; everything else is measured from here."""

    origin: str
    along: str
    """Corner that lies on the +x axis as seen from ``origin``."""


class Room(Value, kw_only=True):
    """One room as taped: its corners in order, every reading as read, and what stands in or on its walls."""

    id: str
    name: str
    corners: list[str]
    """Corner letters in order round the room."""
    turning: Literal["clockwise", "anticlockwise"] = "clockwise"
    datum: Datum | None = None
    """None: first corner, with the last corner along +x when clockwise, the second when anticlockwise."""
    marks: list[str] = []
    """Control marks on the floor (``M``)."""
    columns: list[Column] = []
    readings: list[Reading] = []
    walls: list[Wall] = []
    features: list[WallFeature] = []
    keep_clear: list[KeepClear] = []
    height: Length | None = None
    note: str = ""


# ---------------------------------------------------------------- survey


class SurveyedPoint(Value, kw_only=True):
    name: str
    x: float
    y: float
    plus_minus: float
    """95 % half-width of the worse direction, mm. 0 for the datum."""
    kind: Literal["corner", "mark", "column"]


class SurveyedReading(Value, kw_only=True):
    id: str
    start: str
    end: str
    observed: float
    adjusted: float
    residual: float
    """adjusted − observed, mm."""
    redundancy: float
    """0 = unchecked by any other reading, 1 = fully checked."""
    standardised: float | None
    """residual ÷ its own sigma; None where redundancy < 0.001 ("unchecked")."""
    used: bool
    verdict: Literal["sound", "unchecked", "suspect", "set aside"]
    why: str = ""


class SurveyedLength(Value, kw_only=True):
    """A wall or diagonal from the adjusted points."""

    start: str
    end: str
    length: float
    plus_minus: float


class Survey(Value, kw_only=True):
    room: str
    status: Status
    points: list[SurveyedPoint]
    readings: list[SurveyedReading]
    walls: list[SurveyedLength]
    diagonals: list[SurveyedLength]
    angles: dict[str, float]
    """Interior angle at each corner, degrees."""
    area: float
    """mm², columns not deducted."""
    perimeter: float
    degrees_of_freedom: int
    misfit: float
    """vᵀPv of the readings used."""
    loose: list[str]
    """Points that the readings do not fix."""
    undecided: list[str]
    """Readings among which geometry cannot say which one is wrong."""
    reasons: list[Reason]


# ---------------------------------------------------------------- plan


class PlacedFeature(Value, kw_only=True):
    id: str
    kind: FeatureKind
    wall: str
    start: float
    end: float
    """Along the wall from its first corner in corner order, mm."""
    a: tuple[float, float]
    b: tuple[float, float]
    sill: float | None
    head: float | None
    clear_width: float | None
    swing: str
    note: str = ""


class PlacedColumn(Value, kw_only=True):
    id: str
    shape: Literal["rectangular", "round"]
    centre: tuple[float, float]
    outline: list[tuple[float, float]]
    """Polygon; a round column is drawn with 64 sides and carries its diameter."""
    diameter: float | None = None


class PlanWall(Value, kw_only=True):
    id: str
    """``A-B`` in corner order."""
    a: tuple[float, float]
    b: tuple[float, float]
    length: float
    construction: Literal["masonry", "stud", "none"]
    height: float | None
    inward: tuple[float, float]
    """Unit normal that points into the room."""


class MatEdge(Value, kw_only=True):
    """One straight side of the mat field."""

    id: str
    a: tuple[float, float]
    b: tuple[float, float]
    length: float
    kind: Literal["wall", "ramp", "square", "column"]
    along: str
    """Wall, keep-clear strip or column it runs along."""


class RoomPlan(Value, kw_only=True):
    room: str
    name: str
    status: Status
    outline: list[tuple[float, float]]
    """Corners anticlockwise, not closed."""
    corners: dict[str, tuple[float, float]]
    walls: list[PlanWall]
    columns: list[PlacedColumn]
    features: list[PlacedFeature]
    keep_clear: dict[str, list[tuple[float, float]]]
    mat_field: list[tuple[float, float]]
    """Outer ring of the room less the keep-clear strips, columns not cut out. Empty when there is none."""
    mat_edges: list[MatEdge]
    floor_area: float
    """mm², columns deducted."""
    mat_area: float
    """mm², columns deducted."""
    reasons: list[Reason]
