"""What a room would be with other readings: adjusted within the request, nothing stored."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import msgspec
from django import forms

from buildout.rooms.engine.types import PlacedFeature, Room, RoomPlan, Survey
from buildout.units.lengths import UnitSystem, format_length
from buildout.units.value import Reason, from_plain

MENDABLE = ("undecided", "mirror", "no readings", "no corners", "loose point")
"""Stops that say what to tape next. The others say that the room cannot be as it was read."""
PLAN_STOPS = ("columns overlap", "column in wall")
"""What the plan says of columns that cannot stand where the readings put them."""

OF_ONE_READING = {
    "too long": "value", "zero length": "value", "square legs": "legs", "reading id": "id", "unknown point": "start",
    "column corner": "start", "not a wall": "start", "unknown opening": "feature", "no height": "over",
    "unknown wall": "start", "beyond the wall": "along",
}  # fmt: skip
"""What a reading says of itself alone, whatever the others say, and the field it says it of."""


class Worked(NamedTuple):
    room: Room
    survey: Survey
    plan: RoomPlan


def work_out(room: Mapping[str, Any]) -> Worked:
    """Adjust a room as the plan keeps it."""
    from buildout.rooms.engine.plan import plan_room
    from buildout.rooms.engine.survey import adjust

    found = from_plain(Room, dict(room))
    survey = adjust(found)
    return Worked(found, survey, plan_room(found, survey))


def stops_of(survey: Survey, plan: RoomPlan) -> list[Reason]:
    """Why a room cannot be: walls that cross, readings that no room has."""
    found = [r for r in survey.reasons if r.severity == "stop" and r.code not in MENDABLE]
    own = {r.id for r in survey.readings}
    told = [r for r in plan.reasons if r.severity == "stop" and r.code in OF_ONE_READING and r.where in own]
    return found + told + [r for r in plan.reasons if r.code in PLAN_STOPS]


def new_stops(before: Mapping[str, Any] | None, after: Mapping[str, Any]) -> list[Reason]:
    """Why a room as edited cannot be, as far as it was not so before."""
    try:
        made = work_out(after)
    except msgspec.ValidationError:
        return []  # the plan's own check says it better
    stops = stops_of(made.survey, made.plan)
    if not stops or before is None:
        return stops
    was = work_out(before)
    known = {(r.code, r.where) for r in stops_of(was.survey, was.plan)}
    return [r for r in stops if (r.code, r.where) not in known]


def tell_stops(form: forms.BaseForm, before: Mapping[str, Any] | None, after: Mapping[str, Any]) -> bool:
    """Put above the form why a room as edited cannot be; whether there is anything to say."""
    stops = new_stops(before, after)
    for reason in stops:
        form.add_error(None, f"{reason.text} {reason.todo}".strip())
    return bool(stops)


def tell_overlaps(
    form: forms.BaseForm, before: Mapping[str, Any], after: Mapping[str, Any], edited: str, units: UnitSystem
) -> bool:
    """Put beside where an opening begins which other it would overlap; whether there is anything to say.

    Only of the opening that was edited, and only where it is new: what a reading brings about is told by the plan.
    """
    from buildout.rooms.engine.plan import OPENINGS, overlap_on_wall

    def beside(room: Mapping[str, Any]) -> dict[str, PlacedFeature]:
        placed = {one.id: one for one in work_out(room).plan.features if one.kind in OPENINGS}
        own = placed.pop(edited, None)
        return {name: other for name, other in placed.items() if own is not None and overlap_on_wall(own, other)}

    was = beside(before)
    found = [other for name, other in beside(after).items() if name not in was]
    for other in found:
        corner = other.wall.split("-")[0]
        form.add_error(
            "start", f"Overlaps {other.id}, which runs from {format_length(other.start, units)} to "
            f"{format_length(other.end, units)} from corner {corner} along wall {other.wall}. Check both running "
            "dimensions, and which corner each was read from.",
        )  # fmt: skip
    return bool(found)
