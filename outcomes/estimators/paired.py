"""Differences within pairs: the same patients measured twice, such as before and on support."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from outcomes.estimators.arrays import finite_vector
from outcomes.estimators.base import Estimate, EstimatorError, check_level

FEWEST = 2


@dataclass(frozen=True, kw_only=True)
class PairedDifference(Estimate):
    """Mean of the differences of ``pairs`` pairs, with their standard deviation (None for one pair)."""

    pairs: int
    standard_deviation: float | None


def mean_difference(before: npt.ArrayLike, after: npt.ArrayLike, *, level: float = 0.95) -> PairedDifference:
    """Mean of ``after`` less ``before`` with t limits, in the unit of the values.

    Both are one-dimensional, finite and of one length; place by place they belong to one patient. The limits
    are those of Student's t with one degree of freedom less than there are pairs; a single pair has none.
    Student. Biometrika 1908;6:1-25, doi:10.1093/biomet/6.1.1. Raises EstimatorError naming ``before``,
    ``after`` or ``level``.
    """
    check_level(level)
    first = finite_vector("before", before)
    second = finite_vector("after", after, length=first.size)
    if not first.size:
        raise EstimatorError("before", "must hold at least one pair")
    change = second - first
    mean, spread, width = float(change.mean()), None, None
    if change.size >= FEWEST:
        spread = float(change.std(ddof=1))
        width = float(stdtrit(change.size - 1, 0.5 + 0.5 * level)) * spread / np.sqrt(change.size)
    return PairedDifference(
        value=mean,
        lower=None if width is None else float(mean - width),
        upper=None if width is None else float(mean + width),
        level=level,
        method="mean of paired differences, t limits",
        note="" if width is not None else "one pair gives no limits",
        pairs=change.size,
        standard_deviation=spread,
    )
