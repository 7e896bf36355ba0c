"""Charts that a presentation sets beside the quarter: its forerunners, and one route against the other."""

from __future__ import annotations

from collections.abc import Sequence

from outcomes.estimators.rates import rate_ratio
from outcomes.figures import ROUTE_NAMES, Chart, Series
from outcomes.measures.scope import ROUTE_LABELS
from outcomes.measures.values import Figure
from outcomes.period import RANGE_MARK
from outcomes.report import Report
from outcomes.wording import count, show
from registry.choices import RouteGroup

ARMS = (RouteGroup.AXILLARY, RouteGroup.FEMORAL)
TRENDS = (
    ("volume.begun", "patients", "Patients begun", "Patients"),
    ("dwell.run", "median", "Median dwell of a run", "Days"),
    ("complications", "ANY/rate", "Any complication", "Events per 1,000 device-days"),
    ("repositions", "REPOSITION/rate", "Repositions", "Events per 1,000 device-days"),
)


def trends(quarters: Sequence[Report]) -> tuple[Chart, ...]:
    """One chart for each of ``TRENDS``: a value with its limits for every quarter and route."""
    return tuple(_trend(quarters, *which) for which in TRENDS)


def _trend(quarters: Sequence[Report], measure: str, item: str, title: str, y_title: str) -> Chart:
    series = tuple(_over_quarters(quarters, f"{measure}/{group.value}/{item}", group) for group in ARMS)
    last = [figure for s in ARMS if (figure := _figure(quarters[-1], f"{measure}/{s.value}/{item}"))]
    said = ", ".join(f"{ROUTE_LABELS[f.group].lower()} {show(f).value or 'not estimable'}" for f in last)
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
        method="; ".join(methods),
        routes=tuple(group.value for group in ARMS),
    )


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


def complication_ratios(report: Report) -> Chart | None:
    """Rate of each complication on the axillary over the femoral route; None without an event in both.

    A row whose ratio is 0 or without end keeps its finite limit.
    """
    rates = {f.key: f for f in report.figures_of("complications") if f.unit == "per 1,000 device-days"}
    rows = [
        (axillary, femoral)
        for key, axillary in rates.items()
        if axillary.group == RouteGroup.AXILLARY
        and (femoral := rates.get(key.replace("/AXILLARY/", "/FEMORAL/")))
        and axillary.denominator
        and femoral.denominator
        and (axillary.numerator or femoral.numerator)
    ]
    if not rows:
        return None
    ordered = sorted(rows, key=lambda row: not _overall(row[0]))  # the sums first
    compared = [_ratio(*row) for row in ordered]
    return _forest(report, [row[0].label for row in ordered], compared)


def _overall(figure: Figure) -> bool:
    return figure.key.split("/")[2] in ("ANY", "SERIOUS")


Ratio = tuple[float | None, float | None, float | None, str, str]


def _ratio(axillary: Figure, femoral: Figure) -> Ratio:
    found = rate_ratio(
        events=int(axillary.numerator or 0),
        time=float(axillary.denominator or 0),
        reference_events=int(femoral.numerator or 0),
        reference_time=float(femoral.denominator or 0),
    )
    upper = None if found.upper is None or found.upper == float("inf") else found.upper
    lower = found.lower or None
    of = f"{count(axillary.numerator)} v {count(femoral.numerator)}"
    return found.value, lower, upper, of, f"{found.method} limits"


def _forest(report: Report, labels: Sequence[str], rows: Sequence[Ratio]) -> Chart:
    _, lower, upper, _, method = rows[0]
    return Chart(
        id="chart-comparison",
        kind="forest",
        finding=_comparison_finding(labels[0], lower, upper, written_span(report.header.period)),
        label=f"Ratio of complication rates, axillary over femoral, {written_span(report.header.period)}",
        x_title="Rate ratio per device-day, axillary over femoral",
        y_title="",
        percent=False,
        series=(
            Series(
                name="Axillary over femoral",
                group="",
                x=tuple(labels),
                y=tuple(row[0] if row[0] is not None else float("inf") for row in rows),
                lower=tuple(row[1] for row in rows),
                upper=tuple(row[2] for row in rows),
                notes=tuple(row[3] for row in rows),
            ),
        ),
        method=f"rate ratio of events per device-day in place, {method}",
    )


def written_span(label: str) -> str:
    """The label of a period for a sentence."""
    return label.replace(RANGE_MARK, " to ")


def _comparison_finding(label: str, lower: float | None, upper: float | None, span: str) -> str:
    """What the crude ratio allows to be said: a direction only if the limits leave out 1."""
    if lower is not None and lower > 1:
        return f"{label}: more often on the axillary route, crude, {span}"
    if upper is not None and upper < 1:
        return f"{label}: less often on the axillary route, crude, {span}"
    return f"{label}: the routes cannot be told apart, crude, {span}"
