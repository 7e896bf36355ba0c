"""The counted form of follow-up, from which every curve and test here is computed.

Rows become counts per distinct time, so a curve costs one pass over the rows and one over the times, and
tallies of several centres or quarters add up to the tally of all their rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from outcomes.estimators.arrays import Floats, Ints
from outcomes.estimators.base import EstimatorError

CENSORED = 0
# A grid of every minute beats sorting while it is not much longer than the rows are many.
GRID_CELLS_PER_ROW = 6


@dataclass(frozen=True)
class RiskTable:
    """Counts at the ``times`` (D,) of events: ``at_risk`` (G, D) and ``events`` (G, K, D)."""

    times: Floats
    at_risk: Ints
    events: Ints


@dataclass(frozen=True, eq=False)
class Tally:
    """Entries and exits by group, cause and time.

    ``times`` (T,) distinct times in the caller's unit; ``at_origin`` (G,) rows followed from time zero;
    ``late_entries`` (G, T) rows that come under observation just after each time; ``exits`` (G, K + 1, T),
    where cause 0 is censoring; ``never_at_risk`` (G,) rows that entered late and left at that same moment,
    which belong to no risk set.
    """

    groups: tuple[str, ...]
    times: Floats
    at_origin: Ints
    late_entries: Ints
    exits: Ints
    never_at_risk: Ints

    @property
    def causes(self) -> int:
        """Number of causes K, censoring not counted."""
        return int(self.exits.shape[1]) - 1

    @cached_property
    def subjects(self) -> Ints:
        """Rows that were under observation at some time, shape (G,)."""
        subjects: Ints = self.exits.sum(axis=(1, 2))
        return subjects

    @cached_property
    def at_risk(self) -> Ints:
        """Rows under observation just before each time, entry < t <= exit, shape (G, T)."""
        change = self.late_entries - self.exits.sum(axis=1)
        at_risk: Ints = self.at_origin[:, None] + np.cumsum(change, axis=1) - change
        return at_risk

    @property
    def has_late_entries(self) -> bool:
        """Whether any row came under observation after time zero."""
        return bool(self.late_entries.any())

    def group_index(self, group: int | str) -> int:
        """Position of a group given by label or position; refuses an unknown or empty group."""
        index = self.groups.index(group) if isinstance(group, str) and group in self.groups else group
        if isinstance(index, str) or not 0 <= index < len(self.groups):
            raise EstimatorError("group", f"must be one of {', '.join(self.groups)}, or a position")
        if not self.subjects[index]:
            raise EstimatorError("group", f"has no subjects ({self.groups[index]})")
        return index

    def check_cause(self, cause: int) -> None:
        """Refuse a cause outside 1..K."""
        if not 1 <= cause <= self.causes:
            raise EstimatorError("cause", f"must lie between 1 and {self.causes}")

    def risk_table(self, group: int | None = None) -> RiskTable:
        """The times at which any cause occurs, in one group (G = 1) or in all of them on one shared axis."""
        if group not in self._risk_tables:
            chosen = slice(None) if group is None else slice(group, group + 1)
            self._risk_tables[group] = self._risk_table(chosen)
        return self._risk_tables[group]

    @cached_property
    def _risk_tables(self) -> dict[int | None, RiskTable]:
        """Those asked for so far: each curve and test of a group starts from the same one."""
        return {}

    def _risk_table(self, chosen: slice) -> RiskTable:
        events = self.exits[chosen, CENSORED + 1 :]
        happens = np.flatnonzero(events.any(axis=(0, 1)))
        # Unlike an index, take lays each row out in one piece, on which everything after this is faster.
        at_risk = np.take(self.at_risk[chosen], happens, axis=1)
        return RiskTable(self.times[happens], at_risk, np.take(events, happens, axis=2))

    def at_risk_at(self, times: npt.ArrayLike, group: int) -> Ints:
        """Rows of one group under observation just before each of the given times, shape as ``times``."""
        index = np.searchsorted(self.times, np.asarray(times, dtype=float), side="left")
        last = self.times.size - 1
        return np.where(index <= last, self.at_risk[group][np.minimum(index, last)], 0)

    def last_follow_up(self, group: int) -> float:
        """Latest exit of the group, by any cause or censored."""
        return self._last_exits[group]

    @cached_property
    def _last_exits(self) -> list[float]:
        """Latest exit of each group, -inf for a group without rows."""
        last = [np.flatnonzero(exits.any(axis=0)) for exits in self.exits]
        return [float(self.times[places[-1]]) if places.size else -np.inf for places in last]

    def settled(self, group: int) -> bool:
        """Whether all who left last left by a cause: nobody's state is unknown later, and nothing changes."""
        last = int(np.searchsorted(self.times, self.last_follow_up(group)))
        return last < self.times.size and int(self.exits[group, CENSORED, last]) == 0

    def of_causes(self, *causes: int) -> Tally:
        """The same follow-up where the given causes count together as cause 1; the rest are censored."""
        for cause in causes:
            self.check_cause(cause)
        chosen = self.exits[:, list(causes)].sum(axis=1)
        exits = np.stack([self.exits.sum(axis=1) - chosen, chosen], axis=1)
        return Tally(self.groups, self.times, self.at_origin, self.late_entries, exits, self.never_at_risk)

    def __add__(self, other: Tally) -> Tally:
        """The tally of both sets of rows, for example of two centres."""
        if self.groups != other.groups or self.causes != other.causes:
            raise EstimatorError("other", "must count the same groups and causes")
        times = np.union1d(self.times, other.times)
        return Tally(
            self.groups,
            times,
            self.at_origin + other.at_origin,
            _spread(self.late_entries, self.times, times) + _spread(other.late_entries, other.times, times),
            _spread(self.exits, self.times, times) + _spread(other.exits, other.times, times),
            self.never_at_risk + other.never_at_risk,
        )


