"""Charts as PowerPoint draws and edits them, from the same descriptions as the page."""

from __future__ import annotations

from collections.abc import Callable
from math import floor
from typing import Any

from pptx.chart.data import CategoryChartData, XyChartData
from pptx.enum.chart import (
    XL_CHART_TYPE,
    XL_TICK_LABEL_POSITION,
)
from pptx.enum.dml import MSO_LINE
from pptx.util import Pt

from outcomes.exports.drawing.canvas import ceiling, stepped
from outcomes.exports.drawing.curves import last_known_day
from outcomes.exports.drawing.intervals import rows_of
from outcomes.exports.slides.dress import (
    dress_axis,
    fill_pattern,
    in_axis,
    legend_on_top,
    reach,
    route_colour,
    route_line,
)
from outcomes.exports.slides.error_bars import error_bars, errors_of, write_workbook
from outcomes.exports.slides.forest import forest
from outcomes.exports.slides.page import Box, Page, describe
from outcomes.figures import Chart, Series, trend_top
from outcomes.plotly_charts import COLOURS, LAYERS
from registry.choices import RouteGroup

MOST_COLUMNS = 61
DAY_SIZE = 9  # LibreOffice writes every day where PowerPoint skips some


def place(page: Page, chart: Chart, box: Box) -> Any:
    """Draw the chart on the page; returns its frame."""
    draw: Callable[[Page, Any, Box], Any] = {
        "steps": _steps,
        "stack": _stack,
        "dots": _dots,
        "trend": _trend,
        "forest": forest,
    }[chart.kind]
    frame = draw(page, chart, box)
    describe(frame, chart.label)
    return frame


# Curves


