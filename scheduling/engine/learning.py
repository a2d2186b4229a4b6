"""What finished work and past days teach: rates and show-up shares, and how good the forecasts were.

Rates. A finished task's slowness is ln(hours it took ÷ likely hours). Slowness is taken to be spread normally about the
build's own, which is spread normally about zero, the default; a build's own slowness is then the mean of what was
seen, shrunk towards the default as if ``DEFAULT_COUNTS`` tasks had taken exactly their likely hours: (Σ r) ÷ (k + n).
A task's own is shrunk towards the build's in the same way. (Normal mean with known variance, the same rule as the
credibility factor n ÷ (n + k): H. Bühlmann, ASTIN Bulletin 4 (1967) 199–207, from memory.) The spread between low
and high is kept: a few tasks do not tell how much less days differ.

Show-up. The share that stays away has a beta distribution with the mean and spread of the default's three points
((low + 4 likely + high) ÷ 6 and (high − low) ÷ 6: D. G. Malcolm and others, Operations Research 7 (1959) 646–669, from
memory); who came and who did not is added to its two counts (beta-binomial). The three points move by the same odds.

Calibration. Where an outcome lies in what was forecast for it is a share between 0 and 1; if the forecasts fit, half of
the outcomes lie below 0.5 and four in five below 0.8.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from math import comb, exp, log, sqrt

from buildout.units.value import Value, snap
from scheduling.engine.template import TemplateRow, default_template
from scheduling.engine.types import Crew, RateEdit, Task, TaskEdits, TaskNet

DEFAULT_COUNTS = 3
"""The default counts like so many finished tasks. Our choice: after three tasks what was seen weighs half."""
FEWEST_HOURS = 0.5
"""Tasks shorter than this say more about ticking than about working."""
FURTHEST = 4.0
"""A task that took more than four times its likely hours, or less than a quarter, is taken for a forgotten tick."""
WORTH_CHANGING = 0.02
LEARNED = "Learned: "
"""Begins the reason of a rate written by this rule, so that the owner's own rates are told from it."""


def is_learned(why: str) -> bool:
    """Say whether a reason was written by this rule."""
    return why.startswith(LEARNED)


class FinishedTask(Value, kw_only=True):
    """A task that is done, with the person-hours counted on it and what was forecast before."""

    code: str
    day: date
    hours: float
    low: float
    likely: float
    high: float
    """Person-hours held possible, likely and possible when the day began."""


class DayTurnOut(Value, kw_only=True):
    """How many had signed up for a day, and how many of them came."""

    day: str
    date: date
    signed: int
    came: int
    held: tuple[float, float, float] = (0.05, 0.12, 0.30)
    """Low, likely, high share that stays away as held when the day began."""


class LearnedRate(Value, kw_only=True):
    code: str
    name: str
    unit: str
    seen: float | None
    """Units per person-hour of the task itself; None while it is not finished."""
    default: float
    new: float
    """Likely rates."""
    edit: RateEdit


class Learned(Value, kw_only=True):
    tasks: int
    """Finished tasks counted."""
    put_aside: list[str]
    """Codes of finished tasks that look like a forgotten tick."""
    factor: float
    """Hours of this build's tasks as a multiple of the default."""
    rates: list[LearnedRate]
    signed: int
    came: int
    no_show: tuple[float, float, float] | None
    """New low, likely, high share that stays away; None while no day has been, or where the owner set it by hand."""
    counts: float = 0.0
    """People the default share counts like."""
    own_no_show: bool = False
    """The owner set the share by hand: it stays."""


def shrunk(seen: Sequence[float], towards: float = 0.0, counts: float = DEFAULT_COUNTS) -> float:
    """Return the mean of what was seen, shrunk as if ``counts`` more values of ``towards`` had been seen.

    >>> round(shrunk([0.4, 0.2, 0.6]), 9)
    0.2
    >>> shrunk([])
    0.0
    """
    return (counts * towards + sum(seen)) / (counts + len(seen))


