"""Runs made of several pieces (frame timbers, a low wall's cap, a column's jacket), divided round what is pinned."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from buildout.units.value import Reason, snap
from estimating.engine import said
from estimating.engine.pins import SAME, refused
from estimating.engine.types import Pin


@dataclass(frozen=True)
class Part:
    """One stretch of a run, from its start, mm. ``pinned``: one piece as it is; the others may be divided further."""

    start: float
    end: float
    pinned: bool = False

    @property
    def length(self) -> float:
        return snap(self.end - self.start)


@dataclass(frozen=True)
class Run:
    """What can be pinned on a run. ``longest``: what its goods allow a piece; ``least``: no piece may be shorter."""

    length: float
    longest: float
    least: float
    thing: str
    """What its pieces are called: ``frame timber``."""
    begin: float = 0.0
    """Where it begins, in the numbers that pins are given in."""


def divide(run: Run, pins: Sequence[Pin]) -> tuple[list[Part], list[Reason]]:
    """The run in stretches, pieces and joints that are pinned kept; pins that cannot hold come back named.

    A ``piece`` lies from x for its width, a ``line`` is a joint at x.

    >>> from buildout.units.lengths import Length
    >>> pin = Pin(id="p", layer="frame", kind="piece", x=Length.read("1 m"), module=Length.read("2 m"))
    >>> [(p.start, p.end, p.pinned) for p in divide(Run(5000, 3600, 600, "frame timber"), [pin])[0]]
    [(0.0, 1000.0, False), (1000.0, 3000.0, True), (3000.0, 5000.0, False)]
    """
    held: list[tuple[float, float, Pin]] = []
    reasons = []
    for pin in pins:
        placed = _place(run, pin, held)
        if isinstance(placed, Reason):
            reasons.append(placed)
        else:
            held.append((*placed, pin))
    marks = sorted({0.0, snap(run.length), *(m for a, b, _ in held for m in (a, b))})
    whole = {(a, b) for a, b, _ in held}
    return [Part(a, b, (a, b) in whole) for a, b in pairwise(marks)], reasons


def shares(parts: Sequence[Part], share: Callable[[float], list[float]]) -> list[tuple[float, float]]:
    """Start and length of every piece, those not pinned shared out by ``share`` of a stretch's length."""
    found: list[tuple[float, float]] = []
    for part in parts:
        at = part.start
        for long in [part.length] if part.pinned else share(part.length):
            found.append((at, long))
            at = snap(at + long)
    return found


def evenly(longest: float) -> Callable[[float], list[float]]:
    """Equal shares no longer than ``longest``.

    >>> evenly(2000)(5000)
    [1666.67, 1666.67, 1666.66]
    """

    def share(length: float) -> list[float]:
        count = 1
        while length / count > longest + 0.005:
            count += 1
        each = snap(length / count)
        return [*[each] * (count - 1), snap(length - each * (count - 1))]

    return share


def _place(run: Run, pin: Pin, held: Sequence[tuple[float, float, Pin]]) -> tuple[float, float] | Reason:
    if pin.kind not in ("piece", "line"):
        return refused(pin, f"a {pin.kind} is not pinned on a {run.thing}", "Pin a piece, a joint or the goods.")
    if pin.x is None or (pin.kind == "piece" and pin.module is None):
        why = f"it does not say where the {run.thing} begins" + (" and how long it is" if pin.kind == "piece" else "")
        return refused(pin, why, "State both, such as 4' and 8'." if pin.kind == "piece" else "State x, such as 4'.")
    start = float(pin.x) - run.begin
    wide = float(pin.module) if pin.kind == "piece" and pin.module is not None else 0.0
    end = start + wide
    if start < -SAME or end > run.length + SAME or (pin.kind == "line" and not SAME < start < run.length - SAME):
        why = f"the run there goes from {said.length(run.begin)} to {said.length(run.begin + run.length)}"
        return refused(pin, why, "Move it inside, or make it shorter.")
    if wide > run.longest + SAME:
        why = f"a {run.thing} {said.length(wide)} long is more than the {said.length(run.longest)} its goods allow"
        return refused(pin, why, "State a shorter one, or pin longer or wider goods.")
    if pin.kind == "piece" and wide < min(run.least, run.length) - SAME:
        why = f"a {run.thing} {said.length(wide)} long is shorter than {said.length(run.least)}"
        return refused(pin, why, "State a longer one.")
    edges = [0.0, snap(run.length), *(m for a, b, _ in held for m in (a, b))]
    start, end = (next((edge for edge in edges if abs(edge - at) <= SAME), snap(at)) for at in (start, end))
    if end - start > run.longest:  # by the hair that a written length is off
        start, end = (snap(end - run.longest), end) if end in edges else (start, snap(start + run.longest))
    other = next((p for a, b, p in held if a < end and start < b and (start, end) != (a, b)), None)
    if other is not None:
        return refused(pin, f"it overlaps the {run.thing} of pin {other.id}", "Take off one of the two.")
    gaps = [abs(edge - at) for edge in edges for at in (start, end)]
    slip = min((gap for gap in gaps if gap > SAME), default=run.least)
    if slip < run.least - SAME:
        why = f"it would leave {said.length(slip)} beside it, too short for a {run.thing}"
        return refused(pin, why, f"Leave nothing, or {said.length(run.least)} and more.")
    return start, end
