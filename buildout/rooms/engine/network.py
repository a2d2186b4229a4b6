"""Weighted least squares on a network of taped observations in the plane.

Signs: residual v = adjusted − observed; weight matrix P = diag(1/σ²); cofactor Q = (AᵀPA)⁻¹; redundancy
numbers r = diag(I − AQAᵀP); standardised residual w = v/(σ√r); estimated blunder in one reading −v/r.
Source: W. Baarda, A testing procedure for use in geodetic networks, Netherlands Geodetic Commission,
1968; variation of coordinates as in C. Ghilani, Adjustment Computations, chapter 14.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

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
DELTA = 4.1321
"""Non-centrality δ₀ of a test at 0.001 with power 0.80: 3.2905 + 0.8416, quantiles of the normal distribution."""
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
    """Tape between two ends."""

    id: str
    start: End
    end: End
    value: float
    sigma: float

    @property
    def points(self) -> tuple[str, ...]:
        return self.start.point, self.end.point


@dataclass(frozen=True)
class Offset:
    """Square off a wall's line to a spot, on whichever side it lies."""

    id: str
    spot: End
    wall: tuple[str, str]
    value: float
    sigma: float

    @property
    def points(self) -> tuple[str, ...]:
        return self.spot.point, *self.wall


@dataclass(frozen=True)
class Running:
    """Along a wall's line from its first point to where a spot squares off on it."""

    id: str
    spot: End
    wall: tuple[str, str]
    value: float
    sigma: float

    @property
    def points(self) -> tuple[str, ...]:
        return self.spot.point, *self.wall


@dataclass(frozen=True)
class Square:
    """Tie between two marks on the arms of a corner, at ``legs`` from it."""

    id: str
    corner: str
    arms: tuple[str, str]
    legs: tuple[float, float]
    value: float
    sigma: float

    @property
    def points(self) -> tuple[str, ...]:
        return self.corner, *self.arms


Observation = Distance | Offset | Running | Square


@dataclass(frozen=True)
class Adjusted:
    """Result of one adjustment; lists run in the order of the observations given."""

    points: dict[str, tuple[float, float]]
    adjusted: Array
    residuals: Array
    redundancy: Array
    standardised: list[float | None]
    misfit: float
    freedom: int
    """Readings less rank: how many readings are spare."""
    loose: list[str]
    """Points the observations do not fix, in the order given."""
    cofactor: Array
    """Covariance of the free coordinates, mm²; see ``columns``."""
    columns: dict[str, tuple[int | None, int | None]]
    null: Array
    """Orthonormal basis of what stays free, one column each."""
    design: Array
    """Derivatives of the observations by the free coordinates."""

    def spread(self, name: str) -> float:
        """Standard deviation of a point in its worse direction."""
        i, j = self.columns[name]
        if i is None and j is None:
            return 0.0
        if i is None or j is None:
            k = j if i is None else i
            return math.sqrt(max(0.0, float(self.cofactor[k, k])))
        a, b, c = float(self.cofactor[i, i]), float(self.cofactor[j, j]), float(self.cofactor[i, j])
        return math.sqrt(max(0.0, (a + b) / 2 + math.hypot((a - b) / 2, c)))


