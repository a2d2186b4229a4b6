"""Take the pictures of the README anew: ``python -m tests.browser.tour`` in a checkout with the demo loaded.

It serves the demo on a free port for as long as it takes, moves a wall to have an impact to show, and rejects it.
"""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

from tests.browser.chromium import ARGUMENTS, PHONE, find_chromium

ROOT = Path(__file__).resolve().parents[2]
PICTURES = ROOT / "static" / "img" / "tour"
COLOURS = 200
SHEET = {"width": 1360, "height": 1040}


def shrink(path: Path) -> None:
    """A page has few colours: a palette picture is a fraction of the size."""
    from PIL import Image

    with Image.open(path) as picture:
        small = picture.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    small.save(path, optimize=True)


def take(browser: Any, links: dict[str, str]) -> None:
    desk = browser.new_context(viewport=SHEET, color_scheme="light")
    page = desk.new_page()
    page.set_default_timeout(180_000)

    def picture(name: str, on: Any = page) -> None:
        on.screenshot(path=PICTURES / f"{name}.png")
        shrink(PICTURES / f"{name}.png")

    page.goto(links["Owner"])
    page.get_by_role("button", name=re.compile("Sign in")).click()
    page.get_by_role("link", name=re.compile("Old Type")).click()
    build = page.url
    picture("overview")
    page.goto(f"{build}rooms/hall/")
    picture("room")
    page.goto(f"{build}days/")
    picture("days")
    page.goto(f"{build}rooms/hall/")
    page.get_by_label("Wall", exact=True).select_option("B-C")
    page.get_by_label("How far").fill('3"')
    page.get_by_label("Which way").select_option("out")
    page.get_by_role("button", name="See what this does").click()
    page.get_by_role("heading", name="Decide").wait_for()
    picture("impact")
    page.get_by_role("button", name=re.compile("Reject")).click()
    phone = browser.new_context(viewport=PHONE, color_scheme="light").new_page()
    phone.goto(links["Sign up"])
    picture("sign-up", phone)


def main() -> None:
    from playwright.sync_api import sync_playwright

    PICTURES.mkdir(parents=True, exist_ok=True)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    served = subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--port", str(port)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    said = []
    assert served.stdout is not None
    for line in served.stdout:
        said.append(line)
        if line.startswith("Serving "):
            break
    links = dict(re.findall(r"^(Owner|Sign up) .*(http://\S+)$", "".join(said), re.MULTILINE))
    try:
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=find_chromium(), args=ARGUMENTS)
            take(browser, links)
            browser.close()
    finally:
        served.send_signal(signal.SIGTERM)
        served.communicate(timeout=60)


if __name__ == "__main__":
    main()
