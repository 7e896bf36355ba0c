"""Small logbooks for tests: every record with the values its constraints ask for."""

from __future__ import annotations

from datetime import UTC, date, datetime
from itertools import count
from typing import Any
from zoneinfo import ZoneInfo

from outcomes.dataset import load_dataset
from outcomes.period import Period
from outcomes.report import Report, build_report
from registry import models
from registry.choices import Outcome

BERLIN = "Europe/Berlin"


def at(text: str, zone: str = BERLIN) -> datetime:
    """A moment on the clocks of a time zone: ``2026-03-01 23:50``."""
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone))


class Logbook:
    """One centre and what is written in its logbook."""

    numbers = count(1)

    def __init__(self, zone: str = BERLIN) -> None:
        self.zone = zone
        number = next(self.numbers)
        self.centre = models.Centre.objects.create(code=f"C{number}", name=f"Centre {number}", time_zone=zone)

    def patient(self) -> models.Patient:
        return models.Patient.objects.create(
            centre=self.centre, study_no=f"T-{next(self.numbers)}", birth_year=1970, sex="F"
        )

    def course(self, patient: models.Patient | None = None, **values: Any) -> models.Course:
        patient = patient or self.patient()
        values.setdefault("course_no", patient.courses.count() + 1)
        values.setdefault("intent", "BTT")
        return models.Course.objects.create(
            centre=self.centre, patient=patient, shock_stage="C", **self._moments(values)
        )

    def run(
        self,
        course: models.Course,
        inserted: str,
        removed: str | None = None,
        route: str = "AXILLARY_L",
        **values: Any,
    ) -> models.Run:
        """A balloon pump run; the first of its course, or one that follows the run before."""
        before = course.runs.order_by("run_no").last()
        if before:
            values.setdefault("relation", "SAME_SITE_EXCHANGE")
            values.setdefault("exchange_reason", "KINK")
            values.setdefault("replaces", before)
        if removed:
            values.setdefault("end_reason", "EXCHANGE" if values.get("next") else "WEANED")
        values.pop("next", None)
        device = values.setdefault("device_class", "IABP")
        values.setdefault("balloon_volume_ml", "40" if device == "IABP" else "")
        return models.Run.objects.create(
            course=course,
            patient=course.patient,
            run_no=before.run_no + 1 if before else 1,
            inserted_at=self._at(inserted),
            removed_at=self._at(removed) if removed else None,
            route=route,
            access_method="PERCUTANEOUS",
            guidance=["ULTRASOUND"],
            operator_code="OP1",
            location="CATH_LAB",
            urgency="URGENT",
            technical_success=True,
            **values,
        )

    def outcome(
        self, course: models.Course, moment: str, outcome: str = Outcome.TRANSPLANT
    ) -> models.CourseOutcome:
        return models.CourseOutcome.objects.create(
            course=course, outcome=outcome, occurred_at=self._at(moment)
        )

    def event(self, course: models.Course, onset: str, kind: str = "BLEEDING", **values: Any) -> models.Event:
        return models.Event.objects.create(
            course=course, event_no=course.events.count() + 1, kind=kind, onset_at=self._at(onset), **values
        )

    def session(self, course: models.Course, started: str, level: int) -> models.Mobilisation:
        return models.Mobilisation.objects.create(course=course, started_at=self._at(started), level=level)

    def check(self, run: models.Run, day: str, **values: Any) -> models.DailyCheck:
        return models.DailyCheck.objects.create(run=run, checked_on=date.fromisoformat(day), **values)

    def attempt(
        self, patient: models.Patient, moment: str, route: str = "AXILLARY_L", **values: Any
    ) -> models.FailedAttempt:
        return models.FailedAttempt.objects.create(
            centre=self.centre,
            patient=patient,
            attempted_at=self._at(moment),
            intended_route=route,
            access_method="PERCUTANEOUS",
            operator_code="OP1",
            location="CATH_LAB",
            urgency="URGENT",
            failure="NO_PUNCTURE",
            **values,
        )

    def candidate(self, day: str) -> models.Candidate:
        return models.Candidate.objects.create(
            centre=self.centre,
            line_no=self.centre.candidates.count() + 1,
            considered_on=date.fromisoformat(day),
            route="AXILLARY",
            reason="VESSEL_UNSUITABLE",
        )

    def report(self, period: str = "2026-Q1", as_of: datetime | None = None) -> Report:
        """The report of a period, read now or as of a moment."""
        dataset = load_dataset(centres=[self.centre], as_of=as_of)
        return build_report(dataset=dataset, period=Period.parse(period, dataset.zone), as_of=as_of)

    def _at(self, text: str) -> datetime:
        return at(text, self.zone)

    def _moments(self, values: dict[str, Any]) -> dict[str, Any]:
        return {k: self._at(v) if k.endswith("_at") and isinstance(v, str) else v for k, v in values.items()}


NOW = datetime(2026, 11, 1, tzinfo=UTC)
