"""Rules that say when a control chart's points are unlike its baseline.

Western Electric Company. Statistical quality control handbook. 1956 (beyond limit, two of three, four of
five, run of eight).
Nelson LS. J Qual Technol 1984;16:238-239, "The Shewhart control chart - tests for special causes",
doi:10.1080/00224065.1984.11978921 (six in a row).
Benneyan JC. Health Care Manag Sci 2001;4:305-318, "Number-between g-type statistical quality control charts
for monitoring adverse events", doi:10.1023/A:1011846412909 (run of zeros).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.estimators.base import EstimatorError

Side = Literal["above", "below"]
Rule = Literal["beyond limit", "run of eight", "two of three", "four of five", "six in a row", "run of zeros"]
DEFAULT_RULES: tuple[Rule, ...] = ("beyond limit", "run of eight")

_ROUNDING = 1e-9
# How many sigmas from the centre a point must lie, how many such points, among how many.
_ZONES: dict[Rule, tuple[float, int, int]] = {
    "run of eight": (0.0, 8, 8),
    "two of three": (2.0, 2, 3),
    "four of five": (1.0, 4, 5),
}


@dataclass(frozen=True, kw_only=True)
class Signal:
    """At point ``last`` the rule is met by points ``first`` to ``last`` (positions from 0), on one side.

    A run that goes on signals again at each further point.
    """

    rule: Rule
    first: int
    last: int
    side: Side


@dataclass(frozen=True, eq=False)
class Series:
    """Plotted values with their limits and their distance from the centre in sigmas, shape (N,) each.

    NaN throughout marks a period without exposure. ``zeros_to_signal`` is for charts of gaps only.
    """

    values: Floats
    lower: Floats
    upper: Floats
    scores: Floats
    zeros_to_signal: int | None = None


def chosen_rules(rules: Collection[Rule]) -> tuple[Rule, ...]:
    """The rules in their usual order; raises EstimatorError for an unknown one."""
    if not set(rules) <= set(get_args(Rule)):
        raise EstimatorError("rules", "must be among " + ", ".join(get_args(Rule)))
    return tuple(rule for rule in get_args(Rule) if rule in rules)


def find_signals(series: Series, rules: Collection[Rule]) -> tuple[Signal, ...]:
    """All signals, rule by rule. Periods without exposure are passed over and do not break a run."""
    return tuple(signal for rule in chosen_rules(rules) for signal in _signals(rule, series))


def _signals(rule: Rule, series: Series) -> Iterator[Signal]:
    places = np.flatnonzero(~np.isnan(series.values))
    for side, sign in _SIDES:
        met, needed, window = _condition(rule, side, sign, series, places)
        # A trend of six points is five rises, so it begins one point before its first rise.
        reach = window if rule == "six in a row" else window - 1
        for end in _ends(met, needed, window):
            first, last = int(places[max(0, end - reach)]), int(places[end])
            yield Signal(rule=rule, first=first, last=last, side=side)


_SIDES: tuple[tuple[Side, float], ...] = (("above", 1.0), ("below", -1.0))


def _condition(rule: Rule, side: Side, sign: float, series: Series, places: Ints) -> tuple[Flags, int, int]:
    """Which points count on this side, how many must, and among how many."""
    if rule == "beyond limit":
        return _beyond(series, side)[places], 1, 1
    if rule == "run of zeros":
        zeros = (series.values[places] == 0.0) & (side == "below")
        length = series.zeros_to_signal or places.size + 1
        return zeros, length, length
    scores = sign * series.scores[places]
    if rule == "six in a row":
        values = sign * series.values[places]
        return np.diff(values, prepend=values[:1]) > _ROUNDING, 5, 5
    distance, needed, window = _ZONES[rule]
    return scores > distance + _ROUNDING, needed, window


def _beyond(series: Series, side: Side) -> Flags:
    if side == "above":
        return series.values > series.upper + _ROUNDING * np.maximum(1.0, np.abs(series.upper))
    return series.values < series.lower - _ROUNDING * np.maximum(1.0, np.abs(series.lower))


def _ends(met: Flags, needed: int, window: int) -> list[int]:
    """Positions that count themselves and complete ``needed`` among the last ``window`` points."""
    padded = np.concatenate([np.zeros(window, dtype=np.int64), np.cumsum(met)])
    within = padded[window:] - padded[: met.size]
    return [int(end) for end in np.flatnonzero(met & (within >= needed))]
