"""A first plan for a room just measured: enough to show area, sheets, mass and tasks before any quote is in.

Products, layer systems and rates are planning values (common practice, no published source); the owner
replaces them by what the suppliers' data sheets say.
"""

from __future__ import annotations

import copy
import json
from datetime import date, timedelta
from functools import lru_cache
from importlib.resources import files
from typing import Any

from buildout.units.lengths import UnitSystem

WEEKS_TO_OPENING = 26
BUILD_DAYS = (
    (6, "Strip and clean"),
    (8, "Paint"),
    (10, "Panel making"),
    (14, "Frame and foam"),
    (16, "Cover"),
    (17, "Panels and fit-out"),
    (19, "Finish and clean"),
    (21, "In reserve"),
)
"""Week and theme of the first build days; by week 16 goods ordered in the fifth are usually there."""
PLACES = 16
SATURDAY = 5
OWNER_SKILLS = ["lead", "admin", "measure", "carp", "saw", "uphol", "paint", "lift", "clean", "cook"]
CORE_TEAM = (("owner", "Owner", OWNER_SKILLS), ("second", "Second pair of hands", ["measure", "lift", "clean", "carp"]))
"""Two people, because a cover diagram is signed by two and nobody lifts alone."""


@lru_cache(maxsize=2)
def _catalogue(units: UnitSystem) -> dict[str, list[dict[str, Any]]]:
    text = files("buildout.changes.engine").joinpath(f"data/starter-{units}.json").read_text(encoding="utf-8")
    catalogue: dict[str, list[dict[str, Any]]] = json.loads(text)
    return catalogue


def starter_systems(units: UnitSystem) -> list[tuple[str, str]]:
    """(id, name) of every layer system a new build may start with, the usual one first.

    >>> starter_systems("metric")[0]
    ('two-layer-50mm', 'Two layers and a cover: 50 mm base, 12 mm top')
    """
    catalogue = _catalogue(units)
    return [(system["id"], system["name"]) for system in catalogue["floor_systems"] + catalogue["fold_away_systems"]]


def starter_plan(
    name: str, units: UnitSystem, currency: str, time_zone: str, as_of: date, room: dict[str, Any], system: str
) -> dict[str, Any]:
    """Make the plan document of a new build.

    ``room`` is a room as in the build file; ``system`` an id from ``starter_systems``. Raises ``ValueError``
    for an unknown system. The document still has to pass ``check_plan``: the room is the owner's own.
    """
    catalogue = copy.deepcopy(_catalogue(units))
    known = [key for key, _ in starter_systems(units)]
    if system not in known:
        raise ValueError(f"There is no layer system {system!r}. Choose one of: {', '.join(known)}.")
    folds = system in {entry["id"] for entry in catalogue["fold_away_systems"]}
    fitout: dict[str, Any] = {"room": room["id"], "fold_away" if folds else "floor": system}
    if not folds:
        fitout["walls"] = catalogue["wall_systems"][0]["id"]
    saturday = as_of + timedelta(days=(SATURDAY - as_of.weekday()) % 7)
    return {
        "name": name,
        "units": units,
        "currency": currency,
        "time_zone": time_zone,
        "as_of": as_of.isoformat(),
        "dates": {
            "lease_start": as_of.isoformat(),
            "opening_wish": (as_of + timedelta(weeks=WEEKS_TO_OPENING)).isoformat(),
        },
        "rooms": [copy.deepcopy(room)],
        **catalogue,
        "fitouts": [fitout],
        "crew": {
            "core": [{"id": key, "name": title, "skills": list(skills)} for key, title, skills in CORE_TEAM],
            "days": [
                {
                    "id": f"day-{number}",
                    "date": (saturday + timedelta(weeks=week)).isoformat(),
                    "name": theme,
                    "places": PLACES,
                }
                for number, (week, theme) in enumerate(BUILD_DAYS, 1)
            ],
        },
    }
