"""How far a room can be trusted, how it is begun, compared and copied: screens beside the readings themselves."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, Member, Proposal, Revision, Role
from buildout.people.web.models import User
from buildout.rooms.web.models import ReadingPhoto

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"rooms:{name}", args=[build.pk, *args])


PAGES: list[tuple[str, tuple[str, ...]]] = [
    ("figures", ("hall",)),
    ("gate", ("hall",)),
    ("compare", ("hall",)),
    ("copy", ("hall",)),
    ("elevations", ("hall",)),
    ("together", ()),
    ("together-file", ("svg",)),
    ("tools", ("hall",)),
    ("add-part", ("hall", "levels")),
    ("new-rectangle", ()),
    ("new-walls", ()),
    ("new-drawing", ()),
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
        assert client_of(other).post(address, {"why": "x"}).status_code in (404, 405)
    assert client_of(None).get(address).status_code == 302
    assert client_of(owner).delete(address).status_code == 405
    assert not Proposal.objects.exists()


def test_looking_is_not_posting(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    for name in ("figures", "compare"):
        assert client_of(owner).post(url(name, demo_build, "hall")).status_code == 405
    assert client_of(owner).get(url("take-back", demo_build, "hall")).status_code == 405


@pytest.mark.parametrize(
    ("name", "count"), [("figures", 3), ("gate", 3), ("tools", 3), ("copy", 4), ("compare", 5), ("elevations", 3)]
)
def test_queries(
    name: str, count: int, client_of: ClientOf, demo_build: Build, owner: User, django_assert_num_queries: Any
) -> None:
    browser = client_of(owner)
    with django_assert_num_queries(count):
        assert browser.get(url(name, demo_build, "hall")).status_code == 200


# ------------------------------------------------------------------ figures and gate


def test_every_figure_has_its_plus_minus(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    page = client_of(owner).get(url("figures", demo_build, "hall")).content.decode()
    for heading in ("Walls", "Diagonals", "Points", "How well each reading is checked"):
        assert f"<h2>{heading}</h2>" in page
    assert "K1.SW" in page
    assert "−0&#x27; 9" in page, "B lies left of the datum, as the readings say"
    assert page.count('<th scope="row" class="nowrap">') == 26


def test_the_gate_says_what_to_take_and_is_passed_knowingly(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    """Readings 2 and 5 of the demo are hardly checked: r = 0.04 and 0.09 in its table of figures."""
    browser, address = client_of(owner), url("gate", demo_build, "hall")
    page = browser.get(address).content.decode()
    assert "The gate does not pass" in page
    assert "Take these for it to pass" in page
    assert "Reading 2 (B–C)" in page
    answer = browser.post(address, {"why": "  "})
    assert answer.status_code == 422
    assert "Say why" in answer.content.decode()
    answer = browser.post(address, {"why": "The fabricator measures again."})
    proposal = Proposal.objects.get()
    assert answer.url == proposal.get_absolute_url()
    assert proposed(demo_build)["rooms"][0]["gate_passed"] == {
        "who": "Orla Fennimarsh", "when": "2027-01-18", "why": "The fabricator measures again."
    }  # fmt: skip


def test_the_word_given_stands_on_the_covers_drawing_and_can_be_taken_back(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    cover = reverse("estimating:layouts", args=[demo_build.pk, "hall"])
    assert "Not for the fabricator yet" in browser.get(cover).content.decode()
    assert demo_build.current is not None
    demo_build.current.refresh_from_db()  # a plan of its own: the one it was made from serves every test
    word = {"who": "Orla Fennimarsh", "when": "2027-01-18", "why": "They measure again."}
    demo_build.current.document["rooms"][0]["gate_passed"] = word
    demo_build.current.save()
    page = browser.get(cover).content.decode()
    assert "Sent knowingly by Orla Fennimarsh, 18 Jan 2027" in page
    page = browser.get(url("gate", demo_build, "hall")).content.decode()
    assert "Passed knowingly" in page
    assert "Send it all the same" not in page
    assert "passed knowingly" in browser.get(url("room", demo_build, "hall")).content.decode()
    answer = browser.post(url("take-back", demo_build, "hall"))
    assert answer.url == Proposal.objects.get().get_absolute_url()
    assert "gate_passed" not in proposed(demo_build)["rooms"][0]
    # Nothing given, nothing taken back.
    answer = browser.post(url("take-back", demo_build, "children"))
    assert answer.url == url("gate", demo_build, "children")
    assert Proposal.objects.count() == 1


def test_diagonals_are_drawn_when_asked_for(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser, address = client_of(owner), url("room", demo_build, "hall")
    assert "Diagonal A–C" not in browser.get(address).content.decode()
    assert "Diagonal A–C" in browser.get(f"{address}?diagonals").content.decode()
    assert b"Diagonal A" in browser.get(f"{url('drawing', demo_build, 'hall')}?diagonals").content


def test_every_wall_from_inside(client_of: ClientOf, demo_build: Build, owner: User, pango: None) -> None:
    browser = client_of(owner)
    page = browser.get(url("elevations", demo_build, "hall")).content.decode()
    for wall in ("A–B", "B–C", "C–D", "D–E", "E–F", "F–A"):
        assert f"<h2>Wall {wall}</h2>" in page
    assert "fire-exit" in page
    pdf = browser.get(url("elevations-pdf", demo_build, "hall"))
    assert pdf.content.startswith(b"%PDF-")

    from pypdf import PdfReader

    assert len(PdfReader(io.BytesIO(pdf.content)).pages) == 6, "one wall a page"
    assert demo_build.current is not None
    assert "<svg" in browser.get(url("elevations-pdf", demo_build, "hall") + "?print").content.decode()


def test_several_rooms_on_one_sheet(client_of: ClientOf, demo_build: Build, owner: User, pango: None) -> None:
    browser, address = client_of(owner), url("together", demo_build)
    page = browser.get(address).content.decode()
    assert page.count(" checked") == 2
    assert "Main hall" in page.partition("<svg")[2]
    page = browser.get(f"{address}?room=children").content.decode()
    assert page.count(" checked") == 1
    assert "Main hall" not in page.partition("<svg")[2].partition("</svg>")[0]
    assert "rooms.pdf?room=children" in page
    for kind, begins in (("svg", b"<svg"), ("dxf", b"  0\nSECTION"), ("pdf", b"%PDF-")):
        data = browser.get(url("together-file", demo_build, kind) + "?room=hall&room=children").content
        assert data.lstrip().startswith(begins.lstrip()), kind
    assert browser.get(url("together-file", demo_build, "png")).status_code == 404
    assert browser.get(f"{address}?room=attic").status_code == 404


# ------------------------------------------------------------------ tools, levels, orientation


def test_a_tool_better_than_usual(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser, address = client_of(owner), url("tools", demo_build, "hall")
    assert "Usual: ± 1/8 in" in browser.get(address).content.decode()
    answer = browser.post(address, {"laser_fixed": '1/16"', "laser_added": '1/32"', "laser_every": "30'"})
    assert answer.status_code == 302, answer.content.decode()
    room = proposed(demo_build)["rooms"][0]
    assert room["tools"] == [{"id": "laser", "fixed": '1/16"', "added": '1/32"', "every": "30'"}]


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"tape_fixed": "3"}, "tape_fixed", "does not say feet, inches or metres"),
        ({"tape_fixed": "0 in"}, "tape_fixed", "more than nothing"),
        ({"tape_fixed": "2'"}, "tape_fixed", "measures nothing"),
        ({"tape_added": '1/8"', "tape_every": "10'"}, "tape_fixed", "Say first what it is good to"),
        ({"tape_fixed": '1/8"', "tape_added": '1/8"'}, "tape_every", "Give both"),
        ({"tape_fixed": '1/8"', "tape_every": "10'"}, "tape_added", "Give both"),
    ],
)
def test_an_accuracy_that_cannot_be(
    typed: dict[str, str], field: str, said: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    answer = client_of(owner).post(url("tools", demo_build, "hall"), typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert f"id_{field}_error" in page
    assert not Proposal.objects.exists()


def test_a_step_north_and_the_base_line(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    step = {"id": "step", "edge": "d m", "rise": '6 1/2"', "up_to": "E", "note": ""}
    answer = browser.post(url("add-part", demo_build, "hall", "levels"), step)
    assert answer.status_code == 302, answer.content.decode()
    assert proposed(demo_build)["rooms"][0]["levels"] == [
        {"id": "step", "edge": ["D", "M"], "rise": '6 1/2"', "up_to": "E"}
    ]
    Proposal.objects.all().delete()
    for typed, said in (({"edge": "D"}, "two points at least"), ({"edge": "D Z"}, "There is no point Z"),
                        ({"rise": '0"'}, "more than nothing")):  # fmt: skip
        answer = browser.post(url("add-part", demo_build, "hall", "levels"), step | typed)
        assert answer.status_code == 422
        assert said in answer.content.decode()
    room = {"name": "Main hall", "corners": "A B C D E F", "turning": "clockwise", "marks": "M", "height": "13' 4\"",
            "note": "n", "base": "F A", "north": "-12.5"}  # fmt: skip
    assert browser.post(url("edit", demo_build, "hall"), room).status_code == 302
    after = proposed(demo_build)["rooms"][0]
    assert after["datum"] == {"origin": "F", "along": "A"}
    assert after["north"] == -12.5
    Proposal.objects.all().delete()
    answer = browser.post(url("edit", demo_build, "hall"), room | {"north": "uphill"})
    assert answer.status_code == 422
    assert "Write degrees as a plain number" in answer.content.decode()
    assert "uphill" in answer.content.decode()


# ------------------------------------------------------------------ rooms that cannot be


def test_corners_in_the_wrong_order_are_named_and_not_proposed(
    client_of: ClientOf, small_build: Build, owner: User
) -> None:
    answer = client_of(owner).post(
        url("edit", small_build, "room"), {"name": "Kept name", "corners": "A C B D", "turning": "clockwise"}
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "cross each other" in page or "there is no wall" in page
    assert "Kept name" in page
    assert "A C B D" in page
    assert not Proposal.objects.exists()


def test_a_self_crossing_new_room_is_not_proposed(client_of: ClientOf, small_build: Build, owner: User) -> None:
    """A square 10 ft by 10 ft whose corners were lettered crosswise: its walls P–Q and R–S are the diagonals."""
    readings = "P R 10'\nR Q 10'\nQ S 10'\nS P 10'\nP Q 14' 1 11/16\"\nR S 14' 1 11/16\""
    answer = client_of(owner).post(
        url("new", small_build), {"name": "X", "corners": "P Q R S", "turning": "clockwise", "readings": readings}
    )
    assert answer.status_code == 422
    assert "cross each other" in answer.content.decode()
    assert "14&#x27; 1 11/16" in answer.content.decode(), "kept as typed"
    assert not Proposal.objects.exists()


def test_a_reading_of_three_thousand_feet_is_not_proposed(client_of: ClientOf, small_build: Build, owner: User) -> None:
    browser = client_of(owner)
    answer = browser.post(
        url("edit-part", small_build, "room", "readings", "1"),
        {"id": "1", "start": "A", "end": "B", "value": "2000'", "tool": "tape", "note": "kept note"},
    )
    assert answer.status_code == 422
    assert "longer than any tape" in answer.content.decode()
    assert "kept note" in answer.content.decode()
    answer = browser.post(url("add-readings", small_build, "room"), {"lines": "A C 2000'"})
    assert answer.status_code == 422
    assert "longer than any tape" in answer.content.decode()
    assert not Proposal.objects.exists()


# ------------------------------------------------------------------ ways to begin


def test_a_typed_rectangle(
    client_of: ClientOf, small_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    answer = client_of(owner).post(
        url("new-rectangle", small_build),
        {"name": "Store", "width": "12'", "depth": "10'", "first": "15' 7 1/2\"", "second": "", "height": "9'"},
    )
    assert answer.status_code == 302, answer.content.decode()
    room = proposed(small_build)["rooms"][1]
    assert (room["id"], room["corners"], room["height"]) == ("store", ["A", "B", "C", "D"], "9'")
    assert [(r["start"], r["end"], r["value"]) for r in room["readings"]] == [
        ("A", "B", "10'"), ("B", "C", "12'"), ("C", "D", "10'"), ("D", "A", "12'"), ("A", "C", "15' 7 1/2\"")
    ]  # fmt: skip
    assert {r["who"] for r in room["readings"]} == {"Orla Fennimarsh"}


def test_a_walk_along_the_walls(
    client_of: ClientOf, small_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    """An L: 20 east, 10 north, 8 west, 6 north, 12 west, 16 south; five turns to the left, one to the right."""
    walls = "20' left\n10' left\n8' RIGHT\n6' L\n12' 90\n16' left\n"
    answer = client_of(owner).post(url("new-walls", small_build), {"name": "Entry", "walls": walls})
    assert answer.status_code == 302, answer.content.decode()
    room = proposed(small_build)["rooms"][1]
    assert room["turning"] == "anticlockwise"
    assert [r["value"] for r in room["readings"]] == ["20'", "10'", "8'", "6'", "12'", "16'"]


@pytest.mark.parametrize(
    ("name", "typed", "said"),
    [
        ("new-rectangle", {"width": "0'"}, "more than nothing"),
        ("new-rectangle", {"depth": "12 3 1/4"}, "does not say"),
        ("new-rectangle", {"width": "3000'"}, "longer than any tape"),
        ("new-walls", {"walls": "20' left\n10' left"}, "at least three walls"),
        ("new-walls", {"walls": "20' left\n10' up"}, "Line 2: write a length and a turn"),
        ("new-walls", {"walls": "20' left\n10' left\n5' left\n10' left"}, "do not close"),
        ("new-walls", {"walls": "20' left\n10' right\n20' left\n10' left"}, "turns add up"),
    ],
)
def test_a_start_that_cannot_be(
    name: str, typed: dict[str, str], said: str, client_of: ClientOf, small_build: Build, owner: User
) -> None:
    data = {"name": "Kept name", "width": "12'", "depth": "10'"} | typed
    answer = client_of(owner).post(url(name, small_build), data)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert "Kept name" in page
    assert not Proposal.objects.exists()


def dxf(*, units: int, size: float = 1.0, closed: bool = True) -> SimpleUploadedFile:
    """A rectangle of 4 by 3 times ``size`` drawing units."""
    import ezdxf

    document = ezdxf.new()
    document.header["$INSUNITS"] = units
    ring = [(0, 0), (4 * size, 0), (4 * size, 3 * size), (0, 3 * size)]
    document.modelspace().add_lwpolyline(ring, close=closed)
    out = io.StringIO()
    document.write(out)
    return SimpleUploadedFile("room.dxf", out.getvalue().encode(), "image/vnd.dxf")


def test_an_outline_from_a_drawing_comes_in_as_weak_readings(
    client_of: ClientOf, small_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    answer = client_of(owner).post(
        url("new-drawing", small_build), {"name": "Changing", "file": dxf(units=6), "units": "", "layer": ""}
    )
    assert answer.status_code == 302, answer.content.decode()
    assert Proposal.objects.get().summary == "Room added from a drawing: Changing"
    room = proposed(small_build)["rooms"][1]
    assert {r["tool"] for r in room["readings"]} == {"drawing"}
    assert not any("who" in r for r in room["readings"]), "nobody has measured them"
    # 4 m by 3 m with its diagonal: 5 m, by Pythagoras; 5 m = 16.404 ft = 16' 4 7/8".
    assert "16' 4 7/8\"" in [r["value"] for r in room["readings"]]


def test_a_drawing_without_units_asks_and_keeps_the_file(
    client_of: ClientOf, small_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser, address = client_of(owner), url("new-drawing", small_build)
    answer = browser.post(address, {"name": "Changing", "file": dxf(units=0, size=1000)})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "4000 by 3000 drawing units" in page
    assert "id_units_error" in page
    assert "The one you sent is kept" in page
    answer = browser.post(address, {"name": "Changing", "units": "millimetres"})
    assert answer.status_code == 302, answer.content.decode()
    assert "16' 4 7/8\"" in [r["value"] for r in proposed(small_build)["rooms"][1]["readings"]]


@pytest.mark.parametrize(
    ("file", "said"),
    [
        (None, "Choose the DXF file"),
        (SimpleUploadedFile("r.dxf", b"AC1032\0\0\0", "image/vnd.dwg"), "DWG file"),
        (SimpleUploadedFile("r.dxf", b"%PDF-1.7 floor plan", "application/pdf"), "not a DXF file"),
        (SimpleUploadedFile("r.dxf", b"0\nSECTION\n2\nENTITIES\n0\nLINE\n10\nx\n", "image/vnd.dxf"), "DXF"),
        (dxf(units=6, closed=False), "no closed outline"),
        (dxf(units=6, size=1000), "which is no room"),
    ],
)
def test_a_drawing_that_will_not_do(
    file: SimpleUploadedFile | None, said: str, client_of: ClientOf, small_build: Build, owner: User
) -> None:
    data: dict[str, Any] = {"name": "Kept name"}
    if file is not None:
        file.seek(0)
        data["file"] = file
    answer = client_of(owner).post(url("new-drawing", small_build), data)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert "Kept name" in page
    assert not Proposal.objects.exists()


# ------------------------------------------------------------------ compare and copy


def test_two_revisions_side_by_side(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    assert demo_build.current is not None
    demo_build.current.refresh_from_db()  # a plan of its own: the one it was made from serves every test
    first = demo_build.current
    document = {**first.document, "rooms": [{**first.document["rooms"][0], "name": "Great hall"}]}
    Revision.objects.create(build=demo_build, number=2, document=document, result=first.result, summary="Renamed")
    browser, address = client_of(owner), url("compare", demo_build, "hall")
    page = browser.get(address).content.decode()
    assert "Great hall: revision 1 against 2" in page
    assert "Main hall" in page
    assert "<svg" in page
    page = browser.get(f"{address}?from=2&to=2").content.decode()
    assert "Nothing differs." in page
    page = browser.get(f"{url('compare', demo_build, 'children')}?from=1&to=2").content.decode()
    assert "There was no such room in revision 2" in page
    for bad in ("?from=9", "?to=x", "?from=-1"):
        assert browser.get(f"{address}{bad}").status_code == 404
    assert browser.get(url("compare", demo_build, "attic")).status_code == 404
    page = browser.get(reverse("changes:compare", args=[demo_build.pk]) + "?from=1&to=2").content.decode()
    assert f"{address}?from=1&amp;to=2" in page


def test_a_room_is_copied_to_another_build_of_the_same_owner(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User, queued: None, proposed: Proposed
) -> None:
    assert demo_build.current is not None
    demo_build.current.refresh_from_db()  # a plan of its own: the one it was made from serves every test
    room = demo_build.current.document["rooms"][0]
    room["readings"][0]["photo"] = "0123456789abcdef01234567.jpg"
    room["gate_passed"] = {"who": "Orla", "when": "2027-01-18", "why": "x"}
    demo_build.current.save()
    browser, address = client_of(owner), url("copy", demo_build, "hall")
    assert "You own no other build" in browser.get(address).content.decode()
    target, foreign = (Build.objects.create(name=name) for name in ("Branch", "Somebody else's"))
    for build, user in ((target, owner), (foreign, partner)):
        Member.objects.create(build=build, user=user, role=Role.OWNER)
        build.current = Revision.objects.create(
            build=build, number=1, document=demo_build.current.document, result=demo_build.current.result, summary="1"
        )
        build.save()
    page = browser.get(address).content.decode()
    assert "Branch" in page
    assert "Somebody else" not in page
    answer = browser.post(address, {"build": foreign.pk, "name": "Main hall"})
    assert answer.status_code == 422
    assert not Proposal.objects.exists()
    answer = browser.post(address, {"build": target.pk, "name": "Main hall"})
    assert answer.status_code == 302, answer.content.decode()
    assert answer.url == Proposal.objects.get().get_absolute_url()
    assert Proposal.objects.get().build == target
    copied = proposed(target)["rooms"][-1]
    assert copied["id"] == "main-hall"
    assert len(copied["readings"]) == 26
    assert "gate_passed" not in copied
    assert "photo" not in copied["readings"][0], "a photo that is not there is not promised"
    assert not ReadingPhoto.objects.exists()
