"""From a cell to the value of a logbook column. A blank is never a zero; what is unclear is a CellError."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone

from registry.forms.moments import UnreadableTimeError, parse_day, parse_moment
from registry.spreadsheet.columns import Target, fold
from registry.spreadsheet.limits import Cell
from registry.spreadsheet.orders import in_letters
from registry.spreadsheet.units import factor, units_of
from registry.spreadsheet.words import NO, YES, code_of, is_coded, says_nothing, split
from registry.tables.cells import CellError, shown

_PLAIN_NUMBER = re.compile(r"[-+]?\d{1,12}(?:[.,]\d{1,20})?", re.ASCII)
_THOUSANDS = re.compile(r"[-+]?\d{1,3}(?:,\d{3})+", re.ASCII)
SERIAL_DAYS = range(36526, 73051)  # 1 January 2000 to 31 December 2099 as spreadsheets count days
EPOCH_1900, EPOCH_1904 = date(1899, 12, 30), date(1904, 1, 1)


@dataclass(frozen=True)
class ColumnReading:
    """How one column of a sheet is read: decided once for all of its cells."""

    place: int
    heading: str
    target: Target
    unit: str = ""
    day_order: str = ""
    swapped: bool = False
    epoch_1904: bool = False
    words: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


def text_of(cell: Cell) -> str:
    """A cell as people see it."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, dict):
        return str(next(iter(cell.values()), "")).replace("T", " ")
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell)


def is_blank(cell: Cell) -> bool:
    """Whether nothing is known. A cell that cannot be read is not blank."""
    return cell is None or (isinstance(cell, str) and says_nothing(cell))


def read_value(cell: Cell, how: ColumnReading) -> Any:
    """The value of a filled cell; moments are read by ``read_moment``. Raises CellError."""
    if isinstance(cell, dict) and "fault" in cell:
        raise CellError(cell["fault"])
    column = how.target.field
    if is_coded(column):
        return _coded(cell, how)
    value = _plain_value(cell, how)
    _refuse_outside(value, how)
    try:
        column.run_validators(value)
    except ValidationError as error:
        raise CellError(" ".join(error.messages)) from None
    return value


def _plain_value(cell: Cell, how: ColumnReading) -> Any:
    column = how.target.field
    if isinstance(column, models.BooleanField):
        return _yes_no(cell)
    if isinstance(column, models.DateField):
        return read_day(cell, how)
    if column.name == "birth_year":
        return _year(cell)
    if isinstance(column, models.IntegerField | models.DecimalField):
        return _number(cell, how)
    text = text_of(cell)
    return text.upper() if column.name == "study_no" else text


def _coded(cell: Cell, how: ColumnReading) -> Any:
    column, codes = how.target.field, []
    for word in filter(None, split(column, text_of(cell))):
        code = code_of(column, word, how.words)
        if code is None:
            raise CellError(f"{shown(word)} has no meaning yet in this column.")
        if code:
            codes.append(code)
    if hasattr(column, "codes"):
        order = list(column.codes.values)
        return sorted(set(codes), key=order.index)
    return column.to_python(codes[0]) if codes else None


def _yes_no(cell: Cell) -> bool:
    word = text_of(cell).casefold() if text_of(cell) in YES else fold(text_of(cell))
    if word in YES or word in NO:
        return word in YES
    raise CellError(f"{shown(text_of(cell))} is neither yes nor no.")


def _year(cell: Cell) -> int:
    """A year of birth; of a whole date only the year is taken."""
    found = re.search(r"(?<!\d)(?:19|20)\d\d(?!\d)", text_of(cell))
    if not found:
        raise CellError(f"{shown(text_of(cell))} holds no year of four digits.")
    return int(found[0])


def _number(cell: Cell, how: ColumnReading) -> int | Decimal:
    value = _decimal(cell, how) * factor(how.target, how.unit)
    column = how.target.field
    if isinstance(column, models.DecimalField):
        return round(value, column.decimal_places)
    if factor(how.target, how.unit) == 1 and value != value.to_integral_value():
        raise CellError(f"{shown(text_of(cell))} is not a whole number.")
    return round(value)


