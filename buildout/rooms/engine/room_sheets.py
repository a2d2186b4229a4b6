"""More sheets of a room: its walls seen from inside, and several rooms on one sheet."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import msgspec

from buildout.rooms.engine.compare import RoomRevision
from buildout.rooms.engine.drawing import (
    SMALL,
    Arc,
    Circle,
    Dimension,
    Drawing,
    Item,
    Line,
    Polygon,
    Polyline,
    Symbol,
    SymbolKind,
    Text,
    TitleBlock,
    chain_dimensions,
    dimension,
    rectangle,
)
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.neighbours import behind, moved, with_thickness
from buildout.rooms.engine.room_drawing import draw_plan
from buildout.rooms.engine.types import Neighbours, PlacedFeature, PlanWall, Room, RoomPlan
from buildout.units.lengths import UnitSystem, format_area, format_length, format_small

NO_HEIGHT = 2438.4
"""Height drawn where none was read, mm (8 ft); the drawing says so."""
BETWEEN = 5000.0
"""Least room for dimensions between the rooms on one sheet, mm."""
BETWEEN_SHARE = 0.22
"""The same as a share of the whole width or height, whichever is more: the larger the rooms, the smaller the scale."""
NEAR = 3000.0
"""A wall with another room this close outside, mm, is dimensioned inside."""
_SIGNS: dict[str, SymbolKind] = {
    "outlet": "outlet", "switch": "switch", "thermostat": "thermostat", "call point": "call point",
    "extinguisher": "extinguisher",
}  # fmt: skip


# ---------------------------------------------------------------- wall elevations


def draw_elevation(
    room: Room, plan: RoomPlan, wall: str, *, units: UnitSystem = "feet-inches", block: TitleBlock | None = None
) -> Drawing:
    """Draw one wall square-on from inside the room: heights, openings, low walls and services.

    x runs along the wall as seen from inside, y up from the slab. A top that was read at several stations is drawn
    through them; where no height was read at all a dashed one of 8 ft stands in and is called so. Raises
    ``KeyError`` for a wall the plan does not have.
    """
    found = next((w for w in plan.walls if wall.replace("–", "-") in (w.id, "-".join(reversed(w.id.split("-"))))), None)
    if found is None:
        raise KeyError(f"There is no wall {wall} in this plan. Its walls are {', '.join(w.id for w in plan.walls)}.")
    mirrored = room.turning == "anticlockwise"
    features = [f for f in plan.features if f.wall == found.id]

    def at(along: float) -> float:
        return found.length - along if mirrored else along

    known = found.height is not None or any(not h.feature for h in found.heights)
    height = found.height or max((h.height for h in found.heights if not h.feature), default=0.0)
    if not known:
        height = max([NO_HEIGHT, *((f.head or 0.0) + 300.0 for f in features)])
    items: list[Item] = []
    top = _top(found, height, mirrored)
    items.append(
        Polygon(outline=[(0.0, 0.0), (found.length, 0.0), *reversed(top)], role="outline", title=f"Wall {_name(found)}")
    )
    if not known:
        items.append(
            Text(at=(found.length / 2, height), text="height not read", role="note", size=SMALL, shift=(0, 2.5))
        )
    items.append(Line(a=(-400.0, 0.0), b=(found.length + 400.0, 0.0), role="floor line", title="Slab"))
    for f in features:
        items += _feature(f, at, height, units)
    items += _elevation_dimensions(found, features, at, height, known, units)
    left, right = found.id.split("-") if not mirrored else reversed(found.id.split("-"))
    items.append(Text(at=(0.0, height), text=left, size=4.2, shift=(-3.5, 3.5)))
    items.append(Text(at=(found.length, height), text=right, size=4.2, shift=(3.5, 3.5)))
    return Drawing(
        items=items, title=f"Wall {_name(found)} of {room.name}", units=units, block=block,
        description=_described(room, found, features, known, height, units), notes=_notes(found, units),
    )  # fmt: skip


def _name(wall: PlanWall) -> str:
    return wall.id.replace("-", "–")


def _top(wall: PlanWall, height: float, mirrored: bool) -> list[Point]:
    """The wall's top from left to right, through the heights read."""
    read = sorted((h.along, h.height) for h in wall.heights if not h.feature)
    if not read:
        return [(0.0, height), (wall.length, height)]
    if mirrored:
        read = sorted((wall.length - along, up) for along, up in read)
    return [(0.0, read[0][1]), *read, (wall.length, read[-1][1])]


