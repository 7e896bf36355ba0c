"""What was entered since an issue: which changes are told of, with whose reason."""

from __future__ import annotations

import pytest
from django.utils import timezone

from outcomes.issuing import late_changes, restatements
from outcomes.issuing.restated_changes import LATE, behind_values
from registry import actions
from registry.models import Candidate, Event, IssuedReport, Run, User
from registry.problem import ask
from registry.rules.issued import check_issued
from tests.factories import (
    create_candidate,
    create_case,
    create_check,
    create_event,
    create_failed_attempt,
    create_patient,
    days_ago,
)
from tests.outcomes.issuing.test_restated import issue_now

pytestmark = pytest.mark.django_db(transaction=True)

REASON = "found in the ward notes"


@pytest.fixture
def issued(run: Run, physician: User) -> IssuedReport:
    create_case(centre=run.course.centre, inserted_at=days_ago(4))
    return issue_now(run, physician)


def kink(run: Run) -> Event:
    return Event(
        course=run.course,
        run=run,
        kind="KINK_MALFUNCTION",
        failure="GAS_LEAK",
        severity="MINOR",
        fixed_by="STRAIGHTEN",
        onset_at=days_ago(2),
    )


def test_the_question_is_the_one_that_the_rule_asks(issued: IssuedReport, run: Run) -> None:
    assert [problem.code for problem in check_issued(kink(run))] == [LATE]


def test_the_reason_for_a_late_entry_is_told_with_who_and_when(
    issued: IssuedReport, run: Run, physician: User
) -> None:
    answers = {ask(LATE, "onset_at", "Say why it comes now."): REASON}
    actions.create(record=kink(run), by=physician, answers=answers)
    (late,) = late_changes(issued, restatements(issued))

    assert (late.change.kind, late.entity, late.about) == ("Entered", "event", run.course)
    assert (late.change.reason, late.change.by) == (REASON, physician.username)
    assert issued.as_of < late.change.at <= timezone.now()


def test_an_answer_to_another_question_is_no_reason(issued: IssuedReport, run: Run, physician: User) -> None:
    answers = {ask("another", "onset_at", "Is this so?"): "checked"}
    actions.create(record=kink(run), by=physician, answers=answers)

    assert [late.change.reason for late in late_changes(issued, restatements(issued))] == [""]


def test_a_later_correction_keeps_its_own_reason(issued: IssuedReport, run: Run, physician: User) -> None:
    event = actions.create(record=kink(run), by=physician, answers={ask(LATE, "onset_at", "Why?"): REASON})
    event.severity = "MAJOR"
    actions.correct(record=event, version=1, reason="graded again", by=physician)
    reasons = [late.change.reason for late in late_changes(issued, restatements(issued))]

    assert reasons == ["graded again", REASON]


def test_every_kind_of_record_behind_a_figure_is_told_of(
    issued: IssuedReport, run: Run, physician: User
) -> None:
    create_check(run=run, film_verdict="HIGH", position_action="NONE")
    create_failed_attempt(patient=create_patient(centre=run.course.centre), attempted_at=days_ago(3))
    create_candidate(centre=run.course.centre)
    changes = late_changes(issued, restatements(issued))

    assert {late.entity for late in changes} == {"daily check", "failed attempt", "patient", "candidate"}
    assert {late.about for late in changes if late.entity == "daily check"} == {run.course}
    assert {late.about for late in changes if late.entity == "candidate"} == {Candidate.objects.get()}


def test_what_only_happened_since_is_not_told_of(issued: IssuedReport, run: Run) -> None:
    create_event(course=run.course, run=run, onset_at=days_ago(2))
    Event.objects.create(course=run.course, event_no=9, kind="BLEEDING", onset_at=timezone.now())

    assert len(late_changes(issued, restatements(issued))) == 1


def test_those_whose_figures_stand_are_not_told_of(issued: IssuedReport, run: Run) -> None:
    create_case(
        centre=run.course.centre,
        inserted_at=days_ago(400),
        removed_at=days_ago(390),
        end_reason="WEANED",
    )
    create_event(course=run.course, run=run, onset_at=days_ago(2))
    changes = late_changes(issued, restatements(issued))

    assert {late.about for late in changes} == {run.course}


def test_a_figure_that_moved_by_a_value_names_the_course_it_was_changed_in(
    issued: IssuedReport, run: Run, physician: User
) -> None:
    create_event(course=Run.objects.latest("pk").course, onset_at=days_ago(2))
    run.course.weight_kg = 120
    actions.correct(record=run.course, version=run.course.version, reason="wrong box", by=physician)
    moved = restatements(issued)
    changed = behind_values(moved, late_changes(issued, moved))

    assert changed["baseline/ALL/bmi"] == (run.course,)
    assert "complications/ALL/KINK_MALFUNCTION/patients" not in changed