def no_show(
    low: float, likely: float, high: float, signed: int, came: int
) -> tuple[float, float, float]:  # fmt: skip
    """Return the three points after so many came of so many who had signed up.

    Of 40 who had signed up 30 came; 5, 12, 30 % have mean 13.8 % and spread 4.2 %, so they count like 67.6 people;
    new mean (9.35 + 10) ÷ (67.6 + 40) = 18 %.

    >>> [round(share, 3) for share in no_show(0.05, 0.12, 0.30, 40, 30)]
    [0.067, 0.157, 0.369]
    """
    mean, weight = _beta(low, likely, high)
    if not weight or signed <= 0:
        return low, likely, high
    after = (weight * mean + signed - came) / (weight + signed)
    odds = after / (1 - after) / (mean / (1 - mean))
    return (_shift(low, odds), _shift(likely, odds), _shift(high, odds))


def _beta(low: float, likely: float, high: float) -> tuple[float, float]:
    """Mean of the beta distribution and how many people its two counts come to; 0 where it has no spread."""
    mean, spread = (low + 4 * likely + high) / 6, (high - low) / 6
    if not 0 < mean < 1 or spread <= 0:
        return mean, 0.0
    return mean, max(2.0, mean * (1 - mean) / spread**2 - 1)


def no_show_of(crew: Crew) -> tuple[float, float, float]:
    """Return low, likely, high share that stays away.

    >>> no_show_of(Crew(core=[], days=[]))
    (0.05, 0.12, 0.3)
    """
    return float(crew.no_show_low), float(crew.no_show_likely), float(crew.no_show_high)


def _shift(share: float, odds: float) -> float:
    return share * odds / (1 - share + share * odds)


def learn(
    net: TaskNet, edits: TaskEdits, finished: Sequence[FinishedTask], days: Sequence[DayTurnOut], crew: Crew
) -> Learned:  # fmt: skip
    """Work out the build's rates and show-up anew from everything seen so far, always starting from the default.

    Rates the owner has set by hand stay, and so does a share that stays away. Only work done by hands (``kind`` work)
    teaches and learns.
    """
    rows = {row.code: row for row in default_template()}
    work = {task.code: task for task in net.tasks if task.kind == "work" and task.code in rows}
    own = {edit.code for edit in edits.rates if not is_learned(edit.why)}
    slow: dict[str, float] = {}
    aside: list[str] = []
    for one in finished:
        task, row = work.get(one.code), rows.get(one.code)
        if task is None or row is None or one.hours < FEWEST_HOURS or task.quantity <= 0:
            continue
        ratio = one.hours / (task.quantity / row.likely)
        if not 1 / FURTHEST <= ratio <= FURTHEST:
            aside.append(one.code)
            continue
        slow[one.code] = log(ratio)
    build = shrunk([slow[code] for code in sorted(slow)])
    rates = []
    for code, task in work.items():
        if code in edits.done and code not in slow:
            continue  # over, and nobody knows how long it took
        mine = shrunk([slow[code]], build) if code in slow else build
        if code in own or not slow or abs(exp(mine) - 1) < WORTH_CHANGING:
            continue
        rates.append(_rate(rows[code], task, mine, slow.get(code), len(slow)))
    signed, came = sum(day.signed for day in days), sum(min(day.came, day.signed) for day in days)
    points = no_show_of(Crew(core=[], days=[]))
    by_hand = no_show_of(crew) != points and not is_learned(crew.no_show_why)
    low, likely, high = no_show(*points, signed, came)
    return Learned(
        tasks=len(slow),
        put_aside=sorted(aside),
        factor=snap(exp(build), 0.001),
        rates=rates,
        signed=signed,
        came=came,
        no_show=(snap(low, 0.001), snap(likely, 0.001), snap(high, 0.001)) if signed and not by_hand else None,
        counts=snap(_beta(*points)[1], 0.1),
        own_no_show=by_hand,
    )


def _rate(row: TemplateRow, task: Task, slow: float, seen: float | None, count: int) -> LearnedRate:
    factor = exp(-slow)
    why = f"{LEARNED}{count} finished task{'s' * (count != 1)} of this build"
    why += ", this one among them" if seen is not None else ""
    low, likely, high = (Decimal(f"{value * factor:.4g}") for value in (row.low, row.likely, row.high))
    return LearnedRate(
        code=row.code,
        name=task.name,
        unit=row.unit,
        seen=snap(row.likely * exp(-seen), 0.0001) if seen is not None else None,
        default=row.likely,
        new=float(likely),
        edit=RateEdit(code=row.code, low=_plain(low), likely=_plain(likely), high=_plain(high), why=why),
    )


