"""The workbook: typed, explained, without formulas, the same twice."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import pytest
from openpyxl import load_workbook

from outcomes.exports.material import Material
from outcomes.exports.workbook import Column, Sheet, data_sheets, workbook
from registry.dictionary import described_models, entries

EVIL = (
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    '=HYPERLINK("http://example.org")',
    "http://example.org",
)


def opened(content: bytes) -> Any:
    return load_workbook(io.BytesIO(content))


def records(book: Any, sheet: str) -> list[dict[str, Any]]:
    """The rows of a sheet by column name."""
    head, *rows = book[sheet].values
    return [dict(zip(head, row, strict=True)) for row in rows]


def test_numbers_are_numbers_and_nothing_is_left_out(material: Material) -> None:
    book = opened(workbook(material))
    sheets = [sheet for sheet in book.sheetnames if any(cell.value == "N" for cell in book[sheet][1])]
    rows = {row["key"]: row for sheet in sheets for row in records(book, sheet)}

    for figure in material.report.figures:
        row = rows[figure.key]
        for name, value in (
            ("n", figure.numerator),
            ("N", figure.denominator),
            ("estimate", figure.estimate),
        ):
            assert row[name] == (None if value is None else pytest.approx(value, rel=1e-14))


def test_every_column_is_explained(material: Material) -> None:
    book = opened(workbook(material))
    explained = {(row["sheet"], row["column"]) for row in records(book, "Columns")}

    assert explained == {
        (sheet.name, column.name) for sheet in data_sheets(material) for column in sheet.columns
    }


def test_the_dictionary_holds_every_variable(material: Material) -> None:
    rows = records(opened(workbook(material)), "Dictionary")

    assert len(rows) == sum(len(entries(model)) for model in described_models())


def test_provenance_says_from_where_and_when(material: Material) -> None:
    told = {row["what"]: row["value"] for row in records(opened(workbook(material)), "Provenance")}

    assert told["period"] == "2026-Q3"
    assert told["data as of"] == told["generated at"]
    assert told["definitions"] == material.header.definitions_version
    assert told["software"] == material.header.software_version


@pytest.mark.parametrize("text", EVIL)
def test_no_text_becomes_a_formula_or_a_link(material: Material, text: str) -> None:
    header = replace(material.report.header, centres=(text,))
    evil = replace(material, report=replace(material.report, header=header))
    book = opened(workbook(evil, [Sheet("More", (Column("x", text),), ((text,), (-1.5,)))]))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]

    assert not any(cell.data_type == "f" or cell.hyperlink for cell in cells)
    assert book["More"]["A3"].value == -1.5


def test_a_further_sheet_stands_behind_the_figures(material: Material) -> None:
    book = opened(workbook(material, [Sheet("Runs", (Column("day", "days from insertion"),), ((3,),))]))

    assert records(book, "Runs") == [{"day": 3}]
    assert ("Runs", "day") in {(row["sheet"], row["column"]) for row in records(book, "Columns")}


def test_the_same_material_gives_the_same_bytes(material: Material) -> None:
    assert workbook(material) == workbook(material)


def test_cases_are_there_only_for_those_who_may_see_them(material: Material) -> None:
    unseen = replace(material, cases=(), cases_shown=False)

    assert "For discussion" in opened(workbook(material)).sheetnames
    assert "For discussion" not in opened(workbook(unseen)).sheetnames


def test_a_quarter_without_anything_is_a_workbook(nothing: Material) -> None:
    assert "Left out" in opened(workbook(nothing)).sheetnames
