"""What a request for quotation says: the same facts for the page, the paper and the plain text of a mail.

What each kind of goods needs said is common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Literal

from buildout.units.dates import date_text
from buildout.units.lengths import UnitSystem, format_length, format_mass
from buildout.units.quantities import to_unit
from buildout.units.value import Value
from buildout.units.words import counted
from estimating.engine.types import FloorSystem, Product, TakeOffLine, WallSystem

Material = Literal[
    "base foam", "top foam", "tape", "cover", "timber", "panel foam", "upholstery", "fixings", "fit-out", "other"
]  # fmt: skip
Fact = tuple[str, str]
"""What is asked or told, and how it is."""

VALID_DAYS = 30
"""A quote should hold at least so long after the day it is asked for."""

MATERIAL_FACTS: Mapping[Material, tuple[str, ...]] = {
    "base foam": ("Density", "Stress at 25 % compression", "Skin or no skin", "Thickness tolerance", "Square edges"),
    "top foam": ("Softness (stress at 25 %)", "Width of the roll or sheet", "Rule for splices within a roll"),
    "tape": ("Width", "Proof that the adhesive holds on polyethylene foam"),
    "cover": ("Seam plan", "Proof of the welds", "Weight and packed size", "Band: width and position", "Warranty"),
    "timber": ("Straight and dry: moisture as delivered", "Grade of the face", "Thickness as it really is"),
    "panel foam": ("Density", "Indentation force (IFD)", "Fire documents", "Thickness tolerance"),
    "upholstery": ("Width of the goods", "One dye lot", "Backing", "Mildew and fire documents"),
    "fixings": ("Safety data sheet of any adhesive", "Flammable or water-based"),
    "fit-out": ("Fixings and heights", "Backing film where it is glass"),
    "other": (),
}
"""What the seller is asked to state for each kind of goods, beside what holds for all."""


BURNS: tuple[Material, ...] = ("base foam", "top foam", "cover", "panel foam", "upholstery")
"""Goods whose fire papers the authority sees before anything is bought."""
DENSITY = (("kg/m³", "kilogram / metre ** 3"), ("lb/cu ft", "pound / foot ** 3"))
MASS = (("kg/m²", "kilogram / metre ** 2"), ("lb/sq ft", "pound / foot ** 2"))
STRESS = (("kPa", "kilopascal"), ("psi", "psi"))
"""Figures of goods: our unit and the sellers', each as it is written and as Pint calls it."""
PIECES = ("sheet", "roll", "length", "each")


class AskedLine(Value, kw_only=True):
    """One item of a request."""

    item: str
    name: str
    material: Material
    quantity: Decimal
    unit: str
    facts: list[Fact]
    """What we say of it."""
    state: list[str]
    """What the seller is asked to state."""
    sample: bool = False


class Site(Value, kw_only=True):
    """Where the goods go and on what terms; typed by the owner once and kept for the next request."""

    place: str = ""
    door: str = ""
    """Way in and how wide."""
    unloading: Literal["kerbside", "lift-gate", "inside", "dock", "pick-up"] = "kerbside"
    dock: bool = False
    contact: str = ""
    window: str = ""
    """Days and hours when somebody is there."""
    payment: str = ""
    note: str = ""


class Rfq(Value, kw_only=True):
    """Everything one supplier's document says."""

    name: str
    build: str
    day: date
    reply_by: date
    to: str
    attention: str
    lines: list[AskedLine]
    terms: list[Fact]
    drawings: list[str]
    """Titles with their revision, in the order they are attached."""
    buyer: str


def material_of(product: Product, floors: list[FloorSystem], walls: list[WallSystem]) -> Material:
    """Which kind of goods it is: what the systems use it for decides, then its budget head and form."""
    for floor in floors:
        for layer in floor.layers:
            laid = layer.product == product.id or layer.product in product.also_sold
            if laid and product.lead_group == "foam":
                return "base foam" if layer.role == "base" else "top foam"
        if product.id == floor.tape:
            return "tape"
        if floor.cover is not None and product.id == floor.cover.product:
            return "cover"
        if product.id == floor.hook_tape:
            return "fixings"
    for wall in walls:
        if product.id == wall.foam:
            return "panel foam"
        if product.id == wall.face:
            return "upholstery"
        if product.id in (wall.cleat, wall.anchor, wall.adhesive):
            return "fixings"
        if product.id in (wall.board, wall.cap):
            return "timber"
    groups: Mapping[str, Material] = {"timber": "timber", "fit-out": "fit-out", "cover": "cover"}
    return groups.get(product.lead_group, "other")


