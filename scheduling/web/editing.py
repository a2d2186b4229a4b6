"""Edits of build days, crew, dates and tasks. Each one is proposed; nothing is saved here."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Member, Role
from buildout.units.dates import day_text
from scheduling.engine import cautions
from scheduling.engine.template import TemplateRow, default_template
from scheduling.engine.types import PlannedTask, Schedule, Task, TaskNet
from scheduling.web.forms import (
    BuildDayFormSet,
    CorePersonFormSet,
    CrewForm,
    DatesForm,
    DoneForm,
    OwnTaskForm,
    PinForm,
    RateForm,
    new_id,
)
from scheduling.web.models import SignUp
from scheduling.web.offers import build_days
from scheduling.web.views import sheet_context, user_of
from scheduling.web.words import SKILLS, STATUSES, WHO, skill_words, stage_name

Document = dict[str, Any]


def _owner(request: HttpRequest, build_id: int) -> tuple[Build, Member]:
    return builds.build_for(user_of(request), build_id, Role.OWNER)


def _said(problem: builds.Problem) -> str:
    return problem.message + (f" For example {problem.example}." if problem.example else "")


def _show(form: Form, problems: list[builds.Problem], fields: dict[str, str] | None = None) -> None:
    """Put what the plan's check found beside the field whose name ends the pointer."""
    for problem in problems:
        name = problem.pointer.rsplit("/", 1)[-1]
        name = (fields or {}).get(name, name)
        form.add_error(name if name in form.fields else None, _said(problem))


# ------------------------------------------------------------------ build days


@login_required
@require_http_methods(["GET", "POST"])
def edit_days(request: HttpRequest, build_id: int) -> HttpResponse:
    """All build days at once, so that moving three of them is one change with one impact."""
    build, member = _owner(request, build_id)
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
            summary = "Build days edited" + (f"; taken out: {', '.join(gone)}" if gone else "")
            try:
                return redirect(builds.propose(build, user_of(request), document, summary))
            except builds.DocumentProblems as error:
                for problem in error.problems:
                    place = re.match(r"^/crew/days/(\d+)", problem.pointer)
                    form = at.get(int(place[1])) if place else None
                    if form is not None:
                        _show(form, [problem])
                    else:
                        messages.error(request, _said(problem))
    else:
        wanted = kept + ([{}] if "new" in request.GET or not kept else [])
        formset = BuildDayFormSet(initial=wanted)
    taken = dict.fromkeys((day["id"] for day in kept), 0)
    for day in SignUp.objects.standing().filter(build=build).values_list("day", flat=True):
        taken[day] = taken.get(day, 0) + 1
    context |= {"formset": formset, "taken": taken, "rows": [(form, taken.get(_id_of(form), 0)) for form in formset]}
    return render(request, "scheduling/edit_days.html", context, status=422 if request.method == "POST" else 200)


def _id_of(form: Form) -> str:
    return str(form["id"].value() or "")


@login_required
@require_http_methods(["GET", "POST"])
def edit_crew(request: HttpRequest, build_id: int) -> HttpResponse:
    """The core team and what share of helpers to count on."""
    build, member = _owner(request, build_id)
    context = sheet_context(build, member)
    document = builds.editable(build)
    crew: Document = document["crew"]
    people: list[Document] = crew.get("core", [])
    usual = {"core_hours_per_weekday": "3", "no_show_low": "0.05", "no_show_likely": "0.12", "no_show_high": "0.30"}
    now = {name: Decimal(str(crew.get(name, value))) for name, value in usual.items()}
    shown = {name: value * 100 if name.startswith("no_show") else value for name, value in now.items()}
    initial = {name: f"{value.normalize():f}" for name, value in shown.items()}
    if request.method == "POST":
        form = CrewForm(request.POST)
        formset = CorePersonFormSet(request.POST, initial=people + [{}] * 50, prefix="core")
        if form.is_valid() and formset.is_valid():
            for name in usual:
                value = form.cleaned_data[name]
                value = value / 100 if name.startswith("no_show") else value
                if name in crew or value != now[name]:
                    crew[name] = f"{Decimal(value).normalize():f}"
            before = {person["id"]: person for person in people}
            ids = set(before)
            crew["core"] = [
                {
                    **before.get(row["id"], {}),
                    "id": row["id"] if row["id"] in before else new_id(row["name"], ids),
                    "name": row["name"],
                    "skills": _in_order(row["skills"], before.get(row["id"], {}).get("skills", [])),
                }
                for row in formset.cleaned_data
                if not row["take_out"]
            ]
            try:
                return redirect(builds.propose(build, user_of(request), document, "Core team and turn-out edited"))
            except builds.DocumentProblems as error:
                _show(form, error.problems)
    else:
        form = CrewForm(initial=initial)
        formset = CorePersonFormSet(
            initial=people + ([{}] if "new" in request.GET or not people else []), prefix="core"
        )
    context |= {"form": form, "formset": formset}
    return render(request, "scheduling/edit_crew.html", context, status=422 if request.method == "POST" else 200)


