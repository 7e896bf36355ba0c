"""Mantel-Haenszel pooling of a comparison over strata, such as periods or severity classes.

Arguments are arrays with one entry per stratum. A stratum in which an arm is empty says nothing about the
comparison; it is left out and ``note`` counts it. Whether strata may be pooled at all is for `homogeneity`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc

from outcomes.estimators.arrays import non_negative
from outcomes.estimators.base import (
    Estimate,
    EstimatorError,
    FloatArray,
    HypothesisTest,
    check_count,
    two_sided_z,
)

NO_EVENTS = "no event in any stratum with both arms"
NO_LIMITS = "an arm has no event in any stratum: no variance of the logarithm"
ALL_OR_NONE = "in every stratum an arm had all or none: the method has no variance"


@dataclass(frozen=True, kw_only=True)
class PooledEstimate(Estimate):
    """A comparison of arm with reference over ``strata`` strata that hold both arms; totals over those."""

    strata: int
    events: int
    denominator: float
    reference_events: int
    reference_denominator: float
    per: float = 1.0


@dataclass(frozen=True)
class Strata:
    """Counts (x) and denominators (n: cases or time) of arm 1 and reference arm 2, one entry a stratum."""

    x1: FloatArray
    n1: FloatArray
    x2: FloatArray
    n2: FloatArray
    left_out: int

    @property
    def total(self) -> FloatArray:
        return self.n1 + self.n2


def pooled_risk_ratio(
    *,
    events: npt.ArrayLike,
    totals: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_totals: npt.ArrayLike,
    level: float = 0.95,
) -> PooledEstimate:
    """Risk ratio common to the strata, limits from the variance of its logarithm.

    Greenland S, Robins JM. Biometrics 1985;41:55-68, doi:10.2307/2530643. Raises EstimatorError naming the
    argument at fault.
    """
    s = table_strata(events, totals, reference_events, reference_totals)
    above, below = np.sum(s.x1 * s.n2 / s.total), np.sum(s.x2 * s.n1 / s.total)
    spread = np.sum((s.n1 * s.n2 * (s.x1 + s.x2) - s.x1 * s.x2 * s.total) / s.total**2)
    variance = spread / (above * below) if above * below > 0 else None
    return _pooled_ratio(s, above, below, variance, level, "Mantel-Haenszel, Greenland-Robins")


def pooled_odds_ratio(
    *,
    events: npt.ArrayLike,
    totals: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_totals: npt.ArrayLike,
    level: float = 0.95,
) -> PooledEstimate:
    """Odds ratio common to the strata, limits from the variance of its logarithm.

    Robins J, Breslow N, Greenland S. Biometrics 1986;42:311-323, doi:10.2307/2531052. Raises EstimatorError
    naming the argument at fault.
    """
    s = table_strata(events, totals, reference_events, reference_totals)
    concordant, discordant = s.x1 * (s.n2 - s.x2) / s.total, s.x2 * (s.n1 - s.x1) / s.total
    share = (s.x1 + s.n2 - s.x2) / s.total
    above, below = concordant.sum(), discordant.sum()
    variance = None
    if above * below > 0:
        mixed = np.sum(share * discordant + (1 - share) * concordant)
        variance = 0.5 * (
            np.sum(share * concordant) / above**2
            + mixed / (above * below)
            + np.sum((1 - share) * discordant) / below**2
        )
    return _pooled_ratio(s, above, below, variance, level, "Mantel-Haenszel, Robins-Breslow-Greenland")


def pooled_risk_difference(
    *,
    events: npt.ArrayLike,
    totals: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_totals: npt.ArrayLike,
    level: float = 0.95,
) -> PooledEstimate:
    """Risk difference common to the strata, limits from Sato's variance, good for few and for sparse strata.

    Sato T. Biometrics 1989;45:1323-1324 (letter); estimator: Greenland S, Robins JM. Biometrics
    1985;41:55-68, doi:10.2307/2530643. Raises EstimatorError naming the argument at fault.
    """
    s = table_strata(events, totals, reference_events, reference_totals)
    weight = np.sum(s.n1 * s.n2 / s.total)
    contrast = np.sum((s.x1 * s.n2 - s.x2 * s.n1) / s.total)
    slope = (s.n1**2 * s.x2 - s.n2**2 * s.x1 + 0.5 * s.n1 * s.n2 * (s.n2 - s.n1)) / s.total**2
    base_part = (s.x1 * (s.n2 - s.x2) + s.x2 * (s.n1 - s.x1)) / (2 * s.total)
    value = contrast / weight if weight > 0 else 0.0
    variance = (value * slope.sum() + base_part.sum()) / weight**2 if weight > 0 else 0.0
    return _pooled_difference(s, value, variance, level, "Mantel-Haenszel, Sato", per=1.0)


def pooled_rate_ratio(
    *,
    events: npt.ArrayLike,
    times: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_times: npt.ArrayLike,
    level: float = 0.95,
) -> PooledEstimate:
    """Rate ratio common to the strata, limits from the variance of its logarithm.

    Greenland S, Robins JM. Biometrics 1985;41:55-68, doi:10.2307/2530643. Raises EstimatorError naming the
    argument at fault.
    """
    s = rate_strata(events, times, reference_events, reference_times)
    above, below = np.sum(s.x1 * s.n2 / s.total), np.sum(s.x2 * s.n1 / s.total)
    spread = np.sum((s.x1 + s.x2) * s.n1 * s.n2 / s.total**2)
    variance = spread / (above * below) if above * below > 0 else None
    return _pooled_ratio(s, above, below, variance, level, "Mantel-Haenszel, Greenland-Robins")


def pooled_rate_difference(
    *,
    events: npt.ArrayLike,
    times: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_times: npt.ArrayLike,
    per: float = 1000.0,
    level: float = 0.95,
) -> PooledEstimate:
    """Rate difference common to the strata, per ``per`` units of time.

    Greenland S, Robins JM. Biometrics 1985;41:55-68, doi:10.2307/2530643. Raises EstimatorError naming the
    argument at fault.
    """
    s = rate_strata(events, times, reference_events, reference_times)
    weights = s.n1 * s.n2 / s.total
    weight = weights.sum() if weights.size else 1.0
    value = np.sum(weights * (s.x1 / s.n1 - s.x2 / s.n2)) / weight
    variance = np.sum(weights**2 * (s.x1 / s.n1**2 + s.x2 / s.n2**2)) / weight**2
    return _pooled_difference(s, value, variance, level, "Mantel-Haenszel, Greenland-Robins", per=per)


def mantel_haenszel_test(
    *,
    events: npt.ArrayLike,
    totals: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_totals: npt.ArrayLike,
) -> HypothesisTest:
    """Test of no difference in any stratum, without continuity correction; chi-square on 1 degree of freedom.

    Mantel N, Haenszel W. J Natl Cancer Inst 1959;22:719-748, doi:10.1093/jnci/22.4.719.
    """
    s = table_strata(events, totals, reference_events, reference_totals)
    both, method = s.x1 + s.x2, "Cochran-Mantel-Haenszel, no continuity correction"
    variance = np.sum(s.n1 * s.n2 * both * (s.total - both) / (s.total**2 * (s.total - 1)))
    if variance == 0:
        return HypothesisTest(
            statistic=None, degrees_of_freedom=1, p_value=None, method=method, note="no stratum can differ"
        )
    statistic = float(np.sum(s.x1 - s.n1 * both / s.total) ** 2 / variance)
    return HypothesisTest(
        statistic=statistic, degrees_of_freedom=1, p_value=float(chdtrc(1, statistic)), method=method
    )


def table_strata(
    events: npt.ArrayLike,
    totals: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_totals: npt.ArrayLike,
) -> Strata:
    """Strata of counted cases, checked, without those in which an arm is empty."""
    strata = rate_strata(events, totals, reference_events, reference_totals, denominator="totals")
    check_count("totals", strata.n1)
    check_count("reference_totals", strata.n2)
    check_count("events", strata.x1, at_most=strata.n1)
    check_count("reference_events", strata.x2, at_most=strata.n2)
    return strata


def rate_strata(
    events: npt.ArrayLike,
    times: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_times: npt.ArrayLike,
    *,
    denominator: str = "times",
) -> Strata:
    """Strata of counts over time, checked, without those in which an arm is empty."""
    names = ("events", denominator, "reference_events", f"reference_{denominator}")
    given = [np.asarray(v, dtype=float) for v in (events, times, reference_events, reference_times)]
    for name, values in zip(names, given, strict=True):
        if values.ndim != 1 or values.shape != given[0].shape:
            raise EstimatorError(name, "must hold one number per stratum")
        non_negative(name, values)
    x1, n1, x2, n2 = given
    for name, x, n in ((names[0], x1, n1), (names[2], x2, n2)):
        check_count(name, x)
        if np.any((n == 0) & (x > 0)):
            raise EstimatorError(name, "must be 0 where the denominator is 0")
    use = (n1 > 0) & (n2 > 0)
    return Strata(x1[use], n1[use], x2[use], n2[use], left_out=int(np.sum(~use)))


def _pooled_ratio(
    s: Strata, above: float, below: float, log_variance: float | None, level: float, method: str
) -> PooledEstimate:
    z = two_sided_z(level)
    value = float(above / below) if below > 0 else None
    lower = upper = None
    if value is not None and log_variance:
        factor = float(np.exp(z * np.sqrt(log_variance)))
        lower, upper = value / factor, value * factor
    note = ""
    if lower is None:
        note = NO_LIMITS if s.x1.any() != s.x2.any() else _no_variance(s)
    return _result(s, (value, lower, upper), level, method, note, per=1.0)


def _no_variance(s: Strata) -> str:
    return ALL_OR_NONE if s.x1.any() or s.x2.any() else NO_EVENTS


def _pooled_difference(
    s: Strata, value: float, variance: float, level: float, method: str, *, per: float
) -> PooledEstimate:
    z = two_sided_z(level)
    if not s.x1.size:
        return _result(s, (None, None, None), level, method, "no stratum holds both arms", per=per)
    if variance <= 0:
        return _result(s, (float(value * per), None, None), level, method, _no_variance(s), per=per)
    reach = float(z * np.sqrt(variance))
    limits = (float(value * per), float(value - reach) * per, float(value + reach) * per)
    return _result(s, limits, level, method, "", per=per)


def _result(
    s: Strata,
    limits: tuple[float | None, float | None, float | None],
    level: float,
    method: str,
    note: str,
    *,
    per: float,
) -> PooledEstimate:
    left_out = f"{s.left_out} strata with an empty arm left out" if s.left_out else ""
    value, lower, upper = limits
    return PooledEstimate(
        value=value,
        lower=lower,
        upper=upper,
        level=level,
        method=method,
        note="; ".join(part for part in (note, left_out) if part),
        strata=len(s.x1),
        events=int(s.x1.sum()),
        denominator=float(s.n1.sum()),
        reference_events=int(s.x2.sum()),
        reference_denominator=float(s.n2.sum()),
        per=per,
    )
