"""Correcting, removing and reading the history of a record."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from registry import actions
from registry.models import Answer, Centre, Course, Event, PatientIdentity, Record, Run, User
from registry.views.corrections import CORRECTIONS
from tests.factories import (
    create_candidate,
    create_check,
    create_course,
    create_event,
    create_mobilisation,
    create_patient,
    create_run,
    days_ago,
)
from tests.pages import again, errors_of, fill, send
from tests.registry.test_access import every_record

pytestmark = pytest.mark.django_db

WHY = "misread from the procedure note"


def url_of(record: Record, page: str = "correct") -> str:
    return reverse(page, args=[record.entity, record.public_id])


def correction(client: Client, record: Record, **entries: Any) -> dict[str, Any]:
    return fill(client, url_of(record), record__change_reason=WHY, **entries)


def values(record: Record) -> dict[str, Any]:
    """What is stored, the version aside."""
    fresh = type(record)._default_manager.filter(pk=record.pk).values().get()
    return {name: value for name, value in fresh.items() if name != "version"}


ALL_GROUPS = ["governance", "baseline", "risk", "labs", "procedure", "device", "removal", "film", "pressures",
              "session", "review"]  # fmt: skip


@pytest.mark.parametrize("groups", [[], ALL_GROUPS], ids=["core", "all groups"])
@pytest.mark.parametrize("entity", CORRECTIONS)
def test_saving_a_correction_untouched_changes_nothing(
    entity: str, groups: list[str], desk: Client, run: Run
) -> None:
    run.course.centre.extended_groups = groups
    run.course.centre.save()
    record = every_record(run)[entity]
    before = values(record)
    send(desk, url_of(record), correction(desk, record))
    assert values(record) == before
    record.refresh_from_db()
    assert record.version == 2


@pytest.mark.parametrize("reason", ["", "   ", "typo", "x" * 301, "nul\x00byte"])
def test_a_correction_needs_a_reason(reason: str, desk: Client, run: Run) -> None:
    data = fill(desk, url_of(run.course), record__change_reason=reason, record__shock_stage="D")
    response = desk.post(url_of(run.course), data)
    assert response.status_code == 422
    assert "record-change_reason" in errors_of(response)
    assert Course.objects.get().shock_stage == "C"


def test_the_intent_is_frozen_once_support_has_begun(desk: Client, run: Run) -> None:
    data = correction(desk, run.course)
    send(desk, url_of(run.course), {**data, "record-intent": "BTR"})
    assert Course.objects.get().intent == "BTT"


def test_values_of_a_group_switched_off_survive_a_correction(desk: Client, run: Run) -> None:
    Run.objects.update(procedure_min=45, lot="L-7", sedation="LOCAL", contrast_ml=0)
    send(desk, url_of(run), correction(desk, run, record__operator_code="OP-9"))
    run.refresh_from_db()
    assert (run.operator_code, run.procedure_min, run.sedation, run.contrast_ml) == ("OP-9", 45, "LOCAL", 0)


def test_what_no_longer_applies_is_emptied(desk: Client, run: Run) -> None:
    """The page hides such a field and leaves it out of the post."""
    check = create_check(run=run, film_verdict="HIGH", position_action="BEDSIDE_ADJUST")
    send(desk, url_of(check), correction(
        desk, check, record__film_verdict="ACCEPTABLE", record__position_action=None
    ))  # fmt: skip
    check.refresh_from_db()
    assert (check.film_verdict, check.position_action) == ("ACCEPTABLE", "")
    event = create_event(course=run.course)
    send(desk, url_of(event), correction(desk, event, record__failure="GAS_LEAK", record__kink_site=None))
    event.refresh_from_db()
    assert (event.failure, event.kink_site) == ("GAS_LEAK", "")


def test_an_event_of_no_run_stays_so_when_corrected(desk: Client, run: Run) -> None:
    event = create_event(course=run.course, kind="OTHER", severity="MINOR")
    assert event.run is None
    send(desk, url_of(event), correction(desk, event, record__severity="MAJOR"))
    event.refresh_from_db()
    assert (event.severity, event.run) == ("MAJOR", None)
    assert "review" in {name.partition("-")[2] for name in correction(desk, event)}


def test_a_question_once_answered_is_not_asked_again(desk: Client, run: Run) -> None:
    data = correction(desk, run, record__location="BEDSIDE")
    asked = desk.post(url_of(run), data)
    assert asked.status_code == 422
    assert list(errors_of(asked)) == ["record-reason_axillary_bedside"]
    send(desk, url_of(run), again(data, record__reason_axillary_bedside="too ill to move"))
    answer = Answer.objects.get()
    assert (answer.entity, answer.record_id, answer.reason) == ("run", run.public_id, "too ill to move")
    send(desk, url_of(run), correction(desk, run, record__operator_code="OP-9"))
    assert Answer.objects.count() == 1


def test_another_value_is_asked_about_anew(desk: Client, run: Run) -> None:
    data = correction(desk, run.course, record__height_cm="206")
    send(desk, url_of(run.course), {**data, "record-reason_height_cm_unusual": "measured twice"})
    response = desk.post(url_of(run.course), correction(desk, run.course, record__height_cm="207"))
    assert list(errors_of(response)) == ["record-reason_height_cm_unusual"]


@pytest.mark.parametrize("reason", ["nul\x00byte", "x" * 301])
def test_an_answer_is_checked_like_any_entry(reason: str, desk: Client, run: Run) -> None:
    data = correction(
        desk,
        run,
        record__location="BEDSIDE",
    )
    response = desk.post(url_of(run), {**data, "record-reason_axillary_bedside": reason})
    assert list(errors_of(response)) == ["record-reason_axillary_bedside"]


def test_two_editors_see_both_entries_and_nothing_is_lost(
    desk: Client, run: Run, physician: User, sign_in: Callable[[User], Client]
) -> None:
    course, other = run.course, sign_in(physician)
    mine = correction(desk, course, record__shock_stage="D", record__weight_kg="81")
    theirs = correction(other, course, record__shock_stage="E", record__height_cm="180")
    send(other, url_of(course), theirs)
    response = desk.post(url_of(course), mine)
    assert response.status_code == 422
    page = response.content.decode()
    assert 'id="conflict"' in page
    assert "D: deteriorating" in page
    assert "E: extremis" in page
    course.refresh_from_db()
    assert (course.shock_stage, course.weight_kg, course.version) == ("E", Decimal(80), 2)
    conflict = response.context["forms"][0]
    assert {row["label"] for row in conflict.conflicts} >= {"Shock stage at the decision", "Height", "Weight"}
    send(desk, url_of(course), {**mine, "record-version": conflict.data["record-version"]})
    course.refresh_from_db()
    assert (course.shock_stage, course.weight_kg, course.version) == ("D", Decimal(81), 3)


def test_what_was_saved_meanwhile_is_shown_as_people_read_it(desk: Client, run: Run) -> None:
    mine = correction(desk, run, record__inserted_at="t-8 0800")
    theirs = correction(desk, run, record__guidance=["ULTRASOUND", "FLUORO"])
    send(desk, url_of(run), theirs)
    conflicts = desk.post(url_of(run), mine).context["forms"][0].conflicts
    shown = {row["label"]: (row["typed"], row["saved"]) for row in conflicts}
    assert shown["Guidance"] == ("Ultrasound", "Ultrasound, Fluoroscopy")
    assert shown["Inserted"][0].endswith(" 08:00")


def test_a_version_that_never_was_is_a_conflict(desk: Client, run: Run) -> None:
    for version in ("99", "-1", "9" * 40):
        response = desk.post(url_of(run), {**correction(desk, run), "record-version": version})
        assert response.status_code == 422
    run.refresh_from_db()
    assert run.version == 1


def test_two_balloons_cannot_be_made_to_overlap_by_a_correction(desk: Client, run: Run) -> None:
    Run.objects.update(removed_at=days_ago(5), end_reason="EXCHANGE")
    second = create_run(course=run.course, inserted_at=days_ago(5))
    response = desk.post(url_of(second), correction(desk, second, record__inserted_at="t-6 0800"))
    assert "leaves before the new one enters" in errors_of(response)["record-inserted_at"][0]
    first = correction(desk, run, record__removed_at="", record__end_reason="")
    assert "cannot lie in one aorta" in str(errors_of(desk.post(url_of(run), first)))


def test_a_birth_after_the_first_insertion_is_refused_at_its_field(desk: Client, run: Run) -> None:
    Run.objects.update(inserted_at=days_ago(800))
    year = str(days_ago(800).year + 1)
    refused = desk.post(url_of(run.patient), correction(desk, run.patient, record__birth_year=year))
    (text,) = errors_of(refused)["record-birth_year"]
    assert text.startswith(f"Born in {year}, but the first device went in on ")
    assert refused.status_code == 422


def test_a_wrong_record_number_is_corrected_with_a_reason(desk: Client, run: Run) -> None:
    patient = create_patient(centre=run.course.centre, record_number="77-1")
    for number in ("77-2", "", "77-3"):
        send(desk, url_of(patient), correction(desk, patient, record__record_number=number))
        held = PatientIdentity.objects.filter(patient=patient).values_list("record_number", flat=True)
        assert list(held) == [number][: bool(number)]
    page = desk.get(url_of(patient, "history")).content.decode()
    assert page.count(f"Reason: {WHY}") == 6  # the patient and the number, three times
    assert "<del>77-1</del>" in page


@pytest.mark.parametrize("number", ["77-1", " 77-1 ", "a-9"])
def test_the_record_number_of_another_patient_is_refused_at_the_field(
    number: str, desk: Client, run: Run
) -> None:
    holder = create_patient(centre=run.course.centre, record_number="77-1")
    PatientIdentity.objects.create(patient=run.patient, centre=run.patient.centre, record_number="88-1")
    create_patient(centre=run.course.centre, study_no="HB-OTHER", record_number="A-9")
    response = desk.post(url_of(run.patient), correction(desk, run.patient, record__record_number=number))
    text = f"This is the local record number of {'HB-OTHER' if number == 'a-9' else holder}."
    assert errors_of(response)["record-record_number"][0].startswith(text)
    assert PatientIdentity.objects.get(patient=run.patient).record_number == "88-1"


def test_a_record_number_saved_meanwhile_is_shown_beside_the_typed_one(desk: Client, run: Run) -> None:
    mine = correction(desk, run.patient, record__record_number="77-1")
    theirs = correction(desk, run.patient, record__record_number="77-2")
    send(desk, url_of(run.patient), theirs)
    form = desk.post(url_of(run.patient), mine).context["forms"][0]
    assert {"label": "Local record number", "typed": "77-1", "saved": "77-2"} in form.conflicts


@pytest.mark.parametrize("entity", sorted(set(CORRECTIONS) - {"patient", "course", "run"}))
def test_a_removed_record_keeps_its_history(entity: str, desk: Client, run: Run) -> None:
    record = every_record(run)[entity]
    model = type(record)
    data = fill(desk, url_of(record, "remove"), change_reason="entered for another patient")
    first = send(desk, url_of(record, "remove"), data)
    assert not model._default_manager.filter(pk=record.pk).exists()
    assert send(desk, url_of(record, "remove"), data).headers["Location"] == first.headers["Location"]
    assert desk.get(first.headers["Location"]).status_code == 200
    history = model.history.rel.related_model.objects.filter(pgh_obj_id=record.pk)  # type: ignore[attr-defined]
    last = history.order_by("pgh_id").last()
    assert last.pgh_label == "delete"
    assert last.pgh_context["reason"] == "entered for another patient"
    assert last.pgh_context["name"] == "coordinator"
    page = desk.get(url_of(record, "history")).content.decode()
    assert "This record was removed on" in page
    assert "Reason: entered for another patient" in page
    assert url_of(record) not in page


OF_A_PATIENT = sorted(set(CORRECTIONS) - {"patient", "candidate"})


@pytest.mark.parametrize("entity", OF_A_PATIENT)
def test_what_was_removed_is_opened_from_the_history_of_the_patient(
    entity: str, desk: Client, run: Run, coordinator: User, stranger: User, sign_in: Callable[[User], Client]
) -> None:
    record = every_record(run)[entity]
    if entity in ("run", "course"):
        record = type(record)._default_manager.get(pk=_lone(run, entity).pk)
    actions.delete(record=record, version=record.version, reason="entered twice", by=coordinator)
    page = desk.get(url_of(run.patient, "history")).content.decode()
    address = reverse("history", args=[entity, record.public_id])
    assert f'href="{address}"' in page
    assert "entered twice" in page
    opened = desk.get(address).content.decode()
    assert opened.count("<strong>Entered</strong>") == opened.count("<strong>Removed</strong>") == 1
    assert url_of(run.patient, "history") in opened
    assert sign_in(stranger).get(address).status_code == 404


def _lone(run: Run, entity: str) -> Record:
    """A run or a course of the patient on which nothing hangs."""
    if entity == "course":
        return create_course(patient=run.patient)
    return create_run(course=run.course, device_class="VA_ECMO", inserted_at=days_ago(6))


def test_a_whole_course_that_was_removed_can_be_read_step_by_step(
    desk: Client, run: Run, coordinator: User
) -> None:
    session = create_mobilisation(course=run.course)
    for record in (run, run.course):
        actions.delete(record=record, version=record.version, reason="wrong patient", by=coordinator)
    page = desk.get(url_of(run.patient, "history")).content.decode()
    for record, name in ((run, "Run"), (run.course, str(run.course)), (session, "Mobilisation")):
        assert f'{reverse("history", args=[record.entity, record.public_id])}">{name}</a>' in page


def test_a_removed_candidate_has_its_history_and_another_centre_cannot_read_it(
    desk: Client, centre: Centre, coordinator: User, stranger: User, sign_in: Callable[[User], Client]
) -> None:
    line = create_candidate(centre=centre)
    address = url_of(line, "history")
    actions.delete(record=line, version=1, reason="entered twice", by=coordinator)
    assert "entered twice" in desk.get(address).content.decode()
    assert sign_in(stranger).get(address).status_code == 404


def test_a_patient_without_removed_records_shows_none(desk: Client, run: Run) -> None:
    assert "removed-head" not in desk.get(url_of(run.patient, "history")).content.decode()


def test_what_others_hang_on_is_not_removed(desk: Client, run: Run) -> None:
    create_event(course=run.course)
    for record in (run, run.course, run.patient):
        data = fill(desk, url_of(record, "remove"), change_reason="entered by mistake")
        response = desk.post(url_of(record, "remove"), data)
        assert response.status_code == 422
        assert "Other records hang on this one" in response.content.decode()
    assert Run.objects.exists()
    assert Event.objects.exists()


def test_a_whole_case_can_be_taken_out_step_by_step(desk: Client, run: Run) -> None:
    for record in (run, run.course, run.patient):
        data = fill(desk, url_of(record, "remove"), change_reason="entered by mistake")
        landing = desk.get(send(desk, url_of(record, "remove"), data).headers["Location"])
        assert landing.status_code == 200


def test_a_record_saved_meanwhile_is_not_removed(desk: Client, run: Run) -> None:
    data = fill(desk, url_of(run, "remove"), change_reason="entered by mistake")
    Run.objects.update(version=2)
    response = desk.post(url_of(run, "remove"), data)
    assert response.status_code == 422
    assert Run.objects.exists()


def test_the_history_page_tells_who_when_and_why(desk: Client, run: Run) -> None:
    send(desk, url_of(run), correction(desk, run, record__operator_code="OP-9"))
    with connection.cursor() as cursor:
        cursor.execute("UPDATE registry_run SET operator_code = 'OP-SQL' WHERE id = %s", [run.pk])
    page = desk.get(url_of(run, "history")).content.decode()
    assert "by coordinator" in page
    assert WHY in page
    assert page.index("<ins>OP-SQL") < page.index("<ins>OP-9")
