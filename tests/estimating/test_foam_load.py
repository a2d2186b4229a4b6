"""Foam under load against sums done by hand; loads and what a sheet does not say are planning values."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.engine.foam_load import USABLE, Foam, curve, even_stop, fall, peak, press, pressure, strain

KNEELING, BOTH_FEET, ONE_FOOT, HEEL = range(4)


def test_pressures_by_hand() -> None:
    # 80 kg, 40 % of it on 60 cm²: 32 × 9.80665 / 0.006 = 52,302 Pa = 7.586 psi; against 5 psi = 34.47 kPa 1.52 ×.
    assert pressure(32, 60) == pytest.approx(52.302, abs=0.001)
    assert pressure(32, 60) / 6.894757293 == pytest.approx(7.586, abs=0.001)
    assert pressure(32, 60) / 34.473786 == pytest.approx(1.517, abs=0.001)
    # 100 kg on a heel of 20 cm², on one foot of 100 cm², on both of 200 cm².
    assert pressure(100, 20) == pytest.approx(490.33, abs=0.01)
    assert pressure(100, 100) == pytest.approx(98.07, abs=0.01)
    assert pressure(100, 200) == pytest.approx(49.03, abs=0.01)


def test_layers_in_series_by_hand() -> None:
    """The same stress through each, what they give adds up: δ = Σ t·ε(σ); the softest gives most of it.

    Kneeling, 52.30 kPa. Top 10 mm of 40 kPa at 25 %, 120 kPa flat: 0.25 + 0.35 × 12.30/80 = 0.3038, 3.04 mm. Base
    50 mm of 80 kPa: 0.25 × 52.30/80 = 0.1634, 8.17 mm. Together 11.21 mm; the base is flat at 240 kPa, 4.59 × that.
    """
    kneeling = press([Foam("Base", 50.0, 80.0), Foam("Top", 10.0, 40.0)])[KNEELING]
    assert kneeling.sinks == pytest.approx(11.21, abs=0.01)
    assert kneeling.margin == pytest.approx(4.59, abs=0.01)
    assert (kneeling.layer, kneeling.ratio, kneeling.flat, kneeling.short) == ("Top", 1.31, "", "over a quarter")
    assert "Try it on a sample" in kneeling.text


def test_a_soft_top_is_flat_before_the_floor_is() -> None:
    """One foot, 98.07 kPa: a top of 20 kPa is flat at 60, a base of 45 kPa at 135. A heel flattens all."""
    found = press([Foam("Base", 50.8, 45.0), Foam("Top", 12.7, 20.0)])
    foot, heel = found[ONE_FOOT], found[HEEL]
    assert (foot.flat, foot.short, foot.bottoms) == ("Top", "softest layer flat", False)
    assert foot.margin == pytest.approx(135 / 98.0665, abs=0.01)
    assert (heel.short, heel.bottoms) == ("bottoms out", True)
    assert heel.sinks == pytest.approx(0.6 * 63.5, abs=0.01)
    assert heel.margin == pytest.approx(135 / 490.3325, abs=0.01)
    assert "what lies under it is likely felt" in heel.text


def test_verdict_at_a_quarter() -> None:
    """Kneeling, 52.30 kPa: within a quarter of foam of 53 kPa, beyond it for 52 kPa."""
    firm, soft = press([Foam("Mat", 40.0, 53.0)])[KNEELING], press([Foam("Mat", 40.0, 52.0)])[KNEELING]
    assert (firm.verdict, firm.short) == ("fine", "under a quarter")
    assert (soft.verdict, soft.short) == ("look at it", "over a quarter")


def test_a_second_point_of_the_data_sheet_counts() -> None:
    """30 kPa at 25 %, 60 at 50 %: 45 gives 37.5 %; without the second point 25 + 35 × 15/60 = 33.75 %."""
    assert strain(45, 30, 60) == pytest.approx(0.375)
    assert strain(45, 30) == pytest.approx(0.3375)
    assert curve(30, 20) == curve(30)  # less at 50 % than at 25 % is a slip of the pen


def test_missing_is_said() -> None:
    nothing = press([Foam("Base", 50.0, None)])
    assert {found.short for found in nothing} == {"missing"}
    half = press([Foam("Base", 50.0, None), Foam("Top", 10.0, 60.0)])[KNEELING]
    assert (half.short, half.sinks, half.margin) == ("look at it", None, None)
    assert "missing" in half.text
    assert {found.short for found in press([])} == {"missing"}


@given(
    st.lists(st.tuples(st.floats(1, 200), st.floats(5, 300)), min_size=1, max_size=4), st.floats(0.1, 1000),
    st.floats(1.0, 3.0),
)  # fmt: skip
def test_more_load_never_gives_less(layers: list[tuple[float, float]], load: float, times: float) -> None:
    def gives(kilopascal: float) -> float:
        return sum(thickness * strain(kilopascal, at_25) for thickness, at_25 in layers)

    assert gives(load) <= gives(load * times) + 1e-6
    assert gives(load) <= USABLE * sum(thickness for thickness, _ in layers) + 1e-6
    for _, at_25 in layers:
        assert strain(at_25, at_25) == pytest.approx(0.25)


def test_falls_by_hand() -> None:
    """Derived from v² = 2gh and a = v²/2s: an even stop is h/s; with a cushion factor G = C·h/t (Janssen's form)."""
    assert even_stop(600, 30) == 20.0
    assert peak(600, [(50, 3)]) == pytest.approx(36.0)
    assert peak(600, [(45, 3)]) == pytest.approx(40.0)  # for G ≤ 40: t ≥ 45 mm
    # By stress and energy: 70 kg on 0.10 m² from 0.6 m on 0.05 m: static 6.8647 kPa, energy 82.376 kJ/m³, peak
    # C × energy = 247.13 kPa, which is G × static.
    static = pressure(70, 1000)
    energy = 70 * 9.80665 * 0.6 / 0.10 / 0.05 / 1000
    assert (static, energy) == (pytest.approx(6.8647, abs=1e-4), pytest.approx(82.376, abs=1e-3))
    assert peak(600, [(50, 3)]) * static == pytest.approx(3 * energy, abs=1e-3)
    # Layers of one factor are one layer; a better one below helps by its share.
    assert peak(600, [(20, 3), (30, 3)]) == pytest.approx(36.0)
    assert peak(600, [(25, 2.5), (25, 5)]) == pytest.approx(600 / (10 + 5))


def test_a_fall_is_ranked_and_never_judged() -> None:
    assert fall([Foam("Base", None, 45.0)]) is None
    assert fall([]) is None
    bare = fall([Foam("Base", 40.0, 45.0), Foam("Top", 10.0, 20.0, None, 3.0)])
    assert bare is not None
    assert (bare.depth, bare.least, bare.likely) == (30.0, 20.0, None)
    assert "no cushion factor for Base" in bare.text
    told = fall([Foam("Base", 40.0, 45.0, None, 3.0), Foam("Top", 10.0, 20.0, None, 3.0)])
    assert told is not None
    assert told.likely == 36.0
    assert not {"safe", "complies", "critical"} & set(told.text.lower().split())
