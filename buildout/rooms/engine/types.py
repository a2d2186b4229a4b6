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


ToolKind = Literal["tape", "laser", "rule", "drawing"]

ReadingKind = Literal[
    "distance", "offset", "running", "square",
    "straightness", "plumb", "height", "flatness", "level", "clear width", "clear height",
]  # fmt: skip
"""What was read. The first four fix points and enter the adjustment; the rest are recorded, checked for
sense and carried to plan and elevation.

distance: tape between ``start`` and ``end``.
offset: square off the wall ``start``–``end`` to ``point`` (nearest face of a round column).
running: along the wall ``start``–``end`` from zero at ``start`` to where ``point`` squares off on it.
square: at corner ``point``, the tie between a mark ``legs[0]`` along the wall to ``start`` and a mark
``legs[1]`` along the wall to ``end`` (3-4-5). A pair of diagonals is two distances.
straightness: gap from a string line ``start``–``end`` to the wall, ``along`` from ``start``.
plumb: gap from a plumb line to the wall ``start``–``end`` at the head, ``base`` at the foot, ``over`` apart.
height: of the wall ``start``–``end`` or of ``feature`` on it above the slab, ``along`` from ``start``.
flatness: gap under a straightedge ``over`` long, on the line ``start``–``end``, ``along`` from ``start``.
level: from the level line down to the floor at the same kind of station.
clear width, clear height: of the opening ``feature``.
"""

FIXING: tuple[ReadingKind, ...] = ("distance", "offset", "running", "square")
"""Kinds that enter the adjustment."""


class Reading(Value, kw_only=True):
    """One reading, kept as read: by default the distance between two named points."""

    id: str
    start: str
    end: str
    """Two points: the ends of the tape, or of the wall or line the reading belongs to, zero at ``start``.
    Empty only for clear widths and heights."""
    value: Length
    tool: ToolKind = "tape"
    who: str = ""
    when: date | None = None
    note: str = ""
    kind: ReadingKind = "distance"
    point: str = ""
    """offset and running: the point read to; square: the corner."""
    along: Length | None = None
    """Where on the line, from ``start``; empty: the middle."""
    legs: list[Length] = []
    """square: how far from the corner the two marks are, towards ``start`` and towards ``end``."""
    base: Length | None = None
    """What a straight or plumb wall would show: the blocks of the string line, the gap at the foot."""
    over: Length | None = None
    """plumb: height between foot and head; flatness: length of the straightedge."""
    side: Literal["", "in", "out"] = ""
    """Where ``base`` is empty: the wall stands into the room ("in") or back ("out"; also when empty)."""
    feature: str = ""
    """height, clear width, clear height: the opening or low wall."""
    photo: str = ""
    """Name of a photo kept with the build."""


class ToolAccuracy(Value, kw_only=True):
    """What a tool is good for: ± ``fixed``, and ± ``added`` more for ``every`` so much length.

    The ± stands for two standard deviations.
    """

    id: ToolKind
    fixed: Length
    added: Length | None = None
    every: Length | None = None


class LevelChange(Value, kw_only=True):
    """A step or ramp in the floor along a line of named points."""

    id: str
    edge: list[str]
    """Two or more points the edge runs through."""
    rise: Length
    up_to: str = ""
    """A point on the higher side."""
    note: str = ""


class GatePass(Value, kw_only=True):
    """The owner sends the room to a fabricator although the gate does not pass."""

    who: str
    when: date
    why: str


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


class OtherSide(Value, kw_only=True):
    """A door as the room behind it names it."""

    room: str
    feature: str


class BacksOn(Value, kw_only=True):
    """The wall of another room that a wall is the other face of."""

    room: str
    wall: str
    thickness: Length | None = None
    """From face to face, linings included; None: not measured."""


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
    hinge: Literal["", "start", "end"] = ""
    """Jamb the leaf hangs on; empty: the one at ``start``."""
    under_leaf: Length | None = None
    """Gap between the slab and the underside of the leaf; what a floor under an inward door has to pass."""
    other_side: OtherSide | None = None
    """Openings: the same one seen from the next room. Naming it from one side is enough."""


