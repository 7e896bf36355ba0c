"""Day first or month first: decided for a whole column, from what proves it or by a person."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import TextChoices

from registry.spreadsheet.limits import Cell

_NUMBERS = re.compile(r"(\d{1,2}) ?([./-]) ?(\d{1,2}) ?\2 ?(\d{4}|\d{2})(?!\d)", re.ASCII)


class DayOrder(TextChoices):
    DAY_FIRST = "DMY", "Day first: 4/3/2025 is 4 March"
    MONTH_FIRST = "MDY", "Month first: 4/3/2025 is 3 April"


@dataclass(frozen=True)
class OrderEvidence:
    """What the cells of a column say about the order of day and month.

    ``proven`` is the order if all that can prove one agree, and ``mixed`` tells that they do not.
    ``needed`` is false where no cell depends on it. ``maybe_swapped``: the texts prove an order while every
    real date could be read both ways, as after a spreadsheet has turned what it took for dates.
    """

    needed: bool
    proven: str
    mixed: bool
    maybe_swapped: bool


def evidence(cells: Iterable[Cell]) -> OrderEvidence:
    """Look through the cells of a column."""
    column = list(cells)
    pairs = [pair for cell in column if isinstance(cell, str) and (pair := _pair(cell))]
    orders = {order for one, two in pairs if (order := _order(one, two))}
    days = [int(text[8:10]) for cell in column if (text := _calendar_text(cell))]
    proven = orders.pop() if len(orders) == 1 else ""
    return OrderEvidence(
        needed=any(one != two for one, two in pairs),
        proven=proven,
        mixed=not proven and bool(orders),
        maybe_swapped=bool(proven and days) and max(days) <= 12,
    )


def _pair(text: str) -> tuple[int, int] | None:
    """The two numbers of a date whose order is open; between points the day always comes first."""
    found = _NUMBERS.match(text.strip())
    return (int(found[1]), int(found[3])) if found and found[2] != "." else None


def _order(one: int, two: int) -> str:
    """The order that one cell proves by a number above 12."""
    if one > 12:
        return DayOrder.DAY_FIRST
    return DayOrder.MONTH_FIRST if two > 12 else ""


def _calendar_text(cell: Cell) -> str:
    return (cell.get("date") or cell.get("moment") or "") if isinstance(cell, dict) else ""


def in_letters(text: str, order: str, *, this_year: int) -> str:
    """The text with a date of numbers written by points, day first, and a year of four digits.

    Years of two digits are the last hundred years. Other texts come back as they are.
    """
    found = _NUMBERS.match(text.strip())
    if not found:
        return text
    month_first = order == DayOrder.MONTH_FIRST and found[2] != "."
    one, two = (found[3], found[1]) if month_first else (found[1], found[3])
    year = int(found[4])
    if len(found[4]) == 2:
        year += this_year - this_year % 100
        year -= 100 if year > this_year + 1 else 0
    return f"{one}.{two}.{year}{text.strip()[found.end() :]}"
