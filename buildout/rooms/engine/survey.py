"""From tape readings to the shape of a room, with every reading kept and judged.

Method: weighted least squares on point coordinates, readings weighted by what a tape or laser is good
for, one wrong reading at a time tested by standardised residuals (W. Baarda, A testing procedure for use
in geodetic networks, 1968). A reading is only named wrong when leaving it out explains the misfit clearly
better than leaving out any other; otherwise the readings in question are called undecided.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import msgspec
import numpy as np

from buildout.rooms.engine import geometry
from buildout.rooms.engine.advice import check_mirrors, deciding, tell_loose
from buildout.rooms.engine.geometry import Point
from buildout.rooms.engine.network import (
    CHECKED,
    DELTA,
    LIMIT,
    RIVAL,
    Adjusted,
    Array,
    Distance,
    End,
    Network,
    chi_square_limit,
)
from buildout.rooms.engine.observations import SIDES, Work, corner_offset, listed, prepare, reading_name
from buildout.rooms.engine.shape import (
    GRAZE,
    Shape,
    Tie,
    Ties,
    find_shapes,
    is_sound,
    joined_thrice,
    quick_starts,
)
from buildout.rooms.engine.slips import find_slip
from buildout.rooms.engine.types import FIXING, Reading, Room, Survey, SurveyedLength, SurveyedPoint
from buildout.rooms.engine.types import SurveyedReading as Judged
from buildout.units.lengths import INCH_MM
from buildout.units.value import Reason, Status, snap

HALF_INCH = 12.7
"""A disagreement beyond this is a mistake, not an error of the tape (common practice, no published source)."""
NINETY_FIVE = 1.96
POORLY_CHECKED = 0.1
MOST_WRONG = 3
"""More wrong readings than this are not untangled: the room is to be taped again."""
MANY = 40
"""From this many readings on the test gets stricter, so that the room as a whole raises no more false alarms.
Rooms with more points than this list only the diagonals that were taped."""


@dataclass(frozen=True)
class Solution:
    """What an adjustment stood on, for questions that go beyond the survey."""

    work: Work
    network: Network
    """Without the readings set aside."""
    x: Array
    adjusted: Adjusted


def adjust(room: Room) -> Survey:
    """Adjust a room's readings.

    Returns coordinates in mm (datum corner at the origin, datum wall along +x), every reading with its
    residual and verdict, wall lengths, angles and area. ``status``: ``proven`` when all readings agree and
    check each other; ``feasible`` when the room can be relied on but something was set aside or stays
    unchecked; ``underdetermined`` when the readings leave points loose or leave open which of them is wrong;
    ``infeasible`` when no room has these readings; ``empty`` when no corners are named. Never raises for
    readings that make no sense: they are named in ``reasons``.
    """
    return solve(room)[0]


def solve(room: Room) -> tuple[Survey, Solution | None]:
    """Adjust a room's readings and keep the network; None in its place where the readings fix no room."""
    if not room.corners:
        return _nothing(room, "empty", [_no_corners(room)]), None
    work = prepare(room)
    if any(r.code in ("corners", "datum", "too many") for r in work.reasons):
        return _nothing(room, "infeasible", work.reasons), None
    if not work.observations:
        work.stop(
            "no readings", "No reading fixes this room yet.", room.id,
            "Tape every wall first, then at least one diagonal for every extra corner.",
        )  # fmt: skip
        return _nothing(room, "underdetermined", work.reasons, loose=work.names[1:], work=work), None
    return _adjust(work)


def _no_corners(room: Room) -> Reason:
    return Reason(
        code="no corners", text="The room has no corners yet.", where=room.id, severity="stop",
        todo="Name the corners in order round the room, such as A, B, C, D.",
    )  # fmt: skip


def _nothing(
    room: Room, status: Status, reasons: list[Reason], loose: Sequence[str] = (), work: Work | None = None
) -> Survey:
    refused = work.refused if work else {}
    readings = [unjudged(r, refused.get(r.id, "")) for r in room.readings]
    return Survey(
        room=room.id, status=status, points=[], readings=readings, walls=[], diagonals=[], angles={}, area=0.0,
        perimeter=0.0, degrees_of_freedom=0, misfit=0.0, loose=list(loose), undecided=[], reasons=reasons,
    )  # fmt: skip


