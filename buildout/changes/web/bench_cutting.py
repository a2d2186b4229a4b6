"""Cutting problems with known answers: public instance files, seeded sheets of our own, and halls of growing size.

Formats of the OR-Library (Beasley, J. Oper. Res. Soc. 41, 1990, 1069-1072): ``binpack`` (bins), ``gcut`` (one
sheet, any number of each piece, value = area), ``cgcut`` (limited copies with values) and ``ngcut`` (limits from
both sides; published for free placement, and the guillotine optimum happens to be the same for the first six).
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import msgspec

if TYPE_CHECKING:
    from buildout.rooms.engine.types import RoomPlan
    from estimating.engine.types import FloorSystem, Product

T = TypeVar("T")

PUBLISHED = {
    # Falkenauer, J. Heuristics 2 (1996); the file of u120_08 says 51, shown since to be 50.
    "u120_00": 48, "u120_01": 49, "u120_02": 46, "u120_08": 50, "t60_00": 20, "t60_01": 20, "t60_02": 20,
    # Beasley, J. Oper. Res. Soc. 36 (1985); the second value, pieces turned, from G. Cintra's page of results.
    "gcut1": 56460, "gcut2": 60536, "gcut3": 61036, "gcut4": 61698,
    "gcut1 turned": 58136, "gcut2 turned": 60611, "gcut3 turned": 61626, "gcut4 turned": 62265,
    # Christofides & Whitlock, Oper. Res. 25 (1977).
    "cgcut1": 244, "cgcut2": 2892, "cgcut3": 1860,
    # Beasley, Oper. Res. 33 (1985).
    "ngcut1": 164, "ngcut2": 230, "ngcut3": 247, "ngcut4": 268, "ngcut5": 358, "ngcut6": 289,
}  # fmt: skip
"""Optima by instance."""

SHEET = (1536, 768)
"""48 × 96 in, in steps of 1/16 in."""
KERF = 2
SEEDS = 8
HALLS = (500, 3_000, 10_000, 40_000)
"""Square feet."""
JOINS = 50_000_000


class CutRow(msgspec.Struct):
    """One problem. ``found`` is counted up (value) or down (bins, sheets); ``bound`` limits it from the other side."""

    instance: str
    found: int
    bound: int
    status: str
    seconds: float
    anchor_seconds: float
    """Of the plainest method on the same pieces: first fit, one kind in rows, or the bound of the search alone."""
    published: int | None = None


def measure_cutting(folder: Path, *, seeded: bool = True) -> Iterator[CutRow]:
    """Solve every instance file in a folder, then the seeded sheets.

    Raises ValueError naming a file that is not in one of the formats, or a folder that holds none.
    """
    files = sorted(folder.glob("*.txt")) if folder.is_dir() else []
    if not files:
        raise ValueError(f"{folder} holds no instance files; it should hold files such as gcut1.txt or binpack1.txt")
    for file in files:
        reader = next((r for start, r in READERS.items() if file.stem.startswith(start)), None)
        if reader is None:
            continue
        try:
            numbers = file.read_text().split()
            yield from reader(file.stem, numbers)
        except (IndexError, ArithmeticError, UnicodeDecodeError) as error:
            raise ValueError(f"{file.name} is not in the format its name stands for: {error}") from error
    if seeded:
        for kinds in (8, 16, 24):
            for seed in range(SEEDS):
                yield sheets_row(kinds, seed)
        yield from hall_rows()


def _timed(work: Callable[[], T]) -> tuple[T, float]:
    began = time.perf_counter()
    result = work()
    return result, round(time.perf_counter() - began, 4)


def _bins(name: str, words: list[str]) -> Iterator[CutRow]:
    from estimating.engine.cut_lengths import cut_lengths

    at = 1
    for _ in range(int(words[0])):
        title, count = words[at], int(words[at + 2])
        given = [Decimal(w) for w in (words[at + 1], *words[at + 4 : at + 4 + count])]
        scale = 10 if any(w != int(w) for w in given) else 1
        capacity, *sizes = (int(w * scale) for w in given)
        at += 4 + count
        plan, seconds = _timed(partial(cut_lengths, sizes, capacity))
        anchor = _timed(partial(_first_fit, sizes, capacity))[1]
        yield CutRow(
            title, len(plan.bars), plan.bound, "proven" if plan.proven else "feasible", seconds, anchor,
            PUBLISHED.get(title),
        )  # fmt: skip


def _first_fit(sizes: list[int], room: int) -> int:
    left: list[int] = []
    for size in sorted(sizes, reverse=True):
        spot = next((k for k, free in enumerate(left) if free >= size), None)
        if spot is None:
            left.append(room - size)
        else:
            left[spot] -= size
    return len(left)


def _unlimited(name: str, words: list[str]) -> Iterator[CutRow]:
    from estimating.engine.best_sheet import best_value

    numbers = [int(w) for w in words]
    rows = [numbers[3 + 3 * k : 6 + 3 * k] for k in range(numbers[0])]
    kinds, values, sheet = [(r[0], r[1]) for r in rows], [r[2] for r in rows], (numbers[1], numbers[2])
    for turns in (False, True):
        value, seconds = _timed(partial(best_value, kinds, values, sheet, turns=turns))
        anchor = _timed(partial(_one_kind, kinds, values, sheet))[1]
        title = f"{name} turned" if turns else name
        yield CutRow(title, value, value, "proven", seconds, anchor, PUBLISHED.get(title))


def _one_kind(kinds: list[tuple[int, int]], values: list[int], sheet: tuple[int, int]) -> int:
    """The plainest cutting: rows and columns of the kind that pays best alone."""
    return max(v * (sheet[0] // a) * (sheet[1] // b) for (a, b), v in zip(kinds, values, strict=True))


def _limited(name: str, sheet: tuple[int, int], rows: list[tuple[int, int, int, int]]) -> CutRow:
    from estimating.engine.cut_patterns import PatternSearch

    search = PatternSearch([(a, b) for a, b, _, _ in rows], sheet, turns=False)
    values, most = [value for *_, value in rows], [m for _, _, m, _ in rows]
    found, seconds = _timed(lambda: search.search(values, most, only_best=True, joins=JOINS))
    anchor = _timed(lambda: search.outside(values))[1]
    best = found.patterns[0].value if found.patterns else 0
    proven = found.complete
    return CutRow(
        name, best, best if proven else found.ceiling, "proven" if proven else "feasible", seconds, anchor,
        PUBLISHED.get(name),
    )  # fmt: skip


def _with_most(name: str, words: list[str]) -> Iterator[CutRow]:
    n = [int(w) for w in words]
    rows = [(n[3 + 4 * k], n[4 + 4 * k], n[5 + 4 * k], n[6 + 4 * k]) for k in range(n[0])]
    yield _limited(name, (n[1], n[2]), rows)


def _between(name: str, words: list[str]) -> Iterator[CutRow]:
    n = [int(w) for w in words]
    at = 1
    for number in range(1, n[0] + 1):
        count, sheet = n[at], (n[at + 1], n[at + 2])
        rows = [n[at + 3 + 5 * k : at + 8 + 5 * k] for k in range(count)]
        at += 3 + 5 * count
        if any(least for _, _, least, _, _ in rows):
            yield CutRow(f"ngcut{number}", 0, 0, "not solved: asks for a least number of a piece", 0.0, 0.0)
            continue
        yield _limited(f"ngcut{number}", sheet, [(a, b, most, value) for a, b, _, most, value in rows])


READERS: dict[str, Callable[[str, list[str]], Iterator[CutRow]]] = {
    "binpack": _bins,
    "gcut": _unlimited,
    "cgcut": _with_most,
    "ngcut": _between,
}
"""By how a file's name starts."""


