from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, get_args

from django import forms
from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe
from msgspec.structs import replace

from buildout.builds.web.editing import AmountField, Choices, DayField, LengthField, PartForm, example
from buildout.rooms.engine.types import Room
from buildout.units.lengths import Length
from buildout.units.words import counted
from estimating.engine.heads import HEADS
from estimating.engine.sides_drawing import edge_words
from estimating.engine.types import (
    CoverSpec,
    Fitout,
    FloorSystem,
    FoamLayer,
    FoldAwaySystem,
    HeadPlan,
    MatSide,
    MoneyPlan,
    Need,
    Pin,
    Product,
    Remnant,
    RouteStep,
    SideEdge,
    Store,
    WallSystem,
    Zone,
)

HEAD_CHOICES = [(number, f"{number} {name}") for number, name in HEADS.items()]

# ------------------------------------------------------------------ systems


def product_choices(products: list[Product], *forms_wanted: str) -> Choices:
    return [(p.id, p.name) for p in products if not forms_wanted or p.form in forms_wanted]


class FitoutForm(PartForm):
    """Which systems a room gets."""

    part = Fitout
    labels = {
        "floor": "Floor", "fold_away": "Fold-away mats", "walls": "Wall panels",
        "column_wraps": "Wrap the columns", "mat_area": "Area the fold-away mats should cover, m²",
    }  # fmt: skip
    hints = {"mat_area": "Empty: as much as fits"}

    panelled = forms.MultipleChoiceField(
        label="Walls that get panels", required=False, widget=forms.CheckboxSelectMultiple,
        help_text="None ticked: all of them, when a panel system is chosen",
    )  # fmt: skip
    removable = forms.MultipleChoiceField(
        label="Openings with free-standing panels in front", required=False, widget=forms.CheckboxSelectMultiple,
        help_text="Never in front of an exit: people must be able to leave without moving anything",
    )  # fmt: skip
    field_order = ["floor", "fold_away", "walls", "panelled", "removable", "column_wraps"]

    def __init__(self, *args: Any, room: Room, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        walls = [f"{a}-{b}" for a, b in zip(room.corners, room.corners[1:] + room.corners[:1], strict=True)]
        self.fields["panelled"].choices = [(wall, wall) for wall in walls]  # type: ignore[attr-defined]
        openings = [f for f in room.features if f.kind in ("door", "roller door", "window", "gap")]
        self.fields["removable"].choices = [(f.id, f"{f.kind} {f.id}") for f in openings]  # type: ignore[attr-defined]
        self.order_fields(self.field_order)

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before)
        for name in ("panelled", "removable"):
            if self.cleaned_data[name]:
                after[name] = self.cleaned_data[name]
            else:
                after.pop(name, None)
        return after


