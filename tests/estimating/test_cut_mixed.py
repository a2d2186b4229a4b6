"""Several stock sizes, remnants, cuts already made, rips before crosscuts, cutting order; hand-solved cases."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildout.units.lengths import Length
from estimating.engine.cut_choice import Offer, Priced, Source, choose_stock
from estimating.engine.cut_mixed import mixed_plan
from estimating.engine.cut_order import cutting_order, free_rectangles, worked_for
from estimating.engine.cut_parts import Wanted
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.take_off import take_off
from estimating.engine.types import (
    CutDemand,
    CutPiece,
    CutPlan,
    CutStock,
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
    # The first rip takes off the strip in which 2 and 3 still lie together.
    assert worked_for(96, 48, made, cuts) == [([], [2, 3]), ([1], []), ([2, 3], [])]


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
        freed = [name for c in order for name in c.frees]
        assert freed == [p.piece for p in made] or (not order and len(made) == 1)
        gains = worked_for(one.length, one.width, made, order)
        assert [made[n - 1].piece for frees, _ in gains for n in frees] == freed
        for cut, (_, off) in zip(order, gains, strict=True):  # all that it takes off lies before the blade
            ends = [p.y + p.width if cut.kind == "rip" else p.x + p.length for p in made if p.number in off]
            assert all(end <= (cut.a[1] if cut.kind == "rip" else cut.a[0]) + 0.001 for end in ends)
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


# ---------------------------------------------------------------- cutting on from what was cut


def cells(plan: CutPlan) -> list[tuple[float, float, float, float]]:
    """Pieces and left-overs in the coordinates of the stock they were first a part of, with that stock's number."""
    return [cell for one in plan.stock if not one.rest_of for cell in _within(plan, one, (0.0, 0.0))]


def _within(plan: CutPlan, one: CutStock, at: tuple[float, float]) -> list[tuple[float, float, float, float]]:
    found = [(at[0] + p.x, at[1] + p.y, p.length, p.width) for p in [*one.pieces, *one.offcuts]]
    for part in plan.stock:
        if part.rest_of and part.rest_of == one.taken and part.number != one.number:
            found += _within(plan, part, (at[0] + part.at[0], at[1] + part.at[1]))
    return found


def whole(plan: CutPlan) -> None:
    """Pieces + kerf + left-overs + scrap are the stock, each part counted once, and no two cells of one stock meet."""
    flat = plan.form == "length"
    total = sum(s.length * (1 if flat else s.width) for s in plan.stock if not s.rest_of)
    pieces = sum(p.length * (1 if flat else p.width) for s in plan.stock for p in s.pieces)
    kept = sum(p.length * (1 if flat else p.width) for s in plan.stock for p in s.offcuts)
    assert plan.used_area == pytest.approx(pieces, abs=0.01)
    if plan.form != "roll":  # the rest of a roll is listed, but it is not drawn
        assert plan.offcut_area == pytest.approx(kept, abs=0.01)
    assert plan.used_area + plan.offcut_area + plan.kerf_area + plan.scrap_area == pytest.approx(total, abs=0.01)
    for one in (s for s in plan.stock if not s.rest_of):
        placed = _within(plan, one, (0.0, 0.0))
        for k, (x, y, a, b) in enumerate(placed):
            inside = x >= -0.01 and y >= -0.01 and x + a <= one.length + 0.01 and (flat or y + b <= one.width + 0.01)
            assert inside or (plan.form == "roll" and x >= one.length - 0.01)
            for u, v, c, d in placed[:k]:
                apart = x + a <= u + 0.01 or u + c <= x + 0.01
                assert apart or (not flat and (y + b <= v + 0.01 or v + d <= y + 0.01))


def tick(plan: CutPlan, chosen: set[int], earlier: Sequence[MadeCut]) -> list[MadeCut]:
    """What the site writes down when it ticks stock by number."""
    made = list(earlier)
    for one in plan.stock:
        if one.number in chosen and not one.source.endswith("already cut"):
            made.append(
                MadeCut(
                    id=f"cut-{len(made) + 1}", product=plan.product, length=one.length,
                    width=0.0 if plan.form == "length" else one.width, pieces=one.pieces, rest_of=one.rest_of,
                    at=one.at, remnant=one.taken if one.source == "remnant" and not one.rest_of else "",
                    sold_as=one.product,
                )
            )  # fmt: skip
    return made


def sheet(kerf: float = 3) -> Product:
    return product("ply", "sheet", length=2440, width=1220, kerf=kerf, lead_group="timber", turns=False)


def blanks(*sizes: tuple[float, float], name: str = "p") -> Wanted:
    return Wanted(pieces=[CutDemand(piece=f"{name}{k}", length=a, width=b) for k, (a, b) in enumerate(sizes)])


