"""Risk difference of two independent arms, arm minus reference, with its limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from outcomes.estimators.base import Estimate, FloatArray, check_count, check_positive, two_sided_z
from outcomes.estimators.proportions import Limits, score_limits, wilson_cc_limits
from outcomes.estimators.roots import falling_roots
from outcomes.estimators.scores import risk_difference_score

RiskDifferenceMethod = Literal["Newcombe", "Newcombe, continuity-corrected", "Miettinen-Nurminen", "Mee"]
Arms = tuple[FloatArray, FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True, kw_only=True)
class RiskDifference(Estimate):
    """``events/total - reference_events/reference_total``, in [-1, 1]."""

    events: int
    total: int
    reference_events: int
    reference_total: int


def risk_difference(
    *,
    events: int,
    total: int,
    reference_events: int,
    reference_total: int,
    level: float = 0.95,
    method: RiskDifferenceMethod = "Newcombe",
) -> RiskDifference:
    """Risk in the arm minus risk in the reference arm, with two-sided limits.

    Raises EstimatorError naming the count at fault, or ``level``.
    """
    check_count("events", events)
    check_count("reference_events", reference_events)
    lower, upper = risk_difference_limits(
        events=events,
        totals=total,
        reference_events=reference_events,
        reference_totals=reference_total,
        level=level,
        method=method,
    )
    return RiskDifference(
        value=events / total - reference_events / reference_total,
        lower=float(lower),
        upper=float(upper),
        level=level,
        method=method,
        events=events,
        total=total,
        reference_events=reference_events,
        reference_total=reference_total,
    )


def risk_difference_limits(
    *,
    events: npt.ArrayLike,
    totals: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_totals: npt.ArrayLike,
    level: float = 0.95,
    method: RiskDifferenceMethod = "Newcombe",
) -> Limits:
    """The limits alone, over arrays of any one shape.

    Counts may be expected ones, as when planning; only the continuity correction asks for whole ones.

    Newcombe's hybrid score (methods 10 and 11), compared with the two others: Newcombe RG. Stat Med
    1998;17:873-890, doi:10.1002/(SICI)1097-0258(19980430)17:8<873::AID-SIM779>3.0.CO;2-I. Miettinen O,
    Nurminen M. Stat Med 1985;4:213-226, doi:10.1002/sim.4780040211; Mee RW. Biometrics 1984;40:1175-1176,
    leaves out their factor N/(N - 1) in the variance.
    """
    z = two_sided_z(level)
    arms = two_arms(events, totals, reference_events, reference_totals, whole=False)
    if method == "Newcombe":
        return _hybrid(arms, score_limits(*arms[:2], z), score_limits(*arms[2:], z))
    if method == "Newcombe, continuity-corrected":
        return _hybrid(arms, wilson_cc_limits(*arms[:2], level), wilson_cc_limits(*arms[2:], level))
    return _score_limits(arms, z * variance_inflation(arms, method))


def two_arms(
    events: npt.ArrayLike,
    totals: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_totals: npt.ArrayLike,
    *,
    whole: bool = True,
) -> Arms:
    """The four counts as float arrays of one shape, once checked; expected counts need not be ``whole``."""
    check_positive("total", totals)
    check_positive("reference_total", reference_totals)
    check_count("events", events, at_most=totals, whole=whole)
    check_count("reference_events", reference_events, at_most=reference_totals, whole=whole)
    x1, n1, x2, n2 = np.broadcast_arrays(events, totals, reference_events, reference_totals)
    return x1.astype(float), n1.astype(float), x2.astype(float), n2.astype(float)


def variance_inflation(arms: Arms, method: str) -> FloatArray:
    """sqrt(N/(N - 1)), Miettinen and Nurminen's factor for estimating the variance; 1 for the plain score."""
    n = arms[1] + arms[3]
    return np.sqrt(n / (n - 1)) if method == "Miettinen-Nurminen" else np.ones_like(n)


def _hybrid(arms: Arms, limits: Limits, reference_limits: Limits) -> Limits:
    """Squares and adds the distances from each risk to the limit that faces the other arm."""
    p1, p2 = arms[0] / arms[1], arms[2] / arms[3]
    (l1, u1), (l2, u2) = limits, reference_limits
    return (
        p1 - p2 - np.hypot(p1 - l1, u2 - p2),
        p1 - p2 + np.hypot(u1 - p1, p2 - l2),
    )


def _score_limits(arms: Arms, z: FloatArray) -> Limits:
    def excess(difference: FloatArray, sign: float) -> FloatArray:
        contrast, variance = risk_difference_score(difference, *arms)
        return contrast - sign * z * np.sqrt(variance)

    observed, end = arms[0] / arms[1] - arms[2] / arms[3], np.ones_like(z)
    return (
        falling_roots(lambda difference: excess(difference, 1.0), -end, observed),
        falling_roots(lambda difference: excess(difference, -1.0), observed, end),
    )