def unjudged(r: Reading, why: str) -> Judged:
    """A reading as listed where nothing could be adjusted, or where it fixes no point."""
    verdict: Literal["set aside", "recorded", "unchecked"]
    verdict = "set aside" if why else "unchecked" if r.kind in FIXING else "recorded"
    return Judged(
        id=r.id, start=r.start, end=r.end, observed=snap(r.value.mm), adjusted=snap(r.value.mm), residual=0.0,
        redundancy=0.0, standardised=None, used=r.kind not in FIXING and not why, verdict=verdict, why=why,
        kind=r.kind, point=r.point, tool=r.tool,
    )  # fmt: skip


# ---------------------------------------------------------------- adjusting


def _adjust(work: Work) -> tuple[Survey, Solution | None]:
    network = work.network()
    shapes, clean = _shapes(work, network)
    start = shapes[0].x
    x = start if clean is not None else network.fit(start)
    adjusted = clean if clean is not None else network.judge(x)
    if adjusted.loose or (clean is None and network.judge(start).loose):
        return _loose(work, network, x if adjusted.loose else network.fit(start)), None
    aside: list[str] = []
    undecided: list[str] = []
    spread = 0.0
    rivals: list[Rival] = []
    whole = adjusted
    limit = limit_for(len(work.observations))
    if adjusted.freedom > 0 and _worst(adjusted) > limit:
        aside, undecided, spread, rivals = _explain(work, start, adjusted, limit)
        if aside:
            network = work.network(aside)
            adjusted = rivals[0][2]
            x = network.pack(adjusted.points)
    wanted = deciding(work, [(group, judged.points) for _, group, judged in rivals]) if undecided else []
    _tell_wrong(work, whole, adjusted, aside, undecided, spread)
    if wanted:
        work.note("deciding reading", wanted[0].text, undecided[0], f"Tape {wanted[0].start}–{wanted[0].end} next.")
    settled = not undecided or spread <= HALF_INCH
    if settled:
        _check_agreement(work, adjusted, limit)
        check_mirrors(work, network, x, shapes, checked=not _unchecked(adjusted, network))
    _check_triangles(work, aside)
    _check_outline(work, adjusted)
    _tell_unchecked(work, adjusted, network)
    stops = [r for r in work.reasons if r.severity == "stop"]
    status: Status
    if any(r.code not in ("undecided", "mirror") for r in stops):
        status = "infeasible"
    elif stops:
        status = "underdetermined"
    elif any(r.severity == "warning" for r in work.reasons) or _unchecked(adjusted, network):
        status = "feasible"
    else:
        status = "proven"
    survey = _result(work, network, x, adjusted, whole, aside, undecided, status)
    if undecided:
        sets = [list(group) for _, group, _ in rivals]
        survey = msgspec.structs.replace(survey, undecided_sets=sets, wanted=wanted)
    return survey, Solution(work, network, x, adjusted)


def limit_for(count: int) -> float:
    """Limit of the standardised residuals: 3.29 (0.001 a reading), stricter from 40 readings on.

    One room then raises a false alarm in at most about one of 25 cases (Bonferroni's inequality).
    """
    if count <= MANY:
        return LIMIT
    from scipy.special import ndtri

    return float(-ndtri(0.5 * 0.001 * MANY / count))


def _shapes(work: Work, network: Network) -> tuple[list[Shape], Adjusted | None]:
    """Starting shapes, best first; with the adjusted network where all readings agree at once.

    Readings that agree, all of them checked, in a room no part of which can be turned over, leave only one
    shape. Anything else goes through the search for all shapes that fit.
    """
    corners, others, ties = work.corners, work.others, _ties(work)
    starts = quick_starts(
        network, corners, others, ties, clockwise=work.clockwise, origin=work.origin, along=work.along
    )
    thrice = len(starts) > 0 and joined_thrice(work.names, network.observations)
    for start in starts if thrice else []:
        x = network.fit(start)
        adjusted = network.judge(x)
        if (
            not adjusted.loose
            and adjusted.freedom > 0
            and float(adjusted.redundancy.min()) >= CHECKED
            and _worst(adjusted) <= limit_for(len(work.observations))
            and adjusted.misfit <= chi_square_limit(adjusted.freedom, 0.001)
            and is_sound(network, x, corners, others, work.clockwise)
        ):
            return [Shape(x=x, cost=adjusted.misfit, sound=True, skew=0.0)], adjusted
    # A start spoilt by one reading can be drawn to a wrong room that gives up only two or three readings, so
    # nothing short of the search for all shapes may say which room it is.
    return find_shapes(
        network, corners, others, ties, clockwise=work.clockwise, origin=work.origin, along=work.along
    ), None


