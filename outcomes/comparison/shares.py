"""Counts of rows made into values that open to their cases."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from outcomes.comparison.units import Units
from outcomes.comparison.value import ARMS, HIDDEN, Contrast, Share
from outcomes.estimators.arrays import Flags, Ints
from outcomes.estimators.base import Estimate
from outcomes.estimators.proportions import wilson_limits
from outcomes.estimators.rates import PER_DEVICE_DAYS, garwood_limits
from outcomes.measures.values import CaseList, Cases, Record

PLAIN_COUNT = "count"


def arm_code(axillary: bool) -> str:
    """Route group of an arm."""
    return ARMS[0] if axillary else ARMS[1]


def pk_cases(record: Record, pks: Ints) -> CaseList:
    """A list of records by their keys."""
    return CaseList(record, lambda: pks)


def plain_share(key: str, units: Units, hit: Flags, among: Flags, *, axillary: bool) -> Share:
    """The rows of one arm that have something, among those that could, without limits."""
    arm = units.arm(axillary) & among
    some = arm & hit
    total, hits = int(np.count_nonzero(arm)), int(np.count_nonzero(some))
    return Share(
        key=f"{key}/{arm_code(axillary)}",
        arm=arm_code(axillary),
        hits=hits,
        total=total,
        value=hits / total if total else None,
        note="" if total else f"no {units.words} to count",
        cases=Cases(
            (CaseList(units.record, lambda: units.pks[some]),),
            (CaseList(units.record, lambda: units.pks[arm]),),
        ),
    )


def share(key: str, units: Units, hit: Flags, among: Flags, *, axillary: bool, level: float) -> Share:
    """The same with Wilson limits."""
    return limited([plain_share(key, units, hit, among, axillary=axillary)], level)[0]


def both_plain(key: str, units: Units, hit: Flags, among: Flags) -> tuple[Share, Share]:
    """The share in the axillary and in the femoral arm, without limits."""
    return (
        plain_share(key, units, hit, among, axillary=True),
        plain_share(key, units, hit, among, axillary=False),
    )


def both_arms(key: str, units: Units, hit: Flags, among: Flags, level: float) -> tuple[Share, Share]:
    """The same with Wilson limits."""
    axillary, femoral = limited(both_plain(key, units, hit, among), level)
    return axillary, femoral


def limited(shares: Sequence[Share], level: float) -> list[Share]:
    """Shares with Wilson limits, all worked out at once; an empty arm has none."""
    lower, upper = wilson_limits(
        [share.hits or 0 for share in shares], [share.total or 1 for share in shares], level
    )
    return [
        replace(share, lower=low, upper=high, method="Wilson") if share.total else share
        for share, low, high in zip(shares, lower.tolist(), upper.tolist(), strict=True)
    ]


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


def rate_share(key: str, units: Units, events: Ints, days: float, *, axillary: bool) -> Share:
    """Events of one arm per 1,000 device-days, without limits; ``events`` are their keys."""
    arm = units.arm(axillary)
    return Share(
        key=f"{key}/{arm_code(axillary)}",
        arm=arm_code(axillary),
        hits=int(events.size),
        total=days,
        value=events.size / days * PER_DEVICE_DAYS if days > 0 else None,
        note="" if days > 0 else "no device-days in this stretch of time",
        cases=Cases((pk_cases("events", events),), (CaseList(units.record, lambda: units.pks[arm]),)),
    )


def limited_rates(shares: Sequence[Share], level: float) -> list[Share]:
    """Rates with exact limits, all worked out at once."""
    lower, upper = garwood_limits(
        [share.hits or 0 for share in shares], [share.total or 1.0 for share in shares], level
    )
    method = f"exact (Garwood), per {PER_DEVICE_DAYS:,.0f} device-days"
    return [
        replace(share, lower=low * PER_DEVICE_DAYS, upper=high * PER_DEVICE_DAYS, method=method)
        if share.total
        else share
        for share, low, high in zip(shares, lower.tolist(), upper.tolist(), strict=True)
    ]


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