class SidesForm(forms.Form):
    """What stands at every side of a room's mat; a side left as usual is what its floor system says."""

    def __init__(self, *args: Any, sides: Sequence[MatSide], usual: Mapping[str, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.names = {side.id: f"side-{number}" for number, side in enumerate(sides, 1)}
        for side in sides:
            words = {edge: edge_words(replace(side, edge=edge)) for edge in get_args(SideEdge)}
            field = forms.ChoiceField(
                label=side.id, required=False, choices=[("", f"usual: {words[usual[side.id]]}"), *words.items()]
            )
            field.unmarked = True  # type: ignore[attr-defined]
            self.fields[self.names[side.id]] = field

    def choices(self) -> list[dict[str, str]]:
        """The sides that something was said of, as the plan keeps them."""
        return [
            {"side": side, "edge": self.cleaned_data[name]}
            for side, name in self.names.items()
            if self.cleaned_data.get(name)
        ]


class StoreForm(PartForm):
    """Where fold-away mats are kept; left empty, nothing is said of it."""

    part = Store
    labels = {"kind": "Kept", "length": "Length", "width": "Width", "height": "Height"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = [("", "no store stated"), *self.fields["kind"].choices]  # type: ignore[attr-defined]
        for field in self.fields.values():
            field.required = False
            field.unmarked = True  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for name in ("length", "width", "height") if data.get("kind") else ():
            if not data.get(name) and name not in self.errors:
                self.add_error(name, "Measure the store, for example 6' 6\".")
        return data


class ZoneForm(PartForm):
    """A rectangle that welds are kept out of. A row without an extent is left out."""

    part = Zone
    labels = {"x": "Along the datum wall, from its corner", "y": "Across from the datum wall", "length": "Long",
              "width": "Wide", "why": "Why"}  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.required = False
            field.unmarked = True  # type: ignore[attr-defined]

    @property
    def empty(self) -> bool:
        return not any(self.cleaned_data.get(name) for name in ("x", "y", "length", "width"))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if any(data.get(name) for name in ("x", "y", "length", "width")):
            for name in ("x", "y", "length", "width"):
                if not data.get(name) and name not in self.errors:
                    self.add_error(name, "A zone needs this, for example 8' 0\" or 0 in.")
        return data


class FloorSystemForm(PartForm):
    part = FloorSystem
    labels = {
        "name": "Name", "joint_offset": "Joints of one layer away from joints below by", "smallest_width":
        "Smallest width of a piece", "smallest_area": "Smallest piece, m²", "frame": "Frame timber",
        "frame_width": "Width of the frame", "frame_gap": "Gap from wall to frame", "framed": "Frame lies",
        "ramp": "Ramp where people walk on", "ramp_run": "Run of the ramp",
        "barrier": "Moisture barrier", "tape": "Joint tape", "hook_tape": "Hook tape",
        "staples": "Staples of the hook tape",
    }  # fmt: skip
    hints = {
        "joint_offset": 'Common practice is 6" and more, 12" where it can be had',
        "smallest_width": 'A strip narrower than 6" works loose',
        "smallest_area": "1 sq ft is 0.093",
        "frame_gap": 'Usually 1/4" to 1/2", so that the band can be reached',
        "framed": "Only at edges that are walked on: foam then runs up to the walls",
        "ramp": "What stands at a single side of a room's mat is chosen with the room's drawings",
        "ramp_run": "On an accessible route ask the authority; a shallow ramp needs twelve times the height",
    }
    groups = (
        ("Rules of the pieces", ("joint_offset", "smallest_width", "smallest_area")),
        ("Edges", ("frame", "frame_width", "frame_gap", "framed", "ramp", "ramp_run")),
        ("Under and over", ("barrier", "tape", "hook_tape", "staples")),
    )  # fmt: skip

    def fits_goods(self, entry: Mapping[str, Any], products: Sequence[Product]) -> bool:
        """Whether whole goods of every layer are as wide as the smallest piece; says so beside that width."""
        known = {product.id: product for product in products}
        smallest = Length.read(entry["smallest_width"])
        for layer in entry["layers"]:
            product = known[layer["product"]]
            sizes = [product, *(known[name] for name in product.also_sold if name in known)]
            widths = [min(s.mm for s in (one.width, one.length) if s) for one in sizes if one.width or one.length]
            if widths and max(widths) < smallest.mm:
                self.add_error(
                    "smallest_width", f"{product.name} comes narrower than {smallest.text}, so not one piece of it "
                    'could be laid. Choose a smaller width, usually 6", or wider goods.'
                )  # fmt: skip
                return False
        return True


class LayerForm(PartForm):
    part = FoamLayer
    labels = {
        "product": "Goods", "role": "Layer", "direction": "Long side runs along", "stagger": "End joints shifted by",
        "taped": "Joints taped", "adhesive": "Glued down with",
    }  # fmt: skip
    hints = {"stagger": "Share of a sheet's length, for example 0.5"}

    def __init__(self, *args: Any, spare: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["direction"].choices = [  # type: ignore[attr-defined]
            ("auto", "chosen for you: base along the room, top across it"),
            ("x", "the datum wall"),
            ("y", "across the datum wall"),
        ]
        self.fields["product"].required = False
        self.fields["product"].unmarked = True  # type: ignore[attr-defined]
        if spare:
            self.fields["product"].label = "Goods of one more layer"


class CoverForm(PartForm):
    part = CoverSpec
    labels = {
        "product": "Cover", "goods_width": "Goods width", "weld_lap": "Lap of a weld",
        "band_width": "Width of the band",
        "mass_per_area": "Mass per area with bands, kg/m²", "hem": "Hem turned in beyond the finished edge",
        "overhang": "Finished edge outside the frame by",
    }  # fmt: skip
    other_widths = forms.CharField(
        label="Other widths the goods come in", required=False, max_length=200,
        help_text='With semicolons between, for example 54"; 72". The cover is laid out from whichever needs the least',
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if isinstance(self.initial.get("other_widths"), list):
            self.initial = {**self.initial, "other_widths": "; ".join(self.initial["other_widths"])}
        self.order_fields([*self.labels, "other_widths"])
        for field in self.fields.values():
            field.required = False

    def clean_other_widths(self) -> list[str]:
        found = [part.strip() for part in str(self.cleaned_data["other_widths"]).split(";") if part.strip()]
        return [LengthField().clean(part) for part in found]

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before)
        after.pop("other_widths", None)
        return after | (
            {"other_widths": self.cleaned_data["other_widths"]} if self.cleaned_data["other_widths"] else {}
        )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("product"):
            for name, example in (("goods_width", '61"'), ("weld_lap", '1 1/4"'), ("band_width", '4"')):
                if not data.get(name) and name not in self.errors:
                    self.add_error(name, f"A cover needs this, for example {example}.")
            if data.get("mass_per_area") is None and "mass_per_area" not in self.errors:
                self.add_error("mass_per_area", "A cover needs this to know its weight, for example 1.63.")
            self._too_narrow(data)
        return data

    def _too_narrow(self, data: Mapping[str, Any]) -> None:
        """Say it of goods that are narrower than the band sewn to them."""
        band = data.get("band_width")
        widths = [
            ("goods_width", data.get("goods_width")),
            *(("other_widths", w) for w in data.get("other_widths", [])),
        ]
        for name, width in widths:
            if band and width and name not in self.errors and Length.read(width).mm < Length.read(band).mm:
                self.add_error(
                    name, f"Goods of {width} are narrower than the loop band of {band}. Check both widths and their "
                    "units; goods are usually 54\" to 72\", the band 4\"."
                )  # fmt: skip


class FoldAwayForm(PartForm):
    part = FoldAwaySystem
    labels = {"name": "Name", "product": "Mat", "mat_length": "Length of a mat", "mat_width": "Width of a mat",
              "sections": "Parts a mat folds into", "under_lap": "Under-lap where mats meet"}  # fmt: skip
    hints = {"under_lap": "Width of the hook-and-loop flap; empty: mats only butt"}


class WallSystemForm(PartForm):
    part = WallSystem
    labels = {
        "name": "Name", "module": "Panel width", "height": "Panel height", "low_height": "Height along a low wall",
        "thickness": "Thickness of a panel, cleat apart", "bottom": "Bottom above the slab",
        "narrowest_end": "Narrowest end panel", "reveal": "Kept clear of a door casing", "board": "Back board",
        "foam": "Foam", "face": "Face",
        "foam_edge": "Foam larger than the board by", "turn_back_side": "Turn-back at the sides",
        "turn_back_end": "Turn-back at top and bottom", "cleat": "Cleat", "anchor": "Anchors",
        "anchor_spacing": "Anchors every", "cap": "Cap of a low wall", "adhesive": "Adhesive",
        "start": "Whole panels begin at", "cleat_drop": "Cleat below a panel's top",
        "spacer_rise": "Spacer above a panel's bottom",
        "staples": "Staples",
    }  # fmt: skip
    hints = {
        "bottom": "Finished mat and 1/4 in to 1/2 in",
        "narrowest_end": 'Two panels are made wider before one gets narrower than this; 12" is usual',
        "anchor_spacing": "Capacity comes from the anchor maker's sheet and from someone who knows the wall",
    }
    groups = (
        ("Panels", ("module", "height", "low_height", "thickness", "bottom", "narrowest_end", "reveal", "start")),
        ("What they are made of", ("board", "foam", "face", "foam_edge", "turn_back_side", "turn_back_end", "adhesive",
                                   "staples", "cap")),
        ("How they hang", ("cleat", "cleat_drop", "spacer_rise", "anchor", "anchor_spacing")),
    )  # fmt: skip

    def fits_goods(self, entry: Mapping[str, Any], products: Sequence[Product]) -> bool:
        """Whether a whole panel can be cut from its goods; says so beside the size that is too large."""
        from buildout.units.value import from_plain
        from estimating.engine.walls import longest_board, too_large

        system, known = from_plain(WallSystem, dict(entry)), {product.id: product for product in products}
        found = too_large(system, known)
        for reason in found:
            sides = {"module": float(system.module), "height": float(system.height)}
            over = [name for name, side in sides.items() if side > longest_board(system, known)]
            for name in (over if reason.code == "walls-board" else []) or ["module"]:
                self.add_error(name, f"{reason.text} {reason.todo}")
        return not found


class ProductForm(PartForm):
    part = Product
    labels = {
        "name": "Name", "form": "Form", "unit": "Counted by", "head": "Budget head", "length": "Length",
        "width": "Width (rolls: goods width)", "thickness": "Thickness", "kerf": "Kerf of the cut", "trim": "Trim cut",
        "turns": "Pieces may be turned by 90°", "density": "Density, kg/m³", "mass_per_area": "Mass per area, kg/m²",
        "per_pack": "Pieces in a pack", "spread": "Area one unit covers, m²",
        "stress_at_25_percent": "Stress at 25 % compression, kPa",
        "stress_at_50_percent": "Stress at 50 % compression, kPa", "cushion_factor": "Cushion factor",
        "compression_set": "Compression set, %",
        "fire_document": "Fire document", "emission_document": "Emission document", "shade_lots": "Dyed lot by lot",
        "cuts": "Sheets are cut by", "reckoned_price": "Reckoned price of one unit",
        "lead_group": "Arrives with", "acclimatise_days": "Days it lies in the room before use", "note": "Note",
    }  # fmt: skip
    hints = {
        "turns": "Not for grain, nap or an embossed face",
        "density": "1 lb/cu ft is 16.02",
        "mass_per_area": "1 lb/sq ft is 4.88, 1 oz/sq yd is 0.0339",
        "spread": "100 sq ft is 9.29",
        "stress_at_25_percent": "From the maker's data sheet, where 1 psi is 6.895; leave empty when it is missing",
        "stress_at_50_percent": "Only where the data sheet states it: a second point of the foam's curve",
        "cushion_factor": "From the maker's cushion curve, its lowest point, usually 2.5 to 4; empty says not known",
        "compression_set": "Thickness that stays pressed in, from the data sheet; empty says missing",
        "emission_document": "Paper on what it gives off to the air; empty says missing",
        "shade_lots": "Left-overs of another lot are then kept for repairs and not mixed in",
        "reckoned_price": "Only what cut plans weigh several sizes of the same goods by",
        "fire_document": "Number and date of the report, shown to the authority before buying",
    }

    groups = (
        ("Size and cutting", ("length", "width", "thickness", "kerf", "trim", "cuts", "turns")),
        ("Data sheet", ("density", "mass_per_area", "stress_at_25_percent", "stress_at_50_percent",
                        "compression_set", "cushion_factor", "fire_document", "emission_document", "shade_lots")),
        ("Buying and arriving", ("unit", "per_pack", "spread", "head", "reckoned_price", "lead_group",
                                 "acclimatise_days", "also_sold")),
    )  # fmt: skip

    also_sold = forms.MultipleChoiceField(
        label="The same goods in other sizes", required=False, widget=forms.CheckboxSelectMultiple,
        help_text="Cut plans draw on those too; rolls are taken in the width that costs least",
    )  # fmt: skip

    def __init__(self, *args: Any, others: Choices = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["also_sold"].choices = others  # type: ignore[attr-defined]
        self.fields["head"] = forms.TypedChoiceField(label=self.labels["head"], coerce=int, choices=HEAD_CHOICES)
        self.order_fields([*self.labels, "also_sold"])

    COUNTED_ONLY = {
        "sheet": {"sheet"}, "roll": {"roll"}, "length": {"length"}, "gallon": {"volume"}, "litre": {"volume"},
        "running yard": {"roll"}, "running foot": {"roll", "length"}, "board foot": {"sheet", "length"},
    }  # fmt: skip
    """Units that only goods of some forms are counted by."""

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        form, unit = data.get("form", ""), data.get("unit", "")
        if form == "volume" and unit not in ("gallon", "litre", ""):
            self.add_error("unit", "What is sold by volume is counted by the gallon or the litre.")
        elif form and form not in self.COUNTED_ONLY.get(unit, {form}):
            self.add_error(
                "unit", f"Goods of the form “{form}” are not counted by the {unit}; choose each or their own."
            )
        for name in ("density", "mass_per_area", "stress_at_25_percent", "stress_at_50_percent", "cushion_factor"):
            if data.get(name) == 0:
                self.add_error(name, "Nothing cannot be right. Leave it empty where the data sheet does not say it.")
        if (data.get("compression_set") or 0) > 100:
            self.add_error("compression_set", "A share of the thickness is 100 % at most, for example 10.")
        low, high = data.get("stress_at_25_percent"), data.get("stress_at_50_percent")
        if low and high and high <= low:
            text = f"Foam pressed in by half pushes back harder than by a quarter, so this is more than {low:f}."
            self.add_error("stress_at_50_percent", text)
        sides = [(name, Length.read(data[name]).mm) for name in ("width", "length") if data.get(name)]
        least = min((mm for _, mm in sides), default=None)
        trim, kerf = (Length.read(data[name]).mm if data.get(name) else 0 for name in ("trim", "kerf"))
        if least is not None and least > 0 and form in ("sheet", "roll", "length"):
            if 2 * trim >= least:
                self.add_error("trim", 'Trimmed at both edges nothing would be left; it is often 1/4" an edge.')
            if kerf >= least:
                self.add_error("kerf", 'The cut would be as wide as the goods; a saw takes about 1/8".')
        return data

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before)
        after.pop("also_sold", None)
        return after | ({"also_sold": self.cleaned_data["also_sold"]} if self.cleaned_data["also_sold"] else {})


class PinForm(PartForm):
    """Something the owner wants kept in a layout; what a pin needs besides hangs on its kind."""

    part = Pin
    labels = {
        "layer": "Where", "kind": "What is pinned", "direction": "Runs", "x": "Along the datum wall, from its corner",
        "y": "Across from the datum wall", "wall": "Wall, edge or column", "module": "Panel width or length",
        "product": "Goods", "why": "Why",
    }  # fmt: skip
    hints = {
        "direction": "Courses, course lines, sheets and strips; a mat's long side",
        "x": "Course lines across, the corner of a sheet, strip or mat; a joint, panel or cap from the wall's first "
        "corner; a timber from where its run begins; a part of a wrap from its first seam: 8' 4 1/2\"",
        "y": "Course lines along, and the corner nearest the datum of a sheet, strip or mat",
        "wall": "Panels, caps, ends: the wall; welds: the wall they run along; frame and ramp: the mat's edge; wraps: "
        "the column",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["direction"].choices = [  # type: ignore[attr-defined]
            ("", "does not matter here"), ("x", "along the datum wall"), ("y", "across the datum wall"),
        ]  # fmt: skip
        self.fields["kind"].choices = [  # type: ignore[attr-defined]
            ("direction", "a direction"), ("line", "a line"), ("piece", "a sheet, strip, mat, panel or timber"),
            ("module", "a panel width"), ("product", "the goods"),
        ]  # fmt: skip

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        layer, kind = data.get("layer", ""), data.get("kind", "")
        on_wall, way = layer == "walls", data.get("direction", "")
        asked: list[tuple[str, str]] = []
        if layer in self.ON_RUNS:
            asked = self._on_a_run(layer, kind)
        elif on_wall:
            asked.append(("wall", "Choose the wall it is pinned on."))
            if kind == "module":
                asked.append(("module", 'State the panel width, for example 40".'))
            elif kind == "line":
                asked.append(("x", "State how far from the wall's first corner, for example 12' 0\"."))
            elif kind == "piece":
                asked.append(("x", "State how far the panel begins from the wall's first corner, for example 12' 0\"."))
                asked.append(("module", 'State how wide this panel is, for example 48".'))
            if kind not in ("module", "line", "piece", ""):
                self.add_error(
                    "kind", "On a wall a panel width or a line (a joint between panels) can be pinned, or one panel."
                )
        elif layer == "fold-away":
            if kind not in ("piece", ""):
                self.add_error("kind", "Of fold-away mats a single mat can be pinned.")
            asked += [
                ("x", "State how far along the datum wall its corner lies, for example 8' 0\"."),
                ("y", "State how far across from the datum wall its corner lies, for example 4' 0\"."),
            ]
        elif layer == "cover":
            if kind == "product":
                asked.append(("product", "Choose the goods the cover is to be of."))
            elif kind not in ("direction", "line", ""):
                self.add_error(
                    "kind", "On a cover the direction of its welds, one weld line or the goods can be pinned."
                )
            elif not way and not data.get("wall"):
                self.add_error("direction", "State which way the welds run, or the wall they run along.")
            elif kind == "line" and not data.get("x") and not data.get("y"):
                self.add_error("y", "State where the weld lies, for example 12' 0\" across from the datum wall.")
        elif kind == "product":
            asked.append(("product", "Choose the goods this layer is to be of."))
        elif kind in ("direction", "line", "piece"):
            asked.append(("direction", "State which way the courses run."))
            if kind == "piece" or (kind == "line" and way == "y"):
                asked.append(("x", "State how far along the datum wall, for example 8' 0\"."))
            if kind == "piece" or (kind == "line" and way == "x"):
                asked.append(("y", "State how far across from the datum wall, for example 4' 0\"."))
        elif kind == "module":
            self.add_error("kind", "A panel width is pinned on a wall; on foam a direction, a line or a whole sheet.")
        for name, text in asked:
            if not data.get(name) and name not in self.errors:
                self.add_error(name, text)
        return data

    ON_RUNS = {
        "frame": ("timber", "edge of the mat", "where its run begins"),
        "ramp": ("timber", "edge of the mat", "where its run begins"),
        "caps": ("section of the cap", "wall", "the wall's first corner"),
        "ends": ("end panel", "wall", "the wall's first corner"),
        "wraps": ("part of the jacket", "column", "its first seam"),
    }  # fmt: skip
    """What a piece of it is called, what it lies on, and what distances are measured from."""

    def _on_a_run(self, layer: str, kind: str) -> list[tuple[str, str]]:
        thing, on, start = self.ON_RUNS[layer]
        kinds = {"ends": ("piece",), "wraps": ("piece", "line")}.get(layer, ("piece", "line", "product"))
        if kind and kind not in kinds:
            words = {"piece": f"one {thing}", "line": "a line (a joint)", "product": "the goods"}
            self.add_error("kind", f"Here {' or '.join(words[k] for k in kinds)} can be pinned.")
            return []
        if kind == "product":
            return [("product", "Choose the goods it is to be of.")]
        asked = [
            ("wall", f"Choose the {on} it lies on."),
            ("x", f"State how far it lies from {start}, for example 4' 0\"."),
        ]  # fmt: skip
        return asked + ([("module", f"State how long this {thing} is, for example 6' 0\".")] if kind == "piece" else [])


class RouteStepForm(PartForm):
    """One narrow place between the kerb and the room. A row without name and width is left out."""

    part = RouteStep
    labels = {
        "name": "Place", "kind": "Kind", "width": "Clear width", "height": "Clear height", "into": "Width after a turn",
    }  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("name", "width"):
            self.fields[name].required = False
            self.fields[name].unmarked = True  # type: ignore[attr-defined]
        self.fields["kind"].choices = [  # type: ignore[attr-defined]
            ("opening", "opening: a door, a gate"), ("turn", "right-angle turn between two passages"),
        ]  # fmt: skip

    @property
    def empty(self) -> bool:
        return not (self.cleaned_data.get("name") or self.cleaned_data.get("width"))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("name") or data.get("width"):
            if not data.get("name"):
                self.add_error("name", "Name the place, for example Front door.")
            if not data.get("width") and "width" not in self.errors:
                self.add_error("width", 'Measure the clear width, for example 36".')
            if data.get("kind") == "turn" and not data.get("into") and "into" not in self.errors:
                self.add_error("into", "A turn needs the width of the passage after it too, for example 4' 0\".")
        return data


class RemnantForm(PartForm):
    part = Remnant
    labels = {"product": "Goods", "length": "Length", "width": "Width", "lot": "Shade lot", "note": "Where it lies"}
    long = ()
    hints = {"width": "For sheets; timber and roll goods keep their own width"}

    def __init__(self, *args: Any, products: Mapping[str, Product], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.products = products

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        product = self.products.get(data.get("product", ""))
        if product is not None and product.form == "sheet" and not data.get("width") and "width" not in self.errors:
            self.add_error("width", 'A left-over of a sheet has a width too, for example 24".')
        return data


class NeedForm(PartForm):
    part = Need
    labels = {"product": "What", "quantity": "How much", "unit": "Counted by", "why": "Worked out from"}
    hints = {"why": "So that it can be checked later, for example: 24 hooks, two heights, every 10 in"}


class QuantitiesForm(forms.Form):
    """Quantities the task list works with, as the owner states them."""

    def __init__(self, *args: Any, stated: Mapping[str, Any], drawn: Mapping[str, float], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.names = sorted({*stated, *drawn} - {"1"})  # 1 stands for "once", whatever the size
        for name in self.names:
            given = f"The drawings give {drawn[name]:,.10g}." if name in drawn and name not in stated else ""
            self.fields[name] = AmountField(
                label=name.replace(".", ", ").replace("_", " ").capitalize(),
                required=False,
                help_text=given,
                initial=stated.get(name),
            )
            self.fields[name].unmarked = True  # type: ignore[attr-defined]

    @property
    def stated(self) -> dict[str, str]:
        return {name: f"{self.cleaned_data[name]:f}" for name in self.names if self.cleaned_data[name] is not None}


# ------------------------------------------------------------------ award


GROUPS = {
    "foam": "foam", "cover": "cover", "timber": "timber", "panel": "panel goods", "fit-out": "fit-out goods",
    "other": "other goods",
}  # fmt: skip
"""Kinds of goods as people say them."""


class AwardRulesForm(forms.Form):
    """What the owner decides against or beside the cheapest choice."""

    most_suppliers = forms.IntegerField(
        label="At most this many suppliers", required=False, min_value=1, max_value=99,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}), help_text="Empty: no limit",
    )  # fmt: skip
    day_late = AmountField(
        label="What a day of waiting for goods costs", required=False,
        help_text="With the days below: quotes that may come late count as dearer; empty or 0: lateness is not weighed",
    )  # fmt: skip
    exclude = forms.MultipleChoiceField(label="Quotes left out", required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(
        self,
        *args: Any,
        quotes: Choices,
        offers: Mapping[str, tuple[str, Choices]],
        items: Choices,
        together: Sequence[Sequence[str]] = (),
        groups: Sequence[str] = (),
        need_by: Mapping[str, date] | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.needed = {f"need-{group}": group for group in groups}
        for name, group in self.needed.items():
            self.fields[name] = DayField(
                label=f"First {GROUPS[group]} needed on", required=False, initial=(need_by or {}).get(group)
            )
        self.sets = [f"together-{number}" for number in range(len(together) + 1)]
        for name, there in zip(self.sets, [*together, ()], strict=True):
            self.fields[name] = forms.MultipleChoiceField(
                label="Must come from one supplier together" if not there else "Come from one supplier together",
                help_text="For goods that must be of one shade lot; tick two or more",
                required=False, choices=list(items), initial=list(there), widget=forms.CheckboxSelectMultiple,
            )  # fmt: skip
        self.fields["exclude"].choices = list(quotes)  # type: ignore[attr-defined]
        self.forced = {f"force-{number}": item for number, item in enumerate(offers)}
        for name, item in self.forced.items():
            title, choices = offers[item]
            self.fields[name] = forms.ChoiceField(
                label=title, required=False, choices=[("", "whoever is cheapest over all"), *choices]
            )

    @property
    def force(self) -> dict[str, str]:
        return {item: self.cleaned_data[name] for name, item in self.forced.items() if self.cleaned_data[name]}

    @property
    def need_by(self) -> dict[str, str]:
        found = {group: self.cleaned_data[name] for name, group in self.needed.items()}
        return {group: day.isoformat() for group, day in found.items() if day}

    @property
    def together(self) -> list[list[str]]:
        return [self.cleaned_data[name] for name in self.sets if self.cleaned_data[name]]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        there: set[str] = set()
        for name in self.sets:
            ticked = data.get(name, [])
            if len(ticked) == 1:
                self.add_error(name, "One item alone cannot be split: tick two or more, or none.")
            if there & set(ticked):
                self.add_error(name, "An item can stand in one set only; untick it in the other.")
            there |= set(ticked)
        return data


# ------------------------------------------------------------------ orders


class ConfirmForm(forms.Form):
    promised = DayField(label="Day they promise the goods")


class ReceiveForm(forms.Form):
    received = DayField(label="Day the goods came")


class ExpectForm(forms.Form):
    """How the goods of an order are to come in."""

    window = forms.CharField(
        label="When on the day",
        required=False,
        max_length=120,
        help_text="As the carrier says, for example 10:00 to 12:00",
    )
    receiver = forms.CharField(
        label="Who takes them in", required=False, max_length=120, help_text="Two people are safer"
    )
    room = forms.ChoiceField(label="Into which room", required=False)
    put = forms.CharField(
        label="Where in it", required=False, max_length=200,
        help_text="Flat, dry, off the concrete, away from heat, exits and sprinklers",
    )  # fmt: skip
    length = LengthField(label="That place is long", required=False, max_length=40)
    width = LengthField(label="That place is wide", required=False, max_length=40)
    height = LengthField(label="Stacked at most", required=False, max_length=40)

    def __init__(self, *args: Any, rooms: Choices, units: str = "feet-inches", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.units, high = units, example(units, "6' 0\"", "1.8 m")
        self.fields["height"].help_text = f"From the floor up, for example {high}; well below sprinklers"
        self.fields["room"].choices = [("", "not said yet"), *rooms]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        sides = {name: data.pop(name, "") for name in ("length", "width", "height")}
        if any(sides.values()):
            for name in (name for name, text in sides.items() if not text and name not in self.errors):
                side = example(self.units, "8' 0\"", "2.4 m")
                self.add_error(name, f"Measure this too, for example {side}, or leave all three empty.")
        data["space"] = sides if all(sides.values()) else {}
        return data


class PhotoForm(forms.Form):
    photo = forms.FileField(
        label="Photo", widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        error_messages={"required": "Choose a photo first."},
    )  # fmt: skip
    shows = forms.CharField(label="What it shows", required=False, max_length=200)


class ClaimForm(forms.Form):
    text = forms.CharField(label="What is wrong and asked for", max_length=500)
    asked = AmountField(label="Money asked for", required=False, help_text="Empty when they are to send goods")


class ClaimAnswerForm(forms.Form):
    answer = forms.CharField(label="What they said", max_length=500, required=False)


class DeliveryForm(forms.Form):
    came = DayField(label="Day it came")
    taken_by = forms.CharField(
        label="Taken in by", required=False, max_length=120, help_text="Two people, the packing list and a camera"
    )
    put = forms.CharField(
        label="Put where", required=False, max_length=200,
        help_text="Flat, dry, off the concrete, away from heat, exits and sprinklers",
    )  # fmt: skip
    slip = forms.CharField(
        label="Noted on the delivery slip", required=False, max_length=300,
        help_text="What is missing or damaged, written down before signing",
    )  # fmt: skip
    promised = DayField(
        label="Day they promise the rest", required=False, help_text="Only when something is still to come"
    )


class DeliveryLineForm(forms.Form):
    """What was found of one order line. Nothing is filled in beforehand: who counts types or ticks what was found."""

    whole = forms.BooleanField(required=False)
    accepted = AmountField(label="Counted and in order", required=False)
    damaged = AmountField(label="Damaged, set aside", required=False)
    lots = forms.CharField(
        label="Batch or shade lot", required=False, max_length=200, help_text="As on the labels; several with commas"
    )
    width = LengthField(label="Measured width", required=False, max_length=40)
    thickness = forms.CharField(label="Thickness, five places", required=False, max_length=200)
    note = forms.CharField(label="Note", required=False, max_length=300)

    def __init__(
        self, *args: Any, line: Any, product: Product | None, units: str = "feet-inches", **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.line, self.product = line, product
        places = example(units, '2"; 1 15/16"; 2"', "51 mm; 49 mm; 51 mm")
        self.fields["thickness"].help_text = f"With semicolons between them, for example {places}"
        due = line.standing.outstanding
        if due > 0:
            self.fields["whole"].label = f"All {counted(due, line.unit)} due have come, in order"
        else:
            del self.fields["whole"]
        if product is None or product.width is None:
            del self.fields["width"]
        if product is None or product.thickness is None:
            del self.fields["thickness"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.pop("whole", False):
            due = self.line.standing.outstanding
            if data.get("damaged"):
                self.add_error("damaged", "All that is due is ticked as in order. Take the tick away, or this number.")
            if data.get("accepted") not in (None, due):
                self.add_error("accepted", f"All that is due, {due:f}, is ticked. Take the tick away, or this number.")
            data["accepted"] = due
        return data

    def clean_lots(self) -> list[str]:
        return sorted({lot.strip() for lot in str(self.cleaned_data["lots"]).split(",") if lot.strip()})

    def clean_thickness(self) -> list[str]:
        field = LengthField(required=True)
        return [field.clean(part) for part in str(self.cleaned_data["thickness"]).split(";") if part.strip()]

    def booked(self) -> dict[str, Any]:
        data, line = self.cleaned_data, self.line
        return {
            "item": line.item, "name": line.name, "unit": line.unit,
            "accepted": f"{data['accepted'] or Decimal(0):f}", "damaged": f"{data['damaged'] or Decimal(0):f}",
            "lots": data["lots"], "width": data.get("width", ""), "thickness": data.get("thickness", []),
            "note": data["note"],
        }  # fmt: skip


class CloseForm(forms.Form):
    charge = AmountField(label="What they charge for cancelling, before tax", required=False)


# ------------------------------------------------------------------ money


class MoneyForm(PartForm):
    part = MoneyPlan
    labels = {
        "available": "Money available", "tax_percent": "Sales tax, %", "weekly_rent": "Rent for a week",
        "approval_over": "Orders above this wait for the partner",
    }  # fmt: skip
    hints = {
        "approval_over": "With freight and tax, for example 2500; empty: no order waits",
        "available": "In all, with what arrives later",
        "weekly_rent": "What each week of delay costs before the school earns anything",
    }
    incoming = forms.CharField(
        label="Of it, arriving later", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}),
        help_text="One line each: day, amount, what; for example 2027-03-01: 20000 second half of the loan",
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if isinstance(self.initial.get("incoming"), list):
            lines = [f"{e['day']}: {e['amount']} {e.get('what', '')}".strip() for e in self.initial["incoming"]]
            self.initial = {**self.initial, "incoming": "\n".join(lines)}

    def clean_incoming(self) -> list[dict[str, str]]:
        found = []
        for line in str(self.cleaned_data["incoming"]).splitlines():
            if not line.strip():
                continue
            day, _, rest = line.partition(":")
            amount, _, what = rest.strip().partition(" ")
            try:
                entry = {"day": DayField().clean(day.strip()).isoformat(), "amount": f"{AmountField().clean(amount):f}"}
            except forms.ValidationError as error:
                raise forms.ValidationError(
                    f"“{line.strip()}” is not a day, a colon, an amount and what it is, for example "
                    "2027-03-01: 20000 second half of the loan."
                ) from error
            found.append(entry | ({"what": what.strip()} if what.strip() else {}))
        return found

    def edited(self, before: Mapping[str, Any]) -> dict[str, Any]:
        after = super().edited(before)
        after.pop("incoming", None)
        return after | ({"incoming": self.cleaned_data["incoming"]} if self.cleaned_data["incoming"] else {})


class HeadForm(PartForm):
    part = HeadPlan
    labels = {"allowance": "Allowance", "contingency_percent": "Contingency, %", "note": "Note"}
    long = ()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["contingency_percent"] = AmountField(label="Contingency, %", required=False, max_value=100)


class AnswerForm(forms.Form):
    """The partner's word to an approval."""

    answer = forms.CharField(label="Say something with it", max_length=500, required=False)

    def __init__(self, *args: Any, refusing: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.refusing = refusing

    def clean_answer(self) -> str:
        answer = str(self.cleaned_data["answer"]).strip()
        if self.refusing and not answer:
            raise forms.ValidationError("Say why, for example: wait until the loan is paid out.")
        return answer


class CommentForm(forms.Form):
    text = forms.CharField(
        label="Comment", max_length=2000, widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Write something first, for example: is delivery in this price?"},
    )  # fmt: skip

    @classmethod
    def boxes(
        cls, heads: Iterable[int], asked: int | None = None, form: CommentForm | None = None
    ) -> dict[int, SafeString]:
        """The form of every budget head as it is written into the page; ``form`` came back for the head ``asked``.

        Empty ones differ by their ids alone, so one is written and numbered for all.
        """
        empty = render_to_string("form.html", {"form": cls(auto_id="id_HEAD_%s")})
        found = {head: mark_safe(empty.replace("id_HEAD_", f"id_{head}_")) for head in heads}  # noqa: S308
        if asked is not None and form is not None:
            found[asked] = render_to_string("form.html", {"form": form})
        return found
