"""Charts as static SVG, for print and for files, from the same descriptions as the page."""

from __future__ import annotations

from outcomes.exports.drawing.canvas import sheet
from outcomes.exports.drawing.curves import draw_stack, draw_steps
from outcomes.exports.drawing.intervals import draw_dots, draw_forest, draw_trend
from outcomes.figures import Chart

__all__ = ["draw"]

KINDS = {
    "steps": draw_steps,
    "stack": draw_stack,
    "dots": draw_dots,
    "trend": draw_trend,
    "forest": draw_forest,
}


def draw(chart: Chart) -> str:
    """The chart as one ``<svg>`` element with ``<title>`` and ``<desc>``; the same chart, the same text."""
    width, height, marks = KINDS[chart.kind](chart)
    return sheet(width, height, marks, id=chart.id, title=chart.finding, description=_described(chart))


def _described(chart: Chart) -> str:
    parts = [chart.label, *(_series_said(s.name, s.y) for s in chart.series)]
    return ". ".join(part.rstrip(".") for part in parts if part) + "."


def _series_said(name: str, values: tuple[float, ...]) -> str:
    return f"{name}: {len(values)} values, last {values[-1]:.3g}" if values else ""
