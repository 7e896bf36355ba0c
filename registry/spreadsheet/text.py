"""Reading rows that come as text: a CSV file, or rows pasted from a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

from registry.spreadsheet.limits import (
    LONGEST_CELL,
    MOST_BYTES,
    RefusedFile,
    Row,
    check_row,
    trimmed,
)

SEPARATORS = "\t;,"
LINES_LOOKED_AT = 20


def decode(data: bytes) -> str:
    """The text of a CSV file. Raises RefusedFile."""
    if len(data) > MOST_BYTES:
        raise RefusedFile(f"The file is larger than {MOST_BYTES // 1_000_000} MB.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        raise RefusedFile(
            f"Row {row} is not UTF-8 text. Save the sheet as “CSV UTF-8” or as .xlsx."
        ) from error


def read_text(text: str) -> list[Row]:
    """The filled rows of a text whose columns are separated by tabs, semicolons or commas.

    Raises RefusedFile.
    """
    if "\0" in text:
        row = text[: text.index("\0")].count("\n") + 1
        raise RefusedFile(f"Row {row} holds a NUL character, which no text may hold.")
    before = csv.field_size_limit(LONGEST_CELL)
    try:
        return list(_rows(text, _separator(text)))
    except csv.Error as error:
        raise RefusedFile(f"This is not a well-formed table: {error}.") from error
    finally:
        csv.field_size_limit(before)


def _separator(text: str) -> str:
    """The separator that splits the first lines into most cells."""
    lines = text.splitlines()[:LINES_LOOKED_AT]

    def cells(separator: str) -> int:
        return sum(len(row) - 1 for row in csv.reader(lines, delimiter=separator))

    return max(SEPARATORS, key=cells)


def _rows(text: str, separator: str) -> Iterator[Row]:
    kept = 0
    for number, found in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=separator), start=1):
        cells = trimmed([cell.strip() or None for cell in found])
        if cells:
            kept += 1
            check_row(number, cells, kept)
            yield number, cells
