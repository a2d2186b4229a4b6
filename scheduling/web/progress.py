"""The progress sheet: how far, when it opens, and what is new since the reader last looked."""

from __future__ import annotations

from collections import Counter
from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, JournalEntry, Role
from buildout.builds.web.visits import since_last_visit
from buildout.units.money import round_money
from buildout.units.value import to_plain
from estimating.engine.types import MoneyPlan
from estimating.web.models import Order
from scheduling.engine.forecast import between, chance_error
from scheduling.engine.learning import (
    LEARNED,
    calibrate,
    is_learned,
    learn,
    no_show_of,
    place_of_task,
    place_of_turn_out,
)
from scheduling.engine.tasks import OPENING
from scheduling.engine.types import Crew, Dates, Forecast, Gains, Schedule, TaskEdits, TaskNet
from scheduling.web.offers import day_offers, upcoming
from scheduling.web.outcomes import held, outcomes, told
from scheduling.web.pictures import draw_forecast
from scheduling.web.views import sheet_context, user_of
from scheduling.web.words import STATUSES, stage_name

LEAD_KINDS = ("revision", "sign-up")
"""What a crew lead is told of: the plan and the people, not orders and money."""


@login_required
@require_GET
def progress(request: HttpRequest, build_id: int) -> HttpResponse:
    build, member = builds.build_for(user_of(request), build_id)
    context = sheet_context(build, member, "9")
    sheet: builds.Sheet = context["sheet"]
    since = since_last_visit(request, member)
    schedule = sheet.part("schedule", Schedule)
    forecast = sheet.part("forecast", Forecast)
    dates = sheet.section("dates", Dates)
    net = sheet.part("tasks", TaskNet)
    done: dict[str, str] = sheet.document.get("tasks", {}).get("done", {})
    offers = upcoming(day_offers(build, sheet, schedule), sheet.today())
    entries = JournalEntry.objects.filter(build=build).select_related("revision")
    entries = entries.defer("revision__document", "revision__result")
    if member.role == Role.LEAD:
        entries = entries.filter(kind__in=LEAD_KINDS)
    if since is not None:
        entries = entries.filter(at__gt=since)
    stages = _stages(net, schedule, done)
    context |= {
        "since": since,
        "entries": entries[:60],
        "schedule": schedule,
        "status": STATUSES[schedule.status],
        "stages": stages,
        "done": sum(stage["done"] for stage in stages),
        "total": sum(stage["total"] for stage in stages),
        "next_tasks": _next(schedule, max(sheet.today(), sheet.as_of)),
        "offers": offers,
        "forecast": forecast,
        "dates": dates,
        "picture": draw_forecast(forecast, dates.opening_wish, dates.announced),
        "orders": _orders(build.pk) if member.role != Role.LEAD else None,
    }
    context |= _noise(forecast) | _help(sheet, member.role != Role.LEAD) | _learning(build, sheet, net)
    return render(request, "scheduling/progress.html", context)


def _noise(forecast: Forecast) -> dict[str, Any]:
    """How far the figures of the forecast may be off because its runs are only so many."""
    shown = forecast.chance_by_wish if forecast.chance_by_announced is None else forecast.chance_by_announced
    return {
        "p50_between": between(forecast.histogram, 0.5, forecast.runs),
        "p80_between": between(forecast.histogram, 0.8, forecast.runs),
        "as_it_is": shown,
        "chance_within": 100 * chance_error(shown, forecast.runs),
        "warned": [reason for reason in forecast.reasons if reason.severity != "note"],
        "read": [reason for reason in forecast.reasons if reason.severity == "note"],
    }


def _help(sheet: builds.Sheet, money: bool) -> dict[str, Any]:
    """What would help, each with what its days earlier are worth in rent where the reader sees money."""
    gains = sheet.part("gains", Gains, Gains())
    rent = Decimal(0)
    if money and sheet.document.get("money"):
        rent = sheet.section("money", MoneyPlan).weekly_rent / 7
    worth = [rent * Decimal(str(one.mean)) if one.mean is not None and one.mean > 0 else None for one in gains.gains]
    amounts = [round_money(one, sheet.currency) if one else None for one in worth]
    return {"gains": gains, "rent_a_day": rent, "gained": list(zip(gains.gains, amounts, strict=True))}


def _learning(build: Build, sheet: builds.Sheet, net: TaskNet) -> dict[str, Any]:
    seen = outcomes(build, sheet)
    names = {task.code: task.name for task in net.tasks}
    crew = sheet.section("crew", Crew)
    edits = sheet.section("tasks", TaskEdits)
    said = told(build, sheet)
    opened = edits.done.get(OPENING)
    return {
        "finished": [{"name": names.get(one.code, one.code), "task": one} for one in seen.finished],
        "turn_out": [
            {"day": one, "away": 1 - min(one.came, one.signed) / one.signed, "low": one.held[0], "high": one.held[2]}
            for one in seen.turn_out
        ],
        "calibration": calibrate([place_of_task(one) for one in seen.finished]),
        "turn_out_calibration": calibrate([place_of_turn_out(one) for one in seen.turn_out]),
        "told": said,
        "opened": opened,
        "held": held(said, opened) if opened else None,
        "learned": learn(net, edits, seen.finished, seen.turn_out, crew),
        "away_now": no_show_of(crew),
        "uses_learned": sum(is_learned(rate.why) for rate in edits.rates),
        "uses_learned_turn_out": is_learned(crew.no_show_why),
    }


