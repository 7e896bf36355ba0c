"""Plain tables go out and come back unchanged; whatever is wrong with a file is said in plain words."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st

from registry.demo.loading import load
from registry.demo.programme import tell
from registry.models import (
    Centre,
    Course,
    DailyCheck,
    Event,
    Mobilisation,
    Patient,
    PatientIdentity,
    Record,
    Run,
)
from registry.tables import ImportReport, export_tables, import_tables, lines
from registry.tables.cells import CellError, guard, read_cell, unguard, write_cell
from registry.tables.layout import TABLES
from tests import factories as make

EXAMPLE = settings.BASE_DIR / "fixtures" / "example-tables"
BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the example, to be spoilt."""
    return Path(shutil.copytree(EXAMPLE, tmp_path / "tables"))


def read(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as source:
        return list(csv.reader(source))


def rewrite(folder: Path, file: str, *, row: int = 2, **cells: str) -> None:
    """Put other cells into one row of a file, counted as a spreadsheet does."""
    path = folder / file
    rows = read(path)
    for column, text in cells.items():
        rows[row - 1][rows[0].index(column)] = text
    write(path, rows)


def write(path: Path, rows: list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as target:
        csv.writer(target).writerows(rows)


def said(report: ImportReport) -> list[str]:
    return list(lines(report.complaints))


# Out and back


@pytest.mark.django_db
def test_the_demonstration_comes_back_byte_for_byte(tmp_path):
    first, second = tmp_path / "first", tmp_path / "second"
    with transaction.atomic():
        load(tell(date(2024, 11, 20), seed=2), seed=2, progress=lambda words: None)
        export_tables(first)
        transaction.set_rollback(True)
    assert not Patient.objects.exists()
    report = import_tables(first)
    assert said(report) == []
    export_tables(second)
    for table in TABLES:
        assert (first / table.file).read_bytes() == (second / table.file).read_bytes(), table.file


@pytest.mark.django_db
def test_the_example_is_imported_without_a_problem(folder):
    report = import_tables(folder)
    assert said(report) == []
    assert report.counts["patients"] == Patient.objects.count() == 4
    check = DailyCheck.objects.select_related("run__course__centre").first()
    assert check.run.course.centre.code == "HB"


@pytest.mark.django_db
def test_a_dry_run_says_the_same_and_keeps_nothing(folder):
    dry = import_tables(folder, dry_run=True)
    assert not Centre.objects.exists()
    assert import_tables(folder) == dry


@pytest.mark.django_db(transaction=True)
def test_an_export_outside_a_transaction_reads_one_moment(centre, tmp_path):
    run = make.create_case(centre=centre)
    assert export_tables(tmp_path / "out")["runs"] == 1
    assert run.course.patient.study_no in (tmp_path / "out" / "runs.csv").read_text(encoding="utf-8")


@pytest.mark.django_db
def test_record_numbers_and_accounts_are_in_no_file(run, coordinator, tmp_path):
    PatientIdentity.objects.create(patient=run.patient, centre=run.patient.centre, record_number="SECRET-77")
    export_tables(tmp_path)
    everything = "".join(path.read_text(encoding="utf-8") for path in tmp_path.iterdir())
    assert "SECRET-77" not in everything
    assert "coordinator" not in everything


@pytest.mark.django_db
def test_each_entity_has_its_file_even_when_empty(tmp_path):
    export_tables(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {table.file for table in TABLES}
    assert (
        (tmp_path / "events.csv")
        .read_text(encoding="utf-8")
        .startswith("study_no,course_no,event_no,run_no,")
    )


def test_every_described_column_is_in_a_file_under_its_own_name():
    for table in TABLES:
        assert {field.name for field in table.model.described()} <= set(table.columns)
        assert len(set(table.columns)) == len(table.columns)


# One cell


def field(model: type[Record], name: str) -> object:
    return model._meta.get_field(name)


@pytest.mark.parametrize(
    ("model", "name", "value", "text"),
    [
        (Run, "inserted_at", datetime(2025, 3, 4, 14, 30, tzinfo=UTC), "2025-03-04T14:30:00Z"),
        (Run, "inserted_at", datetime(2025, 3, 4, 14, 30, 1, 5, tzinfo=UTC), "2025-03-04T14:30:01.000005Z"),
        (Run, "expires_on", date(2025, 3, 4), "2025-03-04"),
        (Run, "expires_on", None, ""),
        (Run, "guidance", ["ULTRASOUND", "FLUORO"], "ULTRASOUND;FLUORO"),
        (DailyCheck, "site", [], ""),
        (Run, "catheter_fr", Decimal("7.5"), "7.5"),
        (Run, "technical_success", True, "yes"),
        (Run, "closure_success", False, "no"),
        (Run, "closure_success", None, ""),
        (Run, "closure", "", ""),
        (DailyCheck, "cranial_marker_mm", -14, "-14"),
        (DailyCheck, "mobility_best", 0, "0"),
        (DailyCheck, "mobility_best", None, ""),
        (Event, "kidney_stage", 2, "2"),
        (Event, "barc", "3a", "3a"),
        (Centre, "extended_groups", ["film", "labs"], "film;labs"),
        (Run, "note", "=1+1", "'=1+1"),
        (Run, "note", "'quoted", "'quoted"),
        (Run, "note", " spaced ", " spaced "),
    ],
)
def test_a_value_has_one_text(model, name, value, text):
    assert write_cell(field(model, name), value) == text
    assert read_cell(field(model, name), text, None) == value


@pytest.mark.parametrize("text", ["=cmd", "+1", "-1", "@x", "\tx", "\rx", "\nx", "\x00x", "'=x", "''+x"])
def test_a_formula_is_guarded_and_comes_back(text):
    assert guard(text) == f"'{text}"
    assert unguard(guard(text)) == text


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=60))
def test_any_text_survives_file_and_guard(tmp_path_factory, text):
    note = field(Run, "note")
    path = tmp_path_factory.mktemp("cell") / "x.csv"
    write(path, [["note", "other"], [write_cell(note, text), "x"]])
    (_, (cell, _)) = read(path)
    assert read_cell(note, cell, None) == text
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2025-03-04T14:30Z", datetime(2025, 3, 4, 14, 30, tzinfo=UTC)),
        ("2025-03-04 15:30+01:00", datetime(2025, 3, 4, 14, 30, tzinfo=UTC)),
        ("2025-03-04T15:30:00", datetime(2025, 3, 4, 14, 30, tzinfo=UTC)),
        ("2025-07-04 16:30", datetime(2025, 7, 4, 14, 30, tzinfo=UTC)),
        ("2025-10-26T02:30+01:00", datetime(2025, 10, 26, 1, 30, tzinfo=UTC)),
    ],
)
def test_a_moment_is_read_in_the_zone_of_the_centre(text, moment):
    assert read_cell(field(Run, "inserted_at"), text, BERLIN) == moment