class Network:
    """A fixed set of observations between named points, ready to be evaluated and fitted."""

    def __init__(
        self,
        names: Sequence[str],
        observations: Sequence[Observation],
        fixed: Mapping[str, tuple[float | None, float | None]],
    ) -> None:
        self.names = list(names)
        self.observations = list(observations)
        self.fixed = dict(fixed)
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
        self.observed = np.array([o.value for o in self.observations], dtype=float)
        self.sigma = np.array([o.sigma for o in self.observations], dtype=float)
        taped = [(k, o) for k, o in enumerate(self.observations) if isinstance(o, Distance)]
        self.taped = np.array([k for k, _ in taped], dtype=int)
        self.start = np.array([self.row[d.start.point] for _, d in taped], dtype=int)
        self.end = np.array([self.row[d.end.point] for _, d in taped], dtype=int)
        self.radii = np.array([d.start.radius + d.end.radius for _, d in taped], dtype=float)
        framed = [
            (k, sign, end)
            for k, (_, d) in enumerate(taped)
            for sign, end in ((-1.0, d.start), (1.0, d.end))
            if end.offset != (0.0, 0.0)
        ]
        self.framed = np.array([k for k, _, _ in framed], dtype=int)
        self.framed_sign = np.array([sign for _, sign, _ in framed], dtype=float)
        self.framed_offset = np.array([end.offset for _, _, end in framed], dtype=float).reshape(-1, 2)
        self.turned = [j for j, (_, _, end) in enumerate(framed) if end.frame is not None]
        frames = [end.frame for _, _, end in framed if end.frame is not None]
        self.frame_from = np.array([self.row[a] for a, _ in frames], dtype=int)
        self.frame_to = np.array([self.row[b] for _, b in frames], dtype=int)
        self.others = [(k, o) for k, o in enumerate(self.observations) if not isinstance(o, Distance)]

    def pack(self, points: Coordinates) -> Array:
        """Free coordinates as one vector."""
        full = np.array([points[name] for name in self.names], dtype=float).reshape(len(self.names), 2)
        return np.asarray(full[self.free_rows, self.free_axes], dtype=float)

    def place(self, x: Array) -> Array:
        full = self.held.copy()
        full[self.free_rows, self.free_axes] = x
        return full

    def unpack(self, x: Array) -> dict[str, tuple[float, float]]:
        full = self.place(x).tolist()
        return {name: (xy[0], xy[1]) for name, xy in zip(self.names, full, strict=True)}

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

    def evaluate(self, x: Array, *, slopes: bool = True) -> tuple[Array, Array]:
        """Observations computed from coordinates, and their derivatives (observations × free coordinates).

        The derivatives are left empty without ``slopes``.
        """
        full = self.place(x)
        design = np.zeros((len(self.observations), self.size + 1))
        computed = np.empty(len(self.observations))
        between = full[self.end] - full[self.start]
        if len(self.framed):
            offset = self.framed_offset.copy()
            if self.turned:
                line = full[self.frame_to] - full[self.frame_from]
                square = np.maximum((line * line).sum(axis=1), 1e-12)
                angle = np.arctan2(line[:, 1], line[:, 0])
                angle -= np.round(angle / (math.pi / 2)) * (math.pi / 2)
                c, s = np.cos(angle), np.sin(angle)
                plain = self.framed_offset[self.turned]
                offset[self.turned] = np.column_stack(
                    [c * plain[:, 0] - s * plain[:, 1], s * plain[:, 0] + c * plain[:, 1]]
                )
            np.add.at(between, self.framed, self.framed_sign[:, None] * offset)
        length = np.maximum(np.hypot(between[:, 0], between[:, 1]), 1e-9)
        unit = between / length[:, None]
        computed[self.taped] = length - self.radii
        if not slopes and not self.others:
            return computed, design
        for axis in (0, 1):  # no observation has one point at both ends, so each entry is met once
            design[self.taped, self.column[self.end, axis]] += unit[:, axis]
            design[self.taped, self.column[self.start, axis]] -= unit[:, axis]
        if self.turned:
            rows = self.framed[self.turned]
            turn = np.column_stack([-offset[self.turned][:, 1], offset[self.turned][:, 0]])
            pull = self.framed_sign[self.turned] * (unit[rows] * turn).sum(axis=1) / square
            by_line = np.column_stack([-line[:, 1], line[:, 0]]) * pull[:, None]
            for axis in (0, 1):
                np.add.at(design, (self.taped[rows], self.column[self.frame_to, axis]), by_line[:, axis])
                np.add.at(design, (self.taped[rows], self.column[self.frame_from, axis]), -by_line[:, axis])
        for k, other in self.others:
            computed[k] = self._evaluate_other(full, other, design[k])
        return computed, design[:, : self.size]

    def _evaluate_other(self, full: Array, other: Observation, row: Array) -> float:
        """One observation that is not a plain distance; its derivatives are added to ``row``."""

        def pull(name: str, by: Array) -> None:
            for axis in (0, 1):
                row[self.column[self.row[name], axis]] += by[axis]

        if isinstance(other, Square):
            corner = full[self.row[other.corner]]
            arms = [full[self.row[name]] - corner for name in other.arms]
            size = [max(float(np.hypot(*arm)), 1e-9) for arm in arms]
            one, two = arms[0] / size[0], arms[1] / size[1]
            cosine = float(one @ two)
            p, q = other.legs
            tie = math.sqrt(max(p * p + q * q - 2 * p * q * cosine, 1e-12))
            slope = -p * q / tie
            for name, unit, its, reach in ((other.arms[0], two, one, size[0]), (other.arms[1], one, two, size[1])):
                by = slope * (unit - cosine * its) / reach
                pull(name, by)
                pull(other.corner, -by)
            return tie
        if isinstance(other, Distance):
            raise TypeError("distances are evaluated together")
        offset, by_angle, by_line = self._turned(full, other.spot)
        a, b = full[self.row[other.wall[0]]], full[self.row[other.wall[1]]]
        spot = full[self.row[other.spot.point]] + offset
        line = b - a
        size_of = max(float(np.hypot(*line)), 1e-9)
        along = line / size_of
        across = np.array([-along[1], along[0]])
        share = float((spot - a) @ along) / size_of
        high = float((spot - a) @ across)
        if isinstance(other, Offset):
            sign = 1.0 if high >= 0 else -1.0
            by_spot, by_b = sign * across, -sign * across * share
            value = abs(high) - other.spot.radius
        else:
            by_spot, by_b = along, across * high / size_of
            value = share * size_of - other.spot.radius
        pull(other.spot.point, by_spot)
        pull(other.wall[1], by_b)
        pull(other.wall[0], -by_spot - by_b)
        if other.spot.frame is not None:
            turn = float(by_spot @ by_angle)
            pull(other.spot.frame[1], turn * by_line)
            pull(other.spot.frame[0], -turn * by_line)
        return value

    def fit(self, x: Array, loss: Loss | None = None, rounds: int = 80) -> Array:
        """Coordinates of least (or robust) misfit reached from ``x``.

        Gauss–Newton steps on the normal equations, damped after Levenberg and Marquardt where a full step
        would not help. Rooms have tens of unknowns, for which this takes a fraction of the time of a general
        solver's call.
        """
        if not self.size or not len(self.observations):
            return x

        def misfits(at: Array) -> tuple[Array, Array, float]:
            computed, design = self.evaluate(at)
            scaled = (computed - self.observed) / self.sigma
            slope = design / self.sigma[:, None]
            if loss is not None:
                scaled, by = loss(scaled)
                slope = slope * by[:, None]
            return scaled, slope, float(scaled @ scaled)

        scaled, slope, cost = misfits(x)
        damping = 1e-8 if loss is None else 1e-4
        for _ in range(rounds):
            normal = slope.T @ slope
            right = slope.T @ scaled
            diagonal = np.diagonal(normal).copy()
            floor = max(float(diagonal.max()) * 1e-9, 1e-30)
            moved = False
            for _ in range(12):
                eased = normal.copy()
                eased[np.diag_indices(self.size)] += damping * np.maximum(diagonal, floor)
                try:
                    step = np.linalg.solve(eased, -right)
                except np.linalg.LinAlgError:
                    damping = max(damping * 10, 1e-6)
                    continue
                tried = misfits(x + step)
                if tried[2] <= cost * (1 + 1e-12) + 1e-18:
                    moved = True
                    break
                damping = max(damping * 10, 1e-6)
            if not moved or not bool(np.all(np.isfinite(step))):
                return x
            gained = cost - tried[2]
            x = x + step
            scaled, slope, cost = tried
            damping = damping / 10 if damping > 1e-9 else 0.0
            far = float(np.abs(step).max())
            if far < 1e-5 or (loss is not None and gained < 1e-5 * cost):
                break
        return x

    def cost(self, x: Array, loss: Loss | None = None) -> float:
        scaled = (self.evaluate(x, slopes=False)[0] - self.observed) / self.sigma
        if loss is not None:
            scaled = loss(scaled)[0]
        return float(scaled @ scaled)

    def _cofactor(self, scaled: Array) -> tuple[int, Array, Array]:
        """Rank, inverse of the normal matrix, and a basis of what stays free."""
        nothing = np.zeros((self.size, 0))
        normal = scaled.T @ scaled
        diagonal = np.diagonal(normal)
        if bool(np.all(diagonal > 0)):
            scale = 1.0 / np.sqrt(diagonal)
            try:
                root = np.linalg.cholesky(normal * scale[:, None] * scale[None, :])
            except np.linalg.LinAlgError:
                root = None
            if root is not None and float(np.diagonal(root).min()) > 1e-3:
                half = np.linalg.solve(root, np.diag(scale))
                return self.size, half.T @ half, nothing
        upper = np.linalg.qr(scaled, mode="r")
        _, values, rows = np.linalg.svd(upper, full_matrices=True)
        rank = int(np.sum(values > RANK * values[0]))
        kept = rows[:rank]
        return rank, (kept.T / values[:rank] ** 2) @ kept, rows[rank:].T

    def judge(self, x: Array) -> Adjusted:
        """Quality of a fitted network: residuals, redundancy, standardised residuals, what stays loose."""
        computed, design = self.evaluate(x)
        scaled = design / self.sigma[:, None]
        if self.size and len(self.observations):
            rank, cofactor, null = self._cofactor(scaled)
        else:
            rank, cofactor, null = 0, np.zeros((self.size, self.size)), np.eye(self.size)
        residuals = computed - self.observed
        redundancy = np.clip(1.0 - ((scaled @ cofactor) * scaled).sum(axis=1), 0.0, 1.0)
        standardised = [
            v / (s * math.sqrt(r)) if r >= CHECKED else None
            for v, s, r in zip(residuals.tolist(), self.sigma.tolist(), redundancy.tolist(), strict=True)
        ]
        loose = []
        if null.shape[1]:
            for name in self.names:
                at = [k for k in self.columns[name] if k is not None]
                if at and float(np.linalg.norm(null[at])) > 1e-6:
                    loose.append(name)
        return Adjusted(
            points=self.unpack(x),
            adjusted=computed,
            residuals=residuals,
            redundancy=redundancy,
            standardised=standardised,
            misfit=float(np.sum((residuals / self.sigma) ** 2)),
            freedom=len(self.observations) - rank,
            loose=loose,
            cofactor=cofactor,
            columns=self.columns,
            null=null,
            design=design,
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
    observations: Sequence[Observation],
    start: Coordinates,
    fixed: Mapping[str, tuple[float | None, float | None]],
    *,
    robust: bool = False,
) -> Adjusted:
    """Adjust observations between points by weighted least squares.

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
    network = Network(sorted(start), observations, fixed)
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
