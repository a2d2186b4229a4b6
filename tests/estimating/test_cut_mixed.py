"""Several stock sizes, remnants, cuts already made, rips before crosscuts, cutting order; hand-solved cases."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildout.units.lengths import Length
from estimating.engine.cut_mixed import mixed_plan
from estimating.engine.cut_order import cutting_order, free_rectangles
from estimating.engine.cut_parts import Wanted
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.take_off import take_off
from estimating.engine.types import (
    CutDemand,
    CutPiece,
    CutPlan,
    FloorLayout,
    FloorSystem,
    FramePiece,
    MadeCut,
    Need,
    Product,
    Remnant,
    RoomLayouts,
)

FOOT = 304.8


def mm(value: float) -> Length:
    return Length(f"{value:g} mm", Decimal(str(value)))


def product(id_: str, form: str, **more: Any) -> Product:
    sizes = {k: mm(v) if k in ("length", "width", "kerf", "trim", "thickness") else v for k, v in more.items()}
    return Product(id=id_, name=id_, form=form, unit=form if form != "length" else "length", head=8, **sizes)  # type: ignore[arg-type]


def lengths(*sizes: float) -> Wanted:
    return Wanted(pieces=[CutDemand(piece=f"p{k}", length=s, width=0.0) for k, s in enumerate(sizes)])


def adds_up(plan: CutPlan, extra: float = 0.0) -> None:
    """Pieces and all waste are the stock; ``extra``: stock that is itself a part of other stock here."""
    flat = plan.form == "length"
    total = sum(s.length * (1 if flat else s.width) for s in plan.stock) - extra
    assert plan.used_area + plan.waste_area == pytest.approx(total, abs=0.01)
    assert plan.waste_area == pytest.approx(plan.offcut_area + plan.kerf_area + plan.scrap_area, abs=0.01)


def test_the_cheaper_mix_of_two_lengths() -> None:
    # Six pieces of 2 m. 4 m at 10 holds two: 30. 6 m at 14 holds three: 28. A mix is dearer than two of 6 m.
    short = product("short", "length", length=4000, reckoned_price=Decimal(10))
    long = product("long", "length", length=6000, reckoned_price=Decimal(14))
    plan = mixed_plan(short, lengths(*[2000] * 6), [long], [], [])
    assert (plan.status, plan.cost, plan.cost_bound) == ("proven", 2800, 2800)
    assert [s.product for s in plan.stock] == ["long", "long"]
    # One piece more: two of 4 m and one of 6 m, 34, beat three of 6 m at 42 and two of 6 m with one of 4 m at 38.
    seven = mixed_plan(short, lengths(*[2000] * 7), [long], [], [])
    assert (seven.status, seven.cost) == ("proven", 3400)
    assert sorted(s.product for s in seven.stock) == ["", "", "long"]
    adds_up(seven)


def test_a_remnant_is_used_first() -> None:
    bar = product("bar", "length", length=4000)
    kept = [Remnant(id="r1", product="bar", length=mm(2100)), Remnant(id="r2", product="bar", length=mm(900))]
    plan = mixed_plan(bar, lengths(2000, 2000, 2000), [], kept, [])
    # The remnant of 2.1 m takes one piece, one new bar the other two.
    assert (plan.value, plan.bound, plan.status) == (1, 1, "proven")
    assert [(s.source, s.taken, len(s.pieces)) for s in plan.stock] == [("remnant", "r1", 1), ("new", "", 2)]
    adds_up(plan)


def test_what_was_cut_stays_and_its_rest_is_used() -> None:
    bar = product("bar", "length", length=4000)
    done = MadeCut(
        id="m1", product="bar", length=4000.0, width=0.0,
        pieces=[
            CutPiece(piece="p0", x=0, y=0, length=1500, width=0),
            CutPiece(piece="old", x=1500, y=0, length=1200, width=0),
        ],
    )  # fmt: skip
    plan = mixed_plan(bar, lengths(1500, 1200, 1300, 4000), [], [], [done])
    # p0 is there; "old" is no longer wanted and gives p1 its 1.2 m; the rest of 1.3 m gives p2; p3 takes a new bar.
    assert [s.source for s in plan.stock] == ["already cut", "remnant", "remnant", "new"]
    assert [p.piece for p in plan.stock[0].pieces] == ["p0"]
    assert sorted(p.piece for s in plan.stock[1:3] for p in s.pieces) == ["p1", "p2"]
    assert (plan.value, plan.status) == (2, "proven")
    adds_up(plan, extra=2500)


def test_rips_before_crosscuts() -> None:
    # 96 × 48: a 48 × 24 turned upright beside two lying ones could share a sheet with free cuts, not with rips first.
    sheet = product("ply", "sheet", length=96, width=48, turns=True)
    need = Wanted(
        pieces=[CutDemand(piece=f"p{k}", length=a, width=b) for k, (a, b) in enumerate([(48, 32), (64, 24), (64, 24)])]
    )
    anyhow = mixed_plan(sheet, need, [], [Remnant(id="tiny", product="ply", length=mm(5), width=mm(5))], [])
    strips = mixed_plan(msgspec.structs.replace(sheet, cuts="rips, then crosscuts"), need, [], [], [])
    assert (anyhow.value, anyhow.status) == (1, "proven")
    assert (strips.value, strips.status) == (2, "proven")
    adds_up(strips)


def test_order_of_cuts_and_numbers() -> None:
    pieces = [
        CutPiece(piece="a", x=0, y=0, length=60, width=20), CutPiece(piece="b", x=61, y=0, length=35, width=20),
        CutPiece(piece="c", x=0, y=21, length=96, width=10),
    ]  # fmt: skip
    made, cuts = cutting_order(96, 48, pieces, first="rip", kerf=1)
    assert [(c.kind, c.a, c.b, c.frees) for c in cuts] == [
        ("rip", (0, 20), (96, 20), []),
        ("rip", (0, 31), (96, 31), ["c"]),
        ("crosscut", (60, 0), (60, 20), ["a", "b"]),
    ]
    assert [(p.number, p.piece) for p in made] == [(1, "c"), (2, "a"), (3, "b")]
    assert free_rectangles(96, 48, pieces, 1, first="rip") == [(0, 32, 96, 16)]


def test_pieces_in_a_pinwheel_cannot_be_cut() -> None:
    wheel = [
        CutPiece(piece="a", x=0, y=0, length=2, width=1), CutPiece(piece="b", x=2, y=0, length=1, width=2),
        CutPiece(piece="c", x=1, y=2, length=2, width=1), CutPiece(piece="d", x=0, y=1, length=1, width=2),
    ]  # fmt: skip
    with pytest.raises(ValueError, match="no straight cut parts a, b, c, d"):
        cutting_order(3, 3, wheel, first="rip")


SIZE = st.tuples(st.integers(200, 1200), st.integers(100, 600))


@settings(max_examples=25, deadline=None)
@given(st.lists(SIZE, min_size=1, max_size=9), st.booleans(), st.sampled_from([0, 3]), st.lists(SIZE, max_size=2))
def test_nothing_is_lost_and_every_plan_can_be_cut(
    sizes: list[tuple[int, int]], strips: bool, kerf: int, kept: list[tuple[int, int]]
) -> None:
    cuts = "rips, then crosscuts" if strips else "any straight cut"
    small = product("small", "sheet", length=1200, width=600, kerf=kerf, cuts=cuts)
    large = product("large", "sheet", length=1800, width=900, kerf=kerf, cuts=cuts)
    stock = [Remnant(id=f"r{k}", product="small", length=mm(a), width=mm(b)) for k, (a, b) in enumerate(kept)]
    need = Wanted(pieces=[CutDemand(piece=f"p{k}", length=a, width=b) for k, (a, b) in enumerate(sizes)])
    plan = mixed_plan(small, need, [large], stock, [])
    assert sorted(p.piece for s in plan.stock for p in s.pieces) == sorted(f"p{k}" for k in range(len(sizes)))
    assert plan.cost_bound <= plan.cost
    adds_up(plan)
    for one in plan.stock:
        made, order = cutting_order(one.length, one.width, one.pieces, first="rip", kerf=kerf)
        assert sorted(p.number for p in made) == list(range(1, len(made) + 1))
        assert sorted(name for c in order for name in c.frees) <= sorted(p.piece for p in made)
    assert len({s.taken for s in plan.stock if s.taken}) == sum(1 for s in plan.stock if s.taken)


def test_take_off_counts_each_size_and_not_what_is_in_stock() -> None:
    short = product("timber", "length", length=4000, reckoned_price=Decimal(10), also_sold=["timber-6"])
    long = product("timber-6", "length", length=6000, reckoned_price=Decimal(14))
    products = {p.id: p for p in (short, long)}
    timbers = [FramePiece(id=f"F{k}", edge="", length=2000.0, kind="frame") for k in range(8)]
    floor = FloorLayout(
        room="hall", system="s", status="proven", bound=0, value=0, field=[], holes=[], layers=[], frame=timbers,
        frame_length=16000.0, ramp_length=0.0, edge_length=0.0, cutouts=0, mat_area=0.0, thickness=0.0,
        mass_per_area=0.0, reasons=[],
    )  # fmt: skip
    system = FloorSystem(id="s", name="s", layers=[], frame="timber", smallest_width=mm(150), joint_offset=mm(150))
    rooms = [RoomLayouts(room="hall", floor=floor)]
    kept = [Remnant(id="r1", product="timber", length=mm(2050))]
    cuts = plan_cuts(rooms, products, [system], [], kept)
    (plan,) = cuts.plans
    # One from the remnant; seven more for 2 × 10 + 14.
    assert (plan.cost, plan.bought) == (3400, {"timber": 2, "timber-6": 1})
    assert [c.number for c in plan.stock[-1].cuts] == list(range(1, len(plan.stock[-1].cuts) + 1))
    timber = [Need(id="n", product="timber", quantity=Decimal(16), unit="metre")]
    counted = take_off([], [], rooms, cuts, [], [system], [], products, timber, {})
    assert {line.item: line.quantity for line in counted.lines} == {"timber": 2, "timber-6": 1}


def test_stock_of_an_unknown_product_is_named() -> None:
    found = plan_cuts([], {}, [], [], [Remnant(id="r9", product="gone", length=mm(900))])
    assert [(r.where, r.severity) for r in found.reasons] == [("r9", "warning")]
    assert found.status == "empty"