@pytest.mark.parametrize(
    ("model", "name", "text", "words"),
    [
        (Run, "inserted_at", "2025-03-30T02:30", "skipped when the clocks go forward"),
        (Run, "inserted_at", "2025-10-26T02:30", "comes twice when the clocks go back"),
        (Run, "inserted_at", "2025-03-04", "not a time such as"),
        (Run, "inserted_at", "04.03.2025 14:30", "not a time such as"),
        (Run, "inserted_at", "2025-02-30T10:00Z", "does not exist in the calendar"),
        (Run, "inserted_at", "2025-03-04T25:00Z", "does not exist in the calendar"),
        (Run, "inserted_at", "0001-01-01T00:00+14:00", "year 1 is outside 1990 to 2099"),
        (Run, "inserted_at", "9999-12-31T23:59-12:00", "year 9999 is outside"),
        (Run, "inserted_at", "٢٠٢٥-03-04T10:00Z", "not a time such as"),
        (Run, "inserted_at", "", "must be filled"),
        (Run, "expires_on", "4/3/2025", "not a day such as"),
        (Run, "expires_on", "2025-13-01", "does not exist"),
        (Run, "route", "axillary_l", "Did you mean AXILLARY_L?"),
        (Run, "route", "Left axillary", "Did you mean AXILLARY_L?"),
        (Run, "route", "JUGULAR", "is not a known code."),
        (Run, "guidance", "ULTRASOUND;FLUORE", "Did you mean FLUORO?"),
        (Run, "guidance", "FLUORO;FLUORO", "stands here twice"),
        (Run, "guidance", "", "must be filled"),
        (Run, "catheter_fr", "7,5", "Write the decimal point as a point"),
        (Run, "catheter_fr", "NaN", "is not a number"),
        (Run, "catheter_fr", "1e9", "is not a number"),
        (Run, "catheter_fr", "7.55", "decimal place"),
        (Run, "catheter_fr", "31", "31 Fr is outside 5 to 30 Fr"),
        (Run, "run_no", "1.0", "is not a whole number"),
        (Run, "run_no", "9" * 5000, "is not a whole number"),
        (Run, "run_no", "٣", "is not a whole number"),
        (Run, "technical_success", "1", "neither yes nor no"),
        (Run, "technical_success", "", "must be filled"),
        (Run, "operator_code", "x" * 100_000, "at most 12 characters"),
        (Patient, "study_no", "hb 1", "Use 2 to 20 capital letters"),
        (Centre, "time_zone", "Mars/Base", "not a known time zone"),
        (Centre, "extended_groups", "films", "Did you mean film?"),
        (Mobilisation, "level", "11", "is not a known code"),
        (Course, "transferred_in", "", "must be filled"),
    ],
)
def test_an_unclear_cell_is_refused_in_plain_words(model, name, text, words):
    with pytest.raises(CellError) as caught:
        read_cell(field(model, name), text, BERLIN)
    assert words in str(caught.value)
    assert len(str(caught.value)) < 200


