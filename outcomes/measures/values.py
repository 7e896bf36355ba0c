"""What a measure yields: figures that open to their cases, curves, and what was left out. All frozen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np

from outcomes.estimators.arrays import Ints

Record = Literal["patients", "courses", "runs", "events", "failed attempts", "candidates", "films"]
Counted = Record | Literal["device-days", "cases", "spells"]
Unit = Literal[
    "count",
    "proportion",
    "per 1,000 device-days",
    "per 100 patients",
    "days",
    "device-days",
    "events per run",
    "median",
    "mean difference",
    "standard deviations",
]
Treatment = Literal["left out", "kept, censored", "counted apart"]

ALL_ROUTES = "ALL"
NOBODY = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, eq=False)
class CaseList:
    """Primary keys of records of one kind, worked out when first asked for."""

    record: Record
    find: Callable[[], Ints] = field(repr=False)

    @cached_property
    def pks(self) -> tuple[int, ...]:
        """The keys, each once, in ascending order."""
        return tuple(np.unique(self.find()).tolist())


@dataclass(frozen=True, eq=False)
class Cases:
    """The records behind a figure: those in its numerator, and those in its denominator."""

    numerator: tuple[CaseList, ...] = ()
    denominator: tuple[CaseList, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One number with everything a reader must know about it.

    ``key`` names it once in a report. ``group`` is a route group's code, or ALL. ``estimate``, ``lower``
    and ``upper`` are in ``unit`` (a proportion lies between 0 and 1); None means not estimable, and
    ``note`` says why. ``numerator`` counts ``counted``, ``denominator`` counts ``out_of``. ``at_day`` is
    set for readings of a curve.

    Values that were measured have a ``scale``, such as mmHg, and the ``decimals`` to print. Of a median
    ``lower`` and ``upper`` are the quartiles, which are no limits. ``missing`` counts those without a value,
    where that is not the rest of the denominator.
    """

    key: str
    measure: str
    label: str
    group: str
    unit: Unit
    counted: Counted
    numerator: float | None
    out_of: Counted | None = None
    denominator: float | None = None
    estimate: float | None = None
    lower: float | None = None
    upper: float | None = None
    at_day: float | None = None
    method: str = ""
    note: str = ""
    scale: str = ""
    decimals: int | None = None
    missing: int | None = None
    cases: Cases = field(default_factory=Cases, repr=False, compare=False)


@dataclass(frozen=True, kw_only=True)
class Curve:
    """A step curve in days: ``start`` until the first of ``days``, flat up to ``last_day`` after the last
    one.

    ``risk_days`` and ``risk_counts`` give the numbers under observation just before fixed days. A limit is
    None where the method gives none.
    """

    key: str
    measure: str
    label: str
    group: str
    quantity: Literal["still in place", "cumulative incidence", "mean events per run", "alive"]
    counted: Counted
    subjects: int
    start: float
    days: tuple[float, ...]
    estimate: tuple[float, ...]
    lower: tuple[float | None, ...]
    upper: tuple[float | None, ...]
    at_risk: tuple[int, ...]
    risk_days: tuple[float, ...]
    risk_counts: tuple[int, ...]
    last_day: float
    method: str
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """Records that a reader must know of: left out, or kept but censored, or counted apart; and why."""

    key: str
    reason: str
    treatment: Treatment
    counted: Counted
    count: int
    cases: CaseList = field(repr=False, compare=False)


@dataclass(frozen=True)
class Findings:
    """What one measure found in one scope."""

    figures: tuple[Figure, ...] = ()
    curves: tuple[Curve, ...] = ()
