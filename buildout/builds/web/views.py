from __future__ import annotations

from typing import cast

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET

from buildout.builds.web.models import Member
from buildout.people.web.models import User, any_account


@require_GET
def list_builds(request: HttpRequest) -> HttpResponse:
    """Where everybody with an account starts; an empty installation leads to the first account."""
    if not request.user.is_authenticated and not any_account():
        return redirect("people:first-account")
    return _list_builds(request)


@login_required
def _list_builds(request: HttpRequest) -> HttpResponse:
    parts = (
        Member.objects.filter(user=cast(User, request.user))
        .select_related("build", "build__current")
        .defer("build__current__document", "build__current__result")
        .order_by("build__name", "build_id")
    )
    return render(request, "builds/list.html", {"parts": parts})
