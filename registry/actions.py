"""Every write to the logbook: atomic, by a named person, with its reason kept in the history."""

from __future__ import annotations

import logging
import secrets
from collections.abc import Iterable
from datetime import datetime
from typing import Any, TypeAlias, TypeVar

import pghistory
from allauth.mfa.models import Authenticator
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.core.exceptions import ObjectDoesNotExist
from django.db import transaction
from django.db.models import F, Max
from django.utils import timezone

from registry import guessing
from registry.choices import EndReason, Relation
from registry.models import (
    Answer,
    Candidate,
    Centre,
    ConfirmedDefinition,
    Course,
    CourseOutcome,
    DailyCheck,
    Event,
    FailedAttempt,
    Patient,
    PatientIdentity,
    Record,
    Run,
    Submission,
    User,
)
from registry.problem import Problem
from registry.proposals import keep_proposal

log = logging.getLogger(__name__)
PASSWORD_BYTES = 15
R = TypeVar("R", bound=Record)
Answers: TypeAlias = dict[Problem, str]  # what was questioned, and the reason given


class Conflict(Exception):  # noqa: N818 - it reads as what it is
    """Somebody saved this record since the form was opened. ``current`` is what stands now."""

    def __init__(self, current: Record) -> None:
        super().__init__(f"{current} was changed meanwhile")
        self.current = current


class Gone(Exception):  # noqa: N818 - it reads as what it is
    """Somebody removed this record, or the one it hangs on, since the form was opened."""


def written_by(user: User | None, reason: str = "") -> Any:
    """Context under which the history notes who wrote and why."""
    who = {"user": user.pk, "name": user.username} if user else {"name": "command line"}
    return pghistory.context(**who, **({"reason": reason} if reason else {}))


def keep_answers(record: Record, answers: Answers, *, by: User | None) -> None:
    """Store the reasons a person gave for questioned values."""
    for problem, reason in answers.items():
        Answer.objects.create(
            entity=record.entity,
            record_id=record.public_id,
            code=problem.code,
            question=problem.text,
            reason=reason,
            given_by=by,
        )


def answer_question(
    *, entity: str, record_id: Any, code: str, question: str, reason: str, by: User
) -> Answer:
    """Keep why an open question stays without a value, or how it was dealt with."""
    return Answer.objects.create(
        entity=entity, record_id=record_id, code=code, question=question, reason=reason, given_by=by
    )


@transaction.atomic
def create(*, record: R, by: User | None, answers: Answers | None = None) -> R:
    """Add one record; a run, event, course or candidate gets its number here.

    Raises Gone, and Conflict for a run that would begin after the outcome of its course.
    """
    with written_by(by):
        _hold_patient(record)
        _refuse_run_after_outcome(record)
        number(record)
        keep_proposal(record)
        record.save(force_insert=True)
        keep_answers(record, answers or {}, by=by)
    return record


def _hold_patient(record: Record) -> None:
    """Let one write at a time through to a patient's records: they are held against one another.

    What a form found before may have changed by then. Raises Gone.
    """
    if isinstance(record, Candidate | Centre) or (isinstance(record, Patient) and record.pk is None):
        return
    try:
        Patient.objects.select_for_update().get(pk=_patient_of(record))
    except ObjectDoesNotExist:
        raise Gone from None


def _patient_of(record: Any) -> Any:
    """The key of the patient whom a record is about."""
    if isinstance(record, Patient):
        return record.pk
    if isinstance(record, DailyCheck):
        return record.run.patient_id
    return record.patient_id if hasattr(record, "patient_id") else record.course.patient_id


def _refuse_run_after_outcome(record: Record) -> None:
    """Asked while the patient is held: the course may have ended since the form was checked."""
    if isinstance(record, Run):
        outcome = CourseOutcome.objects.filter(course=record.course_id, occurred_at__lt=record.inserted_at)
        if ended := outcome.first():
            raise Conflict(ended)


def number(record: Record) -> None:
    """Give a run, event, course or candidate its next number, under a lock on its owner."""
    if isinstance(record, Event) and record.event_no is None:
        record.event_no = _next(record.course, "events", "event_no")
    elif isinstance(record, Run) and record.run_no is None:
        record.run_no = _next(record.course, "runs", "run_no")
    elif isinstance(record, Course) and record.course_no is None:
        record.course_no = _next(record.patient, "courses", "course_no")
    elif isinstance(record, Candidate) and record.line_no is None:
        record.line_no = _next(record.centre, "candidates", "line_no")


