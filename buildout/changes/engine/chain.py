"""The whole chain: a plan and its commitments in, every result out, each link run only when its inputs changed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol, TypeVar

from msgspec.structs import replace

from buildout.changes.engine.build_file import Commitments, Plan
from buildout.rooms.engine.neighbours import meet
from buildout.rooms.engine.plan import plan_room
from buildout.rooms.engine.survey import adjust
from buildout.rooms.engine.types import Neighbours, Room, RoomPlan, Survey
from buildout.units.value import Reason, Value, content_hash, from_json, to_json
from estimating.engine.award import award
from estimating.engine.award_choices import award_choices
from estimating.engine.budget import budget
from estimating.engine.cover import lay_cover
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.floor import lay_floor
from estimating.engine.fold_away import lay_fold_away
from estimating.engine.lead_times import arrivals, lateness, order_by
from estimating.engine.offers import settled_by
from estimating.engine.take_off import take_off
from estimating.engine.types import (
    Arrivals,
    Award,
    AwardChoices,
    Budget,
    CoverLayout,
    CutPlans,
    Fitout,
    FloorLayout,
    FoldAwayLayout,
    OrderDates,
    RoomLayouts,
    TakeOff,
    WallLayout,
)
from estimating.engine.walls import lay_walls
from scheduling.engine.forecast import forecast
from scheduling.engine.gains import gains
from scheduling.engine.schedule import solve
from scheduling.engine.tasks import generate
from scheduling.engine.types import Forecast, Gains, Schedule, TaskNet
from scheduling.engine.ways_out import Inputs

T = TypeVar("T")

STEPS = (
    "survey",
    "plan",
    "layouts",
    "cut plans",
    "take-off",
    "award",
    "lead times",
    "tasks",
    "schedule",
    "order-by dates",
    "budget",
    "forecast",
)
"""Names shown while a run goes on, in order."""

LINK_VERSIONS = dict.fromkeys(
    (
        "survey",
        "plan",
        "neighbours",
        "floor",
        "cover",
        "walls",
        "fold-away",
        "cut plans",
        "take-off",
        "award",
        "award choices",
        "arrivals",
        "tasks",
        "schedule",
        "order-by dates",
        "budget",
        "forecast",
        "gains",
    ),
    1,
) | {
    "survey": 3,
    "plan": 6,
    "budget": 3,
    "order-by dates": 3,
    "take-off": 10,
    "award": 8,
    "award choices": 6,
    "arrivals": 4,
    "schedule": 17,
    "tasks": 5,
    "forecast": 9,
    "gains": 9,
    "cut plans": 18,
    "floor": 17,
    "cover": 13,
    "walls": 13,
    "fold-away": 7,
}
"""Raise a link's number when its code gives other results for the same inputs."""


class Store(Protocol):
    """Where results are kept between runs, by content hash."""

    def get(self, key: str) -> bytes | None: ...

    def put(self, key: str, link: str, result: bytes) -> None: ...


class MemoryStore:
    """Results for one process; counts what was asked, found and computed."""

    def __init__(self) -> None:
        self.kept: dict[str, bytes] = {}
        self.computed: list[str] = []

    def get(self, key: str) -> bytes | None:
        return self.kept.get(key)

    def put(self, key: str, link: str, result: bytes) -> None:
        self.kept[key] = result
        self.computed.append(link)


class ChainResult(Value, kw_only=True):
    surveys: list[Survey]
    plans: list[RoomPlan]
    layouts: list[RoomLayouts]
    cut_plans: CutPlans
    take_off: TakeOff
    award: Award
    arrivals: Arrivals
    tasks: TaskNet
    schedule: Schedule
    order_dates: OrderDates
    budget: Budget
    forecast: Forecast
    choices: AwardChoices = AwardChoices()
    """Empty in results worked out before choices were priced."""
    gains: Gains = Gains()
    """Empty in results worked out before gains were tried."""
    neighbours: Neighbours = Neighbours()
    """Empty in results worked out before rooms could share doors."""
    keys: dict[str, str]
    """Content hash of every link's inputs; equal keys mean the link did not need to run."""

    def reasons(self) -> list[tuple[str, Reason]]:
        """Every reason with the link that gives it, stops first, then warnings, then notes."""
        found: list[tuple[str, Reason]] = []
        for survey in self.surveys:
            found += [("survey", r) for r in survey.reasons]
        for plan in self.plans:
            found += [("plan", r) for r in plan.reasons]
        found += [("plan", r) for r in self.neighbours.reasons]
        for layouts in self.layouts:
            for part in (layouts.floor, layouts.cover, layouts.walls, layouts.fold_away):
                found += [("layouts", r) for r in (part.reasons if part else [])]
        links: list[tuple[str, Any]] = [
            ("cut plans", self.cut_plans),
            ("take-off", self.take_off),
            ("award", self.award),
            ("award", self.choices),
            ("lead times", self.arrivals),
            ("tasks", self.tasks),
            ("schedule", self.schedule),
            ("order-by dates", self.order_dates),
            ("budget", self.budget),
            ("forecast", self.forecast),
            ("forecast", self.gains),
        ]
        for name, link in links:
            found += [(name, r) for r in link.reasons]
        order = {"stop": 0, "warning": 1, "note": 2}
        return sorted(found, key=lambda pair: order[pair[1].severity])


