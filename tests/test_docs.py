"""README and DEVELOPERS say what is there, and everything there is said."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.core.management import get_commands, load_command_class

from buildout.builds.web.templatetags.sheet import SHEETS
from buildout.known_settings import KNOWN

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")

ALLOWED_AT_TOP = {
    "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "manage.py", "pyproject.toml",
    "buildout", "estimating", "scheduling", "templates", "static", "tests",
}  # fmt: skip


def own_commands() -> dict[str, str]:
    ours = ("buildout.changes.web", "estimating.web", "scheduling.web")
    return {name: app for name, app in get_commands().items() if app in ours}


def test_the_top_says_two_commands_and_no_more() -> None:
    top = README.partition("\n## ")[0]
    commands = re.findall(r"^    (\S.*)$", top, re.MULTILINE)
    assert len(commands) == 2
    demo, test = commands
    assert demo.endswith("manage.py demo")
    assert test.endswith("pytest")
    for command in commands:
        assert "-c .ci/constraints.txt" in command
    assert (ROOT / ".ci" / "constraints.txt").exists()


def test_commands_in_the_docs_exist_with_their_options() -> None:
    rows = re.findall(r"^\| `python manage.py (\w+)([^`]*)` \| (.*) \|$", README, re.MULTILINE)
    assert {name for name, _, _ in rows} == set(own_commands()), "the table of commands and the commands differ"
    for name, _, text in rows:
        parser = load_command_class(own_commands()[name], name).create_parser("manage.py", name)
        known = {option for action in parser._actions for option in action.option_strings}
        for option in re.findall(r"`(--[\w-]+)", text):
            assert option in known, f"{name} {option}"
    for name in re.findall(r"manage\.py (\w+)", README + DEVELOPERS):
        assert name in get_commands(), name


def test_every_setting_is_in_the_readme_and_no_other() -> None:
    table = set(re.findall(r"^\| `(BUILDOUT_\w+)` \|", README, re.MULTILINE))
    assert table == set(KNOWN)
    assert set(re.findall(r"BUILDOUT_\w+", README)) <= set(KNOWN)


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: str(sheet[1]))
def test_every_sheet_is_on_the_tour(sheet: tuple[str, str, str, object]) -> None:
    assert f"**{sheet[0]} {sheet[1]}**" in README


def test_pictures_are_there_and_have_words() -> None:
    pictures = re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", README)
    assert len(pictures) >= 4
    for words, path in pictures:
        assert len(words) > 20, path
        assert (ROOT / path).read_bytes().startswith(b"\x89PNG"), path
    shown = {Path(path).name for _, path in pictures}
    assert {path.name for path in (ROOT / "static" / "img" / "tour").iterdir()} == shown


def test_paths_named_for_contributors_exist() -> None:
    named = set(re.findall(r"`((?:buildout|estimating|scheduling|templates|static|tests|\.ci)/[\w./-]*)`", DEVELOPERS))
    assert len(named) > 25
    assert [path for path in sorted(named) if not (ROOT / path.replace("<app>", "")).exists()] == []


def test_names_in_recipes_exist() -> None:
    for name, path in (
        ("LINK_VERSIONS", "buildout/changes/engine/chain.py"),
        ("ReadingKind", "buildout/rooms/engine/types.py"),
        ("FIXING", "buildout/rooms/engine/types.py"),
        ("TABLES", "buildout/changes/web/transfer.py"),
        ("SHEETS", "buildout/builds/web/templatetags/sheet.py"),
        ("propose_again", "buildout/changes/web/services.py"),
        ("floor_systems", "buildout/changes/engine/data/starter-metric.json"),
    ):
        assert name in DEVELOPERS
        assert name in (ROOT / path).read_text(encoding="utf-8"), f"{name} is no longer in {path}"


def test_nothing_else_lies_at_the_top() -> None:
    import subprocess

    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout
    names = {line.split("/")[0] for line in tracked.splitlines()}
    if not names:
        pytest.skip("not a git checkout")
    assert {name for name in names if not name.startswith(".")} <= ALLOWED_AT_TOP


def test_the_packages_metadata_reads_the_readme() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert project["readme"] == "README.md"
    assert project["license"] == "MIT"
    assert "MIT License" in (ROOT / "LICENSE").read_text()
    assert f"## {project['version']}" in (ROOT / "CHANGELOG.md").read_text()