def _next(owner: Course | Patient | Centre, many: str, column: str) -> int:
    if not type(owner).objects.select_for_update().filter(pk=owner.pk).exists():
        raise Gone
    highest = getattr(owner, many).aggregate(top=Max(column))["top"]
    return (highest or 0) + 1


@transaction.atomic
def correct(*, record: R, version: int, reason: str, by: User, answers: Answers | None = None) -> R:
    """Save changed columns of ``record`` if nobody saved since ``version``.

    Raises Conflict otherwise, and for a run that would begin after the outcome of its course.
    """
    keep_proposal(record)
    columns = [f.attname for f in record._meta.concrete_fields if f.editable and not f.primary_key]
    values = {name: getattr(record, name) for name in columns}
    with written_by(by, reason):
        _hold_patient(record)
        _refuse_run_after_outcome(record)
        rows = type(record)._default_manager.filter(pk=record.pk, version=version)
        if not rows.update(**values, version=F("version") + 1):
            raise Conflict(_current(record))
        keep_answers(record, answers or {}, by=by)
    record.version = version + 1
    return record


@transaction.atomic
def delete(*, record: Record, version: int, reason: str, by: User) -> None:
    """Remove a record entered by mistake; its history stays, with the reason."""
    with written_by(by, reason):
        _hold_patient(record)
        count, _ = type(record)._default_manager.filter(pk=record.pk, version=version).delete()
        if not count:
            raise Conflict(_current(record))


def _current(record: R) -> R:
    """The record as it stands now."""
    current = type(record)._default_manager.filter(pk=record.pk).first()
    if current is None:
        raise Gone
    return current


@transaction.atomic
def keep_patient(
    *, patient: Patient, record_number: str, by: User | None, answers: Answers | None = None
) -> None:
    """Save a new patient, and the local record number if one was given."""
    if patient.pk is None:
        create(record=patient, by=by, answers=answers)
    held = PatientIdentity.objects.numbered(record_number, centre_id=patient.centre_id)
    if record_number and not held.filter(patient=patient).exists():
        _number_patient(patient, record_number, by=by)


def _number_patient(patient: Patient, record_number: str, *, by: User | None) -> None:
    create(
        record=PatientIdentity(patient=patient, centre_id=patient.centre_id, record_number=record_number),
        by=by,
    )


@transaction.atomic
def correct_patient(
    *,
    patient: Patient,
    record_number: str,
    version: int,
    reason: str,
    by: User,
    answers: Answers | None = None,
) -> Patient:
    """Correct a patient together with the local record number, which an empty text takes away."""
    correct(record=patient, version=version, reason=reason, by=by, answers=answers)
    kept = PatientIdentity.objects.filter(patient=patient).first()
    with written_by(by, reason):
        if kept and not record_number:
            kept.delete()
        elif kept and kept.record_number != record_number:
            kept.record_number = record_number
            correct(record=kept, version=kept.version, reason=reason, by=by)
        elif not kept and record_number:
            _number_patient(patient, record_number, by=by)
    return patient


@transaction.atomic
def record_failed_attempt(
    *,
    patient: Patient,
    attempt: FailedAttempt,
    by: User | None,
    record_number: str = "",
    answers: dict[str, Answers] | None = None,
) -> FailedAttempt:
    """Record an attempt that left no pump in: it keeps its place in the denominators."""
    reasons = answers or {}
    keep_patient(patient=patient, record_number=record_number, by=by, answers=reasons.get("patient"))
    attempt.patient = patient
    return create(record=attempt, by=by, answers=reasons.get("failed_attempt"))


@transaction.atomic
def record_implant(
    *,
    patient: Patient,
    course: Course,
    run: Run,
    by: User | None,
    record_number: str = "",
    failed_attempt: FailedAttempt | None = None,
    answers: dict[str, Answers] | None = None,
) -> Run:
    """Record the first device of a course, with the patient if new and the attempt that failed before it.

    Raises Conflict when the patient has a course that has not ended.
    """
    reasons = answers or {}
    keep_patient(patient=patient, record_number=record_number, by=by, answers=reasons.get("patient"))
    _refuse_second_open_course(patient)
    course.patient = patient
    create(record=course, by=by, answers=reasons.get("course"))
    run.course, run.patient, run.run_no, run.relation = course, patient, 1, Relation.FIRST
    create(record=run, by=by, answers=reasons.get("run"))
    if failed_attempt is not None:
        failed_attempt.patient, failed_attempt.centre, failed_attempt.followed_by = (
            patient,
            course.centre,
            run,
        )
        create(record=failed_attempt, by=by, answers=reasons.get("failed_attempt"))
    return run


