"""The box for the code on the device's label, and what it fills."""

from __future__ import annotations

from datetime import date
from typing import Any, cast

from django import forms
from django.http import QueryDict
from django.urls import reverse
from django.utils.text import capfirst

from registry.barcodes import AmbiguousLabel, DeviceLabel, UnreadableLabel, read_label
from registry.forms.base import LogbookForm
from registry.forms.moments import write_day
from registry.models import Run
from registry.models.base import label_of

# Parts of a label and the columns of a run they fill.
FILLS = {"identifier": "udi_di", "lot": "lot", "serial": "serial", "expires_on": "expires_on"}
MANUAL = "by-hand"


def filled_by(label: DeviceLabel) -> dict[str, str | date]:
    """The columns of a run that a label fills, with their values."""
    values = {column: getattr(label, part) for part, column in FILLS.items()}
    return {column: value for column, value in values.items() if value}


def said(label: DeviceLabel) -> str:
    """What a label says, in words."""
    parts = [
        f"{label_of(Run, name)} {write_day(value) if isinstance(value, date) else value}"
        for name, value in filled_by(label).items()
    ]
    return capfirst("; ".join(parts))


def same(one: Any, other: Any) -> bool:
    """Whether two entries mean the same item: spaces around and capitals do not count, leading zeros do."""
    if isinstance(one, date) or isinstance(other, date):
        return bool(one == other)
    return str(one).strip().upper() == str(other).strip().upper()


class LabelledForm(LogbookForm):
    """A run form that takes the code on the label. The code fills what is empty and contradicts what is not.

    What it fills is shown before it is saved: by the page's script at once, else by the form coming back.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if "lot" in self.fields:
            self.fields["device_code"] = self._code_field()
        self.drop("udi_raw")

    def _code_field(self) -> forms.CharField:
        field = forms.CharField(
            label="Scan or type the code on the label",
            help_text="Fills identifier, lot, serial and expiry. A GS1 or HIBC code; "
            "typed with its parentheses, such as (01)09521234543213(17)250101(10)ABC123.",
            required=False,
            strip=False,
            max_length=200,
            widget=forms.TextInput(
                attrs={
                    "autocomplete": "off",
                    "spellcheck": "false",
                    "data-device-code": self.prefix or "",
                    "data-read-at": reverse("read_code"),
                }
            ),
        )
        field.size = "long"  # type: ignore[attr-defined]
        return field

    def _groups(self) -> dict[str, list[str]]:
        groups = super()._groups()
        if "device" in groups and "device_code" in self.fields:
            extra = [name for name in ("device_code", "device_reading") if name in self.fields]
            groups["device"] = [*extra, *groups["device"]]
        return groups

    def clean(self) -> dict[str, Any]:
        super().clean()
        code = (self.cleaned_data.get("device_code") or "").strip("\r\n\t")
        if code.strip():
            self._read(code)
        return self.cleaned_data

    def _read(self, code: str) -> None:
        try:
            label = read_label(code)
        except AmbiguousLabel as question:
            self._ask_which(question)
        except UnreadableLabel as refusal:
            self.add_error("device_code", str(refusal))
        else:
            self._take(label)

    def _ask_which(self, question: AmbiguousLabel) -> None:
        """Let the person choose between the readings; the answer comes with the next post."""
        choices = [(str(place), said(label)) for place, label in enumerate(question.readings)]
        choices.append((MANUAL, "Neither: the parts are typed below"))
        field = forms.ChoiceField(
            label="What the label says", choices=choices, widget=forms.RadioSelect, required=False
        )
        field.as_list = True  # type: ignore[attr-defined]
        self.fields["device_reading"] = field
        answer = self.data.get(self.add_prefix("device_reading"), "")
        if answer == MANUAL:
            self.instance.udi_raw = question.readings[0].raw
        elif answer in dict(choices):
            self._take(question.readings[int(answer)])
        else:
            self.add_error("device_reading", str(question))

    def _take(self, label: DeviceLabel) -> None:
        filled = False
        for name, value in filled_by(label).items():
            given = self.cleaned_data.get(name)
            if not given and name not in self.errors:
                self._fill(name, value)
                filled = True
            elif given and not same(given, value):
                shown = write_day(value) if isinstance(value, date) else value
                self.add_error(name, f"The code says {shown}. Correct one of them.")
        self.instance.udi_raw = label.raw
        if filled:
            self.add_error("device_code", f"Read: {said(label)}. Compare it with the label, then save.")

    def _fill(self, name: str, value: str | date) -> None:
        data = cast(QueryDict, self.data).copy()
        data[self.add_prefix(name)] = write_day(value) if isinstance(value, date) else value
        self.data = data
        self.cleaned_data[name] = value
