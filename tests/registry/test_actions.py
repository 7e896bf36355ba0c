"""Writes at the same moment, by several people: one record, one winner, nothing lost, never an error page."""

from __future__ import annotations

import contextlib
import re
import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import ProtectedError
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from registry import actions
from registry.models import (
    Answer,
    Candidate,
    Course,
    CourseOutcome,
    Event,
    FailedAttempt,
    Mobilisation,
    Patient,
    PatientIdentity,
    Record,
    Run,
    Submission,
    User,
)
from registry.rules import ask
from tests.entries import PAGES
from tests.factories import (
    RUN,
    create_case,
    create_check,
    create_course,
    create_event,
    create_failed_attempt,
    create_follow_up,
    create_haemodynamics,
    create_listing,
    create_mobilisation,
    create_outcome,
    create_patient,
    create_plan_change,
    create_run,
    create_screening,
    days_ago,
)
from tests.pages import again, fill, sent_from

at_once = pytest.mark.django_db(transaction=True)
Answered = list[tuple[int, str]]


def together(*jobs: Callable[[], Any]) -> list[Any]:
    """Start all jobs at the same moment, each on its own connection, and wait for their results."""
    barrier = threading.Barrier(len(jobs))
    results: list[Any] = [None] * len(jobs)

    def work(place: int, job: Callable[[], Any]) -> None:
        try:
            barrier.wait(timeout=20)
            results[place] = job()
        except Exception as error:
            results[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=work, args=pair) for pair in enumerate(jobs)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return results


def posts(*entries: tuple[Client, str, dict[str, Any]]) -> Answered:
    """Send several forms at once; the status of each answer and where it leads."""

    def job(client: Client, url: str, data: dict[str, Any]) -> Callable[[], tuple[int, str]]:
        def post() -> tuple[int, str]:
            client.raise_request_exception = False
            response = client.post(url, data)
            return response.status_code, response.headers.get("Location", "")

        return post

    return together(*(job(*entry) for entry in entries))


@pytest.fixture
def desks(sign_in: Callable[[User], Client], coordinator: User, physician: User) -> list[Client]:
    """Four windows of two people."""
    return [sign_in(user) for user in (coordinator, physician, coordinator, physician)]


@at_once
def test_the_same_form_at_the_same_moment_is_saved_once(
    run: Run, sign_in: Callable[[User], Client], coordinator: User
) -> None:
    windows = [sign_in(coordinator) for _ in range(4)]
    for page in (PAGES["implant"], PAGES["exchange"], PAGES["event kink"], PAGES["outcome"]):
        url, data = page.url(run), page.filled(windows[0], run)
        answers = posts(*((window, url, data) for window in windows))
        assert {status for status, _ in answers} == {302}, page.name
        assert len({place for _, place in answers}) == 1, page.name
        if page.name == "exchange":
            run = Run.objects.get(replaces=run)
    assert (Patient.objects.count(), Run.objects.count()) == (2, 3)
    assert (Event.objects.count(), CourseOutcome.objects.count(), Submission.objects.count()) == (1, 1, 4)


def one_wins(answers: Answered) -> None:
    assert sorted(status for status, _ in answers) == [302, *[422] * (len(answers) - 1)], answers


@at_once
def test_the_same_new_patient_at_two_desks_becomes_one(run: Run, desks: list[Client]) -> None:
    page = PAGES["implant"]
    data = page.filled(desks[0], run)
    one_wins(posts(*((desk, page.url(run), again(data)) for desk in desks)))
    assert Patient.objects.filter(study_no="HB-9001").count() == 1
    assert Course.objects.filter(patient__study_no="HB-9001").count() == 1


@at_once
def test_one_record_number_for_two_new_patients_at_once_is_given_once(run: Run, desks: list[Client]) -> None:
    page = PAGES["implant"]
    data = page.filled(desks[0], run, **{"patient-record_number": "77-1"})
    studies = [again(data, **{"patient-study_no": f"HB-900{place}"}) for place in range(len(desks))]
    one_wins(posts(*((desk, page.url(run), study) for desk, study in zip(desks, studies, strict=True))))
    assert PatientIdentity.objects.count() == 1
    assert Patient.objects.count() == 2


@at_once
def test_two_implants_in_a_known_patient_make_one(run: Run, desks: list[Client]) -> None:
    known = create_patient(centre=run.course.centre)
    page = PAGES["implant"]
    data = page.filled(desks[0], run, **{"patient-study_no": known.study_no, "patient-birth_year": ""})
    data["patient-sex"] = ""
    one_wins(posts(*((desk, page.url(run), again(data)) for desk in desks)))
    assert known.courses.count() == known.runs.count() == 1


