"""Pins: what the owner wants kept in a layout. Each is honoured, or refused with the reason and the way out."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import msgspec

from buildout.units.lengths import Length, UnitSystem, format_length
from buildout.units.value import Reason
from estimating.engine import said
from estimating.engine.mat_shape import Point
from estimating.engine.types import CoverLayout, FloorSystem, FoamLayout, Panel, Pin, Product, RoomLayouts, Weld

SAME = 1.0
"""mm; places closer than this are the same."""
ON_WALLS = ("walls", "caps", "ends", "wraps")
"""What hangs on walls, lies on low ones or goes round columns."""
ROUND_FLOOR = ("frame", "ramp")
WELD_OFF = math.sin(math.radians(4))
"""Welds that run further off the datum wall's direction are not told by x or y alone."""


@dataclass(frozen=True)
class LayerPins:
    """What is pinned in one foam layer, in room coordinates."""

    line: tuple[Literal["x", "y"], float] | None = None
    """Direction and place of a course line."""
    pieces: tuple[tuple[Pin, Point], ...] = ()
    """Corners of whole sheets nearest the datum; the first one rules."""
    strips: tuple[tuple[Pin, Point], ...] = ()
    """Corners of strips off a roll nearest the datum."""
    by: str = ""
    """The pin that gives the line."""


@dataclass
class FloorPins:
    """A floor system as pinned, what is pinned by layer, and the pins that cannot hold."""

    system: FloorSystem
    layers: dict[int, LayerPins] = field(default_factory=dict)
    reasons: list[Reason] = field(default_factory=list)
    timber: dict[str, str] = field(default_factory=dict)
    """Products pinned for frame and ramp."""


def refused(pin: Pin, why: str, todo: str) -> Reason:
    """A pin that cannot hold, by name, with all that it asked for."""
    told = said.warning("pin-refused", f"Pin {pin.id} cannot hold: {why}.", pin.id, todo)
    return msgspec.structs.replace(told, about=asked(pin))


def asked(pin: Pin) -> str:
    """What a pin asks for, its name and why left out: two that ask the same fare the same.

    >>> asked(Pin(id="p", layer="base", kind="line", direction="x", y=Length.read("1 ft")))
    'base/line/x///304.800//'
    """
    places = (pin.x, pin.y, pin.module)
    told = [pin.layer, pin.kind, pin.direction, pin.wall, *(f"{float(p):.3f}" if p is not None else "" for p in places)]
    return "/".join([*told, pin.product])


def floor_pins(system: FloorSystem, pins: Sequence[Pin], products: Mapping[str, Product]) -> FloorPins:
    """Sort a floor's pins by layer; products and directions are set in the system itself."""
    found = FloorPins(system)
    names = layer_names(system)
    directions: dict[int, Pin] = {}
    for pin in pins:
        if pin.layer in (*ON_WALLS, "cover", "fold-away"):
            continue
        if pin.layer in ROUND_FLOOR:
            if pin.kind == "product":
                _timber(found, pin, products)
            continue
        if pin.layer not in names:
            todo = f"Name one of {', '.join(names) or 'the layers the floor has'}."
            found.reasons.append(refused(pin, f"the floor has no {pin.layer or 'such'} layer", todo))
            continue
        number = names.index(pin.layer)
        if pin.kind == "product":
            _product(found, number, pin, products)
        elif pin.kind in ("direction", "line", "piece"):
            _place(found, number, pin, directions, products)
        else:
            found.reasons.append(refused(pin, f"a {pin.kind} is not pinned on foam", "Pin a direction, line or piece."))
    return found


def layer_names(system: FloorSystem) -> list[str]:
    """What pins call a floor's layers, from the slab up: ``base``, ``top``, ``top 2``."""
    names: list[str] = []
    for layer in system.layers:
        earlier = sum(1 for name in names if name.split()[0] == layer.role)
        names.append(layer.role if not earlier else f"{layer.role} {earlier + 1}")
    return names


def _product(found: FloorPins, number: int, pin: Pin, products: Mapping[str, Product]) -> None:
    product = products.get(pin.product)
    if product is None or product.form not in ("sheet", "roll"):
        why = f"{pin.product or 'its product'} is not a sheet or roll in the list of products"
        found.reasons.append(refused(pin, why, "Pin a product sold in sheets or off a roll."))
        return
    layers = list(found.system.layers)
    layers[number] = msgspec.structs.replace(layers[number], product=pin.product)
    found.system = msgspec.structs.replace(found.system, layers=layers)


