"""Recording the first device of a course: patient, course and run on one page."""

from __future__ import annotations

from typing import Any

from django import forms

from registry.choices import Closure, DeviceClass, EndReason
from registry.forms.base import LogbookForm, Sections, record_form
from registry.forms.device_label import LabelledForm
from registry.forms.fields import offer
from registry.models import Centre, Course, FailedAttempt, Patient, PatientIdentity, Run
from registry.models.patient import STUDY_NO

IF_TRANSFERRED = "transferred_in=on,True,yes"


NEW_ONLY = ("birth_year", "sex")


class NumberedForm(LogbookForm):
    """A patient with the hospital's own number, which is kept in a table apart."""

    sections = (("Patient", ("study_no", "birth_year", "sex", "record_number", "blood_group")),)

    record_number = forms.CharField(
        label="Local record number",
        max_length=30,
        required=False,
        help_text="Kept apart from the clinical data and out of every export.",
    )

    def refuse_number_of_another(self, patient: Patient) -> None:
        """A local record number belongs to one patient of the centre."""
        given = self.cleaned_data.get("record_number") or ""
        held = PatientIdentity.objects.numbered(given, centre_id=self.centre.pk)
        holder = held.exclude(patient_id=patient.pk).select_related("patient").first()
        if given and holder:
            text = f"This is the local record number of {holder.patient}. Check both numbers."
            self.add_error("record_number", text)


class PatientForm(NumberedForm):
    """The patient. A known study number brings the rest along, so only a new one needs it."""

    Meta = record_form(Patient)

    def __init__(self, *args: Any, centre: Centre, **kwargs: Any) -> None:
        super().__init__(*args, centre=centre, **kwargs)
        self.centre = centre
        self.fields["study_no"].help_text = "A number already known here brings the patient along."
        self.fields["study_no"].widget.attrs["autocapitalize"] = "characters"
        self.fields["study_no"].validators.remove(STUDY_NO)  # small letters are made large first
        for name in NEW_ONLY:
            self.fields[name].help_text = "For a new patient."
        self.known: Patient | None = None

    def clean_study_no(self) -> str:
        return str(self.cleaned_data["study_no"]).strip().upper()

    def clean(self) -> dict[str, Any]:
        super().clean()
        number = self.cleaned_data.get("study_no")
        self.known = Patient.objects.filter(study_no=number).first()
        if self.known:
            self._compare_with_known(self.known)
        self.refuse_number_of_another(self.patient)
        return self.cleaned_data

    def _compare_with_known(self, known: Patient) -> None:
        if known.centre_id != self.centre.pk:
            self.add_error("study_no", "This number is in use at another centre.")
            return
        for column in Patient.described():
            if column.name in self.fields and column.name != "study_no":
                self._compare(column.name, known)
        self._compare_record_number(known)
        still_open = known.courses.without_outcome().first()
        if still_open:
            text = (
                f"Course {still_open.course_no} of {known} has no outcome yet. For another device in it, "
                "open the case and record an exchange or a further device."
            )
            self.add_error("study_no", text)

    def _compare(self, name: str, known: Patient) -> None:
        """Left empty, a field is as it is known; filled differently, it may be another patient."""
        given, recorded = self.cleaned_data.get(name), getattr(known, name)
        if not self.data.get(self.add_prefix(name)):
            self.errors.pop(name, None)
        elif given not in (None, self.fields[name].initial, recorded):
            display = getattr(known, f"get_{name}_display", lambda: recorded)()
            text = f"Recorded for {known}: {display or 'nothing'}. Check the number, or correct the patient."
            self.add_error(name, text)

    def _compare_record_number(self, known: Patient) -> None:
        given = self.cleaned_data.get("record_number")
        kept = PatientIdentity.objects.filter(patient=known).exclude(record_number__iexact=given or "")
        if given and kept.exists():
            self.add_error("record_number", f"{known} has another record number. Check both numbers.")

    def _post_clean(self) -> None:
        if not self.known:
            super()._post_clean()
            self.instance.centre = self.centre

    @property
    def patient(self) -> Patient:
        """The known patient, or the new one still to be saved."""
        return self.known or self.instance


class PatientCorrectionForm(NumberedForm):
    Meta = record_form(Patient)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["record_number"] = self.instance.record_number

    def clean(self) -> dict[str, Any]:
        super().clean()
        self.refuse_number_of_another(self.instance)
        if "record_number" in self.cleaned_data:  # for the page that lays two entries side by side
            self.instance.record_number = self.cleaned_data["record_number"]
        return self.cleaned_data


class CourseForm(LogbookForm):
    sections = (
        (
            "Support course",
            (
                "intent",
                "shock_stage",
                "aetiology",
                "height_cm",
                "weight_kg",
                "admitted_at",
                "transferred_in",
                "arrived_at",
                "note",
            ),
        ),
    )
    conditions = {"arrived_at": IF_TRANSFERRED}

    Meta = record_form(Course)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk and self.instance.runs.exists():
            intent = self.fields["intent"]
            intent.disabled = True
            intent.help_text = "Frozen at the start of support. Record a change of plan instead."


