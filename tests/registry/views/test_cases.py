"""Finding a case and reading it whole."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from registry.models import Run
from registry.round import shown_days
from registry.views import cases
from registry.views.places import place_of
from tests.factories import (
    create_case,
    create_check,
    create_event,
    create_failed_attempt,
    create_follow_up,
    create_mobilisation,
    create_outcome,
    create_patient,
    create_plan_change,
    create_run,
    days_ago,
)

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("hours", "text"), [(0, "0 h"), (47, "47 h"), (48, "2.0 d"), (60, "2.5 d")])
def test_elapsed_time_is_told_in_hours_then_days(hours: int, text: str) -> None:
    assert shown_days(timedelta(hours=hours)) == text


def found(client: Client, text: str) -> str:
    return client.post(reverse("find"), {"q": text}).content.decode()


def test_a_case_is_found_by_study_number_and_by_the_whole_record_number(desk: Client, run: Run) -> None:
    create_patient(centre=run.course.centre, study_no="HB-7777", record_number="77-1")
    assert "HB-7777" in found(desk, "b-77")
    assert "HB-7777" in found(desk, "77-1")
    assert "Nothing found" in found(desk, "77-")


def test_a_search_that_finds_too_many_says_so(
    desk: Client, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cases, "MOST_FOUND", 3)
    for number in range(4):
        create_patient(centre=run.course.centre, study_no=f"HB-9{number}")
    assert "first 3 are shown" in found(desk, "hb-9")
    assert "are shown" not in found(desk, "hb-92")


def test_no_searched_number_stands_in_an_address(desk: Client, run: Run) -> None:
    create_patient(centre=run.course.centre, study_no="HB-7777", record_number="77-1")
    page = desk.get(reverse("find"), {"q": "77-1"})
    assert page.context["q"] == ""
    assert 'method="post"' in page.content.decode()


def full(run: Run) -> Run:
    """A case with something in every part of its page."""
    course = run.course
    Run.objects.filter(pk=run.pk).update(removed_at=days_ago(6), end_reason="EXCHANGE")
    run.refresh_from_db()
    create_run(course=course, inserted_at=days_ago(6))
    create_check(run=run, film_verdict="HIGH", position_action="OBSERVE")
    create_mobilisation(course=course, level=8, distance_m=40)
    create_event(course=course, serious=True, note="seen on the <morning> film")
    create_plan_change(course=course)
    create_follow_up(course=course)
    create_failed_attempt(patient=run.patient, followed_by=run)
    return run


def case(client: Client, run: Run) -> str:
    response = client.get(reverse("case", args=[run.course.public_id]))
    assert response.status_code == 200
    return response.content.decode()


SHOWN = [
    *("Left axillary", "Exchange at the same site", "after a failed attempt", "Kink or malfunction"),
    *("seen on the &lt;morning&gt; film", "8: walking with one person", "antibodies found", "30 days"),
    *("On support now", "Bridge to transplant"),
]


def test_the_page_of_a_case_shows_every_part(desk: Client, run: Run) -> None:
    page = case(desk, full(run))
    for text in SHOWN:
        assert text in page, text
    create_outcome(course=run.course)
    page = case(desk, run)
    assert "as intended at the start" in page
    assert "Record the outcome" not in page


def queries(action: Callable[[], Any]) -> int:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        action()
    return len(seen)


def test_a_long_case_takes_no_more_queries_than_a_short_one(desk: Client, run: Run) -> None:
    full(run)
    case(desk, run)  # the first request also begins the session
    few = queries(lambda: case(desk, run))
    for days in range(8):
        create_event(course=run.course, onset_at=days_ago(2 + days / 10))
        create_mobilisation(course=run.course, started_at=days_ago(4 + days / 10))
        create_check(run=run, checked_on=(days_ago(8) + timedelta(hours=days * 25)).date())
    assert queries(lambda: case(desk, run)) == few


@pytest.mark.parametrize("name", ["find", "candidates"])
def test_a_long_list_takes_no_more_queries_than_a_short_one(name: str, desk: Client, run: Run) -> None:
    full(run)
    desk.get(reverse(name))
    few = queries(lambda: desk.get(reverse(name)))
    for _ in range(6):
        full(create_case(centre=run.course.centre))
    assert queries(lambda: desk.get(reverse(name))) == few


def test_the_page_shows_the_groups_that_the_centre_uses(desk: Client, run: Run) -> None:
    course, centre = run.course, run.course.centre
    course.creatinine_umol_l, course.diabetes, run.contrast_ml = 88, True, 17
    course.save()
    run.save()
    create_check(run=run, lactate_mmol_l=1.4)
    url = reverse("case", args=[course.public_id])
    before = desk.get(url).content.decode()
    assert "88 µmol/L" not in before
    assert "Condition at the start" not in before
    centre.extended_groups = ["labs", "risk", "procedure"]
    centre.save()
    page = desk.get(url).content.decode()
    for text in ("88 µmol/L", "Diabetes", "Procedure, label and removal", ">17</td>", ">1.4</td>"):
        assert text in page


def test_a_search_for_nothing_says_what_to_type(desk: Client, run: Run) -> None:
    page = desk.post(reverse("find"), {"q": " "})
    assert page.status_code == 422
    assert "Type a number" in page.content.decode()
    assert run.patient.study_no in page.content.decode()


def test_a_patient_is_found_by_address(desk: Client, run: Run) -> None:
    other = create_patient(centre=run.course.centre, study_no="HB-7777")
    page = desk.get(place_of(other)).content.decode()
    assert "HB-7777" in page
    assert run.patient.study_no not in page
    assert desk.get(f"{reverse('find')}?patient=7").status_code == 404


def test_the_age_is_that_of_the_year_at_the_centre(desk: Client, run: Run) -> None:
    """Half an hour into 2024 in Berlin it is still 2023 in UTC; the patient was born in 1960."""
    Run.objects.update(inserted_at=datetime(2023, 12, 31, 23, 30, tzinfo=UTC))
    assert "about 64 years" in desk.get(place_of(run)).content.decode()
