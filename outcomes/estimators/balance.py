"""Standardised mean differences: how unlike two arms are, before and after weighting.

The difference is always treated minus control, in standard deviations. Which standard deviation is a
convention, so each result names it:

``pooled``           root of the mean of the two arms' unweighted variances (Austin 2009). The denominator
                     stays the same before and after weighting, so a change comes from the means alone.
``treated``          unweighted standard deviation of the treated arm (Ho et al. 2011).
``pooled weighted``  as ``pooled``, from the weighted variances (Austin and Stuart 2015).

Continuous variances have the n - 1 divisor, binary ones are p(1 - p).

Austin PC. Stat Med 2009;28:3083-3107, "Balance diagnostics for comparing the distribution of baseline
covariates between treatment groups in propensity-score matched samples", doi:10.1002/sim.3697.
Ho DE, Imai K, King G, Stuart EA. J Stat Softw 2011;42(8), "MatchIt: nonparametric preprocessing for
parametric causal inference", doi:10.18637/jss.v042.i08.
Austin PC, Stuart EA. Stat Med 2015;34:3661-3679, "Moving towards best practice when using inverse
probability of treatment weighting (IPTW) using the propensity score to estimate causal treatment effects
in observational studies", doi:10.1002/sim.6607.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from outcomes.estimators.arrays import Flags, Floats, Ints, non_negative, numbers_or_nan, two_arms
from outcomes.estimators.base import EstimatorError

SdConvention = Literal["pooled", "treated", "pooled weighted"]
CovariateKind = Literal["continuous", "binary", "categorical"]

_NO_SPREAD = "no spread within the arms: not estimable"
_EMPTY_ARM = "an arm has no known value of this covariate"


@dataclass(frozen=True, kw_only=True)
class ArmValues:
    """What one arm contributes: rows with a known value, rows without, and the (weighted) mean."""

    known: int
    missing: int
    mean: float | None


@dataclass(frozen=True, kw_only=True)
class StandardisedDifference:
    """One covariate compared between the arms.

    ``value`` is in standard deviations; ``None`` means not estimable and ``note`` says why. For a
    categorical covariate it is the (unsigned) distance over all levels, and ``levels`` holds each level as a
    yes/no covariate. Rows with a missing value are left out of ``value``; ``missing_value`` is the
    standardised difference of "is missing" itself, so unequal missingness stays visible.
    """

    covariate: str
    kind: CovariateKind
    value: float | None
    treated: ArmValues
    control: ArmValues
    missing_value: float | None
    sd_convention: SdConvention
    weighted: bool
    levels: tuple[StandardisedDifference, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class _Arms:
    """The rows of a comparison: arm flags and weights, shape (N,)."""

    treated: Flags
    weights: Floats
    weighted: bool
    sd: SdConvention

    def known(self, known: Flags) -> tuple[Flags, Flags]:
        return known & self.treated, known & ~self.treated


def _arms(treated: npt.ArrayLike, weights: npt.ArrayLike | None, sd: SdConvention) -> _Arms:
    if sd not in get_args(SdConvention):
        raise EstimatorError("sd", "must be one of " + ", ".join(get_args(SdConvention)))
    arm = two_arms("treated", treated)
    used = np.ones(arm.size) if weights is None else non_negative("weights", weights, length=arm.size)
    if used[arm].sum() == 0.0 or used[~arm].sum() == 0.0:
        raise EstimatorError("weights", "must not be zero throughout an arm")
    return _Arms(arm, used, weights is not None, sd)


def _mean(values: Floats, weights: Floats) -> float | None:
    total = float(weights.sum())
    return float(weights @ values) / total if total > 0.0 else None


def _variance(values: Floats, weights: Floats, *, binary: bool) -> float:
    """Weighted variance; with equal weights the n - 1 variance. One row has none, taken as 0."""
    mean = _mean(values, weights) or 0.0
    if binary:
        return mean * (1.0 - mean)
    total, squares = float(weights.sum()), float(weights @ weights)
    divisor = total - squares / total
    # A single row of weight leaves no degree of freedom, apart from rounding.
    return float(weights @ (values - mean) ** 2) / divisor if divisor > 1e-12 * total else 0.0


def _denominator(values: Floats, rows: tuple[Flags, Flags], arms: _Arms, *, binary: bool) -> float:
    weights = arms.weights if arms.sd == "pooled weighted" else np.ones(values.size)
    treated, control = (_variance(values[arm], weights[arm], binary=binary) for arm in rows)
    return float(np.sqrt(treated if arms.sd == "treated" else (treated + control) / 2.0))


def _scaled(difference: float, sd: float) -> tuple[float | None, str]:
    if sd > 0.0:
        return difference / sd, ""
    # Both arms constant: equal means are perfectly balanced, unequal ones have no scale to judge by.
    return (0.0, "constant and equal in both arms") if difference == 0.0 else (None, _NO_SPREAD)


def _compare(values: Floats, known: Flags, arms: _Arms, *, binary: bool) -> tuple[float | None, str]:
    rows = arms.known(known)
    if not binary and known.any():
        # Measuring from an observed value keeps a constant covariate exactly constant.
        values = values - values[known.argmax()]
    means = [_mean(values[arm], arms.weights[arm]) for arm in rows]
    if means[0] is None or means[1] is None:
        return None, _EMPTY_ARM
    return _scaled(means[0] - means[1], _denominator(values, rows, arms, binary=binary))


def _arm_values(values: Floats, known: Flags, arm: Flags, weights: Floats) -> ArmValues:
    rows = known & arm
    return ArmValues(
        known=int(rows.sum()), missing=int((arm & ~known).sum()), mean=_mean(values[rows], weights[rows])
    )


def _missing_value(known: Flags, arms: _Arms) -> float | None:
    everyone = np.ones(known.size, dtype=bool)
    return _compare((~known).astype(np.float64), everyone, arms, binary=True)[0]


def _single(
    name: str, kind: CovariateKind, values: Floats, known: Flags, arms: _Arms
) -> StandardisedDifference:
    value, note = _compare(values, known, arms, binary=kind == "binary")
    return StandardisedDifference(
        covariate=name,
        kind=kind,
        value=value,
        treated=_arm_values(values, known, arms.treated, arms.weights),
        control=_arm_values(values, known, ~arms.treated, arms.weights),
        missing_value=_missing_value(known, arms),
        sd_convention=arms.sd,
        weighted=arms.weighted,
        note=note,
    )


def continuous_difference(
    name: str,
    values: npt.ArrayLike,
    treated: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    sd: SdConvention = "pooled",
) -> StandardisedDifference:
    """Compare a measured covariate, shape (N,) with NaN for missing; ``treated`` is 0/1, shape (N,).

    Raises EstimatorError for infinite values, unequal lengths, negative weights or an empty arm.
    """
    arms = _arms(treated, weights, sd)
    vector = numbers_or_nan("values", values, length=arms.treated.size)
    return _single(name, "continuous", vector, ~np.isnan(vector), arms)


def binary_difference(
    name: str,
    values: npt.ArrayLike,
    treated: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    sd: SdConvention = "pooled",
) -> StandardisedDifference:
    """Compare a yes/no covariate: 1, 0 or NaN for missing, shape (N,). Errors as for continuous ones."""
    arms = _arms(treated, weights, sd)
    vector = numbers_or_nan("values", values, length=arms.treated.size)
    known = ~np.isnan(vector)
    if not np.isin(vector[known], (0.0, 1.0)).all():
        raise EstimatorError("values", "must hold only 0, 1 and NaN")
    return _single(name, "binary", vector, known, arms)


def categorical_difference(
    name: str,
    codes: npt.ArrayLike,
    labels: Sequence[str],
    treated: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    sd: SdConvention = "pooled",
) -> StandardisedDifference:
    """Compare a covariate with several levels.

    ``codes`` (N,) are positions in ``labels``, with -1 for missing. The overall value is the Mahalanobis
    distance between the arms' proportions, under the mean of their two multinomial covariance matrices
    (or the treated arm's alone when ``sd`` is "treated"); two levels give the absolute binary value.

    Yang D, Dalton JE. SAS Global Forum 2012, paper 335, "A unified approach to measuring the effect size
    between two groups using SAS". Raises EstimatorError for a code outside the labels.
    """
    arms = _arms(treated, weights, sd)
    levels = _level_codes(codes, len(labels), arms.treated.size)
    known = levels >= 0
    each = tuple(
        _single(label, "binary", (levels == k).astype(np.float64), known, arms)
        for k, label in enumerate(labels)
    )
    value, note = _distance(levels, len(labels), known, arms)
    return StandardisedDifference(
        covariate=name,
        kind="categorical",
        value=value,
        treated=_without_mean(known, arms.treated),
        control=_without_mean(known, ~arms.treated),
        missing_value=_missing_value(known, arms),
        sd_convention=sd,
        weighted=arms.weighted,
        levels=each,
        note=note,
    )


def _level_codes(codes: npt.ArrayLike, levels: int, length: int) -> Ints:
    vector = numbers_or_nan("codes", codes, length=length)
    if levels < 2:
        raise EstimatorError("labels", "must name at least two levels")
    if not np.isin(vector, np.arange(-1, levels)).all():
        raise EstimatorError("codes", f"must be whole numbers from 0 to {levels - 1}, or -1 for missing")
    return vector.astype(np.int64)


def _without_mean(known: Flags, arm: Flags) -> ArmValues:
    return ArmValues(known=int((known & arm).sum()), missing=int((~known & arm).sum()), mean=None)


def _proportions(levels: Ints, count: int, rows: Flags, weights: Floats) -> Floats:
    totals = np.bincount(levels[rows], weights=weights[rows], minlength=count)
    return np.asarray(totals / totals.sum())


def _multinomial_covariance(proportions: Floats) -> Floats:
    return np.diag(proportions) - np.outer(proportions, proportions)


def _distance(levels: Ints, count: int, known: Flags, arms: _Arms) -> tuple[float | None, str]:
    rows = arms.known(known)
    if any(arms.weights[arm].sum() == 0.0 for arm in rows):
        return None, _EMPTY_ARM
    treated, control = (_proportions(levels, count, arm, arms.weights) for arm in rows)
    spread = arms.weights if arms.sd == "pooled weighted" else np.ones(levels.size)
    covariances = [_multinomial_covariance(_proportions(levels, count, arm, spread)) for arm in rows]
    covariance = covariances[0] if arms.sd == "treated" else (covariances[0] + covariances[1]) / 2.0
    return _mahalanobis(treated - control, covariance)


def _mahalanobis(difference: Floats, covariance: Floats) -> tuple[float | None, str]:
    """Distance by the pseudo-inverse, which equals dropping any one level; ``None`` outside its range."""
    if not np.abs(difference).max() > 1e-15:
        return 0.0, ""
    inverse = np.linalg.pinv(covariance, rcond=1e-10, hermitian=True)
    solved = inverse @ difference
    if not np.allclose(covariance @ solved, difference, atol=1e-9):
        return None, _NO_SPREAD
    return float(np.sqrt(difference @ solved)), ""
