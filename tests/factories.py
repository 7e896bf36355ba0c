"""Valid records, made in one line each; every argument is by keyword and has a sound default."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

from django.utils import timezone

from registry import actions
from registry.choices import DeviceClass, EndReason, ExchangeReason, Intent, Relation, Role, Route, Sex
from registry.choices import Outcome as OutcomeCode
from registry.choices_events import EventKind, Failure, KinkSite, MajorMinor, MalfunctionFix
from registry.models import (
    Candidate,
    Centre,
    Course,
    CourseOutcome,
    DailyCheck,
    Event,
    FailedAttempt,
    FollowUp,
    HaemodynamicSet,
    ListingSpell,
    Mobilisation,
    Patient,
    PatientIdentity,
    PlanChange,
    Run,
    Screening,
    User,
)

_numbers = count(1)
DAY = timedelta(days=1)


def days_ago(days: float) -> datetime:
    """A whole minute some days before now, in UTC."""
    return (timezone.now() - days * DAY).astimezone(UTC).replace(second=0, microsecond=0)


def create_centre(*, code: str = "HB", **values: Any) -> Centre:
    defaults = {"name": f"Hospital {code}", "time_zone": "Europe/Berlin"}
    return actions.create(record=Centre(code=code, **{**defaults, **values}), by=None)


def create_user(*, centre: Centre | None, role: str = Role.COORDINATOR, **values: Any) -> User:
    """An account without a password: tests sign in by session."""
    user = User(centre=centre, role=role, **{"username": f"person{next(_numbers)}", **values})
    user.set_unusable_password()
    user.save()
    return user


def create_patient(*, centre: Centre, record_number: str = "", **values: Any) -> Patient:
    defaults = {"study_no": f"{centre.code}-{next(_numbers):04d}", "birth_year": 1960, "sex": Sex.MALE}
    patient = actions.create(record=Patient(centre=centre, **{**defaults, **values}), by=None)
    if record_number:
        PatientIdentity.objects.create(patient=patient, centre=centre, record_number=record_number)
    return patient


def create_course(*, patient: Patient, **values: Any) -> Course:
    defaults = {"intent": Intent.TRANSPLANT, "shock_stage": "C", "height_cm": 178, "weight_kg": 80}
    course = Course(patient=patient, centre=patient.centre, **{**defaults, **values})
    return actions.create(record=course, by=None)


RUN: dict[str, Any] = {
    "device_class": DeviceClass.IABP,
    "route": Route.AXILLARY_LEFT,
    "access_method": "PERCUTANEOUS",
    "guidance": ["ULTRASOUND"],
    "balloon_volume_ml": "40",
    "catheter_fr": Decimal("7.5"),
    "operator_code": "OP-1",
    "location": "CATH_LAB",
    "urgency": "URGENT",
    "first_position": "ACCEPTABLE",
    "technical_success": True,
}


def create_run(*, course: Course, inserted_at: datetime | None = None, **values: Any) -> Run:
    """A balloon pump in the left axillary artery for nine days; later ones replace the last of the course."""
    last = course.runs.order_by("run_no").last()
    relation = {
        "relation": Relation.SAME_SITE if last else Relation.FIRST,
        "replaces": last,
        "exchange_reason": ExchangeReason.KINK if last else "",
    }
    if values.get("removed_at") and "end_reason" not in values:
        values["end_reason"] = EndReason.EXCHANGE
    run = Run(
        course=course,
        patient=course.patient,
        inserted_at=inserted_at or days_ago(9),
        **{**RUN, **relation, **values},
    )
    return actions.create(record=run, by=None)


def create_case(*, centre: Centre, **values: Any) -> Run:
    """A new patient on support: patient, course and one run, which is returned."""
    return create_run(course=create_course(patient=create_patient(centre=centre)), **values)


def create_check(*, run: Run, **values: Any) -> DailyCheck:
    day = timezone.localtime(run.inserted_at).date()
    return actions.create(record=DailyCheck(run=run, **{"checked_on": day, **values}), by=None)


def create_mobilisation(*, course: Course, **values: Any) -> Mobilisation:
    defaults = {"started_at": days_ago(5), "level": 5}
    return actions.create(record=Mobilisation(course=course, **{**defaults, **values}), by=None)


def create_event(*, course: Course, kind: str = EventKind.KINK, **values: Any) -> Event:
    """A kink within the balloon on the first run, unless another kind is asked for."""
    kink: dict[str, Any] = {
        "run": course.runs.first(),
        "failure": Failure.KINK,
        "kink_site": KinkSite.IN_BALLOON,
        "severity": MajorMinor.MINOR,
        "fixed_by": MalfunctionFix.STRAIGHTEN,
    }
    defaults = kink if kind == EventKind.KINK else {}
    event = Event(course=course, kind=kind, **{"onset_at": days_ago(4), **defaults, **values})
    return actions.create(record=event, by=None)


def create_outcome(*, course: Course, **values: Any) -> CourseOutcome:
    defaults = {"outcome": OutcomeCode.TRANSPLANT, "occurred_at": days_ago(1)}
    return actions.create(record=CourseOutcome(course=course, **{**defaults, **values}), by=None)


def create_plan_change(*, course: Course, **values: Any) -> PlanChange:
    defaults = {"changed_at": days_ago(3), "intent": Intent.DURABLE, "reason": "antibodies found"}
    return actions.create(record=PlanChange(course=course, **{**defaults, **values}), by=None)


def create_follow_up(*, course: Course, **values: Any) -> FollowUp:
    defaults = {"point": "30D", "seen_on": days_ago(0).date(), "status": "ALIVE"}
    return actions.create(record=FollowUp(course=course, **{**defaults, **values}), by=None)


def create_screening(*, course: Course, **values: Any) -> Screening:
    defaults = {"imaging": ["CT_ANGIO"], "route_reason": ["MOBILITY"], "procedure_consent": "Y"}
    return actions.create(record=Screening(course=course, **{**defaults, **values}), by=None)


def create_haemodynamics(*, course: Course, **values: Any) -> HaemodynamicSet:
    defaults = {"measured_at": days_ago(8), "on_support": "IABP", "mean_mmhg": 70}
    return actions.create(record=HaemodynamicSet(course=course, **{**defaults, **values}), by=None)


def create_listing(*, course: Course, **values: Any) -> ListingSpell:
    defaults = {"tier": "2", "began_on": days_ago(8).date()}
    return actions.create(record=ListingSpell(course=course, **{**defaults, **values}), by=None)


def create_candidate(*, centre: Centre, **values: Any) -> Candidate:
    defaults = {"considered_on": days_ago(2).date(), "route": "AXILLARY", "reason": "VESSEL_UNSUITABLE"}
    return actions.create(record=Candidate(centre=centre, **{**defaults, **values}), by=None)


def create_failed_attempt(*, patient: Patient, **values: Any) -> FailedAttempt:
    shared = ("access_method", "guidance", "operator_code", "location", "urgency")
    defaults = {
        **{name: RUN[name] for name in shared},
        "attempted_at": days_ago(9),
        "intended_route": Route.AXILLARY_RIGHT,
        "failure": "NO_PUNCTURE",
    }
    attempt = FailedAttempt(patient=patient, centre=patient.centre, **{**defaults, **values})
    return actions.create(record=attempt, by=None)
