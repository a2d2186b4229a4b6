"""Rooms beside each other: the two sides of one door, what they must agree on, and where the rooms then lie.

A door named from one room as the other side of a door of the next is one hole in one wall. Its clear width and
height are then the same from both sides, and with the thickness of the wall known it fixes how the rooms lie: door
centre lines coincide, the walls are parallel, faces are the thickness apart. Nothing is ever changed on the other
side; differences are named.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import msgspec

from buildout.rooms.engine.geometry import Point, distance
from buildout.rooms.engine.observations import sigma
from buildout.rooms.engine.types import (
    BacksOn,
    Neighbours,
    PlacedFeature,
    PlanWall,
    Room,
    RoomPlace,
    RoomPlan,
    SharedDoor,
    Survey,
    Wall,
    WallFeature,
)
from buildout.units.lengths import Length, format_length, format_small, written_in
from buildout.units.value import Reason, snap

SHARED = ("door", "exit door", "roller door", "window", "gap")
"""Openings that can be seen from two rooms."""
BESIDE = " – "
"""Between the two rooms that a reason is about."""
SURE = 1.96
"""95 % of a normal distribution lies within so many standard deviations."""
OVERLAP = 25.0
"""Rooms set by a door that reach this far into each other, mm, are named (1 in; common practice)."""


@dataclass
class _Side:
    room: Room
    plan: RoomPlan
    feature: WallFeature

    def placed(self) -> PlacedFeature | None:
        return next((f for f in self.plan.features if f.id == self.feature.id), None)

    def wall(self) -> PlanWall | None:
        found = self.placed()
        return next((w for w in self.plan.walls if found is not None and w.id == found.wall), None)

    def centre(self) -> Point:
        found = self.placed()
        if found is None:
            raise ValueError(f"{self.feature.id} has no place yet")
        return (found.a[0] + found.b[0]) / 2, (found.a[1] + found.b[1]) / 2

    def along(self) -> tuple[float, float]:
        """Where its centre line lies on its wall from the wall's first corner, mm, and how sure that is (one sigma)."""
        found = self.placed()
        if found is None:
            raise ValueError(f"{self.feature.id} has no place yet")
        ends = [self.feature.start, self.feature.end or self.feature.start]
        return (found.start + found.end) / 2, math.hypot(*(self.sigma(float(e.mm)) for e in ends)) / 2

    def sigma(self, length: float, tool: str = "tape") -> float:
        return sigma(tool, length, self.room.tools)

    @property
    def name(self) -> str:
        return f"{self.feature.id} in {self.room.name}"

    def size(self, what: str) -> tuple[float, float] | None:
        """Clear width or height, or the head, with its sigma; None where it was not read."""
        if what == "head":
            return (mm := float(self.feature.head.mm), self.sigma(mm)) if self.feature.head else None
        read = [r for r in self.room.readings if r.kind == what and r.feature == self.feature.id]
        if read:
            least = min(read, key=lambda r: (r.value.mm, r.id))
            return (mm := float(least.value.mm), self.sigma(mm, least.tool))
        if what == "clear width" and self.feature.clear_width:
            return (mm := float(self.feature.clear_width.mm), self.sigma(mm))
        return None


@dataclass
class _Door:
    one: _Side
    two: _Side
    thickness: float | None = None

    @property
    def where(self) -> str:
        return f"{self.one.room.id}{BESIDE}{self.two.room.id}"


@dataclass
class _Draft:
    rooms: Sequence[Room]
    reasons: list[Reason] = field(default_factory=list)

    def long(self, mm: float) -> str:
        units = written_in(r.value.text for room in self.rooms for r in room.readings)
        return format_length(mm, units, denominator=8)

    def small(self, mm: float) -> str:
        return format_small(mm, written_in(r.value.text for room in self.rooms for r in room.readings))

    def warn(self, code: str, text: str, where: str, todo: str) -> None:
        self.reasons.append(Reason(code=code, text=text, where=where, severity="warning", todo=todo))