class Wall(Value, kw_only=True):
    """What a wall is made of; walls not listed are studs behind board."""

    id: str
    construction: Literal["masonry", "stud", "none"] = "stud"
    height: Length | None = None
    straight: bool = False
    """The owner asked for mat, frame and cover to run straight between its corners, whatever its bow."""
    backs_on: BacksOn | None = None
    """Named from one side is enough; several short walls may back on to one long one."""


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
    """How the mat ends here where its floor says nothing else of that side (``Fitout.sides``)."""


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
    tools: list[ToolAccuracy] = []
    """Tools better or worse than usual; those not listed keep the usual accuracy."""
    levels: list[LevelChange] = []
    gate_passed: GatePass | None = None
    north: float | None = None
    """Where north lies on the drawing, degrees anticlockwise from "up the sheet"; None: not known."""


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
    verdict: Literal["sound", "unchecked", "suspect", "set aside", "recorded"]
    """recorded: of a kind that fixes no point."""
    why: str = ""
    kind: ReadingKind = "distance"
    point: str = ""
    tool: ToolKind = "tape"
    sigma: float = 0.0
    """Standard deviation it entered with, mm."""
    plus_minus: float = 0.0
    """95 % half-width of the adjusted value, mm."""
    least_blunder: float | None = None
    """Smallest mistake, mm, that its test would reveal (test 0.001, power 0.80): 4.1321 σ/√r; None: unchecked."""
    hint: str = ""
    """The usual slip its misfit looks like, in words."""


class SurveyedLength(Value, kw_only=True):
    """A wall or diagonal from the adjusted points."""

    start: str
    end: str
    length: float
    plus_minus: float


class LoosePoint(Value, kw_only=True):
    """A point the readings leave free to move."""

    name: str
    x: float
    y: float
    """Where the sketch shows it."""
    directions: list[tuple[float, float]]
    """Unit vectors it can move along: one, or two when it is free both ways."""
    text: str


class WantedReading(Value, kw_only=True):
    """A reading the survey asks for, most useful first."""

    start: str
    end: str
    holds: str
    """The point it helps to hold, or empty."""
    text: str


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
    area_plus_minus: float = 0.0
    """95 % half-width of the area, mm²."""
    perimeter_plus_minus: float = 0.0
    misfit_limit: float = 0.0
    """vᵀPv that sound readings exceed once in twenty rooms; 0 without spare readings."""
    undecided_sets: list[list[str]] = []
    """Each set of readings explains the misfit as well as any other."""
    loose_points: list[LoosePoint] = []
    wanted: list[WantedReading] = []
    """Shortest list of readings that would fix a loose room, or the one that would decide an undecided one."""


# ---------------------------------------------------------------- what to tape next, and the gate


class Candidate(Value, kw_only=True):
    """A reading worth taking next."""

    start: str
    end: str
    again: bool
    """A second, separate taping of a length already read."""
    expected: float
    """What it should show, mm."""
    plus_minus: float
    """95 % half-width of ``expected``."""
    worst_before: float
    worst_after: float
    """Widest ± among the dimensions asked about, mm."""
    checked_before: int
    checked_after: int
    """Readings with redundancy of 0.1 or more."""
    text: str
    """The gain in words."""


class CutShape(Value, kw_only=True):
    """What is cut to a room, as far as its sizes are written on a drawing: its cover, or the mat field itself."""

    name: str
    """What it is, such as ``cover``."""
    outline: list[tuple[float, float]]
    labels: list[str]
    """What the drawing calls each corner of the outline."""
    diagonals: list[tuple[int, int]]
    """Corners of the outline between which a length is written besides the sides."""
    cutouts: list[list[tuple[float, float]]] = []
    base: int = 0
    """Cut-outs are written along and square off the side that starts at this corner."""


class GateItem(Value, kw_only=True):
    """One thing the fabricator gate looks at."""

    what: Literal["side", "diagonal", "wall", "cut-out", "reading"]
    name: str
    """In words, such as ``cover side 1–2`` or ``reading 4 (D–E)``."""
    value: float
    """Length in mm."""
    plus_minus: float
    """95 % half-width, mm."""
    limit: float
    passes: bool
    text: str = ""
    """Why it does not pass."""


