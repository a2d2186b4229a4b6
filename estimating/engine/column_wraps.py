"""Padded jackets round columns: how far round they go, in how many parts, their blanks and mass.

Foam of 2 in at least, closed with hook-and-loop on a 3 in lap: common practice, no published source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from buildout.rooms.engine.types import PlacedColumn
from buildout.units.value import Reason, snap
from estimating.engine.low_walls import mass_per_area, parts_mass
from estimating.engine.pinned_runs import Run, divide, evenly, shares
from estimating.engine.types import Panel, Pin, Product, WallSystem

WRAP_FOAM = 50.8
"""Least foam round a column, mm (2 in)."""
WRAP_LAP = 76.2
"""mm (3 in) by which a part of a jacket laps the next."""


def wrap_column(
    column: PlacedColumn,
    system: WallSystem,
    products: Mapping[str, Product],
    pins: Sequence[Pin],
    reasons: list[Reason],
) -> list[Panel]:
    """A padded jacket round a column, in as few vertical parts as the fabric's width allows.

    A round jacket's girth is π × (diameter + 2 × foam); a rectangular one is the column's girth and eight times the
    foam, which is all the sheets that lie on each other. Every part closes on the next with a lap. Parts carry the
    column's name in ``wall``.
    """
    sheets, foam = wrap_sheets(products[system.foam]), wrap_foam(products[system.foam])
    foam_mass, face_mass = mass_per_area(products[system.foam]), mass_per_area(products[system.face])
    masses = (foam_mass * sheets if foam_mass is not None else None, face_mass)
    if column.shape == "round" and column.diameter is not None:
        girth = math.pi * (column.diameter + 2 * foam)
    else:
        ring = column.outline
        girth = sum(math.dist(a, b) for a, b in zip(ring, ring[1:] + ring[:1], strict=True)) + 8 * foam
    extra = WRAP_LAP + 2 * float(system.turn_back_side)
    goods = products[system.face].width
    usable = (float(goods) if goods is not None else math.inf) - extra
    height = float(system.height)
    along = snap(height + 2 * (foam + float(system.turn_back_end)))
    own = [pin for pin in pins if (pin.layer, pin.wall) == ("wraps", column.id)]
    longest = usable if usable > 0 else math.inf
    parts, refusals = divide(Run(snap(girth), longest, WRAP_LAP, "part of the jacket"), own)
    reasons += refusals
    return [
        Panel(
            id=f"{column.id}.{number:02d}", wall=column.id, kind="wrap", start=start, width=wide,
            bottom=snap(float(system.bottom)), height=snap(height), board=(0.0, 0.0), face=(along, snap(wide + extra)),
            foam=(snap(height), wide), thickness=snap(foam),
            mass=parts_mass(((height, wide), (along, wide + extra)), masses),
        )
        for number, (start, wide) in enumerate(shares(parts, evenly(longest)), 1)
    ]  # fmt: skip


def wrap_sheets(foam: Product) -> int:
    """Sheets of the panels' foam that are laid on each other round a column: as many as reach ``WRAP_FOAM``."""
    thickness = float(foam.thickness) if foam.thickness is not None else 0.0
    return max(1, math.ceil(WRAP_FOAM / thickness - 1e-6)) if thickness > 0 else 1


def wrap_foam(foam: Product) -> float:
    """mm of foam round a column: whole sheets, or ``WRAP_FOAM`` where the foam states no thickness."""
    return wrap_sheets(foam) * float(foam.thickness) if foam.thickness is not None else WRAP_FOAM
