"""Correcting a record with a reason, removing one entered by mistake, and reading its history."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db import IntegrityError, connection, transaction
from django.db.models import ProtectedError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from registry import actions
from registry.access import LOGBOOK, WRITING, SignedInRequest, allow, own
from registry.forms import extended, followed, implant
from registry.forms.base import LogbookForm, ReasonForm
from registry.history import changes_in, changes_of
from registry.models import (
    Candidate,
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
    PlanChange,
    Record,
    Run,
    Screening,
    User,
)
from registry.removed import find_removed, removed_of
from registry.views.entry import Forms, Page, entry, one_submission, posted
from registry.views.places import place_of

CORRECTIONS: dict[str, tuple[type[Record], type[LogbookForm]]] = {
    "patient": (Patient, implant.PatientCorrectionForm),
    "course": (Course, implant.CourseForm),
    "run": (Run, implant.RunCorrectionForm),
    "failed_attempt": (FailedAttempt, implant.FailedAttemptForm),
    "candidate": (Candidate, followed.CandidateForm),
    "daily_check": (DailyCheck, followed.DailyCheckForm),
    "mobilisation": (Mobilisation, followed.MobilisationForm),
    "event": (Event, followed.EventForm),
    "outcome": (CourseOutcome, followed.OutcomeCorrectionForm),
    "plan_change": (PlanChange, followed.PlanChangeForm),
    "follow_up": (FollowUp, followed.FollowUpForm),
    "screening": (Screening, extended.ScreeningForm),
    "haemodynamics": (HaemodynamicSet, extended.HaemodynamicForm),
    "listing_spell": (ListingSpell, extended.ListingForm),
}


def _record(request: SignedInRequest, entity: str, record_id: Any) -> Record:
    if entity not in CORRECTIONS:
        raise Http404
    model, _ = CORRECTIONS[entity]
    return own(model._default_manager.all(), record_id, user=request.user)


@allow(LOGBOOK, methods=WRITING)
def correct(request: SignedInRequest, entity: str, record_id: Any) -> HttpResponse:
    record = _record(request, entity, record_id)
    form = CORRECTIONS[entity][1]

    def make(data: Any) -> Forms:
        return [form(data, prefix="record", centre=request.centre, instance=record, correcting=True)]

    def save(forms: Forms) -> Record:
        return _save(forms[0], by=request.user)

    page = Page(
        title=f"Correct: {record}",
        purpose="The earlier values stay in the history, with who changed them, when and why.",
        back=place_of(record),
        save_label="Save the correction",
        done="Correction saved.",
    )
    return entry(request, page=page, make=make, save=save, lead_to=place_of)


def _save(form: LogbookForm, *, by: User) -> Record:
    given, record = form.cleaned_data, form.instance
    how: dict[str, Any] = {"version": given["version"], "reason": given["change_reason"]}
    how |= {"by": by, "answers": form.answers}
    if isinstance(record, Patient):
        return actions.correct_patient(patient=record, record_number=given["record_number"], **how)
    return actions.correct(record=record, **how)


@allow(LOGBOOK, methods=WRITING)
def remove(request: SignedInRequest, entity: str, record_id: Any) -> HttpResponse:
    """Take out a record entered by mistake."""
    with one_submission(request) as (key, earlier):
        if earlier:
            return redirect(earlier)
        record = _record(request, entity, record_id)
        back = place_of(record)
        form = ReasonForm(posted(request), initial={"version": record.version})
        if form.is_valid() and _remove(request, record, form, key=key, lead_to=_after(record)):
            messages.success(request, f"Removed: {record}. Its history is kept.")
            return redirect(_after(record))
    context = {"record": record, "form": form, "back": back, "submission": key}
    return render(request, "remove.html", context, status=422 if form.errors else 200)


def _after(record: Record) -> str:
    """Where to go when the record is no more."""
    return reverse("find") if isinstance(record, (Course, Patient)) else place_of(record)


def _remove(request: SignedInRequest, record: Record, form: ReasonForm, *, key: UUID, lead_to: str) -> bool:
    """Whether the record is gone; if not, the form says why."""
    version, reason = form.cleaned_data["version"], form.cleaned_data["change_reason"]
    try:
        with transaction.atomic():
            actions.remember_submission(key=key, result_url=lead_to, by=request.user)
            actions.delete(record=record, version=version, reason=reason, by=request.user)
            connection.check_constraints()  # now, not when it is too late to say so
    except actions.Gone:
        form.add_error(None, "Somebody else has removed this record.")
    except actions.Conflict:
        form.add_error(None, "Somebody saved this record after you opened it. Look at it again first.")
    except (ProtectedError, IntegrityError):
        form.add_error(None, "Other records hang on this one. Remove those first.")
    return not form.errors


@allow(LOGBOOK)
def history(request: SignedInRequest, entity: str, record_id: Any) -> HttpResponse:
    """What became of a record; also of one that was removed, under the address it had."""
    try:
        record = _record(request, entity, record_id)
    except Http404:
        return _history_of_removed(request, entity, record_id)
    context = {"record": record, "changes": changes_of(record), "back": place_of(record), "entity": entity}
    if isinstance(record, Patient):
        context["removed"] = removed_of(record)
    return render(request, "history.html", context)


def _history_of_removed(request: SignedInRequest, entity: str, record_id: Any) -> HttpResponse:
    model = CORRECTIONS[entity][0] if entity in CORRECTIONS else None
    found = find_removed(model, record_id, user=request.user) if model else None
    if model is None or found is None:
        raise Http404
    gone, patient = found
    back = reverse("history", args=["patient", patient.public_id]) if patient else reverse("find")
    context = {"record": gone.name, "gone": gone, "changes": changes_in(model, gone.pk), "back": back}
    return render(request, "history.html", context)
