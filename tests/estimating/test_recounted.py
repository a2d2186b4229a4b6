"""Every take-off line counted a second way; a line, or a place of the take-off, without a second way fails here.

The systems that ship are recounted where they are laid in the demo's hall, in the tests of changes; here are the demo
itself and what its systems leave out.
"""

from __future__ import annotations

import ast
import inspect
import json
import sys
from decimal import Decimal
from functools import cache
from importlib.resources import files
from typing import Any

import msgspec
import pytest

from buildout.changes.engine.build_file import Plan
from buildout.changes.engine.chain import room_layouts
from buildout.changes.engine.reading import check_plan
from buildout.rooms.engine.plan import plan_room
from buildout.rooms.engine.survey import adjust
from buildout.rooms.engine.types import RoomPlan
from buildout.units.lengths import Length
from estimating.engine import take_off as engine
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.take_off import take_off
from estimating.engine.types import CutPlans, FoamLayer, Product, Remnant, RoomLayouts, TakeOff
from tests.estimating.recount import BY_CUTS, WAYS, Room, second_way


@cache
def demo() -> str:
    return files("buildout.changes.engine").joinpath("data/demo.json").read_text(encoding="utf-8")


@cache
def drawn() -> tuple[RoomPlan, ...]:
    return tuple(plan_room(room, adjust(room)) for room in check_plan(json.loads(demo())["plan"]).rooms)


def counted(plan: Plan) -> tuple[list[RoomLayouts], CutPlans, TakeOff]:
    plans = list(drawn())
    layouts = [room_layouts(plan, fitout, plans) for fitout in plan.fitouts]
    products = {product.id: product for product in plan.products}
    cuts = plan_cuts(layouts, products, plan.floor_systems, plan.wall_systems, plan.remnants)
    found = take_off(
        plan.rooms, plans, layouts, cuts, plan.fitouts, plan.floor_systems, plan.wall_systems, products, plan.needs,
        plan.quantities,
    )  # fmt: skip
    return layouts, cuts, found


def with_everything() -> Plan:
    """The demo with what its systems leave out: glue between the layers, staples at tape and panels."""
    plan = check_plan(json.loads(demo())["plan"])
    more = [
        Product(id="glue", name="Glue", form="volume", unit="litre", head=8, spread=Decimal(5)),
        Product(id="hook-staples", name="Staples", form="each", unit="box", per_pack=1000, head=8),
        Product(id="panel-staples", name="Staples", form="each", unit="box", per_pack=5000, head=11),
    ]
    floors = []
    for system in plan.floor_systems:
        layers: list[FoamLayer] = [msgspec.structs.replace(one, adhesive="glue") if one.role == "top" else one
                                   for one in system.layers]  # fmt: skip
        floors.append(msgspec.structs.replace(system, layers=layers, staples="hook-staples"))
    walls = [msgspec.structs.replace(system, staples="panel-staples") for system in plan.wall_systems]
    return msgspec.structs.replace(plan, products=[*plan.products, *more], floor_systems=floors, wall_systems=walls)


def without_a_cover() -> Plan:
    """Hook tape along the frame, for a cover that somebody else makes."""
    plan = with_everything()
    floors = [msgspec.structs.replace(system, cover=None, staples="") for system in plan.floor_systems]
    return msgspec.structs.replace(plan, floor_systems=floors)


def from_other_sizes() -> Plan:
    """Base sheets also sold smaller, strips also narrower, one of each already in stock, a need that is too large."""
    plan = check_plan(json.loads(demo())["plan"])
    products = []
    for product in plan.products:
        if product.id == "base-51mm":
            other = msgspec.structs.replace(product, id="base-small", name="Base, small", length=Length.read("4'"))
            products.append(other)
            product = msgspec.structs.replace(product, also_sold=["base-small"])
        if product.id == "vinyl":
            wide = msgspec.structs.replace(product, id="vinyl-wide", name="Vinyl, wide", width=Length.read('61"'))
            products.append(wide)
            product = msgspec.structs.replace(product, also_sold=["vinyl-wide"])
        products.append(product)
    kept = [Remnant(id="kept", product="base-51mm", length=Length.read("7'"), width=Length.read("4'"))]
    return msgspec.structs.replace(plan, products=products, remnants=kept)


@cache
def worked_out(name: str) -> tuple[Plan, list[RoomLayouts], CutPlans, TakeOff, set[int]]:
    """One case, and lines of the take-off that put something in."""
    made = {"all of it": with_everything, "no cover": without_a_cover, "other sizes": from_other_sizes,
            "demo": lambda: check_plan(json.loads(demo())["plan"])}  # fmt: skip
    plan = made[name]()
    called: set[int] = set()
    real = engine._Counter.add

    def noted(*given: Any, **more: Any) -> None:
        called.add(sys._getframe(1).f_lineno)
        real(*given, **more)

    engine._Counter.add = noted  # type: ignore[assignment, method-assign]
    try:
        layouts, cuts, found = counted(plan)
    finally:
        engine._Counter.add = real  # type: ignore[method-assign]
    return plan, layouts, cuts, found, called


def met_by(case: str) -> set[str]:
    plan, layouts, cuts, found, _ = worked_out(case)
    return second_way(plan, drawn(), layouts, cuts, found)


CASES = ["demo", "all of it", "no cover", "other sizes"]


@pytest.mark.parametrize("case", CASES)
def test_every_line_is_counted_a_second_way(case: str) -> None:
    assert met_by(case) >= BY_CUTS


def test_no_kind_of_line_is_left_out() -> None:
    """Every way is used, and every place of the take-off that adds an amount was passed by one of the cases."""
    met = set().union(*(met_by(case) for case in CASES))
    assert met == {*WAYS, *BY_CUTS, "stated need"}
    passed = set().union(*(worked_out(case)[4] for case in CASES))
    calls = [
        node for node in ast.walk(ast.parse(inspect.getsource(engine)))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "add"
    ]  # fmt: skip
    assert len(calls) > 15
    for call in calls:
        assert any(call.lineno <= line <= (call.end_lineno or 0) for line in passed), f"line {call.lineno} never ran"


@pytest.mark.parametrize("kind", sorted(WAYS))
def test_a_recount_two_per_cent_off_is_noticed(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    real = WAYS[kind]

    def off(room: Room, which: str) -> tuple[float, float]:
        net, allowance = real(room, which)
        return net * 1.02, allowance * (1.0 if net else 1.02)

    monkeypatch.setitem(WAYS, kind, off)
    with pytest.raises(AssertionError):
        met_by("all of it")
