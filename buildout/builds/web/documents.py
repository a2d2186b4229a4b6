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
        try:
            import weasyprint
        except (ImportError, OSError):
            context = {**context, "no_pdf": True}
        else:
            return _pdf(weasyprint, render_to_string(template, {**context, "paper": True}, request), filename)
    return render(request, template, context)


def _pdf(weasyprint: Any, html: str, filename: str) -> HttpResponse:
    def refuse(url: str, *args: Any, **kwargs: Any) -> Any:
        raise ValueError(f"Documents load nothing from outside, not even {url}")

    sheet = weasyprint.CSS(filename=finders.find("css/document.css"), url_fetcher=refuse)
    data = weasyprint.HTML(string=html, url_fetcher=refuse).write_pdf(stylesheets=[sheet])
    return HttpResponse(
        data, content_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{filename}"'}
    )
