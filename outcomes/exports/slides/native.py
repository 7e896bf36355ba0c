"""Charts as PowerPoint draws and edits them, from the same descriptions as the page.

The library has no error bars: they are written into the chart, and their numbers into its workbook.
LibreOffice leaves out custom error bars along x of scatter charts, so intervals of a forest are lines.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from io import BytesIO
from math import floor, isfinite
from typing import Any

from lxml import etree
from pptx.chart.data import CategoryChartData, XyChartData
from pptx.dml.color import RGBColor
from pptx.enum.chart import (
    XL_CHART_TYPE,
    XL_LABEL_POSITION,
    XL_LEGEND_POSITION,
    XL_MARKER_STYLE,
    XL_TICK_LABEL_POSITION,
)
from pptx.enum.dml import MSO_LINE
from pptx.oxml.ns import qn
from pptx.util import Pt

from outcomes.exports.drawing.canvas import ceiling, finite, stepped, steps_of
from outcomes.exports.drawing.curves import last_known_day
from outcomes.exports.drawing.intervals import RATIO_HIGH, RATIO_LOW, ratio_words, rows_of, trend_top
from outcomes.exports.slides.page import Box, Page, describe
from outcomes.exports.slides.template import FACE, INK, SOFT
from outcomes.figures import Chart, Series
from outcomes.plotly_charts import COLOURS, DASHES, LAYERS
from registry.choices import RouteGroup

LINES = {"solid": MSO_LINE.SOLID, "dash": MSO_LINE.DASH, "dot": MSO_LINE.ROUND_DOT}
PATTERNS = {"/": "wdUpDiag", "\\": "wdDnDiag", ".": "pct20", "x": "openDmnd"}
FAINT = RGBColor.from_string("D8D4C8")
LABEL_SIZE = 12
MOST_COLUMNS = 61
NAMES_AT, COUNTS_AT, RATIOS_AT = 2.0**-7.95, 2.0**4.7, 2.0**6.2
FOREST_LOW, FOREST_HIGH = 2.0**-8, 2.0**9
C = "http://schemas.openxmlformats.org/drawingml/2006/chart"


def place(page: Page, chart: Chart, box: Box) -> Any:
    """Draw the chart on the page; returns its frame."""
    draw: Callable[[Page, Chart, Box], Any] = {
        "steps": _steps,
        "stack": _stack,
        "dots": _dots,
        "trend": _trend,
        "forest": _forest,
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
        _line(plotted, series, width=2.5 if at % 3 == 0 else 0.75)
        if at % 3:
            plotted.format.line.dash_style = MSO_LINE.ROUND_DOT
    top = 1.0 if chart.percent else ceiling(_reach(chart))
    last = max((float(x) for series in chart.series for x in series.x), default=1.0) or 1.0
    _axis(drawn.category_axis, chart.x_title, 0, ceiling(last), grid=False)
    _axis(drawn.value_axis, chart.y_title, 0, top, percent=chart.percent)
    _legend(drawn, drop=[at for at in range(3 * len(chart.series)) if at % 3])
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
        _pattern(plotted, *LAYERS[at % len(LAYERS)])
    _axis(drawn.category_axis, chart.x_title, None, None, grid=False)
    every = max(1, round(len(days) / 6))
    _in_axis(drawn.category_axis, "tickLblSkip", every)
    _in_axis(drawn.category_axis, "tickMarkSkip", every)
    drawn.category_axis._element.find(f".//{qn('c:txPr')}").find(qn("a:bodyPr")).set("rot", "0")
    _axis(drawn.value_axis, chart.y_title, 0, 1, percent=True)
    _legend(drawn)
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
    top = min(ceiling(_reach(chart)), 1.0) if chart.percent else ceiling(_reach(chart))
    frame = _columns(page, chart, box, rows, XL_CHART_TYPE.BAR_CLUSTERED, top)
    frame.chart.category_axis.reverse_order = True
    frame.chart.value_axis.tick_label_position = XL_TICK_LABEL_POSITION.HIGH
    _axis(frame.chart.value_axis, chart.x_title, 0, top, percent=chart.percent)
    return frame


def _trend(page: Page, chart: Chart, box: Box) -> Any:
    top = ceiling(trend_top(chart))
    frame = _columns(page, chart, box, sorted(rows_of(chart)), XL_CHART_TYPE.COLUMN_CLUSTERED, top)
    _axis(frame.chart.value_axis, chart.y_title, 0, top, percent=chart.percent)
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
    errors = [_errors(series, rows, top) for series in chart.series]
    for at, (plotted, series) in enumerate(zip(drawn.plots[0].series, chart.series, strict=True)):
        plotted.format.fill.solid()
        plotted.format.fill.fore_color.rgb = _colour(series)
        if series.group == RouteGroup.FEMORAL:
            _pattern(plotted, COLOURS[RouteGroup.FEMORAL], "/")
        if any(value for pair in errors[at] for value in pair):
            _error_bars(plotted, errors[at], column=1 + len(chart.series) + 2 * at)
    _write_workbook(drawn, rows, chart.series, values, errors)
    _axis(drawn.category_axis, "", None, None, grid=False)
    _legend(drawn)
    return frame


Errors = tuple[list[float], list[float]]


def _errors(series: Series, rows: Sequence[str], top: float) -> Errors:
    """Distances to the upper and to the lower limit of each row."""
    plus, minus = [0.0] * len(rows), [0.0] * len(rows)
    for x, y, low, high in zip(series.x, series.y, series.lower, series.upper, strict=True):
        at = rows.index(str(x))
        if low is not None or high is not None:
            plus[at] = max((top if high is None else high) - y, 0.0)
            minus[at] = max(y - (low if low is not None else y), 0.0)
    return plus, minus


def _error_bars(plotted: Any, errors: Errors, *, column: int) -> None:
    bars = etree.Element(f"{{{C}}}errBars")
    _child(bars, "errBarType", "both")
    _child(bars, "errValType", "cust")
    _child(bars, "noEndCap", "0")
    for at, (side, values) in enumerate(zip(("plus", "minus"), errors, strict=True)):
        letter = chr(ord("A") + column + at)
        reference = etree.SubElement(etree.SubElement(bars, f"{{{C}}}{side}"), f"{{{C}}}numRef")
        etree.SubElement(reference, f"{{{C}}}f").text = f"Sheet1!${letter}$2:${letter}${len(values) + 1}"
        cache = etree.SubElement(reference, f"{{{C}}}numCache")
        etree.SubElement(cache, f"{{{C}}}formatCode").text = "General"
        _child(cache, "ptCount", str(len(values)))
        for i, value in enumerate(values):
            point = etree.SubElement(cache, f"{{{C}}}pt", idx=str(i))
            etree.SubElement(point, f"{{{C}}}v").text = repr(value)
    look = etree.SubElement(bars, f"{{{C}}}spPr")
    line = etree.SubElement(look, qn("a:ln"), w="15875")
    etree.SubElement(etree.SubElement(line, qn("a:solidFill")), qn("a:srgbClr"), val=str(INK))
    plotted._element.find(qn("c:cat")).addprevious(bars)


def _child(parent: Any, name: str, value: str) -> None:
    etree.SubElement(parent, f"{{{C}}}{name}", val=value)


def _write_workbook(
    drawn: Any,
    rows: list[str],
    series: Sequence[Series],
    values: list[dict[str, float]],
    errors: list[Errors],
) -> None:
    """The sheet behind the chart: values, then for each series the distances to its limits."""
    from xlsxwriter import Workbook

    out = BytesIO()
    book = Workbook(out, {"in_memory": True})
    sheet = book.add_worksheet("Sheet1")
    columns: list[tuple[str, Sequence[float | None]]] = [
        (s.name, [known.get(row) for row in rows]) for s, known in zip(series, values, strict=True)
    ]
    for s, (plus, minus) in zip(series, errors, strict=True):
        columns += [(f"{s.name}, to upper limit", plus), (f"{s.name}, to lower limit", minus)]
    sheet.write_column(1, 0, rows)
    for at, (name, column) in enumerate(columns, start=1):
        sheet.write_string(0, at, name)
        sheet.write_column(1, at, column)
    book.close()
    drawn.part.chart_workbook.update_from_xlsx_blob(out.getvalue())


# Ratios


def _forest(page: Page, chart: Chart, box: Box) -> Any:
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
    _mark(estimates, XL_MARKER_STYLE.SQUARE, INK)
    for i, value in enumerate(chart.series[0].y):
        if not isfinite(value) or not value:  # only a limit is known, so no point stands for an estimate
            estimates.points[i].marker.style = XL_MARKER_STYLE.NONE
    for line in intervals:
        _plain_line(line, INK, 2)
    _plain_line(one, SOFT, 1)
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
    _axis(across, chart.x_title, FOREST_LOW, FOREST_HIGH, grid=False)
    scaling = across._element.find(qn("c:scaling"))
    base = etree.Element(f"{{{C}}}logBase", val="2")
    scaling.insert(0, base)
    across.major_unit = 4
    across.tick_labels.number_format = '[<0.06]"";[>17]"";General'
    across.tick_labels.number_format_is_linked = False
    _axis(upright, "", 0.4, rows + 0.6, grid=False)
    upright.visible = False
    drawn.has_legend = False


# What all share


def _colour(series: Series) -> RGBColor:
    return RGBColor.from_string(COLOURS[RouteGroup(series.group)].lstrip("#"))


def _reach(chart: Chart) -> float:
    return max((v for s in chart.series for v in finite((*s.y, *s.upper))), default=1.0) or 1.0


def _line(plotted: Any, series: Series, *, width: float) -> None:
    _plain_line(plotted, _colour(series), width)
    plotted.format.line.dash_style = LINES[DASHES[RouteGroup(series.group)]]


def _plain_line(plotted: Any, colour: RGBColor, width: float) -> None:
    plotted.marker.style = XL_MARKER_STYLE.NONE
    plotted.smooth = False
    plotted.format.line.color.rgb = colour
    plotted.format.line.width = Pt(width)


def _mark(plotted: Any, style: Any, colour: RGBColor) -> None:
    plotted.marker.style, plotted.marker.size = style, 9
    plotted.marker.format.fill.solid()
    plotted.marker.format.fill.fore_color.rgb = colour


def _pattern(plotted: Any, colour: str, shape: str) -> None:
    """A fill that can be told apart without colour."""
    plotted.format.fill.solid()
    plotted.format.fill.fore_color.rgb = RGBColor.from_string(colour.lstrip("#"))
    if shape not in PATTERNS:
        return
    look = plotted._element.find(qn("c:spPr"))
    look.remove(look.find(qn("a:solidFill")))
    fill = etree.Element(qn("a:pattFill"), prst=PATTERNS[shape])
    for side, value in (("a:fgClr", "FFFFFF"), ("a:bgClr", colour.lstrip("#"))):
        etree.SubElement(etree.SubElement(fill, qn(side)), qn("a:srgbClr"), val=value)
    look.insert(0, fill)


def _axis(
    axis: Any, title: str, low: float | None, high: float | None, *, percent: bool = False, grid: bool = True
) -> None:
    axis.has_title = bool(title)
    if title:
        axis.axis_title.text_frame.text = title
        letters = axis.axis_title.text_frame.paragraphs[0].runs[0].font
        letters.size, letters.bold, letters.color.rgb = Pt(LABEL_SIZE), False, SOFT
    axis.tick_labels.font.size, axis.tick_labels.font.name = Pt(LABEL_SIZE), FACE
    axis.tick_labels.font.color.rgb = SOFT
    axis.format.line.color.rgb = SOFT
    axis.has_major_gridlines = grid
    if grid:
        axis.major_gridlines.format.line.color.rgb = FAINT
    if high is not None:
        axis.minimum_scale, axis.maximum_scale = low, high
        axis.major_unit = steps_of(high)
        axis.tick_labels.number_format = "0%" if percent else "General"
        axis.tick_labels.number_format_is_linked = False


def _in_axis(axis: Any, name: str, value: int) -> None:
    found = etree.Element(f"{{{C}}}{name}", val=str(value))
    axis._element.find(qn("c:noMultiLvlLbl")).addprevious(found)


def _legend(drawn: Any, drop: Sequence[int] = ()) -> None:
    """The key on top, without the entries of ``drop``."""
    drawn.has_title = False
    drawn.has_legend = True
    legend = drawn.legend
    legend.position, legend.include_in_layout = XL_LEGEND_POSITION.TOP, False
    legend.font.size, legend.font.color.rgb = Pt(LABEL_SIZE), INK
    place = legend._element.find(qn("c:legendPos"))
    for at in reversed(drop):
        entry = etree.Element(f"{{{C}}}legendEntry")
        _child(entry, "idx", str(at))
        _child(entry, "delete", "1")
        place.addnext(entry)
