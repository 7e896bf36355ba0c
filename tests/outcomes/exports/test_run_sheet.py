"""The de-identified runs in the workbook: asked for, noted, typed, refused where they single people out."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from openpyxl import load_workbook

from outcomes.exports.material import Material
from outcomes.exports.run_sheet import COLUMNS, run_sheet, workbook_with_runs
from outcomes.extract.build import Extract, Row
from registry.models import DataExtract, Download, Patient, User
from tests.factories import create_user
from tests.outcomes.builder import Logbook

PERIOD = "?period=2026-Q3"
ASKED = {"purpose": "how long devices stay in", "approval": "QI 7/2026", "smallest_group": "5"}
ROW = Row(
    year="2026", age="50-59", sex="F", route="AXILLARY", access="=1+1", intent="BTT", shock_stage="C",
    relation="FIRST", run_no=1, dwell_days=4.5, out_of_bed_day=None, walk_day=2, outcome="TRANSPLANT",
    outcome_day=9, events=(("BLEEDING", 1), ("LIMB", 3)),
)  # fmt: skip


@pytest.fixture
def alike(book: Logbook) -> Logbook:
    """Enough ended runs of patients who are all alike."""
    for day in range(1, 13):
        course = book.course()
        book.run(course, f"2026-07-{day:02d} 10:00", f"2026-07-{day + 4:02d} 10:00")
        book.outcome(course, f"2026-07-{day + 4:02d} 10:00")
        course = book.course()
        book.run(course, f"2026-08-{day:02d} 10:00", f"2026-08-{day + 4:02d} 10:00", route="FEMORAL_R")
    return book


@pytest.fixture
def desk_of(book: Logbook, sign_in: Callable[[User], Client]) -> Callable[[str], Client]:
    return lambda role: sign_in(create_user(centre=book.centre, username=role.lower(), role=role))


def opened(content: bytes) -> Any:
    return load_workbook(io.BytesIO(content))


def rows(book: Any, sheet: str) -> list[dict[str, Any]]:
    head, *found = book[sheet].values
    return [dict(zip(head, row, strict=True)) for row in found]


@pytest.mark.parametrize("role", ["PHYSICIAN", "COORDINATOR"])
def test_those_of_the_logbook_get_the_rows_and_it_is_noted(
    role: str, alike: Logbook, desk_of: Callable[[str], Client]
) -> None:
    url = reverse("workbook_with_runs") + PERIOD
    client = desk_of(role)
    assert client.get(url).status_code == 200
    answer = client.post(url, ASKED)
    book = opened(answer.content)
    found = rows(book, "Runs")
    taken = DataExtract.objects.get()

    assert "workbook-with-runs-2026-Q3.xlsx" in answer.headers["Content-Disposition"]
    assert len(found) == taken.row_count > 12
    assert (taken.purpose, taken.approval, taken.taken_by.username) == (
        ASKED["purpose"],
        ASKED["approval"],
        role.lower(),
    )
    assert Download.objects.get().what == "workbook-with-runs.xlsx"
    assert all(isinstance(row["dwell_days"], int | float) for row in found)
    told = {row["what"]: row["value"] for row in rows(book, "Provenance")}
    assert f"at least {taken.smallest_group} patients alike" in told["rows of Runs"]
    explained = {row["column"] for row in rows(book, "Columns") if row["sheet"] == "Runs"}
    assert explained == {column.name for column in COLUMNS}


def test_beside_the_rows_nothing_dates_a_run_or_names_anybody(
    alike: Logbook, desk_of: Callable[[str], Client]
) -> None:
    book = opened(desk_of("PHYSICIAN").post(reverse("workbook_with_runs") + PERIOD, ASKED).content)
    text = " ".join(str(cell.value) for row in book["Runs"].iter_rows() for cell in row)

    assert "For discussion" not in book.sheetnames
    assert rows(book, "Curves") == []
    assert not any(patient.study_no in text for patient in Patient.objects.all())
    assert not re.search(r"\d{4}-\d{2}|\d{2}-[A-Z][a-z]{2}-\d{4}", text)


def test_the_committee_may_not_ask(alike: Logbook, desk_of: Callable[[str], Client]) -> None:
    client = desk_of("COMMITTEE")

    assert client.get(reverse("workbook_with_runs") + PERIOD).status_code == 403
    assert client.post(reverse("workbook_with_runs") + PERIOD, ASKED).status_code == 403
    assert "Runs" not in opened(client.get(reverse("quarter_workbook") + PERIOD).content).sheetnames


@pytest.mark.parametrize("missing", ["purpose", "approval", "smallest_group"])
def test_without_a_reason_there_is_no_file(
    missing: str, alike: Logbook, desk_of: Callable[[str], Client]
) -> None:
    answer = desk_of("PHYSICIAN").post(reverse("workbook_with_runs") + PERIOD, {**ASKED, missing: ""})

    assert answer.status_code == 422
    assert not DataExtract.objects.exists()
    assert not Download.objects.exists()


def test_too_few_alike_leave_the_reason_in_place_of_the_rows(
    book: Logbook, desk_of: Callable[[str], Client]
) -> None:
    asked = {**ASKED, "smallest_group": "11"}
    found = opened(desk_of("PHYSICIAN").post(reverse("workbook_with_runs") + PERIOD, asked).content)

    assert [list(row) for row in rows(found, "Runs")] == [["not_shown"]]
    assert "at least 11 are needed" in rows(found, "Runs")[0]["not_shown"]
    assert not DataExtract.objects.exists()  # nothing left
    assert Download.objects.exists()


def test_cells_are_typed_and_no_text_is_a_formula() -> None:
    sheet = run_sheet(Extract((("ab12", ROW),), 11, ("age in bands of 20 years",)))
    cells = dict(zip((column.name for column in sheet.columns), sheet.rows[0], strict=True))

    assert cells["events"] == "BLEEDING:1;LIMB:3"
    assert (cells["dwell_days"], cells["out_of_bed_day"], cells["walk_day"]) == (4.5, None, 2)
    assert cells["access"] == "=1+1"  # written as a text by the workbook
    assert "age in bands of 20 years" in sheet.source


def test_rows_never_stand_beside_what_the_programme_sees(material: Material, book: Logbook) -> None:
    with pytest.raises(ValueError, match="material"):
        workbook_with_runs(material, centre=book.centre, by=User(), purpose="", approval="", smallest_group=5)
