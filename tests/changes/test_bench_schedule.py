"""The scheduling table: published instances are proven, bad folders and files are named."""

from __future__ import annotations

import json
import random
import shutil
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from buildout.changes.web import bench_schedule
from buildout.changes.web.bench_schedule import (
    ScheduleRow,
    forecast_row,
    instance_row,
    invented_build,
    measure_schedule,
    read_psplib,
    sums,
)
from scheduling.engine.rcpsp import Activity, Link, Mode, Project, Resource

DATA = Path(__file__).parents[1] / "data" / "psplib"
# Published optima, see tests/data/psplib/SOURCE.md. j3013_1 takes long and is bounded in test_rcpsp.
OPTIMA = {"j301_1": 43, "j3021_1": 84, "j3029_1": 85, "j3037_1": 79}


@pytest.mark.parametrize("name", OPTIMA)
def test_every_published_instance_is_proven(name: str) -> None:
    row = instance_row(DATA / f"{name}.sm")
    assert (row.instance, row.found, row.bound, row.status) == (name, OPTIMA[name], OPTIMA[name], "proven")
    assert row.anchor


def test_the_command_prints_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copy(DATA / "j301_1.sm", tmp_path)
    monkeypatch.setattr(bench_schedule, "demo_rows", lambda: iter(()))
    monkeypatch.setattr(bench_schedule, "growth_rows", lambda: iter(()))
    monkeypatch.setattr(bench_schedule, "forecast_row", lambda: bench_schedule.ScheduleRow("f", 1, 1, "x", 1, 1, ""))
    out = StringIO()
    call_command("bench", schedule=str(tmp_path), json=True, stdout=out)
    row = json.loads(out.getvalue())["rows"][0]
    assert {"instance", "found", "bound", "status", "seconds", "anchor_seconds"} <= set(row)
    total = json.loads(out.getvalue())["public_instances"]
    assert (total["instances"], total["proven"]) == (1, 1)
    plain = StringIO()
    call_command("bench", schedule=str(tmp_path), stdout=plain)
    assert "j301_1" in plain.getvalue()
    assert "1 of 1 proven" in plain.getvalue()


def sixty() -> Project:
    """Sixty activities of our own invention between a start and an end, four resources."""
    draw = random.Random("sixty activities")  # noqa: S311 - repeatable, no secret
    last = 61
    after = {number: {draw.randint(max(0, number - 9), number - 1)} for number in range(1, last)}
    before_last = set(range(1, last)) - {other for some in after.values() for other in some}
    pairs = [(one, number) for number, some in after.items() for one in some] + [(one, last) for one in before_last]
    activities = [
        Activity(
            str(number + 1),
            (
                Mode(
                    0 if number in (0, last) else draw.randint(1, 10),
                    () if number in (0, last) else tuple((f"R{r}", draw.randint(1, 10)) for r in range(4)),
                ),
            ),
        )
        for number in range(last + 1)
    ]
    horizon = sum(one.modes[0].duration for one in activities)
    return Project(
        activities, [Link(a, b) for a, b in sorted(pairs)], [Resource(f"R{r}", 13 + r) for r in range(4)], horizon
    )


def written(project: Project) -> str:
    """A project as a single-mode file of that library, with its headings, stars and spacing."""
    jobs, stars = len(project.activities), "*" * 72
    after = [sorted(link.after + 1 for link in project.links if link.before == n) for n in range(jobs)]
    asked = [dict(one.modes[0].uses) for one in project.activities]
    names = [one.name for one in project.resources]
    lines = [
        stars, "file with basedata            : sixty.bas", "initial value random generator: 1", stars,
        "projects                      :  1", f"jobs (incl. supersource/sink ):  {jobs}",
        f"horizon                       :  {project.horizon}", "RESOURCES",
        f"  - renewable                 :  {len(names)}   R", "  - nonrenewable              :  0   N",
        "  - doubly constrained        :  0   D", stars, "PROJECT INFORMATION:",
        "pronr.  #jobs rel.date duedate tardcost  MPM-Time", f"    1     {jobs - 2}      0       0        0        0",
        stars, "PRECEDENCE RELATIONS:", "jobnr.    #modes  #successors   successors",
        *(f"{n + 1:4}        1          {len(some)}        {'  '.join(map(str, some))}"
          for n, some in enumerate(after)),
        stars, "REQUESTS/DURATIONS:", "jobnr. mode duration  R 1  R 2  R 3  R 4", "-" * 72,
        *(
            f"{n + 1:3}      1    {one.modes[0].duration:2}    " + "  ".join(f"{asked[n].get(r, 0):3}" for r in names)
            for n, one in enumerate(project.activities)
        ),
        stars, "RESOURCEAVAILABILITIES:", "  R 1  R 2  R 3  R 4",
        "  ".join(f"{one.capacity:3}" for one in project.resources), stars,
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def test_a_file_of_sixty_activities_is_read_and_its_gap_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    project = sixty()
    (tmp_path / "sixty.sm").write_text(written(project))
    assert read_psplib(tmp_path / "sixty.sm") == project
    monkeypatch.setattr(bench_schedule, "OTHERS", 0.05)
    row, *more = measure_schedule(tmp_path, builds=False)
    assert not more
    assert row.found is not None
    assert row.bound is not None
    # No plan is shorter than the work of its busiest resource over that resource's capacity.
    work = [
        sum(one.modes[0].duration * dict(one.modes[0].uses).get(resource.name, 0) for one in project.activities)
        for resource in project.resources
    ]
    shortest = max(-(-amount // resource.capacity) for amount, resource in zip(work, project.resources, strict=True))
    assert row.bound <= row.found
    assert row.found >= shortest
    assert row.gap == pytest.approx((row.found - row.bound) / row.found, abs=1e-4)
    assert (row.status == "proven") == (row.gap == 0)
    assert row.stopped == ("" if row.status == "proven" else "at 0.05 work units")


def test_sums_of_public_instances_by_hand() -> None:
    def one(seconds: float, beside: float, status: str, anchor: int | None = 1) -> ScheduleRow:
        return ScheduleRow("x", 1, 1, status, seconds, beside, "", anchor_found=anchor)

    rows = [one(1, 2, "proven"), one(3, 2, "feasible"), one(50, 1, "proven", anchor=None)]
    assert sums(rows) == {
        "instances": 2, "proven": 1, "seconds": 4, "anchor_seconds": 4, "ratio": 1.0, "worst_ratio": 1.5,
    }  # fmt: skip
    assert sums(rows[2:]) == {}


def test_a_folder_without_instances_and_a_broken_file_are_named(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"no instance files; it should hold files such as j301_1\.sm"):
        list(measure_schedule(tmp_path))
    (tmp_path / "bad.sm").write_text("jobs (incl. supersource/sink ):  5\n")
    with pytest.raises(CommandError, match=r"bad\.sm is not a single-mode PSPLIB file: the part PRECEDENCE is missing"):
        call_command("bench", schedule=str(tmp_path))


def test_the_invented_build_is_the_same_each_time_and_its_forecast_counts_every_run(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert invented_build(20) == invented_build(20)
    monkeypatch.setattr(bench_schedule, "RUNS", 200)
    row = forecast_row(10)
    assert row.status == "feasible"
    assert row.found is not None
    assert row.found > 0
