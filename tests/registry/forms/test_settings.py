"""The forms of the administrator: the programme and its people."""

from __future__ import annotations

from typing import Any

import pytest

from registry.forms.settings import CentreForm, PersonForm
from registry.models import Centre, User
from registry.tiers import EXTENDED_GROUPS
from tests.factories import create_user

pytestmark = pytest.mark.django_db

SOUND = {
    "name": "Hospital", "time_zone": "Europe/Berlin", "gap_rule_hours": "24", "smallest_cell": "5",
    "listing_reminder_days": "3", "report_reminder_days": "10", "version": "1",
}  # fmt: skip


def wrong(centre: Centre, **entries: Any) -> list[str]:
    return list(CentreForm({**SOUND, **entries}, instance=centre).errors)


def test_sound_settings_are_taken_with_their_groups(centre: Centre) -> None:
    form = CentreForm({**SOUND, "extended_groups": ["film", "labs"]}, instance=centre)
    assert form.is_valid()
    assert form.save().extended_groups == ["film", "labs"]
    assert not wrong(centre, extended_groups=list(EXTENDED_GROUPS))


@pytest.mark.parametrize(("field", "value"), [
    ("name", ""), ("name", "x" * 81), ("time_zone", "Berlin"), ("time_zone", "../../etc/passwd"),
    ("gap_rule_hours", "73"), ("gap_rule_hours", "-1"), ("gap_rule_hours", ""), ("smallest_cell", "0"),
    ("smallest_cell", "21"), ("smallest_cell", "9" * 5000), ("extended_groups", ["everything"]),
])  # fmt: skip
def test_other_settings_are_refused(field: str, value: Any, centre: Centre) -> None:
    assert wrong(centre, **{field: value}) == [field]


@pytest.mark.parametrize(("field", "value"), [
    ("username", ""), ("username", "two words"), ("username", "x" * 151), ("username", "Coordinator"),
    ("role", "KING"), ("role", ""), ("username", "a\x00b"),
])  # fmt: skip
def test_a_person_needs_a_name_of_their_own_and_a_known_role(
    field: str, value: str, coordinator: User
) -> None:
    entries = {"username": "somebody", "role": "COMMITTEE", "is_active": "on", field: value}
    assert list(PersonForm(entries).errors) == [field]


def test_a_person_keeps_their_name_when_saved_again(centre: Centre) -> None:
    person = create_user(centre=centre, username="Anna")
    form = PersonForm({"username": "Anna", "role": "PHYSICIAN", "is_active": "on"}, instance=person)
    assert form.is_valid(), form.errors
    assert form.save().role == "PHYSICIAN"
