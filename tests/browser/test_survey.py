"""A room typed from tape readings on a phone: the planted slip is found, measured again, and the gate passed."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from buildout.builds.web.models import Build, Proposal
from buildout.changes.web.demo import OWNER
from buildout.rooms.web.models import TapeSession
from tests.browser.chromium import DESK, PHONE
from tests.browser.test_pages import barriers

RUN = 240_000
"""Milliseconds a run of the whole chain may take on a slow machine."""
DEMO = Path(__file__).resolve().parents[2] / "buildout/changes/engine/data/demo.json"


def demo_readings() -> list[dict[str, str]]:
    """The main hall as it was first read: D–E a foot short."""
    hall = json.loads(DEMO.read_text())["plan"]["rooms"][0]
    return [r | ({"value": "35' 0 1/2\""} if r["id"] == "4" else {}) for r in hall["readings"]]


def without_readings(build: Build) -> None:
    """The main hall before anybody has taped it."""
    assert build.current is not None
    build.current.document["rooms"][0]["readings"] = []
    build.current.save()


def on_keys(page: Any, value: str) -> None:
    """Type a length on the page's own keys."""
    pad = page.locator("[data-keypad]")
    for part in re.findall(r"\d+/\d+|\d|'|\"", value):
        if "/" in part:
            pad.get_by_role("button", name=part, exact=True).click()
        else:
            name = {"'": "feet", '"': "inches"}.get(part, part)
            pad.get_by_role("button", name=name, exact=True).click()


def tap(page: Any, point: str) -> None:
    page.locator(f'svg.picker a[data-point="{point}"]').click()


def take(page: Any, count: int) -> None:
    page.get_by_role("button", name="Take this reading").click()
    expect(page.locator("ul.taken > li")).to_have_count(count)


def test_a_room_is_taped_on_a_phone_until_the_gate_passes(demo: Build, visit: Callable[..., Any]) -> None:
    without_readings(demo)
    visitor = visit(PHONE, has_touch=True).sign_in(OWNER[0])
    page = visitor.page
    visitor.go(reverse("rooms:tape", args=[demo.pk, "hall"]))
    visitor.fits()
    expect(page.get_by_text("Readings do not fix the shape")).to_be_visible()
    readings = demo_readings()

    # Two by thumb: points on the picture, the length on the keys.
    for number, reading in enumerate(readings[:2], 1):
        tap(page, reading["start"])
        expect(page.locator("[data-pair]")).to_have_text(f"From {reading['start']}: tap the other point.")
        tap(page, reading["end"])
        on_keys(page, reading["value"])
        expect(page.get_by_label("The tape says")).to_have_value(re.compile(r"^\d+' \d+\"$"))
        take(page, number)
        assert [r["value"] for r in TapeSession.objects.get().readings][-1] == reading["value"]

    # The rest as a list, a line at a time and then pasted.
    page.get_by_text("Type or paste a list").click()
    box = page.get_by_label("One reading a line")
    box.fill(" ".join(readings[2][name] for name in ("start", "end", "value")))
    box.press("Enter")
    expect(page.locator("ul.taken > li")).to_have_count(3)
    page.locator("#list details").evaluate("details => { details.open = true }")
    box.fill("\n".join(" ".join(r[name] for name in ("start", "end", "value")) for r in readings[3:]))
    page.get_by_role("button", name="Take these lines").click()
    expect(page.locator("ul.taken > li")).to_have_count(26)
    visitor.fits()

    # The slip is found by itself, and named as what it is.
    doubted = page.locator("li", has_text="set aside").filter(has_text="Reading 4, D–E")
    expect(doubted).to_contain_text("one-foot slip")
    assert page.locator("svg.picker .p-doubted").count() == 1
    assert "does not pass" in page.locator("main").inner_text() or "Not for the fabricator" in page.content()
    assert barriers(page) == []

    # Measured again, with the link beside it.
    doubted.get_by_role("link", name="Measure D–E again").click()
    expect(page.locator("[data-pair]")).to_have_text("D to E: what does the tape say?")
    on_keys(page, "36'0 1/2")
    take(page, 27)
    expect(page.locator("ul.taken > li").first).to_contain_text("sound")

    # What the gate still asks for is taken; after that it passes.
    for count in range(28, 34):
        gate = page.locator("p", has_text="Fabricator gate")
        if "Checked for the fabricator" in gate.inner_text():
            break
        best = page.locator("ol a.tap").first
        shown = re.search(r"about (\d[^)]*\")\)", best.inner_text())
        assert shown is not None, best.inner_text()
        best.click()
        expect(page.locator("[data-pair]")).to_contain_text("what does the tape say?")
        page.get_by_label("The tape says").fill(shown[1])
        take(page, count)
    expect(page.locator("p", has_text="Fabricator gate")).to_contain_text("Checked for the fabricator")

    # Nothing has changed so far; proposing it shows what it does.
    page.set_default_timeout(RUN)
    page.get_by_role("button", name="Propose these").click()
    expect(page.get_by_role("heading", name="Decide")).to_be_visible(timeout=RUN)
    assert Proposal.objects.get().summary.startswith("Main hall: ")
    page.get_by_role("button", name=re.compile("Apply as revision")).click()
    expect(page.get_by_text(re.compile("Applied as revision"))).to_be_visible(timeout=RUN)
    visitor.go(reverse("rooms:room", args=[demo.pk, "hall"]))
    expect(page.get_by_role("link", name="Fabricator gate: passes")).to_be_visible()

    # The drawing says its ± to the keyboard as to a finger.
    page.get_by_role("group", name="Plan of Main hall", exact=True).focus()
    page.keyboard.press("Tab")
    on = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert "±" in on
    expect(page.locator("[data-readout]")).to_have_text(on)
    page.locator("figure.drawing svg g[aria-label^='Corner C']").tap()
    expect(page.locator("[data-readout]")).to_contain_text(re.compile(r"^Corner C.*± "))

    # The gate looked at the sizes on the cover's drawing, and that drawing says so.
    visitor.go(reverse("rooms:gate", args=[demo.pk, "hall"]))
    expect(page.get_by_role("rowheader", name="Cover side 1–2", exact=True)).to_be_visible()
    expect(page.get_by_role("rowheader", name="Cut-out 1 (column K1)").first).to_be_visible()
    visitor.go(reverse("estimating:layouts", args=[demo.pk, "hall"]))
    expect(page.locator("main")).to_contain_text("Checked for the fabricator")
    visitor.go(reverse("rooms:tape", args=[demo.pk, "hall"]))
    expect(page.get_by_text("None. What you take is kept here")).to_be_visible()


