"""What became of an order line, and what to look at when goods arrive."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from buildout.units.lengths import Length, UnitSystem, format_length
from buildout.units.value import Reason, Value
from buildout.units.words import counted

WIDTH_SHORT = Decimal("3.0")
"""mm a measured width may be under the width ordered. Common practice, no published source."""
THICKNESS_SHARE = Decimal("0.05")
THICKNESS_LEAST = Decimal("1.6")
"""A mean thickness off by more than 5 % and 1/16 in is not what was ordered. Common practice, no published source;
the maker's data sheet states the tolerance that counts."""
THICKNESS_SPREAD = Decimal("3.2")
"""mm between the thinnest and the thickest reading that can still be felt underfoot. Common practice as well."""
READINGS = 5
"""Places of a piece where its thickness is read."""


class LineStanding(Value, kw_only=True):
    """Where one order line stands. Always: ordered + over = received + outstanding + cancelled."""

    ordered: Decimal
    """As sent, and what agreed change orders added since."""
    received: Decimal
    """Accepted; what came damaged is not received."""
    outstanding: Decimal
    cancelled: Decimal
    over: Decimal
    """Accepted beyond what was still due."""


def standing(sent: Decimal, agreed: Iterable[Decimal], accepted: Iterable[Decimal]) -> LineStanding:
    """``agreed``: the line's quantity after each agreed change order, in their order; ``accepted``: per delivery.

    >>> found = standing(Decimal(40), [Decimal(44), Decimal(42)], [Decimal(30), Decimal(8)])
    >>> found.ordered, found.received, found.outstanding, found.cancelled
    (Decimal('44'), Decimal('38'), Decimal('4'), Decimal('2'))
    """
    ordered = due = sent
    for after in agreed:
        ordered += max(after - due, Decimal(0))
        due = after
    received = sum(accepted, Decimal(0))
    return LineStanding(
        ordered=ordered,
        received=received,
        outstanding=max(due - received, Decimal(0)),
        cancelled=ordered - due,
        over=max(received - due, Decimal(0)),
    )


class ArrivedLine(Value, kw_only=True):
    """One item as it was found on arrival, beside what was due."""

    item: str
    name: str
    unit: str
    due: Decimal
    accepted: Decimal
    damaged: Decimal = Decimal(0)
    lots: list[str] = []
    """Batch or shade lots on the labels."""
    earlier_lots: list[str] = []
    """Lots of the same item that are on site already."""
    width: Length | None = None
    thickness: list[Length] = []
    stated_width: Length | None = None
    stated_thickness: Length | None = None
    shaded: bool = False
    """Its colour shows, so that two lots side by side are seen."""


def check_arrival(lines: list[ArrivedLine], units: UnitSystem = "feet-inches") -> list[Reason]:
    """What is not as ordered, worst first in each line: count, damage, shade lot, width, thickness."""
    found: list[Reason] = []
    for line in lines:
        found += _counted(line) + _lots(line) + _measured(line, units)
    return found


def _warn(line: ArrivedLine, code: str, text: str, todo: str) -> Reason:
    return Reason(code=code, where=line.item, severity="warning", text=f"{line.name}: {text}", todo=todo)


def _counted(line: ArrivedLine) -> list[Reason]:
    found = []
    there = line.accepted + line.damaged
    if there < line.due:
        found.append(
            _warn(line, "short", f"{counted(line.due - there, line.unit)} short of {line.due:,f}",
                  "Write it on the delivery slip before signing and ask for the day the rest comes")
        )  # fmt: skip
    if there > line.due:
        found.append(
            _warn(line, "over", f"{counted(there - line.due, line.unit)} more than was due",
                  "Ask whether it is invoiced; say in writing that it was not ordered")
        )  # fmt: skip
    if line.damaged > 0:
        found.append(
            _warn(line, "damaged", f"{counted(line.damaged, line.unit)} damaged",
                  "Photograph it, note it on the slip before signing, and claim within the carrier's window, "
                  "often 24 to 72 hours")
        )  # fmt: skip
    return found


def _lots(line: ArrivedLine) -> list[Reason]:
    lots = sorted({*line.lots, *line.earlier_lots})
    if line.shaded and len(lots) > 1:
        return [
            _warn(line, "several lots", f"more than one lot: {', '.join(lots)}",
                  "Keep each lot to one wall, or have it exchanged; compare with the sample in daylight")
        ]  # fmt: skip
    return []


def _measured(line: ArrivedLine, units: UnitSystem) -> list[Reason]:
    found = []

    def said(mm: Decimal) -> str:
        return format_length(mm, units)

    if line.width is not None and line.stated_width is not None:
        short = line.stated_width.mm - line.width.mm
        if short > WIDTH_SHORT:
            found.append(
                _warn(line, "too narrow", f"{said(line.width.mm)} wide instead of {said(line.stated_width.mm)}",
                      "The cut plan was made for the full width: do not cut before it is worked out again")
            )  # fmt: skip
    if line.thickness and line.stated_thickness is not None:
        readings = [reading.mm for reading in line.thickness]
        mean = sum(readings, Decimal(0)) / len(readings)
        stated = line.stated_thickness.mm
        if abs(mean - stated) > max(stated * THICKNESS_SHARE, THICKNESS_LEAST):
            found.append(
                _warn(line, "wrong thickness", f"{said(mean)} thick on average instead of {said(stated)}",
                      "Compare with the maker's stated tolerance; panels and mats beside it will not be flush")
            )  # fmt: skip
        if max(readings) - min(readings) > THICKNESS_SPREAD:
            found.append(
                _warn(line, "uneven thickness", f"readings from {said(min(readings))} to {said(max(readings))}",
                      "Sort the pieces by thickness before laying, or have them exchanged")
            )  # fmt: skip
    return found
