"""Words for what plans write in short."""

from __future__ import annotations

SKILLS = {
    "lead": "leading a crew",
    "measure": "measuring",
    "carp": "carpentry",
    "saw": "sawing",
    "uphol": "upholstery",
    "paint": "painting",
    "lift": "lifting and carrying",
    "clean": "cleaning",
    "cook": "cooking",
    "admin": "office work",
    "lic": "a licence",
    "spec": "a specialist firm",
}

OFFERED_SKILLS = ("carp", "saw", "uphol", "paint", "measure", "lift", "clean", "cook", "lead")
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
