"""Following a build day from its marks: states, stints, person-hours, contradictions."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import zip_longest

from hypothesis import given
from hypothesis import strategies as st

from scheduling.engine.day import FITS, LEADS_TO, MarkKind, TaskMark, crew_hours, follow, judge

NINE = datetime(2027, 3, 20, 9, 0, tzinfo=UTC)


def mark(kind: MarkKind, minutes: int, people: list[str] | None = None, count: int = 0, task: str = "W11") -> TaskMark:
    return TaskMark(task=task, kind=kind, at=NINE + timedelta(minutes=minutes), people=people or [], count=count)


def test_person_hours_of_a_task_that_was_stopped_over_lunch_and_lost_somebody() -> None:
    marks = [
        mark("start", 0, ["a", "b", "c"]), mark("crew", 60, ["a", "b"]), mark("stop", 180), mark("start", 240, ["a"]),
        mark("finish", 300),
    ]  # fmt: skip
    day = follow(marks)["W11"]
    # 3 people × 1 h + 2 × 2 h + nobody for an hour + 1 × 1 h = 8 h
    assert crew_hours(day, NINE) == 8.0
    assert day.state == "finished"
    # A meal from 9:30 to 10:30 takes half an hour from three people and half an hour from two.
    meal = [(NINE + timedelta(minutes=30), NINE + timedelta(minutes=90))]
    assert crew_hours(day, NINE, meal) == 8.0 - 1.5 - 1.0


def test_a_task_under_way_counts_up_to_now_and_unnamed_people_count() -> None:
    day = follow([mark("start", 0, count=4)])["W11"]
    assert day.stints[0].until is None
    assert crew_hours(day, NINE + timedelta(minutes=90)) == 6.0
    assert crew_hours(day, NINE - timedelta(hours=1)) == 0.0


def test_what_contradicts_what_and_what_is_known() -> None:
    started = follow([mark("start", 0, ["a"])])["W11"]
    finished = follow([mark("start", 0, ["a"]), mark("finish", 60)])["W11"]
    assert judge(None, mark("finish", 5)) == "taken"
    assert judge(None, mark("stop", 5)) == "conflict"
    assert judge(started, mark("start", 5)) == "already"
    assert judge(started, mark("crew", 5, ["b"])) == "taken"
    assert judge(finished, mark("finish", 30)) == "already"
    assert judge(finished, mark("start", 90)) == "conflict"
    assert judge(finished, mark("reopen", 90)) == "taken"
    # A telephone without signal stopped it at 9:30; meanwhile somebody reported it stopped and begun anew at 10:00.
    again = follow([mark("start", 0, ["a"]), mark("stop", 50), mark("start", 60, ["b"])])["W11"]
    assert judge(again, mark("stop", 30)) == "conflict"


KINDS = st.sampled_from(list(FITS))


@given(st.lists(st.tuples(KINDS, st.integers(0, 600), st.integers(0, 5)), max_size=25))
def test_marks_taken_in_turn_never_overlap_and_hours_add_up(said: list[tuple[MarkKind, int, int]]) -> None:
    taken: list[TaskMark] = []
    for kind, minutes, count in said:
        one = mark(kind, minutes, count=count)
        before = follow(taken).get("W11")
        if judge(before, one) == "taken":
            assert before is None or one.at >= before.since
            taken.append(one)
            assert follow(taken)["W11"].state == LEADS_TO[kind]
    day = follow(taken).get("W11")
    if day is None:
        return
    now = NINE + timedelta(hours=12)
    total = 0.0
    for first, second in zip_longest(day.stints, day.stints[1:]):
        assert first.until is None or second is None or first.until <= second.start
        total += ((first.until or now) - first.start).total_seconds() / 3600 * first.count
    assert abs(crew_hours(day, now) - total) < 0.01
    assert sum(1 for stint in day.stints if stint.until is None) == (1 if day.state == "under way" else 0)
