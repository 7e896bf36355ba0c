"""One row of the round: a day's check typed along a line, in the fewest stops."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from registry.choices_events import Mobility, NotMobilised, SiteState
from registry.fields import Code
from registry.forms.base import LogbookForm, change_reason, record_form
from registry.models import Centre, DailyCheck

EMPTY = ("", "")
# In the order in which they are looked at at the bedside.
ROUND_FIELDS = (
    *("assist_ratio", "augmented_mmhg", "map_mmhg", "alarms_24h", "film_verdict", "position_action"),
    *("cranial_marker_mm", "site", "pulse", "limb_neuro", "kink_seen", "mobility"),
    *("creatinine_umol_l", "haemoglobin_g_dl", "platelets_10e9_l", "lactate_mmol_l"),
)
SHORT_LABELS = {
    "assist_ratio": "Ratio",
    "augmented_mmhg": "Augmented",
    "map_mmhg": "Mean",
    "alarms_24h": "Alarms",
    "film_verdict": "Film",
    "position_action": "Action",
    "cranial_marker_mm": "Marker",
    "site": "Site",
    "pulse": "Pulse",
    "limb_neuro": "Limb",
    "kink_seen": "Kink",
    "creatinine_umol_l": "Creatinine",
    "haemoglobin_g_dl": "Haemoglobin",
    "platelets_10e9_l": "Platelets",
    "lactate_mmol_l": "Lactate",
}
LETTERS: dict[str, str] = {str(label)[0].lower(): code for code, label in SiteState.choices}
LETTER_KEY = ", ".join(f"{str(label)[0].lower()} {str(label).lower()}" for _, label in SiteState.choices)


class LettersField(forms.CharField):
    """Several findings as their first letters, in any order: "ot" is oozing and tender."""

    def to_python(self, value: Any) -> list[str]:  # type: ignore[override]
        letters = set(str(value or "").lower()) - set(" ,")
        unknown = sorted(letters - set(LETTERS))
        if unknown:
            raise forms.ValidationError(f"“{unknown[0]}” is no finding. Letters: {LETTER_KEY}.")
        return [code for letter, code in LETTERS.items() if letter in letters]

    def validate(self, value: Any) -> None:
        """Nothing more: an empty box is a site that nobody looked at."""

    def run_validators(self, value: Any) -> None:
        """The letters were checked when they were read."""

    def prepare_value(self, value: Any) -> Any:
        """Stored codes as their letters; typed text as it came."""
        if not isinstance(value, list):
            return value
        return "".join(letter for letter, code in LETTERS.items() if code in value)


def _mobility_choices() -> list[Any]:
    return [EMPTY, ("Level reached", list(Mobility.choices)), ("Not mobilised", list(NotMobilised.choices))]


class RoundForm(LogbookForm):
    """A row of the round, new or saved before. A blank stays a blank, never a zero.

    Filling what was empty needs no reason; changing what was recorded does.
    """

    conditions: Mapping[str, str] = {"position_action": "film_verdict=HIGH,LOW,ROTATED_FOLDED,CANNOT_TELL"}

    Meta = record_form(DailyCheck)

    def __init__(self, *args: Any, centre: Centre, **kwargs: Any) -> None:
        check: DailyCheck = kwargs["instance"]
        self.before = {name: getattr(check, name) for name in self._names()}
        super().__init__(*args, centre=centre, **kwargs)
        self.fields["site"] = LettersField(required=False)
        self.fields["mobility"] = forms.ChoiceField(choices=_mobility_choices(), required=False)
        self.fields = {name: self.fields[name] for name in ROUND_FIELDS if name in self.fields}
        for name, label in SHORT_LABELS.items():
            if name in self.fields:
                self._shorten(name, label)
        self.fields["mobility"].label = "Mobility"
        self.initial.setdefault("mobility", _mobility_of(check))
        if check.pk:
            self.fields["version"] = forms.IntegerField(
                widget=forms.HiddenInput, initial=check.version, required=False
            )
        self._note_conditions()

    @staticmethod
    def _names() -> list[str]:
        """The columns that this form fills."""
        own = [name for name in ROUND_FIELDS if name != "mobility"]
        return [*own, "mobility_best", "not_mobilised"]

    def _shorten(self, name: str, label: str) -> None:
        column: Any = DailyCheck._meta.get_field(name)
        field: Any = self.fields[name]
        field.label, field.help_text = label, ""
        field.unit = column.unit
        if isinstance(column, Code):
            choices: Any = column.choices
            field.widget = forms.Select(choices=[EMPTY, *choices])
            field.choices = [EMPTY, *choices]

    def clean(self) -> dict[str, Any]:
        super().clean()
        chosen = self.cleaned_data.get("mobility", "")
        level = int(chosen) if chosen.isdigit() else None
        self.instance.mobility_best = level
        self.instance.not_mobilised = "" if level is not None else chosen
        if not any(_is_filled(value) for value in self._given().values()):
            self.add_error(None, "Nothing is entered in this row yet.")
        if self.instance.pk and self._changes_recorded():
            self._ask_why()
        return self.cleaned_data

    def _given(self) -> dict[str, Any]:
        """What was understood, by column."""
        level = {name: getattr(self.instance, name) for name in ("mobility_best", "not_mobilised")}
        return {name: self.cleaned_data[name] for name in self.before if name in self.cleaned_data} | level

    def _changes_recorded(self) -> bool:
        return any(_is_filled(self.before[name]) for name in self.changed())

    def _ask_why(self) -> None:
        field = self.fields["change_reason"] = change_reason()
        field.label, field.help_text = "Why does a recorded value change?", ""
        try:
            self.cleaned_data["change_reason"] = field.clean(self["change_reason"].data)
        except forms.ValidationError as error:
            self.add_error("change_reason", error)

    def changed(self) -> list[str]:
        """Columns in which what was typed differs from what is stored."""
        return [name for name, value in self._given().items() if value != self.before[name]]

    @property
    def reason(self) -> str:
        """What the history keeps with this change."""
        return str(self.cleaned_data.get("change_reason") or "added on the round")

    def keep_typed(self) -> dict[str, str]:
        """What was typed, field by field, for a draft; only fields of this row, cut to a sane length."""
        names = [name for name in self.fields if name != "version"]
        typed = {name: str(self.data.get(self.add_prefix(name)) or "")[:300] for name in names}
        return {name: text for name, text in typed.items() if text}


def _is_filled(value: Any) -> bool:
    return value not in (None, "", [])


def _mobility_of(check: DailyCheck) -> str:
    return str(check.mobility_best) if check.mobility_best is not None else check.not_mobilised
