"""The page scripts on their own, without a server: what is typed is read the same way here and there."""

import os
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Page

from registry.forms.moments import UnreadableTimeError, parse_moment, write_moment

# pytest-base-url declares its session fixture in a way that pytest 9 warns about.
pytestmark = [pytest.mark.browser, pytest.mark.filterwarnings("ignore:Session-scoped fixtures defined")]

SCRIPTS = Path(__file__).resolve().parents[2] / "static" / "js"
BERLIN = ZoneInfo("Europe/Berlin")
NOW = datetime(2026, 3, 10, 15, 20, tzinfo=UTC)
TYPED = [
    "t 1430", "t1430", "y 0815", "t-2 08:00", "n", "4 3 2025 1430", "04.03.2025 14:30", "4. 3. 2025 14.30",
    "2025-03-04T14:30", "2025-03-04T13:30Z", "2025-03-04T08:30-0500", "4 Mar 2025 2:30 pm", "4mar2025 1430",
    "04-Mar-2025 14:30", "March 4, 2025, 2 p.m.", "4th March 2025 at 14h30", "14/3/2025 1430",
    "3/14/2025 1430", "4/3/2025 1430", "04-03-2025 14:30", "4 Mar 2025", "1430", "04.03.25 14:30",
    "31.4.2025 1430", "0/3/2025 1430",
    "4 Mar 2025 2400", "4 Mar 2025 1460", "4 Mar 2025 0:30 am", "31 Dec 1999 1430", "11 Mar 2026 1621",
    "11 Mar 2026 1600", "30 Mar 2025 0230", "26 Oct 2025 0230", "26 Oct 2025 0230 first",
    "26 Oct 2025 0230 second", "26 Oct 2025 0230 +01:00", "26 Oct 2025 0330 first", "soon",
]  # fmt: skip
FORM = """
<form class="entry" method="get">
  <input type="radio" name="route" value="AXILLARY_L" id="axillary"><input type="radio" name="route" value="FEMORAL_L" id="femoral">
  <div data-show-when="route=AXILLARY_L,AXILLARY_R"><select name="puncture" id="puncture"><option value=""></option><option value="M">M</option></select></div>
  <div data-show-when="puncture=*"><input name="detail" id="detail"></div>
  <input name="height" id="height"><input name="weight" id="weight"><button type="submit" id="save">Save</button>
</form>
"""  # noqa: E501


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    chromium = os.environ.get("CHROMIUM", shutil.which("chromium"))
    return {
        **browser_type_launch_args,
        "executable_path": chromium,
        "args": ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"],
    }


@pytest.fixture
def moment_page(page: Page) -> Page:
    page.clock.set_fixed_time(NOW)
    page.set_content(
        '<input id="at" data-time-kind="moment" data-zone="Europe/Berlin" data-days-ahead="1">'
        '<output class="read-back" for="at"></output>'
    )
    page.add_script_tag(path=SCRIPTS / "moments.js")
    return page


def expected(text: str) -> str | None:
    try:
        return write_moment(parse_moment(text, now=NOW, zone=BERLIN), BERLIN)
    except UnreadableTimeError:
        return None


def test_the_page_reads_back_what_the_server_will_read(moment_page: Page) -> None:
    shown = {}
    for text in TYPED:
        moment_page.fill("#at", text)
        answer = moment_page.locator("output")
        understood = answer.get_attribute("data-state") == "read"
        shown[text] = answer.inner_text()[4:] if understood else None
    assert shown == {text: expected(text) for text in TYPED}


def test_the_read_back_names_the_day_of_the_week(moment_page: Page) -> None:
    moment_page.fill("#at", "4 3 2025 1430")
    assert moment_page.locator("output").inner_text() == "Tue 04-Mar-2025 14:30"


@pytest.fixture
def form_page(page: Page) -> Page:
    page.set_content(FORM)
    page.add_script_tag(path=SCRIPTS / "forms.js")
    return page


def test_what_does_not_apply_is_neither_shown_nor_sent(form_page: Page) -> None:
    assert form_page.locator("#puncture").is_hidden()
    assert form_page.locator("#puncture").is_disabled()
    form_page.check("#axillary")
    assert form_page.locator("#puncture").is_enabled()
    form_page.select_option("#puncture", "M")
    assert form_page.locator("#detail").is_visible()
    form_page.check("#femoral")
    assert form_page.locator("#puncture").is_disabled()
    assert form_page.locator("#detail").is_disabled()


def test_enter_moves_on_and_saves_only_at_the_button(form_page: Page) -> None:
    form_page.focus("#height")
    form_page.keyboard.press("Enter")
    assert form_page.evaluate("document.activeElement.id") == "weight"
    form_page.keyboard.press("Enter")
    assert form_page.evaluate("document.activeElement.id") == "save"
