"""Roll goods sold in several widths: hand-solved choices, what they cost, and what the take-off makes of them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildout.units.lengths import Length
from estimating.engine.cut_parts import Wanted
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.cut_roll_plan import roll_plan
from estimating.engine.floor import lay_floor
from estimating.engine.roll_widths import cheapest_width, roll_cost, widths_of
from estimating.engine.take_off import take_off
from estimating.engine.types import (
    CutDemand,
    CutPiece,
    FoamLayer,
    MadeCut,
    Panel,
    Pin,
    Product,
    Remnant,
    RoomLayouts,
    WallElevation,
    WallLayout,
    WallSystem,
)

INCH = 25.4


def mm(value: float) -> Length:
    return Length(f"{value:g} mm", Decimal(str(value)))


def vinyl(name: str, width: float, price: float | None = None, **more: Any) -> Product:
    reckoned = None if price is None else Decimal(str(price))
    given = {"unit": "metre", "length": mm(30_000)} | more
    return Product(
        id=name, name=name, form="roll", head=11, width=mm(width), turns=False, reckoned_price=reckoned, **given
    )


def faces(count: int = 4, length: float = 2000, width: float = 650) -> Wanted:
    return Wanted(pieces=[CutDemand(piece=f"p{k}", length=length, width=width) for k in range(count)])


def chosen(plan: Any) -> set[str]:
    return {stock.product for stock in plan.stock}


def test_the_width_that_costs_least() -> None:
    """Four faces 2 m × 0.65 m. Two beside each other in 1.4 m goods: 4 m at 10. One by one in 0.7 m: 8 m at 4 or 6."""
    wide = vinyl("wide", 1400, 10)
    cheap = cheapest_width(wide, faces(), [vinyl("narrow", 700, 4)], [], [])
    assert (chosen(cheap), cheap.cost, cheap.cost_bound, cheap.status) == ({"narrow"}, 32, 32, "proven")
    assert (cheap.product, cheap.value) == ("wide", 8000)
    assert "which costs least by its reckoned price" in cheap.reasons[-1].text
    dear = cheapest_width(wide, faces(), [vinyl("narrow", 700, 6)], [], [])
    assert (chosen(dear), dear.cost, dear.value) == ({""}, 40, 4000)


def test_without_a_price_the_area_decides() -> None:
    """4 m × 1.4 m are 5.6 m², 8 m × 0.69 m are 5.52 m²; sold by the roll of 30 m, one of each: 42 against 20.7 m²."""
    plan = cheapest_width(vinyl("wide", 1400), faces(), [vinyl("narrow", 690)], [], [])
    assert chosen(plan) == {"narrow"}
    assert "not every width has a reckoned price" in plan.reasons[-1].text
    wide, narrow = vinyl("wide", 1400, unit="roll"), vinyl("narrow", 690, unit="roll")
    areas = [roll_cost(one, roll_plan(one, faces()), priced=False)[0] / 1e6 for one in (wide, narrow)]
    assert areas == pytest.approx([42.0, 20.7])


def test_units_a_price_is_for() -> None:
    """8 m off a roll 0.7 m wide: 8.75 yd, 26.25 ft, 5.6 m² or one roll of 30 m."""
    for unit, amount in [
        ("running yard", 8.749), ("running foot", 26.247), ("metre", 8), ("square metre", 5.6), ("roll", 1),
    ]:  # fmt: skip
        one = vinyl("narrow", 700, 1, unit=unit)
        assert roll_cost(one, roll_plan(one, faces()), priced=True)[0] == pytest.approx(amount, abs=0.001)


def test_a_width_that_is_too_narrow_is_out_and_none_that_fits_is_named() -> None:
    plan = cheapest_width(vinyl("wide", 1400, 10), faces(width=800), [vinyl("narrow", 700, 1)], [], [])
    assert (chosen(plan), plan.status) == ({""}, "proven")
    none = cheapest_width(vinyl("wide", 1400), faces(width=1500), [vinyl("narrow", 700)], [], [])
    assert none.status == "infeasible"
    assert {reason.code for reason in none.reasons} == {"piece larger than stock"}
    assert cheapest_width(vinyl("wide", 1400), faces(width=1500), [vinyl("wider", 1600)], [], []).status != "infeasible"


def test_a_roll_that_was_begun_is_gone_on_with() -> None:
    """Two faces were cut from the wide roll: the other two come off it too, though narrow goods would cost less."""
    pieces = [CutPiece(piece=f"p{k}", x=0.0, y=650.0 * k, length=2000.0, width=650.0) for k in range(2)]
    made = MadeCut(id="cut 1", product="wide", length=2000, width=1400, pieces=pieces)
    plan = cheapest_width(vinyl("wide", 1400, 10), faces(), [vinyl("narrow", 700, 1)], [], [made])
    assert chosen(plan) == {""}
    assert plan.value == 4000
    kept = Remnant(id="r1", product="wide", length=mm(2100), width=mm(1400))
    mixed = cheapest_width(vinyl("wide", 1400, 10), faces(), [vinyl("narrow", 700, 1)], [kept], [])
    assert {(s.source, s.product) for s in mixed.stock} == {("remnant", ""), ("new", "narrow")}


@settings(max_examples=30)
@given(
    sizes=st.lists(st.tuples(st.integers(300, 2500), st.integers(200, 700)), min_size=1, max_size=6),
    prices=st.tuples(*[st.integers(1, 30)] * 3),
)
def test_no_single_width_costs_less(sizes: list[tuple[int, int]], prices: tuple[int, int, int]) -> None:
    goods = [vinyl(f"w{width}", width, price) for width, price in zip((1400, 1000, 700), prices, strict=True)]
    need = Wanted(pieces=[CutDemand(piece=f"p{k}", length=a, width=b) for k, (a, b) in enumerate(sizes)])
    plan = cheapest_width(goods[0], need, goods[1:], [], [])
    assert plan.cost == pytest.approx(min(roll_cost(one, roll_plan(one, need), priced=True)[0] for one in goods))
    assert plan.cost_bound <= plan.cost
    assert sorted(p.piece for s in plan.stock for p in s.pieces) == sorted(d.piece for d in need.pieces)
    assert plan.used_area + plan.waste_area == pytest.approx(sum(s.length * s.width for s in plan.stock), abs=0.01)


def test_the_take_off_asks_for_the_width_that_is_cut() -> None:
    """Four faces of 2 m × 0.65 m: 5.2 m² net move from the wide goods, all of it, to 8 m of the narrow ones."""
    panels = [
        Panel(
            id=f"P{k}", wall="A-B", kind="full", start=650.0 * k, width=600, bottom=70, height=1900, board=(1900, 600),
            face=(2000, 650),
        )
        for k in range(4)
    ]  # fmt: skip
    elevation = WallElevation(wall="A-B", length=2600, panels=panels, free=[], cleat_length=0.0, cap_length=0.0)
    walls = WallLayout(
        room="hall", system="panels", status="feasible", elevations=[elevation], wraps=[], full_count=4, low_count=0,
        special_count=0, panel_run=2400, panel_area=4.56e6, reasons=[],
    )  # fmt: skip
    system = WallSystem(
        id="panels", name="Panels", board="", foam="", face="wide", module=mm(600), height=mm(1900), low_height=mm(900),
        thickness=mm(50), bottom=mm(70), narrowest_end=mm(300), reveal=mm(20), foam_edge=mm(3), turn_back_side=mm(25),
        turn_back_end=mm(50),
    )  # fmt: skip
    goods = {p.id: p for p in (vinyl("wide", 1400, 10, also_sold=["narrow"]), vinyl("narrow", 700, 4))}
    rooms = [RoomLayouts(room="hall", walls=walls)]
    cuts = plan_cuts(rooms, goods, [], [system])
    counted = take_off([], [], rooms, cuts, [], [], [system], goods, [], {})
    lines = {line.item: line for line in counted.lines}
    assert (lines["narrow"].quantity, lines["wide"].quantity) == (8, 0)
    assert float(lines["narrow"].net) == pytest.approx(5.2 / 0.7, abs=0.01)
    assert lines["narrow"].waste == lines["narrow"].quantity - lines["narrow"].net
    assert any("4 pieces of wide" in step.text for step in lines["narrow"].trace)
    by_roll = goods | {"narrow": msgspec.structs.replace(goods["narrow"], unit="roll", reckoned_price=Decimal(30))}
    cuts = plan_cuts(rooms, by_roll, [], [system])
    counted = take_off([], [], rooms, cuts, [], [], [system], by_roll, [], {})
    assert {line.item: line.quantity for line in counted.lines} == {"narrow": 1, "wide": 0}


# ---------------------------------------------------------------- floors


def laid(rooms: Any, systems: Any, prices: tuple[float | None, float | None], pins: list[Pin] | None = None) -> Any:
    """A field of 120 × 96 in from goods 54 or 48 in wide, sold by the metre: two strips of 120 in either way."""
    layers = [FoamLayer(product="top", role="top", direction="x")]
    system = msgspec.structs.replace(systems.floor(layers=layers, frame=False), cover=None)
    products = systems.products()
    known = [None if p is None else Decimal(str(p)) for p in prices]
    own = msgspec.structs.replace(products["top"], unit="metre", reckoned_price=known[0], also_sold=["top-48"])
    products["top"] = own
    products["top-48"] = msgspec.structs.replace(
        own, id="top-48", name="Top 48", width=systems.inches(48), reckoned_price=known[1], also_sold=[]
    )
    return lay_floor(rooms.rectangle(121, 97), system, products, pins or [])


def test_a_floor_is_laid_in_the_width_that_costs_least(rooms: Any, systems: Any) -> None:
    """6.096 m of either width. By area 48 in is less; at 5 and 4 it costs less too; at 4 and 5 it costs more."""
    assert laid(rooms, systems, (None, None)).layers[0].product == "top-48"
    assert laid(rooms, systems, (5, 4)).layers[0].product == "top-48"
    layout = laid(rooms, systems, (4, 5))
    assert layout.layers[0].product == "top"
    told = next(reason for reason in layout.reasons if reason.code == "roll width")
    assert "is taken 4' 6\" (1372 mm) wide" in told.text
    assert "24.38" in told.text  # 6.096 × 4
    assert "30.48" in told.text  # 6.096 × 5


def test_a_pinned_width_is_kept(rooms: Any, systems: Any) -> None:
    pin = Pin(id="1", layer="top", kind="product", product="top")
    layout = laid(rooms, systems, (5, 4), [pin])
    assert layout.layers[0].product == "top"
    assert not [reason for reason in layout.reasons if reason.code in ("roll width", "pin-refused")]


def test_only_widths_of_the_same_kind_count() -> None:
    goods = {p.id: p for p in (vinyl("a", 1400, also_sold=["b", "gone", "a", "sheet"]), vinyl("b", 700))}
    goods["sheet"] = Product(id="sheet", name="Sheet", form="sheet", unit="sheet", head=8, width=mm(700))
    assert [one.id for one in widths_of(goods["a"], goods)] == ["a", "b"]
