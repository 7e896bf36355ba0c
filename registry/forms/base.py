"""What every entry form does: groups, questions about odd values, versions, conditions."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from types import MappingProxyType
from typing import Any, TypeAlias

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Fieldset, Layout
from django import forms
from django.core.exceptions import NON_FIELD_ERRORS
from django.db import IntegrityError

from registry import rules
from registry.criteria import criteria_for, unconfirmed
from registry.fields import CORE
from registry.forms.fields import form_field
from registry.models import Answer, Centre, Record
from registry.proposals import graded, said
from registry.tiers import EXTENDED_GROUPS

# What people read when the database refuses: mostly somebody else's entry came in between.
REFUSALS = {
    "daily_check_once_a_day": "There is a row for this day already. Correct that one.",
    "failed_attempt_once": "This failed attempt is recorded already.",
    "follow_up_once": "This follow-up is recorded already. Correct that one.",
    "haemodynamics_once": "Pressures of this time are recorded already. Correct those.",
    "identity_record_number_once": "Somebody has just recorded this local record number for another patient.",
    "listing_spell_once": "A tier that began on this day is recorded already. Correct that one.",
    "mobilisation_once": "A session that started at this time is recorded already. Correct that one.",
    "plan_change_once": "A change of plan at this time is recorded already. Correct that one.",
    "registry_patient_study_no_key": "Somebody has just recorded this study number. Look at the case first.",
    "registry_screening_course_id_key": "The screening of this course is recorded already. Correct that one.",
    "run_exchange_has_reason": "Say why the catheter was changed.",
    "run_number_once": "Somebody has just recorded a device in this course. Look at the case first.",
    "run_one_balloon_at_a_time": "Two balloon pumps cannot lie in one aorta: these times overlap.",
    "run_relation_fits_number": "A later device needs an earlier one in its course, and there is none.",
}
FOLD = "logbook/layout/fold.html"
Sections: TypeAlias = tuple[tuple[str, tuple[str, ...]], ...]
SET_BY_US = (
    *("course_no", "run_no", "event_no", "line_no"),
    *("proposed_stage", "proposed_barc", "proposed_rutherford", "proposed_kidney_stage"),
)


def change_reason() -> forms.CharField:
    """Why a record is corrected or removed; it stays in the history."""
    return forms.CharField(
        label="Reason",
        min_length=5,
        max_length=300,
        help_text="Kept with the history, for example: misread from the procedure note.",
        error_messages={"required": "Say why."},
    )


class ReasonForm(forms.Form):
    """The reason alone, for removing a record."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    change_reason = change_reason()


