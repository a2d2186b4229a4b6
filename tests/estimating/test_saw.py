"""Every cut plan carried out by a saw on paper that knows nothing of how the plan was found."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from itertools import pairwise
from typing import Any

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
    Piece,
    Product,
    Remnant,
    RoomLayouts,
    SawCut,
)
from tests.estimating.saw import Rect, Sawn, rect, saw, tenths

Size = tuple[int, int]
KEEP = {"timber": (304.8, 609.6), "foam": (304.8, 1219.2)}
"""Smallest sheet left-overs worth keeping, mm: 12 × 24 in of timber, 12 × 48 in of foam. Common practice."""
RIPS_FIRST = {("rip",), ("rip", "crosscut"), ("rip", "crosscut", "rip"), ("crosscut",), ("crosscut", "rip")}
"""A strip as wide as the sheet needs no rip; a last rip takes an edge off one piece."""


def mm(value: float) -> Length:
    return Length(f"{value:g} mm", Decimal(str(value)))


def goods(form: str, **more: Any) -> Product:
    return Product(id="goods", name="Goods", form=form, unit="each", head=8, **more)  # type: ignore[arg-type]


def job(
    product: Product, sizes: list[Size], also: list[Product] | None = None, remnants: list[Remnant] | None = None
) -> CutPlan:
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
    others = also or []
    products = {one.id: one for one in [product, *others]}
    (plan,) = plan_cuts([RoomLayouts(room="hall", floor=floor)], products, [system], [], remnants or []).plans
    return plan


def asked(sizes: list[Size], product: Product) -> dict[str, tuple[int, int]]:
    kind = "frame" if product.form == "length" else "base"
    return {f"hall {kind} p{k}": (a * 10, b * 10) for k, (a, b) in enumerate(sizes)}


def carried_out(plan: CutPlan, sizes: list[Size], product: Product) -> list[Sawn]:
    """Cut it all; hold pieces, left-overs, dust and scrap against the plan's sums."""
    flat = plan.form == "length"
    kerf = float(round(product.kerf.mm + Decimal("0.0001"), 1)) if product.kerf else 0.0  # 3.175 mm is reckoned as 3.2
    want = asked(sizes, product)
    got: Counter[str] = Counter()
    dust = left = kept = used = total = 0
    all_made = []
    for stock in plan.stock:
        made = saw(stock, kerf, flat=flat)
        all_made.append(made)
        for piece in stock.pieces:
            got[piece.piece] += 1
            _, _, a, b = rect(piece, flat=flat)
            size = (want[piece.piece][0], 1) if flat else want[piece.piece]
            assert (a, b) == (size[::-1] if piece.turned else size)
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
        left += sum(a * b for _, _, a, b in made.left)
        total += tenths(stock.length) * (1 if flat else tenths(stock.width))
    large = {name for name in want if name not in got}
    assert (plan.status == "infeasible") == bool(large)
    assert got == Counter(name for name in want if name not in large)
    assert used + left + dust == total
    scale = 10 if flat else 100
    assert plan.used_area == pytest.approx(used / scale, abs=0.01)
    assert plan.kerf_area == pytest.approx(dust / scale, abs=0.01)
    if plan.form != "roll":
        assert plan.offcut_area == pytest.approx(kept / scale, abs=0.01)
        assert plan.scrap_area == pytest.approx((left - kept) / scale, abs=0.01)
    return all_made


def worth_keeping(product: Product, a: int, b: int) -> bool:
    if product.form == "length":
        return a >= 6096  # 2 ft
    if product.form == "roll":
        return False
    short, long = KEEP[product.lead_group]
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