def seeded_pieces(kinds: int, seed: int) -> list[tuple[int, int]]:
    """60 pieces in so many sizes on 1/4 in, at most 6 ft × 40 in; the same on every machine."""
    draw = random.Random(f"{kinds} sizes, case {seed}")  # noqa: S311  # repeatable cases, no secret
    sizes: list[tuple[int, int]] = []
    while len(sizes) < kinds:
        size = (4 * draw.randint(48, 288), 4 * draw.randint(32, 160))
        if size not in sizes:
            sizes.append(size)
    return sizes + [sizes[draw.randrange(kinds)] for _ in range(60 - kinds)]


def sheets_row(kinds: int, seed: int) -> CutRow:
    from estimating.engine.cut_sheets import cut_sheets
    from estimating.engine.first_fit import sheets_needed

    pieces = seeded_pieces(kinds, seed)
    plan, seconds = _timed(lambda: cut_sheets(pieces, SHEET, kerf=KERF))
    boxes = [(float(a), float(b)) for a, b in pieces]
    anchor = _timed(lambda: sheets_needed(boxes, *map(float, SHEET), kerf=float(KERF)))[1]
    return CutRow(
        f"60 pieces in {kinds} sizes, case {seed}", len(plan.sheets), plan.bound,
        "proven" if plan.proven else "feasible", seconds, anchor,
    )  # fmt: skip


