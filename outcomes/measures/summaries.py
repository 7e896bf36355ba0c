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
from outcomes.measures.making import key_of
from outcomes.measures.values import ALL_ROUTES, CaseList, Cases, Counted, Figure, Record
from registry.choices import RouteGroup

AXILLARY, FEMORAL = (codes.ROUTES.index(route) for route in (RouteGroup.AXILLARY, RouteGroup.FEMORAL))
MEDIAN = "median with quartiles (type 7)"
NOBODY = "not estimable: recorded in none of the {counted}"


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

    def found(self, rows: Callable[[], Flags]) -> CaseList:
        """The records flagged, when asked for."""
        pks = self.pks
        return CaseList(self.record, lambda: pks[rows()])


def median_figure(item: Item, values: Floats, rows: Flags, group: str, *, part: str = "") -> Figure:
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
        cases=Cases((item.found(lambda: rows & ~np.isnan(item.values())),), (item.found(lambda: rows),)),
    )


def share_figure(
    item: Item, values: Floats, rows: Flags, group: str, *, level: float | None = None, note: str = ""
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
        cases=Cases(
            (item.found(lambda: rows & (item.values() == 1.0)),),
            (item.found(lambda: rows & ~np.isnan(item.values())),),
        ),
    )


def routes_apart(item: Item, values: Floats, rows: Flags, route: Ints, *, binary: bool) -> Figure:
    """Standardised difference of the item, axillary less femoral, among rows of these two routes."""
    known = rows & ~np.isnan(values)
    axillary, femoral = known & (route == AXILLARY), known & (route == FEMORAL)
    found = _difference(values, axillary, femoral, binary=binary)
    either = rows & ((route == AXILLARY) | (route == FEMORAL))
    value = found.value if found else None
    why = found.note if found else "a route has no recorded value"
    return Figure(
        key=key_of(item.measure, ALL_ROUTES, item.name, "difference"),
        measure=item.measure,
        label=item.head,
        group=ALL_ROUTES,
        unit="standard deviations",
        counted=item.counted,
        numerator=int(np.count_nonzero(axillary | femoral)),
        out_of=item.counted,
        denominator=int(np.count_nonzero(either)),
        estimate=value,
        method="standardised difference, pooled standard deviation" if value is not None else "",
        note=why if value is not None else f"not estimable: {why}",
        decimals=2,
        cases=Cases((item.found(lambda: either & ~np.isnan(item.values())),), (item.found(lambda: either),)),
    )


def _difference(
    values: Floats, axillary: Flags, femoral: Flags, *, binary: bool
) -> StandardisedDifference | None:
    first, second = values[axillary], values[femoral]
    if not first.size or not second.size:
        return None
    if binary:
        # The four counts stand for all rows: a share has the variance p(1 - p), whatever its rows.
        hits = float(first.sum()), float(second.sum())
        weights = [hits[0], first.size - hits[0], hits[1], second.size - hits[1]]
        return binary_difference("share", [1, 0, 1, 0], [1, 1, 0, 0], weights=weights, sd="pooled weighted")
    arms = np.repeat([1.0, 0.0], [first.size, second.size])
    return continuous_difference("value", np.concatenate([first, second]), arms)


def change_figure(
    item: Item, before: Callable[[], Floats], pairs: tuple[Floats, Floats], rows: Flags, group: str,
    *, level: float,
) -> Figure:  # fmt: skip
    """Mean difference of the rows measured twice; the item's own values are the later ones.

    ``pairs`` are both values of every row, already worked out.
    """
    first, second = pairs[0][rows], pairs[1][rows]
    paired = ~np.isnan(first) & ~np.isnan(second)
    found = mean_difference(first[paired], second[paired], level=level) if paired.any() else None
    return Figure(
        key=key_of(item.measure, group, item.name, "change"),
        measure=item.measure,
        label=item.head,
        group=group,
        unit="mean difference",
        counted=item.counted,
        numerator=int(np.count_nonzero(paired)),
        out_of=item.counted,
        denominator=first.size,
        estimate=found.value if found else None,
        lower=found.lower if found else None,
        upper=found.upper if found else None,
        method=found.method if found else "",
        note=found.note if found else "not estimable: no pair of values",
        scale=item.scale,
        decimals=item.decimals + 1,
        missing=first.size - int(np.count_nonzero(paired)),
        cases=Cases(
            (item.found(lambda: rows & ~np.isnan(before()) & ~np.isnan(item.values())),),
            (item.found(lambda: rows),),
        ),
    )