def _ties(work: Work, without: Sequence[str] = ()) -> Ties:
    lengths = [
        Tie(start=d.start.point, end=d.end.point, value=d.value + d.start.radius + d.end.radius)
        for d in work.lengths
        if d.id not in without
    ]
    others = [o for i, o in work.observations.items() if i not in without and not isinstance(o, Distance)]
    return Ties(lengths, others)


def _worst(adjusted: Adjusted) -> float:
    return max((abs(w) for w in adjusted.standardised if w is not None), default=0.0)


Rival = tuple[float, tuple[str, ...], Adjusted]
"""vᵀPv without a group of readings, the group, the room without it."""


def _explain(
    work: Work, start: Array, adjusted: Adjusted, limit: float
) -> tuple[list[str], list[str], float, list[Rival]]:
    """Which readings to set aside; or which are undecided and how far apart they would put the room.

    One reading is tried first, then pairs and triples when one is not enough. A set is named only when no
    rival of its size comes within 10.8 of its vᵀPv.
    """
    ids = list(work.observations)
    ranked = sorted(
        (-abs(w), k) for k, w in enumerate(adjusted.standardised) if w is not None and adjusted.redundancy[k] >= CHECKED
    )
    suspects = [ids[k] for _, k in ranked[:6]]
    far = work.network()
    off = (far.evaluate(start)[0] - far.observed) / far.sigma
    outliers = [ids[k] for k in sorted(range(len(ids)), key=lambda k: (-abs(off[k]), k)) if abs(off[k]) > limit]
    rivals: list[Rival] = []
    for size in range(1, MOST_WRONG + 1):
        if adjusted.freedom < size:
            break
        pool = list(dict.fromkeys([*outliers[:6], *suspects]))
        pool = list(dict.fromkeys([*suspects, *pool])) if size == 1 else pool[:8]
        tried = []
        for group in itertools.combinations(pool, size):
            judged = _without(work, group, start, limit)
            if judged is not None:
                tried.append((judged.misfit, group, judged))
        tried.sort(key=lambda t: (t[0], t[1]))
        if not tried:
            break
        rivals = [t for t in tried if t[0] <= tried[0][0] + RIVAL]
        if _worst(tried[0][2]) <= limit:
            break
    else:
        rivals = []
    if not rivals or _worst(rivals[0][2]) > limit:
        named = list(dict.fromkeys([*outliers, *suspects]))
        return [], [i for i in ids if i in named], math.inf, []
    if len(rivals) == 1:
        return list(rivals[0][1]), [], 0.0, rivals
    spread = max(
        geometry.distance(a[2].points[n], b[2].points[n])
        for a, b in itertools.combinations(rivals, 2)
        for n in work.names
    )
    named = [i for _, group, _ in rivals for i in group]
    return [], [i for i in ids if i in named], spread, rivals


def _without(work: Work, group: tuple[str, ...], start: Array, limit: float) -> Adjusted | None:
    """The room without some readings; None when points become loose.

    One very wrong reading can pull the start to another shape, from which leaving it out does not lead back; so a
    single reading left out is also tried from a closed-form start that never used it.
    """
    network = work.network(group)
    judged = network.judge(network.fit(start))
    if judged.loose:
        return None
    if len(group) == 1 and _worst(judged) > limit:
        ties = _ties(work, group)
        for fresh in quick_starts(
            network, work.corners, work.others, ties, clockwise=work.clockwise, origin=work.origin, along=work.along
        ):
            x = network.fit(fresh)
            again = network.judge(x)
            if again.misfit < judged.misfit and is_sound(network, x, work.corners, work.others, work.clockwise):
                judged = again
    return judged