def test_the_rest_of_a_ticked_sheet_is_cut_on_from_and_its_rest_again() -> None:
    """2440 × 1220, kerf 3. p0 of 1000 × 1220 leaves 1437 × 1220. p1 of 800 × 1220 out of that leaves 634 × 1220.

    p2 of 600 × 1220 out of that leaves 31 × 1220, scrap. One sheet serves three revisions.
    """
    first = mixed_plan(sheet(), blanks((1000, 1220)), [], [], [])
    made = tick(first, {1}, [])
    second = mixed_plan(sheet(), blanks((1000, 1220), (800, 1220)), [], [], made)
    assert [(s.source, s.taken, s.rest_of, s.at) for s in second.stock] == [
        ("already cut", "cut-1", "", (0.0, 0.0)), ("remnant", "cut-1 rest 1", "cut-1", (1003.0, 0.0)),
    ]  # fmt: skip
    assert (second.value, second.stock[1].length, second.stock[1].offcuts[0].length) == (1, 1437, 634)
    assert (second.kerf_area, second.scrap_area) == (2 * 3 * 1220, 0)
    whole(second)
    made = tick(second, {2}, made)
    third = mixed_plan(sheet(), blanks((1000, 1220), (800, 1220), (600, 1220)), [], [], made)
    assert [(s.source, s.taken, s.rest_of) for s in third.stock] == [
        ("already cut", "cut-1", ""), ("remnant already cut", "cut-2", "cut-1"), ("remnant", "cut-2 rest 1", "cut-2"),
    ]  # fmt: skip
    assert (third.value, third.status, third.scrap_area) == (1, "proven", 31 * 1220)
    whole(third)


def test_a_piece_nobody_wants_is_cut_smaller_and_stays_cut_when_it_is_wanted_again() -> None:
    made = tick(mixed_plan(sheet(), blanks((2000, 1220)), [], [], []), {1}, [])
    second = mixed_plan(sheet(), blanks((1500, 1220), name="q"), [], [], made)
    assert [(s.source, s.rest_of, s.at, s.length) for s in second.stock[1:]] == [("remnant", "cut-1", (0.0, 0.0), 2000)]
    made = tick(second, {2}, made)
    both = Wanted(pieces=[*blanks((2000, 1220)).pieces, *blanks((1500, 1220), name="q").pieces])
    third = mixed_plan(sheet(), both, [], [], made)
    assert {p.piece: s.source for s in third.stock for p in s.pieces} == {"q0": "remnant already cut", "p0": "new"}
    assert third.value == 2
    whole(third)


def test_what_lies_in_stock_is_used_even_where_it_saves_no_sheet() -> None:
    """A new sheet is needed for 2400 × 1000 and has room for 2000 × 200 beside it; the left-over is taken first."""
    made = tick(mixed_plan(sheet(), blanks((2440, 600)), [], [], []), {1}, [])
    wish = [*blanks((2440, 600)).pieces, *blanks((2400, 1000), (2000, 200), name="q").pieces]
    plan = mixed_plan(sheet(), Wanted(pieces=wish), [], [], made)
    assert {p.piece: s.rest_of for s in plan.stock for p in s.pieces} == {"p0": "", "q0": "", "q1": "cut-1"}
    assert (plan.value, plan.status) == (2, "proven")
    whole(plan)


def test_a_length_cut_on_counts_its_kerf() -> None:
    bar = product("bar", "length", length=4000, kerf=4)
    made = tick(mixed_plan(bar, lengths(1000), [], [], []), {1}, [])
    plan = mixed_plan(bar, lengths(1000, 1500), [], [], made)
    # 4000 − 1000 − 4 = 2996; less 1500 and 4: 1492 kept.
    assert [(s.rest_of, s.at[0], s.length, [o.length for o in s.offcuts]) for s in plan.stock[1:]] == [
        ("cut-1", 1004.0, 2996.0, [1492.0])
    ]
    assert (plan.kerf_area, plan.value) == (8, 1)
    whole(plan)


def test_a_cut_that_lies_in_no_left_over_counts_as_stock_of_its_own() -> None:
    """Facts from elsewhere may not fit: nothing is counted twice or below nought."""
    made = tick(mixed_plan(sheet(), blanks((1000, 1220)), [], [], []), {1}, [])
    odd = [
        MadeCut(id="cut-2", product="ply", length=900, width=1220, pieces=[], rest_of="cut-1", at=(500.0, 0.0)),
        MadeCut(id="cut-3", product="ply", length=900, width=1220, pieces=[], rest_of="cut-9", at=(0.0, 0.0)),
    ]
    plan = mixed_plan(sheet(), blanks((1000, 1220)), [], [], [*made, *odd])
    assert [(s.taken, s.rest_of) for s in plan.stock] == [("cut-1", ""), ("cut-2", ""), ("cut-3", "")]
    whole(plan)


def test_a_sheet_cut_in_a_pinwheel_on_site_does_not_stop_the_plan() -> None:
    wheel = [
        CutPiece(piece="a", x=0, y=0, length=800, width=400), CutPiece(piece="b", x=800, y=0, length=400, width=800),
        CutPiece(piece="c", x=400, y=800, length=800, width=400),
        CutPiece(piece="d", x=0, y=400, length=400, width=800),
    ]  # fmt: skip
    ply = product("ply", "sheet", length=1200, width=1200, kerf=0)
    done = MadeCut(id="cut-1", product="ply", length=1200, width=1200, pieces=wheel)
    wish = [CutDemand(piece=p.piece, length=p.length, width=p.width) for p in wheel]
    plan = mixed_plan(ply, Wanted(pieces=wish), [], [], [done])
    assert [p.piece for s in plan.stock for p in s.pieces] == ["a", "b", "c", "d"]
    assert plan.scrap_area == 400 * 400
    whole(plan)


