"""From columns to fields: numbers as people write them, several codes, yes and no and not recorded."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django import forms
from django.core.exceptions import ValidationError

from registry.forms.fields import MOST_BUTTONS, form_field
from registry.forms.moments import DayField
from registry.models import Course, DailyCheck, Event, Mobilisation, Record, Run

MODELS: tuple[type[Record], ...] = (Course, Run, Event, DailyCheck, Mobilisation)


def field_of(model: type[Record], name: str) -> Any:
    return form_field(model._meta.get_field(name))  # type: ignore[arg-type]


@pytest.mark.parametrize(("typed", "value"), [
    ("7,5", "7.5"), ("7.5", "7.5"), (" 8 ", "8"), ("", None), ("8.0", "8.0"),
])  # fmt: skip
def test_a_decimal_comma_is_understood(typed: str, value: str | None) -> None:
    assert field_of(Run, "catheter_fr").clean(typed) == (Decimal(value) if value else None)


@pytest.mark.parametrize("typed", [
    "1.000,5", "7,55", "7,5 Fr", "4,9", "31", "NaN", "sNaN", "Infinity", "1e3", "1e999999", "9" * 5000, "--7",
])  # fmt: skip
def test_other_numbers_are_refused(typed: str) -> None:
    with pytest.raises(ValidationError):
        field_of(Run, "catheter_fr").clean(typed)


@pytest.mark.parametrize("typed", ["1,5", "1.5", "x", "9" * 5000, "-1", "601", "１.２.３"])
def test_whole_numbers_are_whole(typed: str) -> None:
    with pytest.raises(ValidationError):
        field_of(Run, "procedure_min").clean(typed)


def test_zero_is_a_number_and_empty_is_none() -> None:
    field = field_of(Run, "contrast_ml")
    assert field.clean("0") == 0
    assert field.clean("") is None


def test_the_hard_range_is_refused_with_its_unit() -> None:
    with pytest.raises(ValidationError) as refusal:
        field_of(Course, "height_cm").clean("99")
    assert refusal.value.messages == ["Must be 100 to 230 cm."]


@pytest.mark.parametrize(("typed", "value"), [("yes", True), ("no", False), ("", None)])
def test_yes_no_and_not_recorded(typed: str, value: bool | None) -> None:
    field = field_of(Course, "diabetes")
    assert field.clean(typed) is value
    assert field.prepare_value(value) == typed


def test_a_required_yes_or_no_cannot_be_left_open() -> None:
    with pytest.raises(ValidationError):
        field_of(Run, "technical_success").clean("")


def test_several_codes_come_back_in_the_order_of_the_list() -> None:
    field = field_of(Run, "guidance")
    assert field.clean(["LANDMARK", "ULTRASOUND"]) == ["ULTRASOUND", "LANDMARK"]
    with pytest.raises(ValidationError):
        field.clean(["ULTRASOUND", "MOON"])
    with pytest.raises(ValidationError):
        field.clean([])


def test_a_coded_number_is_a_number() -> None:
    field = field_of(Mobilisation, "level")
    assert field.clean("0") == 0
    with pytest.raises(ValidationError):
        field.clean("11")


def test_few_choices_are_buttons_and_many_are_a_list() -> None:
    assert isinstance(field_of(Run, "urgency").widget, forms.RadioSelect)
    assert isinstance(field_of(Run, "route").widget, forms.Select)
    for model in MODELS:
        for column in model.described():
            field = form_field(column)
            if isinstance(field, forms.TypedChoiceField) and column.choices:
                few = len(column.choices) <= MOST_BUTTONS
                assert isinstance(field.widget, forms.RadioSelect) is few, column


def test_an_expiry_date_lies_in_the_future_and_other_days_do_not() -> None:
    for model in MODELS:
        for column in model.described():
            field = form_field(column)
            if isinstance(field, DayField):
                assert (field.days_ahead > 1) is (column.name == "expires_on"), column
    assert field_of(Run, "expires_on").clean("t-0") is not None


@pytest.mark.parametrize("model", MODELS)
def test_every_field_has_a_label_and_says_its_unit(model: type[Record]) -> None:
    for column in model.described():
        field: Any = form_field(column)
        assert field.label
        assert str(field.label)[0] == str(field.label)[0].upper()
        assert field.unit == column.unit
