"""Edits of build days, crew, helpers and dates. Each one is proposed; nothing is saved here."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Member, Role
from buildout.units.dates import day_text
from scheduling.engine.types import PlanEdit, Schedule
from scheduling.web.forms import (
    BuildDayFormSet,
    CorePersonFormSet,
    CrewForm,
    DatesForm,
    HallHoursFormSet,
    HelperFormSet,
    in_order,
    new_id,
)
from scheduling.web.models import SignUp
from scheduling.web.offers import build_days
from scheduling.web.views import sheet_context, user_of

Document = dict[str, Any]


def owner_of(request: HttpRequest, build_id: int) -> tuple[Build, Member]:
    return builds.build_for(user_of(request), build_id, Role.OWNER)


def said(problem: builds.Problem) -> str:
    return problem.message + (f" For example {problem.example}." if problem.example else "")


def show(form: Form, problems: list[builds.Problem], fields: dict[str, str] | None = None) -> None:
    """Put what the plan's check found beside the field whose name ends the pointer, entries of a list aside."""
    for problem in problems:
        name = next((part for part in reversed(problem.pointer.split("/")) if not part.isdigit()), "")
        name = (fields or {}).get(name, name)
        form.add_error(name if name in form.fields else None, said(problem))


# ------------------------------------------------------------------ build days


@login_required
@require_http_methods(["GET", "POST"])
def edit_days(request: HttpRequest, build_id: int) -> HttpResponse:
    """All build days at once, so that moving three of them is one change with one impact."""
    build, member = owner_of(request, build_id)
    context = sheet_context(build, member)
    document = builds.editable(build)
    kept: list[Document] = document.get("crew", {}).get("days", [])
    if request.method == "POST":
        formset = BuildDayFormSet(request.POST, initial=kept + [{}] * 50)
        if formset.is_valid():
            before = {day["id"]: day for day in kept}
            ids = set(before)
            forms = [form for form in formset if not form.cleaned_data["take_out"]]
            days = [form.document(before.get(form.cleaned_data["id"], {}), ids) for form in forms]
            document["crew"]["days"] = sorted(days, key=lambda day: day["date"])
            order = {day["id"]: position for position, day in enumerate(document["crew"]["days"])}
            at = {order[day["id"]]: form for day, form in zip(days, forms, strict=True)}
            gone = [before[day]["name"] for day in before if day not in order]
            _let_go_of_days(document, {day for day in before if day not in order})
            summary = "Build days edited" + (f"; taken out: {', '.join(gone)}" if gone else "")
            try:
                return redirect(builds.propose(build, user_of(request), document, summary))
            except builds.DocumentProblems as error:
                for problem in error.problems:
                    place = re.match(r"^/crew/days/(\d+)", problem.pointer)
                    form = at.get(int(place[1])) if place else None
                    if form is not None:
                        show(form, [problem])
                    else:
                        messages.error(request, said(problem))
    else:
        wanted = kept + ([{}] if "new" in request.GET or not kept else [])
        formset = BuildDayFormSet(initial=wanted)
    taken = dict.fromkeys((day["id"] for day in kept), 0)
    for day in SignUp.objects.standing().filter(build=build).values_list("day", flat=True):
        taken[day] = taken.get(day, 0) + 1
    context |= {"formset": formset, "taken": taken, "rows": [(form, taken.get(_id_of(form), 0)) for form in formset]}
    return render(request, "scheduling/edit_days.html", context, status=422 if request.method == "POST" else 200)


def _let_go_of_days(document: Document, gone: set[str]) -> None:
    """Pins to days that are taken out, and helpers' wish to come on them, go with the days."""
    tasks, crew = document.get("tasks", {}), document["crew"]
    if any(pin["day"] in gone for pin in tasks.get("pins", [])):
        tasks["pins"] = [pin for pin in tasks["pins"] if pin["day"] not in gone]
    for helper in crew.get("helpers", []):
        if gone & set(helper.get("days", [])):
            helper["days"] = [day for day in helper["days"] if day not in gone]


def _id_of(form: Form) -> str:
    return str(form["id"].value() or "")


