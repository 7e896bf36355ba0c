"""One cell of a plain table: from a value to its text and back.

Moments are written in UTC with ``Z``, days as ISO 8601, codes as stored, lists joined by ``;``, yes or no in
words. An empty cell means not recorded, never zero. Reading is strict: what could mean two things is refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from difflib import get_close_matches
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.postgres.fields import ArrayField
from django.core.exceptions import ValidationError
from django.db import models

from registry.models.base import EARLIEST_YEAR, LATEST_YEAR
from registry.tiers import EXTENDED_GROUPS

LIST_MARK = ";"
SHOWN_CHARACTERS = 40

# A spreadsheet may run a cell that begins like this as a formula (CWE-1236; common practice, no source).
_FORMULA = re.compile(r"'*[=+\-@\t\r\n\x00]")
_MOMENT = re.compile(
    r"(\d{4})-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d{1,6})?)?(?P<offset>Z|[+-]\d\d:?\d\d)?", re.ASCII
)
_DAY = re.compile(r"(\d{4})-\d\d-\d\d", re.ASCII)
_WHOLE = re.compile(r"-?\d{1,12}", re.ASCII)
_NUMBER = re.compile(r"-?\d{1,12}(\.\d{1,12})?", re.ASCII)


class CellError(ValueError):
    """A cell that was not understood; the text says what is wrong in plain words."""


def shown(text: str) -> str:
    """A cell as quoted in a message: short, on one line."""
    plain = " ".join(text[: SHOWN_CHARACTERS + 1].split())
    return f"“{plain}”" if len(text) <= SHOWN_CHARACTERS else f"“{plain[:SHOWN_CHARACTERS]}…”"


def nearest(text: str, known: Sequence[str]) -> str:
    """A sentence that names the known word closest to ``text``, or nothing."""
    folded = {word.casefold(): word for word in known}
    found = get_close_matches(text[:SHOWN_CHARACTERS].casefold(), folded, n=1, cutoff=0.6)
    return f" Did you mean {folded[found[0]]}?" if found else ""


# Writing


def write_cell(field: Any, value: Any) -> str:
    """The text of ``value`` in the column ``field``."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list):
        return LIST_MARK.join(value)
    if isinstance(value, Decimal):
        return format(value, "f")
    return guard(value) if isinstance(value, str) and not field.choices else str(value)


def guard(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet would run as a formula."""
    return f"'{text}" if _FORMULA.match(text) else text


def unguard(text: str) -> str:
    """Take away the apostrophe that ``guard`` put there, and no other."""
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text


# Reading


def read_cell(field: Any, text: str, zone: ZoneInfo | None) -> Any:
    """The value of a cell in the column ``field``; times without offset are on the clock of ``zone``.

    Raises CellError.
    """
    if not text.strip() and not (text and _is_text(field)):
        return _empty(field)
    try:
        value = _read_filled(field, text, zone)
        if not isinstance(value, list):
            field.run_validators(value)
    except ValidationError as error:
        raise CellError(" ".join(error.messages)) from None
    _refuse_outside(field, value)
    return value


def _is_text(field: Any) -> bool:
    return isinstance(field, models.CharField | models.TextField) and not field.choices


def _empty(field: Any) -> Any:
    if isinstance(field, ArrayField) and field.blank:
        return []
    if field.null:
        return None
    if field.blank:
        return ""
    raise CellError("This must be filled.")


def _read_filled(field: Any, text: str, zone: ZoneInfo | None) -> Any:
    if isinstance(field, ArrayField):
        return _read_list(field, text)
    if field.choices:
        return _read_code(field, text.strip())
    if _is_text(field):
        return unguard(text)
    if isinstance(field, models.DateTimeField):
        return _read_moment(text.strip(), zone)
    return _reader(field)(text.strip())


def _reader(field: Any) -> Callable[[str], Any]:
    readers: dict[type, Callable[[str], Any]] = {
        models.DateField: _read_day,
        models.BooleanField: _read_yes_no,
        models.IntegerField: _read_whole,
        models.DecimalField: _read_number,
    }
    return next(read for kind, read in readers.items() if isinstance(field, kind))


def _read_list(field: Any, text: str) -> list[str]:
    codes = list(field.codes.values) if hasattr(field, "codes") else list(EXTENDED_GROUPS)
    values = [part.strip() for part in text.split(LIST_MARK)]
    for value in values:
        if value not in codes:
            raise CellError(f"{shown(value)} is not a known code.{nearest(value, codes)}")
    if len(set(values)) < len(values):
        raise CellError("A code stands here twice.")
    return values


def _read_code(field: Any, text: str) -> Any:
    codes = {str(code): code for code, _ in field.choices}
    if text in codes:
        return codes[text]
    by_label = {str(label).casefold(): f" Did you mean {code}?" for code, label in field.choices}
    hint = by_label.get(text.casefold()) or nearest(text, list(codes))
    raise CellError(f"{shown(text)} is not a known code.{hint}")


def _read_moment(text: str, zone: ZoneInfo | None) -> datetime:
    match = _MOMENT.fullmatch(text)
    if not match:
        raise CellError(f"{shown(text)} is not a time such as 2025-03-04T14:30Z or 2025-03-04T14:30+01:00.")
    _refuse_year(int(match[1]))
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise CellError(f"{shown(text)} does not exist in the calendar.") from None
    if moment.tzinfo is None:
        moment = _place(moment, zone)
    return moment.astimezone(UTC)


def _place(naive: datetime, zone: ZoneInfo | None) -> datetime:
    """A clock reading in its zone; refused in an hour that the clocks skip or show twice."""
    if zone is None:
        raise CellError("Write the offset from UTC, such as Z or +01:00.")
    local = naive.replace(tzinfo=zone)
    if local.utcoffset() == local.replace(fold=1).utcoffset():
        return local
    came = local.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == naive
    why = "comes twice when the clocks go back" if came else "is skipped when the clocks go forward"
    raise CellError(f"This hour {why}. Write the offset from UTC, such as +01:00.")


def _read_day(text: str) -> date:
    match = _DAY.fullmatch(text)
    if not match:
        raise CellError(f"{shown(text)} is not a day such as 2025-03-04.")
    _refuse_year(int(match[1]))
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CellError(f"{shown(text)} does not exist in the calendar.") from None


def _refuse_year(year: int) -> None:
    if not EARLIEST_YEAR <= year < LATEST_YEAR:
        raise CellError(f"The year {year} is outside {EARLIEST_YEAR} to {LATEST_YEAR - 1}.")


def _read_yes_no(text: str) -> bool:
    try:
        return {"yes": True, "no": False}[text.casefold()]
    except KeyError:
        raise CellError(f"{shown(text)} is neither yes nor no.") from None


def _read_whole(text: str) -> int:
    if not _WHOLE.fullmatch(text):
        raise CellError(f"{shown(text)} is not a whole number.")
    return int(text)


def _read_number(text: str) -> Decimal:
    if not _NUMBER.fullmatch(text):
        hint = " Write the decimal point as a point." if "," in text else ""
        raise CellError(f"{shown(text)} is not a number.{hint}")
    return Decimal(text)


def _refuse_outside(field: Any, value: Any) -> None:
    hard = getattr(field, "hard", None)
    if hard and value is not None and not hard[0] <= value <= hard[1]:
        unit = f" {field.unit}" if field.unit else ""
        raise CellError(f"{value}{unit} is outside {hard[0]} to {hard[1]}{unit}.")