def _in_order(chosen: list[str], before: list[str]) -> list[str]:
    """What was there stays in its place, so that ticking one box is one edit."""
    return [skill for skill in before if skill in chosen] + [skill for skill in chosen if skill not in before]


@login_required
@require_http_methods(["GET", "POST"])
def edit_dates(request: HttpRequest, build_id: int) -> HttpResponse:
    """Lease, wished and announced opening, holidays."""
    build, member = _owner(request, build_id)
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
            _show(form, error.problems)
    context["form"] = form
    return render(request, "scheduling/edit_dates.html", context, status=422 if form.is_bound else 200)


# ------------------------------------------------------------------ tasks


RATE_WORDS = {
    "work": "{unit} per person-hour; low is a slow day",
    "fixed": "hours from start to end, whatever the quantity",
    "trade": "working days of the firm",
    "wait": "calendar days",
}


def _template() -> dict[str, TemplateRow]:
    return {row.code: row for row in default_template()}


@login_required
@require_GET
def tasks(request: HttpRequest, build_id: int) -> HttpResponse:
    """Every task by stage: who, how long, when, how much slack."""
    build, member = builds.build_for(user_of(request), build_id, Role.OWNER, Role.LEAD)
    context = sheet_context(build, member)
    sheet: builds.Sheet = context["sheet"]
    net, schedule = sheet.part("tasks", TaskNet), sheet.part("schedule", Schedule)
    done = sheet.document.get("tasks", {}).get("done", {})
    planned = _planned(schedule)
    stages: dict[int, list[dict[str, Any]]] = {}
    for one in net.tasks:
        parts = planned.get(one.code, [])
        stages.setdefault(one.stage, []).append(
            {"task": one, "parts": parts, "done": done.get(one.code, ""), "who": WHO.get(one.place, one.place)}
            | _slack(parts)
        )
    template = _template()
    context |= {
        "schedule": schedule,
        "status": STATUSES[schedule.status],
        "stages": [(stage_name(number), stages[number]) for number in sorted(stages)],
        "left_out": [(code, template[code].name if code in template else "") for code in net.left_out],
        "off": sheet.document.get("tasks", {}).get("off", []),
    }
    return render(request, "scheduling/tasks.html", context)


def _planned(schedule: Schedule) -> dict[str, list[PlannedTask]]:
    found: dict[str, list[PlannedTask]] = {}
    for task in sorted(schedule.tasks, key=lambda task: (task.start_day, task.start, task.code)):
        found.setdefault(task.code.split("/")[0], []).append(task)
    return found


def _slack(parts: list[PlannedTask]) -> dict[str, Any]:
    return {"critical": any(p.critical for p in parts), "slack": min((p.slack_days for p in parts), default=None)}


