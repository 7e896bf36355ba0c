"""Reading the quarter in the browser: it is drawn, its values can be read, a figure opens to its cases."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.factories import create_case, create_event, create_mobilisation, create_outcome, days_ago

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.filterwarnings("ignore:Session-scoped fixtures defined"),
]


@pytest.fixture
def period(centre):
    """Six courses by either route with an event, a walk and an outcome, and the period that holds them."""
    for number in range(6):
        route = "AXILLARY_L" if number % 2 else "FEMORAL_R"
        inserted = days_ago(60 - number)
        run = create_case(centre=centre, route=route, inserted_at=inserted, removed_at=days_ago(30))
        create_event(course=run.course, run=run, onset_at=days_ago(45))
        create_mobilisation(course=run.course, started_at=days_ago(50), level=7)
        create_outcome(course=run.course, occurred_at=days_ago(30))
    return f"{days_ago(70).date()}..{days_ago(0).date()}"


def test_the_quarter_is_read_and_a_figure_opens_to_its_cases(period, opened, physician):
    page = opened(f"/quarter/?period={period}", physician)
    expect(page.locator(".chart:not(.js-plotly-plot)")).to_have_count(0, timeout=30_000)

    kinks = page.locator("#table-complications-patients tr", has_text="Kink or malfunction")
    expect(kinks.locator("td").last).to_contain_text("6/6")
    page.get_by_text("Values of this figure").first.click()
    expect(page.locator("figure table").first).to_be_visible()

    kinks.locator("td").last.get_by_role("link").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Kink or malfunction")
    expect(page.locator("tbody tr")).to_have_count(6)
    page.locator("tbody a").first.click()
    page.get_by_role("link", name="Course 1").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("course 1")
