"""Characteristics at the start: what the baseline table shows, and what the propensity model may use.

Only what was known before the route was chosen. A value of NaN is not recorded.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from outcomes.comparison.filters import level_of
from outcomes.comparison.reading import AETIOLOGIES, PRESENTATIONS, SEXES, URGENCIES
from outcomes.comparison.units import Programme, Units, start_years
from outcomes.dataset import codes
from outcomes.dataset.clock import NEVER
from outcomes.estimators.arrays import Flags, Floats, Ints
from registry.choices import Aetiology, Intent, Sex, ShockStage, Urgency

Kind = Literal["continuous", "binary", "categorical"]
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


def _number(name: str, scale: float = 1.0) -> Values:
    def values(programme: Programme, units: Units) -> Floats:
        column = programme.facts.course[name][units.course]
        return np.where(column < 0, np.nan, column / scale)

    return values


def _level(name: str) -> Values:
    def values(programme: Programme, units: Units) -> Floats:
        return _codes(level_of(programme, units, name))

    return values


def _coded(name: str) -> Values:
    def values(programme: Programme, units: Units) -> Floats:
        return _codes(programme.facts.course[name][units.course])

    return values


def _codes(column: Ints) -> Floats:
    return np.where(column < 0, np.nan, column.astype(np.float64))


def _is(source: Values, *positions: int) -> Values:
    """1 where the code is among the positions, 0 where it is another, NaN where none is recorded."""

    def values(programme: Programme, units: Units) -> Floats:
        column = source(programme, units)
        return np.where(np.isnan(column), np.nan, np.isin(column, positions).astype(np.float64))

    return values


def _age(programme: Programme, units: Units) -> Floats:
    years = units.started / (365.25 * 24 * 60) + 1970
    return np.asarray(np.floor(years) - programme.facts.course["birth_year"][units.course])


def _mass_index(programme: Programme, units: Units) -> Floats:
    height = _number("height_cm", 1000.0)(programme, units)
    return np.asarray(_number("weight_kg", 10.0)(programme, units) / height**2)


def _admitted_days(programme: Programme, units: Units) -> Floats:
    admitted = programme.facts.course["admitted"][units.course]
    began = programme.dataset.courses.began[units.course]
    days = (began - np.minimum(admitted, began)) / (24 * 60)
    return np.where(admitted >= NEVER, np.nan, days)


def _transferred(programme: Programme, units: Units) -> Floats:
    return _codes(programme.facts.course["transferred"][units.course])


STAGE, URGENCY, INTENT, SEX = _level("stage"), _level("urgency"), _level("intent"), _level("sex")
FEMALE = _is(SEX, SEXES.index(Sex.FEMALE))
ISCHAEMIC = _is(_coded("aetiology"), AETIOLOGIES.index(Aetiology.ISCHAEMIC))


def _labels(choices: tuple) -> tuple[str, ...]:
    return tuple(str(code.label) for code in choices)


COVARIATES: tuple[Covariate, ...] = (
    Covariate("calendar", "Calendar time, years since the first pump", "continuous", start_years, "y", (), 1),
    Covariate("age", "Age", "continuous", _age, "y"),
    Covariate("female", "Female", "binary", FEMALE),
    Covariate("height", "Height", "continuous", _number("height_cm", 10.0), "cm"),
    Covariate("bmi", "Body mass index", "continuous", _mass_index, "kg/m²", (), 1),
    Covariate("stage", "Shock stage", "categorical", STAGE, "", _labels(codes.STAGES)),
    Covariate("urgency", "Urgency", "categorical", URGENCY, "", _labels(URGENCIES)),
    Covariate("intent", "Intent at the start", "categorical", INTENT, "", _labels(codes.INTENTS)),
    Covariate("ischaemic", "Ischaemic cause", "binary", ISCHAEMIC),
    Covariate(
        "presentation", "Presentation", "categorical", _coded("presentation"), "", _labels(PRESENTATIONS)
    ),
    Covariate("transferred", "Arrived with a device in place", "binary", _transferred),
    Covariate("admitted", "Days in hospital before", "continuous", _admitted_days, "d", (), 1),
    Covariate("inotropes", "On an inotrope", "binary", _number("inotropes")),
    Covariate("vasopressors", "On a vasopressor", "binary", _number("vasopressors")),
    Covariate("ventilated", "Ventilated", "binary", _number("ventilated")),
    Covariate("rrt_at_start", "On renal replacement", "binary", _number("rrt_at_start")),
    Covariate("arrest", "Arrest with coma or anoxic concern", "binary", _number("arrest_modifier")),
    Covariate("lvef", "Ejection fraction", "continuous", _number("lvef_pct"), "%"),
    Covariate("lvedd", "LV end-diastolic diameter", "continuous", _number("lvedd_mm"), "mm"),
    Covariate("diabetes", "Diabetes", "binary", _number("diabetes")),
    Covariate("peripheral", "Peripheral artery disease", "binary", _number("peripheral_disease")),
    Covariate("stroke", "Previous stroke", "binary", _number("prior_stroke")),
    Covariate("sternotomy", "Previous sternotomy", "binary", _number("prior_sternotomy")),
    Covariate("smoking", "Smoker", "binary", _number("smoking")),
    Covariate("creatinine", "Creatinine", "continuous", _number("creatinine_umol_l"), "µmol/L"),
    Covariate("bilirubin", "Bilirubin", "continuous", _number("bilirubin_umol_l"), "µmol/L"),
    Covariate("haemoglobin", "Haemoglobin", "continuous", _number("haemoglobin_g_dl", 10.0), "g/dL", (), 1),
    Covariate("platelets", "Platelets", "continuous", _number("platelets_10e9_l"), "10⁹/L"),
    Covariate("lactate", "Lactate", "continuous", _number("lactate_mmol_l", 10.0), "mmol/L", (), 1),
    Covariate("sodium", "Sodium", "continuous", _number("sodium_mmol_l"), "mmol/L"),
)

# Most important first: common practice and Bhimaraj A et al., JACC Heart Fail 2020;8:313-323 (what goes with
# death on support). A model with too few patients takes up the first ones only.
TERMS: tuple[Term, ...] = (
    Term("calendar", "calendar time", start_years, "calendar"),
    Term("transferred", "arrived with a device in place", _transferred, "transferred", True),
    Term(
        "stage-de",
        "shock stage D or E",
        _is(STAGE, codes.STAGES.index(ShockStage.D), codes.STAGES.index(ShockStage.E)),
        "stage",
        True,
    ),
    Term("emergency", "emergency", _is(URGENCY, URGENCIES.index(Urgency.EMERGENT)), "urgency", True),
    Term(
        "therapy",
        "bridge to transplant or durable pump intended",
        _is(INTENT, codes.INTENTS.index(Intent.TRANSPLANT), codes.INTENTS.index(Intent.DURABLE)),
        "intent",
        True,
    ),
    Term("age", "age", _age, "age"),
    Term("female", "sex", FEMALE, "female", True),
    Term("ventilated", "ventilated", _number("ventilated"), "ventilated", True),
    Term("vasopressors", "vasopressor", _number("vasopressors"), "vasopressors", True),
    Term("planned", "planned procedure", _is(URGENCY, URGENCIES.index(Urgency.ELECTIVE)), "urgency", True),
    Term("ischaemic", "ischaemic cause", ISCHAEMIC, "ischaemic", True),
    Term("height", "height", _number("height_cm", 10.0), "height"),
    Term("inotropes", "inotrope", _number("inotropes"), "inotropes", True),
    Term("lactate", "lactate", _number("lactate_mmol_l", 10.0), "lactate"),
    Term("creatinine", "creatinine", _number("creatinine_umol_l"), "creatinine"),
    Term("lvedd", "LV diameter", _number("lvedd_mm"), "lvedd"),
    Term("peripheral", "peripheral artery disease", _number("peripheral_disease"), "peripheral", True),
    Term("bmi", "body mass index", _mass_index, "bmi"),
)


def recorded(values: Floats) -> Flags:
    """Rows with a value."""
    return ~np.isnan(values)
