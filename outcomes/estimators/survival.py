"""Kaplan-Meier curves with delayed entry, their quantiles and restricted means, and the log-rank test."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from scipy.special import ndtr

from outcomes.estimators.arrays import Floats, Ints
from outcomes.estimators.base import Estimate, EstimatorError, check_positive, two_sided_z
from outcomes.estimators.curves import (
    TOO_FEW_EARLY,
    StepCurve,
    Transform,
    area_under,
    first_usable,
    probability_limits,
)
from outcomes.estimators.ksample import GroupTest, group_test
from outcomes.estimators.tally import Tally

ON_THE_LEVEL = 1e-9  # a product of fractions this near a level is taken to be on it


@dataclass(frozen=True, kw_only=True, eq=False)
class SurvivalCurve(StepCurve):
    """Share still free of the event, and the transform of its limits."""

    transform: Transform

    start: ClassVar[float] = 1.0


@dataclass(frozen=True, kw_only=True)
class SurvivalQuantile(Estimate):
    """Time by which a ``share`` of the group has had the event (0.5: the median), of ``subjects``."""

    share: float
    group: str
    events: int
    subjects: int


@dataclass(frozen=True, kw_only=True)
class RestrictedMean(Estimate):
    """Mean event-free time up to ``tau``, in the unit of the times."""

    tau: float
    std_error: float | None
    group: str
    events: int
    subjects: int


@dataclass(frozen=True, kw_only=True)
class RestrictedMeanDifference(Estimate):
    """First minus second restricted mean, with a two-sided p-value."""

    first: RestrictedMean
    second: RestrictedMean
    std_error: float | None
    p_value: float | None


def kaplan_meier(
    tally: Tally,
    *,
    group: int | str = 0,
    level: float = 0.95,
    transform: Transform = "log-log",
    minimum_at_risk: int = 0,
) -> SurvivalCurve:
    """Probability of no exit by any cause; pass ``tally.of_causes(...)`` to censor the others.

    Standard errors are Greenwood's; limits use the named transform. When the last row at risk has the event
    the curve is 0 and no transform has a slope: the lower limit is then 0 and the upper one stays where it
    was, which holds because survival cannot rise. ``minimum_at_risk`` leaves out events met by a smaller
    early risk set (delayed entry); the curve is then conditional on reaching ``starts_at``.

    Raises EstimatorError for an unknown or empty group, level, transform or minimum.

    Source: Kaplan and Meier, JASA 1958;53:457-481, doi 10.1080/01621459.1958.10501452; delayed entry: Klein
    and Moeschberger, Survival Analysis, 2nd ed. 2003, section 4.6, doi 10.1007/b97377.
    """
    index = tally.group_index(group)
    table = tally.risk_table(index)
    first = first_usable(table.at_risk[0], minimum_at_risk)
    at_risk, events = table.at_risk[0, first:], table.events[0, :, first:].sum(axis=0)
    values = np.cumprod((at_risk - events) / at_risk)
    std_error = values * np.sqrt(np.cumsum(greenwood_terms(at_risk, events)))
    lower, upper = probability_limits(values, std_error, level=level, transform=transform)
    gone = values == 0.0
    upper[gone] = upper[~gone][-1] if (~gone).any() else 1.0
    starts_at = float(table.times[first]) if first else None
    return SurvivalCurve(
        tally=tally,
        group=index,
        times=table.times[first:],
        values=values,
        std_error=std_error,
        lower=lower,
        upper=upper,
        at_risk=at_risk,
        events=events,
        level=level,
        method=f"Kaplan-Meier, Greenwood variance, {transform} limits",
        transform=transform,
        minimum_at_risk=minimum_at_risk,
        starts_at=starts_at,
        note="" if starts_at is None else TOO_FEW_EARLY.format(minimum=minimum_at_risk, start=starts_at),
    )


def greenwood_terms(at_risk: Ints, events: Ints) -> Floats:
    """d / (Y (Y - d)) at each time; 0 where all at risk have the event, as the curve multiplies it by 0."""
    left = at_risk - events
    safe = np.where(left > 0, left, 1) * at_risk.astype(float)
    return np.where(left > 0, events / safe, 0.0)


def quantile(curve: SurvivalCurve, share: float = 0.5) -> SurvivalQuantile:
    """Time by which ``share`` of the group has had the event, with limits from the curve's own transform.

    The time is the first at which the curve is below 1 - ``share``. A curve that runs exactly on that level
    is given the middle of its flat stretch, which ends at the next event or at the last follow-up. A limit
    that the limit curves never cross is None.

    Source: Brookmeyer and Crowley, Biometrics 1982;38:29-41, doi 10.2307/2530286.
    """
    if not 0.0 < share < 1.0:
        raise EstimatorError("share", "must lie strictly between 0 and 1")
    level = 1.0 - share
    known = curve.values > 0.0
    value = _crossing(curve, curve.values, level)
    return SurvivalQuantile(
        value=value,
        lower=_crossing(curve, np.where(known, curve.lower, 1.0), level),
        upper=_crossing(curve, np.where(known, curve.upper, 1.0), level),
        level=curve.level,
        method=f"{curve.method}, Brookmeyer-Crowley",
        note=curve.note if value is not None else f"fewer than {share:.0%} had the event during follow-up",
        share=share,
        group=curve.label,
        events=int(curve.events.sum()),
        subjects=curve.subjects,
    )


def _crossing(curve: SurvivalCurve, values: Floats, level: float) -> float | None:
    below = np.flatnonzero(values < level - ON_THE_LEVEL)
    on = np.flatnonzero(np.abs(values - level) <= ON_THE_LEVEL)
    end = float(curve.times[below[0]]) if below.size else None
    if not on.size:
        return end
    return 0.5 * (float(curve.times[on[0]]) + (curve.last_follow_up if end is None else end))


def restricted_mean(curve: SurvivalCurve, *, tau: float) -> RestrictedMean:
    """Area under the curve up to ``tau``, with the variance of that estimate (not of the time itself).

    The variance sums, over event times, the squared area still to come times Greenwood's term. Not estimable
    when ``tau`` lies beyond the last follow-up of a curve that has not reached 0, or when the curve starts
    late.

    Raises EstimatorError for a ``tau`` that is not positive.

    Source: Klein and Moeschberger, Survival Analysis, 2nd ed. 2003, section 4.5, doi 10.1007/b97377; Uno et
    al., J Clin Oncol 2014;32:2380-2385, doi 10.1200/JCO.2014.55.2208.
    """
    check_positive("tau", tau)
    value = error = None
    note = _why_no_mean(curve, tau)
    if not note:
        value = area_under(curve.times, curve.values, start=1.0, tau=tau)
        error = _restricted_mean_error(curve, tau)
    width = None if error is None else two_sided_z(curve.level) * error
    return RestrictedMean(
        value=value,
        lower=None if value is None or width is None else value - width,
        upper=None if value is None or width is None else value + width,
        level=curve.level,
        method=f"restricted mean to {tau:g}, Kaplan-Meier, normal limits",
        note=note,
        tau=tau,
        std_error=error,
        group=curve.label,
        events=int(curve.events[curve.times <= tau].sum()),
        subjects=curve.subjects,
    )


def _why_no_mean(curve: SurvivalCurve, tau: float) -> str:
    if curve.starts_at is not None:
        return f"not estimable: {curve.note}"
    ended = curve.values.size > 0 and curve.values[-1] == 0.0
    if tau > curve.last_follow_up and not ended:
        return f"not estimable: follow-up ends at {curve.last_follow_up:g}, before {tau:g}"
    return ""


def _restricted_mean_error(curve: SurvivalCurve, tau: float) -> float:
    kept = curve.times < tau
    steps = np.diff(np.append(curve.times[kept], tau))
    still_to_come = np.cumsum((curve.values[kept] * steps)[::-1])[::-1]
    terms = greenwood_terms(curve.at_risk[kept], curve.events[kept])
    return float(np.sqrt(np.sum(still_to_come**2 * terms)))


def restricted_mean_difference(
    first: RestrictedMean, second: RestrictedMean, *, level: float = 0.95
) -> RestrictedMeanDifference:
    """First minus second restricted mean of two independent groups, normal limits.

    Raises EstimatorError when the two have different ``tau``. Source: as for :func:`restricted_mean`.
    """
    z = two_sided_z(level)
    if first.tau != second.tau:
        raise EstimatorError("second", "must be restricted to the same tau as the first")
    value = lower = upper = error = p_value = None
    if first.value is not None and second.value is not None:
        value = first.value - second.value
        error = float(np.hypot(first.std_error or 0.0, second.std_error or 0.0))
    if value is not None and error:
        lower, upper, p_value = value - z * error, value + z * error, float(2.0 * ndtr(-abs(value) / error))
    return RestrictedMeanDifference(
        value=value,
        lower=lower,
        upper=upper,
        level=level,
        method=f"difference of restricted means to {first.tau:g}, normal limits",
        note="; ".join(note for note in (first.note, second.note) if note),
        first=first,
        second=second,
        std_error=error,
        p_value=p_value,
    )


def log_rank(*strata: Tally) -> GroupTest:
    """Log-rank test of equal curves over the groups of a tally; several tallies are strata.

    Every exit by a cause counts; pass ``tally.of_causes(...)`` to censor the others. Ties use the
    hypergeometric variance. Each group must have subjects in some stratum.

    Source: Mantel, Cancer Chemother Rep 1966;50:163-170; Peto and Peto, J R Stat Soc A 1972;135:185-207,
    doi 10.2307/2344317.
    """
    if not strata or any(tally.groups != strata[0].groups for tally in strata):
        raise EstimatorError("strata", "must be one or more tallies of the same groups")
    groups = strata[0].groups
    subjects = sum(tally.subjects for tally in strata)
    if len(groups) < 2 or np.any(subjects == 0):
        raise EstimatorError("group", "at least two groups, each with subjects, are needed")
    parts = [_log_rank_part(tally) for tally in strata]
    observed, score, covariance = (np.sum(part, axis=0) for part in zip(*parts, strict=True))
    method = "log-rank" if len(strata) == 1 else f"log-rank, {len(strata)} strata"
    return group_test(score, covariance, observed=observed, groups=groups, method=method)


def _log_rank_part(tally: Tally) -> tuple[Floats, Floats, Floats]:
    table = tally.risk_table()
    events, at_risk = table.events.sum(axis=1).astype(float), table.at_risk.astype(float)
    all_events, all_at_risk = events.sum(axis=0), at_risk.sum(axis=0)
    share = at_risk / all_at_risk
    weight = all_events * (all_at_risk - all_events) / np.maximum(all_at_risk - 1.0, 1.0)
    covariance = np.diag(share @ weight) - (share * weight) @ share.T
    return events.sum(axis=1), events.sum(axis=1) - share @ all_events, covariance
