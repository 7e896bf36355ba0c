"""The programme in time: learning curve of axillary placement, and trend charts from a frozen baseline."""

from __future__ import annotations

from datetime import date

import numpy as np

from outcomes.comparison import limits
from outcomes.comparison.answers import Answers, answers, chosen_events
from outcomes.comparison.choices import Choices
from outcomes.comparison.endpoints import BY_CODE, Endpoint
from outcomes.comparison.risk import Expected, expected_risks
from outcomes.comparison.units import AXILLARY, FEMORAL, Programme, Units
from outcomes.comparison.value import ARMS
from outcomes.comparison.value_over_time import LearningCurve, OverTime, Trend
from outcomes.dataset.clock import MINUTES_PER_DAY, local_days, minute_of
from outcomes.estimators.arrays import Floats, Ints
from outcomes.estimators.base import EstimatorError
from outcomes.estimators.chartsignals import DEFAULT_RULES
from outcomes.estimators.controlcharts import (
    ControlChart,
    g_baseline,
    g_chart,
    t_baseline,
    t_chart,
    u_baseline,
    u_chart,
)
from outcomes.estimators.cusum import (
    Cusum,
    RunLength,
    binary_increments,
    risk_adjusted_cusum,
    threshold_for,
)
from outcomes.estimators.rates import PER_DEVICE_DAYS
from outcomes.period import Period

THRESHOLD_STEP = 0.05
RISK_CLASSES = 200  # expected risks are joined into so many classes to work out the run length
UNIX_ZERO = date(1970, 1, 1).toordinal()


def over_time(programme: Programme, units: Units, choices: Choices) -> OverTime:
    """Learning curve and a trend chart of each route."""
    endpoint = BY_CODE[choices.outcome]
    return OverTime(
        learning=learning_curve(programme, units, endpoint),
        trends=tuple(chart for axillary in (True, False) for chart in trends(programme, endpoint, axillary)),
    )


# Learning curve


def learning_curve(programme: Programme, units: Units, endpoint: Endpoint) -> LearningCurve:
    """Cumulative sums over the axillary rows in the order in which they began."""
    if len(programme.dataset.centres) > 1:
        return _no_curve(0, "each centre learns by itself: choose one of them")
    found = answers(programme, units, endpoint)
    order = np.argsort(units.started, kind="stable")
    order = order[units.axillary[order] & found.known[order]][-limits.MOST_CUSUM_CASES :]
    if order.size < limits.FEWEST_CUSUM_CASES:
        return _no_curve(
            order.size,
            f"too few axillary {units.words}: at least {limits.FEWEST_CUSUM_CASES} are needed",
        )
    expected = expected_risks(programme, units, found)
    if expected is None:
        return _no_curve(
            order.size,
            f"no expected risk: it is frozen on the first {limits.CUSUM_RISK_CASES} {units.words} of both "
            "routes, some with and some without the outcome",
        )
    return _curve(found, expected, order)


def _no_curve(cases: int, refusal: str) -> LearningCurve:
    return LearningCurve(
        cases=cases,
        events=None,
        expected=None,
        worse=(),
        better=(),
        happened=(),
        thresholds=(0.0, 0.0),
        run_lengths=(0.0, 0.0),
        signals=(),
        risk_terms=(),
        method="",
        refusal=refusal,
    )


def _curve(found: Answers, expected: Expected, order: Ints) -> LearningCurve:
    hits, risks = found.hit[order], expected.risks[order]
    charts: list[Cusum] = []
    lengths: list[RunLength] = []
    for ratio in limits.CUSUM_ODDS_RATIOS:
        length = signal_threshold(risks, ratio)
        lengths.append(length)
        charts.append(risk_adjusted_cusum(hits, risks, odds_ratio=ratio, threshold=length.threshold))
    names = ("more than expected", "fewer than expected")
    if not found.endpoint.harm:
        names = ("more often than expected", "less often than expected")
    return LearningCurve(
        cases=int(order.size),
        events=int(hits.sum()),
        expected=float(risks.sum()),
        worse=tuple(point.total for point in charts[0].points),
        better=tuple(-point.total for point in charts[1].points),
        happened=tuple(hits.tolist()),
        thresholds=(lengths[0].threshold, -lengths[1].threshold),
        run_lengths=(lengths[0].mean, lengths[1].mean),
        signals=tuple(
            (name, place + 1) for name, chart in zip(names, charts, strict=True) for place in chart.signals
        ),
        risk_terms=expected.terms,
        method=(
            f"{charts[0].method}; odds ratios {limits.CUSUM_ODDS_RATIOS[0]:g} and "
            f"{limits.CUSUM_ODDS_RATIOS[1]:g}; expected risks frozen on the first {expected.cases} of both "
            f"routes ({expected.events} with the outcome); {lengths[0].method}"
        ),
    )


