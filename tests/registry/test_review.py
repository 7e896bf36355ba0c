"""A course told on one page, with and without dates."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from registry.models import Run, User
from registry.review import tell
from tests.factories import (
    create_check,
    create_event,
    create_haemodynamics,
    create_listing,
    create_mobilisation,
    create_outcome,
    days_ago,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def full(run: Run) -> Run:
    """A course with one of everything that is told."""
    create_event(course=run.course, run=run, onset_at=days_ago(4))
    create_event(course=run.course, run=run, onset_at=days_ago(3), review="REFUTED")
    create_mobilisation(course=run.course, started_at=days_ago(8), level=7)
    create_mobilisation(course=run.course, started_at=days_ago(7), level=8)
    create_check(run=run, film_verdict="HIGH", position_action="BEDSIDE_ADJUST")
    return run


def test_it_is_told_in_order_with_days_of_support(full: Run) -> None:
    create_outcome(course=full.course, occurred_at=days_ago(1))
    lines = tell(full.course)

    assert [line.at for line in lines] == sorted(line.at for line in lines)
    assert lines[0].day == 0
    assert [line.text.partition(":")[0] for line in lines if line.kind == "mobile"] == [
        "First out of bed",
        "First walk",
    ]
    assert sum(line.kind == "event" for line in lines) == 1


def test_pressures_and_tiers_on_support_are_told(run: Run) -> None:
    course = run.course
    create_haemodynamics(course=course, measured_at=days_ago(10), on_support="NONE", wedge_mmhg=27)
    create_haemodynamics(course=course, measured_at=days_ago(6), on_support="", mean_mmhg=None)
    create_listing(course=course, tier="4", began_on=days_ago(30).date())
    create_listing(course=course, tier="2", began_on=days_ago(5).date())
    told = {line.day: line.text for line in tell(course)}

    assert told[-1] == "Pressures, no pump and no inotrope: mean 70 mmHg, wedge 27 mmHg"
    assert told[4] == "Waiting list: tier 2"
    assert not any("tier 4" in text or "not said" in text for text in told.values())


def test_the_logbook_sees_numbers_and_dates(full: Run, desk: Client) -> None:
    page = desk.get(reverse("review", args=[full.course.public_id])).content.decode()

    assert str(full.course) in page
    assert f"{full.inserted_at:%b-%Y}" in page


def test_without_dates_nothing_names_the_patient(full: Run, desk: Client) -> None:
    page = desk.get(reverse("review", args=[full.course.public_id]), {"dates": "no"}).content.decode()

    assert full.patient.study_no not in page
    assert f"{full.inserted_at:%b-%Y}" not in page
    assert str(full.patient.birth_year) not in page
    assert full.operator_code not in page
    assert "day 0" in page


@pytest.mark.parametrize("dates", ["yes", "no"])
def test_the_committee_opens_no_case(
    dates: str, full: Run, committee: User, sign_in: Callable[[User], Client]
) -> None:
    page = sign_in(committee).get(reverse("review", args=[full.course.public_id]), {"dates": dates})

    assert page.status_code == 403
    assert full.patient.study_no not in page.content.decode()


def test_a_course_without_a_device_has_a_page_too(full: Run, desk: Client) -> None:
    full.course.events.all().delete()
    full.checks.all().delete()
    full.delete()

    assert desk.get(reverse("review", args=[full.course.public_id])).status_code == 200
