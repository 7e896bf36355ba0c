"""The slides: native, described, complete, the same twice."""

from __future__ import annotations

import io
import re
import zipfile
from typing import Any

import pytest
from openpyxl import load_workbook
from pptx import Presentation
from pptx.util import Inches

from outcomes.exports.material import Material
from outcomes.exports.slides import slides
from outcomes.exports.slides.quarter_pages import with_events
from registry.models import Patient
from tests.outcomes.builder import Logbook
from tests.outcomes.exports.conftest import material_of


@pytest.fixture
def deck(material: Material) -> Any:
    return Presentation(io.BytesIO(slides(material)))


def graphics(deck: Any) -> list[Any]:
    """Charts, tables and drawn shapes that are no placeholder and no plain text."""
    return [
        shape
        for slide in deck.slides
        for shape in slide.shapes
        if not shape.is_placeholder and (shape.has_chart or shape.has_table or shape.shape_type != 17)
    ]


def charts(deck: Any) -> list[Any]:
    return [shape.chart for shape in graphics(deck) if shape.has_chart]


def all_text(deck: Any) -> str:
    """Every word on the slides and in the notes."""
    words = []
    for slide in deck.slides:
        words.append(slide.notes_slide.notes_text_frame.text)
        for shape in slide.shapes:
            if shape.has_text_frame:
                words.append(shape.text_frame.text)
            if shape.has_table:
                words += [cell.text for row in shape.table.rows for cell in row.cells]
    return "\n".join(words)


def test_it_is_wide_and_of_a_length_to_be_shown(deck: Any) -> None:
    assert (deck.slide_width, deck.slide_height) == (Inches(13.333), Inches(7.5))
    assert 10 <= len(deck.slides) <= 14


def test_every_slide_has_a_title_a_footer_a_number_and_notes(deck: Any) -> None:
    for slide in deck.slides:
        texts = [shape.text_frame.text for shape in slide.placeholders]
        assert slide.shapes.title.text
        assert any("data as of" in text and "Not medical advice" in text for text in texts)
        assert slide.notes_slide.notes_text_frame.text
        assert any(shape.placeholder_format.type.name == "SLIDE_NUMBER" for shape in slide.placeholders)


def test_every_graphic_has_a_text_of_its_own(deck: Any) -> None:
    assert len(graphics(deck)) > 20
    for shape in graphics(deck):
        assert shape._element.xpath(".//p:cNvPr")[0].get("descr")


def test_nothing_leaves_the_slide(deck: Any) -> None:
    for slide in deck.slides:
        for shape in slide.shapes:
            assert shape.left >= 0
            assert shape.left + shape.width <= deck.slide_width
            assert shape.top + shape.height <= deck.slide_height


def test_charts_are_native_and_carry_their_numbers(deck: Any) -> None:
    assert len(charts(deck)) >= 8
    for chart in charts(deck):
        book = load_workbook(io.BytesIO(chart.part.chart_workbook.xlsx_part.blob))
        assert book["Sheet1"].max_row > 1


def test_error_bars_stand_where_the_schema_wants_them_and_in_the_sheet(deck: Any) -> None:
    with_bars = [chart for chart in charts(deck) if chart._chartSpace.xpath(".//c:errBars")]
    assert with_bars
    for chart in with_bars:
        for bars in chart._chartSpace.xpath(".//c:errBars"):
            assert bars.getnext().tag.endswith("}cat")
        heads = next(load_workbook(io.BytesIO(chart.part.chart_workbook.xlsx_part.blob))["Sheet1"].values)
        assert any("to upper limit" in str(head) for head in heads)


def test_lines_of_a_scatter_chart_are_equally_long(deck: Any) -> None:
    """LibreOffice 7.4 drops lines that are longer than the first one (tried)."""
    curves = [c for c in charts(deck) if c.chart_type.name == "XY_SCATTER_LINES_NO_MARKERS"]
    assert curves
    for chart in curves:
        assert len({len(list(series.values)) for series in chart.plots[0].series}) == 1


def test_the_names_of_a_forest_lie_inside_its_axis(deck: Any) -> None:
    """LibreOffice 7.4 drops names on the rounded edge of the axis (tried)."""
    forests = [chart for chart in charts(deck) if chart.chart_type.name == "XY_SCATTER"]
    assert forests
    for chart in forests:
        places = [float(value.text) for value in chart._chartSpace.iterfind(".//{*}xVal//{*}v")]
        assert chart.category_axis.minimum_scale < min(places)


def test_the_same_material_gives_the_same_bytes(material: Material) -> None:
    assert slides(material) == slides(material)


def test_no_moment_of_writing_is_kept(material: Material) -> None:
    archive = zipfile.ZipFile(io.BytesIO(slides(material)))
    year = material.header.data_cut.strftime("%Y-%m-%dT%H:%M:%S")

    assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert year in archive.read("docProps/core.xml").decode()


def test_no_slide_names_a_patient(deck: Any, material: Material) -> None:
    text = all_text(deck)

    assert not any(patient.study_no in text for patient in Patient.objects.all())
    assert not re.search(r"\d{2}-(Jul|Aug|Sep)-2026 ", text)


def test_those_who_see_no_cases_get_no_slide_of_them(book: Logbook) -> None:
    deck = Presentation(io.BytesIO(slides(material_of(book, smallest_cell=5))))

    assert not any("for discussion" in slide.shapes.title.text for slide in deck.slides)
    assert "Nobody was at risk" not in all_text(deck)


def test_a_quarter_without_anything_can_be_shown(nothing: Material) -> None:
    deck = Presentation(io.BytesIO(slides(nothing)))

    assert len(deck.slides) >= 10
    assert all(slide.shapes.title.text for slide in deck.slides)


def test_rows_without_an_event_are_named_instead_of_drawn(material: Material) -> None:
    shown, silent = with_events(material.charts["chart-complications"])

    assert "Bleeding" in shown.series[0].x
    assert "nerve injury" in silent
    assert "Nerve injury" not in shown.series[0].x


def test_a_slide_says_that_bars_are_cut_where_some_are(deck: Any, material: Material) -> None:
    pairs = (("volume-begun", "dwell-run"), ("complications", "repositions"))
    shown = [[material.charts.get(f"chart-trend-{name}") for name in pair] for pair in pairs]
    cut = [any(chart and chart.cut for chart in pair) for pair in shown if any(pair)]
    lines = [
        shape.text_frame.text
        for slide in deck.slides
        for shape in slide.shapes
        if shape.has_text_frame and "A single quarter above" in shape.text_frame.text
    ]

    assert any(cut)
    assert ["reach the upper edge go on beyond it" in line for line in lines] == cut