def meet(rooms: Sequence[Room], plans: Sequence[RoomPlan]) -> Neighbours:
    """Pair the sides of shared doors, check that they agree, and place rooms whose doors and walls determine it.

    ``plans`` are in the order of ``rooms``. A name that leads nowhere is left to the check of the plan. Never raises
    for rooms without a shape; their doors are listed, and they stay unplaced.
    """
    draft = _Draft(rooms)
    doors = _doors(draft, rooms, {plan.room: plan for plan in plans})
    for door in doors:
        _check_sizes(draft, door)
    for one, two in itertools.combinations(doors, 2):
        _check_spacing(draft, one, two)
    places = _places(draft, rooms, plans, doors)
    return Neighbours(
        doors=[
            SharedDoor(
                rooms=(d.one.room.id, d.two.room.id), features=(d.one.feature.id, d.two.feature.id),
                walls=(w.id if (w := d.one.wall()) else "", w.id if (w := d.two.wall()) else ""),
                thickness=d.thickness,
            )
            for d in doors
        ],
        places=places, reasons=draft.reasons,
    )  # fmt: skip


def behind(found: Neighbours, room: str) -> dict[str, str]:
    """The room behind each shared opening of a room, by the opening's name."""
    leads = {}
    for door in found.doors:
        for k in (0, 1):
            if door.rooms[k] == room:
                leads[door.features[k]] = door.rooms[1 - k]
    return leads


def told_of(found: Neighbours, room: str) -> list[Reason]:
    """What there is to say about a room and its neighbours."""
    return [r for r in found.reasons if r.where.startswith(room + BESIDE) or r.where.endswith(BESIDE + room)]


def with_thickness(room: Room, walls: Mapping[str, float | None]) -> Room:
    """The room with the thickness of walls that the room behind them states."""
    kept = [w for w in room.walls if not any(_same_wall(w.id, name) for name in walls)]
    made = []
    for name, mm in walls.items():
        wall = next((w for w in room.walls if _same_wall(w.id, name)), Wall(id=name))
        if mm is not None:
            back = wall.backs_on or BacksOn(room="", wall="")
            wall = msgspec.structs.replace(
                wall, backs_on=msgspec.structs.replace(back, thickness=Length.read(f"{mm} mm"))
            )
        made.append(wall)
    return msgspec.structs.replace(room, walls=kept + made)


def moved(survey: Survey, plan: RoomPlan, place: RoomPlace) -> tuple[Survey, RoomPlan]:
    """A room's survey and plan where the room lies in its group; lengths and ± stay as they are."""
    to = _Motion(math.radians(place.turn), place.x, place.y)

    def put(p: Point) -> Point:
        x, y = to.put(p)
        return snap(x), snap(y)

    def ring(points: Sequence[Point]) -> list[Point]:
        return [put(p) for p in points]

    replace = msgspec.structs.replace
    points = [replace(p, x=(at := put((p.x, p.y)))[0], y=at[1]) for p in survey.points]
    walls = [
        replace(w, a=put(w.a), b=put(w.b), inward=to.turned(w.inward), line=ring(w.line)) for w in plan.walls
    ]  # fmt: skip
    return replace(survey, points=points), replace(
        plan, outline=ring(plan.outline), corners={name: put(p) for name, p in plan.corners.items()}, walls=walls,
        columns=[replace(c, centre=put(c.centre), outline=ring(c.outline)) for c in plan.columns],
        features=[replace(f, a=put(f.a), b=put(f.b)) for f in plan.features],
        keep_clear={name: ring(strip) for name, strip in plan.keep_clear.items()}, mat_field=ring(plan.mat_field),
        mat_edges=[replace(e, a=put(e.a), b=put(e.b)) for e in plan.mat_edges],
        floor=[replace(f, at=put(f.at)) for f in plan.floor],
        levels=[replace(level, line=ring(level.line)) for level in plan.levels],
    )  # fmt: skip


# ---------------------------------------------------------------- the two sides of a door


def _doors(draft: _Draft, rooms: Sequence[Room], plans: Mapping[str, RoomPlan]) -> list[_Door]:
    sides = {(room.id, f.id): _Side(room, plans[room.id], f) for room in rooms for f in room.features}
    doors: list[_Door] = []
    seen: set[frozenset[tuple[str, str]]] = set()
    for here, side in sides.items():
        named = side.feature.other_side
        there = (named.room, named.feature) if named else None
        if there is None or there not in sides or there[0] == here[0] or frozenset((here, there)) in seen:
            continue
        seen.add(frozenset((here, there)))
        door = _Door(side, sides[there])
        door.thickness = _thickness(draft, door)
        doors.append(door)
    return doors


