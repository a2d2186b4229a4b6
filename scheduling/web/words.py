"""Words for what plans write in short."""

from __future__ import annotations

from typing import Any

from scheduling.engine.skills import SKILLS
from scheduling.engine.types import Skill

OFFERED_SKILLS: tuple[Skill, ...] = ("carp", "saw", "uphol", "paint", "measure", "lift", "clean", "cook", "lead")
"""What a helper may say of themselves; licensed and specialist work is not for helpers."""

STAGES = (
    "Lease and consent",
    "Survey",
    "Design",
    "Purchase",
    "Strip and prepare",
    "Licensed trades",
    "Paint",
    "Walls",
    "Floor",
    "Cover",
    "Fit-out",
    "Clean and inspect",
    "Open and keep",
)

WHO = {"build day": "helpers", "core team": "core team", "trade": "licensed trade", "wait": "waiting"}

STATUSES = {
    "proven": "Shown to be the best possible",
    "feasible": "It works; a better one may exist",
    "infeasible": "Impossible as things stand",
    "underdetermined": "Not fixed by what is known",
    "empty": "Nothing to plan yet",
}


def skill_words(skills: list[str]) -> list[str]:
    return [SKILLS[skill] for skill in skills if skill in SKILLS]


def stage_name(number: int) -> str:
    return STAGES[number] if 0 <= number < len(STAGES) else f"Stage {number}"


QUANTITY_FROM = {
    "1": "once for the whole build",
    "all": "the floor plans of all rooms",
    "base": "the base layer of the floor layout",
    "builddays": "the number of build days",
    "cleat": "the wall panel layout",
    "column": "the wall panel layout",
    "cover": "the cover layout",
    "floor": "the floor plan and floor layout",
    "foam": "the take-off",
    "fold": "the fold-away mats",
    "frame": "the floor layout",
    "lowwall": "the wall panel layout",
    "mat": "the floor layout",
    "meals": "the places of all build days and the core team",
    "orders": "the take-off: kinds of goods to order",
    "paint": "the walls of the plan that are painted",
    "panel": "the wall panel layout",
    "ramp": "the floor layout",
    "reveal": "the wall panel layout",
    "rfq": "the take-off: kinds of goods to ask prices for",
    "room": "the floor plan",
    "survey": "the tape readings",
    "timber": "the take-off",
    "top": "the top layer of the floor layout",
    "wall": "the walls of the plan",
}
"""Where the figure behind a task comes from, by the first word of its driver."""


PLANS = frozenset({"all", "paint", "room", "survey", "wall"})
LAYOUTS = frozenset(
    {"base", "cleat", "column", "cover", "floor", "fold", "frame", "lowwall", "mat", "panel", "ramp", "reveal", "top"}
)


def source_sheet(driver: str) -> str:
    """The sheet that shows where a computed quantity comes from: rooms, layouts or take-off.

    >>> [source_sheet(driver) for driver in ("survey.ties", "panel.count", "foam.pieces")]
    ['rooms', 'layouts', 'take-off']
    """
    first = driver.split(".")[0]
    return "rooms" if first in PLANS else "layouts" if first in LAYOUTS else "take-off"


def quantity_source(driver: str, document: dict[str, Any]) -> tuple[str, bool]:
    """(in words where a task's quantity comes from, whether the owner states it).

    >>> quantity_source("panel.count", {})
    ('the wall panel layout', False)
    >>> quantity_source("light.fittings", {"quantities": {"light.fittings": "24"}})
    ('your own figure for “light fittings”', True)
    """
    if driver in document.get("quantities", {}):
        return f"your own figure for “{driver_words(driver)}”", True
    first = driver.split(".")[0]
    return QUANTITY_FROM.get(first, f"“{driver_words(driver)}”, which you state"), first not in QUANTITY_FROM


def driver_words(driver: str) -> str:
    """A driver's name as people read it.

    >>> driver_words("panel.full_count")
    'panel full count'
    """
    return driver.replace(".", " ").replace("_", " ")
