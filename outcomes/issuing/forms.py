"""Signing a report."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from crispy_forms.helper import FormHelper
from django import forms
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from registry.models import User

LONGEST_READING = timedelta(hours=1)
USUAL_STATEMENT = "I have read this report and issue it as the programme’s account of the period."


class IssueForm(forms.Form):
    """A statement and the password: what is signed is the report as of the moment it was shown."""

    as_of = forms.CharField(widget=forms.HiddenInput)
    statement = forms.CharField(
        label="Meaning of the signature",
        initial=USUAL_STATEMENT,
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    password = forms.CharField(
        label="Your password", widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        help_text="Signing asks for it again.",
    )  # fmt: skip

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.user = user
        self.helper = FormHelper()
        self.helper.form_tag = False

    def clean_as_of(self) -> datetime:
        moment = parse_datetime(self.cleaned_data["as_of"])
        now = timezone.now()
        if moment is None or moment.tzinfo is None or not now - LONGEST_READING <= moment <= now:
            raise forms.ValidationError(
                "The report was opened too long ago. Open it again and read what changed."
            )
        return moment

    def clean_password(self) -> str:
        given: str = self.cleaned_data["password"]
        if not self.user.check_password(given):
            raise forms.ValidationError("This is not your password.")
        return given
