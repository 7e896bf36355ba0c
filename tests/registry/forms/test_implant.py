"""The implant page: new and known patients, the route tried first, exchange, a corrected run."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from registry.models import Answer, FailedAttempt, Patient, PatientIdentity, Run, User
from tests.entries import PAGES
from tests.factories import create_case, create_outcome, create_patient
from tests.pages import again, errors_of, fill, send

pytestmark = pytest.mark.django_db

IMPLANT = PAGES["implant"]
NEW = reverse("new_implant")


def implant(client: Client, run: Run, **entries: Any) -> dict[str, Any]:
    return IMPLANT.filled(client, run, **{name.replace("__", "-", 1): entries[name] for name in entries})


def known_patient(client: Client, run: Run, patient: Patient, **entries: Any) -> dict[str, Any]:
    left_empty = {"patient__birth_year": "", "patient__sex": None}
    return implant(client, run, patient__study_no=patient.study_no, **{**left_empty, **entries})


def test_a_new_patient_comes_with_course_run_and_record_number(desk: Client, run: Run) -> None:
    send(desk, NEW, implant(desk, run, patient__study_no=" hb-9001 ", patient__record_number="77-1"))
    patient = Patient.objects.get(study_no="HB-9001")
    stored = patient.runs.get()
    assert (stored.run_no, stored.relation, stored.course.course_no) == (1, "FIRST", 1)
    assert stored.course.centre == patient.centre == run.course.centre
    assert patient.identity.record_number == "77-1"


def test_a_known_study_number_brings_the_patient_along(desk: Client, run: Run) -> None:
    known = create_patient(centre=run.course.centre, blood_group="AB")
    send(desk, NEW, known_patient(desk, run, known))
    assert known.courses.get().course_no == 1
    known.refresh_from_db()
    assert (known.birth_year, known.sex, known.blood_group, known.version) == (1960, "M", "AB", 1)


def test_a_device_before_the_year_of_birth_is_refused_for_a_new_and_a_known_patient(
    desk: Client, run: Run
) -> None:
    known = create_patient(centre=run.course.centre, birth_year=2004)
    new = implant(desk, run, patient__birth_year="2004")
    for data in (new, known_patient(desk, run, known)):
        answer = desk.post(NEW, {**data, "run-inserted_at": "04-Mar-2003 0830"})
        assert answer.status_code == 422
        expected = ["The year of birth of this patient is 2004, after this."]
        assert errors_of(answer) == {"run-inserted_at": expected}
    assert Patient.objects.count() == 2


def test_a_second_course_is_numbered_on(desk: Client, run: Run) -> None:
    create_outcome(course=run.course)
    Run.objects.update(removed_at=run.inserted_at.replace(hour=23), end_reason="WEANED")
    send(desk, NEW, known_patient(desk, run, run.patient))
    assert [course.course_no for course in run.patient.courses.all()] == [1, 2]


@pytest.mark.parametrize(("field", "value"), [
    ("birth_year", "1961"), ("sex", "F"), ("blood_group", "A"), ("record_number", "88-2"),
])  # fmt: skip
def test_what_does_not_fit_the_known_patient_is_questioned_not_dropped(
    field: str, value: str, desk: Client, run: Run
) -> None:
    known = create_patient(centre=run.course.centre, record_number="77-1")
    response = desk.post(NEW, known_patient(desk, run, known, **{f"patient__{field}": value}))
    assert list(errors_of(response)) == [f"patient-{field}"]
    assert "77-1" not in str(errors_of(response))
    assert PatientIdentity.objects.get().record_number == "77-1"
    assert not known.courses.exists()


def test_a_known_patient_may_gain_a_record_number(desk: Client, run: Run) -> None:
    known = create_patient(centre=run.course.centre)
    send(desk, NEW, known_patient(desk, run, known, patient__record_number="77-1"))
    assert PatientIdentity.objects.get(patient=known).record_number == "77-1"


def test_the_record_number_of_another_patient_is_refused_at_the_field(desk: Client, run: Run) -> None:
    holder = create_patient(centre=run.course.centre, record_number="77-1")
    for filled in (implant(desk, run), known_patient(desk, run, create_patient(centre=run.course.centre))):
        errors = errors_of(desk.post(NEW, {**filled, "patient-record_number": "77-1"}))
        assert errors == {"patient-record_number": [
            f"This is the local record number of {holder}. Check both numbers."
        ]}  # fmt: skip


def test_a_patient_with_an_open_course_gets_no_second_one(desk: Client, run: Run) -> None:
    errors = errors_of(desk.post(NEW, known_patient(desk, run, run.patient)))
    assert "has no outcome yet" in errors["patient-study_no"][0]


def test_a_number_of_another_centre_is_refused_without_saying_more(
    desk: Client, run: Run, stranger: User
) -> None:
    assert stranger.centre is not None
    elsewhere = create_case(centre=stranger.centre)
    errors = errors_of(desk.post(NEW, known_patient(desk, run, elsewhere.patient)))
    assert errors["patient-study_no"] == ["This number is in use at another centre."]


@pytest.mark.parametrize("number", ["", "H", "hb 9", "HB_9", "-HB", "A" * 21, "HB-9\x00", "ÄB-1"])
def test_odd_study_numbers_are_refused(number: str, desk: Client, run: Run) -> None:
    assert "patient-study_no" in errors_of(desk.post(NEW, implant(desk, run, patient__study_no=number)))


TRIED = {
    "tried__tried_first": "on",
    "tried__intended_route": "AXILLARY_R",
    "tried__failure": "WIRE_NOT_PASSED",
    "tried__attempted_at": "t-3 0800",
}


def test_the_route_tried_first_is_recorded_and_tied_to_the_run(desk: Client, run: Run) -> None:
    send(desk, NEW, implant(desk, run, **TRIED))
    attempt = FailedAttempt.objects.get()
    stored = Run.objects.exclude(pk=run.pk).get()
    assert (attempt.followed_by, attempt.patient) == (stored, stored.patient)
    assert (attempt.operator_code, attempt.guidance) == (stored.operator_code, stored.guidance)
    assert attempt.intended_route == "AXILLARY_R"


@pytest.mark.parametrize(("changed", "field"), [
    ({"tried__failure": None}, "tried-failure"),
    ({"tried__intended_route": ""}, "tried-intended_route"),
    ({"tried__attempted_at": ""}, "tried-attempted_at"),
    ({"tried__attempted_at": "t-3 0831"}, "tried-attempted_at"),
    ({"tried__intended_route": "AXILLARY_L"}, "tried-intended_route"),
])  # fmt: skip
def test_a_route_tried_first_is_told_whole(
    changed: dict[str, Any], field: str, desk: Client, run: Run
) -> None:
    assert list(errors_of(desk.post(NEW, implant(desk, run, **{**TRIED, **changed})))) == [field]


def test_without_the_tick_no_attempt_is_recorded(desk: Client, run: Run) -> None:
    send(desk, NEW, implant(desk, run, **{**TRIED, "tried__tried_first": None}))
    assert not FailedAttempt.objects.exists()


def test_odd_values_are_asked_about_together_and_the_reasons_kept(desk: Client, run: Run) -> None:
    data = implant(desk, run, patient__birth_year="2015", course__height_cm="135", run__location="BEDSIDE")
    errors = errors_of(desk.post(NEW, data))
    asked = {"patient-reason_patient_is_child", "course-reason_height_cm_unusual",
             "run-reason_axillary_bedside", "run-reason_volume_for_height"}  # fmt: skip
    assert set(errors) == asked
    send(desk, NEW, again(data, **dict.fromkeys(asked, "it was so")))
    assert sorted(Answer.objects.values_list("entity", flat=True)) == ["course", "patient", "run", "run"]
    assert set(Answer.objects.values_list("given_by__username", flat=True)) == {"coordinator"}


@pytest.mark.parametrize(("entries", "field"), [
    ({"run-inserted_at": "t-3 0759"}, "run-inserted_at"),
    ({"run-route": "FEMORAL_L"}, "run-route"),
    ({"run-relation": "ROUTE_CROSSOVER"}, "run-relation"),
    ({"run-exchange_reason": ""}, "run-exchange_reason"),
    ({"old-removed_at": ""}, "old-removed_at"),
    ({"old-removed_at": "t-10 0800"}, "old-removed_at"),
])  # fmt: skip
def test_an_exchange_that_cannot_be_is_refused(
    entries: dict[str, Any], field: str, desk: Client, run: Run
) -> None:
    page = PAGES["exchange"]
    assert field in errors_of(desk.post(page.url(run), page.filled(desk, run, **entries)))
    run.refresh_from_db()
    assert run.removed_at is None


def test_an_exchange_ends_one_run_and_begins_the_next(desk: Client, run: Run) -> None:
    page = PAGES["exchange"]
    send(desk, page.url(run), page.filled(desk, run))
    run.refresh_from_db()
    new = Run.objects.get(replaces=run)
    assert (run.end_reason, run.closure, run.closure_success) == ("EXCHANGE", "MANUAL", True)
    assert (new.run_no, new.relation, new.course, new.removed_at) == (
        2,
        "SAME_SITE_EXCHANGE",
        run.course,
        None,
    )


def test_a_removed_run_is_corrected_with_a_reason_not_removed_again(desk: Client, run: Run) -> None:
    page = PAGES["removal"]
    data = page.filled(desk, run)
    send(desk, page.url(run), data)
    assert "/correct/" in desk.get(page.url(run)).headers["Location"]
    response = desk.post(page.url(run), again(data, **{"run-removed_at": "t-2 0800"}))
    assert response.status_code == 422
    assert 'id="conflict"' in response.content.decode()


def test_a_device_after_the_end_of_the_course_is_refused(desk: Client, run: Run) -> None:
    send(desk, PAGES["outcome"].url(run), PAGES["outcome"].filled(desk, run))
    page = PAGES["further device"]
    errors = errors_of(desk.post(page.url(run), page.filled(desk, run, **{"run-inserted_at": "t 0000"})))
    assert "ended by then" in errors["run-inserted_at"][0]


def test_a_course_left_without_a_run_takes_no_later_device(desk: Client, run: Run) -> None:
    course = run.course
    run.delete()
    url = reverse("further_device", args=[course.public_id])
    data = fill(desk, url, **PAGES["further device"].typed)
    assert "needs an earlier one" in str(errors_of(desk.post(url, data)))
