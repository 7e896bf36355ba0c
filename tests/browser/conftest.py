"""A browser before the running site. Any fault in the page is a failure, whatever the test looks at."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page

from registry.models import User

# Playwright keeps a loop running, which Django would take for asynchronous code.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
DESKTOP, PHONE = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
TYPICAL = {"viewport": DESKTOP, "locale": "en-GB", "timezone_id": "Europe/Berlin", "reduced_motion": "reduce"}
QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
Open = Callable[..., Page]


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """The Chromium of the machine; without one the tests are skipped here and fail in CI."""
    if not CHROMIUM:
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)("There is no Chromium.")
    return {**browser_type_launch_args, "executable_path": CHROMIUM, "args": list(QUIET)}


@pytest.fixture(scope="session", autouse=True)
def connection_ends(django_db_setup: None, playwright: Any) -> Iterator[None]:
    """While Playwright's loop runs, Django keeps a connection of its own for this thread. Once the loop has
    stopped nobody could close it, and the test database could not be dropped.
    """
    yield
    connection.close()


def _watch(page: Page, faults: list[str], expected: set[int]) -> None:
    """Note errors of scripts, breaches of the content policy and every request that leaves the machine."""

    def on_console(message: Any) -> None:
        refused = any(f"status of {status} " in message.text for status in expected)
        if message.type in ("error", "warning") and not refused:
            faults.append(f"console: {message.text}")

    def on_request(request: Any) -> None:
        parts = urlsplit(request.url)
        if parts.scheme not in ("data", "blob", "about") and parts.hostname not in ("localhost", "127.0.0.1"):
            faults.append(f"request off the machine: {request.url}")

    page.on("console", on_console)
    page.on("pageerror", lambda error: faults.append(f"script: {error}"))
    page.on("request", on_request)


@pytest.fixture
def opened(
    browser: Browser, live_server: Any, sign_in: Callable[[User], Client]
) -> Iterator[Callable[..., Page]]:
    """Open a page of the site as somebody, or as nobody: ``opened("/find/", coordinator)``.

    The status 422 of a refused form is expected; the browser reports it to the console.
    """
    faults: list[str] = []
    contexts: list[BrowserContext] = []

    def open_page(path: str, user: User | None = None, **options: Any) -> Page:
        context = browser.new_context(base_url=live_server.url, **{**TYPICAL, **options})
        contexts.append(context)
        if user:
            session = sign_in(user).cookies[settings.SESSION_COOKIE_NAME].value
            name = settings.SESSION_COOKIE_NAME
            context.add_cookies([{"name": name, "value": session, "url": live_server.url}])
        page = context.new_page()
        _watch(page, faults, expected={422})
        page.goto(path)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert not faults
