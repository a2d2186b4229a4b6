"""Every cut plan carried out by a saw on paper that knows nothing of how the plan was found."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from itertools import pairwise
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildout.units.lengths import Length
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.types import (
    CutPiece,
    CutPlan,
    CutStock,
    FloorLayout,
    FloorSystem,
    FoamLayer,
    FoamLayout,
    FramePiece,
    MadeCut,
    Piece,
    Product,
    Remnant,
    RoomLayouts,
    SawCut,
)
from tests.estimating.saw import HAIR, Rect, Sawn, meet, rect, saw, tenths

Size = tuple[float, float]
KEEP = {"timber": (304.8, 609.6), "foam": (304.8, 1219.2)}
"""Smallest sheet left-overs worth keeping, mm: 12 × 24 in of timber, 12 × 48 in of foam. Common practice."""
RIPS_FIRST = {("rip",), ("rip", "crosscut"), ("rip", "crosscut", "rip"), ("crosscut",), ("crosscut", "rip")}
"""A strip as wide as the sheet needs no rip; a last rip takes an edge off one piece."""


def mm(value: float) -> Length:
    return Length(f"{value:g} mm", Decimal(str(value)))


def goods(form: str, **more: Any) -> Product:
    return Product(id="goods", name="Goods", form=form, unit="each", head=8, **more)  # type: ignore[arg-type]


def job(
    product: Product, sizes: list[Size], also: list[Product] | None = None, remnants: list[Remnant] | None = None,
    made: list[MadeCut] | None = None,
) -> CutPlan:  # fmt: skip
    """The cut plan of a floor that asks for these pieces."""
    flat = product.form == "length"
    pieces = [
        Piece(id=f"p{k}", layer="base", row=1, outline=[], area=float(a * b), box=(float(a), float(b)), whole=False)
        for k, (a, b) in enumerate(sizes)
    ]  # fmt: skip
    layer = FoamLayout(
        layer="base", product="goods", direction="x", origin=(0, 0), pieces=pieces, joints=[], joint_length=0.0,
        area=sum(p.area for p in pieces), sheets_bound=0,
    )  # fmt: skip
    timbers = [FramePiece(id=f"p{k}", edge="A-B", length=float(a), kind="frame") for k, (a, _) in enumerate(sizes)]
    floor = FloorLayout(
        room="hall", system="s", status="feasible", bound=0, value=0, field=[], holes=[], frame_length=0.0,
        layers=[] if flat else [layer], frame=timbers if flat else [], ramp_length=0.0, edge_length=0.0, cutouts=0,
        mat_area=0.0, thickness=0.0, mass_per_area=0.0, reasons=[],
    )  # fmt: skip
    system = FloorSystem(
        id="s", name="S", layers=[] if flat else [FoamLayer(product="goods", role="base")],
        frame="goods" if flat else "", smallest_width=mm(150), joint_offset=mm(150),
    )  # fmt: skip
    products = {one.id: one for one in [product, *(also or [])]}
    layouts = [RoomLayouts(room="hall", floor=floor)]
    (plan,) = plan_cuts(layouts, products, [system], [], remnants or [], made or []).plans
    return plan


def asked(sizes: list[Size], product: Product) -> dict[str, tuple[int, int]]:
    kind = "frame" if product.form == "length" else "base"
    return {f"hall {kind} p{k}": (tenths(a), tenths(b)) for k, (a, b) in enumerate(sizes)}


def carried_out(plan: CutPlan, sizes: list[Size], product: Product, too_large: int = 0) -> list[Sawn]:
    """Cut it all; hold pieces, left-overs, dust and scrap against the plan's sums.

    Stock cut from a left-over of other stock is a part of that: its area is counted there.
    """
    flat = plan.form == "length"
    kerf = float(round(product.kerf.mm + Decimal("0.0001"), 1)) if product.kerf else 0.0  # 3.175 mm is reckoned as 3.2
    want = asked(sizes, product)
    got: Counter[str] = Counter()
    dust = left = over = kept = used = total = 0
    all_made = []
    for stock in plan.stock:
        made = saw(stock, kerf, flat=flat)
        all_made.append(made)
        for piece in stock.pieces:
            got[piece.piece] += 1
            _, _, a, b = rect(piece, flat=flat)
            size = (want[piece.piece][0], 1) if flat else want[piece.piece]
            asked_for = size[::-1] if piece.turned else size
            # A piece that ends a hair before its stock does is as long as that.
            assert all(0 <= mine - own < HAIR for mine, own in zip((a, b), asked_for, strict=True))
            assert product.turns or not piece.turned, "grain, nap: turned although it may not be"
            used += a * b
        spare = Counter(made.left)
        for one in stock.offcuts:
            place: Rect = rect(one, flat=flat)
            if plan.form == "roll" and place[0] >= tenths(stock.length):
                continue  # the rest of the roll, not unrolled
            assert spare[place] > 0, f"{one.piece} is no part that is left when all is cut"
            spare[place] -= 1
            kept += place[2] * place[3]
        for _, _, a, b in spare.elements():
            assert not worth_keeping(product, a, b), f"{a / 10} × {b / 10} is worth keeping"
        dust += made.dust
        over += made.over
        left += sum(a * b for _, _, a, b in made.left)
        total += tenths(stock.length) * (1 if flat else tenths(stock.width))
    large = {name for name in want if name not in got}
    assert len(large) >= too_large
    assert (plan.status == "infeasible") == bool(large)
    assert got == Counter(name for name in want if name not in large)
    # Nothing is lost, and nothing but hairs stays on a piece: all of it in hundredths of a mm².
    assert used + left + dust + over == total
    scale = 10 if flat else 100
    assert plan.used_area == pytest.approx(used / scale, abs=0.01)
    assert plan.kerf_area == pytest.approx(dust / scale, abs=0.01)
    assert plan.offcut_area == pytest.approx(kept / scale, abs=0.01)
    assert plan.scrap_area == pytest.approx((left + over - kept) / scale, abs=0.01)
    assert plan.waste_area == pytest.approx((total - used) / scale, abs=0.01)
    return all_made


def worth_keeping(product: Product, a: int, b: int) -> bool:
    if product.form == "length":
        return a >= 6096  # 2 ft
    short, long = (152.4, 457.2) if product.form == "roll" else KEEP[product.lead_group]
    return min(a, b) >= short * 10 and max(a, b) >= long * 10


# ---------------------------------------------------------------- the saw itself


def by_hand(*cuts: tuple[str, tuple[float, float], tuple[float, float], list[str]]) -> list[SawCut]:
    return [SawCut(number=n, kind=k, a=a, b=b, frees=f) for n, (k, a, b, f) in enumerate(cuts, 1)]  # type: ignore[arg-type]


def two_pieces(cuts: list[SawCut]) -> CutStock:
    """100 × 50, kerf 2: ``a`` of 60 × 50 and ``b`` of 38 × 20 beside it."""
    pieces = [
        CutPiece(piece="a", x=0, y=0, length=60, width=50, number=1),
        CutPiece(piece="b", x=62, y=0, length=38, width=20, number=2),
    ]  # fmt: skip
    return CutStock(number=1, length=100, width=50, pieces=pieces, offcuts=[], cuts=cuts)


def test_the_saw_counts_its_dust() -> None:
    """Crosscut at 60: 2 × 50 of dust. Rip of the 38 × 50 left at 20: 38 × 2. Left over 38 × 28."""
    done = saw(two_pieces(by_hand(("crosscut", (60, 0), (60, 50), ["a"]), ("rip", (62, 20), (100, 20), ["b"]))), 2)
    assert (done.dust, done.left) == ((100 + 76) * 100, [(620, 220, 380, 280)])
    assert (done.ways, done.stacked) == ({"a": ("crosscut",), "b": ("crosscut", "rip")}, 0)


@pytest.mark.parametrize(
    ("cuts", "says"),
    [
        ([("rip", (0, 20), (100, 20), [])], "goes through a piece"),
        ([("crosscut", (60, 0), (60, 30), ["a"])], "right across 0 parts"),
        ([("crosscut", (61, 0), (61, 50), ["a"])], "goes through a piece|frees"),
        ([("crosscut", (60, 0), (60, 50), ["a", "b"])], "frees"),
        ([("crosscut", (60, 0), (60, 50), ["a"])], "not cut out"),
    ],
)
def test_the_saw_refuses_what_cannot_be_cut(cuts: Any, says: str) -> None:
    with pytest.raises(AssertionError, match=says):
        saw(two_pieces(by_hand(*cuts)), 2)


# ---------------------------------------------------------------- any demand

SHEETS = st.lists(st.tuples(st.integers(150, 2400), st.integers(150, 1200)), min_size=1, max_size=12)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    sizes=SHEETS, kerf=st.sampled_from([0, 3, 3.175]), turns=st.booleans(), group=st.sampled_from(["foam", "timber"])
)
def test_sheets_by_any_straight_cut(sizes: list[Size], kerf: float, turns: bool, group: Any) -> None:
    product = goods("sheet", length=mm(2400), width=mm(1200), kerf=mm(kerf), turns=turns, lead_group=group)
    carried_out(job(product, sizes), sizes, product)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(sizes=SHEETS, kerf=st.sampled_from([0, 3]), turns=st.booleans(), kept=st.lists(st.tuples(
    st.integers(300, 2000), st.integers(300, 1200)), max_size=2))  # fmt: skip
def test_sheets_by_rips_then_crosscuts(sizes: list[Size], kerf: float, turns: bool, kept: list[Size]) -> None:
    """Rips right along the sheet, then crosscuts, then at most an edge trimmed: what a saw on a track does."""
    product = goods(
        "sheet", length=mm(2400), width=mm(1200), kerf=mm(kerf), turns=turns, lead_group="timber",
        cuts="rips, then crosscuts",
    )  # fmt: skip
    stock = [Remnant(id=f"r{k}", product="goods", length=mm(a), width=mm(b)) for k, (a, b) in enumerate(kept)]
    plan = job(product, sizes, remnants=stock)
    for made in carried_out(plan, sizes, product):
        assert made.stacked == 0
        for ways in made.ways.values():
            assert ways in (
                ("rip",),
                ("rip", "crosscut"),
                ("rip", "crosscut", "rip"),
                ("crosscut",),
                ("crosscut", "rip"),
            )


def test_free_cuts_may_be_stacked_and_the_saw_sees_it() -> None:
    """48 × 32 beside two of 48 × 16 one above the other: the two lie in one crosscut part."""
    product = goods("sheet", length=mm(960), width=mm(320), turns=False, lead_group="timber")
    sizes = [(480, 320), (480, 160), (480, 160)]
    made = carried_out(job(product, sizes), sizes, product)
    assert [one.stacked for one in made] == [1]


def test_a_length_used_to_its_end_frees_two_with_its_last_cut() -> None:
    product = goods("length", length=mm(3600), width=mm(90), lead_group="timber")
    sizes = [(1800, 90), (1800, 90)]
    plan = job(product, sizes)
    carried_out(plan, sizes, product)
    assert [cut.frees for cut in plan.stock[0].cuts] == [["hall frame p0", "hall frame p1"]]


def test_a_pattern_that_gives_more_than_is_wanted_leaves_no_gap() -> None:
    """Two lengths of 3,600 mm hold all ten: 2,897 with seven of the short ones, then 1,155 and the 110.

    The second was cut by a pattern with two more pieces between these, which nobody waits for: the 110 lies a kerf
    (3.175 mm, 3.2 in whole tenths) behind the 1,155, at 1,158.2 mm.
    """
    sizes = [80, 80, 80, 80, 109, 110, 111, 111, 1155, 2897]
    long = goods("length", length=mm(4800), width=mm(90), kerf=mm(3.175), lead_group="timber")
    other = Product(**{f: getattr(long, f) for f in long.__struct_fields__} | {"id": "long"})
    short = goods("length", length=mm(3600), width=mm(90), kerf=mm(3.175), lead_group="timber")
    product = Product(**{f: getattr(short, f) for f in short.__struct_fields__} | {"also_sold": ["long"]})
    plan = job(product, [(a, 90) for a in sizes], [other])
    carried_out(plan, [(a, 90) for a in sizes], product)
    for one in plan.stock:
        for near, far in pairwise(sorted(one.pieces, key=lambda p: p.x)):
            assert far.x == pytest.approx(near.x + near.length + 3.2, abs=0.01)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.lists(st.integers(80, 6000), min_size=1, max_size=14), st.sampled_from([0, 3, 3.175]), st.booleans())
def test_lengths(sizes: list[int], kerf: float, two: bool) -> None:
    product = goods("length", length=mm(3600), width=mm(90), kerf=mm(kerf), lead_group="timber")
    short = [min(size, 3600) for size in sizes]
    long = goods("length", length=mm(4800), width=mm(90), kerf=mm(kerf), lead_group="timber")
    other = [Product(**{f: getattr(long, f) for f in long.__struct_fields__} | {"id": "long"})] if two else []
    if two:
        product = Product(**{f: getattr(product, f) for f in product.__struct_fields__} | {"also_sold": ["long"]})
    carried_out(job(product, [(a, 90) for a in short], other), [(a, 90) for a in short], product)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(150, 5000), st.integers(100, 1400)), min_size=1, max_size=12),
       st.sampled_from([0, 2]))  # fmt: skip
def test_rolls_keep_nap_and_lie_side_by_side(sizes: list[Size], kerf: float) -> None:
    product = goods("roll", length=mm(20_000), width=mm(1400), kerf=mm(kerf), turns=True, lead_group="panel")
    plan = job(product, sizes)
    carried_out(plan, sizes, product)
    assert not any(p.turned for s in plan.stock for p in s.pieces), "a blank's length runs along the roll"


# ---------------------------------------------------------------- any stock: trimmed, left over, of several sizes

NEARLY = st.sampled_from([0.0, 0.3, 0.7, 0.8, 1.5])
"""mm; sizes this much apart leave hairs, which stay on, and slivers, which come off."""


@st.composite
def near_sizes(draw: Any, longest: int, widest: int) -> list[Size]:
    """Up to nine pieces of few sizes that differ by next to nothing."""
    few = draw(st.lists(st.tuples(st.integers(200, longest), st.integers(150, widest)), min_size=1, max_size=3))
    picks = draw(st.lists(st.tuples(st.integers(0, len(few) - 1), NEARLY, NEARLY), min_size=1, max_size=9))
    return [(round(few[k][0] + a, 1), round(few[k][1] + b, 1)) for k, a, b in picks]


KERFS = st.sampled_from([0, 3, 3.175])
TRIMS = st.sampled_from([0, 2, 12.7])


def left_in_stock(kept: list[Size], *, flat: bool = False) -> list[Remnant]:
    return [
        Remnant(id=f"r{k}", product="goods", length=mm(a), width=None if flat else mm(b))
        for k, (a, b) in enumerate(kept)
    ]


@settings(max_examples=30, deadline=None, derandomize=True)
@given(
    sizes=near_sizes(2300, 1100), kerf=KERFS, trim=TRIMS, turns=st.booleans(), track=st.booleans(), two=st.booleans(),
    kept=st.lists(st.tuples(st.integers(300, 2400), st.integers(200, 1200)), max_size=2),
)  # fmt: skip
def test_any_sheets(
    sizes: list[Size], kerf: float, trim: float, turns: bool, track: bool, two: bool, kept: list[Size]
) -> None:
    """Trimmed sheets of one or two sizes and left-overs, by knife or by saw on a track."""
    way = {"cuts": "rips, then crosscuts", "lead_group": "timber"} if track else {"lead_group": "foam"}
    also = {"also_sold": ["small"]} if two else {}
    usual = {"kerf": mm(kerf), "trim": mm(trim), "turns": turns, **way}
    product = goods("sheet", length=mm(2440), width=mm(1220), **usual, **also)
    small = msgspec.structs.replace(goods("sheet", length=mm(2000), width=mm(1000), **usual), id="small")
    made = carried_out(job(product, sizes, [small] if two else [], left_in_stock(kept)), sizes, product)
    assert not track or all(one.stacked == 0 for one in made)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(
    sizes=near_sizes(3500, 151), kerf=KERFS, trim=TRIMS, two=st.booleans(),
    kept=st.lists(st.tuples(st.integers(300, 3600), st.just(90)), max_size=2),
)  # fmt: skip
def test_any_lengths(sizes: list[Size], kerf: float, trim: float, two: bool, kept: list[Size]) -> None:
    """Both ends of new lengths are trimmed, those of left-overs are not."""
    usual = {"width": mm(90), "kerf": mm(kerf), "trim": mm(trim), "lead_group": "timber"}
    product = goods("length", length=mm(3600), **usual, **({"also_sold": ["long"]} if two else {}))
    long = msgspec.structs.replace(goods("length", length=mm(4800), **usual), id="long")
    plan = job(product, sizes, [long] if two else [], left_in_stock(kept, flat=True))
    carried_out(plan, sizes, product)
    for one in plan.stock:
        ends = trim if one.source == "new" else 0
        assert all(p.x >= ends and p.x + p.length <= one.length - ends + 1e-6 for p in one.pieces)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(
    sizes=near_sizes(4000, 1300), kerf=st.sampled_from([0, 2]), trim=TRIMS,
    kept=st.lists(st.tuples(st.integers(300, 9000), st.integers(200, 1400)), max_size=2),
)  # fmt: skip
def test_any_rolls(sizes: list[Size], kerf: float, trim: float, kept: list[Size]) -> None:
    """Strips beside blanks that are worth keeping are told of with the plan, not first when they lie there."""
    product = goods("roll", length=mm(20_000), width=mm(1400), kerf=mm(kerf), trim=mm(trim), lead_group="panel")
    plan = job(product, sizes, None, left_in_stock(kept))
    carried_out(plan, sizes, product)
    assert plan.bound <= plan.value


def test_a_strip_beside_a_blank_is_kept() -> None:
    """A blank of 2 m × 0.9 m off a roll 1.4 m wide: beside it lie 2 m × 0.5 m; 0.1 m beside 1.3 m would be scrap."""
    product = goods("roll", length=mm(20_000), width=mm(1400), lead_group="panel")
    plan = job(product, [(2000, 900)])
    (run,) = plan.stock
    assert [(o.piece, o.x, o.y, o.length, o.width) for o in run.offcuts] == [
        ("offcut 1.1", 0, 900, 2000, 500), ("rest of roll 1", 2000, 0, 18_000, 1400),
    ]  # fmt: skip
    assert (plan.used_area, plan.offcut_area, plan.scrap_area) == (1.8e6, 1.0e6, 0)
    narrow = job(product, [(2000, 1300)])
    assert [o.piece for o in narrow.stock[0].offcuts] == ["rest of roll 1"]
    assert (narrow.offcut_area, narrow.scrap_area) == (0, 2e5)


def test_a_hair_is_left_on_and_a_sliver_comes_off() -> None:
    """A strip that ends 0.8 mm (1/32 in) before its sheet is cut off there; what is nearer to the edge stays on."""
    product = goods("sheet", length=mm(960), width=mm(960), turns=False, lead_group="timber")
    hair = job(product, [(960, 600), (960, 359.2)])
    assert len(hair.stock[0].cuts) == 2, "359.2 is 0.8 mm short: the strip is cut off"
    sliver = job(product, [(960, 600), (480, 359.9), (480, 360)])
    # 359.9 ends 0.1 mm before the sheet does: it is cut as 360, and two cuts free all three.
    assert [cut.kind for cut in sliver.stock[0].cuts] == ["rip", "crosscut"]
    carried_out(sliver, [(960, 600), (480, 359.9), (480, 360)], product)
    # Between pieces: strips of 400 and 399.5 side by side in one rip of 400, beside 560.
    between = job(product, [(960, 560), (480, 400), (480, 399.5)])
    carried_out(between, [(960, 560), (480, 400), (480, 399.5)], product)
    assert len(between.stock[0].cuts) == 2


# ---------------------------------------------------------------- what was cut stays


def ticked(plan: CutPlan, which: set[int]) -> list[MadeCut]:
    """Some of the stock of a plan, cut as drawn."""
    names = {one.number: f"m{one.number}" for one in plan.stock}
    return [
        MadeCut(
            id=names[one.number], product="goods", length=one.length, width=one.width, pieces=one.pieces,
            remnant=one.taken if one.source == "remnant" else "", sold_as=one.product,
        )
        for place, one in enumerate(plan.stock)
        if place in which
    ]  # fmt: skip


FORMS = {
    "length": goods("length", length=mm(3600), width=mm(90), kerf=mm(3), trim=mm(5), lead_group="timber"),
    "sheet": goods("sheet", length=mm(2440), width=mm(1220), kerf=mm(3), trim=mm(5), lead_group="timber"),
    "grained sheet": goods("sheet", length=mm(2440), width=mm(1220), turns=False, cuts="rips, then crosscuts",
                           kerf=mm(3), lead_group="timber"),
    "foam": goods("sheet", length=mm(2440), width=mm(1220), lead_group="foam"),
    "roll": goods("roll", length=mm(20_000), width=mm(1400), kerf=mm(2), lead_group="panel"),
}  # fmt: skip


@pytest.mark.parametrize("form", FORMS)
@settings(max_examples=12, deadline=None, derandomize=True)
@given(
    first=st.lists(st.tuples(st.integers(300, 2400), st.integers(200, 1190)), min_size=1, max_size=8),
    changed=st.dictionaries(st.integers(0, 7), st.tuples(st.integers(300, 2400), st.integers(200, 1190)), max_size=3),
    which=st.sets(st.integers(0, 3), min_size=1), more=st.integers(0, 2),
    kept=st.lists(st.tuples(st.integers(600, 2400), st.integers(300, 1200)), max_size=1),
)  # fmt: skip
def test_what_was_cut_stays_and_the_rest_is_worked_with(
    form: str, first: list[Size], changed: dict[int, Size], which: set[int], more: int, kept: list[Size]
) -> None:
    """Some stock is ticked as cut, then pieces change: nothing cut moves, nothing is lost, nothing is used twice."""
    product = FORMS[form]
    flat = product.form == "length"
    stock = left_in_stock(kept, flat=flat)
    before = job(product, first, remnants=stock)
    done = ticked(before, which)
    later = [changed.get(k, size) for k, size in enumerate([*first, *first[:more]])]
    plan = job(product, later, remnants=stock, made=done)
    want = asked(later, product)
    assert Counter(p.piece for s in plan.stock for p in s.pieces) == Counter(list(want))
    # What was cut and is still wanted as it is lies where it was cut.
    by_name = {one.taken: one for one in plan.stock if one.source.endswith("already cut")}
    for cut in done:

        def sides(p: CutPiece) -> tuple[int, ...]:
            return (tenths(p.length),) if flat else (tenths(p.length), tenths(p.width))[:: -1 if p.turned else 1]

        still = [p for p in cut.pieces if want.get(p.piece, ())[: 1 if flat else 2] == sides(p)]
        now = {(p.piece, p.x, p.length) for p in by_name[cut.id].pieces}
        assert {(p.piece, p.x, p.length) for p in still} <= now
    # Conservation, to 0.01 mm²: stock that is part of other stock is counted there.
    whole = [one for one in plan.stock if not one.rest_of]
    area = sum(one.length * (1 if flat else one.width) for one in whole)
    parts = plan.used_area + plan.offcut_area + plan.kerf_area + plan.scrap_area
    assert parts == pytest.approx(area, abs=0.01)
    assert plan.waste_area == pytest.approx(plan.offcut_area + plan.kerf_area + plan.scrap_area, abs=0.01)
    # Nothing lies on anything else, in the coordinates of the stock that things are cut from in the end.
    laid: dict[str, list[Rect]] = {}
    roots = {one.taken or str(one.number): one for one in whole}
    for one in plan.stock:
        x, y = (0.0, 0.0) if not one.rest_of else one.at
        root, up = one, by_name.get(one.rest_of)
        while up is not None:
            root, up = up, by_name.get(up.rest_of)
        name = root.taken or str(root.number)
        for p in one.pieces:
            box = (tenths(p.x + x), 0 if flat else tenths(p.y + y), tenths(p.length), 1 if flat else tenths(p.width))
            assert 0 <= box[0] <= box[0] + box[2] <= tenths(roots[name].length)
            assert flat or 0 <= box[1] <= box[1] + box[3] <= tenths(roots[name].width)
            assert not any(meet(box, other) for other in laid.setdefault(name, []))
            laid[name].append(box)


def test_grain_keeps_a_left_over_from_being_turned() -> None:
    """A left-over of 600 along the grain and 1,200 across gives no piece of 1,200 along: a new sheet is cut.

    Where the goods may be turned it does, and none is.
    """
    kept = [Remnant(id="r", product="goods", length=mm(600), width=mm(1200))]
    grained = goods("sheet", length=mm(2400), width=mm(1200), turns=False, lead_group="timber")
    plan = job(grained, [(1200, 600)], remnants=kept)
    assert [(s.source, s.taken) for s in plan.stock] == [("new", "")]
    free = msgspec.structs.replace(grained, turns=True)
    plan = job(free, [(1200, 600)], remnants=kept)
    assert [(s.source, s.taken, s.pieces[0].turned) for s in plan.stock] == [("remnant", "r", True)]
    assert plan.value == 0
    along = job(grained, [(600, 1200)], remnants=kept)
    assert [(s.source, s.taken) for s in along.stock] == [("remnant", "r")]
