"""Propensity scores: the chance of the treated arm given the covariates, by logistic regression.

Fitted by Newton's method on standardised columns, halving a step that would lower the likelihood.

Rosenbaum PR, Rubin DB. Biometrika 1983;70:41-55, "The central role of the propensity score in observational
studies for causal effects", doi:10.1093/biomet/70.1.41.
Albert A, Anderson JA. Biometrika 1984;71:1-10, "On the existence of maximum likelihood estimates in logistic
regression models", doi:10.1093/biomet/71.1.1 (when the estimate does not exist).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import expit

from outcomes.estimators.arrays import Flags, Floats, non_negative, two_arms
from outcomes.estimators.base import EstimatorError

METHOD = "logistic regression, maximum likelihood (Newton)"
MAX_STEPS = 50
_MAX_HALVINGS = 30
_STEP_TOLERANCE = 1e-9  # on the logit; Newton squares the error, so the next step would be below rounding


class SeparationError(EstimatorError):
    """The covariates (nearly) tell the arms apart, so the maximum likelihood estimate does not exist.

    ``terms`` names the columns that take part; no finite weights exist in such data.
    """

    def __init__(self, terms: tuple[str, ...]) -> None:
        super().__init__("covariates", "separate the arms completely or nearly so: " + ", ".join(terms))
        self.terms = terms


@dataclass(frozen=True, kw_only=True, eq=False)
class PropensityModel:
    """A fitted model. ``terms`` begin with "intercept"; ``coefficients`` (P,) are log odds per unit.

    ``covariance`` (P, P) is the inverse information; ``scores`` (N,) the fitted chances of the treated arm;
    ``design`` (N, P) the columns used, intercept first.
    """

    terms: tuple[str, ...]
    coefficients: Floats
    covariance: Floats
    scores: Floats
    design: Floats
    treated: Flags
    log_likelihood: float
    steps: int
    method: str = METHOD


def design_matrix(covariates: npt.ArrayLike, rows: int) -> Floats:
    """Covariates (N, P - 1), or (N, 0) for none, with an intercept in front: (N, P)."""
    columns = np.asarray(covariates, dtype=np.float64)
    if columns.ndim != 2 or columns.shape[0] != rows:
        raise EstimatorError("covariates", f"must be a table of {rows} rows, one column per term")
    if not np.isfinite(columns).all():
        raise EstimatorError("covariates", "must hold finite numbers only (no missing values)")
    return np.column_stack([np.ones(rows), columns])


def standardise(design: Floats, case_weights: Floats) -> tuple[Floats, Floats]:
    """Design with centred, unit-variance columns, and T (P, P) so that design @ T is that design.

    Raises EstimatorError when a column is constant or a linear combination of others.
    """
    share = case_weights / case_weights.sum()
    centre = share @ design[:, 1:]
    centred = design[:, 1:] - centre
    spread = np.sqrt(share @ centred**2)
    if (spread <= 1e-10 * np.maximum(1.0, np.abs(centre))).any():
        raise EstimatorError("covariates", "must not hold a constant column")
    transform = np.eye(design.shape[1])
    transform[1:, 1:] = np.diag(1.0 / spread)
    transform[0, 1:] = -centre / spread
    standard = np.column_stack([design[:, 0], centred / spread])
    smallest = np.linalg.eigvalsh((standard * share[:, None]).T @ standard)[0]
    if smallest < 1e-10:
        raise EstimatorError("covariates", "must not hold columns that are linear combinations of others")
    return standard, transform


def _log_likelihood(signed_logit: Floats, case_weights: Floats) -> float:
    return -float(case_weights @ np.logaddexp(0.0, -signed_logit))


def _newton_step(signed: Floats, logit: Floats, case_weights: Floats) -> Floats:
    """Information solved against score. ``signed`` has treated rows as they are, control rows negated."""
    wrong = expit(-logit)  # chance of the arm the row is not in
    information = (signed * (case_weights * wrong * (1.0 - wrong))[:, None]).T @ signed
    return np.asarray(np.linalg.solve(information, signed.T @ (case_weights * wrong)), dtype=np.float64)


def _separates(change: Floats) -> bool:
    """True when a direction moves no row towards the wrong arm, and some row towards its own.

    Such a direction can be followed without end, which is the proof that no estimate exists. The tolerance
    covers rows that stay put under quasi-complete separation.
    """
    return float(change.max()) > 0.1 and float(change.min()) > -1e-6 * float(change.max())


def _taking_part(step: Floats, terms: tuple[str, ...]) -> tuple[str, ...]:
    large = np.abs(step[1:]) > 1e-3 * max(float(np.abs(step[1:]).max(initial=0.0)), 1e-300)
    return tuple(term for term, is_large in zip(terms[1:], large, strict=True) if is_large)


def _climb(
    signed: Floats, case_weights: Floats, start: Floats, terms: tuple[str, ...]
) -> tuple[Floats, float, int]:
    """Coefficients at the maximum, its log-likelihood and the number of Newton steps taken."""
    beta, logit = start, signed @ start
    height = _log_likelihood(logit, case_weights)
    counted = case_weights > 0.0
    for steps in range(1, MAX_STEPS + 1):
        try:
            step = _newton_step(signed, logit, case_weights)
        except np.linalg.LinAlgError:
            raise SeparationError(terms[1:]) from None
        change = signed @ step
        if _separates(change[counted]):
            raise SeparationError(_taking_part(step, terms))
        if np.abs(change[counted]).max() < _STEP_TOLERANCE:
            return beta + step, height, steps
        beta, logit, height = _uphill(beta, logit, step, change, signed, case_weights, height)
    raise SeparationError(terms[1:])


def _uphill(
    beta: Floats,
    logit: Floats,
    step: Floats,
    change: Floats,
    signed: Floats,
    case_weights: Floats,
    height: float,
) -> tuple[Floats, Floats, float]:
    """Take the step, halved until the likelihood no longer falls (beyond rounding)."""
    for _ in range(_MAX_HALVINGS):
        trial = _log_likelihood(logit + change, case_weights)
        if trial >= height - 1e-12 * max(1.0, abs(height)):
            break
        step, change = step / 2.0, change / 2.0
    return beta + step, logit + change, trial


def _terms(terms: Sequence[str] | None, columns: int) -> tuple[str, ...]:
    names = tuple(terms) if terms is not None else tuple(f"column {k + 1}" for k in range(columns))
    if len(names) != columns:
        raise EstimatorError("terms", f"must name the {columns} columns of covariates")
    return ("intercept", *names)


def fit_propensity(
    covariates: npt.ArrayLike,
    treated: npt.ArrayLike,
    *,
    terms: Sequence[str] | None = None,
    case_weights: npt.ArrayLike | None = None,
) -> PropensityModel:
    """Fit the chance of ``treated`` (0/1, shape (N,)) on ``covariates`` (N, P - 1; an intercept is added).

    ``case_weights`` (N,) count how often each row occurs (1 each when absent). Raises SeparationError when
    the arms are separated, and EstimatorError for missing values, constant or dependent columns, or one arm.
    """
    arm = two_arms("treated", treated)
    counted = np.ones(arm.size) if case_weights is None else case_weights
    weights = non_negative("case_weights", counted, length=arm.size)
    if not (weights[arm].any() and weights[~arm].any()):
        raise EstimatorError("case_weights", "must not be zero throughout an arm")
    design = design_matrix(covariates, arm.size)
    names = _terms(terms, design.shape[1] - 1)
    standard, transform = standardise(design, weights)
    signed = np.where(arm[:, None], standard, -standard)
    beta, height, steps = _climb(signed, weights, np.zeros(design.shape[1]), names)
    scores = expit(standard @ beta)
    information = (standard * (weights * scores * (1.0 - scores))[:, None]).T @ standard
    return PropensityModel(
        terms=names,
        coefficients=transform @ beta,
        covariance=transform @ np.linalg.inv(information) @ transform.T,
        scores=scores,
        design=design,
        treated=arm,
        log_likelihood=height,
        steps=steps,
    )
