"""Headings below titles, in two rows with merged parents, or without any."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.spreadsheet.header import find_grid, plain
from registry.spreadsheet.limits import RefusedFile, Row
from registry.spreadsheet.workbook import Area


def rows(*lines: list[Any]) -> list[Row]:
    return [
        (number, line) for number, line in enumerate(lines, start=1) if any(cell is not None for cell in line)
    ]


def headings(*lines: list[Any], merged: list[Area] | None = None) -> list[str]:
    return find_grid(rows(*lines), merged or []).headings


def test_headings_in_the_first_row() -> None:
    grid = find_grid(rows(["Study no", "Route"], ["A-1", 3], ["A-2", 4]), [])
    assert (grid.headings, grid.header_row) == (["Study no", "Route"], 1)
    assert grid.rows == [(2, ["A-1", 3]), (3, ["A-2", 4])]


def test_a_title_merged_over_everything_is_no_heading() -> None:
    assert headings(["Log 2025", None, None], ["A", "B", "C"], [1, 2, 3], merged=[(1, 1, 3, 1)]) == [
        "A",
        "B",
        "C",
    ]


def test_a_merged_parent_is_joined_to_its_children() -> None:
    parents, children = ["Insertion", None, "Removal", None, "Lot"], ["Date", "Time", "Date", "Time", None]
    merged = [(1, 1, 2, 1), (3, 1, 4, 1), (5, 1, 5, 2)]
    assert headings(parents, children, [1, 2, 3, 4, 5], merged=merged) == [
        "Insertion / Date",
        "Insertion / Time",
        "Removal / Date",
        "Removal / Time",
        "Lot",
    ]


def test_a_parent_row_whose_merges_were_lost_is_carried_to_the_right() -> None:
    found = headings(
        ["Insertion", None, "Removal", None], ["Date", "Time", "Date", "Time"], ["1", "2", "3", "4"]
    )
    assert found == ["Insertion / Date", "Insertion / Time", "Removal / Date", "Removal / Time"]


def test_equal_headings_are_told_apart() -> None:
    assert headings(["Date", "Date", "Date"], [1, 2, 3]) == ["Date", "Date (2)", "Date (3)"]


def test_a_column_without_a_heading_has_a_number() -> None:
    assert headings(["A", "B", None, "D"], [1, 2, 3, 4]) == ["A", "B", "Column 3", "D"]


def test_an_empty_column_without_a_heading_is_left_out() -> None:
    assert headings(["A", None, "C"], [1, None, 3]) == ["A", "C"]


def test_a_note_below_the_table_is_passed_over_and_named() -> None:
    assert find_grid(rows(["A", "B"], [1, 2], [None, None], ["a remark"]), []).passed_over == [4]


@pytest.mark.parametrize("lines", [[], [["A", "B"]], [[1, 2], [3, 4]], [["A"], ["1"]]])
def test_what_has_no_headings_or_rows_is_refused(lines: list[list[Any]]) -> None:
    with pytest.raises(RefusedFile):
        find_grid(rows(*lines), [])


def test_spaces_and_invisible_marks_do_not_count() -> None:
    assert plain(" Study\u00a0\u200b no\n") == "Study no"


CELLS = st.none() | st.text(min_size=1, max_size=8) | st.integers(0, 99) | st.just({"date": "2025-03-04"})


@given(st.lists(st.lists(CELLS, min_size=1, max_size=6), max_size=8))
def test_any_sheet_is_split_or_refused(lines: list[list[Any]]) -> None:
    try:
        grid = find_grid(rows(*lines), [])
    except RefusedFile:
        return
    assert len(set(grid.headings)) == len(grid.headings)
    assert all(len(cells) == len(grid.headings) for _, cells in grid.rows)