class FabricatorGate(Value, kw_only=True):
    """Whether a cover may be cut from this room's figures."""

    room: str
    passes: bool
    """Every dimension within the limit and every reading checked."""
    open: bool
    """It passes, or the owner passed it knowingly."""
    knowingly: GatePass | None
    items: list[GateItem]
    take: list[Candidate]
    """What to tape, in this order, for it to pass."""
    reasons: list[Reason]
    text: str
    """One line for the drawing."""


class RoomDifference(Value, kw_only=True):
    """One line of the comparison of two revisions of a room; empty text where it was not there."""

    what: Literal["corner", "wall", "angle", "area", "column", "opening", "reading", "name"]
    name: str
    before: str
    after: str
    change: float = 0.0
    """mm (mm² for areas, degrees for angles)."""
    beyond: bool = False
    """More than the ± of both together."""


class RoomComparison(Value, kw_only=True):
    room: str
    differences: list[RoomDifference]
    text: str


# ---------------------------------------------------------------- starting a room


class OutlineStart(Value, kw_only=True):
    """Corners, walls and readings to begin a room with."""

    corners: list[str]
    turning: Literal["clockwise", "anticlockwise"]
    readings: list[Reading]
    points: dict[str, tuple[float, float]]
    """Sketched positions, mm."""
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
    hinge: Literal["a", "b"] = "a"
    clear_height: float | None = None
    under_leaf: float | None = None
    thickness: float | None = None


class WallStation(Value, kw_only=True):
    """How far a wall stands from where a straight and plumb one would be."""

    along: float
    """From the wall's first corner in corner order, mm."""
    inward: float
    """Into the room positive, mm. Bow: off the line of its corners. Lean: head off the foot."""
    over: float = 0.0
    """Lean: height between foot and head; 0 for bow."""
    reading: str = ""


class WallHeight(Value, kw_only=True):
    along: float
    height: float
    feature: str = ""
    """Low wall or opening it belongs to; empty: the wall itself."""
    reading: str = ""


class FloorStation(Value, kw_only=True):
    """A spot where the floor was checked."""

    at: tuple[float, float]
    kind: Literal["flatness", "level"]
    value: float
    """Gap under the straightedge, or height above the mean of the level readings, mm."""
    over: float = 0.0
    """Length of the straightedge."""
    reading: str = ""


class PlacedLevel(Value, kw_only=True):
    """A change of level as drawn; the higher side lies to the left of the line where ``up_left``."""

    id: str
    line: list[tuple[float, float]]
    rise: float
    up_left: bool
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
    line: list[tuple[float, float]] = []
    """Inside face from ``a`` to ``b`` as it bows; empty: straight, or taken as straight."""
    bow: list[WallStation] = []
    lean: list[WallStation] = []
    heights: list[WallHeight] = []


class MatEdge(Value, kw_only=True):
    """One straight side of the mat field."""

    id: str
    a: tuple[float, float]
    b: tuple[float, float]
    length: float
    kind: Literal["wall", "low wall", "ramp", "square", "column"]
    along: str
    """Wall, low wall, gap, keep-clear strip or column it runs along."""

    @property
    def walked_on(self) -> bool:
        """No wall stands there: people step on to the mat over it."""
        return self.kind in ("ramp", "square")


class RoomPlan(Value, kw_only=True):
    room: str
    name: str
    status: Status
    outline: list[tuple[float, float]]
    """Inside face of the walls anticlockwise, not closed: corners, and between them where a wall bows."""
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
    floor: list[FloorStation] = []
    levels: list[PlacedLevel] = []


# ---------------------------------------------------------------- rooms beside each other


class SharedDoor(Value, kw_only=True):
    """One opening with its two sides, in the order of the rooms."""

    rooms: tuple[str, str]
    features: tuple[str, str]
    walls: tuple[str, str]
    """``A-B`` in corner order; empty where a room has no shape yet."""
    thickness: float | None
    """Of the wall between, mm."""


class RoomPlace(Value, kw_only=True):
    """How a room's own drawing is moved to lie in its group: turned about its datum corner, then shifted."""

    room: str
    group: int
    """Rooms of one group lie as in the building; a room alone in its group lies nowhere yet."""
    turn: float
    """Degrees anticlockwise."""
    x: float
    y: float
    """mm"""


class Neighbours(Value, kw_only=True):
    doors: list[SharedDoor] = []
    places: list[RoomPlace] = []
    reasons: list[Reason] = []
