"""Rules of patients, courses, their plans, outcomes and follow-up, and of patients only considered."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from registry.choices import ShockStage, VitalStatus
from registry.models import Candidate, Course, CourseOutcome, FollowUp, Patient, PlanChange
from registry.problem import Problem, ask, refuse
from registry.rules.death import check_alive, check_death, check_outlived
from registry.rules.span import span

EARLY_ADMISSION = timedelta(days=30)
ADULT_YEARS = 18


def check_patient(patient: Patient) -> list[Problem]:
    """The year of birth against the first insertion, or against today before there is one."""
    first = min((run.inserted_at for run in patient.runs.all()), default=None) if patient.pk else None
    began = timezone.localtime(first, patient.centre.zone) if first else None
    age = (began or timezone.localtime()).year - (patient.birth_year or 0)
    if age < 0 and began:
        text = f"Born in {patient.birth_year}, but the first device went in on {began:%d-%b-%Y}."
        return [refuse("born_after_insertion", "birth_year", text)]
    if age < 0:
        return [refuse("birth_year_future", "birth_year", "The year of birth lies in the future.")]
    if age < ADULT_YEARS:
        return [ask("patient_is_child", "birth_year", f"The patient would be {age} years old.")]
    return []


def check_course(course: Course) -> list[Problem]:
    found = []
    first = course.first_inserted_at if course.pk else None
    if course.transferred_in and not course.arrived_at:
        found.append(refuse("arrival_missing", "arrived_at", "Enter when the patient arrived here."))
    if course.arrived_at and not course.transferred_in:
        text = "An arrival time is only for a patient who came with a device in place."
        found.append(refuse("arrival_without_transfer", "arrived_at", text))
    if course.arrived_at and first and course.arrived_at < first:
        text = "The patient arrived before the device went in; then it is no transfer with a device."
        found.append(refuse("arrival_before_insertion", "arrived_at", text))
    if course.admitted_at and first and first < course.admitted_at - EARLY_ADMISSION:
        text = "The device went in more than 30 days before admission."
        found.append(ask("admission_long_after", "admitted_at", text))
    if course.shock_stage == ShockStage.A:
        found.append(ask("stage_a_with_device", "shock_stage", "Stage A with a device is unusual."))
    return found


def check_plan_change(change: PlanChange) -> list[Problem]:
    first, _ = span(change.course)
    if first and change.changed_at and change.changed_at < first:
        return [
            refuse("plan_before_course", "changed_at", "The plan at the start is the intent of the course.")
        ]
    return []


def check_outcome(outcome: CourseOutcome) -> list[Problem]:
    first, last = span(outcome.course)
    found = []
    if CourseOutcome.objects.filter(course=outcome.course).exclude(pk=outcome.pk).exists():
        text = "This course has an outcome already. Correct that one."
        found.append(refuse("outcome_twice", "outcome", text))
    if outcome.occurred_at and first and outcome.occurred_at < first:
        found.append(
            refuse(
                "outcome_before_course", "occurred_at", "The outcome lies before the first device went in."
            )
        )
    elif outcome.occurred_at and outcome.course.runs.filter(inserted_at__gt=outcome.occurred_at).exists():
        text = "A device went in after this time. Correct that run, or this time."
        found.append(refuse("outcome_before_run", "occurred_at", text))
    if outcome.occurred_at and last and outcome.occurred_at < last - timedelta(days=1):
        text = "A device was removed more than a day after this outcome."
        found.append(ask("outcome_before_removal", "occurred_at", text))
    left, when = outcome.discharged_on, outcome.occurred_at
    if left and when and left < timezone.localtime(when).date():
        found.append(
            refuse("discharge_before_outcome", "discharged_on", "The patient left before the outcome.")
        )
    return found + check_outlived(outcome)


def check_follow_up(visit: FollowUp) -> list[Problem]:
    if visit.seen_on and visit.seen_on > timezone.localdate():
        return [refuse("seen_in_future", "seen_on", "This lies in the future.")]
    if visit.died_on and visit.status != VitalStatus.DEAD:
        return [refuse("died_but_alive", "died_on", "A date of death needs the status “Dead”.")]
    return [*check_death(visit), *check_alive(visit)]


def check_candidate(candidate: Candidate) -> list[Problem]:
    if candidate.considered_on and candidate.considered_on > timezone.localdate():
        return [refuse("considered_in_future", "considered_on", "This lies in the future.")]
    return []
