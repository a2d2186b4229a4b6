"""What cannot be laid or cut as typed: named with the way out where it is typed, in the impact and on the drawings."""

from __future__ import annotations

import copy
import html
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build
from buildout.people.web.models import User

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


def _plan_with(document: dict[str, Any], case: str) -> None:
    room, fitout = document["rooms"][0], document["fitouts"][0]
    if case == "openings overlap":
        room["features"].append({
            "id": "hatch", "kind": "door", "wall": "A-B", "zero": "A", "start": "9' 0\"", "end": "12' 0\"",
        })  # fmt: skip
    elif case == "no gap under the door":
        room["keep_clear"] = []
        room["features"][0] |= {"swing": "in", "hinge": "start", "under_leaf": '1"'}
    elif case == "goods below the band":
        document["floor_systems"][0]["cover"] |= {"goods_width": '3"'}
    elif case == "panel beyond all stock":
        document["wall_systems"][0] |= {"height": '110"'}
    elif case == "pins contradict":
        line = {"layer": "base", "kind": "line", "direction": "x"}
        fitout["pins"] = [line | {"id": "one", "y": "4' 0\""}, line | {"id": "two", "y": "5' 1\""}]


CASES = {
    "openings overlap": ("hatch overlap", "from the wall's first corner"),
    "no gap under the door": ("under the leaf of door", "choose a thinner floor"),
    "goods below the band": ("narrower than the loop band", "Check both widths and their units"),
    "panel beyond all stock": ("is larger than a sheet of", "or a larger board"),
    "pins contradict": ("Pin two", "off"),
}
"""What it says, and the way out."""


@pytest.mark.parametrize("case", CASES)
def test_named_with_the_way_out_in_the_impact_and_on_the_drawings(
    case: str, quick_build: Build, owner: User, client_of: ClientOf
) -> None:
    assert quick_build.current is not None
    says, way_out = CASES[case]
    document = copy.deepcopy(quick_build.current.document)
    _plan_with(document, case)
    proposal = builds.propose(quick_build, owner, document, case)
    browser = client_of(owner)
    page = html.unescape(browser.get(proposal.get_absolute_url()).content.decode())
    assert says in page
    assert way_out in page
    browser.post(reverse("changes:apply", args=[quick_build.pk, proposal.pk]))
    room = document["rooms"][0]["id"]
    page = html.unescape(browser.get(reverse("estimating:layouts", args=[quick_build.pk, room])).content.decode())
    assert says in page, "on the drawings' own sheet too"
    assert way_out in page
