"""Figures of what was measured in each row: medians, shares of those recorded, differences within pairs and
between routes. Each says how many rows have no value.

Values are worked out again when a figure is opened to its cases, as keeping the keys of every characteristic
would take more memory than all other figures together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from outcomes.dataset import codes
from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.estimators.balance import StandardisedDifference, binary_difference, continuous_difference
from outcomes.estimators.order import quartiles
from outcomes.estimators.paired import mean_difference
from outcomes.estimators.proportions import proportion
from outcomes.measures.characteristics import recorded
from outcomes.measures.making import key_of
from outcomes.measures.scope import Scope
from outcomes.measures.values import ALL_ROUTES, CaseList, Cases, Counted, Figure, Record
from registry.choices import RouteGroup

MEDIAN = "median with quartiles (type 7)"
NOBODY = "not estimable: recorded in none of the {counted}"

Arranged = tuple[Ints, dict[str, slice]]


@dataclass(frozen=True, eq=False)
class Item:
    """What is described: ``values`` gives one number for each of the ``pks``, NaN where not recorded."""

    measure: str
    name: str
    label: str
    record: Record
    pks: Ints
    values: Callable[[], Floats]
    scale: str = ""
    decimals: int = 0

    @property
    def counted(self) -> Counted:
        return self.record

    @property
    def head(self) -> str:
        """The label with its unit."""
        return f"{self.label}, {self.scale}" if self.scale else self.label

    def found(self, group: slice, has: Callable[[Floats], Flags] | None = None) -> CaseList:
        """The records of a group, or those whose value is as asked; worked out when the list is opened."""
        pks, values = self.pks[group], self.values
        return CaseList(self.record, lambda: pks if has is None else pks[has(values()[group])])


def arranged(scope: Scope, rows: Flags, route: Ints) -> Arranged:
    """Positions of the rows ordered by route, and the stretch of each route group."""
    chosen = np.flatnonzero(rows)
    chosen = chosen[np.argsort(route[chosen], kind="stable")]
    edges = np.searchsorted(route[chosen], np.arange(len(codes.ROUTES) + 1)).tolist()
    stretches = {code.value: slice(edges[k], edges[k + 1]) for k, code in enumerate(codes.ROUTES)}
    return chosen, {group: stretches.get(group, slice(None)) for group in scope.groups}


def _hits(values: Floats) -> Flags:
    return np.asarray(values == 1.0)


def median_figure(item: Item, values: Floats, rows: slice, group: str, *, part: str = "") -> Figure:
    """Median and quartiles of the rows that have a value; ``values`` are the item's own, already worked out.

    ``part`` distinguishes several medians of one item.
    """
    here = values[rows]
    known = here[~np.isnan(here)]
    found = quartiles(known) if known.size else None
    return Figure(
        key=key_of(item.measure, group, item.name, *([part] if part else [])),
        measure=item.measure,
        label=item.head,
        group=group,
        unit="median",
        counted=item.counted,
        numerator=known.size,
        out_of=item.counted,
        denominator=here.size,
        estimate=found.median if found else None,
        lower=found.first if found else None,
        upper=found.third if found else None,
        method=MEDIAN if found else "",
        note="" if found else NOBODY.format(counted=item.counted),
        scale=item.scale,
        decimals=item.decimals,
        missing=here.size - known.size,
        cases=Cases((item.found(rows, recorded),), (item.found(rows),)),
    )


def share_figure(
    item: Item, values: Floats, rows: slice, group: str, *, level: float | None = None, note: str = ""
) -> Figure:
    """Share of 1 among the rows that have a value, 0 or 1; Wilson limits at ``level``, or none."""
    here = values[rows]
    known, hits = int(np.count_nonzero(~np.isnan(here))), int(np.count_nonzero(here == 1.0))
    limits = proportion(events=hits, total=known, level=level) if known and level is not None else None
    absent = "" if known else NOBODY.format(counted=item.counted)
    return Figure(
        key=key_of(item.measure, group, item.name),
        measure=item.measure,
        label=item.head,
        group=group,
        unit="proportion",
        counted=item.counted,
        numerator=hits,
        out_of=item.counted,
        denominator=known,
        estimate=hits / known if known else None,
        lower=limits.lower if limits else None,
        upper=limits.upper if limits else None,
        method=limits.method if limits else "",
        note="; ".join(part for part in (note, absent) if part),
        missing=here.size - known,
        cases=Cases((item.found(rows, _hits),), (item.found(rows, recorded),)),
    )


def routes_apart(item: Item, values: Floats, groups: dict[str, slice], *, binary: bool) -> Figure:
    """Standardised difference of the item, axillary less femoral."""
    axillary, femoral = (groups[route] for route in (RouteGroup.AXILLARY, RouteGroup.FEMORAL))
    first, second = (here[recorded(here)] for here in (values[axillary], values[femoral]))
    either = slice(axillary.start, femoral.stop)  # the two stand side by side
    found = _difference(first, second, binary=binary) if first.size and second.size else None
    value = found.value if found else None
    why = found.note if found else "a route has no recorded value"
    return Figure(
        key=key_of(item.measure, ALL_ROUTES, item.name, "difference"),
        measure=item.measure,
        label=item.head,
        group=ALL_ROUTES,
        unit="standard deviations",
        counted=item.counted,
        numerator=first.size + second.size,
        out_of=item.counted,
        denominator=femoral.stop - axillary.start,
        estimate=value,
        method="standardised difference, pooled standard deviation" if value is not None else "",
        note=why if value is not None else f"not estimable: {why}",
        decimals=2,
        cases=Cases((item.found(either, recorded),), (item.found(either),)),
    )


def _difference(axillary: Floats, femoral: Floats, *, binary: bool) -> StandardisedDifference:
    if binary:
        # The four counts stand for all rows: a share has the variance p(1 - p), whatever its rows.
        hits = float(axillary.sum()), float(femoral.sum())
        weights = [hits[0], axillary.size - hits[0], hits[1], femoral.size - hits[1]]
        return binary_difference("share", [1, 0, 1, 0], [1, 1, 0, 0], weights=weights, sd="pooled weighted")
    arms = np.repeat([1.0, 0.0], [axillary.size, femoral.size])
    return continuous_difference("value", np.concatenate([axillary, femoral]), arms)


def change_figure(
    item: Item, pairs: tuple[Floats, Floats], rows: slice, group: str, *, level: float
) -> Figure:
    """Mean difference of those measured twice. ``pairs`` are both values of every row, NaN unless both are
    known; the item's own are the later ones.
    """
    first, second = (values[rows] for values in pairs)
    paired = recorded(second)
    count = int(np.count_nonzero(paired))
    found = mean_difference(first[paired], second[paired], level=level) if count else None
    return Figure(
        key=key_of(item.measure, group, item.name, "change"),
        measure=item.measure,
        label=item.head,
        group=group,
        unit="mean difference",
        counted=item.counted,
        numerator=count,
        out_of=item.counted,
        denominator=first.size,
        estimate=found.value if found else None,
        lower=found.lower if found else None,
        upper=found.upper if found else None,
        method=found.method if found else "",
        note=found.note if found else "not estimable: no pair of values",
        scale=item.scale,
        decimals=item.decimals + 1,
        missing=first.size - count,
        cases=Cases((item.found(rows, recorded),), (item.found(rows),)),
    )
