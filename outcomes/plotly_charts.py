"""Charts as Plotly draws them on the page."""

from __future__ import annotations

from typing import Any

from outcomes.figures import Chart, Series, beyond, trend_top
from registry.choices import RouteGroup

COLOURS = {RouteGroup.AXILLARY: "#0072B2", RouteGroup.FEMORAL: "#D55E00", RouteGroup.OTHER: "#7A7A7A"}
BANDS = {
    RouteGroup.AXILLARY: "rgba(0,114,178,0.16)",
    RouteGroup.FEMORAL: "rgba(213,94,0,0.16)",
    RouteGroup.OTHER: "rgba(122,122,122,0.16)",
}
DASHES = {RouteGroup.AXILLARY: "solid", RouteGroup.FEMORAL: "dash", RouteGroup.OTHER: "dot"}
MARKERS = {RouteGroup.AXILLARY: "square", RouteGroup.FEMORAL: "diamond", RouteGroup.OTHER: "circle"}
# Okabe M, Ito K, Color Universal Design, 2002 (2008); patterns keep the layers apart in grey and in print.
LAYERS = (
    ("#0072B2", ""),
    ("#56B4E9", "/"),
    ("#009E73", "."),
    ("#E69F00", "x"),
    ("#333333", ""),
    ("#CC79A7", "\\"),
)
LINE_WIDTH = 2.5


def plotly_spec(chart: Chart) -> dict[str, Any]:
    """The chart as Plotly data and layout, checked by Plotly's own schema."""
    from plotly.graph_objects import Figure  # takes a while to import, so only when a chart is drawn

    spec: dict[str, Any] = Figure(**plain_spec(chart)).to_plotly_json()
    spec["layout"].pop("template", None)
    return spec


def plain_spec(chart: Chart) -> dict[str, Any]:
    """The same without the check, for pages with many charts."""
    traces = {"steps": _steps, "stack": _stack, "dots": _dots, "trend": _trend}[chart.kind](chart)
    return {"data": traces, "layout": _layout(chart)}


def _axis(title: str, *, percent: bool, **more: Any) -> dict[str, Any]:
    form = {"tickformat": ".0%", "rangemode": "tozero"} if percent else {"rangemode": "tozero"}
    return {"title": {"text": title}, **form, **more}


def _layout(chart: Chart) -> dict[str, Any]:
    if chart.kind == "dots":
        rows = list(dict.fromkeys(str(x) for series in chart.series for x in series.x))
        return {
            "xaxis": _axis(chart.x_title, percent=chart.percent),
            "yaxis": {"autorange": "reversed", "automargin": True},
            "showlegend": False,
            "height": 90 + 40 * len(rows),
            "meta": {"rows": rows},
            "scattermode": "group",
        }
    if chart.kind == "trend":
        periods = list(chart.rows) or sorted({str(x) for series in chart.series for x in series.x})
        return {
            "xaxis": {
                "type": "category",
                "categoryorder": "array",
                "categoryarray": periods,
                "range": [-0.5, len(periods) - 0.5],
            },
            "yaxis": _axis(chart.y_title, percent=chart.percent, range=[0, _trend_edge(chart)]),
            "showlegend": False,
            "scattermode": "group",
            "scattergap": 0.85,
        }
    top = {"range": [0, 1]} if chart.kind == "stack" else {}
    span = {"range": [0, chart.x_max]} if chart.x_max else {}
    return {
        "xaxis": _axis(chart.x_title, percent=False, **span),
        "yaxis": _axis(chart.y_title, percent=chart.percent, **top),
        "showlegend": chart.kind == "stack",
        "hovermode": "x unified",
    }


def _steps(chart: Chart) -> list[dict[str, Any]]:
    return [trace for series in chart.series for trace in (*_band(series), _line(series))]


def _band(series: Series) -> list[dict[str, Any]]:
    known = [
        (x, low, high)
        for x, low, high in zip(series.x, series.lower, series.upper, strict=True)
        if low is not None and high is not None
    ]
    if not known:
        return []
    days, low, high = (list(part) for part in zip(*known, strict=True))
    plain = {
        "type": "scatter",
        "mode": "lines",
        "x": days,
        "line": {"width": 0, "shape": "hv"},
        "hoverinfo": "skip",
    }
    fill = {"fill": "tonexty", "fillcolor": BANDS[RouteGroup(series.group)]}
    return [{**plain, "y": low, "showlegend": False}, {**plain, **fill, "y": high, "showlegend": False}]