def _timber(found: FloorPins, pin: Pin, products: Mapping[str, Product]) -> None:
    product = products.get(pin.product)
    usual = found.system.frame if pin.layer == "frame" else found.system.ramp
    earlier = found.timber.get(pin.layer)
    if not usual:
        found.reasons.append(refused(pin, f"the floor has no {pin.layer}", "Name one in the floor system, or unpin."))
    elif product is None or product.form != "length":
        why = f"{pin.product or 'its product'} is not sold in lengths"
        found.reasons.append(refused(pin, why, "Pin a product that is."))
    elif earlier not in (None, product.id):
        why = f"the {pin.layer} is already pinned to {earlier}"
        found.reasons.append(refused(pin, why, "Take off one of the two pins."))
    else:
        found.timber[pin.layer] = product.id
        found.system = msgspec.structs.replace(found.system, **{pin.layer: product.id})


def _place(
    found: FloorPins, number: int, pin: Pin, directions: dict[int, Pin], products: Mapping[str, Product]
) -> None:
    layers = list(found.system.layers)
    layer = layers[number]
    if pin.direction not in ("x", "y"):
        found.reasons.append(refused(pin, "it does not say which way the courses run", "State direction x or y."))
        return
    first = directions.get(number)
    if first is not None and first.direction != pin.direction:
        why = f"pin {first.id} already lays the {pin.layer} layer along {first.direction}"
        found.reasons.append(refused(pin, why, f"Take off one of {first.id} and {pin.id}."))
        return
    kept = found.layers.get(number, LayerPins())
    goods = products.get(layer.product)
    strip = pin.kind == "piece" and goods is not None and goods.form != "sheet"
    if pin.kind == "piece" and (pin.x is None or pin.y is None):
        found.reasons.append(refused(pin, "it does not say where the piece lies", "State x and y of its corner."))
        return
    if pin.kind == "line" or strip:
        # A strip lies in one course, so its edge is a course line.
        at = pin.y if pin.direction == "x" else pin.x
        if at is None:
            axis = "y" if pin.direction == "x" else "x"
            found.reasons.append(refused(pin, "it does not say where the line lies", f"State {axis}, such as 4 ft."))
            return
        line = float(at)
        width = float(goods.width) if goods is not None and goods.width is not None else 0.0
        if kept.line is not None and width > 0:
            off = (line - kept.line[1]) % width
            if min(off, width - off) > SAME:
                why = f"its line lies {said.length(min(off, width - off))} off the courses of pin {kept.by}"
                todo = f"Move it by whole sheet widths or take off {kept.by}."
                found.reasons.append(refused(pin, why, todo))
                return
        strips = kept.strips
        if strip and pin.x is not None and pin.y is not None:
            strips = (*strips, (pin, (float(pin.x), float(pin.y))))
        found.layers[number] = LayerPins(kept.line or (pin.direction, line), kept.pieces, strips, kept.by or pin.id)
    elif pin.kind == "piece" and pin.x is not None and pin.y is not None:
        corner = (float(pin.x), float(pin.y))
        found.layers[number] = LayerPins(kept.line, (*kept.pieces, (pin, corner)), kept.strips, kept.by)
    directions.setdefault(number, pin)
    layers[number] = msgspec.structs.replace(layer, direction=pin.direction)
    found.system = msgspec.structs.replace(found.system, layers=layers)


def nearest_datum(ring: Sequence[Point]) -> Point:
    """The corner of a mat nearest the datum.

    >>> nearest_datum([(2.0, 1.0), (1.0, 1.0), (1.0, 3.0), (2.0, 3.0)])
    (1.0, 1.0)
    """
    return min(ring, key=lambda p: (p[0] + p[1], p))


def lies_along(ring: Sequence[Point]) -> bool:
    """Whether a mat's long side runs along x rather than y.

    >>> lies_along([(1.0, 1.0), (2.0, 1.0), (2.0, 3.0), (1.0, 3.0)])
    False
    """
    sides = zip(ring, [*ring[1:], ring[0]], strict=True)
    a, b = max(sides, key=lambda s: math.dist(*s))
    return abs(b[0] - a[0]) > abs(b[1] - a[1])