def _plain(number: Decimal) -> Decimal:
    """Without an exponent, as people write it."""
    return Decimal(f"{number:f}")


# ---------------------------------------------------------------- forecast against outcome


def held_likely(low: float, likely: float, high: float, value: float) -> float:
    """Return the share of outcomes a triangular forecast held to be at most ``value``.

    >>> held_likely(2, 3, 7, 3), held_likely(2, 3, 7, 5), held_likely(2, 3, 7, 9)
    (0.2, 0.8, 1.0)
    """
    if value <= low:
        return 1.0 if low == high == value else 0.0
    if value >= high:
        return 1.0
    if value <= likely:
        return (value - low) ** 2 / ((high - low) * (likely - low))
    return 1 - (high - value) ** 2 / ((high - low) * (high - likely))


def wilson(hits: int, of: int, z: float = 1.959964) -> tuple[float, float]:
    """Return the Wilson 95 % interval of a share (E. B. Wilson, J. Amer. Statist. Assoc. 22 (1927), from memory).

    Nine of ten: 0.596 to 0.982.

    >>> tuple(round(share, 3) for share in wilson(9, 10))
    (0.596, 0.982)
    """
    if of <= 0:
        return 0.0, 1.0
    share = hits / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z * sqrt(share * (1 - share) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return max(0.0, middle - half), min(1.0, middle + half)


class Calibration(Value, kw_only=True):
    """How often what was held so likely came true."""

    held: float
    hits: int
    of: int
    usual: tuple[float, float]
    """Shares that so few cases leave open (Wilson, 95 %)."""

    @property
    def fits(self) -> bool:
        return self.of == 0 or self.usual[0] <= self.held <= self.usual[1]


def place_of_task(one: FinishedTask) -> float:
    """Return which share of outcomes the forecast of a task held to be at most what it took."""
    return held_likely(one.low, one.likely, one.high, one.hours)


STEPS = 200
"""Steps in which the share that stays away is gone through."""


def place_of_turn_out(day: DayTurnOut) -> float:
    """Return which share of outcomes the forecast of a day held to have at most as many away as there were.

    Of those who had signed up each stays away with the share drawn for the day, so how many do is a binomial number
    over a triangular share; as it is a whole number, half of its own chance counts as below it.

    With two signed up and a share of a quarter for certain, none away has 9/16, one 6/16: places 9/32 and 12/16.

    >>> [place_of_turn_out(DayTurnOut(day="a", date=date(2027, 1, 2), signed=2, came=came, held=(0.25, 0.25, 0.25)))
    ...  for came in (2, 1)]
    [0.28125, 0.75]
    """
    away = day.signed - min(day.came, day.signed)
    low, likely, high = day.held
    total = 0.0
    for step in range(STEPS):
        share = _drawn((step + 0.5) / STEPS, low, likely, high)
        chances = [comb(day.signed, n) * share**n * (1 - share) ** (day.signed - n) for n in range(away + 1)]
        total += sum(chances) - chances[-1] / 2
    return snap(total / STEPS, 1e-6)


def _drawn(uniform: float, low: float, likely: float, high: float) -> float:
    """The value of a triangular distribution below which ``uniform`` of it lies."""
    if high <= low:
        return likely
    if uniform < (likely - low) / (high - low):
        return low + sqrt(uniform * (high - low) * (likely - low))
    return high - sqrt((1 - uniform) * (high - low) * (high - likely))


def calibrate(placed: Sequence[float]) -> list[Calibration]:
    """Compare outcomes, each by its place in its forecast, with what was held 50 % and 80 % likely for them.

    >>> one = FinishedTask(code="A", day=date(2027, 1, 1), hours=4.0, low=2, likely=3, high=7)
    >>> [(row.held, row.hits, row.of) for row in calibrate([place_of_task(one)])]
    [(0.5, 0, 1), (0.8, 1, 1)]
    """
    return [
        Calibration(
            held=share,
            hits=sum(value <= share for value in placed),
            of=len(placed),
            usual=wilson(sum(value <= share for value in placed), len(placed)),
        )
        for share in (0.5, 0.8)
    ]