def signal_threshold(risks: Floats, odds_ratio: float) -> RunLength:
    """The lowest threshold that signals falsely no more often than once in the stated number of cases."""
    classes, counts = np.unique(np.round(risks * RISK_CLASSES) / RISK_CLASSES, return_counts=True)
    classes = np.clip(classes, 0.5 / RISK_CLASSES, 1.0 - 0.5 / RISK_CLASSES)
    increments = binary_increments(classes, odds_ratio=odds_ratio, shares=counts)
    return threshold_for(increments, limits.CUSUM_CASES_BETWEEN_FALSE_SIGNALS, step=THRESHOLD_STEP)


# Trend charts: all runs of a route, whatever the filters, as a process is watched as a whole


def trends(programme: Programme, endpoint: Endpoint, axillary: bool) -> tuple[Trend, ...]:
    """Events per 1,000 device-days by month; when they are rare, days and pumps between events.

    Days come closer also when more pumps are placed; pumps do not, but say nothing of how long each stayed.
    """
    arm = ARMS[0] if axillary else ARMS[1]
    if not endpoint.of_events:
        refusal = "only outcomes made of events are charted; choose a complication above"
        return (_no_trend(arm, refusal),)
    edges = _months(programme)
    if len(edges) <= limits.BASELINE_MONTHS + 1:
        refusal = f"the logbook is too young: {limits.BASELINE_MONTHS} full months make the frozen baseline"
        return (_no_trend(arm, refusal),)
    route = AXILLARY if axillary else FEMORAL
    onset = _onsets(programme, endpoint, route)
    events = np.histogram(onset, edges)[0]
    days = _days_in_months(programme, route, edges)
    if events[: limits.BASELINE_MONTHS].sum() >= limits.FEWEST_BASELINE_EVENTS:
        return (_by_month(programme, arm, edges, events, days),)
    by_days = _between(programme, arm, np.sort(onset), edges)
    if by_days.refusal:
        return (by_days,)
    return by_days, _pumps_between(programme, endpoint, route, arm, edges)


def _months(programme: Programme) -> Ints:
    """Minutes at which the full months from the first insertion to the data cut begin, and the last end."""
    data = programme.dataset
    if not data.runs.size:
        return np.zeros(0, dtype=np.int64)
    first = date.fromordinal(UNIX_ZERO + int(local_days(data.runs.inserted.min()[None], data.zone)[0]))
    edges: list[int] = []
    year, month = first.year, first.month
    while True:
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
        start = minute_of(Period.parse(f"{year}-{month:02d}", data.zone).start)
        if start > data.cut:
            return np.array(edges, dtype=np.int64)
        edges.append(start)


def _onsets(programme: Programme, endpoint: Endpoint, route: int) -> Ints:
    happened = programme.happened
    chosen = chosen_events(programme, endpoint) & (programme.dataset.runs.route[happened.run] == route)
    return happened.onset[chosen]


def _days_in_months(programme: Programme, route: int, edges: Ints) -> Floats:
    """Device-days of a route in each month, from prefix sums of starts and ends."""
    runs = programme.dataset.runs
    rows = runs.is_pump & runs.observed & (runs.route == route)
    before = _clipped_sum(runs.ended[rows], edges) - _clipped_sum(runs.observed_from[rows], edges)
    return np.asarray(np.diff(before) / MINUTES_PER_DAY, dtype=np.float64)


def _clipped_sum(moments: Ints, edges: Ints) -> Ints:
    """For each edge, the sum over moments of the smaller of the two."""
    ordered = np.sort(moments)
    below = np.searchsorted(ordered, edges, side="right")
    running = np.concatenate([[0], np.cumsum(ordered)])
    return running[below] + (ordered.size - below) * edges


def _by_month(programme: Programme, arm: str, edges: Ints, events: Ints, days: Floats) -> Trend:
    cut = limits.BASELINE_MONTHS
    exposure = days / PER_DEVICE_DAYS
    events = np.where(exposure > 0.0, events, 0)
    labels = _labels(programme, edges[:-1])
    try:
        baseline = u_baseline(events[:cut], exposure[:cut])
        chart = u_chart(events, exposure, baseline)
    except EstimatorError as error:
        return _no_trend(arm, f"no limits can be set ({error.rule})")
    quarters = tuple(k for k, label in enumerate(labels) if label[5:] in ("01", "04", "07", "10"))
    said = (
        f"{labels[0]} to {labels[cut - 1]}: {baseline.events} events in "
        f"{baseline.exposure * PER_DEVICE_DAYS:,.0f} device-days"
    )
    return _charted(arm, chart, labels, quarters, said, cut)


