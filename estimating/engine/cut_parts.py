"""What all cut plans share: whole steps of 0.1 mm, what is worth keeping, and how a plan is summed up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal

from buildout.units.value import Reason, Status, snap
from estimating.engine.cut_order import HAIR, Rect, free_rectangles
from estimating.engine.limits import stopped_after
from estimating.engine.said import length as said
from estimating.engine.types import CutDemand, CutPiece, CutPlan, CutStock, Product

STEPS_PER_MM = 10
KEEP_TIMBER_SHEET = (304.8, 609.6)
KEEP_FOAM_SHEET = (304.8, 1219.2)
KEEP_LENGTH = 609.6
KEEP_ROLL = 457.2
KEEP_COVER = 1828.8
"""Smallest left-overs worth booking in, mm: plywood 12 × 24 in, foam 12 × 48 in, lengths 2 ft, roll goods
18 in, cover fabric 2 yd. Common practice, no published source."""
KEEP_STRIP = 152.4
"""mm (6 in): a narrower strip beside blanks off a roll is scrap. Common practice, no published source."""


@dataclass
class Wanted:
    """All that is to be cut from one product."""

    pieces: list[CutDemand] = field(default_factory=list)
    whole: list[str] = field(default_factory=list)


def steps(millimetres: float | Decimal) -> int:
    """Millimetres as whole steps of 0.1 mm, half up.

    >>> steps(1217.6125), steps(3.175)
    (12176, 32)
    """
    return int((Decimal(str(millimetres)) * STEPS_PER_MM).to_integral_value(ROUND_HALF_UP))


def mm(count: int) -> float:
    return count / STEPS_PER_MM


def to_the_end(size: float, sides: Sequence[float]) -> float:
    """A piece's side, or the stock's own where no more than a hair would have to come off.

    >>> to_the_end(2743.0, [2743.2, 1219.2]), to_the_end(2742.0, [2743.2, 1219.2]), to_the_end(2743.3, [2743.2])
    (2743.2, 2742.0, 2743.3)
    """
    return min((side for side in sides if size <= side < size + HAIR), default=size)


def mm2(count: int) -> float:
    return snap(count / STEPS_PER_MM**2)


def missing(product: Product, form: str, what: str) -> CutPlan:
    reason = Reason(
        code="product size missing", where=product.id, severity="stop",
        text=f"{product.name} is cut to size, but its {what} is not given",
        todo=f"Give the product's {what}, for instance 8' or 2440 mm",
    )  # fmt: skip
    return CutPlan(
        product=product.id, form=form, status="infeasible", value=0.0, bound=0.0, stock=[],  # type: ignore[arg-type]
        used_area=0.0, waste_area=0.0, waste_share=0.0, reasons=[reason],
    )  # fmt: skip


def _drawn(value: float, unit: str) -> str:
    return said(value) if unit == "mm" else f"{value:g} {unit}"


def too_large(product: Product, demands: Sequence[CutDemand]) -> list[Reason]:
    """Pieces that no stock is large enough for, those of one size told together."""
    sizes: dict[tuple[float, float], list[str]] = {}
    for demand in demands:
        sizes.setdefault((float(demand.length), float(demand.width)), []).append(demand.piece)
    stock = " × ".join(said(float(side)) for side in (product.length, product.width) if side is not None)
    turned = "" if product.turns or product.form == "length" else " and may not be turned"
    found = []
    for (length, width), names in sizes.items():
        size = said(length) + (f" × {said(width)}" if width else "")
        who = f"{names[0]} needs" if len(names) == 1 else f"{len(names)} pieces, the first {names[0]}, need"
        found.append(
            Reason(
                code="piece larger than stock", where=names[0], severity="stop",
                text=f"{who} {size}, but {product.name} is {stock}{turned}",
                todo="Choose larger goods, name a larger size these are sold in, or a layout with smaller pieces",
            )
        )  # fmt: skip
    return found


def finished(
    product: Product, form: str, *, value: float, bound: float, stock: list[CutStock], areas: tuple[int, int, int, int],
    scale: int, large: list[Reason], unit: str, stopped: str,
) -> CutPlan:  # fmt: skip
    """``areas``: pieces, offcuts, kerf, scrap in whole steps; ``scale`` of them make one mm² (or mm).

    ``stopped``: limits the search ran into, in words.
    """
    used, offcut, kerf, scrap = (snap(a / scale) for a in areas)
    waste_count = areas[1] + areas[2] + areas[3]
    total = areas[0] + waste_count
    proven = not large and value <= bound + 1e-9
    reasons = list(large)
    if not large and not proven:
        reasons.append(
            Reason(
                code="cut plan not proven best",
                where=product.id,
                text=(
                    f"{product.name}: {_drawn(value, unit)} drawn; no plan could need less than "
                    f"{_drawn(bound, unit)}, {100 * (value - bound) / value:.1f} % below. {stopped_after(stopped)}"
                ).rstrip(),
            )
        )
    status: Status = "infeasible" if large else "proven" if proven else "feasible"
    return CutPlan(
        product=product.id, form=form, status=status, value=value, bound=bound, stock=stock,  # type: ignore[arg-type]
        used_area=used, offcut_area=offcut, kerf_area=kerf, scrap_area=scrap, waste_area=snap(waste_count / scale),
        waste_share=snap(waste_count / total, 0.0001) if total else 0.0, reasons=reasons,
        stopped_by=stopped if status == "feasible" else "",
    )  # fmt: skip


def keeps(product: Product) -> tuple[float, float]:
    """Smallest left-over of a product worth keeping, mm: (short side, long side); for lengths (0, length)."""
    if product.form == "length":
        return (0.0, KEEP_LENGTH)
    if product.form == "roll":
        return (KEEP_STRIP, KEEP_COVER if product.lead_group == "cover" else KEEP_ROLL)
    return KEEP_TIMBER_SHEET if product.lead_group == "timber" else KEEP_FOAM_SHEET


def kerf_of(product: Product) -> float:
    """Kerf in mm, in whole steps."""
    return mm(steps(product.kerf.mm)) if product.kerf else 0.0


class FirstCuts:
    """Which way stock of a product is divided first, worked out once for all stock that is cut alike."""

    def __init__(self, product: Product) -> None:
        self._product = product
        self._kerf, self._keep = kerf_of(product), keeps(product)
        self._seen: dict[tuple[object, ...], tuple[Literal["rip", "crosscut"], list[Rect]]] = {}

    def __call__(
        self, length: float, width: float, pieces: Sequence[CutPiece]
    ) -> tuple[Literal["rip", "crosscut"], list[Rect]]:
        """The first cut, and what is then left of the stock (as ``free_rectangles`` gives it).

        Sheets so that most is left worth keeping, as far as the tool leaves a choice. Raises ValueError where the
        pieces cannot be parted by straight cuts.
        """
        key = (length, width, *((p.x, p.y, p.length, p.width) for p in pieces))
        if key not in self._seen:
            self._seen[key] = self._found(length, width, pieces)
        return self._seen[key]

    def _found(
        self, length: float, width: float, pieces: Sequence[CutPiece]
    ) -> tuple[Literal["rip", "crosscut"], list[Rect]]:
        if self._product.form != "sheet":
            return "crosscut", free_rectangles(length, width, pieces, self._kerf, first="crosscut")
        ripped = free_rectangles(length, width, pieces, self._kerf, first="rip")
        if self._product.cuts == "rips, then crosscuts" or not ripped:
            return "rip", ripped
        crossed = free_rectangles(length, width, pieces, self._kerf, first="crosscut")
        return ("crosscut", crossed) if self._worth(crossed) > self._worth(ripped) else ("rip", ripped)

    def _worth(self, left: list[Rect]) -> int:
        short, long = self._keep
        return sum(steps(a) * steps(b) for _, _, a, b in left if max(a, b) >= long and min(a, b) >= short)
