"""Pins: what the owner wants kept in a layout. Each is honoured, or refused with the reason and the way out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import msgspec

from buildout.units.lengths import Length, UnitSystem, format_length
from buildout.units.value import Reason
from estimating.engine import said
from estimating.engine.mat_shape import Point
from estimating.engine.types import FloorSystem, FoamLayout, Pin, Product, RoomLayouts

SAME = 1.0
"""mm; places closer than this are the same."""


@dataclass(frozen=True)
class LayerPins:
    """What is pinned in one foam layer, in room coordinates."""

    line: tuple[Literal["x", "y"], float] | None = None
    """Direction and place of a course line."""
    pieces: tuple[tuple[Pin, Point], ...] = ()
    """Corners of whole sheets nearest the datum; the first one rules."""
    strips: tuple[tuple[Pin, Point], ...] = ()
    """Corners of strips off a roll nearest the datum."""


@dataclass
class FloorPins:
    """A floor system as pinned, what is pinned by layer, and the pins that cannot hold."""

    system: FloorSystem
    layers: dict[int, LayerPins] = field(default_factory=dict)
    reasons: list[Reason] = field(default_factory=list)


def refused(pin: Pin, why: str, todo: str) -> Reason:
    """A pin that cannot hold, by name."""
    return said.warning("pin-refused", f"Pin {pin.id} cannot hold: {why}.", pin.id, todo)


def floor_pins(system: FloorSystem, pins: Sequence[Pin], products: Mapping[str, Product]) -> FloorPins:
    """Sort a floor's pins by layer; products and directions are set in the system itself."""
    found = FloorPins(system)
    names = _layer_names(system)
    directions: dict[int, Pin] = {}
    for pin in pins:
        if pin.layer in ("walls", "cover", "fold-away"):
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


def _layer_names(system: FloorSystem) -> list[str]:
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
                why = f"its line lies {said.length(min(off, width - off))} off the courses of an earlier pinned line"
                found.reasons.append(refused(pin, why, "Move it by whole sheet widths or take off the other pin."))
                return
        strips = kept.strips
        if strip and pin.x is not None and pin.y is not None:
            strips = (*strips, (pin, (float(pin.x), float(pin.y))))
        found.layers[number] = LayerPins(kept.line or (pin.direction, line), kept.pieces, strips)
    elif pin.kind == "piece" and pin.x is not None and pin.y is not None:
        corner = (float(pin.x), float(pin.y))
        found.layers[number] = LayerPins(kept.line, (*kept.pieces, (pin, corner)), kept.strips)
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
            why = (
                f"no whole sheet of the {layout.layer} layer can lie there with its courses and its edge where they are"
            )
            found.append(refused(pin, why, "Move it into the field, or to where a sheet lies, and try again."))
    return found


def words(pin: Pin, products: Mapping[str, Product]) -> str:
    """A pin in words.

    >>> words(Pin(id="p", layer="base", kind="direction", direction="x"), {})
    'base layer: courses along the datum wall'
    """
    way = {"x": "along the datum wall", "y": "across the datum wall", "": "no direction stated"}[pin.direction]
    place = {"base": "base layer", "top": "top layer", "cover": "cover", "walls": f"wall {pin.wall}"}.get(
        pin.layer, f"{pin.layer} layer"
    )
    at_x, at_y = (length.text if length is not None else "not stated" for length in (pin.x, pin.y))
    if pin.kind == "product":
        name = products[pin.product].name if pin.product in products else pin.product or "no product stated"
        return f"{place}: {name}"
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
        return f"{place}: welds along wall {pin.wall}" if pin.wall else f"{place}: welds {way}"
    if pin.kind == "line":
        return f"{place}: a course line {way}, {at_y if pin.direction == 'x' else at_x} from the datum"
    if pin.kind == "piece":
        return f"{place}: a whole sheet or strip {way}, its corner {at_x} along and {at_y} across from the datum"
    return f"{place}: courses {way}"


def refusals(layouts: RoomLayouts | None, pins: Sequence[Pin]) -> dict[str, Reason]:
    """Why pins do not hold, by the pin's id; a pin that is not in it is honoured by the layout."""
    parts = (layouts.floor, layouts.cover, layouts.walls, layouts.fold_away) if layouts is not None else ()
    found = {r.where: r for part in parts if part is not None for r in part.reasons if r.code == "pin-refused"}
    have = {
        "cover": layouts is not None and layouts.cover is not None,
        "walls": layouts is not None and layouts.walls is not None,
        "fold-away": layouts is not None and layouts.fold_away is not None,
    }
    for pin in pins:
        there = have.get(pin.layer, layouts is not None and layouts.floor is not None)
        if not there and pin.id not in found:
            none = {
                "cover": "there is no cover", "walls": "there are no wall panels",
                "fold-away": "there are no fold-away mats",
            }  # fmt: skip
            what = none.get(pin.layer, "there is no floor")
            found[pin.id] = refused(pin, f"{what} in this room", "Choose a system that has it, or unpin.")
    return found


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
    for elevation in layouts.walls.elevations if layouts.walls is not None else []:
        found = []
        for panel in elevation.panels:
            if panel.start > SAME and panel.kind in ("full", "end", "low"):
                pin = Pin(id="", layer="walls", kind="line", wall=elevation.wall, x=at(panel.start))
                found.append((f"the joint where panel {panel.id} begins", pin))
            if panel.kind in ("full", "end", "low"):
                pin = Pin(
                    id="", layer="walls", kind="piece", wall=elevation.wall, x=at(panel.start), module=at(panel.width)
                )
                found.append((f"panel {panel.id} as it is", pin))
        if found:
            groups.append((f"Wall {elevation.wall}", found))
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