@login_required
@require_http_methods(["GET", "POST"])
def edit_crew(request: HttpRequest, build_id: int) -> HttpResponse:
    """The core team and what share of helpers to count on."""
    build, member = owner_of(request, build_id)
    context = sheet_context(build, member)
    document = builds.editable(build)
    crew: Document = document["crew"]
    people: list[Document] = crew.get("core", [])
    usual = {"core_hours_per_weekday": "3", "no_show_low": "0.05", "no_show_likely": "0.12", "no_show_high": "0.30"}
    now = {name: Decimal(str(crew.get(name, value))) for name, value in usual.items()}
    shown = {name: value * 100 if name.startswith("no_show") else value for name, value in now.items()}
    initial: Document = {name: f"{value.normalize():f}" for name, value in shown.items()}
    few, places = crew.get("tools", {}), crew.get("tool_places", {})
    initial["tools"] = "\n".join(
        word + (f" {few[word]}" if word in few else "") + (f", {places[word]}" if word in places else "")
        for word in [*few, *(word for word in places if word not in few)]
    )
    initial |= {day: f"{Decimal(str(hours)).normalize():f}" for day, hours in
                crew.get("core_hours_by_weekday", {}).items()}  # fmt: skip
    initial["firm_sign_ups"] = crew.get("firm_sign_ups", False)
    if request.method == "POST":
        form = CrewForm(request.POST)
        formset = CorePersonFormSet(request.POST, initial=people + [{}] * 50, prefix="core")
        if form.is_valid() and formset.is_valid():
            for name in usual:
                value = form.cleaned_data[name]
                value = value / 100 if name.startswith("no_show") else value
                if name.startswith("no_show") and value != now[name]:
                    crew.pop("no_show_why", None)  # the owner's own from now on
                if name in crew or value != now[name]:
                    crew[name] = f"{Decimal(value).normalize():f}"
            tools = form.cleaned_data["tools"]
            for name, value, empty in (
                ("tools", {word: count for word, (count, _) in tools.items() if count is not None}, {}),
                ("tool_places", {word: place for word, (_, place) in tools.items() if place}, {}),
                ("core_hours_by_weekday", form.by_weekday, {}),
                ("firm_sign_ups", form.cleaned_data["firm_sign_ups"], False),
            ):
                if name in crew or value != empty:
                    crew[name] = value
            before = {person["id"]: person for person in people}
            ids = set(before)
            crew["core"] = [
                {
                    **before.get(row["id"], {}),
                    "id": row["id"] if row["id"] in before else new_id(row["name"], ids),
                    "name": row["name"],
                    "skills": in_order(row["skills"], before.get(row["id"], {}).get("skills", [])),
                }
                for row in formset.cleaned_data
                if not row["take_out"]
            ]
            try:
                return redirect(builds.propose(build, user_of(request), document, "Core team and turn-out edited"))
            except builds.DocumentProblems as error:
                show(form, error.problems)
    else:
        form = CrewForm(initial=initial)
        formset = CorePersonFormSet(
            initial=people + ([{}] if "new" in request.GET or not people else []), prefix="core"
        )
    context |= {"form": form, "formset": formset}
    return render(request, "scheduling/edit_crew.html", context, status=422 if request.method == "POST" else 200)


@login_required
@require_http_methods(["GET", "POST"])
def edit_helpers(request: HttpRequest, build_id: int) -> HttpResponse:
    """Helpers the plan may count on by name: what they can, what they may not, when, and how sure."""
    build, member = owner_of(request, build_id)
    context = sheet_context(build, member)
    document = builds.editable(build)
    crew: Document = document["crew"]
    kept: list[Document] = crew.get("helpers", [])
    days = [(day.id, f"{day_text(day.date, year=False)}, {day.name}") for day in build_days(context["sheet"])]
    shown = [
        {**row, "sure": _hundred(row.get("sure", "0.88")), "no_power_tools": not row.get("power_tools", True)}
        for row in kept
    ]
    options: dict[str, Any] = {"prefix": "helper", "form_kwargs": {"days": days}}
    if request.method == "POST":
        formset = HelperFormSet(request.POST, initial=shown + [{}] * 50, **options)
        if formset.is_valid():
            before = {row["id"]: row for row in kept}
            ids = set(before)
            crew["helpers"] = [
                form.document(before.get(form.cleaned_data["id"], {}), ids)
                for form in formset
                if not form.cleaned_data["take_out"]
            ]
            try:
                return redirect(builds.propose(build, user_of(request), document, "Helpers known by name edited"))
            except builds.DocumentProblems as error:
                for problem in error.problems:
                    messages.error(request, said(problem))
    else:
        wanted = shown + ([{}] if "new" in request.GET or not kept else [])
        formset = HelperFormSet(initial=wanted, **options)
    context["formset"] = formset
    return render(request, "scheduling/edit_helpers.html", context, status=422 if request.method == "POST" else 200)


