"""The slides around the quarter: comparison, quarters before, cases, what is left out, definitions."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from outcomes.comparison.page.charts import ComparisonChart
from outcomes.comparison.summary import NEVER_CAUSAL, summary
from outcomes.comparison.value import Comparison, CrudeRow
from outcomes.exports.drawing.compared import difference_words
from outcomes.exports.material import CAUTION, Material
from outcomes.exports.slides import told
from outcomes.exports.slides.native import place
from outcomes.exports.slides.page import SMALL_SIZE, TABLE_SIZE, Box
from outcomes.exports.slides.story import LEFT, MOST_ROWS, RIGHT, WHOLE, Story
from outcomes.figures import Chart
from outcomes.routes import SEVERAL, refusals
from outcomes.wording import lower_first

MOST_OUTCOMES = 14
MOST_LEFT_OUT = 7
MOST_OPEN = 13


def comparison(story: Story) -> None:
    """The forest with its hedge; the outcomes with the most to say, the others are in the packet."""
    material = story.material
    chart, compared = material.forest, material.compared
    if not isinstance(chart, ComparisonChart) or compared is None:
        return
    refused = refusals(compared)
    notes = [*summary(compared), f"{chart.label}. {chart.method}", *refused, *_forest_notes(chart), CAUTION]
    page = story.page(chart.finding.rstrip("."), notes)
    shown = chart.of(forest_rows(compared, chart))
    place(page, shown, Box(0.6, 1.36, 12.13, 4.8))
    dropped = len(chart.rows) - len(shown.rows)
    rest = f" {dropped} more outcomes are in the packet." if dropped else ""
    first = f"All courses until {material.compared_until}. ■ crude, ● weighted, limits in brackets.{rest}"
    why = "Why some outcomes are not weighted stands in the notes." if refused else ""
    lines = [f"{first} {NEVER_CAUSAL}", " ".join(part for part in (SEVERAL, why, story.mark) if part)]
    page.words(Box(0.6, 6.15, 12.1, 0.8), lines, size=SMALL_SIZE - 1, soft=True)


def forest_rows(compared: Comparison, chart: ComparisonChart) -> list[str]:
    """As many rows as the slide holds: those with a weighted figure, those whose crude limits exclude 0, then
    those that happened most often.
    """
    weighted = {x for series in chart.series[1:] for x in series.x}
    crude = {row.label: row for row in compared.crude.rows} if compared.crude else {}
    first = sorted(chart.rows, key=lambda label: (label not in weighted, *_weight(crude[label])))
    return [row for row in chart.rows if row in first[:MOST_OUTCOMES]]


def _weight(row: CrudeRow) -> tuple[bool, int]:
    """Smaller for what must not be dropped."""
    low, high = row.difference.lower, row.difference.upper
    clear = low is not None and high is not None and not low <= 0.0 <= high
    return not clear, -(row.axillary.hits or 0) - (row.femoral.hits or 0)


def _forest_notes(chart: ComparisonChart) -> list[str]:
    return [
        f"{series.name}, {name}: {difference_words(series, i)} {series.notes[i]}".rstrip()
        for series in chart.series
        for i, name in enumerate(series.x)
    ]


def volume_trends(story: Story) -> None:
    _trend_page(story, ("volume-begun", "dwell-run"), told.volume_trend_finding)


def harm_trends(story: Story) -> None:
    _trend_page(story, ("complications", "repositions"), told.harm_trend_finding)


def _trend_page(story: Story, names: Sequence[str], finding: Callable[[Material], str]) -> None:
    """Two charts over the quarters beside each other; no slide for a report without quarters before."""
    charts = [chart for name in names if (chart := story.material.charts.get(f"chart-trend-{name}"))]
    if not charts:
        return
    notes = [f"{chart.label}. {chart.method}" for chart in charts]
    page = story.page(finding(story.material), [*notes, *_values(charts), CAUTION])
    for chart, box in zip(charts, (LEFT, RIGHT) if len(charts) > 1 else (WHOLE,), strict=True):
        heading = chart.label.partition(" by quarter")[0]
        page.words(Box(box.left, 1.42, box.width, 0.35), [heading], bold=True)
        place(page, chart, Box(box.left, 1.8, box.width, 4.4))
    every = [(chart, series) for chart in charts for series in chart.series]
    limits = any(limit is not None for _, series in every for limit in series.lower)
    empty = any(len(series.x) < len(chart.rows) for chart, series in every)
    line = (
        f"{'Bars show 95% limits. ' if limits else ''}"
        f"{'Those that reach the upper edge go on beyond it. ' if any(c.cut for c in charts) else ''}"
        f"{'A quarter without a mark has no value shown, which is not 0. ' if empty else ''}"
        f"A single quarter above or below the others is no signal. {story.mark}"
    )
    page.words(Box(0.6, 6.3, 12.1, 0.4), [line], size=SMALL_SIZE, soft=True)


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
    line = f"{rest}No identifiers are shown; the day of insertion is day 0. {story.mark}"
    page.words(Box(0.6, 6.2, 12.1, 0.5), [line], size=SMALL_SIZE, soft=True)


def quality(story: Story) -> None:
    """What was left out, and how complete the records behind the figures are."""
    material = story.material
    measures = [m.id for m in material.report.measures if m.id.startswith("quality.")]
    page = story.page(told.quality_finding(material), told.notes(material, measures))
    lines = material.report.left_out[:MOST_LEFT_OUT]
    left_out = [[str(line.count), line.counted, f"{line.reason}: {line.treatment}"] for line in lines]
    if left_out:
        page.table(
            Box(0.6, 1.6, 6.2, 3),
            ("Number", "Of", "Why, and what was done"),
            left_out,
            size=SMALL_SIZE,
            words=True,
            widths=(0.9, 1.2, 4.1),
            alt="Records left out, censored or counted apart",
        )
    page.table(
        Box(7.1, 1.6, 5.63, 3) if left_out else Box(0.6, 1.6, 8, 3),
        ("Recorded, or still open", "All routes"),
        _completeness(material),
        size=SMALL_SIZE,
        widths=(3.7, 1.9),
        alt="How complete the records behind the figures are",
    )


def _completeness(material: Material) -> list[list[str]]:
    """Each field that is asked for, and what is still open."""
    parts = (("quality.complete", ""), ("quality.events", "Events: "))
    rows = [
        [f"{before}{lower_first(figure.label) if before else figure.label}", told.of_all(figure)]
        for measure, before in parts
        for figure in material.report.figures_of(measure, "ALL")
    ]
    further = {
        "Courses without a mobility level": "mobilisation.course/ALL/unrecorded",
        "Courses without an outcome yet": "outcomes/ALL/NONE",
    }
    known = [(label, material.figures.get(key)) for label, key in further.items()]
    return [*rows, *([label, told.of_all(figure)] for label, figure in known if figure)][:MOST_OPEN]


def definitions(story: Story) -> None:
    material = story.material
    title = "Every figure names what it counts, and out of what"
    page = story.page(title, [measure.definition for measure in material.report.measures])
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
