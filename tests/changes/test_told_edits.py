"""What was edited, in words."""

from __future__ import annotations

import copy
import json
from importlib.resources import files
from typing import Any

import pytest

from buildout.changes.web.told_edits import ToldEdit, told_edits

Document = dict[str, Any]


@pytest.fixture
def plan() -> Document:
    text = files("buildout.changes.engine").joinpath("data/demo.json").read_text(encoding="utf-8")
    document: Document = json.loads(text)["plan"]
    return document


def test_entries_go_by_their_names_and_prices_read_as_typed(plan: Document) -> None:
    after = copy.deepcopy(plan)
    line = next(one for one in after["quotes"] if one["id"] == "cloudberry-1")["lines"][0]
    line["breaks"][0]["price"] = "92.40"
    after["crew"]["days"][0]["date"] = "2027-02-06"
    after["rooms"][0]["readings"][3]["value"] = "36' 1\""
    assert told_edits(plan, after) == [
        ToldEdit(
            "Crew › days › Strip and clean › date", "changed", "Sat 30 Jan 2027", "Sat 6 Feb 2027"
        ),
        ToldEdit(
            "Quotes › Cloudberry Foam Converters, cloudberry-1 › lines › Closed-cell base foam 2 in, 48 × 108 in › "
            "breaks", "changed",
            "1: 91.40; 24: 82.10; 60: 74.65", "1: 92.40; 24: 82.10; 60: 74.65",
        ),
        ToldEdit("Rooms › Main hall › readings › 4 › value", "changed", "36' 0 1/2\"", "36' 1\""),
    ]  # fmt: skip


def test_a_default_written_out_is_no_edit(plan: Document) -> None:
    after = copy.deepcopy(plan)
    after["quotes"][0]["tax_included"] = False
    after["quotes"][0]["lines"][0] |= {"pack": "1", "set_up": "0"}
    assert told_edits(plan, after) == []


def test_what_comes_and_goes_is_told_whole(plan: Document) -> None:
    after = copy.deepcopy(plan)
    gone = after["rooms"][0]["readings"].pop()
    added, removed = told_edits(plan, after), told_edits(after, plan)
    assert (added[0].kind, removed[0].kind) == ("removed", "added")
    assert (added[0].after, removed[0].before) == ("", "")
    assert f"end {gone['end']}" in added[0].before
    assert "{" not in added[0].before


def test_a_new_quote_reads_as_people_say_it(plan: Document) -> None:
    """By the seller's and the goods' names, without marks of the file's own and without what it says by default."""
    before = copy.deepcopy(plan)
    quote = before["quotes"].pop()
    assert quote["id"] == "copperhinge-1"
    told = told_edits(before, plan)
    goods = {product["id"]: product["name"] for product in plan["products"]}
    assert [(edit.label, edit.kind) for edit in told] == [("Quotes › Copperhinge Fixings, copperhinge-1", "added")]
    assert told[0].after.startswith("supplier Copperhinge Fixings, currency XXX, quoted Wed 13 Jan 2027, valid until")
    assert f"{goods['cleat']} at 19.40 each length" in told[0].after
    assert f"{goods['anchors']} at 22.75 each box" in told[0].after
    assert "freight (form flat, amount 18, service kerbside)" in told[0].after
    assert "copperhinge-1" not in told[0].after
    assert "per 100 lb" not in told[0].after, "nobody wrote that"


def test_a_document_of_another_version_is_still_compared() -> None:
    assert told_edits({"old_field": 1}, {"old_field": 2}) == [ToldEdit("Old field", "changed", "1", "2")]


def test_people_days_tasks_and_skills_go_by_their_names(plan: Document) -> None:
    """Those who signed up are in no plan: their first names are given, and who is gone is not named at all."""
    after = copy.deepcopy(plan)
    after["tasks"]["people"] = [{"task": "H03", "person": "s-1f"}, {"task": "D02", "person": "s-2f"}]
    after["tasks"]["pins"][0]["day"] = "paint"
    after["tasks"]["off"] = ["H04", "J04"]
    after["crew"]["helpers"] = [{"id": "ada", "name": "Ada", "skills": ["saw"], "days": ["paint"], "sure": "1"}]
    told = {edit.label: (edit.before, edit.after) for edit in told_edits(plan, after, {"s-1f": "Bram"})}
    assert told == {
        "Crew › helpers › Ada": ("", "name Ada, skills sawing, days Paint, sure 1"),
        "Tasks › off": ("H04 Cover warms and relaxes", "H04 Cover warms and relaxes, J04 Hooks and rails"),
        "Tasks › people › H03 Carry cover in": ("", "task H03 Carry cover in, person Bram"),
        "Tasks › people › D02 Light strip-out, nothing structural": (
            "",
            "task D02 Light strip-out, nothing structural, person somebody who is not on the list any more",
        ),
        "Tasks › pins › D02 Light strip-out, nothing structural › day": ("Strip and clean", "Paint"),
    }