DEVICE = (
    "inserted_at",
    "route",
    "access_method",
    "guidance",
    "balloon_volume_ml",
    "catheter_fr",
    "operator_code",
    "location",
    "urgency",
    "first_position",
    "technical_success",
    "device_class",
)
REMOVAL = ("removed_at", "end_reason", "closure", "closure_success")
REMOVED_ONLY = tuple(column.name for column in Run.described() if column.group == "removal")


class RunForm(LabelledForm):
    """A device going in. Removal has its own form; both can be corrected together."""

    sections: Sections = (("Device", DEVICE), ("Note", ("note",)))
    conditions = {"balloon_volume_ml": "device_class=IABP", "catheter_fr": "device_class=IABP"}

    Meta = record_form(Run)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.drop(*self.left_out())
        self.fields["device_class"].widget = forms.Select(choices=DeviceClass.choices)
        for name in self.conditions:
            self.fields[name].required = True
        offer(self.fields["balloon_volume_ml"], bool)

    def left_out(self) -> tuple[str, ...]:
        """Fields that this form does not ask for."""
        return ("relation", "exchange_reason", *REMOVAL, *REMOVED_ONLY)


class LaterRunForm(RunForm):
    """A further device in a course: an exchange, a change of route, an escalation."""

    sections = (("How it relates", ("relation", "exchange_reason")), ("Device", DEVICE), ("Note", ("note",)))

    def __init__(self, *args: Any, relations: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self.fields["relation"], lambda code: code in relations)
        self.fields["exchange_reason"].required = True
        offer(self.fields["exchange_reason"], bool)

    def left_out(self) -> tuple[str, ...]:
        return (*REMOVAL, *REMOVED_ONLY)


class RunCorrectionForm(RunForm):
    """Everything about a run, for corrections."""

    sections = (
        ("Device", DEVICE),
        ("Relation", ("relation", "exchange_reason")),
        ("Removal", REMOVAL),
        ("Note", ("note",)),
    )

    def left_out(self) -> tuple[str, ...]:
        return () if self.instance.run_no > 1 else ("relation", "exchange_reason")


class RemovalForm(LogbookForm):
    """The catheter comes out."""

    sections: Sections = (("Removal", REMOVAL), ("Note", ("note",)))
    conditions = {
        "closure_success": "closure=" + ",".join(code for code in Closure.values if code != Closure.NONE)
    }

    Meta = record_form(Run)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kept = {*REMOVAL, *REMOVED_ONLY, "note"}
        self.drop(*(name for name in list(self.fields) if name not in kept))
        self.fields["version"] = forms.IntegerField(widget=forms.HiddenInput, initial=self.instance.version)
        for name in ("removed_at", "end_reason"):
            self.fields[name].required = True
        offer(self.fields["end_reason"], lambda code: code not in ("", EndReason.EXCHANGE))


class FailedAttemptForm(LogbookForm):
    """An attempt by the intended route that left no pump in it."""

    sections = (
        (
            "Failed attempt",
            (
                "attempted_at",
                "intended_route",
                "access_method",
                "guidance",
                "operator_code",
                "location",
                "urgency",
                "failure",
                "note",
            ),
        ),
    )

    Meta = record_form(FailedAttempt)


class RouteTriedFirstForm(LogbookForm):
    """On the implant page: another route was intended, tried first and failed."""

    sections = (("Another route tried first", ("tried_first", "intended_route", "failure", "attempted_at")),)
    conditions = dict.fromkeys(("intended_route", "failure", "attempted_at"), "tried_first=on,True,yes")

    tried_first = forms.BooleanField(
        label="Another route was intended, tried first and failed", required=False
    )

    Meta = record_form(FailedAttempt)

    def __init__(self, *args: Any, run: Run, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.drop(*(name for name in list(self.fields) if name not in self.sections[0][1]))
        self.instance.followed_by = run
        self.fields["tried_first"].size = "long"  # type: ignore[attr-defined]
        for name in self.conditions:
            self.fields[name].required = False

    def clean(self) -> dict[str, Any]:
        super().clean()
        if self.cleaned_data.get("tried_first"):
            for name in self.conditions:
                if name not in self.errors and not self.cleaned_data.get(name):
                    self.add_error(name, "Needed when another route was tried first.")
            self._compare_with_run()
        return self.cleaned_data

    def _compare_with_run(self) -> None:
        run, tried = self.instance.followed_by, self.cleaned_data
        if run.inserted_at and tried.get("attempted_at") and tried["attempted_at"] > run.inserted_at:
            self.add_error("attempted_at", "The attempt lies after the device went in.")
        if run.route and run.route == tried.get("intended_route"):
            self.add_error("intended_route", "The device went in by this same route and side.")

    def _post_clean(self) -> None:
        """The rest of the attempt comes from the run; the rules look at it when the run is known."""

    def attempt(self, run: Run) -> FailedAttempt | None:
        """The failed attempt, completed from the run that followed; None if there was none."""
        given = self.cleaned_data
        if not given.get("tried_first"):
            return None
        return FailedAttempt(
            attempted_at=given["attempted_at"],
            intended_route=given["intended_route"],
            failure=given["failure"],
            access_method=run.access_method,
            guidance=run.guidance,
            operator_code=run.operator_code,
            location=run.location,
            urgency=run.urgency,
        )
