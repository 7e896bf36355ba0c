from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from outcomes.period import Period, PeriodError

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(
    ("text", "first", "after", "label"),
    [
        ("2026-Q3", date(2026, 7, 1), date(2026, 10, 1), "2026-Q3"),
        ("2026q4", date(2026, 10, 1), date(2027, 1, 1), "2026Q4"),
        ("2026", date(2026, 1, 1), date(2027, 1, 1), "2026"),
        ("2026-12", date(2026, 12, 1), date(2027, 1, 1), "2026-12"),
        ("2026-01..2026-06", date(2026, 1, 1), date(2026, 7, 1), "2026-01..2026-06"),
        (" 2026-01-15 .. 2026-02-10 ", date(2026, 1, 15), date(2026, 2, 11), "2026-01-15..2026-02-10"),
        ("2025-Q4..2026-Q1", date(2025, 10, 1), date(2026, 4, 1), "2025-Q4..2026-Q1"),
    ],
)
def test_reads_what_people_write(text: str, first: date, after: date, label: str) -> None:
    period = Period.parse(text, BERLIN)

    assert period.start == datetime(first.year, first.month, first.day, tzinfo=BERLIN)
    assert period.end == datetime(after.year, after.month, after.day, tzinfo=BERLIN)
    assert period.label == label


@pytest.mark.parametrize("text", ["", "Q3", "2026-Q5", "2026-13", "2026-02-30", "2026..", "next year"])
def test_refuses_the_rest_and_says_how(text: str) -> None:
    with pytest.raises(PeriodError, match="2026-Q3"):
        Period.parse(text, BERLIN)


@pytest.mark.parametrize(
    "text",
    [
        *("0001", "0001..9998", "1000..3000", "1989-12-31", "1989-Q4..2026", "2101", "2026..2101-01-01"),
        *("9999", "9999-12", "9999-Q4", "9999-12-31", "2026..9999-12-31"),
    ],
)
def test_refuses_years_the_logbook_does_not_know(text: str) -> None:
    with pytest.raises(PeriodError, match="outside the years 1990 to 2100"):
        Period.parse(text, BERLIN)


def test_takes_every_year_the_logbook_knows() -> None:
    period = Period.parse("1990-01-01..2100-12-31", BERLIN)
    assert (period.start.year, period.last_day) == (1990, date(2100, 12, 31))
    assert Period.quarter_of(date(1989, 12, 31), BERLIN).label == "1989-Q4"  # for the trends before 1990


def test_refuses_an_end_before_the_start() -> None:
    with pytest.raises(PeriodError, match="ends before"):
        Period.parse("2026-06..2026-01", BERLIN)


def test_midnights_are_those_of_the_centre() -> None:
    """A quarter is an hour longer or shorter where clocks change in it."""
    first = Period.parse("2026-Q1", BERLIN)
    assert (first.end - first.start).total_seconds() == 90 * 86400  # wall clock, both in one zone
    assert first.end.timestamp() - first.start.timestamp() == 90 * 86400 - 3600


def test_quarter_of_a_day_and_last_day() -> None:
    period = Period.quarter_of(date(2026, 8, 9), BERLIN)
    assert period.label == "2026-Q3"
    assert period.last_day == date(2026, 9, 30)
    assert Period.between(date(2026, 1, 1), date(2026, 1, 1), BERLIN).last_day == date(2026, 1, 1)
