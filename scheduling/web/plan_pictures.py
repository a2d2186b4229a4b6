"""The whole plan as pictures: build days as sheets, to scale of time and of people, and every task on one calendar.

Written as SVG with plain attributes, so that the same picture stands on the screen in light and dark (ink is
``currentColor``), on paper and under a policy that forbids inline styles. The table beside it says the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape
from types import MappingProxyType

from buildout.units.dates import day_text
from scheduling.engine.types import BuildDay, PlannedTask
from scheduling.web.pictures import clock, minutes, wrap

PERSON = 22.0
"""Width of one person."""
HOUR = 40.0
GUTTER = 40.0
HEAD = 18.0
LEAST_PEOPLE = 8
"""A sheet is at least so wide."""
LETTER = 5.6
LINE = 11.0
NOTHING: Mapping[str, Sequence[str]] = MappingProxyType({})


@dataclass(frozen=True)
class Placed:
    """A task with the people's places it takes, counted from the left."""

    task: PlannedTask
    left: int


def side_by_side(planned: Sequence[PlannedTask]) -> list[Placed]:
    """Give each task as many neighbouring places as it needs people, the leftmost that are free while it lasts.

    A task without people of its own (a firm at work) takes one place.
    """
    found: list[Placed] = []
    for task in sorted(planned, key=lambda task: (task.start, -task.end, -task.crew, task.code)):
        width = max(1, task.crew)
        busy = sorted(
            (other.left, other.left + max(1, other.task.crew))
            for other in found
            if other.task.start < task.end and task.start < other.task.end
        )
        left = 0
        for low, high in busy:
            if left + width <= low:
                break
            left = max(left, high)
        found.append(Placed(task, left))
    return found


