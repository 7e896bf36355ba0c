"""Recording what happens during a course, how it ended and what came after."""

from __future__ import annotations

from datetime import date
from typing import Any, cast

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from registry import actions
from registry.access import LOGBOOK, WRITING, SignedInRequest, allow, own
from registry.choices_events import EventKind
from registry.forms.base import LogbookForm
from registry.forms.followed import (
    CandidateForm,
    DailyCheckForm,
    EventForm,
    FollowUpForm,
    MobilisationForm,
    OutcomeForm,
    PlanChangeForm,
)
from registry.models import (
    Candidate,
    Course,
    CourseOutcome,
    DailyCheck,
    Event,
    FollowUp,
    Mobilisation,
    PlanChange,
    Record,
    Run,
)
from registry.views.entry import Forms, Page, entry
from registry.views.places import place_of


def course_of(request: SignedInRequest, course_id: Any) -> Course:
    return own(Course.objects.select_related("patient", "centre"), course_id, user=request.user)


def add(
    request: SignedInRequest,
    *,
    record: Record,
    form: type[LogbookForm],
    page: Page,
    initial: dict[str, Any] | None = None,
) -> HttpResponse:
    """A new record of a course, by its plain form."""

    def make(data: Any) -> Forms:
        return [form(data, prefix="new", centre=request.centre, instance=record, initial=initial)]

    def save(forms: Forms) -> Record:
        return actions.create(record=forms[0].instance, by=request.user, answers=forms[0].answers)

    return entry(request, page=page, make=make, save=save, lead_to=lambda saved: page.back)


@allow(LOGBOOK, methods=WRITING)
def new_event(request: SignedInRequest, course_id: Any, kind: str) -> HttpResponse:
    course = course_of(request, course_id)
    chosen = next((k for k in EventKind if k.name.lower().replace("_", "-") == kind), None)
    if chosen is None:
        raise Http404
    page = Page(
        title=f"{chosen.label}, {course}",
        purpose="One clinical happening is one event, however many classifications it meets.",
        back=place_of(course),
        save_label="Record the event",
        done=f"{chosen.label} recorded.",
    )
    return add(request, record=Event(course=course, kind=chosen), form=EventForm, page=page)


def asked_day(request: SignedInRequest, run: Run) -> date | None:
    """The day that the address names, else today while the device lies."""
    try:
        return date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        return timezone.localdate() if run.removed_at is None else None


@allow(LOGBOOK, methods=WRITING)
def new_check(request: SignedInRequest, run_id: Any) -> HttpResponse:
    run = own(Run.objects.select_related("course__patient"), run_id, user=request.user)
    page = Page(
        title=f"Daily row, {run}",
        purpose="One row for each day in place. What was not looked at stays empty; empty is never zero.",
        back=place_of(run),
        save_label="Record the day",
        done="Day recorded.",
    )
    today = {"checked_on": asked_day(request, run)}
    return add(request, record=DailyCheck(run=run), form=DailyCheckForm, page=page, initial=today)


@allow(LOGBOOK, methods=WRITING)
def new_mobilisation(request: SignedInRequest, course_id: Any) -> HttpResponse:
    course = course_of(request, course_id)
    page = Page(
        title=f"Mobilisation, {course}",
        purpose="One session and the highest level reached, on the ICU Mobility Scale.",
        back=place_of(course),
        save_label="Record the session",
        done="Session recorded.",
    )
    return add(request, record=Mobilisation(course=course), form=MobilisationForm, page=page)


@allow(LOGBOOK, methods=WRITING)
def new_plan_change(request: SignedInRequest, course_id: Any) -> HttpResponse:
    course = course_of(request, course_id)
    page = Page(
        title=f"Change of plan, {course}",
        purpose=f"The intent at the start, {course.get_intent_display().lower()}, stays.",
        back=place_of(course),
        save_label="Record the change",
        done="Change of plan recorded.",
    )
    return add(request, record=PlanChange(course=course), form=PlanChangeForm, page=page)


@allow(LOGBOOK, methods=WRITING)
def new_follow_up(request: SignedInRequest, course_id: Any) -> HttpResponse:
    course = course_of(request, course_id)
    page = Page(
        title=f"Follow-up, {course}",
        purpose="Status at a fixed time. Not reached is an answer too; nobody is assumed to be alive.",
        back=place_of(course),
        save_label="Record the follow-up",
        done="Follow-up recorded.",
    )
    return add(request, record=FollowUp(course=course), form=FollowUpForm, page=page)


@allow(LOGBOOK, methods=WRITING)
def new_outcome(request: SignedInRequest, course_id: Any) -> HttpResponse:
    course = course_of(request, course_id)
    if request.method != "POST" and CourseOutcome.objects.filter(course=course).exists():
        return redirect("correct", "outcome", course.outcome.public_id)

    def make(data: Any) -> Forms:
        return [OutcomeForm(data, prefix="new", centre=request.centre, instance=CourseOutcome(course=course))]

    def save(forms: Forms) -> Record:
        form = cast(OutcomeForm, forms[0])
        return actions.record_outcome(
            outcome=form.instance,
            still_in=form.still_in,
            end_reason=form.end_reason,
            by=request.user,
            answers=form.answers,
        )

    page = Page(
        title=f"Outcome, {course}",
        purpose="How the course ended. Escalation is no outcome: the course goes on with another device.",
        back=place_of(course),
        save_label="Record the outcome",
        done="Outcome recorded.",
    )
    return entry(request, page=page, make=make, save=save, lead_to=place_of)


@allow(LOGBOOK, methods=WRITING)
def new_candidate(request: SignedInRequest) -> HttpResponse:
    page = Page(
        title="Considered, no attempt made",
        purpose="A pump was considered and not attempted. The line keeps the denominators honest.",
        back=reverse("candidates"),
        save_label="Record the line",
        done="Line recorded.",
    )
    return add(request, record=Candidate(centre=request.centre), form=CandidateForm, page=page)
