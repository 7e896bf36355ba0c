"""Finding the headings of a sheet: below titles and notes, sometimes in two rows with merged parents."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from registry.spreadsheet.limits import Cell, RefusedFile, Row
from registry.spreadsheet.workbook import HEADER_DEPTH, Area

FEWEST_HEADINGS = 2
FEWEST_CELLS = 2
LONGEST_HEADING = 200
_NUMERIC = re.compile(r"[\d\s.,:;/\\<>=%+-]*")


@dataclass(frozen=True)
class Grid:
    """A table with one heading for each column, its rows as the sheet numbers them, and rows passed over."""

    headings: list[str]
    rows: list[Row]
    header_row: int
    passed_over: list[int]


def plain(text: str) -> str:
    """Text without the oddities of typing: one form of each letter, single spaces, no invisible marks."""
    normal = unicodedata.normalize("NFKC", text)
    return " ".join("".join(char for char in normal if unicodedata.category(char) != "Cf").split())


def find_grid(rows: list[Row], merged: list[Area]) -> Grid:
    """Split a sheet into headings and rows. Raises RefusedFile where no row looks like headings."""
    if not rows:
        raise RefusedFile("This sheet is empty.")
    width = max(len(cells) for _, cells in rows)
    top = [_spread(number, cells, merged, width) for number, cells in rows if number <= HEADER_DEPTH]
    first = next((place for place, cells in enumerate(top) if _are_headings(cells, width)), None)
    if first is None:
        raise RefusedFile("No row looks like headings. Put the names of the columns above the first row.")
    while first + 1 < len(top) and _is_fuller(top[first + 1], top[first], width):
        first += 1  # what stood above were parents of some columns only
    last = _last_heading_row(rows, top, first, merged)
    headings = _joined(top, first, last, width)
    body, passed_over = [], []
    for number, cells in rows[last + 1 :]:
        if sum(cell is not None for cell in cells) < FEWEST_CELLS:
            passed_over.append(number)
        else:
            body.append((number, cells + [None] * (width - len(cells))))
    if not body:
        raise RefusedFile("There is no row below the headings.")
    return _without_empty_columns(Grid(headings, body, rows[last][0], passed_over))


def _spread(number: int, cells: list[Cell], merged: list[Area], width: int) -> list[Cell]:
    """A row near the top with every merged area filled by its text; a title over everything is left out."""
    full = cells + [None] * (width - len(cells))
    for left, top, right, _ in merged:
        if top == number and right - left + 1 >= max(width - 1, 3):
            full = [None] * width
        elif top == number:
            full[left - 1 : right] = [full[left - 1]] * (min(right, width) - left + 1)
    return full


def _is_text(cell: Cell) -> bool:
    return isinstance(cell, str) and not _NUMERIC.fullmatch(cell)


def _are_headings(cells: list[Cell], width: int) -> bool:
    filled = [cell for cell in cells if cell is not None]
    enough = len(filled) >= max(FEWEST_HEADINGS, width / 2)
    return enough and all(_is_text(cell) for cell in filled)


def _is_fuller(below: list[Cell], above: list[Cell], width: int) -> bool:
    filled = [sum(cell is not None for cell in cells) for cells in (below, above)]
    return _are_headings(below, width) and filled[0] > filled[1]


def _last_heading_row(rows: list[Row], top: list[list[Cell]], first: int, merged: list[Area]) -> int:
    """The row under a merged parent belongs to the headings too."""
    number = rows[first][0]
    has_parents = any(area[1] == number and area[2] > area[0] for area in merged)
    below = first + 1
    if has_parents and below < len(top) and all(_is_text(c) for c in top[below] if c is not None):
        return below
    return first


def _joined(top: list[list[Cell]], first: int, last: int, width: int) -> list[str]:
    levels = [[plain(cell or "") for cell in top[place]] for place in range(first, last + 1)]
    if last == first and first > 0 and len(set(filter(None, levels[0]))) < len(list(filter(None, levels[0]))):
        levels.insert(0, _carried(top[first - 1]))  # a parent row whose merges were lost on the way
    headings: list[str] = []
    for place in range(width):
        words = list(dict.fromkeys(filter(None, (level[place] for level in levels))))
        heading = " / ".join(words)[:LONGEST_HEADING] or f"Column {place + 1}"
        same = sum(known == heading or known.startswith(f"{heading} (") for known in headings)
        headings.append(f"{heading} ({same + 1})" if same else heading)
    return headings


def _carried(cells: list[Cell]) -> list[str]:
    """Each text carried to the right until the next one; nothing if the row holds anything but text."""
    if not all(_is_text(cell) for cell in cells if cell is not None):
        return ["" for _ in cells]
    words, current = [], ""
    for cell in cells:
        current = plain(cell) if cell is not None else current
        words.append(current)
    return words


def _without_empty_columns(grid: Grid) -> Grid:
    kept = [
        place
        for place in range(len(grid.headings))
        if any(cells[place] is not None for _, cells in grid.rows)
        or not grid.headings[place].startswith("Column ")
    ]
    return Grid(
        [grid.headings[place] for place in kept],
        [(number, [cells[place] for place in kept]) for number, cells in grid.rows],
        grid.header_row,
        grid.passed_over,
    )
