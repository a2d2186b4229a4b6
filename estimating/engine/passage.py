"""Whether a rolled cover gets from the kerb to the room, and where it is slit and patched.

Screening figures: a roll is taken as stiff and round. Steps, kerbs and what people can hold are judged on site.
Common practice, no published source; the turn is plain geometry.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from buildout.units.value import Reason, snap
from estimating.engine import said
from estimating.engine.mat_shape import Point, Ring, signed_area
from estimating.engine.rolled import HOLD_EVERY, SHARE, rolled_diameter
from estimating.engine.types import Bundle, PassageStep, Relief, RouteStep, Weld

CLEARANCE = 101.6
"""mm (4 in) of air round the roll in an opening."""
SHORTEST_ROLL = 1524.0
"""mm (5 ft): a cover folded narrower than this makes a roll too thick to hold."""
ROLL_STEP = 304.8
STRAIGHT_SIDES = 8
"""A cut-out with more corners than this is drawn for a round column: none of its corners is one."""
BUNDLE_PACKING = 0.5
"""Share of a folded bundle that is fabric: folds bulge and hold air. Common practice, no published source."""
LARGEST_BUNDLE, LEAST_BUNDLE = 1219.2, 304.8
"""mm: side of a bundle that still lies on a pallet (4 ft), and of one that still holds together (1 ft)."""
BUNDLE_STEP = 25.4
CORNER_CLEAR = 304.8
STAPLE_EVERY = 38.1
STAPLE_ROWS = 2
"""Staples each 1 1/2 in in two rows on the hook tape."""


def _narrowest(step: RouteStep) -> float:
    """mm of the place's least clear size, after a turn too; a height nobody measured is no limit."""
    sides = [float(step.width), float(step.height) if step.height is not None else math.inf]
    return min(*sides, float(step.into) if step.kind == "turn" and step.into is not None else math.inf)


def longest_round_turn(before: float, after: float, thickness: float) -> float:
    """Longest stiff roll of a thickness that turns a right-angle corner between two passages, mm.

    The least over all angles t of (a·sin t + b·cos t − D) / (sin t · cos t): with no thickness the ladder problem,
    (a^⅔ + b^⅔)^(3/2).

    >>> round(longest_round_turn(1000, 1000, 0), 1)
    2828.4
    >>> longest_round_turn(500, 2000, 600)
    0.0
    """
    if thickness >= min(before, after):
        return 0.0

    def reach(turn: float) -> float:
        sin, cos = math.sin(turn), math.cos(turn)
        return (before * sin + after * cos - thickness) / (sin * cos)

    low, high = 1e-4, math.pi / 2 - 1e-4
    turns = [low + (high - low) * k / 400 for k in range(401)]
    best = min(turns, key=reach)
    step = (high - low) / 400
    for _ in range(40):
        step /= 2
        best = min((max(low, best - step), best, min(high, best + step)), key=reach)
    return max(0.0, reach(best))


def passage(
    area: float, thickness: float, length: float, route: Sequence[RouteStep]
) -> tuple[float, list[PassageStep], list[Reason]]:
    """Roll length to use, every step of the route with its verdict, and what to do where the roll does not pass.

    ``area`` mm², ``thickness`` of the fabric and the ``length`` of roll preferred, mm. A shorter roll is thicker but
    turns where a long one cannot, so shorter ones are tried a foot at a time.
    """
    if not route:
        return length, [], []
    tried = [length]
    while tried[-1] - ROLL_STEP >= SHORTEST_ROLL:
        tried.append(tried[-1] - ROLL_STEP)
    chosen = next((w for w in tried if all(s.passes for s in _steps(area, thickness, w, route))), None)
    roll = chosen if chosen is not None else length
    steps = _steps(area, thickness, roll, route)
    stuck = [s for s in steps if not s.passes]
    where = route[0].id
    if chosen is None:
        text = "The rolled cover does not pass " + ", ".join(s.name for s in stuck) + ": " + stuck[0].text
        todo = (
            "Take the door off its hinges and measure again, look whether it passes folded (it creases), or ask the "
            "fabricator for two parts with a hook-and-loop joint along a weld, off the walk-on edge and the centre."
        )
        return roll, steps, [said.warning("cover-passage", text, stuck[0].step, todo)]
    folded = (
        f"Folded narrower first, to {said.length(roll)} instead of {said.length(length)}: " if roll < length else ""
    )
    text = (
        f"{folded}Screening figure: rolled {said.length(roll)} long the cover is about "
        f"{said.length(rolled_diameter(area, thickness, roll))} thick and passes {said.count(len(steps), 'place')} "
        "on its way. Whoever leads the carry judges on site."
    )
    reasons = [said.note("cover-passage", text, where)]
    unmeasured = [s.name for s in route if s.height is None]
    if unmeasured:
        text = f"Clear height missing: {', '.join(unmeasured)}."
        reasons.append(said.note("cover-passage-height", text, where, "Measure it."))
    return roll, steps, reasons


