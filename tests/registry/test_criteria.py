"""Published criteria beside the fields, and those from memory until somebody compared them."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from registry import criteria
from registry.models import Centre, ConfirmedDefinition, Run, User

pytestmark = pytest.mark.django_db
WARNING = "Criteria from memory"


def test_every_one_names_its_source_with_a_doi_and_a_version() -> None:
    for one in criteria.ALL:
        assert re.search(r"doi:10\.\d+/", one.source), one.name
        assert one.version
    assert len({one.name for one in criteria.ALL}) == len(criteria.ALL)


@pytest.mark.parametrize(("kind", "words"), [
    ("bleeding", ["BARC bleeding types", "ISTH major bleeding"]), ("limb", ["Acute limb ischaemia"]),
    ("renal", ["KDIGO acute kidney injury"]), ("kink", ["Device malfunction", WARNING]),
    ("vascular", ["VARC-3 vascular complications", WARNING]), ("neuro", ["NeuroARC types", WARNING]),
])  # fmt: skip
def test_an_event_shows_the_criteria_of_its_kind(kind: str, words: list[str], desk: Client, run: Run) -> None:
    page = desk.get(reverse("new_event", args=[run.course.public_id, kind])).content.decode()
    assert all(word in page for word in words)
    assert (WARNING in page) == (WARNING in words)


def test_mobility_and_stage_have_theirs(desk: Client, run: Run) -> None:
    assert "ICU Mobility Scale" in desk.get(reverse("new_check", args=[run.public_id])).content.decode()
    assert "SCAI shock stages" in desk.get(reverse("new_implant")).content.decode()


def test_a_confirmation_takes_the_warning_away_for_this_version(
    desk: Client, run: Run, sign_in: Any, administrator: User, centre: Centre
) -> None:
    office = sign_in(administrator)
    assert "Definitions from memory" in office.get(reverse("settings")).content.decode()
    assert office.post(reverse("confirm_definition"), {"name": "malfunction"}).status_code == 302
    assert office.post(reverse("confirm_definition"), {"name": "malfunction"}).status_code == 302
    assert ConfirmedDefinition.objects.get().by == administrator
    url = reverse("new_event", args=[run.course.public_id, "kink"])
    assert WARNING not in desk.get(url).content.decode()
    ConfirmedDefinition.objects.update(version="an older wording")
    assert WARNING in desk.get(url).content.decode()


@pytest.mark.parametrize("name", ["", "barc", "none"])
def test_only_what_is_from_memory_can_be_confirmed(name: str, sign_in: Any, administrator: User) -> None:
    response = sign_in(administrator).post(reverse("confirm_definition"), {"name": name})
    assert response.status_code == 422
    assert not ConfirmedDefinition.objects.exists()
