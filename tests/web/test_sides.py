"""What stands at each side of a room's mat: one page beside its drawing, through propose."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, Proposal
from buildout.changes.engine.reading import check_plan
from buildout.people.web.models import User
from estimating.web.forms import SidesForm

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]


def url(build: Build, room: str = "hall") -> str:
    return reverse("estimating:sides", args=[build.pk, room])


def posted(browser: Client, build: Build, **edges: str) -> tuple[Any, SidesForm]:
    """Choose edges by side (spaces and dashes as _), as the page's own form names them."""
    form: SidesForm = browser.get(url(build)).context["form"]
    fields = {side.replace(" ", "_").replace("-", "_"): name for side, name in form.names.items()}
    answer = browser.post(url(build), {fields[side]: edge for side, edge in edges.items()})
    return answer, form


@pytest.mark.usefixtures("queued")
def test_sides_are_named_drawn_and_chosen(
    client_of: ClientOf, demo_build: Build, owner: User, proposed: Proposed
) -> None:
    browser = client_of(owner)
    page = browser.get(url(demo_build))
    text = page.content.decode()
    for name in page.context["form"].names:
        assert text.count(name) >= 2, name  # on the drawing and beside its choice
    assert "against the low wall low-wall" in text
    assert "walked on through walk-on" in text
    assert "kept clear: Fire-exit landing" in text
    answer, _ = posted(browser, demo_build, A_B_1="foam", landing_2="frame")
    assert answer.status_code == 302
    document = proposed(demo_build)
    assert document["fitouts"][0]["sides"] == [
        {"side": "A-B 1", "edge": "foam"}, {"side": "landing 2", "edge": "frame"},
    ]  # fmt: skip
    check_plan(document)
    told = Proposal.objects.get().summary
    assert told == "Main hall: foam up to the wall at A-B 1; a frame timber at landing 2"


@pytest.mark.usefixtures("queued")
def test_what_cannot_stand_there_is_said_beside_the_side(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    answer, form = posted(browser, demo_build, A_B_1="ramp", walk_on_1="foam", aisle_1="frame")
    assert answer.status_code == 422
    errors = answer.context["form"].errors
    assert set(errors) == {form.names["A-B 1"], form.names["walk-on 1"]}
    assert "keep a strip along the wall clear" in errors[form.names["A-B 1"]][0]
    assert "Choose a frame timber or a ramped edge" in errors[form.names["walk-on 1"]][0]
    kept = answer.content.decode()
    assert [kept.count(f'value="{edge}" selected') for edge in ("ramp", "foam", "frame")] == [1, 1, 1]
    assert not Proposal.objects.exists()
    name = form.names["A-B 1"]
    nonsense = browser.post(url(demo_build), {name: "moat"})
    assert nonsense.status_code == 422
    assert "moat" in nonsense.context["form"].errors[name][0]


@pytest.mark.usefixtures("queued")
def test_a_ramp_without_room_is_refused(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    """With a run of 30 in the landing's three ramps cross: choosing one of them says so; a frame is the way out."""
    assert demo_build.current is not None
    document = copy.deepcopy(demo_build.current.document)
    floor = next(s for s in document["floor_systems"] if s["id"] == document["fitouts"][0]["floor"])
    floor["ramp_run"] = '30"'
    demo_build.current.document = document
    demo_build.current.save()
    browser = client_of(owner)
    assert "stand in each other" in browser.get(url(demo_build)).content.decode()
    answer, form = posted(browser, demo_build, landing_1="ramp", landing_2="ramp", landing_3="ramp")
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) & {form.names[f"landing {n}"] for n in (1, 2, 3)}
    frames, _ = posted(browser, demo_build, landing_1="frame", landing_2="frame", landing_3="frame")
    assert frames.status_code == 302


@pytest.mark.usefixtures("queued")
def test_a_choice_for_a_side_that_went_is_named_and_left_behind(
    client_of: ClientOf, demo_build: Build, owner: User, proposed: Proposed
) -> None:
    assert demo_build.current is not None
    document = copy.deepcopy(demo_build.current.document)
    document["fitouts"][0]["sides"] = [{"side": "A-B 7", "edge": "foam"}, {"side": "B-C 1", "edge": "foam"}]
    demo_build.current.document = document
    demo_build.current.save()
    browser = client_of(owner)
    assert "The mat has no side A-B 7." in browser.get(url(demo_build)).content.decode()
    posted(browser, demo_build, B_C_1="")
    assert "sides" not in proposed(demo_build)["fitouts"][0]


def test_a_room_without_a_floor_has_no_sides(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    assert client_of(owner).get(url(demo_build, "children")).status_code == 404  # fold-away mats
    assert client_of(owner).get(url(demo_build, "attic")).status_code == 404
