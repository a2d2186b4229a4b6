"""Propose, see, apply: the only way a plan changes."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from datetime import timedelta
from functools import partial
from typing import Any

from django.db import transaction
from django.utils import timezone
from django_tasks import task

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, LinkResult, Proposal, Revision
from buildout.changes.engine.build_file import Commitments, Plan
from buildout.changes.engine.chain import ChainResult, run_chain
from buildout.changes.engine.edits import carry_over
from buildout.changes.engine.impact import Impact, compare, totals
from buildout.changes.engine.reading import BuildFileProblems, check_plan
from buildout.people.web.models import User
from buildout.units.value import from_json, to_json
from estimating.web.cuts import made_cuts
from estimating.web.services import charges, placed_orders, write_change_orders
from scheduling.engine.types import Schedule
from scheduling.web.services import personal_address, signed_up, tell_by_mail, write_notices
from scheduling.web.sign_ups import fill_up

logger = logging.getLogger(__name__)

KEEP_UNUSED = timedelta(days=60)
"""How long a link's result is kept after a revision last took it up."""


class OvertakenError(Exception):
    """The build moved on since this proposal was made; ``current`` is the revision that overtook it."""

    def __init__(self, current: Revision) -> None:
        super().__init__(f"Revision {current.number} was applied meanwhile")
        self.current = current


class NotReadyError(Exception):
    """The proposal has not been worked out, or could not be."""


class _RejectedMeanwhileError(Exception):
    """Nobody waits for this result any more."""


class DatabaseStore:
    """Link results in the database. What a proposal computes is its own until it is applied."""

    def __init__(self, proposal: Proposal) -> None:
        self.proposal = proposal

    def get(self, key: str) -> bytes | None:
        found = LinkResult.objects.filter(pk=key).values_list("result", flat=True).first()
        return found.encode() if found is not None else None

    def put(self, key: str, link: str, result: bytes) -> None:
        LinkResult.objects.get_or_create(
            pk=key, defaults={"link": link, "result": result.decode(), "proposal": self.proposal}
        )


def commitments_of(build: Build, currency: str) -> Commitments:
    """Orders, sign-ups and cuts as they stand; ``currency``: what the plan counts in."""
    return Commitments(
        orders=placed_orders(build, currency), charges=charges(build), sign_ups=signed_up(build), cuts=made_cuts(build)
    )


class ChangesOffice:
    """What the floors below may ask of this one."""

    def check(self, document: Mapping[str, Any]) -> None:
        try:
            check_plan(dict(document))
        except BuildFileProblems as error:
            raise builds.DocumentProblems(
                [builds.Problem(p.pointer, p.message, p.example) for p in error.problems]
            ) from error

    def start(self, proposal: Proposal) -> None:
        from django_tasks_db import DatabaseBackend

        result = work_out.enqueue(proposal.pk)
        if isinstance(work_out.get_backend(), DatabaseBackend):
            Proposal.objects.filter(pk=proposal.pk).update(task_id=str(result.id))


@task()
def work_out(proposal_id: int) -> None:
    """Run the chain on a proposal. Whatever goes wrong is written where its author sees it."""
    proposal = Proposal.objects.select_related("build", "base").filter(pk=proposal_id).first()
    if proposal is None:
        return  # rejected before the worker came to it
    Proposal.objects.filter(pk=proposal_id).update(state=Proposal.State.RUNNING, picked_up=timezone.now())

    def on_step(number: int, name: str) -> None:
        if not Proposal.objects.filter(pk=proposal_id).update(step=number, step_name=name):
            raise _RejectedMeanwhileError

    try:
        compute(proposal, on_step=on_step)
    except _RejectedMeanwhileError:
        return
    except Exception as error:
        failed = Proposal.objects.filter(pk=proposal_id).update(
            state=Proposal.State.FAILED, finished=timezone.now(), problem=f"{type(error).__name__}: {error}"
        )
        if failed:  # rejected in the middle of a step, its results have nowhere to go: nothing to report
            logger.exception("Proposal %s could not be worked out", proposal_id)


def compute(proposal: Proposal, on_step: Any = lambda number, name: None) -> None:
    """Work a proposal out and keep result and impact with it; a build's first one is applied at once."""
    plan = check_plan(proposal.document)
    commitments = commitments_of(proposal.build, plan.currency)
    base = proposal.base
    before = from_json(ChainResult, base.result) if base is not None else None
    relied_on = _relied_on(base, before) if base is not None and before is not None else None
    result = run_chain(plan, commitments, store=DatabaseStore(proposal), before=relied_on, on_step=on_step)
    impact = ""
    if base is not None and before is not None:
        old_plan = check_plan(base.document)
        impact = to_json(
            compare(base.document, proposal.document, old_plan, plan, before, result, commitments, relied_on)
        ).decode()
    updated = Proposal.objects.filter(pk=proposal.pk).update(
        state=Proposal.State.READY,
        finished=timezone.now(),
        result=to_json(result).decode(),
        impact=impact,
    )
    if updated and base is None:
        proposal.refresh_from_db()
        apply(proposal, proposal.by, why="")


