"""Budget heads by number, in the order bills come. Common practice, no published source."""

from __future__ import annotations

HEADS = {
    1: "Lease, deposit, utilities start",
    2: "Permits, surveys, professional fees",
    3: "Insurance",
    4: "Strip-out and waste",
    5: "Licensed trades",
    6: "Slab preparation",
    7: "Paint",
    8: "Floor: barrier, frame, foam, tape",
    9: "Cover",
    10: "Ramps and edges",
    11: "Wall panels",
    12: "Mirrors",
    13: "Changing area, benches, lockers",
    14: "Entry, desk, shoes, viewing",
    15: "Storage",
    16: "Signs and exit signs",
    17: "First aid, extinguishers, cleaning kit",
    18: "Tools bought and hired",
    19: "Freight, lifting gear, skips",
    20: "Volunteers: meals, gloves, thanks",
    21: "Training equipment",
    22: "Tax",
    23: "Contingency",
    24: "Float for the first quiet months",
}

FREIGHT = 19
TAX = 22
OTHER = 23
"""Where money lands whose item names no head."""
FLOAT = 24
"""Kept apart from the build: it is in no total."""