def run_chain(
    plan: Plan,
    commitments: Commitments,
    *,
    store: Store | None = None,
    before: Schedule | None = None,
    on_step: Callable[[int, str], None] = lambda number, name: None,
) -> ChainResult:
    """Run every link on a plan.

    ``before`` is the schedule people already rely on; the new one moves as little of it as it can.
    ``on_step`` is called with (position in STEPS, name) as each step begins.
    No link raises for bad numbers: what cannot be computed says so in its ``status`` and ``reasons``.
    """
    kept: Store = store if store is not None else MemoryStore()
    keys: dict[str, str] = {}

    def link(name: str, where: str, kind: type[T], work: Callable[[], T], *inputs: Any) -> T:
        key = content_hash(name, LINK_VERSIONS[name], *inputs)
        keys[f"{name} {where}".strip()] = key
        found = kept.get(key)
        if found is not None:
            return from_json(kind, found)
        result = to_json(work())
        kept.put(key, name, result)
        return from_json(kind, result)

    def step(name: str) -> None:
        on_step(STEPS.index(name), name)

    products = {product.id: product for product in plan.products}

    step("survey")
    surveys = [link("survey", room.id, Survey, lambda room=room: adjust(room), room) for room in plan.rooms]  # type: ignore[misc]

    step("plan")

    def planned(room: Room, survey: Survey) -> RoomPlan:
        return link("plan", room.id, RoomPlan, lambda: plan_room(room, survey), room, survey)

    plans = [planned(room, survey) for room, survey in zip(plan.rooms, surveys, strict=True)]
    beside = link("neighbours", "", Neighbours, lambda: meet(plan.rooms, plans), plan.rooms, plans)

    step("layouts")
    layouts = [_layouts(plan, fitout, plans, link) for fitout in plan.fitouts]

    step("cut plans")
    systems = (plan.floor_systems, plan.wall_systems)
    in_stock = (plan.remnants, commitments.cuts)
    cuts = link(
        "cut plans",
        "",
        CutPlans,
        lambda: plan_cuts(layouts, products, *systems, *in_stock),
        layouts,
        plan.products,
        *systems,
        *in_stock,
    )  # fmt: skip

    step("take-off")
    # Nobody cuts what comes ready-made.
    whole = {item for bought in plan.ready_made for item in bought.items}
    cuts = replace(cuts, plans=[cut for cut in cuts.plans if cut.product not in whole]) if whole else cuts
    stated = (plan.rooms, plans, layouts, cuts, plan.fitouts, plan.floor_systems, plan.wall_systems)
    counted = link(
        "take-off",
        "",
        TakeOff,
        lambda: take_off(*stated, products, plan.needs, plan.quantities, plan.ready_made),
        *stated,
        plan.products,
        plan.needs,
        plan.quantities,
        plan.ready_made,
    )

    step("award")
    offers = (plan.quotes, plan.suppliers)
    closed = [holiday.date for holiday in plan.dates.holidays]
    late = lateness(counted.lines, products, *offers, commitments.orders, closed, plan.award, plan.as_of)
    choosing = (*offers, plan.award, plan.as_of, plan.currency, plan.money.tax_percent)
    settled = settled_by(commitments.orders)
    awarded = link(
        "award", "", Award, lambda: award(counted, *choosing, late, settled),
        counted.lines, counted.drivers, *choosing, late, settled,
    )  # fmt: skip
    choices = link(
        "award choices", "", AwardChoices, lambda: award_choices(counted.lines, *choosing, awarded, late, settled),
        counted.lines, *choosing, awarded, late, settled,
    )  # fmt: skip

    step("lead times")
    lead = (products, *offers, commitments.orders, closed, plan.as_of)
    due = link("arrivals", "", Arrivals, lambda: arrivals(awarded, *lead), awarded, *lead)

    step("tasks")
    groups = {line.item: products[line.item].lead_group for line in counted.lines if line.item in products}
    net = link(
        "tasks",
        "",
        TaskNet,
        lambda: generate(plan.tasks, counted.drivers, plan.crew, groups),
        plan.tasks,
        counted.drivers,
        plan.crew,
        groups,
    )

    step("schedule")
    rest = (plan.crew, plan.dates, due, commitments.sign_ups, plan.tasks, plan.as_of, before, plan.time_zone)
    planned_days = link("schedule", "", Schedule, lambda: solve(net, *rest), net, *rest)

    step("order-by dates")
    names = {line.item: line.name for line in counted.lines}
    need = (due, planned_days.needs, planned_days.need_tasks, *offers, commitments.orders, closed, plan.as_of, names)
    ordered = link("order-by dates", "", OrderDates, lambda: order_by(awarded, *need), awarded, *need)

    step("budget")
    purse = (plan.money, commitments.orders, plan.products, commitments.charges, plan.quotes)
    spent = link("budget", "", Budget, lambda: budget(counted, awarded, *purse), counted, awarded, *purse)

    step("forecast")
    future = (planned_days, plan.crew, plan.dates, due, plan.tasks, plan.as_of)
    taken, zone = commitments.sign_ups, plan.time_zone
    expected = link(
        "forecast", "", Forecast, lambda: forecast(net, *future, signed_up=taken, time_zone=zone),
        net, *future, taken, zone,
    )  # fmt: skip
    given = Inputs(net, plan.crew, plan.dates, due, taken, plan.tasks, plan.as_of, zone)
    gained = link("gains", "", Gains, lambda: gains(given, planned_days), net, *future, taken, zone)

    return ChainResult(
        surveys=surveys,
        plans=plans,
        layouts=layouts,
        cut_plans=cuts,
        take_off=counted,
        award=awarded,
        choices=choices,
        arrivals=due,
        tasks=net,
        schedule=planned_days,
        order_dates=ordered,
        budget=spent,
        forecast=expected,
        gains=gained,
        neighbours=beside,
        keys=keys,
    )


