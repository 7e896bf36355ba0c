"""Forms ask the rules about whatever is filled so far: no rule may fail over what is still empty."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.db import models
from django.test import Client

from registry import rules
from registry.choices import Relation, Route
from registry.models import (
    Candidate,
    Course,
    CourseOutcome,
    DailyCheck,
    Event,
    FailedAttempt,
    FollowUp,
    HaemodynamicSet,
    ListingSpell,
    Mobilisation,
    Patient,
    PlanChange,
    Record,
    Run,
    Screening,
)
from registry.tiers import EXTENDED_GROUPS
from tests import factories as make
from tests.entries import PAGES
from tests.pages import errors_of

pytestmark = pytest.mark.django_db

# An empty record as a page begins it: only what it hangs on is set.
EMPTY: dict[str, Callable[[Run], Record]] = {
    "patient": lambda run: Patient(centre=run.course.centre),
    "course": lambda run: Course(centre=run.course.centre),
    "course of a known patient": lambda run: Course(centre=run.course.centre, patient=run.patient),
    "run": lambda run: Run(course=Course(centre=run.course.centre)),
    "run of a known patient": lambda run: Run(
        course=Course(centre=run.course.centre, patient=run.patient), patient=run.patient
    ),
    "run that follows": lambda run: Run(course=run.course, patient=run.patient, replaces=run),
    "failed_attempt": lambda run: FailedAttempt(centre=run.course.centre),
    "failed_attempt before a run": lambda run: FailedAttempt(centre=run.course.centre, followed_by=run),
    "event": lambda run: Event(course=run.course),
    "event on a run": lambda run: Event(course=run.course, run=run),
    "mobilisation": lambda run: Mobilisation(course=run.course),
    "daily_check": lambda run: DailyCheck(run=run),
    "outcome": lambda run: CourseOutcome(course=run.course),
    "plan_change": lambda run: PlanChange(course=run.course),
    "follow_up": lambda run: FollowUp(course=run.course),
    "candidate": lambda run: Candidate(centre=run.course.centre),
    "screening": lambda run: Screening(course=run.course),
    "haemodynamics": lambda run: HaemodynamicSet(course=run.course),
    "listing_spell": lambda run: ListingSpell(course=run.course),
}
STORED: dict[str, Callable[[Run], Record]] = {
    "patient": lambda run: run.patient,
    "course": lambda run: run.course,
    "run": lambda run: run,
    "run that follows": lambda run: make.create_run(course=out(run).course, inserted_at=make.days_ago(5)),
    "failed_attempt": lambda run: make.create_failed_attempt(patient=run.patient, followed_by=run),
    "event": lambda run: make.create_event(course=run.course),
    "mobilisation": lambda run: make.create_mobilisation(course=run.course),
    "daily_check": lambda run: make.create_check(run=run),
    "outcome": lambda run: make.create_outcome(course=run.course),
    "plan_change": lambda run: make.create_plan_change(course=run.course),
    "follow_up": lambda run: make.create_follow_up(course=run.course),
    "candidate": lambda run: make.create_candidate(centre=run.course.centre),
    "screening": lambda run: make.create_screening(course=run.course),
    "haemodynamics": lambda run: make.create_haemodynamics(course=run.course),
    "listing_spell": lambda run: make.create_listing(course=run.course),
}


def out(run: Run) -> Run:
    run.removed_at, run.end_reason = make.days_ago(5), "EXCHANGE"
    run.save()
    return run


@pytest.fixture
def every_group(run: Run) -> Run:
    """A run at a centre that records everything."""
    run.course.centre.extended_groups = list(EXTENDED_GROUPS)
    run.course.centre.save()
    return run


def fillings(column: Any) -> Iterator[Any]:
    """What may stand in a column: every code, both ends of a range, early, late and to come."""
    if hasattr(column, "codes"):
        yield from ([], *([code] for code in column.codes.values), list(column.codes.values))
    elif column.choices:
        yield from (code for code, _ in column.choices)
    elif isinstance(column, models.BooleanField):
        yield from (True, False)
    elif isinstance(column, models.DateTimeField):
        yield from (make.days_ago(days) for days in (900, 9, 1, -900))
    elif isinstance(column, models.DateField):
        yield from (make.days_ago(days).date() for days in (900, 9, 1, -900))
    elif column.hard:
        yield from column.hard
    else:
        yield "x"


def test_every_entity_with_rules_is_tried() -> None:
    assert (
        set(rules.RULES)
        == {name.partition(" ")[0] for name in EMPTY}
        == {name.partition(" ")[0] for name in STORED}
    )


@pytest.mark.parametrize("name", EMPTY)
def test_a_record_with_one_field_filled_raises_nothing_but_problems(name: str, every_group: Run) -> None:
    rules.check(EMPTY[name](every_group))
    for column in EMPTY[name](every_group).described():
        for value in fillings(column):
            record = EMPTY[name](every_group)
            setattr(record, column.name, value)
            rules.check(record)


@pytest.mark.parametrize("name", STORED)
def test_a_record_with_one_field_emptied_raises_nothing_but_problems(name: str, every_group: Run) -> None:
    record: Any = STORED[name](every_group)
    for column in record.described():
        kept = getattr(record, column.name)
        setattr(record, column.name, getattr(type(record)(), column.name))
        rules.check(record)
        setattr(record, column.name, kept)


WITHOUT_ROUTE = {"run-route": "", "run-securement": ["SUTURE_HUB"]}


@pytest.mark.parametrize("name", ["implant", "exchange", "further device"])
def test_a_device_without_a_route_is_refused_at_the_route(name: str, desk: Client, every_group: Run) -> None:
    page = PAGES[name]
    answer = desk.post(page.url(every_group), WITHOUT_ROUTE)
    assert answer.status_code == 422
    assert "run-route" in errors_of(answer)
    filled = desk.post(page.url(every_group), {**page.filled(desk, every_group), **WITHOUT_ROUTE})
    assert filled.status_code == 422
    assert set(errors_of(filled)) == {"run-route"}


def test_a_change_of_route_to_none_yet_is_not_taken_for_the_same_route(run: Run) -> None:
    run.route = Route.BRACHIAL
    later = Run(course=run.course, patient=run.patient, replaces=run, relation=Relation.CROSSOVER)
    assert not {"route", "relation"} & {problem.field for problem in rules.check(later)}