class _TaskPage:
    """One task with its edits; a form that did not pass is shown in place of the fresh one."""

    def __init__(self, request: HttpRequest, build: Build, member: Member, code: str) -> None:
        self.request, self.build, self.member, self.code = request, build, member, code
        self.context = sheet_context(build, member)
        self.sheet: builds.Sheet = self.context["sheet"]
        self.edits: Document = self.sheet.document.get("tasks", {})
        self.net = self.sheet.part("tasks", TaskNet)
        self.task: Task | None = next((task for task in self.net.tasks if task.code == code), None)
        self.row = _template().get(code)
        self.own = next((own for own in self.edits.get("own", []) if own["code"] == code), None)
        if self.task is None and self.row is None and self.own is None:
            raise Http404("No such task")

    @property
    def name(self) -> str:
        if self.task is not None:
            return self.task.name
        return self.row.name if self.row is not None else str(self.own["name"] if self.own else self.code)

    def rate_form(self, data: Any = None) -> RateForm:
        edit: Document = next((rate for rate in self.edits.get("rates", []) if rate["code"] == self.code), {})
        usual = {name: f"{getattr(self.row, name):g}" for name in ("low", "likely", "high")} if self.row else {}
        return RateForm(data, initial=usual | edit)

    def pin_form(self, data: Any = None) -> PinForm:
        days = [(day.id, f"{day_text(day.date, year=False)}, {day.name}") for day in build_days(self.sheet)]
        pinned = next((pin["day"] for pin in self.edits.get("pins", []) if pin["task"] == self.code), "")
        return PinForm(data, days=days, initial={"day": pinned})

    def done_form(self, data: Any = None) -> DoneForm:
        return DoneForm(data, today=max(self.sheet.today(), self.sheet.as_of))

    def render(self, status: int = 200, **forms: Form) -> HttpResponse:
        schedule = self.sheet.part("schedule", Schedule)
        parts = _planned(schedule).get(self.code, [])
        names = {task.code: task.name for task in self.net.tasks}
        codes = self.task.cautions if self.task else list(self.row.cautions) if self.row else []
        kind = self.task.kind if self.task else self.row.kind if self.row else "work"
        unit = self.task.unit if self.task else self.row.unit if self.row else "unit"
        skills = self.task.skills if self.task else self.row.skills if self.row else []
        days = {day.id: day for day in build_days(self.sheet)}
        pinned = next((pin["day"] for pin in self.edits.get("pins", []) if pin["task"] == self.code), "")
        context = self.context | {
            "code": self.code, "name": self.name, "task": self.task, "row": self.row, "own": self.own,
            "parts": parts, "cautions": cautions.texts(list(codes)), "skills": skill_words(list(skills)),
            "stage": stage_name(self.task.stage if self.task else self.row.stage if self.row else 10),
            "who": WHO.get(self.task.place, "") if self.task else "",
            "after": [(lag, names.get(lag.task, "")) for lag in (self.task.after if self.task else [])],
            "before": [task for task in self.net.tasks if any(lag.task == self.code for lag in task.after)],
            "rate_words": RATE_WORDS[kind].format(unit=unit),
            "is_off": self.code in self.edits.get("off", []),
            "rated": any(rate["code"] == self.code for rate in self.edits.get("rates", [])),
            "done_on": self.edits.get("done", {}).get(self.code, ""),
            "pinned": pinned, "pinned_day": days.get(pinned),
            "rate_form": self.rate_form(), "pin_form": self.pin_form(), "done_form": self.done_form(),
        }  # fmt: skip
        context |= _slack(parts) | forms
        return render(self.request, "scheduling/task.html", context, status=status)

    def propose(self, edit: Callable[[Document], None], summary: str, form_name: str = "", form: Any = None) -> Any:
        """Edit the plan's ``tasks`` and propose it; what the check finds goes beside the form it came from."""
        document = builds.editable(self.build)
        edit(document.setdefault("tasks", {}))
        try:
            return redirect(builds.propose(self.build, user_of(self.request), document, summary))
        except builds.DocumentProblems as error:
            if form is not None:
                _show(form, error.problems)
                return self.render(422, **{form_name: form})
            for problem in error.problems:
                messages.error(self.request, _said(problem))
            return redirect("scheduling:task", self.build.pk, self.code)


def _page(request: HttpRequest, build_id: int, code: str) -> _TaskPage:
    build, member = _owner(request, build_id)
    return _TaskPage(request, build, member, code)


