"""Compare two arms after weighting by the propensity score.

Stabilised inverse-probability weights make each arm look like everyone; overlap weights make both look like
the patients who might have had either route, and balance every covariate of the model exactly.

The interval comes from resampling patients with the model refitted, or from a closed form: the influence
of each patient on the two weighted means, including the share that comes through the estimated model.

Robins JM, Hernan MA, Brumback B. Epidemiology 2000;11:550-560, "Marginal structural models and causal
inference in epidemiology", doi:10.1097/00001648-200009000-00011 (stabilised weights).
Li F, Morgan KL, Zaslavsky AM. J Am Stat Assoc 2018;113:390-400, "Balancing covariates via propensity score
weighting", doi:10.1080/01621459.2016.1260466 (overlap weights).
Lunceford JK, Davidian M. Stat Med 2004;23:2937-2960, "Stratification and weighting via the propensity score
in estimation of causal treatment effects: a comparative study", doi:10.1002/sim.1903 (closed form).
Liang KY, Zeger SL. Biometrika 1986;73:13-22, "Longitudinal data analysis using generalized linear models",
doi:10.1093/biomet/73.1.13 (sums over clusters).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from outcomes.estimators.arrays import (
    Flags,
    Floats,
    Ints,
    check_seed,
    finite_vector,
    non_negative,
    two_arms,
)
from outcomes.estimators.base import EstimatorError, check_level
from outcomes.estimators.propensity import PropensityModel, fit_propensity
from outcomes.estimators.refit import refit_resamples
from outcomes.estimators.weighted_limits import (
    Remark,
    WeightedContrast,
    normal_contrasts,
    percentile_contrasts,
)

WeightKind = Literal["stabilised inverse probability", "overlap"]
IntervalMethod = Literal["converged refit", "two-step refit", "closed form"]

CONVERGED_BELOW_ROWS = 2_000
TWO_STEP_UP_TO_ROWS = 20_000
FEW_CLUSTERS = 20
FEWEST_RESAMPLES = 100

METHOD_NAMES: dict[IntervalMethod, str] = {
    "converged refit": "percentile bootstrap of patients, propensity model refitted to convergence",
    "two-step refit": "percentile bootstrap of patients, propensity model refitted by two Newton steps",
    "closed form": "cluster sandwich including weight estimation, normal limits",
}
KNOWN_WEIGHTS_METHOD = "cluster sandwich with weights taken as known, normal limits"


@dataclass(frozen=True, kw_only=True)
class WeightedArm:
    """One arm: rows, clusters (patients), summed outcome, crude and weighted mean, and its weights."""

    rows: int
    clusters: int
    outcome_total: float
    crude: float
    weighted: float
    effective_sample_size: float
    smallest_weight: float
    largest_weight: float


@dataclass(frozen=True, kw_only=True)
class WeightedComparison:
    """Treated against control: ``difference`` is treated minus control, ``ratio`` treated over control.

    ``weights`` names the weights. ``seed``, ``resamples`` and ``failed_resamples`` (arms separated in the
    resample) are ``None`` unless patients were resampled.
    """

    treated: WeightedArm
    control: WeightedArm
    clusters: int
    weights: str
    difference: WeightedContrast
    ratio: WeightedContrast
    seed: int | None = None
    resamples: int | None = None
    failed_resamples: int | None = None


def inverse_probability_weights(model: PropensityModel) -> Floats:
    """Stabilised weights (N,): the arm's share of rows over the row's chance of its arm."""
    share = model.treated.mean()
    return np.asarray(np.where(model.treated, share / model.scores, (1.0 - share) / (1.0 - model.scores)))


def overlap_weights(model: PropensityModel) -> Floats:
    """Overlap weights (N,): the row's chance of the arm it is not in."""
    return np.where(model.treated, 1.0 - model.scores, model.scores)


def effective_sample_size(weights: npt.ArrayLike) -> float:
    """(sum w)^2 / sum w^2: the equally weighted rows that would be as precise.

    Kish L. Survey sampling. Wiley 1965. Raises EstimatorError when all weights are zero.
    """
    used = non_negative("weights", weights)
    if not used.any():
        raise EstimatorError("weights", "must not all be zero")
    return float(used.sum() ** 2 / (used @ used))