TURN_OUT = "turn-out"


@login_required
@require_POST
def propose_learned(request: HttpRequest, build_id: int) -> HttpResponse:
    """Propose the plan with what was ticked of the rates and the show-up that finished work and past days teach."""
    build, _ = builds.build_for(user_of(request), build_id, Role.OWNER)
    sheet = builds.sheet_of(build)
    net = sheet.part("tasks", TaskNet)
    found = outcomes(build, sheet)
    crew, edits = sheet.section("crew", Crew), sheet.section("tasks", TaskEdits)
    learned = learn(net, edits, found.finished, found.turn_out, crew)
    if not learned.rates and learned.no_show is None:
        messages.info(request, "There is nothing to learn from yet: no finished task has its hours on a day's board.")
        return redirect("scheduling:progress", build_id=build.pk)
    ticked = set(request.POST.getlist("take"))
    rates = [rate for rate in learned.rates if rate.code in ticked]
    turn_out = learned.no_show if TURN_OUT in ticked else None
    if not rates and turn_out is None:
        messages.info(request, "Nothing is ticked: tick the rates to take over, or turn-out.")
        return redirect("scheduling:progress", build_id=build.pk)
    document = builds.editable(build)
    _forget(document)
    document["tasks"]["rates"] += [to_plain(rate.edit) for rate in rates]
    said = []
    if rates:
        left = len(learned.rates) - len(rates)
        said.append(
            f"Rates of {len(rates)} task{'s' * (len(rates) != 1)} learned from {learned.tasks} finished"
            + (f", {left} left as usual" if left else "")
        )
    if turn_out is not None:
        for name, share in zip(NO_SHOW, turn_out, strict=True):
            document["crew"][name] = f"{share:g}"
        document["crew"]["no_show_why"] = f"{LEARNED}{learned.came} of {learned.signed} who had signed up came"
        said.append(f"turn-out from {learned.came} of {learned.signed} who came")
    summary = ", ".join(said)
    return _proposed(request, build, document, summary[0].upper() + summary[1:])


@login_required
@require_POST
def forget_learned(request: HttpRequest, build_id: int) -> HttpResponse:
    """Propose the plan with the usual rates and show-up wherever learned ones stand; what the owner set stays."""
    build, _ = builds.build_for(user_of(request), build_id, Role.OWNER)
    document = builds.editable(build)
    if not _forget(document):
        messages.info(request, "The plan uses nothing that was learned.")
        return redirect("scheduling:progress", build_id=build.pk)
    return _proposed(request, build, document, "Back to the usual rates and turn-out: nothing learned is used")


NO_SHOW = ("no_show_low", "no_show_likely", "no_show_high")


def _forget(document: dict[str, Any]) -> bool:
    """Take what was learned out of a plan; says whether there was any."""
    tasks, crew = document.setdefault("tasks", {}), document["crew"]
    rates = tasks.get("rates", [])
    tasks["rates"] = [rate for rate in rates if not is_learned(rate.get("why", ""))]
    turn_out = is_learned(crew.get("no_show_why", ""))
    if turn_out:
        for name in (*NO_SHOW, "no_show_why"):
            crew.pop(name, None)
    return turn_out or len(tasks["rates"]) < len(rates)


def _proposed(request: HttpRequest, build: Build, document: dict[str, Any], summary: str) -> HttpResponse:
    try:
        return redirect(builds.propose(build, user_of(request), document, summary))
    except builds.DocumentProblems as error:
        messages.error(request, f"The plan would not hold together: {error}")
        return redirect("scheduling:progress", build_id=build.pk)


def _stages(net: TaskNet, schedule: Schedule, done: dict[str, str]) -> list[dict[str, Any]]:
    """Per stage: tasks done and in all, and the day the last of them ends as planned."""
    ends: dict[str, date] = {}
    for planned in schedule.tasks:
        code = planned.code.split("/")[0]
        ends[code] = max(ends.get(code, date.min), planned.end_day)
    found = []
    for number in sorted({task.stage for task in net.tasks}):
        tasks = [task for task in net.tasks if task.stage == number]
        finished = [task for task in tasks if task.code in done]
        left = [ends[task.code] for task in tasks if task.code in ends and task.code not in done]
        state = "done" if len(finished) == len(tasks) else "under way" if finished else "to come"
        found.append(
            {
                "name": stage_name(number),
                "done": len(finished),
                "total": len(tasks),
                "state": state,
                "ends": max(left) if left else None,
            }
        )
    return found


def _next(schedule: Schedule, today: date) -> list[Any]:
    """The critical tasks that end next: if one of them slips, the opening slips."""
    ahead = [task for task in schedule.tasks if task.critical and task.end_day >= today and task.place != "wait"]
    return sorted(ahead, key=lambda task: (task.end_day, task.end, task.code))[:8]


def _orders(build_id: int) -> list[tuple[str, int]]:
    counted = Counter(Order.objects.filter(build_id=build_id).values_list("state", flat=True))
    return [(label, counted[value]) for value, label in Order.State.choices if counted[value]]
