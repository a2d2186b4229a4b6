"""The performance table: every row a ratio to something measured in the same run, so machines can be compared.

Goals stand beside the rows. They are our own; a ratio says how much the program adds to what cannot be
avoided (the solvers' own time, a bare page, a bare start).
"""

from __future__ import annotations

import copy
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from typing import Any

import msgspec
from django.conf import settings
from django.contrib.auth.decorators import login_required
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.test import Client
from django.test.utils import override_settings
from django.urls import include, path, reverse

from buildout.changes.engine.build_file import BuildFile, Plan
from buildout.changes.engine.chain import ChainResult, MemoryStore, run_chain
from buildout.changes.engine.reading import check_plan, read_build_file
from buildout.changes.engine.solver_time import SolverTime
from buildout.changes.web.demo import LEAD, OWNER, PARTNER, demo_file, load_demo
from buildout.people.web.models import User
from buildout.rooms.engine.plan import plan_room
from buildout.rooms.engine.survey import adjust
from scheduling.engine.types import Schedule

PAGE_REPEATS = 15


class Row(msgspec.Struct):
    name: str
    value: float
    unit: str
    anchor: str
    ratio: float
    goal: float
    """The ratio that must not be exceeded."""
    met: bool


def row(name: str, value: float, unit: str, anchor: str, base: float, goal: float) -> Row:
    ratio = value / base
    return Row(name, round(value, 4), unit, anchor, round(ratio, 3), goal, ratio <= goal)


def measure(repeats: int, say: Callable[[str], object] = lambda text: None) -> list[Row]:
    say("chain")
    rows = _chain_rows(repeats)
    cold = next(r.value for r in rows if r.name == "chain, cold")
    say("awards")
    rows += _award_rows(repeats)
    say("pages")
    rows += _page_rows(repeats)
    say("demo start")
    rows += _start_rows(repeats, cold)
    return rows


# ---------------------------------------------------------------- chain