@login_required
@require_GET
def task(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    build, member = builds.build_for(user_of(request), build_id, Role.OWNER, Role.LEAD)
    return _TaskPage(request, build, member, code).render()


@login_required
@require_POST
def set_rate(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    page = _page(request, build_id, code)
    form = page.rate_form(request.POST)
    if page.row is None:
        raise Http404("A task of your own has hours, not a rate")
    if not form.is_valid():
        return page.render(422, rate_form=form)
    data = form.cleaned_data
    rate = {"code": code, **{name: str(data[name]) for name in ("low", "likely", "high")}, "why": data["why"]}

    def edit(tasks: Document) -> None:
        tasks["rates"] = [row for row in tasks.get("rates", []) if row["code"] != code] + [rate]

    return page.propose(edit, f"Rate of {code} {page.name}", "rate_form", form)  # type: ignore[no-any-return]


@login_required
@require_POST
def usual_rate(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    page = _page(request, build_id, code)

    def edit(tasks: Document) -> None:
        tasks["rates"] = [row for row in tasks.get("rates", []) if row["code"] != code]

    return page.propose(edit, f"Usual rate of {code} {page.name} again")  # type: ignore[no-any-return]


@login_required
@require_POST
def pin(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    page = _page(request, build_id, code)
    form = page.pin_form(request.POST)
    if not form.is_valid():
        return page.render(422, pin_form=form)
    day = form.cleaned_data["day"]

    def edit(tasks: Document) -> None:
        tasks["pins"] = [row for row in tasks.get("pins", []) if row["task"] != code] + [{"task": code, "day": day}]

    return page.propose(edit, f"{code} {page.name} on build day {day}", "pin_form", form)  # type: ignore[no-any-return]


@login_required
@require_POST
def unpin(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    page = _page(request, build_id, code)

    def edit(tasks: Document) -> None:
        tasks["pins"] = [row for row in tasks.get("pins", []) if row["task"] != code]

    return page.propose(edit, f"{code} {page.name} on whichever day suits")  # type: ignore[no-any-return]


@login_required
@require_POST
def done(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    page = _page(request, build_id, code)
    form = page.done_form(request.POST)
    if not form.is_valid():
        return page.render(422, done_form=form)
    on = form.cleaned_data["on"].isoformat()

    def edit(tasks: Document) -> None:
        tasks["done"] = {**tasks.get("done", {}), code: on}

    return page.propose(edit, f"{code} {page.name} is done", "done_form", form)  # type: ignore[no-any-return]


@login_required
@require_POST
def not_done(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    page = _page(request, build_id, code)

    def edit(tasks: Document) -> None:
        tasks["done"] = {key: day for key, day in tasks.get("done", {}).items() if key != code}

    return page.propose(edit, f"{code} {page.name} is not done after all")  # type: ignore[no-any-return]


@login_required
@require_POST
def leave_out(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    """A template task is left out, one's own is taken away; pins and reports of it go too."""
    page = _page(request, build_id, code)

    def edit(tasks: Document) -> None:
        if page.own is not None:
            tasks["own"] = [own for own in tasks["own"] if own["code"] != code]
            tasks["done"] = {key: day for key, day in tasks.get("done", {}).items() if key != code}
        else:
            tasks["off"] = sorted({*tasks.get("off", []), code})
        tasks["pins"] = [row for row in tasks.get("pins", []) if row["task"] != code]

    return page.propose(edit, f"Without {code} {page.name}")  # type: ignore[no-any-return]


@login_required
@require_POST
def take_in(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    page = _page(request, build_id, code)

    def edit(tasks: Document) -> None:
        tasks["off"] = [off for off in tasks.get("off", []) if off != code]

    return page.propose(edit, f"With {code} {page.name}")  # type: ignore[no-any-return]


@login_required
@require_http_methods(["GET", "POST"])
def new_task(request: HttpRequest, build_id: int) -> HttpResponse:
    """A task of one's own beside those of the template."""
    build, member = _owner(request, build_id)
    context = sheet_context(build, member)
    form = OwnTaskForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        document = builds.editable(build)
        edits: Document = document.setdefault("tasks", {})
        codes = {*_template(), *(own["code"] for own in edits.get("own", []))}
        if data["code"] in codes:
            form.add_error("code", f"There is a task {data['code']} already. Choose another, for example X01.")
        else:
            own = {name: data[name] for name in ("code", "name", "hours", "crew", "skills", "after")}
            edits["own"] = [*edits.get("own", []), own]
            try:
                summary = f"Own task {data['code']} {data['name']}"
                return redirect(builds.propose(build, user_of(request), document, summary))
            except builds.DocumentProblems as error:
                _show_own(form, error.problems)
    context |= {"form": form, "skills": SKILLS}
    return render(request, "scheduling/new_task.html", context, status=422 if form.is_bound else 200)


def _show_own(form: Form, problems: list[builds.Problem]) -> None:
    for problem in problems:
        field = re.search(r"/(code|name|hours|crew|skills|after)(/|$)", problem.pointer)
        form.add_error(field[1] if field else None, _said(problem))
