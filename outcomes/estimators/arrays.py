"""Turn what a caller hands over into checked numpy arrays; every refusal names the argument."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from outcomes.estimators.base import EstimatorError

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


def check_seed(seed: int) -> None:
    """Refuse a seed the random generator cannot take."""
    if seed < 0:
        raise EstimatorError("seed", "must not be negative")


def finite_vector(name: str, values: npt.ArrayLike, *, length: int | None = None) -> Floats:
    """One finite number per row, shape (N,); NaN and infinity are refused, as is a wrong length."""
    vector = numbers_or_nan(name, values, length=length)
    if not np.isfinite(vector).all():
        raise EstimatorError(name, "must hold finite numbers only (no missing values)")
    return vector


def numbers_or_nan(name: str, values: npt.ArrayLike, *, length: int | None = None) -> Floats:
    """One number per row, shape (N,), where NaN marks a missing value."""
    vector = np.asarray(values, dtype=np.float64)
    if vector.ndim != 1:
        raise EstimatorError(name, "must be one-dimensional")
    if length is not None and vector.size != length:
        raise EstimatorError(name, f"must hold {length} values, one per row")
    if np.isinf(vector).any():
        raise EstimatorError(name, "must not hold infinite values")
    return vector


def flags(name: str, values: npt.ArrayLike, *, length: int | None = None) -> Flags:
    """True/False (or 1/0) per row, shape (N,)."""
    vector = finite_vector(name, values, length=length)
    if not np.isin(vector, (0.0, 1.0)).all():
        raise EstimatorError(name, "must hold only 0 and 1")
    return np.asarray(vector == 1.0, dtype=np.bool_)


def counts(name: str, values: npt.ArrayLike, *, length: int | None = None) -> Ints:
    """Whole numbers of zero or more, shape (N,)."""
    vector = finite_vector(name, values, length=length)
    if (vector < 0).any() or (vector != np.floor(vector)).any():
        raise EstimatorError(name, "must hold whole numbers of zero or more")
    return vector.astype(np.int64)


def non_negative(name: str, values: npt.ArrayLike, *, length: int | None = None) -> Floats:
    """Finite numbers of zero or more, shape (N,)."""
    vector = finite_vector(name, values, length=length)
    if (vector < 0).any():
        raise EstimatorError(name, "must not hold negative values")
    return vector


def two_arms(name: str, values: npt.ArrayLike, *, length: int | None = None) -> Flags:
    """Arm flags, shape (N,), with at least one row on each side."""
    arm = flags(name, values, length=length)
    if arm.all() or not arm.any():
        raise EstimatorError(name, "must hold rows of both arms")
    return arm
