"""A room through time and place: two of its revisions side by side, and a copy for another build."""

from __future__ import annotations

import copy
from typing import Any

from django import forms
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from buildout.builds.web import services as builds
from buildout.builds.web.editing import fitting_id, person, propose_from
from buildout.builds.web.models import Build, Role
from buildout.rooms.engine.types import Room
from buildout.rooms.web import edits
from buildout.rooms.web.drawings import svg_of, title_block
from buildout.rooms.web.opened import open_room, room_in
from buildout.rooms.web.photos import copy_photos


@login_required
@require_GET
def compare(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Both outlines in one drawing, and a table of what differs. ``?from=1&to=2``; else the last two."""
    from buildout.rooms.engine.compare import RoomRevision, compare_rooms, draw_comparison

    build, member = builds.build_for(person(request), build_id, Role.OWNER)
    sheet = builds.sheet_of(build)
    numbers = list(build.revisions.order_by("number").values_list("number", flat=True))
    two = [_wanted(request, name, numbers) for name in ("from", "to")]
    one, other = two[0] or numbers[max(len(numbers) - 2, 0)], two[1] or numbers[-1]
    opened = {n: builds.Sheet(get_object_or_404(build.revisions, number=n)) for n in {one, other}}
    rooms = {n: {r.id: r for r in s.section("rooms", list[Room])} for n, s in opened.items()}
    there = [n for n in (one, other) if room_id in rooms[n]]
    if not there:
        raise Http404(f"Neither revision has a room {room_id}")
    context: dict[str, Any] = {
        "build": build, "member": member, "sheet": sheet, "sheet_no": "2", "one": one, "other": other,
        "numbers": numbers, "missing": [n for n in (one, other) if n not in there],
        "room": rooms[there[-1]][room_id],
    }  # fmt: skip
    if not context["missing"]:
        found = [room_in(build, member, opened[n], room_id) for n in (one, other)]
        before, after = (RoomRevision(room=f.room, survey=f.survey, plan=f.plan) for f in found)
        block = title_block(build, sheet, f"{found[1].room.name}, revisions {one} and {other}", "2")
        made = draw_comparison(
            before, after, names=(f"revision {one}", f"revision {other}"), units=sheet.units, block=block
        )
        context["compared"] = compare_rooms(before, after, units=sheet.units)
        context["drawing"] = svg_of(made, "c")
    return render(request, "rooms/compare.html", context)


def _wanted(request: HttpRequest, name: str, numbers: list[int]) -> int | None:
    text = request.GET.get(name, "")
    if not text:
        return None
    if not text.isdecimal() or int(text) not in numbers:
        raise Http404(f"{name} must be a revision number, such as {numbers[-1]}")
    return int(text)


class CopyForm(forms.Form):
    build = forms.ChoiceField(label="To which build")
    name = forms.CharField(label="Name there", max_length=200)

    def __init__(self, *args: Any, builds_of: list[Build], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.targets = {str(b.pk): b for b in builds_of}
        self.fields["build"].choices = [(key, b.name) for key, b in self.targets.items()]  # type: ignore[attr-defined]


@login_required
@require_http_methods(["GET", "POST"])
def copy_room(request: HttpRequest, build_id: int, room_id: str) -> HttpResponse:
    """Copy a room with its readings into another build of the same owner, as a proposal there.

    Its neighbours stay behind, so what its doors and walls say of them does too.
    """
    found = open_room(request, build_id, room_id)
    user = person(request)
    others = Build.objects.filter(members__user=user, members__role=Role.OWNER, current__isnull=False)
    targets = list(others.exclude(pk=build_id).select_related("current").order_by("name", "pk"))
    form = CopyForm(request.POST or None, builds_of=targets, initial={"name": found.room.name})
    if request.method == "POST" and form.is_valid():
        target = form.targets[form.cleaned_data["build"]]
        document = builds.editable(target)
        taken = [room["id"] for room in document.get("rooms", [])]
        room = copy.deepcopy(edits.room_of(found.sheet.document, room_id))
        room |= {"id": fitting_id(form.cleaned_data["name"], taken, "room"), "name": form.cleaned_data["name"]}
        room.pop("gate_passed", None)  # a word given for one cover is none for another
        edits.cut_loose(room)
        edits.add_room(document, room)
        kept = copy_photos([r["photo"] for r in room.get("readings", []) if r.get("photo")], build_id, target.pk)
        for reading in room.get("readings", []):
            if reading.get("photo") not in kept:
                reading.pop("photo", None)
        proposal = propose_from(
            form, target, user, document, f"Room copied from {found.build.name}: {room['name']}",
            under=f"/rooms/{len(taken)}",
        )  # fmt: skip
        if proposal is not None:
            return redirect(proposal)
    context = {
        "build": found.build, "member": found.member, "sheet": found.sheet, "sheet_no": "2", "room": found.room,
        "form": form, "targets": targets,
    }  # fmt: skip
    return render(request, "rooms/copy.html", context, status=422 if form.is_bound else 200)
