"""Details of what is padded besides the walls: a low wall's cap cut through, a column's jacket round and laid flat."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

import msgspec

from buildout.rooms.engine.drawing import (
    LABEL,
    SMALL,
    Circle,
    Drawing,
    Item,
    Line,
    Polygon,
    Polyline,
    Text,
    TitleBlock,
    chain_dimensions,
    dimension,
    rectangle,
)
from buildout.rooms.engine.types import PlacedColumn, PlacedFeature, RoomPlan
from buildout.units.lengths import UnitSystem, format_length, format_mass, format_small
from estimating.engine.column_wraps import WRAP_LAP, wrap_foam, wrap_sheets
from estimating.engine.low_walls import OVERHANG, TOUCHING, board_and_foam, stand_off
from estimating.engine.types import Panel, Product, WallElevation, WallLayout, WallSystem

Point = tuple[float, float]

FINE = 16
"""Sizes of details are written to the sixteenth of an inch."""
BELOW_CLEAT = 90.0
"""mm of wall shown below the cleat, to where the section breaks off."""
LEAST_SHOWN = 150.0
APART = 420.0
"""mm from one view to the next, for their dimensions and words."""


def capped(elevation: WallElevation, plan: RoomPlan) -> list[PlacedFeature]:
    """Low walls of a wall whose cap can be drawn: those of known thickness and height."""
    return [
        item
        for item in plan.features
        if item.wall == elevation.wall and item.kind == "low wall" and None not in (item.thickness, item.head)
        and _sections(elevation, item)
    ]  # fmt: skip


def _sections(elevation: WallElevation, item: PlacedFeature) -> list[Panel]:
    return [
        p for p in elevation.trims
        if p.kind == "cap" and p.start < item.end - TOUCHING and p.start + p.width > item.start + TOUCHING
    ]  # fmt: skip


def draw_cap(
    plan: RoomPlan,
    layout: WallLayout,
    system: WallSystem,
    products: Mapping[str, Product],
    *,
    low_wall: str,
    units: UnitSystem = "feet-inches",
    block: TitleBlock | None = None,
) -> Drawing:
    """A low wall's cap cut through across the wall and, where an end is free, along it, in true sizes.

    Raises ``KeyError`` for a low wall without a cap to draw.
    """
    found = [(e, f) for e in layout.elevations for f in capped(e, plan) if f.id == low_wall]
    if not found:
        raise KeyError(low_wall)
    elevation, item = found[0]
    system = msgspec.structs.replace(system, **layout.pinned)
    section = _Section(elevation, item, system, products, units)
    items = section.across()
    ends = [p for p in elevation.trims if p.kind == "wall end" and _beside(p, item)]
    if ends:
        items += section.along(ends[0], section.depth + APART)
    views = "across the wall" + (" and at its free end" if ends else "")
    return Drawing(
        items=items,
        title=f"{plan.name}: cap of {low_wall}",
        description=(
            f"The cap of {low_wall} in {plan.name} cut through {views}: cap board, foam and face over the low wall, "
            "the panel below it on its cleat, with their sizes and heights."
        ),
        units=units,
        block=block,
        notes=section.notes(ends),
    )


def _beside(panel: Panel, item: PlacedFeature) -> bool:
    return (
        abs(panel.start - item.end) < TOUCHING or abs(panel.start + panel.width - item.start) < panel.width + TOUCHING
    )


class _Section:
    """Measures of one cap, and what is drawn of it."""

    def __init__(
        self,
        elevation: WallElevation,
        item: PlacedFeature,
        system: WallSystem,
        products: Mapping[str, Product],
        units: UnitSystem,
    ) -> None:
        self.units = units
        self.item = item
        self.caps = _sections(elevation, item)
        self.panel = next(
            p for p in elevation.panels if p.kind == "low" and item.start - TOUCHING <= p.start < item.end
        )
        self.thick, self.head = float(item.thickness or 0), float(item.head or 0)
        self.depth = self.caps[0].height
        self.off = stand_off(system, products)
        self.cleat = self.off - float(system.thickness)
        self.board, self.foam = board_and_foam(system, products)
        self.timber = self.caps[0].thickness - self.foam
        self.side, self.end = float(system.turn_back_side), float(system.turn_back_end)
        self.top = self.panel.bottom + self.panel.height
        rail = products.get(system.cleat)
        self.rail = float(rail.width) if rail is not None and rail.width is not None else 90.0
        lines = [c for c in elevation.cleats if c.kind == "cleat" and c.start <= self.panel.start < c.end]
        self.height = next((c.height for c in lines if c.height < self.top), None)
        low = self.height if self.height is not None else self.top - LEAST_SHOWN
        self.low = max(0.0, low - self.rail / 2 - BELOW_CLEAT)

    # ------------------------------------------------ views

    def across(self) -> list[Item]:
        """Far face of the low wall at 0, the room on the right."""
        items = self._wall(0.0, self.thick)
        items += self._hung(self.thick)
        items += self._cap(0.0, self.depth, free_left=True)
        items += self._break(-25.0, self.thick + self.off + 25.0)
        face = self.thick + self.off
        items += self._chain([(x, self.low) for x in self._layers(self.thick)], -12.0)
        items += self._chain([(x, self.low) for x in (0.0, self.thick, face)], -20.0)
        high = self.head + self.timber + self.foam
        items += self._chain([(face, high), (self.depth, high)], 10.0)
        items += self._chain([(0.0, high), (self.depth, high)], 18.0)
        right = max(self.depth, face)
        items += self._chain([(right, y) for y in (self.head, self.head + self.timber, high)], -12.0)
        below = [self.height] if self.height is not None else []
        items += self._chain([(right, y) for y in (*below, self.top, self.head)], -26.0)
        items += self._told(self.thick / 2, self.low + (self.head - self.low) / 3, "low wall")
        items += self._names(self.thick)
        items.append(self._view_name((self.depth / 2, self.low), "Across the wall, room on the right"))
        return items

    def along(self, panel: Panel, left: float) -> list[Item]:
        """The low wall's free end at ``left``, the way through on the right."""
        start = left - self.depth * 1.2
        items = self._wall(start, left)
        items += self._hung(left)
        out = left + self.off + OVERHANG
        items += self._cap(start, out, free_left=False)
        items += self._break(start - 25.0, left + self.off + 25.0)
        items.append(Line(a=(start, self.low), b=(start, self.head + self.timber + self.foam), role="hidden"))
        high = self.head + self.timber + self.foam
        items += self._chain([(x, self.low) for x in self._layers(left)], -12.0)
        items += self._chain([(x, self.low) for x in (left, left + self.off)], -20.0)
        items += self._chain([(left + self.off, high), (out, high)], 10.0)
        items += self._chain([(left, high), (out, high)], 18.0)
        items += self._told(start + self.depth * 0.5, self.low + (self.head - self.low) / 3, "low wall, cut along")
        items.append(Text(at=(left + self.off, self.low + 60.0), text=f"end panel {_number(panel)}",
                          role="small label", size=SMALL, anchor="start", shift=(4.0, 0.0)))  # fmt: skip
        items.append(self._view_name(((start + out) / 2, self.low), "At the free end, way through on the right"))
        return items

    # ------------------------------------------------ parts

    def _layers(self, wall: float) -> list[float]:
        """Where cleat, board and foam end, from the wall."""
        cleat = [wall + self.cleat] if self.cleat else []
        return [wall, *cleat, wall + self.cleat + self.board, wall + self.off]

    def _wall(self, left: float, right: float) -> list[Item]:
        ring = rectangle(left, self.low, right - left, self.head - self.low)
        return [Polygon(outline=ring, role="low wall", hatch="sparse", title=f"Low wall {self.item.id}")]

    def _hung(self, wall: float) -> list[Item]:
        """The panel whose back hangs on its cleat at ``wall``: board, foam, and the face turned back behind."""
        back, front = wall + self.cleat, wall + self.off
        items: list[Item] = [
            Polygon(
                outline=rectangle(back, self.low, self.board, self.top - self.low), role="panel", hatch="back diagonal",
                title="Panel board",
            ),
            Polygon(
                outline=rectangle(back + self.board, self.low, front - back - self.board, self.top - self.low),
                role="panel", hatch="dots", title="Panel foam",
            ),
            Polyline(
                points=[(back, self.top - self.end), (back, self.top), (front, self.top), (front, self.low)],
                role="cover", title="Face of the panel, turned back behind",
            ),
        ]  # fmt: skip
        if self.height is not None and self.cleat:
            low, high, middle = self.height - self.rail / 2, self.height + self.rail / 2, self.height
            bevel = min(self.cleat, self.rail / 2) / 2
            # The bevel runs up and away from the wall, so that the panel's rail hooks behind it.
            wall_rail = [(wall, low), (back, low), (back, middle + bevel), (wall, middle - bevel)]
            hung_rail = [(back, high), (wall, high), (wall, middle - bevel), (back, middle + bevel)]
            items += [
                Polygon(outline=wall_rail, role="cap", hatch="diagonal", title="Cleat, wall rail"),
                Polygon(outline=hung_rail, role="cap", hatch="cross", title="Cleat, panel rail"),
            ]
        return items

    def _cap(self, left: float, right: float, *, free_left: bool) -> list[Item]:
        low, mid, high = self.head, self.head + self.timber, self.head + self.timber + self.foam
        points = [(left, high), (right, high), (right, low), (right - self.side, low)]
        if free_left:
            points = [(left + self.side, low), (left, low), *points]
        return [
            Polygon(
                outline=rectangle(left, low, right - left, self.timber), role="cap", hatch="back diagonal",
                title="Cap board",
            ),
            Polygon(outline=rectangle(left, mid, right - left, self.foam), role="cap", hatch="dots", title="Cap foam"),
            Polyline(points=points, role="cover", title="Face of the cap, turned back under its board"),
        ]  # fmt: skip

    def _break(self, left: float, right: float) -> list[Item]:
        """The line where the drawing breaks off."""
        x, y = (left + right) / 2, self.low
        points = [(left, y), (x - 12, y), (x - 5, y + 14), (x + 5, y - 14), (x + 12, y), (right, y)]
        return [Polyline(points=points, role="outline", title="Broken off here; the wall goes on to the slab")]

    def _told(self, x: float, y: float, words: str) -> list[Item]:
        return [Text(at=(x, y), text=words, role="small label", size=SMALL, clear=True, inside=self.thick)]

    def _names(self, wall: float) -> list[Item]:
        """What the parts are, on leaders, and how high the tops stand."""
        back = wall + self.cleat
        high, mid = self.head + self.timber, self.head + self.timber + self.foam / 2
        named = [
            ((self.depth * 0.3, high - self.timber / 2), f"cap board {self._small(self.timber)}", (-38.0, 5.0)),
            ((self.depth * 0.35, mid), f"cap foam {self._small(self.foam)}", (-38.0, 10.0)),
            ((back + self.board / 2, self.low + 40.0), f"panel board {self._small(self.board)}", (38.0, -2.0)),
            ((back + self.board + self.foam / 2, self.low + 70.0), f"foam {self._small(self.foam)}", (38.0, 5.0)),
            ((back, self.top - self.end), f"face turned back {self._small(self.end)}", (-45.0, 0.0)),
            ((self.side, self.head), f"turned back {self._small(self.side)}", (-45.0, -5.0)),
        ]
        if self.height is not None and self.cleat:
            named.append(((wall + self.cleat / 2, self.height), f"cleat {self._small(self.cleat)}", (-42.0, -6.0)))
        items: list[Item] = []
        for at, words, shift in named:
            others = [(shift[0], shift[1] + dy) for dy in (5.0, -5.0, 10.0, -10.0)]
            items.append(
                Text(at=at, text=words, role="small label", size=SMALL, shift=shift, or_shift=others, inside=1.0)
            )
        for x, y, what in ((0.0, self.head, "wall top"), (0.0, self.head + self.timber + self.foam, "cap top")):
            words = f"{what} {self._height(y)}"
            items.append(
                Text(at=(x, y), text=words, role="small label", size=SMALL, anchor="end", shift=(-4.0, -1.0),
                     or_shift=[(-4.0, 2.0), (-4.0, -4.0), (-4.0, 5.0)])
            )  # fmt: skip
        return items

    def _view_name(self, at: Point, words: str) -> Text:
        return Text(at=at, text=words, size=LABEL, shift=(0.0, -30.0), or_shift=[(0.0, -34.0), (0.0, -38.0)])

    # ------------------------------------------------ words

    def _chain(self, points: Sequence[Point], offset: float) -> list[Item]:
        """End-to-end dimensions, short ones in inches alone."""
        found: list[Item] = []
        for a, b in pairwise(points):
            if math.dist(a, b) >= 1.0:
                words = self._small(math.dist(a, b)).replace(" in", '"').removesuffix(" mm")
                found.append(dimension(a, b, self.units, offset=offset, text=words))
        return found

    def _small(self, mm: float) -> str:
        return format_small(mm, self.units, denominator=FINE)

    def _long(self, mm: float) -> str:
        return format_length(mm, self.units, denominator=FINE)

    def _height(self, mm: float) -> str:
        return f"{self._long(mm)} above the slab"

    def notes(self, ends: Sequence[Panel]) -> list[str]:
        cap = self.caps[0]
        same = len({(c.board, c.face, c.foam) for c in self.caps}) == 1
        many = f"{len(self.caps)} sections{' alike' if same else ''}" if len(self.caps) > 1 else "one section"
        names = ", ".join(_number(c) for c in self.caps)
        mass = f", {format_mass(cap.mass, self.units)} each" if cap.mass else ""
        notes = [
            f"Cap {names}: {many}. Board {self._size(cap.board)}, foam {self._size(cap.foam)}, face "
            f"{self._size(cap.face)}: over foam edge {self._small(self.foam)}, board edge {self._small(self.timber)}, "
            f"turned back {self._small(self.side)} under the long edges, {self._small(self.end)} under the ends, "
            f"{cap.staples} staples{mass}.",
            f"It lies flush with the far face of the wall and {self._small(OVERHANG)} out beyond the panels' faces.",
            f"Panels first: their top {self._height(self.top)}, {self._small(self.head - self.top)} below the cap's "
            f"board. Face of the panel turned back {self._small(self.end)} behind its top edge.",
        ]
        if not same:
            notes += [f"{c.id}: board {self._size(c.board)}, face {self._size(c.face)}." for c in self.caps[1:]]
        if ends:
            notes.append(
                f"End panel {_number(ends[0])}: board {self._size(ends[0].board)}, face "
                f"{self._size(ends[0].face)}; it laps the edge of the last low panel."
            )
        notes.append("Fix the cap from below. Check that the wall is stiff before anyone leans on it. Do not scale.")
        return notes

    def _size(self, sides: tuple[float, float]) -> str:
        return " × ".join(self._long(side) for side in sides)


