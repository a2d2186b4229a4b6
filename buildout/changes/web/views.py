"""Overview of a build, its proposals, journal and revisions."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildout.builds.web import services as builds
from buildout.builds.web.editing import whole
from buildout.builds.web.models import Build, Member, Proposal, Revision, Role
from buildout.changes.engine.chain import STEPS
from buildout.changes.engine.edits import ConflictError
from buildout.changes.engine.impact import Impact
from buildout.changes.web import overview as overview_page
from buildout.changes.web.forms import NewBuildForm
from buildout.changes.web.told_edits import ToldEdit, told_edits
from buildout.people.web.models import User
from buildout.units.dates import date_text
from buildout.units.value import from_json
from scheduling.web.editing import carry_out, said
from scheduling.web.models import SignUp

WORKER_PATIENCE = 8
"""Seconds after which a page says that no worker has picked the work up."""


LONGEST_RUN = 600
"""Seconds after which a page says that the worker may have been stopped in the middle."""


def _user(request: HttpRequest) -> User:
    assert isinstance(request.user, User)  # noqa: S101 - login_required stands before every caller
    return request.user


class _GoneError(Http404):
    def __init__(self, build: Build) -> None:
        super().__init__("This proposal is no longer there: it was applied or rejected")
        self.build = build


def _proposal(request: HttpRequest, build_id: int, proposal_id: int) -> tuple[Build, Member, Proposal]:
    build, member = builds.build_for(_user(request), build_id, Role.OWNER)
    found = Proposal.objects.select_related("base", "by").filter(pk=proposal_id, build=build).first()
    if found is None:
        raise _GoneError(build)
    return build, member, found


def _after(request: HttpRequest, gone: _GoneError) -> HttpResponse:
    """Where to go when a proposal is no longer there; a build's first one is applied as soon as it is worked out."""
    if gone.build.current is None or gone.build.current.number > 1:
        messages.info(request, f"{gone}.")
    return redirect(gone.build)


# ------------------------------------------------------------------ a build


@login_required
@require_GET
def overview(request: HttpRequest, build_id: int) -> HttpResponse:
    build, member = builds.build_for(_user(request), build_id)
    if build.current is None:
        first = build.proposals.order_by("pk").first()
        if first is not None and member.role == Role.OWNER:
            return redirect(first)
        return render(request, "changes/no_numbers.html", {"build": build})
    context = overview_page.context(build, member)
    return render(request, "changes/overview.html", context)


@login_required
@require_http_methods(["GET", "POST"])
def new_build(request: HttpRequest) -> HttpResponse:
    """The guided start: name, units, money, time zone, first room from a tape, a layer system."""
    form = NewBuildForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            proposal = form.start(_user(request))
        except builds.DocumentProblems as error:
            form.show(error.problems)
        else:
            return redirect(proposal)
    status = 422 if form.is_bound else 200
    return render(request, "changes/new_build.html", {"form": form}, status=status)


# ------------------------------------------------------------------ a proposal


def _running_context(proposal: Proposal) -> dict[str, Any]:
    waiting = proposal.state == Proposal.State.WAITING
    waited = (timezone.now() - proposal.created).total_seconds()
    done = proposal.state in (Proposal.State.READY, Proposal.State.FAILED)
    steps = [
        {"name": name, "state": "done" if number < proposal.step else "now" if number == proposal.step else ""}
        for number, name in enumerate(STEPS)
    ]
    return {
        "proposal": proposal,
        "steps": steps,
        "total": len(STEPS),
        "no_worker": waiting and waited > WORKER_PATIENCE,
        "waited": int(waited),
        "stuck": proposal.state == Proposal.State.RUNNING
        and proposal.picked_up is not None
        and (timezone.now() - proposal.picked_up).total_seconds() > LONGEST_RUN,
        "running": not done,
    }