def hall_rows() -> Iterator[CutRow]:
    """L-shaped halls a little out of square, laid and cut: two layers of foam, frame and cover.

    ``anchor_seconds`` is what the hall before would have taken had its time grown with its area: a hall that takes no
    longer grows no faster than its floor. The first hall is its own anchor.
    """
    from estimating.engine.cover import lay_cover
    from estimating.engine.cut_plans import plan_cuts
    from estimating.engine.floor import lay_floor
    from estimating.engine.types import RoomLayouts

    products, system = _hall_system()
    before: tuple[float, float] | None = None
    lay_floor(_hall(HALLS[0]), system, products)  # libraries loaded
    for size in HALLS:
        plan = _hall(size)

        def work(plan: RoomPlan = plan) -> tuple[int, int]:
            floor = lay_floor(plan, system, products)
            room = RoomLayouts(room=plan.room, floor=floor, cover=lay_cover(plan, system, floor, products))
            cuts = plan_cuts([room], products, [system], []).plans
            sheets = next(p for p in cuts if p.product == "base")
            return round(sheets.value), round(sheets.bound)

        (found, bound), seconds = _timed(work)
        anchor = round(before[1] * plan.floor_area / before[0], 4) if before else seconds
        before = (plan.floor_area, seconds)
        status = "proven" if found == bound else "feasible"
        yield CutRow(f"hall of {size} sq ft, laid and cut", found, bound, status, seconds, anchor)


def _hall(square_feet: int) -> RoomPlan:
    import math

    from buildout.rooms.engine.types import MatEdge, PlacedColumn, PlanWall, RoomPlan

    across = math.sqrt(square_feet * 1.5) * 304.8
    deep = square_feet * 304.8**2 / across
    ring = [
        (0.0, 0.0), (across, 9.0), (across - 40.0, 0.95 * deep), (0.45 * across, 0.95 * deep + 60.0),
        (0.45 * across + 8.0, 1.05 * deep), (-30.0, 1.05 * deep - 25.0),
    ]  # fmt: skip
    ring = [(round(x, 2), round(y, 2)) for x, y in ring]
    sides = list(zip(ring, ring[1:] + ring[:1], strict=True))
    walls, edges = [], []
    for number, (a, b) in enumerate(sides, 1):
        length = math.dist(a, b)
        inward = (-(b[1] - a[1]) / length, (b[0] - a[0]) / length)
        walls.append(
            PlanWall(id=f"w{number}", a=a, b=b, length=length, construction="stud", height=None, inward=inward)
        )
        edges.append(MatEdge(id=f"e{number}", a=a, b=b, length=length, kind="wall", along=f"w{number}"))
    count = max(1, square_feet // 3_000)
    columns = []
    for number in range(count):
        x, y, half = across * (number + 1) / (count + 1), 0.4 * deep, 152.4
        box = [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]
        columns.append(PlacedColumn(id=f"k{number + 1}", shape="rectangular", centre=(x, y), outline=box))
    area = abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in sides)) / 2 - count * 304.8**2
    return RoomPlan(
        room="hall", name="Hall", status="proven", outline=ring, corners={}, walls=walls, columns=columns,
        features=[], keep_clear={}, mat_field=ring, mat_edges=edges, floor_area=area, mat_area=area, reasons=[],
    )  # fmt: skip


def _hall_system() -> tuple[dict[str, Product], FloorSystem]:
    from buildout.units.lengths import Length
    from estimating.engine.types import CoverSpec, FloorSystem, FoamLayer, Product

    def inches(value: str) -> Length:
        return Length(f"{value} in", Decimal(value) * Decimal("25.4"))

    products = [
        Product(
            id="base", name="Base", form="sheet", unit="sheet", head=8, length=inches("108"), width=inches("48"),
            thickness=inches("2"), kerf=inches("0.125"),
        ),
        Product(
            id="top", name="Top", form="roll", unit="roll", head=8, length=inches("1200"), width=inches("54"),
            thickness=inches("0.5"),
        ),
        Product(
            id="timber", name="Timber", form="length", unit="length", head=8, length=inches("144"),
            width=inches("3.5"), kerf=inches("0.125"),
        ),
        Product(id="cover", name="Cover", form="made to drawing", unit="square foot", head=8),
    ]  # fmt: skip
    system = FloorSystem(
        id="two-layer", name="Two layers and a cover",
        layers=[FoamLayer(product="base", role="base"), FoamLayer(product="top", role="top", taped=True)],
        cover=CoverSpec(
            product="cover", goods_width=inches("61"), weld_lap=inches("1.25"), band_width=inches("4"),
            mass_per_area=Decimal("1.6275"),
        ),
        frame="timber", frame_width=inches("3.5"), frame_gap=inches("0.5"), smallest_width=inches("6"),
        joint_offset=inches("6"),
    )  # fmt: skip
    return {product.id: product for product in products}, system
