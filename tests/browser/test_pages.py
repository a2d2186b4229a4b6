"""Every page of every part: opens, fits, has no serious barrier (axe-core), in light and in dark."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from buildout.builds.web.models import Build, Role
from buildout.builds.web.templatetags.sheet import SHEETS
from buildout.changes.web.demo import LEAD, OWNER, PARTNER
from estimating.web.asking_models import Paper
from scheduling.web.models import ShareLink, SignUp
from tests.browser.chromium import DESK, PHONE

EMAILS = {Role.OWNER: OWNER[0], Role.PARTNER: PARTNER[0], Role.LEAD: LEAD[0]}
LOOKS = [
    pytest.param(PHONE, "light", id="390-light"),
    pytest.param(PHONE, "dark", id="390-dark"),
    pytest.param(DESK, "light", id="1280-light"),
    pytest.param(DESK, "dark", id="1280-dark"),
]


def barriers(page: Any) -> list[str]:
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page).response["violations"]
    return [
        f"{page.url}: {rule['id']} ({rule['impact']}): {rule['nodes'][0]['html'][:160]}"
        for rule in found
        if rule["impact"] in ("serious", "critical")
    ]


def look_through(visitor: Any, addresses: list[str]) -> None:
    found = []
    for address in addresses:
        assert visitor.go(address).status == 200, address
        visitor.fits()
        found += barriers(visitor.page)
    assert not found, "\n".join(found)


def price_table(build: Build) -> int:
    """A table of prices one supplier sent, with a formula in it; gives its number."""
    data = b"Description;From;Unit;Price\r\nTape;1;roll;=2*2\r\nCloth joint tape;1;roll;4,00\r\n"
    return Paper.objects.create(
        build=build, supplier="cloudberry", name="prices.csv", kind="csv", data=data, size=len(data)
    ).pk


def owner_pages(build: Build) -> list[str]:
    """Every sheet, and pages one step further in."""
    first, last = build.revisions.first(), build.revisions.last()
    assert first is not None
    assert last is not None
    deeper = [
        reverse("builds:list"),
        reverse("changes:new"),
        reverse("changes:revision", args=[build.pk, first.number]),
        reverse("changes:compare", args=[build.pk]) + f"?from={first.number}&to={last.number}",
        reverse("rooms:room", args=[build.pk, "hall"]),
        reverse("rooms:new", args=[build.pk]),
        reverse("rooms:add-part", args=[build.pk, "hall", "readings"]),
        reverse("estimating:layouts", args=[build.pk, "hall"]),
        reverse("estimating:pins", args=[build.pk, "hall"]),
        reverse("estimating:sides", args=[build.pk, "hall"]),
        reverse("estimating:route", args=[build.pk, "hall"]),
        reverse("estimating:screening", args=[build.pk, "hall"]),
        reverse("estimating:fitout", args=[build.pk, "hall"]),
        reverse("estimating:stock", args=[build.pk]),
        reverse("estimating:cutting", args=[build.pk, "ply-half"]),
        reverse("changes:choose-options", args=[build.pk, "hall"]),
        reverse("changes:ready-made", args=[build.pk]),
        reverse("changes:new-ready-made", args=[build.pk]),
        reverse("estimating:new-request", args=[build.pk]),
        reverse("estimating:request", args=[build.pk, 1]),
        reverse("estimating:supplier", args=[build.pk, "ninefold"]),
        reverse("estimating:edit-supplier", args=[build.pk, "ninefold"]),
        reverse("estimating:new-supplier", args=[build.pk]),
        reverse("estimating:new-quote", args=[build.pk]),
        reverse("estimating:quote", args=[build.pk, "cloudberry-1"]),
        reverse("estimating:new-paper", args=[build.pk]),
        reverse("estimating:paper", args=[build.pk, price_table(build)]),
        reverse("estimating:order", args=[build.pk, 1]),
        reverse("estimating:deliver", args=[build.pk, 1]),
        reverse("estimating:invoice", args=[build.pk, 1]),
        reverse("estimating:bill", args=[build.pk]),
        reverse("estimating:cash", args=[build.pk]),
        reverse("estimating:in-short", args=[build.pk]),
        reverse("estimating:week", args=[build.pk]),
        reverse("scheduling:edit-days", args=[build.pk]),
        reverse("scheduling:tasks", args=[build.pk]),
        reverse("scheduling:poster", args=[build.pk]) + "?print",
        reverse("scheduling:day-poster", args=[build.pk, "paint"]) + "?print",
        reverse("scheduling:reminders", args=[build.pk, "paint"]),
        reverse("scheduling:remove-person", args=[build.pk, SignUp.objects.filter(build=build, day="cover")[0].pk]),
        reverse("scheduling:plan", args=[build.pk]),
        reverse("scheduling:edit-helpers", args=[build.pk]),
        reverse("scheduling:edit-hours", args=[build.pk]),
        reverse("scheduling:new-task", args=[build.pk]),
        reverse("scheduling:task", args=[build.pk, "H03"]),
    ]
    return [reverse(url, args=[build.pk]) for _, _, url, _ in SHEETS] + deeper


@pytest.mark.parametrize(("viewport", "scheme"), LOOKS)
def test_owners_pages(demo: Build, visit: Callable[..., Any], viewport: dict[str, int], scheme: str) -> None:
    look_through(visit(viewport, color_scheme=scheme).sign_in(OWNER[0]), owner_pages(demo))


@pytest.mark.parametrize(("viewport", "scheme"), LOOKS)
@pytest.mark.parametrize("role", [Role.PARTNER, Role.LEAD])
def test_partners_and_leads_pages(
    demo: Build, visit: Callable[..., Any], viewport: dict[str, int], scheme: str, role: Role
) -> None:
    addresses = [reverse(url, args=[demo.pk]) for _, _, url, roles in SHEETS if role in roles]
    if role == Role.LEAD:
        minor = SignUp.objects.filter(build=demo, day="cover", age="16-17").get()
        for name in ("board", "board-people", "board-end", "day-sheet"):
            addresses.append(reverse(f"scheduling:{name}", args=[demo.pk, "cover"]))
        addresses.append(reverse("scheduling:board-task", args=[demo.pk, "cover", "H03"]))
        addresses.append(reverse("scheduling:board-guardian", args=[demo.pk, "cover", minor.pk]))
    look_through(visit(viewport, color_scheme=scheme).sign_in(EMAILS[role]), [reverse("builds:list"), *addresses])


@pytest.mark.parametrize(("viewport", "scheme"), LOOKS)
def test_helpers_pages(demo: Build, visit: Callable[..., Any], viewport: dict[str, int], scheme: str) -> None:
    link = ShareLink.objects.get(build=demo)
    sign_up = SignUp.objects.filter(build=demo, day="cover").first()
    assert sign_up is not None
    minor = SignUp.objects.filter(build=demo, day="cover", age="16-17").get()
    addresses = [
        reverse("scheduling:my", args=[minor.token]),
        reverse("scheduling:guardian", args=[minor.guardian_token]),
        reverse("scheduling:join", args=[link.token]),
        reverse("scheduling:join-day", args=[link.token, "paint"]),
        reverse("scheduling:join-anywhere", args=[link.token, "paint"]),
        reverse("scheduling:my", args=[sign_up.token]),
        reverse("scheduling:change", args=[sign_up.token]),
        reverse("scheduling:swap", args=[sign_up.token]),
        reverse("scheduling:withdraw", args=[sign_up.token]),
        reverse("scheduling:remove", args=[sign_up.token]),
        reverse("scheduling:my-board", args=[sign_up.token]),
    ]
    look_through(visit(viewport, color_scheme=scheme), addresses)


@pytest.mark.parametrize(("viewport", "scheme"), LOOKS)
def test_pages_before_signing_in(
    transactional_db: None, visit: Callable[..., Any], viewport: dict[str, int], scheme: str
) -> None:
    look_through(visit(viewport, color_scheme=scheme), [reverse("people:first-account")])


def test_a_partner_cannot_reach_an_owners_page(demo: Build, visit: Callable[..., Any]) -> None:
    partner = visit(DESK).sign_in(PARTNER[0])
    partner.go(demo.get_absolute_url())
    names = partner.page.locator("nav.sheets").inner_text()
    for _, name, url, roles in SHEETS:
        response = partner.go(reverse(url, args=[demo.pk]))
        allowed = Role.PARTNER in roles
        assert response.status == (200 if allowed else 404), url
        assert (name in names) == allowed
    for address in (
        reverse("rooms:room", args=[demo.pk, "hall"]),
        reverse("scheduling:edit-days", args=[demo.pk]),
        reverse("scheduling:poster", args=[demo.pk]),
    ):
        assert partner.go(address).status == 404, address


def test_a_stranger_reaches_nothing(demo: Build, visit: Callable[..., Any]) -> None:
    stranger = visit(DESK)
    for _, _, url, _ in SHEETS:
        stranger.go(reverse(url, args=[demo.pk]))
        assert reverse("people:sign-in") in stranger.page.url
