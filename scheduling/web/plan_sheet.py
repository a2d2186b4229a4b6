"""The whole plan on one sheet: build days to scale, every task by date, what the opening hangs on, and the table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib.auth.decorators import login_required
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_GET

from buildout.builds.web import services as builds
from buildout.builds.web.documents import pdf_or_page
from buildout.builds.web.models import Build, Member
from buildout.units.value import content_hash
from scheduling.engine.types import PlannedTask, Schedule, Task, TaskEdits, TaskNet
from scheduling.web.offers import build_days, first_names, known_by_name, lead_words, whole_task
from scheduling.web.plan_pictures import calendar_svg, day_sheet_svg
from scheduling.web.views import sheet_context, user_of
from scheduling.web.words import STATUSES, WHO, stage_name

PICTURES_VERSION = 5
"""Raise it when the pictures are drawn otherwise, so that none is shown as it used to look."""


def _context(build: Build, member: Member) -> dict[str, Any]:
    context = sheet_context(build, member)
    sheet: builds.Sheet = context["sheet"]
    schedule = sheet.part("schedule", Schedule)
    net = {task.code: task for task in sheet.part("tasks", TaskNet).tasks}
    zones = {code: task.zone for code, task in net.items() if task.zone}
    names = known_by_name(sheet)
    if any(task.lead not in names for task in schedule.tasks if task.lead):  # somebody of the sign-up book leads
        names = first_names(build, sheet)
    loads = {load.build_day: load for load in schedule.days}
    by_time = sorted(schedule.tasks, key=lambda task: (task.start_day, task.start, task.code))
    notes = _notes(by_time, net, names)
    pictures = _pictures(sheet, schedule, by_time, zones, notes, {code: task.stage for code, task in net.items()})
    days = [
        {
            "day": day,
            "load": loads.get(day.id),
            "tasks": [task for task in by_time if task.build_day == day.id],
            "svg": mark_safe(pictures["days"][day.id]),  # noqa: S308 - written by us, escaped there
        }
        for day in build_days(sheet)
    ]
    done = sheet.section("tasks", TaskEdits).done
    chain = [task for task in by_time if task.critical]
    return context | {
        "schedule": schedule,
        "status": STATUSES[schedule.status],
        "days": days,
        "stages": [(name, mark_safe(svg)) for name, svg in pictures["stages"]],  # noqa: S308 - likewise
        "chain": [_row(task, zones, notes, done) for task in chain],
        "rows": [_row(task, zones, notes, done) for task in by_time],
    }


@dataclass(frozen=True)
class Note:
    """What the sheet says of a planned task beside its times."""

    lead: str
    """Who leads it."""
    split: str
    """Which part of a task split over days it is, or that it must not be split."""


def _notes(planned: list[PlannedTask], net: dict[str, Task], names: dict[str, str]) -> dict[str, Note]:
    """By the code of the planned task."""
    parts: dict[str, list[str]] = {}
    for task in planned:
        parts.setdefault(whole_task(task.code), []).append(task.code)
    found = {}
    for task in planned:
        whole, split = whole_task(task.code), ""
        if len(parts[whole]) > 1:
            split = f"part {parts[whole].index(task.code) + 1} of {len(parts[whole])}"
        elif task.crew and whole in net:
            split = "in one go" if net[whole].one_day else ""
        found[task.code] = Note(lead_words(task, names), split)
    return found


def _row(task: PlannedTask, zones: dict[str, str], notes: dict[str, Note], done: Mapping[str, date]) -> dict[str, Any]:
    whole = whole_task(task.code)
    return {
        "task": task,
        "note": notes[task.code],
        "whole": whole,
        "zone": zones.get(whole, ""),
        "done": whole in done,
        "who": WHO.get(task.place, task.place),
        "timed": (task.start, task.end) != (0, 1440),
    }


def _pictures(
    sheet: builds.Sheet,
    schedule: Schedule,
    by_time: list[PlannedTask],
    zones: dict[str, str],
    notes: dict[str, Note],
    stage_of: dict[str, int],
) -> dict[str, Any]:
    """Drawn once for one plan: kept under the content they are drawn from."""
    days = build_days(sheet)
    said = {code: [text for text in (note.split, note.lead) if text]
            for code, note in notes.items()}  # fmt: skip

    def draw() -> dict[str, Any]:
        stages: dict[int, dict[str, list[PlannedTask]]] = {}
        for task in by_time:
            code = whole_task(task.code)
            stages.setdefault(stage_of.get(code, 0), {}).setdefault(code, []).append(task)
        first = min((task.start_day for task in by_time), default=date.min)
        last = max((task.end_day for task in by_time), default=date.min)
        return {
            "days": {
                day.id: day_sheet_svg(day, [task for task in by_time if task.build_day == day.id], zones, said)
                for day in days
            },
            "stages": [
                (stage_name(number), calendar_svg(stage_name(number), list(stages[number].items()), first, last))
                for number in sorted(stages)
            ],
        }

    key = content_hash("plan sheet", PICTURES_VERSION, schedule.tasks, days, zones, said, stage_of)
    return dict(cache.get_or_set(key, draw, timeout=None) or {})


@login_required
@require_GET
def whole_plan(request: HttpRequest, build_id: int) -> HttpResponse:
    build, member = builds.build_for(user_of(request), build_id)
    return render(request, "scheduling/plan.html", _context(build, member))


@login_required
@require_GET
def whole_plan_paper(request: HttpRequest, build_id: int) -> HttpResponse:
    build, member = builds.build_for(user_of(request), build_id)
    context = _context(build, member)
    name = f"plan-revision-{context['sheet'].revision.number}.pdf"
    return pdf_or_page(request, "scheduling/plan_paper.html", context, name)
