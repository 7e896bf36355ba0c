"""Ratios with their limits as a native chart.

LibreOffice leaves out custom error bars along x of scatter charts, so each interval is a line of two points.
"""

from __future__ import annotations

from math import isfinite
from typing import Any

from lxml import etree
from pptx.chart.data import XyChartData
from pptx.enum.chart import (
    XL_CHART_TYPE,
    XL_LABEL_POSITION,
    XL_MARKER_STYLE,
)
from pptx.enum.dml import MSO_LINE
from pptx.oxml.ns import qn
from pptx.util import Pt

from outcomes.exports.drawing.intervals import RATIO_HIGH, RATIO_LOW, ratio_words
from outcomes.exports.slides.dress import (
    LABEL_SIZE,
    C,
    dress_axis,
    mark,
    plain_line,
)
from outcomes.exports.slides.page import Box, Page
from outcomes.exports.slides.template import INK, SOFT
from outcomes.figures import Chart, Series

NAMES_AT, COUNTS_AT, RATIOS_AT = 2.0**-7.95, 2.0**4.7, 2.0**6.2
FOREST_LOW, FOREST_HIGH = 2.0**-8, 2.0**9


def forest(page: Page, chart: Chart, box: Box) -> Any:
    """Estimates, a line for each interval, a line at 1, and two columns of words that need no point."""
    series = chart.series[0]
    rows = list(range(len(series.x), 0, -1))
    data = XyChartData()
    points = data.add_series("Rate ratio")
    for y, value in zip(rows, series.y, strict=True):
        points.add_data_point(_within(value), y)
    for y, name, low, high in zip(rows, series.x, series.lower, series.upper, strict=True):
        interval = data.add_series(f"Limits: {name}")
        interval.add_data_point(_within(low or RATIO_LOW), y)
        interval.add_data_point(_within(high or RATIO_HIGH), y)
    one = data.add_series("No difference")
    for end in (0.4, len(rows) + 0.6):
        one.add_data_point(1.0, end)
    columns = ((NAMES_AT, series.x), (COUNTS_AT, series.notes), (RATIOS_AT, _ratios(series)))
    for x, _ in columns:
        words = data.add_series("Words")
        for y in rows:
            words.add_data_point(x, y)
    frame = page.slide.shapes.add_chart(XL_CHART_TYPE.XY_SCATTER, *box.emu, data)
    _dress_forest(frame.chart, chart, [list(map(str, words)) for _, words in columns])
    return frame


def _ratios(series: Series) -> list[str]:
    return [ratio_words(series, i) for i in range(len(series.x))]


def _within(value: float) -> float:
    return min(max(value, RATIO_LOW), RATIO_HIGH)


def _dress_forest(drawn: Any, chart: Chart, words: list[list[str]]) -> None:
    plotted = list(drawn.plots[0].series)
    count = len(chart.series[0].x)
    estimates, intervals, one = plotted[0], plotted[1 : count + 1], plotted[count + 1]
    estimates.format.line.fill.background()
    mark(estimates, XL_MARKER_STYLE.SQUARE, INK)
    for i, value in enumerate(chart.series[0].y):
        if not isfinite(value) or not value:  # only a limit is known, so no point stands for an estimate
            estimates.points[i].marker.style = XL_MARKER_STYLE.NONE
    for line in intervals:
        plain_line(line, INK, 2)
    plain_line(one, SOFT, 1)
    one.format.line.dash_style = MSO_LINE.DASH
    for hidden, texts in zip(plotted[count + 2 :], words, strict=True):
        hidden.format.line.fill.background()
        hidden.marker.style = XL_MARKER_STYLE.NONE
        for i, text in enumerate(texts):
            label = hidden.points[i].data_label
            label.position = XL_LABEL_POSITION.RIGHT
            label.text_frame.text = text
            label.text_frame.word_wrap = False
            label.text_frame.paragraphs[0].runs[0].font.size = Pt(LABEL_SIZE)
    _ratio_axes(drawn, chart, count)


def _ratio_axes(drawn: Any, chart: Chart, rows: int) -> None:
    across, upright = drawn.category_axis, drawn.value_axis
    dress_axis(across, chart.x_title, FOREST_LOW, FOREST_HIGH, grid=False)
    scaling = across._element.find(qn("c:scaling"))
    base = etree.Element(f"{{{C}}}logBase", val="2")
    scaling.insert(0, base)
    across.major_unit = 4
    across.tick_labels.number_format = '[<0.06]"";[>17]"";General'
    across.tick_labels.number_format_is_linked = False
    dress_axis(upright, "", 0.4, rows + 0.6, grid=False)
    upright.visible = False
    drawn.has_legend = False
