"""The values of a chart as a plain table beside it."""

from __future__ import annotations

from typing import Any

from outcomes.comparison.page.charts import ComparisonChart
from outcomes.figures import Chart, Series
from outcomes.wording import number

HEADS = {
    "differences": ("Outcome", "Difference (points)"),
    "balance": ("Characteristic", "Standardised difference"),
    "bins": ("Chance of axillary", "Number"),
    "shares": ("Outcome", "Share"),
    "sums": ("Case", "Sum"),
    "control": ("At", "Value"),
    "": ("Day", "Value"),
}


def chart_values(chart: Chart) -> dict[str, Any]:
    """Caption, columns and rows; limits only where a series has any."""
    shape = chart.shape if isinstance(chart, ComparisonChart) else ""
    limited = any(series.lower for series in chart.series)
    at, value = HEADS[shape]
    names = ["Line", at, value, *(["Lower limit", "Upper limit"] if limited else [])]
    rows = [row for series in chart.series for row in _rows(series, shape, limited)]
    return {"caption": chart.label, "columns": [{"label": name} for name in names], "rows": rows}


def _rows(series: Series, shape: str, limited: bool) -> list[dict[str, Any]]:
    rows = []
    for i, x in enumerate(series.x):
        edges = [edge[i] if edge else None for edge in (series.lower, series.upper)] if limited else []
        said = ["" if value is None else _written(value, shape) for value in (series.y[i], *edges)]
        at = x if isinstance(x, str) else number(x, 0)
        rows.append({"head": series.name, "cells": [at, *said]})
    return rows


def _written(value: float, shape: str) -> str:
    if shape in ("", "shares"):
        return f"{number(value * 100, 1)}%"
    if shape == "bins":
        return number(value, 0)
    return number(value * 100, 1) if shape == "differences" else number(value, 2)