def _number(panel: Panel) -> str:
    return panel.id.rsplit(".", 1)[-1]


# ---------------------------------------------------------------- columns

SEAM = 30.0
"""mm that a seam is drawn out beyond a jacket seen from above."""


def draw_wraps(
    plan: RoomPlan,
    layout: WallLayout,
    system: WallSystem,
    products: Mapping[str, Product],
    *,
    units: UnitSystem = "feet-inches",
    block: TitleBlock | None = None,
) -> Drawing:
    """Every column's jacket seen from above and laid flat: its parts by number, foam, lap and blanks.

    Raises ``KeyError`` where no column gets a jacket.
    """
    wrapped = [c for c in plan.columns if any(p.wall == c.id for p in layout.wraps)]
    if not wrapped:
        raise KeyError("wraps")
    system = msgspec.structs.replace(system, **layout.pinned)
    foam, sheets = wrap_foam(products[system.foam]), wrap_sheets(products[system.foam])
    items: list[Item] = []
    notes: list[str] = []
    left = 0.0
    for column in wrapped:
        parts = [p for p in layout.wraps if p.wall == column.id]
        across = _reach(column) + 2 * foam
        flat = sum(p.width for p in parts)
        height = parts[0].height
        middle = (round(left + max(flat, across) / 2, 2), round(-across / 2 - APART, 2))
        items += _from_above(column, middle, foam)
        right, deep = middle[0] + across / 2, across / 2 - foam
        deep = deep if column.diameter is not None else math.dist(*column.outline[1:3]) / 2
        marks = [middle[1] + y for y in (-deep - foam, -deep, deep, deep + foam)]
        items += chain_dimensions([(right, y) for y in marks], units, offset=-10.0, denominator=FINE)
        items += _laid_flat(parts, left, units)
        items.append(
            Text(
                at=(left + flat / 2, height),
                text=f"Column {column.id}",
                size=LABEL,
                shift=(0.0, 4.0),
                or_shift=[(0.0, 8.0)],
            )
        )
        notes += [f"{column.id}: {_blanks_of(parts, units)}."]
        left += max(flat, across) + WRAP_LAP + APART
    laid = f"{sheets} sheets of foam on each other, " if sheets > 1 else "foam "
    small = format_small(foam, units, denominator=FINE)
    mass = f" Mass of all {format_mass(layout.wrap_mass, units)}." if layout.wrap_mass else ""
    notes += [
        f"Jackets of {laid}{small} in all, no board; a round one's foam is scored on its back. Each part laps the next "
        f"by {format_small(WRAP_LAP, units, denominator=FINE)} with hook-and-loop.{mass}",
        f"Bottom {format_length(parts[0].bottom, units, denominator=FINE)} above the slab. Girth is round the foam's "
        "outside: measure the column before cutting. Do not scale.",
    ]
    told = ", ".join(column.id for column in wrapped)
    return Drawing(
        items=items,
        title=f"{plan.name}: column jackets",
        description=f"Padded jackets of columns {told} of {plan.name}: each laid flat above, seen from above below it.",
        units=units,
        block=block,
        notes=notes,
    )