def fold_up(area: float, thickness: float, mass: float, route: Sequence[RouteStep]) -> tuple[Bundle | None, Reason]:
    """The shortest bundle of a folded cover that passes every place, and what to say about it.

    A square block of area × thickness ÷ packing, as thick as the openings let it be; thinner ones are tried an inch at
    a time where it does not get round a corner, which it meets as a stiff block does.
    """
    volume = area * thickness / BUNDLE_PACKING
    side = min(min(_narrowest(step) for step in route) - CLEARANCE, LARGEST_BUNDLE)
    tried: list[Bundle] = []
    while side >= LEAST_BUNDLE:
        length = max(side, volume / side**2)
        steps = _blocks(side, length, route)
        places = 2 * max(1, math.floor(length / HOLD_EVERY + 1e-9))
        tried.append(Bundle(side=snap(side), length=snap(length), places=places, steps=steps))
        if all(step.passes for step in steps):
            break
        side -= BUNDLE_STEP
    found = tried[-1] if tried and all(step.passes for step in tried[-1].steps) else None
    if found is None:
        text = "Not even folded into a bundle does it get through."
        todo = "Plan another way in, such as a window taken out, or ask the fabricator for parts."
        return None, said.warning("cover-folded", text, route[0].id, todo)
    size = f"{said.length(found.side)} square and {said.length(found.length)} long"
    text = f"Folded flat into a bundle about {size} it passes every place; folds crease it, so unfold it warm and soon."
    todo = "Whoever leads the carry judges on site."
    if mass > found.places * SHARE:
        text += (
            f" That is {said.mass(mass)} with {found.places} places to hold, more than {said.mass(SHARE)} each: "
            "wheels only, not hands."
        )
        todo = "Order a pallet jack or dollies and look at every step and sill on the way. " + todo
    return found, said.note("cover-folded", text, route[0].id, todo)


def _blocks(side: float, length: float, route: Sequence[RouteStep]) -> list[PassageStep]:
    """Whether a stiff block, square across, passes each place."""
    found = []
    for step in route:
        width, least = float(step.width), _narrowest(step)
        longest = length if side <= least - CLEARANCE + 0.005 else 0.0
        words = f"{said.length(side)} of bundle in {said.length(least)}"
        if step.kind == "turn" and longest > 0:
            longest = longest_round_turn(width, float(step.into or step.width), side)
            into = said.length(float(step.into or step.width))
            words += f", turning into {into}: at most {said.length(longest)} long"
        passes = longest > 0 and length <= longest + 0.005
        found.append(
            PassageStep(step=step.id, name=step.name, passes=passes, longest_roll=snap(longest), text=words)
        )  # fmt: skip
    return found


def _steps(area: float, thickness: float, length: float, route: Sequence[RouteStep]) -> list[PassageStep]:
    across = rolled_diameter(area, thickness, length)
    found = []
    for step in route:
        width, least = float(step.width), _narrowest(step)
        room = least - CLEARANCE
        fits = across <= room + 0.005
        longest = length if fits else 0.0
        words = f"{said.length(across)} of roll in {said.length(least)}"
        if step.kind == "turn":
            longest = longest_round_turn(width, float(step.into or step.width), across) if across <= room else 0.0
            words += (
                f", turning into {said.length(float(step.into or step.width))}: at most {said.length(longest)} long"
            )
            fits = fits and length <= longest + 0.005
        found.append(
            PassageStep(step=step.id, name=step.name, passes=fits, longest_roll=snap(longest), text=words)
        )  # fmt: skip
    return found


def least_harmful_joint(
    fabric: Any, welds: Sequence[Weld], kept_off: Any, thickness: float, length: float, route: Sequence[RouteStep]
) -> tuple[Weld | None, list[Reason]]:
    """The weld along which the cover could be made in two parts that both pass the route, and what to say about it.

    Least harmful is one out of ``kept_off`` (walk-on edges, zones), then the shortest, then the one that leaves the
    most even parts.
    """
    import shapely
    import shapely.ops

    tried = []
    for number, weld in enumerate(welds, 1):
        (ax, ay), (bx, by) = weld.a, weld.b
        run = math.dist(weld.a, weld.b)
        if run < 1:
            continue
        over = (2.0 * (bx - ax) / run, 2.0 * (by - ay) / run)
        line = shapely.LineString([(ax - over[0], ay - over[1]), (bx + over[0], by + over[1])])
        parts = [part.area for part in shapely.ops.split(fabric, line).geoms]
        if len(parts) != 2:
            continue
        fits = True
        for area in parts:
            _, steps, _ = passage(area, thickness, length, route)
            fits = fits and all(step.passes for step in steps)
        if fits:
            harm = line.intersection(kept_off).length if not kept_off.is_empty else 0.0
            tried.append((round(harm), round(run), round(abs(parts[0] - parts[1])), number, weld, parts))
    if not tried:
        text = "No single weld divides it into two parts that both pass as rolls."
        todo = "Plan for a folded bundle, or ask the fabricator for three parts."
        return None, [said.note("cover-parting", text, "welds", todo)]
    *_, number, weld, parts = min(tried, key=lambda t: t[:4])
    text = (
        f"If it has to come in two parts, a hook-and-loop joint along weld {number}, {said.length(weld.length)} long, "
        f"is the least harmful: parts of {said.area(max(parts))} and {said.area(min(parts))} both pass."
    )
    return weld, [said.note("cover-parting", text, "welds", "Ask the fabricator before ordering.")]


