"""Systems of one room beside each other: choose, wait, look, propose the switch."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.documents import pdf_or_page
from buildout.builds.web.editing import person
from buildout.builds.web.models import Build, Member, Role
from buildout.changes.engine.chain import STEPS
from buildout.changes.engine.options import FEWEST, MOST, Option, changing_hours, switched
from buildout.changes.web.models import SystemComparison
from buildout.changes.web.views import WORKER_PATIENCE
from buildout.rooms.engine.types import Room, RoomPlan
from buildout.rooms.web.drawings import svg_of
from buildout.units.value import Value, from_plain
from estimating.engine.screening import burning_goods
from estimating.engine.types import FloorSystem, FoldAwaySystem, Product
from estimating.web.reports import on_what_burns, reports_on

MOST_TOLD = 3
"""Tasks named as what makes the difference in hours."""


class _Page(Value, kw_only=True):
    """One option with its small plan and names for what it lacks."""

    letter: str
    """What stands for the option where its name is too long."""
    option: Option
    svg: str
    unquoted: list[str]
    last: str
    changing: float
    """Hours of the tasks that differ between the options."""
    differs: list[str]
    """What makes most of the difference to the first option, in words."""
    ramp_needed: float | None
    """Longest ramp or bevel an accessible route takes at a walk-on edge, mm; None where the step is not known."""
    ramp_stated: float
    """Shortest that stands at such an edge."""
    reports: list[tuple[str, list[Any]]]
    """Fire and emission documents as they are attached today, by name of the goods."""


class ChoiceForm(forms.Form):
    systems = forms.MultipleChoiceField(
        label="Systems to compare", required=False, widget=forms.CheckboxSelectMultiple,
        help_text=f"{FEWEST} to {MOST} of them",
    )  # fmt: skip

    def __init__(self, *args: Any, choices: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["systems"].choices = choices  # type: ignore[attr-defined]

    def clean_systems(self) -> list[str]:
        found = list(self.cleaned_data["systems"])
        if not FEWEST <= len(found) <= MOST:
            raise forms.ValidationError(f"Tick {FEWEST} to {MOST} systems; {len(found)} are ticked.")
        return found


@login_required
@require_http_methods(["GET", "POST"])
def choose(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Tick the systems to set beside each other in a room."""
    build, member = builds.build_for(person(request), build_id, Role.OWNER)
    sheet = builds.sheet_of(build)
    room = next((room for room in sheet.section("rooms", list[Room]) if room.id == room_id), None)
    if room is None:
        raise Http404(f"This build has no room {room_id}")
    fitout: dict[str, Any] = next((f for f in sheet.document.get("fitouts", []) if f["room"] == room_id), {})
    now = [name for name in [fitout.get("fold_away") or fitout.get("floor")] if name]
    choices = [(s.id, s.name) for s in sheet.section("floor_systems", list[FloorSystem])]
    choices += [(s.id, f"{s.name} (folds away)") for s in sheet.section("fold_away_systems", list[FoldAwaySystem])]
    form = ChoiceForm(request.POST if request.method == "POST" else None, initial={"systems": now}, choices=choices)
    if request.method == "POST" and form.is_valid():
        from buildout.changes.web.comparisons import ask

        try:
            return redirect(ask(build, person(request), room_id, form.cleaned_data["systems"]))
        except ValueError as error:
            form.add_error(None, str(error))
    context = {"build": build, "member": member, "sheet": sheet, "sheet_no": "3", "room": room, "form": form}
    names = dict(choices)
    earlier = build.comparisons.filter(room=room_id, base=build.current).defer("result")
    context["earlier"] = [(one, [names.get(s, s) for s in one.systems]) for one in earlier]
    return render(request, "changes/options_choose.html", context, status=422 if request.method == "POST" else 200)


def _found(request: HttpRequest, build_id: int, comparison_id: int) -> tuple[Build, Member, SystemComparison]:
    build, member = builds.build_for(person(request), build_id, Role.OWNER)
    found = build.comparisons.select_related("base").filter(pk=comparison_id).first()
    if found is None:
        raise Http404("These options are no longer there; choose the systems again")
    return build, member, found


def _running(found: SystemComparison) -> dict[str, Any]:
    waited = (timezone.now() - found.created).total_seconds()
    return {
        "comparison": found,
        "total": len(found.systems) * len(STEPS),
        "running": found.state in (SystemComparison.State.WAITING, SystemComparison.State.RUNNING),
        "no_worker": found.state == SystemComparison.State.WAITING and waited > WORKER_PATIENCE,
        "waited": int(waited),
    }


