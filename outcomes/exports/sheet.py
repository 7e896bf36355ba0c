"""A sheet of the workbook before it is written: typed columns, one record a row."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

Value = str | float | int | datetime | None


@dataclass(frozen=True)
class Column:
    """A column of a sheet: its name, what it holds, and how wide it is."""

    name: str
    meaning: str
    width: int = 12


@dataclass(frozen=True)
class Sheet:
    """One sheet; ``source`` says where its rows come from, for the sheet of provenance."""

    name: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Value, ...], ...]
    source: str = ""
