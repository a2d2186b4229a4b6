"""What goes into and comes out of the task net, the schedule and the forecast.

Times of day are minutes after midnight in the build's own time zone; slots are half hours.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Literal

from buildout.units.value import Reason, Status, Value

Skill = Literal[
    "none", "lead", "measure", "carp", "saw", "uphol", "paint", "lift", "clean", "cook", "admin", "lic", "spec"
]  # fmt: skip
TaskKind = Literal["work", "fixed", "trade", "wait"]
Place = Literal["build day", "core team", "trade", "wait"]
"""Who does a task: helpers on a build day, the core team on weekdays, a licensed firm, nobody."""
Where = Literal["hall", "workshop", "desk"]
"""hall: in the room itself; workshop: a garage will do; desk: needs no room."""

# ---------------------------------------------------------------- inputs


class BuildDay(Value, kw_only=True):
    """A day with volunteers. ``start`` and ``end`` are written 08:30."""

    id: str
    date: date
    name: str
    start: str = "08:30"
    end: str = "16:00"
    meal_start: str = "12:00"
    meal_minutes: int = 45
    places: int
    place: str = "hall"
    quiet_until: str = ""
    """No noisy work before this time on this day; empty: none."""
    food: str = ""
    first_aid: str = ""
    """Where the first-aid kit and the extinguisher are."""


class CorePerson(Value, kw_only=True):
    """Somebody of the core team who also works on weekday evenings."""

    id: str
    name: str
    skills: list[Skill]


class Crew(Value, kw_only=True):
    """Who is there: the core team, the build days, and how many helpers of what skill are to be expected."""

    core: list[CorePerson]
    core_hours_per_weekday: Decimal = Decimal(3)
    days: list[BuildDay]
    skill_shares: dict[str, Decimal] = {}
    """Share of a build day's helpers expected to have a skill; skills not named: everybody."""
    no_show_low: Decimal = Decimal("0.05")
    no_show_likely: Decimal = Decimal("0.12")
    no_show_high: Decimal = Decimal("0.30")


class RateEdit(Value, kw_only=True):
    """The owner's own rate for a task of the default list, in the unit of that task."""

    code: str
    low: Decimal
    likely: Decimal
    high: Decimal
    why: str = ""


class OwnTask(Value, kw_only=True):
    """A task the default list does not have."""

    code: str
    name: str
    hours: Decimal
    """Elapsed hours for the crew given."""
    crew: int
    skills: list[Skill] = []
    after: list[str] = []
    cautions: list[str] = []


class TaskPin(Value, kw_only=True):
    """A task that must happen on one build day."""

    task: str
    day: str
    """Build day id."""


class TaskEdits(Value, kw_only=True):
    """What this build does differently from the default task list, and what is done already."""

    rates: list[RateEdit] = []
    off: list[str] = []
    """Template codes this build does without; successors inherit the predecessors."""
    own: list[OwnTask] = []
    pins: list[TaskPin] = []
    done: dict[str, date] = {}
    """Tasks finished, with the day they were finished."""


class SignedUp(Value, kw_only=True):
    """A helper's place on a build day, taken from the sign-up book. No contact details come this far."""

    id: str
    day: str
    task: str = ""
    """Empty: wherever needed."""
    skills: list[Skill] = []


class Holiday(Value, kw_only=True):
    """A day on which nobody works and nothing is delivered."""

    date: date
    name: str


class Dates(Value, kw_only=True):
    """The dates everything hangs on."""

    lease_start: date
    opening_wish: date
    announced: date | None = None
    holidays: list[Holiday] = []


# ---------------------------------------------------------------- task net


class Lag(Value, kw_only=True):
    """``after`` this task, start at least ``minutes`` (elapsed) later; from its start when ``from_start``."""

    task: str
    minutes: int = 0
    from_start: bool = False


class Task(Value, kw_only=True):
    """One task ready to be scheduled, its effort already computed from quantity and rate."""

    code: str
    name: str
    stage: int
    kind: TaskKind
    place: Place
    quantity: float
    unit: str
    driver: str
    low: float
    likely: float
    high: float
    """work: person-hours (low = least effort); fixed: elapsed hours; trade: working days; wait: calendar days."""
    crew_min: int
    crew_max: int
    skills: list[Skill]
    after: list[Lag]
    cautions: list[str]
    tools: str
    noisy: bool
    dusty: bool
    volunteers: bool
    needs: list[str] = []
    """Items (product ids) that must be on site."""
    arrival_of: str = ""
    """Lead group this wait stands for; its length then comes from the arrivals, not from the rate."""
    where: Where = "hall"


class DayJob(Value, kw_only=True):
    """Something every build day needs, taken off its hours or its people instead of being placed."""

    code: str
    name: str
    when: Literal["start", "end", "all day"]
    minutes: int
    """Taken off the day's hours; 0 for an all-day job."""
    crew: int
    """Taken off the day's people all day long; 0 where everybody takes part."""
    skills: list[Skill] = []
    cautions: list[str] = []


class TaskNet(Value, kw_only=True):
    status: Status
    tasks: list[Task]
    left_out: list[str]
    reasons: list[Reason]
    day_jobs: list[DayJob] = []


# ---------------------------------------------------------------- schedule


class PlannedTask(Value, kw_only=True):
    code: str
    name: str
    place: Place
    start_day: date
    end_day: date
    start: int
    end: int
    """Minutes after midnight on the first and last day (0 and 1440 for whole days)."""
    build_day: str
    """Build day id; empty when not on one."""
    crew: int
    skills: list[Skill]
    critical: bool
    slack_days: int
    cautions: list[str] = []


class DayLoad(Value, kw_only=True):
    build_day: str
    date: date
    name: str
    places: int
    needed: int
    """Most helpers needed at one time."""
    person_hours: float
    tasks: list[str]
    short_skills: list[str] = []


class Schedule(Value, kw_only=True):
    status: Status
    bound: float
    """Earliest opening shown possible, days after ``from_day``."""
    value: float
    gap: float
    work: float
    """Deterministic work units used by the solver."""
    from_day: date
    opening: date | None
    tasks: list[PlannedTask]
    days: list[DayLoad]
    needs: dict[str, date]
    """item → first day a task uses it."""
    need_tasks: dict[str, str]
    reasons: list[Reason]


# ---------------------------------------------------------------- forecast


class Driver(Value, kw_only=True):
    what: str
    kind: Literal["task", "delivery", "turn-out", "inspection"]
    share: float
    """Squared rank correlation with the opening date, 0–1."""
    text: str


class Forecast(Value, kw_only=True):
    status: Status
    runs: int
    seed: int
    p10: date | None
    p50: date | None
    p80: date | None
    chance_by_wish: float
    chance_by_announced: float | None
    unplaced: int
    """Runs in which some task found no room within the horizon."""
    histogram: list[tuple[date, int]]
    drivers: list[Driver]
    reasons: list[Reason]
