"""Coverage without simulation: add up the chances of all outcomes whose interval holds the truth."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import stats

RISKS = np.round(np.arange(0.001, 0.5001, 0.001), 4)
REFERENCE_RISKS = np.round(np.arange(0.005, 0.5001, 0.005), 4)  # two arms: coverage has no teeth
MEANS = np.round(np.arange(0.2, 30.01, 0.1), 2)  # expected events
TAIL = 1e-12


def of_proportion(limits: Callable, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Coverage and mean width at each of RISKS."""
    x = np.arange(n + 1.0)
    lower, upper = limits(x, np.full_like(x, n))
    chances = stats.binom.pmf(x, n, RISKS[:, None])
    held = (lower <= RISKS[:, None]) & (RISKS[:, None] <= upper)
    return (chances * held).sum(axis=1), chances @ (upper - lower)


def of_rate(limits: Callable) -> tuple[np.ndarray, np.ndarray]:
    """Coverage and mean width at each of MEANS, in one unit of time."""
    k = np.arange(stats.poisson.isf(TAIL, MEANS[-1]) + 1.0)
    lower, upper = limits(k, np.ones_like(k))
    chances = stats.poisson.pmf(k, MEANS[:, None])
    held = (lower <= MEANS[:, None]) & (MEANS[:, None] <= upper)
    return (chances * held).sum(axis=1), chances @ (upper - lower)


def of_two_arms(
    limits: Callable, arm: int, reference: int, truth: Callable[[np.ndarray], np.ndarray], contrast: Callable
) -> np.ndarray:
    """Coverage at each of REFERENCE_RISKS; ``truth`` gives the arm's risk. NaN where that is no risk."""
    x, y = (grid.ravel() for grid in np.meshgrid(np.arange(arm + 1.0), np.arange(reference + 1.0)))
    lower, upper = limits(
        events=x,
        totals=np.full_like(x, arm),
        reference_events=y,
        reference_totals=np.full_like(y, reference),
    )
    found = np.full(REFERENCE_RISKS.size, np.nan)
    for i, (risk, other) in enumerate(zip(truth(REFERENCE_RISKS), REFERENCE_RISKS, strict=True)):
        if 0 < risk < 1:
            true = contrast(risk, other)
            chances = stats.binom.pmf(x, arm, risk) * stats.binom.pmf(y, reference, other)
            found[i] = chances[(lower <= true + 1e-12) & (true - 1e-12 <= upper)].sum()
    return found


def of_two_rates(limits: Callable, time_ratio: float, ratio: float, means: np.ndarray) -> np.ndarray:
    """Coverage at each expected number of reference events; the arm has ``time_ratio`` times their time."""
    top = max(means[-1], means[-1] * time_ratio * ratio)
    counts = np.arange(stats.poisson.isf(1e-9, top) + 1.0)
    x, y = (grid.ravel() for grid in np.meshgrid(counts, counts))
    lower, upper = limits(
        events=x,
        times=np.full_like(x, time_ratio),
        reference_events=y,
        reference_times=np.ones_like(y),
    )
    held = (lower <= ratio) & (ratio <= upper)
    return np.array(
        [
            (stats.poisson.pmf(x, mean * time_ratio * ratio) * stats.poisson.pmf(y, mean))[held].sum()
            for mean in means
        ]
    )
