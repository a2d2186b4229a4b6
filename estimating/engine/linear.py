"""Linear and mixed-integer programmes through HiGHS, always set up the same way so answers repeat.

One thread, a fixed seed, no relative gap, and node limits instead of wall-clock limits: the same model
gives the same answer on a busy machine and on an idle one.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from math import inf
from typing import Any

SEED = 20


@cache
def _quiet_kind() -> Any:
    import highspy

    class Quiet(highspy.Highs):  # type: ignore[misc]  # the library is seen without types
        """The solver without its banner: the usual constructor prints before anyone can ask it not to."""

        def __init__(self) -> None:
            super(highspy.Highs, self).__init__()
            self.setOptionValue("output_flag", False)

    return Quiet


def _quiet() -> Any:
    solver = _quiet_kind()()
    for name, value in (
        ("threads", 1),
        ("parallel", "off"),
        ("random_seed", SEED),
        ("mip_rel_gap", 0.0),
        ("mip_feasibility_tolerance", 1e-7),
    ):
        solver.setOptionValue(name, value)
    return solver


@dataclass(frozen=True)
class Answer:
    """What a programme came to. ``values`` is empty when nothing was found."""

    proven: bool
    infeasible: bool
    value: float
    bound: float
    """No solution can be below this (minimisation); ``-inf`` when nothing is known."""
    values: list[float]

    @property
    def cut_short(self) -> bool:
        """The nodes ran out before the answer was certain."""
        return not self.proven and not self.infeasible


@dataclass
class Programme:
    """A minimisation: columns with cost and range, rows with a range.

    >>> p = Programme()
    >>> x, y = p.column(3.0, 0, 10, whole=True), p.column(2.0, 0, 10, whole=True)
    >>> p.row(5, None, {x: 2.0, y: 1.0})
    >>> answer = p.solve(absolute_gap=0.5)
    >>> answer.proven, round(answer.value)
    (True, 8)
    """

    # Arrays of machine numbers: they reach the solver as they lie in memory, however long they are.
    costs: array[float] = field(default_factory=lambda: array("d"))
    lower: array[float] = field(default_factory=lambda: array("d"))
    upper: array[float] = field(default_factory=lambda: array("d"))
    whole: list[bool] = field(default_factory=list)
    row_lower: array[float] = field(default_factory=lambda: array("d"))
    row_upper: array[float] = field(default_factory=lambda: array("d"))
    _starts: array[int] = field(default_factory=lambda: array("i", [0]))
    _index: array[int] = field(default_factory=lambda: array("i"))
    _value: array[float] = field(default_factory=lambda: array("d"))

    def column(self, cost: float, lower: float = 0.0, upper: float | None = None, *, whole: bool = False) -> int:
        """Add a variable; gives its number."""
        self.costs.append(cost)
        self.lower.append(lower)
        self.upper.append(inf if upper is None else upper)
        self.whole.append(whole)
        return len(self.costs) - 1

    def row(self, lower: float | None, upper: float | None, terms: dict[int, float]) -> None:
        """Add ``lower ≤ Σ terms ≤ upper``; None leaves a side open."""
        self.row_lower.append(-inf if lower is None else lower)
        self.row_upper.append(inf if upper is None else upper)
        columns = sorted(terms)
        self._index.extend(columns)
        self._value.extend(map(terms.__getitem__, columns))
        self._starts.append(len(self._index))

    def solve(self, *, absolute_gap: float, nodes: int = 20_000) -> Answer:
        """Solve to the given absolute gap or until ``nodes`` branching nodes are used up."""
        import highspy
        import numpy as np

        solver = _quiet()
        solver.setOptionValue("mip_abs_gap", absolute_gap)
        solver.setOptionValue("mip_max_nodes", nodes)
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(self.costs), len(self.row_lower)
        lp.col_cost_ = np.array(self.costs, dtype=float)
        lp.col_lower_ = np.array(self.lower, dtype=float)
        lp.col_upper_ = np.array(self.upper, dtype=float)
        lp.row_lower_ = np.array(self.row_lower, dtype=float)
        lp.row_upper_ = np.array(self.row_upper, dtype=float)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.array(self._starts, dtype=np.int32)
        lp.a_matrix_.index_ = np.array(self._index, dtype=np.int32)
        lp.a_matrix_.value_ = np.array(self._value, dtype=float)
        integer, free = highspy.HighsVarType.kInteger, highspy.HighsVarType.kContinuous
        if any(self.whole):
            lp.integrality_ = [integer if w else free for w in self.whole]
        solver.passModel(lp)
        solver.run()
        status = solver.getModelStatus()
        kinds = highspy.HighsModelStatus
        if status in (kinds.kInfeasible, kinds.kUnboundedOrInfeasible):
            return Answer(False, True, float("inf"), float("inf"), [])
        info = solver.getInfo()
        found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
        bound = float(info.mip_dual_bound) if any(self.whole) else float(info.objective_function_value)
        if not found:
            return Answer(False, False, float("inf"), bound, [])
        values = list(solver.getSolution().col_value)
        return Answer(status == kinds.kOptimal, False, float(info.objective_function_value), bound, values)


class Master:
    """The covering programme of column generation: minimise Σ cost·x with every demand covered."""

    def __init__(self, demand: Sequence[int]) -> None:
        import numpy as np

        self._solver = _quiet()
        self._solver.setOptionValue("presolve", "off")
        self._infinity = self._solver.getInfinity()
        empty = np.array([], dtype=np.int32)
        for amount in demand:
            self._solver.addRow(float(amount), self._infinity, 0, empty, np.array([], dtype=float))
        self.columns: list[tuple[float, dict[int, int]]] = []
        self._known: set[tuple[float, tuple[tuple[int, int], ...]]] = set()

    def add(self, cost: float, pattern: dict[int, int]) -> bool:
        """Add a pattern (row → count). False when it is there already."""
        import numpy as np

        key = (cost, tuple(sorted(pattern.items())))
        if key in self._known:
            return False
        self._known.add(key)
        rows = [row for row, _ in key[1]]
        counts = [float(count) for _, count in key[1]]
        self._solver.addCol(
            cost, 0.0, self._infinity, len(rows), np.array(rows, dtype=np.int32), np.array(counts, dtype=float)
        )
        self.columns.append((cost, dict(pattern)))
        return True

    def solve(self) -> tuple[float, list[float]]:
        """Value and the price (dual) of one more of every demand."""
        self._solver.run()
        duals = [max(0.0, float(d)) for d in self._solver.getSolution().row_dual]
        return float(self._solver.getInfo().objective_function_value), duals

    def values(self) -> list[float]:
        """How much of every column the last solution uses."""
        return [float(v) for v in self._solver.getSolution().col_value]


def cover(
    columns: Sequence[tuple[float, dict[int, int]]], demand: Sequence[int], *, below: float | None, nodes: int
) -> tuple[list[int], Answer]:
    """Choose whole numbers of patterns that cover the demand at least cost.

    Costs must be whole numbers. ``below``: look only for answers of at most this cost. Gives the count per
    pattern (empty when none was found) and the answer itself.
    """
    programme = Programme()
    for cost, _ in columns:
        programme.column(cost, 0, None, whole=True)
    for row, amount in enumerate(demand):
        terms = {c: float(p[row]) for c, (_, p) in enumerate(columns) if row in p}
        programme.row(float(amount), None, terms)
    if below is not None:
        programme.row(None, below, {c: cost for c, (cost, _) in enumerate(columns)})
    answer = programme.solve(absolute_gap=0.99, nodes=nodes)
    return [round(v) for v in answer.values], answer
