"""Cumulative incidence of competing causes (Aalen-Johansen) and Gray's test."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.estimators.base import EstimatorError
from outcomes.estimators.curves import StepCurve, Transform, probability_limits
from outcomes.estimators.ksample import GroupTest, group_test
from outcomes.estimators.survival import SurvivalCurve, greenwood_terms, kaplan_meier
from outcomes.estimators.tally import Tally

CERTAIN = 1.0 - 1e-12  # a sum of fractions this near 1 is taken to be 1


@dataclass(frozen=True, kw_only=True, eq=False)
class IncidenceCurve(StepCurve):
    """Share that has left by one ``cause``, and the transform of its limits."""

    cause: int
    transform: Transform


@dataclass(frozen=True)
class CumulativeIncidence:
    """One curve per cause (``causes[0]`` is cause 1) and the event-free curve; at each time they sum to 1."""

    causes: tuple[IncidenceCurve, ...]
    event_free: SurvivalCurve


def cumulative_incidence(
    tally: Tally,
    *,
    group: int | str = 0,
    level: float = 0.95,
    transform: Transform = "log-log",
    minimum_at_risk: int = 0,
) -> CumulativeIncidence:
    """Aalen-Johansen curves of all causes in one group, on one time axis, exact ties, delayed entry allowed.

    The variance is of Greenwood type (multinomial increments, independent over times). Without delayed entry
    it equals the infinitesimal jackknife, the convention of R survival and Stata; the variance of Aalen 1978
    (R cmprsk) differs a little. After the last row leaves the curves stay flat and keep their limits. A curve
    that reaches 1 keeps its last lower limit, as incidence cannot fall. ``minimum_at_risk`` as in
    ``kaplan_meier``.

    Raises EstimatorError for an unknown or empty group, level, transform or minimum.

    Source: Aalen and Johansen, Scand J Stat 1978;5:141-150; variance: Allignol, Schumacher and Beyersmann,
    Biom J 2010;52:126-137, doi 10.1002/bimj.200900039.
    """
    index = tally.group_index(group)
    free = kaplan_meier(tally, group=index, level=level, transform=transform, minimum_at_risk=minimum_at_risk)
    table = tally.risk_table(index)
    events = table.events[0, :, table.times.size - free.times.size :]
    curves = [_incidence_curve(free, cause, row) for cause, row in enumerate(events, start=1)]
    return CumulativeIncidence(tuple(curves), free)


def _incidence_curve(free: SurvivalCurve, cause: int, events: Ints) -> IncidenceCurve:
    before = np.concatenate([[1.0], free.values[:-1]])
    values = np.cumsum(before * events / free.at_risk)
    std_error = np.sqrt(_incidence_variance(free, before, values, events))
    lower, upper = probability_limits(values, std_error, level=free.level, transform=free.transform)
    certain, open_ended = values >= CERTAIN, values < CERTAIN
    lower[certain] = lower[open_ended][-1] if open_ended.any() else 0.0
    return IncidenceCurve(
        tally=free.tally,
        group=free.group,
        times=free.times,
        values=values,
        std_error=std_error,
        lower=lower,
        upper=upper,
        at_risk=free.at_risk,
        events=events,
        level=free.level,
        method=f"Aalen-Johansen, Greenwood-type variance, {free.transform} limits",
        minimum_at_risk=free.minimum_at_risk,
        starts_at=free.starts_at,
        note=free.note,
        cause=cause,
        transform=free.transform,
    )


def _incidence_variance(free: SurvivalCurve, before: Floats, values: Floats, events: Ints) -> Floats:
    """Variance of F at each time by prefix sums.

    With h_k = d_k / Y and h = d / Y at time s, a change of the hazards there moves F(t) by
    S(s-) dh_k - (F(t) - F(s)) dh / (1 - h), and the hazards have multinomial covariance over Y. The square is
    expanded in powers of F(t), so that each sum over s <= t is a running one.
    """
    hazard = events / free.at_risk
    own = before**2 * hazard * (1.0 - hazard) / free.at_risk
    any_cause = greenwood_terms(free.at_risk, free.events)
    shared = before * hazard / free.at_risk
    own_sum = np.cumsum(own + any_cause * values**2 + 2.0 * shared * values)
    linear = np.cumsum(any_cause * values + shared)
    return np.maximum(own_sum - 2.0 * values * linear + values**2 * np.cumsum(any_cause), 0.0)


def gray_test(tally: Tally, *, cause: int) -> GroupTest:
    """Gray's test (rho = 0) that the cumulative incidence of one cause is equal in all groups.

    The paper treats times without ties; ties are treated as in Gray's own program, R cmprsk. Its correction
    scales the risk set to each group's survival, so that more can leave at once than the scaled set holds,
    and the variance may come out negative (about 1 in 200 pairs of arms of 5 to 12 with many ties). Then, and
    when the pooled curve is used up while groups are still compared, ``note`` stands instead of a statistic.

    Raises EstimatorError for a cause out of range, fewer than two groups, a group without subjects, and
    delayed entry, for which the test has no agreed form.

    Source: Gray, Ann Stat 1988;16:1141-1154, doi 10.1214/aos/1176350951.
    """
    tally.check_cause(cause)
    if len(tally.groups) < 2 or not tally.subjects.all():
        raise EstimatorError("group", "at least two groups, each with subjects, are needed")
    if tally.has_late_entries:
        raise EstimatorError("entry", "Gray's test needs every row followed from the origin")
    parts = _gray_parts(tally, cause)
    observed = parts.own.sum(axis=1)
    score = observed - parts.share @ parts.own.sum(axis=0)
    return group_test(
        score, _gray_covariance(parts), observed=observed, groups=tally.groups, method="Gray, rho = 0"
    )


@dataclass(frozen=True)
class _GrayParts:
    """Arrays (G, D), or (D,) for the pooled curve, on the times of any event.

    ``exposure`` is Y / S(t-): those who would be at risk if nobody had had an event. ``share`` of a group is
    its part of the subdistribution risk set, ``exposure`` times 1 - F(t-).
    """

    own: Floats
    other: Floats
    at_risk: Floats
    survival_before: Floats
    survival_after: Floats
    exposure: Floats
    share: Floats
    pooled_step: Floats
    pooled_after: Floats


def _gray_parts(tally: Tally, cause: int) -> _GrayParts:
    table = tally.risk_table()
    at_risk = table.at_risk.astype(float)
    own = table.events[:, cause - 1].astype(float)
    other = table.events.sum(axis=1) - own
    safe = np.maximum(at_risk, 1.0)
    after = np.cumprod(1.0 - (own + other) / safe, axis=1)
    before = np.hstack([np.ones((at_risk.shape[0], 1)), after[:, :-1]])
    steps = before * own / safe
    exposure = np.divide(at_risk, before, out=np.zeros_like(at_risk), where=at_risk > 0)
    subdistribution = exposure * (1.0 - (np.cumsum(steps, axis=1) - steps))
    pooled_step = own.sum(axis=0) / exposure.sum(axis=0)
    share = subdistribution / subdistribution.sum(axis=0)
    pooled_after = np.cumsum(pooled_step)
    return _GrayParts(own, other, at_risk, before, after, exposure, share, pooled_step, pooled_after)


def _gray_covariance(parts: _GrayParts) -> Floats:
    """Covariance of the score under equal curves, by linearising it in the counts of each group r.

    Group r enters score k through its own events, with weight 1{k = r} - share of k, and through its later
    risk sets, which its estimated curves scale. ``later`` sums that second effect over times after s. Under
    equal curves the share is that of the exposures, events of the cause follow the pooled curve and other
    events their own counts, each with the finite-population factor for ties.
    """
    groups = range(len(parts.own))
    share = parts.exposure / parts.exposure.sum(axis=0)
    hazard = _pooled_hazard(parts)
    covariance = np.zeros((len(groups), len(groups)))
    for r in groups:
        weight = ((np.arange(len(groups)) == r)[:, None] - share) * parts.exposure[r]
        effect = weight * hazard
        later = effect.sum(axis=1, keepdims=True) - np.cumsum(effect, axis=1)
        own_scale, other_scale = _gray_scales(parts, r)
        survival = parts.survival_after[r]
        free = np.divide(1.0 - parts.pooled_after, survival, out=np.zeros_like(survival), where=survival > 0)
        own = weight + np.where(survival > 0, 1.0 - free, 1.0) * later
        other = free * later
        covariance += (own * own_scale) @ own.T + (other * other_scale) @ other.T
    return covariance


def _pooled_hazard(parts: _GrayParts) -> Floats:
    """Subdistribution hazard of the pooled curve (D,), where two groups or more are at risk.

    With one group left no score can move, so it is 0 there: the pooled curve of arms of which one has left
    may pass 1. Passing 1 while groups are still compared leaves the hazard unknown (NaN).
    """
    left = 1.0 - (parts.pooled_after - parts.pooled_step)
    compared = (parts.at_risk > 0).sum(axis=0) > 1
    known = compared & (left > 1.0 - CERTAIN)
    return np.divide(parts.pooled_step, left, out=np.where(compared, np.nan, 0.0), where=known)


def _gray_scales(parts: _GrayParts, r: int) -> tuple[Floats, Floats]:
    """Variance of events of the cause, and of others, per squared unit of exposure in group r."""
    before, at_risk, exposure = parts.survival_before[r], parts.at_risk[r], parts.exposure[r]
    present = at_risk > 0
    all_own, other = parts.own.sum(axis=0), parts.other[r]
    risk_here = parts.exposure.sum(axis=0) * before
    own_ties = _tie_factor(all_own, risk_here, present)
    other_ties = _tie_factor(other, at_risk, present)
    safe = np.where(present, exposure, 1.0)
    own_scale = np.where(present, own_ties * parts.pooled_step / safe, 0.0)
    return own_scale, np.where(present, other_ties * other / safe**2, 0.0)


def _tie_factor(events: Floats, at_risk: Floats, present: Flags) -> Floats:
    """(n - d) / (n - 1), the hypergeometric correction for d events at once among n, where d is above 1."""
    shared = np.divide(events - 1.0, at_risk - 1.0, out=np.zeros_like(at_risk), where=present & (events > 1))
    return 1.0 - shared
