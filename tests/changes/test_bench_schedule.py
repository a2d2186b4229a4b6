"""The scheduling table: published instances are proven, bad folders and files are named."""

from __future__ import annotations

import json
import shutil
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from buildout.changes.web import bench_schedule
from buildout.changes.web.bench_schedule import forecast_row, instance_row, invented_build, measure_schedule

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
    plain = StringIO()
    call_command("bench", schedule=str(tmp_path), stdout=plain)
    assert "j301_1" in plain.getvalue()


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
