"""What it takes to bring ordered goods in: mass, people to a piece, and whether a piece gets through a door.

Screening figures: pieces are taken as stiff and carried through lengthwise, one at a time, unpacked. Steps, turns and
pallets are judged on site.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from typing import Literal, NamedTuple

from buildout.units.value import Value, snap
from estimating.engine.rolled import SHARE, rolled_diameter
from estimating.engine.types import Product

LONG = 1828.8
"""mm (6 ft): anything longer takes two people. Common practice, no published source."""
CLEAR = 25.4
"""mm (1 in) of air on the way through a door."""


class Door(NamedTuple):
    name: str
    width: float
    height: float | None
    """None: not measured; the height is then not looked at."""


class Handling(Value, kw_only=True):
    """One order line as it is carried. None where the product's sizes or densities are missing."""

    item: str
    name: str
    count: Decimal
    piece: tuple[float, float, float] | None
    """Sides of a piece in mm, smallest first; of a roll its thickness twice and its width."""
    piece_mass: float | None
    """kg."""
    total_mass: float | None
    people: int | None
    """To one piece: 40 lb each, two from 6 ft of length on."""
    passes: list[str]
    """Doors a piece gets through."""
    stops: list[str]
    """Doors it does not get through."""


class Stacked(Value, kw_only=True):
    """Goods of an order held against the place they are put in: volumes only, so that air and battens need more."""

    volume: float
    """m³ of the goods whose size is known."""
    space: float
    """m³."""
    floor: float
    """mm²."""
    mass: float | None
    """kg, of what is known; None: of nothing."""
    unknown: list[str]
    """Goods whose size is not known, in no figure."""
    too_large: list[str]
    """Goods of which not even one piece can lie or stand in the place."""
    verdict: Literal["fits", "tight", "does not fit"]

    @property
    def share(self) -> float:
        """Of the place that the goods take."""
        return self.volume / self.space if self.space else 0.0


FULL = 0.8
"""Share of a place that stacks fill at most without being shifted about. Common practice, no published source."""


def stack(goods: Sequence[Handling], floor: float, height: float, sides: tuple[float, float] | None = None) -> Stacked:
    """Whether goods fit on ``floor`` (mm²) stacked up to ``height`` (mm); ``sides``: of a floor that is a rectangle.

    >>> from buildout.units.lengths import Length
    >>> sheet = Product(id="ply", name="Plywood", form="sheet", unit="sheet", head=11, length=Length.read('96"'),
    ...     width=Length.read('48"'), thickness=Length.read('1/2"'))
    >>> ten = handle(sheet, "Plywood", Decimal(96), [])  # 96 sheets of 1/2 in: a stack of 48 in
    >>> place = (2438.4, 1219.2)
    >>> [stack([ten], place[0] * place[1], height, place).verdict for height in (1828.8, 1320.8, 914.4)]
    ['fits', 'tight', 'does not fit']
    """
    volume, mass, unknown, too_large = 0.0, None, [], []
    for entry in goods:
        if entry.total_mass is not None:
            mass = (mass or 0.0) + entry.total_mass
        if entry.piece is None:
            unknown.append(entry.name)
            continue
        volume += math.prod(entry.piece) / 1e9 * float(entry.count)
        if not _can_lie(entry.piece, height, sides):
            too_large.append(entry.name)
    space = floor * height / 1e9
    fits = not too_large and volume <= space * (1 + 1e-9)
    return Stacked(
        volume=snap(volume, 0.001), space=snap(space, 0.001), floor=snap(floor), mass=mass, unknown=unknown,
        too_large=too_large,
        verdict="does not fit" if not fits else "fits" if volume <= space * FULL else "tight",
    )  # fmt: skip


def _can_lie(piece: tuple[float, float, float], height: float, sides: tuple[float, float] | None) -> bool:
    """Some way up, square to the place."""
    if sides is None:
        return piece[0] <= height
    place = sorted(sides)
    return any(
        up <= height + 0.5 and low <= place[0] + 0.5 and high <= place[1] + 0.5
        for low, high, up in ((piece[0], piece[1], piece[2]), (piece[0], piece[2], piece[1]),
                              (piece[1], piece[2], piece[0]))
    )  # fmt: skip


def handle(product: Product, name: str, count: Decimal, doors: Sequence[Door]) -> Handling:
    """How ``count`` pieces of a product are brought through ``doors``.

    >>> from buildout.units.lengths import Length
    >>> sheet = Product(id="ply", name="Plywood", form="sheet", unit="sheet", head=11, length=Length.read('96"'),
    ...     width=Length.read('48"'), thickness=Length.read('1/2"'), density=Decimal(600))
    >>> found = handle(sheet, "Plywood", Decimal(10), [Door("hall door", 838.2, 2082.8)])
    >>> found.piece_mass, found.people, found.passes
    (22.65, 2, ['hall door'])
    """
    piece = _piece(product)
    mass = _mass(product)
    people = None
    if mass is not None:
        people = max(1, math.ceil(mass / SHARE))
        if piece is not None and piece[2] > LONG:
            people = max(people, 2)
    passes = [door.name for door in doors if piece is not None and goes_through(piece, door)]
    return Handling(
        item=product.id,
        name=name,
        count=count,
        piece=piece,
        piece_mass=snap(mass) if mass is not None else None,
        total_mass=snap(mass * float(count), 0.1) if mass is not None else None,
        people=people,
        passes=passes,
        stops=[door.name for door in doors if piece is not None and door.name not in passes],
    )


def goes_through(piece: tuple[float, float, float], door: Door) -> bool:
    """Whether a piece goes through lengthwise, upright or flat.

    >>> door = Door("hall door", 838.2, 2082.8)
    >>> goes_through((50.8, 1219.2, 2743.2), door), goes_through((900.0, 1000.0, 2000.0), door)
    (True, False)
    """
    thin, broad, _ = piece
    width = door.width - CLEAR
    height = math.inf if door.height is None else door.height - CLEAR
    return (thin <= width and broad <= height) or (broad <= width and thin <= height)


def _piece(product: Product) -> tuple[float, float, float] | None:
    sides = [
        float(side.mm) if side is not None else None for side in (product.length, product.width, product.thickness)
    ]
    length, width, thickness = sides
    if product.form == "roll":
        if length is None or width is None or thickness is None:
            return None
        across = snap(rolled_diameter(length * width, thickness, width))
        return (across, across, width) if across <= width else (width, across, across)
    known = sorted(side for side in sides if side is not None)
    return (known[0], known[1], known[2]) if len(known) == 3 else None


def _mass(product: Product) -> float | None:
    if product.length is None or product.width is None:
        return None
    area = float(product.length.mm * product.width.mm) / 1e6
    if product.mass_per_area is not None:
        return area * float(product.mass_per_area)
    if product.density is not None and product.thickness is not None:
        return area * float(product.thickness.mm) / 1e3 * float(product.density)
    return None
