"""The comparison and the trends say the same numbers on page, in JSON, on slides, in packet and workbook."""

from __future__ import annotations

import html
import io
import json
import re
from dataclasses import replace
from typing import Any

import pytest
from openpyxl import load_workbook
from pptx import Presentation

from outcomes.comparison.page.drawing import comparison_spec
from outcomes.comparison.page.table import Table
from outcomes.comparison.serialise import as_json
from outcomes.comparison.summary import summary
from outcomes.comparison.value import Comparison
from outcomes.exports.drawing.compared import difference_words
from outcomes.exports.material import Material
from outcomes.exports.packet import packet_html
from outcomes.exports.slides import context_pages, slides
from outcomes.exports.slides.context_pages import forest_rows
from outcomes.exports.workbook import workbook
from outcomes.figures import Chart
from outcomes.plotly_charts import plotly_spec

CELL = re.compile(r"<td class=\"num\"><b>([^<]*)</b>(?: ([^<(]*?))?(?: <span[^>]*>\(([^<]*)\)</span>)?</td>")


@pytest.fixture
def full(material: Material, compared: Comparison) -> Material:
    """The material of a quarter beside a programme that is large enough to be adjusted."""
    return replace(material, compared=compared)


def in_json(material: Material) -> dict[str, Any]:
    assert material.compared is not None
    found: dict[str, Any] = json.loads(as_json(material.compared))
    return found


def rows_of(material: Material, sheet: str) -> list[dict[str, Any]]:
    head, *rows = load_workbook(io.BytesIO(workbook(material)))[sheet].values
    return [dict(zip(head, row, strict=True)) for row in rows]


def same(written: Any, value: Any) -> bool:
    return written == (value if value is None else pytest.approx(value, rel=1e-14))


def charts_of_slides(material: Material) -> dict[str, Any]:
    return {
        shape._element.xpath(".//p:cNvPr")[0].get("descr"): shape.chart
        for slide in Presentation(io.BytesIO(slides(material))).slides
        for shape in slide.shapes
        if shape.has_chart
    }


def numbers(series: Any, axis: str) -> list[float]:
    return [float(v.text) for v in series._element.xpath(f"./c:{axis}//c:v")]


def test_the_workbook_holds_the_outcomes_of_the_file(full: Material) -> None:
    rows = {row["code"]: row for row in rows_of(full, "Routes compared")}
    found = in_json(full)

    assert set(rows) == {row["code"] for row in found["crude"]["rows"]}
    for row in found["crude"]["rows"]:
        written = rows[row["code"]]
        for route in ("axillary", "femoral"):
            share = row[route]
            assert same(written[f"{route}_n"], share["hits"])
            assert same(written[f"{route}_share"], share["value"])
            assert same(written[f"{route}_upper"], share["upper"])
        for name in ("difference", "ratio"):
            assert same(written[f"crude_{name}"], row[name]["value"])
            assert same(written[f"crude_{name}_lower"], row[name]["lower"])
            assert same(written[f"crude_{name}_upper"], row[name]["upper"])
    assert sum(row["weighted_difference"] is not None for row in rows.values()) > 1
    for row in found["adjusted"]["rows"]:
        written = rows[row["code"]]
        for name in ("difference", "ratio"):
            assert same(written[f"weighted_{name}"], row[name]["value"])
            assert same(written[f"weighted_{name}_lower"], row[name]["lower"])
        assert same(written["e_value"], row["e_value"])
        assert row["refusal"] in (written["note"] or "")


def test_the_workbook_holds_the_start_the_other_ways_and_the_curves_of_the_file(full: Material) -> None:
    found = in_json(full)
    start = zip(rows_of(full, "Routes at the start"), found["baseline"]["rows"], strict=True)
    for written, row in start:
        assert written["characteristic"] == row["label"]
        assert same(written["difference_before"], row["before"])
        assert same(written["difference_after"], row["after"])
        assert [written["axillary_missing"], written["femoral_missing"]] == row["missing"]
    for written, row in zip(rows_of(full, "Routes, other ways"), found["sensitivity"]["rows"], strict=True):
        assert same(written["crude_difference"], row["crude"]["value"])
        assert same(written["weighted_difference"], row["adjusted"]["value"])
    curves = [*found["timing"]["mobilisation"], *found["timing"]["bridge"]]
    values = [value for curve in curves for line in curve["lines"] for value in line["values"]]
    assert [row["incidence"] for row in rows_of(full, "Routes over time")] == pytest.approx(values, rel=1e-14)


def test_the_words_are_the_same_everywhere(full: Material) -> None:
    assert full.compared is not None
    said = list(summary(full.compared))
    document = html.unescape(packet_html(full))
    notes = "\n".join(
        slide.notes_slide.notes_text_frame.text for slide in Presentation(io.BytesIO(slides(full))).slides
    )

    assert [row["conclusion"] for row in rows_of(full, "Conclusions")] == said == in_json(full)["summary"]
    assert all(paragraph in document and paragraph in notes for paragraph in said)


