"""Patients at the start, by the route of the first run, with standardised differences and no p-values."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from outcomes.estimators.arrays import Floats, Ints
from outcomes.measures.base import CONVENTION, Measure
from outcomes.measures.characteristics import SHOWN, Characteristic, Starts
from outcomes.measures.scope import Scope
from outcomes.measures.summaries import Item, arranged, median_figure, routes_apart, share_figure
from outcomes.measures.values import Figure, Findings

AUSTIN = "Austin PC, Stat Med 2009;28:3083-3107, doi:10.1002/sim.3697"


@dataclass(frozen=True, eq=False)
class Starting:
    """The courses analysed, at their first insertion."""

    scope: Scope

    @cached_property
    def _arranged(self) -> tuple[Ints, dict[str, slice]]:
        return arranged(self.scope, self.scope.analysed, self.scope.dataset.courses.route)

    @cached_property
    def starts(self) -> Starts:
        courses, clinical = self.scope.dataset.courses, self.scope.dataset.clinical
        chosen, _ = self._arranged
        return Starts(
            facts=clinical.course,
            courses=courses,
            course=chosen,
            started=courses.began[chosen],
            urgency=clinical.run["urgency"][courses.first_run[chosen]],
        )

    @property
    def groups(self) -> dict[str, slice]:
        """Where the courses of each route group stand among these."""
        return self._arranged[1]

    def item(self, name: str, label: str, values: Callable[[], Floats], of: Characteristic) -> Item:
        return Item("baseline", name, label, "courses", self._pks, values, of.unit, of.decimals)

    @cached_property
    def _pks(self) -> Ints:
        return self.scope.dataset.courses.pk[self.starts.course]


def baseline(scope: Scope) -> Findings:
    """Every characteristic; of those with levels, the levels that occur."""
    starting = Starting(scope)
    return Findings(tuple(figure for shown in SHOWN for figure in _figures(starting, shown)))


def _figures(starting: Starting, shown: Characteristic) -> Iterator[Figure]:
    values = shown.values(starting.starts)
    if shown.kind == "categorical":
        for level in np.unique(values[~np.isnan(values)]).astype(int).tolist():
            yield from _level(starting, shown, values, level)
        return
    item = starting.item(shown.name, shown.label, lambda: shown.values(starting.starts), shown)
    yield from _compared(starting, item, values, binary=shown.kind == "binary")


def _level(starting: Starting, shown: Characteristic, values: Floats, level: int) -> Iterator[Figure]:
    def is_level(codes: Floats) -> Floats:
        return np.where(np.isnan(codes), np.nan, codes == level)

    item = starting.item(
        f"{shown.name}/{shown.level_codes[level]}",
        f"{shown.label}: {shown.levels[level]}",
        lambda: is_level(shown.values(starting.starts)),
        shown,
    )
    yield from _compared(starting, item, is_level(values), binary=True)


def _compared(starting: Starting, item: Item, values: Floats, *, binary: bool) -> Iterator[Figure]:
    for group, rows in starting.groups.items():
        yield (share_figure if binary else median_figure)(item, values, rows, group)
    yield routes_apart(item, values, starting.groups, binary=binary)


BASELINE = Measure(
    id="baseline",
    title="Patients at the start",
    counted="courses",
    basis="begun in the period",
    who_counts="courses begun in the period with a balloon pump, by the route of the first run",
    what_counts="median with quartiles of what is measured; share of the courses in which it is recorded",
    time_zero="first insertion; age in whole years, from the year of birth",
    censoring="none: as known at the start; those without a value are counted as missing, not filled in",
    estimator=(
        "outcomes.estimators.order.quartiles; outcomes.estimators.balance.continuous_difference, "
        "binary_difference"
    ),
    unit="of each characteristic; standard deviations for the difference",
    definition=(
        "Who was treated by which route: derived as in the comparison of the routes. A standardised "
        "difference is axillary less femoral, in pooled standard deviations; beyond 0.1 either way the "
        "routes are commonly called unlike. There are no p-values, as routes are chosen and not drawn by "
        "lot. A cause entered as unknown is missing."
    ),
    source=f"{CONVENTION}; {AUSTIN}",
    compute=baseline,
)
MEASURES = (BASELINE,)
