"""The report command: files without a browser."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from openpyxl import load_workbook

from registry.models import DataExtract
from tests.factories import create_user
from tests.outcomes.builder import Logbook


def test_it_writes_every_file_and_says_so(book: Logbook, tmp_path: Path) -> None:
    said = StringIO()
    files = {name: tmp_path / name for name in ("json", "comparison", "slides", "packet", "workbook")}
    call_command("report", period="2026-Q3", centre=book.centre.code, stderr=said, **files)

    assert [files[name].read_bytes()[:2] for name in files] == [b"{\n", b"{\n", b"PK", b"%P", b"PK"]
    assert all(f"{name} written" in said.getvalue() for name in files)


def test_it_asks_for_a_file(book: Logbook) -> None:
    with pytest.raises(CommandError, match="name a file"):
        call_command("report", period="2026-Q3", centre=book.centre.code)


@pytest.mark.parametrize("period", ["soon", "9999-12-31", "0001..9998"])
def test_a_period_that_is_none_is_said(book: Logbook, tmp_path: Path, period: str) -> None:
    with pytest.raises(CommandError, match=r"is no period|outside the years"):
        call_command("report", period=period, centre=book.centre.code, json=tmp_path / "x")


def test_as_of_a_moment_before_anything_was_written(book: Logbook, tmp_path: Path) -> None:
    call_command(
        "report", period="2026-Q3", centre=book.centre.code, slides=tmp_path / "x", as_of="2026-07-01T09:00"
    )

    assert (tmp_path / "x").read_bytes().startswith(b"PK")


def test_as_the_committee_sees_it(book: Logbook, tmp_path: Path) -> None:
    file = tmp_path / "x"
    call_command("report", period="2026-Q3", centre=book.centre.code, json=file, committee=True)
    figures = {figure["key"]: figure for figure in json.loads(file.read_text())["figures"]}

    assert figures["complications/ALL/SERIOUS/patients"]["numerator"] is None


def test_runs_are_asked_for_and_noted(book: Logbook, tmp_path: Path) -> None:
    person = create_user(centre=book.centre, username="taker", role="PHYSICIAN")
    file = tmp_path / "x.xlsx"
    asked = {
        "period": "2026-Q3", "centre": book.centre.code, "workbook": file,
        "runs_purpose": "how long devices stay in", "runs_approval": "QI 7", "runs_by": person.username,
    }  # fmt: skip
    call_command("report", **asked, runs_alike=5)
    assert not DataExtract.objects.exists()  # too few are alike
    assert "not_shown" in [cell.value for cell in load_workbook(file)["Runs"][1]]
    for day in range(1, 13):
        course = book.course()
        book.run(course, f"2026-07-{day:02d} 10:00", f"2026-07-{day + 4:02d} 10:00")
        course = book.course()
        book.run(course, f"2026-08-{day:02d} 10:00", f"2026-08-{day + 4:02d} 10:00", route="FEMORAL_R")
    call_command("report", **asked, runs_alike=5)

    assert DataExtract.objects.get().taken_by == person
    assert load_workbook(file)["Runs"].max_row > 12


@pytest.mark.parametrize(
    "given",
    [
        {"runs_purpose": "how long"},
        {"runs_purpose": "how long", "runs_approval": "QI 7", "runs_by": "nobody"},
        {"runs_purpose": "how long", "runs_approval": "QI 7", "runs_by": "reader"},
        {"runs_purpose": "how long", "runs_approval": "QI 7", "runs_by": "reader", "runs_alike": 1},
    ],
)
def test_runs_need_purpose_approval_and_somebody_who_may(
    given: dict[str, str], book: Logbook, tmp_path: Path
) -> None:
    create_user(centre=book.centre, username="reader", role="COMMITTEE")
    with pytest.raises(CommandError, match="runs"):
        call_command("report", period="2026-Q3", centre=book.centre.code, workbook=tmp_path / "x", **given)
    assert not (tmp_path / "x").exists()
