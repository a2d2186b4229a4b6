from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from buildout.rooms.engine.types import Reading, Room
from buildout.units.lengths import Length
from buildout.units.value import from_json

HALL = Path(__file__).parent.parent / "data" / "main_hall.json"


@pytest.fixture(scope="session")
def hall() -> Room:
    """The demo's main hall: L-shaped, out of square, two columns, readings as taped."""
    return from_json(Room, HALL.read_bytes())


@pytest.fixture(scope="session")
def reread() -> Callable[..., Room]:
    """A room with some readings written differently, dropped or added."""

    def change(
        room: Room, values: dict[str, str | float] | None = None, drop: Sequence[str] = (), **other: Any
    ) -> Room:
        readings = []
        for r in room.readings:
            if r.id in drop:
                continue
            value = Length.read((values or {}).get(r.id, r.value))
            readings.append(Reading(id=r.id, start=r.start, end=r.end, value=value, tool=r.tool))
        fields = {name: getattr(room, name) for name in room.__struct_fields__}
        return Room(**{**fields, "readings": readings, **other})

    return change


@pytest.fixture(scope="session")
def room_of() -> Callable[..., Room]:
    """A room from corner letters and (from, to, length) readings numbered from 1."""

    def make(corners: str, readings: Sequence[tuple[str, str, str | float]], **other: Any) -> Room:
        return Room(
            id="room",
            name="Room",
            corners=list(corners),
            readings=[
                Reading(id=str(k), start=a, end=b, value=Length.read(v)) for k, (a, b, v) in enumerate(readings, 1)
            ],
            **other,
        )

    return make
