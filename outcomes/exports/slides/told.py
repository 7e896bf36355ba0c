"""What the slides say in words: findings as titles, methods and counts as notes."""

from __future__ import annotations

from collections.abc import Iterable

from outcomes.exports.material import CAUTION, Material
from outcomes.figures import Chart
from outcomes.measures.scope import ROUTE_LABELS
from outcomes.measures.values import Figure
from outcomes.wording import HIDDEN, count, lower_first, show
from registry.choices import RouteGroup

ARMS = (RouteGroup.AXILLARY.value, RouteGroup.FEMORAL.value)
NOT_COMPUTED = "–"
HIDDEN_COUNT = "hidden"
TOO_FEW = "hidden, as counts are small"


def cell(figure: Figure | None) -> str:
    """A figure for a table: ``42%, 5/12 (19 to 68%)``."""
    if figure is None:
        return NOT_COMPUTED
    shown = show(figure)
    if not shown.value:
        return shown.absent
    limits = f" ({shown.limits})" if shown.limits else ""
    return f"{shown.value}{f', {shown.of}' if shown.of else ''}{limits}"


def two_lines(figure: Figure | None) -> str:
    """A figure for a narrow column: the limits stand below."""
    return cell(figure).replace(" (", "\n(")


def of_routes(material: Material, measure: str, item: str, unit: str) -> str:
    """``5/12 axillary and 2/10 femoral patients``: what both routes are out of."""
    known = [f for group in ARMS if (f := material.figures.get(f"{measure}/{group}/{item}"))]
    if known and all(figure.note == HIDDEN for figure in known):
        return TOO_FEW
    said = [f"{_of(figure)} {ROUTE_LABELS[figure.group].lower()}" for figure in known]
    return f"{' and '.join(said)} {unit}"


def _of(figure: Figure) -> str:
    shown = show(figure)
    return shown.of or shown.value or shown.absent


def flow_finding(material: Material) -> str:
    """How many attempts ended as intended."""
    placed = material.figures.get("flow.attempted/ALL/placed")
    if placed is not None and placed.note == HIDDEN:
        return f"Attempts that placed a pump by the intended route: {TOO_FEW}"
    if placed is None or not placed.denominator:
        return "Nothing was attempted in the period"
    of = f"{count(placed.numerator)} of {count(placed.denominator)}"
    return f"{of} attempts placed a pump by the intended route"


def glance_finding(material: Material) -> str:
    """How much happened."""
    patients = show(material.figures["volume.begun/ALL/patients"])
    days = show(material.figures["volume.in_place/ALL/device-days"])
    begun = patients.value or "a few"
    said = f"{begun} {'patient' if begun == '1' else 'patients'} begun"
    return f"{said}, {days.value} device-days of support" if days.value else said


def dwell_finding(material: Material) -> str:
    """Median time in place: as its chart says, or over all routes where the curves are hidden."""
    chart = material.charts.get("chart-dwell")
    if chart:
        return chart.finding.rstrip(".")
    median = material.figures.get("dwell.run/ALL/median")
    if median is None or not material.smallest_cell:
        return "No run was begun in the period"
    shown = show(median)
    return f"Median time one catheter stays in: {shown.value or TOO_FEW}"


def complications_finding(material: Material) -> str:
    """Patients with any complication, by route."""
    return f"Any complication: {of_routes(material, 'complications', 'ANY/patients', 'patients')}"


def devices_finding(material: Material) -> str:
    """Patients repositioned and patients with a kink, by route."""
    moved = of_routes(material, "repositions", "REPOSITION/patients", "patients")
    kinks = of_routes(material, "complications", "KINK_MALFUNCTION/patients", "patients")
    return f"Repositioned: {moved}; kink or malfunction: {kinks}"


def outcomes_finding(material: Material) -> str:
    """Courses that were a bridge."""
    return f"Bridged to any therapy: {of_routes(material, 'success', 'any', 'courses with an outcome')}"


def volume_trend_finding(material: Material) -> str:
    """Patients begun now and before."""
    return _now_and_before(material, "volume.begun/ALL/patients", "{} patients begun")


def harm_trend_finding(material: Material) -> str:
    """Complications per device-days now and before."""
    key = "complications/ALL/ANY/rate"
    return _now_and_before(material, key, "Any complication: {} per 1,000 device-days")


def _now_and_before(material: Material, key: str, phrase: str) -> str:
    """A value of this quarter, and the lowest and the highest of the quarters before."""
    *before, now = (report.figure(key) for report in material.quarters)
    said = f"{phrase.format(show(now).value or show(now).absent)} in {material.header.period}"
    known = [figure for figure in before if show(figure).value]
    ordered = sorted(known, key=lambda figure: figure.estimate or figure.numerator or 0)
    if not ordered:
        return said
    span = f"{show(ordered[0]).value} to {show(ordered[-1]).value}"
    return f"{said}; {span} in the {len(known)} quarters before"


def cases_finding(material: Material) -> str:
    """How many events are up for discussion."""
    number = len(material.cases)
    if not number:
        return "No serious complication to discuss"
    return f"{number} serious {'complication' if number == 1 else 'complications'} for discussion"


def left_out_finding(material: Material) -> str:
    """Whether anything stands outside the figures."""
    lines = material.report.left_out
    if not lines and material.smallest_cell:
        return f"Fewer than {material.smallest_cell} records, or none, were left out for any one reason"
    if not lines:
        return "No record was left out of the figures"
    total = sum(line.count for line in lines)
    return f"{total} {'record' if total == 1 else 'records'} left out, censored or counted apart"


def quality_finding(material: Material) -> str:
    """What is recorded least, and whether anything stands outside the figures."""
    asked = material.report.figures_of("quality.complete", "ALL")
    known = [figure for figure in asked if figure.estimate is not None]
    said = left_out_finding(material)
    if not known or any(figure.note == HIDDEN for figure in asked):
        return said
    least = min(known, key=lambda figure: figure.estimate or 0.0)
    if least.estimate == 1.0:
        return f"Every field asked for is complete; {lower_first(said)}"
    return f"Least complete: {lower_first(least.label)}, {show(least).of}; {lower_first(said)}"


def of_all(figure: Figure) -> str:
    """A figure as ``8/9 (89%)``, or its count."""
    shown = show(figure)
    return f"{shown.of} ({shown.value})" if shown.of and shown.value else shown.value or shown.absent


def notes(material: Material, measures: Iterable[str], charts: Iterable[Chart] = ()) -> list[str]:
    """Speaker notes: what was counted and how, with every figure of the measures."""
    lines = []
    defined = {measure.id: measure for measure in material.report.measures}
    for definition in (defined[name] for name in measures if name in defined):
        name = definition.id
        lines.append(f"{definition.title} ({definition.basis}). {definition.definition}")
        found = material.report.figures_of(name)
        lines += [f"  {f.label}, {ROUTE_LABELS[f.group].lower()}{_day(f)}: {cell(f)}" for f in found]
        methods = dict.fromkeys(f.method for f in found if f.method)
        if methods:
            lines.append(f"  Limits: {'; '.join(methods)}")
    lines += [f"{chart.label}: {chart.method}" for chart in charts if chart.method]
    return [*lines, CAUTION]


def _day(figure: Figure) -> str:
    return f", by day {count(figure.at_day)}" if figure.at_day is not None else ""
