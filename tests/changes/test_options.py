"""Systems beside each other: each column is what the chain itself gives for that plan."""

from __future__ import annotations

import json
from decimal import Decimal
from importlib.resources import files
from typing import Any

import msgspec
import pytest

from buildout.changes.engine.build_file import BuildFile
from buildout.changes.engine.chain import MemoryStore, run_chain
from buildout.changes.engine.options import compare_systems, switched, with_system
from buildout.changes.engine.reading import check_plan, read_build_file
from buildout.changes.engine.starters import with_shipped_system
from buildout.changes.web.demo import demo_file
from estimating.engine.types import Pin


@pytest.fixture(scope="module")
def demo() -> BuildFile:
    file = read_build_file(demo_file())
    bare = msgspec.structs.replace(
        file.plan.floor_systems[0], id="no-cover", name="Two layers, taped, no cover", cover=None, hook_tape=""
    )
    single = msgspec.structs.replace(bare, id="single", name="One layer", layers=bare.layers[:1])
    plan = msgspec.structs.replace(file.plan, floor_systems=[*file.plan.floor_systems, bare, single])
    return msgspec.structs.replace(file, plan=plan)


def test_three_systems_of_the_hall(demo: BuildFile) -> None:
    store = MemoryStore()
    now = demo.plan.floor_systems[0].id
    found = compare_systems(demo.plan, demo.commitments, "hall", [now, "no-cover", "single"], store=store)
    first, bare, single = found.options
    assert (found.room, [o.current for o in found.options]) == ("hall", [True, False, False])
    # The first column is what the plan comes to as it stands, to the cent and the day.
    plain = run_chain(demo.plan, demo.commitments)
    ordered = sum((line.ordered for line in plain.budget.lines), Decimal(0))
    assert (first.total, first.cost_to_finish) == (plain.budget.total, plain.budget.total - ordered)
    assert (first.opening, first.p80) == (plain.schedule.opening, plain.forecast.p80)
    floor = plain.layouts[0].floor
    assert floor is not None
    assert (first.thickness, first.floor) == (floor.thickness, floor)
    # Leaving the cover out costs less, opens joints, and weighs less by its mass alone.
    assert bare.total < first.total
    assert first.open_joints == 0
    assert (first.mass or 0) > (bare.mass or 0) > 0
    assert (bare.thickness or 0) > (single.thickness or 0) > 0
    assert all(o.screening is not None and "not a certificate" in o.screening.caution for o in found.options)
    # The survey of every room was worked out once.
    assert store.computed.count("survey") == len(demo.plan.rooms)


def test_the_switch_drops_pins_of_the_old_floor(demo: BuildFile) -> None:
    pins = [
        Pin(id="a", layer="base", kind="direction", direction="x"),
        Pin(id="b", layer="walls", kind="line", wall="A-B"),
    ]
    fitouts = [msgspec.structs.replace(f, pins=pins) if f.room == "hall" else f for f in demo.plan.fitouts]
    plan = msgspec.structs.replace(demo.plan, fitouts=fitouts)
    fold = plan.fold_away_systems[0].id
    after = next(f for f in with_system(plan, "hall", fold).fitouts if f.room == "hall")
    assert (after.floor, after.fold_away, [p.id for p in after.pins]) == ("", fold, ["b"])
    assert with_system(plan, "hall", plan.fitouts[0].floor) == plan


def test_a_deck_stays_under_fold_away_mats_and_a_floor_takes_the_place_of_both() -> None:
    """Mats on a deck of timber: one option with the step of both; the deck by itself is another."""
    text = files("buildout.changes.engine").joinpath("data/demo.json").read_text(encoding="utf-8")
    document, deck, _ = with_shipped_system(
        json.loads(text)["plan"], "feet-inches", "floor_systems", "sprung-deck-alone"
    )
    fold = document["fold_away_systems"][0]["id"]
    document = switched(document, "hall", deck)
    on_it = switched(document, "hall", fold)
    assert check_plan(on_it) == with_system(check_plan(document), "hall", fold)

    def lies(plan: dict[str, Any]) -> tuple[str, str]:
        return plan["fitouts"][0].get("floor", ""), plan["fitouts"][0].get("fold_away", "")

    assert lies(on_it) == (deck, fold)
    assert lies(switched(on_it, "hall", deck)) == (deck, "")
    assert lies(switched(on_it, "hall", "judo")) == ("judo", "")
    assert lies(switched(switched(document, "hall", "judo"), "hall", fold)) == ("", fold)
    for system in (deck, fold, "judo"):
        assert check_plan(switched(on_it, "hall", system)) == with_system(check_plan(on_it), "hall", system)
    assert switched(on_it, "hall", fold) == on_it


@pytest.mark.parametrize(
    ("room", "systems", "says"),
    [
        ("attic", ["single", "no-cover"], "no fit-out for the room “attic”"),
        ("hall", ["single"], "2 to 5 systems"),
        ("hall", ["single"] * 6, "2 to 5 systems to compare, not 6"),
        ("hall", ["single", "single"], "chosen twice"),
        ("hall", ["single", "marble"], "no system “marble”"),
    ],
)
def test_bad_choices_are_named(demo: BuildFile, room: str, systems: list[str], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        compare_systems(demo.plan, demo.commitments, room, systems)
