from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from django import forms

from buildout.builds.web.editing import Choices, DayField, LengthField, PartForm
from buildout.builds.web.models import Build
from buildout.rooms.engine.neighbours import SHARED
from buildout.rooms.engine.types import Column, KeepClear, LevelChange, Reading, Room, Wall, WallFeature
from buildout.rooms.web.lines import EXAMPLE, TOOLS, read_lines, wrong_texts
from buildout.rooms.web.photos import PhotoError, keep_photo, read_photo
from buildout.units.lengths import Length, LengthError, UnitSystem, format_small, parse_length

TOOL_WORDS = (("tape", "tape"), ("laser", "laser"), ("rule", "rule"), ("drawing", "scaled off a drawing"))


def walls_of(room: Room) -> list[str]:
    return [f"{a}-{b}" for a, b in zip(room.corners, room.corners[1:] + room.corners[:1], strict=True)]


def points_of(room: Room) -> list[str]:
    names = [*room.corners, *room.marks]
    for column in room.columns:
        names += [column.id] if column.shape == "round" else [f"{column.id}.{c}" for c in ("SW", "SE", "NE", "NW")]
    return names


def pairs(values: list[str]) -> Choices:
    return [(value, value) for value in values]


class RoomPartForm(PartForm):
    """One reading, column, feature, strip or wall of a room."""

    def __init__(self, *args: Any, room: Room, others: Sequence[Room] = (), **kwargs: Any) -> None:
        super().__init__(*args, choices=self.offered(room), **kwargs)
        self.others = [other for other in others if other.id != room.id]

    def offer(self, name: str, label: str, hint: str, found: Mapping[str, tuple[str, str]]) -> None:
        """Let one thing of another room be chosen; ``found`` gives its room and name by what is shown."""
        self.found = found
        before = self.initial.get(name)
        now = tuple(before.values())[:2] if isinstance(before, dict) else ()
        self.initial = {**self.initial, name: next((k for k, pair in found.items() if pair == now), "")}
        self.fields[name] = forms.ChoiceField(
            label=label, required=False, help_text=hint, choices=[("", "none"), *((k, k) for k in found)]
        )

    @staticmethod
    def offered(room: Room) -> Mapping[str, Choices]:
        return {}

    def summary(self) -> str:
        return str(self.cleaned_data["id"])

    def entry(self, before: Mapping[str, Any], build: Build) -> dict[str, Any]:
        """The part as it will stand in the plan of this build."""
        return self.edited(before)


class Kind(NamedTuple):
    told: str
    fields: tuple[str, ...]
    hints: Mapping[str, str] = {}


_LINE = ("start", "end")
KINDS = {
    "distance": Kind("Length between two points", _LINE, {"start": "", "end": ""}),
    "offset": Kind("How far a point stands square off a wall", (*_LINE, "point"), {"point": "The point read to"}),
    "running": Kind("How far along a wall a point lies", (*_LINE, "point"), {"point": "The point squared on to it"}),
    "square": Kind(
        "Whether a corner is square: the tie between a mark on each wall", ("point", "start", "end", "legs"),
        {"point": "The corner", "start": "The wall from the corner to here", "end": "and the wall to here",
         "legs": "From the corner to the mark on each wall, for example 3' 0\"; 4' 0\""},
    ),
    "straightness": Kind("Gap from a string line to the wall", (*_LINE, "along", "base", "side"),
                         {"base": "The blocks under the string: what a straight wall would show"}),
    "plumb": Kind("Gap from a plumb line to the wall", (*_LINE, "along", "base", "over", "side"),
                  {"base": "At the foot", "over": "From foot to head"}),
    "height": Kind("Height of a wall, or of an opening or low wall on it", (*_LINE, "along", "feature"),
                   {"feature": "None: the wall itself"}),
    "flatness": Kind("Gap under a straightedge on the floor", (*_LINE, "along", "over"),
                     {"over": "Length of the straightedge"}),
    "level": Kind("From the level line down to the floor", (*_LINE, "along")),
    "clear width": Kind("Between stop and leaf of an open door", ("feature",), {"feature": "Which opening"}),
    "clear height": Kind("Under the head of an opening", ("feature",), {"feature": "Which opening"}),
}  # fmt: skip
"""Each kind of reading in words, what is asked for it, and hints where only that kind is asked."""
ALONE = {
    "start": "Corner or point where the wall or line begins: zero here", "end": "Where it ends",
    "along": "From its start; empty: the middle",
}  # fmt: skip


