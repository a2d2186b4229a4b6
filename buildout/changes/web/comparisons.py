"""Systems of one room beside each other: asked for, worked out by the worker, kept while their revision stands."""

from __future__ import annotations

import logging

from django.db import transaction
from django.utils import timezone
from django_tasks import task

from buildout.builds.web.models import Build, LinkResult
from buildout.builds.web.services import sheet_of
from buildout.changes.engine.chain import LINK_VERSIONS, STEPS, ChainResult, MemoryStore
from buildout.changes.engine.options import Comparison, check_choice, compare_systems
from buildout.changes.engine.reading import check_plan
from buildout.changes.web.models import SystemComparison
from buildout.changes.web.services import commitments_of
from buildout.people.web.models import User
from buildout.units.value import content_hash, from_json, to_json

logger = logging.getLogger(__name__)

COMPARISON_VERSION = 1
"""Raise it when a comparison shows other figures for the same results of the chain."""


class _GoneError(Exception):
    """Thrown away meanwhile."""


class _ReadingStore(MemoryStore):
    """What was worked out for the build already is read; what options add is kept for this run alone."""

    def get(self, key: str) -> bytes | None:
        found = super().get(key)
        if found is None:
            text = LinkResult.objects.filter(pk=key).values_list("result", flat=True).first()
            found = text.encode() if text is not None else None
            if found is not None:
                self.kept[key] = found
        return found


def ask(build: Build, user: User, room: str, systems: list[str]) -> SystemComparison:
    """The comparison of these systems at the current revision, started unless it is there already.

    Raises ValueError with a text for the owner when the choice cannot be compared.
    """
    sheet = sheet_of(build)
    plan = check_plan(sheet.document)
    check_choice(plan, room, systems)
    key = content_hash(
        "comparison", COMPARISON_VERSION, sorted(LINK_VERSIONS.items()), plan, commitments_of(build, plan.currency),
        room, systems,
    )  # fmt: skip
    with transaction.atomic():
        build.comparisons.exclude(base=sheet.revision).delete()
        build.comparisons.filter(key=key, state=SystemComparison.State.FAILED).delete()
        found, new = SystemComparison.objects.get_or_create(
            build=build, key=key, defaults={"base": sheet.revision, "room": room, "systems": systems, "by": user}
        )
    if new:
        work_out_comparison.enqueue(found.pk)
    return found


@task()
def work_out_comparison(comparison_id: int) -> None:
    """Run the chain for every option. Whatever goes wrong is written where its owner sees it."""
    found = SystemComparison.objects.select_related("build", "base").filter(pk=comparison_id).first()
    if found is None:
        return
    rows = SystemComparison.objects.filter(pk=comparison_id)
    rows.update(state=SystemComparison.State.RUNNING)

    def on_step(option: int, number: int, name: str) -> None:
        told = f"option {option + 1} of {len(found.systems)}, {name}"
        if not rows.update(step=option * len(STEPS) + number, step_name=told):
            raise _GoneError

    try:
        before = from_json(ChainResult, found.base.result).schedule
        plan = check_plan(found.base.document)
        made = compare_systems(
            plan, commitments_of(found.build, plan.currency), found.room, found.systems,
            store=_ReadingStore(), before=before, on_step=on_step,
        )  # fmt: skip
    except _GoneError:
        return
    except Exception as error:
        problem = f"{type(error).__name__}: {error}"
        if rows.update(state=SystemComparison.State.FAILED, finished=timezone.now(), problem=problem):
            logger.exception("Comparison %s could not be worked out", comparison_id)
        return
    rows.update(
        state=SystemComparison.State.READY, finished=timezone.now(), result=to_json(made).decode(),
        step=len(found.systems) * len(STEPS),
    )  # fmt: skip


def read(comparison: SystemComparison) -> Comparison:
    return from_json(Comparison, comparison.result)
