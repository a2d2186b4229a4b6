"""What the tests of the sheets share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from buildout.builds.web.models import Build, Proposal
from tests.kept import pango

__all__ = ["pango", "proposed", "queued"]


@pytest.fixture
def queued(settings: Any) -> None:
    """Proposals wait for the worker, as they do in a real installation; nothing is worked out."""
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}


@pytest.fixture
def proposed() -> Callable[[Build], dict[str, Any]]:
    """The plan that was just proposed for a build."""

    def document(build: Build) -> dict[str, Any]:
        found: dict[str, Any] = Proposal.objects.get(build=build).document
        return found

    return document
