"""Frame timbers and ramped edges round a mat field, cut to the lengths they are bought in."""

from __future__ import annotations

import math
from collections.abc import Sequence, Set
from typing import Literal

from buildout.rooms.engine.types import MatEdge
from buildout.units.value import Reason, snap
from estimating.engine.mat_shape import STRAIGHT, MatShape, Point, Side
from estimating.engine.mat_sides import ramp_mitres
from estimating.engine.pinned_runs import Run, divide, shares
from estimating.engine.pins import refused
from estimating.engine.types import FramePiece, MatSide, Pin, Product

SHORTEST = 609.6
"""mm (2 ft): rather than a shorter timber the last two are shared evenly. Common practice, no published source."""


class Timbers:
    """Pins of one kind of timber, and those among them that no run of it could hold."""

    def __init__(self, kind: Literal["frame", "ramp"], pins: Sequence[Pin], stock: Product | None) -> None:
        self.kind: Literal["frame", "ramp"] = kind
        self.pins = [pin for pin in pins if pin.layer == kind and pin.kind != "product"]
        self.longest = _longest(stock)
        self.edges: list[str] = []
        self.reasons: list[Reason] = []

    def lengths(self, length: float, edges: Sequence[str]) -> list[float]:
        """A run along ``edges`` divided into timbers, those that are pinned on it kept."""
        self.edges += edges
        pins = [pin for pin in self.pins if pin.wall in edges]
        run = Run(length, self.longest, min(SHORTEST, self.longest / 2), f"{self.kind} timber")
        parts, reasons = divide(run, pins)
        self.reasons += reasons
        return [long for _, long in shares(parts, lambda part: shared_out(part, self.longest))]

    def refused(self) -> list[Reason]:
        """Pins that do not hold, those on edges without this timber among them."""
        names = ", ".join(sorted(self.edges))
        todo = f"Name one of {names}." if names else "Choose a floor system that has it, or unpin."
        lost = [pin for pin in self.pins if pin.wall not in self.edges]
        why = f"no {self.kind} timber lies along"
        return self.reasons + [
            refused(pin, f"{why} {pin.wall or 'an edge that it does not name'}", todo) for pin in lost
        ]


def frame_pieces(shape: MatShape, timber: float, timbers: Timbers) -> list[FramePiece]:
    """Timbers laid flat with their outer face on the frame's outer face.

    At every corner the run that arrives goes through and the next one butts against it, so the lengths times
    the timber's width add up to the frame's area wherever corners are square.
    """
    bare = {id(side) for place, side in enumerate(shape.sides) if place in shape.bare}
    runs = _runs(shape.sides, bare)
    found = []
    for number, run in enumerate(runs, 1):
        before, after = runs[number - 2], runs[number % len(runs)]
        if id(run[0]) in bare:
            continue
        length = whole = math.dist(run[0].a, run[-1].b)
        starts = len(runs) > 1 and id(before[0]) not in bare
        ends_on = len(runs) > 1 and id(after[0]) not in bare
        back = timber if starts and _turn(before[-1], run[0]) > 0 else 0.0
        length -= back
        length += timber if ends_on and _turn(run[-1], after[0]) < 0 else 0.0
        if length <= 0:
            continue
        edge = _named(run)
        ends = (
            _off_square(before[-1], run[0]) if starts else 0.0, _off_square(run[-1], after[0]) if ends_on else 0.0,
        )  # fmt: skip
        along = ((run[-1].b[0] - run[0].a[0]) / whole, (run[-1].b[1] - run[0].a[1]) / whole)
        lengths = timbers.lengths(length, [edge.id for side in run for edge in side.edges])
        found += _parts("frame", f"F{number}", edge, lengths, ends, _on(run[0].a, along, back), along)
    return found


def _off_square(one: Side, two: Side) -> float:
    """Degrees off square of the ends that meet where two runs butt: nothing where the corner is square."""
    turn = math.degrees(_turn(one, two))
    return round((abs(turn) - 90) * (1 if turn > 0 else -1), 2) + 0.0


