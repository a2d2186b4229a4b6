"""The web server and the background worker as one command: both start together and end together."""

from __future__ import annotations

import errno
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from types import FrameType

from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import DatabaseError, OperationalError, connection
from django.db.migrations.exceptions import MigrationSchemaMissing

Say = Callable[[str], object]

PATIENCE = 20
"""Seconds a child may take to finish what it is doing before it is ended."""
DAY = 24 * 60 * 60
QUICK = 10
"""A worker that ends sooner than this many seconds after its start did not fail at a task."""


def one_line(error: BaseException) -> str:
    return " ".join(str(error).split()) or type(error).__name__


def prepare_database() -> None:
    """Bring the database up to date. Raises ``CommandError`` saying what is wrong and what to do."""
    data = Path(settings.DATA)
    try:
        data.mkdir(parents=True, exist_ok=True)
        Path(settings.STATIC_ROOT).mkdir(exist_ok=True)
        probe = data / ".write-test"
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise CommandError(
            f"The data folder {data} cannot be written ({error.strerror}): set BUILDOUT_DATA to a folder you may "
            "write to, for example BUILDOUT_DATA=~/buildout-data."
        ) from error
    try:
        connection.ensure_connection()
    except DatabaseError as error:
        raise CommandError(
            f"The database cannot be opened ({one_line(error)}): check BUILDOUT_DATABASE_URL, or take it away to use "
            "SQLite in the data folder."
        ) from error
    try:
        call_command("migrate", interactive=False, verbosity=0)
    except (DatabaseError, MigrationSchemaMissing, ValueError) as error:
        raise CommandError(
            f"The database could not be brought up to date ({one_line(error)}): it may come from another version. "
            "Keep a copy, then restore a backup with manage.py restore, or set BUILDOUT_DATA to a new folder."
        ) from error


def documents_note() -> str:
    """What to know when the library that sets PDF pages is missing; empty when it is there."""
    from ctypes.util import find_library

    if find_library("pango-1.0") and find_library("pangoft2-1.0"):
        return ""
    return (
        "Pango is not installed: documents come as print-ready HTML instead of PDF. "
        "On Debian: apt-get install libpango-1.0-0 libpangoft2-1.0-0."
    )


def refuse_taken_port(host: str, port: int, command: str) -> None:
    """Raise ``CommandError`` unless the address can be listened on."""
    if not 1 <= port <= 65535:
        raise CommandError(f"{port} is not a port: give a number from 1 to 65535, for example 8001.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                raise CommandError(
                    f"Port {port} on {host} is taken: stop what runs there, or choose another with "
                    f"python manage.py {command} --port {port + 1 if port < 65535 else 8001}."
                ) from error
            raise CommandError(
                f"{host}:{port} cannot be listened on ({error.strerror}): choose another port, for example "
                f"python manage.py {command} --port 8001."
            ) from error


def address(host: str, port: int) -> str:
    """Where visitors find the site: the public address when one is set."""
    if settings.PUBLIC_URL:
        return str(settings.PUBLIC_URL)
    shown = "127.0.0.1" if host in ("0.0.0.0", "::") else host  # noqa: S104 - compared, not listened on
    return f"http://[{shown}]:{port}" if ":" in shown else f"http://{shown}:{port}"


def _web_command(host: str, port: int, processes: int) -> list[str]:
    bind = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    if find_spec("fcntl") is None:  # no Gunicorn where the system has no fork
        return [sys.executable, str(settings.BASE_DIR / "manage.py"), "runserver", bind, "--noreload"]
    return [
        sys.executable, "-m", "gunicorn", "buildout.wsgi:application", "--bind", bind, "--workers", str(processes),
        "--threads", "8", "--timeout", "120", "--graceful-timeout", "10", "--no-control-socket",
        "--log-level", "warning", "--chdir", str(settings.BASE_DIR),
    ]  # fmt: skip


def _worker_command() -> list[str]:
    manage = str(settings.BASE_DIR / "manage.py")
    return [sys.executable, manage, "db_worker", "--interval", "0.5", "--no-startup-delay", "--no-reload", "-v", "0"]


def has_worker() -> bool:
    """Whether work is left to a process of its own (BUILDOUT_TASKS)."""
    return str(settings.TASKS["default"]["BACKEND"]).endswith("DatabaseBackend")


def manner() -> str:
    return "with a background worker. Ctrl-C ends both." if has_worker() else "without a worker. Ctrl-C ends it."


def _start(command: list[str]) -> subprocess.Popen[bytes]:
    # A session of its own: Ctrl-C reaches this command alone, which then ends both children in order.
    return subprocess.Popen(command, start_new_session=True, env=os.environ | {"PYTHONUNBUFFERED": "1"})  # noqa: S603


