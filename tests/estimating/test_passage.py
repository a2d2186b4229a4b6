"""The way of a rolled cover, its slits and patches, and the fabricator's file read back."""

from __future__ import annotations

import io
import math
from decimal import Decimal
from typing import Any

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from buildout.rooms.engine.dxf import to_dxf
from buildout.units.lengths import Length
from estimating.engine.cover import lay_cover
from estimating.engine.layout_drawings import draw_cover
from estimating.engine.passage import CLEARANCE, fold_up, longest_round_turn, passage, reliefs, staples
from estimating.engine.rolled import IDEAL, share_out
from estimating.engine.types import RouteStep

FOOT = 304.8
POUND = 0.45359237


def feet(value: float) -> Length:
    return Length(f"{value:g} ft", Decimal(str(value)) * Decimal("304.8"))


def opening(id_: str, width: float, height: float | None = None) -> RouteStep:
    return RouteStep(
        id=id_, name=id_, kind="opening", width=feet(width), height=feet(height) if height is not None else None
    )


def turn(id_: str, width: float, into: float) -> RouteStep:
    return RouteStep(id=id_, name=id_, kind="turn", width=feet(width), into=feet(into), height=feet(8))


@given(st.floats(600, 4000), st.floats(600, 4000))
def test_a_thin_roll_turns_as_a_ladder_does(a: float, b: float) -> None:
    # The ladder round a corner: (a^(2/3) + b^(2/3))^(3/2), a standard exercise of the calculus.
    assert longest_round_turn(a, b, 0) == pytest.approx((a ** (2 / 3) + b ** (2 / 3)) ** 1.5, rel=1e-6)


@given(st.floats(800, 3000), st.floats(800, 3000), st.floats(10, 500))
def test_a_thicker_roll_turns_less(a: float, b: float, thick: float) -> None:
    assert longest_round_turn(a, b, thick) < longest_round_turn(a, b, thick - 10) + 1e-6


def test_equal_passages_by_hand() -> None:
    # a = b: the tightest angle is 45°, so w = (2a·sin 45° − D) / (1/2) = 2·(√2·a − D).
    assert longest_round_turn(1500, 1500, 280) == pytest.approx(2 * (math.sqrt(2) * 1500 - 280), rel=1e-6)


def test_a_roll_that_passes_and_one_folded_shorter() -> None:
    # 2,770 sq ft, 0.05 in, 24 ft long: 10.8 in thick; 4 in of air make 14.8 in.
    area, thin, long = 2770 * FOOT**2, 1.27, 24 * FOOT
    roll, steps, reasons = passage(area, thin, long, [opening("roller door", 10, 10)])
    assert (roll, [s.passes for s in steps], reasons[0].severity) == (long, [True], "note")
    # A corner between passages of 6 ft: 2·(√2·72 − D) in; a roll of 15 ft is 13.7 in thick and may be 14.7 ft long,
    # one of 14 ft is 14.2 in and may be 14.6 ft long.
    roll, steps, _ = passage(area, thin, long, [opening("door", 4, 7), turn("corner", 6, 6)])
    assert roll == pytest.approx(14 * FOOT)
    assert all(s.passes for s in steps)


def test_a_roll_that_cannot_pass_names_the_place() -> None:
    _, steps, reasons = passage(2770 * FOOT**2, 1.27, 24 * FOOT, [opening("gate", 6), opening("hatch", 1)])
    assert [s.passes for s in steps] == [True, False]
    assert (reasons[0].severity, reasons[0].where) == ("warning", "hatch")
    assert "weld" in reasons[0].todo
    assert passage(1e6, 1, 2000, []) == (2000, [], [])


# Kerb, opening, turn, room. 2,770 sq ft of 0.05 in, 917 lb. Rolled 5 ft long it is √(4·2,770·144·0.05/(π·60·0.75)) =
# 23.75 in thick; folded at half fabric, half air, it fills 2,770·144·0.05/0.5 = 39,888 cu in.
COVER = (2770 * FOOT**2, 1.27, 917 * 0.45359237)
KERB_TO_ROOM = [
    ("fits as a roll", 72.0, "roll"),
    ("fits folded, not rolled", 38.0, "bundle"),  # 2·(√2·38 − 23.75) = 59.98 in, the shortest roll is 60
    ("fits neither way", 30.0, "neither"),  # block of 26 in: 39,888/26² = 59 in long, 2·(√2·30 − 26) = 32.9 in turn
]


