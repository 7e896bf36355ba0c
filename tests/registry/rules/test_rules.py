"""Every rule of the logbook broken once, and a sound record that breaks none."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from registry import rules
from registry.choices import Relation, Route
from registry.choices_events import EventKind
from registry.models import (
    Candidate,
    Course,
    CourseOutcome,
    DailyCheck,
    Event,
    FailedAttempt,
    FollowUp,
    Mobilisation,
    Patient,
    PlanChange,
    Record,
    Run,
)
from registry.models.event import REQUIRED_BY_KIND
from tests.factories import RUN, create_outcome, create_run, days_ago

pytestmark = pytest.mark.django_db

Build = Callable[[Run], Record]


@dataclass(frozen=True)
class Case:
    """A record that breaks one rule. ``run`` went in nine days ago, by the left axillary artery."""

    code: str
    field: str
    blocks: bool
    build: Build


def changed(run: Run, **values: Any) -> Run:
    for name, value in values.items():
        setattr(run, name, value)
    return run


def course(run: Run, **values: Any) -> Course:
    for name, value in values.items():
        setattr(run.course, name, value)
    return run.course


def born(run: Run, year: int) -> Patient:
    run.patient.birth_year = year
    return run.patient


def event(run: Run, kind: str = EventKind.OTHER, /, **values: Any) -> Event:
    return Event(course=run.course, kind=kind, **{"onset_at": days_ago(4), "severity": "MINOR", **values})


def kink(run: Run, /, **values: Any) -> Event:
    sound = {"run": run, "failure": "KINK", "kink_site": "AT_SECUREMENT", "fixed_by": "RESUTURE"}
    return event(run, EventKind.KINK, **{**sound, **values})


def stored(run: Run, /, **values: Any) -> Run:
    changed(run, **values).save()
    return run


def removed(run: Run, days: float) -> Run:
    return stored(run, removed_at=days_ago(days), end_reason="WEANED")


def later(run: Run, **values: Any) -> Run:
    """A new catheter after the first, which came out five days ago."""
    removed(run, 5)
    sound = {"relation": Relation.SAME_SITE, "exchange_reason": "KINK", "inserted_at": days_ago(5)}
    return Run(course=run.course, patient=run.patient, run_no=2, replaces=run, **{**RUN, **sound, **values})


def exchanged(run: Run) -> Run:
    """The first catheter, after which another went in three days ago."""
    later(run, inserted_at=days_ago(3)).save()
    return run


def check(run: Run, **values: Any) -> DailyCheck:
    return DailyCheck(run=run, **{"checked_on": days_ago(4).date(), **values})


def walk(run: Run) -> Mobilisation:
    return Mobilisation(course=run.course, started_at=days_ago(4), level=7)


def outcome(run: Run, **values: Any) -> CourseOutcome:
    return CourseOutcome(course=run.course, **{"outcome": "TRANSPLANT", "occurred_at": days_ago(4), **values})


def candidate(run: Run, **values: Any) -> Candidate:
    return Candidate(centre=run.course.centre, **values)


def attempt(run: Run, **values: Any) -> FailedAttempt:
    sound = {"attempted_at": days_ago(10), "intended_route": Route.AXILLARY_RIGHT, "failure": "NO_PUNCTURE"}
    return FailedAttempt(
        patient=run.patient, centre=run.course.centre, followed_by=run, **{**sound, **values}
    )


TOMORROW = timezone.localdate() + timedelta(days=2)
BLOCKS, ASKS = True, False
CASES = [
    Case("birth_year_future", "birth_year", BLOCKS, lambda run: Patient(birth_year=2090)),
    Case("patient_is_child", "birth_year", ASKS,
         lambda run: Patient(birth_year=timezone.localdate().year - 9)),
    Case("born_after_insertion", "birth_year", BLOCKS,
         lambda run: born(run, run.inserted_at.year + 1)),
    Case("patient_is_child", "birth_year", ASKS, lambda run: born(run, run.inserted_at.year - 17)),
    Case("arrival_missing", "arrived_at", BLOCKS, lambda run: course(run, transferred_in=True)),
    Case("arrival_without_transfer", "arrived_at", BLOCKS, lambda run: course(run, arrived_at=days_ago(8))),
    Case("arrival_before_insertion", "arrived_at", BLOCKS,
         lambda run: course(run, transferred_in=True, arrived_at=days_ago(12))),
    Case("admission_long_after", "admitted_at", ASKS,
         lambda run: course(stored(run, inserted_at=days_ago(45)), admitted_at=days_ago(1))),
    Case("stage_a_with_device", "shock_stage", ASKS, lambda run: course(run, shock_stage="A")),
    Case("removed_before_inserted", "removed_at", BLOCKS,
         lambda run: changed(run, removed_at=days_ago(10), end_reason="WEANED")),
    Case("end_reason_missing", "end_reason", BLOCKS, lambda run: changed(run, removed_at=days_ago(1))),
    Case("removal_time_missing", "removed_at", BLOCKS, lambda run: changed(run, end_reason="WEANED")),
    Case("pump_on_before_inserted", "pump_on_at", BLOCKS, lambda run: changed(run, pump_on_at=days_ago(10))),
    Case("run_long", "removed_at", ASKS,
         lambda run: changed(run, inserted_at=days_ago(62), removed_at=days_ago(1), end_reason="WEANED")),
    Case("volume_missing", "balloon_volume_ml", BLOCKS, lambda run: changed(run, balloon_volume_ml="")),
    Case("catheter_missing", "catheter_fr", BLOCKS, lambda run: changed(run, catheter_fr=None)),
    Case("volume_for_height", "balloon_volume_ml", ASKS, lambda run: changed(run, balloon_volume_ml="25")),
    Case("expired_at_insertion", "expires_on", ASKS,
         lambda run: changed(run, expires_on=days_ago(30).date())),
    Case("axillary_unguided", "guidance", ASKS, lambda run: changed(run, guidance=["LANDMARK"])),
    Case("axillary_bedside", "location", ASKS, lambda run: changed(run, location="BEDSIDE")),
    Case("balloons_overlap", "inserted_at", BLOCKS,
         lambda run: Run(course=run.course, patient=run.patient, inserted_at=days_ago(2), **RUN)),
    Case("inserted_after_outcome", "inserted_at", BLOCKS,
         lambda run: later(create_outcome(course=run.course, occurred_at=days_ago(6)).course.runs.get())),
    Case("inserted_before_birth", "inserted_at", BLOCKS,
         lambda run: changed(run, patient=born(run, run.inserted_at.year + 1))),
    Case("site_differs", "route", BLOCKS, lambda run: later(run, route=Route.FEMORAL_LEFT)),
    Case("route_same", "relation", BLOCKS,
         lambda run: later(run, relation=Relation.CROSSOVER, route=Route.AXILLARY_RIGHT)),
    Case("exchange_routine", "exchange_reason", ASKS, lambda run: later(run, exchange_reason="ROUTINE")),
    Case("before_predecessor", "inserted_at", BLOCKS,
         lambda run: later(run, inserted_at=days_ago(11), removed_at=days_ago(10), end_reason="EXCHANGE")),
    Case("onset_before_course", "onset_at", BLOCKS, lambda run: event(run, onset_at=days_ago(11))),
    Case("onset_long_after", "onset_at", ASKS,
         lambda run: event(removed(stored(run, inserted_at=days_ago(60)), 40), onset_at=days_ago(2))),
    Case("detected_before_onset", "detected_at", BLOCKS, lambda run: event(run, detected_at=days_ago(5))),
    Case("onset_before_run", "run", BLOCKS,
         lambda run: event(run, run=create_run(course=removed(run, 3).course, inserted_at=days_ago(2)))),
    Case("kink_site_missing", "kink_site", BLOCKS, lambda run: kink(run, kink_site="")),
    Case("ruptured_not_kept", "device_kept", ASKS,
         lambda run: kink(run, failure="MEMBRANE_RUPTURE", kink_site="", device_kept=False)),
    Case("run_missing", "run", BLOCKS, lambda run: kink(run, run=None)),
    Case("limb_elsewhere", "limb", ASKS,
         lambda run: event(run, EventKind.LIMB, run=run, limb="LEG_L", rutherford="I")),
    Case("session_before_course", "started_at", BLOCKS,
         lambda run: Mobilisation(course=run.course, started_at=days_ago(10), level=3)),
    Case("session_after_course", "started_at", BLOCKS,
         lambda run: Mobilisation(course=removed(run, 5).course, started_at=days_ago(4), level=3)),
    Case("walked_on_femoral", "level", ASKS,
         lambda run: walk(stored(run, route=Route.FEMORAL_LEFT))),
    Case("day_outside_run", "checked_on", BLOCKS, lambda run: check(run, checked_on=days_ago(11).date())),
    Case("verdict_without_action", "position_action", BLOCKS, lambda run: check(run, film_verdict="HIGH")),
    Case("verdict_no_action", "position_action", ASKS,
         lambda run: check(run, film_verdict="LOW", position_action="NONE")),
    Case("level_and_reason", "not_mobilised", BLOCKS,
         lambda run: check(run, mobility_best=3, not_mobilised="PAIN")),
    Case("outcome_twice", "outcome", BLOCKS,
         lambda run: outcome(create_outcome(course=run.course).course.runs.get())),
    Case("outcome_before_course", "occurred_at", BLOCKS, lambda run: outcome(run, occurred_at=days_ago(12))),
    Case("outcome_before_run", "occurred_at", BLOCKS, lambda run: outcome(exchanged(run))),
    Case("outcome_before_removal", "occurred_at", ASKS, lambda run: outcome(removed(run, 1))),
    Case("discharge_before_outcome", "discharged_on", BLOCKS,
         lambda run: outcome(run, discharged_on=days_ago(6).date())),
    Case("seen_in_future", "seen_on", BLOCKS, lambda run: FollowUp(course=run.course, seen_on=TOMORROW)),
    Case("died_but_alive", "died_on", BLOCKS,
         lambda run: FollowUp(course=run.course, status="ALIVE", died_on=date(2025, 3, 4))),
    Case("attempt_after_run", "attempted_at", BLOCKS, lambda run: attempt(run, attempted_at=days_ago(8))),
    Case("attempt_same_route", "intended_route", ASKS,
         lambda run: attempt(run, intended_route=Route.AXILLARY_LEFT)),
    Case("considered_in_future", "considered_on", BLOCKS, lambda run: candidate(run, considered_on=TOMORROW)),
    Case("plan_before_course", "changed_at", BLOCKS,
         lambda run: PlanChange(course=run.course, changed_at=days_ago(10))),
    # Those that hold for every column
    Case("inserted_at_future", "inserted_at", BLOCKS,
         lambda run: changed(run, inserted_at=timezone.now() + timedelta(hours=1))),
    Case("height_cm_unusual", "height_cm", ASKS, lambda run: course(run, height_cm=215)),
    Case("catheter_fr_unusual", "catheter_fr", ASKS, lambda run: changed(run, catheter_fr=9)),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.code)
def test_each_rule_sees_what_breaks_it(case: Case, run: Run) -> None:
    found = {problem.code: problem for problem in rules.check(case.build(run))}
    assert case.code in found
    problem = found[case.code]
    assert (problem.field, problem.blocks) == (case.field, case.blocks)
    assert problem.text.endswith((".", "’s protocol."))


OWN_FILES = ("__init__", "course", "device", "happening")  # the others have tests of their own


def test_every_rule_is_broken_above() -> None:
    folder = Path(str(rules.__file__)).parent
    source = "".join((folder / f"{name}.py").read_text(encoding="utf-8") for name in OWN_FILES)
    stated = set(re.findall(r'(?:refuse|ask)\(\s*"(\w+)"', source))
    assert stated - {case.code for case in CASES} == set()


@pytest.mark.parametrize(("kind", "name"), [
    (kind, name) for kind, names in REQUIRED_BY_KIND.items() for name in names
])  # fmt: skip
def test_each_kind_of_event_asks_for_its_own_fields(kind: str, name: str, run: Run) -> None:
    problems = {problem.code: problem for problem in rules.check(Event(course=run.course, kind=kind))}
    assert problems[f"{name}_missing"].blocks
    assert problems[f"{name}_missing"].field == name


SOUND: list[Build] = [
    lambda run: run,
    lambda run: run.course,
    lambda run: run.patient,
    lambda run: later(run),
    lambda run: changed(later(run), relation=Relation.CROSSOVER, route=Route.FEMORAL_RIGHT),
    lambda run: kink(run),
    lambda run: event(run, EventKind.LIMB, run=run, limb="ARM_L", rutherford="I"),
    lambda run: check(run, film_verdict="HIGH", position_action="BEDSIDE_ADJUST", mobility_best=0),
    lambda run: Mobilisation(course=run.course, started_at=days_ago(4), level=10),
    lambda run: outcome(run),
    lambda run: attempt(run),
    lambda run: FollowUp(
        course=run.course, seen_on=days_ago(2).date(), status="DEAD", died_on=days_ago(3).date()
    ),
    lambda run: born(run, run.inserted_at.year - 18),
    lambda run: PlanChange(course=run.course, changed_at=days_ago(3)),
    lambda run: candidate(run, considered_on=days_ago(3).date()),
]  # fmt: skip


@pytest.mark.parametrize("build", SOUND)
def test_a_sound_record_is_let_through(build: Build, run: Run) -> None:
    assert rules.check(build(run)) == []


@pytest.mark.parametrize("route", [Route.BRACHIAL, Route.TRANSAORTIC, Route.OTHER])
@pytest.mark.parametrize("limb", ["ARM_L", "LEG_L", "LEG_R"])
def test_a_route_without_a_side_raises_no_question_about_the_limb(route: str, limb: str, run: Run) -> None:
    stored(run, route=route)
    assert rules.check(event(run, EventKind.LIMB, run=run, limb=limb, rutherford="I")) == []


@pytest.mark.parametrize(("height_cm", "volume"), [(151.9, "30"), (152, "34"), (163, "40"), (183, "50")])
def test_volumes_follow_the_height_bands(height_cm: float, volume: str) -> None:
    assert volume in rules.volumes_for(height_cm)


def test_balloons_may_follow_one_another_to_the_minute(run: Run) -> None:
    first = removed(run, 5)
    assert first.removed_at is not None
    assert not rules.check(later(first, inserted_at=first.removed_at))
    found = rules.check(later(first, inserted_at=first.removed_at - timedelta(minutes=1)))
    assert [problem.code for problem in found] == ["balloons_overlap"]


def test_the_same_moment_is_another_day_in_another_place(run: Run) -> None:
    """A catheter in at 23:30 UTC lies in Berlin from the next day on."""
    at = days_ago(9).replace(hour=23, minute=30)
    stored(run, inserted_at=at)
    first_day = at.date()
    with timezone.override("Europe/Berlin"):
        codes = [problem.code for problem in rules.check(check(run, checked_on=first_day))]
        assert codes == ["day_outside_run"]
        assert not rules.check(check(run, checked_on=first_day + timedelta(days=1)))


def test_blocking_problems_come_first(run: Run) -> None:
    record = changed(run, catheter_fr=9, removed_at=days_ago(1), location="BEDSIDE")
    assert [problem.blocks for problem in rules.check(record)] == [True, False, False]


def test_the_year_of_an_insertion_is_that_of_the_place(run: Run) -> None:
    """Half an hour into the year in Berlin it is still the year before in UTC."""
    stored(run, inserted_at=datetime(2024, 12, 31, 23, 30, tzinfo=UTC))
    assert not rules.check(born(run, 2025))[0].blocks
    assert rules.check(born(run, 2026))[0].code == "born_after_insertion"
