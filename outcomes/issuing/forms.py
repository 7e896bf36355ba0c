"""Signing a report."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import Any

from crispy_forms.helper import FormHelper
from django import forms
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from outcomes.period import Period
from registry import guessing
from registry.models import User

LONGEST_READING = timedelta(hours=1)
USUAL_STATEMENT = "I have read this report and issue it as the programme’s account of the period."
INTERIM = "Interim, before the period’s end: "


class IssueForm(forms.Form):
    """A statement and the password: what is signed is the report as of the moment it was shown.

    A period that has not begun is refused. One that goes on is issued as interim, which its statement says.
    Wrong passwords from the ``address`` are counted like failed sign-ins.
    """

    as_of = forms.CharField(widget=forms.HiddenInput)
    statement = forms.CharField(
        label="Meaning of the signature",
        initial=USUAL_STATEMENT,
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    interim = forms.BooleanField(
        label="Issue it as interim, before the period’s end; the statement will begin so", required=False
    )
    password = forms.CharField(
        label="Your password", widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        help_text="Signing asks for it again.",
    )  # fmt: skip

    def __init__(self, *args: Any, user: User, address: str, period: Period, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.user, self.address, self.period = user, address, period
        as_of = _moment(self["as_of"].value())
        if as_of and period.end <= as_of:
            del self.fields["interim"]
        self.helper = FormHelper()
        self.helper.form_tag = False

    def clean_as_of(self) -> datetime:
        moment = _moment(self.cleaned_data["as_of"])
        now = timezone.now()
        if moment is None or not now - LONGEST_READING <= moment <= now:
            raise forms.ValidationError(
                "The report was opened too long ago. Open it again and read what changed."
            )
        if self.period.start >= moment:
            raise forms.ValidationError(f"{self.period.label} has not begun: there is nothing to issue yet.")
        return moment

    def clean_password(self) -> str:
        given: str = self.cleaned_data["password"]
        wait = guessing.begin_try(self.user.username, self.address)
        if wait:
            later = "" if math.isinf(wait) else f" Try again in {math.ceil(wait / 60)} min."
            text = f"Too many wrong passwords.{later} The administrator can give you a one-time password."
            raise forms.ValidationError(text)
        if not self.user.check_password(given):
            raise forms.ValidationError("This is not your password.")
        guessing.succeeded(self.user.username, self.address)
        return given

    def clean(self) -> dict[str, Any]:
        super().clean()
        if "interim" in self.fields and "statement" in self.cleaned_data:
            if not self.cleaned_data.get("interim"):
                self.add_error("interim", "Tick this, or issue the report when the period is over.")
            self.cleaned_data["statement"] = INTERIM + self.cleaned_data["statement"]
        return self.cleaned_data


def _moment(text: Any) -> datetime | None:
    """An aware moment, if the text says one."""
    try:
        moment = parse_datetime(str(text))
    except ValueError:
        return None
    return moment if moment and moment.tzinfo else None
