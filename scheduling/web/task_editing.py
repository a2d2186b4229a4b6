"""The list of tasks, the page of one task, and its edits. Each edit is proposed; nothing is saved here."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property, partial
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Member, Role
from buildout.units.dates import day_text
from buildout.units.value import from_plain
from scheduling.engine import cautions
from scheduling.engine.activities import no_appointment
from scheduling.engine.learning import LEARNED, is_learned
from scheduling.engine.tasks import template_of
from scheduling.engine.template import TemplateRow, default_template, lag_text
from scheduling.engine.types import Appointment, Dates, PlannedTask, Schedule, Task, TaskEdits, TaskNet
from scheduling.web.editing import Document, owner_of, said, show
from scheduling.web.forms import (
    AppointmentForm,
    BegunForm,
    ChangeForm,
    DoneForm,
    HoldForm,
    OwnTaskForm,
    PersonForm,
    PinForm,
    RateForm,
)
from scheduling.web.models import SignUp
from scheduling.web.offers import build_days, first_names, lead_words
from scheduling.web.views import sheet_context, user_of
from scheduling.web.words import STATUSES, WHO, driver_words, quantity_source, skill_words, source_sheet, stage_name

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


@login_required
@require_GET
def rates(request: HttpRequest, build_id: int) -> HttpResponse:
    """Every task of the list in one table: rate, crew, skills, tools, what it comes after; the owner's own marked."""
    build, member = builds.build_for(user_of(request), build_id, Role.OWNER, Role.LEAD)
    context = sheet_context(build, member)
    sheet: builds.Sheet = context["sheet"]
    edits = from_plain(TaskEdits, sheet.document.get("tasks", {}))
    rows, own = template_of(edits, [])
    planned = {task.code for task in sheet.part("tasks", TaskNet).tasks}
    rated, changed = {rate.code: rate.why for rate in edits.rates}, {one.code for one in edits.changed}
    stages: dict[int, list[dict[str, Any]]] = {}
    for code, row in rows.items():
        stages.setdefault(row.stage, []).append(
            {
                "row": row, "skills": skill_words(list(row.skills)), "after": [lag_text(lag) for lag in row.after],
                "also": _also(row),
                "from": driver_words(row.driver) if row.driver != "1" else "once", "planned": code in planned,
                "rated": code in rated, "learned": _learned(rated.get(code, "")),
                "changed": code in changed, "own": code in own,
            }
        )  # fmt: skip
    context |= {"stages": [(stage_name(number), stages[number]) for number in sorted(stages)], "rate_words": RATE_WORDS}
    return render(request, "scheduling/rates.html", context)


def _also(row: TemplateRow | Task) -> list[str]:
    """What else its plan goes by: place, noise, dust, whether it may be split."""
    return [
        *([f"has the {row.zone} for itself"] if row.zone else []),
        *(["noisy, keeps quiet hours"] if row.noisy else []),
        *(["dusty"] if row.dusty else []),
        *(["in one go"] if row.one_day else []),
    ]


