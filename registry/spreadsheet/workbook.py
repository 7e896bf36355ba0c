"""Reading an XLSX workbook that a stranger may have made: every limit is checked before or while it is read.

The archive is first unpacked into nothing, counting; only then does openpyxl see it, in read-only mode and
with defusedxml, which refuses entities. Merged cells and formulas without a stored value are found beside it.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

import openpyxl
from openpyxl.utils.cell import range_boundaries

from registry.spreadsheet.limits import (
    MOST_BYTES,
    MOST_COLUMNS,
    MOST_ENTRIES,
    MOST_ROWS,
    MOST_UNPACKED,
    Cell,
    RefusedFile,
    Row,
    check_row,
    trimmed,
)

Area = tuple[int, int, int, int]  # first column, first row, last column, last row

MOST_SMALL_PART = 2_000_000
FARTHEST_ROW = 4 * MOST_ROWS
MOST_MERGED = 1_000
# What takes openpyxl long: by part of the archive, how often each element may stand in all of them together.
SLOW = {
    "worksheets/": {
        b"row": (2 * FARTHEST_ROW, "formatted rows"),
        b"c": (MOST_ROWS * MOST_COLUMNS + 100_000, "cells"),
    },
    "sharedStrings": {b"si": (100_000, "different texts")},
}
HEADER_DEPTH = 30
CHUNK = 1 << 16
ANY_DAY = date(2000, 1, 1)
DAMAGED = (
    "This workbook is damaged or not an XLSX file. Open it in the spreadsheet program and save it as .xlsx."
)
NO_VALUE = "This formula has no stored value. Open the sheet, let it calculate, and save it again."

_MERGED = re.compile(rb"<(?:\w+:)?mergeCell\s[^>]*?ref=\"([A-Z]{1,3}\d{1,7}:[A-Z]{1,3}\d{1,7})\"")
_ENTITIES = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)


@dataclass(frozen=True)
class RawSheet:
    """The filled rows of one sheet, and its merged areas near the top."""

    rows: list[Row]
    merged: list[Area]
    epoch_1904: bool = False


def is_workbook(data: bytes) -> bool:
    """Whether these bytes begin like an XLSX file. Raises RefusedFile for the kinds before it."""
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise RefusedFile("This is an old or locked workbook. Save it as .xlsx without a password.")
    return data[:2] == b"PK"


def sheet_names(data: bytes) -> list[str]:
    """The visible sheets of a workbook. Raises RefusedFile."""
    _check_archive(data)
    return [sheet.title for sheet in _open(data, values=True).worksheets if sheet.sheet_state == "visible"]


def read_sheet(data: bytes, name: str) -> RawSheet:
    """The cells of one sheet. Raises RefusedFile."""
    _check_archive(data)
    book: Any = _open(data, values=True)
    if name not in book.sheetnames:
        raise RefusedFile(f"There is no sheet “{name[:40]}”.")
    part = _part(data, book[name]._worksheet_path)
    formulas = _formulas(data, name) if b"<f" in part or b":f" in part else set()
    try:
        rows = list(_rows(book[name], formulas))
    except RefusedFile:
        raise
    except Exception as error:
        raise RefusedFile(DAMAGED) from error
    return RawSheet(rows, _merged(part), book.epoch.year == 1904)


# The archive


def _check_archive(data: bytes) -> None:
    if len(data) > MOST_BYTES:
        raise RefusedFile(f"The file is larger than {MOST_BYTES // 1_000_000} MB.")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            _check_declared(entries)
            marks: Counter[bytes] = Counter()
            left = MOST_UNPACKED
            for entry in entries:
                left -= _unpacked_size(archive, entry, left, marks)
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, ValueError, RuntimeError) as error:
        if isinstance(error, RefusedFile):
            raise
        raise RefusedFile(DAMAGED) from error
    except zipfile.zlib.error as error:  # type: ignore[attr-defined]
        raise RefusedFile(DAMAGED) from error


def _check_declared(entries: list[zipfile.ZipInfo]) -> None:
    if any(entry.flag_bits & 1 for entry in entries):
        raise RefusedFile("This workbook is locked. Save it without a password.")
    if len(entries) > MOST_ENTRIES:
        raise RefusedFile(f"This workbook holds {len(entries)} parts; {MOST_ENTRIES} are read at most.")
    if sum(entry.file_size for entry in entries) > MOST_UNPACKED:
        raise RefusedFile(f"Unpacked, this is larger than {MOST_UNPACKED // 1_000_000} MB.")


def _unpacked_size(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, left: int, marks: Counter[bytes]) -> int:
    """The size of an entry as it is, whatever it declares. Counts the marks of what is slow to read."""
    size, name = 0, entry.filename
    slow = next((limits for part, limits in SLOW.items() if part in name), {})
    small = not slow and name.endswith(".xml")
    with archive.open(entry) as part:
        while chunk := part.read(CHUNK):
            if not size and _ENTITIES.search(chunk):
                raise RefusedFile("This workbook defines entities, which no spreadsheet program does.")
            size += len(chunk)
            if size > left or (small and size > MOST_SMALL_PART):
                raise RefusedFile(f"Unpacked, {name[:60]} is too large.")
            for mark, (most, words) in slow.items():
                marks[mark] += chunk.count(b"<" + mark) + chunk.count(b":" + mark)
                if marks[mark] > most:
                    raise RefusedFile(
                        f"This workbook has more than {most} {words}. Copy what is needed into a new one."
                    )
    return size


def _open(data: bytes, *, values: bool) -> Any:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about features that are not read
            return openpyxl.load_workbook(
                io.BytesIO(data), read_only=True, data_only=values, keep_links=False
            )
    except Exception as error:
        raise RefusedFile(DAMAGED) from error


# One sheet


def _part(data: bytes, path: str) -> bytes:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return archive.read(path)


def _rows(sheet: Any, formulas: set[tuple[int, int]]) -> Iterator[Row]:
    kept = 0
    for number, found in enumerate(sheet.iter_rows(), start=1):
        cells = trimmed([_cell(cell, number, place, formulas) for place, cell in enumerate(found)])
        if not cells:
            continue
        if number > FARTHEST_ROW:
            raise RefusedFile(
                f"A cell is filled in row {number}, far below the others. Delete it and save again."
            )
        kept += 1
        check_row(number, cells, kept)
        yield number, cells


def _cell(cell: Any, row: int, place: int, formulas: set[tuple[int, int]]) -> Cell:
    value = cell.value
    if value is None:
        return {"fault": NO_VALUE} if (row, place) in formulas else None
    if cell.data_type == "e":
        return {"fault": f"The sheet shows an error here: {str(value)[:20]}."}
    if isinstance(value, str):
        return value.strip() or None
    if isinstance(value, (datetime, date, time, timedelta)):
        return _staged_time(value, cell.number_format or "")
    return value


def _staged_time(value: datetime | date | time | timedelta, number_format: str) -> Cell:
    """A date or time as staged. Whether a midnight is a time or just a day is told by its format."""
    if isinstance(value, timedelta):
        if not timedelta(0) <= value < timedelta(days=1):
            return str(value)
        value = (datetime.combine(ANY_DAY, time.min) + value).time()
    if isinstance(value, time):
        rounded = datetime.combine(ANY_DAY, value) + timedelta(milliseconds=500)
        return {"time": f"{rounded:%H:%M}"}
    if not isinstance(value, datetime):
        return {"date": value.isoformat()}
    rounded = value + timedelta(milliseconds=500)  # 14:29:59.9999 is a quarter to three as numbers go
    shows_time = "h" in re.sub(r"\[[^\]]*\]|\"[^\"]*\"", "", number_format).lower()
    if (rounded.hour, rounded.minute) == (0, 0) and not shows_time:
        return {"date": rounded.date().isoformat()}
    return {"moment": f"{rounded:%Y-%m-%dT%H:%M}"}


def _formulas(data: bytes, name: str) -> set[tuple[int, int]]:
    """Where formulas stand: row number and place in the row."""
    found = set()
    sheet: Any = _open(data, values=False)[name]
    for number, cells in enumerate(sheet.iter_rows(max_row=FARTHEST_ROW), start=1):
        found |= {(number, place) for place, cell in enumerate(cells) if cell.data_type == "f"}
    return found


def _merged(part: bytes) -> list[Area]:
    """Merged areas that begin near the top, where headings are."""
    areas: list[Area] = []
    for found in _MERGED.finditer(part):
        left, top, right, bottom = range_boundaries(found[1].decode())
        if top and left and right and bottom and top <= HEADER_DEPTH and len(areas) < MOST_MERGED:
            areas.append((left, top, min(right, MOST_COLUMNS), min(bottom, HEADER_DEPTH)))
    return areas