def _tell_wrong(
    work: Work, whole: Adjusted, adjusted: Adjusted, aside: list[str], undecided: list[str], spread: float
) -> None:
    for reading_id in aside:
        reading = next(r for r in work.readings if r.id == reading_id)
        better, within = _predict(work, aside, adjusted, reading_id)
        short = better - float(reading.value.mm)
        slip = _hint(work, adjusted, reading, better, within)
        what = f"{reading.start}–{reading.end}" if reading.kind == "distance" else f"reading {reading_name(reading)}"
        verb = "Tape" if reading.kind == "distance" else "Take"
        size = _size(work, short, max(3 * within, HALF_INCH / 2))
        work.warn(
            "blunder",
            f"Reading {work.name(reading_id)} is set aside: it says {reading.value.text.strip()}, but the other "
            f"readings agree on {work.long(better)} (± {work.small(NINETY_FIVE * within)}). "
            f"It is about {size} too {'short' if short > 0 else 'long'}{slip}.",
            reading_id,
            f"{verb} {what} again and write the new reading; {work.long(better)} is expected.",
        )
    if undecided and math.isinf(spread):
        work.stop(
            "undecided",
            "Several readings are wrong and they cannot be told apart. The readings in question are "
            f"{listed([work.name(i) for i in undecided])}.",
            undecided[0], "Tape these again, the longest first, and add a control mark tied to every corner.",
        )  # fmt: skip
    elif undecided:
        text = (
            f"The readings do not fit together, and the geometry cannot say which one is wrong: "
            f"{listed([work.name(i) for i in undecided])}. Any one of them explains it equally well."
        )
        todo = "Tape them again. A control mark on the floor tied to every corner would show which one is off."
        if spread <= HALF_INCH:
            work.warn("undecided", f"{text} The room changes by at most {work.small(spread)}.", undecided[0], todo)
        else:
            work.stop("undecided", f"{text} The room would differ by {work.long(spread)}.", undecided[0], todo)


def _predict(work: Work, aside: Sequence[str], adjusted: Adjusted, reading_id: str) -> tuple[float, float]:
    """What a reading left out should have shown, and the standard deviation of that."""
    probe = Network(work.names, [work.observations[reading_id]], work.fixed)
    computed, design = probe.evaluate(probe.pack(adjusted.points))
    variance = float(design[0] @ adjusted.cofactor @ design[0])
    return float(computed[0]), math.sqrt(max(0.0, variance))


def _size(work: Work, short: float, within: float) -> str:
    """How far a reading is off: whole inches where it is about that, feet from two feet up."""
    inch = float(INCH_MM)
    if work.units == "metric" or abs(short) > 24.5 * inch:
        return work.long(abs(short))
    whole = round(abs(short) / inch)
    if whole and abs(abs(short) - whole * inch) <= within:
        return f"{whole} in"
    return work.small(abs(short), 8)


def _hint(work: Work, adjusted: Adjusted, reading: Reading, better: float, within: float) -> str:
    near = max(3 * within, HALF_INCH / 2)
    return find_slip(reading.value, better, near) or _other_corner(work, adjusted, reading, within)


def _other_corner(work: Work, adjusted: Adjusted, reading: Reading, within: float) -> str:
    """Whether the written length is that to another corner or mark from one of the two ends."""
    if reading.kind != "distance":
        return ""
    plain = [n for n in work.names if n in work.corners or n in work.room.marks]
    for here, there in ((reading.start, reading.end), (reading.end, reading.start)):
        if here not in plain:
            continue
        for name in plain:
            if name in (here, there):
                continue
            away = geometry.distance(adjusted.points[here], adjusted.points[name])
            if abs(away - float(reading.value.mm)) <= max(3 * within, HALF_INCH / 2):
                return f". It would fit {here}–{name}"
    return ""


def _check_agreement(work: Work, adjusted: Adjusted, most: float) -> None:
    if adjusted.freedom > 0 and _worst(adjusted) <= most:
        limit = chi_square_limit(adjusted.freedom, 0.001)
        if adjusted.misfit > limit:
            work.warn(
                "loose agreement",
                "No single reading stands out, but together they agree less well than a careful taping does.",
                work.room.id, "Check the tape against another one, and tape the longest readings again.",
            )  # fmt: skip
    if adjusted.freedom == 0:
        work.warn(
            "nothing checked",
            "There are just enough readings to draw the room and none to check it: a wrong one would not show.",
            work.room.id, "Tape at least one more diagonal, or a control mark tied to every corner.",
        )  # fmt: skip


