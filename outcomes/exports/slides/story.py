"""The slides in their order, each with a finding as its title."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from outcomes.exports.beside import written_span
from outcomes.exports.material import CAUTION, SHORT_CAUTION, Material
from outcomes.exports.slides import told
from outcomes.exports.slides.native import place
from outcomes.exports.slides.page import SMALL_SIZE, TABLE_SIZE, TEXT_SIZE, Box, Page
from outcomes.figures import Chart, Series
from outcomes.measures.scope import ROUTE_LABELS
from outcomes.measures.values import Figure
from outcomes.quarter import KEY_FIGURES
from outcomes.wording import count, show

WHOLE = Box(0.6, 1.5, 12.13, 5.2)
LEFT, RIGHT = Box(0.6, 1.5, 5.95, 5.2), Box(6.78, 1.5, 5.95, 5.2)
GROUPS = (*told.ARMS, "ALL")
MOST_ROWS = 9
RISK_DAYS = 7


class Story:
    """A presentation being told."""

    def __init__(self, deck: Any, material: Material) -> None:
        self.deck, self.material = deck, material
        period = written_span(material.header.period)
        self.footer = f"{period} · data as of {material.cut} · {SHORT_CAUTION}"

    def page(self, title: str, notes: Sequence[str]) -> Page:
        """The next slide."""
        return Page(self.deck, title=title, footer=self.footer, notes=notes)

    def chart(self, page: Page, id: str, box: Box) -> Chart | None:
        """Draw a chart of the material, or say that there is none."""
        chart = self.material.charts.get(id)
        if chart is None:
            page.words(box, ["Nothing to draw in this period."], soft=True)
            return None
        place(page, chart, box)
        return chart

    def figures(self, measure: str, items: Sequence[tuple[str, str]]) -> list[list[str]]:
        """Table rows: a label, then the routes and all of them."""
        return [
            [label, *(told.two_lines(self.material.figures.get(f"{measure}/{g}/{item}")) for g in GROUPS)]
            for item, label in items
        ]


HEAD = ("", *(ROUTE_LABELS[group] for group in GROUPS))


def cover(story: Story) -> None:
    header = story.material.header
    title = f"Balloon pump support, {written_span(header.period)}"
    page = Page(story.deck, title=title, footer=story.footer, notes=[CAUTION], cover=True)
    lines = [
        ", ".join(header.centres),
        f"Data as of {story.material.cut} ({header.time_zone})"
        + ("; the period has not ended, its figures will change" if header.open_at_cut else ""),
        f"Definitions {header.definitions_version} · software {header.software_version}",
    ]
    page.slide.placeholders[1].text_frame.text = ""
    page.words(Box(0.6, 4.2, 12.1, 1.4), lines, size=TEXT_SIZE)
    page.words(Box(0.6, 5.85, 12.1, 0.8), [CAUTION], size=SMALL_SIZE, soft=True)
    subtitle = page.slide.placeholders[1]._element
    subtitle.getparent().remove(subtitle)


def glance(story: Story) -> None:
    material = story.material
    page = story.page(
        told.glance_finding(material), told.notes(material, ["volume.begun", "volume.in_place"])
    )
    known = [(label, material.figures[key]) for label, key in KEY_FIGURES if key in material.figures]
    for at, (label, figure) in enumerate(known):
        column, row = at % 3, at // 3
        shown = show(figure)
        said = f"{label}{f', {shown.of}' if shown.of else ''}"
        detail = f"{said} ({shown.limits})" if shown.limits else said
        box = Box(0.6 + 4.1 * column, 1.8 + 2.3 * row, 3.93, 1.9)
        page.box(
            box, shown.value or "not estimable", detail, alt=f"{shown.value}: {detail}", label_size=TABLE_SIZE
        )


def flow(story: Story) -> None:
    material = story.material
    page = story.page(
        told.flow_finding(material),
        told.notes(material, ["flow.considered", "flow.attempted", "volume.begun"]),
    )
    values = {
        name: count(material.figures[key].numerator) if key in material.figures else "0"
        for name, key in {
            "total": "flow.considered/ALL/total",
            "candidates": "flow.considered/ALL/candidates",
            "failed": "flow.considered/ALL/failed",
            "begun": "flow.considered/ALL/begun",
            "axillary": "volume.begun/AXILLARY/courses",
            "femoral": "volume.begun/FEMORAL/courses",
            "analysed": "volume.begun/ALL/analysed",
        }.items()
    }
    boxes = {
        "total": (0.6, 1.6, "Considered"),
        "candidates": (3.7, 1.6, "Nothing attempted"),
        "failed": (3.7, 2.95, "Attempted, nothing placed"),
        "begun": (0.6, 2.95, "Courses begun"),
        "axillary": (0.6, 4.3, "First route axillary"),
        "femoral": (3.7, 4.3, "First route femoral"),
        "analysed": (0.6, 5.65, "Courses analysed"),
    }
    for name, (left, top, label) in boxes.items():
        page.box(Box(left, top, 2.6, 0.95), values[name], label, alt=f"{label}: {values[name]}")
    for start, end in (
        ((1.9, 2.55), (1.9, 2.95)),
        ((3.2, 2.07), (3.7, 2.07)),
        ((3.2, 2.3), (3.7, 3.1)),
        ((1.9, 3.9), (1.9, 4.3)),
        ((3.2, 3.75), (4.2, 4.3)),
        ((1.9, 5.25), (1.9, 5.65)),
        ((4.6, 5.25), (3.2, 6.0)),
    ):
        page.arrow(start, end)
    items = [("placed", "As intended"), ("converted", "Other route"), ("failed", "Nothing placed")]
    page.words(Box(6.6, 1.5, 6.13, 0.4), ["Attempts by intended route"], bold=True)
    page.table(
        Box(6.6, 1.95, 6.13, 2),
        HEAD,
        story.figures("flow.attempted", items),
        size=SMALL_SIZE,
        widths=(1.15, 1.6, 1.6, 1.6),
        alt="Attempts by intended route and what came of them",
    )


def volumes(story: Story) -> None:
    material = story.material
    chart = material.charts.get("chart-dwell")
    title = chart.finding.rstrip(".") if chart else "No run was begun in the period"
    page = story.page(
        title, told.notes(material, ["volume.begun", "volume.in_place", "dwell.run", "dwell.course"])
    )
    story.chart(page, "chart-dwell", Box(0.6, 1.45, 5.9, 4.0))
    risk_table(page, chart, Box(0.6, 5.5, 5.9, 1.1))
    rows = [
        *story.figures("volume.begun", [("patients", "Patients begun"), ("runs", "Runs begun")]),
        *story.figures(
            "volume.in_place", [("patients", "Patients in place"), ("device-days", "Device-days")]
        ),
        *_medians(story, "dwell.run", "Run dwell, median"),
        *_medians(story, "dwell.course", "Course dwell, median"),
        *story.figures("dwell.run", [("going-on", "Runs still in place")]),
    ]
    page.table(
        Box(6.7, 1.6, 6.03, 4),
        HEAD,
        rows,
        widths=(1.7, 1.45, 1.45, 1.45),
        size=SMALL_SIZE,
        alt="Volumes and dwell by route",
    )


def _medians(story: Story, measure: str, label: str) -> list[list[str]]:
    """A median with its quartiles, as clinicians read it."""
    cells = []
    for group in GROUPS:
        found = [story.material.figures.get(f"{measure}/{group}/{i}") for i in QUARTILES]
        cells.append(_quartiles(found))
    return [[f"{label} (quartiles)", *cells]]


QUARTILES = ("median", "quartile-1", "quartile-3")


def _quartiles(found: Sequence[Figure | None]) -> str:
    said = [show(f).value.removesuffix(" d") or "not reached" if f else "–" for f in found]
    return f"{said[0]} d\n({said[1]} to {said[2]})" if found[0] and show(found[0]).value else "not estimable"


def risk_table(page: Page, chart: Chart | None, box: Box) -> None:
    """Numbers at risk as a table below a curve."""
    known = [series for series in chart.series if series.risk_days] if chart else []
    if not known:
        return
    days = known[0].risk_days[:RISK_DAYS]
    rows = [[series.name, *(str(n) for n in series.risk_counts[: len(days)])] for series in known]
    page.table(
        box,
        ["At risk on day", *(f"{day:g}" for day in days)],
        rows,
        widths=(2, *[1] * len(days)),
        size=SMALL_SIZE,
        alt=f"Numbers at risk: {chart.label if chart else ''}",
    )


def complications(story: Story) -> None:
    material = story.material
    page = story.page(told.complications_finding(material), told.notes(material, ["complications"]))
    chart = material.charts.get("chart-complications")
    if chart is None:
        page.words(WHOLE, ["Nobody was at risk in this period."], soft=True)
        return
    shown, silent = with_events(chart)
    place(page, shown, Box(0.6, 1.45, 6.4, 4.75))
    if silent:
        page.words(
            Box(0.6, 6.15, 6.4, 0.7), [f"No event by either route: {silent}."], size=SMALL_SIZE, soft=True
        )
    items = [("ANY", "Any"), ("SERIOUS", "Any serious")]
    items += [(code, label) for code, label in _codes(material) if label in shown.series[0].x]
    rows = story.figures("complications", [(f"{code}/rate", label) for code, label in items[: MOST_ROWS - 1]])
    page.words(Box(7.2, 1.5, 5.53, 0.4), ["Events per 1,000 device-days"], bold=True)
    page.table(
        Box(7.2, 1.9, 5.53, 4),
        ("", *HEAD[1:3]),
        [row[:3] for row in rows],
        widths=(1.5, 2, 2),
        size=SMALL_SIZE,
        alt="Events per 1,000 device-days by kind and route",
    )


def _codes(material: Material) -> list[tuple[str, str]]:
    found = {f.key.split("/")[2]: f.label for f in material.report.figures_of("complications")}
    return [(code, label) for code, label in found.items() if code not in ("ANY", "SERIOUS")]


def with_events(chart: Chart) -> tuple[Chart, str]:
    """The chart without the rows that are 0 on every route, and their names; zero rows have limits too, but
    they would fill the slide.
    """
    names = list(dict.fromkeys(str(x) for series in chart.series for x in series.x))
    happened = {str(x) for s in chart.series for x, y in zip(s.x, s.y, strict=True) if y > 0}
    kept = happened or set(names[-2:])
    silent = ", ".join(name.lower() for name in names if name not in kept)
    return replace_series(chart, [_only(series, kept) for series in chart.series]), silent


def _only(series: Series, kept: set[str]) -> Series:
    rows = [i for i, x in enumerate(series.x) if str(x) in kept]
    return Series(
        name=series.name,
        group=series.group,
        x=tuple(series.x[i] for i in rows),
        y=tuple(series.y[i] for i in rows),
        lower=tuple(series.lower[i] for i in rows),
        upper=tuple(series.upper[i] for i in rows),
        notes=tuple(series.notes[i] for i in rows),
    )


def replace_series(chart: Chart, series: list[Series]) -> Chart:
    """The same chart with other series."""
    return replace(chart, series=tuple(series))


def devices(story: Story) -> None:
    material = story.material
    page = story.page(
        told.devices_finding(material),
        told.notes(material, ["repositions", "repositions.mean", "faults", "exchanges"]),
    )
    chart = story.chart(page, "chart-repositions", Box(0.6, 1.45, 5.6, 4.0))
    risk_table(page, chart, Box(0.6, 5.5, 5.6, 1.1))
    rows = [
        *story.figures(
            "repositions", [("REPOSITION/patients", "Repositioned"), ("REPOSITION/rate", "Per 1,000 days")]
        ),
        *story.figures("complications", [("KINK_MALFUNCTION/patients", "Kink, fault")]),
        *_happened(story, "faults", 3),
        *story.figures("exchanges", [("patients", "Exchanged")]),
        *_happened(story, "exchanges", 2, only="reason/"),
    ]
    page.table(
        Box(6.4, 1.6, 6.33, 4),
        HEAD,
        rows,
        widths=(1.5, 1.7, 1.7, 1.7),
        size=SMALL_SIZE - 1,
        alt="Repositionings, kinks and exchanges by route",
    )


def _happened(story: Story, measure: str, most: int, only: str = "") -> list[list[str]]:
    """The most frequent items of a measure, over all routes."""
    found = [
        figure
        for figure in story.material.report.figures_of(measure, "ALL")
        if figure.key.split("/", 2)[2].startswith(only)
        and figure.numerator
        and "/" in figure.key.split("/", 2)[2]
    ]
    found.sort(key=lambda figure: -(figure.numerator or 0))
    items = [(figure.key.split("/", 2)[2], f"of these: {figure.label.lower()}") for figure in found[:most]]
    return story.figures(measure, items)


def mobilisation(story: Story) -> None:
    material = story.material
    charts = [material.charts.get(f"chart-{item}") for item in ("walk", "out-of-bed")]
    title = " ".join(chart.finding for chart in charts if chart) or "Nobody was followed to a first walk"
    page = story.page(title.rstrip("."), told.notes(material, ["mobilisation.course"]))
    for chart, box in zip(charts, (LEFT, RIGHT), strict=True):
        if chart:
            heading = "First walk" if chart.id == "chart-walk" else "First out of bed"
            page.words(Box(box.left, 1.42, box.width, 0.35), [heading], bold=True)
            place(page, chart, Box(box.left, 1.75, box.width, 3.75))
            risk_table(page, chart, Box(box.left, 5.55, box.width, 1.1))


def outcomes(story: Story) -> None:
    material = story.material
    page = story.page(
        told.outcomes_finding(material), told.notes(material, ["bridge", "outcomes", "success"])
    )
    for route, box in (("axillary", LEFT), ("femoral", RIGHT)):
        chart = material.charts.get(f"chart-bridge-{route}")
        if chart:
            page.words(Box(box.left, 1.42, box.width, 0.35), [chart.finding], bold=True)
            place(page, chart, Box(box.left, 1.8, box.width, 4.5))
    line = "The white part is still supported. A course is counted under its first route."
    page.words(Box(0.6, 6.35, 12.1, 0.4), [line], size=SMALL_SIZE, soft=True)


def comparison(story: Story) -> None:
    chart = story.material.comparison
    if chart is None:
        return
    page = story.page(chart.finding, [chart.label, chart.method, *_forest_notes(chart), CAUTION])
    place(page, chart, Box(0.6, 1.4, 12.13, 4.85))
    warning = (
        "Crude: routes are chosen for different patients, and nothing here was randomised or adjusted. "
        "Several complications are looked at, so one interval in twenty leaves out 1 by chance."
    )
    page.words(Box(0.6, 6.25, 12.1, 0.6), [warning], size=SMALL_SIZE, soft=True)


def _forest_notes(chart: Chart) -> list[str]:
    series = chart.series[0]
    return [f"{name}: events {events}" for name, events in zip(series.x, series.notes, strict=True)]


def trend_pair(first: int) -> Callable[[Story], None]:
    """A slide with two of the trend charts."""

    def tell(story: Story) -> None:
        charts = story.material.trends[first : first + 2]
        if not charts:
            return
        notes = [f"{chart.label}. {chart.method}" for chart in charts]
        page = story.page(charts[0].finding.rstrip("."), [*notes, *_values(charts), CAUTION])
        for chart, box in zip(charts, (LEFT, RIGHT), strict=True):
            page.words(
                Box(box.left, 1.42, box.width, 0.35), [chart.finding.rstrip(".")], size=TABLE_SIZE, bold=True
            )
            place(page, chart, Box(box.left, 1.8, box.width, 4.4))
        line = "Bars show 95% limits. A single quarter above or below the others is no signal."
        page.words(Box(0.6, 6.3, 12.1, 0.4), [line], size=SMALL_SIZE, soft=True)

    return tell


def _values(charts: Sequence[Chart]) -> list[str]:
    return [
        f"{chart.label.split(' by ')[0]}, {series.name.lower()}, {x}: {y:.1f} {note}".rstrip()
        for chart in charts
        for series in chart.series
        for x, y, note in zip(series.x, series.y, series.notes, strict=True)
    ]


def cases(story: Story) -> None:
    material = story.material
    if not material.cases_shown:
        return
    page = story.page(
        told.cases_finding(material), ["Serious complications with onset in the period.", CAUTION]
    )
    rows = [
        [f"Day {c.day}", c.route, c.kind, c.grade, f"{c.state}; {c.review.lower()}"] for c in material.cases
    ]
    if rows:
        page.table(
            Box(0.6, 1.6, 12.13, 4),
            ("On support", "Route", "What", "Grade", "State and review"),
            rows[:MOST_ROWS],
            widths=(1.3, 1.9, 2.3, 4.2, 2.4),
            size=TABLE_SIZE,
            words=True,
            alt="Serious complications, no identifiers",
        )
    rest = f"{len(rows) - MOST_ROWS} more are in the packet. " if len(rows) > MOST_ROWS else ""
    line = f"{rest}No identifiers are shown; the day of insertion is day 0."
    page.words(Box(0.6, 6.2, 12.1, 0.5), [line], size=SMALL_SIZE, soft=True)


def quality(story: Story) -> None:
    material = story.material
    page = story.page(told.left_out_finding(material), told.notes(material, []))
    lines = material.report.left_out
    rows = [[str(line.count), line.counted, line.reason, line.treatment] for line in lines[:MOST_ROWS]]
    if rows:
        page.table(
            Box(0.6, 1.6, 12.13, 3),
            ("Number", "Of", "Why", "What was done"),
            rows,
            size=TABLE_SIZE,
            words=True,
            widths=(0.9, 1.6, 7, 2.2),
            alt="Records left out, censored or counted apart",
        )
    top = 2.2 + 0.36 * len(rows)
    page.words(Box(0.6, top, 12.1, 1.6), _quality_lines(material), size=TEXT_SIZE)


def _quality_lines(material: Material) -> list[str]:
    """How complete the records behind the figures are."""
    unrecorded = material.figures.get("mobilisation.course/ALL/unrecorded")
    open_courses = material.figures.get("outcomes/ALL/NONE")
    late = material.figures.get("complications.late/ALL/ANY")
    said = [
        f"Courses without any recorded mobility level: {told.cell(unrecorded)}" if unrecorded else "",
        f"Courses without an outcome at the data cut: {told.cell(open_courses)}" if open_courses else "",
        f"Events more than 24 h after their device was out: {told.cell(late)}" if late else "",
    ]
    return [line for line in said if line]


def definitions(story: Story) -> None:
    material = story.material
    page = story.page("How the figures are defined", [m.definition for m in material.report.measures])
    chosen = (
        "volume.in_place",
        "dwell.run",
        "complications",
        "repositions",
        "mobilisation.course",
        "bridge",
        "success",
    )
    found = [measure for measure in material.report.measures if measure.id in chosen]
    rows = [[m.title, _capital(m.what_counts), _capital(m.who_counts)] for m in found]
    page.table(
        Box(0.6, 1.45, 12.13, 4.6),
        ("Measure", "What counts", "Out of"),
        rows,
        size=SMALL_SIZE,
        words=True,
        widths=(2.3, 5.2, 4.6),
        alt="Definitions of the main measures",
    )
    versions = (
        f"Definitions {material.header.definitions_version}; the packet holds all of them with their sources."
    )
    page.words(Box(0.6, 6.55, 12.1, 0.35), [versions], size=SMALL_SIZE, soft=True)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


ORDER: tuple[Callable[[Story], None], ...] = (
    *(cover, glance, flow, volumes, complications, devices, mobilisation, outcomes, comparison),
    *(trend_pair(0), trend_pair(2), cases, quality, definitions),
)
