"""Taping on site: readings gather in a session, move the picture at once, and change the plan only as a proposal."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from buildout.builds.web.models import Build, Proposal
from buildout.people.web.models import User
from buildout.rooms.web.lines import FileError, read_csv, read_lines
from buildout.rooms.web.models import ReadingPhoto, TapeSession

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]
POINTS = ["A", "B", "C", "D", "M", "K1.SW"]
HTMX = {"HX-Request": "true"}


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"rooms:{name}", args=[build.pk, *args])


def taken() -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = TapeSession.objects.get().readings
    return found


# ------------------------------------------------------------------ lines and files


@pytest.mark.parametrize(
    ("typed", "reading"),
    [
        ("A B 31' 4 1/2\"", {"start": "A", "end": "B", "value": "31' 4 1/2\""}),
        ("a,b,31' 4 1/2\"", {"start": "A", "end": "B", "value": "31' 4 1/2\""}),
        ("A\tk1.sw\t9.563 m", {"start": "A", "end": "K1.SW", "value": "9.563 m"}),
        ("  c  d   12 ft 3 in ", {"start": "C", "end": "D", "value": "12 ft 3 in"}),
        ("offset A B M 25' 0\"", {"start": "A", "end": "B", "value": "25' 0\"", "kind": "offset", "point": "M"}),
        ("Running A B K1.SW 3 m", {"start": "A", "end": "B", "value": "3 m", "kind": "running", "point": "K1.SW"}),
    ],
)
def test_a_line_is_read(typed: str, reading: dict[str, str]) -> None:
    found = read_lines(typed, POINTS)
    assert not found.wrong
    assert [line.reading for line in found.taken] == [reading]


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("A B", "write from, to and length"),
        ("A", "write from, to and length"),
        ("A Z 4'", "there is no point Z. There are: A, B, C, D, M, K1.SW."),
        ("A A 4'", "another point than it starts from"),
        ("A B 0'", "is no length"),
        ("A B -4'", "negative"),
        ("A B 12 3 1/4", "does not say feet, inches or metres"),
        ("A B 4000'", "longer than a kilometre"),
        ("offset A B 25'", "the wall's two corners, the point and the length"),
        ("offset A B A 25'", "another point than the wall's own ends"),
    ],
)
def test_a_wrong_line_says_why(typed: str, why: str) -> None:
    found = read_lines(f"A C 40'\n\n{typed}", POINTS)
    assert [line.number for line in found.taken] == [1]
    assert [line.number for line in found.wrong] == [3]
    assert why in found.wrong[0].why


def test_a_file_with_headings_and_one_without() -> None:
    plain = b"A,B,31' 4 1/2\"\r\nB,C,20'\r\n"
    assert [line.reading["value"] for line in read_csv(plain, POINTS).taken] == ["31' 4 1/2\"", "20'"]
    named = '\ufefflength;from;to;tool;who;when;note\n"31\' 4 1/2""";a;b;laser;Ines;2027-01-18;from the door\n'.encode()
    assert read_csv(named, POINTS).taken[0].reading == {
        "start": "A", "end": "B", "value": "31' 4 1/2\"", "tool": "laser", "when": "2027-01-18", "who": "Ines",
        "note": "from the door",
    }  # fmt: skip
    wrong = read_csv(b"from,to,length,tool,when\nA,B,3',axe,\nA,B,3',tape,monday\nA,,3',,\n", POINTS).wrong
    assert [line.number for line in wrong] == [2, 3, 4]
    assert "no tool axe" in wrong[0].why
    assert "monday is not a day" in wrong[1].why
    assert "to is missing" in wrong[2].why


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "no list of readings"),
        (b"\x89PNG\r\n\x1a\n\xff\xfe", "not a text file"),
        (b"from,to,length,colour\nA,B,3',red\n", "heading 'colour' is not known"),
        (b"A,B,3'\n" * 1001, "more than 1000"),
        (b"x" * 1_000_001, "larger than 1 MB"),
    ],
)
def test_a_file_that_is_no_list_of_readings(data: bytes, why: str) -> None:
    with pytest.raises(FileError, match=why):
        read_csv(data, POINTS)


# ------------------------------------------------------------------ who and how


