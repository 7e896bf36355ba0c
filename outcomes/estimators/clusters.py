"""A proportion of runs when some patients give several runs, so that runs are not independent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from outcomes.estimators.base import (
    Estimate,
    EstimatorError,
    FloatArray,
    check_count,
    check_level,
    check_positive,
)
from outcomes.estimators.proportions import score_limits


@dataclass(frozen=True, kw_only=True)
class ClusteredProportion(Estimate):
    """``events`` of ``total`` runs in ``clusters`` patients.

    ``design_effect`` is the variance over that of as many independent runs; ``None`` where not observable.
    """

    events: int
    total: int
    clusters: int
    standard_error: float | None
    design_effect: float | None


def design_effect(*, intracluster_correlation: float, cluster_size: float) -> float:
    """1 + (m - 1)·ICC, the variance inflation for clusters of m alike.

    Killip S, Mahfoud Z, Pearce K. Ann Fam Med 2004;2:204-208, doi:10.1370/afm.141.
    """
    check_positive("cluster_size", cluster_size)
    if not -1.0 <= intracluster_correlation <= 1.0:
        raise EstimatorError("intracluster_correlation", "must lie between -1 and 1")
    return 1.0 + (cluster_size - 1.0) * intracluster_correlation


def clustered_proportion(
    *, events: Sequence[int], sizes: Sequence[int], level: float = 0.95
) -> ClusteredProportion:
    """Events over runs, one entry of ``events`` and ``sizes`` per patient, with limits robust to clustering.

    Variance of the ratio estimator: m/(m - 1)·Σ(yᵢ - p·nᵢ)²/(Σnᵢ)² for m patients (Rao JNK, Scott AJ.
    Biometrics 1992;48:577-585, doi:10.2307/2532311). The limits are Wilson's, for the effective number of
    runs n/design effect and Student's t on m - 1 degrees of freedom, which stays inside [0, 1] (compared by
    Franco C et al. J Surv Stat Methodol 2019;7:334-364, doi:10.1093/jssam/smy019). With no event, or nothing
    else, the variance cannot be seen: each patient then counts as one observation, the cautious end. The
    effective number is never taken above the number of runs.
    Raises EstimatorError naming ``events``, ``sizes`` or ``level``.
    """
    check_level(level)
    y, n = _checked(events, sizes)
    clusters, total, p = len(n), n.sum(), y.sum() / n.sum()
    residuals = (y * total - y.sum() * n) / total  # whole numbers above the line, so no spread is exactly 0
    variance = clusters / (clusters - 1) * np.sum(residuals**2) / total**2
    seen = bool(variance > 0)
    effective = p * (1 - p) / variance if seen else float(clusters)
    t = float(stdtrit(clusters - 1, 0.5 + 0.5 * level))
    runs = np.asarray(min(effective, total))
    lower, upper = score_limits(p * runs, runs, t)
    return ClusteredProportion(
        value=float(p),
        lower=float(lower),
        upper=float(upper),
        level=level,
        method="Wilson, effective sample size from the between-patient variance",
        note="" if seen else "no spread between patients: each patient counted as one observation",
        events=int(y.sum()),
        total=int(total),
        clusters=clusters,
        standard_error=float(np.sqrt(variance)) if seen else None,
        design_effect=float(total / effective) if seen else None,
    )


def _checked(events: Sequence[int], sizes: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    if len(events) != len(sizes):
        raise EstimatorError("sizes", "must have one entry per entry of events")
    if len(sizes) < 2:
        raise EstimatorError("sizes", "must hold at least two clusters")
    check_positive("sizes", sizes)
    check_count("events", events, at_most=sizes)
    return np.asarray(events, dtype=float), np.asarray(sizes, dtype=float)
