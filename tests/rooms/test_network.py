"""The adjustment against published and hand-derived values, and against another solver."""

import math

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.stats import norm

from buildout.rooms.engine.network import (
    LIMIT,
    Distance,
    End,
    Network,
    adjust_network,
    chi_square_limit,
)


def distances(readings: dict[str, float], sigma: float) -> list[Distance]:
    return [Distance(name, End(name[0]), End(name[1]), value, sigma) for name, value in readings.items()]


def test_line_in_two_pieces():
    # misclosure 3000 + 2000 - 5006 = -6 shared in three equal parts
    done = adjust_network(
        distances({"AB": 3000, "BC": 2000, "AC": 5006}, 1.0),
        {"A": (0, 0), "B": (2900, 0), "C": (5100, 0)},
        {"A": (0.0, 0.0), "B": (None, 0.0), "C": (None, 0.0)},
    )
    assert done.adjusted == pytest.approx([3002, 2002, 5004], abs=1e-6)
    assert done.residuals == pytest.approx([2, 2, -2], abs=1e-6)
    assert done.redundancy == pytest.approx([1 / 3] * 3, abs=1e-9)
    assert done.freedom == 1


LINE = {"AB": 1002.0, "BC": 1999.0, "CD": 1501.0, "AC": 3003.0, "BD": 3498.0, "AD": 4500.0}


def line(readings):
    return adjust_network(
        distances(readings, 3.0),
        {"A": (0, 0), "B": (1000, 0), "C": (3000, 0), "D": (4500, 0)},
        {"A": (0.0, 0.0), "B": (None, 0.0), "C": (None, 0.0), "D": (None, 0.0)},
    )


def test_all_six_distances_of_four_points_in_a_line():
    done = line(LINE)
    assert done.adjusted[:3] == pytest.approx([1002.5, 1999.0, 1499.5], abs=1e-6)
    assert done.redundancy == pytest.approx([0.5] * 6, abs=1e-9)
    assert done.misfit == pytest.approx(0.6667, abs=1e-4)


def test_a_foot_in_a_line_shows_half_in_its_own_residual():
    done = line({**LINE, "AC": LINE["AC"] + 304.8})
    assert done.residuals[3] == pytest.approx(-153.9, abs=0.01)
    assert done.standardised[3] == pytest.approx(-72.55, abs=0.01)
    assert max(abs(w) for k, w in enumerate(done.standardised) if k != 3) <= 36.71
    assert -done.residuals[3] / done.redundancy[3] == pytest.approx(307.8, abs=0.01)


def test_tie_point_at_the_middle_of_a_rectangle():
    # 8 x 6 m, normal matrix diag(2.56, 1.44), right side (3.2, 2.4): shift (1.25, 1.667)
    corners = {"A": (0.0, 0.0), "B": (8000.0, 0.0), "C": (8000.0, 6000.0), "D": (0.0, 6000.0)}
    done = adjust_network(
        distances({"AP": 5004, "BP": 5000, "CP": 5000, "DP": 5000}, 2.0), {**corners, "P": (4000, 3000)}, corners
    )
    assert done.points["P"] == pytest.approx((4001.250, 3001.667), abs=0.002)
    assert done.residuals == pytest.approx([-2, 0, -2, 0], abs=0.002)
    assert done.redundancy == pytest.approx([0.5] * 4, abs=0.002)
    assert done.misfit == pytest.approx(2.0, abs=0.002)
    # detectable, not locatable: a long reading from A looks just like one from C
    assert done.standardised[0] == pytest.approx(done.standardised[2], abs=0.001) == pytest.approx(-1.414, abs=0.001)


