"""The reporting pages: who opens them, what they say, and that figures open to their cases."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from urllib.parse import quote

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from outcomes.period import Period
from registry.models import Centre, Run, User
from tests.factories import create_case, days_ago

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(sign_in: Callable[[User], Client], physician: User) -> Client:
    return sign_in(physician)


@pytest.fixture
def this_quarter(centre: Centre) -> str:
    return Period.quarter_of(timezone.localdate(timezone=centre.zone), centre.zone).label


def test_it_works(office: Client, run: Run, this_quarter: str) -> None:
    page = office.get(reverse("quarter"), {"period": this_quarter})

    assert page.status_code == 200
    assert "Considered, attempted, placed" in page.content.decode()
    assert "so its figures will change" in page.content.decode()


def test_without_a_period_it_is_the_last_full_quarter(office: Client, centre: Centre) -> None:
    page = office.get(reverse("quarter"))
    first_of_running = Period.quarter_of(timezone.localdate(timezone=centre.zone), centre.zone).start
    expected = Period.quarter_of((first_of_running - timedelta(days=1)).date(), centre.zone).label

    assert page.context["asked"].period.label == expected


@pytest.mark.parametrize("text", ["Q3", "2026-13", "2026-07..2026-01", "x" * 500, "2026-Q3\x00'"])
def test_a_period_that_is_none_is_said_at_the_field(office: Client, text: str) -> None:
    page = office.get(reverse("quarter"), {"period": text})

    assert page.status_code == 422 or text.startswith("2026-Q3")
    if page.status_code == 422:
        assert 'id="period-error"' in page.content.decode()


@pytest.mark.parametrize("text", ["9999-12-31", "0001..9998", "0001", "1000..3000", "1989-Q4", "2101"])
@pytest.mark.parametrize("page", ["quarter", "compare"])
def test_years_the_logbook_does_not_know_are_said_at_the_field(office: Client, page: str, text: str) -> None:
    assert office.get(reverse(page), {"period": text}).status_code == 422


@pytest.mark.parametrize(
    ("text", "around"),
    [
        ("1990..2100", ("1990-Q1", "2100-Q4")),
        ("1990-Q1", ("1990-Q1", "1990-Q2")),
        ("2100-Q4", ("2100-Q3", "2100-Q4")),
    ],
)
def test_the_quarters_around_stay_in_the_years_of_the_logbook(
    office: Client, text: str, around: tuple[str, str]
) -> None:
    page = office.get(reverse("quarter"), {"period": text})

    assert page.status_code == 200
    assert (page.context["before"], page.context["after"]) == around
    assert office.get(reverse("quarter_section", args=["trends"]), {"period": text}).status_code in (200, 404)


def test_the_page_and_the_file_are_the_same_report(office: Client, run: Run, this_quarter: str) -> None:
    page = office.get(reverse("quarter"), {"period": this_quarter})
    file = json.loads(office.get(reverse("quarter_json"), {"period": this_quarter}).content)
    on_page = {figure.key: figure.estimate for figure in page.context["report"].figures}

    assert {f["key"]: f["estimate"] for f in file["figures"] if f["unit"] == "proportion"} == {
        key: value
        for key, value in on_page.items()
        if page.context["report"].figure(key).unit == "proportion"
    }


def test_a_figure_opens_to_its_cases(office: Client, run: Run, this_quarter: str) -> None:
    page = office.get(
        reverse("figure_cases"), {"period": this_quarter, "figure": "volume.begun/ALL/patients"}
    )

    assert str(run.patient) in page.content.decode()


def test_every_figure_of_a_quarter_opens(office: Client, run: Run, this_quarter: str) -> None:
    report = office.get(reverse("quarter"), {"period": this_quarter}).context["report"]

    for key in {figure.key for figure in report.figures if figure.numerator}:
        assert office.get(reverse("figure_cases"), {"period": this_quarter, "figure": key}).status_code == 200


def test_cases_of_another_hospital_stay_there(
    office: Client, stranger: User, run: Run, this_quarter: str
) -> None:
    assert stranger.centre is not None
    foreign = create_case(centre=stranger.centre)
    page = office.get(
        reverse("figure_cases"), {"period": this_quarter, "figure": "volume.begun/ALL/patients"}
    )

    assert str(foreign.patient) not in page.content.decode()


@pytest.mark.parametrize("key", ["", "nothing", "volume.begun", quote("<b>")])
def test_an_unknown_figure_is_not_found(office: Client, key: str) -> None:
    assert office.get(reverse("figure_cases"), {"figure": key}).status_code == 404


def test_the_committee_sees_figures_and_no_cases(sign_in: Callable[[User], Client], committee: User) -> None:
    client = sign_in(committee)
    run = create_case(centre=committee.centre, inserted_at=days_ago(120))
    begun_in = Period.quarter_of(timezone.localdate(run.inserted_at), committee.centre.zone)
    page = client.get(reverse("quarter"), {"period": begun_in.label})

    assert page.status_code == 200
    assert reverse("figure_cases") not in page.content.decode()
    assert str(run.patient) not in page.content.decode()
    assert client.get(reverse("figure_cases"), {"figure": "volume.begun/ALL/patients"}).status_code == 403


def test_definitions_name_every_measure(office: Client) -> None:
    page = office.get(reverse("definitions"))

    assert all(f'id="{measure.id}"' in page.content.decode() for measure in page.context["measures"])


def test_a_run_still_in_place_is_listed_as_censored(
    office: Client, centre: Centre, this_quarter: str
) -> None:
    create_case(centre=centre, inserted_at=days_ago(3))
    page = office.get(reverse("quarter"), {"period": this_quarter})

    assert "still supported at the data cut" in page.content.decode()


def test_the_quarter_asks_the_database_little(
    office: Client, run: Run, this_quarter: str, django_assert_max_num_queries: Callable[..., object]
) -> None:
    with django_assert_max_num_queries(20):  # type: ignore[attr-defined]
        office.get(reverse("quarter"), {"period": this_quarter})
