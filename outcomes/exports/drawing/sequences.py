"""Charts of the programme in sequence: cumulative sums, and points between their limits."""

from __future__ import annotations

from collections.abc import Iterator

from outcomes.comparison.page.charts import ComparisonChart
from outcomes.exports.drawing.axes import colour, symbol, upright_axis
from outcomes.exports.drawing.canvas import (
    FAINT,
    INK,
    RULE,
    SIZE,
    SOFT,
    Frame,
    Scale,
    ceiling,
    finite,
    line,
    marker,
    path,
    rectangle,
    stepped,
    text,
    ticks,
)
from outcomes.exports.drawing.curves import WIDTH, Sheet

FRAME = Frame(70, WIDTH - 60, 16, 190)
RING = 8.0
LABELS_APART = 48.0


def draw_sums(chart: ComparisonChart) -> Sheet:
    """Both sums against their thresholds; rings are signals."""
    reach = [abs(v) for s in chart.series for v in s.y] + [abs(v) for v in chart.thresholds]
    top = ceiling(max(reach, default=1.0) or 1.0)
    values = Scale(-top, top, FRAME.bottom, FRAME.top)
    last = max((float(x) for s in chart.series for x in s.x), default=1.0)
    across = Scale(0, last, FRAME.left, FRAME.right)
    marks = [text(24, (FRAME.top + FRAME.bottom) / 2, chart.y_title, anchor="middle", fill=SOFT, turned=True)]
    marks.append(line(FRAME.left, values.at(0), FRAME.right, values.at(0)))
    for edge in chart.thresholds:
        y = values.at(edge)
        marks.append(line(FRAME.left, y, FRAME.right, y, stroke=RULE, dash="5 3"))
        said = f"{edge:.1f}".replace("-", "−")
        marks.append(text(FRAME.left - 7, y + 4, said, anchor="end", fill=SOFT, size=SIZE - 1.5))
    for series, dash in zip(chart.series, ("", "2 2"), strict=False):
        places = [(across.at(float(x)), values.at(y)) for x, y in zip(series.x, series.y, strict=True)]
        marks.append(path(stepped(places), stroke=INK, width=1.8, dash=dash))
        end = places[-1]
        marks.append(text(FRAME.right + 4, end[1] + 4, series.name.split(" ")[0], size=SIZE - 2, fill=SOFT))
    first, second = chart.series[0], chart.series[-1]
    for at in chart.signals:
        series = first if first.y[at] >= -second.y[at] else second
        marks.append(_ring(across.at(float(series.x[at])), values.at(series.y[at])))
    marks += _numbered(chart.x_title, across)
    return WIDTH, FRAME.bottom + 44, marks


def _numbered(title: str, across: Scale) -> Iterator[str]:
    for value in ticks(across.high):
        x = across.at(value)
        yield line(x, FRAME.bottom, x, FRAME.bottom + 4)
        yield text(x, FRAME.bottom + 17, f"{value:g}", anchor="middle", fill=SOFT)
    yield text((FRAME.left + FRAME.right) / 2, FRAME.bottom + 33, title, anchor="middle", fill=SOFT)


def _ring(x: float, y: float) -> str:
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{RING}" fill="none" stroke="#b3261e" stroke-width="2"/>'


def draw_control(chart: ComparisonChart) -> Sheet:
    """Points with centre and limits; the part that made the limits is shaded, rings are signals."""
    series = chart.series[0]
    values = Scale(0, ceiling(control_top(chart)), FRAME.bottom, FRAME.top)
    across = Scale(-0.5, len(series.x) - 0.5, FRAME.left, FRAME.right)
    marks = []
    if chart.baseline_points:
        width = across.at(chart.baseline_points - 0.5) - FRAME.left
        marks.append(rectangle(FRAME.left, FRAME.top, width, FRAME.bottom - FRAME.top, fill="#f1efe8"))
        marks.append(text(FRAME.left + 3, FRAME.top - 4, "frozen baseline", fill=SOFT, size=SIZE - 2))
    marks += [*upright_axis(chart, values, FRAME), line(FRAME.left, FRAME.bottom, FRAME.right, FRAME.bottom)]
    if chart.centre is not None:
        y = values.at(chart.centre)
        marks.append(line(FRAME.left, y, FRAME.right, y))
    for edge in (series.lower, series.upper):
        for at, value in enumerate(edge):
            if value is not None and value <= values.high:
                y = values.at(value)
                marks.append(line(across.at(at - 0.5), y, across.at(at + 0.5), y, dash="3 2"))
    places = [(across.at(float(at)), values.at(y)) for at, y in enumerate(series.y)]
    marks.append(path(places, stroke=colour(series), width=1.2))
    marks += [marker(x, y, symbol(series), colour(series)) for x, y in places]
    marks += [_ring(*places[at]) for at in chart.signals]
    marks += _starts(chart, across)
    return WIDTH, FRAME.bottom + 44, marks


def control_top(chart: ComparisonChart) -> float:
    """Room for the points and for usual limits; a month with hardly any days has a limit that runs out."""
    series = chart.series[0]
    known = sorted(finite(series.upper))
    usual = known[(3 * len(known)) // 4] if known else 0.0
    return max(max(series.y, default=1.0), usual) or 1.0


def _starts(chart: ComparisonChart, across: Scale) -> Iterator[str]:
    """The months at which quarters begin, as far as there is room for them."""
    taken = -LABELS_APART
    for at in chart.starts:
        x = across.at(float(at))
        if x - taken < LABELS_APART:
            continue
        taken = x
        yield line(x, FRAME.bottom, x, FRAME.bottom + 4, stroke=FAINT)
        label = chart.series[0].notes[at]
        yield text(x, FRAME.bottom + 17, label, anchor="middle", fill=SOFT, size=SIZE - 2)
    middle = (FRAME.left + FRAME.right) / 2
    yield text(middle, FRAME.bottom + 33, chart.x_title, anchor="middle", fill=SOFT)
