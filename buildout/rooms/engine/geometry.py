"""Small plane geometry on named points, in millimetres, without a library."""

from __future__ import annotations

import math
from collections.abc import Sequence

Point = tuple[float, float]


def signed_area(ring: Sequence[Point]) -> float:
    """Shoelace area, positive when the ring runs anticlockwise.

    >>> signed_area([(0, 0), (40, 0), (40, 25), (28, 37), (0, 37)])
    1408.0
    """
    return sum(ring[k - 1][0] * ring[k][1] - ring[k][0] * ring[k - 1][1] for k in range(len(ring))) / 2


def distance(a: Point, b: Point) -> float:
    return math.hypot(b[0] - a[0], b[1] - a[1])


def cross(a: Point, b: Point, c: Point) -> float:
    """Twice the area of the triangle a, b, c; positive when c lies to the left of a→b."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _between(a: Point, b: Point, p: Point) -> bool:
    return min(a[0], b[0]) <= p[0] <= max(a[0], b[0]) and min(a[1], b[1]) <= p[1] <= max(a[1], b[1])


def segments_meet(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether two segments share a point, ends included."""
    one, two = cross(a, b, c), cross(a, b, d)
    three, four = cross(c, d, a), cross(c, d, b)
    if ((one > 0) != (two > 0)) and ((three > 0) != (four > 0)) and one and two and three and four:
        return True
    return (
        (one == 0 and _between(a, b, c))
        or (two == 0 and _between(a, b, d))
        or (three == 0 and _between(c, d, a))
        or (four == 0 and _between(c, d, b))
    )


def crossing_sides(ring: Sequence[Point]) -> tuple[int, int] | None:
    """First pair of sides (by their first corner) that cross or touch without being neighbours; None if simple."""
    n = len(ring)
    for i in range(n):
        for j in range(i + 1, n):
            if j == i + 1 or (i == 0 and j == n - 1):
                continue
            if segments_meet(ring[i], ring[(i + 1) % n], ring[j], ring[(j + 1) % n]):
                return i, j
    return None


def contains(ring: Sequence[Point], p: Point) -> bool:
    """Whether a point lies inside a ring (crossings of a ray to the right)."""
    inside = False
    for k in range(len(ring)):
        a, b = ring[k - 1], ring[k]
        if (a[1] > p[1]) != (b[1] > p[1]) and p[0] < (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]) + a[0]:
            inside = not inside
    return inside


def inside_or_near(ring: Sequence[Point], p: Point, within: float) -> bool:
    """Whether a point lies inside a ring or no farther than ``within`` from its sides."""
    if contains(ring, p):
        return True
    for k in range(len(ring)):
        a, b = ring[k - 1], ring[k]
        square = max((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2, 1e-12)
        share = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / square
        share = min(1.0, max(0.0, share))
        if distance(p, (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]))) <= within:
            return True
    return False


def base_side(ring: Sequence[Point], holes: Sequence[Sequence[Point]] = ()) -> int:
    """The corner that starts the side which holes in a ring are measured along and off.

    It is the longest side beside which every hole lies in its whole width, so that no dimension along it is negative
    or runs past its end; where there is none, the one with most holes beside it; the first of equals.

    >>> base_side([(0, 0), (5, 0), (9, 0.1), (9, 7), (0, 7)], [[(6, 1), (7, 1), (7, 2)], [(1, 1), (2, 1), (2, 2)]])
    3
    """
    n = len(ring)

    def beside(k: int) -> int:
        (ax, ay), (bx, by) = ring[k], ring[(k + 1) % n]
        size = max(distance(ring[k], ring[(k + 1) % n]), 1e-9)
        ux, uy = (bx - ax) / size, (by - ay) / size
        return sum(all(0 <= (x - ax) * ux + (y - ay) * uy <= size for x, y in hole) for hole in holes)

    return max(range(n), key=lambda k: (beside(k), round(distance(ring[k], ring[(k + 1) % n])), -k))


def interior_angles(ring: Sequence[Point]) -> list[float]:
    """Angle inside the ring at each corner, degrees, 0 to 360, whichever way the ring runs."""
    sign = 1 if signed_area(ring) > 0 else -1
    angles = []
    for k in range(len(ring)):
        before, here, after = ring[k - 1], ring[k], ring[(k + 1) % len(ring)]
        into = math.atan2(here[1] - before[1], here[0] - before[0])
        out = math.atan2(after[1] - here[1], after[0] - here[0])
        turn = math.degrees(sign * (out - into))
        angles.append(180 - ((turn + 180) % 360 - 180))
    return angles


def in_sight(ring: Sequence[Point], a: Point, b: Point, step: float = 5.0) -> bool:
    """Whether a tape can run straight from a to b inside the ring, ``step`` mm of grazing allowed."""
    length = distance(a, b)
    if length <= 4 * step:
        return True
    ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    start, end = (a[0] + ux * step, a[1] + uy * step), (b[0] - ux * step, b[1] - uy * step)
    walls = [(ring[k - 1], ring[k]) for k in range(len(ring))]
    if any((a in wall and b in wall) for wall in walls):
        return True
    low_x, high_x = (start[0], end[0]) if start[0] < end[0] else (end[0], start[0])
    low_y, high_y = (start[1], end[1]) if start[1] < end[1] else (end[1], start[1])
    for c, d in walls:
        if (c[0] < low_x and d[0] < low_x) or (c[0] > high_x and d[0] > high_x):
            continue
        if (c[1] < low_y and d[1] < low_y) or (c[1] > high_y and d[1] > high_y):
            continue
        if segments_meet(start, end, c, d):
            return False
    return contains(ring, ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2))
