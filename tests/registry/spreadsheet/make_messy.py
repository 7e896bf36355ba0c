"""Makes fixtures/messy-logbook.xlsx: an invented log kept the way such logs are kept.

    python -m tests.registry.spreadsheet.make_messy

Two heading rows with merged parents under a title, days in one column and times in another, dates as texts
and as real dates mixed, creatinine in mg/dL, an exchange and a crossover as rows of their own, a repeated
row, blanks beside zeros, words instead of codes, a note below the table, and a second sheet with events.
"""

from __future__ import annotations

from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

FILE = Path(__file__).parents[3] / "fixtures" / "messy-logbook.xlsx"
PARENTS = (("Patient", 4), ("Insertion", 2), ("Device", 6), ("Removal", 3), ("Start", 5), ("End", 2))
HEADINGS = (
    "Study no", "MRN", "YOB", "Sex",
    "Date", "Time",
    "Route", "Access", "Guidance", "Balloon (cc)", "Cath (Fr)", "Operator",
    "Date", "Time", "Why",
    "Indication", "SCAI", "Height (in)", "Creatinine (mg/dL)", "Contrast (mL)",
    "Outcome", "Exchange reason",
)  # fmt: skip
PUNCTURE = ("perc", "US + fluoro", 40, 7.5, "OP-3")
ROWS: tuple[tuple[Any, ...], ...] = (
    ("MB-001", "0012345", 1961, "M", "14/03/2025", "0930", "L ax", *PUNCTURE,
     "28/03/2025", "11:15", "OHT", "BTT", "C", 70, 1.4, 20, "Transplant", None),
    ("MB-002", "0012346", 1955, "F", "03/04/2025", "14:05", "R fem", "perc", "US", "40 cc", 7.5, "OP-1",
     "07/04/2025", "08:40", None, "BTD", "D", 64, 2.1, 35, None, None),
    ("MB-002", "0012346", 1955, "F", "07/04/2025", "08:55", "L ax", *PUNCTURE,
     "22/04/2025", "10:00", "LVAD", "BTD", "D", 64, 2.1, 35, "LVAD", "planned"),
    ("MB-003", "0012347", 1970, "M", date(2025, 5, 19), time(16, 45), "L ax", *PUNCTURE,
     date(2025, 5, 27), time(23, 50), "kinked", "BTT", "C", 72, 0.9, 25, None, None),
    ("MB-003", "0012347", 1970, "M", date(2025, 5, 28), time(0, 20), "L ax", *PUNCTURE,
     date(2025, 6, 20), 0.5, "OHT", "BTT", "C", 72, 0.9, 25, "Transplant", "kinked"),
    ("MB-004", "0012348", 1949, "M", 45823, "8:30 PM", "R ax", "cutdown", "fluoro", 40, 8, "OP-2",
     45830, 0.25, "died", "decision", "E", 68, 3.2, None, "Died", None),
    ("MB-005", "n/a", 1966, "F", "23.06.2025", "10:10", "L ax", *PUNCTURE,
     "30.06.2025", "09:00", "recovered", "recovery", "C", 66, 1.0, 0, "Recovered", None),
    ("MB-001", "0012345", 1961, "M", "14/03/2025", "0930", "L ax", *PUNCTURE,
     "28/03/2025", "11:15", "OHT", "BTT", "C", 70, 1.4, 20, "Transplant", None),
)  # fmt: skip
EVENT_HEADINGS = ("Study no", "Event", "Date of event", "Time of event", "Site", "BARC", "Comments")
EVENTS: tuple[tuple[Any, ...], ...] = (
    ("MB-002", "Bleed", "05/04/2025", None, "Access", "2", "oozing, pressure held"),
    ("MB-004", "Bleed", "18/06/2025", "06:30", "GI", "3a", "two units"),
)


def make(rows: tuple[tuple[Any, ...], ...] = ROWS) -> Workbook:
    """The workbook."""
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Log 2025"
    sheet.append(["IABP log, not to leave the unit"])
    sheet.merge_cells(start_row=1, start_column=1, end_row=1, end_column=len(HEADINGS))
    sheet.append([])
    _headings(sheet)
    for row in rows:
        sheet.append(row)
    sheet.append([])
    sheet.append(["zeros are zeros, blanks were not looked up"])
    events = book.create_sheet("Events")
    for row in (EVENT_HEADINGS, *EVENTS):
        events.append(row)
    book.create_sheet("old").sheet_state = "hidden"
    book.properties.created = book.properties.modified = datetime(2025, 7, 1)  # noqa: DTZ001 - a document property
    return book


def _headings(sheet: Worksheet) -> None:
    parents: list[Any] = []
    for name, width in PARENTS:
        parents += [name] + [None] * (width - 1)
    sheet.append(parents)
    sheet.append(HEADINGS)
    column = 1
    for _, width in PARENTS:
        sheet.merge_cells(start_row=3, start_column=column, end_row=3, end_column=column + width - 1)
        column += width


if __name__ == "__main__":
    make().save(FILE)
