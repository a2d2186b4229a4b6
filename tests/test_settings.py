"""Settings come from the environment; what is wrong with them is said before anything starts."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from buildout.known_settings import KNOWN, PREFIX, refuse_unknown

ROOT = Path(__file__).resolve().parent.parent


def manage(*arguments: str, **settings: str) -> subprocess.CompletedProcess[str]:
    env = {name: value for name, value in os.environ.items() if not name.startswith(PREFIX)}
    env |= {"DJANGO_SETTINGS_MODULE": "buildout.settings", **settings}
    return subprocess.run(
        [sys.executable, "manage.py", *arguments], cwd=ROOT, env=env, capture_output=True, text=True, timeout=60
    )


def test_an_unknown_name_stops_the_start_and_names_the_nearest(tmp_path: Path) -> None:
    ended = manage("check", BUILDOUT_DATA=str(tmp_path), BUILDOUT_DATABSE_URL="postgres://x")
    assert ended.returncode != 0
    assert "BUILDOUT_DATABSE_URL is not a setting. Did you mean BUILDOUT_DATABASE_URL?" in ended.stderr
    assert "Traceback" not in ended.stderr


def test_every_unknown_name_is_listed() -> None:
    with pytest.raises(ImproperlyConfigured) as caught:
        refuse_unknown({"BUILDOUT_COLOUR": "red", "BUILDOUT_ZZZ": "1", "PATH": "/bin", "BUILDOUT_DEBUG": "0"})
    text = str(caught.value)
    assert "BUILDOUT_COLOUR is not a setting" in text
    assert "BUILDOUT_ZZZ is not a setting" in text
    assert "BUILDOUT_DEBUG is not a setting" not in text


def test_known_names_pass() -> None:
    refuse_unknown(dict.fromkeys(KNOWN, "1"))


def test_a_folder_that_cannot_be_written_is_said_with_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    ended = manage("check", BUILDOUT_DATA=str(tmp_path / "file" / "data"))
    assert ended.returncode != 0
    assert "cannot be written" in ended.stderr
    assert "Set BUILDOUT_DATA to a folder you may write to" in ended.stderr
    assert "Traceback" not in ended.stderr


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("BUILDOUT_TASKS", "later", "BUILDOUT_TASKS must be worker or at-once"),
        ("BUILDOUT_DATABASE_URL", "mysql://u:p@localhost/x", "must name PostgreSQL"),
        ("BUILDOUT_DEBUG", "maybe", "BUILDOUT_DEBUG must be 1 or 0, not 'maybe'"),
        ("BUILDOUT_HTTPS", "2", "BUILDOUT_HTTPS must be 1 or 0, not '2'"),
        ("BUILDOUT_PUBLIC_URL", "build.example.org", "for example https://build.example.org"),
        ("BUILDOUT_PUBLIC_URL", "https://build.example.org/school", "no path"),
        ("BUILDOUT_EMAIL_URL", "pigeon://loft", "BUILDOUT_EMAIL_URL cannot be used"),
    ],
)
def test_a_value_that_does_not_fit_is_said(name: str, value: str, said: str, tmp_path: Path) -> None:
    ended = manage("check", BUILDOUT_DATA=str(tmp_path), **{name: value})
    assert ended.returncode != 0
    assert said in ended.stderr
    assert "Traceback" not in ended.stderr


def test_the_secret_key_is_made_once_and_private(tmp_path: Path) -> None:
    assert manage("check", BUILDOUT_DATA=str(tmp_path)).returncode == 0
    kept = tmp_path / "secret-key"
    first = kept.read_text()
    assert len(first) >= 50
    assert kept.stat().st_mode & 0o077 == 0
    assert manage("check", BUILDOUT_DATA=str(tmp_path)).returncode == 0
    assert kept.read_text() == first
