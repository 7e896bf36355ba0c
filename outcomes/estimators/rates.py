"""Event rates per exposure time, such as bleeds per 1,000 device-days, and their comparison.

Counts are taken as Poisson: all events of runs at a constant hazard, each run counted as independent. Times
are device-days unless the caller says otherwise; rates and rate differences are per ``per`` of that unit.
Open ends follow the rule of `ratios`: limits 0 or ``math.inf``, no value for a ratio over no event.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import gammainc, gammaincinv

from outcomes.estimators.base import (
    Estimate,
    FloatArray,
    check_count,
    check_level,
    check_positive,
    two_sided_z,
)
from outcomes.estimators.proportions import Limits, clopper_pearson_limits, mid_p_limits, wilson_limits
from outcomes.estimators.roots import falling_roots
from outcomes.estimators.scores import rate_difference_score

RateMethod = Literal["exact (Garwood)", "mid-P", "score"]
RateRatioMethod = Literal["exact conditional", "mid-P conditional", "score"]
Arms = tuple[FloatArray, FloatArray, FloatArray, FloatArray]

PER_DEVICE_DAYS = 1000.0


@dataclass(frozen=True, kw_only=True)
class Rate(Estimate):
    """``events`` in ``time``, as a rate per ``per`` units of time."""

    events: int
    time: float
    per: float


@dataclass(frozen=True, kw_only=True)
class RateComparison(Estimate):
    """Rate of the arm over, or minus, that of the reference arm; ``per`` is 1 for a ratio."""

    events: int
    time: float
    reference_events: int
    reference_time: float
    per: float = 1.0


def rate(
    *,
    events: int,
    time: float,
    per: float = PER_DEVICE_DAYS,
    level: float = 0.95,
    method: RateMethod = "exact (Garwood)",
) -> Rate:
    """``events / time`` per ``per`` units of time, with two-sided limits.

    With no event the exact 95 % upper limit is 3.69/time; the "rule of three" is one-sided (level 0.90 here).
    Raises EstimatorError naming ``events``, ``time``, ``per`` or ``level``.
    """
    check_positive("per", per)
    lower, upper = _RATE_LIMITS[method](events, time, level)
    return Rate(
        value=events / time * per,
        lower=float(lower) * per,
        upper=float(upper) * per,
        level=level,
        method=method,
        events=events,
        time=time,
        per=per,
    )


def garwood_limits(events: npt.ArrayLike, times: npt.ArrayLike, level: float = 0.95) -> Limits:
    """Exact limits per one unit of time, over arrays: (1 - level)/2 at most in each Poisson tail.

    Garwood F. Biometrika 1936;28:437-442, doi:10.1093/biomet/28.3-4.437.
    """
    check_level(level)
    k, t = _exposures(events, times)
    tail = 0.5 * (1 - level)
    lower = np.where(k == 0, 0.0, gammaincinv(np.maximum(k, 1), tail))
    return lower / t, gammaincinv(k + 1, 1 - tail) / t


def rate_mid_p_limits(events: npt.ArrayLike, times: npt.ArrayLike, level: float = 0.95) -> Limits:
    """Limits per one unit of time that count half the probability of the observed number in each tail.

    Cohen GR, Yang SY. Stat Med 1994;13:2189-2203, doi:10.1002/sim.4780132102 (from memory).
    """
    exact_lower, exact_upper = garwood_limits(events, times, level)
    k, t = _exposures(events, times)
    tail = 0.5 * (1 - level)
    # The mid-P limits lie inside the exact ones and on either side of the count.
    lower = falling_roots(lambda mean: tail - _mid_tail(k, mean), exact_lower * t, k)
    upper = falling_roots(lambda mean: 1 - tail - _mid_tail(k, mean), k, exact_upper * t)
    return np.where(k == 0, 0.0, lower) / t, upper / t


def rate_score_limits(events: npt.ArrayLike, times: npt.ArrayLike, level: float = 0.95) -> Limits:
    """Limits per one unit of time that solve |k - mean| = z·sqrt(mean).

    The count's counterpart of Wilson's interval: Wilson EB. J Am Stat Assoc 1927;22:209-212,
    doi:10.1080/01621459.1927.10502953, with the variance of a Poisson count.
    """
    z = two_sided_z(level)
    k, t = _exposures(events, times)
    centre, half_width = k + 0.5 * z * z, z * np.sqrt(k + 0.25 * z * z)
    return np.where(k == 0, 0.0, centre - half_width) / t, (centre + half_width) / t


def _mid_tail(k: FloatArray, mean: FloatArray) -> FloatArray:
    """P(K > k) + P(K = k)/2, which rises with the mean."""
    at_least = np.where(k == 0, 1.0, gammainc(np.maximum(k, 1), mean))
    result: FloatArray = 0.5 * (at_least + gammainc(k + 1, mean))
    return result


def rate_ratio(
    *,
    events: int,
    time: float,
    reference_events: int,
    reference_time: float,
    level: float = 0.95,
    method: RateRatioMethod = "mid-P conditional",
) -> RateComparison:
    """Rate in the arm over rate in the reference arm, with two-sided limits.

    Raises EstimatorError naming the count or time at fault, or ``level``.
    """
    lower, upper = rate_ratio_limits(
        events=events,
        times=time,
        reference_events=reference_events,
        reference_times=reference_time,
        level=level,
        method=method,
    )
    return RateComparison(
        value=(events / time) / (reference_events / reference_time) if reference_events else None,
        lower=float(lower),
        upper=float(upper),
        level=level,
        method=method,
        note="" if reference_events else "no event in the reference arm",
        events=events,
        time=time,
        reference_events=reference_events,
        reference_time=reference_time,
    )


def rate_ratio_limits(
    *,
    events: npt.ArrayLike,
    times: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_times: npt.ArrayLike,
    level: float = 0.95,
    method: RateRatioMethod = "mid-P conditional",
) -> Limits:
    """The limits alone, over arrays of any one shape.

    Given all events, those of the arm are binomial with probability ratio·t1/(ratio·t1 + t2): limits of
    that proportion turn into limits of the ratio. Clopper-Pearson's give the exact conditional ones
    (Przyborowski J, Wilenski H. Biometrika 1940;31:313-323, doi:10.1093/biomet/31.3-4.313). Wilson's give
    the score limits of Graham PL, Mengersen K, Morton AP. Stat Med 2003;22:2071-2083, doi:10.1002/sim.1405;
    the two equations are the same once multiplied out.
    """
    k1, t1, k2, t2 = _two_arms(events, times, reference_events, reference_times)
    total = k1 + k2
    shares = _SHARE_LIMITS[method](k1, np.maximum(total, 1), level)
    lower, upper = (_odds(share) * t2 / t1 for share in shares)
    return np.where(k1 == 0, 0.0, lower), np.where(k2 == 0, np.inf, upper)


def _odds(share: FloatArray) -> FloatArray:
    return np.divide(share, 1 - share, out=np.full_like(share, np.inf), where=share < 1)


def rate_difference(
    *,
    events: int,
    time: float,
    reference_events: int,
    reference_time: float,
    per: float = PER_DEVICE_DAYS,
    level: float = 0.95,
) -> RateComparison:
    """Rate in the arm minus rate in the reference arm, per ``per`` units of time, with score limits.

    Raises EstimatorError naming the count or time at fault, ``per`` or ``level``.
    """
    check_positive("per", per)
    lower, upper = rate_difference_limits(
        events=events,
        times=time,
        reference_events=reference_events,
        reference_times=reference_time,
        level=level,
    )
    return RateComparison(
        value=(events / time - reference_events / reference_time) * per,
        lower=float(lower) * per,
        upper=float(upper) * per,
        level=level,
        method="Miettinen-Nurminen",
        events=events,
        time=time,
        reference_events=reference_events,
        reference_time=reference_time,
        per=per,
    )


def rate_difference_limits(
    *,
    events: npt.ArrayLike,
    times: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_times: npt.ArrayLike,
    level: float = 0.95,
) -> Limits:
    """The limits alone, per one unit of time, over arrays of any one shape.

    Miettinen O, Nurminen M. Stat Med 1985;4:213-226, doi:10.1002/sim.4780040211.
    """
    z = two_sided_z(level)
    arms = _two_arms(events, times, reference_events, reference_times)
    k1, t1, k2, t2 = arms

    def excess(difference: FloatArray, sign: float) -> FloatArray:
        contrast, variance = rate_difference_score(difference, *arms)
        return contrast - sign * z * np.sqrt(variance)

    observed = k1 / t1 - k2 / t2
    # Wide enough: both rates' own score limits, added, lie inside this reach.
    reach = (np.sqrt(k1) + np.sqrt(k2) + z + 1) * 2 * (z + 1) * (1 / t1 + 1 / t2)
    return (
        falling_roots(lambda difference: excess(difference, 1.0), observed - reach, observed),
        falling_roots(lambda difference: excess(difference, -1.0), observed, observed + reach),
    )


def _exposures(events: npt.ArrayLike, times: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    check_count("events", events)
    check_positive("time", times)
    return np.asarray(events, dtype=float), np.asarray(times, dtype=float)


def _two_arms(
    events: npt.ArrayLike,
    times: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_times: npt.ArrayLike,
) -> Arms:
    check_positive("time", times)
    check_positive("reference_time", reference_times)
    check_count("events", events)
    check_count("reference_events", reference_events)
    k1, t1, k2, t2 = np.broadcast_arrays(events, times, reference_events, reference_times)
    return k1.astype(float), t1.astype(float), k2.astype(float), t2.astype(float)


_RATE_LIMITS: dict[RateMethod, Callable[[npt.ArrayLike, npt.ArrayLike, float], Limits]] = {
    "exact (Garwood)": garwood_limits,
    "mid-P": rate_mid_p_limits,
    "score": rate_score_limits,
}
_SHARE_LIMITS: dict[RateRatioMethod, Callable[[npt.ArrayLike, npt.ArrayLike, float], Limits]] = {
    "exact conditional": clopper_pearson_limits,
    "mid-P conditional": mid_p_limits,
    "score": wilson_limits,
}
