"""Shewhart charts: is this period's figure within the chance variation of a frozen baseline?

p chart: share of runs with an event. c chart: events per equal period. u chart: events per exposure, with
limits that widen when a period has few device-days. g chart: cases between rare events. t chart: days
between rare events.

On the limit is inside: a point signals only beyond its limit, by more than rounding. A limit below 0 is
drawn at 0 and cannot signal. A period without exposure has no value, no limits, and is passed over by the
rules. A chart describes a process; it is not a test of a difference and not an alarm.

Montgomery DC. Introduction to statistical quality control, 6th ed. Wiley 2009, chapter 7 (p, c, u).
Benneyan JC. Health Care Manag Sci 2001;4:305-318, "Number-between g-type statistical quality control charts
for monitoring adverse events", doi:10.1023/A:1011846412909 (g).
Nelson LS. J Qual Technol 1994;26:239-240, "A control chart for parts-per-million nonconforming items",
doi:10.1080/00224065.1994.11979529 (t).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from outcomes.estimators.arrays import Floats, counts, non_negative
from outcomes.estimators.base import EstimatorError
from outcomes.estimators.chartsignals import DEFAULT_RULES, Rule, Series, Signal, chosen_rules, find_signals

ChartKind = Literal["p", "c", "u", "g", "t"]
GLimits = Literal["probability", "three sigma"]

SIGMAS = 3.0
FALSE_ALARM = 2.0 * float(ndtr(-SIGMAS))  # 0.0027: what three sigma means for a normal figure
T_POWER = 1.0 / 3.6  # makes exponential gaps nearly normal (Nelson 1994)
_MOVING_RANGE_UNIT = 2.0 / float(np.sqrt(np.pi))  # d2 for pairs: expected moving range of a unit normal
_ROUNDING = 1e-9

METHODS: dict[ChartKind, str] = {
    "p": "p chart, three sigma",
    "c": "c chart, three sigma",
    "u": "u chart, three sigma",
    "g": "g chart",
    "t": "t chart, individuals after the power 1/3.6, three sigma from the mean moving range",
}


@dataclass(frozen=True, kw_only=True)
class Baseline:
    """A frozen baseline. ``centre`` is the share, count, rate or gap; ``events`` and ``exposure`` made it.

    ``spread`` (t chart only) is the standard deviation of the transformed gaps; its centre is transformed.
    """

    kind: ChartKind
    centre: float
    events: int
    exposure: float
    periods: int
    spread: float | None = None


@dataclass(frozen=True, kw_only=True)
class ChartPoint:
    """One plotted point; ``events`` over ``exposure`` gives ``value`` (a gap has one event)."""

    events: int
    exposure: float
    value: float | None
    lower: float | None
    upper: float | None


@dataclass(frozen=True, kw_only=True)
class ControlChart:
    """Points with limits, and the signals of the chosen rules. ``centre`` is on the scale of the values."""

    kind: ChartKind
    method: str
    baseline: Baseline
    centre: float
    points: tuple[ChartPoint, ...]
    rules: tuple[Rule, ...]
    signals: tuple[Signal, ...]


# Counts per period ---------------------------------------------------------------------------------------


def p_baseline(events: npt.ArrayLike, denominators: npt.ArrayLike) -> Baseline:
    """Baseline share from the events and runs of each baseline period, shape (M,)."""
    number, total = _events_of(events, denominators)
    return _baseline("p", number, total)


def c_baseline(events: npt.ArrayLike) -> Baseline:
    """Baseline mean count of equal periods, shape (M,)."""
    number = counts("events", events)
    return _baseline("c", number.astype(np.float64), np.ones(number.size))


def u_baseline(events: npt.ArrayLike, exposures: npt.ArrayLike) -> Baseline:
    """Baseline rate per unit of exposure (device-days, or thousands of them), shape (M,)."""
    return _baseline("u", *_rates_of(events, exposures))


def p_chart(
    events: npt.ArrayLike,
    denominators: npt.ArrayLike,
    baseline: Baseline,
    *,
    rules: Collection[Rule] = DEFAULT_RULES,
) -> ControlChart:
    """Chart shares: ``events`` and ``denominators`` are whole numbers, shape (N,)."""
    _check_kind(baseline, "p")
    number, total = _events_of(events, denominators)
    return _period_chart(number, total, baseline, baseline.centre * (1.0 - baseline.centre), 1.0, rules)


def c_chart(
    events: npt.ArrayLike, baseline: Baseline, *, rules: Collection[Rule] = DEFAULT_RULES
) -> ControlChart:
    """Chart counts of equal periods, shape (N,)."""
    _check_kind(baseline, "c")
    number = counts("events", events).astype(np.float64)
    return _period_chart(number, np.ones(number.size), baseline, baseline.centre, np.inf, rules)


def u_chart(
    events: npt.ArrayLike,
    exposures: npt.ArrayLike,
    baseline: Baseline,
    *,
    rules: Collection[Rule] = DEFAULT_RULES,
) -> ControlChart:
    """Chart rates: ``events`` (N,) per ``exposures`` (N,), in the exposure unit of the baseline."""
    _check_kind(baseline, "u")
    number, exposure = _rates_of(events, exposures)
    return _period_chart(number, exposure, baseline, baseline.centre, np.inf, rules)


def _events_of(events: npt.ArrayLike, denominators: npt.ArrayLike) -> tuple[Floats, Floats]:
    number = counts("events", events)
    total = counts("denominators", denominators, length=number.size)
    if (number > total).any():
        raise EstimatorError("events", "must not exceed the denominators")
    return number.astype(np.float64), total.astype(np.float64)


def _rates_of(events: npt.ArrayLike, exposures: npt.ArrayLike) -> tuple[Floats, Floats]:
    number = counts("events", events)
    exposure = non_negative("exposures", exposures, length=number.size)
    if (number[exposure == 0.0] > 0).any():
        raise EstimatorError("events", "must be 0 in a period without exposure")
    return number.astype(np.float64), exposure


def _baseline(kind: ChartKind, events: Floats, exposure: Floats) -> Baseline:
    if events.sum() == 0.0:
        raise EstimatorError("events", "must hold at least one event: without one no limits can be set")
    if kind == "p" and (events == exposure).all():
        raise EstimatorError("events", "must not all be events: no limits can be set")
    return Baseline(
        kind=kind,
        centre=float(events.sum() / exposure.sum()),
        events=int(events.sum()),
        exposure=float(exposure.sum()),
        periods=events.size,
    )


def _check_kind(baseline: Baseline, kind: ChartKind) -> None:
    if baseline.kind != kind:
        raise EstimatorError("baseline", f"must be that of a {kind} chart, not of a {baseline.kind} chart")


def _period_chart(
    events: Floats,
    exposure: Floats,
    baseline: Baseline,
    variance: float,
    ceiling: float,
    rules: Collection[Rule],
) -> ControlChart:
    """Limits centre ± 3 sqrt(variance / exposure), kept within 0 and ``ceiling``."""
    amount = np.where(exposure > 0.0, exposure, np.nan)
    values, sigma = events / amount, np.sqrt(variance / amount)
    series = Series(
        values=values,
        lower=np.maximum(0.0, baseline.centre - SIGMAS * sigma),
        upper=np.minimum(ceiling, baseline.centre + SIGMAS * sigma),
        scores=(values - baseline.centre) / sigma,
    )
    points = _points(events, exposure, series)
    return _chart(baseline, baseline.centre, METHODS[baseline.kind], points, series, rules)


def _points(events: Floats, exposure: Floats, series: Series) -> list[ChartPoint]:
    rows = zip(events, exposure, series.values, series.lower, series.upper, strict=True)
    return [
        ChartPoint(
            events=int(number),
            exposure=float(amount),
            value=_known(value),
            lower=_known(lower),
            upper=_known(upper),
        )
        for number, amount, value, lower, upper in rows
    ]


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


# Gaps between rare events --------------------------------------------------------------------------------


def g_baseline(between: npt.ArrayLike) -> Baseline:
    """Baseline mean number of event-free cases between events; whole numbers, shape (M,), M at least 2."""
    gaps = _gaps("between", counts("between", between).astype(np.float64))
    return Baseline(
        kind="g", centre=float(gaps.mean()), events=gaps.size, exposure=float(gaps.sum()), periods=gaps.size
    )


def g_chart(
    between: npt.ArrayLike,
    baseline: Baseline,
    *,
    limits: GLimits = "probability",
    rules: Collection[Rule] = DEFAULT_RULES,
) -> ControlChart:
    """Chart event-free cases between events, shape (N,). Below the centre means events come closer.

    ``probability`` limits leave at most 0.00135 in each geometric tail; ``three sigma`` are
    mean ± 3 sqrt(mean (mean + 1)), which suit geometric figures badly and are there for comparison.
    Run and zone rules count from the median, in normal scores of the geometric distribution.
    The lower limit is nearly always 0, so the rule "run of zeros" watches for close events: as many
    consecutive zeros as have a chance of at most 0.00135.
    """
    _check_kind(baseline, "g")
    if limits not in get_args(GLimits):
        raise EstimatorError("limits", "must be one of " + ", ".join(get_args(GLimits)))
    gaps = counts("between", between).astype(np.float64)
    series = Series(
        values=gaps,
        lower=np.full(gaps.size, _g_limits(baseline.centre, limits)[0]),
        upper=np.full(gaps.size, _g_limits(baseline.centre, limits)[1]),
        scores=_geometric_scores(gaps, baseline.centre),
        zeros_to_signal=zeros_that_signal(baseline),
    )
    points = _points(np.ones(gaps.size), gaps + 1.0, series)
    return _chart(baseline, baseline.centre, f"g chart, {limits} limits", points, series, rules)


def _geometric_scores(gaps: Floats, centre: float) -> Floats:
    """Normal scores of the mid-P geometric distribution: a skew figure lies below its mean too often."""
    no_event = centre / (centre + 1.0)
    return np.asarray(ndtri(1.0 - no_event**gaps * (1.0 + no_event) / 2.0))


def unbiased_event_chance(baseline: Baseline) -> float:
    """Chance of an event per case from a g baseline: (M - 1) / (M - 1 + sum of gaps), which is unbiased.

    Haldane JBS. Biometrika 1945;33:222-225, "On a method of estimating frequencies",
    doi:10.1093/biomet/33.3.222.
    """
    _check_kind(baseline, "g")
    return (baseline.events - 1) / (baseline.events - 1 + baseline.exposure)


def _g_limits(centre: float, limits: GLimits) -> tuple[float, float]:
    if limits == "three sigma":
        sigma = float(np.sqrt(centre * (centre + 1.0)))
        return max(0.0, centre - SIGMAS * sigma), centre + SIGMAS * sigma
    tail, no_event = FALSE_ALARM / 2.0, -np.log1p(1.0 / centre)  # log of the chance that a case has no event
    # P(X > upper) = (1-p)^(upper + 1) and P(X < lower) = 1 - (1-p)^lower stay within the tail.
    upper = max(0.0, float(np.ceil(np.log(tail) / no_event - 1.0 - _ROUNDING)))
    return float(np.floor(np.log1p(-tail) / no_event + _ROUNDING)), upper


def zeros_that_signal(baseline: Baseline) -> int:
    """Consecutive zero gaps that together have a chance of at most 0.00135 under a g baseline."""
    _check_kind(baseline, "g")
    return max(1, int(np.ceil(np.log(FALSE_ALARM / 2.0) / -np.log1p(baseline.centre) - _ROUNDING)))


def t_baseline(days_between: npt.ArrayLike) -> Baseline:
    """Baseline of days between events, shape (M,), M at least 2; 0 for two events on a day."""
    days = _gaps("days_between", non_negative("days_between", days_between))
    moved = days**T_POWER
    return Baseline(
        kind="t",
        centre=float(moved.mean()),
        events=days.size,
        exposure=float(days.sum()),
        periods=days.size,
        spread=float(np.abs(np.diff(moved)).mean() / _MOVING_RANGE_UNIT),
    )


def t_chart(
    days_between: npt.ArrayLike, baseline: Baseline, *, rules: Collection[Rule] = DEFAULT_RULES
) -> ControlChart:
    """Chart days between events, shape (N,). Below the centre means events come closer.

    Exponential (Weibull with shape 1) gaps become nearly normal when raised to 1/3.6 (Weibull with shape
    3.6); limits are those of an individuals chart on that scale, carried back to days.
    """
    _check_kind(baseline, "t")
    days, spread = non_negative("days_between", days_between), baseline.spread or np.nan
    lower = max(0.0, baseline.centre - SIGMAS * spread) ** (1.0 / T_POWER)
    upper = (baseline.centre + SIGMAS * spread) ** (1.0 / T_POWER)
    series = Series(
        values=days,
        lower=np.full(days.size, lower),
        upper=np.full(days.size, upper),
        scores=(days**T_POWER - baseline.centre) / spread,
    )
    points = _points(np.ones(days.size), days, series)
    return _chart(baseline, baseline.centre ** (1.0 / T_POWER), METHODS["t"], points, series, rules)


def _gaps(name: str, gaps: Floats) -> Floats:
    if gaps.size < 2 or np.ptp(gaps) == 0.0:
        raise EstimatorError(name, "must hold at least two gaps that are not all equal")
    return gaps


def _chart(
    baseline: Baseline,
    centre: float,
    method: str,
    points: list[ChartPoint],
    series: Series,
    rules: Collection[Rule],
) -> ControlChart:
    return ControlChart(
        kind=baseline.kind,
        method=method,
        baseline=baseline,
        centre=centre,
        points=tuple(points),
        rules=chosen_rules(rules),
        signals=find_signals(series, rules),
    )
