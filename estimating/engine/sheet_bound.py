"""How few sheets rectangles can come from, whichever way they are cut: by dual feasible functions.

Such a function gives every length between nothing and a full side another one, so that lengths that fit side by
side still do. With one function along the sheet and one across it, the areas of the pieces so changed bound the
sheets as plain areas do, and often come out higher (Fekete & Schepers, Math. Meth. Oper. Res. 60, 2004, 311-329).
Where pieces may be turned each counts the way round that is worth less.

Sizes are whole numbers with the kerf already added to pieces and sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

MOST_STEPS = 24
"""Thresholds tried per side, the largest first; more than that seldom sharpen the bound."""
PARTS = 6
"""Shares (halves, thirds, …) tried besides."""


def fewest_sheets(
    kinds: Sequence[tuple[int, int]], demand: Sequence[int], sheet: tuple[int, int], *, turns: bool
) -> int:
    """No plan, cut edge to edge or not, needs fewer sheets. Every kind must fit the sheet.

    >>> fewest_sheets([(6, 6)], [3], (10, 10), turns=True)  # by area two would do, yet no two lie on one sheet
    3
    """
    import numpy as np

    if not kinds:
        return 0
    long, short = np.array(kinds).T
    straight = (long <= sheet[0]) & (short <= sheet[1])
    turned = (short <= sheet[0]) & (long <= sheet[1]) & turns
    one = np.where(straight, long, short), np.where(straight, short, long)
    two = np.where(turned, short, one[0]), np.where(turned, long, one[1])
    number = np.array(demand, dtype=float)
    f, below_f = _changed(np.concatenate([one[0], two[0]]), sheet[0])
    g, below_g = _changed(np.concatenate([one[1], two[1]]), sheet[1])
    along, across = f / below_f[:, None], g / below_g[:, None]
    n = len(kinds)
    if (turned & straight).any():
        first = along[:, None, :n] * across[None, :, :n]
        worth = np.minimum(first, along[:, None, n:] * across[None, :, n:], out=first) @ number
    else:
        worth = (along[:, :n] * number) @ across[:, :n].T
    i, j = np.unravel_index(int(np.argmax(worth)), worth.shape)
    # The best pair once more in whole numbers, so that no rounding lifts the bound.
    area = np.minimum(f[i, :n] * g[j, :n], f[i, n:] * g[j, n:])
    total = Fraction(sum(a * d for a, d in zip(area.tolist(), demand, strict=True)), int(below_f[i]) * int(below_g[j]))
    return -int(-total // 1)


def _changed(sides: Any, room: int) -> tuple[Any, Any]:
    """What the functions make of the sides of the pieces: numerators, a row for each function, and denominators."""
    import numpy as np

    parts = np.arange(1, PARTS + 1)[:, None]
    often = (parts + 1) * sides
    shared = np.where(often % room == 0, sides * parts, often // room * room)
    half = 2 * sides
    steps = np.unique(np.concatenate([sides[half <= room], room - sides[half > room], room - sides[half > room] + 1]))
    steps = steps[(steps >= 1) & (2 * steps <= room)][::-1][:MOST_STEPS, None]
    # Whatever leaves less than a step beside it counts as a full side, whatever is less than a step as nothing.
    full = np.where(sides > room - steps, room, np.where(sides >= steps, sides, 0))
    whole = room // steps
    counted = np.where(half > room, 2 * (whole - (room - sides) // steps), 2 * (sides // steps))
    counted = np.where(half == room, whole, counted)
    tops = np.concatenate([sides[None, :], shared, full, counted])
    below = np.concatenate([[room], room * parts[:, 0], np.full(len(steps), room), 2 * whole[:, 0]])
    return tops, below
