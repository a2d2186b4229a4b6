"""Drawings as PDF: the page, the scale it names, the lettering."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build
from buildout.people.web.models import User

POINT = 25.4 / 72
"""mm."""
A3 = (420.0, 297.0)


def paths(page: Any) -> list[list[tuple[float, float]]]:
    """Corners of every path of a page, mm from its lower left corner."""
    found: list[list[tuple[float, float]]] = []

    def look(operator: bytes, operands: Any, cm: Any, tm: Any) -> None:
        if operator in (b"m", b"l"):
            x, y = (float(v) for v in operands)
            at = (POINT * (cm[0] * x + cm[2] * y + cm[4]), POINT * (cm[1] * x + cm[3] * y + cm[5]))
            if operator == b"m":
                found.append([])
            found[-1].append(at)

    page.extract_text(visitor_operand_before=look)
    return found


def embedded(page: Any) -> list[bool]:
    """Of every font of a page, whether the file brings its shapes along."""
    fonts = page["/Resources"]["/Font"].values()
    inner = [one.get_object() for font in fonts for one in font.get_object().get("/DescendantFonts", [font])]
    return [
        any(key in font["/FontDescriptor"].get_object() for key in ("/FontFile", "/FontFile2", "/FontFile3"))
        for font in inner
    ]


@pytest.mark.usefixtures("pango")
def test_the_cover_on_paper_is_to_the_scale_it_names(
    demo_build: Build, owner: User, client_of: Callable[[User | None], Client]
) -> None:
    """Each side of the finished edge on the page times the scale is the engine's length, to 0.02 mm on paper."""
    from pypdf import PdfReader

    from buildout.builds.web import services as builds
    from estimating.engine.types import RoomLayouts

    address = reverse("estimating:layout-pdf", args=[demo_build.pk, "hall", "cover"])
    answer = client_of(owner).get(address)
    assert answer["Content-Type"] == "application/pdf"
    page = PdfReader(io.BytesIO(answer.content)).pages[0]
    assert (float(page.mediabox.width) * POINT, float(page.mediabox.height) * POINT) == pytest.approx(A3, abs=0.1)
    fonts = embedded(page)
    assert fonts
    assert all(fonts)
    named = re.search(r"\(1:(\d+)\)", page.extract_text())
    assert named
    scale = int(named[1])
    layouts = builds.sheet_of(demo_build).part("layouts", list[RoomLayouts])
    cover = next(one.cover for one in layouts if one.room == "hall")
    assert cover is not None
    sides = [math.dist(a, b) for a, b in zip(cover.outline, [*cover.outline[1:], cover.outline[0]], strict=True)]
    drawn = [
        [scale * math.dist(a, b) for a, b in zip(path, [*path[1:], path[0]], strict=True)]
        for path in paths(page)
        if len(path) == len(sides)
    ]
    # the writer rounds to 0.01 mm on paper; a path may be followed either way round
    wrong = [max(abs(a - b) for a, b in zip(found, sides, strict=True)) for found in drawn]
    assert min(wrong) <= 0.02 * scale


@pytest.mark.usefixtures("pango")
@pytest.mark.parametrize("name", ["floor-base", "frame", "cover", "wall-A-B"])
def test_a_sheet_is_one_page_with_nothing_cut_off(
    demo_build: Build, owner: User, client_of: Callable[[User | None], Client], name: str
) -> None:
    from pypdf import PdfReader

    answer = client_of(owner).get(reverse("estimating:layout-pdf", args=[demo_build.pk, "hall", name]))
    reader = PdfReader(io.BytesIO(answer.content))
    assert len(reader.pages) == (2 if name == "cover" else 1)  # the cover's second page is for signing
    spots = [p for path in paths(reader.pages[0]) for p in path]
    assert spots
    assert all(9.9 <= x <= A3[0] - 9.9 and 9.9 <= y <= A3[1] - 9.9 for x, y in spots)