def _check_triangles(work: Work, aside: Sequence[str]) -> None:
    """Three readings between three points of which one is longer than the other two together."""
    between: dict[tuple[str, str], tuple[float, float, str]] = {}
    near: dict[str, set[str]] = {name: set() for name in work.names}
    for d in work.lengths:
        if d.id in aside or d.start.offset != (0.0, 0.0) or d.end.offset != (0.0, 0.0):
            continue
        one, two = d.points
        pair = (min(one, two), max(one, two))
        between.setdefault(pair, (d.value + d.start.radius + d.end.radius, d.sigma, d.id))
        near[one].add(two)
        near[two].add(one)
    met = sorted((a, b, c) for a, b in between for c in near[a] & near[b] if b < c)
    for a, b, c in met:
        sides = [between[p] for p in ((a, b), (b, c), (a, c))]
        longest = max(sides)
        rest = [s for s in sides if s is not longest]
        gap = longest[0] - rest[0][0] - rest[1][0]
        if gap > LIMIT * math.sqrt(sum(s[1] ** 2 for s in sides)):
            work.stop(
                "triangle",
                f"Readings {listed([work.name(s[2]) for s in sorted(sides, key=lambda s: s[2])])} cannot meet: "
                f"{work.name(longest[2])} is {work.long(gap)} longer than the other two together.",
                longest[2], "Tape these three again.",
            )  # fmt: skip


def _check_outline(work: Work, adjusted: Adjusted) -> None:
    ring = [adjusted.points[name] for name in work.corners]
    crossed = geometry.crossing_sides(ring)
    if crossed is not None:
        n = len(ring)
        one, two = (f"{work.corners[k]}–{work.corners[(k + 1) % n]}" for k in crossed)
        work.stop(
            "outline crosses itself", f"Walls {one} and {two} cross each other.", one,
            "Check that the corners are in order round the room and that the readings name the right corners.",
        )  # fmt: skip
        return
    if (geometry.signed_area(ring) < 0) != work.clockwise:
        work.stop(
            "turning", f"The readings do not allow the corners to run {work.room.turning} round the room.",
            work.room.id, "Check the order of the corners and which way round they run.",
        )  # fmt: skip
        return
    for column in work.room.columns:
        if not geometry.inside_or_near(ring, adjusted.points[column.id], GRAZE):
            work.stop(
                "column outside", f"Column {column.id} falls outside the room.", column.id,
                f"Check the readings to {column.id}: one may start at another corner.",
            )  # fmt: skip
    for mark in work.room.marks:
        if not geometry.inside_or_near(ring, adjusted.points[mark], GRAZE):
            work.warn("mark outside", f"Mark {mark} falls outside the room.", mark, f"Check the readings to {mark}.")


def _unchecked(adjusted: Adjusted, network: Network) -> list[str]:
    return [d.id for d, r in zip(network.observations, adjusted.redundancy, strict=True) if r < CHECKED]


def _tell_unchecked(work: Work, adjusted: Adjusted, network: Network) -> None:
    if adjusted.freedom == 0:
        return
    shares = list(zip((o.id for o in network.observations), adjusted.redundancy.tolist(), strict=True))
    alone = [i for i, r in shares if r < CHECKED]
    weak = [i for i, r in shares if CHECKED <= r < POORLY_CHECKED]
    if alone:
        work.warn(
            "unchecked", f"No other reading checks {listed([work.name(i) for i in alone])}: a mistake would not show.",
            alone[0], "Tape it a second time from the other end, as a separate reading.",
        )  # fmt: skip
    if weak:
        work.note(
            "weakly checked",
            f"A mistake would hardly show in {listed([work.name(i) for i in weak])}.",
            weak[0], "Tape it a second time from the other end, as a separate reading.",
        )  # fmt: skip


# ---------------------------------------------------------------- loose rooms


