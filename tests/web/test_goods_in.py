"""Goods coming in: planned with who and where, photographed, claimed for; all of it the owner's."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from html import unescape
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils.html import strip_tags

from buildout.builds.web.models import Build
from buildout.people.web.models import User
from estimating.web import order_book
from estimating.web.models import Claim, Delivery, DeliveryPhoto, Order

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


def picture() -> SimpleUploadedFile:
    from PIL import Image

    out = BytesIO()
    Image.new("RGB", (64, 48), "white").save(out, "JPEG")
    return SimpleUploadedFile("corner.jpg", out.getvalue(), content_type="image/jpeg")


@pytest.fixture
def came(demo_build: Build, owner: User) -> Delivery:
    return order_book.receive(Order.objects.get(build=demo_build, number=2), owner, date(2027, 2, 4))


def test_planned_with_who_and_where_and_whether_it_fits(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    page = browser.get(url("order", demo_build, 1)).content.decode()
    assert "say which room below" in page
    typed = {"window": "10:00 to 12:00", "receiver": "Dov Larkspurrow", "room": "hall", "put": "along the east wall"}
    answer = browser.post(url("expect-order", demo_build, 1), typed, follow=True)
    page = answer.content.decode()
    assert "Dov Larkspurrow takes it in" in page
    assert "along the east wall" in page
    assert any(h.passes for h in answer.context["handling"])
    assert "fits</span>" in page
    assert demo_build.journal.first().text == (  # type: ignore[union-attr]
        "How PO-1 comes: 10:00 to 12:00, Dov Larkspurrow takes them in, along the east wall"
    )
    wrong = browser.post(url("expect-order", demo_build, 1), typed | {"room": "attic", "put": "by the stove"})
    assert wrong.status_code == 422
    assert "by the stove" in wrong.content.decode()
    assert Order.objects.get(build=demo_build, number=1).put == "along the east wall"


def test_whether_goods_fit_the_place_they_are_put_in(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    typed = {"room": "hall", "put": "along the east wall"}
    page = browser.post(url("expect-order", demo_build, 1), typed, follow=True).content.decode()
    assert "stacked 6' 0\" high; measure the place itself" in unescape(page)
    wrong = browser.post(url("expect-order", demo_build, 1), typed | {"length": "9' 0\"", "width": "big"})
    assert wrong.status_code == 422
    assert "Measure this too" in wrong.content.decode()
    sides = {"length": "12' 6\"", "width": "9' 0\"", "height": "5' 0\""}
    answer = browser.post(url("expect-order", demo_build, 1), typed | sides, follow=True)
    assert answer.context["stacked"].verdict == "fits"
    page = answer.content.decode()
    assert "ask the landlord what the floor carries" in page
    assert Order.objects.get(build=demo_build, number=1).space == sides
    small = browser.post(url("expect-order", demo_build, 1), typed | dict.fromkeys(sides, "3' 0\""), follow=True)
    assert small.context["stacked"].verdict == "does not fit"
    assert "goes in at all" in small.content.decode()


def test_a_metric_build_reads_metres_and_kilograms_where_goods_come_in(
    client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    """What the pages say themselves; the names of products are as they were typed."""
    revision = demo_build.current
    assert revision is not None
    revision.document["units"] = "metric"
    for number, product in enumerate(revision.document["products"]):
        product["name"] = f"Goods {number}"
    revision.save()
    browser, order = client_of(owner), Order.objects.get(build=demo_build, number=1)
    order.lines = [line | {"name": "Goods"} for line in order.lines]
    order.room, order.put = "hall", "along the east wall"
    order.save()
    pages = [url("order", demo_build, 1), url("deliver", demo_build, 1)]
    for place in pages:
        page = strip_tags(unescape(browser.get(place).content.decode()))
        found = re.findall(r"[^\n]*\d ?(?:ft|in|lb|yd|'|\")(?![\w])[^\n]*", page)
        assert not [line for line in found if "Goods" not in line and " in one" not in line], place
    assert "roller door 3 m wide" in browser.get(url("new-request", demo_build)).content.decode()
    page = browser.get(pages[0]).content.decode()
    assert "18 kg to a person, two people from 1.83 m of length on" in page
    assert "stacked 1.83 m high" in page
    wrong = browser.post(url("expect-order", demo_build, 1), {"room": "hall", "length": "3 m"}).content.decode()
    assert "for example 2.4 m, or leave" in wrong


def test_a_refused_photo_keeps_what_it_shows(
    client_of: ClientOf, demo_build: Build, owner: User, came: Delivery
) -> None:
    broken = SimpleUploadedFile("x.jpg", picture().read()[:300], content_type="image/jpeg")
    typed = {"photo": broken, "shows": "Crushed corner, bolt 2"}
    answer = client_of(owner).post(url("add-delivery-photo", demo_build, 2, 1), typed)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "The picture is broken or cut off. Send it again." in page
    assert 'value="Crushed corner, bolt 2"' in page
    assert not DeliveryPhoto.objects.exists()


def test_photos_stay_with_the_delivery(client_of: ClientOf, demo_build: Build, owner: User, came: Delivery) -> None:
    browser = client_of(owner)
    address = url("add-delivery-photo", demo_build, 2, 1)
    browser.post(address, {"photo": picture(), "shows": "Crushed corner"})
    kept = DeliveryPhoto.objects.get()
    assert bytes(kept.jpeg).startswith(b"\xff\xd8")
    page = browser.get(url("order", demo_build, 2)).content.decode()
    assert "Photo 1: Crushed corner" in page
    shown = browser.get(url("delivery-photo", demo_build, 2, 1, 1))
    assert (shown["Content-Type"], shown.content) == ("image/jpeg", bytes(kept.jpeg))
    for file, said in (
        (SimpleUploadedFile("x.jpg", b"no photo"), "not a picture that can be read"),
        (None, "Choose a photo first"),
    ):
        answer = browser.post(address, {"photo": file} if file else {}, follow=True)
        assert said in answer.content.decode()
    assert DeliveryPhoto.objects.count() == 1


def test_a_claim_waits_is_answered_once_and_stays(
    client_of: ClientOf, demo_build: Build, owner: User, came: Delivery
) -> None:
    browser = client_of(owner)
    address = url("claim", demo_build, 2, 1)
    wrong = browser.post(address, {"text": "Two bolts wet", "asked": "lots"})
    assert wrong.status_code == 422
    assert "Two bolts wet" in wrong.content.decode()
    assert browser.post(address, {"text": ""}).status_code == 422
    browser.post(address, {"text": "Two bolts wet", "asked": "58.00"})
    claim = Claim.objects.get()
    assert (claim.state, claim.asked) == ("open", Decimal("58.00"))
    assert demo_build.journal.first().text == (  # type: ignore[union-attr]
        "Claimed from Tansybrook Upholstery Supply: Two bolts wet (¤58.00)"
    )
    browser.post(url("settle-claim", demo_build, 2, 1, 1), {"answer": "Credit note to come"})
    claim.refresh_from_db()
    assert (claim.state, claim.answer) == ("settled", "Credit note to come")
    again = browser.post(url("drop-claim", demo_build, 2, 1, 1), {}, follow=True)
    assert "is settled already" in again.content.decode()
    order_book.take_back(came, owner)
    gone = browser.post(address, {"text": "More"}, follow=True)
    assert "was taken back" in gone.content.decode()
    assert Claim.objects.count() == 1


@pytest.mark.parametrize(
    ("name", "args"),
    [("expect-order", (2,)), ("add-delivery-photo", (2, 1)), ("claim", (2, 1)), ("settle-claim", (2, 1, 1)),
     ("drop-claim", (2, 1, 1))],
)  # fmt: skip
def test_for_the_owner_alone_and_by_post(
    name: str, args: tuple[int, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User,
    stranger: User, came: Delivery,
) -> None:  # fmt: skip
    Claim.objects.create(delivery=came, number=1, text="x")
    assert client_of(owner).get(url(name, demo_build, *args)).status_code == 405
    for other in (partner, lead, stranger):
        assert client_of(other).post(url(name, demo_build, *args), {"text": "x"}).status_code == 404
    DeliveryPhoto.objects.create(delivery=came, number=1, jpeg=b"\xff\xd8")
    assert client_of(partner).get(url("delivery-photo", demo_build, 2, 1, 1)).status_code == 404
    assert Claim.objects.get().state == "open"
