"""One proportion, such as runs with limb ischaemia among all runs, with its limits.

Every interval comes twice: as ``*_limits`` over arrays of cells, for a report, and through `proportion` for
one cell. Counts are whole numbers of the same unit (runs, courses or patients).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, betaincinv

from outcomes.estimators.base import (
    Estimate,
    FloatArray,
    check_count,
    check_level,
    check_positive,
    two_sided_z,
)
from outcomes.estimators.roots import falling_roots

Limits = tuple[FloatArray, FloatArray]
ProportionMethod = Literal["Wilson", "Wilson, continuity-corrected", "Clopper-Pearson", "mid-P"]


@dataclass(frozen=True, kw_only=True)
class Proportion(Estimate):
    """``events`` of ``total``; ``value``, ``lower`` and ``upper`` lie in [0, 1]."""

    events: int
    total: int


def proportion(
    *, events: int, total: int, level: float = 0.95, method: ProportionMethod = "Wilson"
) -> Proportion:
    """``events / total`` with two-sided limits.

    Wilson is the default because its coverage stays near the nominal level in small samples, where the usual
    p ± z·SE fails (Brown LD, Cai TT, DasGupta A. Stat Sci 2001;16:101-133, doi:10.1214/ss/1009213286).
    Raises EstimatorError naming ``events``, ``total`` or ``level``.
    """
    lower, upper = _METHODS[method](events, total, level)
    return Proportion(
        value=events / total,
        lower=float(lower),
        upper=float(upper),
        level=level,
        method=method,
        events=events,
        total=total,
    )


def wilson_limits(events: npt.ArrayLike, totals: npt.ArrayLike, level: float = 0.95) -> Limits:
    """Score limits, solving |p̂ - p| = z·sqrt(p(1 - p)/n); arrays of any one shape.

    Wilson EB. J Am Stat Assoc 1927;22:209-212, doi:10.1080/01621459.1927.10502953.
    """
    x, n = _cells(events, totals)
    return score_limits(x, n, two_sided_z(level))


def score_limits(x: FloatArray, n: FloatArray, z: float) -> Limits:
    """Wilson's formula for any z and for effective, possibly fractional, counts."""
    centre = x + 0.5 * z * z
    half_width = z * np.sqrt(x * (n - x) / n + 0.25 * z * z)
    return _closed_ends(x, n, (centre - half_width) / (n + z * z), (centre + half_width) / (n + z * z))


def wilson_cc_limits(events: npt.ArrayLike, totals: npt.ArrayLike, level: float = 0.95) -> Limits:
    """Score limits with continuity correction; wider, so that coverage rarely falls below the level.

    Newcombe RG. Stat Med 1998;17:857-872, method 4,
    doi:10.1002/(SICI)1097-0258(19980430)17:8<857::AID-SIM777>3.0.CO;2-E.
    """
    x, n = _cells(events, totals)
    z = two_sided_z(level)
    p = x / n
    # The roots are of negative numbers only at 0 or n events, where the limit is fixed anyway.
    below = z * np.sqrt(np.maximum(z * z - 2 - 1 / n + 4 * p * (n - x + 1), 0.0))
    above = z * np.sqrt(np.maximum(z * z + 2 - 1 / n + 4 * p * (n - x - 1), 0.0))
    scale = 2 * (n + z * z)
    return _closed_ends(x, n, (2 * x + z * z - 1 - below) / scale, (2 * x + z * z + 1 + above) / scale)


def clopper_pearson_limits(events: npt.ArrayLike, totals: npt.ArrayLike, level: float = 0.95) -> Limits:
    """Exact limits: each tail of the binomial distribution holds at most (1 - level)/2.

    Clopper CJ, Pearson ES. Biometrika 1934;26:404-413, doi:10.1093/biomet/26.4.404. For 0 events a one-sided
    95 % upper limit is the upper limit at level 0.90.
    """
    check_level(level)
    x, n = _cells(events, totals)
    tail = 0.5 * (1 - level)
    lower = np.asarray(betaincinv(np.maximum(x, 1.0), n - x + 1.0, tail), dtype=float)
    upper = np.asarray(betaincinv(x + 1.0, np.maximum(n - x, 1.0), 1.0 - tail), dtype=float)
    return _closed_ends(x, n, lower, upper)


def mid_p_limits(events: npt.ArrayLike, totals: npt.ArrayLike, level: float = 0.95) -> Limits:
    """Limits that count half the probability of the observed number in each tail.

    Less conservative than Clopper-Pearson; mean coverage is near the level. Berry G, Armitage P. Statistician
    1995;44:417-423, doi:10.2307/2348891 (from memory).
    """
    check_level(level)
    x, n = _cells(events, totals)
    tail = 0.5 * (1 - level)
    none, all_of_it = np.zeros_like(x), np.ones_like(x)
    lower = falling_roots(lambda p: tail - _mid_tail(x, n, p), none, all_of_it)
    upper = falling_roots(lambda p: 1 - tail - _mid_tail(x, n, p), none, all_of_it)
    return _closed_ends(x, n, lower, upper)


def _mid_tail(x: FloatArray, n: FloatArray, p: FloatArray) -> FloatArray:
    """P(X > x) + P(X = x)/2, which rises with p."""
    return 0.5 * (_at_least(x, n, p) + _at_least(x + 1, n, p))


def _at_least(x: FloatArray, n: FloatArray, p: FloatArray) -> FloatArray:
    """P(X ≥ x) for a binomial count, with the two ends where the beta integral is not defined."""
    inside = betainc(np.maximum(x, 1), np.maximum(n - x + 1, 1), p)
    return np.where(x <= 0, 1.0, np.where(x > n, 0.0, inside))


def _closed_ends(x: FloatArray, n: FloatArray, lower: FloatArray, upper: FloatArray) -> Limits:
    """No events leave 0 possible, all events leave 1 possible: say so exactly, free of rounding."""
    return (
        np.where(x == 0, 0.0, np.minimum(np.maximum(lower, 0.0), 1.0)),
        np.where(x == n, 1.0, np.minimum(np.maximum(upper, 0.0), 1.0)),
    )


def _cells(events: npt.ArrayLike, totals: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    check_positive("total", totals)
    check_count("events", events, at_most=totals)
    return np.asarray(events, dtype=float), np.asarray(totals, dtype=float)


_METHODS: dict[ProportionMethod, Callable[[npt.ArrayLike, npt.ArrayLike, float], Limits]] = {
    "Wilson": wilson_limits,
    "Wilson, continuity-corrected": wilson_cc_limits,
    "Clopper-Pearson": clopper_pearson_limits,
    "mid-P": mid_p_limits,
}
