"""The quarter as a page: which measures stand in which section, in tables and charts.

Nothing is computed here. Every cell names its figure, so that the page can open it to its cases.
"""

from __future__ import annotations

from dataclasses import dataclass

from outcomes import figures
from outcomes.figures import Chart
from outcomes.measures.scope import ROUTE_LABELS
from outcomes.measures.values import ALL_ROUTES
from outcomes.report import Report
from outcomes.tables import Cell, Notes, Table, by_day, by_part, by_route, cell_of, item_of
from outcomes.wording import show
from registry.choices import RouteGroup

__all__ = ["Section", "Table", "key_figures", "sections"]


@dataclass(frozen=True)
class Section:
    """One heading of the page with its tables and charts in order."""

    id: str
    title: str
    purpose: str
    parts: tuple[Table | Chart, ...]


def _finding(report: Report, measure: str, item: str, phrase: str) -> str:
    """A sentence with one reading for each route: the finding above a chart."""
    said = []
    for group in (RouteGroup.AXILLARY, RouteGroup.FEMORAL):
        figure = next((f for f in report.figures_of(measure, group) if item_of(f) == item), None)
        if figure is not None:
            shown = show(figure)
            said.append(f"{ROUTE_LABELS[group].lower()} {shown.value or shown.absent}")
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


def _baseline(report: Report) -> Section:
    groups = dict.fromkeys(f.group for f in report.figures_of("baseline"))
    routes = [(ROUTE_LABELS[group], group, "") for group in groups]
    apart = ("Difference, SD", ALL_ROUTES, "difference")
    table = by_part(report, "baseline", [*routes, apart])
    purpose = "Routes are chosen for different patients: read this before comparing them."
    return Section("baseline", "Patients at the start", purpose, (table,))


def _procedure(report: Report) -> Section:
    groups = dict.fromkeys(f.group for f in report.figures_of("procedure"))
    table = by_part(report, "procedure", [(ROUTE_LABELS[group], group, "") for group in groups])
    purpose = "Every pump placed here, exchanges included."
    return Section("procedure", "Placing the pump", purpose, (table,))


def _on_support(report: Report) -> Section:
    routes = dict.fromkeys(f.group for f in report.figures_of("support.early") if f.group != ALL_ROUTES)
    changes = [(f"Change, {ROUTE_LABELS[group].lower()}", group, "change") for group in (ALL_ROUTES, *routes)]
    parts = tuple(
        by_part(report, measure, [("Before", ALL_ROUTES, "before"), (later, ALL_ROUTES, "after"), *changes])
        for measure, later in (("support.early", "24 to 72 h"), ("support.last", "Last"))
    )
    purpose = "Only patients measured before and on the pump, so the same patients stand on both sides."
    return Section("on-support", "Before and on support", purpose, parts)


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
        x_title="Share of patients",
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
        finding=_finding(report, "repositions.mean", "day-7", "Mean repositions of a run by day 7"),
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
    for item, phrase, words in (
        ("out-of-bed", "Out of bed by day 3", "getting out of bed"),
        ("walk", "First walk by day 3", "the first walk"),
    ):
        curves = [c for c in report.curves_of("mobilisation.course") if c.key.endswith(f"/{item}")]
        charts.append(
            figures.steps(
                curves,
                id=f"chart-{item}",
                finding=_finding(report, "mobilisation.course", f"{item}/day-3", phrase),
                label=f"Cumulative incidence of {words}, by first route (the route of the first pump)",
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
    courses = f"{total} course{'' if total == 1 else 's'}"
    return figures.stack(
        curves,
        id=f"chart-bridge-{route}",
        finding=f"{ROUTE_LABELS[group]} first, {courses}: {_led_to(report, group)}.",
        label=f"Stacked cumulative incidence of outcomes, first route {route}",
        x_max=max((c.last_day for c in every), default=1.0),
    )


def _led_to(report: Report, group: str) -> str:
    """What the courses of a route had come to by day 30, the ways nobody took left out."""
    found = [f for f in report.figures_of("bridge", group) if item_of(f).endswith("/day-30") and f.numerator]
    said = [f"{f.label[0].lower()}{f.label[1:]} {show(f).value or show(f).absent}" for f in found]
    return f"by day 30 {', '.join(said)}" if said else "nothing known by day 30"


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


def _after_therapy(report: Report) -> Section:
    charts = [
        figures.steps(
            [c for c in report.curves_of("after.survival") if c.key.endswith(f"/{item}")],
            id=f"chart-after-{item}",
            finding=_finding(report, "after.survival", f"{item}/day-30", f"Alive 30 days after {words}"),
            label=f"Share alive by days from {words}, by first route",
            y_title="Alive",
            x_title=f"Days from {words}",
        )
        for item, words in (("transplant", "transplant"), ("durable", "durable pump"))
    ]
    recovered = by_route(report, "after.recovery")
    return Section(
        "after-therapy",
        "After transplant or durable pump",
        "Conditional on the therapy: those who never had it are not in it.",
        (*charts, by_day(report, "after.survival"), recovered),
    )


def _quality(report: Report) -> Section:
    parts = (by_route(report, "quality.complete"), by_route(report, "quality.events"))
    return Section("quality", "Data quality", "How far the other figures can be trusted.", parts)


def sections(report: Report, *, quality_first: bool = False) -> tuple[Section, ...]:
    """The page from top to bottom; a table without rows and a chart without points are left away.

    Data quality closes the page, or opens it, as committees are used to (common practice, no source).
    """
    made = (
        _flow, _baseline, _volume, _procedure, _on_support, _dwell, _complications, _devices, _mobilisation,
        _outcomes, _after_therapy, _quality,
    )  # fmt: skip
    ordered = (_quality, *made[:-1]) if quality_first else made
    return tuple(_filled(make(report)) for make in ordered)


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
    notes = Notes()
    cells = [(label, cell_of(known.get(key), notes)) for label, key in KEY_FIGURES]
    return [(label, cell) for label, cell in cells if cell]
