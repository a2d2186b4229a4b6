"""Two rooms with one door between them: what both sides must agree on, and where the rooms then lie.

Both rooms are 4 m by 3 m: the first corner at the origin, the second above it, the fourth along x.
"""

import msgspec
import pytest

from buildout.rooms.engine.compare import RoomRevision
from buildout.rooms.engine.drawing import Text
from buildout.rooms.engine.neighbours import behind, meet, told_of
from buildout.rooms.engine.plan import plan_room
from buildout.rooms.engine.room_sheets import draw_rooms
from buildout.rooms.engine.survey import adjust
from buildout.rooms.engine.types import BacksOn, OtherSide, Reading, Room, Wall, WallFeature
from buildout.units.lengths import Length

L = Length.read


def room(name: str, corners: str, doors: list[WallFeature], walls: list[Wall] | None = None, **other: object) -> Room:
    p, q, r, s = corners
    sides = [(p, q, 3000), (q, r, 4000), (r, s, 3000), (s, p, 4000), (p, r, 5000), (q, s, 5000)]
    return Room(
        id=name.lower(), name=name, corners=list(corners), features=doors, walls=walls or [],
        readings=[Reading(id=str(k), start=a, end=b, value=L(f"{mm} mm")) for k, (a, b, mm) in enumerate(sides, 1)],
        **other,  # type: ignore[arg-type]
    )  # fmt: skip


def door(name: str, wall: str, start: int, end: int, **other: object) -> WallFeature:
    said = {"clear_width": L("900 mm"), **other}
    return WallFeature(
        id=name, wall=wall, zero=wall[0], kind="door", start=L(f"{start} mm"), end=L(f"{end} mm"), **said
    )  # type: ignore[arg-type]  # fmt: skip


TO_TWO = OtherSide(room="two", feature="back")
BACK = [Wall(id="C-D", backs_on=BacksOn(room="two", wall="P-Q", thickness=L("100 mm")))]


def pair(here: WallFeature, there: WallFeature, walls: list[Wall] | None = None, others: list[Wall] | None = None):
    rooms = [room("One", "ABCD", [here], walls), room("Two", "PQRS", [there], others)]
    return rooms, meet(rooms, [plan_room(r, adjust(r)) for r in rooms])


def place(found, name):
    at = next(p for p in found.places if p.room == name)
    return at.turn, at.x, at.y, at.group


def test_a_door_and_its_walls_thickness_set_the_next_room():
    """C–D runs down x = 4000 from y = 3000: its door centre is (4000, 1500). P–Q's is (0, 1000). 100 mm between."""
    rooms, found = pair(door("front", "C-D", 1000, 2000, other_side=TO_TWO), door("back", "P-Q", 500, 1500), BACK)
    assert place(found, "one") == (0, 0, 0, 0)
    assert place(found, "two") == pytest.approx((0, 4100, 500, 0), abs=0.02)
    assert found.doors[0].walls == ("C-D", "P-Q")
    assert found.doors[0].thickness == 100
    assert found.reasons == []
    assert behind(found, "one") == {"front": "two"}
    assert behind(found, "two") == {"back": "one"}
    assert rooms[1].features[0].other_side is None


def test_a_door_on_another_wall_turns_the_room():
    """Q–R is the top of its room, its door centre (1000, 3000), inward down. To face right it turns a quarter
    anticlockwise: (1000, 3000) → (−3000, 1000), and has to come to (4100, 1500)."""
    walls = [Wall(id="Q-R", backs_on=BacksOn(room="one", wall="D-C", thickness=L("100 mm")))]
    here, there = door("front", "C-D", 1000, 2000, other_side=TO_TWO), door("back", "Q-R", 500, 1500)
    _, found = pair(here, there, others=walls)
    assert place(found, "two") == pytest.approx((90, 7100, 500, 0), abs=0.02)


def test_without_a_thickness_rooms_stay_apart_and_the_sheet_says_so():
    rooms, found = pair(door("front", "C-D", 1000, 2000, other_side=TO_TWO), door("back", "P-Q", 500, 1500))
    assert place(found, "one")[3] != place(found, "two")[3]
    notes = " ".join(sheet(rooms, found).notes)
    assert "set side by side" in notes
    assert "thickness of the wall between them is not known" in notes


def sheet(rooms, found):
    drawn = []
    for each in rooms:
        survey = adjust(each)
        drawn.append(RoomRevision(room=each, survey=survey, plan=plan_room(each, survey)))
    return draw_rooms(drawn, units="metric", neighbours=found)


def test_the_sheet_shows_rooms_where_they_lie():
    rooms, found = pair(door("front", "C-D", 1000, 2000, other_side=TO_TWO), door("back", "P-Q", 500, 1500), BACK)
    drawing = sheet(rooms, found)
    names = {i.text.split("\n")[0]: i.at for i in drawing.items if isinstance(i, Text) and "mat field" in i.text}
    assert names["Two"][0] - names["One"][0] == pytest.approx(4100, abs=60)
    assert names["Two"][1] - names["One"][1] == pytest.approx(500, abs=60)
    told = [i.text for i in drawing.items if isinstance(i, Text)]
    assert "door to Two" in told
    assert "door to One" in told
    assert "One and Two lie as in the building" in drawing.notes[0]