class ReadingForm(RoomPartForm):
    part = Reading
    labels = {
        "id": "Number", "kind": "What was read", "start": "From", "end": "To", "value": "As read", "point": "Point",
        "along": "Where on the line, from its start", "base": "Gap where the line touches",
        "over": "Height or straightedge", "side": "The wall stands", "feature": "Opening", "tool": "Read with",
        "who": "Who read it", "when": "Day", "note": "Note",
    }  # fmt: skip
    hints = {
        "start": "Of an offset, a height or a gap: the wall or line it belongs to, zero here",
        "point": "Offsets and running dimensions: the point read to; square: the corner",
        "along": "Straightness, height, flatness and level only; empty: the middle",
        "base": "Straightness and plumb only: what a straight or plumb wall would show",
        "over": "Plumb: from foot to head; flatness: the straightedge's length",
        "feature": "Heights and clear sizes of an opening only",
        "value": "As the tape says, for example 31' 4 1/2\" or 9.563 m. It is kept as written.",
        "note": "For example: measured again with the second tape",
    }

    @staticmethod
    def offered(room: Room) -> Mapping[str, Choices]:
        points = pairs(points_of(room))
        return {"start": points, "end": points, "point": points, "feature": pairs([f.id for f in room.features])}

    legs = forms.CharField(
        label="Marks for a square corner",
        required=False,
        max_length=80,
        help_text="Square only: how far along each wall the two marks are, towards From and To: 3' 0\"; 4' 0\"",
    )
    photo_file = forms.FileField(
        label="Photo",
        required=False,
        help_text="Of the tape where it was read: JPEG, PNG or WebP, up to 15 MB. Where it was taken is not kept.",
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )
    drop_photo = forms.BooleanField(label="Take the photo away", required=False)
    field_order = ["id", "kind", "start", "end", "value", "point", "legs", "along", "base", "over", "side", "feature",
                   "tool", "who", "when", "note", "photo_file", "drop_photo"]  # fmt: skip

    def __init__(self, *args: Any, only: str = "", **kwargs: Any) -> None:
        """With ``only`` the fields of that kind of reading alone, its kind chosen already."""
        super().__init__(*args, **kwargs)
        for name in ("start", "end"):
            self.fields[name].required = False
            self.fields[name].unmarked = True  # type: ignore[attr-defined]
            self.fields[name].choices = [("", "none"), *self.fields[name].choices]  # type: ignore[attr-defined]
        if isinstance(self.initial.get("legs"), list):
            self.initial = {**self.initial, "legs": "; ".join(map(str, self.initial["legs"]))}
        if not self.initial.get("photo"):
            del self.fields["drop_photo"]
        self.fields["tool"].choices = TOOL_WORDS  # type: ignore[attr-defined]
        self.order_fields(self.field_order)
        if only:
            self._narrow(KINDS[only])
            self.fields["kind"].initial = only

    def _narrow(self, kind: Kind) -> None:
        for name in {"start", "end", "point", "legs", "along", "base", "over", "side", "feature"} - set(kind.fields):
            del self.fields[name]
        for name, hint in {**ALONE, **kind.hints}.items():
            if name in self.fields:
                self.fields[name].help_text = hint
        self.fields["kind"].widget = forms.HiddenInput()

    def clean_legs(self) -> list[str]:
        found = [part.strip() for part in str(self.cleaned_data["legs"]).split(";") if part.strip()]
        for leg in found:
            try:
                parse_length(leg)
            except LengthError as error:
                raise forms.ValidationError(str(error)) from error
        if found and len(found) != 2:
            raise forms.ValidationError("Two lengths with a semicolon between them, for example 3' 0\"; 4' 0\".")
        return found

    def entry(self, before: Mapping[str, Any], build: Build) -> dict[str, Any]:
        return self.edited(before, build=build)

    def clean_photo_file(self) -> bytes | None:
        sent = self.cleaned_data["photo_file"]
        if sent is None:
            return None
        try:
            return read_photo(sent, sent.size)
        except PhotoError as error:
            raise forms.ValidationError(str(error)) from error

    def edited(self, before: Mapping[str, Any], *, build: Build | None = None) -> dict[str, Any]:
        after = super().edited(before)
        after["start"], after["end"] = (self.cleaned_data.get(name, "") for name in ("start", "end"))
        if self.cleaned_data.get("drop_photo"):
            after.pop("photo", None)
        if self.cleaned_data["photo_file"] and build is not None:
            after["photo"] = keep_photo(build.pk, self.cleaned_data["photo_file"])
        if self.cleaned_data.get("legs"):
            after["legs"] = self.cleaned_data["legs"]
        else:
            after.pop("legs", None)
        if after.get("kind") == "distance":
            del after["kind"]
        return after

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        data["kind"] = data.get("kind") or "distance"
        if data["kind"] not in ("clear width", "clear height"):
            for name in ("start", "end"):
                if not data.get(name) and name not in self.errors:
                    self.add_error(name, "This reading needs a point here, for example A.")
        if data["kind"] in ("offset", "running", "square") and not data.get("point"):
            self.add_error("point", f"A reading of kind {data['kind']} needs the point it goes to.")
        if data.get("start") and data.get("start") == data.get("end"):
            self.add_error("end", "A reading goes to another point than it starts from.")
        return data

    def summary(self) -> str:
        data = self.cleaned_data
        what = "" if data["kind"] == "distance" else f", {data['kind']}"
        where = f", {data['start']} to {data['end']}" if data.get("start") else f" of {data['feature']}"
        return f"Reading {data['id']}{what}{where}: {data['value']}"


