"""Sign-ups by the hour they came in, so that what a robot wrote can be looked at and taken out together."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Member, Role
from scheduling.web import floods, sign_ups
from scheduling.web.models import SignUp
from scheduling.web.views import sheet_context, user_of


def _rows(build: Build, number: int) -> QuerySet[SignUp]:
    try:
        start, end = floods.bounds(number)
    except ValueError:
        raise Http404("No such hour") from None
    return SignUp.objects.filter(build=build, created__gte=start, created__lt=end).order_by("pk")


def _owned(request: HttpRequest, build_id: int) -> tuple[Build, Member]:
    return builds.build_for(user_of(request), build_id, Role.OWNER)


@login_required
@require_GET
def by_hour(request: HttpRequest, build_id: int) -> HttpResponse:
    build, member = _owned(request, build_id)
    context = sheet_context(build, member)
    context["hours"] = floods.hours_of(SignUp.objects.filter(build=build), context["sheet"])
    with timezone.override(context["sheet"].zone):
        return render(request, "scheduling/by_hour.html", context)


@login_required
@require_http_methods(["GET", "POST"])
def hour(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """Who came in within an hour, those of a crowd ticked; sending it takes out those still ticked."""
    build, member = _owned(request, build_id)
    rows = list(_rows(build, number))
    if request.method == "POST":
        ticked = {int(pk) for pk in request.POST.getlist("out") if pk.isdecimal() and len(pk) < 18}
        chosen = [row for row in rows if row.pk in ticked and row.withdrawn is None]
        if not chosen:
            messages.error(request, "Nobody was ticked, so nobody was taken out.")
            return redirect("scheduling:hour", build_id, number)
        count, up = sign_ups.take_out_together(build, chosen, by=user_of(request))
        moved = f" {up} moved up from the waiting list; they stand under people to tell." if up else ""
        messages.success(request, f"{count} taken out.{moved} You can bring them back below.")
        return redirect("scheduling:hour", build_id, number)
    context = sheet_context(build, member)
    sheet: builds.Sheet = context["sheet"]
    here = [row for row in rows if row.withdrawn is None]
    out = [row for row in rows if row.taken_out is not None and row.removed is None]
    names = {day["id"]: day["name"] for day in sheet.document.get("crew", {}).get("days", [])}
    context |= {
        "hour": floods.hour_of(number, sheet, len(here), len(out)),
        "rows": [(row, names.get(row.day, "a day that is not held any more")) for row in here],
        "ticked": floods.crowd(here),
        "before": SignUp.objects.filter(build=build, withdrawn=None, created__lt=floods.bounds(number)[0]).count(),
    }
    with timezone.override(sheet.zone):
        return render(request, "scheduling/hour.html", context)


@login_required
@require_POST
def bring_back(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    build, _ = _owned(request, build_id)
    rows = [row for row in _rows(build, number) if row.taken_out is not None and row.removed is None]
    placed, waiting = sign_ups.bring_back(build, rows, by=user_of(request))
    text = f"{placed} have their place again" + (f", {waiting} wait because it is taken now" if waiting else "")
    messages.success(request, f"{text}.")
    return redirect("scheduling:hour", build_id, number)
