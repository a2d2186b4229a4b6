"""A room of the current revision, opened for its owner."""

from __future__ import annotations

from typing import NamedTuple

from django.http import Http404, HttpRequest

from buildout.builds.web import services as builds
from buildout.builds.web.editing import person
from buildout.builds.web.models import Build, Member, Role
from buildout.rooms.engine.neighbours import behind
from buildout.rooms.engine.types import Neighbours, Room, RoomPlan, Survey


class OpenRoom(NamedTuple):
    build: Build
    member: Member
    sheet: builds.Sheet
    room: Room
    survey: Survey
    plan: RoomPlan

    def rooms(self) -> list[Room]:
        return self.sheet.section("rooms", list[Room])

    def neighbours(self) -> Neighbours:
        return neighbours_of(self.sheet)

    def leads(self) -> dict[str, str]:
        """The name of the room behind each of its openings."""
        return leads_of(self.neighbours(), self.rooms(), self.room.id)


def neighbours_of(sheet: builds.Sheet) -> Neighbours:
    return sheet.part("neighbours", Neighbours, Neighbours())


def leads_of(neighbours: Neighbours, rooms: list[Room], room_id: str) -> dict[str, str]:
    names = {room.id: room.name for room in rooms}
    return {opening: names[other] for opening, other in behind(neighbours, room_id).items()}


def open_room(request: HttpRequest, build_id: int, room_id: str) -> OpenRoom:
    """A room of the current revision, for the owner; Http404 when there is none."""
    build, member = builds.build_for(person(request), build_id, Role.OWNER)
    return room_in(build, member, builds.sheet_of(build), room_id)


def room_in(build: Build, member: Member, sheet: builds.Sheet, room_id: str) -> OpenRoom:
    """A room of the revision that ``sheet`` opens. Raises Http404 when there is none."""
    room = next((room for room in sheet.section("rooms", list[Room]) if room.id == room_id), None)
    if room is None:
        raise Http404(f"This build has no room {room_id}")
    survey = next(s for s in sheet.part("surveys", list[Survey]) if s.room == room_id)
    plan = next(p for p in sheet.part("plans", list[RoomPlan]) if p.room == room_id)
    return OpenRoom(build, member, sheet, room, survey, plan)
