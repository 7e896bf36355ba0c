"""Every constraint of the database, broken on purpose, and the history that triggers keep."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from importlib import import_module
from typing import Any

import pghistory
import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.db.models import CheckConstraint

from registry.actions import written_by
from registry.choices import DeviceClass, EndReason, FilmVerdict, Relation, VitalStatus
from registry.choices_events import EventKind
from registry.dictionary import described_models
from registry.fields import Code, Codes, Day, Moment
from registry.models import (
    Answer,
    Centre,
    DailyCheck,
    Event,
    FailedAttempt,
    Mobilisation,
    Patient,
    PatientIdentity,
    Record,
    Run,
    User,
)
from registry.models.centre import check_time_zone
from tests import factories as make

COMPOUND_KEYS = {
    **import_module("registry.migrations.0002_same_course").RULES,
    **import_module("registry.migrations.0008_same_patient").RULES,
}
# Keys that only exist for compound foreign keys to point at; they repeat a primary key.
TARGETS = {"course_of_patient", "patient_of_centre", "run_of_course", "run_of_patient"}
HOUR = timedelta(hours=1)


@pytest.fixture
def one_of_each(centre: Centre) -> dict[type, Any]:
    """A valid record of every entity."""
    patient = make.create_patient(centre=centre, record_number="A-1")
    course = make.create_course(patient=patient)
    run = make.create_run(course=course)
    records: list[Any] = [
        centre,
        patient,
        PatientIdentity.objects.get(patient=patient),
        course,
        run,
        make.create_failed_attempt(patient=patient),
        make.create_candidate(centre=centre),
        make.create_screening(course=course),
        make.create_haemodynamics(course=course),
        make.create_listing(course=course),
        make.create_check(run=run),
        make.create_mobilisation(course=course),
        make.create_event(course=course),
        make.create_outcome(course=course),
        make.create_plan_change(course=course),
        make.create_follow_up(course=course),
    ]
    return {type(record): record for record in records}


def broken_by(change: Callable[[], Any]) -> str:
    """The name of the constraint that refuses the change; empty when nothing does."""
    try:
        with transaction.atomic():
            change()
            enforce_now()
    except IntegrityError as error:
        return str(error.__cause__.diag.constraint_name)
    return ""


def enforce_now() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")


# Constraints that follow from a column


def wrong_value(field: Any) -> Any:
    if isinstance(field, Codes):
        return ["NOPE"]
    if isinstance(field, Code):
        return "NOPE"
    if isinstance(field, Moment):
        return datetime(1989, 12, 31, tzinfo=UTC)
    if isinstance(field, Day):
        return date(1989, 12, 31)
    if field.choices:
        return 999
    return Decimal(str(field.hard[1])) + 1


def column_constraints(model: type[Record]) -> dict[str, Any]:
    fields = {f"{model._meta.model_name}_{field.name}_value": field for field in model.described()}
    names = {constraint.name for constraint in model._meta.constraints}
    return {name: field for name, field in fields.items() if name in names}


@pytest.mark.parametrize("model", described_models(), ids=lambda model: model.__name__)
def test_a_column_refuses_what_it_cannot_mean(model, one_of_each):
    record = one_of_each[model]
    leave_only_column_rules(model)
    for name, field in column_constraints(model).items():
        rows = model.objects.filter(pk=record.pk)
        change = {field.name: wrong_value(field)}
        assert broken_by(lambda rows=rows, change=change: rows.update(**change)) == name


def leave_only_column_rules(model: type[Record]) -> None:
    """Drop the other checks for this test, so that the one meant is the one that answers."""
    kept = set(column_constraints(model))
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for constraint in model._meta.constraints:
            if isinstance(constraint, CheckConstraint) and constraint.name not in kept:
                cursor.execute(f"ALTER TABLE {model._meta.db_table} DROP CONSTRAINT {constraint.name}")


def test_every_coded_ranged_or_dated_column_has_its_constraint():
    for model in described_models():
        for field in model.described():
            if isinstance(field, Code | Codes | Moment | Day) and (
                field.choices or not isinstance(field, Code)
            ):
                assert f"{model._meta.model_name}_{field.name}_value" in column_constraints(model)


def test_both_ends_of_a_hard_range_are_taken(run):
    for height in (100, 230):
        assert not broken_by(lambda height=height: update(run.course, height_cm=height))
    for height in (99, 231):
        assert (
            broken_by(lambda height=height: update(run.course, height_cm=height)) == "course_height_cm_value"
        )


# Constraints written by hand


def update(record: Any, **values: Any) -> None:
    type(record)._default_manager.filter(pk=record.pk).update(**values)


def again(record: Any) -> None:
    """The same record once more, under another public identifier."""
    copy = type(record)(**{f.attname: getattr(record, f.attname) for f in record._meta.concrete_fields})
    copy.pk, copy.public_id = None, type(record)._meta.get_field("public_id").default()
    copy.save(force_insert=True)


def stranger_course(records: dict[type, Any]) -> Any:
    return make.create_course(patient=make.create_patient(centre=records[Centre]))


def second_run(records: dict[type, Any], **values: Any) -> Run:
    first = records[Run]
    update(first, removed_at=first.inserted_at + HOUR, end_reason=EndReason.EXCHANGE)
    first.refresh_from_db()
    return make.create_run(course=first.course, inserted_at=first.inserted_at + 2 * HOUR, **values)


def course_of(records: dict[type, Any]) -> Any:
    return records[Run].course


BREAKERS: dict[str, Callable[[dict[type, Any]], Any]] = {
    "course_number_once": lambda r: again(course_of(r)),
    "course_transfer_has_arrival": lambda r: update(course_of(r), transferred_in=True),
    "run_number_once": lambda r: again(make_other_device(r)),
    "run_removed_after_inserted": lambda r: update(
        r[Run], removed_at=r[Run].inserted_at, end_reason=EndReason.WEANED
    ),
    "run_removal_has_reason": lambda r: update(r[Run], removed_at=r[Run].inserted_at + HOUR),
    "run_pump_on_after_inserted": lambda r: update(r[Run], pump_on_at=r[Run].inserted_at - HOUR),
    "run_relation_fits_number": lambda r: update(r[Run], relation=Relation.SAME_SITE, exchange_reason="KINK"),
    "run_exchange_has_reason": lambda r: update(second_run(r), exchange_reason=""),
    "run_balloon_has_volume": lambda r: update(r[Run], balloon_volume_ml=""),
    "run_one_balloon_at_a_time": lambda r: make.create_run(course=course_of(r), inserted_at=make.days_ago(3)),
    "run_patient_is_course_patient": lambda r: update(r[Run], patient=stranger_course(r).patient),
    "run_replaces_within_course": lambda r: update(
        second_run(r), replaces=make.create_run(course=stranger_course(r))
    ),
    "course_at_centre_of_patient": lambda r: update(course_of(r), centre=make.create_centre(code="ELSE")),
    "identity_record_number_once": lambda r: make.create_patient(centre=r[Centre], record_number="a-1"),
    "identity_at_centre_of_patient": lambda r: update(
        r[PatientIdentity], centre=make.create_centre(code="ELSE")
    ),
    "failed_attempt_at_centre_of_patient": lambda r: update(
        r[FailedAttempt], centre=make.create_centre(code="ELSE")
    ),
    "failed_attempt_followed_in_same_patient": lambda r: update(
        r[FailedAttempt], followed_by=make.create_run(course=stranger_course(r))
    ),
    "failed_attempt_once": lambda r: again(r[FailedAttempt]),
    "candidate_line_once": lambda r: again(record_named(r, "candidate")),
    "daily_check_once_a_day": lambda r: again(r[DailyCheck]),
    "mobilisation_once": lambda r: again(r[Mobilisation]),
    "event_number_once": lambda r: again(r[Event]),
    "event_onset_before_detection": lambda r: update(r[Event], detected_at=r[Event].onset_at - HOUR),
    "event_of_device_names_run": lambda r: update(r[Event], run=None),
    "event_kink_has_site": lambda r: update(r[Event], kink_site=""),
    "event_run_within_course": lambda r: update(r[Event], run=make.create_run(course=stranger_course(r))),
    "plan_change_once": lambda r: again(record_named(r, "plan_change")),
    "follow_up_once": lambda r: again(record_named(r, "follow_up")),
    "follow_up_death_is_dead": lambda r: update(
        record_named(r, "follow_up"), died_on=date(2026, 1, 1), status=VitalStatus.ALIVE
    ),
    "haemodynamics_once": lambda r: again(record_named(r, "haemodynamics")),
    "listing_spell_once": lambda r: again(record_named(r, "listing_spell")),
    "listing_spell_ends_after_start": lambda r: update(
        record_named(r, "listing_spell"), expires_on=date(2020, 1, 1)
    ),
    "user_role_value": lambda r: User.objects.create(username="x", role="OWNER", centre=r[Centre]),
    "answer_has_reason": lambda r: Answer.objects.create(
        entity="run", record_id=r[Run].public_id, code="run_long", reason=""
    ),
}


def record_named(records: dict[type, Any], entity: str) -> Any:
    return next(record for record in records.values() if record.entity == entity)


def make_other_device(records: dict[type, Any]) -> Run:
    """A device beside the pump, so that its copy breaks its number and nothing else."""
    return make.create_run(
        course=course_of(records),
        device_class=DeviceClass.VA_ECMO,
        relation=Relation.ESCALATION,
        inserted_at=make.days_ago(3),
    )


def handwritten() -> set[str]:
    names = {
        constraint.name
        for model in (*described_models(), User, Answer)
        for constraint in model._meta.constraints
    }
    return {name for name in names if not is_column_rule(name)} | set(COMPOUND_KEYS)


def is_column_rule(name: str) -> bool:
    return any(name in column_constraints(model) for model in described_models())


def test_no_constraint_is_without_a_test():
    assert handwritten() == set(BREAKERS) | TARGETS


@pytest.mark.parametrize("name", BREAKERS)
def test_the_database_refuses(name, one_of_each):
    assert broken_by(lambda: BREAKERS[name](one_of_each)) == name


@pytest.mark.parametrize(
    "change",
    [
        lambda r: again(r[Centre]),
        lambda r: again(r[Patient]),
        lambda r: again(r[PatientIdentity]),
        lambda r: again(record_named(r, "outcome")),
    ],
    ids=["centre code", "study number", "identity of a patient", "outcome of a course"],
)
def test_there_is_one(change, one_of_each):
    assert broken_by(lambda: change(one_of_each))


def test_touching_pumps_and_other_devices_beside_a_pump_are_taken(one_of_each):
    first = one_of_each[Run]
    second = second_run(one_of_each)
    assert not broken_by(lambda: update(second, inserted_at=first.inserted_at + HOUR))
    assert not broken_by(
        lambda: make.create_run(
            course=first.course, device_class=DeviceClass.VA_ECMO, inserted_at=make.days_ago(2)
        )
    )


def test_an_overlap_in_another_course_of_the_patient_is_refused(run):
    other = make.create_course(patient=run.patient)
    assert broken_by(lambda: make.create_run(course=other)) == "run_one_balloon_at_a_time"


def test_a_pump_of_another_patient_may_lie_at_the_same_time(run):
    assert not broken_by(lambda: make.create_case(centre=run.course.centre))


def test_a_record_number_may_be_blank_or_in_use_at_another_centre(one_of_each):
    here, elsewhere = one_of_each[Centre], make.create_centre(code="ELSE")
    assert not broken_by(lambda: make.create_patient(centre=elsewhere, record_number="A-1"))
    for _ in range(2):
        patient = make.create_patient(centre=here)
        PatientIdentity.objects.create(patient=patient, centre=here, record_number="")
    enforce_now()


def test_what_a_run_followed_stays_when_the_run_is_removed(one_of_each):
    attempt = one_of_each[FailedAttempt]
    run = make.create_run(
        course=make.create_course(patient=attempt.patient), device_class=DeviceClass.VA_ECMO
    )
    assert not broken_by(lambda: update(attempt, followed_by=run))
    run.delete()
    attempt.refresh_from_db()
    assert attempt.followed_by is None


def test_an_unknown_time_zone_is_refused():
    with pytest.raises(ValidationError, match="Europe/Berlin"):
        check_time_zone("Mars/Base")


def test_a_codes_column_is_empty_and_never_unknown(run):
    check = make.create_check(run=run)
    check.refresh_from_db()
    assert check.site == []
    assert check.film_verdict == ""
    assert check.mobility_best is None


# History


def history_of(record: Any) -> list[Any]:
    return list(
        type(record).history.rel.related_model.objects.filter(pgh_obj_id=record.pk).order_by("pgh_id")
    )


@pytest.fixture
def check(run: Run) -> DailyCheck:
    return make.create_check(run=run, film_verdict=FilmVerdict.ACCEPTABLE)


def change_by_save(check: DailyCheck) -> None:
    check.note = "moved"
    check.save()


def change_by_update(check: DailyCheck) -> None:
    DailyCheck.objects.filter(pk=check.pk).update(note="moved")


def change_by_sql(check: DailyCheck) -> None:
    with connection.cursor() as cursor:
        cursor.execute("UPDATE registry_dailycheck SET note = 'moved' WHERE id = %s", [check.pk])


@pytest.mark.parametrize("change", [change_by_save, change_by_update, change_by_sql])
def test_a_change_is_kept_whichever_way_it_was_made(change, check, coordinator):
    with written_by(coordinator, "film read again"):
        change(check)
    first, second = history_of(check)
    assert (first.pgh_label, first.note) == ("insert", "")
    assert (second.pgh_label, second.note) == ("update", "moved")
    assert second.pgh_context == {
        "user": coordinator.pk,
        "name": "coordinator",
        "reason": "film read again",
    }


def delete_by_record(check: DailyCheck) -> None:
    check.delete()


def delete_by_rows(check: DailyCheck) -> None:
    DailyCheck.objects.filter(pk=check.pk).delete()


def delete_by_sql(check: DailyCheck) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM registry_dailycheck WHERE id = %s", [check.pk])


@pytest.mark.parametrize("remove", [delete_by_record, delete_by_rows, delete_by_sql])
def test_a_deleted_record_leaves_its_last_state(remove, check):
    pk = check.pk
    remove(check)
    check.pk = pk
    last = history_of(check)[-1]
    assert (last.pgh_label, last.film_verdict) == ("delete", FilmVerdict.ACCEPTABLE)


def test_a_change_of_nothing_leaves_no_trace(check):
    DailyCheck.objects.filter(pk=check.pk).update(note="")
    assert len(history_of(check)) == 1


def test_what_a_rolled_back_step_did_is_not_kept(check):
    with transaction.atomic():
        change_by_update(check)
        transaction.set_rollback(True)
    assert len(history_of(check)) == 1


@pytest.mark.parametrize("attack", ["UPDATE {} SET note = 'x'", "DELETE FROM {}"])
def test_history_is_only_added_to(attack, check):
    table = DailyCheck.history.rel.related_model._meta.db_table
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(attack.format(table))
    assert history_of(check)[0].note == ""


@pytest.mark.parametrize("model", described_models(), ids=lambda model: model.__name__)
def test_every_entity_has_a_history_with_all_its_columns(model, one_of_each):
    (kept,) = history_of(one_of_each[model])[:1]
    names = {field.attname for field in model._meta.concrete_fields}
    assert names <= {field.attname for field in kept._meta.concrete_fields}
    assert kept.pgh_label == "insert"
    assert issubclass(type(kept), pghistory.models.Event)


# What records say of themselves


def test_an_event_shows_the_details_of_its_kind(one_of_each):
    shown = dict(one_of_each[Event].details)
    assert shown["fault"] == "Kink"
    assert shown["place of the kink"] == "Within the balloon"
    assert "BARC type" not in shown


def test_yes_and_no_are_shown_as_words(run):
    event = make.create_event(course=run.course, device_kept=True, kind=EventKind.KINK)
    assert dict(event.details)["catheter kept for inspection"] == "yes"


def test_dwell_counts_elapsed_hours_through_a_clock_change():
    noon = datetime(2025, 3, 29, 11, tzinfo=UTC)  # 12:00 in Berlin, the day before the clocks go forward
    later = datetime(2025, 3, 30, 10, tzinfo=UTC)  # 12:00 the day after
    assert Run(inserted_at=noon).dwell(later) == timedelta(hours=23)
