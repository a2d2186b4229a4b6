"""Systems beside each other: each column is what the chain itself gives for that plan."""

from __future__ import annotations

from decimal import Decimal

import msgspec
import pytest

from buildout.changes.engine.build_file import BuildFile
from buildout.changes.engine.chain import MemoryStore, run_chain
from buildout.changes.engine.options import compare_systems, with_system
from buildout.changes.engine.reading import read_build_file
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
    switched = next(f for f in with_system(plan, "hall", fold).fitouts if f.room == "hall")
    assert (switched.floor, switched.fold_away, [p.id for p in switched.pins]) == ("", fold, ["b"])
    assert with_system(plan, "hall", plan.fitouts[0].floor) == plan


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
