"""The page of restatements and the list of issued reports, as physician and committee read them."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from outcomes.issuing import reissue, restatements
from outcomes.issuing.restated_page import said, unit_words
from outcomes.issuing.views import TOLD_AT_ONCE
from outcomes.measures.values import Figure
from registry import actions
from registry.choices import Role
from registry.models import IssuedReport, Run, User
from tests.factories import create_case, create_event, create_user, days_ago
from tests.outcomes.builder import Logbook
from tests.outcomes.issuing.test_restated import SMALLEST_CELL, enter_courses, issue_now, issue_quarter

pytestmark = pytest.mark.django_db(transaction=True)

REASON = "found in the ward notes"


@pytest.fixture
def office(sign_in: Callable[[User], Client], physician: User) -> Client:
    return sign_in(physician)


@pytest.fixture
def issued(run: Run, physician: User) -> IssuedReport:
    create_case(centre=run.course.centre, inserted_at=days_ago(4))
    return issue_now(run, physician)


@pytest.fixture
def book(transactional_db: None) -> Logbook:
    return enter_courses(Logbook(), 12, day=3)


def page_of(client: Client, issued: IssuedReport) -> str:
    return plain(client.get(reverse("restated", args=[issued.public_id])))


def plain(answer: Any) -> str:
    return re.sub(r"\s+", " ", answer.content.decode())


def rows_of(page: str, label: str) -> list[str]:
    return [row for row in page.split("<tr>") if f'<th scope="row">{label}<' in row]


def test_it_names_who_came_into_the_numerator(office: Client, issued: IssuedReport, run: Run) -> None:
    create_event(course=run.course, run=run, onset_at=days_ago(2))
    share, rate = rows_of(page_of(office, issued), "Kink or malfunction")[:2]

    assert f">{run.patient}</a>" in share
    assert "into the numerator" in share
    assert "share of patients" in share
    assert "per 1,000 device-days" in rate


def test_value_and_what_it_is_out_of_stand_apart(office: Client, issued: IssuedReport, run: Run) -> None:
    create_event(course=run.course, run=run, onset_at=days_ago(2))
    share = rows_of(page_of(office, issued), "Kink or malfunction")[0]

    assert "0% <small>0/2</small>" in share.replace("0%<", "0% <")
    assert "50%<small>1/2</small>" in share


def test_the_reason_typed_for_a_late_entry_is_shown_with_all_fields(
    desk: Client, office: Client, issued: IssuedReport, run: Run
) -> None:
    data = {
        "new-run": run.pk, "new-onset_at": "t-2 1200", "new-onset_precision": "HOUR",
        "new-failure": "GAS_LEAK", "new-severity": "MINOR", "new-fixed_by": "STRAIGHTEN",
        "new-reason_late_for_issued": REASON,
    }  # fmt: skip
    desk.post(reverse("new_event", args=[run.course.public_id, "kink"]), data)
    page = page_of(office, issued)

    assert f"Reason: {REASON}" in page
    assert "by coordinator" in page
    assert "fixed by: Straightened" in page
    assert "severity: Minor" in page


def test_measures_are_named_by_their_titles(office: Client, issued: IssuedReport, run: Run) -> None:
    create_event(course=run.course, run=run, onset_at=days_ago(2))
    page = page_of(office, issued)

    assert "Events: entry and review" in page
    assert "quality.events" not in page


def test_rates_whose_device_days_alone_moved_stand_apart(
    office: Client, issued: IssuedReport, run: Run, physician: User
) -> None:
    run.inserted_at = days_ago(8)
    actions.correct(record=run, version=run.version, reason="misread", by=physician)
    above, _, folded = page_of(office, issued).partition('<details class="folded"')

    assert not rows_of(above, "Stroke")
    assert rows_of(folded, "Stroke")
    assert f'Changed values of <a href="{reverse("case", args=[run.course.public_id])}"' in above


def test_a_removed_record_is_named_as_such(office: Client, run: Run, physician: User) -> None:
    event = create_event(course=run.course, run=run, onset_at=days_ago(2))
    signed = issue_now(run, physician)
    actions.delete(record=event, version=event.version, reason="entered twice", by=physician)

    assert "removed event" in page_of(office, signed)


def test_no_two_figures_of_a_report_read_the_same(issued: IssuedReport) -> None:
    figures = reissue(issued).figures
    told = {(each.measure, each.label, unit_words(each), each.group) for each in figures}

    assert len(told) == len(figures)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"unit": "proportion", "out_of": "runs"}, "share of runs"),
        ({"unit": "count"}, "number of runs"),
        ({"unit": "events per run", "at_day": 14.0}, "events per run, by day 14"),
        ({"unit": "median", "key": "support.early/ALL/index/after"}, "median, on support"),
    ],
)
def test_the_unit_is_told_in_words(values: dict[str, Any], words: str) -> None:
    plain: dict[str, Any] = {"key": "m/ALL/x", "measure": "m", "label": "x", "group": "ALL"}

    assert unit_words(Figure(**plain | {"counted": "runs", "numerator": 1.0} | values)) == words


def test_nothing_moved_is_said(office: Client, issued: IssuedReport) -> None:
    page = page_of(office, issued)

    assert f'<b id="moved-{issued.public_id}">Nothing moved since</b>' in page
    assert "<table" not in page


def test_the_list_fetches_what_moved_from_the_page_of_each(
    office: Client, issued: IssuedReport, run: Run
) -> None:
    create_event(course=run.course, run=run, onset_at=days_ago(2))
    listed = plain(office.get(reverse("issued_reports")))
    moved = restatements(issued)

    assert f'data-later="#moved-{issued.public_id}"' in listed
    assert "js/later.js" in listed
    assert f'<b id="moved-{issued.public_id}">{len(moved)} figures moved since</b>' in page_of(office, issued)


def test_the_list_works_out_the_newest_only(
    office: Client, issued: IssuedReport, run: Run, physician: User
) -> None:
    for _ in range(TOLD_AT_ONCE):
        issue_now(run, physician)
    listed = plain(office.get(reverse("issued_reports")))

    assert IssuedReport.objects.count() == TOLD_AT_ONCE + 1
    assert listed.count("data-later") == TOLD_AT_ONCE


def test_the_report_as_issued_fetches_what_moved(office: Client, issued: IssuedReport) -> None:
    page = plain(office.get(reverse("issued_report", args=[issued.public_id])))

    assert f'data-later="#moved-{issued.public_id}"' in page
    assert "js/later.js" in page


@pytest.mark.parametrize("late", [False, True])
def test_the_committee_reads_the_same_words_whether_a_few_moved_or_none(
    late: bool, book: Logbook, sign_in: Callable[[User], Client]
) -> None:
    signed = issue_quarter(book)
    if late:
        run = Run.objects.latest("pk")
        book.event(run.course, "2026-07-05 10:00", "BLEEDING", run=run, serious=True)
    client = sign_in(create_user(centre=book.centre, role=Role.COMMITTEE))
    page = page_of(client, signed)

    assert ("BLEEDING" in str([each.figure.key for each in restatements(signed)])) is late
    assert "No figure to list" in page
    assert "may have moved since" in page
    assert "<table" not in page
    assert "leeding" not in page
    assert "figures moved" not in page
    assert "data-later" not in plain(client.get(reverse("issued_reports")))


def test_the_committee_reads_what_many_cases_moved(book: Logbook, sign_in: Callable[[User], Client]) -> None:
    signed = issue_quarter(book)
    enter_courses(book, 2 * SMALLEST_CELL, day=20)
    page = page_of(sign_in(create_user(centre=book.centre, role=Role.COMMITTEE)), signed)
    (courses,) = (row for row in rows_of(page, "Courses begun") or rows_of(page, "Courses") if ">all<" in row)

    assert re.search(r">\s*12\s*</td>", courses)
    assert re.search(r">\s*22\s*</td>", courses)
    assert "By which case" not in page
    assert "–" not in courses
    assert "What was entered since" not in page


@pytest.mark.parametrize(("opens", "words"), [(True, "Nothing moved since"), (False, "No figure to list")])
def test_only_those_who_see_all_are_told_that_nothing_moved(opens: bool, words: str) -> None:
    assert said((), opens=opens) == words