def compare_with_weights(
    outcome: npt.ArrayLike,
    treated: npt.ArrayLike,
    weights: npt.ArrayLike,
    clusters: npt.ArrayLike,
    *,
    level: float = 0.95,
) -> WeightedComparison:
    """Compare weighted means when the weights are known; weights of 1 give the crude comparison.

    All four are shape (N,): ``outcome`` 0/1 (or any number, for a difference in means), ``treated`` 0/1,
    ``weights`` not negative, ``clusters`` any label of the patient. Raises EstimatorError otherwise.
    """
    check_level(level)
    arm = two_arms("treated", treated)
    value = finite_vector("outcome", outcome, length=arm.size)
    used = non_negative("weights", weights, length=arm.size)
    if not (used[arm].any() and used[~arm].any()):
        raise EstimatorError("weights", "must not be zero throughout an arm")
    cluster = _number(clusters, arm.size)
    covariance = _cluster_covariance(_influence(value, arm, used), cluster)
    arms = _arm(value, arm, used, cluster), _arm(value, ~arm, used, cluster)
    remark = _remark(value, arm, cluster)
    contrasts = normal_contrasts(_means(arms), covariance, level, KNOWN_WEIGHTS_METHOD, remark)
    return _comparison(arms, cluster, "given", contrasts)


def compare_weighted(
    outcome: npt.ArrayLike,
    treated: npt.ArrayLike,
    covariates: npt.ArrayLike,
    clusters: npt.ArrayLike,
    *,
    kind: WeightKind,
    seed: int,
    terms: Sequence[str] | None = None,
    interval: IntervalMethod | None = None,
    resamples: int = 1_000,
    level: float = 0.95,
) -> WeightedComparison:
    """Fit the propensity model, weight by it, and compare the arms.

    ``outcome``, ``treated`` and ``clusters`` are (N,) as in ``compare_with_weights``; ``covariates`` (N, P)
    holds numbers without gaps. ``interval`` is chosen by size when absent: converged refit below 2,000 rows,
    two-step refit up to 20,000, closed form above. Raises SeparationError when the covariates separate the
    arms, and EstimatorError for anything else that breaks a rule.
    """
    _check_choices(kind, seed, level)
    return compare_by_model(
        fit_propensity(covariates, treated, terms=terms),
        outcome,
        clusters,
        kind=kind,
        seed=seed,
        interval=interval,
        resamples=resamples,
        level=level,
    )


def compare_by_model(
    model: PropensityModel,
    outcome: npt.ArrayLike,
    clusters: npt.ArrayLike,
    *,
    kind: WeightKind,
    seed: int,
    interval: IntervalMethod | None = None,
    resamples: int = 1_000,
    level: float = 0.95,
) -> WeightedComparison:
    """As ``compare_weighted``, under a model fitted to the same rows, so that several outcomes need just one.

    ``outcome`` and ``clusters`` are (N,) in the order of the model's rows.
    """
    _check_choices(kind, seed, level)
    value = finite_vector("outcome", outcome, length=model.treated.size)
    cluster = _number(clusters, model.treated.size)
    used = overlap_weights(model) if kind == "overlap" else inverse_probability_weights(model)
    arms = _arm(value, model.treated, used, cluster), _arm(value, ~model.treated, used, cluster)
    method, remark = interval or interval_method(value.size), _remark(value, model.treated, cluster)
    if method == "closed form":
        covariance = _cluster_covariance(_full_influence(value, model, used, kind), cluster)
        contrasts = normal_contrasts(_means(arms), covariance, level, METHOD_NAMES[method], remark)
        return _comparison(arms, cluster, kind, contrasts)
    if resamples < FEWEST_RESAMPLES:
        raise EstimatorError("resamples", f"must be at least {FEWEST_RESAMPLES}")
    drawn = refit_resamples(
        model,
        value,
        cluster,
        overlap=kind == "overlap",
        resamples=resamples,
        seed=seed,
        converge=method == "converged refit",
    )
    contrasts = percentile_contrasts(_means(arms), drawn, level, METHOD_NAMES[method], remark)
    return _comparison(arms, cluster, kind, contrasts, (seed, resamples, drawn.failed))