def test_a_moment_without_offset_needs_a_zone():
    with pytest.raises(CellError, match="offset from UTC"):
        read_cell(field(Run, "inserted_at"), "2025-03-04T14:30", None)


# Whole files


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("file", "cells", "expected"),
    [
        (
            "runs.csv",
            {"route": "AXILARY_L"},
            "runs.csv, row 2, route: “AXILARY_L” is not a known code. Did you mean",
        ),
        ("runs.csv", {"inserted_at": "soon"}, "runs.csv, row 2, inserted_at: “soon” is not a time"),
        ("runs.csv", {"study_no": "HB-9999"}, "runs.csv, row 2, course_no: There is no course “HB-9999 1”."),
        ("runs.csv", {"replaces_run_no": "7"}, "runs.csv, row 2, replaces_run_no: There is no run"),
        (
            "runs.csv",
            {"replaces_run_no": "x"},
            "runs.csv, row 2, replaces_run_no: “x” is not a whole number.",
        ),
        ("runs.csv", {"removed_at": "2021-01-01T00:00Z"}, "removed_at: Removal must come after insertion"),
        ("runs.csv", {"balloon_volume_ml": ""}, "balloon_volume_ml: Enter the balloon volume."),
        (
            "runs.csv",
            {"exchange_reason": "KINK", "relation": "SAME_SITE_EXCHANGE"},
            "run relation fits number",
        ),
        (
            "runs.csv",
            {"inserted_at": "2090-01-01T00:00Z", "removed_at": "", "end_reason": ""},
            "in the future",
        ),
        (
            "courses.csv",
            {"height_cm": "17"},
            "courses.csv, row 2, height_cm: 17 cm is outside 100 to 230 cm.",
        ),
        ("courses.csv", {"centre": "ZZ"}, "courses.csv, row 2, centre: There is no centre “ZZ”."),
        ("courses.csv", {"centre": ""}, "courses.csv, row 2, centre: This must be filled."),
        ("courses.csv", {"transferred_in": "yes"}, "arrived_at: Enter when the patient arrived here."),
        ("patients.csv", {"sex": ""}, "patients.csv, row 2, sex: This must be filled."),
        ("patients.csv", {"birth_year": "2026"}, "inserted_at: The year of birth of this patient is 2026,"),
        ("patients.csv", {"study_no": "HB-0424"}, "patients.csv, row 3, study_no: The same as row 2."),
        (
            "daily_checks.csv",
            {"checked_on": "2020-01-01"},
            "checked_on: The device was not in place on this day.",
        ),
        ("daily_checks.csv", {"run_no": ""}, "daily_checks.csv, row 2, run_no: This must be filled."),
        ("events.csv", {"onset_at": "2019-01-01T00:00Z"}, "onset_at: The onset lies before the first device"),
        ("candidates.csv", {"line_no": "0"}, "candidates.csv, row 2, line_no: 0 is outside 1 to 1000000."),
    ],
)
def test_a_wrong_cell_is_named_by_file_row_and_column(folder, file, cells, expected):
    rewrite(folder, file, **cells)
    found = said(import_tables(folder, dry_run=True))
    assert any(expected in line for line in found), found
    assert said(import_tables(folder)) == found
    assert not Centre.objects.exists()