@login_required
@never_cache
@require_GET
def proposal(request: HttpRequest, build_id: int, proposal_id: int) -> HttpResponse:
    try:
        build, member, found = _proposal(request, build_id, proposal_id)
    except _GoneError as gone:
        return _after(request, gone)
    context: dict[str, Any] = {"build": build, "member": member, "proposal": found}
    if build.current is not None:
        context["sheet"] = builds.Sheet(build.current)
    if found.state != Proposal.State.READY:
        return render(request, "changes/running.html", context | _running_context(found))
    if found.base_id != build.current_id:
        return render(request, "changes/overtaken.html", context | _overtaken_context(build, found), status=409)
    impact = from_json(Impact, found.impact)
    touched = SignUp.objects.filter(build=build, ref__in=[move.sign_up for move in impact.sign_ups])
    people = {row.ref: row for row in touched}
    context |= {
        "impact": impact,
        "edits": _told(build, found.base, found.document),
        "people": people,
        "shifts": [(move, people.get(move.sign_up)) for move in impact.sign_ups],
        "moved": [task for task in impact.tasks if task.before != task.after],
    }
    return render(request, "changes/impact.html", context)


@login_required
@require_POST
def way_out(request: HttpRequest, build_id: int, proposal_id: int, number: int) -> HttpResponse:
    """Propose an impossible change together with one of the ways out of it."""
    try:
        build, _, found = _proposal(request, build_id, proposal_id)
    except _GoneError as gone:
        return _after(request, gone)
    ways = from_json(Impact, found.impact).ways_out if found.state == Proposal.State.READY and found.impact else []
    if number >= len(ways) or not ways[number].edits or found.base_id != build.current_id:
        messages.error(request, "That way out is not on the list any more.")
        return redirect(found)
    document = carry_out(deepcopy(found.document), ways[number].edits)
    try:
        return redirect(builds.propose(build, _user(request), document, f"{found.summary}. {ways[number].text}"))
    except builds.DocumentProblems as error:
        for problem in error.problems:
            messages.error(request, said(problem))
        return redirect(found)


@login_required
@never_cache
@require_GET
def progress(request: HttpRequest, build_id: int, proposal_id: int) -> HttpResponse:
    """The fragment a running proposal's page asks for; it sends the page on once there is an answer."""
    try:
        _, _, found = _proposal(request, build_id, proposal_id)
    except _GoneError as gone:
        response = HttpResponse()
        response["HX-Redirect"] = gone.build.get_absolute_url()
        return response
    context = _running_context(found)
    response = render(request, "changes/progress.html", context)
    if not context["running"]:
        response["HX-Redirect"] = found.get_absolute_url()
    return response


def _told(build: Build, before: Revision | None, after: dict[str, Any]) -> list[ToldEdit]:
    """What was edited, in words; those who signed up by their first names, where a task is given to one."""
    was = before.document if before else {}
    named = any(document.get("tasks", {}).get("people") for document in (was, after))
    rows = SignUp.objects.filter(build=build, removed=None) if named else ()
    return told_edits(was, after, {row.ref: row.first_name for row in rows})


def _overtaken_context(build: Build, found: Proposal) -> dict[str, Any]:
    assert build.current is not None  # noqa: S101 - an overtaken proposal has an overtaker
    underneath = _told(build, found.base, build.current.document)
    mine = _told(build, found.base, found.document)
    return {"current": build.current, "underneath": underneath, "mine": mine}


@login_required
@require_POST
def apply(request: HttpRequest, build_id: int, proposal_id: int) -> HttpResponse:
    from buildout.changes.web import services

    build, _, found = _proposal(request, build_id, proposal_id)
    try:
        revision = services.apply(found, _user(request), request.POST.get("why", "").strip()[:2000])
    except services.OvertakenError:
        return redirect(found)
    except services.NotReadyError as error:
        messages.error(request, f"{error}.")
        return redirect(found if Proposal.objects.filter(pk=found.pk).exists() else build)
    messages.success(request, f"Applied as revision {revision.number}. Every sheet now shows it.")
    return redirect(build)


