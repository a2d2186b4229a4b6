"""Which sign-ups a new schedule touches: one small schedule, moved by hand."""

from __future__ import annotations

from datetime import date

import msgspec

from scheduling.engine.moved import moved_sign_ups
from scheduling.engine.types import BuildDay, PlannedTask, Schedule, SignedUp

ONE = BuildDay(id="d1", date=date(2027, 1, 9), name="Frame", places=8)
TWO = BuildDay(id="d2", date=date(2027, 1, 16), name="Cover", places=8)


def planned(code="G03", day=ONE, start=510, end=720):
    return PlannedTask(
        code=code, name="Lay frame", place="build day", start_day=day.date, end_day=day.date, start=start, end=end,
        build_day=day.id, crew=4, skills=["carp"], critical=False, slack_days=0,
    )  # fmt: skip


def schedule(*tasks):
    return Schedule(
        status="feasible", bound=0, value=0, gap=0, work=0, from_day=date(2027, 1, 1), opening=date(2027, 2, 1),
        tasks=list(tasks), days=[], needs={}, need_tasks={}, reasons=[],
    )  # fmt: skip


def moved(before, after, *sign_ups, days=(ONE, TWO), new_days=(ONE, TWO)):
    found = moved_sign_ups(before, after, list(days), list(new_days), list(sign_ups))
    return [(m.sign_up, m.kind, m.new_day) for m in found]


def test_nothing_moved():
    assert moved(schedule(planned()), schedule(planned()), SignedUp(id="7", day="d1", task="G03")) == []


def test_task_to_another_day():
    there = schedule(planned(day=TWO))
    assert moved(schedule(planned()), there, SignedUp(id="7", day="d1", task="G03")) == [("7", "task moved", "d2")]


def test_wherever_needed_stays_when_tasks_move():
    assert moved(schedule(planned()), schedule(planned(day=TWO)), SignedUp(id="7", day="d1")) == []


def test_other_hours_on_the_same_day():
    later = schedule(planned(start=540, end=750))
    assert moved(schedule(planned()), later, SignedUp(id="7", day="d1", task="G03")) == [("7", "time changed", "d1")]


def test_task_left_out():
    assert moved(schedule(planned()), schedule(), SignedUp(id="7", day="d1", task="G03")) == [("7", "task gone", "d1")]


def test_build_day_moved_touches_everybody_on_it():
    other = BuildDay(id="d1", date=date(2027, 1, 10), name="Frame", places=8)
    people = [SignedUp(id="7", day="d1", task="G03"), SignedUp(id="8", day="d1"), SignedUp(id="9", day="d2")]
    found = moved(schedule(planned()), schedule(planned(day=other)), *people, new_days=(other, TWO))
    assert found == [("7", "day moved", "d1"), ("8", "day moved", "d1")]


def test_build_day_no_longer_held():
    assert moved(schedule(planned()), schedule(), SignedUp(id="7", day="d1"), new_days=(TWO,)) == [
        ("7", "day gone", "")
    ]


def test_a_part_of_a_split_task_counts_as_the_task():
    before = schedule(planned(code="G03/1"), planned(code="G03/2", day=TWO))
    after = schedule(planned(code="G03/1", day=TWO), planned(code="G03/2", day=TWO, start=720, end=900))
    assert moved(before, after, SignedUp(id="7", day="d1", task="G03")) == [("7", "task moved", "d2")]


def test_says_why_a_task_is_where_it_is_now():
    there = schedule(msgspec.structs.replace(planned(day=TWO), held_by="it waits for foam"))
    found = moved_sign_ups(schedule(planned()), there, [ONE, TWO], [ONE, TWO], [SignedUp(id="7", day="d1", task="G03")])
    assert (found[0].old_date, found[0].new_date, found[0].why) == (ONE.date, TWO.date, "Because it waits for foam.")


def test_says_that_a_task_takes_longer_where_it_begins_as_before():
    # 08:30 to 12:00 with four, then to 15:00 with three: three and a half hours, and six and a half.
    longer = schedule(msgspec.structs.replace(planned(end=900), crew=3, held_by="it waits for foam"))
    found = moved_sign_ups(schedule(planned()), longer, [ONE], [ONE], [SignedUp(id="7", day="d1", task="G03")])
    assert found[0].text == "“Lay frame” is now 08:30–15:00 instead of 08:30–12:00, the same day."
    assert found[0].why == "Because it takes 6.5 hours with 3 people now, not 3.5 hours with 4 people."


def test_every_task_that_moves_has_a_why():
    later, there = schedule(planned(start=540, end=750)), schedule(planned(day=TWO))
    for after in (later, there):
        found = moved_sign_ups(
            schedule(planned()), after, [ONE, TWO], [ONE, TWO], [SignedUp(id="7", day="d1", task="G03")]
        )
        assert found[0].why == "Because the plan as a whole comes out best so; nothing else keeps it there."


def test_where_there_is_no_plan_no_task_is_said_to_be_gone():
    none = msgspec.structs.replace(schedule(), status="infeasible")
    assert moved(schedule(planned()), none, SignedUp(id="7", day="d1", task="G03")) == []
    # What the owner did to the day itself is told all the same.
    assert moved(schedule(planned()), none, SignedUp(id="7", day="d1", task="G03"), new_days=(TWO,)) == [
        ("7", "day gone", "")
    ]
