"""The fixed cast and the builds tests start from.

``hand_build`` holds a schedule made by hand, so crews, hours and places are known; ``small_build`` and
``demo_build`` hold what the chain makes of the plain room and of the demo, computed once and kept between runs
until an engine or the file changes.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from copy import deepcopy
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import msgspec
import pytest
from django.test import Client
from django.utils import timezone
from hypothesis import settings

from buildout.builds.web.models import Build, LinkResult, Member, Revision, Role
from buildout.builds.web.services import Sheet
from buildout.people.web.models import User
from buildout.units.money import tax_on
from buildout.units.value import to_json
from scheduling.engine.types import DayLoad, Forecast, Lag, PlannedTask, Schedule, Task, TaskNet
from scheduling.web.models import ShareLink, SignUp

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "buildout/changes/engine/data/demo.json"
PLAIN_ROOM = ROOT / "tests/data/plain_room.json"

# A slow machine proves nothing wrong: no example of a property test is timed.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

# ------------------------------------------------------------------ people


@pytest.fixture
def owner(db: None) -> User:
    return User.objects.create_user("orla@example.org", "Orla Fennimarsh")


@pytest.fixture
def partner(db: None) -> User:
    return User.objects.create_user("lorcan@example.org", "Lorcan Mistlebrook")


@pytest.fixture
def lead(db: None) -> User:
    return User.objects.create_user("ines@example.org", "Ines Quillfeather")


@pytest.fixture
def stranger(db: None) -> User:
    """Somebody with an account and a build of their own, and no part in any other."""
    user = User.objects.create_user("wim@example.org", "Wim Farrowby")
    build = Build.objects.create(name="Another hall")
    Member.objects.create(build=build, user=user, role=Role.OWNER)
    return user


@pytest.fixture
def client_of() -> Callable[[User | None], Client]:
    """A browser signed in as this person; None for nobody."""

    def signed_in(user: User | None) -> Client:
        client = Client()
        if user is not None:
            client.force_login(user)
        return client

    return signed_in


# ------------------------------------------------------------------ a build by hand


def planned(code: str, name: str, day: BuildDayLike, hours: tuple[int, int], crew: int, **more: Any) -> PlannedTask:
    return PlannedTask(
        code=code, name=name, place=more.pop("place", "build day"), start_day=day.date, end_day=day.date,
        start=hours[0], end=hours[1], build_day=day.id, crew=crew, skills=more.pop("skills", []),
        critical=more.pop("critical", False), slack_days=more.pop("slack_days", 3), **more,
    )  # fmt: skip


@dataclass(frozen=True)
class BuildDayLike:
    id: str
    date: date


def hand_made(today: date) -> tuple[dict[str, Any], dict[str, Any]]:
    """(plan document, result) with three build days: strip in 10 days, foam in 17, cover in 24.

    Strip: C11 for 3 from 08:30 to 12:00, C12 in two parts of 2 people, morning and afternoon. Foam: H01 for 4, and G03
    for 2, which only people practised in carpentry and sawing may take.
    Cover: H03 for 6, critical.
    """
    document = json.loads(PLAIN_ROOM.read_text())["plan"]
    strip, foam, cover = (
        BuildDayLike(n, today + timedelta(days=d)) for n, d in (("strip", 10), ("foam", 17), ("cover", 24))
    )
    document["as_of"] = today.isoformat()
    document["dates"] = {
        "lease_start": (today - timedelta(days=5)).isoformat(),
        "opening_wish": (today + timedelta(days=80)).isoformat(),
        "announced": (today + timedelta(days=90)).isoformat(),
        "holidays": [],
    }
    document["crew"]["days"] = [
        {"id": "strip", "date": strip.date.isoformat(), "name": "Strip and clean", "places": 6, "food": "Soup"},
        {"id": "foam", "date": foam.date.isoformat(), "name": "Frame and foam", "places": 5, "quiet_until": "09:30"},
        {"id": "cover", "date": cover.date.isoformat(), "name": "Cover", "places": 2},
    ]  # fmt: skip
    document["tasks"] = {"done": {"A01": (today - timedelta(days=3)).isoformat()}}
    tasks = [
        planned("C11", "Sweep and wash the slab", strip, (510, 720), 3, cautions=["DUST"], skills=["clean"]),
        planned("C12/1", "Patch the walls", strip, (540, 720), 2, cautions=["LADD"]),
        planned("C12/2", "Patch the walls", strip, (780, 900), 2, cautions=["LADD"]),
        planned("H01", "Lay base foam", foam, (570, 900), 4, skills=["measure"]),
        planned("G03", "Cut the frame", foam, (570, 720), 2, skills=["carp", "saw"], cautions=["SAW"]),
        planned("H03", "Pull the cover", cover, (600, 780), 6, cautions=["LIFT"], critical=True, slack_days=0),
        PlannedTask(
            code="E01", name="Outlets moved", place="trade", start_day=today + timedelta(days=12),
            end_day=today + timedelta(days=13), start=0, end=1440, build_day="", crew=0, skills=["lic"],
            critical=False, slack_days=6, cautions=["ELEC"],
        ),
    ]  # fmt: skip
    schedule = Schedule(
        status="feasible", bound=60, value=66, gap=0.1, work=1.0, from_day=today, opening=today + timedelta(days=66),
        tasks=tasks,
        days=[
            DayLoad(build_day=day.id, date=day.date, name=day.id, places=6, needed=5, person_hours=20.5,
                    tasks=[t.code for t in tasks if t.build_day == day.id],
                    short_skills=["carp"] if day.id == "strip" else [])
            for day in (strip, foam, cover)
        ],
        needs={}, need_tasks={}, reasons=[],
    )  # fmt: skip

    def task(code: str, name: str, stage: int, **more: Any) -> Task:
        return Task(
            code=code, name=name, stage=stage, kind="work", place=more.pop("place", "build day"), quantity=100,
            unit="sqft", driver="room.floor_area", low=5, likely=8, high=12, crew_min=1, crew_max=6, skills=[],
            after=more.pop("after", []), cautions=[], tools="broom", noisy=False, dusty=False,
            volunteers=more.pop("volunteers", True), **more,
        )  # fmt: skip

    net = TaskNet(
        status="proven", left_out=["J05"], reasons=[],
        tasks=[
            task("A01", "Walk the space with a checklist", 0, place="core team"),
            task("C11", "Sweep and wash the slab", 4, after=[Lag(task="A01")]),
            task("C12", "Patch the walls", 4),
            task("E01", "Outlets moved", 5, place="trade"),
            task("G03", "Cut the frame", 8, volunteers=False),
            task("H01", "Lay base foam", 8, after=[Lag(task="C11", minutes=2880)]),
            task("H03", "Pull the cover", 9),
        ],
    )  # fmt: skip
    forecast = Forecast(
        status="feasible", runs=1000, seed=1, p10=today + timedelta(days=64), p50=today + timedelta(days=70),
        p80=today + timedelta(days=78), chance_by_wish=0.86, chance_by_announced=0.95, unplaced=0,
        histogram=[(today + timedelta(days=60 + 3 * n), 100) for n in range(10)], drivers=[], reasons=[],
    )  # fmt: skip
    return document, {"schedule": schedule, "tasks": net, "forecast": forecast}


def stored(document: dict[str, Any], result: dict[str, Any], cast: dict[str, User]) -> Build:
    """A build at revision 1 with these people in it."""
    build = Build.objects.create(name=document["name"])
    for role, user in cast.items():
        Member.objects.create(build=build, user=user, role=role)
    revision = Revision.objects.create(
        build=build,
        number=1,
        document=document,
        result=to_json(result).decode(),
        summary="First numbers",
        totals={"cost": "1000", "opening": None},
    )
    build.current = revision
    build.save()
    return build


@pytest.fixture
def cast(owner: User, partner: User, lead: User) -> dict[str, User]:
    return {"owner": owner, "partner": partner, "lead": lead}


@pytest.fixture
def hand_build(cast: dict[str, User]) -> Build:
    document, result = hand_made(timezone.now().date())
    document["time_zone"] = "UTC"
    return stored(document, result, cast)


@pytest.fixture
def share_link(hand_build: Build) -> ShareLink:
    return ShareLink.objects.create(build=hand_build)


# ------------------------------------------------------------------ builds from the chain


def _engines() -> str:
    """A digest of everything the chain's result depends on in this checkout."""
    digest = hashlib.sha256()
    folders = (
        "buildout/units",
        "buildout/rooms/engine",
        "estimating/engine",
        "scheduling/engine",
        "buildout/changes/engine",
    )
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*")):
            if path.suffix in {".py", ".csv", ".json"}:
                digest.update(str(path.relative_to(ROOT)).encode() + path.read_bytes())
    return digest.hexdigest()[:24]


