"""Screening figures against published limits and sums done by hand."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import msgspec
import pytest

from estimating.engine.floor import lay_floor
from estimating.engine.fold_away import lay_fold_away
from estimating.engine.screening import change_in_level, pressure, screen_floor, screen_fold_away
from estimating.engine.types import FloorSystem, FoldAwaySystem, Product

INCH = 25.4
AISLE = [(220.0, -10.0), (260.0, -10.0), (260.0, 200.0), (220.0, 200.0)]


@pytest.mark.parametrize(
    ("rise", "need", "run"),
    [
        # 2010 ADA Standards 303.2-303.4 and 405.2.
        (0.25, "nothing", 0.0),
        (0.26, "bevel", 0.02),
        (0.5, "bevel", 0.5),  # 1/4 in plain, 1/4 in bevelled 1:2
        (0.51, "ramp", 6.12),
        (2.5, "ramp", 30.0),
    ],
)
def test_changes_in_level(rise: float, need: str, run: float) -> None:
    found = change_in_level(rise * INCH)
    assert found[0] == need
    assert found[1] == pytest.approx(run * INCH, abs=0.01)


def test_pressures_by_hand() -> None:
    # 80 kg, 40 % of it on 60 cm²: 32 × 9.80665 / 0.006 = 52,302 Pa; against 5 psi = 34.47 kPa that is 1.52 ×.
    assert pressure(32, 60) == pytest.approx(52.302, abs=0.001)
    assert pressure(32, 60) / 34.473786 == pytest.approx(1.517, abs=0.001)
    assert pressure(100, 20) == pytest.approx(490.33, abs=0.01)
    assert pressure(100, 200) == pytest.approx(49.03, abs=0.01)


def with_data(products: dict[str, Product], **stress: str) -> dict[str, Product]:
    """These with a sheet of data: the stress named, and 10 % of compression set."""
    return {
        name: msgspec.structs.replace(p, stress_at_25_percent=Decimal(stress[name]), compression_set=Decimal(10))
        if name in stress
        else p
        for name, p in products.items()
    }


def test_a_floor_is_screened(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(240, 180, keep_clear={"aisle": AISLE})
    products = with_data(systems.products(), base="55", top="34.47")
    system = systems.floor()
    floor = lay_floor(plan, system, products)
    found = screen_floor(plan, system, floor, products)
    (edge,) = found.edges
    # 2 in + 1/2 in of foam: 30 in of ramp on an accessible route, 12 in are stated.
    assert (edge.rise, edge.need, edge.run_needed) == (63.5, "ramp", 762.0)
    assert edge.run_stated == pytest.approx(304.8)
    assert edge.verdict == "look at it"
    kneeling = found.pressures[0]
    assert (kneeling.layer, kneeling.ratio, kneeling.verdict) == ("Top", 1.52, "look at it")
    assert "25 %" in kneeling.text
    assert found.missing == []
    # Mass per area × area of the mat, cover included.
    assert found.mass == pytest.approx(floor.mass_per_area * floor.mat_area / 1e6, abs=0.01)
    assert (found.open_joints, found.leaking_joints) == (0.0, 0.0)  # a welded cover lies over them
    assert "not a certificate" in found.caution


def test_missing_data_says_missing(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(240, 180)
    products = systems.products()
    system = systems.floor()
    found = screen_floor(plan, system, lay_floor(plan, system, products), products)
    assert found.missing == [
        f"{what} of {name}" for name in ("Base", "Top") for what in ("stress at 25 %", "compression set")
    ]
    assert {p.verdict for p in found.pressures} == {"missing"}
    assert any(r.code == "screening-missing" and r.severity == "warning" for r in found.reasons)


def test_open_joints_without_a_cover(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(240, 180)
    products = systems.products()
    bare: FloorSystem = msgspec.structs.replace(systems.floor(), cover=None)
    taped = screen_floor(plan, bare, lay_floor(plan, bare, products), products)
    assert taped.open_joints == 0.0
    loose = msgspec.structs.replace(bare, layers=[bare.layers[0], msgspec.structs.replace(bare.layers[1], taped=False)])
    floor = lay_floor(plan, loose, products)
    assert screen_floor(plan, loose, floor, products).open_joints == floor.layers[-1].joint_length > 0


def test_fold_away_joints_by_hand(rooms: Any, systems: Any) -> None:
    # 16 × 12 ft of 8 × 4 ft mats: 2 × 3 mats; joints 1 × 12 ft and 2 × 16 ft = 44 ft.
    plan = rooms.rectangle(192, 144)
    system = FoldAwaySystem(
        id="fold", name="Fold", product="fold-mat", mat_length=systems.inches(96), mat_width=systems.inches(48)
    )
    products = systems.products()
    layout = lay_fold_away(plan, system, products)
    assert layout.count == 6
    found = screen_fold_away(plan, layout, products["fold-mat"])
    assert found.open_joints == pytest.approx(44 * 304.8, abs=2)
    assert found.mass_per_area == pytest.approx(3.2, abs=0.001)
    assert "thickness of Fold-mat" in found.missing


def test_what_stays_pressed_in(rooms: Any, systems: Any) -> None:
    """2 in at 8 % and 1/2 in at 12 %: 0.16 + 0.06 = 0.22 in; with one figure missing nothing is said but that."""
    products = systems.products()
    floor = lay_floor(rooms.rectangle(200, 100), systems.floor(), products)
    plan = rooms.rectangle(200, 100)
    none = screen_floor(plan, systems.floor(), floor, products)
    assert none.pressed_in is None
    assert {"compression set of Base", "compression set of Top"} <= set(none.missing)
    for name, share in (("base", "8"), ("top", "12")):
        products[name] = msgspec.structs.replace(products[name], compression_set=Decimal(share))
    screened = screen_floor(plan, systems.floor(), floor, products)
    assert screened.pressed_in == pytest.approx(0.22 * 25.4, abs=0.01)
    assert not [what for what in screened.missing if "compression set" in what]
