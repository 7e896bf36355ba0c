"""A death that contradicts its own course is refused, from whichever side it is entered."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import pytest
from django.test import Client

from registry import rules
from registry.models import CourseOutcome, FollowUp, Record, Run
from tests import factories as make
from tests.entries import PAGES
from tests.pages import errors_of

pytestmark = pytest.mark.django_db


def noon(days: float) -> datetime:
    """A moment that falls on the same day in UTC and at the centre."""
    return make.days_ago(days).replace(hour=12, minute=0)


def day(days: float) -> date:
    return noon(days).date()


@pytest.fixture
def discharged(run: Run) -> Run:
    """On support from nine to six days ago, transplanted then, home two days later."""
    run.inserted_at, run.removed_at, run.end_reason = noon(9), noon(6), "TRANSPLANT"
    run.save()
    make.create_outcome(
        course=run.course, occurred_at=noon(6), discharged_on=day(4),
        discharge_status="ALIVE",
    )  # fmt: skip
    return run


def visit(run: Run, seen: float = 1, died: float | None = None, **values: Any) -> FollowUp:
    """A follow-up that finds the patient dead; days before today."""
    died_on = None if died is None else day(died)
    defaults = {"point": "30D", "status": "DEAD", "seen_on": day(seen), "died_on": died_on}
    return FollowUp(course=run.course, **{**defaults, **values})


def found(record: Record) -> dict[str, tuple[str, bool]]:
    return {problem.code: (problem.field, problem.blocks) for problem in rules.check(record)}


@pytest.mark.parametrize(("seen", "died", "expected"), [
    (1, 400, {"died_before_alive": ("died_on", True)}),
    (1, 5, {"died_before_alive": ("died_on", True)}),
    (1, 4, {}),
    (1, 1, {}),
    (2, 1, {"died_after_seen": ("died_on", True)}),
    (5, None, {"died_before_alive": ("seen_on", True)}),
    (4, None, {}),
])  # fmt: skip
def test_a_death_before_the_patient_left_hospital_alive_or_after_it_was_known(
    seen: float, died: float | None, expected: dict[str, Any], discharged: Run
) -> None:
    assert found(visit(discharged, seen, died)) == expected


def test_it_is_said_what_the_death_contradicts(discharged: Run) -> None:
    def said(died: float) -> str:
        (problem,) = rules.check(visit(Run.objects.get(pk=discharged.pk), died=died))
        return problem.text

    assert said(5) == f"Dead on {day(5):%d-%b-%Y}, but the patient left hospital alive on {day(4):%d-%b-%Y}."
    CourseOutcome.objects.update(discharge_status="")
    assert said(7).endswith(f", but the course ended on {day(6):%d-%b-%Y}: transplant.")
    CourseOutcome.objects.all().delete()
    assert said(10).endswith(f", but the first device went in on {day(9):%d-%b-%Y}.")
    make.create_follow_up(course=discharged.course, point="90D", seen_on=day(2))
    assert said(3).endswith(f", but the patient was seen alive on {day(2):%d-%b-%Y}.")


def test_the_death_that_ended_the_course_may_be_entered_again(run: Run) -> None:
    make.create_outcome(course=run.course, outcome="DIED_ON_SUPPORT", occurred_at=noon(4))
    assert found(visit(run, died=4)) == {}
    assert "died_before_alive" in found(visit(run, died=5))


def test_a_patient_is_not_seen_alive_after_the_death(discharged: Run) -> None:
    make.create_follow_up(course=discharged.course, status="DEAD", seen_on=day(1), died_on=day(3))
    later = visit(discharged, 2, point="90D", status="ALIVE")
    assert found(later) == {"alive_after_death": ("seen_on", True)}
    assert found(visit(discharged, 3, point="90D", status="ALIVE")) == {}
    assert found(visit(discharged, 2, point="90D", status="LTFU")) == {}


def test_an_outcome_and_a_discharge_do_not_come_after_the_death(run: Run) -> None:
    make.create_follow_up(course=run.course, status="DEAD", seen_on=day(1),
                          died_on=day(4))  # fmt: skip

    def outcome(days: float, **values: Any) -> CourseOutcome:
        return CourseOutcome(course=run.course, outcome="TRANSPLANT", occurred_at=noon(days), **values)

    assert found(outcome(4)) == {}
    assert found(outcome(3)) == {"outcome_after_death": ("occurred_at", True)}
    alive = outcome(4, discharged_on=day(3), discharge_status="ALIVE")
    assert found(alive) == {"discharge_after_death": ("discharged_on", True)}


def test_the_page_refuses_it_at_its_field(discharged: Run, desk: Client) -> None:
    page = PAGES["follow-up"]
    data = page.filled(desk, discharged, new__status="DEAD", new__died_on="t-400", new__seen_on="t")
    answer = desk.post(page.url(discharged), data)
    assert answer.status_code == 422
    assert set(errors_of(answer)) == {"new-died_on"}
    assert not FollowUp.objects.exists()
