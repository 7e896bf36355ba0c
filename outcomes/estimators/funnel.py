"""Funnel limits: where a unit of a given size should fall if it shares the target.

The limits are quantiles of the count expected under the target, interpolated between whole counts so that
they run smoothly with size. A unit on the limit is inside.

Spiegelhalter DJ. Stat Med 2005;24:1185-1202, "Funnel plots for comparing institutional performance",
doi:10.1002/sim.1970 (appendix A.1.1: exact limits; section 3.2: overdispersion).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, gammaincinv, pdtr

from outcomes.estimators.arrays import Floats, Ints, counts, finite_vector, non_negative
from outcomes.estimators.base import EstimatorError, check_level

PROPORTION_METHOD = "exact binomial quantiles, interpolated (Spiegelhalter 2005)"
RATE_METHOD = "exact Poisson quantiles, interpolated (Spiegelhalter 2005)"
GAMMA_METHOD = "gamma (Garwood) limits around the expected count"
WINSORISED_SHARE = 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class FunnelLimits:
    """Limits for units of ``sizes`` (N,): denominators, exposures or expected counts.

    ``lower`` and ``upper`` (N,) are on the scale of the figure: share, rate, or observed over expected.
    """

    target: float
    sizes: Floats
    lower: Floats
    upper: Floats
    level: float
    method: str


def proportion_limits(target: float, denominators: npt.ArrayLike, *, level: float = 0.95) -> FunnelLimits:
    """Limits for a share with ``target`` in (0, 1) and whole ``denominators`` (N,) of at least 1."""
    check_level(level)
    if not 0.0 < target < 1.0:
        raise EstimatorError("target", "must lie strictly between 0 and 1")
    whole = counts("denominators", denominators)
    sizes = whole.astype(np.float64)
    _check_sizes("denominators", sizes)

    def below(count: Floats) -> Floats:
        return np.where(count < 0.0, 0.0, bdtr(np.minimum(count, sizes), whole, target))

    lower, upper = _limits(below, sizes, level)
    return FunnelLimits(
        target=target,
        sizes=sizes,
        lower=np.maximum(0.0, lower / sizes),
        upper=np.minimum(1.0, upper / sizes),
        level=level,
        method=PROPORTION_METHOD,
    )


def rate_limits(target: float, exposures: npt.ArrayLike, *, level: float = 0.95) -> FunnelLimits:
    """Limits for events per unit of exposure, with ``target`` above 0 and ``exposures`` (N,) above 0.

    For a standardised ratio give target 1 and the expected counts as exposures.
    """
    check_level(level)
    if not 0.0 < target < np.inf:
        raise EstimatorError("target", "must be above 0")
    sizes = finite_vector("exposures", exposures)
    _check_sizes("exposures", sizes)
    expected = target * sizes

    def below(count: Floats) -> Floats:
        return np.where(count < 0.0, 0.0, pdtr(count, expected))

    # Twelve standard deviations and 30 counts lie beyond any tail a double can tell from 0.
    lower, upper = _limits(below, np.ceil(expected + 12.0 * np.sqrt(expected) + 30.0), level)
    return FunnelLimits(
        target=target,
        sizes=sizes,
        lower=np.maximum(0.0, lower / sizes),
        upper=upper / sizes,
        level=level,
        method=RATE_METHOD,
    )


def gamma_ratio_limits(expected: npt.ArrayLike, *, level: float = 0.95) -> FunnelLimits:
    """Limits of observed over ``expected`` (N,) as a confidence interval around an observed count equal to
    the expected one: slightly wider than the quantiles above, and in common use.

    Garwood F. Biometrika 1936;28:437-442, "Fiducial limits for the Poisson distribution",
    doi:10.1093/biomet/28.3-4.437.
    """
    check_level(level)
    sizes = finite_vector("expected", expected)
    _check_sizes("expected", sizes)
    return FunnelLimits(
        target=1.0,
        sizes=sizes,
        lower=gammaincinv(sizes, 0.5 - level / 2.0) / sizes,
        upper=gammaincinv(sizes + 1.0, 0.5 + level / 2.0) / sizes,
        level=level,
        method=GAMMA_METHOD,
    )


def positions(values: npt.ArrayLike, limits: FunnelLimits) -> Ints:
    """For each unit's figure (N,): 1 above its upper limit, -1 below its lower limit, else 0."""
    figures = non_negative("values", values, length=limits.sizes.size)
    above = figures > limits.upper * (1.0 + 1e-12)
    below = figures < limits.lower * (1.0 - 1e-12)
    return above.astype(np.int64) - below.astype(np.int64)


def overdispersion(z_scores: npt.ArrayLike) -> float:
    """Mean square of the units' z scores (N,) after pulling in the outer tenth at each end.

    About 1 when units differ by chance alone; well above 1 the limits are too narrow.
    """
    z = np.sort(finite_vector("z_scores", z_scores))
    if z.size < 2:
        raise EstimatorError("z_scores", "must hold at least two units")
    low, high = np.quantile(z, [WINSORISED_SHARE, 1.0 - WINSORISED_SHARE])
    return float(np.mean(np.clip(z, low, high) ** 2))


def _check_sizes(name: str, sizes: Floats) -> None:
    if (sizes <= 0.0).any():
        raise EstimatorError(name, "must be above 0")


def _limits(below: Callable[[Floats], Floats], most: Floats, level: float) -> tuple[Floats, Floats]:
    return _interpolated(below, most, 0.5 - level / 2.0), _interpolated(below, most, 0.5 + level / 2.0)


def _interpolated(below: Callable[[Floats], Floats], most: Floats, p: float) -> Floats:
    """Count r - a: r the least with P(X <= r) >= p, a = (P(X <= r) - p) / P(X = r)."""
    count = _quantile(below, most, p)
    reached, before = below(count), below(count - 1.0)
    return count - (reached - p) / (reached - before)


def _quantile(below: Callable[[Floats], Floats], most: Floats, p: float) -> Floats:
    """Least whole count with P(X <= count) >= p, for all units at once, by halving."""
    low, high = np.full(most.shape, -1.0), most.copy()
    for _ in range(int(np.ceil(np.log2(most.max(initial=1.0) + 1.0))) + 1):
        middle = np.floor((low + high) / 2.0)
        enough = below(middle) >= p
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return high