def test_textbook_trilateration():
    """Data of example 14.2 in C. Ghilani, Adjustment Computations (feet); answer recomputed with SciPy."""
    fixed = {"A": (865.40, 4527.15), "B": (2432.55, 2047.25), "C": (2865.22, 27.15)}
    done = adjust_network(
        distances({"AU": 6049.00, "BU": 4736.83, "CU": 5446.49}, 1.0), {**fixed, "U": (6800, 3700)}, fixed
    )
    assert done.points["U"] == pytest.approx((6861.317, 3727.819), abs=0.001)
    assert done.residuals == pytest.approx([-0.0374, 0.0768, -0.0474], abs=0.001)
    assert done.redundancy == pytest.approx([0.1464, 0.6183, 0.2352], abs=0.001)
    unit = math.sqrt(done.misfit / done.freedom)
    assert unit == pytest.approx(0.0977, abs=0.001)
    assert unit * np.sqrt(np.diag(done.cofactor)) == pytest.approx([0.078, 0.154], abs=0.001)


RECTANGLE = {"AB": 4000.0, "BC": 3000.0, "CD": 4000.0, "DA": 3000.0, "AC": 5000.0, "BD": 5000.0}


def rectangle(readings):
    return adjust_network(
        distances(readings, 3.0),
        {"A": (0, 0), "B": (4000, 0), "C": (4000, 3000), "D": (0, 3000)},
        {"A": (0.0, 0.0), "B": (None, 0.0)},
    )


@pytest.mark.parametrize(
    ("name", "by", "residuals", "size"),
    [
        ("AC", 6.0, [1.20, 0.90, 1.20, 0.90, -1.50, -1.50], 1.000),
        ("AB", 304.8, [-46.97, -35.26, -50.64, -35.26, 60.18, 60.18], 40.14),
        ("BC", -304.8, [37.58, 28.15, 37.58, 25.34, -46.10, -46.10], 30.75),
        ("AC", 304.8, [61.86, 46.40, 61.86, 46.40, -79.58, -75.01], 51.55),
    ],
)
def test_six_lengths_of_a_rectangle_share_one_condition(name, by, residuals, size):
    # the condition's unit vector is (4, 3, 4, 3, -5, -5)/10; all standardised residuals are alike
    done = rectangle({**RECTANGLE, name: RECTANGLE[name] + by})
    assert done.residuals == pytest.approx(residuals, abs=0.02)
    assert [abs(w) for w in done.standardised] == pytest.approx([size] * 6, abs=0.01)


def test_redundancy_of_a_true_rectangle():
    assert rectangle(RECTANGLE).redundancy == pytest.approx([0.16, 0.09, 0.16, 0.09, 0.25, 0.25], abs=1e-6)


POST = {
    "AB": 9145.2, "BC": 6093.9, "CD": 9144.6, "DA": 6097.5, "AC": 10988.8,
    "BD": 10992.1, "AE": 4394.1, "BE": 6004.2, "CE": 6593.2, "DE": 5173.7,
}  # fmt: skip


def with_post(readings):
    return adjust_network(
        distances(readings, 3.0),
        {"A": (0, 0), "B": (9144, 0), "C": (9144, 6096), "D": (0, 6096), "E": (3657.6, 2438.4)},
        {"A": (0.0, 0.0), "B": (None, 0.0)},
    )


def test_one_tie_point_more():
    done = with_post(POST)
    assert done.redundancy == pytest.approx(
        [0.2410, 0.0845, 0.1901, 0.1070, 0.4656, 0.4510, 0.3922, 0.4024, 0.3677, 0.2985], abs=0.0005
    )
    assert done.standardised == pytest.approx(
        [-0.193, -0.063, -0.063, -0.193, -0.172, -0.190, 0.370, 0.346, 0.249, 0.346], abs=0.0005
    )
    assert sum(done.redundancy) == pytest.approx(3.0, abs=1e-9)
    assert done.misfit == pytest.approx(0.2045, abs=0.0005)