@login_required
@never_cache
@require_GET
def options(request: HttpRequest, build_id: int, comparison_id: int) -> HttpResponse:
    build, member, found = _found(request, build_id, comparison_id)
    context: dict[str, Any] = {"build": build, "member": member, "sheet": builds.sheet_of(build), "sheet_no": "3"}
    context |= {"room_id": found.room} | _running(found)
    if found.state != SystemComparison.State.READY:
        return render(request, "changes/options_running.html", context)
    return render(request, "changes/options.html", context | _compared(build, found))


def _compared(build: Build, found: SystemComparison) -> dict[str, Any]:
    from buildout.changes.web.comparisons import read
    from estimating.engine.layout_drawings import draw_small

    base = builds.Sheet(found.base)
    made = read(found)
    plan = next(plan for plan in base.part("plans", list[RoomPlan]) if plan.room == found.room)
    products = from_plain(list[Product], found.base.document.get("products", []))
    names = {p.id: p.name for p in products}
    systems: dict[str, FloorSystem | FoldAwaySystem] = {
        one.id: one for one in base.section("floor_systems", list[FloorSystem])
    }
    systems |= {one.id: one for one in base.section("fold_away_systems", list[FoldAwaySystem])}
    attached = reports_on(build, products)
    pages = [
        _Page(
            letter="ABCDE"[n],
            option=option,
            svg=svg_of(draw_small(plan, option.floor, option.fold_away, units=base.units), f"o{n}", 110.0),
            unquoted=[names.get(item, item) for item in option.unquoted],
            last=names.get(option.last_item, option.last_item),
            changing=hours,
            differs=[f"{name} {more:+g} h".replace("-", "−") for name, more in differs[:MOST_TOLD]],
            ramp_needed=_ramp_needed(option),
            ramp_stated=min((e.run_stated for e in option.screening.edges), default=0.0) if option.screening else 0.0,
            reports=[
                (names.get(item, item), on_what_burns([item], attached))
                for item in burning_goods(systems[option.system], option.floor)
            ],
        )
        for n, (option, (hours, differs)) in enumerate(zip(made.options, changing_hours(made.options), strict=True))
    ]
    return {"made": made, "pages": pages, "overtaken": found.base_id != build.current_id}


def _ramp_needed(option: Option) -> float | None:
    edges = option.screening.edges if option.screening else []
    if not edges or any(edge.need == "missing" for edge in edges):
        return None
    return max(edge.run_needed for edge in edges)


@login_required
@require_GET
def pdf(request: HttpRequest, build_id: int, comparison_id: int) -> HttpResponse:
    """The options on paper."""
    build, member, found = _found(request, build_id, comparison_id)
    if found.state != SystemComparison.State.READY:
        raise Http404("These options are still being worked out")
    context = {"build": build, "member": member, "sheet": builds.Sheet(found.base), "comparison": found}
    context |= _compared(build, found)
    return pdf_or_page(request, "changes/options_paper.html", context, f"options-{found.room}.pdf")


@login_required
@never_cache
@require_GET
def progress(request: HttpRequest, build_id: int, comparison_id: int) -> HttpResponse:
    """The fragment a page that waits asks for; it sends the page on once there is an answer."""
    _, _, found = _found(request, build_id, comparison_id)
    context = _running(found)
    response = render(request, "changes/options_progress.html", context)
    if not context["running"]:
        response["HX-Redirect"] = found.get_absolute_url()
    return response


@login_required
@require_POST
def switch(request: HttpRequest, build_id: int, comparison_id: int) -> HttpResponse:
    """Propose that the room gets another system, from the plan as it stands now."""
    build, _, found = _found(request, build_id, comparison_id)
    system = request.POST.get("system", "")
    if system not in found.systems:
        raise Http404(f"{system or 'Nothing'} is not among these options")
    document = builds.editable(build)
    names = {s["id"]: s["name"] for key in ("floor_systems", "fold_away_systems") for s in document.get(key, [])}
    rooms = {room["id"]: room["name"] for room in document.get("rooms", [])}
    if system not in names or found.room not in {f["room"] for f in document.get("fitouts", [])}:
        raise Http404("The plan no longer has this room or this system")
    summary = f"{rooms.get(found.room, found.room)}: {names[system]}"
    return redirect(builds.propose(build, person(request), switched(document, found.room, system), summary))


@login_required
@require_POST
def discard(request: HttpRequest, build_id: int, comparison_id: int) -> HttpResponse:
    build, _, found = _found(request, build_id, comparison_id)
    room = found.room
    found.delete()
    return redirect("changes:choose-options", build.pk, room)