def _seconds(work: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> float:
    began = clock()
    work()
    return clock() - began


def _with_wall_moved(document: dict[str, Any], result: ChainResult) -> dict[str, Any]:
    """The plan with the first room's second wall 3 in further out."""
    from buildout.rooms.engine.move_wall import move_wall

    plan = check_plan(document)
    room = plan.rooms[0]
    move = move_wall(room, result.surveys[0], f"{room.corners[1]}-{room.corners[2]}", Decimal("76.2"))
    edited = copy.deepcopy(document)
    for dimension in move.dimensions:
        entry = next(e for e in edited["rooms"][0][dimension.part] if e["id"] == dimension.id)
        entry[dimension.field] = dimension.after
    return edited


def _with_price_changed(document: dict[str, Any]) -> dict[str, Any]:
    """The plan with the first quote's first price a twentieth dearer."""
    edited = copy.deepcopy(document)
    first = edited["quotes"][0]["lines"][0]["breaks"][0]
    first["price"] = str(Decimal(str(first["price"])) * Decimal("1.05"))
    return edited


def _layout_row(plan: Plan, repeats: int) -> Row:
    """Layouts and cut plans alone, beside the calls to HiGHS and Shapely inside them; processor time of one thread."""
    from buildout.changes.engine.chain import room_layouts
    from estimating.engine.cut_plans import plan_cuts

    products = {product.id: product for product in plan.products}
    rooms = [plan_room(room, adjust(room)) for room in plan.rooms]

    def work() -> None:
        laid = [room_layouts(plan, fitout, rooms) for fitout in plan.fitouts]
        plan_cuts(laid, products, plan.floor_systems, plan.wall_systems)

    work()
    whole, inside = [], []
    for _ in range(repeats):
        whole.append(_seconds(work, time.process_time))
        with SolverTime(geometry=True, clock=time.process_time) as spent:
            work()
        inside.append(spent.seconds)
    base = statistics.median(inside)
    beside = f"HiGHS and Shapely calls inside, {base:.3f} s"
    return row("layouts and cut plans", statistics.median(whole), "s", beside, base, 1.3)


def _chain_rows(repeats: int) -> list[Row]:
    file: BuildFile = read_build_file(demo_file())
    document: dict[str, Any] = json.loads(demo_file())["plan"]
    run_chain(file.plan, file.commitments)  # libraries loaded, caches of the process warm

    cold, solver, wall, price, again = [], [], [], [], []
    for _ in range(repeats):
        store = MemoryStore()
        found: list[ChainResult] = []
        with SolverTime() as spent:
            cold.append(_seconds(lambda: found.append(run_chain(file.plan, file.commitments, store=store))))  # noqa: B023
        solver.append(spent.seconds)
        base = found[0]

        def edit(changed: dict[str, Any], kept: dict[str, bytes], before: Schedule | None) -> float:
            plan = check_plan(changed)
            mine = MemoryStore()
            mine.kept = dict(kept)
            return _seconds(lambda: run_chain(plan, file.commitments, store=mine, before=before))

        wall.append(edit(_with_wall_moved(document, base), store.kept, base.schedule))
        price.append(edit(_with_price_changed(document), store.kept, base.schedule))
        again.append(edit(document, store.kept, None))
    cold_s, solver_s = statistics.median(cold), statistics.median(solver)
    return [
        # Searches of our own (ways to lay a floor, cuts of a sheet) come on top: at most four times as much.
        row("chain, cold", cold_s, "s", f"solver calls inside it, {solver_s:.3f} s", solver_s, 5.0),
        _layout_row(file.plan, repeats),
        row("solver calls, all", solver_s, "s", "chain, cold", cold_s, 1.0),
        # A moved wall re-runs layouts, cuts and schedule of its room; it may never cost more than starting over.
        row("chain after a wall is moved 3 in", statistics.median(wall), "s", "chain, cold", cold_s, 1.1),
        # Geometry and cut plans are kept; what is left is award, dates and schedule.
        row("chain after a price is changed", statistics.median(price), "s", "chain, cold", cold_s, 0.8),
        # Nothing to run: reading results back must be next to nothing.
        row("chain, nothing changed", statistics.median(again), "s", "chain, cold", cold_s, 0.1),
    ]


def _award_rows(repeats: int) -> list[Row]:
    from buildout.changes.web.bench_award import measure_awards

    return [
        row(f"award, {m.suppliers} suppliers × {m.lines} lines", m.seconds, "s",
            f"solver calls inside it, {m.solver:.3f} s", m.solver, 1.2)
        for m in measure_awards(repeats)
    ]  # fmt: skip


# ---------------------------------------------------------------- pages


@login_required
def bare(request: HttpRequest) -> HttpResponse:
    """What any page with an account costs before it says anything: session, user, the empty frame of every page."""
    return render(request, "base.html")


urlpatterns = [path("bare/", bare), path("", include("buildout.urls"))]
"""The addresses of the site and one more, only while pages are timed."""


@contextmanager
def _throwaway_database() -> Iterator[None]:
    name = connection.settings_dict["NAME"]
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    try:
        yield
    finally:
        connection.creation.destroy_test_db(name, verbosity=0)


def _page_rows(repeats: int) -> list[Row]:
    from buildout.builds.web.templatetags.sheet import SHEETS
    from scheduling.web.models import ShareLink

    times = max(3, PAGE_REPEATS * repeats // 3)
    as_measured = override_settings(ALLOWED_HOSTS=["testserver"], SECURE_SSL_REDIRECT=False, ROOT_URLCONF=__name__)
    with _throwaway_database(), as_measured:
        build = load_demo(lambda text: None)
        users = {email: User.objects.get(email=email) for email, _, _ in (OWNER, PARTNER, LEAD)}
        clients: dict[str | None, Client] = {None: Client()}
        for email, user in users.items():
            clients[email] = Client()
            clients[email].force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        pages: list[tuple[str, str | None, str]] = [
            (f"page: {name.lower()}", OWNER[0], reverse(url, args=[build.pk])) for _, name, url, _ in SHEETS
        ]
        share = ShareLink.objects.get(build=build)
        pages.append(("page: sign-up", None, reverse("scheduling:join", args=[share.token])))
        base = _page(clients[OWNER[0]], "/bare/", times)
        rows = []
        for name, who, address in pages:
            value = _page(clients[who], address, times)
            # A sheet opens hundreds of kilobytes of results and draws to scale; a helper's page must stay light.
            goal = 6.0 if who is None else 20.0
            rows.append(row(name, value * 1000, "ms", f"bare page, {base * 1000:.2f} ms", base * 1000, goal))
    return rows


def _page(client: Client, address: str, times: int) -> float:
    def once() -> None:
        response = client.get(address)
        if response.status_code != 200:
            raise RuntimeError(f"{address} answered {response.status_code}")
        assert response.content  # noqa: S101 - a page without content would be measured as a fast one

    once()
    return statistics.median(_seconds(once) for _ in range(times))


# ---------------------------------------------------------------- start


def _start_rows(repeats: int, cold: float) -> list[Row]:
    manage = str(settings.BASE_DIR / "manage.py")
    with tempfile.TemporaryDirectory() as folder:
        env = {name: value for name, value in os.environ.items() if not name.startswith("BUILDOUT_")}
        env |= {"BUILDOUT_DATA": folder, "DJANGO_SETTINGS_MODULE": "buildout.settings"}

        def run(*command: str) -> float:
            return _seconds(
                lambda: subprocess.run([sys.executable, *command], env=env, check=True, capture_output=True)  # noqa: S603
            )

        first = run(manage, "demo", "--no-serve")
        again = statistics.median(run(manage, "demo", "--no-serve") for _ in range(repeats))
        plain = statistics.median(run(manage, "check") for _ in range(repeats))
    return [
        # Two revisions worked out, the second of which keeps what did not change, plus migrations and start.
        row("demo, first start", first, "s", "two cold chains", 2 * cold, 2.0),
        row("demo, started again", again, "s", f"manage.py check, {plain:.2f} s", plain, 2.0),
    ]
