"""What goes into and comes out of the task net, the schedule and the forecast.

Times of day are minutes after midnight in the build's own time zone; slots are half hours.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any, Literal

from buildout.units.value import Reason, Status, Value
from scheduling.engine.ages import Age, Lifting

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
    quiet_from: str = ""
    """No noisy work after this time on this day; empty: none."""
    food: str = ""
    first_aid: str = ""
    """Where the first-aid kit and the extinguisher are."""


class CorePerson(Value, kw_only=True):
    """Somebody of the core team who also works on weekday evenings."""

    id: str
    name: str
    skills: list[Skill]


class Helper(Value, kw_only=True):
    """A helper the plan may count on by name, whether or not already in the sign-up book."""

    id: str
    name: str
    """First name; no contact details in the plan."""
    skills: list[Skill] = []
    lifting: Lifting = "any"
    power_tools: bool = True
    """False: nothing with a motor."""
    age: Age = "adult"
    """Under 18 only with a guardian there, and only for what is allowed at that age."""
    days: list[str] = []
    """Ids of the build days this helper can come on."""
    sure: Decimal = Decimal("0.88")
    """How sure it is that the helper comes, 0 to 1."""


class Crew(Value, kw_only=True):
    """Who is there: the core team, the build days, and how many helpers of what skill are to be expected."""

    core: list[CorePerson]
    core_hours_per_weekday: Decimal = Decimal(3)
    core_hours_by_weekday: dict[str, Decimal] = {}
    """Where a weekday differs: mon, tue, wed, thu, fri → hours of that evening."""
    days: list[BuildDay]
    skill_shares: dict[str, Decimal] = {}
    """Share of a build day's helpers expected to have a skill; skills not named: everybody."""
    no_show_low: Decimal = Decimal("0.05")
    no_show_likely: Decimal = Decimal("0.12")
    no_show_high: Decimal = Decimal("0.30")
    no_show_why: str = ""
    """Where the three come from, where that is neither common practice nor the owner."""
    helpers: list[Helper] = []
    """Known by name; they are among a day's places, not beyond them."""
    tools: dict[str, int] = {}
    """How many there are of a tool, by a word of the tasks' tools ("saw"); tools not named: enough."""
    tool_places: dict[str, str] = {}
    """Where a tool lies, by a word of the tasks' tools ("saw")."""
    firm_sign_ups: bool = False
    """True: a task somebody has signed up for stays on that day whatever it costs."""


class RateEdit(Value, kw_only=True):
    """The owner's own rate for a task of the default list, in the unit of that task."""

    code: str
    low: Decimal
    likely: Decimal
    high: Decimal
    why: str = ""


class TaskChange(Value, kw_only=True):
    """A task of the default list done the owner's way; what is None stays as in the list."""

    code: str
    crew_min: int | None = None
    crew_max: int | None = None
    """Least and most useful crew."""
    skills: list[Skill] | None = None
    tools: str | None = None
    after: list[str] | None = None
    """Written like A01, A01+4h, SS:A01+1h, or A01+4h<2d where it may start at most two days later."""
    zone: str | None = None
    """A place in the room this task has for itself while it lasts; empty: none."""
    noisy: bool | None = None
    dusty: bool | None = None
    one_day: bool | None = None
    """Not to be split over days."""
    cautions: list[str] | None = None
    why: str = ""


class OwnTask(Value, kw_only=True):
    """A task the default list does not have."""

    code: str
    name: str
    hours: Decimal = Decimal(0)
    """Elapsed hours for the crew given; not looked at where the task has a driver."""
    crew: int
    crew_max: int | None = None
    """Most useful crew of a task with a driver; None: ``crew``."""
    driver: str = ""
    """Quantity it is worked out from, as in the default list; empty: ``hours``, whatever the size."""
    low: Decimal | None = None
    likely: Decimal | None = None
    high: Decimal | None = None
    """Units of the driver per person-hour; low is a slow day."""
    skills: list[Skill] = []
    after: list[str] = []
    """Written like A01, A01+4h, SS:A01+1h, or A01+4h<2d where it may start at most two days later."""
    cautions: list[str] = []
    zone: str = ""
    """A place in the room this task has for itself while it lasts, e.g. "floor"."""
    noisy: bool = False
    dusty: bool = False
    one_day: bool = False
    """Not to be split over days."""
    needs: list[str] = []
    """Items (product ids) that must be on site; tasks of the list that take goods by their kind leave these alone."""