def test_the_page_is_the_owners(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User, stranger: User
) -> None:
    for name in ("tape", "take-other"):
        address = url(name, demo_build, "hall")
        assert client_of(owner).get(address).status_code == 200
        assert client_of(None).get(address).status_code == 302
        for other in (partner, lead, stranger):
            assert client_of(other).get(address).status_code == 404
    assert client_of(owner).post(url("tape", demo_build, "hall")).status_code == 405
    assert client_of(owner).get(url("tape", demo_build, "attic")).status_code == 404


@pytest.mark.parametrize(
    ("name", "args"),
    [("take", ()), ("take-list", ()), ("take-file", ()), ("propose-taped", ()), ("drop-taped", ("27",))],
)
def test_commands_are_the_owners_posts(
    name: str, args: tuple[str, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User, stranger: User
) -> None:
    address = url(name, demo_build, "hall", *args)
    assert client_of(owner).get(address).status_code == 405
    for other in (partner, stranger):
        assert client_of(other).post(address, {"start": "A", "end": "C", "value": "67' 11 7/8\""}).status_code == 404
    assert not TapeSession.objects.exists()


def test_queries(client_of: ClientOf, demo_build: Build, owner: User, django_assert_num_queries: Any) -> None:
    browser = client_of(owner)
    with django_assert_num_queries(4):  # session, user, part in the build, tape session
        assert browser.get(url("tape", demo_build, "hall")).status_code == 200


# ------------------------------------------------------------------ taking readings


def test_two_points_and_a_length(client_of: ClientOf, demo_build: Build, owner: User, rows: Any) -> None:
    browser = client_of(owner)
    page = browser.get(url("tape", demo_build, "hall") + "?from=A&to=C").content.decode()
    assert 'data-point="K1.SW"' in page
    assert "A to C: what does the tape say?" in page
    plan = demo_build.current.document if demo_build.current else {}
    answer = browser.post(
        url("take", demo_build, "hall"),
        {"start": "A", "end": "C", "value": "67' 11 3/4\"", "tool": "laser", "who": "Ines"}, headers=HTMX,
    )  # fmt: skip
    page = answer.content.decode()
    assert answer.status_code == 200
    assert page.lstrip().startswith("<div"), "htmx is given the part that changes, not a page in a page"
    assert "Reading 27, A–C 67&#x27; 11 3/4&quot;: sound." in page
    assert "Propose this reading" in page
    assert taken() == [
        {"id": "27", "when": "2027-01-18", "start": "A", "end": "C", "value": "67' 11 3/4\"", "tool": "laser",
         "who": "Ines"}
    ]  # fmt: skip
    demo_build.refresh_from_db()
    assert demo_build.current is not None
    assert demo_build.current.document == plan
    assert not Proposal.objects.exists()


def test_without_scripts_the_same_form_leads_back_to_the_page(
    client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    browser = client_of(owner)
    page = browser.get(url("tape", demo_build, "hall")).content.decode()
    assert 'href="?from=B#take"' in page
    page = browser.get(url("tape", demo_build, "hall") + "?from=B").content.decode()
    assert 'href="?from=B&amp;to=D#take"' in page
    answer = browser.post(url("take", demo_build, "hall"), {"start": "B", "end": "D", "value": "41' 2\""}, follow=True)
    assert answer.redirect_chain == [(url("tape", demo_build, "hall"), 302)]
    assert "Reading 27, B–D 41&#x27; 2&quot;" in answer.content.decode()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"value": ""}, "Write what the tape says"),
        ({"value": "12 3 1/4"}, "does not say feet, inches or metres"),
        ({"value": "0 in"}, "is no length"),
        ({"value": "3000'"}, "longer than any tape or hand laser reads"),
        ({"value": "30000'"}, "longer than a kilometre"),
        ({"end": "A"}, "another point than it starts from"),
        ({"start": ""}, "Tap the point or choose it here"),
        ({"end": "Z"}, "Select a valid choice"),
    ],
)
@pytest.mark.parametrize("headers", [HTMX, {}])
def test_what_cannot_be_is_said_and_kept_as_typed(
    typed: dict[str, str], said: str, headers: dict[str, str], client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    data = {"start": "A", "end": "C", "value": "67' 11 3/4\"", "who": "Ines"} | typed
    answer = client_of(owner).post(url("take", demo_build, "hall"), data, headers=headers)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert data["value"].replace('"', "&quot;").replace("'", "&#x27;") in page
    assert 'value="Ines"' in page
    assert not TapeSession.objects.exists()


def test_a_planted_slip_is_found_and_the_second_taping_settles_it(
    client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    """D–E again, a foot short as it was first read on site: the new one is set aside, not the twenty-six others."""
    browser = client_of(owner)
    answer = browser.post(
        url("take", demo_build, "hall"), {"start": "D", "end": "E", "value": "35' 0 1/2\""}, headers=HTMX
    )
    page = answer.content.decode()
    assert "Readings that do not fit" in page
    assert "Reading 27, D–E: set aside." in page
    assert "one-foot slip" in page
    assert "?from=D&amp;to=E#take" in page
    page = browser.post(url("drop-taped", demo_build, "hall", "27"), headers=HTMX).content.decode()
    assert "Readings that do not fit" not in page
    assert taken() == []


def test_a_list_keeps_the_lines_that_are_wrong(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    typed = "A C 67' 11 3/4\"\nA Z 4'\n\nB D 41' 2\"\nA D 3000'\nA B"
    answer = client_of(owner).post(url("take-list", demo_build, "hall"), {"lines": typed}, headers=HTMX)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "2 readings taken" in page
    assert "A Z 4&#x27;: there is no point Z" in page
    assert "longer than any tape" in page
    assert [r["value"] for r in taken()] == ["67' 11 3/4\"", "41' 2\""]
    box = page.partition("data-lines")[2].partition("</textarea>")[0]
    assert "A Z 4" in box
    assert "A D 3000" in box
    assert "67" not in box
    answer = client_of(owner).post(url("take-list", demo_build, "hall"), {"lines": "\n "}, headers=HTMX)
    assert answer.status_code == 422
    assert "There is no reading in it" in answer.content.decode()


def test_a_file_of_readings(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser, address = client_of(owner), url("take-file", demo_build, "hall")
    file = SimpleUploadedFile("r.csv", b"from,to,length,who\nA,C,67' 11 3/4\",Dov\nM,K2,24' 3\",\n", "text/csv")
    page = browser.post(address, {"file": file}, follow=True).content.decode()
    assert "2 readings taken." in page
    assert [r["who"] for r in taken()] == ["Dov", "Orla Fennimarsh"]
    answer = browser.post(address, {"file": SimpleUploadedFile("r.csv", b"\xff\xfe\x00", "text/csv")})
    assert answer.status_code == 422
    assert "not a text file" in answer.content.decode()
    answer = browser.post(address, {})
    assert "Choose a CSV file first" in answer.content.decode()


def test_everybody_tapes_for_themselves(client_of: ClientOf, demo_build: Build, owner: User, lead: User) -> None:
    from buildout.builds.web.models import Member, Role

    Member.objects.filter(user=lead).update(role=Role.OWNER)
    client_of(owner).post(url("take", demo_build, "hall"), {"start": "A", "end": "C", "value": "67' 11 3/4\""})
    page = client_of(lead).get(url("tape", demo_build, "hall")).content.decode()
    assert "None. What you take is kept here" in page


# ------------------------------------------------------------------ proposing


def test_readings_stay_until_the_plan_holds_them(
    client_of: ClientOf, small_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    browser.post(url("take-list", small_build, "room"), {"lines": "A C 31' 2 7/8\"\nB D 31' 3\"", "tool": "laser"})
    assert [r["tool"] for r in TapeSession.objects.get().readings] == ["laser", "laser"]
    answer = browser.post(url("propose-taped", small_build, "room"))
    proposal = Proposal.objects.get()
    assert answer.url == proposal.get_absolute_url()
    assert proposal.summary == "Training room: 2 readings taken on site"
    readings = proposed(small_build)["rooms"][0]["readings"]
    assert readings[-2:] == taken()
    # Rejected: they are still there.
    document = proposal.document
    proposal.delete()
    assert "Propose these 2 readings" in browser.get(url("tape", small_build, "room")).content.decode()
    # Applied: the plan holds them, so the session is empty.
    assert small_build.current is not None
    small_build.current.refresh_from_db()  # a plan of its own: the one it was made from serves every test
    small_build.current.document = document
    small_build.current.save()
    page = browser.get(url("tape", small_build, "room")).content.decode()
    assert "None. What you take is kept here" in page
    answer = browser.post(url("propose-taped", small_build, "room"))
    assert answer.status_code == 422
    assert "no reading to propose" in answer.content.decode()


def test_a_number_given_away_meanwhile_is_changed(client_of: ClientOf, small_build: Build, owner: User) -> None:
    browser = client_of(owner)
    browser.post(url("take", small_build, "room"), {"start": "A", "end": "C", "value": "31' 3\""})
    number = taken()[0]["id"]
    assert small_build.current is not None
    small_build.current.refresh_from_db()  # a plan of its own: the one it was made from serves every test
    room = small_build.current.document["rooms"][0]
    room["readings"].append({"id": number, "start": "A", "end": "B", "value": "20' 0\""})
    small_build.current.save()
    page = browser.get(url("tape", small_build, "room")).content.decode()
    assert f"{int(number) + 1}: A–C" in page


def test_a_room_that_cannot_be_is_not_proposed(client_of: ClientOf, small_build: Build, owner: User) -> None:
    """A–D and B–D with three feet each: the corner D would have to lie three feet from both ends of a wall of 20 ft."""
    assert small_build.current is not None
    small_build.current.refresh_from_db()  # a plan of its own: the one it was made from serves every test
    room = small_build.current.document["rooms"][0]
    room["readings"] = [{"id": "1", "start": "A", "end": "B", "value": "20'"},
                        {"id": "2", "start": "B", "end": "C", "value": "24'"}]  # fmt: skip
    small_build.current.save()
    browser = client_of(owner)
    lines = "A C 31' 2 7/8\"\nA D 3'\nB D 3'\nC D 20'"
    answer = browser.post(url("take-list", small_build, "room"), {"lines": lines}, headers=HTMX)
    assert answer.status_code == 200
    assert "In the way" in answer.content.decode()
    answer = browser.post(url("propose-taped", small_build, "room"))
    assert answer.status_code == 422
    assert "Nothing is proposed while the room cannot be" in answer.content.decode()
    assert len(taken()) == 4, "kept"
    assert not Proposal.objects.exists()


def test_a_room_without_any_reading_can_be_begun(client_of: ClientOf, small_build: Build, owner: User) -> None:
    assert small_build.current is not None
    small_build.current.refresh_from_db()  # a plan of its own: the one it was made from serves every test
    small_build.current.document["rooms"][0]["readings"] = []
    small_build.current.save()
    browser = client_of(owner)
    page = browser.get(url("tape", small_build, "room")).content.decode()
    assert 'data-point="D"' in page
    page = browser.post(
        url("take", small_build, "room"), {"start": "A", "end": "B", "value": "20'"}, headers=HTMX
    ).content.decode()
    assert "What would fix the room" in page
    assert "p-free" in page, "loose points are drawn with the way they can move"


# ------------------------------------------------------------------ other kinds, photos


def photo(kind: str = "JPEG", size: tuple[int, int] = (900, 600)) -> SimpleUploadedFile:
    out = io.BytesIO()
    image = Image.new("RGB", size, (120, 90, 60))
    exif = image.getexif()
    exif[0x0112] = 6  # turned: the long side stands up
    exif[0x010F] = "Maker of the camera"
    image.save(out, kind, exif=exif)
    return SimpleUploadedFile(f"tape.{kind.lower()}", out.getvalue(), f"image/{kind.lower()}")


def test_a_reading_with_a_photo(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User, stranger: User
) -> None:
    browser = client_of(owner)
    data = {"id": "27", "kind": "height", "start": "A", "end": "B", "value": "13' 4\"", "tool": "laser", "note": "deck"}
    answer = browser.post(url("take-other", demo_build, "hall"), data | {"photo_file": photo()})
    assert answer.status_code == 302, answer.content.decode()
    kept = ReadingPhoto.objects.get()
    assert taken()[0]["photo"] == kept.name
    address = reverse("rooms:photo", args=[demo_build.pk, kept.name])
    for member in (owner, partner):
        shown = client_of(member).get(address)
        assert shown["Content-Type"] == "image/jpeg"
        assert "private" in shown["Cache-Control"]
    image = Image.open(io.BytesIO(shown.content))
    assert image.size == (600, 900), "turned upright"
    assert not image.getexif(), "nothing about camera or place is kept"
    small = Image.open(io.BytesIO(browser.get(f"{address}?small").content))
    assert max(small.size) == 320
    assert client_of(stranger).get(address).status_code == 404
    assert client_of(None).get(address).status_code == 302
    assert browser.get(reverse("rooms:photo", args=[demo_build.pk, "nothing.jpg"])).status_code == 404
    assert browser.post(address).status_code == 405


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        (SimpleUploadedFile("p.jpg", b"MZ not a picture", "image/jpeg"), "This is not a picture that can be read"),
        (SimpleUploadedFile("p.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>", "image/svg+xml"), "not a picture"),
        (SimpleUploadedFile("p.jpg", b"", "image/jpeg"), "The submitted file is empty"),
        (SimpleUploadedFile("p.jpg", b"\xff\xd8" + b"0" * 15_000_000, "image/jpeg"), "larger than 15 MB"),
    ],
)
def test_a_photo_that_is_none(
    sent: SimpleUploadedFile, said: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    sent.seek(0)
    data = {"id": "27", "start": "A", "end": "C", "value": "67' 11 3/4\"", "tool": "tape", "note": "kept note"}
    answer = client_of(owner).post(url("take-other", demo_build, "hall"), data | {"photo_file": sent})
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert "kept note" in answer.content.decode()
    assert not ReadingPhoto.objects.exists()
    assert not TapeSession.objects.exists()


def test_a_picture_of_too_many_pixels_is_refused_before_it_is_unpacked(
    client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    out = io.BytesIO()
    Image.new("1", (10_000, 7_000)).save(out, "PNG")
    sent = SimpleUploadedFile("p.png", out.getvalue(), "image/png")
    data = {"id": "27", "start": "A", "end": "C", "value": "67' 11 3/4\"", "tool": "tape", "photo_file": sent}
    answer = client_of(owner).post(url("take-other", demo_build, "hall"), data)
    assert answer.status_code == 422
    assert "60 million pixels" in answer.content.decode()


def test_a_reading_of_another_kind_that_makes_no_sense(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    data = {"id": "27", "kind": "square", "start": "B", "end": "F", "point": "A", "legs": "3'; 4'", "value": "9'"}
    answer = client_of(owner).post(url("take-other", demo_build, "hall"), data)
    assert answer.status_code == 422
    assert "legs of" in answer.content.decode()
    assert not TapeSession.objects.exists()


@pytest.mark.parametrize(
    ("typed", "name", "words"),
    [
        (
            {"kind": "square", "point": "A", "start": "B", "end": "F"},
            "legs",
            "“Marks for a square corner”: a square check needs",
        ),
        ({"kind": "clear width", "start": "", "end": ""}, "feature", "“Opening”: there is no opening"),
        ({"kind": "straightness", "start": "A", "end": "C"}, "start", "is not a wall of this room"),
        ({"kind": "plumb", "start": "A", "end": "B", "along": "80'"}, "along", "is only 62"),
    ],
)
def test_what_is_wrong_with_a_reading_stands_beside_its_field(
    typed: dict[str, str], name: str, words: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    data = {"id": "27", "value": '3/4"', **typed}
    answer = client_of(owner).post(url("take-other", demo_build, "hall"), data)
    assert answer.status_code == 422
    errors = answer.context["form"].errors
    assert list(errors) == [name]
    assert words in errors[name][0]
    assert not TapeSession.objects.exists()
    # The same on the desk, where a reading becomes a proposal.
    answer = client_of(owner).post(url("add-part", demo_build, "hall", "readings"), data)
    assert answer.status_code == 422
    assert not Proposal.objects.exists()


def test_one_kind_of_reading_asks_for_what_it_needs(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    address = url("take-other", demo_build, "hall")
    for unclear in (address, f"{address}?kind=guess"):
        page = browser.get(unclear).content.decode()
        assert "Which kind of reading" in page
        assert 'href="?kind=clear%20width"' in page
        assert '<form method="post" novalidate' not in page
    asked = {
        "distance": {"start", "end"},
        "square": {"point", "start", "end", "legs"},
        "plumb": {"start", "end", "along", "base", "over", "side"},
        "clear width": {"feature"},
    }
    every = {"start", "end", "point", "legs", "along", "base", "over", "side", "feature"}
    for kind, names in asked.items():
        page = browser.get(address, {"kind": kind}).content.decode()
        assert {name for name in every if f'name="{name}"' in page} == names
        assert f'<input type="hidden" name="kind" value="{kind}"' in page
    taken = {"id": "91", "kind": "clear width", "feature": "children-door", "value": '33"', "tool": "tape"}
    assert browser.post(f"{address}?kind=clear+width", taken).status_code == 302
    wrong = browser.post(f"{address}?kind=square", {"id": "92", "kind": "square", "value": "5'", "tool": "tape"})
    assert wrong.status_code == 422
    assert "needs the point it goes to" in wrong.content.decode()