def holds_mat(pin: Pin, mat: Sequence[Point]) -> bool:
    """Whether a fold-away mat lies where it is pinned."""
    if pin.x is None or pin.y is None or (pin.direction and lies_along(mat) != (pin.direction == "x")):
        return False
    return math.dist(nearest_datum(mat), (float(pin.x), float(pin.y))) <= 1.5 * SAME


def lies_on(weld: Weld, pin: Pin) -> bool:
    """Whether a weld lies where a weld line is pinned.

    >>> lies_on(Weld(a=(0.0, 500.0), b=(900.0, 500.0), length=900.0),
    ...     Pin(id="p", layer="cover", kind="line", direction="x", y=Length.read("500 mm")))
    True
    """
    at = (float(pin.x or 0), float(pin.y or 0))
    (ax, ay), (bx, by) = weld.a, weld.b
    off = (bx - ax) * (at[1] - ay) - (by - ay) * (at[0] - ax)
    return abs(off) <= 2 * SAME * max(weld.length, 1.0)


def missed(layout: FoamLayout, pins: LayerPins) -> list[Reason]:
    """Pins of whole sheets and strips that the layout as drawn does not hold."""
    found = []
    along = 0 if layout.direction == "x" else 1
    for pin, corner in pins.strips:
        there = any(
            abs(min(p[1 - along] for p in piece.outline) - corner[1 - along]) <= SAME
            and min(p[along] for p in piece.outline) - SAME <= corner[along]
            and corner[along] <= max(p[along] for p in piece.outline) + SAME
            for piece in layout.pieces
        )
        if not there:
            why = f"no strip of the {layout.layer} layer lies there with its edge on that line"
            found.append(refused(pin, why, "Move it into the field, clear of its edge, and try again."))
    for pin, corner in pins.pieces:
        there = any(
            piece.whole and abs(min(x for x, _ in piece.outline) - corner[0]) <= SAME
            and abs(min(y for _, y in piece.outline) - corner[1]) <= SAME
            for piece in layout.pieces
        )  # fmt: skip
        if not there:
            ruling = pins.pieces[0][0]
            first = pins.by or (ruling.id if ruling is not pin else "")
            courses = f"the courses of pin {first}" if first else "its courses and its edge where they are"
            why = f"no whole sheet of the {layout.layer} layer can lie there with {courses}"
            todo = "Move it into the field, or to where a sheet lies, and try again"
            todo += f"; or take off one of {first} and {pin.id}." if first else "."
            found.append(refused(pin, why, todo))
    return found


_RUNS = {
    "frame": ("a timber", "where its run begins"), "ramp": ("a timber", "where its run begins"),
    "caps": ("a section", "the wall's first corner"), "ends": ("a panel", "the wall's first corner"),
    "wraps": ("a part", "the jacket's first seam"),
}  # fmt: skip
"""What one piece is called, and what its distance is measured from."""


def words(pin: Pin, products: Mapping[str, Product]) -> str:
    """A pin in words.

    >>> words(Pin(id="p", layer="base", kind="direction", direction="x"), {})
    'base layer: courses along the datum wall'
    >>> words(Pin(id="p", layer="frame", kind="piece", wall="A-B 1", x=Length.read("4'"), module=Length.read("8'")), {})
    "frame A-B 1: a timber 8', 4' from where its run begins"
    """
    way = {"x": "along the datum wall", "y": "across the datum wall", "": "no direction stated"}[pin.direction]
    place = {
        "base": "base layer", "top": "top layer", "cover": "cover", "frame": "frame", "ramp": "ramp",
        "walls": f"wall {pin.wall}" if pin.wall else "walls", "caps": "caps on low walls",
        "ends": "free ends of low walls", "wraps": "column wraps",
    }.get(pin.layer, f"{pin.layer} layer")  # fmt: skip
    at_x, at_y = (length.text if length is not None else "not stated" for length in (pin.x, pin.y))
    if pin.kind == "product":
        name = products[pin.product].name if pin.product in products else pin.product or "no product stated"
        return f"{place}: {name}"
    if pin.layer in _RUNS:
        thing, start = _RUNS[pin.layer]
        wide = pin.module.text if pin.module is not None else "of no stated length"
        what = f"a joint {at_x} from {start}" if pin.kind == "line" else f"{thing} {wide}, {at_x} from {start}"
        return f"{place} {pin.wall or 'nowhere'}: {what}"
    if pin.kind == "module":
        return f"{place}: panels {pin.module.text if pin.module is not None else 'of no stated width'} wide"
    if pin.layer == "walls" and pin.kind == "piece":
        wide = pin.module.text if pin.module is not None else "of no stated width"
        return f"{place}: one panel {wide} wide, {at_x} from its first corner"
    if pin.layer == "fold-away":
        lies = way if pin.direction else "either way round"
        return f"fold-away mats: a mat {lies}, its corner {at_x} along and {at_y} across from the datum"
    if pin.layer == "walls":
        return f"{place}: a panel joint {at_x} from its first corner"
    if pin.layer == "cover":
        along = f"along wall {pin.wall}" if pin.wall else way
        if pin.kind == "line":
            where = [f"{at} {how}" for at, p, how in ((at_x, pin.x, "along"), (at_y, pin.y, "across")) if p is not None]
            return f"{place}: a weld {along}, {' and '.join(where) or 'nowhere'} from the datum"
        return f"{place}: welds {along}"
    if pin.kind == "line":
        return f"{place}: a course line {way}, {at_y if pin.direction == 'x' else at_x} from the datum"
    if pin.kind == "piece":
        return f"{place}: a whole sheet or strip {way}, its corner {at_x} along and {at_y} across from the datum"
    return f"{place}: courses {way}"


