"""How long a run spends inside the solvers it calls, so that the rest can be told apart.

Only for measuring: while ``SolverTime`` is open it stands around the entry points of HiGHS, CP-SAT and
SciPy's least squares, and around Shapely's functions where ``geometry`` is asked for. Nested calls count once.
``clock``: ``time.process_time`` where nothing runs beside the caller; what else the machine does is then left out.
"""

from __future__ import annotations

import inspect
import time
from collections.abc import Callable
from types import TracebackType
from typing import Any


class SolverTime:
    """Context manager; ``seconds`` and ``calls`` grow with every solver call made inside it."""

    def __init__(self, *, geometry: bool = False, clock: Callable[[], float] = time.perf_counter) -> None:
        self._geometry = geometry
        self._clock = clock
        self.seconds = 0.0
        self.calls = 0
        self._inside = False
        self._undo: list[Callable[[], None]] = []

    def __enter__(self) -> SolverTime:
        import highspy
        import scipy.optimize
        from ortools.sat.python import cp_model

        self._wrap(highspy.Highs, "run")
        self._wrap(cp_model.CpSolver, "solve")
        self._wrap(scipy.optimize, "least_squares")
        if self._geometry:
            import shapely

            for name, member in sorted(vars(shapely).items()):
                if inspect.isfunction(member):
                    self._wrap(shapely, name)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        while self._undo:
            self._undo.pop()()

    def _wrap(self, owner: Any, name: str) -> None:
        own = name in vars(owner)
        plain = getattr(owner, name)

        def timed(*args: Any, **kwargs: Any) -> Any:
            if self._inside:
                return plain(*args, **kwargs)
            self._inside = True
            began = self._clock()
            try:
                return plain(*args, **kwargs)
            finally:
                self.seconds += self._clock() - began
                self.calls += 1
                self._inside = False

        setattr(owner, name, timed)
        self._undo.append(lambda: setattr(owner, name, plain) if own else delattr(owner, name))