class TaskPin(Value, kw_only=True):
    """A task that must happen on one build day."""

    task: str
    day: str
    """Build day id."""


class NotBefore(Value, kw_only=True):
    """A task held until a day: a hold point, a promise, a closed road."""

    task: str
    date: date
    why: str = ""


class Appointment(Value, kw_only=True):
    """A firm's work that begins, or an inspection that ends, on an agreed day."""

    task: str
    date: date
    firm: bool = True
    """False: wished for, and missed only where nothing else allows an opening as early."""


class PersonPin(Value, kw_only=True):
    """Somebody who must be on a task: one of the core team, a named helper, or somebody who signed up."""

    task: str
    person: str
    """Id of the core person or helper, or of the sign-up."""
    lead: bool = False
    """Leads the task."""


class TaskEdits(Value, kw_only=True):
    """What this build does differently from the default task list, and what is done already."""

    rates: list[RateEdit] = []
    changed: list[TaskChange] = []
    off: list[str] = []
    """Template codes this build does without; successors inherit the predecessors."""
    own: list[OwnTask] = []
    pins: list[TaskPin] = []
    not_before: list[NotBefore] = []
    appointments: list[Appointment] = []
    people: list[PersonPin] = []
    done: dict[str, date] = {}
    """Tasks finished, with the day they were finished."""
    begun: dict[str, Decimal] = {}
    """Tasks begun and not finished, with the share of their work that is done, between 0 and 1."""


class SignedUp(Value, kw_only=True):
    """A helper's place on a build day, taken from the sign-up book. No contact details come this far."""

    id: str
    day: str
    task: str = ""
    """Empty: wherever needed."""
    skills: list[Skill] = []
    age: Age = "adult"
    lifting: Lifting = "any"
    power_tools: bool = True
    """False: nothing with a motor."""


class Holiday(Value, kw_only=True):
    """A day on which nobody works and nothing is delivered."""

    date: date
    name: str


class HallHours(Value, kw_only=True):
    """When the landlord lets people into the room, written 08:00."""

    weekdays: list[int]
    """0 Monday to 6 Sunday."""
    start: str
    end: str
    quiet_from: str = ""
    """No noisy work after this time; empty: none."""


class Dates(Value, kw_only=True):
    """The dates everything hangs on."""

    lease_start: date
    opening_wish: date
    announced: date | None = None
    holidays: list[Holiday] = []
    hall_hours: list[HallHours] = []
    """Empty: at any hour. Otherwise only within these; weekdays not named are closed."""


# ---------------------------------------------------------------- task net


class Lag(Value, kw_only=True):
    """``after`` this task, start at least ``minutes`` (elapsed) later; from its start when ``from_start``."""

    task: str
    minutes: int = 0
    from_start: bool = False
    most: int | None = None
    """Start at most so many minutes after its end; None: no limit."""
    in_hours: bool = False
    """``minutes`` were given in hours: whole days of them are kept to the hour, not met on that day."""
    most_in_hours: bool = False


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
    zone: str = ""
    """A place in the room the task has for itself while it lasts; empty: none."""
    one_day: bool = False
    """Not to be split over days."""
    cures: bool = False
    """A wait for something that cures, dries or settles: its days are 24 hours of real time whatever the clock does."""
    begun: float = 0.0
    """Share of the work that is done already; ``low``, ``likely`` and ``high`` are of the rest."""


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
    people: list[str] = []
    """Ids of those who must be on it."""
    lead: str = ""
    """Id of who leads it; empty where nobody has to, or nobody can."""
    held_by: str = ""
    """What keeps it from starting earlier, in words; empty for what nothing holds."""


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


