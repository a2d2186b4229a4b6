"""What a proposed plan would do to everything people rely on."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from buildout.changes.engine.build_file import Commitments, Plan
from buildout.changes.engine.chain import ChainResult
from buildout.changes.engine.edits import Edit, edits_between
from buildout.units.value import Reason, Value
from estimating.engine.lead_times import ordered_today
from estimating.engine.order_changes import OrderDifference, order_differences
from scheduling.engine.moved import MovedShift, moved_sign_ups
from scheduling.engine.types import PlannedTask, Requirement, Schedule, WayOut

SQUARE_FOOT = 92903.04
POUND = 0.45359237


class Figure(Value, kw_only=True):
    """One headline number before and after. ``kind`` tells the page how to write it."""

    name: str
    kind: str
    """area (mm²), length (mm), mass (kg), count, money, date, percent."""
    before: Any
    after: Any
    difference: float | None


class ItemChange(Value, kw_only=True):
    item: str
    name: str
    unit: str
    before: Decimal | None
    after: Decimal | None
    money_before: Decimal | None
    money_after: Decimal | None


class DateChange(Value, kw_only=True):
    what: str
    name: str
    before: date | None
    after: date | None


class TaskMove(Value, kw_only=True):
    code: str
    name: str
    before: date | None
    after: date | None
    crew_before: int | None
    crew_after: int | None


class Impact(Value, kw_only=True):
    edits: list[Edit]
    figures: list[Figure]
    items: list[ItemChange]
    order_by: list[DateChange]
    tasks: list[TaskMove]
    orders: list[OrderDifference]
    sign_ups: list[MovedShift]
    new_reasons: list[tuple[str, Reason]]
    """Stops and warnings that were not there before; a note whose figures changed is no news."""
    gone_reasons: list[tuple[str, Reason]]
    run: list[str]
    """Links that had to run."""
    kept: list[str]
    """Links whose inputs did not change."""
    no_plan: bool = False
    """With the change not everything required can be met: there is no plan."""
    conflict: list[Requirement] = []
    ways_out: list[WayOut] = []
    """What then cannot all be met, and changes with which there is a plan, cheapest first."""

    @property
    def changes_nothing(self) -> bool:
        return not (self.figures or self.items or self.order_by or self.tasks or self.orders or self.sign_ups)


def totals(result: ChainResult) -> dict[str, Any]:
    """The figures that lists, the journal and the headline of an impact speak of, as plain JSON values."""
    floors = [part.floor for part in result.layouts if part.floor]
    covers = [part.cover for part in result.layouts if part.cover]
    walls = [part.walls for part in result.layouts if part.walls]
    return {
        "floor_area": sum(plan.floor_area for plan in result.plans),
        "mat_area": sum(plan.mat_area for plan in result.plans),
        "sheets": sum(plan.value for plan in result.cut_plans.plans if plan.form == "sheet"),
        "frame_length": sum(floor.frame_length + floor.ramp_length for floor in floors),
        "cover_mass": sum(cover.mass for cover in covers),
        "panels": sum(len(e.panels) for w in walls for e in w.elevations) + sum(len(w.wraps) for w in walls),
        "goods": str(result.award.total),
        "cost": str(result.budget.total),
        "tasks": len(result.schedule.tasks),
        "opening": result.schedule.opening.isoformat() if result.schedule.opening else None,
        "p50": result.forecast.p50.isoformat() if result.forecast.p50 else None,
        "p80": result.forecast.p80.isoformat() if result.forecast.p80 else None,
        "chance_by_wish": result.forecast.chance_by_wish,
        "stops": sum(1 for _, reason in result.reasons() if reason.severity == "stop"),
        "warnings": sum(1 for _, reason in result.reasons() if reason.severity == "warning"),
    }


FIGURES = (
    ("floor_area", "Floor area", "area"),
    ("mat_area", "Mat area", "area"),
    ("sheets", "Sheets cut from", "count"),
    ("frame_length", "Frame and ramp", "length"),
    ("cover_mass", "Cover mass", "mass"),
    ("panels", "Wall panels", "count"),
    ("goods", "Goods and freight", "money"),
    ("cost", "Whole budget", "money"),
    ("opening", "Opening as planned", "date"),
    ("p50", "Opening, as likely as not", "date"),
    ("p80", "Opening, four times in five", "date"),
    ("chance_by_wish", "Chance to open by the wished date", "percent"),
)


def _difference(kind: str, before: Any, after: Any) -> float | None:
    if before is None or after is None:
        return None
    if kind == "date":
        return float((date.fromisoformat(after) - date.fromisoformat(before)).days)
    return float(Decimal(str(after)) - Decimal(str(before)))


def compare(
    before_document: Any,
    after_document: Any,
    before_plan: Plan,
    after_plan: Plan,
    before: ChainResult,
    after: ChainResult,
    commitments: Commitments,
    relied_on: Schedule | None = None,
) -> Impact:
    """Everything that differs between the plan people rely on and a proposed one.

    ``relied_on`` is the schedule people know, where it is not the one of ``before``.
    """
    was, now = totals(before), totals(after)
    figures = [
        Figure(name=name, kind=kind, before=was[key], after=now[key], difference=_difference(kind, was[key], now[key]))
        for key, name, kind in FIGURES
        if was[key] != now[key]
    ]
    old_reasons, new_reasons = _warnings(before), _warnings(after)
    closed = [holiday.date for holiday in after_plan.dates.holidays]
    return Impact(
        edits=edits_between(before_document, after_document),
        figures=figures,
        items=_items(before, after),
        order_by=_order_dates(before, after),
        tasks=[] if after.schedule.status == "infeasible" else _tasks(before, after),
        orders=order_differences(
            commitments.orders,
            after.award,
            after_plan.currency,
            after_plan.products,
            after_plan.suppliers,
            ordered_today(after_plan.quotes, after_plan.suppliers, closed, after_plan.as_of),
            after.take_off.lines,
        ),
        sign_ups=moved_sign_ups(
            relied_on or before.schedule,
            after.schedule,
            before_plan.crew.days,
            after_plan.crew.days,
            commitments.sign_ups,
        ),
        new_reasons=[new_reasons[key] for key in new_reasons if key not in old_reasons],
        gone_reasons=[old_reasons[key] for key in old_reasons if key not in new_reasons],
        run=sorted(name for name, key in after.keys.items() if before.keys.get(name) != key),
        kept=sorted(name for name, key in after.keys.items() if before.keys.get(name) == key),
        no_plan=after.schedule.status == "infeasible",
        conflict=after.schedule.conflict,
        ways_out=after.schedule.ways_out,
    )


def _warnings(result: ChainResult) -> dict[tuple[str, str, str], tuple[str, Reason]]:
    """Stops and warnings by what they are about, so that one with other figures in it is still the same one."""
    return {
        (link, reason.code, reason.where): (link, reason)
        for link, reason in result.reasons()
        if reason.severity != "note"
    }


def _items(before: ChainResult, after: ChainResult) -> list[ItemChange]:
    old, new = ({line.item: line for line in r.take_off.lines} for r in (before, after))
    old_money, new_money = ({line.item: line.goods + line.extras for line in r.award.lines} for r in (before, after))
    found = []
    for item in list(new) + [item for item in old if item not in new]:
        was, now = old.get(item), new.get(item)
        quantities = (was.quantity if was else None, now.quantity if now else None)
        money = (old_money.get(item), new_money.get(item))
        line = now or was
        if line is None or (quantities[0] == quantities[1] and money[0] == money[1]):
            continue
        found.append(
            ItemChange(
                item=item,
                name=line.name,
                unit=line.unit,
                before=quantities[0],
                after=quantities[1],
                money_before=money[0],
                money_after=money[1],
            )
        )
    return found


def _order_dates(before: ChainResult, after: ChainResult) -> list[DateChange]:
    names = {line.item: line.name for r in (before, after) for line in r.take_off.lines}
    old, new = ({line.item: line.order_by for line in r.order_dates.lines} for r in (before, after))
    return [
        DateChange(what=item, name=names.get(item, item), before=old.get(item), after=new.get(item))
        for item in sorted(set(old) | set(new), key=lambda item: (new.get(item) or date.max, item))
        if old.get(item) != new.get(item)
    ]


def _day(task: PlannedTask | None) -> date | None:
    """The day people look at: when work starts, but when a wait is over."""
    if task is None:
        return None
    return task.end_day if task.place == "wait" else task.start_day


def _tasks(before: ChainResult, after: ChainResult) -> list[TaskMove]:
    old, new = ({task.code: task for task in r.schedule.tasks} for r in (before, after))
    found = []
    for code in list(new) + [code for code in old if code not in new]:
        was, now = old.get(code), new.get(code)
        one = now or was
        if one is None or (was and now and _day(was) == _day(now) and was.crew == now.crew):
            continue
        found.append(
            TaskMove(
                code=code,
                name=one.name,
                before=_day(was),
                after=_day(now),
                crew_before=was.crew if was else None,
                crew_after=now.crew if now else None,
            )
        )
    return found