def asked_line(
    line: TakeOffLine, product: Product, material: Material, units: UnitSystem, need: date | None, wish: str,
    *, sample: bool,
) -> AskedLine:  # fmt: skip
    """What a request says of one take-off line. ``wish``: colour and what else the owner wants said of it."""
    amount = counted(line.quantity, line.unit)
    drawn = product.form == "made to drawing"
    asked = f"{amount} in all, made to the drawing" if drawn else f"{amount}, not fewer; say if sold in packs"
    facts: list[Fact] = [("Quantity", asked)]
    named = (("length", product.length), ("width", product.width), ("thickness", product.thickness))
    sizes = [
        (name, format_length(size.mm, units) if units == "metric" else size.text)
        for name, size in named
        if size is not None
    ]
    if sizes:
        facts.append((" × ".join(name for name, _ in sizes).capitalize(), " × ".join(text for _, text in sizes)))
    if material == "cover" and line.cutouts:
        facts.append(("Cut-outs", f"{line.cutouts}, as drawn"))
    if product.density is not None:
        facts.append(("Density", f"about {_both(product.density, DENSITY, units)}"))
    if product.mass_per_area is not None:
        facts.append(("Mass", _both(product.mass_per_area, MASS, units)))
    if product.stress_at_25_percent is not None:
        facts.append(("Stress at 25 % compression", _both(product.stress_at_25_percent, STRESS, units)))
    if line.mass is not None and line.unit in PIECES and line.mass >= 1:
        facts.append(("Weight of one, reckoned", format_mass(float(line.mass), units)))
    facts.append(("Colour and grade", wish or "as your sample; name it in the quote"))
    facts.append(("Tolerance", "state yours for size and quantity"))
    fire = "fire document" if material in BURNS else "fire document where there is one"
    facts.append(("Documents", f"data sheet; {fire}"))
    if need is not None:
        facts.append(("Needed at the door by", date_text(need)))
    if sample:
        facts.append(("Sample", "please send one with the quote"))
    return AskedLine(
        item=line.item, name=line.name, material=material, quantity=line.quantity, unit=line.unit, facts=facts,
        state=list(MATERIAL_FACTS[material]), sample=sample,
    )  # fmt: skip


def _both(value: Decimal, pair: tuple[tuple[str, str], tuple[str, str]], units: UnitSystem) -> str:
    """A figure in our units and the seller's (two digits), those the build is measured in first."""
    (ours, metre), (theirs, foot) = pair
    turned = float(to_unit(value, metre, foot))
    metric, customary = f"{value.normalize():f} {ours}", f"{Decimal(f'{turned:.2g}'):f} {theirs}"
    return f"{metric} ({customary})" if units == "metric" else f"{customary} ({metric})"


def general_terms(site: Site, currency: str, reply_by: date) -> list[Fact]:
    """What holds for all lines of a request."""
    valid = reply_by + timedelta(days=VALID_DAYS)
    unloading = f"{site.unloading}; {'a dock is there' if site.dock else 'there is no dock'}"
    if not site.dock and site.unloading == "lift-gate":
        unloading += ", so a lorry with a lift-gate is needed"
    found = [
        ("Deliver to", site.place or "to be told with the order"),
        ("Way in", site.door),
        ("Unloading", unloading),
        ("Contact on site", site.contact),
        ("Goods can be taken in", site.window or "by appointment"),
        ("Prices", f"in {currency}, delivered, freight and tax shown apart, with your price breaks"),
        ("Valid until", f"{date_text(valid)} or later"),
        ("Payment", site.payment or "state your terms, deposit and discount for paying early"),
        ("Lead time", "working days from order to our door: shortest, usual, longest"),
        ("Substitutes", "welcome as an offer, with data sheet and sample; never sent without asking"),
        ("Returns", "state whether goods can be returned, and what that costs"),
        ("Packing", "state size, weight and number of packages; wrapped against rain"),
        ("Lots", "all goods of one kind from one batch or dye lot"),
        ("Insurance", "goods insured in transit until unloaded"),
        ("Offcuts", "offcuts of goods we pay for are ours"),
        ("Note", site.note),
    ]
    return [(name, text) for name, text in found if text]


def rfq_text(rfq: Rfq) -> str:
    """The request as plain text for a mail; it says what the page says."""
    text = [f"Request for quotation {rfq.name}", rfq.build, f"Date: {date_text(rfq.day)}", ""]
    text += [f"To: {rfq.to}"]
    if rfq.attention:
        text += [f"For the attention of {rfq.attention}"]
    text += ["", f"Please quote by {date_text(rfq.reply_by)} for:", ""]
    for number, line in enumerate(rfq.lines, 1):
        text += [f"{number}. {line.name} ({line.item}): {counted(line.quantity, line.unit)}"]
        text += [f"   {name}: {said}" for name, said in line.facts]
        if line.state:
            text += [f"   Please state: {'; '.join(line.state)}"]
        text += [""]
    text += ["For all of it", ""]
    text += [f"{name}: {said}" for name, said in rfq.terms]
    if rfq.drawings:
        text += ["", "Drawings attached; for pricing only, do not make anything from them:"]
        text += [f"- {title}" for title in rfq.drawings]
    text += ["", f"Please name {rfq.name} in your answer.", "", rfq.buyer]
    return "\n".join(text) + "\n"
