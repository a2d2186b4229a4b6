"""Pins, the way of the rolled cover, screening: what the owner fixes in a room's layouts and what it says of it."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, Proposal
from buildout.changes.engine.chain import room_layouts
from buildout.changes.engine.reading import check_plan
from buildout.people.web.models import User
from buildout.rooms.engine.types import RoomPlan
from buildout.units.lengths import Length
from buildout.units.value import to_json
from estimating.engine.floor import lay_floor
from estimating.engine.foam_load import LOADS
from estimating.engine.layout_drawings import draw_cover, draw_floor_layer
from estimating.engine.pins import as_it_lies, lies_on, refusals, words
from estimating.engine.types import Pin, RoomLayouts

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


def with_fitout(build: Build, **more: Any) -> None:
    """The hall's fit-out with more in it, as if it had been applied; the layouts stay as they are."""
    assert build.current is not None
    document = copy.deepcopy(build.current.document)
    document["fitouts"][0] |= more
    build.current.document = document
    build.current.save()


PAGES = ["pins", "sides", "route", "screening"]


@pytest.mark.parametrize("name", PAGES)
def test_for_the_owner_alone(
    name: str, client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User, stranger: User,
    django_assert_num_queries: Any,
) -> None:  # fmt: skip
    address = url(name, demo_build, "hall")
    browser = client_of(owner)
    with django_assert_num_queries(4 if name == "screening" else 3):  # it looks up reports on its goods
        assert browser.get(address).status_code == 200
    for other in (partner, lead, stranger):
        assert client_of(other).get(address).status_code == 404
        assert client_of(other).post(url("unpin", demo_build, "hall", "pin-1")).status_code == 404
    assert browser.delete(address).status_code == 405
    assert browser.get(url(name, demo_build, "attic")).status_code == 404
    assert browser.get(url("unpin", demo_build, "hall", "pin-1")).status_code == 405
    assert browser.post(url("unpin", demo_build, "hall", "pin-1")).status_code == 404


