"""Page, JSON, slides, packet and workbook say the same numbers."""

from __future__ import annotations

import html
import io
import json
import re
from collections import Counter
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest
from django.template.loader import render_to_string
from openpyxl import load_workbook
from pptx import Presentation

from outcomes.exports.material import Material
from outcomes.exports.packet import packet, packet_html
from outcomes.exports.slides import slides
from outcomes.exports.slides.quarter_pages import with_events
from outcomes.exports.slides.told import cell, two_lines
from outcomes.exports.workbook import workbook
from outcomes.measures.values import Figure
from outcomes.plotly_charts import plotly_spec
from outcomes.report.serialise import as_json
from outcomes.routes import finding
from outcomes.views import drawn
from outcomes.wording import show
from tests.outcomes.exports.test_packet import text_of

NOT_ON_SLIDES = ("chart-after-transplant", "chart-after-durable")  # fourteen slides are enough
NUMBER = re.compile(r"\d+(?:,\d{3})*(?:\.\d+)?")
CELL = re.compile(
    r"figure=(?P<key>[^\"&]+)\"><b>(?P<value>[^<]*)</b></a>(?:<sup>[^<]*</sup>)?"
    r"(?: <span class=\"rest\">(?:<span class=\"of\">(?P<of>[^<]*)</span>)?"
    r"(?: <span class=\"ci\">\((?P<limits>[^<]*)\)</span>)?)?"
)
Said = tuple[str, str, str]


def on_page(material: Material) -> dict[str, Said]:
    """Value, what it is out of and limits of every figure, as they stand on the page."""
    sections = [drawn(section) for section in material.sections]
    page = render_to_string(
        "quarter/body.html", {"report": material.report, "sections": sections, "opens": True}
    )
    return {
        unquote(found["key"]): (html.unescape(found["value"]), found["of"] or "", found["limits"] or "")
        for found in CELL.finditer(page)
    }


def in_json(material: Material) -> dict[str, dict[str, Any]]:
    return {figure["key"]: figure for figure in json.loads(as_json(material.report))["figures"]}


def said(figure: dict[str, Any]) -> Said:
    """A figure of the file in the words of the page."""
    shown = show(Figure(**figure))
    return shown.value, shown.of, shown.limits


def test_page_and_json(material: Material) -> None:
    page, file = on_page(material), in_json(material)

    assert len(page) > 200
    assert page == {key: said(file[key]) for key in page}


def test_workbook_and_json(material: Material) -> None:
    book = load_workbook(io.BytesIO(workbook(material)))
    rows = {}
    for sheet in book:
        head, *found = sheet.values
        if "N" in head:
            rows |= {row["key"]: row for row in (dict(zip(head, values, strict=True)) for values in found)}
    file = in_json(material)

    assert set(rows) == set(file)
    columns = {
        "numerator": "n",
        "denominator": "N",
        "estimate": "estimate",
        "lower": "lower",
        "upper": "upper",
    }
    for key, figure in file.items():
        for name, column in columns.items():
            value, written = figure[name], rows[key][column]
            assert written == (value if value is None else pytest.approx(value, rel=1e-14)), (key, name)


def test_curves_of_workbook_and_json(material: Material) -> None:
    head, *found = load_workbook(io.BytesIO(workbook(material)))["Curves"].values
    rows = [dict(zip(head, values, strict=True)) for values in found]
    for curve in json.loads(as_json(material.report))["curves"]:
        written = [row for row in rows if row["key"] == curve["key"]]
        assert [row["day"] for row in written] == pytest.approx([0.0, *curve["days"]], rel=1e-14)
        assert [row["estimate"] for row in written] == pytest.approx(
            [curve["start"], *curve["estimate"]], rel=1e-14
        )