def _reach(column: PlacedColumn) -> float:
    if column.diameter is not None:
        return column.diameter
    a, b, c = column.outline[:3]
    return max(math.dist(a, b), math.dist(b, c))


def _from_above(column: PlacedColumn, middle: Point, foam: float) -> list[Item]:
    """The column with its foam round it, turned square to the sheet."""
    title = f"Column {column.id}"

    def seam(a: Point, b: Point) -> list[Item]:
        label = Text(
            at=b, text="first seam", role="small label", size=SMALL, anchor="end", shift=(-1.5, 0.0),
            or_shift=[(-1.5, 3.0), (-1.5, -3.0), (-6.0, 0.0)],
        )  # fmt: skip
        return [Line(a=a, b=b, role="highlight", title="First seam"), label]

    if column.diameter is not None:
        radius = column.diameter / 2
        return [
            Circle(centre=middle, radius=radius + foam, role="cap", hatch="dots", title=f"Jacket of {column.id}"),
            Circle(centre=middle, radius=radius, role="column", hatch="diagonal", title=title),
            *seam((middle[0], middle[1] + radius), (middle[0], middle[1] + radius + foam + SEAM)),
        ]
    a, b, c = column.outline[:3]
    wide, deep = math.dist(a, b), math.dist(b, c)

    def box(grow: float) -> list[Point]:
        return rectangle(
            middle[0] - wide / 2 - grow, middle[1] - deep / 2 - grow, wide + 2 * grow, deep + 2 * grow
        )  # fmt: skip

    corner = (middle[0] - wide / 2 - foam, middle[1] + deep / 2 + foam)
    return [
        Polygon(outline=box(foam), holes=[box(0.0)], role="cap", hatch="dots", title=f"Jacket of {column.id}"),
        Polygon(outline=box(0.0), role="column", hatch="diagonal", title=title),
        *seam(corner, (corner[0] - SEAM, corner[1] + SEAM)),
    ]


