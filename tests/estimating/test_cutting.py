"""Cutting lengths, sheets and rolls: published optima, hand-solved cases, and that nothing is lost."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimating.engine.best_sheet import best_value
from estimating.engine.cut_lengths import cut_lengths
from estimating.engine.cut_rolls import RollPlan, cut_rolls
from estimating.engine.cut_sheets import Placed, SheetPlan, cut_sheets

DATA = Path(__file__).parents[1] / "data" / "orlib"
Piece = tuple[int, int]


def spread(demand: list[tuple[int, int]]) -> list[int]:
    return [size for size, count in demand for _ in range(count)]


# ---------------------------------------------------------------- lengths

MILL = [
    (1380, 22), (1520, 25), (1560, 12), (1710, 14), (1820, 18), (1880, 18), (1930, 20), (2000, 10), (2050, 12),
    (2100, 14), (2140, 16), (2150, 18), (2200, 20),
]  # fmt: skip


def test_paper_mill_example() -> None:
    # Encyclopaedia article "Cutting stock problem": 73 master rolls of 5600 mm; first-fit decreasing takes 82.
    plan = cut_lengths(spread(MILL), 5600)
    assert (len(plan.bars), plan.bound, plan.proven) == (73, 73, True)
    assert first_fit_decreasing(spread(MILL), 5600, 0) == 82


@pytest.mark.parametrize(
    ("demand", "stock", "rolls"),
    [
        # Chvátal, Linear Programming (1983), ch. 13, data from memory: LP 452.25, whole rolls 453.
        ([(45, 97), (36, 610), (31, 395), (14, 211)], 100, 453),
        # Fourer, Gay, Kernighan, AMPL (2003), column generation, data from memory: LP 46.25, whole rolls 47.
        ([(20, 48), (45, 35), (50, 24), (55, 10), (75, 8)], 110, 47),
        # Six pieces of 51 in 100: the volume bound says 4, but no two fit together.
        ([(51, 6)], 100, 6),
    ],
)
def test_textbook_cutting_stock(demand: list[tuple[int, int]], stock: int, rolls: int) -> None:
    plan = cut_lengths(spread(demand), stock)
    assert (len(plan.bars), plan.bound) == (rolls, rolls)


def bin_problems(name: str, scale: int) -> dict[str, tuple[int, list[int]]]:
    words = (DATA / f"{name}.txt").read_text().split()
    found, at = {}, 1
    for _ in range(int(words[0])):
        title, capacity, items = words[at], round(float(words[at + 1]) * scale), int(words[at + 2])
        found[title] = (capacity, [round(float(w) * scale) for w in words[at + 4 : at + 4 + items]])
        at += 4 + items
    return found


@pytest.mark.parametrize(
    ("file", "scale", "problem", "bins"),
    [
        # Falkenauer, J. Heuristics 2 (1996); for u120_08 the file says 51, proven since: 50.
        ("binpack1_part", 1, "u120_00", 48),
        ("binpack1_part", 1, "u120_01", 49),
        ("binpack1_part", 1, "u120_02", 46),
        ("binpack1_part", 1, "u120_08", 50),
        # Triplets: 20 bins without any waste by construction; first-fit decreasing takes 23.
        ("binpack5_part", 10, "t60_00", 20),
        ("binpack5_part", 10, "t60_01", 20),
        ("binpack5_part", 10, "t60_02", 20),
    ],
)
def test_bin_packing_instances(file: str, scale: int, problem: str, bins: int) -> None:
    capacity, sizes = bin_problems(file, scale)[problem]
    plan = cut_lengths(sizes, capacity)
    assert (len(plan.bars), plan.bound) == (bins, bins)


@pytest.mark.parametrize(
    ("pieces", "stock", "kerf", "lengths"),
    [
        ([6096] * 8, 24384, 0, 2),  # 8 × 24 in from 96 in
        ([6096] * 8, 24384, 32, 3),  # with a kerf of 1/8 in four need 96 3/8 in
        ([12176] * 6, 24384, 0, 3),  # 6 × 47 15/16 in
        ([12176] * 6, 24384, 32, 3),  # 2 × 47 15/16 + 1/8 = 96: nothing left over
        ([8000] * 6 + [6100] * 4, 24400, 0, 3),
        ([8000] * 6 + [6100] * 4, 24400, 30, 4),
        ([24384], 24384, 32, 1),  # a piece as long as the stock needs no cut
    ],
)
def test_kerf(pieces: list[int], stock: int, kerf: int, lengths: int) -> None:
    # Σ pieces + (n − 1)·kerf ≤ stock, in 0.1 mm.
    plan = cut_lengths(pieces, stock, kerf)
    assert (len(plan.bars), plan.bound) == (lengths, lengths)


def test_no_pieces_and_a_piece_too_long() -> None:
    assert cut_lengths([], 100).bars == []
    plan = cut_lengths([40, 101, 60], 100)
    assert plan.too_long == [1]
    assert [sorted(bar) for bar in plan.bars] == [[0, 2]]
    assert not plan.proven
    with pytest.raises(ValueError, match="at least 1"):
        cut_lengths([0], 100)


def first_fit_decreasing(pieces: list[int], stock: int, kerf: int) -> int:
    left: list[int] = []
    for size in sorted(pieces, reverse=True):
        for k, free in enumerate(left):
            if free >= size + kerf:
                left[k] -= size + kerf
                break
        else:
            left.append(stock + kerf - size - kerf)
    return len(left)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(1, 300), max_size=40), st.integers(300, 1000), st.integers(0, 20))
def test_every_piece_is_cut_once_and_fits(pieces: list[int], stock: int, kerf: int) -> None:
    plan = cut_lengths(pieces, stock, kerf)
    assert Counter(i for bar in plan.bars for i in bar) == Counter(range(len(pieces)))
    for bar in plan.bars:
        assert sum(pieces[i] for i in bar) + (len(bar) - 1) * kerf <= stock
    assert plan.bound <= len(plan.bars) <= first_fit_decreasing(pieces, stock, kerf)


# ---------------------------------------------------------------- sheets


def read_gcut(name: str) -> tuple[Piece, list[Piece], list[int]]:
    words = [int(w) for w in (DATA / f"{name}.txt").read_text().split()]
    kinds = [(words[3 + 3 * k], words[4 + 3 * k]) for k in range(words[0])]
    return (words[1], words[2]), kinds, [words[5 + 3 * k] for k in range(words[0])]


@pytest.mark.parametrize(
    ("name", "fixed", "turning"),
    [
        # Beasley (1985); optima, without and with turning, as published by G. Cintra, IME-USP.
        ("gcut1", 56460, 58136),
        ("gcut2", 60536, 60611),
        ("gcut3", 61036, 61626),
        ("gcut4", 61698, 62265),
    ],
)
def test_best_single_sheet(name: str, fixed: int, turning: int) -> None:
    sheet, kinds, values = read_gcut(name)
    assert best_value(kinds, values, sheet, turns=False) == fixed
    assert best_value(kinds, values, sheet, turns=True) == turning


@pytest.mark.parametrize(("name", "optimum"), [("cgcut1", 244), ("cgcut2", 2892), ("cgcut3", 1860)])
def test_unlimited_copies_are_never_worth_less_than_limited_ones(name: str, optimum: int) -> None:
    # Christofides & Whitlock (1977), limited copies, optimum from memory: a lower bound for unlimited copies.
    words = [int(w) for w in (DATA / f"{name}.txt").read_text().split()]
    kinds = [(words[3 + 4 * k], words[4 + 4 * k]) for k in range(words[0])]
    values = [words[6 + 4 * k] for k in range(words[0])]
    assert best_value(kinds, values, (words[1], words[2]), turns=False) >= optimum


def cut_apart(pieces: list[Placed], x0: int, y0: int, x1: int, y1: int) -> bool:
    """Whether edge-to-edge cuts can part the pieces of a plate, worked out from their places alone."""
    if len(pieces) <= 1:
        return True
    for at in sorted({p.x + p.length for p in pieces}):
        left = [p for p in pieces if p.x + p.length <= at]
        right = [p for p in pieces if p.x >= at]
        if left and right and len(left) + len(right) == len(pieces):
            return cut_apart(left, x0, y0, at, y1) and cut_apart(right, at, y0, x1, y1)
    for at in sorted({p.y + p.width for p in pieces}):
        below = [p for p in pieces if p.y + p.width <= at]
        above = [p for p in pieces if p.y >= at]
        if below and above and len(below) + len(above) == len(pieces):
            return cut_apart(below, x0, y0, x1, at) and cut_apart(above, x0, at, x1, y1)
    return False


def check_sheets(plan: SheetPlan, pieces: list[Piece], sheet: Piece, kerf: int, turns: bool) -> None:
    placed = [p for s in plan.sheets for p in s.pieces]
    assert Counter(p.piece for p in placed) + Counter(plan.too_big) == Counter(range(len(pieces)))
    for used in plan.sheets:
        for p in used.pieces:
            size = pieces[p.piece]
            assert (p.length, p.width) == (size[::-1] if p.turned else size)
            assert turns or not p.turned
            assert 0 <= p.x <= sheet[0] - p.length
            assert 0 <= p.y <= sheet[1] - p.width
        for k, p in enumerate(used.pieces):
            for q in used.pieces[k + 1 :]:
                beside = p.x + p.length + kerf <= q.x or q.x + q.length + kerf <= p.x
                above = p.y + p.width + kerf <= q.y or q.y + q.width + kerf <= p.y
                assert beside or above
        assert cut_apart(used.pieces, 0, 0, *sheet)
        area = sum(p.length * p.width for p in used.pieces) + sum(a * b for _, _, a, b in used.free) + used.kerf_area
        assert area == sheet[0] * sheet[1]
    assert plan.bound <= len(plan.sheets)


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.integers(5, 110), st.integers(5, 70)), max_size=14),
    st.integers(0, 4),
    st.booleans(),
)
def test_sheets_add_up_and_every_piece_can_be_cut_out(pieces: list[Piece], kerf: int, turns: bool) -> None:
    sheet = (100, 60)
    plan = cut_sheets(pieces, sheet, kerf=kerf, turns=turns)
    check_sheets(plan, pieces, sheet, kerf, turns)


def test_many_equal_panels() -> None:
    # 48 × 72 in from 48 × 96 in leave 48 × 24: 12 boards and 12 strips need 12 sheets; a kerf of 1/8 in spoils that.
    boards, strips = [(18288, 12192)] * 12, [(6096, 12192)] * 12
    sheet = (24384, 12192)
    tight = cut_sheets(boards + strips, sheet, turns=False)
    assert (len(tight.sheets), tight.bound) == (12, 12)
    check_sheets(tight, boards + strips, sheet, 0, turns=False)
    sawn = cut_sheets(boards + strips, sheet, kerf=32, turns=False)
    # No strip fits beside a board now; three strips fit a sheet: 12 + 4.
    assert (len(sawn.sheets), sawn.bound) == (16, 16)
    check_sheets(sawn, boards + strips, sheet, 32, turns=False)


def test_grain_forbids_turning() -> None:
    pieces = [(40, 90)] * 2
    assert len(cut_sheets(pieces, (100, 50), turns=True).sheets) == 2
    fixed = cut_sheets(pieces, (100, 50), turns=False)
    assert fixed.too_big == [0, 1]
    assert fixed.sheets == []


def test_area_bound_can_be_far_off() -> None:
    # Nine pieces of 60 × 40 on 100 × 60: area says ⌈21600/6000⌉ = 4; two fit turned (60 + 40 by 40 + 40), no three do.
    plan = cut_sheets([(60, 40)] * 9, (100, 60))
    assert (len(plan.sheets), plan.bound) == (5, 5)


def test_turning_never_costs_sheets_nor_does_a_larger_sheet() -> None:
    pieces = [(70, 30), (45, 45), (30, 60), (80, 20), (20, 50), (55, 25), (33, 41), (60, 60)]
    fixed = cut_sheets(pieces, (100, 60), kerf=2, turns=False)
    turning = cut_sheets(pieces, (100, 60), kerf=2, turns=True)
    larger = cut_sheets(pieces, (120, 80), kerf=2, turns=True)
    assert len(larger.sheets) <= len(turning.sheets) <= len(fixed.sheets)


def test_the_same_twice() -> None:
    pieces = [(13 + 7 * k % 50, 11 + 5 * k % 40) for k in range(25)]
    assert cut_sheets(pieces, (100, 60), kerf=1) == cut_sheets(pieces, (100, 60), kerf=1)


# ---------------------------------------------------------------- rolls


def check_rolls(plan: RollPlan, pieces: list[Piece], width: int, roll: int | None, kerf: int) -> None:
    seen: Counter[int] = Counter(plan.too_big)
    for levels in plan.rolls:
        if roll is not None:
            assert sum(level.length for level in levels) + kerf * (len(levels) - 1) <= roll
        for level in levels:
            boxes = [(b.x, b.y, *pieces[b.piece]) for b in level.blanks]
            seen.update(b.piece for b in level.blanks)
            for k, (x, y, a, b) in enumerate(boxes):
                assert x + a <= level.length
                assert y + b <= width
                for u, v, c, d in boxes[k + 1 :]:
                    assert x + a + kerf <= u or u + c + kerf <= x or y + b + kerf <= v or v + d + kerf <= y
    assert seen == Counter(range(len(pieces)))
    assert plan.bound <= plan.drawn


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 90), st.integers(1, 60)), max_size=20), st.integers(0, 3), st.booleans())
def test_rolls_hold_every_blank_once(pieces: list[Piece], kerf: int, cut_to_order: bool) -> None:
    roll = None if cut_to_order else 100
    plan = cut_rolls(pieces, 50, roll=roll, kerf=kerf)
    check_rolls(plan, pieces, 50, roll, kerf)
    assert set(plan.too_big) == {i for i, (_, b) in enumerate(pieces) if b > 50}
    area = sum(a * b for i, (a, b) in enumerate(pieces) if i not in plan.too_big)
    assert plan.drawn * 50 >= area


def test_panels_on_54_inch_goods() -> None:
    # Blanks of 54 × 80 in run one after another; two of 27 in lie side by side. 3 · 80 + 80 = 320 in.
    plan = cut_rolls([(80, 54)] * 3 + [(80, 27)] * 2, 54)
    assert (plan.drawn, plan.bound, plan.proven) == (320, 320, True)


def test_wide_blanks_cannot_share_although_area_says_so() -> None:
    # 30 of 54 in: area says ⌈4·10·30/54⌉ = 23, side by side is impossible: 40.
    plan = cut_rolls([(10, 30)] * 4, 54)
    assert (plan.drawn, plan.bound) == (40, 40)


def test_levels_go_on_as_few_rolls_as_their_lengths_allow() -> None:
    plan = cut_rolls([(60, 50), (40, 50), (60, 50), (40, 50)], 50, roll=100)
    assert [sum(level.length for level in levels) for levels in plan.rolls] == [100, 100]
