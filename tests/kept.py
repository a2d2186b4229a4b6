"""Stored builds for any test: worked out once for the whole run, then put into the database in a moment.

``TESTS_REQUIRE`` names parts of the machine (``browser``, ``pango``) whose absence is then a
failure; without it such tests are skipped and say why.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from django.core.management import call_command
from pytest_django.plugin import DjangoDbBlocker

from buildout.builds.web.models import Build, Member, Role
from buildout.people.web.models import User

PLAIN_ROOM = Path(__file__).parent / "data" / "plain_room.json"


def missing(part: str, reason: str) -> None:
    """Skip the test for want of a part of the machine, or fail where the run insists on it."""
    if part in os.environ.get("TESTS_REQUIRE", "").split(","):
        pytest.fail(f"{reason}, and this run requires {part}", pytrace=False)
    pytest.skip(reason)


def _kept(
    name: str, make: Callable[[], object], tmp_path_factory: pytest.TempPathFactory, blocker: DjangoDbBlocker
) -> Path:
    """A backup of the database as ``make`` leaves it, made by whichever process of the run comes first."""
    from buildout.changes.web import archive

    shared = tmp_path_factory.getbasetemp()
    if os.environ.get("PYTEST_XDIST_WORKER"):
        shared = shared.parent
    path = shared / f"{name}.zip"
    with (shared / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            with blocker.unblock():
                call_command("flush", interactive=False, verbosity=0)
                make()
                archive.backup(path)
                call_command("flush", interactive=False, verbosity=0)
    return path


@pytest.fixture(scope="session")
def demo_backup(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    def make() -> None:
        from buildout.changes.web.demo import load_demo

        load_demo(lambda text: None)

    return _kept("demo", make, tmp_path_factory, django_db_blocker)


@pytest.fixture(scope="session")
def plain_backup(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    def make() -> None:
        from buildout.changes.web.transfer import import_build

        owner = User.objects.create_user("owner@example.org", "Mara Lintwhistle")
        report = import_build(PLAIN_ROOM.read_bytes(), owner=owner)
        for email, name, role in (
            ("second@example.org", "Tobin Ashgrove", Role.OWNER),
            ("partner@example.org", "Petra Millrace", Role.PARTNER),
            ("lead@example.org", "Lennox Fernbrake", Role.LEAD),
        ):
            Member.objects.create(build_id=report.build, user=User.objects.create_user(email, name), role=role)

    return _kept("plain", make, tmp_path_factory, django_db_blocker)


@pytest.fixture
def pango() -> None:
    """For tests that read a PDF: the library that sets the pages."""
    from buildout.changes.web.serving import documents_note

    if documents_note():
        missing("pango", "Pango is not installed")


@pytest.fixture
def demo(db: None, demo_backup: Path) -> Build:
    """The demo build as ``manage.py demo`` loads it: two revisions, orders, sign-ups, owner, partner, crew lead."""
    from buildout.changes.web import archive

    archive.restore(demo_backup, replace=True)
    return Build.objects.select_related("current").get()


@pytest.fixture
def plain(db: None, plain_backup: Path) -> Build:
    """A plain room's build with one revision, two owners, a partner and a crew lead; quick to work out again."""
    from buildout.changes.web import archive

    archive.restore(plain_backup, replace=True)
    return Build.objects.select_related("current").get()
