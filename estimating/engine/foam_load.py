"""How far people press the foam of a floor in, and how well its depth could stop a fall at the very best.

Layers lie in series: the same pressure goes through each, so the softest yields first and what they give adds up. Each
has a curve of pressure over strain through the points of its data sheet. Nothing spreads the load, which is on the safe
side for a stiff top. Screening, not a test: curves of few points, loads and the share of a layer that can be used are
planning values.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

from buildout.units.value import Value, snap
from estimating.engine import said

GRAVITY = 9.80665

Load = tuple[str, float, float]
LOADS: tuple[Load, ...] = (
    ("kneeling", 80.0 * 0.4, 60.0),
    ("standing on both feet", 100.0, 200.0),
    ("standing on one foot", 100.0, 100.0),
    ("standing on one heel", 100.0, 20.0),
)
"""Name, kg carried, cm² it stands on: planning assumptions, no published source."""
USABLE = 0.6
"""Strain beyond which foam is pressed flat: pressure then rises steeply and what lies below is felt. Common practice,
no published source."""
TIMES_AT_USABLE = 3.0
"""Pressure there over the stress at 25 %, where the data sheet says nothing of more than 25 %. Common practice, no
published source."""
LITTLE_MARGIN = 1.0
"""Pressure over the softest foam's stress at 25 %: above it that layer is pressed in by more than a quarter."""
FALL = 600.0
"""mm that somebody drops in the figure of a fall; a planning value."""

Verdict = Literal["fine", "look at it", "missing"]


class Foam(NamedTuple):
    """A layer as far as its data sheet is known."""

    name: str
    thickness: float | None
    """mm."""
    at_25: float | None
    """kPa at 25 % strain."""
    at_50: float | None = None
    """kPa at 50 %; counts only where it is more than at 25 %."""
    cushion_factor: float | None = None


class PressureScreening(Value, kw_only=True):
    """One load on the layers."""

    load: str
    pressure: float
    """kPa."""
    layer: str
    """Softest layer whose data sheet is known; empty when none is."""
    stress_at_25_percent: float
    """kPa, of that layer; 0 when missing."""
    ratio: float
    """Pressure over that stress; 0 when missing."""
    verdict: Verdict
    text: str
    sinks: float | None = None
    """mm that all layers together give; None where a layer's data is missing."""
    margin: float | None = None
    """Pressure at which the last layer is flat over this pressure: below 1 what lies under the foam is felt. None where
    a layer's data is missing."""
    flat: str = ""
    """Layers that this load presses flat while others still carry it."""

    @property
    def bottoms(self) -> bool:
        """What lies under the foam is likely felt."""
        return self.margin < 1 if self.margin is not None else self.ratio > TIMES_AT_USABLE

    @property
    def short(self) -> str:
        """The verdict in a few words."""
        if self.verdict == "missing":
            return "missing"
        if self.bottoms:
            return "bottoms out"
        if self.flat:
            return "softest layer flat"
        if self.ratio > LITTLE_MARGIN:
            return "over a quarter"
        return "under a quarter" if self.verdict == "fine" else "look at it"


class FallScreening(Value, kw_only=True):
    """What a fall of ``drop`` comes to on this depth of foam, in times gravity. Ranks floors, never a verdict."""

    drop: float
    """mm."""
    depth: float
    """mm of foam that can be used, all layers."""
    least: float
    """An even stop over that depth: no floor of this thickness can do better."""
    likely: float | None
    """By the makers' cushion factors; None where one is missing."""
    text: str


def pressure(kilograms: float, square_centimetres: float) -> float:
    """kPa under a load.

    >>> round(pressure(80 * 0.4, 60), 2), round(pressure(100, 20), 1)
    (52.3, 490.3)
    """
    return kilograms * GRAVITY / (square_centimetres / 1e4) / 1000


def curve(at_25: float, at_50: float | None = None) -> tuple[tuple[float, float], ...]:
    """Points (strain, kPa) of a foam's curve from nothing to where it bottoms out, with straight lines between.

    >>> curve(30)
    ((0.0, 0.0), (0.25, 30.0), (0.6, 90.0))
    >>> curve(30, 60)
    ((0.0, 0.0), (0.25, 30.0), (0.5, 60.0), (0.6, 72.0))
    """
    start = ((0.0, 0.0), (0.25, float(at_25)))
    if at_50 is None or at_50 <= at_25:
        return (*start, (USABLE, at_25 * TIMES_AT_USABLE))
    return (*start, (0.5, float(at_50)), (USABLE, at_50 + (at_50 - at_25) / 0.25 * (USABLE - 0.5)))


def strain(kilopascal: float, at_25: float, at_50: float | None = None) -> float:
    """Share of its thickness that foam is pressed in under a pressure; at most ``USABLE``, where it bottoms out.

    >>> strain(15, 30), strain(30, 30), strain(60, 30), strain(500, 30)
    (0.125, 0.25, 0.425, 0.6)
    """
    points = curve(at_25, at_50)
    for (low, below), (high, above) in pairwise(points):
        if kilopascal <= above:
            return round(low + (high - low) * (kilopascal - below) / (above - below), 9)
    return USABLE


