"""The programme's settings and the people who sign in."""

from __future__ import annotations

from typing import Any

from django import forms

from registry.choices import Role
from registry.models import Centre, User
from registry.tiers import EXTENDED_GROUPS

COMPARING = (Role.COORDINATOR, Role.PHYSICIAN, Role.COMMITTEE)
WHOLE = ("gap_rule_hours", "smallest_cell", "listing_reminder_days", "report_reminder_days")


class CentreForm(forms.ModelForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
    extended_groups = forms.MultipleChoiceField(
        label="Extended groups shown in the forms",
        choices=[(code, f"{tier.title}: {tier.purpose}") for code, tier in EXTENDED_GROUPS.items()],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )

    class Meta:
        model = Centre
        fields = (
            *("name", "time_zone", "gap_rule_hours", "smallest_cell"),
            *("listing_reminder_days", "report_reminder_days", "extended_groups"),
        )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["version"] = self.instance.version
        self.fields["extended_groups"].as_list = True  # type: ignore[attr-defined]
        for name in WHOLE:
            column = next(column for column in Centre.described() if column.name == name)
            low, high = column.hard
            self.fields[name] = forms.IntegerField(
                label=str(column.verbose_name).capitalize(),
                help_text=column.help_text,
                min_value=low,
                max_value=high,
                widget=forms.TextInput(attrs={"inputmode": "numeric"}),
            )


class PersonForm(forms.ModelForm):
    role = forms.ChoiceField(choices=Role.choices, widget=forms.RadioSelect)

    class Meta:
        model = User
        fields = ("username", "first_name", "role", "is_active")
        labels = {"username": "Sign-in name", "first_name": "Name shown", "is_active": "May sign in"}
        help_texts = {
            "username": "Letters, digits and . _ -",
            "is_active": "Switch off instead of deleting: the history names people.",
        }

    def clean_username(self) -> str:
        """Capitals do not count at sign-in, so they make no second name either."""
        name = str(self.cleaned_data["username"])
        if User.objects.filter(username__iexact=name).exclude(pk=self.instance.pk).exists():
            raise forms.ValidationError("This sign-in name is taken.")
        return name


class LostSecondFactorForm(forms.Form):
    """Why a second factor is taken away: chosen, not typed, since it goes into the log."""

    reason = forms.ChoiceField(choices=[(why, why) for why in ("lost", "stolen", "replaced", "broken")])


class FurtherReaderForm(forms.Form):
    """Lets somebody of another centre compare with this one. Their names are typed, not offered as a list."""

    username = forms.CharField(label="Sign-in name of somebody at another centre", max_length=150)

    def __init__(self, *args: Any, centre: Centre, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.centre = centre

    def clean_username(self) -> User:
        """The person: active, of another centre, in a role that reads reports."""
        found = User.objects.filter(
            username__iexact=self.cleaned_data["username"].strip(), is_active=True, role__in=COMPARING
        ).exclude(centre=self.centre)
        person = found.exclude(centre=None).first()
        if person is None:
            raise forms.ValidationError("Nobody at another centre who reads reports has this sign-in name.")
        return person
