"""``manage.py demo`` and ``serve`` as processes of their own: links, idempotence, clean ends, clear refusals."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.request import HTTPCookieProcessor, build_opener

import pytest
from django.core.management import CommandError

from buildout.builds.web.models import Build, Revision, Role
from buildout.changes.web import demo as demo_loading
from buildout.changes.web import serving
from buildout.known_settings import PREFIX
from buildout.people.web.models import User
from estimating.web.asking_models import Call, Request, Sample
from estimating.web.models import Order
from scheduling.web.models import SignUp

ROOT = Path(__file__).resolve().parents[2]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def environment(data: Path) -> dict[str, str]:
    env = {name: value for name, value in os.environ.items() if not name.startswith(PREFIX)}
    return env | {"DJANGO_SETTINGS_MODULE": "buildout.settings", "BUILDOUT_DATA": str(data)}


def manage(data: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT, env=environment(data), capture_output=True, text=True, timeout=400, stdin=subprocess.DEVNULL,
    )  # fmt: skip


# ---------------------------------------------------------------- what is loaded


@pytest.mark.django_db(transaction=True)
def test_the_demo_tells_its_story(demo: Build) -> None:
    """Revision 1 holds the slipped reading, found out and set aside; revision 2 the one measured again."""
    first, second = Revision.objects.filter(build=demo).order_by("number")
    assert first.document["rooms"][0]["readings"][3]["value"] == "35' 0 1/2\""
    assert second.document["rooms"][0]["readings"][3]["value"] == "36' 0 1/2\""
    from buildout.changes.engine.chain import ChainResult
    from buildout.units.value import from_json

    def told(revision: Revision) -> list[str]:
        surveys = from_json(ChainResult, revision.result).surveys
        return [r.text for r in surveys[0].reasons if r.severity == "warning"]

    assert any("4" in text for text in told(first)), "the slipped reading is not named"
    assert not told(second)
    assert demo.current == second
    assert {m.role: m.user.name for m in demo.members.select_related("user")} == {
        Role.OWNER: "Orla Fennimarsh", Role.PARTNER: "Lucan Dapplewood", Role.LEAD: "Ines Quillfeather"
    }  # fmt: skip
    assert list(Order.objects.filter(build=demo).values_list("number", "supplier")) == [
        (1, "plumbob"),
        (2, "tansybrook"),
    ]
    assert SignUp.objects.filter(build=demo).count() == 20
    assert all(row.name and row.contact for row in SignUp.objects.filter(build=demo))
    # The owner is in the middle of asking: one request out, a call to come back to, samples on their way.
    request = Request.objects.get(build=demo)
    assert [letter.answer for letter in request.letters.all()] == ["open", "open"]
    call = Call.objects.get(build=demo)
    assert call.done is None
    assert call.due is not None
    assert call.due.weekday() == 1, "as said: on Tuesday"
    assert [sample.received for sample in Sample.objects.filter(build=demo)] == [None, None]
    assert second.totals["stops"] == 0
    # Both revisions cost the same; that amounts come from the order book must not show in how they are written.
    assert (first.totals["goods"], first.totals["cost"]) == (second.totals["goods"], second.totals["cost"])


@pytest.mark.django_db(transaction=True)
def test_nothing_of_a_demo_that_failed_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*args: object, **kwargs: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(demo_loading, "load_plain", fail)
    with pytest.raises(KeyboardInterrupt):
        demo_loading.load_demo(lambda text: None)
    assert not Build.objects.exists()
    assert not User.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_removing_the_demo_leaves_what_others_have(demo: Build) -> None:
    other = User.objects.create_user("me@example.net", "Me")
    mine = Build.objects.create(name="Mine")
    mine.members.create(user=other, role=Role.OWNER)
    from buildout.changes.web.demo import remove_demo

    remove_demo()
    assert list(Build.objects.all()) == [mine]
    assert list(User.objects.all()) == [other]


# ---------------------------------------------------------------- the commands


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder in which ``manage.py demo`` has run once."""
    data = tmp_path_factory.mktemp("demo")
    ended = manage(data, "demo", "--no-serve")
    assert ended.returncode == 0, ended.stderr
    assert "Revision 1" in ended.stdout
    assert "12 of 12" in ended.stdout
    return data


def rows(data: Path) -> list[str]:
    """The whole database of a data folder as text."""
    code = (
        "import django; django.setup()\n"
        "from buildout.changes.web import archive\n"
        "for model in archive.tables():\n"
        "    for line in archive.lines(model): print(model._meta.label, line)\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=environment(data), capture_output=True, text=True, check=True
    )
    return ended.stdout.splitlines()


def links(output: str) -> dict[str, str]:
    return dict(re.findall(r"^(Owner|Partner|Crew lead|Helper|Sign up) .*(http://\S+)$", output, re.MULTILINE))


def test_running_it_again_changes_nothing_and_prints_the_same_links(loaded: Path) -> None:
    first = manage(loaded, "demo", "--no-serve")
    before = rows(loaded)
    assert len(before) > 50
    second = manage(loaded, "demo", "--no-serve")
    assert rows(loaded) == before
    assert links(first.stdout) == links(second.stdout)
    assert set(links(first.stdout)) == {"Owner", "Partner", "Crew lead", "Helper", "Sign up"}


