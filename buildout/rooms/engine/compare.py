"""Two revisions of one room side by side: a table of differences, and both outlines on one drawing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from buildout.rooms.engine import geometry
from buildout.rooms.engine.drawing import SMALL, Circle, Drawing, Item, Line, Polygon, Polyline, Text, TitleBlock
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.types import (
    Column,
    Reading,
    Room,
    RoomComparison,
    RoomDifference,
    RoomPlan,
    Survey,
    SurveyedReading,
    WallFeature,
)
from buildout.units.lengths import UnitSystem, format_area, format_length, format_small
from buildout.units.value import Value, snap

STILL = 0.8
"""Changes smaller than this are not worth a line, mm (1/32 in)."""
TURNED = 0.05
"""Nor angles that change by less than this, degrees."""


class RoomRevision(Value, kw_only=True):
    """A room with what was worked out for it."""

    room: Room
    survey: Survey
    plan: RoomPlan


def compare_rooms(before: RoomRevision, after: RoomRevision, *, units: UnitSystem = "feet-inches") -> RoomComparison:
    """List what differs between two revisions of a room: readings, walls, angles, area, columns, openings.

    A change is ``beyond`` when it is more than the ± of both revisions together.
    """
    found: list[RoomDifference] = []
    if before.room.name != after.room.name:
        found.append(RoomDifference(what="name", name=after.room.name, before=before.room.name, after=after.room.name))
    found += _corners(before, after, units)
    found += _walls(before, after, units)
    found += _whole(before, after, units)
    found += _columns(before, after, units)
    found += _openings(before, after)
    found += _readings(before, after)
    return RoomComparison(room=after.room.id, differences=found, text=_said(found))


def _said(found: Sequence[RoomDifference]) -> str:
    if not found:
        return "Nothing differs."
    count: dict[str, int] = {}
    for difference in found:
        count[difference.what] = count.get(difference.what, 0) + 1
    parts = [f"{n} {what}{'s' if n > 1 else ''}" for what, n in count.items()]
    worst = max(
        (d for d in found if d.what == "wall" and d.before and d.after), key=lambda d: abs(d.change), default=None
    )
    more = f" Largest: {worst.name}, {worst.before} became {worst.after}." if worst else ""
    return f"Different: {', '.join(parts)}.{more}"


def _long(mm: float | None, units: UnitSystem) -> str:
    return "" if mm is None else format_length(mm, units, denominator=8)


def _corners(before: RoomRevision, after: RoomRevision, units: UnitSystem) -> list[RoomDifference]:
    found = []
    for name in dict.fromkeys([*before.room.corners, *before.room.marks, *after.room.corners, *after.room.marks]):
        was = name in before.room.corners or name in before.room.marks
        now = name in after.room.corners or name in after.room.marks
        if was != now:
            found.append(
                RoomDifference(
                    what="corner", name=f"point {name}", before="there" if was else "", after="there" if now else ""
                )
            )  # fmt: skip
    moved = _moved(before, after)
    for name, far in moved.items():
        if far >= STILL:
            spreads = [p.plus_minus for s in (before.survey, after.survey) for p in s.points if p.name == name]
            found.append(
                RoomDifference(
                    what="corner", name=f"point {name}", before=_spot(before, name, units),
                    after=_spot(after, name, units), change=snap(far), beyond=far > math.hypot(*spreads),
                )
            )  # fmt: skip
    return found


def _at(revision: RoomRevision) -> dict[str, Point]:
    return {p.name: (p.x, p.y) for p in revision.survey.points if "." not in p.name}


def _spot(revision: RoomRevision, name: str, units: UnitSystem) -> str:
    x, y = _at(revision)[name]
    sign = ["−" if v < 0 else "" for v in (x, y)]
    return f"{sign[0]}{_long(abs(x), units)} along, {sign[1]}{_long(abs(y), units)} up"


def _moved(before: RoomRevision, after: RoomRevision) -> dict[str, float]:
    """How far points moved, both revisions laid on one datum."""
    was, now = _laid(before, after), _at(after)
    columns = {c.id for c in [*before.room.columns, *after.room.columns]}
    return {name: geometry.distance(was[name], now[name]) for name in was if name in now and name not in columns}


def _datum(room: Room) -> tuple[str, str]:
    if room.datum is not None:
        return room.datum.origin, room.datum.along
    return room.corners[0], room.corners[-1 if room.turning == "clockwise" else 1]


def _laid(before: RoomRevision, after: RoomRevision) -> dict[str, Point]:
    """Points of the earlier revision in the later one's axes.

    With the same datum they lie as they are; otherwise they are moved and turned on to the points both have, by
    least squares (in the plane: the angle of the sum of the products of both, taken as complex numbers).
    """
    was, now = _at(before), _at(after)
    if not was or not now or _datum(before.room) == _datum(after.room):
        return was
    both = [name for name in was if name in now]
    if len(both) < 2:
        return was
    p = [complex(*was[name]) for name in both]
    q = [complex(*now[name]) for name in both]
    middle, target = sum(p) / len(p), sum(q) / len(q)
    turn = sum((b - target) * (a - middle).conjugate() for a, b in zip(p, q, strict=True))
    turn = turn / abs(turn) if abs(turn) else complex(1)
    laid = {}
    for name, spot in was.items():
        z = target + (complex(*spot) - middle) * turn
        laid[name] = (z.real, z.imag)
    return laid


def _walls(before: RoomRevision, after: RoomRevision, units: UnitSystem) -> list[RoomDifference]:
    was = {frozenset((w.start, w.end)): w for w in before.survey.walls}
    now = {frozenset((w.start, w.end)): w for w in after.survey.walls}
    found = []
    for pair in dict.fromkeys([*was, *now]):
        one, two = was.get(pair), now.get(pair)
        named = two or one
        name = f"wall {named.start}–{named.end}" if named else ""
        if one is None or two is None:
            shown = [_long(w.length if w else None, units) for w in (one, two)]
            found.append(RoomDifference(what="wall", name=name, before=shown[0], after=shown[1]))
        elif abs(two.length - one.length) >= STILL:
            change = two.length - one.length
            found.append(
                RoomDifference(
                    what="wall", name=name, before=_long(one.length, units), after=_long(two.length, units),
                    change=snap(change), beyond=abs(change) > math.hypot(one.plus_minus, two.plus_minus),
                )
            )  # fmt: skip
    for corner in dict.fromkeys([*before.survey.angles, *after.survey.angles]):
        a, b = before.survey.angles.get(corner), after.survey.angles.get(corner)
        if a is not None and b is not None and abs(a - b) >= TURNED:
            turn = snap(b - a, 1e-3)
            found.append(
                RoomDifference(
                    what="angle", name=f"corner {corner}", before=f"{a:.2f}°", after=f"{b:.2f}°", change=turn
                )
            )
    return found


def _whole(before: RoomRevision, after: RoomRevision, units: UnitSystem) -> list[RoomDifference]:
    found: list[RoomDifference] = []
    if not before.plan.outline or not after.plan.outline:
        return found
    spread = math.hypot(before.survey.area_plus_minus, after.survey.area_plus_minus)
    for name, one, two in (
        ("floor", before.plan.floor_area, after.plan.floor_area),
        ("mat field", before.plan.mat_area, after.plan.mat_area),
    ):
        if abs(two - one) >= 1000.0:
            found.append(
                RoomDifference(
                    what="area", name=name, before=format_area(one, units), after=format_area(two, units),
                    change=snap(two - one, 1.0), beyond=abs(two - one) > spread,
                )
            )  # fmt: skip
    return found


def _columns(before: RoomRevision, after: RoomRevision, units: UnitSystem) -> list[RoomDifference]:
    laid = _laid(before, after)
    was = {c.id: c for c in before.room.columns}
    now = {c.id: c for c in after.room.columns}
    placed = [{c.id: c.centre for c in revision.plan.columns} for revision in (before, after)]
    found = []
    for name in dict.fromkeys([*was, *now]):
        one, two = was.get(name), now.get(name)
        if one is None or two is None:
            found.append(
                RoomDifference(
                    what="column", name=f"column {name}", before="there" if one else "", after="there" if two else ""
                )
            )  # fmt: skip
            continue
        sizes = [_size(c) for c in (one, two)]
        if sizes[0] != sizes[1]:
            found.append(RoomDifference(what="column", name=f"column {name}, size", before=sizes[0], after=sizes[1]))
        if any(name not in part for part in placed):
            continue
        far = geometry.distance(laid.get(name, placed[0][name]), placed[1][name])
        if far >= STILL:
            found.append(
                RoomDifference(
                    what="column", name=f"column {name}", before=_spot(before, name, units),
                    after=_spot(after, name, units), change=snap(far),
                )
            )  # fmt: skip
    return found


def _size(column: Column) -> str:
    sides = [side for side in (column.width, column.depth, column.diameter) if side is not None]
    return " × ".join(side.text.strip() for side in sides)


def _openings(before: RoomRevision, after: RoomRevision) -> list[RoomDifference]:
    was = {f.id: f for f in before.room.features}
    now = {f.id: f for f in after.room.features}
    found = []
    for name in dict.fromkeys([*was, *now]):
        one, two = was.get(name), now.get(name)
        texts = [_opening(f) if f else "" for f in (one, two)]
        if texts[0] != texts[1]:
            change = float(two.start.mm - one.start.mm) if one and two else 0.0
            found.append(
                RoomDifference(what="opening", name=name, before=texts[0], after=texts[1], change=snap(change))
            )
    return found


def _opening(f: WallFeature) -> str:
    """An opening as written, in words."""
    text = f"{f.kind}, wall {f.wall.replace('-', '–')}, {f.start.text.strip()}"
    if f.end is not None:
        text += f" to {f.end.text.strip()}"
    text += f" from {f.zero}"
    for word, value in (
        ("sill", f.sill), ("head", f.head), ("clear", f.clear_width), ("thickness", f.thickness),
    ):  # fmt: skip
        if value is not None:
            text += f", {word} {value.text.strip()}"
    if f.swing:
        text += f", opens {f.swing}"
    if f.hinge:
        text += f", hung at its {f.hinge}"
    return text


def _readings(before: RoomRevision, after: RoomRevision) -> list[RoomDifference]:
    was = {r.id: r for r in before.room.readings}
    now = {r.id: r for r in after.room.readings}
    judged = [{r.id: r for r in revision.survey.readings} for revision in (before, after)]
    found = []
    for name in dict.fromkeys([*was, *now]):
        one, two = was.get(name), now.get(name)
        texts = [_read(r, j.get(name)) for r, j in zip((one, two), judged, strict=True)]
        if texts[0] == texts[1]:
            continue
        either = two or one
        ends = f" ({either.start}–{either.end})" if either else ""
        change = float(two.value.mm - one.value.mm) if one and two else 0.0
        found.append(
            RoomDifference(
                what="reading", name=f"reading {name}{ends}", before=texts[0], after=texts[1], change=snap(change)
            )
        )
    return found


def _read(r: Reading | None, judged: SurveyedReading | None) -> str:
    if r is None:
        return ""
    aside = ", set aside" if judged is not None and judged.verdict == "set aside" else ""
    return f"{r.value.text.strip()} by {r.tool}{aside}"


# ---------------------------------------------------------------- drawing


def draw_comparison(
    before: RoomRevision,
    after: RoomRevision,
    *,
    names: tuple[str, str] = ("before", "after"),
    units: UnitSystem = "feet-inches",
    block: TitleBlock | None = None,
) -> Drawing:
    """Draw both outlines on one datum: the earlier dashed, the later solid, what moved labelled with how far."""
    items: list[Item] = []
    laid, now = _laid(before, after), _at(after)
    first = [laid[n] for n in before.room.corners if n in laid]
    second = [now[n] for n in after.room.corners if n in now]
    if second:
        items.append(Polyline(points=second, role="outline", closed=True, title=f"Outline {names[1]}"))
    if first:
        items.append(Polyline(points=first, role="removed", closed=True, title=f"Outline {names[0]}"))
    items += _column_items(before, after, laid, names)
    for name, at in now.items():
        if name in after.room.corners:
            items.append(Text(at=at, text=name, size=4.2, clear=True, or_shift=[(6, 6), (-6, 6), (-6, -6), (6, -6)]))
    for name, far in _moved(before, after).items():
        if far < STILL:
            continue
        size = format_small(far, units)
        title = f"Point {name} moved {size}"
        items.append(Line(a=laid[name], b=now[name], role="added", title=title))
        items.append(
            Text(
                at=now[name], text=f"{name} moved {size}", role="small label", size=SMALL, title=title,
                clear=True, shift=(0.0, 9.0),
                or_shift=[(0.0, -9.0), (14.0, 5.0), (-14.0, 5.0), (14.0, -5.0), (-14.0, -5.0)],
            )
        )  # fmt: skip
    if not items:
        items.append(Text(at=(0.0, 0.0), text="Neither revision can be drawn yet", size=4.0))
    table = compare_rooms(before, after, units=units)
    return Drawing(
        items=items, title=f"{after.room.name}: {names[0]} and {names[1]}", units=units, block=block,
        description=f"Outlines of {after.room.name}, {names[0]} dashed, {names[1]} solid. {table.text}",
        notes=[f"Dashed: {names[0]}. Solid: {names[1]}.", table.text],
    )  # fmt: skip


def _column_items(
    before: RoomRevision, after: RoomRevision, laid: Mapping[str, Point], names: tuple[str, str]
) -> list[Item]:
    items: list[Item] = []
    for column in before.plan.columns:
        at = laid.get(column.id, column.centre)
        dx, dy = at[0] - column.centre[0], at[1] - column.centre[1]
        title = f"Column {column.id}, {names[0]}"
        if column.diameter:
            items.append(Circle(centre=at, radius=column.diameter / 2, role="removed", title=title))
        else:
            ring = [(x + dx, y + dy) for x, y in column.outline]
            items.append(Polyline(points=ring, role="removed", closed=True, title=title))
    for column in after.plan.columns:
        title = f"Column {column.id}, {names[1]}"
        if column.diameter:
            items.append(Circle(centre=column.centre, radius=column.diameter / 2, role="outline", title=title))
        else:
            items.append(Polygon(outline=column.outline, role="outline", title=title))
    return items
