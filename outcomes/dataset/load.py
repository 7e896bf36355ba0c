"""Read a dataset: some centres, at a moment."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.apps import apps
from django.utils import timezone

from outcomes.dataset import clinical, deriving, queries
from outcomes.dataset.clock import minute_of
from outcomes.dataset.deriving import Rows
from outcomes.dataset.tables import (
    Attempts,
    Bedside,
    Candidates,
    Courses,
    Events,
    Films,
    Runs,
    Sessions,
)
from outcomes.estimators.arrays import Ints
from registry.models import Centre
from registry.snapshot import one_snapshot

MODELS = {
    "patients": "Patient",
    "courses": "Course",
    "runs": "Run",
    "events": "Event",
    "failed attempts": "FailedAttempt",
    "candidates": "Candidate",
    "films": "DailyCheck",
}


@dataclass(frozen=True, eq=False)
class Dataset:
    """What the logbook knew at the data cut. ``as_of`` is None when the live tables were read."""

    centres: tuple[str, ...]
    zone: ZoneInfo
    as_of: datetime | None
    cut_at: datetime
    courses: Courses
    runs: Runs
    events: Events
    sessions: Sessions
    bedside: Bedside
    films: Films
    attempts: Attempts
    candidates: Candidates
    clinical: clinical.Clinical

    @property
    def cut(self) -> int:
        """The data cut as minutes since 1970."""
        return minute_of(self.cut_at)


def load_dataset(
    *, centres: Iterable[Centre], as_of: datetime | None = None, cut_at: datetime | None = None
) -> Dataset:
    """Read the rows of the centres, live or as they stood at a past moment.

    Either way nothing after the data cut (``cut_at``, else ``as_of``, else now) has happened: a later removal
    leaves its run in place. With ``as_of`` the rows come from the history kept by triggers, so a later
    correction or deletion is not seen and a row entered later is not there. ``cut_at`` alone gives what is
    known now of what had happened by then. Calendar days are those of the centres' time zone, or of UTC
    where they have several.
    """
    chosen = sorted(centres, key=lambda centre: centre.code)
    cut_at = cut_at or as_of or timezone.now()
    zone = _common_zone(chosen)
    last_day = cut_at.astimezone(zone).date()
    wanted = tuple(centre.pk for centre in chosen)
    with one_snapshot():
        whole = not Centre.objects.exclude(pk__in=wanted).exists()
        reader = queries.Reader(wanted, as_of, last_day, whole)
        return _read(reader, tuple(centre.name for centre in chosen), zone, cut_at)


def _common_zone(centres: list[Centre]) -> ZoneInfo:
    zones = {centre.time_zone for centre in centres}
    return ZoneInfo(zones.pop()) if len(zones) == 1 else ZoneInfo("UTC")


def _read(reader: queries.Reader, names: tuple[str, ...], zone: ZoneInfo, cut_at: datetime) -> Dataset:
    cut = minute_of(cut_at)
    courses, runs, of_course, of_run = _read_runs_and_courses(reader, zone, cut)
    events = deriving.derive_events(queries.read_events(reader), courses, runs, zone=zone, cut=cut)
    bedside, films = deriving.derive_days(queries.read_days(reader), runs)
    return Dataset(
        centres=names,
        zone=zone,
        as_of=reader.as_of,
        cut_at=cut_at.astimezone(UTC),
        courses=courses,
        runs=runs,
        events=events,
        sessions=deriving.derive_sessions(queries.read_sessions(reader), courses, cut=cut),
        bedside=bedside,
        films=films,
        attempts=deriving.derive_attempts(queries.read_attempts(reader), courses, runs, cut=cut),
        candidates=deriving.derive_candidates(queries.read_candidates(reader)),
        clinical=clinical.read_clinical(
            reader, of_course, of_run, zone=zone, cut=cut, courses=courses, runs=runs, events=events
        ),
    )


def _read_runs_and_courses(
    reader: queries.Reader, zone: ZoneInfo, cut: int
) -> tuple[Courses, Runs, Rows, Rows]:
    """Both tables, and the clinical columns that stand in the same rows."""
    course_rows = deriving.with_patient_and_outcome(
        queries.read_courses(reader), queries.read_patients(reader), queries.read_outcomes(reader)
    )
    run_rows = queries.read_runs(reader)
    of_course = clinical.set_apart(course_rows, clinical.OF_COURSE)
    of_run = clinical.set_apart(run_rows, clinical.OF_RUN)
    courses, runs = deriving.derive_runs_and_courses(course_rows, run_rows, zone=zone, cut=cut)
    return courses, runs, deriving.aligned(of_course, courses.pk), deriving.aligned(of_run, runs.pk)


def public_ids(kind: str, pks: Ints) -> dict[int, UUID]:
    """Public identifiers of records of one kind, for links; records deleted since have none."""
    model: Any = apps.get_model("registry", MODELS[kind])
    return dict(model.objects.filter(pk__in=pks.tolist()).values_list("pk", "public_id"))
