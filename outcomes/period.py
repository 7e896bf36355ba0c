"""The time a report is about, in the centre's own days."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from registry.models.base import EARLIEST_YEAR, LATEST_YEAR

QUARTER = re.compile(r"(\d{4})-?Q([1-4])", re.IGNORECASE)
YEAR = re.compile(r"\d{4}")
MONTH = re.compile(r"(\d{4})-(\d{2})")
# Outside these the logbook keeps nothing.
FIRST_DAY, LAST_DAY = date(EARLIEST_YEAR, 1, 1), date(LATEST_YEAR, 12, 31)
RANGE_MARK = ".."
HOW_TO_WRITE = (
    "a quarter (2026-Q3), a year (2026), a month (2026-07), or a range with both ends included "
    "(2026-01..2026-06 or 2026-01-15..2026-02-10)"
)


class PeriodError(ValueError):
    """The text names no period, one that ends before it starts, or one in years the logbook does not know."""


@dataclass(frozen=True)
class Period:
    """From ``start`` (included) to ``end`` (not included), both at midnight of the centre's clocks."""

    start: datetime
    end: datetime
    label: str

    def __post_init__(self) -> None:
        if self.start.tzinfo is None or self.end.tzinfo is None:
            raise PeriodError("start and end need a time zone")
        if self.start >= self.end:
            raise PeriodError(f"{self.label}: the period ends before it starts")

    @classmethod
    def parse(cls, text: str, zone: ZoneInfo) -> Period:
        """Read ``2026-Q3``, ``2026``, ``2026-07``, ``2026-01..2026-06`` or two dates, both included.

        Raises PeriodError, which says how to write a period.
        """
        first, mark, last = (part.strip() for part in text.strip().partition(RANGE_MARK))
        try:
            start, end = _span(first)
            if mark:
                end = _span(last)[1]
        except PeriodError:
            raise
        except ValueError:
            raise PeriodError(f"“{text}” is no period; write {HOW_TO_WRITE}") from None
        label = f"{first.upper()}{RANGE_MARK}{last.upper()}" if mark else first.upper()
        return cls(_midnight(start, zone), _midnight(end, zone), label)

    @classmethod
    def between(cls, first: date, last: date, zone: ZoneInfo) -> Period:
        """From the first to the last day, both included."""
        return cls.parse(f"{first.isoformat()}{RANGE_MARK}{last.isoformat()}", zone)

    @classmethod
    def quarter_of(cls, day: date, zone: ZoneInfo) -> Period:
        """The calendar quarter that holds the day, in any year."""
        number = (day.month + 2) // 3
        start, end = _months(day.year, 3 * number - 2, 3)
        return cls(_midnight(start, zone), _midnight(end, zone), f"{day.year:04d}-Q{number}")

    @property
    def last_day(self) -> date:
        """The last day that belongs to the period."""
        return (self.end - timedelta(minutes=1)).date()


def _span(text: str) -> tuple[date, date]:
    """First day, and the day after the last one.

    ValueError if the text is none of the forms, PeriodError for a year the logbook does not know.
    """
    year = YEAR.match(text)
    if year and not EARLIEST_YEAR <= int(year[0]) <= LATEST_YEAR:
        raise PeriodError(f"“{text}” is outside the years {EARLIEST_YEAR} to {LATEST_YEAR}")
    if found := QUARTER.fullmatch(text):
        first_month = 3 * int(found[2]) - 2
        return _months(int(found[1]), first_month, 3)
    if YEAR.fullmatch(text):
        return _months(int(text), 1, 12)
    if found := MONTH.fullmatch(text):
        return _months(int(found[1]), int(found[2]), 1)
    day = date.fromisoformat(text)
    return day, day + timedelta(days=1)


def _months(year: int, month: int, count: int) -> tuple[date, date]:
    years, after = divmod(month - 1 + count, 12)
    return date(year, month, 1), date(year + years, after + 1, 1)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=zone)


def written_span(label: str) -> str:
    """The label of a period for a sentence."""
    return label.replace(RANGE_MARK, " to ")
