"""What is loaded when: engines stand without Django, pages start without the heavy libraries."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
HEAVY = ("ortools", "scipy", "highspy", "weasyprint", "ezdxf", "pandas")
ENGINES = (
    "buildout/units",
    "buildout/rooms/engine",
    "estimating/engine",
    "scheduling/engine",
    "buildout/changes/engine",
)


def loaded_after(code: str, tmp_path: Path) -> set[str]:
    """The top-level modules a fresh process has loaded after running ``code``."""
    script = f"import json, sys\n{code}\nprint(json.dumps(sorted({{m.partition('.')[0] for m in sys.modules}})))"
    env = os.environ | {"DJANGO_SETTINGS_MODULE": "buildout.settings", "BUILDOUT_DATA": str(tmp_path)}
    ended = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, env=env, capture_output=True, text=True, timeout=120
    )
    assert ended.returncode == 0, ended.stderr
    return set(json.loads(ended.stdout.splitlines()[-1]))


def engine_modules() -> list[str]:
    return [
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for folder in ENGINES
        for path in sorted((ROOT / folder).glob("*.py"))
        if path.name != "__init__.py"
    ]


def test_no_engine_loads_django_or_a_solver(tmp_path: Path) -> None:
    modules = engine_modules()
    assert len(modules) > 20
    code = f"import importlib\nfor name in {modules!r}: importlib.import_module(name)"
    loaded = loaded_after(code, tmp_path)
    assert "django" not in loaded
    assert not loaded & set(HEAVY)


def test_the_web_process_starts_without_the_heavy_libraries(tmp_path: Path) -> None:
    code = (
        "import buildout.wsgi\n"
        "from django.urls import get_resolver\n"
        "get_resolver().url_patterns\n"
        "list(get_resolver().reverse_dict)\n"
    )
    loaded = loaded_after(code, tmp_path)
    assert "django" in loaded
    assert not loaded & set(HEAVY)


@pytest.mark.parametrize("module", ["buildout.changes.engine.reading", "buildout.units.lengths"])
def test_reading_a_file_or_a_length_needs_no_solver(module: str, tmp_path: Path) -> None:
    assert not loaded_after(f"import {module}", tmp_path) & set(HEAVY)


def test_imports_run_one_way() -> None:
    """The contracts of import-linter: floors of the house, engines without web."""
    lint = Path(sys.executable).with_name("lint-imports")
    env = os.environ | {"PYTHONPATH": str(ROOT)}
    ended = subprocess.run([lint, "--no-cache"], cwd=ROOT, env=env, capture_output=True, text=True, timeout=120)
    assert ended.returncode == 0, ended.stdout
