"""Tests that compare K groups through a score vector and its covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from outcomes.estimators.arrays import Floats
from outcomes.estimators.base import HypothesisTest

NEGLIGIBLE = 1e-12  # of the largest variance: such a group shares no risk set with an event


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
    """Quadratic form of a score that sums to zero over groups; groups without information take no part."""
    statistic: float | None = None
    df: int | None = None
    note = "no event happened while two groups were at risk"
    variances = np.diag(covariance)
    informed = np.flatnonzero(variances > NEGLIGIBLE * variances.max(initial=0.0))
    if informed.size > 1:
        free = informed[:-1]
        statistic = float(score[free] @ np.linalg.solve(covariance[np.ix_(free, free)], score[free]))
        df, note = free.size, ""
    return GroupTest(
        statistic=statistic,
        degrees_of_freedom=df,
        p_value=None if statistic is None else float(chdtrc(free.size, statistic)),
        method=method,
        groups=groups,
        observed=observed,
        score=score,
        covariance=covariance,
        note=note,
    )
