"""What the build may cost in the end: the budget played through with its uncertain parts.

Uncertain are the opening (the forecast's runs, lead times in them; every week costs its rent), what no quote covers
(allowances), and goods that are cut here (pieces spoiled and bought again). What is ordered or quoted otherwise costs
what it says.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal

from buildout.units.money import format_money, round_money
from buildout.units.value import Reason, Status, Value
from buildout.units.words import some_of
from estimating.engine.heads import FLOAT, HEADS
from estimating.engine.types import Award, AwardLine, Budget, TakeOff

RUNS = 1000
SEED = 20
UNPRICED = (-0.10, 0.0, 0.40)
"""Low, likely and high of what an allowance is off by, as a share: four times in five not more than 20 % above, the
upper end of the 15 to 20 % usually kept for what is not priced yet. Common practice, no published source."""
SPOILED = (0.0, 0.03, 0.05)
"""Share of goods cut here that is spoiled and bought again. Common practice, no published source."""


class CostSource(Value, kw_only=True):
    """One thing that may cost more or less than the budget says."""

    what: str
    kind: str
    """delay, not quoted, or cut here."""
    mean: Decimal
    high: Decimal
    """Four times in five not more than this."""


class CostRisk(Value, kw_only=True):
    """Costs of the whole build, tax counted in, the float left out. Percentiles by nearest rank."""

    status: Status
    runs: int
    expected: Decimal
    """The budget without contingency: what it comes to when nothing surprises."""
    p50: Decimal
    p80: Decimal
    with_contingency: Decimal
    covered: float
    """Share of runs that end at or below the budget with its contingency."""
    sources: list[CostSource]
    """Dearest on average first."""
    reasons: list[Reason]


def cost_risk(
    budget: Budget,
    take_off: TakeOff,
    award: Award,
    billed: Mapping[int, Decimal],
    here: set[str],
    cut_here: set[str],
    openings: Sequence[tuple[date, int]],
    planned: date | None,
    weekly_rent: Decimal,
    tax_percent: Mapping[str, Decimal],
    currency: str,
) -> CostRisk:
    """Play the budget through ``RUNS`` times; the same inputs give the same figures.

    ``billed``: budget head → invoiced without an order; of an allowance only the rest is uncertain. ``here``: items
    that have come; ``cut_here``: items that are cut on site; ``tax_percent``: item → rate of its order or quote.
    ``openings``: (day, runs of the forecast that open then).
    Each source draws from its own stream, so that taking one out changes no other.

    Status: underdetermined when something asked has no price at all or there is no forecast.
    """
    sources = [_delay(openings, planned, weekly_rent)]
    sources += [
        (f"{HEADS.get(line.head, 'Other')}, not quoted", "not quoted", _triangle(f"head {line.head}", rest, UNPRICED))
        for line in budget.lines
        if line.head != FLOAT and (rest := line.allowance - billed.get(line.head, Decimal(0))) > 0
    ]
    cut = {line.item: line.name for line in take_off.lines if line.item in cut_here}
    sources += [
        (f"{cut[line.item]}, spoiled in cutting", "cut here", _triangle(line.item, _taxed(line, tax_percent), SPOILED))
        for line in sorted(award.lines, key=lambda line: line.item)
        if line.item in cut and line.item not in here
    ]
    expected = budget.total - budget.contingency
    draws = [(what, kind, drawn) for what, kind, drawn in sources if any(drawn)]
    ends = sorted(sum(run) for run in zip(*[drawn for _, _, drawn in draws], strict=True)) if draws else [0.0] * RUNS
    reasons = _reasons(budget, award, take_off, bool(openings), currency)
    return CostRisk(
        status="underdetermined" if any(r.severity == "warning" for r in reasons) else "feasible",
        runs=RUNS,
        expected=expected,
        p50=expected + _money(_rank(ends, 0.5), currency),
        p80=expected + _money(_rank(ends, 0.8), currency),
        with_contingency=budget.total,
        covered=sum(1 for end in ends if end <= float(budget.contingency) + 0.005) / RUNS,
        sources=sorted(
            (
                CostSource(
                    what=what, kind=kind, mean=_money(math.fsum(drawn) / RUNS, currency),
                    high=_money(_rank(sorted(drawn), 0.8), currency),
                )
                for what, kind, drawn in draws
            ),
            key=lambda source: (-source.mean, source.what),
        ),
        reasons=reasons,
    )  # fmt: skip


def _taxed(line: AwardLine, tax_percent: Mapping[str, Decimal]) -> Decimal:
    return line.goods * (1 + tax_percent.get(line.item, Decimal(0)) / 100)


Drawn = list[float]


def _delay(openings: Sequence[tuple[date, int]], planned: date | None, weekly_rent: Decimal) -> tuple[str, str, Drawn]:
    """The rent of every run's days after the planned opening, in an order of its own."""
    late = [max((day - planned).days, 0) for day, runs in openings for _ in range(runs)] if planned else []
    stream = random.Random(f"{SEED} opening")  # noqa: S311 - a simulation, not a secret
    picked = [late[int(stream.random() * len(late))] if late else 0 for _ in range(RUNS)]
    return "Opening later than planned, in rent", "delay", [days / 7 * float(weekly_rent) for days in picked]


def _triangle(name: str, amount: Decimal, spread: tuple[float, float, float]) -> Drawn:
    low, likely, high = spread
    stream = random.Random(f"{SEED} {name}")  # noqa: S311 - a simulation, not a secret
    return [float(amount) * stream.triangular(low, high, likely) for _ in range(RUNS)]


def _rank(ordered: Drawn, share: float) -> float:
    return ordered[math.ceil(share * len(ordered)) - 1]


def _money(amount: float, currency: str) -> Decimal:
    return round_money(Decimal(repr(round(amount, 6))), currency)


def _reasons(budget: Budget, award: Award, take_off: TakeOff, forecast: bool, currency: str) -> list[Reason]:
    found = []
    if any(reason.code == "nothing set aside" for reason in budget.reasons):
        names = {line.item: line.name for line in take_off.lines}
        missing = some_of([names.get(item, item) for item in award.unquoted])
        found.append(
            Reason(
                code="no price at all", where="budget", severity="warning",
                text=f"Some goods are neither quoted nor set aside for and stand in none of these figures: {missing}",
                todo="Ask for quotes, or set money aside under their heads",
            )
        )  # fmt: skip
    if not forecast:
        found.append(
            Reason(
                code="no forecast", where="forecast", severity="warning",
                text="There is no opening forecast, so what a delay costs is not counted",
                todo="See the progress sheet for what the forecast lacks",
            )
        )  # fmt: skip
    if not budget.contingency:
        found.append(
            Reason(
                code="no contingency", where="budget", severity="note",
                text=f"No contingency is kept: {format_money(budget.total, currency)} holds if nothing surprises",
                todo="Keep a percentage under the heads that are not priced yet",
            )
        )  # fmt: skip
    return found
