"""Recording implants, further devices, removals and failed attempts."""

from __future__ import annotations

from typing import Any, cast

from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from registry import actions
from registry.access import LOGBOOK, WRITING, SignedInRequest, allow, own
from registry.choices import DeviceClass, Relation
from registry.forms.implant import (
    CourseForm,
    FailedAttemptForm,
    LaterRunForm,
    PatientForm,
    RemovalForm,
    RouteTriedFirstForm,
    RunForm,
)
from registry.models import Course, FailedAttempt, Record, Run
from registry.views.entry import Forms, Page, entry
from registry.views.places import place_of

EXCHANGES: list[str] = [Relation.SAME_SITE, Relation.NEW_SITE, Relation.CROSSOVER]
FURTHER: list[str] = [Relation.ESCALATION, Relation.DEESCALATION, Relation.REINSERTION]


@allow(LOGBOOK, methods=WRITING)
def new_implant(request: SignedInRequest) -> HttpResponse:
    centre = request.centre

    def make(data: Any) -> Forms:
        patient = PatientForm(
            data, prefix="patient", centre=centre, initial={"study_no": request.GET.get("study_no")}
        )
        course = Course(centre=centre)
        known = patient.patient if data is not None and patient.is_valid() else None
        if known:  # the device is checked against the patient, new or not
            course.patient = known
        course_form = CourseForm(data, prefix="course", centre=centre, instance=course)
        course_form.drop("note")
        run = Run(course=course, patient=known)
        run_form = RunForm(data, prefix="run", centre=centre, instance=run)
        tried = RouteTriedFirstForm(data, prefix="tried", centre=centre, run=run)
        if data is not None:
            course_form.is_valid()  # the run is checked against the height entered with the course
            run_form.is_valid()  # and the failed attempt against the run
        return patient, run_form, course_form, tried

    def save(forms: Forms) -> Record:
        patient, run, course, tried = cast(
            tuple[PatientForm, RunForm, CourseForm, RouteTriedFirstForm], forms
        )
        return actions.record_implant(
            patient=patient.patient,
            record_number=patient.cleaned_data["record_number"],
            course=course.instance,
            run=run.instance,
            failed_attempt=tried.attempt(run.instance),
            by=request.user,
            answers={"patient": patient.answers, "course": course.answers, "run": run.answers},
        )

    page = Page(
        title="Record an implant",
        purpose="The first device of a support course. For a later one in the same course, open the case.",
        back=reverse("support"),
        save_label="Record the implant",
        done="Implant recorded.",
    )
    return entry(request, page=page, make=make, save=save, lead_to=place_of)


@allow(LOGBOOK, methods=WRITING)
def exchange(request: SignedInRequest, run_id: Any) -> HttpResponse:
    old = own(Run.objects.select_related("course__patient"), run_id, user=request.user)
    centre = request.centre

    def make(data: Any) -> Forms:
        removal = RemovalForm(data, prefix="old", centre=centre, instance=Run.objects.get(pk=old.pk))
        removal.drop("end_reason")
        removal.sections = (("The catheter that comes out", ("removed_at", "closure", "closure_success")),)
        if data is not None:
            removal.instance.end_reason = "EXCHANGE"
            removal.is_valid()
        new = Run(
            course=old.course, patient=old.patient, replaces=removal.instance, run_no=_next_run_no(old.course)
        )
        keep = ("route", "access_method", "balloon_volume_ml", "catheter_fr", "location")
        initial = {name: getattr(old, name) for name in keep}
        run = LaterRunForm(
            data, prefix="run", centre=centre, instance=new, initial=initial, relations=EXCHANGES
        )
        run.drop("device_class")
        return removal, run

    def save(forms: Forms) -> Record:
        removal, run = forms
        return actions.exchange(
            old=removal.instance,
            version=removal.cleaned_data["version"],
            removed_at=removal.cleaned_data["removed_at"],
            new=run.instance,
            by=request.user,
            answers={"old": removal.answers, "new": run.answers},
        )

    page = Page(
        title=f"Exchange, {old.course}",
        purpose="Ends one run, begins the next. The old balloon leaves before the new one enters.",
        back=place_of(old),
        save_label="Record the exchange",
        done="Exchange recorded: a new run, the same course.",
    )
    return entry(request, page=page, make=make, save=save, lead_to=place_of)


def _next_run_no(course: Course) -> int:
    return max((run.run_no for run in course.runs.all()), default=0) + 1


@allow(LOGBOOK, methods=WRITING)
def further_device(request: SignedInRequest, course_id: Any) -> HttpResponse:
    course = own(Course.objects.select_related("patient"), course_id, user=request.user)
    last = course.runs.order_by("run_no").last()

    def make(data: Any) -> Forms:
        number = _next_run_no(course)
        run = Run(
            course=course,
            patient=course.patient,
            replaces=last,
            run_no=number,
            device_class=DeviceClass.MICROAXIAL,
        )
        return [LaterRunForm(data, prefix="run", centre=request.centre, instance=run, relations=FURTHER)]

    page = Page(
        title=f"Further device, {course}",
        purpose="Escalation, de-escalation, or a balloon pump after a gap: a new run, the same course.",
        back=place_of(course),
        save_label="Record the device",
        done="Device recorded.",
    )
    return entry(
        request,
        page=page,
        make=make,
        save=lambda forms: actions.add_run(run=forms[0].instance, by=request.user, answers=forms[0].answers),
        lead_to=place_of,
    )


@allow(LOGBOOK, methods=WRITING)
def remove_device(request: SignedInRequest, run_id: Any) -> HttpResponse:
    run = own(Run.objects.select_related("course__patient"), run_id, user=request.user)
    if run.removed_at and request.method != "POST":
        return redirect("correct", "run", run.public_id)

    def save(forms: Forms) -> Record:
        form = forms[0]
        return actions.correct(
            record=form.instance,
            version=form.cleaned_data["version"],
            reason="removal",
            by=request.user,
            answers=form.answers,
        )

    page = Page(
        title=f"Removal, {run}",
        purpose="The catheter comes out. An exchange and the end of the course have pages of their own.",
        back=place_of(run),
        save_label="Record the removal",
        done="Removal recorded.",
    )
    return entry(
        request,
        page=page,
        make=lambda data: [RemovalForm(data, prefix="run", centre=request.centre, instance=run)],
        save=save,
        lead_to=place_of,
    )


@allow(LOGBOOK, methods=WRITING)
def failed_attempt(request: SignedInRequest) -> HttpResponse:
    centre = request.centre

    def make(data: Any) -> Forms:
        patient = PatientForm(data, prefix="patient", centre=centre)
        attempt = FailedAttemptForm(
            data, prefix="attempt", centre=centre, instance=FailedAttempt(centre=centre)
        )
        return patient, attempt

    def save(forms: Forms) -> Record:
        patient, attempt = cast(tuple[PatientForm, FailedAttemptForm], forms)
        return actions.record_failed_attempt(
            patient=patient.patient,
            record_number=patient.cleaned_data["record_number"],
            attempt=attempt.instance,
            by=request.user,
            answers={"patient": patient.answers, "failed_attempt": attempt.answers},
        )

    page = Page(
        title="Record a failed attempt",
        purpose="A route was tried, no pump was left in. It counts under the intended route.",
        back=reverse("candidates"),
        save_label="Record the attempt",
        done="Failed attempt recorded.",
    )
    return entry(request, page=page, make=make, save=save, lead_to=lambda _: reverse("candidates"))