def _feature(f: PlacedFeature, at: Callable[[float], float], height: float, units: UnitSystem) -> list[Item]:
    low_x, high_x = sorted((at(f.start), at(f.end)))
    title = f"{f.id} ({f.kind})" if f.id != f.kind else f.id
    items: list[Item] = []
    if f.kind in _SIGNS:
        up = f.sill if f.sill is not None else 1200.0
        said = f", {_short(up, units)} above the slab" if f.sill is not None else ", height not read"
        items.append(Symbol(at=(low_x, up), kind=_SIGNS[f.kind], turn=90.0, title=title + said))
        if f.sill is not None:
            items.append(
                Text(at=(low_x, up), text=_short(up, units), role="small label", size=SMALL, shift=(0.0, -2.6),
                     or_shift=[(6.0, 1.0), (-6.0, 1.0)], title=title + said)
            )  # fmt: skip
        return items
    bottom = f.sill if f.kind in ("window", "panelboard") and f.sill is not None else 0.0
    top = f.head if f.head is not None else height
    ring = rectangle(low_x, bottom, high_x - low_x, max(top - bottom, 1.0))
    size = f"{format_length(high_x - low_x, units, denominator=8)} wide"
    if f.head is not None:
        size += f", top {_short(f.head, units)}"
    if f.clear_width:
        size += f", clear {_short(f.clear_width, units)}"
    match f.kind:
        case "low wall":
            items.append(Polygon(outline=ring, role="low wall", hatch="sparse", title=f"{title}, {size}"))
        case "gap":
            items.append(Polyline(points=ring, role="hidden", closed=True, title=f"{title}, {size}"))
        case "panelboard":
            items.append(Polygon(outline=ring, role="service", title=f"{title}, {size}"))
        case _:
            items.append(Polygon(outline=ring, role="opening", title=f"{title}, {size}"))
            if f.kind in ("door", "exit door"):
                # the leaf's hinge side: the dashed lines meet at it
                hinge = at(f.start if f.hinge == "a" else f.end)
                other = low_x + high_x - hinge
                middle = (hinge, (bottom + top) / 2)
                items.append(Polyline(points=[(other, bottom), middle, (other, top)], role="hidden", title=title))
    items.append(
        Text(
            at=((low_x + high_x) / 2, (bottom + top) / 2), text=f.id, role="small label", size=SMALL, clear=True,
            or_shift=[(0.0, 5.0), (0.0, -5.0), (0.0, 10.0)], title=f"{title}, {size}",
        )
    )  # fmt: skip
    return items


def _short(mm: float, units: UnitSystem) -> str:
    if units == "metric":
        return format_length(mm, units).removesuffix(" mm")
    return format_small(mm, units, denominator=8) if mm < 1900 else format_length(mm, units, denominator=8)


def _elevation_dimensions(
    wall: PlanWall,
    features: Sequence[PlacedFeature],
    at: Callable[[float], float],
    height: float,
    known: bool,
    units: UnitSystem,
) -> list[Item]:
    stops = {0.0, wall.length}
    for f in features:
        if f.end > f.start:
            stops |= {at(f.start), at(f.end)}
    marks = sorted(stops)
    marks = [m for k, m in enumerate(marks) if not k or m - marks[k - 1] > 1.0]
    points = [(m, 0.0) for m in marks]
    items: list[Item] = []
    if len(points) > 2:
        items += chain_dimensions(points, units, offset=-8.0)
    items.append(dimension(points[0], points[-1], units, offset=-16.0 if len(points) > 2 else -8.0))
    ups = sorted({0.0, height} | {v for f in features if f.end > f.start for v in (f.sill, f.head) if v})
    ups = [u for k, u in enumerate(ups) if u <= height + 1.0 and (not k or u - ups[k - 1] > 1.0)]
    side = [(wall.length, u) for u in ups]
    if len(side) > 2:
        items += chain_dimensions(side, units, offset=-8.0)
    if known:
        items.append(dimension(side[0], side[-1], units, offset=-16.0 if len(side) > 2 else -8.0))
    return items


