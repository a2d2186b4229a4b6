"""The bound by dual feasible functions: hand-solved cases, and never above a plan."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimating.engine.cut_sheets import cut_sheets
from estimating.engine.sheet_bound import fewest_sheets


@pytest.mark.parametrize(
    ("kinds", "demand", "sheet", "turns", "fewest"),
    [
        ([(96, 48)], [5], (96, 48), True, 5),  # whole sheets
        ([(6, 6)], [3], (10, 10), True, 3),  # 1.08 by area; no two lie on one sheet
        ([(10, 4)], [5], (10, 10), False, 3),  # two strips of 4 on each: 2.5, where the area says 2
        ([(5, 5)], [8], (10, 10), True, 2),  # four quarters on each
        ([(34, 34)], [9], (100, 100), True, 3),  # two by two on each: 9 / 4, where the area says 1.04
        ([(7, 2)], [7], (10, 4), True, 4),  # neither end to end nor turned: two on each, 3.5
        ([(60, 48), (36, 48)], [3, 3], (96, 48), False, 3),  # each long one with a short one beside it
    ],
)
def test_bounds_worked_by_hand(
    kinds: list[tuple[int, int]], demand: list[int], sheet: tuple[int, int], turns: bool, fewest: int
) -> None:
    assert fewest_sheets(kinds, demand, sheet, turns=turns) == fewest


def test_nothing_needs_no_sheet() -> None:
    assert fewest_sheets([], [], (10, 10), turns=True) == 0


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    pieces=st.lists(st.tuples(st.integers(1, 24), st.integers(1, 12)), min_size=1, max_size=14),
    kerf=st.integers(0, 2),
    turns=st.booleans(),
)
def test_never_above_a_plan_nor_below_the_area(pieces: list[tuple[int, int]], kerf: int, turns: bool) -> None:
    plan = cut_sheets(pieces, (24, 12), kerf=kerf, turns=turns)
    counted = Counter((a + kerf, b + kerf) for a, b in pieces)
    room = (24 + kerf, 12 + kerf)
    bound = fewest_sheets(list(counted), list(counted.values()), room, turns=turns)
    area = sum(a * b * n for (a, b), n in counted.items())
    assert -(-area // (room[0] * room[1])) <= bound <= plan.bound <= len(plan.sheets)
