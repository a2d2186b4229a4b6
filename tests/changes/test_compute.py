"""The compute command: a readable page or JSON from a build file, no database, clear refusals."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from buildout.changes.engine.chain import ChainResult
from buildout.units.value import from_json, to_json

ROOT = Path(__file__).parent.parent.parent
PLAIN = ROOT / "tests" / "data" / "plain_room.json"


def compute(capsys: pytest.CaptureFixture[str], *arguments: str, **options: Any) -> str:
    """What the command prints. No database is allowed here."""
    call_command("compute", *arguments, **options)
    return capsys.readouterr().out


@pytest.mark.xdist_group("chain")
def test_the_plain_room_on_one_page(capsys: pytest.CaptureFixture[str]) -> None:
    page = compute(capsys, str(PLAIN))
    for part in (
        "Weir Street training room", "480 sq ft", "perimeter 88' 0\"", "ROOMS", "FLOOR AND COVER", "WALLS", "TO BUY",
        "PRICES", "MONEY", "ORDER BY", "CREW DAYS", "OPENING", "carriers", "even chance by", "four in five by",
    ):  # fmt: skip
        assert part in page
    assert max(len(line) for line in page.splitlines()) < 180
    assert not re.search(r"\d{4}-\d{2}-\d{2}", page)  # people read days and months, files year-month-day


@pytest.mark.xdist_group("chain")
def test_json_holds_every_result_with_sorted_keys(capsys: pytest.CaptureFixture[str]) -> None:
    text = compute(capsys, str(PLAIN), json=True)
    result = from_json(ChainResult, text)
    assert to_json(result).decode() == text.rstrip("\n")
    document = json.loads(text)
    assert list(document) == sorted(document)
    assert abs(result.plans[0].floor_area / 304.8**2 - 20 * 24) < 1  # the room is 20 × 24 ft


@pytest.mark.xdist_group("chain")
def test_today_moves_the_plan(capsys: pytest.CaptureFixture[str]) -> None:
    page = compute(capsys, str(PLAIN), today="2027-06-14")
    assert "Worked out for Mon 14 Jun 2027" in page


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b'{"plan": ', "cut short"),
        (b'{"plan": {}}', "/plan/name"),
        (b"[" * 10_000, "levels deep"),
        (b'{"format": "other"}', "/format"),
    ],
)
def test_a_bad_file_is_refused_with_its_pointer(tmp_path: Path, content: bytes, says: str) -> None:
    file = tmp_path / "bad.json"
    file.write_bytes(content)
    with pytest.raises(CommandError) as caught:
        call_command("compute", str(file))
    assert caught.value.returncode == 2
    assert says in str(caught.value)


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    file = tmp_path / "huge.json"
    with file.open("wb") as out:
        out.truncate(100_000_000)
    with pytest.raises(CommandError, match="100 MB"):
        call_command("compute", str(file))


def test_no_such_file_and_no_file_at_all(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="There is no file") as caught:
        call_command("compute", str(tmp_path / "missing.json"))
    assert caught.value.returncode == 2
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("compute", str(tmp_path))


@pytest.mark.xdist_group("chain")
def test_a_plan_with_a_stop_is_printed_and_exits_with_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    document = json.loads(PLAIN.read_text(encoding="utf-8"))
    document["plan"]["rooms"][0]["readings"] = []
    file = tmp_path / "unmeasured.json"
    file.write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(SystemExit) as stopped:
        call_command("compute", str(file))
    assert stopped.value.code == 1
    assert "STOPS" in capsys.readouterr().out


def test_an_unclear_day_is_refused() -> None:
    with pytest.raises(CommandError, match="such as 2027-02-01"):
        call_command("compute", str(PLAIN), today="next week")


@pytest.mark.xdist_group("chain")
def test_the_command_needs_no_database_and_leaves_none(tmp_path: Path) -> None:
    """Run as a person does, with a data folder that holds nothing; afterwards it holds no database either."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("BUILDOUT", "DJANGO"))}
    environment |= {"BUILDOUT_DATA": str(tmp_path / "data"), "PYTHONHASHSEED": "1"}
    command = [sys.executable, str(ROOT / "manage.py"), "compute", str(PLAIN), "--json"]
    first = subprocess.run(command, env=environment, capture_output=True, cwd=tmp_path, check=False)
    assert first.returncode == 0, first.stderr.decode()
    kept = {path.name for path in (tmp_path / "data").rglob("*")}
    assert not {name for name in kept if "sqlite" in name or name.endswith(".db")}
    again = subprocess.run(
        command, env=environment | {"PYTHONHASHSEED": "2"}, capture_output=True, cwd=tmp_path, check=False
    )
    assert again.stdout == first.stdout, "the same file gives the same bytes, whatever the hash seed"
