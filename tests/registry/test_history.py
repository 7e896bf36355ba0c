"""The history that the triggers keep, whichever way a row was changed, and how people read it."""

from __future__ import annotations

from datetime import date

import pytest
from django.apps import apps
from django.db import Error, connection, transaction
from django.utils import timezone

from registry import actions
from registry.history import Change, changes_in, changes_of, stood_at
from registry.models import Course, Event, Record, Run, User
from registry.views.corrections import CORRECTIONS
from tests.factories import create_course, create_event, create_patient, create_run, days_ago
from tests.registry.test_access import every_record

pytestmark = pytest.mark.django_db


def rows_of(record: Record) -> list[tuple[str, str, str]]:
    """Kind, person and reason of every history row, the first first."""
    model = apps.get_model("registry", f"{type(record).__name__}History")
    rows = model._default_manager.filter(pgh_obj_id=record.pk).order_by("pgh_id")
    return [
        (row.pgh_label, (row.pgh_context or {}).get("name", ""), (row.pgh_context or {}).get("reason", ""))
        for row in rows
    ]


def sql(statement: str, *values: int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def test_entering_correcting_and_removing_are_kept_with_who_and_why(run: Run, coordinator: User) -> None:
    patient = create_patient(centre=run.course.centre)
    course = Course(patient=patient, centre=patient.centre, intent="BTT", shock_stage="C")
    actions.create(record=course, by=coordinator)
    course.shock_stage = "D"
    actions.correct(record=course, version=1, reason="misread", by=coordinator)
    key = course.pk
    actions.delete(record=course, version=2, reason="wrong patient", by=coordinator)
    assert [(change.kind, change.by, change.reason) for change in changes_in(Course, key)] == [
        ("Removed", "coordinator", "wrong patient"),
        ("Corrected", "coordinator", "misread"),
        ("Entered", "coordinator", ""),
    ]


@pytest.mark.parametrize("entity", CORRECTIONS)
def test_raw_sql_is_kept_too(entity: str, run: Run) -> None:
    record = every_record(run)[entity]
    table = record._meta.db_table
    before = rows_of(record)
    assert before[0][0] == "insert"
    sql(f"UPDATE {table} SET version = version + 1 WHERE id = %s", record.pk)
    assert [label for label, _, _ in rows_of(record)] == [*(label for label, _, _ in before), "update"]


@pytest.mark.django_db(transaction=True)
def test_nobody_is_named_where_nobody_is_known(run: Run) -> None:
    sql("UPDATE registry_run SET note = 'by hand' WHERE id = %s", run.pk)
    assert rows_of(run) == [("insert", "command line", ""), ("update", "", "")]


def test_raw_sql_that_removes_is_kept_too(run: Run) -> None:
    event = create_event(course=run.course)
    sql("DELETE FROM registry_event WHERE id = %s", event.pk)
    assert [label for label, _, _ in rows_of(event)] == ["insert", "delete"]


def test_bulk_writes_are_kept_too(run: Run) -> None:
    create_event(course=run.course)
    Event.objects.update(severity="MAJOR")
    Event.objects.bulk_update([Event(pk=Event.objects.get().pk, note="seen")], ["note"])
    event = Event.objects.get()
    Event.objects.all().delete()
    assert [label for label, _, _ in rows_of(event)] == ["insert", "update", "update", "delete"]


@pytest.mark.parametrize(
    "statement", ["UPDATE registry_runhistory SET note = 'x'", "DELETE FROM registry_runhistory"]
)
def test_the_history_itself_cannot_be_changed(statement: str, run: Run) -> None:
    before = rows_of(run)
    with pytest.raises(Error), transaction.atomic():
        sql(statement)
    assert rows_of(run) == before


def corrected(record: Record, by: User) -> Change:
    actions.correct(record=record, version=record.version, reason="misread", by=by)
    return changes_of(record)[0]


def test_a_change_is_read_as_people_say_it(run: Run, coordinator: User) -> None:
    run.location, run.guidance, run.catheter_fr, run.technical_success = (
        "BEDSIDE",
        ["FLUORO", "LANDMARK"],
        None,
        False,
    )
    change = corrected(run, coordinator)
    assert change.fields == (
        ("guidance", "Ultrasound", "Fluoroscopy, Landmarks only"),
        ("catheter size", "7.5 Fr", "–"),
        ("where", "Catheter laboratory", "Bedside"),
        ("technical success", "yes", "no"),
    )


def test_days_and_moments_have_their_month_in_letters(run: Run, coordinator: User) -> None:
    run.expires_on = date(2027, 3, 4)
    run.pump_on_at = run.inserted_at
    shown = {label: after for label, _, after in corrected(run, coordinator).fields}
    assert shown["expiry date"] == "04-Mar-2027"
    assert shown["counterpulsation began"] == run.inserted_at.strftime("%d-%b-%Y %H:%M")


def test_zero_is_shown_and_is_not_nothing(run: Run, coordinator: User) -> None:
    run.contrast_ml = 0
    assert corrected(run, coordinator).fields == (("contrast", "–", "0 mL"),)


def test_another_run_of_an_event_is_a_change_too(run: Run, coordinator: User) -> None:
    Run.objects.update(removed_at=days_ago(6), end_reason="EXCHANGE")
    second = create_run(course=run.course, inserted_at=days_ago(6))
    event = create_event(course=run.course, run=run)
    event.run = second
    assert corrected(event, coordinator).fields == (("run", str(run), str(second)),)


def test_a_change_of_bookkeeping_alone_shows_no_field(run: Run) -> None:
    course = create_course(patient=create_patient(centre=run.course.centre))
    sql("UPDATE registry_course SET version = 7 WHERE id = %s", course.pk)
    assert changes_of(course)[0].fields == ()


@pytest.mark.django_db(transaction=True)
def test_records_stand_as_they_did_at_a_moment(run: Run) -> None:
    kept, removed, moved = (create_event(course=run.course, run=run, onset_at=days_ago(2)) for _ in range(3))
    other = create_run(course=create_course(patient=create_patient(centre=run.course.centre)))
    moment = timezone.now()
    Event.objects.filter(pk=kept.pk).update(review="REFUTED")
    Event.objects.filter(pk=removed.pk).delete()
    Event.objects.filter(pk=moved.pk).update(course=other.course, run=other)
    create_event(course=run.course, run=run, onset_at=days_ago(1))
    then = stood_at(Event, moment, course_id=run.course_id)

    assert [(event.pk, event.review) for event in then] == [
        (event.pk, "REPORTED") for event in (kept, removed, moved)
    ]
    assert then[0].get_review_display()
    assert stood_at(Event, moment, review="REFUTED") == []
    assert [event.pk for event in stood_at(Event, timezone.now(), course_id=other.course_id)] == [moved.pk]
