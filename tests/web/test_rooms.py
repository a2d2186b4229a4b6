"""Rooms: the drawing beside its readings, and every edit as a proposal."""

from __future__ import annotations

import html
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, Proposal
from buildout.people.web.models import User

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"rooms:{name}", args=[build.pk, *args])


PAGES: list[tuple[str, tuple[str, ...]]] = [
    ("list", ()),
    ("new", ()),
    ("room", ("hall",)),
    ("drawing", ("hall",)),
    ("dxf", ("hall",)),
    ("edit", ("hall",)),
    ("add-part", ("hall", "readings")),
    ("edit-part", ("hall", "readings", "4")),
    ("edit-part", ("hall", "columns", "K1")),
    ("edit-part", ("hall", "features", "fire-exit")),
    ("edit-part", ("hall", "keep-clear", "landing")),
    ("edit-part", ("hall", "walls", "A-B")),
]


@pytest.mark.parametrize(("name", "args"), PAGES)
def test_the_owner_sees_it_and_nobody_else_learns_that_it_is_there(
    name: str, args: tuple[str, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User,
    stranger: User,
) -> None:  # fmt: skip
    address = url(name, demo_build, *args)
    assert client_of(owner).get(address).status_code == 200
    for other in (partner, lead, stranger):
        assert client_of(other).get(address).status_code == 404
    assert client_of(None).get(address).status_code == 302


@pytest.mark.parametrize(("name", "args"), [("delete", ("hall",)), ("move-wall", ("hall",)),
                                            ("add-readings", ("hall",)),
                                            ("delete-part", ("hall", "readings", "4"))])  # fmt: skip
def test_commands_are_posts_of_the_owner_alone(
    name: str, args: tuple[str, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User, stranger: User
) -> None:
    address = url(name, demo_build, *args)
    assert client_of(owner).get(address).status_code == 405
    for other in (partner, stranger):
        assert client_of(other).post(address, {}).status_code == 404
    assert not Proposal.objects.exists()


@pytest.mark.parametrize("name", ["list", "room", "new"])
def test_looking_is_not_posting(name: str, client_of: ClientOf, demo_build: Build, owner: User) -> None:
    args = ("hall",) if name == "room" else ()
    if name != "new":
        assert client_of(owner).post(url(name, demo_build, *args)).status_code == 405
    assert client_of(owner).delete(url(name, demo_build, *args)).status_code == 405


def test_a_room_shows_every_reading_with_what_became_of_it(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    page = client_of(owner).get(url("room", demo_build, "hall")).content.decode()
    assert "36&#x27; 0 1/2&quot;" in page
    assert "<svg" in page
    assert page.count("sound") >= 26
    assert "style=" not in page
    assert "<script>" not in page


def test_a_blunder_is_said_with_its_reason(client_of: ClientOf, small_build: Build, owner: User, settings: Any) -> None:
    """A reading that is a foot short is found, set aside and explained, once the plan that holds it is applied."""
    browser = client_of(owner)
    address = url("edit-part", small_build, "room", "readings", "6")
    answer = browser.post(address, {"id": "6", "start": "B", "end": "D", "value": "30' 2 15/16\"", "tool": "tape"})
    proposal = Proposal.objects.get(build=small_build)
    assert answer.url == proposal.get_absolute_url()
    assert proposal.state == Proposal.State.READY, proposal.problem
    browser.post(reverse("changes:apply", args=[small_build.pk, proposal.pk]))
    page = browser.get(url("room", small_build, "room")).content.decode()
    assert "set aside" in page or "suspect" in page


@pytest.mark.parametrize(("name", "args", "count"), [("list", (), 3), ("room", ("hall",), 4)])
def test_queries(
    name: str, args: tuple[str, ...], count: int, client_of: ClientOf, demo_build: Build, owner: User,
    django_assert_num_queries: Any,
) -> None:  # fmt: skip
    browser = client_of(owner)
    with django_assert_num_queries(count):
        assert browser.get(url(name, demo_build, *args)).status_code == 200


def test_what_is_not_there(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    for name, args in [("room", ("attic",)), ("edit-part", ("hall", "readings", "99")),
                       ("edit-part", ("hall", "ceilings", "1")), ("edit-part", ("hall", "walls", "A-C"))]:  # fmt: skip
        assert browser.get(url(name, demo_build, *args)).status_code == 404, (name, args)


# ------------------------------------------------------------------ editing


def test_a_reading_is_proposed_not_written(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    before = demo_build.current.document if demo_build.current else {}
    answer = client_of(owner).post(
        url("edit-part", demo_build, "hall", "readings", "5"),
        {"id": "5", "start": "E", "end": "F", "value": "31' 10 3/4\"", "tool": "laser", "who": "Ines", "when": ""},
    )
    proposal = Proposal.objects.get()
    assert answer.status_code == 302
    assert answer.url == proposal.get_absolute_url()
    assert proposal.summary == "Main hall: Reading 5, E to F: 31' 10 3/4\""
    reading = next(r for r in proposed(demo_build)["rooms"][0]["readings"] if r["id"] == "5")
    assert reading == {
        "id": "5", "start": "E", "end": "F", "value": "31' 10 3/4\"", "tool": "laser", "who": "Ines"
    }  # fmt: skip
    demo_build.refresh_from_db()
    assert demo_build.current is not None
    assert demo_build.current.document == before, "the plan itself is as it was"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"value": "12 3 1/4"}, "does not say feet, inches or metres"),
        ({"value": "-3'"}, "negative"),
        ({"end": "E"}, "goes to another point"),
        ({"start": "Z"}, "Select a valid choice"),
        ({"when": "last week"}, "Write a day such as 2027-03-13"),
        ({"id": "two words"}, "letters, digits, dots, dashes and underscores"),
        ({"id": "4"}, "already entry"),
        ({"value": '0"'}, "must be more than nothing"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_at_its_field_and_kept(
    typed: dict[str, str], said: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    data = {"id": "5", "start": "E", "end": "F", "value": "31' 10 1/2\"", "tool": "tape", "note": "kept note"} | typed
    answer = client_of(owner).post(url("edit-part", demo_build, "hall", "readings", "5"), data)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert "kept note" in page
    (name, value), *_ = typed.items()
    assert f"id_{name}_error" in page, "said beside the field it came from"
    if name not in ("start", "end"):
        assert value.replace('"', "&quot;").replace("'", "&#x27;") in page
    assert not Proposal.objects.exists()


def test_many_readings_at_once(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    answer = client_of(owner).post(
        url("add-readings", demo_build, "hall"),
        {"lines": "a c 67' 11 3/4\"\n\nM K2 24' 3 1/8\"", "who": "Orla", "when": "2027-01-18"},
    )
    assert answer.status_code == 302
    assert proposed(demo_build)["rooms"][0]["readings"][-2:] == [
        {"id": "27", "start": "A", "end": "C", "value": "67' 11 3/4\"", "who": "Orla", "when": "2027-01-18"},
        {"id": "28", "start": "M", "end": "K2", "value": "24' 3 1/8\"", "who": "Orla", "when": "2027-01-18"},
    ]


def test_many_readings_say_which_line_is_wrong(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    typed = "A C 67' 11 3/4\"\nA Z 4'\nA B\nB C 12 3 1/4"
    answer = client_of(owner).post(url("add-readings", demo_build, "hall"), {"lines": typed})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Line 2: there is no point Z" in page
    assert "Line 3: write from, to and length" in page
    assert "Line 4: &quot;12 3 1/4&quot; does not say" in page
    assert "A Z 4&#x27;" in page


def test_a_wall_is_moved_by_its_readings(
    client_of: ClientOf, small_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    # B-C goes out 3 in: A-B and C-D, both 20 ft, become 20' 3"; the diagonals grow from 31.24 ft to
    # sqrt(24² + 20.25²) = 31.4016 ft, that is by 1.93 in, so 31' 2 7/8" becomes 31' 4.80", nearest eighth 4 3/4";
    # D-A and B-C stay.
    answer = client_of(owner).post(
        url("move-wall", small_build, "room"), {"wall": "B-C", "distance": '3"', "way": "out"}
    )
    proposal = Proposal.objects.get()
    assert answer.url == proposal.get_absolute_url()
    assert proposal.summary == "Training room: wall B-C moved 3 in outwards"
    readings = {r["id"]: r for r in proposed(small_build)["rooms"][0]["readings"]}
    assert readings["1"]["value"] == "20' 3\""
    assert readings["2"]["value"] == "24' 0\""
    assert readings["3"]["value"] == "20' 3\""
    assert readings["5"]["value"] == "31' 4 3/4\""
    assert readings["1"]["note"] == "Wall B-C moved 3 in outwards: was 20' 0\"."


def test_moving_a_wall_works_out_what_it_does(client_of: ClientOf, small_build: Build, owner: User) -> None:
    browser = client_of(owner)
    answer = browser.post(url("move-wall", small_build, "room"), {"wall": "B-C", "distance": "2'", "way": "out"})
    page = browser.get(answer.url).content.decode()
    assert "Floor area" in page
    assert "Decide" in page


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"distance": "3"}, "does not say feet, inches or metres"),
        ({"distance": ""}, "This field is required"),
        ({"distance": '0"'}, "Moving by nothing"),
        ({"distance": "40'", "way": "in"}, "Move it less"),
        ({"wall": "A-C"}, "Select a valid choice"),
    ],
)
def test_a_move_that_cannot_be(
    typed: dict[str, str], said: str, client_of: ClientOf, small_build: Build, owner: User
) -> None:
    answer = client_of(owner).post(
        url("move-wall", small_build, "room"), {"wall": "B-C", "distance": '3"', "way": "out"} | typed
    )
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not Proposal.objects.exists()


def test_openings_strips_columns_and_walls(
    client_of: ClientOf, small_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    window = {"id": "window", "kind": "window", "wall": "B-C", "zero": "B", "start": "4'", "end": "6'", "sill": "3'",
              "head": "7'", "swing": ""}  # fmt: skip
    cases: list[tuple[tuple[str, ...], dict[str, str], str, dict[str, Any]]] = [
        (("add-part", "room", "features"), window, "features", {k: v for k, v in window.items() if v}),
        (
            ("add-part", "room", "columns"),
            {"id": "K1", "shape": "round", "diameter": '10"', "width": '9"'},
            "columns",
            {"id": "K1", "shape": "round", "diameter": '10"'},
        ),
        (
            ("edit-part", "room", "keep-clear", "landing"),
            {"id": "landing", "name": "Shoes", "wall": "A-B", "zero": "A", "start": "7'", "end": "13'", "depth": "3'"},
            "keep_clear",
            {"id": "landing", "name": "Shoes", "wall": "A-B", "zero": "A", "start": "7'", "end": "13'", "depth": "3'",
             "edge": "ramp"},
        ),
        (
            ("edit-part", "room", "walls", "A-B"),
            {"id": "A-B", "construction": "masonry", "height": "9' 1\""},
            "walls",
            {"id": "A-B", "construction": "masonry", "height": "9' 1\""},
        ),
    ]  # fmt: skip
    for (name, *args), typed, part, expected in cases:
        answer = browser.post(url(name, small_build, *args), typed)
        assert answer.status_code == 302, answer.content.decode()
        assert expected in proposed(small_build)["rooms"][0][part]
        Proposal.objects.all().delete()


@pytest.mark.parametrize(
    ("part", "typed", "field", "said"),
    [
        ("features", {"wall": "B-C", "zero": "A"}, "zero", "Wall B-C has the corners B and C"),
        ("features", {"end": "3'"}, "end", "is not beyond"),
        ("features", {"sill": "7'", "head": "6'"}, "head", "is not above"),
        ("keep-clear", {"depth": "0 in"}, "depth", "must be more than nothing"),
        ("columns", {"shape": "round", "diameter": ""}, "diameter", "A round column needs this"),
        ("columns", {"shape": "rectangular", "width": '12"'}, "depth", "A rectangular column needs this"),
        ("columns", {"id": "A"}, "id", "already names another point"),
    ],
)
def test_parts_that_do_not_fit(
    part: str, typed: dict[str, str], field: str, said: str, client_of: ClientOf, small_build: Build, owner: User
) -> None:
    fit = {
        "features": {"id": "w", "kind": "window", "wall": "B-C", "zero": "B", "start": "4'", "end": "6'"},
        "keep-clear": {"id": "s", "name": "S", "wall": "B-C", "zero": "B", "start": "4'", "end": "6'", "depth": "2'",
                       "edge": "ramp"},
        "columns": {"id": "K1", "shape": "round", "diameter": '10"'},
    }[part]  # fmt: skip
    answer = client_of(owner).post(url("add-part", small_build, "room", part), fit | typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert f"id_{field}_error" in page


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"id": "hatch", "kind": "door", "start": "40' 0\"", "end": "41' 0\""}, "Overlaps fire-exit"),
        ({"id": "hatch", "kind": "door", "start": "43' 10\"", "end": "44' 6\""}, ""),
        ({"id": "v", "kind": "window", "start": "41'", "end": "42'", "sill": "7' 0\"", "head": "8' 0\""}, ""),
        ({"id": "dial", "kind": "thermostat", "start": "42' 0\"", "sill": "7' 2\""}, ""),
    ],
)  # fmt: skip
def test_an_opening_over_another_is_said_beside_where_it_begins(
    typed: dict[str, str], said: str, client_of: ClientOf, demo_build: Build, owner: User, queued: None
) -> None:
    """The exit takes 40' 6" to 43' 10" from A, up to 6' 10": beside it and above it others may stand."""
    answer = client_of(owner).post(
        url("add-part", demo_build, "hall", "features"), {"wall": "A-B", "zero": "A"} | typed
    )  # fmt: skip
    page = html.unescape(answer.content.decode())
    assert answer.status_code == (422 if said else 302), page
    assert Proposal.objects.exists() is not bool(said)
    if said:
        assert said in page
        assert "id_start_error" in page
        assert "from 40' 6\" to 43' 10\" from corner A" in page
        assert "which corner each was read from" in page
        assert f'value="{typed["start"]}"' in page, "kept as typed"
        assert "Add an opening or service" in page


def test_taking_something_out(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    answer = browser.post(url("delete-part", demo_build, "hall", "readings", "26"))
    assert answer.url == Proposal.objects.get().get_absolute_url()
    assert "26" not in [r["id"] for r in proposed(demo_build)["rooms"][0]["readings"]]
    Proposal.objects.all().delete()
    browser.post(url("delete", demo_build, "children"))
    assert [room["id"] for room in proposed(demo_build)["rooms"]] == ["hall"]
    assert [fitout["room"] for fitout in proposed(demo_build)["fitouts"]] == ["hall"]
    hall = proposed(demo_build)["rooms"][0]
    assert not [f for f in hall["features"] if "other_side" in f]
    assert not [w for w in hall["walls"] if "backs_on" in w]


def test_what_others_lean_on_is_not_taken_out(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    """Readings 18 to 22 go to column K1; the roller door has removable panels in front."""
    browser = client_of(owner)
    answer = browser.post(url("delete-part", demo_build, "hall", "columns", "K1"))
    assert answer.status_code == 422
    assert "Not possible: Main hall: column K1 taken out" in answer.content.decode()
    answer = browser.post(url("delete-part", demo_build, "hall", "features", "roller-door"))
    assert answer.status_code == 422
    assert not Proposal.objects.exists()
    assert browser.post(url("delete-part", demo_build, "hall", "readings", "99")).status_code == 404


DOOR = {
    "id": "children-door", "kind": "door", "wall": "C-D", "zero": "C", "start": "6' 8\"", "end": "9' 10\"",
    "head": "6' 10\"", "clear_width": '33"', "swing": "out", "hinge": "", "other_side": "Children's room: door",
}  # fmt: skip


def test_a_door_says_where_it_leads(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    assert "door to Children&#x27;s room" in browser.get(url("list", demo_build)).content.decode()
    page = browser.get(url("room", demo_build, "children")).content.decode()
    assert "Door to Main hall" in page  # the table
    assert "door to Main hall" in page  # the drawing
    page = browser.get(url("edit-part", demo_build, "hall", "features", "children-door")).content.decode()
    assert '<option value="Children&#x27;s room: door" selected>' in page
    assert "lie as in the building" in browser.get(url("together", demo_build)).content.decode()


def test_one_side_of_a_door_changes_nothing_on_the_other(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    before = demo_build.current.document["rooms"][1]  # type: ignore[union-attr]
    address = url("edit-part", demo_build, "hall", "features", "children-door")
    assert client_of(owner).post(address, DOOR | {"clear_width": '32"'}).status_code == 302
    rooms = proposed(demo_build)["rooms"]
    door = next(f for f in rooms[0]["features"] if f["id"] == "children-door")
    assert door["clear_width"] == '32"'
    assert door["other_side"] == {"room": "children", "feature": "door"}
    assert rooms[1] == before
    Proposal.objects.all().delete()
    client_of(owner).post(address, DOOR | {"other_side": ""})
    assert "other_side" not in next(f for f in proposed(demo_build)["rooms"][0]["features"] if f["id"] == DOOR["id"])


@pytest.mark.parametrize(
    ("part", "name", "typed", "field", "said"),
    [
        ("features", "children-door", DOOR | {"other_side": "Attic: hatch"}, "other_side", "Select a valid choice"),
        ("features", "children-door", DOOR | {"kind": "low wall"}, "other_side", "Only these lead into another room"),
        ("features", "roller-door", DOOR | {"id": "roller-door", "start": "12'", "end": "15'"}, "other_side",
         "already"),
        ("walls", "C-D", {"id": "C-D", "construction": "stud", "thickness": '5"'}, "backs_on", "Say which wall"),
        ("walls", "C-D", {"id": "C-D", "construction": "stud", "backs_on": "Children's room: N-G",
                          "thickness": "thick"}, "thickness", "thick"),
        ("walls", "C-D", {"id": "C-D", "construction": "stud", "backs_on": "Children's room: N-G",
                          "thickness": '0"'}, "thickness", "Thickness"),
    ],
)  # fmt: skip
def test_what_a_shared_door_or_wall_cannot_be(
    part: str, name: str, typed: dict[str, Any], field: str, said: str, client_of: ClientOf, demo_build: Build,
    owner: User,
) -> None:  # fmt: skip
    answer = client_of(owner).post(url("edit-part", demo_build, "hall", part, name), typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert f"id_{field}_error" in page
    assert not Proposal.objects.exists()


def test_a_room_from_a_tape(
    client_of: ClientOf, small_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    readings = "P Q 10'\nQ R 12'\nR S 10'\nS P 12'\nP R 15' 7 3/8\"\nQ S 15' 7 1/2\""
    answer = client_of(owner).post(
        url("new", small_build),
        {"name": "Changing room", "corners": "P Q R S", "turning": "clockwise", "readings": readings, "height": "9'"},
    )
    assert answer.status_code == 302
    room = proposed(small_build)["rooms"][1]
    assert room["id"] == "changing-room"
    assert room["corners"] == ["P", "Q", "R", "S"]
    assert [r["value"] for r in room["readings"]][4:] == ["15' 7 3/8\"", "15' 7 1/2\""]


def test_a_room_with_readings_that_do_not_fit(client_of: ClientOf, small_build: Build, owner: User) -> None:
    answer = client_of(owner).post(
        url("new", small_build),
        {"name": "Changing room", "corners": "P P R", "turning": "clockwise", "readings": "P X 10'"},
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Each corner needs a letter of its own" in page
    assert "P X 10&#x27;" in page
    answer = client_of(owner).post(
        url("new", small_build), {"name": "C", "corners": "P Q R", "turning": "clockwise", "readings": "P X 10'"}
    )
    assert "Line 1: there is no point X. There are: P, Q, R." in answer.content.decode()


def test_renaming_a_corner_that_readings_use_is_refused(client_of: ClientOf, small_build: Build, owner: User) -> None:
    answer = client_of(owner).post(
        url("edit", small_build, "room"), {"name": "Room", "corners": "A B C E", "turning": "clockwise"}
    )
    assert answer.status_code == 422
    assert "there is no point" in answer.content.decode()


# ------------------------------------------------------------------ paper and files


@pytest.mark.usefixtures("pango")
def test_the_plan_as_pdf_svg_and_dxf(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    pdf = browser.get(url("pdf", demo_build, "hall"))
    assert pdf["Content-Type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF-")
    svg = browser.get(url("drawing", demo_build, "hall"))
    assert svg["Content-Type"] == "image/svg+xml"
    assert b"<svg" in svg.content
    dxf = browser.get(url("dxf", demo_build, "hall"))
    assert 'filename="hall-plan.dxf"' in dxf["Content-Disposition"]
    assert b"EOF" in dxf.content[-10:]


def test_without_pango_the_page_itself_comes_ready_to_print(
    client_of: ClientOf, demo_build: Build, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    import sys

    monkeypatch.setitem(sys.modules, "weasyprint", None)  # importing it now fails, as without its libraries
    answer = client_of(owner).get(url("pdf", demo_build, "hall"))
    page = answer.content.decode()
    assert answer["Content-Type"].startswith("text/html")
    assert "cannot make PDF files" in page
    assert "<svg" in page


def test_readings_of_other_kinds(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    offset = {"id": "30", "kind": "offset", "start": "A", "end": "F", "point": "M", "value": "25' 0\""}
    assert browser.post(url("add-part", demo_build, "hall", "readings"), offset).status_code == 302
    assert proposed(demo_build)["rooms"][0]["readings"][-1] == offset
    Proposal.objects.all().delete()
    square = {"id": "31", "kind": "square", "start": "B", "end": "F", "point": "A", "legs": "3'; 4'", "value": "5'"}
    assert browser.post(url("add-part", demo_build, "hall", "readings"), square).status_code == 302
    assert proposed(demo_build)["rooms"][0]["readings"][-1] == square | {"legs": ["3'", "4'"]}
    for typed, said in (
        (offset | {"point": ""}, "needs the point it goes to"),
        (square | {"legs": "3'"}, "Two lengths with a semicolon"),
        (square | {"legs": "3; 4"}, "does not say feet, inches or metres"),
        (offset | {"start": ""}, "needs a point here"),
    ):
        answer = browser.post(url("add-part", demo_build, "hall", "readings"), typed)
        assert answer.status_code == 422
        assert said in answer.content.decode()
