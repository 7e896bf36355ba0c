"""The comparison in the browser: later sections arrive by themselves, charts are drawn, nothing is "
"refused."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.factories import create_case, create_event, create_outcome, days_ago

# pytest-base-url declares its session fixture in a way that pytest 9 warns about.
pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.filterwarnings("ignore:Session-scoped fixtures defined"),
]
AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
LATER = ("time", "naive", "sensitivity", "over-time")


@pytest.fixture
def logbook(centre):
    """Enough courses of both routes for every chart but the weighted ones."""
    for number in range(16):
        route = "AXILLARY_L" if number % 2 else "FEMORAL_R"
        run = create_case(
            centre=centre, route=route, inserted_at=days_ago(60 - number), removed_at=days_ago(30)
        )
        create_outcome(course=run.course, occurred_at=days_ago(30))
        if number % 3 == 0:
            create_event(
                course=run.course,
                kind="BLEEDING",
                bleed_site="ACCESS",
                barc="2",
                onset_at=days_ago(40),
                serious=True,
            )
    return centre


def wait_for_later(page: Page) -> None:
    """Until every section has been fetched and every chart is drawn."""
    expect(page.locator("a[data-later]")).to_have_count(0, timeout=30_000)
    for name in LATER:
        expect(page.locator(f"#{name} .later")).to_have_count(0, timeout=30_000)
    expect(page.locator(".chart:not(.js-plotly-plot)")).to_have_count(0, timeout=30_000)


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (390, "dark")])
def test_the_whole_page_is_accessible(logbook, opened, physician, width, scheme):
    page = opened(
        "/compare/?bands=1", physician, viewport={"width": width, "height": 900}, color_scheme=scheme
    )
    wait_for_later(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.evaluate(AXE)
    found = page.evaluate(
        "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa', 'best-practice']})"
    )
    assert [(fault["id"], fault["nodes"][0]["html"]) for fault in found["violations"]] == []


def test_a_new_choice_swaps_the_page_and_stands_in_the_address(logbook, opened, physician):
    page = opened("/compare/", physician)
    wait_for_later(page)
    page.select_option("#outcome", "BLEEDING")
    page.get_by_role("button", name="Compare").click()
    page.wait_for_url(re.compile(r"outcome=BLEEDING"))
    expect(page.locator(".conclusion")).to_contain_text("Bleeding", timeout=30_000)
    wait_for_later(page)
    assert "Bleeding" in page.locator("#sensitivity").inner_text()


def test_a_figure_opens_to_its_cases(logbook, opened, physician):
    page = opened("/compare/?outcome=BLEEDING", physician)
    page.locator("#table-complications a").first.click()
    assert page.get_by_role("heading", level=1).inner_text()
    assert (
        page.get_by_role("link", name="Back to the comparison").get_attribute("href")
        == "/compare/?outcome=BLEEDING"
    )