def _backs_on(room: Room, wall: str) -> BacksOn | None:
    return next((w.backs_on for w in room.walls if _same_wall(w.id, wall)), None)


def _same_wall(one: str, two: str) -> bool:
    return sorted(one.split("-")) == sorted(two.split("-"))


def _thickness(draft: _Draft, door: _Door) -> float | None:
    """Of the wall a door stands in, as its two rooms state it."""
    stated: list[Length] = []
    for side, other in ((door.one, door.two), (door.two, door.one)):
        back = _backs_on(side.room, side.feature.wall)
        if back is None:
            continue
        if back.room == other.room.id and _same_wall(back.wall, other.feature.wall):
            stated += [back.thickness] if back.thickness else []
        elif back.room == other.room.id:
            draft.warn(
                "wall behind", f"Wall {side.feature.wall} of {side.room.name} is said to back on to {back.wall} of "
                f"{other.room.name}, but {door.one.name} leads to wall {other.feature.wall}.", door.where,
                f"Say with the wall which one lies behind it: {other.feature.wall}, or correct the door.",
            )  # fmt: skip
    if len(stated) == 2:
        one, two = (float(s.mm) for s in stated)
        if abs(one - two) > SURE * math.hypot(door.one.sigma(one), door.two.sigma(two)):
            draft.warn(
                "thickness differs", f"The wall between {door.one.room.name} and {door.two.room.name} is "
                f"{draft.small(one)} thick from one side and {draft.small(two)} from the other.", door.where,
                "Measure it in the doorway, from face to face.",
            )  # fmt: skip
            return None
    return float(stated[0].mm) if stated else None


def _check_sizes(draft: _Draft, door: _Door) -> None:
    for what, word in (("clear width", "clear width"), ("clear height", "clear height"), ("head", "head")):
        one, two = door.one.size(what), door.two.size(what)
        if one is None or two is None:
            continue
        allowed = SURE * math.hypot(one[1], two[1])
        apart = abs(one[0] - two[0])
        if apart <= allowed:
            continue
        level = " If the floors lie at different levels, enter the step." if what == "head" else ""
        draft.warn(
            "sides differ", f"The {word} of {door.one.name} is {draft.long(one[0])}, but of its other side, "
            f"{door.two.name}, {draft.long(two[0])}: {draft.small(apart)} apart, where the tape allows "
            f"{draft.small(allowed)}.", door.where,
            f"It is one opening: measure its {word} again from both rooms. Nothing was changed on either side.{level}",
        )  # fmt: skip
    swings = {door.one.feature.swing, door.two.feature.swing}
    if swings in ({"in"}, {"out"}):
        way = swings.pop()
        draft.warn(
            "swing differs", f"{door.one.name} opens {way} and so does its other side, {door.two.name}.",
            door.where, "A leaf that opens into one room opens out of the other: correct one side.",
        )  # fmt: skip


def _check_spacing(draft: _Draft, one: _Door, two: _Door) -> None:
    """Two doors in one wall are as far apart from either room."""
    if {one.one.room.id, one.two.room.id} != {two.one.room.id, two.two.room.id}:
        return
    if one.one.room.id != two.one.room.id:
        two = _Door(two.two, two.one)
    pairs = [(one.one, two.one), (one.two, two.two)]
    if any(a.wall() is None or a.wall() != b.wall() for a, b in pairs):
        return
    spans, spread = [], 0.0
    for a, b in pairs:
        (near, s), (far, t) = a.along(), b.along()
        spans.append(abs(far - near))
        spread += s * s + t * t
    apart, allowed = abs(spans[0] - spans[1]), SURE * math.sqrt(spread)
    if apart > allowed:
        draft.warn(
            "doors apart", f"From centre to centre {one.one.feature.id} and {two.one.feature.id} are "
            f"{draft.long(spans[0])} apart in {one.one.room.name}, but {draft.long(spans[1])} in {one.two.room.name}: "
            f"{draft.small(apart)} where the tape allows {draft.small(allowed)}.", one.where,
            "Read their running dimensions again on both sides. Nothing was changed on either side.",
        )  # fmt: skip


# ---------------------------------------------------------------- where the rooms lie


