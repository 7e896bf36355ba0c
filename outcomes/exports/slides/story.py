"""A presentation being told: its pages, charts and rows of figures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from outcomes.exports.material import SHORT_CAUTION, Material
from outcomes.exports.slides import told
from outcomes.exports.slides.native import place
from outcomes.exports.slides.page import SMALL_SIZE, Box, Page
from outcomes.figures import Chart
from outcomes.measures.scope import ROUTE_LABELS
from outcomes.period import written_span

WHOLE = Box(0.6, 1.5, 12.13, 5.2)
LEFT, RIGHT = Box(0.6, 1.5, 5.95, 5.2), Box(6.78, 1.5, 5.95, 5.2)
GROUPS = (*told.ARMS, "ALL")
MOST_ROWS = 9
RISK_DAYS = 7
NOTHING = "Nothing to draw in this period."


class Story:
    """A presentation being told."""

    def __init__(self, deck: Any, material: Material) -> None:
        self.deck, self.material = deck, material
        period = written_span(material.header.period)
        seal = f" · {material.seal.line}" if material.seal else ""
        self.footer = f"{period} · data as of {material.cut}{seal} · {SHORT_CAUTION}"

    def page(self, title: str, notes: Sequence[str]) -> Page:
        """The next slide."""
        return Page(self.deck, title=title, footer=self.footer, notes=[*notes, *self.origin])

    @property
    def origin(self) -> list[str]:
        """What of an issued report was kept as signed, and what was not."""
        return [f"{heading}: {said}." for heading, said in self.material.origin]

    @property
    def mark(self) -> str:
        """What a slide says that was not part of what was signed."""
        return self.material.seal.again.mark if self.material.seal else ""

    def chart(self, page: Page, id: str, box: Box) -> Chart | None:
        """Draw a chart of the material, or say that there is none."""
        chart = self.material.charts.get(id)
        if chart is None:
            hidden = self.material.smallest_cell
            said = "Curves rest on single patients, so none is shown here." if hidden else NOTHING
            page.words(box, [said], soft=True)
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
