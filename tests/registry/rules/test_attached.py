"""What hangs on a run, when its times or its route are corrected."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry import rules
from registry.choices import DeviceClass, Relation, Route
from registry.models import Run
from registry.rules.attached import PARTS
from tests.entries import PAGES
from tests.factories import (
    create_case,
    create_check,
    create_event,
    create_failed_attempt,
    create_mobilisation,
    create_plan_change,
    create_run,
    days_ago,
)
from tests.pages import errors_of, fill

pytestmark = pytest.mark.django_db

OUT = {"removed_at": days_ago(4), "end_reason": "WEANED"}
LATER = {"inserted_at": days_ago(5)}
Hang = Callable[[Run], Any]


def day(days: float) -> Any:
    return timezone.localtime(days_ago(days)).date()


def beside(run: Run, **values: Any) -> Run:
    """Another kind of device in the same course."""
    sound = {"device_class": DeviceClass.VA_ECMO, "relation": Relation.ESCALATION, "inserted_at": days_ago(6)}
    return create_run(course=run.course, **{**sound, **values})


# What hangs on the run, which went in nine days ago by the left axillary artery, and the correction
CASES: dict[str, tuple[Hang, dict[str, Any], str]] = {
    "days_before_insertion": (
        lambda run: create_check(run=run, checked_on=day(8)), LATER, f"{day(8):%d-%b-%Y}",
    ),
    "days_after_removal": (
        lambda run: create_check(run=run, checked_on=day(2), film_verdict="ACCEPTABLE"), OUT,
        f"{day(2):%d-%b-%Y} with its film",
    ),
    "events_before_insertion": (
        lambda run: create_event(course=run.course, onset_at=days_ago(8)), LATER, "Kink or malfunction of",
    ),
    "events_before_support": (
        lambda run: create_event(course=run.course, kind="INFECTION", onset_at=days_ago(8)), LATER,
        "Infection of",
    ),
    "events_after_removal": (lambda run: create_event(course=run.course, onset_at=days_ago(3)), OUT, "Kink"),
    "sessions_before_support": (
        lambda run: create_mobilisation(course=run.course, started_at=days_ago(8)), LATER,
        f"{timezone.localtime(days_ago(8)):%d-%b-%Y}",
    ),
    "sessions_after_support": (
        lambda run: create_mobilisation(course=run.course, started_at=days_ago(3)), OUT,
        f"{timezone.localtime(days_ago(3)):%d-%b-%Y}",
    ),
    "plans_before_support": (
        lambda run: create_plan_change(course=run.course, changed_at=days_ago(8)), LATER,
        f"{timezone.localtime(days_ago(8)):%d-%b-%Y}",
    ),
    "attempt_after_insertion": (
        lambda run: create_failed_attempt(patient=run.patient, followed_by=run, attempted_at=days_ago(9.5)),
        {"inserted_at": days_ago(10)}, f"{timezone.localtime(days_ago(9.5)):%d-%b-%Y}",
    ),
    "follower_before_insertion": (beside, LATER, "run 2 of"),
    "attempt_by_this_route": (
        lambda run: create_failed_attempt(patient=run.patient, followed_by=run, attempted_at=days_ago(9.5)),
        {"route": Route.AXILLARY_RIGHT}, f"{timezone.localtime(days_ago(9.5)):%d-%b-%Y}",
    ),
    "follower_by_other_site": (
        lambda run: beside(run, relation=Relation.SAME_SITE, exchange_reason="KINK"),
        {"route": Route.AXILLARY_RIGHT}, "run 2 of",
    ),
    "limb_events_elsewhere": (
        lambda run: create_event(course=run.course, kind="LIMB", run=run, limb="ARM_L", rutherford="I"),
        {"route": Route.AXILLARY_RIGHT}, "Limb",
    ),
    "walks_on_femoral": (
        lambda run: create_mobilisation(course=run.course, level=7), {"route": Route.FEMORAL_LEFT},
        f"{timezone.localtime(days_ago(5)):%d-%b-%Y}",
    ),
}  # fmt: skip
BLOCKING = {part.code for part in PARTS if part.blocks}


def corrected(run: Run, **values: Any) -> dict[str, rules.Problem]:
    fresh = Run.objects.get(pk=run.pk)
    for name, value in values.items():
        setattr(fresh, name, value)
    return {problem.code: problem for problem in rules.check(fresh)}


def test_every_part_is_broken_here() -> None:
    assert set(CASES) == {part.code for part in PARTS}


@pytest.mark.parametrize("code", CASES)
def test_what_would_fit_no_longer_is_named(code: str, run: Run) -> None:
    hang, change, named = CASES[code]
    hang(run)
    assert code not in corrected(run)
    problem = corrected(run, **change)[code]
    assert (problem.field in change, problem.blocks) == (True, code in BLOCKING)
    assert named in problem.text


def test_what_never_fitted_does_not_hinder_another_correction(run: Run) -> None:
    create_check(run=run, checked_on=day(12))
    create_event(course=run.course, onset_at=days_ago(12))
    assert not corrected(run, inserted_at=days_ago(8), operator_code="OP-9")


def test_moving_a_run_within_what_hangs_on_it_is_let_through(run: Run) -> None:
    for days in (9, 6, 5):
        create_check(run=run, checked_on=day(days))
    create_mobilisation(course=run.course)
    create_event(course=run.course)
    moved = {"inserted_at": run.inserted_at + timedelta(minutes=1), "removed_at": days_ago(3)}
    assert not corrected(run, **moved, end_reason="WEANED")


def test_a_session_is_held_by_the_devices_beside(run: Run) -> None:
    beside(run)
    create_mobilisation(course=run.course, started_at=days_ago(3))
    assert "sessions_after_support" not in corrected(run, **OUT)


def test_a_long_list_is_cut(run: Run) -> None:
    for days in range(1, 9):
        create_check(run=run, checked_on=day(days))
    assert " and 3 more." in corrected(run, inserted_at=days_ago(0.01))["days_before_insertion"].text


def test_the_form_names_the_days_at_the_field(desk: Client, run: Run) -> None:
    create_check(run=run, checked_on=day(2))
    url = reverse("correct", args=["run", run.public_id])
    data = fill(desk, url, record__change_reason="misread", record__removed_at="t-4 1000",
                record__end_reason="WEANED")  # fmt: skip
    errors = errors_of(desk.post(url, data))
    assert errors == {"record-removed_at": [
        f"Daily rows: {day(2):%d-%b-%Y}. That would be after the removal. "
        "First correct or remove what is named here."
    ]}  # fmt: skip


@pytest.mark.parametrize(("form", "field"), [("removal", "run-removed_at"), ("outcome", "new-occurred_at")])
def test_a_first_removal_is_held_against_the_days_too(form: str, field: str, desk: Client, run: Run) -> None:
    create_check(run=run, checked_on=day(0))
    response = desk.post(PAGES[form].url(run), PAGES[form].filled(desk, run))
    assert f"Daily rows: {day(0):%d-%b-%Y}." in errors_of(response)[field][0]


def test_the_days_of_another_patient_are_left_alone(run: Run) -> None:
    other = create_case(centre=run.course.centre)
    create_check(run=other, checked_on=day(2))
    assert not corrected(run, **OUT)