def _decimal(cell: Cell, how: ColumnReading) -> Decimal:
    text = text_of(cell).replace("−", "-").replace(" ", "")
    names = [unit.name for unit in units_of(how.target)] if how.unit == "" else [how.unit]
    for name in filter(None, (how.target.field.unit, *names)):
        text = text[: -len(name)] if text.casefold().endswith(name.casefold()) else text
    if _THOUSANDS.fullmatch(text):
        raise CellError(
            f"{shown(text_of(cell))} can be a thousand or a decimal comma. Write it in plain digits."
        )
    if isinstance(cell, dict) or not _PLAIN_NUMBER.fullmatch(text):
        raise CellError(f"{shown(text_of(cell))} is not a number.")
    return Decimal(text.replace(",", "."))


def _refuse_outside(value: Any, how: ColumnReading) -> None:
    column = how.target.field
    hard = getattr(column, "hard", None)
    if not hard or value is None or hard[0] <= value <= hard[1]:
        return
    unit = f" {column.unit}" if column.unit else ""
    others = [
        other.name
        for other in units_of(how.target)
        if hard[0] <= value / factor(how.target, how.unit) * other.factor <= hard[1]
    ]
    hint = f" Is the column in {others[0]}?" if others else ""
    raise CellError(f"{value}{unit} is outside {hard[0]} to {hard[1]}{unit}.{hint}")


# Days and moments


def read_day(cell: Cell, how: ColumnReading) -> date:
    """A calendar day. Raises CellError."""
    try:
        return parse_day(_day_text(cell, how).partition(" ")[0], today=timezone.localdate(), days_ahead=3660)
    except UnreadableTimeError as error:
        raise CellError(str(error)) from None


def read_moment(
    day: tuple[Cell, ColumnReading], clock: tuple[Cell, ColumnReading] | None, assumed: str
) -> tuple[datetime, bool]:
    """A moment from a cell, or from one with the day and one with the time; and whether its time was assumed.

    ``assumed`` is the time of day taken where none stands, or nothing. Raises CellError.
    """
    text = _day_text(*day)
    if clock is not None and not is_blank(clock[0]):
        text = f"{_only_day(text)} {_clock_text(clock[0])}"
    try:
        return _parsed(text), False
    except UnreadableTimeError as error:
        if error.code != "no_time" or not assumed:
            raise CellError(str(error)) from None
    try:
        return _parsed(f"{text} {assumed}"), True
    except UnreadableTimeError as error:
        raise CellError(str(error)) from None


def _parsed(text: str) -> datetime:
    return parse_moment(text, now=timezone.now(), zone=timezone.get_current_timezone())


def _only_day(text: str) -> str:
    """The day of a text that may hold a time too: the time has a column of its own."""
    return re.sub(r"[T ]+\d{1,2}:\d{2}(?::\d{2})?$", "", text)


def _day_text(cell: Cell, how: ColumnReading) -> str:
    """A day, with its time if it stands there, as the typed entries of the logbook are read."""
    if isinstance(cell, dict):
        if "fault" in cell or "time" in cell:
            raise CellError(cell.get("fault") or "This is a time without a day.")
        return _calendar_text(cell.get("date") or cell["moment"], swapped=how.swapped)
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return _serial_text(cell, how)
    return in_letters(str(cell), how.day_order, this_year=timezone.localdate().year)


def _calendar_text(text: str, *, swapped: bool) -> str:
    day, _, clock = text.partition("T")
    year, month, number = day.split("-")
    if swapped and int(number) <= 12:
        month, number = number, month
    return f"{number}.{month}.{year} {clock}".strip()


def _serial_text(number: float, how: ColumnReading) -> str:
    if int(number) not in SERIAL_DAYS:
        raise CellError(f"{shown(text_of(number))} is not a date.")
    start = EPOCH_1904 if how.epoch_1904 else EPOCH_1900
    moment = datetime(start.year, start.month, start.day) + timedelta(days=number, seconds=0.5)  # noqa: DTZ001
    return f"{moment:%d.%m.%Y}" + ("" if float(number).is_integer() else f" {moment:%H:%M}")


def _clock_text(cell: Cell) -> str:
    if isinstance(cell, dict):
        if "fault" in cell:
            raise CellError(cell["fault"])
        text = cell.get("time") or cell.get("moment", "").partition("T")[2]
        if not text:
            raise CellError("This is a day where a time of day should stand.")
        return str(text)
    if isinstance(cell, float) and 0 <= cell < 1:
        minutes = round(cell * 24 * 60)
        return f"{minutes // 60:02d}:{minutes % 60:02d}"
    text = text_of(cell)
    return text.zfill(4) if text.isdigit() else text
