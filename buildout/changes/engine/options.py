"""Two to five floor systems for the same room beside each other, the whole chain run for each.

Everything else of the plan stays: the same room, prices, people and dates. Goods nobody quotes for an option are named,
since their price is missing from its cost.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any, Literal

import msgspec

from buildout.changes.engine.build_file import Commitments, Plan
from buildout.changes.engine.chain import ChainResult, Store, run_chain
from buildout.units.value import Status, Value
from estimating.engine.pins import ON_WALLS
from estimating.engine.screening import Screening, screen_floor, screen_fold_away, stiff
from estimating.engine.types import FloorLayout, FoldAwayLayout, FoldAwaySystem, RoomLayouts
from scheduling.engine.types import Schedule

FEWEST, MOST = 2, 5


class Option(Value, kw_only=True):
    """What one system would come to. Lengths mm, masses kg; None where it cannot be told, never 0."""

    system: str
    name: str
    kind: Literal["floor", "fold-away"]
    current: bool
    """The system the room has now."""
    status: Status
    """Of the layout; infeasible options are shown with the reason, not left out."""
    cost_to_finish: Decimal
    """Total of the budget less what is ordered; of the whole build, so that options differ by what they change."""
    total: Decimal
    unquoted: list[str]
    """Items of this option that nobody quotes: their price is in none of the sums."""
    hours: float
    """Likely person-hours of the crew, all tasks."""
    trade_days: float
    task_hours: dict[str, tuple[str, float]] = {}
    """Name and likely person-hours of every task of the crew, by its code."""
    thickness: float | None
    step: float | None
    """Highest step at a walk-on edge."""
    mass: float | None
    open_joints: float | None
    lead_days: int | None
    """Calendar days from the plan's day to the last likely arrival of what the floor is made of."""
    last_item: str
    """What arrives last."""
    opening: date | None
    p50: date | None
    p80: date | None
    screening: Screening | None
    floor: FloorLayout | None
    fold_away: FoldAwayLayout | None
    """Layouts to draw small plans from."""
    problems: list[str]
    """Stops and warnings of the layout and its screening, in words."""


class Comparison(Value, kw_only=True):
    room: str
    room_name: str
    options: list[Option]
    """In the order asked for."""


def compare_systems(
    plan: Plan,
    commitments: Commitments,
    room: str,
    systems: list[str],
    *,
    store: Store | None = None,
    before: Schedule | None = None,
    on_step: Callable[[int, int, str], None] = lambda option, number, name: None,
) -> Comparison:
    """Run the chain for each of ``systems`` (floor or fold-away system ids) in a room.

    Raises ValueError with a text for the owner: unknown room or system, a system named twice, fewer than two or
    more than five. ``store`` keeps links that options share, so a room's survey is worked out once. ``on_step`` is
    called with the option's place, counted from 0, and the chain's own step and name as each step begins.
    """
    names = check_choice(plan, room, systems)
    fitout = next(f for f in plan.fitouts if f.room == room)
    options = []
    for place, system in enumerate(systems):
        switched = with_system(plan, room, system)
        result = run_chain(switched, commitments, store=store, before=before, on_step=partial(on_step, place))
        options.append(
            _option(switched, result, room, system, names[system], system == (fitout.fold_away or fitout.floor))
        )
    title = next((p.name for p in plan.rooms if p.id == room), room)
    return Comparison(room=room, room_name=title, options=options)


def check_choice(plan: Plan, room: str, systems: list[str]) -> dict[str, str]:
    """Names of all systems by id. Raises ValueError with a text for the owner when a choice cannot be compared."""
    if room not in {f.room for f in plan.fitouts}:
        known = ", ".join(f.room for f in plan.fitouts) or "none yet"
        raise ValueError(f"There is no fit-out for the room “{room}”; rooms with one: {known}.")
    if not FEWEST <= len(systems) <= MOST:
        raise ValueError(f"Choose {FEWEST} to {MOST} systems to compare, not {len(systems)}.")
    if len(set(systems)) < len(systems):
        raise ValueError("A system is chosen twice; choose each once.")
    names = {s.id: s.name for s in plan.floor_systems} | {s.id: s.name for s in plan.fold_away_systems}
    unknown = [s for s in systems if s not in names]
    if unknown:
        raise ValueError(f"There is no system “{unknown[0]}”; choose from {', '.join(sorted(names))}.")
    return names


def with_system(plan: Plan, room: str, system: str) -> Plan:
    """The plan with another floor in a room: what a proposal to switch would edit.

    A floor system takes the place of all that lies there, and so do fold-away mats, except that a deck of timber alone
    stays under them. Pins on foam and cover belong to the floor they were set on and go with it; pins on walls stay.
    """
    folds = system in {s.id for s in plan.fold_away_systems}
    timber = {product.id for product in plan.products if stiff(product)}
    decks = {s.id for s in plan.floor_systems if s.layers and {layer.product for layer in s.layers} <= timber}
    fitouts = []
    for fitout in plan.fitouts:
        if fitout.room == room and system != (fitout.fold_away or fitout.floor):
            under = fitout.floor if fitout.floor in decks else ""
            fitout = msgspec.structs.replace(
                fitout, floor=under if folds else system, fold_away=system if folds else "",
                pins=[p for p in fitout.pins if p.layer in ON_WALLS],
            )  # fmt: skip
        fitouts.append(fitout)
    return msgspec.structs.replace(plan, fitouts=fitouts)