class FastReadingsForm(forms.Form):
    """Many readings at once, one a line."""

    lines = forms.CharField(
        label="One reading a line: from, to, length",
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false", "autocapitalize": "characters"}),
        help_text=f"For example: {EXAMPLE}",
    )
    who = forms.CharField(label="Who read them", required=False, max_length=120)
    when = DayField(label="Day", required=False)

    def __init__(self, *args: Any, room: Room, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.points = points_of(room)
        self.numbers: list[int] = []
        """The line each reading stands on."""

    def clean_lines(self) -> list[dict[str, Any]]:
        found = read_lines(str(self.cleaned_data["lines"]), self.points)
        if found.wrong:
            raise forms.ValidationError(wrong_texts(found.wrong))
        self.numbers = [line.number for line in found.taken]
        return [line.reading for line in found.taken]


class ColumnForm(RoomPartForm):
    part = Column
    labels = {
        "id": "Name on the drawing", "shape": "Shape", "width": "Width", "depth": "Depth", "diameter": "Diameter",
        "parallel_to": "Width runs parallel to",
    }  # fmt: skip
    hints = {
        "id": "For example K1. Its corners are then K1.SW, K1.SE, K1.NE and K1.NW, ready for readings.",
        "width": "Rectangular columns only, casing included",
        "depth": "Rectangular columns only",
        "diameter": "Round columns only: girth ÷ 3.1416",
        "parallel_to": "Rectangular columns only; none: the datum wall",
    }

    @staticmethod
    def offered(room: Room) -> Mapping[str, Choices]:
        return {"parallel_to": pairs(walls_of(room))}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        needed = ["diameter"] if data.get("shape") == "round" else ["width", "depth"]
        for name in needed:
            if not data.get(name) and name not in self.errors:
                self.add_error(name, f'A {data.get("shape")} column needs this, for example 12 1/4".')
        for name in {"width", "depth", "diameter", "parallel_to"} - {*needed, "parallel_to"}:
            data[name] = ""
        if data.get("shape") == "round":
            data["parallel_to"] = ""
        return data

    def summary(self) -> str:
        return f"Column {self.cleaned_data['id']}"


class FeatureForm(RoomPartForm):
    part = WallFeature
    labels = {
        "id": "Name", "kind": "What it is", "wall": "On wall", "zero": "Measured from corner", "start": "Begins at",
        "end": "Ends at", "sill": "Sill, or height of a service, above the slab", "head": "Head above the slab",
        "clear_width": "Clear width", "thickness": "Thickness", "swing": "Opens", "hinge": "Hinged at", "note": "Note",
        "under_leaf": "Gap under the leaf",
    }  # fmt: skip
    hints = {
        "id": "Short, letters and dashes, for example fire-exit",
        "start": "Running dimension with the tape held at that corner, for example 40' 6\"",
        "end": "Leave empty for an outlet, a switch or another single point",
        "head": "Top of a door, window or low wall",
        "clear_width": "With the door open, between stop and leaf",
        "thickness": "Low walls only",
        "hinge": "The jamb at its start or end; none: the start",
        "under_leaf": 'Doors that open in: from the slab to the underside of the leaf, for example 1/2"',
    }

    @staticmethod
    def offered(room: Room) -> Mapping[str, Choices]:
        return {"wall": pairs(walls_of(room)), "zero": pairs(room.corners)}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer(
            "other_side", "The same opening from the next room",
            "Doors, windows and gaps. Both sides must then agree, and the rooms are drawn beside each other.",
            {f"{r.name}: {f.id}": (r.id, f.id) for r in self.others for f in r.features if f.kind in SHARED},
        )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        _running(self, data)
        if data.get("other_side") and data.get("kind") not in SHARED:
            self.add_error("other_side", f"Only these lead into another room: {', '.join(SHARED)}.")
        return data

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before)
        after.pop("other_side", None)
        if self.cleaned_data["other_side"]:
            room, feature = self.found[self.cleaned_data["other_side"]]
            after["other_side"] = {"room": room, "feature": feature}
        return after

    def summary(self) -> str:
        return f"{str(self.cleaned_data['kind']).capitalize()} {self.cleaned_data['id']} on {self.cleaned_data['wall']}"