@contextmanager
def _one_at_a_time(lock: Path) -> Iterator[None]:
    """Several processes of one run wait for the first to compute."""
    import fcntl

    with lock.open("w") as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield


@dataclass(frozen=True)
class Computed:
    document: dict[str, Any]
    commitments: dict[str, Any]
    result: str
    links: dict[str, tuple[str, str]]
    """key → (link, result)."""


FIRST_SIGN_UP = 900_001
"""Sign-ups of a build file get row numbers from here, the same that the chain saw."""


def _compute(path: Path, cache: Path) -> Computed:
    from buildout.changes.engine.build_file import Commitments
    from buildout.changes.engine.chain import MemoryStore, run_chain
    from buildout.changes.engine.reading import check_plan
    from buildout.units.value import from_plain

    kept = cache / f"{path.stem}-{_engines()}-{hashlib.sha256(path.read_bytes()).hexdigest()[:12]}.json"
    with _one_at_a_time(cache / f"{path.stem}.lock"):
        if not kept.exists():
            file = json.loads(path.read_text())
            commitments = file.get("commitments", {})
            for number, row in enumerate(commitments.get("sign_ups", [])):
                row["id"] = str(FIRST_SIGN_UP + number)
            for number, order in enumerate(commitments.get("orders", []), 1):
                order["number"] = f"PO-{number}"
            links: dict[str, str] = {}

            class Store(MemoryStore):
                def put(self, key: str, link: str, result: bytes) -> None:
                    super().put(key, link, result)
                    links[key] = link

            store = Store()
            result = run_chain(check_plan(file["plan"]), from_plain(Commitments, commitments), store=store)
            pack = {
                "document": file["plan"],
                "commitments": commitments,
                "result": to_json(result).decode(),
                "links": {key: (links[key], value.decode()) for key, value in store.kept.items()},
            }
            for old in cache.glob(f"{path.stem}-*.json"):
                old.unlink()
            kept.write_text(json.dumps(pack))
    return msgspec.convert(json.loads(kept.read_text()), Computed)


