"""Tests that a comparison is the same in every stratum, so that pooling it makes sense.

One construction for every measure: the squared score statistics of the strata at the pooled Mantel-Haenszel
value, added up, on (strata - 1) degrees of freedom. For the odds ratio that is Breslow and Day's test, with
Tarone's correction; the rate ratio is treated alike; the others follow Gart and Nam. Empty cells need no
special case.

Breslow NE, Day NE. Statistical methods in cancer research I. IARC Sci Publ 32, 1980, p. 142. Tarone RE.
Biometrika 1985;72:91-95, doi:10.1093/biomet/72.1.91. Gart JJ, Nam J. Biometrics 1988;44:323-338,
doi:10.2307/2531848 (ratio) and 1990;46:637-643, doi:10.2307/2532084 (difference; from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc

from outcomes.estimators.base import FloatArray, HypothesisTest
from outcomes.estimators.pooling import (
    PooledEstimate,
    Strata,
    pooled_odds_ratio,
    pooled_rate_difference,
    pooled_rate_ratio,
    pooled_risk_difference,
    pooled_risk_ratio,
    rate_strata,
    table_strata,
)
from outcomes.estimators.scores import (
    Score,
    odds_ratio_score,
    rate_difference_score,
    rate_ratio_score,
    risk_difference_score,
    risk_ratio_score,
)

RiskMeasure = Literal["risk ratio", "risk difference", "odds ratio"]
RateMeasure = Literal["rate ratio", "rate difference"]
ScoreFunction = Callable[[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray], Score]


def risk_homogeneity_test(
    *,
    events: npt.ArrayLike,
    totals: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_totals: npt.ArrayLike,
    measure: RiskMeasure,
) -> HypothesisTest:
    """Test that ``measure`` is common to all strata; arguments as for `pooling`.

    ``p_value`` is ``None``, with the reason in ``note``, for fewer than two strata that can tell, or where
    there is no pooled value to compare with. Raises EstimatorError naming the argument at fault.
    """
    s = table_strata(events, totals, reference_events, reference_totals)
    pool, score = _RISK_MEASURES[measure]
    pooled = pool(events=s.x1, totals=s.n1, reference_events=s.x2, reference_totals=s.n2).value
    return _test(s, pooled, score, measure)


def rate_homogeneity_test(
    *,
    events: npt.ArrayLike,
    times: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_times: npt.ArrayLike,
    measure: RateMeasure,
) -> HypothesisTest:
    """Test that ``measure`` is common to all strata; arguments as for `pooling`, otherwise as above."""
    s = rate_strata(events, times, reference_events, reference_times)
    pool, score = _RATE_MEASURES[measure]
    pooled = pool(events=s.x1, times=s.n1, reference_events=s.x2, reference_times=s.n2)
    value = None if pooled.value is None else pooled.value / pooled.per
    return _test(s, value, score, measure)


def _test(
    s: Strata, pooled: float | None, score: ScoreFunction, measure: RiskMeasure | RateMeasure
) -> HypothesisTest:
    method = _METHOD_NAMES.get(measure, f"score test of a common {measure}")
    if pooled is None or (measure.endswith("ratio") and pooled == 0):
        return _no_test(method, "no pooled value to compare the strata with")
    contrast, variance = score(np.full_like(s.x1, pooled), s.x1, s.n1, s.x2, s.n2)
    tells = variance > 0
    contrast, variance = contrast[tells], variance[tells]
    if contrast.size < 2:
        return _no_test(method, "fewer than two strata with information")
    statistic = np.sum(contrast**2 / variance)
    if measure in _METHOD_NAMES:
        statistic -= contrast.sum() ** 2 / variance.sum()
    degrees = contrast.size - 1
    return HypothesisTest(
        statistic=float(statistic),
        degrees_of_freedom=degrees,
        p_value=float(chdtrc(degrees, statistic)),
        method=method,
    )


def _no_test(method: str, note: str) -> HypothesisTest:
    return HypothesisTest(statistic=None, degrees_of_freedom=None, p_value=None, method=method, note=note)


_RISK_MEASURES: dict[RiskMeasure, tuple[Callable[..., PooledEstimate], ScoreFunction]] = {
    "risk ratio": (pooled_risk_ratio, risk_ratio_score),
    "risk difference": (pooled_risk_difference, risk_difference_score),
    "odds ratio": (pooled_odds_ratio, odds_ratio_score),
}
_RATE_MEASURES: dict[RateMeasure, tuple[Callable[..., PooledEstimate], ScoreFunction]] = {
    "rate ratio": (pooled_rate_ratio, rate_ratio_score),
    "rate difference": (pooled_rate_difference, rate_difference_score),
}
# Their contrast is the score itself, in events, so that Tarone's correction applies as he wrote it.
_METHOD_NAMES: dict[RiskMeasure | RateMeasure, str] = {
    "odds ratio": "Breslow-Day, Tarone's correction",
    "rate ratio": "score test of a common rate ratio, Tarone's correction",
}
