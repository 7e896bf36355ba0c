"""Error bars, which the library does not have: they go into the chart, their numbers into its workbook."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any

from lxml import etree
from pptx.oxml.ns import qn

from outcomes.exports.slides.dress import (
    C,
    child,
)
from outcomes.exports.slides.template import INK
from outcomes.figures import Series

Errors = tuple[list[float], list[float]]


def errors_of(series: Series, rows: Sequence[str], top: float) -> Errors:
    """Distances to the upper and to the lower limit of each row."""
    plus, minus = [0.0] * len(rows), [0.0] * len(rows)
    for x, y, low, high in zip(series.x, series.y, series.lower, series.upper, strict=True):
        at = rows.index(str(x))
        if low is not None or high is not None:
            plus[at] = max((top if high is None else high) - y, 0.0)
            minus[at] = max(y - (low if low is not None else y), 0.0)
    return plus, minus


def error_bars(plotted: Any, errors: Errors, *, column: int) -> None:
    """Write error bars with their numbers into a series, pointing at the columns from ``column`` on."""
    bars = etree.Element(f"{{{C}}}errBars")
    child(bars, "errBarType", "both")
    child(bars, "errValType", "cust")
    child(bars, "noEndCap", "0")
    for at, (side, values) in enumerate(zip(("plus", "minus"), errors, strict=True)):
        letter = chr(ord("A") + column + at)
        reference = etree.SubElement(etree.SubElement(bars, f"{{{C}}}{side}"), f"{{{C}}}numRef")
        etree.SubElement(reference, f"{{{C}}}f").text = f"Sheet1!${letter}$2:${letter}${len(values) + 1}"
        cache = etree.SubElement(reference, f"{{{C}}}numCache")
        etree.SubElement(cache, f"{{{C}}}formatCode").text = "General"
        child(cache, "ptCount", str(len(values)))
        for i, value in enumerate(values):
            point = etree.SubElement(cache, f"{{{C}}}pt", idx=str(i))
            etree.SubElement(point, f"{{{C}}}v").text = repr(value)
    look = etree.SubElement(bars, f"{{{C}}}spPr")
    line = etree.SubElement(look, qn("a:ln"), w="15875")
    etree.SubElement(etree.SubElement(line, qn("a:solidFill")), qn("a:srgbClr"), val=str(INK))
    plotted._element.find(qn("c:cat")).addprevious(bars)


def write_workbook(
    drawn: Any,
    rows: list[str],
    series: Sequence[Series],
    values: list[dict[str, float]],
    errors: list[Errors],
) -> None:
    """The sheet behind the chart: values, then for each series the distances to its limits."""
    from xlsxwriter import Workbook

    out = BytesIO()
    book = Workbook(out, {"in_memory": True})
    sheet = book.add_worksheet("Sheet1")
    columns: list[tuple[str, Sequence[float | None]]] = [
        (s.name, [known.get(row) for row in rows]) for s, known in zip(series, values, strict=True)
    ]
    for s, (plus, minus) in zip(series, errors, strict=True):
        columns += [(f"{s.name}, to upper limit", plus), (f"{s.name}, to lower limit", minus)]
    sheet.write_column(1, 0, rows)
    for at, (name, column) in enumerate(columns, start=1):
        sheet.write_string(0, at, name)
        sheet.write_column(1, at, column)
    book.close()
    drawn.part.chart_workbook.update_from_xlsx_blob(out.getvalue())