class KeepClearForm(RoomPartForm):
    part = KeepClear
    labels = {
        "id": "Short name", "name": "What it is kept clear for", "wall": "Along wall", "zero": "Measured from corner",
        "start": "Begins at", "end": "Ends at", "depth": "Depth into the room",
    }  # fmt: skip
    hints = {
        "id": "Letters and dashes, for example landing",
        "name": "For example: fire-exit landing",
        "depth": "For example 4' 0\"",
    }
    offered = staticmethod(FeatureForm.offered)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        _running(self, data)
        return data

    def summary(self) -> str:
        return f"Strip kept clear: {self.cleaned_data['name']}"


def _running(form: forms.Form, data: dict[str, Any]) -> None:
    wall, zero = data.get("wall"), data.get("zero")
    if wall and zero and zero not in wall.split("-"):
        form.add_error("zero", f"Wall {wall} has the corners {' and '.join(wall.split('-'))}; hold the tape at one.")
    start, end = data.get("start"), data.get("end")
    if start and end and parse_length(end) <= parse_length(start):
        form.add_error("end", f"{end} is not beyond {start}. Measure both from the same corner, for example 43' 10\".")


class LevelForm(RoomPartForm):
    part = LevelChange
    labels = {"id": "Short name", "rise": "How much higher", "up_to": "Higher on the side of", "note": "Note"}
    hints = {
        "id": "Letters and dashes, for example step",
        "rise": 'For example 6 1/2"',
        "up_to": "A point on the higher side",
        "note": "For example: ramp of 4 ft; edge marked with tape",
    }
    edge = forms.CharField(
        label="Its edge runs through",
        max_length=200,
        help_text="Two or more points of the room with spaces, for example D M. Tape a mark where there is no corner.",
    )
    field_order = ["id", "edge", "rise", "up_to", "note"]

    def __init__(self, *args: Any, room: Room, **kwargs: Any) -> None:
        super().__init__(*args, room=room, **kwargs)
        self.points = points_of(room)
        if isinstance(self.initial.get("edge"), list):
            self.initial = {**self.initial, "edge": " ".join(self.initial["edge"])}
        self.order_fields(self.field_order)

    @staticmethod
    def offered(room: Room) -> Mapping[str, Choices]:
        return {"up_to": pairs(points_of(room))}

    def clean_edge(self) -> list[str]:
        names = {name.upper(): name for name in self.points}
        typed = str(self.cleaned_data["edge"]).replace(",", " ").split()
        missing = [name for name in typed if name.upper() not in names]
        if missing:
            raise forms.ValidationError(f"There is no point {missing[0]}. There are: {', '.join(self.points)}.")
        if len(set(typed)) < 2:
            raise forms.ValidationError("An edge runs through two points at least, for example D M.")
        return [names[name.upper()] for name in typed]

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        return super().edited(before) | {"edge": self.cleaned_data["edge"]}

    def summary(self) -> str:
        return f"Change of level {self.cleaned_data['id']}: {self.cleaned_data['rise']}"


