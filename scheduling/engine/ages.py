"""What people under 18 may do on a build day, and what somebody may do who should not lift or use powered tools.

US federal rules for paid work keep under-18s off power-driven woodworking machines and under-16s off construction
work (29 CFR part 570, subparts C and E); here they are the floor for volunteers as well. The rest is common practice,
no published source. The insurer and the local rules decide.
"""

from __future__ import annotations

import re
from typing import Literal

Age = Literal["adult", "16-17", "14-15", "under 14"]
Lifting = Literal["any", "light", "none"]

POWERED = ("driver", "saw", "drill", "stapler", "sander", "grinder", "mixer", "nailer", "extraction", "trade's own")
"""Tools with a motor, air or a battery, by the words of the task list."""
NOT_UNDER_18 = {"SAW", "DRIL", "STAP", "SOLV", "SILI", "ASB", "LEAD", "ELEC", "GLAS"}
"""Cautions of work that is not for anybody under 18."""
FOR_14 = {"TRIP", "EXIT", "KIDS"}
"""Cautions that work for 14- and 15-year-olds may carry."""
SKILLS_FOR_14 = {"none", "clean", "cook"}


def powered(tools: str) -> bool:
    """Say whether a task's tools include one with a motor.

    >>> powered("chalk line, tape"), powered("hook staplers"), powered("driver, level")
    (False, True, True)
    """
    return any(re.search(rf"\b{re.escape(word)}s?\b", tools) for word in POWERED)


def refusal(
    age: str, lifting: str, power_tools: bool = True, *, skills: list[str], cautions: list[str], tools: str
) -> str:
    """Say why somebody may not take part in a task; empty when they may.

    ``power_tools``: whether they are to use tools with a motor at all.

    >>> refusal("16-17", "any", skills=["none"], cautions=[], tools="tape, roller")
    ''
    >>> refusal("16-17", "any", skills=["saw"], cautions=["SAW"], tools="saw, guide")
    'Under 18, no powered tools, solvents, glass or wiring.'
    >>> refusal("adult", "any", False, skills=["carp"], cautions=[], tools="driver, level")
    'This task is done with powered tools. Choose another, or help wherever needed.'
    """
    if age == "under 14":
        return "Under 14, the work zone is not the place to help. Come to the opening instead."
    if age in ("16-17", "14-15") and (powered(tools) or NOT_UNDER_18 & set(cautions)):
        return "Under 18, no powered tools, solvents, glass or wiring."
    if age == "14-15" and (not set(skills) <= SKILLS_FOR_14 or not set(cautions) <= FOR_14):
        return "At 14 and 15: taping, labelling, sweeping and meals, with a guardian there."
    if not power_tools and powered(tools):
        return "This task is done with powered tools. Choose another, or help wherever needed."
    if lifting == "none" and ("LIFT" in cautions or "lift" in skills):
        return "This task means lifting. Choose another, or help wherever needed: there are sitting jobs."
    return ""
