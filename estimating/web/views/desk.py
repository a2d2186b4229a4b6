"""What every sheet of this floor starts from."""

from __future__ import annotations

from typing import Any, NamedTuple

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from buildout.builds.web import services as builds
from buildout.builds.web.editing import person
from buildout.builds.web.models import Build, Member, Role
from buildout.people.web.models import User


class Desk(NamedTuple):
    """One person at one build's current revision."""

    user: User
    build: Build
    member: Member
    sheet: builds.Sheet

    def page(self, no: str, **more: Any) -> dict[str, Any]:
        return {"build": self.build, "member": self.member, "sheet": self.sheet, "sheet_no": no, **more}


def sit_down(request: HttpRequest, build_id: int, *roles: str) -> Desk:
    """The desk of a member in one of ``roles`` (the owner unless said), or Http404."""
    build, member = builds.build_for(person(request), build_id, *(roles or (Role.OWNER,)))
    return Desk(person(request), build, member, builds.sheet_of(build))


def take_out(request: HttpRequest, desk: Desk, document: dict[str, Any], summary: str) -> HttpResponse:
    """Propose a plan something was taken out of, or say what still leans on it."""
    try:
        return redirect(builds.propose(desk.build, desk.user, document, summary))
    except builds.DocumentProblems as error:
        back = reverse("estimating:quotes", args=[desk.build.pk])
        context = desk.page("5", summary=summary, problems=error.problems, back=back)
        return render(request, "estimating/refused.html", context, status=422)
