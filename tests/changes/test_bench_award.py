"""The large awards that are timed: the same every time, quoted for every line, proven."""

from __future__ import annotations

from buildout.changes.web.bench_award import QUOTED_BY, large_case, measure_awards
from estimating.engine.prices import problems


def test_the_case_is_the_same_every_time_and_can_be_used() -> None:
    take_off, quotes, suppliers = large_case(12, 60)
    assert (take_off, quotes, suppliers) == large_case(12, 60)
    assert len(take_off.lines) == 60
    assert len(suppliers) == len(quotes) == 12
    lines = [line for quote in quotes for line in quote.lines]
    assert len(lines) == 60 * QUOTED_BY
    assert not any(problems(line) for line in lines)


def test_the_answer_takes_at_least_as_long_as_its_solver() -> None:
    (found,) = measure_awards(1, sizes=((6, 10),))
    assert (found.suppliers, found.lines) == (6, 10)
    assert 0 < found.solver < found.seconds
