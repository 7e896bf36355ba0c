"""Mean number of events per patient over time, when an event can happen to a patient more than once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from outcomes.estimators.arrays import Floats, Ints, counts, finite_vector
from outcomes.estimators.base import EstimatorError, two_sided_z
from outcomes.estimators.curves import StepCurve
from outcomes.estimators.tally import CENSORED, tally_exits

FEW_PATIENTS = 20
TOO_FEW_PATIENTS = "fewer than {few} patients: the robust error is too small (common practice, no source)"


@dataclass(frozen=True, kw_only=True, eq=False)
class MeanCumulativeCurve(StepCurve):
    """Mean events per row by each time; ``patients`` independent clusters carry the standard error."""

    patients: int


def mean_cumulative_function(
    exit: npt.ArrayLike,
    *,
    event_row: npt.ArrayLike,
    event_time: npt.ArrayLike,
    entry: npt.ArrayLike | None = None,
    patient: npt.ArrayLike | None = None,
    level: float = 0.95,
    label: str = "all",
) -> MeanCumulativeCurve:
    """Nelson-Aalen sum of events over rows at risk, with a patient-robust standard error.

    ``exit`` and ``entry`` (N,) as in ``tally_exits``; ``event_row`` (E,) position of the row an event belongs
    to and ``event_time`` (E,) its time, within (entry, exit]; every event counts, also several of one row at
    one time. ``patient`` (N,) whole numbers of zero or more, for rows of one patient (default: each row its
    own). The variance is that of Lawless and Nadeau, a sum over patients without the factor n / (n - 1) that
    Nelson's has; limits are taken on the log scale. Leaving ends the row: the mean is per row still followed,
    not a count after death.

    Raises EstimatorError for rows that ``tally_exits`` refuses, and for events outside their row's follow-up.

    Source: Lawless and Nadeau, Technometrics 1995;37:158-168, doi 10.1080/00401706.1995.10484300; Nelson,
    Technometrics 1995;37:147-157, doi 10.1080/00401706.1995.10484299.
    """
    z = two_sided_z(level)
    left = np.asarray(exit)
    tally = tally_exits(left, np.full(left.shape, CENSORED), entry=entry, groups=(label,))
    came = np.zeros(left.size) if entry is None else np.asarray(entry, dtype=float)
    left = left.astype(float)
    rows, happened = _events(event_row, event_time, came, left)
    owner = (
        np.arange(left.size) if patient is None else _numbered(counts("patient", patient, length=left.size))
    )
    times, index, events = np.unique(happened, return_inverse=True, return_counts=True)
    at_risk = tally.at_risk_at(times, 0)
    values = np.cumsum(events / at_risk)
    changes = _Changes(times, at_risk, np.cumsum(events / at_risk.astype(float) ** 2))
    std_error = np.sqrt(changes.variance(owner, came, left, rows, index))
    width = np.exp(z * std_error / values)
    patients = int(owner.max()) + 1
    return MeanCumulativeCurve(
        tally=tally,
        group=0,
        times=times,
        values=values,
        std_error=std_error,
        lower=values / width,
        upper=values * width,
        at_risk=at_risk,
        events=events,
        level=level,
        method="mean cumulative function, Lawless-Nadeau robust variance (no n/(n-1) factor), log limits",
        note=TOO_FEW_PATIENTS.format(few=FEW_PATIENTS) if patients < FEW_PATIENTS else "",
        patients=patients,
    )


def _numbered(patient: Ints) -> Ints:
    """Patients as 0, 1, 2, ..."""
    steps = np.diff(patient, prepend=patient[:1])
    if (steps >= 0).all():
        return np.cumsum(steps > 0)
    index: Ints = np.unique(patient, return_inverse=True)[1]
    return index


def _events(
    event_row: npt.ArrayLike, event_time: npt.ArrayLike, came: Floats, left: Floats
) -> tuple[Ints, Floats]:
    rows = counts("event_row", event_row)
    happened = finite_vector("event_time", event_time, length=rows.size)
    if (rows >= left.size).any():
        raise EstimatorError("event_row", "must point to a row of exit")
    started = came[rows]
    inside = (happened <= left[rows]) & ((happened > started) | ((started <= 0) & (happened >= 0)))
    if not inside.all():
        raise EstimatorError("event_time", "must lie within the follow-up of its row, (entry, exit]")
    return rows, happened


@dataclass(frozen=True)
class _Changes:
    """Sums over patients of squared influence, kept up to date instead of a patients-by-times matrix.

    The influence of a patient at t is A = alpha - k G(t), where G sums events / at risk squared, k counts the
    rows at risk, and alpha and k change only at the patient's own events, entries and exits. So the sum of A
    squared needs just the running sums of alpha^2, alpha k and k^2.
    """

    times: Floats
    at_risk: Ints
    drift: Floats  # G at each time

    def variance(self, owner: Ints, came: Floats, left: Floats, rows: Ints, index: Ints) -> Floats:
        """Sum over patients of squared influence at each time, shape (D,); ``index`` (E,) places events."""
        size = self.times.size
        at_start = np.bincount(owner[came <= 0], minlength=int(owner.max()) + 1).astype(float)
        who, when, alpha, k = self._list(owner, came, left, rows, index)
        order = np.argsort(who * (size + 1) + when, kind="stable")  # much of it is in order
        # One after the other, as each of these takes much memory.
        who = who[order]
        when = when[order]
        alpha = alpha[order]
        k = k[order]
        del order
        alpha_after, k_after = _running(who, alpha), _running(who, k) + at_start[who]

        def added(gain: Floats) -> Floats:
            total: Floats = np.cumsum(np.bincount(when, weights=gain, minlength=size + 1)[:size])
            return total

        squares = added(alpha_after**2 - (alpha_after - alpha) ** 2)
        cross = added(alpha_after * k_after - (alpha_after - alpha) * (k_after - k))
        counted = added(k_after**2 - (k_after - k) ** 2) + np.sum(at_start**2)
        return np.maximum(squares - 2.0 * self.drift * cross + self.drift**2 * counted, 0.0)

    def _list(
        self, owner: Ints, came: Floats, left: Floats, rows: Ints, index: Ints
    ) -> tuple[Ints, Ints, Floats, npt.NDArray[np.int8]]:
        """Whose, from which time on, and by how much alpha and k change: late entries, exits, events."""
        late = (came > 0) & (came < left)
        ends = late | (came <= 0)
        entered, ended = came[late], left[ends]
        moved = np.concatenate([entered, ended])
        passed = np.searchsorted(self.times, moved, side="right")
        drift = np.concatenate([[0.0], self.drift])[passed]  # G at each time, 0 before the first event
        on_event = np.concatenate([[-1.0], self.times])[passed] == moved
        drift[entered.size :] *= -1.0
        return (
            np.concatenate([owner[late], owner[ends], owner[rows]]),
            np.concatenate([passed - on_event, index]),
            np.concatenate([drift, 1.0 / self.at_risk[index]]),
            np.repeat(np.array([1, -1, 0], dtype=np.int8), [entered.size, ended.size, index.size]),
        )


def _running(who: Ints, change: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Cumulative sum of changes within each owner; rows are sorted by owner."""
    total = np.cumsum(change)
    starts = np.flatnonzero(np.diff(who, prepend=-1))
    lengths = np.diff(np.append(starts, who.size))
    return total - np.repeat(total[starts] - change[starts], lengths)
