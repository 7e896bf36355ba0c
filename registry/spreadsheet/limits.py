"""How large a spreadsheet may be, and what refuses it."""

from __future__ import annotations

from typing import Any, TypeAlias

MOST_BYTES = 5_000_000
MOST_ENTRIES = 50
MOST_UNPACKED = 50_000_000
MOST_ROWS = 5_000
MOST_COLUMNS = 60
LONGEST_CELL = 10_000

# A cell as it is staged: nothing, text, a number, yes or no, or one of {"date": "2025-03-04"},
# {"moment": "2025-03-04T14:30"}, {"time": "14:30"} and {"fault": "why it cannot be read"}.
Cell: TypeAlias = Any
# What stands behind a row is its number as the spreadsheet shows it.
Row: TypeAlias = tuple[int, list[Cell]]


class RefusedFile(ValueError):  # noqa: N818 - it reads as what it is
    """A file that is not read; the text says why, and what to do."""


def check_row(number: int, cells: list[Cell], kept: int) -> None:
    """Refuse a filled row that lies too far right or is one too many. Raises RefusedFile."""
    if kept > MOST_ROWS:
        raise RefusedFile(f"This holds more than {MOST_ROWS} rows. Import it in parts.")
    if len(cells) > MOST_COLUMNS:
        raise RefusedFile(
            f"Row {number} has a cell in column {len(cells)}; {MOST_COLUMNS} columns are read at most. "
            "Copy the columns that are needed into a new sheet."
        )
    if any(isinstance(cell, str) and len(cell) > LONGEST_CELL for cell in cells):
        raise RefusedFile(f"Row {number} has a cell with more than {LONGEST_CELL} characters.")


def trimmed(cells: list[Cell]) -> list[Cell]:
    """The cells without the empty ones at the end."""
    end = len(cells)
    while end and cells[end - 1] is None:
        end -= 1
    return cells[:end]