def _relied_on(base: Revision, result: ChainResult) -> Schedule:
    """The schedule people know: of this revision, or of the last one before it that had a plan."""
    if result.schedule.status != "infeasible":
        return result.schedule
    earlier = Revision.objects.filter(build=base.build_id, number__lt=base.number).order_by("-number")
    for revision in earlier.exclude(totals__opening=None)[:1]:
        return read_result(revision.result).schedule
    return result.schedule


def read_result(text: str) -> ChainResult:
    return from_json(ChainResult, text)


def read_impact(proposal: Proposal) -> Impact:
    return from_json(Impact, proposal.impact)


@transaction.atomic
def apply(proposal: Proposal, user: User | None, why: str) -> Revision:
    """Write the next revision, the journal, change orders and notices, all or nothing.

    Raises ``OvertakenError`` when another revision was applied since, ``NotReadyError`` when there is nothing
    to apply.
    """
    build = Build.objects.select_for_update().get(pk=proposal.build_id)
    proposal = Proposal.objects.select_related("base").filter(pk=proposal.pk, build=build).first() or _gone()
    if proposal.state != Proposal.State.READY:
        raise NotReadyError("This proposal has not been worked out")
    if build.current_id != proposal.base_id:
        raise OvertakenError(Revision.objects.get(pk=build.current_id or 0))
    result = read_result(proposal.result)
    plan = check_plan(proposal.document)
    base = proposal.base
    # Orders and people as they stand now, not as they stood when the impact was worked out.
    commitments = commitments_of(build, plan.currency)
    revision = Revision.objects.create(
        build=build,
        number=base.number + 1 if base else 1,
        document=proposal.document,
        result=proposal.result,
        totals=totals(result),
        summary=proposal.summary,
        by=user,
    )
    build.current = revision
    build.name = plan.name
    build.save(update_fields=["current", "name"])
    if base is not None:
        _follow_up(build, base, revision, result, plan, commitments)
    builds.note(
        build,
        "revision",
        proposal.summary,
        by=user,
        why=why,
        revision=revision,
        before=base.totals if base else {},
        after=revision.totals,
    )
    proposal.link_results.update(proposal=None)
    forget(proposal)
    LinkResult.objects.filter(pk__in=result.keys.values()).update(used=timezone.now())
    LinkResult.objects.filter(proposal=None, used__lt=timezone.now() - KEEP_UNUSED).delete()
    return revision


def _gone() -> Proposal:
    raise NotReadyError("This proposal is no longer there: it was applied or rejected")


def _follow_up(
    build: Build, base: Revision, revision: Revision, result: ChainResult, plan: Plan, commitments: Commitments
) -> None:
    before = read_result(base.result)
    impact = compare(
        base.document, revision.document, check_plan(base.document), plan, before, result, commitments,
        _relied_on(base, before),
    )  # fmt: skip
    names = {line.item: line.name for line in result.take_off.lines}
    write_change_orders(build, impact.orders, names, f"Revision {revision.number}: {revision.summary}", revision)
    fill_up(build)
    for notice in write_notices(build, impact.sign_ups):
        transaction.on_commit(partial(tell_by_mail, notice, build.name, personal_address(notice.sign_up)))


@transaction.atomic
def forget(proposal: Proposal) -> None:
    """Remove a proposal and everything that was kept for it alone.

    A task the worker is at stays until the worker has put it down: it writes its outcome into that row, and
    ``forget_task`` removes the row right after.
    """
    if proposal.task_id:
        from django_tasks import TaskResultStatus
        from django_tasks_db.models import DBTaskResult

        DBTaskResult.objects.filter(pk=proposal.task_id).exclude(status=TaskResultStatus.RUNNING).delete()
    proposal.delete()


def forget_task(task_id: str) -> None:
    """Remove a finished task's row: what it found is kept with the proposal."""
    from django_tasks_db.models import DBTaskResult

    DBTaskResult.objects.filter(pk=task_id).delete()


reject = forget


def propose_again(proposal: Proposal, user: User) -> Proposal:
    """Carry an overtaken proposal's edits over to the current revision and have them worked out anew.

    Raises ``ConflictError`` naming what both changed, ``DocumentProblems`` when the two do not fit together.
    """
    build = Build.objects.select_related("current").get(pk=proposal.build_id)
    if proposal.base is None or build.current is None:
        raise NotReadyError("There is no earlier revision to carry over from")
    document = carry_over(proposal.base.document, proposal.document, build.current.document)
    anew = builds.propose(build, user, document, proposal.summary)
    forget(proposal)
    return anew
