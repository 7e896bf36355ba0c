"""The quarter as a typed workbook: figures, curves, trends, what was left out, definitions, provenance.

Texts are written as texts, so that nothing in them can be a formula (CWE-1236).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from io import BytesIO
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from outcomes.exports.archive import settled
from outcomes.exports.compared_sheets import compared_sheets
from outcomes.exports.material import CAUTION, Material
from outcomes.exports.seal import Seal
from outcomes.exports.sheet import Column, Sheet, Value
from outcomes.figures import Chart
from outcomes.measures.values import Figure
from outcomes.quarter import Section, Table
from registry.dictionary import described_models, entries

if TYPE_CHECKING:
    from xlsxwriter import Workbook

SAFE = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
}
MOMENT_FORM = "yyyy-mm-dd hh:mm"
FIGURE_COLUMNS = (
    Column("measure", "title of the measure; defined on the sheet Definitions", 34),
    Column("what", "the item counted", 34),
    Column("route", "AXILLARY, FEMORAL, OTHER, or ALL of them", 11),
    Column("at_day", "for readings of a curve: the day from time zero", 8),
    Column("n", "numerator: how many of what is in counted", 9),
    Column("counted", "the unit of n", 14),
    Column("N", "denominator, a count or device-days", 11),
    Column("out_of", "the unit of N", 14),
    Column("estimate", "in unit; a proportion lies between 0 and 1; empty: not estimable", 12),
    Column("lower", "lower limit, in unit; empty: none", 12),
    Column("upper", "upper limit, in unit; empty: none, or not reached", 12),
    Column("unit", "unit of estimate, lower and upper; of a median these are the quartiles", 22),
    Column("scale", "what a median or a mean difference is measured in", 12),
    Column("missing", "how many have no value; empty: not asked", 9),
    Column("method", "how the limits were made", 40),
    Column("note", "what a reader must know; why there is no estimate", 40),
    Column("key", "names the figure in every file of this report", 40),
)
CURVE_COLUMNS = (
    Column("curve", "what the curve shows", 34),
    Column("route", "AXILLARY, FEMORAL, OTHER, or ALL of them", 11),
    Column("day", "days from time zero; the value holds until the next day listed", 10),
    Column("estimate", "value of the curve from that day on", 12),
    Column("lower", "lower limit; empty: the method gives none", 12),
    Column("upper", "upper limit; empty: the method gives none", 12),
    Column("at_risk", "number under observation just before", 10),
    Column("method", "how the curve and its limits were made", 40),
    Column("key", "names the curve in every file of this report", 34),
)
CHART_COLUMNS = (
    Column("chart", "what is shown", 44),
    Column("series", "route", 20),
    Column("at", "quarter", 26),
    Column("value", "a value of the chart, in its own unit", 12),
    Column("lower", "lower limit; empty: none", 12),
    Column("upper", "upper limit; empty: none", 12),
    Column("out_of", "counts behind the value", 20),
    Column("method", "how the limits were made", 44),
)
LEFT_OUT_COLUMNS = (
    Column("count", "how many records", 9),
    Column("counted", "records of which kind", 16),
    Column("reason", "why", 64),
    Column("treatment", "left out, or kept but censored, or counted apart", 18),
    Column("key", "names the line in every file of this report", 34),
)
DEFINITION_COLUMNS = tuple(
    Column(name, meaning, width)
    for name, meaning, width in (
        ("id", "first part of the keys of its figures", 24),
        ("title", "as on the page", 34),
        ("basis", "which records belong to the period", 24),
        ("who_counts", "the denominator", 60),
        ("what_counts", "the numerator", 60),
        ("time_zero", "where days are counted from", 30),
        ("censoring", "censoring and competing events", 50),
        ("estimator", "function and method", 50),
        ("unit", "unit of the estimates", 24),
        ("definition", "in words", 80),
        ("source", "where it comes from", 50),
    )
)
DICTIONARY_COLUMNS = (
    Column("entity", "kind of record in the logbook", 18),
    Column("variable", "column name in exported tables", 26),
    Column("label", "as on the forms", 34),
    Column("kind", "what it holds", 16),
    Column("unit", "unit of numbers", 10),
    Column("codes", "code = label", 60),
    Column("required", "whether it may be empty", 22),
    Column("meaning", "help shown beside it", 60),
    Column("source", "where the definition comes from", 40),
)
DISCUSSED_COLUMNS = (
    Column("day", "day of support; the day of insertion is day 0", 8),
    Column("route", "route in place", 20),
    Column("kind", "kind of complication", 28),
    Column("grade", "by the published scale of that kind", 44),
    Column("state", "state now", 20),
    Column("review", "state of review", 20),
)


def workbook(material: Material, further: Sequence[Sheet] = ()) -> bytes:
    """An .xlsx file; the same material gives the same bytes.

    ``further`` sheets follow those of the figures.
    """
    from xlsxwriter import Workbook

    data = [*data_sheets(material), *further]
    sheets = [_provenance(material, data), *data, _definitions(material), _columns(data), _dictionary()]
    out = BytesIO()
    book = Workbook(out, SAFE)
    cut = material.header.data_cut
    book.set_properties(
        {
            "title": f"Balloon pump support, {material.header.period}",
            "author": ", ".join(material.header.centres),
            "comments": CAUTION,
            "created": cut.replace(tzinfo=None),
        }
    )
    for sheet in sheets:
        _write(book, sheet, zone=ZoneInfo(material.header.time_zone))
    book.close()
    return settled(out.getvalue(), cut)


def data_sheets(material: Material) -> list[Sheet]:
    """The sheets that hold figures."""
    sheets = [_section(section, material) for section in material.sections if section.parts]
    sheets.append(_curves(material))
    if material.trends:
        sheets.append(_charts(material.trends))
    if material.compared:
        sheets += compared_sheets(material.compared)
    if material.cases_shown:
        rows = tuple((c.day, c.route, c.kind, c.grade, c.state, c.review) for c in material.cases)
        sheets.append(Sheet("For discussion", DISCUSSED_COLUMNS, rows))
    left_out = tuple((x.count, x.counted, x.reason, x.treatment, x.key) for x in material.report.left_out)
    return [*sheets, Sheet("Left out", LEFT_OUT_COLUMNS, left_out)]


def _section(section: Section, material: Material) -> Sheet:
    tables = [part for part in section.parts if isinstance(part, Table)]
    measures = list(dict.fromkeys(table.measure.id for table in tables))
    rows = [
        figure_row(figure, material.report.measure(measure).title)
        for measure in measures
        for figure in material.report.figures_of(measure)
    ]
    return Sheet(section.id.replace("-", " ").capitalize(), FIGURE_COLUMNS, tuple(rows))


def figure_row(figure: Figure, title: str) -> tuple[Value, ...]:
    """A figure in the order of ``FIGURE_COLUMNS``."""
    return (
        title, figure.label, figure.group, figure.at_day, figure.numerator, figure.counted,
        figure.denominator, figure.out_of, figure.estimate, figure.lower, figure.upper, figure.unit,
        figure.scale, figure.missing, figure.method, figure.note, figure.key,
    )  # fmt: skip


def _curves(material: Material) -> Sheet:
    rows: list[tuple[Value, ...]] = []
    for curve in material.report.curves:
        name = f"{material.report.measure(curve.measure).title}: {curve.label}"
        steps = zip(curve.days, curve.estimate, curve.lower, curve.upper, curve.at_risk, strict=True)
        rows.append(
            (name, curve.group, 0.0, curve.start, None, None, curve.subjects, curve.method, curve.key)
        )
        rows += [(name, curve.group, *step, curve.method, curve.key) for step in steps]
    return Sheet("Curves", CURVE_COLUMNS, tuple(rows))


def _charts(charts: Iterable[Chart]) -> Sheet:
    rows = [
        (chart.label, series.name, x, y, low, high, note, chart.method)
        for chart in charts
        for series in chart.series
        for x, y, low, high, note in zip(
            series.x, series.y, series.lower, series.upper, series.notes, strict=True
        )
    ]
    return Sheet("Quarters", CHART_COLUMNS, tuple(rows))


def _definitions(material: Material) -> Sheet:
    rows = tuple(
        tuple(str(getattr(measure, column.name)) for column in DEFINITION_COLUMNS)
        for measure in material.report.measures
    )
    return Sheet("Definitions", DEFINITION_COLUMNS, rows)


def _columns(sheets: Sequence[Sheet]) -> Sheet:
    """What every column of this workbook means."""
    rows = tuple((sheet.name, column.name, column.meaning) for sheet in sheets for column in sheet.columns)
    head = (
        Column("sheet", "name of the sheet", 22),
        Column("column", "its head", 16),
        Column("meaning", "", 80),
    )
    return Sheet("Columns", head, rows)


def _dictionary() -> Sheet:
    """What the logbook records, from which all figures come."""
    rows = tuple(
        (
            entry.entity, entry.column, entry.label, entry.kind, entry.unit,
            "; ".join(f"{code} = {label}" for code, label in entry.codes.items()),
            entry.required, entry.meaning, entry.source,
        )
        for model in described_models()
        for entry in entries(model)
    )  # fmt: skip
    return Sheet("Dictionary", DICTIONARY_COLUMNS, rows)


def _provenance(material: Material, sheets: Sequence[Sheet]) -> Sheet:
    """Where the workbook comes from; then what a sheet says of its own rows."""
    header, compared = material.header, material.compared
    whole = f"all courses of the logbook until {material.compared_until}" if compared else None
    hidden = f"counts from 1 to {material.smallest_cell - 1}" if material.smallest_cell else "none"
    rows: tuple[tuple[Value, ...], ...] = (
        ("report", "Balloon pump support"),
        ("centres", "; ".join(header.centres)),
        ("period", header.period),
        ("period starts", header.start),
        ("period ends, not included", header.end),
        ("data as of", header.data_cut),
        ("generated at", header.data_cut),
        ("read from", "the history as it stood then" if header.as_of else "the logbook as it stood then"),
        ("period had ended", "no" if header.open_at_cut else "yes"),
        ("clocks", header.time_zone),
        ("confidence level", header.level),
        ("definitions", header.definitions_version),
        ("software", header.software_version),
        ("filters", "none: all records of the centres"),
        ("hidden, with whatever would give them away", hidden),
        ("quarters compared", "; ".join(report.header.period for report in material.quarters) or None),
        ("period of the route comparison", whole),
        ("outcome of the route comparison", compared.choices.outcome if compared else None),
        *_seal(material.seal),
        *((heading.lower(), said) for heading, said in material.origin),
        *((f"rows of {sheet.name}", sheet.source) for sheet in sheets if sheet.source),
        ("caution", CAUTION),
    )
    return Sheet("Provenance", (Column("what", "", 34), Column("value", "", 90)), rows)


def _seal(seal: Seal | None) -> list[tuple[Value, ...]]:
    """What marks the workbook of an issued report."""
    if seal is None:
        return []
    return [
        ("issue of this period", seal.number),
        ("signed by", seal.signed_by),
        ("issued at", seal.issued_at),
        ("statement", seal.statement),
        ("data fingerprint", seal.fingerprint),
        ("digest of the kept text", seal.content_digest),
    ]


def _write(book: Workbook, sheet: Sheet, *, zone: ZoneInfo) -> None:
    page = book.add_worksheet(sheet.name[:31])
    head = book.add_format({"bold": True, "bottom": 1, "valign": "top"})
    moment = book.add_format({"num_format": MOMENT_FORM, "align": "left"})

    def write_moment(i: int, j: int, value: datetime) -> None:
        page.write_datetime(i, j, value.astimezone(zone).replace(tzinfo=None), moment)

    writers: dict[type, Callable[..., Any]] = {str: page.write_string, datetime: write_moment}
    for j, column in enumerate(sheet.columns):
        page.set_column(j, j, column.width)
        page.write_string(0, j, column.name, head)
    for i, row in enumerate(sheet.rows, start=1):
        for j, value in enumerate(row):
            if value is not None and value != "":
                writers.get(type(value), page.write_number)(i, j, value)
    page.freeze_panes(1, 0)
    if sheet.rows:
        page.autofilter(0, 0, len(sheet.rows), len(sheet.columns) - 1)
