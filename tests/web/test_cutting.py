"""Cuts ticked on site, left-overs that are stock from then on, remnants booked in."""

from __future__ import annotations

import copy
import html
import json
import re
from collections.abc import Callable
from typing import Any

import msgspec
import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build, JournalEntry, Proposal
from buildout.builds.web.services import Sheet
from buildout.changes.engine.build_file import BuildFile
from buildout.changes.web.services import apply, commitments_of, compute
from buildout.changes.web.stored import enter_commitments
from buildout.changes.web.transfer import export_build, import_build
from buildout.people.web.models import User
from buildout.units.value import from_plain, to_plain
from estimating.engine.cut_drawing import alike
from estimating.engine.types import CutPlan, CutPlans
from estimating.web.cuts import made_cuts
from estimating.web.models import CutMade

pytestmark = pytest.mark.django_db
ClientOf = Callable[[User | None], Client]
Proposed = Callable[[Build], dict[str, Any]]


def url(name: str, build: Build, *args: Any) -> str:
    return reverse(f"estimating:{name}", args=[build.pk, *args])


def plans(build: Build) -> dict[str, CutPlan]:
    assert build.current is not None
    return {plan.product: plan for plan in Sheet(build.current).part("cut_plans", CutPlans).plans}


def sheets(build: Build) -> CutPlan:
    """A plan that cuts sheets with a left-over worth keeping."""
    return next(p for p in plans(build).values() if p.form == "sheet" and any(s.offcuts and s.pieces for s in p.stock))


def test_owner_and_lead_tick_others_do_not_learn_of_it(
    client_of: ClientOf, demo_build: Build, owner: User, lead: User, partner: User, stranger: User,
    django_assert_num_queries: Any,
) -> None:  # fmt: skip
    product = sheets(demo_build).product
    looked = [url("stock", demo_build), url("cutting", demo_build, product)]
    posted = [url("tick-cut", demo_build, product, 1), url("untick-cut", demo_build, product, 1)]
    for person in (owner, lead):
        browser = client_of(person)
        for address in looked:
            with django_assert_num_queries(4):
                assert browser.get(address).status_code == 200
            assert browser.delete(address).status_code == 405
        for address in posted:
            assert browser.get(address).status_code == 405
    for person in (partner, stranger):
        browser = client_of(person)
        assert [browser.get(address).status_code for address in looked] == [404, 404]
        assert [browser.post(address).status_code for address in posted] == [404, 404]
    money = client_of(lead).get(looked[0]).content.decode()
    assert "Book a remnant in" not in money
    assert client_of(lead).post(looked[0], {}).status_code == 404
    assert client_of(lead).post(url("count-in", demo_build)).status_code == 404
    assert client_of(lead).post(url("remove-remnant", demo_build, "x")).status_code == 404
    assert not CutMade.objects.exists()
    assert client_of(owner).post(url("tick-cut", demo_build, product, 9999)).status_code == 404
    assert client_of(owner).get(url("cutting", demo_build, "marble")).status_code == 404


def test_a_tick_is_a_fact_and_can_be_taken_back(client_of: ClientOf, demo_build: Build, lead: User) -> None:
    plan = sheets(demo_build)
    one = plan.stock[0]
    browser = client_of(lead)
    tick = url("tick-cut", demo_build, plan.product, one.number)
    assert browser.post(tick).status_code == 302
    made = made_cuts(demo_build)
    assert [(m.product, m.length, m.width) for m in made] == [(plan.product, one.length, one.width)]
    assert made[0].pieces == one.pieces
    assert commitments_of(demo_build, "XXX").cuts == made
    again = browser.post(tick, follow=True).content.decode()
    assert "is ticked already" in again
    assert CutMade.objects.count() == 1
    page = browser.get(url("cutting", demo_build, plan.product)).content.decode()
    assert "Not cut after all" in page
    assert browser.post(url("untick-cut", demo_build, plan.product, one.number)).status_code == 302
    assert made_cuts(demo_build) == []
    assert "not ticked" in browser.post(
        url("untick-cut", demo_build, plan.product, one.number), follow=True
    ).content.decode()  # fmt: skip
    assert browser.post(tick).status_code == 302, "after taking it back it can be ticked again"
    assert list(JournalEntry.objects.filter(kind="cut").values_list("by__name", flat=True)) == [lead.name] * 3


