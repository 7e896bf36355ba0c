"""Characteristics at the start: what the baseline table shows, and what the propensity model may use.

They are derived in ``outcomes.measures.characteristics``, for the rows of whichever view is compared. Only
what was known before the route was chosen. A value of NaN is not recorded.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from outcomes.comparison.filters import level_of
from outcomes.comparison.units import Programme, Units, start_years
from outcomes.dataset import codes
from outcomes.estimators.arrays import Floats
from outcomes.measures import characteristics
from outcomes.measures.characteristics import Characteristic, Kind, Starts, fact, is_among, recorded
from registry.choices import Intent, ShockStage, Urgency

__all__ = ["COVARIATES", "DECIDING", "TERMS", "Covariate", "Term", "recorded", "terms_of"]

Values = Callable[[Programme, Units], Floats]


@dataclass(frozen=True)
class Covariate:
    """One characteristic. ``values`` are numbers, 0/1, or positions in ``levels`` (-1 as NaN)."""

    name: str
    label: str
    kind: Kind
    values: Values
    unit: str = ""
    levels: tuple[str, ...] = ()
    decimals: int = 0


@dataclass(frozen=True)
class Term:
    """A column the propensity model may take up, in the order of importance of ``TERMS``."""

    name: str
    label: str
    values: Values
    shows: str  # the covariate it stands for
    yes_no: bool = False


def _of_rows(values: characteristics.Values) -> Values:
    """A characteristic of the compared rows."""

    def found(programme: Programme, units: Units) -> Floats:
        return values(
            Starts(
                facts=programme.facts.course,
                courses=programme.dataset.courses,
                course=units.course,
                started=units.started,
                urgency=level_of(programme, units, "urgency"),
            )
        )

    return found


def _covariate(shared: Characteristic) -> Covariate:
    return Covariate(
        shared.name, shared.label, shared.kind, _of_rows(shared.values), shared.unit, shared.levels,
        shared.decimals,
    )  # fmt: skip


def _stage(*stages: ShockStage) -> Values:
    return _of_rows(is_among(characteristics.STAGE, *map(codes.STAGES.index, stages)))


def _urgency(urgency: Urgency) -> Values:
    return _of_rows(is_among(characteristics.URGENCY, codes.URGENCIES.index(urgency)))


def _intent(*intents: Intent) -> Values:
    return _of_rows(is_among(characteristics.INTENT, *map(codes.INTENTS.index, intents)))


def _fact(name: str, scale: float = 1.0) -> Values:
    return _of_rows(fact(name, scale))


COVARIATES: tuple[Covariate, ...] = (
    Covariate("calendar", "Calendar time, years since the first pump", "continuous", start_years, "y", (), 1),
    *map(_covariate, characteristics.COMPARED),
)

# What a choice of route may rest on (common practice, no source): looked through level by level for what
# never went with one of the routes. Of the rest, a level that one arm lacks says nothing of the choice.
DECIDING = frozenset(
    {
        "transferred", "stage", "urgency", "intent", "presentation", "ischaemic", "female", "inotropes",
        "vasopressors", "ventilated", "rrt_at_start", "arrest", "peripheral",
    }
)  # fmt: skip

# Most important first: common practice and Bhimaraj A et al., JACC Heart Fail 2020;8:313-323 (what goes with
# death on support). A model with too few patients takes up the first ones only.
TERMS: tuple[Term, ...] = (
    Term("calendar", "calendar time", start_years, "calendar"),
    Term(
        "transferred",
        "arrived with a device in place",
        _of_rows(characteristics.TRANSFERRED),
        "transferred",
        True,
    ),
    Term(
        "stage-de",
        "shock stage D or E",
        _stage(ShockStage.D, ShockStage.E),
        "stage",
        True,
    ),
    Term("emergency", "emergency", _urgency(Urgency.EMERGENT), "urgency", True),
    Term(
        "therapy",
        "bridge to transplant or durable pump intended",
        _intent(Intent.TRANSPLANT, Intent.DURABLE),
        "intent",
        True,
    ),
    Term("age", "age", _of_rows(characteristics.AGE), "age"),
    Term("female", "sex", _of_rows(characteristics.FEMALE), "female", True),
    Term("ventilated", "ventilated", _fact("ventilated"), "ventilated", True),
    Term("vasopressors", "vasopressor", _fact("vasopressors"), "vasopressors", True),
    Term("planned", "planned procedure", _urgency(Urgency.ELECTIVE), "urgency", True),
    Term("ischaemic", "ischaemic cause", _of_rows(characteristics.ISCHAEMIC), "ischaemic", True),
    Term("height", "height", _fact("height_cm", 10.0), "height"),
    Term("inotropes", "inotrope", _fact("inotropes"), "inotropes", True),
    Term("lactate", "lactate", _fact("lactate_mmol_l", 10.0), "lactate"),
    Term("creatinine", "creatinine", _fact("creatinine_umol_l"), "creatinine"),
    Term("lvedd", "LV diameter", _fact("lvedd_mm"), "lvedd"),
    Term("peripheral", "peripheral artery disease", _fact("peripheral_disease"), "peripheral", True),
    Term("bmi", "body mass index", _of_rows(characteristics.MASS_INDEX), "bmi"),
)


def terms_of(programme: Programme) -> tuple[Term, ...]:
    """``TERMS``, after calendar time with one for each centre but the first, where several are compared.

    Centres differ in patients and in care alike, so what they share must not be put down to a route.
    """
    calendar, *others = TERMS
    return (calendar, *(_at(key, name) for key, name in list(programme.facts.centres.items())[1:]), *others)


def _at(key: int, name: str) -> Term:
    def values(programme: Programme, units: Units) -> Floats:
        return np.asarray(programme.dataset.courses.centre[units.course] == key, dtype=np.float64)

    return Term(f"centre-{key}", f"at {name}", values, "calendar", True)
