"""A measure: its definition for people, and the function that computes it, in one place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from outcomes.measures.scope import Scope
from outcomes.measures.values import Counted, Findings

Basis = Literal["begun in the period", "in place in the period", "considered in the period"]
CONVENTION = "project convention"

WILSON = "Wilson EB, J Am Stat Assoc 1927;22:209-212, doi:10.1080/01621459.1927.10502953"
GARWOOD = "Garwood F, Biometrika 1936;28:437-442, doi:10.1093/biomet/28.3-4.437"
AALEN_JOHANSEN = "Aalen OO, Johansen S, Scand J Stat 1978;5:141-150"
KAPLAN_MEIER = "Kaplan EL, Meier P, J Am Stat Assoc 1958;53:457-481, doi:10.1080/01621459.1958.10501452"
LAWLESS_NADEAU = "Lawless JF, Nadeau C, Technometrics 1995;37:158-168, doi:10.1080/00401706.1995.10484300"

SUPPORT_END = (
    "A course without an outcome is censored at the data cut, or at its last removal if all devices are out."
)
RUN_END = (
    "Runs still in place are censored at the data cut; a run without removal in a course that has its "
    "outcome is censored at the outcome and listed."
)
IN_PLACE = (
    "patients with a balloon pump by the route in place at some time in the period, each run counted from "
    "insertion (a transfer in: from arrival) to 24 h after removal, or to death on support if that is sooner"
)


@dataclass(frozen=True, kw_only=True)
class Measure:
    """One measure of the quarter, as a reader may ask about it."""

    id: str
    title: str
    counted: Counted
    basis: Basis
    who_counts: str
    what_counts: str
    time_zero: str
    censoring: str
    estimator: str
    unit: str
    definition: str
    source: str = CONVENTION
    compute: Callable[[Scope], Findings] = field(repr=False, compare=False)
