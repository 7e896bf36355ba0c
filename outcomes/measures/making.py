"""How figures and curves are made from keys and estimates, the same way in every measure."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from outcomes.estimators.arrays import Floats, Ints
from outcomes.estimators.curves import StepCurve
from outcomes.estimators.proportions import proportion
from outcomes.estimators.rates import PER_DEVICE_DAYS, rate
from outcomes.estimators.tally import Tally
from outcomes.measures.packing import packed
from outcomes.measures.scope import ROUTE_LABELS, Scope
from outcomes.measures.values import CaseList, Cases, Counted, Curve, Figure, Record

STEPS_KEPT = 1000
FEW_AT_RISK = 5
NO_INTERVAL = "no interval: events of one patient are not independent"


@dataclass(frozen=True, eq=False)
class Keys:
    """Primary keys of records of one kind; a key that stands twice counts once.

    Equal keys stand together, as all tables of the dataset are sorted by patient and course.
    """

    record: Record
    pks: Ints

    @cached_property
    def distinct(self) -> int:
        """How many different records."""
        changes = np.count_nonzero(self.pks[1:] != self.pks[:-1])
        return int(changes) + 1 if self.pks.size else 0

    @cached_property
    def cases(self) -> CaseList:
        """The records as a list that a figure can keep."""
        return CaseList(self.record, packed(self.pks))


def key_of(measure: str, group: str, *parts: str) -> str:
    """The name of a figure or curve within a report."""
    return "/".join([measure, group, *parts])


def count_figure(
    scope: Scope,
    measure: str,
    group: str,
    item: str,
    label: str,
    keys: Keys,
    *,
    counted: Counted,
    note: str = "",
) -> Figure:
    """How many records."""
    return Figure(
        key=key_of(measure, group, item),
        measure=measure,
        label=label,
        group=group,
        unit="count",
        counted=counted,
        numerator=keys.distinct,
        note=note,
        cases=Cases((keys.cases,)),
    )


def proportion_figure(
    scope: Scope,
    measure: str,
    group: str,
    item: str,
    label: str,
    some: Keys,
    among: Keys,
    *,
    counted: Counted,
    interval: bool = True,
    note: str = "",
) -> Figure:
    """How many of how many records of one kind, with Wilson limits; all of ``some`` are in ``among``."""
    events, total = some.distinct, among.distinct
    found = proportion(events=events, total=total, level=scope.level) if total else None
    notes = [note] if note else []
    if found is None:
        notes.append(f"not estimable: no {counted} to count ({ROUTE_LABELS[group].lower()})")
    elif not interval:
        notes.append(NO_INTERVAL)
    return Figure(
        key=key_of(measure, group, item),
        measure=measure,
        label=label,
        group=group,
        unit="proportion",
        counted=counted,
        numerator=events,
        out_of=counted,
        denominator=total,
        estimate=found.value if found else None,
        lower=found.lower if found and interval else None,
        upper=found.upper if found and interval else None,
        method=found.method if found and interval else "",
        note="; ".join(notes),
        cases=Cases((some.cases,), (among.cases,)),
    )


def rate_figure(
    scope: Scope,
    measure: str,
    group: str,
    item: str,
    label: str,
    events: Keys,
    runs: Keys,
    device_days: float,
    *,
    counted: Counted = "events",
    note: str = "",
) -> Figure:
    """How many events in how many device-days, per 1,000, with exact Poisson limits."""
    found = rate(events=events.distinct, time=device_days, level=scope.level) if device_days > 0 else None
    if found is None:
        note = "; ".join([*([note] if note else []), "not estimable: no device-days in the period"])
    return Figure(
        key=key_of(measure, group, item),
        measure=measure,
        label=label,
        group=group,
        unit="per 1,000 device-days",
        counted=counted,
        numerator=events.distinct,
        out_of="device-days",
        denominator=device_days,
        estimate=found.value if found else None,
        lower=found.lower if found else None,
        upper=found.upper if found else None,
        method=f"{found.method}, per {PER_DEVICE_DAYS:,.0f}" if found else "",
        note=note,
        cases=Cases((events.cases,), (runs.cases,)),
    )


def curve_of(
    curve: StepCurve,
    *,
    key: str,
    measure: str,
    label: str,
    group: str,
    quantity: str,
    counted: Counted,
    risk_days: tuple[float, ...],
    per_day: int,
    note: str = "",
) -> Curve:
    """A curve of the estimators, with at most 1,000 of its steps; ``per_day`` of its time units are a day."""
    kept = _kept_steps(curve.times)
    notes = [part for part in (reading_note(curve, 0.0, per_day=per_day), note) if part]
    if kept.size < curve.times.size:
        notes.append(f"{kept.size} of {curve.times.size} steps drawn, each with its exact value")
    return Curve(
        key=key,
        measure=measure,
        label=label,
        group=group,
        quantity=quantity,  # type: ignore[arg-type]
        counted=counted,
        subjects=curve.subjects,
        start=curve.start,
        days=tuple((curve.times[kept] / per_day).tolist()),
        estimate=tuple(curve.values[kept].tolist()),
        lower=_or_none(curve.lower[kept]),
        upper=_or_none(curve.upper[kept]),
        at_risk=tuple(curve.at_risk[kept].tolist()),
        risk_days=risk_days,
        risk_counts=tuple(curve.tally.at_risk_at(np.array(risk_days) * per_day, curve.group).tolist()),
        last_day=curve.last_follow_up / per_day,
        method=curve.method,
        note="; ".join(notes),
    )


def early_minimum(tally: Tally) -> int:
    """Smallest early risk set that a curve uses: 5 with delayed entry, where one or two at risk could settle
    it for good; 0 without, or where never as many are at risk at an event."""
    at_risk = tally.risk_table(0).at_risk
    return FEW_AT_RISK if tally.has_late_entries and at_risk.max(initial=0) >= FEW_AT_RISK else 0


def reading_note(curve: StepCurve, time: float, *, per_day: int) -> str:
    """What limits a reading of the curve at a time, said in days; empty if nothing does."""
    notes = []
    if curve.starts_at is not None:
        notes.append(
            f"fewer than {curve.minimum_at_risk} at risk until day {curve.starts_at / per_day:.3g}; "
            "the curve starts there"
        )
    if time > curve.last_follow_up and not curve.settled:
        notes.append(
            f"nobody was followed that long; the value is that of day {curve.last_follow_up / per_day:.3g}"
        )
    return "; ".join(notes)


def _kept_steps(times: Floats) -> Ints:
    """Positions of the steps drawn: all, or the last one in each of 1,000 equal stretches of time."""
    if times.size <= STEPS_KEPT:
        return np.arange(times.size)
    stretch = np.minimum(times / times[-1] * STEPS_KEPT, STEPS_KEPT - 1).astype(np.int64)
    return np.flatnonzero(np.append(np.diff(stretch) > 0, True))


def _or_none(values: Floats) -> tuple[float | None, ...]:
    known = np.isfinite(values)
    if known.all():
        return tuple(values.tolist())
    return tuple(value if there else None for value, there in zip(values.tolist(), known, strict=True))
