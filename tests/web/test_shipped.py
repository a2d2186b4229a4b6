"""Systems that ship with the program, taken into a build that was made without them."""

from __future__ import annotations

import copy
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, Proposal
from buildout.changes.engine.reading import check_plan
from buildout.changes.engine.starters import shipped_systems, with_shipped_system
from buildout.people.web.models import User
from buildout.units.lengths import UnitSystem

ClientOf = Callable[[User | None], Client]


@pytest.mark.django_db
@pytest.mark.parametrize("units", ["feet-inches", "metric"])
def test_every_shipped_system_fits_into_a_build_twice(demo_build: Build, units: UnitSystem) -> None:
    """Ids stay apart, goods already there are kept as the owner has them, and the plan still reads."""
    assert demo_build.current is not None
    document = copy.deepcopy(demo_build.current.document)
    before = copy.deepcopy(document)
    for section, found in shipped_systems(units).items():
        for key, _ in found:
            document, first, _ = with_shipped_system(document, units, section, key)
            document, second, added = with_shipped_system(document, units, section, key)
            assert first != second
            assert added == 0, "goods of the same size are not taken in twice"
    for section in ("products", "floor_systems", "fold_away_systems", "wall_systems"):
        ids = [one["id"] for one in document.get(section, [])]
        assert len(set(ids)) == len(ids)
        assert document[section][: len(before.get(section, []))] == before.get(section, [])
    check_plan(document)


def test_goods_under_the_same_id_but_of_another_size_are_kept_apart() -> None:
    own = {"id": "base-51mm", "name": "Ours", "form": "sheet", "unit": "sheet", "length": "4'", "width": "4'"}
    made, key, _ = with_shipped_system({"products": [own]}, "feet-inches", "floor_systems", "two-layer-51mm")
    assert made["products"][0] == own
    system = next(one for one in made["floor_systems"] if one["id"] == key)
    assert system["layers"][0]["product"] == "base-51mm-2"
    assert {"base-51mm-2"} <= {product["id"] for product in made["products"]}
    with pytest.raises(KeyError):
        with_shipped_system({}, "metric", "floor_systems", "marble")
    with pytest.raises(KeyError):
        with_shipped_system({}, "metric", "rooms", "judo")


@pytest.mark.django_db
def test_owner_takes_a_system_in_through_a_proposal(
    demo_build: Build, client_of: ClientOf, owner: User, lead: User, stranger: User, queued: None
) -> None:
    browser = client_of(owner)
    looked = reverse("changes:shipped-systems", args=[demo_build.pk])
    assert looked in browser.get(reverse("estimating:systems", args=[demo_build.pk])).content.decode()
    page = browser.get(looked).content.decode()
    assert "Take in" in page
    posted = reverse("changes:take-in-shipped", args=[demo_build.pk, "floor_systems", "single-laminate"])
    assert posted in page
    answer = browser.post(posted)
    proposal = Proposal.objects.get()
    assert answer["Location"] == proposal.get_absolute_url()
    assert any(one["id"].startswith("single-laminate") for one in proposal.document["floor_systems"])
    assert proposal.summary.startswith("Taken in")
    assert browser.get(posted).status_code == 405
    assert browser.post(looked).status_code == 405
    marble = reverse("changes:take-in-shipped", args=[demo_build.pk, "floor_systems", "marble"])
    assert browser.post(marble).status_code == 404
    for other in (lead, stranger):
        assert client_of(other).get(looked).status_code == 404
        assert client_of(other).post(posted).status_code == 404
