"""Values with limits: in labelled rows, and over quarters."""

from __future__ import annotations

from collections.abc import Iterator

from outcomes.exports.drawing.axes import colour, dash, level_axis, route_key, symbol, upright_axis
from outcomes.exports.drawing.canvas import (
    FAINT,
    SIZE,
    SOFT,
    Frame,
    Scale,
    ceiling,
    finite,
    line,
    marker,
    path,
    text,
    ticks,
)
from outcomes.exports.drawing.curves import WIDTH, Sheet
from outcomes.figures import Chart, Series, trend_top

ROW = 30.0


def rows_of(chart: Chart) -> list[str]:
    """The labels of the rows, each once, in order."""
    return list(chart.rows) or list(dict.fromkeys(str(x) for series in chart.series for x in series.x))


def _reach(chart: Chart) -> float:
    return max((v for s in chart.series for v in finite((*s.y, *s.upper))), default=1.0) or 1.0


def draw_dots(chart: Chart) -> Sheet:
    """A row for each label, the routes below each other, with what they are out of at the right."""
    rows = rows_of(chart)
    frame = Frame(192, WIDTH - 118, 34, 34 + ROW * len(rows))
    top = min(ceiling(_reach(chart)), 1.0) if chart.percent else ceiling(_reach(chart))
    values = Scale(0, top, frame.left, frame.right)
    marks = [*_row_names(rows, frame), *route_key(chart, frame.left, 18, lines=False)]
    for value in ticks(values.high):
        marks.append(line(values.at(value), frame.top, values.at(value), frame.bottom, stroke=FAINT))
    for at, series in enumerate(chart.series):
        marks += _dots(series, rows, at, len(chart.series), values, frame)
    marks += level_axis(chart.x_title, ticks(values.high), values, frame, percent=chart.percent)
    return WIDTH, frame.bottom + 44, marks


def _row_names(rows: list[str], frame: Frame) -> Iterator[str]:
    for at, label in enumerate(rows):
        yield text(frame.left - 10, frame.top + ROW * (at + 0.5) + 4, label, anchor="end")


def _dots(series: Series, rows: list[str], at: int, of: int, values: Scale, frame: Frame) -> Iterator[str]:
    column = frame.right + 30 + 52 * at
    yield text(column, frame.top - 8, series.name, anchor="middle", size=SIZE - 1.5, fill=SOFT)
    for i, label in enumerate(series.x):
        row = frame.top + ROW * (rows.index(str(label)) + 0.5)
        y = row + (at - (of - 1) / 2) * 11
        low, high = series.lower[i], series.upper[i]
        if low is not None and high is not None:
            yield line(values.at(low), y, values.at(high), y, stroke=colour(series), width=2)
        yield marker(values.at(series.y[i]), y, symbol(series), colour(series))
        yield text(column, row + 4, series.notes[i], anchor="middle", size=SIZE - 1)


def draw_trend(chart: Chart) -> Sheet:
    """Quarters along the bottom; the routes beside each other, joined by thin lines."""
    periods = list(chart.rows) or sorted(rows_of(chart))
    frame = Frame(70, WIDTH - 16, 34, 210)
    values = Scale(0, ceiling(trend_top(chart)), frame.bottom, frame.top)
    width = (frame.right - frame.left) / max(len(periods), 1)
    marks = [
        *upright_axis(chart, values, frame),
        line(frame.left, frame.bottom, frame.right, frame.bottom),
        *route_key(chart, frame.left, 18, lines=True),
    ]
    for at, period in enumerate(periods):
        x = frame.left + width * (at + 0.5)
        marks.append(text(x, frame.bottom + 17, period, anchor="middle", fill=SOFT))
    for at, series in enumerate(chart.series):
        shift = (at - (len(chart.series) - 1) / 2) * 14
        places = [frame.left + width * (periods.index(str(x)) + 0.5) + shift for x in series.x]
        marks += _trend(series, places, values)
    return WIDTH, frame.bottom + 26, marks


def _trend(series: Series, places: list[float], values: Scale) -> Iterator[str]:
    points = [(x, values.at(y)) for x, y in zip(places, series.y, strict=True)]
    if points:
        yield path(points, stroke=colour(series), width=1, dash=dash(series))
    for i, (x, y) in enumerate(points):
        low, high = series.lower[i], series.upper[i]
        if low is not None or high is not None:
            bottom = values.at(low if low is not None else series.y[i])
            top = values.at(high if high is not None else values.high)
            yield line(x, bottom, x, top, stroke=colour(series), width=1.8)
            if high is None or high > values.high:
                tip = values.end
                yield path(
                    [(x, tip), (x - 3.5, tip + 6), (x + 3.5, tip + 6)], fill=colour(series), closed=True
                )
        yield marker(x, y, symbol(series), colour(series))
