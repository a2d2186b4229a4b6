"""Pictures of time: a build day as a column with its tasks to scale, and the forecast as a histogram.

Sizes are SVG user units; templates write them out. Nothing here says a thing that the table beside it does not.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from buildout.units.dates import day_text
from scheduling.engine.types import BuildDay, Forecast, PlannedTask
from scheduling.web.words import WHO

HALF_HOUR = 30
SLOT_HEIGHT = 26.0
GUTTER = 46.0
LANES_WIDTH = 284.0
LEAST_LANE = 78.0
HEAD = 8.0
LINE = 13.0
LETTER = 6.3
"""Usual width of a letter at the size the boxes are lettered in."""


@dataclass(frozen=True)
class Box:
    x: float
    y: float
    width: float
    height: float
    lines: list[str]
    title: str
    critical: bool

    @property
    def text_x(self) -> float:
        return self.x + 6

    @property
    def baselines(self) -> list[tuple[float, str]]:
        return [(self.y + 14 + number * LINE, text) for number, text in enumerate(self.lines)]


@dataclass(frozen=True)
class Tick:
    y: float
    text: str
    """Empty on the half hour."""


@dataclass(frozen=True)
class Band:
    y: float
    height: float
    text: str


@dataclass(frozen=True)
class DayPicture:
    width: float
    height: float
    left: float
    ticks: list[Tick]
    boxes: list[Box]
    bands: list[Band]
    description: str

    @property
    def wide(self) -> bool:
        """Too many tasks side by side for one column of the page."""
        return self.width > GUTTER + LANES_WIDTH


def minutes(text: str) -> int:
    """08:30 as minutes after midnight."""
    hours, _, rest = text.partition(":")
    return int(hours) * 60 + int(rest)


def clock(moment: int) -> str:
    return f"{moment // 60:02d}:{moment % 60:02d}"


def wrap(text: str, letters: int, lines: int) -> list[str]:
    """Break a name into at most so many lines, the last one cut with an ellipsis when it does not fit.

    >>> wrap("Hang the wall panels", 10, 2)
    ['Hang the', 'wall pane…']
    """
    if lines < 1 or letters < 3:
        return []
    found = [""]
    for word in text.split():
        joined = f"{found[-1]} {word}".strip()
        if len(joined) <= letters or not found[-1]:
            found[-1] = joined
        else:
            found.append(word)
    if len(found) > lines:
        found = [*found[: lines - 1], " ".join(found[lines - 1 :])]
    return [line if len(line) <= letters else line[: letters - 1].rstrip() + "…" for line in found]


def lanes(planned: list[PlannedTask]) -> list[tuple[int, PlannedTask]]:
    """Each task with the first lane that is free when it starts."""
    ends: list[int] = []
    found = []
    for task in sorted(planned, key=lambda task: (task.start, -task.end, task.code)):
        lane = next((number for number, end in enumerate(ends) if end <= task.start), len(ends))
        if lane == len(ends):
            ends.append(task.end)
        else:
            ends[lane] = task.end
        found.append((lane, task))
    return found


def draw_day(day: BuildDay, planned: list[PlannedTask]) -> DayPicture:
    """The day from its start to its end on a half-hour grid; tasks that run at one time stand side by side."""
    start = min([minutes(day.start), *(task.start for task in planned)]) // HALF_HOUR * HALF_HOUR
    end = -(-max([minutes(day.end), *(task.end for task in planned)]) // HALF_HOUR) * HALF_HOUR
    scale = SLOT_HEIGHT / HALF_HOUR

    def y(moment: float) -> float:
        return round(HEAD + (moment - start) * scale, 1)

    placed = lanes(planned)
    count = max((lane for lane, _ in placed), default=0) + 1
    lane_width = max(LANES_WIDTH / count, LEAST_LANE)
    boxes = []
    for lane, task in placed:
        width, height = round(lane_width - 4, 1), round((task.end - task.start) * scale - 2, 1)
        letters, room = int((width - 10) / LETTER), int((height - 4) // LINE)
        people = f"{task.crew} people" if task.crew != 1 else "1 person"
        head = f"{'◆ ' if task.critical else ''}{task.code} · {task.crew}"
        lines = [head[:letters]] if room < 2 else [f"{'◆ ' if task.critical else ''}{task.code}"[:letters], people]
        lines += wrap(task.name, letters, room - len(lines))
        words = ", critical" if task.critical else f", {task.slack_days} days of slack"
        boxes.append(
            Box(
                x=round(GUTTER + lane * lane_width, 1),
                y=y(task.start),
                width=width,
                height=height,
                lines=lines,
                title=f"{clock(task.start)}–{clock(task.end)} {task.code} {task.name}: {people}, "
                f"{WHO.get(task.place, task.place)}{words}",
                critical=task.critical,
            )
        )
    bands = []
    if day.meal_minutes and start <= minutes(day.meal_start) < end:
        bands.append(Band(y(minutes(day.meal_start)), round(day.meal_minutes * scale, 1), "meal"))
    if day.quiet_until and minutes(day.quiet_until) > start:
        bands.append(Band(y(start), round((minutes(day.quiet_until) - start) * scale, 1), "no noise"))
    if day.quiet_from and minutes(day.quiet_from) < end:
        quiet = max(start, minutes(day.quiet_from))
        bands.append(Band(y(quiet), round((end - quiet) * scale, 1), "no noise"))
    return DayPicture(
        width=round(GUTTER + lane_width * count, 1),
        height=round(y(end) + HEAD, 1),
        left=GUTTER,
        ticks=[Tick(y(at), clock(at) if at % 60 == 0 else "") for at in range(start, end + 1, HALF_HOUR)],
        boxes=boxes,
        bands=bands,
        description=f"{day.name}, {clock(start)} to {clock(end)}: {len(planned)} tasks. The table below says the same.",
    )


# ---------------------------------------------------------------- forecast


@dataclass(frozen=True)
class Bar:
    x: float
    y: float
    width: float
    height: float
    title: str


@dataclass(frozen=True)
class Mark:
    x: float
    text: str
    text_y: float
    anchor: str
    dashed: bool


@dataclass(frozen=True)
class ForecastPicture:
    width: float
    height: float
    base: float
    top: float
    bars: list[Bar]
    marks: list[Mark]
    months: list[tuple[float, str]]
    description: str


WIDTH, BASE, TOP, LABEL_STEP = 400.0, 230.0, 92.0, 16.0


def draw_forecast(forecast: Forecast, wish: date, announced: date | None) -> ForecastPicture | None:
    """Runs by opening date in whole weeks, with the percentiles and the promised dates marked."""
    if not forecast.histogram:
        return None
    weeks: dict[date, int] = {}
    for day, runs in forecast.histogram:
        monday = day - timedelta(days=day.weekday())
        weeks[monday] = weeks.get(monday, 0) + runs
    dated: list[tuple[str, date | None, bool]] = [
        ("P10", forecast.p10, False),
        ("P50", forecast.p50, False),
        ("P80", forecast.p80, False),
        ("wished", wish, True),
        ("announced", announced, True),
    ]
    marked = [(name, day, dashed) for name, day, dashed in dated if day is not None]
    first = min([min(weeks), *(day for _, day, _ in marked)]) - timedelta(days=4)
    last = max([max(weeks), *(day for _, day, _ in marked)]) + timedelta(days=11)
    per_day = WIDTH / (last - first).days

    def x(day: date) -> float:
        return round((day - first).days * per_day, 1)

    most = max(weeks.values())
    bars = []
    for monday, runs in sorted(weeks.items()):
        height = round(runs / most * (BASE - TOP), 1)
        title = f"Week of {day_text(monday)}: {runs} of {forecast.runs} runs"
        bars.append(Bar(x(monday), round(BASE - height, 1), round(max(per_day * 7 - 1, 1), 1), height, title))
    marks = []
    for number, (name, day, dashed) in enumerate(sorted(marked, key=lambda mark: mark[1])):
        at = x(day)
        anchor = "start" if at < WIDTH - 110 else "end"
        marks.append(Mark(at, f"{name} {day_text(day, year=False)}", 14 + number * LABEL_STEP, anchor, dashed))
    months = []
    month = first.replace(day=1)
    while month <= last:
        if month >= first:
            months.append((x(month), f"{month:%b %Y}"))
        month = (month + timedelta(days=32)).replace(day=1)
    words = ", ".join(f"{name} {day_text(day)}" for name, day, _ in marked)
    return ForecastPicture(
        WIDTH, BASE + 26, BASE, TOP, bars, marks, months, f"{forecast.runs} runs by week of opening. {words}."
    )