def refusals(layouts: RoomLayouts | None, pins: Sequence[Pin]) -> list[Reason | None]:
    """Why each pin does not hold; None where the layout honours it.

    A refusal is found by what the pin asks for, never by its name: that may have gone over to another pin since.
    """
    parts = (layouts.floor, layouts.cover, layouts.walls, layouts.fold_away) if layouts is not None else ()
    found = {r.about: r for part in parts if part is not None for r in part.reasons if r.code == "pin-refused"}
    have = {
        "cover": layouts is not None and layouts.cover is not None,
        "fold-away": layouts is not None and layouts.fold_away is not None,
    } | dict.fromkeys(ON_WALLS, layouts is not None and layouts.walls is not None)
    none = {"cover": "there is no cover", "fold-away": "there are no fold-away mats"}
    none |= dict.fromkeys(ON_WALLS, "there are no wall panels")
    floor = layouts.floor if layouts is not None else None
    told: list[Reason | None] = []
    for pin in pins:
        why = found.get(asked(pin))
        if why is None and floor is not None and not floor.layers and pin.layer not in have:
            why = refused(pin, "no floor could be laid", "Look at what the floor's layout says first.")
        if why is None and not have.get(pin.layer, floor is not None):
            what = none.get(pin.layer, "there is no floor")
            why = refused(pin, f"{what} in this room", "Choose a system that has it, or unpin.")
        told.append(why)
    return told


def _strips(layer: FoamLayout, lines: Sequence[float], products: Mapping[str, Product]) -> set[str]:
    """Pieces off a roll whose edge nearest the datum is a course line."""
    goods = products.get(layer.product)
    if goods is None or goods.form != "roll":
        return set()
    axis = 1 if layer.direction == "x" else 0
    lows = {piece.id: min(p[axis] for p in piece.outline) for piece in layer.pieces}
    return {name for name, low in lows.items() if any(abs(low - line) <= SAME / 2 for line in lines)}


