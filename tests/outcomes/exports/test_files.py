"""Single figures and tables as files."""

from __future__ import annotations

import csv
import io
from xml.etree import ElementTree

import pytest
from PIL import Image

from outcomes.exports.files import COLUMNS, as_csv, chart_png, chart_svg, table_csv
from outcomes.exports.material import Material


def test_a_figure_is_a_file_of_its_own(material: Material) -> None:
    ElementTree.fromstring(chart_svg(material.charts["chart-dwell"]))


def test_a_picture_is_large_and_shows_something(material: Material) -> None:
    picture = Image.open(io.BytesIO(chart_png(material.charts["chart-dwell"])))
    colours = {colour for _, colour in picture.convert("RGB").getcolors(maxcolors=1 << 24)}

    assert picture.width == 2040
    assert (0, 0x72, 0xB2) in colours
    assert (0x1B, 0x21, 0x29) in colours or len(colours) > 50  # letters are drawn too


def test_a_table_holds_its_figures_as_computed(material: Material) -> None:
    table = material.tables["table-dwell-run"]
    rows = list(csv.DictReader(io.StringIO(table_csv(table, material).decode("utf-8-sig"))))

    assert tuple(rows[0]) == COLUMNS
    for row in rows:
        figure = material.report.figure(row["key"])
        assert row["estimate"] == ("" if figure.estimate is None else repr(figure.estimate))


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1", "\r=1", "\n=1", "'=1"])
def test_no_cell_starts_a_formula(text: str) -> None:
    file = as_csv(("x",), [[text]]).decode("utf-8-sig")
    assert list(csv.reader(io.StringIO(file, newline=""))) == [["x"], [f"'{text}"]]


def test_negative_numbers_stay_numbers() -> None:
    assert as_csv(("x",), [[-1.5], ["-"]]).decode("utf-8-sig").split() == ["x", "-1.5", "'-"]
