"""The comparison in the browser: later sections arrive by themselves, charts are drawn, nothing is "
"refused."""

from __future__ import annotations

import re
from itertools import pairwise
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


def test_charts_fit_a_phone(logbook, opened, physician):
    page = opened("/compare/", physician, viewport={"width": 390, "height": 844})
    wait_for_later(page)
    for name in ("chart-forest", "chart-balance"):
        chart = page.locator(f'.chart[data-figure="{name}"]')
        if chart.count():
            assert chart.evaluate("place => place._fullLayout._size.w") > 280
            assert chart.locator(".yaxislayer-above text, .ytick").count() == 0
            assert chart.evaluate("place => place._fullLayout.height - place.clientHeight") == 0
    for title in page.locator(".chart .xtitle").all():
        box = title.bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 390


def test_ticks_with_words_do_not_overprint(logbook, opened, physician):
    """Eight quarters that begin at every second of sixteen events."""
    page = opened("/compare/", physician, viewport={"width": 390, "height": 844})
    wait_for_later(page)
    page.evaluate(
        """() => {
            const spec = {
                data: [{ type: "scatter", x: [...Array(16).keys()], y: Array(16).fill(1) }],
                layout: { xaxis: { range: [-0.5, 15.5], tickangle: 0, tickvals: [0, 2, 4, 6, 8, 10, 12, 14],
                    ticktext: Array(8).fill("2024 Q1"), title: { text: "words ".repeat(30) } } },
            };
            const words = Object.assign(document.createElement("script"), { id: "spec-x" });
            words.type = "application/json";
            words.textContent = JSON.stringify(spec);
            const place = Object.assign(document.createElement("div"), { className: "chart" });
            place.dataset.figure = "spec-x";
            document.querySelector("main").prepend(words, place);
            document.dispatchEvent(new CustomEvent("dwellbook:swapped", { detail: place }));
        }"""
    )
    place = page.locator('.chart[data-figure="spec-x"]')
    expect(place.locator("g.xtick text")).not_to_have_count(0)
    boxes = [tick.bounding_box() for tick in place.locator("g.xtick text").all()]
    assert len(boxes) > 2
    assert all(a["x"] + a["width"] <= b["x"] for a, b in pairwise(boxes))
    assert place.locator(".xtitle tspan").count() > 2


def test_long_values_are_not_printed(logbook, opened, physician):
    page = opened("/compare/", physician)
    wait_for_later(page)
    page.emulate_media(media="print")
    long, short = page.locator(".figure .long"), page.locator(".figure details:not(.long)")
    assert long.count()
    assert short.count()
    for details in long.all():
        assert details.locator("table tbody tr").count() > 20
        assert not details.locator("table").is_visible()
        assert "not printed. They stand in the comparison as JSON." in details.locator("summary").inner_text()
    assert all(details.locator("table").is_visible() for details in short.all())
