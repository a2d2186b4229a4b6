"""Where searches stop. Every limit counts work, never seconds, so that a search ends alike on every machine.

Each has one name and one way to be said; a search that runs into one puts it down in its ``Work``, and a plan that is
not proven best then says which limits it was.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

from buildout.rooms.engine.observations import listed

LimitName = Literal[
    "length rounds", "length steps", "length patterns", "length choice", "length proof",
    "fitting tries", "fitting orders", "free rounds", "pricing joins", "round joins", "raising rounds", "raising joins",
    "dive joins", "dives", "choice", "proof joins", "patterns listed", "proof",
    "stock rounds", "stock joins", "stock proof joins", "stock choice",
    "roll orders", "roll choice", "remnant orders",
    "layouts cut out", "pairs of layouts", "grids of mats", "widths of goods",
]  # fmt: skip


class Limit(NamedTuple):
    most: int
    words: str
    """What there are at most so many of."""


LIMITS: dict[LimitName, Limit] = {
    # Lengths, and levels of rolls, whose bound is a problem of lengths.
    "length rounds": Limit(400, "rounds of pricing patterns of lengths"),
    "length steps": Limit(400_000, "steps of listing patterns of lengths"),
    "length patterns": Limit(20_000, "patterns of lengths listed"),
    "length choice": Limit(2_000, "branches of the choice among patterns of lengths"),
    "length proof": Limit(10_000, "branches of the choice among all patterns of lengths that a better plan could use"),
    # Sheets of one size.
    "fitting tries": Limit(150_000, "tries of a piece in a free space"),
    "fitting orders": Limit(300, "mixed orders of the pieces"),
    "free rounds": Limit(80, "rounds of pricing patterns of any number of pieces"),
    "pricing joins": Limit(6_000_000, "pairs of parts looked at in pricing patterns"),
    "round joins": Limit(200_000, "pairs of parts looked at in one round of pricing"),
    "raising rounds": Limit(8, "rounds of raising the bound"),
    "raising joins": Limit(3_000_000, "pairs of parts looked at in raising the bound"),
    "dive joins": Limit(8_000_000, "pairs of parts looked at in fixing one pattern after another"),
    "dives": Limit(6, "ways of fixing one pattern after another"),
    "choice": Limit(300, "branches of the choice among patterns"),
    "proof joins": Limit(6_000_000, "pairs of parts looked at in listing all patterns that a better plan could use"),
    "patterns listed": Limit(30_000, "patterns listed"),
    "proof": Limit(3_000, "branches of the choice among all patterns that a better plan could use"),
    # Several sizes and remnants.
    "stock rounds": Limit(120, "rounds of pricing patterns over all stock"),
    "stock joins": Limit(400_000, "pairs of parts looked at in pricing one pattern"),
    "stock proof joins": Limit(3_000_000, "pairs of parts looked at in listing patterns over all stock"),
    "stock choice": Limit(3_000, "branches of the choice among patterns over all stock"),
    # Rolls.
    "roll orders": Limit(120, "orders of the blanks"),
    "roll choice": Limit(500, "branches of the choice among levels"),
    "remnant orders": Limit(20, "orders of the blanks on what is in stock"),
    # Layouts.
    "layouts cut out": Limit(160, "layouts a direction cut out of the field"),
    "pairs of layouts": Limit(1_500, "pairs of layouts compared joint by joint"),
    "widths of goods": Limit(4, "widths of one layer's goods"),
    "grids of mats": Limit(8, "shares of the free space tried besides every corner"),
}


class Work:
    """How much work a search may do, and which limits it ran into. ``most``: other limits than the usual ones.

    >>> work = Work({"dives": 2})
    >>> work["dives"], work["length rounds"]
    (2, 400)
    >>> work.out("dives"), work.out("choice"), work.out("dives"), work.said()
    (None, None, None, '2 ways of fixing one pattern after another and 300 branches of the choice among patterns')
    """

    def __init__(self, most: Mapping[LimitName, int] | None = None) -> None:
        self._most = dict(most or {})
        self._out: dict[LimitName, None] = {}

    def __getitem__(self, name: LimitName) -> int:
        return self._most.get(name, LIMITS[name].most)

    def out(self, name: LimitName) -> None:
        """Put down that a limit was reached with work left to do."""
        self._out[name] = None

    def said(self) -> str:
        """The limits reached, in the order they were; empty: none."""
        return listed([f"{self[name]:,} {LIMITS[name].words}" for name in self._out]) if self._out else ""


def stopped_after(said: str) -> str:
    """A sentence of it, or nothing where no limit was reached."""
    return f"The search stops after {said}, the same on every machine." if said else ""
