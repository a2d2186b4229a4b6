"""Pages that go to paper: a PDF where the libraries for it can be loaded, else the same page ready to print."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string


def pdf_or_page(request: HttpRequest, template: str, context: Mapping[str, Any], filename: str) -> HttpResponse:
    """A template as PDF. When the PDF library or its Pango cannot be loaded, the page itself, saying so.

    ``?print`` in the address asks for the page.
    """
    if "print" not in request.GET:
        data = pdf(template, context)
        if data is not None:
            return pdf_response(data, filename)
        context = {**context, "no_pdf": True}
    return render(request, template, context)


def pdf(template: str, context: Mapping[str, Any]) -> bytes | None:
    """A template as PDF; None where the PDF library or its Pango cannot be loaded."""
    try:
        import weasyprint
    except (ImportError, OSError):
        return None

    def refuse(url: str, *args: Any, **kwargs: Any) -> Any:
        raise ValueError(f"Documents load nothing from outside, not even {url}")

    sheet = weasyprint.CSS(filename=finders.find("css/document.css"), url_fetcher=refuse)
    html = render_to_string(template, {**context, "paper": True})
    data: bytes = weasyprint.HTML(string=html, url_fetcher=refuse).write_pdf(stylesheets=[sheet])
    return data


def pdf_response(data: bytes, filename: str) -> HttpResponse:
    return HttpResponse(
        data, content_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{filename}"'}
    )
