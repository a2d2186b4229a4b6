"""The whole chain on one page of plain text: what ``compute`` prints."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from decimal import Decimal

from buildout.changes.engine.build_file import Plan
from buildout.changes.engine.chain import ChainResult
from buildout.units.dates import day_text
from buildout.units.lengths import UnitSystem, format_area, format_mass, format_run, format_small
from buildout.units.money import format_money
from buildout.units.value import Reason

WIDTH = 100


def _plain(number: Decimal) -> str:
    return f"{number.normalize():,f}"


def summary(plan: Plan, result: ChainResult) -> str:
    """Write what a person wants to know first: sizes, quantities, money, dates, days, and every warning."""
    lines: list[str] = [plan.name, f"Worked out for {day_text(plan.as_of)}; money in {plan.currency}, tax apart."]
    sections = (
        ("Rooms", _rooms(plan, result)),
        ("Floor and cover", _floors(plan, result)),
        ("Walls", _walls(plan, result)),
        ("Fold-away mats", _folds(plan, result)),
        ("Cut plans", _cuts(plan, result)),
        ("To buy", _take_off(result)),
        ("Prices", _prices(plan, result)),
        ("Money", _money(plan, result)),
        ("Order by", _orders(result)),
        ("Crew days", _days(result)),
        ("Opening", _opening(plan, result)),
    )
    for title, body in sections:
        written = list(body)
        if written:
            lines += ["", title.upper(), *(f"  {line}" for line in written)]
    lines += ["", *_reasons(result)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _table(rows: Iterable[tuple[str, ...]], right: tuple[int, ...] = ()) -> Iterator[str]:
    """Columns two spaces apart; ``right`` lists the columns set flush right."""
    table = list(rows)
    if not table:
        return
    widths = [max(len(row[at]) for row in table) for at in range(len(table[0]))]
    for row in table:
        yield "  ".join(
            cell.rjust(width) if at in right else cell.ljust(width)
            for at, (cell, width) in enumerate(zip(row, widths, strict=True))
        )


def _rooms(plan: Plan, result: ChainResult) -> Iterator[str]:
    units = plan.units
    names = {room.id: room.name for room in plan.rooms}
    for survey, drawn in zip(result.surveys, result.plans, strict=True):
        yield f"{names[survey.room]}: survey {survey.status}, plan {drawn.status}"
        if not drawn.outline:
            yield "  no outline"
            continue
        aside = [reading.id for reading in survey.readings if not reading.used]
        largest = max((abs(r.residual) for r in survey.readings if r.used), default=0.0)
        round_it = format_run(survey.perimeter, units)
        yield f"  floor {format_area(drawn.floor_area, units)}, perimeter {round_it}"
        checked = f"  {len(survey.readings)} readings, {survey.degrees_of_freedom} to spare"
        yield f"{checked}, largest misfit {_tenth(largest, units)}" + (
            f", set aside: {', '.join(aside)}" if aside else ""
        )
        if drawn.mat_area:
            kinds: dict[str, float] = {}
            for edge in drawn.mat_edges:
                kind = "walked on" if edge.walked_on else edge.kind
                kinds[kind] = kinds.get(kind, 0.0) + edge.length
            edges = ", ".join(f"{kind} {format_run(length, units)}" for kind, length in sorted(kinds.items()))
            yield f"  mat field {format_area(drawn.mat_area, units)}, edges: {edges}"


def _tenth(mm: float, units: UnitSystem) -> str:
    return f"{mm:.1f} mm" if units == "metric" else f"{mm / 25.4:.2f} in"


def _floors(plan: Plan, result: ChainResult) -> Iterator[str]:
    units = plan.units
    for layouts in result.layouts:
        floor, cover = layouts.floor, layouts.cover
        if floor is not None:
            thick = format_small(floor.thickness, units)
            mat = format_area(floor.mat_area, units)
            yield f"{layouts.room}: {floor.system}, {floor.status}, {thick} thick, mat {mat}"
            for layer in floor.layers:
                whole = sum(1 for piece in layer.pieces if piece.whole)
                area = format_area(layer.area, units)
                joints = format_run(layer.joint_length, units)
                cut = len(layer.pieces) - whole
                yield f"  {layer.layer}: {layer.product}, {area}, {whole} whole pieces and {cut} cut, joints {joints}"
            frame, ramp = (format_run(v, units) for v in (floor.frame_length, floor.ramp_length))
            yield f"  frame {frame}, ramp {ramp}, cut-outs {floor.cutouts}"
        if cover is not None:
            size = f"{format_area(cover.area, units)}, {format_mass(cover.mass, units)}"
            yield f"  cover: {cover.status}, {size}, band {format_run(cover.band_length, units)}"
            yield f"    {len(cover.strips)} strips, welds {format_run(cover.weld_length, units)}"
            roll = f"{format_small(cover.rolled_diameter, units, denominator=2)} thick"
            long = format_run(cover.roll_length, units)
            yield f"    rolled {long} long and {roll}: {cover.carriers} carriers"


def _walls(plan: Plan, result: ChainResult) -> Iterator[str]:
    for layouts in result.layouts:
        walls = layouts.walls
        if walls is None:
            continue
        counts = f"{walls.full_count} full, {walls.low_count} low, {walls.special_count} ends and cut-outs"
        yield f"{layouts.room}: {walls.status}, {counts}, {len(walls.wraps)} column wraps"
        run = format_run(walls.panel_run, plan.units)
        cap = sum(elevation.cap_length for elevation in walls.elevations)
        yield (f"  run {run}, {format_area(walls.panel_area, plan.units)}, low-wall cap {format_run(cap, plan.units)}")


def _folds(plan: Plan, result: ChainResult) -> Iterator[str]:
    for layouts in result.layouts:
        fold = layouts.fold_away
        if fold is not None:
            left = format_area(fold.uncovered, plan.units)
            mass = format_mass(fold.mass, plan.units)
            yield f"{layouts.room}: {fold.status}, {fold.count} mats, {mass}, {left} left bare"


def _cuts(plan: Plan, result: ChainResult) -> Iterator[str]:
    rows = []
    for cut in result.cut_plans.plans:
        if cut.form == "roll":
            used, bound = (format_run(v, plan.units) for v in (cut.value, cut.bound))
        else:
            used, bound = f"{cut.value:g}", f"{cut.bound:g}"
        rows.append((cut.product, used, f"at least {bound}", f"waste {100 * cut.waste_share:.1f} %", cut.status))
    yield from _table(rows, right=(1,))


def _take_off(result: ChainResult) -> Iterator[str]:
    rows = [
        (
            line.item, _plain(line.quantity), line.unit,
            f"net {_plain(line.net)}, allowance {_plain(line.allowance)}, waste {_plain(line.waste)}",
        )
        for line in result.take_off.lines
    ]  # fmt: skip
    yield from _table(rows, right=(1,))


def _prices(plan: Plan, result: ChainResult) -> Iterator[str]:
    award = result.award
    names = {supplier.id: supplier.name for supplier in plan.suppliers}
    rows = [
        (
            names.get(s.supplier, s.supplier),
            s.quote,
            format_money(s.goods, plan.currency),
            f"freight {format_money(s.freight, plan.currency)}",
            format_money(s.total, plan.currency),
        )
        for s in award.suppliers
    ]
    yield from _table(rows, right=(2, 3, 4))
    total, tax = (format_money(amount, plan.currency) for amount in (award.total, award.tax))
    yield f"award {award.status}: {total}, tax {tax}"
    if award.unquoted:
        yield f"nobody has quoted yet: {', '.join(award.unquoted)}"


def _money(plan: Plan, result: ChainResult) -> Iterator[str]:
    budget = result.budget
    rows = [
        (
            str(line.head),
            line.name,
            format_money(line.total, plan.currency),
            f"contingency {format_money(line.contingency, plan.currency)}",
        )
        for line in budget.lines
        if line.total or line.ordered
    ]
    yield from _table(rows, right=(0, 2, 3))
    yield (
        f"budget {budget.status}: {format_money(budget.total, plan.currency)} of "
        f"{format_money(budget.available, plan.currency)} available, {format_money(budget.left, plan.currency)} left"
    )


def _orders(result: ChainResult) -> Iterator[str]:
    rows = [
        (
            day_text(line.order_by), line.state, line.item, line.supplier,
            f"needed {day_text(line.need)} for {line.task}",
            f"{line.late_by} days late" if line.late_by > 0 else "",
        )
        for line in sorted(result.order_dates.lines, key=lambda line: (line.order_by, line.item))
    ]  # fmt: skip
    yield from _table(rows)


def _days(result: ChainResult) -> Iterator[str]:
    for load in result.schedule.days:
        hours = f"{load.person_hours:.1f} person-hours"
        yield f"{day_text(load.date)}  {load.name}: {load.needed} of {load.places} places needed at most, {hours}"
        if load.tasks:
            yield from textwrap.wrap(", ".join(load.tasks), WIDTH, initial_indent="    ", subsequent_indent="    ")
        if load.short_skills:
            yield f"    skills nobody has signed up with yet: {', '.join(load.short_skills)}"


def _opening(plan: Plan, result: ChainResult) -> Iterator[str]:
    schedule, expected = result.schedule, result.forecast
    wish = day_text(plan.dates.opening_wish)
    yield f"schedule {schedule.status}: opening {day_text(schedule.opening)}, wished {wish}"
    likely, sure = day_text(expected.p50), day_text(expected.p80)
    yield f"forecast {expected.status}: even chance by {likely}, four in five by {sure}"
    chance = f"chance of the wish-date {100 * expected.chance_by_wish:.0f} %"
    if plan.dates.announced is not None and expected.chance_by_announced is not None:
        chance += f", of the announced {day_text(plan.dates.announced)} {100 * expected.chance_by_announced:.0f} %"
    yield f"{chance} ({expected.runs} runs)"
    for driver in expected.drivers[:5]:
        text = f"{100 * driver.share:.0f} %  {driver.text or driver.what}"
        yield from textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="        ")


_TITLES = {"stop": "Stops", "warning": "Warnings", "note": "Notes"}


def _reasons(result: ChainResult) -> Iterator[str]:
    found = result.reasons()
    for severity, title in _TITLES.items():
        listed = [(link, reason) for link, reason in found if reason.severity == severity]
        if not listed:
            if severity == "warning":
                yield "NO WARNINGS"
            continue
        yield f"{title.upper()} ({len(listed)})"
        for link, reason in listed:
            yield from _reason(link, reason)
        yield ""


def _reason(link: str, reason: Reason) -> Iterator[str]:
    where = f" {reason.where}:" if reason.where else ""
    yield from textwrap.wrap(f"{link}:{where} {reason.text}", WIDTH, initial_indent="  ", subsequent_indent="    ")
    if reason.todo:
        yield from textwrap.wrap(reason.todo, WIDTH, initial_indent="    → ", subsequent_indent="      ")
