"""Counts of rows made into values that open to their cases."""

from __future__ import annotations

from dataclasses import replace

from outcomes.comparison.units import Units
from outcomes.comparison.value import ARMS, HIDDEN, Contrast, Share
from outcomes.estimators.arrays import Flags, Ints
from outcomes.estimators.base import Estimate
from outcomes.estimators.proportions import proportion
from outcomes.estimators.rates import PER_DEVICE_DAYS, rate
from outcomes.measures.values import CaseList, Cases, Record

PLAIN_COUNT = "count"


def arm_code(axillary: bool) -> str:
    """Route group of an arm."""
    return ARMS[0] if axillary else ARMS[1]


def pk_cases(record: Record, pks: Ints) -> CaseList:
    """A list of records by their keys."""
    return CaseList(record, lambda: pks)


def share(key: str, units: Units, hit: Flags, among: Flags, *, axillary: bool, level: float) -> Share:
    """The rows of one arm that have something, among those that could, with Wilson limits."""
    arm = units.arm(axillary) & among
    some = arm & hit
    total, hits = int(arm.sum()), int(some.sum())
    found = proportion(events=hits, total=total, level=level) if total else None
    return Share(
        key=f"{key}/{arm_code(axillary)}",
        arm=arm_code(axillary),
        hits=hits,
        total=total,
        value=found.value if found else None,
        lower=found.lower if found else None,
        upper=found.upper if found else None,
        method=found.method if found else "",
        note="" if found else f"no {units.words} to count",
        cases=Cases((pk_cases(units.record, units.pks[some]),), (pk_cases(units.record, units.pks[arm]),)),
    )


def both_arms(key: str, units: Units, hit: Flags, among: Flags, level: float) -> tuple[Share, Share]:
    """The share in the axillary and in the femoral arm."""
    return (
        share(key, units, hit, among, axillary=True, level=level),
        share(key, units, hit, among, axillary=False, level=level),
    )


def counted(key: str, record: Record, pks: Ints, *, arm: str = "", out_of: int | None = None) -> Share:
    """A plain count of records, out of a number if one is given."""
    hits = int(pks.size)
    return Share(
        key=key,
        arm=arm,
        hits=hits,
        total=out_of,
        value=hits / out_of if out_of else None,
        method=PLAIN_COUNT,
        cases=Cases((pk_cases(record, pks),)),
    )


def rate_share(key: str, units: Units, events: Ints, days: float, *, axillary: bool, level: float) -> Share:
    """Events of one arm per 1,000 device-days, with exact limits; ``events`` are their keys."""
    found = rate(events=int(events.size), time=days, level=level) if days > 0 else None
    arm = units.arm(axillary)
    return Share(
        key=f"{key}/{arm_code(axillary)}",
        arm=arm_code(axillary),
        hits=int(events.size),
        total=days,
        value=found.value if found else None,
        lower=found.lower if found else None,
        upper=found.upper if found else None,
        method=f"{found.method}, per {PER_DEVICE_DAYS:,.0f} device-days" if found else "",
        note="" if found else "no device-days in this stretch of time",
        cases=Cases((pk_cases("events", events),), (pk_cases(units.record, units.pks[arm]),)),
    )


def contrast(measure: str, found: Estimate) -> Contrast:
    """An estimate of the engine as a contrast of the arms."""
    return Contrast(
        measure=measure,
        value=found.value,
        lower=found.lower,
        upper=found.upper,
        method=found.method,
        note=found.note,
    )


def no_contrast(measure: str, note: str) -> Contrast:
    """A contrast that is not given, and why."""
    return Contrast(measure=measure, value=None, lower=None, upper=None, note=note)


def hidden_share(share: Share) -> Share:
    """The same share without any number."""
    return replace(share, hits=None, total=None, value=None, lower=None, upper=None, method="", note=HIDDEN)
