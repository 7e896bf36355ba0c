"""The rows of a sheet as values by logbook column, with every cell that cannot be read."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from registry.spreadsheet.columns import Part
from registry.spreadsheet.limits import Cell
from registry.spreadsheet.values import ColumnReading, is_blank, read_moment, read_value, text_of
from registry.spreadsheet.words import code_of, is_coded
from registry.tables.cells import CellError

SHOWN = 60


@dataclass(frozen=True)
class CellProblem:
    """Why a cell or row cannot come in: where it is in the sheet, what stands there, the reason."""

    row: int
    column: str
    value: str
    text: str


@dataclass
class SheetRow:
    """One row: its values by target, such as ``run.route``; ``assumed`` names moments without a time."""

    number: int
    digest: str
    values: dict[str, Any] = field(default_factory=dict)
    cells: dict[str, tuple[str, str]] = field(default_factory=dict)
    assumed: list[str] = field(default_factory=list)
    problems: list[CellProblem] = field(default_factory=list)

    def get(self, target: str) -> Any:
        """The value of a target; None where nothing stands."""
        return self.values.get(target)

    def complain(self, target: str, text: str) -> None:
        """Note a problem at the cell that holds the target, or at the row if none does; one for each cell."""
        heading, shown = self.cells.get(target, ("", ""))
        if heading and any(problem.column == heading for problem in self.problems):
            return
        self.problems.append(CellProblem(self.number, heading, shown, text))


def digest_of(layout: str, headings: Sequence[str], cells: Sequence[Cell]) -> str:
    """What a row is known again by: all that is filled in it, whatever the order of the columns."""
    filled = sorted(
        (name, text_of(cell)) for name, cell in zip(headings, cells, strict=True) if cell is not None
    )
    return hashlib.sha256(json.dumps([layout, filled]).encode()).hexdigest()


def read_row(
    number: int,
    cells: Sequence[Cell],
    readings: Sequence[ColumnReading],
    *,
    digest: str,
    fixed: dict[str, Any],
    assumed: str = "",
) -> SheetRow:
    """Read one row. ``fixed`` holds values that stand for every row where its own cell is blank."""
    row = SheetRow(number, digest)
    for how in readings:
        cell = cells[how.place]
        row.cells.setdefault(how.target.base, (how.heading, text_of(cell)[:SHOWN]))
        if not is_blank(cell) or _is_a_code(cell, how):
            _read_cell(row, cell, how)
    _read_moments(row, cells, readings, assumed)
    for target, value in fixed.items():
        row.values.setdefault(target, value)
    return row


def _is_a_code(cell: Cell, how: ColumnReading) -> bool:
    """Whether what says nothing elsewhere, such as “unknown”, is an answer in this column."""
    return (
        isinstance(cell, str)
        and is_coded(how.target.field)
        and bool(code_of(how.target.field, cell, how.words))
    )


def _is_moment(how: ColumnReading) -> bool:
    return bool(how.target.field.get_internal_type() == "DateTimeField")


def _read_cell(row: SheetRow, cell: Cell, how: ColumnReading) -> None:
    if _is_moment(how):
        return
    try:
        value = read_value(cell, how)
    except CellError as error:
        row.problems.append(CellProblem(row.number, how.heading, text_of(cell)[:SHOWN], str(error)))
    else:
        if value is not None and value != []:
            row.values[how.target.id] = value


def _read_moments(
    row: SheetRow, cells: Sequence[Cell], readings: Sequence[ColumnReading], assumed: str
) -> None:
    moments: dict[str, dict[str, ColumnReading]] = {}
    for how in filter(_is_moment, readings):
        moments.setdefault(how.target.base, {})[how.target.part] = how
    for base, parts in moments.items():
        day = parts.get(Part.DAY) or parts.get(Part.WHOLE)
        clock = parts.get(Part.CLOCK)
        if day is None or is_blank(cells[day.place]):
            if clock is not None and not is_blank(cells[clock.place]):
                row.complain(base, "There is a time but no day.")
            continue
        try:
            moment, was_assumed = read_moment(
                (cells[day.place], day), (cells[clock.place], clock) if clock else None, assumed
            )
        except CellError as error:
            text = text_of(cells[day.place])[:SHOWN]
            row.problems.append(CellProblem(row.number, day.heading, text, str(error)))
        else:
            _keep(row, base, moment, was_assumed=was_assumed)


def _keep(row: SheetRow, base: str, moment: datetime, *, was_assumed: bool) -> None:
    row.values[base] = moment
    if was_assumed:
        row.assumed.append(base)
