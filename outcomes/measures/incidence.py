"""Cumulative incidence with competing causes: what mobilisation and bridging share."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.estimators.competing import CumulativeIncidence, cumulative_incidence
from outcomes.estimators.curves import StepCurve
from outcomes.estimators.proportions import proportion
from outcomes.estimators.tally import CENSORED, Tally, tally_exits
from outcomes.measures.making import Keys, early_minimum, key_of, reading_note
from outcomes.measures.values import Cases, Counted, Figure, Record

NONE_YET = "no event among the {known} whose state is known; the limits are Wilson's for that proportion"
ALL_BY_THEN = "the same in all {known} whose state is known; the limits are Wilson's for that proportion"
ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Exits:
    """Subjects of one group: observed over (entry, exit], left by ``cause`` (0: censored). One unit of
    time.
    """

    record: Record
    pks: Ints
    entry: Ints | Floats
    exit: Ints
    cause: Ints
    causes: int
    level: float

    @classmethod
    def of(
        cls,
        record: Record,
        pks: Ints,
        *,
        entry: Ints | Floats,
        exit: Ints,
        cause: Ints,
        causes: int,
        level: float,
    ) -> Exits:
        """Keep subjects seen before they left: those who had left when observation began are in no risk
        set.
        """
        seen = (entry < exit) | (entry <= 0)
        return cls(record, pks[seen], entry[seen], exit[seen], cause[seen], causes, level)

    @property
    def size(self) -> int:
        return self.exit.size

    @cached_property
    def tally(self) -> Tally:
        return tally_exits(self.exit, self.cause, entry=self.entry, causes=self.causes)

    @cached_property
    def curves(self) -> CumulativeIncidence:
        """Aalen-Johansen curves of all causes; refused by the estimator when there is no subject."""
        return cumulative_incidence(self.tally, level=self.level, minimum_at_risk=early_minimum(self.tally))

    def left_by(self, cause: int, time: float) -> Keys:
        """Who had left by the cause at the time."""
        return Keys(self.record, self.pks[(self.cause == cause) & (self.exit <= time)])

    def staying(self, time: float) -> Keys:
        """Who was still there, and followed, at the time; also who was last seen right then.

        As the curves have it, whoever is censored at a time was there when others left at it (Kaplan EL,
        Meier P, J Am Stat Assoc 1958;53:457-481, doi:10.1080/01621459.1958.10501452).
        """
        seen_then = (self.exit == time) & (self.cause == CENSORED)
        return Keys(self.record, self.pks[(self.exit > time) | seen_then])

    @cached_property
    def everybody(self) -> Keys:
        return Keys(self.record, self.pks)

    def known(self, time: float) -> Flags:
        """Followed from the origin until the time, or until a cause before it."""
        return (self.entry <= 0) & ((self.exit >= time) | (self.cause != CENSORED))


def incidence_figure(
    exits: Exits,
    *,
    measure: str,
    group: str,
    item: str,
    label: str,
    cause: int,
    day: float,
    per_day: int,
    counted: Counted,
) -> Figure:
    """Cumulative incidence of one cause at a day."""
    time = day * per_day
    some = exits.left_by(cause, time)
    curve = exits.curves.causes[cause - 1] if exits.size else None
    return Figure(
        key=key_of(measure, group, item, f"day-{day:g}"),
        measure=measure,
        label=label,
        group=group,
        unit="proportion",
        counted=counted,
        numerator=some.distinct,
        out_of=counted,
        denominator=exits.everybody.distinct,
        at_day=day,
        cases=Cases((some.cases,), (exits.everybody.cases,)),
        **_reading(exits, curve, time, per_day),
    )


def staying_figure(
    exits: Exits,
    *,
    measure: str,
    group: str,
    item: str,
    label: str,
    day: float,
    per_day: int,
    counted: Counted,
) -> Figure:
    """Share that no cause had reached at a day: 1 less the sum of all cumulative incidences."""
    time = day * per_day
    still = exits.staying(time)
    curve = exits.curves.event_free if exits.size else None
    return Figure(
        key=key_of(measure, group, item, f"day-{day:g}"),
        measure=measure,
        label=label,
        group=group,
        unit="proportion",
        counted=counted,
        numerator=still.distinct,
        out_of=counted,
        denominator=exits.everybody.distinct,
        at_day=day,
        cases=Cases((still.cases,), (exits.everybody.cases,)),
        **_reading(exits, curve, time, per_day),
    )


def _reading(exits: Exits, curve: StepCurve | None, time: float, per_day: int) -> dict[str, Any]:
    """Estimate, limits, method and note of a curve at a time.

    At 0 and 1 the curve has a limit on one side only, or one left over from the step before. Wilson's for
    nobody, or for everybody, among those whose state at that time is known stands in their place.
    """
    if curve is None:
        return {"note": f"not estimable: no {exits.record} under observation"}
    value, lower, upper, _ = curve.read(time)
    note = reading_note(curve, time, per_day=per_day)
    if value is None:
        return {"method": curve.method, "note": f"not estimable: {note}"}
    reading = {"estimate": value, "lower": lower, "upper": upper, "method": curve.method}
    certain = abs(value - round(value)) < ROUNDING
    known = int(np.count_nonzero(exits.known(time))) if certain else 0
    if known:
        found = proportion(events=round(value) * known, total=known, level=curve.level)
        reading |= {"lower": found.lower, "upper": found.upper}
        reading["method"] = f"{curve.method}; at 0 and 1: {found.method}"
        said = (NONE_YET if round(value) == curve.start else ALL_BY_THEN).format(known=known)
        note = "; ".join(part for part in (said, note) if part)
    return {**reading, "note": note}
