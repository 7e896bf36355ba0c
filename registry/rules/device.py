"""Rules of device runs and of attempts that failed."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from registry.choices import DeviceClass, ExchangeReason, Guidance, Location, Relation, RouteGroup
from registry.models import FailedAttempt, Patient, Run
from registry.problem import Problem, ask, refuse
from registry.rules.extended import check_fixation, check_graft, check_puncture

LONG_RUN = timedelta(days=60)
# Balloon volumes by height as commonly printed (from memory; edges overlap and differ between makes). A
# question only: the label of the device in use decides.
HEIGHT_BANDS: list[tuple[float, float, frozenset[str]]] = [
    (0, 152, frozenset({"25", "30"})),
    (152, 163, frozenset({"30", "34", "35"})),
    (163, 183, frozenset({"40"})),
    (183, 300, frozenset({"40", "50"})),
]


def volumes_for(height_cm: float) -> frozenset[str]:
    """Balloon volumes in mL that are usual for a height in cm."""
    return next(volumes for low, high, volumes in HEIGHT_BANDS if low <= height_cm < high)


def _check_run_times(run: Run) -> list[Problem]:
    found = []
    if run.removed_at and run.inserted_at and run.removed_at <= run.inserted_at:
        text = f"Removal must come after insertion ({timezone.localtime(run.inserted_at):%d-%b-%Y %H:%M})."
        return [refuse("removed_before_inserted", "removed_at", text)]
    if run.removed_at and not run.end_reason:
        found.append(refuse("end_reason_missing", "end_reason", "Say why the run ended."))
    if run.end_reason and not run.removed_at:
        found.append(refuse("removal_time_missing", "removed_at", "Enter when the catheter came out."))
    if run.pump_on_at and run.inserted_at and run.pump_on_at < run.inserted_at:
        found.append(
            refuse("pump_on_before_inserted", "pump_on_at", "The pump cannot start before insertion.")
        )
    if run.removed_at and run.inserted_at and run.removed_at - run.inserted_at > LONG_RUN:
        found.append(ask("run_long", "removed_at", "The run lasted more than 60 days."))
    return found


def _check_run_device(run: Run) -> list[Problem]:
    if run.device_class != DeviceClass.IABP:
        return []
    found = []
    if not run.balloon_volume_ml:
        found.append(refuse("volume_missing", "balloon_volume_ml", "Enter the balloon volume."))
    if run.catheter_fr is None:
        found.append(refuse("catheter_missing", "catheter_fr", "Enter the catheter size."))
    height = run.course.height_cm if run.course_id or getattr(run, "course", None) else None
    if height and run.balloon_volume_ml and run.balloon_volume_ml not in volumes_for(float(height)):
        text = (
            f"{run.balloon_volume_ml} mL is unusual for a height of {height} cm. "
            "Follow the label of the device in use."
        )
        found.append(ask("volume_for_height", "balloon_volume_ml", text))
    if run.expires_on and run.inserted_at and run.expires_on < timezone.localtime(run.inserted_at).date():
        found.append(
            ask("expired_at_insertion", "expires_on", "The device had expired when it was inserted.")
        )
    return found


def _check_run_access(run: Run) -> list[Problem]:
    if not run.route or run.route_group != RouteGroup.AXILLARY:
        return []
    found = []
    if set(run.guidance) <= {Guidance.LANDMARK}:
        found.append(
            ask("axillary_unguided", "guidance", "Axillary access without imaging guidance is unusual.")
        )
    if run.location == Location.BEDSIDE:
        found.append(ask("axillary_bedside", "location", "Axillary access at the bedside is unusual."))
    return found


def _overlap(run: Run) -> Run | None:
    others = Run.objects.balloon_pumps().filter(patient_id=run.patient_id).exclude(pk=run.pk)
    if run.removed_at:
        others = others.filter(inserted_at__lt=run.removed_at)
    before = run.replaces
    if before and before.removed_at and before.removed_at <= run.inserted_at:
        others = others.exclude(pk=before.pk)  # an exchange ends it in the same step
    return others.exclude(removed_at__lte=run.inserted_at).select_related("course__patient").first()


def check_overlap(run: Run) -> list[Problem]:
    if run.device_class != DeviceClass.IABP or not run.inserted_at or not run.patient_id:
        return []
    other = _overlap(run)
    if other is None:
        return []
    if other == run.replaces and run.replaces.removed_at:
        text = "The old balloon leaves before the new one enters: this lies before its removal."
        return [refuse("balloons_overlap", "inserted_at", text)]
    since = timezone.localtime(other.inserted_at)
    until = (
        f"to {timezone.localtime(other.removed_at):%d-%b-%Y %H:%M}"
        if other.removed_at
        else "and is still in place"
    )
    text = (
        f"Two balloon pumps cannot lie in one aorta: {other} lasts from {since:%d-%b-%Y %H:%M} {until}. "
        "To change a catheter, record an exchange."
    )
    return [refuse("balloons_overlap", "inserted_at", text)]


def _check_run_relation(run: Run) -> list[Problem]:
    before = run.replaces
    if before is None:
        return []
    found = []
    if run.route and run.relation == Relation.SAME_SITE and run.route != before.route:
        found.append(
            refuse("site_differs", "route", "An exchange at the same site keeps its route and side.")
        )
    if run.route and run.relation == Relation.CROSSOVER and run.route_group == before.route_group:
        text = "A change of route goes to another artery; this is a new site on the same route."
        found.append(refuse("route_same", "relation", text))
    if run.exchange_reason == ExchangeReason.ROUTINE:
        found.append(ask("exchange_routine", "exchange_reason", "Routine exchange is unusual."))
    if run.inserted_at and run.inserted_at < before.inserted_at:
        text = "A run cannot begin before the run it follows."
        found.append(refuse("before_predecessor", "inserted_at", text))
    return found


def check_against_course(run: Run) -> list[Problem]:
    outcome = getattr(getattr(run, "course", None), "outcome", None)
    if outcome and run.inserted_at and run.inserted_at > outcome.occurred_at:
        text = "The course had ended by then; a later device begins a new course."
        return [refuse("inserted_after_outcome", "inserted_at", text)]
    return []


def check_born(run: Run) -> list[Problem]:
    """An insertion before the year in which the patient was born."""
    patient: Patient | None = getattr(run, "patient", None)
    if patient is None or not patient.birth_year or not run.inserted_at:
        return []
    if patient.birth_year > timezone.localtime(run.inserted_at, patient.centre.zone).year:
        text = f"The year of birth of this patient is {patient.birth_year}, after this."
        return [refuse("inserted_before_birth", "inserted_at", text)]
    return []


RUN_RULES = (
    _check_run_times,
    _check_run_device,
    _check_run_access,
    check_overlap,
    _check_run_relation,
    check_against_course,
    check_born,
    check_puncture,
    check_fixation,
    check_graft,
)


def check_run(run: Run) -> list[Problem]:
    return [problem for part in RUN_RULES for problem in part(run)]


def check_attempt(attempt: FailedAttempt) -> list[Problem]:
    run = attempt.followed_by
    if run and attempt.attempted_at and attempt.attempted_at > run.inserted_at:
        return [refuse("attempt_after_run", "attempted_at", "The attempt lies after the device went in.")]
    if run and attempt.intended_route == run.route:
        return [
            ask("attempt_same_route", "intended_route", "The device went in by this same route and side.")
        ]
    return []