@pytest.mark.parametrize(
    ("name", "by", "worst", "second", "following", "estimate", "misfit", "left"),
    [
        ("BC", 304.8, 29.559, "CD", 29.547, 305.96, 873.75, 0.2005),
        ("BD", -304.8, 67.887, "BC", 49.796, -304.64, 4608.8, 0.1685),
        ("CE", 304.8, 61.346, "AE", 55.942, 303.63, 3763.6, 0.1426),
    ],
)
def test_one_foot_in_the_network_with_a_post(name, by, worst, second, following, estimate, misfit, left):
    wrong = {**POST, name: POST[name] + by}
    done = with_post(wrong)
    size = dict(zip(wrong, (abs(w) for w in done.standardised), strict=True))
    order = sorted(size, key=lambda n: -size[n])
    assert order[:2] == [name, second]
    assert size[name] == pytest.approx(worst, abs=0.0005)
    assert size[second] == pytest.approx(following, abs=0.0005)
    k = list(wrong).index(name)
    assert -done.residuals[k] / done.redundancy[k] == pytest.approx(estimate, abs=0.01)
    assert done.misfit == pytest.approx(misfit, rel=1e-4)
    del wrong[name]
    assert with_post(wrong).misfit == pytest.approx(left, abs=0.0005)


def test_limits_are_those_of_the_normal_and_chi_square_distributions():
    assert pytest.approx(norm.ppf(1 - 0.001 / 2), abs=1e-2) == LIMIT
    assert [chi_square_limit(n) for n in (1, 2, 3, 5)] == pytest.approx([3.8415, 5.9915, 7.8147, 11.0705], abs=1e-4)


def test_a_reading_nothing_checks_has_no_standardised_residual():
    done = adjust_network(
        distances({"AB": 3000, "AC": 4000, "BC": 5000, "CD": 700, "BD": 4500}, 2.0),
        {"A": (0, 0), "B": (3000, 0), "C": (0, 4000), "D": (600, 4300)},
        {"A": (0.0, 0.0), "B": (None, 0.0)},
    )
    assert done.freedom == 0
    assert done.standardised == [None] * 5


def test_loose_points_are_named():
    done = adjust_network(
        distances({"AB": 4000, "BC": 3000, "CD": 4000, "DA": 3000}, 2.0),
        {"A": (0, 0), "B": (4000, 0), "C": (4000, 3000), "D": (0, 3000)},
        {"A": (0.0, 0.0), "B": (None, 0.0)},
    )
    assert done.loose == ["C", "D"]


def test_same_answer_as_another_solver():
    """A framed column corner and a round column's face, against SciPy with numeric derivatives."""
    points = {"A": (0, 0), "B": (100, 8000), "C": (9000, 8100), "D": (9100, 0), "K": (4000, 3000), "R": (6000, 5000)}
    fixed = {"A": (0.0, 0.0), "D": (None, 0.0)}
    rng = np.random.default_rng(3)
    network_of = [("A", "B"), ("B", "C"), ("C", "D"), ("D", "A"), ("A", "C"), ("B", "D")]
    made = []
    for k, (a, b) in enumerate(network_of):
        true = math.dist(points[a], points[b])
        made.append(Distance(str(k), End(a), End(b), true + rng.normal(0, 3), 2 + k % 3))
    for k, name in enumerate("ABCD"):
        made.append(Distance(f"R{k}", End(name), End("R", radius=140.0), math.dist(points[name], points["R"]) - 138, 2))
        spot = (4000 + (-150 if k < 2 else 150), 3000 + (-200 if k % 2 else 200))
        end = End("K", offset=(spot[0] - 4000, spot[1] - 3000), frame=("B", "C"))
        made.append(Distance(f"K{k}", End(name), end, math.dist(points[name], spot) + rng.normal(0, 3), 2))
    ours = adjust_network(made, points, fixed)
    network = Network(sorted(points), made, fixed)
    observed, sigma = network.observed, network.sigma
    other = least_squares(
        lambda x: (network.evaluate(x)[0] - observed) / sigma, network.pack(points), xtol=1e-15, ftol=1e-15, gtol=1e-15
    )
    assert network.pack(ours.points) == pytest.approx(other.x, abs=1e-3)
    assert ours.misfit == pytest.approx(2 * other.cost, abs=1e-6)
    # derivatives written out agree with numeric ones
    x = network.pack(ours.points)
    _, design = network.evaluate(x)
    step = 1e-3
    for k in range(len(x)):
        up, down = x.copy(), x.copy()
        up[k] += step
        down[k] -= step
        numeric = (network.evaluate(up)[0] - network.evaluate(down)[0]) / (2 * step)
        assert design[:, k] == pytest.approx(numeric, abs=1e-6)