def _notes(wall: PlanWall, units: UnitSystem) -> list[str]:
    lines = ["Seen from inside the room. Heights above the slab. Do not scale."]
    told = [
        f"bow {format_small(abs(s.inward), units)} {'in' if s.inward > 0 else 'back'} at "
        f"{format_length(s.along, units, denominator=8)}"
        for s in wall.bow
    ]
    told += [
        f"lean {format_small(abs(s.inward), units)} {'in' if s.inward > 0 else 'back'} in "
        f"{format_length(s.over, units, denominator=8)} at {format_length(s.along, units, denominator=8)}"
        for s in wall.lean
    ]
    if told:
        lines.append(f"As read, from {wall.id.split('-')[0]}: {'; '.join(told)}.")
    return lines


def _described(
    room: Room, wall: PlanWall, features: Sequence[PlacedFeature], known: bool, height: float, units: UnitSystem
) -> str:
    size = format_length(wall.length, units, denominator=8)
    high = format_length(height, units, denominator=8) if known else "of unknown height"
    has = ", ".join(f.id for f in features)
    return (
        f"Wall {_name(wall)} of {room.name} seen from inside, {size} long, {high}{' high' if known else ''}. "
        f"{f'On it: {has}.' if has else 'Nothing stands on it.'}"
    )


# ---------------------------------------------------------------- several rooms


def draw_rooms(
    rooms: Sequence[RoomRevision],
    *,
    units: UnitSystem = "feet-inches",
    block: TitleBlock | None = None,
    neighbours: Neighbours | None = None,
) -> Drawing:
    """Draw the plans of several rooms on one sheet, in the order given, row by row, at one scale.

    Rooms that ``neighbours`` places in one group lie as in the building; the groups, and rooms it does not place,
    lie side by side for the page, and the notes say which is which. A room that is not settled yet is drawn as its
    sketch.
    """
    items: list[Item] = []
    told, areas = [], 0.0
    boxes: list[tuple[list[Item], float, float, float, float]] = []
    groups = _groups(rooms, neighbours or Neighbours())
    for group in groups:
        drawn = [item for revision in group for item in _in_place(revision, group, rooms, neighbours, units)]
        spots = [p for item in drawn for p in _spots(item)]
        xs, ys = [p[0] for p in spots], [p[1] for p in spots]
        boxes.append((drawn, min(xs), min(ys), max(xs), max(ys)))
    for revision in rooms:
        told.append(f"{revision.room.name}, {format_area(revision.plan.floor_area, units)}")
        areas += revision.plan.floor_area
    long = max([max(right - left, up - low) for _, left, low, right, up in boxes], default=0.0)
    between = max(BETWEEN, BETWEEN_SHARE * long * math.sqrt(max(1, len(boxes)))) if len(boxes) > 1 else 0.0
    total = sum((right - left + between) * (up - low + between) for _, left, low, right, up in boxes)
    across = max([1.3 * math.sqrt(total), *(right - left for _, left, _, right, _ in boxes)])
    x, y, row = 0.0, 0.0, 0.0
    for drawn, left, low, right, up in boxes:
        if x > 0 and x + right - left > across:
            x, y, row = 0.0, y - row - between, 0.0
        items += [_shifted(item, x - left, y - up) for item in drawn]
        x += right - left + between
        row = max(row, up - low)
    if not items:
        items.append(Text(at=(0.0, 0.0), text="No rooms yet", size=4.0))
    return Drawing(
        items=items, title=f"{len(rooms)} rooms", units=units, block=block,
        description=f"Plans of {len(rooms)} rooms at one scale: {'; '.join(told)}." if told else "No rooms yet.",
        notes=[
            f"Floors together {format_area(areas, units)}. {_how_they_lie(groups)}",
            *_not_placed(groups, neighbours),
            "Dimensions to the inside face of walls. Do not scale.",
        ],
    )  # fmt: skip


def _groups(rooms: Sequence[RoomRevision], neighbours: Neighbours) -> list[list[RoomRevision]]:
    group = {place.room: place.group for place in neighbours.places}
    found: dict[int, list[RoomRevision]] = {}
    for k, revision in enumerate(rooms):
        found.setdefault(group.get(revision.room.id, -1 - k), []).append(revision)
    # the same room drawn twice, or a single one, needs no place
    return [part for many in found.values() for part in ([many] if len({r.room.id for r in many}) == len(many) else
            [[one] for one in many])]  # fmt: skip


