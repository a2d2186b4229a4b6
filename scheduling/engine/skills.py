"""The skills of the task list in words: what a skill is called, and what somebody with it can do."""

from __future__ import annotations

from collections.abc import Sequence

from scheduling.engine.types import Skill

SKILLS: dict[Skill, str] = {
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

ABLE: dict[str, str] = {
    "lead": "lead a crew",
    "measure": "measure",
    "carp": "do carpentry",
    "saw": "use a saw",
    "uphol": "do upholstery",
    "paint": "paint",
    "lift": "lift and carry",
    "clean": "clean",
    "cook": "cook",
    "admin": "do office work",
    "lic": "do licensed work",
    "spec": "do specialist work",
}


def able(skill: str) -> str:
    """What somebody with a skill can do, to stand after "who can".

    >>> able("saw")
    'use a saw'
    """
    return ABLE.get(skill, "help")


TO_FIND = "Somebody still to find"
"""How the name begins of those a way out counts on, until the owner writes theirs."""


def to_find(skills: Sequence[Skill], number: int = 1) -> str:
    """The name of the first, second … with these skills who has still to be found.

    >>> to_find(["none"]), to_find(["saw"]), to_find(["saw", "lead"], 2)
    ('Somebody still to find', 'Somebody still to find (sawing)', 'Somebody still to find (sawing, leading a crew, 2)')
    """
    told = [SKILLS[skill] for skill in skills if skill in SKILLS] + ([str(number)] if number > 1 else [])
    return f"{TO_FIND} ({', '.join(told)})" if told else TO_FIND
