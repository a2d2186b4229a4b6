"""The whole plan as pictures: build days as sheets, to scale of time and of people, and every task on one calendar.

Written as SVG with plain attributes, so that the same picture stands on the screen in light and dark (ink is
``currentColor``), on paper and under a policy that forbids inline styles. The table beside it says the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape
from math import ceil
from types import MappingProxyType

from buildout.rooms.engine.lettering import shortened, text_width, wrapped
from buildout.rooms.engine.svg import FONT
from buildout.units.dates import day_text
from scheduling.engine.types import BuildDay, PlannedTask
from scheduling.web.pictures import clock, minutes

PERSON = 22.0
"""Width of one person."""
HOUR = 40.0
GUTTER = 42.0
HEAD = 20.0
LEAST_PEOPLE = 8
"""A sheet is at least so wide."""
SIZE = 11.0
"""Of lettering: on paper its capitals stand 2 mm high."""
LINE = 12.5
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
    width, height = GUTTER + people * PERSON + 8, HEAD + (end - start) / 60 * HOUR + 6

    def y(moment: int) -> float:
        return HEAD + (moment - start) / 60 * HOUR

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="day-sheet" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}" role="img" font-family="{FONT}" font-size="{SIZE:g}" '
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
        taken = [(one.left, one.left + max(1, one.task.crew)) for one in placed if one.task.start < at < one.task.end]
        for left, right in _between(taken, people):  # not through what is written in the boxes
            far = width if right == people else GUTTER + right * PERSON
            out.append(_line(GUTTER + left * PERSON, y(at), far, y(at), 0.4))
        out.append(_text(0, y(at) + 3.8, clock(at)))
    for count in range(0, people + 1, 5):
        x = GUTTER + count * PERSON
        out.append(_line(x, HEAD - 5, x, HEAD, 0.6))
        out.append(_text(x, HEAD - 7.5, f"{count}", "middle" if count else "start"))
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
        inside, room = wide - 6, int((high - 2) // LINE)
        head = ("◆" if task.critical else "") + task.code
        long = text_width(head, SIZE, bold=True)
        beside = GUTTER + (one.left + crew) * PERSON + 3
        if long > inside and high <= long + 6 and _free_beside(one, placed, long + 6, (width - beside) - long):
            out.append(_text(beside, top + 11, head, bold=True))
        elif long > inside and high > long + 6 and wide > SIZE + 2:
            middle = x + wide / 2 + 0.36 * SIZE
            out.append(
                f'<text x="{middle:g}" y="{top + high - 4:g}" fill="currentColor" font-weight="bold" '
                f'transform="rotate(-90 {middle:g} {top + high - 4:g})">{escape(head)}</text>'
            )
        else:
            lines = [shortened(head, inside, SIZE, bold=True)] if room else []
            lines += _lines(task.name, inside, room - len(lines) - bool(zone))
            for note in notes.get(task.code, ()):
                lines += _lines(note, inside, room - len(lines) - bool(zone))
            if zone and room > len(lines):
                lines.append(shortened(f"▤ {zone}", inside, SIZE))
            for number, text in enumerate(lines):
                out.append(_text(x + 3, top + 11 + number * LINE, text, bold=number == 0))
        out.append("</g>")
    return "".join([*out, "</svg>"])


def _free_beside(one: Placed, placed: Sequence[Placed], wide: float, left: float) -> bool:
    """Whether a line of so much lettering has room right of a box too small for it; ``left``: what the sheet leaves."""
    first = one.left + max(1, one.task.crew)
    past = first + ceil(wide / PERSON)
    over = one.task.start + ceil((LINE + 4) / HOUR * 60)
    return left >= 0 and not any(
        other.task.start < over and one.task.start < other.task.end
        and other.left < past and first < other.left + max(1, other.task.crew)
        for other in placed
    )  # fmt: skip


def _lines(text: str, wide: float, most: int) -> list[str]:
    """Text broken to fit, in at most so many lines; what does not fit is cut with an ellipsis."""
    lines = wrapped(text, wide, SIZE)
    if len(lines) > max(0, most):
        lines = [*lines[: most - 1], " ".join(lines[most - 1 :])] if most > 0 else []
    return [line for line in (shortened(line, wide, SIZE) for line in lines) if line]


def _between(taken: Sequence[tuple[int, int]], people: int) -> list[tuple[int, int]]:
    """What is left of 0 … people beside what is taken.

    >>> _between([(2, 4), (0, 1)], 6)
    [(1, 2), (4, 6)]
    """
    left, found = 0, []
    for low, high in sorted(taken):
        if low > left:
            found.append((left, low))
        left = max(left, high)
    return [*found, (left, people)] if left < people else found


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
        f'fill-opacity=".05"/>' + _text(width - 4, y + 12, text, "end")
    )


# ---------------------------------------------------------------- the calendar of all tasks

NAMES = 290.0
DATES = 530.0
ROW = 19.0
STRIP_SIZE = 12.8
"""Of lettering: the strips are printed two abreast, a little over a quarter of a millimetre to the unit."""


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
        f'font-family="{FONT}" font-size="{STRIP_SIZE:g}" aria-label="{escape(name)}: {len(tasks)} tasks by date. '
        'The table says the same.">'
    ]
    month = first.replace(day=1)
    while month <= last:
        at = max(month, first)
        out.append(_line(x(at), 4, x(at), height, 0.4))
        following = min(last + timedelta(days=1), (month + timedelta(days=32)).replace(day=1))
        shown = next(
            (name for name in (f"{month:%b %Y}", f"{month:%b}")
             if text_width(name, STRIP_SIZE) + 5 <= (following - at).days * per_day), "",
        )  # fmt: skip
        if shown:
            out.append(_text(x(at) + 3, 14, shown))
        month = (month + timedelta(days=32)).replace(day=1)
    for number, (code, parts) in enumerate(tasks):
        top = 20 + number * ROW
        critical = any(part.critical for part in parts)
        label = f"{'◆ ' if critical else ''}{code} {parts[0].name}"
        out.append(_line(0, top + ROW - 1, width, top + ROW - 1, 0.2))
        out.append(_text(0, top + 14, shortened(label, NAMES - 6, STRIP_SIZE, bold=critical), bold=critical))
        for part in parts:
            wide = max(2.5, ((part.end_day - part.start_day).days + 1) * per_day)
            days = day_text(part.start_day, year=False) + (
                f" to {day_text(part.end_day, year=False)}" if part.end_day != part.start_day else ""
            )
            waits = part.place == "wait"
            out.append(
                f'<rect x="{x(part.start_day):.1f}" y="{top + (7 if waits else 4)}" width="{wide:.1f}" '
                f'height="{4 if waits else 10}" fill="currentColor" fill-opacity="{0.55 if part.build_day else 0.12}" '
                f'stroke="currentColor" stroke-width="{2.4 if part.critical else 0.7}">'
                f"<title>{escape(part.code)} {escape(part.name)}, {days}</title></rect>"
            )
    return "".join([*out, "</svg>"])
