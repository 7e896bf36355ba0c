"""Resample patients and refit the propensity model in each resample.

A resample is a count per cluster (patient): how often it was drawn. Counts enter the score equations as case
weights, so no rows are copied, and one matrix product serves a whole block of resamples. Every resample
starts from the fit to the full data; its first Newton step needs only sums per cluster.

Efron B, Tibshirani RJ. An introduction to the bootstrap. Chapman & Hall 1993 (percentile interval).
Austin PC. Stat Med 2016;35:5642-5655, "Variance estimation when using inverse probability of treatment
weighting (IPTW) with survival analysis", doi:10.1002/sim.7084 (why the model is refitted in each resample).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from outcomes.estimators.arrays import Floats, Ints
from outcomes.estimators.propensity import PropensityModel, standardise

BLOCK_NUMBERS = 1 << 20  # 8 MB of doubles: a block this size stays in the processor's cache
MAX_STEPS = 15
# Newton's decrement (score times step) per row: the mean squared change of the logit, about. Convergence
# squares the error again; separated arms still stand near exp(-15) after 15 steps.
CONVERGED = 1e-14
ROUGHLY_CONVERGED = 1e-4  # after the second of two steps: more means the resample is far from done


@dataclass(frozen=True, eq=False)
class Resamples:
    """Weighted means of the two arms, shape (B,) each, over the resamples that could be refitted."""

    treated: Floats
    control: Floats
    failed: int


@dataclass(frozen=True, eq=False)
class _Rows:
    """Rows prepared once. ``signed`` (N, P) has control rows negated, so signed @ beta is the logit of the
    arm a row is in; ``products`` (N, P(P+1)/2) are its packed squares; ``sums`` (N, 4) are outcome and one,
    for treated rows and for control rows.
    """

    signed: Floats
    products: Floats
    sums: Floats
    cluster: Ints
    start: Floats
    overlap: bool

    @property
    def one_per_cluster(self) -> bool:
        return bool((self.cluster == np.arange(self.cluster.size)).all())

    def spread(self, counts: Floats) -> Floats:
        """Counts per cluster (R, C) carried to the rows (R, N)."""
        return counts if self.one_per_cluster else counts[:, self.cluster]


def resample_counts(seed: int, clusters: int, resamples: int, *, block: int) -> Iterator[Floats]:
    """Multinomial counts (R, C): each resample draws C clusters with replacement; at most ``block`` rows."""
    random = np.random.default_rng(seed)
    for first in range(0, resamples, block):
        size = min(block, resamples - first)
        drawn = random.integers(0, clusters, size=(size, clusters))
        drawn += np.arange(size)[:, None] * clusters
        flat = np.bincount(drawn.ravel(), minlength=size * clusters)
        yield flat.reshape(size, clusters).astype(np.float64)


def block_size(rows: int) -> int:
    """How many resamples to work on at once."""
    return max(1, BLOCK_NUMBERS // rows)


def refit_resamples(
    model: PropensityModel,
    outcome: Floats,
    cluster: Ints,
    *,
    overlap: bool,
    resamples: int,
    seed: int,
    converge: bool,
) -> Resamples:
    """Weighted arm means in ``resamples`` patient resamples, the model refitted in each.

    ``cluster`` (N,) numbers the patients from 0. With ``converge`` Newton runs until it has converged, else
    it takes two steps. A resample that does not get there (its arms are separated) is counted as failed.
    """
    rows = _prepare(model, outcome, cluster, overlap)
    clusters = int(cluster.max()) + 1
    blocks = resample_counts(seed, clusters, resamples, block=block_size(cluster.size))
    first = _first_step_sums(rows, clusters)
    means = np.concatenate([_block_means(rows, first, counts, converge) for counts in blocks])
    good = means[np.isfinite(means).all(axis=1)]
    return Resamples(treated=good[:, 0], control=good[:, 1], failed=resamples - good.shape[0])


def _prepare(model: PropensityModel, outcome: Floats, cluster: Ints, overlap: bool) -> _Rows:
    standard, transform = standardise(model.design, np.ones(outcome.size))
    order = np.argsort(cluster, kind="stable")  # rows of one patient side by side
    arm = model.treated[order]
    signed = np.where(arm[:, None], standard[order], -standard[order])
    upper = np.triu_indices(signed.shape[1])
    one, value = np.ones(outcome.size), outcome[order]
    return _Rows(
        signed=signed,
        products=signed[:, upper[0]] * signed[:, upper[1]],
        sums=np.column_stack([arm * value, arm * one, ~arm * value, ~arm * one]),
        cluster=cluster[order],
        start=np.asarray(np.linalg.solve(transform, model.coefficients), dtype=np.float64),
        overlap=overlap,
    )


def _chance_of_other_arm(logit: Floats) -> Floats:
    """1 / (1 + exp(logit)), in place."""
    np.exp(logit, out=logit)
    logit += 1.0
    return np.reciprocal(logit, out=logit)


def _first_step_sums(rows: _Rows, clusters: int) -> tuple[Floats, Floats]:
    """Score (C, P) and packed information (C, P(P+1)/2) of each cluster at the full-data fit."""
    other = _chance_of_other_arm(rows.signed @ rows.start)
    starts = np.searchsorted(rows.cluster, np.arange(clusters))
    score = np.add.reduceat(rows.signed * other[:, None], starts)
    return score, np.add.reduceat(rows.products * (other * (1.0 - other))[:, None], starts)


def _solve(score: Floats, packed: Floats) -> Floats:
    """Newton steps (R, P). A trace of ridge lets a column that is constant in a resample drop out."""
    size = score.shape[1]
    upper = np.triu_indices(size)
    information = np.empty((score.shape[0], size, size))
    information[:, upper[0], upper[1]] = packed
    information[:, upper[1], upper[0]] = packed
    diagonal = np.arange(size)
    information[:, diagonal, diagonal] += 1e-12 * np.trace(information, axis1=1, axis2=2)[:, None] + 1e-300
    return np.asarray(np.linalg.solve(information, score[:, :, None])[:, :, 0])


def _step(rows: _Rows, weights: Floats, beta: Floats) -> tuple[Floats, Floats]:
    """Newton steps (R, P) and their decrements per row (R,)."""
    other = _chance_of_other_arm(beta @ rows.signed.T)
    pull = weights * other
    score = pull @ rows.signed
    np.multiply(pull, other, out=other)
    pull -= other
    step = _solve(score, pull @ rows.products)
    return step, (score * step).sum(axis=1) / rows.cluster.size


def _block_means(rows: _Rows, first: tuple[Floats, Floats], counts: Floats, converge: bool) -> Floats:
    """Arm means (R, 2) of one block; NaN where the refit failed."""
    weights = rows.spread(counts)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        step = _solve(counts @ first[0], counts @ first[1])
        beta = rows.start + step
        tolerance = CONVERGED if converge else ROUGHLY_CONVERGED
        open_ = np.arange(counts.shape[0])
        for _ in range(MAX_STEPS if converge else 1):
            step, decrement = _step(
                rows, weights if open_.size == len(weights) else weights[open_], beta[open_]
            )
            beta[open_] += step
            open_ = open_[~(decrement < tolerance)]
            if not open_.size:
                break
        beta[open_] = np.nan
        return _arm_means(rows, weights, beta)


def _arm_means(rows: _Rows, weights: Floats, beta: Floats) -> Floats:
    logit = beta @ rows.signed.T
    if rows.overlap:
        own = _chance_of_other_arm(logit)
    else:
        own = np.exp(np.negative(logit, out=logit), out=logit)
        own += 1.0
    own *= weights
    sums = own @ rows.sums
    return np.column_stack([sums[:, 0] / sums[:, 1], sums[:, 2] / sums[:, 3]])