def to_spare(step: RouteStep, across: float, roll: float) -> float:
    """mm left over where a roll of thickness ``across`` and length ``roll`` passes; negative: by how much it does not.

    At an opening what is left of its smaller side beside the roll and its air, at a turn what the roll could be longer.

    >>> from buildout.units.lengths import Length
    >>> door = RouteStep(id="d", name="Door", kind="opening", width=Length.read("36 in"))
    >>> round(to_spare(door, 508.0, 3000.0) / 25.4, 2)  # 36 less 20 of roll and 4 of air
    12.0
    """
    width = float(step.width)
    room = _narrowest(step) - CLEARANCE - across
    if step.kind == "opening" or room < 0:
        return snap(room)
    return snap(longest_round_turn(width, float(step.into or step.width), across) - roll)


def reliefs(outline: Ring, cutouts: Sequence[Ring], walked: Any = None) -> list[Relief]:
    """Every cut-out with a slit to the edge, and every inner corner that needs a patch.

    The slit is the shortest that meets a side square and a foot away from its corners: one that ran into an inner
    corner would tear there. For the same reason it leaves a cut-out with straight sides in the middle of one. It ends
    on an edge that is ``walked`` on (an area, mm) only where it can end nowhere else.
    """
    import shapely

    def trodden(feet: Sequence[Point]) -> list[bool]:
        if walked is None or walked.is_empty or not feet:
            return [False] * len(feet)
        return [bool(gap < 1.0) for gap in shapely.distance(walked, shapely.points(feet)).tolist()]

    found = []
    fabric = shapely.Polygon(outline, [list(ring) for ring in cutouts]).buffer(0.5)
    for ring in cutouts:
        tried = []
        starts = list(ring)
        if len(ring) <= STRAIGHT_SIDES:
            starts = [((p[0] + q[0]) / 2, (p[1] + q[1]) / 2) for p, q in zip(ring, [*ring[1:], ring[0]], strict=True)]
        for a, b in zip(outline, outline[1:] + outline[:1], strict=True):
            run = math.dist(a, b)
            for p in starts:
                along = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / run
                if CORNER_CLEAR <= along <= run - CORNER_CLEAR:
                    foot = (a[0] + (b[0] - a[0]) * along / run, a[1] + (b[1] - a[1]) * along / run)
                    tried.append((round(math.dist(p, foot), 3), p, foot))
        ranked = sorted((walks, *t) for walks, t in zip(trodden([t[2] for t in tried]), tried, strict=True))
        inside = (t[2:] for t in ranked if fabric.covers(shapely.LineString(t[2:])))
        best = next(inside, None)
        if best is None:
            near: Any = shapely.shortest_line(shapely.LinearRing(ring), shapely.LinearRing(outline))
            best = (near.coords[0], near.coords[1])
        ends: list[Point] = [(snap(x), snap(y)) for x, y in best]
        centre = shapely.Polygon(ring).centroid
        found.append(
            Relief(
                kind="cut-out", at=(snap(centre.x), snap(centre.y)), slit=ends, slit_length=snap(math.dist(*ends)),
                walked_on=trodden([best[1]])[0],
            )
        )  # fmt: skip
    sign = 1.0 if signed_area(outline) > 0 else -1.0
    for k, here in enumerate(outline):
        before, after = outline[k - 1], outline[(k + 1) % len(outline)]
        if signed_area([before, here, after]) * sign < -1.0:
            found.append(Relief(kind="inner corner", at=here))
    return found


def staples(run: float) -> int:
    """Staples for so much hook tape, mm: two rows, one each 1 1/2 in, both ends doubled.

    >>> staples(3048)  # 10 ft: 80 spaces and so 81 in a row, two more at the ends
    166
    """
    if run <= 0:
        return 0
    return STAPLE_ROWS * (math.ceil(run / STAPLE_EVERY - 1e-9) + 1 + 2)
