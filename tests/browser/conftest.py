"""Real Chromium against a real server, each page watched for script errors and policy violations."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.test import Client

from tests.browser.chromium import ARGUMENTS, DESK, PHONE, find_chromium
from tests.kept import demo, demo_backup, missing, plain, plain_backup

__all__ = ["demo", "demo_backup", "plain", "plain_backup"]

# The browser driver keeps an event loop in this thread; the tests themselves are ordinary synchronous code.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

WIDTHS = [pytest.param(PHONE, id="390"), pytest.param(DESK, id="1280")]

LISTEN = """
document.addEventListener("securitypolicyviolation",
  event => console.error("policy violation: " + event.violatedDirective + " " + event.blockedURI));
"""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "tests/browser/" in item.nodeid:
            item.add_marker(pytest.mark.browser)
            item.add_marker(pytest.mark.django_db(transaction=True))
            # One Chromium at a time is enough for a small machine.
            item.add_marker(pytest.mark.xdist_group("browser"))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    found = find_chromium()
    if found is None:
        missing("browser", "Chromium is not installed")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=found, args=ARGUMENTS)
        yield browser
        browser.close()


class Visitor:
    """One person at one browser: pages it opened, and everything that went wrong in them."""

    def __init__(self, browser: Any, address: str, **options: Any) -> None:
        self.address = address
        self.context = browser.new_context(locale="en-US", timezone_id="UTC", **options)
        self.context.set_default_timeout(30_000)
        if options.get("java_script_enabled", True):
            self.context.add_init_script(LISTEN)
        self.page = self.context.new_page()
        self.wrong: list[str] = []
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.wrong.append(f"{self.page.url}: {error}"))
        self.bytes = 0

    def _heard(self, message: Any) -> None:
        # A form sent back with what is wrong in it answers 422, which the browser reports as a failed load.
        if message.type == "error" and "status of 4" not in message.text:
            self.wrong.append(f"{self.page.url}: {message.text}")

    def sign_in(self, email: str) -> Visitor:
        from buildout.people.web.models import User

        client = Client()
        client.force_login(User.objects.get(email=email), backend="django.contrib.auth.backends.ModelBackend")
        cookie = client.cookies["sessionid"].value
        self.context.add_cookies([{"name": "sessionid", "value": cookie, "url": self.address}])
        return self

    def go(self, path: str) -> Any:
        response = self.page.goto(self.address + path)
        assert response is not None
        return response

    def fits(self) -> None:
        """No page scrolls sideways."""
        wide, room = self.page.evaluate(
            "() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert wide <= room, f"{self.page.url} is {wide} px wide in a window of {room} px"


@pytest.fixture
def visit(chromium: Any, live_server: Any) -> Iterator[Callable[..., Visitor]]:
    """Opens a browser window of its own for one person; at the end nothing may have gone wrong in any of them."""
    visitors: list[Visitor] = []

    def make(viewport: dict[str, int] = DESK, **options: Any) -> Visitor:
        visitor = Visitor(chromium, live_server.url, viewport=viewport, **options)
        visitors.append(visitor)
        return visitor

    yield make
    wrong = [text for visitor in visitors for text in visitor.wrong]
    for visitor in visitors:
        visitor.context.close()
    assert not wrong, "\n".join(wrong)