class WallForm(RoomPartForm):
    part = Wall
    labels = {
        "id": "Wall", "construction": "Built of", "height": "Height above the slab",
        "straight": "Lay mat, frame and cover straight between its corners",
    }  # fmt: skip
    hints = {
        "construction": "It decides the anchors. Never fix panels to plaster alone.",
        "straight": "Otherwise they follow the wall as its straightness readings show it.",
    }

    @staticmethod
    def offered(room: Room) -> Mapping[str, Choices]:
        return {"id": pairs(walls_of(room))}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        before = self.initial.get("backs_on") or {}
        self.offer(
            "backs_on", "Backs on to", "The wall of the next room that is the other face of this one",
            {f"{r.name}: {wall}": (r.id, wall) for r in self.others for wall in walls_of(r)},
        )  # fmt: skip
        self.fields["thickness"] = LengthField(
            label="Thickness of the wall between", required=False, initial=before.get("thickness", ""),
            help_text="Face to face in the doorway, linings included, for example 4 7/8\"",
        )  # fmt: skip

    def summary(self) -> str:
        return f"Wall {self.cleaned_data['id']}: {self.cleaned_data['construction']}"

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("thickness") and not data.get("backs_on") and "backs_on" not in self.errors:
            self.add_error("backs_on", "Say which wall lies behind it, or leave its thickness empty.")
        return data

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before)
        after.pop("backs_on", None)
        if self.cleaned_data["backs_on"]:
            room, wall = self.found[self.cleaned_data["backs_on"]]
            thick = {"thickness": self.cleaned_data["thickness"]} if self.cleaned_data["thickness"] else {}
            after["backs_on"] = {"room": room, "wall": wall} | thick
        if not after["straight"]:
            del after["straight"]
        return after


class RoomForm(PartForm):
    """A room's name and corners."""

    part = Room
    labels = {"name": "Name of the room", "turning": "Corners are lettered", "height": "Height", "note": "Note"}
    hints = {"height": "Slab to deck, for example 9' 0\""}

    corners = forms.CharField(
        label="Corners in order",
        max_length=300,
        help_text="One letter each, with spaces, as you walk round the room. An L has six: A B C D E F",
    )
    marks = forms.CharField(
        label="Control marks on the floor",
        required=False,
        max_length=300,
        help_text="A chalked point tied to every corner is the cheapest check there is, for example M",
    )
    field_order = ["name", "corners", "turning", "marks", "height", "note"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields(self.field_order)

    def clean_corners(self) -> list[str]:
        corners = str(self.cleaned_data["corners"]).replace(",", " ").split()
        if len(corners) < 3:
            raise forms.ValidationError("A room has at least three corners, for example A B C D.")
        if len(set(corners)) != len(corners):
            raise forms.ValidationError("Each corner needs a letter of its own, for example A B C D.")
        return corners

    def clean_marks(self) -> list[str]:
        return str(self.cleaned_data["marks"]).replace(",", " ").split()

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before)
        after["corners"] = self.cleaned_data["corners"]
        if self.cleaned_data["marks"]:
            after["marks"] = self.cleaned_data["marks"]
        else:
            after.pop("marks", None)
        return after


class PlacedRoomForm(RoomForm):
    """A room that is there: how its drawing lies on the sheet as well."""

    base = forms.ChoiceField(
        label="Base line of the drawing",
        required=False,
        help_text="It lies along the foot of the sheet, measured from its first corner. Choose it so that the wall "
        "you stand at with the sheet in your hand is where you expect it.",
    )
    north = forms.FloatField(
        label="North on the drawing",
        required=False,
        min_value=-360,
        max_value=360,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        help_text="Degrees anticlockwise from up the sheet: 0 is up, 90 to the left. Empty: not known, none is drawn.",
        error_messages={"invalid": "Write degrees as a plain number, for example 30 or -12.5."},
    )
    field_order = ["name", "corners", "turning", "marks", "base", "north", "height", "note"]

    def __init__(self, *args: Any, room: Room, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["base"].unmarked = True  # type: ignore[attr-defined]
        ends = [pair for wall in walls_of(room) for pair in (wall.split("-"), wall.split("-")[::-1])]
        self.fields["base"].choices = [  # type: ignore[attr-defined]
            ("", "the usual one, from the first corner"),
            *((f"{a} {b}", f"{a}–{b}, measured from {a}") for a, b in ends),
        ]
        datum = self.initial.get("datum")
        if datum:
            self.initial = {**self.initial, "base": f"{datum['origin']} {datum['along']}"}
        self.order_fields(self.field_order)

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before)
        for name in ("datum", "north"):
            after.pop(name, None)
        if self.cleaned_data["base"]:
            origin, along = self.cleaned_data["base"].split()
            after["datum"] = {"origin": origin, "along": along}
        if self.cleaned_data["north"] is not None:
            after["north"] = self.cleaned_data["north"]
        return after


