"""Every system that ships, laid in the demo's hall with its columns, landing, aisle and gap, cut and counted.

Whatever is warned of is expected here by name and says what to do: a system that ships must not puzzle its owner.
"""

from __future__ import annotations

import copy
import json
from functools import cache
from importlib.resources import files
from typing import Any

import pytest

from buildout.changes.engine.build_file import Plan
from buildout.changes.engine.chain import room_layouts
from buildout.changes.engine.options import switched
from buildout.changes.engine.reading import check_plan
from buildout.changes.engine.starters import shipped_systems, with_shipped_system
from buildout.rooms.engine.plan import plan_room
from buildout.rooms.engine.survey import adjust
from buildout.rooms.engine.types import RoomPlan
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.screening import screen_floor, screen_fold_away
from estimating.engine.take_off import take_off
from estimating.engine.types import RoomLayouts
from tests.estimating.recount import second_way

LIP = "cover-lip"
"""The gap in the wall is walked on right across the welds of a 61 in cover."""
JOINTS = "floor-rule-joints"
"""Sheets of 48 in over mats or planks of another size cannot keep all joints 6 in apart."""
EXPECTED: dict[str, set[str]] = {
    "two-layer-51mm": {LIP}, "two-layer-38mm": {LIP}, "single-laminate": {LIP}, "interlocking": set(),
    "roll-out": set(), "heavy": set(), "judo": set(), "sprung": {JOINTS}, "sprung-two-layer": {LIP, JOINTS},
    "sprung-laminate": {LIP}, "sprung-tiles": set(), "sprung-roll-out": set(), "sprung-deck-alone": set(),
    "fold-4x8": set(),
}  # fmt: skip


def demo() -> dict[str, Any]:
    text = files("buildout.changes.engine").joinpath("data/demo.json").read_text(encoding="utf-8")
    plan: dict[str, Any] = json.loads(text)["plan"]
    return plan


@cache
def drawn() -> tuple[RoomPlan, ...]:
    return tuple(plan_room(room, adjust(room)) for room in check_plan(demo()).rooms)


def laid(section: str, system: str, **more: Any) -> tuple[Plan, RoomLayouts]:
    document, made, _ = with_shipped_system(copy.deepcopy(demo()), "feet-inches", section, system)
    document = switched(document, "hall", made)
    document["fitouts"][0] |= more
    plan = check_plan(document)
    return plan, room_layouts(plan, plan.fitouts[0], list(drawn()))


def test_none_is_left_out() -> None:
    found = shipped_systems("feet-inches")
    assert {key for part in ("floor_systems", "fold_away_systems") for key, _ in found[part]} == set(EXPECTED)
    metric = shipped_systems("metric")
    assert {part: len(systems) for part, systems in found.items()} == {part: len(s) for part, s in metric.items()}


@pytest.mark.parametrize("system", EXPECTED)
def test_laid_cut_and_counted_without_an_unexplained_warning(system: str) -> None:
    section = "fold_away_systems" if system == "fold-4x8" else "floor_systems"
    plan, layouts = laid(section, system)
    products = {product.id: product for product in plan.products}
    cuts = plan_cuts([layouts], products, plan.floor_systems, plan.wall_systems)
    counted = take_off(
        plan.rooms, list(drawn()), [layouts], cuts, plan.fitouts, plan.floor_systems, plan.wall_systems, products, [],
        {},
    )  # fmt: skip
    parts = [part for part in (layouts.floor, layouts.cover, layouts.fold_away) if part is not None]
    assert all(part.status in ("proven", "feasible") for part in parts)
    reasons = [reason for part in (*parts, cuts, counted) for reason in part.reasons if reason.severity != "note"]
    assert {reason.code for reason in reasons} == EXPECTED[system], [reason.text for reason in reasons]
    assert all(reason.todo for reason in reasons)
    assert counted.status in ("proven", "feasible")
    assert second_way(plan, drawn(), [layouts], cuts, counted)
    if layouts.floor is not None:
        named = {s.id: s for s in plan.floor_systems}[layouts.floor.system]
        bought = {line.item for line in counted.lines if line.quantity > 0}
        asked = {layer.product for layer in named.layers} | {named.frame, named.ramp, named.tape} - {""}
        assert asked <= bought
        screened = screen_floor(drawn()[0], named, layouts.floor, products)
        assert [edge.edge for edge in screened.edges] == [s.id for s in layouts.floor.sides if s.against == "open"]
        assert all(edge.run_stated > 0 for edge in screened.edges), "nobody stubs a toe on a system that ships"
        assert screened.mass > 0


def test_fold_away_mats_on_a_sprung_deck() -> None:
    """The deck of 4 in stays, mats lie on it: the step at the landing is deck and mat together."""
    plan, layouts = laid("floor_systems", "sprung-deck-alone", fold_away="fold-4x8")
    assert layouts.floor is not None
    assert layouts.fold_away is not None
    assert layouts.fold_away.count > 0
    products = {product.id: product for product in plan.products}
    mat = products[layouts.fold_away.product]
    system = next(s for s in plan.floor_systems if s.id == layouts.floor.system)
    screened = screen_fold_away(drawn()[0], layouts.fold_away, mat, layouts.floor, system)
    thickness = float(mat.thickness or 0)
    assert [edge.rise for edge in screened.edges] == pytest.approx([4 * 25.4 + thickness] * len(screened.edges))
    assert {edge.run_stated for edge in screened.edges} == {26 * 25.4}
    alone = screen_fold_away(drawn()[0], layouts.fold_away, mat)
    assert [edge.rise for edge in alone.edges] == pytest.approx([thickness] * len(screened.edges))
    assert {edge.run_stated for edge in alone.edges} == {0.0}
