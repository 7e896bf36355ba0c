"""Share of patients in each state over time, for example femoral, axillary and the ways out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from outcomes.estimators.arrays import Floats, Ints, finite_vector
from outcomes.estimators.base import EstimatorError
from outcomes.estimators.curves import Transform, probability_limits
from outcomes.estimators.tally import Tally

SUMS_TO_ONE = 1e-9


@dataclass(frozen=True, kw_only=True, eq=False)
class StateOccupancy:
    """Probabilities of ``states`` before the first of ``times``, ``initial`` (S,), and from each on, (D, S).

    ``std_error``, limits and ``at_risk`` have shape (D, S); ``transitions`` (D, S, S) go from row to column.
    """

    tally: Tally
    states: tuple[str, ...]
    initial: Floats
    times: Floats
    probability: Floats
    std_error: Floats
    lower: Floats
    upper: Floats
    at_risk: Ints
    transitions: Ints
    level: float
    method: str

    def at(self, time: float) -> Floats:
        """Probability of each state at one time, shape (S,); it stays as it was after the last transition."""
        index = int(np.searchsorted(self.times, time, side="right"))
        return self.probability[index - 1] if index else self.initial


def state_occupancy(
    tally: Tally,
    *,
    initial: npt.ArrayLike | None = None,
    level: float = 0.95,
    transform: Transform = "log-log",
) -> StateOccupancy:
    """Aalen-Johansen matrix estimate of state occupancy, with delayed entry and repeated visits.

    In the tally each row is one stay: its group is the state stayed in, and cause j means that it ended by
    entering ``tally.groups[j - 1]`` (0: still there when last seen). States that nobody leaves still need a
    label. ``initial`` (S,) are the probabilities at time zero; by default the shares of those followed from
    the origin, whose sampling error then counts in the standard errors. The occupancy stays right when the
    past matters, as long as censoring does not depend on the state; the standard errors do assume that only
    the present state matters.

    Raises EstimatorError when the tally has more causes than groups, when ``initial`` is no distribution, or
    when nobody is followed from the origin and it is not given.

    Source: Aalen and Johansen, Scand J Stat 1978;5:141-150; Datta and Satten, Stat Probab Lett
    2001;55:403-411, doi 10.1016/S0167-7152(01)00155-9; variance: Andersen, Borgan, Gill and Keiding,
    Statistical Models Based on Counting Processes 1993, section IV.4.1, doi 10.1007/978-1-4612-4348-9.
    """
    size = len(tally.groups)
    if tally.causes > size:
        raise EstimatorError("tally", "has more causes than groups; cause j means entering state j")
    table = tally.risk_table()
    moves = np.zeros((table.times.size, size, size), dtype=np.int64)
    moves[:, :, : tally.causes] = table.events.transpose(2, 0, 1)
    start, covariance = _initial(tally, initial)
    probability, std_error = _multiply_out(start, covariance, table.at_risk.T, moves)
    lower, upper = probability_limits(probability, std_error, level=level, transform=transform)
    return StateOccupancy(
        tally=tally,
        states=tally.groups,
        initial=start,
        times=table.times,
        probability=probability,
        std_error=std_error,
        lower=lower,
        upper=upper,
        at_risk=table.at_risk.T,
        transitions=moves,
        level=level,
        method=f"Aalen-Johansen state occupancy, Greenwood-type variance, {transform} limits",
    )


def _initial(tally: Tally, given: npt.ArrayLike | None) -> tuple[Floats, Floats]:
    """Probabilities at time zero and the covariance of their estimate."""
    size = len(tally.groups)
    if given is not None:
        start = finite_vector("initial", given, length=size)
        if (start < 0.0).any() or abs(start.sum() - 1.0) > SUMS_TO_ONE:
            raise EstimatorError("initial", "must be probabilities that sum to 1")
        return start, np.zeros((size, size))
    total = tally.at_origin.sum()
    if not total:
        raise EstimatorError("initial", "must be given when nobody is followed from the origin")
    start = tally.at_origin / total
    return start, _multinomial(start) / total


def _multiply_out(start: Floats, covariance: Floats, at_risk: Ints, moves: Ints) -> tuple[Floats, Floats]:
    """Carry the occupancy and its covariance through each transition matrix."""
    present = np.maximum(at_risk, 1)
    steps = moves / present[:, :, None]
    diagonal = np.arange(start.size)
    steps[:, diagonal, diagonal] += 1.0 - steps.sum(axis=2)
    probability, variance = np.empty(at_risk.shape), np.empty(at_risk.shape)
    now = start
    for index, step in enumerate(steps):
        covariance = step.T @ covariance @ step
        for state in np.flatnonzero(moves[index].any(axis=1)):
            covariance = covariance + now[state] ** 2 * _multinomial(step[state]) / present[index, state]
        now = now @ step
        probability[index], variance[index] = now, np.diag(covariance)
    return probability, np.sqrt(np.maximum(variance, 0.0))


def _multinomial(shares: Floats) -> Floats:
    """Covariance of one draw from the given shares."""
    return np.diag(shares) - np.outer(shares, shares)