@at_once
def test_two_first_devices_that_could_lie_together_open_one_course(run: Run, desks: list[Client]) -> None:
    """A pump and another device may lie side by side, so no constraint on runs stops the second course."""
    known = create_patient(centre=run.course.centre)
    page = PAGES["implant"]
    as_known = {"patient-study_no": known.study_no, "patient-birth_year": "", "patient-sex": ""}
    pump = page.filled(desks[0], run, **as_known)
    other = again(pump, **{"run-device_class": "VA_ECMO", "run-route": "FEMORAL_R"})
    answers = posts((desks[0], page.url(run), pump), (desks[1], page.url(run), other))
    one_wins(answers)
    assert known.courses.count() == known.runs.count() == 1


@at_once
def test_an_implant_waits_for_the_one_before_it_and_sees_its_course(run: Run, coordinator: User) -> None:
    known = create_patient(centre=run.course.centre)
    saved, waiting = threading.Event(), threading.Event()

    def implant(**device: Any) -> Run:
        course = Course(centre=known.centre, intent="BTT", shock_stage="C")
        new = Run(inserted_at=days_ago(2), **{**RUN, **device})
        return actions.record_implant(patient=known, course=course, run=new, by=coordinator)

    def first() -> None:
        with transaction.atomic():
            implant()
            saved.set()
            waiting.wait(timeout=1)  # the other stands at the lock and cannot come to this

    def second() -> None:
        saved.wait(timeout=20)
        implant(device_class="VA_ECMO")
        waiting.set()

    _, refusal = together(first, second)
    assert isinstance(refusal, actions.Conflict)
    assert refusal.current == known.courses.get()


@at_once
def test_two_exchanges_of_one_catheter_make_one(run: Run, desks: list[Client]) -> None:
    page = PAGES["exchange"]
    data = page.filled(desks[0], run)
    one_wins(posts(*((desk, page.url(run), again(data)) for desk in desks)))
    assert Run.objects.count() == 2


@at_once
def test_an_exchange_and_a_removal_make_one_of_them(run: Run, desks: list[Client]) -> None:
    exchange, removal = PAGES["exchange"], PAGES["removal"]
    one_wins(posts(
        (desks[0], exchange.url(run), exchange.filled(desks[0], run)),
        (desks[1], removal.url(run), removal.filled(desks[1], run)),
    ))  # fmt: skip


@at_once
def test_two_outcomes_of_one_course_make_one(run: Run, desks: list[Client]) -> None:
    page = PAGES["outcome"]
    data = page.filled(desks[0], run)
    one_wins(posts(*((desk, page.url(run), again(data)) for desk in desks)))
    run.refresh_from_db()
    assert run.removed_at == CourseOutcome.objects.get().occurred_at


@at_once
def test_numbers_are_given_once_each(run: Run, desks: list[Client]) -> None:
    for page in (PAGES["event kink"], PAGES["candidate"]):
        data = page.filled(desks[0], run)
        answers = posts(*((desk, page.url(run), again(data)) for desk in desks))
        assert {status for status, _ in answers} == {302}
    assert sorted(Event.objects.values_list("event_no", flat=True)) == [1, 2, 3, 4]
    assert sorted(Candidate.objects.values_list("line_no", flat=True)) == [1, 2, 3, 4]


@at_once
def test_corrections_of_one_record_lose_nothing(run: Run, desks: list[Client]) -> None:
    url = reverse("correct", args=["run", run.public_id])
    forms = [
        fill(desk, url, record__change_reason="misread", record__operator_code=f"OP-{place}")
        for place, desk in enumerate(desks)
    ]
    one_wins(posts(*((desk, url, form) for desk, form in zip(desks, forms, strict=True))))
    run.refresh_from_db()
    assert run.version == 2


@at_once
def test_two_corrections_that_would_overlap_do_not_both_pass(run: Run, desks: list[Client]) -> None:
    Run.objects.update(removed_at=days_ago(6), end_reason="EXCHANGE")
    second = create_run(course=run.course, inserted_at=days_ago(4))
    later, earlier = (reverse("correct", args=["run", each.public_id]) for each in (run, second))
    why = {"record__change_reason": "misread"}
    answers = posts(
        (desks[0], later, fill(desks[0], later, record__removed_at="t-5 2000", **why)),
        (desks[1], earlier, fill(desks[1], earlier, record__inserted_at="t-5 1000", **why)),
    )  # fmt: skip
    one_wins(answers)


def of_one_patient(run: Run) -> list[Record]:
    """One record of every kind that hangs on a patient."""
    course = run.course
    makers = (create_event, create_mobilisation, create_plan_change, create_follow_up, create_screening)
    more = (create_haemodynamics, create_listing, create_outcome)
    attempt = create_failed_attempt(patient=run.patient)
    return [run.patient, course, run, create_check(run=run), attempt] + [
        make(course=course) for make in (*makers, *more)
    ]


