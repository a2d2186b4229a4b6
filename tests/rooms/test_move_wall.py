"""Moving a wall, on a rectangle whose answers are worked out by hand."""

from __future__ import annotations

import pytest

from buildout.rooms.engine.move_wall import WallMoveError, move_wall
from buildout.rooms.engine.types import KeepClear, Reading, Room, Survey, SurveyedPoint, WallFeature
from buildout.units.lengths import Length

FOOT = 304.8


def read(text: str) -> Length:
    return Length.read(text)


def survey(points: dict[str, tuple[float, float]]) -> Survey:
    return Survey(
        room="r", status="proven", readings=[], walls=[], diagonals=[], angles={}, area=0, perimeter=0,
        degrees_of_freedom=1, misfit=0, loose=[], undecided=[], reasons=[],
        points=[SurveyedPoint(name=n, x=x, y=y, plus_minus=1, kind="corner") for n, (x, y) in points.items()],
    )  # fmt: skip


# A 12 × 9 ft room, corners clockwise from the lower left: A (0,0), B (0,9), C (12,9), D (12,0).
# Its diagonals are 15 ft (3-4-5 triangle).
CORNERS = {"A": (0.0, 0.0), "B": (0.0, 9 * FOOT), "C": (12 * FOOT, 9 * FOOT), "D": (12 * FOOT, 0.0)}


def rectangle(**kwargs: object) -> Room:
    values = [("A", "B", "9' 0\""), ("B", "C", "12' 0\""), ("C", "D", '108"'), ("D", "A", "3.658 m"), ("A", "C", "15'")]
    readings = [Reading(id=str(i), start=a, end=b, value=read(v)) for i, (a, b, v) in enumerate(values, 1)]
    return Room(id="r", name="R", corners=["A", "B", "C", "D"], readings=readings, **kwargs)  # type: ignore[arg-type]


def changed(room: Room, wall: str, outward: float) -> dict[tuple[str, str], str]:
    move = move_wall(room, survey(CORNERS), wall, outward)
    return {(d.id, d.field): d.after for d in move.dimensions}


def test_moving_the_far_wall_out_by_three_feet_and_nine_inches() -> None:
    # C-D goes to x = 15 ft 9 in: B-C and D-A grow by 3' 9", A-B and C-D stay; the diagonal becomes
    # sqrt(15.75² + 9²) = sqrt(329.0625) = 18.1401... ft = 217.681 in → 18' 1 5/8" (217.625) to the nearest eighth.
    # D-A was taped as 3.658 m: 3658 + 1143 = 4801 mm.
    assert changed(rectangle(), "C-D", 45 * 25.4) == {
        ("2", "value"): "15' 9\"",
        ("4", "value"): "4.801 m",
        ("5", "value"): "18' 1 5/8\"",
    }


def test_moving_inwards_and_a_wall_named_the_other_way_round() -> None:
    # C-B goes down by 3 in: A-B 8' 9"; C-D was written in inches: 105"; diagonal sqrt(144² + 105²) = 178.22 in
    assert changed(rectangle(), "C-B", -3 * 25.4) == {
        ("1", "value"): "8' 9\"",
        ("3", "value"): '105"',
        ("5", "value"): "14' 10 1/4\"",
    }


def test_what_was_observed_is_changed_not_replaced() -> None:
    # The tape read A-B a quarter of an inch long; after the move it is still a quarter long.
    room = rectangle()
    long = [*room.readings[1:], Reading(id="1", start="A", end="B", value=read("9' 0 1/4\""))]
    moved = changed(Room(id="r", name="R", corners=room.corners, readings=long), "B-C", 25.4)
    assert moved["1", "value"] == "9' 1 1/4\""