@pytest.mark.django_db
def test_rows_of_a_refused_record_are_passed_over_quietly(folder):
    rewrite(folder, "patients.csv", sex="W")
    (only,) = said(import_tables(folder))
    assert only.startswith("patients.csv, row 2, sex: “W” is not a known code.")


@pytest.mark.django_db
def test_several_problems_are_reported_together(folder):
    rewrite(folder, "patients.csv", row=2, sex="W", birth_year="1850")
    rewrite(folder, "courses.csv", row=4, shock_stage="F", height_cm="x")
    assert len(said(import_tables(folder))) == 4


@pytest.mark.django_db
def test_odd_values_are_asked_about_and_do_not_stop_the_import(folder):
    rewrite(folder, "courses.csv", weight_kg="170")
    report = import_tables(folder)
    assert said(report) == []
    assert "courses.csv, row 2, weight_kg: 170 kg is outside the usual 40 to 160." in list(
        lines(report.questions)
    )
    assert Course.objects.filter(weight_kg=170).exists()


@pytest.mark.django_db
def test_what_is_already_there_is_a_problem_once_and_its_centre_is_left_alone(folder):
    import_tables(folder)
    Centre.objects.update(name="Renamed")
    report = import_tables(folder)
    assert sum(line.startswith("patients.csv") for line in said(report)) == 4
    assert all(line.startswith(("patients.csv", "candidates.csv")) for line in said(report))
    assert "left as it is" in report.questions[0].text
    assert Centre.objects.get().name == "Renamed"


@pytest.mark.django_db
def test_more_rows_can_follow_for_a_patient_already_there(folder):
    import_tables(folder)
    for path in folder.iterdir():
        if path.name != "follow_ups.csv":
            path.unlink()
    rewrite(folder, "follow_ups.csv", point="6M", seen_on="2023-01-01")
    rows = (folder / "follow_ups.csv").read_text(encoding="utf-8").splitlines()[:2]
    (folder / "follow_ups.csv").write_text("\n".join(rows), encoding="utf-8")
    existing = Patient.objects.get(study_no=rows[1].split(",")[0]).courses.get().follow_ups.count()
    report = import_tables(folder)
    assert said(report) in ([], ["follow_ups.csv, row 2: This is already in the registry."])
    assert existing


@pytest.mark.django_db
def test_overlapping_pumps_are_refused_in_words(folder):
    for name in ("courses.csv", "runs.csv"):
        rows = read(folder / name)
        again = list(rows[1])
        again[1] = "2"
        write(folder / name, [*rows, again])
    (line,) = said(import_tables(folder))
    assert "Two balloon pumps cannot lie in one aorta" in line


@pytest.mark.django_db
def test_runs_that_point_to_each_other_are_refused(folder):
    rows = read(folder / "runs.csv")
    at = rows[0].index("replaces_run_no")
    second = next(row for row in rows[1:] if row[2] == "2")
    first = next(row for row in rows[1:] if row[:2] == second[:2])
    first[at] = "2"
    write(folder / "runs.csv", rows)
    assert any("point to each other in a circle" in line for line in said(import_tables(folder)))


@pytest.mark.django_db
def test_the_centre_may_be_given_for_all_rows(folder):
    rows = read(folder / "patients.csv")
    at = rows[0].index("centre")
    write(folder / "patients.csv", [row[:at] + row[at + 1 :] for row in rows])
    assert "patients.csv, row 1, centre: This column is missing." in said(import_tables(folder))
    assert said(import_tables(folder, centre="HB")) == []


@pytest.mark.django_db
def test_rows_of_another_centre_are_refused(folder, centre):
    found = said(import_tables(folder, centre="XX"))
    assert any("Only centre XX is to be imported." in line for line in found)


@pytest.mark.django_db
def test_naive_times_are_read_on_the_centre_s_clock(folder):
    rewrite(folder, "courses.csv", admitted_at="2021-12-01T12:00")
    assert said(import_tables(folder)) == []
    assert Course.objects.filter(admitted_at=datetime(2021, 12, 1, 11, tzinfo=UTC)).exists()