def _learned(why: str) -> str:
    return why if is_learned(why) else ""


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

    def _sources(self) -> list[tuple[str, str]]:
        """Sheets the quantity is read from: what each is called, and its address."""
        if self.task is None or self.task.driver == "1":
            return []
        sheet = source_sheet(self.task.driver)
        if sheet == "take-off":
            return [("Take-off", reverse("estimating:take-off", args=[self.build.pk]))]
        where, what = ("rooms:room", "Plan") if sheet == "rooms" else ("estimating:layouts", "Layouts")
        rooms = self.sheet.document.get("rooms", [])
        return [(f"{what} of {room['name']}", reverse(where, args=[self.build.pk, room["id"]])) for room in rooms]

    def rate_form(self, data: Any = None) -> RateForm:
        edit: Document = next((rate for rate in self.edits.get("rates", []) if rate["code"] == self.code), {})
        usual = {name: f"{getattr(self.row, name):g}" for name in ("low", "likely", "high")} if self.row else {}
        edit = {**edit, "why": ""} if is_learned(edit.get("why", "")) else edit
        return RateForm(data, initial=usual | edit)

    @property
    def rate_from(self) -> str:
        """Where the rate comes from, in words."""
        edit: Document = next((rate for rate in self.edits.get("rates", []) if rate["code"] == self.code), {})
        why = str(edit.get("why", ""))
        if is_learned(why):
            return f"{why}; the usual rate counts like three more"
        return ("Your own rate" + (f": {why}" if why else "")) if edit else ""

    @property
    def usual(self) -> Document:
        """What the default list says of what a ``ChangeForm`` edits."""
        if self.row is None:
            return {}
        return {
            "crew_min": self.row.crew_min, "crew_max": self.row.crew_max, "skills": list(self.row.skills),
            "tools": self.row.tools, "after": [lag_text(lag) for lag in self.row.after], "zone": self.row.zone,
            "noisy": self.row.noisy, "dusty": self.row.dusty, "one_day": self.row.one_day,
            "cautions": list(self.row.cautions),
        }  # fmt: skip

    @property
    def change(self) -> Document:
        return next((one for one in self.edits.get("changed", []) if one["code"] == self.code), {})

    def change_form(self, data: Any = None) -> ChangeForm:
        now = self.usual | self.change
        initial = now | {"after": " ".join(now.get("after", []))}
        return ChangeForm(data, initial=initial, kind=self.row.kind if self.row is not None else "work")

    def pin_form(self, data: Any = None) -> PinForm:
        days = [(day.id, f"{day_text(day.date, year=False)}, {day.name}") for day in build_days(self.sheet)]
        pinned = next((pin["day"] for pin in self.edits.get("pins", []) if pin["task"] == self.code), "")
        return PinForm(data, days=days, initial={"day": pinned})

    def hold_form(self, data: Any = None) -> HoldForm:
        return HoldForm(data, initial=self.edit_of("not_before"))

    def appointment_form(self, data: Any = None) -> AppointmentForm:
        now = self.edit_of("appointments")
        initial = now | {"firm": "firm" if now.get("firm", True) else "wish"}
        return AppointmentForm(
            data, initial=initial, refusal=self._no_appointment, example=day_text(self._next_working_day())
        )

    def _no_appointment(self, day: date) -> str:
        if self.task is None:
            return ""
        return no_appointment(Appointment(task=self.code, date=day), self.task, self._closed, self.sheet.as_of)

    def _next_working_day(self) -> date:
        ahead = (self.sheet.as_of + timedelta(days=n) for n in range(1, 400))
        return next((day for day in ahead if not self._no_appointment(day)), self.sheet.as_of)

    @cached_property
    def _closed(self) -> list[date]:
        return [holiday.date for holiday in self.sheet.section("dates", Dates).holidays]

    def edit_of(self, section: str) -> Document:
        """What the plan says about this task in a section with one entry a task."""
        return next((row for row in self.edits.get(section, []) if row["task"] == self.code), {})

    @cached_property
    def names(self) -> dict[str, str]:
        return first_names(self.build, self.sheet)

    @cached_property
    def everybody(self) -> dict[str, str]:
        """Who may be put on a task: the core team, helpers known by name, those who signed up for a day to come."""
        crew = self.sheet.document.get("crew", {})
        found = {row["id"]: f"{row['name']}, core team" for row in crew.get("core", [])}
        found |= {row["id"]: f"{row['name']}, helper" for row in crew.get("helpers", [])}
        ahead = {day.id: day for day in build_days(self.sheet) if day.date >= self.sheet.today()}
        for row in SignUp.objects.standing().filter(build=self.build, day__in=ahead).order_by("day", "name", "pk"):
            found[row.ref] = f"{row.first_name}, signed up for {day_text(ahead[row.day].date, year=False)}"
        return found

    def person_form(self, data: Any = None) -> PersonForm:
        return PersonForm(data, people=[("", "Choose …"), *self.everybody.items()])

    def own_form(self, data: Any = None) -> OwnTaskForm:
        own = self.own or {}
        form = OwnTaskForm(data, initial=own | {"after": " ".join(own.get("after", [])), "code": self.code})
        form.fields["code"].disabled = True
        return form

    @property
    def begun_percent(self) -> int:
        return round(float(self.edits.get("begun", {}).get(self.code, 0)) * 100)

    def begun_form(self, data: Any = None) -> BegunForm:
        return BegunForm(data, initial={"percent": self.begun_percent or None})

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
        described: Task | TemplateRow | None = self.task or self.row
        context = self.context | {
            "code": self.code, "name": self.name, "task": self.task, "row": self.row, "own": self.own,
            "parts": parts, "cautions": cautions.texts(list(codes)), "skills": skill_words(list(skills)),
            "stage": stage_name(self.task.stage if self.task else self.row.stage if self.row else 10),
            "who": WHO.get(self.task.place, "") if self.task else "",
            "after": [(lag, names.get(lag.task, "")) for lag in (self.task.after if self.task else [])],
            "before": [task for task in self.net.tasks if any(lag.task == self.code for lag in task.after)],
            "rate_words": RATE_WORDS[kind].format(unit=unit),
            "is_off": self.code in self.edits.get("off", []),
            "rate_from": self.rate_from,
            "changed": bool(self.change), "change_form": self.change_form() if self.row else None,
            "done_on": self.edits.get("done", {}).get(self.code, ""),
            "pinned": pinned, "pinned_day": days.get(pinned),
            "sources": self._sources(), "also": _also(described) if described else [],
            "source": quantity_source(self.task.driver, self.sheet.document) if self.task else None,
            "hold": self.edit_of("not_before"), "appointment": self.edit_of("appointments"),
            "may_appoint": (kind in ("trade", "wait") or (self.task is not None and self.task.place == "trade"))
            and not (self.task and self.task.arrival_of),
            "may_name": kind in ("work", "fixed"),
            "named": [
                (row, self.everybody.get(row["person"], f"{row['person']}, not known any more"))
                for row in self.edits.get("people", []) if row["task"] == self.code
            ] if kind in ("work", "fixed") else [],
            "leads": next((said for part in parts if (said := lead_words(part, self.names))), ""),
            "held_by": next((part.held_by for part in parts if part.held_by), ""),
            "rate_form": self.rate_form(), "pin_form": self.pin_form(), "done_form": self.done_form(),
            "begun_form": self.begun_form() if kind != "wait" else None, "begun_percent": self.begun_percent,
            "hold_form": self.hold_form(), "appointment_form": self.appointment_form(),
            "person_form": self.person_form() if kind in ("work", "fixed") else None,
            "own_form": self.own_form() if self.own else None,
        }  # fmt: skip
        context |= _slack(parts) | forms
        return render(self.request, "scheduling/task.html", context, status=status)

    def typed(
        self, form_name: str, edit: Callable[[Any], Callable[[Document], None]], summary: Callable[[Any], str]
    ) -> HttpResponse:
        """Propose the edit a form of this page asks for; a form that does not pass is shown again as it was typed."""
        form = getattr(self, form_name)(self.request.POST)
        if not form.is_valid():
            return self.render(422, **{form_name: form})
        return self.propose(edit(form), summary(form), form_name, form)

    def propose(
        self, edit: Callable[[Document], None], summary: str, form_name: str = "", form: Any = None
    ) -> HttpResponse:
        """Edit the plan's ``tasks`` and propose it; what the check finds goes beside the form it came from."""
        document = builds.editable(self.build)
        edit(document.setdefault("tasks", {}))
        try:
            return redirect(builds.propose(self.build, user_of(self.request), document, summary))
        except builds.DocumentProblems as error:
            if form is not None:
                show(form, error.problems)
                return self.render(422, **{form_name: form})
            for problem in error.problems:
                messages.error(self.request, said(problem))
            return redirect("scheduling:task", self.build.pk, self.code)


