"""Who leads what, by hand: the owner's word, then who is free and able. Common practice, no published source."""

from __future__ import annotations

from datetime import date
from typing import Any

from scheduling.engine.leads import name_leads
from scheduling.engine.types import CorePerson, Crew, Helper, PersonPin, PlannedTask, SignedUp, TaskEdits

DAY = date(2027, 3, 20)
INES = CorePerson(id="ines", name="Ines", skills=["lead", "measure"])
PELL = CorePerson(id="pell", name="Pell", skills=["lead", "uphol"])
RUBY = CorePerson(id="ruby", name="Ruby", skills=["cook"])


def task(code: str, start: int, end: int, **more: Any) -> PlannedTask:
    given: dict[str, Any] = {
        "code": code, "name": code, "place": "build day", "start_day": DAY, "end_day": DAY, "start": start * 60,
        "end": end * 60, "build_day": "cover", "crew": 6, "skills": ["lead"], "critical": False, "slack_days": 0,
        "cautions": [],
    }  # fmt: skip
    return PlannedTask(**given | more)


def leads(
    tasks: list[PlannedTask],
    core: list[CorePerson],
    *pins: PersonPin,
    stages: dict[str, int] | None = None,
    **more: Any,
) -> list[str]:
    crew = Crew(core=core, days=[], helpers=more.get("helpers", []))
    found = name_leads(tasks, crew, more.get("signed_up", []), TaskEdits(people=list(pins)), stages or {})
    assert [one.code for one in found] == [one.code for one in tasks]
    return [one.lead for one in found]


def test_nobody_leads_two_tasks_at_once() -> None:
    # 9–11 and 10–12 overlap, so two lead; 11–12 begins when the first is over: Ines leads least so far? Both led one,
    # and she stands first. A fourth at 10 finds both taken.
    tasks = [task("A", 9, 11), task("B", 10, 12), task("C", 11, 12), task("D", 10, 11)]
    assert leads(tasks, [INES, PELL, RUBY]) == ["ines", "pell", "ines", ""]


def test_what_needs_no_lead_gets_none() -> None:
    waits = task("W", 0, 24, crew=0, place="wait")
    assert leads([task("A", 9, 11, skills=["paint"]), waits], [INES]) == ["", ""]


def test_the_owners_word_comes_first_and_holds_the_person() -> None:
    # Ines would lead A; the owner put her on B at the same time as its lead, so Pell leads A. B asks for none.
    tasks = [task("A", 9, 12), task("B", 10, 11, skills=["saw"])]
    assert leads(tasks, [INES, PELL], PersonPin(task="B", person="ines", lead=True)) == ["pell", "ines"]
    # Ruby may lead although she has not the skill: the owner says so.
    assert leads([task("A", 9, 12)], [INES, RUBY], PersonPin(task="A", person="ruby", lead=True)) == ["ruby"]
    # Somebody nobody knows leads nothing.
    assert leads([task("A", 9, 12)], [RUBY], PersonPin(task="A", person="ash", lead=True)) == [""]


def test_those_put_on_it_lead_before_others() -> None:
    # B keeps Ines from C at the same hour, though it asks for no lead.
    tasks = [task("A", 9, 10, people=["pell"]), task("B", 10, 11, skills=["saw"], people=["ines"]), task("C", 10, 11)]
    assert leads(tasks, [INES, PELL]) == ["pell", "", "pell"]


def test_skills_then_the_same_stage_then_who_led_least() -> None:
    assert leads([task("A", 9, 10, skills=["lead", "uphol"])], [INES, PELL]) == ["pell"]
    # Ines led the stage that day, so she goes on with it; the other stage goes to Pell, who led nothing yet.
    tasks = [task("H05", 9, 10), task("H06", 10, 11), task("J01", 11, 12)]
    assert leads(tasks, [INES, PELL], stages={"H05": 9, "H06": 9, "J01": 12}) == ["ines", "ines", "pell"]


def test_helpers_lead_only_on_days_they_come() -> None:
    neve = Helper(id="neve", name="Neve", skills=["lead"], days=["paint"])
    sika = SignedUp(id="s-1", day="cover", skills=["lead"])
    assert leads([task("A", 9, 10)], [RUBY], helpers=[neve], signed_up=[sika]) == ["s-1"]
    assert leads([task("A", 9, 10, build_day="paint")], [RUBY], helpers=[neve], signed_up=[sika]) == ["neve"]
    # The core team goes before helpers.
    assert leads([task("A", 9, 10)], [PELL], signed_up=[sika]) == ["pell"]


def test_parts_of_one_task_may_run_side_by_side_under_one_lead() -> None:
    assert leads([task("W11/1", 9, 11), task("W11/2", 10, 12)], [INES, PELL]) == ["ines", "ines"]
