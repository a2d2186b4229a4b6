"""Carrying goods in: masses and doors worked out by hand."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from buildout.units.lengths import Length
from estimating.engine.handling import Door, goes_through, handle, stack
from estimating.engine.types import Product

DOOR = Door("hall door", 838.2, 2082.8)  # 33 in by 6 ft 10 in
ROLLER = Door("roller door", 3073.4, 3048.0)


def product(form: str = "sheet", **more: object) -> Product:
    sizes = {"length": '108"', "width": '48"', "thickness": '2"'} | {
        k: more.pop(k) for k in ("length", "width", "thickness") if k in more
    }
    lengths = {key: Length.read(str(text)) for key, text in sizes.items() if text is not None}
    return Product(id="x", name="X", form=form, unit=form, head=8, **lengths, **more)  # type: ignore[arg-type]


def test_a_foam_plank_is_light_and_long() -> None:
    # 2.7432 × 1.2192 × 0.0508 m = 0.16990 m³ at 35 kg/m³: 5.95 kg, 84 of them 499.5 kg. Over 6 ft: two people.
    found = handle(product(density=D(35)), "Base", D(84), [DOOR, ROLLER])
    assert found.piece_mass == pytest.approx(5.95, abs=0.005)
    assert found.total_mass == pytest.approx(499.5, abs=0.1)
    assert found.people == 2
    assert (found.passes, found.stops) == (["hall door", "roller door"], [])


def test_people_by_the_pound() -> None:
    # Mirror 4 × 6 ft, 1/4 in, 2500 kg/m³: 1.2192 · 1.8288 · 0.00635 · 2500 = 35.4 kg, 78 lb: two at 40 lb each.
    short = handle(product(length='72"', width='48"', thickness='1/4"', density=D(2500)), "Mirror", D(1), [])
    assert short.people == 2
    # The same half as long is 17.7 kg: one person.
    assert handle(product(length='36"', width='48"', thickness='1/4"', density=D(2500)), "M", D(1), []).people == 1


def test_a_roll_is_round() -> None:
    # 100 ft of 1/2 in foam packed at 75 %: D² = 4 · 30480 · 12.7 / (π · 0.75), so 810.6 mm.
    roll = product("roll", length="100'", width='54"', thickness='1/2"', mass_per_area=D("0.4"))
    found = handle(roll, "Top", D(7), [DOOR, ROLLER])
    assert found.piece is not None
    assert found.piece[0] == pytest.approx(810.6, abs=0.1)
    assert found.passes == ["hall door", "roller door"], "810.6 is under 838.2 less 25.4"
    thick = handle(product("roll", length="120'", width='54"', thickness='1/2"'), "Top", D(7), [DOOR, ROLLER])
    assert (thick.passes, thick.stops) == (["roller door"], ["hall door"])


def test_what_is_not_known_is_not_said() -> None:
    bare = handle(Product(id="x", name="X", form="each", unit="each", head=8), "X", D(3), [DOOR])
    assert (bare.piece, bare.piece_mass, bare.total_mass, bare.people, bare.passes, bare.stops) == (
        None, None, None, None, [], []
    )  # fmt: skip


def test_flat_or_upright() -> None:
    wide = (50.0, 2000.0, 2400.0)
    assert goes_through(wide, DOOR), "on edge: 2000 under 2082.8 less 25.4"
    assert not goes_through((50.0, 2070.0, 2400.0), DOOR)
    assert goes_through((50.0, 2070.0, 2400.0), Door("no height", 838.2, None))


def test_a_place_against_what_is_put_there() -> None:
    # 12 planks of 108 × 48 × 2 in make 24 in of stack on 108 × 48 in: 0.5 · of 4 ft, all of 2 ft, too much for 23 in.
    planks = handle(product(density=D(35)), "Base", D(12), [])
    length, width = 2743.2, 1219.2
    found = [stack([planks], length * width, height, (length, width)) for height in (1219.2, 609.6, 584.2)]
    assert [one.verdict for one in found] == ["fits", "tight", "does not fit"]
    assert [one.share for one in found] == pytest.approx([0.5, 1.0, 24 / 23], abs=0.001)
    # 12 × 2.7432 × 1.2192 × 0.0508 m³ at 35 kg/m³: 2.0388 m³, 71.4 kg.
    assert (found[0].volume, found[0].mass) == (pytest.approx(2.039, abs=0.001), pytest.approx(71.4, abs=0.1))


def test_a_piece_longer_than_its_place_does_not_go_in() -> None:
    planks = handle(product(), "Base", D(1), [])
    low = stack([planks], 2000.0 * 2000.0, 1000.0, (2000.0, 2000.0))
    assert (low.verdict, low.too_large, low.mass) == ("does not fit", ["Base"], None)
    # On its end it is 9 ft high.
    assert stack([planks], 2000.0 * 2000.0, 2743.2, (2000.0, 2000.0)).verdict == "fits"


def test_goods_of_unknown_size_are_named() -> None:
    found = stack([handle(product(thickness=None), "Glue", D(4), [])], 1e6, 1000.0)
    assert (found.unknown, found.volume, found.verdict) == (["Glue"], 0, "fits")
