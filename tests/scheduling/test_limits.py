"""Somebody who is to use no tools with a motor is not counted on where a task is done with them."""

from __future__ import annotations

from msgspec.structs import replace

from scheduling.engine.activities import lay_out
from scheduling.engine.types import Helper, PersonPin, SignedUp, TaskEdits
from tests.scheduling.conftest import Hall


def test_no_powered_tools_is_kept_apart_by_name_and_by_number(hall: Hall) -> None:
    day = hall.crew.days[3].id
    ida = Helper(id="ida", name="Ida", days=[day], power_tools=False)
    hall.crew = replace(hall.crew, helpers=[ida])
    hall.signed_up = [SignedUp(id="s-1", day=day, power_tools=False), SignedUp(id="s-2", day=day)]
    hall.edits = TaskEdits(people=[PersonPin(task="W06", person="ida")])  # drills: done with a driver
    made = lay_out(hall.net(), hall.crew, hall.dates, hall.arrivals, hall.signed_up, hall.edits, hall.as_of)
    shifts = next(one for one in made.shifts if one.day.id == day)
    assert shifts.limited == (("adult", "any", False), ("adult", "any", False))
    said = [reason.text for reason in made.reasons if reason.code == "person-may-not"]
    assert len(said) == 1
    assert "powered tools" in said[0]
