"""What there is to take part in: build days with their tasks, hours and free places."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from buildout.builds.web.models import Build
from buildout.builds.web.services import Sheet
from buildout.units.dates import day_text
from buildout.units.value import from_plain
from scheduling.engine import ages
from scheduling.engine.calendars import LEAD, clock_words
from scheduling.engine.cautions import CAUTIONS
from scheduling.engine.leads import asks_for_lead
from scheduling.engine.skills import TO_FIND
from scheduling.engine.template import default_template
from scheduling.engine.types import BuildDay, DayLoad, PlannedTask, Schedule, TaskNet
from scheduling.web.models import SignUp
from scheduling.web.words import skill_words

PLAIN = 300
"""Days ahead within which a day and a month say which year."""
NOT_FOR_HELPERS = {"lic", "spec"}
"""Work that needs a licence or a specialist firm is never offered, also where it falls on a build day."""


def whole_task(code: str) -> str:
    """A task's own code; one that is done in parts is planned as ``W11/1``, ``W11/2`` …"""
    return code.split("/")[0]


def carried_together() -> set[str]:
    """Codes of the tasks that take many hands at once, and with fewer are not begun."""
    return {row.code for row in default_template() if row.carry}


def crew_at_once(parts: list[PlannedTask]) -> int:
    """Most people the parts need at one time: parts one after the other share a crew, parts side by side do not."""
    moves = sorted([(p.start, p.crew) for p in parts] + [(p.end, -p.crew) for p in parts])
    most = now = 0
    for _, change in moves:
        now += change
        most = max(most, now)
    return most


def first_names(build: Build, sheet: Sheet) -> dict[str, str]:
    """Everybody the plan may speak of, by the id it uses: core team, helpers known by name, those who signed up."""
    return known_by_name(sheet) | {row.ref: row.first_name for row in SignUp.objects.standing().filter(build=build)}


def known_by_name(sheet: Sheet) -> dict[str, str]:
    """First names of those the plan itself names; not of those who have still to be found."""
    crew = sheet.document.get("crew", {})
    known = [*crew.get("core", []), *crew.get("helpers", [])]
    return {row["id"]: (row["name"].split() or [row["id"]])[0] for row in known if not row["name"].startswith(TO_FIND)}


def still_to_find(sheet: Sheet) -> list[str]:
    """Those whom the plan counts on and nobody has found yet: the core team's, then the helpers'."""
    crew = sheet.document.get("crew", {})
    names = [row["name"] for row in (*crew.get("core", []), *crew.get("helpers", []))]
    return [name for name in names if name.startswith(TO_FIND)]


def lead_words(task: PlannedTask | TaskOffer, names: Mapping[str, str]) -> str:
    """Who leads a task, or that somebody has to; empty where nobody needs to."""
    name = names.get(task.lead, "")
    asks = task.asks_for_lead if isinstance(task, TaskOffer) else asks_for_lead(task) and task.place == "build day"
    if name:
        return f"{name} leads"
    return "▲ needs a lead, nobody is named" if asks or task.lead else ""


@dataclass
class TaskOffer:
    """One task on one build day."""

    code: str
    name: str
    spans: list[tuple[int, int]]
    """Minutes after midnight, in order."""
    crew: int
    skills: list[str]
    caution_codes: list[str]
    critical: bool
    slack_days: int
    practised_only: bool = False
    """Not for just any volunteer: for people who have the task's skills."""
    tools: str = ""
    lead: str = ""
    """Id of who leads it."""
    asks_for_lead: bool = False
    taken: int = 0
    day_free: int = 0

    @property
    def start(self) -> int:
        return self.spans[0][0]

    @property
    def end(self) -> int:
        return max(end for _, end in self.spans)

    @property
    def free(self) -> int:
        return max(0, min(self.crew - self.taken, self.day_free))

    @property
    def wanted_skills(self) -> list[str]:
        """What helpers should be good at; leading is for the one who leads, where somebody is named."""
        return skill_words([skill for skill in self.skills if skill != LEAD or not self.lead])

    def suits(self, skills: list[str], age: str = "adult", lifting: str = "any", power_tools: bool = True) -> bool:
        """Whether somebody with these skills may sign up for it."""
        return not self.refusal(skills, age, lifting, power_tools)

    def refusal(self, skills: list[str], age: str = "adult", lifting: str = "any", power_tools: bool = True) -> str:
        """Why somebody may not sign up for it; empty when they may."""
        if self.practised_only and not set(self.skills) <= {*skills, "none"}:
            return "This task is for practised people only. These are open to you."
        return ages.refusal(
            age, lifting, power_tools,
            skills=list(self.skills), cautions=list(self.caution_codes), tools=self.tools,
        )  # fmt: skip

    @property
    def from_18(self) -> bool:
        return bool(self.refusal(list(self.skills), "16-17"))

    @property
    def cautions(self) -> list[str]:
        return [CAUTIONS[code] for code in self.caution_codes if code in CAUTIONS]