def test_a_room_without_a_cover_has_no_way_for_it(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    assert client_of(owner).get(url("route", demo_build, "children")).status_code == 404


# ------------------------------------------------------------------ pins


def test_a_typed_pin_is_proposed(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    typed = {"layer": "base", "kind": "line", "direction": "x", "y": "4' 0\"", "why": "Straight from the door"}
    assert client_of(owner).post(url("pins", demo_build, "hall"), typed).status_code == 302
    assert proposed(demo_build)["fitouts"][0]["pins"] == [{"id": "pin-1", **typed}]
    assert "a course line along the datum wall, 4' 0\" from the datum" in Proposal.objects.get().summary


@pytest.mark.parametrize(
    ("typed", "field", "says"),
    [
        ({"layer": "base", "kind": "line", "direction": "x"}, "y", "how far across from the datum wall"),
        ({"layer": "base", "kind": "line", "direction": "y"}, "x", "how far along the datum wall"),
        ({"layer": "base", "kind": "direction"}, "direction", "which way the courses run"),
        ({"layer": "base", "kind": "piece", "direction": "x", "x": "8"}, "x", "does not say feet, inches or metres"),
        ({"layer": "top", "kind": "product"}, "product", "Choose the goods"),
        ({"layer": "top", "kind": "module", "module": '40"'}, "kind", "pinned on a wall"),
        ({"layer": "walls", "kind": "module", "wall": "A-B"}, "module", "State the panel width"),
        ({"layer": "walls", "kind": "line", "x": "3'"}, "wall", "Choose the wall"),
        ({"layer": "walls", "kind": "direction", "wall": "A-B"}, "kind", "a panel width or a line"),
        ({"layer": "walls", "kind": "piece", "wall": "A-B", "x": "3'"}, "module", "how wide this panel is"),
        ({"layer": "cover", "kind": "piece", "direction": "x"}, "kind", "one weld line or the goods"),
        ({"layer": "cover", "kind": "line", "direction": "x"}, "y", "State where the weld lies"),
        ({"layer": "cover", "kind": "line", "y": "4'"}, "direction", "which way the welds run"),
        ({"layer": "cover", "kind": "product"}, "product", "Choose the goods"),
        ({"layer": "cover", "kind": "direction"}, "direction", "which way the welds run"),
        ({"layer": "attic", "kind": "direction"}, "layer", "Select a valid choice"),
        ({"layer": "frame", "kind": "piece", "x": "0'", "module": "8'"}, "wall", "Choose the edge of the mat"),
        ({"layer": "frame", "kind": "piece", "wall": "C-D 1", "module": "8'"}, "x", "from where its run begins"),
        ({"layer": "frame", "kind": "piece", "wall": "C-D 1", "x": "0'"}, "module", "how long this timber is"),
        (
            {"layer": "frame", "kind": "direction", "wall": "C-D 1"},
            "kind",
            "one timber or a line (a joint) or the goods",
        ),
        ({"layer": "frame", "kind": "line", "wall": "Z-Z 9", "x": "4'"}, "wall", "Select a valid choice"),
        ({"layer": "frame", "kind": "product"}, "product", "Choose the goods"),
        ({"layer": "caps", "kind": "piece", "wall": "D-E", "x": "six"}, "x", "six"),
        ({"layer": "caps", "kind": "module", "wall": "D-E"}, "kind", "one section of the cap"),
        ({"layer": "ends", "kind": "line", "wall": "D-E", "x": "4'"}, "kind", "one end panel"),
        ({"layer": "ends", "kind": "piece", "wall": "D-E", "x": "4'"}, "module", "how long this end panel is"),
        ({"layer": "wraps", "kind": "piece", "x": "0'", "module": "2'"}, "wall", "Choose the column"),
        ({"layer": "wraps", "kind": "product", "wall": "K1"}, "kind", "one part of the jacket or a line"),
    ],
)
def test_a_pin_that_says_too_little(
    typed: dict[str, str], field: str, says: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    answer = client_of(owner).post(url("pins", demo_build, "hall"), typed | {"why": "Kept as typed"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert says in page.replace("&#x27;", "'")
    assert f"id_{field}_error" in page
    assert "Kept as typed" in page
    assert not Proposal.objects.exists()


def test_pins_are_told_held_or_refused_and_let_go(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    pins = [
        {"id": "a", "layer": "base", "kind": "direction", "direction": "x"},
        {"id": "b", "layer": "middle", "kind": "direction", "direction": "x"},
    ]
    with_fitout(demo_build, pins=pins)
    browser = client_of(owner)
    page = browser.get(url("pins", demo_build, "hall")).content.decode()
    assert "base layer: courses along the datum wall" in page
    assert "held" in page
    drawings = browser.get(url("layouts", demo_build, "hall")).content.decode()
    assert "Pinned a: base layer: courses along the datum wall" in drawings
    assert "pinned a" in drawings
    assert browser.post(url("unpin", demo_build, "hall", "a")).status_code == 302
    assert [pin["id"] for pin in proposed(demo_build)["fitouts"][0]["pins"]] == ["b"]


def _layouts(build: Build) -> list[RoomLayouts]:
    from buildout.builds.web.services import Sheet

    assert build.current is not None
    return Sheet(build.current).part("layouts", list[RoomLayouts])


def test_a_pin_that_cannot_hold_is_named_with_its_reason(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    """Two course lines of one layer a foot apart: the second cannot hold beside the first."""
    assert demo_build.current is not None
    pins = [
        {"id": "a", "layer": "base", "kind": "line", "direction": "x", "y": "4'"},
        {"id": "b", "layer": "base", "kind": "line", "direction": "x", "y": "5'"},
    ]
    with_fitout(demo_build, pins=pins)
    plan = check_plan(demo_build.current.document)
    products = {p.id: p for p in plan.products}
    room = _plan(demo_build)
    floor = lay_floor(room, plan.floor_systems[0], products, plan.fitouts[0].pins)
    result = json.loads(demo_build.current.result)
    result["layouts"][0]["floor"] = json.loads(to_json(floor))
    demo_build.current.result = json.dumps(result)
    demo_build.current.save()
    page = client_of(owner).get(url("pins", demo_build, "hall")).content.decode()
    assert "Pin b cannot hold" in page
    assert page.count("cannot hold</span>") == 1
    held = [(pin, words(pin, products)) for pin in plan.fitouts[0].pins[:1]]
    drawing = draw_floor_layer(room, floor, "base", pins=held)
    lines = [i for i in drawing.items if getattr(i, "role", "") == "highlight"]
    assert [(line.a[1], line.b[1]) for line in lines] == [(1219.2, 1219.2)]  # type: ignore[union-attr]


def _plan(build: Build) -> RoomPlan:
    from buildout.builds.web.services import Sheet

    assert build.current is not None
    return Sheet(build.current).part("plans", list[RoomPlan])[0]


RUNS = {
    "frame": ("Frame and ramps", "timber", "no frame timber lies along"),
    "caps": ("Wall D-E", "cap", "no cap lies there"),
    "ends": ("Wall D-E", "wall end", "the free end there is"),
    "wraps": ("Column wraps", "part", "overlaps"),
}
"""Layer: its group among what can be pinned as it lies, what its pieces are called, why a pin beside them fails."""


@pytest.mark.parametrize("layer", RUNS)
def test_a_timber_cap_end_or_wrap_is_pinned_held_and_drawn_or_refused_by_name(
    layer: str, client_of: ClientOf, demo_build: Build, owner: User, partner: User, queued: None, proposed: Proposed
) -> None:
    """Pinned by its button; worked out it holds; the same piece pinned where it cannot be is named with its reason."""
    assert demo_build.current is not None
    group, thing, cannot = RUNS[layer]
    browser = client_of(owner)
    page = browser.get(url("pins", demo_build, "hall"))
    fields = next(
        fields for name, rows in page.context["groups"] if name == group
        for told, kind, fields in rows if kind == "piece" and told.startswith(thing)
    )  # fmt: skip
    assert client_of(partner).post(url("pins", demo_build, "hall"), fields).status_code == 404
    assert browser.post(url("pins", demo_build, "hall"), fields).status_code == 302
    (pin,) = proposed(demo_build)["fitouts"][0]["pins"]
    assert {key: pin[key] for key in ("layer", "kind", "wall", "x", "module")} == fields
    # Beside it: on another edge, before the low wall, or a little further round.
    other = {"frame": {"wall": "nowhere 1"}, "caps": {"x": "1' 0\""}, "ends": {"x": "2' 0\""}, "wraps": {"x": '4"'}}
    with_fitout(demo_build, pins=[pin, {**pin, **other[layer], "id": "lost"}])
    plan = check_plan(demo_build.current.document)
    laid = room_layouts(plan, plan.fitouts[0], [_plan(demo_build)])
    result = json.loads(demo_build.current.result)
    result["layouts"][0] = json.loads(to_json(laid))
    demo_build.current.result = json.dumps(result)
    demo_build.current.save()
    text = browser.get(url("pins", demo_build, "hall")).content.decode()
    assert text.count('<span class="state done">held</span>') == 1
    assert text.count("cannot hold</span>") == 1
    assert cannot in text.split("Pin lost cannot hold")[1].split("</li>")[0]
    if layer != "wraps":  # jackets are on no drawing of the walls
        drawings = browser.get(url("layouts", demo_build, "hall")).content.decode()
        assert "Pinned pin-1" in drawings
        assert "Pinned lost" not in drawings


def test_every_weld_of_the_hall_holds_as_it_lies_and_one_between_them_does_not(demo_build: Build) -> None:
    from estimating.engine.cover import lay_cover

    assert demo_build.current is not None
    plan = check_plan(demo_build.current.document)
    layout, products, room = _layouts(demo_build)[0], {p.id: p for p in plan.products}, _plan(demo_build)
    offered = dict(as_it_lies(layout, "feet-inches", products))["Cover"]
    lines = [pin for _, pin in offered if pin.kind == "line"]
    assert layout.cover is not None
    dx, dy = layout.cover.direction
    assert len(lines) == len({round(weld.a[1] * dx - weld.a[0] * dy) for weld in layout.cover.welds})
    assert {pin.kind for _, pin in offered} == {"product", "direction", "line"}
    named = [Pin(**{f: getattr(p, f) for f in p.__struct_fields__} | {"id": f"w{n}"}) for n, p in enumerate(lines)]
    outside = Pin(id="out", layer="cover", kind="line", direction=lines[0].direction, x=FAR, y=FAR)
    again = lay_cover(room, plan.floor_systems[0], layout.floor, products, [*named, outside])
    verdicts = refusals(RoomLayouts(room="hall", cover=again), [*named, outside])
    assert verdicts[:-1] == [None] * len(named)
    assert verdicts[-1] is not None
    assert again.weld_length == pytest.approx(layout.cover.weld_length, abs=60)
    drawing = draw_cover(room, again, pins=[(named[0], "a weld")])
    marks = [i for i in drawing.items if getattr(i, "role", "") == "highlight"]
    assert marks
    assert all(lies_on(weld, named[0]) == any(m.a == weld.a for m in marks) for weld in again.welds)  # type: ignore[union-attr]


FAR = Length.read("900 ft")


def test_what_is_pinned_as_it_lies_holds(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    """One preset of every kind, pinned by its button, is honoured and leaves the layout as it was."""
    assert demo_build.current is not None
    plan = check_plan(demo_build.current.document)
    layout = _layouts(demo_build)[0]
    assert layout.floor is not None
    found = dict(as_it_lies(layout, "feet-inches", {p.id: p for p in plan.products}))["Base layer"]
    assert {pin.kind for _, pin in found} == {"direction", "product", "line", "piece"}
    room, products = _plan(demo_build), {p.id: p for p in plan.products}
    by_kind = {pin.kind: pin for _, pin in found}
    for kind, pin in by_kind.items():
        named = Pin(**{**{f: getattr(pin, f) for f in pin.__struct_fields__}, "id": kind})
        again = lay_floor(room, plan.floor_systems[0], products, [named])
        assert refusals(RoomLayouts(room="hall", floor=again), [named]) == [None], kind
        was, now = layout.floor.layers[0].pieces, again.layers[0].pieces
        assert [piece.id for piece in now] == [piece.id for piece in was], kind
        for a, b in zip(was, now, strict=True):  # places are typed to 1/64 in
            assert a.box == pytest.approx(b.box, abs=0.4), kind
    page = client_of(owner).get(url("pins", demo_build, "hall"))
    name, rows = page.context["groups"][0]
    told, kind, fields = rows[0]
    assert (name, told, kind) == ("Base layer", "the way its courses run", "direction")
    assert client_of(owner).post(url("pins", demo_build, "hall"), fields).status_code == 302
    assert proposed(demo_build)["fitouts"][0]["pins"][0]["kind"] == "direction"


def test_pins_without_their_layer_do_not_pass_as_held() -> None:
    pins = [Pin(id="a", layer="cover", kind="direction", direction="x"), Pin(id="b", layer="base", kind="line")]
    assert all(refusals(None, pins))
    cover, _ = refusals(RoomLayouts(room="r"), pins)
    assert cover is not None
    assert "no cover in this room" in cover.text


# ------------------------------------------------------------------ the way of the cover


ROUTE = {
    "step-0-name": "Front door", "step-0-kind": "opening", "step-0-width": '36"', "step-0-height": '80"',
    "step-1-name": "Corridor", "step-1-kind": "turn", "step-1-width": "6'", "step-1-into": "5'",
    **{f"step-{n}-kind": "opening" for n in range(2, 5)},
}  # fmt: skip


def test_the_way_is_typed_in_and_worked_out(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    assert client_of(owner).post(url("route", demo_build, "hall"), ROUTE).status_code == 302
    steps = proposed(demo_build)["fitouts"][0]["route"]
    assert [step["name"] for step in steps] == ["Front door", "Corridor"]
    assert len({step["id"] for step in steps}) == 2
    assert steps[1]["into"] == "5'"


@pytest.mark.parametrize(
    ("typed", "field", "says"),
    [
        ({"step-0-width": ""}, "step-0-width", "Measure the clear width"),
        ({"step-0-width": "36"}, "step-0-width", "does not say feet, inches or metres"),
        ({"step-1-into": ""}, "step-1-into", "the passage after it"),
        ({"step-2-width": '30"'}, "step-2-name", "Name the place"),
    ],
)
def test_a_way_that_says_too_little(
    typed: dict[str, str], field: str, says: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    answer = client_of(owner).post(url("route", demo_build, "hall"), ROUTE | typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert says in page
    assert f"id_{field}_error" in page
    assert "Front door" in page
    assert not Proposal.objects.exists()


def test_what_does_not_pass_says_by_how_much_and_what_to_do(
    client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    from estimating.engine.cover import lay_cover

    steps = [
        {"id": "gate", "name": "Yard gate", "kind": "opening", "width": "12'", "height": "9'"},
        {"id": "hatch", "name": "Hatch", "kind": "opening", "width": '14"'},
    ]
    with_fitout(demo_build, route=steps)
    assert demo_build.current is not None
    plan = check_plan(demo_build.current.document)
    products = {p.id: p for p in plan.products}
    layout = _layouts(demo_build)[0]
    cover = lay_cover(_plan(demo_build), plan.floor_systems[0], layout.floor, products, [], plan.fitouts[0].route)
    result = json.loads(demo_build.current.result)
    result["layouts"][0]["cover"] = json.loads(to_json(cover))
    demo_build.current.result = json.dumps(result)
    demo_build.current.save()
    page = client_of(owner).get(url("route", demo_build, "hall"))
    text = page.content.decode()
    assert "The roll does not pass" in text
    assert "too little by" in text
    assert "Take the door off its hinges" in text
    assert "judged on site" in text
    assert "clear height missing" in text
    by_name = {row["step"].name: row["spare"] for row in page.context["told"]}
    # 14 in less 4 in of air less the roll's own thickness.
    assert by_name["Hatch"] == pytest.approx(10 * 25.4 - cover.rolled_diameter, abs=0.01)
    assert by_name["Yard gate"] > 0
    # 914 lb at 40 lb a head are 23, at the 51 lb of the lifting guide 18: both are said, and who judges.
    assert "18 at the 51 lb a US guide allows" in text
    assert "Places to hold" in text
    assert "Not even folded" in text or "Folded flat into a bundle" in text


# ------------------------------------------------------------------ screening


def test_screening_says_what_it_is_and_what_is_missing(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    page = client_of(owner).get(url("screening", demo_build, "hall")).content.decode()
    for words_ in (
        "Screening only. Not a test, not a certificate. Ask the maker for test reports on the whole build-up.",
        "Open joints on top", "Joints sweat could pass", "Mass of the whole", "Kneeling", "kPa", "ramp needed",
    ):  # fmt: skip
        assert words_ in page, words_
    assert demo_build.current is not None
    document = copy.deepcopy(demo_build.current.document)
    for product in document["products"]:
        product.pop("stress_at_25_percent", None)
    demo_build.current.document = document
    demo_build.current.save()
    page = client_of(owner).get(url("screening", demo_build, "hall")).content.decode()
    assert "Missing: stress at 25 % of" in page
    assert page.count(": missing</strong>") == len(LOADS), "no load is screened without the data sheet"
