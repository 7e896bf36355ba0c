"""What a device search asks: the code on the label, or its parts."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Fieldset, Layout
from django import forms
from django.utils import timezone

from registry.barcodes import UnreadableLabel, read_label
from registry.forms.device_label import FILLS
from registry.forms.moments import DayField
from registry.tracing import CRITERIA, DeviceSearchTerms

WINDOW_DAYS = 365


def _part(label: str) -> forms.CharField:
    widget = forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"})
    return forms.CharField(label=label, required=False, max_length=40, widget=widget)


class TracingForm(forms.Form):
    """At least one part of a device's label; ``search`` holds what is sought."""

    device_code = forms.CharField(
        label="Scan or type the code on the label",
        help_text="Or type the parts that are known. Capitals and spaces around do not count; zeros do.",
        required=False,
        strip=False,
        max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    udi_di = _part("Device identifier")
    lot = _part("Lot number")
    serial = _part("Serial number")
    console_code = _part("Drive console")
    since = DayField(
        label="Used from", required=False, help_text="For devices of unknown lot. Empty: a year back."
    )
    until = DayField(label="Used until", required=False, help_text="Empty: today.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["device_code"].size = "long"  # type: ignore[attr-defined]
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.disable_csrf = True
        self.helper.no_summary = True
        self.helper.layout = Layout(
            Fieldset("The device", "device_code", *CRITERIA),
            Fieldset("Devices that cannot be excluded", "since", "until"),
        )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        self._read_code(given)
        if not self.errors and not any(given.get(name) for name in CRITERIA):
            self.add_error(None, "Scan a code or type at least one part.")
        since, until = self._window(given)
        if since > until:
            self.add_error("until", "The end of the time lies before its start.")
        return given

    def _read_code(self, given: dict[str, Any]) -> None:
        code = given.get("device_code") or ""
        if not code.strip():
            return
        try:
            label = read_label(code)
        except UnreadableLabel as refusal:
            self.add_error("device_code", str(refusal))
            return
        for part, name in FILLS.items():
            if name in CRITERIA and getattr(label, part):
                given[name] = given.get(name) or getattr(label, part)

    @staticmethod
    def _window(given: dict[str, Any]) -> tuple[date, date]:
        today = timezone.localdate()
        return given.get("since") or today - timedelta(days=WINDOW_DAYS), given.get("until") or today

    @property
    def search(self) -> DeviceSearchTerms:
        """What is sought, once the form is valid."""
        since, until = self._window(self.cleaned_data)
        parts = {name: self.cleaned_data[name] for name in CRITERIA if self.cleaned_data.get(name)}
        return DeviceSearchTerms(parts, since, until)