def _in_place(
    revision: RoomRevision, group: Sequence[RoomRevision], rooms: Sequence[RoomRevision],
    neighbours: Neighbours | None, units: UnitSystem,
) -> list[Item]:  # fmt: skip
    """A room's plan where it lies in its group."""
    found = neighbours or Neighbours()
    room, survey, plan = revision.room, revision.survey, revision.plan
    names = {r.room.id: r.room.name for r in rooms}
    leads = {opening: names[other] for opening, other in behind(found, room.id).items() if other in names}
    if len(group) == 1:
        return draw_plan(room, survey, plan, units=units, leads=leads).items
    places = {place.room: place for place in found.places}
    survey, plan = moved(survey, plan, places[room.id])
    if room.north is not None:
        room = msgspec.structs.replace(room, north=room.north + places[room.id].turn)
    thick = {
        door.walls[k]: door.thickness
        for door in found.doors
        for k in (0, 1)
        if door.rooms[k] == room.id and door.rooms[1 - k] in places and door.thickness is not None
    }
    others = [moved(r.survey, r.plan, places[r.room.id])[1] for r in group if r.room.id != room.id]
    facing = {wall.id for wall in plan.walls if _faces(wall, others)}
    room = with_thickness(room, thick)
    return draw_plan(room, survey, plan, units=units, leads=leads, facing=facing).items


def _faces(wall: PlanWall, others: Sequence[RoomPlan]) -> bool:
    """Whether another room lies where the dimensions outside a wall would go."""
    from shapely.geometry import Polygon as Shape

    nx, ny = wall.inward
    outside = [(p[0] - nx * NEAR, p[1] - ny * NEAR) for p in (wall.b, wall.a)]
    strip = Shape([wall.a, wall.b, *outside])
    return any(strip.intersects(Shape(plan.outline)) for plan in others)


def _how_they_lie(groups: Sequence[Sequence[RoomRevision]]) -> str:
    told = [
        f"{', '.join(r.room.name for r in group[:-1])} and {group[-1].room.name} lie as in the building, set by the "
        "doors they share."
        for group in groups
        if len(group) > 1
    ]
    if len(groups) > 1:
        told.append(f"The {'others' if told else 'rooms'} are set side by side for this sheet.")
    return " ".join(told)


def _not_placed(groups: Sequence[Sequence[RoomRevision]], neighbours: Neighbours | None) -> list[str]:
    """Doors shared by rooms of this sheet that do not lie beside each other, and what is missing."""
    group = {r.room.id: (k, r.room.name) for k, rooms in enumerate(groups) for r in rooms}
    return [
        f"{group[a][1]} and {group[b][1]} share a door but are not set beside each other: the thickness of the wall "
        "between them is not known."
        for a, b in (door.rooms for door in (neighbours or Neighbours()).doors)
        if a in group and b in group and group[a][0] != group[b][0]
    ]


def _spots(item: Item) -> list[Point]:
    match item:
        case Line() | Dimension():
            return [item.a, item.b]
        case Polyline():
            return item.points
        case Polygon():
            return item.outline
        case Circle() | Arc():
            (x, y), r = item.centre, item.radius
            return [(x - r, y - r), (x + r, y + r)]
        case Text() | Symbol():
            return [item.at]


def _shifted(item: Item, dx: float, dy: float) -> Item:
    def put(p: Point) -> Point:
        return p[0] + dx, p[1] + dy

    match item:
        case Line() | Dimension():
            return msgspec.structs.replace(item, a=put(item.a), b=put(item.b))
        case Polyline():
            return msgspec.structs.replace(item, points=[put(p) for p in item.points])
        case Polygon():
            holes = [[put(p) for p in hole] for hole in item.holes]
            return msgspec.structs.replace(item, outline=[put(p) for p in item.outline], holes=holes)
        case Circle() | Arc():
            return msgspec.structs.replace(item, centre=put(item.centre))
        case Text() | Symbol():
            return msgspec.structs.replace(item, at=put(item.at))
