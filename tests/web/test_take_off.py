"""The take-off with its trace, and the cut plans."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import get_resolver, reverse

from buildout.builds.web.models import Build, Proposal
from buildout.builds.web.services import Sheet
from buildout.people.web.models import User
from estimating.engine.types import CutPlans, Product, TakeOff
from estimating.web.models import Order
from estimating.web.views.take_off import csv_file
from scheduling.engine.cautions import CAUTIONS

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


def sheet(build: Build) -> Sheet:
    assert build.current is not None
    return Sheet(build.current)


@pytest.mark.parametrize(
    ("name", "args"),
    [("take-off", ()), ("take-off-csv", ()), ("cut-plan", ("ply-half",)), ("cut-plan-csv", ("ply-half",))],
)
def test_for_the_owner_alone(
    name: str, args: tuple[str, ...], client_of: ClientOf, demo_build: Build, owner: User, partner: User, lead: User,
    stranger: User,
) -> None:  # fmt: skip
    address = url(name, demo_build, *args)
    assert client_of(owner).get(address).status_code == 200
    for other in (partner, lead, stranger):
        assert client_of(other).get(address).status_code == 404
    assert client_of(owner).post(address).status_code == 405


def test_every_line_leads_back_to_rooms_and_pieces(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    page = client_of(owner).get(url("take-off", demo_build)).content.decode()
    found = sheet(demo_build).part("take_off", TakeOff)
    assert page.count("Where it comes from:") == len(found.lines)
    line = next(line for line in found.lines if line.item == "base-51mm")
    assert line.trace[0].pieces[0] in page
    assert "Main hall" in page
    assert f"{line.quantity:.0f} sheets" in page


def test_the_csv_says_what_the_page_says(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    text = client_of(owner).get(url("take-off-csv", demo_build)).content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    found = sheet(demo_build).part("take_off", TakeOff)
    assert [row["item"] for row in rows] == [line.item for line in found.lines]
    assert [row["quantity"] for row in rows] == [str(line.quantity) for line in found.lines]


def test_text_in_a_csv_is_never_a_formula() -> None:
    """Spreadsheets run cells that start with =, +, - or @ (OWASP, CSV injection)."""
    answer = csv_file("x.csv", ["name", "amount"], [["=1+1", -5], ["plain", 2]])
    assert answer.content.decode("utf-8-sig").splitlines() == ["name,amount", "'=1+1,-5", "plain,2"]


def test_an_empty_cell_stays_empty_and_a_hidden_formula_is_text() -> None:
    answer = csv_file("x.csv", ["a", "b", "c"], [["", "\r=1+1", "\n@SUM(A1)"]])
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert rows[1] == ["", "'\r'=1+1", "'\n'@SUM(A1)"]


EVIL = "=HYPERLINK(1); @SUM(A1)\t-2+3"


def test_no_table_we_write_runs_anything_however_it_is_cut(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    """Names and notes that are formulas, at the start and after marks other countries cut cells at; all exporters."""
    revision = demo_build.current
    assert revision is not None
    document = revision.document
    named = [*document["products"], *document["suppliers"], *document["rooms"], *document["money"]["heads"]]
    for entry in named:
        if entry.get("name"):
            revision.result = revision.result.replace(json.dumps(entry["name"], ensure_ascii=False), json.dumps(EVIL))
            entry["name"] = EVIL
        if entry.get("note"):
            revision.result = revision.result.replace(
                json.dumps(entry["note"], ensure_ascii=False)[1:-1], json.dumps(EVIL)[1:-1]
            )
            entry["note"] = EVIL
    revision.save()
    Order.objects.filter(build=demo_build).update(supplier_name=EVIL)
    tables = {
        pattern.name: pattern
        for place in get_resolver().url_patterns
        for pattern in getattr(place, "url_patterns", [])
        if ".csv" in str(pattern.pattern)
    }
    assert sorted(tables) == ["award-csv", "budget-csv", "cut-plan-csv", "take-off-csv"]
    browser = client_of(owner)
    for name in tables:
        more = ["ply-half"] if name == "cut-plan-csv" else []
        answer = browser.get(reverse(f"estimating:{name}", args=[demo_build.pk, *more]))
        text = answer.content.decode("utf-8-sig")
        assert name == "cut-plan-csv" or "HYPERLINK" in text
        for mark in (",", ";", "\t", "|"):
            for row in csv.reader(io.StringIO(text, newline=""), delimiter=mark, quoting=csv.QUOTE_MINIMAL):
                for cell in row:
                    assert not re.match(r"\s*[=+@-](?![0-9.]+$)", cell), (name, mark, cell)


def test_a_cut_plan_draws_every_way_of_cutting_once(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    page = client_of(owner).get(url("cut-plan", demo_build, "ply-half")).content.decode()
    plan = next(p for p in sheet(demo_build).part("cut_plans", CutPlans).plans if p.product == "ply-half")
    assert page.count("<figure") == page.count("<svg")
    assert 1 < page.count("<figure") < len(plan.stock)
    for stock in plan.stock[:1] + plan.stock[-1:]:
        assert stock.pieces[0].piece in page
    assert "style=" not in page


def test_the_cut_list_has_every_piece(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    text = client_of(owner).get(url("cut-plan-csv", demo_build, "ply-half")).content.decode("utf-8-sig")
    plan = next(p for p in sheet(demo_build).part("cut_plans", CutPlans).plans if p.product == "ply-half")
    assert len(list(csv.DictReader(io.StringIO(text)))) == sum(len(stock.pieces) for stock in plan.stock)


@pytest.mark.usefixtures("pango")
def test_a_cut_plan_on_paper(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    assert client_of(owner).get(url("cut-plan-pdf", demo_build, "cleat")).content.startswith(b"%PDF-")
    page = client_of(owner).get(url("cut-plan-pdf", demo_build, "cleat") + "?print").content.decode()
    name = next(p.name for p in sheet(demo_build).section("products", list[Product]) if p.id == "cleat")
    assert f"Cut plan: {name}" in page


def test_paper_says_how_good_the_plan_is_as_the_screen_does(
    client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    """The demo's plans are proven; one is made out here to use 20 sheets where no plan can use less than 19."""
    result = json.loads(demo_build.current.result)
    plan = next(p for p in result["cut_plans"]["plans"] if p["product"] == "ply-half")
    said = "Plywood: no plan could be below 19, 5.0 % less."
    plan |= {"status": "feasible", "value": 20.0, "bound": 19.0}
    plan["reasons"] = [{"code": "cut plan not proven best", "where": "ply-half", "severity": "note", "text": said}]
    type(demo_build.current).objects.filter(pk=demo_build.current.pk).update(result=json.dumps(result))
    browser = client_of(owner)
    for name, more in (("cut-plan", ""), ("cut-plan-pdf", "?print")):
        page = browser.get(url(name, demo_build, "ply-half") + more).content.decode()
        assert "Feasible: no plan can use less than 19, gap 5.0 %" in page  # (20 − 19) / 20
        assert said in page
        assert "Proven: no plan can use less" in browser.get(url(name, demo_build, "cleat") + more).content.decode()
    plan["stopped_by"] = "3,000 branches of the choice among patterns over all stock"
    type(demo_build.current).objects.filter(pk=demo_build.current.pk).update(result=json.dumps(result))
    for name, more in (("cut-plan", ""), ("cut-plan-pdf", "?print")):
        page = browser.get(url(name, demo_build, "ply-half") + more).content.decode()
        assert f"gap 5.0 %; the search stops after {plan['stopped_by']}" in page
    assert f"the search stops after {plan['stopped_by']}" in browser.get(url("take-off", demo_build)).content.decode()


