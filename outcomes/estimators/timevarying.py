"""Cox regression on start-stop rows, so that a patient counts under the route in place at the time.

Calling a patient axillary from day 0 because an axillary device came later credits that route with days the
patient had to survive first (immortal time). Rows split at the change carry the route as a covariate that
varies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from outcomes.estimators.arrays import Flags, Floats, Ints, counts, finite_vector, flags
from outcomes.estimators.base import Estimate, EstimatorError, two_sided_z

Ties = Literal["efron", "breslow"]

STEPS = 30
SCORE_PER_ERROR = 1e-9  # converged when the next step would be this small a part of a standard error
# A hazard ratio of exp(15) across one standard deviation means the likelihood rises for ever.
HIGHEST_EFFECT = 15.0
LEAST_EIGENVALUE = 1e-10  # of the information as correlations; rounding alone leaves about 1e-14
NO_MAXIMUM = "have no finite estimate: together they separate events from the rest, or one repeats others"


@dataclass(frozen=True, kw_only=True)
class HazardRatio(Estimate):
    """Ratio of hazards for one unit more of ``covariate``, with a two-sided Wald p-value."""

    covariate: str
    p_value: float
    rows: int
    events: int
    clusters: int


@dataclass(frozen=True, kw_only=True, eq=False)
class CoxFit:
    """Coefficients (p,), model-based and patient-robust covariance (p, p), and the counts behind them."""

    names: tuple[str, ...]
    coefficients: Floats
    covariance: Floats
    robust_covariance: Floats
    log_likelihood: float
    ties: Ties
    rows: int
    events: int
    clusters: int

    @property
    def std_error(self) -> Floats:
        """Model-based standard errors, shape (p,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def robust_std_error(self) -> Floats:
        """Standard errors that allow for several rows or events of one patient, shape (p,)."""
        return np.sqrt(np.diag(self.robust_covariance))

    def hazard_ratio(self, name: str, *, level: float = 0.95, robust: bool = True) -> HazardRatio:
        """Hazard ratio of one covariate with Wald limits on the log scale."""
        if name not in self.names:
            raise EstimatorError("name", f"must be one of {', '.join(self.names)}")
        index = self.names.index(name)
        coefficient = self.coefficients[index]
        error = (self.robust_std_error if robust else self.std_error)[index]
        width = two_sided_z(level) * error
        kind = "patient-robust" if robust else "model-based"
        return HazardRatio(
            value=float(np.exp(coefficient)),
            lower=float(np.exp(coefficient - width)),
            upper=float(np.exp(coefficient + width)),
            level=level,
            method=f"Cox, {self.ties.title()} ties, {kind} Wald limits",
            covariate=name,
            p_value=float(2.0 * ndtr(-abs(coefficient / error))),
            rows=self.rows,
            events=self.events,
            clusters=self.clusters,
        )


def cox(
    *,
    exit: npt.ArrayLike,
    event: npt.ArrayLike,
    covariates: npt.ArrayLike,
    names: Sequence[str],
    entry: npt.ArrayLike | None = None,
    patient: npt.ArrayLike | None = None,
    ties: Ties = "efron",
) -> CoxFit:
    """Fit hazard ratios to rows observed over (entry, exit], by Newton's method.

    ``exit``, ``entry`` (N,) in one unit; ``event`` (N,) 0/1 at exit; ``covariates`` (N, p) in force during
    the row; ``patient`` (N,) whole numbers that tie rows together for the robust covariance (default: each
    row its own). With several events per patient this is the Andersen-Gill model. The robust covariance has
    no small-sample factor and is too small below about 20 patients (common practice, no source).

    Raises EstimatorError for shapes, values or ties it cannot use, for no events, and for covariates whose
    estimate is infinite.

    Source: Andersen and Gill, Ann Stat 1982;10:1100-1120, doi 10.1214/aos/1176345976; Efron, JASA
    1977;72:557-565, doi 10.1080/01621459.1977.10480613; Lin and Wei, JASA 1989;84:1074-1078, doi
    10.1080/01621459.1989.10478874.
    """
    rows = _Rows.of(exit, event, covariates, names, entry, ties)
    size = rows.exit.size
    owner = np.arange(size) if patient is None else counts("patient", patient, length=size)
    beta = _maximise(rows)
    log_likelihood, _, information = rows.likelihood(beta)
    covariance = np.asarray(np.linalg.inv(information), dtype=np.float64)
    _, cluster = np.unique(owner, return_inverse=True)
    totals = np.zeros((cluster.max() + 1, beta.size))
    np.add.at(totals, cluster, rows.score_residuals(beta))
    influence = totals @ covariance
    return CoxFit(
        names=tuple(names),
        coefficients=beta,
        covariance=covariance,
        robust_covariance=influence.T @ influence,
        log_likelihood=log_likelihood,
        ties=ties,
        rows=size,
        events=int(rows.event.sum()),
        clusters=len(totals),
    )


def _maximise(rows: _Rows) -> Floats:
    beta = np.zeros(rows.x.shape[1])
    value, score, information = rows.likelihood(beta)
    for _ in range(STEPS):
        if not _invertible(information):
            break
        step = np.linalg.solve(information, score)
        if score @ step < SCORE_PER_ERROR**2 * beta.size:
            return beta
        tried = rows.likelihood(beta + step)
        while tried[0] < value - 1e-9 * abs(value) and np.abs(step).max() > np.finfo(float).eps:
            step = step / 2.0
            tried = rows.likelihood(beta + step)
        beta = beta + step
        value, score, information = tried
        if np.abs(beta * rows.x.std(axis=0)).max() > HIGHEST_EFFECT:
            break
    raise EstimatorError("covariates", NO_MAXIMUM)


def _invertible(information: Floats) -> bool:
    """Whether no covariate is constant in all risk sets or, but for rounding, a mix of the others."""
    scale = np.sqrt(np.diag(information))
    if not (scale > 0).all():
        return False
    return bool(np.linalg.eigvalsh(information / np.outer(scale, scale))[0] > LEAST_EIGENVALUE)


@dataclass(frozen=True)
class _Rows:
    """Checked rows with covariates centred on their means, and one line per event in order of time.

    ``died`` (E,) is the row of each event, ``tie`` (E,) numbers the event times and ``passed`` (E,) is the
    part of the tied events that Efron's rule has already taken out of the risk set.
    """

    entry: Floats
    exit: Floats
    event: Flags
    x: Floats
    died: Ints
    tie: Ints
    passed: Floats

    @classmethod
    def of(
        cls,
        exit: npt.ArrayLike,
        event: npt.ArrayLike,
        covariates: npt.ArrayLike,
        names: Sequence[str],
        entry: npt.ArrayLike | None,
        ties: str,
    ) -> _Rows:
        """Check the arguments of :func:`cox` and order the events."""
        left = finite_vector("exit", exit)
        came = np.zeros(left.size) if entry is None else finite_vector("entry", entry, length=left.size)
        came = np.where(came > 0, came, -np.inf)  # followed from the origin: at risk at time zero too
        happened = flags("event", event, length=left.size)
        x = np.asarray(covariates, dtype=float)
        if x.shape != (left.size, len(names)) or not len(names) or not np.isfinite(x).all():
            raise EstimatorError("covariates", "must be finite, one row per exit and one column per name")
        if ties not in ("efron", "breslow"):
            raise EstimatorError("ties", "must be efron or breslow")
        if (left < 0).any() or (came >= left).any():
            raise EstimatorError("exit", "must be later than entry and not negative")
        if not happened.any():
            raise EstimatorError("event", "must hold at least one event")
        died = np.flatnonzero(happened)
        died = died[np.argsort(left[died], kind="stable")]
        _, first, tie, size = np.unique(
            left[died], return_index=True, return_inverse=True, return_counts=True
        )
        passed = (np.arange(died.size) - first[tie]) / size[tie] if ties == "efron" else np.zeros(died.size)
        return cls(came, left, happened, x - x.mean(axis=0), died, tie, passed)

    def likelihood(self, beta: Floats) -> tuple[float, Floats, Floats]:
        """Log partial likelihood, its gradient (p,) and minus its Hessian (p, p)."""
        weight = np.exp(self.x @ beta)
        products = (self.x[:, :, None] * self.x[:, None, :]).reshape(len(self.x), -1)
        sums = self._risk_sums(np.column_stack([np.ones(len(self.x)), self.x, products]) * weight[:, None])
        total, first, second = sums[:, 0], sums[:, 1 : 1 + beta.size], sums[:, 1 + beta.size :]
        mean = first / total[:, None]
        value = float(np.sum(self.x[self.died] @ beta - np.log(total)))
        information = (second / total[:, None]).sum(axis=0).reshape(beta.size, beta.size) - mean.T @ mean
        return value, (self.x[self.died] - mean).sum(axis=0), information

    def _risk_sums(self, weighted: Floats) -> Floats:
        """Sums over the rows at risk at each event, less the part that ties take out, shape (E, columns)."""
        times = self.exit[self.died]
        at_risk = _sum_from(self.exit, weighted, times) - _sum_from(self.entry, weighted, times)
        tied = np.zeros((self.tie[-1] + 1, weighted.shape[1]))
        np.add.at(tied, self.tie, weighted[self.died])
        return at_risk - self.passed[:, None] * tied[self.tie]

    def score_residuals(self, beta: Floats) -> Floats:
        """Each row's part of the gradient, with what it adds to all risk sets it was in, shape (N, p)."""
        weight = np.exp(self.x @ beta)
        sums = self._risk_sums(np.column_stack([weight, self.x * weight[:, None]]))
        mean, hazard = sums[:, 1:] / sums[:, :1], 1.0 / sums[:, 0]
        terms = np.column_stack([hazard, mean * hazard[:, None]])
        lived = self._sum_between(terms)
        taken_out = self._per_tie(terms * self.passed[:, None])
        residual = np.zeros_like(self.x)
        residual[self.died] = self.x[self.died] - self._per_tie(mean) / np.bincount(self.tie)[self.tie, None]
        lived[self.died] -= taken_out
        return residual - weight[:, None] * (self.x * lived[:, :1] - lived[:, 1:])

    def _sum_between(self, terms: Floats) -> Floats:
        """Sum of event terms (E, columns) over entry < time <= exit of each row, shape (N, columns)."""
        running = np.vstack([np.zeros(terms.shape[1]), np.cumsum(terms, axis=0)])
        times = self.exit[self.died]
        reached = [np.searchsorted(times, edge, side="right") for edge in (self.exit, self.entry)]
        return running[reached[0]] - running[reached[1]]

    def _per_tie(self, terms: Floats) -> Floats:
        """Sum of the terms over the events tied with each event, shape (E, columns)."""
        total = np.zeros((self.tie[-1] + 1, terms.shape[1]))
        np.add.at(total, self.tie, terms)
        return total[self.tie]


def _sum_from(when: Floats, weighted: Floats, times: Floats) -> Floats:
    """Sum of the rows whose ``when`` is at or after each time, shape (E, columns)."""
    order = np.argsort(when, kind="stable")
    running = np.vstack([np.cumsum(weighted[order][::-1], axis=0)[::-1], np.zeros(weighted.shape[1])])
    return running[np.searchsorted(when[order], times, side="left")]