def as_it_lies(
    layouts: RoomLayouts, units: UnitSystem, products: Mapping[str, Product]
) -> list[tuple[str, list[tuple[str, Pin]]]]:
    """What can be pinned just as it lies, in groups: what it is called and the pin that keeps it (its id left empty).

    Places are written to 1/64 in or the millimetre, closer than pins are held to.
    """

    def at(mm: float) -> Length:
        return Length.read(format_length(max(0.0, mm), units, denominator=64))

    groups: list[tuple[str, list[tuple[str, Pin]]]] = []
    for layer in layouts.floor.layers if layouts.floor is not None else []:
        axis = 1 if layer.direction == "x" else 0
        lines = sorted(
            {round(j.a[axis], 2) for j in layer.joints if abs(j.a[axis] - j.b[axis]) < SAME and j.a[axis] >= 0}
        )
        name, way = layer.layer, layer.direction
        strips = _strips(layer, lines, products)
        found = [
            ("the way its courses run", Pin(id="", layer=name, kind="direction", direction=way)),
            ("its goods", Pin(id="", layer=name, kind="product", product=layer.product)),
        ]
        for number, line in enumerate(lines, 1):
            place: dict[str, Any] = {"y" if way == "x" else "x": at(line)}
            told = f"course line {number}, {format_length(line, units)} from the datum"
            found.append((told, Pin(id="", layer=name, kind="line", direction=way, **place)))
        for piece in layer.pieces:
            x, y = min(p[0] for p in piece.outline), min(p[1] for p in piece.outline)
            strip = not piece.whole and piece.id in strips
            if (piece.whole or strip) and x >= 0 and y >= 0:
                pin = Pin(id="", layer=name, kind="piece", direction=way, x=at(x), y=at(y))
                found.append((f"{'strip' if strip else 'sheet'} {piece.id}", pin))
        groups.append((f"{name.capitalize()} layer", found))
    timbers = layouts.floor.frame if layouts.floor is not None else []
    found = []
    for timber in timbers:
        first = next(t for t in timbers if t.id == f"{timber.id.rsplit('.', 1)[0]}.1")
        run = at(math.dist(first.a, timber.a))
        pin = Pin(id="", layer=timber.kind, kind="piece", wall=timber.edge, x=run, module=at(timber.length))
        found.append((f"timber {timber.id}", pin))
    if found:
        groups.append(("Frame and ramps", found))
    if layouts.cover is not None and layouts.cover.welds:
        groups.append(("Cover", _welds_as_they_lie(layouts.cover, at)))
    for elevation in layouts.walls.elevations if layouts.walls is not None else []:
        found = []
        for panel in elevation.panels:
            if panel.start > SAME:
                pin = Pin(id="", layer="walls", kind="line", wall=elevation.wall, x=at(panel.start))
                found.append((f"the joint where panel {panel.id} begins", pin))
            found.append((f"panel {panel.id} as it is", _as_hung("walls", panel, at)))
        for panel in elevation.trims:
            if panel.start >= 0:
                trim = _as_hung("caps" if panel.kind == "cap" else "ends", panel, at)
                found.append((f"{panel.kind} {panel.id}", trim))
        if found:
            groups.append((f"Wall {elevation.wall}", found))
    wraps = layouts.walls.wraps if layouts.walls is not None else []
    found = [(f"part {panel.id}", _as_hung("wraps", panel, at)) for panel in wraps]
    if found:
        groups.append(("Column wraps", found))
    mats = layouts.fold_away.mats if layouts.fold_away is not None else []
    found = []
    for number, mat in enumerate(mats, 1):
        x, y = nearest_datum(mat)
        if x >= 0 and y >= 0:
            way = "x" if lies_along(mat) else "y"
            found.append(
                (f"mat {number}", Pin(id="", layer="fold-away", kind="piece", direction=way, x=at(x), y=at(y)))
            )
    if found:
        groups.append(("Fold-away mats", found))
    return groups


def _welds_as_they_lie(cover: CoverLayout, at: Callable[[float], Length]) -> list[tuple[str, Pin]]:
    """The cover's goods, and where its welds run square to the datum wall their direction and each line of them."""
    found = [("its goods", Pin(id="", layer="cover", kind="product", product=cover.product))]
    across = min((abs(c), way) for c, way in zip(cover.direction, ("y", "x"), strict=True))
    if across[0] > WELD_OFF:
        return found
    way: Literal["x", "y"] = "x" if across[1] == "x" else "y"
    found.append(("the way its welds run", Pin(id="", layer="cover", kind="direction", direction=way)))
    dx, dy = cover.direction if max(cover.direction) > WELD_OFF else (-cover.direction[0], -cover.direction[1])
    lines: dict[int, list[tuple[float, float]]] = {}
    for weld in cover.welds:
        off = weld.a[1] * dx - weld.a[0] * dy if way == "x" else weld.a[0] * dy - weld.a[1] * dx
        lines.setdefault(round(off), []).extend((weld.a, weld.b))
    for number, (_, ends) in enumerate(sorted(lines.items()), 1):
        x, y = max(ends, key=min)  # any point of a line tells it; places left of the datum cannot be typed
        if min(x, y) >= 0:
            pin = Pin(id="", layer="cover", kind="line", direction=way, x=at(x), y=at(y))
            found.append((f"weld {number}, counted from the datum", pin))
    return found


def _as_hung(layer: str, panel: Panel, at: Callable[[float], Length]) -> Pin:
    return Pin(id="", layer=layer, kind="piece", wall=panel.wall, x=at(panel.start), module=at(panel.width))
