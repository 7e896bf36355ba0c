"""Labels written by the HIBC supplier labelling standard (ANSI/HIBC 2).

Structure as described in the BWIPP project's notes on HIBC data structures; no maintained Python library
reads all of it. A primary code names the product, a secondary one the item; they stand apart, each with its
own check character, or joined by a slash with one.
"""

from __future__ import annotations

import calendar
import re
from dataclasses import replace
from datetime import date, datetime, timedelta

from registry.barcodes.label import DeviceLabel, UnreadableLabel

CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"
_PRIMARY = re.compile(r"(?P<maker>[A-Z][A-Z0-9]{3})(?P<product>[A-Z0-9]{1,18})(?P<unit>[0-9])", re.ASCII)
_FURTHER = re.compile(r"(?P<kind>S|14D|16D|Q)(?P<value>.+)")
LONGEST_LOT = 20
# Digits of the date behind its format digit. Formats 0 and 1 are the first digit of the month itself.
_DATE_DIGITS = {"0": 4, "1": 4, "2": 6, "3": 6, "4": 8, "5": 5, "6": 7, "7": 0}
_QUANTITY_DIGITS = {"8": 2, "9": 5}


def check_character(text: str) -> str:
    """The character at the place of the sum of all places, modulo 43. ``text`` begins with its ``+``.

    Raises ValueError if a character is not of the set.
    """
    return CHARACTERS[sum(CHARACTERS.index(char) for char in text) % 43]


def read(code: str, *, raw: str) -> DeviceLabel:
    """Read a primary, secondary or joined code, its stars allowed. Raises UnreadableLabel."""
    text = code.strip("*").upper()
    if any(char not in CHARACTERS for char in text):
        raise UnreadableLabel("This holds characters that no HIBC label has. Scan it again.")
    body = _checked(text)
    label = DeviceLabel(system="HIBC", raw=raw)
    if body[1] in "$0123456789":
        return _secondary(label, body[1:-1])  # its last character links it to the primary code
    primary, *parts = body[1:].split("/")
    label = replace(label, identifier=_identifier(primary))
    return _joined(label, parts)


def _checked(text: str) -> str:
    """The text without its check character, which may be a space."""
    body, check = text[:-1], text[-1:]
    if len(body) < 3 or check_character(body) != check:
        raise UnreadableLabel("The check character does not fit. Scan it again or compare it.")
    return body


def _identifier(primary: str) -> str:
    if not _PRIMARY.fullmatch(primary):
        raise UnreadableLabel(f"{primary} is not the code of a maker and product.")
    return primary


def _joined(label: DeviceLabel, parts: list[str]) -> DeviceLabel:
    for place, part in enumerate(parts):
        further = _FURTHER.fullmatch(part)
        if place == 0 and part[:1] in tuple("$0123456789") and not further:
            label = _secondary(label, part)
        elif further:
            label = _with_further(label, further["kind"], further["value"])
        else:
            raise UnreadableLabel(f"The part “{part}” of this label was not understood.")
    return label


def _with_further(label: DeviceLabel, kind: str, value: str) -> DeviceLabel:
    if kind == "S":
        return replace(label, serial=_short(value))
    if kind == "14D":
        return replace(label, expires_on=_day(value, "%Y%m%d"))
    if kind == "16D":
        return replace(label, made_on=_day(value, "%Y%m%d"))
    return label  # a quantity says nothing about this item


def _secondary(label: DeviceLabel, text: str) -> DeviceLabel:
    for mark, name, dated in (("$$+", "serial", True), ("$$", "lot", True), ("$+", "serial", False)):
        if text.startswith(mark):
            rest = text[len(mark) :]
            expires_on, value = _dated(rest) if dated else (None, rest)
            label = replace(label, expires_on=expires_on)
            return replace(label, **{name: _short(value)})  # type: ignore[arg-type] # lot or serial
    if text.startswith("$"):
        return replace(label, lot=_short(text[1:]))
    if not re.match(r"\d{5}", text, re.ASCII):
        raise UnreadableLabel(f"The date in “{text}” was not understood.")
    return replace(label, expires_on=_year_and_day(text[:5]), lot=_short(text[5:]))


def _short(value: str) -> str:
    if len(value) > LONGEST_LOT:
        raise UnreadableLabel(f"{value} is longer than a lot or serial number can be ({LONGEST_LOT}).")
    return value


def _dated(text: str) -> tuple[date | None, str]:
    """The expiry date at the front, after a quantity if there is one, and the lot or serial behind it."""
    quantity = _QUANTITY_DIGITS.get(text[:1])
    if quantity:
        if not re.match(rf"\d{{{quantity + 1}}}", text, re.ASCII):
            raise UnreadableLabel("The quantity on this label was not understood.")
        text = text[1 + quantity :]
    if not text or text[0] not in _DATE_DIGITS:
        return None, text
    mark = text[0]
    start = 0 if mark in "01" else 1
    end = start + _DATE_DIGITS[mark]
    digits = text[start:end]
    if len(digits) < _DATE_DIGITS[mark] or (digits and not re.fullmatch(r"\d+", digits, re.ASCII)):
        raise UnreadableLabel("The expiry date on this label was not understood.")
    return _expiry(mark, digits), text[end:]


def _expiry(mark: str, digits: str) -> date | None:
    if mark == "7":
        return None
    if mark in "01":
        return _end_of_month(digits)
    if mark in "56":
        return _year_and_day(digits[:5])
    return _day(_full_year(digits[4:6]) + digits[:4] if mark == "2" else _full_year(digits[:2]) + digits[2:6])


def _end_of_month(digits: str) -> date:
    """MMYY: the last day of the month (project convention; the label names no day)."""
    first = _day(f"{_full_year(digits[2:])}{digits[:2]}01")
    return first.replace(day=calendar.monthrange(first.year, first.month)[1])


def _year_and_day(digits: str) -> date:
    """YYJJJ: the day of the year."""
    year, number = int(_full_year(digits[:2])), int(digits[2:5])
    day = date(year, 1, 1) + timedelta(days=number - 1)
    if number < 1 or day.year != year:
        raise UnreadableLabel(f"The year {year} has no day {number}.")
    return day


def _full_year(two_digits: str) -> str:
    """The year within 50 years of now, as in the GS1 General Specifications (from memory)."""
    now = date.today().year  # noqa: DTZ011 - the year alone
    year = now - now % 100 + int(two_digits)
    gap = year - now
    return str(year - 100 if gap >= 51 else year + 100 if gap <= -50 else year)


def _day(digits: str, form: str = "%Y%m%d") -> date:
    try:
        if not re.fullmatch(r"\d{8}", digits, re.ASCII):
            raise ValueError
        return datetime.strptime(digits, form).date()  # noqa: DTZ007 - a calendar day
    except ValueError:
        raise UnreadableLabel(f"The date {digits} does not exist.") from None
