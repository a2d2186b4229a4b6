"""The table of ``manage.py bench``: its rows, and that solver time is counted once and only while asked for."""

from __future__ import annotations

import json
import time
from io import StringIO
from typing import Any

import msgspec
import pytest
from django.core.management import CommandError, call_command

from buildout.changes.engine.solver_time import SolverTime
from buildout.changes.web import bench

FIELDS = {"name", "value", "unit", "anchor", "ratio", "goal", "met"}


def test_a_row_says_whether_its_goal_is_met() -> None:
    row = bench.row("chain", 3.0, "s", "solver", 2.0, 1.5)
    assert msgspec.structs.asdict(row) == {
        "name": "chain", "value": 3.0, "unit": "s", "anchor": "solver", "ratio": 1.5, "goal": 1.5, "met": True
    }  # fmt: skip
    assert not bench.row("chain", 3.1, "s", "solver", 2.0, 1.5).met


def test_json_holds_the_rows_and_nothing_else(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [bench.row("chain, cold", 3.0, "s", "solver", 2.0, 1.0)]
    monkeypatch.setattr(bench, "measure", lambda repeats, say: rows)
    out = StringIO()
    call_command("bench", "--json", stdout=out)
    table: dict[str, Any] = json.loads(out.getvalue())
    assert set(table) == {"rows"}
    assert set(table["rows"][0]) == FIELDS
    out = StringIO()
    call_command("bench", stdout=out)
    assert "NO" in out.getvalue()
    with pytest.raises(CommandError, match="1 or more"):
        call_command("bench", "--repeats", "0")


def test_solver_calls_are_counted_while_open_and_left_as_they_were() -> None:
    import highspy
    from ortools.sat.python import cp_model

    before = (vars(cp_model.CpSolver).get("solve"), highspy.Highs.run)

    def solve() -> None:
        model = cp_model.CpModel()
        x = model.new_int_var(0, 9, "x")
        model.maximize(x)
        assert cp_model.CpSolver().solve(model) == cp_model.OPTIMAL

    with SolverTime() as spent:
        began = time.perf_counter()
        solve()
        solve()
        passed = time.perf_counter() - began
    assert spent.calls == 2
    assert 0 < spent.seconds <= passed
    solve()
    assert spent.calls == 2
    assert (vars(cp_model.CpSolver).get("solve"), highspy.Highs.run) == before


def test_the_edits_that_are_timed_are_the_ones_named() -> None:
    """3 in of wall change readings alone; the dearer price changes one price alone."""
    from buildout.changes.engine.chain import ChainResult
    from buildout.changes.engine.edits import edits_between
    from buildout.changes.web.demo import demo_file

    document = json.loads(demo_file())["plan"]
    paths = [edit.path for edit in edits_between(document, bench._with_price_changed(document))]
    assert len(paths) == 1
    assert paths[0][0] == "quotes"

    from buildout.changes.engine.reading import check_plan
    from buildout.rooms.engine.survey import adjust

    survey = adjust(check_plan(document).rooms[0])

    class Surveyed:
        surveys = [survey]

    result: ChainResult = Surveyed()  # type: ignore[assignment]
    edited = bench._with_wall_moved(document, result)
    places = {tuple(edit.path[:3]) for edit in edits_between(document, edited)}
    assert places
    assert all(place[:2] == ("rooms", "hall") for place in places)
    assert ("rooms", "hall", "readings") in places
