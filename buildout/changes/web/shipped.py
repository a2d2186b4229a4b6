"""Systems that ship with the program, taken into a build that exists already."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import person
from buildout.builds.web.models import Role
from buildout.changes.engine.starters import SHIPPED, shipped_systems, with_shipped_system


@login_required
@require_GET
def shipped(request: HttpRequest, build_id: int) -> HttpResponse:
    """Every shipped system, those the build has already marked."""
    build, member = builds.build_for(person(request), build_id, Role.OWNER)
    sheet = builds.sheet_of(build)
    have = {one["id"] for section in SHIPPED for one in sheet.document.get(section, [])}
    sections = [
        (section, SHIPPED[section], [(key, name, key in have) for key, name in found])
        for section, found in shipped_systems(sheet.units).items()
    ]
    context = {"build": build, "member": member, "sheet": sheet, "sheet_no": "3", "sections": sections}
    return render(request, "changes/shipped.html", context)


@login_required
@require_POST
def take_in(request: HttpRequest, build_id: int, section: str, system: str) -> HttpResponse:
    """Propose that the build gets a shipped system with the products it needs."""
    build, _ = builds.build_for(person(request), build_id, Role.OWNER)
    units = builds.sheet_of(build).units
    try:
        document, made, added = with_shipped_system(builds.editable(build), units, section, system)
    except KeyError as missing:
        raise Http404(f"No system {system} ships with the program") from missing
    name = next(one["name"] for one in document[section] if one["id"] == made)
    goods = f" with {added} product{'' if added == 1 else 's'}" if added else ""
    return redirect(builds.propose(build, person(request), document, f"Taken in{goods}: {name}"))