def _laid_flat(parts: Sequence[Panel], left: float, units: UnitSystem) -> list[Item]:
    items: list[Item] = []
    for part in parts:
        ring = rectangle(round(left + part.start, 2), 0.0, part.width, part.height)
        size = " × ".join(format_length(side, units, denominator=FINE) for side in (part.width, part.height))
        items.append(Polygon(outline=ring, role="panel", title=f"{part.id}, {size}"))
        items.append(
            Text(at=(left + part.start + part.width / 2, part.height / 2), text=_number(part), inside=part.width)
        )
    end = left + parts[-1].start + parts[-1].width
    height = parts[0].height
    items.append(Polygon(outline=rectangle(end, 0.0, WRAP_LAP, height), role="hidden", title="Lap over the first part"))
    items.append(
        Text(at=(end + WRAP_LAP / 2, height / 2), text="lap", role="small label", size=SMALL, turn=90.0, clear=True)
    )
    seams = [left + part.start for part in parts] + [end]
    items += chain_dimensions([(x, 0.0) for x in seams], units, offset=-10.0, denominator=FINE)
    if len(parts) > 1:
        items.append(dimension((left, 0.0), (end, 0.0), units, offset=-18.0, denominator=FINE, title="Girth"))
    items.append(dimension((left, 0.0), (left, height), units, offset=10.0, denominator=FINE, title="Height"))
    return items


def _blanks_of(parts: Sequence[Panel], units: UnitSystem) -> str:
    def size(sides: tuple[float, float]) -> str:
        return " × ".join(format_length(side, units, denominator=FINE) for side in sides)

    return "; ".join(
        f"part {_number(part)} foam {size(part.foam)}, face {size(part.face)}"
        + (f", {format_mass(part.mass, units)}" if part.mass else "")
        for part in parts
    )