@pytest.mark.django_db
def test_every_write_about_a_patient_holds_the_patient_first(run: Run, coordinator: User) -> None:
    """Else two overlapping writes may wait for one another until the database ends one with an error."""
    written = {"by": coordinator, "reason": "misread"}
    for record in of_one_patient(run):
        for write in (
            lambda: actions.correct(record=record, version=1, **written),  # noqa: B023 - called at once
            lambda: actions.delete(record=record, version=2, **written),  # noqa: B023
        ):
            with CaptureQueriesContext(connection) as seen, contextlib.suppress(ProtectedError):
                write()
            taken = [query["sql"] for query in seen if re.search("FOR UPDATE|^(UPDATE|DELETE)", query["sql"])]
            assert 'FROM "registry_patient"' in taken[0], record
            assert "FOR UPDATE" in taken[0], record


def one_after_the_other(first: Callable[[], Any], second: Callable[[], Any]) -> Any:
    """What becomes of the second write if it comes while the first is done and not yet committed."""
    done, through = threading.Event(), threading.Event()

    def hold() -> None:
        with transaction.atomic():
            first()
            done.set()
            through.wait(timeout=1)  # the second stands at the lock and cannot come to this

    def follow() -> Any:
        done.wait(timeout=20)
        result = second()
        through.set()
        return result

    return together(hold, follow)[1]


def later_device(course: Course) -> Run:
    last = course.runs.latest("run_no")
    relation = {"relation": "REINSERTION_AFTER_GAP", "replaces": last, "run_no": last.run_no + 1}
    return Run(course=course, inserted_at=days_ago(2), **RUN, **relation)


def out(run: Run) -> Course:
    """The course of a run that was removed four days ago."""
    Run.objects.filter(pk=run.pk).update(removed_at=days_ago(4), end_reason="WEANED")
    return Course.objects.get(pk=run.course_id)


def end(course: Course, *, days: float, by: User) -> CourseOutcome:
    """As recorded when no device was seen in place."""
    outcome = CourseOutcome(course=course, outcome="RECOVERED_WEANED", occurred_at=days_ago(days))
    return actions.record_outcome(outcome=outcome, still_in=[], end_reason="WEANED", by=by)


@at_once
def test_a_device_waits_for_an_outcome_and_is_refused_after_it(run: Run, coordinator: User) -> None:
    course = out(run)
    refusal = one_after_the_other(
        lambda: end(course, days=3, by=coordinator),
        lambda: actions.add_run(run=later_device(course), by=coordinator),
    )
    assert isinstance(refusal, actions.Conflict)
    assert refusal.current == CourseOutcome.objects.get()
    assert Run.objects.count() == 1


@at_once
def test_a_device_moved_behind_an_outcome_meanwhile_is_refused(run: Run, coordinator: User) -> None:
    course = out(run)
    second = create_run(course=course, inserted_at=days_ago(3.5), removed_at=days_ago(1))
    second.inserted_at = days_ago(2)
    refusal = one_after_the_other(
        lambda: end(course, days=3, by=coordinator),
        lambda: actions.correct(record=second, version=1, reason="misread", by=coordinator),
    )
    assert isinstance(refusal, actions.Conflict)
    assert refusal.current == CourseOutcome.objects.get()


@at_once
def test_an_outcome_waits_for_a_device_and_sees_it_in_place(run: Run, coordinator: User) -> None:
    course = out(run)
    refusal = one_after_the_other(
        lambda: actions.add_run(run=later_device(course), by=coordinator),
        lambda: end(course, days=3, by=coordinator),
    )
    assert isinstance(refusal, actions.Conflict)
    assert refusal.current == Run.objects.latest("run_no")
    assert not CourseOutcome.objects.exists()


@at_once
def test_a_device_waits_for_the_removal_of_an_outcome(run: Run, coordinator: User) -> None:
    course = out(run)
    outcome = end(course, days=3, by=coordinator)
    added = one_after_the_other(
        lambda: actions.delete(record=outcome, version=1, reason="entered by mistake", by=coordinator),
        lambda: actions.add_run(run=later_device(course), by=coordinator),
    )
    assert added == Run.objects.latest("run_no")


