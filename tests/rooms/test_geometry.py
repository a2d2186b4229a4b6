import pytest

from buildout.rooms.engine import geometry


def test_shoelace():
    room = [(0, 0), (9144, 0), (9144, 4572), (6096, 4572), (6096, 6096), (0, 6096)]
    assert geometry.signed_area(room) == 51_096_672  # 30 x 20 - 10 x 5 sq ft = 550 sq ft
    assert geometry.signed_area(room[::-1]) == -51_096_672


def test_parallelogram_by_its_diagonals():
    """Parallelogram law: AC² + BD² = 2(AB² + BC²) = 50 180 000 mm²."""
    a, b, c, d = (0, 0), (4000, 0), (4300, 3000), (300, 3000)
    assert geometry.distance(b, c) == pytest.approx(3014.962686, abs=1e-6)
    assert geometry.distance(a, c) == pytest.approx(5243.090692, abs=1e-6)
    assert geometry.distance(b, d) == pytest.approx(4763.402146, abs=1e-6)
    assert geometry.signed_area([a, b, c, d]) == 12_000_000


def test_equal_diagonals_do_not_prove_a_rectangle():
    a, b, c, d = (0, 0), (4000, 0), (3500, 3000), (500, 3000)
    assert geometry.distance(a, c) == pytest.approx(4609.772229, abs=1e-6)
    assert geometry.distance(b, d) == pytest.approx(4609.772229, abs=1e-6)
    assert geometry.interior_angles([a, b, c, d])[0] < 90


def test_interior_angles_either_way_round():
    room = [(0, 0), (30, 0), (30, 15), (20, 15), (20, 20), (0, 20)]
    assert geometry.interior_angles(room) == pytest.approx([90, 90, 90, 270, 90, 90])
    assert geometry.interior_angles(room[::-1]) == pytest.approx([90, 90, 270, 90, 90, 90])


def test_crossing_outline_and_sight():
    assert geometry.crossing_sides([(0, 0), (10, 10), (10, 0), (0, 10)]) == (0, 2)
    room = [(0, 0), (3000, 0), (3000, 1500), (2000, 1500), (2000, 2000), (0, 2000)]
    assert geometry.crossing_sides(room) is None
    assert geometry.in_sight(room, room[0], room[3])
    assert not geometry.in_sight(room, room[2], room[4])  # the re-entrant corner stands between
    assert geometry.in_sight(room, room[1], room[2])
    assert geometry.contains(room, (100, 100))
    assert not geometry.contains(room, (2500, 1800))
