"""Charts as static SVG, for print and for files, from the same descriptions as the page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from outcomes.comparison.page.charts import ComparisonChart
from outcomes.exports.drawing.canvas import sheet
from outcomes.exports.drawing.compared import draw_balance, draw_bins, draw_differences
from outcomes.exports.drawing.curves import Sheet, draw_stack, draw_steps
from outcomes.exports.drawing.intervals import draw_dots, draw_trend
from outcomes.exports.drawing.sequences import draw_control, draw_sums
from outcomes.figures import Chart

__all__ = ["draw"]

KINDS: dict[str, Callable[[Chart], Sheet]] = {
    "steps": draw_steps,
    "stack": draw_stack,
    "dots": draw_dots,
    "trend": draw_trend,
}
SHAPES: dict[str, Callable[[Any], Sheet]] = {
    "differences": draw_differences,
    "balance": draw_balance,
    "bins": draw_bins,
    "sums": draw_sums,
    "control": draw_control,
}


def draw(chart: Chart) -> str:
    """The chart as one ``<svg>`` element with ``<title>`` and ``<desc>``; the same chart, the same text."""
    width, height, marks = _drawing(chart)(chart)
    return sheet(width, height, marks, id=chart.id, title=chart.finding, description=_described(chart))


def _drawing(chart: Chart) -> Callable[[Any], Sheet]:
    """How a chart is drawn: by its shape, where it is one of the comparison's."""
    shape = chart.shape if isinstance(chart, ComparisonChart) else ""
    return SHAPES.get(shape) or KINDS[chart.kind]


def _described(chart: Chart) -> str:
    parts = [chart.label, *(_series_said(s.name, s.y) for s in chart.series)]
    return ". ".join(part.rstrip(".") for part in parts if part) + "."


def _series_said(name: str, values: tuple[float, ...]) -> str:
    return f"{name}: {len(values)} values, last {values[-1]:.3g}" if values else ""