@pytest.mark.parametrize(("case", "inches", "verdict"), KERB_TO_ROOM)
def test_from_the_kerb_through_openings_and_turns(case: str, inches: float, verdict: str) -> None:
    way = [opening("shop door", 4, 7), turn("corridor", inches / 12, inches / 12), opening("hall door", 3.5, 6.8)]
    area, thick, mass = COVER
    _, steps, reasons = passage(area, thick, 24 * FOOT, way)
    bundle, told = fold_up(area, thick, mass, way)
    assert all(s.passes for s in steps) == (verdict == "roll"), case
    assert (bundle is not None) == (verdict != "neither"), case
    assert told.severity == ("warning" if verdict == "neither" else "note")
    if verdict == "bundle":
        assert bundle is not None
        # Narrowest 38 in less 4 of air: 34 in square, 39,888/34² = 34.5 in long; it turns up to 2·(√2·38 − 34) = 39.5.
        assert bundle.side / 25.4 == pytest.approx(34)
        assert bundle.length / 25.4 == pytest.approx(39888 / 34**2, abs=0.01)
        assert bundle.steps[1].longest_roll / 25.4 == pytest.approx(2 * (math.sqrt(2) * 38 - 34), abs=0.01)
        assert bundle.places == 2
        assert "wheels only" in told.text
        assert reasons[0].severity == "warning"


def test_a_roll_folded_narrower_says_so() -> None:
    area, thick, _ = COVER
    roll, _, reasons = passage(area, thick, 24 * FOOT, [opening("door", 4, 7), turn("corner", 6, 6)])
    assert roll < 24 * FOOT
    assert reasons[0].text.startswith("Folded narrower first")
    _, _, straight = passage(area, thick, 24 * FOOT, [opening("door", 4, 7)])
    assert straight[0].text.startswith("Screening figure")


def test_a_light_bundle_is_carried_by_hand() -> None:
    """40 lb between two places, 20 lb each."""
    bundle, told = fold_up(100 * FOOT**2, 1.27, 18.0, [opening("hatch", 1.5)])
    assert bundle is not None
    assert "wheels" not in told.text


@given(st.floats(20, 120), st.floats(20, 120), st.floats(20, 96), st.floats(100, 4000))
def test_a_bundle_holds_all_the_cover_and_passes(before: float, after: float, door: float, square_feet: float) -> None:
    """What is said to pass is a block that holds the fabric, goes through every opening and round the turn."""
    way = [opening("door", door / 12), turn("corner", before / 12, after / 12)]
    bundle, _ = fold_up(square_feet * FOOT**2, 1.27, 100, way)
    if bundle is None:
        return
    assert bundle.side**2 * bundle.length * 0.5 >= square_feet * FOOT**2 * 1.27 * 0.999
    assert bundle.side <= min(before, after, door) * 25.4 - CLEARANCE + 1e-2
    assert bundle.length <= longest_round_turn(before * 25.4, after * 25.4, bundle.side) + 0.1
    assert all(step.passes for step in bundle.steps)


def test_sharing_a_cover_by_the_lifting_guide() -> None:
    """150 lb at the 51 lb of NIOSH 94-110: three; at 25.5 lb, hands 20 in from the body (10/20 of it): six."""
    assert share_out(150 * POUND, IDEAL) == 3
    assert share_out(150 * POUND, IDEAL * 10 / 20) == 6
    assert pytest.approx(51 * POUND, abs=0.001) == IDEAL


def test_staples() -> None:
    # 10 ft / 1 1/2 in = 80 spaces, 81 staples a row, two more at the ends: 83 in each of two rows.
    assert staples(10 * FOOT) == 166
    assert staples(0) == 0


