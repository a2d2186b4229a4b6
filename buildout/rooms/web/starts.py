"""Ways to begin a room: a typed rectangle, a walk along the walls, an outline drawn by somebody else."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from buildout.builds.web import services as builds
from buildout.builds.web.editing import LengthField, fitting_id, person, propose_from
from buildout.builds.web.models import Role
from buildout.rooms.engine.types import OutlineStart
from buildout.rooms.web import edits
from buildout.rooms.web.preview import tell_stops
from buildout.units.lengths import Length, LengthError, UnitSystem
from buildout.units.value import to_plain

UNIT_WORDS = (
    ("", "as the file says"), ("millimetres", "millimetres"), ("centimetres", "centimetres"),
    ("decimetres", "decimetres"), ("metres", "metres"), ("inches", "inches"), ("feet", "feet"), ("yards", "yards"),
)  # fmt: skip
KEPT = "outline-file"
KEPT_HINT = "The one you sent is kept; choose a file only to use another."
LARGEST_KEPT = 2_000_000
"""Bytes of a drawing kept while its units are asked for."""


class StartForm(forms.Form):
    """What every way to begin asks for."""

    name = forms.CharField(label="Name of the room", max_length=200, help_text="For example: Changing room")
    height = LengthField(label="Height", required=False, help_text="Slab to deck, for example 9' 0\"")
    summary = "Room added"

    def start(self, units: UnitSystem) -> OutlineStart:
        """Raises ``StartError``."""
        raise NotImplementedError

    def extra(self) -> list[dict[str, Any]]:
        """Readings beside those of the outline."""
        return []


class RectangleForm(StartForm):
    """Two lengths, and the diagonals if they were taped."""

    width = LengthField(label="Along the base line, A–D", help_text="For example 24' 0\"")
    depth = LengthField(label="Square to it, A–B", help_text="For example 20' 0\"")
    first = LengthField(
        label="Diagonal A–C", required=False, help_text="Without a diagonal the corners are free to lean."
    )
    second = LengthField(label="Diagonal B–D", required=False, help_text="The second one checks the first.")
    field_order = ["name", "width", "depth", "first", "second", "height"]

    def start(self, units: UnitSystem) -> OutlineStart:
        from buildout.rooms.engine.starts import start_rectangle

        return start_rectangle(Length.read(self.cleaned_data["width"]), Length.read(self.cleaned_data["depth"]))

    def extra(self) -> list[dict[str, Any]]:
        typed = (("A", "C", self.cleaned_data["first"]), ("B", "D", self.cleaned_data["second"]))
        return [{"start": a, "end": b, "value": value} for a, b, value in typed if value]


class ChainForm(StartForm):
    """Wall after wall with the turn at its end."""

    walls = forms.CharField(
        label="One wall a line: its length, and which way you turn at its end",
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text="left, right, or degrees, positive to the left. For example: 30' 0\" left",
    )
    field_order = ["name", "walls", "height"]

    def clean_walls(self) -> list[tuple[Length, Any]]:
        found, wrong = [], []
        for number, line in enumerate(str(self.cleaned_data["walls"]).splitlines(), 1):
            if not line.strip():
                continue
            try:
                found.append(_wall(line))
            except LengthError as error:
                wrong.append(f"Line {number}: {error}")
        if wrong:
            raise forms.ValidationError(wrong)
        return found

    def start(self, units: UnitSystem) -> OutlineStart:
        from buildout.rooms.engine.starts import start_chain

        return start_chain(self.cleaned_data["walls"])


def _wall(line: str) -> tuple[Length, Any]:
    match = re.fullmatch(r"\s*(.+?)[\s,;]+(left|right|l|r|[-+−]?\d+(?:\.\d+)?)\s*°?\s*", line, re.IGNORECASE)
    if match is None:
        raise LengthError("write a length and a turn, for example 30' 0\" left")
    turn = match[2].lower().replace("−", "-")
    word = {"l": "left", "r": "right"}.get(turn, turn)
    return Length.read(match[1]), word if word in ("left", "right") else float(word)


class DrawingForm(StartForm):
    """An outline in a DXF file."""

    file = forms.FileField(
        label="DXF file", required=False,
        widget=forms.ClearableFileInput(attrs={"accept": ".dxf,image/vnd.dxf,application/dxf"}),
        help_text="The inside faces of the walls as one closed polyline, or as lines that meet at the corners.",
    )  # fmt: skip
    units = forms.ChoiceField(label="One unit in the drawing is", choices=UNIT_WORDS, required=False)
    layer = forms.CharField(
        label="Only this layer", required=False, max_length=255, help_text="Leave empty to look at all of them."
    )
    field_order = ["name", "file", "units", "layer", "height"]
    summary = "Room added from a drawing"

    def __init__(self, *args: Any, kept: bytes = b"", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kept = kept
        self.fields["units"].unmarked = self.fields["file"].unmarked = True  # type: ignore[attr-defined]
        if kept:
            self.fields["file"].label = "Another DXF file"
            self.fields["file"].help_text = KEPT_HINT

    def clean_file(self) -> bytes:
        sent = self.cleaned_data["file"]
        if sent is None and not self.kept:
            raise forms.ValidationError("Choose the DXF file, for example from the landlord's architect.")
        return self.kept if sent is None else bytes(sent.read())

    def start(self, units: UnitSystem) -> OutlineStart:
        from buildout.rooms.engine.starts import start_from_dxf

        data = self.cleaned_data
        return start_from_dxf(data["file"], units=data["units"], written=units, layer=data["layer"])


WAYS = {
    "rectangle": (RectangleForm, "Add a rectangular room", "Four walls and two diagonals."),
    "walls": (ChainForm, "Add a room by its walls", "Walk along the walls: each length and the turn at its end."),
    "drawing": (
        DrawingForm, "Add a room from a drawing",
        "An outline somebody drew (DXF). Its lengths come in as weak readings marked “from drawing”, never as "
        "measured; the tape then outweighs them.",
    ),
}  # fmt: skip


@login_required
@require_http_methods(["GET", "POST"])
def start_room(request: HttpRequest, build_id: int, way: str) -> HttpResponse:
    """Begin a room in one of ``WAYS``."""
    from buildout.rooms.engine.starts import StartError, UnitsNeeded

    build, member = builds.build_for(person(request), build_id, Role.OWNER)
    sheet = builds.sheet_of(build)
    kind, title, told = WAYS[way]
    form = _form(kind, request)
    if request.method == "POST" and form.is_valid():
        try:
            begun = form.start(sheet.units)
        except StartError as error:
            form.add_error(error.field if error.field in form.fields else None, str(error))
            if isinstance(error, UnitsNeeded) and isinstance(form, DrawingForm):
                form = _ask_units(request, form)
        else:
            document = builds.editable(build)
            taken = [room["id"] for room in document.get("rooms", [])]
            room = _room(form, begun, fitting_id(form.cleaned_data["name"], taken, "room"))
            said = {"who": person(request).name, "when": sheet.today().isoformat()}
            room["readings"] = [said | r if r.get("tool") != "drawing" else r for r in room["readings"]]
            edits.add_readings(room, form.extra(), **said)
            edits.add_room(document, room)
            proposal = None
            if not tell_stops(form, None, room):
                summary = f"{form.summary}: {room['name']}"
                proposal = propose_from(form, build, person(request), document, summary, under=f"/rooms/{len(taken)}")
            if proposal is not None:
                request.session.pop(KEPT, None)
                return redirect(proposal)
    context = {
        "build": build, "member": member, "sheet": sheet, "sheet_no": "2", "title": title, "form": form, "told": told,
        "button": "See the room and what it does", "back": reverse("rooms:new", args=[build_id]), "delete": "",
        "back_name": "Other ways to add a room",
    }  # fmt: skip
    return render(request, "rooms/edit.html", context, status=422 if form.is_bound else 200)


def _form(kind: Callable[..., StartForm], request: HttpRequest) -> StartForm:
    if kind is not DrawingForm:
        return kind(request.POST or None)
    if request.method != "POST":
        request.session.pop(KEPT, None)
    kept = request.session.get(KEPT, "")
    return DrawingForm(request.POST or None, request.FILES or None, kept=base64.b64decode(kept))


def _ask_units(request: HttpRequest, form: DrawingForm) -> DrawingForm:
    """Keep the file while its units are asked for, where it is small enough to be kept."""
    data: bytes = form.cleaned_data.get("file") or form.kept
    if len(data) > LARGEST_KEPT:
        form.add_error("file", "Choose the file once more together with its units; it is too large to be kept here.")
        return form
    request.session[KEPT] = base64.b64encode(data).decode()
    form["file"].label = "Another DXF file"
    form["file"].help_text = KEPT_HINT
    return form


def _room(form: StartForm, begun: OutlineStart, room_id: str) -> dict[str, Any]:
    room: dict[str, Any] = {
        "id": room_id, "name": form.cleaned_data["name"], "corners": begun.corners, "turning": begun.turning,
        "readings": [_reading(to_plain(reading)) for reading in begun.readings],
    }  # fmt: skip
    if form.cleaned_data["height"]:
        room["height"] = form.cleaned_data["height"]
    return room


def _reading(full: dict[str, Any]) -> dict[str, Any]:
    """Without what is empty or usual, as people would have typed it."""
    usual = {"tool": "tape", "kind": "distance"}
    return {k: v for k, v in full.items() if v not in ("", None, []) and usual.get(k) != v}