def _refuse_second_open_course(patient: Patient) -> None:
    """Two desks may begin a course at once: the second waits for the first and then sees its course.

    No constraint says so, since a sheet may bring several old courses whose outcome nobody knows yet.
    """
    _hold_patient(patient)
    still_open = patient.courses.without_outcome().first()
    if still_open:
        raise Conflict(still_open)


@transaction.atomic
def add_run(*, run: Run, by: User | None, answers: Answers | None = None) -> Run:
    """Add a later device to a course, beside or after the one it relates to."""
    run.patient = run.course.patient
    return create(record=run, by=by, answers=answers)


@transaction.atomic
def exchange(
    *,
    old: Run,
    version: int,
    removed_at: datetime,
    new: Run,
    by: User,
    answers: dict[str, Answers] | None = None,
) -> Run:
    """End one run and begin the next in one step. The old balloon leaves before the new one enters."""
    reasons = answers or {}
    old.removed_at, old.end_reason = removed_at, EndReason.EXCHANGE
    correct(record=old, version=version, reason="exchange", by=by, answers=reasons.get("old"))
    new.course, new.patient, new.replaces = old.course, old.patient, old
    return create(record=new, by=by, answers=reasons.get("new"))


@transaction.atomic
def record_outcome(
    *,
    outcome: CourseOutcome,
    still_in: Iterable[Run],
    end_reason: str,
    by: User,
    answers: Answers | None = None,
) -> CourseOutcome:
    """Record how a course ended and close the runs still in place at that moment.

    Raises Conflict when another run is in place as well: somebody recorded it since the form was checked.
    """
    _hold_patient(outcome)
    closing = list(still_in)
    in_place = Run.objects.in_place().filter(course=outcome.course_id)
    if unseen := in_place.exclude(pk__in=[run.pk for run in closing]).first():
        raise Conflict(unseen)
    for run in closing:
        run.removed_at, run.end_reason = outcome.occurred_at, end_reason
        correct(record=run, version=run.version, reason="course outcome", by=by)
    return create(record=outcome, by=by, answers=answers)


def remember_submission(*, key: Any, result_url: str, by: User) -> None:
    """Note that the form with this key was saved; call it inside the same transaction as the save."""
    Submission.objects.create(key=key, result_url=result_url, sent_by=by)


def confirm_definition(*, centre: Centre, name: str, version: str, by: User) -> None:
    """Note who compared a definition, in this version, with its paper; the first confirmation stands."""
    ConfirmedDefinition.objects.get_or_create(centre=centre, name=name, version=version, defaults={"by": by})


@transaction.atomic
def let_read_further(*, person: User, centre: Centre, by: User) -> None:
    """Let a person of another centre compare with this one. Who allowed it stands in the log, by number."""
    person.further_centres.add(centre)
    log.info("Account %s may compare with centre %s, by account %s", person.pk, centre.pk, by.pk)


@transaction.atomic
def end_reading_further(*, person: User, centre: Centre, by: User) -> None:
    """Take that back."""
    person.further_centres.remove(centre)
    log.info("Account %s may not compare with centre %s, by account %s", person.pk, centre.pk, by.pk)


@transaction.atomic
def give_one_time_password(*, person: User, by: User) -> str:
    """Set a random password that must be changed at the next sign-in; it ends the person's sessions.

    It is returned to be shown once and is kept nowhere. Who gave it stands in the log, by number.
    """
    password = secrets.token_urlsafe(PASSWORD_BYTES)
    person.set_password(password)
    person.one_time_password_at = timezone.now()
    person.save()
    guessing.forget_failures(person)
    log.info("One-time password for account %s given by account %s", person.pk, by.pk)
    return password


def end_sign_ins(*, person: User, but: str | None = None) -> None:
    """Sign a person out everywhere, except where the session has this key."""
    for session in Session.objects.filter(expire_date__gte=timezone.now()).exclude(session_key=but):
        if session.get_decoded().get(SESSION_KEY) == str(person.pk):
            session.delete()


@transaction.atomic
def take_second_factor(*, person: User, reason: str, by: User) -> None:
    """Take a lost second factor away and end the person's sessions; the log keeps who, whose and why."""
    Authenticator.objects.filter(user=person).delete()
    end_sign_ins(person=person)
    guessing.forget_failures(person)
    log.info("Second factor of account %s taken away by account %s: %s", person.pk, by.pk, reason)


def save_settings(*, centre: Centre, version: int, by: User) -> Centre:
    """Save the programme's settings if nobody did since ``version``; raises Conflict otherwise."""
    return correct(record=centre, version=version, reason="", by=by)
