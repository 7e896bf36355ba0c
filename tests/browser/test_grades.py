"""A grade is proposed while an event is filled: what the server answers is said beside the field."""

import json
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.test_foundation import browser_type_launch_args  # noqa: F401 - a fixture

pytestmark = [pytest.mark.browser, pytest.mark.filterwarnings("ignore:Session-scoped fixtures defined")]

SCRIPTS = Path(__file__).resolve().parents[2] / "static" / "js"
FORM = """
<form class="entry" method="post">
  <input name="new-drop" id="drop">
  <div class="field" id="div_id_new-barc">
    <input name="new-barc" id="id_new-barc"><p class="hint" data-proposal role="status"></p>
  </div>
  <button type="submit">Save</button>
</form>
"""
SAID = "The entered values propose BARC 3a, because the haemoglobin fell by 3 g/dL or more."


def test_the_proposal_is_said_beside_the_field_and_fills_nothing(page: Page) -> None:
    asked: list[str] = []

    def serve(route: Route) -> None:
        if route.request.method == "POST":
            asked.append(route.request.post_data or "")
            answer = {"new-barc": SAID if "3.5" in asked[-1] else ""}
            route.fulfill(content_type="application/json", body=json.dumps(answer))
        else:
            route.fulfill(content_type="text/html", body=f"<!doctype html>{FORM}")

    page.route("**/*", serve)
    page.goto("http://logbook.test/form")
    for script in ("forms.js", "grades.js"):
        page.add_script_tag(path=SCRIPTS / script)
    page.fill("#drop", "3.5")
    page.keyboard.press("Tab")
    expect(page.get_by_role("status")).to_have_text(SAID)
    assert page.input_value("#id_new-barc") == ""
    assert 'name="propose"' in asked[0]
    page.fill("#drop", "1")
    page.keyboard.press("Tab")
    expect(page.get_by_role("status")).to_be_empty()