@pytest.mark.parametrize(("other", "told"), [(897, False), (903, False), (896, True), (925, True)])
def test_clear_widths_that_differ_by_more_than_two_tapes_are_named(other, told):
    """σ of a tape at 900 mm is 1.2 + 0.0585 mm, of two 1.780: 1.96 × 1.780 = 3.49 mm is allowed."""
    here = door("front", "C-D", 1000, 2000, other_side=TO_TWO)
    _, found = pair(here, door("back", "P-Q", 500, 1500, clear_width=L(f"{other} mm")), BACK)
    assert [r.code for r in found.reasons] == (["sides differ"] if told else [])
    if told:
        text = found.reasons[0].text
        assert "clear width of front in One is 900 mm" in text
        assert f"back in Two, {other} mm: {abs(900 - other)}.0 mm apart" in text
        assert "measure its clear width again from both rooms" in found.reasons[0].todo
        assert told_of(found, "one") == told_of(found, "two") == found.reasons


def test_heads_and_swings_that_contradict_each_other():
    here = door("front", "C-D", 1000, 2000, other_side=TO_TWO, head=L("2000 mm"), swing="out")
    _, found = pair(here, door("back", "P-Q", 500, 1500, head=L("2040 mm"), swing="out"), BACK)
    assert [r.code for r in found.reasons] == ["sides differ", "swing differs"]
    assert "40.0 mm apart" in found.reasons[0].text
    assert "different levels" in found.reasons[0].todo


@pytest.mark.parametrize(("shift", "codes"), [(0, []), (40, ["doors apart", "door off"])])
def test_two_doors_in_one_wall_are_as_far_apart_from_either_room(shift, codes):
    """From C the centres lie at 500 and 2500; from P, which is D's end, at 2000 and 0 more or less."""
    one = [door("a", "C-D", 100, 900, other_side=OtherSide(room="two", feature="a")),
           door("b", "C-D", 2100, 2900, other_side=OtherSide(room="two", feature="b"))]  # fmt: skip
    two = [door("a", "P-Q", 2100, 2900), door("b", "P-Q", 100 + shift, 900 + shift)]
    rooms = [room("One", "ABCD", one, BACK), room("Two", "PQRS", two)]
    found = meet(rooms, [plan_room(r, adjust(r)) for r in rooms])
    assert [r.code for r in found.reasons] == codes
    if codes:
        assert "2000 mm apart in One, but 1960 mm in Two: 40.0 mm" in found.reasons[0].text


def test_thickness_stated_twice_and_differently_sets_nothing():
    others = [Wall(id="P-Q", backs_on=BacksOn(room="one", wall="C-D", thickness=L("120 mm")))]
    here = door("front", "C-D", 1000, 2000, other_side=TO_TWO)
    _, found = pair(here, door("back", "P-Q", 500, 1500), BACK, others)
    assert [r.code for r in found.reasons] == ["thickness differs"]
    assert found.doors[0].thickness is None


def test_a_wall_that_backs_on_to_another_than_its_door_leads_to():
    walls = [Wall(id="C-D", backs_on=BacksOn(room="two", wall="R-S", thickness=L("100 mm")))]
    here = door("front", "C-D", 1000, 2000, other_side=TO_TWO)
    _, found = pair(here, door("back", "P-Q", 500, 1500), walls)
    assert [r.code for r in found.reasons] == ["wall behind"]


def test_rooms_set_into_each_other_are_named():
    """A third room behind the top of One, 12 m long by mistake of its door, would lie over Two."""
    here = [door("front", "C-D", 1000, 2000, other_side=TO_TWO),
            door("side", "C-D", 2000, 2900, other_side=OtherSide(room="three", feature="back"))]  # fmt: skip
    rooms = [
        room("One", "ABCD", here, BACK),
        room("Two", "PQRS", [door("back", "P-Q", 500, 1500)]),
        room("Three", "EFGH", [door("back", "E-F", 500, 1500)],
             [Wall(id="E-F", backs_on=BacksOn(room="one", wall="C-D", thickness=L("100 mm")))]),
    ]  # fmt: skip
    found = meet(rooms, [plan_room(r, adjust(r)) for r in rooms])
    assert [(r.code, r.where) for r in found.reasons] == [("rooms overlap", "two – three")]


def test_a_room_without_a_shape_keeps_its_door_and_no_place():
    rooms = [room("One", "ABCD", [door("front", "C-D", 1000, 2000, other_side=TO_TWO)], BACK),
             msgspec.structs.replace(room("Two", "PQRS", [door("back", "P-Q", 500, 1500)]), readings=[])]  # fmt: skip
    found = meet(rooms, [plan_room(r, adjust(r)) for r in rooms])
    assert [d.rooms for d in found.doors] == [("one", "two")]
    assert found.doors[0].walls == ("C-D", "")
    assert [p.room for p in found.places] == ["one"]
