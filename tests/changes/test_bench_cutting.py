"""The cutting table: every published instance in the repository is solved, bad folders are named."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from buildout.changes.web.bench_cutting import PUBLISHED, measure_cutting, seeded_pieces, sheets_row

DATA = Path(__file__).parents[1] / "data" / "orlib"


def test_every_published_instance_is_proven() -> None:
    # Optima: see the sources named beside the table in bench_cutting.
    rows = {row.instance: row for row in measure_cutting(DATA, seeded=False)}
    here = {name for name in PUBLISHED if name in rows}
    assert {"cgcut1", "cgcut2", "cgcut3", "gcut4 turned", "ngcut6", "t60_02", "u120_08"} <= here
    for name in sorted(here):
        row = rows[name]
        assert (name, row.found, row.bound, row.status) == (name, PUBLISHED[name], PUBLISHED[name], "proven")


# Cases 0 and 3 take patterns from a plan fitted first and bettered since.
@pytest.mark.parametrize(("kinds", "seed"), [(8, 1), (16, 0), (16, 1), (16, 3), (24, 0)])
def test_a_seeded_job_is_proven(kinds: int, seed: int) -> None:
    row = sheets_row(kinds, seed)
    assert (row.status, row.found - row.bound) == ("proven", 0)


def test_seeded_pieces_are_what_they_say() -> None:
    for kinds in (8, 16, 24):
        pieces = seeded_pieces(kinds, 3)
        assert (len(pieces), len(set(pieces))) == (60, kinds)
        assert all(a % 4 == 0 and b % 4 == 0 and a <= 1152 and b <= 640 for a, b in pieces)


def test_the_command_prints_rows(tmp_path: Path) -> None:
    (tmp_path / "gcut1.txt").write_text((DATA / "gcut1.txt").read_text())
    (tmp_path / "notes.txt").write_text("not an instance")
    out = StringIO()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("buildout.changes.web.bench_cutting.SEEDS", 0)
        patch.setattr("buildout.changes.web.bench_cutting.HALLS", (500,))
        call_command("bench", cutting=str(tmp_path), json=True, stdout=out)
        rows = json.loads(out.getvalue())["rows"]
        assert [(r["instance"], r["found"], r["bound"], r["status"]) for r in rows] == [
            ("gcut1", 56460, 56460, "proven"),
            ("gcut1 turned", 58136, 58136, "proven"),
            ("hall of 500 sq ft, laid and cut", 14, 14, "proven"),
        ]
        assert all(r["seconds"] >= 0 and r["anchor_seconds"] >= 0 for r in rows)
        table = StringIO()
        call_command("bench", cutting=str(tmp_path), stdout=table)
    assert "56460" in table.getvalue()
    assert "proven" in table.getvalue()


def test_folders_without_instances_and_broken_files_are_named(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="holds no instance files"):
        call_command("bench", cutting=str(tmp_path / "nowhere"))
    (tmp_path / "gcut9.txt").write_text("3\n10 10\n4 4")
    with pytest.raises(CommandError, match=r"gcut9\.txt is not in the format"):
        call_command("bench", cutting=str(tmp_path))