def test_what_is_wrong_is_said_in_place_and_targets_fit_a_thumb(demo: Build, visit: Callable[..., Any]) -> None:
    visitor = visit(PHONE, has_touch=True).sign_in(OWNER[0])
    page = visitor.page
    visitor.go(reverse("rooms:tape", args=[demo.pk, "hall"]))
    boxes = [a.bounding_box() for a in page.locator("svg.picker a circle").all()]
    assert len(boxes) == 12
    assert min(min(b["width"], b["height"]) for b in boxes) >= 44
    for at, one in enumerate(boxes):
        for other in boxes[:at]:
            apart = ((one["x"] - other["x"]) ** 2 + (one["y"] - other["y"]) ** 2) ** 0.5
            assert apart >= 44, "one target covers another"
    keys = [b.bounding_box() for b in page.locator("[data-keypad] button").all()]
    assert min(min(b["width"], b["height"]) for b in keys) >= 44
    tap(page, "A")
    tap(page, "C")
    page.get_by_label("The tape says").fill("3000'")
    page.get_by_role("button", name="Take this reading").click()
    expect(page.get_by_text("longer than any tape")).to_be_visible()
    expect(page.get_by_label("The tape says")).to_have_value("3000'")
    expect(page.locator("select[name=start]")).to_have_value("A")
    expect(page.locator("[data-keypad]")).to_be_visible()
    assert not TapeSession.objects.exists()


def test_taping_without_scripts(demo: Build, visit: Callable[..., Any]) -> None:
    visitor = visit(PHONE, java_script_enabled=False).sign_in(OWNER[0])
    page = visitor.page
    visitor.go(reverse("rooms:tape", args=[demo.pk, "hall"]))
    expect(page.locator("[data-keypad]")).to_be_hidden()
    tap(page, "A")
    tap(page, "C")
    expect(page.locator("[data-pair]")).to_have_text("A to C: what does the tape say?")
    page.get_by_label("The tape says").fill("67' 11 3/4\"")
    page.get_by_role("button", name="Take this reading").click()
    expect(page.get_by_text("Reading 27, A–C 67' 11 3/4\": sound.")).to_be_visible()
    expect(page.locator("ul.taken > li")).to_have_count(1)


@pytest.mark.parametrize("viewport", [pytest.param(PHONE, id="390"), pytest.param(DESK, id="1280")])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_rooms_pages_fit_and_have_no_barrier(
    demo: Build, visit: Callable[..., Any], viewport: dict[str, int], scheme: str
) -> None:
    visitor = visit(viewport, color_scheme=scheme).sign_in(OWNER[0])
    found = []
    names = ["tape", "take-other", "figures", "gate", "compare", "copy", "tools", "elevations", "edit"]
    addresses = [reverse(f"rooms:{name}", args=[demo.pk, "hall"]) for name in names]
    addresses += [
        reverse(f"rooms:{n}", args=[demo.pk]) for n in ("new-rectangle", "new-walls", "new-drawing", "together")
    ]
    for address in [*addresses, reverse("rooms:room", args=[demo.pk, "hall"]) + "?diagonals"]:
        assert visitor.go(address).status == 200, address
        visitor.fits()
        found += barriers(visitor.page)
    assert not found, "\n".join(found)
