"""Cut plans drawn: one sheet, length or run of roll with every piece where it is cut."""

from __future__ import annotations

from itertools import pairwise

from buildout.rooms.engine.drawing import SMALL, Drawing, Item, Polygon, Text, dimension, rectangle
from buildout.units.lengths import UnitSystem, format_length, format_run
from estimating.engine.types import CutPiece, CutPlan, CutStock

SLENDER = 30.0
"""Stock longer than this many times its width is drawn wider than it is, and says so."""
ROW = 10.0
"""A run of roll is drawn in rows no longer than this many times its width, if its pieces allow."""
BETWEEN = 0.09
"""Room for dimensions between rows, as a share of their length."""

Ring = list[tuple[float, float]]


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

    A long run of roll goes on in rows, one below the other, broken where no piece lies across. Each piece carries its
    name and size as a title and its name in lettering.
    """
    rows = _rows(stock) if plan.form == "roll" else [(0.0, stock.length)]
    longest = max(end - start for start, end in rows)
    stretch = max(1.0, longest / SLENDER / stock.width) if stock.width else 1.0
    height = stock.width * stretch
    step = height + max(0.9 * height, longest * BETWEEN)
    items: list[Item] = []
    for number, (start, end) in enumerate(rows):
        low = -number * step

        def put(piece: CutPiece, start: float = start, low: float = low) -> Ring:
            return rectangle(piece.x - start, low + piece.y * stretch, piece.length, piece.width * stretch)

        size = f"{format_length(stock.length, units)} × {format_length(stock.width, units)}"
        if len(rows) > 1:
            size += f", from {format_length(start, units)} to {format_length(end, units)}"
        items.append(Polygon(outline=rectangle(0, low, end - start, height), role="stock", title=size))
        # By their middles: a piece may begin a hair before the cut that its row begins with.
        for pieces, offcut in ((stock.pieces, False), (stock.offcuts, True)):
            for piece in pieces:
                if start <= piece.x + piece.length / 2 < end:
                    items += _piece(piece, put(piece), units, offcut=offcut)
        items.append(dimension((0, low), (end - start, low), units, offset=-5, denominator=16))
        if number:
            items.append(
                Text(
                    at=(0, low + height / 2), text=f"from {format_length(start, units).removesuffix(' mm')}",
                    role="small label", size=SMALL, anchor="end", shift=(-2.5, 0.0), roam=0,
                )
            )  # fmt: skip
    items.append(
        dimension((0, 0), (0, height), units, offset=5, text=format_length(stock.width, units).removesuffix(" mm"))
    )
    notes = ["Drawn wider than it is; lengths are to scale."] if stretch > 1 else []
    if len(rows) > 1:
        notes.append(f"One run of {format_run(stock.length, units)}, row below row.")
    count = len(stock.pieces)
    return Drawing(
        items=items,
        title=f"{plan.form.capitalize()} {stock.number}",
        description=f"{count} piece{'' if count == 1 else 's'} cut from one {plan.form}: "
        + ", ".join(f"{p.piece} {_size(p, units)}" for p in stock.pieces),
        units=units,
        notes=notes,
    )


def _rows(stock: CutStock) -> list[tuple[float, float]]:
    """Where the rows of a long run begin and end.

    >>> piece = [CutPiece(piece="p", x=1000.0 * n, y=0, length=1000, width=500) for n in range(12)]
    >>> _rows(CutStock(number=1, length=12_000.0, width=500, pieces=piece, offcuts=[]))
    [(0.0, 5000.0), (5000.0, 10000.0), (10000.0, 12000.0)]
    """
    here = [(piece.x, piece.x + piece.length) for piece in (*stock.pieces, *stock.offcuts)]
    marks = sorted({0.0, stock.length, *(x for ends in here for x in ends if 0 < x < stock.length)})
    clear = [x for x in marks if not any(a + 0.01 < x < b - 0.01 for a, b in here)]
    most = max([ROW * stock.width, *(b - a for a, b in pairwise(clear))])
    if stock.length <= most or len(clear) < 2:
        return [(0.0, stock.length)]
    rows = [(clear[0], clear[0])]
    for mark in clear[1:]:
        if mark - rows[-1][0] > most + 0.01:
            rows.append((rows[-1][1], mark))
        else:
            rows[-1] = (rows[-1][0], mark)
    return rows


def _size(piece: CutPiece, units: UnitSystem) -> str:
    return f"{format_length(piece.length, units)} × {format_length(piece.width, units)}"


def _piece(piece: CutPiece, ring: Ring, units: UnitSystem, *, offcut: bool) -> list[Item]:
    title = f"{'Kept: ' if offcut else ''}{piece.piece}, {_size(piece, units)}{', turned' if piece.turned else ''}"
    wide, high = ring[2][0] - ring[0][0], ring[2][1] - ring[0][1]
    upright = high > wide * 1.5
    return [
        Polygon(
            outline=ring, role="offcut" if offcut else "cut piece", hatch="sparse" if offcut else "", title=title
        ),
        Text(
            at=(ring[0][0] + wide / 2, ring[0][1] + high / 2), text=piece.piece, role="small label", size=SMALL,
            turn=90.0 if upright else 0.0, inside=high if upright else wide, deep=wide if upright else high,
            clear=offcut, title=title,
        ),
    ]  # fmt: skip
