"""Which rows of the logbook a dataset reads, live or as they stood at a moment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.apps import apps
from django.db.models import Model

from outcomes.dataset import codes
from outcomes.dataset.codes import numbered, numbered_route
from outcomes.dataset.copying import Column, read_columns
from outcomes.estimators.arrays import Ints
from registry.choices import Guidance
from registry.models import (
    Candidate,
    Course,
    CourseOutcome,
    DailyCheck,
    Event,
    FailedAttempt,
    Mobilisation,
    Patient,
    Run,
)

FIRST_BIRTH_YEAR = 1900


@dataclass(frozen=True)
class Reader:
    """Reads the rows of some centres; ``as_of`` None means the live tables.

    ``whole`` says that there are no other centres. It only saves work: rows that belong to none of the
    courses read are dropped in any case.
    """

    centres: tuple[int, ...]
    as_of: datetime | None
    last_day: date
    whole: bool = False

    def rows(self, model: type[Model]) -> str:
        """SQL of the model's table, or of the rows that its history says stood at the moment.

        The newest version of each row counts (the history's own number tells the order, since its time is
        that of the start of the transaction), and a row whose newest version is a deletion is gone.
        """
        if self.as_of is None:
            return str(model._meta.db_table)
        # Only names of tables and constants of this project enter the text; values are parameters.
        history = apps.get_model("registry", f"{model.__name__}History")._meta.db_table
        known = f"{history} WHERE pgh_created_at <= %(as_of)s ORDER BY id, pgh_id DESC"
        newest = f"(SELECT DISTINCT ON (id) * FROM {known}) newest"  # noqa: S608
        return f"(SELECT * FROM {newest} WHERE pgh_label <> 'delete')"  # noqa: S608

    def of_centres(self, alias: str) -> str:
        """SQL condition that a row stands at one of the centres."""
        return "TRUE" if self.whole else f"{alias}.centre_id = ANY(%(centres)s)"

    def of_courses(self, column: str) -> str:
        """SQL condition that a column names a course of the centres."""
        if self.whole:
            return "TRUE"
        courses = f"SELECT id FROM {self.rows(Course)} scope WHERE {self.of_centres('scope')}"  # noqa: S608
        return f"{column} IN ({courses})"

    def of_runs(self, column: str) -> str:
        """SQL condition that a column names a run of the centres."""
        if self.whole:
            return "TRUE"
        runs = f"SELECT id FROM {self.rows(Run)} r WHERE {self.of_courses('r.course_id')}"  # noqa: S608
        return f"{column} IN ({runs})"

    def read(self, columns: Mapping[str, Column], source: str) -> dict[str, Ints]:
        """Read the columns; ``source`` may use the parameters ``centres``, ``as_of`` and ``last_day``."""
        parameters: dict[str, Any] = {
            "centres": list(self.centres),
            "as_of": self.as_of,
            "last_day": self.last_day,
        }
        return read_columns(columns, source, parameters)


def read_courses(reader: Reader) -> dict[str, Ints]:
    """One row per course."""
    arrived = "coalesce(CASE WHEN c.transferred_in THEN c.arrived_at END, '-infinity')"
    columns = {
        "pk": Column("c.id", "id"),
        "patient": Column("c.patient_id", "id"),
        "centre": Column("c.centre_id", "id"),
        "intent": Column(numbered("c.intent", codes.INTENTS), "choice"),
        "stage": Column(numbered("c.shock_stage", codes.STAGES), "choice"),
        "arrived": Column(arrived, "moment"),
        "admitted": Column("coalesce(c.admitted_at, 'infinity')", "moment"),
        "aetiology": Column(numbered("c.aetiology", codes.AETIOLOGIES), "choice"),
        "transferred": Column("c.transferred_in::int", "choice"),
    }
    return reader.read(columns, f"{reader.rows(Course)} c WHERE {reader.of_centres('c')}")


def read_patients(reader: Reader) -> dict[str, Ints]:
    """One row per patient."""
    columns = {
        "pk": Column("p.id", "id"),
        "sex": Column(numbered("p.sex", codes.SEXES), "choice"),
        "birth_year": Column(f"p.birth_year - {FIRST_BIRTH_YEAR}", "choice"),
    }
    rows = reader.read(columns, f"{reader.rows(Patient)} p WHERE {reader.of_centres('p')}")
    return {**rows, "birth_year": rows["birth_year"] + FIRST_BIRTH_YEAR}


def read_outcomes(reader: Reader) -> dict[str, Ints]:
    """One row per course with its outcome."""
    columns = {
        "pk": Column("o.course_id", "id"),
        "outcome": Column(numbered("o.outcome", codes.OUTCOMES), "choice"),
        "outcome_at": Column("o.occurred_at", "moment"),
    }
    return reader.read(columns, f"{reader.rows(CourseOutcome)} o WHERE {reader.of_courses('o.course_id')}")


def read_runs(reader: Reader) -> dict[str, Ints]:
    """One row per device run, with how it was placed."""
    volume = "CASE r.balloon_volume_ml WHEN '' THEN 0 ELSE r.balloon_volume_ml::int END"
    columns = {
        "pk": Column("r.id", "id"),
        "course": Column("r.course_id", "id"),
        "patient": Column("r.patient_id", "id"),
        "run_no": Column("r.run_no", "choice"),
        "replaces": Column("coalesce(r.replaces_id, 0)", "id"),
        "inserted": Column("r.inserted_at", "moment"),
        "removed": Column("coalesce(r.removed_at, 'infinity')", "moment"),
        "route": Column(numbered_route("r.route"), "choice"),
        "device": Column(numbered("r.device_class", codes.DEVICES), "choice"),
        "relation": Column(numbered("r.relation", codes.RELATIONS), "choice"),
        "exchange_reason": Column(numbered("r.exchange_reason", codes.EXCHANGE_REASONS), "choice"),
        "end_reason": Column(numbered("r.end_reason", codes.END_REASONS), "choice"),
        "balloon_ml": Column(volume, "choice"),
        "access": Column(numbered("r.access_method", codes.ACCESS_METHODS), "choice"),
        "urgency": Column(numbered("r.urgency", codes.URGENCIES), "choice"),
        "technical_success": Column("r.technical_success::int", "choice"),
        "first_position": Column(numbered("r.first_position", codes.VERDICTS), "choice"),
        **{
            guidance.value: Column(f"('{guidance.value}' = ANY(r.guidance))::int", "choice")
            for guidance in Guidance
        },
    }
    return reader.read(columns, f"{reader.rows(Run)} r WHERE {reader.of_courses('r.course_id')}")


def read_events(reader: Reader) -> dict[str, Ints]:
    """One row per event, those refuted by review too."""
    columns = {
        "pk": Column("e.id", "id"),
        "course": Column("e.course_id", "id"),
        "named_run": Column("coalesce(e.run_id, 0)", "id"),
        "kind": Column(numbered("e.kind", codes.KINDS), "choice"),
        "onset": Column("e.onset_at", "moment"),
        "precision": Column(numbered("e.onset_precision", codes.PRECISIONS), "choice"),
        "serious": Column("e.serious::int", "choice"),
        "review": Column(numbered("e.review", codes.REVIEWS), "choice"),
        "failure": Column(numbered("e.failure", codes.FAILURES), "choice"),
        "kink_site": Column(numbered("e.kink_site", codes.KINK_SITES), "choice"),
        "detail": Column(codes.numbered_detail("e.neuro_kind", "e.barc"), "choice"),
    }
    return reader.read(columns, f"{reader.rows(Event)} e WHERE {reader.of_courses('e.course_id')}")


def read_sessions(reader: Reader) -> dict[str, Ints]:
    """One row per mobilisation session."""
    columns = {
        "pk": Column("m.id", "id"),
        "course": Column("m.course_id", "id"),
        "started": Column("m.started_at", "moment"),
        "level": Column("m.level", "choice"),
    }
    return reader.read(columns, f"{reader.rows(Mobilisation)} m WHERE {reader.of_courses('m.course_id')}")


def read_days(reader: Reader) -> dict[str, Ints]:
    """One row per day on a run that has a daily row."""
    columns = {
        "pk": Column("d.id", "id"),
        "run": Column("d.run_id", "id"),
        "checked_on": Column("d.checked_on", "day"),
        "level": Column(f"coalesce(d.mobility_best, {codes.UNRECORDED})", "choice"),
        "verdict": Column(numbered("d.film_verdict", codes.VERDICTS), "choice"),
        "action": Column(numbered("d.position_action", codes.POSITION_ACTIONS), "choice"),
    }
    source = (
        f"{reader.rows(DailyCheck)} d WHERE d.checked_on <= %(last_day)s AND {reader.of_runs('d.run_id')}"
    )
    return reader.read(columns, source)


def read_attempts(reader: Reader) -> dict[str, Ints]:
    """One row per failed attempt."""
    columns = {
        "pk": Column("a.id", "id"),
        "patient": Column("a.patient_id", "id"),
        "attempted": Column("a.attempted_at", "moment"),
        "intended": Column(numbered_route("a.intended_route"), "choice"),
        "followed_by": Column("coalesce(a.followed_by_id, 0)", "id"),
        "failure": Column(numbered("a.failure", codes.ATTEMPT_FAILURES), "choice"),
    }
    return reader.read(columns, f"{reader.rows(FailedAttempt)} a WHERE {reader.of_centres('a')}")


def read_candidates(reader: Reader) -> dict[str, Ints]:
    """One row per patient considered in whom nothing was attempted."""
    columns = {
        "pk": Column("k.id", "id"),
        "considered_on": Column("k.considered_on", "day"),
        "route": Column(numbered("k.route", codes.ROUTES), "choice"),
        "reason": Column(numbered("k.reason", codes.DECLINE_REASONS), "choice"),
    }
    source = f"{reader.rows(Candidate)} k WHERE {reader.of_centres('k')} AND k.considered_on <= %(last_day)s"
    return reader.read(columns, source)