def _on(start: Point, along: Point, run: float) -> Point:
    return snap(start[0] + along[0] * run), snap(start[1] + along[1] * run)


def _parts(
    kind: Literal["frame", "ramp"],
    name: str,
    edge: str,
    parts: Sequence[float],
    ends: Point,
    start: Point,
    along: Point,
) -> list[FramePiece]:
    return [
        FramePiece(
            id=f"{name}.{place}", edge=edge, length=part, kind=kind, start_mitre=ends[0] if place == 1 else 0.0,
            end_mitre=ends[1] if place == len(parts) else 0.0,
            a=_on(start, along, sum(parts[: place - 1])), b=_on(start, along, sum(parts[:place])),
        )
        for place, part in enumerate(parts, 1)
    ]  # fmt: skip


def ramp_pieces(sides: Sequence[MatSide], run: float, timbers: Timbers) -> list[FramePiece]:
    """Ramp timbers in front of every ramped side of the mat field, ``run`` mm deep.

    Where two ramped edges meet, both are mitred by half the turn. Round an outer corner of the mat the toe is the
    longer edge, by run × tan(half the turn); at an inner corner the edge against the mat is.
    """
    found = []
    ramped = [side for side in sides if side.edge == "ramp"]
    for number, edge in enumerate(ramped, 1):
        ends = ramp_mitres(edge, ramped)
        out = [run * math.tan(math.radians(m)) if m > 0 else 0.0 for m in ends]
        side = math.dist(edge.a, edge.b)
        along = ((edge.b[0] - edge.a[0]) / side, (edge.b[1] - edge.a[1]) / side)
        start = _on(edge.a, along, -out[0])
        lengths = timbers.lengths(snap(edge.length + sum(out)), [edge.id])
        found += _parts("ramp", f"R{number}", edge.id, lengths, ends, start, along)
    return found


def shared_out(length: float, longest: float) -> list[float]:
    """Split a run into pieces no longer than ``longest``: full ones, then the rest, no piece very short.

    >>> shared_out(5000, 3600)
    [3600.0, 1400.0]
    >>> shared_out(3700, 3600)
    [1850.0, 1850.0]
    """
    if not math.isfinite(longest) or length <= longest + 0.005:
        return [snap(length)]
    full, rest = divmod(length, longest)
    count = int(full)
    if rest < 0.005:
        return [snap(longest)] * count
    if rest < min(SHORTEST, longest / 2):
        half = (longest + rest) / 2
        return [snap(longest)] * (count - 1) + [snap(half), snap(length - (count - 1) * longest - snap(half))]
    return [snap(longest)] * count + [snap(rest)]


def _longest(stock: Product | None) -> float:
    if stock is None or stock.length is None:
        return math.inf
    return float(stock.length) - 2 * float(stock.trim or 0)


def _runs(sides: list[Side], bare: Set[int] = frozenset()) -> list[list[Side]]:
    """Sides joined where the frame goes straight on; ``bare``: sides without one."""

    def goes_on(one: Side, two: Side) -> bool:
        return abs(_turn(one, two)) < STRAIGHT and (id(one) in bare) == (id(two) in bare)

    runs: list[list[Side]] = []
    for side in sides:
        if runs and goes_on(runs[-1][-1], side):
            runs[-1].append(side)
        else:
            runs.append([side])
    if len(runs) > 1 and goes_on(runs[-1][-1], runs[0][0]):
        runs[0] = runs.pop() + runs[0]
    return runs


def _turn(before: Side, after: Side) -> float:
    return math.remainder(after.heading - before.heading, math.tau)


def _named(run: list[Side]) -> str:
    edges: list[MatEdge] = [edge for side in run for edge in side.edges]
    return max(edges, key=lambda e: e.length).id if edges else ""
