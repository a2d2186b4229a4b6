"""Debian's Chromium as the tests drive it."""

from __future__ import annotations

import shutil

PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 900}
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run", "--disable-default-apps",
    "--disable-features=Translate,OptimizationHints,MediaRouter",
]  # fmt: skip


def find_chromium() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")
