"""What is cut to a room, asked of the floor above: it knows the covers, this one the rooms."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from buildout.rooms.engine.quality import Cutting

Workshop = Callable[[Mapping[str, Any], str], "Cutting | None"]
"""Plan as kept, room: how its cover is cut from the room's plan; None where it gets no cover."""

_workshop: Workshop | None = None


def open_workshop(workshop: Workshop) -> None:
    global _workshop
    _workshop = workshop


def cutting_of(document: Mapping[str, Any], room_id: str) -> Cutting | None:
    return _workshop(document, room_id) if _workshop is not None else None
