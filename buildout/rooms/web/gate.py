"""Whether a room is good enough to have something cut from its figures, and the owner's word when it is not."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import person, propose_from
from buildout.rooms.engine.types import FabricatorGate
from buildout.rooms.web import edits
from buildout.rooms.web.cutting import cutting_of
from buildout.rooms.web.opened import OpenRoom, open_room


class PassForm(forms.Form):
    why = forms.CharField(
        label="Why it may go to the fabricator all the same",
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="It stands on the cover's drawing with your name and the day. For example: the fabricator measures "
        "again before cutting.",
        error_messages={"required": "Say why, for example: the fabricator measures again before cutting."},
    )


def gate_of(found: OpenRoom) -> FabricatorGate:
    from buildout.rooms.engine.quality import fabricator_gate

    cutting = cutting_of(found.sheet.document, found.room.id)
    return fabricator_gate(found.room, found.survey, found.plan, cutting=cutting)


@login_required
@require_http_methods(["GET", "POST"])
def gate(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """What the gate looked at, what to take for it to pass, and passing it knowingly (a proposal like any edit)."""
    found = open_room(request, build_id, room_id)
    form, made = PassForm(request.POST or None), gate_of(found)
    if request.method == "POST" and made.passes:
        form.add_error(None, "The gate passes already; there is nothing to pass knowingly.")
    elif request.method == "POST" and not made.items:
        form.add_error(None, "The readings do not settle this room yet, so there is nothing to send.")
    elif request.method == "POST" and form.is_valid():
        word = {"who": person(request).name, "when": found.sheet.today().isoformat(), "why": form.cleaned_data["why"]}
        document = builds.editable(found.build)
        at = edits.room_position(document, room_id)
        document["rooms"][at]["gate_passed"] = word
        proposal = propose_from(
            form, found.build, person(request), document,
            f"{found.room.name}: sent to the fabricator knowingly, {form.cleaned_data['why']}",
            under=f"/rooms/{at}/gate_passed",
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    return render(request, "rooms/gate.html", _context(found, made, form), status=422 if form.is_bound else 200)


def _context(found: OpenRoom, made: FabricatorGate, form: PassForm) -> dict[str, Any]:
    return {
        "build": found.build, "member": found.member, "sheet": found.sheet, "sheet_no": "2", "room": found.room,
        "gate": made, "form": form, "failed": [item for item in made.items if not item.passes],
    }  # fmt: skip


@login_required
@require_POST
def take_back(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Take back the word that passed the gate."""
    found = open_room(request, build_id, room_id)
    if found.room.gate_passed is None:
        return redirect("rooms:gate", build_id, room_id)
    document = builds.editable(found.build)
    edits.room_of(document, room_id).pop("gate_passed", None)
    summary = f"{found.room.name}: no longer sent to the fabricator knowingly"
    return redirect(builds.propose(found.build, person(request), document, summary))
