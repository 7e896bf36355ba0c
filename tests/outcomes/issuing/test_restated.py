"""Figures of an issued report that moved: when they count as moved, by which cases, and who may see them."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from django.utils import timezone

from outcomes.issuing import Moved, issue, restatements, settled_moment
from outcomes.period import Period
from registry import actions
from registry.models import IssuedReport, Run, User
from tests.factories import create_case, create_event, create_user, days_ago
from tests.outcomes.builder import Logbook

pytestmark = pytest.mark.django_db(transaction=True)

SMALLEST_CELL = 5


def issue_now(run: Run, by: User) -> IssuedReport:
    centre = run.course.centre
    period = Period.between((run.inserted_at - timedelta(days=1)).date(), timezone.localdate(), centre.zone)
    return issue(centre=centre, period=period, statement="I have read it.", as_of=settled_moment(), by=by)


@pytest.fixture
def issued(run: Run, physician: User) -> IssuedReport:
    """Two cases in a running period, issued."""
    create_case(centre=run.course.centre, inserted_at=days_ago(4))
    return issue_now(run, physician)


@pytest.fixture
def book(transactional_db: None) -> Logbook:
    """Twelve courses of a quarter that is over, half of them by each route."""
    return enter_courses(Logbook(), 12, day=3)


def enter_courses(book: Logbook, many: int, *, day: int) -> Logbook:
    for k in range(many):
        course = book.course()
        began, ended = f"2026-07-{day:02d} 10:00", f"2026-07-{day + 6:02d} 10:00"
        book.run(course, began, ended, route=("AXILLARY_L", "FEMORAL_R")[k % 2])
        book.outcome(course, ended)
    return book


def issue_quarter(book: Logbook) -> IssuedReport:
    as_of: datetime = settled_moment()
    signer = create_user(centre=book.centre, role="PHYSICIAN")
    period = Period.parse("2026-Q3", book.centre.zone)
    return issue(centre=book.centre, period=period, statement="Read.", as_of=as_of, by=signer)


def by_key(issued: IssuedReport) -> dict[str, Moved]:
    return {each.figure.key: each for each in restatements(issued)}


def test_a_patient_of_the_denominator_comes_into_the_numerator(issued: IssuedReport, run: Run) -> None:
    create_event(course=run.course, run=run, onset_at=days_ago(2))
    moved = by_key(issued)["complications/ALL/KINK_MALFUNCTION/patients"]

    assert moved.numerator.came == {("patients", run.patient_id)}
    assert not moved.denominator
    assert not moved.by_values


def test_a_patient_leaves_the_numerator_and_stays_in_the_denominator(run: Run, physician: User) -> None:
    event = create_event(course=run.course, run=run, onset_at=days_ago(2))
    signed = issue_now(run, physician)
    actions.delete(record=event, version=event.version, reason="entered twice", by=physician)
    moved = by_key(signed)["complications/ALL/KINK_MALFUNCTION/patients"]

    assert moved.numerator.went == {("patients", run.patient_id)}
    assert not moved.denominator


def test_a_case_entered_late_comes_into_the_denominator(issued: IssuedReport, run: Run) -> None:
    late = create_case(centre=run.course.centre, inserted_at=days_ago(3))
    moved = by_key(issued)["complications/ALL/KINK_MALFUNCTION/patients"]

    assert moved.denominator.came == {("patients", late.patient_id)}
    assert not moved.numerator


def test_a_new_figure_over_nothing_has_not_moved(issued: IssuedReport, run: Run) -> None:
    """A fault on the axillary route brings a row of the same fault for each route there is."""
    create_case(centre=run.course.centre, inserted_at=days_ago(3), route="FEMORAL_R")
    create_event(course=run.course, run=run, onset_at=days_ago(2), failure="GAS_LEAK", kink_site="")
    faults = [key for key in by_key(issued) if key.endswith("fault/GAS_LEAK")]

    assert sorted(faults) == ["faults/ALL/fault/GAS_LEAK", "faults/AXILLARY/fault/GAS_LEAK"]


def test_what_is_printed_the_same_has_not_moved(issued: IssuedReport, run: Run, physician: User) -> None:
    run.inserted_at -= timedelta(minutes=1)
    actions.correct(record=run, version=run.version, reason="a minute off", by=physician)

    assert restatements(issued) == ()


def test_a_corrected_removal_moves_device_days_by_values(run: Run, physician: User) -> None:
    run.removed_at, run.end_reason = days_ago(1), "WEANED"
    actions.correct(record=run, version=run.version, reason="removal", by=physician)
    run.refresh_from_db()
    signed = issue_now(run, physician)
    run.removed_at = days_ago(3)
    actions.correct(record=run, version=run.version, reason="misread", by=physician)
    moved = by_key(signed)

    assert moved["volume.in_place/ALL/device-days"].by_values
    assert moved["complications/ALL/STROKE/rate"].by_exposure_alone
    assert ("runs", run.pk) in moved["complications/ALL/STROKE/rate"].cases


def test_a_rate_with_another_event_moved_by_more_than_its_exposure(issued: IssuedReport, run: Run) -> None:
    create_event(course=run.course, run=run, onset_at=days_ago(2))

    assert not by_key(issued)["complications/ALL/KINK_MALFUNCTION/rate"].by_exposure_alone


def test_they_stand_in_the_order_of_the_measures(issued: IssuedReport, run: Run) -> None:
    create_case(centre=run.course.centre, inserted_at=days_ago(3))
    create_event(course=run.course, run=run, onset_at=days_ago(2), failure="GAS_LEAK", kink_site="")
    measures = [each.figure.measure for each in restatements(issued)]
    groups = list(dict.fromkeys(measures))

    assert measures == sorted(measures, key=groups.index)
    assert groups.index("faults") < groups.index("quality.events")


def test_a_single_late_case_moves_nothing_that_the_committee_may_see(book: Logbook) -> None:
    signed = issue_quarter(book)
    enter_courses(book, 1, day=20)

    assert len(restatements(signed)) > 1
    assert restatements(signed, smallest_cell=SMALLEST_CELL) == ()


def test_a_corrected_value_of_one_patient_moves_nothing_that_the_committee_may_see(book: Logbook) -> None:
    signed = issue_quarter(book)
    run = Run.objects.latest("pk")
    run.removed_at += timedelta(days=10)
    run.save()

    assert "volume.in_place/ALL/device-days" in by_key(signed)
    assert restatements(signed, smallest_cell=SMALLEST_CELL) == ()


def test_many_late_cases_move_what_the_committee_may_see_in_both_versions(book: Logbook) -> None:
    signed = issue_quarter(book)
    enter_courses(book, 2 * SMALLEST_CELL, day=20)
    for run in Run.objects.filter(inserted_at__day=20):
        book.event(run.course, "2026-07-21 10:00", "BLEEDING", run=run, serious=True)
    seen = {each.figure.key for each in restatements(signed, smallest_cell=SMALLEST_CELL)}

    assert "volume.begun/ALL/courses" in seen
    assert [key for key in by_key(signed) if key.startswith("complications")]
    assert not [key for key in seen if key.startswith(("complications", "outcomes", "faults"))]


def test_a_route_that_follows_from_the_total_and_the_other_is_not_shown(book: Logbook) -> None:
    """Five more by one route and one by the other: the step of the total would give the one away."""
    signed = issue_quarter(book)
    enter_courses(book, 1, day=20)
    for _ in range(SMALLEST_CELL - 1):
        book.run(book.course(), "2026-07-20 10:00", "2026-07-26 10:00", route="AXILLARY_L")
    book.run(book.course(), "2026-07-20 10:00", "2026-07-26 10:00", route="FEMORAL_R")
    begun = [
        each.figure.group
        for each in restatements(signed, smallest_cell=SMALLEST_CELL)
        if each.figure.key.startswith("volume.begun") and each.figure.key.endswith("/courses")
    ]

    assert begun == ["ALL"]