WISH = st.lists(SIZE, min_size=1, max_size=6)


@settings(max_examples=20, deadline=None)
@given(WISH, st.sampled_from([0, 3.175]), st.booleans())
def test_what_a_plan_keeps_is_what_lies_there_when_it_was_cut(
    sizes: list[tuple[int, int]], kerf: float, strips: bool
) -> None:
    """Left-overs drawn in one revision are the stock of the next, at the same place and of the same size."""
    cuts = "rips, then crosscuts" if strips else "any straight cut"
    ply = product("ply", "sheet", length=1800, width=900, kerf=kerf, lead_group="timber", cuts=cuts)
    first = mixed_plan(ply, blanks(*sizes), [], [], [])
    after = mixed_plan(ply, blanks(*sizes), [], [], tick(first, set(range(1, 9)), []))
    assert after.value == first.value
    kept = [sorted((o.x, o.y, o.length, o.width) for o in s.offcuts) for s in first.stock]
    assert [sorted((o.x, o.y, o.length, o.width) for o in s.offcuts) for s in after.stock] == kept
    assert (after.used_area, after.offcut_area, after.kerf_area, after.scrap_area) == (
        first.used_area, first.offcut_area, first.kerf_area, first.scrap_area,
    )  # fmt: skip


TICKS = st.sets(st.integers(1, 6))


@settings(max_examples=25, deadline=None)
@given(WISH, WISH, WISH, TICKS, TICKS, st.sampled_from([0, 3.175, 4]), st.sampled_from([0, 5]), st.booleans())
def test_two_revisions_of_random_ticks_lose_nothing(
    one: list[tuple[int, int]], two: list[tuple[int, int]], three: list[tuple[int, int]], first: set[int],
    second: set[int], kerf: float, trim: float, strips: bool,
) -> None:  # fmt: skip
    """Wishes change twice, some stock was cut each time: what is cut stays where it was, all is counted once."""
    cuts = "rips, then crosscuts" if strips else "any straight cut"
    ply = product("ply", "sheet", length=1800, width=900, kerf=kerf, trim=trim, lead_group="timber", cuts=cuts)
    made: list[MadeCut] = []
    for wish, chosen in ((one, first), (two, second), (three, set[int]())):
        plan = mixed_plan(ply, blanks(*wish), [], [], made)
        assert sorted(p.piece for s in plan.stock for p in s.pieces) == sorted(f"p{k}" for k in range(len(wish)))
        assert plan.bound <= plan.value
        whole(plan)
        kept = {s.taken: s for s in plan.stock if s.source.endswith("already cut")}
        assert set(kept) == {cut.id for cut in made}
        for cut in made:
            assert {(p.piece, p.x, p.y) for p in kept[cut.id].pieces} <= {(p.piece, p.x, p.y) for p in cut.pieces}
            assert (kept[cut.id].rest_of, kept[cut.id].length) == (cut.rest_of, cut.length)
        made = tick(plan, chosen, made)


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.integers(300, 3900), min_size=1, max_size=8), st.lists(st.integers(300, 3900), min_size=1, max_size=8),
    st.sets(st.integers(1, 6)), st.sampled_from([0, 3.175]),
)  # fmt: skip
def test_ticked_lengths_lose_nothing(one: list[int], two: list[int], chosen: set[int], kerf: float) -> None:
    bar = product("bar", "length", length=4000, kerf=kerf)
    first = mixed_plan(bar, lengths(*one), [], [], [])
    whole(first)
    second = mixed_plan(bar, lengths(*two), [], [], tick(first, chosen, []))
    whole(second)
    third = mixed_plan(bar, lengths(*two), [], [], tick(second, set(range(1, 20)), tick(first, chosen, [])))
    whole(third)
    assert third.value == second.value, "when all is cut as drawn, nothing more is needed"


def test_a_pattern_found_once_is_cut_as_often_as_it_is_wanted() -> None:
    """1,000 pieces a third as long as their stock: 333 times three, then one; not a search for every length."""
    asked: list[list[int]] = []

    def by_threes(source: int, prices: list[int], most: list[int], least: int, *, every: bool = False) -> Priced:
        asked.append(list(most))
        count = min(3, most[0])
        value = count * prices[0]
        return Priced([Offer(value, (count,), None)] if value > least else [], value, True)

    choice = choose_stock([1_000], [4], [Source(cost=1)], by_threes)
    assert (choice.cost, choice.bound) == (334, 334)  # ceil(1000 / 3)
    assert sorted(offer.counts for _, offer in choice.taken) == [(1,)] + 333 * [(3,)]
    assert len(asked) < 10
    two_lying = choose_stock([1_000], [4], [Source(cost=1), Source(cost=1, most=2)], by_threes)
    assert sum(source for source, _ in two_lying.taken) == 2  # what lies in stock twice is taken twice, not more
