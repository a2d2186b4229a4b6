"""What the overview and revision pages show, gathered from every link's result."""

from __future__ import annotations

from typing import Any

from buildout.builds.web.models import Build, Member, Proposal, Revision, Role
from buildout.builds.web.services import Sheet
from buildout.changes.engine.chain import ChainResult
from buildout.changes.engine.impact import FIGURES
from buildout.rooms.engine.room_drawing import draw_plan
from buildout.rooms.engine.types import Room
from buildout.rooms.web.drawings import svg_of, title_block
from buildout.units.value import from_json, from_plain
from estimating.web.asking import steps_due
from scheduling.engine.types import BuildDay
from scheduling.web.buying import open_lines
from scheduling.web.floods import crowded
from scheduling.web.models import SignUp


def figures(totals: dict[str, Any], member: Member) -> list[dict[str, Any]]:
    """Headline figures; a crew lead sees no money."""
    rows = [{"name": name, "kind": kind, "value": totals.get(key)} for key, name, kind in FIGURES]
    if member.role == Role.LEAD:
        rows = [row for row in rows if row["kind"] != "money"]
    return rows


def drawings(build: Build, sheet: Sheet, result: ChainResult) -> list[dict[str, Any]]:
    """A plan of every room; one the readings do not fix is drawn as the sketch it is."""
    rooms = {room.id: room for room in sheet.section("rooms", list[Room])}
    surveys = {survey.room: survey for survey in result.surveys}
    found = []
    for number, plan in enumerate(result.plans):
        block = title_block(build, sheet, f"Plan of {plan.name}", f"2.{number + 1}")
        drawing = draw_plan(rooms[plan.room], surveys[plan.room], plan, units=sheet.units, block=block)
        found.append({"room": plan.room, "name": plan.name, "svg": svg_of(drawing, prefix=f"plan-{number}")})
    return found


def revision_context(build: Build, member: Member, revision: Revision) -> dict[str, Any]:
    sheet = Sheet(revision)
    result = from_json(ChainResult, revision.result)
    return {
        "build": build,
        "member": member,
        "sheet": sheet,
        "figures": figures(revision.totals, member),
        "reasons": [{"link": link, "reason": reason} for link, reason in result.reasons()],
        "drawings": drawings(build, sheet, result),
        "result": result,
    }


def context(build: Build, member: Member) -> dict[str, Any]:
    assert build.current is not None  # noqa: S101 - the view has looked
    found = revision_context(build, member, build.current)
    sheet: Sheet = found["sheet"]
    result: ChainResult = found["result"]
    today = sheet.today()
    days = from_plain(list[BuildDay], sheet.document.get("crew", {}).get("days", []))
    upcoming = sorted((day for day in days if day.date >= min(today, sheet.as_of)), key=lambda day: day.date)
    load = {row.build_day: row for row in result.schedule.days}
    next_day = upcoming[0] if upcoming else None
    taken = SignUp.objects.standing().filter(build=build, day=next_day.id).count() if next_day else 0
    return found | {
        "sheet_no": "1",
        "today": today,
        "behind": (today - sheet.as_of).days,
        "due": result.order_dates.lines[:6],
        "due_count": len(result.order_dates.lines),
        "names": {line.item: line.name for line in result.take_off.lines},
        "next_day": next_day,
        "next_load": load.get(next_day.id) if next_day else None,
        "taken": taken,
        "day_count": len(days),
        "forecast": result.forecast,
        "budget": result.budget,
        "asked": [line for line in open_lines(build, sheet) if line.need is None] if member.role == Role.OWNER else [],
        "crowded": crowded(SignUp.objects.filter(build=build, withdrawn=None), sheet)
        if member.role == Role.OWNER
        else [],
        "steps": steps_due(build, today) if member.role == Role.OWNER else [],
        "open_proposals": Proposal.objects.filter(build=build).defer("document", "result", "impact")
        if member.role == Role.OWNER
        else [],
    }


def compared(one: Revision, other: Revision) -> list[dict[str, Any]]:
    return [
        {"name": name, "kind": kind, "before": one.totals.get(key), "after": other.totals.get(key)}
        for key, name, kind in FIGURES
    ]
