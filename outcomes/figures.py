"""Charts described once, before any drawing: page, print and slide all draw from these.

A chart holds numbers and words only. Wherever it is drawn, routes differ in colour, marker and dash.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Literal, Self

from outcomes.measures.values import ALL_ROUTES, Curve, Figure
from registry.choices import RouteGroup

Kind = Literal["steps", "stack", "dots", "trend", "forest"]
ROUTE_NAMES = {
    RouteGroup.AXILLARY: "Axillary",
    RouteGroup.FEMORAL: "Femoral",
    RouteGroup.OTHER: "Other route",
}
LAST_STEP = 0.04  # of the days, so that the last step of layers is wide enough to be seen


@dataclass(frozen=True)
class Series:
    """One line, band or row of dots. ``x`` in days or row labels, ``y`` and limits in the chart's unit.

    A limit is None where there is none. ``risk_counts`` are the numbers under observation on ``risk_days``.
    """

    name: str
    group: str
    x: tuple[float | str, ...]
    y: tuple[float, ...]
    lower: tuple[float | None, ...] = ()
    upper: tuple[float | None, ...] = ()
    notes: tuple[str, ...] = ()
    risk_days: tuple[float, ...] = ()
    risk_counts: tuple[int, ...] = ()

    def of(self, labels: Collection[str]) -> Series:
        """The points in rows with these labels; each of them has its limits."""
        at = [i for i, x in enumerate(self.x) if str(x) in labels]
        return replace(
            self,
            x=tuple(self.x[i] for i in at),
            y=tuple(self.y[i] for i in at),
            lower=tuple(self.lower[i] for i in at),
            upper=tuple(self.upper[i] for i in at),
            notes=tuple(self.notes[i] for i in at),
        )


@dataclass(frozen=True)
class Chart:
    """A chart: what it shows in one sentence, its axes and its series.

    ``steps`` are curves over days, ``stack`` layers over days that add up to at most 1, ``dots`` values with
    limits in labelled rows, ``trend`` values with limits in labelled periods, ``forest`` differences in
    labelled rows around 0. ``rows`` names the rows or periods in order, with those that show no value.
    Layers keep their last value until the day ``held_until``, or to the end of the axis where it is None.
    """

    id: str
    kind: Kind
    finding: str
    label: str
    x_title: str
    y_title: str
    percent: bool
    series: tuple[Series, ...]
    method: str
    routes: tuple[str, ...] = ()
    x_max: float | None = None
    held_until: float | None = None
    rows: tuple[str, ...] = ()

    @property
    def empty(self) -> bool:
        return not any(series.x for series in self.series)

    @property
    def cut(self) -> bool:
        """Whether a limit of a trend lies beyond its axis, or has no end."""
        return self.kind == "trend" and any(beyond(self, series) for series in self.series)

    def of(self, labels: Collection[str]) -> Self:
        """The same chart of labelled rows with some of them."""
        rows = tuple(row for row in self.rows if row in labels)
        return replace(self, series=tuple(series.of(labels) for series in self.series), rows=rows)


def _points(curve: Curve, values: Sequence[float | None]) -> tuple[float | None, ...]:
    """The values of a step curve from time 0 to its last day, as drawn."""
    first: float | None = curve.start
    return (first, *values, values[-1] if values else first)


def _days(curve: Curve) -> tuple[float, ...]:
    last = max(curve.last_day, curve.days[-1] if curve.days else 0.0)
    return (0.0, *curve.days, last)


def steps(
    curves: Sequence[Curve],
    *,
    id: str,
    finding: str,
    label: str,
    y_title: str,
    x_title: str = "Days from insertion",
    percent: bool = True,
) -> Chart:
    """Step curves of the routes, with their limits, over days."""
    drawn = [curve for curve in curves if curve.group != ALL_ROUTES and curve.subjects]
    series = tuple(
        Series(
            name=ROUTE_NAMES[RouteGroup(curve.group)],
            group=curve.group,
            x=_days(curve),
            y=tuple(value or 0.0 for value in _points(curve, curve.estimate)),
            lower=_points(curve, curve.lower),
            upper=_points(curve, curve.upper),
            risk_days=curve.risk_days,
            risk_counts=curve.risk_counts,
        )
        for curve in drawn
    )
    method = "; ".join(dict.fromkeys(curve.method for curve in drawn))
    groups = tuple(curve.group for curve in drawn)
    return Chart(id, "steps", finding, label, x_title, y_title, percent, series, method, groups)


def stack(curves: Sequence[Curve], *, id: str, finding: str, label: str, x_max: float) -> Chart:
    """Cumulative incidence of several outcomes of one route, each on top of the one before.

    ``x_max`` in days, the last day of any route, makes the charts of the routes comparable at a glance. The
    axis goes on a little, and so do the layers, or a step on the last day could not be seen.
    """
    room = max(1.0, LAST_STEP * x_max)
    grid = tuple(sorted({day for curve in curves for day in _days(curve)}))
    series = tuple(
        Series(_name(curve), curve.group, grid, tuple(_value_at(curve, day) for day in grid))
        for curve in curves
    )
    method = "; ".join(dict.fromkeys(curve.method for curve in curves))
    x_title = "Days from the first insertion"
    all_out = sum(layer.y[-1] for layer in series) > 1 - 1e-9
    until = None if all_out or not grid else grid[-1] + room
    chart = Chart(id, "stack", finding, label, x_title, "Courses", True, series, method)
    return replace(chart, x_max=x_max + room, held_until=until)


def _name(curve: Curve) -> str:
    """What the curve shows, without the route behind the last comma."""
    return curve.label.rpartition(",")[0]


def _value_at(curve: Curve, day: float) -> float:
    at = curve.start
    for step, value in zip(curve.days, curve.estimate, strict=True):
        if step > day:
            break
        at = value
    return at


def dots(figures: Sequence[Figure], *, id: str, finding: str, label: str, x_title: str) -> Chart:
    """Proportions with limits, one row a kind, the routes beside each other."""
    groups = [g for g in ROUTE_NAMES if any(f.group == g for f in figures)]
    series = []
    for group in groups:
        rows = [f for f in figures if f.group == group and f.estimate is not None]
        series.append(
            Series(
                name=ROUTE_NAMES[group],
                group=group,
                x=tuple(f.label for f in rows),
                y=tuple(f.estimate or 0.0 for f in rows),
                lower=tuple(f.lower for f in rows),
                upper=tuple(f.upper for f in rows),
                notes=tuple(f"{f.numerator:.0f}/{f.denominator:.0f}" for f in rows),
            )
        )
    method = "; ".join(dict.fromkeys(f.method for f in figures if f.method))
    return Chart(id, "dots", finding, label, x_title, "", True, tuple(series), method, tuple(groups))


def trend_top(chart: Chart) -> float:
    """How far the axis of a trend reaches: to all values, and to limits up to three times as far.

    A limit beyond is cut, so that one quarter with few device-days does not flatten all others.
    """
    values = max((v for s in chart.series for v in s.y), default=1.0) or 1.0
    limits = [v for s in chart.series for v in s.upper if v is not None and v <= 3 * values]
    return max([values, *limits])


def beyond(chart: Chart, series: Series) -> tuple[float | str, ...]:
    """The periods of a trend whose upper limit lies beyond the axis or has no end."""
    top = trend_top(chart)
    limited = zip(series.x, series.lower, series.upper, strict=True)
    return tuple(x for x, low, high in limited if (low is not None if high is None else high > top))
