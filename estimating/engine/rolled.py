"""A rolled cover: how thick the roll is, how many places there are to hold it, how many people it takes."""

from __future__ import annotations

import math

PACKING = 0.75
"""Share of a hand-rolled roll that is fabric (0.70–0.85). Common practice, no published source."""
SHARE = 18.14
"""kg (40 lb) planned per carrier, below the 51 lb that NIOSH 94-110 allows in ideal conditions only."""
IDEAL = 23.133
"""kg (51 lb): NIOSH's load constant, what its lifting equation allows one person who stands, with both hands, close to
the body, now and then. It is not made for carrying; NIOSH 94-110 (revised 2021), pages 6 and 7."""
HOLD_EVERY = 609.6
"""mm (2 ft) of roll per pair of hands."""
SAG_EVERY = 1828.8
"""mm (6 ft) of roll that needs two people so that it does not sag."""


def rolled_diameter(
    area: float, thickness: float, width: float, *, core: float = 0.0, packing: float = PACKING
) -> float:
    """Diameter of goods of ``area`` mm² rolled to ``width`` mm on a core, mm.

    The roll's end is a ring of π(D² − d²)/4 and holds area × thickness ÷ (width × packing) of goods.

    >>> round(rolled_diameter(2770 * 304.8**2, 1.27, 24 * 304.8) / 25.4, 1)
    10.8
    """
    if area <= 0 or thickness <= 0 or width <= 0:
        return core
    return math.sqrt(core**2 + 4 * area * thickness / (math.pi * width * packing))


def places_to_hold(width: float) -> int:
    """Hands fit on both sides of the roll, one pair every 2 ft.

    >>> places_to_hold(24 * 304.8)
    24
    """
    return 2 * math.floor(width / HOLD_EVERY + 1e-9)


def share_out(mass: float, share: float) -> int:
    """People for ``mass`` kg at ``share`` kg each.

    >>> share_out(150 * 0.45359237, IDEAL)  # 150 lb at 51 lb
    3
    """
    return max(0, math.ceil(mass / share - 1e-6))


def carriers_needed(mass: float, width: float) -> int:
    """People for a roll of ``mass`` kg and ``width`` mm: by the share a head, and two to every 6 ft of roll.

    >>> carriers_needed(917 * 0.45359237, 24 * 304.8)
    23
    """
    if mass <= 0:
        return 0
    return max(share_out(mass, SHARE), 2 * math.ceil(width / SAG_EVERY - 1e-9))
