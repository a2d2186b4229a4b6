"""Weighted least squares on a network of distances in the plane.

Signs: residual v = adjusted − observed; weight matrix P = diag(1/σ²); cofactor Q = (AᵀPA)⁻¹; redundancy
numbers r = diag(I − AQAᵀP); standardised residual w = v/(σ√r); estimated blunder in one reading −v/r.
Source: W. Baarda, A testing procedure for use in geodetic networks, Netherlands Geodetic Commission,
1968; variation of coordinates as in C. Ghilani, Adjustment Computations, chapter 14.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Coordinates = Mapping[str, tuple[float, float]]
Loss = Callable[[Array], tuple[Array, Array]]

CHECKED = 1e-3
"""A reading with a smaller redundancy number has no check worth the name; w is not computed for it."""
LIMIT = 3.29
"""|w| beyond this happens once in a thousand sound readings (two-sided normal, 0.001)."""
RIVAL = LIMIT**2
"""Two explanations whose vᵀPv differ by less than this cannot be told apart."""
RANK = 1e-9
FARTHEST = 1e12
"""Scaled residuals are cut off here, so that a step gone astray cannot overflow."""


@dataclass(frozen=True)
class End:
    """One end of a distance: a point, or a spot fixed to it.

    ``radius`` is taken off the distance (the tape stops at the face of a round column). ``offset`` is
    (along, across) from the point in the frame of the line ``frame``, turned by whole quarter turns so
    that "along" is the axis nearest +x.
    """

    point: str
    radius: float = 0.0
    offset: tuple[float, float] = (0.0, 0.0)
    frame: tuple[str, str] | None = None


@dataclass(frozen=True)
class Distance:
    id: str
    start: End
    end: End
    value: float
    sigma: float


@dataclass(frozen=True)
class Adjusted:
    """Result of one adjustment; lists run in the order of the distances given."""

    points: dict[str, tuple[float, float]]
    adjusted: Array
    residuals: Array
    redundancy: Array
    standardised: list[float | None]
    misfit: float
    freedom: int
    """Readings less rank: how many readings are spare."""
    loose: list[str]
    """Points the distances do not fix, in the order given."""
    cofactor: Array
    """Covariance of the free coordinates, mm²; see ``columns``."""
    columns: dict[str, tuple[int | None, int | None]]
    null: Array
    """Orthonormal basis of what stays free, one column each."""

    def spread(self, name: str) -> float:
        """Standard deviation of a point in its worse direction."""
        at = [k for k in self.columns[name] if k is not None]
        if not at:
            return 0.0
        block = self.cofactor[np.ix_(at, at)]
        return math.sqrt(max(0.0, float(np.linalg.eigvalsh(block)[-1])))


class Network:
    """A fixed set of distances between named points, ready to be evaluated and fitted."""

    def __init__(
        self,
        names: Sequence[str],
        distances: Sequence[Distance],
        fixed: Mapping[str, tuple[float | None, float | None]],
    ) -> None:
        self.names = list(names)
        self.distances = list(distances)
        self.row = {name: k for k, name in enumerate(self.names)}
        self.held = np.zeros((len(self.names), 2))
        self.columns: dict[str, tuple[int | None, int | None]] = {}
        at: list[tuple[int, int]] = []
        for name in self.names:
            spots: list[int | None] = []
            for axis, value in enumerate(fixed.get(name, (None, None))):
                if value is None:
                    spots.append(len(at))
                    at.append((self.row[name], axis))
                else:
                    spots.append(None)
                    self.held[self.row[name], axis] = value
            self.columns[name] = (spots[0], spots[1])
        self.free_rows = np.array([k for k, _ in at], dtype=int)
        self.free_axes = np.array([axis for _, axis in at], dtype=int)
        self.size = len(at)
        column = np.full((len(self.names), 2), self.size, dtype=int)  # last column collects held coordinates
        column[self.free_rows, self.free_axes] = np.arange(self.size)
        self.column = column
        self.start = np.array([self.row[d.start.point] for d in self.distances], dtype=int)
        self.end = np.array([self.row[d.end.point] for d in self.distances], dtype=int)
        self.observed = np.array([d.value for d in self.distances], dtype=float)
        self.sigma = np.array([d.sigma for d in self.distances], dtype=float)
        self.radii = np.array([d.start.radius + d.end.radius for d in self.distances], dtype=float)
        self.framed = [
            (k, sign, end)
            for k, d in enumerate(self.distances)
            for sign, end in ((-1.0, d.start), (1.0, d.end))
            if end.offset != (0.0, 0.0)
        ]

    def pack(self, points: Coordinates) -> Array:
        """Free coordinates as one vector."""
        full = np.array([points[name] for name in self.names], dtype=float).reshape(len(self.names), 2)
        return np.asarray(full[self.free_rows, self.free_axes], dtype=float)

    def place(self, x: Array) -> Array:
        full = self.held.copy()
        full[self.free_rows, self.free_axes] = x
        return full

    def unpack(self, x: Array) -> dict[str, tuple[float, float]]:
        full = self.place(x)
        return {name: (float(full[k, 0]), float(full[k, 1])) for k, name in enumerate(self.names)}

    def spot(self, x: Array, end: End) -> tuple[float, float]:
        """Where an end lies, its offset included."""
        full = self.place(x)
        point = full[self.row[end.point]] + self._turned(full, end)[0]
        return float(point[0]), float(point[1])

    def _turned(self, full: Array, end: End) -> tuple[Array, Array, Array]:
        """Offset in room axes, its derivative by the frame's angle, and that angle's by the frame line."""
        along, across = end.offset
        if end.frame is None:
            return np.array([along, across]), np.zeros(2), np.zeros(2)
        line = full[self.row[end.frame[1]]] - full[self.row[end.frame[0]]]
        square = max(float(line @ line), 1e-12)
        angle = math.atan2(float(line[1]), float(line[0]))
        angle -= round(angle / (math.pi / 2)) * (math.pi / 2)
        c, s = math.cos(angle), math.sin(angle)
        offset = np.array([c * along - s * across, s * along + c * across])
        return offset, np.array([-offset[1], offset[0]]), np.array([-line[1], line[0]]) / square

    def evaluate(self, x: Array) -> tuple[Array, Array]:
        """Distances computed from coordinates, and their derivatives (readings × free coordinates)."""
        full = self.place(x)
        between = full[self.end] - full[self.start]
        turns = []
        for k, sign, end in self.framed:
            offset, by_angle, by_line = self._turned(full, end)
            between[k] += sign * offset
            turns.append((k, sign, end, by_angle, by_line))
        length = np.maximum(np.hypot(between[:, 0], between[:, 1]), 1e-9)
        unit = between / length[:, None]
        design = np.zeros((len(self.distances), self.size + 1))
        rows = np.arange(len(self.distances))
        for axis in (0, 1):
            np.add.at(design, (rows, self.column[self.end, axis]), unit[:, axis])
            np.add.at(design, (rows, self.column[self.start, axis]), -unit[:, axis])
        for k, sign, end, by_angle, by_line in turns:
            if end.frame is not None:
                pull = sign * float(unit[k] @ by_angle)
                for axis in (0, 1):
                    design[k, self.column[self.row[end.frame[1]], axis]] += pull * by_line[axis]
                    design[k, self.column[self.row[end.frame[0]], axis]] -= pull * by_line[axis]
        return length - self.radii, design[:, : self.size]

    def fit(self, x: Array, loss: Loss | None = None) -> Array:
        """Coordinates of least (or robust) misfit reached from ``x``, by the Levenberg–Marquardt method."""
        from scipy.optimize import least_squares

        if not self.size:
            return x
        short = max(0, self.size - len(self.distances))

        def misfits(at: Array) -> Array:
            computed, _ = self.evaluate(at)
            scaled = (computed - self.observed) / self.sigma
            if loss is not None:
                scaled = loss(scaled)[0]
            return np.concatenate([scaled, np.zeros(short)])

        def slopes(at: Array) -> Array:
            computed, design = self.evaluate(at)
            slope = design / self.sigma[:, None]
            if loss is not None:
                slope = slope * loss((computed - self.observed) / self.sigma)[1][:, None]
            return np.vstack([slope, np.zeros((short, self.size))])

        found: Any = least_squares(
            misfits, x, jac=slopes, method="lm", xtol=1e-13, ftol=1e-13, gtol=1e-13, max_nfev=200
        )
        end = np.asarray(found.x, dtype=float)
        return end if bool(np.all(np.isfinite(end))) else x

    def cost(self, x: Array, loss: Loss | None = None) -> float:
        scaled = (self.evaluate(x)[0] - self.observed) / self.sigma
        if loss is not None:
            scaled = loss(scaled)[0]
        return float(scaled @ scaled)

    def judge(self, x: Array) -> Adjusted:
        """Quality of a fitted network: residuals, redundancy, standardised residuals, what stays loose."""
        computed, design = self.evaluate(x)
        scaled = design / self.sigma[:, None]
        if self.size and len(self.distances):
            _, values, rows = np.linalg.svd(scaled, full_matrices=True)
            rank = int(np.sum(values > RANK * values[0]))
            kept = rows[:rank]
            cofactor = (kept.T / values[:rank] ** 2) @ kept
            null = rows[rank:].T
        else:
            rank, cofactor, null = 0, np.zeros((self.size, self.size)), np.eye(self.size)
        residuals = computed - self.observed
        redundancy = np.clip(1.0 - np.einsum("ij,jk,ik->i", scaled, cofactor, scaled), 0.0, 1.0)
        standardised = [
            float(v / (s * math.sqrt(r))) if r >= CHECKED else None
            for v, s, r in zip(residuals, self.sigma, redundancy, strict=True)
        ]
        loose = []
        for name in self.names:
            at = [k for k in self.columns[name] if k is not None]
            if at and null.shape[1] and float(np.linalg.norm(null[at])) > 1e-6:
                loose.append(name)
        return Adjusted(
            points=self.unpack(x),
            adjusted=computed,
            residuals=residuals,
            redundancy=redundancy,
            standardised=standardised,
            misfit=float(np.sum((residuals / self.sigma) ** 2)),
            freedom=len(self.distances) - rank,
            loose=loose,
            cofactor=cofactor,
            columns=self.columns,
            null=null,
        )


def gentle(r: Array) -> tuple[Array, Array]:
    """Smooth L1 loss of scale 2 as a transformed residual and its slope: far readings pull evenly."""
    r = np.clip(r, -FARTHEST, FARTHEST)
    s = np.sqrt(1.0 + r * r / 4.0)
    g = r * np.sqrt(2.0 / (s + 1.0))
    return g, 1.0 / (s * np.sqrt(2.0 / (s + 1.0)))


def bounded(c: float) -> Loss:
    """Loss c·r²/(c + r²): a reading far beyond √c pulls no more (Geman and McClure, 1985)."""

    def loss(r: Array) -> tuple[Array, Array]:
        r = np.clip(r, -FARTHEST, FARTHEST)
        share = c / (c + r * r)
        return r * np.sqrt(share), share**1.5

    return loss


def adjust_network(
    distances: Sequence[Distance],
    start: Coordinates,
    fixed: Mapping[str, tuple[float | None, float | None]],
    *,
    robust: bool = False,
) -> Adjusted:
    """Adjust distances between points by weighted least squares.

    ``start`` holds every point's approximate coordinates (any unit, the same for all), ``fixed`` the
    coordinates held: (x, y), or None for one left free. ``robust`` first passes through losses that a
    few wrong readings cannot pull away. Never fails: points that stay loose are named in the result.

    >>> there = adjust_network(
    ...     [Distance("AB", End("A"), End("B"), 3000.0, 1.0), Distance("BC", End("B"), End("C"), 2000.0, 1.0),
    ...      Distance("AC", End("A"), End("C"), 5006.0, 1.0)],
    ...     {"A": (0.0, 0.0), "B": (3000.0, 0.0), "C": (5000.0, 0.0)},
    ...     {"A": (0.0, 0.0), "B": (None, 0.0), "C": (None, 0.0)})
    >>> [round(float(v), 6) for v in there.residuals]
    [2.0, 2.0, -2.0]
    """
    network = Network(sorted(start), distances, fixed)
    x = network.pack(start)
    if robust:
        x = robust_fit(network, x)
    return network.judge(network.fit(x))


def robust_fit(network: Network, x: Array) -> Array:
    """Pass through ever stricter losses, so that the end lies where most readings agree."""
    x = network.fit(x, gentle)
    for share in (64.0, 16.0, 4.0, 1.0):
        x = network.fit(x, bounded(9.0 * share))
    return x


def chi_square_limit(freedom: int, share: float = 0.05) -> float:
    """Value that vᵀPv exceeds by chance in ``share`` of sound networks."""
    from scipy.special import chdtri

    return float(chdtri(freedom, share))