def press(foams: Sequence[Foam]) -> list[PressureScreening]:
    """Every load of ``LOADS`` on layers in series. What no data sheet says is missing, never guessed."""
    return [_pressed(name, pressure(kilograms, patch), foams) for name, kilograms, patch in LOADS]


def _pressed(load: str, value: float, foams: Sequence[Foam]) -> PressureScreening:
    known = [(foam.at_25, foam.name, foam) for foam in foams if foam.at_25]
    if not known:
        return PressureScreening(
            load=load, pressure=snap(value), layer="", stress_at_25_percent=0.0, ratio=0.0, verdict="missing",
            text=f"{value:.1f} kPa; the foam's stress at 25 % is missing, ask for the data sheet.",
        )  # fmt: skip
    at_25, name, _ = min(known)
    ratio = value / at_25
    text = f"{value:.1f} kPa is {ratio:.2f} × the stress at 25 % of {name}"
    if len(known) < len(foams) or not all(foam.thickness for foam in foams):
        text += ": " + (
            "it sinks in by less than a quarter" if ratio <= LITTLE_MARGIN
            else "it sinks in beyond 25 %, try it on a sample" if ratio <= TIMES_AT_USABLE
            else "it is pressed flat, try it on a sample"
        )  # fmt: skip
        return PressureScreening(
            load=load, pressure=snap(value), layer=name, stress_at_25_percent=snap(at_25), ratio=snap(ratio),
            verdict="look at it", text=f"{text}. Another figure is missing, so neither depth nor margin can be told.",
        )  # fmt: skip
    whole = sum(float(foam.thickness or 0) for foam in foams)
    sinks = sum(float(foam.thickness or 0) * strain(value, soft, foam.at_50) for soft, _, foam in known)
    ends = sorted((curve(soft, foam.at_50)[-1][1], title) for soft, title, foam in known)
    last, title = ends[-1]
    margin = last / value
    flat = ", ".join(name for end, name in ends if end < value <= last)
    text += f". All foam together gives {said.length(sinks)} of {said.length(whole)}"
    if margin < 1:
        text += f" and is flat from {margin:.2f} × this load on, so what lies under it is likely felt: try a sample."
    else:
        text += f"; {flat} is pressed flat" if flat else ""
        text += f"; the whole bottoms out at {margin:.1f} × this load, {title} last."
        text += " Try it on a sample." if ratio > LITTLE_MARGIN else ""
    return PressureScreening(
        load=load, pressure=snap(value), layer=name, stress_at_25_percent=snap(at_25), ratio=snap(ratio),
        verdict="fine" if ratio <= LITTLE_MARGIN else "look at it", text=text, sinks=snap(sinks), margin=snap(margin),
        flat=flat,
    )  # fmt: skip


def even_stop(drop: float, depth: float) -> float:
    """Times gravity of a drop braked evenly over a depth, the best there can be: v² = 2gh and a = v²/2s give h/s.

    >>> even_stop(600, 30)
    20.0
    """
    return drop / depth if depth > 0 else math.inf


def peak(drop: float, layers: Sequence[tuple[float, float]]) -> float:
    """Times gravity of a drop on layers (thickness, cushion factor) in series.

    One peak stress goes through all: each takes thickness × stress ÷ factor of energy an area, the sum of which is what
    falls on it, so G = h ÷ Σ(t ÷ C); for one layer G = C·h/t.

    >>> peak(600, [(50, 3)]), peak(600, [(25, 3), (25, 3)])
    (36.0, 36.0)
    """
    taken = sum(thickness / factor for thickness, factor in layers)
    return round(drop / taken, 9) if taken > 0 else math.inf


def fall(foams: Sequence[Foam]) -> FallScreening | None:
    """A drop of ``FALL`` on layers; None where a thickness is missing or nothing soft is there."""
    if not foams or not all(foam.thickness for foam in foams):
        return None
    whole = sum(float(foam.thickness or 0) for foam in foams)
    depth = whole * USABLE
    least = even_stop(FALL, depth)
    text = (
        f"A drop of {said.length(FALL)} stopped evenly over {said.length(depth)}, as much of the foam as can be used, "
        f"comes to {least:.0f} times gravity: no floor of this thickness can do better. "
    )
    lack = [foam.name for foam in foams if not foam.cushion_factor]
    if lack:
        found = None
        text += f"What it comes to is missing: no cushion factor for {', '.join(lack)}."
    else:
        found = peak(FALL, [(float(f.thickness or 0), float(f.cushion_factor or 1)) for f in foams])
        text += f"By the makers' cushion factors it comes to {found:.0f}."
    return FallScreening(
        drop=FALL, depth=snap(depth), least=snap(least), likely=None if found is None else snap(found), text=text
    )