class Requirement(Value, kw_only=True):
    """One of a smallest set of wishes that cannot all be met: without any one of them a plan exists."""

    kind: Literal[
        "pin", "not before", "appointment", "person", "sign-up", "delivery", "days", "places", "skill", "hours",
        "quiet hours", "longest wait", "tool", "task"
    ]  # fmt: skip
    where: str
    """Task, item, day or person."""
    text: str


class PlanEdit(Value, kw_only=True):
    """One edit of the plan: ``at`` leads to the place, ``value`` is what the plan's file would hold there."""

    act: Literal["set", "add", "remove"]
    at: list[str | int]
    """Section, field, position …; for "add" the list the value goes to the end of."""
    value: Any = None


class WayOut(Value, kw_only=True):
    """A change with which a plan exists, tried by the solver."""

    kind: Literal[
        "pin", "not before", "appointment", "person", "sign-up", "order earlier", "build day", "places", "helper",
        "hours", "quiet hours", "longest wait", "tool"
    ]  # fmt: skip
    where: str
    text: str
    """The change in words, ready to show."""
    cost: float
    """Person-hours it asks of people, by which ways out are ranked; a planning value."""
    cost_text: str
    opening: date
    """Opening of the plan found with it; the search is short, so an earlier one may exist."""
    edits: list[PlanEdit] = []
    """What it changes in the plan; empty where it changes orders, sign-ups or the list of tasks instead."""


class Aim(Value, kw_only=True):
    """How far one aim of the schedule was reached, aims before it kept.

    >>> Aim(name="Even days", unit="%", value=80.0, bound=60.0, status="feasible").gap
    0.25
    """

    name: str
    unit: str
    value: float
    bound: float
    status: Status
    work: float = 0.0
    """Work units of the solver it took."""
    limit: float = 0.0
    """Work units it was given; a search that is cut at them leaves ``bound`` apart from ``value``."""

    @property
    def gap(self) -> float:
        """Share of ``value`` that a better plan could save at most, 0 to 1."""
        return (self.value - self.bound) / self.value if self.value else 0.0


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
    aims: list[Aim] = []
    """In order of importance."""
    conflict: list[Requirement] = []
    """Only where there is no plan: what cannot all be met."""
    ways_out: list[WayOut] = []
    """Only where there is no plan: cheapest first."""


# ---------------------------------------------------------------- forecast


class Driver(Value, kw_only=True):
    what: str
    kind: Literal["task", "delivery", "turn-out", "inspection", "skill"]
    share: float
    """Squared rank correlation with the opening date, 0–1; of several they need not add up to 1."""
    text: str
    days: float | None = None
    """How many days later the fifth of the runs with most bad news of it opens than the fifth with least."""


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


class Gain(Value, kw_only=True):
    """What one change would do to the forecast, planned anew and played through with the same random numbers."""

    kind: Literal["nothing", "helper", "build day", "express"]
    where: str
    text: str
    opening: date | None
    p80: date | None
    days: int | None
    """How many days earlier 80 % of the runs have opened; negative: later. None where either is unknown."""
    chance: float
    """Chance to open by the announced day, or by the wished one where none is announced."""
    mean: float | None = None
    """How many days earlier a run opens on average, run against run; negative: later."""
    error: float | None = None
    """How far ``mean`` may be off in 19 of 20 such forecasts."""


class Gains(Value, kw_only=True):
    """Changes of the plan that would bring the opening forward, best first."""

    runs: int = 0
    gains: list[Gain] = []
    reasons: list[Reason] = []
    nothing: Gain | None = None
    """The build without a change, planned anew for the opening alone: what the others are compared with."""
