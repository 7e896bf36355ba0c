"""Patients at the start of a row of support: one derivation for the baseline table and for the comparison.

Only what was known before the route was chosen. A value of NaN is not recorded.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from outcomes.dataset import codes
from outcomes.dataset.clinical import Columns
from outcomes.dataset.clock import MINUTES_PER_DAY, NEVER
from outcomes.dataset.tables import Courses
from outcomes.estimators.arrays import Flags, Floats, Ints
from registry.choices import Aetiology, PacingDevice, Sex

Kind = Literal["continuous", "binary", "categorical"]
EPOCH_YEAR = 1970


@dataclass(frozen=True, eq=False)
class Starts:
    """Rows to be described, each at its start: a course, or a spell on a route.

    ``facts`` are columns by course; ``course`` and ``started`` (minutes since 1970) have one entry a row, as
    has ``urgency``, that of the row's first procedure.
    """

    facts: Columns
    courses: Courses
    course: Ints
    started: Ints
    urgency: Ints


Values = Callable[[Starts], Floats]


@dataclass(frozen=True)
class Characteristic:
    """One characteristic. ``values`` are numbers, 0/1, or positions in ``levels``; NaN is not recorded."""

    name: str
    label: str
    kind: Kind
    values: Values
    unit: str = ""
    levels: tuple[str, ...] = ()
    decimals: int = 0
    level_codes: tuple[str, ...] = ()


def recorded(values: Floats) -> Flags:
    """Rows with a value."""
    return ~np.isnan(values)


def positive(column: Ints, scale: float = 1.0) -> Floats:
    """A column where -1 is not recorded as numbers, in units of ``scale``."""
    return np.where(column < 0, np.nan, column / scale)


def fact(name: str, scale: float = 1.0) -> Values:
    """A column of the courses."""
    return lambda starts: positive(starts.facts[name][starts.course], scale)


def is_among(source: Values, *positions: int) -> Values:
    """1 where the code is among the positions, 0 where it is another, NaN where none is recorded."""

    def values(starts: Starts) -> Floats:
        column = source(starts)
        return np.where(np.isnan(column), np.nan, np.isin(column, positions).astype(np.float64))

    return values


def _stage(starts: Starts) -> Floats:
    return positive(starts.courses.stage[starts.course])


def _intent(starts: Starts) -> Floats:
    return positive(starts.courses.intent[starts.course])


def _urgency(starts: Starts) -> Floats:
    return positive(starts.urgency)


def _age(starts: Starts) -> Floats:
    years = starts.started.astype("datetime64[m]").astype("datetime64[Y]").astype(np.float64) + EPOCH_YEAR
    return np.asarray(years - starts.facts["birth_year"][starts.course])


def _mass_index(starts: Starts) -> Floats:
    height = fact("height_cm", 1000.0)(starts)
    return np.asarray(fact("weight_kg", 10.0)(starts) / height**2)


def _admitted_days(starts: Starts) -> Floats:
    admitted = starts.facts["admitted"][starts.course]
    began = starts.courses.began[starts.course]
    days = (began - np.minimum(admitted, began)) / MINUTES_PER_DAY
    return np.where(admitted >= NEVER, np.nan, days)


def _unless_unknown(starts: Starts) -> Floats:
    cause = fact("aetiology")(starts)
    return np.where(cause == codes.AETIOLOGIES.index(Aetiology.UNKNOWN), np.nan, cause)


def _coded(name: str, label: str, values: Values, choices: tuple) -> Characteristic:
    """A characteristic whose values are positions in these choices."""
    levels = tuple(str(code.label) for code in choices)
    return Characteristic(
        name, label, "categorical", values, levels=levels, level_codes=tuple(code.value for code in choices)
    )


STAGE, INTENT, URGENCY, MASS_INDEX, TRANSFERRED = _stage, _intent, _urgency, _mass_index, fact("transferred")
AGE, HEIGHT = _age, fact("height_cm", 10.0)
FEMALE = is_among(fact("sex"), codes.SEXES.index(Sex.FEMALE))
ISCHAEMIC = is_among(fact("aetiology"), codes.AETIOLOGIES.index(Aetiology.ISCHAEMIC))
PACED = is_among(
    fact("pacing_device"),
    *(position for position, code in enumerate(codes.PACING_DEVICES) if code != PacingDevice.NONE),
)

WHO: tuple[Characteristic, ...] = (
    Characteristic("age", "Age", "continuous", AGE, "y"),
    Characteristic("female", "Female", "binary", FEMALE),
    Characteristic("height", "Height", "continuous", HEIGHT, "cm"),
    Characteristic("bmi", "Body mass index", "continuous", MASS_INDEX, "kg/m²", (), 1),
    _coded("stage", "Shock stage", STAGE, codes.STAGES),
    _coded("urgency", "Urgency", URGENCY, codes.URGENCIES),
    _coded("intent", "Intent at the start", INTENT, codes.INTENTS),
    Characteristic("ischaemic", "Ischaemic cause", "binary", ISCHAEMIC),
)
CAUSE = _coded("aetiology", "Cause", _unless_unknown, codes.AETIOLOGIES)
CONDITION: tuple[Characteristic, ...] = (
    _coded("presentation", "Presentation", fact("presentation"), codes.PRESENTATIONS),
    Characteristic("transferred", "Arrived with a device in place", "binary", TRANSFERRED),
    Characteristic("admitted", "Days in hospital before", "continuous", _admitted_days, "d", (), 1),
    Characteristic("inotropes", "On an inotrope", "binary", fact("inotropes")),
    Characteristic("vasopressors", "On a vasopressor", "binary", fact("vasopressors")),
    Characteristic("ventilated", "Ventilated", "binary", fact("ventilated")),
    Characteristic("rrt_at_start", "On renal replacement", "binary", fact("rrt_at_start")),
    Characteristic("arrest", "Arrest with coma or anoxic concern", "binary", fact("arrest_modifier")),
    Characteristic("lvef", "Ejection fraction", "continuous", fact("lvef_pct"), "%"),
    Characteristic("lvedd", "LV end-diastolic diameter", "continuous", fact("lvedd_mm"), "mm"),
    Characteristic("diabetes", "Diabetes", "binary", fact("diabetes")),
    Characteristic("peripheral", "Peripheral artery disease", "binary", fact("peripheral_disease")),
    Characteristic("stroke", "Previous stroke", "binary", fact("prior_stroke")),
    Characteristic("sternotomy", "Previous sternotomy", "binary", fact("prior_sternotomy")),
    Characteristic("smoking", "Smoker", "binary", fact("smoking")),
)
PACING = Characteristic("pacing", "Pacemaker or defibrillator", "binary", PACED)
LABORATORY: tuple[Characteristic, ...] = (
    Characteristic("creatinine", "Creatinine", "continuous", fact("creatinine_umol_l"), "µmol/L"),
    Characteristic("bilirubin", "Bilirubin", "continuous", fact("bilirubin_umol_l"), "µmol/L"),
    Characteristic("haemoglobin", "Haemoglobin", "continuous", fact("haemoglobin_g_dl", 10.0), "g/dL", (), 1),
    Characteristic("platelets", "Platelets", "continuous", fact("platelets_10e9_l"), "10⁹/L"),
    Characteristic("lactate", "Lactate", "continuous", fact("lactate_mmol_l", 10.0), "mmol/L", (), 1),
    Characteristic("sodium", "Sodium", "continuous", fact("sodium_mmol_l"), "mmol/L"),
)
# In the order of the comparison's table; the quarter's leaves the ischaemic share to the list of causes.
COMPARED = (*WHO, *CONDITION, *LABORATORY)
SHOWN = (*WHO[:-1], CAUSE, *CONDITION, PACING, *LABORATORY)
