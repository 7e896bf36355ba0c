"""Pages of issued reports: signing exactly what was shown, reading it later, and who may not."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from outcomes.period import Period
from registry import guessing
from registry.models import Centre, DataExtract, IssuedReport, Run, User
from tests.factories import create_case, create_event, create_outcome, days_ago

pytestmark = pytest.mark.django_db(transaction=True)

PASSWORD = "only for this test of signing"


@pytest.fixture
def signer(physician: User) -> User:
    physician.set_password(PASSWORD)
    physician.save()
    return physician


@pytest.fixture
def office(sign_in: Callable[[User], Client], signer: User) -> Client:
    return sign_in(signer)


def period(run: Run) -> str:
    return f"{(run.inserted_at - timedelta(days=1)).date()}..{timezone.localdate()}"


def quarter(run: Run) -> str:
    return f"{run.inserted_at.year}-Q{(run.inserted_at.month + 2) // 3}"


def sign(client: Client, run: Run, *, text: str = "", **given: str) -> Any:
    url = reverse("issue") + f"?period={text or period(run)}"
    shown = client.get(url)
    data = {
        "as_of": shown.context["form"].initial["as_of"],
        "statement": "I have read it.",
        "interim": "on",
        "password": PASSWORD,
    }
    return client.post(url, {**data, **given})


def test_it_works(office: Client, run: Run) -> None:
    answer = sign(office, run)
    issued = IssuedReport.objects.get()

    assert answer.headers["Location"] == reverse("issued_report", args=[issued.public_id])
    page = office.get(answer.headers["Location"]).content.decode()
    assert "the same text, the same data, the same figures" in page
    assert issued.signed_name in page
    assert "I have read it." in page
    assert str(run.patient) not in page


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("password", "wrong"),
        ("statement", ""),
        ("interim", ""),
        ("as_of", "2020-01-01T00:00:00+00:00"),
        ("as_of", "2026-13-41T00:00:00+00:00"),
        ("as_of", "x"),
    ],
)
def test_a_signature_needs_its_parts(field: str, text: str, office: Client, run: Run) -> None:
    answer = sign(office, run, **{field: text})

    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert not IssuedReport.objects.exists()


def test_a_running_period_is_issued_as_interim(office: Client, run: Run) -> None:
    sign(office, run)

    assert IssuedReport.objects.get().statement == "Interim, before the period’s end: I have read it."


def test_a_period_that_is_over_has_nothing_interim(office: Client, run: Run) -> None:
    sign(office, run, text="2020-Q1", interim="")

    assert IssuedReport.objects.get().statement == "I have read it."


def test_a_period_that_has_not_begun_is_not_issued(office: Client, run: Run) -> None:
    text = f"{timezone.localdate().year + 1}-Q4"
    answer = sign(office, run, text=text)

    assert answer.status_code == 422
    assert "has not begun" in answer.content.decode()
    assert "Sign and issue" not in answer.content.decode()
    assert not IssuedReport.objects.exists()


def test_wrong_passwords_are_counted_like_failed_sign_ins(office: Client, run: Run) -> None:
    for _ in range(guessing.FREE_TRIES):
        assert "not your password" in sign(office, run, password="wrong").content.decode()
    refused = sign(office, run)

    assert "Try again in 1 min" in refused.content.decode()
    assert not IssuedReport.objects.exists()


def test_the_right_password_ends_the_count(office: Client, run: Run, signer: User) -> None:
    for _ in range(guessing.FREE_TRIES - 1):
        sign(office, run, password="wrong")
    sign(office, run)

    assert IssuedReport.objects.exists()
    assert guessing.begin_try(signer.username, "127.0.0.1") == 0
    assert guessing.begin_try(signer.username, "127.0.0.1") == 0


def test_what_was_entered_after_reading_is_not_signed(office: Client, run: Run) -> None:
    url = reverse("issue") + f"?period={period(run)}"
    as_of = office.get(url).context["form"].initial["as_of"]
    create_case(centre=run.course.centre, inserted_at=days_ago(2))
    office.post(url, {"as_of": as_of, "statement": "I have read it.", "interim": "on", "password": PASSWORD})
    page = office.get(reverse("restated", args=[IssuedReport.objects.get().public_id]))

    assert page.context["groups"]


def test_a_late_entry_needs_a_reason_and_shows_up(office: Client, run: Run) -> None:
    sign(office, run)
    issued = IssuedReport.objects.get()
    url = reverse("new_event", args=[run.course.public_id, "kink"])
    data = {
        "new-run": run.pk, "new-onset_at": "t-2 1200", "new-onset_precision": "HOUR",
        "new-failure": "GAS_LEAK", "new-severity": "MINOR", "new-fixed_by": "STRAIGHTEN",
    }  # fmt: skip
    asked = office.post(url, data)
    saved = office.post(url, data | {"new-reason_late_for_issued": "found in the ward notes"})

    assert asked.status_code == 422
    assert "without this" in asked.content.decode()
    assert saved.status_code == 302
    page = office.get(reverse("restated", args=[issued.public_id])).content.decode()
    assert str(run.course) in page


def test_a_later_quarter_says_that_figures_moved(office: Client, run: Run, signer: User) -> None:
    sign(office, run)
    create_event(course=run.course, run=run, onset_at=days_ago(2))
    later = f"{timezone.localdate() + timedelta(days=1)}..{timezone.localdate() + timedelta(days=30)}"
    page = office.get(reverse("quarter"), {"period": later}).content.decode()

    assert "would come out differently today" in page


def test_the_case_says_that_it_stands_in_an_issued_report(office: Client, run: Run) -> None:
    sign(office, run)

    assert "in the issued report" in office.get(reverse("case", args=[run.course.public_id])).content.decode()


def test_the_committee_reads_and_names_no_case(
    office: Client, centre: Centre, committee: User, sign_in: Callable[[User], Client]
) -> None:
    run = create_case(centre=centre, inserted_at=days_ago(220), removed_at=days_ago(210), end_reason="WEANED")
    sign(office, run, text=quarter(run))
    create_event(course=run.course, run=run, onset_at=days_ago(215))
    issued = IssuedReport.objects.get()
    client = sign_in(committee)

    for name in ("issued_report", "restated"):
        page = client.get(reverse(name, args=[issued.public_id]))
        assert page.status_code == 200
        assert str(run.patient) not in page.content.decode()
    later = Period.quarter_of(timezone.localdate(days_ago(100)), centre.zone).label
    assert "come out differently" in office.get(reverse("quarter"), {"period": later}).content.decode()
    assert "come out differently" not in client.get(reverse("quarter"), {"period": later}).content.decode()


def test_a_period_that_is_no_quarter_is_not_for_the_committee(
    office: Client, run: Run, committee: User, sign_in: Callable[[User], Client]
) -> None:
    sign(office, run)
    issued = IssuedReport.objects.get()

    for name in ("issued_report", "restated"):
        assert sign_in(committee).get(reverse(name, args=[issued.public_id])).status_code == 403


def test_others_find_nothing(
    office: Client, run: Run, administrator: User, stranger: User, sign_in: Callable[[User], Client]
) -> None:
    sign(office, run)
    issued = IssuedReport.objects.get()

    for name in ("issued_report", "restated"):
        url = reverse(name, args=[issued.public_id])
        assert sign_in(stranger).get(url).status_code == 404
        assert sign_in(administrator).get(url).status_code == 403
        assert office.post(url).status_code == 405
        assert Client().get(url).status_code == 302


def test_an_extract_is_refused_when_it_would_single_people_out(office: Client, run: Run) -> None:
    run.refresh_from_db()
    create_outcome(course=run.course)
    data = {"purpose": "how long devices stay in", "approval": "QI 7/2026", "smallest_group": "5"}
    Run.objects.update(removed_at=days_ago(1), end_reason="WEANED")
    answer = office.post(reverse("extract"), data)

    assert answer.status_code == 422
    assert "Nothing was written" in answer.content.decode()
    assert not DataExtract.objects.exists()


def test_an_extract_is_written_and_noted(office: Client, run: Run) -> None:
    for _ in range(5):
        create_case(centre=run.course.centre, inserted_at=days_ago(20))
    Run.objects.update(removed_at=days_ago(1), end_reason="WEANED")
    data = {"purpose": "how long devices stay in", "approval": "QI 7/2026", "smallest_group": "5"}
    answer = office.post(reverse("extract"), data)
    text = answer.content.decode()

    assert answer.headers["Content-Disposition"].startswith("attachment")
    assert len(text.splitlines()) == 7
    assert str(run.patient) not in text
    assert run.operator_code not in text
    assert str(timezone.localdate().month) + "-" not in text
    assert DataExtract.objects.get().smallest_group >= 5
