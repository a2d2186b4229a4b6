"""The default task table: complete, consistent, and refused when it is not."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from scheduling.engine.cautions import CAUTIONS, texts
from scheduling.engine.template import TemplateRow, check_template, default_template, find_loop, read_after
from scheduling.engine.types import Lag

BY_CODE = {row.code: row for row in default_template()}


def test_every_stage_of_the_table_is_there() -> None:
    counts: dict[str, int] = {}
    for code in BY_CODE:
        counts[code[0]] = counts.get(code[0], 0) + 1
    # Counted by hand in the table: A 7, B 10, C 13, D 9, E 8, F 8, G 17, H 10, W 17, J 14, K 4, L 12.
    assert counts == {
        "A": 7, "B": 10, "C": 13, "D": 9, "E": 8, "F": 8, "G": 17, "H": 10, "W": 17, "J": 14, "K": 4, "L": 12,
    }  # fmt: skip


def test_the_table_passes_its_own_checks() -> None:
    assert check_template(default_template()) == []


def test_some_rows_as_written() -> None:
    row = BY_CODE["H10"]
    assert (row.kind, row.low, row.likely, row.high, row.crew_min, row.crew_max) == ("fixed", 1, 2, 3, 4, 12)
    assert row.after == [Lag(task="H08", minutes=7 * 24 * 60), Lag(task="H09")]
    assert BY_CODE["F05"].after == [Lag(task="F04", minutes=60, from_start=True)]
    assert BY_CODE["D09"].after == [Lag(task="D08", minutes=720)]
    assert BY_CODE["D02"].cautions == ["DUST", "ASB", "LEAD"]
    assert BY_CODE["L12"].after == [Lag(task="L10", minutes=90 * 24 * 60)]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"low": 9.0, "likely": 3.0}, "not in order"),
        ({"low": 0.0, "likely": 0.0, "high": 0.0}, "never finishes"),
        ({"crew_min": 5, "crew_max": 2}, "crew 5 to 2"),
        ({"after": [Lag(task="Z99")]}, "Z99, which does not exist"),
        ({"cautions": ["NOPE"]}, "unknown caution"),
        ({"skills": ["magic"]}, "unknown skill"),
    ],
)
def test_a_wrong_row_is_refused_with_its_code_and_a_way_out(change: dict[str, object], words: str) -> None:
    rows = [replace(row, **change) if row.code == "W11" else row for row in default_template()]
    faults = check_template(rows)
    assert [fault.where for fault in faults] == ["W11"]
    assert words in faults[0].text
    assert faults[0].todo


def test_a_code_used_twice_is_refused() -> None:
    assert "used twice" in check_template([*default_template(), BY_CODE["A01"]])[0].text


def test_a_ring_is_named() -> None:
    def ringed(row: TemplateRow) -> TemplateRow:
        return replace(row, after=[Lag(task="A04")]) if row.code == "A01" else row

    faults = check_template(map(ringed, default_template()))
    assert [fault.code for fault in faults] == ["loop"]
    assert faults[0].text.endswith("A01 → A04 → A02 → A01")


def test_no_ring_in_a_diamond() -> None:
    assert find_loop({"A": [], "B": ["A"], "C": ["A"], "D": ["B", "C"]}) == []


@pytest.mark.parametrize("text", ["", "A01+", "A01+4", "SS:", "A01+4w", "A01 A02"])
def test_unclear_predecessors_are_refused_with_an_example(text: str) -> None:
    with pytest.raises(ValueError, match=r"A01\+4h"):
        read_after(text)


def test_cautions_have_no_source_marks_and_are_all_used_or_general() -> None:
    assert len(CAUTIONS) == 22
    assert not [text for text in CAUTIONS.values() if "[" in text]
    assert texts(["TRIP", "NOPE"]) == [CAUTIONS["TRIP"]]
