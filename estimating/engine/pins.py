"""Pins: what the owner wants kept in a layout. Each is honoured, or refused with the reason and the way out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import msgspec

from buildout.units.value import Reason
from estimating.engine import said
from estimating.engine.mat_shape import Point
from estimating.engine.types import FloorSystem, FoamLayout, Pin, Product

SAME = 1.0
"""mm; places closer than this are the same."""


@dataclass(frozen=True)
class LayerPins:
    """What is pinned in one foam layer, in room coordinates."""

    line: tuple[Literal["x", "y"], float] | None = None
    """Direction and place of a course line."""
    pieces: tuple[tuple[Pin, Point], ...] = ()
    """Corners of whole sheets nearest the datum; the first one rules."""


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
        if pin.layer in ("walls", "cover"):
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
    if pin.kind == "line":
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
        found.layers[number] = LayerPins(kept.line or (pin.direction, line), kept.pieces)
    elif pin.kind == "piece":
        if pin.x is None or pin.y is None:
            found.reasons.append(refused(pin, "it does not say where the sheet lies", "State x and y of its corner."))
            return
        if goods is not None and goods.form != "sheet":
            why = f"{goods.name} comes off a roll, not in sheets"
            found.reasons.append(refused(pin, why, "Pin a line instead."))
            return
        corner = (float(pin.x), float(pin.y))
        found.layers[number] = LayerPins(kept.line, (*kept.pieces, (pin, corner)))
    directions.setdefault(number, pin)
    layers[number] = msgspec.structs.replace(layer, direction=pin.direction)
    found.system = msgspec.structs.replace(found.system, layers=layers)


def missed(layout: FoamLayout, pins: LayerPins) -> list[Reason]:
    """Pins of whole sheets that the layout as drawn does not hold."""
    found = []
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