def test_the_forest_is_the_same_on_page_slide_and_paper(full: Material) -> None:
    forest, compared = full.forest, full.compared
    assert forest is not None
    assert compared is not None
    assert [series.name for series in forest.series] == ["Crude", "Weighted"]
    page = {trace["name"]: trace for trace in comparison_spec(forest)["data"]}
    document = html.unescape(packet_html(full))
    for series in forest.series:
        assert page[series.name]["x"] == [100 * y for y in series.y]
        assert all(difference_words(series, i) in document for i in range(len(series.x)))
        assert all(note in document for note in series.notes)

    shown = forest.of(forest_rows(compared, forest))
    plotted = {series.name: series for series in charts_of_slides(full)[forest.label].plots[0].series}
    for series in shown.series:
        on_slide = numbers(plotted[series.name], "xVal")[: len(series.x)]
        assert on_slide == pytest.approx([100 * y for y in series.y])
        for i, name in enumerate(series.x):
            ends = numbers(plotted[f"{series.name}, limits: {name}"], "xVal")
            known = (series.lower[i], series.upper[i])
            wanted = [100 * (series.y[i] if end is None else end) for end in known]
            assert ends == pytest.approx(wanted)


def test_the_forest_of_the_slide_names_what_it_draws(full: Material) -> None:
    forest, compared = full.forest, full.compared
    assert forest is not None
    assert compared is not None
    shown = forest.of(forest_rows(compared, forest))
    words = "".join(charts_of_slides(full)[forest.label]._chartSpace.xpath(".//c:dLbl//a:t/text()"))

    assert all(row in words for row in shown.rows)
    assert all(difference_words(series, i) in words for series in shown.series for i in range(len(series.x)))


def test_the_slide_drops_no_outcome_that_differs_beyond_chance(
    full: Material, monkeypatch: pytest.MonkeyPatch
) -> None:
    forest, compared = full.forest, full.compared
    assert forest is not None
    assert compared is not None
    assert compared.crude is not None
    weighted = {label for series in forest.series[1:] for label in series.x}
    rare = min(
        (row for row in compared.crude.rows if row.label in forest.rows and row.label not in weighted),
        key=lambda row: (row.axillary.hits or 0) + (row.femoral.hits or 0),
    )
    clear = replace(rare, difference=replace(rare.difference, lower=-0.2, upper=-0.04))
    rows = tuple(clear if row is rare else row for row in compared.crude.rows)
    monkeypatch.setattr(context_pages, "MOST_OUTCOMES", len(weighted) + 1)

    shown = forest_rows(replace(compared, crude=replace(compared.crude, rows=rows)), forest)
    assert rare.label in shown


def test_the_packet_holds_the_tables_of_the_comparison(full: Material) -> None:
    document = packet_html(full)
    part = document[document.index('<section id="comparison">') : document.index('id="rules"')]
    written = CELL.findall(part)
    tables = [
        part if isinstance(part, Table) else part.table
        for section in full.compared_sections
        for part in section.parts
        if isinstance(part, Table) or hasattr(part, "diagram")
    ]
    cells = [cell for table in tables for row in table.rows for cell in row.cells if cell.value]

    assert len(cells) > 150
    assert [tuple(map(html.unescape, found)) for found in written] == [
        (cell.value, cell.of, cell.limits) for cell in cells
    ]


def test_trends_are_the_same_on_page_slide_and_in_the_workbook(material: Material) -> None:
    on_slides = charts_of_slides(material)
    rows = rows_of(material, "Quarters")

    assert len(material.trends) == 4
    for chart in material.trends:
        page = {trace["name"]: trace for trace in plotly_spec(chart)["data"] if "name" in trace}
        plotted = {series.name: series for series in on_slides[chart.label].plots[0].series}
        for series in chart.series:
            assert list(page[series.name]["x"]) == list(series.x)
            assert list(page[series.name]["y"]) == list(series.y)
            assert [v for v in plotted[series.name].values if v is not None] == list(series.y)
            written = [
                (row["at"], row["value"], row["lower"], row["upper"])
                for row in rows
                if (row["chart"], row["series"]) == (chart.label, series.name)
            ]
            assert written == [pytest.approx(row) for row in _points(series)]


def _points(series: Any) -> list[tuple[Any, ...]]:
    return list(zip(series.x, series.y, series.lower, series.upper, strict=True))


def test_what_the_committee_may_not_see_is_in_none_of_its_files(material: Material, few: Comparison) -> None:
    seen = replace(material, compared=few, cases=(), cases_shown=False, smallest_cell=5)
    hidden = [row for row in in_json(seen)["crude"]["rows"] if row["axillary"]["note"].startswith("hidden")]
    rows = {row["code"]: row for row in rows_of(seen, "Routes compared")}
    forest = seen.forest

    assert hidden
    for row in hidden:
        written = rows[row["code"]]
        assert all(written[name] is None for name in ("axillary_n", "axillary_N", "axillary_share"))
        assert written["crude_difference"] is None
        assert forest is None or row["label"] not in forest.rows
    assert not any(isinstance(part, Chart) and part.id == "chart-overlap" for part in _parts(seen))


def _parts(material: Material) -> list[Any]:
    return [part for section in material.compared_sections for part in section.parts]