QUICK_TASKS = {"C12", "D01", "G09", "G10", "H03", "H05", "L08", "L09", "L10", "W01", "W03", "W05", "W08"}


@pytest.fixture(scope="session")
def computed_quick(pytestconfig: pytest.Config, tmp_path_factory: pytest.TempPathFactory) -> Computed:
    """The plain room with a dozen tasks: every link runs for real, in a second."""
    from scheduling.engine.template import default_template

    file = json.loads(PLAIN_ROOM.read_text())
    file["plan"]["tasks"]["off"] = sorted(row.code for row in default_template() if row.code not in QUICK_TASKS)
    path = tmp_path_factory.mktemp("quick") / "quick.json"
    path.write_text(json.dumps(file))
    return _compute(path, pytestconfig.cache.mkdir("chains"))


@pytest.fixture(scope="session")
def computed_demo(pytestconfig: pytest.Config) -> Computed:
    return _compute(DEMO, pytestconfig.cache.mkdir("chains"))


@pytest.fixture(scope="session")
def computed_small(pytestconfig: pytest.Config) -> Computed:
    return _compute(PLAIN_ROOM, pytestconfig.cache.mkdir("chains"))


def from_chain(computed: Computed, cast: dict[str, User]) -> Build:
    """A build at revision 1 as the chain computed it, its link results kept, orders and sign-ups in the books."""
    from buildout.changes.engine.chain import ChainResult
    from buildout.changes.engine.impact import totals
    from buildout.units.value import from_json
    from estimating.web.models import Order

    result = from_json(ChainResult, computed.result)
    build = Build.objects.create(name=computed.document["name"])
    for role, user in cast.items():
        Member.objects.create(build=build, user=user, role=role)
    build.current = Revision.objects.create(
        build=build, number=1, document=deepcopy(computed.document), result=computed.result, summary="First numbers",
        totals=totals(result), by=cast["owner"],
    )  # fmt: skip
    build.save()
    LinkResult.objects.bulk_create(
        [LinkResult(key=key, link=link, result=text) for key, (link, text) in computed.links.items()]
    )
    suppliers = {row["id"]: row["name"] for row in computed.document["suppliers"]}
    names = {line.item: line.name for line in result.take_off.lines}
    percent = Decimal(computed.document.get("money", {}).get("tax_percent", "0"))  # no quote here says another
    for number, order in enumerate(computed.commitments.get("orders", []), 1):
        amounts = [Decimal(line["goods"]) for line in order["lines"]] + [Decimal(order.get("freight", "0"))]
        tax = sum(tax_on(amount, percent, computed.document.get("currency", "USD")) for amount in amounts)
        Order.objects.create(
            build=build, number=number, supplier=order["supplier"], quote=order["quote"], state=order["state"],
            supplier_name=suppliers[order["supplier"]], placed=date.fromisoformat(order["placed"]),
            promised=date.fromisoformat(order["promised"]) if order.get("promised") else None,
            freight=Decimal(order.get("freight", "0")), tax=tax, tax_percent=percent, revision=build.current,
            lines=[{**line, "name": names.get(line["item"], line["item"])} for line in order["lines"]],
        )  # fmt: skip
    places: dict[str, int] = {}
    for row in computed.commitments.get("sign_ups", []):
        places[row["day"]] = places.get(row["day"], 0) + 1
        SignUp.objects.create(
            pk=int(row["id"]), build=build, day=row["day"], task=row.get("task", ""), day_place=places[row["day"]],
            task_place=places[row["day"]] if row.get("task") else None, name=f"Helper {row['id']}",
            contact="555 0142 800", skills=row.get("skills", []), request_key=f"demo-{row['id']}",
        )  # fmt: skip
    return build