def _check_choices(kind: WeightKind, seed: int, level: float) -> None:
    check_level(level)
    check_seed(seed)
    if kind not in get_args(WeightKind):
        raise EstimatorError("kind", "must be one of " + ", ".join(get_args(WeightKind)))


def interval_method(rows: int) -> IntervalMethod:
    """How the interval is made at this number of rows."""
    if rows < CONVERGED_BELOW_ROWS:
        return "converged refit"
    return "two-step refit" if rows <= TWO_STEP_UP_TO_ROWS else "closed form"


def _number(clusters: npt.ArrayLike, length: int) -> Ints:
    """Clusters numbered from 0 in the order of their labels, so that row order does not matter."""
    labels = np.asarray(clusters)
    if labels.shape != (length,):
        raise EstimatorError("clusters", f"must hold {length} labels, one per row")
    numbered = np.unique(labels, return_inverse=True)[1]
    if numbered.max() < 1:
        raise EstimatorError("clusters", "must hold at least two different patients")
    return numbered.astype(np.int64)


def _arm(outcome: Floats, arm: Flags, weights: Floats, cluster: Ints) -> WeightedArm:
    value, used = outcome[arm], weights[arm]
    return WeightedArm(
        rows=value.size,
        clusters=int(np.unique(cluster[arm]).size),
        outcome_total=float(value.sum()),
        crude=float(value.mean()),
        weighted=float(used @ value / used.sum()),
        effective_sample_size=effective_sample_size(used),
        smallest_weight=float(used.min()),
        largest_weight=float(used.max()),
    )


def _means(arms: tuple[WeightedArm, WeightedArm]) -> tuple[float, float]:
    return arms[0].weighted, arms[1].weighted


def _remark(outcome: Floats, arm: Flags, cluster: Ints) -> Remark:
    if np.ptp(outcome[arm]) == 0.0 or np.ptp(outcome[~arm]) == 0.0:
        return Remark("every row of an arm has the same outcome: limits not estimable", False)
    if cluster.max() + 1 < FEW_CLUSTERS:  # common practice, no source
        return Remark(f"fewer than {FEW_CLUSTERS} patients: the limits are likely too narrow", True)
    return Remark("", True)


def _influence(outcome: Floats, arm: Flags, weights: Floats) -> Floats:
    """Influence (N, 2) of each row on the treated and the control weighted mean, weights known."""
    columns = []
    for rows in (arm, ~arm):
        used = np.where(rows, weights, 0.0)
        total = used.sum()
        columns.append(used * (outcome - used @ outcome / total) / total)
    return np.column_stack(columns)


def _full_influence(outcome: Floats, model: PropensityModel, weights: Floats, kind: WeightKind) -> Floats:
    """As ``_influence``, with the part that passes through the estimated coefficients.

    A weight changes with the coefficients by -w (1 - q) x for inverse probability and by -w q x for overlap,
    where q is the chance of the row's own arm and x its design row, negated for control rows.
    """
    direct = _influence(outcome, model.treated, weights)
    sign = np.where(model.treated, 1.0, -1.0)
    own = np.where(model.treated, model.scores, 1.0 - model.scores)
    slope = -sign * (own if kind == "overlap" else 1.0 - own)
    moved = model.design.T @ (direct * slope[:, None])  # (P, 2): how the means move with the coefficients
    score = model.design * (model.treated - model.scores)[:, None]
    return direct + score @ model.covariance @ moved


def _cluster_covariance(influence: Floats, cluster: Ints) -> Floats:
    """Covariance (2, 2) of the two means: summed squares of the clusters' influence."""
    sums: Floats = np.column_stack([np.bincount(cluster, weights=column) for column in influence.T])
    return sums.T @ sums


def _comparison(
    arms: tuple[WeightedArm, WeightedArm],
    cluster: Ints,
    weights: str,
    contrasts: tuple[WeightedContrast, WeightedContrast],
    drawn: tuple[int | None, int | None, int | None] = (None, None, None),
) -> WeightedComparison:
    return WeightedComparison(
        treated=arms[0],
        control=arms[1],
        clusters=int(cluster.max()) + 1,
        weights=weights,
        difference=contrasts[0],
        ratio=contrasts[1],
        seed=drawn[0],
        resamples=drawn[1],
        failed_resamples=drawn[2],
    )