def _page(request: HttpRequest, build_id: int, code: str) -> _TaskPage:
    build, member = owner_of(request, build_id)
    return _TaskPage(request, build, member, code)


@login_required
@require_GET
def task(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    build, member = builds.build_for(user_of(request), build_id, Role.OWNER, Role.LEAD)
    return _TaskPage(request, build, member, code).render()


# ------------------------------------------------------------------ what the plan says of a task, one entry each


@dataclass(frozen=True)
class Entry:
    """Something the plan may say of a task in a section that holds one entry a task."""

    section: str
    form: str
    """The form on the task's page it is typed into."""
    row: Callable[[_TaskPage, Any], Document]
    """The entry beside its task, from the form; empty: nothing is kept."""
    said: Callable[[Any], str]
    """What was done, after the task's name, from the form."""
    taken_back: str
    key: str = "task"
    of_the_list: bool = False
    """Not for tasks of one's own, which are edited as a whole."""

    def edit(self, tasks: Document, code: str, row: Document | None) -> None:
        kept = [one for one in tasks.get(self.section, []) if one[self.key] != code]
        tasks[self.section] = kept + ([{self.key: code, **row}] if row else [])


def _rate(page: _TaskPage, form: RateForm) -> Document:
    data = form.cleaned_data
    return {**{name: str(data[name]) for name in ("low", "likely", "high")}, "why": data["why"].removeprefix(LEARNED)}


def _hold(page: _TaskPage, form: HoldForm) -> Document:
    data = form.cleaned_data
    return {"date": data["date"].isoformat()} | ({"why": data["why"]} if data["why"] else {})


def _appointment(page: _TaskPage, form: AppointmentForm) -> Document:
    return {"date": form.cleaned_data["date"].isoformat(), "firm": form.cleaned_data["firm"] == "firm"}


ENTRIES = {
    "rate": Entry("rates", "rate_form", _rate, lambda form: "at a rate of your own", "at its usual rate again",
                  key="code", of_the_list=True),
    "change": Entry("changed", "change_form", lambda page, form: form.change(page.usual),
                    lambda form: "done another way", "as in the list again", key="code", of_the_list=True),
    "pin": Entry("pins", "pin_form", lambda page, form: {"day": form.cleaned_data["day"]},
                 lambda form: form.words, "on whichever day suits"),
    "hold": Entry("not_before", "hold_form", _hold, lambda form: f"not before {day_text(form.cleaned_data['date'])}",
                  "as early as it can be"),
    "appointment": Entry("appointments", "appointment_form", _appointment, lambda form: form.words,
                         "on any day that suits"),
}  # fmt: skip
"""By the word their addresses use."""


@login_required
@require_POST
def put(request: HttpRequest, build_id: int, code: str, entry: str) -> HttpResponse:
    """Say something of a task: its rate, its day, when not, when agreed."""
    page, kind = _page(request, build_id, code), ENTRIES[entry]
    if kind.of_the_list and page.row is None:
        raise Http404("A task of your own is edited as a whole")
    return page.typed(
        kind.form,
        lambda form: partial(kind.edit, code=code, row=kind.row(page, form)),
        lambda form: f"{code} {page.name} {kind.said(form)}",
    )


@login_required
@require_POST
def take_back(request: HttpRequest, build_id: int, code: str, entry: str) -> HttpResponse:
    page, kind = _page(request, build_id, code), ENTRIES[entry]
    return page.propose(partial(kind.edit, code=code, row=None), f"{code} {page.name} {kind.taken_back}")


@login_required
@require_POST
def put_on(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    """Somebody who must be on the task, or lead it; one leads, whoever did before stays on it."""
    page = _page(request, build_id, code)

    def edit(form: PersonForm) -> Callable[[Document], None]:
        row = {"task": code, "person": form.cleaned_data["person"]}
        row |= {"lead": True} if form.cleaned_data["lead"] else {}
        return partial(_on_it, row=row)

    def summary(form: PersonForm) -> str:
        who = page.everybody[form.cleaned_data["person"]].split(",")[0]
        return f"{who} {'leads' if form.cleaned_data['lead'] else 'is on'} {code} {page.name}"

    return page.typed("person_form", edit, summary)


def _on_it(tasks: Document, row: Document) -> None:
    kept = []
    for one in tasks.get("people", []):
        if (one["task"], one["person"]) == (row["task"], row["person"]):
            continue
        follows = row.get("lead") and one["task"] == row["task"]
        kept.append({key: value for key, value in one.items() if key != "lead"} if follows else one)
    tasks["people"] = [*kept, row]


@login_required
@require_POST
def take_off(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    page = _page(request, build_id, code)
    person = request.POST.get("person", "")

    def edit(tasks: Document) -> None:
        tasks["people"] = [one for one in tasks.get("people", []) if (one["task"], one["person"]) != (code, person)]

    who = page.everybody.get(person, person).split(",")[0]
    return page.propose(edit, f"{who} need not be on {code} {page.name}")


@login_required
@require_POST
def edit_own(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    """A task of one's own, as it is to be from now on."""
    page = _page(request, build_id, code)
    if page.own is None:
        raise Http404("Not a task of your own")
    return page.typed("own_form", lambda form: partial(_own_again, code=code, form=form),
                      lambda form: f"Own task {code} {page.name} edited")  # fmt: skip


def _own_again(tasks: Document, code: str, form: OwnTaskForm) -> None:
    tasks["own"] = [form.document(row) if row["code"] == code else row for row in tasks["own"]]


@login_required
@require_POST
def done(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    page = _page(request, build_id, code)

    def edit(form: DoneForm) -> Callable[[Document], None]:
        return partial(report, done={code: form.cleaned_data["on"].isoformat()}, begun={})

    return page.typed("done_form", edit, lambda form: f"{code} {page.name} is done")


def report(tasks: Document, done: dict[str, str], begun: dict[str, int]) -> None:
    """Write into the plan which tasks were done on which day, and how many per cent of others are done; 0: nothing."""
    finished = {**tasks.get("done", {}), **done}
    shares = {**tasks.get("begun", {}), **{code: f"{percent / 100:g}" for code, percent in begun.items()}}
    shares = {code: share for code, share in shares.items() if code not in finished and float(share) > 0}
    tasks["done"] = finished
    if shares or "begun" in tasks:
        tasks["begun"] = shares


@login_required
@require_POST
def begun(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    """How much of the task is done; the plan goes on with the rest."""
    page = _page(request, build_id, code)

    def edit(form: BegunForm) -> Callable[[Document], None]:
        return partial(report, done={}, begun={code: form.cleaned_data["percent"]})

    return page.typed("begun_form", edit, lambda form: f"{code} {page.name}: {form.cleaned_data['percent']} % done")


@login_required
@require_POST
def not_done(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    page = _page(request, build_id, code)

    def edit(tasks: Document) -> None:
        tasks["done"] = {key: day for key, day in tasks.get("done", {}).items() if key != code}

    return page.propose(edit, f"{code} {page.name} is not done after all")


@login_required
@require_POST
def leave_out(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    """A template task is left out, one's own is taken away; pins and reports of it go too."""
    page = _page(request, build_id, code)

    def edit(tasks: Document) -> None:
        if page.own is not None:
            tasks["own"] = [own for own in tasks["own"] if own["code"] != code]
            for section in ("done", "begun"):
                if section in tasks:
                    tasks[section] = {key: told for key, told in tasks[section].items() if key != code}
        else:
            tasks["off"] = sorted({*tasks.get("off", []), code})
        for section in ("pins", "not_before", "appointments", "people"):
            if section in tasks:
                tasks[section] = [row for row in tasks[section] if row["task"] != code]

    return page.propose(edit, f"Without {code} {page.name}")


@login_required
@require_POST
def take_in(request: HttpRequest, build_id: int, code: str) -> HttpResponse:
    page = _page(request, build_id, code)

    def edit(tasks: Document) -> None:
        tasks["off"] = [off for off in tasks.get("off", []) if off != code]

    return page.propose(edit, f"With {code} {page.name}")


@login_required
@require_http_methods(["GET", "POST"])
def new_task(request: HttpRequest, build_id: int) -> HttpResponse:
    """A task of one's own beside those of the template."""
    build, member = owner_of(request, build_id)
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
            edits["own"] = [*edits.get("own", []), form.document({})]
            try:
                summary = f"Own task {data['code']} {data['name']}"
                return redirect(builds.propose(build, user_of(request), document, summary))
            except builds.DocumentProblems as error:
                _show_own(form, error.problems)
    context["form"] = form
    return render(request, "scheduling/new_task.html", context, status=422 if form.is_bound else 200)


def _show_own(form: Form, problems: list[builds.Problem]) -> None:
    for problem in problems:
        field = re.search(
            r"/(code|name|hours|crew|crew_max|driver|low|likely|high|skills|after|zone|cautions)(/|$)", problem.pointer
        )
        form.add_error(field[1] if field else None, said(problem))