SPOILT: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "The first row must hold the names of the columns."),
    "only a mark": (b"\xef\xbb\xbf", "The first row must hold"),
    "latin-1": ("study_no,centre\nHB-1,Küste\n".encode("latin-1"), "This is not UTF-8 text."),
    "utf-16": ("study_no,centre\n".encode("utf-16"), "This is not UTF-8 text."),
    "NUL": (b"study_no,centre\nHB\x001,HB\n", "This holds a NUL character"),
    "semicolons": (b"study_no;centre;sex\nHB-1;HB;F\n", "separated by semicolons"),
    "unknown column": (
        b"study_no,centre,birth_year,sex,blod_group\n",
        "no such column. Did you mean blood_group?",
    ),
    "column twice": (b"study_no,centre,birth_year,sex,sex\n", "This column stands here twice."),
    "missing column": (b"study_no,centre,sex\n", "birth_year: This column is missing."),
    "ragged": (b"study_no,centre,birth_year,sex\nHB-1,HB,1960\n", "This row has 3 cells, the header 4."),
    "wide row": (
        b"study_no,centre,birth_year,sex\nHB-1,HB,1960,F,,\n",
        "This row has 6 cells, the header 4.",
    ),
    "open quote": (b'study_no,centre,birth_year,sex\n"HB-1,HB,1960,F\n', "not a well-formed CSV file"),
    "long cell": (
        b"study_no,centre,birth_year,sex\nHB-1,HB,1960," + b"F" * 100_000 + b"\n",
        "is not a known code.",
    ),
    "longer cell": (
        b"study_no,centre,birth_year,sex\nHB-1,HB,1960," + b"F" * 200_000 + b"\n",
        "not a well-formed",
    ),
    "binary": (bytes(range(256)) * 40, "This is not UTF-8 text."),
}


@pytest.mark.django_db
@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_file_is_named_and_nothing_is_kept(folder, name, capsys):
    data, words = SPOILT[name]
    (folder / "patients.csv").write_bytes(data)
    with pytest.raises(CommandError, match=r"Nothing was kept\."):
        call_command("import_tables", str(folder))
    told = capsys.readouterr().err
    assert words in told
    assert len(told) < 3000
    assert not Centre.objects.exists()


@pytest.mark.django_db
def test_a_byte_order_mark_blank_lines_and_crlf_are_tolerated(folder):
    for path in folder.iterdir():
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\r\n", b"\n") + b"\n,,\n"[:1])
    assert said(import_tables(folder)) == []


@pytest.mark.django_db
def test_missing_files_hold_none_and_a_misspelt_one_is_noticed(folder):
    for name in ("events", "mobilisations", "follow_ups", "plan_changes"):
        (folder / f"{name}.csv").unlink()
    assert said(import_tables(folder, dry_run=True)) == []
    (folder / "runs.csv").rename(folder / "run.csv")
    assert "run.csv: This is none of the tables. Did you mean runs.csv?" in said(import_tables(folder))


def unusable_folders(tmp_path: Path) -> Iterator[Path]:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    (tmp_path / "empty").mkdir()
    (tmp_path / "odd" / "patients.csv").mkdir(parents=True)
    yield from (tmp_path / name for name in ("file", "empty", "odd", "missing", "x" * 300))


@pytest.mark.django_db
def test_a_folder_that_cannot_be_read_is_said_in_one_sentence(tmp_path):
    for folder in unusable_folders(tmp_path):
        with pytest.raises(CommandError):
            call_command("import_tables", str(folder))


@pytest.mark.django_db
def test_a_folder_that_cannot_be_written_is_said_in_one_sentence(tmp_path):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    for name in ("file", "file/below", "x" * 300):
        with pytest.raises(CommandError, match="Cannot write into"):
            call_command("export_tables", str(tmp_path / name))


@pytest.mark.django_db
def test_the_commands_tell_what_they_did(folder, tmp_path, capsys):
    call_command("import_tables", str(folder), "--dry-run")
    assert "would be added; this was a dry run" in capsys.readouterr().out
    call_command("import_tables", str(folder), "--centre", "HB")
    assert "4  patients" in capsys.readouterr().out
    call_command("export_tables", str(tmp_path / "out"))
    shown = capsys.readouterr()
    assert "4  patients.csv" in shown.out
    assert f"{len(TABLES)}/{len(TABLES)}  follow_ups" in shown.err


@pytest.mark.django_db
def test_the_history_says_that_an_import_wrote_it(folder):
    import_tables(folder)
    kept = Run.history.rel.related_model.objects.first()
    assert kept.pgh_context == {"name": "command line", "reason": "import of tables"}
