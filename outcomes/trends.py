"""The quarters up to one of them, and what has changed over them.

A trend is drawn from the reports of single quarters, so it says what they say, to whoever may read them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta

from outcomes.dataset import Dataset
from outcomes.figures import ROUTE_NAMES, Chart, Series
from outcomes.measures.scope import ROUTE_LABELS
from outcomes.measures.values import Figure
from outcomes.period import QUARTER, Period
from outcomes.report import Report, build_report
from outcomes.wording import HIDDEN, show
from registry.choices import RouteGroup

MOST_QUARTERS = 8
ARMS = (RouteGroup.AXILLARY, RouteGroup.FEMORAL)
TRENDS = (
    ("volume.begun", "patients", "Patients begun", "Patients"),
    ("dwell.run", "median", "Median dwell of a run", "Days"),
    ("complications", "ANY/rate", "Any complication", "Events per 1,000 device-days"),
    ("repositions", "REPOSITION/rate", "Repositions", "Events per 1,000 device-days"),
)


def quarters_until(
    report: Report, period: Period, dataset: Dataset, *, seen: Callable[[Report], Report]
) -> tuple[Report, ...]:
    """The reports of the quarters before ``report`` and itself, oldest first, each as ``seen`` by the reader.

    They begin with the first quarter with anybody on support: the programme did not exist before. None for a
    period that is no calendar quarter.
    """
    if not QUARTER.fullmatch(period.label):
        return ()
    found = [report]
    for before in _quarters_before(period, dataset):
        made = build_report(
            dataset=dataset, period=before, as_of=report.header.as_of, level=report.header.level
        )
        found.append(seen(made))
    while found and not _in_place(found[-1]):
        found.pop()
    return tuple(reversed(found))


def _quarters_before(period: Period, dataset: Dataset) -> list[Period]:
    """The latest first."""
    found = [period]
    while len(found) < MOST_QUARTERS:
        found.append(Period.quarter_of((found[-1].start - timedelta(days=1)).date(), dataset.zone))
    return found[1:]


def _in_place(report: Report) -> bool:
    """Whether anybody was on support; a hidden count hides somebody."""
    known = report.figures_of("volume.in_place", "ALL")
    return any(figure.numerator or figure.note == HIDDEN for figure in known)


def trends(quarters: Sequence[Report]) -> tuple[Chart, ...]:
    """One chart for each of ``TRENDS``: a value with its limits for every quarter and route.

    None of a value that fewer than two quarters show.
    """
    drawn = [_trend(quarters, *which) for which in TRENDS] if quarters else []
    return tuple(chart for chart in drawn if len({x for series in chart.series for x in series.x}) > 1)


def _trend(quarters: Sequence[Report], measure: str, item: str, title: str, y_title: str) -> Chart:
    series = tuple(_over_quarters(quarters, f"{measure}/{group.value}/{item}", group) for group in ARMS)
    last = [figure for s in ARMS if (figure := _figure(quarters[-1], f"{measure}/{s.value}/{item}"))]
    said = _said(last)
    methods = dict.fromkeys(f.method for f in last if f.method)
    unit = " per 1,000 device-days" if item.endswith("/rate") else ""
    span = f"{quarters[0].header.period} to {quarters[-1].header.period}"
    return Chart(
        id=f"chart-trend-{measure}".replace(".", "-"),
        kind="trend",
        finding=f"{title}{unit}, {quarters[-1].header.period}: {said}.",
        label=f"{title}{unit} by quarter and route, {span}",
        x_title="Quarter",
        y_title=y_title,
        percent=False,
        series=series,
        method="; ".join([*methods, *_missing(quarters, series)]),
        routes=tuple(group.value for group in ARMS),
        rows=tuple(report.header.period for report in quarters),
    )


def _missing(quarters: Sequence[Report], series: Sequence[Series]) -> list[str]:
    """Which quarters stand empty, so that none is taken for 0."""
    periods = [report.header.period for report in quarters]
    said = [
        f"{', '.join(empty)} ({each.name.lower()})"
        for each in series
        if (empty := [period for period in periods if period not in each.x])
    ]
    return [f"no value shown, which is not 0: {'; '.join(said)}"] if said else []


def _said(last: Sequence[Figure]) -> str:
    """The latest value of each route in words."""
    if last and all(figure.note == HIDDEN for figure in last):
        return "hidden, as counts are small"
    return ", ".join(f"{ROUTE_LABELS[f.group].lower()} {show(f).value or show(f).absent}" for f in last)


def _figure(report: Report, key: str) -> Figure | None:
    return next((figure for figure in report.figures if figure.key == key), None)


def _over_quarters(quarters: Sequence[Report], key: str, group: RouteGroup) -> Series:
    known = [
        (report.header.period, figure, value)
        for report in quarters
        if (figure := _figure(report, key)) and (value := _value(figure)) is not None
    ]
    return Series(
        name=ROUTE_NAMES[group],
        group=group.value,
        x=tuple(period for period, _, _ in known),
        y=tuple(value for _, _, value in known),
        lower=tuple(figure.lower for _, figure, _ in known),
        upper=tuple(figure.upper for _, figure, _ in known),
        notes=tuple(show(figure).of for _, figure, _ in known),
    )


def _value(figure: Figure) -> float | None:
    return figure.numerator if figure.unit == "count" else figure.estimate
