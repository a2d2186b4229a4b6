"""Panels, caps and jackets of a room by size: how many there are alike, and what each is made from."""

from __future__ import annotations

from collections.abc import Sequence

from buildout.units.value import Value, snap
from estimating.engine.types import Panel, WallLayout

ORDER = ("full", "removable", "end", "cut-out", "low", "cap", "wall end", "wrap")
ALIKE = 0.05
"""mm by which pieces that are made alike may differ: what rounding to the grid leaves where a run is shared out."""


class PanelSize(Value, kw_only=True):
    """Pieces that are made alike, cut-outs apart. Lengths in mm, mass in kg."""

    kind: str
    ids: list[str]
    width: float
    height: float
    """Of a cap its depth across the wall."""
    board: tuple[float, float]
    """Along the height, across; zeros where there is none."""
    foam: tuple[float, float]
    face: tuple[float, float]
    """Fabric blank: along the goods, across."""
    edge: tuple[float, float]
    """What the fabric has beyond the visible face at each end of the blank, and at each side: over the foam's edge and
    the board's, and turned back. Of a part of a jacket half of its lap and turn-backs."""
    cut_out: list[str]
    """Pieces among them that are cut round a service."""
    staples: int
    """To each."""
    mass: float
    """Of each; 0 where a density is missing."""

    @property
    def count(self) -> int:
        return len(self.ids)

    @property
    def names(self) -> str:
        return in_short(self.ids)

    @property
    def ear(self) -> float:
        """mm² of fabric folded in at each corner."""
        return self.edge[0] * self.edge[1]


def in_short(ids: Sequence[str]) -> str:
    """Names of pieces wall by wall, neighbours in the count taken together.

    >>> in_short(["A-B.02", "A-B.03", "A-B.04", "A-B.07", "B-C.01", "B-C.02", "D-E.c1"])
    'A-B.02–04, 07; B-C.01, 02; D-E.c1'
    """
    walls: dict[str, list[list[str]]] = {}
    for name in ids:
        wall, _, number = name.rpartition(".")
        runs = walls.setdefault(wall, [])
        last = runs[-1][-1] if runs else ""
        if last.isdigit() and number.isdigit() and int(number) == int(last) + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    told = []
    for wall, runs in walls.items():
        parts = [f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs]
        told.append(f"{wall}.{', '.join(parts)}")
    return "; ".join(told)


def panel_sizes(layout: WallLayout) -> list[PanelSize]:
    """Every piece of a room's walls once, whole panels first, then the largest.

    A panel cut round a service is made like those of its size, and named among them.

    >>> panel = Panel(id="A-B.01", wall="A-B", kind="full", start=0, width=1219.2, bottom=0, height=1828.8,
    ...     board=(1828.8, 1219.2), face=(2032.0, 1371.6))
    >>> cut = Panel(id="A-B.02", wall="A-B", kind="cut-out", start=1219.2, width=1219.2, bottom=0, height=1828.8,
    ...     board=(1828.8, 1219.2), face=(2032.0, 1371.6), clear_of=["outlet"])
    >>> from estimating.engine.types import WallElevation
    >>> wall = WallElevation(wall="A-B", length=2438.4, panels=[panel, cut], free=[], cleat_length=0, cap_length=0)
    >>> one, = panel_sizes(WallLayout(room="r", system="s", status="feasible", elevations=[wall], wraps=[],
    ...     full_count=1, low_count=0, special_count=1, panel_run=0, panel_area=0, reasons=[]))
    >>> one.count, one.cut_out, one.edge
    (2, ['A-B.02'], (101.6, 76.2))
    """
    pieces = [p for e in layout.elevations for p in (*e.panels, *e.trims)] + layout.wraps
    groups: list[list[Panel]] = []
    for piece in sorted(pieces, key=lambda p: (_made_as(p), p.height, p.width, p.id)):
        if groups and _made_as(groups[-1][0]) == _made_as(piece) and _close(groups[-1][0], piece):
            groups[-1].append(piece)
        else:
            groups.append([piece])
    found = [_size(sorted(group, key=lambda p: p.id)) for group in groups]
    return sorted(found, key=lambda s: (ORDER.index(s.kind), -s.width * s.height, s.ids))


def _made_as(piece: Panel) -> str:
    """Whether a panel is whole or an end, with a cut-out or without, it is made to its size."""
    return piece.kind if piece.kind in ("cap", "wall end", "wrap", "removable") else "panel"


def _close(one: Panel, two: Panel) -> bool:
    sizes = [
        (p.width, p.height, p.thickness, *p.board, *p.foam, *p.face) for p in (one, two)
    ]  # fmt: skip
    return all(abs(a - b) <= ALIKE for a, b in zip(*sizes, strict=True))


def _size(group: list[Panel]) -> PanelSize:
    first = group[0]
    kinds = {panel.kind for panel in group}
    kind = next(k for k in ORDER if k in kinds)
    # A cap lies along the wall: its blank's long side is its width.
    visible = (first.width, first.height) if kind == "cap" else (first.height, first.width)
    return PanelSize(
        kind=kind,
        ids=[panel.id for panel in group],
        width=first.width,
        height=first.height,
        board=first.board,
        foam=first.foam,
        face=first.face,
        edge=(snap((first.face[0] - visible[0]) / 2), snap((first.face[1] - visible[1]) / 2)),
        cut_out=[panel.id for panel in group if panel.clear_of],
        staples=first.staples,
        mass=first.mass,
    )