@pytest.mark.parametrize(
    ("item", "shown", "left_out"),
    [("base-51mm", "KNIF", "SAW"), ("vinyl", "KNIF", "SAW"), ("ply-half", "SAW", "KNIF"), ("cleat", "SAW", "KNIF")],
)
def test_the_caution_is_the_tools(
    client_of: ClientOf, demo_build: Build, owner: User, item: str, shown: str, left_out: str
) -> None:
    """Goods without a kerf are cut with a knife, the others with a saw: on screen, on paper and at the bench."""
    browser = client_of(owner)
    for address in (
        url("cut-plan", demo_build, item), url("cut-plan-pdf", demo_build, item) + "?print",
        url("cutting", demo_build, item),
    ):  # fmt: skip
        page = browser.get(address).content.decode()
        assert CAUTIONS[shown] in page, address
        assert CAUTIONS[left_out] not in page, address


def test_nothing_is_cut_from_paint(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    assert client_of(owner).get(url("cut-plan", demo_build, "primer")).status_code == 404


@pytest.mark.parametrize(("name", "args"), [("take-off", ()), ("cut-plan", ("ply-half",))])
def test_queries(
    name: str, args: tuple[str, ...], client_of: ClientOf, demo_build: Build, owner: User,
    django_assert_num_queries: Any,
) -> None:  # fmt: skip
    browser = client_of(owner)
    with django_assert_num_queries(3):
        browser.get(url(name, demo_build, *args))


# ------------------------------------------------------------------ stated by the owner


def test_something_to_buy_that_no_drawing_gives(
    client_of: ClientOf, demo_build: Build, owner: User, partner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    typed = {"product": "hook", "quantity": "30", "unit": "each", "why": "Six more by the door"}
    assert browser.post(url("new-need", demo_build), typed).status_code == 302
    assert proposed(demo_build)["needs"][-1] == {"id": "need-hook-2"} | typed
    assert Proposal.objects.get().summary == "Stated: 30 each of Coat hook"
    Proposal.objects.all().delete()
    assert browser.post(url("need", demo_build, "need-hook"), typed).status_code == 302
    assert [need for need in proposed(demo_build)["needs"] if need["product"] == "hook"] == [
        {"id": "need-hook"} | typed
    ]
    Proposal.objects.all().delete()
    assert browser.post(url("delete-need", demo_build, "need-hook")).status_code == 302
    assert "need-hook" not in [need["id"] for need in proposed(demo_build)["needs"]]
    assert browser.get(url("delete-need", demo_build, "need-hook")).status_code == 405
    assert client_of(partner).post(url("new-need", demo_build), typed).status_code == 404


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"quantity": "some"}, "quantity", "plain number with a decimal point"),
        ({"unit": "gallon"}, "unit", "does not fit"),
        ({"product": ""}, "product", "This field is required"),
    ],
)
def test_a_need_that_cannot_be(
    typed: dict[str, str], field: str, said: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    data = {"product": "hook", "quantity": "30", "unit": "each", "why": "kept reason"} | typed
    answer = client_of(owner).post(url("new-need", demo_build), data)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert f"id_{field}_error" in page
    assert "kept reason" in page
    assert not Proposal.objects.exists()


def test_quantities_for_the_tasks(
    client_of: ClientOf, demo_build: Build, owner: User, stranger: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    form = browser.get(url("quantities", demo_build)).context["parts"][0][1]
    data = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    assert demo_build.current is not None
    assert set(data) == set(demo_build.current.document["quantities"]), "what the drawings give is not typed in"
    del data["all.floor_area"]
    assert browser.post(url("quantities", demo_build), data | {"hook.count": "30"}).status_code == 302
    stated = proposed(demo_build)["quantities"]
    assert stated["hook.count"] == "30"
    assert "all.floor_area" not in stated, "an empty field follows the drawings again"
    answer = browser.post(url("quantities", demo_build), data | {"hook.count": "a few"})
    assert answer.status_code == 422
    assert "a few" in answer.content.decode()
    assert client_of(stranger).get(url("quantities", demo_build)).status_code == 404
