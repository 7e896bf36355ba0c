"""The slides of the quarter itself, each with a finding as its title."""

from __future__ import annotations

from collections.abc import Sequence

from outcomes.exports.material import CAUTION, Material
from outcomes.exports.slides import told
from outcomes.exports.slides.native import place
from outcomes.exports.slides.page import SMALL_SIZE, TABLE_SIZE, TEXT_SIZE, Box, Page
from outcomes.exports.slides.story import GROUPS, HEAD, LEFT, MOST_ROWS, RIGHT, WHOLE, Story, risk_table
from outcomes.figures import Chart
from outcomes.measures.complications import SUMS
from outcomes.measures.values import Figure
from outcomes.period import written_span
from outcomes.quarter import KEY_FIGURES
from outcomes.wording import lower_first, show


def cover(story: Story) -> None:
    header = story.material.header
    title = f"Balloon pump support, {written_span(header.period)}"
    page = Page(story.deck, title=title, footer=story.footer, notes=[CAUTION, *story.origin], cover=True)
    lines = [
        ", ".join(header.centres),
        f"Data as of {story.material.cut} ({header.time_zone})"
        + ("; the period has not ended, its figures will change" if header.open_at_cut else ""),
    ]
    versions = f"Definitions {header.definitions_version} · software {header.software_version}"
    if seal := story.material.seal:
        lines.append(f"Issue {seal.number} of this period, signed by {seal.signed_by}")
        versions += f" · data fingerprint {seal.fingerprint}"
    page.slide.placeholders[1].text_frame.text = ""
    page.words(Box(0.6, 4.2, 12.1, 1.1), lines, size=TEXT_SIZE)
    page.words(Box(0.6, 5.3, 12.1, 1.0), [versions, *story.origin], size=SMALL_SIZE)
    page.words(Box(0.6, 6.4, 12.1, 0.5), [CAUTION], size=SMALL_SIZE, soft=True)
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
            box, shown.value or shown.absent, detail, alt=f"{shown.value}: {detail}", label_size=TABLE_SIZE
        )


def flow(story: Story) -> None:
    material = story.material
    page = story.page(
        told.flow_finding(material),
        told.notes(material, ["flow.considered", "flow.attempted", "volume.begun"]),
    )
    values = {
        name: show(material.figures[key]).value or told.HIDDEN_COUNT if key in material.figures else "0"
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
    page = story.page(
        told.dwell_finding(material),
        told.notes(material, ["volume.begun", "volume.in_place", "dwell.run", "dwell.course"]),
    )
    story.chart(page, "chart-dwell", Box(0.6, 1.5, 5.9, 4.0))
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
    """``4.1 d`` and below it ``(2.0 to 9.5)``."""
    said = [show(f).value.removesuffix(" d") or "not reached" if f else "–" for f in found]
    if found[0] and not show(found[0]).value:
        return show(found[0]).absent
    return f"{said[0]} d\n({said[1]} to {said[2]})" if found[0] else told.NOT_COMPUTED


def complications(story: Story) -> None:
    material = story.material
    page = story.page(told.complications_finding(material), told.notes(material, ["complications"]))
    chart = material.charts.get("chart-complications")
    if chart is None:
        hidden = material.smallest_cell
        said = "Counts are small, so none is shown here." if hidden else "Nobody was at risk in this period."
        page.words(WHOLE, [said], soft=True)
        return
    shown, silent = with_events(chart)
    if not shown.empty:
        place(page, shown, Box(0.6, 1.45, 6.4, 4.75))
    if silent:
        page.words(
            Box(0.6, 6.15 if not shown.empty else 1.5, 6.4, 0.7),
            [f"No event by either route: {silent}."],
            size=SMALL_SIZE,
            soft=True,
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
    return [(code, label) for code, label in found.items() if code not in SUMS]


def with_events(chart: Chart) -> tuple[Chart, str]:
    """The chart without the rows that are 0 on every route, and their names; zero rows have limits too, but
    they would fill the slide.
    """
    names = list(dict.fromkeys(str(x) for series in chart.series for x in series.x))
    happened = {str(x) for s in chart.series for x, y in zip(s.x, s.y, strict=True) if y > 0}
    silent = ", ".join(lower_first(name) for name in names if name not in happened)
    return chart.of(happened), silent


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
    items = [
        (figure.key.split("/", 2)[2], f"of these: {lower_first(figure.label)}") for figure in found[:most]
    ]
    return story.figures(measure, items)


def mobilisation(story: Story) -> None:
    material = story.material
    charts = [material.charts.get(f"chart-{item}") for item in ("walk", "out-of-bed")]
    if material.smallest_cell and not any(charts):
        return  # curves rest on single patients
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
            heading = chart.finding.partition(":")[0]
            page.words(Box(box.left, 1.42, box.width, 0.35), [heading], bold=True)
            place(page, chart, Box(box.left, 1.8, box.width, 4.5))
    if "chart-bridge-axillary" not in material.charts and "chart-bridge-femoral" not in material.charts:
        _outcome_table(story, page)
        return
    line = "The white part is still supported. A course is counted under its first route."
    page.words(Box(0.6, 6.35, 12.1, 0.4), [line], size=SMALL_SIZE, soft=True)


def _outcome_table(story: Story, page: Page) -> None:
    """Where there are no curves: how many courses had which outcome."""
    known = story.material.report.figures_of("outcomes", "ALL")
    items = [(figure.key.split("/", 2)[2], figure.label) for figure in known]
    page.table(
        Box(0.6, 1.6, 12.13, 4),
        HEAD,
        story.figures("outcomes", items[:MOST_ROWS]),
        widths=(3, 3, 3, 3),
        size=TABLE_SIZE,
        alt="Courses by outcome and first route",
    )