@dataclass
class DayOffer:
    """One build day as it stands in the sign-up book."""

    day: BuildDay
    tasks: list[TaskOffer]
    planned: list[PlannedTask]
    load: DayLoad | None
    sign_ups: list[SignUp] = field(default_factory=list)
    """Everybody who has a place."""
    today: date = date.min
    clocks: str = ""
    """What the clocks do that night or day, where they change."""
    carry: tuple[int, int] | None = None
    """(minute, people) of what takes most hands at once to carry; with fewer it is not carried."""
    core: int = 0
    """How many the core team are."""

    @property
    def carriers_missing(self) -> int:
        """How many who can lift have still to come, for what is carried together."""
        able = self.core + sum(1 for row in self.holding if row.lifting == "any")
        return max(0, self.carry[1] - able) if self.carry else 0

    @property
    def when(self) -> str:
        """Its date, with the year where that is not plain."""
        return day_text(self.day.date, year=(self.day.date - self.today).days > PLAIN)

    @property
    def holding(self) -> list[SignUp]:
        """Those whose place nobody else can have: all but minors whose guardian has not signed in time."""
        return [row for row in self.sign_ups if not row.hold_is_over(self.today)]

    @property
    def taken(self) -> int:
        return len(self.holding)

    @property
    def free(self) -> int:
        return max(0, self.day.places - self.taken)

    @property
    def anywhere(self) -> int:
        """How many signed up for wherever needed."""
        return sum(1 for row in self.sign_ups if not row.task)

    @property
    def short_skills(self) -> list[str]:
        return skill_words(list(self.load.short_skills)) if self.load else []

    @property
    def first_names(self) -> list[str]:
        return [row.first_name for row in self.sign_ups]

    @property
    def cautions(self) -> list[tuple[str, list[str]]]:
        """(caution text, codes of the tasks it goes with), in order of the tasks."""
        found: dict[str, list[str]] = {}
        for task in self.tasks:
            for code in task.caution_codes:
                if code in CAUTIONS:
                    found.setdefault(code, []).append(task.code)
        return [(CAUTIONS[code], tasks) for code, tasks in found.items()]

    def task(self, code: str) -> TaskOffer | None:
        return next((task for task in self.tasks if task.code == code), None)


def build_days(sheet: Sheet) -> list[BuildDay]:
    days = from_plain(list[BuildDay], sheet.document.get("crew", {}).get("days", []))
    return sorted(days, key=lambda day: (day.date, day.id))


People = dict[tuple[str, str], list[tuple["DayOffer", SignUp]]]


def by_person(offers: list[DayOffer]) -> People:
    """Places by who has them, as far as name and contact tell."""
    found: People = {}
    for offer in offers:
        for row in offer.sign_ups:
            found.setdefault(row.person, []).append((offer, row))
    return found


def at_once(row: SignUp, offer: DayOffer, people: People) -> list[str]:
    """What else the same person is down for at the same hours, in words.

    Two dates are welcome; on one date a second build day counts where its hours meet this one's.
    """
    found = []
    for other, one in people.get(row.person, []):
        day, here = other.day, other.day.id == offer.day.id
        meets = day.date == offer.day.date and day.start < offer.day.end and offer.day.start < day.end
        if one.pk != row.pk and (here or meets):
            task = other.task(one.task)
            where = "" if here else f" on “{day.name}” of the same date, {day.start} to {day.end}"
            found.append((task.name if task else "wherever needed") + where)
    return found


def day_offers(build: Build, sheet: Sheet, schedule: Schedule | None = None) -> list[DayOffer]:
    """Every build day in order of date, past ones too. One query."""
    schedule = schedule or sheet.part("schedule", Schedule)
    taken: dict[str, list[SignUp]] = defaultdict(list)
    for row in SignUp.objects.standing().filter(build=build).order_by("day_place"):
        taken[row.day].append(row)
    net = sheet.part("tasks", TaskNet).tasks
    practised = {task.code for task in net if not task.volunteers}
    tools = {task.code: task.tools for task in net}
    loads = {load.build_day: load for load in schedule.days}
    hands = {task.code: task.crew_min for task in net if task.code in carried_together()}
    planned: dict[str, list[PlannedTask]] = defaultdict(list)
    for task in schedule.tasks:
        if task.build_day:
            planned[task.build_day].append(task)
    offers = []
    for day in build_days(sheet):
        offer = DayOffer(
            day=day,
            tasks=_tasks(planned[day.id], practised, tools),
            planned=sorted(planned[day.id], key=lambda task: (task.start, task.code)),
            load=loads.get(day.id),
            sign_ups=taken[day.id],
            today=sheet.today(),
            clocks=clock_words(day, sheet.zone.key),
            carry=max(
                ((task.start, hands[code]) for task in planned[day.id] if (code := whole_task(task.code)) in hands),
                key=lambda one: one[1],
                default=None,
            ),
            core=len(sheet.document.get("crew", {}).get("core", [])),
        )
        for one in offer.tasks:
            one.taken = sum(1 for row in offer.holding if row.task == one.code)
            one.day_free = offer.free
        offers.append(offer)
    return offers


def _tasks(planned: list[PlannedTask], practised: set[str], tools: dict[str, str]) -> list[TaskOffer]:
    parts: dict[str, list[PlannedTask]] = defaultdict(list)
    for task in planned:
        if task.crew > 0 and not NOT_FOR_HELPERS & set(task.skills):
            parts[whole_task(task.code)].append(task)
    offers = []
    for code, some in parts.items():
        some.sort(key=lambda task: (task.start, task.code))
        offers.append(
            TaskOffer(
                code=code,
                name=some[0].name,
                spans=[(task.start, task.end) for task in some],
                crew=crew_at_once(some),
                skills=list(some[0].skills),
                caution_codes=list(dict.fromkeys(code for task in some for code in task.cautions)),
                critical=any(task.critical for task in some),
                slack_days=min(task.slack_days for task in some),
                practised_only=code in practised,
                tools=tools.get(code, ""),
                lead=next((task.lead for task in some if task.lead), ""),
                asks_for_lead=any(asks_for_lead(task) for task in some),
            )
        )
    return sorted(offers, key=lambda offer: (offer.start, offer.code))


def upcoming(offers: list[DayOffer], today: date) -> list[DayOffer]:
    return [offer for offer in offers if offer.day.date >= today]