class ToolsForm(forms.Form):
    """What each tool is good for in this room, where that differs from the usual."""

    def __init__(self, data: Any, *, room: Room, units: UnitSystem) -> None:
        from buildout.rooms.engine.observations import sigma

        own = {tool.id: tool for tool in room.tools}
        initial = {
            f"{tool}_{name}": getattr(getattr(own.get(tool), name, None), "text", "")
            for tool in TOOLS for name in ("fixed", "added", "every")
        }  # fmt: skip
        super().__init__(data, initial=initial)
        far = Length.read("10 m" if units == "metric" else "30 ft")
        for tool in TOOLS:
            near, there = (2 * sigma(tool, float(mm)) for mm in (0, far.mm))
            usual = f"± {format_small(near, units)}, at {far.text} ± {format_small(there, units)}"
            word = dict(TOOL_WORDS)[tool]
            for name, label, hint in (
                ("fixed", f"A {word} reading is good to ±" if tool != "drawing" else "A length off a drawing, ±",
                 f"Usual: {usual}. Empty: the usual."),
                ("added", "and more by ±", "For example 1/16\""),
                ("every", "for every", "For example 30'"),
            ):  # fmt: skip
                self.fields[f"{tool}_{name}"] = LengthField(label=label, help_text=hint, required=False)

    def rows(self) -> list[tuple[str, list[forms.BoundField]]]:
        words = dict(TOOL_WORDS)
        return [(words[t], [self[f"{t}_{name}"] for name in ("fixed", "added", "every")]) for t in TOOLS]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for tool in TOOLS:
            fixed, added, every = (data.get(f"{tool}_{name}", "") for name in ("fixed", "added", "every"))
            if (added or every) and not fixed:
                self.add_error(f"{tool}_fixed", 'Say first what it is good to on a short length, for example 1/8".')
            if bool(added) != bool(every):
                name = "every" if added else "added"
                self.add_error(f"{tool}_{name}", "Give both: so much more, for every so much length.")
            for name, value in (("fixed", fixed), ("every", every)):
                if value and parse_length(value) <= 0:
                    self.add_error(f"{tool}_{name}", 'It must be more than nothing, for example 1/8".')
            if fixed and parse_length(fixed) > 300:
                self.add_error(f"{tool}_fixed", 'A tool worse than ± 1 ft measures nothing. For example 1/8".')
        return data

    def tools(self) -> list[dict[str, str]]:
        found = []
        for tool in TOOLS:
            said = {name: self.cleaned_data[f"{tool}_{name}"] for name in ("fixed", "added", "every")}
            if said["fixed"]:
                found.append({"id": tool} | {name: text for name, text in said.items() if text})
        return found


class NewRoomForm(RoomForm):
    """A room with its first readings."""

    readings = forms.CharField(
        label="What the tape read",
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false", "autocapitalize": "characters"}),
        help_text=f"One reading a line: from, to, length. Every wall, then the diagonals. For example: {EXAMPLE}",
    )
    field_order = ["name", "corners", "turning", "marks", "readings", "height", "note"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if "corners" in data and "readings" in data:
            room = Room(id="new", name="", corners=data["corners"], marks=data.get("marks", []))
            lines = FastReadingsForm({"lines": data["readings"]}, room=room)
            if lines.is_valid():
                data["lines"] = lines.cleaned_data["lines"]
                self.numbers = lines.numbers
            else:
                self.add_error("readings", lines.errors["lines"])
        return data


class MoveWallForm(forms.Form):
    """How far a wall goes, and which way."""

    wall = forms.ChoiceField(label="Wall")
    distance = LengthField(label="How far", help_text='For example 3" or 75 mm')
    way = forms.ChoiceField(
        label="Which way", choices=[("out", "outwards: the room grows"), ("in", "inwards: the room shrinks")]
    )

    def __init__(self, *args: Any, room: Room, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["wall"].choices = pairs(walls_of(room))  # type: ignore[attr-defined]

    def clean_distance(self) -> str:
        text = str(self.cleaned_data["distance"])
        if parse_length(text) <= 0:
            raise forms.ValidationError('Moving by nothing changes nothing. Write a distance, for example 3".')
        return text

    @property
    def outward(self) -> Decimal:
        """mm, negative into the room."""
        mm = parse_length(self.cleaned_data["distance"])
        return mm if self.cleaned_data["way"] == "out" else -mm
