"""Single figures as SVG and PNG, single tables as CSV."""

from __future__ import annotations

import csv
import io
import logging
import tempfile
from functools import lru_cache
from pathlib import Path

from django.conf import settings

from outcomes.exports.drawing import draw
from outcomes.exports.material import Material
from outcomes.figures import Chart
from outcomes.measures.values import Figure
from outcomes.quarter import Table
from registry.tables.cells import guard

FONT = Path("static/fonts/source-sans-3-latin-wght-normal.woff2")
FAMILY, WEIGHT = "Source Sans 3", 400
PNG_WIDTH_PIXELS = 2040  # three times the drawing: sharp on paper at the width of a column
COLUMNS = (
    *("what", "route", "at_day", "unit", "scale", "missing", "numerator", "denominator", "estimate"),
    *("lower", "upper", "method", "note", "key"),
)


def chart_svg(chart: Chart) -> bytes:
    """The chart as a file of its own."""
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{draw(chart)}\n'.encode()


def chart_png(chart: Chart) -> bytes:
    """The chart as a picture on white, without a browser."""
    import resvg_py

    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=draw(chart),
            width=PNG_WIDTH_PIXELS,
            background="white",
            font_dirs=[_font_folder()],
            skip_system_fonts=True,
            font_family=FAMILY,
            sans_serif_family=FAMILY,
        )
    )


@lru_cache(maxsize=1)
def _font_folder() -> str:
    """Our font in the plain form the renderer reads, made once in two seconds."""
    from fontTools.ttLib import TTFont
    from fontTools.varLib.instancer import instantiateVariableFont

    logging.getLogger("fontTools").setLevel(logging.WARNING)
    folder = Path(tempfile.mkdtemp(prefix="fonts-"))
    font = instantiateVariableFont(TTFont(settings.BASE_DIR / FONT), {"wght": WEIGHT})
    font["OS/2"].usWeightClass = WEIGHT
    for record in (1, 16):  # the drawings ask for the family by this name
        font["name"].setName(FAMILY, record, 3, 1, 0x409)
    font.flavor = None
    font.save(folder / "regular.ttf")
    return str(folder)


def table_csv(table: Table, material: Material) -> bytes:
    """The figures of a table, one a line, numbers as computed; UTF-8 with a mark that spreadsheets know."""
    keys = [cell.key for row in table.rows for cell in row.cells if cell]
    return as_csv(COLUMNS, [figure_cells(material.figures[key]) for key in keys])


def figure_cells(figure: Figure) -> list[str | float | None]:
    """A figure as the cells of ``COLUMNS``."""
    return [
        figure.label, figure.group, figure.at_day, figure.unit, figure.scale, figure.missing,
        figure.numerator, figure.denominator, figure.estimate, figure.lower, figure.upper, figure.method,
        figure.note, figure.key,
    ]  # fmt: skip


def as_csv(head: tuple[str, ...], rows: list[list[str | float | None]]) -> bytes:
    """Comma-separated values that no spreadsheet takes for formulas."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(head)
    writer.writerows([[guard(cell) if isinstance(cell, str) else cell for cell in row] for row in rows])
    return out.getvalue().encode("utf-8-sig")