def test_a_left_over_becomes_stock_with_one_click(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    plan = sheets(demo_build)
    one = next(s for s in plan.stock if s.offcuts and s.pieces)
    browser = client_of(owner)
    page = browser.get(url("stock", demo_build)).content.decode()
    assert f"Sheet {one.number} is cut, keep this" in page
    before = page.count("in stock</span>")
    assert browser.post(url("tick-cut", demo_build, plan.product, one.number)).status_code == 302
    page = browser.get(url("stock", demo_build)).content.decode()
    assert page.count("in stock</span>") == before + len(one.offcuts)
    assert "1 cut ticked since this revision was worked out" in page


def test_what_is_cut_is_fixed_and_later_plans_work_with_the_rest(
    client_of: ClientOf, quick_build: Build, owner: User, queued: None
) -> None:
    """The first sheet is cut; counted in, the plan keeps it as it is and needs no more than before."""
    plan = next(p for p in plans(quick_build).values() if p.form == "sheet" and any(s.pieces for s in p.stock))
    one = plan.stock[-1]
    browser = client_of(owner)
    browser.post(url("tick-cut", quick_build, plan.product, one.number))
    count_in(browser, quick_build, owner)
    after = plans(quick_build)[plan.product]
    fixed = [s for s in after.stock if s.source == "already cut"]
    assert [(s.taken, s.pieces) for s in fixed] == [("cut-1", [*fixed[0].pieces])]
    assert {p.piece for p in fixed[0].pieces} == {p.piece for p in one.pieces}
    assert after.value <= plan.value
    assert sorted(p.piece for s in after.stock for p in s.pieces) == sorted(
        p.piece for s in plan.stock for p in s.pieces
    )  # fmt: skip
    page = browser.get(url("cutting", quick_build, plan.product), follow=True).content.decode()
    assert "cut-1" in page
    assert "was cut before" in browser.post(
        url("tick-cut", quick_build, plan.product, fixed[0].number), follow=True
    ).content.decode()  # fmt: skip


def test_what_a_cut_left_over_is_cut_on_from(
    client_of: ClientOf, quick_build: Build, owner: User, queued: None
) -> None:
    """A whole sheet's worth of panel board is left of a sheet ticked empty; it is cut from next, and that is ticked.

    The cut names the one it comes from and where in it, travels with the build, and is counted in by the plan after.
    """
    plan = next(p for p in plans(quick_build).values() if p.form == "sheet" and any(s.pieces for s in p.stock))
    assert quick_build.current is not None
    browser = client_of(owner)
    piece = next(p for s in plan.stock for p in s.pieces)
    first = plan.stock[0]
    CutMade.objects.create(
        build=quick_build, number=1, product=plan.product, goods_name="Board", form="sheet", stock_number=1,
        length=first.length, width=first.width, by=owner,
        pieces=[to_plain(msgspec.structs.replace(piece, piece="nobody's", x=0.0, y=0.0, turned=False))],
    )  # fmt: skip
    count_in(browser, quick_build, owner)
    after = plans(quick_build)[plan.product]
    rest = next(s for s in after.stock if s.rest_of == "cut-1")
    assert rest.pieces
    page = browser.get(url("cutting", quick_build, plan.product)).content.decode()
    assert f"out of {rest.taken}, left over" in page
    assert browser.post(url("tick-cut", quick_build, plan.product, rest.number)).status_code == 302
    made = CutMade.objects.get(number=2)
    assert (made.rest_of, (float(made.at_x), float(made.at_y)), made.remnant) == ("cut-1", rest.at, "")
    assert made_cuts(quick_build)[1].rest_of == "cut-1"
    there = to_plain(made_cuts(quick_build))
    copied = Build.objects.get(pk=import_build(json.dumps(export_build(quick_build)).encode()).build)
    assert to_plain(made_cuts(copied)) == there
    count_in(browser, quick_build, owner)
    last = plans(quick_build)[plan.product]
    fixed = next(s for s in last.stock if s.taken == "cut-2")
    assert (fixed.source, fixed.rest_of) == ("remnant already cut", "cut-1")
    assert {p.piece for p in fixed.pieces} == {p.piece for p in rest.pieces}
    assert last.value == after.value


def count_in(browser: Client, build: Build, owner: User) -> None:
    assert browser.post(url("count-in", build)).status_code == 302
    proposal = Proposal.objects.get()
    compute(proposal)
    proposal.refresh_from_db()
    apply(proposal, owner, "")
    build.refresh_from_db()


def test_a_remnant_is_booked_in_and_out(
    client_of: ClientOf, demo_build: Build, owner: User, queued: None, proposed: Proposed
) -> None:
    browser = client_of(owner)
    typed = {"product": "ply-half", "length": "40 in", "width": "24 in", "note": "Behind the door"}
    assert browser.post(url("stock", demo_build), typed).status_code == 302
    entry = proposed(demo_build)["remnants"][0]
    assert entry == {"id": "left-over-ply-half", **typed}
    assert demo_build.current is not None
    demo_build.current.document = copy.deepcopy(demo_build.current.document) | {"remnants": [entry]}
    demo_build.current.save()
    Proposal.objects.all().delete()
    assert "Behind the door" in browser.get(url("stock", demo_build)).content.decode()
    assert browser.post(url("remove-remnant", demo_build, entry["id"])).status_code == 302
    assert "remnants" not in proposed(demo_build)
    assert browser.post(url("remove-remnant", demo_build, "nope")).status_code == 404


@pytest.mark.parametrize(
    ("typed", "field", "says"),
    [
        ({"width": ""}, "width", "has a width too"),
        ({"length": "40"}, "length", "does not say feet, inches or metres"),
        ({"product": "marble"}, "product", "Select a valid choice"),
    ],
)
def test_a_remnant_that_says_too_little(
    typed: dict[str, str], field: str, says: str, client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    good = {"product": "ply-half", "length": "40 in", "width": "24 in", "note": "Kept as typed"}
    answer = client_of(owner).post(url("stock", demo_build), good | typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert says in page
    assert f"id_{field}_error" in page
    assert "Kept as typed" in page
    assert not Proposal.objects.exists()


def test_cuts_travel_with_the_build(client_of: ClientOf, demo_build: Build, owner: User) -> None:
    plan = sheets(demo_build)
    client_of(owner).post(url("tick-cut", demo_build, plan.product, plan.stock[0].number))
    there = to_plain(made_cuts(demo_build))
    file = export_build(demo_build)
    assert file["commitments"]["cuts"] == there
    copied = Build.objects.get(pk=import_build(json.dumps(file).encode()).build)
    assert to_plain(made_cuts(copied)) == there
    bare = Build.objects.create(name="Bare")
    kept = from_plain(BuildFile, {key: value for key, value in file.items() if key != "history"})
    orders_left_out = from_plain(
        BuildFile, to_plain(kept) | {"commitments": {"cuts": there}}
    )  # fmt: skip
    enter_commitments(bare, orders_left_out, by=owner, helper_of=lambda sign_up: None)  # type: ignore[arg-type,return-value]
    assert to_plain(made_cuts(bare)) == there


def spelled(run: str) -> list[int]:
    """“1–3, 7” as 1, 2, 3, 7."""
    ends = [part.split("–") for part in run.strip(", ").split(", ")]
    return [n for end in ends for n in range(int(end[0]), int(end[-1]) + 1)]


def test_every_piece_of_the_layout_stands_on_the_cut_plan_with_its_cuts_in_order(
    client_of: ClientOf, demo_build: Build, owner: User
) -> None:
    """Stock cut alike is drawn once, but each piece's own number is written, on screen and on paper."""
    plan = sheets(demo_build)
    browser = client_of(owner)
    for address in (
        url("cut-plan", demo_build, plan.product), url("cut-plan-pdf", demo_build, plan.product) + "?print",
    ):  # fmt: skip
        page = browser.get(address).content.decode()
        missing = [p.piece for stock in plan.stock for p in stock.pieces if p.piece not in page]
        assert missing == []
        assert "Cuts in order: 1 " in page
        words = html.unescape(page)
        lists = re.findall(r"Cuts in order: (.*?)\.</p>\s*<p>Pieces as they come off: (.*?)</p>", words, re.DOTALL)
        assert lists
        for cuts, pieces in lists:  # every piece's number is freed by just one cut, and stands beside its name
            count = len(re.findall(r"\(\d+\) ", pieces.split("; ")[0]))
            freed = [n for run in re.findall(r"frees ([\d–, ]+)", cuts) for n in spelled(run)]
            assert freed == list(range(1, count + 1)), cuts
            assert all(re.search("frees|takes off the part with|trims", cut) for cut in cuts.split("; "))


def test_stock_cut_alike_is_one_card_and_what_is_cut_is_folded_away(
    client_of: ClientOf, demo_build: Build, lead: User
) -> None:
    """One drawing per pattern still open; the next one of a pattern first, all tickable, cut ones in a list."""
    plan = max((p for p in plans(demo_build).values() if p.form == "sheet"), key=lambda p: len(p.stock))
    patterns = [numbers for numbers, _ in alike(plan)]
    several = max(patterns, key=len)
    assert len(several) > 1
    browser = client_of(lead)
    address = url("cutting", demo_build, plan.product)
    page = browser.get(address).content.decode()
    assert page.count("<figure") == len(patterns) < len(plan.stock)
    assert f"0 of {len(several)} alike cut" in page
    for stock in plan.stock:
        assert url("tick-cut", demo_build, plan.product, stock.number) in page
    assert "cut already" not in page
    browser.post(url("tick-cut", demo_build, plan.product, several[0]))
    page = browser.get(address).content.decode()
    assert f"1 of {len(several)} alike cut" in page
    assert f'id="n{several[1]}"' in page
    assert "1 cut already" in page
    assert url("untick-cut", demo_build, plan.product, several[0]) in page.split("1 cut already")[1]
    assert url("tick-cut", demo_build, plan.product, several[0]) not in page
