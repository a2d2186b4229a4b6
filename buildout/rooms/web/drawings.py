"""Drawings as pages, prints and CAD files show them."""

from __future__ import annotations

from django.core.cache import cache
from django.http import HttpResponse

from buildout.builds.web.models import Build
from buildout.builds.web.services import Sheet
from buildout.rooms.engine.drawing import Drawing, TitleBlock
from buildout.units.dates import date_text
from buildout.units.value import content_hash

SVG_VERSION = 4
"""Raise it when drawings are written otherwise, so that none is shown as it used to look."""
SHEET_WIDTH, SHEET_HEIGHT = 400.0, 272.0
"""A3 across, less its margins and a line over the drawing, mm: printed as it is, so that its scale holds."""
PATTERN_WIDTH, LONG_WIDTH = 87.0, 182.0
"""Of a cut diagram on A4 less its margins, mm: sheets stand two abreast, lengths and rolls one below the other."""


def title_block(build: Build, sheet: Sheet, name: str, number: str) -> TitleBlock:
    return TitleBlock(
        build=build.name, sheet=name, number=number, revision=str(sheet.revision.number),
        date=date_text(sheet.as_of),
    )  # fmt: skip


def svg_of(drawing: Drawing, prefix: str = "d", width: float = 297.0) -> str:
    """For the screen: ``width`` mm (which only decides how large lettering looks), as high as it needs to be.

    Finding room for the lettering takes most of a page's time, and the same drawing always comes out the same,
    so what was written once is kept under the drawing's own content.
    """
    from buildout.rooms.engine.svg import to_svg

    def write() -> str:
        return to_svg(drawing, width=width, id_prefix=prefix)

    return str(cache.get_or_set(content_hash("svg", SVG_VERSION, drawing, prefix, width), write, timeout=None))


def svg_on_paper(drawing: Drawing, prefix: str = "d") -> str:
    """On a whole sheet, for prints."""
    from buildout.rooms.engine.svg import to_svg

    return to_svg(drawing, width=SHEET_WIDTH, height=SHEET_HEIGHT, id_prefix=prefix)


def dxf_of(drawing: Drawing) -> bytes:
    from buildout.rooms.engine.dxf import to_dxf

    return to_dxf(drawing).encode()


def as_file(data: bytes, kind: str, name: str) -> HttpResponse:
    return HttpResponse(data, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})