def _steps(page: Page, chart: Chart, box: Box) -> Any:
    data = XyChartData()
    for name, points in _equally_long(_curves(chart)):
        series = data.add_series(name)
        for x, y in points:
            series.add_data_point(x, y)
    frame = page.slide.shapes.add_chart(XL_CHART_TYPE.XY_SCATTER_LINES_NO_MARKERS, *box.emu, data)
    drawn = frame.chart
    for at, plotted in enumerate(drawn.plots[0].series):
        series = chart.series[at // 3]
        route_line(plotted, series, width=2.5 if at % 3 == 0 else 0.75)
        if at % 3:
            plotted.format.line.dash_style = MSO_LINE.ROUND_DOT
    top = 1.0 if chart.percent else ceiling(reach(chart))
    last = max((float(x) for series in chart.series for x in series.x), default=1.0) or 1.0
    dress_axis(drawn.category_axis, chart.x_title, 0, ceiling(last), grid=False)
    dress_axis(drawn.value_axis, chart.y_title, 0, top, percent=chart.percent)
    legend_on_top(drawn, drop=[at for at in range(3 * len(chart.series)) if at % 3])
    return frame


def _curves(chart: Chart) -> list[tuple[str, list[tuple[float, float]]]]:
    """Three step curves for each route: the estimate, its lower and its upper limit."""
    curves = []
    for series in chart.series:
        for name, values in (
            ("", series.y),
            (", lower limit", series.lower),
            (", upper limit", series.upper),
        ):
            known = [(float(x), y) for x, y in zip(series.x, values, strict=True) if y is not None]
            curves.append((series.name + name, stepped(known)))
    return curves


def _equally_long(
    curves: list[tuple[str, list[tuple[float, float]]]],
) -> list[tuple[str, list[tuple[float, float]]]]:
    """Repeat last points: LibreOffice leaves out the lines of a chart whose first one is not the longest."""
    longest = max((len(points) for _, points in curves), default=0)
    return [(name, points + points[-1:] * (longest - len(points))) for name, points in curves]


def _stack(page: Page, chart: Chart, box: Box) -> Any:
    """One column a day without gaps, so that the layers are steps; the columns hold the value of that day."""
    last = chart.x_max or max((float(x) for s in chart.series for x in s.x), default=1.0)
    days = _days_of_columns(last)
    known = last_known_day(chart)
    data = CategoryChartData(number_format="0%")
    data.categories = [f"{day:g}" for day in days]
    for series in chart.series:
        data.add_series(series.name, [value_on(series, day) if day <= known else None for day in days])
    frame = page.slide.shapes.add_chart(XL_CHART_TYPE.COLUMN_STACKED, *box.emu, data)
    drawn = frame.chart
    drawn.plots[0].gap_width, drawn.plots[0].overlap = 0, 100
    for at, plotted in enumerate(drawn.plots[0].series):
        fill_pattern(plotted, *LAYERS[at % len(LAYERS)])
    dress_axis(drawn.category_axis, chart.x_title, None, None, grid=False)
    drawn.category_axis.tick_labels.font.size = Pt(DAY_SIZE)
    every = max(1, round(len(days) / 6))
    in_axis(drawn.category_axis, "tickLblSkip", every)
    in_axis(drawn.category_axis, "tickMarkSkip", every)
    dress_axis(drawn.value_axis, chart.y_title, 0, 1, percent=True)
    legend_on_top(drawn)
    return frame


def _days_of_columns(last: float) -> list[int]:
    """Whole days up to the last one, or every second, third … of them where that would be too many."""
    every = -(-(floor(last) + 2) // MOST_COLUMNS)
    return list(range(0, floor(last) + 1 + every, every))


def value_on(series: Series, day: float) -> float:
    """The value of a step series at the end of a day."""
    before = [y for x, y in zip(series.x, series.y, strict=True) if float(x) <= day]
    return before[-1] if before else 0.0


# Values with limits


def _dots(page: Page, chart: Chart, box: Box) -> Any:
    rows = rows_of(chart)
    top = min(ceiling(reach(chart)), 1.0) if chart.percent else ceiling(reach(chart))
    frame = _columns(page, chart, box, rows, XL_CHART_TYPE.BAR_CLUSTERED, top)
    frame.chart.category_axis.reverse_order = True
    frame.chart.value_axis.tick_label_position = XL_TICK_LABEL_POSITION.HIGH
    dress_axis(frame.chart.value_axis, chart.x_title, 0, top, percent=chart.percent)
    return frame


def _trend(page: Page, chart: Chart, box: Box) -> Any:
    top = ceiling(trend_top(chart))
    frame = _columns(
        page, chart, box, list(chart.rows) or sorted(rows_of(chart)), XL_CHART_TYPE.COLUMN_CLUSTERED, top
    )
    dress_axis(frame.chart.value_axis, chart.y_title, 0, top, percent=chart.percent)
    return frame


def _columns(page: Page, chart: Chart, box: Box, rows: list[str], kind: Any, top: float) -> Any:
    """Clustered bars with error bars; a limit without end reaches to the end of the axis."""
    data = CategoryChartData(number_format="0%" if chart.percent else "0.0")
    data.categories = rows
    values = [dict(zip(map(str, s.x), s.y, strict=True)) for s in chart.series]
    for series, known in zip(chart.series, values, strict=True):
        data.add_series(series.name, [known.get(row) for row in rows])
    frame = page.slide.shapes.add_chart(kind, *box.emu, data)
    drawn = frame.chart
    drawn.plots[0].gap_width, drawn.plots[0].overlap = 60, -5
    errors = [errors_of(series, rows, top) for series in chart.series]
    for at, (plotted, series) in enumerate(zip(drawn.plots[0].series, chart.series, strict=True)):
        plotted.format.fill.solid()
        plotted.format.fill.fore_color.rgb = route_colour(series)
        if series.group == RouteGroup.FEMORAL:
            fill_pattern(plotted, COLOURS[RouteGroup.FEMORAL], "/")
        if any(value for pair in errors[at] for value in pair):
            error_bars(plotted, errors[at], column=1 + len(chart.series) + 2 * at)
    write_workbook(drawn, rows, chart.series, values, errors)
    dress_axis(drawn.category_axis, "", None, None, grid=False)
    legend_on_top(drawn)
    return frame
