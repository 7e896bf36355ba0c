"""What the slides say in words: findings as titles, methods and counts as notes."""

from __future__ import annotations

from collections.abc import Iterable

from outcomes.exports.material import CAUTION, Material
from outcomes.figures import Chart
from outcomes.measures.scope import ROUTE_LABELS
from outcomes.measures.values import Figure
from outcomes.wording import count, show
from registry.choices import RouteGroup

ARMS = (RouteGroup.AXILLARY.value, RouteGroup.FEMORAL.value)
NOT_COMPUTED = "–"


def cell(figure: Figure | None) -> str:
    """A figure for a table: ``42%, 5/12 (19 to 68%)``."""
    if figure is None:
        return NOT_COMPUTED
    shown = show(figure)
    if not shown.value:
        return "not estimable"
    limits = f" ({shown.limits})" if shown.limits else ""
    return f"{shown.value}{f', {shown.of}' if shown.of else ''}{limits}"


def two_lines(figure: Figure | None) -> str:
    """A figure for a narrow column: the limits stand below."""
    return cell(figure).replace(" (", "\n(")


def of_routes(material: Material, measure: str, item: str) -> str:
    """``5/12 axillary and 2/10 femoral``: what both routes are out of."""
    found = [material.figures.get(f"{measure}/{group}/{item}") for group in ARMS]
    said = [f"{show(f).of or show(f).value} {ROUTE_LABELS[f.group].lower()}" for f in found if f]
    return " and ".join(said)


def flow_finding(material: Material) -> str:
    """How many attempts ended as intended."""
    placed = material.figures.get("flow.attempted/ALL/placed")
    if placed is None or not placed.denominator:
        return "Nothing was attempted in the period"
    of = f"{count(placed.numerator)} of {count(placed.denominator)}"
    return f"{of} attempts placed a pump by the intended route"


def glance_finding(material: Material) -> str:
    """How much happened."""
    patients = material.figures["volume.begun/ALL/patients"]
    days = material.figures["volume.in_place/ALL/device-days"]
    begun, supported = count(patients.numerator), show(days).value
    return f"{begun} {'patient' if begun == '1' else 'patients'} begun, {supported} device-days of support"


def complications_finding(material: Material) -> str:
    """Patients with any complication, by route."""
    return f"Any complication: {of_routes(material, 'complications', 'ANY/patients')} patients"


def devices_finding(material: Material) -> str:
    """Patients repositioned and patients with a kink, by route."""
    moved = of_routes(material, "repositions", "REPOSITION/patients")
    kinks = of_routes(material, "complications", "KINK_MALFUNCTION/patients")
    return f"Repositioned: {moved} patients; kink or malfunction: {kinks}"


def outcomes_finding(material: Material) -> str:
    """Courses that were a bridge."""
    return f"Bridged to any therapy: {of_routes(material, 'success', 'any')} courses with an outcome"


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
    said = f"{phrase.format(show(now).value or 'not estimable')} in {material.header.period}"
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
    if not lines:
        return "No record was left out of the figures"
    total = sum(line.count for line in lines)
    return f"{total} {'record' if total == 1 else 'records'} left out, censored or counted apart"


def notes(material: Material, measures: Iterable[str], charts: Iterable[Chart] = ()) -> list[str]:
    """Speaker notes: what was counted and how, with every figure of the measures."""
    lines = []
    for name in measures:
        definition = material.report.measure(name)
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
