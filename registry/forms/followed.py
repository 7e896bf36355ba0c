"""What is recorded while a course goes on, and how it ends."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms

from registry import rules
from registry.choices import EndReason
from registry.choices import Outcome as OutcomeCode
from registry.choices_events import EventKind
from registry.forms.base import LogbookForm, record_form
from registry.forms.fields import offer
from registry.models import (
    Candidate,
    CourseOutcome,
    DailyCheck,
    Event,
    FollowUp,
    Mobilisation,
    PlanChange,
    Run,
)
from registry.models.event import KIND_FIELDS, REQUIRED_BY_KIND

ALL_KIND_FIELDS = {name for names in KIND_FIELDS.values() for name in names}


class EventForm(LogbookForm):
    """One event of a given kind: the common part and the fields of the kind."""

    conditions = {"kink_site": "failure=KINK"}

    Meta = record_form(Event, fields=["run", *(column.name for column in Event.described())])

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.kind = EventKind(kwargs["instance"].kind)
        own = KIND_FIELDS[self.kind]
        self.sections = (
            ("When", ("run", "onset_at", "onset_precision")),
            (str(self.kind.label), own),
            ("Consequence", ("serious", "actions", "resolution", "review", "note")),
        )
        super().__init__(*args, **kwargs)
        self.drop("kind", *(ALL_KIND_FIELDS - set(own)))
        if not self.instance.pk:
            self.drop("review")  # a new event is reported; review comes later
        for name in REQUIRED_BY_KIND.get(self.kind, ()):
            self._require(name)
        self._offer_runs()

    def _require(self, name: str) -> None:
        field = self.fields[name]
        field.required = True
        if isinstance(field, forms.ChoiceField):
            offer(field, lambda code: code != "")

    def _offer_runs(self) -> None:
        runs = Run.objects.filter(course=self.instance.course).select_related("course__patient")
        field = forms.ModelChoiceField(
            runs, required=False, label="Device run", empty_label="None in particular"
        )
        field.label_from_instance = lambda run: f"Run {run.run_no}: {run.get_route_display()}"  # type: ignore[method-assign, assignment]
        only = runs.first() if runs.count() == 1 else runs.in_place().first()
        field.initial = only.pk if only else None
        self.fields["run"] = field
        if not self.instance.pk:
            self.initial["run"] = field.initial  # a correction keeps what was said, even if nothing was


class DailyCheckForm(LogbookForm):
    sections = (
        ("Day", ("checked_on",)),
        ("Pump and position", ("assist_ratio", "film_verdict", "position_action", "kink_seen")),
        ("Site and limb", ("site", "pulse", "limb_neuro")),
        ("Mobility", ("mobility_best", "not_mobilised")),
        ("Note", ("note",)),
    )
    conditions = {"position_action": "film_verdict=HIGH,LOW,ROTATED_FOLDED,CANNOT_TELL"}

    Meta = record_form(DailyCheck)


class MobilisationForm(LogbookForm):
    sections = (("Session", ("started_at", "level", "distance_m", "during", "note")),)
    conditions = {"distance_m": "level=7,8,9,10"}

    Meta = record_form(Mobilisation)


END_OF_RUN: dict[str, str] = {
    OutcomeCode.TRANSPLANT: EndReason.TRANSPLANT,
    OutcomeCode.DURABLE: EndReason.DURABLE,
    OutcomeCode.WEANED: EndReason.WEANED,
    OutcomeCode.DIED: EndReason.DEATH,
    OutcomeCode.WITHDRAWN: EndReason.WITHDRAWAL,
    OutcomeCode.TRANSFERRED: EndReason.TRANSFER_OUT,
}


class OutcomeForm(LogbookForm):
    """How the course ended. Devices still in place are closed at the same moment if so confirmed."""

    sections = (
        ("Outcome", ("outcome", "occurred_at", "close_runs", "discharged_on", "discharge_status", "note")),
    )

    close_runs = forms.BooleanField(
        label="The device still in place ended at that moment", required=False, initial=True
    )

    Meta = record_form(CourseOutcome)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.still_in = list(self.instance.course.runs.in_place())
        if not self.still_in:
            del self.fields["close_runs"]

    def clean(self) -> dict[str, Any]:
        super().clean()
        when = self.cleaned_data.get("occurred_at")
        if self.still_in and not self.cleaned_data.get("close_runs"):
            text = (
                "A device is still recorded as in place. Confirm that it ended, or record its removal first."
            )
            self.add_error("close_runs", text)
        if when and any(run.inserted_at >= when for run in self.still_in):
            self.add_error("occurred_at", "The device in place was inserted after this.")
        elif when:
            self._fit_what_hangs_on_runs(when)
        return self.cleaned_data

    def _fit_what_hangs_on_runs(self, when: datetime) -> None:
        """The devices still in place end with the course; what was recorded on them must not lie later."""
        for run in Run.objects.filter(pk__in=[run.pk for run in self.still_in]):
            run.removed_at = when
            for problem in rules.check_attached(run):
                if problem.blocks:
                    self.add_error("occurred_at", problem.text)

    @property
    def end_reason(self) -> str:
        """What the runs still in place end with."""
        return END_OF_RUN[self.cleaned_data["outcome"]]


class OutcomeCorrectionForm(LogbookForm):
    sections = (("Outcome", ("outcome", "occurred_at", "discharged_on", "discharge_status", "note")),)

    Meta = record_form(CourseOutcome)


class PlanChangeForm(LogbookForm):
    sections = (("Change of plan", ("changed_at", "intent", "reason")),)
    Meta = record_form(PlanChange)


class FollowUpForm(LogbookForm):
    sections = (
        (
            "Follow-up",
            (
                "point",
                "seen_on",
                "status",
                "died_on",
                "arm_function",
                "artery_duplex",
                "graft_dysfunction",
                "mrs",
                "note",
            ),
        ),
    )
    conditions = {"died_on": "status=DEAD"}
    Meta = record_form(FollowUp)


class CandidateForm(LogbookForm):
    sections = (("Considered, no attempt made", ("considered_on", "route", "reason", "note")),)
    Meta = record_form(Candidate)