@pytest.fixture
def at_plan_date(monkeypatch: pytest.MonkeyPatch) -> None:
    """Today is the day the plan was worked out for, whatever the calendar says."""
    monkeypatch.setattr(Sheet, "today", lambda self: self.as_of)


@pytest.fixture
def quick_build(computed_quick: Computed, cast: dict[str, User], at_plan_date: None) -> Build:
    """The plain room with a dozen tasks, for tests that propose and apply."""
    return from_chain(computed_quick, cast)


@pytest.fixture
def small_build(computed_small: Computed, cast: dict[str, User], at_plan_date: None) -> Build:
    """The plain room with all its tasks; a change takes some seconds to work out."""
    return from_chain(computed_small, cast)


@pytest.fixture
def demo_build(computed_demo: Computed, cast: dict[str, User], at_plan_date: None) -> Build:
    return from_chain(computed_demo, cast)


# ------------------------------------------------------------------ the database, row by row


def all_rows() -> dict[str, list[tuple[str, ...]]]:
    """Every row of every table as text, sessions left out: they change with each visit."""
    from django.db import connection

    found = {}
    for table in sorted(connection.introspection.table_names()):
        if table == "django_session":
            continue
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")  # noqa: S608 - the table's own name
            found[table] = sorted(tuple(str(value) for value in row) for row in cursor.fetchall())
    return found


@pytest.fixture
def rows() -> Callable[[], dict[str, list[tuple[str, ...]]]]:
    return all_rows
