"""A build to plan in tests: invented, of about the size of a real school's."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

import pytest

from estimating.engine.types import Arrival, Arrivals
from scheduling.engine.forecast import forecast
from scheduling.engine.schedule import solve
from scheduling.engine.tasks import generate
from scheduling.engine.types import (
    BuildDay,
    CorePerson,
    Crew,
    Dates,
    Forecast,
    Schedule,
    SignedUp,
    Skill,
    TaskEdits,
    TaskNet,
)

LEASE = date(2027, 2, 1)

HALL_DRIVERS: dict[str, float] = {
    "room.floor_area": 3375, "all.floor_area": 3900, "survey.ties": 13, "survey.check_readings": 8,
    "room.features": 24, "wall.stations": 30, "rfq.count": 6, "orders.count": 6, "foam.pieces": 91,
    "timber.pieces": 90, "strip.area": 900, "waste.volume": 8, "floor.high_spots": 4, "floor.fill_area": 40,
    "wall.patches": 30, "wall.paint_area": 2800, "elec.points": 8, "light.fittings": 20, "exit.signs": 4,
    "plumb.points": 2, "fire.devices": 3, "hvac.units": 2, "exit.doors": 2, "paint.mask_length": 330,
    "wall.prime_area": 500, "ceiling.area": 0, "paint.edge_length": 600, "floor.paint_area": 130,
    "frame.length": 252, "mat.area": 2750, "base.area": 2720, "base.edge_length": 260, "floor.cutouts": 2,
    "top.area": 2720, "top.edge_length": 260, "top.joint_length": 650, "ramp.length": 51, "cover.weight": 917,
    "cover.area": 2790, "cover.count": 1, "cover.perimeter": 256, "wall.panel_run": 190, "cleat.stud_length": 90,
    "cleat.masonry_length": 260, "panel.count": 60, "panel.full_count": 41, "panel.special_count": 14,
    "lowwall.length": 18, "column.count": 2, "reveal.length": 40, "mirror.count": 4, "changing.screen_length": 24,
    "bench.length": 12, "hook.count": 24, "locker.count": 30, "entry.items": 4, "desk.count": 1,
    "shelf.bays": 4, "sign.count": 12, "small.items": 4, "fold.area": 480, "seat.count": 16,
    "mat.and_panel_area": 3800, "snag.count": 20,
}  # fmt: skip

GROUPS = {
    "base-foam": "foam", "top-foam": "foam", "cover": "cover", "frame-timber": "timber", "panel-board": "panel",
    "panel-foam": "panel", "panel-face": "panel", "fold-mat": "foam", "mirrors": "fit-out", "paint": "other",
}  # fmt: skip


def hall_crew(places: int = 24, days: int = 6, first: date = LEASE + timedelta(weeks=5, days=5)) -> Crew:
    """Five core people and ``days`` Saturdays; the third is in a garage."""
    names = ["Strip and clean", "Paint", "Panel making", "Frame and foam", "Cover", "Panels and fit-out"]
    gaps = [0, 3, 5, 7, 10, 11]
    skills: list[list[Skill]] = [
        ["lead", "admin", "measure"], ["lead", "carp", "saw"], ["lead", "measure", "clean"], ["lead", "uphol", "carp"],
        ["lead", "carp", "saw", "paint"],
    ]  # fmt: skip
    return Crew(
        core=[CorePerson(id=f"p{n}", name=f"Person {n}", skills=[*s, "lift"]) for n, s in enumerate(skills)],
        days=[
            BuildDay(
                id=f"day-{n + 1}",
                date=first + timedelta(weeks=gaps[n] if n < 6 else 11 + n - 5),
                name=names[n] if n < 6 else f"Day {n + 1}",
                places=places,
                place="garage" if n == 2 else "hall",
                quiet_until="09:00",
            )
            for n in range(days)
        ],
        skill_shares={
            "carp": Decimal("0.1"),
            "saw": Decimal("0.1"),
            "uphol": Decimal("0.1"),
            "paint": Decimal("0.2"),
            "lead": Decimal("0.1"),
            "measure": Decimal("0.1"),
            "lift": Decimal("0.5"),
        },
    )


def hall_dates(weeks: int = 17) -> Dates:
    return Dates(lease_start=LEASE, opening_wish=LEASE + timedelta(weeks=weeks))


def hall_arrivals(as_of: date = LEASE) -> Arrivals:
    """Everything still to order."""
    lead = {
        "foam": (12, 16, 20),
        "cover": (28, 34, 40),
        "timber": (1, 2, 4),
        "panel": (6, 10, 15),
        "fit-out": (10, 14, 21),
        "other": (2, 3, 5),
    }
    items = []
    for item, group in GROUPS.items():
        low, likely, high = (as_of + timedelta(days=working * 7 // 5) for working in lead[group])
        items.append(
            Arrival(item=item, supplier="s", low=low, likely=likely, high=high, basis="to order", lead_group=group)
        )
    return Arrivals(status="proven", items=items, reasons=[])


@dataclass
class Hall:
    """Inputs of one planning run; ``plan`` runs what the chain runs."""

    crew: Crew = field(default_factory=hall_crew)
    dates: Dates = field(default_factory=hall_dates)
    arrivals: Arrivals = field(default_factory=hall_arrivals)
    drivers: dict[str, float] = field(default_factory=lambda: dict(HALL_DRIVERS))
    edits: TaskEdits = field(default_factory=TaskEdits)
    signed_up: list[SignedUp] = field(default_factory=list)
    as_of: date = LEASE

    def net(self) -> TaskNet:
        return generate(self.edits, self.drivers, self.crew, GROUPS)

    def plan(self, before: Schedule | None = None) -> Schedule:
        return solve(
            self.net(), self.crew, self.dates, self.arrivals, self.signed_up, self.edits, self.as_of, before
        )  # fmt: skip

    def play(self, schedule: Schedule, runs: int = 500) -> Forecast:
        return forecast(
            self.net(), schedule, self.crew, self.dates, self.arrivals, self.edits, self.as_of, runs=runs
        )  # fmt: skip


@pytest.fixture
def hall() -> Hall:
    return Hall()


@pytest.fixture(scope="session")
def hall_plan() -> Schedule:
    """The hall planned once; takes some seconds."""
    return Hall().plan()
