"""Edits between two versions of a plan, and carrying them over to a third."""

from __future__ import annotations

import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildout.changes.engine.edits import ConflictError, carry_over, edits_between

BASE = {
    "name": "Hall",
    "rooms": [
        {"id": "hall", "readings": [{"id": "1", "value": "10 ft"}, {"id": "2", "value": "20 ft"}]},
        {"id": "office", "readings": []},
    ],
    "quotes": [{"id": "q", "lines": [{"item": "ply", "breaks": [{"start": "1", "price": "9"}]}]}],
}


def edited(change):
    """A copy of BASE with one change made."""
    document = copy.deepcopy(BASE)
    change(document)
    return document


def test_nothing_changed_is_no_edit():
    assert edits_between(BASE, copy.deepcopy(BASE)) == []


def test_a_reading_is_named_not_counted():
    after = edited(lambda d: d["rooms"][0]["readings"][1].update(value="21 ft"))
    [edit] = edits_between(BASE, after)
    assert (edit.label, edit.kind, edit.old, edit.new) == (
        "rooms › hall › readings › 2 › value",
        "changed",
        "20 ft",
        "21 ft",
    )


def test_inserting_at_the_front_is_one_edit():
    after = edited(lambda d: d["rooms"][0]["readings"].insert(0, {"id": "0", "value": "5 ft"}))
    assert [(e.kind, e.path[-1]) for e in edits_between(BASE, after)] == [("added", "0")]


def test_order_alone_is_an_edit_of_the_list():
    after = edited(lambda d: d["rooms"].reverse())
    assert [(e.kind, e.label) for e in edits_between(BASE, after)] == [("changed", "rooms")]


def test_lists_without_names_are_compared_whole():
    after = edited(lambda d: d["quotes"][0]["lines"][0]["breaks"].append({"start": "10", "price": "8"}))
    [edit] = edits_between(BASE, after)
    assert edit.label == "quotes › q › lines › ply › breaks"


def test_edits_in_different_places_meet():
    mine = edited(lambda d: d["rooms"][0]["readings"][0].update(value="11 ft"))
    theirs = edited(lambda d: d["rooms"][0]["readings"].pop(1))
    both = carry_over(BASE, mine, theirs)
    assert both["rooms"][0]["readings"] == [{"id": "1", "value": "11 ft"}]


def test_the_same_edit_twice_is_no_conflict():
    mine = edited(lambda d: d.update(name="Dojo"))
    assert carry_over(BASE, mine, copy.deepcopy(mine)) == mine


def test_two_values_for_one_place_are_named():
    mine = edited(lambda d: d["rooms"][0]["readings"][0].update(value="11 ft"))
    theirs = edited(lambda d: d["rooms"][0]["readings"][0].update(value="12 ft"))
    with pytest.raises(ConflictError) as caught:
        carry_over(BASE, mine, theirs)
    assert caught.value.labels == ["rooms › hall › readings › 1 › value"]


def test_editing_what_was_taken_out_is_a_conflict():
    mine = edited(lambda d: d["rooms"][0]["readings"][0].update(value="11 ft"))
    theirs = edited(lambda d: d["rooms"].pop(0))
    with pytest.raises(ConflictError):
        carry_over(BASE, mine, theirs)


def test_taking_out_what_was_edited_is_a_conflict():
    mine = edited(lambda d: d["rooms"][0]["readings"].pop(0))
    theirs = edited(lambda d: d["rooms"][0]["readings"][0].update(value="12 ft"))
    with pytest.raises(ConflictError):
        carry_over(BASE, mine, theirs)


def test_adding_to_an_empty_list():
    mine = edited(lambda d: d["rooms"][1]["readings"].append({"id": "9", "value": "3 ft"}))
    assert carry_over(BASE, mine, BASE)["rooms"][1]["readings"] == [{"id": "9", "value": "3 ft"}]


entries = st.lists(
    st.fixed_dictionaries({"id": st.sampled_from("abcdef"), "v": st.integers(0, 3)}),
    max_size=5,
    unique_by=lambda e: e["id"],
)
documents = st.fixed_dictionaries({"n": st.integers(0, 2), "list": entries})


@given(documents, documents)
def test_carried_onto_its_own_base_an_edit_gives_itself(base, after):
    """Up to the order of entries, which edits by name do not keep."""

    def sorted_entries(document):
        return {**document, "list": sorted(document["list"], key=lambda e: e["id"])}

    base, after = sorted_entries(base), sorted_entries(after)
    assert sorted_entries(carry_over(base, after, base)) == after


@given(documents, documents)
def test_carrying_over_leaves_its_inputs_alone(base, after):
    kept = copy.deepcopy((base, after))
    try:
        carry_over(base, after, after)
    except ConflictError:
        pytest.fail("an edit already made cannot conflict")
    assert (base, after) == kept
