"""What is turned away before any page is asked."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseNotFound


class PlainAddress:
    """No address of ours holds a NUL, and PostgreSQL refuses to look one up: it is an address nobody has."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "\0" in request.path_info:
            return HttpResponseNotFound("Not found", content_type="text/plain")
        return self.get_response(request)