def day_sheet_svg(
    day: BuildDay,
    planned: Sequence[PlannedTask],
    zones: Mapping[str, str],
    notes: Mapping[str, Sequence[str]] = NOTHING,
) -> str:
    """A build day: time downwards, people across; a thick edge and a diamond mark what is critical.

    ``notes`` are short texts by the code of the planned task: who leads it, which part it is.
    """
    start = min([minutes(day.start), *(task.start for task in planned)]) // 60 * 60
    end = -(-max([minutes(day.end), *(task.end for task in planned)]) // 60) * 60
    placed = side_by_side(planned)
    people = max([LEAST_PEOPLE, *(one.left + max(1, one.task.crew) for one in placed)])
    width, height = GUTTER + people * PERSON + 2, HEAD + (end - start) / 60 * HOUR + 6

    def y(moment: int) -> float:
        return HEAD + (moment - start) / 60 * HOUR

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="day-sheet" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}" role="img" font-family="sans-serif" font-size="10" '
        f'aria-label="{escape(day.name)} on {day_text(day.date)}: {len(planned)} tasks to scale of time and people. '
        'The table says the same.">'
    ]
    if day.meal_minutes and start <= minutes(day.meal_start) < end:
        out.append(_band(width, y(minutes(day.meal_start)), day.meal_minutes / 60 * HOUR, "meal"))
    if day.quiet_until and minutes(day.quiet_until) > start:
        out.append(_band(width, y(start), (minutes(day.quiet_until) - start) / 60 * HOUR, "no noise"))
    if day.quiet_from and minutes(day.quiet_from) < end:
        out.append(_band(width, y(minutes(day.quiet_from)), (end - minutes(day.quiet_from)) / 60 * HOUR, "no noise"))
    for at in range(start, end + 1, 60):
        out.append(_line(GUTTER, y(at), width, y(at), 0.4))
        out.append(_text(0, y(at) + 3.5, clock(at)))
    for count in range(0, people + 1, 5):
        x = GUTTER + count * PERSON
        out.append(_line(x, HEAD - 5, x, HEAD, 0.6))
        out.append(_text(x, HEAD - 7, f"{count}", "middle" if count else "start"))
    for one in placed:
        task, crew = one.task, max(1, one.task.crew)
        zone = zones.get(task.code.split("/")[0], "")
        x, top = GUTTER + one.left * PERSON + 1.5, y(task.start) + 1.5
        wide, high = crew * PERSON - 3, (task.end - task.start) / 60 * HOUR - 3
        title = (
            f"{clock(task.start)}–{clock(task.end)} {task.code} {task.name}, {_people(task.crew)}"
            + (f", alone in: {zone}" if zone else "")
            + "".join(f", {note}" for note in notes.get(task.code, ()))
            + (", critical" if task.critical else f", {task.slack_days} days of slack")
        )
        out.append(
            f'<g><title>{escape(title)}</title><rect x="{x:g}" y="{top:g}" width="{wide:g}" height="{high:g}" '
            f'fill="currentColor" fill-opacity="{0.2 if zone else 0.07}" stroke="currentColor" '
            f'stroke-width="{3 if task.critical else 0.8}"/>'
        )
        letters, room = int((wide - 4) / LETTER), int((high - 2) // LINE)
        head = ("◆" if task.critical else "") + task.code
        if letters < len(head) and high > len(head) * LETTER + 4:
            middle = x + wide / 2 + 3.5
            out.append(
                f'<text x="{middle:g}" y="{top + high - 4:g}" fill="currentColor" font-weight="bold" '
                f'transform="rotate(-90 {middle:g} {top + high - 4:g})">{escape(head)}</text>'
            )
        elif letters >= len(task.code):
            lines = [head[:letters], *wrap(task.name, letters, max(0, room - 1 - bool(zone)))]
            lines += [note[:letters] for note in notes.get(task.code, ())][: max(0, room - len(lines) - bool(zone))]
            lines += [f"▤ {zone}"[:letters]] if zone and room > len(lines) else []
            for number, text in enumerate(lines[: max(1, room)]):
                out.append(_text(x + 3, top + 10 + number * LINE, text, bold=number == 0))
        out.append("</g>")
    return "".join([*out, "</svg>"])


def _people(crew: int) -> str:
    return "a firm" if crew < 1 else "1 person" if crew == 1 else f"{crew} people"


def _line(x1: float, y1: float, x2: float, y2: float, weight: float, dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<line x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}" stroke="#8a8a8a" stroke-width="{weight}"{dashed}/>'


def _text(x: float, y: float, text: str, anchor: str = "start", *, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x:g}" y="{y:g}" fill="currentColor" text-anchor="{anchor}"{weight}>{escape(text)}</text>'


def _band(width: float, y: float, height: float, text: str) -> str:
    return (
        f'<rect x="{GUTTER}" y="{y:g}" width="{width - GUTTER:g}" height="{height:g}" fill="currentColor" '
        f'fill-opacity=".05"/>' + _text(width - 4, y + 11, text, "end")
    )


# ---------------------------------------------------------------- the calendar of all tasks

NAMES = 260.0
DATES = 560.0
ROW = 17.0


def calendar_svg(name: str, tasks: Sequence[tuple[str, Sequence[PlannedTask]]], first: date, last: date) -> str:
    """One line a task, days across to scale; build days are ticks, what is critical has a thick edge and a diamond.

    All stages of a plan share ``first`` and ``last``, so that they can be read one below the other.
    """
    per_day = DATES / max(1, (last - first).days + 1)
    height = 20 + len(tasks) * ROW + 4
    width = NAMES + DATES

    def x(day: date) -> float:
        return NAMES + (day - first).days * per_day

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="calendar-strip" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'font-family="sans-serif" font-size="10.5" aria-label="{escape(name)}: {len(tasks)} tasks by date. '
        'The table says the same.">'
    ]
    month = first.replace(day=1)
    while month <= last:
        at = max(month, first)
        out.append(_line(x(at), 4, x(at), height, 0.4))
        if x(at) < width - 40:
            out.append(_text(x(at) + 3, 13, f"{month:%b %Y}"))
        month = (month + timedelta(days=32)).replace(day=1)
    for number, (code, parts) in enumerate(tasks):
        top = 20 + number * ROW
        critical = any(part.critical for part in parts)
        label = f"{'◆ ' if critical else ''}{code} {parts[0].name}"
        out.append(_line(0, top + ROW - 1, width, top + ROW - 1, 0.2))
        out.append(_text(0, top + 12, label if len(label) <= 44 else label[:43].rstrip() + "…", bold=critical))
        for part in parts:
            wide = max(2.5, ((part.end_day - part.start_day).days + 1) * per_day)
            days = day_text(part.start_day, year=False) + (
                f" to {day_text(part.end_day, year=False)}" if part.end_day != part.start_day else ""
            )
            waits = part.place == "wait"
            out.append(
                f'<rect x="{x(part.start_day):.1f}" y="{top + (6 if waits else 3)}" width="{wide:.1f}" '
                f'height="{4 if waits else 10}" fill="currentColor" fill-opacity="{0.55 if part.build_day else 0.12}" '
                f'stroke="currentColor" stroke-width="{2.4 if part.critical else 0.7}">'
                f"<title>{escape(part.code)} {escape(part.name)}, {days}</title></rect>"
            )
    return "".join([*out, "</svg>"])
