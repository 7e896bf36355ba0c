"""Tests of a stated ratio or difference of two Poisson rates."""

from __future__ import annotations

from typing import Literal

import numpy as np
from scipy.special import gammaln, ndtr, xlog1py, xlogy

from outcomes.estimators.base import FloatArray, HypothesisTest, check_count, check_positive
from outcomes.estimators.exact_tables import Alternative, Convention, exact_method, exact_p_value
from outcomes.estimators.scores import Score, rate_difference_score, rate_ratio_score

RateTestMethod = Literal["exact conditional", "mid-P conditional", "score"]


def rate_ratio_test(
    *,
    events: int,
    time: float,
    reference_events: int,
    reference_time: float,
    ratio: float = 1.0,
    alternative: Alternative = "two-sided",
    convention: Convention = "minimum likelihood",
    method: RateTestMethod = "exact conditional",
) -> HypothesisTest:
    """Test that rate over reference rate equals ``ratio``; "greater" means a higher ratio.

    Compared by Gu K, Ng HKT, Tang ML, Schucany WR. Biom J 2008;50:283-298, doi:10.1002/bimj.200710403.
    ``convention`` matters to the two-sided conditional tests only; see `exact_tables`. Raises EstimatorError
    naming the count or time at fault, or ``ratio``.
    """
    check_positive("ratio", ratio)
    arms = _checked_arms(events, time, reference_events, reference_time)
    if method == "score":
        return _score_test(rate_ratio_score(np.asarray(ratio), *arms), alternative)
    mid_p = method == "mid-P conditional"
    share = ratio * time / (ratio * time + reference_time)
    probabilities = _binomial(events + reference_events, share)
    return HypothesisTest(
        statistic=None,
        degrees_of_freedom=None,
        p_value=exact_p_value(probabilities, events, alternative, convention, mid_p=mid_p),
        method=exact_method("conditional", alternative, convention, mid_p=mid_p),
    )


def rate_difference_test(
    *,
    events: int,
    time: float,
    reference_events: int,
    reference_time: float,
    difference: float = 0.0,
    alternative: Alternative = "two-sided",
) -> HypothesisTest:
    """Score test that rate minus reference rate equals ``difference``, per one unit of time.

    Ng HKT, Gu K, Tang ML. Comput Stat Data Anal 2007;51:3085-3099, doi:10.1016/j.csda.2006.02.004. Raises
    EstimatorError naming the count or time at fault.
    """
    arms = _checked_arms(events, time, reference_events, reference_time)
    return _score_test(rate_difference_score(np.asarray(difference), *arms), alternative)


def _checked_arms(
    events: int, time: float, reference_events: int, reference_time: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    check_count("events", events)
    check_positive("time", time)
    check_count("reference_events", reference_events)
    check_positive("reference_time", reference_time)
    k1, t1, k2, t2 = (np.asarray(x, dtype=float) for x in (events, time, reference_events, reference_time))
    return k1, t1, k2, t2


def _score_test(score: Score, alternative: Alternative) -> HypothesisTest:
    contrast, variance = score
    if variance == 0:
        return HypothesisTest(
            statistic=None,
            degrees_of_freedom=None,
            p_value=None,
            method="score",
            note="no event in either arm",
        )
    z = float(contrast / np.sqrt(variance))
    p_value = {"less": ndtr(z), "greater": ndtr(-z), "two-sided": 2 * ndtr(-abs(z))}[alternative]
    return HypothesisTest(
        statistic=z, degrees_of_freedom=None, p_value=float(p_value), method=f"score, {alternative}"
    )


def _binomial(n: int, p: float) -> FloatArray:
    """Probabilities of 0 to n."""
    k = np.arange(n + 1, dtype=float)
    logs = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1) + xlogy(k, p) + xlog1py(n - k, -p)
    result: FloatArray = np.exp(logs)
    return result