def _loose(work: Work, network: Network, x: Array) -> Survey:
    adjusted = network.judge(x)
    _check_triangles(work, [])
    broken = any(r.code in ("triangle", "walls cannot close") for r in work.reasons)
    wanted, loose_points = tell_loose(work, network, x, adjusted, broken=broken)
    kept = {n: p for n, p in adjusted.points.items() if n not in adjusted.loose}
    points = [_point(work, n, p, adjusted) for n, p in kept.items() if n in work.corners or n in work.room.marks]
    if len(points) < 2:
        points = []
    readings = []
    for r in work.readings:
        judged = unjudged(r, work.refused.get(r.id, ""))
        readings.append(msgspec.structs.replace(judged, used=not judged.why))
    n = len(work.corners)
    sides = [(a, work.corners[(k + 1) % n]) for k, a in enumerate(work.corners)]
    held = [(a, b) for a, b in sides if a in kept and b in kept] if len(points) > 1 else []
    return Survey(
        room=work.room.id, status="infeasible" if broken else "underdetermined", points=points, readings=readings,
        walls=lengths_between(network, adjusted, held), diagonals=[], angles={}, area=0.0, perimeter=0.0,
        degrees_of_freedom=adjusted.freedom, misfit=snap(adjusted.misfit, 1e-4), loose=adjusted.loose, undecided=[],
        reasons=work.reasons, loose_points=loose_points, wanted=wanted,
    )  # fmt: skip


# ---------------------------------------------------------------- result


def _result(
    work: Work, network: Network, x: Array, adjusted: Adjusted, whole: Adjusted,
    aside: Sequence[str], undecided: Sequence[str], status: Status,
) -> Survey:  # fmt: skip
    ring = [adjusted.points[n] for n in work.corners]
    points = [_point(work, n, adjusted.points[n], adjusted) for n in work.names]
    for column in work.room.columns:
        if column.shape == "rectangular" and column.width and column.depth:
            for side in SIDES:
                offset, frame = corner_offset(column, side, work)
                spot = network.spot(x, End(column.id, offset=offset, frame=frame))
                points.append(_point(work, column.id, spot, adjusted, name=f"{column.id}.{side}"))
    readings = _judged(work, network, adjusted, whole, aside, undecided)
    n = len(work.corners)
    sides = [(c, work.corners[(k + 1) % n]) for k, c in enumerate(work.corners)]
    walls = lengths_between(network, adjusted, sides)
    taped = {frozenset(d.points) for d in work.lengths}
    across = [
        (a, b)
        for (i, a), (j, b) in itertools.combinations(enumerate(work.corners), 2)
        if j - i not in (1, n - 1)
        and (n <= MANY or frozenset((a, b)) in taped)
        and geometry.in_sight(ring, adjusted.points[a], adjusted.points[b])
    ]
    angles = geometry.interior_angles(ring)
    by_area = _area_slope(network, ring, work.corners)
    by_perimeter = length_rows(network, adjusted, sides).sum(axis=0)
    return Survey(
        room=work.room.id, status=status, points=points, readings=readings, walls=walls,
        diagonals=lengths_between(network, adjusted, across),
        angles={c: snap(angle, 1e-3) for c, angle in zip(work.corners, angles, strict=True)},
        area=snap(abs(geometry.signed_area(ring)), 1.0), perimeter=snap(sum(w.length for w in walls)),
        degrees_of_freedom=adjusted.freedom, misfit=snap(adjusted.misfit, 1e-4), loose=[],
        undecided=list(undecided), reasons=work.reasons,
        area_plus_minus=snap(_half_width(by_area, adjusted), 1.0),
        perimeter_plus_minus=snap(_half_width(by_perimeter, adjusted)),
        misfit_limit=snap(chi_square_limit(adjusted.freedom), 1e-4) if adjusted.freedom else 0.0,
    )  # fmt: skip


