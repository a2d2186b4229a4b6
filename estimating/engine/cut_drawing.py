"""Cut plans drawn: one sheet, length or run of roll with every piece where it is cut."""

from __future__ import annotations

from buildout.rooms.engine.drawing import SMALL, Drawing, Item, Polygon, Text, dimension, rectangle
from buildout.units.lengths import UnitSystem, format_length
from estimating.engine.types import CutPiece, CutPlan, CutStock

SLENDER = 30.0
"""Stock longer than this many times its width is drawn wider than it is, and says so."""


def alike(plan: CutPlan) -> list[tuple[list[int], CutStock]]:
    """Stock that is cut the same way, together: the numbers of all of them and the first one.

    Two pieces are the same cut when place and size agree, whatever they are called.
    """
    found: dict[tuple[object, ...], tuple[list[int], CutStock]] = {}
    for stock in plan.stock:
        shape = (stock.length, stock.width, *((p.x, p.y, p.length, p.width) for p in stock.pieces))
        found.setdefault(shape, ([], stock))[0].append(stock.number)
    return list(found.values())


def draw_stock(plan: CutPlan, stock: CutStock, units: UnitSystem = "feet-inches") -> Drawing:
    """Draw one sheet, length or run of roll, long side across, pieces lettered, offcuts hatched.

    Each piece carries its name and size as a title; names and sizes are lettered where there is room.
    """
    stretch = max(1.0, stock.length / SLENDER / stock.width) if stock.width else 1.0
    items: list[Item] = [
        Polygon(
            outline=_box(0, 0, stock.length, stock.width, stretch), role="stock",
            title=f"{format_length(stock.length, units)} × {format_length(stock.width, units)}",
        )
    ]  # fmt: skip
    for piece in stock.pieces:
        items += _piece(piece, stretch, units, offcut=False)
    for piece in stock.offcuts:
        items += _piece(piece, stretch, units, offcut=True)
    items.append(dimension((0, 0), (stock.length, 0), units, offset=-5))
    height = stock.width * stretch
    items.append(dimension((0, 0), (0, height), units, offset=5, text=format_length(stock.width, units)))
    count = len(stock.pieces)
    return Drawing(
        items=items,
        title=f"{plan.form.capitalize()} {stock.number}",
        description=f"{count} piece{'' if count == 1 else 's'} cut from one {plan.form}: "
        + ", ".join(f"{p.piece} {_size(p, units)}" for p in stock.pieces),
        units=units,
        notes=["Drawn wider than it is; lengths are to scale."] if stretch > 1 else [],
    )


def _size(piece: CutPiece, units: UnitSystem) -> str:
    return f"{format_length(piece.length, units)} × {format_length(piece.width, units)}"


def _box(x: float, y: float, length: float, width: float, stretch: float) -> list[tuple[float, float]]:
    return rectangle(x, y * stretch, length, width * stretch)


def _piece(piece: CutPiece, stretch: float, units: UnitSystem, *, offcut: bool) -> list[Item]:
    title = f"{'Kept: ' if offcut else ''}{piece.piece}, {_size(piece, units)}{', turned' if piece.turned else ''}"
    centre = (piece.x + piece.length / 2, (piece.y + piece.width / 2) * stretch)
    upright = piece.width * stretch > piece.length * 1.5
    turn, room = (90.0, piece.width * stretch) if upright else (0.0, piece.length)
    return [
        Polygon(
            outline=_box(piece.x, piece.y, piece.length, piece.width, stretch),
            role="offcut" if offcut else "cut piece", hatch="sparse" if offcut else "", title=title,
        ),
        Text(at=centre, text=piece.piece, role="small label", size=SMALL, turn=turn, inside=room, clear=offcut,
             title=title),
    ]  # fmt: skip
