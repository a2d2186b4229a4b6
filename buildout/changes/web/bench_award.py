"""Awards as large as a build could ask for: the time of the whole answer against its own solver calls."""

from __future__ import annotations

import random
import statistics
import time
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from buildout.changes.engine.solver_time import SolverTime
from estimating.engine.award import award
from estimating.engine.types import AwardRules, Break, Freight, Quote, QuoteLine, Supplier, TakeOff, TakeOffLine

DAY = date(2027, 1, 18)
SIZES = ((12, 60), (30, 300))
QUOTED_BY = 5
"""How many suppliers quote a line: nobody sells everything."""


class Measured(NamedTuple):
    suppliers: int
    lines: int
    seconds: float
    solver: float


def large_case(suppliers: int, lines: int, seed: int = 1) -> tuple[TakeOff, list[Quote], list[Supplier]]:
    """Three breaks a line, all units or incremental, three forms of freight, a minimum order here and there."""
    dice = random.Random(seed)  # noqa: S311 - a case to measure, not a secret
    names = [f"s{n:02}" for n in range(suppliers)]
    quoted: dict[str, list[QuoteLine]] = {name: [] for name in names}
    asked = []
    for n in range(lines):
        item, need = f"i{n:03}", Decimal(dice.randint(1, 90))
        asked.append(
            TakeOffLine(
                item=item, name=item, head=8, unit="each", net=need, allowance=Decimal(0), waste=Decimal(0),
                quantity=need, needed=need, trace=[],
            )
        )  # fmt: skip
        base = dice.randint(500, 9000)
        for name in dice.sample(names, QUOTED_BY):
            first = base + dice.randint(-base // 8, base // 8)
            steps = [(1, first), (dice.randint(10, 40), first * 11 // 12), (dice.randint(41, 90), first * 5 // 6)]
            quoted[name].append(
                QuoteLine(
                    item=item, unit="each", form="all units" if dice.random() < 0.7 else "incremental",
                    breaks=[Break(start=Decimal(start), price=Decimal(cents) / 100) for start, cents in steps],
                )
            )  # fmt: skip
    quotes, sellers = [], []
    for number, name in enumerate(names):
        amount = Decimal(dice.randint(5000, 40000)) / 100
        freight = (
            Freight(form="flat", amount=amount),
            Freight(form="per unit", amount=Decimal("0.35")),
            Freight(form="free over", amount=amount, free_over=Decimal(1500)),
        )[number % 3]
        sellers.append(Supplier(id=name, name=name, minimum_order=Decimal(300 if number % 4 == 0 else 0)))
        quotes.append(
            Quote(
                id=f"{name}-1", supplier=name, currency="XXX", quoted=DAY, valid_until=DAY, lines=quoted[name],
                freight=freight, lead_days_low=1, lead_days_likely=2, lead_days_high=3,
            )
        )  # fmt: skip
    return TakeOff(status="proven", lines=asked, drivers={}, reasons=[]), quotes, sellers


def measure_awards(repeats: int, sizes: tuple[tuple[int, int], ...] = SIZES) -> list[Measured]:
    """Medians over ``repeats``. Raises ``RuntimeError`` for an award that is not proven: its time would mean little."""
    found = []
    for suppliers, lines in sizes:
        take_off, quotes, sellers = large_case(suppliers, lines)
        whole, solver = [], []
        for _ in range(repeats):
            with SolverTime() as spent:
                began = time.perf_counter()
                result = award(take_off, quotes, sellers, AwardRules(), DAY, "XXX", Decimal("7.5"))
                whole.append(time.perf_counter() - began)
            solver.append(spent.seconds)
            if result.status != "proven":
                raise RuntimeError(f"The award of {suppliers} × {lines} is {result.status}, not proven")
        found.append(Measured(suppliers, lines, statistics.median(whole), statistics.median(solver)))
    return found