def _judged(
    work: Work, network: Network, adjusted: Adjusted, whole: Adjusted, aside: Sequence[str], undecided: Sequence[str]
) -> list[Judged]:
    in_fit = {o.id: k for k, o in enumerate(network.observations)}
    in_whole = {i: k for k, i in enumerate(work.observations)}
    told = {n.where: n.text for n in work.reasons if n.code == "blunder"}
    spreads = np.sqrt(np.maximum((1.0 - adjusted.redundancy) * network.sigma**2, 0.0)).tolist()
    seen: set[str] = set()
    readings: list[Judged] = []
    for r in work.readings:
        again = r.id in seen
        seen.add(r.id)
        if again or r.id not in work.observations:
            readings.append(unjudged(r, work.refused.get(r.id, "")))
            continue
        observed = float(r.value.mm)
        why = hint = ""
        verdict: Literal["sound", "unchecked", "suspect", "set aside"]
        spread = work.observations[r.id].sigma
        if r.id in aside:
            better, within = _predict(work, aside, adjusted, r.id)
            residual = better - observed
            redundancy = float(whole.redundancy[in_whole[r.id]])
            standardised: float | None = residual / math.hypot(within, spread)
            verdict = "set aside"
            why = told[r.id]
            hint = _hint(work, adjusted, r, better, within).lstrip(",:. ")
        else:
            k = in_fit[r.id]
            better, residual, within = float(adjusted.adjusted[k]), float(adjusted.residuals[k]), spreads[k]
            redundancy, standardised = float(adjusted.redundancy[k]), adjusted.standardised[k]
            verdict = "suspect" if r.id in undecided else "unchecked" if standardised is None else "sound"
            if verdict == "suspect":
                why = "One of the undecided readings: any one of them may be the wrong one."
                if redundancy >= CHECKED:
                    hint = _hint(work, adjusted, r, observed + residual / redundancy, within).lstrip(",:. ")
            elif verdict == "unchecked":
                why = "No other reading checks this one."
        readings.append(
            Judged(
                id=r.id, start=r.start, end=r.end, observed=snap(observed), adjusted=snap(better),
                residual=snap(residual), redundancy=snap(redundancy, 1e-4),
                standardised=None if standardised is None else snap(standardised, 1e-3),
                used=r.id not in aside, verdict=verdict, why=why, kind=r.kind, point=r.point, tool=r.tool,
                sigma=snap(spread), plus_minus=snap(NINETY_FIVE * within),
                least_blunder=snap(DELTA * spread / math.sqrt(redundancy)) if redundancy >= CHECKED else None,
                hint=hint,
            )
        )  # fmt: skip
    return readings


def _point(work: Work, anchor: str, spot: Point, adjusted: Adjusted, name: str = "") -> SurveyedPoint:
    kind: Literal["corner", "mark", "column"]
    kind = "corner" if anchor in work.corners else "mark" if anchor in work.room.marks else "column"
    return SurveyedPoint(
        name=name or anchor, x=snap(spot[0]), y=snap(spot[1]), plus_minus=snap(NINETY_FIVE * adjusted.spread(anchor)),
        kind=kind,
    )  # fmt: skip


def length_rows(network: Network, adjusted: Adjusted, pairs: Sequence[tuple[str, str]]) -> Array:
    """Derivatives of the distances between pairs of points by the free coordinates."""
    full = np.array([adjusted.points[name] for name in network.names]).reshape(-1, 2)
    start = np.array([network.row[a] for a, _ in pairs], dtype=int)
    end = np.array([network.row[b] for _, b in pairs], dtype=int)
    between = full[end] - full[start]
    unit = between / np.maximum(np.hypot(between[:, 0], between[:, 1]), 1e-9)[:, None]
    rows = np.zeros((len(pairs), network.size + 1))
    each = np.arange(len(pairs))
    for axis in (0, 1):
        rows[each, network.column[end, axis]] += unit[:, axis]
        rows[each, network.column[start, axis]] -= unit[:, axis]
    return rows[:, : network.size]


def lengths_between(network: Network, adjusted: Adjusted, pairs: Sequence[tuple[str, str]]) -> list[SurveyedLength]:
    """Distances between pairs of points, each with its ± at 95 %."""
    if not pairs:
        return []
    rows = length_rows(network, adjusted, pairs)
    spreads = np.sqrt(np.maximum(((rows @ adjusted.cofactor) * rows).sum(axis=1), 0.0)).tolist()
    return [
        SurveyedLength(
            start=a, end=b, length=snap(geometry.distance(adjusted.points[a], adjusted.points[b])),
            plus_minus=snap(NINETY_FIVE * spread),
        )
        for (a, b), spread in zip(pairs, spreads, strict=True)
    ]  # fmt: skip


def _area_slope(network: Network, ring: Sequence[Point], corners: Sequence[str]) -> Array:
    """Derivatives of the shoelace area by the free coordinates."""
    row = np.zeros(network.size + 1)
    n = len(ring)
    for k, name in enumerate(corners):
        before, after = ring[k - 1], ring[(k + 1) % n]
        at = network.column[network.row[name]]
        row[at[0]] += (after[1] - before[1]) / 2
        row[at[1]] += (before[0] - after[0]) / 2
    return row[: network.size]


def _half_width(row: Array, adjusted: Adjusted) -> float:
    return NINETY_FIVE * math.sqrt(max(0.0, float(row @ adjusted.cofactor @ row)))