@at_once
def test_what_was_typed_stays_when_the_course_ends_meanwhile(
    run: Run, desks: list[Client], coordinator: User
) -> None:
    course, page = out(run), PAGES["further device"]
    data = page.filled(desks[0], run, **{"run-inserted_at": "t-2 1130", "run-note": "placed at night"})
    answer = one_after_the_other(
        lambda: end(course, days=3, by=coordinator), lambda: desks[0].post(page.url(run), data)
    )
    assert answer.status_code == 422
    assert "after you opened this" in str(answer.context["forms"][0].non_field_errors())
    assert sent_from(answer)["run-inserted_at"].endswith("11:30")
    assert sent_from(answer)["run-note"] == "placed at night"
    assert "inserted_at" in desks[0].post(page.url(run), again(data)).context["forms"][0].errors


@at_once
def test_a_record_removed_meanwhile_is_said_to_be_gone(run: Run, desks: list[Client]) -> None:
    session = actions.create(record=Mobilisation(course=run.course, started_at=days_ago(3), level=4), by=None)
    remove = reverse("remove", args=["mobilisation", session.public_id])
    data = fill(desks[0], remove, change_reason="entered twice")
    answers = posts(*((desk, remove, again(data)) for desk in desks))
    assert [status for status, _ in answers].count(302) == 1
    assert {status for status, _ in answers} <= {302, 404, 422}


@at_once
def test_removing_and_correcting_at_once_ends_well(run: Run, desks: list[Client]) -> None:
    for _ in range(3):
        session = actions.create(
            record=Mobilisation(course=run.course, started_at=days_ago(3), level=4), by=None
        )
        remove, correct = (
            reverse(name, args=["mobilisation", session.public_id]) for name in ("remove", "correct")
        )
        answers = posts(
            (desks[0], remove, fill(desks[0], remove, change_reason="entered twice")),
            (desks[1], correct, fill(desks[1], correct, record__change_reason="misread", record__level="5")),
        )
        assert {status for status, _ in answers} <= {302, 404, 422}
        Mobilisation.objects.all().delete()


@pytest.mark.django_db
def test_a_write_on_what_is_gone_raises_gone(run: Run, coordinator: User) -> None:
    ghost = Run.objects.get(pk=run.pk)
    course = Course.objects.get(pk=run.course.pk)
    run.delete()
    with pytest.raises(actions.Gone):
        actions.correct(record=ghost, version=1, reason="misread", by=coordinator)
    with pytest.raises(actions.Gone):
        actions.delete(record=ghost, version=1, reason="misread", by=coordinator)
    run.course.delete()
    with pytest.raises(actions.Gone):
        actions.create(record=Event(course=course, kind="OTHER", onset_at=days_ago(1)), by=coordinator)


@pytest.mark.django_db
def test_an_implant_is_saved_whole_or_not_at_all(run: Run, coordinator: User) -> None:
    known = run.patient
    create_outcome(course=run.course)
    course = Course(centre=known.centre, intent="BTT", shock_stage="C")
    second = Run(inserted_at=days_ago(2), **RUN)
    with pytest.raises(IntegrityError, match="run_one_balloon_at_a_time"):
        actions.record_implant(patient=known, course=course, run=second, by=coordinator)
    assert (Course.objects.count(), Run.objects.count()) == (1, 1)


@pytest.mark.django_db
def test_reasons_given_are_kept_wherever_they_were_asked_for(run: Run, coordinator: User) -> None:
    def answers(code: str) -> actions.Answers:
        return {ask(code, "field", "Odd."): "it was so"}

    new = Run(inserted_at=days_ago(4), run_no=2, relation="SAME_SITE_EXCHANGE", exchange_reason="KINK", **RUN)
    both = {"old": answers("old"), "new": answers("new")}
    actions.exchange(old=run, version=1, removed_at=days_ago(4), new=new, by=coordinator, answers=both)
    patient = Patient(centre=run.course.centre, study_no="HB-77", birth_year=2015, sex="F")
    attempt = FailedAttempt(
        centre=run.course.centre, attempted_at=days_ago(2), intended_route="AXILLARY_L", failure="OTHER",
        **{name: RUN[name] for name in ("access_method", "guidance", "operator_code", "location", "urgency")},
    )  # fmt: skip
    given = {"patient": answers("patient"), "failed_attempt": answers("attempt")}
    actions.record_failed_attempt(
        patient=patient, attempt=attempt, by=coordinator, record_number="77-1", answers=given
    )
    kept = set(Answer.objects.values_list("entity", "code"))
    assert kept == {("run", "old"), ("run", "new"), ("patient", "patient"), ("failed_attempt", "attempt")}
    assert PatientIdentity.objects.get(patient=patient).record_number == "77-1"


@pytest.mark.django_db
def test_courses_and_runs_are_numbered_in_order(run: Run) -> None:
    other = create_case(centre=run.course.centre)
    assert (run.run_no, other.run_no, other.course.course_no) == (1, 1, 1)
    assert create_course(patient=other.patient).course_no == 2