class LogbookForm(forms.ModelForm):
    """The form of one record.

    ``sections`` names the core groups and their fields in order. Extended groups follow, folded, if the
    centre has switched them on; ``groups`` names those that the form shows in any case. ``conditions``
    says when a field applies, as ``{"kink_site": "failure=KINK"}``; a field that does not apply is emptied.
    Odd values bring up questions; the reasons given end up in ``answers``.
    """

    sections: Sections = ()
    groups: frozenset[str] = frozenset()
    conditions: Mapping[str, str] = MappingProxyType({})

    def __init__(self, *args: Any, centre: Centre, correcting: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.centre = centre
        self.answers: dict[rules.Problem, str] = {}
        shown = {CORE, *centre.extended_groups, *self.groups}
        self.drop(*(column.name for column in self._meta.model.described() if column.group not in shown))
        self.drop(*SET_BY_US)
        if correcting:
            self._ask_for_reason()

    def drop(self, *names: str) -> None:
        """Leave fields out of this form."""
        for name in names:
            self.fields.pop(name, None)

    def _ask_for_reason(self) -> None:
        self.fields["version"] = forms.IntegerField(widget=forms.HiddenInput, initial=self.instance.version)
        self.fields["change_reason"] = change_reason()

    def _groups(self) -> dict[str, list[str]]:
        groups: dict[str, list[str]] = {}
        for column in self._meta.model.described():
            if column.group not in {CORE, *self.groups} and column.name in self.fields:
                groups.setdefault(column.group, []).append(column.name)
        return groups

    @cached_property
    def helper(self) -> FormHelper:
        """The layout, made when first asked for, after subclasses have settled their fields."""
        self._note_conditions()
        self._note_criteria()
        found = graded(self.instance)
        if found and found.chosen in self.fields:
            self.fields[found.chosen].graded = True  # type: ignore[attr-defined]
        helper = FormHelper()
        helper.form_tag = False
        helper.disable_csrf = True
        helper.no_summary = True
        helper.render_hidden_fields = True
        parts: list[Any] = [
            Fieldset(title, *(name for name in names if name in self.fields))
            for title, names in self.sections
        ]
        for group, names in self._groups().items():
            parts.append(Fieldset(EXTENDED_GROUPS[group].title, *names, template=FOLD))
        if "change_reason" in self.fields:
            parts.append(Fieldset("Correction", "change_reason"))
        helper.layout = Layout(*parts)
        return helper

    def proposals(self) -> dict[str, str]:
        """What the entered values propose for the graded field of this form, by its prefixed name."""
        self.is_valid()  # what is filled so far is on the instance then, whatever is missing
        found = graded(self.instance)
        if found is None or found.chosen not in self.fields:
            return {}
        return {self.add_prefix(found.chosen): said(found, self.instance)}

    def _conditional(self) -> list[str]:
        """Fields of this form whose condition can be seen in it."""
        return [
            name
            for name, condition in self.conditions.items()
            if name in self.fields and condition.partition("=")[0] in self.fields
        ]

    def _note_conditions(self) -> None:
        for name in self._conditional():
            field, _, values = self.conditions[name].partition("=")
            self.fields[name].when = f"{self.add_prefix(field)}={values}"  # type: ignore[attr-defined]

    def _note_criteria(self) -> None:
        """Lay the published criteria beside the fields that hold a grade."""
        beside = {
            name: criteria_for(self._meta.model.entity, name, getattr(self.instance, "kind", ""))
            for name in self.fields
        }
        doubtful = unconfirmed(self.centre) if any(beside.values()) else frozenset()
        for name, found in beside.items():
            listed = [{"criteria": one, "unconfirmed": one.name in doubtful} for one in found]
            self.fields[name].criteria = listed  # type: ignore[attr-defined]

    def applies(self, name: str) -> bool:
        """Whether the condition of a field holds for what was entered."""
        field, _, values = self.conditions[name].partition("=")
        given = self.cleaned_data.get(field)
        if isinstance(given, bool):
            given = "yes" if given else "no"
        chosen = given if isinstance(given, list) else [str(given)]
        return any(value in values.split(",") for value in chosen)

    def clean(self) -> dict[str, Any]:
        super().clean()
        for name in self._conditional():
            if not self.applies(name):
                column = self._meta.model._meta.get_field(name)
                self.cleaned_data[name] = None if column.null else column.get_default()
                setattr(self.instance, name, self.cleaned_data[name])  # a page leaves out what it hides
                self.errors.pop(name, None)
        return self.cleaned_data

    def _post_clean(self) -> None:
        super()._post_clean()  # type: ignore[misc]
        answered = self._answered()
        for problem in rules.check(self.instance):
            if problem.field in self.errors or (problem.code, problem.text) in answered:
                continue
            if problem.blocks:
                self.add_error(problem.field if problem.field in self.fields else None, problem.text)
            else:
                self._question(problem)

    def _update_errors(self, errors: Any) -> None:
        """Leave broken constraints to the rules, which have words for them, and to the database."""
        errors.error_dict.pop(NON_FIELD_ERRORS, None)
        super()._update_errors(errors)  # type: ignore[misc]

    def _answered(self) -> set[tuple[str, str]]:
        given = Answer.objects.filter(record_id=self.instance.public_id)
        return set(given.values_list("code", "question")) if self.instance.pk else set()

    def _question(self, problem: rules.Problem) -> None:
        name = f"reason_{problem.code}"
        label = self.fields[problem.field].label if problem.field in self.fields else ""
        field = self.fields[name] = forms.CharField(
            label=f"{label}: {problem.text}" if label else problem.text,
            max_length=300,
            error_messages={"required": "Correct the entry or say why it is right."},
        )
        try:
            self.cleaned_data[name] = self.answers[problem] = field.clean(self[name].data)
        except forms.ValidationError as error:
            self.add_error(name, error)

    def refuse(self, error: IntegrityError) -> None:
        """Show a database refusal at the form: somebody else's entry came in between."""
        diagnosis = getattr(error.__cause__, "diag", None)
        name = getattr(diagnosis, "constraint_name", "") or "a rule of the logbook"
        unforeseen = f"This was not saved because it contradicts another record ({name})."
        self.add_error(None, REFUSALS.get(name, unforeseen))


def record_form(model: type[Record], **attributes: Any) -> Any:
    """``Meta`` for a form with every described column of a model."""
    names = [column.name for column in model.described()]
    return type("Meta", (), {"model": model, "fields": names, "formfield_callback": form_field, **attributes})
