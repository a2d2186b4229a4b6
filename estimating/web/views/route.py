"""The way of the rolled cover from the kerb to the room: what is narrow on it, and whether the roll passes."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from buildout.builds.web import services as builds
from buildout.builds.web.editing import fitting_id, propose_from
from buildout.units.value import from_plain
from estimating.engine.passage import CLEARANCE, to_spare
from estimating.engine.rolled import HOLD_EVERY, IDEAL, SHARE, places_to_hold, share_out
from estimating.engine.types import RouteStep
from estimating.web import edits
from estimating.web.forms import RouteStepForm
from estimating.web.views.desk import sit_down
from estimating.web.views.pins import room_of

SPARE = 3
"""Rows for more places."""
MOST = 20
ON_THE_WAY = ("cover-passage", "cover-folded", "cover-parting", "cover-carry", "cover-places", "cover-mass")
"""Reasons of a cover that are about carrying it in."""


@login_required
@require_http_methods(["GET", "POST"])
def route(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    desk = sit_down(request, build_id)
    plan, layout = room_of(desk, room_id)
    if layout.cover is None or not layout.cover.outline:
        raise Http404(f"{plan.name} gets no cover that would have to be carried in")
    document = builds.editable(desk.build)
    at = edits.position(document["fitouts"], room_id, "room")
    fitout = document["fitouts"][at]
    there = fitout.get("route", [])
    data = request.POST if request.method == "POST" else None
    rows = [
        RouteStepForm(data, prefix=f"step-{n}", initial=there[n] if n < len(there) else {})
        for n in range(min(len(there) + SPARE, MOST))
    ]
    valid = [row.is_valid() for row in rows]
    if data is not None and all(valid):
        made: list[dict[str, Any]] = []
        kept: list[RouteStepForm] = []
        for n, row in enumerate(rows):
            if row.empty:
                continue
            step = row.edited(there[n] if n < len(there) else {})
            step.setdefault("id", fitting_id(step["name"], [s["id"] for s in [*there, *made]], "place"))
            made.append(step)
            kept.append(row)
        fitout["route"] = made
        if not made:
            del fitout["route"]
        under = f"/fitouts/{at}/route"
        proposal = propose_from(
            rows[0], desk.build, desk.user, document, f"{plan.name}: way of the rolled cover", under=under,
            within={f"{under}/{n}": row for n, row in enumerate(kept)},
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    cover = layout.cover
    steps = {step.id: step for step in from_plain(list[RouteStep], there)}
    told: list[dict[str, Any]] = [
        {
            "step": steps[found.step], "found": found,
            "spare": to_spare(steps[found.step], cover.rolled_diameter, cover.roll_length),
        }
        for found in cover.passage
        if found.step in steps
    ]  # fmt: skip
    reasons = [reason for reason in cover.reasons if reason.code.startswith(ON_THE_WAY)]
    context = desk.page(
        "3", plan=plan, cover=cover, rows=rows, told=told, reasons=reasons, clearance=CLEARANCE,
        places=places_to_hold(cover.roll_length), hold_every=HOLD_EVERY, share=SHARE, ideal=IDEAL,
        most=share_out(cover.mass, IDEAL),
        folded=list(zip(told, cover.bundle.steps, strict=True)) if cover.bundle else [],
        stuck=[row for row in told if not row["found"].passes],
    )  # fmt: skip
    return render(request, "estimating/route.html", context, status=422 if data is not None else 200)
