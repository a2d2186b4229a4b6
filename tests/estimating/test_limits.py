"""A search that runs into one of its limits says which: every limit made so tight that it is reached.

What a limit costs is checked against the same search left to itself: its plan is never dearer, its bound never lower.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import msgspec
import pytest
from django.template.loader import render_to_string

from buildout.units.lengths import Length
from estimating.engine.cut_lengths import cut_lengths
from estimating.engine.cut_mixed import mixed_plan
from estimating.engine.cut_parts import Wanted
from estimating.engine.cut_plans import plan_cuts
from estimating.engine.cut_roll_plan import roll_plan
from estimating.engine.cut_rolls import cut_rolls
from estimating.engine.cut_sheets import cut_sheets
from estimating.engine.floor import lay_floor
from estimating.engine.fold_away import lay_fold_away
from estimating.engine.limits import LIMITS, LimitName, Work, stopped_after
from estimating.engine.types import (
    CutDemand,
    CutPlan,
    FloorSystem,
    FoamLayer,
    FoldAwaySystem,
    FramePiece,
    Product,
    Remnant,
    RoomLayouts,
)

Most = Mapping[LimitName, int]


def mm(value: float) -> Length:
    return Length(f"{value:g} mm", Decimal(str(value)))


def said(name: LimitName, most: int) -> str:
    return f"{most:,} {LIMITS[name].words}"


def dice(seed: int) -> random.Random:
    return random.Random(seed)  # noqa: S311  # repeatable cases, no secret


def triplets(seed: int) -> list[int]:
    """24 lengths that fill eight stock lengths of 1,000 without waste, hard to find again."""
    draw = dice(seed)
    found: list[int] = []
    for _ in range(8):
        a = draw.randint(380, 499)
        b = draw.randint(250, (1000 - a) // 2)
        found += [a, b, 1000 - a - b]
    return found


def loose(seed: int) -> list[int]:
    draw = dice(seed)
    return [draw.randint(150, 480) for _ in range(25)]


@pytest.mark.parametrize(
    ("name", "pieces", "tight"),
    [
        ("length rounds", loose(0), {"length rounds": 1, "length steps": 3, "length choice": 0}),
        ("length choice", loose(0), {"length choice": 0, "length steps": 3}),
        ("length steps", triplets(0), {"length steps": 3, "length choice": 0}),
        ("length patterns", triplets(0), {"length patterns": 1, "length choice": 0}),
        ("length proof", triplets(0), {"length proof": 0, "length choice": 0}),
    ],
)
def test_lengths(name: LimitName, pieces: list[int], tight: Most) -> None:
    free, held = cut_lengths(pieces, 1000), cut_lengths(pieces, 1000, work=Work(tight))
    assert said(name, tight[name]) in held.stopped_by
    assert free.bound >= held.bound
    assert held.bound < len(held.bars)
    assert len(free.bars) <= len(held.bars)
    assert (free.stopped_by == "") == free.proven


def sheets(seed: int, kinds: int, count: int, high: tuple[int, int]) -> list[tuple[int, int]]:
    draw = dice(seed)
    sizes = [(draw.randint(200, high[0]), draw.randint(150, high[1])) for _ in range(kinds)]
    return [draw.choice(sizes) for _ in range(count)]


STARVED: Most = {"proof joins": 1, "dives": 0, "choice": 0, "fitting orders": 1}
"""Leaves the plan unproven, so that it has something to say."""
MANY = sheets(1, 8, 20, (700, 450))
SOME = sheets(1, 6, 24, (900, 500))
FEW = sheets(1, 5, 14, (900, 500))


@pytest.mark.parametrize(
    ("name", "pieces", "tight"),
    [
        ("fitting tries", MANY, {"fitting tries": 1}),
        ("fitting orders", MANY, {}),
        ("free rounds", MANY, {"free rounds": 1}),
        ("pricing joins", MANY, {"pricing joins": 1}),
        ("round joins", MANY, {"round joins": 2}),
        ("raising rounds", SOME, {"raising rounds": 1, "pricing joins": 1, "free rounds": 1, "fitting tries": 1}),
        ("raising joins", SOME, {"raising joins": 1, "pricing joins": 1, "free rounds": 1, "fitting tries": 1}),
        ("dives", sheets(28, 8, 20, (700, 450)), {"dives": 1}),
        ("dive joins", sheets(14, 5, 14, (900, 500)), {"dive joins": 1, "dives": 6}),
        ("choice", MANY, {}),
        ("proof joins", MANY, {}),
        ("proof", FEW, {"proof": 0, "proof joins": 6_000_000, "fitting tries": 1}),
        ("patterns listed", FEW, {"patterns listed": 1, "proof joins": 6_000_000, "fitting tries": 1}),
    ],
)
def test_sheets(name: LimitName, pieces: list[tuple[int, int]], tight: Most) -> None:
    held = cut_sheets(pieces, (1220, 610), work=Work({**STARVED, **tight}))
    assert said(name, {**STARVED, **tight}[name]) in held.stopped_by
    assert held.bound < len(held.sheets)
    free = cut_sheets(pieces, (1220, 610))
    assert free.proven
    assert free.stopped_by == ""
    assert held.bound <= free.bound <= len(free.sheets) <= len(held.sheets)


def blanks(seed: int, number: int = 8) -> list[tuple[int, int]]:
    draw = dice(seed)
    return [(draw.randint(300, 2500), draw.randint(200, 700)) for _ in range(number)]


@pytest.mark.parametrize(
    ("name", "tight"),
    [
        ("roll orders", {"roll orders": 1}),
        ("roll choice", {"roll orders": 16, "roll choice": 0}),
        ("length rounds", {"length rounds": 1}),
    ],
)
def test_rolls(name: LimitName, tight: Most) -> None:
    # Of eight blanks the choice among levels is made without a branch; of twelve it is not.
    free, held = cut_rolls(blanks(0, 12), 1400), cut_rolls(blanks(0, 12), 1400, work=Work(tight))
    assert said(name, tight[name]) in held.stopped_by
    assert held.bound <= free.bound <= free.drawn <= held.drawn


def test_what_lies_in_stock_is_filled_by_so_many_orders() -> None:
    goods = Product(id="vinyl", name="Vinyl", form="roll", unit="metre", head=8, width=mm(1400))
    need = Wanted(pieces=[CutDemand(piece=f"p{k}", length=a, width=b) for k, (a, b) in enumerate(blanks(0))])
    kept = [Remnant(id="r1", product="vinyl", length=mm(2600), width=mm(1400))]
    plan = roll_plan(goods, need, kept, work=Work({"remnant orders": 2}))
    assert plan.status == "feasible"
    assert said("remnant orders", 2) in plan.stopped_by


def two_sizes(form: str) -> tuple[Product, Product]:
    def one(name: str, length: int, price: int) -> Product:
        return Product(
            id=name, name=name.title(), form=form, unit=form, head=8, length=mm(length),  # type: ignore[arg-type]
            width=mm(1220) if form == "sheet" else None, reckoned_price=Decimal(price),
        )  # fmt: skip

    return one("short", 2440, 30), one("long", 3050, 39)


@pytest.mark.parametrize(
    ("form", "name", "tight"),
    [
        ("length", "stock rounds", {"stock rounds": 1}),
        ("length", "stock choice", {}),
        ("length", "length steps", {"length steps": 3}),
        ("length", "length patterns", {"length patterns": 1}),
        ("sheet", "stock joins", {"stock joins": 1, "stock proof joins": 1}),
        ("sheet", "stock proof joins", {"stock joins": 1, "stock proof joins": 1}),
    ],
)
def test_several_sizes(form: str, name: LimitName, tight: Most) -> None:
    draw = dice(0)
    pieces = [
        CutDemand(
            piece=f"p{k}", length=draw.randint(300, 1400), width=0.0 if form == "length" else draw.randint(200, 700)
        )
        for k in range(14)
    ]
    short, long = two_sizes(form)
    most: Most = {"stock choice": 0, **tight}
    plan = mixed_plan(short, Wanted(pieces=pieces), [long], [], [], Work(most))
    assert plan.status == "feasible"
    assert said(name, most[name]) in plan.stopped_by
    (told,) = (r for r in plan.reasons if r.code == "cut plan not proven best")
    assert f"The search stops after {plan.stopped_by}, the same on every machine." in told.text


def test_floor(rooms: Any, systems: Any) -> None:
    """Courses of 48 in over strips of 54 in along the same way always clash somewhere: every pair is looked at."""
    layers = [
        FoamLayer(product="base", role="base", direction="x"),
        FoamLayer(product="top", role="top", direction="x"),
    ]
    plan, system, products = rooms.rectangle(300, 500), systems.floor(layers=layers), systems.products()
    work = Work({"layouts cut out": 2, "pairs of layouts": 3})
    layout = lay_floor(plan, system, products, work=work)
    assert layout.value > layout.bound
    assert "layouts counted and the best" in layout.stopped_by
    assert said("pairs of layouts", 3) in layout.stopped_by
    (told,) = (r for r in layout.reasons if r.code == "floor-bound")
    assert told.text.endswith(f"The search stops after {layout.stopped_by}, the same on every machine.")
    free = lay_floor(plan, system, products)
    assert free.bound == layout.bound
    page = render_to_string("estimating/floor_status.html", {"floor": layout})
    assert f"the search stops after {layout.stopped_by}." in page
    assert f"gap {layout.gap * 100:.0f} %" in page


def test_a_floor_that_cannot_take_less_says_nothing(rooms: Any, systems: Any) -> None:
    base = [FoamLayer(product="base", role="base")]
    layout = lay_floor(rooms.rectangle(200, 104), systems.floor(layers=base), systems.products(base=(96, 48)))
    assert (layout.status, layout.stopped_by) == ("proven", "")
    assert render_to_string("estimating/floor_status.html", {"floor": layout}).strip() == ""


def test_fold_away(rooms: Any, systems: Any) -> None:
    """95 in across hold one row of 48 in mats; by area 19,000 / 4,608 in² is four mats and two find room."""
    system = FoldAwaySystem(
        id="fold", name="Fold-away mats", product="fold-mat",
        mat_length=systems.inches(96), mat_width=systems.inches(48),
    )  # fmt: skip
    layout = lay_fold_away(rooms.rectangle(200, 95), system, systems.products(), work=Work({"grids of mats": 2}))
    assert (layout.count, layout.bound, layout.status) == (2, 4, "feasible")
    assert "at 2 shares of the space left over" in layout.stopped_by
    (told,) = (r for r in layout.reasons if r.code == "fold-away-bound")
    assert "no layout could hold more than 4, a gap of 50.0 %" in told.text


def test_widths_of_goods(rooms: Any, systems: Any) -> None:
    """A strip sold in three widths of which two may be tried."""
    products = systems.products()
    top = products["top"]
    for k, width in enumerate((40, 60)):
        other = Product(
            id=f"w{k}", name=f"Top {width} in", form="roll", unit="roll", head=8, length=top.length,
            width=systems.inches(width), thickness=top.thickness,
        )  # fmt: skip
        products[other.id] = other
    products["top"] = msgspec.structs.replace(top, also_sold=["w0", "w1"])
    plan = rooms.rectangle(200, 150)
    layout = lay_floor(plan, systems.floor(), products, work=Work({"widths of goods": 2}))
    (told,) = (r for r in layout.reasons if r.code == "roll widths")
    assert told.text == f"{top.name} comes in 3 widths. The search stops after the first 2."
    assert not [r for r in lay_floor(plan, systems.floor(), products).reasons if r.code == "roll widths"]


def test_every_cut_plan_says_it_on_screen_and_on_paper(rooms: Any, systems: Any) -> None:
    """Through the plan of a whole build, and through the line that cut sheets and their print-outs share."""
    timber = Product(id="timber", name="Timber", form="length", unit="length", head=8, length=mm(1000))
    frame = [
        FramePiece(id=f"F{k}", kind="frame", edge="e1", a=(0, 0), b=(size, 0), length=size)
        for k, size in enumerate(loose(0))
    ]
    base = lay_floor(rooms.rectangle(100, 100), systems.floor(layers=[]), {})
    floor = msgspec.structs.replace(base, system="s", frame=frame)
    system: FloorSystem = msgspec.structs.replace(systems.floor(), id="s", frame="timber")
    layouts = [RoomLayouts(room="r", floor=floor)]
    tight: Most = {"length rounds": 1, "length steps": 3, "length choice": 0}
    (plan,) = plan_cuts(layouts, {"timber": timber}, [system], [], limits=tight).plans
    assert plan.status == "feasible"
    assert said("length steps", 3) in plan.stopped_by
    line = status_line(plan)
    assert line.startswith("Feasible: no plan can use less than")
    assert line.endswith(f"; the search stops after {plan.stopped_by}")
    (free,) = plan_cuts(layouts, {"timber": timber}, [system], []).plans
    assert (free.status, free.stopped_by) == ("proven", "")
    assert "stops" not in status_line(free)
    shared = '{% include "estimating/cut_status.html" %}'
    for name in ("cut_head", "cut_plan_paper"):
        assert shared in Path(f"templates/estimating/{name}.html").read_text()


def status_line(plan: CutPlan) -> str:
    class Sheet:
        units = "metric"

    gap = 100 * (plan.value - plan.bound) / plan.value
    text: str = render_to_string("estimating/cut_status.html", {"plan": plan, "gap": gap, "sheet": Sheet})
    return text.strip()


def test_nothing_reached_is_nothing_said() -> None:
    assert Work().said() == ""
    assert stopped_after("") == ""
