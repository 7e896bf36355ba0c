"""The logbook's rules, as values.

Each function looks at one record and returns the problems it sees. A blocking problem refuses the entry; the
others ask a person for a reason, which is kept. Forms, import and the list of open questions all use these.
Rules read the database and never write to it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from registry.choices import (
    FilmVerdict,
    PositionAction,
    RouteGroup,
    ShockStage,
)
from registry.choices_events import WALK_LEVEL, EventKind, Failure, Limb
from registry.models import (
    Candidate,
    Course,
    CourseOutcome,
    DailyCheck,
    Event,
    FailedAttempt,
    FollowUp,
    Mobilisation,
    Patient,
    PlanChange,
    Record,
    Run,
)
from registry.models.base import label_of
from registry.models.event import REQUIRED_BY_KIND
from registry.problem import Problem, ask, refuse
from registry.proposals import check_grade
from registry.rules_extended import (
    check_flow,
    check_haemodynamics,
    check_listing,
    check_screening,
)
from registry.rules_issued import check_issued
from registry.rules_run import (
    HEIGHT_BANDS,
    RUN_RULES,
    check_against_course,
    check_overlap,
    check_run,
    volumes_for,
)

__all__ = ["HEIGHT_BANDS", "Problem", "ask", "check", "check_stored", "refuse", "volumes_for"]

LATE_EVENT = timedelta(days=30)
EARLY_ADMISSION = timedelta(days=30)
CLOCK_SLACK = timedelta(minutes=5)
ADULT_YEARS = 18


def check_ranges(record: Record) -> list[Problem]:
    """Values inside the hard range but outside the usual one."""
    found = []
    for field in record.described():
        value = getattr(record, field.name)
        if field.soft and value is not None and not field.soft[0] <= value <= field.soft[1]:
            low, high = field.soft
            text = f"{value} {field.unit} is outside the usual {low} to {high}.".replace("  ", " ")
            found.append(ask(f"{field.name}_unusual", field.name, text))
    return found


def check_future(record: Record, now: datetime) -> list[Problem]:
    """Moments that have not come yet."""
    found = []
    for field in record.described():
        value = getattr(record, field.name)
        if isinstance(value, datetime) and value > now + CLOCK_SLACK:
            text = "This lies in the future."
            found.append(refuse(f"{field.name}_future", field.name, text))
    return found


def check_patient(patient: Patient) -> list[Problem]:
    age = timezone.localdate().year - (patient.birth_year or 0)
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


def _span(course: Course) -> tuple[datetime | None, datetime | None]:
    """First insertion and last removal; the second is None while anything is in place."""
    runs = list(course.runs.all())
    ends = [run.removed_at for run in runs]
    last = None if not ends or None in ends else max(end for end in ends if end)
    return min((run.inserted_at for run in runs), default=None), last


def _check_event_time(event: Event) -> list[Problem]:
    first, last = _span(event.course)
    found = []
    if event.onset_at and first and event.onset_at < first - timedelta(days=1):
        found.append(
            refuse("onset_before_course", "onset_at", "The onset lies before the first device went in.")
        )
    if event.onset_at and last and event.onset_at > last + LATE_EVENT:
        text = "The onset lies more than 30 days after the last removal."
        found.append(ask("onset_long_after", "onset_at", text))
    if event.detected_at and event.onset_at and event.detected_at < event.onset_at:
        found.append(refuse("detected_before_onset", "detected_at", "Detection cannot come before onset."))
    if event.run and event.onset_at and event.onset_at < event.run.inserted_at - timedelta(days=1):
        found.append(refuse("onset_before_run", "run", "This run had not begun at the onset."))
    return found


def _limb_fits(limb: str, run: Run) -> bool:
    if run.route_group == RouteGroup.OTHER:
        return True  # such a route names neither limb nor side
    arm = limb in (Limb.ARM_LEFT, Limb.ARM_RIGHT)
    same_side = limb[-1] == run.route[-1]
    return arm == (run.route_group == RouteGroup.AXILLARY) and same_side


def _check_event_kind(event: Event) -> list[Problem]:
    found = []
    for name in REQUIRED_BY_KIND.get(event.kind, ()):
        if getattr(event, name) in (None, ""):
            found.append(refuse(f"{name}_missing", name, f"Enter: {label_of(Event, name)}."))
    if event.failure == Failure.KINK and not event.kink_site:
        found.append(refuse("kink_site_missing", "kink_site", "Say where the kink was."))
    if event.failure == Failure.RUPTURE and event.device_kept is False:
        found.append(
            ask("ruptured_not_kept", "device_kept", "A ruptured catheter is usually kept for inspection.")
        )
    if event.kind in (EventKind.REPOSITION, EventKind.KINK, EventKind.ACCESS_SITE) and not event.run:
        found.append(refuse("run_missing", "run", "Choose the run this happened on."))
    if event.kind == EventKind.LIMB and event.run and event.limb and not _limb_fits(event.limb, event.run):
        found.append(ask("limb_elsewhere", "limb", "The limb is not the one the device entered by."))
    return found


def check_event(event: Event) -> list[Problem]:
    return [*_check_event_time(event), *_check_event_kind(event)]


def check_mobilisation(session: Mobilisation) -> list[Problem]:
    first, last = _span(session.course)
    at = session.started_at
    if at is None:
        return []
    if first and at < first:
        return [refuse("session_before_course", "started_at", "No device was in place yet.")]
    if last and at > last:
        return [refuse("session_after_course", "started_at", "No device was in place any more.")]
    runs = [
        run
        for run in session.course.runs.all()
        if run.inserted_at <= at and (not run.removed_at or run.removed_at > at)
    ]
    femoral = any(run.route_group == RouteGroup.FEMORAL for run in runs)
    if femoral and (session.level or 0) >= WALK_LEVEL:
        return [
            ask("walked_on_femoral", "level", "Walking with a femoral device needs the programme’s protocol.")
        ]
    return []


def check_daily(check: DailyCheck) -> list[Problem]:
    found = []
    run, day = check.run, check.checked_on
    last_day = timezone.localtime(run.removed_at).date() if run.removed_at else timezone.localdate()
    if day and not timezone.localtime(run.inserted_at).date() <= day <= last_day:
        found.append(refuse("day_outside_run", "checked_on", "The device was not in place on this day."))
    off = check.film_verdict not in ("", FilmVerdict.ACCEPTABLE)
    if off and not check.position_action:
        found.append(
            refuse("verdict_without_action", "position_action", "Say what was done about the position.")
        )
    if (
        check.film_verdict in (FilmVerdict.HIGH, FilmVerdict.LOW)
        and check.position_action == PositionAction.NONE
    ):
        found.append(
            ask("verdict_no_action", "position_action", "The balloon was off level and nothing was done.")
        )
    if check.mobility_best is not None and check.not_mobilised:
        text = "Give the level reached or the reason for none, not both."
        found.append(refuse("level_and_reason", "not_mobilised", text))
    return found


def check_outcome(outcome: CourseOutcome) -> list[Problem]:
    first, last = _span(outcome.course)
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
    if outcome.occurred_at and last and outcome.occurred_at < last - timedelta(days=1):
        text = "A device was removed more than a day after this outcome."
        found.append(ask("outcome_before_removal", "occurred_at", text))
    left, when = outcome.discharged_on, outcome.occurred_at
    if left and when and left < timezone.localtime(when).date():
        found.append(
            refuse("discharge_before_outcome", "discharged_on", "The patient left before the outcome.")
        )
    return found


def check_follow_up(visit: FollowUp) -> list[Problem]:
    if visit.seen_on and visit.seen_on > timezone.localdate():
        return [refuse("seen_in_future", "seen_on", "This lies in the future.")]
    if visit.died_on and visit.status != "DEAD":
        return [refuse("died_but_alive", "died_on", "A date of death needs the status “Dead”.")]
    return []


def check_attempt(attempt: FailedAttempt) -> list[Problem]:
    run = attempt.followed_by
    if run and attempt.attempted_at and attempt.attempted_at > run.inserted_at:
        return [refuse("attempt_after_run", "attempted_at", "The attempt lies after the device went in.")]
    if run and attempt.intended_route == run.route:
        return [
            ask("attempt_same_route", "intended_route", "The device went in by this same route and side.")
        ]
    return []


def check_candidate(candidate: Candidate) -> list[Problem]:
    if candidate.considered_on and candidate.considered_on > timezone.localdate():
        return [refuse("considered_in_future", "considered_on", "This lies in the future.")]
    return []


def check_plan_change(change: PlanChange) -> list[Problem]:
    first, _ = _span(change.course)
    if first and change.changed_at and change.changed_at < first:
        return [
            refuse("plan_before_course", "changed_at", "The plan at the start is the intent of the course.")
        ]
    return []


RULES: dict[str, Callable[[Any], list[Problem]]] = {
    "patient": check_patient,
    "course": check_course,
    "run": check_run,
    "failed_attempt": check_attempt,
    "event": check_event,
    "mobilisation": check_mobilisation,
    "daily_check": check_daily,
    "outcome": check_outcome,
    "plan_change": check_plan_change,
    "follow_up": check_follow_up,
    "candidate": check_candidate,
    "screening": check_screening,
    "haemodynamics": check_haemodynamics,
    "listing_spell": check_listing,
}


def check(record: Record, *, now: datetime | None = None) -> list[Problem]:
    """Every problem of one record, blocking ones first. ``record`` may be unsaved."""
    found = [
        *RULES.get(record.entity, lambda _: [])(record),
        *check_grade(record),
        *check_issued(record),
        *check_future(record, now or timezone.now()),
        *check_ranges(record),
    ]
    return sorted(found, key=lambda problem: not problem.blocks)


# What the database itself refuses, or keeps beside the record, is not asked of stored records one by one.
STORED_RULES: dict[str, Callable[[Any], list[Problem]]] = {
    **RULES,
    "run": lambda run: [
        problem
        for part in RUN_RULES
        if part not in (check_overlap, check_against_course)
        for problem in part(run)
    ],
    "haemodynamics": check_flow,
}


def check_stored(record: Record) -> list[Problem]:
    """The questions that a stored record raises; needs no further query if it came with its course."""
    found = [*STORED_RULES[record.entity](record), *check_ranges(record)]
    return [problem for problem in found if not problem.blocks]
