"""How many stock pieces a set of rectangles needs, by a quick guillotine first fit.

Used to compare floor layouts with each other, hundreds of times in one run; the plan people cut by is
made by ``estimating.engine.cut_plans``.
"""

from __future__ import annotations

import math

SLACK = 0.02
"""mm by which a blank may exceed its space: two snapping steps."""


def sheets_needed(
    boxes: list[tuple[float, float]], length: float, width: float, *, kerf: float = 0.0, turns: bool = True
) -> int:
    """Stock pieces of ``length`` × ``width`` that hold all ``boxes`` (length, width), all in mm.

    Largest first into the space that fits tightest, every space split by one straight cut across
    (Jylänki, "A thousand ways to pack the bin", 2010: guillotine, best short side fit). The better of two
    orders counts. A box larger than the stock takes as many stock pieces as its area needs.

    >>> sheets_needed([(48, 48), (48, 48), (48, 24)], 96, 48)
    2
    """
    if not boxes:
        return 0
    by_area = sorted(boxes, key=lambda b: (-b[0] * b[1], -b[0], -b[1]))
    by_side = sorted(boxes, key=lambda b: (-max(b), -min(b), -b[0]))
    first = _pack(by_area, length, width, kerf, turns)
    least = -int(-(sum(a * b for a, b in boxes) - SLACK * length) // (length * width))
    if by_side == by_area or first <= least:
        return first
    return min(first, _pack(by_side, length, width, kerf, turns))


def _pack(boxes: list[tuple[float, float]], length: float, width: float, kerf: float, turns: bool) -> int:
    spaces: list[tuple[float, float]] = []
    used = 0
    for box in boxes:
        a, b = box
        both = turns and abs(a - b) > SLACK
        # The least that is over on either side, then on the other; of equals the first space, not turned if narrower.
        tight = loose = math.inf
        best = -1
        turned = False
        for place, (free_l, free_w) in enumerate(spaces):
            one, two = free_l - a, free_w - b
            if one >= -SLACK and two >= -SLACK:
                if one > two:
                    one, two = two, one
                if one < tight or (one == tight and two < loose):
                    tight, loose, best, turned = one, two, place, False
            if both:
                one, two = free_l - b, free_w - a
                if one >= -SLACK and two >= -SLACK:
                    if one > two:
                        one, two = two, one
                    same = one == tight and two == loose and best == place and b < a
                    if one < tight or (one == tight and two < loose) or same:
                        tight, loose, best, turned = one, two, place, True
        if best < 0:
            turned = not (a <= length + SLACK and b <= width + SLACK)
            if turned and not (both and b <= length + SLACK and a <= width + SLACK):
                used += max(1, -int(-(a * b) // (length * width)))
                continue
            used += 1
            free_l, free_w = length, width
        else:
            free_l, free_w = spaces.pop(best)
        if turned:
            a, b = b, a
        over_l, over_w = free_l - a - kerf, free_w - b - kerf
        if over_l * free_w >= over_w * free_l:  # cut across first where that leaves the larger piece whole
            rest = ((over_l, free_w), (a, over_w))
        else:
            rest = ((over_l, b), (free_l, over_w))
        for p, q in rest:
            if p > SLACK and q > SLACK:
                spaces.append((p, q))
    return used