def tally_exits(
    exit: npt.ArrayLike,
    cause: npt.ArrayLike,
    *,
    entry: npt.ArrayLike | None = None,
    group: npt.ArrayLike | None = None,
    groups: Sequence[str] = ("all",),
    causes: int | None = None,
) -> Tally:
    """Count rows of follow-up, each observed over (entry, exit].

    ``exit`` (N,) time of leaving, zero or later, in one unit for all (integer minutes are counted, other
    numbers sorted; times are the same only if equal, so do not round days before); ``cause`` (N,) 0 for
    censored or 1..``causes``; ``entry`` (N,) start of observation, where zero or less means followed from the
    origin and so at risk at time zero too; ``group`` (N,) position in ``groups``. At equal times events come
    before censorings.

    Raises EstimatorError for no rows, unequal lengths, missing numbers, a code out of range, an exit below
    zero or before its entry.
    """
    left = _times("exit", exit)
    came = np.zeros_like(left) if entry is None else _times("entry", entry, left.size)
    coded = _codes("cause", cause, left.size, None if causes is None else causes + 1)
    member = np.zeros_like(coded) if group is None else _codes("group", group, left.size, len(groups))
    if left.min() < 0:
        raise EstimatorError("exit", "must not be negative")
    if (came > left).any():
        raise EstimatorError("entry", "must not be later than exit")
    return _count(left, came, coded, member, tuple(groups), int(coded.max()) if causes is None else causes)


def _count(
    left: npt.NDArray[Any],
    came: npt.NDArray[Any],
    cause: Ints,
    group: Ints,
    groups: tuple[str, ...],
    causes: int,
) -> Tally:
    late = came > 0
    never = late & (came == left)
    never_at_risk = np.bincount(group[never], minlength=len(groups))
    if never.any():
        left, came, cause, group, late = (rows[~never] for rows in (left, came, cause, group, late))
    cells = max(causes, 1) + 1
    times, exit_index, entry_index = _time_axis(left, came[late])
    exits = _grid_counts(group * cells + cause, exit_index, len(groups) * cells, times.size)
    late_entries = _grid_counts(group[late], entry_index, len(groups), times.size)
    used = np.flatnonzero(exits.any(axis=0) | late_entries.any(axis=0))
    at_origin = np.bincount(group[~late], minlength=len(groups))
    exits = exits[:, used].reshape(len(groups), cells, used.size)
    return Tally(groups, times[used], at_origin, late_entries[:, used], exits, never_at_risk)


def _time_axis(left: npt.NDArray[Any], came: npt.NDArray[Any]) -> tuple[Floats, Ints, Ints]:
    """Times that hold every exit and late entry, and the position of each row on them."""
    longest = left.max(initial=0)
    if left.dtype.kind == "i" and came.dtype.kind == "i" and longest < GRID_CELLS_PER_ROW * left.size:
        return np.arange(longest + 1, dtype=float), left, came
    times, index = np.unique(np.concatenate([left, came]), return_inverse=True)
    return times.astype(float), index[: left.size], index[left.size :]


def _grid_counts(row: Ints, column: Ints, rows: int, columns: int) -> Ints:
    return np.bincount(row * columns + column, minlength=rows * columns).reshape(rows, columns)


def _spread(counts: Ints, times: Floats, onto: Floats) -> Ints:
    wide = np.zeros((*counts.shape[:-1], onto.size), dtype=np.int64)
    wide[..., np.searchsorted(onto, times)] = counts
    return wide


def _times(name: str, values: npt.ArrayLike, length: int | None = None) -> npt.NDArray[Any]:
    """Numbers of one row each, as int64 where they are whole by type, else as float64."""
    vector = np.asarray(values)
    vector = vector.astype(np.int64 if vector.dtype.kind in "iub" else np.float64, copy=False)
    if vector.ndim != 1 or not vector.size:
        raise EstimatorError(name, "must be one-dimensional and hold at least one row")
    if length is not None and vector.size != length:
        raise EstimatorError(name, f"must hold {length} values, one per row")
    if vector.dtype.kind == "f" and not np.isfinite(vector).all():
        raise EstimatorError(name, "must hold finite numbers only (no missing values)")
    return vector


def _codes(name: str, values: npt.ArrayLike, length: int, below: int | None) -> Ints:
    vector = _times(name, values, length)
    codes = vector.astype(np.int64, copy=False)
    if codes is not vector and (codes != vector).any():
        raise EstimatorError(name, "must hold whole numbers")
    if codes.min() < 0 or (below is not None and codes.max() >= below):
        raise EstimatorError(name, "must hold whole numbers of zero or more, none above the highest code")
    return codes
