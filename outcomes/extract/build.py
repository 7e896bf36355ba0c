"""Rows without identifiers, made coarser until enough are alike, or refused.

Form: Safe Harbor, 45 CFR 164.514(b)(2). The only date element is a year; every time is a number of days from
insertion; ages above 89 are one group; no serial, lot, operator, centre, free text or record key; a patient's
code is fresh and random in every extract, rows are shuffled. A device still in place is left out: days until
today would be a date. Likeness: k-anonymity over what an outsider may know of a patient (El Emam K et al.,
J Am Med Inform Assoc 2009;16:670-682, doi:10.1197/jamia.M3144).
"""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from random import SystemRandom
from typing import Any

from django.utils import timezone

from registry.choices import Outcome
from registry.choices_events import OUT_OF_BED_LEVEL, WALK_LEVEL, EventKind, ReviewState
from registry.models import Centre, Course, Run

DAY_SECONDS = 86_400
OLDEST_AGE = 89
OLDEST_BAND = "90+"
UNKNOWN_AGE = "unknown"  # the year of birth lies after the insertion
CODE_BYTES = 6
ALL = "any"


@dataclass(frozen=True)
class Row:
    """One balloon-pump run. The first four fields are what an outsider may know."""

    year: str
    age: str
    sex: str
    route: str
    access: str
    intent: str
    shock_stage: str
    relation: str
    run_no: int
    dwell_days: float
    out_of_bed_day: int | None
    walk_day: int | None
    outcome: str
    outcome_day: int | None
    events: tuple[tuple[str, int], ...]

    @property
    def known(self) -> tuple[str, str, str, str]:
        return self.year, self.age, self.sex, self.route


@dataclass(frozen=True)
class Extract:
    """Shuffled rows with their patient's code, the fewest patients alike, and what was given up for it."""

    rows: tuple[tuple[str, Row], ...]
    k: int
    coarsened: tuple[str, ...]


class TooFewAlikeError(Exception):
    """Even at its coarsest the extract would single people out."""

    def __init__(self, k: int, wanted: int) -> None:
        super().__init__(f"The smallest group of alike patients has {k}; at least {wanted} are needed.")
        self.k = k
        self.wanted = wanted


def age_band(age: int, width: int) -> str:
    """``60-69``; above 89 always ``90+``, below nought ``unknown``."""
    if age > OLDEST_AGE:
        return OLDEST_BAND
    if age < 0:
        return UNKNOWN_AGE
    low = age // width * width
    return f"{low}-{min(low + width - 1, OLDEST_AGE)}"


def _wider(row: Row) -> Row:
    if row.age in (OLDEST_BAND, UNKNOWN_AGE):
        return row
    return replace(row, age=age_band(int(row.age.partition("-")[0]), 20))


# In this order: what analysis misses least is given up first.
STEPS: tuple[tuple[str, Callable[[Row], Row]], ...] = (
    ("year of insertion left out", lambda row: replace(row, year=ALL)),
    ("age in bands of 20 years", _wider),
    ("sex left out", lambda row: replace(row, sex=ALL)),
    ("age left out", lambda row: replace(row, age=ALL)),
)


def build_extract(*, centre: Centre, smallest_group: int) -> Extract:
    """The extract of a centre's ended balloon-pump runs whose patients did not withdraw from research.

    Raises TooFewAlikeError when no allowed step reaches ``smallest_group`` patients alike.
    """
    patients, rows = _rows(centre)
    coarsened: list[str] = []
    k = _smallest(patients, rows)
    for name, step in STEPS:
        if k >= smallest_group:
            break
        rows = [step(row) for row in rows]
        coarsened.append(name)
        k = _smallest(patients, rows)
    if rows and k < smallest_group:
        raise TooFewAlikeError(k, smallest_group)
    codes = {patient: secrets.token_hex(CODE_BYTES) for patient in patients}
    coded = [(codes[patient], row) for patient, row in zip(patients, rows, strict=True)]
    SystemRandom().shuffle(coded)
    return Extract(tuple(coded), k, tuple(coarsened))


def _smallest(patients: list[int], rows: list[Row]) -> int:
    """Patients, not rows, in the smallest group: several runs of one patient hide nobody."""
    groups = Counter(known for _, known in {(p, row.known) for p, row in zip(patients, rows, strict=True)})
    return min(groups.values(), default=0)


def _rows(centre: Centre) -> tuple[list[int], list[Row]]:
    runs = Run.objects.balloon_pumps().filter(
        removed_at__isnull=False, course__centre=centre, course__patient__withdrawn=False
    )
    runs = runs.select_related("course__patient", "course__outcome").prefetch_related(
        "course__runs", "course__events", "course__mobilisations", "checks"
    )
    found = list(runs)
    return [run.patient_id for run in found], [_row(run, centre) for run in found]


def _row(run: Run, centre: Centre) -> Row:
    course, patient = run.course, run.course.patient
    year = timezone.localtime(run.inserted_at, centre.zone).year
    outcome = getattr(course, "outcome", None)
    return Row(
        year=str(year),
        age=age_band(year - patient.birth_year, 10),
        sex=patient.sex,
        route=str(run.route_group),
        access=run.access_method,
        intent=course.intent,
        shock_stage=course.shock_stage,
        relation=run.relation,
        run_no=run.run_no,
        dwell_days=round(run.dwell(run.inserted_at).total_seconds() / DAY_SECONDS, 1),
        out_of_bed_day=_first_level(course, run, OUT_OF_BED_LEVEL),
        walk_day=_first_level(course, run, WALK_LEVEL),
        outcome=Outcome(outcome.outcome).value if outcome else "",
        outcome_day=_days(run, outcome.occurred_at) if outcome else None,
        events=_events(course, run),
    )


def _days(run: Run, moment: datetime) -> int:
    """Whole elapsed days from insertion."""
    return int((moment - run.inserted_at).total_seconds() // DAY_SECONDS)


def _first_level(course: Course, run: Any, level: int) -> int | None:
    """Whole days from insertion to the first session at a level while this device was in place."""
    days = [
        _days(run, session.started_at)
        for session in course.mobilisations.all()
        if session.level >= level
        and session.started_at >= run.inserted_at
        and session.started_at <= run.removed_at
    ]
    return min(days, default=None)


def _events(course: Course, run: Run) -> tuple[tuple[str, int], ...]:
    mine: list[Any] = [
        event
        for event in course.events.all()
        if event.run_id == run.pk and event.review != ReviewState.REFUTED
    ]
    return tuple(sorted((EventKind(event.kind).value, _days(run, event.onset_at)) for event in mine))
