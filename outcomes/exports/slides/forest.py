"""Differences with their limits as a native chart.

LibreOffice leaves out custom error bars along x of scatter charts, so each interval is a line of two points.
"""

from __future__ import annotations

from typing import Any

from pptx.chart.data import XyChartData
from pptx.enum.chart import (
    XL_CHART_TYPE,
    XL_LABEL_POSITION,
    XL_MARKER_STYLE,
    XL_TICK_LABEL_POSITION,
    XL_TICK_MARK,
)
from pptx.enum.dml import MSO_LINE
from pptx.util import Pt

from outcomes.comparison.page.charts import ComparisonChart
from outcomes.exports.drawing.compared import difference_words, reach_of, signed_ticks
from outcomes.exports.drawing.intervals import rows_of
from outcomes.exports.slides.dress import (
    LABEL_SIZE,
    dress_axis,
    mark,
    plain_line,
)
from outcomes.exports.slides.page import Box, Page
from outcomes.exports.slides.template import INK, SOFT
from outcomes.figures import Series

PLOT_SHARE = 0.35  # of the width; the rest holds the names on the left and the words on the right
NAMES_SHARE = 0.235
MARGIN_SHARE = 0.001  # a name on the very edge is left away where the edge is rounded
APART = 0.17  # the marks of one row, from its middle
WORD_SIZE = LABEL_SIZE - 1
BOTTOM = 0.45
COLUMNS_AT = (0.145, 0.285)  # right of the plot, in widths of the chart
Words = tuple[list[tuple[float, float, str]], bool]


def forest(page: Page, chart: ComparisonChart, box: Box) -> Any:
    """Estimates and intervals of each series, a line at 0, an axis, and words that need no point."""
    rows = rows_of(chart)
    reach = 100 * reach_of(chart)
    data = XyChartData()
    for at, series in enumerate(chart.series):
        _add_points(data, series, rows, _shift(at, len(chart.series)))
    _add_line(data, "No difference", (0.0, BOTTOM), (0.0, len(rows) + 0.6))
    _add_line(data, "Axis", (-reach, BOTTOM), (reach, BOTTOM))
    columns = [*_columns(chart, rows, reach), _tick_words(reach)]
    for words, _ in columns:
        hidden = data.add_series("Words")
        for x, y, _ in words:
            hidden.add_data_point(x, y)
    frame = page.slide.shapes.add_chart(XL_CHART_TYPE.XY_SCATTER, *box.emu, data)
    _dress_forest(frame.chart, chart, columns)
    _axes(frame.chart, chart, len(rows), reach)
    return frame


def _shift(at: int, of: int) -> float:
    return ((of - 1) / 2 - at) * 2 * APART


def _add_points(data: Any, series: Series, rows: list[str], shift: float) -> None:
    """The estimates as one series, then each interval as a series of its two ends, in percentage points."""
    points = data.add_series(series.name)
    places = [len(rows) - rows.index(str(x)) + shift for x in series.x]
    repeated = [len(places) - 1] * (len(rows) + 1 - len(places))  # LibreOffice wants the first to be longest
    for at in (*range(len(places)), *repeated):
        points.add_data_point(100 * series.y[at], places[at])
    for y, name, value, low, high in zip(places, series.x, series.y, series.lower, series.upper, strict=True):
        interval = data.add_series(f"{series.name}, limits: {name}")
        interval.add_data_point(100 * (value if low is None else low), y)
        interval.add_data_point(100 * (value if high is None else high), y)


def _add_line(data: Any, name: str, *ends: tuple[float, float]) -> None:
    line = data.add_series(name)
    for end in ends:
        line.add_data_point(*end)


def _columns(chart: ComparisonChart, rows: list[str], reach: float) -> list[Words]:
    """Names on the left; counts and differences on the right, each under its head."""
    width = 2 * reach / PLOT_SHARE
    counts = dict(zip(chart.series[0].x, chart.series[0].notes, strict=True))
    found = [
        (-reach - NAMES_SHARE * width, ["", *rows]),
        (reach + 0.015 * width, ["Axillary v femoral", *(counts.get(row, "") for row in rows)]),
    ]
    for at, series in enumerate(chart.series):
        said = {x: difference_words(series, i) for i, x in enumerate(series.x)}
        found.append((reach + COLUMNS_AT[at] * width, [series.name, *(said.get(row, "") for row in rows)]))
    top = len(rows) + 1
    return [([(x, top - i, text) for i, text in enumerate(texts)], True) for x, texts in found]


def _tick_words(reach: float) -> Words:
    """The numbers of the axis; a number format cannot show them inside the plot alone, with their signs."""
    ticks = signed_ticks(reach)
    return [(x, 0.0, f"{x:+g}".replace("-", "−") if x else "0") for x in ticks], False


def _dress_forest(drawn: Any, chart: ComparisonChart, columns: list[Words]) -> None:
    plotted = iter(drawn.plots[0].series)
    for at, series in enumerate(chart.series):
        first = at == 0 and len(chart.series) > 1
        ink = SOFT if first else INK
        estimates = next(plotted)
        estimates.format.line.fill.background()
        mark(estimates, XL_MARKER_STYLE.SQUARE if first else XL_MARKER_STYLE.CIRCLE, ink)
        estimates.marker.size = 7
        for _ in series.x:
            plain_line(next(plotted), ink, 1.75)
    zero, axis = next(plotted), next(plotted)
    plain_line(zero, SOFT, 1)
    zero.format.line.dash_style = MSO_LINE.DASH
    plain_line(axis, SOFT, 1)
    for hidden, words in zip(plotted, columns, strict=True):
        _write(hidden, *words)


def _write(hidden: Any, words: list[tuple[float, float, str]], column: bool) -> None:
    """Words at points that are not drawn: a column with its head in bold, or the numbers of the axis."""
    hidden.format.line.fill.background()
    hidden.marker.style = XL_MARKER_STYLE.NONE
    for i, (_, _, text) in enumerate(words):
        if text:
            label = hidden.points[i].data_label
            label.position = XL_LABEL_POSITION.RIGHT if column else XL_LABEL_POSITION.CENTER
            label.text_frame.text = text
            label.text_frame.word_wrap = False
            letters = label.text_frame.paragraphs[0].runs[0].font
            letters.size, letters.bold = Pt(WORD_SIZE), column and i == 0


def _axes(drawn: Any, chart: ComparisonChart, rows: int, reach: float) -> None:
    across, upright = drawn.category_axis, drawn.value_axis
    width = 2 * reach / PLOT_SHARE
    low = -reach - (NAMES_SHARE + MARGIN_SHARE) * width
    dress_axis(across, chart.x_title, low, low + width, grid=False)
    across.tick_label_position = XL_TICK_LABEL_POSITION.NONE
    across.major_tick_mark = XL_TICK_MARK.NONE
    across.format.line.fill.background()
    dress_axis(upright, "", -0.5, rows + 1.6, grid=False)
    upright.visible = False
    drawn.has_legend = False