def test_starting_over_asks_first(loaded: Path) -> None:
    before = rows(loaded)
    ended = manage(loaded, "demo", "--no-serve", "--reset")
    assert ended.returncode != 0
    assert "--yes" in ended.stderr
    assert rows(loaded) == before


@pytest.fixture
def served(loaded: Path) -> Iterator[tuple[subprocess.Popen[str], str, list[str]]]:
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--port", str(port)],
        cwd=ROOT, env=environment(loaded), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    said: list[str] = []
    assert process.stdout is not None
    for line in process.stdout:
        said.append(line)
        if line.startswith("Serving "):
            break
    try:
        yield process, f"http://127.0.0.1:{port}", said
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()


def children_of(pid: int) -> set[int]:
    found = set()
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = status.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            child = int(status.parent.name)
            found |= {child} | children_of(child)
    return found


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM])
def test_links_work_and_both_processes_end_together(
    served: tuple[subprocess.Popen[str], str, list[str]], ending: signal.Signals
) -> None:
    process, where, said = served
    assert said
    assert said[-1].startswith(f"Serving {where}"), "".join(said)
    found = links("".join(said))
    for name in ("Helper", "Sign up"):
        with build_opener().open(found[name], timeout=30) as page:
            assert page.status == 200
    for name, role in (("Owner", "owner"), ("Partner", "partner"), ("Crew lead", "crew lead")):
        browser = build_opener(HTTPCookieProcessor(CookieJar()))
        form = browser.open(found[name], timeout=30).read().decode()
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', form)
        assert token
        with browser.open(found[name], data=f"csrfmiddlewaretoken={token[1]}".encode(), timeout=30) as page:
            text = page.read().decode()
            assert "Old Type Judo" in text
            assert f", {role}" in text
    family = children_of(process.pid)
    assert len(family) >= 2, "web server and worker should both be children of the command"
    process.send_signal(ending)
    rest = process.communicate(timeout=60)[0]
    assert process.returncode == 0, rest
    assert "Traceback" not in rest, rest
    until = time.monotonic() + 10
    while any(alive(pid) for pid in family) and time.monotonic() < until:
        time.sleep(0.05)
    assert not [pid for pid in family if alive(pid)], "a child was left behind"


def test_a_taken_port_is_said_in_one_line(loaded: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        ended = manage(loaded, "demo", "--port", str(port))
    assert ended.returncode != 0
    assert f"Port {port} on 127.0.0.1 is taken" in ended.stderr
    assert "--port" in ended.stderr
    assert "Traceback" not in ended.stderr
    assert len(ended.stderr.strip().splitlines()) == 1


def test_a_folder_that_cannot_be_written_is_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    ended = manage(tmp_path / "file" / "data", "demo", "--no-serve")
    assert ended.returncode != 0
    assert "cannot be written" in ended.stderr
    assert "BUILDOUT_DATA" in ended.stderr
    assert len(ended.stderr.strip().splitlines()) == 1


def test_a_database_of_something_else_is_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "buildout.sqlite3").write_bytes(b"this is no database at all" * 100)
    ended = manage(tmp_path, "demo", "--no-serve")
    assert ended.returncode != 0
    assert "not a database" in ended.stderr
    assert "Traceback" not in ended.stderr
    assert len(ended.stderr.strip().splitlines()) == 1


def test_a_port_that_is_none_is_said() -> None:
    with pytest.raises(CommandError, match="not a port"):
        serving.refuse_taken_port("127.0.0.1", 70000, "demo")


def test_missing_pango_is_said_with_what_happens_instead(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ctypes.util.find_library", lambda name: None)
    assert "print-ready HTML" in serving.documents_note()
    monkeypatch.setattr("ctypes.util.find_library", lambda name: f"lib{name}.so.0")
    assert serving.documents_note() == ""


def test_an_empty_installation_prints_where_to_make_the_first_account(tmp_path: Path) -> None:
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "manage.py", "serve", "--port", str(port), "--processes", "1"],
        cwd=ROOT, env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    said: list[str] = []
    assert process.stdout is not None
    try:
        for line in process.stdout:
            said.append(line)
            if line.startswith("Serving "):
                break
        text = "".join(said)
        assert f"http://127.0.0.1:{port}/first-account/" in text
        assert re.search(r"token: [0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}", text)
        with build_opener().open(f"http://127.0.0.1:{port}/", timeout=30) as page:
            assert page.url.endswith("/first-account/")
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=60)
        assert process.returncode == 0
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()


def test_a_worker_that_was_killed_is_started_again(served: tuple[subprocess.Popen[str], str, list[str]]) -> None:
    process, _, _ = served
    workers = [pid for pid in children_of(process.pid) if b"db_worker" in Path(f"/proc/{pid}/cmdline").read_bytes()]
    assert len(workers) == 1
    os.kill(workers[0], signal.SIGKILL)
    assert process.stdout is not None
    assert "started again" in process.stdout.readline()
    process.send_signal(signal.SIGTERM)
    rest = process.communicate(timeout=60)[0]
    assert process.returncode == 0, rest
