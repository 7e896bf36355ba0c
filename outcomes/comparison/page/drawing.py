"""The comparison's charts as Plotly draws them on the page. A test holds each to Plotly's own schema."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from outcomes.comparison import limits
from outcomes.comparison.page.charts import ComparisonChart
from outcomes.figures import Chart, Series
from outcomes.plotly_charts import COLOURS, DASHES, LINE_WIDTH, MARKERS, plain_spec
from registry.choices import RouteGroup

INK, SOFT, RULE = "token:ink", "token:ink-soft", "token:rule-strong"
ROW_HEIGHT, FRAME_HEIGHT = 26, 100
Trace = dict[str, Any]


def comparison_spec(chart: Chart) -> dict[str, Any]:
    """Data and layout of a chart; kinds that the quarter has too are drawn as there."""
    if not isinstance(chart, ComparisonChart):
        return plain_spec(chart)
    traces, layout = _SHAPES[chart.shape](chart)
    return {"data": traces, "layout": layout}


def _errors(series: Series, colour: str, scale: float) -> Trace:
    low = [
        (y - (edge if edge is not None else y)) * scale
        for y, edge in zip(series.y, series.lower, strict=True)
    ]
    high = [
        ((edge if edge is not None else y) - y) * scale
        for y, edge in zip(series.y, series.upper, strict=True)
    ]
    return {
        "type": "data", "symmetric": False, "array": high, "arrayminus": low,
        "color": colour, "thickness": 1.8, "width": 0,
    }  # fmt: skip


def _rows_layout(chart: ComparisonChart, *, beside: bool, **xaxis: Any) -> dict[str, Any]:
    """Rows from top to bottom; ``beside`` says whether the points of several series share a row."""
    names = list(chart.rows or dict.fromkeys(str(name) for series in chart.series for name in series.x))
    return {
        "xaxis": {"title": {"text": chart.x_title}, "zeroline": True, "zerolinewidth": 2, **xaxis},
        "yaxis": {
            "categoryorder": "array",
            "categoryarray": names[::-1],
            "dtick": 1,
            "automargin": True,
            "ticks": "",
        },
        "showlegend": len(chart.series) > 1 and not chart.routes,
        "height": FRAME_HEIGHT + ROW_HEIGHT * len(names) * (1 if len(chart.series) == 1 else 1.25),
        **({"scattermode": "group", "scattergap": 0.35} if beside else {}),
        "legend": {"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0, "traceorder": "reversed"},
        "meta": {"rows": names},
    }


def _differences(chart: ComparisonChart) -> tuple[list[Trace], dict[str, Any]]:
    traces = []
    for k, series in enumerate(chart.series):
        hollow = k == 0 and len(chart.series) > 1
        colour, symbol = (SOFT, "circle-open") if hollow else (INK, "circle")
        said = "%{y}: %{x:+.0f} points (%{text})" if any(series.notes) else "%{y}: %{x:+.0f} points"
        traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": series.name,
                "x": [value * 100 for value in series.y],
                "y": list(series.x),
                "text": list(series.notes),
                "hovertemplate": said,
                "offsetgroup": str(k),
                "orientation": "h",
                "marker": {"symbol": symbol, "size": 9, "color": colour, "line": {"width": 2}},
                "error_x": _errors(series, colour, 100.0),
            }
        )
    return traces[::-1], _rows_layout(chart, beside=len(chart.series) > 1, tickformat="d")


def _balance(chart: ComparisonChart) -> tuple[list[Trace], dict[str, Any]]:
    looks: tuple[Trace, ...] = (
        {"symbol": "circle-open", "color": SOFT},
        {"symbol": "circle", "color": INK},
    )
    traces: list[Trace] = [
        {
            "type": "scatter",
            "mode": "markers",
            "name": series.name,
            "x": list(series.y),
            "y": list(series.x),
            "hovertemplate": "%{y}: %{x:.2f}",
            "marker": look | {"size": 9, "line": {"width": 2}},
        }
        for series, look in zip(chart.series, looks, strict=False)
    ]
    layout = _rows_layout(chart, beside=False)
    layout["height"] = FRAME_HEIGHT + 22 * len(chart.series[0].x)
    layout["showlegend"] = len(chart.series) > 1
    layout["legend"] = layout["legend"] | {"traceorder": "normal"}
    edge = limits.UNBALANCED
    layout["shapes"] = [
        {"type": "rect", "xref": "x", "yref": "paper", "x0": -edge, "x1": edge, "y0": 0, "y1": 1,
         "fillcolor": "token:accent-tint", "line": {"width": 0}, "layer": "below"}
    ]  # fmt: skip
    return traces, layout


def _bins(chart: ComparisonChart) -> tuple[list[Trace], dict[str, Any]]:
    """Bars of both arms beside each other; a pattern tells the femoral ones apart without colour."""
    traces = []
    for series in chart.series:
        group = RouteGroup(series.group)
        marker: Trace = {"color": COLOURS[group]}
        if group == RouteGroup.FEMORAL:
            marker["pattern"] = {
                "shape": "/", "fillmode": "overlay", "fgcolor": "#FFFFFF", "size": 6, "solidity": 0.3
            }  # fmt: skip
        traces.append(
            {
                "type": "bar",
                "name": series.name,
                "x": list(series.x),
                "y": list(series.y),
                "marker": marker,
                "hovertemplate": "%{y} with a chance of %{x}",
            }
        )
    layout = {
        "xaxis": {"title": {"text": chart.x_title}, "type": "category"},
        "yaxis": {"rangemode": "tozero", "title": {"text": "Number compared"}},
        "showlegend": False,
        "bargap": 0.25,
        "bargroupgap": 0.05,
    }
    return traces, layout


def _shares(chart: ComparisonChart) -> tuple[list[Trace], dict[str, Any]]:
    traces = []
    for series in chart.series:
        group = RouteGroup(series.group)
        traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": series.name,
                "x": list(series.y),
                "y": list(series.x),
                "text": list(series.notes),
                "hovertemplate": "%{y}: %{x:.0%} (%{text})",
                "offsetgroup": series.group,
                "orientation": "h",
                "marker": {"symbol": MARKERS[group], "size": 9, "color": COLOURS[group]},
                "error_x": _errors(series, COLOURS[group], 1.0),
            }
        )
    layout = _rows_layout(chart, beside=True, tickformat=".0%", rangemode="tozero")
    names = layout["yaxis"]["categoryarray"]
    layout["shapes"] = [
        {"type": "rect", "xref": "x", "yref": "y", "x0": low, "x1": max(high, low + 0.006),
         "y0": names.index(name) - 0.42, "y1": names.index(name) + 0.42,
         "fillcolor": "token:rule", "line": {"width": 0}, "layer": "below"}
        for name, low, high in chart.bands
        if name in names
    ]  # fmt: skip
    return traces[::-1], layout


def _sums(chart: ComparisonChart) -> tuple[list[Trace], dict[str, Any]]:
    traces = [
        {
            "type": "scatter",
            "mode": "lines",
            "name": series.name,
            "x": list(series.x),
            "y": list(series.y),
            "line": {"shape": "hv", "width": LINE_WIDTH, "color": INK, "dash": dash},
            "hovertemplate": "Case %{x:.0f}: %{y:.2f}",
        }
        for series, dash in zip(chart.series, ("solid", "dot"), strict=True)
    ]
    traces += _signals(chart)
    layout = {
        "xaxis": {"title": {"text": chart.x_title}, "rangemode": "tozero"},
        "yaxis": {"title": {"text": chart.y_title}, "zeroline": True},
        "showlegend": True,
        "shapes": [_line_at(edge, "dash") for edge in chart.thresholds],
        "annotations": [
            {"xref": "paper", "x": 1, "y": edge, "text": "signal", "showarrow": False, "xanchor": "right",
             "yanchor": "bottom" if edge > 0 else "top", "font": {"color": SOFT, "size": 12}}
            for edge in chart.thresholds
        ],
    }  # fmt: skip
    return traces, layout


def _line_at(y: float, dash: str) -> Trace:
    return {
        "type": "line", "xref": "paper", "yref": "y", "x0": 0, "x1": 1, "y0": y, "y1": y,
        "line": {"color": RULE, "width": 1.5, "dash": dash}, "layer": "below",
    }  # fmt: skip


def _signals(chart: ComparisonChart) -> list[Trace]:
    """Rings around the points that signal."""
    if not chart.signals or not chart.series:
        return []
    first, last = chart.series[0], chart.series[-1]
    source = [first if first.y[k] >= -last.y[k] else last for k in chart.signals]
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "name": "Signal",
            "x": [series.x[k] for series, k in zip(source, chart.signals, strict=True)],
            "y": [series.y[k] for series, k in zip(source, chart.signals, strict=True)],
            "marker": {
                "symbol": "circle-open",
                "size": 15,
                "color": "token:wrong",
                "line": {"width": 2.5, "color": "token:wrong"},
            },
            "hoverinfo": "skip",
        }
    ]


def _control(chart: ComparisonChart) -> tuple[list[Trace], dict[str, Any]]:
    series = chart.series[0]
    group = RouteGroup(series.group)
    at = list(range(len(series.x)))
    edges = [
        {
            "type": "scatter",
            "mode": "lines",
            "x": at,
            "y": list(edge),
            "line": {"shape": "hvh", "width": 1.2, "color": RULE, "dash": "dash"},
            "hoverinfo": "skip",
            "showlegend": False,
        }
        for edge in (series.lower, series.upper)
    ]
    points: Trace = {
        "type": "scatter",
        "mode": "lines+markers",
        "name": series.name,
        "x": at,
        "y": list(series.y),
        "text": list(series.notes),
        "hovertemplate": "%{text}: %{y:.1f}",
        "line": {"width": 1.2, "color": COLOURS[group], "dash": DASHES[group]},
        "marker": {"symbol": MARKERS[group], "size": 7, "color": COLOURS[group]},
    }
    rings = _signals(chart)
    for ring in rings:
        ring["x"] = list(chart.signals)
    return [*edges, points, *rings], _control_layout(chart, series)


def _control_layout(chart: ComparisonChart, series: Series) -> dict[str, Any]:
    top = _top(series)
    starts = list(chart.starts)
    labels = [series.notes[k] for k in starts]
    shapes = [
        {"type": "rect", "xref": "x", "yref": "paper", "x0": -0.5, "x1": chart.baseline_points - 0.5,
         "y0": 0, "y1": 1, "fillcolor": "token:tint", "line": {"width": 0}, "layer": "below"}
    ]  # fmt: skip
    if chart.centre is not None:
        shapes.append(_line_at(chart.centre, "solid"))
    return {
        "xaxis": {
            "title": {"text": chart.x_title},
            "tickvals": starts,
            "ticktext": [_quarter(label) for label in labels],
            "tickangle": 0,
            "range": [-0.5, len(series.x) - 0.5],
            "zeroline": False,
        },
        "yaxis": {"title": {"text": chart.y_title}, "range": [0, top]},
        "showlegend": False,
        "shapes": shapes,
        "annotations": [
            {"xref": "x", "x": -0.4, "yref": "paper", "y": 1, "text": "frozen baseline", "showarrow": False,
             "xanchor": "left", "yanchor": "bottom", "font": {"color": SOFT, "size": 12}}
        ],
    }  # fmt: skip


def _top(series: Series) -> float:
    """Room for the points and for usual limits; the limit of a month with hardly any days runs out of it."""
    known = sorted(edge for edge in series.upper if edge is not None)
    usual = known[(3 * len(known)) // 4] if known else 0.0
    return 1.08 * max(max(series.y, default=1.0), usual) or 1.0


def _quarter(month: str) -> str:
    return f"{month[:4]} Q{(int(month[5:7]) + 2) // 3}"


_SHAPES: dict[str, Callable[[ComparisonChart], tuple[list[Trace], dict[str, Any]]]] = {
    "differences": _differences,
    "balance": _balance,
    "bins": _bins,
    "shares": _shares,
    "sums": _sums,
    "control": _control,
}
