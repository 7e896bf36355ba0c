"""The box for a device's code, without a server: what a scanner sends neither submits nor gets lost."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, Route

from tests.browser.test_foundation import browser_type_launch_args  # noqa: F401 - a fixture

pytestmark = [pytest.mark.browser, pytest.mark.filterwarnings("ignore:Session-scoped fixtures defined")]

SCRIPTS = Path(__file__).resolve().parents[2] / "static" / "js"
FORM = """
<form class="entry" method="post" action="/saved">
  <input type="hidden" name="csrfmiddlewaretoken" value="token">
  <input name="run-device_code" id="code" data-device-code="run" data-read-at="/read">
  <input name="run-lot" id="lot"><input name="run-serial" id="serial"><button type="submit">Save</button>
</form>
"""
ONE = {"text": "Read: lot number L7.", "fields": {"lot": "L7", "serial": "0012"}}
TWO = {
    "text": "This can be read in more than one way.",
    "readings": [
        {"said": "lot AB21CD", "code": "(10)AB21CD", "fields": {"lot": "AB21CD"}},
        {"said": "lot AB; serial CD", "code": "(10)AB(21)CD", "fields": {"lot": "AB", "serial": "CD"}},
    ],
}


@pytest.fixture
def label_page(page: Page) -> Callable[[dict[str, Any]], Page]:
    """The form on a page of its own, and a server that answers as told."""

    def opened(answer: dict[str, Any]) -> Page:
        def serve(route: Route) -> None:
            if route.request.url.endswith("/read"):
                route.fulfill(content_type="application/json", body=json.dumps(answer))
            else:
                route.fulfill(content_type="text/html", body=f"<!doctype html>{FORM}")

        page.route("**/*", serve)
        page.goto("http://logbook.test/form")
        for script in ("forms.js", "labels.js"):
            page.add_script_tag(path=SCRIPTS / script)
        return page

    return opened


def scan(page: Page) -> None:
    """What a scanner types: the code, its separator as Ctrl + ], and Enter."""
    page.focus("#code")
    page.keyboard.type("10L7")
    page.keyboard.press("Control+]")
    page.keyboard.type("210012")
    page.keyboard.press("Enter")


def test_a_scan_fills_the_fields_and_does_not_submit(label_page: Callable[[dict[str, Any]], Page]) -> None:
    page = label_page(ONE)
    scan(page)
    page.wait_for_function("document.getElementById('serial').value === '0012'")
    assert page.input_value("#code") == "10L7␝210012"
    assert page.input_value("#lot") == "L7"
    assert page.text_content("#code_read") == "Read: lot number L7."
    assert page.url.endswith("/form")


def test_what_was_typed_stays(label_page: Callable[[dict[str, Any]], Page]) -> None:
    page = label_page(ONE)
    page.fill("#lot", "L8")
    scan(page)
    page.wait_for_function("document.getElementById('serial').value === '0012'")
    assert page.input_value("#lot") == "L8"


def test_an_unclear_code_is_chosen_from(label_page: Callable[[dict[str, Any]], Page]) -> None:
    page = label_page(TWO)
    scan(page)
    page.click("text=lot AB; serial CD")
    assert [page.input_value(box) for box in ("#code", "#lot", "#serial")] == ["(10)AB(21)CD", "AB", "CD"]
