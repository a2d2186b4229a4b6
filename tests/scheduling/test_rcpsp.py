"""The placing core against published problems and cases solved by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.engine.rcpsp import (
    Activity,
    Link,
    Mode,
    Model,
    Placed,
    Project,
    Resource,
    earliest_times,
    in_order,
    latest_starts,
    latest_times,
    serial_plan,
    tighten,
)

DATA = Path(__file__).resolve().parents[1] / "data"


def project_of(
    durations: dict[str, int], after: dict[str, str], needs: dict[str, int] | None = None, capacity: int = 0
) -> Project:
    """``after`` maps a name to the names before it; a last activity ``end`` follows everything."""
    names = [*durations, "end"]
    uses = {name: (("helpers", (needs or {})[name]),) if needs else () for name in durations}
    activities = [Activity(name, (Mode(durations[name], uses[name]),)) for name in durations]
    activities.append(Activity("end", (Mode(0),)))
    links = [Link(names.index(before), names.index(name)) for name, others in after.items() for before in others]
    links += [Link(i, len(durations)) for i in range(len(durations))]
    resources = [Resource("helpers", capacity)] if needs else []
    return Project(activities, links, resources, sum(durations.values()) + 1)


def shortest(project: Project, limit: float = 5.0) -> tuple[str, float]:
    model = Model(project)
    stage = model.minimise(model.end[-1], limit)
    assert stage.bound <= stage.value
    return stage.status, stage.value


# Activities, durations in weeks and order of the construction project in F. S. Hillier and G. J. Lieberman,
# Introduction to Operations Research, chapter on project management (order quoted from memory).
DURATIONS = dict(zip("ABCDEFGHIJKLMN", (2, 4, 10, 6, 4, 5, 7, 9, 7, 8, 4, 5, 2, 6), strict=True))
AFTER = {
    "B": "A", "C": "B", "D": "C", "E": "C", "F": "E", "G": "D", "H": "EG", "I": "C", "J": "FI", "K": "J", "L": "J",
    "M": "H", "N": "KL",
}  # fmt: skip
EARLIEST = (0, 2, 6, 16, 16, 20, 22, 29, 16, 25, 33, 33, 38, 38)
LATEST = (0, 2, 6, 20, 16, 20, 26, 33, 18, 25, 34, 33, 42, 38)


class TestCriticalPath:
    def test_earliest_and_latest_starts_of_the_textbook_project(self) -> None:
        project = project_of(DURATIONS, AFTER)
        times = earliest_times(project)
        assert times is not None
        assert tuple(start for start, _ in times[:-1]) == EARLIEST
        assert times[-1] == (44, 44)
        plan = [Placed(start, 0) for start, _ in times]
        latest = latest_starts(project, plan, [len(plan) - 1])
        assert tuple(latest[:-1]) == LATEST
        critical = [name for name, first, last in zip(DURATIONS, EARLIEST, latest, strict=False) if first == last]
        assert "".join(critical) == "ABCEFJLN"

    def test_the_solver_proves_the_same_44_weeks(self) -> None:
        assert shortest(project_of(DURATIONS, AFTER)) == ("proven", 44)

    def test_the_latest_times_within_44_weeks_agree(self) -> None:
        project = project_of(DURATIONS, AFTER)
        times = latest_times(project, {len(DURATIONS): 44})
        assert times is not None
        assert tuple(start for start, _ in times[:-1]) == LATEST

    def test_a_ring_is_named(self) -> None:
        with pytest.raises(ValueError, match="A waits for itself"):
            in_order(project_of({"A": 1, "B": 1}, {"A": "B", "B": "A"}))

    def test_lags_of_each_kind(self) -> None:
        # A 0–4. B two after A's start: 2–5, yet may not end before A ends + 3 = 7: 4–7. C one after A's end: 5–6.
        activities = [Activity(name, (Mode(length),)) for name, length in (("A", 4), ("B", 3), ("C", 1))]
        links = [Link(0, 1, 2, "start-start"), Link(0, 1, 3, "end-end"), Link(0, 2, 1)]
        assert earliest_times(Project(activities, links, [], 20)) == [(0, 4), (4, 7), (5, 6)]

    def test_allowed_starts_push_to_the_next_window(self) -> None:
        # Windows 10–12 and 20–25: after a five-step activity a start at 10; after an eleven-step one 11; after 13, 20.
        for first, expected in ((5, 10), (11, 11), (13, 20)):
            activities = [Activity("A", (Mode(first),)), Activity("B", (Mode(1, (), ((10, 12), (20, 25))),))]
            times = earliest_times(Project(activities, [Link(0, 1)], [], 40))
            assert times is not None
            assert times[1][0] == expected


def psplib(name: str) -> Project:
    """Read an instance of PSPLIB (R. Kolisch and A. Sprecher, Eur. J. Oper. Res. 96 (1997) 205–216)."""
    lines = (DATA / "psplib" / name).read_text().splitlines()

    def rows(title: str, skip: int, count: int) -> list[list[int]]:
        at = next(n for n, line in enumerate(lines) if line.startswith(title)) + skip
        return [[int(field) for field in line.split()] for line in lines[at : at + count]]

    jobs = int(next(line for line in lines if line.startswith("jobs")).split(":")[1])
    links = [Link(row[0] - 1, after - 1) for row in rows("PRECEDENCE", 2, jobs) for after in row[3:]]
    activities = [
        Activity(str(row[0]), (Mode(row[2], tuple((f"R{n}", use) for n, use in enumerate(row[3:]) if use)),))
        for row in rows("REQUESTS", 3, jobs)
    ]
    capacities = rows("RESOURCEAVAILABILITIES", 2, 1)[0]
    resources = [Resource(f"R{n}", capacity) for n, capacity in enumerate(capacities)]
    return Project(activities, links, resources, sum(one.modes[0].duration for one in activities))


PUBLISHED = [("j301_1.sm", 38, 43), ("j3021_1.sm", 60, 84), ("j3029_1.sm", 62, 85), ("j3037_1.sm", 46, 79)]


@pytest.mark.parametrize(("name", "without_limits", "optimum"), PUBLISHED)
def test_published_optima_of_resource_constrained_projects(name: str, without_limits: int, optimum: int) -> None:
    project = psplib(name)
    times = earliest_times(project)
    assert times is not None
    assert times[-1][1] == without_limits
    assert shortest(project) == ("proven", optimum)


@pytest.mark.parametrize(("name", "without_limits", "optimum"), [*PUBLISHED, ("j3013_1.sm", 34, 58)])
def test_the_quick_plan_keeps_the_rules_and_is_no_better_than_the_optimum(
    name: str, without_limits: int, optimum: int
) -> None:
    project = psplib(name)
    plan = serial_plan(project)
    assert plan is not None
    assert faults(project, plan) == []
    assert plan[-1].start >= optimum


def test_a_limit_that_cuts_the_search_short_still_bounds_the_published_optimum() -> None:
    project = psplib("j3013_1.sm")  # hardest of these: optimum 58
    model = Model(project)
    stage = model.minimise(model.end[-1], 0.05, serial_plan(project) or [])
    assert stage.status == "feasible"
    assert stage.bound <= 58 <= stage.value
    assert faults(project, stage.plan) == []


# ft06: H. Fisher and G. L. Thompson (1963), optimum 55. la01: S. Lawrence (1984), optimum 666.
@pytest.mark.parametrize(("name", "optimum"), [("ft06.txt", 55), ("la01.txt", 666)])
def test_published_optima_of_job_shops(name: str, optimum: int) -> None:
    text = (DATA / "jobshop" / name).read_text().split("\n")
    rows = [[int(field) for field in line.split()] for line in text if line.strip()]
    activities: list[Activity] = []
    links: list[Link] = []
    lasts: list[int] = []
    for row in rows[1:]:
        for n, (machine, duration) in enumerate(zip(row[::2], row[1::2], strict=True)):
            if n:
                links.append(Link(len(activities) - 1, len(activities)))
            activities.append(Activity("", (Mode(duration, ((f"M{machine}", 1),)),)))
        lasts.append(len(activities) - 1)
    links += [Link(last, len(activities)) for last in lasts]
    activities.append(Activity("end", (Mode(0),)))
    resources = [Resource(f"M{n}", 1) for n in range(rows[0][1])]
    assert shortest(Project(activities, links, resources, 5000)) == ("proven", optimum)


class TestFourHelpersADay:
    def test_helper_days_bound_reached(self) -> None:
        # Helper-days 4 + 9 + 4 + 4 + 2 = 23 > 5 × 4, so six days at least; A and C first, B and E, then D alone.
        days = {"A": 2, "B": 3, "C": 2, "D": 1, "E": 2}
        needs = {"A": 2, "B": 3, "C": 2, "D": 4, "E": 1}
        assert shortest(project_of(days, {"D": "A", "E": "C"}, needs, 4)) == ("proven", 6)

    def test_helper_days_bound_missed(self) -> None:
        # C (3 helpers) and E (4) stand alone: 2 + 1 days; A, B, D pair up in no less than 4: seven days.
        days = {"A": 3, "B": 2, "C": 2, "D": 2, "E": 1}
        needs = {"A": 2, "B": 2, "C": 3, "D": 2, "E": 4}
        assert shortest(project_of(days, {"E": "A", "D": "B"}, needs, 4)) == ("proven", 7)

    def test_more_than_four_is_infeasible(self) -> None:
        project = project_of({"A": 1, "B": 1}, {}, {"A": 5, "B": 1}, 4)
        model = Model(project)
        assert model.minimise(model.end[-1], 1.0).status == "infeasible"
        assert serial_plan(project) is None


def test_the_same_project_gives_the_same_plan_and_work_when_cut_short() -> None:
    project = psplib("j3013_1.sm")

    def once() -> tuple[list[Placed], float]:
        model = Model(project)
        stage = model.minimise(model.end[-1], 0.2, serial_plan(project) or [])
        return stage.plan, stage.work

    assert once() == once()


def test_capacity_taken_away_for_a_while() -> None:
    # Two helpers, one away from 1 to 3: two one-helper jobs of two steps run together only from 3: end at 5; one after
    # the other they end at 4.
    activities = [Activity(name, (Mode(2, (("helpers", 1),)),)) for name in "AB"]
    activities.append(Activity("end", (Mode(0),)))
    project = Project(activities, [Link(0, 2), Link(1, 2)], [Resource("helpers", 2, ((1, 3, 1),))], 20)
    assert shortest(project) == ("proven", 4)


def test_later_aims_keep_what_earlier_ones_reached() -> None:
    # One helper; A and B of two steps each. The end is 4 whoever is first; then B first makes B's start 0.
    activities = [Activity(name, (Mode(2, (("helpers", 1),)),)) for name in "AB"]
    activities.append(Activity("end", (Mode(0),)))
    model = Model(Project(activities, [Link(0, 2), Link(1, 2)], [Resource("helpers", 1)], 20))
    first = model.minimise(model.end[2], 1.0)
    second = model.minimise(model.start[1], 1.0, first.plan)
    assert (first.value, second.value, second.plan[0].start, second.plan[2].start) == (4, 0, 2, 4)


def faults(project: Project, plan: list[Placed]) -> list[str]:
    """Check a plan step by step, without any of the code under test."""
    found = []
    modes = [activity.modes[placed.mode] for activity, placed in zip(project.activities, plan, strict=True)]
    spans = [(placed.start, placed.start + mode.duration) for placed, mode in zip(plan, modes, strict=True)]
    for link in project.links:
        first = spans[link.before][0 if link.kind == "start-start" else 1]
        second = spans[link.after][1 if link.kind == "end-end" else 0]
        if first + link.lag > second:
            found.append(f"{link} broken")
    for resource in project.resources:
        for step in range(max(end for _, end in spans)):
            used = sum(
                amount
                for (start, end), mode in zip(spans, modes, strict=True)
                for name, amount in mode.uses
                if name == resource.name and start <= step < end
            )
            if used > resource.capacity:
                found.append(f"{resource.name} over at {step}")
    for i, mode in enumerate(modes):
        if mode.starts and not any(low <= plan[i].start <= high for low, high in mode.starts):
            found.append(f"{project.activities[i].name} starts outside its windows")
    return found


@st.composite
def small_projects(draw: st.DrawFn) -> Project:
    count = draw(st.integers(2, 6))
    activities = []
    for n in range(count):
        modes = []
        for _ in range(draw(st.integers(1, 2))):
            duration = draw(st.integers(1, 3))
            starts = ((0, 4), (7, 40)) if draw(st.booleans()) else ()
            modes.append(Mode(duration, (("helpers", draw(st.integers(1, 3))),), starts))
        activities.append(Activity(f"T{n}", tuple(modes)))
    links = []
    for after in range(1, count):
        if draw(st.booleans()):
            kind = draw(st.sampled_from(["end-start", "start-start", "end-end"]))
            links.append(Link(draw(st.integers(0, after - 1)), after, draw(st.integers(0, 3)), kind))
    activities.append(Activity("end", (Mode(0),)))
    links += [Link(i, count) for i in range(count)]
    return Project(activities, links, [Resource("helpers", 3)], 60)


@settings(max_examples=60, deadline=None)
@given(small_projects())
def test_every_plan_keeps_every_rule(project: Project) -> None:
    times, limits, quick = earliest_times(project), latest_times(project), serial_plan(project)
    model = Model(project)
    best = model.minimise(model.end[-1], 2.0, quick or [])
    assert times is not None
    assert limits is not None
    assert best.status == "proven"
    assert faults(project, best.plan) == []
    assert times[-1][1] <= best.value
    for (first, _), (last, _), placed in zip(times, limits, best.plan, strict=True):
        assert first <= placed.start <= last
    if quick is not None:
        assert faults(project, quick) == []
        assert best.value <= quick[-1].start
    tidy = tighten(project, best.plan, lambda i: True)
    assert faults(project, tidy) == []
    assert all(new.start <= old.start for new, old in zip(tidy, best.plan, strict=True))
    late = latest_starts(project, tidy, [len(tidy) - 1])
    assert all(placed.start <= latest for placed, latest in zip(tidy, late, strict=True))


def test_a_search_that_finds_nothing_gives_the_plan_it_began_with_and_an_honest_gap() -> None:
    # Two jobs of three steps on one machine: 6 with the second after the first; one apart, hinted, is 7.
    project = Project(
        [Activity("A", (Mode(3, (("m", 1),)),)), Activity("B", (Mode(3, (("m", 1),)),)), Activity("end", (Mode(0),))],
        [Link(0, 2), Link(1, 2)], [Resource("m", 1)], 20,
    )  # fmt: skip
    hint = [Placed(0, 0), Placed(4, 0), Placed(7, 0)]
    model = Model(project)
    cut = model.minimise(model.start[2], 0.0, hint, least=3)
    assert (cut.status, cut.value, cut.plan) == ("feasible", 7, hint)
    assert 3 <= cut.bound <= 6
    whole = model.minimise(model.start[2], 1.0, cut.plan, least=3)
    assert (whole.status, whole.value, whole.bound) == ("proven", 6, 6)


def test_values_beside_the_activities_are_hinted_as_they_are_in_the_plan() -> None:
    # One job on one of two days: on day 2 it uses a new day (1), is 4 away from step 0 and leaves day 1 (1): 6.
    modes = (Mode(2, (("m", 1),), ((0, 1),), "day 1"), Mode(2, (("m", 1),), ((4, 5),), "day 2"))
    model = Model(Project([Activity("A", modes)], [], [Resource("m", 1)], 10))
    first, second = model.chosen[0]
    terms = [model.flag([second]), model.distance(0, 0), model.none_of([first])]
    cut = model.minimise(sum(terms), 0.0, [Placed(4, 1)], least=0)
    assert (cut.value, cut.plan) == (6, [Placed(4, 1)])
    assert model.minimise(sum(terms), 1.0, cut.plan, least=0).value == 0
