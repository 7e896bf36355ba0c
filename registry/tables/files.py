"""Reading the files of a folder into rows of cells, with every fault named by file, row and column."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from registry.tables.cells import nearest, shown
from registry.tables.layout import TABLES, Table


@dataclass(frozen=True)
class Complaint:
    """What is wrong or odd in a file. Row 1 holds the column names; 0 means the file as a whole."""

    file: str
    row: int
    column: str
    text: str

    def __str__(self) -> str:
        where = [self.file]
        if self.row:
            where.append(f"row {self.row}")
        if self.column:
            where.append(self.column)
        return f"{', '.join(where)}: {self.text}"


@dataclass(frozen=True)
class Row:
    """One row of a file: its number as a spreadsheet shows it, and its cells by column."""

    number: int
    cells: dict[str, str]


def stray_files(folder: Path) -> list[Complaint]:
    """Files in the folder that look like tables and are none, such as a misspelt name."""
    known = [table.file for table in TABLES]
    return [
        Complaint(path.name, 0, "", f"This is none of the tables.{nearest(path.name, known)}")
        for path in sorted(folder.glob("*.csv"))
        if path.name not in known
    ]


def read_rows(folder: Path, table: Table, *, given: frozenset[str]) -> tuple[list[Row], list[Complaint]]:
    """The rows of one table; a missing file has none. Columns ``given`` elsewhere need not be in the file.

    Raises OSError if the file is there and cannot be opened.
    """
    path = folder / table.file
    if not path.exists():
        return [], []
    text, complaint = _decode(table, path.read_bytes())
    if complaint:
        return [], [complaint]
    lines = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        header = [name.strip() for name in next(lines, [])]
        faults = _header_faults(table, header, given)
        return ([], faults) if faults else _read_body(table, header, lines)
    except csv.Error as error:
        text = f"This is not a well-formed CSV file: {error}."
        return [], [Complaint(table.file, lines.line_num, "", text)]


def _decode(table: Table, data: bytes) -> tuple[str, Complaint | None]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        return "", Complaint(table.file, row, "", "This is not UTF-8 text. Save the file as “CSV UTF-8”.")
    if "\0" in text:
        row = text[: text.index("\0")].count("\n") + 1
        return "", Complaint(table.file, row, "", "This holds a NUL character, which no text may hold.")
    return text, None


def _header_faults(table: Table, header: list[str], given: frozenset[str]) -> list[Complaint]:
    if not any(header):
        return [Complaint(table.file, 1, "", "The first row must hold the names of the columns.")]
    if len(header) == 1 and ";" in header[0]:
        text = "The columns are separated by semicolons. Save the file with commas."
        return [Complaint(table.file, 1, "", text)]
    faults = [
        Complaint(table.file, 1, name[:40], f"There is no such column.{nearest(name, table.columns)}")
        for name in header
        if name not in table.columns
    ]
    faults += [
        Complaint(table.file, 1, name, "This column stands here twice.")
        for name in sorted({name for name in header if header.count(name) > 1 and name in table.columns})
    ]
    missing = [name for name in _required(table) if name not in header and name not in given]
    return faults + [Complaint(table.file, 1, name, "This column is missing.") for name in missing]


def _required(table: Table) -> Iterator[str]:
    """Columns without which no row can be read."""
    for column in table.columns:
        field = table.fields.get(column)
        optional_link = field is None and column not in table.key and column != "centre"
        if optional_link or (field is not None and (field.null or field.blank or field.has_default())):
            continue
        yield column


def _read_body(
    table: Table, header: list[str], lines: Iterator[list[str]]
) -> tuple[list[Row], list[Complaint]]:
    rows, faults = [], []
    for number, cells in enumerate(lines, start=2):
        if not any(cells):
            continue
        if len(cells) == len(header):
            rows.append(Row(number, dict(zip(header, cells, strict=True))))
        else:
            text = f"This row has {len(cells)} cells, the header {len(header)}. It begins {shown(cells[0])}."
            faults.append(Complaint(table.file, number, "", text))
    return rows, faults
