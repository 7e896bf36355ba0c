"""Step curves with their limits, and stacked layers, over days."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from outcomes.exports.drawing.axes import (
    RISK_ROW,
    colour,
    dash,
    level_axis,
    numbers_at_risk,
    risk_height,
    route_key,
    upright_axis,
)
from outcomes.exports.drawing.canvas import (
    SOFT,
    Frame,
    Scale,
    ceiling,
    finite,
    line,
    path,
    rectangle,
    stepped,
    text,
    ticks,
)
from outcomes.figures import Chart, Series
from outcomes.plotly_charts import LAYERS

Sheet = tuple[float, float, list[str]]
WIDTH = 680.0
PATTERN = 8


def draw_steps(chart: Chart) -> Sheet:
    """Curves of the routes with bands for their limits, and the numbers at risk below."""
    frame = Frame(92, WIDTH - 16, 34, 240)
    days = Scale(0, _last_day(chart), frame.left, frame.right)
    values = Scale(0, _top(chart), frame.bottom, frame.top)
    marks = [
        *upright_axis(chart, values, frame),
        *level_axis(chart.x_title, ticks(days.high), days, frame, percent=False),
        *(band for series in chart.series for band in _band(series, days, values)),
        *(_curve(series, days, values) for series in chart.series),
        *route_key(chart, frame.left, 18, lines=True),
        *numbers_at_risk(chart, days, frame, frame.bottom + 56),
    ]
    return WIDTH, frame.bottom + 44 + risk_height(chart), marks


def _last_day(chart: Chart) -> float:
    reached = [float(x) for series in chart.series for x in series.x if not isinstance(x, str)]
    return chart.x_max or max(reached, default=1.0) or 1.0


def _top(chart: Chart) -> float:
    if chart.percent:
        return 1.0
    reach = [v for s in chart.series for v in finite((*s.y, *s.upper))]
    return ceiling(max(reach, default=1.0) or 1.0)


def _curve(series: Series, days: Scale, values: Scale) -> str:
    points = [(days.at(float(x)), values.at(y)) for x, y in zip(series.x, series.y, strict=True)]
    return path(stepped(points), stroke=colour(series), width=2.5, dash=dash(series))


def _band(series: Series, days: Scale, values: Scale) -> Iterator[str]:
    known = [
        (days.at(float(x)), values.at(low), values.at(high))
        for x, low, high in zip(series.x, series.lower, series.upper, strict=True)
        if low is not None and high is not None
    ]
    if known:
        over = stepped([(x, high) for x, _, high in known])
        under = stepped([(x, low) for x, low, _ in known])
        yield path([*over, *reversed(under)], fill=colour(series), opacity=0.14, closed=True)


def draw_stack(chart: Chart) -> Sheet:
    """Layers on top of each other up to the whole; the names stand at the right with what they reached."""
    frame = Frame(62, WIDTH - 216, 14, 220)
    days = Scale(0, chart.x_max or _last_day(chart), frame.left, frame.right)
    values = Scale(0, 1, frame.bottom, frame.top)
    marks = [
        "<defs>",
        *(_pattern(chart.id, at) for at in range(len(chart.series))),
        "</defs>",
        *upright_axis(chart, values, frame),
        *_layers(chart, days, values),
        *level_axis(chart.x_title, ticks(days.high), days, frame, percent=False),
        *_layer_key(chart, frame),
    ]  # fmt: skip
    return WIDTH, frame.bottom + 42, marks


def _pattern(chart_id: str, at: int) -> str:
    """White lines or dots to lay over the colour of a layer, so that it can be told apart without colour."""
    half = PATTERN / 2
    over = {
        "/": line(0, PATTERN, PATTERN, 0, stroke="#fff", width=1.4),
        "\\": line(0, 0, PATTERN, PATTERN, stroke="#fff", width=1.4),
        ".": f'<circle cx="{half:g}" cy="{half:g}" r="1.3" fill="#fff"/>',
        "x": line(0, 0, PATTERN, PATTERN, stroke="#fff", width=1.2)
        + line(0, PATTERN, PATTERN, 0, stroke="#fff", width=1.2),
    }.get(_shape(at))
    if over is None:
        return ""
    return (
        f'<pattern id="{chart_id}-{at}" patternUnits="userSpaceOnUse" width="{PATTERN}" height="{PATTERN}">'
        f"{over}</pattern>"
    )


def _shape(at: int) -> str:
    return LAYERS[at % len(LAYERS)][1]


def _fills(chart: Chart, at: int) -> list[str]:
    """What a layer is filled with, one over the other: its colour, then its pattern if it has one."""
    colour, shape = LAYERS[at % len(LAYERS)]
    return [colour, f"url(#{chart.id}-{at})"] if shape else [colour]


def _layers(chart: Chart, days: Scale, values: Scale) -> Iterator[str]:
    if not chart.series:
        return
    last = min(days.high, last_known_day(chart))
    grid = [days.at(float(x)) for x in (*chart.series[0].x, last)]
    under = [0.0] * len(grid)
    for at, series in enumerate(chart.series):
        over = [low + y for low, y in zip(under, (*series.y, series.y[-1]), strict=True)]
        if series.y[-1] > 0:
            top = stepped([(x, values.at(y)) for x, y in zip(grid, over, strict=True)])
            bottom = stepped([(x, values.at(y)) for x, y in zip(grid, under, strict=True)])
            for fill in _fills(chart, at):
                yield path([*top, *reversed(bottom)], fill=fill, stroke="#fff", width=0.8, closed=True)
        under = over


def last_known_day(chart: Chart) -> float:
    """Until when the layers hold: without end if nobody is left on support."""
    return chart.held_until or inf


def _layer_key(chart: Chart, frame: Frame) -> Iterator[str]:
    x = frame.right + 16
    rest = 1.0 - sum(series.y[-1] for series in chart.series)
    y = frame.top + 12
    yield rectangle(x, y - 10, 14, 12, fill="#fff", stroke=SOFT)
    yield text(x + 21, y, f"Still supported {max(rest, 0.0):.0%}")
    for at, series in reversed(list(enumerate(chart.series))):
        y += RISK_ROW + 5
        for fill in _fills(chart, at):
            yield rectangle(x, y - 10, 14, 12, fill=fill, stroke=SOFT)
        yield text(x + 21, y, f"{series.name} {series.y[-1]:.0%}")
