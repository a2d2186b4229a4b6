"""What the rooms' fabricator gate looks at: the cover as its drawing gives it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

from buildout.units.value import from_plain
from estimating.engine.types import FloorSystem

if TYPE_CHECKING:
    from buildout.rooms.engine.quality import Cutting


def cutting(document: Mapping[str, Any], room_id: str) -> Cutting | None:
    """How the cover of a room follows from its plan, by the floor system it gets; None without a cover."""
    floor = next((f.get("floor", "") for f in document.get("fitouts", []) if f["room"] == room_id), "")
    system = next((s for s in document.get("floor_systems", []) if s["id"] == floor), None)
    if system is None or not system.get("cover"):
        return None
    from estimating.engine.cover import cover_shape

    return partial(cover_shape, system=from_plain(FloorSystem, system))