def test_slits_and_patches_of_the_hall(rooms: Any, systems: Any) -> None:
    plan = rooms.hall()
    cover = lay_cover(plan, systems.floor(), None, systems.products(), (), [opening("roller-door", 10, 10)])
    slits = [r for r in cover.reliefs if r.kind == "cut-out"]
    assert len(slits) == len(cover.cutouts) == 2
    for slit in slits:
        assert slit.slit_length == pytest.approx(math.dist(*slit.slit), abs=0.02)
        start, foot = slit.slit
        # From the middle of a side (anywhere on a round one): at a corner it would tear.
        ring = cover.cutouts[slits.index(slit)]
        middles = [((p[0] + q[0]) / 2, (p[1] + q[1]) / 2) for p, q in zip(ring, [*ring[1:], ring[0]], strict=True)]
        assert min(math.dist(start, at) for at in (middles if len(ring) == 4 else ring)) < 0.02
        sides = zip(cover.outline, cover.outline[1:] + cover.outline[:1], strict=True)
        a, b = min(sides, key=lambda side: _to_segment(foot, *side))
        assert _to_segment(foot, a, b) < 0.05
        # Square to its side and a foot away from every corner of the edge.
        square = (foot[0] - start[0]) * (b[0] - a[0]) + (foot[1] - start[1]) * (b[1] - a[1])
        assert abs(square) / math.dist(a, b) / slit.slit_length < 1e-4
        assert min(math.dist(foot, corner) for corner in cover.outline) > FOOT - 0.1
    # K1: 216 in up from the south wall less half of 12 1/4 in, gap 1/4 in and frame gap 1/2 in: 209.1 in.
    # K2: wall D–E lies 384.7 in up at x 504, less 1/2, less 204 + 10 3/4 / 2 + 1/4: 174.5 in.
    assert [s.slit_length / 25.4 for s in slits] == pytest.approx([209.1, 174.5], abs=0.3)
    # The re-entrant corner D, and the two inner corners of the landing's notch.
    assert sum(1 for r in cover.reliefs if r.kind == "inner corner") == 3
    assert cover.hook_length == cover.band_length
    assert [s.step for s in cover.passage] == ["roller-door"]


def test_a_slit_ends_where_nobody_walks_unless_there_is_no_such_edge() -> None:
    """10 × 8 ft, a square foot cut out 1 ft off the south edge, 3 off the west: 1 ft south, walked on; 3 ft west."""
    foot = FOOT
    outline = [(0.0, 0.0), (10 * foot, 0.0), (10 * foot, 8 * foot), (0.0, 8 * foot)]
    hole = [(3 * foot, foot), (4 * foot, foot), (4 * foot, 2 * foot), (3 * foot, 2 * foot)]
    south = shapely.box(0, 0, 10 * foot, 100)
    (free,) = (r for r in reliefs(outline, [hole]) if r.kind == "cut-out")
    assert [x for at in free.slit for x in at] == pytest.approx([3.5 * foot, foot, 3.5 * foot, 0], abs=0.01)
    (west,) = (r for r in reliefs(outline, [hole], south) if r.kind == "cut-out")
    assert [x for at in west.slit for x in at] == pytest.approx([3 * foot, 1.5 * foot, 0, 1.5 * foot], abs=0.01)
    assert (west.slit_length, west.walked_on) == (pytest.approx(3 * foot, abs=0.01), False)
    everywhere = shapely.box(0, 0, 10 * foot, 8 * foot).boundary.buffer(100)
    (worn,) = (r for r in reliefs(outline, [hole], everywhere) if r.kind == "cut-out")
    assert (worn.slit, worn.walked_on) == (free.slit, True)


def _to_segment(p: tuple[float, float], a: tuple[float, float], b: tuple[float, float]) -> float:
    run = math.dist(a, b)
    share = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / run**2
    share = min(1.0, max(0.0, share))
    return math.dist(p, (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))


def test_the_fabrication_file_reads_back_true(rooms: Any, systems: Any) -> None:
    import ezdxf

    system = systems.floor()
    plan = rooms.hall()
    cover = lay_cover(plan, system, None, systems.products())
    text = to_dxf(draw_cover(plan, cover, spec=system.cover))
    document = ezdxf.read(io.StringIO(text))
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    assert document.header["$INSUNITS"] == 4  # millimetres
    lines = list(document.modelspace().query('LWPOLYLINE[layer=="COVER"]'))
    rings = [[(x, y) for x, y, *_ in line.get_points()] for line in lines]
    for wanted in (cover.outline, *cover.cutouts):
        found = min(rings, key=lambda ring: _apart(ring, wanted))
        assert _apart(found, wanted) <= 0.01
        sides = [math.dist(a, b) for a, b in zip(found, found[1:] + found[:1], strict=True)]
        if wanted is cover.outline:
            assert sides == pytest.approx([length for _, length in cover.sides], abs=0.011)
    welds = [[(x, y) for x, y, *_ in e.get_points()] for e in document.modelspace().query('LWPOLYLINE[layer=="WELD"]')]
    drawn = sorted(math.dist(*weld) for weld in welds)
    assert drawn == pytest.approx(sorted(w.length for w in cover.welds), abs=0.011)


def _apart(ring: list[tuple[float, float]], wanted: list[tuple[float, float]]) -> float:
    """Largest distance between corners in turn, infinite when there are not as many."""
    if len(ring) != len(wanted):
        return math.inf
    return max(math.dist(p, q) for p, q in zip(ring, wanted, strict=True))