def _line(series: Series) -> dict[str, Any]:
    group = RouteGroup(series.group)
    return {
        "type": "scatter",
        "mode": "lines",
        "name": series.name,
        "x": list(series.x),
        "y": list(series.y),
        "line": {"shape": "hv", "width": LINE_WIDTH, "color": COLOURS[group], "dash": DASHES[group]},
    }


def _stack(chart: Chart) -> list[dict[str, Any]]:
    traces = []
    for series, (colour, pattern) in zip(chart.series, LAYERS, strict=False):
        traces.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": f"{series.name} {series.y[-1]:.0%}",
                "x": [*series.x, chart.held_until or chart.x_max],
                "y": [*series.y, series.y[-1]],
                "stackgroup": "outcome",
                "line": {"shape": "hv", "width": 1, "color": "#777777"},
                "fillcolor": colour,
                "fillpattern": {
                    "shape": pattern,
                    "fgcolor": "#FFFFFF",
                    "bgcolor": colour,
                    "size": 7,
                    "solidity": 0.25,
                },
            }
        )
    return traces


def _dots(chart: Chart) -> list[dict[str, Any]]:
    traces = []
    for series in chart.series:
        group = RouteGroup(series.group)
        low = [
            y - (lower if lower is not None else y) for y, lower in zip(series.y, series.lower, strict=True)
        ]
        high = [
            (upper if upper is not None else y) - y for y, upper in zip(series.y, series.upper, strict=True)
        ]
        traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": series.name,
                "x": list(series.y),
                "y": list(series.x),
                "text": list(series.notes),
                "hovertemplate": "%{y}: %{x:.1%} (%{text})",
                "offsetgroup": series.group,
                "orientation": "h",
                "marker": {"symbol": MARKERS[group], "size": 10, "color": COLOURS[group]},
                "error_x": {
                    "type": "data", "symmetric": False, "array": high, "arrayminus": low,
                    "color": COLOURS[group], "thickness": 2, "width": 0,
                },
            }
        )  # fmt: skip
    return traces


def _trend_edge(chart: Chart) -> float:
    """The upper end of the axis."""
    return 1.05 * trend_top(chart)


def _arrows(chart: Chart) -> list[dict[str, Any]]:
    """The heads of limits that reach beyond the axis, on its edge."""
    cut = [(series, list(beyond(chart, series))) for series in chart.series]
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "x": at,
            "y": [_trend_edge(chart)] * len(at),
            "offsetgroup": series.group,
            "cliponaxis": False,
            "hoverinfo": "skip",
            "marker": {"symbol": "triangle-up", "size": 11, "color": COLOURS[RouteGroup(series.group)]},
        }
        for series, at in cut
        if at
    ]


def _trend(chart: Chart) -> list[dict[str, Any]]:
    """Points joined by thin lines; a limit without end reaches beyond the axis, as an arrow says."""
    beyond = 4 * trend_top(chart)
    traces = []
    for series in chart.series:
        group = RouteGroup(series.group)
        limited = list(zip(series.y, series.lower, series.upper, strict=True))
        bare = [low is None and high is None for _, low, high in limited]
        traces.append(
            {
                "type": "scatter",
                "mode": "lines+markers",
                "name": series.name,
                "x": list(series.x),
                "y": list(series.y),
                "text": list(series.notes),
                "hovertemplate": "%{x}: %{y:.1f} %{text}",
                "offsetgroup": series.group,
                "line": {"width": 1, "color": COLOURS[group], "dash": DASHES[group]},
                "marker": {"symbol": MARKERS[group], "size": 10, "color": COLOURS[group]},
                "error_y": {
                    "type": "data", "symmetric": False, "color": COLOURS[group], "thickness": 2, "width": 0,
                    "array": [
                        0.0 if none else (beyond if high is None else high) - y
                        for (y, _, high), none in zip(limited, bare, strict=True)
                    ],
                    "arrayminus": [0.0 if low is None else y - low for y, low, _ in limited],
                },
            }
        )  # fmt: skip
    return [*traces, *_arrows(chart)]