@dataclass(frozen=True)
class _Motion:
    turn: float
    """Radians anticlockwise."""
    x: float
    y: float

    def put(self, p: Point) -> Point:
        c, s = math.cos(self.turn), math.sin(self.turn)
        return self.x + c * p[0] - s * p[1], self.y + s * p[0] + c * p[1]

    def turned(self, v: Point) -> Point:
        c, s = math.cos(self.turn), math.sin(self.turn)
        return c * v[0] - s * v[1], s * v[0] + c * v[1]


def _behind(here: _Side, there: _Side, thickness: float, motion: _Motion) -> _Motion:
    """Motion that sets the room of ``there`` behind the door of ``here``, whose room is moved by ``motion``."""
    wall, other = here.wall(), there.wall()
    if wall is None or other is None:
        raise ValueError("a door without a wall places nothing")
    inward = motion.turned(wall.inward)
    turn = math.atan2(-inward[1], -inward[0]) - math.atan2(other.inward[1], other.inward[0])
    at = motion.put(here.centre())
    back = _Motion(turn, 0.0, 0.0).put(there.centre())
    return _Motion(turn, at[0] - inward[0] * thickness - back[0], at[1] - inward[1] * thickness - back[1])


def _places(draft: _Draft, rooms: Sequence[Room], plans: Sequence[RoomPlan], doors: Sequence[_Door]) -> list[RoomPlace]:
    """Group by group from its first room, through doors whose wall's thickness is known."""
    sure = [d for d in doors if d.thickness is not None and d.one.wall() is not None and d.two.wall() is not None]
    shape = {plan.room: plan for plan in plans if plan.outline}
    motions: dict[str, _Motion] = {}
    groups: dict[str, int] = {}
    for room in rooms:
        if room.id in motions or room.id not in shape:
            continue
        motions[room.id], groups[room.id] = _Motion(0.0, 0.0, 0.0), len(set(groups.values()))
        waiting = [room.id]
        while waiting:
            at = waiting.pop(0)
            for door in sure:
                for here, there in ((door.one, door.two), (door.two, door.one)):
                    if here.room.id == at and there.room.id not in motions:
                        motions[there.room.id] = _behind(here, there, door.thickness or 0.0, motions[at])
                        groups[there.room.id] = groups[at]
                        waiting.append(there.room.id)
    _check_places(draft, sure, shape, motions, groups, {room.id: room.name for room in rooms})
    return [
        RoomPlace(
            room=room, group=groups[room], turn=snap(math.degrees(m.turn) % 360.0, 1e-6), x=snap(m.x), y=snap(m.y)
        )
        for room, m in motions.items()
    ]  # fmt: skip


def _check_places(
    draft: _Draft,
    doors: Sequence[_Door],
    shape: Mapping[str, RoomPlan],
    motions: Mapping[str, _Motion],
    groups: Mapping[str, int],
    names: Mapping[str, str],
) -> None:
    """What rooms set by one door say of another way round, and whether they reach into each other."""
    from shapely.geometry import Polygon

    told: set[frozenset[str]] = set()
    for door in doors:
        one, two = door.one, door.two
        should = _behind(one, two, door.thickness or 0.0, motions[one.room.id]).put(two.centre())
        off = distance(should, motions[two.room.id].put(two.centre()))
        if off > OVERLAP:
            told.add(frozenset((one.room.id, two.room.id)))
            draft.warn(
                "door off", f"Set by another door, {one.name} and its other side, {two.name}, lie "
                f"{draft.long(off)} apart.", door.where,
                "Read the running dimensions of both doors again on both sides, and the thickness of the walls.",
            )  # fmt: skip
    moved = {room: Polygon([motions[room].put(p) for p in plan.outline]) for room, plan in shape.items()}
    for a, b in itertools.combinations(moved, 2):
        if groups[a] != groups[b] or frozenset((a, b)) in told:
            continue
        shared = moved[a].intersection(moved[b])
        if shared.is_empty or shared.buffer(-OVERLAP / 2).is_empty:
            continue
        draft.warn(
            "rooms overlap", f"Set by their doors, {names[a]} and {names[b]} would reach into each other.",
            f"{a}{BESIDE}{b}",
            "Check which wall each door is on, from which corner it was read, and the thickness of the wall.",
        )  # fmt: skip