def _hundred(share: Any) -> str:
    return f"{(Decimal(str(share)) * 100).normalize():f}"


@login_required
@require_http_methods(["GET", "POST"])
def edit_dates(request: HttpRequest, build_id: int) -> HttpResponse:
    """Lease, wished and announced opening, holidays."""
    build, member = owner_of(request, build_id)
    context = sheet_context(build, member)
    document = builds.editable(build)
    dates: Document = document["dates"]
    lines = "\n".join(f"{row['date']} {row.get('name', '')}".strip() for row in dates.get("holidays", []))
    form = DatesForm(request.POST if request.method == "POST" else None, initial={**dates, "holidays": lines})
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        for name in ("lease_start", "opening_wish", "announced"):
            if data[name]:
                dates[name] = data[name].isoformat()
            else:
                dates.pop(name, None)
        if data["holidays"] or "holidays" in dates:
            dates["holidays"] = data["holidays"]
        try:
            return redirect(builds.propose(build, user_of(request), document, "Dates edited"))
        except builds.DocumentProblems as error:
            show(form, error.problems)
    context["form"] = form
    return render(request, "scheduling/edit_dates.html", context, status=422 if form.is_bound else 200)


@login_required
@require_http_methods(["GET", "POST"])
def edit_hours(request: HttpRequest, build_id: int) -> HttpResponse:
    """When the landlord lets people into the room."""
    build, member = owner_of(request, build_id)
    context = sheet_context(build, member)
    document = builds.editable(build)
    kept: list[Document] = document["dates"].get("hall_hours", [])
    if request.method == "POST":
        formset = HallHoursFormSet(request.POST, initial=kept + [{}] * 20)
        if formset.is_valid():
            document["dates"]["hall_hours"] = [
                form.document() for form in formset if not form.cleaned_data.get("take_out")
            ]
            try:
                return redirect(builds.propose(build, user_of(request), document, "The landlord's hours edited"))
            except builds.DocumentProblems as error:
                for problem in error.problems:
                    messages.error(request, said(problem))
    else:
        formset = HallHoursFormSet(initial=kept + ([{}] if "new" in request.GET or not kept else []))
    context["formset"] = formset
    return render(request, "scheduling/edit_hours.html", context, status=422 if request.method == "POST" else 200)


# ------------------------------------------------------------------ ways out


@login_required
@require_POST
def way_out(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """Propose one of the ways out of an impossible plan."""
    build, _ = owner_of(request, build_id)
    ways = builds.sheet_of(build).part("schedule", Schedule).ways_out
    if number >= len(ways) or not ways[number].edits:
        messages.error(request, "That way out is not on the list any more. These are the ones for the plan as it is.")
        return redirect("scheduling:plan", build_id)
    document = carry_out(builds.editable(build), ways[number].edits)
    try:
        return redirect(builds.propose(build, user_of(request), document, ways[number].text))
    except builds.DocumentProblems as error:
        for problem in error.problems:
            messages.error(request, said(problem))
        return redirect("scheduling:plan", build_id)


def carry_out(document: Document, edits: Iterable[PlanEdit]) -> Document:
    """Make these edits in a plan; returns it."""
    for edit in edits:
        _carry_out(document, edit)
    return document


def _carry_out(document: Document, edit: PlanEdit) -> None:
    *path, last = edit.at
    place: Any = document
    for step in path:
        place = place.setdefault(step, {}) if isinstance(place, dict) else place[int(step)]
    if edit.act == "remove":
        if isinstance(place, list):
            del place[int(last)]
        else:
            place.pop(last, None)
    elif edit.act == "set":
        place[last] = edit.value
    else:
        kept: list[Any] = place.setdefault(last, [])
        value = edit.value
        if isinstance(value, dict) and "id" in value:
            taken = {row["id"] for row in kept}
            if value["id"] in taken:  # others may name it, so it is kept wherever it can be
                value = value | {"id": new_id(str(value["id"]), taken)}
        kept.append(value)
        if last == "days":
            kept.sort(key=lambda day: str(day["date"]))
