"""Cells to values: orders of day and month, times, numbers, blanks against zeros."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from registry.spreadsheet.columns import Layout, targets
from registry.spreadsheet.orders import DayOrder, evidence, in_letters
from registry.spreadsheet.rows import digest_of, read_row
from registry.spreadsheet.values import ColumnReading, is_blank, read_day, read_moment, read_value, text_of
from registry.tables.cells import CellError

BERLIN = ZoneInfo("Europe/Berlin")
DMY, MDY = DayOrder.DAY_FIRST, DayOrder.MONTH_FIRST


@pytest.fixture(autouse=True)
def berlin() -> Iterator[None]:
    with timezone.override(BERLIN):
        yield


def how(target: str, **more: Any) -> ColumnReading:
    return ColumnReading(0, "heading", targets(Layout.RUNS)[target], **more)


INSERTED = how("run.inserted_at:day", day_order=DMY)


def moment(cell: Any, clock: Any = None, *, assumed: str = "", **more: Any) -> str:
    """The moment on the clocks of Berlin."""
    day = how("run.inserted_at:day", **{"day_order": DMY, **more})
    pair = (clock, how("run.inserted_at:time")) if clock is not None else None
    found, was_assumed = read_moment((cell, day), pair, assumed)
    return f"{found.astimezone(BERLIN):%Y-%m-%d %H:%M}" + (" assumed" if was_assumed else "")


# The order of day and month


@pytest.mark.parametrize(
    ("cells", "needed", "proven", "mixed"),
    [
        (["04/03/2025", "14/03/2025"], True, DMY, False),
        (["04/03/2025", "03/14/2025"], True, MDY, False),
        (["04/03/2025", "05/06/2025"], True, "", False),
        (["14/03/2025", "03/14/2025"], True, "", True),
        (["04.03.2025", "2025-03-04", "4 Mar 2025"], False, "", False),
        (["04/04/2025"], False, "", False),
        ([{"date": "2025-03-04"}, None, "x"], False, "", False),
    ],
)
def test_what_proves_an_order(cells: list[Any], needed: bool, proven: str, mixed: bool) -> None:
    found = evidence(cells)
    assert (found.needed, found.proven, found.mixed) == (needed, proven, mixed)


@pytest.mark.parametrize(
    ("dates", "maybe"),
    [(["2025-03-04", "2025-01-12"], True), (["2025-03-04", "2025-01-13"], False), ([], False)],
)
def test_dates_that_a_spreadsheet_may_have_turned(dates: list[str], maybe: bool) -> None:
    cells: list[Any] = ["14/03/2025", *({"date": day} for day in dates)]
    assert evidence(cells).maybe_swapped is maybe


@given(st.dates(date(2000, 1, 1), date(2026, 1, 1)), st.sampled_from("/-"))
def test_both_orders_read_what_they_wrote(day: date, mark: str) -> None:
    for order, form in ((DMY, f"%d{mark}%m{mark}%Y"), (MDY, f"%m{mark}%d{mark}%Y")):
        assert read_day(day.strftime(form), how("outcome.discharged_on", day_order=order)) == day


def test_points_always_put_the_day_first() -> None:
    assert in_letters("04.03.2025 14:30", MDY, this_year=2026) == "04.03.2025 14:30"


@pytest.mark.parametrize(("text", "year"), [("4/3/25", 2025), ("4/3/27", 2027), ("4/3/98", 1998)])
def test_years_of_two_digits(text: str, year: int) -> None:
    assert in_letters(text, DMY, this_year=2026) == f"4.3.{year}"


# Moments


@pytest.mark.parametrize(
    ("cell", "clock"),
    [
        ("04/03/2025 14:30", None),
        ("2025-03-04T14:30", None),
        ("4 Mar 2025 2:30 pm", None),
        ({"moment": "2025-03-04T14:30"}, None),
        (45720.604167, None),
        ("04/03/2025", "14:30"),
        ("04/03/2025", "1430"),
        ("04/03/2025", 1430),
        ("04/03/2025", "2:30 PM"),
        ("04/03/25", {"time": "14:30"}),
        ({"date": "2025-03-04"}, 0.6041666667),
        ({"moment": "2025-03-04T00:00"}, "14:30"),
        (45720, {"moment": "1899-12-30T14:30"}),
        ("04/03/2025 00:00", "14:30"),
    ],
)
def test_ways_of_writing_one_moment(cell: Any, clock: Any) -> None:
    assert moment(cell, clock) == "2025-03-04 14:30"


def test_half_past_eight_written_830() -> None:
    assert moment("04/03/2025", 830) == "2025-03-04 08:30"


def test_a_missing_time_is_taken_only_if_one_was_named() -> None:
    assert moment({"date": "2025-03-04"}, assumed="12:00") == "2025-03-04 12:00 assumed"
    assert moment({"moment": "2025-03-04T00:00"}, assumed="12:00") == "2025-03-04 00:00"
    with pytest.raises(CellError, match="Add the time of day"):
        moment({"date": "2025-03-04"})


def test_turned_dates_are_turned_back() -> None:
    assert moment({"moment": "2025-03-04T14:30"}, swapped=True) == "2025-04-03 14:30"


def test_the_count_of_days_from_1904() -> None:
    """Day 45720 from 30 December 1899 is day 44258 from 1 January 1904: the difference is 1462 days."""
    assert moment(45720 - 1462, "14:30", epoch_1904=True) == "2025-03-04 14:30"


@pytest.mark.parametrize(
    ("cell", "clock"),
    [
        ("31/02/2025 10:00", None),
        ("04/03/2025", "25:00"),
        ("30/03/2025 02:30", None),  # skipped when the clocks went forward
        ("26/10/2025 02:30", None),  # came twice
        ("04/03/2199 10:00", None),
        (12, None),
        (True, None),
        ({"time": "14:30"}, None),
        ({"fault": "no value"}, None),
        ("04/03/2025", {"date": "2025-03-04"}),
        ("soon", None),
    ],
)
def test_what_is_no_moment_says_why(cell: Any, clock: Any) -> None:
    with pytest.raises(CellError, match=r"\w+ \w+"):
        moment(cell, clock)


ANY_CELL = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=20)
    | st.sampled_from([{"date": "2025-03-04"}, {"moment": "2025-03-04T14:30"}, {"time": "14:30"}])
    | st.just({"fault": "x"})
)


@given(
    ANY_CELL, st.sampled_from([name for name in targets(Layout.RUNS) if not name.endswith((":day", ":time"))])
)
def test_any_cell_in_any_column_is_read_or_named(cell: Any, target: str) -> None:
    row = read_row(7, [cell], [how(target)], digest="", fixed={}, assumed="")
    assert set(row.values) <= {target}
    assert all(problem.row == 7 and problem.text for problem in row.problems)
    if is_blank(cell):
        assert not row.problems


# Numbers and words


@pytest.mark.parametrize(
    ("target", "cell", "unit", "value"),
    [
        ("run.catheter_fr", 7.5, "", Decimal("7.5")),
        ("run.catheter_fr", "7,5", "", Decimal("7.5")),
        ("run.catheter_fr", "7.5 Fr", "", Decimal("7.5")),
        ("run.contrast_ml", 0, "", 0),
        ("run.contrast_ml", "0", "", 0),
        ("run.contrast_ml", 124.0, "", 124),
        ("course.height_cm", 70, "in", Decimal("177.8")),
        ("course.height_cm", "70 in", "in", Decimal("177.8")),
        ("course.creatinine_umol_l", "1.4 mg/dL", "mg/dL", Decimal(124)),
        ("patient.birth_year", {"date": "1961-04-05"}, "", 1961),
        ("patient.birth_year", "5/4/1961", "", 1961),
        ("patient.study_no", "hb-0417", "", "HB-0417"),
        ("run.lot", "007", "", "007"),
        ("run.lot", 7, "", "7"),
        ("run.technical_success", "Y", "", True),
        ("run.technical_success", 0, "", False),
        ("run.technical_success", False, "", False),
        ("run.balloon_volume_ml", 40.0, "", "40"),
        ("run.route", "left axillary", "", "AXILLARY_L"),
        ("run.guidance", "Fluoroscopy + ultrasound", "", ["ULTRASOUND", "FLUORO"]),
        ("course.shock_stage", "c", "", "C"),
    ],
)
def test_values(target: str, cell: Any, unit: str, value: Any) -> None:
    assert read_value(cell, how(target, unit=unit)) == value


@pytest.mark.parametrize(
    ("target", "cell", "words"),
    [
        ("run.catheter_fr", "<8", "not a number"),
        ("run.catheter_fr", {"date": "2025-03-04"}, "not a number"),
        ("run.dose_mgy", "1,234", "decimal comma"),
        ("run.contrast_ml", 12.5, "not a whole number"),
        ("course.creatinine_umol_l", 1.4, r"Is the column in mg/dL\?"),
        ("run.route", "upper", "no meaning yet"),
        ("run.technical_success", "perhaps", "neither yes nor no"),
        ("patient.birth_year", "61", "four digits"),
        ("patient.study_no", "A B", "capital letters"),
        ("run.operator_code", "a name far too long", "12"),
        ("run.lot", {"fault": "No value."}, "No value"),
    ],
)
def test_what_is_no_value_says_why(target: str, cell: Any, words: str) -> None:
    with pytest.raises(CellError, match=words):
        read_value(cell, how(target))


@pytest.mark.parametrize("cell", [None, "", "n/a", "N/A", "-", "–", "?", "unknown", "."])
def test_ways_of_saying_nothing(cell: Any) -> None:
    assert is_blank(cell)


@pytest.mark.parametrize("cell", [0, "0", 0.0, False, "no", "none", {"fault": "x"}])
def test_a_zero_is_not_a_blank(cell: Any) -> None:
    assert not is_blank(cell)


def test_unknown_is_an_answer_where_the_column_has_it() -> None:
    row = read_row(1, ["unknown"], [how("patient.sex")], digest="", fixed={})
    assert row.values == {"patient.sex": "U"}


def test_settled_words_win() -> None:
    assert read_value("Left", how("run.route", words={"left": "FEMORAL_L"})) == "FEMORAL_L"


# Rows


def test_a_time_without_a_day_is_a_problem() -> None:
    readings = [
        ColumnReading(0, "Date in", targets(Layout.RUNS)["run.inserted_at:day"]),
        ColumnReading(1, "Time in", targets(Layout.RUNS)["run.inserted_at:time"]),
    ]
    row = read_row(4, [None, "10:00"], readings, digest="", fixed={})
    assert [problem.text for problem in row.problems] == ["There is a time but no day."]


def test_what_holds_for_all_does_not_replace_a_cell() -> None:
    fixed = {"run.lot": "L1"}
    assert read_row(1, ["L2"], [how("run.lot")], digest="", fixed=fixed).values == {"run.lot": "L2"}
    assert read_row(1, [None], [how("run.lot")], digest="", fixed=fixed).values == fixed


def test_a_row_is_known_again_in_another_order_of_columns() -> None:
    one = digest_of("runs", ["A", "B", "C"], ["x", 1.0, None])
    assert one == digest_of("runs", ["B", "A"], [1, "x"])
    assert one != digest_of("runs", ["A", "B"], ["x", 2])
    assert one != digest_of("events", ["A", "B"], ["x", 1])


def test_cells_as_people_see_them() -> None:
    cells = [1.0, 1.5, True, None, {"moment": "2025-03-04T14:30"}, {"time": "14:30"}, "x"]
    assert [text_of(cell) for cell in cells] == ["1", "1.5", "yes", "", "2025-03-04 14:30", "14:30", "x"]


def test_moments_come_out_aware() -> None:
    found, _ = read_moment(("04/03/2025 14:30", INSERTED), None, "")
    assert found == datetime(2025, 3, 4, 14, 30, tzinfo=BERLIN)
