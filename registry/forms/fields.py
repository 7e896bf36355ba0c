"""From a logbook column to the field that people fill."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db.models import Field
from django.utils.text import capfirst

from registry import fields as columns
from registry.forms.moments import DayField, MomentField

NOT_RECORDED = ("", "Not recorded")
MOST_BUTTONS = 6  # with more choices a list is quicker to read than buttons
DAYS_AHEAD = {"expires_on": 10 * 366}  # days that usually lie in the future; others at most tomorrow
YES, NO = ("yes", "Yes"), ("no", "No")


class NumberField(forms.DecimalField):
    """A number in plain digits; a decimal comma is understood."""

    default_error_messages = {"invalid": "Write a number in digits, for example 7.5."}

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


class WholeField(forms.IntegerField):
    default_error_messages = {"invalid": "Write a whole number in digits."}


class CodesField(forms.MultipleChoiceField):
    """Several codes, returned in the order of the code list."""

    def clean(self, value: Any) -> list[str]:
        chosen = super().clean(value)
        return [code for code, _ in self.choices if code in chosen]  # type: ignore[union-attr, misc]


class YesNoField(forms.TypedChoiceField):
    """Yes, no or, where allowed, not recorded."""

    def __init__(self, *, required: bool, **kwargs: Any) -> None:
        choices = [YES, NO] if required else [YES, NO, NOT_RECORDED]
        super().__init__(
            choices=choices, coerce=lambda text: text == "yes", empty_value=None,
            widget=forms.RadioSelect, required=required, **kwargs,
        )  # fmt: skip

    def prepare_value(self, value: Any) -> Any:
        return {True: "yes", False: "no", None: ""}.get(value, value) if not isinstance(value, str) else value


def _range_validators(column: Any) -> list[Any]:
    if not column.hard:
        return []
    low, high = column.hard
    unit = column.unit.replace("%", "%%")  # Django fills in the message with the % operator
    message = f"Must be {low} to {high} {unit}.".replace(" .", ".")
    return [MinValueValidator(low, message), MaxValueValidator(high, message)]


def _choice(column: Any, common: dict[str, Any]) -> forms.Field:
    choices = list(column.choices)
    if not common["required"]:
        choices.append(NOT_RECORDED)
    buttons = len(column.choices) <= MOST_BUTTONS
    if not buttons:
        choices = [("", ""), *choices] if common["required"] else [NOT_RECORDED, *column.choices]
    whole = isinstance(column, columns.Whole)
    return forms.TypedChoiceField(
        choices=choices,
        coerce=int if whole else str,
        empty_value=None if whole else "",
        widget=forms.RadioSelect if buttons else forms.Select,
        **common,
    )


def _number(column: Any, common: dict[str, Any]) -> forms.Field:
    whole = isinstance(column, columns.Whole)
    widget = forms.TextInput(attrs={"inputmode": "numeric" if whole else "decimal", "autocomplete": "off"})
    common |= {"widget": widget, "validators": _range_validators(column)}
    if whole:
        return WholeField(**common)
    return NumberField(decimal_places=column.decimal_places, max_digits=column.max_digits, **common)


def _yes_no(column: Any, common: dict[str, Any]) -> forms.Field:
    if column.has_default() and not column.null:
        return forms.BooleanField(**common | {"required": False})
    return YesNoField(**common)


def _make(column: Any, common: dict[str, Any]) -> forms.Field:
    if isinstance(column, columns.Codes):
        return CodesField(choices=column.codes.choices, widget=forms.CheckboxSelectMultiple, **common)
    if column.choices:
        return _choice(column, common)
    if isinstance(column, columns.YesNo):
        return _yes_no(column, common)
    if isinstance(column, columns.Moment):
        return MomentField(**common)
    if isinstance(column, columns.Day):
        return DayField(days_ahead=DAYS_AHEAD.get(column.name, 1), **common)
    if isinstance(column, (columns.Whole, columns.Number)):
        return _number(column, common)
    if isinstance(column, columns.Words):
        return forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), max_length=2000, **common)
    return forms.CharField(max_length=column.max_length, validators=column.validators[:-1], **common)


def offer(field: forms.Field, wanted: Callable[[str], bool]) -> None:
    """Keep only the wanted codes of a choice field. A list still opens empty: nothing chosen is no answer."""
    choices: Any = field.choices  # type: ignore[attr-defined]
    kept = [choice for choice in choices if wanted(choice[0])]
    if isinstance(field.widget, forms.Select) and not any(code == "" for code, _ in kept):
        kept.insert(0, ("", ""))
    field.choices = kept  # type: ignore[attr-defined]


SHORT = (columns.Whole, columns.Number)


def form_field(column: Field[Any, Any], **kwargs: Any) -> forms.Field | None:
    """The form field of a column with its label, help, unit and width; others as Django makes them."""
    if not isinstance(column, columns.Described):
        return column.formfield(**kwargs)
    common: dict[str, Any] = {
        "required": not (column.blank or column.null),
        "label": capfirst(column.verbose_name),
        "help_text": column.help_text,
    }
    if column.has_default() and not column.null:
        common["initial"] = column.get_default()
    field = _make(column, common)
    field.unit = column.unit  # type: ignore[attr-defined]
    if isinstance(column, SHORT) and not column.choices:
        field.size = "short"
    return field
