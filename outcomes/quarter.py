"""The quarter as a page: which measures stand in which section, in tables and charts.

Nothing is computed here. Every cell names its figure, so that the page can open it to its cases.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from outcomes import figures
from outcomes.figures import Chart
from outcomes.measures.base import Measure
from outcomes.measures.scope import ROUTE_LABELS
from outcomes.measures.values import ALL_ROUTES, Figure
from outcomes.report import Report
from outcomes.wording import Shown, count, show
from registry.choices import RouteGroup

MARKS = "*†‡§¶#"
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


@dataclass(frozen=True)
class Section:
    """One heading of the page with its tables and charts in order."""

    id: str
    title: str
    purpose: str
    parts: tuple[Table | Chart, ...]


class _Notes:
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


def _item(figure: Figure) -> str:
    """What a figure is about, apart from its measure and route."""
    return figure.key.split("/", 2)[2]


def _cell(figure: Figure | None, notes: _Notes) -> Cell | None:
    if figure is None:
        return None
    shown = show(figure)
    return Cell(figure.key, shown, notes.mark(shown.reason) if shown.value else "")


def _methods(found: Sequence[Figure]) -> str:
    return "; ".join(dict.fromkeys(figure.method for figure in found if figure.method))


def by_route(report: Report, measure: str, *, only: str = "", caption: str = "", unit: str = "") -> Table:
    """A row for each item, a column for each route group. ``only`` keeps items with that ending."""
    found = [f for f in report.figures_of(measure) if f.at_day is None and _item(f).endswith(only)]
    groups = list(dict.fromkeys(f.group for f in found))
    notes = _Notes()
    at = {(_item(f), f.group): f for f in found}
    rows = [
        Row(at_label, "", tuple(_cell(at.get((item, group)), notes) for group in groups))
        for item, at_label in dict.fromkeys((_item(f), f.label) for f in found)
    ]
    definition = report.measure(measure)
    return Table(
        id=f"table-{measure}{only}".replace(".", "-").replace("/", "-"),
        caption=caption or definition.title,
        unit=unit,
        columns=tuple(ROUTE_LABELS[group] for group in groups),
        rows=tuple(rows),
        notes=notes.listed,
        method=_methods(found),
        measure=definition,
    )


def by_day(report: Report, measure: str) -> Table:
    """A table with a row for each item and route, and a column for each day read off the curve."""
    found = [f for f in report.figures_of(measure) if f.at_day is not None and f.group != ALL_ROUTES]
    days = sorted({f.at_day for f in found if f.at_day is not None})
    notes = _Notes()
    at = {(f.label, f.group, f.at_day): f for f in found}
    rows = [
        Row(label, group.lower(), tuple(_cell(at.get((label, group, day)), notes) for day in days))
        for label, group in dict.fromkeys((f.label, f.group) for f in found)
    ]
    definition = report.measure(measure)
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


def _finding(report: Report, measure: str, item: str, phrase: str) -> str:
    """A sentence with one reading for each route: the finding above a chart."""
    said = []
    for group in (RouteGroup.AXILLARY, RouteGroup.FEMORAL):
        figure = next((f for f in report.figures_of(measure, group) if _item(f) == item), None)
        if figure is not None:
            shown = show(figure)
            said.append(f"{ROUTE_LABELS[group].lower()} {shown.value or 'not estimable'}")
    return f"{phrase}: {', '.join(said)}." if said else phrase


def _flow(report: Report) -> Section:
    parts = (by_route(report, "flow.considered"), by_route(report, "flow.attempted"))
    return Section("flow", "Considered, attempted, placed", "Who stands behind the figures below.", parts)


def _volume(report: Report) -> Section:
    parts = (
        by_route(report, "volume.begun"),
        by_route(report, "volume.in_place"),
        by_route(report, "volume.balloon"),
    )
    return Section(
        "volume", "Patients, courses, runs and device-days", "An exchange is a run, never a patient.", parts
    )


def _dwell(report: Report) -> Section:
    chart = figures.steps(
        report.curves_of("dwell.run"),
        id="chart-dwell",
        finding=_finding(report, "dwell.run", "median", "Median time one catheter stays in"),
        label="Share of balloon pump runs still in place by days from insertion",
        y_title="Still in place",
    )
    parts = (chart, by_route(report, "dwell.run"), by_route(report, "dwell.course"))
    return Section("dwell", "Dwell", "Those still in place are kept and censored at the data cut.", parts)


def _complications(report: Report) -> Section:
    chart = figures.dots(
        [f for f in report.figures_of("complications") if f.unit == "proportion" and f.group != ALL_ROUTES],
        id="chart-complications",
        finding=_finding(report, "complications", "ANY/patients", "Patients with any complication"),
        label="Share of patients with each complication by route, with 95% limits",
        x_title="Patients with the complication",
    )
    parts: list[Table | Chart] = [
        chart,
        by_route(report, "complications", only="/patients", caption="Patients with the complication"),
        by_route(report, "complications", only="/rate", caption="Events per 1,000 device-days"),
        by_route(report, "complications.late"),
    ]
    return Section(
        "complications",
        "Complications",
        "Patients at risk and device-days are different denominators.",
        tuple(parts),
    )


def _devices(report: Report) -> Section:
    chart = figures.steps(
        report.curves_of("repositions.mean"),
        id="chart-repositions",
        finding="Repositions a run has had on average, by day in place.",
        label="Mean number of repositions per run by days in place",
        y_title="Repositions per run",
        percent=False,
    )
    names = ("repositions", "faults", "exchanges", "crossovers", "films")
    return Section(
        "devices",
        "Repositions, kinks and exchanges",
        "Patients and events in separate columns: one patient may have several.",
        (chart, by_day(report, "repositions.mean"), *(by_route(report, name) for name in names)),
    )


def _mobilisation(report: Report) -> Section:
    charts: list[Table | Chart] = []
    for item, phrase in (("out-of-bed", "Out of bed by day 3"), ("walk", "First walk by day 3")):
        curves = [c for c in report.curves_of("mobilisation.course") if c.key.endswith(f"/{item}")]
        charts.append(
            figures.steps(
                curves,
                id=f"chart-{item}",
                finding=_finding(report, "mobilisation.course", f"{item}/day-3", phrase),
                label=f"Cumulative incidence: {curves[0].label.lower() if curves else item}, by first route",
                y_title="Courses",
            )
        )
    tables = [by_day(report, name) for name in ("mobilisation.course", "mobilisation.route")]
    unrecorded = by_route(report, "mobilisation.course", caption="Courses without any recorded level")
    return Section(
        "mobilisation",
        "Days to mobilisation",
        "Removal, outcome and death compete; insertion is day 0.",
        (*charts, *tables, unrecorded),
    )


def _bridge_chart(report: Report, group: str) -> Chart:
    every = [c for c in report.curves_of("bridge") if c.group != ALL_ROUTES]
    curves = [c for c in every if c.group == group]
    route = ROUTE_LABELS[group].lower()
    total = curves[0].subjects if curves else 0
    return figures.stack(
        curves,
        id=f"chart-bridge-{route}",
        finding=f"Where {total} courses led whose first route was {route}.",
        label=f"Stacked cumulative incidence of outcomes, first route {route}",
        x_max=max((c.last_day for c in every), default=1.0),
    )


def _outcomes(report: Report) -> Section:
    charts = [_bridge_chart(report, group) for group in (RouteGroup.AXILLARY, RouteGroup.FEMORAL)]
    tables = [by_route(report, name) for name in ("outcomes", "success", "intent")]
    parts: tuple[Table | Chart, ...] = (*charts, by_day(report, "bridge"), *tables)
    return Section(
        "outcomes",
        "Bridge to therapy",
        "The outcomes and those still supported add up to all courses.",
        parts,
    )


def sections(report: Report) -> tuple[Section, ...]:
    """The page from top to bottom; a table without rows and a chart without points are left away."""
    made = (_flow, _volume, _dwell, _complications, _devices, _mobilisation, _outcomes)
    return tuple(_filled(make(report)) for make in made)


def _filled(section: Section) -> Section:
    kept = tuple(p for p in section.parts if (p.rows if isinstance(p, Table) else not p.empty))
    return Section(section.id, section.title, section.purpose, kept)


KEY_FIGURES = (
    ("Patients begun", "volume.begun/ALL/patients"),
    ("Device-days", "volume.in_place/ALL/device-days"),
    ("Median dwell of a run", "dwell.run/ALL/median"),
    ("Patients with a serious complication", "complications/ALL/SERIOUS/patients"),
    ("First walk by day 3", "mobilisation.course/ALL/walk/day-3"),
    ("Bridged to any therapy", "success/ALL/any"),
)


def key_figures(report: Report) -> list[tuple[str, Cell]]:
    """The strip on top: the figures people ask for first."""
    known = {figure.key: figure for figure in report.figures}
    notes = _Notes()
    cells = [(label, _cell(known.get(key), notes)) for label, key in KEY_FIGURES]
    return [(label, cell) for label, cell in cells if cell]
