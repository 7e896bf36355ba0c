"""Exact conditional inference in a 2×2 table: both margins fixed, as Fisher did.

Two-sided p-values exist in two conventions that can differ: "minimum likelihood" adds every table no more
probable than the one seen, "twice the smaller tail" doubles one tail. The result names the one used. The
conditional limits cut equal tails, so they agree with the second.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import gammaln

from outcomes.estimators.base import (
    Estimate,
    FloatArray,
    HypothesisTest,
    check_count,
    check_level,
    check_positive,
)
from outcomes.estimators.roots import falling_roots

Alternative = Literal["two-sided", "greater", "less"]
Convention = Literal["minimum likelihood", "twice the smaller tail"]

LOG_ODDS_BOUND = 60.0
TIE = 1 + 1e-7  # tables of equal probability differ by rounding; the same slack as R's fisher.test


@dataclass(frozen=True, kw_only=True)
class ConditionalOddsRatio(Estimate):
    """Conditional maximum-likelihood odds ratio of the arm against the reference arm."""

    events: int
    total: int
    reference_events: int
    reference_total: int


def conditional_odds_ratio(
    *,
    events: int,
    total: int,
    reference_events: int,
    reference_total: int,
    level: float = 0.95,
    mid_p: bool = False,
) -> ConditionalOddsRatio:
    """Odds ratio given both margins, with equal-tailed exact or, if ``mid_p``, mid-P limits.

    Cornfield J. Proc Third Berkeley Symp 1956;4:135-148. The mid-P limits count half of the observed table in
    each tail. An open limit is 0 or ``math.inf``; ``value`` is ``None`` where the likelihood has no finite
    maximum. Raises EstimatorError naming the count at fault, or ``level``.
    """
    check_level(level)
    counts, weights = _margins(events, total, reference_events, reference_total)
    at_least, at_most = events == counts[0], events == counts[-1]
    value, lower, upper = _conditional_roots(counts, weights, events, level, mid_p)
    return ConditionalOddsRatio(
        value=None if at_most else 0.0 if at_least else value,
        lower=0.0 if at_least else lower,
        upper=float("inf") if at_most else upper,
        level=level,
        method="mid-P conditional" if mid_p else "exact conditional",
        note="the margins leave no finite odds ratio" if at_most else "",
        events=events,
        total=total,
        reference_events=reference_events,
        reference_total=reference_total,
    )


def fisher_test(
    *,
    events: int,
    total: int,
    reference_events: int,
    reference_total: int,
    alternative: Alternative = "two-sided",
    convention: Convention = "minimum likelihood",
    mid_p: bool = False,
) -> HypothesisTest:
    """Fisher's exact test of equal risks, or its mid-P version.

    ``alternative`` "greater" means a higher risk than in the reference arm. The mid-P value takes off half
    the probability of the observed table; Lydersen S, Fagerland MW, Laake P. Stat Med 2009;28:1159-1175,
    doi:10.1002/sim.3531. Raises EstimatorError naming the count at fault.
    """
    counts, weights = _margins(events, total, reference_events, reference_total)
    probabilities = np.exp(weights - weights.max())
    p_value = exact_p_value(
        probabilities / probabilities.sum(), events - int(counts[0]), alternative, convention, mid_p=mid_p
    )
    return HypothesisTest(
        statistic=None,
        degrees_of_freedom=None,
        p_value=p_value,
        method=exact_method("Fisher", alternative, convention, mid_p=mid_p),
    )


def exact_p_value(
    probabilities: FloatArray, observed: int, alternative: Alternative, convention: Convention, *, mid_p: bool
) -> float:
    """p-value of the outcome at index ``observed`` of a discrete distribution, ``probabilities`` in order."""
    seen = probabilities[observed]
    half = 0.5 * seen if mid_p else 0.0
    less = probabilities[: observed + 1].sum() - half
    greater = probabilities[observed:].sum() - half
    if alternative == "less":
        p_value = less
    elif alternative == "greater":
        p_value = greater
    elif convention == "minimum likelihood":
        p_value = probabilities[probabilities <= seen * TIE].sum() - half
    else:
        p_value = 2 * min(less, greater)
    return min(float(p_value), 1.0)


def exact_method(name: str, alternative: Alternative, convention: Convention, *, mid_p: bool) -> str:
    """Words for the ``method`` of an exact test."""
    kind = f"{name} mid-P" if mid_p else f"{name} exact"
    return f"{kind}, two-sided by {convention}" if alternative == "two-sided" else f"{kind}, {alternative}"


def _margins(
    events: int, total: int, reference_events: int, reference_total: int
) -> tuple[FloatArray, FloatArray]:
    """Every count of events that the margins allow, and the log of its weight at an odds ratio of 1."""
    check_positive("total", total)
    check_positive("reference_total", reference_total)
    check_count("events", events, at_most=total)
    check_count("reference_events", reference_events, at_most=reference_total)
    both = events + reference_events
    counts = np.arange(max(0, both - reference_total), min(total, both) + 1, dtype=float)
    weights = _log_choose(total, counts) + _log_choose(reference_total, both - counts)
    return counts, weights


def _log_choose(n: float, k: FloatArray) -> FloatArray:
    result: FloatArray = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
    return result


def _conditional_roots(
    counts: FloatArray, weights: FloatArray, observed: int, level: float, mid_p: bool
) -> tuple[float, float, float]:
    """Odds ratios where the mean count is the one observed, and where its tails reach their limits.

    All three are one problem: find where the expected value of a rising score of the count meets a target.
    The scores are the count itself, and 1 above the observed count with a share of 1 at it.
    """
    tail = 0.5 * (1 - level)
    shares = (0.5, 0.5) if mid_p else (1.0, 0.0)
    above, seen = (counts > observed).astype(float), (counts == observed).astype(float)
    scores = np.stack([counts, above + shares[0] * seen, above + shares[1] * seen])
    targets = np.array([observed, tail, 1 - tail])

    def shortfall(log_odds_ratio: FloatArray) -> FloatArray:
        exponents = weights + np.multiply.outer(log_odds_ratio, counts)
        likelihood = np.exp(exponents - exponents.max(axis=1, keepdims=True))
        mean: FloatArray = (scores * likelihood).sum(axis=1) / likelihood.sum(axis=1)
        return targets - mean

    roots = np.exp(falling_roots(shortfall, np.full(3, -LOG_ODDS_BOUND), np.full(3, LOG_ODDS_BOUND)))
    return float(roots[0]), float(roots[1]), float(roots[2])
