"""An empty installation: from the token printed at start to the first numbers, without ever opening the demo."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from buildout.builds.web.models import Build, Member, Role
from buildout.people.web.models import User
from buildout.people.web.tokens import setup_token
from tests.browser.conftest import WIDTHS

READINGS = """A B 24' 1 1/2"
B C 20' 0"
C D 24' 1 3/8"
D A 20' 0 1/8"
A C 31' 4 1/8"
B D 31' 4"
"""


@pytest.mark.parametrize("viewport", WIDTHS)
def test_from_nothing_to_first_numbers(
    transactional_db: None, visit: Callable[..., Any], viewport: dict[str, int]
) -> None:
    person = visit(viewport)
    page = person.page
    person.go("/")
    expect(page.get_by_role("heading", name="The owner's account")).to_be_visible()
    person.fits()

    page.get_by_label("Token").fill("0000-0000-0000")
    page.get_by_label("Your name").fill("Maren Tideswell")
    page.get_by_label("E-mail").fill("maren@example.org")
    page.get_by_label("Password").fill("four words are easy")
    page.get_by_role("button", name="Make the account").click()
    expect(page.get_by_text("That is not the token printed at start")).to_be_visible()
    assert not User.objects.exists()
    expect(page.get_by_label("Your name")).to_have_value("Maren Tideswell")

    page.get_by_label("Token").fill(setup_token())
    page.get_by_role("button", name="Make the account").click()
    expect(page.get_by_role("heading", name="A new build")).to_be_visible()
    person.fits()

    page.get_by_label("Name of the build").fill("Harbour Judo")
    page.get_by_label("What the tape read").fill(READINGS.replace("24' 1 1/2\"", "24 1 1/2"))
    page.get_by_role("radio").first.check()
    page.get_by_role("button", name="Work out the first numbers").click()
    expect(page.get_by_text("Line 1")).to_be_visible()
    assert not Build.objects.exists()
    expect(page.get_by_label("Name of the build")).to_have_value("Harbour Judo")

    page.get_by_label("What the tape read").fill(READINGS)
    page.set_default_timeout(120_000)
    page.get_by_role("button", name="Work out the first numbers").click()
    figures = page.locator("dl.figures").first
    expect(figures).to_contain_text("Floor area", timeout=120_000)
    # 24.1 ft × 20 ft: between 480 and 486 sq ft.
    area = float(figures.inner_text().split("Floor area")[1].split()[0].replace(",", ""))
    assert 480 <= area <= 486
    person.fits()
    build = Build.objects.get()
    assert Member.objects.get(build=build).role == Role.OWNER
    assert build.current is not None