def room_layouts(plan: Plan, fitout: Fitout, plans: list[RoomPlan]) -> RoomLayouts:
    """Lay out one room afresh, without a store."""
    return _layouts(plan, fitout, plans, lambda _name, _where, _kind, work, *_inputs: work())


def _layouts(plan: Plan, fitout: Fitout, plans: list[RoomPlan], link: Callable[..., Any]) -> RoomLayouts:
    products = {product.id: product for product in plan.products}
    room = next((p for p in plans if p.room == fitout.room), None)
    floor_system = next((s for s in plan.floor_systems if s.id == fitout.floor), None)
    wall_system = next((s for s in plan.wall_systems if s.id == fitout.walls), None)
    fold_system = next((s for s in plan.fold_away_systems if s.id == fitout.fold_away), None)
    floor: FloorLayout | None = None
    cover: CoverLayout | None = None
    walls: WallLayout | None = None
    folded: FoldAwayLayout | None = None
    where = fitout.room
    if room is not None and floor_system is not None:
        floor = link(
            "floor",
            where,
            FloorLayout,
            lambda: lay_floor(room, floor_system, products, fitout.pins, fitout.sides),
            room,
            floor_system,
            plan.products,
            fitout.pins,
            fitout.sides,
        )
        if floor_system.cover is not None:
            cover = link(
                "cover",
                where,
                CoverLayout,
                lambda: lay_cover(room, floor_system, floor, products, fitout.pins, fitout.route, fitout.weld_free),
                room,
                floor_system,
                floor,
                plan.products,
                fitout.pins,
                fitout.route,
                fitout.weld_free,
            )
    if room is not None and wall_system is not None:
        walls = link(
            "walls",
            where,
            WallLayout,
            lambda: lay_walls(room, wall_system, fitout, products),
            room,
            wall_system,
            fitout,
            plan.products,
        )
    if room is not None and fold_system is not None:
        folded = link(
            "fold-away",
            where,
            FoldAwayLayout,
            lambda: lay_fold_away(room, fold_system, products, fitout.mat_area, fitout.store, fitout.pins),
            room,
            fold_system,
            plan.products,
            fitout.mat_area,
            fitout.store,
            fitout.pins,
        )
    return RoomLayouts(room=fitout.room, floor=floor, cover=cover, walls=walls, fold_away=folded)
