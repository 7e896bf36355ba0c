"""The list of open questions, its answers, and the page of completeness."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from registry.choices import Route
from registry.completeness import Table
from registry.models import Answer, Centre, Run
from tests.factories import create_case, create_centre, create_check

pytestmark = pytest.mark.django_db


def answer(client: Client, run: Run, **values: Any) -> Any:
    data = {
        "kind": "days_missing", "code": "days_missing", "record": str(run.course.public_id),
        "reason": "on another ward", **values,
    }  # fmt: skip
    return client.post(reverse("answer_question"), data)


def test_the_list_leads_to_the_field(desk: Client, run: Run) -> None:
    page = desk.get(reverse("questions")).content.decode()
    assert "Days in place without a row" in page
    assert f"{reverse('new_check', args=[run.public_id])}?day=" in page
    assert "#div_id_new-checked_on" in page
    assert "ward or coordinator" in page


def test_the_day_asked_for_stands_in_the_form(desk: Client, run: Run) -> None:
    page = desk.get(reverse("new_check", args=[run.public_id]) + "?day=2026-03-04").content.decode()
    assert 'value="04-Mar-2026"' in page


def test_an_answer_is_kept_in_our_words_and_the_question_goes(desk: Client, run: Run) -> None:
    response = answer(desk, run, question="Everything is fine.")
    assert response.headers["Location"].endswith("#days_missing")
    kept = Answer.objects.get()
    assert kept.question.startswith("No daily row for")
    assert (kept.reason, kept.given_by.username) == ("on another ward", "coordinator")  # type: ignore[union-attr]
    assert "Days in place without a row" not in desk.get(reverse("questions")).content.decode()


@pytest.mark.parametrize("change", [{"reason": ""}, {"reason": "no"}, {"record": "x"}])
def test_an_answer_without_a_reason_is_refused(change: dict[str, str], desk: Client, run: Run) -> None:
    response = answer(desk, run, **change)
    assert response.status_code == 422
    assert "The answer was not kept" in response.content.decode()
    assert not Answer.objects.exists()


@pytest.mark.parametrize(
    "change", [{"code": "lot_missing"}, {"kind": "none"}, {"record": str(uuid.UUID(int=7))}]
)
def test_what_is_not_open_cannot_be_answered(change: dict[str, str], desk: Client, run: Run) -> None:
    assert answer(desk, run, **change).status_code == 302
    assert not Answer.objects.exists()


def test_nobody_answers_for_another_hospital(desk: Client, centre: Centre) -> None:
    foreign = create_case(centre=create_centre(code="ZZ"))
    answer(desk, foreign)
    assert not Answer.objects.exists()
    assert desk.get(reverse("questions"), {"course": foreign.course.public_id}).status_code == 404


def test_one_course_and_one_kind(desk: Client, centre: Centre, run: Run) -> None:
    other = create_case(centre=centre)
    page = desk.get(reverse("questions"), {"course": run.course.public_id}).content.decode()
    assert str(run.course.patient) in page
    assert str(other.course.patient) not in page
    assert desk.get(reverse("questions"), {"course": "x"}).status_code == 404
    assert "No open question" in desk.get(reverse("questions"), {"kind": "lot_missing"}).content.decode()


def test_the_round_counts_the_open_questions(desk: Client, run: Run) -> None:
    page = desk.get(reverse("support")).content.decode()
    assert f"{reverse('questions')}?course={run.course.public_id}" in page


def test_completeness_counts_filled_of_all(desk: Client, run: Run) -> None:
    create_check(run=run, assist_ratio="1:1", not_mobilised="PAIN")
    tables = desk.get(reverse("completeness")).context["tables"]
    rows = {row.label: row.cells for row in tables[0].rows}
    counted = [(cell.filled, cell.records) for cell in rows["assist ratio"] if cell.records]
    assert counted == [(1, 1)]
    assert [cell.filled for cell in rows["best mobility level"] if cell.records] == [
        1
    ]  # a reason is an answer
    assert [cell.percent for cell in rows["film verdict"] if cell.records] == [0]
    assert "cranial marker to carina, + above" not in rows  # a group that is off


def test_completeness_counts_a_column_only_where_it_could_be_filled(
    desk: Client, run: Run, centre: Centre
) -> None:
    centre.extended_groups = ["procedure", "film", "removal"]
    centre.save()
    leg = create_case(centre=centre, route=Route.FEMORAL_RIGHT)
    create_check(run=leg, film_verdict="")
    rows, runs = desk.get(reverse("completeness")).context["tables"][:2]

    def counted(table: Table, label: str) -> list[tuple[int, int]]:
        cells = next(row.cells for row in table.rows if row.label == label)
        return [(cell.filled, cell.records) for cell in cells if cell.records]

    assert counted(runs, "skin punctures") == [(0, 2)]
    assert counted(runs, "contrast check of the artery") == [(0, 1)]  # asked of the arm alone
    assert counted(runs, "old pump on standby") == []  # nothing was exchanged
    assert counted(rows, "cranial marker to carina, + above") == []  # there was no film
    assert "manual compression" not in {row.label for row in runs.rows}
