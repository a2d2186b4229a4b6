"""Systems: which room gets which, what they are made of, and the drawings of what came out."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from typing import Any

import msgspec
import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, Proposal
from buildout.people.web.models import User
from buildout.units.lengths import format_length, format_mass, format_run
from buildout.units.words import counted
from estimating.engine.types import CutPlans, RoomLayouts, TakeOff
from estimating.web.forms import (
    CoverForm,
    FitoutForm,
    FloorSystemForm,
    FoldAwayForm,
    LayerForm,
    ProductForm,
    WallSystemForm,
)

pytestmark = pytest.mark.django_db
LB, FT = 0.45359237, 0.3048
"""kg and m, exact by the international yard and pound agreement of 1959."""
ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


def filled(browser: Client, address: str) -> dict[str, Any]:
    """What a browser would send if the form were sent back as it stands."""
    page = browser.get(address)
    forms = [form for _, form in page.context["parts"]]
    data: dict[str, Any] = {}
    for form in forms:
        for field in form:
            value = field.value()
            if value is None or value is False:
                continue
            data[field.html_name] = "on" if value is True else value
    return data


PAGES: list[tuple[str, tuple[str, ...]]] = [
    ("systems", ()),
    ("fitout", ("hall",)),
    ("system", ("floor", "two-layer-51mm")),
    ("system", ("walls", "panels-48")),
    ("system", ("fold-away", "fold-4x8")),
    ("new-system", ("floor",)),
    ("product", ("ply-half",)),
    ("new-product", ()),
    ("layouts", ("hall",)),
    ("layouts", ("children",)),
    ("layout-svg", ("hall", "floor-base")),
    ("layout-dxf", ("hall", "cover")),
]


@pytest.mark.parametrize(("name", "args"), PAGES)
def test_for_the_owner_alone(
    name: str, args: tuple[str, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User,
    stranger: User,
) -> None:  # fmt: skip
    address = url(name, demo_build, *args)
    assert client_of(owner).get(address).status_code == 200
    for other in (partner, lead, stranger):
        assert client_of(other).get(address).status_code == 404
    assert client_of(owner).delete(address).status_code == 405


def test_results_stand_beside_the_system(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    page = client_of(owner).get(url("systems", demo_build)).content.decode()
    for words in ("2 1/2 in", "Closed-cell base foam", "Cut-outs", "Full panels", "in use"):
        assert words in page


def test_a_rooms_layouts_say_what_floor_and_cover_take(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    """Every figure is the one of the layout, the take-off or the cut plan; each of the goods has its own row."""
    sheet = builds.sheet_of(demo_build)
    layout = next(one for one in sheet.part("layouts", list[RoomLayouts]) if one.room == "hall")
    page = client_of(owner).get(url("layouts", demo_build, "hall")).content.decode()
    figures = page[page.index('<section id="figures">') :]
    figures = html.unescape(figures[: figures.index("</section>")])
    floor, cover = layout.floor, layout.cover
    assert floor
    assert cover
    shown = {
        "Frame": floor.frame_length, "Ramp": floor.ramp_length, "Hook tape": cover.hook_length,
        "Loop band of the cover": cover.band_length, "Welds of the cover": cover.weld_length,
        **{f"Tape, {layer.layer} layer": layer.tape_length for layer in floor.layers},
    }  # fmt: skip
    for name, run in shown.items():
        assert (f"<dt>{name}</dt><dd>{format_run(run, sheet.units)}" in figures) == (run > 0), name
    assert (f"<dt>Staples</dt><dd>{cover.staples:,}" in figures) == (cover.staples > 0)
    lines = {line.item: line for line in sheet.part("take_off", TakeOff).lines}
    rows = figures.split("<tr>")[2:]
    for layer in floor.layers:
        cut = next(plan for plan in sheet.part("cut_plans", CutPlans).plans if plan.product == layer.product)
        row = next(row for row in rows if f"{layer.layer} layer" in row)
        line = lines[layer.product]
        assert counted(line.quantity, line.unit) in row
        for size in (cut.value, cut.bound):
            assert (format_run(size, sheet.units) if cut.form == "roll" else counted(size, cut.form)) in row
        assert ("cannot be done with less" in row) == (cut.status == "proven")
    nothing = client_of(owner).get(url("layouts", demo_build, "children")).content.decode()
    other = next(one for one in sheet.part("layouts", list[RoomLayouts]) if one.room == "children")
    assert ('id="figures"' in nothing) == bool(other.floor or other.cover)


def test_a_rooms_layouts_show_other_ways_of_welding(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    """The chosen way first, every way with its plan and why; a room without a cover has none."""
    sheet = builds.sheet_of(demo_build)
    cover = next(one for one in sheet.part("layouts", list[RoomLayouts]) if one.room == "hall").cover
    assert cover
    page = html.unescape(client_of(owner).get(url("layouts", demo_build, "hall")).content.decode())
    told = page[page.index('<section id="welds">') : page.index('<nav aria-label="Drawings')].split("<h3")[1:]
    assert len(told) == len(cover.ways) > 1
    for words, way in zip(told, cover.ways, strict=True):
        assert "<svg" in words
        assert way.why in words
        assert ("not chosen" in words) == (way is not cover.ways[0])
        assert format_run(way.weld_length, sheet.units) in words
    assert 'id="welds"' not in client_of(owner).get(url("layouts", demo_build, "children")).content.decode()


def test_a_rooms_layouts_say_what_the_walls_take(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    """Every size of panel has its row with how many there are; a room without panels has no such table."""
    sheet = builds.sheet_of(demo_build)
    walls = next(one for one in sheet.part("layouts", list[RoomLayouts]) if one.room == "hall").walls
    assert walls
    page = html.unescape(client_of(owner).get(url("layouts", demo_build, "hall")).content.decode())
    table = page[page.index('<section id="wall-figures">') :]
    rows = table[: table.index("</section>")].split("<tr>")[2:]
    counted_there = [int(re.search(r'data-label="How many">(\d+)<', row)[1]) for row in rows]  # type: ignore[index]
    assert sum(counted_there) == sum(count for *_, count in walls.faces)
    assert f"<dt>Staples</dt><dd>{walls.staples:,}" in table
    assert f"<dd>{format_mass(walls.mass, sheet.units)}" in table
    whole = next(p for e in walls.elevations for p in e.panels if p.kind == "full")
    assert " × ".join(format_length(side, sheet.units) for side in whole.face) in rows[0]
    assert 'id="wall-figures"' not in client_of(owner).get(url("layouts", demo_build, "children")).content.decode()


@pytest.mark.parametrize(
    ("name", "args", "queries"),
    [("systems", (), 4), ("product", ("base-51mm",), 4), ("layouts", ("hall",), 3), ("fitout", ("hall",), 3)],
)
def test_queries(
    name: str, args: tuple[str, ...], queries: int, client_of: ClientOf, demo_build: Build, owner: User,
    django_assert_num_queries: Any,
) -> None:  # fmt: skip
    browser = client_of(owner)
    with django_assert_num_queries(queries):
        browser.get(url(name, demo_build, *args))


def test_what_is_not_there(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    for name, args in [("system", ("floor", "nope")), ("system", ("roof", "x")), ("product", ("nope",)),
                       ("fitout", ("attic",)), ("layouts", ("attic",)),
                       ("layout-svg", ("hall", "roof"))]:  # fmt: skip
        assert browser.get(url(name, demo_build, *args)).status_code == 404, (name, args)


@pytest.mark.parametrize(
    "args", [("floor", "two-layer-51mm"), ("floor", "judo"), ("walls", "panels-48"), ("fold-away", "fold-4x8")]
)
def test_sending_a_system_back_as_it_stands_changes_only_what_defaults_say(
    args: tuple[str, str], client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    from buildout.changes.engine.reading import check_plan

    browser = client_of(owner)
    address = url("system", demo_build, *args)
    assert browser.post(address, filled(browser, address)).status_code == 302
    assert demo_build.current is not None
    assert check_plan(proposed(demo_build)) == check_plan(demo_build.current.document)


def test_a_thinner_offset_and_another_cover_width(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    address = url("system", demo_build, "floor", "two-layer-51mm")
    data = filled(browser, address) | {"joint_offset": '12"', "cover-goods_width": '72"', "layer-0-stagger": "0.33"}
    assert browser.post(address, data).status_code == 302
    system = proposed(demo_build)["floor_systems"][0]
    assert system["id"] == "two-layer-51mm"
    assert system["joint_offset"] == '12"'
    assert system["cover"]["goods_width"] == '72"'
    assert system["layers"][0]["stagger"] == "0.33"
    assert [layer["product"] for layer in system["layers"]] == ["base-51mm", "top-54in"]


def test_a_layer_added_and_the_cover_taken_off(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    address = url("system", demo_build, "floor", "two-layer-51mm")
    data = filled(browser, address) | {"layer-2-product": "top-60in", "layer-2-role": "top", "cover-product": ""}
    assert browser.post(address, data).status_code == 302
    system = proposed(demo_build)["floor_systems"][0]
    assert [layer["product"] for layer in system["layers"]] == ["base-51mm", "top-54in", "top-60in"]
    assert "cover" not in system


@pytest.mark.parametrize(
    ("args", "typed", "field", "said"),
    [
        (("floor", "two-layer-51mm"), {"joint_offset": "6"}, "joint_offset", "does not say feet, inches or metres"),
        (("floor", "two-layer-51mm"), {"frame_width": ""}, "frame_width", "the frame needs it"),
        (("floor", "two-layer-51mm"), {"layer-0-stagger": "1.5"}, "layer-0-stagger", "share below 1"),
        (("floor", "two-layer-51mm"), {"cover-goods_width": ""}, "cover-goods_width", "A cover needs this"),
        (("floor", "two-layer-51mm"), {"cover-weld_lap": '70"'}, "cover-weld_lap", "must be less than"),
        (("floor", "two-layer-51mm"), {"cover-goods_width": '3"'}, "cover-goods_width", "narrower than the loop band"),
        (
            ("floor", "two-layer-51mm"),
            {"cover-other_widths": '72"; 2"'},
            "cover-other_widths",
            "narrower than the loop",
        ),
        (("walls", "panels-48"), {"height": '110"'}, "height", "is larger than a sheet of"),
        (("walls", "panels-48"), {"module": "9'"}, "module", "is larger than a sheet of"),
        (("floor", "two-layer-51mm"), {"smallest_width": "10'"}, "smallest_width", "not one piece of it could be laid"),
        (("walls", "panels-48"), {"module": '50"'}, "module", "foam edge, board edge and turn-back do not fit"),
        (("walls", "panels-48"), {"narrowest_end": '50"'}, "narrowest_end", "must not exceed"),
        (("walls", "panels-48"), {"anchor_spacing": ""}, "anchor_spacing", "gives the number of anchors"),
        (("fold-away", "fold-4x8"), {"mat_width": "0 in"}, "mat_width", "must be more than nothing"),
        (("floor", "two-layer-51mm"), {"smallest_area": "a lot"}, "smallest_area", "Write a plain number"),
    ],
)
def test_a_system_that_does_not_hold_together(
    args: tuple[str, str], typed: dict[str, str], field: str, said: str, client_of: ClientOf, demo_build: Build,
    owner: User,
) -> None:  # fmt: skip
    browser = client_of(owner)
    address = url("system", demo_build, *args)
    answer = browser.post(address, filled(browser, address) | typed | {"name": "Kept as typed"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert f"id_{field}_error" in page, "said beside the field it came from"
    assert "Kept as typed" in page
    assert not Proposal.objects.exists()


def test_one_like_another(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    address = url("new-system", demo_build, "walls") + "?like=panels-48"
    data = filled(browser, address) | {"name": "Lower panels", "height": '60"'}
    assert browser.post(address, data).status_code == 302
    systems = proposed(demo_build)["wall_systems"]
    assert [system["id"] for system in systems] == ["panels-48", "lower-panels"]
    assert systems[1]["height"] == '60"'
    assert systems[1]["module"] == '48"'


def test_what_a_room_gets(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    answer = client_of(owner).post(
        url("fitout", demo_build, "children"),
        {"floor": "judo", "fold_away": "", "walls": "panels-48", "panelled": ["G-H", "H-J"], "column_wraps": ""},
    )
    assert answer.status_code == 302
    assert proposed(demo_build)["fitouts"][1] == {
        "room": "children", "floor": "judo", "walls": "panels-48", "panelled": ["G-H", "H-J"], "column_wraps": False
    }  # fmt: skip


def test_a_room_cannot_get_what_is_not_there(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    answer = client_of(owner).post(url("fitout", demo_build, "children"), {"floor": "lava", "panelled": ["A-B"]})
    assert answer.status_code == 422
    assert answer.content.decode().count("Select a valid choice") == 2


def test_a_product(client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed) -> None:
    browser = client_of(owner)
    address = url("product", demo_build, "ply-half")
    assert browser.post(address, filled(browser, address) | {"kerf": "3 mm"}).status_code == 302
    product = next(p for p in proposed(demo_build)["products"] if p["id"] == "ply-half")
    assert product["kerf"] == "3 mm"
    assert product["turns"] is False
    Proposal.objects.all().delete()
    answer = browser.post(
        url("new-product", demo_build),
        {"name": "Rubber strip", "form": "roll", "unit": "roll", "head": "8", "lead_group": "other", "per_pack": "1"},
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "is missing: a product of the form" in page
    assert "Rubber strip" in page


@pytest.mark.parametrize(
    ("form", "unit", "sizes"),
    [
        ("sheet", "sheet", {"length": "8'", "width": "4'", "thickness": '2"', "kerf": '1/8"', "trim": '1/4"',
                            "density": "30", "stress_at_25_percent": "45", "stress_at_50_percent": "110",
                            "compression_set": "12", "cushion_factor": "3.1", "shade_lots": "on"}),
        ("roll", "running yard", {"width": '54"', "mass_per_area": "0.73"}),
        ("length", "length", {"length": "12'"}), ("each", "pair", {}), ("volume", "litre", {"spread": "7.5"}),
        ("made to drawing", "square foot", {"mass_per_area": "1.6"}),
    ],
)  # fmt: skip
def test_a_product_of_every_form_is_added_and_kept(
    form: str, unit: str, sizes: dict[str, str], client_of: ClientOf, demo_build: Build, owner: User, queued: None,
    proposed: Proposed,
) -> None:  # fmt: skip
    typed = {"name": "Something new", "form": form, "unit": unit, "head": "8", "lead_group": "other", "per_pack": "1"}
    answer = client_of(owner).post(url("new-product", demo_build), typed | sizes)
    assert answer.status_code == 302
    made = next(p for p in proposed(demo_build)["products"] if p["id"] == "something-new")
    assert (made["form"], made["unit"]) == (form, unit)
    assert {name: made[name] for name in sizes if name != "shade_lots"} == {
        name: text for name, text in sizes.items() if name != "shade_lots"
    }
    assert made.get("shade_lots", False) is ("shade_lots" in sizes)


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"form": "volume", "unit": "sheet"}, "unit", "counted by the gallon or the litre"),
        ({"unit": "gallon"}, "unit", "are not counted by the gallon"),
        ({"length": ""}, "length", "For example 96 in."),
        ({"trim": "3'"}, "trim", "nothing would be left"),
        ({"kerf": "5'"}, "kerf", "as wide as the goods"),
        ({"density": "0"}, "density", "Leave it empty"),
        ({"compression_set": "150"}, "compression_set", "100 % at most"),
        ({"stress_at_25_percent": "50", "stress_at_50_percent": "20"}, "stress_at_50_percent", "more than 50"),
    ],
)
def test_a_product_that_cannot_be_is_said_beside_the_field(
    typed: dict[str, str], field: str, said: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    sheet = {"name": "Odd sheet", "form": "sheet", "unit": "sheet", "head": "8", "lead_group": "other"}
    sheet |= {"per_pack": "1", "length": "8'", "width": "4'"}
    answer = client_of(owner).post(url("new-product", demo_build), sheet | typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert f"id_{field}_error" in page
    assert "Odd sheet" in page
    assert not Proposal.objects.exists()


def test_a_system_in_use_is_not_taken_out(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    answer = browser.post(url("delete-system", demo_build, "walls", "panels-48"))
    assert answer.status_code == 422
    assert "Not possible as it stands" in answer.content.decode()
    assert browser.post(url("delete-system", demo_build, "floor", "heavy")).status_code == 302
    assert "heavy" not in [system["id"] for system in proposed(demo_build)["floor_systems"]]
    assert browser.get(url("delete-system", demo_build, "floor", "heavy")).status_code == 405


@pytest.mark.usefixtures("pango")
def test_the_fabricators_page_asks_for_two_signatures(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    browser = client_of(owner)
    pdf = browser.get(url("layout-pdf", demo_build, "hall", "cover"))
    assert pdf.content.startswith(b"%PDF-")
    page = browser.get(url("layout-pdf", demo_build, "hall", "cover") + "?print").content.decode()
    assert "Measured again by" in page
    assert "Measured again by" not in browser.get(
        url("layout-pdf", demo_build, "hall", "floor-base") + "?print"
    ).content.decode()  # fmt: skip


def test_figures_of_the_data_sheet_and_rules_of_a_system_are_typed(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    address = url("product", demo_build, "base-51mm")
    typed = {"compression_set": "4.5", "emission_document": "Class A, 2026", "shade_lots": "on", "also_sold": []}
    assert browser.post(address, filled(browser, address) | typed).status_code == 302
    product = next(p for p in proposed(demo_build)["products"] if p["id"] == "base-51mm")
    assert (product["compression_set"], product["emission_document"], product["shade_lots"]) == (
        "4.5", "Class A, 2026", True,
    )  # fmt: skip
    Proposal.objects.all().delete()
    address = url("system", demo_build, "floor", "two-layer-51mm")
    typed = {"cover-hem": "2 in", "cover-other_widths": '54"; 72"', "cover-overhang": "1 in"}
    assert browser.post(address, filled(browser, address) | typed).status_code == 302
    cover = proposed(demo_build)["floor_systems"][0]["cover"]
    assert (cover["hem"], cover["other_widths"], cover["overhang"]) == ("2 in", ['54"', '72"'], "1 in")
    answer = browser.post(address, filled(browser, address) | {"cover-other_widths": '54"; 72'})
    assert answer.status_code == 422
    assert "id_cover-other_widths_error" in answer.content.decode()
    assert "54&quot;; 72" in answer.content.decode()


def test_the_screening_stands_beside_the_system(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    page = client_of(owner).get(url("system", demo_build, "floor", "two-layer-51mm")).content.decode()
    assert "Screening only. Not a test, not a certificate." in page
    assert "Foam under load" in page


def test_store_and_zones_of_a_room(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    address = url("fitout", demo_build, "hall")
    zone = {"zone-0-x": "10'", "zone-0-y": "8'", "zone-0-length": "12'", "zone-0-width": "12'", "zone-0-why": "Throws"}
    store = {"store-kind": "cupboard", "store-length": "8'", "store-width": "4'", "store-height": "6'"}
    answer = browser.post(address, filled(browser, address) | zone | {"store-kind": "cupboard"})
    assert answer.status_code == 422
    assert "Measure the store" in answer.content.decode()
    assert "Throws" in answer.content.decode()
    answer = browser.post(address, filled(browser, address) | {"zone-0-x": "10'"})
    assert "A zone needs this" in answer.content.decode()
    assert browser.post(address, filled(browser, address) | zone | store).status_code == 302
    fitout = proposed(demo_build)["fitouts"][0]
    assert fitout["weld_free"] == [
        {"id": "zone", "x": "10'", "y": "8'", "length": "12'", "width": "12'", "why": "Throws"}
    ]
    assert fitout["store"] == {"kind": "cupboard", "length": "8'", "width": "4'", "height": "6'"}


@pytest.mark.parametrize(
    ("form", "elsewhere"),
    [
        (ProductForm, {"id"}),
        (FloorSystemForm, {"id", "layers", "cover"}),
        (LayerForm, set()),
        (CoverForm, set()),
        (FoldAwayForm, {"id"}),
        (WallSystemForm, {"id"}),
        (FitoutForm, {"room", "pins", "sides", "route", "weld_free", "store"}),
    ],
)
def test_everything_a_product_or_system_says_can_be_typed(form: Any, elsewhere: set[str]) -> None:
    """No rule of a system that only a file can change; ``elsewhere``: what has a screen of its own."""
    known = {field.name for field in msgspec.structs.fields(form.part)}
    shown = set(form.labels) | {name for name in known if name in form.base_fields}
    assert known - shown == elsewhere


@pytest.mark.parametrize(
    ("form", "field", "unit", "exact"),
    [
        (ProductForm, "density", "1 lb/cu ft", LB / FT**3),
        (ProductForm, "mass_per_area", "1 lb/sq ft", LB / FT**2),
        (ProductForm, "mass_per_area", "1 oz/sq yd", LB / 16 / (3 * FT) ** 2),
        (ProductForm, "spread", "100 sq ft", 100 * FT**2),
        (ProductForm, "stress_at_25_percent", "1 psi", LB * 9.80665 / (FT / 12) ** 2 / 1000),
        (FloorSystemForm, "smallest_area", "1 sq ft", FT**2),
    ],
)
def test_a_data_sheet_in_pounds_and_feet_is_helped_across(form: Any, field: str, unit: str, exact: float) -> None:
    """The hint beside a metric figure: within half a per cent of the exact definitions of pound, foot and gravity."""
    written = re.search(rf"{re.escape(unit)} is ([0-9.]+[0-9])", form.hints[field])
    assert written is not None
    assert float(written[1]) == pytest.approx(exact, rel=0.005)
