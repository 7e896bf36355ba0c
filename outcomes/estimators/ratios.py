"""Risk ratio and odds ratio of two independent arms, arm over reference, with score limits.

Rule for open ends, here and for every ratio of this package: a limit that the data leave open is 0 or
``math.inf``; nothing is added to empty cells. A ratio over nothing has no value: ``value`` is ``None``,
``note`` says why, and the limit that does exist is still given.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from outcomes.estimators.base import Estimate, FloatArray, two_sided_z
from outcomes.estimators.differences import Arms, two_arms, variance_inflation
from outcomes.estimators.proportions import Limits
from outcomes.estimators.roots import falling_roots
from outcomes.estimators.scores import Score, odds_ratio_score, risk_ratio_score

RatioMethod = Literal["Koopman", "Miettinen-Nurminen"]
OddsRatioMethod = Literal["score", "Miettinen-Nurminen"]
ScoreFunction = Callable[[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray], Score]

LOG_RATIO_BOUND = 60.0  # e^60 is beyond any ratio of counts that fit in a registry


@dataclass(frozen=True, kw_only=True)
class Ratio(Estimate):
    """Ratio of the arm to the reference arm: of risks, or of odds."""

    events: int
    total: int
    reference_events: int
    reference_total: int


def risk_ratio(
    *,
    events: int,
    total: int,
    reference_events: int,
    reference_total: int,
    level: float = 0.95,
    method: RatioMethod = "Koopman",
) -> Ratio:
    """Risk in the arm over risk in the reference arm, with two-sided score limits.

    Raises EstimatorError naming the count at fault, or ``level``.
    """
    lower, upper = risk_ratio_limits(
        events=events,
        totals=total,
        reference_events=reference_events,
        reference_totals=reference_total,
        level=level,
        method=method,
    )
    return Ratio(
        value=(events / total) / (reference_events / reference_total) if reference_events else None,
        lower=float(lower),
        upper=float(upper),
        level=level,
        method=method,
        note="" if reference_events else "no event in the reference arm",
        events=events,
        total=total,
        reference_events=reference_events,
        reference_total=reference_total,
    )


def risk_ratio_limits(
    *,
    events: npt.ArrayLike,
    totals: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_totals: npt.ArrayLike,
    level: float = 0.95,
    method: RatioMethod = "Koopman",
) -> Limits:
    """The limits alone, over arrays of any one shape.

    Koopman PAR. Biometrics 1984;40:513-517, doi:10.2307/2531405; with the factor N/(N - 1) in the variance it
    is Miettinen and Nurminen's (Stat Med 1985;4:213-226, doi:10.1002/sim.4780040211).
    """
    arms = two_arms(events, totals, reference_events, reference_totals)
    x1, n1, x2, n2 = arms
    z = two_sided_z(level) * variance_inflation(arms, method)
    lower, upper = _score_limits(risk_ratio_score, arms, _quotient(x1 * n2, x2 * n1), z)
    return np.where(x1 == 0, 0.0, lower), np.where(x2 == 0, np.inf, upper)


def odds_ratio(
    *,
    events: int,
    total: int,
    reference_events: int,
    reference_total: int,
    level: float = 0.95,
    method: OddsRatioMethod = "Miettinen-Nurminen",
) -> Ratio:
    """Odds in the arm over odds in the reference arm, with two-sided score limits.

    The conditional, exact counterpart is `exact_tables.conditional_odds_ratio`. Raises EstimatorError naming
    the count at fault, or ``level``.
    """
    lower, upper = odds_ratio_limits(
        events=events,
        totals=total,
        reference_events=reference_events,
        reference_totals=reference_total,
        level=level,
        method=method,
    )
    below = (total - events) * reference_events
    return Ratio(
        value=events * (reference_total - reference_events) / below if below else None,
        lower=float(lower),
        upper=float(upper),
        level=level,
        method=method,
        note="" if below else "no event in the reference arm, or nothing but events in the other",
        events=events,
        total=total,
        reference_events=reference_events,
        reference_total=reference_total,
    )


def odds_ratio_limits(
    *,
    events: npt.ArrayLike,
    totals: npt.ArrayLike,
    reference_events: npt.ArrayLike,
    reference_totals: npt.ArrayLike,
    level: float = 0.95,
    method: OddsRatioMethod = "Miettinen-Nurminen",
) -> Limits:
    """The limits alone, over arrays of any one shape.

    Miettinen O, Nurminen M. Stat Med 1985;4:213-226, doi:10.1002/sim.4780040211; "score" leaves out their
    factor N/(N - 1) in the variance.
    """
    arms = two_arms(events, totals, reference_events, reference_totals)
    x1, n1, x2, n2 = arms
    z = two_sided_z(level) * variance_inflation(arms, method)
    lower, upper = _score_limits(odds_ratio_score, arms, _quotient(x1 * (n2 - x2), x2 * (n1 - x1)), z)
    return (
        np.where((x1 == 0) | (x2 == n2), 0.0, lower),
        np.where((x2 == 0) | (x1 == n1), np.inf, upper),
    )


def _score_limits(score: ScoreFunction, arms: Arms, observed: FloatArray, z: FloatArray) -> Limits:
    """Limits on either side of the ``observed`` ratio; meaningless where that side is open."""

    def excess(log_ratio: FloatArray, sign: float) -> FloatArray:
        contrast, variance = score(np.exp(log_ratio), *arms)
        return contrast - sign * z * np.sqrt(variance)

    end = np.full_like(z, LOG_RATIO_BOUND)
    middle = np.log(np.clip(observed, np.exp(-end), np.exp(end)))
    return (
        np.exp(falling_roots(lambda log_ratio: excess(log_ratio, 1.0), -end, middle)),
        np.exp(falling_roots(lambda log_ratio: excess(log_ratio, -1.0), middle, end)),
    )


def _quotient(above: FloatArray, below: FloatArray) -> FloatArray:
    """above/below, infinite over nothing."""
    return np.divide(above, below, out=np.full_like(above, np.inf), where=below > 0)