def test_openings_stay_in_the_building_when_their_zero_corner_slides() -> None:
    # C-D moves out 6 in. The door on B-C measured from C is 6 in further from C; the one from B is where it was.
    door = WallFeature(id="door", wall="B-C", zero="C", kind="door", start=read("2'"), end=read("5'"))
    other = WallFeature(id="other", wall="B-C", zero="B", kind="door", start=read("2'"), end=read("5'"))
    strip = KeepClear(id="s", name="S", wall="D-A", zero="D", start=read('0"'), end=read("12'"), depth=read("3'"))
    moved = changed(rectangle(features=[door, other], keep_clear=[strip]), "C-D", 6 * 25.4)
    assert moved["door", "start"] == "2' 6\""
    assert moved["door", "end"] == "5' 6\""
    assert ("other", "start") not in moved
    assert ("s", "start") not in moved, "a strip that begins at the corner still does"
    assert moved["s", "end"] == "12' 6\""


def test_only_readings_that_fix_points_follow() -> None:
    # A mark M 4 ft along and 3 ft up. A-B goes out (to x = −6 in): M's offset from A-B grows from 4' to 4' 6", its
    # running dimension along D-A from A too; its offset from D-A, and the height of wall A-B, stay.
    readings = [
        Reading(id="off", kind="offset", start="A", end="B", point="M", value=read("4'")),
        Reading(id="run", kind="running", start="A", end="D", point="M", value=read("4'")),
        Reading(id="up", kind="offset", start="D", end="A", point="M", value=read("3'")),
        Reading(id="high", kind="height", start="A", end="B", value=read("9'")),
        Reading(id="wide", kind="clear width", start="", end="", feature="door", value=read('34"')),
        Reading(id="across", start="B", end="C", value=read("12'")),
    ]
    room = Room(id="r", name="R", corners=["A", "B", "C", "D"], marks=["M"], readings=readings)
    points = {**CORNERS, "M": (4 * FOOT, 3 * FOOT)}
    move = move_wall(room, survey(points), "A-B", 6 * 25.4)
    assert {d.id: d.after for d in move.dimensions} == {"off": "4' 6\"", "run": "4' 6\"", "across": "12' 6\""}


def test_moving_by_nothing_changes_nothing() -> None:
    assert changed(rectangle(), "C-D", 0) == {}


def test_a_move_and_back_gives_the_same_readings() -> None:
    room = rectangle()
    out = move_wall(room, survey(CORNERS), "C-D", 3 * 25.4)
    after = {d.id: d.after for d in out.dimensions}
    there = Room(
        id="r", name="R", corners=room.corners,
        readings=[
            Reading(id=r.id, start=r.start, end=r.end, value=read(after.get(r.id, r.value.text)))
            for r in room.readings
        ],
    )  # fmt: skip
    shifted = {**CORNERS, "C": (12.25 * FOOT, 9 * FOOT), "D": (12.25 * FOOT, 0.0)}
    back = {d.id: read(d.after) for d in move_wall(there, survey(shifted), "C-D", -3 * 25.4).dimensions}
    for reading in room.readings:
        if reading.id in back:
            assert abs(back[reading.id].mm - reading.value.mm) < 3.2  # one eighth of an inch, rounded twice


@pytest.mark.parametrize(
    ("wall", "outward", "words"),
    [
        ("A-C", 76.2, "Its walls are A-B, B-C, C-D, D-A"),
        ("C-D", -12 * FOOT, "Move it less"),
        ("C-D", -20 * FOOT, "Move it less"),
    ],
)
def test_what_cannot_be_moved_is_refused_in_words(wall: str, outward: float, words: str) -> None:
    with pytest.raises(WallMoveError, match=words):
        move_wall(rectangle(), survey(CORNERS), wall, outward)


def test_a_corner_the_readings_do_not_fix() -> None:
    loose = {name: point for name, point in CORNERS.items() if name != "B"}
    with pytest.raises(WallMoveError, match="Corner B is not fixed"):
        move_wall(rectangle(), survey(loose), "C-D", 76.2)


def test_neighbours_along_the_same_line() -> None:
    # E halves wall C-D, so C-E cannot slide along E-D.
    points = {**CORNERS, "E": (12 * FOOT, 4.5 * FOOT)}
    room = Room(id="r", name="R", corners=["A", "B", "C", "E", "D"], readings=rectangle().readings)
    with pytest.raises(WallMoveError, match="same line"):
        move_wall(room, survey(points), "C-E", 76.2)
