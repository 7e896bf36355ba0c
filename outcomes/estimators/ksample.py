"""Tests that compare K groups through a score vector and its covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from outcomes.estimators.arrays import Floats
from outcomes.estimators.base import HypothesisTest

NEGLIGIBLE = 1e-12  # of the largest variance: in such a direction no risk set is shared with an event
NEGATIVE = -1e-9  # of the largest variance: further below zero than rounding goes
NO_CONTRAST = "at no time with two groups at risk did some have the event and others not"
NO_VARIANCE = "no variance of the test: too few left at risk, or too many of them leaving at once"


@dataclass(frozen=True, kw_only=True, eq=False)
class GroupTest(HypothesisTest):
    """Chi-square test of equal curves over ``groups``.

    ``observed`` (G,) events, ``score`` (G,) observed minus expected and its ``covariance`` (G, G) follow
    their order.
    """

    groups: tuple[str, ...]
    observed: Floats
    score: Floats
    covariance: Floats

    @property
    def expected(self) -> Floats:
        """Events expected in each group if all curves were equal, shape (G,)."""
        return self.observed - self.score


def group_test(
    score: Floats, covariance: Floats, *, observed: Floats, groups: tuple[str, ...], method: str
) -> GroupTest:
    """Quadratic form of a score that sums to zero over groups; groups without information take no part.

    The degrees of freedom are the rank of ``covariance``. ``note`` says why there is no statistic: nothing
    told the groups apart, or the covariance holds a NaN or a negative variance.
    """
    statistic, df, note = None, None, NO_VARIANCE
    if np.isfinite(covariance).all():
        statistic, df, note = _quadratic_form(score, covariance)
    return GroupTest(
        statistic=statistic,
        degrees_of_freedom=df,
        p_value=None if statistic is None or df is None else float(chdtrc(df, statistic)),
        method=method,
        groups=groups,
        observed=observed,
        score=score,
        covariance=covariance,
        note=note,
    )


def _quadratic_form(score: Floats, covariance: Floats) -> tuple[float | None, int | None, str]:
    variances, directions = np.linalg.eigh(covariance)
    largest = np.abs(variances).max(initial=0.0)
    if variances.min(initial=0.0) < NEGATIVE * largest:
        return None, None, NO_VARIANCE
    informed = variances > NEGLIGIBLE * largest
    if not informed.any():
        return None, None, NO_CONTRAST
    along = score @ directions[:, informed]
    return float(np.sum(along**2 / variances[informed])), int(informed.sum()), ""
