"""What every estimator returns, and how it refuses."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

FloatArray = npt.NDArray[np.float64]


class EstimatorError(ValueError):
    """An argument breaks a rule of the method. ``parameter`` names it, ``rule`` says what it must satisfy."""

    def __init__(self, parameter: str, rule: str) -> None:
        super().__init__(f"{parameter}: {rule}")
        self.parameter = parameter
        self.rule = rule


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """A point with its limits. ``None`` means "not estimable"; ``note`` then says why in words.

    Subclasses add the inputs (counts, exposure), so that a printed figure can always show its n/N.
    """

    value: float | None
    lower: float | None
    upper: float | None
    level: float
    method: str
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class HypothesisTest:
    """A p-value with the statistic it came from; exact tests have no statistic. ``None`` as in `Estimate`."""

    statistic: float | None
    degrees_of_freedom: int | None
    p_value: float | None
    method: str
    note: str = ""


def check_level(level: float) -> None:
    """Refuse a confidence level outside (0, 1)."""
    if not 0.0 < level < 1.0:
        raise EstimatorError("level", "must lie strictly between 0 and 1")


def two_sided_z(level: float) -> float:
    """Standard normal quantile that leaves (1 - level) / 2 in each tail."""
    check_level(level)
    return float(ndtri(0.5 + 0.5 * level))


def check_count(
    name: str, count: npt.ArrayLike, *, at_most: npt.ArrayLike | None = None, whole: bool = True
) -> None:
    """Refuse a count that is not a whole number of zero or more, or is above its denominator.

    Arrays are checked cell by cell. Expected counts need not be ``whole``.
    """
    counts = _cells(count)
    if whole and not _whole(counts):
        raise EstimatorError(name, "must be a whole number, neither missing nor infinite")
    if not _everywhere((counts >= 0) & (counts < math.inf)):
        raise EstimatorError(name, "must be a finite number of zero or more")
    if at_most is not None and not _everywhere(counts <= _cells(at_most)):
        raise EstimatorError(name, f"must not exceed its denominator ({at_most})")


def check_positive(name: str, value: npt.ArrayLike) -> None:
    """Refuse a denominator or an exposure that is not a finite number above zero."""
    values = _cells(value)
    if not _everywhere((values > 0.0) & (values < math.inf)):
        raise EstimatorError(name, "must be a finite number above zero")


def _cells(value: npt.ArrayLike) -> Any:
    """An array; a plain number as it is, since a report checks thousands of them one by one."""
    return value if isinstance(value, int | float) else np.asarray(value)


def _everywhere(holds: Any) -> bool:
    return holds if isinstance(holds, bool) else bool(np.all(holds))


def _whole(value: Any) -> bool:
    if isinstance(value, int | float):
        return isinstance(value, int) or value.is_integer()
    return value.dtype.kind in "biu" or bool(np.all(np.isfinite(value) & (value == np.floor(value))))
