"""Screening figures against published limits and sums done by hand."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import msgspec
import pytest

from estimating.engine.cover import lay_cover
from estimating.engine.floor import lay_floor
from estimating.engine.fold_away import lay_fold_away
from estimating.engine.screening import change_in_level, screen_floor, screen_fold_away
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


def test_open_joints_are_not_those_that_leak(rooms: Any, systems: Any) -> None:
    """Tape closes a joint to fingers and is no seal; what is glued over whole sheets leaks nowhere."""
    plan = rooms.rectangle(240, 180)
    products = systems.products()
    bare: FloorSystem = msgspec.structs.replace(systems.floor(), cover=None)
    floor = lay_floor(plan, bare, products)
    joints = floor.layers[-1].joint_length
    taped = screen_floor(plan, bare, floor, products)
    assert (taped.open_joints, taped.leaking_joints) == (0.0, joints)
    assert "no seal" in taped.joints
    loose = msgspec.structs.replace(bare, layers=[bare.layers[0], msgspec.structs.replace(bare.layers[1], taped=False)])
    found = screen_floor(plan, loose, floor, products)
    assert (found.open_joints, found.leaking_joints) == (joints, joints)
    assert joints > 0
    # Glued down, with all joints 6 in and more off those below.
    glue = msgspec.structs.replace(loose.layers[1], adhesive="glue")
    laminated = msgspec.structs.replace(loose, layers=[loose.layers[0], glue])
    found = screen_floor(plan, laminated, floor, products)
    assert (found.open_joints, found.leaking_joints) == (joints, 0.0)
    # The same layer twice: every joint lies right over one.
    twice = msgspec.structs.replace(floor, layers=[floor.layers[1], floor.layers[1]])
    assert screen_floor(plan, laminated, twice, products).leaking_joints == pytest.approx(joints, abs=1)


def test_a_cover_leaks_only_along_its_slits(rooms: Any, systems: Any) -> None:
    plan = rooms.rectangle(240, 180, columns=[rooms.square_column("K", (120, 90), 12)])
    products, system = systems.products(), systems.floor()
    floor = lay_floor(plan, system, products)
    cover = lay_cover(plan, system, floor, products)
    found = screen_floor(plan, system, floor, products, cover)
    slits = sum(relief.slit_length for relief in cover.reliefs)
    assert slits > 0
    assert (found.open_joints, found.leaking_joints) == (0.0, pytest.approx(slits, abs=0.1))
    assert screen_floor(plan, system, floor, products).leaking_joints == 0.0


def test_a_deck_of_timber_is_stiff(rooms: Any, systems: Any) -> None:
    """Nobody asks for the compression of plywood, and it neither gives under a knee nor counts as foam."""
    plan = rooms.rectangle(240, 180)
    products = with_data(systems.products(), top="34.47")
    products["base"] = msgspec.structs.replace(products["base"], lead_group="timber", stress_at_25_percent=Decimal(9))
    system = systems.floor()
    found = screen_floor(plan, system, lay_floor(plan, system, products), products)
    assert found.missing == []
    assert {p.layer for p in found.pressures} == {"Top"}
    assert found.fall is not None
    assert found.fall.depth == pytest.approx(0.6 * 12.7)


def test_weight_on_the_floor(rooms: Any, systems: Any) -> None:
    """2 in of foam of 2 lb/cu ft, 3/4 in of plywood of 33 (assumed), cover of 18 oz/sq yd: 2.5208 lb/sq ft."""
    pcf, psf = Decimal("16.018463374"), 4.88242763638305
    products = systems.products()
    products["top"] = msgspec.structs.replace(
        products["top"], density=2 * pcf, mass_per_area=None, thickness=systems.inches(2)
    )
    products["base"] = msgspec.structs.replace(
        products["base"], density=33 * pcf, mass_per_area=None, thickness=systems.inches(0.75), lead_group="timber"
    )
    system = systems.floor()
    cover = msgspec.structs.replace(system.cover, mass_per_area=18 * Decimal("0.033905747475"))
    system = msgspec.structs.replace(system, cover=cover)
    plan = rooms.rectangle(240, 180)
    found = screen_floor(plan, system, lay_floor(plan, system, products), products)
    assert found.mass_per_area / psf == pytest.approx(2.5208, abs=0.0005)


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
    assert found.leaking_joints == found.open_joints  # nothing lies under them
    # Folding in four, each of six mats has three grooves of 4 ft: 72 ft more for dirt, none of which leaks; with flaps
    # under the joints nothing does.
    folding = msgspec.structs.replace(system, sections=4, under_lap=systems.inches(4))
    lapped = screen_fold_away(plan, lay_fold_away(plan, folding, products), products["fold-mat"], mats=folding)
    assert lapped.open_joints == pytest.approx((44 + 72) * 304.8, abs=2)
    assert lapped.leaking_joints == 0.0


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
