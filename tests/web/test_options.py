"""Systems of a room beside each other: chosen, worked out by the worker, looked at, switched."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable
from typing import Any

import msgspec
import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, LinkResult, Proposal
from buildout.changes.engine.options import Comparison, changing_hours, switched, with_system
from buildout.changes.engine.reading import check_plan
from buildout.changes.web.models import SystemComparison
from buildout.people.web.models import User
from buildout.units.value import from_json, to_json
from estimating.engine.foam_load import PressureScreening, Verdict

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]


def choice(build: Build, room: str = "room") -> str:
    return reverse("changes:choose-options", args=[build.pk, room])


def systems_of(build: Build) -> list[str]:
    assert build.current is not None
    document = build.current.document
    return [s["id"] for key in ("floor_systems", "fold_away_systems") for s in document.get(key, [])]


def room_of(build: Build) -> str:
    assert build.current is not None
    return str(build.current.document["fitouts"][0]["room"])


@pytest.fixture
def compared(quick_build: Build, owner: User, client_of: ClientOf) -> SystemComparison:
    """Two systems of the plain room: the one it has, and one like it without its cover."""
    assert quick_build.current is not None
    document = copy.deepcopy(quick_build.current.document)
    first = document["floor_systems"][0]
    bare = {name: value for name, value in first.items() if name not in ("cover", "hook_tape")}
    document["floor_systems"].append(bare | {"id": "bare", "name": "No cover"})
    quick_build.current.document = document
    quick_build.current.save()
    answer = client_of(owner).post(choice(quick_build, room_of(quick_build)), {"systems": [first["id"], "bare"]})
    assert answer.status_code == 302
    return SystemComparison.objects.get(build=quick_build)


def test_two_systems_come_out_beside_each_other(
    compared: SystemComparison, client_of: ClientOf, owner: User, django_assert_num_queries: Any
) -> None:
    browser = client_of(owner)
    assert compared.state == "ready", compared.problem
    with django_assert_num_queries(5):
        page = browser.get(compared.get_absolute_url()).content.decode()
    for words in (
        "Cost to finish", "Hours of the crew", "Thickness", "Highest step", "Mass of the floor", "Open joints on top",
        "Joints sweat could pass", "Last goods arrive", "four times in five", "the room has it now", "No cover",
        "Screening only. Not a test, not a certificate. Ask the maker for test reports on the whole build-up.",
    ):  # fmt: skip
        assert words in page, words
    assert page.count("<svg") == 2
    assert page.count("fire <strong>") >= 2, "nothing is attached yet"
    assert "changed by the system" in page
    made = from_json(Comparison, compared.result)
    (with_cover, nothing), (without, less) = changing_hours(made.options)
    assert nothing == []
    assert less, "laying the cover takes hours"
    assert without - with_cover == pytest.approx(made.options[1].hours - made.options[0].hours, abs=0.3)
    assert sum(more for _, more in less) == pytest.approx(without - with_cover, abs=0.01)
    assert "0.0 m" in page, "under a cover no joint is open"
    assert "at least" not in page, "a price is there for everything"
    assert not Proposal.objects.exists()
    assert not LinkResult.objects.filter(proposal__isnull=False).exists()


def test_a_sum_without_every_price_says_at_least(compared: SystemComparison, client_of: ClientOf, owner: User) -> None:
    """Goods nobody quotes make a system look cheap: its sums say so, at the plan and in the table, no others do."""
    made = from_json(Comparison, compared.result)
    second = msgspec.structs.replace(made.options[1], unquoted=["base"])
    changed = msgspec.structs.replace(made, options=[made.options[0], second])
    SystemComparison.objects.filter(pk=compared.pk).update(result=to_json(changed).decode())
    page = client_of(owner).get(compared.get_absolute_url()).content.decode()
    assert page.count("at least") == 3, "cost at the plan, cost and whole budget in the table"
    table = page[page.index("<table") :]
    assert table.count("at least") == 2
    assert not re.search(r'data-of="A"[^/]*at least', table)


def test_the_same_question_is_worked_out_once(compared: SystemComparison, client_of: ClientOf, owner: User) -> None:
    browser = client_of(owner)
    again = browser.post(choice(compared.build, compared.room), {"systems": compared.systems})
    assert again["Location"] == compared.get_absolute_url()
    assert SystemComparison.objects.count() == 1
    page = browser.get(choice(compared.build, compared.room)).content.decode()
    assert "Worked out for this revision" in page


def test_one_click_proposes_the_switch(
    compared: SystemComparison, client_of: ClientOf, owner: User, queued: None
) -> None:
    browser = client_of(owner)
    address = reverse("changes:switch-option", args=[compared.build_id, compared.pk])
    answer = browser.post(address, {"system": "bare"})
    proposal = Proposal.objects.get()
    assert answer["Location"] == proposal.get_absolute_url()
    assert proposal.document["fitouts"][0]["floor"] == "bare"
    assert proposal.summary.endswith("No cover")
    assert browser.post(address, {"system": "marble"}).status_code == 404
    assert Proposal.objects.count() == 1


def test_a_switch_in_writing_is_the_switch_that_was_worked_out(demo_build: Build) -> None:
    assert demo_build.current is not None
    document = copy.deepcopy(demo_build.current.document)
    document["fitouts"][0]["pins"] = [
        {"id": "p1", "layer": "base", "kind": "direction", "direction": "x"},
        {"id": "p2", "layer": "walls", "kind": "module", "wall": "A-B", "module": "40 in"},
    ]
    for system in systems_of(demo_build):
        assert check_plan(switched(document, "hall", system)) == with_system(check_plan(document), "hall", system)
    with pytest.raises(KeyError):
        switched(document, "attic", "judo")


@pytest.mark.parametrize(
    ("systems", "says"),
    [([], "0 are ticked"), (["judo"], "1 are ticked"), (["judo", "marble"], "Select a valid choice")],
)
def test_a_choice_that_cannot_be_compared(
    systems: list[str], says: str, demo_build: Build, client_of: ClientOf, owner: User
) -> None:
    answer = client_of(owner).post(choice(demo_build, "hall"), {"systems": systems})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert says in page
    if "judo" in systems:
        assert 'value="judo" ' in page
        assert "checked" in page.split('value="judo"')[1].split(">")[0], "what was ticked stays ticked"
    assert not SystemComparison.objects.exists()


def test_waiting_for_the_worker_is_said(
    demo_build: Build, client_of: ClientOf, owner: User, queued: None, django_assert_num_queries: Any
) -> None:
    browser = client_of(owner)
    answer = browser.post(choice(demo_build, "hall"), {"systems": ["two-layer-51mm", "judo"]})
    page = browser.get(answer["Location"])
    assert "Waiting for the worker" in page.content.decode()
    found = SystemComparison.objects.get()
    progress = reverse("changes:options-progress", args=[demo_build.pk, found.pk])
    assert "HX-Redirect" not in browser.get(progress)
    found.state = "ready"
    found.save()
    assert browser.get(progress)["HX-Redirect"] == found.get_absolute_url()
    found.state, found.problem = "failed", "ValueError: too much"
    found.save()
    assert "too much" in browser.get(found.get_absolute_url()).content.decode()
    assert browser.post(reverse("changes:discard-options", args=[demo_build.pk, found.pk])).status_code == 302
    assert browser.get(found.get_absolute_url()).status_code == 404
    with django_assert_num_queries(4):
        browser.get(choice(demo_build, "hall"))


def test_figures_of_an_earlier_revision_say_so(compared: SystemComparison, client_of: ClientOf, owner: User) -> None:
    build = compared.build
    base = compared.base
    build.current = build.revisions.create(
        number=2, document=base.document, result=base.result, totals=base.totals, summary="Later"
    )
    build.save()
    browser = client_of(owner)
    assert "Worked out for revision 1; the build is at revision 2" in browser.get(
        compared.get_absolute_url()
    ).content.decode()  # fmt: skip
    browser.post(choice(build, compared.room), {"systems": compared.systems[::-1]})
    assert [c.base.number for c in SystemComparison.objects.all()] == [2], "overtaken ones are cleared away"


@pytest.mark.usefixtures("pango")
def test_on_paper(compared: SystemComparison, client_of: ClientOf, owner: User) -> None:
    import io

    from pypdf import PdfReader

    address = reverse("changes:options-pdf", args=[compared.build_id, compared.pk])
    answer = client_of(owner).get(address)
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)
    assert "No cover" in text
    assert "not a certificate" in text


def test_for_the_owner_alone(
    compared: SystemComparison, client_of: ClientOf, owner: User, partner: User, lead: User, stranger: User
) -> None:
    build = compared.build
    args = [build.pk, compared.pk]
    looked = [choice(build, compared.room), compared.get_absolute_url(), reverse("changes:options-progress", args=args)]
    posted = [reverse("changes:switch-option", args=args), reverse("changes:discard-options", args=args)]
    for other in (partner, lead, stranger):
        browser = client_of(other)
        assert [browser.get(address).status_code for address in looked] == [404] * len(looked)
        assert [browser.post(address).status_code for address in posted] == [404] * len(posted)
    browser = client_of(owner)
    assert [browser.delete(address).status_code for address in looked] == [405] * len(looked)
    assert [browser.get(address).status_code for address in posted] == [405] * len(posted)
    assert browser.get(choice(build, "attic")).status_code == 404
    assert SystemComparison.objects.exists()


@pytest.mark.parametrize(
    ("verdict", "ratio", "told"),
    [
        ("look at it", 0.4, "look at it<small>The sheet of the top layer is missing.</small>"),
        ("look at it", 1.2, "over a quarter"),
        ("look at it", 3.5, "bottoms out"),
        ("fine", 0.4, "under a quarter"),
        ("missing", 0.0, "missing"),
    ],
)
def test_foam_under_load_says_what_is_missing(verdict: Verdict, ratio: float, told: str) -> None:
    from django.template.loader import render_to_string

    load = PressureScreening(
        load="kneeling", pressure=52.3, layer="Top", stress_at_25_percent=50.0, ratio=ratio, verdict=verdict,
        text="The sheet of the top layer is missing.",
    )  # fmt: skip
    text = render_to_string("changes/foam_under_load.html", {"pressures": [load]})
    assert f"kneeling: {told}" in text
