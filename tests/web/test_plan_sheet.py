"""The whole plan on one sheet: pictures to scale, what the opening hangs on, a table that says the same, and paper."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from html import unescape
from io import BytesIO
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build
from buildout.people.web.models import User
from scheduling.engine.types import BuildDay, PlannedTask, Schedule
from scheduling.web.models import ShareLink, SignUp
from scheduling.web.plan_pictures import DATES, GUTTER, HEAD, HOUR, NAMES, PERSON, day_sheet_svg, side_by_side
from tests.drawn import faults

ClientOf = Callable[[User | None], Client]


def planned(code: str, start: int, end: int, crew: int, **more: Any) -> PlannedTask:
    day = date(2030, 3, 2)
    return PlannedTask(
        code=code, name=f"Task {code}", place="build day", start_day=day, end_day=day, start=start, end=end,
        build_day="d", crew=crew, skills=[], critical=more.pop("critical", False), slack_days=3, **more,
    )  # fmt: skip


def test_a_box_is_as_high_as_it_lasts_and_as_wide_as_its_people() -> None:
    day = BuildDay(id="d", date=date(2030, 3, 2), name="Cover", start="08:00", end="16:00", places=10)
    svg = day_sheet_svg(day, [planned("A", 480, 600, 3), planned("B", 480, 540, 2, critical=True)], {"B": "floor"})
    boxes = re.findall(r'<title>(.*?)</title><rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"', svg)
    by_code = {title.split(" ")[1]: [float(n) for n in rest] for title, *rest in boxes}
    # A: two hours of three people from the left edge; B: one hour of two people, right of A's three.
    assert by_code["A"] == [GUTTER + 1.5, HEAD + 1.5, 3 * PERSON - 3, 2 * HOUR - 3]
    assert by_code["B"] == [GUTTER + 3 * PERSON + 1.5, HEAD + 1.5, 2 * PERSON - 3, HOUR - 3]
    assert "2 people, alone in: floor, critical" in svg
    assert 'stroke-width="3"' in svg


spans = st.tuples(st.integers(0, 20), st.integers(1, 8), st.integers(0, 9))


@given(st.lists(spans, max_size=14))
def test_nobody_is_drawn_twice(rows: list[tuple[int, int, int]]) -> None:
    placed = side_by_side(
        [planned(f"T{n}", 30 * start, 30 * (start + long), crew) for n, (start, long, crew) in enumerate(rows)]
    )
    assert len(placed) == len(rows)
    for n, one in enumerate(placed):
        for other in placed[:n]:
            together = one.task.start < other.task.end and other.task.start < one.task.end
            apart = one.left + max(1, one.task.crew) <= other.left or other.left + max(1, other.task.crew) <= one.left
            assert apart or not together


@pytest.mark.django_db
def test_the_table_says_what_the_pictures_say(client_of: ClientOf, owner: User, hand_build: Build) -> None:
    assert hand_build.current is not None
    schedule = builds.Sheet(hand_build.current).part("schedule", Schedule)
    page = client_of(owner).get(reverse("scheduling:plan", args=[hand_build.pk])).content.decode()
    table = page[page.index("The same as a table") :]
    for task in schedule.tasks:
        assert f">{task.code}</a> {task.name}" in table
        if task.build_day:
            hours = f"{task.start // 60:02d}:{task.start % 60:02d}–{task.end // 60:02d}:{task.end % 60:02d}"
            people = "1 person" if task.crew == 1 else f"{task.crew} people"
            assert f"<title>{hours} {task.code} {task.name}, {people}" in page
            assert f"<small>{hours}</small>" in table
    assert re.search(r'<ol class="chain"><li><strong>◆ <a [^>]*>H03</a> Pull the cover</strong>', page)
    assert "style=" not in page


def words(html: str) -> str:
    return unescape(re.sub(r"<[^>]*>", " ", html)).strip()


@dataclass(frozen=True)
class Shown:
    """A planned task as it is read off the table, or off the pictures by their lines alone."""

    code: str
    first: date
    last: date
    critical: bool
    hours: tuple[int, int] | None = None
    people: int = 0
    alone: bool = False


def in_table(page: str, year: int) -> dict[str, Shown]:
    found: dict[str, Shown] = {}
    latest = date(year, 1, 1)
    for row in page[page.index("The same as a table") :].split("<tr>")[2:]:
        cells = re.findall(r"<(?:td|th)[^>]*>(.*?)</(?:td|th)>", row, re.DOTALL)
        when, hours = [*cells[0].split("<small>"), ""][:2]
        days: list[date] = []
        for text in words(when).split(" to "):  # rows stand in order of time, so the year follows
            near = [datetime.strptime(f"{text} {y}", "%a %d %b %Y").date() for y in (latest.year, latest.year + 1)]  # noqa: DTZ007
            days.append(next(day for day in near if day >= (days[0] if days else latest)))
        latest = days[0]
        span = re.findall(r"(\d\d):(\d\d)", hours)
        start, end = [60 * int(h) + int(m) for h, m in span] or (0, 1440)
        code = words(cells[1]).split()[0]
        found[code] = Shown(
            code, days[0], days[-1], "critical" in cells[6], (start, end) if span else None,
            int(words(cells[4]) or 0), bool(words(cells[5])),
        )  # fmt: skip
    return found


def in_day_sheets(page: str) -> dict[str, Shown]:
    """Boxes by where they stand: hours from the scale beside them, people from the scale above."""
    found: dict[str, Shown] = {}
    for head, svg in re.findall(r'<h3 id="plan-[^"]*">(.*?)<small>.*?(<svg .*?</svg>)', page, re.DOTALL):
        day = datetime.strptime(head.split(",")[0], "%a %d %b %Y").date()  # noqa: DTZ007
        scale = re.findall(r'<text x="0" y="([\d.]+)"[^>]*>(\d\d):00</text>', svg)
        (top, first), (below, _) = ((float(y) - 3.8, int(hour)) for y, hour in scale[:2])
        across = re.findall(r'<text x="([\d.]+)" y="12.5"[^>]*>(\d+)</text>', svg)
        (left, _), (right, five) = ((float(x), int(count)) for x, count in across[:2])
        person = (right - left) / five

        def minute(y: float, top: float = top, first: int = first, below: float = below) -> int:
            return round(60 * (first + (y - top) / (below - top)))

        for code, x, y, wide, high, ground, edge in re.findall(
            r'<g><title>\S+ (\S+) [^<]*</title><rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)" '
            r'fill="currentColor" fill-opacity="([\d.]+)" stroke="currentColor" stroke-width="([\d.]+)"', svg,
        ):  # fmt: skip
            assert float(x) >= left
            hours = (minute(float(y) - 1.5), minute(float(y) + float(high) + 1.5))
            people = round((float(wide) + 3) / person)
            found[code] = Shown(code, day, day, float(edge) >= 2, hours, people, float(ground) > 0.1)
    return found


def in_calendar(page: str, first: date, last: date) -> dict[str, Shown]:
    """Bars of the calendar by where they begin and end between the first and the last day of the plan."""
    found: dict[str, Shown] = {}
    for svg in re.findall(r'<svg [^>]*class="calendar-strip".*?</svg>', page, re.DOTALL):
        per_day = DATES / ((last - first).days + 1)
        for x, wide, edge, code in re.findall(
            r'<rect x="([\d.]+)" [^>]*? width="([\d.]+)" [^>]*stroke-width="([\d.]+)"><title>(\S+) ', svg
        ):
            start = first + timedelta(days=round((float(x) - NAMES) / per_day))
            days = max(1, round(float(wide) / per_day))
            found[code] = Shown(code, start, start + timedelta(days=days - 1), float(edge) >= 2)
    return found


@pytest.mark.django_db
def test_the_pictures_measured_are_the_table_read(client_of: ClientOf, owner: User, demo_build: Build) -> None:
    """Where boxes and bars stand, how large they are and how thick their edge is: the same as the table says."""
    page = client_of(owner).get(reverse("scheduling:plan", args=[demo_build.pk])).content.decode()
    assert demo_build.current is not None
    schedule = builds.Sheet(demo_build.current).part("schedule", Schedule)
    table = in_table(page, min(task.start_day for task in schedule.tasks).year)
    assert len(table) == len(schedule.tasks)
    boxes = in_day_sheets(page)
    days = {day.date for day in schedule.days}
    assert len(boxes) > 40
    assert boxes == {code: row for code, row in table.items() if row.first in days and row.hours and row.people}
    bars = in_calendar(page, min(row.first for row in table.values()), max(row.last for row in table.values()))
    dated = {code: replace(row, hours=None, people=0, alone=False) for code, row in table.items()}
    assert bars == dated


@pytest.mark.django_db
def test_every_aim_has_its_value_bound_gap_and_how_sure(client_of: ClientOf, owner: User, hand_build: Build) -> None:
    assert hand_build.current is not None
    result = json.loads(hand_build.current.result)
    result["schedule"]["aims"] = [
        {"name": "Earliest opening", "unit": "days from today", "value": 100, "bound": 100, "status": "proven"},
        {"name": "Even days", "unit": "% in use", "value": 80, "bound": 60, "status": "feasible", "work": 0.2,
         "limit": 0.2},
        {"name": "Nothing disturbed", "unit": "person-hours", "value": 0, "bound": 0, "status": "proven"},
    ]  # fmt: skip
    hand_build.current.result = json.dumps(result)
    hand_build.current.save()
    for name in ("plan", "plan-pdf"):
        page = client_of(owner).get(reverse(f"scheduling:{name}", args=[hand_build.pk]) + "?print").content.decode()
        table = page[page.index("No plan does better than") :]
        rows = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in table.split("<tr>")[1:4]]
        # (80 − 60) / 80 = 25 %.
        assert [[words(cell) for cell in row[1:4]] for row in rows] == [
            ["100", "100", "0 %"], ["80", "60", "25 %"], ["0", "0", "0 %"],
        ]  # fmt: skip
        assert ["shown to be best" in row[4] for row in rows] == [True, False, True]
        assert "a better one may exist" in rows[1][4]
        assert "stopped after 0.20 of 0.20 work units" in rows[1][4]


@pytest.mark.django_db
def test_every_box_of_the_demo_carries_its_code(client_of: ClientOf, owner: User, demo_build: Build) -> None:
    page = client_of(owner).get(reverse("scheduling:plan", args=[demo_build.pk])).content.decode()
    for svg in re.findall(r'<svg [^>]*class="day-sheet".*?</svg>', page, re.DOTALL):
        for code in re.findall(r"<title>\d\d:\d\d–\S+ (\S+) ", svg):
            assert re.search(rf">◆?{re.escape(code)}</text>", svg), code


def test_a_box_too_small_for_its_code_has_it_beside_where_there_is_room() -> None:
    day = BuildDay(id="d", date=date(2030, 3, 2), name="Cover", start="08:00", end="16:00", places=10)
    small = planned("A", 480, 510, 1, critical=True)
    beside = day_sheet_svg(day, [small], {})
    # One person from the left edge: the code begins right of that person's place.
    assert re.search(rf'<text x="{GUTTER + PERSON + 3:g}" y="[^"]*"[^>]*>◆A</text>', beside)
    crowded = day_sheet_svg(day, [small, planned("B", 480, 510, 1), planned("C", 480, 510, 4)], {})
    assert "◆A</text>" not in crowded
    assert ">C</text>" in crowded


def in_the_schedule(build: Build, code: str, **fields: Any) -> None:
    """Give a planned task of the build other values."""
    assert build.current is not None
    result = json.loads(build.current.result)
    next(task for task in result["schedule"]["tasks"] if task["code"] == code).update(fields)
    build.current.result = json.dumps(result)
    build.current.save()


@pytest.mark.django_db
def test_the_sheet_says_who_leads_and_what_is_split(
    client_of: ClientOf, owner: User, hand_build: Build, share_link: ShareLink
) -> None:
    assert hand_build.current is not None
    dov = hand_build.current.document["crew"]["core"][0]
    sika = SignUp.objects.create(
        build=hand_build, day="strip", day_place=1, name="Sika Morrowlight", request_key="sika"
    )
    in_the_schedule(hand_build, "H03", lead=dov["id"], skills=["lead"])
    in_the_schedule(hand_build, "C11", lead=sika.ref)
    in_the_schedule(hand_build, "H01", skills=["lead"])
    result = json.loads(hand_build.current.result)
    next(task for task in result["tasks"]["tasks"] if task["code"] == "H01")["one_day"] = True
    hand_build.current.result = json.dumps(result)
    hand_build.current.save()
    for name in ("plan", "plan-pdf"):
        address = reverse(f"scheduling:{name}", args=[hand_build.pk])
        page = client_of(owner).get(f"{address}?print").content.decode()
        table = page[page.index("The same as a table") :]
        rows = {row.split("</th>")[0]: row for row in table.split('<th scope="row">')}
        row = {
            code: next(text for text in rows.values() if code in text[:90]) for code in ("H03", "C11", "H01", "C12/1")
        }
        assert f"{dov['name'].split()[0]} leads" in row["H03"]
        assert "Sika leads" in row["C11"]
        assert "Morrowlight" not in page
        assert "▲ needs a lead, nobody is named" in row["H01"]
        assert "in one go" in row["H01"]
        assert "part 1 of 2" in row["C12/1"]
        assert "leads" not in row["C12/1"]
        assert re.search(r"<title>[^<]* C12/1 Patch the walls, 2 people, part 1 of 2", page)
        assert re.search(r"<title>[^<]* C11 [^<]*, Sika leads", page)
    # When Sika withdraws, somebody else has to be found.
    SignUp.objects.filter(pk=sika.pk).update(withdrawn=timezone.now())
    page = client_of(owner).get(reverse("scheduling:plan", args=[hand_build.pk])).content.decode()
    assert "Sika" not in page
    assert page.count('<td data-label="Leads">▲ needs a lead, nobody is named</td>') == 2


@pytest.mark.django_db
def test_who_sees_the_whole_plan(
    client_of: ClientOf, owner: User, lead: User, partner: User, stranger: User, hand_build: Build
) -> None:
    address = reverse("scheduling:plan", args=[hand_build.pk])
    for user in (owner, lead, partner):
        assert client_of(user).get(address).status_code == 200
    assert client_of(stranger).get(address).status_code == 404
    assert client_of(None).get(address).status_code == 302
    assert client_of(owner).post(address).status_code == 405


@pytest.mark.django_db
def test_pictures_are_drawn_once_for_one_plan(
    client_of: ClientOf, owner: User, hand_build: Build, monkeypatch: pytest.MonkeyPatch
) -> None:
    from scheduling.web import plan_sheet

    cache.clear()
    drawn: list[str] = []

    def counted(day: BuildDay, *rest: Any) -> str:
        drawn.append(day.id)
        return day_sheet_svg(day, *rest)

    monkeypatch.setattr(plan_sheet, "day_sheet_svg", counted)
    browser = client_of(owner)
    pages = [browser.get(reverse("scheduling:plan", args=[hand_build.pk])).content for _ in range(2)]
    assert drawn == ["strip", "foam", "cover"]
    assert len(pages[0]) == len(pages[1])


@pytest.mark.django_db
def test_number_of_queries(
    client_of: ClientOf, owner: User, hand_build: Build, django_assert_num_queries: Callable[[int], Any]
) -> None:
    browser = client_of(owner)
    with django_assert_num_queries(3):
        browser.get(reverse("scheduling:plan", args=[hand_build.pk]))


@pytest.mark.django_db
def test_the_plan_on_paper(client_of: ClientOf, partner: User, demo_build: Build, pango: None) -> None:
    from pypdf import PdfReader

    answer = client_of(partner).get(reverse("scheduling:plan-pdf", args=[demo_build.pk]))
    assert answer["Content-Type"] == "application/pdf"
    text = "".join(page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages)
    assert "What the opening hangs on" in text
    assert "Carry cover in" in text
    assert demo_build.current is not None
    schedule = builds.Sheet(demo_build.current).part("schedule", Schedule)
    assert all(task.code in text for task in schedule.tasks)


PIXEL = 25.4 / 96
"""mm: day sheets are printed as large as they say."""
ABREAST = (400 - 8 / 2 * 2.5) / 2 - 2
"""Two strips stand side by side on A3 less its margins, mm (rounded down)."""


@pytest.mark.django_db
def test_the_pictures_can_be_read_on_paper(client_of: ClientOf, partner: User, demo_build: Build) -> None:
    page = client_of(partner).get(reverse("scheduling:plan-pdf", args=[demo_build.pk]), {"print": ""}).content.decode()
    days = re.findall(r'<svg [^>]*class="day-sheet".*?</svg>', page, re.DOTALL)
    strips = re.findall(r'<svg [^>]*class="calendar-strip".*?</svg>', page, re.DOTALL)
    assert len(days) > 3
    assert len(strips) > 3
    for svg in days:
        assert faults(svg, scale=PIXEL) == []
    for svg in strips:
        wide = float(svg.split('viewBox="0 0 ')[1].split(" ")[0])
        assert faults(svg, scale=ABREAST / wide) == []
