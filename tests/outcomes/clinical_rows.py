"""What is measured beside the counts, for datasets without a database: nothing, unless a test says so."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from outcomes.dataset import Dataset, codes
from outcomes.dataset.clinical import LABORATORY, TENTHS, WHOLE, YES_NO, Clinical
from outcomes.dataset.clock import NEVER
from outcomes.dataset.tables import Courses, Events, Runs
from outcomes.estimators.arrays import Ints
from registry.choices import Guidance, Sex, Urgency

Row = dict[str, Any]

CONDITION: Row = {
    **dict.fromkeys((*YES_NO, *TENTHS, *WHOLE, "presentation", "pacing_device"), codes.UNRECORDED),
    "aetiology": 0, "sex": codes.SEXES.index(Sex.FEMALE), "birth_year": 1970, "admitted": NEVER,
    "transferred": 0,
}  # fmt: skip
PROCEDURE: Row = {
    "access": 0, "urgency": codes.URGENCIES.index(Urgency.URGENT), "technical_success": 1,
    "first_position": codes.UNRECORDED,
    **dict.fromkeys((guidance.value for guidance in Guidance), 0),
    **dict.fromkeys(
        ("puncture_attempts", "standby_min", "procedure_min", "fluoroscopy_min", "contrast_ml"),
        codes.UNRECORDED,
    ),
}  # fmt: skip
VALUES: Row = dict.fromkeys(
    (f"{name}_{when}" for name in LABORATORY for when in ("early", "last")), codes.UNRECORDED
)
AFTERMATH: Row = {
    "discharged_on": NEVER, "left_alive": codes.UNRECORDED, "died_on": NEVER, "found_dead_on": NEVER,
    "alive_on": -1, "graft_dysfunction": codes.UNRECORDED,
}  # fmt: skip
PRESSURES: Row = {
    "course": 0, "measured": 0, "on_pump": 0, "du_bois": 0,
    **dict.fromkeys(
        (
            "right_atrial", "wedge", "output_tenths", "mixed_venous", "arterial_thirds", "pulmonary_thirds",
            "heart_rate",
        ),
        codes.UNRECORDED,
    ),
}  # fmt: skip


def _columns(rows: Iterable[Row], default: Row, size: int) -> dict[str, Ints]:
    """Columns of ``size`` rows: those given, then nothing recorded."""
    given = [{**default, **row} for row in rows]
    full = [*given, *({**default} for _ in range(size - len(given)))]
    return {name: np.array([row[name] for row in full], dtype=np.int64) for name in default}


def unrecorded(courses: Courses, runs: Runs, events: Events) -> Clinical:
    """Nothing was measured."""
    return clinical(courses, runs, events)


def clinical(
    courses: Courses,
    runs: Runs,
    events: Events,
    *,
    conditions: Iterable[Row] = (),
    procedures: Iterable[Row] = (),
    laboratory: Iterable[Row] = (),
    aftermath: Iterable[Row] = (),
    pressures: Iterable[Row] = (),
    late: Iterable[int] = (),
) -> Clinical:
    """Rows in the order of the courses and runs; ``pressures`` name the position of their course."""
    rows = list(pressures)
    return Clinical(
        course=_columns(conditions, CONDITION, courses.size),
        run=_columns(procedures, PROCEDURE, runs.size),
        laboratory=_columns(laboratory, VALUES, courses.size),
        aftermath=_columns(aftermath, AFTERMATH, courses.size),
        pressures=_columns(rows, PRESSURES, len(rows)),
        late_entered=np.isin(np.arange(events.size), list(late)),
    )


def measured(data: Dataset, **more: Iterable[Row]) -> Dataset:
    """The dataset with these rows beside it; keywords as for ``clinical``."""
    return replace(data, clinical=clinical(data.courses, data.runs, data.events, **more))  # type: ignore[arg-type]