@login_required
@require_POST
def reject(request: HttpRequest, build_id: int, proposal_id: int) -> HttpResponse:
    from buildout.changes.web import services

    build, _, found = _proposal(request, build_id, proposal_id)
    services.reject(found)
    messages.success(request, "Rejected. Nothing was changed.")
    return redirect(build if build.current_id else "builds:list")


@login_required
@require_POST
def again(request: HttpRequest, build_id: int, proposal_id: int) -> HttpResponse:
    """Carry an overtaken edit over to the current revision."""
    from buildout.changes.web import services

    build, member, found = _proposal(request, build_id, proposal_id)
    try:
        anew = services.propose_again(found, _user(request))
    except ConflictError as conflict:
        context = {"build": build, "member": member, "proposal": found, "conflicts": conflict.labels}
        if build.current is not None:
            context["sheet"] = builds.Sheet(build.current)
        return render(request, "changes/overtaken.html", context | _overtaken_context(build, found), status=409)
    except builds.DocumentProblems as error:
        for problem in error.problems:
            messages.error(request, f"{problem.pointer}: {problem.message}")
        return redirect(found)
    except services.NotReadyError as error:
        messages.error(request, f"{error}.")
        return redirect(found)
    return redirect(anew)


@login_required
@require_POST
def to_today(request: HttpRequest, build_id: int) -> HttpResponse:
    """Propose the same plan worked out for today."""
    build = builds.owner_build(_user(request), build_id)
    sheet = builds.sheet_of(build)
    document = builds.editable(build)
    today = sheet.today()
    document["as_of"] = today.isoformat()
    return redirect(builds.propose(build, _user(request), document, f"Bring the plan to {date_text(today)}"))


# ------------------------------------------------------------------ journal and revisions


@login_required
@require_GET
def journal(request: HttpRequest, build_id: int) -> HttpResponse:
    build, member = builds.build_for(_user(request), build_id, Role.OWNER, Role.PARTNER)
    sheet = builds.sheet_of(build)
    entries = build.journal.select_related("revision").defer("revision__document", "revision__result")[:200]
    revisions = build.revisions.defer("document", "result").select_related("by").order_by("-number")
    context = {"build": build, "member": member, "sheet": sheet, "sheet_no": "10", "entries": entries}
    return render(request, "changes/journal.html", context | {"revisions": revisions})


@login_required
@require_GET
def revision(request: HttpRequest, build_id: int, number: int) -> HttpResponse:
    """One revision as it was: its figures, drawing, warnings and what it changed."""
    build, member = builds.build_for(_user(request), build_id, Role.OWNER, Role.PARTNER)
    found = get_object_or_404(Revision.objects.select_related("by"), build=build, number=number)
    before = build.revisions.filter(number=number - 1).first()
    context = overview_page.revision_context(build, member, found)
    context |= {
        "sheet_no": "10",
        "revision": found,
        "earlier": before,
        "edits": _told(build, before, found.document) if before else [],
    }
    return render(request, "changes/revision.html", context)


@login_required
@require_GET
def compare_revisions(request: HttpRequest, build_id: int) -> HttpResponse:
    """Any two revisions side by side: figures and edits."""
    build, member = builds.build_for(_user(request), build_id, Role.OWNER, Role.PARTNER)
    sheet = builds.sheet_of(build)

    def wanted(name: str) -> Revision:
        number = whole(request.GET.get(name, ""))
        if not number:
            raise Http404(f"{name} must be a revision number, such as 2")
        return get_object_or_404(build.revisions, number=number)

    one, other = wanted("from"), wanted("to")
    rows = overview_page.compared(one, other)
    context = {"build": build, "member": member, "sheet": sheet, "sheet_no": "10", "one": one, "other": other}
    context |= {"rows": rows, "edits": _told(build, one, other.document)}
    return render(request, "changes/compare.html", context)
