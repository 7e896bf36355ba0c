"""Axes, keys and numbers at risk, shared by the static charts."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from outcomes.exports.drawing.canvas import (
    FAINT,
    INK,
    SIZE,
    SOFT,
    Frame,
    Scale,
    line,
    marker,
    text,
    tick_text,
    ticks,
)
from outcomes.figures import Chart, Series
from outcomes.plotly_charts import COLOURS, DASHES, MARKERS
from registry.choices import RouteGroup

DASH = {"solid": "", "dash": "6 3", "dot": "2 2"}
RISK_ROW = 15.0
RISK_APART = 20.0
LETTER = SIZE * 0.52  # about as wide as a letter


def colour(series: Series) -> str:
    """The colour of a route; ink for what belongs to none."""
    return COLOURS[RouteGroup(series.group)] if series.group else INK


def dash(series: Series) -> str:
    """The dashes of a route's lines."""
    return DASH[DASHES[RouteGroup(series.group)]] if series.group else ""


def symbol(series: Series) -> str:
    """The marker of a route."""
    return MARKERS[RouteGroup(series.group)] if series.group else "square"


def upright_axis(chart: Chart, scale: Scale, frame: Frame) -> Iterator[str]:
    """Values on the left, with faint lines across."""
    for value in ticks(scale.high):
        y = scale.at(value)
        yield line(frame.left, y, frame.right, y, stroke=FAINT)
        yield text(frame.left - 7, y + 4, tick_text(value, percent=chart.percent), anchor="end", fill=SOFT)
    middle = (frame.top + frame.bottom) / 2
    lines = wrap(chart.y_title, int((frame.bottom - frame.top) / LETTER))
    for at, words in enumerate(reversed(lines)):
        yield text(frame.left - 46 - at * SIZE, middle, words, anchor="middle", fill=SOFT, turned=True)


def level_axis(
    title: str, values: list[float], scale: Scale, frame: Frame, *, percent: bool
) -> Iterator[str]:
    """Values along the bottom."""
    yield line(frame.left, frame.bottom, frame.right, frame.bottom)
    for value in values:
        x = scale.at(value)
        yield line(x, frame.bottom, x, frame.bottom + 4)
        yield text(x, frame.bottom + 17, tick_text(value, percent=percent), anchor="middle", fill=SOFT)
    yield text((frame.left + frame.right) / 2, frame.bottom + 33, title, anchor="middle", fill=SOFT)


def route_key(chart: Chart, left: float, y: float, *, lines: bool) -> Iterator[str]:
    """Which colour, dash and marker is which route."""
    x = left
    for series in chart.series:
        if lines:
            yield line(x, y - 4, x + 26, y - 4, stroke=colour(series), width=2.5, dash=dash(series))
        if not lines or chart.kind == "trend":
            yield marker(x + 13, y - 4, symbol(series), colour(series))
        yield text(x + 32, y, series.name)
        x += 48 + len(series.name) * SIZE * 0.55


def risk_height(chart: Chart) -> float:
    """How much room the numbers at risk need."""
    known = [series for series in chart.series if series.risk_days]
    return RISK_ROW * (len(known) + 1.5) if known else 0.0


def numbers_at_risk(chart: Chart, scale: Scale, frame: Frame, top: float) -> Iterator[str]:
    """A row for each route, below the axis, at the days they were counted."""
    known = [series for series in chart.series if series.risk_days]
    if not known:
        return
    yield text(frame.left, top, "Number at risk", fill=SOFT)
    for row, series in enumerate(known, start=1):
        y = top + row * RISK_ROW
        yield text(frame.left - 16, y, series.name, anchor="end", fill=colour(series))
        for day, count in apart(series, scale):
            yield text(scale.at(day), y, str(count), anchor="middle")


def apart(series: Series, scale: Scale) -> Iterator[tuple[float, int]]:
    """Days with their numbers at risk, without those too close to the one before to be read."""
    taken = -RISK_APART
    for day, count in zip(series.risk_days, series.risk_counts, strict=True):
        if day <= scale.high and scale.at(day) - taken >= RISK_APART:
            taken = scale.at(day)
            yield day, count
