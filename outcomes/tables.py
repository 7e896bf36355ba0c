"""Tables of a report: items by route, readings of curves by day, values by part. Nothing is computed here.

Every cell names its figure, so that the page can open it to its cases.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from outcomes.measures.base import Measure
from outcomes.measures.catalogue import MEASURES
from outcomes.measures.making import key_of
from outcomes.measures.scope import ROUTE_LABELS
from outcomes.measures.values import ALL_ROUTES, Figure
from outcomes.report import Report
from outcomes.wording import HIDDEN, SMALL, Shown, count, show

MARKS = "*†‡§¶#"
WITHOUT_LIMITS = ("median", "standard deviations")
EXPLAINED = {
    "median": "Medians with quartiles; n is those with a value.",
    "mean difference": "Changes are mean differences of n pairs.",
    "standard deviations": "The difference is standardised, axillary less femoral.",
}
IN_BOTH = (
    "A patient with pumps by two routes is counted in both columns and once in all routes, whose share can "
    "so be above both."
)
READ_OFF = "n/N counts what is known by then; the percentage allows for those not followed that long."


@dataclass(frozen=True)
class Cell:
    """One figure in a table, with its footnote mark."""

    key: str
    shown: Shown
    mark: str = ""


@dataclass(frozen=True)
class Row:
    head: str
    route: str
    cells: tuple[Cell | None, ...]


@dataclass(frozen=True)
class Table:
    """A table of one measure. ``notes`` explain the marks; ``method`` names the interval."""

    id: str
    caption: str
    unit: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    notes: tuple[tuple[str, str], ...]
    method: str
    measure: Measure

    @property
    def lines(self) -> list[tuple[Row, list[tuple[str, Cell | None]]]]:
        """Each row with its cells beside the heads of their columns."""
        return [(row, list(zip(self.columns, row.cells, strict=True))) for row in self.rows]

    @property
    def hidden(self) -> bool:
        """Whether nothing in it is shown to this reader."""
        cells = [cell for row in self.rows for cell in row.cells if cell]
        return bool(cells) and all(cell.shown.absent == SMALL for cell in cells)


class Notes:
    """Footnote marks, one for each different note of a table."""

    def __init__(self) -> None:
        self.marks: dict[str, str] = {}

    def mark(self, note: str) -> str:
        if not note:
            return ""
        return self.marks.setdefault(
            note, MARKS[len(self.marks) % len(MARKS)] * (1 + len(self.marks) // len(MARKS))
        )

    @property
    def listed(self) -> tuple[tuple[str, str], ...]:
        return tuple((mark, note) for note, mark in self.marks.items())


def item_of(figure: Figure) -> str:
    """What a figure is about, apart from its measure and route."""
    return figure.key.split("/", 2)[2]


def cell_of(figure: Figure | None, notes: Notes) -> Cell | None:
    """The figure as a cell, its note as a mark."""
    if figure is None:
        return None
    shown = show(figure)
    return Cell(figure.key, shown, notes.mark(shown.reason) if shown.value else "")


def _methods(found: Sequence[Figure]) -> str:
    return "; ".join(dict.fromkeys(f.method for f in found if f.method and f.unit not in WITHOUT_LIMITS))


def _definition(report: Report, id: str) -> Measure:
    """As the report defines it; as it is defined today where a report was kept before the measure existed.

    Such a report has no figure of it, so its table stays empty and is left away.
    """
    known = {measure.id: measure for measure in (*MEASURES, *report.measures)}
    return known[id]


def by_route(report: Report, measure: str, *, only: str = "", caption: str = "", unit: str = "") -> Table:
    """A row for each item, a column for each route group. ``only`` keeps items with that ending."""
    found = [f for f in report.figures_of(measure) if f.at_day is None and item_of(f).endswith(only)]
    groups = list(dict.fromkeys(f.group for f in found))
    notes = Notes()
    at = {(item_of(f), f.group): f for f in found}
    rows = [
        Row(at_label, "", tuple(cell_of(at.get((item, group)), notes) for group in groups))
        for item, at_label in dict.fromkeys((item_of(f), label_beside(f, found)) for f in found)
    ]
    definition = _definition(report, measure)
    return Table(
        id=f"table-{measure}{only}".replace(".", "-").replace("/", "-"),
        caption=caption or definition.title,
        unit=unit,
        columns=tuple(ROUTE_LABELS[group] for group in groups),
        rows=tuple(rows),
        notes=(*([("", IN_BOTH)] if _in_both(found) else []), *notes.listed),
        method=_methods(found),
        measure=definition,
    )


def _in_both(found: Iterable[Figure]) -> bool:
    """Whether the patients of the routes, added up, are more than all patients."""
    patients = [(f.group, item_of(f), f.denominator or 0) for f in found if f.out_of == "patients"]
    added: Counter[str] = Counter()
    for group, item, count_at_risk in patients:
        added[item] += 0 if group == ALL_ROUTES else int(count_at_risk)
    return any(group == ALL_ROUTES and added[item] > whole > 0 for group, item, whole in patients)


def label_beside(figure: Figure, others: Iterable[Figure]) -> str:
    """The label, with the unit of a rate where the same table also holds figures that are none."""
    is_rate = figure.out_of == "device-days"
    mixed = any(other.out_of != "device-days" for other in others)
    return f"{figure.label}, per 1,000 device-days" if is_rate and mixed else figure.label


def by_part(
    report: Report, measure: str, columns: Sequence[tuple[str, str, str]], *, caption: str = ""
) -> Table:
    """A row for each item of which anything is recorded; a column for each head, route group and part.

    The part is the last word of a figure's key, or empty. Items recorded in nobody are named below.
    """
    found = {f.key: f for f in report.figures_of(measure)}
    notes = Notes()
    rows, nobody = [], []
    for item, label in _items(found.values(), *columns[0][1:]) if columns else []:
        keys = [key_of(measure, group, item, *([part] if part else [])) for _, group, part in columns]
        cells = [found.get(key) for key in keys]
        if any(figure and (figure.estimate is not None or figure.note == HIDDEN) for figure in cells):
            rows.append(Row(label, "", tuple(cell_of(figure, notes) for figure in cells)))
        else:
            nobody.append(label)
    definition = _definition(report, measure)
    nothing = (Row("Nothing recorded", "", (None,) * len(columns)),) if definition in report.measures else ()
    units = {f.unit for f in found.values()} if rows else set()
    told = [("", words) for unit, words in EXPLAINED.items() if unit in units]
    told += [("", f"Recorded in nobody: {'; '.join(nobody)}.")] if nobody else []
    return Table(
        id=f"table-{measure}".replace(".", "-"),
        caption=caption or definition.title,
        unit="",
        columns=tuple(head for head, _, _ in columns),
        rows=tuple(rows) or nothing,
        notes=(*told, *notes.listed),
        method=_methods([f for f in found.values() if f.key in {c.key for r in rows for c in r.cells if c}]),
        measure=definition,
    )


def _items(figures: Iterable[Figure], group: str, part: str) -> list[tuple[str, str]]:
    """Items of one group that have the part, with their labels."""
    ending = f"/{part}" if part else ""
    own = [f for f in figures if f.group == group and f.key.endswith(ending)]
    whole = [f for f in own if part or not f.key.endswith("/difference")]
    return [(item_of(f).removesuffix(ending), f.label) for f in whole]


def by_day(report: Report, measure: str) -> Table:
    """A table with a row for each item and route, and a column for each day read off the curve."""
    found = [f for f in report.figures_of(measure) if f.at_day is not None and f.group != ALL_ROUTES]
    days = sorted({f.at_day for f in found if f.at_day is not None})
    notes = Notes()
    at = {(f.label, f.group, f.at_day): f for f in found}
    rows = [
        Row(label, group.lower(), tuple(cell_of(at.get((label, group, day)), notes) for day in days))
        for label, group in dict.fromkeys((f.label, f.group) for f in found)
    ]
    definition = _definition(report, measure)
    return Table(
        id=f"table-{measure}-days".replace(".", "-"),
        caption=f"{definition.title}, read at fixed days",
        unit="",
        columns=tuple(f"By day {count(day)}" for day in days),
        rows=tuple(rows),
        notes=(("", READ_OFF), *notes.listed),
        method=_methods(found),
        measure=definition,
    )