def switched(document: Mapping[str, Any], room: str, system: str) -> dict[str, Any]:
    """The same switch in a plan as people wrote it, ready to be proposed. Raises ``KeyError`` for an unknown room."""
    edited = copy.deepcopy(dict(document))
    folds = system in {s["id"] for s in edited.get("fold_away_systems", [])}
    fitout = next((f for f in edited.get("fitouts", []) if f["room"] == room), None)
    if fitout is None:
        raise KeyError(room)
    if system == (fitout.get("fold_away") or fitout.get("floor", "")):
        return edited
    timber = {product["id"] for product in edited.get("products", []) if product.get("lead_group") == "timber"}
    decks = {
        one["id"]
        for one in edited.get("floor_systems", [])
        if one["layers"] and {layer["product"] for layer in one["layers"]} <= timber
    }
    under = fitout.pop("floor", "")
    fitout.pop("fold_away", None)
    if folds and under in decks:
        fitout["floor"] = under
    fitout["fold_away" if folds else "floor"] = system
    pins = [pin for pin in fitout.pop("pins", []) if pin["layer"] in ON_WALLS]
    if pins:
        fitout["pins"] = pins
    return edited


def _option(plan: Plan, result: ChainResult, room: str, system: str, name: str, current: bool) -> Option:
    layouts = next(layout for layout in result.layouts if layout.room == room)
    folds = next((s for s in plan.fold_away_systems if s.id == system), None)
    layout = layouts.fold_away if folds is not None else layouts.floor
    screening = _screening(plan, result, layouts, room, folds)
    under = next(f.floor for f in plan.fitouts if f.room == room) if folds is not None else ""
    goods = _goods(plan, system) | _goods(plan, under)
    used = {line.item for line in result.take_off.lines}
    arrivals = [a for a in result.arrivals.items if a.item in goods & used and a.basis != "unquoted"]
    last = max(arrivals, key=lambda a: (a.likely, a.item), default=None)
    ordered = sum((line.ordered for line in result.budget.lines), Decimal(0))
    problems = [r.text for r in (layout.reasons if layout is not None else []) if r.severity != "note"]
    problems += [r.text for r in (screening.reasons if screening is not None else []) if r.severity != "note"]
    rises = [e.rise for e in screening.edges if e.verdict != "missing"] if screening is not None else []
    work = [task for task in result.tasks.tasks if task.kind == "work"]
    trades = [task for task in result.tasks.tasks if task.kind == "trade"]
    return Option(
        system=system, name=name, kind="fold-away" if folds is not None else "floor", current=current,
        status=layout.status if layout is not None else "empty",
        cost_to_finish=result.budget.total - ordered, total=result.budget.total,
        unquoted=sorted(item for item in result.award.unquoted if item in goods),
        hours=round(sum(task.likely for task in work), 1), trade_days=round(sum(task.likely for task in trades), 1),
        task_hours={task.code: (task.name, round(task.likely, 1)) for task in work},
        thickness=(screening.thickness or None) if screening is not None else None,
        step=max(rises) if rises else None,
        mass=(screening.mass or None) if screening is not None else None,
        open_joints=screening.open_joints if screening is not None else None,
        lead_days=(last.likely - plan.as_of).days if last is not None else None,
        last_item=last.item if last is not None else "",
        opening=result.schedule.opening, p50=result.forecast.p50, p80=result.forecast.p80,
        screening=screening, floor=layouts.floor, fold_away=layouts.fold_away, problems=list(dict.fromkeys(problems)),
    )  # fmt: skip


def changing_hours(options: Sequence[Option]) -> list[tuple[float, list[tuple[str, float]]]]:
    """For each option: hours of the tasks that differ between options, and by how much each differs from the first.

    Tasks that take the same hours whichever system is laid are left out. Differences are largest first.
    """
    keys = sorted({key for option in options for key in option.task_hours})
    hours = [{key: option.task_hours.get(key, ("", 0.0))[1] for key in keys} for option in options]
    differ = [key for key in keys if len({one[key] for one in hours}) > 1]
    names = {key: next(o.task_hours[key][0] for o in options if key in o.task_hours) for key in differ}
    found = []
    for one in hours:
        more = [(names[key], round(one[key] - hours[0][key], 1)) for key in differ if one[key] != hours[0][key]]
        found.append((round(sum(one[key] for key in differ), 1), sorted(more, key=lambda m: (-abs(m[1]), m[0]))))
    return found


def _screening(
    plan: Plan, result: ChainResult, layouts: RoomLayouts, room: str, folds: FoldAwaySystem | None
) -> Screening | None:
    drawn = next((p for p in result.plans if p.room == room), None)
    products = {p.id: p for p in plan.products}
    if drawn is None:
        return None
    system = next((s for s in plan.floor_systems if layouts.floor is not None and s.id == layouts.floor.system), None)
    if folds is not None and layouts.fold_away is not None and layouts.fold_away.count:
        mat = products.get(folds.product)
        return screen_fold_away(drawn, layouts.fold_away, mat, layouts.floor, system, folds)
    if folds is None and system is not None and layouts.floor is not None and layouts.floor.layers:
        return screen_floor(drawn, system, layouts.floor, products, layouts.cover)
    return None


def _goods(plan: Plan, system: str) -> set[str]:
    """Products a system is made of."""
    floor = next((s for s in plan.floor_systems if s.id == system), None)
    if floor is None:
        return {s.product for s in plan.fold_away_systems if s.id == system}
    parts = [layer.product for layer in floor.layers]
    parts += [floor.cover.product] if floor.cover is not None else []
    parts += [layer.adhesive for layer in floor.layers]
    parts += [floor.frame, floor.ramp, floor.barrier, floor.tape, floor.hook_tape, floor.staples]
    return {part for part in parts if part}