def test_packet_and_page(material: Material, tmp_path: Path) -> None:
    """The packet holds the cells of the page in their order, and its PDF every number of its text."""
    whole = packet_html(material)
    document = re.sub(
        r"<section id=\"comparison\">.*<section class=\"section\" id=\"rules\"", "", whole, flags=re.S
    )
    cells = re.findall(
        r"<td class=\"num\"><b>([^<]*)</b>(?:<sup>[^<]*</sup>)? ([^<]*?)(?: <span[^>]*>\(([^<]*)\))?",
        document,
    )
    page = on_page(material)
    in_order = [
        cell.key
        for table in material.tables.values()
        for row in table.rows
        for cell in row.cells
        if cell and cell.shown.value
    ]
    values = re.findall(r"<td class=\"num\"><b>([^<]*)</b>", document)
    assert cells
    assert [html.unescape(value) for value in values] == [page[key][0] for key in in_order]

    words = re.sub(r"<(style|title|desc|head)\b.*?</\1>", " ", whole, flags=re.S)
    expected = Counter(NUMBER.findall(html.unescape(re.sub(r"<[^>]+>", " ", words))))
    printed = Counter(NUMBER.findall(text_of(packet(material), tmp_path)))
    missing = expected - printed
    assert not missing


def test_charts_of_slides_and_page(material: Material) -> None:
    """Every value that a chart of the page draws is in the slide's chart of the same name."""
    frames = {
        shape._element.xpath(".//p:cNvPr")[0].get("descr"): shape.chart
        for slide in Presentation(io.BytesIO(slides(material))).slides
        for shape in slide.shapes
        if shape.has_chart
    }
    compared = 0
    for chart in material.charts.values():
        if chart.kind not in ("steps", "dots") or chart.id in NOT_ON_SLIDES:
            continue
        on_slide = {series.name: list(series.values) for series in frames[chart.label].plots[0].series}
        kept = with_events(chart)[0] if chart.kind == "dots" else chart
        lines = {t["name"]: t for t in plotly_spec(kept)["data"] if t.get("name")}
        for name, trace in lines.items():
            drawn_values = trace["x"] if chart.kind == "dots" else trace["y"]
            assert set(drawn_values) == set(on_slide[name]), chart.id
            compared += 1
    assert compared >= 8


def test_stacks_of_slides_read_the_curves(material: Material) -> None:
    frames = [
        shape.chart
        for slide in Presentation(io.BytesIO(slides(material))).slides
        for shape in slide.shapes
        if shape.has_chart and shape.chart.chart_type.name == "COLUMN_STACKED"
    ]
    stacks = [chart for chart in material.charts.values() if chart.kind == "stack"]

    assert len(frames) == len(stacks) == 2
    for frame, chart in zip(frames, stacks, strict=True):
        for plotted, series in zip(frame.plots[0].series, chart.series, strict=True):
            known = [value for value in plotted.values if value is not None]
            assert set(known) <= {0.0, *series.y}
            assert known[-1] == series.y[-1]


def test_tables_of_slides_and_json(material: Material) -> None:
    """Every number in a cell of a slide is a figure of the file, in the words of the page."""
    spoken: set[str] = set()
    for figure in in_json(material).values():
        spoken |= {cell(Figure(**figure)), two_lines(Figure(**figure))}
    rows: list[list[str]] = [
        [part.text for part in row.cells]
        for slide in Presentation(io.BytesIO(slides(material))).slides
        for shape in slide.shapes
        if shape.has_table and shape.table.cell(0, 1).text == "Axillary"
        for row in list(shape.table.rows)[1:]
    ]
    assert len(rows) > 20
    for label, *cells in rows:
        if "quartiles" not in label:
            assert {text for text in cells if text != "–"} <= spoken, label


def test_titles_and_glance_hold_only_numbers_of_the_report(material: Material) -> None:
    known = set(NUMBER.findall(f"{material.header.period} 2025-Q4 by day 3, per 1,000 device-days"))
    for figure in in_json(material).values():
        known |= set(NUMBER.findall(" ".join(said(figure)))) | set(NUMBER.findall(cell(Figure(**figure))))
    for report in material.quarters:
        known |= {show(f).value for f in report.figures_of("volume.begun", "ALL")}
        known |= {show(f).value for f in report.figures_of("complications", "ALL")}
    assert material.compared is not None
    known |= set(NUMBER.findall(finding(material.compared)))
    known |= {
        str(len(material.quarters) - 1),
        str(len(material.cases)),
        str(sum(line.count for line in material.report.left_out)),
    }
    deck = Presentation(io.BytesIO(slides(material)))
    titles = " ".join(slide.shapes.title.text.replace("\u2011", "-") for slide in deck.slides)
    glance = " ".join(
        s.text_frame.text for s in deck.slides[1].shapes if s.has_text_frame and not s.is_placeholder
    )

    assert set(NUMBER.findall(titles)) | set(NUMBER.findall(glance)) <= known
