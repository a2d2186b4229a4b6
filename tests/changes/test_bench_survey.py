"""The survey's table of ``manage.py bench --survey``: its cases are what they say they are."""

import math
from io import StringIO

import numpy as np
import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from buildout.changes.web import bench_survey
from buildout.changes.web.bench_survey import (
    Tally,
    bare_problem,
    foot_slip,
    large_room,
    seeded_room,
    survey_figures,
    swapped_digits,
    taped,
    ten_corners,
)
from buildout.rooms.engine.observations import prepare
from buildout.rooms.engine.survey import adjust


def test_seeded_rooms_are_repeatable_checked_and_true() -> None:
    truth = seeded_room(7)
    assert truth == seeded_room(7)
    survey = adjust(truth.room)
    assert min(r.redundancy for r in survey.readings) >= 0.1
    for r in truth.room.readings:  # exact lengths between corners and marks
        if r.start in truth.points and r.end in truth.points and not r.end.startswith("K"):
            assert float(r.value.mm) == pytest.approx(math.dist(truth.points[r.start], truth.points[r.end]), abs=0.001)


def test_slips_change_one_reading() -> None:
    rng = np.random.default_rng(1)
    room = taped(seeded_room(3), rng)
    for slip in (foot_slip, swapped_digits):
        slipped, culprit = slip(room, rng)
        changed = [a.id for a, b in zip(room.readings, slipped.readings, strict=True) if a.value.mm != b.value.mm]
        assert changed == [culprit]
    by = {r.id: float(r.value.mm) for r in room.readings}
    slipped, culprit = foot_slip(room, rng)
    now = next(float(r.value.mm) for r in slipped.readings if r.id == culprit)
    assert abs(now - by[culprit]) == pytest.approx(304.8, abs=0.1)


def test_the_tally_tells_named_undecided_and_wrong_apart() -> None:
    rng = np.random.default_rng(2)
    room = taped(seeded_room(3), rng)
    slipped, culprit = foot_slip(room, rng)
    right, wrong, clean = Tally(), Tally(), Tally()
    survey = adjust(slipped)
    right.count(survey, culprit)
    wrong.count(survey, next(r.id for r in room.readings if r.id != culprit))
    clean.count(adjust(room), culprit)
    assert right.share("named", "pair", "more") == 1
    assert wrong.share("wrong") + wrong.share("unseen") == 1
    assert clean.share("unseen") == 1


def test_the_bare_problem_is_the_same_problem() -> None:
    truth, room = ten_corners()
    assert (len(room.corners), len(room.columns), len(room.readings)) == (10, 2, 40)
    misfits, start = bare_problem(truth, room)
    network = prepare(room).network()
    ours = (network.evaluate(start)[0] - network.observed) / network.sigma
    # the sketch turns the datum wall by nothing, so that fixed column offsets are exact
    assert misfits(start) == pytest.approx(ours, abs=1e-6)


def test_large_rooms_have_five_readings_a_point() -> None:
    _, room = large_room(25)
    assert len(room.corners) + len(room.marks) == 25
    assert len(room.readings) == 125


def test_figures_and_command(monkeypatch: pytest.MonkeyPatch) -> None:
    figures = {f.name: f for f in survey_figures(3)}
    assert figures["1 ft: named or in a pair"].of == 3
    assert figures["clean rooms alarmed"].goal == "≤ 0.05"
    monkeypatch.setattr(bench_survey, "survey_times", lambda repeats, say: [])
    out = StringIO()
    call_command("bench", "--survey", "--rooms", "2", stdout=out, stderr=StringIO())
    assert "walls and diagonals within their ±" in out.getvalue()
    with pytest.raises(CommandError, match="--rooms"):
        call_command("bench", "--survey", "--rooms", "0", stdout=out, stderr=StringIO())
