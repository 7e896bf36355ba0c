"""An import from the file to the logbook: every step, the sample, twice the same, and what refuses."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.choices import Role
from registry.models import (
    Answer,
    Centre,
    ColumnMatch,
    Course,
    CourseOutcome,
    Event,
    ImportedRow,
    Patient,
    PatientIdentity,
    Run,
    StagedSheet,
    User,
)
from tests.factories import create_case, create_patient
from tests.pages import digest, sent_from

pytestmark = pytest.mark.django_db

SAMPLE = Path(__file__).parents[3] / "fixtures" / "messy-logbook.xlsx"
STEPS = ("import_sheet", "import_columns", "import_meanings", "import_preview", "import_progress")
RUN_HEADINGS = (
    "Study number", "Year of birth", "Sex", "Inserted", "Route", "Access", "Guidance", "Balloon volume",
    "Catheter size", "Operator", "Where", "Urgency", "Technical success", "Intent", "SCAI stage",
    "Removed", "Why removed", "Outcome", "Exchange reason",
)  # fmt: skip
ROW = {
    "Study number": "T-001", "Year of birth": "1960", "Sex": "M", "Inserted": "2025-03-04 14:30",
    "Route": "AXILLARY_L", "Access": "PERCUTANEOUS", "Guidance": "ULTRASOUND", "Balloon volume": "40",
    "Catheter size": "7.5", "Operator": "OP-1", "Where": "CATH_LAB", "Urgency": "URGENT",
    "Technical success": "yes", "Intent": "BTT", "SCAI stage": "C",
}  # fmt: skip


def sheet_of(*rows: dict[str, str]) -> str:
    """Rows as they come out of a spreadsheet when copied."""
    lines = ["\t".join(RUN_HEADINGS)]
    lines += ["\t".join({**ROW, **row}.get(name, "") for name in RUN_HEADINGS) for row in rows]
    return "\n".join(lines)


def begin(client: Client, *, text: str = "", file: bytes = b"", name: str = "log.xlsx") -> Any:
    data: dict[str, Any] = {"pasted": text}
    if file:
        data["file"] = io.BytesIO(file)
        data["file"].name = name
    return client.post(reverse("importing"), data)


def step(client: Client, name: str, **entries: Any) -> Any:
    """Send the form of a step as it stands, with some entries changed."""
    url = reverse(name)
    return client.post(url, {**sent_from(client.get(url)), **entries})


def report(client: Client, text: str, **meanings: Any) -> dict[str, Any]:
    """What the check of pasted rows finds when every suggestion is taken."""
    assert begin(client, text=text).status_code == 302
    assert step(client, "import_columns").status_code == 302
    answer = step(client, "import_meanings", **meanings)
    assert answer.status_code == 302, answer.context["form"].errors
    return StagedSheet.objects.get().report


def save(client: Client, **entries: Any) -> Any:
    return step(client, "import_preview", do="save", **entries)


def texts(report: dict[str, Any], part: str = "problems") -> list[str]:
    return [found["text"] for found in report[part]]


# The whole way


@pytest.fixture
def sample(desk: Client) -> Client:
    """The sample workbook, its first sheet chosen, its columns matched as suggested, its words settled."""
    assert begin(desk, file=SAMPLE.read_bytes(), name=SAMPLE.name).url == reverse("import_sheet")
    assert step(desk, "import_sheet", sheet="Log 2025").status_code == 302
    assert step(desk, "import_columns").status_code == 302
    fixed = {
        "fixed_run.location": "CATH_LAB",
        "fixed_run.urgency": "URGENT",
        "fixed_run.technical_success": "True",
    }
    words = {"word_2_14": "EXCHANGE", "word_0_21": "PLANNED_ROUTE_CHANGE"}  # “kinked” and “planned”
    answer = step(desk, "import_meanings", **fixed, **words)
    assert answer.status_code == 302, answer.context["form"].errors
    return desk


def test_the_sample_comes_in_after_a_reason_for_what_is_unusual(sample: Client) -> None:
    found = StagedSheet.objects.get().report
    assert found["problems"] == []
    assert found["counts"] == {"patients": 5, "courses": 5, "runs": 7, "exchanges": 2, "outcomes": 5}
    assert save(sample, reason="compared with the procedure notes").url == reverse("importing")
    assert (Patient.objects.count(), Course.objects.count(), Run.objects.count()) == (5, 5, 7)
    assert Answer.objects.filter(reason="compared with the procedure notes").count() == len(found["unusual"])


def test_what_the_sample_says_is_what_stands_in_the_logbook(sample: Client, centre: Centre) -> None:
    save(sample, reason="compared with the procedure notes")
    first, second = Run.objects.filter(patient__study_no="MB-002").order_by("run_no")
    assert (first.route, first.end_reason) == ("FEMORAL_R", "EXCHANGE")
    assert (second.route, second.relation, second.replaces) == ("AXILLARY_L", "ROUTE_CROSSOVER", first)
    assert (
        timezone.localtime(first.inserted_at, centre.zone).strftime("%d-%b-%Y %H:%M") == "03-Apr-2025 14:05"
    )
    exchanged = Run.objects.get(patient__study_no="MB-003", run_no=2)
    assert (exchanged.relation, exchanged.exchange_reason) == ("SAME_SITE_EXCHANGE", "KINK")
    course = Course.objects.get(patient__study_no="MB-004")
    assert course.creatinine_umol_l == 283  # 3.2 mg/dL × 88.40
    assert course.height_cm == pytest.approx(173, abs=0.5)  # 68 in × 2.54
    assert Run.objects.get(patient__study_no="MB-004").contrast_ml is None  # a blank
    assert Run.objects.get(patient__study_no="MB-005").contrast_ml == 0  # a zero
    assert PatientIdentity.objects.get(patient__study_no="MB-001").record_number == "0012345"
    assert not PatientIdentity.objects.filter(patient__study_no="MB-005").exists()  # “n/a”


def test_nothing_of_the_file_is_kept(sample: Client) -> None:
    save(sample, reason="compared with the procedure notes")
    sheet = StagedSheet.objects.get()
    assert (sheet.upload, sheet.grid, sheet.decisions) == (None, {}, {})
    assert "MB-001" not in str(StagedSheet.objects.values()) + str(ColumnMatch.objects.values())


def test_the_same_file_adds_nothing(sample: Client) -> None:
    save(sample, reason="compared with the procedure notes")
    before = (
        Patient.objects.count(),
        Run.objects.count(),
        CourseOutcome.objects.count(),
        ImportedRow.objects.count(),
    )
    begin(sample, file=SAMPLE.read_bytes(), name="copy.xlsx")
    step(sample, "import_sheet", sheet="Log 2025")
    step(sample, "import_columns")
    assert step(sample, "import_meanings").status_code == 302  # all as remembered
    assert not any(StagedSheet.objects.get().report["counts"].values())
    save(sample)
    after = (
        Patient.objects.count(),
        Run.objects.count(),
        CourseOutcome.objects.count(),
        ImportedRow.objects.count(),
    )
    assert after == before


def test_the_events_of_the_sample_find_their_runs(sample: Client) -> None:
    save(sample, reason="compared with the procedure notes")
    begin(sample, file=SAMPLE.read_bytes(), name=SAMPLE.name)
    step(sample, "import_sheet", sheet="Events")
    step(sample, "import_columns")
    answer = step(sample, "import_meanings", assumed="12:00")
    assert answer.status_code == 302, answer.context["form"].errors
    found = StagedSheet.objects.get().report
    assert found["problems"] == []
    save(sample, reason="as noted")
    bleeds = Event.objects.order_by("course__patient__study_no")
    assert [(event.kind, event.barc, event.onset_precision) for event in bleeds] == [
        ("BLEEDING", "2", "DAY"),
        ("BLEEDING", "3a", "MINUTE"),
    ]


# Pasted rows


def test_the_keys_of_the_entry_pages_are_not_told_where_nothing_is_typed(desk: Client) -> None:
    told = "Days and times: t 1430 is today"
    assert told not in desk.get(reverse("importing")).content.decode()
    begin(desk, text=sheet_of({}))
    for name in ("import_columns", "import_meanings"):
        step(desk, "import_columns")
        assert told not in desk.get(reverse(name)).content.decode()
    assert told in desk.get(reverse("new_implant")).content.decode()


def test_pasted_rows_come_in(desk: Client) -> None:
    assert report(desk, sheet_of({}))["problems"] == []
    assert save(desk).url == reverse("importing")
    run = Run.objects.get()
    assert (run.patient.study_no, run.run_no, run.relation) == ("T-001", 1, "FIRST")
    assert "1 device run" in desk.get(reverse("importing")).content.decode()


def test_a_record_number_that_another_patient_holds_is_complained_of(desk: Client, centre: Centre) -> None:
    holder = create_patient(centre=centre, record_number="a-1")
    rows = sheet_of({}, {"Study number": "T-002"}, {"Study number": "T-003"}).split("\n")
    numbers = ["MRN", "A-1", "77-1", "77-1"]
    text = "\n".join(f"{row}\t{number}" for row, number in zip(rows, numbers, strict=True))
    assert texts(report(desk, text)) == [
        f"This is the local record number of {holder}.", "This is the local record number of T-002."
    ]  # fmt: skip


def test_a_repeated_save_adds_nothing(desk: Client) -> None:
    report(desk, sheet_of({}))
    assert save(desk).status_code == 302
    assert desk.post(reverse("import_preview"), {"do": "save"}).status_code == 404
    assert Run.objects.count() == 1


def test_one_bad_row_keeps_all_out(desk: Client) -> None:
    found = report(desk, sheet_of({}, {"Study number": "T-002", "Catheter size": "eight"}))
    assert found["problems"] == [
        {"row": 3, "column": "Catheter size", "value": "eight", "text": "“eight” is not a number."}
    ]
    save(desk)
    assert not Patient.objects.exists()


def test_a_rule_of_the_logbook_keeps_all_out(desk: Client) -> None:
    early = {"Removed": "2025-03-01 10:00", "Why removed": "WEANED"}
    found = report(desk, sheet_of({}, {"Study number": "T-002", **early}))
    assert "Removal must come after insertion" in texts(found)[0]
    assert not Patient.objects.exists()


def test_a_birth_after_the_insertion_keeps_all_out(desk: Client) -> None:
    found = report(desk, sheet_of({}, {"Study number": "T-002", "Year of birth": "2026"}))
    assert found["problems"] == [
        {"row": 3, "column": "Inserted", "value": "2025-03-04 14:30",
         "text": "The year of birth of this patient is 2026, after this."}
    ]  # fmt: skip
    assert not Patient.objects.exists()


def test_missing_required_cells_are_named(desk: Client) -> None:
    found = report(desk, sheet_of({"Urgency": "", "Sex": ""}))
    assert sorted(texts(found)) == ["Nothing is recorded for: sex.", "Nothing is recorded for: urgency."]


def test_a_column_that_the_sheet_lacks_is_named_once(desk: Client) -> None:
    rows = [{"Study number": f"T-{n:03d}", "Urgency": ""} for n in range(5)]
    found = report(desk, sheet_of(*rows).replace("Urgency", "Colour"))
    assert texts(found) == [
        "Nothing is recorded for: urgency. So it is in 5 rows: no column of the sheet holds it."
    ]


def test_what_holds_for_all_rows_can_be_said_once(desk: Client) -> None:
    rows = sheet_of({"Urgency": ""}).replace("Urgency", "Colour")
    assert report(desk, rows, **{"fixed_run.urgency": "EMERGENT"})["problems"] == []
    save(desk)
    assert Run.objects.get().urgency == "EMERGENT"


def test_unusual_values_need_a_reason(desk: Client) -> None:
    found = report(desk, sheet_of({"Catheter size": "9"}))
    assert texts(found, "unusual") == ["9.0 Fr is outside the usual 7 to 8."]
    assert save(desk).status_code == 422
    assert not Run.objects.exists()
    save(desk, reason="read from the box")
    assert Answer.objects.get().reason == "read from the box"


def test_the_order_of_day_and_month_is_asked_for_the_column(desk: Client) -> None:
    rows = sheet_of({"Inserted": "04/03/2025 14:30"})
    begin(desk, text=rows)
    step(desk, "import_columns")
    assert step(desk, "import_meanings").status_code == 422
    assert step(desk, "import_meanings", day_order_3="MDY").status_code == 302
    save(desk)
    assert timezone.localtime(Run.objects.get().inserted_at).strftime("%d-%b") == "03-Apr"


def test_an_order_that_a_cell_proves_is_not_asked(desk: Client) -> None:
    rows = sheet_of(
        {"Inserted": "04/03/2025 14:30"}, {"Study number": "T-002", "Inserted": "14/03/2025 14:30"}
    )
    assert report(desk, rows)["problems"] == []
    save(desk)
    run = Run.objects.get(patient__study_no="T-001")
    assert timezone.localtime(run.inserted_at).strftime("%d-%b") == "04-Mar"


OUT = {"Removed": "2025-03-10 08:00"}


def later(inserted: str, **more: str) -> dict[str, str]:
    return {"Inserted": inserted, "Exchange reason": "KINK", **more}


def test_a_row_of_the_same_patient_is_an_exchange_and_no_second_patient(desk: Client) -> None:
    found = report(desk, sheet_of(OUT, later("2025-03-10 08:30", Route="FEMORAL_R")))
    assert found["counts"] == {"patients": 1, "courses": 1, "runs": 2, "exchanges": 1, "outcomes": 0}
    save(desk)
    assert Run.objects.get(run_no=2).relation == "ROUTE_CROSSOVER"


@pytest.mark.parametrize(
    ("answer", "courses", "relation"),
    [("EXCHANGE", 1, "SAME_SITE_EXCHANGE"), ("GAP", 1, "REINSERTION_AFTER_GAP"), ("NEW", 2, "FIRST")],
)
def test_a_gap_of_some_hours_is_asked_about(desk: Client, answer: str, courses: int, relation: str) -> None:
    ended = {**OUT, "Why removed": "COMPLICATION"}
    found = report(desk, sheet_of(ended, later("2025-03-10 20:00")))
    assert found["open_questions"] == 1
    assert "12.0 h after the catheter of row 2 came out" in found["questions"][0]["text"]
    save(desk)
    assert not Run.objects.exists()
    step(desk, "import_preview", do="check", row_3=answer)
    save(desk)
    assert Course.objects.count() == courses
    assert Run.objects.order_by("inserted_at").last().relation == relation  # type: ignore[union-attr]


def test_a_longer_gap_is_a_new_course(desk: Client) -> None:
    found = report(desk, sheet_of({**OUT, "Why removed": "WEANED"}, later("2025-03-14 08:00")))
    assert found["counts"]["courses"] == 2


def test_an_earlier_catheter_without_removal_is_asked_about(desk: Client) -> None:
    found = report(desk, sheet_of({}, later("2025-03-10 08:30")))
    assert "has no removal" in found["questions"][0]["text"]
    step(desk, "import_preview", do="check", row_3="EXCHANGE")
    save(desk)
    first, second = Run.objects.order_by("run_no")
    assert first.removed_at == second.inserted_at


def test_overlapping_catheters_are_refused(desk: Client) -> None:
    found = report(desk, sheet_of(OUT, later("2025-03-08 08:30")))
    assert any("was still in until" in text for text in texts(found))


def test_an_exchange_without_reason_is_named(desk: Client) -> None:
    found = report(desk, sheet_of(OUT, {"Inserted": "2025-03-10 08:30"}))
    assert texts(found) == ["Say why the catheter was changed."]


def test_a_grown_sheet_adds_its_new_rows_to_the_course_they_belong_to(desk: Client) -> None:
    report(desk, sheet_of(OUT, {"Study number": "T-002"}))
    assert texts(StagedSheet.objects.get().report) == ["Say why the run ended."]
    step(desk, "import_preview", do="save")
    assert not Run.objects.exists()
    ended = {**OUT, "Why removed": "EXCHANGE"}
    report(desk, sheet_of(ended, {"Study number": "T-002"}))
    save(desk)
    found = report(desk, sheet_of(ended, {"Study number": "T-002"}, later("2025-03-10 08:30")))
    assert found["counts"] == {"patients": 0, "courses": 0, "runs": 1, "exchanges": 1, "outcomes": 0}
    save(desk)
    assert [run.run_no for run in Run.objects.filter(patient__study_no="T-001").order_by("run_no")] == [1, 2]


def test_a_run_that_the_logbook_has_is_left_as_it_is(desk: Client) -> None:
    report(desk, sheet_of({}))
    save(desk)
    found = report(desk, sheet_of({"Catheter size": "8"}))
    assert found["counts"]["runs"] == 0
    assert "It differs in: catheter size." in str(found["notes"])


def test_another_sex_for_the_same_number_is_noticed(desk: Client) -> None:
    report(desk, sheet_of({}))
    save(desk)
    found = report(desk, sheet_of({"Sex": "F", "Inserted": "2025-06-04 14:30"}))
    assert "Is it the same patient?" in str(found["problems"])


def test_a_day_without_a_time_is_a_problem_unless_one_is_given(desk: Client) -> None:
    rows = sheet_of({"Inserted": "2025-03-04"})
    [problem] = texts(report(desk, rows))
    assert "Add the time of day" in problem
    assert report(desk, rows, assumed="12:00")["problems"] == []
    save(desk)
    assert Run.objects.get().note == "Time of day not in the spreadsheet, taken at import: inserted."


def test_a_word_without_a_meaning_has_to_be_settled(desk: Client) -> None:
    begin(desk, text=sheet_of({"Route": "upper"}))
    step(desk, "import_columns")
    assert step(desk, "import_meanings").status_code == 422
    assert step(desk, "import_meanings", word_0_4="AXILLARY_R").status_code == 302
    save(desk)
    assert Run.objects.get().route == "AXILLARY_R"


def test_columns_are_remembered_by_centre(
    desk: Client, sign_in: Callable[[User], Client], stranger: User
) -> None:
    text = sheet_of({}).replace("Operator", "Who")
    begin(desk, text=text)
    step(desk, "import_columns", target_9="run.operator_code")
    step(desk, "import_meanings")
    save(desk)
    begin(desk, text=text)
    assert sent_from(desk.get(reverse("import_columns")))["target_9"] == "run.operator_code"
    other = sign_in(stranger)
    begin(other, text=text)
    assert sent_from(other.get(reverse("import_columns")))["target_9"] == ""


def test_two_columns_cannot_be_the_same(desk: Client) -> None:
    begin(desk, text=sheet_of({}))
    answer = step(desk, "import_columns", target_9="run.route")
    assert answer.status_code == 422
    assert "Two columns are matched" in answer.content.decode()


def test_patient_and_time_have_to_be_matched(desk: Client) -> None:
    begin(desk, text=sheet_of({}))
    answer = step(desk, "import_columns", target_0="", target_3="")
    assert "Say which column holds: Study number." in answer.content.decode()
    assert "Say which column holds: Inserted." in answer.content.decode()


# What refuses, and who may


@pytest.mark.parametrize("data", [{}, {"pasted": "x"}, {"pasted": "a\tb\0\nc\td"}, {"pasted": "1\t2\n3\t4"}])
def test_what_is_no_table_is_refused_in_words(desk: Client, data: dict[str, str]) -> None:
    answer = desk.post(reverse("importing"), data)
    assert answer.status_code == 422
    assert not StagedSheet.objects.exists()


def test_leaving_keeps_nothing(desk: Client) -> None:
    begin(desk, text=sheet_of({}))
    assert desk.post(reverse("import_abandon")).status_code == 302
    assert not StagedSheet.objects.exists()


def test_what_was_left_lying_is_forgotten(desk: Client) -> None:
    begin(desk, text=sheet_of({}))
    StagedSheet.objects.update(staged_at=timezone.now() - timedelta(hours=13))
    desk.get(reverse("importing"))
    assert not StagedSheet.objects.exists()


@pytest.mark.parametrize("name", STEPS)
def test_a_staged_sheet_is_seen_by_its_owner_only(
    name: str, desk: Client, physician: User, sign_in: Callable[[User], Client]
) -> None:
    begin(desk, text=sheet_of({}))
    assert desk.get(reverse(name)).status_code in (200, 302)
    assert sign_in(physician).get(reverse(name)).status_code == 404


@pytest.mark.parametrize("role", [Role.COMMITTEE, Role.ADMINISTRATOR])
@pytest.mark.parametrize("name", [*STEPS, "importing", "import_abandon"])
def test_only_those_who_keep_the_logbook_import(
    name: str, role: str, committee: User, administrator: User, sign_in: Callable[[User], Client]
) -> None:
    user = committee if role == Role.COMMITTEE else administrator
    assert sign_in(user).get(reverse(name)).status_code == 403
    assert sign_in(user).post(reverse(name)).status_code == 403


def test_looking_changes_no_record(desk: Client, centre: Centre) -> None:
    create_case(centre=centre)
    before = digest()
    report(desk, sheet_of({}, {"Study number": "T-002"}))
    desk.get(reverse("import_preview"))
    after = digest()
    changed = {table for table in before if before[table] != after[table]}
    assert changed == {"registry_stagedsheet"}


def test_the_number_of_another_hospital_is_not_taken(desk: Client, stranger: User) -> None:
    run = create_case(centre=stranger.centre)  # type: ignore[arg-type]
    found = report(desk, sheet_of({"Study number": run.patient.study_no}))
    assert "in use at another centre" in str(found["problems"])


def test_progress_is_told(desk: Client) -> None:
    begin(desk, text=sheet_of({}))
    assert desk.get(reverse("import_progress")).json() == {"done": 0, "total": 1, "state": "READING"}