class _Stopped(Exception):
    pass


def _stop(signum: int, frame: FrameType | None) -> None:
    raise _Stopped


def _await_port(host: str, port: int, web: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until:
        if web.poll() is not None:
            raise CommandError("The web server ended at once; the lines above say why.")
        try:
            with socket.create_connection((host, port), timeout=1):
                return
        except OSError:
            time.sleep(0.1)
    raise CommandError("The web server did not answer within a minute; the lines above may say why.")


def _end(children: dict[str, subprocess.Popen[bytes]], say: Say) -> None:
    for child in children.values():
        if child.poll() is None:
            child.terminate()
    until = time.monotonic() + PATIENCE
    for name, child in children.items():
        try:
            child.wait(timeout=0.5)
            continue
        except subprocess.TimeoutExpired:
            say(f"Waiting for the {name} to finish what it is doing. Ctrl-C again ends it at once.")
        try:
            child.wait(timeout=max(0.1, until - time.monotonic()))
        except (subprocess.TimeoutExpired, _Stopped):
            child.kill()
            child.wait()


def pick_up_what_was_left() -> int:
    """Hand proposals that an ended worker left half-way, or nobody took, to the queue again; how many."""
    from buildout.builds.web.models import Proposal
    from buildout.builds.web.services import office

    left = Proposal.objects.filter(state=Proposal.State.RUNNING)
    if connection.vendor != "sqlite":
        # Another machine's worker may be at it; only what has been under way for long is certainly left.
        from datetime import timedelta

        from django.utils import timezone

        left = left.filter(picked_up__lt=timezone.now() - timedelta(minutes=30))
    count = 0
    for proposal in left:
        Proposal.objects.filter(pk=proposal.pk).update(state=Proposal.State.WAITING, picked_up=None)
        office().start(proposal)
        count += 1
    return count


def forget_helpers(say: Say) -> None:
    """Take out what helpers wrote about themselves where its time is over. A busy database is left for tomorrow."""
    from scheduling.web.keeping import forget_everywhere

    try:
        count = forget_everywhere()
    except OperationalError:
        return
    if count:
        say(f"Names and contacts of {count} helper{'s' if count > 1 else ''} taken out: their time is over.")


def pass_on_places(say: Say) -> None:
    """Give places nobody's guardian signed for to those who wait. A busy database is left for tomorrow."""
    from scheduling.web.sign_ups import pass_on_places

    try:
        count = pass_on_places()
    except OperationalError:
        return
    if count:
        say(f"{count} moved up from a waiting list to places no guardian had signed for in time.")


def serve(host: str, port: int, *, processes: int, say: Say, started: Callable[[], None]) -> None:
    """Run the web server and the worker until Ctrl-C or SIGTERM; ``started`` is called once both are up."""
    before = {number: signal.signal(number, _stop) for number in (signal.SIGINT, signal.SIGTERM)}
    children: dict[str, subprocess.Popen[bytes]] = {}
    try:
        again = pick_up_what_was_left()
        if again:
            say(f"{again} run{'s' if again > 1 else ''} that had been interrupted will be worked out again.")
        connection.close()
        children["web server"] = _start(_web_command(host, port, processes))
        if has_worker():
            children["worker"] = _start(_worker_command())
        started_worker, quick_ends = time.monotonic(), 0
        _await_port("127.0.0.1" if host == "0.0.0.0" else host, port, children["web server"])  # noqa: S104
        started()
        next_tidy = time.monotonic()
        while True:
            time.sleep(0.5)
            if time.monotonic() >= next_tidy:
                next_tidy += DAY
                forget_helpers(say)
                pass_on_places(say)
                connection.close()
            if children["web server"].poll() is not None:
                raise CommandError("The web server ended by itself; the lines above say why.")
            if has_worker() and children["worker"].poll() is not None:
                quick_ends = quick_ends + 1 if time.monotonic() - started_worker < QUICK else 0
                if quick_ends > 3:
                    raise CommandError("The worker ends each time it is started; the lines above say why.")
                say("The worker ended by itself and is started again.")
                pick_up_what_was_left()
                connection.close()
                time.sleep(1)
                children["worker"], started_worker = _start(_worker_command()), time.monotonic()
    except _Stopped:
        say("\nStopping.")
    finally:
        try:
            _end(children, say)
        except _Stopped:
            for child in children.values():
                if child.poll() is None:
                    child.kill()
                    child.wait()
        for number, handler in before.items():
            signal.signal(number, handler)
