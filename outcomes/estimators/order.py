"""Quantiles and shifts of a measured quantity, such as dwell hours, by ranks: no distribution is assumed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, bdtrc

from outcomes.estimators.base import Estimate, EstimatorError, FloatArray, check_level, two_sided_z

QuantileType = Literal["type 6", "type 7"]
ROUNDING = 1 + 1e-12  # a tail that equals its limit but for rounding is within it
EXACT_UP_TO = 50  # observations per arm; beyond, the normal approximation to the rank sum is close

_NUMPY_NAMES: dict[QuantileType, Literal["weibull", "linear"]] = {"type 6": "weibull", "type 7": "linear"}


@dataclass(frozen=True, kw_only=True)
class Quantile(Estimate):
    """The ``probability`` quantile of ``observations`` values, in their unit.

    ``covered`` is the exact coverage of the limits, at least ``level``.
    """

    probability: float
    observations: int
    covered: float | None


@dataclass(frozen=True, kw_only=True)
class Shift(Estimate):
    """Shift of the arm against the reference arm, in the values' unit; ``covered`` as for `Quantile`."""

    observations: int
    reference_observations: int
    covered: float | None


@dataclass(frozen=True, kw_only=True)
class Quartiles:
    """How ``observations`` values lie, in their unit: the middle one, and the middle half around it."""

    first: float
    median: float
    third: float
    observations: int


def quartiles(values: npt.ArrayLike, *, kind: QuantileType = "type 7") -> Quartiles:
    """Median and quartiles, which describe a sample and are no limits of anything.

    ``values``: one-dimensional, finite; ranks as in :func:`quantile`. Raises EstimatorError naming
    ``values``.
    """
    x = _sample("values", values)
    first, median, third = np.quantile(x, (0.25, 0.5, 0.75), method=_NUMPY_NAMES[kind]).tolist()
    return Quartiles(first=first, median=median, third=third, observations=x.size)


def quantile(
    values: npt.ArrayLike, *, probability: float = 0.5, level: float = 0.95, kind: QuantileType = "type 7"
) -> Quantile:
    """A quantile with limits that hold for any distribution; the median by default.

    ``values``: one-dimensional, finite. Type 7 places the quantile at rank 1 + (n - 1)·p, type 6 at (n + 1)·p
    (Hyndman RJ, Fan Y. Am Stat 1996;50:361-365, doi:10.1080/00031305.1996.10473566). The limits are the order
    statistics that a binomial count cuts off (David HA, Nagaraja HN. Order Statistics, 3rd ed. Wiley 2003,
    section 7.1, doi:10.1002/0471722162); a limit is ``None`` where the sample is too small to give one.
    Raises EstimatorError naming ``values``, ``probability`` or ``level``.
    """
    check_level(level)
    if not 0.0 < probability < 1.0:
        raise EstimatorError("probability", "must lie strictly between 0 and 1")
    x = _sample("values", values)
    n = x.size
    low, high = _limit_ranks(n, probability, 0.5 * (1 - level) * ROUNDING)
    covered = None
    if low is not None and high is not None:
        covered = float(bdtr(high - 1, n, probability) - bdtr(low - 1, n, probability))
    return Quantile(
        value=float(np.quantile(x, probability, method=_NUMPY_NAMES[kind])),
        lower=None if low is None else float(x[low - 1]),
        upper=None if high is None else float(x[high - 1]),
        level=level,
        method=f"quantile {kind}, limits from order statistics",
        note="" if covered is not None else "too few values for both limits",
        probability=probability,
        observations=n,
        covered=covered,
    )


def _limit_ranks(n: int, probability: float, tail: float) -> tuple[int | None, int | None]:
    """Ranks (from 1) of the closest order statistics that leave at most ``tail`` outside on each side."""
    ranks = np.arange(1, n + 1)
    below = bdtr(ranks - 1, n, probability) <= tail  # chance that the quantile lies below x(rank)
    above = bdtrc(ranks - 1, n, probability) <= tail  # chance that it lies above
    low = int(ranks[below][-1]) if below.any() else None
    high = int(ranks[above][0]) if above.any() else None
    return low, high


def hodges_lehmann_shift(
    values: npt.ArrayLike, reference_values: npt.ArrayLike, *, level: float = 0.95
) -> Shift:
    """Median of all differences between a value of the arm and a value of the reference arm.

    It is the shift that suits the rank-sum test, not the difference of the medians. Limits are the
    differences at the ranks where the test stops rejecting: from the exact distribution of the rank sum for
    up to 50 values in each arm (with ties these limits are, if anything, wide), otherwise from its normal
    approximation. Hodges JL, Lehmann EL. Ann Math Stat 1963;34:598-611, doi:10.1214/aoms/1177704172;
    Hollander M, Wolfe DA. Nonparametric Statistical Methods. Wiley 1973, chapter 4. Raises EstimatorError
    naming ``values``, ``reference_values`` or ``level``.
    """
    check_level(level)
    x, y = _sample("values", values), _sample("reference_values", reference_values)
    differences = np.sort(np.subtract.outer(x, y).ravel())
    exact = max(x.size, y.size) <= EXACT_UP_TO
    cut, covered = (_exact_cut if exact else _normal_cut)(x.size, y.size, level)
    lower = upper = None
    if cut >= 1:
        lower, upper = float(differences[cut - 1]), float(differences[-cut])
    return Shift(
        value=float(np.median(differences)),
        lower=lower,
        upper=upper,
        level=level,
        method=f"Hodges-Lehmann, {'exact' if exact else 'normal approximation'}",
        note="" if cut >= 1 else "too few values for limits at this level",
        observations=x.size,
        reference_observations=y.size,
        covered=covered if cut >= 1 else None,
    )


def _exact_cut(m: int, n: int, level: float) -> tuple[int, float]:
    """Rank of the lower limit among the m·n sorted differences (0: none), and the exact coverage."""
    below = np.cumsum(rank_sum_distribution(m, n))
    cut = int(np.searchsorted(below, 0.5 * (1 - level) * ROUNDING, side="right"))
    return cut, float(1 - 2 * below[cut - 1]) if cut else 1.0


def _normal_cut(m: int, n: int, level: float) -> tuple[int, None]:
    spread = two_sided_z(level) * np.sqrt(m * n * (m + n + 1) / 12)
    return int(np.floor(0.5 * m * n - spread)), None


@lru_cache(maxsize=256)
def rank_sum_distribution(m: int, n: int) -> FloatArray:
    """Chances that 0, 1, … m·n of the pairs favour the arm of ``m`` when both arms are alike, without ties.

    Built up one observation at a time: the largest of all comes from the arm of m with chance m/(m + n),
    and then beats all n others. Mann HB, Whitney DR. Ann Math Stat 1947;18:50-60,
    doi:10.1214/aoms/1177730491.
    """
    previous: list[FloatArray] = [np.ones(1)] * (n + 1)
    for i in range(1, m + 1):
        current = [np.ones(1)]
        for j in range(1, n + 1):
            chances = np.zeros(i * j + 1)
            chances[j:] += i / (i + j) * previous[j]
            chances[: i * (j - 1) + 1] += j / (i + j) * current[j - 1]
            current.append(chances)
        previous = current
    previous[n].setflags(write=False)
    return previous[n]


def _sample(name: str, values: npt.ArrayLike) -> FloatArray:
    x = np.asarray(values, dtype=float)
    if x.ndim != 1 or x.size == 0:
        raise EstimatorError(name, "must be a row of at least one number")
    if not np.isfinite(x).all():
        raise EstimatorError(name, "must be finite")
    return np.sort(x)