def _between(programme: Programme, arm: str, onset: Ints, edges: Ints) -> Trend:
    """Days between events; the gaps that end in the baseline months, and some more if need be, are frozen."""
    if onset.size <= limits.FEWEST_BASELINE_GAPS:
        return _no_trend(
            arm,
            f"too few events for a chart: limits need {limits.FEWEST_BASELINE_GAPS} gaps, and something to "
            "compare with them",
        )
    gaps = np.diff(onset) / MINUTES_PER_DAY
    cut = _frozen_gaps(onset, edges)
    try:
        chart = t_chart(gaps, t_baseline(gaps[:cut]))
    except EstimatorError as error:
        return _no_trend(arm, f"no limits can be set ({error.rule})")
    return _gaps_charted(programme, arm, chart, onset[1:], cut)


def _pumps_between(programme: Programme, endpoint: Endpoint, route: int, arm: str, edges: Ints) -> Trend:
    """Pumps of the route without the event, in the order of insertion, between those with it."""
    runs, happened = programme.dataset.runs, programme.happened
    hit = np.zeros(runs.size, dtype=np.bool_)
    hit[happened.run[chosen_events(programme, endpoint)]] = True
    placed = np.flatnonzero(runs.is_pump & (runs.route == route))
    placed = placed[np.argsort(runs.inserted[placed], kind="stable")]
    place = np.flatnonzero(hit[placed])
    inserted = runs.inserted[placed[place]]
    if place.size <= limits.FEWEST_BASELINE_GAPS:
        return _no_trend(arm, "too few pumps with the event for a chart of the pumps between them")
    gaps, cut = np.diff(place) - 1, _frozen_gaps(inserted, edges)
    try:
        chart = g_chart(gaps, g_baseline(gaps[:cut]), rules=(*DEFAULT_RULES, "run of zeros"))
    except EstimatorError as error:
        return _no_trend(arm, f"no limits can be set on pumps between events ({error.rule})")
    return _gaps_charted(programme, arm, chart, inserted[1:], cut)


def _frozen_gaps(moments: Ints, edges: Ints) -> int:
    """How many gaps make the baseline: those that end in its months, and some more if need be."""
    in_baseline = int((moments[1:] < edges[limits.BASELINE_MONTHS]).sum())
    return max(in_baseline, limits.FEWEST_BASELINE_GAPS)


def _gaps_charted(programme: Programme, arm: str, chart: ControlChart, ends: Ints, cut: int) -> Trend:
    """A chart of gaps that end at these minutes."""
    labels = _labels(programme, ends)
    quarter = [_quarter_of(label) for label in labels]
    new = tuple(k for k, q in enumerate(quarter) if k == 0 or q != quarter[k - 1])
    return _charted(arm, chart, labels, new, f"the first {cut} gaps, to {labels[cut - 1]}", cut)


def _charted(
    arm: str, chart: ControlChart, labels: tuple[str, ...], quarters: tuple[int, ...], said: str, cut: int
) -> Trend:
    return Trend(
        arm=arm,
        kind=chart.kind,
        at=labels,
        quarters=quarters,
        values=tuple(point.value for point in chart.points),
        lower=tuple(point.lower for point in chart.points),
        upper=tuple(point.upper for point in chart.points),
        centre=chart.centre,
        baseline=said,
        baseline_points=cut,
        signals=tuple((signal.last, f"{signal.rule}, {signal.side}") for signal in chart.signals),
        method=f"{chart.method}; signal rules: {', '.join(chart.rules)}",
    )


def _no_trend(arm: str, refusal: str) -> Trend:
    return Trend(
        arm=arm,
        kind="",
        at=(),
        quarters=(),
        values=(),
        lower=(),
        upper=(),
        centre=None,
        baseline="",
        baseline_points=0,
        signals=(),
        method="",
        refusal=refusal,
    )


def _labels(programme: Programme, minutes: Ints) -> tuple[str, ...]:
    days = local_days(minutes, programme.dataset.zone)
    return tuple(str(day)[:7] for day in days.astype("datetime64[D]"))


def _quarter_of(label: str) -> str:
    return f"{label[:4]}-Q{(int(label[5:]) + 2) // 3}"
